"""The results as a data package: what each column and each measure is, beside the tables, for other programs.

A description by the open standard (Data Package, version 2, with a Table Schema for each table), written from the
declarations of the measures, so that it says what the methods page says.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Mapping
from typing import Any

from sitegen.program.model import Program
from sitegen.results import alike
from sitegen.results.files import TABLES, results_id
from sitegen.vocabulary import Measure

NAME = "datapackage.json"
_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
_NUMBERS = frozenset(
    ("value", "low", "high", "se", "df", "se_common", "limit", "found", "error_rate", "estimate", "p", "p_randomised",
     "least_p", "level", "level_reference", "icc", "icc_low", "icc_high", "effective_tests", "effective_low",
     "effective_high")
)  # fmt: skip
_COUNTS = frozenset(
    ("cylinder", "n", "adjusted_over", "builds", "builds_reference", "cylinders", "cylinders_reference")
)
_TITLES = {
    "measures.csv": "Values: one a row, with unit and interval",
    "comparisons.csv": "Coatings against the reference",
    "verdicts.csv": "States of cylinders, answers to criteria, checks",
}
COLUMNS: Mapping[str, str] = {
    "engine": "Build; empty: of a coating, or of the whole program.",
    "cylinder": "Cylinder, by its number; empty: of the whole build.",
    "coating": "Coating, by its id; empty: of none, or of a build that holds several.",
    "phase": "Phase of the program, by its id; empty: of none.",
    "at": "Place inside the phase: a ring, a sample, a place in the bore; empty: the one there is.",
    "measure": "What it is a value of, by its id; `measures` says more of each.",
    "value": "The value, in the unit beside it; empty where none can be given, see status and reason.",
    "unit": "Unit of value, low, high and se; 1: none.",
    "low": "Lower end of the interval, 95 % where `measures` says confidence or prediction; -inf: open.",
    "high": "Upper end of the interval; of a value below detection the limit; inf: open.",
    "se": "Standard uncertainty of the part that is its own.",
    "df": "Degrees of freedom of se; empty: known, or above 1000.",
    "se_common": "Standard uncertainty of the part it shares with others; it cancels in differences among them.",
    "common": "With what it shares that part: tester, laboratory, lot, occasion.",
    "n": "How many it rests on.",
    "of": "What n counts: readings, cylinders, builds, pulls, samples.",
    "status": "ok; below: below detection; missing: planned and not there; refused: no method answers; excluded.",
    "flags": "With what care it is to be taken: words parted by blanks.",
    "reason": "Why there is no value, or what decided: a code, which the methods page explains.",
    "rule": "The rule that gave the word.",
    "word": "What it says: a state, an answer, a check.",
    "limit": "The limit it was held against.",
    "found": "The number that was held against it.",
    "route": "How the word follows from number, interval and limit.",
    "deciding": "The value that decided.",
    "error_rate": "How often such a word is wrong at the limit.",
    "adjusted_over": "Over how many answers the error is shared.",
    "reference": "The coating it is compared with.",
    "role": "primary: the comparison the program was planned for; else of the others.",
    "scope": "For which engines it speaks.",
    "design": "How the coatings were spread over builds.",
    "procedure": "The test that follows from the design.",
    "scale": "ratio or difference.",
    "estimate": "Ratio to the reference, or difference from it in the unit beside it.",
    "p": "p of no difference, by the procedure.",
    "p_randomised": "p by the lots as they were drawn.",
    "least_p": "The least p these builds can give.",
    "level": "Level of the coating.",
    "level_reference": "Level of the reference.",
    "builds": "Builds with the coating.",
    "builds_reference": "Builds with the reference.",
    "cylinders": "Cylinders with the coating.",
    "cylinders_reference": "Cylinders with the reference.",
    "icc": "Share of the scatter that lies between builds.",
    "icc_low": "Lower end of its interval.",
    "icc_high": "Upper end of its interval.",
    "effective_tests": "How many independent cylinders these are worth.",
    "effective_low": "Lower end of its interval.",
    "effective_high": "Upper end of its interval.",
    "verdict": "What the comparison says.",
}


def described(program: Program, files: Mapping[str, bytes], measures: Mapping[str, Measure]) -> bytes:
    """The description of a program's result tables, as JSON."""
    told: dict[str, Any] = {
        "$schema": _PROFILE,
        "name": program.id,
        "title": program.title,
        "description": " ".join(filter(None, (program.question, "Invented data." if program.invented else ""))),
        "results": results_id(files),
        "resources": [_resource(name, files[name]) for name in TABLES],
        "measures": {name: _measure(measures[name]) for name in _named(files) if name in measures},
    }
    return (json.dumps(told, indent=1, ensure_ascii=False) + "\n").encode()


def _resource(name: str, content: bytes) -> dict[str, Any]:
    header = content.split(b"\n", 1)[0].decode().split(",")
    return {
        "name": name.removesuffix(".csv"),
        "type": "table",
        "title": _TITLES[name],
        "path": name,
        "scheme": "file",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(content),
        "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
        "dialect": {"delimiter": ",", "lineTerminator": "\n", "quoteChar": '"', "header": True},
        "schema": {
            "fields": [{"name": column, "type": _type(column), "description": COLUMNS[column]} for column in header],
            "uniqueKeys": [[*alike.KEYS[name]]],
            "missingValues": [""],
        },
    }


def _type(column: str) -> str:
    return "number" if column in _NUMBERS else "integer" if column in _COUNTS else "string"


def _named(files: Mapping[str, bytes]) -> list[str]:
    """Measures that stand in a table, in order."""
    found: set[str] = set()
    for name in TABLES[:2]:
        rows = csv.reader(io.StringIO(files[name].decode()))
        at = next(rows).index("measure")
        found |= {row[at] for row in rows}
    return sorted(found)


def _measure(measure: Measure) -> dict[str, str]:
    facts = {
        "title": measure.title, "unit": measure.unit, "better": measure.better, "method": measure.method,
        "formula": measure.formula, "source": measure.source, "limits": measure.limits, "interval": measure.interval,
    }  # fmt: skip
    return {name: text for name, text in facts.items() if text}
