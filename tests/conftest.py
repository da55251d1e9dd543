"""Fixtures shared by all tests."""

from __future__ import annotations

from pathlib import Path

import pytest
from house import copied

from sitegen import workflow
from sitegen.cli import main


@pytest.fixture(scope="session")
def concluded() -> dict[str, workflow.Conclusion]:
    """The example programs, analysed once."""
    examination = workflow.examine(Path(__file__).parent.parent / "programs")
    assert not examination.blocked
    return {each.analysis.program.id: each for each in workflow.with_files(workflow.conclude(examination))}


@pytest.fixture(scope="session")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site of the example programs, as the command writes it."""
    folder = tmp_path_factory.mktemp("published")
    assert main(["publish", str(copied(folder)), "--to", str(folder / "site")]) == 0
    return folder / "site"
