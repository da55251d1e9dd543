"""What a verb of the command does, as functions that also serve as the library: examine, conclude, publish."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, replace
from functools import cache, partial
from graphlib import TopologicalSorter
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from sitegen import registry
from sitegen.crossing import closure, planning
from sitegen.crossing.planning import Planning
from sitegen.memory import give_back
from sitegen.page import counts
from sitegen.page import due as dues
from sitegen.page.addresses import Addresses
from sitegen.page.due import DueList
from sitegen.page.view import mark
from sitegen.pages import notes
from sitegen.problems import as_text, counted, errors, shown
from sitegen.program.folder import load
from sitegen.program.model import Effect, Exclusion, Folder, Left, Program, Where
from sitegen.progress import Tell, untold
from sitegen.reasons import APART
from sitegen.regular import read_regular, there
from sitegen.results import alike, committed, keeping, package, reviewed, run, shadows, stated, taken
from sitegen.results import files as result_files
from sitegen.results.run import CONCLUDED, Analysis, Evidence, analyse, gather, gather_each, lent_file, stand_of, unread
from sitegen.shelves import NONE, Shelves, digest, key_of
from sitegen.tables import worksheets
from sitegen.unchanged import Outcome
from sitegen.vocabulary import Comparison, Later, Measure, Problem, Result

if TYPE_CHECKING:
    from sitegen.pages.frame import Stood
    from sitegen.pages.site import Helpers as PageHelpers
    from sitegen.pages.site import Told

# codes of warnings about rows that stay in use
IN_PART = frozenset({"cutoff-missing", "flank-missing", "trace-short", "oil-not-filled"})
UNREAD = frozenset({"stream-not-here", "objection-unknown"})  # and about kinds of record that this version has not


class Helpers(run.Helpers, Protocol):
    """Others who share the work of a publish; see `helping`."""

    def begin(self, folder: Folder, shelves: Shelves) -> None: ...
    def pages_of(self, analyses: Iterable[Analysis], planned: Iterable[str]) -> PageHelpers: ...


@dataclass(frozen=True)
class Examination:
    """A programs folder with everything recorded in it, and all that is wrong with it."""

    folder: Folder | None  # None: what all programs share is broken
    evidence: tuple[Evidence, ...]
    problems: tuple[Problem, ...]
    shelves: Shelves = NONE  # where what follows from it is kept
    helpers: Helpers | None = None
    processes: int = 1  # that share the work on this machine

    @property
    def blocked(self) -> bool:
        """True where anything is wrong that has to be mended."""
        return self.folder is None or any(problem.level == "error" for problem in self.problems)

    @property
    def whole(self) -> Examination:
        """The same without what programs with errors recorded, and without their problems."""
        left = () if self.folder is None else self.folder.left
        names = {each.id for each in left}
        evidence = tuple(each for each in self.evidence if each.program.id not in names)
        own = tuple(f"{shown(name)}/" for name in names)
        return replace(self, evidence=evidence, problems=tuple(p for p in self.problems if not p.file.startswith(own)))

    @property
    def not_used(self) -> str:
        """How many readings are set aside, and how many are left out on objection, as a clause; "" none."""
        return counts.not_used(readings for one in self.evidence for readings in one.readings.values())

    @property
    def not_taken(self) -> str:
        """How many readings are prepared and not yet taken, as a clause; "" none."""
        every = [readings for one in self.evidence for readings in one.readings.values()]
        count = sum(int(facts.get("not_taken", 0)) for readings in every for facts in readings.files.values())
        return f"{count} prepared {'row is' if count == 1 else 'rows are'} not filled in yet" if count else ""

    @property
    def not_read(self) -> list[str]:
        """What lies beside the files of entries with patterns and is not read, a sentence each."""
        programs = () if self.folder is None else self.folder.programs
        records = [source for program in programs for source in program.records]
        logs = [source for program in programs for source in program.logs]
        told = [(each.where, note) for entries in (records, logs) for each in entries for note in each.notes]
        return [f"{where.file}:{where.line}: {note}." for where, note in sorted(told, key=_by_place)]


def _by_place(told: tuple[Where, str]) -> tuple[str, int]:
    return told[0].file, told[0].line


def programs(path: Path, shelves: Shelves = NONE) -> tuple[Folder | None, list[Problem]]:
    """The program files of a folder, or of one program's folder, without their records; those with errors apart.

    None where what they share is broken.
    """
    units = {name: measure.unit for name, measure in registry.measures().items()}
    streams = [stream.name for stream in registry.STREAMS]
    folder, problems = load(path, measures=units, streams=streams, comparable=registry.comparable(), shelves=shelves)
    if folder is None:
        return None, problems
    whole, left = [], [*folder.left]
    for program in folder.programs:
        opened, wrong = worksheets.expanded(program)
        whole += [] if wrong else [opened]
        left += [Left(program.id, tuple(sorted(wrong)))] if wrong else []
        problems = [*problems, *wrong]
    return replace(folder, programs=whole, left=tuple(sorted(left, key=lambda each: each.id))), problems


def examine(
    path: Path, tell: Tell = untold, shelves: Shelves = NONE, helpers: Helpers | None = None, processes: int = 1
) -> Examination:
    """Read a programs folder, or one program's folder, with all its records. What the user can mend never raises.

    `tell` hears what is being done; what has not changed is taken from the shelves, and helpers or so many processes
    share the rest.
    """
    folder, problems = programs(path, shelves)
    if helpers is not None and folder is not None:
        helpers.begin(folder, shelves)
        streams = registry.STREAMS
        helpers.read([(own, each) for own in folder.programs for each in unread(own, streams, shelves)])
    units = {name: measure.unit for name, measure in registry.measures().items()}
    evidence: tuple[Evidence, ...] = ()
    if folder is not None:
        tell(f"Reading the records of {counted(len(folder.programs), 'program')}")
        read = gather_each(folder.programs, registry.STREAMS, shelves, processes)
        evidence = tuple(_with_notes(each, notes.problems(folder, each.program, units)) for each in read)
        give_back()
        found = {each.program.id: [*each.problems] for each in evidence}
        for each in evidence:
            found[each.program.id] += registry.unanswerable(each.program, each.readings)
            found[each.program.id] += shadows.undated(each.program, registry.STREAMS, each.readings)
            found[each.program.id] += taken.problems(each.program, shelves)
            found[each.program.id] += reviewed.problems(each.program, each.readings, shelves)
        _find_not_lent(evidence, found)
        problems = [*problems, *(problem for own in found.values() for problem in own)]
        left = [*folder.left, *(Left(name, tuple(sorted(errors(own)))) for name, own in found.items() if errors(own))]
        programs_whole = [each for each in folder.programs if not errors(found[each.id])]
        folder = replace(folder, programs=programs_whole, left=tuple(sorted(left, key=lambda each: each.id)))
    return Examination(folder, evidence, tuple(sorted(problems)), shelves, helpers, processes)


def ahead(examination: Examination, today: str) -> list[Problem]:
    """Record files with a day after `today` (ISO), a warning a file. Invented data have invented days."""
    found = []
    for each in examination.evidence:
        days: dict[str, list[str]] = {}
        for readings in each.readings.values():
            if "date" in readings.frame:
                dated = readings.frame[["file", "date"]].dropna()
                for file, day in zip(dated["file"].astype(str), dated["date"].astype(str), strict=True):
                    if day > today and not each.program.invented:
                        days.setdefault(file, []).append(day)
        for file, own in days.items():
            count = f"{len(own)} readings are" if len(own) > 1 else "one reading is"
            what = f"{count} dated after today, {today}; the latest {max(own)}"
            expected, step = "days that have been", "correct the days, or the clock of this machine"
            found.append(Problem(file, 0, 0, "date-ahead", what, expected, "", step, "", "warning"))
    return found


def due(examination: Examination, within: int | None = None, as_of: str = "") -> DueList | None:
    """What is due, calibrations within so many days of a day: by default what the programs say, as of the newest
    record. None without a folder.
    """
    whole = examination.whole
    days = [each.as_of for each in whole.evidence]
    return dues.due(whole.folder, days, within, as_of) if whole.folder is not None else None


def proposals(examination: Examination) -> list[str]:
    """What might be added to program files, a text each: sources of metal for rings that are weighed and on no list."""
    found = []
    for each in examination.evidence:
        frame = each.readings["buildsheet"].frame if "buildsheet" in each.readings else None
        if frame is not None and {"mass", "ring"} <= set(frame):
            weighed = frame[frame["mass"].notna()]["ring"].dropna().astype(str)
            found.append(closure.proposals(each.program, sorted(set(weighed))))
    return [text for text in found if text]


def _with_notes(evidence: Evidence, found: Sequence[Problem]) -> Evidence:
    return replace(evidence, problems=tuple(sorted([*evidence.problems, *found])))


def _find_not_lent(evidence: Sequence[Evidence], found: Mapping[str, list[Problem]]) -> None:
    """Add that a lender's results are not there. Of a lender with errors the committed ones are taken."""
    while True:
        whole = [each for each in evidence if not errors(found[each.program.id])]
        faults = {each.program.id: _not_lent(each.program, whole) for each in whole}
        if not any(faults.values()):
            return
        for name, own in faults.items():
            found[name].extend(own)


def _not_lent(program: Program, evidence: Sequence[Evidence]) -> list[Problem]:
    """Programs asked for their scatter whose results are not there."""
    known = {each.program.id for each in evidence}
    found = []
    for name in program.scatter_from:
        path = Path(program.folder).parent / lent_file(name)
        if name in known:
            continue
        try:
            result_files.values(read_regular(path))
            continue
        except FileNotFoundError:
            what = "has no results yet"
        except (result_files.DamagedError, OSError) as problem:
            what = f"has results that are damaged: {getattr(problem, 'strerror', None) or problem}"
        where, what = program.scatter_where, f'"{name}" {what}'
        step = f"publish {name} first"
        found.append(Problem(where.file, where.line, where.column, "scatter-not-there", what, next_step=step))
    return found


def conclude(examination: Examination, tell: Tell = untold) -> tuple[Analysis, ...]:
    """Run the analysis of every program without errors; programs that lend their scatter to others go first."""
    evidence = examination.whole.evidence
    waiting = {each.program.id: each for each in evidence}
    graph = {name: [*each.program.scatter_from] for name, each in waiting.items()}
    done: dict[str, Analysis] = {}
    order = TopologicalSorter(graph)
    order.prepare()

    def one(name: str) -> Analysis:
        tell(f"Working out {name} ({len(done) + 1} of {len(waiting)})")
        evidence, shelves = _with_lent(waiting[name], done), examination.shelves
        found = analysed(evidence, shelves, examination.helpers, examination.processes)
        give_back()
        return found

    # while helpers work on one program, what belongs to a whole program is worked out here for the next
    several = examination.helpers is not None and len(waiting) > 1
    threads = ThreadPoolExecutor(len(waiting)) if several else None
    each = map if threads is None else threads.map
    try:
        while order.is_active():
            names = order.get_ready()
            ours = [name for name in names if name in waiting]
            done |= dict(zip(ours, each(one, ours), strict=True))
            order.done(*names)
    finally:
        if threads is not None:
            threads.shutdown(wait=False, cancel_futures=True)
    return tuple(done[each.program.id] for each in evidence)


def analysed(evidence: Evidence, shelves: Shelves, helpers: Helpers | None = None, processes: int = 1) -> Analysis:
    """The analysis of one program that has what others lend."""
    lying = result_files.lying(evidence.program)
    whole = cache(
        lambda: _with_files(analyse(evidence, registry.STREAMS, registry.steps(), helpers, shelves, processes), lying)
    )
    if not shelves.open:
        return whole()
    stand = stand_of(evidence)
    kept = shelves.find(_results_key(stand, lying), _texts)
    if kept is None:
        analysis = whole()
        for before in (lying, analysis.files):  # what will lie there once it is published
            new = {name: content for name, content in analysis.files.items() if content != before.get(name)}
            shelves.put(_results_key(stand, before), new, _packed_texts)
        _comparisons(stand, analysis.files, shelves, lambda: analysis)
    else:
        found: dict[str, bytes] = {**lying, **kept}
        analysis = Analysis.later(
            {
                **{name: partial(lambda name: getattr(whole(), name), name) for name in CONCLUDED},
                "comparisons": lambda: _comparisons(stand, found, shelves, whole),
            },
            program=evidence.program, readings=evidence.readings, problems=evidence.problems, inputs=evidence.inputs,
            days=evidence.days, digests=evidence.digests, files=found, results_id=result_files.results_id(found),
        )  # fmt: skip
    return analysis.but(stand=digest((stand, hashes(analysis.files))))


def _comparisons(
    stand: str, files: Mapping[str, bytes], shelves: Shelves, whole: Callable[[], Analysis]
) -> tuple[Comparison, ...]:
    """Coatings compared, kept by themselves: pages of coatings look at those of every program, and at nothing else."""
    found: Sequence[Result] = shelves.kept(
        key_of("comparisons", stand, hashes(files)), lambda: whole().comparisons,
        lambda own: keeping.pack_results(own)[1](),
        lambda content: keeping.unpack_results(content).results,
    )  # fmt: skip
    return tuple(each for each in found if isinstance(each, Comparison))


def _results_key(stand: str, lying: Mapping[str, bytes]) -> str:
    """Of result files: they follow from those that lie there too, which stay where they are still good."""
    return key_of("results", stand, hashes(lying))


def _packed_texts(files: Mapping[str, bytes]) -> bytes:
    return json.dumps({name: content.decode() for name, content in files.items()}).encode()


def _texts(content: bytes) -> dict[str, bytes]:
    return {name: text.encode() for name, text in json.loads(content).items()}


def _with_lent(evidence: Evidence, done: Mapping[str, Analysis]) -> Evidence:
    """The evidence with what other programs lend: as just worked out, else as committed."""
    program = evidence.program
    if not program.scatter_from:
        return evidence
    lent, inputs = [], dict(evidence.inputs)
    for name in program.scatter_from:
        path = Path(program.folder).parent / lent_file(name)
        content = done[name].files["measures.csv"] if name in done else read_regular(path)
        lent.append((name, result_files.values(content)))
        inputs[lent_file(name)] = hashlib.sha256(content).hexdigest()
    return replace(evidence, program=replace(program, lent=tuple(lent)), inputs=inputs)


MOST_EFFECTS = 40  # objections whose effect is worked out; each takes as long as a changed record


def effects(examination: Examination, analyses: Sequence[Analysis]) -> Iterator[tuple[Effect, ...]]:
    """What each objection of a review does to the results, by program."""
    evidence = {each.program.id: each for each in examination.evidence}
    done = {each.program.id: each for each in analyses}
    for each in analyses:
        own = _with_lent(evidence[each.program.id], done) if each.program.reviews else evidence[each.program.id]
        names = reviewed.objected(each.program.reviews)[:MOST_EFFECTS]
        found = [_effect(own, each, name, examination.shelves) for name in names]
        yield tuple(effect for effect in found if effect is not None)


def _effect(evidence: Evidence, analysis: Analysis, reading: str, shelves: Shelves) -> Effect | None:
    """What leaving a reading out does, or taking an accepted objection back; None where there is no such reading."""
    stream = next((each for each in registry.STREAMS if reading in evidence.readings[each.name].cells("reading")), None)
    if stream is None:
        return None
    program = evidence.program
    others = tuple(each for each in program.exclusions if each.reading != reading)
    accepted = len(others) < len(program.exclusions)
    changed = replace(program, exclusions=others if accepted else (*others, Exclusion(reading, "objected to")))
    read = gather(changed, [stream], shelves)
    other = replace(
        evidence, program=changed, readings={**evidence.readings, stream.name: read.readings[stream.name]},
        digests={**evidence.digests, stream.name: read.digests[stream.name]},
    )  # fmt: skip
    made = analyse(other, registry.STREAMS, registry.steps(), None, shelves)
    files = result_files.render(made, registry.measures([program]), *ourselves())
    place = reviewed.places({stream.name: evidence.readings[stream.name]}, [reading])[reading]
    return reviewed.effect(reading, place, accepted, analysis.files, files)


def _with_files(analysis: Analysis, stored: Mapping[str, bytes]) -> Analysis:
    """The analysis with its result files: those that lie there, and their numbers, where they are still good."""
    measures = registry.measures([analysis.program])
    files: Mapping[str, bytes] = result_files.render(analysis, measures, *ourselves())
    if stored != files and result_files.still_good(stored, files):
        files, analysis = stored, result_files.as_stored(analysis, stored)
    return analysis.but(files=files, results_id=result_files.results_id(files))


def ourselves() -> tuple[str, Mapping[str, int]]:
    """Our version, and the revision of each step."""
    return version("sitegen"), registry.methods()


@dataclass(frozen=True)
class Conclusion:
    """One program's analysis with its result files."""

    analysis: Analysis
    files: Mapping[str, bytes]  # name in the results folder -> content


def with_files(analyses: Sequence[Analysis], shelves: Shelves = NONE) -> tuple[Conclusion, ...]:
    """The result files of each program; the analysis learns what git knows: what moved, what was set anew."""
    conclusions = []
    units = {name: measure.unit for name, measure in registry.measures().items()}
    for each in analyses:
        rows = alike.rows(each.files["comparisons.csv"])
        early = any(row["role"] == "primary" and "provisional" in row["flags"].split() for row in rows)
        looks = committed.looks(each.program, each.files) if early else 1
        moved = committed.changes(each.program, each.files)
        told = each.but(
            looks=looks,
            changes=moved,
            written=committed.written(each.program, each.files) if moved else "",
            taken=taken.standings(each.program, each.files, shelves),
            reviewed=reviewed.standings(each.program, each.readings, each.files, shelves),
            restated=stated.restated(each.program, each.readings, units, shelves),
        )
        conclusions.append(Conclusion(told, each.files))
    return tuple(conclusions)


def plan(
    examination: Examination,
    typed: Mapping[str, float] | None = None,
    builds: int | None = None,
    seed: int | None = None,
    scheme: str = "",
) -> tuple[Planning, ...]:
    """The plan of every program of an examined folder; what is typed in stands for what the file says."""
    return plan_each(conclude(examination), typed, builds, seed, scheme)


def plan_each(
    analyses: Sequence[Analysis],
    typed: Mapping[str, float] | None = None,
    builds: int | None = None,
    seed: int | None = None,
    scheme: str = "",
    measures: Mapping[str, Measure] | None = None,
) -> tuple[Planning, ...]:
    """The same from analyses that were made already."""
    measures = measures or registry.measures(each.program for each in analyses)
    return tuple(
        planning.plan(
            each.program,
            registry.STREAMS,
            measures,
            each.comparisons,
            typed,
            builds,
            seed,
            scheme,
            each.values.values(),
        )
        for each in analyses
    )


def stale_problem(program: Program, reason: str) -> Problem:
    """That committed results no longer belong to the inputs, as a warning."""
    return Problem(
        f"{program.id}/{result_files.FOLDER}",
        code="results-stale",
        what=f"the committed results are stale: {reason}",
        next_step="run sitegen publish and commit the results with the data",
        level="warning",
    )


def unfinished_problem(program: Program) -> list[Problem]:
    """A warning where a publish was cut short: which of results and site is ahead."""
    from sitegen.publish import unfinished

    said = unfinished(Path(program.folder) / result_files.FOLDER)
    place = f"{program.id}/{result_files.FOLDER}"
    return [Problem(place, code="publish-unfinished", what=said, next_step="publish again", level="warning")] * bool(
        said
    )


def different_problems(program: Program, fresh: Mapping[str, bytes]) -> list[Problem]:
    """That committed numbers do not follow from the inputs any more, an error each."""
    stored = result_files.lying(program)
    by, _ = result_files.written(stored, fresh)
    return [
        Problem(
            f"{program.id}/{result_files.FOLDER}",
            code="results-differ",
            what=f"{difference} ({by})" if by else difference,
            next_step="run sitegen publish and look at the difference before committing it",
        )
        for difference in alike.differences(stored, fresh)
    ]


@dataclass(frozen=True)
class Rendered:
    """A site and the results it quotes, neither written yet."""

    conclusions: tuple[Conclusion, ...]
    site: Mapping[str, bytes]  # path from its root -> content
    told: Told
    withheld: str = ""  # what of the user's words is not shown to blinded reviewers, a clause


def render(
    examination: Examination,
    theme: Path | None,
    tell: Tell = untold,
    sheet: bool = False,
    before: Mapping[str, bytes] | None = None,
    blind: bool = False,
) -> Rendered:
    """Results and pages of an examined folder, in memory, with `sheet` decision sheets to be sent.

    Of programs with errors the pages stay that `before`, the site there was, holds. There must be a folder. `blind`:
    the pages are for reviewers who are not to know the coatings, and raise blinding.NotBlindError where they name one.

    Raises pages.site.ThemeError.
    """
    from sitegen.crossing.history import histories
    from sitegen.pages.site import Told, build_site

    if examination.folder is None:
        raise ValueError("without a folder there is nothing to publish")
    concluded = conclude(examination, tell)
    concluded = tuple(
        each.but(effects=own) for each, own in zip(concluded, effects(examination, concluded), strict=True)
    )
    conclusions = with_files(concluded, examination.shelves)
    analyses = [conclusion.analysis for conclusion in conclusions]
    measures = registry.measures(each.program for each in analyses)
    tell("Making the pages")
    if blind:
        return _blind(examination, conclusions, measures, theme)
    # worked out where a page asks for them
    unnamed = [each.but(results_id=mark(each.program.id)) if each.results_id else each for each in analyses]
    every = cache(lambda: histories(unnamed, measures, examination.shelves))
    known = Later((name for each in analyses for name in each.program.coatings), lambda name: every()[name])
    plans = Later(
        (each.program.id for each in analyses),
        cache(lambda name: plan_each([each for each in analyses if each.program.id == name], measures=measures)[0]),
    )
    told = Told()
    helpers = examination.helpers
    site = build_site(
        examination.folder, analyses, registry.STREAMS, measures, theme, known, plans,
        {each.analysis.program.id: _with_description(each, measures) for each in conclusions}, sheet,
        examination.shelves, helpers.pages_of(analyses, plans) if helpers is not None else None, before, told,
        examination.processes,
    )  # fmt: skip
    return Rendered(conclusions, site, told)


def _blind(
    examination: Examination, conclusions: tuple[Conclusion, ...], measures: Mapping[str, Measure], theme: Path | None
) -> Rendered:
    """The pages for reviewers who are not to know the coatings: made here, since helpers see the coatings."""
    from sitegen import blinding
    from sitegen.pages.site import Told, build_site

    assert examination.folder is not None  # noqa: S101 - render has asked
    folder, analyses, names = blinding.blinded(examination.folder, [each.analysis for each in conclusions])
    told = Told()
    site = build_site(folder, analyses, registry.STREAMS, measures, theme, shelves=examination.shelves, told=told)
    names.hold(site)
    return Rendered(conclusions, site, told, names.told())


def _with_description(one: Conclusion, measures: Mapping[str, Measure]) -> Mapping[str, bytes]:
    """Result files with what describes them to other programs."""
    return {**one.files, package.NAME: package.described(one.analysis.program, one.files, measures)}


def nothing_stands(examination: Examination, before: Mapping[str, bytes]) -> bool:
    """Whether a site would hold no program at all: none is without errors, and none has pages that stay."""
    from sitegen.pages.left import lying

    folder = examination.folder
    if folder is None or folder.programs:
        return folder is None
    addresses = Addresses.of(folder)
    return not any(lying(each, addresses, before, sheets=False) for each in folder.left)


def publish(
    examination: Examination,
    target: Path,
    theme: Path | None,
    tell: Tell = untold,
    sheet: bool = False,
    still: Callable[[], Sequence[str]] = tuple,
    blind: bool = False,
) -> Outcome | None:
    """Write the results into the program folders, then the site; returns the closing line and what lies there now.

    Programs with errors are left as they were. None where nothing was written, since no program stands. `still` names,
    before anything is written, the files that have changed since it was begun. `blind`: a site for reviewers who are
    not to know the coatings, and no results; None where any program has errors, since they may name one.

    Raises publish.CannotPublish and, of a blind site, blinding.NotBlindError.
    """
    from sitegen import publish as disk
    from sitegen.pages.left import open_site

    before = disk.lying(target) if examination.blocked else {}
    if blind and examination.blocked:
        return None
    if blind and (target / "coatings").exists():
        raise disk.CannotPublish(f"{target}: this site names the coatings, and parts of it may stay for a while. "
                                 "Publish the blind one into another folder. Nothing was written.")  # fmt: skip
    before = before if open_site(before) else {}
    if nothing_stands(examination, before):
        return None
    rendered = render(examination, theme, tell, sheet, before, blind)
    left = examination.folder.left if examination.folder is not None else ()
    new = not there(target / disk.MANIFEST)
    conclusions, site = rendered.conclusions, rendered.site
    tell("Writing")
    # All pages are made before the first byte is written; results first, which the pages quote.
    results: dict[str, str] = {}
    tables: dict[Path, Mapping[str, bytes]] = {}
    anew: list[str] = []
    for conclusion in conclusions if not blind else ():
        program = conclusion.analysis.program
        folder = Path(program.folder)
        anew += [f"{program.id}/{result_files.FOLDER}: {each}; made anew." for each in result_files.damage(program)]
        tables[folder / result_files.FOLDER] = conclusion.files
        own = f"{folder.name}/{result_files.FOLDER}"
        results |= {f"{own}/{name}": digest for name, digest in hashes(conclusion.files).items()}
    for conclusion in conclusions:
        lent = map(lent_file, conclusion.analysis.program.scatter_from)  # by programs that are not published here, too
        results |= {name: conclusion.analysis.inputs[name] for name in lent if name not in results}
    inputs = {name for each in conclusions for name in each.analysis.inputs}
    if moved := [name for name in still() if name in inputs]:
        names = ", ".join(moved[:3]) + (f" and {len(moved) - 3} more" if len(moved) > 3 else "")
        raise disk.CannotPublish(f"{names}: changed while it was read. Publish again. Nothing was written.")
    done = disk.publish(site, target, tables, tell)
    pages = sum(name.endswith(".html") for name in site)
    said = as_text(examination.problems) if examination.problems else ""
    examination = examination.whole
    codes = [problem.code for problem in examination.problems]
    images = sum(code.startswith("image-") for code in codes)  # the rest of such a row is used
    noted = sum(code.startswith(notes.CODE) for code in codes)
    unread = sum(code in UNREAD for code in codes)
    part = sum(code in IN_PART for code in codes)
    told = f"; {examination.not_used}" if examination.not_used else ""
    beside = {(each.file, each.line) for each in examination.problems if each.code == APART}
    told += f"; {len(beside)} {'reading is' if len(beside) == 1 else 'readings are'} kept apart" if beside else ""
    told += f"; {part} {'reading is' if part == 1 else 'readings are'} used in part" if part else ""
    told += f"; {images} {'image is' if images == 1 else 'images are'} not shown" if images else ""
    told += f"; {noted} {'link of notes leads' if noted == 1 else 'links of notes lead'} nowhere" if noted else ""
    told += "; records of some kinds are not read" if unread else ""
    told += f"; {examination.not_taken}" if examination.not_taken else ""
    told += ", see the data pages" if codes or examination.not_taken else ""
    programs = counted(len(conclusions), "program")
    programs = f"{len(conclusions)} of {counted(len(conclusions) + len(left), 'program')}" if left else programs
    stood = rendered.told.stood
    told = "".join(f"; {_left(each, stood.get(each.id))}" for each in left) + told
    published = counted(pages - sum(each.pages for each in stood.values()), "page")
    sent = f", decision sheets to be sent in {target / 'sheets'}" if sheet else ""
    blindly = f", for blinded reviewers; no results were written{rendered.withheld}" if blind else ""
    report = f"Published {programs} on {published}{blindly}{sent}{told}. Open {target / 'index.html'}"
    anew += [f"{target}: {done.told}."] if done.told else []
    stay = [_left_as_json(each, stood.get(each.id)) for each in left]
    made = tuple(rendered.told.made)
    return Outcome(report, said, hashes(site), results, "\n".join(anew), stay, pages, new, made)


def _left_as_json(program: Left, stood: Stood | None) -> dict[str, object]:
    pages, day = (stood.pages, stood.day) if stood is not None else (0, "")
    problems = [asdict(each) for each in program.errors]
    return {"program": program.id, "pages_as_they_were": pages, "records_until": day, "problems": problems}


def _left(program: Left, stood: Stood | None) -> str:
    """What became of a program with errors, as a clause."""
    has = f"{shown(program.id)} has {counted(len(program.errors), 'error')}"
    if stood is None:
        return f"{has}, which its page lists"
    until = f", with records until {stood.day}" if stood.day else ""
    return f"{has}, and its {counted(stood.pages, 'page')} stay as they were{until}"


def sheets(
    program: Program, to: Path, builds: Sequence[str] = (), phases: Sequence[str] = (), theme: Path | None = None
) -> str:
    """Write field sheets and empty tables of these builds and phases (none named: of all); returns the closing line.

    A table that is there already with something else in it is left as it is. Raises publish.CannotPublish and
    pages.site.ThemeError.
    """
    from sitegen.sheets.build import make
    from sitegen.sheets.folder import lay

    made = make(program, registry.STREAMS, builds, phases, theme)
    laid = lay(made, to)
    report = f"{made.count} {'sheet' if made.count == 1 else 'sheets'} to print and {len(made.tables)} empty tables"
    if laid.left:
        one = len(laid.left) == 1
        named = ", ".join(laid.left[:3]) + (f" and {len(laid.left) - 3} more" if len(laid.left) > 3 else "")
        report += f"; {len(laid.left)} {'file was' if one else 'files were'} there and left alone: {named}"
    return f"{report}. Open {to / 'index.html'}"


def hashes(files: Mapping[str, bytes]) -> dict[str, str]:
    """sha256 of each file."""
    return {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}
