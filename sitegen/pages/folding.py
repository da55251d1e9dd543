"""Parts folded behind a line that states their result."""

from __future__ import annotations

import re
from dataclasses import replace

from sitegen.page.blocks import Block, Figure, Images, Plans, Table, Text
from sitegen.pages.contexts import Part

LONGEST = 120  # characters of a summary beside the title; a longer reading is cut at the end of a sentence
_SENTENCE = re.compile(r"(?<=[a-z\d)%”])\.\s+(?=[A-Z“])")


def folded(part: Part, result: str = "") -> Part:
    """The part with its first reading as the result; what does not fit into a line stays inside.

    `result` stands for the reading where that tells no result; all blocks stay inside then.

    >>> from sitegen.page.blocks import Cell
    >>> folded(Part("runs", "Runs", [Text([Cell("All runs kept to the schedule. One was stopped.")]), Text([])])).result
    'All runs kept to the schedule. One was stopped.'
    """
    if result:
        return replace(part, result=_cut(result)[0])
    first, *rest = part.blocks
    text = _reading(first)
    if not text:
        return part
    said, left = _cut(text)
    if isinstance(first, Text):
        plain = all(cell.plain for cell in first.cells)
        kept: list[Block] = [] if plain and not left else [replace(first, cells=[replace(first.cells[0], text=left)])] \
            if plain else [first]  # fmt: skip
    else:
        kept = [replace(first, reading=left) if isinstance(first, Figure | Table | Plans | Images) else first]
    return replace(part, blocks=[*kept, *rest], result=said)


def _reading(block: Block) -> str:
    if isinstance(block, Text):
        return "" if block.role in {"note", "caution"} else "".join(cell.text for cell in block.cells).strip()
    return getattr(block, "reading", "")


def _cut(text: str) -> tuple[str, str]:
    """The sentences that fit into a line, at least the first, and the rest."""
    sentences = [f"{each}." if n < len(parts) - 1 else each for parts in [_SENTENCE.split(text)]
                 for n, each in enumerate(parts)]  # fmt: skip
    said = sentences[0]
    for n, each in enumerate(sentences[1:], 1):
        if len(said) + 1 + len(each) > LONGEST:
            return said, " ".join(sentences[n:])
        said = f"{said} {each}"
    return said, ""
