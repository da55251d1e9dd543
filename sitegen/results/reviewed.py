"""Reviews against what stands today: what they are about, on which results, what moved since; what objections do."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial

from sitegen.problems import nearest, shown
from sitegen.program.model import Effect, Moved, Program, Review, Reviewed, ReviewItem
from sitegen.results import alike, moves
from sitegen.results.committed import UNREADABLE, whole_history
from sitegen.results.files import FORMAT
from sitegen.results.seen import moved, seen
from sitegen.results.taken import files_of, states_of
from sitegen.results.upgrade import upgraded
from sitegen.shelves import NONE, Shelves
from sitegen.vocabulary import Problem, Readings

MOST_TOLD = 12  # rows an objection moves that are told


def places(readings: Mapping[str, Readings], wanted: Iterable[str]) -> dict[str, tuple[str, int]]:
    """Build and cylinder (0: the build) of the readings with these ids that there are."""
    asked = set(wanted)
    found: dict[str, tuple[str, int]] = {}
    for each in readings.values():
        names = [str(name) for name in each.cells("reading")]
        if not asked & set(names):
            continue
        frame = each.frame
        cylinders = frame["cylinder"] if "cylinder" in frame else [0] * len(frame)
        for name, engine, cylinder in zip(names, frame["engine"], cylinders, strict=True):
            if name in asked:
                found[name] = str(engine), int(cylinder) if cylinder == cylinder else 0
    return found


def problems(program: Program, readings: Mapping[str, Readings], shelves: Shelves = NONE) -> list[Problem]:
    """A warning for each reading a review names and nobody took, and each review on results that git does not hold."""
    if not program.reviews:
        return []
    items = [item for review in program.reviews for item in review.items if item.reading]
    known = places(readings, (item.reading for item in items))
    every = (
        [str(name) for each in readings.values() for name in each.cells("reading")] if len(known) < len(items) else []
    )
    found = [
        Problem(
            item.where.file, item.where.line, item.where.column, "review-unknown-reading",
            f'there is no reading "{shown(item.reading)}"', "the id of a reading, as the data page prints it",
            nearest(item.reading, [n for n in every if n.partition(":")[0] == item.reading.partition(":")[0]][:5000]),
            "correct it; the item is passed over", level="warning",
        )
        for item in items
        if item.reading not in known
    ]  # fmt: skip
    if whole_history(program):
        names = [name for name, _ in states_of(program, shelves)]
        found += [
            Problem(
                review.where.file, review.where.line, review.where.column, "review-on-unknown",
                f'the review is of results "{review.results}", which git does not hold',
                "the short name of committed results, as it stands at the foot of their pages",
                next_step="commit the results that are reviewed", level="warning",
            )
            for review in program.reviews
            if not any(review.results.startswith(name) or name.startswith(review.results) for name in names)
        ]  # fmt: skip
    return found


def standings(
    program: Program, readings: Mapping[str, Readings], fresh: Mapping[str, bytes], shelves: Shelves = NONE
) -> tuple[Reviewed, ...]:
    """Each review with what moved, of what it is about, since the results it was made on."""
    if not program.reviews:
        return ()
    known = dict(states_of(program, shelves))
    about = places(readings, (item.reading for review in program.reviews for item in review.items if item.reading))
    found = (_standing(program, review, known, fresh, about) for review in program.reviews)
    return tuple(replace(each, about=about) for each in found)


def _standing(
    program: Program, review: Review, known: Mapping[str, str], fresh: Mapping[str, bytes],
    about: Mapping[str, tuple[str, int]],
) -> Reviewed:  # fmt: skip
    tree = next((tree for name, tree in known.items() if review.results.startswith(name)), None)
    if tree is None:
        return Reviewed(review, None)
    try:
        files = upgraded(files_of(program, [tree])[0], FORMAT)
        as_of = json.loads(files.get("provenance.json", b"{}")).get("as_of") or ""
        wanted = {place_of(item, about) for item in review.items}
        since = {place: moved(*(seen(each, partial(_of_place, place)) for each in (files, fresh))) for place in wanted}
    except UNREADABLE:
        return Reviewed(review, None)
    return Reviewed(review, {n: since[place_of(item, about)] for n, item in enumerate(review.items)}, as_of)


def place_of(item: ReviewItem, about: Mapping[str, tuple[str, int]]) -> tuple[str, int]:
    """Build and cylinder that an item is about."""
    return about.get(item.reading, (item.engine, item.cylinder))


def _of_place(place: tuple[str, int], table: str, row: alike.Row) -> bool:
    """Whether a row is about a cylinder: its states and its values."""
    del table
    return (row["engine"], int(row["cylinder"] or 0)) == place


def effect(
    reading: str, place: tuple[str, int], accepted: bool, now: Mapping[str, bytes], other: Mapping[str, bytes]
) -> Effect:
    """What leaving a reading of a cylinder out, or taking it back, moves: `other` are the results then.

    Answers of the program come first, then what is of this cylinder, then the rest.
    """
    found = list(moves.between(now, other).values())
    told = [move for move in found if moves.beyond(move) or not move.old or not move.new]

    def rank(move: moves.Move) -> tuple[bool, bool, int, float]:
        own = (move.key.engine, move.key.cylinder) == place
        return bool(move.key.engine), not own, moves.ORDER.index(move.table), -_far(move)

    first = tuple(_moved(move) for move in sorted(told, key=rank)[:MOST_TOLD])
    return Effect(reading, accepted, first, len(found) - len(first))


def _far(move: moves.Move) -> float:
    far = moves.shift(move) if move.old and move.new else 0.0
    return 0.0 if far != far else far


def _moved(move: moves.Move) -> Moved:
    return Moved(move.what, move.told(move.old), move.told(move.new), move.key)


def objected(reviews: Sequence[Review]) -> list[str]:
    """Readings that reviews object to, in order, each once."""
    return list(
        dict.fromkeys(
            item.reading for each in reviews for item in each.items if item.says == "objects" and item.reading
        )
    )
