"""Does a tree of values have the form that the schema asks for? Every departure from it in words."""

from __future__ import annotations

import difflib
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from vpp.config.errors import Problem
from vpp.config.locate import Path
from vpp.config.overlay import Items, Leaf, Node, Table, key_text, nodes_along, plain
from vpp.config.schema import (
    CHOICES,
    REPEATED_TABLES,
    SAIL_TABLES,
    SINGLE_TABLES,
    TABLES,
    AddTables,
    BoatDocument,
    BoatFileDocument,
    Choice,
    OptionTable,
    TableModel,
    choice_of,
    properties_of,
    table_model,
)
from vpp.config.text import allowed_text, nearest, shown
from vpp.config.units import ending_of, stems_of, unit_of


@dataclass(frozen=True)
class Finding:
    """Something wrong at a path of the boat. `missing` says that the key is not there at all."""

    path: Path
    wrong: str
    allowed: str = ""
    hint: str = ""
    missing: bool = False


def read_boat(root: Table) -> tuple[BoatDocument | None, list[Finding]]:
    """The boat that a tree describes, or what is wrong with its form."""
    choices = _choice_findings(root)
    try:
        return BoatDocument.model_validate(plain(root)), choices
    except ValidationError as error:
        return None, _findings(root, error) + choices


def sound_tables(root: Table) -> dict[Path, TableModel]:
    """Those tables of a tree that are in order taken by themselves, so that their values can be compared."""
    found: dict[Path, TableModel] = {}
    for table_name in TABLES:
        for path, entry in _places(root, table_name):
            values = plain(entry)
            try:
                found[path] = (table_model(table_name, values) or TABLES[table_name]).model_validate(values)
            except ValidationError:
                continue
    return found


def _places(root: Table, table_name: str) -> list[tuple[Path, Node]]:
    """Every table of a name with its path."""
    node = root.entries.get(table_name)
    if table_name in SINGLE_TABLES and node is not None:
        return [((table_name,), node)]
    if isinstance(node, Items):
        return [((table_name, index), entry) for index, entry in enumerate(node.entries)]
    return []


def _choice_findings(root: Table) -> list[Finding]:
    """Keys that a choice of model or kind needs and that are not there, and those it has no use for."""
    found: list[Finding] = []
    for choice in CHOICES:
        for path, table in _places(root, choice.table):
            if isinstance(table, Table):
                found += _of_choice(root, path, table, choice)
    return found


def _of_choice(root: Table, path: Path, table: Table, choice: Choice) -> list[Finding]:
    *above, key = choice.selector
    selector = nodes_along(root, (*(above or path), key))[-1]
    owner = TABLES[choice.selector[0] if above else choice.table]
    chosen = selector.value if isinstance(selector, Leaf) else None
    if (above_it := choice_of(choice.table, key)) and not above:
        # the choice is a key of another choice: where that is not made, the keys of both are of no use
        outer = plain(nodes_along(root, (*path, *above_it.selector))[-1])
        if isinstance(outer, str) and outer not in above_it.choices:
            wrong = f'not used with {".".join(above_it.selector)} = "{outer}"'
            return [Finding((*path, name), wrong) for name in choice.keys if name in table.entries]
    if chosen not in properties_of(owner)[key]["enum"]:
        return []  # what is wrong with the choice itself is told elsewhere
    if chosen not in choice.choices:
        wrong = f'not used with {".".join(choice.selector)} = "{chosen}"'
        return [Finding((*path, key), wrong) for key in choice.keys if key in table.entries]
    model = TABLES[choice.table]
    described = properties_of(model)
    meant = {_meant(given, model) for given in table.entries if given not in described}
    return [
        Finding(
            (*path, key),
            f"missing: {described[key]['description']}; needed with {choice.text}",
            allowed_text(key, described[key]),
            missing=True,
        )
        for key in choice.needed
        if key not in table.entries and key not in meant
    ]


def option_findings(root: Table, index: int) -> list[Finding]:
    """What is wrong with the form of an option; tables that it adds are judged in their boat."""
    node = nodes_along(root, ("option", index))[-1]
    try:
        OptionTable.model_validate(plain(node))
    except ValidationError as error:
        found = _findings(root, error, prefix=("option", index))
        return [finding for finding in found if "add" not in finding.path[2:3] or len(finding.path) <= 4]
    return []


def problem(
    finding: Finding, root: Node, *, file: str, base_line: int | None = None, option: str | None = None
) -> Problem:
    """A finding with its place, key and value. `base_line` stands in where the boat has no line."""
    met = nodes_along(root, finding.path)
    is_there = len(met) == len(finding.path) + 1 and not finding.missing
    place = next((node.origin for node in reversed(met[1:]) if node.origin.line is not None), None)
    key = key_text(root, finding.path)
    last = met[-1]
    given = ""
    if is_there and isinstance(last, Leaf | Items) and not _holds_tables(last):
        word = next((part for part in reversed(finding.path) if isinstance(part, str)), "")
        given = shown(plain(last), unit=unit_of(word).symbol)
    wrong = finding.wrong if option is None else f'in option "{option}": {finding.wrong}'
    return Problem(
        file=file if place is None or place.file is None else place.file,
        line=base_line if place is None else place.line,
        key=key,
        given=given,
        wrong=wrong,
        allowed=finding.allowed,
        hint=finding.hint,
    )


def _holds_tables(node: Leaf | Items) -> bool:
    return isinstance(node, Items) and any(isinstance(entry, Table) for entry in node.entries)


def _findings(root: Table, error: ValidationError, *, prefix: Path = ()) -> list[Finding]:
    details = error.errors(include_url=False, include_input=False, include_context=True)
    paths = [_untagged(prefix + detail["loc"]) for detail in details]
    misspelt = _misspelt(root, details, paths)
    found = []
    for detail, path in zip(details, paths, strict=True):
        # a list is also reported as too short when elements of it are wrong
        is_echo = detail["type"] == "too_short" and any(
            len(other) > len(path) and other[: len(path)] == path for other in paths
        )
        is_misspelt = detail["type"] == "missing" and path in misspelt
        if not is_echo and not is_misspelt:
            found.append(_finding(root, detail, path))
    return found


def _untagged(path: Path) -> Path:
    """A path without the model that a sail was judged by, which stands behind the sail's place."""
    return tuple(
        part
        for depth, part in enumerate(path)
        if depth < 2 or path[depth - 2] != "sail" or part not in SAIL_TABLES
    )


def _misspelt(root: Table, details: Sequence[ErrorDetails], paths: Sequence[Path]) -> set[Path]:
    """Paths of keys that are there under a wrong name: they need not be reported as missing as well."""
    unknown = [
        path for detail, path in zip(details, paths, strict=True) if detail["type"] == "extra_forbidden"
    ]
    return {(*path[:-1], _meant(str(path[-1]), _model_at(root, path))) for path in unknown}


def _finding(root: Table, detail: ErrorDetails, path: Path) -> Finding:
    key = next((part for part in reversed(path) if isinstance(part, str)), "")
    owner = _model_at(root, path)
    entry = properties_of(owner).get(key, {}) if owner is not None else {}
    kind = detail["type"]
    if kind == "missing":
        return _missing(path, key, entry)
    if kind == "extra_forbidden":
        if chosen := _other_model_than(owner, key):
            return Finding(path, f'not used with model = "{chosen}"')
        return Finding(path, "unknown key", "", _unknown_hint(key, owner, _of_other_choices(root, path)))
    if form := _form_of_table(path):
        if kind == "too_long":
            return Finding(path, f"there are too many [[{key}]]", f"up to {entry['maxItems']}")
        return Finding(path, f"must be written {form}")
    is_element = isinstance(path[-1], int)
    allowed = allowed_text(key, entry.get("items", entry) if is_element else entry) if entry else ""
    value = plain(nodes_along(root, path)[-1])
    return Finding(path, wrong_text(kind, value, key, detail), allowed, value_hint(kind, value, entry))


def _missing(path: Path, key: str, entry: Mapping[str, Any]) -> Finding:
    if form := _form_of_table(path):
        return Finding(path, f"the table is missing; write {form}", missing=True)
    return Finding(
        path, f"missing: {entry.get('description', 'needed')}", allowed_text(key, entry), missing=True
    )


def _form_of_table(path: Path) -> str:
    """How the table at a path is written, if the path is that of a table."""
    head, *rest = path
    if head == "option":
        return "[[option]]" if len(rest) <= 1 else ""
    if head in SINGLE_TABLES and not rest:
        return f"[{head}], once"
    if head in REPEATED_TABLES and (not rest or (len(rest) == 1 and isinstance(rest[0], int))):
        return f"[[{head}]], once for each"
    return ""


def _other_model_than(owner: type[TableModel] | None, key: str) -> str:
    """The model of a sail that has no use for a key which the other has; empty if that is not the case."""
    for chosen, model in SAIL_TABLES.items():
        if model is owner and any(key in properties_of(other) for other in SAIL_TABLES.values()):
            return chosen
    return ""


def _model_at(root: Table, path: Path) -> type[TableModel] | None:
    """The table that the last key of a path belongs to."""
    words = [part for part in path if isinstance(part, str)]
    if len(words) == 1:
        return BoatFileDocument
    if words[0] == "option":
        return AddTables if words[1:2] == ["add"] and len(words) > 2 else OptionTable
    return table_model(words[0], plain(nodes_along(root, path[:2])[-1]))


def wrong_text(kind: str, value: object, key: str, detail: ErrorDetails) -> str:
    """What is wrong with a value, in words, from the kind of error that pydantic reports."""
    match kind:
        case "finite_number":
            return "is not a finite number"
        case "greater_than_equal" | "greater_than":
            return "is too small"
        case "less_than_equal" | "less_than":
            return "is too large"
        case "float_type" if isinstance(value, int) and not isinstance(value, bool):
            return "is too large"
        case "float_type":
            return "is not a number"
        case "int_type" | "int_from_float":
            return "is not a whole number"
        case "tuple_type" | "list_type":
            return "is not a list"
        case "string_type":
            return "is not a text"
        case "dict_type" | "model_type" | "model_attributes_type":
            return "is not a table"
        case "too_short":
            return "has too few entries"
        case "too_long":
            return "has too many entries"
        case "string_too_long":
            return "is too long"
        case "string_pattern_mismatch":
            return (
                "is not a name that can stand in a key path"
                if key in ("name", "parent")
                else "must be one line of text"
            )
        case "literal_error" if key.endswith("model"):
            return "no such model"
        case "literal_error" if key == "schema_version":
            return "this version of the file format is not known"
        case "literal_error":
            return "no such choice"
        case _:
            return detail["msg"][:1].lower() + detail["msg"][1:]


def value_hint(kind: str, value: object, entry: Mapping[str, Any]) -> str:
    """What may have been meant by a value of the wrong kind; empty where nothing comes to mind."""
    if kind == "literal_error" and isinstance(value, str):
        return nearest(value, [str(choice) for choice in entry.get("enum", (entry.get("const", ""),))])
    if kind in ("float_type", "int_type") and isinstance(value, str):
        return "numbers stand without quotes and units"
    return ""


def _of_other_choices(root: Table, path: Path) -> set[str]:
    """Keys of the table at the end of a path that belong to another choice than the one made there."""
    found: set[str] = set()
    for choice in CHOICES:
        if choice.table == path[0] and len(choice.selector) == 1:
            chosen = plain(nodes_along(root, (*path[:-1], *choice.selector))[-1])
            if isinstance(chosen, str) and chosen not in choice.choices:
                found.update(choice.keys)
    return found


def _meant(key: str, owner: type[TableModel] | None, unused: Container[str] = ()) -> str:
    """The key of a table that an unknown one stands for: the same but for its unit, or a near one. Of keys
    that differ by their unit only, one that is not `unused`.
    """
    known = list(properties_of(owner)) if owner is not None else list(TABLES)
    stems = stems_of(key)
    if same := [candidate for candidate in known if _stem(candidate) in stems]:
        return next((candidate for candidate in same if candidate not in unused), same[0])
    if _homes(key):
        return ""
    if near := difflib.get_close_matches(key, known, n=1):
        return near[0]
    by_stem = {_stem(candidate): candidate for candidate in known}
    near = difflib.get_close_matches(min(stems, key=len), by_stem, n=1)
    return by_stem[near[0]] if near else ""


def _homes(key: str) -> list[str]:
    """Tables that do have a key."""
    found = [
        f"[[{table}]]" if table in REPEATED_TABLES else f"[{table}]"
        for table, model in (*TABLES.items(), *(("sail", model) for model in SAIL_TABLES.values()))
        if key in properties_of(model)
    ]
    return list(dict.fromkeys(found))


def _stem(key: str) -> str:
    return key.removesuffix(f"_{ending_of(key)}")


def _unknown_hint(key: str, owner: type[TableModel] | None, unused: Container[str]) -> str:
    """Which key was meant, and in which unit; or where a key that belongs elsewhere should stand."""
    meant = _meant(key, owner, unused)
    if not meant:
        homes = _homes(key)
        return f"this key belongs in {' or '.join(homes)}" if homes else ""
    question = f'did you mean "{meant}"?'
    if ending_of(meant) and ending_of(meant) != ending_of(key):
        return f"{question} That key takes {unit_of(meant).name}"
    return question


def top_findings(root: Table) -> list[Finding]:
    """Where `option` at the top of the file is not a list of tables."""
    options = root.entries.get("option")
    if options is None or (
        isinstance(options, Items) and all(isinstance(entry, Table) for entry in options.entries)
    ):
        return []
    return [Finding(("option",), "must be written [[option]], once for each")]
