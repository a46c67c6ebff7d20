"""Columns of numbers from a CSV file beside the boat file."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from vpp.config.errors import Problem
from vpp.config.text import allowed_text, shown

_NUMBER = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?")


@dataclass(frozen=True)
class ColumnFile:
    """A file of columns as read: its bytes, its values, the line of every row, and what is wrong with it.

    `unreadable` says why it could not be read, `problems` what is wrong inside; with either it has no values.
    """

    name: str
    content: bytes
    values: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    lines: tuple[int, ...] = ()
    problems: tuple[Problem, ...] = ()
    unreadable: str = ""

    def column(self, name: str) -> tuple[float, ...]:
        """The values of a column, empty where the file has none."""
        return self.values.get(name, ())


Columns = Mapping[str, Mapping[str, Any]]


def read_columns(folder: Path, name: str, columns: Columns, *others: Columns) -> ColumnFile:
    """Read a file whose heading names exactly these columns, or those of one of the others, each with its
    range as JSON Schema has it.
    """
    if Path(name).is_absolute():
        return ColumnFile(name, b"", unreadable="the path must be relative to the boat file")
    try:
        content = (folder / name).read_bytes()
    except FileNotFoundError:
        return ColumnFile(name, b"", unreadable="there is no such file beside the boat file")
    except (OSError, ValueError) as error:
        return ColumnFile(name, b"", unreadable=f"the file cannot be read ({_reason(error)})")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return ColumnFile(name, content, unreadable="the file is not UTF-8 text")
    return _parse(name, content, text, (columns, *others))


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) and error.strerror else str(error)).lower()


def _parse(name: str, content: bytes, text: str, choices: tuple[Columns, ...]) -> ColumnFile:
    reader = csv.reader(io.StringIO(text, newline=""))
    rows: list[tuple[int, list[str]]] = []
    try:
        for cells in reader:
            rows.append((reader.line_num, [cell.strip() for cell in cells]))
    except csv.Error as error:
        broken = Problem(file=name, line=reader.line_num, wrong=f"this is not a CSV line ({error})")
        return ColumnFile(name, content, problems=(broken,))
    rows = [(line, cells) for line, cells in rows if any(cells)]
    columns = next((each for each in choices if rows and rows[0][1] == list(each)), None)
    if columns is None:
        given = shown(",".join(rows[0][1])) if rows else ""
        line = rows[0][0] if rows else 1
        allowed = " or ".join(",".join(each) for each in choices)
        heading = Problem(
            file=name,
            line=line,
            given=given,
            wrong=f"is not the heading{_lacking(rows[0][1] if rows else [], choices)}",
            allowed=allowed,
        )
        return ColumnFile(name, content, problems=(heading,))
    problems: list[Problem] = []
    values: list[tuple[float, ...]] = []
    for line, cells in rows[1:]:
        row = tuple(
            _number(name, line, column, cell, entry, problems)
            for (column, entry), cell in zip(columns.items(), cells, strict=False)
        )
        if len(cells) != len(columns):
            problems.append(
                Problem(
                    file=name, line=line, wrong=f"has {len(cells)} cells", allowed=f"{len(columns)} cells"
                )
            )
        else:
            values.append(row)
    if problems:
        return ColumnFile(name, content, problems=tuple(problems))
    return ColumnFile(
        name,
        content,
        values={column: tuple(row[index] for row in values) for index, column in enumerate(columns)},
        lines=tuple(line for line, _ in rows[1:]),
    )


def _lacking(given: list[str], choices: Sequence[Columns]) -> str:
    """Which columns a heading lacks that every choice has; empty where it lacks none."""
    needed = [column for column in choices[0] if all(column in each for each in choices)]
    missing = [column for column in needed if column not in given]
    return f": it lacks {', '.join(missing)}" if missing else ""


def _number(
    name: str, line: int, column: str, cell: str, entry: Mapping[str, Any], problems: list[Problem]
) -> float:
    value = float(cell) if _NUMBER.fullmatch(cell) else math.nan
    if not entry["minimum"] <= value <= entry["maximum"]:
        wrong = "is outside its range" if math.isfinite(value) else "is not a finite number"
        allowed = allowed_text(column, entry)
        problems.append(
            Problem(file=name, line=line, key=column, given=cell[:40], wrong=wrong, allowed=allowed)
        )
    return value
