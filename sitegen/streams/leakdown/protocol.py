"""What of a reading lies outside the protocol of the program: such a reading is kept apart, in another condition.

Judged is what was recorded. What the program states no window for is taken as it comes, but for two limits that tell a
warm engine from a cold one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sitegen.page.words import listed, number
from sitegen.program.model import LeakdownRule, Window
from sitegen.streams.leakdown.fields import Reading
from sitegen.tables.rows import given

# Where the program states none; common practice, no source. An engine run to its working temperature stays above 40 °C
# for an hour or two, and no cell is kept above it. Lock and approach differ between good cells, and a lock is not to be
# had for every engine: without a statement they set no reading apart.
METAL = {"warm": Window(low=313.15), "cold": Window(high=313.15)}  # K
STILL_WARM = Window(high=7200.0)  # s since the stop: only where nothing says how warm the metal was


@dataclass(frozen=True)
class Outside:
    """One thing in which a reading lies outside the protocol."""

    at: str  # part of the place its value stands at
    field: str
    what: str  # a clause: "the metal was at 25 °C"
    expected: str


@dataclass(frozen=True)
class _Ranged:
    """A number the protocol gives a range for, and how it is told."""

    name: str
    field: str
    clause: str  # with {} for the number
    unit: str
    scale: float = 1.0  # of the unit in SI
    zero: float = 0.0  # of the unit's scale in SI

    def told(self, value: float) -> str:
        shown = (value - self.zero) / self.scale
        return number(shown, 0 if abs(shown - round(shown)) < 0.05 else 1)

    def window(self, window: Window) -> str:
        low, high = (None if end is None else self.told(end) for end in (window.low, window.high))
        if low is not None and high is not None:
            return f"{low} to {high} {self.unit}"
        return f"at least {low} {self.unit}" if high is None else f"at most {high} {self.unit}"

    def outside(self, value: float, window: Window) -> Outside | None:
        """Judged to a thousandth of the unit, so that a number on the edge in another unit is inside."""
        if not given(value) or window.holds(value, 1e-3 * self.scale):
            return None
        side = "above" if window.low is None or value > window.low else "below"
        return Outside(f"{self.name}-{side}", self.field, self.clause.format(self.told(value)), self.window(window))


_METAL = _Ranged("metal", "metal_temperature", "the metal was at {} °C", "°C", zero=273.15)
_SINCE = _Ranged("since-stop", "since_shutdown", "it was read {} min after the stop", "min after the stop", 60.0)
_WAIT = _Ranged("wait", "wait", "it was read {} s after the air was opened", "s after the air was opened")
_TURNS = _Ranged("turns", "turns", "the crankshaft had made {} turns since the test before", "turns")
_LOCKED = {"yes": "the crankshaft was locked", "no": "the crankshaft was not locked"}
_APPROACHED = {
    "running-direction": "in the running direction",
    "turned-back-half-turn": "by turning back half a turn and coming again",
    "other": "in another way",
}
ASKED = {  # what the program asks where a record is silent, by field
    "metal_temperature": "how warm the metal was",
    "since_shutdown": "how long ago the engine was stopped",
    "locked": "whether the crankshaft was locked",
    "approached": "how the crank position was reached",
    "turns": "how often the crankshaft was turned since the test before",
    "wait": "how long the air was on",
}
_REACHED = "the crank position was reached"


def own_state(row: Reading, state: str) -> str:
    """Temperature state a reading is judged in: its own where it says one, else that of its phase."""
    return row.condition if isinstance(row.condition, str) else state


def _ways(rule: LeakdownRule) -> str:
    return listed([_APPROACHED[each] for each in rule.approached], "or")


def outside(rule: LeakdownRule, state: str, row: Reading) -> list[Outside]:
    """What of a reading of a cylinder lies outside the protocol; `state` is the temperature state of its phase."""
    own = own_state(row, state)
    found: list[Outside | None] = []
    if window := rule.metal.get(own) or METAL.get(own):
        found.append(_METAL.outside(row.metal_temperature, window))
    since = rule.since_stop or (None if given(row.metal_temperature) else STILL_WARM)
    if own == "warm" and since is not None:
        found.append(_SINCE.outside(row.since_shutdown, since))
    if rule.wait is not None:
        found.append(_WAIT.outside(row.wait, rule.wait))
    if rule.turns is not None:
        found.append(_TURNS.outside(row.turns, rule.turns))
    apart = [each for each in found if each is not None]
    if rule.locked is not None and isinstance(row.locked, str) and (row.locked == "yes") != rule.locked:
        wanted = "a crankshaft that is locked" if rule.locked else "a crankshaft that is not locked"
        apart.append(Outside("locked" if row.locked == "yes" else "not-locked", "locked", _LOCKED[row.locked], wanted))
    if rule.approached and isinstance(row.approached, str) and row.approached not in rule.approached:
        what = f"{_REACHED} {_APPROACHED[row.approached]}"
        apart.append(Outside(f"approached:{row.approached}", "approached", what, _ways(rule)))
    return apart


def asked_for(rule: LeakdownRule) -> list[str]:
    """What the protocol of the program asks for, a clause each: stands on the sheet that is filled in."""
    said = [f"{state} metal {_METAL.window(window)}" for state, window in {**METAL, **rule.metal}.items()]
    if rule.since_stop is not None:
        said.append(f"warm readings {_SINCE.window(rule.since_stop)}")
    if rule.locked is not None:
        said.append("crankshaft locked with what its maker provides" if rule.locked else "crankshaft not locked")
    if rule.approached:
        said.append(f"crank position reached {_ways(rule)}")
    if rule.turns is not None:
        said.append(f"{_TURNS.window(rule.turns)} of the crankshaft since the test before")
    if rule.wait is not None:
        said.append(f"read {_WAIT.window(rule.wait)}")
    return said


def asked_beside(rule: LeakdownRule, state: str) -> dict[str, str]:
    """The same in short by field, for the head of its column; `state`: temperature state of the phase, "" not known.

    What is not stated, and judged all the same, is among it.
    """
    metal = {**METAL, **rule.metal}
    said = {"metal_temperature": "; ".join(
        window if each == state else f"{each} {window}"
        for each, own in metal.items() if state in {"", each} for window in [_METAL.window(own)]
    )}  # fmt: skip
    if rule.since_stop is not None and state != "cold":
        said["since_shutdown"] = _SINCE.window(rule.since_stop)
    if rule.locked is not None:
        said["locked"] = "yes" if rule.locked else "no"
    if rule.approached:
        said["approached"] = listed([each.replace("-", " ") for each in rule.approached], "or")
    for name, ranged, window in (("turns", _TURNS, rule.turns), ("wait", _WAIT, rule.wait)):
        if window is not None:
            said[name] = ranged.window(window)
    return said


def not_recorded(rule: LeakdownRule, state: str, row: Reading) -> list[str]:
    """Fields that the program's protocol asks for and a reading of a cylinder does not say."""
    own = own_state(row, state)
    asked = {
        "metal_temperature": own in rule.metal,
        "since_shutdown": rule.since_stop is not None and own == "warm",
        "locked": rule.locked is not None,
        "approached": bool(rule.approached),
        "turns": rule.turns is not None,
        "wait": rule.wait is not None,
    }
    return [name for name, needed in asked.items() if needed and not given(getattr(row, name))]


def unlike(rule: LeakdownRule, rows: Sequence[Reading]) -> list[tuple[Reading, str, str]]:
    """Where the program states nothing: readings that say otherwise than others of their build, with field and clause.

    One way of locking and of reaching the position belongs to one curve, whichever it is.
    """
    found = []
    asked = (
        ("locked", rule.locked is None, "no", _LOCKED["no"]),
        ("approached", not rule.approached, "other", f"{_REACHED} {_APPROACHED['other']}"),
    )
    for name, silent, odd, clause in asked:
        said: dict[str, set[str]] = {}
        for row in rows:
            if isinstance(word := getattr(row, name), str):
                said.setdefault(row.engine, set()).add(word)
        found += [
            (row, name, clause) for row in rows if silent and getattr(row, name) == odd and len(said[row.engine]) > 1
        ]
    return found
