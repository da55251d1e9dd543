"""What was concluded as data frames, for notebooks and scripts of one's own."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sitegen.problems import as_text
from sitegen.reader.neutral import meant
from sitegen.vocabulary import Problem

if TYPE_CHECKING:
    import pandas as pd

    from sitegen.program.model import Folder

_WHOLE = ("cylinder", "n", "adjusted_over", "builds", "builds_reference", "cylinders", "cylinders_reference")
_NUMBERS = (
    "value", "low", "high", "se", "df", "se_common", "estimate", "p", "p_randomised", "least_p", "level",
    "level_reference", "icc", "icc_low", "icc_high", "effective_tests", "effective_low", "effective_high", "error_rate",
)  # fmt: skip


class InputError(Exception):
    """Program files or records are broken; `problems` holds every one, and the text lists them."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__(as_text(problems))
        self.problems = tuple(problems)


@dataclass(frozen=True)
class Findings:
    """What was concluded from a programs folder, one row as in the result files, with the program's id before it.

    Numbers are floats with NaN where there is none, counts are `Int64`, everything else is text ("" where empty).
    """

    measures: pd.DataFrame
    comparisons: pd.DataFrame
    verdicts: pd.DataFrame
    problems: tuple[Problem, ...]  # readings set aside and the like
    invented: frozenset[str] = frozenset()  # ids of the programs whose data are invented


def findings(path: Path | str, *, committed: bool = False) -> Findings:
    """What is concluded from a programs folder, or from one program's folder.

    Parameters: `path` the folder; `committed` takes the result files as they lie beside the program files, without
    reading a record, instead of working them out.

    Raises InputError where something must be mended first; FileNotFoundError where results are asked for as committed
    and a program has none.
    """
    from sitegen import workflow
    from sitegen.results.files import FOLDER, TABLES, damage

    folder = Path(path)
    home: Folder | None
    if committed:
        home, problems = workflow.programs(folder)
        if home is None or home.left:
            raise InputError(problems)
        damaged = [workflow.stale_problem(each, what) for each in home.programs for what in damage(each)]
        if damaged:
            raise InputError(damaged)
        found = [
            (program.id, {name: (Path(program.folder) / FOLDER / name).read_bytes() for name in TABLES})
            for program in home.programs
        ]
    else:
        examination = workflow.examine(folder)
        if examination.blocked:
            raise InputError(examination.problems)
        problems, home = list(examination.problems), examination.folder
        conclusions = workflow.with_files(workflow.conclude(examination))
        found = [(each.analysis.program.id, dict(each.files)) for each in conclusions]
    measures, comparisons, verdicts = (_joined([(program, files[name]) for program, files in found]) for name in TABLES)
    invented = frozenset(program.id for program in home.programs if program.invented) if home else frozenset()
    return Findings(measures, comparisons, verdicts, tuple(problems), invented)


def _joined(parts: Sequence[tuple[str, bytes]]) -> pd.DataFrame:
    import pandas as pd

    frames = []
    for program, content in parts:
        frame = pd.read_csv(io.BytesIO(content), dtype=str, keep_default_na=False).map(meant)
        frame.insert(0, "program", program)
        frames.append(frame)
    joined = pd.concat(frames, ignore_index=True)
    for column in joined.columns:
        if column in _NUMBERS:
            joined[column] = pd.to_numeric(joined[column])
        elif column in _WHOLE:
            joined[column] = pd.to_numeric(joined[column]).astype("Int64")
    return joined
