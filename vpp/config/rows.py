"""Every resolved value of a boat with its origin, as people read it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from vpp.boat import Boat, FormedHull, Rig, Sail
from vpp.config import build
from vpp.config.chords import ChordFile
from vpp.config.coefficients import CoefficientFile
from vpp.config.files import Files
from vpp.config.locate import Path
from vpp.config.overlay import Node, Table, key_text, nodes_along
from vpp.config.schema import (
    REPEATED_TABLES,
    TABLES,
    TOP_KEYS,
    BoatDocument,
    Choice,
    CoefficientSailTable,
    SailTable,
    TableModel,
    choice_of,
    properties_of,
)
from vpp.config.units import unit_of


class Row(NamedTuple):
    """A value in the unit of its key.

    `origin` is "file:line", "option NAME, file:line", "default" or "computed".
    """

    key: str
    value: Any
    unit: str
    origin: str
    description: str


_COMPUTED_DECIMALS = {"kg": 0, "m": 3, "m²": 2, "m³": 3}


def show_value(row: Row) -> str:
    """A resolved value as people read it: given numbers as given, computed ones with the decimals that their
    unit deserves.
    """
    if row.origin == "computed" and isinstance(row.value, float):
        decimals = _COMPUTED_DECIMALS.get(row.unit, 3)
        return f"{round(row.value, decimals) + 0.0:.{decimals}f}"
    return _show_given(row.value)


def _show_given(value: Any) -> str:
    if isinstance(value, bool) or value is None:
        return {True: "yes", False: "no", None: ""}[value]
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, list | tuple):
        return ", ".join(_show_given(item) for item in value)
    return str(value)


def rows_of(
    root: Table,
    document: BoatDocument,
    afloat: build.Afloat,
    files: Files,
    *,
    file: str,
) -> tuple[Row, ...]:
    """Every value of a boat in the order of the schema, then what follows from them."""
    found: list[Row] = []
    for key in TOP_KEYS:
        found.append(_row(root, (key,), getattr(document, key), properties_of(BoatDocument)[key], file))
    for table_name in TABLES:
        if table_name == "wardrobe" and not document.sail_set:
            continue
        tables = getattr(document, table_name)
        if table_name not in REPEATED_TABLES:
            found += _table_rows(root, (table_name,), document, tables, files.chords, file)
            continue
        for index, table in enumerate(tables):
            found += _table_rows(root, (table_name, index), document, table, files.chords, file)
            if isinstance(table, CoefficientSailTable):
                found += _coefficient_rows(table, files.coefficients[table.coefficient_file])
    return (*found, *_computed_rows(afloat))


def _table_rows(
    root: Table,
    path: Path,
    document: BoatDocument,
    table: TableModel,
    chord_files: Mapping[str, ChordFile],
    file: str,
) -> Iterator[Row]:
    for key, entry in properties_of(type(table)).items():
        if not _is_used(document, table, choice_of(str(path[0]), key)):
            continue
        value = getattr(table, key)
        if isinstance(value, Mapping):
            yield from _inner_rows(root, (*path, key), value, entry, file)
        elif value is not None:
            yield _row(root, (*path, key), value, entry, file)
        elif isinstance(table, SailTable):
            row = _row(root, (*path, key), value, entry, file)
            yield from _filled(row, table, chord_files, file)


def _inner_rows(
    root: Table, path: Path, values: Mapping[str, object], entry: Mapping[str, Any], file: str
) -> Iterator[Row]:
    """A row for each value at the end of nested tables."""
    for key, value in values.items():
        if isinstance(value, Mapping):
            yield from _inner_rows(root, (*path, key), value, entry, file)
        else:
            yield _row(root, (*path, key), value, entry, file)


def _is_used(document: BoatDocument, table: TableModel, choice: Choice | None) -> bool:
    """Whether a key belongs to no choice, or to the one that was made."""
    if choice is None:
        return True
    *above, key = choice.selector
    chosen: object = getattr(getattr(document, above[0]) if above else table, key)
    return chosen in choice.choices


def _filled(row: Row, sail: SailTable, chord_files: Mapping[str, ChordFile], file: str) -> Iterator[Row]:
    """The value of a sail's key that is not given itself but follows from another."""
    heights, chords = build.chords_of(sail, chord_files)
    key = row.key.rsplit(".", 1)[-1]
    if key == "extension_chord_m":
        yield row._replace(value=chords[0])
    elif sail.chord_file is not None and key in ("chord_at_percent", "chord_m"):
        first_line = chord_files[sail.chord_file].lines[0]
        origin = f"{sail.chord_file}:{first_line}"
        yield row._replace(value=heights if key == "chord_at_percent" else chords, origin=origin)


def _coefficient_rows(sail: CoefficientSailTable, file: CoefficientFile) -> Iterator[Row]:
    """The columns of a sail's file."""
    described = {
        "awa_deg": "apparent wind angles, from the centreline, of the table",
        "lift_coefficient": "lift across the apparent wind at those angles, to leeward",
        "drag_coefficient": "drag along the apparent wind at those angles",
    }
    for column, description in described.items():
        origin = f"{file.name}:{file.lines[0]}"
        values = file.column(column)
        yield Row(f"sail.{sail.name}.{column}", values, unit_of(column).symbol, origin, description)


def _row(root: Table, path: Path, value: object, entry: Mapping[str, Any], file: str) -> Row:
    met = nodes_along(root, path)
    origin = _origin(met[-1], file) if len(met) == len(path) + 1 else "default"
    return Row(
        key_text(root, path), value, unit_of(str(path[-1])).symbol, origin, entry.get("description", "")
    )


def _origin(node: Node, file: str) -> str:
    place = f"{node.origin.file or file}:{node.origin.line}"
    return place if node.origin.option is None else f"option {node.origin.option}, {place}"


def _computed_rows(afloat: build.Afloat) -> Iterator[Row]:
    boat = afloat.boat
    for sail in boat.sails:
        for key, (value, description) in _sail_values(sail, boat.rig).items():
            yield _computed(f"sail.{sail.name}.{key}", value, description)
    worn, under = boat.dressed, f", under sail set {boat.sail_sets[0].name}" if boat.sail_sets else ""
    for key, (value, description) in _rig_values(worn).items():
        yield _computed(f"rig.{key}", value, f"{description}{under}")
    for foil in boat.foils:
        yield _computed(f"foil.{foil.name}.wing_area_m2", foil.wing_area, "area of the wing, both halves")
    for item in boat.sail_sets:
        worn = boat.wearing(item.name)
        area = sum(sail.area for sail in worn.every_sail)
        yield _computed(f"sail_set.{item.name}.area_m2", area, "area of the sails that are up together")
    resting = "" if boat.foil("canting_pair") is None else ", canting foils down at their least cant"
    values = {
        "afloat.total_mass_kg": (boat.total_mass, "mass of the boat with its crew, mast and sails"),
        "afloat.mass_centre_x_m": (
            build.mass_centre_x(boat),
            f"centre of mass, forward of midships{resting}",
        ),
        "afloat.mass_centre_z_m": (build.mass_centre_height(boat), f"height of the centre of mass{resting}"),
        **_hull_values(afloat),
        "afloat.metacentric_height_m": (
            afloat.metacentric_height,
            f"metacentric height upright, crew on the centreline{resting}",
        ),
    }
    for key, (value, description) in values.items():
        yield _computed(key, value, description)


def _sail_values(sail: Sail, rig: Rig) -> dict[str, tuple[float, str]]:
    lowest, highest = sail.lower_edge_height, sail.head_height
    deck = rig.deck_height if sail.deck_height is None else sail.deck_height
    height = highest - lowest
    return {
        "area_m2": (sail.area, "area between luff and leech"),
        "measured_area_m2": (sail.measured_area, "area by chords at the quarters of the luff above the foot"),
        "area_centre_height_m": (sail.area_centre_height, "height of the area's centre, afloat"),
        "luff_length_m": (height / math.cos(sail.luff_rake), "length of the luff, extension included"),
        "foot_chord_m": (sail.chord_at(lowest), "chord at the lower edge"),
        "head_chord_m": (sail.chord_at(highest), "chord at the head"),
        "deck_gap_m": (lowest - deck, "lower edge over the deck under this sail"),
        "mean_chord_m": (sail.area / height, "area over the height of the luff"),
        "aspect_ratio": (height**2 / sail.area, "height of the luff squared over area"),
    }


def _rig_values(boat: Boat) -> dict[str, tuple[float, str]]:
    parts = [(sail.area, sail.area_centre_height) for sail in boat.sails]
    parts += [(sail.area, sail.centre_height) for sail in boat.table_sails]
    total = sum(area for area, _ in parts)
    return {
        "sail_area_m2": (total, "area of all sails"),
        "area_centre_height_m": (
            sum(area * height for area, height in parts) / total,
            "height of that area's centre, afloat",
        ),
    }


def _hull_values(afloat: build.Afloat) -> dict[str, tuple[float, str]]:
    hull = afloat.boat.hull
    if isinstance(hull, FormedHull):
        form = build.drawn_form(hull)
        return {
            "drawn.volume_m3": (form.volume, "volume of the hull below the drawn water line"),
            "drawn.waterplane_area_m2": (form.waterplane_area, "area of the drawn water plane"),
            "drawn.buoyancy_centre_z_m": (form.buoyancy_centre_z, "height of that volume's centre"),
            "drawn.metacentric_radius_m": (
                form.metacentric_radius,
                "second moment of the water plane about the centreline over that volume",
            ),
        }
    found = {
        "afloat.sinkage_m": (afloat.sinkage, "how much deeper it floats than the hull is drawn"),
        "afloat.canoe_draught_m": (hull.canoe_draught, "draught of the canoe body at that weight"),
        "afloat.canoe_volume_m3": (hull.canoe_volume, "volume of the canoe body at that weight"),
        "afloat.prismatic_coefficient": (
            hull.prismatic_coefficient,
            "prismatic coefficient at that weight",
        ),
        "afloat.wetted_area_m2": (hull.wetted_area, "wetted area of the canoe body at that weight"),
    }
    # a hull by its table of resistance need not know all of them
    return {key: pair for key, pair in found.items() if not math.isnan(pair[0])}


def _computed(key: str, value: float, description: str) -> Row:
    return Row(key, value, unit_of(key).symbol, "computed", description)
