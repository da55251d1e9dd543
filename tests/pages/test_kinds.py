"""The drawings behind charts are what Vega-Lite's schema says a drawing is."""

from __future__ import annotations

import altair as alt
import pytest
from jsonschema import ValidationError

from sitegen.pages.kinds import drawings

MADE = drawings()


@pytest.mark.parametrize("kind", MADE)
def test_a_drawing_keeps_to_the_schema_of_vega_lite(kind: str) -> None:
    """Held by Altair's copy of the published schema, since no part is held against it where it is made."""
    alt.LayerChart.from_dict(MADE[kind])


def test_a_mistake_would_be_found() -> None:
    wrong = {**MADE["run"], "autosize": {"type": "nothing"}}
    with pytest.raises(ValidationError):
        alt.LayerChart.from_dict(wrong)
