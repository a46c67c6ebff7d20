"""A CSV file with one row a result, and a Data Package that describes its columns.

The descriptor follows the Data Package and Table Schema specifications of the Open Knowledge Foundation
(version 1, from memory; files are checked with the library `frictionless`). `unit` and `title` besides the
standard's own properties are allowed by it.
"""

from __future__ import annotations

import hashlib
import re
from typing import Any

from vpp.exchange.table import EXPORTED, KEY, PolarTable, allowed_words, description, units
from vpp.results.files import csv_text
from vpp.results.variables import Variable

CSV = "polars.csv"
DESCRIPTOR = "datapackage.json"

_NEVER_EMPTY = {*KEY, "branch", "boat_speed_kn", "vmg_kn", "calibration"}
_LIMITS: dict[str, dict[str, float]] = {
    "tws_kn": {"minimum": 0.0},
    "twa_deg": {"minimum": 0.0, "maximum": 180.0},
    "boat_speed_kn": {"minimum": 0.0},
}


def table_text(table: PolarTable) -> str:
    """The rows as CSV in UTF-8: a header, a point for decimals, empty where there is no value."""
    return csv_text(table.rows)


def descriptor(table: PolarTable, text: str) -> dict[str, Any]:
    """The Data Package of a table and its text as CSV: every column with type, unit, description and what it
    may hold.
    """
    about = table.about()
    data = text.encode("utf-8")
    return {
        "profile": "tabular-data-package",
        "name": _slug(table.source.name),
        "title": about["title"],
        "description": f"{about['left_out_text']}. {about['caution']}",
        "created": f"{table.solved_on}T00:00:00Z",
        "vpp": about,
        "resources": [
            {
                "profile": "tabular-data-resource",
                "name": "polars",
                "path": CSV,
                "format": "csv",
                "mediatype": "text/csv",
                "encoding": "utf-8",
                "bytes": len(data),
                "hash": f"sha256:{hashlib.sha256(data).hexdigest()}",
                "schema": schema(),
            }
        ],
    }


def schema() -> dict[str, Any]:
    """The Table Schema of exported rows."""
    return {
        "fields": [_field(item) for item in EXPORTED],
        "missingValues": [""],
        "primaryKey": list(KEY),
    }


def _field(item: Variable) -> dict[str, Any]:
    limits: dict[str, Any] = dict(_LIMITS.get(item.column, {}))
    if item.column in _NEVER_EMPTY:
        limits["required"] = True
    if words := allowed_words(item.column):
        limits["enum"] = list(words)
    return {
        "name": item.column,
        "type": "string" if item.is_text else "number",
        "title": item.long_name,
        "description": description(item),
        **({} if item.is_text else {"unit": units(item)}),
        **({"constraints": limits} if limits else {}),
    }


def _slug(name: str) -> str:
    """A name as the specification allows: lower-case letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "boat"
