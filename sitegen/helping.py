"""Workers of a cluster that share the work of a publish; processes of this machine do it as `copies` says.

A task is paths and keys: whoever gets it reads the program itself, takes up from the shelves what others did, works
out the rest and puts it there, where whoever asked finds it. No result travels back. A helper that dies, or that does
not see what the others see, has therefore cost time and nothing else: what does not lie on the shelves is worked out
by whoever asked, with the same bytes and the same messages.
"""

from __future__ import annotations

import hashlib
import logging
import os
import sys
import tempfile
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import CancelledError
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sitegen.cache import cache_folder, ours
from sitegen.shelves import Shelves, code, digest

if TYPE_CHECKING:
    from sitegen.declarations import Stream
    from sitegen.program.model import Folder, Program
    from sitegen.results.run import Analysis, Evidence, Share
    from sitegen.vocabulary import Readings

_TURNS = 2  # tasks of pages that each helper gets: in one turn the last would be waited for too long
_PATIENCE = 5  # s in which a cluster answers


class ClusterError(Exception):
    """A cluster that is not there, cannot be used or went away, as a sentence."""


# ---- what is asked of a helper --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Place:
    """Where the files are, and with what code they are read."""

    programs: str  # path of the folder of programs
    files: str  # hash of its program files
    shelves: str  # path
    code: str

    @classmethod
    def of(cls, programs: Path, shelves: Path) -> Place:
        return cls(str(programs), _files(programs), str(shelves), code(pages=True))


def _files(programs: Path) -> str:
    told = hashlib.sha256()
    for path in sorted([programs / "definitions.yaml", *programs.glob("*/program.yaml")]):
        with suppress(OSError):
            told.update(f"{path.parent.name} {hashlib.sha256(path.read_bytes()).hexdigest()}\n".encode())
    return told.hexdigest()


@dataclass(frozen=True)
class ReadTask:
    """Put the readings of one stream on the shelves."""

    program: str
    stream: str

    def do(self, at: _Seen) -> None:
        """Raises whatever reading raises."""
        from sitegen import registry
        from sitegen.results.run import read_one

        stream = next(each for each in registry.STREAMS if each.name == self.stream)
        read_one(at.program(self.program), stream, at.shelves)


@dataclass(frozen=True)
class RunTask:
    """Put what steps of one build give on the shelves."""

    program: str
    lent: tuple[Any, ...]
    stand: str  # hash of all readings of the program
    share: Share

    def do(self, at: _Seen) -> None:
        """Raises whatever a step raises."""
        from sitegen import registry
        from sitegen.program.seen import by_steps
        from sitegen.results.run import run_share

        evidence, parts = at.recorded(self.program, self.stand)
        program = by_steps(at.lent(self.program, self.lent))
        run_share(program, evidence.digests, parts[self.share.engine], registry.steps(), self.share, at.shelves)


@dataclass(frozen=True)
class PagesTask:
    """Put the pages of some builds of one program on the shelves."""

    program: str
    lent: tuple[Any, ...]
    stand: str
    told: tuple[tuple[str, Any], ...]  # fields of the analysis that git knows
    builds: tuple[str, ...]
    theme: str  # path of the folder; "": ours
    planned: tuple[str, ...]  # programs with a plan

    def do(self, at: _Seen) -> None:
        """Raises whatever the pages raise."""
        from sitegen import registry
        from sitegen.pages.site import keep_pages

        analysis = at.analysis(self.program, self.lent, self.stand).but(**dict(self.told))
        keep_pages(
            at.folder, analysis, self.builds, registry.STREAMS, registry.measures(at.folder.programs),
            Path(self.theme) if self.theme else None, self.planned, at.shelves,
        )  # fmt: skip


Task = ReadTask | RunTask | PagesTask


class _Seen:
    """What a helper has read of a place."""

    def __init__(self, place: Place) -> None:
        from sitegen import workflow

        folder, _ = workflow.programs(Path(place.programs))
        if folder is None or _files(Path(place.programs)) != place.files:
            raise LookupError(f"{place.programs}: these are not the program files that were asked about")
        self.folder: Folder = folder
        self.shelves = Shelves(Path(place.shelves), memory=True)
        self._recorded: dict[str, tuple[str, Evidence, Mapping[str, Mapping[str, Readings]]]] = {}
        self._analyses: dict[str, tuple[str, Analysis]] = {}

    def program(self, name: str) -> Program:
        """A program by its id."""
        return next(each for each in self.folder.programs if each.id == name)

    def lent(self, name: str, lent: tuple[Any, ...]) -> Program:
        """The same with what other programs lend."""
        from dataclasses import replace

        return replace(self.program(name), lent=lent)

    def recorded(self, name: str, stand: str) -> tuple[Evidence, Mapping[str, Mapping[str, Readings]]]:
        """The readings of a program, and of each build. Raises LookupError where they are not those asked about."""
        from sitegen import registry
        from sitegen.program.seen import by_steps
        from sitegen.results.run import bare, by_engine, gather

        if name not in self._recorded or self._recorded[name][0] != stand:
            evidence = gather(self.program(name), registry.STREAMS, self.shelves)
            parts = by_engine(by_steps(evidence.program), bare(evidence.readings))
            self._recorded[name] = digest(evidence.digests), evidence, parts
        known, evidence, parts = self._recorded[name]
        if known != stand:
            raise LookupError(f"{name}: these are not the records that were asked about")
        return evidence, parts

    def analysis(self, name: str, lent: tuple[Any, ...], stand: str) -> Analysis:
        """The analysis of a program, from what lies on the shelves."""
        from dataclasses import replace

        from sitegen import workflow

        if name not in self._analyses or self._analyses[name][0] != stand:
            evidence = replace(self.recorded(name, stand)[0], program=self.lent(name, lent))
            self._analyses[name] = stand, workflow.analysed(evidence, self.shelves)
        return self._analyses[name][1]


@lru_cache(maxsize=1)
def _seen(place: Place) -> _Seen:
    return _Seen(place)


def do(place: Place, task: Task) -> str:
    """Do a task in this process; "" when it is done, else why not: then whoever asked does it."""
    try:
        if code(pages=True) != place.code:
            return "another version of sitegen or of what it rests on"
        task.do(_seen(place))
    except Exception as fault:
        return f"{type(fault).__name__}: {fault}"
    return ""


# ---- who helps ------------------------------------------------------------------------------------------------------


class Helpers:
    """Shares work among the workers of a cluster; see `workflow.Helpers`."""

    def __init__(self, cluster: Cluster, theme: Path | None = None) -> None:
        self._cluster = cluster
        self._place = Place("", "", "", "")
        self._theme = theme
        self._analyses: Mapping[str, Analysis] = {}
        self._planned: tuple[str, ...] = ()
        self.undone: list[str] = []  # why tasks were not done

    def begin(self, folder: Folder, shelves: Shelves) -> None:
        """See to it that all see what is seen here. Raises ClusterError."""
        if shelves.folder is None:
            raise LookupError("what helpers made is found on shelves that lie in a folder")
        self._place = Place.of(Path(folder.path), shelves.folder)
        self._cluster.see(self._place)

    def read(self, wanted: Sequence[tuple[Program, Stream]]) -> None:
        """Have readings put on the shelves."""
        from sitegen.results.run import size_of

        size = {(program.id, stream.name): size_of(program, stream) for program, stream in wanted}
        size = {each: bytes for each, bytes in size.items() if bytes}
        self._do(ReadTask(*each) for each in sorted(size, key=lambda each: -size[each]))  # the longest first

    def run(self, program: Program, stand: str, shares: Sequence[Share]) -> None:
        """Have results of steps put on the shelves."""
        self._do(RunTask(program.id, tuple(program.lent), stand, share) for share in shares)

    def pages_of(self, analyses: Iterable[Analysis], planned: Iterable[str]) -> Helpers:
        """The same, with what pages are made from."""
        self._analyses, self._planned = {each.program.id: each for each in analyses}, tuple(planned)
        return self

    def pages(self, builds: Mapping[str, Sequence[str]]) -> Callable[[], None]:
        """Have pages put on the shelves; what is returned waits for the last."""
        each = max(1, -(-sum(map(len, builds.values())) // (_TURNS * self._cluster.count)))
        tasks = [task for name, own in builds.items() for task in self._of(name, own, each)]
        waiting = self._handed(tasks)
        return lambda: self._wait(waiting)

    def _of(self, name: str, builds: Sequence[str], each: int) -> list[PagesTask]:
        """Tasks of at most so many builds of a program."""
        analysis = self._analyses[name]
        told = tuple(
            (known, getattr(analysis, known)) for known in ("looks", "changes", "written", "taken", "restated")
        )
        theme = str(self._theme.resolve()) if self._theme is not None else ""
        stand, lent, parts = digest(analysis.digests), tuple(analysis.program.lent), -(-len(builds) // each)
        return [PagesTask(name, lent, stand, told, tuple(builds[part::parts]), theme, self._planned)
                for part in range(parts)]  # fmt: skip

    def _do(self, tasks: Iterable[Task]) -> None:
        self._wait(self._handed(tasks))

    def _handed(self, tasks: Iterable[Task]) -> list[Callable[[], str | None]]:
        return [self._cluster.submit(self._place, task) for task in tasks]

    def _wait(self, waiting: Iterable[Callable[[], str | None]]) -> None:
        self.undone += [told for told in [wait() for wait in waiting] if told]


class Cluster:
    """Workers of a Dask scheduler that is running."""

    def __init__(self, address: str) -> None:
        """Raises ClusterError where none answers."""
        try:
            from distributed import Client
        except ImportError:
            raise ClusterError("--cluster needs the extra cluster: pip install 'sitegen[cluster]'") from None
        logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what went wrong is told once, by us
        self._address = address
        try:
            client: Any = Client  # it has no types
            self._client = client(address, timeout=_PATIENCE, set_as_default=False)
        except (OSError, TimeoutError, ValueError, TypeError) as fault:
            raise ClusterError(f"{address}: no cluster answers there ({_first_line(fault)}).") from None

    @property
    def count(self) -> int:
        """Threads of all workers."""
        threads: Mapping[str, int] = self._client.nthreads()
        return max(1, sum(threads.values()))

    def see(self, place: Place) -> None:
        """Ask each worker whether it sees what is seen here. Raises ClusterError."""
        shelves = Shelves(Path(place.shelves))
        question = uuid.uuid4().hex
        key = hashlib.sha256(question.encode()).hexdigest()
        shelves.put(key, question, str.encode)
        try:
            told = self._client.run(seen_from, place, key, question, on_error="return")
        except Exception as fault:
            raise self._lost(fault) from None
        if not told:
            raise ClusterError(f"{self._address}: no worker is there.")
        for worker, answer in sorted(told.items()):
            if isinstance(answer, BaseException):
                raise ClusterError(f"{worker}: it cannot be asked, so it has another version of sitegen or none "
                                   f"({_first_line(answer)}).")  # fmt: skip
            if answer:
                raise ClusterError(f"{worker}: {answer}")

    def submit(self, place: Place, task: Task) -> Callable[[], str | None]:
        """Hand out a task; what is returned waits for its end. Raises ClusterError where the cluster went away."""
        from distributed import KilledWorker

        try:
            future = self._client.submit(do, place, task, pure=False)
        except Exception as fault:
            raise self._lost(fault) from None

        def wait() -> str | None:
            try:
                told: str = future.result()
            except KilledWorker:
                return None  # it was lost more than once: done here
            except (Exception, CancelledError) as fault:
                raise self._lost(fault) from None
            return told

        return wait

    def close(self, now: bool) -> None:
        """Leave the cluster as it is."""
        with suppress(Exception):
            self._client.close(timeout=0 if now else _PATIENCE)

    def _lost(self, fault: BaseException) -> ClusterError:
        return ClusterError(f"{self._address}: the cluster was lost ({_first_line(fault)}).")


def seen_from(place: Place, key: str, question: str) -> str:
    """What a worker misses of what it was asked to work on, as a sentence; "" nothing."""
    if code(pages=True) != place.code:
        return "it has another version of sitegen, of Python or of a library."
    if _files(Path(place.programs)) != place.files:
        return f"it does not see the program files in {place.programs}. Expected storage that all workers share."
    shelves = Shelves(Path(place.shelves))
    answer = hashlib.sha256(key.encode()).hexdigest()
    shelves.put(answer, question, str.encode)
    if shelves.find(key, bytes.decode) != question or shelves.find(answer, bytes.decode) != question:
        return f"it does not see {place.shelves}. Expected SITEGEN_CACHE to name a folder that all workers share."
    return ""


def _first_line(fault: BaseException) -> str:
    return (str(fault) or type(fault).__name__).strip().split("\n")[0].rstrip(".")


# ---- for the length of a run ----------------------------------------------------------------------------------------


@contextmanager
def helped(cluster: str, kept: Shelves, theme: Path | None) -> Iterator[tuple[Shelves, Helpers | None]]:
    """Shelves, and who helps where a cluster is named; where nothing may be kept, shelves for this run alone.

    Raises ClusterError.
    """
    if not cluster:
        yield kept, None
        return
    with ExitStack() as stack:
        folder = kept.folder
        if folder is None or not (ours(folder, make=True) and os.access(folder, os.W_OK)):
            own = tempfile.TemporaryDirectory(prefix="sitegen-", dir=_shared_folder())
            folder = Path(stack.enter_context(own))
        workers = Cluster(cluster)
        stack.callback(lambda: workers.close(sys.exc_info()[0] is not None))
        yield Shelves(folder, memory=True), Helpers(workers, theme)


def _shared_folder() -> Path:
    folder = cache_folder()
    folder.mkdir(parents=True, exist_ok=True)
    return folder
