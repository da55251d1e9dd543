"""A series on the bench rig for the 2026 example, with a known truth: three coatings, three specimens each.

Friction falls to its steady value as an exponential; the force cell has a zero of its own, so that one way alone would
mislead; specimens of a coating scatter by more than the strokes of one. The known truth is the point, not the physics.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from simulate.engine import Chance

NITRIDED, HARD, GRADED = "nitrided", "hard-crn", "graded-crn"

COATINGS = {  # steady mu at mid-stroke and at reversal, specific wear [µm3/(N m)]
    NITRIDED: (0.108, 0.131, 42.0),
    HARD: (0.112, 0.135, 11.0),
    GRADED: (0.094, 0.124, 19.0),
}
OF_SPECIMEN, OF_WEAR, OF_ROW = 0.05, 0.35, 0.0022  # shares between specimens; mu between rows
FOLD, DROP, DECLARED = 200.0, 0.30, "4 min"  # s; share of the steady value; as stated
LOAD, HERTZ, STROKE, CELSIUS = 80, 10, 8, 110  # N, Hz, mm, degC
STEP, LONG = 20, 2400  # s
OF_MAP, SHORT, PACE = (40, 160, 320), 200, 4  # N; s; s
SETTLED = 20  # s, of a specimen that has run in already
ORDER = (NITRIDED, GRADED, HARD, GRADED, NITRIDED, HARD, HARD, NITRIDED, GRADED)
GERMAN = 4  # specimen whose file an older recorder wrote
HEAD = (
    "specimen", "coating", "forces", "lot", "liner", "honing", "oil", "oil_hours [h]", "load [N]", "stroke [mm]",
    "frequency [Hz]", "temperature [degC]", "area [mm2]", "run_in [min]", "sliding [min]", "scar_volume [mm3]", "date",
    "operator", "remark",
)  # fmt: skip
LOTS = {NITRIDED: "N-204", GRADED: "G-017", HARD: "H-031"}


@dataclass(frozen=True)
class Truth:
    """What a specimen has in truth."""

    coating: str
    mid: float
    reversal: float
    wear: float  # µm3/(N m)
    zero: float  # N, of the force cell


def truths(seed: int) -> dict[str, Truth]:
    """By specimen."""
    made = {}
    for n, coating in enumerate(ORDER, start=1):
        chance = Chance(seed, "rig", n)
        mid, reversal, wear = COATINGS[coating]
        share = math.exp(chance.normal(OF_SPECIMEN))
        own = wear * math.exp(chance.normal(OF_WEAR))
        made[f"S{n}"] = Truth(coating, mid * share, reversal * share, own, 0.6 + chance.normal(0.3))
    return made


def records(seed: int) -> dict[str, bytes]:
    """The table and the files of forces, by path from the folder of the program."""
    files: dict[str, bytes] = {}
    rows = []
    for n, (name, truth) in enumerate(truths(seed).items(), start=1):
        chance = Chance(seed, "rig", "strokes", n)
        path = f"rig/{name.lower()}.csv"
        files[path] = _german(name, truth, chance) if n == GERMAN else _plain(name, truth, chance)
        volume = truth.wear * 1e-9 * LOAD * 2 * STROKE * 1e-3 * HERTZ * LONG
        same = (LOTS[truth.coating], "L-12", "plateau", "gas-40", "0")
        date = f"2026-01-{12 + n:02d}"
        conditions = (str(LOAD), str(STROKE), str(HERTZ), str(CELSIUS))
        own = ("4.0", "4", f"{LONG / 60:.0f}", f"{volume:.3g}", date, "K. L.", "")
        rows.append((name, truth.coating, path, *same, *conditions, *own))
        if n <= len(COATINGS):
            mapped = f"rig/{name.lower()}-loads.csv"
            files[mapped] = _loads(name, truth, chance)
            rows.append((name, truth.coating, mapped, *same, "", *conditions[1:], "4.0", f"{SETTLED / 60:.3g}", "", "",
                         date, "K. L.", "steps of load; run in already"))  # fmt: skip
    files["rig/s10.csv"] = _magnitudes("S10", Chance(seed, "rig", "strokes", 10))
    own = ("4.0", "4", "", "", "2026-01-23", "K. L.", "recorder gave magnitudes only")
    rows.append(("S10", GRADED, "rig/s10.csv", LOTS[GRADED], *same[1:], *conditions, *own))
    lines = [",".join(HEAD), *(",".join(row) for row in rows)]
    return {"records/rig.csv": ("\n".join(lines) + "\n").encode(), **files}


def _mu(truth: Truth, where: str, seconds: float, chance: Chance, load: float = LOAD, drop: float = DROP) -> float:
    """Of the strokes about that time; a heavier load takes some of the film away."""
    steady = (truth.mid if where == "mid" else truth.reversal) * (load / LOAD) ** 0.12
    return float(steady * (1 + drop * math.exp(-seconds / FOLD)) + chance.normal(OF_ROW))


def _forces(truth: Truth, mu: float, load: float) -> tuple[str, str]:
    return f"{mu * load + truth.zero:.2f}", f"{-mu * load + truth.zero:.2f}"


def _strokes(truth: Truth, chance: Chance) -> Sequence[tuple[int, str, str, str]]:
    return [
        (at, where, *_forces(truth, _mu(truth, where, at, chance), LOAD))
        for at in range(STEP, LONG + STEP, STEP)
        for where in ("mid", "reversal")
    ]


def _plain(name: str, truth: Truth, chance: Chance) -> bytes:
    lines = [
        f"Specimen: {name}", f"Load: {LOAD} N", f"Frequency: {HERTZ} Hz", f"Stroke: {STROKE} mm",
        f"Temperature: {CELSIUS} degC", "Each row: mean of 400 strokes", "",
        "time [s],class,forward [N],back [N]",
    ]  # fmt: skip
    lines += [",".join(map(str, row)) for row in _strokes(truth, chance)]
    return ("\n".join(lines) + "\n").encode()


def _german(name: str, truth: Truth, chance: Chance) -> bytes:
    words = {"mid": "Mitte", "reversal": "Umkehr"}
    lines = [f"Probe;{name}", f"Normalkraft;{LOAD},0 N", f"Frequenz;{HERTZ} Hz", f"Hub;{STROKE} mm",
             f"Temperatur;{CELSIUS} °C", "", "Zeit;Hublage;Reibkraft hin;Reibkraft her", "s;-;N;N"]  # fmt: skip
    for at, where, forward, back in _strokes(truth, chance):
        lines.append(f"{at};{words[where]};{forward.replace('.', ',')};{back.replace('.', ',')}")
    return ("\r\n".join(lines) + "\r\n").encode("cp1252")


def _loads(name: str, truth: Truth, chance: Chance) -> bytes:
    lines = [f"Specimen: {name}"]
    for load in OF_MAP:
        lines += ["", f"Load: {load} N", "time [s],class,forward [N],back [N]"]
        for at in range(PACE, SHORT + PACE, PACE):
            for where in ("mid", "reversal"):
                mu = _mu(truth, where, at, chance, load, drop=0.0)
                lines.append(",".join((str(at), where, *_forces(truth, mu, load))))
    return ("\n".join(lines) + "\n").encode()


def _magnitudes(name: str, chance: Chance) -> bytes:
    lines = [f"Specimen: {name}", f"Load: {LOAD} N", "", "time [s],class,magnitude [N]"]
    lines += [f"{at},mid,{LOAD * 0.095 + chance.normal(0.1):.2f}" for at in range(60, LONG + 60, 60)]
    return ("\n".join(lines) + "\n").encode()
