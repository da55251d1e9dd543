"""What the inspection says on the pages. Formats what the steps concluded; computes nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from sitegen.declarations import OfCylinder, Section, Unusual
from sitegen.page import words
from sitegen.page.blocks import Axis, Block, Cell, Column, Image, Images, Row, Strip, Table, Text
from sitegen.page.view import View
from sitegen.program.model import Phase
from sitegen.streams.inspection.fields import FINDINGS, NUMBERS, PARTS, RINGS, WORDS, Reading
from sitegen.streams.inspection.measures import AGREEMENT, BAND_SHARE, BAND_WIDTH, GRADE
from sitegen.streams.inspection.places import place_of
from sitegen.streams.inspection.steps import RULE, pair_of
from sitegen.tables.rows import Written, given
from sitegen.vocabulary import Value

_TITLES = {"top-ring": "top ring", "second-ring": "second ring", "bore": "bore", "piston": "piston"}


# ---- a cylinder -----------------------------------------------------------------------------------------------------


def cylinder_inspection(view: View) -> Sequence[Block]:
    """What was seen on the parts of one cylinder, inspector by inspector, and the pictures."""
    order = {phase.id: phase.order for phase in view.program.phases}
    records = sorted(
        view.records("inspection", Reading), key=lambda row: (order.get(row.phase, len(order)), row.file, row.row)
    )
    blocks: list[Block] = []
    rows = [_seen_row(view, row) for row in records if row.use != "" or not given(row.image) or _says_something(row)]
    if rows:
        remarked = any(row.use != "" or given(row.remark) for row in records)
        blocks.append(_seen_table(view, rows, remarked=remarked))
    return blocks


def cylinder_pictures(view: View) -> Sequence[Block]:
    """Pictures by place: one place over the phases side by side, places seen once in one row."""
    places: dict[str, dict[str, tuple[Phase, Image]]] = {}
    for phase in view.phases:
        for row in view.records("inspection", Reading, phase=phase.id, used=True):
            if given(row.image):  # a picture that two inspectors name is shown once
                shown = places.setdefault(place_of(row.part, _text(row.place)), {})
                shown.setdefault(str(row.image), (phase, _image(view, row)))
    name = f"pictures-{view.the_build.id}-{view.cylinder}"
    once, blocks = [], []
    for place, found in places.items():
        images = [image for _, image in found.values()]
        if len({phase.id for phase, _ in found.values()}) < 2:
            once += images
            continue
        title = words.sentence(f"{place}: {words.listed(dict.fromkeys(p.title for p, _ in found.values()))}")
        blocks.append(Images(f"{name}-{place}", images, place=title))
    if once:
        blocks.append(Images(name, once))
    every = [image for block in blocks for image in block.images]
    if not every:
        return ()
    note = "" if all(each.width for each in every) else " Without a bar the scale was not recorded."
    note = f"A picture opens at its full size.{note} Metadata of the files is not published."
    return [*blocks[:-1], replace(blocks[-1], caption=note)]


def band_by_eye(view: View) -> Cell | None:
    """The contact band of the top ring as inspectors saw it, beside those of the others."""
    found = [value for phase in view.phases if (value := view.value(BAND_WIDTH.id, phase.id, RINGS[0])) is not None]
    known = [value for value in found if value.value is not None]
    if not known:
        return None
    beside = [value.value for value in _of(view, BAND_WIDTH.id, view.program.phase(known[-1].key.phase), RINGS[0])
              if value.key.cylinder != view.cylinder and value.value is not None]  # fmt: skip
    ends = words.from_to(*(words.number(end(beside), 2) for end in (min, max))) if beside else ""
    return Cell(words.with_unit(_rounded(known[-1], 2), "mm"), note=f"the others {ends}" if ends else "")


def _seen_table(view: View, rows: Sequence[Row], *, remarked: bool) -> Table:
    columns = [
        Column("Part"), Column("Place"), Column("Inspector"), Column("Band of the face", "%", numeric=True),
        Column("Band", "mm", numeric=True), Column("Grade", numeric=True),
        *(Column(finding.capitalize()) for finding in FINDINGS), Column("Remark"),
    ]  # fmt: skip
    if not remarked:
        columns.pop()
        rows = [replace(row, cells=row.cells[:-1]) for row in rows]
    name = f"inspection-{view.the_build.id}-{view.cylinder}"
    return Table(name, columns, rows, _band_reading(view), note=_scale_note(view), wide=True)


def _says_something(row: Reading) -> bool:
    return any(given(getattr(row, name)) for name in (*NUMBERS, *FINDINGS, "remark"))


def _seen_row(view: View, row: Reading) -> Row:
    out = row.use != ""
    part = "" if not given(row.part) else _TITLES.get(row.part, row.part)
    phase = view.program.phase(row.phase)
    look = "" if not given(row.repeat) else f"look {int(row.repeat)}"
    remark = Cell(_text(row.remark))
    if out:
        remark = Cell("left out", word=True, note=f"{words.sentence(view.why(row.use))}.")
    cells = (
        Cell(words.sentence(part), note="" if phase.kind == "teardown" else f"at {phase.title}"),
        Cell(_text(row.place)),
        Cell(_text(row.inspector), note=look),
        Cell(_number(row.band_share, 1.0, 0)),
        Cell(_number(row.band_width, 1e3, 2)),
        Cell(_number(row.grade, 1.0, 0)),
        *(Cell(_text(getattr(row, finding))) for finding in FINDINGS),
        remark,
    )
    return Row(cells, here=out, anchor=f"reading-{row.reading}")


def _text(value: Written) -> str:
    return "" if not given(value) else str(value)


def _number(value: float, scale: float, decimals: int) -> str:
    return "" if not given(value) else words.number(scale * value, decimals)


def _image(view: View, row: Reading) -> Image:
    """The picture of a row. Alternative text says what it is of; the caption says what is to be seen."""
    build, phase = view.the_build, view.program.phase(row.phase)
    what = ", ".join(part for part in (_TITLES.get(row.part, row.part), _text(row.place)) if part)
    grade = "" if not given(row.grade) else f", grade {row.grade:g}"
    by = f"{row.inspector}{grade}".rstrip(".")  # initials bring a stop of their own
    caption = f"{_text(row.caption) or f'{words.sentence(what)}.'} {words.sentence(phase.title)}: {by}."
    alternative = f"{words.sentence(what)}, {build.id} cylinder {view.cylinder} at {phase.title}"
    if _text(row.caption):
        alternative += f": {_text(row.caption)}"
    width = None if not given(row.image_width) else float(row.image_width)
    return Image(f"{view.program.id}/{row.image}", caption, alternative, width)


def _band_reading(view: View) -> str:
    """The contact band of the top ring against those of its neighbours, at the last phase it was looked at."""
    build, number = view.the_build, view.cylinder
    for phase in reversed(view.phases):
        bands = {
            place.cylinder: value.value
            for place in build.places
            if (value := view.value(BAND_SHARE.id, phase.id, RINGS[0], engine=build, cylinder=place.cylinder))
            is not None
            and value.value is not None
        }
        own = bands.pop(number, None)
        if own is None:
            continue
        sentence = (
            f"At {phase.title} the contact band of cylinder {number} covers {words.percent(own, 100)} of the width "
            "of the top ring’s face"
        )
        if not bands:
            return f"{sentence}."
        verb = "bands cover" if len(bands) > 1 else "band covers"
        return f"{sentence}; its neighbours’ {verb} {_span(list(bands.values()))}\N{NO-BREAK SPACE}%."
    return ""


def _span(values: Sequence[float]) -> str:
    low, high = (words.number(each, 0) for each in (min(values), max(values)))
    return words.from_to(low, high)


def _scale_note(view: View) -> str:
    scale = view.program.inspection
    if scale is None:
        return ""
    grades = "; ".join(f"{grade:g} {title}" for grade, title in scale.grades.items())
    return f"Grades of this program: {grades}. Best is {scale.best:g}."


# ---- a build --------------------------------------------------------------------------------------------------------


def engine_inspection(view: View) -> Sequence[Block]:
    """All cylinders of a build at each phase they were looked at, and how far inspectors agree."""
    seen = [phase for phase in view.phases if _looked_at(view, phase)]
    blocks: list[Block] = []
    if seen:
        tables = [_phase_table(view, phase) for phase in reversed(seen)]  # the last leads
        blocks += [Text((Cell(_engine_reading(view, seen[-1])),), "reading"), *_bands(view, seen[-1]), *tables]
        blocks += [Text((Cell(sentence),), "note") for sentence in _agreements(view)]
    return blocks


def _bands(view: View, phase: Phase) -> list[Block]:
    """The bands of the top rings, a row a cylinder on one axis; nothing where fewer than two are known."""
    known = [value for value in _of(view, BAND_WIDTH.id, phase, RINGS[0]) if value.value is not None]
    if len(known) < 2:
        return []
    axis = Axis.over(1, [value.value or 0.0 for value in known])
    rows = []
    for value in known:
        place = axis.place(value.value or 0.0)
        text = words.with_unit(_rounded(value, 2), "mm")
        strip = Strip(None, place, None, False, value.key.coating, f"cylinder {value.key.cylinder}: {text}")
        rows.append(Row((Cell(f"cylinder {value.key.cylinder}"), Cell("", strip=strip), Cell(_rounded(value, 2)))))
    columns = (Column("Cylinder"), Column("Contact band, by eye"), Column("mm", numeric=True))
    name = f"bands-{view.the_build.id}-{phase.id}"
    return [Table(name, columns, rows, stack=True, measure=BAND_WIDTH.id, axis=axis)]


def unusual(view: View) -> Iterator[Unusual]:
    """Findings that no ring or bore should show: scuffing and spalling at all, the others where they are marked."""
    for finding in FINDINGS:
        found: dict[str, dict[int, None]] = {}
        for verdict in view.verdicts(f"{RULE}{finding}", engine=view.the_build):
            if verdict.word != "none" and (finding in _NEVER or verdict.word == WORDS[-1]):
                found.setdefault(f"{verdict.word}, {_TITLES[verdict.key.at]}", {})[verdict.key.cylinder] = None
        for what, cylinders in found.items():
            whom = f"{words.plural(len(cylinders), 'cylinder')} {words.numbers_listed(list(cylinders))}"
            yield Unusual(f"{words.sentence(finding)} in {whom}", "inspection", 15, f" ({what})")


_NEVER = FINDINGS[:2]


def _looked_at(view: View, phase: Phase) -> bool:
    return any(_says_something(row) for row in view.records("inspection", Reading, phase=phase.id, used=True))


def _phase_table(view: View, phase: Phase) -> Table:
    build = view.the_build
    graded = [
        part for part in PARTS if any(v.value is not None for v in _of(view, GRADE.id, phase, part))
    ]  # columns only for parts somebody graded
    counts = {v.n for part in graded for v in _of(view, GRADE.id, phase, part) if v.value is not None}
    alike = len(counts) == 1
    means = f" Mean of {words.counted(min(counts), 'inspector')}." if alike else ""
    rows = []
    for place in build.places:
        one = view.of_cylinder(build, place.cylinder)
        values = [one.value(measure.id, phase.id, RINGS[0]) for measure in (BAND_SHARE, BAND_WIDTH)]
        grades = [one.value(GRADE.id, phase.id, part) for part in graded]
        link = view.href_cylinder(build, place.cylinder, "inspection") if one.records("inspection", Reading) else ""
        rows.append(
            Row(
                (
                    Cell(f"cylinder {place.cylinder}", href=link, coating=place.coating),
                    *(Cell(_rounded(value, digits)) for value, digits in zip(values, (0, 2), strict=True)),
                    *(Cell(_rounded(value, 1), note="" if alike else _inspectors(value)) for value in grades),
                    Cell(_findings_of(view, phase, place.cylinder)),
                )
            )
        )
    columns = (
        Column("Cylinder"), Column("Band of the top ring’s face", "%", numeric=True, measure=BAND_SHARE.id),
        Column("Band", "mm", numeric=True, measure=BAND_WIDTH.id),
        *(Column(f"Grade, {_TITLES[part]}", numeric=True, measure=GRADE.id) for part in graded), Column("Findings"),
    )  # fmt: skip
    note = f"{_scale_note(view)}{means}".strip()
    caption = words.sentence(phase.title)
    return Table(f"inspection-{build.id}-{phase.id}", columns, rows, caption=caption, note=note, wide=True)


def _of(view: View, measure: str, phase: Phase, part: str) -> list[Value]:
    found: list[Value] = view.values(measure, engine=view.the_build, phase=phase.id, at=part)
    return found


def _rounded(value: Value | None, decimals: int) -> str:
    return words.DASH if value is None or value.value is None else words.number(value.value, decimals)


def _inspectors(value: Value | None) -> str:
    return "" if value is None or value.value is None else words.counted(value.n, "inspector")


def _findings_of(view: View, phase: Phase, cylinder: int) -> str:
    """Each finding that is there, with its part; "none" only where somebody looked for all of them."""
    seen = {
        (verdict.rule.removeprefix(RULE), verdict.key.at): verdict.word
        for finding in FINDINGS
        for verdict in view.verdicts(f"{RULE}{finding}", engine=view.the_build, cylinder=cylinder, phase=phase.id)
    }
    there = [
        f"{finding} {seen[finding, part]} ({_TITLES[part]})"
        for finding in FINDINGS
        for part in PARTS
        if seen.get((finding, part), "none") != "none"
    ]
    if there:
        return "; ".join(there)
    missed = [finding for finding in FINDINGS if not any(name == finding for name, _ in seen)]
    if missed == list(FINDINGS):
        return "not recorded"
    return "none" if not missed else f"none; {words.listed(missed)} not recorded"


def _engine_reading(view: View, phase: Phase) -> str:
    bands = [value for value in _of(view, BAND_WIDTH.id, phase, RINGS[0]) if value.value is not None]
    grades = [value.value for value in _of(view, GRADE.id, phase, "bore") if value.value is not None]
    least, most = (words.number(end(grades), 1) for end in (min, max)) if grades else ("", "")
    best = view.program.inspection.best if view.program.inspection else 0
    graded = f"Bores were graded {words.from_to(least, most)}, where {words.stated(best)} is best." if grades else ""
    if len(bands) < 2:
        return graded or f"Looked at {phase.title}."
    low, high = min(bands, key=lambda v: v.value or 0.0), max(bands, key=lambda v: v.value or 0.0)
    texts = [words.with_unit(words.number(each.value, 2), "mm") for each in (low, high)]
    told = f"At {phase.title} the contact bands of the top rings are {texts[0]} wide"
    if texts[0] != texts[1]:
        told += f" (cylinder {low.key.cylinder}) to {texts[1]} (cylinder {high.key.cylinder})"
    return f"{told}. {graded}".rstrip()


def _agreements(view: View) -> list[str]:
    told = []
    here = {row.inspector for row in view.records("inspection", Reading)}  # pairs that never met here say nothing here
    for value in view.values(AGREEMENT.id):
        if value.key.at and not here.issuperset(pair_of(value.key.at)):
            continue
        whom = f"{words.listed(pair_of(value.key.at))}" if value.key.at else "two inspectors"
        if value.value is None:
            told.append(f"How far {whom} agree in their grades cannot be told, because {view.why(value.reason)}.")
        elif value.low is None:
            told.append(f"{whom} gave the same grade at all of {value.n} places of this program.")
        else:
            within = f"{words.number(value.low, 2)} to {words.number(value.high, 2)}"
            told.append(
                f"How far {whom} agree in their grades: weighted kappa {words.number(value.value, 2)}, "
                f"95\N{NO-BREAK SPACE}% interval {within}, from {value.n} places of this program that both graded (1 "
                "always alike, 0 no better than chance)."
            )
    return told


# ---- a coating ------------------------------------------------------------------------------------------------------


def coating_inspection(view: View) -> Sequence[Block]:
    """Builds of a program with this coating: range of the bands and of the grades of its top rings."""
    rows = []
    for build in view.builds:
        cells = []
        for measure, decimals in ((BAND_SHARE, 0), (BAND_WIDTH, 2), (GRADE, 1)):
            values = [
                value.value
                for value in view.values(measure.id, engine=build, at=RINGS[0], coating=view.the_coating.id)
                if value.value is not None
            ]
            ends = [words.number(end(values), decimals) for end in (min, max)] if values else [words.DASH]
            cells.append(Cell(" to ".join(dict.fromkeys(ends)), note=words.counted(len(values), "ring")))
        if any(cell.text != words.DASH for cell in cells):
            mixed = "" if len(build.coatings) == 1 else "mixed engine"
            rows.append(Row((Cell(build.id, href=view.href_engine(build, "inspection"), note=mixed), *cells)))
    if not rows:
        return ()
    columns = (
        Column("Build"), Column("Band of the top ring’s face", "%", numeric=True, measure=BAND_SHARE.id),
        Column("Band", "mm", numeric=True, measure=BAND_WIDTH.id),
        Column("Grade, top ring", numeric=True, measure=GRADE.id),
    )  # fmt: skip
    note = f"Lowest to highest over its rings. No difference between coatings is concluded from it. {_scale_note(view)}"
    told = {row.cells[0].text for row in rows}
    absent = [build.id for build in view.builds if build.id not in told]
    reading = f"Inspected in {words.counted(len(rows), 'build')}"
    reading += f", not in {words.listed(absent)}." if absent else ", all of them."
    bands = [
        v.value
        for build in view.builds
        for v in view.values(BAND_SHARE.id, engine=build, at=RINGS[0], coating=view.the_coating.id)
        if v.value is not None
    ]
    reading += f" Contact bands cover {words.with_unit(_span(bands), '%')} of the face." if bands else ""
    return (Table(f"{view.program.id}-inspection", columns, rows, reading, note=note.strip(), wide=True),)


OF_CYLINDER = (OfCylinder("Band by eye, mean", 50, band_by_eye),)
SECTIONS = (
    Section("inspection", "Contact bands", 50, "engine", engine_inspection, "half", "Grades, findings, agreement"),
    Section("pictures", "Pictures", 20, "cylinder", cylinder_pictures),
    Section("inspection", "Inspection", 40, "cylinder", cylinder_inspection, place="rest"),
    Section("inspection", "Inspection", 30, "coating", coating_inspection, place="rest"),
)
