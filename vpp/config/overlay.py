"""Values that remember where they were written, and options laid over them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from vpp.config.locate import Path
from vpp.config.schema import NAME_PATTERN, REPEATED_TABLES, TABLES
from vpp.config.text import nearest, shown


@dataclass(frozen=True)
class Origin:
    """Where a value was written: the line, the option it belongs to if any, and the file if not the one that
    was asked for.
    """

    line: int | None
    option: str | None = None
    file: str | None = None


@dataclass(frozen=True)
class Leaf:
    """A single value."""

    value: object
    origin: Origin


@dataclass(frozen=True)
class Items:
    """A list of values or of tables."""

    entries: tuple[Node, ...]
    origin: Origin


@dataclass(frozen=True)
class Table:
    """A table: values by key."""

    entries: Mapping[str, Node]
    origin: Origin


Node = Leaf | Items | Table


@dataclass(frozen=True)
class Misfit:
    """Something in an option that does not fit the boat it is laid over."""

    key: str
    origin: Origin
    given: str
    wrong: str
    allowed: str = ""
    hint: str = ""


def tree(value: object, lines: Mapping[Path, int], *, path: Path = (), option: str | None = None) -> Node:
    """A value that tomllib has read, with the line of everything in it."""
    origin = Origin(lines.get(path), option)
    if isinstance(value, dict):
        entries = {key: tree(entry, lines, path=(*path, key), option=option) for key, entry in value.items()}
        return Table(entries, origin)
    if isinstance(value, list):
        return Items(
            tuple(
                tree(entry, lines, path=(*path, index), option=option) for index, entry in enumerate(value)
            ),
            origin,
        )
    return Leaf(value, origin)


def from_file(node: Node, file: str) -> Node:
    """The same values, remembered as written in a file."""
    origin = replace(node.origin, file=file)
    if isinstance(node, Table):
        entries = {key: from_file(entry, file) for key, entry in node.entries.items()}
        return Table(entries, origin)
    if isinstance(node, Items):
        return Items(tuple(from_file(entry, file) for entry in node.entries), origin)
    return replace(node, origin=origin)


def plain(node: Node) -> object:
    """The value alone. Lists become tuples, so that nothing can change."""
    if isinstance(node, Table):
        return {key: plain(entry) for key, entry in node.entries.items()}
    if isinstance(node, Items):
        return tuple(plain(entry) for entry in node.entries)
    return node.value


def nodes_along(node: Node, path: Path) -> tuple[Node, ...]:
    """The nodes met on the way down a path, as far as it exists."""
    met = [node]
    for part in path:
        inner = _entry(node, part)
        if inner is None:
            break
        node = inner
        met.append(node)
    return tuple(met)


def _entry(node: Node, part: str | int) -> Node | None:
    if isinstance(node, Table) and isinstance(part, str):
        return node.entries.get(part)
    if isinstance(node, Items) and isinstance(part, int) and part < len(node.entries):
        return node.entries[part]
    return None


def key_text(root: Node, path: Path) -> str:
    """A path as people write it: tables of a list by their names, elements of a plain list counted from 1."""
    words: list[str] = []
    for depth, part in enumerate(path):
        if isinstance(part, str):
            words.append(part)
            continue
        item = nodes_along(root, path[: depth + 1])[-1]
        item_name = name_of(item)
        if depth == 1 and item_name is not None and re.match(NAME_PATTERN, item_name):
            words.append(item_name)
        else:
            words[-1] += f"[{part + 1}]"
    return ".".join(words)


def name_of(node: Node) -> str | None:
    """The name that a table gives itself."""
    entry = node.entries.get("name") if isinstance(node, Table) else None
    return entry.value if isinstance(entry, Leaf) and isinstance(entry.value, str) else None


def lay_over(base: Table, option: Table) -> tuple[Table, list[Misfit]]:
    """The boat that an option makes of another: first takes away, then adds, then changes.

    The second value lists what does not fit. `option` must have the form that the schema asks for.
    """
    misfits: list[Misfit] = []
    root = base
    remove, add, change = (option.entries.get(key) for key in ("remove", "add", "change"))
    if isinstance(remove, Items):
        for path in remove.entries:
            root = _without(root, path, misfits)
    if isinstance(add, Table):
        root = _with_added(root, add)
    if isinstance(change, Table):
        root = _with_changes(root, change, misfits)
    return root, misfits


def _without(root: Table, path: Node, misfits: list[Misfit]) -> Table:
    text = str(plain(path))
    words = text.split(".")
    table_name, *rest = words
    holder = root.entries.get(table_name)
    wrong = hint = ""
    if table_name not in TABLES or not rest or len(words) > 3:
        wrong = "is not the path of something that a boat can do without"
        hint = "" if table_name in TABLES else nearest(table_name, TABLES)
    elif isinstance(holder, Items):
        names = [name_of(item) for item in holder.entries]
        if rest[0] not in names:
            wrong = f"there is no {table_name} of that name to remove"
            hint = nearest(text, [f"{table_name}.{item_name}" for item_name in names if item_name])
        elif len(rest) == 1:
            kept = tuple(item for item in holder.entries if name_of(item) != rest[0])
            return _put(root, table_name, replace(holder, entries=kept))
        else:
            index = names.index(rest[0])
            item = holder.entries[index]
            if isinstance(item, Table) and rest[1] in item.entries:
                entries = (*holder.entries[:index], _drop(item, rest[1]), *holder.entries[index + 1 :])
                return _put(root, table_name, replace(holder, entries=entries))
            wrong = "there is no such key to remove"
    elif isinstance(holder, Table) and len(rest) == 1 and rest[0] in holder.entries:
        return _put(root, table_name, _drop(holder, rest[0]))
    else:
        wrong = "there is no such table or key to remove"
    misfits.append(
        Misfit("remove", path.origin, shown(text), wrong, 'paths such as "windage.coachroof"', hint)
    )
    return root


def _with_added(root: Table, add: Table) -> Table:
    for table_name, items in add.entries.items():
        there = root.entries.get(table_name)
        if isinstance(items, Items):
            before = there.entries if isinstance(there, Items) else ()
            origin = there.origin if there is not None else items.origin
            root = _put(root, table_name, Items((*before, *items.entries), origin))
    return root


def _with_changes(root: Table, change: Table, misfits: list[Misfit]) -> Table:
    for table_name, entry in change.entries.items():
        if table_name not in TABLES:
            hint = "write the path without quotes" if "." in table_name else nearest(table_name, TABLES)
            misfits.append(
                Misfit(
                    table_name,
                    entry.origin,
                    "",
                    "an option can change only what stands in the boat's tables",
                    _listed(TABLES),
                    hint,
                )
            )
        elif not isinstance(entry, Table):
            how = (
                f"change one by its name, as in {table_name}.NAME.KEY; "
                f"take away with remove, add with [[option.add.{table_name}]]"
                if table_name in REPEATED_TABLES
                else f"name the key that changes, as in {table_name}.KEY"
            )
            misfits.append(
                Misfit(
                    table_name,
                    entry.origin,
                    shown(plain(entry)),
                    "a table cannot be replaced as a whole",
                    "",
                    how,
                )
            )
        elif table_name in REPEATED_TABLES:
            root = _put(
                root, table_name, _changed_items(root.entries.get(table_name), table_name, entry, misfits)
            )
        else:
            root = _put(root, table_name, _merged(root.entries.get(table_name), entry))
    return root


def _changed_items(items: Node | None, table_name: str, change: Table, misfits: list[Misfit]) -> Node:
    entries = list(items.entries) if isinstance(items, Items) else []
    names = [name_of(item) for item in entries]
    for item_name, entry in change.entries.items():
        path = f"{table_name}.{item_name}"
        known = [known_name for known_name in names if known_name]
        if item_name not in names:
            misfits.append(
                Misfit(
                    path,
                    entry.origin,
                    "",
                    f"there is no {table_name} of that name",
                    _listed(known),
                    nearest(item_name, known),
                )
            )
        elif not isinstance(entry, Table):
            hint = f"name the key that changes, as in {path}.KEY"
            misfits.append(
                Misfit(
                    path, entry.origin, shown(plain(entry)), "a table cannot be replaced as a whole", "", hint
                )
            )
        else:
            index = names.index(item_name)
            entries[index] = _merged(entries[index], entry)
    if isinstance(items, Items):
        return replace(items, entries=tuple(entries))
    return items if items is not None else Items((), change.origin)


def _merged(there: Node | None, change: Table) -> Node:
    if isinstance(there, Table):
        return replace(there, entries={**there.entries, **change.entries})
    # something else in the place of a table is already a problem of the base
    return change if there is None else there


def _put(table: Table, key: str, entry: Node) -> Table:
    return replace(table, entries={**table.entries, key: entry})


def _drop(table: Table, key: str) -> Table:
    return replace(table, entries={kept: entry for kept, entry in table.entries.items() if kept != key})


def _listed(names: Sequence[str] | Mapping[str, object]) -> str:
    return ", ".join(names)
