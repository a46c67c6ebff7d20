"""Polars in the data model of Signal K (version 1.5): `performance.polars` of a vessel, in m/s and radians.

https://signalk.org/specification: the schema in JSON is published on npm as `@signalk/signalk-schema`. Tests
hold documents against it where it is at hand; nothing of it is part of this package.
"""

from __future__ import annotations

import hashlib
import uuid
from typing import Any

import pandas as pd

from vpp.exchange.table import PolarTable
from vpp.results.files import CAUTION
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import DOWNWIND, SPEED, UPWIND
from vpp.version import __version__

SIGNALK = "signalk_polars.json"
VERSION = "1.5.1"

_POINT = ("twa_deg", "boat_speed_kn", "vmg_kn")
_SPEED_DECIMALS, _ANGLE_DECIMALS = 5, 6


def document(table: PolarTable) -> dict[str, Any]:
    """A whole Signal K document with one vessel that has a polar for each option with a result, of which the
    table's active one is active, or the first.

    Angles from 0 to pi hold for either tack; VMG is positive to windward and negative downwind. Identifiers
    follow from the boat file, the option, the waves and the calibration: the same polar solved again has the
    same, so that it takes the place of the old one. The vessel's stands in for that of a real one.
    """
    rows = table.rows
    polars = {
        polar_id(table, option): _polar(table, option, rows[rows["option"] == option])
        for option in table.options
        if (rows["option"] == option).any()
    }
    active = polar_id(table, table.active) if table.active else ""
    active = active if active in polars else next(iter(polars))
    vessel = f"urn:mrn:signalk:uuid:{_identifier(table, 'vessel')}"
    return {
        "version": VERSION,
        "self": f"vessels.{vessel}",
        "vessels": {
            vessel: {
                "uuid": vessel,
                "name": table.source.name,
                "performance": {"activePolar": active, "polars": polars},
            }
        },
    }


def polar_id(table: PolarTable, option: str) -> str:
    """The identifier of an option's polar."""
    return _identifier(table, f"polar {option}")


def _identifier(table: PolarTable, what: str) -> str:
    # of the form of a random identifier, which is the only one that the data model takes
    source = table.source
    text = "\n".join((source.digest, source.sea, source.calibration, what))
    return str(uuid.UUID(bytes=hashlib.sha256(text.encode("utf-8")).digest()[:16], version=4))


def _polar(table: PolarTable, option: str, rows: pd.DataFrame) -> dict[str, Any]:
    return {
        "id": polar_id(table, option),
        "name": f"{table.source.name}, {option}",
        "description": _description(table, option),
        "source": {"label": f"vpp {__version__}", "type": "vpp"},
        "windData": [_wind(tws, rows[rows["tws_kn"] == tws]) for tws in sorted(set(rows["tws_kn"].tolist()))],
    }


def _wind(tws_kn: float, rows: pd.DataFrame) -> dict[str, Any]:
    """All of one wind speed. A best VMG without a result is left out with its key."""
    points = {
        aim: [
            [_radians(twa), _metres_a_second(speed), _metres_a_second(vmg)]
            for twa, speed, vmg in rows.loc[rows["aim"] == aim, list(_POINT)]
            .sort_values("twa_deg")
            .to_numpy()
        ]
        for aim in (UPWIND, DOWNWIND, SPEED)
    }
    best = {"optimalBeats": points[UPWIND], "optimalGybes": points[DOWNWIND]}
    return {
        "trueWindSpeed": _metres_a_second(tws_kn),
        **{key: [point[:2] for point in found] for key, found in best.items() if found},
        "angleData": points[SPEED],
    }


def _description(table: PolarTable, option: str) -> str:
    about = table.about()
    of_option = table.conditions[table.conditions["option"] == option]
    missing = int((of_option["status"] != "converged").sum())
    height = about["wind_reference_height_m"]
    said = [
        f"{option}: {table.says[option]}" if option in table.says else option,
        f"{about['boat_file']} {about['digest']}, solved by {about['version']} on {about['solved_on']}",
        f"waves: {about['waves']}; calibration: {about['calibration']}",
        "true wind relative to the water" + ("" if height is None else f", {height:g} m up"),
        f"{missing} of {len(of_option)} conditions left out, without a result",
        CAUTION,
    ]
    return ". ".join(part.removesuffix(".") for part in said) + "."


def _metres_a_second(speed_kn: float) -> float:
    return round(float(speed_kn) * KNOT, _SPEED_DECIMALS) + 0.0


def _radians(angle_deg: float) -> float:
    return round(float(angle_deg) * DEGREE, _ANGLE_DECIMALS)
