"""Reviews beside a program file: what people found going through its results, each in a file of its own.

A review with a fault is told and passed over; the program goes on without it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from sitegen.problems import Collector, nearest, shown
from sitegen.program import schema, yamlfile
from sitegen.program.covered import uncovered
from sitegen.program.model import Accepted, Exclusion, Program, Review, ReviewItem, ReviewRule
from sitegen.program.node import Node
from sitegen.vocabulary import Problem

FOLDER = "reviews"
ENDING = ".yaml"
MOST_FILES = 500


def joined(program: Program, folder: Path, problems: list[Problem]) -> Program:
    """The program with its reviews, and with what of them it accepts among its exclusions; problems are added."""
    found = _reviews(program, folder, problems)
    collector = Collector(program.where.file)
    exclusions = {each.reading: each for each in program.exclusions}
    for each in program.accepted:
        for exclusion in _of(program, each, found, collector):
            exclusions.setdefault(exclusion.reading, exclusion)
    problems += collector.found
    return replace(program, reviews=tuple(found), exclusions=tuple(exclusions.values()))


def _reviews(program: Program, folder: Path, problems: list[Problem]) -> list[Review]:
    home = folder / FOLDER
    try:
        names = sorted(each.name for each in home.iterdir() if each.name.endswith(ENDING)) if home.is_dir() else []
    except OSError:
        names = []
    found: list[Review] = []
    for name in names[:MOST_FILES]:
        collector = Collector(f"{shown(folder.name)}/{FOLDER}/{shown(name)}")
        review = _review(program, home / name, collector, folder)
        problems += [replace(each, level="warning") for each in collector.found]
        twin = next((each for each in found if review is not None and _alike(each, review)), None)
        if review is not None and twin is not None:
            what = f"this is the review {twin.id}{ENDING} once more: it is counted once"
            problems.append(
                Problem(collector.file, 0, 0, "review-twice", what, "", "", "remove one of them", "", "warning")
            )
        elif review is not None:
            found.append(review)
    if len(names) > MOST_FILES:
        what = f"there are {len(names)} reviews; the first {MOST_FILES} are read"
        problems.append(Problem(f"{shown(folder.name)}/{FOLDER}", 0, 0, "too-many-reviews", what, level="warning"))
    return found


def _alike(one: Review, other: Review) -> bool:
    """The same person's words on the same day about the same results."""
    said = [[replace(item, where=one.where) for item in each.items] for each in (one, other)]
    return (one.reviewer, one.on, one.results) == (other.reviewer, other.on, other.results) and said[0] == said[1]


def _review(program: Program, path: Path, problems: Collector, within: Path) -> Review | None:
    """The review in a file; None with problems where it cannot be used as a whole."""
    document = yamlfile.read(path, problems, within)
    if document is None or not schema.check(document, "review", problems) or problems.found:
        return None
    root = Node.root(document, problems)
    if root.text("program") != program.id:
        root.get("program").add(
            "review-of-another", f'this is a review of "{shown(root.text("program"))}"', expected=program.id,
            next_step="put it into the folder of that program",
        )  # fmt: skip
        return None
    rule = program.review or ReviewRule()
    reviewer = root.text("reviewer")
    if rule.blinded and reviewer in rule.knows:
        root.get("reviewer").add(
            "review-not-blind", f"{shown(reviewer)} knows the coatings, and reviews of this program are blinded",
            expected="somebody whom `knows` does not name", next_step="count it for what it is",
        )  # fmt: skip
    items = [item for node in root.items("items") if (item := _item(program, rule, node)) is not None]
    return Review(root.where, path.name.removesuffix(ENDING), reviewer, root.date("on"), root.text("results"),
                  tuple(items))  # fmt: skip


def _item(program: Program, rule: ReviewRule, node: Node) -> ReviewItem | None:
    """One item; None with a problem where it is about nothing there is. Readings are looked up with the records."""
    engine, cylinder = node.text("build"), node.whole("cylinder") or 0
    reading = uncovered(program, node.text("reading"))
    builds = {build.id: build for build in program.builds}
    if not engine and not reading:
        node.add("review-of-nothing", f"nothing says what it is about{node.within}",
                 expected="a build, a build and a cylinder, or a reading")  # fmt: skip
        return None
    if engine and engine not in builds:
        what = f'there is no build "{shown(engine)}"'
        node.get("build").add("unknown-build", what, expected="a build of the program", near=nearest(engine, builds))
        return None
    if engine and cylinder and cylinder not in {place.cylinder for place in builds[engine].places}:
        node.get("cylinder").add("unknown-cylinder", f"{engine} has no cylinder {cylinder}")
        return None
    cause, says = node.text("cause"), node.text("says")
    if cause and cause not in rule.causes:
        node.get("cause").add(
            "unknown-cause", f'there is no cause "{shown(cause)}"', expected="one that `review` of the program lists",
            near=nearest(cause, rule.causes), next_step="correct it; the item is counted without its cause",
        )  # fmt: skip
        cause = ""
    return ReviewItem(node.where, says, engine, cylinder, reading, cause, node.text("why"))  # type: ignore[arg-type]


def _of(program: Program, accepted: Accepted, found: Sequence[Review], problems: Collector) -> list[Exclusion]:
    """What an accepted review leaves out."""
    at = (accepted.where.line, accepted.where.column)
    names = [each.id for each in found]
    review = next((each for each in found if each.id == accepted.review.removesuffix(ENDING)), None)
    if review is None:
        problems.add(
            at, "review-unknown", f'there is no review "{shown(accepted.review)}" that can be read in {FOLDER}',
            expected="the name of a file there", nearest=nearest(accepted.review, names), next_step="correct `review`",
        )  # fmt: skip
        return []
    objected = {item.reading: item for item in review.items if item.says == "objects" and item.reading}
    for name in accepted.readings:
        if name not in objected:
            problems.add(
                at, "objection-unknown", f'{review.id} has no objection to a reading "{shown(name)}"',
                expected="a reading it objects to", nearest=nearest(name, objected), next_step="correct `readings`",
            )  # fmt: skip
    causes = program.review.causes if program.review is not None else {}
    by = f"{review.reviewer}, accepted by {accepted.by}" if accepted.by else review.reviewer
    return [
        Exclusion(name, ": ".join(filter(None, (causes.get(item.cause, ""), item.why))) or "objected to in review",
                  by, accepted.on or review.on, accepted.where)
        for name, item in objected.items() if not accepted.readings or name in accepted.readings
    ]  # fmt: skip
