"""The program as the rest of the house sees it: frozen, every reference resolved, every quantity in SI.

Built by `program.build` from the YAML document after the schema check; nothing here reads files.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any, Final, Literal, TypeVar

from sitegen.vocabulary import Key, Problem, Value


@dataclass(frozen=True)
class Where:
    """Position in a file the user wrote."""

    file: str  # relative to the programs folder, forward slashes
    line: int = 0
    column: int = 0


Words = Mapping[str, Mapping[str, str]]
"""Field, or what several share -> word of a file, as `words.compared` -> the id or word of ours that it means."""


@dataclass(frozen=True)
class Quantity:
    """Note of a field: a quantity in SI, or the two ends of a range of it. See `convert`."""

    dimension: str  # key of `units.DIMENSIONS`
    zero: bool = False  # zero may be said
    share: bool = False  # at most 1


@dataclass(frozen=True)
class Under:
    """Note of a field that stands elsewhere in its mapping than under its own name."""

    path: tuple[str, ...]


DAY: Final = "day"  # note: a day of the calendar, as an ISO date
ELEMENTS: Final = "elements"  # note: the keys are chemical symbols
Day = Annotated[str, DAY]
Length = Annotated[float, Quantity("length")]
Density = Annotated[float, Quantity("density")]
Share = Annotated[float, Quantity("ratio")]
MassFraction = Annotated[float, Quantity("mass fraction")]
MassFractionOrNone = Annotated[float, Quantity("mass fraction", zero=True)]


# ---- definitions.yaml, shared by all programs of a folder ---------------------------------------------------------


@dataclass(frozen=True)
class Layer:
    name: str
    process: str = ""
    thickness: Length | None = None  # m, nominal
    tolerance: Length | None = None  # m, half-width about it
    running_in: bool = False

    @property
    def title(self) -> str:
        return f"{self.name} (running-in layer)" if self.running_in and self.name != "running-in" else self.name


@dataclass(frozen=True)
class Coating:
    id: str
    title: str
    order: int  # place in definitions.yaml: fixes colour, point shape and dash for ever
    process: str = ""
    layers: tuple[Layer, ...] = ()  # outermost first
    hardness_hv: Annotated[float | None, Quantity("hardness"), Under(("hardness",))] = None
    thickness: Length | None = None  # m, nominal, of all layers
    tracers: tuple[str, ...] = ()  # chemical symbols
    density: Density | None = None  # kg/m3, of the layer

    @property
    def nominal(self) -> float | None:
        """Nominal thickness of all layers [m]."""
        each = [layer.thickness for layer in self.layers]
        known = [one for one in each if one is not None]
        return sum(known) if known and len(known) == len(each) else self.thickness


@dataclass(frozen=True)
class EngineType:
    id: str
    title: str
    cylinders: int
    bore: Length  # m
    stroke: Length  # m
    layout: Literal["inline", "vee", "flat"] = "inline"
    strokes: Literal[2, 4] = 4  # strokes a cycle
    firing_order: tuple[int, ...] = ()
    flywheel: Literal["at the last cylinder", "at the first cylinder"] = "at the last cylinder"
    rod: Length | None = None  # m, centre to centre
    fuel: str = ""
    fuel_viscosity: Annotated[float, Quantity("kinematic viscosity")] | None = None  # m2/s, of a liquid fuel at 40 degC
    rated_speed: Annotated[float, Quantity("speed")] | None = None  # rad/s
    oil_charge: Annotated[float, Quantity("mass")] | None = None  # kg

    @property
    def swept_volume(self) -> float:
        """Volume [m3] that all pistons displace."""
        return math.pi / 4 * self.bore**2 * self.stroke * self.cylinders


@dataclass(frozen=True)
class CheckPoint:
    """What an instrument showed at one value of a standard, in the SI unit of what it reads."""

    at: float  # what the standard gave
    found: float | None = None  # shown before anything was touched; None: not recorded
    left: float | None = None  # shown after adjustment; None: nothing was adjusted there
    gauge: Literal["supply", "cylinder", ""] = ""  # of a tester: which gauge; "" both, or of any other the only one
    tolerance: float = 0.0  # most it may be off, same unit
    said: str = ""  # `at` as written, with its unit


@dataclass(frozen=True)
class Calibration:
    on: Day
    due: Day
    note: str = ""
    by: str = ""
    certificate: str = ""
    checks: tuple[CheckPoint, ...] = ()


@dataclass(frozen=True)
class Tester:
    """Two-gauge differential leak-down tester."""

    id: str
    title: str
    orifice: Length  # m, diameter of the master orifice
    gauge_class: Annotated[float, Quantity("pressure difference")]  # Pa, limit of error of each gauge
    orifice_tolerance: Annotated[float, Quantity("length", zero=True)] = 0.0  # m, limit of error of the diameter
    scale: Literal["pressure", "percent"] = "pressure"
    percent_linear: bool | None = None  # whether a percent scale is linear in gauge pressure; None: not stated
    calibrations: tuple[Calibration, ...] = ()
    since: Annotated[Day, Under(("from",))] = ""  # first day it was there; "" not stated
    until: Day = ""  # last day it was; "" still there


@dataclass(frozen=True)
class ReferenceOrifice:
    """Known hole put in the cylinder's place: calibrates the tester that day."""

    id: str
    title: str
    diameter: Length  # m
    tolerance: Annotated[float, Quantity("length", zero=True)] = 0.0  # m, limit of error
    since: Annotated[Day, Under(("from",))] = ""  # first day it was there; "" not stated
    until: Day = ""  # last day it was; "" still there


@dataclass(frozen=True)
class Tool:
    """What build sheets, torque, pressures, the air of the cell and temperatures are read with, or checks a tool."""

    id: str
    title: str
    kind: Literal[
        "balance", "feeler", "ring-gauge", "bore-gauge", "micrometer", "tension-gauge", "profilometer", "barometer",
        "thermometer", "microscope", "torque-cell", "thermocouple", "roughness-standard", "pressure-gauge",
    ]  # fmt: skip
    limit: float  # limit of error in the SI unit of what it reads: kg, m, N, Pa, K or N m
    calibrations: tuple[Calibration, ...] = ()
    readability: float = 0.0  # step of its display, in the same unit; 0: not stated
    since: Annotated[Day, Under(("from",))] = ""  # first day it was there; "" not stated
    until: Day = ""  # last day it was; "" still there


@dataclass(frozen=True)
class Meter:
    """Flow meter for blow-by."""

    id: str
    title: str
    principle: Literal["positive-displacement", "thermal-mass", "float", "orifice"]
    scale: Literal["actual", "standard"]  # volume as it passes, or as it would be at the reference conditions
    reference_pressure: Annotated[float | None, Quantity("absolute pressure"), Under(("reference", "pressure"))] = (
        None  # Pa absolute, of a standard scale
    )
    reference_temperature: Annotated[float | None, Quantity("temperature"), Under(("reference", "temperature"))] = (
        None  # K, of a standard scale
    )
    design_pressure: Annotated[float | None, Quantity("absolute pressure"), Under(("design", "pressure"))] = (
        None  # Pa absolute, of a float or orifice scale
    )
    design_temperature: Annotated[float | None, Quantity("temperature"), Under(("design", "temperature"))] = None  # K
    design_density: Annotated[Density | None, Under(("design", "density"))] = (
        None  # kg/m3 of the gas it is scaled for, at 0 degC and 101.325 kPa
    )
    time_constant: Annotated[float, Quantity("time", zero=True)] | None = None  # s
    low: float | None = None  # m3/s on its own scale: below it nothing is sure
    high: float | None = None  # m3/s on its own scale
    calibrations: tuple[Calibration, ...] = ()
    since: Annotated[Day, Under(("from",))] = ""  # first day it was there; "" not stated
    until: Day = ""  # last day it was; "" still there


@dataclass(frozen=True)
class Oil:
    id: str
    title: str
    grade: str = ""
    density: Density | None = None  # kg/m3
    fresh: Annotated[Mapping[str, MassFractionOrNone], ELEMENTS] = field(
        default_factory=dict
    )  # element -> mass fraction of the oil as delivered [-]
    fresh_error: Annotated[Mapping[str, MassFractionOrNone], ELEMENTS] = field(
        default_factory=dict
    )  # element -> standard uncertainty of it [-]
    viscosity_40: Annotated[float, Quantity("kinematic viscosity")] | None = None  # m2/s, fresh
    viscosity_100: Annotated[float, Quantity("kinematic viscosity")] | None = None  # m2/s, fresh
    limits: Mapping[str, float] = field(default_factory=dict)  # condition -> limit in SI; see `definitions.CONDITIONS`


@dataclass(frozen=True)
class Precision:
    """A laboratory's own scatter from day to day of one element: sd at a mass fraction c is hypot(at_zero, share c)."""

    at_zero: MassFractionOrNone  # mass fraction [-]
    share: Annotated[float, Quantity("ratio", zero=True)]  # [-]


@dataclass(frozen=True)
class FuelPrecision(Precision):
    """The same of the fuel it finds by chromatography."""


@dataclass(frozen=True)
class Laboratory:
    """Where oil samples are analysed."""

    id: str
    title: str
    method: Literal["icp", "rotating-disc"]
    precision: Annotated[Mapping[str, Precision], ELEMENTS] = field(
        default_factory=dict
    )  # intermediate precision by element
    fuel_precision: FuelPrecision | None = None
    detection: Annotated[Mapping[str, MassFraction], ELEMENTS] = field(
        default_factory=dict
    )  # element -> limit of detection, mass fraction [-]
    reported_to: MassFraction = 0.0  # step its reports are rounded to, mass fraction [-]


@dataclass(frozen=True)
class Definitions:
    coatings: Mapping[str, Coating]
    engine_types: Mapping[str, EngineType]
    testers: Mapping[str, Tester]
    reference_orifices: Mapping[str, ReferenceOrifice]
    tools: Mapping[str, Tool]
    oils: Mapping[str, Oil]
    meters: Mapping[str, Meter] = field(default_factory=dict)
    laboratories: Mapping[str, Laboratory] = field(default_factory=dict)
    words: Words = field(default_factory=dict)

    def limit_of(self, kind: str) -> float | None:
        """Largest limit of error of the tools of a kind, since no record says which of them was read; None: none.

        A thermocouple is a thermometer too.
        """
        kinds = {kind, "thermocouple"} if kind == "thermometer" else {kind}
        return max((tool.limit for tool in self.tools.values() if tool.kind in kinds), default=None)


# ---- program.yaml ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Window:
    """Range in which a number has to lie; None: no such end is stated."""

    low: float | None = None
    high: float | None = None

    def holds(self, value: float, slack: float = 0.0) -> bool:
        return (self.low is None or value >= self.low - slack) and (self.high is None or value <= self.high + slack)


PhaseKind = Literal["static-check", "run", "pulls", "teardown", "durability"]


@dataclass(frozen=True)
class ScheduleStep:
    """Part of a phase's planned running; from one speed or torque to another it goes evenly."""

    time: Annotated[float, Quantity("time")]  # s
    speed: float  # rad/s
    speed_to: float  # rad/s, equal to speed when steady
    torque: float | None = None  # N m
    reference_point: bool = False
    windows: Mapping[str, tuple[float, float]] = field(default_factory=dict)  # channel of a temperature -> K, from, to
    torque_to: float | None = None  # N m at its end; None: as `torque`

    @property
    def torque_end(self) -> float | None:
        return self.torque if self.torque_to is None else self.torque_to


@dataclass(frozen=True)
class Phase:
    id: str
    title: str
    kind: PhaseKind
    order: int
    stage: str = ""  # several phases of one stage (a run-in stopped for checks) share it
    repeat: int = 1  # the schedule is run that many times
    schedule: tuple[ScheduleStep, ...] = ()
    records: tuple[str, ...] = ()  # streams planned in this phase
    condition: Literal["cold", "warm", ""] = ""  # metal temperature state its leak-down belongs to
    only: tuple[str, ...] = ()  # build ids; empty: every build
    limits: Mapping[str, Window] = field(default_factory=dict)  # channel without its cylinder -> SI

    @property
    def seconds(self) -> float:
        """Planned running time [s]."""
        return self.repeat * sum(step.time for step in self.schedule)

    @property
    def fires(self) -> bool:
        """True where the engine runs in this phase."""
        return self.kind in {"run", "pulls", "durability"}


@dataclass(frozen=True)
class Place:
    """A cylinder of a build and the ring set in it."""

    cylinder: int
    coating: str
    lot: str = ""


@dataclass(frozen=True)
class Assembly:
    """Stretch of phases through which the rings were not disturbed. Refitted rings start a new seating curve."""

    id: str  # "a1", "a2" ...
    first: str  # phase id
    last: str  # phase id
    note: str = ""


@dataclass(frozen=True)
class Departure:
    """A phase this build does not run, or has still to run."""

    phase: str
    kind: Literal["skipped", "due"]
    why: str = ""
    due: str = ""  # ISO date


@dataclass(frozen=True)
class Ended:
    """That a build stood for good before its planned hours were run."""

    at: Annotated[float, Quantity("time")]  # s run in phases of kind durability
    cause: str = ""  # "" where none is known: then it is not compared
    by_measure: bool = False  # what is compared over the hours ended it: leak, blow-by, oil, wear

    @property
    def known(self) -> bool:
        """Whether a cause is stated."""
        return bool(self.cause)


@dataclass(frozen=True)
class Build:
    """One assembly of one engine: the unit of replication. Elsewhere `engine` in a key is this id."""

    id: str
    title: str
    order: int
    block: str
    number: int  # of the block's builds
    engine_type: EngineType
    places: tuple[Place, ...]  # by cylinder
    assemblies: tuple[Assembly, ...]
    departures: tuple[Departure, ...] = ()
    ended: Ended | None = None  # early; None: it was not, or not yet
    oil: str = ""
    operator: str = ""
    cell: str = ""
    note: str = ""
    built: int = 0  # place in the order of building, from 1

    @property
    def coatings(self) -> tuple[str, ...]:
        """Coatings in this build, each once, by cylinder."""
        return tuple(dict.fromkeys(place.coating for place in self.places))

    def coating_of(self, cylinder: int) -> str:
        return next(place.coating for place in self.places if place.cylinder == cylinder)

    def key(self, cylinder: int = 0, phase: str = "", at: str = "") -> Key:
        """Key of a value of this build; a whole build has a coating only where it holds one."""
        if cylinder:
            return Key(self.id, cylinder, self.coating_of(cylinder), phase, at)
        return Key(self.id, 0, self.coatings[0] if len(self.coatings) == 1 else "", phase, at)

    def is_due(self, phase: str) -> bool:
        """True where the phase is still to be run."""
        return any(each.phase == phase and each.kind == "due" for each in self.departures)

    def assembly_of(self, phase: Phase, program: Program) -> Assembly | None:
        """The stretch of undisturbed rings a phase belongs to."""
        for assembly in self.assemblies:
            if program.phase(assembly.first).order <= phase.order <= program.phase(assembly.last).order:
                return assembly
        return None


@dataclass(frozen=True)
class Criterion:
    """Stated before the data. Decided from values alone; stored as given."""

    id: str
    title: str
    measure: str
    phase: str
    sense: Literal["at-most", "at-least", "below-reference", "above-reference"]
    scope: Literal["every-cylinder", "mean-of-builds", "every-build"]
    coatings: tuple[str, ...]
    limit: float | None = None  # in the unit of the measure
    end_rule: bool = False  # ends the program for the coating when it fails
    at: str = ""  # place inside the phase
    where: Where = field(default=Where(""), compare=False)


@dataclass(frozen=True)
class DecisionRule:
    """What releases a candidate, what stops it; stated before the data. What does neither runs on."""

    where: Where
    stated: str  # ISO date
    release: tuple[str, ...]  # ids of criteria that must all hold
    stop: tuple[str, ...]  # of these the ones whose failure stops the candidate
    looks: tuple[int, ...] = ()  # counts of builds in at which a release may be said; () once, when all planned are in


RuleWord = Literal["released", "run on", "stopped", "open"]


@dataclass(frozen=True)
class Decision:
    """A decision that somebody took."""

    where: Where
    on: Day
    by: str
    coating: str
    word: RuleWord
    why: str
    results: str  # first digits of the hash of the results it was taken on


@dataclass(frozen=True)
class Moved:
    """One answer, or one value it rests on, that is no longer what it was when a decision was taken on it."""

    what: str  # rule of the answer, or id of the measure
    before: str  # as stored; "" it was not there
    after: str
    key: Key = field(default_factory=Key)
    by: str = ""  # how far the number moved, signed; "" where one of them has none


@dataclass(frozen=True)
class Standing:
    """A decision today. `moved` None: the results it was taken on are not in git, or git is not there."""

    decision: Decision
    moved: tuple[Moved, ...] | None
    as_of: str = ""  # day of the newest record of these results [ISO]; "" not known


@dataclass(frozen=True)
class Subject:
    """What is set against each other: a measure in a phase, at a place of it."""

    measure: str
    phase: str
    at: str = ""


@dataclass(frozen=True)
class SeatingRule:
    """When a cylinder counts as seated, in the program's own words."""

    to_lose: float  # mm2: leak still to lose at most
    level: float  # mm2: leak area to the crankcase at most
    fit_through: str = ""  # last phase of the seating fit; "" the last fired one before any durability run


EVERY = ("*",)  # of a rule: what it asks where it names no criteria


@dataclass(frozen=True)
class Restated:
    """Something set beforehand that was changed, or first written down, once readings had come in."""

    what: str  # "primary", "to_lose", "level", "fit_through", "decide", or "criterion:" and its id
    before: Criterion | DecisionRule | Subject | float | str | None  # None: it was not there
    after: Criterion | DecisionRule | Subject | float | str | None
    until: str  # ISO day from which the new one stands in git; "" changed since the last commit
    readings: int  # of today's readings, those that were in git before the change
    of: int  # today's readings
    at_least: bool = False  # of a file that was changed since and is no text it is not known what was in


@dataclass(frozen=True)
class LeakdownRule:
    """The condition one curve holds: supply pressure, oil state and protocol; other readings are kept apart.

    What the program does not state of the protocol is None or empty; see `streams.leakdown.protocol`.
    """

    supply: Annotated[float, Quantity("gauge pressure")]  # Pa gauge, nominal
    oil: Literal["dry", "wet"] = "dry"
    supply_band: Annotated[float, Quantity("pressure difference")] = (
        14e3  # Pa: readings further off belong to another supply pressure
    )
    other_supplies: tuple[
        Annotated[float, Quantity("gauge pressure")], ...
    ] = ()  # Pa gauge, meant: never asked about as another unit
    metal: Mapping[str, Annotated[Window, Quantity("temperature", zero=True)]] = field(
        default_factory=dict
    )  # "warm", "cold" -> K, of the metal in that state
    since_stop: Annotated[Window, Quantity("time", zero=True)] | None = None  # s, of a warm reading
    locked: bool | None = None
    approached: tuple[str, ...] = ()  # how the position may be reached
    turns: Window | None = None  # of the crankshaft since the last test
    wait: Annotated[Window, Quantity("time", zero=True)] | None = None  # s, from opening the supply
    allowed: Annotated[tuple[float, float], Quantity("area")] | None = None  # m2 that a cylinder may leak


@dataclass(frozen=True)
class WearRule:
    """What presses the top ring besides its own tension; stated, since no sheet tells it."""

    gas_pressure: Annotated[
        float, Quantity("pressure difference", zero=True)
    ]  # Pa, mean behind the ring over the distance slid
    gas_balance: Annotated[
        float, Quantity("ratio", zero=True, share=True)
    ]  # share [-] of the face on which gas presses back


@dataclass(frozen=True)
class ClosureRule:
    """What the ways to measure wear may differ by; stated, since no record tells it."""

    not_face: Annotated[float | None, Quantity("mass", zero=True), Under(("flanks_and_ends",))] = (
        None  # kg a ring may lose at its flanks and ends; None: not stated
    )
    oil_holds: Annotated[tuple[float, float], Quantity("ratio", zero=True, share=True)] | None = (
        None  # least and most share [-] of what wore that oil can show
    )
    bore_density: Annotated[Density | None, Under(("bores", "density"))] = None  # kg/m3
    bore_iron: Annotated[float | None, Quantity("ratio", share=True), Under(("bores", "iron"))] = (
        None  # share [-] of the mass of the bores
    )


@dataclass(frozen=True)
class SpeedBand:
    low: Annotated[float, Quantity("speed"), Under(("from",))]  # rad/s
    high: Annotated[float, Quantity("speed"), Under(("to",))]  # rad/s


@dataclass(frozen=True)
class PowerRule:
    """The standard whose reference air pulls are brought to, the bands of speed they are told in, what is expected."""

    standard: Literal["", "SAE J1349", "SAE J607", "ISO 1585", "ISO 3046-1"] = ""  # "": as observed
    ignition: Literal["spark", "compression"] = "spark"
    charging: Literal["none", "boosted", "charge-cooled"] = "none"
    governed: bool = False  # full-load torque is the same in any air: nothing is corrected
    efficiency: Annotated[float, Quantity("ratio", share=True)] = 0.8  # mechanical [-]; ISO 3046-1
    fuel: Density | None = None  # kg per m3 displaced and cycle; ISO 1585, compression ignition
    coolant: Annotated[float | None, Quantity("temperature")] = None  # K, of the charge cooler; ISO 3046-1
    bands: tuple[SpeedBand, ...] = ()
    inertia: Annotated[float | None, Quantity("moment of inertia", zero=True)] = None  # kg m2, of all that turns
    compensated: bool | None = None  # whether the bench has added what speeds the masses up; None: not stated
    sequence: tuple[str, ...] = ()  # variants planned, one a day, in their order
    pulls: int = 4  # planned a day, the first of them for warming up
    pull_scatter: Annotated[float | None, Quantity("ratio")] = None  # sd [-] expected between pulls of a day
    day_scatter: Annotated[float | None, Quantity("ratio", zero=True)] = None  # sd [-] expected between days


@dataclass(frozen=True)
class FrictionRule:
    """The state in which an engine is driven or runs down, and what is expected of it."""

    speeds: tuple[Annotated[float, Quantity("speed")], ...] = ()  # rad/s, at which friction is told
    speed_band: Annotated[float, Quantity("speed")] = 10 * math.pi / 30  # rad/s, about each of them
    oil_temperature: Annotated[float, Quantity("temperature")] | None = None  # K, in the gallery; None: not stated
    oil_band: Annotated[float, Quantity("temperature difference")] = 1.0  # K
    plugs: Literal["", "in", "out"] = ""  # "": not stated
    throttle: Literal["", "open", "closed"] = ""
    window: Annotated[float, Quantity("speed")] = 200 * math.pi / 30  # rad/s, to either side, of a run down
    inertia: Annotated[float, Quantity("moment of inertia")] | None = None  # kg m2, of all that runs down
    inertia_error: Annotated[float, Quantity("moment of inertia", zero=True)] | None = None  # kg m2, standard
    days: int = 3  # planned a build, or of each variant
    runs: int = 3  # planned a day
    run_scatter: Annotated[float, Quantity("ratio")] | None = None  # sd [-] expected between runs of a day
    day_scatter: Annotated[float, Quantity("ratio", zero=True)] | None = None  # sd [-] expected between days
    oil_scatter: Annotated[float, Quantity("temperature difference", zero=True)] = 0.0  # K, sd expected between days


@dataclass(frozen=True)
class Against:
    """A measure of the rig and one of the engine, held against each other over coatings; stated before the data."""

    id: str
    title: str
    rig: Subject  # of no phase
    engine: Subject


@dataclass(frozen=True)
class RigRule:
    """What is planned and expected of specimens on the bench rig, and what of engines their order is held against."""

    specimens: int | None = None  # planned of each coating
    scatter: Annotated[float | None, Quantity("ratio")] = None  # sd [-] expected between specimens of a coating
    against: tuple[Against, ...] = ()


@dataclass(frozen=True)
class Tie:
    """Two measures that ought to agree within engines; stated before the data."""

    id: str
    title: str
    first: Subject
    second: Subject
    agree: Literal["alike", "opposite"] = "alike"  # as one grows the other is expected to grow, or to fall


@dataclass(frozen=True)
class VisitBands:
    """How near the visits to a reference point have to stay to their middle; the defaults are common practice."""

    speed: Annotated[Share, Under(("speed_band",))] = 0.01  # share
    torque: Annotated[Share, Under(("torque_band",))] = 0.02  # share
    oil: Annotated[float, Quantity("temperature difference"), Under(("oil_band",))] = 3.0  # K


@dataclass(frozen=True)
class WindowRule:
    """How a long run is cut into windows at one point of its schedule; the defaults are common practice."""

    settle: Annotated[float, Quantity("time", zero=True)] = 600.0  # s left out after a change of step, or a start
    every: Annotated[float, Quantity("time")] = 3600.0  # s, of a window where a step goes on for longer
    inlet: Annotated[float, Quantity("temperature difference"), Under(("inlet_band",))] | None = None  # K; None: any


@dataclass(frozen=True)
class WanderRule:
    """How slowly a bench wanders, as longer runs have shown it."""

    time: Annotated[float, Quantity("time", zero=True), Under(("time_constant",))]  # s
    blowby: Annotated[float, Quantity("ratio", zero=True)] | None = None  # standard deviation, share of the level
    hourly: Annotated[float, Quantity("ratio", zero=True)] = 0.0  # of means of an hour beside it, share of the level


@dataclass(frozen=True)
class ColdStart:
    """When a start is a cold one, and how long after it nothing is judged."""

    below: Annotated[float, Quantity("temperature")]  # K, of the oil, else of the coolant
    apart: Annotated[float, Quantity("time")] = 0.0  # s


@dataclass(frozen=True)
class RunRule:
    """How near to its schedule a run has to stay to count as planned."""

    speed_band: Annotated[float, Quantity("speed")]  # rad/s
    torque_band: Annotated[float, Quantity("torque")]  # N m
    held: Share  # share of the planned time within both bands, at least
    visits: Annotated[VisitBands, Under(("reference_points",))] = VisitBands()
    windows: WindowRule = WindowRule()
    wander: WanderRule | None = None
    cold_start: ColdStart | None = None  # None: cold starts are not told from others


@dataclass(frozen=True)
class InstrumentRule:
    """How a program looks after its instruments."""

    due_within: Annotated[float, Quantity("time")] = 60 * 86400.0  # s before its day that a calibration is told as due


@dataclass(frozen=True)
class GradeScale:
    """The program's own scale of grades for what an inspector sees."""

    grades: Mapping[float, str]  # grade -> what it stands for, in ascending order
    best: float  # the lowest or the highest of them

    @property
    def low(self) -> float:
        return min(self.grades)

    @property
    def high(self) -> float:
        return max(self.grades)


@dataclass(frozen=True)
class OilSource:
    """A part, or a group of parts, that metal in the oil may come from."""

    id: str
    title: str
    elements: Annotated[Mapping[str, Share], ELEMENTS]  # element -> share of its mass [-]
    coating: str = ""  # only in builds that hold it
    surface: Annotated[float, Quantity("area")] | None = None  # m2 that wear, all parts of the engine together
    density: Density | None = None  # kg/m3
    expected: Length | None = None  # m: wear of that surface expected over the program
    ring: str = ""  # weighed ring of every cylinder it stands for; of a coating it is the top ring where none is named

    @property
    def weighed_as(self) -> str:
        """Ring of the build sheet whose mass it loses: "top", "second", "oil"; "" it is no ring."""
        return self.ring or ("top" if self.coating else "")


@dataclass(frozen=True)
class OilRule:
    """How oil is sampled, and what the engine's metals may come from. A phase whose records name oil has a sample."""

    minutes: Annotated[tuple[float, float], Quantity("time", zero=True)] | None = None  # s after shutdown, from and to
    draw_point: str = ""
    mass_error: Share = 0.0  # standard uncertainty of a mass that was weighed or metered, share of it [-]
    left_after_drain: Annotated[float, Quantity("ratio", zero=True)] | None = (
        None  # share of the charge that a drain leaves in the engine [-]
    )
    analysed_within: Annotated[float, Quantity("time")] | None = None  # s from the drawing of a sample
    sources: tuple[OilSource, ...] = ()


@dataclass(frozen=True)
class Address:
    """Which column of a file is meant: by its header, or by its place, and then a header beside it has to be its."""

    header: str = ""
    which: int = 0  # of the columns under that header, counted from 1; 0: there is but one
    number: int = 0  # counted from 1, for a letter too
    left_of: Address | None = None

    @property
    def by_place(self) -> bool:
        """Whether it names no header."""
        return not self.header and (self.left_of is None or self.left_of.by_place)


@dataclass(frozen=True)
class ColumnUse:
    at: Address
    unit: str = ""
    where: Where = Where("")


@dataclass(frozen=True)
class RecordSource:
    """One table of one stream, and how it is to be read."""

    stream: str
    file: str  # relative to the program's folder
    where: Where
    form: Literal["long", "sheet"] = "long"
    columns: Mapping[str, ColumnUse] = field(default_factory=dict)  # field -> column; empty: headers "field [unit]"
    constants: Mapping[str, Any] = field(default_factory=dict)  # field -> text as written, quantities with their unit
    sheet_field: str = ""  # sheet form: what its cells hold
    sheet_unit: str = ""
    sheet_phases: Mapping[str, str] = field(default_factory=dict)  # header -> phase id
    # of what follows: "" or None where the entry leaves it to be found in the file
    separator: str = ""
    decimal: str = ""
    thousands: str = ""
    encoding: str = ""
    date_order: str = ""
    skip_rows: int | None = None
    units_row: bool | None = None
    sheet: str = ""  # worksheet of a workbook; "" the only one with something in it; in braces what its name says
    words: tuple[Words, ...] = ()  # the general ones first: later ones count before earlier
    apart: bool = False  # further worksheets of its workbook are read: ids and places name this one
    stem: str = ""  # what ids of its readings begin with; see `files.Claim`
    notes: tuple[str, ...] = ()  # on the entry, told with the file

    @property
    def ending(self) -> str:
        """What ids of readings and places add to the file: ":" and the worksheet where several are read."""
        return f":{self.sheet}" if self.apart else ""


@dataclass(frozen=True)
class LogTime:
    """How the instants of a log are written."""

    kind: Literal["elapsed", "clock", "date-and-time"]  # a number; one stamp; date and time of day in two columns
    at: tuple[Address, ...]  # none where it stands to the left of each channel
    unit: str = "s"  # of elapsed time
    date_order: str = ""  # "" where it is left to be found


@dataclass(frozen=True)
class LogChannel:
    """One channel of a log: what it is, and in which column and unit it stands."""

    name: str  # "speed", "torque", "blowby", "exhaust_temperature_2" ...
    at: Address
    unit: str
    meter: str = ""  # id, of a flow channel
    time: LogTime | None = None  # a time column of its own, at its own rate
    where: Where = Where("")
    drawn: str = ""  # title of a channel of one's own, which is drawn as it is written and enters nothing else


@dataclass(frozen=True)
class LogSource:
    """One log file of one phase of one build, and how it is to be read. Several may make up a phase."""

    file: str  # relative to the program's folder
    where: Where
    engine: str
    phase: str
    channels: tuple[LogChannel, ...]
    time: LogTime | None = None  # None: every channel has its own
    constants: Mapping[str, float] = field(default_factory=dict)  # channel that was not logged -> value, SI
    # of what follows: "" or None where the entry leaves it to be found in the file
    separator: str = ""
    decimal: str = ""
    encoding: str = ""
    skip_rows: int | None = None
    header_rows: int | None = None  # headers of several rows are joined by a blank
    units_row: bool | None = None
    sheet: str = ""
    stem: str = ""  # its id
    notes: tuple[str, ...] = ()  # on the entry, told with the file


@dataclass(frozen=True)
class Exclusion:
    """An objection to a reading that was accepted: it is left out, and shown as left out."""

    reading: str
    why: str
    by: str = ""
    on: Day = ""
    where: Where = Where("")


@dataclass(frozen=True)
class Accepted:
    """Objections of one review that were accepted."""

    review: str  # name of its file, without ending
    readings: tuple[str, ...]  # () all that it objects to
    by: str
    on: Day
    where: Where


Mark = Literal["agrees", "objects", "read again", "open question"]


@dataclass(frozen=True)
class ReviewItem:
    """One thing a reviewer said: of a reading, else of a cylinder, or of a whole build (cylinder 0)."""

    where: Where
    says: Mark
    engine: str
    cylinder: int = 0
    reading: str = ""
    cause: str = ""  # id of one of the program's causes
    why: str = ""


@dataclass(frozen=True)
class Review:
    """What one person found going through the results."""

    where: Where
    id: str  # name of its file, without ending
    reviewer: str
    on: Day
    results: str  # first digits of the hash of the results that were looked at
    items: tuple[ReviewItem, ...]


@dataclass(frozen=True)
class ReviewRule:
    """How results are gone through."""

    causes: Mapping[str, str] = field(default_factory=dict)  # id -> title
    blinded: bool = False
    knows: tuple[str, ...] = ()  # people who know the coatings


@dataclass(frozen=True)
class Reviewed:
    """A review today. `moved` by place of its items: what moved of it since; None: git does not hold its results."""

    review: Review
    moved: Mapping[int, tuple[Moved, ...]] | None
    as_of: Day = ""  # newest record of the results that were looked at
    about: Mapping[str, tuple[str, int]] = field(default_factory=dict)  # reading it names -> build, cylinder (0: build)


@dataclass(frozen=True)
class Effect:
    """What leaving one reading out does, or, where that is accepted, what taking it back would do."""

    reading: str
    accepted: bool
    moved: tuple[Moved, ...]  # answers and states first
    others: int  # values besides that move within their intervals


_Named = TypeVar("_Named", Phase, Build)


def _named(each_of: Sequence[_Named], wanted: str) -> _Named:
    for each in each_of:
        if each.id == wanted:
            return each
    raise LookupError(f"there is no {wanted!r}")


@dataclass(frozen=True)
class Program:
    id: str
    title: str
    question: str
    folder: str  # absolute path of the program's folder; never printed
    where: Where
    definitions: Definitions
    reference: str  # coating id
    candidates: tuple[str, ...]
    primary_measure: str
    primary_phase: str
    planned_builds: int
    allocation_scheme: str
    allocation_seed: int | None
    phases: tuple[Phase, ...]
    builds: tuple[Build, ...]
    seating: SeatingRule
    leakdown: LeakdownRule
    criteria: tuple[Criterion, ...] = ()
    criteria_stated: str = ""  # ISO date
    criteria_hash: str = ""
    decide: DecisionRule | None = None
    decisions: tuple[Decision, ...] = ()
    records: tuple[RecordSource, ...] = ()
    logs: tuple[LogSource, ...] = ()
    run: RunRule | None = None  # None: runs are not held against their schedule
    limits: Mapping[str, Window] = field(default_factory=dict)  # of channels in every phase; those of a phase go before
    exclusions: tuple[Exclusion, ...] = ()
    accepted: tuple[Accepted, ...] = ()  # of reviews; what they leave out is among the exclusions
    review: ReviewRule | None = None
    reviews: tuple[Review, ...] = ()
    notes: str = ""  # Markdown file relative to the program's folder
    invented: bool = False  # example data, said in the footer of every page
    version: str = ""
    primary_at: str = ""
    answered_by: Subject | None = None  # what answers the question; None: the primary measure
    not_primary: str = ""  # why that is not the primary measure
    also: tuple[Subject, ...] = ()  # exploratory comparisons named in the program; none: those offered
    covariates: tuple[Subject, ...] = ()  # fixed before the first start
    worth_finding: float | None = None  # difference that matters: share for a ratio, else in the measure's unit
    scatter_from: tuple[str, ...] = ()  # programs that lend the scatter between their builds
    scatter_where: Where = Where("")  # that it is said
    lent: tuple[tuple[str, tuple[Value, ...]], ...] = ()  # their values, put in before the analysis
    inspection: GradeScale | None = None  # None: the program file states no scale of grades
    oil: OilRule = OilRule()
    wear: WearRule | None = None  # None: what presses the rings is not stated
    closure: ClosureRule = ClosureRule()
    power: PowerRule = PowerRule()
    friction: FrictionRule = FrictionRule()
    rig: RigRule = RigRule()
    instruments: InstrumentRule = InstrumentRule()
    ties: tuple[Tie, ...] = ()
    sampled: Mapping[str, Mapping[str, tuple[int, ...]]] = field(default_factory=dict)  # stream -> build -> cylinders
    strange: Mapping[str, str] = field(default_factory=dict)  # measures of streams this version lacks -> unit as stated
    words: tuple[Words, ...] = ()  # of the definitions and the whole program; record entries hold them with their own
    passed_over: tuple[Problem, ...] = ()  # one warning of what belongs to such streams

    def phase(self, phase: str) -> Phase:
        return _named(self.phases, phase)

    def build(self, build: str) -> Build:
        return _named(self.builds, build)

    def phases_of(self, build: Build) -> tuple[Phase, ...]:
        """Phases this build runs or has still to run, in plan order."""
        skipped = {each.phase for each in build.departures if each.kind == "skipped"}
        return tuple(p for p in self.phases if p.id not in skipped and (not p.only or build.id in p.only))

    def planned_hours(self, build: Build) -> float:
        """Seconds that a build was to run in phases of kind durability, those skipped later counted."""
        own = (p for p in self.phases if p.kind == "durability" and (not p.only or build.id in p.only))
        return sum(phase.seconds for phase in own)

    def planned(self, of: Build | None = None) -> list[tuple[Build, Phase, str]]:
        """Every planned record, or those of one build: build, phase, stream."""
        return [
            (b, p, stream)
            for b in (self.builds if of is None else (of,))
            for p in self.phases_of(b)
            for stream in p.records
            if self.planned_cylinders(b, stream)
        ]

    @property
    def expected_wear(self) -> tuple[float, float] | None:
        """Least and most wear [m] of ring faces that the file expects, over its coatings; None where it says none."""
        own = [each.expected for each in self.oil.sources if each.coating and each.expected]
        return (min(own), max(own)) if own else None

    def planned_cylinders(self, build: Build, stream: str) -> tuple[int, ...]:
        """Cylinders of a build that get a kind of record: all, or those of the sample."""
        every = tuple(place.cylinder for place in build.places)
        return self.sampled[stream].get(build.id, ()) if stream in self.sampled else every

    @property
    def coatings(self) -> tuple[str, ...]:
        """Reference first, then candidates."""
        return (self.reference, *self.candidates)


@dataclass(frozen=True)
class Left:
    """A program with errors: nothing is concluded from it until they are mended."""

    id: str
    errors: tuple[Problem, ...]


@dataclass(frozen=True)
class Folder:
    """A programs folder: its definitions and its programs, in order of their ids."""

    path: str
    definitions: Definitions
    programs: Sequence[Program]  # those without errors
    left: Sequence[Left] = ()  # those with errors
    blind: bool = False  # for reviewers who are not to know the coatings; see `blinding`
