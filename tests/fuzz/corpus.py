# ruff: noqa: E501
"""What once broke it, or would have: each made by a line or two, with why it is here."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from PIL import Image

from fuzz import folders
from fuzz.breaking import Broken
from fuzz.folders import Table

HEAD = "engine,cylinder,phase,tester,supply [psig],pressure [psig],crank\n"
ROW = "B1,1,cold-build,T1,80,70,tdc\n"


def _records(content: str | bytes, ending: str = ".csv", stream: str = "leakdown", rows: int | None = None) -> Broken:
    data = content.encode() if isinstance(content, str) else content
    made = Table([], "pump/records/a" if stream != "runlog" else "pump/logs/a")
    name = f"{made.name}{ending}"
    files = folders.with_records({**folders.base("plain"), name: data}, stream, folders.entry(stream, made, ending))
    return Broken(f"corpus {ending[1:]}", files, name, rows)


def _trace(above: str) -> Broken:
    rows = "".join(f"{at},{at % 7}\n" for at in range(40))
    return Broken("corpus trace", {**folders.base("surfaces"), "pump/traces/a.txt": (above + rows).encode()})


def _book(sheet: str, texts: str = "<sst/>") -> bytes:
    """A workbook of these parts, as small as the standard lets it be."""
    out = io.BytesIO()
    kind = '<Relationship Id="r{}" Type="x/{}" Target="{}"/>'
    parts = {
        "[Content_Types].xml": "<Types/>",
        "_rels/.rels": f"<R>{kind.format(1, 'officeDocument', 'xl/workbook.xml')}</R>",
        "xl/workbook.xml": '<workbook xmlns:r="r"><sheets><sheet name="S" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": (
            f"<R>{kind.format(1, 'worksheet', 's.xml')}{kind.format(2, 'sharedStrings', 't.xml')}</R>"
        ),
        "xl/s.xml": f"<worksheet><sheetData>{sheet}</sheetData></worksheet>",
        "xl/t.xml": texts,
    }  # fmt: skip
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


def _row(text: str) -> str:
    return "<row>" + "".join(f'<c t="str"><v>{cell}</v></c>' for cell in text.strip().split(",")) + "</row>"


def _packed(columns: dict[str, pa.Array]) -> bytes:
    out = io.BytesIO()
    pq.write_table(pa.table(columns), out)
    return out.getvalue()


def _repeated(rows: int) -> bytes:
    codes = pa.array(np.zeros(rows, dtype=np.int32))
    return _packed({"engine": pa.DictionaryArray.from_arrays(codes, pa.array(["x" * 20_000]))})


def _picture(form: str, size: tuple[int, int], mode: str, **how: object) -> Broken:
    out = io.BytesIO()
    Image.new(mode, size).save(out, form, **how)
    table = "engine,cylinder,phase,part,place,inspector,grade,image\nB1,1,pulls,top-ring,back,M.,1,a.png\n"
    made = _records(table, stream="inspection")
    return Broken("corpus image", {**made.files, "pump/a.png": out.getvalue()})


def _alias() -> Broken:
    bomb = "a: &a [x, x]\n" + "".join(
        f"{b}: &{b} [*{a}, *{a}]\n" for a, b in zip("abcdefghi", "bcdefghij", strict=True)
    )
    return Broken("corpus yaml", {**folders.base("plain"), "pump/program.yaml": bomb.encode()})


CORPUS: dict[str, tuple[str, Callable[[], Broken]]] = {
    "digits and a letter": (
        "the pattern of a number tried each way of cutting them: more than a minute",
        lambda: _records(HEAD + ROW.replace("70", "7" * 200_000 + "x"), rows=1),
    ),
    "a million brackets over a column": (
        "the pattern of a header with its unit tried each of them",
        lambda: _records("(" * 1_000_000 + "," + HEAD + ROW, rows=1),
    ),
    "ten million line feeds": (
        "each was a line with its number: 834 MB",
        lambda: _records(HEAD + "\n" * 10_000_000, rows=0),
    ),
    "lines without end": ("each row took 2 kB once told: 300 000 of them are no records", lambda: _records(HEAD + ROW * 300_000)),
    "rows that each have their warning": (
        "what was still in use was asked for the whole table for each row: ten minutes",
        lambda: _records(HEAD + ROW.replace("tdc", "") * 20_000, rows=20_000),
    ),
    "twelve million shared texts": (
        "551 kB of a workbook took 1 GB",
        lambda: _records(_book(_row(HEAD) + _row(ROW), "<sst>" + "<si><t>a</t></si>" * 12_000_000 + "</sst>"), ".xlsx"),
    ),
    "a tag of 100 MB": (
        "the parser keeps a tag until it ends",
        lambda: _records(_book(f'<row a="{"x" * 100_000_000}"/>'), ".xlsx"),
    ),
    "a cell beyond the header": (
        "was left out without a word where a text would be refused",
        lambda: _records(_book(_row(HEAD) + _row(f"{ROW.strip()},5")), ".xlsx"),
    ),
    "one long text in 40 000 rows": ("4 kB of Parquet took 2.5 GB", lambda: _records(_repeated(40_000), ".parquet")),
    "one long text in 300 000 rows": ("the same, refused by its rows", lambda: _records(_repeated(300_000), ".parquet")),
    "a time before all times": (
        "-1e308 s became the place of a bin: IndexError",
        lambda: _records(
            _packed({"Time": pa.array([-1e308, 52, 66, -1e308, 68, 69]), "n": pa.array([900.0] * 6), "Md": pa.array([1.0] * 6)}),
            ".parquet", "runlog", 6,
        ),
    ),
    "the last second of the last year": (
        "no date is beyond it",
        lambda: _records("Time,n,Md\n9999-12-31T24:00:00,900,1\n9999-12-31T23:59:60,900,1\n", stream="runlog"),
    ),
    "a stamp of 100 000 characters among many": (
        "an array of texts has room for the longest in every row: 32 GB",
        lambda: Broken(
            "corpus csv",
            folders.with_records(
                {**folders.base("plain"), "pump/logs/a.csv": (
                    "Time,n\n" + "".join(f"08:00:{at % 60:02d},900\n" for at in range(60)) + "9" * 100_000 + ",900\n"
                ).encode()},
                "runlog",
                {"file": "logs/a.csv", "engine": "B1", "phase": "pulls", "time": {"clock": "Time"},
                 "channels": {"speed": {"header": "n", "unit": "rpm"}}},
            ),
        ),
    ),
    "blanks between the fields of a log": (
        "a run of blanks was looked through from each of them",
        lambda: _records("Time n Md\n" + "".join(f"{at}{' ' * 9000}900 1\n" for at in range(60)), stream="runlog"),
    ),
    "blanks before a unit": ("the same above a trace", lambda: _trace(" " * 200_000 + "x [um],z [um]\n")),
    "marks above a trace": ("a key, its mark and its value were sought in every way", lambda: _trace(";" * 200_000 + "\nx [um],z [um]\n")),
    "a count of 5000 digits": ("is no whole number for the language", lambda: _trace("points: " + "9" * 5000 + "\nx [um],z [um]\n")),
    "a height of 200 000 digits": ("the pattern of a number, again", lambda: _trace("x [um],z [um]\n0," + "7" * 200_000 + "x\n")),
    "aliases of aliases": ("would be a thousand values", _alias),
    "a black PNG of 30 000 x 30 000": ("a header that promises more than is taken", lambda: _picture("PNG", (30_000, 30_000), "1")),
    "a TIFF of 16 bits": ("grey values took 16 bytes each while they were spread", lambda: _picture("TIFF", (5000, 5000), "I;16")),
    "a PNG of 48 million pixels": ("each copy of it is 200 MB", lambda: _picture("PNG", (8000, 6000), "RGB")),
    "a transparent PNG of 48 million pixels": ("two copies, with a colour profile five", lambda: _picture("PNG", (8000, 6000), "RGBA")),
    "a JPEG of 48 million pixels in steps": ("its coefficients are held too", lambda: _picture("JPEG", (8000, 6000), "RGB", progressive=True)),
    "a JPEG of 48 million pixels in inks": ("is turned into colours: another copy", lambda: _picture("JPEG", (8000, 6000), "CMYK")),
}  # fmt: skip
"""Name -> why, and how it is made."""
