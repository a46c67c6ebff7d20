"""Boats that differ from those of a file by a few values, checked and floated anew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from vpp.boat import Boat
from vpp.config.boat_file import BoatFile, read_again
from vpp.config.errors import BoatFileError
from vpp.config.overlay import Items, Leaf, Node, Origin, Table, name_of
from vpp.config.resolve import BASE, Resolver


class Variants:
    """Variants of the boats of a file: each is laid over its boat as an option of the file would be.

    Raises BoatFileError when the file can no longer be read, or has changed since it was.
    """

    def __init__(self, boat_file: BoatFile) -> None:
        self._path = boat_file.path
        self._file = str(boat_file.path)
        self._root = read_again(boat_file)

    def boat(self, name: str, *, option: str, table: str, change: Mapping[str, float]) -> Boat:
        """The boat of an option with other values of one table, by their keys and in the units of those.

        `name` is what problems call the variant; the boat's own name is that, made different from the names
        of all options. Raises BoatFileError with everything that speaks against the variant.
        """
        options = self._root.entries.get("option")
        entries = options.entries if isinstance(options, Items) else ()
        taken = {name_of(entry) for entry in entries}
        while name in taken:
            name += "_"
        variant = _option(name, option, table, change)
        root = replace(
            self._root, entries={**self._root.entries, "option": Items((*entries, variant), Origin(None))}
        )
        resolver = Resolver(file=self._file, root=root, folder=self._path.parent)
        resolved = resolver.resolve()
        if name not in resolved:
            raise BoatFileError(resolver.problems)
        return resolved[name].afloat.boat


def _option(name: str, parent: str, table: str, change: Mapping[str, float]) -> Table:
    origin = Origin(None, name)

    def as_table(entries: Mapping[str, Node]) -> Table:
        return Table(entries, origin)

    values = as_table({key: Leaf(value, origin) for key, value in change.items()})
    entries: dict[str, Node] = {
        "name": Leaf(name, origin),
        "says": Leaf(name, origin),
        "change": as_table({table: values}),
    }
    if parent != BASE:
        entries["parent"] = Leaf(parent, origin)
    return as_table(entries)
