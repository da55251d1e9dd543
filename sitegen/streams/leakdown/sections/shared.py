"""What several page kinds of the leak-down stream say alike. Formats what the steps concluded; computes nothing."""

from __future__ import annotations

from collections import Counter
from typing import Any, Literal

from sitegen.streams.leakdown.history import (
    last,
    line,
    mm2,
)
from sitegen.streams.leakdown.measures import (
    CRANKCASE,
    FLOOR,
    PLATEAU,
    TO_LOSE,
)
from sitegen.streams.leakdown.seating import EARLIER, STATE_RULE
from sitegen.vocabulary import (
    Disc,
    Plan,
    Value,
)

SMALL = 0.001  # mm²; leak areas themselves are known to some hundredths
STATE_ORDER = ("seated", "still seating", "not seated", "cannot tell")


CURVE_CAPTION = (
    "Effective leak area to the crankcase in mm², by phase, with the sliding distance at its end. Phases evenly "
    "spaced, not to scale of distance. Dotted: up to the first check after a start; assembly oil seals before it, so "
    "cold checks lie on another curve. Open marks: not yet to rely on."
)


def plan_of(view: Any, build: Any, me: int = 0) -> Plan:
    """Block plan of a build with the latest leak area and the state of each cylinder; `me` is ringed."""
    discs = []
    for place in build.places:
        point = last(line(view, build, place.cylinder))
        state = view.state(build, place.cylinder)
        word = state.word if state is not None else ""
        number = mm2(view, point.value.value or 0.0) if point else ""
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
    note = "" if one else view.words.listed([view.coating_title(coating) for coating in build.coatings])
    return Plan(build.id, discs, view.href_engine(build), note, one, me, flywheel(build))


def strip_of(view: Any, build: Any, phase: Any, top: float, me: int = 0) -> Plan:
    """Small block plan of one phase; the area of a disc is the leak area over `top` [mm2]."""
    discs = []
    for place in build.places:
        value = view.value(CRANKCASE.id, phase.id, engine=build, cylinder=place.cylinder)
        known = value is not None and value.status == "ok" and value.value is not None
        text = mm2(view, value.value) if known else ""
        discs.append(
            Disc(
                place.cylinder,
                text,
                "mm²",
                place.coating,
                href=view.href_cylinder(build, place.cylinder),
                share=max(value.value, 0.0) / top if known and top > 0 else None,
                label=f"{phase.title}, cylinder {place.cylinder}: {text + ' mm²' if known else 'no value'}",
            )
        )
    return Plan(phase.title, discs, me=me, flywheel=flywheel(build))


def flywheel(build: Any) -> Literal["right", "left"]:
    """End of the block plan that carries the flywheel."""
    return "left" if build.engine_type.flywheel == "at the first cylinder" else "right"


def tally(view: Any, build: Any, coating: str) -> str:
    """How many cylinders of a coating are in which state."""
    states = [view.state(build, place.cylinder) for place in build.places if place.coating == coating]
    counted = Counter(state.word for state in states if state is not None)
    return str(view.words.listed([f"{counted[word]} {word}" for word in STATE_ORDER if counted[word]]))


def before_refit(view: Any, build: Any, coating: str) -> str:
    """What the cylinders were before their rings were last disturbed."""
    if len(build.assemblies) < 2:
        return ""
    before = [state_after(view, build, p.cylinder, build.assemblies[-2]) for p in build.places if p.coating == coating]
    counted = Counter(state.word for state in before if state is not None)
    told = view.words.listed([f"{counted[word]} {word}" for word in STATE_ORDER if counted[word]])
    return f"{told} before the rings were disturbed" if told else ""


def state_after(view: Any, build: Any, cylinder: int, assembly: Any) -> Any:
    """State of a cylinder at the last fired check of an assembly."""
    rule = STATE_RULE if assembly is build.assemblies[-1] else STATE_RULE + EARLIER
    for verdict in view.verdicts(rule, engine=build, cylinder=cylinder):
        phase = verdict.key.phase
        if verdict.key.at == assembly.id or (
            phase and build.assembly_of(view.program.phase(phase), view.program) is assembly
        ):
            return verdict
    return None


def to_lose_of(view: Any, build: Any, cylinder: int, assembly: Any) -> list[Value]:
    """Leak still to lose of a cylinder at the checks of one assembly."""
    return [
        value
        for value in view.values(TO_LOSE.id, engine=build, cylinder=cylinder)
        if build.assembly_of(view.program.phase(value.key.phase), view.program) is assembly
    ]


def lose_text(view: Any, value: Value | None) -> str:
    """Leak still to lose, in thousandths of a mm²; where all of its interval is as good as nothing, only that."""
    if value is None or value.status != "ok" or value.value is None or value.high is None or value.low is None:
        return str(view.text(value))
    number = view.words.number
    if value.high < SMALL:
        return f"below {number(SMALL, 3)}"
    if value.value < SMALL:
        return f"at most {number(value.high, 3)}"
    return (
        f"{number(value.value, 3)} ({number(max(value.low, 0.0) if value.value > 0 else value.low, 3)} to "
        f"{number(value.high, 3)})"
    )


def unused_checks(view: Any, build: Any, assembly: Any, coating: str) -> tuple[list[str], list[str]]:
    """Fired checks of an assembly: titles of those in the seating curve, and why each of the others is not."""
    used, why = [], []
    cylinders = [place.cylinder for place in build.places if place.coating == coating]
    for phase in view.program.phases_of(build):
        if not phase.fires or "leakdown" not in phase.records or build.assembly_of(phase, view.program) is not assembly:
            continue
        values = [view.value(CRANKCASE.id, phase.id, engine=build, cylinder=number) for number in cylinders]
        flags = frozenset().union(*(value.flags for value in values if value is not None))
        known = [value for value in values if value is not None and value.value is not None]
        if build.is_due(phase.id):
            why.append(f"{phase.title} is still to come")
        elif not known:
            why.append(f"{phase.title} has no value")
        elif "other-tester" in flags:
            why.append(f"{phase.title} was read with another tester")
        elif "repeats-disagree" in flags:
            odd = [value.key.cylinder for value in known if "repeats-disagree" in value.flags]
            noun = view.words.plural(len(odd), "cylinder")
            why.append(f"at {phase.title} the repeats of {noun} {view.words.numbers_listed(odd)} disagree")
        else:
            used.append(phase.title)
    return used, why


def apart(view: Any, build: Any, assembly: Any, coating: str) -> list[int]:
    """Cylinders that seat on a distance of their own and are not in the common curve."""
    plateaus = view.values(PLATEAU.id, engine=build, at=assembly.id, coating=coating)
    return [value.key.cylinder for value in plateaus if value.reason == "own-scale"]


def floor_of(view: Any, build: Any, cylinder: int) -> Value | None:
    """What the ring gaps of a cylinder alone would leak, from its first build sheet."""
    values = view.values(FLOOR, engine=build, cylinder=cylinder)
    return min(values, key=lambda v: view.program.phase(v.key.phase).order) if values else None


def last_value(view: Any, measure: str, build: Any, cylinder: int, assembly: Any) -> Value | None:
    """The value of a cylinder at the latest phase of an assembly that has one."""
    values = [
        v
        for v in view.values(measure, engine=build, cylinder=cylinder, at="")
        if v.value is not None and build.assembly_of(view.program.phase(v.key.phase), view.program) is assembly
    ]
    return max(values, key=lambda v: view.program.phase(v.key.phase).order) if values else None


def the(title: str) -> str:
    """A phase inside a sentence."""
    return f"the {title}"


def why_open(view: Any, build: Any, reason: str) -> str:
    """Why a state cannot be told, with the checks that do not count where they are too few."""
    if reason != "few-checks":
        return str(view.why(reason))
    assembly = build.assemblies[-1]
    used, why = unused_checks(view, build, assembly, build.coatings[0])
    since = " since the rings were refitted" if len(build.assemblies) > 1 else ""
    text = f"{view.words.counted(len(used), 'check')}{since} where a curve needs four"
    return f"{text} ({view.words.listed(why)})" if why else text
