"""The example of long runs: three engines of one coating each, planned for 100 h, with a known truth.

A run-in, then cycles of an hour: 50 min at load, 10 min at the reference point. One engine runs all hours while its
blow-by rises slowly, one scuffs a cylinder at a known minute, one is stopped by its water pump. Logs have a row every
ten seconds. The sizes of all effects are our own, picked to look usual; none has a source.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from simulate import inspection, logfiles, logplans, logs, oil, programs, sheets, tables
from simulate.engine import KELVIN, Chance, EngineTruth, Scatter
from simulate.logfiles import Column, LogForm
from simulate.logs import Draws, Step, lagged

Array = NDArray[np.float64]

FOLDER = "pump-rings-hours"
ROW = 10  # s between two rows of a log
_LOAD, _POINT = Step(3000, 1800, 140), Step(600, 1300, 60, reference=True)
_SHORT = replace(_POINT, seconds=300)
CHANGE = Step(1800, 0, 0)  # oil changed with the engine at rest
SCHEDULES: Mapping[str, tuple[Step, ...]] = {  # as in the program file
    "run-in": (Step(600, 900, 20), _SHORT, Step(900, 1400, 80), _SHORT, Step(1200, 1700, 120), _SHORT),
    "hours-25": 25 * (_LOAD, _POINT),
    "hours-50": 25 * (_LOAD, _POINT),
    "hours-100": 50 * (_LOAD, _POINT),
}
PLANNED = {"hours-25": 25.0, "hours-50": 25.0, "hours-100": 50.0}  # h
LATER = tuple(PLANNED)
WANDER, WANDER_TIME = 0.01, 3600.0  # share of blow-by; s
DAILY = 0.008  # share of blow-by, of the cycle of a day
FLUTTER = 0.01  # share, from row to row
BREATHER = 0.1  # Pa for the square of a flow in L/min: a fixed opening


@dataclass(frozen=True)
class Long:
    """One build as it was run."""

    name: str
    coating: str
    start: str  # date of the cold build
    operator: str
    drift: float  # share of the seated leak area an hour
    ended: float = 100.0  # h of the cycles, after which it stood
    scuffed: int = 0  # cylinder
    onset: float = math.inf  # h of the cycles
    jump: float = 0.0  # share of blow-by
    pump: bool = False  # its water pump leaks at the end
    opened: bool = False  # after hours-25: rings taken out, weighed, and fitted again
    stamped: bool = False  # the log says the time of day
    days: Mapping[str, int] = field(default_factory=dict)  # phase -> days after the cold build on which it ended

    @property
    def phases(self) -> tuple[str, ...]:
        """What it was run through."""
        before, run = 0.0, ["cold-build", "run-in"]
        for phase in LATER:
            run += [phase] * (before < self.ended)
            run += ["opened"] * (self.opened and phase == "hours-25")
            before += PLANNED[phase]
        return (*run, "teardown")

    def ran(self, phase: str) -> float:
        """Hours of the cycles run in a phase."""
        before = sum(PLANNED[each] for each in LATER[: LATER.index(phase)]) if phase in LATER else 0.0
        return max(min(PLANNED.get(phase, 0.0), self.ended - before), 0.0)

    def before(self, phase: str) -> float:
        """Hours of the cycles run before a phase."""
        return sum(self.ran(each) for each in LATER[: LATER.index(phase)]) if phase in LATER else 0.0


_DAYS = {"cold-build": 0, "run-in": 1, "hours-25": 3, "opened": 4, "hours-50": 6, "hours-100": 10, "teardown": 12}
LONG = (
    Long("C1", "graded-crn", "2026-08-03", "M. A.", 0.06 / 100, stamped=True, days=_DAYS),
    Long("C2", "hard-crn", "2026-08-31", "K. L.", 0.02 / 100, 68.5, 3, 68.3, 0.065, days={**_DAYS, "hours-100": 8}),
    Long("C3", "nitrided", "2026-09-28", "R. S.", 0.03 / 100, 46.2, pump=True, opened=True, days=_DAYS),
)


# ---- checks and parts -----------------------------------------------------------------------------------------------


def plan_of(build: Long) -> programs.Plan:
    """The build for what the other examples record too."""
    name = build.name.lower()
    scuffed = {(build.scuffed, inspection.BORE_PLACES[0]): "marked"} if build.scuffed else {}
    return programs.Plan(
        build.name, build.start, dict.fromkeys((1, 2, 3, 4), build.coating), build.operator, f"leakdown-{name}.csv",
        programs.OWN_2025_FORM, programs.OWN_SHEET, phases=build.phases, days=build.days,
        refit="opened", turned={each: _turned(build, each) for each in build.phases if each in SCHEDULES},
        lasted={each: build.ran(each) for each in LATER}, sheets=("cold-build", "opened", "teardown"),
        inspected=inspection.Inspected(("M. A.", "K. L."), scuffed=scuffed),
    )  # fmt: skip


def _turned(build: Long, phase: str) -> float:
    """Revolutions of a phase."""
    return sum(step.seconds * step.speed / 60 for step in steps_of(build, phase))


def truth_of(seed: int, build: Long) -> tuple[EngineTruth, dict[int, tuple[sheets.RingTruth, ...]]]:
    """The build as it is: leak areas grow with the hours, and one jumps where it scuffs."""
    engine, fitted = programs.truth_of(seed, plan_of(build), Scatter())
    jump = build.jump * sum(each.plateau for each in engine.cylinders)
    cylinders = tuple(
        replace(
            each,
            growth=build.drift * each.plateau,
            onset=build.onset if each.cylinder == build.scuffed else math.inf,
            jump=jump if each.cylinder == build.scuffed else 0.0,
        )
        for each in engine.cylinders
    )
    return replace(engine, cylinders=cylinders), fitted


# ---- oil ------------------------------------------------------------------------------------------------------------

TOP_UPS = (14.0, 38.0, 64.0, 88.0)  # h of the cycles
OIL_CHANGES = (25.0, 50.0, 75.0)
LOST = {"C1": 14.0, "C2": 12.0, "C3": 17.0}  # g/h


def oil_of(seed: int, build: Long, engine: EngineTruth) -> oil.Record:
    """Samples, fills, top-ups and drains: changed after the run-in and after every 25 h, all weighed."""
    chance = Chance(seed, build.name, "oil")
    spread = {symbol: chance.spread(0.12) for symbol in oil.PARTS}
    bias = {symbol: chance.spread(0.015) for symbol in oil.METALS}
    fresh, metal, made = oil.FRESH["gas-40"], dict.fromkeys(oil.METALS, 0.0), dict.fromkeys(oil.METALS, 0.0)
    run_in = sum(step.seconds for step in SCHEDULES["run-in"]) / 3600
    held = hours = lost = since = 0.0
    events: list[tuple[str, str, str, float | None, float]] = []
    samples: list[oil.Drawn] = []
    truth, consumed = {}, []

    def fill(kind: str, phase: str, mass: float, at: float | None) -> None:
        nonlocal held
        held += mass
        for symbol in metal:
            metal[symbol] += mass * fresh[symbol]
        events.append((build.name, phase, kind, at, oil.weighed(chance, mass)))

    def take(mass: float) -> None:
        nonlocal held
        for symbol in metal:
            metal[symbol] *= 1 - mass / held
        held -= mass

    def run(until: float, phase: str) -> None:
        nonlocal held, hours, lost
        count = max(round((until - hours) * 60), 1)
        step, gone = (until - hours) / count, LOST[build.name] / 1000 * (until - hours) / count
        for _ in range(count):
            worn = oil.worn(engine, "durability" if phase in LATER else phase, hours, hours + step, spread)
            for symbol, mass in worn.items():
                made[symbol] += mass
                metal[symbol] = (metal[symbol] + mass) * (1 - gone / held)
            held, lost, hours = held - gone, lost + gone, hours + step

    def change(phase: str, where: str) -> None:
        """A sample, then the drain, weighed."""
        nonlocal lost, since
        on_fill = hours - since
        mass = round(0.1 * chance.spread(0.05), 3)
        cells = oil.reported(chance, {symbol: metal[symbol] / held for symbol in metal}, bias, oil.OilPlan((), ""))
        day = build.days[phase] - (where == "75")
        date = (datetime.date.fromisoformat(build.start) + datetime.timedelta(days=day)).isoformat()
        minutes = round(chance.between(2.2, 4.8), 1)
        samples.append(
            oil.Drawn(
                build.name, phase, f"{build.name}-{where}", minutes, "dipstick", f"{build.name}-1", date, mass, cells,
                oil.condition_of(on_fill), hours=hours if where == "75" else None,
            )
        )  # fmt: skip
        truth[where] = dict(made)
        take(mass)
        drained = held - oil.LEFT * chance.spread(0.03) * oil.CHARGE
        take(drained)
        events.append((build.name, phase, "drain", hours if where == "75" else None, oil.weighed(chance, drained)))
        consumed.append((where, 1000 * lost / on_fill))
        lost, since = 0.0, hours

    fill("fill", "cold-build", oil.CHARGE, None)
    metal["Mo"] += oil.PASTE
    run(run_in, "run-in")
    change("run-in", "run-in")
    for phase in build.phases:
        if phase not in LATER:
            continue
        begun, end = build.before(phase), build.before(phase) + build.ran(phase)
        fill("fill", phase, oil.CHARGE * (1 - oil.LEFT), None)
        for at in sorted((*TOP_UPS, *OIL_CHANGES)):
            if not begun < at < end:
                continue
            run(run_in + at, phase)
            if at in TOP_UPS:
                fill("top-up", phase, 0.2, hours)
            else:
                change(phase, f"{at:.0f}")
                fill("fill", phase, oil.CHARGE * (1 - oil.LEFT), hours)
        run(run_in + end, phase)
        change(phase, f"{end:.0f}")
    return oil.Record(samples, events, oil.OilTruth(truth, consumed))


# ---- logs -----------------------------------------------------------------------------------------------------------

_SHORTER = {  # unit, decimals, scale: no digit more than is needed over so many rows
    "torque": ("N m", 0, logfiles.SAME),
    "crankcase_pressure": ("Pa gauge", 0, (1000.0, 0.0)),
    "oil_temperature": ("degC", 0, logfiles.SAME),
    "coolant_temperature": ("degC", 0, logfiles.SAME),
    "ambient_pressure": ("hPa absolute", 0, (10.0, 0.0)),
}
COLUMNS = tuple(
    Column(each.channel, each.header, *_SHORTER.get(each.channel, (each.unit, each.decimals, each.scale)))
    for each in logplans.SECONDS.columns
    if each.channel != "blowby_2"
)


@dataclass(frozen=True)
class RunTruth:
    """What is known of one logged phase."""

    engine: str
    phase: str
    start: str  # ISO stamp of the first row
    hours: tuple[float, float]  # of the cycles, before and after
    km: tuple[float, float]  # slid since the rings were fitted
    onset: float  # s from the first row, of the scuffing; infinite where there was none


@dataclass(frozen=True, eq=False)
class Run:
    """One logged phase, a row every ten seconds."""

    truth: RunTruth
    time: Array  # s from the first row
    shown: Mapping[str, Array]
    speed: Array  # rpm, true
    torque: Array  # N m, true
    hours: Array  # of the cycles
    level: Array  # L/min at 20 degC and 100 kPa, without wander, cycle of the day and flutter


def steps_of(build: Long, phase: str) -> tuple[Step, ...]:
    """The schedule of a phase as far as it was run, with the oil change in it."""
    run: list[Step] = []
    left = round(build.ran(phase) * 3600) if phase in LATER else 10**9
    for step in SCHEDULES[phase]:
        if left > 0:
            run.append(replace(step, seconds=min(step.seconds, left)))
            left -= step.seconds
        if phase == "hours-100" and len(run) == 50 and build.ended > 75:
            run.append(CHANGE)
    return tuple(run)


def run(seed: int, build: Long, engine: EngineTruth, phase: str, km: float) -> Run:
    """Run one phase from cold; `km` slid before it since the rings were fitted."""

    def draws(what: str) -> Draws:
        return Draws(seed, build.name, phase, "log", what)

    def wander(what: str, sd: float, time: float) -> Array:
        return draws(what).wander(count, sd, time / ROW)

    steps = (Step(ROW, 0, 0), *steps_of(build, phase), Step(2 * ROW, 0, 0))
    speed, torque = (
        np.concatenate([np.full(step.seconds // ROW, float(getattr(step, name))) for step in steps])
        for name in ("speed", "torque")
    )
    count = len(speed)
    start = _start(build, phase, ROW * count)
    alive = speed > 0
    slid = km + _so_far(speed) / 60 * logs.STROKE_KM
    hours = build.before(phase) + (_so_far(alive.astype(float)) / 3600 if phase in LATER else np.zeros(count))
    scuffed = np.clip((hours - build.onset) * 20, 0.0, 1.0)  # within three minutes
    speed = np.where(alive, speed + wander("speed", 2.0, 30), 0.0)
    torque = np.where(alive, torque + wander("torque", 0.4, 1800) - 3 * scuffed, 0.0)
    clock = (start.hour + ROW / 3600 * np.arange(count)) * math.pi / 12
    day = np.sin(clock - 9 * math.pi / 12)  # warmest at three in the afternoon
    steady = logs.gas_past_rings(_area(build, engine, phase, slid, hours, scuffed), speed, torque)
    mass = steady * (1 + wander("blow-by", WANDER, WANDER_TIME) + DAILY * day + draws("flutter").normal(count, FLUTTER))
    shown = _shown(build, phase, draws, speed, torque, 21 + 3 * day, mass, scuffed)
    onset = float(ROW * np.argmax(hours > build.onset)) if hours[-1] > build.onset >= hours[0] else math.inf
    truth = RunTruth(
        build.name, phase, start.isoformat(), (float(hours[0]), float(hours[-1])), (km, float(slid[-1])), onset
    )
    return Run(
        truth, ROW * np.arange(count, dtype=float), shown, speed, torque, hours, logs.volume(steady, *logs.STATED)
    )


def _so_far(rate: Array) -> Array:
    """What has come together by each row of a rate by the second."""
    return np.concatenate([[0.0], np.cumsum(rate[1:])]) * ROW


def _start(build: Long, phase: str, seconds: int) -> datetime.datetime:
    """Seven in the morning, so that the phase ends on its day."""
    end = datetime.date.fromisoformat(build.start) + datetime.timedelta(days=build.days[phase])
    whole = (7 * 3600 + seconds) // 86400
    return datetime.datetime.combine(end - datetime.timedelta(days=whole), datetime.time(7))


def _area(build: Long, engine: EngineTruth, phase: str, km: Array, hours: Array, scuffed: Array) -> Array:
    """Leak area past the rings of all cylinders [mm2]."""
    total = np.zeros_like(km)
    second = build.opened and phase in LATER[1:]
    for each in engine.cylinders:
        first = each.refitted_start if second else each.start
        total += each.plateau + (first - each.plateau) * np.exp(-km / each.scale) + each.growth * hours
        total += each.jump * scuffed
    return total


def _shown(
    build: Long, phase: str, draws: Callable[[str], Draws], speed: Array, torque: Array, room: Array, mass: Array,
    scuffed: Array,
) -> dict[str, Array]:  # fmt: skip
    """What the sensors show: temperatures [degC], pressures [kPa], flow [L/min]."""
    count, alive = len(speed), speed > 0

    def noise(what: str, sd: float) -> Array:
        return draws(f"shown {what}").normal(count, sd)

    oil_ = lagged(np.where(alive, 88 + 0.02 * torque, room), 200 / ROW, 21.0)
    coolant = lagged(np.where(alive, 82 + 0.02 * torque, room), 120 / ROW, 21.0)
    if build.pump and phase == LATER[1]:  # it leaks for the last six minutes
        coolant = coolant + np.clip(np.arange(count) - count + 36, 0, None) * 0.4
    gas = lagged(room + 10 + 0.2 * (oil_ - room), 60 / ROW)
    ambient = 100.6 + draws("weather").wander(count, 0.3, 12 * 3600 / ROW)
    through = logs.volume(mass, ambient * 1000, gas + KELVIN)
    pumped = np.minimum((60 + 0.16 * speed) * np.exp((90 - oil_) / 120), 480) * alive
    shown = {
        "speed": np.where(alive, speed + noise("speed", 1.0), 0.0),
        "torque": torque + noise("torque", 0.3),
        "blowby": np.where(through > 0.3, through + noise("M1", 0.1), 0.0),
        "crankcase_pressure": (BREATHER * through**2 + noise("crankcase", 1.5)) / 1000,
        "oil_pressure": pumped + noise("oil pressure", 1.5),
        "oil_temperature": oil_ + noise("oil", 0.1),
        "coolant_temperature": coolant + noise("coolant", 0.3),
        "blowby_temperature": gas,
        "ambient_pressure": ambient,
    }
    offsets = Draws(build.name, "cylinders").normal(4, 9.0).tolist()
    for number, offset in enumerate(offsets, start=1):
        burnt = 380 + 1.3 * torque + 0.08 * (speed - 1000) + offset
        hotter = 7 * scuffed if number == build.scuffed else 0.0
        own = draws(f"exhaust {number}").wander(count, 1.0, 7200 / ROW) + noise(f"exhaust {number}", 1.0)
        shown[f"exhaust_temperature_{number}"] = lagged(np.where(alive, burnt + hotter, room), 1.2, 21.0) + own
    return shown


def runs(seed: int = programs.SEED) -> Iterator[tuple[str, Run]]:
    """Every logged phase: its file below the programs folder, and the run."""
    for build in LONG:
        engine, _ = truth_of(seed, build)
        km = 0.0
        for phase in build.phases:
            km = 0.0 if phase == "opened" else km
            if phase in SCHEDULES:
                ran = run(seed, build, engine, phase, km)
                km = ran.truth.km[1]
                yield f"{FOLDER}/logs/{build.name.lower()}-{phase}.csv", ran


def run_logs(seed: int = programs.SEED) -> dict[str, bytes]:
    """The logs by path below the programs folder."""
    plain, stamped = LogForm(COLUMNS), LogForm(COLUMNS, time="iso", time_headers=("Stamp",))
    clocks = {build.name for build in LONG if build.stamped}
    return {
        name: logfiles.written(ran, stamped if ran.truth.engine in clocks else plain)  # type: ignore[arg-type] # alike
        for name, ran in runs(seed)
    }


# ---- what was written down ------------------------------------------------------------------------------------------

EVENTS = """\
engine,phase,at [min],what,cylinder,lasted [min],meter,moved,tight,by,remark
C1,cold-build,,crankcase-check,,,,,yes,M. A.,"foam at seals, covers and dipstick"
C1,hours-25,90,meter-check,,,M1,yes,,M. A.,by the fixed line from outside the cell with its flame arrester
C1,hours-100,1500,stop,,30,,,,M. A.,oil changed
C1,hours-100,1530,restart,,,,,,M. A.,
C2,cold-build,,crankcase-check,,,,,yes,K. L.,"foam at seals, covers and dipstick"
C2,hours-25,95,meter-check,,,M1,yes,,K. L.,by the fixed line from outside the cell with its flame arrester
C2,hours-100,1110,stop,3,,,,,K. L.,"blow-by up and torque down unasked: load off, stopped"
C3,cold-build,,crankcase-check,,,,,yes,R. S.,"foam at seals, covers and dipstick"
C3,hours-25,85,meter-check,,,M1,yes,,R. S.,by the fixed line from outside the cell with its flame arrester
C3,hours-50,1272,stop,,,,,,R. S.,water pump leaks at its bearing; coolant rising
"""


def example(seed: int = programs.SEED) -> tuple[dict[str, EngineTruth], dict[str, bytes]]:
    """Truth by build, and the record tables by path below the programs folder."""
    engines, files, oils = {}, {f"{FOLDER}/records/events.csv": EVENTS.encode()}, []
    for build in LONG:
        plan = plan_of(build)
        engine, fitted = truth_of(seed, build)
        engines[build.name] = engine
        rows = programs.readings_of(seed, plan, engine, Scatter())
        name = f"{FOLDER}/records/{{}}-{build.name.lower()}.csv"
        files[name.format("leakdown")] = tables.long(rows, plan.form)
        files[name.format("buildsheet")] = tables.long(programs.sheet_rows(seed, plan, engine, fitted), plan.sheet)
        files[name.format("inspection")] = tables.long(programs.inspected(seed, plan, engine), programs.SEEN_FORM)
        oils.append(oil_of(seed, build, engine))
    files[f"{FOLDER}/records/oil-events.csv"] = oil.events(oils)
    files[f"{FOLDER}/records/oil-samples.csv"] = oil.wide([sample for each in oils for sample in each.samples])
    return engines, files


def table_of(seed: int = programs.SEED) -> str:
    """The truth as a table: when each engine stood, its blow-by at the reference point, the oil it lost."""
    lines = ["build coating     ended h  drift %/100 h  onset h  oil g/h  made mg by the last sample: Fe, Cr"]
    for build in LONG:
        engine, _ = truth_of(seed, build)
        known = oil_of(seed, build, engine).truth
        made = list(known.made.values())[-1]
        lines.append(
            f"{build.name:5} {build.coating:11} {build.ended:7.1f} {1e4 * build.drift:14.1f} {build.onset:8.1f}"
            f" {LOST[build.name]:8.1f}  {made['Fe']:.1f}, {made['Cr']:.1f}"
        )
    for name, ran in runs(seed):
        load = (ran.speed > 1700) & (ran.speed < 1900)
        begin, end = ran.level[load][:300].mean(), ran.level[load][-300:].mean()
        onset = "" if math.isinf(ran.truth.onset) else f", scuffing from {ran.truth.onset:.0f} s"
        lines.append(f"{name}: level at load {begin:.2f} to {end:.2f} L/min{onset}")
    return "\n".join(lines)
