"""What the measuring tools of a program can show at all, before the first start."""

from __future__ import annotations

import math
from collections.abc import Iterable

from sitegen.declarations import Smallest
from sitegen.methods.ringgap import face_wear
from sitegen.program.model import Program
from sitegen.streams.buildsheet.measures import FACE_WEAR, MASS_LOSS, TENSION


def smallest(program: Program) -> Iterable[Smallest]:
    """Mass lost by each balance, tension by each gauge, face wear by each feeler: two readings within their limits."""
    bores = [build.engine_type.bore for build in program.builds]
    bores = bores or [each.bore for each in program.definitions.engine_types.values()]
    for tool in program.definitions.tools.values():
        if tool.kind == "balance":
            because = f"{tool.title}: ±{tool.limit * 1e6:.3g} mg at each weighing, what cleaning scatters left out"
            yield Smallest(MASS_LOSS.id, "mass a ring must lose", 2 * tool.limit * 1e6, because)
        if tool.kind == "tension-gauge":
            least, because = math.sqrt(2) * tool.limit, f"{tool.title}: ±{tool.limit:.3g} N at each reading"
            yield Smallest(TENSION.id, "tension a ring must lose", least, because, "difference")
        if tool.kind == "feeler" and bores:
            wear = face_wear(2 * tool.limit, max(bores), 0.0)
            because = f"{tool.title}: ±{tool.limit * 1e3:.3g} mm at each reading of the gap"
            told = program.expected_wear
            expected = None if told is None else (told[0] * 1e6, told[1] * 1e6)
            yield Smallest(FACE_WEAR.id, "face wear that opens the gap enough", wear * 1e6, because, expected=expected)
