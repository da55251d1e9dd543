"""What the stream of the rig concludes, declared once. All of it is of a coating: a specimen is in no engine."""

from __future__ import annotations

from sitegen.vocabulary import Measure

_BENCH = "A bench says nothing of an engine by itself: ASTM G181 claims no correlation."
_SPECIMEN = (
    "The specimen is the unit: strokes of one share its surfaces, its alignment and its oil. Means and ratios are of "
    "logarithms."
)
_ALIKE = "Specimens at equal load, stroke, frequency, temperature and oil only; mid-stroke and reversal stay apart."

MU = Measure(
    "rig.mu", "coefficient of friction of a specimen", "1", "less",
    "Half the difference of the forces forward and back over the load, so that the zero of the force cell cancels; "
    "steady part past four declared time constants of running-in, mean by five batches with their scatter.",
    "(F→ − F←) / (2·N)",
    "ASTM G181 for the conditions; B. Schmeiser, Operations Research 30 (1982) 556 (batches); in simulations the "
    "interval holds 93 to 94 times in a hundred",
    f"Of this specimen. Of mean magnitudes without a zero below them nothing is told but the raw mean. {_BENCH}",
    of_coating=True,
)  # fmt: skip
RUN_IN = Measure(
    "rig.run_in", "time constant of running-in of a specimen", "s", "less",
    "Exponential through means of blocks of ten time constants of the noise or more.",
    "µ = µs + D·exp(−t/ts)",
    "D. M. Bates and D. G. Watts, Nonlinear Regression Analysis (1988), 6.1; in simulations the interval holds 92 to "
    "94 times in a hundred",
    "Not found where the end is out of sight, where it is over within a block, or where no change shows.",
    of_coating=True,
)  # fmt: skip
RAW = Measure(
    "rig.mu_raw", "force over load of a specimen, as read", "1", "",
    "Mean magnitude of whatever was read over the load, where no coefficient can be told. Nothing is compared by it.",
    "mean |F| / N", "definition",
    "One way alone reads wrong by the zero of the cell over the load; mean magnitudes hide a zero that reaches them.",
    interval="", of_coating=True,
)  # fmt: skip
WEAR = Measure(
    "rig.wear", "specific wear of a specimen", "µm³/(N·m)", "less",
    "Volume worn over load and sliding distance, which is twice the stroke in every cycle.",
    "V / (N·2·stroke·f·t)", "ASTM G206 (volume of the scar), ASTM G133",
    "A volume below what the instrument shows is none. No interval: the error of the volume is not recorded.",
    interval="", of_coating=True,
)  # fmt: skip


def _level(name: str, title: str, unit: str) -> Measure:
    return Measure(
        f"rig.{name}", title, unit, "less", f"Geometric mean over the specimens of a coating. {_SPECIMEN}",
        "exp(mean of ln)", "Student's t on the coating's own scatter", f"{_ALIKE} {_BENCH}",
        scale="log", of_coating=True,
    )  # fmt: skip


def _ratio(name: str, title: str) -> Measure:
    return Measure(
        f"rig.{name}", title, "1", "less", _SPECIMEN,
        "exp(mean of ln, coating − mean of ln, reference)",
        "Student's t on the scatter of both, from four specimens a side on B. L. Welch, Biometrika 34 (1947) 28; in "
        "simulations the interval holds 95 times in a hundred, 92 where one coating scatters three times as much",
        f"{_ALIKE} One specimen of a coating: no interval. Each interval stands by itself: of twenty without any "
        f"difference one misses 1. {_BENCH}",
        scale="log", of_coating=True,
    )  # fmt: skip


def _smallest(name: str, title: str) -> Measure:
    return Measure(
        f"rig.{name}", title, "1", "", "What so many specimens find in four of five series, from the scatter of all "
        "coatings between specimens.",
        "exp(shift · s · √(1/n + 1/n′)), of the test that is made",
        "J. Cohen, Statistical power analysis (1988), ch. 2",
        "With few specimens the scatter is itself badly known.", interval="", of_coating=True,
    )  # fmt: skip


MU_LEVEL = _level("mu_level", "coefficient of friction on the rig", "1")
MU_RATIO = _ratio("mu_ratio", "coefficient of friction on the rig, over the reference’s")
MU_SMALLEST = _smallest("mu_smallest", "smallest ratio of friction the specimens can show")
BAND = Measure(
    "rig.mu_band", "coefficient of friction on the rig, by lubrication", "1", "less",
    "Mean of the specimens of a coating in a band of ηU/p: η by ASTM D341 at the temperature of the contact from the "
    "viscosities of the fresh oil, U the mean sliding speed, p the load over the contact area. At most six bands, the "
    "same for all coatings.",
    "geometric mean over specimens of µ in the band", "ASTM D341; R. Stribeck (1902), M. D. Hersey (1914), from memory",
    f"Only equal bands are set beside each other. {_BENCH}", scale="log", of_coating=True,
)  # fmt: skip
WEAR_LEVEL = _level("wear_level", "specific wear on the rig", "µm³/(N·m)")
WEAR_RATIO = _ratio("wear_ratio", "specific wear on the rig, over the reference’s")
WEAR_SMALLEST = _smallest("wear_smallest", "smallest ratio of wear the specimens can show")
