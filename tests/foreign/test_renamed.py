"""`look` pasted unchanged never changes a number silently.

Tables and logs of the examples are written anew: headers in other languages, units in brackets, in a row of their own
or left out, columns in another order. What is proposed for them is refused where it holds a "?". With each "?" answered
from the entry of the example the same is read as before; what the proposal states itself is never another column.
"""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import pandas as pd
import pytest
import yaml
from house import ROOT
from looking.test_proposals import answered, loaded

from foreign.trying import asks, looked, pasted, read
from sitegen import registry
from sitegen.looking import seen
from sitegen.looking.words import CHANNELS, FIELDS
from sitegen.program import channels
from sitegen.reader.headers import plain
from sitegen.reader.records import SEPARATORS, cut

STREAMS = {each.name: each for each in registry.STREAMS}
ROWS = 40  # of a log that are kept
FILES = [
    ("programs/pump-rings-2025", "leakdown", "records/leakdown-a1.csv"),
    ("programs/pump-rings-2026", "leakdown", "records/leakdown-b1.csv"),
    ("programs/pump-rings-2026", "leakdown", "records/leakdown-b2.csv"),
    ("programs/pump-rings-2025", "buildsheet", "records/buildsheet-a1.csv"),
    ("programs/pump-rings-2025", "inspection", "records/inspection-a1.csv"),
    ("programs/pump-rings-2025", "oil", "records/oil-samples.csv"),
    ("tests/accepted/plain/pump", "leakdown", "records/leakdown.csv"),
    ("tests/accepted/oil/pump", "oil", "records/oil.csv"),
    ("programs/pump-rings-2025", "runlog", "logs/a1-pulls.csv"),
    ("programs/pump-rings-2026", "runlog", "logs/b2-pulls.csv"),
    ("programs/pump-rings-2026", "runlog", "logs/b4-pulls.csv"),
]
TIMES = {
    "column": ("Zeit", "Time", "Temps", "Tiempo"), "clock": ("Zeit", "Time stamp", "Horodatage"),
    "date": ("Datum", "Day", "Fecha"), "time_of_day": ("Uhrzeit", "Time of day", "Heure"),
}  # fmt: skip


OTHERS: Mapping[str, tuple[str, ...]] = {  # words that no list of ours has
    "speed": ("obroty silnika", "giri motore"), "torque": ("moment obrotowy", "coppia"),
    "oil_temperature": ("temperatura oleju", "temperatura olio"), "oil_pressure": ("pressione olio", "oliedruk"),
    "coolant_temperature": ("temperatura wody", "koelwatertemperatuur"), "crankcase_pressure": ("pressione carter",),
    "ambient_pressure": ("pressione ambiente", "luchtdruk"), "blowby": ("trafilamento", "lekgas"),
    "engine": ("silnik", "motore"), "phase": ("etap", "fase"), "cylinder": ("cylindre n", "cilinder"),
    "supply": ("pressione di linea", "voordruk"), "pressure": ("pressione", "druk"), "date": ("giorno", "dzień"),
    "mass": ("massa", "waga"), "gap_gauge": ("luce", "szczelina"), "tension": ("tangenziale",),
    "Fe": ("ferro", "żelazo"), "Cr": ("cromo", "chrom"), "remark": ("nota", "uwagi"), "operator": ("operatore",),
}  # fmt: skip


@dataclass(frozen=True)
class Sample:
    """A file of the examples in cells, and what its columns are."""

    header: Sequence[str]  # without units
    units: Sequence[str]
    rows: Sequence[Sequence[str]]
    mark: str
    fields: Mapping[int, str]  # column -> field or channel, or which part of the time
    entry: Mapping[str, Any]


@cache
def document(home: Path) -> tuple[str, dict[str, Any]]:
    """A program file of the examples without what stands on its records, and the entries of these."""
    made = loaded(home / "program.yaml")
    records = made.pop("records")
    for key in ("exclusions", "sampled", "notes"):
        made.pop(key, None)
    made["compare"].pop("scatter_from", None)
    return yaml.safe_dump(made, sort_keys=False, allow_unicode=True), records


@cache
def sample(folder: str, stream: str, file: str) -> Sample:
    home = ROOT / folder
    found = seen.look(home / file, file)
    layout = found.layout
    lines = (home / file).read_text(encoding=layout.encoding.value).splitlines()
    word = layout.separator.value
    rows = [cut(line, word) for line in lines[layout.begin.value - 1 :] if line.strip()]
    entry = next(each for each in document(home)[1][stream] if each["file"] == file)
    named = entry.get("channels") or entry.get("columns") or {}
    header = [column.name for column in found.columns]
    places: dict[int, str] = {}
    for name, use in named.items():
        wanted = use["header"] if isinstance(use, dict) else use
        at = [c.at for c in found.columns if plain(wanted) == plain(c.header)]
        at = at or [c.at for c in found.columns if plain(wanted) == c.name]
        assert len(at) == 1, (file, name, at)
        places[at[0]] = name
    known = {each.name for each in STREAMS[stream].fields}
    places |= {at: name for at, name in enumerate(header) if not named and name in known}
    for key in TIMES.keys() & entry.get("time", {}):
        places |= {c.at: key for c in found.columns if plain(entry["time"][key]) in {plain(c.header), c.name}}
    kept = rows[:ROWS] if stream == "runlog" else rows
    return Sample(header, [c.unit for c in found.columns], kept, SEPARATORS[word], places, entry)


def name_of(what: str, old: str, random: Random, log: bool) -> str:
    """Another header for a field or a channel; its old one where nobody calls it anything else."""
    if log and what in TIMES:
        return random.choice(TIMES[what])
    if log:
        number = what.rsplit("_", 1)[-1]
        base = next(each for each in channels.CHANNELS if what in {each, f"{each}_{number}"})
        spelled = random.choice([*CHANNELS.get(base, ()), *OTHERS.get(base, ()), channels.CHANNELS[base].title])
        return spelled if base == what else f"{spelled} {number}"
    return random.choice([*FIELDS.get(what, ()), *OTHERS.get(what, ()), old])


def written(sample: Sample, random: Random) -> tuple[str, dict[str, Any]]:
    """The file anew, and the entry that a person would write for it."""
    order = list(range(len(sample.header)))
    random.shuffle(order)
    names: list[str] = []
    for at, old in enumerate(sample.header):
        what = sample.fields.get(at, "")
        new = name_of(what, old, random, "channels" in sample.entry) if what else old
        taken = {each.casefold() for each in (*names, *sample.header)} - {old.casefold()}
        names.append(old if new.casefold() in taken else new)
    style = random.choice(["square", "round", "row", "none"])
    shape = {"square": "{} [{}]", "round": "{} ({})"}.get(style, "{}")
    heads = [shape.format(name, unit) if unit and shape != "{}" else name
             for name, unit in zip(names, sample.units, strict=True)]  # fmt: skip
    lines = [[heads[at] for at in order]]
    if style == "row":
        lines.append([sample.units[at] for at in order])
    lines += [[quoted(row[at] if at < len(row) else "", sample.mark) for at in order] for row in sample.rows]
    entry = {**sample.entry}
    key = "channels" if "channels" in entry else "columns"
    uses = {}
    for at, what in sample.fields.items():
        old = entry.get(key, {}).get(what)
        unit = old.get("unit") if isinstance(old, dict) else sample.units[at]
        if key == "channels" and what in TIMES:
            entry["time"] = {**entry["time"], what: names[at]}
        else:
            rest = {name: value for name, value in old.items() if name != "unit"} if isinstance(old, dict) else {}
            uses[what] = {**rest, "header": names[at], **({"unit": unit} if unit else {})}
    entry[key] = uses
    for told in ("skip_rows", "header_rows", "units_row", "encoding"):
        entry.pop(told, None)
    mark = sample.mark if sample.mark.strip() or sample.mark == "\t" else " "
    body = "".join(mark.join(line) + "\n" for line in lines)
    return body, entry


def quoted(cell: str, mark: str) -> str:
    return f'"{cell}"' if mark in cell else cell


def home_of(folder: str, stream: str, entry: Mapping[str, Any], body: str, to: Path) -> Path:
    """The program with nothing recorded but this file, as it is written now."""
    source = ROOT / folder
    pump = to / source.name
    pump.mkdir(parents=True, exist_ok=True)
    shutil.copy(source.parent / "definitions.yaml", to)
    text = document(source)[0] + yaml.safe_dump({"records": {stream: [dict(entry)]}}, allow_unicode=True)
    (pump / "program.yaml").write_text(text, encoding="utf-8")
    path = pump / entry["file"]
    path.parent.mkdir(exist_ok=True)
    path.write_text(body, encoding="utf-8")
    return pump


def taken(home: Path, stream: str) -> pd.DataFrame:
    """What is read of the file, a column a field or channel."""
    blocked, problems, readings = read(home, stream)
    assert not blocked, problems
    if stream == "runlog":
        (log,) = readings.logs.values()
        return pd.DataFrame(log.bins)
    return pd.DataFrame(readings.frame)


CASES = [(file, seed) for file in FILES for seed in range(3)]


@pytest.mark.parametrize(("where", "seed"), CASES, ids=lambda each: each[2] if isinstance(each, tuple) else str(each))
def test_a_proposal_is_refused_or_reads_the_same(where: tuple[str, str, str], seed: int, tmp_path: Path) -> None:
    folder, stream, file = where
    made = sample(*where)
    random = Random(f"{file} {seed}")  # noqa: S311 - ways to write, not secrets
    body, truth = written(made, random)
    expected = taken(home_of(folder, stream, truth, body, tmp_path / "by hand").parent, stream)
    pump = home_of(folder, stream, truth, body, tmp_path / "proposed")
    status, said = looked(pump / file, stream)
    assert status == 0, said
    proposal = pasted(said, stream)
    entry = yaml.safe_load(proposal)[stream][0]
    key = "channels" if "channels" in entry else "columns"
    headers = {name: use["header"] if isinstance(use, dict) else use for name, use in entry[key].items()}
    own = {name: use["header"] for name, use in truth[key].items()}
    for name, header in headers.items():
        if header != "?" and name in own:
            assert plain(header) == plain(own[name]), (name, header)
        else:  # a column nobody named may be proposed for a field nobody had
            assert header == "?" or plain(header) not in {plain(each) for each in own.values()}, (name, header)
    if asks(proposal):
        home_of(folder, stream, entry, body, tmp_path / "unanswered")
        assert read(tmp_path / "unanswered", stream)[0]
    mine = answered(entry, {**truth, key: {name: truth[key].get(name, "?") for name in entry[key]}})
    mine[key] = {**truth[key], **{name: use for name, use in mine[key].items() if name in own}}
    asked = {name: value for name, value in mine.pop("constants", {}).items() if name not in own}
    if known := {**asked, **truth.get("constants", {})}:  # of the whole file, in no column of it
        mine["constants"] = known
    mine = {**{k: v for k, v in truth.items() if k in {"decimal", "thousands", "date_order"}}, **mine}
    found = taken(home_of(folder, stream, mine, body, tmp_path / "answered").parent, stream)
    pd.testing.assert_frame_equal(found[expected.columns], expected, check_exact=True)
