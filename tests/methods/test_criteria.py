"""Criteria: words by hand, published cuts, and simulated programs.

`python -m tests.methods.criteria_table` prints the full simulation; here every row has 10 000 programs, so that a rate
of 2.5 % is known to 0.47 points at three standard errors. The seed is fixed: the result does not vary from run to run.
"""

from __future__ import annotations

import math

import pytest
from house import one_of
from methods.criteria_table import (
    ALIKE,
    FREEDOMS,
    Mean,
    Occasions,
    Row,
    judged,
    mean,
    means,
    occasions,
    planned,
    readings,
    rows,
    run,
    worst,
)
from scipy import stats

from sitegen.methods import criteria
from sitegen.methods.criteria import (
    CANNOT,
    FAILS,
    HOLDS,
    Sense,
    adjusted_end,
    builds_needed,
    deciding,
    every,
    repeats_needed,
    word,
)

DRAWS = 10_000
NOMINAL = 0.025
TOLERANCE = 3 * math.sqrt(NOMINAL * (1 - NOMINAL) / DRAWS)


def unit_word(
    value: float, low: float | None, high: float | None, limit: float, sense: Sense, df: float | None, over: int
) -> str:
    return word(*deciding(value, low, high, sense, df, over), limit, sense)


# ---- ends and words -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("df", "over", "cut", "plain"),
    [
        # Student's t passed with 2.5 % and with 0.5 and 0.05 % on one side (any table): 5 and 50 looked at
        (4, 5, 4.604, 2.776),
        (10, 5, 3.169, 2.228),
        (10, 50, 4.587, 2.228),
        (20, 5, 2.845, 2.086),
        (None, 5, 2.5758, 1.9600),
        # O. J. Dunn, JASA 56 (1961) 52, table 1 (from memory)
        (5, 4, 3.81, 2.571),
        (10, 4, 3.04, 2.228),
        (10, 8, 3.45, 2.228),
    ],
)
def test_published_cuts(df: float | None, over: int, cut: float, plain: float) -> None:
    """An interval of ± its plain cut about 7 is widened to ± the cut of Bonferroni, on either side."""
    assert adjusted_end(7.0, 7 + plain, df, over) == pytest.approx(7 + cut, abs=0.006)
    assert adjusted_end(7.0, 7 - plain, df, over) == pytest.approx(7 - cut, abs=0.006)


def test_one_alone_is_not_widened() -> None:
    assert adjusted_end(3.0, 4.0, 6, 1) == pytest.approx(4.0)
    assert adjusted_end(3.0, math.inf, 6, 8) == math.inf
    assert adjusted_end(3.0, -math.inf, None, 8) == -math.inf


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (1.0, 3.0, HOLDS),  # within
        (1.0, 3.5, HOLDS),  # up to the limit
        (1.0, 3.6, CANNOT),
        (3.4, 6.0, CANNOT),  # reaches across it
        (3.6, 6.4, CANNOT),  # beyond it, but not once widened over four: 5 - 1.4·(2.498/1.960) = 3.22
        (4.0, 6.0, FAILS),  # 5 - 1.0·(2.498/1.960) = 3.73
        (None, 3.0, HOLDS),
        (4.0, None, FAILS),
        (None, None, CANNOT),
        (-math.inf, math.inf, CANNOT),
    ],
)
def test_words(low: float | None, high: float | None, told: str) -> None:
    """Value 5 (2 where it holds), limit 3.5, scatter known, four cylinders."""
    value = 2.0 if high is not None and high < 4 else 5.0
    assert unit_word(value, low, high, 3.5, "at-most", None, 4) == told
    least, most = (None if end is None else -end for end in (high, low))
    assert unit_word(-value, least, most, -3.5, "at-least", None, 4) == told


def test_an_interval_that_ends_at_the_limit_lies_within_it() -> None:
    """Up to the limit is allowed: what starts there need not break it."""
    assert unit_word(5.0, 3.5, 6.5, 3.5, "at-most", None, 1) == CANNOT
    assert unit_word(5.0, 3.5, 6.5, 6.5, "at-least", None, 1) == CANNOT
    assert unit_word(5.0, 3.5, 6.5, 3.5, "at-least", None, 1) == HOLDS


def test_an_at_least_limit_by_hand() -> None:
    """At least 10: 12 ± 1 holds, 8 ± 1 fails by itself, and 8 ± 1.9 of eight cannot tell."""
    assert unit_word(12.0, 11.0, 13.0, 10.0, "at-least", None, 8) == HOLDS
    assert unit_word(8.0, 7.0, 9.0, 10.0, "at-least", None, 1) == FAILS
    assert unit_word(8.0, 6.1, 9.9, 10.0, "at-least", None, 8) == CANNOT


@pytest.mark.parametrize(
    ("words", "missing", "word"),
    [
        ([HOLDS, HOLDS], 0, HOLDS),
        ([HOLDS, HOLDS], 1, CANNOT),
        ([HOLDS, CANNOT], 0, CANNOT),
        ([HOLDS, FAILS, CANNOT], 2, FAILS),
        ([], 0, CANNOT),
        ([], 3, CANNOT),
    ],
)
def test_every(words: list[str], missing: int, word: str) -> None:
    assert every(words, missing) == word


# ---- simulated ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", list(rows()), ids=lambda row: f"{row.name}, df {row.df}")
def test_neither_word_is_wrong_too_often(row: Row) -> None:
    """At the limit by a hair either word is wrong: at most 2.5 % each, whatever the others do."""
    rates = run(row, DRAWS)
    assert rates.words[HOLDS] <= NOMINAL + TOLERANCE
    assert rates.words[FAILS] <= NOMINAL + TOLERANCE
    number = len(row.truth)
    if set(row.truth) == {0.0} and not row.common:
        # independent: 1 - 0.975^n of programs would fail without a correction, and it is not wasteful
        assert rates.uncorrected == pytest.approx(1 - 0.975**number, abs=0.012)
        assert rates.words[FAILS] > NOMINAL - 0.006
    if set(row.truth) != {0.0} and not row.common:
        assert rates.words[HOLDS] == pytest.approx(NOMINAL, abs=TOLERANCE)  # needs no correction, and has none


@pytest.mark.parametrize("row", one_of(occasions(), Occasions(2, 4, 1.0, 8.0, one=False).__eq__), ids=str)
def test_what_occasions_do_makes_no_word_wrong_too_often(row: Occasions) -> None:
    """4000 programs at the limit. Occasions like a reading or three left out: "fails" is wrong in 13 to 80 %."""
    found = judged(row, 4000)
    few = row.df < 4  # three degrees of freedom: the ratio of cuts is that of a known scatter, and a little too small
    assert max(found[HOLDS] if row.one else 0.0, found[FAILS]) <= NOMINAL + 0.0075 + 0.012 * few
    if row.scatter >= 1:
        assert judged(row, 1000, told=False)[HOLDS if row.one else FAILS] > 0.05


@pytest.mark.parametrize("row", one_of(means(), Mean("lognormal", 0.7, 4).__eq__))
def test_the_typical_build_is_seldom_judged_wrongly(row: Mean) -> None:
    """20 000 programs at the limit: 2.5 % a word where builds scatter on the logarithms, however widely.

    The arithmetic mean holds wrongly in up to 11 % of the same. With normal builds neither word passes 2.9 %. Where
    even the logarithms have one long tail "holds" is wrong in 4 to 11 % on either scale: said, not mended.
    """
    wrong = mean(row, 20_000)
    if row.builds == "lognormal":
        assert wrong.holds == pytest.approx(NOMINAL, abs=0.004)
        assert wrong.fails <= NOMINAL + 0.004
    elif row.builds == "normal":
        assert max(wrong.holds, wrong.fails) <= NOMINAL + 0.004
    else:
        assert 0.03 < wrong.holds < 0.12
        assert wrong.fails <= NOMINAL
    if row == Mean("lognormal", 0.7, 4):
        assert wrong.plain_holds > 0.03


@pytest.mark.parametrize("number", ALIKE)
def test_the_worst_seen_looks_worse_than_it_is(number: int) -> None:
    """The mean of the largest of 4 and 8 normal values: 1.0294 and 1.4236 (D. Teichroew, Annals of Mathematical
    Statistics 27 (1956) 410, from memory); its own 95 % interval then holds in 0.975^n - 0.025^n of programs.
    """
    seen = worst([0.0] * number, None, DRAWS)
    assert seen.bias == pytest.approx({4: 1.0294, 8: 1.4236}[number], abs=0.021)
    assert seen.coverage == pytest.approx(0.975**number, abs=0.012)


@pytest.mark.parametrize("number", ALIKE)
@pytest.mark.parametrize("df", [None, 4.0])
@pytest.mark.parametrize("ahead", [0.0, 1.0, 3.0])
def test_the_true_worst_is_among_those_named(number: int, df: float | None, ahead: float) -> None:
    """Missed in at most 2.5 % of programs, and not by naming everybody once it stands apart."""
    seen = worst([ahead] + [0.0] * (number - 1), df, DRAWS)
    assert seen.named >= 1 - NOMINAL - TOLERANCE
    if ahead == 3.0:
        assert seen.near < number - 1.5


def test_worst_by_hand() -> None:
    """10 ± 1 against 9 (near), 4 and 0: a difference of 6 is 4.2 of its standard errors of 1.41, one of 10 is 7.1.

    Over three others t is 2.39 where the scatter is known, 3.96 on 2 + 2 df and 7.65 on 1 + 1 (Dunn's table).
    """
    assert criteria.worst([4.0, 10.0, 9.0, 0.0], [1.0] * 4, [None] * 4) == (1, (2,))
    assert criteria.worst([4.0, 10.0, 9.0, 0.0], [1.0] * 4, [2.0] * 4) == (1, (2,))
    assert criteria.worst([4.0, 10.0, 9.0, 0.0], [1.0] * 4, [1.0] * 4) == (1, (0, 2, 3))
    assert criteria.worst([4.0, 10.0, 9.0, -1.0], [1.0] * 4, [1.0] * 4) == (1, (0, 2))
    assert criteria.worst([1.0, 1.0], [0.0, 0.0], [None, None]) == (0, (1,))
    assert criteria.worst([1.0, 2.0], [0.0, 0.0], [3.0, 3.0]) == (1, ())


# ---- what it would take ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("n", [1, 2, 5])
@pytest.mark.parametrize("common", [0.0, 0.2, 0.4])
@pytest.mark.parametrize("distance", [0.3, 0.5, 0.81, 1.4])
def test_readings_one_by_one(n: int, common: float, distance: float) -> None:
    """The first number of readings whose interval clears the limit, tried one after the other."""
    own = 1.1 * math.sqrt(n)  # half-width of a single reading
    half = math.hypot(own / math.sqrt(n), 1.959964 * common)
    found = repeats_needed(5.0, 5.0 + half, 5.0 + distance, n, common)
    enough = (m for m in range(n + 1, 5000) if math.hypot(own / math.sqrt(m), 1.959964 * common) <= distance)
    assert found == next(enough, None)
    assert repeats_needed(5.0, 5.0 - half, 5.0 - distance, n, common) == found


@pytest.mark.parametrize(("n", "df"), [(2, 1.0), (3, 2.0), (2, 6.0), (5, 4.0)])
@pytest.mark.parametrize("common", [0.0, 0.2])
def test_readings_bring_degrees_of_freedom(n: int, df: float, common: float) -> None:
    """Tried one after the other with scipy's t; each reading more adds one degree of freedom."""

    def reach(m: int) -> float:
        return math.hypot(float(stats.t.isf(0.025, df + m - n)) / math.sqrt(m), 1.959964 * common)

    for distance in (0.45, 0.8, 2.0):
        found = repeats_needed(5.0, 5.0 + reach(n), 5.0 + distance, n, common, df=df)
        assert found == next(m for m in range(n + 1, 5000) if reach(m) <= distance)
    assert repeats_needed(5.0, 5.0 + reach(n), 5.5, n, common, df=math.inf) == repeats_needed(
        5.0, 5.0 + reach(n), 5.5, n, common
    )


def test_published_sizes_for_a_half_width() -> None:
    """Readings for a given half-width at 95 %, in standard deviations of one.

    M. F. Triola, Elementary statistics (memory): sd 15 known, to within 2: 217. With the sd estimated, from a table of
    t: half a standard deviation takes 18 (t of 17 df 2.110/sqrt(18) = 0.497, of 16 df 2.120/sqrt(17) = 0.514).
    """
    assert repeats_needed(100.0, 100 + 1.959964 * 15, 102.0, 1, 0.0) == 217
    assert repeats_needed(0.0, 12.706 / math.sqrt(2), 0.5, 2, 0.0, df=1) == 18
    assert repeats_needed(0.0, 12.706 / math.sqrt(2), 0.5, 2, 0.0) == 646  # what 1/sqrt(n) alone would ask for


def test_at_the_number_told_most_are_decided() -> None:
    """3 readings, one standard deviation inside the limit: 74 % of the undecided are decided by the number told.

    The median is told 7 in all; where t stays what it was, 18. Not all are decided, as the value does not stay.
    """
    told = readings(3, 1.0, 2000)
    assert told.decided == pytest.approx(0.74, abs=0.04)
    assert (told.median, told.at_face_value) == (7, 18)


def test_no_readings_pass_a_common_error() -> None:
    assert repeats_needed(5.0, 8.0, 6.0, 2, 0.6) is None  # 1.96·0.6 = 1.18 reaches a limit 1.0 away
    assert repeats_needed(5.0, 8.0, 5.0, 2, 0.0) is None
    assert repeats_needed(5.0, math.inf, 6.0, 2, 0.0) is None


@pytest.mark.parametrize(("d", "n"), [(0.5, 34), (0.8, 15), (1.0, 10)])
def test_builds_for_a_mean(d: float, n: int) -> None:
    """One-sample t, two-sided 5 %, power 0.8: R's power.t.test(type = "one.sample") gives 33.4, 14.3 and 9.9."""
    assert builds_needed(10.0, 2.0, math.inf, 10 + 2 * d) == (n, n)
    assert builds_needed(10.0, 2.0, math.inf, 10 - 2 * d) == (n, n)


def test_builds_for_a_mean_by_a_library() -> None:
    """scipy's noncentral t: enough at the number given, not enough one below."""
    for d in (0.6, 0.9, 1.5, 2.5):
        n, _ = builds_needed(0.0, 1.0, math.inf, d)
        reached = [float(stats.nct.sf(stats.t.isf(0.025, m - 1), m - 1, d * math.sqrt(m))) for m in (n - 1, n)]
        assert reached[0] < 0.8 <= reached[1]


@pytest.mark.parametrize("df", FREEDOMS)
@pytest.mark.parametrize("difference", [1.0, 2.0])
def test_ranges_hold_what_is_needed(df: int, difference: float) -> None:
    """In at least 80 of 100 programs, and the upper end is enough in at least 90."""
    made = planned("one mean", df, difference, DRAWS)
    assert made.needed == {1.0: 10, 2.0: 5}[difference]
    assert 0.79 < made.held < 0.93
    assert made.enough > 0.89
    assert made.guessed > 0.2


def test_ends_of_a_range() -> None:
    assert builds_needed(1.0, 0.0, 3, 2.0) == (2, 2)
    assert builds_needed(0.0, 0.02, math.inf, 1.0) == (2, 2)  # 50 sd off: t on 1 df passes 12.7 nearly always
    assert builds_needed(1.0, 0.5, 3, 1.0) == (61, None)
    assert builds_needed(1.0, 0.0, 3, 1.0) == (61, None)
    assert builds_needed(0.0, 1.0, 4, 0.1) == (61, None)
    low, high = builds_needed(0.0, 1.0, 4, 1.0)
    assert high is not None
    assert 2 <= low < 10 < high
