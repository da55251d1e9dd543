"""What a new program is made from: the questions, how each answer is understood, and what it must fit.

The same answers may be typed on a terminal, given as options or read from a YAML file; `taken` is the one way in.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sitegen import units
from sitegen.crossing.allocation import SCHEMES
from sitegen.problems import Collector, counted, listed, nearest, shown
from sitegen.program import yamlfile
from sitegen.program.definitions import MOST_CYLINDERS
from sitegen.program.model import Definitions, PhaseKind
from sitegen.program.node import id_fault

MOST_BUILDS = 200
LONGEST_TEXT = 500
MOST_SEED = 2**32 - 1
SYSTEMS = ("metric", "us")
_KINDS: Mapping[str, tuple[PhaseKind, str, bool]] = {  # words of an answer -> kind, metal state, may last
    "cold build": ("static-check", "cold", False),
    "static check": ("static-check", "", False),
    "run-in": ("run", "warm", True),
    "run": ("run", "warm", True),
    "pulls": ("pulls", "warm", True),
    "durability": ("durability", "warm", True),
    "teardown": ("teardown", "", False),
}
_PHASE = re.compile(r"(?P<words>[A-Za-z][A-Za-z -]*?)(?:,? (?P<time>[0-9.]+ ?(?:s|min|h)))?")


class Unfit(ValueError):  # noqa: N818 - an answer to the user, not a fault
    """An answer that cannot be used: what is wrong with it, what is expected, the nearest that is allowed."""

    def __init__(self, what: str, expected: str = "", near: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.expected = expected
        self.near = near

    def sentence(self) -> str:
        """All of it, for a terminal."""
        said = f"{self.what}."
        said += f" Expected {self.expected}." if self.expected else ""
        return said + (f" Nearest: {self.near}." if self.near else "")


@dataclass(frozen=True)
class NewType:
    """An engine type: one that `definitions.yaml` has, or a new one."""

    id: str
    title: str
    new: bool
    cylinders: int = 0
    bore: str = ""  # as written
    stroke: str = ""


@dataclass(frozen=True)
class NewCoating:
    id: str
    title: str
    new: bool


@dataclass(frozen=True)
class NewTester:
    id: str
    new: bool
    orifice: str = ""  # as written
    gauge_class: str = ""
    linear: bool | None = None  # whether its percent scale is linear in pressure; None: its gauge shows pressure


@dataclass(frozen=True)
class NewPhase:
    id: str
    title: str
    kind: PhaseKind
    condition: str
    time: str = ""  # as written; "" not said


@dataclass(frozen=True)
class Answers:
    """Everything a new program is written from."""

    question: str
    title: str
    engine_type: NewType
    reference: NewCoating
    candidates: tuple[NewCoating, ...]
    builds: tuple[str, ...]  # ids
    scheme: str
    seed: int
    phases: tuple[NewPhase, ...]
    speed: str  # as written; "" left open
    supply: str
    testers: tuple[NewTester, ...]
    records: tuple[str, ...]  # names of streams
    units: str


@dataclass(frozen=True)
class Around:
    """What a new program comes into."""

    id: str  # name of its folder
    definitions: Definitions | None  # None: the programs folder has none yet
    streams: Mapping[str, str]  # name -> title, in the order of the registry


SoFar = Mapping[str, Any]  # what the questions before it were answered with, by key


@dataclass(frozen=True)
class Question:
    """One thing that is asked."""

    key: str  # in a file of answers; as an option with hyphens
    ask: str  # on a terminal
    help: str  # beside the option
    read: Callable[[Sequence[str], Around, SoFar], object]
    default: Callable[[Around, SoFar], str | None]  # None: has to be answered
    many: bool = False  # a list; on one line parted by commas, testers by semicolons
    mark: str = ","
    applies: Callable[[SoFar], bool] = lambda _: True
    otherwise: str = ""  # why it does not apply

    @property
    def option(self) -> str:
        return "--" + self.key.replace("_", "-")

    def parts(self, text: str) -> list[str]:
        """The answers on one line."""
        return [each.strip() for each in text.split(self.mark) if each.strip()] if self.many else [text.strip()]


@dataclass(frozen=True)
class Given:
    """An answer as it was given."""

    texts: tuple[str, ...]
    at: tuple[int, int] = (0, 0)  # line and column in a file of answers


# ---- how each is understood -----------------------------------------------------------------------------------------


def _text(texts: Sequence[str], around: Around, so_far: SoFar) -> str:
    del around, so_far
    (said,) = texts
    if not said.isprintable() or len(said) > LONGEST_TEXT:
        raise Unfit(f'"{shown(said)}" is not one line of text', f"at most {LONGEST_TEXT} characters")
    return said


def _slug(text: str) -> str:
    plain = re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-")
    return plain if " " not in text.strip() else plain.lower()


def _identified(text: str) -> str:
    """The id a text is, or becomes."""
    name = text if not id_fault(text) else _slug(text)
    fault = id_fault(name)
    if fault:
        raise Unfit(f'"{shown(text)}" cannot be made an id: "{shown(name)}" {fault}', "a short name")
    return name


def _engine_type(texts: Sequence[str], around: Around, so_far: SoFar) -> NewType:
    said = _text(texts, around, so_far)
    there = around.definitions.engine_types if around.definitions else {}
    if said in there:
        found = there[said]
        return NewType(said, found.title, new=False, cylinders=found.cylinders)
    return NewType(_identified(said), said, new=True)


def _cylinders(texts: Sequence[str], around: Around, so_far: SoFar) -> int:
    del around, so_far
    return _whole(texts, 1, MOST_CYLINDERS)


def _whole(texts: Sequence[str], low: int, high: int) -> int:
    (said,) = texts
    if not re.fullmatch("[0-9]{1,12}", said) or not low <= int(said) <= high:
        raise Unfit(f'"{shown(said)}" is not a whole number from {low} to {high}')
    return int(said)


def _quantity(dimension: str) -> Callable[[Sequence[str], Around, SoFar], str]:
    def read(texts: Sequence[str], around: Around, so_far: SoFar) -> str:
        del around, so_far
        (said,) = texts
        if not said:
            return ""
        return _measured(said, dimension)

    return read


def _measured(said: str, dimension: str) -> str:
    try:
        value = units.parse(said, dimension)
    except units.UnitError as error:
        raise Unfit(error.what, error.expected, error.nearest) from None
    if value <= 0:
        raise Unfit(f'"{shown(said)}" is not above zero')
    return said


def _coating(text: str, around: Around) -> NewCoating:
    there = around.definitions.coatings if around.definitions else {}
    if text in there:
        return NewCoating(text, there[text].title, new=False)
    return NewCoating(_identified(text), text, new=True)


def _reference(texts: Sequence[str], around: Around, so_far: SoFar) -> NewCoating:
    return _coating(_text(texts, around, so_far), around)


def _candidates(texts: Sequence[str], around: Around, so_far: SoFar) -> tuple[NewCoating, ...]:
    made = tuple(_coating(_text([each], around, so_far), around) for each in texts)
    if not made:
        raise Unfit("no candidate is named", "one coating or more that is compared with the reference")
    reference = so_far.get("reference")
    _apart([*([reference.id] if reference else []), *(each.id for each in made)], "coating")
    return made


def _apart(ids: Sequence[str], what: str) -> None:
    seen: dict[str, str] = {}
    for each in ids:
        first = seen.setdefault(each.casefold(), each)
        if ids.count(each) > 1 or first != each:
            raise Unfit(f'the {what} "{each}" is named twice', "a different name for each")


def _builds(texts: Sequence[str], around: Around, so_far: SoFar) -> tuple[str, ...]:
    del around, so_far
    if len(texts) == 1 and re.fullmatch("[0-9]{1,12}", texts[0]):
        return tuple(f"B{number}" for number in range(1, _whole(texts, 1, MOST_BUILDS) + 1))
    for each in texts:
        fault = id_fault(each)
        if fault:
            raise Unfit(f'the id "{shown(each)}" {fault}', "how many builds, or their ids")
    if not texts or len(texts) > MOST_BUILDS:
        raise Unfit(f"{len(texts)} builds are named", f"1 to {MOST_BUILDS}")
    _apart(list(texts), "build")
    return tuple(texts)


def _word(words: Sequence[str]) -> Callable[[Sequence[str], Around, SoFar], str]:
    def read(texts: Sequence[str], around: Around, so_far: SoFar) -> str:
        del around, so_far
        (said,) = texts
        if said not in words:
            raise Unfit(f'"{shown(said)}" is none of the words known here', listed(words), nearest(said, words))
        return said

    return read


def _seed(texts: Sequence[str], around: Around, so_far: SoFar) -> int:
    del around, so_far
    return _whole(texts, 0, MOST_SEED)


def _phases(texts: Sequence[str], around: Around, so_far: SoFar) -> tuple[NewPhase, ...]:
    del around, so_far
    made = [_phase(each) for each in texts]
    _apart([each.id for each in made], "phase")
    if not any(each.kind in {"run", "pulls", "durability"} for each in made):
        raise Unfit("the engine runs in none of these phases", "a run-in, pulls or a durability run among them")
    return tuple(made)


def _phase(text: str) -> NewPhase:
    match = _PHASE.fullmatch(text)
    words = match["words"].casefold().strip() if match else ""
    if match is None or words not in _KINDS:
        said = words or text
        raise Unfit(
            f'"{shown(text)}" is no phase known here',
            f"{listed(_KINDS)}; those that run with how long, such as run-in 25 min",
            nearest(said, _KINDS),
        )
    kind, condition, lasts = _KINDS[words]
    time = match["time"] or ""
    if time and not lasts:
        raise Unfit(f'"{shown(text)}" says how long, but no engine runs in it', words)
    if time:
        _measured(time, "time")
    number = time.replace(" ", "").rstrip("sminh")
    name = f"{words} {number}".strip() if words in {"run-in", "run"} else words
    return NewPhase(_identified(name.replace(" ", "-").replace(".", "-")), text, kind, condition, time)


_SCALES: Mapping[str, bool | None] = {"pressure": None, "percent linear": True, "percent not linear": False}
_TESTER = "id, diameter of its orifice, class of its gauges, such as T1, 0.040 in, 0.25 psi"
_PERCENT = (
    "for a gauge in per cent also `percent linear` where its marks stand evenly from 0 % (no leak) to 100 % (no "
    "pressure left), else `percent not linear`, from which no leak area comes, such as L1, 1.0 mm, 2 %, percent linear"
)


def _tester(name: str, rest: Sequence[str], supply: str) -> NewTester:
    """A new tester from what follows its id; a class in per cent is one of the supply pressure."""
    scale = rest[2].casefold() if len(rest) == 3 else "pressure"
    if scale not in _SCALES:
        raise Unfit(f'"{shown(rest[2])}" says of no scale what it means', listed(_SCALES), nearest(scale, _SCALES))
    linear = _SCALES[scale]
    orifice, said = _measured(rest[0], "length"), rest[1]
    if not said.endswith("%"):
        return NewTester(name, True, orifice, _measured(said, "pressure difference"), linear)
    if linear is None:
        raise Unfit(f'the class of "{shown(name)}" is in per cent, and nothing says what its scale means', _PERCENT)
    unit = "psi" if "psi" in supply else "kPa"
    limit = units.parse(_measured(said, "ratio"), "ratio") * units.parse(supply, "gauge pressure")
    return NewTester(name, True, orifice, f"{units.from_si(limit, unit):.4g} {unit}", linear)


def _testers(texts: Sequence[str], around: Around, so_far: SoFar) -> tuple[NewTester, ...]:
    there = around.definitions.testers if around.definitions else {}
    made = []
    for each in texts:
        name, *rest = (part.strip() for part in each.split(","))
        if name in there and not rest:
            made.append(NewTester(name, new=False))
            continue
        if name in there:
            raise Unfit(f'definitions.yaml has the tester "{shown(name)}" already', "its id alone")
        fault = id_fault(name)
        if fault or len(rest) not in {2, 3}:
            what = f'the id "{shown(name)}" {fault}' if fault else f'"{shown(each)}" does not describe a tester'
            ids = f", or an id of definitions.yaml: {listed(there)}" if there else ""
            raise Unfit(what, f"{_TESTER}; {_PERCENT}{ids}")
        made.append(_tester(name, rest, so_far.get("supply", "100 kPa gauge")))
    if not made:
        raise Unfit("no tester is named", f"one or more: {_TESTER}; {_PERCENT}")
    _apart([each.id for each in made], "tester")
    return tuple(made)


def _records(texts: Sequence[str], around: Around, so_far: SoFar) -> tuple[str, ...]:
    del so_far
    for each in texts:
        if each not in around.streams:
            raise Unfit(f'"{shown(each)}" is no kind of record', listed(around.streams), nearest(each, around.streams))
    if NEEDED not in texts:
        raise Unfit(
            f"{NEEDED} is not among the records", f"{NEEDED} among them: the answer of a new program rests on it"
        )
    return tuple(each for each in around.streams if each in texts)


# ---- what is taken where nothing is said ----------------------------------------------------------------------------

NEEDED = "leakdown"  # what the answer of a new program rests on
USUAL_RECORDS = ("buildsheet", NEEDED, "runlog", "inspection")


def _none(around: Around, so_far: SoFar) -> None:
    del around, so_far


def _always(text: str) -> Callable[[Around, SoFar], str]:
    return lambda _, __: text


def _only(kind: str) -> Callable[[Around, SoFar], str | None]:
    def default(around: Around, so_far: SoFar) -> str | None:
        del so_far
        there = list(getattr(around.definitions, kind)) if around.definitions else []
        return there[0] if len(there) == 1 else None

    return default


def _all_testers(around: Around, so_far: SoFar) -> str | None:
    del so_far
    return "; ".join(around.definitions.testers) if around.definitions and around.definitions.testers else None


def _seed_of(around: Around, so_far: SoFar) -> str:
    del so_far
    return str(int(hashlib.sha256(around.id.encode()).hexdigest()[:8], 16) % 10**8)


def _title_of(around: Around, so_far: SoFar) -> str:
    del so_far
    return around.id.replace("-", " ").capitalize()


def _is_new(so_far: SoFar) -> bool:
    kind = so_far.get("engine_type")
    return kind is not None and kind.new


_OLD = "the engine type is in definitions.yaml, which says it"
PHASES = "cold build, run-in 10 min, run-in 25 min, run-in 60 min, pulls, durability 40 h, teardown"

QUESTIONS: tuple[Question, ...] = (
    Question("question", "What is the question, in one sentence?", "the question the program answers", _text, _none),
    Question("title", "What is the program called?", "name of the program (from the folder)", _text, _title_of),
    Question(
        "engine_type", "Which engine type? An id of definitions.yaml, or a name",
        "engine type: an id of definitions.yaml, or the name of a new one", _engine_type, _only("engine_types"),
    ),
    Question(
        "cylinders", "How many cylinders?", "cylinders of a new engine type", _cylinders, _none,
        applies=_is_new, otherwise=_OLD,
    ),
    Question(
        "bore", "Bore, with its unit, such as 87.5 mm?", "bore of a new engine type (87.5 mm)", _quantity("length"),
        _none, applies=_is_new, otherwise=_OLD,
    ),
    Question(
        "stroke", "Stroke, with its unit, such as 100 mm?", "stroke of a new engine type (100 mm)",
        _quantity("length"), _none, applies=_is_new, otherwise=_OLD,
    ),
    Question(
        "reference", "Which coating are the others compared with?", "the coating the others are compared with",
        _reference, _none,
    ),
    Question(
        "candidates", "Which coatings are compared with it, parted by commas?",
        "the coatings compared with it, parted by commas", _candidates, _none, many=True,
    ),
    Question(
        "builds", "How many builds, or which ids, parted by commas?", "how many builds, or their ids", _builds, _none,
        many=True,
    ),
    Question(
        "scheme", f"How are coatings allotted to builds: {listed(SCHEMES)}?", "how coatings are allotted to builds",
        _word(SCHEMES), _always("whole builds in rounds"),
    ),
    Question(
        "seed", "From which number are the lots drawn?", "number the lots are drawn from (made from the folder's name)",
        _seed, _seed_of,
    ),
    Question(
        "phases", f"Which phases in order, parted by commas: {listed(_KINDS)}?",
        f"phases in order, parted by commas ({PHASES})", _phases, _always(PHASES), many=True,
    ),
    Question(
        "speed", "At which speed does it run, such as 1500 rpm? Empty: schedules are written later",
        "speed of the runs, for a first schedule (left open)", _quantity("speed"), _always(""),
    ),
    Question(
        "supply", "At which supply pressure are leak-down tests made?", "supply pressure of leak-down tests (80 psig)",
        _quantity("gauge pressure"), _always("80 psig"),
    ),
    Question(
        "testers", f"Which testers, parted by semicolons: {_TESTER}; {_PERCENT}?",
        "testers, parted by semicolons: id, diameter of the orifice, class of the gauges, of a gauge in per cent also "
        "`percent linear` or `percent not linear`",
        _testers, _all_testers, many=True, mark=";",
    ),
    Question(
        "records", "Which records, parted by commas?", "kinds of record, parted by commas", _records,
        lambda around, _: ", ".join(each for each in USUAL_RECORDS if each in around.streams), many=True,
    ),
    Question(
        "units", "In which units are the tables filled in: metric or us?", "units of the empty tables (metric)",
        _word(SYSTEMS), _always("metric"),
    ),
)  # fmt: skip


# ---- from answers given to answers taken ----------------------------------------------------------------------------


def read_file(path: Path, file: str) -> tuple[dict[str, Given], Collector]:
    """Answers of a YAML file and what is wrong with the file; `file` is its name in messages."""
    problems = Collector(file)
    document = yamlfile.read(path, problems)
    given: dict[str, Given] = {}
    if document is None:
        return given, problems
    if not isinstance(document.data, dict):
        problems.add((1, 1), "not-a-mapping", "these are no answers", expected="a key a line, such as `builds: 4`")
        return given, problems
    keys = {each.key: each for each in QUESTIONS}
    for key, value in document.data.items():
        path_of: tuple[str | int, ...] = (key,)
        if key not in keys:
            problems.add(
                document.key_at(path_of), "unknown-key", f'"{shown(key)}" is asked nowhere',
                expected=listed(keys, len(keys)), nearest=nearest(str(key), keys),
            )  # fmt: skip
            continue
        items = value if isinstance(value, list) else [value]
        if value is None or not all(isinstance(each, (str, int, float)) for each in items):
            expected = "a text, or a list of texts" if keys[key].many else "a text"
            problems.add(document.at(path_of), "wrong-type", f'"{key}" holds no answer', expected=expected)
            continue
        if isinstance(value, list):
            if not keys[key].many:
                problems.add(document.at(path_of), "wrong-type", f'"{key}" has several answers', expected="one")
                continue
            texts = [document.texts.get((key, n), str(each)).strip() for n, each in enumerate(items)]
        else:
            texts = keys[key].parts(document.texts.get(path_of, str(value)))
        given[key] = Given(tuple(texts), document.at(path_of))
    return given, problems


_SECTIONS = ("coatings", "engine_types", "testers", "reference_orifices", "tools", "oils", "meters", "laboratories")


def _clash(so_far: SoFar, around: Around) -> str:
    """What is said where two definitions would share an id; "" where none do."""
    seen: dict[str, str] = {}
    for section in _SECTIONS if around.definitions is not None else ():
        for name in getattr(around.definitions, section):
            seen[str(name).casefold()] = f'"{name}" among the {section} of definitions.yaml'
    kind, reference = so_far.get("engine_type"), so_far.get("reference")
    new: list[tuple[NewType | NewCoating | NewTester, str]] = [(kind, "engine type")] if kind else []
    new += [(each, "coating") for each in (*([reference] if reference else []), *so_far.get("candidates", ()))]
    new += [(each, "tester") for each in so_far.get("testers", ())]
    for each, what in new:
        if each.new:
            mine = f'the {what} "{each.id}"'
            other = seen.setdefault(each.id.casefold(), mine)
            if other != mine:
                return f"{mine} would share its id with {other}"
    return ""


@dataclass
class Taking:
    """Takes answers one by one; `so_far` are those understood."""

    around: Around
    so_far: dict[str, Any] = field(default_factory=dict)

    def default(self, question: Question) -> str | None:
        """What is taken where nothing is said; None: an answer is needed."""
        return question.default(self.around, self.so_far)

    def take(self, question: Question, texts: Sequence[str]) -> None:
        """Understand one answer. Raises `Unfit`."""
        if not question.many and (len(texts) != 1 or (not texts[0] and self.default(question) != "")):
            raise Unfit("nothing is said")
        self.so_far[question.key] = question.read(texts, self.around, self.so_far)
        self._fits(question.key)

    def _fits(self, key: str) -> None:
        """What follows from several answers. Raises `Unfit`."""
        so_far = self.so_far
        if key in {"reference", "candidates", "engine_type", "testers"} and (said := _clash(so_far, self.around)):
            del so_far[key]
            raise Unfit(said, "ids that are unique across definitions.yaml")
        if key in {"cylinders", "bore", "stroke"}:
            so_far["engine_type"] = NewType(**{**vars(so_far["engine_type"]), key: so_far[key]})
        coatings = 1 + len(so_far.get("candidates", ()))
        mixed = so_far.get("scheme") == "mixed in engine"
        kind, builds = so_far.get("engine_type"), len(so_far.get("builds", ()))
        if key == "scheme" and mixed and kind and kind.cylinders < coatings:
            del so_far[key]
            raise Unfit(f"an engine of {counted(kind.cylinders, 'cylinder')} cannot hold {coatings} coatings",
                        "a scheme of whole builds")  # fmt: skip
        if key == "scheme" and not mixed and 0 < builds < coatings:
            del so_far[key]
            raise Unfit(f"{counted(builds, 'build')} cannot hold {coatings} coatings, one in each",
                        "a build or more for each coating, or the scheme mixed in engine")  # fmt: skip

    def answers(self) -> Answers:
        """Everything together, once each question that applies was taken."""
        names = set(Answers.__dataclass_fields__)
        return Answers(**{key: value for key, value in self.so_far.items() if key in names})


def taken(given: Mapping[str, Given], around: Around, problems: Collector, *, options: bool) -> Answers | None:
    """The answers, understood; None where one is missing or unfit, which becomes a problem.

    `options`: name the option of a missing answer instead of its key.
    """
    taking = Taking(around)
    before = len(problems.found)
    for question in QUESTIONS:
        mine = given.get(question.key)
        name = question.option if options else f'"{question.key}"'
        if not question.applies(taking.so_far):
            if mine is not None and "engine_type" in taking.so_far:
                problems.add(
                    mine.at, "key-does-not-apply", f"{name} does not apply: {question.otherwise}",
                    next_step="remove it",
                )  # fmt: skip
            continue
        texts = mine.texts if mine is not None else None
        if texts is None:
            default = taking.default(question)
            if default is None:
                problems.add((0, 0), "missing-answer", f"{name} is missing: {question.help}")
                continue
            texts = tuple(question.parts(default))
        try:
            taking.take(question, texts)
        except Unfit as fault:
            problems.add(
                mine.at if mine else (0, 0), "answer-unfit", f"{name}: {fault.what}", expected=fault.expected,
                nearest=fault.near,
            )  # fmt: skip
    return None if len(problems.found) > before else taking.answers()
