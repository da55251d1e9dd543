"""A study of a gauge: what repeats, operators and objects each add to the scatter of its readings.

Every operator reads every object the same number of times, set up anew each time: p objects, o operators, r repeats,
two ways crossed, both random, their interaction kept. y is a logarithm where errors go with the level; a standard
deviation of it is then a relative one.

Limits of a variance are those of its mean square (chi squared); of a sum or a difference of mean squares the modified
large-sample ones: F. A. Graybill and C.-M. Wang, Journal of the American Statistical Association 75 (1980) 869; N. Ting
and others, Journal of Statistical Computation and Simulation 35 (1990) 135; both as in R. K. Burdick, C. M. Borror and
D. C. Montgomery, Design and analysis of gauge R&R studies (2005), ch. 3 (from memory).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from itertools import islice
from statistics import fmean, stdev

import numpy as np
import numpy.typing as npt

from sitegen.methods.intervals import student_95
from sitegen.vocabulary import Refused

Floats = npt.NDArray[np.float64]
MANY = 3  # operators from which on their scatter is told: of two the upper limit is 5 to 29 times the estimate
CATEGORIES = 1.41  # of the measurement-systems handbook, its rounding of the root of two


@dataclass(frozen=True)
class Component:
    """A standard deviation [unit of y] with its 95 % interval; `negative`: its variance came out below nought."""

    sd: float
    low: float
    high: float
    negative: bool = False


@dataclass(frozen=True)
class MeanSquare:
    """A mean square [unit of y squared] and its degrees of freedom [-]."""

    value: float
    df: int


@dataclass(frozen=True)
class Analysis:
    """Analysis of variance of a balanced study; without what two operators or fewer cannot tell."""

    objects: int
    operators: int
    repeats: int
    part: MeanSquare  # between objects
    operator: MeanSquare
    interaction: MeanSquare
    error: MeanSquare

    @property
    def tells_operators(self) -> bool:
        """Whether there are operators enough to tell their scatter."""
        return self.operators >= MANY

    @property
    def f_interaction(self) -> float:
        """Mean square of the interaction over that of repeats [-]."""
        return self.interaction.value / self.error.value

    @property
    def of_repeats(self) -> Component:
        """Scatter of repeats of one operator at one object."""
        return _sum((1.0, self.error))

    @property
    def of_operators(self) -> Component:
        """Scatter of operators about each other, alike at every object."""
        return _difference(1 / (self.objects * self.repeats), self.operator, self.interaction)

    @property
    def of_interaction(self) -> Component:
        """Scatter of what an operator does at one object and not at the others."""
        return _difference(1 / self.repeats, self.interaction, self.error)

    @property
    def of_gauge(self) -> Component:
        """Scatter of one reading of one object by any operator: repeats, operators and interaction together.

        The root of the three parts as given, so that it is never less than one of them where another came out negative;
        the limits as far from it, in variance, as those of (O + (p − 1) I + p (r − 1) E)/(p r) above, and as they are
        below.
        """
        p, r = self.objects, self.repeats
        terms = ((1.0, self.operator), (p - 1.0, self.interaction), (p * (r - 1.0), self.error))
        found = _sum(*((weight / (p * r), square) for weight, square in terms))
        sd = math.hypot(self.of_repeats.sd, self.of_operators.sd, self.of_interaction.sd)
        return Component(sd, found.low, math.sqrt(sd**2 + found.high**2 - found.sd**2))

    @property
    def of_parts(self) -> Component:
        """Scatter between the objects that were read."""
        against = self.interaction if self.operators > 1 else self.error
        return _difference(1 / (self.operators * self.repeats), self.part, against)

    @property
    def categories(self) -> Component:
        """How many groups of such objects the gauge tells apart [-], 1.41 · objects / gauge.

        Limits: those of both scatters taken together on the logarithm (G. Y. Zou and A. Donner, Statistics in Medicine
        27 (2008) 1693, from memory).
        """
        part, gauge = self.of_parts, self.of_gauge
        if part.sd <= 0:
            return Component(0.0, 0.0, CATEGORIES * part.high / gauge.low, negative=True)
        ratio = CATEGORIES * part.sd / gauge.sd
        below = math.hypot(_log(part.sd, part.low), _log(gauge.high, gauge.sd))
        above = math.hypot(_log(part.high, part.sd), _log(gauge.sd, gauge.low))
        return Component(ratio, ratio * math.exp(-below), ratio * math.exp(above), part.negative)

    @property
    def share(self) -> Component:
        """Scatter of the gauge over that of all readings of the study [-]; a function of `categories`."""
        found = self.categories
        share, low, high = (1 / math.hypot(1, n / CATEGORIES) for n in (found.sd, found.high, found.low))
        return Component(share, low, high, found.negative)

    @property
    def of_other_operator(self) -> tuple[float, float]:
        """Scatter of one operator at one object, set-up apart, and the degrees of freedom it is worth [-].

        √(operators² + interaction²) on the degrees of freedom of operators, the fewer: what an interval of a reading
        takes for an operator who may be any.
        """
        return math.hypot(self.of_operators.sd, self.of_interaction.sd), float(self.operator.df)


def analysis(y: npt.ArrayLike) -> Analysis:
    """Analysis of variance of y (objects, operators, repeats), in any unit. Interaction kept.

    Raises Refused "gauge-one-object" below two objects, "not-repeated" below two repeats, "no-scatter" where all
    repeats are alike.
    """
    data = np.asarray(y, dtype=float)
    p, o, r = data.shape
    if p < 2:
        raise Refused("gauge-one-object")
    if r < 2:
        raise Refused("not-repeated")
    data = data - data.mean()
    cells, parts, operators = data.mean(axis=2), data.mean(axis=(1, 2)), data.mean(axis=(0, 2))
    of_error = float(((data - cells[:, :, None]) ** 2).sum())
    of_cells = float(((cells - parts[:, None] - operators[None, :]) ** 2).sum())
    if of_error <= 0:
        raise Refused("no-scatter")
    return Analysis(
        p, o, r,
        _square(o * r * float((parts**2).sum()), p - 1),
        _square(p * r * float((operators**2).sum()), o - 1),
        _square(r * of_cells, (p - 1) * (o - 1)),
        _square(of_error, p * o * (r - 1)),
    )  # fmt: skip


def of_one(sd: float, df: int) -> Component:
    """A scatter [any unit] known on df [-] degrees of freedom, with its exact limits."""
    return _sum((1.0, MeanSquare(sd**2, df)))


def balanced(
    readings: Sequence[tuple[Hashable, Hashable, float]],
) -> tuple[list[Hashable], list[Hashable], Floats]:
    """Objects, operators and y (objects, operators, repeats) of readings (object, operator, value), in their order.

    Raises Refused "gauge-unbalanced" where an operator read an object less often than another: see `short_of`.
    """
    objects, operators = (list(dict.fromkeys(row[at] for row in readings)) for at in (0, 1))
    if short_of([row[:2] for row in readings]):
        raise Refused("gauge-unbalanced")
    cells: dict[tuple[Hashable, Hashable], list[float]] = {}
    for one, who, value in readings:
        cells.setdefault((one, who), []).append(value)
    return objects, operators, np.array([[cells[i, j] for j in operators] for i in objects], dtype=float)


def short_of(places: Sequence[tuple[Hashable, Hashable]]) -> int:
    """How many readings [-] are missing until every operator read every object as often as any was read by one."""
    objects, operators = ({place[at] for place in places} for at in (0, 1))
    return len(objects) * len(operators) * max(Counter(places).values(), default=0) - len(places)


def lacking(places: Sequence[tuple[Hashable, Hashable]], most: int) -> list[tuple[Hashable, Hashable, int]]:
    """Object, operator and how many readings of theirs are missing; at most so many such pairs.

    >>> lacking([("c1", "A"), ("c1", "A"), ("c1", "B"), ("c1", "B"), ("c2", "A"), ("c2", "A"), ("c2", "B")], 8)
    [('c2', 'B', 1)]
    """
    counts = Counter(places)
    often = max(counts.values(), default=0)
    objects, operators = (dict.fromkeys(place[at] for place in places) for at in (0, 1))
    every = ((i, j, often - counts[i, j]) for i in objects for j in operators)
    return list(islice((each for each in every if each[2]), most))


def groups(pairs: Iterable[tuple[Hashable, Hashable]]) -> int:
    """Into how many groups builds and operators fall [-] that no reading links; pairs: who read what.

    In one group both can be told apart: the rank of their indicators together is builds + operators − groups.

    >>> groups([("B1", "A"), ("B2", "B"), ("B3", "A")]), groups([("B1", "A"), ("B1", "B"), ("B2", "B")])
    (2, 1)
    """
    found: list[set[tuple[str, Hashable]]] = []
    for build, operator in pairs:
        linked = {("build", build), ("operator", operator)}
        touched = [each for each in found if each & linked]
        found = [each for each in found if not each & linked]
        found.append(linked.union(*touched))
    return len(found)


@dataclass(frozen=True)
class Between:
    """A difference of two testers [unit of y] with its 95 % interval."""

    value: float
    low: float
    high: float
    df: int
    by: str  # what its interval was taken over: "operators" or "objects"


def testers(first: npt.ArrayLike, second: npt.ArrayLike) -> Between:
    """Second less first tester, each y (objects, operators, repeats), the same objects and operators in both.

    One difference an operator, and one an object: the wider of the two t intervals, since neither alone holds what the
    other does; each cell as a unit would hold 57 to 90 times in a hundred.

    Raises Refused "gauge-one-object" below two objects, "one-operator" below two operators.
    """
    off = np.asarray(second, dtype=float).mean(axis=2) - np.asarray(first, dtype=float).mean(axis=2)
    if off.shape[0] < 2:
        raise Refused("gauge-one-object")
    if off.shape[1] < 2:
        raise Refused("one-operator")
    found = []
    for by, axis in (("operators", 0), ("objects", 1)):
        own = off.mean(axis=axis).tolist()
        half = student_95(len(own) - 1) * stdev(own) / math.sqrt(len(own))
        found.append(Between(fmean(own), fmean(own) - half, fmean(own) + half, len(own) - 1, by))
    return max(found, key=lambda each: each.high - each.low)


# ---- limits ---------------------------------------------------------------------------------------------------------


def _square(total: float, df: int) -> MeanSquare:
    return MeanSquare(total / df if df else 0.0, df)


def _chi(df: int, share: float) -> float:
    """Chi squared over its degrees of freedom [-] that is stayed below with probability `share`."""
    from scipy.special import chdtri  # imports scipy

    return float(chdtri(df, 1 - share)) / df


def _fisher(first: int, second: int, share: float) -> float:
    from scipy.special import fdtri  # imports scipy

    return float(fdtri(first, second, share))


def _sum(*terms: tuple[float, MeanSquare]) -> Component:
    """A sum of weighted mean squares; of one the interval is exact."""
    total = sum(weight * square.value for weight, square in terms)
    own = [(weight * square.value, square.df) for weight, square in terms if square.df]
    below = math.sqrt(sum(((1 - 1 / _chi(df, 0.975)) * part) ** 2 for part, df in own))
    above = math.sqrt(sum(((1 / _chi(df, 0.025) - 1) * part) ** 2 for part, df in own))
    return _component(total, total - below, total + above)


def _difference(weight: float, more: MeanSquare, less: MeanSquare) -> Component:
    """weight · (more − less), with the cross term."""
    one, two = more.value, less.value
    g1, h1 = (1 - 1 / _chi(more.df, 0.975)), (1 / _chi(more.df, 0.025) - 1)
    g2, h2 = (1 - 1 / _chi(less.df, 0.975)), (1 / _chi(less.df, 0.025) - 1)
    upper, lower = (_fisher(more.df, less.df, share) for share in (0.975, 0.025))
    g12 = ((upper - 1) ** 2 - (g1 * upper) ** 2 - h2**2) / upper
    h12 = ((1 - lower) ** 2 - (h1 * lower) ** 2 - g2**2) / lower
    below = (g1 * one) ** 2 + (h2 * two) ** 2 + g12 * one * two
    above = (h1 * one) ** 2 + (g2 * two) ** 2 + h12 * one * two
    low, high = one - two - math.sqrt(max(below, 0.0)), one - two + math.sqrt(max(above, 0.0))
    return _component(weight * (one - two), weight * low, weight * high)


def _component(variance: float, low: float, high: float) -> Component:
    sd, least, most = (math.sqrt(max(each, 0.0)) for each in (variance, low, high))
    return Component(sd, least, most, variance < 0)


def _log(upper: float, lower: float) -> float:
    return math.log(upper / lower) if lower > 0 else math.inf
