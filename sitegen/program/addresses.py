"""How a record entry names a column: by its header, by its number or letter, or as the neighbour of another one."""

from __future__ import annotations

from typing import Any

from sitegen.program.model import Address
from sitegen.program.node import Node

WAYS = "a header (with `which` where it is repeated), a number, a letter, or `left_of` another column"
_LETTERS = 26


def address(node: Node) -> Address:
    """The address a node holds; an empty one, with a problem, where it says none or two."""
    if not isinstance(node.value, dict):
        return Address(node.own_text())
    ways = [key for key in ("which", "number", "letter", "left_of") if node.has(key)]
    if len(ways) > 1 or not (ways or node.has("header")) or (ways == ["which"] and not node.has("header")):
        said = f"names a column by {' and by '.join(ways)}" if ways else "names no column"
        if ways == ["which"]:
            said = "counts columns under a header and names none"
        node.add("column-unclear", f"{node.subject} {said}", expected=WAYS)
        return Address()
    return Address(
        node.text("header"),
        node.whole("which") or 0,
        node.whole("number") or _number(node.text("letter")),
        address(node.get("left_of")) if node.has("left_of") else None,
    )


def _number(letter: str) -> int:
    """Number of the column of a letter, from 1; 0 of no letter.

    >>> _number("A"), _number("bb"), _number("")
    (1, 54, 0)
    """
    number = 0
    for each in letter.upper():
        number = number * _LETTERS + ord(each) - ord("A") + 1
    return number


def written(where: Address, **more: str) -> Any:
    """The address as an entry writes it, with what stands beside it: a plain header where there is no more to say.

    >>> written(Address("Temp.", which=3), unit="degC"), written(Address("Temp."))
    ({'header': 'Temp.', 'which': 3, 'unit': 'degC'}, 'Temp.')
    """
    made: dict[str, Any] = {
        "header": where.header,
        "which": where.which,
        "number": where.number,
        "left_of": written(where.left_of) if where.left_of else "",
        **more,
    }
    made = {key: value for key, value in made.items() if value}
    return made["header"] if list(made) == ["header"] else made
