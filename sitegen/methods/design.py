"""Which procedure an allocation of coatings allows: recognised before a number is looked at.

Cylinders of one build share a block, an operator and a tune, so a cylinder is no independent test of a coating that
the whole build holds. What replicates a coating, a cylinder within its build, a build or a block, follows from where
the coatings were (R. A. Fisher, The design of experiments, 1935; D. R. Cox, Planning of experiments, 1958, ch. 2-3).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FEW_MIXED = 4  # builds with both coatings from which on one difference a build is taken [-]
EACH_OWN = 4  # units of every coating from which on each coating has its own scatter [-]
MOSTLY = 0.25  # share of blocks, the other way round, below which an order counts as one-sided [-]
SINGULAR = 1e-9  # relative size below which a direction of a design matrix is nothing but rounding [-]


@dataclass(frozen=True)
class Spot:
    """One cylinder with its ring set, or a whole build (position 0)."""

    build: str
    block: str
    order: int  # place of the build in the order of building
    position: int
    coating: str

    @property
    def place(self) -> str:
        """The block; the build where no block is named."""
        return self.block or f"build {self.build}"


@dataclass(frozen=True)
class Design:
    """What an allocation is, and what it allows to be said about two coatings."""

    name: str  # "whole builds", "by block", "in order on blocks", "mixed in engine", ...
    procedure: str  # "pooled", "welch", "differences", "fixed", "paired", "borrowed"; "" where refused
    scope: str  # "engines-to-come", "these-engines"; "" where nothing is claimed
    reason: str = ""  # code of `reasons.ANSWER` where nothing can be given
    builds: tuple[str, ...] = ()  # builds in the means of the two coatings, in the order of building
    scatter: tuple[str, ...] = ()  # builds whose replication gives the scatter
    scatter_coatings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()  # codes of `reasons.FLAGS`
    first: tuple[int, int] = (0, 0)  # in order on blocks: blocks that ran the candidate first, and the reference first


@dataclass(frozen=True)
class Unit:
    """A block with one coating. Its value is the mean over its builds of the means over their cylinders."""

    block: str
    coating: str
    order: float  # mean place of its builds in the order of building
    builds: tuple[str, ...]
    spots: tuple[tuple[int, ...], ...] = field(repr=False)  # for each build the places of its spots


def units(spots: Sequence[Spot]) -> list[Unit]:
    """The units of whole builds, in the order of building."""
    found: dict[tuple[str, str], dict[str, list[int]]] = {}
    for place in sorted(range(len(spots)), key=lambda place: (spots[place].order, place)):
        spot = spots[place]
        found.setdefault((spot.place, spot.coating), {}).setdefault(spot.build, []).append(place)
    return [
        Unit(
            block,
            coating,
            sum(spots[places[0]].order for places in builds.values()) / len(builds),
            tuple(builds),
            tuple(map(tuple, builds.values())),
        )
        for (block, coating), builds in found.items()
    ]


def pooling(found: Sequence[Unit], coatings: Collection[str], builds: Collection[str]) -> list[Unit]:
    """Units whose scatter within their coating may be pooled: those asked about, then the other coatings'.

    A block (or build) enters once: the means of two coatings in one engine rise and fall together, and would be
    counted as two independent scatters. Other coatings come in by number of units, then by name.
    """
    taken = [unit for unit in found if unit.coating in coatings and set(unit.builds) <= set(builds)]
    number = Counter(unit.coating for unit in found if unit.coating not in coatings)
    for coating in sorted(number, key=lambda coating: (-number[coating], coating)):
        used = {unit.block for unit in taken}
        taken += [unit for unit in found if unit.coating == coating and unit.block not in used]
    return taken


# ---- the matrix of a design ------------------------------------------------------------------------------------------


class Linear:
    """A linear model factored once (singular values), applied to any number of draws.

    Columns may depend on each other; only what the rows can tell apart is estimated. G. H. Golub and C. F. Van Loan,
    Matrix computations (4th ed., 2013), section 5.5.
    """

    def __init__(self, matrix: Floats) -> None:
        size = np.sqrt((matrix**2).sum(axis=0))
        self._size = np.where(size > 0, size, 1.0)  # columns of different units are brought to one size
        u, s, vt = np.linalg.svd(matrix / self._size, full_matrices=False)
        self.rank = int((s > SINGULAR * s.max(initial=0.0)).sum())
        self._u, self._s, self._vt = u[:, : self.rank], s[: self.rank], vt[: self.rank]
        self.df = matrix.shape[0] - self.rank

    def estimable(self, combination: Floats) -> bool:
        """True where the rows can tell this combination of coefficients from all others."""
        wanted = combination / self._size
        left = wanted - self._vt.T @ (self._vt @ wanted)
        return bool(np.linalg.norm(left) <= np.sqrt(SINGULAR) * np.linalg.norm(wanted))

    def fitted(self, y: Floats) -> Floats:
        """What the columns say of y, (rows,)."""
        return np.asarray(self._u @ (self._u.T @ y), dtype=float)

    def weights(self, combination: Floats) -> Floats:
        """Weights of the rows in the least-squares estimate of the combination, (rows,)."""
        return np.asarray(self._u @ ((self._vt @ (combination / self._size)) / self._s), dtype=float)

    def variance(self, y: Floats) -> Floats:
        """Residual mean square of y, (rows,) or (rows, draws)."""
        return np.asarray(((y - self._u @ (self._u.T @ y)) ** 2).sum(axis=0) / self.df, dtype=float)


def indicators(labels: Sequence[object], levels: Sequence[object]) -> Floats:
    """A column of zeros and ones for each level, (labels, levels)."""
    return np.array([[float(label == level) for level in levels] for label in labels]).reshape(len(labels), len(levels))


def once(items: Iterable[str]) -> list[str]:
    """Each item once, as first met."""
    return list(dict.fromkeys(items))


def fixed_effects(spots: Sequence[Spot], candidate: str, reference: str) -> tuple[Floats, Floats]:
    """Matrix of y ~ build + position + coating, (spots, columns), and the combination candidate less reference."""
    builds, coatings = once(spot.build for spot in spots), once(spot.coating for spot in spots)
    positions = sorted({spot.position for spot in spots})
    matrix = np.hstack(
        [
            indicators([spot.coating for spot in spots], coatings),
            indicators([spot.build for spot in spots], builds),
            indicators([spot.position for spot in spots], positions),
        ]
    )
    wanted = np.zeros(matrix.shape[1])
    wanted[coatings.index(candidate)], wanted[coatings.index(reference)] = 1.0, -1.0
    return matrix, wanted


def one_difference(shares: Floats, covariates: Floats | None = None) -> tuple[Floats, Floats]:
    """Matrix of one difference a build, (builds, columns), and the combination that is the difference of coatings.

    shares (builds, positions): of the candidate's cylinders of a build the share at each position, less that of the
    reference's. covariates (builds, covariates): their differences.

    A build's difference is coating + shares @ (effects of positions) + error. Where the shares sum to nothing over the
    builds their mean is free of positions, whatever these do. Elsewhere, and nearly always where a line in a covariate
    is drawn, the estimate would lean on them; then what the shares (and covariates) tell of a column of ones is taken
    out. That one column gives the very estimate of least squares with
    all positions: ones less their projection on a space is the same when only the projection itself spans the space.
    It costs one degree of freedom in place of several; what positions do beyond it stays in the scatter, as it does
    where they are balanced, and widens the interval.
    """
    ones = np.ones((len(shares), 1))
    extra = np.zeros((len(shares), 0)) if covariates is None else covariates
    matrix = np.hstack([ones, extra])
    weights = Linear(matrix).weights(np.eye(matrix.shape[1])[0])
    if np.abs(weights @ shares).max(initial=0.0) > SINGULAR * np.abs(weights).sum():
        matrix = np.hstack([ones, Linear(np.hstack([shares, extra])).fitted(ones), extra])
    return matrix, np.eye(matrix.shape[1])[0]


# ---- recognising -----------------------------------------------------------------------------------------------------


def recognise(spots: Sequence[Spot], candidate: str, reference: str) -> Design:
    """The design of two coatings among all spots that have a value; `reason` is set where it can say nothing."""
    held: dict[str, set[str]] = {}
    for spot in sorted(spots, key=lambda spot: spot.order):
        held.setdefault(spot.build, set()).add(spot.coating)
    pair = {candidate, reference}
    if not pair <= set().union(*held.values(), set()):
        return Design("", "", "", "coating-without-value")
    mixed = [build for build, coatings in held.items() if pair <= coatings]
    if mixed:
        alone = [coatings for build, coatings in held.items() if build not in mixed and pair & coatings]
        return _mixed([spot for spot in spots if spot.build in mixed], mixed, alone, candidate, reference)
    return _apart(spots, candidate, reference)


def _mixed(
    spots: Sequence[Spot], builds: Sequence[str], alone: Sequence[set[str]], candidate: str, reference: str
) -> Design:
    """Both coatings inside the same builds. `alone`: coatings of the builds that hold one of the two only."""
    name = "mixed and pure builds" if any(len(coatings) == 1 for coatings in alone) else "mixed in engine"
    notes = ["whole-builds-left-out"] if alone else []
    if len({spot.place for spot in spots}) < len(builds):
        notes.append("blocks-used-again")
    matrix, wanted = fixed_effects(spots, candidate, reference)
    model = Linear(matrix)
    many = len(builds) >= FEW_MIXED
    reason = ""
    if not model.estimable(wanted):
        reason = "position-and-coating"
    elif not many and model.df < 1:
        reason = "few-cylinders-mixed"
    if reason:
        return Design(name, "", "", reason, tuple(builds), notes=tuple(notes))
    if many:
        beside, coating = one_difference(_shares(spots, builds, candidate, reference))
        if not Linear(beside).estimable(coating):
            return Design(name, "", "", "positions-not-exchanged", tuple(builds), notes=tuple(notes))
        if beside.shape[1] > 1:
            notes.append("position-taken-out")
    coatings = (candidate, reference) if many else tuple(once(spot.coating for spot in spots))
    procedure, scope = ("differences", "engines-to-come") if many else ("fixed", "these-engines")
    return Design(name, procedure, scope, "", tuple(builds), tuple(builds), coatings, tuple(notes))


def _shares(spots: Sequence[Spot], builds: Sequence[str], candidate: str, reference: str) -> Floats:
    """Of the candidate's cylinders of a build the share at each position, less that of the reference's."""
    positions = sorted({spot.position for spot in spots})
    shares = np.zeros((len(builds), len(positions)))
    for row, build in zip(shares, builds, strict=True):
        for sign, coating in ((1.0, candidate), (-1.0, reference)):
            held = [spot.position for spot in spots if (spot.build, spot.coating) == (build, coating)]
            row += sign * indicators(held, positions).mean(axis=0)
    return shares


def _apart(spots: Sequence[Spot], candidate: str, reference: str) -> Design:
    """No build holds both coatings: builds, or blocks, are the units."""
    found = units(spots)
    own = [unit for unit in found if unit.coating == candidate]
    other = [unit for unit in found if unit.coating == reference]
    both = {unit.block for unit in own} & {unit.block for unit in other}
    if len(both) > 1:
        return _paired(own, other, both)
    notes = []
    if both:  # one block for both is no pair of its own, and ties two units that should be independent
        own = [unit for unit in own if unit.block not in both]
        other = [unit for unit in other if unit.block not in both]
        notes = ["shared-block-left-out"]
        if min(len(own), len(other)) < 2:
            return Design("in order on blocks", "", "", "one-block")
    builds = _in_order([*own, *other])
    pooled = pooling(found, (candidate, reference), builds)
    number = Counter(unit.coating for unit in pooled)
    by_block = any(len(unit.builds) > 1 for unit in pooled)
    name = "by block" if by_block else "whole builds"
    if min(len(own), len(other)) < 2:
        if not by_block and max(len(own), len(other)) < 2:
            name = "one build each"
        lent = [unit for unit in pooled if number[unit.coating] > 1]
        if not lent:
            reason = "block-and-coating" if by_block else "build-and-coating"
            return Design(name, "", "", reason, builds)
        return Design(name, "borrowed", "", "", builds, _in_order(lent), tuple(once(u.coating for u in lent)))
    orders = [unit.order for unit in own], [unit.order for unit in other]
    if max(orders[0]) < min(orders[1]) or max(orders[1]) < min(orders[0]):
        notes.append("order-one-sided")
    every = Counter(unit.coating for unit in found)
    if min(every.values()) >= EACH_OWN and min(len(own), len(other)) >= EACH_OWN:
        return Design(name, "welch", "engines-to-come", "", builds, builds, (candidate, reference), tuple(notes))
    lent = [unit for unit in pooled if number[unit.coating] > 1]
    coatings = tuple(once(unit.coating for unit in lent))
    return Design(name, "pooled", "engines-to-come", "", builds, _in_order(lent), coatings, tuple(notes))


def _paired(own: Sequence[Unit], other: Sequence[Unit], both: Collection[str]) -> Design:
    """Blocks that ran both coatings one after the other."""
    candidate, reference = own[0].coating, other[0].coating
    before = {unit.block: unit.order for unit in other}
    ahead = sum(unit.order < before[unit.block] for unit in own if unit.block in both)
    behind = sum(unit.order > before[unit.block] for unit in own if unit.block in both)
    kept = [unit for unit in (*own, *other) if unit.block in both]
    notes = []
    if len(kept) < len(own) + len(other):
        notes.append("unpaired-builds-left-out")
    if min(ahead, behind) < MOSTLY * len(both):
        notes.append("order-one-sided")
    builds = _in_order(kept)
    return Design(
        "in order on blocks", "paired", "engines-to-come", "", builds, builds, (candidate, reference), tuple(notes),
        (ahead, behind),
    )  # fmt: skip


def _in_order(found: Iterable[Unit]) -> tuple[str, ...]:
    ordered = sorted(found, key=lambda unit: (unit.order, unit.block, unit.coating))
    return tuple(once(build for unit in ordered for build in unit.builds))


# ---- how often each procedure is wrong -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Measured:
    """False alarms of a procedure in simulated programs without a difference, at a correlation of 0.3 within builds."""

    row: str  # of tests/methods/design_table.py
    design: str
    procedure: str
    holds_for: str
    alarms: float  # % at a nominal 5 %
    cylinders: float  # % if every cylinder counted as an independent test


RATES = (  # 100 000 draws a row; a test holds them against its own draws
    Measured("whole builds 3+3", "whole builds, two or more of a coating", "means of builds, scatter pooled over all "
             "coatings, degrees of freedom builds less coatings", "engines to come", 5.0, 16.6),
    Measured("whole builds 4+4, Welch", "whole builds, four or more of every coating", "means of builds, each coating "
             "with its own scatter (Welch)", "engines to come", 4.2, 16.5),
    Measured("mixed, 4 builds", "four or more engines that hold both coatings", "one difference an "
             "engine; position taken out where a cylinder did not hold both equally often", "engines to come",
             4.8, 2.8),
    Measured("mixed, 3 builds, positions differ", "fewer engines that hold both", "engine and position taken out, what "
             "is left scatters", "these engines and this lot only", 5.1, 3.2),
    Measured("mixed 4 and pure 2+2", "engines that hold both beside engines that hold one", "the engines that hold "
             "both, as above", "as above", 5.1, 14.1),
    Measured("by block, 2 builds each, 3+3 blocks", "blocks used again with one coating", "means of blocks",
             "engines to come", 5.1, 42.5),
    Measured("in order on 6 blocks", "blocks that ran both coatings one after the other", "one difference a block; the "
             "order is told", "engines to come", 5.0, 6.7),
)  # fmt: skip
