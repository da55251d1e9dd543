"""Every reason the results can give, by code. Codes go to the results; the wording stays here.

A reason is one clause that can follow "because", in plain words, without a final stop.
"""

from __future__ import annotations

# Why a reading is set aside or left out (`use` of Readings).
READING: dict[str, str] = {
    "excluded": "an objection to it was accepted",
}

# Why a value or a verdict is refused, missing or not to be relied on.
ANSWER: dict[str, str] = {
    "no-reading": "no usable reading was taken",
    "to-come": "the phase is still to come",
}

# With what care a value is to be taken (`flags`).
FLAGS: dict[str, str] = {
    "from-schedule": "the distance comes from the planned schedule, not from a run log",
    "path-unknown": "where the air went was not recorded, so valves or gasket may share in it",
}

# Set aside for a reason that leaves the number itself readable: shown with the value the check would have had with it.
RESTORABLE = frozenset({"excluded", "past-calibration"})

CATALOGUE: dict[str, str] = {**READING, **ANSWER, **FLAGS}
