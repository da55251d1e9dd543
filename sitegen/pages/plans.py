"""The block plan of a build: its cylinders as they sit, each with its latest number and its state."""

from __future__ import annotations

from sitegen.page import words
from sitegen.page.blocks import MARKS, Disc, Plan
from sitegen.page.view import View
from sitegen.program.model import Build
from sitegen.vocabulary import Value

CAPTION = "Number: latest {what}. "


def latest(view: View, measure: str, build: Build, cylinder: int) -> Value | None:
    """The value of the last phase that has one, in plan order."""
    phases = {phase.id: phase.order for phase in view.program.phases}
    found = [
        value
        for phase in sorted(phases, key=lambda each: phases[each])
        if (value := view.value(measure, phase, engine=build, cylinder=cylinder)) is not None
        and value.status in {"ok", "below"}
    ]
    return found[-1] if found else None


def plan_of(view: View, build: Build, me: int = 0, *, linked: bool = True) -> Plan:
    """The block plan of one build for the page of `view`."""
    measure = view.program.primary_measure
    unit = view.measures[measure].unit if measure in view.measures else ""
    discs = []
    for place in build.places:
        value = latest(view, measure, build, place.cylinder)
        state = view.state(build, place.cylinder)
        text = words.value_text(value, interval=False) if value is not None else ""
        word = state.word if state else ""
        discs.append(
            Disc(
                cylinder=place.cylinder,
                text=text.replace("below ", "<"),
                unit=unit if text else "",
                coating=place.coating,
                word=word,
                href="" if place.cylinder == me else view.href_cylinder(build, place.cylinder),
                label=", ".join(
                    part
                    for part in (
                        f"{build.id} cylinder {place.cylinder}",
                        words.with_unit(text, unit) if text else "no number yet",
                        word,
                        view.coating_title(place.coating) if not view.folder.blind else "",
                    )
                    if part
                ),
            )
        )
    coatings = build.coatings
    held = view.coating_title(coatings[0]) if len(coatings) == 1 else f"{words.count(len(coatings))} coatings"
    return Plan(
        title=build.id,
        discs=discs,
        href=view.href_engine(build) if linked else "",
        note=held if not view.folder.blind else "",
        coating=coatings[0] if len(coatings) == 1 else "",
        me=me,
        flywheel="right" if build.engine_type.flywheel == "at the last cylinder" else "left",
    )


def caption(view: View) -> str:
    """What the numbers and marks of a block plan mean."""
    measure = view.measures.get(view.program.primary_measure)
    what = CAPTION.format(what=measure.title[:1].lower() + measure.title[1:] if measure else "value")
    return f"{what}{'' if view.folder.blind else 'Colour: its coating. '}{MARKS}"


def heading(view: View, build: Build) -> tuple[str, str]:
    """How many cylinders of a build are seated, and which are not and what they are instead: two parts of one line."""
    found: dict[str, list[int]] = {}
    for place in build.places:
        state = view.state(build, place.cylinder)
        found.setdefault(state.word if state else "", []).append(place.cylinder)
    whole = len(build.places)
    seated = found.pop("seated", [])
    if len(seated) == whole:
        return f"{words.share(whole, whole, 'cylinder')} seated", ""
    told = [_standing(word, found[word]) for word in (*ORDER, "") if word in found]
    if seated:
        return f"{words.counted(len(seated), 'cylinder')} seated", ", ".join(told)
    if set(found) <= {"", "cannot tell"}:
        return "it cannot be told whether its cylinders are seated", ""
    return told[0], ", ".join(told[1:])


def _standing(word: str, cylinders: list[int]) -> str:
    """ "cylinder 2 still seating", "cylinders 1 and 3 cannot be told"."""
    of = f"{words.plural(len(cylinders), 'cylinder')} {words.numbers_listed(cylinders)}"
    return f"{of} cannot be told" if word in {"", "cannot tell"} else f"{of} {word}"


ORDER = ("still seating", "not seated", "above the limit", "cannot tell")


def states_sentence(view: View) -> str:
    """How many cylinders are in which state, for the builds looked at."""
    counts: dict[str, int] = {}
    total = 0
    for build in view.builds:
        for place in build.places:
            total += 1
            state = view.state(build, place.cylinder)
            if state:
                counts[state.word] = counts.get(state.word, 0) + 1
    if not counts:
        return "No state has been concluded for any cylinder yet." if total else ""
    order = ("seated", "still seating", "not seated", "above the limit", "cannot tell")
    named = [(word, counts[word]) for word in order if word in counts]
    if len(named) == 1 and named[0][1] == total:
        word = named[0][0]
        every = words.share(total, total, "cylinder")
        return words.sentence(
            f"of {every} it cannot be told yet."
            if word == "cannot tell"
            else f"{every} {words.are(total, total)} {word}."
        )
    told = [f"{words.count(n)} {words.are(n, n)} {word}" for word, n in named if word != "cannot tell"]
    if rest := total - sum(n for word, n in named if word != "cannot tell"):
        told.append(f"of {words.count(rest)} it cannot be told")
    return f"Of {words.counted(total, 'cylinder')}, {words.listed(told)}."
