"""The page of review: what people found going through the results, and where the next one marks what they find.

All marks are taken on this one page, since browsers may keep what pages remember apart for each file, and leave as one
file. A review changes nothing: an objection leaves a reading out once the program file accepts it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import partial
from itertools import groupby
from operator import itemgetter

from sitegen import units
from sitegen.declarations import Stream
from sitegen.page import words
from sitegen.page.addresses import Addresses
from sitegen.page.blocks import Block, Cell, Column, Row, Table, Text
from sitegen.page.view import View
from sitegen.pages.contexts import Part, ReviewPage, ToReview
from sitegen.pages.frame import Site, parts_page
from sitegen.pages.setting import Setter
from sitegen.program.model import Build, Effect, Moved, Program, Reviewed, ReviewItem
from sitegen.reader.headers import parted
from sitegen.vocabulary import Field

TITLE = "Review"
READINGS = 1000  # from which on a script of readings is full
MOST_NUMBERS = 3  # told of a reading
MOST_MOVED = 4  # told of an objection
Place = tuple[str, int]  # build, cylinder; 0: the build
_SHOWN = {  # unit of a field -> unit shown, times
    "Pa": ("kPa", 1e-3), "m": ("mm", 1e3), "m2": ("mm²", 1e6), "m3": ("L", 1e3), "m3/s": ("L/min", 6e4),
    "kg": ("g", 1e3), "s": ("min", 1 / 60), "K": ("°C", 1.0), "rad": ("°", 180 / math.pi), "N": ("N", 1.0),
}  # fmt: skip


def page(site: Site, program: Program) -> ReviewPage:
    """The page of one program."""
    path = site.addresses.reviews[program.id]
    view = site.view(path, program.id)
    setter = site.setter(path)
    reviews = view.analysis.reviewed
    said = _Said(reviews)
    parts = [
        Part(setter.id(anchor), title, blocks)
        for anchor, title, blocks in (
            ("marks", "Mark what you find", _marking(view, program)),
            ("queue", "By cylinder", [_queue(view, said)] if program.builds else []),
            ("disagreements", "Where reviewers disagree", _disagreements(view, said)),
            ("objections", "Objections, and what they do", _objections(view, said)),
            ("open", "To be read again, and open questions", _open(view, said)),
            ("reviews", "Reviews so far", _reviews(reviews)),
        )
        if blocks
    ]
    whole = vars(parts_page(site, program, path, TITLE, setter, _headline(program, said), parts))
    of_builds, scripts = _readings_apart(program, site.addresses, _readings(site, view), setter)
    builds = [_to_review(site, view, build, of_builds.get(build.id, 0)) for build in program.builds]
    subjects = {
        "program": program.id,
        "results": site.desks[program.id].results,
        "causes": dict(program.review.causes) if program.review is not None else {},
        "readings": scripts,
    }
    return ReviewPage(**{**whole, "assets": site.marking(path), "builds": builds, "subjects": subjects})


# ---- what was said --------------------------------------------------------------------------------------------------


class _Said:
    """Items of all reviews by what they are about."""

    def __init__(self, reviews: Sequence[Reviewed]) -> None:
        self.places: dict[Place, list[tuple[Reviewed, int, ReviewItem]]] = {}
        self.readings: dict[str, list[tuple[Reviewed, int, ReviewItem]]] = {}
        about = {name: place for each in reviews for name, place in each.about.items()}
        for each in reviews:
            for n, item in enumerate(each.review.items):
                place = about.get(item.reading) if item.reading else (item.engine, item.cylinder)
                if place is None:
                    continue  # no such reading: `check` has told it
                self.places.setdefault(place, []).append((each, n, item))
                if item.reading:
                    self.readings.setdefault(item.reading, []).append((each, n, item))
        self.about = about

    def of(self, place: Place) -> list[tuple[Reviewed, int, ReviewItem]]:
        return self.places.get(place, [])

    def latest(self, place: Place) -> dict[str, ReviewItem]:
        """What each reviewer said last of a cylinder itself."""
        found: dict[str, tuple[str, ReviewItem]] = {}
        for each, _, item in self.of(place):
            if not item.reading and each.review.on >= found.get(each.review.reviewer, ("",))[0]:
                found[each.review.reviewer] = each.review.on, item
        return {name: item for name, (_, item) in found.items()}


def _headline(program: Program, said: _Said) -> str:
    cylinders = [(build.id, place.cylinder) for build in program.builds for place in build.places]
    if not cylinders:
        return "Nothing has been built yet."
    done = sum(bool(said.latest(place)) for place in cylinders)
    if not done:
        return "No cylinder has been reviewed yet."
    return (
        f"{words.sentence(words.share(done, len(cylinders), 'cylinder'))} {words.are(done, len(cylinders))} reviewed."
    )


def _marking(view: View, program: Program) -> list[Block]:
    blind = " Reviewers of this program are not to know the coatings: give them the site made with --blind." if (
        program.review is not None and program.review.blinded and not view.folder.blind) else ""  # fmt: skip
    return [
        Text((Cell(
            "Nothing leaves this page until you save it as one file. Put that into the folder reviews of the program; "
            "check reads it, and the next publish shows it here." + blind
        ),), "note")
    ]  # fmt: skip


def _queue(view: View, said: _Said) -> Table:
    """Every cylinder with its state, who reviewed it, and what of it has moved since."""
    rows = []
    for build in view.program.builds:
        for place in build.places:
            where = (build.id, place.cylinder)
            state = view.the_desk.state(*where)
            latest = said.latest(where)
            told = [f"{name}: {item.says}" for name, item in latest.items()]
            items = said.of(where)
            objected = len({item.reading for _, _, item in items if item.reading and item.says == "objects"})
            moved = _moved_since(items)
            rows.append(
                Row((
                    Cell(f"{build.id} cylinder {place.cylinder}", href=view.href_cylinder(build, place.cylinder)),
                    Cell(state.word if state else words.DASH, word=state is not None),
                    Cell("; ".join(told) or "not reviewed", strong=not told),
                    Cell(str(objected) if objected else words.DASH),
                    Cell(moved or words.DASH),
                ))
            )  # fmt: skip
    columns = (Column("Cylinder"), Column("State"), Column("Said"), Column("Readings objected to", numeric=True),
               Column("Moved since it was reviewed"))  # fmt: skip
    return Table("review-queue", columns, rows)


def _moved_since(items: Iterable[tuple[Reviewed, int, ReviewItem]]) -> str:
    """What of a cylinder is no longer what a reviewer saw: whether it has to be gone through again."""
    told = []
    for each in {each.review.id: each for each, _, _ in items}.values():
        if each.moved is None:
            told.append(f"{each.review.reviewer}: not known, git holds no results {each.review.results}")
            continue
        moved = max((each.moved.get(n, ()) for one, n, _ in items if one is each), key=len, default=())
        if moved:
            told.append(f"{each.review.reviewer}: {words.counted(len(moved), 'result')} since {each.review.results}")
    return "; ".join(told)


def _disagreements(view: View, said: _Said) -> list[Block]:
    """Cylinders and readings of which two reviewers say different things."""
    rows = []
    for place in said.places:
        latest = said.latest(place)
        if len({item.says for item in latest.values()}) > 1:
            rows.append(Row((Cell(_name(place), href=_href(view, place)), Cell(words.DASH), _each(latest.items()))))
    for reading, items in said.readings.items():
        last = {each.review.reviewer: item for each, _, item in items}
        if len({item.says for item in last.values()}) > 1:
            place = said.about[reading]
            rows.append(Row((Cell(_name(place), href=_href(view, place)), Cell(reading), _each(last.items()))))
    columns = (Column("About"), Column("Reading"), Column("Said"))
    return [Table("review-disagreements", columns, rows)] if rows else []


def _each(items: Iterable[tuple[str, ReviewItem]]) -> Cell:
    return Cell("; ".join(f"{name}: {item.says}{f' ({item.why})' if item.why else ''}" for name, item in items))


def _name(place: Place) -> str:
    return f"{place[0]} cylinder {place[1]}" if place[1] else place[0]


def _href(view: View, place: Place) -> str:
    build = view.program.build(place[0])
    return view.href_cylinder(build, place[1]) if place[1] else view.href_engine(build)


def _objections(view: View, said: _Said) -> list[Block]:
    """Readings objected to, whether that is accepted, and what leaving them out does."""
    causes = view.program.review.causes if view.program.review is not None else {}
    effects: Mapping[str, Effect] = {each.reading: each for each in view.analysis.effects}
    rows = []
    for reading, items in said.readings.items():
        own = [(each, item) for each, _, item in items if item.says == "objects"]
        if not own:
            continue
        effect = effects.get(reading)
        place = said.about[reading]
        why = [": ".join(filter(None, (causes.get(item.cause, item.cause), item.why))) for _, item in own]
        names = words.listed(dict.fromkeys(each.review.reviewer for each, _ in own))
        accepted = effect is not None and effect.accepted
        rows.append(
            Row((
                Cell(reading, note=_name(place), href=_href(view, place)),
                Cell(names, note="; ".join(dict.fromkeys(filter(None, why)))),
                Cell("accepted: left out" if accepted else "not accepted: used", strong=not accepted),
                Cell(_told(view, effect) if effect is not None else "not worked out",
                     note="if it were used again" if accepted else "if it were left out"),
            ))
        )  # fmt: skip
    if not rows:
        return []
    columns = (Column("Reading"), Column("Objected to by"), Column("In the results"), Column("What it would do"))
    open_ = sum(row.cells[2].strong for row in rows)
    are = words.plural(open_, "is", "are")
    reading = (
        f"{words.sentence(words.counted(open_, 'objection'))} {are} not accepted: the readings count as before. A line "
        "under exclusions of the program file, with the name of the review, accepts them."
        if open_ else "All objections are accepted: these readings are left out, and shown as left out."
    )  # fmt: skip
    return [Table("review-objections", columns, rows, reading, wide=True)]


def _told(view: View, effect: Effect) -> str:
    """What moves when a reading is left out, answers first."""
    if not effect.moved and not effect.others:
        return "Nothing moves."
    told = [_moved(view, each) for each in effect.moved[:MOST_MOVED]]
    rest = effect.others + max(0, len(effect.moved) - MOST_MOVED)
    if not told:
        whose = words.plural(rest, "its interval", "their intervals")
        return f"No answer and no state; {words.counted(rest, 'value')} within {whose}."
    more = f"; {words.counted(rest, 'result')} more" if rest else ""
    return f"{'; '.join(told)}{more}."


def _moved(view: View, moved: Moved) -> str:
    measure = view.measures.get(moved.what)
    rule, _, name = moved.what.partition(":")
    criterion = next((each for each in view.program.criteria if each.id == name), None)
    title = (
        measure.title if measure is not None else criterion.title if criterion is not None else rule.replace(".", " ")
    )
    place = _name((moved.key.engine, moved.key.cylinder)) if moved.key.engine else ""
    where = ", ".join(filter(None, (place, view.program.phase(moved.key.phase).title if moved.key.phase in
                                    {phase.id for phase in view.program.phases} else "")))  # fmt: skip
    return f"{title}{f' ({where})' if where else ''}: {moved.before or words.DASH} → {moved.after or words.DASH}"


def _open(view: View, said: _Said) -> list[Block]:
    """What somebody wants read again, or asks."""
    rows = [
        Row((Cell(_name(place), href=_href(view, place)), Cell(item.reading or words.DASH), Cell(item.says),
             Cell(item.why or words.DASH), Cell(each.review.reviewer, note=words.day(each.review.on))))
        for place, items in said.places.items()
        for each, _, item in items
        if item.says in {"read again", "open question"}
    ]  # fmt: skip
    columns = (Column("About"), Column("Reading"), Column("Asked for"), Column("In words"), Column("By"))
    return [Table("review-open", columns, rows)] if rows else []


def _reviews(reviews: Sequence[Reviewed]) -> list[Block]:
    rows = []
    for each in sorted(reviews, key=lambda one: (one.review.on, one.review.id)):
        own = each.review
        moved = {moved for found in (each.moved or {}).values() for moved in found}
        what = words.counted(len(moved), "result") if moved else "nothing"
        since = f"{what} of what it is about" if each.moved is not None else "not known: git holds no such results"
        day = f"records until {words.day(each.as_of)}" if each.as_of else ""
        rows.append(
            Row((Cell(own.id), Cell(own.reviewer), Cell(words.day(own.on)), Cell(str(len(own.items))),
                 Cell(own.results[:7], note=day), Cell(since)))
        )  # fmt: skip
    columns = (Column("Review"), Column("By"), Column("On"), Column("Items", numeric=True), Column("Of results"),
               Column("Moved since"))  # fmt: skip
    return [Table("reviews", columns, rows)] if rows else []


# ---- what can be marked ---------------------------------------------------------------------------------------------


def _to_review(site: Site, view: View, build: Build, part: int) -> ToReview:
    """A build with its cylinders and their states."""
    anchor = partial(site.addresses.place, view.program.id, build.id)
    cylinders = []
    for place in build.places:
        state = view.the_desk.state(build.id, place.cylinder)
        cylinders.append(
            ToReview(anchor(place.cylinder), str(place.cylinder), view.href_cylinder(build, place.cylinder),
                     state.word if state is not None else "")
        )  # fmt: skip
    return ToReview(anchor(), build.id, view.href_engine(build), part=part, cylinders=cylinders)


def _readings_apart(
    program: Program, addresses: Addresses, readings: Mapping[Place, Sequence[list[str]]], setter: Setter
) -> tuple[dict[str, int], list[str]]:
    """Readings in scripts beside the page, some builds each, since of many builds they outweigh any page.

    Gives the number of its script by build, from 1 on, and the addresses of the scripts.
    """
    of_builds: dict[str, int] = {}
    scripts: list[str] = []
    told: dict[str, list[object]] = {}
    count = 0
    for build in program.builds:
        for place in ((build.id, 0), *((build.id, each.cylinder) for each in build.places)):
            if own := readings.get(place):
                told[addresses.place(program.id, *place)] = [
                    [group, [[id, text] for id, _, text in each]] for group, each in groupby(own, itemgetter(1))
                ]
                of_builds[build.id] = len(scripts) + 1
                count += len(own)
        if count >= READINGS:
            scripts.append(setter.keep_readings({"part": len(scripts) + 1, "places": told}))
            told, count = {}, 0
    if told:
        scripts.append(setter.keep_readings({"part": len(scripts) + 1, "places": told}))
    return of_builds, scripts


def _readings(site: Site, view: View) -> dict[Place, list[list[str]]]:
    """Id, kind with phase, and text of each reading, by what it is of."""
    phases = {phase.id: phase.title for phase in view.program.phases}
    found: dict[Place, list[list[str]]] = {}
    for stream in site.streams:
        if stream.name not in view.the_desk.streams or not stream.fields:
            continue
        frame = view.the_desk.frame(stream.name)
        fields = [each for each in stream.fields if each.name in frame and _tells(each)]
        others = [each.name for each in stream.fields if each.kind in {"word", "text"} and each.name in frame]
        what = [each.name for each in stream.fields if each.kind == "word" and each.required]  # such as a stop
        names = {"reading", "file", "engine", "phase", "use", *(each.name for each in fields), *others}
        columns = {name: frame[name].tolist() for name in names}
        cylinders = frame["cylinder"].tolist() if "cylinder" in frame else [0] * len(frame)
        written = _written(view, stream)
        for n, reading in enumerate(columns["reading"]):
            engine, cylinder = columns["engine"][n], cylinders[n]
            if not isinstance(engine, str):
                continue
            own = ((each, columns[each.name][n]) for each in fields)
            said = {name: text for name in others if isinstance(text := columns[name][n], str) and text}
            told = list(_numbers(own, str(columns["file"][n]), written))[:MOST_NUMBERS]
            told = (
                [*(said[name] for name in what if name in said), *told] if told else list(said.values())[:MOST_NUMBERS]
            )
            phase = phases.get(str(columns["phase"][n]), "")
            left = "left out" if columns["use"][n] else ""
            text = ", ".join(filter(None, (*told, left))) or "nothing told"
            group = ", ".join(filter(None, (words.sentence(stream.title), phase)))
            place = (engine, int(cylinder) if cylinder == cylinder and cylinder is not None else 0)
            found.setdefault(place, []).append([str(reading), group, text])
    return found


def _tells(each: Field) -> bool:
    """Whether a field is what was found, and not where or how."""
    return each.kind in {"number", "bounded", "integer"} and not each.told_beforehand and not each.refers


def _written(view: View, stream: Stream) -> dict[tuple[str, str], str]:
    """Unit of each field by file, as its entry or a header says: so a reader finds the number of the sheet."""
    found: dict[tuple[str, str], str] = {}
    for file, facts in view.analysis.readings[stream.name].files.items():
        for header, name in facts.get("columns", {}).items():
            if name and (unit := parted(header)[1]):
                found[file, name] = unit
    for source in view.program.records:
        file = f"{view.program.id}/{source.file}"
        found |= {(file, name): use.unit for name, use in source.columns.items() if use.unit}
    return found


def _numbers(told: Iterable[tuple[Field, object]], file: str, written: Mapping[tuple[str, str], str]) -> Iterator[str]:
    for each, value in told:
        if not isinstance(value, int | float) or value != value:
            continue
        unit, times = _SHOWN.get(each.unit, (each.unit if each.unit != "1" else "", 1.0))
        shown = value - 273.15 if each.unit == "K" and each.dimension == "temperature" else value * times
        if (own := written.get((file, each.name))) and own != each.unit:
            try:
                scale, offset = units.converter(own, each.dimension)
                unit, shown = own, (value - offset) / scale
            except units.UnitError:
                pass  # as it is shown elsewhere
        title = each.title if each.title == each.name else f"{each.title[:1].lower()}{each.title[1:]}"  # Fe stays Fe
        yield words.with_unit(f"{title} {float(f'{shown:.4g}'):g}", unit)
