"""The boats that the values of set quantities make of an option."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path
from typing import Any

from vpp.boat import Boat
from vpp.config.boat_file import BoatFile, read_again
from vpp.config.errors import BoatFileError, Problem
from vpp.config.overlay import Items, Leaf, Node, Origin, Table, name_of
from vpp.config.resolve import BASE, Resolved, Resolver
from vpp.config.set_tables import SetQuantity, change_of, set_quantities_in


@dataclass(frozen=True, kw_only=True)
class SetBoats:
    """The boats of an option with its set quantities at each of their values.

    `held` runs over the values of the first quantity, then those of the second and so on, the last fastest;
    `free` over those of the quantities that are no controls in the same way, with all controls free. It is
    empty where there is no control.
    """

    option: str
    quantities: tuple[SetQuantity, ...]
    held: tuple[Boat, ...]
    free: tuple[Boat, ...] = ()


def has_set_quantities(boat_file: BoatFile, options: Sequence[str] = ()) -> bool:
    """Whether the base or one of the named options, or of all if none is named, has a quantity that is set.

    Raises BoatFileError with every name that is no option.
    """
    return any(
        row.key.startswith("set.")
        for boat in boat_file.select(options)
        for row in boat_file.resolved.get(boat.name, ())
    )


def set_quantities(boat_file: BoatFile, options: Sequence[str] = ()) -> dict[str, tuple[SetQuantity, ...]]:
    """The set quantities of the base and of the named options, or of all if none is named, by option; only
    those of options that have any.

    Raises BoatFileError for a name that is no option, and where the file can no longer be read or has
    changed.
    """
    if not has_set_quantities(boat_file, options):
        return {}
    resolved = _Reader(boat_file).resolved
    found = {boat.name: set_quantities_in(resolved[boat.name].document) for boat in boat_file.select(options)}
    return {option: quantities for option, quantities in found.items() if quantities}


def set_boats(boat_file: BoatFile, options: Sequence[str] = ()) -> dict[str, SetBoats]:
    """The boats at all values of their set quantities, by option, of those options that have any; in the sea
    of `boat_file`.

    Raises BoatFileError with everything that speaks against one of the values, for a name that is no option,
    and where the file can no longer be read or has changed.
    """
    if not has_set_quantities(boat_file, options):
        return {}
    reader = _Reader(boat_file)
    asked = [boat.name for boat in boat_file.select(options) if reader.resolved[boat.name].document.set]
    return reader.boats(asked)


class _Reader:
    """A boat file read again, with further options that are made of values."""

    def __init__(self, boat_file: BoatFile) -> None:
        self._boat_file = boat_file
        self._file = str(boat_file.path)
        self._root = read_again(boat_file)
        self.resolved: dict[str, Resolved] = self._resolver(self._root).resolve()

    def boats(self, options: Sequence[str]) -> dict[str, SetBoats]:
        """All boats of some options. Raises BoatFileError with everything that speaks against one of them."""
        quantities = {option: set_quantities_in(self.resolved[option].document) for option in options}
        wanted: dict[str, _Wanted] = {}
        for option in options:
            for index in _indices(quantities[option]):
                wanted[self._free_name(len(wanted))] = _Wanted(option, quantities[option], index)
        made = self._made(wanted)
        found = {}
        for option in options:
            own = {each.index: made[name] for name, each in wanted.items() if each.option == option}
            found[option] = SetBoats(
                option=option,
                quantities=quantities[option],
                held=tuple(boat for index, boat in own.items() if None not in index),
                free=tuple(boat for index, boat in own.items() if None in index),
            )
        return found

    def _made(self, wanted: Mapping[str, _Wanted]) -> dict[str, Boat]:
        held = self._root.entries.get("option")
        options = held.entries if isinstance(held, Items) else ()
        added = tuple(
            _option(name, each, self.resolved[each.option], self._line(each)) for name, each in wanted.items()
        )
        root = replace(
            self._root, entries={**self._root.entries, "option": Items((*options, *added), Origin(None))}
        )
        resolver = self._resolver(root)
        resolved = resolver.resolve()
        if resolver.problems:
            raise BoatFileError(self._told(resolver.problems, wanted, resolved))
        return {
            name: replace(
                resolved[name].afloat.boat,
                name=f"{each.option}, {each.text}",
                sea=self._boat_file.boat(each.option).sea,
            )
            for name, each in wanted.items()
        }

    def _told(
        self, problems: Sequence[Problem], wanted: Mapping[str, _Wanted], resolved: Mapping[str, Resolved]
    ) -> list[Problem]:
        """Problems by values, and those values that are refused at the same place as others."""
        told = [_told(problem, wanted) for problem in problems]
        others = [name for name in wanted if name not in resolved and name not in {of for _, of in told}]
        return [
            *(problem for problem, _ in told),
            *(
                Problem(
                    file=self._file,
                    line=self._line(wanted[name]).line,
                    key=f"set.{wanted[name].quantities[0].name}",
                    wrong=f"{wanted[name].text_of_boat}: refused likewise",
                )
                for name in others
            ),
        ]

    def _line(self, each: _Wanted) -> Origin:
        """Where the first quantity of an option stands."""
        held = self.resolved[each.option].root.entries["set"]
        return held.entries[0].origin if isinstance(held, Items) else held.origin

    def _free_name(self, number: int) -> str:
        """A name that no option has."""
        held = self._root.entries.get("option")
        taken = {name_of(entry) for entry in (held.entries if isinstance(held, Items) else ())}
        name = f"set_{number}"
        while name in taken:
            name += "_"
        return name

    def _resolver(self, root: Table) -> Resolver:
        return Resolver(file=self._file, root=root, folder=Path(self._boat_file.path).parent)


@dataclass(frozen=True)
class _Wanted:
    """A boat that is wanted: an option with its quantities at some of their values; None is a control left
    free.
    """

    option: str
    quantities: tuple[SetQuantity, ...]
    index: tuple[int | None, ...]

    @property
    def values(self) -> dict[str, float]:
        """The values by key path."""
        return {
            key.key: key.values[index]
            for quantity, index in zip(self.quantities, self.index, strict=True)
            if index is not None
            for key in quantity.keys
        }

    @property
    def text(self) -> str:
        """The values in words."""
        return ", ".join(
            f"{quantity.name} {'trimmed' if index is None else quantity.text(index)}"
            for quantity, index in zip(self.quantities, self.index, strict=True)
        )

    @property
    def text_of_boat(self) -> str:
        """The same and whose they are."""
        return f"with {self.text}" + ("" if self.option == BASE else f' of option "{self.option}"')


def _indices(quantities: Sequence[SetQuantity]) -> list[tuple[int | None, ...]]:
    """Every combination of values, then those with all controls free where there is a control."""
    held: list[tuple[int | None, ...]] = list(product(*(range(each.count) for each in quantities)))
    if not any(each.is_control for each in quantities):
        return held
    free = product(*((None,) if each.is_control else range(each.count) for each in quantities))
    return [*held, *free]


def _option(name: str, wanted: _Wanted, of: Resolved, place: Origin) -> Table:
    """An option of the boat file that is an option at some values."""
    origin = Origin(place.line, name, place.file)

    def node(value: Any) -> Node:
        if isinstance(value, Mapping):
            return Table({key: node(inner) for key, inner in value.items()}, origin)
        return Leaf(value, origin)

    entries: dict[str, Node] = {
        "name": node(name),
        "says": node(wanted.text),
        # with its values the boat has nothing left to be set
        "remove": Items(tuple(node(f"set.{each.name}") for each in wanted.quantities), origin),
        "change": node(change_of(of.document, wanted.values)),
    }
    if wanted.option != BASE:
        entries["parent"] = node(wanted.option)
    return Table(entries, origin)


def _told(problem: Problem, wanted: Mapping[str, _Wanted]) -> tuple[Problem, str]:
    """A problem of a boat that no option of the file describes, told by its values, and the boat's name; the
    problem as it is where it is another's.
    """
    for name, each in wanted.items():
        if f'option "{name}"' in problem.wrong or problem.key.startswith(f"option.{name}"):
            wrong = problem.wrong.removeprefix(f'in option "{name}": ')
            key = problem.key.replace(f"option.{name}", f"set.{each.quantities[0].name}")
            return replace(problem, key=key, wrong=f"{each.text_of_boat}: {wrong}"), name
    return problem, ""
