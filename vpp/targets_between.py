"""Targets of a boat from the table of conditions of its polar: best VMG up and down by wind, what being off
it costs, and the speed at any wind and angle, between the solved points and never beyond them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
import pandas as pd

from vpp.flat_tops import MORE_MARK, SHARE, FlatTops, flat_tops
from vpp.interpolation import (
    BEST_VMG,
    BEYOND,
    CHANGES_WITH_ANGLE,
    CHANGES_WITH_WIND,
    KNOWN,
    InterpolationError,
    PolarInterpolant,
    error_near,
    evaluate,
    left_out_errors,
    monotone_slopes,
    same_part,
)
from vpp.results.files import Source
from vpp.results.frames import EXTENDED_MARK, EXTENDED_REMARK, Floats, to_frame
from vpp.results.variables import CONTROL_COLUMNS, DEGREE, VARIABLES, show_number
from vpp.solved import SPEED, Solved
from vpp.solver.status import Status

HALF_DEGREE, HALF_KNOT = 0.5, 0.5
"""Off the best angle [deg] and off the target speed [kn]: what the costs are told for."""

MODES_DEG = (-4.0, -2.0, 2.0, 4.0)
"""Angles from the best one, negative towards the wind, of the modes around it."""

OFFSETS_DEG = (-4.0, -2.0, -HALF_DEGREE, HALF_DEGREE, 2.0, 4.0)
"""All angles from the best one whose cost is told."""

SOLVED, INTERPOLATED, NO_TARGET = "solved", "interpolated", "no_target"

UNSURE_MARK = "?"
"""What follows the cost of an angle that the solved angles do not tell well."""

STATE_COLUMNS = ("heel_deg", "ride_height_m", "leeway_deg", "pitch_deg", "awa_deg", "aws_kn")
"""What is told of the boat at a target, before its trims."""

# A number of the state that left-out winds miss by more is not one of a single optimum.
_STATE_LIMIT = {"deg": 2.0, "m": 0.1, "percent": 2.0, "kn": 1.0}
_SAME_KN = 1e-4
# An error below this shows on no instrument at sea.
_FINEST_KN = 0.02
_PARTED_BY = ("branch", "sail_set")
_WORDS = ("branch", "sail_set", "remark", "reason")
_CONVERGED = Status.CONVERGED.name.lower()
_UNIT = {item.column: item.unit for item in VARIABLES}


@dataclass(frozen=True, kw_only=True)
class Target:
    """Best VMG of one option in one wind, or why there is none.

    `tws_kn`, `twa_deg`, `boat_speed_kn`; `vmg_kn` is positive up and down. `state` holds heel, ride height,
    trims by column, NaN where a column does not apply or changes too much between the solved winds;
    `state_error` how far each may be off. The errors are those of interpolation alone, 0 at a solved wind and
    NaN where the polar has too few winds to tell. `lost_kn` is VMG lost by angles off the best one [deg,
    negative towards the wind], NaN where that is not known, and `lost_error_kn` what the curve along the
    angle may be off by there. Best VMG is the most there is: where the curve makes good more, that is its
    error, and nothing is lost. `flat_deg` are the angles nearest to the best one, on the side of the wind and
    on the other, at which 0.5 % of its VMG is lost, `flat_open` whether each is instead the last that is
    known on the same way of sailing, and `flat_sure` whether what is lost there is known to half of it.
    """

    option: str
    aim: str
    tws_kn: float
    status: str
    twa_deg: float = math.nan
    boat_speed_kn: float = math.nan
    vmg_kn: float = math.nan
    branch: str = ""
    sail_set: str = ""
    state: Mapping[str, float] = field(default_factory=dict)
    state_error: Mapping[str, float] = field(default_factory=dict)
    lost_kn: Mapping[float, float] = field(default_factory=dict)
    lost_error_kn: Mapping[float, float] = field(default_factory=dict)
    flat_deg: tuple[float, float] = (math.nan, math.nan)
    flat_open: tuple[bool, bool] = (False, False)
    flat_sure: tuple[bool, bool] = (True, True)
    twa_error_deg: float = math.nan
    boat_speed_error_kn: float = math.nan
    vmg_error_kn: float = math.nan
    remark: str = ""
    reason: str = ""

    @property
    def half_degree_lost_kn(self) -> float:
        """VMG lost by half a degree off the best angle, on the side that costs more."""
        known = [self.lost_kn.get(way * HALF_DEGREE, math.nan) for way in (-1.0, 1.0)]
        known = [value for value in known if math.isfinite(value)]
        return max(known, default=math.nan)

    @property
    def flat_words(self) -> str:
        """The angles between which less than 0.5 % of VMG is lost, with the marks of both ends."""
        ends = [
            show_number(end, decimals=1) + MORE_MARK * more + UNSURE_MARK * (not sure)
            for end, more, sure in zip(self.flat_deg, self.flat_open, self.flat_sure, strict=True)
        ]
        return " to ".join(ends) if math.isfinite(self.vmg_kn) else "-"

    @property
    def flat_open_words(self) -> str:
        """Which of these angles are no more than the last ones known: `from`, `to`, both or none."""
        return _which(self.flat_open)

    @property
    def flat_unsure_words(self) -> str:
        """Likewise, at which of them what is lost is not known to half of it."""
        return _which(not sure for sure in self.flat_sure)

    @property
    def half_degree_words(self) -> str:
        """Seconds a mile that half a degree loses, with a mark where that is not sure."""
        sure = all(self.is_sure(way * HALF_DEGREE) for way in (-1.0, 1.0))
        seconds = self.seconds_per_nm(self.half_degree_lost_kn)
        return show_number(seconds, decimals=1) + ("" if sure else UNSURE_MARK)

    def is_sure(self, offset_deg: float) -> bool:
        """Whether what an angle off the best one loses is known to half of it, or to what matters at sea."""
        lost, error = (each.get(offset_deg, math.nan) for each in (self.lost_kn, self.lost_error_kn))
        return math.isnan(lost) or error <= max(0.5 * lost, _FINEST_KN)

    @property
    def half_knot_lost_kn(self) -> float:
        """VMG lost by half a knot of boat speed at the best angle."""
        return HALF_KNOT * abs(math.cos(self.twa_deg * DEGREE))

    def seconds_per_nm(self, lost_kn: float) -> float:
        """What VMG lost takes longer for a nautical mile made good [s]; NaN where nothing is left of it."""
        left = self.vmg_kn - lost_kn
        return 3600.0 / left - 3600.0 / self.vmg_kn if left > 0.0 else math.nan

    @property
    def is_extended(self) -> bool:
        """Whether it rests on hull resistance extended past its data."""
        return EXTENDED_REMARK in self.remark

    @property
    def mark(self) -> str:
        """What follows its printed numbers: the mark of extended hull resistance, or nothing."""
        return EXTENDED_MARK if self.is_extended else ""


@dataclass(frozen=True, kw_only=True)
class SpeedAt:
    """Boat speed of one option at a wind and an angle, or why there is none; `vmg_kn` is positive to windward
    and negative downwind. `error_kn` is that of interpolation alone, 0 at a solved point, NaN where the polar
    has too few points to tell.
    """

    option: str
    tws_kn: float
    twa_deg: float
    status: str
    boat_speed_kn: float = math.nan
    error_kn: float = math.nan
    branch: str = ""
    sail_set: str = ""
    remark: str = ""
    reason: str = ""

    @property
    def vmg_kn(self) -> float:
        """Speed made good to windward."""
        return self.boat_speed_kn * math.cos(self.twa_deg * DEGREE)


_Told = TypeVar("_Told", Target, SpeedAt)


@dataclass(frozen=True, kw_only=True)
class Targets:
    """The targets of every option of a polar; see `targets_from`.

    `frame` is the table of conditions. Points are joined only where the boat is carried in the same way under
    the same sails, and best VMGs only on the same hill of VMG; nothing is extrapolated. Where the best sail
    set or branch changes between two points, every one of them is read by itself from `each`, the same table
    for each of them one after the other, and the best is told, if those of both points are known there.
    """

    source: Source
    options: tuple[str, ...]
    frame: pd.DataFrame = field(repr=False)
    polar: PolarInterpolant = field(repr=False)
    each: pd.DataFrame = field(default_factory=pd.DataFrame, repr=False)

    @property
    def tws_kn(self) -> tuple[float, ...]:
        """The solved winds."""
        return tuple(float(wind) for wind in self.polar.tws_kn)

    @property
    def grid_twa_deg(self) -> tuple[float, ...]:
        """The angles that are solved in every wind."""
        rows = self.frame[(self.frame["aim"] == SPEED) & (self.frame["option"] == self.options[0])]
        winds = rows.groupby(rows["twa_deg"].round(6))["tws_kn"].nunique()
        return tuple(float(angle) for angle in winds.index[winds == len(self.tws_kn)])

    @property
    def flies(self) -> bool:
        """Whether the boats are carried in more ways than one."""
        return len(set(self.frame["branch"].dropna()) - {""}) > 1

    @property
    def has_sail_sets(self) -> bool:
        """Whether sail sets are chosen among."""
        return "sail_set" in self.frame and bool(set(self.frame["sail_set"].dropna()) - {""})

    @property
    def trims(self) -> tuple[str, ...]:
        """The columns of trims that any target has."""
        best = self.frame[self.frame["aim"] != SPEED]
        return tuple(name for name in CONTROL_COLUMNS if name in best and best[name].notna().any())

    def target(self, option: str = "base", *, aim: str, tws_kn: float) -> Target:
        """Best VMG `upwind` or `downwind` of an option in a wind. A wind in which there is none, or between
        solved ones of which one has none or another optimum, has the status `no_target` with the reason.

        Raises InterpolationError for a wind beyond the solved ones and KeyError for an option or an aim that
        is not there.
        """
        along = self._along[option, aim]
        self.polar.check_winds(tws_kn)
        on = np.flatnonzero(np.abs(self.polar.tws_kn - tws_kn) < _SAME_KN)
        if on.size:
            return along.solved(int(on[0]))
        found = along.between(float(tws_kn))
        if found.status == INTERPOLATED:
            return found
        after = int(np.searchsorted(self.polar.tws_kn, tws_kn))
        ends = {_word(along.rows[place], self._way) for place in (after - 1, after)}
        by_way = {
            name: way.target(option, aim=aim, tws_kn=tws_kn)
            for name, way in self._ways.items()
            if option in way.options
        }
        return _best_of(by_way, ends, key=lambda each: each.vmg_kn) or found

    def speed_at(self, option: str = "base", *, tws_kn: float, twa_deg: float) -> SpeedAt:
        """Boat speed at a wind and an angle from 0 to 180 deg, likewise."""
        if option not in self.options:
            raise KeyError(f"no option {option!r} in this polar; it holds {', '.join(self.options)}")
        speed, _, code = self.polar.look_up(option, tws_kn=tws_kn, twa_deg=twa_deg)
        nearest = self._around(option, tws_kn, twa_deg)
        told = SpeedAt(option=option, tws_kn=tws_kn, twa_deg=twa_deg, status=NO_TARGET)
        if int(code) != KNOWN:
            ends = self._ways_around(option, tws_kn, twa_deg)
            by_way = {
                name: way.speed_at(option, tws_kn=tws_kn, twa_deg=twa_deg)
                for name, way in self._ways.items()
                if option in way.options
            }
            best = _best_of(by_way, ends, key=lambda each: each.boat_speed_kn)
            return best or replace(told, reason=self._why(option, int(code), tws_kn, twa_deg))
        error = self.polar.error_kn(option, tws_kn=tws_kn, twa_deg=twa_deg)
        row = nearest.iloc[0]
        return replace(
            told,
            status=SOLVED if error == 0.0 else INTERPOLATED,
            boat_speed_kn=float(speed),
            error_kn=error,
            branch=_word(row, "branch"),
            sail_set=_word(row, "sail_set"),
            remark=_word(row, "remark"),
        )

    def boat_speed_kn(self, option: str = "base", *, tws_kn: float, twa_deg: float | str) -> float:
        """Boat speed at a wind and an angle, or at best VMG `upwind` or `downwind`. Raises InterpolationError
        with the reason where there is none.
        """
        found = (
            self.target(option, aim=twa_deg, tws_kn=tws_kn)
            if isinstance(twa_deg, str)
            else self.speed_at(option, tws_kn=tws_kn, twa_deg=twa_deg)
        )
        if found.status == NO_TARGET:
            raise InterpolationError(found.reason)
        return found.boat_speed_kn

    def all(self, option: str) -> tuple[Target, ...]:
        """The targets in all solved winds, wind by wind, upwind and downwind."""
        return tuple(self.target(option, aim=aim, tws_kn=wind) for wind in self.tws_kn for aim in BEST_VMG)

    def to_frame(self) -> pd.DataFrame:
        """One row for each option, solved wind and aim, those without a target too."""
        targets = [each for option in self.options for each in self.all(option)]
        return targets_frame(targets, self.trims)

    def modes_frame(self) -> pd.DataFrame:
        """One row for each target and angle off the best one: speed, VMG and what of it is lost. Empty where
        the polar does not hold that angle on the same branch.
        """
        rows = [
            _mode_row(each, offset)
            for option in self.options
            for each in self.all(option)
            for offset in MODES_DEG
        ]
        return pd.DataFrame(rows, columns=list(MODE_COLUMNS))

    def interpolation_frame(self) -> pd.DataFrame:
        """What interpolation at the middle of two neighbouring solved winds may be off by, one row for each
        option, aim and pair of winds.
        """
        rows = []
        for option in self.options:
            for aim in BEST_VMG:
                for low, high in zip(self.tws_kn[:-1], self.tws_kn[1:], strict=True):
                    found = self.target(option, aim=aim, tws_kn=0.5 * (low + high))
                    rows.append(
                        (
                            option, aim, low, high, found.twa_error_deg, found.boat_speed_error_kn,
                            found.vmg_error_kn, found.status, found.reason,
                        )
                    )  # fmt: skip
        return pd.DataFrame(rows, columns=list(INTERPOLATION_COLUMNS))

    def notes(self) -> tuple[str, ...]:
        """What the numbers rest on."""
        best = [each for option in self.options for each in self.all(option)]
        told = [
            "Angles are true wind angles; VMG is positive up and down. Between the angles of "
            f"{100.0 * SHARE:g} % no more than that part of VMG is lost. Half a degree is off the best "
            "angle, on the side that costs more; half a knot is less boat speed at it. "
            "s/nm: seconds lost a mile made good.",
            f"{MORE_MARK} goes on: the solved angles or the way of sailing end before as much is lost.",
            f"{UNSURE_MARK} what is lost may be off by more than half of it, because the solved angles stand "
            "too far apart there: solve with --twa-grid in smaller steps.",
            "- no number: there is no result, the angle is outside of those solved, or the way of sailing "
            "changes before it.",
        ]
        if extended := sum(each.is_extended for each in best):
            told.append(f"{EXTENDED_MARK} {EXTENDED_REMARK} the data: {extended} of {len(best)} targets.")
        return tuple(told)

    @cached_property
    def _along(self) -> dict[tuple[str, str], _Along]:
        return {
            (option, aim): _Along.of(self.frame, self.polar, option, aim)
            for option in self.options
            for aim in BEST_VMG
        }

    @property
    def _way(self) -> str:
        """The column that tells the ways in `each` apart."""
        return "sail_set" if self.has_sail_sets else "branch"

    @cached_property
    def _ways(self) -> dict[str, Targets]:
        """Every sail set or branch as if there were no other; those without any result are left out."""
        found = {}
        for name, rows in [] if self.each.empty else self.each.groupby(self._way, sort=False):
            try:
                found[str(name)] = targets_from(rows, source=self.source)
            except InterpolationError:
                continue
        return found

    def _ways_around(self, option: str, tws_kn: float, twa_deg: float) -> set[str]:
        """The ways that are best at the solved points around a wind and an angle."""
        winds = self.polar.tws_kn
        after = int(np.searchsorted(winds, tws_kn - _SAME_KN))
        on = abs(float(winds[after]) - tws_kn) < _SAME_KN
        ways = set()
        for wind in winds[after : after + 1] if on else winds[after - 1 : after + 1]:
            here = (self.frame["option"] == option) & ((self.frame["tws_kn"] - wind).abs() < _SAME_KN)
            rows = self.frame[here & self.frame["twa_deg"].notna()]
            for side in (rows[rows["twa_deg"] <= twa_deg], rows[rows["twa_deg"] >= twa_deg]):
                if not side.empty:
                    nearest = side.loc[(side["twa_deg"] - twa_deg).abs().idxmin()]
                    ways.add(_word(nearest, self._way))
        return ways

    def _around(self, option: str, tws_kn: float, twa_deg: float) -> pd.DataFrame:
        """Conditions of an option with a result, the nearest to a wind and an angle first."""
        rows = self.frame[(self.frame["option"] == option) & (self.frame["status"] == _CONVERGED)]
        far = np.abs(rows["tws_kn"] - tws_kn) * 1e3 + np.abs(rows["twa_deg"] - twa_deg)
        return rows.iloc[np.argsort(far.to_numpy(), kind="stable")]

    def _why(self, option: str, code: int, tws_kn: float, twa_deg: float) -> str:
        """Why there is no speed at an angle, and what to do."""
        if code == BEYOND:
            rows = self._around(option, tws_kn, twa_deg)
            wind = rows["tws_kn"].iloc[0]
            angles = rows["twa_deg"][np.abs(rows["tws_kn"] - wind) < _SAME_KN]
            return (
                f"the polar has angles from {angles.min():.4g} to {angles.max():.4g} deg at {wind:.4g} kn: "
                "nothing is extrapolated; solve it at this angle"
            )
        if code == CHANGES_WITH_ANGLE:
            return f"between the solved angles around it {self._what()}: solve the polar at this angle"
        if code == CHANGES_WITH_WIND:
            return f"between the solved winds around it {self._what()}: solve the polar in this wind"
        return "a solved point next to it has no result; see the reason in the table of conditions"

    def _what(self) -> str:
        ways = ["the way of being carried"] * self.flies + ["the best sail set"] * self.has_sail_sets
        return f"{' or '.join(ways) or 'the branch'} changes"


def targets_from(
    frame: pd.DataFrame,
    *,
    source: Source,
    options: Sequence[str] = (),
    each: pd.DataFrame | None = None,
) -> Targets:
    """Targets of the options of a polar, all or those named, from its table of conditions (`Polar.to_frame`,
    or a `polar.csv`); with `each`, the table of every sail set or branch (`each_way`, or a `sail_sets.csv` or
    `branches.csv`), between those too.

    Raises InterpolationError where the table has no result, or lacks an option.
    """
    # files of what every sail set does lack what only the best is asked for
    frame, each = (
        pd.DataFrame() if rows is None else rows.assign(**{name: "" for name in _WORDS if name not in rows})
        for rows in (frame, each)
    )
    polar = PolarInterpolant.from_frame(frame, parted_by=_PARTED_BY, tops=True)
    names = tuple(dict.fromkeys(options)) or polar.options
    if lacking := [name for name in names if name not in polar.options]:
        told = [
            f"option = {name!r}: not in the polar, which has {', '.join(polar.options)}" for name in lacking
        ]
        raise InterpolationError("\n".join(told))
    return Targets(source=source, options=names, frame=frame, polar=polar, each=each)


def each_way(solved: Solved) -> pd.DataFrame:
    """The table of conditions of every sail set, or of every branch where there are no sets, one after the
    other; empty where there is one way only.
    """
    ways = [*(solved.sail_sets or solved.branches).values()]
    return pd.concat([to_frame(found) for found in ways], ignore_index=True) if ways else pd.DataFrame()


def _best_of(by_way: Mapping[str, _Told], ends: set[str], *, key: Callable[[_Told], float]) -> _Told | None:
    """The best of the ways that are known, if those at the ends are among them."""
    known = {name: told for name, told in by_way.items() if told.status != NO_TARGET}
    return max(known.values(), key=key) if ends and ends <= known.keys() else None


# --- along the winds ----------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class _Along:
    """Best VMGs of one option along the solved winds (n,)."""

    option: str
    aim: str
    tws_kn: Floats
    twa_deg: Floats
    vmg_kn: Floats
    joined: Any
    rows: tuple[Mapping[str, Any], ...]
    state: Mapping[str, Floats]
    lost_kn: Mapping[float, Floats]
    lost_error_kn: Mapping[float, Floats]
    flat: FlatTops
    polar: PolarInterpolant

    @classmethod
    def of(cls, frame: pd.DataFrame, polar: PolarInterpolant, option: str, aim: str) -> _Along:
        twa_deg, vmg_kn, joined = polar.best_knots(option, aim)
        here = frame[(frame["option"].astype(str) == option) & (frame["aim"] == aim)]
        rows = tuple(_row_in(here, wind) for wind in polar.tws_kn)
        columns = [name for name in (*STATE_COLUMNS, *CONTROL_COLUMNS) if name in frame.columns]
        state = {name: np.array([_number(row.get(name)) for row in rows]) + 0.0 * twa_deg for name in columns}
        lost = {offset: _lost_kn(polar, option, twa_deg, vmg_kn, offset) for offset in OFFSETS_DEG}
        return cls(
            option=option,
            aim=aim,
            tws_kn=polar.tws_kn,
            twa_deg=twa_deg,
            vmg_kn=vmg_kn,
            joined=joined,
            rows=rows,
            state=state,
            lost_kn={offset: both[0] for offset, both in lost.items()},
            lost_error_kn={offset: both[1] for offset, both in lost.items()},
            flat=flat_tops(polar, option, twa_deg, vmg_kn),
            polar=polar,
        )

    def solved(self, place: int) -> Target:
        """The target in a solved wind."""
        row, wind = self.rows[place], float(self.tws_kn[place])
        if not math.isfinite(self.vmg_kn[place]):
            reason = self.polar.why_no_best(self.option, self.aim, tws_kn=wind)
            return self._none(wind, reason)
        return self._target(
            wind,
            SOLVED,
            twa_deg=float(self.twa_deg[place]),
            vmg_kn=float(self.vmg_kn[place]),
            state={name: float(values[place]) for name, values in self.state.items()},
            state_error=dict.fromkeys(self.state, 0.0),
            lost_kn={offset: float(lost[place]) for offset, lost in self.lost_kn.items()},
            lost_error_kn={offset: float(error[place]) for offset, error in self.lost_error_kn.items()},
            flat_deg=_both(self.flat.end_deg[:, place]),
            flat_open=_both(self.flat.is_open[:, place]),
            flat_sure=_both(self.flat.is_sure[:, place]),
            errors=(0.0, 0.0, 0.0),
            row=row,
        )

    def between(self, tws_kn: float) -> Target:
        """The target between two solved winds."""
        after = int(np.searchsorted(self.tws_kn, tws_kn))
        low, high = after - 1, after
        if not self.joined[low]:
            return self._none(tws_kn, self._why_not(low, high))
        part = same_part(self.joined, after)
        (twa_deg, twa_error), (vmg_kn, vmg_error) = (
            self._read(values, tws_kn, part) for values in (self.twa_deg, self.vmg_kn)
        )
        cosine = abs(math.cos(twa_deg * DEGREE))
        speeds = self.vmg_kn / np.abs(np.cos(self.twa_deg * DEGREE))
        _, speed_error = self._read(speeds, tws_kn, part)
        state, state_error = {}, {}
        for name, values in self.state.items():
            value, error = self._read(values, tws_kn, part)
            # where too few winds tell the error of a trim, the span of both sides is all that is known
            span = abs(float(values[high] - values[low]))
            error = span if math.isnan(error) else error
            wanders = not error <= _STATE_LIMIT[_UNIT[name]]
            state[name], state_error[name] = (math.nan, math.nan) if wanders else (value, error)
        first, second = self.rows[low], self.rows[high]
        remarks = [_word(row, "remark") for row in (first, second)]
        extended = next((remark for remark in remarks if EXTENDED_REMARK in remark), "")
        return self._target(
            tws_kn,
            INTERPOLATED,
            twa_deg=twa_deg,
            vmg_kn=vmg_kn,
            state=state,
            state_error=state_error,
            lost_kn={offset: self._read(lost, tws_kn, part)[0] for offset, lost in self.lost_kn.items()},
            lost_error_kn={
                offset: float(np.max(error[low : high + 1])) for offset, error in self.lost_error_kn.items()
            },
            flat_deg=_both(self._read(ends, tws_kn, part)[0] for ends in self.flat.end_deg),
            flat_open=_both(ends[low : high + 1].any() for ends in self.flat.is_open),
            flat_sure=_both(ends[low : high + 1].all() for ends in self.flat.is_sure),
            errors=(twa_error, max(speed_error, vmg_error / cosine), vmg_error),
            row={**first, "remark": remarks[0] if remarks[0] == remarks[1] else extended},
        )

    def _read(self, values: Floats, tws_kn: float, part: slice) -> tuple[float, float]:
        """A value between solved winds, and what it may be off by."""
        known = np.isfinite(values)
        joined = self.joined & known[:-1] & known[1:]
        slope = monotone_slopes(self.tws_kn, values, joined)
        value = float(evaluate(self.tws_kn, values, slope, joined, np.array([tws_kn]))[0])
        errors = left_out_errors(self.tws_kn, values, joined)
        return value, error_near(self.tws_kn, errors, tws_kn, part=part)

    def _target(
        self, tws_kn: float, status: str, *, errors: tuple[float, float, float], row: Any, **values: Any
    ) -> Target:
        twa_error, speed_error, vmg_error = errors
        speed = values["vmg_kn"] / abs(math.cos(values["twa_deg"] * DEGREE))
        return Target(
            option=self.option,
            aim=self.aim,
            tws_kn=tws_kn,
            status=status,
            boat_speed_kn=speed,
            branch=_word(row, "branch"),
            sail_set=_word(row, "sail_set"),
            remark=_word(row, "remark"),
            twa_error_deg=twa_error,
            boat_speed_error_kn=speed_error,
            vmg_error_kn=vmg_error,
            **values,
        )

    def _none(self, tws_kn: float, reason: str) -> Target:
        return Target(option=self.option, aim=self.aim, tws_kn=tws_kn, status=NO_TARGET, reason=reason)

    def _why_not(self, low: int, high: int) -> str:
        """Why nothing is interpolated between two winds, what both have, and what to do."""
        lacking = [place for place in (low, high) if not math.isfinite(self.vmg_kn[place])]
        if lacking:
            wind = float(self.tws_kn[lacking[0]])
            return self.polar.why_no_best(self.option, self.aim, tws_kn=wind)
        ways = [[_word(self.rows[place], name) for name in _PARTED_BY] for place in (low, high)]
        changes = [f"{first} to {second}" for first, second in zip(*ways, strict=True) if first != second]
        what = ", ".join(changes) or "the best angle jumps from one hill of VMG to another"
        both = "; ".join(
            f"at {self.tws_kn[place]:.4g} kn {show_number(self.twa_deg[place], decimals=1)} deg and "
            f"{show_number(self._speed(place), decimals=2)} kn"
            for place in (low, high)
        )
        return (
            f"between {self.tws_kn[low]:.4g} and {self.tws_kn[high]:.4g} kn the optimum changes ({what}), "
            f"and nothing is interpolated: {both}"
        )

    def _speed(self, place: int) -> float:
        return float(self.vmg_kn[place] / abs(math.cos(self.twa_deg[place] * DEGREE)))


def _lost_kn(
    polar: PolarInterpolant, option: str, twa_deg: Floats, vmg_kn: Floats, offset_deg: float
) -> tuple[Floats, Floats]:
    """VMG lost in every solved wind by an angle off the best one, and its error; NaN where the polar does not
    hold it on the same branch.
    """
    lost, error = np.full((2, len(twa_deg)), np.nan)
    for place, (wind, best, made) in enumerate(zip(polar.tws_kn, twa_deg, vmg_kn, strict=True)):
        angle = best + offset_deg
        if not (math.isfinite(best) and 0.0 <= angle <= 180.0):
            continue
        # all the way from the best angle: the same way of being carried beyond a gap is another hill
        angles = np.linspace(best, angle, 2 + int(abs(offset_deg)))
        speeds, branch, _ = polar.in_solved_wind(option, place, angles)
        if np.all(branch == branch[0]) and branch[0] >= 0:
            cosine = abs(math.cos(angle * DEGREE))
            lost[place] = max(made - float(speeds[-1]) * cosine, 0.0)
            error[place] = cosine * polar.error_kn(option, tws_kn=float(wind), twa_deg=float(angle))
    return lost, error


# --- tables -------------------------------------------------------------------------------------------------

TARGET_COLUMNS = (
    "option", "tws_kn", "aim", "twa_deg", "boat_speed_kn", "vmg_kn", "branch", "sail_set", *STATE_COLUMNS,
)  # fmt: skip
COST_COLUMNS = (
    "half_degree_lost_kn", "half_degree_lost_s_per_nm", "half_knot_lost_kn", "half_knot_lost_s_per_nm",
    "flat_from_deg", "flat_to_deg", "flat_open", "flat_unsure",
    "twa_error_deg", "boat_speed_error_kn", "vmg_error_kn", "status", "remark", "reason",
)  # fmt: skip
MODE_COLUMNS = (
    "option", "tws_kn", "aim", "off_best_deg", "twa_deg", "boat_speed_kn", "boat_speed_gain_kn", "vmg_kn",
    "vmg_lost_kn", "vmg_lost_percent", "vmg_lost_error_kn",
)  # fmt: skip
INTERPOLATION_COLUMNS = (
    "option", "aim", "from_tws_kn", "to_tws_kn", "twa_error_deg", "boat_speed_error_kn", "vmg_error_kn",
    "status", "reason",
)  # fmt: skip
SPEED_COLUMNS = (
    "option", "tws_kn", "twa_deg", "boat_speed_kn", "vmg_kn", "boat_speed_error_kn", "branch", "sail_set",
    "status", "remark", "reason",
)  # fmt: skip


def targets_frame(targets: Sequence[Target], trims: Sequence[str]) -> pd.DataFrame:
    """Targets as a table, one row each, the trims named among the columns."""
    rows = []
    for each in targets:
        half_degree, half_knot = each.half_degree_lost_kn, each.half_knot_lost_kn
        rows.append(
            (
                each.option, each.tws_kn, each.aim, each.twa_deg, each.boat_speed_kn, each.vmg_kn,
                each.branch, each.sail_set,
                *(each.state.get(name, math.nan) for name in (*STATE_COLUMNS, *trims)),
                half_degree, each.seconds_per_nm(half_degree), half_knot, each.seconds_per_nm(half_knot),
                *each.flat_deg, each.flat_open_words, each.flat_unsure_words,
                each.twa_error_deg, each.boat_speed_error_kn, each.vmg_error_kn, each.status, each.remark,
                each.reason,
            )
        )  # fmt: skip
    return pd.DataFrame(rows, columns=[*TARGET_COLUMNS, *trims, *COST_COLUMNS])


def speeds_frame(speeds: Sequence[SpeedAt]) -> pd.DataFrame:
    """Speeds at chosen winds and angles as a table, one row each."""
    rows = [
        (
            each.option, each.tws_kn, each.twa_deg, each.boat_speed_kn, each.vmg_kn, each.error_kn,
            each.branch, each.sail_set, each.status, each.remark, each.reason,
        )
        for each in speeds
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(SPEED_COLUMNS))


def _mode_row(target: Target, offset_deg: float) -> tuple[Any, ...]:
    lost = target.lost_kn.get(offset_deg, math.nan)
    angle, vmg = target.twa_deg + offset_deg, target.vmg_kn - lost
    speed = vmg / abs(math.cos(angle * DEGREE))
    return (
        target.option, target.tws_kn, target.aim, offset_deg, angle if math.isfinite(lost) else math.nan,
        speed, speed - target.boat_speed_kn, vmg, lost, 100.0 * lost / target.vmg_kn,
        target.lost_error_kn.get(offset_deg, math.nan),
    )  # fmt: skip


def say_mode(offset_deg: float) -> str:
    """An angle off the best one in words: higher is closer to the wind, upwind and downwind."""
    return f"{abs(offset_deg):g} deg {'higher' if offset_deg < 0.0 else 'lower'}"


def _row_in(rows: pd.DataFrame, tws_kn: float) -> Mapping[str, Any]:
    found = rows[np.isclose(rows["tws_kn"], tws_kn, atol=_SAME_KN)]
    return {} if found.empty else {str(name): value for name, value in found.iloc[0].items()}


def _which(flags: Iterable[bool]) -> str:
    """The names of the ends that are flagged."""
    return " ".join(name for name, flag in zip(("from", "to"), flags, strict=True) if flag)


def _both(values: Iterable[Any]) -> Any:
    """What there is on the side of the wind and on the other, as plain values."""
    first, second = (np.asarray(value).item() for value in values)
    return first, second


def _number(value: Any) -> float:
    return math.nan if value is None else float(value)


def _word(row: Any, name: str) -> str:
    value = row.get(name, "")
    return "" if pd.isna(value) else str(value)
