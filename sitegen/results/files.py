"""The committed result files: measures.csv, verdicts.csv, provenance.json.

They hold no clock, host or path, end lines with LF, and are sorted so that a history reads downwards.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from sitegen import releases
from sitegen.program.model import Program
from sitegen.reader.neutral import neutral_row
from sitegen.regular import read_regular
from sitegen.results import alike
from sitegen.results.run import Analysis, input_hashes
from sitegen.rounding import aligned, short
from sitegen.vocabulary import Comparison, Key, Measure, Value, Verdict

FORMAT = 3  # 2: comparisons.csv, answers to criteria in verdicts.csv; 3: what decided a verdict, revisions of methods
FOLDER = "results"
TABLES = ("measures.csv", "comparisons.csv", "verdicts.csv")
MEASURE_COLUMNS = (
    "engine", "cylinder", "coating", "phase", "at", "measure", "value", "unit", "low", "high", "se", "df",
    "se_common", "common", "n", "of", "status", "flags", "reason",
)  # fmt: skip
VERDICT_COLUMNS = (
    "rule", "engine", "cylinder", "coating", "phase", "at", "word", "limit", "found", "low", "high", "route",
    "deciding", "error_rate", "adjusted_over", "reason",
)  # fmt: skip
COMPARISON_COLUMNS = (
    "measure", "phase", "at", "coating", "reference", "role", "scope", "design", "procedure", "scale", "estimate",
    "unit", "low", "high", "df", "se", "adjusted_over", "p", "p_randomised", "least_p", "level", "level_reference",
    "builds", "builds_reference", "cylinders", "cylinders_reference", "icc", "icc_low", "icc_high", "effective_tests",
    "effective_low", "effective_high", "verdict", "flags", "reason",
)  # fmt: skip


def render(
    analysis: Analysis, measures: Mapping[str, Measure], version: str, methods: Mapping[str, int]
) -> dict[str, bytes]:
    """The files by name; `methods`: the revision of each step."""
    files = {
        "measures.csv": _csv(MEASURE_COLUMNS, measure_rows(analysis, measures)),
        "comparisons.csv": _csv(COMPARISON_COLUMNS, comparison_rows(analysis, measures)),
        "verdicts.csv": _csv(VERDICT_COLUMNS, [_verdict_row(verdict) for verdict in analysis.verdicts]),
    }
    inputs: dict[str, Any] = {}
    tables = {name: facts for each in analysis.readings.values() for name, facts in each.tally.items()}
    named = {name for each in analysis.readings.values() for name in each.inputs}
    for name, sha in analysis.inputs.items():
        rows = {what: tables[name][what] for what in ("rows", "used", "set_aside")} if name in tables else {}
        inputs[name] = {"sha256": sha, **rows, **({"named_in_a_record": True} if name in named else {})}
    provenance = {
        "format": FORMAT,
        "version": version,
        **({"invented": True} if analysis.program.invented else {}),
        "criteria": analysis.program.criteria_hash,
        "allocation_seed": analysis.program.allocation_seed,
        "as_of": analysis.as_of,
        "methods": dict(sorted(methods.items())),
        "inputs": inputs,
        "results": {name: hashlib.sha256(content).hexdigest() for name, content in files.items()},
    }
    files["provenance.json"] = (json.dumps(provenance, indent=1, ensure_ascii=False) + "\n").encode()
    return files


def results_id(files: Mapping[str, bytes]) -> str:
    """Short name of a state of the results."""
    return hashlib.sha256(b"".join(files[name] for name in TABLES)).hexdigest()[:7]


def measure_rows(analysis: Analysis, measures: Mapping[str, Measure]) -> list[list[str]]:
    """Rows of measures.csv in the order they are stored."""
    order = {phase.id: str(phase.order).zfill(4) for phase in analysis.program.phases}

    def downwards(value: Value) -> tuple[Any, ...]:
        key = value.key
        return key.engine, key.cylinder, value.measure, key.at, order.get(key.phase, ""), key.coating

    primary = {_unit(row, measures[row.measure]) for row in analysis.comparisons if row.role == "primary"}
    of_primary = primary.pop() if primary else "1"
    ordered = sorted(analysis.values.values(), key=downwards)
    return [
        _measure_row(value, of_primary if (own := measures[value.measure]).of_primary else own.unit)
        for value in ordered
    ]


def _measure_row(value: Value, unit: str) -> list[str]:
    key = value.key
    number, low, high = aligned(value.value, value.low, value.high)
    return [
        key.engine, str(key.cylinder or ""), key.coating, key.phase, key.at, value.measure, number, unit, low,
        high, short(value.se), short(value.df), short(value.se_common), value.common, str(value.n or ""), value.of,
        value.status, " ".join(sorted(value.flags)), value.reason,
    ]  # fmt: skip


def comparison_rows(analysis: Analysis, measures: Mapping[str, Measure]) -> list[list[str]]:
    """Rows of comparisons.csv: the primary first, then as the program states them."""
    return [_comparison_row(row, measures[row.measure]) for row in analysis.comparisons]


def _comparison_row(row: Comparison, measure: Measure) -> list[str]:
    estimate, low, high = aligned(row.estimate, row.low, row.high)
    return [
        row.measure, row.phase, row.at, row.coating, row.reference, row.role, row.scope, row.design, row.procedure,
        row.scale, estimate, _unit(row, measure), low, high, short(row.df), short(row.se),
        str(row.adjusted_over), short(row.p), short(row.p_randomised), short(row.least_p), short(row.level),
        short(row.level_reference), str(row.builds), str(row.builds_reference), str(row.cylinders),
        str(row.cylinders_reference), short(row.icc), short(row.icc_low), short(row.icc_high), short(row.effective),
        short(row.effective_low), short(row.effective_high), row.verdict, " ".join(sorted(row.flags)), row.reason,
    ]  # fmt: skip


def _unit(row: Comparison, measure: Measure) -> str:
    return "1" if row.scale == "ratio" else measure.unit


def _verdict_row(verdict: Verdict) -> list[str]:
    key: Key = verdict.key
    found, low, high = aligned(verdict.found, verdict.low, verdict.high)
    return [
        verdict.rule, key.engine, str(key.cylinder or ""), key.coating, key.phase, key.at, verdict.word,
        short(verdict.limit), found, low, high, verdict.route, verdict.deciding, short(verdict.error_rate),
        str(verdict.adjusted_over), verdict.reason,
    ]  # fmt: skip


def _csv(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(map(neutral_row, rows))
    return text.getvalue().encode()


class DamagedError(ValueError):
    """A file of results that is none any more."""


def values(content: bytes) -> tuple[Value, ...]:
    """Values of a measures.csv; rows of another format are left out. Raises DamagedError."""
    if alike.merging(content):
        raise DamagedError("it holds the conflict markers of a merge")
    try:
        return tuple(_value(row) for row in alike.rows(content) if set(MEASURE_COLUMNS) <= set(row))
    except (ValueError, csv.Error) as problem:
        raise DamagedError("it cannot be read as a table of measures") from problem


def _value(row: Mapping[str, Any]) -> Value:
    def number(name: str) -> float | None:
        return float(row[name]) if row[name] else None

    key = Key(row["engine"], int(row["cylinder"] or 0), row["coating"], row["phase"], row["at"])
    return Value(
        row["measure"], key, number("value"), number("low"), number("high"), number("se"), number("df"),
        number("se_common"), row["common"], int(row["n"] or 0), row["of"], row["status"],
        frozenset(row["flags"].split()), row["reason"],
    )  # fmt: skip


# ---- committed against fresh ------------------------------------------------------------------------------------


def stale(program: Program, version: str, methods: Mapping[str, int]) -> list[str]:
    """Why the committed results do not belong to the inputs as they are, or not to the methods of this version.

    Empty when they do or were never written.
    """
    folder = Path(program.folder) / FOLDER
    files, reasons = _read(folder)
    if reasons or "provenance.json" not in files:
        return sorted(reasons)
    try:
        stored = json.loads(files["provenance.json"])
        form, inputs = stored["format"], {name: facts["sha256"] for name, facts in stored["inputs"].items()}
        outputs = dict(stored["results"])
        named = [name for name, facts in stored["inputs"].items() if facts.get("named_in_a_record")]
    except _NO_PROVENANCE:
        return ["provenance.json cannot be read"]
    ours = {"version": version, "methods": methods}
    if form != FORMAT:
        older = isinstance(form, int) and form < FORMAT
        what = f"written in the {'older' if older else 'newer'} format {form}; this version writes format {FORMAT}"
        return [what, *filter(None, [releases.told(stored, ours)])]
    now = input_hashes(program, [name for name in named if ".." not in name and name.isprintable()])
    reasons = [f"{name} is new" for name in now if name not in inputs]
    reasons += [f"{name} is no longer read" for name in inputs if name not in now]
    reasons += [f"{name} has changed" for name in now if name in inputs and now[name] != inputs[name]]
    for name in sorted({*TABLES, *outputs}):
        if name not in files:
            reasons.append(f"{name} is gone")
        elif hashlib.sha256(files[name]).hexdigest() != outputs.get(name):
            reasons.append(f"{name} was changed by hand")
    reasons += [releases.told(stored, ours)] if releases.revised(stored, ours) else []
    return sorted(reasons)


def written(stored: Mapping[str, bytes], fresh: Mapping[str, bytes]) -> tuple[str, str]:
    """By which other version results were written, and the same with what changed for results since; "" by this one."""
    try:
        before, now = (json.loads(files["provenance.json"]) for files in (stored, fresh))
        return releases.by(before, now), releases.told(before, now)
    except _NO_PROVENANCE:
        return "", ""


_NO_PROVENANCE = (ValueError, KeyError, TypeError, AttributeError, RecursionError)  # what reading a damaged one raises


def lying(program: Program) -> dict[str, bytes]:
    """The result files that lie in the program's folder."""
    return _read(Path(program.folder) / FOLDER)[0]


def damage(program: Program) -> list[str]:
    """What is wrong with the files of results themselves, whatever they were made from, a clause each."""
    files, reasons = _read(Path(program.folder) / FOLDER)
    try:
        json.loads(files.get("provenance.json", b"{}"))
    except (ValueError, RecursionError):
        reasons.append("provenance.json cannot be read")
    return sorted(reasons)


def _read(folder: Path) -> tuple[dict[str, bytes], list[str]]:
    """The files of results that are whole, by name, and why the others are not."""
    if folder.is_symlink():
        return {}, ["the folder is a link, and results are written into one of the program's own"]
    files, reasons = {}, []
    for name in (*TABLES, "provenance.json"):
        try:
            files[name] = read_regular(folder / name)
        except (FileNotFoundError, NotADirectoryError):
            continue
        except OSError as problem:
            reasons.append(f"{name} cannot be read: {(problem.strerror or str(problem)).lower()}")
            continue
        if alike.merging(files[name]):
            reasons.append(f"{name} holds the conflict markers of a merge")
            del files[name]
    return files, reasons


def still_good(stored: Mapping[str, bytes], fresh: Mapping[str, bytes]) -> bool:
    """Whether stored results stay: same ground, same methods, and no number moved by more than its last digit."""
    try:
        before, now = (json.loads(files["provenance.json"]) for files in (stored, fresh))
        whole = all(hashlib.sha256(stored[name]).hexdigest() == before["results"][name] for name in TABLES)
        same = all(before.get(name) == fact for name, fact in now.items() if name not in {"version", "results"})
        return whole and same and not alike.differences(stored, fresh)
    except (*_NO_PROVENANCE, csv.Error):
        return False


def as_stored(analysis: Analysis, files: Mapping[str, bytes]) -> Analysis:
    """The analysis with the numbers of these files."""
    found = {(value.measure, value.key): value for value in values(files["measures.csv"])}
    return replace(
        analysis,
        values=dict(sorted(found.items(), key=lambda item: item[0])),
        comparisons=tuple(_comparison(row) for row in alike.rows(files["comparisons.csv"])),
        verdicts=tuple(_verdict(row) for row in alike.rows(files["verdicts.csv"])),
    )


def _comparison(row: Mapping[str, Any]) -> Comparison:
    def number(name: str) -> float | None:
        return float(row[name]) if row[name] else None

    return Comparison(
        measure=row["measure"], phase=row["phase"], at=row["at"], coating=row["coating"], reference=row["reference"],
        role=row["role"], scale=row["scale"], design=row["design"], procedure=row["procedure"], scope=row["scope"],
        estimate=number("estimate"), low=number("low"), high=number("high"), df=number("df"), se=number("se"),
        adjusted_over=int(row["adjusted_over"]), p=number("p"), p_randomised=number("p_randomised"),
        least_p=number("least_p"), level=number("level"), level_reference=number("level_reference"),
        builds=int(row["builds"]), builds_reference=int(row["builds_reference"]), cylinders=int(row["cylinders"]),
        cylinders_reference=int(row["cylinders_reference"]), icc=number("icc"), icc_low=number("icc_low"),
        icc_high=number("icc_high"), effective=number("effective_tests"), effective_low=number("effective_low"),
        effective_high=number("effective_high"), verdict=row["verdict"], flags=frozenset(row["flags"].split()),
        reason=row["reason"],
    )  # fmt: skip


def _verdict(row: Mapping[str, Any]) -> Verdict:
    def number(name: str) -> float | None:
        return float(row[name]) if row[name] else None

    key = Key(row["engine"], int(row["cylinder"] or 0), row["coating"], row["phase"], row["at"])
    return Verdict(
        row["rule"], key, row["word"], number("limit"), number("found"), number("low"), number("high"), row["route"],
        row["deciding"], number("error_rate"), int(row["adjusted_over"]), row["reason"],
    )  # fmt: skip
