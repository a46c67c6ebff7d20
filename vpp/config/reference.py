"""The configuration reference, made from the schema: `python -m vpp.config.reference [--json-schema]`.

Prints a Markdown page with every key of a boat file, or a JSON Schema of the whole file.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from vpp.config.schema import (
    CHOICES,
    REPEATED_TABLES,
    SAIL_TABLES,
    TABLES,
    TOP_KEYS,
    BoatFileDocument,
    Choice,
    CoefficientSailTable,
    OptionTable,
    TableModel,
    choice_of,
    properties_of,
    without_null,
)
from vpp.config.text import allowed_text, shown
from vpp.config.units import unit_of

_INTRODUCTION = """\
# Boat file: every key

This page is made by `python -m vpp.config.reference` from the schema that checks boat files. Bounds belong to
the range. A key must be given unless it has a default or may be left out; one that belongs to a model or kind
must be given with it, and may not be with another. Positions are forward of midships (x), to leeward (y) and
above the water plane (z and heights), boat upright and afloat at its design weight.
"""


def markdown() -> str:
    """Every key of a boat file with unit, range, default and description."""
    return "\n".join([_INTRODUCTION, *_sections()]) + "\n"


def json_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of a boat file as TOML parsers read it; each quantity also carries its `unit`."""
    schema = BoatFileDocument.model_json_schema()
    for model in (schema, *schema["$defs"].values()):
        model["properties"] = {key: _with_unit(key, entry) for key, entry in model["properties"].items()}
    for chosen, table in SAIL_TABLES.items():
        properties = schema["$defs"][table.__name__]["properties"]
        properties["model"] = {"const": chosen, "description": properties["model"]["description"]}
    for choice in CHOICES:
        # a choice made in another table is beyond a schema of this one
        if len(choice.selector) == 1:
            model = schema["$defs"][TABLES[choice.table].__name__]
            model.setdefault("allOf", []).append(_condition(choice))
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "Boat file"}


def _condition(choice: Choice) -> dict[str, Any]:
    """The keys of a choice are there with it, and not with another."""
    selector = choice.selector[0]
    return {
        "if": {"properties": {selector: {"enum": list(choice.choices)}}, "required": [selector]},
        "then": {"required": list(choice.needed)},
        "else": {"properties": dict.fromkeys(choice.keys, False)},
    }


def _with_unit(key: str, entry: Mapping[str, Any]) -> dict[str, Any]:
    clean = {name: value for name, value in without_null(entry).items() if (name, value) != ("default", None)}
    unit = unit_of(key).symbol
    return {**clean, "unit": unit} if unit else clean


def _sections() -> Iterator[str]:
    yield from _section("Top of the file", "What the file is.", BoatFileDocument, keys=TOP_KEYS)
    for table_name, model in TABLES.items():
        heading = f"`[[{table_name}]]`" if table_name in REPEATED_TABLES else f"`[{table_name}]`"
        keys = tuple(properties_of(model))
        yield from _section(heading, model.__doc__ or "", model, keys=keys, table_name=table_name)
        if table_name == "sail":
            yield from _section(
                'A `[[sail]]` with `model = "table"`',
                CoefficientSailTable.__doc__ or "",
                CoefficientSailTable,
                keys=tuple(properties_of(CoefficientSailTable)),
            )
    yield from _section(
        "`[[option]]`", OptionTable.__doc__ or "", OptionTable, keys=tuple(properties_of(OptionTable))
    )


def _section(
    heading: str, says: str, model: type[TableModel], *, keys: Sequence[str], table_name: str = ""
) -> Iterator[str]:
    yield f"## {heading}\n\n{says}\n"
    yield "| key | unit | range | default | description |"
    yield "|---|---|---|---|---|"
    needed = model.model_json_schema().get("required", [])
    for key in keys:
        entry = properties_of(model)[key]
        # a default of None is explained by the description
        default = "" if key in needed or entry.get("default") is None else f"`{shown(entry['default'])}`"
        choice = choice_of(table_name, key)
        optional = " (may be left out)" if key not in needed and not default else ""
        if choice is not None:
            optional = f" (only with `{choice.text}`)"
        cells = (
            f"`{key}`",
            unit_of(key).symbol,
            _range(key, entry),
            default,
            f"{entry['description']}{optional}",
        )
        yield "| " + " | ".join(cells) + " |"
    yield ""


def _range(key: str, entry: Mapping[str, Any]) -> str:
    unit = unit_of(key).symbol
    return allowed_text(key, entry).removesuffix(f" {unit}" if unit else "")


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the reference."""
    parser = argparse.ArgumentParser(prog="python -m vpp.config.reference", description=__doc__)
    parser.add_argument("--json-schema", action="store_true", help="print a JSON Schema in place of Markdown")
    wants_schema = parser.parse_args(arguments).json_schema
    text = json.dumps(json_schema(), indent=2, ensure_ascii=False) + "\n" if wants_schema else markdown()
    sys.stdout.write(text)


if __name__ == "__main__":
    main()
