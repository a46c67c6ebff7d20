"""Chords of a sail from a CSV file beside the boat file."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import dataclass
from pathlib import Path

from vpp.config.errors import Problem
from vpp.config.schema import SailTable, properties_of
from vpp.config.text import allowed_text, shown

COLUMNS = ("height_percent", "chord_m")
# column by column, the key of the schema whose range it shares
_KEYS = {"height_percent": "chord_at_percent", "chord_m": "chord_m"}


_NUMBER = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?")


@dataclass(frozen=True)
class ChordFile:
    """A file of chords as read: its bytes, its columns, the line of every row, and what is wrong with it."""

    name: str
    content: bytes
    height_percent: tuple[float, ...] = ()
    chord_m: tuple[float, ...] = ()
    lines: tuple[int, ...] = ()
    problems: tuple[Problem, ...] = ()
    unreadable: str = ""


def read_chords(folder: Path, name: str) -> ChordFile:
    """Read a chord file. `unreadable` says why it could not be read, `problems` what is wrong inside."""
    if Path(name).is_absolute():
        return ChordFile(name, b"", unreadable="the path must be relative to the boat file")
    try:
        content = (folder / name).read_bytes()
    except FileNotFoundError:
        return ChordFile(name, b"", unreadable="there is no such file beside the boat file")
    except (OSError, ValueError) as error:
        return ChordFile(name, b"", unreadable=f"the file cannot be read ({_reason(error)})")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return ChordFile(name, content, unreadable="the file is not UTF-8 text")
    return _parse(name, content, text)


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) and error.strerror else str(error)).lower()


def _parse(name: str, content: bytes, text: str) -> ChordFile:
    reader = csv.reader(io.StringIO(text, newline=""))
    rows: list[tuple[int, list[str]]] = []
    try:
        for cells in reader:
            rows.append((reader.line_num, [cell.strip() for cell in cells]))
    except csv.Error as error:
        broken = Problem(file=name, line=reader.line_num, wrong=f"this is not a CSV line ({error})")
        return ChordFile(name, content, problems=(broken,))
    rows = [(line, cells) for line, cells in rows if any(cells)]
    if not rows or tuple(rows[0][1]) != COLUMNS:
        given = shown(",".join(rows[0][1])) if rows else ""
        line = rows[0][0] if rows else 1
        heading = Problem(
            file=name, line=line, given=given, wrong="is not the heading", allowed=",".join(COLUMNS)
        )
        return ChordFile(name, content, problems=(heading,))
    problems: list[Problem] = []
    values: list[tuple[float, ...]] = []
    for line, cells in rows[1:]:
        row = tuple(
            _number(name, line, column, cell, problems) for column, cell in zip(COLUMNS, cells, strict=False)
        )
        if len(cells) != len(COLUMNS):
            problems.append(
                Problem(
                    file=name, line=line, wrong=f"has {len(cells)} cells", allowed=f"{len(COLUMNS)} cells"
                )
            )
        else:
            values.append(row)
    if problems:
        return ChordFile(name, content, problems=tuple(problems))
    return ChordFile(
        name,
        content,
        height_percent=tuple(row[0] for row in values),
        chord_m=tuple(row[1] for row in values),
        lines=tuple(line for line, _ in rows[1:]),
    )


def _number(name: str, line: int, column: str, cell: str, problems: list[Problem]) -> float:
    entry = properties_of(SailTable)[_KEYS[column]]["items"]
    value = float(cell) if _NUMBER.fullmatch(cell) else math.nan
    if not entry["minimum"] <= value <= entry["maximum"]:
        wrong = "is outside its range" if math.isfinite(value) else "is not a finite number"
        allowed = allowed_text(column, entry)
        problems.append(
            Problem(file=name, line=line, key=column, given=cell[:40], wrong=wrong, allowed=allowed)
        )
    return value
