"""Samples from the sump to the laboratory, on the page of a build; bottles past their day, on the data page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from sitegen.declarations import Unusual
from sitegen.page import words
from sitegen.page.blocks import Block, Cell, Column, Row, Table
from sitegen.page.view import View
from sitegen.streams.oil.custody import LATE, OUT_OF_ORDER, WAS, Custody, custody_of
from sitegen.streams.oil.fields import SAMPLE, Reading

ASKED = {"sealed": "whether it was sealed", "sent": "the day it was sent", "received": "the day it was received",
         "analysed": "the day it was analysed", "retained_until": "until when it is kept"}  # fmt: skip
NO_DAY = "not recorded"


def _samples(view: View) -> dict[tuple[str, str, str], Custody]:
    """Custody by build, phase and sample, in the order of the phases."""
    own: dict[tuple[str, str, str], list[Reading]] = {}
    order = {phase.id: phase.order for phase in view.program.phases}
    for row in view.records("oil", Reading, used=True):
        if row.what == SAMPLE and row.phase in order:
            own.setdefault((str(row.engine), str(row.phase), str(row.sample)), []).append(row)
    builds = [build.id for build in view.program.builds]
    made = {key: custody_of(rows) for key, rows in own.items()}
    return dict(sorted(made.items(), key=lambda each: (builds.index(each[0][0]), order[each[0][1]])))


def of_build(view: View) -> Sequence[Block]:
    """A row a sample: who drew it and when, sealed, sent, received, analysed, kept."""
    found = _samples(view)
    if not any(custody.recorded for custody in found.values()):
        return ()
    rows = []
    for (_, phase, name), custody in found.items():
        odd = dict(custody.disorder())
        late = LATE in custody.flags(view.program.oil)
        notes = {late_: f"before it was {WAS[early]}" for late_, early in odd.items()}
        days = custody.days
        if days is not None and days >= 0 and "analysed" not in notes:
            notes["analysed"] = f"after {days} {words.plural(days, 'day')}" + (", late" if late else "")
        day = {each: words.day(getattr(custody, each)) or NO_DAY for each in WAS}
        rows.append(
            Row(
                (
                    Cell(view.program.phase(phase).title, note=name),
                    Cell(day["date"], note=custody.by),
                    Cell(custody.sealed or NO_DAY),
                    *(Cell(day[each], note=notes.get(each, "")) for each in ("sent", "received", "analysed")),
                    Cell(day["retained_until"], note=notes.get("retained_until") or custody.kept),
                ),
                here=bool(odd) or late,
            )
        )
    columns = [Column(title) for title in ("Sample", "Drawn", "Sealed", "Sent", "Received", "Analysed", "Kept until")]
    name = f"oil-custody-{view.the_build.id}"
    return [Table(name, columns, rows, _reading(view, found), caption="From the sump to the laboratory", stack=True)]


def _reading(view: View, found: Mapping[tuple[str, str, str], Custody]) -> str:
    """How long samples took, which were late, whose days contradict each other, and what is not on record."""
    days = [custody.days for custody in found.values() if custody.days is not None and custody.days >= 0]
    said = []
    if days:
        spread = words.from_to(str(min(days)), str(max(days)))
        taken = f"{spread} days" if min(days) != max(days) else words.counted(days[0], "day")
        counted = words.share(len(days), len(found), "sample")
        said.append(f"{words.sentence(counted)} {_was(len(days), len(found))} analysed {taken} after drawing.")
    titles = {phase.id: phase.title for phase in view.program.phases}
    late = [titles[phase] for (_, phase, _), each in found.items() if LATE in each.flags(view.program.oil)]
    if late and view.program.oil.analysed_within is not None:
        most = words.with_unit(words.number(view.program.oil.analysed_within / 86400, 0), "d")
        said.append(f"Later than the {most} planned: {words.listed(late)}.")
    odd = [titles[phase] for (_, phase, _), each in found.items() if OUT_OF_ORDER in each.flags(view.program.oil)]
    if odd:
        said.append(f"Days that contradict each other: {words.listed(odd)}.")
    unsealed = sum(custody.sealed == "no" for custody in found.values())
    if unsealed:
        said.append(f"{words.sentence(words.counted(unsealed, 'bottle'))} {_was(unsealed)} not sealed.")
    gaps = [
        f"of {words.counted(missing, 'sample')} {told}"
        for name, told in ASKED.items()
        if (missing := sum(not getattr(custody, name) for custody in found.values()))
    ]
    if gaps:
        said.append(f"Not recorded: {words.listed(gaps)}.")
    return " ".join(said)


def _was(n: int, of: int = 0) -> str:
    return "was" if 1 in {n, of} else "were"


def unusual(view: View) -> Iterator[Unusual]:
    """Samples analysed late, and those whose days contradict each other."""
    phases: dict[str, dict[str, None]] = {}
    for (_, phase, _), custody in _samples(view).items():
        for flag in sorted(custody.flags(view.program.oil)):
            phases.setdefault(flag, {})[view.program.phase(phase).title] = None
    told = {LATE: "Oil sample analysed late", OUT_OF_ORDER: "Days of an oil sample contradict each other"}
    for flag, titles in phases.items():
        yield Unusual(told[flag], "custody", 32, f": {words.listed(titles)}")


def over(view: View) -> Sequence[Block]:
    """Bottles whose day is over as of the newest record of the program."""
    newest = view.the_desk.newest
    rows = [
        Row((Cell(engine, href=view.href_engine(view.program.build(engine))), Cell(name),
             Cell(words.day(custody.retained_until)), Cell(custody.kept or NO_DAY)))
        for (engine, _, name), custody in _samples(view).items()
        if custody.retained_until and custody.retained_until < newest
    ]  # fmt: skip
    if not rows:
        return ()
    counted = words.counted(len(rows), "bottle of oil", "bottles of oil")
    was = _was(len(rows))
    text = f"{words.sentence(counted)} {was} to be kept until a day that is over as of {words.day(newest)}."
    columns = [Column("Build"), Column("Sample"), Column("Kept until"), Column("Kept at")]
    return [Table("oil-kept", columns, rows, text)]
