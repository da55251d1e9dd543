"""The methods page: an entry for each way a measure is worked out, written from the code's own declarations."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from importlib.metadata import version

from sitegen import reasons, releases
from sitegen.declarations import Stream
from sitegen.methods import design
from sitegen.page import glossary, words
from sitegen.page.addresses import slug
from sitegen.page.blocks import Cell, Column, Row, Table
from sitegen.page.view import Desk, View
from sitegen.pages.contexts import (
    METHODS_FIRST,
    Entry,
    EntryGroup,
    Fact,
    MethodGroup,
    MethodsPage,
    MethodView,
    NameView,
)
from sitegen.pages.frame import Site, crumbs, window_title
from sitegen.pages.setting import Setter
from sitegen.vocabulary import Measure

_INTERVALS = {
    "confidence": "95\N{NO-BREAK SPACE}% confidence interval",
    "prediction": "95\N{NO-BREAK SPACE}% prediction interval",
    "bounds": "bounds",
    "laboratory": "95\N{NO-BREAK SPACE}% interval of the laboratory",
    "": "no interval",
}
_MEANINGS = {
    "confidence": "Drawn so that 95 of 100 such intervals hold the true value.",
    "prediction": "Where the next value is expected, 95 times in 100.",
    "bounds": "The limits of error of what it was read with. How likely the parts between them are is not said.",
    "laboratory": "From the precision the laboratory states for its method, not from scatter seen here.",
    "": "Nothing is known of the error, or the scatter that matters is told elsewhere; the entry says which.",
}
_BETTER = {"less": "less is better", "more": "more is better", "": ""}
_DF = (
    "Stored with each standard error. Empty where the error is known, and above 1000, where it makes no difference to "
    "an interval."
)

MOST_NAMED = 3  # measures in the title of an entry


def page(site: Site) -> MethodsPage:
    """The methods page. Made after all others, so that it can say where each measure is shown."""
    path = site.addresses.methods
    view = site.view(path)
    setter = site.setter(path)
    for anchor, _ in METHODS_FIRST:
        setter.id(anchor)
    anchors = {measure: setter.id(slug(measure)) for measure in site.measures}  # first: others link to them
    owner = {measure.id: stream.name for stream in site.streams for step in stream.steps for measure in step.gives}
    titled = [(stream.name, stream.title) for stream in site.streams] + [("", "Across streams")]
    groups = []
    for name, title in titled:
        own = [measure for measure in site.measures.values() if owner.get(measure.id, "") == name]
        if own:
            entries = [_entry(site, view, setter, anchors, alike) for alike in _alike(own)]
            anchor = setter.id(name or "across-streams")
            groups.append(MethodGroup(anchor, words.sentence(title), entries, words.counted(len(own), "measure")))
    met = _met(site.desks.values())
    rest = (
        EntryGroup(setter.id("comparing"), "How coatings are compared", _comparing()),
        EntryGroup(setter.id("reasons"), "Why something is not there", [_clauses(met, *each) for each in _CATALOGUES]),
        EntryGroup(setter.id("cautions"), "Cautions", [_cautions(each) for each in site.streams if each.cautions]),
        EntryGroup(setter.id("version"), f"This version, {version('sitegen')}", _version()),
    )
    return MethodsPage(
        setter=setter,
        path=path,
        title=window_title("Methods"),
        crumbs=crumbs(site, path, [("Methods", path)]),
        others=site.others(path),
        previous=None,
        next=None,
        assets=site.links(path),
        foot=site.foot(path),
        intervals=_intervals(site.measures.values()),
        glossary=[Fact(word, [Cell(meaning)]) for word, meaning in sorted(glossary.WORDS.items())],
        groups=groups,
        rest=[each for each in rest if each.entries],
    )


def _version() -> list[Entry]:
    """What this version changed, and of results those before it."""
    ours = next((each for each in releases.releases() if each.version == version("sitegen")), None)
    if ours is None:
        return []
    rows = []
    for release in releases.releases():
        for each in release.results:
            steps = ", ".join(f"{step}\N{NO-BREAK SPACE}{to}" for step, to in each.steps.items())
            rows.append(Row([Cell(words.sentence(each.says)), Cell(steps), Cell(release.version)]))
    columns = (Column("What moved results"), Column("Step and its revision"), Column("Since"))
    table = Table("version-results", columns, rows)
    return [
        Entry("Results", words.sentence(f"{words.counted(len(rows), 'change')} that move numbers or words."), [table]),
        Entry("Formats", " ".join(ours.formats)),
        Entry("Pages", " ".join(ours.pages)),
    ]


def _cautions(stream: Stream) -> Entry:
    first = next((each for each in stream.cautions if not each.startswith("Local codes")), "")
    return Entry(words.sentence(stream.title), first, sentences=stream.cautions)


def _comparing() -> list[Entry]:
    """The procedures by design, with how often each is wrong, and what goes for all of them."""
    rows = [
        Row(
            (
                Cell(words.sentence(each.design)),
                Cell(words.sentence(each.procedure)),
                Cell(words.sentence(each.holds_for)),
                Cell(words.with_unit(words.number(each.alarms, 1), "%")),
                Cell(words.with_unit(words.number(each.cylinders, 1), "%")),
            )
        )
        for each in design.RATES
    ]
    columns = (
        Column("Which coating was where"), Column("Procedure"), Column("Holds for"),
        Column("False alarms", numeric=True), Column("If every cylinder counted", numeric=True),
    )  # fmt: skip
    line = (
        f"{words.count(len(rows))} designs. Which coating was in which cylinder of which build decides the procedure, "
        "before a number is looked at. False alarms: differences found at 5\N{NO-BREAK SPACE}% in simulated programs "
        "that have none."
    )
    table = Table("procedures", columns, rows)
    return [Entry("Procedures by design", words.sentence(line), [table]), *(Entry(*each) for each in _GO_FOR_ALL)]


_GO_FOR_ALL = (
    ("Few builds", "A coating that was built once gets no test: its interval borrows the scatter of coatings that were "
     "built again. One build of each: no answer, build and coating cannot be told apart."),
    ("Several candidates", "Dunnett's cut (C. W. Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096), else Bonferroni. "
     "Exploratory comparisons are widened for their number."),
    ("Scale", "Positive measures are compared as ratios, on the logarithms. What a tester does to all of its readings "
     "cancels where both coatings were read with it."),
    ("Cylinders as independent tests", "n/(1 + (m − 1)·ICC), L. Kish, Survey sampling (1965). Where engines hold both "
     "coatings, counting cylinders alarms seldom because the engines' differences swell the scatter: it finds less."),
    ("Criteria", "2.5\N{NO-BREAK SPACE}% of error on the side of the limit; “some cylinder fails” by Bonferroni over "
     "the cylinders looked at. A mean of builds of a positive measure is that of the typical build, the geometric "
     "mean; it fails only where the arithmetic mean lies beyond the limit too. Where a few builds lie far above all "
     "others, “holds” for such a mean is wrong in 4 to 11\N{NO-BREAK SPACE}% of simulated programs: look at the "
     "builds."),
    ("Randomisation test", "Made only where the recorded seed gives the allocation and the test can reach "
     "5\N{NO-BREAK SPACE}%: with three builds of each it cannot go below 1/10."),
)  # fmt: skip


def _intervals(measures: Iterable[Measure]) -> list[Fact]:
    kinds = {measure.interval for measure in measures}
    facts = [(words.sentence(title), _MEANINGS[kind]) for kind, title in _INTERVALS.items() if kind in kinds]
    return [Fact(term, [Cell(text)]) for term, text in [*facts, ("Degrees of freedom", _DF)]]


# ---- measures -------------------------------------------------------------------------------------------------------


def _alike(measures: Sequence[Measure]) -> list[list[Measure]]:
    """Measures whose entries would say the same but for their name, in the order declared."""
    groups: dict[tuple[str, ...], list[Measure]] = {}
    for each in measures:
        said = (_without_name(each), each.formula, each.source, each.limits, each.interval, each.scale)
        groups.setdefault(said, []).append(each)
    return list(groups.values())


def _without_name(measure: Measure) -> str:
    """How it is worked out, with "each" for its name at the beginning."""
    if measure.method.lower().startswith(measure.title.lower()):
        return f"Each{measure.method[len(measure.title) :]}"
    return measure.method


def _entry(site: Site, view: View, setter: Setter, anchors: Mapping[str, str], alike: Sequence[Measure]) -> MethodView:
    first = alike[0]
    method, formula, source, limits = map(words.tied, (_without_name(first), first.formula, first.source, first.limits))
    facts = [("Source", source), ("What it does not say", limits), ("Shown", _shown(site, alike))]
    listed = [Fact(term, [Cell(text)]) for term, text in facts if text]
    if len(alike) == 1:
        listed.append(Fact("Values", _values(site, view, first)))
        kind, method = f"{_kind(first)}; {_interval(first)}", words.tied(first.method)
        return MethodView(
            anchors[first.id], first.id, words.sentence(first.title), kind, method, formula, listed, _line(method)
        )
    listed += [Fact(f"Values, {each.title}", _values(site, view, each)) for each in alike]
    return MethodView(
        setter.id(f"{slug(first.id)}-and-others"),
        "",
        words.sentence(words.listed(_named(alike))),
        _interval(first),
        method,
        formula,
        listed,
        _line(method),
        [NameView(anchors[each.id], each.id, words.sentence(each.title), _kind(each)) for each in alike],
    )


def _named(alike: Sequence[Measure]) -> list[str]:
    """Measures of one entry by name, the first two of many."""
    names = [each.title for each in alike]
    return names if len(names) <= MOST_NAMED else [*names[:2], f"{words.count(len(names) - 2)} others worked out alike"]


def _line(method: str) -> str:
    """What a measure is: how it is worked out, up to the first stop.

    >>> _line("Drop between the two gauges, mean of the repeats: not of 0.5 psi. More.")
    'Drop between the two gauges, mean of the repeats.'
    """
    return re.split(r"[.:;](?:\s|$)", method, maxsplit=1)[0] + "."


def _kind(measure: Measure) -> str:
    unit = "a pure ratio" if measure.unit == "1" else f"in {measure.unit}"
    if measure.of_primary:
        unit += ", or in the unit of the primary measure"
    return "; ".join(part for part in (unit, _BETTER[measure.better]) if part)


def _interval(measure: Measure) -> str:
    return _INTERVALS[measure.interval] + (", on the log scale" if measure.interval and measure.scale == "log" else "")


def _shown(site: Site, alike: Sequence[Measure]) -> str:
    """Kinds of pages with the sections that show it in a column or a figure."""
    found: dict[str, list[str]] = {}
    for each in alike:
        for kind, section in site.shown.get(each.id, ()):
            if section not in found.setdefault(kind, []):
                found[kind].append(section)
    kinds = [kind for kind in ("program", "engine", "cylinder", "coating") if kind in found]
    places = [f"{kind} pages under {words.listed(found[kind])}" for kind in kinds]
    return words.sentence("; ".join(f"on {place}" for place in places))


def _values(site: Site, view: View, measure: Measure) -> list[Cell]:
    """How many values each program has, with a link to the program."""
    pieces = []
    for program, desk in site.desks.items():
        known, open_ = desk.count(measure.id)
        if known or open_:
            count = words.counted(known, "value") + (f", {words.counted(open_, 'place')} without" if open_ else "")
            pieces.append(Cell(f"{desk.program.title}: {count}", view.href_program(program)))
    return pieces or [Cell("none in these programs")]


# ---- reasons --------------------------------------------------------------------------------------------------------

_CATALOGUES = (
    ("readings-aside", "A reading is set aside", "A reading is set aside because", reasons.READING),
    ("answers-refused", "There is no answer", "A value, a state or an answer is open because", reasons.ANSWER),
    ("flags-list", "A value is to be taken with care", "A value is to be taken with care because", reasons.FLAGS),
)


def _met(desks: Iterable[Desk]) -> Counter[str]:
    """How often each code occurs in the programs shown."""
    return sum((desk.codes for desk in desks), Counter[str]())


def _clauses(met: Mapping[str, int], name: str, title: str, because: str, codes: Mapping[str, str]) -> Entry:
    """Reasons in words, those met in these programs first; the code is what the result files hold."""
    ordered = sorted(codes.items(), key=lambda each: (-met.get(each[0], 0), each[1]))
    rows = [Row([Cell(words.tied(clause)), Cell(str(met.get(code, 0) or "")), Cell(code)]) for code, clause in ordered]
    here = sum(1 for code in codes if met.get(code))
    columns = [Column(because), Column("Times here", numeric=True), Column("Code in the files")]
    line = f"{words.counted(len(codes), 'reason')}, {words.count(here)} of them met here."
    return Entry(title, words.sentence(line), [Table(name, columns, rows)])
