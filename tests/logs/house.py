"""A folder to put logs in, and ways to describe and read them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sitegen.logs.reading import LogFile, read_log
from sitegen.problems import line_of
from sitegen.program.model import Address, LogChannel, LogSource, LogTime, Where

ENTRY = Where("pump/program.yaml", 90, 7)
SECONDS = LogTime("elapsed", (Address("Time"),), "s")
UNITS = {
    "speed": ("n", "rpm"),
    "torque": ("Md", "N m"),
    "blowby": ("Q", "L/min actual"),
    "oil_temperature": ("T oil", "degC"),
    "exhaust_temperature_1": ("T1", "degC"),
}


def channels(*wanted: Any) -> tuple[LogChannel, ...]:
    """Channels by name, with the headers and units of `UNITS`, or as (name, header, unit, time)."""
    made = []
    for each in wanted:
        name, header, unit, time = (each, *UNITS[each], None) if isinstance(each, str) else (*each, None)[:4]
        made.append(
            LogChannel(
                name,
                Address(header) if isinstance(header, str) else header,
                unit,
                "M1" if name.startswith("blowby") else "",
                time,
                ENTRY,
            )
        )
    return tuple(made)


class Folder:
    """A program's folder."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def source(self, content: str | bytes, *wanted: Any, name: str = "run.csv", **how: Any) -> LogSource:
        """Write a log and describe it; of its channels the speed alone when none is named."""
        (self.path / name).write_bytes(content.encode() if isinstance(content, str) else content)
        how.setdefault("time", SECONDS)
        return LogSource(name, ENTRY, "B1", "pulls", channels(*(wanted or ("speed",))), **how)

    def read(self, content: str | bytes, *wanted: Any, name: str = "run.csv", **how: Any) -> LogFile:
        source = self.source(content, *wanted, name=name, **how)
        return self.accounted(read_log(source, self.path / name))

    @staticmethod
    def accounted(found: LogFile) -> LogFile:
        """Nothing is lost: what a file says of itself adds up."""
        assert found.file.startswith("pump/")
        assert found.usable == (not any(each.level == "error" for each in found.problems))
        assert found.used <= found.rows
        if found.usable:
            for name, facts in found.facts.items():
                assert facts.n + facts.missing <= found.rows, name
        else:
            assert found.bins is None
        return found


def told(found: LogFile) -> list[str]:
    """Every problem on one line, as the command prints it."""
    return [line_of(each) for each in found.problems]


def codes(found: LogFile) -> list[str]:
    return [each.code for each in found.problems]


def means(found: LogFile, channel: str = "speed") -> list[float | None]:
    """Means by bin, None where there is no sample, to six digits."""
    return [None if value != value else float(f"{value:.6g}") for value in found.bins[channel].tolist()]
