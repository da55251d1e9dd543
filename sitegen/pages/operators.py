"""Where operators cannot be told from builds: what they may put into a difference, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from sitegen.page import words
from sitegen.page.view import View
from sitegen.vocabulary import Comparison, Value

BY_COATING = "operators-by-coating"  # flag: no operator read two coatings


def of_row(view: View, row: Comparison) -> Value | None:
    """What the measure of a comparison says of operators at its phase; None where they can be told apart."""
    asked = view.measures[row.measure].operators if row.measure in view.measures else ""
    return view.value(asked, row.phase, engine="", cylinder=0) if asked and row.verdict != "refused" else None


def briefly(view: View, rows: Sequence[Comparison]) -> str:
    """A short sentence behind the answer, of the first row that is concerned; "" where none is."""
    found = next((value for row in rows if (value := of_row(view, row)) is not None), None)
    return "" if found is None else f"{_apart(found)}{_figure(found, ': up to ±{} may be the operators’')}."


def note(view: View, rows: Sequence[Comparison]) -> str:
    """The same below the comparisons, with what it is of; "" where no row is concerned."""
    concerned = [(row, value) for row in rows if (value := of_row(view, row)) is not None]
    if not concerned:
        return ""
    titles = dict.fromkeys(view.measures[row.measure].title for row, _ in concerned)
    most = max((value for _, value in concerned), key=lambda value: value.value or 0.0)
    start = f"{words.sentence(words.listed(titles))}: {_lower(_apart(most))}"
    held = f"differences may hold {_figure(most, '±{}')} of the operators alone"
    return f"{start}; {held if most.value is not None else view.why(most.reason)}."


def of_program(view: View) -> str:
    """Over all readings of the program: stands where its records are counted."""
    asked = dict.fromkeys(each.operators for each in view.measures.values() if each.operators)
    found = [value for name in asked if (value := view.value(name, engine="", cylinder=0)) is not None]
    return f"{_apart(found[0])}: no chain of operators links all builds." if found else ""


def _apart(value: Value) -> str:
    other = "coating" if BY_COATING in value.flags else "build"
    return f"Operator and {other} cannot be told apart"


def _figure(value: Value, form: str) -> str:
    return "" if value.value is None else form.format(words.with_unit(words.number(value.value, 0), "%"))


def _lower(text: str) -> str:
    return f"{text[:1].lower()}{text[1:]}"
