"""What moved between two states, in words for a terminal and a page, and as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass

from sitegen.changing.compared import Compared, Reason
from sitegen.changing.states import NOW
from sitegen.page import words
from sitegen.program.model import Program
from sitegen.results.moves import Move
from sitegen.vocabulary import Measure

MOST = 25  # rows under a heading told one by one; the JSON has all
ARROW = "→"
GROUPS = (("Answers and states", "verdicts.csv"), ("Comparisons", "comparisons.csv"), ("Values", "measures.csv"))


@dataclass(frozen=True)
class Titles:
    """How a program names what its results are about."""

    program: Program
    measures: Mapping[str, Measure]

    def what(self, move: Move) -> str:
        """What a row is: "Leak area to the crankcase", "Leak area after the pulls" of a criterion."""
        measure = self.measures.get(move.what)
        if measure is not None:
            unit = f", {measure.unit}" if measure.unit != "1" and move.table == "measures.csv" else ""
            return f"{words.sentence(measure.title)}{unit}"
        rule, _, name = move.what.partition(":")
        criterion = next((each for each in self.program.criteria if each.id == name), None)
        if criterion is not None:
            return f"{criterion.title} ({rule.replace('-', ' ')})"
        return words.sentence(move.what.replace(".", ", ").replace("-", " ").replace("_", " "))

    def about(self, move: Move) -> str:
        """What it is about: "B6, cylinder 2, four pulls"."""
        key = move.key
        coatings = self.program.definitions.coatings
        coating = coatings[key.coating].title if key.coating in coatings else key.coating
        at = self.measures[key.at].title if key.at in self.measures else key.at
        parts = [key.engine, f"cylinder {key.cylinder}" if key.cylinder else "", "" if key.engine else coating,
                 self.phase(key.phase), at]  # fmt: skip
        return ", ".join(part for part in parts if part) or "the program"

    def phase(self, name: str) -> str:
        known = {phase.id: phase.title for phase in self.program.phases}
        return known.get(name, name)


def groups(found: Compared) -> Iterable[tuple[str, Sequence[Move]]]:
    """What moved, under the headings it is told under."""
    for title, table in GROUPS:
        own = [move for move in found.moved if move.table == table]
        if own:
            yield title, own


def headline(found: Compared) -> str:
    """In one sentence what moved."""
    words_ = sum(move.table != "measures.csv" and move.words[0] != move.words[1] for move in found.moved)
    limits = sum(move.table == "verdicts.csv" and move.words[0] == move.words[1] for move in found.moved)
    values = len(found.moved) - words_ - limits
    parts = [words.counted(words_, "word of an answer", "words of answers")] if words_ else []
    parts += [words.counted(limits, "limit")] if limits else []
    parts += [words.counted(values, "value beyond its interval", "values beyond their intervals")] if values else []
    if not parts:
        return "Nothing moved beyond its interval, and no answer reads otherwise."
    return f"Moved: {words.listed(parts)}."


def sides(found: Compared) -> str:
    """Which two states these are."""

    def one(name: str, results: str, day: str) -> str:
        when = f", records until {words.day(day)}" if day else ""
        return f"{'as it lies here now' if name == NOW else name} (results {results}{when})"

    return " → ".join(one(*each) for each in zip((found.old, found.new), found.results, found.days, strict=True))


def reasons(found: Compared, move: Move) -> str:
    """Why a row moved, every change that moved it."""
    why = [" with ".join(found.reasons[n].what) for n in found.because[move.where]]
    return "; ".join(why) or "changes that took each other back"


def effect(reason: Reason) -> str:
    """How much a change moved."""
    return words.counted(reason.moved, "result") if reason.moved else "nothing"


def counts(found: Compared, titles: Titles) -> list[str]:
    """Sentences about rows that are new or gone, and about what moved within its interval."""
    said = []
    for which, rows in (("New", found.added), ("Gone", found.gone)):
        places: dict[str, int] = {}
        for (_, engine, phase), count in rows.items():
            place = ", ".join(filter(None, (engine, titles.phase(phase)))) or "the program as a whole"
            places[place] = places.get(place, 0) + count
        if places:
            told = [f"{place}: {words.counted(count, 'result')}" for place, count in places.items()]
            more = f"; and {words.counted(len(told) - MOST_PLACES, 'place')} more" if len(told) > MOST_PLACES else ""
            said.append(f"{which}: {'; '.join(told[:MOST_PLACES])}{more}.")
    if found.within:
        said.append(f"{words.sentence(words.counted(found.within, 'result'))} moved within "
                    f"{words.plural(found.within, 'its interval', 'their intervals')}.")  # fmt: skip
    if found.loose:
        said.append(f"{words.sentence(words.counted(found.loose, 'number'))} without an interval moved.")
    return said


MOST_PLACES = 6


def as_text(found: Compared, titles: Titles) -> str:
    """For a terminal."""
    said = [f"{found.program}: {sides(found)}", headline(found)]
    for title, own in groups(found):
        said += ["", title]
        for move in own[:MOST]:
            said.append(f"  {titles.what(move)}: {titles.about(move)}")
            said.append(f"    {move.told(move.old) or words.DASH} {ARROW} {move.told(move.new) or words.DASH}")
            said.append(f"    because of {reasons(found, move)}")
        if len(own) > MOST:
            said.append(f"  and {len(own) - MOST} more (--format json has all)")
    said += ["", *counts(found, titles)] if counts(found, titles) else []
    if found.reasons:
        said += ["", "What was changed, and what it moved"]
        said += [f"  {' with '.join(reason.what)}: {effect(reason)}" for reason in found.reasons]
    said += ["", *found.notes] if found.notes else []
    return "\n".join(said).replace("\N{NO-BREAK SPACE}", " ")


def as_json(every: Sequence[Compared]) -> str:
    """Everything, for other programs."""

    def one(found: Compared) -> dict[str, object]:
        return {
            "program": found.program,
            "from": {"revision": found.old, "results": found.results[0], "as_of": found.days[0]},
            "to": {"revision": found.new, "results": found.results[1], "as_of": found.days[1]},
            "moved": [
                {
                    "table": move.table, "what": move.what, **move.key._asdict(), "before": dict(move.old),
                    "after": dict(move.new), "because": list(found.because[move.where]),
                }
                for move in found.moved
            ],
            "within": found.within,
            "without_interval": found.loose,
            "new": [_place(key, count) for key, count in found.added.items()],
            "gone": [_place(key, count) for key, count in found.gone.items()],
            "changes": [asdict(reason) for reason in found.reasons],
            "notes": list(found.notes),
        }  # fmt: skip

    return json.dumps({"format": 1, "programs": [one(each) for each in every]}, indent=1, ensure_ascii=False)


def _place(key: tuple[str, str, str], count: int) -> dict[str, object]:
    return {**dict(zip(("table", "engine", "phase"), key, strict=True)), "rows": count}
