"""What the pages say of traces is true where a place was traced in one state only."""

from __future__ import annotations

import pytest
from house import Analysed

from sitegen import registry
from sitegen.page.addresses import Addresses
from sitegen.page.blocks import Figure
from sitegen.page.view import Desk, View
from sitegen.streams.surfaces import cylinder


@pytest.mark.parametrize("states", [1, 2])
def test_a_trace_of_one_state_has_nothing_grey_beside_it(
    analysed: Analysed, monkeypatch: pytest.MonkeyPatch, states: int
) -> None:
    known = analysed.examination.folder
    assert known is not None
    analysis = next(each.analysis for each in analysed.conclusions if each.analysis.program.id == "pump-rings-2026")
    at, measures = Addresses.of(known), registry.measures([analysis.program])
    view = View(known, measures, at, "programs/x.html", Desk(analysis), analysis.program.build("B1"), 1)
    every = cylinder.traced(view)
    assert len(every) == 2
    monkeypatch.setattr(cylinder, "traced", lambda _: every[-states:])
    (figure,) = (each for each in cylinder.cylinder_bore(view) if isinstance(each, Figure))
    ((panel),) = figure.panels
    grey = {row["line"]: row["grey"] for row in panel.data["path"]}
    if states == 1:
        assert figure.caption == "Traced at teardown only. Levelled, unfiltered."
        assert grey == {"teardown": False}
    else:
        assert figure.caption.startswith("Grey: cold build; coloured: teardown.")
        assert grey == {"cold-build": True, "teardown": False}
