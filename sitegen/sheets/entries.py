"""What to paste into the program file so that filled tables are read."""

from __future__ import annotations

from collections.abc import Sequence

from sitegen.program.addresses import written
from sitegen.program.model import Words
from sitegen.sheets.columns import is_text
from sitegen.sheets.tables import EmptyTable

_OF_TEXT = ("separator", "decimal", "thousands", "encoding")  # what a workbook leaves nothing to say for


def entries(tables: Sequence[EmptyTable], ending: str, general: Sequence[Words] = ()) -> str:
    """Record entries of the tables as YAML; `ending` of the files: csv or xlsx; `general`: words no entry repeats."""
    import yaml

    lines: list[str] = []
    for stream in dict.fromkeys(table.stream for table in tables):
        lines.append(f"  {stream}:")
        for table in tables:
            if table.stream == stream:
                text = yaml.safe_dump(
                    [_entry(table, ending, general)],
                    sort_keys=False,
                    allow_unicode=True,
                    width=10_000,
                    default_flow_style=None,
                )
                lines += [f"    {line}" for line in text.splitlines()]
    return (
        f"# Once the .{ending} tables are filled in, copy them into the program's folder under records/ and paste\n"
        "# their entries into `records` of program.yaml. Take each table once, as .csv or as .xlsx. Rows that are\n"
        "# not filled in may stay: what they ask for counts as planned and not yet taken.\n"
        "records:\n" + "\n".join(lines) + "\n"
    )


def _entry(table: EmptyTable, ending: str, general: Sequence[Words]) -> dict[str, object]:
    source, columns = table.columns.source, table.columns
    entry: dict[str, object] = {"file": f"records/{table.name}.{ending}"}
    if source is None:
        return entry
    keys: tuple[str, ...] = ("date_order",)
    if ending == "csv" and is_text(source):
        keys = (*_OF_TEXT, "date_order")
    if source.separator == "blanks":  # written with commas, see `tables.as_text`
        keys = tuple(key for key in keys if key != "separator")
    for key in keys:
        value = getattr(source, key)
        if value and not (key == "decimal" and value == "."):
            entry[key] = value
    if columns.below:
        entry["units_row"] = True
    if columns.constants:
        entry["constants"] = dict(columns.constants)
    for own in source.words:
        if own not in general:
            entry["words"] = {name: dict(means) for name, means in own.items()}
    if source.columns:
        entry["columns"] = {name: written(use.at, unit=use.unit) for name, use in source.columns.items()}
    return entry
