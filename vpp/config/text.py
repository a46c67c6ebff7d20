"""The words of error messages: values as written, ranges, the nearest name."""

from __future__ import annotations

import datetime
import difflib
import json
import math
from collections.abc import Iterable, Mapping
from typing import Any

from vpp.config.units import unit_of

_LONGEST_VALUE = 60


def clause(sentence: object) -> str:
    """A sentence as part of another: without its capital and its full stop."""
    text = str(sentence)
    return (text[:1].lower() + text[1:]).rstrip(".")


def shown(value: object, *, unit: str = "") -> str:
    """A value as it would be written in TOML, cut short where it is long, with its unit behind."""
    text = _written(value)
    if len(text) > _LONGEST_VALUE:
        text = text[: _LONGEST_VALUE - 3] + "..."
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return f"{text} {unit}" if unit and is_number else text


def _written(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return repr(value) if math.isfinite(value) else str(value)
    if isinstance(value, int):
        # Python refuses to print integers of thousands of digits
        return (
            str(value)
            if abs(value) < 10**30
            else f"an integer of more than {int(value.bit_length() * 0.301)} digits"
        )
    if isinstance(value, str):
        return json.dumps(value[:_LONGEST_VALUE], ensure_ascii=False)  # escapes as TOML does
    if isinstance(value, Mapping):
        return "{...}" if value else "{}"
    if isinstance(value, tuple | list):
        return (
            "["
            + ", ".join(_written(entry) for entry in value[:10])
            + (", ..." if len(value) > 10 else "")
            + "]"
        )
    if isinstance(value, datetime.datetime | datetime.date | datetime.time):
        return value.isoformat()
    return str(value)


def nearest(given: str, known: Iterable[str]) -> str:
    """A question with the nearest known name; empty where none is near."""
    near = difflib.get_close_matches(given, list(known), n=1, cutoff=0.6)
    return f'did you mean "{near[0]}"?' if near else ""


def allowed_text(key: str, entry: Mapping[str, Any]) -> str:
    """What a key takes, in words, from its JSON Schema."""
    unit = unit_of(key).symbol
    if "const" in entry:
        return shown(entry["const"])
    if "enum" in entry:
        return " or ".join(shown(choice) for choice in entry["enum"])
    kind = entry.get("type")
    if kind in ("number", "integer"):
        noun = "whole number, " if kind == "integer" else ""
        return noun + _range_text(entry, unit)
    if kind == "array" and entry.get("items", {}).get("type") == "number":
        count = f"{entry['minItems']} to {entry['maxItems']}"
        return f"list of {count} numbers, each {_range_text(entry['items'], unit)}"
    if kind == "array":
        return "list of texts" if entry.get("items", {}).get("type") == "string" else "list of tables"
    if kind == "string" and entry.get("pattern", "").startswith("^[a-z]"):
        return "lower-case letters, digits and _, beginning with a letter"
    if kind == "string":
        return f"one line of text, at most {entry['maxLength']} letters" if "maxLength" in entry else "text"
    return "true or false" if kind == "boolean" else "a table"


def _range_text(entry: Mapping[str, Any], unit: str) -> str:
    return f"{entry['minimum']:g} to {entry['maximum']:g} {unit}".rstrip()
