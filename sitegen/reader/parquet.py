"""A Parquet file to a grid of cells. Needs pyarrow, which the optional extra `parquet` installs."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from sitegen.problems import shown
from sitegen.reader.blocked import Blocked, refusal
from sitegen.reader.grid import CELL_LIMIT, COLUMN_LIMIT, RECORD_ROWS, TEXT_LIMIT, Grid
from sitegen.reader.workbook import clean, iso, number_text

if TYPE_CHECKING:
    import pyarrow as pa

UNPACKED_LIMIT = 1 << 27  # bytes of all columns together, as the file states them


def pyarrow_for(file: str) -> tuple[Any, Any]:
    """pyarrow and its part for Parquet. Raises `Blocked`, told of the file, where they are not installed or broken."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ModuleNotFoundError:
        code, what, option = "parquet-not-installed", "which is not installed", ""
    except Exception as fault:  # a compiled package fails to load in ways of its own
        said = shown(str(fault).partition(chr(10))[0], 200)
        code, what, option = "parquet-not-loaded", f"which cannot be loaded: {said}", "--upgrade "
    else:
        return pa, pq
    raise refusal(
        file,
        0,
        code=code,
        what=f"reading Parquet needs the package pyarrow, {what}",
        expected="the optional extra `parquet`",
        next_step=f"run: pip install {option}'sitegen[parquet]'",
    )


def read_parquet(data: bytes, file: str, most: int = RECORD_ROWS) -> Grid:
    """Rows of a Parquet file, counted from 1, below the names of its columns.

    Raises `Blocked` where the file is broken, too large or nested, or where pyarrow is not there.
    """
    pa, pq = pyarrow_for(file)
    try:
        opened = open_parquet(pq, pa.BufferReader(data))
        _small_enough(opened.metadata, file, most)
        _flat(opened.schema_arrow, file)
        table = opened.read(use_threads=False)
        columns = [_texts(table.column(at), name, file) for at, name in enumerate(table.column_names)]
    except (pa.ArrowException, OSError, ValueError, OverflowError, ArithmeticError, LookupError) as fault:
        raise refusal(
            file,
            0,
            code="parquet-broken",
            what=f"the Parquet file cannot be read: {shown(str(fault).partition(chr(10))[0])}",
            expected="a whole Parquet file",
            next_step="write the file again",
        ) from None
    header = [clean(name) for name in table.column_names]
    numbered = [(i, row) for i, row in enumerate(zip(*columns, strict=True), 1) if any(row)]
    return Grid(
        hashlib.sha256(data).hexdigest(),
        "Parquet",
        [header, *(row for _, row in numbered)],
        [0, *(i for i, _ in numbered)],
        letters=False,
    )


def open_parquet(pq: Any, stream: Any) -> Any:
    """A Parquet file whose texts stay as packed as they are: a text repeated in a million rows is held once."""
    named = pq.ParquetFile(stream, thrift_string_size_limit=1 << 24)
    texts = [each.name for each in named.schema_arrow if _is_text(each.type)]
    return pq.ParquetFile(stream, metadata=named.metadata, thrift_string_size_limit=1 << 24, read_dictionary=texts)


def unpacked(column: Any) -> list[Any]:
    """Values of a column or a piece of it, each of a dictionary made once. Raises `pa.ArrowInvalid` on a broken one."""
    import pyarrow as pa

    made: list[Any] = []
    for chunk in column.chunks if isinstance(column, pa.ChunkedArray) else [column]:
        if pa.types.is_dictionary(chunk.type):
            words = chunk.dictionary.to_pylist()
            places = chunk.indices.to_pylist()
            if any(at is not None and not 0 <= at < len(words) for at in places):
                raise pa.ArrowInvalid("a row names a text that its dictionary does not hold")
            made += [None if at is None else words[at] for at in places]
        else:
            made += chunk.to_pylist()
    return made


def _is_text(kind: pa.DataType) -> bool:
    import pyarrow as pa

    types = pa.types
    return bool(types.is_string(kind) or types.is_large_string(kind) or types.is_string_view(kind))


def _small_enough(metadata: Any, file: str, most: int) -> None:
    size = sum(metadata.row_group(i).total_byte_size for i in range(metadata.num_row_groups))
    cells = metadata.num_rows * metadata.num_columns
    if size > UNPACKED_LIMIT or cells > CELL_LIMIT or metadata.num_columns > COLUMN_LIMIT or metadata.num_rows > most:
        raise refusal(
            file,
            0,
            code="file-too-big",
            what=f"the table has {metadata.num_rows} rows, {metadata.num_columns} columns and {size} bytes unpacked",
            expected=f"at most {most} rows, {COLUMN_LIMIT} columns, {CELL_LIMIT} cells and {UNPACKED_LIMIT} bytes",
            next_step="keep the record table only, or split it into several files",
        )


def _flat(schema: pa.Schema, file: str) -> None:
    nested = [field for field in schema if _reader(field.type) is None]
    if nested:
        raise Blocked(
            *(
                refusal(
                    file,
                    0,
                    code="column-nested",
                    what=f"the column holds {shown(each.type)}, not one value a row",
                    expected="numbers, texts, dates, times, or yes and no",
                    next_step="write the file again with plain columns",
                    column_name=shown(each.name),
                ).problems[0]
                for each in nested
            )
        )


def _reader(kind: pa.DataType) -> Callable[[Any], str] | None:
    """How a value of this type is written as text; None for types that hold more than one value."""
    import pyarrow as pa

    types = pa.types
    if types.is_dictionary(kind):
        return _reader(kind.value_type)
    if types.is_boolean(kind):
        return lambda value: "yes" if value else "no"
    if types.is_integer(kind):
        return str
    if types.is_floating(kind):
        return _of_float
    if types.is_decimal(kind):
        return _of_decimal
    if _is_text(kind):
        return clean
    if types.is_date(kind) or types.is_timestamp(kind) or types.is_time(kind) or types.is_duration(kind):
        return iso
    return str if types.is_null(kind) else None


def _of_float(value: float) -> str:
    text = repr(value)
    return text if text in {"nan", "inf", "-inf"} else number_text(text)


def _of_decimal(value: Decimal) -> str:
    return number_text(format(value, "f"))


def _texts(column: pa.ChunkedArray, name: str, file: str) -> list[str]:
    import pyarrow as pa

    kind = column.type
    if pa.types.is_dictionary(kind):
        kind = kind.value_type
        column = column if _is_text(kind) else column.cast(kind)
    write = _reader(kind)
    if write is None:
        raise AssertionError(f"{name} was let through")
    if pa.types.is_timestamp(kind):  # finer than a microsecond says nothing about a day
        column = column.cast(pa.timestamp("us", kind.tz), safe=False)
    elif pa.types.is_time(kind):
        column = column.cast(pa.time64("us"), safe=False)
    elif pa.types.is_duration(kind):
        column = column.cast(pa.duration("us"), safe=False)
    known: dict[Any, str] = {None: ""}
    texts: list[str] = []
    for value in unpacked(column):
        text = known.get(value)
        if text is None or value != value:  # nan is no key that is found again
            text = known[value] = write(value)
        texts.append(text)
    if sum(map(len, texts)) > TEXT_LIMIT:
        raise refusal(
            file,
            0,
            code="file-too-big",
            what=f"the texts have more than {TEXT_LIMIT} characters",
            expected="a record table",
            next_step="keep the record table only",
            column_name=shown(name),
        )
    return texts
