"""Run logs with a known truth: what an engine does through a phase, second by second, and what its sensors show.

The schedule is followed with ramps and a controller's noise. Gas leaks past the rings as through the leak areas of the
engine's cylinders, so it settles over the same sliding distance as they do; it rises with load and speed, wanders
slowly and flutters. What the engine has turned and the gas that has passed are known beside what the log says of them.
The sizes of all effects are our own, picked to look usual; none has a source.

Draws come from streams of their own, so the other records do not move. Units of this module: s, rpm, N m, degC, kPa,
L/min, km, mm2.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter
from scipy.special import ndtri

from simulate.engine import KELVIN, EngineTruth
from simulate.flow import R_AIR

Array = NDArray[np.float64]

DISPLACEMENT = math.pi / 4 * 0.0875**2 * 0.1 * 4  # m3
STROKE_KM = 2 * 0.1 / 1000  # km a revolution
NORMAL = 101.325e3, KELVIN  # Pa, K: conditions of the second meter's scale
STATED = 100e3, 293.15  # Pa, K: conditions true flows are given at
SETTLED = 20.0  # s after a step's start; ramps and meters have come to rest by then
SPEED_RATE, TORQUE_RATE = 200.0, 20.0  # rpm/s, N m/s
STANDSTILL = 60.0  # rpm: below it the engine is not running
SECOND_BIAS = 1.018  # of the second meter
TIME_CONSTANT = {"M1": 1.5, "M2": 0.5}  # s
WANDER, WANDER_TIME, FLUTTER = 0.02, 20.0, 0.01  # share, s, share


# ---- schedules ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Step:
    """A stretch of running: at one speed, or from one to another."""

    seconds: int
    speed: float  # rpm
    torque: float  # N m
    speed_to: float = -1.0  # rpm; below zero: as `speed`
    reference: bool = False

    @property
    def end(self) -> float:
        """Speed [rpm] at its end."""
        return self.speed if self.speed_to < 0 else self.speed_to


def _at_reference(seconds: int) -> Step:
    return Step(seconds, 1300, 60, reference=True)


SCHEDULES: Mapping[str, tuple[Step, ...]] = {  # as in the program files
    "run-in-10": (Step(315, 900, 20), Step(210, 1100, 40), _at_reference(75)),
    "run-in-25": (_at_reference(75), Step(300, 1400, 80), _at_reference(150), Step(300, 1400, 80), _at_reference(75)),
    "run-in-60": (
        _at_reference(75), Step(600, 1700, 120), _at_reference(75), Step(600, 1700, 120), _at_reference(75),
        Step(600, 1800, 140), _at_reference(75),
    ),
    "pulls": 4 * (Step(180, 1500, 80), Step(30, 1200, 150, speed_to=2200)),
    "durability": (Step(40 * 3600, 1800, 140),),
}  # fmt: skip


@dataclass(frozen=True)
class Departure:
    """Something that was not run as planned, so many seconds of schedule after the first start."""

    kind: str  # "stop": then on where it was; "excursion": in place of the plan; "no sweep": the speed before it held
    at: int
    seconds: int = 0
    speed: float = 0.0
    torque: float = 0.0


def departed(steps: Sequence[Step], departure: Departure) -> tuple[Step, ...]:
    """The schedule as it was run."""
    run: list[Step] = []
    begin = 0
    for step in steps:
        end = begin + step.seconds
        inside = begin <= departure.at < end
        if not inside:
            run.append(step)
        elif departure.kind == "no sweep":
            run.append(replace(run[-1], seconds=step.seconds))
        else:
            before = departure.at - begin
            after = step.seconds - before - (departure.seconds if departure.kind == "excursion" else 0)
            run += [
                replace(step, seconds=before),
                Step(departure.seconds, departure.speed, departure.torque),
                replace(step, seconds=after),
            ]
        begin = end
    return tuple(each for each in run if each.seconds)


# ---- signals --------------------------------------------------------------------------------------------------------


class Draws:
    """Normal deviates by the array, the same on every machine."""

    def __init__(self, *names: object) -> None:
        self._next = random.Random("/".join(map(str, names))).random  # noqa: S311 - a simulator, no secret

    def between(self, low: float, high: float) -> float:
        """A number spread evenly between two."""
        return low + (high - low) * self._next()

    def normal(self, count: int, sd: float = 1.0) -> Array:
        """Independent deviates."""
        even = np.fromiter((self._next() for _ in range(count)), np.float64, count)
        return np.asarray(ndtri(np.maximum(even, 1e-12)) * sd)

    def wander(self, count: int, sd: float, time: float) -> Array:
        """Deviates that forget with a time constant [s], a second apart; their scatter is the same throughout."""
        kept = math.exp(-1 / time)
        fresh = self.normal(count, sd) * math.sqrt(1 - kept**2)
        fresh[0] /= math.sqrt(1 - kept**2)
        return np.asarray(lfilter([1.0], [1.0, -kept], fresh))


def lagged(signal: Array, time: float, start: float | None = None) -> Array:
    """What something with a time constant [s] makes of a signal, a second a sample; at rest before it begins."""
    kept = math.exp(-1 / time)
    first = float(signal[0]) if start is None else start
    # the state that makes the sample before the first one `first`
    out, _ = lfilter([1 - kept], [1.0, -kept], signal, zi=[kept * first])
    return np.asarray(out)


def limited(aim: Array, rate: float) -> Array:
    """A signal that starts at zero and follows the aim of each second no faster than `rate` a second."""
    out, now = [0.0], 0.0
    for wanted in aim.tolist():
        now += min(max(wanted - now, -rate), rate)
        out.append(now)
    return np.array(out)


def aims(steps: Sequence[Step]) -> tuple[Array, Array]:
    """Speed [rpm] and torque [N m] wanted at the end of each second."""
    speed = [np.linspace(step.speed, step.end, step.seconds + 1)[1:] for step in steps]
    return np.concatenate(speed), np.concatenate([np.full(step.seconds, float(step.torque)) for step in steps])


def integral(signal: Array) -> float:
    """Trapezoids over samples a second apart."""
    return float(np.sum(signal[1:] + signal[:-1]) / 2)


def _so_far(signal: Array) -> Array:
    return np.concatenate([[0.0], np.cumsum((signal[1:] + signal[:-1]) / 2)])


# ---- the engine -----------------------------------------------------------------------------------------------------


def leak_area(engine: EngineTruth, km: Array, hours: Array) -> Array:
    """Leak area past the rings of all cylinders together [mm2], of a first assembly after so much running."""
    total = np.zeros_like(km)
    for each in engine.cylinders:
        total += each.plateau + (each.start - each.plateau) * np.exp(-km / each.scale) + each.growth * hours
    return total


def brake_pressure(torque: Array) -> Array:
    """Brake mean effective pressure [kPa] of the four-stroke engine."""
    return 4 * math.pi * torque / DISPLACEMENT / 1000


def gas_past_rings(area: Array, speed: Array, torque: Array) -> Array:
    """Mass flow [kg/s] through a leak area [mm2].

    Choked flow of hot gas at a mean cylinder pressure that rises with load; gas pressure behind the rings and the oil
    film close half of what a leak-down tester finds. A little more at speed, when rings lift.
    """
    pressure = 100e3 + 0.35e3 * (brake_pressure(torque) + 150)
    running = np.clip(speed / 300, 0.0, 1.0)
    return np.asarray(
        0.5 * area * 1e-6 * 0.0404184 * pressure / math.sqrt(600) * np.maximum(speed / 1300, 0.01) ** 0.15 * running
    )


def volume(mass: Array, pressure: Array | float, temperature: Array | float) -> Array:
    """Volume flow [L/min] of a mass flow [kg/s] of gas as light as air, at [Pa], [K]."""
    return np.asarray(mass * R_AIR * temperature / pressure * 60_000)


# ---- a run ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Setup:
    """How a run is started and what goes wrong with it."""

    engine: EngineTruth
    phase: str
    start: str  # ISO stamp of the first sample
    km: float = 0.0  # slid before it since the rings were fitted
    hours: float = 0.0  # of durability running before it
    ambient: float = 100.6  # kPa
    second: bool = True  # a second meter stands behind the first
    departures: tuple[Departure, ...] = ()
    dead: tuple[str, ...] = ()  # channels that never move
    stuck: Mapping[str, int] = field(default_factory=dict)  # channel -> s from the first sample, from which it is stuck


@dataclass(frozen=True)
class ReferencePoint:
    """One visit of the reference point, settled: from `SETTLED` after its beginning to its end."""

    begin: float  # s from the first sample, of the step
    end: float  # s
    km: float  # slid since the rings were fitted, at the middle of the settled part
    flow: float  # L/min at 20 degC and 100 kPa: mean of the gas that passed in the settled part
    level: float  # L/min: the same without wander and flutter


@dataclass(frozen=True)
class RunTruth:
    """What is known of one logged phase."""

    engine: str
    phase: str
    start: str  # ISO stamp of the first sample
    seconds: float  # from the first sample to the last
    running: float  # s with the engine turning
    revolutions: float
    energy: float  # J, at the brake
    km: tuple[float, float]  # slid since the rings were fitted, before and after
    scales: tuple[float, ...]  # km, seating scales of its cylinders, each once
    reference_points: tuple[ReferencePoint, ...]
    flow: float  # L/min at 20 degC and 100 kPa, mean over the whole log
    stops: tuple[tuple[float, float], ...]  # s, from and to: at rest between two stretches of running
    departures: tuple[tuple[str, float, float], ...]  # kind, from and to [s]
    dead: tuple[str, ...]
    stuck: Mapping[str, int]
    second_bias: float | None  # of the second meter over the first, in mass; None where there is none


@dataclass(frozen=True, eq=False)
class Run:
    """One logged phase: what its sensors show, a second a sample, and the truth behind."""

    truth: RunTruth
    time: Array  # s from the first sample
    shown: Mapping[str, Array]  # channel -> what is shown, not yet rounded
    speed: Array  # rpm, true
    torque: Array  # N m, true
    flow: Array  # L/min at 20 degC and 100 kPa, true
    level: Array  # L/min, without wander and flutter


def run(seed: int, setup: Setup) -> Run:
    """Run one phase. Standstill before the first start and after the last stop is part of the log."""

    def draws(what: str) -> Draws:
        return Draws(seed, setup.engine.engine, setup.phase, "log", what)

    plan: tuple[Step, ...] = SCHEDULES[setup.phase]
    for departure in setup.departures:
        plan = departed(plan, departure)
    before = int(draws("wait").between(6, 15))
    plan = (Step(before, 0, 0), *plan, Step(14, 0, 0))
    aim_speed, aim_torque = aims(plan)
    speed, torque = limited(aim_speed, SPEED_RATE), limited(aim_torque, TORQUE_RATE)
    count = len(speed)
    turning = np.clip(speed / 600, 0.0, 1.0)
    speed = speed + turning * draws("speed").wander(count, 3.0, 3.0)
    torque = torque + turning * draws("torque").wander(count, 0.8, 2.0)
    alive = speed > STANDSTILL
    km = setup.km + _so_far(speed) / 60 * STROKE_KM
    hours = setup.hours + (_so_far(alive.astype(float)) / 3600 if setup.phase == "durability" else np.zeros(count))
    steady = gas_past_rings(leak_area(setup.engine, km, hours), speed, torque)
    unrest = draws("wander").wander(count, WANDER, WANDER_TIME) + draws("flutter").normal(count, FLUTTER)
    mass = steady * (1 + unrest)
    shown = {**_conditions(setup, draws, speed, torque), "speed": speed, "torque": torque}
    shown.update(_meters(setup, draws, mass, shown["blowby_temperature"], shown["ambient_pressure"]))
    for name, sd in (("speed", 1.0), ("torque", 0.3)):
        shown[name] = shown[name] + np.where(alive | (name == "torque"), draws(f"shown {name}").normal(count, sd), 0.0)
    for name in setup.dead:
        shown[name] = np.zeros(count)
    for name, since in setup.stuck.items():
        shown[name] = np.where(np.arange(count) < since, shown[name], shown[name][since])
    flow, level = volume(mass, *STATED), volume(steady, *STATED)
    truth = _truth(setup, plan, speed, torque, km, flow, level)
    return Run(truth, np.arange(count, dtype=np.float64), shown, speed, torque, flow, level)


def _conditions(setup: Setup, draws: Callable[[str], Draws], speed: Array, torque: Array) -> dict[str, Array]:
    """Temperatures [degC] and pressures [kPa] about the engine."""
    count = len(speed)
    alive = speed > STANDSTILL
    room = 21 + draws("room").wander(count, 0.8, 4 * 3600)
    cold = setup.phase in {"run-in-10", "durability"}  # else heaters keep oil and coolant warm between the phases
    warm, warm_coolant = (
        (21.0, 21.0) if cold else (draws("warm").between(80, 84), draws("warm coolant").between(66, 72))
    )
    oil = lagged(np.where(alive, 88 + 0.02 * torque, warm) + draws("regulator").wander(count, 0.4, 60), 200, warm)
    coolant = lagged(np.where(alive, 82 + 0.02 * torque, warm_coolant), 120, warm_coolant)
    coolant = coolant + draws("thermostat").wander(count, 0.4, 40)
    gas = lagged(room + 10 + 0.2 * (oil - room), 60)
    weather = draws("weather").wander(count, 0.05, 3600) + draws("trend").between(-0.01, 0.01) * np.arange(count) / 3600
    pumped = np.minimum((60 + 0.16 * speed) * np.exp((90 - oil) / 120), 480) * np.clip(speed / 500, 0, 1)
    shown = {
        "oil_temperature": oil + draws("shown oil").normal(count, 0.06),
        "coolant_temperature": coolant + draws("shown coolant").normal(count, 0.06),
        "blowby_temperature": gas,
        "ambient_pressure": setup.ambient + weather,
        "oil_pressure": lagged(pumped, 1.0, 0.0) + draws("shown oil pressure").normal(count, 1.5),
    }
    offsets = draws("cylinders").normal(len(setup.engine.cylinders), 9.0)
    for cylinder, offset in zip(setup.engine.cylinders, offsets.tolist(), strict=True):
        burnt = 380 + 1.3 * torque + 0.08 * (speed - 1000) + offset
        own = draws(f"exhaust {cylinder.cylinder}")
        shown[f"exhaust_temperature_{cylinder.cylinder}"] = (
            lagged(np.where(alive, burnt, warm), 12, warm) + own.wander(count, 1.5, 15) + own.normal(count, 0.4)
        )
    return shown


def _meters(
    setup: Setup, draws: Callable[[str], Draws], mass: Array, temperature: Array, ambient: Array
) -> dict[str, Array]:
    """What the blow-by meters show [L/min], and the pressures they cause [kPa]."""
    count = len(mass)
    through = volume(mass, *STATED)
    behind = 0.02e-3 * through**2 if setup.second else np.zeros(count)  # kPa, back-pressure of the second meter
    pressure = ambient + behind
    first = lagged(volume(mass, pressure * 1000, temperature + KELVIN), TIME_CONSTANT["M1"], 0.0)
    moving = first > 0.3
    shown = {
        "blowby": np.where(moving, first + draws("M1").normal(count, 0.1), 0.0),
        "blowby_pressure": pressure + draws("shown pressure").normal(count, 0.01),
        "crankcase_pressure": lagged(behind + 0.002 * through, 1.0, 0.0) + draws("crankcase").normal(count, 0.004),
    }
    if setup.second:
        standard = lagged(volume(mass, *NORMAL), TIME_CONSTANT["M2"], 0.0)
        shown["blowby_2"] = SECOND_BIAS * standard + 0.1 + draws("M2").normal(count, 0.12)
    return shown


def _truth(
    setup: Setup, plan: Sequence[Step], speed: Array, torque: Array, km: Array, flow: Array, level: Array
) -> RunTruth:
    alive = speed > STANDSTILL
    points, begin = [], 0
    for step in plan:
        end = begin + step.seconds
        settled = slice(begin + int(SETTLED), end + 1)
        if step.reference:
            middle = (begin + int(SETTLED) + end) // 2
            means = float(flow[settled].mean()), float(level[settled].mean())
            points.append(ReferencePoint(begin, end, float(km[middle]), *means))
        begin = end
    first = plan[0].seconds
    return RunTruth(
        setup.engine.engine,
        setup.phase,
        setup.start,
        seconds=float(len(speed) - 1),
        running=integral(alive.astype(np.float64)),
        revolutions=integral(speed) / 60,
        energy=integral(torque * speed * math.pi / 30),
        km=(setup.km, float(km[-1])),
        scales=tuple(sorted({each.scale for each in setup.engine.cylinders})),
        reference_points=tuple(points),
        flow=integral(flow) / (len(flow) - 1),
        stops=stops_of(alive),
        departures=tuple(
            (each.kind, float(first + each.at), float(first + each.at + each.seconds)) for each in setup.departures
        ),
        dead=setup.dead,
        stuck=setup.stuck,
        second_bias=SECOND_BIAS if setup.second else None,
    )


def stops_of(alive: NDArray[np.bool_]) -> tuple[tuple[float, float], ...]:
    """Stretches at rest [s] between two of running: first and last sample at rest."""
    running = np.flatnonzero(alive)
    after = np.flatnonzero(np.diff(running) > 1)
    return tuple((float(running[each] + 1), float(running[each + 1] - 1)) for each in after)
