"""Words of one's own: what stands in files, and the id or word of ours that it means."""

from __future__ import annotations

import unicodedata
from collections.abc import Collection, Mapping, Sequence

from sitegen.problems import listed, nearest, shown
from sitegen.program import described
from sitegen.program.model import Words
from sitegen.program.node import Node
from sitegen.program.yamltext import scalar

# Kind of id by field: `definitions.yaml` or the program holds them.
REFERS: Mapping[str, str] = {
    "engine": "build",
    "cylinder": "cylinder",
    "phase": "phase",
    "tester": "tester",
    "reference": "reference orifice",
    "tool": "tool",
    "tool_gap": "tool",
    "tool_mass": "tool",
    "tool_bore": "tool",
    "tool_tension": "tool",
    "instrument": "tool",
    "meter": "meter",
    "laboratory": "laboratory",
}
LOGS = "runlog"  # the stream whose entries say build and phase of a whole file
OF_PROGRAM = frozenset({"build", "phase", "cylinder"})  # kinds of id that no definitions hold


def compared(text: str) -> str:
    """A word as it is compared: capitals, runs of blanks and how an accent is stored do not count.

    >>> compared(" Lauf  ÖL"), compared("o\\u0308l") == compared("Öl")
    ('lauf öl', True)
    """
    return unicodedata.normalize("NFC", " ".join(text.split())).casefold()


def of(node: Node, known: Mapping[str, Collection[str] | None], stream: str = "") -> Words:
    """The words under `words` of an entry, a program or the definitions, each with what it means.

    `known` has the ids by kind (None, or a kind that is not in it: not checked), `stream` is that of an entry. What
    the schema has told is passed over.
    """
    allowed = described.words(stream) if node.has("words") else {}
    made = {}
    for name, inner in node.entries("words"):
        lent = inner.document.home(inner.path)[1] != inner.path
        if lent and name not in allowed and name in described.words():
            continue  # a mapping may serve entries of several kinds
        if name in allowed:
            made[name] = _meant(node.get("words"), name, known, allowed[name])
        else:
            kind = f" of {stream}" if stream else ""
            node.problems.add(
                inner.key_at,
                "field-unknown",
                f'"{shown(name)}" is no field{kind} that holds words{node.get("words").within}',
                expected=listed(allowed, 40),
                nearest=nearest(name, allowed),
            )
    return made


def _meant(
    node: Node, name: str, known: Mapping[str, Collection[str] | None], enumerated: Collection[str]
) -> Mapping[str, str]:
    kind = REFERS.get(name, "")
    ours = (known.get(kind) if kind else enumerated) or ()
    home = "this program" if kind in OF_PROGRAM else "definitions.yaml"
    meant: dict[str, str] = {}
    for word, each in node.entries(name):
        means = each.own_reference(known.get(kind), kind, home) if kind else each.own_text()
        own = next((one for one in ours if compared(one) == compared(word)), "")
        if means and ours and means not in ours:
            what = f'{each.subject} is "{shown(means)}"'
            each.add("unknown-word", what, expected=listed(ours), near=nearest(means, ours))
        elif own and means and own != means:
            each.problems.add(
                each.key_at,
                "word-is-ours",
                f'"{shown(word)}"{node.get(name).within} stands for "{shown(means)}", but is itself one of ours',
                expected="a word that has no meaning yet",
                next_step="remove it",
            )
        elif meant.setdefault(compared(word), means) != means:
            each.problems.add(
                each.key_at,
                "word-twice",
                f'"{shown(word)}"{node.get(name).within} has two meanings: capitals and blanks do not count',
                expected="one meaning a word",
                next_step="remove one of them",
            )
    return {word: means for word, means in meant.items() if means}


def names(levels: Sequence[Words], field: str, ids: Collection[str]) -> Mapping[str, str]:
    """Every way in which ids of a field are written, as compared, with the id."""
    found = {compared(each): each for each in ids}
    for words in levels:
        found |= {word: means for word, means in words.get(field, {}).items() if means in ids}
    return found


def line(field: str, unknown: Sequence[str]) -> str:
    """What is to be written where words are not known; what they mean is left open.

    >>> line("phase", ["Einbau", "n.d."])
    'words: {phase: {Einbau: "?", n.d.: "?"}}'
    """
    told = ", ".join(f'{scalar(shown(each))}: "?"' for each in unknown)
    return f"words: {{{field}: {{{told}}}}}"
