"""Rows as Apache Parquet: typed columns with their unit and meaning beside them."""

from __future__ import annotations

import json
from pathlib import Path

from vpp.exchange.table import EXPORTED, PolarTable, description, units
from vpp.libraries import library

PARQUET = "polars.parquet"
LIBRARIES = ("pyarrow", "pyarrow.parquet")


def write_parquet(table: PolarTable, path: Path) -> None:
    """Write the rows of a table: numbers as 64-bit floats, text as strings, null where there is no value.

    Every field carries `unit`, `long_name` and `description`, and the schema `vpp`, what the file says of
    itself as JSON. Raises MissingLibrary without pyarrow.
    """
    arrow = library("pyarrow")
    rows = table.rows
    fields, columns = [], []
    for item in EXPORTED:
        values = rows[item.column].tolist()
        kind = arrow.string() if item.is_text else arrow.float64()
        columns.append(arrow.array([None if _is_missing(value) else value for value in values], type=kind))
        told = {"long_name": item.long_name, "description": description(item), "unit": units(item)}
        fields.append(
            arrow.field(item.column, kind, metadata={key: text for key, text in told.items() if text})
        )
    metadata = {"vpp": json.dumps(table.about(), ensure_ascii=False, allow_nan=False)}
    data = arrow.Table.from_arrays(columns, schema=arrow.schema(fields, metadata=metadata))
    library("pyarrow.parquet").write_table(data, path)


def _is_missing(value: object) -> bool:
    return value == "" or value != value
