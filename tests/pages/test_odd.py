"""What pages say of odd cylinders, read as a reader would."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from crossing.factory import AREA, GRADE, LOSS, MEASURES, PHASE, C, R, program, rows
from pages.test_comparing import plain, view_of

from sitegen.crossing import odd as crossing
from sitegen.crossing import ties as agreement
from sitegen.page.blocks import Block, Figure, Text
from sitegen.page.view import View
from sitegen.pages import odd, ties
from sitegen.program.model import GradeScale, Program, Subject, Tie
from sitegen.vocabulary import Book, Value, Verdict

LEAK = replace(AREA, odd="more")
MASS = replace(LOSS, odd="less", only_at="ring")
GRADED = replace(GRADE, id=odd.GRADE)
HELD = {"B1": (R,) * 4, "B2": (C,) * 4, "B3": (R,) * 4}
LEAKS = {"B1": (0.31, 0.32, 0.30, 0.33), "B2": (0.24, 0.40, 0.25, 0.23), "B3": (0.29, 0.30, 0.32, 0.31)}
MASSES = {"B1": (3.1, 2.9, 3.2, 3.0), "B2": (2.4, 0.3, 2.2, 2.5)}
SCALE = GradeScale({1.0: "evenly run in", 2.0: "marked"}, 1.0)
BOTH = Subject(LEAK.id, PHASE), Subject(MASS.id, PHASE, "top")
TIE = Tie("both", "The more leak, the less mass lost", *BOTH, "opposite")


def view(of: Program, leaks: dict[str, tuple[float, ...]] | None = None, *, grade: float = 1.0) -> View:
    values = {**rows(of, LEAK, leaks or LEAKS), **rows(of, MASS, MASSES, at="top")}
    book = Book(values, (LEAK.id, MASS.id))
    told = list(crossing.found(of, {each.id: each for each in (LEAK, MASS)}, book))
    made = [*values.values(), *(each for each in told if isinstance(each, Value))]
    made.append(Value(GRADED.id, of.build("B2").key(2, PHASE, odd.RING), grade))
    known = (LEAK, MASS, GRADED, crossing.DEVIATION, crossing.CHANCE, *agreement.step(()).gives)
    measures = {**MEASURES, **{each.id: each for each in known}}
    return view_of(of, verdicts=[each for each in told if isinstance(each, Verdict)], values=made, measures=measures)


def said(blocks: Sequence[Block]) -> str:
    return plain(" ".join("".join(cell.text for cell in block.cells) for block in blocks if isinstance(block, Text)))


def test_one_sentence_names_the_cylinder_and_its_neighbours() -> None:
    of = program(HELD, inspection=SCALE)
    assert said(odd.blocks(view(of))) == (
        "B2 cylinder 2 is odd in probe area and probe loss (by chance alone in fewer than 1 of 1\u202f000 programs). "
        "None of the other eleven cylinders is odd among those of its engine. Probe area 0.40 mm², the others of B2 "
        "0.23 to 0.25 mm²; probe loss 0.30 mg, the others of B2 2.20 to 2.50 mg. Its top ring was graded 1.0, “evenly "
        "run in”: grade and measures contradict each other."
    )


def test_a_grade_contradicts_only_at_the_best_of_the_scale() -> None:
    assert "contradict" in said(odd.blocks(view(program(HELD, inspection=SCALE), grade=1.25)))
    assert "contradict" not in said(odd.blocks(view(program(HELD, inspection=SCALE), grade=1.5)))
    assert "contradict" not in said(odd.blocks(view(program(HELD))))  # no scale is stated


def test_a_mark_a_cylinder_and_a_row_a_measure() -> None:
    (figure,) = (block for block in odd.blocks(view(program(HELD))) if isinstance(block, Figure))
    (panel,) = figure.panels
    assert [row["label"] for row in panel.data["lines"]] == ["Probe area", "Probe loss"]
    assert [row["under"] for row in panel.data["lines"]] == ["more is odd", "less is odd"]
    assert len(panel.data["means"]) == 2  # the odd one, large, in both
    assert len(panel.data["dots"]) == 12 + 8 - 2
    assert "B3: probe area only." in figure.caption
    assert "Large: B2 cylinder 2." in figure.caption
    assert figure.table is not None
    words = [row.cells[-1].text for row in figure.table.rows]
    assert words.count("odd") == 1
    assert len(words) == 12


def test_where_none_is_odd_it_is_said_and_engines_say_nothing() -> None:
    of = program(HELD)
    even = view(of, {**LEAKS, "B2": (0.24, 0.22, 0.25, 0.23)})
    assert said(odd.blocks(even)) == "None of the twelve cylinders is odd among those of its engine."
    assert odd.of_engine(even.of_build("B2")) == []
    assert odd.blocks(view_of(of)) == []
    assert odd.of_cylinder(view_of(of).of_cylinder("B2", 2)) == []


def test_pages_of_the_engine_and_its_cylinders() -> None:
    seen = view(program(HELD))
    (line,) = odd.unusual(seen.of_build("B2"))
    assert (line.text, line.anchor) == ("Cylinder 2 is odd in probe area and probe loss", odd.ANCHOR)
    (figure,) = odd.of_engine(seen.of_build("B2"))
    assert isinstance(figure, Figure)
    assert {name: len(rows) for name, rows in figure.panels[0].data.items()} == {
        "lines": 2, "dots": 6, "means": 2, "limits": 1,
    }  # fmt: skip
    assert not odd.of_engine(seen.of_build("B1"))
    assert not list(odd.unusual(seen.of_build("B1")))
    assert said(odd.of_cylinder(seen.of_cylinder("B2", 2))).startswith("This cylinder is odd in probe area and probe ")
    assert said(odd.of_cylinder(seen.of_cylinder("B2", 1))) == (
        "Not odd among those of its engine, by probe area and probe loss."
    )
    open_ = [Verdict(crossing.RULE, seen.program.build("B2").key(1), "cannot tell", reason="reading-missing")]
    told = said(odd.of_cylinder(view_of(seen.program, verdicts=open_).of_cylinder("B2", 1)))
    assert told == (
        "Whether it is odd among those of its engine cannot be told, because a check of this cylinder is missing."
    )


def test_an_odd_cylinder_stands_for_the_figure_of_a_tie() -> None:
    (told,) = ties.blocks(view(program(HELD, ties=(TIE,))))
    assert isinstance(told, Text)
    text = plain("".join(cell.text for cell in told.cells))
    assert text.startswith("Expected: the more leak, the less mass lost.")
    assert text.endswith("B2 cylinder 2 is odd in both: see odd cylinders.")
    even = view(program(HELD, ties=(TIE,)), {**LEAKS, "B2": (0.24, 0.23, 0.25, 0.23)})
    assert isinstance(ties.blocks(even)[0], Figure)  # odd in one of the two at most
