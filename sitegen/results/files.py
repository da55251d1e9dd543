"""The committed result files: measures.csv, verdicts.csv, provenance.json.

They hold no clock, host or path, end lines with LF, and are sorted so that a history reads downwards.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from sitegen.program.model import Program
from sitegen.results.rounding import SIGNIFICANT, comparison_place, place, plain
from sitegen.results.run import Analysis, input_hashes
from sitegen.vocabulary import Comparison, Key, Measure, Value, Verdict

FORMAT = 2  # 2: comparisons.csv, and the answers to criteria in verdicts.csv
FOLDER = "results"
TABLES = ("measures.csv", "comparisons.csv", "verdicts.csv")
MEASURE_COLUMNS = (
    "engine", "cylinder", "coating", "phase", "at", "measure", "value", "unit", "low", "high", "se", "df",
    "se_common", "common", "n", "of", "status", "flags", "reason",
)  # fmt: skip
VERDICT_COLUMNS = (
    "rule", "engine", "cylinder", "coating", "phase", "at", "word", "deciding", "error_rate", "adjusted_over", "reason",
)  # fmt: skip
COMPARISON_COLUMNS = (
    "measure", "phase", "at", "coating", "reference", "role", "scope", "design", "procedure", "scale", "estimate",
    "unit", "low", "high", "df", "se", "adjusted_over", "p", "p_randomised", "least_p", "level", "level_reference",
    "builds", "builds_reference", "cylinders", "cylinders_reference", "icc", "icc_low", "icc_high", "effective_tests",
    "effective_low", "effective_high", "verdict", "flags", "reason",
)  # fmt: skip


KEYS = {  # columns that name a row
    "measures.csv": MEASURE_COLUMNS[:6],
    "comparisons.csv": COMPARISON_COLUMNS[:4],
    "verdicts.csv": VERDICT_COLUMNS[:6],
}


# columns rounded to a decimal place; in the others numbers keep their first digits
PLACED = {
    "measures.csv": {"value", "low", "high", "se", "se_common"},
    "comparisons.csv": {"estimate", "low", "high"},
    "verdicts.csv": set[str](),
}
NOTHING = 1e-9  # probabilities below are rounding


def render(analysis: Analysis, measures: Mapping[str, Measure], version: str) -> dict[str, bytes]:
    """The files by name."""
    files = {
        "measures.csv": _csv(MEASURE_COLUMNS, measure_rows(analysis, measures)),
        "comparisons.csv": _csv(COMPARISON_COLUMNS, comparison_rows(analysis, measures)),
        "verdicts.csv": _csv(VERDICT_COLUMNS, [_verdict_row(verdict) for verdict in analysis.verdicts]),
    }
    inputs: dict[str, Any] = {}
    tables = {name: facts for each in analysis.readings.values() for name, facts in each.files.items()}
    named = {name for each in analysis.readings.values() for name in each.inputs}
    for name, sha in analysis.inputs.items():
        rows = {what: tables[name][what] for what in ("rows", "used", "set_aside")} if name in tables else {}
        inputs[name] = {"sha256": sha, **rows, **({"named_in_a_record": True} if name in named else {})}
    provenance = {
        "format": FORMAT,
        "version": version,
        "criteria": analysis.program.criteria_hash,
        "allocation_seed": analysis.program.allocation_seed,
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

    return [_measure_row(value, measures[value.measure]) for value in sorted(analysis.values.values(), key=downwards)]


def _measure_row(value: Value, measure: Measure) -> list[str]:
    at = place(value)
    key = value.key
    return [
        key.engine, str(key.cylinder or ""), key.coating, key.phase, key.at, value.measure,
        plain(value.value, at), measure.unit, plain(value.low, at), plain(value.high, at), plain(value.se, at),
        "" if value.df is None else f"{value.df:g}", plain(value.se_common, at), value.common,
        str(value.n or ""), value.of, value.status, " ".join(sorted(value.flags)), value.reason,
    ]  # fmt: skip


def comparison_rows(analysis: Analysis, measures: Mapping[str, Measure]) -> list[list[str]]:
    """Rows of comparisons.csv: the primary first, then as the program states them."""
    return [_comparison_row(row, measures[row.measure]) for row in analysis.comparisons]


def _comparison_row(row: Comparison, measure: Measure) -> list[str]:
    at = comparison_place(row)

    def short(number: float | None) -> str:
        return "" if number is None else f"{number:g}"

    return [
        row.measure, row.phase, row.at, row.coating, row.reference, row.role, row.scope, row.design, row.procedure,
        row.scale, plain(row.estimate, at), "1" if row.scale == "ratio" else measure.unit, plain(row.low, at),
        plain(row.high, at), short(row.df), short(row.se), str(row.adjusted_over), short(row.p),
        short(row.p_randomised), short(row.least_p), short(row.level), short(row.level_reference), str(row.builds),
        str(row.builds_reference), str(row.cylinders), str(row.cylinders_reference), short(row.icc),
        short(row.icc_low), short(row.icc_high), short(row.effective), short(row.effective_low),
        short(row.effective_high), row.verdict, " ".join(sorted(row.flags)), row.reason,
    ]  # fmt: skip


def _verdict_row(verdict: Verdict) -> list[str]:
    key: Key = verdict.key
    rate = "" if verdict.error_rate is None else f"{verdict.error_rate:g}"
    return [
        verdict.rule, key.engine, str(key.cylinder or ""), key.coating, key.phase, key.at, verdict.word,
        verdict.deciding, rate, str(verdict.adjusted_over), verdict.reason,
    ]  # fmt: skip


def _csv(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue().encode()


def values(content: bytes) -> tuple[Value, ...]:
    """Values of a measures.csv; rows of another format are left out."""
    rows = csv.DictReader(io.StringIO(content.decode("utf-8", errors="replace")))
    return tuple(_value(row) for row in rows if set(MEASURE_COLUMNS) <= set(row))


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


def stale(program: Program) -> list[str]:
    """Why the committed results do not belong to the inputs as they are; empty when they do or were never written."""
    path = Path(program.folder) / FOLDER / "provenance.json"
    if not path.is_file():
        return []
    try:
        stored = json.loads(path.read_text(encoding="utf-8"))
        form, inputs = stored["format"], {name: facts["sha256"] for name, facts in stored["inputs"].items()}
        outputs = dict(stored["results"])
        named = [name for name, facts in stored["inputs"].items() if facts.get("named_in_a_record")]
    except (ValueError, KeyError, TypeError, AttributeError):
        return ["provenance.json cannot be read"]
    if form != FORMAT:
        older = isinstance(form, int) and form < FORMAT
        return [f"written in the {'older' if older else 'newer'} format {form}; this version writes format {FORMAT}"]
    now = input_hashes(program, named)
    reasons = [f"{name} is new" for name in now if name not in inputs]
    reasons += [f"{name} is no longer read" for name in inputs if name not in now]
    reasons += [f"{name} has changed" for name in now if name in inputs and now[name] != inputs[name]]
    for name, sha in outputs.items():
        file = path.parent / name
        if not file.is_file():
            reasons.append(f"{name} is gone")
        elif hashlib.sha256(file.read_bytes()).hexdigest() != sha:
            reasons.append(f"{name} was changed by hand")
    return sorted(reasons)


def differences(program: Program, fresh: Mapping[str, bytes]) -> list[str]:
    """Rows of the committed results that a fresh run does not give back within their rounding."""
    folder = Path(program.folder) / FOLDER
    found: list[str] = []
    for name, keys in KEYS.items():
        if not (folder / name).is_file():
            found.append(f"{name} is not there")
            continue
        try:
            stored = _by_key((folder / name).read_text(encoding="utf-8"), keys)
        except (UnicodeDecodeError, csv.Error) as fault:
            found.append(f"{name} cannot be read: {fault}")
            continue
        new = _by_key(fresh[name].decode(), keys)
        for key in sorted(stored.keys() | new.keys()):
            where = f"{name}, {' '.join(part for part in key if part)}"
            if key not in new:
                found.append(f"{where}: no longer given")
            elif key not in stored:
                found.append(f"{where}: not in the committed file")
            else:
                found += [
                    f"{where}: {column} is {old!r}, a fresh run gives {new[key].get(column, '')!r}"
                    for column, old in stored[key].items()
                    if not _same(old, new[key].get(column, ""), placed=column in PLACED[name])
                ]
    return found


def _by_key(text: str, keys: Sequence[str]) -> dict[tuple[str, ...], dict[str, str]]:
    rows = csv.DictReader(io.StringIO(text), restkey="more than the header", restval="")
    return {tuple(str(row.get(key) or "") for key in keys): {k: str(v) for k, v in row.items()} for row in rows}


def _same(old: str, new: str, *, placed: bool) -> bool:
    """Alike within one step in the last stored place, or, where only digits are kept, in the last of them.

    Counts are small enough to have to agree.
    """
    if old == new:
        return True
    try:
        a, b = float(old), float(new)
    except ValueError:
        return False
    if math.isinf(a) or math.isinf(b):
        return a == b
    if not placed:
        return math.isclose(a, b, rel_tol=1.01 * 10.0 ** (1 - SIGNIFICANT), abs_tol=NOTHING)
    digits = min(len(text.partition(".")[2]) for text in (old, new))
    return abs(a - b) <= 1.01 * 10.0**-digits  # one step in the last stored place
