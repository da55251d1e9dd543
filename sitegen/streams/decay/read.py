"""Records of pressure decays to readings."""

from __future__ import annotations

from collections.abc import Sequence

from sitegen.program.model import Program, RecordSource
from sitegen.streams.decay.fields import FIELDS
from sitegen.tables.checks import fitting, in_force, same_again
from sitegen.tables.reading import Sheet, read_stream
from sitegen.vocabulary import Readings


def read(program: Program, sources: Sequence[RecordSource]) -> Readings:
    """Readings of all pressure decays; see `tables.reading.read_stream`."""
    return read_stream(program, sources, FIELDS, (_gauges, _again, _one_state))


def _gauges(program: Program, sheet: Sheet) -> None:
    fitting(sheet, "instrument", program.definitions.tools, ("pressure-gauge",))
    in_force(sheet, "instrument", program.definitions.tools)


def _again(program: Program, sheet: Sheet) -> None:
    del program
    state = sheet.frame[["engine", "cylinder", "phase", "oil", "crank", "repeat", "time"]]
    same_again(sheet, state, sheet.open, "repeat", "this decay has a sample of the same time already, in")


def _one_state(program: Program, sheet: Sheet) -> None:
    """Samples of one decay say the same of its volume and its air: told once a decay where they do not."""
    del program
    frame = sheet.frame[sheet.open]
    kept = ["volume", "hose_volume", "volume_limit", "ambient", "air_temperature", "metal_temperature", "instrument"]
    for _, own in frame.groupby(["engine", "cylinder", "phase", "oil", "crank", "repeat"], sort=False, dropna=False):
        differs = [name for name in kept if own[name].nunique(dropna=True) > 1]
        if differs:
            at = own.index[0]
            sheet.tell(at, "decay-differs-inside", differs[0], "samples of one decay say different things of it",
                       "one value through a decay", next_step="correct it; the mean of a decay is taken")  # fmt: skip
