"""What was set beforehand and changed once readings were in, in sentences: from git, and from the day it was stated."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from sitegen.page import words
from sitegen.page.blocks import Table
from sitegen.page.view import View
from sitegen.pages import criteria
from sitegen.program.model import EVERY, Criterion, DecisionRule, Restated, Subject

PREFIX = "criterion:"
UNKNOWN = (
    "Whether limits, criteria, the rule of decision or the primary comparison were changed after readings came in is "
    "not known here, where git holds no whole history of the program file."
)
INVENTED = "The dates of this invented program are part of the invention, so the history of its file shows nothing."


def _restated(view: View) -> Sequence[Restated]:
    """What the history of the file shows; nothing of an invented program, all of which was written down at once."""
    return () if view.program.invented else view.the_desk.restated or ()


def late(view: View, rule: DecisionRule | None = None) -> str:
    """When the criteria, or the rule, were stated after records came in: "after 120 of 140 dated records had ..."."""
    days, stated = view.the_desk.days, view.program.criteria_stated if rule is None else rule.stated
    before = [day for day in days if stated and day < stated]
    if not before:
        return ""
    if len(before) == len(days):
        return f"after all {len(days)} dated records had come in (until {words.day(before[-1])})"
    return f"after {len(before)} of {len(days)} dated records had come in (until {words.day(before[-1])})"


def of_criterion(view: View, criterion: Criterion) -> list[str]:
    """How one criterion stood before, a sentence a change."""
    told = []
    for each in _restated(view):
        if each.what != f"{PREFIX}{criterion.id}":
            continue
        if isinstance(each.before, Criterion) and isinstance(each.after, Criterion):
            told.append(f"It {_differing(view, each.before, each.after)} {_until(each)}.")
        else:
            told.append(_came_or_went("It", each))
    return told


def criteria_table(view: View, coatings: Sequence[str] | None = None) -> Table | None:
    """The answers to the criteria, each beside how it stood before, and what had come in by the day they were stated:
    the day in the program file is what somebody claims.
    """
    return criteria.table(view, partial(of_criterion, view), late(view), coatings)


def of_program(view: View) -> list[str]:
    """The same of the primary comparison, of when a cylinder counts as seated, and of criteria that are gone."""
    here = {each.id for each in view.program.criteria}
    told = []
    for each in _restated(view):
        if each.what == "primary" and isinstance(each.before, Subject):
            told.append(f"The primary comparison was {_subject(view, each.before)} {_until(each)}.")
        elif each.what in {"level", "to_lose"} and isinstance(each.before, float):
            limit = words.with_unit(words.stated(each.before), "mm²")
            what = {
                "level": "the leak area that counts as seated",
                "to_lose": "the leak a seated cylinder may have to lose",
            }
            told.append(words.sentence(f"{what[each.what]} was at most {limit} {_until(each)}."))
        elif each.what == "fit_through":
            last = f"ended with {_phase(view, str(each.before))}" if each.before else "had no last phase set"
            told.append(f"The fit of seating {last} {_until(each)}.")
        elif isinstance(each.before, Criterion) and each.after is None and each.before.id not in here:
            title, limit = each.before.title, criteria.limit(view, each.before)
            told.append(f"The criterion “{title}” ({limit}) was taken out{_since(each)}.")
    return told


def of_rule(view: View) -> list[str]:
    """The same of the rule of decision."""
    told = []
    for each in _restated(view):
        if each.what != "decide":
            continue
        if isinstance(each.before, DecisionRule) and isinstance(each.after, DecisionRule):
            told.append(f"The rule {_ruled_otherwise(view, each.before, each.after)} {_until(each)}.")
        else:
            told.append(_came_or_went("The rule", each))
    return told


def _came_or_went(what: str, each: Restated) -> str:
    return f"{what} was {'taken out' if each.after is None else 'first written down'}{_since(each)}."


def _ruled_otherwise(view: View, before: DecisionRule, after: DecisionRule) -> str:
    """What the rule asked before: "asked every criterion for a release"."""
    titles = {each.id: each.title for each in view.program.criteria}

    def named(ids: Sequence[str], every: str) -> str:
        return every if ids == EVERY else words.listed(f"“{titles.get(each, each)}”" for each in ids) or "nothing"

    parts = []
    if before.release != after.release:
        parts.append(f"asked {named(before.release, 'every criterion')} for a release")
    if before.stop != after.stop:
        parts.append(f"stopped on a failure of {named(before.stop, 'the end rules')}")
    if before.looks != after.looks:
        when = f"at {words.listed(map(str, before.looks))} builds" if before.looks else "only with all builds in"
        parts.append(f"allowed a release {when}")
    return words.listed(parts)


def note(view: View) -> str:
    """What is to be said where no history is known, or none counts; "" where it does, or where nothing is in yet."""
    if view.program.invented:
        return INVENTED if view.the_desk.restated else ""
    return UNKNOWN if view.the_desk.restated is None and view.the_desk.recorded else ""


def in_short(view: View) -> str:
    """For the home page: that something was set late; "" where nothing was."""
    when = late(view)
    told = [f"The criteria were stated {when}."] if when and view.program.criteria else []
    rule = view.program.decide
    if rule is not None and (when := late(view, rule)) and rule.stated != view.program.criteria_stated:
        told.append(f"The rule of decision was stated {when}.")
    new = [_is_new(each) for each in _restated(view)]
    if new:
        what = "first written down" if all(new) else "first written down or changed" if any(new) else "changed"
        told.append(f"Limits, criteria, the rule or the primary comparison were {what} after readings had come in.")
    return " ".join(told)


def _is_new(each: Restated) -> bool:
    """Whether nothing stood there before."""
    return not (each.before.measure if isinstance(each.before, Subject) else each.before)


def _count(each: Restated) -> str:
    """ "when 96 of 140 readings were in"."""
    if each.at_least:
        return (
            f"when at least {each.readings} of {each.of} readings were in"
            if each.readings
            else ("when readings were in, how many is not known")
        )
    if each.readings == each.of:
        return "when all readings were in" if each.of > 1 else "when the reading was in"
    return f"when {each.readings} of {each.of} readings were in"


def _until(each: Restated) -> str:
    return f"until {words.day(each.until)}, {_count(each)}" if each.until else f"at the last commit, {_count(each)}"


def _since(each: Restated) -> str:
    return f" on {words.day(each.until)}, {_count(each)}" if each.until else f" after the last commit, {_count(each)}"


def _phase(view: View, phase: str) -> str:
    return next((each.title for each in view.program.phases if each.id == phase), phase)


def _measure(view: View, measure: str) -> str:
    known = view.measures.get(measure)
    return known.title if known else measure


def _subject(view: View, subject: Subject | Criterion) -> str:
    """ "the leak area to the crankcase after four pulls"."""
    place = f" ({subject.at.replace('-', ' ')})" if subject.at else ""
    when = f" after {_phase(view, subject.phase)}" if subject.phase else ""
    return f"the {_measure(view, subject.measure)}{place}{when}"


def _differing(view: View, before: Criterion, after: Criterion) -> str:
    """What was otherwise: "was at most 0.4 mm²", "was about the leak area after the run-in and ended nothing"."""
    parts = []
    if (before.sense, before.limit) != (after.sense, after.limit):
        parts.append(f"was {criteria.limit(view, before)}")
    if (before.measure, before.phase, before.at) != (after.measure, after.phase, after.at):
        parts.append(f"was about {_subject(view, before)}")
    if (before.scope, before.coatings) != (after.scope, after.coatings):
        parts.append(f"was for {criteria.scope(view, before)}")
    if before.end_rule != after.end_rule:
        parts.append("ended the program for a coating that failed" if before.end_rule else "ended nothing")
    return words.listed(parts)
