"""What compression tests say on the page of a build and of a cylinder. Computes nothing; never says seated."""

from __future__ import annotations

from collections.abc import Sequence

from sitegen.declarations import OfCylinder, Section
from sitegen.methods.compression import EQUAL as SCATTER
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, Column, Row, Table, Text
from sitegen.page.view import View
from sitegen.program.model import Phase
from sitegen.streams.compression.fields import Reading, state
from sitegen.streams.compression.measures import CHANGE, EQUAL, LOWEST, PRESSURE, TO_BEST, WET
from sitegen.streams.compression.steps import BELOW
from sitegen.tables.rows import given
from sitegen.vocabulary import Value

NEVER = "Cranking pressure tells no seating: no state of a cylinder rests on it."


def engine_compression(view: View) -> Sequence[Block]:
    """A sentence and a table each check, the newest first, with what equal cylinders would show beside the ratio."""
    of = [phase for phase in reversed(view.phases) if view.values(PRESSURE.id, engine=view.the_build, phase=phase.id)]
    blocks = [_check(view, phase) for phase in of]
    return [*blocks, Text((Cell(f"{_alarms(view)}{NEVER}"),), "note")] if blocks else []


def _alarms(view: View) -> str:
    """How often engines with nothing wrong fall below 0.90; the same at every check with as many cylinders."""
    alarms = view.values(EQUAL.id, engine=view.the_build, cylinder=0, at=BELOW)
    told = [
        f"{_share(each)} of engines with {words.count(each.n)} of them"
        for each in {value.n: value for value in alarms}.values()
    ]
    if not told:
        return ""
    limit, scatter = BELOW.partition(":")[2], words.with_unit(words.number(100 * SCATTER, 0), "%")
    return (
        f"Equal cylinders scatter by {scatter} (common practice, no source): below {limit} fall {words.listed(told)}, "
        "with nothing wrong. "
    )


def _check(view: View, phase: Phase) -> Table:
    build = view.the_build
    oiled = view.values(PRESSURE.id, engine=build, phase=phase.id, at="wet")
    since = view.values(CHANGE.id, engine=build, phase=phase.id)
    changed = since if any(value.value is not None for value in since) else []
    columns = [Column("Cylinder"), Column("Dry", "kPa", numeric=True, measure=PRESSURE.id),
               Column("Of the best", numeric=True, measure=TO_BEST.id)]  # fmt: skip
    columns += [Column("With oil", "kPa", numeric=True, measure=PRESSURE.id),
                Column("Change with oil", "%", numeric=True, measure=WET.id)] if oiled else []  # fmt: skip
    columns += [Column("Since the first check", "%", numeric=True, measure=CHANGE.id)] if changed else []
    rows = []
    for place in build.places:
        number = place.cylinder
        found = [view.value(PRESSURE.id, phase.id, cylinder=number), view.value(TO_BEST.id, phase.id, cylinder=number)]
        found += [view.value(PRESSURE.id, phase.id, "wet", cylinder=number),
                  view.value(WET.id, phase.id, cylinder=number)] if oiled else []  # fmt: skip
        found += [next((v for v in changed if v.key.cylinder == number), None)] if changed else []
        if any(value is not None for value in found):
            named = Cell(f"cylinder {number}", href=view.href_cylinder(build, number), coating=place.coating)
            rows.append(Row((named, *(view.cell(value) for value in found))))
    reading = f"{words.sentence(phase.title)}: {_beside(view, phase)}."
    return Table(
        f"compression-{build.id}-{phase.id}", columns, rows, reading, note=_note(view, phase, oiled), wide=True
    )


def _beside(view: View, phase: Phase) -> str:
    """Lowest over highest, with how often equal cylinders read so; the clause after the title of the phase."""
    values = view.values(LOWEST.id, engine=view.the_build, cylinder=0, phase=phase.id)
    if not values:
        return "cranking pressure of one cylinder"
    value = values[0]
    if value.value is None:
        return f"cylinders are not set beside each other: {view.why(value.reason)}"
    so, below = (
        next(iter(view.values(EQUAL.id, engine=view.the_build, cylinder=0, phase=phase.id, at=at)), None)
        for at in ("", BELOW)
    )
    told = f"lowest over highest cranking pressure {words.number(value.value, 2)}"
    if so is None or below is None:
        return told
    return f"{told}; {_share(so)} of engines with {words.count(value.n)} equal cylinders read as far apart"


def _share(value: Value) -> str:
    share = value.value or 0.0
    return words.with_unit("fewer than 1" if share < 1 else words.number(share, 0), "%")


def _note(view: View, phase: Phase, oiled: Sequence[Value]) -> str:
    """What oil did beyond scatter, why nothing is set beside the first check, how it was cranked."""
    told = _with_oil(view, phase, oiled)
    since = view.values(CHANGE.id, engine=view.the_build, phase=phase.id)
    if since and all(value.value is None for value in since):
        told.append(f"Not set beside the first check: {view.why(since[0].reason)}.")
    rows = view.records("compression", Reading, phase=phase.id, used=True)
    speeds = [row.cranking_speed * 30 / 3.141592653589793 for row in rows if given(row.cranking_speed)]
    if speeds:
        told.append(f"Cranked at {words.with_unit(words.span(min(speeds), max(speeds), 0), 'rpm')}"
                    f"{_throttle(rows)}.")  # fmt: skip
    return " ".join(told)


def _throttle(rows: Sequence[Reading]) -> str:
    said = sorted({str(row.throttle) for row in rows if given(row.throttle)} - {"none"})
    return f", throttle {words.listed(said)}" if said else ""


def _with_oil(view: View, phase: Phase, oiled: Sequence[Value]) -> list[str]:
    if not oiled:
        return []
    changes = [v for v in view.values(WET.id, engine=view.the_build, phase=phase.id) if v.value is not None]
    beyond = [v.key.cylinder for v in changes if v.low is not None and v.high is not None and (v.low > 0 or v.high < 0)]
    known = [v for v in changes if v.low is not None]
    rows = view.records("compression", Reading, phase=phase.id, used=True)
    amounts = sorted({f"{1e6 * row.oil_added:.3g}" for row in rows if state(row)})
    room = f"The {words.listed(amounts)} mL of oil take room, which alone raises the pressure."
    if not known:
        return [f"No reading was repeated: a change with oil is not told from scatter. {room}"] if changes else [room]
    if not beyond:
        return [f"With oil no cylinder changed beyond the scatter of repeats. {room}"]
    name = words.plural(len(beyond), "cylinder")
    return [f"With oil {name} {words.numbers_listed(beyond)} changed beyond the scatter of repeats. {room}"]


def of_cylinder(view: View) -> Cell | None:
    """Its newest cranking pressure, dry, beside those of the others where they may be set beside each other."""
    for phase in reversed(view.phases):
        value = view.value(PRESSURE.id, phase.id)
        if value is not None and value.value is not None:
            best = view.value(TO_BEST.id, phase.id)
            if best is None or best.value is None:
                return Cell(view.text(value, unit=True), note="not set beside the others")
            return Cell(view.text(value, unit=True), note=f"{words.number(best.value, 2)} of the best")
    return None


SECTIONS = (Section("compression", "Compression test", 14, "engine", engine_compression, place="rest"),)
OF_CYLINDER = (OfCylinder("Cranking pressure", 34, of_cylinder),)
