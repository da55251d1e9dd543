"""program.yaml: from the document to the frozen program, with every reference followed."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from sitegen import units
from sitegen.problems import Collector, listed, nearest, shown
from sitegen.program import described, limits, logs, records, words
from sitegen.program.convert import instance
from sitegen.program.definitions import CYLINDERS, HOME, MOST_CYLINDERS
from sitegen.program.files import Files
from sitegen.program.model import (
    Accepted,
    Against,
    Assembly,
    Build,
    ClosureRule,
    Criterion,
    Decision,
    DecisionRule,
    Definitions,
    Departure,
    Ended,
    EngineType,
    Exclusion,
    FrictionRule,
    GradeScale,
    InstrumentRule,
    LeakdownRule,
    OilRule,
    OilSource,
    Phase,
    Place,
    PowerRule,
    Program,
    ReviewRule,
    RigRule,
    RunRule,
    ScheduleStep,
    SeatingRule,
    Subject,
    Tie,
    WearRule,
    Where,
    Window,
)
from sitegen.program.node import Node
from sitegen.program.yamlfile import Document
from sitegen.vocabulary import Problem

HERE = "this program"
SENSES = ("at_most", "at_least", "below_reference", "above_reference")
_UNKNOWN_ENGINE = EngineType("", "", 0, 0.0, 0.0)
_GRADE = re.compile(r"0|[1-9][0-9]?|100")
_NO_DEFINITIONS = Definitions({}, {}, {}, {}, {}, {})


@dataclass(frozen=True)
class _Known:
    """What a file may name; None leaves it unchecked."""

    measures: Mapping[str, str] | None  # id -> unit
    comparable: Collection[str] | None
    streams: Collection[str] | None

    @property
    def absent(self) -> Mapping[str, described.Kind]:
        """Kinds of record of the format whose streams this version does not have."""
        return {} if self.streams is None else described.absent(self.streams)

    @property
    def records(self) -> Collection[str] | None:
        """Kinds of record that may be planned."""
        return None if self.streams is None else [*self.streams, *self.absent]

    def strange(self, measure: str) -> bool:
        """Whether a measure is one of a stream that this version does not have."""
        if not measure or self.measures is None or self.streams is None or measure in self.measures:
            return False
        return described.of_absent(measure, self.streams)


def build(
    document: Document,
    folder: Path,
    definitions: Definitions | None,
    problems: Collector,
    measures: Mapping[str, str] | None = None,
    streams: Collection[str] | None = None,
    comparable: Collection[str] | None = None,
) -> Program:
    """The program of a document in `folder`, whose name is its id.

    `measures` gives the unit of every known measure, `streams` the known kinds of record, `comparable` the measures
    that can be set against each other; None leaves them unchecked, and limits stay numbers as written. What the format
    describes and `streams` do not hold is passed over, and said once. With `definitions` None the ids that live there
    are not checked. Where something is wrong a problem is added and a stand-in taken: the program may be used only if
    there is no error.
    """
    root = Node.root(document, problems)
    names = _Known(measures, comparable, streams)
    phases = _phases(root, names.records)
    order = [phase.id for phase in phases]
    compare = root.get("compare")
    coatings = None if definitions is None else definitions.coatings
    reference = compare.reference("reference", coatings, "coating", HOME)
    candidates = compare.references("candidates", coatings, "coating", HOME)
    if reference and reference in candidates:
        place = next(each for each in compare.items("candidates") if each.own_text() == reference)
        place.add("reference-is-candidate", f'"{reference}" is reference and candidate', expected="one of the two")
    compared = _compared(compare)
    builds = _builds(root, phases, definitions, compared)
    criteria = _criteria(root, order, names, compared, candidates)
    known: dict[str, Collection[str] | None] = {
        "build": [each.id for each in builds],
        "phase": order,
        "cylinder": CYLINDERS,
        "tester": None if definitions is None else definitions.testers,
        "reference orifice": None if definitions is None else definitions.reference_orifices,
        "tool": None if definitions is None else definitions.tools,
        "meter": None if definitions is None else definitions.meters,
        "laboratory": None if definitions is None else definitions.laboratories,
    }
    files = Files(folder)
    own = words.of(root, known)
    general = [each for each in ((definitions or _NO_DEFINITIONS).words, own) if each]
    entries = records.entries(root, known, general, names.absent)
    claims = files.claims(
        [(each.node, each.words) for each in entries], {"engine": known["build"] or (), "phase": order}
    )
    meters = None if definitions is None else definitions.meters
    seating, leakdown = root.get("seating"), root.get("leakdown")
    primary = compare.get("primary")
    strange = _strange(root, names)
    planned = compare.whole("planned_builds") or 0
    also = tuple(_subject(each, order, names, compared=True) for each in compare.items("also"))
    return Program(
        id=folder.name,
        title=root.text("title"),
        question=root.text("question"),
        folder=str(folder),
        where=Where(document.file, 1, 1),
        definitions=definitions or _NO_DEFINITIONS,
        reference=reference,
        candidates=candidates,
        primary_measure=_measure(primary, names, compared=True),
        primary_phase=primary.reference("phase", order, "phase", HERE),
        primary_at=primary.text("at"),
        answered_by=_answered_by(compare, order, names, also),
        not_primary=compare.get("answered_by").text("not_primary"),
        also=also,
        covariates=_covariates(compare, names, phases),
        scatter_from=_lenders(compare, folder),
        scatter_where=compare.get("scatter_from").where,
        worth_finding=compare.quantity("worth_finding", "ratio"),
        planned_builds=planned,
        allocation_scheme=compare.get("allocation").text("scheme") or "not recorded",
        allocation_seed=compare.get("allocation").whole("seed"),
        phases=phases,
        builds=builds,
        decide=_decision_rule(root, criteria, candidates, planned),
        decisions=_decisions(root, candidates),
        seating=SeatingRule(
            to_lose=_area(seating, "to_lose"),
            level=_area(seating, "level"),
            fit_through=seating.reference("fit_through", order, "phase", HERE),
        ),
        leakdown=instance(
            LeakdownRule, leakdown, turns=None if (turns := leakdown.whole("turns")) is None else Window(low=turns)
        ),
        criteria=criteria,
        criteria_stated=root.get("criteria").date("stated"),
        criteria_hash=criteria_hash(root, criteria) if criteria else "",
        records=records.sources(entries, claims, known),
        logs=logs.sources(entries, claims, builds, phases, meters),
        words=tuple(general),
        exclusions=_exclusions(root, _stems(root, names.absent)),
        accepted=_accepted(root),
        review=instance(ReviewRule, root.get("review")) if root.has("review") else None,
        notes=files.take(root.get("notes")) if root.has("notes") else "",
        invented=root.flag("invented"),
        version=root.text("version"),
        run=instance(RunRule, root.get("run")) if root.has("run") else None,
        limits=limits.of(root.get("limits")),
        inspection=_grades(root.get("inspection")),
        oil=_oil_rule(root.get("oil"), compared),
        wear=instance(WearRule, root.get("wear")) if root.has("wear") else None,
        closure=instance(ClosureRule, root.get("closure")),
        power=_power(root.get("power")),
        friction=_friction(root.get("friction")),
        rig=_rig(root.get("rig"), order, names),
        instruments=instance(InstrumentRule, root.get("instruments")),
        ties=_ties(root, order, names),
        sampled=_sampled(root, builds, names.records),
        strange=strange,
        passed_over=_passed_over(root, names, strange),
    )


def _compared(compare: Node) -> list[str]:
    """Coatings of the comparison as written, known or not."""
    return list(filter(None, dict.fromkeys([compare.text("reference"), *compare.texts("candidates")])))


def _measure(node: Node, known: _Known, *, compared: bool = False) -> str:
    """The measure of a place; with `compared` one that coatings can be compared in, where those are given."""
    name = node.text("measure")
    if known.strange(name):
        return name
    if compared and known.comparable is not None and name in (known.measures or ()):
        return node.reference(
            "measure", sorted(known.comparable), "measure", "this version that coatings are compared in"
        )
    return node.reference("measure", known.measures, "measure", "this version")


def _subject(node: Node, order: Sequence[str], known: _Known, *, compared: bool = False) -> Subject:
    return Subject(
        _measure(node, known, compared=compared),
        node.reference("phase", order, "phase", HERE),
        node.text("at"),
    )


def _answered_by(compare: Node, order: Sequence[str], known: _Known, also: Sequence[Subject]) -> Subject | None:
    """What answers the question where the primary measure does not: one of those also compared, so that it is shown."""
    if not compare.has("answered_by"):
        return None
    node = compare.get("answered_by")
    found = _subject(node, order, known, compared=True)
    if found == _subject(compare.get("primary"), order, known, compared=True):
        node.add(
            "answered-by-primary",
            f"{node.subject} names the primary measure, which answers the question where nothing else is named",
            expected="the measure that answers the question in its place, or the key left out",
        )
    elif found not in also:
        node.add(
            "answer-not-compared",
            f"{node.subject} is not among what is compared, so the page could not show it",
            expected="the same measure, phase and place under `also`",
        )
    return found


# ---- what this version does not read ------------------------------------------------------------------------------


def _strange(root: Node, known: _Known) -> dict[str, str]:
    """Measures named whose streams this version does not have, each with the unit of its limit where it has one."""
    compare, ties = root.get("compare"), root.items("ties")
    limited = root.get("criteria").items("list")
    named = [
        compare.get("primary"),
        compare.get("answered_by"),
        *compare.items("also"),
        *compare.items("covariates"),
        *limited,
    ]
    named += [tie.get(which) for tie in ties for which in ("first", "second")]
    found = {name: "1" for node in named if known.strange(name := node.text("measure"))}
    for node in limited:
        written = next((node.get(sense).as_written() for sense in SENSES[:2] if node.has(sense)), "")
        if node.text("measure") in found and written:
            found[node.text("measure")] = _written_unit(written)
    return found


def _written_unit(text: str) -> str:
    """The unit of a limit as written; "1" for none, and for what is no limit, which is told where it is read."""
    try:
        return units.split(text)[1] or "1"
    except units.UnitError:
        return "1"


def _passed_over(root: Node, known: _Known, strange: Collection[str]) -> tuple[Problem, ...]:
    """One warning of all that belongs to streams this version does not have; none where there is nothing of them."""
    found: dict[str, list[Node]] = {}
    planned: dict[str, list[str]] = {}
    for name, kind in known.absent.items():
        entry = root.get("records").get(name)
        own = [entry] * (entry.value is not None) + [root.get(key) for key in kind.keys if root.has(key)]
        phases = [each.text("id") for each in root.items("phases") if name in each.texts("records")]
        own += [each for each in root.items("sampled") if each.text("records") == name]
        own += [
            each for each in root.items("exclusions") if each.has("reading") and _file_of(each) in _stems(root, [name])
        ]
        if own or phases:
            found[name], planned[name] = own, phases
    if not found and not strange:
        return ()
    told = [node.subject for nodes in found.values() for node in nodes]
    told += [f"{name} planned in {', '.join(phases)}" for name, phases in planned.items() if phases]
    told += [f"the measure {shown(name)}" for name in strange]
    titles = [known.absent[name].title for name in found]
    what = f"{' and '.join(titles)} are not read" if titles else "measures are named that are not worked out"
    at = next((node.key_at for nodes in found.values() for node in nodes), (0, 0))
    warning = Collector(root.problems.file)
    warning.add(
        at,
        "stream-not-here",
        f"{what} by this version, so that what rests on them is missing: {'; '.join(told)}",
        level="warning",
    )
    return tuple(warning.found)


def _lenders(compare: Node, folder: Path) -> tuple[str, ...]:
    """Other programs of the folder that lend their scatter."""
    there = [each.parent.name for each in sorted(folder.parent.glob("*/program.yaml")) if each.parent != folder]
    return compare.references("scatter_from", there, "program", "this folder")


def _covariates(compare: Node, known: _Known, phases: Sequence[Phase]) -> tuple[Subject, ...]:
    """What comparisons are adjusted for: only what was fixed before the first start, for the rest may be its effect."""
    fired = next((phase.order for phase in phases if phase.fires), len(phases))
    before = [phase.id for phase in phases if phase.order < fired]
    made = []
    for node in compare.items("covariates"):
        subject = _subject(node, [phase.id for phase in phases], known)
        if subject.phase not in before and (subject.phase or not node.has("phase")):
            node.add(
                "covariate-after-start",
                f"{node.subject} is not of a phase before the first start, so it may be an effect of the coating",
                expected=listed(before) if before else "a check before the first start",
            )
        made.append(subject)
    return tuple(made)


def _area(node: Node, key: str) -> float:
    """An area in mm2."""
    if node.quantity(key, "area") is None:
        return 0.0
    return units.convert(node.text(key), "mm2")


def _oil_rule(node: Node, compared: Sequence[str]) -> OilRule:
    sources = []
    for name, each in node.ids("sources", "among the sources of metal").items():
        source = instance(OilSource, each, id=name, coating=each.reference("coating", compared, "coating", HERE))
        if (total := sum(source.elements.values())) > 1 + 1e-9:
            shares = each.get("elements")
            expected = "shares of the mass that add up to at most 100 %"
            shares.add("shares-above-100", f"{shares.subject} add up to {100 * total:.4g} %", expected=expected)
        sources.append(source)
    return instance(OilRule, node, sources=tuple(sources))


def _power(node: Node) -> PowerRule:
    """Bands of speed follow each other, six at most."""
    rule = instance(PowerRule, node)
    if rule.governed and rule.standard:
        place = node.get("standard")
        place.add("governed-and-corrected", f"{place.subject} corrects a torque that `governed` says no air changes",
                  expected="one of the two")  # fmt: skip
    places = node.get("bands").own_items()
    for band, place in zip(rule.bands, places, strict=False):
        if 0 < band.high <= band.low:
            place.add("range-reversed", f"{place.subject} ends before its beginning", expected="`from` below `to`")
    for before, band, place in zip(rule.bands, rule.bands[1:], places[1:], strict=False):
        if band.low < before.high:
            place.add("bands-overlap", f"{place.subject} begins before the band ahead of it ends",
                      expected="bands by speed, none inside another")  # fmt: skip
    return rule


def _friction(node: Node) -> FrictionRule:
    """Speeds one above the other; six at most."""
    rule = instance(FrictionRule, node)
    places = node.get("speeds").own_items()
    for before, speed, place in zip(rule.speeds, rule.speeds[1:], places[1:], strict=False):
        if speed - before < 2 * rule.speed_band:
            place.add("speeds-not-apart", f"{place.subject} does not lie above the speed ahead of it by twice the "
                      "`speed_band`", expected="speeds one above the other, apart by more")  # fmt: skip
    return rule


def _rig(node: Node, order: Sequence[str], known: _Known) -> RigRule:
    """Pairs of a measure of the rig and one of the engine; an id names one of them."""
    pairs: dict[str, Against] = {}
    for each in node.items("against"):
        name = each.text("id")
        if name in pairs:
            each.get("id").add("id-twice", f'{each.get("id").subject} "{shown(name)}" is taken', expected="another id")
        bench, engine = (_subject(each.get(which), order, known) for which in ("rig", "engine"))
        for which, subject, of_rig in (("rig", bench, True), ("engine", engine, False)):
            if subject.measure and subject.measure.startswith("rig.") is not of_rig:
                wanted = "a measure of the rig, such as rig.mu_level" if of_rig else "a measure of engines"
                each.get(which).add(
                    "not-against", f"{each.get(which).subject} names {subject.measure}", expected=wanted
                )
        pairs[name] = instance(Against, each, id=name, rig=bench, engine=engine)
    return instance(RigRule, node, against=tuple(pairs.values()))


def _ties(root: Node, order: Sequence[str], known: _Known) -> tuple[Tie, ...]:
    """Pairs of measures that ought to agree; an id names one of them."""
    ties: dict[str, Tie] = {}
    for node in root.items("ties"):
        name = node.text("id")
        if name in ties:
            node.get("id").add("id-twice", f'{node.get("id").subject} "{shown(name)}" is taken', expected="another id")
        first, second = (_subject(node.get(which), order, known) for which in ("first", "second"))
        if first == second and first.measure:
            node.add("tie-with-itself", f"{node.subject} ties a measure to itself", expected="two measures")
        ties[name] = instance(Tie, node, id=name, first=first, second=second)
    return tuple(ties.values())


def _sampled(
    root: Node, builds: Sequence[Build], streams: Collection[str] | None
) -> dict[str, dict[str, tuple[int, ...]]]:
    """Kinds of record that only some cylinders get."""
    named = {build.id: build for build in builds}
    made: dict[str, dict[str, tuple[int, ...]]] = {}
    for node in root.items("sampled"):
        stream = node.reference("records", streams, "kind of record", "this version")
        build = node.reference("build", named, "build", HERE)
        numbers: list[int] = []
        for each in node.items("cylinders"):
            number = each.value if isinstance(each.value, int) else 0
            if build in named and number not in [place.cylinder for place in named[build].places]:
                each.add("unknown-cylinder", f"{each.subject}: {build} has no cylinder {number}",
                         expected="a cylinder of the build")  # fmt: skip
            elif number in numbers:
                each.add("named-twice", f"{each.subject}: cylinder {number} is named twice", expected="each once")
            else:
                numbers.append(number)
        if build in made.get(stream, {}):
            node.add("sample-twice", f"{node.subject} names {shown(build)} again", expected="one sample a build")
        made.setdefault(stream, {})[build] = tuple(sorted(numbers))
    return made


def _grades(node: Node) -> GradeScale | None:
    """The scale of grades; which end of it is the best must be said, since both are in use."""
    grades: dict[float, str] = {}
    for name, entry in node.entries("grades"):
        if not _GRADE.fullmatch(name):
            entry.problems.add(
                entry.key_at,
                "not-a-grade",
                f'"{shown(name)}"{node.get("grades").within} is no grade',
                expected="a whole number from 0 to 100",
            )
            continue
        grades[float(name)] = entry.own_text()
    if len(node.entries("grades")) == 1:
        node.get("grades").add("too-few", f"{node.get('grades').subject} holds one grade", expected="two or more")
    best = node.whole("best")
    if len(grades) < 2 or best is None:
        return None
    scale = GradeScale(dict(sorted(grades.items())), float(best))
    if scale.best not in {scale.low, scale.high}:
        node.get("best").add(
            "best-not-an-end",
            f"{node.get('best').subject} is {best}, which is neither the lowest nor the highest grade",
            expected=f"{scale.low:g} or {scale.high:g}",
        )
    return scale


def _stems(root: Node, streams: Iterable[str]) -> set[str]:
    """What the ids of readings of some streams begin with, unless their tables give ids of their own."""
    entries = (entry for name in streams for entry in root.get("records").items(name))
    return {PurePosixPath(entry.text("file")).stem for entry in entries}


def _file_of(exclusion: Node) -> str:
    return exclusion.text("reading").partition(":")[0]


# ---- phases ---------------------------------------------------------------------------------------------------------


def _phases(root: Node, streams: Collection[str] | None) -> tuple[Phase, ...]:
    build_ids = list(dict.fromkeys(filter(None, (each.text("id") for each in root.items("builds")))))
    return tuple(
        instance(
            Phase,
            node,
            id=name,
            order=order,
            schedule=tuple(_step(each) for each in node.items("schedule")),
            records=node.references("records", streams, "kind of record", "this version"),
            only=node.references("only", build_ids, "build", HERE),
            limits=limits.of(node.get("limits")),
        )
        for order, (name, node) in enumerate(root.ids("phases", "among the phases").items())
    )


WINDOWS = ("oil_temperature", "coolant_temperature")  # channels of a log that a step may state a window for


def _step(node: Node) -> ScheduleStep:
    first, last = (each or 0.0 for each in _from_to(node.get("speed"), "speed"))
    torque, torque_to = _from_to(node.get("torque"), "torque")
    ramp = next((each for each in (node.get("speed"), node.get("torque")) if isinstance(each.value, dict)), None)
    if ramp is not None and node.flag("reference_point"):
        told = f"{ramp.subject} goes from one to another at a reference point, where blow-by is compared"
        ramp.add("reference-point-ramps", told, expected="one speed and one torque")
    windows = {name: window for name in WINDOWS if (window := _window_of(node.get(name))) is not None}
    return instance(ScheduleStep, node, speed=first, speed_to=last, torque=torque, torque_to=torque_to, windows=windows)


def _from_to(node: Node, dimension: str) -> tuple[float | None, float | None]:
    """What a step begins and ends with: one quantity, or from one to another."""
    if not isinstance(node.value, dict):
        return (node.own_quantity(dimension, zero=True),) * 2
    return node.quantity("from", dimension, zero=True), node.quantity("to", dimension, zero=True)


def _window_of(node: Node) -> tuple[float, float] | None:
    """Least and most of a temperature [K]; None where none is asked."""
    least, most = node.quantity("from", "temperature"), node.quantity("to", "temperature")
    if least is None or most is None:
        return None
    if least >= most:
        node.add("range-reversed", f"{node.subject} ends before its beginning", expected="`from` before `to`")
    return least, most


# ---- builds ---------------------------------------------------------------------------------------------------------


def _builds(
    root: Node, phases: Sequence[Phase], definitions: Definitions | None, compared: Sequence[str]
) -> tuple[Build, ...]:
    engine_types = None if definitions is None else definitions.engine_types
    oils = None if definitions is None else definitions.oils
    numbered: dict[tuple[str, int], str] = {}
    placed: dict[int, str] = {}
    made = []
    for order, (name, node) in enumerate(root.ids("builds", "among the builds").items()):
        engine_type = _UNKNOWN_ENGINE
        named = node.reference("engine_type", engine_types, "engine type", HOME)
        if named and engine_types is not None:
            engine_type = engine_types[named]
        mine = [phase for phase in phases if not phase.only or name in phase.only]
        departures = _departures(node, phases, mine)
        block, number = node.text("block"), node.whole("number") or 0
        if block and number:
            first = numbered.setdefault((block.casefold(), number), name)
            if first != name:
                node.get("number").add(
                    "build-number-twice",
                    f'"{name}" and "{first}" are both build {number} of block "{shown(block)}"',
                    expected="a number of its own for each build of a block",
                )
        place = node.whole("order") or order + 1
        first = placed.setdefault(place, name)
        if first != name:
            (node.get("order") if node.has("order") else node).add(
                "build-order-twice",
                f'"{name}" and "{first}" are both number {place} in the order of building',
                expected="a place of its own for each build, or none for any",
            )
        made.append(
            instance(
                Build,
                node,
                id=name,
                title=node.text("title") or name,
                order=order,
                engine_type=engine_type,
                places=_places(node, engine_type.cylinders, definitions, compared),
                assemblies=_assemblies(node, mine, {each.phase for each in departures if each.kind == "skipped"}),
                departures=departures,
                ended=_ended(node.get("ended"), mine, {each.phase for each in departures if each.kind == "skipped"}),
                oil=node.reference("oil", oils, "oil", HOME),
                built=place,
            )
        )
    return tuple(made)


def _places(node: Node, cylinders: int, definitions: Definitions | None, compared: Sequence[str]) -> tuple[Place, ...]:
    """The ring set of each cylinder; `all` stands for those not named."""
    rings = node.get("rings")
    if not isinstance(rings.value, dict) or not 0 < cylinders <= MOST_CYLINDERS:
        return ()
    numbers = [str(number) for number in range(1, cylinders + 1)]
    for name, entry in node.entries("rings"):
        if name not in {*numbers, "all"}:
            entry.problems.add(
                entry.key_at,
                "unknown-cylinder",
                f'"{shown(name)}"{rings.within} is no cylinder of its engine type',
                expected=f"1 to {cylinders}, or all",
            )
            continue
        coating = entry.get("coating")
        found = coating.own_reference(None if definitions is None else definitions.coatings, "coating", HOME)
        if found and found not in compared:
            coating.add(
                "coating-not-compared",
                f'{coating.subject} is "{shown(found)}", which is neither reference nor candidate of this program',
                expected=listed(compared),
                near=nearest(found, compared),
            )
    missing = [] if rings.has("all") else [number for number in numbers if not rings.has(number)]
    if missing:
        rings.problems.add(
            rings.key_at,
            "ring-missing",
            f"no ring set is given for cylinder {listed(missing).replace(' or ', ' and ')}{rings.within}",
            expected=f"one for each cylinder from 1 to {cylinders}, or all",
        )
    made = []
    for number in numbers:
        entry = rings.get(number if rings.has(number) else "all")
        made.append(Place(int(number), entry.text("coating"), entry.text("lot")))
    return tuple(made)


def _departures(node: Node, phases: Sequence[Phase], mine: Sequence[Phase]) -> tuple[Departure, ...]:
    order, own = [phase.id for phase in phases], {phase.id for phase in mine}
    made: dict[str, Departure] = {}
    for each in node.items("departures"):
        phase = each.reference("phase", order, "phase", HERE)
        if phase and phase not in own:
            each.get("phase").add(
                "phase-not-of-build", f'{each.get("phase").subject} is "{phase}", which this build does not have'
            )
        if phase in made:
            each.get("phase").add(
                "named-twice", f'the phase "{phase}" departs twice{node.within}', next_step="remove one"
            )
        if each.has("skipped") == each.has("due"):
            said = "both skipped and due" if each.has("due") else "neither skipped nor due"
            each.add(
                "departure-unclear",
                f"{each.subject} is {said}",
                expected="skipped with its reason, or due with its day",
            )
        skipped = each.has("skipped")
        made[phase] = Departure(
            phase=phase,
            kind="skipped" if skipped else "due",
            why=each.text("skipped" if skipped else "why"),
            due=each.date("due"),
        )
    return tuple(made.values())


def _ended(node: Node, mine: Sequence[Phase], skipped: Collection[str]) -> Ended | None:
    """That a build ended early, held against the hours its phases plan."""
    if node.value is None:
        return None
    made = instance(Ended, node)
    begun = 0.0
    for phase in (each for each in mine if each.kind == "durability"):
        if made.at and phase.id not in skipped and made.at <= begun:
            node.add(
                "ended-before-phase",
                f'{node.subject} is after {made.at / 3600:g} h, and "{phase.id}" begins at {begun / 3600:g} h',
                expected="a later hour",
                next_step=f'or write under departures that "{phase.id}" is skipped',
            )
        begun += phase.seconds
    if not begun:
        node.add("ended-without-hours", f"{node.subject} is stated, and no phase of kind durability has a schedule")
    elif made.at > begun:
        node.get("at").add(
            "ended-after-planned",
            f"{node.get('at').subject} is {made.at / 3600:g} h, after the {begun / 3600:g} h that are planned",
            expected="an hour before them; a build that ran all its hours did not end early",
        )
    return made


def _assemblies(node: Node, mine: Sequence[Phase], skipped: Collection[str]) -> tuple[Assembly, ...]:
    """Stretches that follow each other and cover the phases of the build; phases it skips may lie between."""
    order = [phase.id for phase in mine]
    entries = node.items("assemblies")
    if not order:
        return ()
    if not entries:
        return (Assembly("a1", order[0], order[-1]),)
    made: list[Assembly] = []
    begin = 0
    for count, each in enumerate(entries):
        first = last = ""
        if each.has("from"):
            first = each.reference("from", order, "phase", f"{node.subject}")
        elif begin < len(order):
            first = order[begin]
        if each.has("through"):
            last = each.reference("through", order, "phase", f"{node.subject}")
        elif count + 1 == len(entries):
            last = order[-1]
        elif entries[count + 1].text("from") in order:
            last = order[max(order.index(entries[count + 1].text("from")) - 1, 0)]
        elif not entries[count + 1].has("from"):
            each.add("assembly-open", f"{each.subject} does not say where it ends", next_step='add "through"')
        if not first or not last:
            if begin >= len(order) and not each.has("from"):
                each.add("assembly-order", f"{each.subject} has no phase left", next_step="remove it")
            return tuple(made)
        start, end = order.index(first), order.index(last)
        gap = [name for name in order[begin:start] if name not in skipped]
        if start < begin or end < start:
            each.add(
                "assembly-order",
                f"{each.subject} runs from {first} through {last}, which is not after the one before",
                expected="stretches of phases in the order of the program",
            )
            return tuple(made)
        if gap:
            each.add(
                "assembly-gap", f"{each.subject} begins at {first} and leaves out {listed(gap)}", expected="no gap"
            )
        made.append(Assembly(f"a{count + 1}", first, last, each.text("note")))
        begin = end + 1
    left = [name for name in order[begin:] if name not in skipped]
    if left:
        entries[-1].add("assembly-gap", f"{entries[-1].subject} ends before {listed(left)}", expected="the last phase")
    return tuple(made)


# ---- criteria and exclusions ------------------------------------------------------------------------------------


def _criteria(
    root: Node,
    order: Sequence[str],
    known: _Known,
    compared: Sequence[str],
    candidates: tuple[str, ...],
) -> tuple[Criterion, ...]:
    made = []
    for name, node in root.get("criteria").ids("list", "among the criteria").items():
        given = [sense for sense in SENSES if node.has(sense)]
        measure = _measure(node, known, compared=bool(given) and given[0] in SENSES[2:])
        if len(given) != 1:
            said = f"has {' and '.join(given)}" if given else "does not say what must hold"
            node.add("criterion-unclear", f"{node.subject} {said}", expected=f"exactly one of {listed(SENSES)}")
        sense = given[0] if given else "at_most"
        if sense in SENSES[2:] and node.text("scope") not in {"", "mean of builds"}:
            node.get("scope").add(
                "criterion-scope",
                f'{node.get("scope").subject} is "{node.text("scope")}", but {sense} is judged on builds together',
                expected="mean of builds",
            )
        made.append(
            instance(
                Criterion,
                node,
                id=name,
                measure=measure,
                phase=node.reference("phase", order, "phase", HERE),
                sense=sense.replace("_", "-"),
                coatings=node.references("coatings", compared, "coating", HERE) or candidates,
                limit=_limit(node.get(sense), (known.measures or {}).get(measure)) if sense in SENSES[:2] else None,
            )
        )
    return tuple(made)


def _decision_rule(
    root: Node, criteria: Sequence[Criterion], candidates: Sequence[str], planned: int
) -> DecisionRule | None:
    """The rule, told where it could never decide, or could release and stop at once."""
    if not root.has("decide"):
        return None
    node, ids = root.get("decide"), [each.id for each in criteria]
    release = node.references("release", ids, "criterion", HERE) or tuple(ids)
    ends = tuple(each.id for each in criteria if each.end_rule and each.id in release)
    stop = node.references("stop", ids, "criterion", HERE) if node.has("stop") else ends
    if not ids:
        node.add("rule-without-criteria", "a rule is stated, but no criterion", expected="criteria that it can ask")
    for place in node.items("stop"):
        if (name := place.own_text()) in ids and name not in release:
            place.add(
                "rule-contradicts",
                f'"{name}" stops a candidate, but is not asked for its release, so that one could be both',
                expected="`stop` among what stands under `release`",
            )
    named = {coating for each in criteria if each.id in release for coating in each.coatings}
    for coating in candidates if ids else ():
        if coating not in named:
            node.add(
                "rule-never-decides",
                f"no criterion that a release asks for names {coating}, so the rule can never decide about it",
                expected="a criterion with it among its coatings, or the coating taken off the candidates",
            )
    looks = tuple(each.value for each in node.items("looks") if isinstance(each.value, int))
    if looks and (list(looks) != sorted(looks) or (planned and looks[-1] > planned)):
        node.get("looks").add(
            "looks-unclear",
            f"the looks are at {', '.join(map(str, looks))} builds, of {planned} planned",
            expected="rising counts up to the number of planned builds",
        )
    return DecisionRule(node.where, node.date("stated"), release, stop, looks)


def _decisions(root: Node, candidates: Sequence[str]) -> tuple[Decision, ...]:
    return tuple(
        instance(
            Decision,
            node,
            coating=node.reference("coating", candidates, "candidate", HERE),
            results=node.get("results").as_written(),
        )
        for node in root.items("decisions")
    )


def _limit(node: Node, unit: str | None) -> float | None:
    """A limit in the unit of its measure; as written where the measure's unit is not known."""
    if isinstance(node.value, bool) or not isinstance(node.value, str | int | float):
        return None
    text = node.as_written()
    try:
        known = unit is not None and units.is_unit(unit or "1")
        return units.convert(text, unit or "1") if known else _as_written(text, unit)
    except units.UnitError as error:
        node.add(error.code, f"{node.subject}: {error.what}", expected=error.expected, near=error.nearest)
        return None


def _as_written(text: str, unit: str | None) -> float:
    """A number whose measure is not known (None), or counts in a unit of its own, such as thousands."""
    number, written = units.split(text)
    if written and written != unit:
        known = units.unit(written)
        if unit is not None:
            raise units.UnitError(
                "wrong-kind-of-unit", f'"{shown(known.text)}" is not in {unit}', f"a number of {unit}"
            )
    return number


def criteria_hash(root: Node, criteria: Sequence[Criterion]) -> str:
    """SHA-256 of what the criteria say: measures, phases, senses, limits in SI, scopes, coatings, end rules.

    Titles and the spelling of units do not count, so rewording a criterion is not a change of it.
    """
    nodes = {node.text("id"): node for node in reversed(root.get("criteria").items("list"))}  # of doubles the first
    said = [
        {
            "id": each.id,
            "measure": nodes[each.id].text("measure"),
            "phase": each.phase,
            **({"at": each.at} if each.at else {}),
            "sense": each.sense,
            "scope": each.scope,
            "coatings": sorted(each.coatings),
            "limit": _canonical(nodes[each.id].get(each.sense.replace("-", "_"))) if each.limit is not None else "",
            "end_rule": each.end_rule,
        }
        for each in sorted(criteria, key=lambda each: each.id)
    ]
    return hashlib.sha256(json.dumps(said, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def _canonical(node: Node) -> str:
    number, written = units.split(node.as_written())
    if not units.is_unit(written or "1"):
        return f"{number:.12g} {written}"
    known = units.unit(written or "1")
    return f"{number * known.scale + known.offset:.12g}"


def _exclusions(root: Node, passed_over: Collection[str]) -> tuple[Exclusion, ...]:
    """Objections; those to readings of files that are passed over are not held against anything."""
    made: dict[str, Exclusion] = {}
    for node in root.items("exclusions"):
        if node.has("review"):
            continue  # `_accepted` takes those
        reading = node.text("reading")
        for key in ("reading", "why"):
            if not node.has(key):
                node.add(
                    "missing-key",
                    f'the key "{key}" is missing{node.within}',
                    expected="a reading with why, or a review",
                )
        if reading and reading in made:
            node.get("reading").add(
                "named-twice",
                f'the reading "{shown(reading)}" is left out twice; first in line {made[reading].where.line}',
                next_step="remove one",
            )
        if _file_of(node) in passed_over:
            continue
        made.setdefault(reading, instance(Exclusion, node))
    return tuple(made.values())


def _accepted(root: Node) -> tuple[Accepted, ...]:
    """Reviews whose objections are accepted."""
    made = []
    for node in root.items("exclusions"):
        if not node.has("review"):
            continue
        for key in ("reading", "why"):
            if node.has(key):
                node.get(key).add(
                    "key-does-not-apply",
                    f'"{key}" does not apply{node.within}: the review says it',
                    next_step="remove it",
                )
        made.append(Accepted(node.text("review"), node.texts("readings"), node.text("by"), node.date("on"), node.where))
    return tuple(made)
