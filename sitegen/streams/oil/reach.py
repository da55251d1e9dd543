"""What the oil and the balance can show of each part whose worn surface is known, beside what is expected of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sitegen.declarations import Step
from sitegen.program.model import OilSource, Program
from sitegen.streams.oil.measures import EXPECTED, SHOWN, WEIGHED
from sitegen.streams.oil.smallest import least_depth
from sitegen.vocabulary import Book, Key, Readings, Refused, Result, Value, refused

OIL = "oil"
UM = 1e6  # µm in a metre


def run_reach(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Least wear that each laboratory of the record shows, least that the best balance shows, and what is expected."""
    del engine, book
    frame = readings[OIL].frame
    used = sorted(set(frame.loc[frame["use"] == "", "laboratory"].dropna()))
    limits = [tool.limit for tool in program.definitions.tools.values() if tool.kind == "balance"]
    for source in program.oil.sources if used else ():
        if not source.surface or not source.density:
            continue
        for name in used:
            at = f"{source.id}:{name}"
            found = least_depth(program, program.definitions.laboratories[name], source)
            if found is None:
                yield refused(SHOWN.id, Key(at=at), Refused("no-metal-of-its-own"))
            else:
                yield Value(SHOWN.id, Key(at=f"{at}:{found[1]}"), UM * found[0])
        rings = _rings(program, source)
        if limits and rings:
            yield Value(WEIGHED.id, Key(at=source.id), UM * 2 * min(limits) / (source.surface / rings * source.density))
        if source.expected is not None:
            yield Value(EXPECTED.id, Key(at=source.id), UM * source.expected)


def _rings(program: Program, source: OilSource) -> int:
    """Rings behind the surface of a part with a coating: the most of any build; 0 for other parts."""
    counts = [sum(place.coating == source.coating for place in build.places) for build in program.builds]
    return max(counts, default=0) if source.coating else 0


REACH = Step(name="oil-reach", gives=(SHOWN, WEIGHED, EXPECTED), run=run_reach, reads=(OIL,), scope="program")
