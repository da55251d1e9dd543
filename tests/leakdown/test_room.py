"""What barometer and thermometer do to leak areas, against the flow through two openings worked out apart."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from second.generator import COOL, PSI, ROOM, WARM, mass_flux
from tables.house import Folder, program

from sitegen.program.model import Program, Tool
from sitegen.streams.leakdown.area import _of_room
from sitegen.streams.leakdown.checks import checks
from sitegen.streams.leakdown.fields import Reading
from sitegen.tables.rows import rows_of

HEAD = (
    "engine,cylinder,phase,tester,supply [psig],pressure [psig],crank,ambient [kPa absolute],"
    "air_temperature [degC],metal_temperature [degC]\n"
)


def share(of: Program, tmp_path: Path, row: str) -> float:
    (check,) = checks(of, rows_of(Folder(tmp_path).leak(HEAD + row).frame, Reading))
    return _of_room(of, check)


def ratio(room: float = ROOM, cool: float = COOL, warm: float = WARM) -> float:
    """Leak over master at 80 and 6 psig."""
    p0, p1, p2 = (np.array([each]) for each in (room, room + 80 * PSI, room + 6 * PSI))
    return float((mass_flux(p1, p2, cool) / mass_flux(p2, p0, warm))[0])


def test_an_area_carries_the_limits_of_barometer_and_thermometer(tmp_path: Path) -> None:
    """2 kPa and 5 K, on a leak so large that the flow through it is not choked: 1.9 % in all."""
    of = program(tmp_path)
    row = "B1,1,cold-build,T1,80,6,tdc,101,21,60\n"
    assert share(of, tmp_path, row) == 0.0  # none is stated
    tools = {"b": Tool("b", "b", "barometer", 2000.0), "t": Tool("t", "t", "thermometer", 5.0)}
    known = replace(of, definitions=replace(of.definitions, tools=tools))
    parts = [ratio(room=ROOM + 2000), ratio(cool=COOL + 5), ratio(warm=WARM + 5)]
    expected = math.hypot(*(each / ratio() - 1 for each in parts))
    assert share(known, tmp_path, row) == pytest.approx(expected, rel=0.01)
    silent = share(known, tmp_path, row.replace("101", ""))  # a pressure that was assumed is flagged so
    assert silent == pytest.approx(math.hypot(*(each / ratio() - 1 for each in parts[1:])), rel=0.02)
