# ruff: noqa: E501
"""Texts made to harm, put where people write: ids, names of channels and files, titles, remarks, captions, notes."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path, PurePosixPath
from random import Random
from typing import Any

from fuzz.folders import Files, base, dumped, loaded

PROGRAMS = Path(__file__).parents[2] / "programs"
BASES = ("plain", "oil", "one-log", "surfaces", "other-folders", "text-stays-text", "table-forms", "all-and-named")
TAG = "hit-me"  # an element nobody else uses: where a page has one, a text became markup

HOSTILE = (
    f"<{TAG}>", f"</title><{TAG}>", f"</textarea></style></script><script>{TAG}</script>", f"--><{TAG}><!--",
    f"]]><{TAG}>", f"<img src=x onerror={TAG}>", f"<svg/onload={TAG}>", f"<a href='javascript:{TAG}'>x</a>",
    f"\" onmouseover=\"{TAG}\" x=\"", f"' onmouseover='{TAG}' x='", f"` onmouseover={TAG} ", f"\\\"><{TAG}>\\",
    f"&lt;{TAG}&gt;", f"&#60;{TAG}&#62;", "&", "<", "</", "<!--", "{{ 7 * 7 }}", "{% raw %}", "{# #}", "${7*7}", "%s%n{0}",
    f"javascript:{TAG}", f"data:text/html,<{TAG}>", "#", "?a=b&c", "%2e%2e%2f", "//example.invalid/x", "\\\\host\\x",
    "=cmd()", "=1+1", "+cmd|' /C x'!A0", "-1+1", "@SUM(1)", "\t=1", "\r=1", "'=1", "=HYPERLINK(\"x\")",
    "\u202egpj.exe", "\u2066x", "\u200fx\u200e", "x\u200by", "\ufeffx", "\u2028x\u2029", "\x00", "\x07\x1b[2J\x1b]0;x\x07",
    "\x85", "a\nb", "a\rb", "\ud800".encode("utf-8", "replace").decode(), "\uffff", "\U000e0041",
    "x" * 300, "x" * 5000, "é" * 300, "a b " * 400, "x" * 41, "\u0301" * 60,
    "con", "NUL", "com1", "lpt9.txt", "aux.csv", ".", "..", "../x", "../../etc/passwd", "/etc/passwd", "C:\\x", "~", "-rf",
    "index", "data", "assets", "results", "results/measures.csv", ".hidden", "x.", "x ", " x",
    "\u0412\u0031", "B\u0661", "\uff22\uff11", "\uff0e\uff0e\uff0fx", "\uff1cscript\uff1e", "B1\u0000", "b1", "A1-", "-A1",
    "null", "true", "~", "NaN", "constructor", "__proto__", "toString", "hasOwnProperty",
)  # fmt: skip

WRITTEN = frozenset({  # keys whose values people word as they like
    "title", "question", "note", "why", "by", "process", "grade", "skipped", "fuel", "version", "operator", "cell", "block",
    "lot", "not_primary", "principle", "method", "left_out", "reason",
})  # fmt: skip
WORDED = frozenset({  # columns of the examples, the same
    "remark", "operator", "caption", "inspector", "place", "Remark", "By", "Read by", "sample", "batch", "lot", "date", "Date",
})  # fmt: skip


def example(random: Random) -> Files:
    """A program of the examples with the tables that are small, and a log."""
    name = random.choice(["pump-rings-2025", "pump-rings-2026"])
    home = PROGRAMS / name
    said = loaded((home / "program.yaml").read_bytes())
    said.pop("decisions", None)  # each names a commit
    records = said["records"]
    kept = {"leakdown", *random.sample(["buildsheet", "inspection", "oil", "events", "layers"], 2)}
    short = [each for each in records["runlog"] if each["file"].endswith("run-in-10.csv")][:1]
    said["records"] = {kind: entries for kind, entries in records.items() if kind in kept} | {"runlog": short}
    files = {"definitions.yaml": (PROGRAMS / "definitions.yaml").read_bytes()}
    for entry in (each for entries in said["records"].values() for each in entries):
        files[f"{name}/{entry['file']}"] = (home / entry["file"]).read_bytes()
    pictures = sorted((home / "images").iterdir(), key=lambda path: path.stat().st_size)[:2]
    files |= {f"{name}/images/{path.name}": path.read_bytes() for path in pictures}
    files[f"{name}/notes.md"] = (home / "notes.md").read_bytes()
    files[f"{name}/program.yaml"] = dumped(said)
    return files


def injected(random: Random) -> Files:
    """A whole folder with such texts in one to three places."""
    files = example(random) if random.random() < 0.25 else base(random.choice(BASES))
    for _ in range(random.choice([1, 1, 2, 3])):
        files = random.choice(PLACES)(random, files)
    return files


def text(random: Random, before: str = "") -> str:
    made = random.choice(HOSTILE)
    return random.choice([made, made, f"{before}{made}", f"{made}{before}"])


def _program(random: Random, files: Files) -> str:
    return random.choice([name for name in sorted(files) if name.endswith("/program.yaml")])


def _walked(said: Any, see: Callable[[Any, Any], None]) -> None:
    for key, value in list(said.items()) if isinstance(said, dict) else enumerate(said):
        see(said, key)
        if isinstance(value, dict | list):
            _walked(value, see)


def worded(random: Random, files: Files) -> Files:
    """A title, a note, a name of a person: what may be any text."""
    return _leaf(random, files, lambda key: key in WRITTEN)


def anywhere(random: Random, files: Files) -> Files:
    return _leaf(random, files, lambda _: True)


def _leaf(random: Random, files: Files, taken: Callable[[Any], bool]) -> Files:
    name = random.choice([_program(random, files), "definitions.yaml"])
    said = loaded(files[name])
    places: list[tuple[Any, Any]] = []
    _walked(said, lambda at, key: places.append((at, key)) if taken(key) and isinstance(at[key], str) else None)
    if places:
        at, key = random.choice(places)
        at[key] = text(random, at[key])
    return {**files, name: dumped(said)}


def ids(random: Random, files: Files) -> Files:
    """An id is another one wherever it stands, so that nothing but its form can be found fault with."""
    name = _program(random, files)
    said = loaded(files[name])
    shared = loaded(files["definitions.yaml"])
    known = [str(each["id"]) for kind in ("phases", "builds") for each in said.get(kind, ())]
    known += [str(each) for section in shared.values() if isinstance(section, dict) for each in section]
    old = random.choice(known)
    new = random.choice([text(random, old), text(random, old), f"{old}-0", "x" * 40, "0", "constructor", "index"])

    def put(at: Any, key: Any) -> None:
        if str(at[key]) == old:
            at[key] = new
        if isinstance(at, dict) and key == old:
            at[new] = at.pop(key)

    made = dict(files)
    for each in (name, "definitions.yaml"):
        content = loaded(files[each])
        _walked(content, put)
        made[each] = dumped(content)
    for entry in _entries(said):
        _cells(made, name, entry, lambda rows: [[new if cell == old else cell for cell in row] for row in rows])
    return made


def headers(random: Random, files: Files) -> Files:
    """The name of a column or channel, in the file and where it is described."""
    name = _program(random, files)
    said = loaded(files[name])
    entries = [each for each in _entries(said) if isinstance(each.get("channels") or each.get("columns"), dict)]
    if not entries:
        return files
    entry = random.choice(entries)
    described = entry.get("channels") or entry["columns"]
    field = random.choice(sorted(described))
    old = described[field]["header"] if isinstance(described[field], dict) else described[field]
    new = text(random, str(old))
    if isinstance(described[field], dict):
        described[field]["header"] = new
    else:
        described[field] = new
    made = {**files, name: dumped(said)}
    _cells(
        made, name, entry, lambda rows: [[new if cell == old else cell for cell in row] for row in rows[:3]] + rows[3:]
    )
    return made


def names(random: Random, files: Files) -> Files:
    """The name of a file of records, a trace or a picture, where it lies and where it is named."""
    name = _program(random, files)
    home = name.removesuffix("program.yaml")
    own = [each for each in sorted(files) if each.startswith(home) and each != name]
    if not own:
        return files
    old = PurePosixPath(random.choice(own))
    stem = text(random, old.stem).replace("/", random.choice(["", "_", "/"])).replace("\0", "")
    stem = stem.encode()[:200].decode("utf-8", "ignore").strip("/")
    new = f"{old.parent}/{stem}{random.choice([old.suffix, old.suffix, ''])}"
    if ".." in new.split("/") or new in files or not stem or stem == ".":
        new = f"{old.parent}/<{TAG}>{old.suffix}"
    made = {new if each == str(old) else each: content for each, content in files.items()}
    was, now = str(old).removeprefix(home), new.removeprefix(home)
    said = loaded(files[name])

    def put(at: Any, key: Any) -> None:
        if at[key] == was:
            at[key] = now

    _walked(said, put)
    made[name] = dumped(said)
    for entry in _entries(said):
        _cells(made, name, entry, lambda rows: [[now if cell == was else cell for cell in row] for row in rows])
    return made


def cells(random: Random, files: Files) -> Files:
    """A cell of a table, mostly in a column that holds words."""
    name = _program(random, files)
    entries = list(_entries(loaded(files[name])))
    made = dict(files)
    if not entries:
        return made

    def put(rows: list[list[str]]) -> list[list[str]]:
        if len(rows) > 1:
            row = random.randrange(1, len(rows))
            wide = [at for at, head in enumerate(rows[0]) if head in WORDED and at < len(rows[row])]
            most = range(len(rows[row])) if not wide or random.random() < 0.3 else wide
            if most:
                at = random.choice(most)
                rows[row][at] = text(random, rows[row][at])
        return rows

    _cells(made, name, random.choice(entries), put)
    return made


def notes(random: Random, files: Files) -> Files:
    name = _program(random, files)
    home = name.removesuffix("program.yaml")
    said = loaded(files[name])
    said["notes"] = "notes.md"
    lines = [
        text(random, random.choice(["", "# ", "- ", "> ", "    ", "[a](", "![a](", "<", "| a |\n|---|\n| "]))
        for _ in range(5)
    ]
    before = files.get(f"{home}notes.md", b"")
    content = before + "\n\n".join(["", *lines]).encode("utf-8", "surrogatepass")
    return {**files, name: dumped(said), f"{home}notes.md": content}


def folder(random: Random, files: Files) -> Files:
    """The folder of a program, whose name is its id."""
    home = _program(random, files).removesuffix("/program.yaml")
    new = random.choice([text(random, home), f"{home}-2", "index", "assets", "con", "x" * 60, "Pump", "-x", f"<{TAG}>"])
    new = new.replace("/", "").replace("\0", "").encode()[:200].decode("utf-8", "ignore")
    if new in {"", ".", ".."}:
        return files
    return {
        name.replace(f"{home}/", f"{new}/", 1) if name.startswith(f"{home}/") else name: each
        for name, each in files.items()
    }


PLACES = (worded, worded, worded, anywhere, ids, ids, headers, headers, names, names, cells, cells, notes, folder)


def _entries(said: Any) -> list[Any]:
    records = said.get("records")
    own = records.values() if isinstance(records, dict) else ()
    return [entry for entries in own if isinstance(entries, list) for entry in entries if isinstance(entry, dict)]


def _cells(files: Files, program: str, entry: Any, change: Callable[[list[list[str]]], list[list[str]]]) -> None:
    """Change the cells of the text table an entry names, as it is written; a table of another form stays."""
    name = f"{program.removesuffix('program.yaml')}{entry.get('file')}"
    if name not in files or PurePosixPath(name).suffix in {".xlsx", ".parquet", ".jpg", ".png", ".tif"}:
        return
    mark = {"tab": "\t", "semicolon": ";", "comma": ","}.get(
        str(entry.get("separator", ",")), str(entry.get("separator", ","))
    )
    encoding = str(entry.get("encoding", "utf-8"))
    try:
        content = files[name].decode(encoding)
        rows = change(list(csv.reader(io.StringIO(content, newline=""), delimiter=mark)))
        out = io.StringIO(newline="")
        csv.writer(out, delimiter=mark, lineterminator="\n").writerows(rows)
        files[name] = out.getvalue().encode(encoding, "replace")
    except (LookupError, UnicodeError, csv.Error, TypeError):
        return
