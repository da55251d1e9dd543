"""Instants of a log: elapsed time, one stamp, or date and time of day in two columns, as seconds since its start."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitegen import units
from sitegen.program.model import LogTime

Floats = NDArray[np.float64]
DAY = 86400.0  # s
CLEARLY = 10  # usual steps by which an elapsed time falls when it starts again at nought
_FORMS = {  # date part of a stamp by the order announced
    "day first": ("%d.%m.%Y", "%d/%m/%Y", "%d-%m-%Y", "%d.%m.%y", "%d/%m/%y"),
    "month first": ("%m/%d/%Y", "%m-%d-%Y", "%m/%d/%y"),
    "": ("%Y-%m-%d", "%Y/%m/%d"),
}
_CLOCKS = ("%H:%M:%S", "%H:%M:%S.%f", "%H:%M")


@dataclass(frozen=True)
class Instants:
    """Seconds since the first instant, NaN where a stamp cannot be read; the first as an ISO stamp where known."""

    seconds: Floats
    start: str
    restarts: int  # times an elapsed time went back to nought


def instants(columns: list[Any], time: LogTime, decimal: str) -> Instants | None:
    """Instants from the columns a log's time stands in; None where no form fits."""
    if time.kind == "elapsed":
        numbers = pd.to_numeric(pd.Series(columns[0]), errors="coerce").to_numpy(dtype=float)
        scale, _ = units.converter(time.unit, "time")
        return _restarted(numbers * scale)
    text = pd.Series(columns[0]).astype("string").str.strip()
    if len(columns) > 1:
        text = text + " " + pd.Series(columns[1]).astype("string").str.strip()
    text = text.str.replace("T", " ", regex=False)
    if decimal == ",":
        text = text.str.replace(",", ".", regex=False)
    found = _parsed(text, time.date_order)
    if found is None:
        return _of_day(text)
    known = found.dropna()
    if known.empty:
        return None
    seconds = (found - known.iloc[0]).dt.total_seconds().to_numpy(dtype=float)
    return Instants(seconds, known.iloc[0].isoformat(), 0)


def _parsed(text: Any, order: str) -> Any:
    """Stamps by the one form that reads nearly all of them; None where none does."""
    sample = text.dropna().head(200)
    for date in _FORMS[order]:
        for clock in _CLOCKS:
            if pd.to_datetime(sample, format=f"{date} {clock}", errors="coerce").notna().mean() > 0.5:
                plain = pd.to_datetime(text, format=f"{date} {clock}", errors="coerce")
                if "%f" in clock or "." not in "".join(sample.str[-4:]):
                    other = f"{date} %H:%M:%S.%f" if clock == "%H:%M:%S" else f"{date} %H:%M:%S"
                    plain = plain.fillna(pd.to_datetime(text, format=other, errors="coerce"))
                return plain
    return None


def _of_day(text: Any) -> Instants | None:
    """Times of day without a date: each step back by more than half a day is a midnight."""
    for clock in _CLOCKS:
        found = pd.to_datetime(text, format=clock, errors="coerce")
        if found.notna().mean() > 0.5:
            seconds = (found - found.dropna().iloc[0]).dt.total_seconds().to_numpy(dtype=float)
            steps = np.diff(seconds, prepend=seconds[:1])
            return Instants(seconds + DAY * np.cumsum(np.nan_to_num(steps) < -DAY / 2), "", 0)
    return None


def _restarted(seconds: Floats) -> Instants:
    """An elapsed time that starts again at nought goes on where it was, a usual step later."""
    steps = np.diff(seconds)
    forward = steps[steps > 0]
    usual = float(np.median(forward)) if len(forward) else 0.0
    back = np.flatnonzero((steps < -CLEARLY * usual) & (np.abs(seconds[1:]) <= 2 * usual)).tolist()
    made = seconds.copy()
    for place in back:
        made[place + 1 :] += made[place] + usual - made[place + 1]
    first = made[np.isfinite(made)]
    return Instants(made - (first[0] if len(first) else 0.0), "", len(back))
