"""The `sitegen` command. Exit status: 0 fine, 1 the input has errors, 2 wrong use, 3 a fault of ours."""

from __future__ import annotations

import argparse
import sys
import traceback
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sitegen.unchanged import Outcome

FINE, INPUT, USE, FAULT = 0, 1, 2, 3


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb and return the exit status."""
    parser = _parser()
    try:
        options = parser.parse_args(arguments)
    except SystemExit as end:  # argparse has printed what was wrong, or the help
        return USE if end.code else FINE
    try:
        return int(options.verb(options))
    except BrokenPipeError:
        sys.stderr.close()  # the reader of a pipe went away: nothing to say, nowhere to say it
        return FINE
    except Exception:
        traceback.print_exc()
        print("\nThis is a fault in sitegen, not in your files.", file=sys.stderr)
        return FAULT


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="sitegen",
        description="Check, analyse and publish engine test programs on piston-ring coatings.",
        epilog="Exit status: 0 fine, 1 the input has errors, 2 wrong use, 3 a fault of sitegen.",
    )
    parser.add_argument("--version", action="version", version=f"sitegen {version('sitegen')}")
    verbs = parser.add_subparsers(metavar="VERB", required=True)

    check = verbs.add_parser(
        "check",
        help="say what is wrong with program files and records; writes nothing",
        description="Read program files and records, list every problem, and say whether committed results are stale.",
    )
    check.add_argument("folder", type=Path, help="a programs folder, or the folder of one program")
    check.add_argument("--format", choices=("text", "json"), default="text", help="how problems are listed (text)")
    check.add_argument("--strict", action="store_true", help="fail on readings set aside and on stale results too")
    check.add_argument(
        "--recompute", action="store_true", help="run the analysis and compare it with the committed results"
    )
    check.set_defaults(verb=_check)

    publish = verbs.add_parser(
        "publish",
        help="write the results into the program folders and the site into a folder",
        description="Check, analyse, write results/ beside each program file and the whole site into a folder.",
    )
    publish.add_argument("folder", type=Path, help="a programs folder, or the folder of one program")
    publish.add_argument(
        "--to", type=Path, required=True, metavar="DIR", help="folder of the site; made when it is not there"
    )
    publish.add_argument("--strict", action="store_true", help="write nothing when a reading was set aside")
    publish.add_argument("--theme", type=Path, metavar="DIR", help="folder whose templates and styles replace ours")
    publish.add_argument("--workers", type=_count, default=1, metavar="N", help="processes that share the analysis (1)")
    publish.set_defaults(verb=_publish)
    return parser


def _count(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number from 1 up")
    return int(text)


def _check(options: argparse.Namespace) -> int:
    from sitegen import problems, workflow
    from sitegen.results import files

    examination = workflow.examine(options.folder)
    found = list(examination.problems)
    if examination.folder is not None:
        for program in examination.folder.programs:
            found += [workflow.stale_problem(program, reason) for reason in files.stale(program)]
    if options.recompute and not examination.blocked:
        for conclusion in workflow.with_files(workflow.conclude(examination)):
            program = conclusion.analysis.program
            found += [
                workflow.different_problem(program, line) for line in files.differences(program, conclusion.files)
            ]
    found.sort()
    print(problems.as_json(found) if options.format == "json" else problems.as_text(found))
    failing = [each for each in found if each.level == "error" or options.strict]
    return INPUT if failing else FINE


def _publish(options: argparse.Namespace) -> int:
    from sitegen import unchanged

    asked = unchanged.question(options.folder, options.to, options.theme)
    outcome = unchanged.answered(asked) if asked is not None else None
    if outcome is None or (options.strict and outcome.problems):
        outcome = _published(options)
        if outcome is None:
            return INPUT
        if asked is not None:
            unchanged.remember(asked, outcome)
    if outcome.problems:
        print(outcome.problems, file=sys.stderr)
    print(outcome.report)
    return FINE


def _published(options: argparse.Namespace) -> Outcome | None:
    """What a publish left behind; None where nothing was written, which has been said."""
    from sitegen import problems, workflow
    from sitegen.pages.site import ThemeError
    from sitegen.publish import CannotPublish

    examination = workflow.examine(options.folder)
    if examination.blocked or (options.strict and examination.problems):
        print(problems.as_text(examination.problems), file=sys.stderr)
        print("Nothing was written.", file=sys.stderr)
        return None
    try:
        with workflow.workers(options.workers) as executor:
            return workflow.publish(examination, options.to, options.theme, executor)
    except (CannotPublish, ThemeError) as problem:
        print(problem, file=sys.stderr)
        return None


if __name__ == "__main__":
    raise SystemExit(main())
