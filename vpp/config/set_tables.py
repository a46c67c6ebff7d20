"""Quantities that are set for a day or a range of wind: what a boat file says of them, and whether it can be
so.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from vpp.config.locate import Path
from vpp.config.schema import TABLES, TELLING_KEYS, BoatDocument, SetTable, TableModel, properties_of
from vpp.config.text import allowed_text, nearest
from vpp.config.units import UNITS, ending_of, unit_of
from vpp.config.validate import Finding

MOST_VALUES = 25
"""Values that one quantity may have to choose from."""

MOST_COMBINATIONS = 60
"""Combinations of values that one boat may have: each is a boat to be solved in every wind."""

MOST_ASSIGNMENTS = 20_000
"""Ways to give every wind range its values that are tried where quantities have different ranges."""

# What is no part of the boat, says something of it, or limits the search.
_NOT_SET = (
    "environment", "sea", "calibration", "wardrobe", "margins", "known_point", "rule_box", "sail_set", "set",
)  # fmt: skip
_Place = tuple[str, int | None, str]


@dataclass(frozen=True, kw_only=True)
class SetKey:
    """A number that is set, or a control that is held: its key path, and the values in `unit`.

    `built` is the value of the boat file; NaN for a control, which the boat file leaves free within `free`.
    """

    key: str
    unit: str
    values: tuple[float, ...]
    built: float = math.nan
    free: tuple[float, float] | None = None

    def text(self, value: float) -> str:
        """A value with its unit."""
        return f"{value:.6g} {self.unit}".rstrip()

    @property
    def built_text(self) -> str:
        """What the boat file has: the value of a number, or the range of a control that is free."""
        if self.free is None:
            return self.text(self.built)
        low, high = self.free
        return f"trimmed, {low:.6g} to {self.text(high)}"


@dataclass(frozen=True, kw_only=True)
class SetQuantity:
    """A quantity that has one value for a wind range; further keys go with the first, value by value."""

    name: str
    says: str
    keys: tuple[SetKey, ...]
    wind_edges_kn: tuple[float, ...] = ()
    twa_edges_deg: tuple[float, ...] = ()

    @property
    def count(self) -> int:
        """How many values there are to choose from."""
        return len(self.keys[0].values)

    @property
    def is_control(self) -> bool:
        """Whether it is a control, which could be trimmed."""
        return self.keys[0].free is not None

    @property
    def edges(self) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Edges of its ranges of wind speed [kn] and angle [deg]."""
        return self.wind_edges_kn, self.twa_edges_deg

    @property
    def angle_range_count(self) -> int:
        """How many ranges of wind angle there are."""
        return max(1, len(self.twa_edges_deg) - 1)

    @property
    def range_count(self) -> int:
        """How many ranges there are that each have a value; they count over wind speed, then angle."""
        return max(1, len(self.wind_edges_kn) - 1) * self.angle_range_count

    def text(self, index: int) -> str:
        """One of its values, that of the first key."""
        return self.keys[0].text(self.keys[0].values[index])

    @property
    def built_text(self) -> str:
        """What the boat file has."""
        return self.keys[0].built_text

    @property
    def edges_text(self) -> str:
        """The edges of its ranges in words."""
        told = [
            f"{what} {', '.join(f'{edge:g}' for edge in edges)} {unit}"
            for what, edges, unit in (
                ("TWS", self.wind_edges_kn, "kn"), ("TWA", self.twa_edges_deg, "deg"),
            )
            if edges
        ]  # fmt: skip
        return "; ".join(told) or "one for every wind"

    def bounds(self, range_index: int) -> tuple[float, float, float, float]:
        """The edges of a range: wind speeds [kn] and angles [deg]; NaN where it is every one."""
        wind, angle = divmod(range_index, self.angle_range_count)
        return (*_bounds(self.wind_edges_kn, wind), *_bounds(self.twa_edges_deg, angle))

    def range_text(self, range_index: int) -> str:
        """A range in words."""
        wind, angle = divmod(range_index, self.angle_range_count)
        told = [_range_text(self.wind_edges_kn, wind, "kn")] if self.wind_edges_kn else []
        told += [f"TWA {_range_text(self.twa_edges_deg, angle, 'deg')}"] if self.twa_edges_deg else []
        return ", ".join(told) or "every wind"


def range_of(edges: tuple[float, ...], value: float) -> int | None:
    """The range that a wind speed or angle belongs to: an edge inside belongs to the range above it, the last
    edge to the range below. None outside all of them; 0 where there are no edges.
    """
    if not edges:
        return 0
    if not edges[0] <= value <= edges[-1]:
        return None
    return min(sum(edge <= value for edge in edges[1:]), len(edges) - 2)


def _bounds(edges: tuple[float, ...], index: int) -> tuple[float, float]:
    return (edges[index], edges[index + 1]) if edges else (math.nan, math.nan)


def _range_text(edges: tuple[float, ...], index: int, unit: str) -> str:
    low, high = edges[index : index + 2]
    return f"{low:g} to {'' if index == len(edges) - 2 else 'below '}{high:g} {unit}"


@dataclass(frozen=True)
class _Target:
    """Where a number stands, or the bounds of a control; `within` is what the schema or the bounds allow."""

    places: tuple[_Place, ...]
    built: float = math.nan
    free: tuple[float, float] | None = None


def set_quantities_in(boat: BoatDocument) -> tuple[SetQuantity, ...]:
    """The quantities of a boat that are set; the boat must be in order."""
    targets = _targets(boat)
    return tuple(
        SetQuantity(
            name=table.name,
            says=table.says,
            wind_edges_kn=table.wind_edges_kn,
            twa_edges_deg=table.twa_edges_deg,
            keys=tuple(
                SetKey(
                    key=key,
                    unit=unit_of(key).symbol,
                    values=tuple(float(value) for value in values),
                    built=targets[key].built,
                    free=targets[key].free,
                )
                for key, (_, values) in _leaves(table).items()
            ),
        )
        for table in boat.set
    )


def change_of(boat: BoatDocument, values: Mapping[str, float]) -> dict[str, Any]:
    """What an option has to change for keys of set quantities to have some values."""
    targets = _targets(boat)
    changed: dict[str, Any] = {}
    for key, value in values.items():
        for table_name, index, name in targets[key].places:
            table = changed.setdefault(table_name, {})
            if index is not None:
                table = table.setdefault(getattr(boat, table_name)[index].name, {})
            table[name] = value
    return changed


def set_findings(boat: BoatDocument) -> list[Finding]:
    """What is wrong with the quantities of a boat that are set."""
    if not boat.set:
        return []
    targets = _targets(boat)
    found: list[Finding] = []
    taken: dict[_Place, str] = {}
    for index, table in enumerate(boat.set):
        path: Path = ("set", index)
        found += _edge_findings(path, table)
        found += _value_findings(path, table, boat, targets, taken)
    return found or _size_findings(boat)


def _edge_findings(path: Path, table: SetTable) -> list[Finding]:
    return [
        Finding((*path, key), "the edges must rise, each once")
        for key in ("wind_edges_kn", "twa_edges_deg")
        if any(low >= high for low, high in pairwise(getattr(table, key)))
    ]


def _value_findings(
    path: Path,
    table: SetTable,
    boat: BoatDocument,
    targets: Mapping[str, _Target],
    taken: dict[_Place, str],
) -> list[Finding]:
    leaves = _leaves(table)
    if not leaves:
        return [Finding((*path, "values"), "holds no key", "a list of values by key path")]
    found: list[Finding] = []
    for key, (way, values) in leaves.items():
        at: Path = (*path, "values", *way)
        target = targets.get(key)
        if target is None or any("." in word for word in way):
            found.append(_unknown(at, key, way, boat, targets))
            continue
        wrong = _list_fault(values)
        found += [Finding(at, wrong, f"2 to {MOST_VALUES} numbers")] if wrong else []
        found += [] if wrong else _range_findings(at, key, values, boat, target)
        for place in target.places:
            if place in taken:
                found.append(Finding(at, f"is set by {taken[place]} already"))
                break
        taken |= dict.fromkeys(target.places, f"set.{table.name}")
    return found or _together_findings(path, table, targets)


def _unknown(
    at: Path, key: str, way: tuple[str, ...], boat: BoatDocument, targets: Mapping[str, _Target]
) -> Finding:
    if any("." in word for word in way):
        return Finding(at, "is no key path", "", "write the path without quotes")
    given = _given_names(boat)
    if key.split(".")[0] in _NOT_SET and key in given:
        return Finding(at, "is no part of the boat that can be set")
    near = nearest(key, targets)
    return Finding(at, "is no number of this boat that can be set, and no control", "", near)


def _given_names(boat: BoatDocument) -> set[str]:
    """Key paths in the tables of which nothing can be set."""
    return {
        f"{table_name}{'' if index is None else '.' + getattr(table, 'name', '')}.{key}"
        for table_name in _NOT_SET
        for index, table in _tables(boat, table_name)
        for key in type(table).model_fields
    }


def _list_fault(values: Any) -> str:
    if not isinstance(values, list | tuple):
        return "is not a list of values"
    if not all(isinstance(value, int | float) and not isinstance(value, bool) for value in values):
        return "holds something that is not a number"
    if not all(math.isfinite(value) for value in values):
        return "holds something that is not a finite number"
    if len(values) < 2:
        return "has too few entries"
    return "has too many entries" if len(values) > MOST_VALUES else ""


def _range_findings(
    at: Path, key: str, values: tuple[float, ...], boat: BoatDocument, target: _Target
) -> list[Finding]:
    """Values outside what the schema allows, or outside what a control is free to do."""
    if target.free is not None:
        low, high = target.free
        if low == high:
            wrong = f"is not trimmed on this boat, whose least and greatest are both {low:g}"
            return [Finding(at, wrong, "a control whose bounds differ")]
        allowed = f"{low:g} to {high:g} {unit_of(key).symbol}".rstrip()
    else:
        table_name, index, name = target.places[0]
        held = dict(_tables(boat, table_name))[index]
        entry = properties_of(type(held))[name]
        low, high = entry.get("minimum", -math.inf), entry.get("maximum", math.inf)
        allowed = allowed_text(name, entry)
    outside = "lies outside what the boat can trim" if target.free is not None else "is out of range"
    return [
        Finding((*at, place), outside, allowed)
        for place, value in enumerate(values)
        if not low <= value <= high
    ]


def _together_findings(path: Path, table: SetTable, targets: Mapping[str, _Target]) -> list[Finding]:
    """Whether the lists of several keys go together, and no choice stands twice."""
    leaves = _leaves(table)
    (first, (_, of_first)), *others = leaves.items()
    found = [
        Finding(
            (*path, "values", *way),
            f"has {len(values)} values, {first} has {len(of_first)}",
            f"{len(of_first)} values",
        )
        for _, (way, values) in others
        if len(values) != len(of_first)
    ]
    if len({targets[key].free is None for key in leaves}) > 1:
        wrong = "holds a number and a control, which cannot be set by one table"
        found.append(Finding((*path, "values"), wrong, "", "give each a [[set]] of its own"))
    rows = list(zip(*(values for _, values in leaves.values()), strict=False))
    if len(set(rows)) < len(rows):
        found.append(Finding((*path, "values"), "holds a value twice"))
    return found


def _size_findings(boat: BoatDocument) -> list[Finding]:
    quantities = set_quantities_in(boat)
    # with every control held, and with all of them free
    plain = math.prod(each.count for each in quantities if not each.is_control)
    held = math.prod(each.count for each in quantities)
    count = held + (plain if any(each.is_control for each in quantities) else 0)
    if count > MOST_COMBINATIONS:
        wrong = (
            f"the values make {count} boats to be solved in every wind; at most {MOST_COMBINATIONS} can be"
        )
        return [Finding(("set", 0, "values"), wrong, "", "fewer values or fewer [[set]]")]
    ways: dict[tuple[object, int], int] = {}
    for each in quantities:
        key = (each.edges, each.range_count)
        ways[key] = ways.get(key, 1) * each.count
    counts = [each**ranges for (_, ranges), each in ways.items()]
    if math.prod(counts) // max(counts) > MOST_ASSIGNMENTS:
        wrong = "there are too many ways to combine values in ranges with different edges"
        return [Finding(("set", 0, "wind_edges_kn"), wrong, "", "give all [[set]] the same edges, or none")]
    return []


def _leaves(table: SetTable) -> dict[str, tuple[tuple[str, ...], Any]]:
    """Lists of values with their paths, by key path."""
    return {".".join(way): (way, values) for way, values in _walk(table.values, ())}


def _walk(values: Any, way: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Any]]:
    if not isinstance(values, Mapping):
        yield way, values
        return
    for key, inner in values.items():
        yield from _walk(inner, (*way, key))


def _targets(boat: BoatDocument) -> dict[str, _Target]:
    """Everything that can be set, by key path: numbers, and controls by the name that their bounds share."""
    numbers: dict[str, _Target] = {}
    controls: dict[str, _Target] = {}
    for table_name in TABLES:
        if table_name in _NOT_SET:
            continue
        for index, table in _tables(boat, table_name):
            before = table_name if index is None else f"{table_name}.{getattr(table, 'name', '')}"
            for key in type(table).model_fields:
                value = getattr(table, key)
                if key in TELLING_KEYS or not isinstance(value, float):
                    continue
                numbers[f"{before}.{key}"] = _Target(((table_name, index, key),), built=value)
                if control := _control(table, key):
                    name, high = control
                    own = (name,) if isinstance(getattr(table, name, None), float) else ()
                    controls[f"{before}.{name}"] = _Target(
                        tuple((table_name, index, each) for each in (key, high, *own)),
                        free=(value, getattr(table, high)),
                    )
    return numbers | controls


def _tables(boat: BoatDocument, table_name: str) -> list[tuple[int | None, TableModel]]:
    held = getattr(boat, table_name)
    return list(enumerate(held)) if isinstance(held, tuple) else [(None, held)]


def _control(table: TableModel, key: str) -> tuple[str, str] | None:
    """The control whose lower bound a key is, and its upper bound."""
    unit = ending_of(key)
    stem = key.removesuffix(f"_min_{unit}") if unit in UNITS else key
    high = f"{stem}_max_{unit}"
    if stem == key or not isinstance(getattr(table, high, None), float):
        return None
    return f"{stem}_{unit}", high
