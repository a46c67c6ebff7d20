"""A boat file that is in order, and how to load one."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from os import PathLike
from pathlib import Path

from vpp.boat import Boat, Sea
from vpp.config import source
from vpp.config.columns import ColumnFile
from vpp.config.errors import BoatFileError, Problem
from vpp.config.hull_forms import sea_fault
from vpp.config.overlay import Table
from vpp.config.resolve import BASE, Resolver
from vpp.config.rows import Row, rows_of
from vpp.config.study import OPTIONS_OF, with_boat
from vpp.config.text import nearest, shown


@dataclass(frozen=True)
class BoatFile:
    """A boat file that is in order: the base boat, its options, and where every value came from.

    `boats` holds the base first, named "base", then every option in the order of the file, fully resolved.
    `digest` identifies the content of the file and of all files that it names.
    """

    path: Path
    name: str
    description: str
    digest: str
    boats: tuple[Boat, ...]
    resolved: Mapping[str, tuple[Row, ...]] = field(repr=False, compare=False)

    def boat(self, option: str) -> Boat:
        """The boat that an option resolves to; "base" is the boat without options.

        Raises BoatFileError if there is no such option.
        """
        return self.select([option])[-1]

    def select(self, options: Sequence[str]) -> tuple[Boat, ...]:
        """The base and the named options after it, in the order given; all of them if none is named.

        Raises BoatFileError with every name that is no option.
        """
        if not options:
            return self.boats
        by_name = {boat.name: boat for boat in self.boats}
        unknown = [option for option in options if option not in by_name]
        if unknown:
            raise BoatFileError([self._no_option(option) for option in unknown])
        return tuple(by_name[option] for option in dict.fromkeys((BASE, *options)))

    def at_sea(self, sea: Sea) -> BoatFile:
        """The same boats in another sea than that of the file.

        Raises BoatFileError where nothing is known of one of them in it.
        """
        boats = tuple(replace(boat, sea=sea) for boat in self.boats)
        faults = dict.fromkeys(filter(None, map(sea_fault, boats)))
        if faults:
            raise BoatFileError(
                [
                    Problem(file="", key="sea", given=sea.text, wrong=f"{self.path.name}: {fault}")
                    for fault in faults
                ]
            )
        return replace(self, boats=boats)

    def rows(self, option: str = BASE) -> tuple[Row, ...]:
        """Every resolved value of an option with its unit, where it came from and what it is.

        Raises BoatFileError if there is no such option.
        """
        if option not in self.resolved:
            raise BoatFileError([self._no_option(option)])
        return self.resolved[option]

    def _no_option(self, option: str) -> Problem:
        names = [boat.name for boat in self.boats]
        return Problem(
            file=str(self.path),
            key="option",
            given=shown(option),
            wrong="there is no option of that name",
            allowed=", ".join(names),
            hint=nearest(option, names),
        )


def read_again(boat_file: BoatFile, *, then: str = "") -> Table:
    """The values of a boat file once more, with those of the boat that it takes options for; `then` stands at
    its end.

    Raises BoatFileError when the file can no longer be read, or has changed since it was.
    """
    file = str(boat_file.path)
    root = source.parse(file, source.read(file) + then.encode())
    if OPTIONS_OF in root.entries:
        root, _ = with_boat(file, root)
    if load(boat_file.path).digest != boat_file.digest:
        raise BoatFileError([Problem(file=file, wrong="the file has changed since it was read")])
    return root


def load(path: str | PathLike[str]) -> BoatFile:
    """Read a boat file, and check the base and every option.

    Raises BoatFileError with everything that is wrong, in the order of the lines.
    """
    file = str(path)
    content = source.read(file)
    root = source.parse(file, content)
    if OPTIONS_OF in root.entries:
        root, of_boat = with_boat(file, root)
        content += of_boat
    resolver = Resolver(file=file, root=root, folder=Path(path).parent)
    resolved = resolver.resolve()
    if resolver.problems:
        raise BoatFileError(_in_order(resolver.problems, file))
    base = resolved[BASE].document
    return BoatFile(
        path=Path(path),
        name=base.name,
        description=base.description,
        digest=_digest(content, resolver.files.by_name()),
        boats=tuple(entry.afloat.boat for entry in resolved.values()),
        resolved={
            option: rows_of(
                entry.root,
                entry.document,
                entry.afloat,
                resolver.files,
                file=file,
            )
            for option, entry in resolved.items()
        },
    )


def _digest(content: bytes, files: Mapping[str, ColumnFile]) -> str:
    digest = hashlib.sha256(content)
    for name in sorted(files):
        digest.update(f"\0{name}\0".encode())
        digest.update(files[name].content)
    return digest.hexdigest()[:12]


def _in_order(problems: Sequence[Problem], file: str) -> list[Problem]:
    return sorted(problems, key=lambda each: (each.file != file, each.file, each.line or 0))
