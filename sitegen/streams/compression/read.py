"""Records of compression tests to readings."""

from __future__ import annotations

from collections.abc import Sequence

from sitegen.program.model import Program, RecordSource
from sitegen.streams.compression.fields import FIELDS
from sitegen.tables.checks import fitting, in_force, same_again
from sitegen.tables.reading import Sheet, read_stream
from sitegen.vocabulary import Readings


def read(program: Program, sources: Sequence[RecordSource]) -> Readings:
    """Readings of all compression tests; see `tables.reading.read_stream`."""
    return read_stream(program, sources, FIELDS, (_oil, _gauges, _repeats))


def _oil(program: Program, sheet: Sheet) -> None:
    """A wet reading says how much oil; a dry one had none."""
    del program
    frame = sheet.frame
    added = frame["oil_added"].fillna(0.0) > 0
    sheet.set_aside((frame["oil"] == "wet") & ~added, "oil-amount-missing", "oil_added",
                    "oil was put in, and nothing says how much", "the oil put in, such as 5 mL")  # fmt: skip
    sheet.set_aside((frame["oil"] == "dry") & added, "dry-with-oil", "oil",
                    "the reading is called dry, and oil was put in", "wet, or no oil put in")  # fmt: skip


def _gauges(program: Program, sheet: Sheet) -> None:
    fitting(sheet, "instrument", program.definitions.tools, ("pressure-gauge",))
    in_force(sheet, "instrument", program.definitions.tools)


def _repeats(program: Program, sheet: Sheet) -> None:
    del program
    state = sheet.frame[["engine", "cylinder", "phase", "oil", "oil_added", "repeat"]]
    same_again(sheet, state, sheet.open, "repeat", "this cylinder was read in the same state already, in")
