"""Solved conditions as tidy tables in the units of sailing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp.results.files import NOT_CALIBRATED
from vpp.results.variables import BUDGET_COLUMNS, KNOT, SAIL_SET_COLUMNS, VARIABLES, variable
from vpp.solver.status import Status
from vpp.wardrobe import made_good, places_under

if TYPE_CHECKING:
    from vpp.solved import Solved

Floats = NDArray[np.float64]

EXTENDED_REMARK = "hull resistance extended past"
"""How a remark begins that says the hull resistance of a result lies beyond its data."""

EXTENDED_MARK = "~"
"""What follows a number that rests on such a result."""

HULL_MARK = "h"
"""What follows the number of a hull-borne result of a boat that can also fly."""


def status_words(status: NDArray[np.int_]) -> NDArray[np.object_]:
    """Status codes as the words used in tables, one for each condition."""
    return np.array([Status(int(code)).name.lower() for code in status], dtype=object)


def is_converged(solved: Solved) -> NDArray[np.bool_]:
    """Which conditions have a result that may be used."""
    converged: NDArray[np.bool_] = np.asarray(solved.status) == Status.CONVERGED
    return converged


def numbers(solved: Solved, column: str) -> Floats:
    """One numeric column of the table of conditions, in its own unit, NaN where there is no value.

    The true wind angle is the one asked for; where the aim is a best VMG it is the one found.
    """
    source = variable(column).source
    factor = variable(column).factor
    if source == "tws":
        return _as_asked(np.asarray(solved.conditions.tws, dtype=float) * factor)
    if source == "twa":
        asked = _as_asked(np.asarray(solved.conditions.twa, dtype=float) * factor)
        return np.where(np.isnan(asked), np.asarray(solved.quantities["twa"], dtype=float) * factor, asked)
    return np.asarray(solved.quantities[source], dtype=float) * factor


def to_frame(solved: Solved) -> pd.DataFrame:
    """The tidy table: one row a condition, fixed columns, failed conditions kept with their status and
    reason.
    """
    text = {
        "option": _option_names(solved),
        "aim": solved.conditions.aim,
        "branch": solved.branch,
        "sail_set": solved.sail_set,
        "status": status_words(solved.status),
        "calibration": _calibrations(solved),
        "remark": solved.remark,
        "reason": solved.reason,
    }
    return pd.DataFrame(
        {
            item.column: _words(text[item.column]) if item.is_text else numbers(solved, item.column)
            for item in VARIABLES
        }
    )


def branches_frame(solved: Solved) -> pd.DataFrame:
    """The same table for every branch, one branch after the other: a row for each condition whose boat has
    it. Without rows where no boat can be carried in more ways than one.
    """
    if not solved.branches:
        return to_frame(solved).iloc[:0]
    return pd.concat([to_frame(found) for found in solved.branches.values()], ignore_index=True)


def sail_sets_frame(solved: Solved) -> pd.DataFrame:
    """What every sail set does, long: one row for each condition of boats that have sets and each of them.

    `behind_best_kn` is what a set lacks of the best in speed, or in VMG where that is the aim, and
    `change_pays_after_minutes` the sailing time after which a change from it to the best has earned the time
    that it takes; both are empty for the best itself. Without rows where no boat has sets.
    """
    if not solved.sail_sets:
        return pd.DataFrame(columns=list(SAIL_SET_COLUMNS))
    best, frames = made_good(solved), []
    for name, found in solved.sail_sets.items():
        places = places_under(solved, name)
        behind = np.where(solved.sail_set[places] == name, np.nan, best[places] - made_good(found))
        lost = np.array([boat.sail_change.lost_time for boat in found.boats])[found.conditions.option]
        unknown = np.full(len(lost), np.nan)
        pays_after = np.divide(lost * best[places], behind, out=unknown, where=behind > 0.0)
        columns = {
            "option": _option_names(found),
            **{column: numbers(found, column) for column in ("tws_kn", "twa_deg")},
            "aim": _words(found.conditions.aim),
            "sail_set": _words(found.sail_set),
            "status": status_words(found.status),
            **{column: numbers(found, column) for column in ("boat_speed_kn", "vmg_kn")},
            "behind_best_kn": behind / KNOT,
            "change_pays_after_minutes": pays_after / 60.0,
        }
        frames.append(pd.DataFrame(columns).assign(place=places))
    # sets of a condition stand together, in the order of the boat file
    joined = pd.concat(frames, ignore_index=True)
    return joined.sort_values("place", kind="stable", ignore_index=True)[list(SAIL_SET_COLUMNS)]


def budget_frame(solved: Solved) -> pd.DataFrame:
    """Every force and moment by component, long: one row a condition and component.

    Forces in N along the course, to leeward and up; moments in N m about the boat's reference point,
    right-handed. Conditions without a state keep their rows, without numbers.
    """
    component_count = len(solved.components)
    condition_count = len(solved.status)
    has_state = np.repeat(~np.isnan(solved.quantities["boat_speed"]), component_count)
    condition = {
        "option": _option_names(solved),
        "tws_kn": numbers(solved, "tws_kn"),
        "twa_deg": numbers(solved, "twa_deg"),
        "aim": _words(solved.conditions.aim),
    }
    columns: dict[str, NDArray[np.generic]] = {
        name: np.repeat(values, component_count) for name, values in condition.items()
    }
    columns["component"] = np.tile(np.array(solved.components, dtype=object), condition_count)
    columns["medium"] = np.tile(np.array(solved.medium, dtype=object), condition_count)
    for kind, unit, values in (("force", "n", solved.force), ("moment", "nm", solved.moment)):
        for index, axis in enumerate("xyz"):
            flat = np.asarray(values, dtype=float)[:, index, :].T.ravel()
            columns[f"{kind}_{axis}_{unit}"] = np.where(has_state, flat, np.nan)
    return pd.DataFrame(columns, columns=list(BUDGET_COLUMNS))


def status_counts(solved: Solved) -> dict[str, int]:
    """How many conditions ended in each status, every status named."""
    words = status_words(solved.status)
    return {status.name.lower(): int(np.sum(words == status.name.lower())) for status in Status}


def stopped_text(solved: Solved) -> str:
    """How much was done of a run that was stopped before its end; empty for a whole one."""
    count = int(np.sum(np.asarray(solved.status) == Status.INTERRUPTED))
    total = len(solved.status)
    return f"{total - count} of {total} conditions done" if count else ""


def is_extended(solved: Solved) -> NDArray[np.bool_]:
    """Which results rest on hull resistance extended past its data."""
    said = np.array([EXTENDED_REMARK in str(remark) for remark in solved.remark], dtype=bool)
    return said & is_converged(solved)


def remark_counts(solved: Solved) -> dict[str, int]:
    """How many conditions carry each remark, in the order in which they first occur."""
    single = [part for remark in solved.remark if remark for part in str(remark).split("; ")]
    return {remark: single.count(remark) for remark in dict.fromkeys(single)}


def failures(solved: Solved) -> pd.DataFrame:
    """Failed conditions grouped by status and reason: their number and the range of their winds."""
    failed = ~is_converged(solved)
    table = to_frame(solved)[failed]
    grouped = table.groupby(["status", "reason"], sort=False)
    return grouped.agg(
        count=("option", "size"),
        tws_from_kn=("tws_kn", "min"),
        tws_to_kn=("tws_kn", "max"),
        twa_from_deg=("twa_deg", "min"),
        twa_to_deg=("twa_deg", "max"),
    ).reset_index()


def _as_asked(values: Floats) -> Floats:
    # undoes the rounding of a conversion to SI and back, so that 6 kn reads 6 and not 6.000000000000001
    return np.round(values, 9)


def _option_names(solved: Solved) -> NDArray[np.object_]:
    names = np.array([boat.name for boat in solved.boats], dtype=object)
    picked: NDArray[np.object_] = names[np.asarray(solved.conditions.option)]
    return picked


def _calibrations(solved: Solved) -> NDArray[np.object_]:
    told = np.array([boat.calibration.text or NOT_CALIBRATED for boat in solved.boats], dtype=object)
    picked: NDArray[np.object_] = told[np.asarray(solved.conditions.option)]
    return picked


def _words(values: NDArray[np.generic]) -> NDArray[np.object_]:
    return np.array([str(value) for value in values], dtype=object)
