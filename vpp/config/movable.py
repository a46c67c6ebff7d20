"""The numbers of a boat that can be moved one at a time, and the boats that this makes."""

from __future__ import annotations

import copy
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from vpp.boat import Boat, FormedHull, PointMass
from vpp.config import build, checks
from vpp.config.boat_file import BoatFile, read_again
from vpp.config.errors import BoatFileError, Problem
from vpp.config.files import Files
from vpp.config.resolve import Resolved, Resolver
from vpp.config.schema import TABLES, TELLING_KEYS, BoatDocument, TableModel, properties_of
from vpp.config.sections import strip_findings
from vpp.config.text import nearest
from vpp.config.units import unit_of
from vpp.config.validate import Finding

# What is said of the boat and changes nothing of how it sails.
_TELLING = ("wardrobe", "known_point", "rule_box", "uncertainty")
# Lists that can be moved as a whole: chords by a share of each, cambers by the same for all.
_LISTS = ("chord_m", "camber_flat_percent", "camber_full_percent", "reef_percent")
_Where = tuple[str, int | None, str]


@dataclass(frozen=True, kw_only=True)
class Key:
    """A number of the boat file, or a list of numbers moved as one; `value` is in `unit`, that of the key.

    A list of lengths is moved by a share of each of its numbers: its value is 100 % of them.
    """

    name: str
    value: float
    unit: str
    description: str
    is_list: bool = False


@dataclass(frozen=True, kw_only=True)
class AsFiled:
    """All boats of a file with what stands in it of each, read once for several options."""

    boats: Mapping[str, Resolved]
    files: Files

    @classmethod
    def of(cls, boat_file: BoatFile) -> AsFiled:
        """Read the file again. Raises BoatFileError when it can no longer be read or has changed."""
        resolver = Resolver(
            file=str(boat_file.path), root=read_again(boat_file), folder=Path(boat_file.path).parent
        )
        return cls(boats=resolver.resolve(), files=resolver.files)


class MovableKeys:
    """The numbers of an option of a boat file, and boats with one of them moved.

    `boat` is the option's boat, in the sea of `boat_file`. Where several options are asked for, `filed` saves
    reading the file for each. Raises BoatFileError when the file can no longer be read or has changed since
    it was, and for an option that it does not hold.
    """

    def __init__(self, boat_file: BoatFile, option: str, *, filed: AsFiled | None = None) -> None:
        self.boat = boat_file.boat(option)
        self._file = str(boat_file.path)
        filed = AsFiled.of(boat_file) if filed is None else filed
        resolved = filed.boats[option]
        self._document, self._files, self._afloat = resolved.document, filed.files, resolved.afloat
        self._other_sea = self.boat.sea != resolved.afloat.boat.sea
        self._drawn = self._as_drawn(self._document)
        self._filed, self._by = self._document, dict[str, float]()
        where = _places_of(self._document)
        self._where = {
            row.key: where[row.key]
            for row in boat_file.rows(option)
            if row.key in where and not (self._other_sea and row.key.startswith("sea."))
        }
        self.keys = {row.key: _key(row) for row in boat_file.rows(option) if row.key in self._where}

    def named(self, names: Sequence[str]) -> list[Key]:
        """Some of the keys. Raises BoatFileError with every name that is no number of this boat."""
        unknown = [
            Problem(
                file=self._file,
                key=name,
                wrong="is no number of this boat that can be moved",
                hint=nearest(name, list(self.keys)),
            )
            for name in names
            if name not in self.keys
        ]
        if unknown:
            raise BoatFileError(unknown)
        return [self.keys[name] for name in names]

    def moved_to(self, by: Mapping[str, float]) -> MovableKeys:
        """The same numbers of the boat with several of them moved at once, each by so much in the unit of its
        key; a share of chords is always one of those that are filed. Raises BoatFileError where the boat file
        would not allow it.
        """
        there = copy.copy(self)
        there._document = self._in_order(by)
        there._by = self._together(by)
        there._drawn = self._drawable(there._document)
        there._afloat = self._floating(there._drawn)
        there.boat = self._in_its_sea(there._afloat.boat)
        return there

    def value_in_file(self, name: str) -> float | tuple[float, ...]:
        """What stands in the boat file under a key, in its unit."""
        table_name, index, key = self._where[name]
        tables = getattr(self._document, table_name)
        value: float | tuple[float, ...] = getattr(tables if index is None else tables[index], key)
        return value

    @property
    def document(self) -> BoatDocument:
        """The boat as the file has it."""
        return self._filed

    def allowed(self, name: str) -> tuple[float, float]:
        """Between which values a boat file allows a key by itself, in its unit: of a list, those that leave
        every one of its numbers within what is allowed.
        """
        table_name, index, key = self._where[name]
        tables = getattr(self._filed, table_name)
        table: TableModel = tables if index is None else tables[index]
        entry, value = properties_of(type(table))[key], getattr(table, key)
        within = entry.get("items", entry) if isinstance(value, tuple) else entry
        low, high = within.get("minimum", -math.inf), within.get("maximum", math.inf)
        if not isinstance(value, tuple):
            return low, high
        built = self.keys[name].value
        if unit_of(key).symbol == "m":
            shares = [(low / each, high / each) for each in value if each > 0.0]
            return built * max(least for least, _ in shares), built * min(most for _, most in shares)
        return built + low - min(value), built + high - max(value)

    def allows(self, name: str, by: float) -> bool:
        """Whether the values of the boat file would be in order with a number moved; not whether the boat
        would float with them.
        """
        try:
            self._in_order({name: by})
        except BoatFileError:
            return False
        return True

    def moved(self, name: str, by: float) -> Boat:
        """The boat with a number moved, in the unit of its key, afloat at its own weight. Raises
        BoatFileError where the boat file would not allow it.
        """
        return self._in_its_sea(self._floating(self._checked({name: by})).boat)

    def held(self, name: str, by: float) -> tuple[Boat, float]:
        """The same boat at the water line of the boat as it is, and the volume [m^3] by which that falls
        short of carrying it. Where the number is one of the hull's lines the boat is afloat, and short of
        nothing.
        """
        return self.held_together({name: by})

    def held_together(self, by: Mapping[str, float]) -> tuple[Boat, float]:
        """As `held`, with several numbers moved at once."""
        drawn = self._checked(by)
        is_hull = drawn.hull != self._drawn.hull or drawn.fins != self._drawn.fins
        if isinstance(drawn.hull, FormedHull) or is_hull or drawn.environment != self._drawn.environment:
            return self._in_its_sea(self._floating(drawn).boat), 0.0
        short = build.needed_canoe_volume(drawn) - build.needed_canoe_volume(self._drawn)
        return self._in_its_sea(build.floating_as(drawn, self._afloat)), short

    def sunk(self, volume: float) -> Boat:
        """The boat as deep as with so much more volume [m^3] under water, and no heavier."""
        mass = volume * self._drawn.environment.water_density
        burden = PointMass(name="burden", mass=mass, x=0.0, y=0.0, z=0.0)
        boat = build.afloat(replace(self._drawn, masses=(*self._drawn.masses, burden))).boat
        return replace(boat, masses=boat.masses[:-1], sea=self.boat.sea)

    def laden(self, mass: float, *, x: float, z: float) -> tuple[Boat, float]:
        """As `held`, of the boat with a mass [kg] added at a point of the centreline [m], counted as it
        floats.
        """
        boat = self.boat
        added = PointMass(name="added", mass=mass, x=x, y=0.0, z=z)
        short = 0.0 if isinstance(boat.hull, FormedHull) else mass / boat.environment.water_density
        return replace(boat, masses=(*boat.masses, added)), short

    @property
    def mass_centre(self) -> tuple[float, float]:
        """How far forward of midships and how high the centre of mass lies [m], afloat, crew amidships."""
        boat = self._afloat.boat
        return build.mass_centre_x(boat), build.mass_centre_height(boat)

    def _in_its_sea(self, boat: Boat) -> Boat:
        return replace(boat, sea=self.boat.sea) if self._other_sea else boat

    def _floating(self, drawn: Boat) -> build.Afloat:
        floating = build.afloat(drawn)
        self._refuse(checks.afloat_findings(floating))
        return floating

    def _in_order(self, by: Mapping[str, float]) -> BoatDocument:
        document = self._with(self._together(by))
        tables = _tables_of(document)
        self._refuse(checks.table_findings(tables) + checks.boat_findings(document))
        return document

    def _checked(self, by: Mapping[str, float]) -> Boat:
        return self._drawable(self._in_order(by))

    def _drawable(self, document: BoatDocument) -> Boat:
        drawn = self._as_drawn(document)
        self._refuse(strip_findings(drawn, document) + checks.weight_findings(drawn, is_base=False))
        return drawn

    def _together(self, by: Mapping[str, float]) -> dict[str, float]:
        """By how much numbers are moved from what is filed, with further moves."""
        return self._by | {name: self._by.get(name, 0.0) + each for name, each in by.items()}

    def _with(self, by: Mapping[str, float]) -> BoatDocument:
        """The values as filed with numbers moved."""
        document, findings = self._filed, list[Finding]()
        for name, each in by.items():
            table_name, index, key = self._where[name]
            tables = getattr(document, table_name)
            table: TableModel = tables if index is None else tables[index]
            value = _moved(getattr(table, key), each, key)
            findings += _outside(properties_of(type(table))[key], value, name)
            changed: object = table.model_copy(update={key: value})
            if index is not None:
                changed = (*tables[:index], changed, *tables[index + 1 :])
            document = document.model_copy(update={table_name: changed})
        self._refuse(findings)
        return document

    def _as_drawn(self, document: BoatDocument) -> Boat:
        return build.as_drawn(document, name=self.boat.name, says=self.boat.says, files=self._files)

    def _refuse(self, findings: Sequence[Finding]) -> None:
        if findings:
            raise BoatFileError(
                [
                    Problem(
                        file=self._file,
                        key=".".join(str(part) for part in found.path),
                        wrong=found.wrong,
                        allowed=found.allowed,
                        hint=found.hint,
                    )
                    for found in findings
                ]
            )


def _places_of(document: BoatDocument) -> dict[str, _Where]:
    """Where each number stands, by its key as people write it."""
    found: dict[str, _Where] = {}
    for table_name in TABLES:
        if table_name in _TELLING:
            continue
        held = getattr(document, table_name)
        entries = enumerate(held) if isinstance(held, tuple) else [(None, held)]
        for index, table in entries:
            before = table_name if index is None else f"{table_name}.{table.name}"
            for key in type(table).model_fields:
                if key in TELLING_KEYS:
                    continue
                value = getattr(table, key)
                if isinstance(value, float) or (key in _LISTS and value):
                    found[f"{before}.{key}"] = (table_name, index, key)
    return found


def _key(row: Any) -> Key:
    is_list = isinstance(row.value, tuple)
    in_share = is_list and row.unit == "m"
    return Key(
        name=row.key,
        value=100.0 if in_share else float(sum(row.value) / len(row.value)) if is_list else float(row.value),
        unit="%" if in_share else row.unit,
        description=row.description,
        is_list=is_list,
    )


def _moved(value: Any, by: float, key: str) -> Any:
    if not isinstance(value, tuple):
        return value + by
    if unit_of(key).symbol == "m":
        return tuple(each * (1.0 + by / 100.0) for each in value)
    return tuple(each + by for each in value)


def _outside(entry: dict[str, Any], value: Any, name: str) -> list[Finding]:
    """What the schema has against a value."""
    within = entry.get("items", entry) if isinstance(value, tuple) else entry
    low, high = within.get("minimum", -float("inf")), within.get("maximum", float("inf"))
    values = value if isinstance(value, tuple) else (value,)
    if all(low <= each <= high for each in values):
        return []
    return [Finding(tuple(name.split(".")), "would leave its range", f"{low:g} to {high:g}")]


def _tables_of(document: BoatDocument) -> dict[tuple[str | int, ...], TableModel]:
    found: dict[tuple[str | int, ...], TableModel] = {}
    for table_name in TABLES:
        held = getattr(document, table_name)
        if isinstance(held, tuple):
            found |= {(table_name, index): table for index, table in enumerate(held)}
        else:
            found[table_name,] = held
    return found
