"""A file of options for the boat of another file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from vpp.config import source
from vpp.config.errors import BoatFileError, Problem
from vpp.config.overlay import Leaf, Node, Table, from_file, plain
from vpp.config.text import shown

OPTIONS_OF = "options_of"
"""Key that makes a file one of options for the boat of another."""

_OWN_KEYS = ("schema_version", "name", "description", OPTIONS_OF, "option")


def with_boat(file: str, root: Table) -> tuple[Table, bytes]:
    """The values of a file of options with those of the boat that it names, and the content of the latter's
    file.

    The options of that file stay behind. Raises BoatFileError with everything that is wrong with the form of
    either.
    """
    base_file = _base_file(file, root.entries[OPTIONS_OF])
    strange = [
        Problem(
            file=file,
            line=node.origin.line,
            key=key,
            wrong="does not stand in a file of options",
            allowed=", ".join(_OWN_KEYS),
            hint=f"it belongs in {base_file}",
        )
        for key, node in root.entries.items()
        if key not in _OWN_KEYS
    ]
    if strange:
        raise BoatFileError(strange)
    content = source.read(base_file)
    base = from_file(source.parse(base_file, content), base_file)
    if not isinstance(base, Table) or OPTIONS_OF in base.entries:
        wrong = "is itself a file of options; name the boat's own file"
        raise BoatFileError([_wrong(file, root.entries[OPTIONS_OF], wrong)])
    boat = {key: node for key, node in base.entries.items() if key != "option"}
    own = {key: node for key, node in root.entries.items() if key != OPTIONS_OF}
    return replace(root, entries={**boat, **own}), content


def _base_file(file: str, named: Node) -> str:
    """Path of the boat's file, which must lie beside the file of options."""
    name = named.value if isinstance(named, Leaf) else None
    if not isinstance(name, str) or not name or Path(name).name != name:
        raise BoatFileError([_wrong(file, named, "must be the name of a boat file in the same folder")])
    path = Path(file).parent / name
    if not path.is_file():
        raise BoatFileError([_wrong(file, named, "there is no such file in the folder of this one")])
    return str(path)


def _wrong(file: str, named: Node, wrong: str) -> Problem:
    given = shown(plain(named)) if isinstance(named, Leaf) else ""
    return Problem(file=file, line=named.origin.line, key=OPTIONS_OF, given=given, wrong=wrong)
