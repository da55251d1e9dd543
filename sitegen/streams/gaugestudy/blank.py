"""What the sheet of a gauge study asks for: every operator reads every object, in an order drawn by lot."""

from __future__ import annotations

import random
from collections.abc import Sequence
from string import ascii_uppercase
from typing import TypeVar

from sitegen.declarations import Blank, PaperTable
from sitegen.methods.gauge_study import MANY
from sitegen.page.words import counted
from sitegen.program.model import Build, Phase, Program

T = TypeVar("T")

REPEATS = 2
STANDARDS = 3  # proposed where cylinders alone are too alike; common practice, no source


def blank(program: Program, build: Build, phase: Phase) -> Blank:
    """The empty record of one study: a row a reading, by operator, in an order of its own, under labels."""
    objects = [{"cylinder": str(each)} for each in program.planned_cylinders(build, "gaugestudy")]
    objects += [{"reference": each} for each in program.definitions.reference_orifices]
    objects += [{"standard": f"L{number + 1}"} for number in range(STANDARDS)]
    seed = f"{program.allocation_seed or program.id}/{build.id}/{phase.id}"
    drawn = random.Random(seed)  # noqa: S311 - an order to be repeated, no secret
    rows: list[dict[str, str]] = []
    for letter, operator in zip(ascii_uppercase, _operators(program), strict=False):
        own = [{**what, "repeat": str(n + 1)} for n in range(REPEATS) for what in _shuffled(drawn, objects)]
        labels = _shuffled(drawn, [f"{letter}{n:02d}" for n in range(1, len(own) + 1)])
        rows += [
            {**row, "study": f"{build.id}-{phase.id}", "operator": operator, "order": str(n), "label": label,
             "blind": "yes"}
            for n, (row, label) in enumerate(zip(own, labels, strict=True), start=1)
        ]  # fmt: skip
    shown = ("operator", "order", "label")
    seen = [{name: row[name] for name in shown} for row in rows]  # who reads is not told what it is
    return Blank(
        rows=rows,
        once=("tester", "date", "ambient"),
        tables=(
            PaperTable("Readings, for whoever reads", shown, ("supply", "pressure", "anew", "remark"), seen),
            PaperTable("Labels, for whoever couples the hose: kept from whoever reads",
                       (*shown, "repeat", "cylinder", "reference", "standard"), (), rows),
        ),
        units={"supply": "kPa gauge", "pressure": "kPa gauge", "ambient": "kPa absolute"},
        needed=("study", "operator", "tester", "cylinder", "standard", "repeat", "supply", "pressure"),
        steps=(
            f"Order and labels are drawn by lot with the seed “{seed}”; whoever draws again gets the same. Every "
            "reading has a label of its own: who reads sees neither the object nor what was read before.",
            f"At least {counted(MANY, 'operator')}; every one reads every object. One reading that is missing takes "
            "the whole study out.",
            "Every reading is set up anew: pressure off, hose off, engine turned over twice, dead centre found again.",
            f"L1 to L{STANDARDS} are leak standards: holes that stay as they are, over the range of leaks that "
            "matters. Seated cylinders alone are too alike.",
        ),
    )  # fmt: skip


def _operators(program: Program) -> list[str]:
    """Those of the builds; where they are fewer than three, further ones by number."""
    named = list(dict.fromkeys(build.operator for build in program.builds if build.operator))
    return [*named, *(f"operator {n}" for n in range(len(named) + 1, MANY + 1))]


def _shuffled(drawn: random.Random, things: Sequence[T]) -> list[T]:
    """By `random` alone, whose sequence for a seed Python guarantees over its versions."""
    found = list(things)
    for last in range(len(found) - 1, 0, -1):
        other = int(drawn.random() * (last + 1))
        found[last], found[other] = found[other], found[last]
    return found
