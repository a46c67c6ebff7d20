"""What the page of a report holds: every number, word and name as plain values for JSON.

Numbers carry more digits than are shown, so that the page rounds them as the printed tables do. Missing ones
are null, with the reason beside them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp.config.rows import show_value
from vpp.interpolation import InterpolationError
from vpp.plots import GAIN, OPTION_INKS, shade_limit_kn
from vpp.results.files import CAUTION, records
from vpp.results.frames import EXTENDED_MARK, EXTENDED_REMARK, HULL_MARK, failures, status_words
from vpp.results.variables import VARIABLES, show_number
from vpp.sail_choice import summary as sail_set_sentences
from vpp.solved import SPEED
from vpp.targets_between import Targets

if TYPE_CHECKING:
    from vpp.compare import Comparison
    from vpp.config import BoatFile
    from vpp.levers import Levers

_BUDGET = (
    ("force_x_n", "Force along the course, positive forward", "N"),
    ("force_y_n", "Force across the course, positive to leeward", "N"),
    ("force_z_n", "Force up, positive upwards", "N"),
    ("moment_x_nm", "Moment in roll, positive to windward (righting)", "N m"),
    ("moment_y_nm", "Moment in pitch, positive bow down", "N m"),
    ("moment_z_nm", "Moment in yaw, positive bow to leeward", "N m"),
)
# Digits beyond those shown, so that rounding twice is no matter.
_EXTRA_DECIMALS = 4
_BUDGET_DECIMALS = 3
_ASKED = ("tws_kn", "twa_deg")
# Where files lie on the machine that wrote the page is nobody else's business.
_FOLDERS = re.compile(r"(?<![^\s,(])[^\s,]*[/\\](?=[^/\\]+:\d+)")
_TARGET_NUMBERS = (
    "twa_deg", "boat_speed_kn", "vmg_kn", "heel_deg", "half_knot_lost_kn", "half_knot_lost_s_per_nm",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Subject:
    """What a report is about: a boat file and the comparison of its boats, of one boat alone too, with the
    levers of the base and sentences on the rule box where there are any.
    """

    boat_file: BoatFile
    comparison: Comparison
    levers: Sequence[Levers] = ()
    rule_box: Sequence[str] = ()
    targets: Targets | str = ""


def subject(
    boat_file: BoatFile,
    comparison: Comparison,
    *,
    levers: Sequence[Levers] = (),
    rule_box: Sequence[str] = (),
) -> Subject:
    """The subject with its targets, or with the reason why there are none."""
    found: Targets | str
    try:
        found = comparison.polar.targets()
    except InterpolationError as error:
        found = str(error)
    return Subject(
        boat_file=boat_file, comparison=comparison, levers=levers, rule_box=rule_box, targets=found
    )


def content(about: Subject) -> dict[str, Any]:
    """Everything on the page but its budgets and drawings."""
    comparison = about.comparison
    polar = comparison.polar
    return {
        "name": about.boat_file.name,
        "source": polar.source.line,
        "caution": CAUTION,
        "options": [{"name": boat.name, "says": boat.says} for boat in polar.solved.boats],
        "tws_kn": list(polar.grid.tws_kn),
        "rows": [
            {"aim": aim, "twa_deg": polar.grid.twa_deg[at] if aim == SPEED else None}
            for at, aim in enumerate(polar.row_aims)
        ],
        **_conditions(comparison),
        "marks": {"extended": EXTENDED_MARK, "hull": HULL_MARK},
        "extended_says": f"{EXTENDED_REMARK} its data",
        "shade_limit_kn": shade_limit_kn(comparison) if comparison.alternatives else 1.0,
        "inks": {"options": list(OPTION_INKS), "gain": GAIN},
        "targets": _targets(about.targets),
        "levers": _levers(about.levers),
        "inputs": inputs(about.boat_file, polar.options),
        "failures": _failures(comparison),
        "remark_counts": [[told, count] for told, count in polar.remark_counts.items()],
        "condition_count": int(polar.converged.size),
        "missing_count": int(np.sum(~polar.converged)),
    }


def sentences(about: Subject) -> list[str]:
    """The comparison in words, as it is printed; what belongs to the sentence before it is indented."""
    comparison = about.comparison
    choices = [
        told for name in comparison.polar.options for told in sail_set_sentences(comparison.polar, name)
    ]
    return [
        *comparison.by_wind(),
        *comparison.set_values().sentences(),
        *about.rule_box,
        *choices,
    ]


def notes(about: Subject) -> list[str]:
    """What is to be said of the numbers as a whole."""
    polar = about.comparison.polar
    told = [*about.comparison.notes(), polar.hull_borne_note]
    if polar.source.stopped:
        told.append(f"The run was stopped: {polar.source.stopped}.")
    return [each for each in told if each]


def budget(about: Subject) -> dict[str, Any]:
    """Every force and moment: by quantity, condition and component."""
    solved = about.comparison.polar.solved
    converged = about.comparison.polar.converged
    values = {}
    for kind, of in (("force", solved.force), ("moment", solved.moment)):
        for index, axis in enumerate("xyz"):
            unit = "n" if kind == "force" else "nm"
            along = np.where(converged, np.asarray(of)[:, index, :], np.nan).T
            values[f"{kind}_{axis}_{unit}"] = [
                rounded_numbers(row, _BUDGET_DECIMALS) if done else None
                for row, done in zip(along, converged, strict=True)
            ]
    return {
        "components": list(solved.components),
        "medium": list(solved.medium),
        "quantities": [{"key": key, "label": label, "unit": unit} for key, label, unit in _BUDGET],
        "values": values,
    }


def inputs(boat_file: BoatFile, options: Iterable[str]) -> dict[str, list[list[str]]]:
    """Every resolved value with its unit, origin and meaning: all of the base, and what options change."""
    base = {row.key: show_value(row) for row in boat_file.rows("base")}
    return {
        name: [
            [row.key, show_value(row), row.unit, _FOLDERS.sub("", row.origin), row.description]
            for row in boat_file.rows(name)
            if name == "base" or base.get(row.key) != show_value(row)
        ]
        for name in options
    }


def inputs_frame(boat_file: BoatFile, options: Iterable[str]) -> pd.DataFrame:
    """The same as a table."""
    rows = [(name, *row) for name, told in inputs(boat_file, options).items() for row in told]
    return pd.DataFrame(rows, columns=["option", "key", "value", "unit", "origin", "description"])


def _conditions(comparison: Comparison) -> dict[str, Any]:
    """What was found at every condition, flat over option, wind and row."""
    polar = comparison.polar
    solved = polar.solved
    columns, values = [], {}
    for item in VARIABLES:
        if item.is_text:
            continue
        along = polar.rows(item.column).ravel()
        if not np.isfinite(along).any():
            continue
        values[item.column] = rounded_numbers(along, item.decimals + _EXTRA_DECIMALS)
        if item.column not in _ASKED:
            columns.append(
                {
                    "key": item.column,
                    "label": item.long_name,
                    "unit": item.unit,
                    "decimals": item.decimals,
                    "sense": item.sense,
                }
            )
    words = {
        "branch": polar.branch.ravel(),
        "sail_set": polar.sail_set.ravel(),
        "status": status_words(solved.status),
        "remark": solved.remark,
        "reason": solved.reason,
    }
    return {
        "columns": columns,
        "values": values,
        "made_good": rounded_numbers(comparison.made_good().ravel(), 6),
        "extended": _places(polar.extended),
        "hull_borne": _places(polar.hull_borne),
        "flies": bool(polar.branches),
        "words": {name: indexed(along) for name, along in words.items()},
    }


def indexed(words: NDArray[Any]) -> dict[str, list[Any]]:
    """Words by their place in a list of those that differ."""
    known: dict[str, int] = {}
    places = [known.setdefault(str(word), len(known)) for word in words]
    return {"texts": list(known), "at": places}


def _places(flags: NDArray[np.bool_]) -> list[int]:
    return [int(place) for place in np.flatnonzero(flags)]


def exact_numbers(values: NDArray[np.float64]) -> list[float | None]:
    """Numbers for JSON, null where there is none."""
    return [float(value) if np.isfinite(value) else None for value in values]


def rounded_numbers(values: NDArray[np.float64], decimals: int) -> list[float | None]:
    """The same in so many decimals."""
    return exact_numbers(np.round(np.asarray(values, dtype=float), decimals) + 0.0)


def _targets(found: Targets | str) -> dict[str, Any]:
    """Targets of every option in every solved wind, with the angles between which little is lost."""
    if isinstance(found, str):
        return {"rows": [], "notes": [found] if found else []}
    frame = found.to_frame()
    # an angle stays beside the other where the table is narrow
    words = [
        {"flat": each.flat_words.replace(" ", "\u00a0"), "half_degree": each.half_degree_words}
        for option in found.options
        for each in found.all(option)
    ]
    rows = []
    for row, costs in zip(frame.to_dict(orient="records"), words, strict=True):
        numbers = {name: _number(row[name]) for name in _TARGET_NUMBERS}
        told = {
            name: str(row[name] or "") for name in ("option", "aim", "sail_set", "branch", "remark", "reason")
        }
        is_extended = EXTENDED_REMARK in str(row["remark"])
        rows.append({**told, **numbers, **costs, "tws_kn": row["tws_kn"], "is_extended": is_extended})
    return {"rows": rows, "notes": list(found.notes())}


def _number(value: Any) -> float | None:
    return round(float(value), 6) + 0.0 if np.isfinite(value) else None


def _levers(found: Sequence[Levers]) -> dict[str, Any]:
    """The strongest levers of the base, with what a step of each is worth on every course."""
    worth = [{lever.name: lever.step_gain_kn for lever in each.found if lever.is_choice} for each in found]
    strongest = {lever.name: lever for each in found for lever in each.strongest()}
    most = {name: max(abs(of.get(name, 0.0)) for of in worth) for name in strongest}
    names = sorted(strongest, key=lambda name: -most[name])[:10]
    return {
        "courses": [{"option": each.option, "aim": each.aim, "tws_kn": each.tws_kn} for each in found],
        "rows": [
            {
                "name": name,
                "says": strongest[name].description,
                "step": f"{strongest[name].step:+.3g}",
                "unit": strongest[name].unit,
                "gains_kn": [_number(of.get(name, float("nan"))) for of in worth],
            }
            for name in names
        ],
    }


def _failures(comparison: Comparison) -> list[dict[str, Any]]:
    """Conditions without a result by status and reason, with the range of their winds."""
    told = records(failures(comparison.polar.solved))
    return [
        {
            "count": group["count"],
            "status": group["status"],
            "reason": group["reason"],
            "tws_kn": _span(group["tws_from_kn"], group["tws_to_kn"]),
            "twa_deg": _span(group["twa_from_deg"], group["twa_to_deg"]),
        }
        for group in told
    ]


def _span(lowest: float | None, highest: float | None) -> str:
    if lowest is None or highest is None:
        return "-"
    ends = [show_number(value, decimals=1).removesuffix(".0") for value in (lowest, highest)]
    return ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"
