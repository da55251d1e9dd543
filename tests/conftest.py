"""Fixtures shared by all tests."""

from __future__ import annotations

import io
import pickle
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import first  # noqa: F401
import pytest
from house import PROGRAMS, Analysed, Published, copied, of_the_run, once

from sitegen import workflow
from sitegen.cli import main


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--tables`: every case of the simulated tables, not one of each claim."""
    parser.addoption("--tables", action="store_true", help="simulate every case of the tables, not one of each claim")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave the cases out that only `--tables` asks for."""
    if config.getoption("tables"):
        return
    left = [item for item in items if item.get_closest_marker("table")]
    if left:
        config.hook.pytest_deselected(items=left)
        items[:] = [item for item in items if item not in left]


@pytest.fixture(scope="session", autouse=True)
def cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """One cache folder for a run, and not the user's: what is slow to make is made once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SITEGEN_CACHE", str(of_the_run(tmp_path_factory) / "cache"))
        yield


@pytest.fixture(scope="session")
def examples(tmp_path_factory: pytest.TempPathFactory) -> Published:
    """Both example programs, published once a run."""

    def make(folder: Path) -> None:
        out, err = io.StringIO(), io.StringIO()
        with redirect_stdout(out), redirect_stderr(err):
            assert main(["publish", str(copied(folder)), "--to", str(folder / "site"), "--workers", "1"]) == 0, (
                err.getvalue()
            )
        for name, said in (("out", out), ("err", err)):
            (folder / name).write_text(said.getvalue(), encoding="utf-8")

    folder = once(tmp_path_factory, "examples", make)
    out, err = ((folder / name).read_text(encoding="utf-8") for name in ("out", "err"))
    return Published(folder / "programs", folder / "site", out, err)


@pytest.fixture(scope="session")
def blind(tmp_path_factory: pytest.TempPathFactory, examples: Published) -> Published:
    """The same for blinded reviewers."""

    def make(folder: Path) -> None:
        out = io.StringIO()
        with redirect_stdout(out), redirect_stderr(io.StringIO()):
            words = ["publish", str(examples.programs), "--to", str(folder / "site"), "--blind", "--workers", "1"]
            assert main(words) == 0
        (folder / "out").write_text(out.getvalue(), encoding="utf-8")

    folder = once(tmp_path_factory, "blind", make)
    return Published(examples.programs, folder / "site", (folder / "out").read_text(encoding="utf-8"), "")


@pytest.fixture(scope="session")
def analysed(tmp_path_factory: pytest.TempPathFactory) -> Analysed:
    """The example programs of the repository, read and analysed once a run."""

    def make(folder: Path) -> None:
        examination = workflow.examine(PROGRAMS)
        assert not examination.blocked
        made = (examination, workflow.with_files(workflow.conclude(examination)))
        (folder / "analysed").write_bytes(pickle.dumps(made, pickle.HIGHEST_PROTOCOL))

    path = once(tmp_path_factory, "analysed", make) / "analysed"
    return Analysed(*pickle.loads(path.read_bytes()))  # noqa: S301 - written by this run, in its own folder


@pytest.fixture(scope="session")
def concluded(analysed: Analysed) -> dict[str, workflow.Conclusion]:
    """The conclusions of the example programs by id."""
    return {each.analysis.program.id: each for each in analysed.conclusions}
