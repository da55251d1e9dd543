"""Texts a spreadsheet would run as a formula, and how they are written so that it does not.

A file of ours is opened in office programs by people who did not write what is in it. What stands before such a text is
an apostrophe, by which these programs themselves mark a text; `meant` takes it away again.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

# A sign with figures and marks alone is a number; a single character, as the "-" of what was not found, runs nothing.
_RUNS = re.compile(r"[=@\t\r].|[+-](?![0-9.,]+(?:[eE][+-]?[0-9]+)?\Z).", re.DOTALL)

_SIGNS = frozenset("=@\t\r+-")


def neutral(text: str) -> str:
    """A text as it may stand in a cell of a file for spreadsheets.

    >>> neutral("=1+1"), neutral("-5.2"), neutral("-5+1"), neutral("-"), neutral("B1")
    ("'=1+1", '-5.2', "'-5+1", '-', 'B1')
    """
    return f"'{text}" if _RUNS.match(text) else text


def neutral_row(row: Sequence[str]) -> list[str]:
    """The texts of a row, each as `neutral` gives it: few begin with a sign."""
    return [neutral(text) if text[:1] in _SIGNS else text for text in row]


def meant(cell: str) -> str:
    """The text that `neutral` was given.

    >>> meant("'=1+1"), meant("'tis")
    ('=1+1', "'tis")
    """
    return cell[1:] if cell.startswith("'") and _RUNS.match(cell, 1) else cell
