"""The methods page: one entry for each measure, written from the code's own declarations."""

from __future__ import annotations

from sitegen import reasons
from sitegen.pages import words
from sitegen.pages.addresses import slug
from sitegen.pages.contexts import Fact, MethodGroup, MethodsPage, MethodView, Part, PieceView
from sitegen.pages.frame import Site, crumbs, window_title
from sitegen.vocabulary import Cell, Column, Measure, Row, Table

_INTERVALS = {
    "confidence": "95 % confidence interval",
    "prediction": "95 % prediction interval: where the next value is expected",
    "bounds": "bounds: the limits of error of what it was read with",
    "laboratory": "95 % interval from the laboratory's stated precision",
}
_BETTER = {"less": "less is better", "more": "more is better", "": ""}


def page(site: Site) -> MethodsPage:
    """The methods page."""
    path = site.addresses.methods
    setter = site.setter(path)
    owner = {measure.id: stream.name for stream in site.streams for step in stream.steps for measure in step.gives}
    titled = [(stream.name, stream.title) for stream in site.streams] + [("", "Across streams")]
    groups = []
    for name, title in titled:
        own = [measure for measure in site.measures.values() if owner.get(measure.id, "") == name]
        if own:
            anchor = setter.anchor(name or "across-streams")
            groups.append(
                MethodGroup(anchor, words.sentence(title), [_method(setter.anchor(slug(m.id)), m) for m in own])
            )
    parts = [
        Part(
            setter.anchor("flags"),
            "With what care a value is to be taken",
            [setter.table(_codes("flags-list", reasons.FLAGS, "Remark"))],
        ),
        Part(
            setter.anchor("reasons"),
            "Why a reading or an answer is not there",
            [
                setter.table(_codes("readings-aside", reasons.READING, "A reading is left out")),
                setter.table(_codes("answers-refused", reasons.ANSWER, "There is no answer")),
            ],
        ),
    ]
    return MethodsPage(
        path=path,
        title=window_title("Methods"),
        crumbs=crumbs(site, path, [("Methods", path)]),
        others=site.others(path),
        previous=None,
        next=None,
        assets=site.links(path, charts=False),
        foot=site.foot(path),
        groups=groups,
        parts=parts,
        cautions=[(words.sentence(stream.title), stream.cautions) for stream in site.streams if stream.cautions],
    )


def _method(anchor: str, measure: Measure) -> MethodView:
    unit = "a pure ratio" if measure.unit == "1" else f"in {measure.unit}"
    scale = ", on the log scale" if measure.scale == "log" else ""
    interval = f"{_INTERVALS[measure.interval]}{scale}" if measure.interval else "no interval"
    facts = [("Source", measure.source), ("What it does not say", measure.limits)]
    return MethodView(
        anchor,
        measure.id,
        words.sentence(measure.title),
        "; ".join(part for part in (unit, _BETTER[measure.better], interval) if part),
        measure.method,
        measure.formula,
        [Fact(term, [PieceView(text)]) for term, text in facts if text],
    )


def _codes(name: str, codes: dict[str, str], title: str) -> Table:
    rows = [
        Row([Cell(words.sentence(code.replace("-", " "))), Cell(f"because {clause}")])
        for code, clause in sorted(codes.items())
    ]
    return Table(name, [Column(title), Column("Meaning")], rows, caption=title)
