"""A site for reviewers who are not to know which coating is where: everything is worked out, then the coatings go.

Results are those of the real coatings, to the digit. Before pages are made, all coatings become one that is not shown;
what is of a coating (comparisons, answers, values of a group of rings, lots, layers) is taken out, and every text of
the user's that names one is withheld. At the end the bytes of the whole site are searched once more.

A name is an id, a title or a lot. Words of ids and titles count as names too, save metals and words of the trade; of
processes and layers only what the pages do not say themselves. What the pages say themselves ("hard", "plain") can be
withheld from a user's text, and not be searched for at the end.
"""

from __future__ import annotations

import ast
import html
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from functools import cached_property, lru_cache
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

from sitegen import places, registry
from sitegen.methods import elements
from sitegen.page import words
from sitegen.program.covered import covered
from sitegen.program.inside import PathFault, file_inside
from sitegen.program.model import Coating, Definitions, Folder, Moved, OilSource, Place, Program, Review
from sitegen.regular import read_regular
from sitegen.results.run import Analysis
from sitegen.shelves import digest
from sitegen.vocabulary import Key, Problem, Readings, Series, Value, Verdict

if TYPE_CHECKING:
    import pandas as pd

# No title: a sentence about all coatings is one about all rings. Its order gives a colour that is not grey, since what
# was before is drawn in grey, and the first point shape, with a whole line.
COVERED = Coating("covered", "", 57)
WITHHELD = "text withheld"  # in place of one that names a coating
MOST_TOLD = 5  # places named where a site is refused
_SHORTEST = 3  # letters of a word that is a name by itself
_SHORTEST_IN_PIXELS = 5  # bytes: shorter ones lie in any picture by chance
_TRADE = frozenset(
    {
        "ring", "rings", "coating", "coatings", "coated", "uncoated", "layer", "layers", "face", "faces", "piston",
        "bore", "cylinder", "engine", "build", "top", "second", "oil", "set", "lot", "with", "without", "and", "the",
        "for",
    }
)  # fmt: skip  # words of names that name nothing by themselves
_PICTURES = (".png", ".jpg", ".jpeg")
_TEXTS = frozenset(
    {
        "title", "note", "why", "process", "grade", "grades", "cause", "causes", "operator", "cell", "draw_point",
        "fuel", "question", "what", "expected", "nearest", "next_step", "column_name", "by", "certificate",
    }
)  # fmt: skip  # fields that hold words of the user's; all others are ids, or are not printed


class NotBlindError(Exception):
    """A finished site names a coating still; says where, as a sentence for the user."""


# ---- names ----------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def own_words() -> str:
    """What pages say by themselves: texts of our code, theme and releases, without what is said to programmers."""
    here = Path(__file__).parent
    said = [path.read_text("utf-8") for path in sorted(places.theme().rglob("*")) if path.is_file()]
    said.append((here / "releases.yaml").read_text("utf-8"))
    sources = [here / "reasons.py", here / "units.py"]
    for part in ("page", "pages", "streams", "crossing", "methods", "tables", "logs", "traces", "reader"):
        sources += sorted((here / part).rglob("*.py"))
    for source in sources:
        tree = ast.parse(source.read_bytes())
        told = {id(each.value) for each in ast.walk(tree) if isinstance(each, ast.Expr)}
        said += [
            each.value for each in ast.walk(tree)
            if isinstance(each, ast.Constant) and isinstance(each.value, str) and id(each) not in told
        ]  # fmt: skip
    return "\n".join(said)


def _parts(name: str) -> list[str]:
    """Runs of letters and runs of digits."""
    return re.findall(r"[^\W\d_]+|\d+", name)


def _pattern(name: str, between: str) -> str:
    """A name however it is joined, and in capitals or not; a single letter only as it is written.

    >>> bool(re.search(_pattern("N-187", r"[\\W_]*"), "rings n187, new", re.IGNORECASE))
    True
    """
    joined = between.join(map(re.escape, _parts(name)))
    return f"(?-i:{joined})" if len(joined) == 1 else joined


def _whole(patterns: Iterable[str]) -> re.Pattern[str]:
    return re.compile(rf"(?<![^\W_])(?:{'|'.join(patterns)})(?![^\W_])", re.IGNORECASE)


@dataclass(frozen=True)
class Names:
    """What names a coating of a folder."""

    shown: tuple[str, ...]  # withheld from every text, the longest first
    searched: tuple[str, ...]  # of these, what no page says by itself: looked for in the finished site
    withheld: set[str] = field(default_factory=set, compare=False)  # texts that were

    @classmethod
    def of(cls, definitions: Definitions, programs: Sequence[Program], lots: Iterable[str]) -> Names:
        """Names of all coatings of a folder, with lots of its programs and others that records tell."""
        coatings = definitions.coatings.values()
        sources = [each for program in programs for each in program.oil.sources if each.coating]
        called = {name for each in coatings for name in (each.id, each.title)}
        worded = {word for each in coatings for name in (each.id, each.title) for word in _long(name)}
        worded -= {*_TRADE, *elements.ALL.values()}
        numbered = {place.lot for program in programs for build in program.builds for place in build.places}
        made = {each.process for each in coatings}
        made |= {text for each in coatings for layer in each.layers for text in (layer.name, layer.process)}
        made |= {word for text in made for word in _long(text)}
        made |= {name for each in sources for name in (each.id, each.title)}
        always = {each for each in (*called, *worded, *numbered, *lots) if _parts(each)}
        perhaps = {each for each in made if _parts(each)} - always
        # ids that the house gives to assemblies stand on pages as well
        ours = "\n".join([own_words(), *(a.id for program in programs for b in program.builds for a in b.assemblies)])
        said = {each for each in always | perhaps if _whole([_pattern(each, r"[\W_]*")]).search(ours)}
        told = always | (perhaps - said)
        shown = tuple(sorted(told, key=lambda each: (-len(each), each)))
        return cls(shown, tuple(each for each in shown if each not in said and not each.isdigit()))

    def told(self) -> str:
        """What was withheld, and which names could not be searched for, as a clause of the closing line."""
        count = len(self.withheld)
        text = f"; {words.counted(count, 'text')} that {'names' if count == 1 else 'name'} a coating withheld"
        said = sorted(set(self.shown) - set(self.searched))
        common = f"; withheld, but words of the pages themselves and so not searched for: {', '.join(said)}"
        return (text if count else "") + (common if said else "")

    @cached_property
    def _any(self) -> re.Pattern[str]:
        return _whole(_pattern(each, r"[\W_]*") for each in self.shown)

    def held(self, text: str) -> bool:
        """Whether a text names a coating."""
        return bool(self.shown) and self._any.search(text) is not None

    def covered(self, text: str, instead: str = WITHHELD) -> str:
        """The text, or what stands in place of one that names a coating."""
        if not self.held(text):
            return text
        self.withheld.add(text)
        return instead

    def hold(self, site: Mapping[str, bytes]) -> None:
        """Raises NotBlindError where a file of a finished site names a coating."""
        found = self.leaks(site)
        if found:
            told = "; ".join(f'{path}: "{name}"' for path, name in found[:MOST_TOLD])
            more = f"; {len(found) - MOST_TOLD} more" if len(found) > MOST_TOLD else ""
            raise NotBlindError(
                f"The pages would name a coating: {told}{more}. Ids of programs, builds, phases, readings and "
                "instruments are shown as they are, and so is a theme of your own: rename what says it. Nothing was "
                "written."
            )

    def leaks(self, site: Mapping[str, bytes]) -> list[tuple[str, str]]:
        """Every file of a finished site that names a coating still, with the name."""
        wanted = [(each, max(_parts(each), key=len).lower(), _whole([_pattern(each, r"[\s_.,/‐-―-]*")]))
                  for each in self.searched]  # fmt: skip
        found = []
        for path, content in sorted(site.items()):
            if path.lower().endswith(_PICTURES):
                pixels = content.lower()
                found += [(path, each) for each in self.searched
                          if len(each) >= _SHORTEST_IN_PIXELS and each.lower().encode() in pixels]  # fmt: skip
                continue
            text = f"{path}\n{content.decode('utf-8', 'replace')}"
            plain = html.unescape(unquote(_ESCAPED.sub(lambda code: chr(int(code[1], 16)), text)))
            for each in (text, plain) if plain != text else (text,):
                lower = each.lower()
                found += [(path, name) for name, part, whole in wanted if part in lower and whole.search(each)]
        return list(dict.fromkeys(found))


_ESCAPED = re.compile(r"\\u([0-9a-fA-F]{4})")


def _long(text: str) -> set[str]:
    """Words of a text that may be names by themselves."""
    return {each.lower() for each in re.findall(r"[^\W\d_]+", text) if len(each) >= _SHORTEST}


# ---- the folder and its programs ------------------------------------------------------------------------------------


def blinded(folder: Folder, analyses: Sequence[Analysis]) -> tuple[Folder, list[Analysis], Names]:
    """The same folder and analyses with one coating that is not shown in place of all, and what was taken out."""
    lots = {str(lot) for each in analyses for readings in each.readings.values() for lot in set(readings.cells("lot"))
            if isinstance(lot, str)}  # fmt: skip
    names = Names.of(folder.definitions, folder.programs, lots)
    stamp = digest(("blind", names.shown))
    definitions = replace(_covered(folder.definitions, names), coatings={COVERED.id: COVERED})
    covers = {each.program.id: _Cover(names, each, definitions, stamp) for each in analyses}
    programs = [covers[each.id].program for each in folder.programs]
    made = [covers[each.program.id].analysis() for each in analyses]
    return replace(folder, definitions=definitions, programs=programs, blind=True), made, names


_PLAIN = (int, float, bool, type(None))


def _covered(of: Any, names: Names, name: str = "") -> Any:
    """The same with every text of the user's covered that names a coating; a title by the id it belongs to."""
    if isinstance(of, str):
        return names.covered(of) if name in _TEXTS else of
    if isinstance(of, _PLAIN):
        return of
    if isinstance(of, tuple) and type(of) is tuple:
        return tuple(_covered(each, names, name) for each in of)
    if isinstance(of, dict):
        return {key: _covered(each, names, name) for key, each in of.items()}
    if is_dataclass(of) and not isinstance(of, type):
        old = {each.name: getattr(of, each.name) for each in fields(of)}
        new = {own: _covered(each, names, own) for own, each in old.items()}
        if new.get("title") == WITHHELD:
            new["title"] = old.get("id", WITHHELD)
        return replace(of, **new) if any(new[own] is not old[own] for own in old) else of
    return of


class _Cover:
    """What of one analysis a reviewer may see."""

    def __init__(self, names: Names, analysis: Analysis, definitions: Definitions, stamp: str) -> None:
        self._names, self._real, self._stamp = names, analysis, stamp
        self._builds = {each.id: each for each in analysis.program.builds}
        self._order = {name: n for n, name in enumerate(self._builds)}
        self._sources = {each.id for each in analysis.program.oil.sources if each.coating}
        self._closed = {each.id for each in registry.of_coatings()}
        self._stems = {
            f"{stem}:": f"{covered(analysis.program, stem)}:"
            for stem in {PurePosixPath(each.file).stem for each in analysis.program.records} if names.held(stem)
        }  # fmt: skip
        self._files = self._renamed()
        self.program = self._program(definitions)

    def _renamed(self) -> dict[str, str]:
        """Files that name a coating -> what they are called here; readings are named after their table."""
        real = self._real
        every = {*real.inputs, *(file for own in real.readings.values() for file in own.files)}
        every |= {each.file for each in real.problems}
        every |= {str(file) for own in real.readings.values() for file in set(own.cells("file"))}
        found = {}
        for file in filter(self._names.held, every):
            stem = PurePosixPath(file).stem
            own = stem if f"{stem}:" in self._stems else file
            found[file] = f"{real.program.id}/{covered(real.program, own)}"
        return found

    def _file(self, name: str) -> str:
        """A file, from the programs folder or from that of the program, as it is called here."""
        return self._files.get(name, self._files.get(f"{self._real.program.id}/{name}", name))

    def _id(self, text: str) -> str:
        """The id of a reading, or what holds one, as it is shown."""
        for stem, instead in self._stems.items():
            text = text.replace(stem, instead)
        return text

    def _program(self, definitions: Definitions) -> Program:
        real, names = self._real.program, self._names
        seen: Program = _covered(real, names)
        builds = tuple(
            replace(
                build,
                title="" if names.held(real.build(build.id).title) else build.title,
                places=tuple(Place(place.cylinder, COVERED.id) for place in build.places),
            )
            for build in seen.builds
        )
        return replace(
            seen, definitions=definitions, builds=builds, reference=COVERED.id, candidates=(),
            question="" if names.held(real.question) else real.question, notes=self._notes(),
            exclusions=tuple(replace(each, reading=self._id(each.reading)) for each in seen.exclusions),
            reviews=tuple(map(self._review, seen.reviews)),
            criteria=(), criteria_stated="", criteria_hash="", decide=None, decisions=(), answered_by=None,
            not_primary="", also=(), covariates=(), worth_finding=None, scatter_from=(), lent=(),
            oil=replace(seen.oil, sources=tuple(filter(self._of_no_coating, seen.oil.sources))),
        )  # fmt: skip

    @staticmethod
    def _of_no_coating(source: OilSource) -> bool:
        return not source.coating

    def _notes(self) -> str:
        """The notes of the program, where they name no coating."""
        real = self._real.program
        if not real.notes:
            return ""
        try:
            folder = Path(real.folder)
            text = read_regular(file_inside(folder, real.notes), folder).decode("utf-8", "replace")
        except (OSError, PathFault):
            return ""
        return real.notes if self._names.covered(text) == text else ""

    # ---- what was concluded ----

    def analysis(self) -> Analysis:
        """The analysis as a reviewer may see it. Changes since the last commit and decisions are not told."""
        real = self._real
        values = {(each.measure, each.key): each for each in sorted(self._values(), key=self._place)}
        return real.but(
            program=self.program, values=values, comparisons=(),
            verdicts=tuple(sorted(self._verdicts(), key=self._place)),
            series=tuple(sorted(self._series(), key=self._place)),
            readings={name: self._readings(own) for name, own in real.readings.items()},
            problems=tuple(map(self._problem, real.problems)),
            inputs={self._file(name): sha for name, sha in real.inputs.items()},
            digests={name: {build: digest((self._stamp, sha)) for build, sha in own.items()}
                     for name, own in real.digests.items()},
            stand=digest((self._stamp, real.stand)), looks=1, changes=None, written="", taken=(), restated=(),
            doubted=tuple(replace(each, moved=frozenset(), most_of=None, answers=0, words=()) for each in real.doubted),
            reviewed=tuple(
                replace(each, review=self._review(each.review), about={self._id(n): at for n, at in each.about.items()},
                        moved=None if each.moved is None else {n: self._moved(own) for n, own in each.moved.items()})
                for each in real.reviewed
            ),
            effects=tuple(
                replace(each, reading=self._id(each.reading), moved=self._moved(each.moved)) for each in real.effects
            ),
        )  # fmt: skip

    def _key(self, key: Key) -> Key | None:
        """What a result is about, as it is shown; None where that is a coating."""
        at = self._id(key.at)
        if (key.coating and not key.engine) or self._tells(at):
            return None
        return key._replace(coating=COVERED.id if key.coating else "", at=at)

    def _tells(self, at: str) -> bool:
        """Whether a place inside a phase is one of a coating: a source of metal, a layer."""
        return bool(at) and (not self._sources.isdisjoint(re.split(r"[:+]", at)) or self._names.held(at))

    def _place(self, of: Value | Verdict | Series) -> tuple[int, int]:
        """Build and cylinder: steps give results by coating, and their order would tell it."""
        return self._order.get(of.key.engine, -1), of.key.cylinder

    def _of_rings(self, key: Key) -> bool:
        """Whether it is about the rings of one coating in an engine that holds several."""
        build = self._builds.get(key.engine)
        return bool(key.coating) and not key.cylinder and build is not None and len(build.coatings) > 1

    def _values(self) -> Iterator[Value]:
        """Values in their order; that of rings that share a coating says why it is not there."""
        for each in self._real.values.values():
            key = self._key(each.key)
            if key is None or each.measure in self._closed:
                continue
            if self._of_rings(each.key):
                yield Value(each.measure, key, status="refused", reason="blind")
                continue
            # what rings of a lot err alike by is not for these pages
            common = "" if each.common.startswith(("lot:", "nominal:")) else each.common
            yield replace(each, key=key, common=common)

    @cached_property
    def _by_rings(self) -> frozenset[str]:
        """Measures that some engine with several coatings has a value of for each."""
        return frozenset(
            each.measure for each in self._real.values.values() if self._of_rings(each.key)
        )  # fmt: skip

    def _verdicts(self) -> Iterator[Verdict]:
        for each in self._real.verdicts:
            key, (measure, _, at) = self._key(each.key), each.deciding.partition("@")
            if key is None or not key.engine or not _of_result(each.rule) or measure in self._closed:
                continue
            mixed = len(self._builds[key.engine].coatings) > 1
            if self._tells(self._id(at)) or (mixed and (measure in self._by_rings or self._of_rings(each.key))):
                continue
            yield replace(each, key=key, deciding=self._id(each.deciding))

    def _series(self) -> Iterator[Series]:
        for each in self._real.series:
            key = self._key(each.key) if not self._of_rings(each.key) else None
            if key is None:
                continue
            frame = self._frame(each.frame, self._id)
            texts = {text for name in frame.columns for text in frame[name].tolist() if isinstance(text, str)}
            if not any(map(self._tells, texts)):
                yield each.but(key=key, frame=frame)

    def _review(self, review: Review) -> Review:
        items = tuple(replace(each, reading=self._id(each.reading)) for each in review.items)
        covered: Review = _covered(replace(review, items=items), self._names)
        return covered

    def _moved(self, moved: Iterable[Moved]) -> tuple[Moved, ...]:
        shown = ((each, self._key(each.key)) for each in moved if _of_result(each.what) and each.key.engine)
        return tuple(replace(each, key=key) for each, key in shown if key is not None and each.what not in self._closed)

    # ---- what was recorded ----

    def _problem(self, problem: Problem) -> Problem:
        covered: Problem = _covered(problem, self._names)
        return replace(covered, file=self._file(problem.file))

    def _readings(self, real: Readings) -> Readings:
        frame = self._frame(real.frame, self._names.covered)
        files = {self._file(name): self._facts(facts) for name, facts in real.files.items()}
        problems = tuple(map(self._problem, real.problems))
        inputs = {self._file(name): sha for name, sha in real.inputs.items()}
        return real.but(frame=frame, problems=problems, files=files, inputs=inputs, rows=None, columns=None)

    def _frame(self, real: pd.DataFrame, change: Callable[[str], str]) -> pd.DataFrame:
        """A table with its texts changed; ids of readings, files and lots in their own ways."""
        ways = {"reading": self._id, "file": self._file, "trace": self._file, "lot": _no_lot}
        frame = real.copy()
        for name in frame.columns:
            if name in _IDS or getattr(frame[name].dtype, "kind", "O") in "iufb":
                continue
            way = ways.get(str(name), change)
            texts = {text: way(text) for text in frame[name].unique() if isinstance(text, str)}
            if any(text != new for text, new in texts.items()):
                frame[name] = [texts.get(text, text) for text in frame[name].tolist()]
        return frame

    def _facts(self, facts: Mapping[str, Any]) -> dict[str, Any]:
        """What is told of a file: headers of its columns and remarks of its reader are words of the user's."""
        told = dict(facts)
        if isinstance(told.get("columns"), Mapping):
            told["columns"] = {self._names.covered(str(head)): use for head, use in told["columns"].items()}
        if isinstance(told.get("notes"), list | tuple):
            told["notes"] = [self._names.covered(str(each)) for each in told["notes"]]
        return told


_IDS = frozenset({"row", "use", "engine", "phase", "cylinder", "image"})  # ids, and files that pages open


def _no_lot(_: str) -> str:
    return WITHHELD


def _of_result(rule: str) -> bool:
    """Whether a verdict is about what ran, and not an answer about a coating."""
    return rule.partition(":")[0] not in {"criterion", "worst-seen", "decision", "next-step"}
