"""What the event log says on the pages."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from sitegen.declarations import Section, Unusual
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, Column, Row, Table
from sitegen.page.view import View
from sitegen.streams.events.fields import CHECK, HAPPENED, SEEN, TIGHT, Reading
from sitegen.tables.rows import Written


def told(event: Reading) -> str:
    """What happened in words: "meter check", "reading by eye", "low oil"."""
    named = {CHECK: "meter check", SEEN: "reading by eye"}
    return named.get(event.what, str(event.what).replace("-", " "))


def events(view: View) -> Sequence[Block]:
    """Every event of a build in the order of its phases, beside what was left out."""
    order = {phase.id: phase for phase in view.phases}
    found = [row for row in view.records("events", Reading) if row.phase in order]
    if not found:
        return ()
    found.sort(key=lambda row: (order[row.phase].order, _none(row.at), row.at or 0.0))
    rows = [
        Row(
            (
                Cell(order[row.phase].title),
                Cell(words.DASH if _none(row.at) else words.number(row.at / 60, 1)),
                Cell(told(row) + (f", cylinder {row.cylinder:g}" if not _none(row.cylinder) else "")),
                Cell(words.DASH if _none(row.lasted) else words.number(row.lasted / 60, 1)),
                Cell(_seen(view, row), note="left out" if row.use else ""),
                Cell("" if _none(row.by) else str(row.by).replace(" ", "\u00a0")),
            ),
            here=bool(row.use),
        )
        for row in found
    ]
    columns = (
        Column("Phase"), Column("Since its start", "min", numeric=True), Column("What"),
        Column("Lasted", "min", numeric=True), Column("Noted"), Column("By"),
    )  # fmt: skip
    return (Table("events", columns, rows, _reading([row for row in found if not row.use])),)


def _none(value: Written) -> bool:
    return value != value  # nan alone does not equal itself


def _seen(view: View, row: Reading) -> str:
    parts = []
    if isinstance(row.meter, str):
        parts.append(view.program.definitions.meters[row.meter].title)
    if row.what == CHECK:
        parts.append("answered to a flow applied" if row.moved == "yes" else "did not answer to a flow applied")
    if row.what == TIGHT:
        parts.append(
            "breather closed off, nothing leaks" if row.tight == "yes" else "leaks with the breather closed off"
        )
    if not _none(row.flow):
        parts.append(words.with_unit(words.number(row.flow * 60e3, 1), "L/min") + " as read")
    if not _none(row.behaviour):
        parts.append(str(row.behaviour))
    noted = ", ".join(parts)
    remark = "" if _none(row.remark) else str(row.remark)
    return "; ".join(each for each in (noted, remark) if each)


def _reading(found: Sequence[Reading]) -> str:
    happened = Counter(
        told(row).replace("adjusted", "adjustment") for row in found if row.what not in {CHECK, SEEN, TIGHT}
    )
    failed = [row for row in found if row.what == CHECK and row.moved != "yes"]
    parts = [f"{words.sentence(words.counted(len(found), 'entry', 'entries'))}"] if found else []
    happened.pop("other", None)
    if happened:
        named = words.listed(name if count == 1 else f"{name} ({count} times)" for name, count in happened.items())
        parts.append(f"among them {named}")
    checks = sum(row.what == CHECK for row in found)
    if checks:
        answered = "the meter answered " + ("its check" if checks == 1 else f"all {words.count(checks)} checks")
        left = words.counted(len(failed), "meter check")
        parts.append(f"{left} without an answer" if failed else answered)
    return f"{'; '.join(parts)}." if parts else ""


def unusual(view: View) -> Iterator[Unusual]:
    """What happened in a run but restarts and fillings, failed checks of the meter, a crankcase that leaks."""
    order = {phase.id: phase for phase in view.phases}
    for row in view.records("events", Reading, used=True):
        failed = (row.what == CHECK and row.moved != "yes") or (row.what == TIGHT and row.tight != "yes")
        if row.phase not in order or not (failed or row.what in HAPPENED) or row.what in _USUAL:
            continue
        minutes = "" if _none(row.at) else words.number(row.at / 60, 1 if row.at < _LONG else 0)
        when = f" at {words.with_unit(minutes, 'min')} of" if minutes else " in"
        title = order[row.phase].title
        remark = "" if _none(row.remark) else f": {row.remark}"
        name = {CHECK: "meter check failed", TIGHT: "crankcase leaks", "other": "noted"}.get(row.what, told(row))
        yield Unusual(f"{words.sentence(name)}{when} {title}", "events", 20, remark)


_LONG = 6000  # s from which no tenth of a minute is told
_USUAL = {"restart", "top-up"}  # of what happens: a restart follows a stop, oil is filled up


SECTIONS = (Section("events", "Events", 48, "engine", events, place="rest"),)
