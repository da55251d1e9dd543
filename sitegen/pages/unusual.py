"""What is out of the ordinary with one build, of all streams: a line each, linked to where it is shown."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sitegen.declarations import Stream, Unusual
from sitegen.page import counts, words
from sitegen.page.blocks import Cell
from sitegen.page.view import View
from sitegen.pages import closure, doubted, hours, odd
from sitegen.pages.contexts import Line
from sitegen.pages.present import Record, records

MISSING, NOT_USED, BUILD = "planned-and-present", "left-out", "build"  # anchors; the first two on other pages


def lines(view: View, streams: Sequence[Stream], shown: Sequence[str]) -> list[Line]:
    """What all streams have to say, the gravest first; `shown` are the anchors of the page."""
    found: list[tuple[str, Unusual]] = [("cylinders", each) for each in odd.unusual(view)]
    found += [("wear", each) for each in closure.unusual(view)]
    found += [("instruments", each) for each in doubted.unusual(view)]
    found += [("schedule", each) for each in (*hours.unusual(view), *_departures(view))]
    planned = records(view.the_desk, list(streams), view.the_build)
    for stream in streams:
        own: list[Unusual] = [
            *_missing(view, [each for each in planned if each.stream == stream.name]),
            *_not_used(view, stream),
        ]
        own += stream.unusual(view) if stream.unusual is not None else ()
        found += [(stream.title, each) for each in own]
    return [
        Line(words.sentence(label), Cell(each.text, href=_href(view, each.anchor, shown)), each.more)
        for label, each in sorted(found, key=lambda pair: pair[1].order)
    ]


def _href(view: View, anchor: str, shown: Sequence[str]) -> str:
    if anchor == MISSING:
        return view.href_program(anchor="planned")
    if anchor == doubted.ANCHOR:
        return f"{view.href(view.addresses.instruments[view.program.id])}#{anchor}"
    if anchor == NOT_USED:
        return view.href_data(NOT_USED)
    return f"#{anchor}" if anchor in shown else ""


def _departures(view: View) -> Iterator[Unusual]:
    """Phases of the plan that the build does not run."""
    for each in view.the_build.departures:
        if each.kind == "skipped":
            title = words.sentence(view.program.phase(each.phase).title)
            yield Unusual(f"{title} not run", BUILD, 40, f": {each.why}" if each.why else "")


def _missing(view: View, planned: Sequence[Record]) -> Iterator[Unusual]:
    """Planned records of one stream that are not in, or not of all cylinders."""
    for word, told in (("missing", "Missing"), ("partly in", "Not of all cylinders")):
        phases = [view.program.phase(each.phase).title for each in planned if each.word == word]
        if phases:
            yield Unusual(f"{told}: {words.listed(phases)}", MISSING, 13)


def _not_used(view: View, stream: Stream) -> Iterator[Unusual]:
    """Readings of a stream that are not used, by their reason."""
    if stream.name not in view.the_desk.streams:
        return
    out: dict[str, list[int]] = {}
    for use, cylinder in view.the_desk.uses(stream.name, view.the_build.id):
        if use:
            out.setdefault(use, []).append(cylinder)
    for use, cylinders in out.items():
        numbers = sorted({*cylinders} - {0})
        of = f" of {words.plural(len(numbers), 'cylinder')} {words.numbers_listed(numbers)}" if numbers else ""
        what = "left out on objection" if use == counts.OBJECTED else "set aside"
        yield Unusual(f"{words.sentence(words.counted(len(cylinders), 'reading'))}{of} {what}", NOT_USED, 35,
                      "" if use == counts.OBJECTED else f": {view.why(use)}")  # fmt: skip
