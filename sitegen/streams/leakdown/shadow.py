"""Leak-down readings as they would be if a tester had been off already."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sitegen.methods import leakdown as method
from sitegen.program.calibrated import Doubt
from sitegen.program.model import Program
from sitegen.streams.leakdown.fields import FIELDS
from sitegen.tables.shadows import as_true, shifted
from sitegen.vocabulary import Readings

PRESSURES, PERCENT = ("supply", "pressure"), "percent"
AS_READ = "supply_as_read"  # column: by what stood on the gauge a reading was taken in its condition


def shadow(program: Program, readings: Readings, doubt: Doubt, rows: Sequence[int]) -> Readings:
    """Gauge pressures less what the gauges showed too much; of a percent gauge its per cent.

    What no leak gives is not used then: a cylinder without pressure, or with more than the supply's.

    Per cent alone of a tester that reads pressures were worked out from them, so they are turned back first.
    """
    tester = program.definitions.testers[doubt.instrument]
    by_percent = tester.scale == "percent" and doubt.gauge != "supply"
    own = [each for each in FIELDS if each.name in ((PERCENT,) if by_percent else PRESSURES)]
    found = shifted(own, readings, doubt, rows)
    frame, read = found.frame, readings.frame
    frame[AS_READ] = read["supply"]
    over = frame["pressure"] - frame["supply"] > tester.gauge_class
    frame.loc[over & (frame["use"] == ""), "use"] = "above-supply"
    frame.loc[(frame["pressure"] <= 0) & (frame["use"] == ""), "use"] = "zero-pressure"
    if by_percent:
        return found
    alone = np.zeros(len(frame), dtype=bool)
    alone[list(rows)] = True
    alone &= (frame["pressure"].isna() & frame["percent"].notna()).to_numpy() & (tester.scale == "pressure")
    if alone.any():
        supply, percent = (read.loc[alone, name].to_numpy(dtype=float) for name in ("supply", PERCENT))
        cylinder = method.cylinder_from_percent(supply, percent)
        cylinder = cylinder if doubt.gauge == "supply" else as_true(doubt, cylinder)
        frame.loc[alone, PERCENT] = method.percent(frame.loc[alone, "supply"].to_numpy(dtype=float), cylinder)
    return found
