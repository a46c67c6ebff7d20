"""Polars as netCDF with CF conventions: a grid of option, wind speed and wind angle.

Conventions after CF-1.11 and its table of standard names (version 93). A name from that table is given only
where it means the same: `wind_speed` does not, being that over the ground, nor do the platform's angles,
which are tied to starboard and port and not to leeward.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp.exchange.table import CONVERGED, EXPORTED, ExportError, PolarTable, description, units
from vpp.libraries import library
from vpp.results.variables import Variable, variable
from vpp.solved import BRANCHES, SPEED
from vpp.solver.status import Status

NETCDF = "polars.nc"
LIBRARIES = ("xarray", "netCDF4")
CONVENTIONS = "CF-1.11"
FILL = 9.969209968386869e36
"""What stands where there is no value: the fill value that netCDF itself has for 64-bit floats."""

BEST = "best_"
"""How the names of variables begin that belong to best VMGs."""

NO_RESULT = "none"
"""The flag where there is no branch or no sail set."""

STANDARD_NAMES = {
    "boat_speed_kn": "platform_speed_wrt_sea_water",
    "wave_height_m": "sea_surface_wave_significant_height",
    "wave_period_s": "sea_surface_wave_period_at_variance_spectral_density_maximum",
}

_BEST_AIMS = ("upwind", "downwind")
_GRID, _BEST_GRID = ("option", "tws", "twa"), ("option", "tws", "aim")


def write_netcdf(table: PolarTable, path: Path) -> None:
    """Write a table as netCDF-4. Raises MissingLibrary without xarray or netCDF4, ExportError for a table
    that is no whole grid.
    """
    library("netCDF4")
    data = dataset(table)
    encoding: dict[Any, dict[str, Any]] = {
        name: {"_FillValue": FILL if name not in data.coords and values.dtype.kind == "f" else None}
        for name, values in data.variables.items()
    }
    data.to_netcdf(path, format="NETCDF4", engine="netcdf4", encoding=encoding)


def dataset(table: PolarTable) -> Any:
    """The table as an `xarray.Dataset`: numbers on (option, tws, twa) at the angles asked for, and named
    `best_...` on (option, tws, aim) at best VMG `upwind` and `downwind`. Names are those of the columns
    without their unit, which is an attribute. Numbers are NaN where there is no result, and `status` says
    why.

    `option_name` and `aim_name` say what stands where along option and aim. Columns without any value are
    left out and named in the attribute `without_values`. Raises MissingLibrary without xarray.
    """
    xarray = library("xarray")
    conditions = table.conditions
    parts = {
        "": (_GRID, conditions[conditions["aim"] == SPEED]),
        BEST: (_BEST_GRID, conditions[conditions["aim"] != SPEED]),
    }
    columns, empty = _columns(table)
    variables: dict[str, Any] = {}
    for item in columns:
        for prefix, (dims, part) in parts.items():
            if item.column != "twa_deg" or prefix:
                values, told = _encoded(item, _on_grid(table, part, item, dims), table)
                told["long_name"] += " at best VMG" if prefix else ""
                variables[prefix + _name(item)] = (dims, values, told)
    variables["calibration"] = (
        "option",
        conditions.groupby("option", sort=False)["calibration"].first().to_numpy(dtype=object),
        _told(variable("calibration")),
    )
    if table.says:
        says = np.array([table.says.get(name, "") for name in table.options], dtype=object)
        variables["option_says"] = ("option", says, {"long_name": "what the option is"})
    return xarray.Dataset(variables, coords=_coordinates(table), attrs=_attributes(table, empty))


def _columns(table: PolarTable) -> tuple[list[Variable], list[str]]:
    """The columns that become variables, and the names of those that no row has a value in."""
    rows = table.rows
    elsewhere = {"option", "tws_kn", "aim", "calibration"}
    empty = [
        item.column for item in EXPORTED if not (rows[item.column].notna() & (rows[item.column] != "")).any()
    ]
    held = [item for item in EXPORTED if item.column not in (*elsewhere, *empty)]
    return [*held, variable("status")], empty


def _coordinates(table: PolarTable) -> dict[str, Any]:
    """The winds, and names beside the other dimensions: CF has no words along a dimension itself."""
    tws, twa = _told(variable("tws_kn")), _told(variable("twa_deg"))
    if table.wind_reference_height_m is not None:
        tws["comment"] += f"; that height is {table.wind_reference_height_m:g} m"
    twa["comment"] = "between course and true wind: 0 head to wind, 180 dead before it"
    return {
        "option_name": ("option", np.array(table.options, dtype=object), _told(variable("option"))),
        "tws": ("tws", np.array(table.tws_kn), tws),
        "twa": ("twa", np.array(table.twa_deg), twa),
        "aim_name": ("aim", np.array(_BEST_AIMS, dtype=object), {"long_name": "aim of the best VMG"}),
    }


def _attributes(table: PolarTable, empty: list[str]) -> dict[str, Any]:
    about = table.about()
    counts = about.pop("left_out")
    height = about.pop("wind_reference_height_m")
    caution = about.pop("caution")
    return {
        "Conventions": CONVENTIONS,
        **{key: value for key, value in about.items() if key != "version"},
        "source": f"{about['version']}: a force balance solved for the fastest equilibrium",
        "history": f"{table.solved_on}: solved and written by {about['version']}",
        "comment": caution,
        **({} if height is None else {"wind_reference_height_m": height}),
        **{f"left_out_{status}": count for status, count in counts.items()},
        "without_values": " ".join(empty),
    }


def _encoded(item: Variable, values: NDArray[Any], table: PolarTable) -> tuple[NDArray[Any], dict[str, Any]]:
    """Values as they are stored, words of a known list as flags, and their attributes."""
    told = _told(item)
    if item.column == "status":
        return _flags(values, [status.name.lower() for status in Status], told)
    if item.column == "branch":
        return _flags(values, ("", *BRANCHES), told)
    if item.column == "sail_set":
        return _flags(values, dict.fromkeys(("", *table.rows["sail_set"])), told)
    return values, told


def _flags(
    words: NDArray[Any], known: Iterable[str], told: dict[str, Any]
) -> tuple[NDArray[Any], dict[str, Any]]:
    """Words as their places among those known, with the two attributes that say what each number means."""
    codes = {word: code for code, word in enumerate(known)}
    values = np.vectorize(codes.__getitem__, otypes=[np.int8])(words)
    return values, {
        **told,
        "flag_values": np.arange(len(codes), dtype=np.int8),
        "flag_meanings": " ".join(word or NO_RESULT for word in codes),
    }


def _told(item: Variable) -> dict[str, Any]:
    """The attributes of a column."""
    told = {"long_name": item.long_name, "comment": description(item).partition(": ")[2]}
    if not item.is_text:
        told["units"] = units(item)
    if item.column in STANDARD_NAMES:
        told["standard_name"] = STANDARD_NAMES[item.column]
    return told


def _name(item: Variable) -> str:
    """The name of a quantity without a unit, which is that of its source in SI units."""
    return item.source or item.column


def _on_grid(table: PolarTable, part: pd.DataFrame, item: Variable, dims: tuple[str, ...]) -> NDArray[Any]:
    """One column of these conditions on its dimensions; numbers are NaN and text empty without a result, but
    for the status. Raises ExportError where conditions are missing.
    """
    along = {
        "option": (table.options, "option"),
        "tws": (table.tws_kn, "tws_kn"),
        "twa": (table.twa_deg, "twa_deg"),
        "aim": (_BEST_AIMS, "aim"),
    }
    shape = tuple(len(along[name][0]) for name in dims)
    if len(part) != np.prod(shape):
        raise ExportError(
            f"{len(part)} conditions are no whole grid, which has {' x '.join(map(str, shape))} of "
            f"{', '.join(dims)}: netCDF needs one; take another format"
        )
    places = tuple(pd.Index(along[name][0]).get_indexer(pd.Index(part[along[name][1]])) for name in dims)
    nothing: Any = "" if item.is_text else np.nan
    values = np.full(shape, nothing, dtype=object if item.is_text else float)
    has_result = (part["status"] == CONVERGED) | (item.column == "status")
    values[places] = part[item.column].where(has_result, nothing)
    return values
