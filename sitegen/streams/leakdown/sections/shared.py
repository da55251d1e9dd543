"""What several page kinds of the leak-down stream say alike. Formats what the steps concluded; computes nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from sitegen.methods.seating import FAR
from sitegen.page import words
from sitegen.page.blocks import Cell, Disc, Plan
from sitegen.page.view import View
from sitegen.program.model import Assembly, Build, Phase
from sitegen.streams.leakdown.history import (
    checked_phases,
    last,
    line,
    mm2,
)
from sitegen.streams.leakdown.measures import (
    CRANKCASE,
    FLOOR,
    PLATEAU,
    SCALE,
    TO_LOSE,
)
from sitegen.streams.leakdown.seating import fit_phases, fit_through
from sitegen.streams.leakdown.states import APART_RULE, BETWEEN_RULE, EARLIER, STATE_RULE
from sitegen.vocabulary import Value, Verdict

SMALL = 0.001  # mm²; leak areas themselves are known to some hundredths
ABOVE = "above the limit"  # certainly not seated; whether it still falls cannot be told
STANDINGS = ("seated", "still seating", "not seated", ABOVE, "cannot tell")


CURVE_CAPTION = (
    "Phases evenly spaced, not to scale of distance. Dotted: up to the first check after a start; assembly oil seals "
    "before it, so cold checks lie on another curve. Open marks: not yet to rely on."
)


def plan_of(view: View, build: Build, me: int = 0) -> Plan:
    """Block plan of a build with the latest leak area and the state of each cylinder; `me` is ringed."""
    discs = []
    for place in build.places:
        point = last(line(view, build, place.cylinder))
        state = view.state(build, place.cylinder)
        word = state.word if state is not None else ""
        number = mm2(point.value.value or 0.0) if point else ""
        said = f"{number} mm²" if point else "no reading"
        discs.append(
            Disc(
                place.cylinder,
                number,
                "mm²" if point else "",
                place.coating,
                word,
                href=view.href_cylinder(build, place.cylinder),
                label=f"{build.id} cylinder {place.cylinder}: {said}{', ' + word if word else ''}",
            )
        )
    one = build.coatings[0] if len(build.coatings) == 1 else ""
    note = "" if one else words.listed([view.coating_title(coating) for coating in build.coatings])
    return Plan(build.id, discs, view.href_engine(build), note, one, me, flywheel(build))


def strips_of(view: View, build: Build) -> Sequence[Plan]:
    """Small block plans of a build, one a phase in which it was checked: the same on its page and on its cylinders'."""

    def found() -> list[Plan]:
        top = max((p.value.value or 0 for place in build.places for p in line(view, build, place.cylinder)), default=0)
        strip = [_strip(view, build, phase, top) for phase in checked_phases(view)]
        return [plan for plan in strip if any(disc.share is not None for disc in plan.discs)]

    return view.the_desk.once(("strips", build.id), found)  # links to cylinders are alike: their pages share a folder


def _strip(view: View, build: Build, phase: Phase, top: float) -> Plan:
    """Small block plan of one phase; the area of a disc is the leak area over `top` [mm2]."""
    discs = []
    for place in build.places:
        value = view.value(CRANKCASE.id, phase.id, engine=build, cylinder=place.cylinder)
        leak = value.value if value is not None and value.status == "ok" else None
        text = mm2(leak) if leak is not None else ""
        discs.append(
            Disc(
                place.cylinder,
                text,
                "mm²",
                place.coating,
                href=view.href_cylinder(build, place.cylinder),
                share=max(leak, 0.0) / top if leak is not None and top > 0 else None,
                label=f"{phase.title}, cylinder {place.cylinder}: {text + ' mm²' if text else 'no value'}",
            )
        )
    return Plan(phase.title, discs, flywheel=flywheel(build))


def flywheel(build: Build) -> Literal["right", "left"]:
    """End of the block plan that carries the flywheel."""
    return "left" if build.engine_type.flywheel == "at the first cylinder" else "right"


def standing(view: View, build: Build, cylinder: int, assembly: Assembly | None = None) -> str:
    """Word of the state of a cylinder; "" where none was concluded."""
    state = view.state(build, cylinder) if assembly is None else state_after(view, build, cylinder, assembly)
    return state.word if state is not None else ""


_UNDECIDED = {"cannot tell": "undecided"}
TALLY = "Seated at the last check, of those told"  # heading of a column of tallies


def tally(view: View, build: Build, coating: str) -> Cell:
    """How many cylinders of a coating are seated of those of which it can be told, and what the others are."""
    own = [standing(view, build, place.cylinder) for place in build.places if place.coating == coating]
    told = [word for word in own if word not in {"", "cannot tell"}]
    others = _tallied([word for word in own if word not in {"", "seated"}])
    notes = [part for part in (others, before_refit(view, build, coating)) if part]
    return Cell(f"{told.count('seated')} of {len(told)}" if told else words.DASH, note="; ".join(notes))


def _tallied(standings: Sequence[str]) -> str:
    counted = Counter(standings)
    return words.listed(
        f"{words.count(counted[word])} {_UNDECIDED.get(word, word)}" for word in STANDINGS if counted[word]
    )


def before_refit(view: View, build: Build, coating: str = "") -> str:
    """What the cylinders of a coating ("": all) were before their rings were refitted, if nothing is told since."""
    if len(build.assemblies) < 2:
        return ""
    own = [p.cylinder for p in build.places if coating in {"", p.coating}]
    own = [number for number in own if standing(view, build, number) == "cannot tell"]
    told = _tallied([standing(view, build, number, build.assemblies[-2]) for number in own])
    return f"before the rings were refitted, {told}; since then not told" if told else ""


def state_after(view: View, build: Build, cylinder: int, assembly: Assembly) -> Verdict | None:
    """State of a cylinder at the last fired check of an assembly."""
    rule = STATE_RULE if assembly is build.assemblies[-1] else STATE_RULE + EARLIER
    for verdict in view.verdicts(rule, engine=build, cylinder=cylinder):
        phase = verdict.key.phase
        if verdict.key.at == assembly.id or (
            phase and build.assembly_of(view.program.phase(phase), view.program) is assembly
        ):
            return verdict
    return None


def to_lose_of(view: View, build: Build, cylinder: int, assembly: Assembly, measure: str = TO_LOSE.id) -> list[Value]:
    """Leak still to lose of a cylinder at the checks of one assembly."""
    return [
        value
        for value in view.values(measure, engine=build, cylinder=cylinder)
        if build.assembly_of(view.program.phase(value.key.phase), view.program) is assembly
    ]


def lose_text(view: View, value: Value | None) -> str:
    """Leak still to lose, in thousandths of a mm²; where all of its interval is as good as nothing, only that."""
    if value is not None and value.status == "below" and value.high is not None and value.high < SMALL:
        return words.below(SMALL)
    if value is None or value.status != "ok" or value.value is None or value.high is None or value.low is None:
        return view.text(value)
    number = words.number
    if value.high < SMALL:
        return f"below {number(SMALL, 3)}"
    if value.value < SMALL:
        return f"at most {number(value.high, 3)}"
    return (
        f"{number(value.value, 3)} ({number(max(value.low, 0.0) if value.value > 0 else value.low, 3)} to "
        f"{number(value.high, 3)})"
    )


@dataclass(frozen=True)
class Checks:
    """Fired checks of an assembly, as the seating curve counts them."""

    count: int  # of those in the curve
    left: tuple[str, ...]  # why each of the others is not, a clause each


def checks_of(view: View, build: Build, assembly: Assembly, coating: str) -> Checks:
    """How many checks the curve holds, by the fit's own count where it says one, and why others are not in it."""
    fitted = {phase.id for phase in fit_phases(view.program, build, assembly)}
    used: list[tuple[Phase, list[int]]] = []
    why: list[tuple[str, str, str]] = []  # title of the phase, and what is said of one and of several
    cylinders = [place.cylinder for place in build.places if place.coating == coating]
    for phase in view.program.phases_of(build):
        if not phase.fires or "leakdown" not in phase.records or build.assembly_of(phase, view.program) is not assembly:
            continue
        values = [view.value(CRANKCASE.id, phase.id, engine=build, cylinder=number) for number in cylinders]
        flags = frozenset().union(*(value.flags for value in values if value is not None))
        known = [value for value in values if value is not None and value.value is not None]
        if build.is_due(phase.id):
            why.append((phase.title, "is still to come", "are still to come"))
        elif not known:
            why.append((phase.title, "has no value", "have no value"))
        elif phase.id not in fitted and phase.order > fit_through(view.program):
            why.append((phase.title, *_past_the_end(view)))
        elif phase.id not in fitted:
            why.append(("", f"{phase.title} is not {'warm' if phase.condition == 'cold' else 'cold'} as the first", ""))
        elif "other-tester" in flags:
            why.append((phase.title, "was read with another tester", "were read with another tester"))
        elif "repeats-disagree" in flags:
            odd = [value.key.cylinder for value in known if "repeats-disagree" in value.flags]
            noun = words.plural(len(odd), "cylinder")
            why.append(("", f"at {phase.title} the repeats of {noun} {words.numbers_listed(odd)} disagree", ""))
        else:
            here = {value.key.cylinder for value in known}
            used.append((phase, [number for number in cylinders if number not in here]))
    scale = scale_of(view, build, assembly, coating)
    count = scale.n if scale is not None and scale.of == "check" else len(used)
    if count < len(used):  # a curve holds the checks that every cylinder has
        for phase, absent in used:
            of = f"no value of {words.plural(len(absent), 'cylinder')} {words.numbers_listed(absent)}"
            why += [(phase.title, f"has {of}", f"have {of}")] if absent else []
    return Checks(count, tuple(_gathered(why)))


def _gathered(why: Sequence[tuple[str, str, str]]) -> list[str]:
    """Clauses, a clause for all phases of which the same is said.

    >>> _gathered([("run-in", "has no value", "have no value"), ("pulls", "has no value", "have no value")])
    ['run-in and pulls have no value']
    """
    titles: dict[tuple[str, str], list[str]] = {}
    for title, one, many in why:
        titles.setdefault((one, many), []).append(title)
    return [
        one if not each[0] else f"{words.listed(each)} {one if len(each) == 1 else many}"
        for (one, many), each in titles.items()
    ]


def _past_the_end(view: View) -> tuple[str, str]:
    """Why checks after the last phase of the curve are not in it, and what would let them in: of one, of several."""
    if last := view.program.seating.fit_through:
        where = f"after {view.program.phase(last).title}, where “fit_through” of the program file ends the curve"
        return f"comes {where}", f"come {where}"
    where = (
        "not come before the durability runs, where a curve ends unless “fit_through” of the program file lets it go on"
    )
    return f"does {where}", f"do {where}"


def scale_of(view: View, build: Build, assembly: Assembly, coating: str) -> Value | None:
    """The seating distance of one coating in one assembly, or why there is none."""
    return next(iter(view.values(SCALE.id, engine=build, at=assembly.id, coating=coating)), None)


def apart(view: View, build: Build, assembly: Assembly, coating: str) -> list[int]:
    """Cylinders that seat on a distance of their own and are not in the common curve."""
    plateaus = view.values(PLATEAU.id, engine=build, at=assembly.id, coating=coating)
    return [value.key.cylinder for value in plateaus if value.reason == "own-scale"]


def floor_of(view: View, build: Build, cylinder: int) -> Value | None:
    """What the ring gaps of a cylinder alone would leak, from its first build sheet."""
    values = view.values(FLOOR, engine=build, cylinder=cylinder)
    return min(values, key=lambda v: view.program.phase(v.key.phase).order) if values else None


def last_value(view: View, measure: str, build: Build, cylinder: int, assembly: Assembly) -> Value | None:
    """The value of a cylinder at the latest phase of an assembly that has one."""
    values = [
        v
        for v in view.values(measure, engine=build, cylinder=cylinder, at="")
        if v.value is not None and build.assembly_of(view.program.phase(v.key.phase), view.program) is assembly
    ]
    return max(values, key=lambda v: view.program.phase(v.key.phase).order) if values else None


def why_open(view: View, build: Build, reason: str, cylinders: Sequence[int]) -> str:
    """Why the state of some cylinders of a build cannot be told, with the numbers it rests on."""
    if reason in {"checks-close", "fell-between", "grew-between"}:
        return _two_checks(view, build, reason, cylinders)
    if reason not in {"few-checks", "one-check"}:
        return view.why(reason)
    assembly = build.assemblies[-1]
    checks = checks_of(view, build, assembly, build.coatings[0])
    since = " since the rings were refitted" if len(build.assemblies) > 1 else ""
    if reason == "one-check" and checks.count != 1:
        return view.why(reason)
    needs = "four, or two far apart, are needed" if reason == "one-check" else "a curve needs four"
    text = f"{words.counted(checks.count, 'check')}{since} where {needs}"
    return f"{text} ({words.listed(checks.left)})" if checks.left else text


def _two_checks(view: View, build: Build, reason: str, cylinders: Sequence[int]) -> str:
    """Why two checks of some cylinders do not tell their state: how far apart they are, or what changed in between."""
    rule = APART_RULE if reason == "checks-close" else BETWEEN_RULE
    told = [v for v in view.verdicts(rule, engine=build) if v.key.cylinder in cylinders and v.found is not None]
    if not told:
        return view.why(reason)
    found = [abs(verdict.found or 0.0) for verdict in told]
    if reason == "checks-close":
        apart = words.from_to(words.number(min(found), 1), words.number(max(found), 1))
        far = words.count(round(FAR))
        return (
            f"checks {apart} times the longest seating distance to reckon with apart; without a curve {far} are needed"
        )
    went = "fell" if reason == "fell-between" else "grew"
    moved = words.with_unit(words.from_to(mm2(min(found)), mm2(max(found))), "mm²")
    return f"{view.why(reason)}, by {moved}" if went == "grew" else f"the leak area fell by {moved} between its checks"


def none_because(view: View, value: Value | None) -> str:
    """Why a cell holds no number; "" where it holds one or says so itself."""
    return view.why(value.reason) if value is not None and value.status == "refused" else ""
