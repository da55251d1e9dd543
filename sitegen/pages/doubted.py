"""What pages say of instruments that were found off: which readings that puts in doubt, and what it does to answers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from sitegen.crossing import deciding, ruling
from sitegen.declarations import Unusual
from sitegen.page import words
from sitegen.page.blocks import Cell
from sitegen.page.view import STATE, View
from sitegen.program.calibrated import Doubt
from sitegen.program.doubted import Doubted
from sitegen.vocabulary import COMPARED, Change

ANCHOR = "in-doubt"  # on the page of instruments
ORDER = 12  # of a line on the page of a build: before readings set aside


def in_short(view: View) -> list[Cell]:
    """What stands against the answers of a program: a sentence an instrument, with where it is shown."""
    href = view.href(view.addresses.instruments[view.program.id])
    told = [_told(each) for each in view.the_desk.doubted if each.answers]
    return [Cell(f" {' '.join(told)} "), Cell("What was found", href=f"{href}#{ANCHOR}")] if told else []


def _told(one: Doubted) -> str:
    many = words.sentence(words.counted(one.readings, "reading"))
    are = words.plural(one.readings, "is", "are")
    opened = _opened(one.words)
    told = f"{many} with {one.doubt.instrument} {are} in doubt"
    return f"{told}, which leaves {words.listed(opened)} open." if opened else f"{told}; no answer differs."


def found(doubt: Doubt) -> str:
    """ "it was found off on 1 December 2026", or one of its gauges, or left so."""
    what = f"its {doubt.gauge} gauge" if doubt.gauge else "it"
    return (
        f"{what} was {'left' if doubt.left else 'found'} off on {words.day(doubt.after if doubt.left else doubt.until)}"
    )


def effect(one: Doubted) -> str:
    """What a doubt does to the results, in a clause: intervals that reach further, words that it leaves open."""
    if not one.moved:
        return "no value rests on them"
    wider = f"{words.counted(one.widened, 'interval')} {words.plural(one.widened, 'reaches', 'reach')} further"
    parts = [wider + (f", one by {words.percent(one.most, 1)}" if one.most else "")] if one.widened else []
    parts += [f"{words.count(one.lost)} not known any more"] if one.lost else []
    opened = _opened(one.words)
    return "; ".join([*parts, f"{words.listed(opened)} open" if opened else "no answer differs"])


def _opened(changes: Sequence[Change]) -> list[str]:
    """ "one answer to a criterion", "ten states of cylinders": the weightiest first; words these rest on apart."""
    counts = Counter(map(_kind, changes))
    return [words.counted(counts[one], one, many) for one, many in _KINDS.items() if counts[one]]


_KINDS = {
    "word of the rule": "words of the rule", "comparison": "comparisons",
    "answer to a criterion": "answers to criteria", "state of a cylinder": "states of cylinders",
}  # fmt: skip


def _kind(change: Change) -> str:
    if change.what.startswith(COMPARED):
        return "comparison"
    if change.what == ruling.RULE:
        return "word of the rule"
    if change.what.startswith(deciding.RULE) and not change.key.engine:
        return "answer to a criterion"
    return "state of a cylinder" if change.what == STATE else ""


def unusual(view: View) -> Iterator[Unusual]:
    """A line for each instrument whose readings of a build are in doubt."""
    for doubt, count in view.the_desk.doubted_of(view.the_build.id):
        text = f"{words.sentence(words.counted(count, 'reading'))} with {doubt.instrument} in doubt"
        yield Unusual(text, ANCHOR, ORDER, f": {found(doubt)}, and intervals reach further")
