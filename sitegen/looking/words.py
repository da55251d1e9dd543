"""What people write over a column, by the field or channel it may be: common words of the trade, no source.

A word here is a hint that is told as one; unit and values of the column have to agree with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

FIELDS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "engine": ("build", "engine", "engine id", "engine no"),
        "cylinder": ("cylinder", "cyl", "cyl no", "cylinder no"),
        "phase": ("phase", "stage", "check", "after"),
        "repeat": ("repeat", "rep", "reading no", "no of reading", "look"),
        "tester": ("tester", "leak tester", "instrument"),
        "reference": ("reference orifice", "orifice", "reference"),
        "supply": ("supply", "supply pressure", "upstream", "p supply", "p1", "gauge 1", "regulator"),
        "pressure": ("cylinder gauge", "cylinder pressure", "downstream", "p cylinder", "p2", "gauge 2", "held"),
        "percent": ("leak", "leakage", "loss", "leak down", "leakdown", "leak as read"),
        "crank": ("crank", "crank position", "piston position", "position"),
        "crank_angle": ("crank angle",),
        "approached": ("approached", "approach"),
        "locked": ("locked", "crank locked"),
        "turns": ("turns", "turns since", "revolutions"),
        "condition": ("condition", "cold warm", "state"),
        "metal_temperature": ("metal", "metal temperature", "block temperature", "head temperature", "t metal"),
        "since_shutdown": (
            "since stop",
            "since shutdown",
            "time since shutdown",
            "minutes since shutdown",
            "after stop",
            "after shutdown",
        ),
        "oil": ("oil", "oil added", "wet dry"),
        "wait": ("wait", "wait time"),
        "ambient": ("barometer", "ambient", "ambient pressure", "p ambient", "p room", "atmospheric pressure"),
        "air_temperature": ("air", "room", "air temperature", "room temperature", "ambient temperature", "t room"),
        "to_crankcase": ("crankcase", "oil filler", "breather", "to crankcase", "rings"),
        "to_exhaust": ("exhaust", "tail pipe", "to exhaust", "exhaust valve"),
        "to_intake": ("intake", "air filter", "to intake", "inlet", "intake valve"),
        "to_coolant": ("coolant", "radiator", "to coolant", "gasket"),
        "to_neighbour": ("neighbour", "next cylinder"),
        "to_plug": ("plug", "adapter"),
        "crankcase_flow": ("crankcase flow", "blow-by flow"),
        "date": ("date", "day", "measured on", "read on"),
        "operator": ("operator", "by", "read by", "measured by"),
        "by": ("by", "written by", "operator"),
        "inspector": ("inspector", "seen by", "inspected by"),
        "remark": ("remark", "remarks", "note", "notes", "comment"),
        "ring": ("ring",),
        "gap_gauge": ("gap in gauge", "end gap in gauge", "gap gauge"),
        "gap_bore": ("gap in bore", "end gap", "end gap in bore", "gap bore"),
        "gap_angle": ("gap at", "gap angle", "gap position"),
        "joint": ("joint", "joint type"),
        "chamfer": ("chamfer", "end chamfer"),
        "mass": ("mass", "weight", "ring mass", "taken"),
        "tension": ("tension", "tangential tension", "tangential force"),
        "radial_thickness": ("thickness", "radial thickness", "wall"),
        "land_diameter": ("land below", "land diameter", "land"),
        "groove_width": ("groove", "groove width"),
        "bore": ("bore", "bore diameter"),
        "bore_height": ("depth", "bore height", "height in bore", "depth in bore"),
        "bore_angle": ("direction", "bore angle"),
        "honing": ("honing", "hone"),
        "tool_gap": ("feeler", "tool gap", "gap tool"),
        "tool_mass": ("balance", "scale", "tool mass"),
        "tool_bore": ("bore gauge", "tool bore"),
        "tool_tension": ("tension gauge", "tool tension"),
        "part": ("part",),
        "place": ("place", "position", "where"),
        "at": ("at", "minute", "time", "run time"),
        "what": ("what", "event", "happened"),
        "lasted": ("lasted", "duration"),
        "meter": ("meter", "flow meter"),
        "moved": ("moved",),
        "behaviour": ("behaviour", "stood"),
        "image": ("image", "picture", "photo", "file"),
        "image_width": ("image width", "picture width"),
        "caption": ("caption",),
        "grade": ("grade", "rating"),
        "sample": ("sample", "sample no", "bottle"),
        "hours": ("hours", "running hours", "engine hours"),
        "on_fill": ("hours on the fill", "hours on oil", "time on oil"),
        "draw_point": ("draw point", "drawn at", "drawn from"),
        "laboratory": ("laboratory", "lab"),
        "batch": ("batch", "analysed with"),
        "element": ("element", "metal", "symbol"),
        "concentration": ("concentration", "result", "content"),
    }
)

CHANNELS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "speed": ("speed", "engine speed", "n", "rpm", "revs"),
        "torque": ("torque", "brake torque", "engine torque", "md", "load"),
        "blowby": ("blow-by", "blowby", "blow by flow", "blow-by flow", "crankcase flow"),
        "blowby_2": ("blow-by 2", "blowby 2", "second blow-by"),
        "crankcase_pressure": ("crankcase", "crankcase pressure", "p crankcase", "crankcase gauge"),
        "oil_pressure": ("oil pressure", "p oil", "oil gauge", "gallery pressure"),
        "oil_temperature": ("oil", "oil temperature", "t oil", "oil temp", "sump temperature"),
        "coolant_temperature": ("coolant", "coolant temperature", "t coolant", "water temperature", "jacket water"),
        "intake_temperature": ("intake temperature", "t intake", "air temperature", "inlet temperature"),
        "ambient_pressure": ("barometer", "ambient pressure", "p room", "p ambient", "room pressure"),
        "blowby_temperature": ("blow-by temperature", "gas at meter", "t blow-by", "blow-by"),
        "blowby_pressure": ("blow-by pressure", "pressure at meter", "p blow-by"),
        "exhaust_temperature": ("exhaust", "exhaust temperature", "t exh", "t exhaust", "egt"),
        "peak_pressure": ("peak pressure", "p max", "pmax", "firing pressure"),
    }
)

TIMES = ("time", "t", "elapsed", "elapsed time", "run time", "seconds", "minutes", "ms", "time s", "test time")
"""What stands over elapsed time."""
