"""Fixtures shared by all tests."""

from __future__ import annotations

from pathlib import Path

import pytest

from sitegen import workflow


@pytest.fixture(scope="session")
def concluded() -> dict[str, workflow.Conclusion]:
    """The example programs, analysed once."""
    examination = workflow.examine(Path(__file__).parent.parent / "programs")
    assert not examination.blocked
    return {each.analysis.program.id: each for each in workflow.with_files(workflow.conclude(examination))}
