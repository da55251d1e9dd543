"""Differences between coatings in words: how much less or more, how sure, and on what it rests."""

from __future__ import annotations

import math

from sitegen.crossing import subjects
from sitegen.crossing.history import OWN_SCALE
from sitegen.page import words
from sitegen.page.view import View
from sitegen.program.model import Program
from sitegen.vocabulary import Comparison

TIMES = "times as much"
RATIO_IN_TIMES = 2.0  # from twice as much on, a ratio is read more easily than per cent

PROCEDURES = {
    "pooled": "means of builds, scatter pooled over the coatings (t)",
    "welch": "means of builds, each coating with its own scatter (t after Welch)",
    "differences": "one difference in each build (t)",
    "fixed": "within the engines: build and position taken out (t on what is left)",
    "paired": "one difference in each block (t)",
    "borrowed": "scatter borrowed from the coatings that were built again; no test",
    "lent": "scatter lent by the builds of other programs; no test",
    "ranks": "exact ranks, since what is compared ended a build: it stands behind all that ran on",
}
RANKS = "ranks"
SCOPES = {
    "engines-to-come": "engines to come",
    "these-engines": "these engines and this lot only",
}


def subject(view: View, row: Comparison) -> str:
    """What is compared, as it stands inside a sentence: "the leak area to the crankcase"."""
    place = place_words(row.at)
    return f"the {view.measures[row.measure].title}{f' ({place})' if place else ''}"


def place_words(at: str) -> str:
    """A place inside a phase as a reader knows it; the first assembly goes without saying.

    >>> place_words("top"), place_words("a1"), place_words("a2"), place_words("top-ring")
    ('top', '', 'assembly 2', 'top ring')
    """
    if at[:1] == "a" and at[1:].isdecimal():
        return "" if at == "a1" else f"assembly {at[1:]}"
    return at.replace("-", " ")


def rings(view: View, coating: str) -> str:
    """The rings with a coating: "nitrided rings"."""
    return f"{view.coating_title(coating)} rings"


def after(view: View, row: Comparison) -> str:
    """When: "after four pulls"; "" for measures of a whole seating curve."""
    return in_phase(view.program, row.phase)


def in_phase(program: Program, phase_id: str) -> str:
    """The same of a phase of a program."""
    if not phase_id:
        return ""
    phase = program.phase(phase_id)
    return f"{'at' if phase.kind in {'static-check', 'teardown'} else 'after'} {phase.title}"


def amount(view: View, row: Comparison, value: float, half: float) -> str:
    """One end or the estimate, without its direction: "24 %", "2.3 times", "0.02 mm²"."""
    if math.isinf(value):
        return "any amount"
    if row.scale == "difference":
        return words.with_unit(words.number(abs(value), _decimals(value, half)), view.measures[row.measure].unit)
    if value >= RATIO_IN_TIMES:
        return f"{words.number(value, _decimals(value, half))} {TIMES}"
    percent = 100 * abs(value - 1)
    return words.with_unit(words.number(percent, max(0, _decimals(percent, 100 * half))), "%")


def _decimals(value: float, half: float) -> int:
    """Decimals [-] that show two digits of the half-width, else of the number; more where it would read as nothing."""
    places = words.decimals_alone(value if math.isnan(half) else float(f"{half:.1e}"), 2)
    return words.apart((value,), 0.0, places)


def none(row: Comparison) -> float:
    """Where there is no difference."""
    return 1.0 if row.scale == "ratio" else 0.0


def directed(view: View, row: Comparison, value: float, half: float) -> str:
    """With its direction: "24 % less", "0.02 mm² more", "2.3 times as much"."""
    text = amount(view, row, value, half)
    if text.endswith(TIMES):
        return text
    return f"{text} {'less' if value < none(row) else 'more'}"


def half_width(row: Comparison) -> float:
    """Half the width of the interval; not a number where an end is open."""
    ends = [end for end in (row.low, row.high) if end is not None and math.isfinite(end)]
    return (ends[1] - ends[0]) / 2 if len(ends) == 2 else math.nan


def estimate(view: View, row: Comparison) -> str:
    """The estimate with its direction; the bounds where values below detection leave no estimate."""
    if row.procedure == RANKS:
        return f"{_side(view, row)} by rank" if row.verdict != "cannot tell" else "no order by rank"
    if row.estimate is None:
        return interval(view, row)
    return directed(view, row, row.estimate, half_width(row))


def _side(view: View, row: Comparison) -> str:
    """Less or more, of a row that tells better or worse."""
    better = view.measures[row.measure].better
    return "less" if (row.verdict == "better") == (better == "less") else "more"


def _ranked(view: View, row: Comparison) -> str:
    """What ranks tell, as a sentence."""
    coating, reference = rings(view, row.coating), rings(view, row.reference)
    start = f"{when}, " if (when := after(view, row)) else ""
    told = f"({interval(view, row)}; {rests_on(row)}), a build that it ended standing behind all that ran on"
    if row.verdict == "cannot tell":
        why = f": {view.why(row.reason)}" if row.reason else ""
        what = f"it cannot be told by ranks whether {subject(view, row)} differs between {coating} and {reference}"
        return words.sentence(f"{start}{what} {told}{why}.")
    return words.sentence(
        f"{start}{subject(view, row)} is {_side(view, row)} with {coating} than with {reference} by ranks {told}."
    )


def interval(view: View, row: Comparison) -> str:
    """The 95 % interval: "15 to 32 % less", "from 3 % less to 12 % more"."""
    if row.procedure == RANKS:
        return f"exact p {words.number(row.p)}, at least {words.number(row.least_p)}"
    if row.low is None or row.high is None:
        return "no interval"
    half = half_width(row)
    near, far = sorted((row.low, row.high), key=lambda end: abs(end - none(row)))
    one, other = directed(view, row, near, half), directed(view, row, far, half)
    same = (row.low < none(row)) == (row.high < none(row))
    if not same:
        return f"from {directed(view, row, row.low, half)} to {directed(view, row, row.high, half)}"
    if math.isinf(far):
        return f"at least {one}"
    for unit in (f" {TIMES}", one[one.find("\N{NO-BREAK SPACE}") :]):
        if one.endswith(unit) and other.endswith(unit):
            return f"{one.removesuffix(unit)} to {other}"
    return f"{one} to {other}"


def ends(view: View, row: Comparison) -> str:
    """The same behind its estimate, whose direction goes without saying: "15 to 32 %"."""
    text, found = interval(view, row), estimate(view, row)
    for side in (" less", " more"):
        if text.endswith(side) and found.endswith(side) and not text.startswith("from "):
            return text.removesuffix(side)
    return text


def counted(row: Comparison) -> str:
    """The same in figures: "3 against 2"."""
    if row.procedure in {"differences", "fixed"} or row.design.startswith("mixed"):
        return f"{row.builds} holding both"
    return f"{row.builds} against {row.builds_reference}".replace(" ", "\N{NO-BREAK SPACE}")


def rests_on(row: Comparison) -> str:
    """The units the difference rests on: builds, or for mixed engines the builds that hold both."""
    if row.procedure in {"differences", "fixed"} or row.design.startswith("mixed"):
        return f"{words.counted(row.builds, 'build')} holding both"
    if row.builds == row.builds_reference:
        return f"{words.counted(row.builds, 'build')} each"
    return f"{words.counted(row.builds, 'build')} against {words.count(row.builds_reference)}"


def scope(row: Comparison) -> str:
    """The same, and that it is no test where it is none: "one build against three, no test"."""
    return f"{rests_on(row)}{', no test' if row.procedure in {'borrowed', 'lent'} else ''}"


def without(view: View, row: Comparison, *, why: bool = True) -> str:
    """Builds and cylinders of the two coatings that a comparison leaves out: "without B6 cylinder 2"; "" none.

    With `why`, what a whole build is left out for.
    """
    pair = {row.coating, row.reference}
    distance = _other_distance(view, row, pair) if "other-distance-left-out" in row.flags else []
    out = {build for build, _ in distance}
    parts = [name for name in lacking(view, row) if name.partition(" ")[0] not in out]
    if "build-without-value" in row.flags:
        found = view.values(row.measure, phase=row.phase, at=row.at)
        known = {value.key.engine for value in found if value.status in {"ok", "below"}}
        parts += [
            f"{build.id}{', which has no value' if why else ''}"
            for build in view.program.builds
            if build.id not in known
            and pair & set(build.coatings)
            and not build.is_due(row.phase)
            and (not row.phase or row.phase in {phase.id for phase in view.program.phases_of(build)})
        ]
    parts += [f"{build}{f', which ran {_km(km)}' if why else ''}" for build, km in distance]
    return f"without {words.listed(parts)}" if parts else ""


def _km(distance: float) -> str:
    return words.with_unit(words.number(distance, 0), "km")


def _other_distance(view: View, row: Comparison, pair: set[str]) -> list[tuple[str, float]]:
    """Builds of the two coatings that ran another distance than most, and how far."""
    found = view.values(row.measure, phase=row.phase, at=row.at)
    known = {value.key.engine for value in found if value.status in {"ok", "below"}}
    ran: dict[str, float] = {}
    for build in sorted(view.program.builds, key=lambda build: build.built):
        value = view.value(subjects.EXPOSURE, row.phase, engine=build, cylinder=0)
        if build.id in known and value is not None and value.value:
            ran[build.id] = value.value
    kept = subjects.alike(ran)
    return [
        (name, km) for name, km in ran.items() if name not in kept and pair & set(view.program.build(name).coatings)
    ]


def lacking(view: View, row: Comparison) -> list[str]:
    """Cylinders without a value beside others of their build that have one: "B6 cylinder 2"."""
    found = view.values(row.measure, phase=row.phase, at=row.at)
    fit = view.measures[row.measure].fit
    if fit and not any(value.key.cylinder for value in found):
        return _apart(view, row, fit)
    if "mean-of-fewer" not in row.flags:
        return []
    known = {(v.key.engine, v.key.cylinder) for v in found if v.status in {"ok", "below"}}
    engines = {engine for engine, cylinder in known if cylinder}
    return [
        f"{build.id} cylinder {place.cylinder}"
        for build in view.program.builds
        for place in build.places
        if build.id in engines
        and place.coating in {row.coating, row.reference}
        and (build.id, place.cylinder) not in known
    ]


def _apart(view: View, row: Comparison, fit: str) -> list[str]:
    """Cylinders that the fit of their build leaves out, since they seat on a distance of their own."""
    names = [measure.id for measure in view.measures.values() if measure.fit == fit]
    odd = {
        (value.key.engine, value.key.cylinder)
        for name in names
        for value in view.values(name, at=row.at)
        if value.reason == OWN_SCALE and value.key.coating in {row.coating, row.reference}
    }
    own = {value.key.engine for value in view.values(row.measure, phase=row.phase, at=row.at) if value.status == "ok"}
    return [f"{engine} cylinder {cylinder}" for engine, cylinder in sorted(odd) if engine in own]


def worth_finding(view: View, row: Comparison) -> str:
    """What the interval shows of the difference worth finding; "" where none is stated or nothing is tested."""
    worth, untested = view.program.worth_finding, row.procedure in {"borrowed", "lent"}
    if worth is None or untested or row.low is None or row.high is None:
        return ""
    level = 1.0 if row.scale == "ratio" else abs(row.level_reference or 0.0)
    if not level:
        return ""
    zero = none(row)
    less, more = zero - worth * level, zero + worth * level
    of = "" if row.scale == "ratio" else f" of the level with {rings(view, row.reference)}"
    named = f"{words.percent(worth, 1)}{of}, the difference worth finding"
    if row.high <= less or row.low >= more:
        return f"That is at least {named}."
    if row.low > less and row.high < more:
        return f"Either way it is less than {named}."
    if row.high < zero or row.low > zero:
        return f"Whether it is {'less' if row.high < zero else 'more'} by {named}, cannot be told."
    if row.low > less or row.high < more:
        out, open_ = ("less", "more") if row.low > less else ("more", "less")
        return f"It is not {out} by {named}; whether it is {open_} by that cannot be told."
    return f"Neither less nor more by {named}, is excluded."


def short(view: View, row: Comparison) -> str:
    """The finding alone: "After four pulls, the leak area is 18 % less (5 to 30 %; three builds each) with ..."."""
    if row.procedure == RANKS:
        return _ranked(view, row)
    coating, reference = rings(view, row.coating), rings(view, row.reference)
    when = after(view, row)
    start = f"{when}, " if when else ""
    found = estimate(view, row)
    if row.verdict == "cannot tell":
        return words.sentence(
            f"{start}it cannot be told whether {subject(view, row)} differs between {coating} and {reference} "
            f"(95\N{NO-BREAK SPACE}% interval {interval(view, row)}; {scope(row)})."
        )
    than = "as" if found.endswith(TIMES) else "than"
    apart = lacking(view, row) if view.measures[row.measure].fit else []
    if apart:
        start = f"among cylinders on the curve of their engine (not {words.listed(apart)}), {start}"
    out = f"; {left}" if not apart and (left := without(view, row, why=False)) else ""
    told = f"(95\N{NO-BREAK SPACE}% interval {ends(view, row)}; {scope(row)}{out})"
    return words.sentence(f"{start}{subject(view, row)} is {found} {told} with {coating} {than} with {reference}.")


def briefly(view: View, row: Comparison) -> str:
    """The same of another measure, where the coatings have just been named."""
    start = f"{when}, " if (when := after(view, row)) else ""
    if row.verdict == "cannot tell":
        return words.sentence(
            f"{start}of {subject(view, row)} it cannot be told ({interval(view, row)}; {scope(row)})."
        )
    return words.sentence(f"{start}{subject(view, row)} is {estimate(view, row)} ({ends(view, row)}; {scope(row)}).")


def sentence(view: View, row: Comparison) -> str:
    """What a comparison says, with what it rests on, as one or two sentences."""
    coating, reference = rings(view, row.coating), rings(view, row.reference)
    what, when = subject(view, row), after(view, row)
    if row.verdict == "refused":
        return words.sentence(
            f"{what} with {coating} {f'{when} ' if when else ''}is not set against {reference}, because "
            f"{view.why(row.reason)}."
        )
    if row.procedure == RANKS:
        return _ranked(view, row)
    where = " in these engines" if row.scope == "these-engines" else ""
    told = f"95\N{NO-BREAK SPACE}% interval {interval(view, row)}; {rests_on(row)}"
    left_out = without(view, row)
    told += f"; {left_out}" if left_out else ""
    start = f"{when}, " if when else ""
    found = estimate(view, row)
    than = "as" if found.endswith(TIMES) else "than"
    if row.procedure in {"borrowed", "lent"}:
        once = coating if row.builds == 1 else reference
        lenders = "the other coatings' builds"
        if row.procedure == "lent":
            titles = {program.id: program.title for program in view.folder.programs}
            lenders = f"the builds of {words.listed(titles.get(each, each) for each in view.program.scatter_from)}"
        text = (
            f"{start}{what} is {found} with {coating} {than} with {reference} ({told}). "
            f"{words.sentence(once)} were built once, so build and coating cannot be told apart: the scatter is that "
            f"of {lenders}, and this is no test."
        )
    elif row.verdict == "cannot tell":
        text = (
            f"{start}it cannot be told whether {what} differs between {coating} and {reference}{where}: "
            f"{estimate(view, row)} with {coating} ({told})."
        )
    else:
        text = f"{start}{what} is {found} with {coating} {than} with {reference}{where} ({told})."
    worth = worth_finding(view, row)
    text += f" {worth}" if worth else ""
    if row.scope == "these-engines":
        text += " This holds for these engines and this lot of rings; of engines to come it says nothing."
    return words.sentence(text)
