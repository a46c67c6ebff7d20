"""`vpp check`: what a boat file resolves to."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import typer

from vpp.cli.console import stop, table
from vpp.cli.options import BoatPath, Format, Options, Printed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from vpp.boat import Boat
    from vpp.config import BoatFile, Row
    from vpp.config.set_tables import SetQuantity
    from vpp.rule_box import Verdict

_BASE = "base"
_SAID_ABOVE = ("name", "description")
_SAIL_COLUMNS = {
    "area_m2": "area m²",
    "measured_area_m2": "measured m²",
    "area_centre_height_m": "centre m",
    "luff_length_m": "luff m",
    "foot_chord_m": "foot m",
    "head_chord_m": "head m",
    "deck_gap_m": "deck gap m",
    "mean_chord_m": "mean chord m",
    "aspect_ratio": "aspect",
}
_HEADER = ("key", "value", "unit", "origin", "what it is")
_RULE_HEADER = ("option", "verdict", "measured", "limit", "margin")


def check(boat: BoatPath, option: Options = None, printed: Printed = Format.TEXT) -> None:
    """Check a boat file and show every value with its origin.

    The base boat is shown whole, each option by what it changes; a named option is shown whole. Where the
    file has a rule box, every option is held against it. Every value of what is set ([[set]]) is checked too.

    Example: vpp check keelboat.toml --option taller_rig
    """
    from vpp.config import BoatFileError, load
    from vpp.config.set_boats import set_boats
    from vpp.rule_box import verdicts

    try:
        boat_file = load(boat)
        boats = boat_file.select(option or ())
        found = verdicts(boat_file, option or ())
        values = {name: each.quantities for name, each in set_boats(boat_file, option or ()).items()}
    except BoatFileError as error:
        stop(str(problem) for problem in error.problems)
    if printed is Format.JSON:
        typer.echo(_json(boat_file, boats, found), nl=False)
    elif printed is Format.CSV:
        typer.echo(_csv(boat_file, boats, found), nl=False)
    else:
        typer.echo(_text(boat_file, boats, found, values, whole=option or ()))


def _text(
    boat_file: BoatFile,
    boats: Sequence[Boat],
    found: Sequence[Verdict],
    values: Mapping[str, Sequence[SetQuantity]],
    *,
    whole: Iterable[str],
) -> str:
    from vpp.config.rows import show_value
    from vpp.results.files import CAUTION

    parts = [f"{boat_file.path}: in order. {boat_file.name}, {boat_file.digest}"]
    base = {row.key: show_value(row) for row in boat_file.rows("base")}
    for boat in boats:
        is_whole = boat.name == "base" or boat.name in whole
        cells = [
            (row.key, show_value(row), row.unit, row.origin, row.description)
            for row in boat_file.rows(boat.name)
            if row.key not in _SAID_ABOVE
            and (not _is_in_sail_table(row) if is_whole else base.get(row.key) != show_value(row))
        ]
        told = f"{boat.name}: {boat.says}" if boat.says else boat.name
        calibrated = f"\ncalibrated: {boat.calibration.text}" if boat.calibration.text else ""
        parts.append(told + ("" if is_whole else " (what differs from base)") + calibrated)
        parts.append(table(_HEADER, cells, left=len(_HEADER)))
        if is_whole:
            parts.append(_sails(boat, boat_file.rows(boat.name)))
            resting = ", canting foils down at their least cant" if boat.foil("canting_pair") else ""
            worn = f", under its first sail set {boat.sail_sets[0].name}" if boat.sail_sets else ""
            parts.append(f"Masses of {boat.name}{worn}{resting}")
            parts.append(_masses(boat))
            parts.append(_equations(boat))
    if values:
        parts.append(_set_values(values))
    if found:
        parts += ["Rule box, clause by clause", *_rule_tables(found), _rule_closing(found)]
    return "\n\n".join([*parts, CAUTION])


def _set_values(values: Mapping[str, Sequence[SetQuantity]]) -> str:
    """What is set, from which values, and for which ranges; of an option only what the base does not have."""
    rows = [
        (
            option,
            quantity.name,
            key.key,
            key.built_text,
            ", ".join(f"{value:.6g}" for value in key.values) + f" {key.unit}".rstrip(),
            quantity.edges_text,
        )
        for option, quantities in values.items()
        for quantity in quantities
        if option == _BASE or quantity not in values.get(_BASE, ())
        for key in quantity.keys
    ]
    header = ("option", "set", "key", "as filed", "to choose from", "ranges, by their edges")
    title = "Set for a range and not trimmed: vpp compare picks the best value, all others take what is filed"
    return f"{title}\n{table(header, rows, left=len(header))}"


def _equations(boat: Boat) -> str:
    """Which equations are solved, which are not and why, and what brings them into balance."""
    if not boat.heaves:
        return (
            "Solved: surge, sway, roll, yaw. Not solved: heave and pitch, because the hull floats at the\n"
            "boat's own weight and its buoyancy takes up what is left of both."
        )
    controls = ["sails", "crew", "rudder"]
    if boat.foil("canting_pair"):
        controls += ["cant", "flap"]
    if boat.foil("rudder"):
        controls.append("elevator")
    return (
        "Solved: surge, sway, heave, roll, pitch, yaw, by speed and attitude and by "
        f"{', '.join(controls[:-1])} and {controls[-1]}."
    )


def _is_in_sail_table(row: Row) -> bool:
    return row.origin == "computed" and row.key.startswith(("sail.", "rig."))


def _sails(boat: Boat, rows: Iterable[Row]) -> str:
    """The sails side by side, and the rig as a whole."""
    from vpp.config.rows import show_value

    found = {row.key: show_value(row) for row in rows if _is_in_sail_table(row)}
    sails = [
        (sail.name, *(found.get(f"sail.{sail.name}.{key}", "") for key in _SAIL_COLUMNS))
        for sail in boat.sails
    ]
    from_tables = [
        (sail.name, f"{sail.area:.2f}", "", f"{sail.centre_height:.3f}", *[""] * (len(_SAIL_COLUMNS) - 3))
        for sail in boat.table_sails
    ]
    under = f" under its first sail set {boat.sail_sets[0].name}" if boat.sail_sets else ""
    rig = (
        f"Rig{under}: {found.get('rig.sail_area_m2', '')} m² in all, its centre at "
        f"{found.get('rig.area_centre_height_m', '')} m, mast top at {boat.rig.mast_top_height:.3f} m.\n"
        "Heights are over the water line afloat."
    )
    header = ("sail", *_SAIL_COLUMNS.values())
    return f"Sails of {boat.name}\n{table(header, [*sails, *from_tables])}\n{rig}"


def _masses(boat: Boat) -> str:
    from vpp.config.build import resting_foils

    rows = [
        (item.name, f"{item.mass:.1f}", f"{item.x:.2f}", f"{item.y:.2f}", f"{item.z:.2f}")
        for item in (*boat.all_masses(), *resting_foils(boat))
    ]
    crew = ("crew, inboard", f"{boat.crew.mass:.1f}", f"{boat.crew.x:.2f}", "0.00", f"{boat.crew.z:.2f}")
    total = ("together", f"{boat.total_mass:.1f}", "", "", "")
    return table(("mass", "kg", "x m", "y m", "z m"), [*rows, crew, total])


def _rule_tables(found: Iterable[Verdict]) -> list[str]:
    """A table for each clause, with what it finds of every boat."""
    rows: dict[str, list[tuple[str, ...]]] = {}
    for verdict in found:
        limit = verdict.limit
        rows.setdefault(f"{limit.clause}: {limit.what}, {limit.symbol}", []).append(_rule_row(verdict))
    return [f"{heading}\n{table(_RULE_HEADER, each, left=2)}" for heading, each in rows.items()]


def _rule_row(verdict: Verdict) -> tuple[str, ...]:
    told = "pass" if verdict.holds else "FAIL"
    return verdict.option, told, verdict.measured_text, verdict.limit.text, verdict.margin_text


def _rule_closing(found: Sequence[Verdict]) -> str:
    """How many of the boats break the rule box, and which clauses."""
    from vpp.rule_box import broken_by

    count = len({verdict.option for verdict in found})
    broken = broken_by(found)
    if not broken:
        return f"Rule box: all {count} boats keep to it." if count > 1 else "Rule box: the boat keeps to it."
    told = [verdict.sentence for verdict in found if not verdict.holds]
    return "\n".join([f"Rule box: {len(broken)} of {count} boats break it.", *(f"  {each}" for each in told)])


def _rule_records(found: Iterable[Verdict]) -> list[dict[str, Any]]:
    """The verdicts in the form of resolved values."""
    records: list[dict[str, Any]] = []
    for verdict in found:
        limit = verdict.limit
        unit = limit.measure.unit
        for key, value, symbol, says in (
            (f"measured_{unit}", limit.shown(verdict.measured), limit.symbol, f"{limit.what}, as measured"),
            (f"margin_{unit}", limit.shown(verdict.margin), limit.symbol, "what is left to the nearer bound"),
            ("holds", verdict.holds, "", "whether the option keeps to the clause"),
        ):
            records.append(
                {
                    "option": verdict.option,
                    "key": f"rule_box.{limit.name}.{key}",
                    "value": value,
                    "unit": symbol,
                    "origin": "computed",
                    "description": says,
                }
            )
    return records


def _records(boat_file: BoatFile, boats: Iterable[Boat]) -> list[dict[str, Any]]:
    return [
        {
            "option": boat.name,
            "key": row.key,
            "value": row.value,
            "unit": row.unit,
            "origin": row.origin,
            "description": row.description,
        }
        for boat in boats
        for row in boat_file.rows(boat.name)
    ]


def _json(boat_file: BoatFile, boats: Sequence[Boat], found: Sequence[Verdict]) -> str:
    from vpp.results.files import CAUTION, NOT_CALIBRATED, json_text, records
    from vpp.rule_box import to_frame

    return json_text(
        {
            "boat": boat_file.name,
            "file": str(boat_file.path),
            "digest": boat_file.digest,
            "calibration": {boat.name: boat.calibration.text or NOT_CALIBRATED for boat in boats},
            "values": [*_records(boat_file, boats), *_rule_records(found)],
            "rule_box": records(to_frame(found)),
            "caution": CAUTION,
        }
    )


def _csv(boat_file: BoatFile, boats: Iterable[Boat], found: Sequence[Verdict]) -> str:
    import pandas as pd

    from vpp.results.files import csv_text

    records = [*_records(boat_file, boats), *_rule_records(found)]
    for record in records:
        if isinstance(record["value"], list | tuple):
            record["value"] = json.dumps(record["value"])
    return csv_text(pd.DataFrame(records))
