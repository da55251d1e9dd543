"""What `look` says of how a file is written is what its readers find, entry by entry of the accepted folders."""

from __future__ import annotations

from pathlib import Path

from house import ROOT

from sitegen import registry, workflow
from sitegen.logs.layout import known_headers as known_of_log
from sitegen.looking import seen
from sitegen.program.files import WORKBOOKS
from sitegen.program.model import RecordSource
from sitegen.program.records import PARQUET
from sitegen.reader.blocked import Blocked
from sitegen.reader.decode import Decoded
from sitegen.reader.find import find
from sitegen.reader.kinds import load
from sitegen.reader.layout import Layout
from sitegen.reader.pieces import opening
from sitegen.reader.table import lay_out, lay_out_cells, stated_of
from sitegen.tables.columns import known_headers

HOMES = [ROOT / "programs", *sorted((ROOT / "tests/accepted").iterdir())]
FIELDS = {stream.name: stream.fields for stream in registry.STREAMS}


def facts(layout: Layout) -> tuple[object, ...]:
    found = (layout.separator, layout.marks, layout.heads, layout.units_row, layout.begin, layout.headers)
    return tuple(fact.value if hasattr(fact, "value") else fact for fact in found)


def read(source: RecordSource, path: Path) -> Layout:
    content = load(path, source.file, source)
    known = known_headers(source, FIELDS[source.stream])
    if isinstance(content, Decoded):
        return lay_out(content.text, source.file, source, known).layout
    return lay_out_cells(content, source.file, source, known).layout


def test_look_and_check_find_the_same() -> None:
    compared = 0
    for program in [each for home in HOMES if (folder := workflow.programs(home)[0]) for each in folder.programs]:
        for source in program.records:
            path = Path(program.folder) / source.file
            try:
                used = read(source, path)
            except Blocked:  # refused for other reasons: no table to be looked at
                continue
            if path.stat().st_size > 20 and not source.sheet:
                assert facts(seen.look(path, source.file).layout) == facts(used), source.file
                compared += 1
        for log in program.logs[::3]:
            path = Path(program.folder) / log.file
            if path.suffix not in {*WORKBOOKS, PARQUET} and path.stat().st_size > 20:
                used = find(opening(path, log.file, log.encoding).lines, stated_of(log, known_of_log(log)))
                if used.separator.rivals:  # the entry contradicts the file: refused
                    continue
                assert facts(seen.look(path, log.file).layout) == facts(used), log.file
                compared += 1
    assert compared > 70
