"""The `sitegen` command. Exit status: 0 fine, 1 the input has errors, 2 wrong use, 3 a fault of ours."""

from __future__ import annotations

import argparse
import gc
import os
import sys
import textwrap
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sitegen.helping import Helpers
    from sitegen.shelves import Shelves
    from sitegen.unchanged import Outcome

FINE, INPUT, USE, FAULT = 0, 1, 2, 3
_STATUS = "exit status:\n  0 fine, 1 the input has errors, 2 wrong use, 3 a fault of sitegen"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb and return the exit status."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy loads: our matrices are small, threads wait
    os.environ.pop("SOURCE_DATE_EPOCH", None)  # nothing of ours hangs on a clock; numpy fails where it is no number
    gc.set_threshold(300_000, 50, 1000)  # a publish makes millions of objects, hardly any in circles: look more seldom
    given = sys.argv[1:] if arguments is None else arguments
    parser = _parser(questions="start" in given)
    try:
        options = parser.parse_args(given)
    except SystemExit as end:  # argparse has printed what was wrong, or the help
        return USE if end.code else FINE
    try:
        return int(options.verb(options))
    except BrokenPipeError:
        sys.stderr.close()  # the reader of a pipe went away: nothing to say, nowhere to say it
        return FINE
    except OSError as problem:
        if problem.filename is None or Path(os.fsdecode(problem.filename)).is_relative_to(Path(__file__).parent):
            return _fault()
        what = (problem.strerror or str(problem)).lower()  # such as a disk that went away meanwhile
        print(f"{os.fsdecode(problem.filename)} cannot be read or written: {what}.", file=sys.stderr)
        return INPUT
    except Exception:
        return _fault()


def _fault() -> int:
    traceback.print_exc()
    print("\nThis is a fault in sitegen, not in your files.", file=sys.stderr)
    return FAULT


class _Version(argparse.Action):
    """Says which version this is; it is looked up only then."""

    def __call__(self, *_: object) -> None:
        from importlib.metadata import version

        print(f"sitegen {version('sitegen')}")
        raise SystemExit(FINE)


def _parser(questions: bool = True) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="sitegen",
        description="Check, analyse and publish engine test programs on piston-ring coatings.",
        epilog="`sitegen VERB --help` shows the options of a verb, with examples.\n\n" + _STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action=_Version, nargs=0, help="show the version and exit")
    verbs = parser.add_subparsers(metavar="VERB", required=True)

    _add_start(verbs, questions)
    _add_look(verbs)
    _add_key(verbs)
    _add_measures(verbs)
    _add_sheets(verbs)

    check = _verb(
        verbs,
        "check",
        "say what is wrong with program files and records; writes nothing",
        "Read program files and records, list every problem, and say whether committed results are stale.",
        "sitegen check programs                   every problem: file:line:column, what, what was expected",
        "sitegen check programs/pump-rings-2026   one program",
        "sitegen check programs --strict          fail on readings set aside and on stale results too",
        "sitegen check programs --due-within 90 --as-of 2026-12-01   which calibrations are due",
        "sitegen check programs --recompute       do the committed results still follow from the data?",
    )
    check.add_argument("folder", type=Path, help="a programs folder, or the folder of one program")
    check.add_argument("--format", choices=("text", "json"), default="text", help="how problems are listed (text)")
    check.add_argument("--strict", action="store_true", help="fail on readings set aside and on stale results too")
    check.add_argument(
        "--recompute", action="store_true", help="run the analysis and compare it with the committed results"
    )
    check.add_argument(
        "--due-within",
        type=_days,
        metavar="DAYS",
        help="list calibrations due within so many days (the program's, or 60)",
    )
    check.add_argument("--as-of", type=_day, metavar="DATE", help="day these are counted from (the newest record's)")
    check.set_defaults(verb=_check)

    publish = _verb(
        verbs,
        "publish",
        "write the results into the program folders and the site into a folder",
        "Check, analyse, write results/ beside each program file and the whole site into a folder. A program with "
        "errors stays as it was, with a notice on its pages; the others are published.",
        "sitegen publish programs --to site              then open site/index.html",
        "sitegen publish programs --to site --strict     write nothing when a reading was set aside",
        "sitegen publish programs --to site --sheet      decision sheets in site/sheets, a file each to be sent",
        "sitegen publish programs --to blind --blind     for reviewers: which coating is where stands nowhere",
        "sitegen publish programs --to site --workers 4  four processes share the work",
    )
    publish.add_argument("folder", type=Path, help="a programs folder, or the folder of one program")
    publish.add_argument(
        "--to", type=Path, required=True, metavar="DIR", help="folder of the site; made when it is not there"
    )
    publish.add_argument("--format", choices=("text", "json"), default="text", help="how what was done is told (text)")
    publish.add_argument("--strict", action="store_true", help="write nothing when a reading was set aside")
    publish.add_argument("--sheet", action="store_true", help="write each decision sheet as one file to be sent, too")
    publish.add_argument(
        "--blind", action="store_true", help="a site for reviewers who are not to know the coatings; writes no results"
    )
    publish.add_argument("--theme", type=Path, metavar="DIR", help="folder whose templates and styles replace ours")
    publish.add_argument("--no-cache", action="store_true", help="work everything out anew, and keep nothing of it")
    publish.add_argument("--workers", type=_count, metavar="N", help="processes that share the work (as helps)")
    publish.add_argument(
        "--cluster", default="", metavar="ADDRESS", help="workers of a running Dask scheduler share it instead"
    )
    publish.set_defaults(verb=_publish)

    _add_preview(verbs)
    _add_changes(verbs)

    plan = _verb(
        verbs,
        "plan",
        "draw lots, and say what a program can find and how many builds it takes; writes nothing",
        "Draw lots for coatings, say what the instruments and the comparison can show, and how many builds "
        "it takes to find the difference worth finding. The scatter between builds comes from the program's own "
        "results, or is typed in.",
        "sitegen plan programs/pump-rings-2026",
        "sitegen plan programs/pump-rings-2026 --builds 8 --scheme 'mixed in engine' --seed 7",
        "sitegen plan programs/pump-rings-2026 --scatter leakdown.crankcase=8%",
    )
    plan.add_argument("program", type=Path, help="the folder of one program")
    plan.add_argument("--builds", type=_count, metavar="N", help="builds in all (those planned in the program file)")
    plan.add_argument("--seed", type=_seed, metavar="N", help="seed of the lots (that of the program file)")
    plan.add_argument("--scheme", choices=_SCHEMES, help="how lots are drawn (that of the program file)")
    plan.add_argument(
        "--scatter", type=_scatter, action="append", default=[], metavar="MEASURE=SD",
        help="scatter between builds of one coating: a share for measures compared as ratios (leakdown.crankcase=8%%), "
        "else a number in the measure's unit; may be given for several measures",
    )  # fmt: skip
    plan.add_argument("--format", choices=("text", "json"), default="text", help="how the plan is printed (text)")
    plan.set_defaults(verb=_plan)
    return parser


Verbs = Any  # what argparse adds verbs to; its type has no public name


def _verb(verbs: Verbs, name: str, short: str, told: str, *examples: str) -> argparse.ArgumentParser:
    """A verb whose help ends with examples and the exit status."""
    shown = "\n".join(f"  {each}" for each in examples)
    parser: argparse.ArgumentParser = verbs.add_parser(
        name,
        help=short,
        description=textwrap.fill(told, 78),
        epilog=f"examples:\n{shown}\n\n{_STATUS}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    return parser


def _add_start(verbs: Verbs, questions: bool) -> None:
    start = _verb(
        verbs,
        "start",
        "write a new program from a few answers; overwrites nothing",
        "Write a new program into a folder that has none: program.yaml with comments, empty record tables, notes.md; "
        "and beside it, where they are not there yet, definitions.yaml, copies of the schemas for editors, "
        ".gitattributes and a pre-commit entry that runs the check. On a terminal the questions are asked; in a script "
        "they are answered by options or by a file of answers, a key a line, named as the options: `builds: 4`.",
        "sitegen start programs/pump-rings-2027                          asks",
        "sitegen start programs/pump-rings-2027 --answers answers.yaml   asks nothing",
        "sitegen start programs/pump-rings-2027 --question 'Does it seat sooner?' --engine-type 'inline four' \\",
        "    --cylinders 4 --bore '87.5 mm' --stroke '100 mm' --reference nitrided --candidates graded-crn \\",
        "    --builds 4 --testers 'T1, 0.040 in, 0.25 psi'",
        "sitegen start --schemas programs                                bring the copies of the schemas up to date",
    )
    start.add_argument("folder", type=Path, help="folder of the new program, such as programs/pump-rings-2027")
    start.add_argument("--answers", type=Path, metavar="FILE", help="YAML file of answers; an option overrules it")
    start.add_argument(
        "--schemas", action="store_true", help="only bring the copies of the schemas in a programs folder up to date"
    )
    if questions:  # the other verbs start without them
        from sitegen.starting.answers import QUESTIONS

        for each in QUESTIONS:
            start.add_argument(each.option, metavar="TEXT", help=each.help.replace("%", "%%"))
    start.set_defaults(verb=_start)


def _count(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number from 1 up")
    return int(text)


def _days(text: str) -> int:
    if not text.isdecimal() or int(text) > 36500:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of days")
    return int(text)


def _day(text: str) -> str:
    import datetime

    try:
        return datetime.date.fromisoformat(text).isoformat()
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a day, such as 2026-12-01") from None


_SCHEMES = ("whole builds", "whole builds in rounds", "mixed in engine")


def _seed(text: str) -> int:
    if not text.isdecimal() or int(text) > 2**32 - 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 0 to 4294967295")
    return int(text)


LARGEST_SHARE = 5.0  # scatter between builds beyond which a share was meant otherwise


def _scatter(text: str) -> tuple[str, float, bool]:
    """A measure, its scatter, and whether that was given in per cent."""
    measure, _, number = text.partition("=")
    share = number.strip().endswith("%")
    try:
        value = float(number.strip().rstrip("%")) / (100 if share else 1)
    except ValueError:
        value = 0.0
    if not measure or not 0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} is not a measure with its scatter, such as leakdown.crankcase=8%")
    return measure.strip(), value, share


def _add_look(verbs: Verbs) -> None:
    look = _verb(
        verbs,
        "look",
        "say what is in a file nobody has described yet, and propose its record entry; writes nothing",
        "Say how a file is written (encoding, separator, marks of numbers judged on every row, headers, units, times) "
        "and what each column holds; with --as, propose the record entry that would read it, to be pasted into "
        'program.yaml. What only you can know stands there as "?", which check refuses. A file inside a program\'s '
        "folder is held against the builds, phases and instruments of that program.",
        "sitegen look programs/pump-rings-2026/records/leakdown-b1.csv --as leakdown",
        "sitegen look programs/pump-rings-2026/logs/b1-pulls.csv --as runlog",
        "sitegen look ring-masses.xlsx --sheet Top",
    )
    look.add_argument("file", type=Path, help="a text table, a workbook (.xlsx) or a Parquet file")
    look.add_argument("--as", dest="kind", metavar="KIND", help="kind of record it is, such as leakdown or runlog")
    look.add_argument("--sheet", default="", metavar="NAME", help="worksheet of a workbook that has several")
    look.set_defaults(verb=_look)


def _look(options: argparse.Namespace) -> int:
    from sitegen import problems, registry
    from sitegen.looking import entries
    from sitegen.reader.blocked import Blocked

    kinds = [each.name for each in registry.STREAMS]
    if options.kind is not None and options.kind not in kinds:
        near = problems.nearest(options.kind, kinds)
        meant = f" Nearest: {near}." if near else ""
        said = f"--as: there is no kind of record {options.kind}. Expected {problems.listed(kinds)}.{meant}"
        print(said, file=sys.stderr)
        return USE
    try:
        said, refused = entries.report(options.file, options.kind or "", registry.STREAMS, options.sheet)
    except Blocked as blocked:
        print(problems.as_text(blocked.problems), file=sys.stderr)
        return INPUT
    print(said)
    return INPUT if refused else FINE


def _add_key(verbs: Verbs) -> None:
    key = _verb(
        verbs,
        "key",
        "explain a key of the program files: place, meaning, what may stand there, an example",
        "Say where a key stands in program.yaml or definitions.yaml, what it means, what may stand there and in which "
        "units, what holds when it is left out, and how it is written. Of a name that stands in many places those are "
        "listed; say what stands above it to have one explained.",
        "sitegen key percent_linear",
        "sitegen key testers.percent_linear",
        "sitegen key leakdown.columns.supply      the field of a record",
    )
    key.add_argument("name", metavar="NAME", help="the key, with a point after each key above it that is said")
    key.set_defaults(verb=_key)


def _key(options: argparse.Namespace) -> int:
    from sitegen.program import keys

    try:
        print(keys.explain(options.name))
    except keys.UnknownKeyError as unknown:
        print(unknown, file=sys.stderr)
        return USE
    return FINE


def _add_measures(verbs: Verbs) -> None:
    measures = _verb(
        verbs,
        "measures",
        "list the measures that criteria and comparisons may name, with their units",
        "List every measure by its id, with its unit and what it is: what stands under `measure` in criteria and "
        "comparisons. Words leave those that hold all of them in id, title or method.",
        "sitegen measures                   all of them, a line each",
        "sitegen measures leak crankcase    those with both words",
        "sitegen measures --compared        those coatings can be compared in",
        "sitegen measures --format json     for other programs, with the method of each",
    )
    measures.add_argument("words", metavar="WORD", nargs="*", help="a word of id, title or method")
    measures.add_argument("--compared", action="store_true", help="only those coatings can be compared in")
    measures.add_argument("--format", choices=("text", "json"), default="text", help="how they are listed (text)")
    measures.set_defaults(verb=_measures)


def _measures(options: argparse.Namespace) -> int:
    from sitegen import measured, registry

    every = [each for each in registry.measures().values() if each.compare or not options.compared]
    found = measured.found(every, options.words)
    if not found:
        print(f'No measure holds "{" ".join(options.words)}". `sitegen measures` lists all.', file=sys.stderr)
        return USE
    print(measured.as_json(found) if options.format == "json" else measured.as_text(found))
    return FINE


def _start(options: argparse.Namespace) -> int:
    from sitegen.problems import Collector, as_text
    from sitegen.starting import answers, asking, begin

    try:
        if options.schemas:
            begun = begin.refresh(options.folder)
            print("\n".join(f"wrote {each}" for each in begun.written) or "The schemas are up to date.")
            return FINE
        around = begin.around(options.folder)
        given: dict[str, answers.Given] = {}
        problems = Collector("answers")
        if options.answers is not None:
            given, problems = answers.read_file(options.answers, options.answers.as_posix())
        typed = {each: getattr(options, each.key) for each in answers.QUESTIONS}
        given |= {each.key: answers.Given(tuple(each.parts(text))) for each, text in typed.items() if text is not None}
        asked = options.answers is None and sys.stdin.isatty()
        if not given and not asked and not problems.found:
            print(
                "sitegen start asks on a terminal, and this is none. Give the answers as options or in a file "
                "(--answers FILE); `sitegen start --help` lists them.",
                file=sys.stderr,
            )
            return USE
        if asked:
            made: answers.Answers | None = asking.ask(around, given, input, print)
        else:
            made = answers.taken(given, around, problems, options=options.answers is None)
        if made is None or problems.found:
            print(as_text(problems.found), file=sys.stderr)
            print("Nothing was written.", file=sys.stderr)
            return INPUT
        print("\n".join(begin.summary(begin.begin(options.folder, made), options.folder)))
    except begin.CannotStart as fault:
        print(fault, file=sys.stderr)
        return INPUT
    except (EOFError, KeyboardInterrupt):
        print("\nNothing was written.", file=sys.stderr)
        return USE
    return FINE


def _today() -> str:
    """The day of this machine: asked by the check alone, so that results and pages hang on no clock."""
    import datetime

    return datetime.datetime.now().astimezone().date().isoformat()


def _check(options: argparse.Namespace) -> int:
    from sitegen import unchanged

    today = _today()
    told_as = (options.format, options.due_within, options.as_of)
    asked = None if options.recompute else unchanged.question_of_check(options.folder, str(told_as), today)
    answer = unchanged.checked(asked) if asked is not None else None
    if answer is None:
        answer = _checked(options, today)
        if asked is not None:
            unchanged.remember_check(asked, answer)
    text, status, strict = answer
    print(text)
    return strict if options.strict else status


def _checked(options: argparse.Namespace, today: str) -> tuple[str, int, int]:
    """What a check says, its exit status and that with --strict."""
    from sitegen import copies, problems, shelves, workflow
    from sitegen.results import files

    # what is to be held against the committed results is worked out anew
    kept = shelves.NONE if options.recompute else shelves.of_user()
    said: list[str] = []
    examination = workflow.examine(options.folder, shelves=kept, processes=copies.processes())
    found = [*examination.problems, *workflow.ahead(examination, today)]
    if examination.folder is not None:
        for program in examination.folder.programs:
            reasons = files.stale(program, *workflow.ourselves())
            found += [workflow.stale_problem(program, reason) for reason in reasons]
            found += workflow.unfinished_problem(program)
    if options.recompute and examination.folder is not None:
        for conclusion in workflow.with_files(workflow.conclude(examination)):
            found += workflow.different_problems(conclusion.analysis.program, conclusion.files)
    found.sort()
    kept.tidy()
    due = workflow.due(examination, options.due_within, options.as_of or "")
    as_data = due.as_data if due is not None else None
    said.append(problems.as_json(found, due=as_data) if options.format == "json" else problems.as_text(found))
    if options.format == "text":
        clauses = filter(None, (examination.not_used, examination.not_taken))
        said += [f"{clause[:1].upper()}{clause[1:]}." for clause in clauses]
        said += examination.not_read
        if due is not None and (told := due.as_text(asked=options.due_within is not None)):
            said.append(told)
        said += [f"\n{proposal}" for proposal in workflow.proposals(examination)]
    if options.format == "text" and problems.errors(found):
        from sitegen import registry
        from sitegen.looking import entries

        said += [f"\n{report}" for report in entries.unmapped(options.folder, registry.STREAMS)]
    return "\n".join(said), INPUT if problems.errors(found) else FINE, INPUT if found else FINE


def _publish(options: argparse.Namespace) -> int:
    from sitegen import unchanged

    if options.blind and options.sheet:
        print("--sheet: a decision sheet names the coatings, which --blind does not show. Give one of them.",
              file=sys.stderr)  # fmt: skip
        return USE
    before = unchanged.stamps(options.folder, options.to)

    def still() -> list[str]:
        return unchanged.moved(before, unchanged.stamps(options.folder, options.to))

    asked = unchanged.question(options.folder, options.to, options.theme, options.sheet, options.blind)
    outcome = unchanged.answered(asked) if asked is not None and not options.no_cache else None
    changed: list[str] | None = []
    why = "No page made anew: nothing has changed since the last publish into this folder."
    if outcome is None or (options.strict and outcome.problems):
        outcome = _published(options, still)
        if outcome is None:
            return INPUT
        changed = unchanged.because(asked) if asked is not None else None
        why = unchanged.why(outcome, changed, not options.no_cache)
        if asked is not None and not still():
            unchanged.remember(asked, outcome)
    for said in filter(None, (outcome.problems, outcome.once)):
        print(said, file=sys.stderr)
    if options.format == "json":
        _print_json(published=True, pages=outcome.pages, new=outcome.new, made=outcome.made, because=changed,
                    left=outcome.left)  # fmt: skip
    else:
        print(f"{why}\n{outcome.report}")
    return INPUT if outcome.left else FINE


def _print_json(**told: object) -> None:
    import json

    print(json.dumps({"format": 1, **told}, indent=2))


def _nothing_written(options: argparse.Namespace) -> None:
    print("Nothing was written.", file=sys.stderr)
    if options.format == "json":
        _print_json(published=False)


def _published(options: argparse.Namespace, still: Callable[[], Sequence[str]]) -> Outcome | None:
    """What a publish left behind; None where nothing was written, which has been said."""
    from sitegen import helping, shelves

    kept = shelves.NONE if options.no_cache else shelves.of_user()
    try:
        with helping.helped(options.cluster, kept, options.theme) as (kept, helpers):
            return _published_by(options, still, kept, helpers)
    except helping.ClusterError as problem:
        print(problem, file=sys.stderr)
        _nothing_written(options)
        return None
    finally:
        kept.tidy()


def _processes(options: argparse.Namespace) -> int:
    """How many processes of this machine share the work."""
    from sitegen import copies

    return 1 if options.cluster else options.workers or copies.processes()


def _published_by(
    options: argparse.Namespace, still: Callable[[], Sequence[str]], kept: Shelves, helpers: Helpers | None
) -> Outcome | None:
    from sitegen import problems, workflow
    from sitegen.blinding import NotBlindError
    from sitegen.pages import bundle
    from sitegen.pages.site import ThemeError
    from sitegen.progress import Line
    from sitegen.publish import CannotPublish

    try:
        outcome = None
        with bundle.ahead(), Line(sys.stderr) as tell:
            examination = workflow.examine(options.folder, tell, kept, helpers, _processes(options))
            if not (options.strict and examination.problems):
                outcome = workflow.publish(
                    examination, options.to, options.theme, tell, options.sheet, still, options.blind
                )
    except (CannotPublish, ThemeError, NotBlindError) as problem:
        print(problem, file=sys.stderr)
        if options.format == "json":
            _print_json(published=False)
        return None
    else:
        if outcome is None:
            print(problems.as_text(examination.problems), file=sys.stderr)
            _nothing_written(options)
        return outcome


def _plan(options: argparse.Namespace) -> int:
    import json

    from sitegen import copies, problems, registry, workflow
    from sitegen.pages import plan as told

    examination = workflow.examine(options.program, processes=copies.processes())
    if examination.blocked or examination.folder is None:
        print(problems.as_text(examination.problems), file=sys.stderr)
        return INPUT
    if len(examination.folder.programs) != 1:
        names = ", ".join(program.id for program in examination.folder.programs)
        print(
            f"{options.program}: this folder holds several programs. Give the folder of one: {names}.", file=sys.stderr
        )
        return USE
    typed = {measure: value for measure, value, _ in options.scatter}
    strange = sorted(set(typed) - registry.comparable())
    if strange:
        known = ", ".join(sorted(registry.comparable()))
        print(f"--scatter: no measure {strange[0]} is compared. Expected {known}.", file=sys.stderr)
        return USE
    for measure, value, share in options.scatter:
        of = registry.measures()[measure]
        if of.compare == "ratio" and value > LARGEST_SHARE:
            print(
                f"--scatter: {measure} is compared as a ratio. Expected a share, such as 8% or 0.08.", file=sys.stderr
            )
            return USE
        if of.compare != "ratio" and share:
            print(f"--scatter: {measure} is compared as a difference. Expected a number in {of.unit}.", file=sys.stderr)
            return USE
    plan = workflow.plan(examination, typed, options.builds, options.seed, options.scheme or "")[0]
    print(
        json.dumps(told.as_json(plan), indent=1, ensure_ascii=False) if options.format == "json" else told.as_text(plan)
    )
    return FINE


# ---- field sheets and preview ---------------------------------------------------------------------------------------


def _add_sheets(verbs: Verbs) -> None:
    sheets = _verb(
        verbs,
        "sheets",
        "make field sheets to print, and the same as empty tables",
        "Make field sheets for what a program plans: schedule, event log, leak-down, build sheet, inspection, labels\n"
        "of oil samples; a file a build and phase, for A4 or letter paper. And the same as empty tables (CSV, XLSX)\n"
        "in the program's own columns, which check reads back once they are filled in. A table that is there already\n"
        "with something else in it is never written over.",
        "sitegen sheets programs/pump-rings-2026                               all, into the folder sheets",
        "sitegen sheets programs/pump-rings-2026 --build B3 --phase durability  of one build and phase",
    )
    sheets.add_argument("program", type=Path, help="the folder of one program")
    sheets.add_argument("--to", type=Path, default=Path("sheets"), metavar="DIR", help="folder of the sheets (sheets)")
    sheets.add_argument(
        "--build", action="append", default=[], metavar="ID", help="only this build; may be given several times"
    )
    sheets.add_argument(
        "--phase", action="append", default=[], metavar="ID", help="only this phase; may be given several times"
    )
    sheets.add_argument("--theme", type=Path, metavar="DIR", help="folder whose templates and sheets.css replace ours")
    sheets.set_defaults(verb=_sheets)


def _sheets(options: argparse.Namespace) -> int:
    from sitegen import problems, workflow
    from sitegen.pages.site import ThemeError
    from sitegen.publish import CannotPublish

    folder, found = workflow.programs(options.program)
    if folder is None or folder.left:
        print(problems.as_text(found), file=sys.stderr)
        return INPUT
    if len(folder.programs) != 1:
        names = ", ".join(program.id for program in folder.programs)
        print(
            f"{options.program}: this folder holds several programs. Give the folder of one: {names}.", file=sys.stderr
        )
        return USE
    program = folder.programs[0]
    known = {"build": [each.id for each in program.builds], "phase": [each.id for each in program.phases]}
    for kind, asked in (("build", options.build), ("phase", options.phase)):
        for name in asked:
            if name not in known[kind]:
                near = problems.nearest(name, known[kind])
                meant = f' Did you mean "{near}"?' if near else ""
                listed = problems.listed(known[kind])
                print(f"--{kind}: the program has no {kind} {name}.{meant} Expected {listed}.", file=sys.stderr)
                return USE
    try:
        print(workflow.sheets(program, options.to, options.build, options.phase, options.theme))
    except (CannotPublish, ThemeError) as problem:
        print(problem, file=sys.stderr)
        return INPUT
    return FINE


def _add_changes(verbs: Verbs) -> None:
    changes = _verb(
        verbs,
        "changes",
        "say what moved between two states of the results, and why; writes nothing",
        "Compare the results at two revisions of git, or at one with what lies in the folder now: answers first, then "
        "what moved beyond its interval, each with the changes of the files that moved it. Every change is put in by "
        "itself, and everything worked out again, so that the reason named is the reason.",
        "sitegen changes programs                        since the last commit",
        "sitegen changes programs v1..v2                 between two revisions",
        "sitegen changes programs/pump-rings-2026 v1..   one program, since a revision",
        "sitegen changes programs v1..v2 --to moved.html  as a page to be sent",
    )
    changes.add_argument("folder", type=Path, help="a programs folder, or the folder of one program, in git")
    changes.add_argument("revisions", nargs="?", default="HEAD..", metavar="A..B",
                         help="two revisions, or one with nothing behind it: as it is now (HEAD..)")  # fmt: skip
    changes.add_argument("--format", choices=("text", "json"), default="text", help="how it is told (text)")
    changes.add_argument("--to", type=Path, metavar="FILE", help="write a page that stands alone, too")
    changes.set_defaults(verb=_changes)


def _changes(options: argparse.Namespace) -> int:
    from sitegen import problems, shelves, workflow
    from sitegen.changing import compared, states, told
    from sitegen.progress import Line
    from sitegen.registry import measures

    old, _, new = options.revisions.partition("..")
    if not old or new.startswith("."):
        print(f"{options.revisions}: Expected two revisions with two points between them, such as v1..v2, or v1..",
              file=sys.stderr)  # fmt: skip
        return USE
    folder, found = workflow.programs(options.folder)
    if folder is None or problems.errors(found):
        print(problems.as_text(problems.errors(found)), file=sys.stderr)
        return INPUT
    kept, every = shelves.of_user(), []
    home = options.folder.resolve()
    try:
        with Line(sys.stderr) as line:
            for program in folder.programs:
                home = Path(program.folder).resolve().parent
                each = compared.compare(home, program.id, old, new or states.NOW, kept, line)
                every.append((each, told.Titles(program, measures([program]))))
    except states.CannotCompare as fault:
        print(fault, file=sys.stderr)
        return INPUT
    finally:
        kept.tidy()
    if options.to is not None:
        from sitegen.changing.page import page

        try:
            options.to.write_bytes(page(folder, every))
        except OSError as fault:
            print(f"{options.to}: cannot be written: {fault.strerror}.", file=sys.stderr)
            return INPUT
    print(told.as_json([each for each, _ in every]) if options.format == "json"
          else "\n\n".join(told.as_text(*each) for each in every))  # fmt: skip
    return FINE


PREVIEW_PORT = 8600


def _add_preview(verbs: Verbs) -> None:
    preview = _verb(
        verbs,
        "preview",
        "show the site to this machine's browser, and anew whenever a file changes; writes nothing",
        "Serve the site to the browsers of this machine (127.0.0.1, no other can reach it), make it anew when a file\n"
        "of the folder or the theme changes, and load the page again. What is wrong with the files stands over the\n"
        "page until it is mended. The site is kept in memory; results are written by publish only. Ctrl-C stops it.",
        "sitegen preview programs                     at http://127.0.0.1:8600/",
        "sitegen preview programs/pump-rings-2026     one program: sooner done",
        "sitegen preview programs --port 0            at any port that is free",
    )
    preview.add_argument(
        "folder", type=Path, nargs="?", default=Path(), help="a programs folder, or that of one program (this folder)"
    )
    preview.add_argument(
        "--port", type=_port, default=PREVIEW_PORT, metavar="N", help=f"port; 0: any that is free ({PREVIEW_PORT})"
    )
    preview.add_argument("--theme", type=Path, metavar="DIR", help="folder whose templates and styles replace ours")
    preview.set_defaults(verb=_preview)


def _port(text: str) -> int:
    if not text.isdecimal() or int(text) > 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 0 to 65535")
    return int(text)


def _preview(options: argparse.Namespace) -> int:
    from sitegen.preview.loop import preview
    from sitegen.preview.server import PortTaken

    if not options.folder.is_dir():
        print(f"{options.folder}: there is no such folder.", file=sys.stderr)
        return USE
    try:
        preview(options.folder, options.theme, options.port)
    except PortTaken as problem:
        print(problem, file=sys.stderr)
        return USE
    except KeyboardInterrupt:
        print("\nPreview stopped.")
    return FINE


if __name__ == "__main__":
    raise SystemExit(main())
