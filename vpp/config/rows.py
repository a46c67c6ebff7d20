"""Every resolved value of a boat with its origin, as people read it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from vpp.boat import FormedHull
from vpp.config import build
from vpp.config.chords import ChordFile
from vpp.config.locate import Path
from vpp.config.overlay import Node, Table, key_text, nodes_along
from vpp.config.schema import (
    REPEATED_TABLES,
    TABLES,
    TOP_KEYS,
    BoatDocument,
    Choice,
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


def rows_of(
    root: Table,
    document: BoatDocument,
    afloat: build.Afloat,
    chord_files: Mapping[str, ChordFile],
    *,
    file: str,
) -> tuple[Row, ...]:
    """Every value of a boat in the order of the schema, then what follows from them."""
    found: list[Row] = []
    for key in TOP_KEYS:
        found.append(_row(root, (key,), getattr(document, key), properties_of(BoatDocument)[key], file))
    for table_name in TABLES:
        tables = getattr(document, table_name)
        if table_name not in REPEATED_TABLES:
            found += _table_rows(root, (table_name,), document, tables, chord_files, file)
            continue
        for index, table in enumerate(tables):
            found += _table_rows(root, (table_name, index), document, table, chord_files, file)
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
        if value is not None:
            yield _row(root, (*path, key), value, entry, file)
        elif isinstance(table, SailTable):
            row = _row(root, (*path, key), value, entry, file)
            yield from _filled(row, table, chord_files, file)


def _is_used(document: BoatDocument, table: TableModel, choice: Choice | None) -> bool:
    """Whether a key belongs to no choice, or to the one that was made."""
    if choice is None:
        return True
    *above, key = choice.selector
    chosen: object = getattr(getattr(document, above[0]) if above else table, key)
    return chosen == choice.chosen


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


def _row(root: Table, path: Path, value: object, entry: Mapping[str, Any], file: str) -> Row:
    met = nodes_along(root, path)
    origin = _origin(met[-1], file) if len(met) == len(path) + 1 else "default"
    return Row(
        key_text(root, path), value, unit_of(str(path[-1])).symbol, origin, entry.get("description", "")
    )


def _origin(node: Node, file: str) -> str:
    place = f"{file}:{node.origin.line}"
    return place if node.origin.option is None else f"option {node.origin.option}, {place}"


def _computed_rows(afloat: build.Afloat) -> Iterator[Row]:
    boat = afloat.boat
    for sail in boat.sails:
        yield _computed(f"sail.{sail.name}.area_m2", sail.area, "area between luff and leech")
    for foil in boat.foils:
        yield _computed(f"foil.{foil.name}.wing_area_m2", foil.wing_area, "area of the wing, both halves")
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
    return {
        "afloat.sinkage_m": (afloat.sinkage, "how much deeper it floats than the hull is drawn"),
        "afloat.canoe_draught_m": (hull.canoe_draught, "draught of the canoe body at that weight"),
        "afloat.canoe_volume_m3": (hull.canoe_volume, "volume of the canoe body at that weight"),
        "afloat.prismatic_coefficient": (hull.prismatic_coefficient, "prismatic coefficient at that weight"),
        "afloat.wetted_area_m2": (hull.wetted_area, "wetted area of the canoe body at that weight"),
    }


def _computed(key: str, value: float, description: str) -> Row:
    return Row(key, value, unit_of(key).symbol, "computed", description)
