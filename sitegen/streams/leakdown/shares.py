"""Shares as single readings say them: of the supply that is lost, and of the air by each path."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from statistics import fmean

from sitegen.declarations import Step
from sitegen.methods import leakdown as method
from sitegen.program.model import Program
from sitegen.streams.leakdown.area import LEAST_SHARE
from sitegen.streams.leakdown.checks import checks
from sitegen.streams.leakdown.fields import PATHS, Reading
from sitegen.streams.leakdown.measures import PATH, READ
from sitegen.tables.rows import given, rows_of
from sitegen.vocabulary import Book, Readings, Result, Value


def run_shares(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Leak of every reading of a cylinder, left out or not, and the share of each path at every check."""
    del book
    build = program.build(engine)
    cylinders = {place.cylinder for place in build.places}
    phases = {phase.id for phase in program.phases}
    for row in rows_of(readings["leakdown"].frame, Reading):
        if row.cylinder not in cylinders:
            continue
        cylinder, phase = int(row.cylinder), row.phase if row.phase in phases else ""
        leak = _leak(row)
        if leak is not None:
            yield Value(READ.id, build.key(cylinder, phase, f"reading:{row.reading}"), leak, n=1, of="reading")
    for check in checks(program, rows_of(readings["leakdown"].frame, Reading)):
        for path in PATHS:
            shares = [told[path] for told in check.shares if path in told]
            if shares and check.cylinder in cylinders:
                key = build.key(check.cylinder, check.phase, ",".join(part for part in (path, check.at) if part))
                yield Value(PATH.id, key, fmean(shares), n=len(shares), of="reading")


def beside_rings(whole: Value, share: float, told: Sequence[float]) -> tuple[float, float]:
    """Least and most area of the paths beside the rings [mm2], of a check that lost `share` [-] of its air past them.

    `whole` holds the area of all paths with its interval; `told` are the shares [-] of single readings. A share is
    known to half a tenth, as it is told by ear or hand, and no better than its readings agree.
    """
    half = max(LEAST_SHARE, (max(told) - min(told)) / 2 if told else 0.0)
    value = whole.value or 0.0
    low, high = (value if end is None else end for end in (whole.low, whole.high))
    return max(1 - share - half, 0.0) * low, min(1 - share + half, 1.0) * high


def _leak(row: Reading) -> float | None:
    """Leak of one reading [%]: as read where the tester has such a scale, else from both gauges; None: no figure."""
    if given(row.percent):
        return row.percent
    if not given(row.supply) or not given(row.pressure) or not row.supply:
        return None
    return float(method.percent(row.supply, row.pressure))


SHARES = Step(name="leak-shares", gives=(READ, PATH), run=run_shares, reads=("leakdown",), revision=2)
