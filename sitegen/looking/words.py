"""What people write over a column, by the field or channel it may be: common words of the trade, no source.

A header says a field where all of its words are those of a name here, in any order, in full or shortened from the end;
unit and values of the column have to agree.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from sitegen.reader.place import TIMES as TIME_WORDS

FIELDS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "engine": ("engine", "engine id", "engine no", "build no", "motor", "motor nr", "moteur"),
        "cylinder": ("cyl", "cyl no", "cylinder no", "zylinder nr", "zyl nr"),
        "phase": ("stage", "check"),
        "repeat": ("rep", "repetition", "reading no", "no of reading", "wiederholung", "répétition", "repetición"),
        "tester": ("leak tester",),
        "reference": ("orifice", "reference orifice"),
        "supply": ("upstream pressure", "p supply", "speisedruck", "pression d'alimentation",
                   "presión de alimentación"),
        "pressure": ("cylinder pressure", "p cylinder", "downstream pressure", "zylinderdruck", "pression cylindre",
                     "presión del cilindro",
                     "compression", "compression pressure", "kompression", "kompressionsdruck"),
        "percent": ("leak", "leakage", "loss", "leak down", "leakdown", "leak as read", "verlust", "leckage", "fuite",
                    "fuga", "pérdida"),
        "crank": ("crank position", "piston position"),
        "approached": ("approach",),
        "locked": ("crank locked",),
        "turns": ("turns since", "revolutions since"),
        "metal_temperature": ("block temperature", "head temperature", "metalltemperatur"),
        "since_shutdown": ("since stop", "time since shutdown", "minutes since shutdown", "after stop",
                           "after shutdown", "nach abstellen"),
        "oil": ("oil added", "wet dry"),
        "wait": ("wait time", "wartezeit"),
        "ambient": ("barometer", "barometric pressure", "atmospheric pressure", "room pressure", "luftdruck",
                    "umgebungsdruck", "pression ambiante", "presión ambiente"),
        "air_temperature": ("room temperature", "ambient temperature", "raumtemperatur", "lufttemperatur",
                            "umgebungstemperatur", "température ambiante", "temperatura ambiente"),
        "to_crankcase": ("share to crankcase", "oil filler"),
        "to_exhaust": ("share to exhaust", "tail pipe"),
        "to_intake": ("share to intake", "air filter"),
        "to_coolant": ("share to coolant", "radiator"),
        "to_neighbour": ("next cylinder", "neighbour"),
        "to_plug": ("share to plug",),
        "crankcase_flow": ("blow-by flow",),
        "date": ("measured on", "read on", "datum", "messdatum", "fecha"),
        "operator": ("read by", "measured by", "by", "bediener", "prüfer", "opérateur", "operador"),
        "by": ("written by", "operator", "bediener", "opérateur", "operador"),
        "inspector": ("seen by", "inspected by", "prüfer", "inspecteur"),
        "remark": ("remarks", "comment", "comments", "bemerkung", "bemerkungen", "kommentar", "remarque", "commentaire",
                   "comentario", "observaciones"),
        "ring": ("ring name", "kolbenring"),
        "gap_gauge": ("gap in gauge", "end gap in gauge"),
        "gap_bore": ("gap in bore", "end gap in bore"),
        "gap_angle": ("gap at", "gap position"),
        "joint": ("joint type",),
        "chamfer": ("end chamfer",),
        "mass": ("weight", "ring mass", "masse", "gewicht", "masa", "peso"),
        "tension": ("tangential tension", "tangential force", "tangentialkraft"),
        "radial_thickness": ("ring thickness",),
        "land_diameter": ("land below",),
        "groove_width": ("groove",),
        "bore": ("bore diameter", "bohrung", "bohrungsdurchmesser", "alésage"),
        "bore_height": ("height in bore", "depth in bore"),
        "bore_angle": ("direction in bore",),
        "honing": ("hone",),
        "tool_gap": ("feeler", "gap tool"),
        "tool_mass": ("balance",),
        "tool_bore": ("bore gauge", "bore tool"),
        "tool_tension": ("tension gauge", "tension tool"),
        "place": ("where",),
        "at": ("minute", "run time"),
        "what": ("event", "happened"),
        "lasted": ("duration", "dauer", "durée", "duración"),
        "meter": ("flow meter",),
        "image": ("picture", "photo", "bild", "foto"),
        "image_width": ("picture width",),
        "grade": ("rating", "grading"),
        "sample": ("sample no", "sample id", "bottle", "probe", "probe nr", "probennummer", "échantillon", "muestra"),
        "hours": ("running hours", "engine hours", "betriebsstunden", "heures", "horas"),
        "on_fill": ("hours on the fill", "hours on oil", "time on oil"),
        "draw_point": ("drawn at", "drawn from"),
        "laboratory": ("lab", "labor", "laboratoire", "laboratorio"),
        "batch": ("analysed with",),
        "element": ("metal", "symbol"),
        "concentration": ("content", "result"),
        "viscosity_40": ("viscosity 40",),
        "viscosity_100": ("viscosity 100",),
        "lot": ("ring lot",),
        "specimen": ("sample piece", "probe", "probe nr", "probenname", "éprouvette", "probeta"),
        "coating": ("ring coating", "beschichtung", "revêtement", "recubrimiento"),
        "forces": ("force file", "kraftdatei"),
        "liner": ("liner lot", "laufbuchse", "buchse"),
        "load": ("normal load", "normal force", "normalkraft", "last", "charge"),
        "stroke": ("stroke length", "hub", "hublänge", "course", "carrera"),
        "frequency": ("frequenz", "fréquence", "frecuencia"),
        "temperature": ("contact temperature", "kontakttemperatur", "temperatur", "température", "temperatura"),
        "area": ("contact area", "kontaktfläche"),
        "run_in": ("declared running-in", "einlaufzeit"),
        "stroke_class": ("where along the stroke", "hublage"),
        "forward": ("force forward", "reibkraft hin", "kraft hin"),
        "back": ("force back", "reibkraft her", "kraft her", "reibkraft zurück"),
        "zero": ("zero of the cell", "nullpunkt"),
        "sliding": ("sliding time", "gleitzeit"),
        "scar_volume": ("wear volume", "volume of the scar", "verschleißvolumen", "volume d'usure"),
        "mass_loss": ("mass lost", "massenverlust", "perte de masse"),
        "density": ("dichte", "densité", "densidad"),
        "study": ("gauge study",),
        "standard": ("leak standard", "test leak", "prüfleck"),
        "label": ("code", "etikett"),
        "anew": ("set up again",),
        "speed": ("engine speed", "engine rpm", "rpm", "revs", "drehzahl", "motordrehzahl", "régime", "régimen"),
        "torque": ("brake torque", "engine torque", "full load torque", "motoring torque", "drag torque", "drehmoment",
                   "volllastdrehmoment", "schleppmoment",
                   "couple moteur", "par motor"),
        "pull": ("pull no", "no of pull", "lauf", "lauf nr", "hochlauf nr"),
        "variant": ("oil name", "oil used", "ölsorte", "variante", "stand"),
        "barometer": ("baro", "barometric pressure", "station pressure", "luftdruck", "pression atmosphérique"),
        "inlet": ("inlet air", "air inlet", "inlet air temperature", "intake air", "ansauglufttemperatur",
                  "ansaugtemperatur", "lufttemperatur", "température d'admission"),
        "humidity": ("relative humidity", "rh", "rel humidity", "luftfeuchte", "rel feuchte", "relative feuchte",
                     "humidité"),
        "ramp": ("ramp rate", "sweep rate", "hochlauf", "hochlaufrate", "drehzahlanstieg"),
        "inertia": ("moment of inertia", "massenträgheit", "trägheitsmoment", "massenträgheitsmoment", "inertie"),
        "coolant": ("coolant temperature", "water temperature", "kühlmitteltemperatur", "kühlwassertemperatur"),
        "fuel_lot": ("fuel", "fuel batch", "kraftstoff", "kraftstoffcharge"),
        "log": ("log file", "file of the log", "messdatei", "protokolldatei"),
        "order": ("sequence", "reihenfolge"),
        "layer": ("coat", "schicht", "couche", "capa"),
        "ball": ("diameter of ball", "kugel", "kugeldurchmesser", "diamètre de la bille"),
        "outer": ("outer crater diameter", "crater outer diameter", "aussendurchmesser", "diamètre extérieur"),
        "inner": ("inner crater diameter", "crater inner diameter", "innendurchmesser", "diamètre intérieur"),
        "face_radius": ("radius of curvature", "radius of ring face"),
        "thickness": ("layer thickness", "coating thickness", "schichtdicke", "épaisseur de la couche", "espesor"),
        "instrument": ("microscope", "mikroskop"),
        "run": ("run no", "lauf", "lauf nr"),
        "run_down": ("file of run down", "trace of speed", "auslaufdatei"),
        "oil_temperature": ("oil gallery", "gallery oil", "t oil", "öltemperatur", "t öl"),
        "coolant_temperature": ("t coolant", "kühlmitteltemperatur"),
        "plugs": ("spark plugs", "zündkerzen"),
        "throttle": ("throttle valve", "throttle position", "drosselklappe"),
        "strokes": ("compression strokes", "hübe", "kompressionshübe"),
        "cranking_speed": ("cranking rpm", "starter speed", "anlassdrehzahl", "starterdrehzahl"),
        "battery": ("battery voltage", "batterie", "batteriespannung"),
        "oil_added": ("oil put in", "ölmenge", "öl zugegeben"),
        "volume": ("cylinder volume", "chamber volume", "volumen", "brennraum"),
        "hose_volume": ("volume of hose", "schlauchvolumen"),
        "volume_limit": ("error of volume", "volumenfehler"),
    }
)  # fmt: skip

CHANNELS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "speed": ("n", "rpm", "revs", "drehzahl", "motordrehzahl", "régime", "régime moteur", "régimen del motor"),
        "torque": ("brake torque", "engine torque", "md", "drehmoment", "couple moteur", "par motor"),
        "blowby": ("blow by flow", "blow-by flow", "débit blow-by", "caudal de blow-by"),
        "blowby_2": ("blow-by 2", "second blow-by"),
        "crankcase_pressure": ("p crankcase", "kurbelgehäusedruck", "crankcase gauge"),
        "oil_pressure": ("p oil", "gallery pressure", "oil gauge"),
        "oil_temperature": ("t oil", "sump temperature"),
        "coolant_temperature": ("t coolant", "t jacket water"),
        "intake_temperature": ("t intake", "inlet temperature", "intake air temperature"),
        "ambient_pressure": ("barometer", "barometric pressure", "atmospheric pressure", "p room", "luftdruck"),
        "air_temperature": ("inlet air", "air ahead of filter", "lufttemperatur", "ansauglufttemperatur", "t luft"),
        "air_humidity": ("relative humidity", "rh", "luftfeuchte", "relative feuchte", "humidité de l'air"),
        "blowby_temperature": ("gas at meter", "t blow-by"),
        "blowby_pressure": ("pressure at meter", "p blow-by"),
        "exhaust_temperature": ("t exh", "t exhaust", "egt"),
        "peak_pressure": ("p max", "pmax", "firing pressure", "zünddruck", "spitzendruck"),
    }
)

SHORT: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "supply": ("p1", "regulator"),
        "pressure": ("p2", "held"),
        "metal_temperature": ("metal",),
        "air_temperature": ("air", "room"),
        "to_crankcase": ("crankcase", "breather", "rings"),
        "to_exhaust": ("exhaust", "exhaust valve"),
        "to_intake": ("intake", "inlet", "intake valve"),
        "to_coolant": ("coolant", "gasket"),
        "to_plug": ("plug", "adapter"),
        "crankcase_flow": ("crankcase",),
        "gap_bore": ("end gap",),
        "radial_thickness": ("thickness",),
        "land_diameter": ("land",),
        "bore_height": ("depth",),
        "bore_angle": ("direction",),
        "at": ("time",),
        "viscosity_40": ("v 40", "kv 40"),
        "viscosity_100": ("v 100", "kv 100"),
        "torque": ("load", "couple", "par"),
        "blowby_2": ("second meter",),
        "crankcase_pressure": ("crankcase",),
        "oil_temperature": ("oil",),
        "coolant_temperature": ("coolant", "jacket water"),
        "blowby_temperature": ("blow-by",),
        "exhaust_temperature": ("exhaust",),
    }
)
"""Names that leave the quantity open: they say a field only beside a unit of it."""

HINTS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "phase": ("after",),
        "repeat": ("look", "reading"),
        "tester": ("instrument",),
        "supply": ("upstream", "gauge 1"),
        "pressure": ("downstream", "gauge 2"),
        "crank": ("position",),
        "condition": ("cold warm", "state"),
        "date": ("day", "test date"),
        "variant": ("oil", "öl"),
        "remark": ("note", "notes"),
        "grade": ("note",),
        "mass": ("taken",),
        "radial_thickness": ("wall",),
        "place": ("position",),
        "tool_mass": ("scale",),
        "behaviour": ("stood",),
        "image": ("file",),
        "coolant_temperature": ("water temperature",),
    }
)
"""Words that may stand over a field, and over others as well: asked about, never taken."""

TIMES = (*sorted(TIME_WORDS), "elapsed time", "run time", "seconds", "minutes", "ms", "time s", "test time")
"""What stands over elapsed time."""

SAME: Mapping[str, str] = MappingProxyType(
    {
        "temp": "temperature", "temperatur": "temperature", "temperatura": "temperature",
        "press": "pressure", "druck": "pressure", "pression": "pressure", "presion": "pressure",
        "ol": "oil", "oel": "oil", "huile": "oil", "aceite": "oil",
        "kuhlmittel": "coolant", "kuehlmittel": "coolant", "kuhlwasser": "coolant", "refroidissement": "coolant",
        "refrigerante": "coolant",
        "kurbelgehause": "crankcase", "kurbelgehaeuse": "crankcase", "carter": "crankcase",
        "abgas": "exhaust", "echappement": "exhaust", "escape": "exhaust",
        "ansaugluft": "intake", "ansaug": "intake", "admission": "intake", "admision": "intake",
        "umgebung": "ambient", "umgebungs": "ambient", "ambiante": "ambient", "ambiente": "ambient",
        "raum": "room", "luft": "air", "zylinder": "cylinder", "zyl": "cylinder", "cylindre": "cylinder",
        "cilindro": "cylinder", "speise": "supply", "alimentation": "supply", "alimentacion": "supply",
        "eisen": "iron", "fer": "iron", "hierro": "iron", "kupfer": "copper", "cuivre": "copper", "cobre": "copper",
        "chrom": "chromium", "chrome": "chromium", "cromo": "chromium", "blei": "lead", "plomb": "lead",
        "plomo": "lead", "zinn": "tin", "etain": "tin", "silizium": "silicon", "silicium": "silicon",
        "silicio": "silicon", "zink": "zinc", "aluminum": "aluminium", "aluminio": "aluminium",
        "viskositat": "viscosity", "viscosite": "viscosity", "viscosidad": "viscosity",
    }
)  # fmt: skip
"""Words of other languages and other spellings, without their accents."""

LETTERS: Mapping[str, str] = MappingProxyType({"t": "temperature", "p": "pressure"})
"""Symbols of quantities (ISO 80000), where they stand beside a word."""

IDLE = frozenset(("the", "of", "de", "d", "del", "du", "des", "la", "le", "el", "l", "der", "die", "das", "at", "c"))
"""Words that say nothing by themselves."""

GENERAL = frozenset(
    ("temperature", "pressure", "flow", "time", "angle", "gauge", "width", "height", "no", "nr", "id", "by", "in", "to",
     "on", "position", "tool", "since", "share", "point", "number", "meter", "m", "v", "kv", "n")
)  # fmt: skip
"""Words that many columns share: two headers that have no other in common are not alike."""
