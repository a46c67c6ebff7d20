"""A boat file with an option written at its end, as text."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

from vpp.boat import Boat
from vpp.config.boat_file import BoatFile, read_again
from vpp.config.errors import BoatFileError
from vpp.config.movable import MovableKeys
from vpp.config.resolve import BASE, Resolver


def option_text(name: str, *, says: str, parent: str, changes: Mapping[str, object]) -> str:
    """An option as it stands in a boat file; `changes` are values by their keys, lists as tuples."""
    lines = ["[[option]]", f"name = {_written(name)}", f"says = {_written(says)}"]
    if parent != BASE:
        lines.append(f"parent = {_written(parent)}")
    lines.append("[option.change]")
    lines += [f"{key} = {_written(value)}" for key, value in changes.items()]
    return "\n".join(lines) + "\n"


def _written(value: object) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(_written(each) for each in value)}]"
    # JSON escapes texts as TOML does
    return repr(value) if isinstance(value, float) else json.dumps(value, ensure_ascii=False)


def with_option(boat_file: BoatFile, text: str, name: str) -> Boat:
    """The boat of an option whose text is put at the end of a boat file.

    Raises BoatFileError with everything that speaks against it, or where the file has changed.
    """
    file = str(boat_file.path)
    root = read_again(boat_file, then=f"\n{text}")
    resolver = Resolver(file=file, root=root, folder=boat_file.path.parent)
    resolved = resolver.resolve()
    if name not in resolved:
        raise BoatFileError(resolver.problems)
    return resolved[name].afloat.boat


def free_name(boat_file: BoatFile, name: str) -> str:
    """A name that no option of a file has: this one, or with a number behind."""
    taken = {boat.name for boat in boat_file.boats}
    names: Sequence[str] = (name, *(f"{name}_{number}" for number in range(2, len(taken) + 3)))
    return next(each for each in names if each not in taken)


def changed_values(movable: MovableKeys, names: Sequence[str]) -> dict[str, object]:
    """The values of some keys as they stand in the boat file, lists as tuples."""
    return {name: movable.value_in_file(name) for name in names}
