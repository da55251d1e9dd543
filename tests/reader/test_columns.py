"""Columns of a table: cut one by one where it is small, by a reader of CSV where it is not, and alike in both."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest

from sitegen.program.model import RecordSource, Where
from sitegen.reader import table
from sitegen.reader.table import lay_out

NUMBERS = ["", "72.5", "-0.25", "1e3", "+7", "80", ".5", "5.", "0", "1e-320", "123456789.125", " 4 "]
ODD = ["72,5", "n/a", "nan", "inf", "1e999", "true", "12 000", "\u221252", "\u00a0", "0x1f", "1_000", "*.**", "1e"]


@pytest.mark.parametrize("decimal", [".", ","])
@pytest.mark.parametrize("seed", range(40))
def test_small_and_large_tables_are_read_alike(seed: int, decimal: str, monkeypatch: pytest.MonkeyPatch) -> None:
    random = Random(seed)  # noqa: S311
    cells = [[random.choice(NUMBERS).replace(".", decimal) for _ in range(4)] for _ in range(30)]
    for _ in range(random.choice([0, 0, 1, 3])):
        cells[random.randrange(30)][random.randrange(4)] = random.choice(ODD)
    rows = ["a;b;c;d;e", *(";".join([*row, "word "]) for row in cells)]
    source = RecordSource("leakdown", "t.csv", Where("p/program.yaml", 1, 1), separator=";", decimal=decimal)
    found = lay_out("\n".join(rows) + "\n", "p/t.csv", source, lambda names: sum(name in "abcde" for name in names))
    few = found.columns(range(5), range(3), decimal)
    monkeypatch.setattr(table, "_FEW", 0)
    many = found.columns(range(5), range(3), decimal)
    assert few.keys() == many.keys()
    for at, column in few.items():
        assert column.dtype == many[at].dtype
        np.testing.assert_array_equal(column, many[at])
