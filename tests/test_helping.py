"""Clusters that help: the same bytes as alone, whoever dies; a clear word where they cannot be used."""

from __future__ import annotations

import os
import signal
import socket
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from house import Published, copied, fewer, plain

from sitegen import helping, workflow
from sitegen.cli import main
from sitegen.pages.press import Press, Task
from sitegen.program.model import Program
from sitegen.results import run
from sitegen.shelves import NONE, Shelves
from sitegen.vocabulary import Result

distributed = pytest.importorskip("distributed")
Bytes = tuple[Mapping[str, bytes], ...]


def tree(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def made(programs: Path, kept: Shelves = NONE, helpers: helping.Helpers | None = None) -> Bytes:
    """Every file of the site and of the results, written nowhere."""
    rendered = workflow.render(workflow.examine(programs, shelves=kept, helpers=helpers), None)
    return rendered.site, *(each.files for each in rendered.conclusions)


@pytest.fixture(scope="module")
def programs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return fewer(tmp_path_factory.mktemp("programs"))


@pytest.fixture(scope="module")
def alone(programs: Path) -> Bytes:
    return made(programs)


def test_who_sees_other_files_or_has_another_version_does_nothing(tmp_path: Path) -> None:
    programs = plain(tmp_path)
    seen = helping.Place.of(programs, tmp_path / "kept")
    task = helping.ReadTask("plain", "leakdown")
    other = helping.Place(seen.programs, seen.files, seen.shelves, "another")
    assert helping.do(other, task) == "another version of sitegen or of what it rests on"
    (programs / "definitions.yaml").write_bytes((programs / "definitions.yaml").read_bytes() + b"\n# later\n")
    assert "not the program files that were asked about" in helping.do(seen, task)
    assert not (tmp_path / "kept").exists()


# ---- a cluster ------------------------------------------------------------------------------------------------------


@contextmanager
def cluster() -> Iterator[Any]:
    """Two worker processes on this machine."""
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1", silence_logs=50
    ) as made:
        yield made


def published(programs: Path, site: Path, address: str) -> int:
    return main(["publish", str(programs), "--to", str(site), "--cluster", address])


pytestmark = pytest.mark.filterwarnings("default")  # of distributed and what it rests on


def test_a_cluster_publishes_the_examples_as_one_process_does(
    tmp_path: Path, examples: Published, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SITEGEN_CACHE", str(tmp_path / "cache"))  # nothing is kept yet
    programs, undone = copied(tmp_path), []
    wait = helping.Helpers._wait

    def noted(self: helping.Helpers, waiting: Any) -> None:
        wait(self, waiting)
        undone.append([*self.undone])

    monkeypatch.setattr(helping.Helpers, "_wait", noted)
    with cluster() as two:
        assert published(programs, tmp_path / "site", two.scheduler_address) == 0
    assert undone
    assert undone[-1] == []
    assert tree(tmp_path / "site") == tree(examples.site)
    assert tree(programs) == tree(examples.programs)


def test_a_cluster_does_the_work_of_builds(programs: Path, alone: Bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    """No step and no page of a build is left to this process."""
    left: list[str] = []
    step, page = run._run_step, Press._made

    def noted_step(program: Program, engine: str, step_: Any, *of: Any) -> list[Result]:
        if len(program.builds) > 1 and engine:  # a single build: what a phase would have had with a reading left out
            left.append(f"{step_.name} of {engine}")
        return step(program, engine, step_, *of)

    def noted_page(self: Press, task: Task) -> Any:
        if task.build:
            left.append(task.path)
        return page(self, task)

    monkeypatch.setattr(run, "_run_step", noted_step)
    monkeypatch.setattr(Press, "_made", noted_page)
    with cluster() as two, helping.helped(two.scheduler_address, NONE, None) as (kept, helpers):
        assert helpers is not None
        assert kept.folder is not None
        assert kept.folder.stat().st_mode & 0o077 == 0
        assert made(programs, kept, helpers) == alone
        assert helpers.undone == []
        of_the_run = kept.folder
    assert left == []
    assert not of_the_run.exists()


def test_a_cluster_that_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    programs, site = plain(tmp_path), tmp_path / "site"
    assert main(["publish", str(programs), "--to", str(site), "--workers", "1"]) == 0
    before = tree(tmp_path)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    monkey = pytest.MonkeyPatch()
    with monkey.context() as patch:
        patch.setattr(helping, "_PATIENCE", 1)
        (programs / "definitions.yaml").write_bytes((programs / "definitions.yaml").read_bytes() + b"\n# later\n")
        before |= {"programs/definitions.yaml": (programs / "definitions.yaml").read_bytes()}
        assert published(programs, site, address) == 1
    told = capsys.readouterr().err
    assert f"{address}: no cluster answers there" in told
    assert told.endswith("Nothing was written.\n")
    assert tree(tmp_path) == before


def test_who_cannot_be_used_is_refused_and_a_cluster_that_goes_away_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another version, files that are not seen, and a worker lost in the midst: in turns, on one cluster."""
    monkeypatch.setenv("SITEGEN_CACHE", str(tmp_path / "cache"))
    programs, site = fewer(tmp_path), tmp_path / "site"
    results = tree(programs)
    seen = helping.Place.of(programs, tmp_path / "cache" / "work")
    with cluster() as two:
        for what, other in {
            "it has another version": helping.Place(seen.programs, seen.files, seen.shelves, "another"),
            "it does not see the program files": helping.Place(
                str(tmp_path / "gone"), seen.files, seen.shelves, seen.code
            ),
        }.items():
            with monkeypatch.context() as patch:
                patch.setattr(helping.Place, "of", lambda *_, other=other: other)
                assert published(programs, site, two.scheduler_address) == 1
            told = capsys.readouterr().err
            assert what in told
            assert told.endswith("Nothing was written.\n")
            assert not site.exists()

        hand = helping.Helpers.run

        def and_lose(self: helping.Helpers, *of: Any) -> None:
            two.close()
            hand(self, *of)

        with monkeypatch.context() as patch:
            patch.setattr(helping.Helpers, "run", and_lose)
            assert published(programs, site, two.scheduler_address) == 1
        told = capsys.readouterr().err
        assert "the cluster was lost" in told
        assert told.endswith("Nothing was written.\n")
    assert not site.exists()
    assert tree(programs) == results


def test_a_worker_of_a_cluster_that_is_killed_changes_nothing(
    programs: Path, alone: Bytes, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    killed: list[int] = []
    hand = helping.Helpers.run
    with cluster() as two:

        def and_kill(self: helping.Helpers, *of: Any) -> None:
            if not killed:
                killed.append(next(iter(two.workers.values())).pid)
                os.kill(killed[0], signal.SIGKILL)
            hand(self, *of)

        monkeypatch.setattr(helping.Helpers, "run", and_kill)
        with helping.helped(two.scheduler_address, Shelves(tmp_path), None) as (kept, helpers):
            assert made(programs, kept, helpers) == alone
    assert killed
