"""A durability run of 40 h of one build, logged every ten seconds, with what is done to it; and what is concluded."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pandas as pd
from events.test_events import needed
from house import fewer

from sitegen import registry, workflow
from sitegen.results.run import Analysis, analyse, gather

PROGRAM, ENGINE, PHASE = "pump-rings-2025", "A1", "durability"
STEP = 10  # s
HEADERS = {  # channel: header, unit, level
    "speed": ("Speed", "rpm", 1800.0),
    "torque": ("Brake torque", "N m", 140.0),
    "blowby": ("Blow-by", "L/min actual", 24.0),
    "crankcase_pressure": ("Crankcase", "kPa gauge", 0.4),
    "oil_pressure": ("Oil pressure", "kPa gauge", 330.0),
    "oil_temperature": ("Oil", "degC", 92.0),
    "coolant_temperature": ("Coolant", "degC", 85.0),
    "exhaust_temperature_1": ("Exhaust 1", "degC", 521.0),
    "exhaust_temperature_2": ("Exhaust 2", "degC", 515.0),
    "exhaust_temperature_3": ("Exhaust 3", "degC", 530.0),
    "exhaust_temperature_4": ("Exhaust 4", "degC", 518.0),
}

Columns = dict[str, np.ndarray]


def quiet(hours: float, headers: Mapping[str, tuple[str, str, float]] = HEADERS, seed: int = 7) -> Columns:
    """Independent noise of 1 % about a level, of the speed a tenth of it, with two decimals as a logger writes them."""
    rng = np.random.default_rng(seed)
    n = round(hours * 3600 / STEP)
    made = {"Time": STEP * np.arange(n, dtype=float)}
    for name, (header, _, level) in headers.items():
        made[header] = level * (1 + (0.001 if name in {"speed", "demand"} else 0.01) * rng.standard_normal(n))
    return made


def laid(
    tmp_path: Path, change: Callable[[Columns], object] = lambda _: None, hours: float = 40.0, *,
    rules: str = "", phase: str = "", edit: Callable[[str], str] = lambda text: text,
    headers: Mapping[str, tuple[str, str, float]] = HEADERS,
) -> Path:  # fmt: skip
    """The folder of the smaller example with that log; `rules` go before `run`, `phase` into the durability run."""
    tmp_path.mkdir(exist_ok=True)
    folder = fewer(tmp_path)
    columns = quiet(hours, headers)
    change(columns)
    frame = pd.DataFrame(columns)
    frame.round(2).to_csv(folder / PROGRAM / "logs" / "long.csv", index=False)
    channels = "".join(
        f"        {name}: {{header: {header}, unit: '{unit}'" + (", meter: M1}\n" if name == "blowby" else "}\n")
        for name, (header, unit, _) in headers.items()
        if header in frame
    )
    entry = (
        f"  runlog:\n    - file: logs/long.csv\n      engine: {ENGINE}\n      phase: {PHASE}\n"
        f"      time: {{column: Time, unit: s}}\n      channels:\n{channels}"
    )
    program = folder / PROGRAM / "program.yaml"
    text = program.read_text(encoding="utf-8")
    for old, new in (
        ("  runlog:\n", entry), ("run:\n", f"{rules}run:\n"),
        ("    kind: durability\n", f"    kind: durability\n{phase}"),
    ):  # fmt: skip
        assert text.count(f"\n{old}") == 1, old
        text = text.replace(f"\n{old}", f"\n{new}")
    program.write_text(edit(text), encoding="utf-8")
    return folder


def concluded(folder: Path, *names: str) -> Analysis:
    """What steps of those names conclude of it."""
    read, report = workflow.programs(folder / PROGRAM)
    assert read is not None, report
    wanted = [each for each in registry.steps() if each.name in names]
    steps = list({step.name: step for each in wanted for step in needed(registry.steps(), each)}.values())
    reads = {name for step in steps for name in step.reads}
    streams = [each for each in registry.STREAMS if each.name in reads]
    return analyse(gather(read.programs[0], streams), streams, steps)


def values(found: Analysis, measure: str) -> Mapping[str, object]:
    """By place, of the long run: value, or the reason why there is none."""
    return {
        f"{key.at}{f':{key.cylinder}' if key.cylinder and measure != 'watch.size' else ''}": value.reason or value.value
        for (name, key), value in found.values.items()
        if name == measure and (key.engine, key.phase) == (ENGINE, PHASE)
    }


def words(found: Analysis, rule: str) -> Mapping[str, str]:
    """By place, of the long run."""
    return {
        f"{v.key.at}{f':{v.key.cylinder}' if v.key.cylinder else ''}": v.word
        for v in found.verdicts
        if v.rule == rule and (v.key.engine, v.key.phase) == (ENGINE, PHASE)
    }
