"""What is done to a whole folder: a place or two broken, in its cells, in its text or in its bytes."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random
from typing import Any

from fuzz import folders, texts
from fuzz.folders import Files, Table

ODD: list[Any] = [
    "", " ", "-", "x", "nan", "inf", "-inf", "1e308", "-1e308", "1e-320", "9" * 400, "0x10", "1,5", "1.2.3", "1 000",
    "*.***", "#DIV/0!", "=1+1", "+1", "-0", "ND", "<0.5", "<", "yes", "true", "TDC", "B2", "B9", "pulls", "teardown",
    "2026-02-30", "14.05.2026", "0001-01-01", "9999-12-31", "2026-05-14T24:00:00", "23:59:60", "\u2212 5", "\u0661",
    "é", "\U0001f600", "\u202eabc", "a" * 600, "<b>x</b>", "a;b", 'a"b', "a'b", "a\tb", "0", "-1", "1e5", "1.0000001",
    "leakdown:2", "../x", "/etc/hostname", "con", "T1", "\ufeff", "\u00a0",
]  # fmt: skip
ODD_NUMBERS: list[Any] = [0, -1, 1e308, -1e308, 1e-320, float("inf"), float("nan"), 2**63, 0.1, 1e10, 1e12, None]
SCALARS: list[Any] = [
    0, -1, 1, 3, 1e9, "", "x", "5 mm", "5", "-5 psig", "1e400 mm", "80 kPa absolute", "70 %", "0 psig", None, True, [],
    {}, "2026-13-01", "2026-05-14", "B1", "B2", "nitrided", "pulls", "cold-build", "é" * 300, "a" * 5000,
    "9" * 5000 + " mm", "=1", "<script>alert(1)</script>", "../../x", "\u202e", "standard L/min", "L/min actual",
    "standard L/min (0 degC, 101.325 kPa)", "(" * 500, "every cylinder", "leakdown.crankcase", "seating.scale",
]  # fmt: skip
BYTES = [
    b"\0", b"\xff", b"\n", b"\r", b'"', b",", b";", b"\t" * 9, b"9" * 700, b"(" * 99, b"\xe2\x80\xae", b"\n" * 50,
]  # fmt: skip
HEADS = [*ODD[:40], "engine", "cylinder", "pressure [bar]", "pressure [kPa gauge]"]
LINES = [
    "", "points: 99", "points: " + "9" * 5000, " " * 500 + "(", "x [mm]\tz [mm]", "1;2;3", ";" * 500 + "x",
    "Ra: " + "9" * 600,
]  # fmt: skip
TAGS = ["<a>" * 80, "<!DOCTYPE a [<!ENTITY b '1'>]>", "&b;", "<Z>1 2 3</Z>", "</Z>", "<UNITS>um", "]]>", "<n>9</n>"]


@dataclass(frozen=True)
class Broken:
    """A folder to be read, and what is known of it."""

    kind: str
    files: Files
    table: str = ""  # the file whose rows are counted
    rows: int | None = None  # of it, where nothing but whole cells was changed


def bytes_of(random: Random, content: bytes) -> bytes:
    """A few bytes changed, put in, left out, repeated, or the end cut off."""
    data = bytearray(content)
    for _ in range(random.choice([1, 1, 2, 4])):
        at = random.randrange(len(data) + 1)
        match random.randrange(6):
            case 0 if data:
                data[at % len(data)] ^= 1 << random.randrange(8)
            case 1:
                data[at:at] = random.choice(BYTES)
            case 2:
                del data[at : at + random.choice([1, 2, 20])]
            case 3:
                data[at:at] = data[at : at + random.choice([5, 60, 300])]
            case 4:
                del data[at:]
            case _ if data:
                data[at % len(data)] = random.randrange(256)
    return bytes(data)


def _cells(random: Random, table: Table, ending: str) -> int | None:
    """Break cells; the number of rows afterwards, None where what a row is may be asked."""
    written = folders.legal if ending == ".xlsx" else lambda cell: cell  # a worksheet holds no control characters
    rows = table.cells
    sure = True
    for _ in range(random.choice([1, 1, 2, 3])):
        at = random.randrange(1, len(rows))
        column = random.randrange(len(rows[0]))
        match random.randrange(12):
            case 0 | 1 | 2:
                rows[at][column % len(rows[at])] = random.choice(ODD)
            case 3 | 4:
                rows[at][column % len(rows[at])] = random.choice(ODD_NUMBERS)
            case 5:
                rows.insert(at, list(rows[at]))
            case 6:
                rows[at], rows[-1] = rows[-1], rows[at]
            case 7:
                rows.insert(at, [""] * len(rows[0]))
            case 8:
                rows[at] = rows[at][:column] if column else rows[at]
                sure = False
            case 9:
                rows[at] = [*rows[at], random.choice(["", "beside", 5])]
                sure = False
            case 10:
                for row in rows[1:]:
                    if column < len(row):
                        row[column] = random.choice(ODD)
            case _:
                rows[0][column] = random.choice([*HEADS, rows[0][0]])
                sure = False
        if len(rows) < 2:
            break
    asked = 3 if rows[0][:1] == ["Time"] else len(rows[0])  # what no entry names makes no row of a log
    told = [["" if each is None else str(written(each)).strip() for each in row[:asked]] for row in rows[1:]]
    filled = sum(map(any, told))
    return filled if sure else None


def table(random: Random, ending: str, which: str = "") -> Broken:
    """A table of some stream in a form, broken."""
    which = which or random.choice(["leakdown", "leakdown", "buildsheet", "oil", "inspection"])
    home, stream, rows_of = folders.TABLES[which]
    made = rows_of(random)
    if ending == ".csv" and random.random() < 0.3:
        made.how = random.choice([{"separator": "semicolon", "decimal": ","}, {"separator": "tab"}])
    rows: int | None = None
    if random.random() < 0.8:
        rows = _cells(random, made, ending)
    match ending:
        case ".csv":
            content = folders.as_csv(made, random.choice(["utf-8", "utf-8", "utf-8-sig", "latin-1", "utf-16"]))
        case ".xlsx":
            content = folders.as_xlsx(made)
        case _:
            content = folders.as_parquet(made)
    if rows is None and random.random() < 0.5:
        content = bytes_of(random, content)
    name = f"{made.name}{ending}"
    files = folders.with_records({**folders.base(home), name: content}, stream, folders.entry(stream, made, ending))
    kind = "log" if which == "log" else "table"
    return Broken(f"{kind} {ending[1:]}", files, name, rows)


def trace(random: Random) -> Broken:
    files = folders.base("surfaces")
    lines = folders.trace(random).split("\n")
    for _ in range(random.choice([1, 2, 3])):
        at = random.randrange(len(lines))
        own = [lines[at] * 2, lines[at].replace(";", ","), f"{random.choice(ODD)};{random.choice(ODD)}"]
        lines[at] = random.choice([*own, *LINES, *TAGS, str(random.choice(ODD))])
    if random.random() < 0.2:
        lines += lines  # a second section
    ending = random.choice([".txt", ".txt", ".xml", ".xlsx"])
    content = folders.as_trace(lines, ending)
    if random.random() < 0.4:
        content = bytes_of(random, content)
    index = files["pump/records/traces.csv"].replace(b"a.txt", b"a" + ending.encode())
    return Broken(f"trace {ending[1:]}", {**files, "pump/records/traces.csv": index, f"pump/traces/a{ending}": content})


def picture(random: Random) -> Broken:
    made = folders.inspection(random)
    form = random.choice(["PNG", "JPEG", "TIFF"])
    content = folders.picture(random, form)
    content = bytes_of(random, content) if random.random() < 0.8 else content
    name = f"images/a.{form.lower()}"
    made.cells[1][-1] = name
    files = {**folders.base("plain"), f"pump/{name}": content, f"{made.name}.csv": folders.as_csv(made)}
    return Broken("image", folders.with_records(files, "inspection", folders.entry("inspection", made, ".csv")))


def program(random: Random) -> Broken:
    """The program file or the definitions: a value changed, left out, doubled; or the text of it."""
    files = folders.base(random.choice(["plain", "oil", "one-log", "surfaces", "other-folders", "text-stays-text"]))
    name = random.choice(["pump/program.yaml", "pump/program.yaml", "definitions.yaml"])
    if random.random() < 0.25:
        return Broken("program", {**files, name: bytes_of(random, files[name])})
    said = folders.loaded(files[name])
    gentle = random.random() < 0.7
    for _ in range(random.choice([1, 2, 4]) if gentle else random.choice([1, 1, 2])):
        (_gently if gentle else _value)(random, said)
    return Broken("program", {**files, name: folders.dumped(said)})


def _gently(random: Random, said: Any) -> None:
    """A number made another one, or a text a person may write."""
    leaves = [(at, key) for at, key in _places(said) if key in TEXTS or _number(at[key]) is not None]
    at, key = random.choice(leaves)
    number = _number(at[key])
    if number is None:
        at[key] = str(random.choice([each for each in ODD if str(each).strip()]))
    else:
        made = number * random.choice([0.5, 0.9, 1.1, 2, 3, 10, 1e-3])
        unit = at[key].partition(" ")[2] if isinstance(at[key], str) else ""
        at[key] = f"{made:.6g} {unit}" if unit else round(made) if isinstance(at[key], int) else made


TEXTS = frozenset({"title", "question", "note", "why", "by"})


def _number(value: Any) -> float | None:
    try:
        return float(str(value).partition(" ")[0]) if not isinstance(value, bool) else None
    except ValueError:
        return None


def _places(said: Any) -> list[tuple[Any, Any]]:
    """Each place of a value: what holds it, and its key."""
    places: list[tuple[Any, Any]] = []

    def walk(at: Any) -> None:
        for key, value in at.items() if isinstance(at, dict) else enumerate(at):
            places.append((at, key))
            if isinstance(value, dict | list):
                walk(value)

    walk(said)
    return places


def _value(random: Random, said: Any) -> None:
    places = _places(said)
    leaves = [(at, key) for at, key in places if not isinstance(at[key], dict | list)]
    at, key = random.choice(leaves if random.random() < 0.8 else places)
    match random.randrange(6):
        case 0:
            del at[key]
        case 1 if isinstance(at[key], str):
            at[key] = at[key] + random.choice(["x", " ", "0", "é", " psig"])
        case 1 | 2 if isinstance(at[key], int | float):
            at[key] = at[key] * random.choice([0, -1, 2, 1e6, 0.5])
        case 3:
            other, name = random.choice(leaves)
            at[key] = other.get(name) if isinstance(other, dict) else "x"
        case 4 if isinstance(at, list):
            at.append(at[key])
        case _:
            at[key] = random.choice(SCALARS)


MAKERS = (
    lambda random: table(random, ".csv"),
    lambda random: table(random, ".xlsx"),
    lambda random: table(random, ".parquet"),
    lambda random: table(random, ".csv", "log"),
    lambda random: table(random, ".xlsx", "log"),
    lambda random: table(random, ".parquet", "log"),
    trace,
    picture,
    program,
    lambda random: Broken("texts", texts.injected(random)),
)


def case(seed: int) -> Broken:
    """The folder of a seed: the same on every machine."""
    random = Random(seed)  # noqa: S311
    return MAKERS[seed % len(MAKERS)](random)
