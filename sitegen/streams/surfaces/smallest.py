"""What the traces of a program can show at all: before the first one by their instrument, then by their own repeats."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from statistics import median

from sitegen.declarations import Smallest
from sitegen.methods.intervals import student_95
from sitegen.methods.ring_face import SHOWN
from sitegen.page import words
from sitegen.program.model import Program
from sitegen.streams.surfaces.measures import FACE_DEPTH, LAYER_THINNEST, WEAR_STEP, WEAR_VALLEYS
from sitegen.vocabulary import Measure, Value

_UNRELATED = 0.1  # um, standard error of aligned curves at five traces a state; simulated plateau honing, no source
_FREE = 8.0  # degrees of freedom of five traces and five


def smallest(program: Program) -> Iterator[Smallest]:
    """Ring face wear by each profilometer; bore wear by what unrelated traces of honed bores scatter."""
    for tool in program.definitions.tools.values():
        if tool.kind == "profilometer":
            because = f"{tool.title}: ±{tool.limit * 1e6:.3g} µm at each trace"
            told = program.expected_wear
            expected = None if told is None else (told[0] * 1e6, told[1] * 1e6)
            yield Smallest(FACE_DEPTH.id, "wear of a ring face", 2 * tool.limit * 1e6, because, expected=expected)
            bores = (
                f"{tool.title}: five traces a state, none on the spot of another, leave ±{_UNRELATED} µm (simulated)"
            )
            yield Smallest(WEAR_VALLEYS.id, "wear of a bore by aligned curves", student_95(_FREE) * _UNRELATED, bores)


def by_repeats(program: Program, values: Iterable[Value]) -> Iterator[Smallest]:
    """The least wear that is shown, at the middle one of the places traced so far.

    Its 95 % interval leaves zero out; of ring faces with room for looking where the traces differ most.
    """
    del program
    every = list(values)
    for measure, what, source in (
        (WEAR_STEP, "wear of a bore by the step", "scatter of this program's own traces"),
        (WEAR_VALLEYS, "wear of a bore by aligned curves", "scatter of this program's own traces"),
        (FACE_DEPTH, "wear of a ring face", "fit of the flanks of this program's own traces"),
        (LAYER_THINNEST, "running-in layer of a ring", "thickness of the rings cut, and the traces"),
    ):
        halves = sorted(half for each in every if (half := _half(measure, each)) is not None)
        if halves:
            ends = words.from_to(
                *(words.number(each, words.decimals_alone(each, 2)) for each in (halves[0], halves[-1]))
            )
            because = f"{source}: {words.with_unit(ends, 'µm')} over {words.counted(len(halves), 'place')}"
            yield Smallest(measure.id, f"{what}, by its repeats", median(halves), because)


def _half(measure: Measure, value: Value) -> float | None:
    """Half-width [um] of the interval of one place; None where it has none or is no place of this measure."""
    if value.measure != measure.id or value.high is None or (measure is FACE_DEPTH and "/" not in value.key.at):
        return None
    room = SHOWN if measure is FACE_DEPTH else 1.0
    if value.se is not None and value.df is not None:
        return student_95(value.df) * value.se * room
    return (value.high - value.low) / 2 * room if value.low is not None else None
