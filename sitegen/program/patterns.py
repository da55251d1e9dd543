"""Names with braces: which files, or worksheets, a pattern means, and which ids their names say.

`logs/{engine}_{phase}_*.csv`: in braces an id or a word that means one, `*` anything within a name.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from sitegen.problems import nearest
from sitegen.program.words import compared

_PART = re.compile(r"\{([^{}/]*)\}|(\*)|([^{}*]+)|([{}])")
Given = Mapping[str, str]  # field -> id
Names = Mapping[str, Mapping[str, str]]  # field -> way it is written, as compared -> id


class PatternFault(Exception):  # noqa: N818 - an answer for the user, not a fault of ours
    """Why a text is no pattern, as a clause after its name, what was expected, and the nearest."""

    def __init__(self, what: str, expected: str, near: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.expected = expected
        self.near = near


@dataclass(frozen=True)
class Unknown:
    """A name that fits but for an id."""

    field: str
    text: str
    near: str


@dataclass(frozen=True)
class Pattern:
    """A text cut into what stands as it is, "*", and the fields in braces."""

    parts: tuple[tuple[str, str], ...]  # ("text", as compared), ("any", ""), ("field", name)

    @property
    def fields(self) -> tuple[str, ...]:
        return tuple(text for kind, text in self.parts if kind == "field")

    def fit(self, name: str, known: Names) -> Given | Unknown | None:
        """What a name says; None where it does not fit. Raises PatternFault where it says it in two ways."""
        text = compared(name)
        ways = sorted(set(self._ways(text, known, frozenset())))
        if len(ways) > 1:
            told = [", ".join(f"{field} {known[field][said]}" for field, said in way) for way in ways[:2]]
            raise PatternFault(f"can be read in two ways: {told[0]}; {told[1]}", "a pattern that leaves one way")
        if ways:
            return {field: known[field][said] for field, said in ways[0]}
        for free in (*({each} for each in self.fields), set(self.fields)):  # one that is not known, else all
            fitting = sorted(self._ways(text, known, frozenset(free)), key=lambda way: [len(said) for _, said in way])
            found = [(field, said) for way in fitting for field, said in way if said not in known[field]]
            unknown = [Unknown(field, _written(name, said), _near(said, known[field])) for field, said in found]
            if unknown:
                apart = [each for each in unknown if _stands_apart(name, each.text)] or unknown
                return next((each for each in apart if each.near), apart[0])
        return None

    def _ways(self, name: str, known: Names, free: frozenset[str]) -> Iterable[tuple[tuple[str, str], ...]]:
        """Every way to read a name: the fields with what is written for them. Those that are `free` may be anything."""

        @cache
        def rest(part: int, at: int) -> frozenset[tuple[tuple[str, str], ...]]:
            if part == len(self.parts):
                return frozenset({()}) if at == len(name) else frozenset()
            kind, text = self.parts[part]
            if kind == "text":
                return rest(part + 1, at + len(text)) if name.startswith(text, at) else frozenset()
            slash = name.find("/", at)
            last = len(name) if slash < 0 else slash
            if kind == "any":
                return frozenset().union(*(rest(part + 1, end) for end in range(at, last + 1)))
            ends = (
                range(at + 1, last + 1)
                if text in free
                else [at + len(each) for each in known[text] if "/" not in each and name.startswith(each, at)]
            )
            return frozenset(((text, name[at:end]), *more) for end in sorted(set(ends)) for more in rest(part + 1, end))

        return rest(0, 0)


def _near(said: str, known: Mapping[str, str]) -> str:
    near = nearest(said, known)
    return known[near] if near else ""


def _written(name: str, said: str) -> str:
    """A piece of a name as it stands there."""
    pieces = (name[at:end] for at in range(len(name)) for end in range(at + 1, len(name) + 1))
    return next((each for each in pieces if each == each.strip() and compared(each) == said), said)


def _stands_apart(name: str, piece: str) -> bool:
    """Whether a piece of a name ends where a word does."""
    return piece == piece.strip() and not name.partition(piece)[2][:1].isalnum()


def is_pattern(text: str) -> bool:
    """Whether a text has braces or stars."""
    return bool(set(text) & {"{", "}", "*"})


def pattern(text: str, allowed: Sequence[str]) -> Pattern:
    """The pattern of a text; `allowed` are the fields that may stand in braces. Raises PatternFault.

    >>> pattern("logs/{engine}_*.csv", ["engine"]).parts
    (('text', 'logs/'), ('field', 'engine'), ('text', '_'), ('any', ''), ('text', '.csv'))
    """
    parts = tuple(_parts(text, allowed))
    fields = [name for kind, name in parts if kind == "field"]
    twice = next((name for name in fields if fields.count(name) > 1), "")
    if twice:
        raise PatternFault(f"has {{{twice}}} twice", "each field once")
    return Pattern(parts)


def _parts(text: str, allowed: Sequence[str]) -> Iterator[tuple[str, str]]:
    ways = " or ".join(f"{{{each}}}" for each in allowed)
    for found in _PART.finditer(text):
        field, star, plain, brace = found.groups()
        if brace:
            raise PatternFault(f'has a "{brace}" alone', f"{ways}, and braces in pairs")
        if field is not None:
            if field not in allowed:
                near = nearest(field, allowed)
                raise PatternFault(f"has {{{field}}}, which no name says", ways, f"{{{near}}}" if near else "")
            yield "field", field
        elif star:
            yield "any", ""
        else:
            yield "text", _piece(plain)


def _piece(text: str) -> str:
    """A piece of a name as compared, with the blanks at its ends."""
    begin, end = text[: len(text) - len(text.lstrip())], text[len(text.rstrip()) :]
    return f"{' ' if begin else ''}{compared(text)}{' ' if end else ''}" if text.strip() else " "
