"""Pulls found in run logs: logs made here two ways, with what is no pull in them, from a file to results and page."""

from __future__ import annotations

import datetime
import math
import re
import tracemalloc
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import pytest
from house import plain
from numpy.typing import NDArray

from pulls.test_stream import factor, page, results, true_torque
from sitegen import cli
from sitegen.logs.sweeps import find_sweeps
from sitegen.methods.pulls import over_band
from sitegen.methods.sweeps import Planned, rises
from sitegen.program.model import Address, LogChannel, LogSource, LogTime, Where

Floats = NDArray[np.float64]
INERTIA = 0.4  # kg m2
AIR = (98.6, 26.0, 45.0)  # kPa, degC, %
IDLE = (1000.0, 25.0)
RULE = """
power:
  standard: ISO 1585
  bands: [{from: 1200 rpm, to: 1700 rpm}, {from: 1700 rpm, to: 2200 rpm}]
  inertia: 0.4 kg m2
  compensated: false
"""


class Bench:
    """Speed [rpm] and torque [N m] read, sample by sample; what the masses take is not in what is read."""

    def __init__(self, rate: float = 10.0, seed: int = 1) -> None:
        self.rate, self.chance = rate, np.random.default_rng(seed)
        self.speed: list[float] = []
        self.torque: list[float] = []

    def hold(self, seconds: float, speed: float = IDLE[0], torque: float = IDLE[1]) -> Bench:
        count = round(seconds * self.rate)
        self.speed += [speed] * count
        self.torque += [torque] * count
        return self

    def sweep(self, seconds: float = 30.0, to: float = 2300.0, share: float = 1.0, begin: float = 1100.0) -> Bench:
        """From 1100 rpm at an even rate, at a share of full load; let go at the end."""
        rate = 1200 / seconds  # rpm/s
        own = np.arange(begin, to, rate / self.rate)
        taken = INERTIA * rate * math.pi / 30
        self.hold(3, begin, 60)
        self.speed += own.tolist()
        self.torque += [share * true_torque(n) / factor(AIR) - taken for n in own.tolist()]
        back = np.linspace(to, IDLE[0], round(6 * self.rate))
        self.speed += back.tolist()
        self.torque += [-15.0] * len(back)
        return self.hold(20)

    def read(self) -> tuple[Floats, Floats, Floats]:
        n = len(self.speed)
        noise = self.chance.normal
        return (np.arange(n) / self.rate, np.array(self.speed) + noise(0, 1.5, n),
                np.array(self.torque) + noise(0, 0.8, n))  # fmt: skip


def english(bench: Bench, air: bool = True) -> str:
    """Elapsed time, comma separated; torque in lb-ft, the barometer in inHg."""
    t, n, m = bench.read()
    heads = ["Time [s]", "Engine speed [rpm]", "Brake torque [lb-ft]"]
    heads += ["Baro [inHg]", "Inlet air [degF]", "RH [%]"] if air else []
    own = (AIR[0] / 3.386389, AIR[1] * 1.8 + 32, AIR[2])
    rows = [f"{a:.1f},{b:.1f},{c / 1.3558179483314004:.3f}" + (",{:.3f},{:.1f},{:.0f}".format(*own) if air else "")
            for a, b, c in zip(t.tolist(), n.tolist(), m.tolist(), strict=True)]  # fmt: skip
    return "\n".join([",".join(heads), *rows]) + "\n"


def german(bench: Bench, begin: datetime.datetime) -> str:
    """Stamps day first, semicolons and decimal commas, headers above a row of units; the air once in five seconds."""
    t, n, m = bench.read()
    lines = ["Zeit;Drehzahl;Drehmoment;Luftdruck;Lufttemperatur;Luftfeuchte", ";1/min;Nm;hPa;°C;%"]
    for at, (a, b, c) in enumerate(zip(t.tolist(), n.tolist(), m.tolist(), strict=True)):
        stamp = (begin + datetime.timedelta(seconds=a)).strftime("%d.%m.%Y %H:%M:%S.%f")[:-3]
        own = (f"{10 * AIR[0]:.1f}", f"{AIR[1]:.1f}", f"{AIR[2]:.0f}") if at % 25 == 0 else ("", "", "")
        lines.append(f"{stamp};" + ";".join([f"{b:.1f}", f"{c:.2f}", *own]).replace(".", ","))
    return "\n".join(lines) + "\n"


ENGLISH = """      time: {column: "Time [s]", unit: s}
      channels:
        speed: {header: "Engine speed [rpm]", unit: rpm}
        torque: {header: "Brake torque [lb-ft]", unit: lb-ft}
"""
ENGLISH_AIR = """        ambient_pressure: {header: "Baro [inHg]", unit: inHg absolute}
        air_temperature: {header: "Inlet air [degF]", unit: degF}
        air_humidity: {header: "RH [%]", unit: "%"}
"""
GERMAN = """      time: {clock: Zeit, date_order: day first}
      units_row: true
      channels:
        speed: {header: Drehzahl, unit: rpm}
        torque: {header: Drehmoment, unit: N m}
        ambient_pressure: {header: Luftdruck, unit: hPa absolute}
        air_temperature: {header: Lufttemperatur, unit: degC}
        air_humidity: {header: Luftfeuchte, unit: "%"}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return plain(tmp_path)


def written(
    folder: Path, logs: Sequence[tuple[str, str, str]], rows: Iterable[str], head: str = "engine,phase,date,log",
    rule: str = RULE,
) -> Path:  # fmt: skip
    """A program with these logs (name, text, the rest of its entry) and these rows of pulls."""
    (folder / "pump" / "logs").mkdir()
    entries = ""
    for name, text, rest in logs:
        (folder / "pump" / "logs" / name).write_text(text, encoding="utf-8")
        entries += f"    - file: logs/{name}\n      engine: B1\n      phase: pulls\n{rest}"
    (folder / "pump" / "records" / "pulls.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    program = folder / "pump" / "program.yaml"
    known = program.read_text(encoding="utf-8").replace("    records: [leakdown]", "    records: [leakdown, pulls]")
    known = f"{known.rstrip()}\n  runlog:\n{entries}  pulls:\n    - file: records/pulls.csv\n{rule}"
    program.write_text(known, encoding="utf-8")
    return folder


def told(folder: Path, capsys: pytest.CaptureFixture[str]) -> str:
    cli.main(["check", str(folder)])
    return " ".join(capsys.readouterr().out.split())


def mean_of(low: float, high: float) -> float:
    return float(np.mean([true_torque(each) for each in np.linspace(low, high, 4001)]))


BANDS = {"": (1200, 2200), "1200-1700-rpm": (1200, 1700), "1700-2200-rpm": (1700, 2200)}


def test_pulls_of_an_english_log_come_back_at_reference_air(folder: Path, tmp_path: Path) -> None:
    """Three pulls, the masses' share added and the air taken from the log; the truth is in neither."""
    bench = Bench().hold(60)
    for seconds in (32.0, 30.0, 28.0):
        bench.sweep(seconds)
    entry = ENGLISH + ENGLISH_AIR
    written(folder, [("b1.csv", english(bench), entry)], ["B1,pulls,2026-05-04,logs/b1.csv"])
    found = results(folder, tmp_path)
    for at, (low, high) in BANDS.items():
        assert float(found["power.torque", at]["value"]) == pytest.approx(mean_of(low, high), rel=1e-3)
        assert found["power.torque", at]["n"] == "1"
    taken = INERTIA * 1200 / 29 * math.pi / 30
    observed = float(found["power.observed", ""]["value"])
    assert observed == pytest.approx(mean_of(1200, 2200) / factor(AIR), rel=1.5e-3)
    assert taken / observed > 0.01  # so the test would see it missing
    assert "Three pulls of 4 May 2026 were found in the log b1.csv." in page(tmp_path)


def test_a_german_log_of_two_days_gives_each_its_own(folder: Path, tmp_path: Path) -> None:
    """Stamps divide a log by days; other rate of samples, units, marks and headers; the air in few rows."""
    first, second = Bench(5, 2).hold(30), Bench(5, 3).hold(30)
    for bench, count in ((first, 4), (second, 3)):
        for _ in range(count):
            bench.sweep(30)
    text = german(first, datetime.datetime.fromisoformat("2026-05-04T09:30"))
    text += "\n".join(german(second, datetime.datetime.fromisoformat("2026-05-05T08:10")).split("\n")[2:])
    written(folder, [("pruefstand.csv", text, GERMAN)],
            [f"B1,pulls,2026-05-0{n},pruefstand" for n in (4, 5)])  # fmt: skip
    found = results(folder, tmp_path)
    assert found["power.torque", ""]["n"] == "2"
    for at, (low, high) in BANDS.items():
        assert float(found["power.torque", at]["value"]) == pytest.approx(mean_of(low, high), rel=1e-3)
    assert "Four pulls of 4 May 2026 were found in the log pruefstand. Three pulls of 5 May 2026" in page(tmp_path)


def test_what_is_no_pull_is_told_and_in_no_mean(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:  # fmt: skip
    """Broken off, a step of load within a sweep, full load held step by step, a sweep at half load, a run-up."""
    bench = Bench().hold(10, 100, 0).sweep(30).sweep(30).sweep(30, to=1850)
    begin = len(bench.speed)
    bench.sweep(30)
    at = begin + round((1600 - 1100) / 40 * 10)
    bench.torque[at : at + 200] = [0.6 * each for each in bench.torque[at : at + 200]]
    for step in range(1150, 2300, 100):
        bench.hold(8, step, true_torque(step) / factor(AIR))
    bench.hold(10)
    bench.sweep(30, share=0.5).sweep(30)
    written(folder, [("b1.csv", english(bench), ENGLISH + ENGLISH_AIR)], ["B1,pulls,2026-05-04,logs/b1.csv"])
    out = told(folder, capsys)
    assert re.search(r"a sweep from 1200 to 18[345]\d rpm", out)
    assert "it does not run through the whole range" in out
    assert "torque steps on the way" in out
    found = results(folder, tmp_path)
    assert float(found["power.torque", ""]["value"]) == pytest.approx(mean_of(1200, 2200), rel=1e-3)
    assert "Three pulls of 4 May 2026 were found in the log b1.csv; two sweeps more are left out." in page(tmp_path)
    data = (tmp_path / "site" / "programs" / "pump" / "data.html").read_text(encoding="utf-8")
    assert "b1.csv: 3 pulls found on 2026-05-04, 4 other rises of speed are none" in data
    assert "not at full load: 1" in data
    assert "speed stands still on the way: 1" in data


@pytest.mark.parametrize(
    ("make", "row", "wanted"),
    [
        (lambda: Bench().hold(300), "2026-05-04,logs/b1.csv", "no full-load sweep was found in the log on 2026-05-04"),
        (
            lambda: Bench().hold(60).sweep(30, share=0.2),
            "2026-05-04,logs/b1.csv",
            "1 other rise of speed is none (not at full load: 1)",
        ),
        (lambda: Bench().sweep(30), "2026-05-04,logs/b2.csv", "is no run log of B1 in pulls"),
        (lambda: Bench().sweep(12).sweep(12), "2026-05-04,logs/b1.csv", "at another rate than the schedule's ramps"),
    ],
)
def test_a_log_without_a_pull_is_said_to_be_one(
    folder: Path, capsys: pytest.CaptureFixture[str], make: object, row: str, wanted: str
) -> None:
    assert callable(make)
    written(folder, [("b1.csv", english(make()), ENGLISH + ENGLISH_AIR)], [f"B1,pulls,{row}"])
    out = told(folder, capsys)
    assert wanted in out
    assert "pump/records/pulls.csv:2" in out


def test_what_the_log_lacks_is_stated_by_the_row_or_refused(folder: Path, tmp_path: Path) -> None:
    """A day's air stands in its row, with one pull that has its own; without inertia nothing is told but why."""
    bench = Bench().hold(20).sweep(30).sweep(30).sweep(30)
    head = "engine,phase,date,log,pull,barometer [kPa absolute],inlet [degC],humidity [%]"
    rows = ["B1,pulls,2026-05-04,b1,,98.6,26,45", "B1,pulls,2026-05-04,b1,3,96.6,26,45"]
    written(folder, [("b1.csv", english(bench, air=False), ENGLISH)], rows, head)
    found = results(folder, tmp_path)
    third = factor((96.6, 26.0, 45.0)) / factor(AIR)
    wanted = mean_of(1200, 2200) * math.sqrt(third)  # the mean of the second and the third
    assert float(found["power.torque", ""]["value"]) == pytest.approx(wanted, rel=1.2e-3)
    program = folder / "pump" / "program.yaml"
    text = program.read_text(encoding="utf-8").replace("  inertia: 0.4 kg m2\n", "")
    program.write_text(text, encoding="utf-8")
    found = results(folder, tmp_path)
    assert found["power.torque", ""]["reason"] == "sweep-without-inertia"
    assert "neither their inertia nor a compensation is stated" in page(tmp_path)


def test_pulls_entered_and_found_do_not_count_twice(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    head = "engine,phase,date,log,pull,speed [rpm],torque [N m]"
    rows = ["B1,pulls,2026-05-04,b1,,,", "B1,pulls,2026-05-04,,1,1500,140", "B1,pulls,2026-05-05,b1,,1500,140"]
    written(folder, [("b1.csv", english(Bench().sweep(30)), ENGLISH + ENGLISH_AIR)], rows, head)
    out = told(folder, capsys)
    assert "would count twice" in out
    assert "a log is named and a torque or speed entered as well" in out


def _source(name: str) -> LogSource:
    channels = [("speed", "n", "rpm"), ("torque", "T", "N m")]
    where = Where("p", 1)
    return LogSource(name, where, "B1", "pulls", tuple(LogChannel(a, Address(b), c) for a, b, c in channels),
                     LogTime("elapsed", (Address("t"),)))  # fmt: skip


def test_a_long_log_is_looked_through_in_bounded_memory(tmp_path: Path) -> None:
    """Eight hours at 10 Hz with pulls at the seams of what is looked at together: all are found, none twice."""
    bench = Bench()
    for _ in range(14):
        bench.sweep(30).hold(1985)
    path = tmp_path / "long.csv"
    with path.open("w", encoding="utf-8") as file:
        file.write("t,n,T\n")
        file.writelines(f"{a:.1f},{b:.1f},{c:.2f}\n" for a, b, c in zip(*bench.read(), strict=True))
    tracemalloc.start()
    found = find_sweeps(_source("long.csv"), path, "long.csv", (1200 * math.pi / 30, 2200 * math.pi / 30), 1.9e-4)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    begins = [each.rise.begin for each in found.pulls]
    assert len(begins) == 14
    assert np.ptp(np.diff(begins)) < 1.0
    assert most < 150e6


def test_a_schedule_says_which_ramps_are_pulls(tmp_path: Path) -> None:
    bench = Bench().hold(10).sweep(30).sweep(30).sweep(60)
    path = tmp_path / "log.csv"
    path.write_text("t,n,T\n" + "".join(f"{a:.1f},{b:.1f},{c:.2f}\n" for a, b, c in zip(*bench.read(), strict=True)))
    band = (1200 * math.pi / 30, 2200 * math.pi / 30)

    def words(*planned: Planned) -> list[str]:
        found = find_sweeps(_source("log.csv"), path, "log.csv", band, 1.9e-4, planned)
        return [each.rise.word for each in found.swept]

    assert words() == ["", "", ""]
    assert words(Planned(*band, 25.0, None)) == ["", "", "pull-not-planned"]
    assert words(Planned(*band, 50.0, 145.0)) == ["", "", "pull-part-load"]


@pytest.mark.parametrize(
    ("rate", "seconds", "noise", "even"),
    [
        (1.0, 60.0, 2.0, 1.0),
        (1.0, 20.0, 2.0, 1.0),
        (50.0, 4.0, 5.0, 1.0),
        (2.0, 300.0, 4.0, 1.0),
        (10.0, 30.0, 1.5, 0.6),
    ],
)
def test_pulls_of_any_rate_come_back(tmp_path: Path, rate: float, seconds: float, noise: float, even: float) -> None:
    """Four to 300 s, one to fifty samples a second, and a sweep that gains pace: mean torque within 0.25 % of the true.

    The scatter of the samples alone is 0.1 to 0.2 % of such a mean.
    """
    chance, step = np.random.default_rng(5), 1 / rate
    speed: list[float] = []
    torque: list[float] = []
    for _ in range(6):
        share = np.arange(0, seconds, step) / seconds
        own = 1050 + 1300 * (even * share + (1 - even) * share**2)
        taken = INERTIA * np.gradient(own, step) * math.pi / 30
        speed += [900.0] * round(30 * rate) + own.tolist() + np.linspace(2350, 900, round(8 * rate)).tolist()
        torque += [20.0] * round(30 * rate) + [true_torque(n) - a for n, a in zip(own, taken, strict=True)]
        torque += [-15.0] * round(8 * rate)
    rows = zip(np.arange(len(speed)) * step, speed + chance.normal(0, noise, len(speed)),
               torque + chance.normal(0, noise / 2, len(speed)), strict=True)  # fmt: skip
    path = tmp_path / "log.csv"
    path.write_text("t,n,T\n" + "".join(f"{a:.3f},{b:.1f},{c:.2f}\n" for a, b, c in rows), encoding="utf-8")
    band = (1200 * math.pi / 30, 2200 * math.pi / 30)
    pulls = [each.rise for each in find_sweeps(_source("log.csv"), path, "log.csv", band, 1.9e-4).pulls]
    assert len(pulls) == 6
    found = [over_band(each.speeds.tolist(), (each.torques + INERTIA * each.rates).tolist(), *band) for each in pulls]
    assert np.mean(found) == pytest.approx(mean_of(1200, 2200), rel=2.5e-3)


def test_rises_are_parted_by_falls() -> None:
    speed = np.array([1.0, 5.0, 4.9, 9.0, 3.0, 3.1, 3.0, 8.0])
    assert rises(speed, 1.0) == [(0, 3), (4, 7)]
    assert rises(speed[::-1], 10.0) == []
