"""From what is in a file to the record entry that would read it.

A field is settled where the header of one column says it in its own words. What is only likely stands as "?", which
`check` refuses, beside the columns it may be; every line says what it rests on.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import PurePosixPath

from sitegen import units
from sitegen.looking.seen import Seen, SeenColumn
from sitegen.looking.words import CHANNELS, FIELDS, GENERAL, HINTS, IDLE, LETTERS, SAME, SHORT, TIMES
from sitegen.methods import elements
from sitegen.problems import listed
from sitegen.program import channels
from sitegen.program.files import SAID_BY_NAMES
from sitegen.program.model import Program
from sitegen.program.words import compared, names
from sitegen.program.yamltext import scalar
from sitegen.reader.headers import plain
from sitegen.tables.columns import MARKS, YES_NO, is_word, own_words
from sitegen.tables.mapping import is_mark
from sitegen.vocabulary import Field

OPEN = "?"
"""Stands where only the user knows: no value that `check` accepts."""
_UNSTATED = {
    "gauge-or-absolute-unstated": {"gauge pressure": " gauge", "absolute pressure": " absolute"},
    "actual-or-standard-unstated": {"actual flow": " actual"},
}
_SHORTENED = 3  # letters of a word that at least stand for it
_KNOWN = 0.5  # share of its cells from which a column may be a field whatever its name
_MOST_WORDS = 20  # that are asked about
_MOST_ALIKE = 4  # columns or fields named where one of them may be meant
_LONE = frozenset(("speed", "torque", "actual flow", "standard flow"))  # kinds of unit few channels have
_PLACES = {"engine": "build", "phase": "phase", "tester": "tester", "reference": "reference orifice", "meter": "meter"}


@dataclass
class Proposal:
    """A record entry to paste, and what is still open."""

    lines: list[str]  # of YAML, indented as an entry of `records`
    open: list[str] = field(default_factory=list)  # what "?" stands for
    unused: list[str] = field(default_factory=list)  # headers of columns the entry does not name
    may: dict[str, list[str]] = field(default_factory=dict)  # of these, by header: fields their units would allow
    missing: list[str] = field(default_factory=list)  # fields without a column

    def text(self) -> str:
        """The entry as it is pasted."""
        return "\n".join(self.lines) + "\n"


@dataclass(frozen=True)
class _Fit:
    """A column that may be a field or channel."""

    name: str
    at: int  # -1: left open, `why` names the columns it may be
    why: str
    said: bool = True  # by the words of its header; else only likely
    own: bool = False  # these are the field's own name or title
    unit: str = ""  # to be written; "" none, or the header says it
    remark: str = ""
    among: tuple[int, ...] = ()  # of one left open: the columns named


# ---- names ----------------------------------------------------------------------------------------------------------


def _tokens(text: str) -> tuple[str, ...]:
    """Words and figures of a header, in any script, without accents.

    >>> _tokens("T_Öl"), _tokens("sinceStop (Blow-by)")
    (('t', 'ol'), ('since', 'stop', 'blowby'))
    """
    spaced = re.sub(r"(?<=[a-zß-ÿ])(?=[A-ZÀ-Þ])", " ", text)
    bare = "".join(each for each in unicodedata.normalize("NFKD", spaced) if not unicodedata.combining(each))
    joined = bare.casefold().replace("blow-by", "blowby").replace("blow by", "blowby")
    return tuple(re.findall(r"[^\W\d_]+|[0-9]+", joined))


def _words(text: str) -> list[str]:
    """The same in the words of one language, without those that say nothing.

    >>> _words("Öltemp."), _words("Température d'huile"), _words("T")
    (['oil', 'temperature'], ['temperature', 'oil'], ['t'])
    """
    parted: list[str] = []
    for token in _tokens(text):
        end = next((each for each in _COMPOUND if token.endswith(each) and len(token) > len(each) + 1), "")
        parted += [token[: -len(end)], end] if end else [token]
    said = [each for each in parted if each not in IDLE] or parted
    letters = LETTERS if len(said) > 1 else {}
    return [SAME.get(each, letters.get(each, each)) for each in said]


_COMPOUND = ("temperatur", "temp", "druck")


def _says(header: Sequence[str], name: Sequence[str]) -> bool:
    """Whether a header's words are those of a name, each once, in full or shortened."""
    left = list(name)
    for word in sorted(header, key=len, reverse=True):
        whole = word if word in left else next((each for each in left if _shortens(word, each)), None)
        if whole is None:
            return False
        left.remove(whole)
    return not left and bool(header)


def _shortens(word: str, whole: str) -> bool:
    return len(word) >= _SHORTENED and whole.startswith(word) and not units.is_unit(word)


def _shares(header: Sequence[str], name: Sequence[str]) -> bool:
    """Whether a word of the header that few columns share is one of the name too."""
    mine, theirs = set(header) - GENERAL, set(name) - GENERAL
    return any(a == b or _shortens(a, b) for a in mine for b in theirs if not a.isdigit())


@dataclass(frozen=True)
class _Names:
    """What may stand over a field."""

    own: tuple[str, ...]
    others: tuple[str, ...] = ()
    short: tuple[str, ...] = ()  # only beside a unit of it
    hints: tuple[str, ...] = ()

    def match(self, texts: Iterable[str], *, unit: bool) -> tuple[bool, bool, bool]:
        """Whether one of the texts says the field, whether by its own name, and whether it is like one of its names."""
        headers = [_words(text) for text in texts]

        def any_of(names: Iterable[str], of: Callable[[Sequence[str], Sequence[str]], bool]) -> bool:
            return any(of(header, _words(name)) for header in headers for name in names)

        own = any_of(self.own, _says)
        said = own or any_of(self.others, _says) or (unit and any_of(self.short, _says))
        like = said or any_of((*self.own, *self.others, *self.short, *self.hints), _shares)
        return said, own, like or any_of((*self.short, *self.hints), _says)


def _names(name: str, title: str, others: Mapping[str, tuple[str, ...]]) -> _Names:
    symbol = (elements.ALL[name],) if name in elements.ALL else ()
    own = (name.replace("_", " "), title, *symbol)
    return _Names(own, others.get(name, ()), SHORT.get(name, ()), HINTS.get(name, ()))


def _is_time_name(header: str) -> bool:
    return any(_tokens(header) == _tokens(each) for each in TIMES)


# ---- units ----------------------------------------------------------------------------------------------------------


def _unit_for(column: SeenColumn, dimensions: Sequence[str]) -> tuple[int, str, str]:
    """Whether a column's unit is one of the kind (1), is not stated or not known (0), or cannot be (-1), the unit to
    write, and a remark on it."""
    if not column.unit:
        return 0, OPEN, ""
    in_name = column.unit_place == "at the end of its header"
    best: tuple[int, str, str] = (0, OPEN, f'"{column.unit}" is no unit known here')
    for dimension in dimensions:
        try:
            units.converter(column.unit, dimension)
        except units.UnitError as error:
            nature = _UNSTATED.get(error.code, {}).get(dimension, "")
            if nature:
                best = (1, column.unit + nature, f'the file says "{column.unit}": is it{nature}?')
            elif error.code == "wrong-kind-of-unit" and best[0] <= 0:
                best = (-1, "", "")
        else:
            return 1, column.unit if in_name else "", ""
    return best


def _ascii(unit: str) -> str:
    return unit.replace("°C", "degC").replace("°F", "degF").replace("µ", "u").replace("μ", "u")


# ---- tables ---------------------------------------------------------------------------------------------------------


def _ids(program: Program | None, refers: str) -> list[str] | None:
    """Ids of a kind; None where no program says them."""
    if program is None:
        return None
    given = program.definitions
    return {
        "engine": [each.id for each in program.builds],
        "phase": [each.id for each in program.phases],
        "tester": list(given.testers),
        "reference": list(given.reference_orifices),
        "tool": list(given.tools),
        "meter": list(given.meters),
        "laboratory": list(given.laboratories),
        "coating": list(given.coatings),
        "oil": list(given.oils),
    }.get(refers)


def _fit(what: Field, column: SeenColumn, program: Program | None) -> _Fit | None:
    """How a column fits a field; None where it cannot be, or nothing speaks for it."""
    unit, remark, held, why = "", "", "", "by its name"
    stated, strange = 0, False  # strange: it holds words that are not known, so that its name has to say it
    if what.refers == "cylinder" and column.kind == "text" and not column.many:
        strange = True
    elif what.kind in {"number", "bounded"} and what.dimension:
        if column.kind not in {"number", "empty"} and not (what.kind == "bounded" and _marked(column)):
            return None
        stated, unit, remark = _unit_for(column, [what.dimension])
        if stated < 0:
            return None
        why = "by its name and its unit" if stated else why
    elif what.kind in {"number", "integer"}:
        if column.kind not in {"number", "empty"} or (what.kind == "integer" and not column.whole and column.filled):
            return None
        if column.filled and not (what.low is None or column.low >= what.low):
            return None
    elif what.kind == "date":
        if column.kind not in {"date", "stamp", "empty"}:
            return None
        held = "its cells are dates" if column.filled else ""
    elif column.kind == "empty":
        pass
    elif what.kind in {"word", "yes-no"}:
        share = 1 - len(_unknown(what, column, program)) / max(len(column.texts), 1)
        if column.kind != "text" or column.many:
            return None
        strange = share < _KNOWN
        held = "its cells are words of it" if share == 1 and what.kind == "word" else ""
    elif what.refers:
        if _ids(program, what.refers) is not None:
            share = 1 - len(_unknown(what, column, program)) / max(len(column.texts), 1)
            if column.many:
                return None
            strange = share < _KNOWN
            held = f"its cells are ids of {_PLACES.get(what.refers, what.refers)}s" if share == 1 else ""
    elif what.kind == "text" and column.kind not in {"text", "number"}:
        return None
    names = _names(what.name, what.title, FIELDS)
    said, own, like = names.match((column.name, column.header), unit=stated > 0)
    if not said and (strange or (not like and not held)):
        return None
    why = (f"{why}, and {held}" if held else why) if said else (held or "by a word of its header")
    return _Fit(what.name, column.at, why, said, own, _ascii(unit), remark)


def _unknown(what: Field, column: SeenColumn, program: Program | None) -> list[str]:
    """Cells of a column that are none of a field's words or ids, nor stand for one by words of the program's own."""
    meant = own_words(what, program.words if program is not None else ())
    left = [each for each in column.texts if compared(plain(each)) not in meant]
    if what.kind == "word":
        return [each for each in left if not is_word(what, each)]
    if what.kind == "yes-no":
        return [each for each in left if each.casefold() not in YES_NO]
    if what.refers == "cylinder":
        return [each for each in left if not each.isdigit()]
    ids = _ids(program, what.refers)
    return [] if ids is None else [each for each in left if each not in ids]


def _marked(column: SeenColumn) -> bool:
    """True where a column of texts holds marks of an oil report alone, as that of a metal never detected does."""
    return column.kind == "text" and all(is_mark(each) for each in column.texts)


def _assigned(fits: Sequence[_Fit], open_: list[str], headers: Sequence[str]) -> dict[str, _Fit]:
    """A column for each field whose header says it; a field that two columns say, or none but likely ones, is open."""
    taken: dict[str, _Fit] = {}
    used: set[int] = set()
    said = sorted((fit for fit in fits if fit.said), key=lambda fit: (not fit.own, fit.at, fit.name))
    for fit in said:
        if fit.name in taken or fit.at in used:
            continue
        # another column that says the same, and no other field in its own words
        rivals = [
            each for each in said
            if each.name == fit.name and each.at != fit.at and each.at not in used
            and not any(o.at == each.at and o.name not in {fit.name, *taken} and o.own for o in said)
        ]  # fmt: skip
        # another field that the same header says: the column is neither's before somebody says whose
        others = [
            each for each in said
            if each.at == fit.at and each.name != fit.name and each.name not in taken and each.own == fit.own
            and not any(o.name == each.name and o.at != each.at and o.own for o in said)
        ]  # fmt: skip
        if rivals or others:
            for name in dict.fromkeys(each.name for each in (fit, *others)):
                own = rivals if name == fit.name else []
                taken[name] = _open(name, [fit, *own], "both say it" if own else "it says other fields too", headers)
            used |= {fit.at, *(each.at for each in rivals)}
        else:
            taken[fit.name] = fit
            used.add(fit.at)
    likely: dict[str, list[_Fit]] = {}
    for fit in fits:
        if not fit.said and fit.name not in taken and fit.at not in used:
            likely.setdefault(fit.name, []).append(fit)
    for name, several in likely.items():
        taken[name] = _open(name, several, several[0].why if len(several) == 1 else "no header says it", headers)
    for name, fit in taken.items():
        if fit.at < 0:
            open_.append(f"{name}: is it column {fit.why}; take the line out where it is none")
    return taken


def _open(name: str, several: Sequence[_Fit], why: str, headers: Sequence[str]) -> _Fit:
    """A field nobody but the user can give a column, with those it may be."""
    named = listed([f'"{headers[each.at]}"' for each in several[:_MOST_ALIKE]])
    more = " or another" if len(several) > _MOST_ALIKE else ""
    return _Fit(name, -1, f"{named}{more}? ({why})", said=False, among=tuple(each.at for each in several))


def table(seen: Seen, stream: str, fields: Sequence[Field], program: Program | None, file: str) -> Proposal:
    """The record entry of a table of a stream; `file` is its name from the program's folder."""
    del stream
    out = Proposal([f"    - file: {scalar(file)}", *_named_alike(file, program)])
    headers = [column.header for column in seen.columns]
    own = [each for each in fields if each.name != "reading"]
    sheet = _phases_across(seen, program)
    columns = [column for column in seen.columns if column.at not in sheet]
    fits = [fit for what in own for column in columns if (fit := _fit(what, column, program)) is not None]
    if sheet:
        fits = [fit for fit in fits if fit.name != "phase"]
    found = _assigned(fits, out.open, headers)
    if sheet:
        out.lines.append("      form: sheet              # a row a cylinder, a column a phase")
    _writing(seen, out)
    constants = _constants(own, found, bool(sheet), seen, program, out)
    if constants:
        out.lines += ["      constants:", *(f"        {line}" for line in constants)]
    out.lines += _words_asked(own, found, seen, program, out)
    if found or not sheet:
        out.lines.append("      columns:")
    for what in own:
        if what.name in found:
            out.lines.append(f"        {_line(found[what.name], seen, what.dimension, out)}")
    if sheet:
        numbers = [each.name for each in own if each.kind == "number" and each.name not in found]
        unit = next((seen.columns[at].unit for at in sheet if seen.columns[at].unit_place == "in its header"), "")
        out.open.append("cells, field: what the cells hold: " + ", ".join(numbers[:8]))
        if not unit:
            out.open.append("cells, unit: the unit of the cells")
        out.lines += [
            "      cells:",
            f'        field: "{OPEN}"',
            f"        unit: {scalar(_ascii(unit) or OPEN)}",
            "        phases:",
            *(f"          {scalar(headers[at])}: {phase}" for at, phase in sheet.items()),
        ]
    used = _named(found) | set(sheet)
    measured = [(each.name, (each.dimension,)) for each in own if each.kind in {"number", "bounded"}]
    _rest(seen, used, found, measured, out)
    out.missing = [each.name for each in own if each.name not in found and each.name not in _stated(constants)]
    return out


def _words_asked(
    fields: Sequence[Field], found: Mapping[str, _Fit], seen: Seen, program: Program | None, out: Proposal
) -> list[str]:
    """Words of the file that are not known, to be said what they mean."""
    asked: dict[str, dict[str, None]] = {}
    means: dict[str, Sequence[str]] = {}
    for what in fields:
        if what.name not in found or found[what.name].at < 0:
            continue
        column = seen.columns[found[what.name].at]
        name, strange, means_of = what.name, [], [*what.words]
        if what.kind == "bounded":
            name, means_of = "mark", list(MARKS)
            known = own_words(what, program.words if program is not None else ())
            odd = column.odd[1] if column.odd[0] else ""
            strange = [odd] if odd and not is_mark(odd) and compared(plain(odd)) not in known else []
        elif what.kind in {"word", "yes-no"} or what.refers:
            strange = _unknown(what, column, program)
            means_of = means_of or (_ids(program, what.refers) if what.refers else ["yes", "no"]) or ["a number"]
        if strange:
            asked.setdefault(name, {}).update(dict.fromkeys(strange))
            means[name] = means_of
    lines = []
    for name, words in asked.items():
        first = list(words)[:_MOST_WORDS]
        said = ", ".join(f'{scalar(each)}: "{OPEN}"' for each in first)
        lines.append(f"        {name}: {{{said}}}   # {listed(means[name])}")
        out.open.append(f"words, {name}: what {listed(first)} stands for: {listed(means[name])}")
    return ["      words:", *lines] if lines else []


def _named_alike(file: str, program: Program | None) -> list[str]:
    """A comment on the pattern that also fits files named alike, where the name says a build or a phase."""
    pattern = file
    for name in SAID_BY_NAMES:
        known = names(program.words, name, _ids(program, name) or ()) if program is not None else {}
        said = "|".join(re.escape(each) for each in sorted(known, key=len, reverse=True))
        found = re.findall(rf"(?<![^\W_])(?:{said})(?![^\W_])", pattern, re.IGNORECASE) if said else []
        if len(found) == 1:
            pattern = pattern.replace(found[0], f"{{{name}}}")
    pattern = re.sub(r"(\}[\W_]*)[^/{}]*[0-9][^/{}.]*(\.[^/{}.]+)$", r"\1*\2", pattern)  # a number or a day behind them
    told = f"      # files: {scalar(pattern)} in place of `file` reads all that are named so"
    return [told] if pattern != file else []


def _named(found: Mapping[str, _Fit]) -> set[int]:
    """Columns the entry names, be it as a question."""
    return {at for fit in found.values() for at in (fit.at, *fit.among)}


def _stated(constants: Sequence[str]) -> set[str]:
    return {each.partition(":")[0] for each in constants}


def _rest(
    seen: Seen, used: set[int], found: Mapping[str, _Fit], known: Sequence[tuple[str, Sequence[str]]], out: Proposal
) -> None:
    """Columns the entry leaves alone, and what their units would let them be."""
    for column in seen.columns:
        if column.at in used:
            continue
        out.unused.append(column.header)
        if column.unit and column.kind == "number":
            free = [name for name, kinds in known if name not in found or found[name].at < 0]
            kinds_of = dict(known)
            able = [each for each in free if any(kinds_of[each]) and _unit_for(column, kinds_of[each])[0] > 0]
            if able:
                out.may[column.header] = able


def _phases_across(seen: Seen, program: Program | None) -> dict[int, str]:
    """Columns whose headers are phases, two or more: a sheet with a row a cylinder."""
    if program is None:
        return {}
    names: dict[str, str] = {}
    for phase in program.phases:
        for text in (phase.id, phase.title):
            names.setdefault(" ".join(_tokens(text)), phase.id)
    found: dict[int, str] = {}
    for column in seen.columns:
        if column.kind not in {"number", "empty"}:
            continue
        words = " ".join(_tokens(column.header))
        ends = [phase for name, phase in names.items() if words and (name == words or name.endswith(f" {words}"))]
        starts = [phase for name, phase in names.items() if words and name.startswith(f"{words} ")]
        fitting = list(dict.fromkeys(ends or starts))
        if len(fitting) == 1 and fitting[0] not in found.values():
            found[column.at] = fitting[0]
    return found if len(found) > 1 else {}


def _writing(seen: Seen, out: Proposal, *, log: bool = False) -> None:
    """How the file is written, as far as nothing in it tells; all else the readers find as it was found here."""
    add = out.lines.append
    if seen.sheet:
        add(f"      sheet: {scalar(seen.sheet)}")
    if seen.doubt:
        out.open.append(f"decimal{'' if log else ', thousands'}: {seen.doubt}")
        add(f'      decimal: "{OPEN}"              # {seen.doubt}')
    if seen.date_order == OPEN and not log:
        out.open.append(f"date_order: day first or month first; {seen.short_year or 'no date of the file tells'}")
        add(f"      date_order: {scalar(seen.date_order)}")


def _constants(
    fields: Sequence[Field], found: Mapping[str, _Fit], sheet: bool, seen: Seen, program: Program | None, out: Proposal
) -> list[str]:
    """What no column says but every record needs."""
    lines = []
    across = {"phase"} if sheet else set()
    for what in fields:
        if not what.required or what.name in found or what.name in across:
            continue
        value, why = _known(what.refers, seen.file, program)
        if not value:
            value, why = OPEN, what.title.lower()
            out.open.append(f"{what.name}: no column says it ({what.title.lower()})")
        lines.append(f"{what.name}: {scalar(value)}".ljust(24) + f"   # {why}")
    return lines


def _known(refers: str, file: str, program: Program | None) -> tuple[str, str]:
    """An id that the name of the file says, or the only one there is."""
    ids = _ids(program, refers) or []
    stem = "-".join(_tokens(PurePosixPath(file).stem))
    ways = {"-".join(_tokens(way)): one for way, one in names(program.words if program else (), refers, ids).items()}
    named = [each for each in ways if f"-{each}-" in f"-{stem}-"]
    longest = {ways[each] for each in named if not any(each != other and each in other for other in named)}
    if len(longest) == 1:
        return longest.pop(), "from the name of the file"
    if len(ids) == 1:
        return ids[0], f"the only {_PLACES.get(refers, refers)} there is"
    return "", ""


def _reference(column: SeenColumn, seen: Seen) -> str:
    """The header as an entry writes it: without a bracketed unit where that leaves it the only one."""
    name = plain(column.name) if column.unit_place == "in its header" else plain(column.header)
    others = [other for other in seen.columns if other.at != column.at]
    alone = name and not any(plain(o.header) == name or o.name == name for o in others)
    return name if alone else plain(column.header)


def _address(column: SeenColumn, seen: Seen) -> list[str]:
    """The keys that say where a column stands: its header, and which of several under one header it is."""
    name = _reference(column, seen)
    alike = [other.at for other in seen.columns if other.header == column.header]
    return [f"header: {scalar(name)}", *([f"which: {alike.index(column.at) + 1}"] if len(alike) > 1 else [])]


def _column(column: SeenColumn, seen: Seen) -> str:
    """The same as the value of a key."""
    keys = _address(column, seen)
    return f"{{{', '.join(keys)}}}" if len(keys) > 1 else keys[0].removeprefix("header: ")


def _line(fit: _Fit, seen: Seen, dimension: str, out: Proposal) -> str:
    """One field of `columns` as YAML."""
    if fit.at < 0:
        return f'{fit.name}: "{OPEN}"'.ljust(40) + f"   # {fit.why}"
    column = seen.columns[fit.at]
    why = fit.remark or fit.why
    if not dimension or not fit.unit:
        return f"{fit.name}: {_column(column, seen)}".ljust(40) + f"   # {why}"
    if fit.unit == OPEN:
        likely = ", ".join(units.DIMENSIONS[dimension].spellings[:4])
        out.open.append(f'{fit.name}: the unit of column "{column.header}", such as {likely}')
    keys = [*_address(column, seen), f"unit: {scalar(fit.unit)}"]
    return f"{fit.name}: {{{', '.join(keys)}}}".ljust(40) + f"   # {why}"


# ---- logs -----------------------------------------------------------------------------------------------------------


def log(seen: Seen, program: Program | None, file: str) -> Proposal:
    """The record entry of a run log; `file` is its name from the program's folder."""
    out = Proposal([f"    - file: {scalar(file)}", *_named_alike(file, program)])
    headers = [column.header for column in seen.columns]
    for key, refers in (("engine", "engine"), ("phase", "phase")):
        value, why = _known(refers, seen.file, program)
        if not value:
            out.open.append(f"{key}: id of the {_PLACES[refers]}")
        line = f"      {key}: {scalar(value or OPEN)}"
        out.lines.append(f"{line:32}   # {why}" if why else line)
    _writing(seen, out, log=True)
    own = _own_times(seen)
    times = sorted(set(own.values())) or _times(seen)
    free = [column for column in seen.columns if column.at not in times and column.kind in {"number", "empty"}]
    fits = [fit for column in free for fit in _channel_fits(column, program)]
    found = _assigned(fits, out.open, headers)
    left = _unit_to_the_left(found, own, seen)
    if left:
        own = {}
        out.lines.append(f"      time: {{left: true, unit: {scalar(left)}}}   # each channel has its own to its left")
    elif not own:
        out.lines.append(_time_line(times, seen, out))
    elif rest := [seen.columns[fit.at].header for fit in found.values() if fit.at >= 0 and fit.at not in own]:
        out.open.append(f"time: which column is that of {listed(rest)}? none stands directly to the left")
        out.lines.append(f'      time: {{column: "{OPEN}", unit: s}}')
    out.lines.append("      channels:")
    order = {name: n for n, name in enumerate(channels.names(24))}
    for name in sorted(found, key=lambda each: order[each]):
        out.lines.append(f"        {_channel_line(found[name], seen, program, out, own)}")
    if not found:
        out.open.append("channels: none of the columns has a name known here; speed and torque are the first two")
        out.lines.append(f'        speed: {{header: "{OPEN}", unit: rpm}}')
    used = _named(found) | set(times)
    whole = [(name, what.dimensions) for name, what in channels.CHANNELS.items() if not what.each_cylinder]
    _rest(seen, used, found, whole, out)
    out.missing = [name for name, _ in whole if name not in found]
    return out


def _times(seen: Seen) -> list[int]:
    """Columns that say the time: one of stamps, a date with a time of day, or elapsed time."""
    kinds = {kind: [each.at for each in seen.columns if each.kind == kind] for kind in ("stamp", "date", "time of day")}
    if kinds["stamp"]:
        return kinds["stamp"][:1]
    if kinds["date"] and kinds["time of day"]:
        return [kinds["date"][0], kinds["time of day"][0]]
    if kinds["time of day"]:
        return kinds["time of day"][:1]
    rising = [each for each in seen.columns if each.kind == "number" and each.rises]
    named = [each for each in rising if _is_time_name(each.name) or _is_time(each.unit)]
    if not named and rising and rising[0].at == 0 and not any(fit.said for fit in _channel_fits(rising[0], None)):
        named = rising  # the first column, whose name is that of no channel
    return [each.at for each in named][:1]


def _own_times(seen: Seen) -> dict[int, int]:
    """Time column of each channel, where every channel has one of its own on its left."""
    own = {}
    for before, column in pairwise(seen.columns):
        named = set(_tokens(column.name)) <= set(_tokens(before.name))
        another = column.rises and (_is_time_name(column.name) or _is_time(column.unit))  # time, written once more
        plain_time = _is_time_name(before.name) and not another
        if before.rises and column.kind in {"number", "empty"} and (named or plain_time):
            own[column.at] = before.at
    return own if len(own) > 1 else {}


def _unit_to_the_left(found: Mapping[str, _Fit], own: Mapping[int, int], seen: Seen) -> str:
    """The unit of the times directly left of every channel, where they all name it; else ""."""
    at = _named(found) - {-1}
    units_of = {seen.columns[own[each]].unit if each in own else "" for each in at}
    return _ascii(units_of.pop()) if len(units_of) == 1 and _is_time(next(iter(units_of))) else ""


def _is_time(unit: str) -> bool:
    return _is_of(unit, "time")


def _is_of(unit: str, dimension: str) -> bool:
    try:
        units.converter(unit, dimension)
    except units.UnitError:
        return False
    return True


def _time_line(times: Sequence[int], seen: Seen, out: Proposal) -> str:
    """The time of a log as a line of YAML."""
    time, remark = _time(times, seen, out)
    return f"      time: {time}" + (f"   # {remark}" if remark else "")


def _time(times: Sequence[int], seen: Seen, out: Proposal) -> tuple[str, str]:
    order = ""
    if seen.date_order == OPEN:
        order = f", date_order: {scalar(OPEN)}"
        out.open.append(f"date_order: day first or month first; {seen.short_year or 'no stamp of the file tells'}")
    if not times:
        out.open.append("time: no column of elapsed time, and none of stamps, was found")
        return f'{{column: "{OPEN}", unit: s}}', ""
    names = [_column(seen.columns[at], seen) for at in times]
    column = seen.columns[times[0]]
    if len(times) == 2:
        return f"{{date: {names[0]}, time_of_day: {names[1]}{order}}}", ""
    if column.kind != "number":
        return f"{{clock: {names[0]}{order}}}", ""
    said = column.unit if _is_time(column.unit) else ""
    word = next((word for word in _tokens(column.header) if word in _TIME_WORDS), "")
    unit = said or _TIME_WORDS.get(word, "")
    if not unit:
        said = f'time, unit: s, min or ms? "{column.header}" runs from {column.low:g} to {column.high:g}'
        if not any(each.startswith("time, unit") for each in out.open):
            out.open.append(said)
    remark = f"it runs from {column.low:g} to {column.high:g}"
    return f"{{column: {names[0]}, unit: {scalar(unit or OPEN)}}}", remark


_TIME_WORDS = {"seconds": "s", "sec": "s", "minutes": "min", "minute": "min", "hours": "h", "ms": "ms"}


def _channel_fits(column: SeenColumn, program: Program | None) -> list[_Fit]:
    """The channels a column may be."""
    cylinders = max((build.engine_type.cylinders for build in program.builds), default=24) if program else 24
    number = re.search(r"(?<![0-9.])([0-9]{1,2})\s*$", column.name)
    fits = []
    alone = column.name if units.is_unit(column.name) and not column.unit else ""  # "N" is the newton
    for name, what in channels.CHANNELS.items():
        if alone and not any(_is_of(alone, each) for each in what.dimensions):
            continue
        texts, own = [column.name, column.header], name
        if what.each_cylinder:
            if number is None or not 1 <= int(number[1]) <= cylinders:
                continue
            texts, own = [column.name[: number.start()]], f"{name}_{int(number[1])}"
        dimensions = ["actual flow", "standard flow"] if what.metered else list(what.dimensions)
        stated, unit, remark = _unit_for(column, dimensions)
        if stated < 0:
            continue
        said, exact, like = _names(name, what.title, CHANNELS).match(texts, unit=stated > 0)
        if what.metered and remark:
            unit, remark = _flow_unit(column, program)
        lone = stated > 0 and bool(_LONE & set(dimensions)) and column.kind == "number"
        if said or like or lone:
            why = ("by its name and its unit" if stated else "by its name") if said else "by a word of its header"
            why = why if said or like else "by its unit"
            fits.append(_Fit(own, column.at, why, said, exact, _ascii(unit) or _ascii(column.unit), remark))
    return fits


def _flow_unit(column: SeenColumn, program: Program | None) -> tuple[str, str]:
    """A flow that does not say which volume it counts: as the scale of the only meter says, else open."""
    meters = list(program.definitions.meters.values()) if program else []
    if len(meters) == 1 and meters[0].scale == "actual":
        return f"{column.unit} actual", f"actual volume, as {meters[0].id} shows it"
    return OPEN, f'the file says "{column.unit}": actual or standard volume?'


def _channel_line(fit: _Fit, seen: Seen, program: Program | None, out: Proposal, own: Mapping[int, int]) -> str:
    found = channels.known(fit.name)
    what = found[0] if found else None
    if fit.at < 0:
        meter = f', meter: "{OPEN}"' if what is not None and what.metered else ""
        return f'{fit.name}: {{header: "{OPEN}", unit: "{OPEN}"{meter}}}   # {fit.why}'
    column = seen.columns[fit.at]
    parts = [*_address(column, seen), f"unit: {scalar(fit.unit)}"]
    if fit.unit == OPEN and what is not None:
        dimensions = what.dimensions if not what.metered else ("actual flow",)
        likely = ", ".join(units.DIMENSIONS[dimensions[0]].spellings[:4])
        said = f'{fit.name}: the unit of column "{column.header}", such as {likely}'
        out.open.append(said)
    if what is not None and what.metered:
        meters = list(program.definitions.meters) if program else []
        meter = meters[0] if len(meters) == 1 else OPEN
        if meter == OPEN:
            out.open.append(
                f"{fit.name}, meter: id of the meter in definitions.yaml"
                + (f" ({', '.join(meters)})" if meters else "")
            )
        parts.append(f"meter: {scalar(meter)}")
    if fit.at in own:
        parts.append(f"time: {_time([own[fit.at]], seen, out)[0]}")
    return f"{fit.name}: {{{', '.join(parts)}}}   # {fit.remark or fit.why}"
