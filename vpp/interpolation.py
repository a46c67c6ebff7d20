"""Boat speed between the solved points of a polar, within one way of being carried, and never beyond them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from vpp.results.frames import Floats
from vpp.results.variables import DEGREE
from vpp.solved import DOWNWIND, SPEED, UPWIND
from vpp.solver.status import Status

KNOWN, CHANGES_WITH_ANGLE, CHANGES_WITH_WIND, MISSING, BEYOND = range(5)
"""What there is at a wind and an angle: a speed; or none because the way of being carried changes between
the solved angles or winds around it, because one of those has no result, or because it lies beyond them.
"""

BEST_VMG = (UPWIND, DOWNWIND)

_CONVERGED = Status.CONVERGED.name.lower()
# A solved wind is met to the rounding of what files carry, an angle to that of degrees in radians.
_SAME_KN = 1e-4
_SAME_DEG = 1e-6
# A valley of VMG this deep, as a part of it, is one; files carry a tenth of that.
_VALLEY, _VALLEY_STEP_DEG = 2e-4, 0.25
# A best VMG beside a grid angle stands for it: one of the two left out is found again by the other.
_CLOSE_PART = 0.3
# One knot may be found again by luck.
_KNOTS_NEAR = 2
# Two solved angles this close say the same, and their difference is the solver's tolerance.
_CLOSE_DEG = 0.02


class InterpolationError(ValueError):
    """A wind or an option that a polar does not reach; the message says what to do."""


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """How well speeds are found again that are left out, one row each: at `tws_kn` and `twa_deg`, from the
    solved points on either side in `along` (`angle` or `wind`), with the error as a part of the speed.
    """

    option: str
    along: str
    tws_kn: Floats
    twa_deg: Floats
    error: Floats


@dataclass(frozen=True, kw_only=True)
class _Curve:
    """The solved angles of one option in one wind, rising, with speed [kn] (NaN without a result), the branch
    (a number, -1 without a result), which are best VMGs whose slope is taken as known, and which neighbours
    may be joined.
    """

    twa_deg: Floats
    speed_kn: Floats
    branch: NDArray[np.int_]
    is_best: NDArray[np.bool_]
    joined: NDArray[np.bool_]
    slope: Floats

    @cached_property
    def left_out_kn(self) -> Floats:
        """How far every solved angle is missed when it, and what stands close to it, is left out and found
        again from the rest [kn]; NaN at the ends of a part.
        """
        errors = np.full(len(self.twa_deg), np.nan)
        for place in range(1, len(errors) - 1):
            if self.joined[place - 1] and self.joined[place]:
                widest = float(np.max(np.diff(self.twa_deg)[place - 1 : place + 1]))
                rest = _leave(self, place, apart_deg=_CLOSE_PART * widest)
                again = rest.at(self.twa_deg[place : place + 1])[0][0]
                errors[place] = again - self.speed_kn[place]
        return errors

    def at(self, twa_deg: Floats) -> tuple[Floats, NDArray[np.int_], NDArray[np.int_]]:
        """Speed [kn], branch and what there is at angles (m,)."""
        found = evaluate(self.twa_deg, self.speed_kn, self.slope, self.joined, twa_deg)
        place = np.clip(np.searchsorted(self.twa_deg, twa_deg, side="right") - 1, 0, len(self.twa_deg) - 1)
        after = np.minimum(place + 1, len(self.twa_deg) - 1)
        near = np.where(np.abs(self.twa_deg[after] - twa_deg) < _SAME_DEG, after, place)
        on_node = (np.abs(self.twa_deg[near] - twa_deg) < _SAME_DEG) & (self.branch[near] >= 0)
        speed = np.where(on_node, self.speed_kn[near], found)
        missing = (self.branch[place] < 0) | (self.branch[after] < 0)
        code = np.where(missing, MISSING, CHANGES_WITH_ANGLE)
        code = np.where(np.isfinite(speed), KNOWN, code)
        beyond = (twa_deg < self.twa_deg[0] - _SAME_DEG) | (twa_deg > self.twa_deg[-1] + _SAME_DEG)
        code = np.where(beyond, BEYOND, code)
        branch = np.where(code == KNOWN, self.branch[near], -1)
        return np.where(code == KNOWN, speed, np.nan), branch, code


@dataclass(frozen=True, kw_only=True)
class _Best:
    """Best VMG of one option along the solved winds (n,): angle [deg] and VMG [kn, positive either way], NaN
    without a result, the branch, and which neighbours may be joined (n - 1,).
    """

    twa_deg: Floats
    vmg_kn: Floats
    branch: NDArray[np.int_]
    joined: NDArray[np.bool_]
    reason: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class PolarInterpolant:
    """Boat speed of every option of a polar at any wind and angle between its solved points.

    Piecewise cubics that keep every rise and fall (monotone, slopes after Fritsch and Butland): along the
    angle through the grid's angles and both best VMGs, then along the wind. Points are joined only where both
    have a result on the same branch. Winds are those over the water, in kn; angles in deg from 0 to 180.
    `tws_kn` and `twa_deg` are the winds and angles solved.
    """

    options: tuple[str, ...]
    tws_kn: Floats
    twa_deg: Floats
    branches: tuple[str, ...]
    _curves: Mapping[str, tuple[_Curve, ...]] = field(repr=False)
    _best: Mapping[tuple[str, str], _Best] = field(repr=False)

    @classmethod
    def from_frame(
        cls, frame: pd.DataFrame, *, parted_by: Sequence[str] = ("branch",), tops: bool = False
    ) -> PolarInterpolant:
        """From the table of conditions of a polar (`Polar.to_frame`, or its `polar.csv`).

        A change in any text column of `parted_by` that the table has counts as a change of branch. With
        `tops`, best VMGs count as the tops of hills that they are: there the curve along the angle has the
        slope V tan(TWA) that VMG is stationary with, and best VMGs of neighbouring winds are joined only
        where no valley of VMG lies between their angles. Raises InterpolationError where no condition of the
        table has a result.
        """
        frame = frame.assign(branch=_parts(frame, parted_by))
        known = frame[frame["status"] == _CONVERGED]
        if known.empty:
            raise InterpolationError("The polar has no result to interpolate; see the reasons in its table.")
        options = tuple(dict.fromkeys(frame["option"].astype(str)))
        winds = np.unique(frame["tws_kn"].to_numpy(dtype=float))
        branches = tuple(dict.fromkeys(_words(known["branch"])))
        curves: dict[str, tuple[_Curve, ...]] = {}
        best: dict[tuple[str, str], _Best] = {}
        for option in options:
            of_option = frame[frame["option"].astype(str) == option]
            by_wind = [of_option[np.isclose(of_option["tws_kn"], wind, atol=_SAME_KN)] for wind in winds]
            curves[option] = tuple(_curve(rows, branches, tops=tops) for rows in by_wind)
            for aim in BEST_VMG:
                found = _best(by_wind, aim, branches)
                best[option, aim] = _parted_by_valleys(found, curves[option]) if tops else found
        angles = np.unique(frame["twa_deg"][frame["aim"] == SPEED].to_numpy(dtype=float))
        return cls(
            options=options, tws_kn=winds, twa_deg=angles, branches=branches, _curves=curves, _best=best
        )

    def has_winds(self, tws_kn: ArrayLike) -> bool:
        """Whether all winds are solved ones, so that none is interpolated."""
        winds = np.atleast_1d(np.asarray(tws_kn, dtype=float))
        return bool((np.abs(winds[:, np.newaxis] - self.tws_kn).min(axis=1) < _SAME_KN).all())

    def check_winds(self, tws_kn: ArrayLike) -> None:
        """Raises InterpolationError with the range of the polar where a wind lies outside it."""
        winds = np.atleast_1d(np.asarray(tws_kn, dtype=float))
        lowest, highest = float(self.tws_kn[0]), float(self.tws_kn[-1])
        if np.all((winds >= lowest - _SAME_KN) & (winds <= highest + _SAME_KN)):
            return
        has = f"only {lowest:g} kn" if lowest == highest else f"{lowest:g} to {highest:g} kn"
        asked = sorted({float(f"{winds.min():.4g}"), float(f"{winds.max():.4g}")})
        raise InterpolationError(
            f"the wind over the water is {' to '.join(f'{wind:g}' for wind in asked)} kn and the polar has "
            f"{has}: nothing is extrapolated; solve the polar in winds from {min(asked[0], lowest):g} to "
            f"{max(asked[-1], highest):g} kn"
        )

    def speed_kn(self, option: str, *, tws_kn: ArrayLike, twa_deg: ArrayLike) -> Floats:
        """Boat speed in kn in the shape that wind and angle broadcast to; NaN where `known` says why.

        Raises InterpolationError for a wind beyond the solved ones and KeyError for an option that is not
        there.
        """
        return self.look_up(option, tws_kn=tws_kn, twa_deg=twa_deg)[0]

    def known(self, option: str, *, tws_kn: ArrayLike, twa_deg: ArrayLike) -> NDArray[np.int_]:
        """What there is at each wind and angle: `KNOWN`, or why there is no speed."""
        return self.look_up(option, tws_kn=tws_kn, twa_deg=twa_deg)[2]

    def look_up(
        self, option: str, *, tws_kn: ArrayLike, twa_deg: ArrayLike
    ) -> tuple[Floats, NDArray[np.int_], NDArray[np.int_]]:
        """Speed [kn], branch (a place in `branches`, -1 without a speed) and what there is, as `speed_kn`."""
        self.check_winds(tws_kn)
        wind, angle = np.broadcast_arrays(np.asarray(tws_kn, dtype=float), np.asarray(twa_deg, dtype=float))
        angles, place = np.unique(angle.ravel(), return_inverse=True)
        speed, branch, code = self.sampled(option, angles).at(wind.ravel(), place)
        return speed.reshape(wind.shape), branch.reshape(wind.shape), code.reshape(wind.shape)

    def in_solved_wind(
        self, option: str, place: int, twa_deg: Floats
    ) -> tuple[Floats, NDArray[np.int_], NDArray[np.int_]]:
        """Speed [kn], branch and what there is at angles (m,) in a solved wind, by its place."""
        return self._curves[option][place].at(twa_deg)

    def sampled(self, option: str, twa_deg: Floats) -> Sampled:
        """The option at chosen angles (m,), to be asked for many winds."""
        at = [curve.at(twa_deg) for curve in self._curves[option]]
        speed, branch, code = (np.array(parts) for parts in zip(*at, strict=True))
        joined = _joined(branch)
        return Sampled(
            tws_kn=self.tws_kn,
            twa_deg=twa_deg,
            speed_kn=speed,
            branch=branch,
            code=code,
            slope=monotone_slopes(self.tws_kn, speed, joined),
            joined=joined,
        )

    def best_vmg(self, option: str, aim: str, *, tws_kn: float) -> tuple[float, float, int]:
        """Angle [deg], VMG [kn, positive up and down] and branch of best VMG in one wind; NaN and -1 where a
        solved wind next to it has no result or another branch. VMG and angle are interpolated, because speed
        and angle between two courses of best VMG far apart would make good too much.
        """
        best = self._best[option, aim]
        self.check_winds(tws_kn)
        joined = best.joined
        on = np.flatnonzero(np.abs(self.tws_kn - tws_kn) < _SAME_KN)
        if on.size:
            return float(best.twa_deg[on[0]]), float(best.vmg_kn[on[0]]), int(best.branch[on[0]])
        wind = np.array([tws_kn])
        twa_deg, vmg_kn = (
            float(evaluate(self.tws_kn, y, monotone_slopes(self.tws_kn, y, joined), joined, wind)[0])
            for y in (best.twa_deg, best.vmg_kn)
        )
        place = int(np.searchsorted(self.tws_kn, tws_kn)) - 1
        return twa_deg, vmg_kn, int(best.branch[place]) if np.isfinite(vmg_kn) else -1

    def why_no_best(self, option: str, aim: str, *, tws_kn: float) -> str:
        """Why there is no best VMG in a wind, as a clause."""
        best = self._best[option, aim]
        around = np.flatnonzero(np.abs(self.tws_kn - tws_kn) < _SAME_KN)
        if not around.size:
            place = int(np.searchsorted(self.tws_kn, tws_kn))
            around = np.array([place - 1, place])
        lacking = [index for index in around if best.branch[index] < 0]
        if lacking:
            wind, reason = self.tws_kn[lacking[0]], best.reason[lacking[0]]
            return f"no best VMG {aim} at {wind:g} kn" + (f": {reason}" if reason else "")
        lower, upper = self.tws_kn[around]
        changes = (
            "way of being carried" if best.branch[around[0]] != best.branch[around[1]] else "best course"
        )
        return (
            f"between {lower:g} and {upper:g} kn the {changes} changes for best VMG {aim}: "
            "solve the polar in the winds of the course"
        )

    def best_knots(self, option: str, aim: str) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """Angle [deg] and VMG [kn, positive up and down] of best VMG in the solved winds (n,), NaN without a
        result, and which neighbours are joined (n - 1,).
        """
        best = self._best[option, aim]
        return best.twa_deg, best.vmg_kn, best.joined

    def error_kn(self, option: str, *, tws_kn: float, twa_deg: float) -> float:
        """How far the speed at one wind and angle may be off [kn]: the error with which the solved points
        around it are found again when left out, along the angle and along the wind added up. 0 at a solved
        point, NaN where there is no speed or too few points to tell. As steps are twice as wide where points
        are left out, the speed is better than this where the polar is smooth.
        """
        curves = self._curves[option]
        on = np.flatnonzero(np.abs(self.tws_kn - tws_kn) < _SAME_KN)
        if on.size:
            return _angle_error_kn(curves[on[0]], twa_deg)
        if self.known(option, tws_kn=tws_kn, twa_deg=twa_deg) != KNOWN:
            return np.nan
        after = int(np.searchsorted(self.tws_kn, tws_kn))
        error = float(np.max([_angle_error_kn(curves[wind], twa_deg) for wind in (after - 1, after)]))
        speeds = self.sampled(option, np.array([twa_deg]))
        left_out = left_out_errors(self.tws_kn, speeds.speed_kn[:, 0], speeds.joined[:, 0])
        return error + error_near(self.tws_kn, left_out, tws_kn, part=same_part(speeds.joined[:, 0], after))

    def left_out(self, option: str) -> tuple[LeftOut, ...]:
        """Every inner grid point that its neighbours can stand in for, left out in turn and found again from
        the rest along the angle, and along the wind. As steps are twice as wide there, the error of the whole
        polar is smaller.
        """
        return self._left_out_angles(option), self._left_out_winds(option)

    def _left_out_angles(self, option: str) -> LeftOut:
        rows = []
        for wind, curve in zip(self.tws_kn, self._curves[option], strict=True):
            for place in range(1, len(curve.twa_deg) - 1):
                if curve.joined[place - 1] and curve.joined[place]:
                    rest = _leave(curve, place)
                    again = float(rest.at(curve.twa_deg[place : place + 1])[0][0])
                    rows.append((wind, curve.twa_deg[place], again / curve.speed_kn[place] - 1.0))
        return _left_out(option, "angle", rows)

    def _left_out_winds(self, option: str) -> LeftOut:
        angles = np.unique(np.concatenate([curve.twa_deg for curve in self._curves[option]]))
        at = [curve.at(angles) for curve in self._curves[option]]
        speed, branch = np.array([found[0] for found in at]), np.array([found[1] for found in at])
        rows = []
        for place in range(1, len(self.tws_kn) - 1):
            rest = np.arange(len(self.tws_kn)) != place
            joined = _joined(branch[rest])
            slopes = monotone_slopes(self.tws_kn[rest], speed[rest], joined)
            wind = np.full(len(angles), self.tws_kn[place])
            again = evaluate(self.tws_kn[rest], speed[rest], slopes, joined, wind)
            same = branch[place] == branch[place - 1]
            error = np.where(same, again / speed[place] - 1.0, np.nan)
            rows += [(wind[0], angles[i], error[i]) for i in np.flatnonzero(np.isfinite(error))]
        return _left_out(option, "wind", rows)


def _left_out(option: str, along: str, rows: Sequence[tuple[float, float, float]]) -> LeftOut:
    tws_kn, twa_deg, error = np.array(rows, dtype=float).reshape(-1, 3).T
    return LeftOut(option=option, along=along, tws_kn=tws_kn, twa_deg=twa_deg, error=error)


# --- curves from a table ------------------------------------------------------------------------------------


def _parts(frame: pd.DataFrame, columns: Sequence[str]) -> list[str]:
    """What tells the parts of a table in which points may be joined, one text a row."""
    words = [_words(frame[name]) for name in columns if name in frame.columns]
    return [", ".join(filter(None, row)) for row in zip(*words, strict=True)]


def _curve(rows: pd.DataFrame, branches: Sequence[str], *, tops: bool) -> _Curve:
    """The curve of one option in one wind: the grid's angles, and both best VMGs where they have a result."""
    good = (rows["status"] == _CONVERGED).to_numpy()
    at_angle = (rows["aim"] == SPEED).to_numpy()
    twa, speed = (rows[name].to_numpy(dtype=float) for name in ("twa_deg", "boat_speed_kn"))
    branch = _branch_numbers(rows, good, branches)
    best = good & ~at_angle
    # a best VMG stands for a grid angle next to it, or for the other best VMG where both are one
    near = np.array([np.any(best & (np.abs(twa - angle) < _CLOSE_DEG)) for angle in twa]) & ~best
    kept = np.flatnonzero(np.where(at_angle, ~near, best))
    order = kept[np.argsort(twa[kept], kind="stable")]
    _, first = np.unique(twa[order], return_index=True)
    order = order[first]
    speed_kn = np.where(branch[order] >= 0, speed[order], np.nan)
    return _made(twa[order], speed_kn, branch[order], best[order] & tops)


def _made(twa_deg: Floats, speed_kn: Floats, branch: NDArray[np.int_], is_best: NDArray[np.bool_]) -> _Curve:
    joined = _joined(branch[:, np.newaxis])[:, 0]
    slope = monotone_slopes(twa_deg, speed_kn, joined)
    if is_best.any():
        slope = np.where(is_best, _top_slopes(twa_deg, speed_kn, joined, slope), slope)
    return _Curve(
        twa_deg=twa_deg, speed_kn=speed_kn, branch=branch, is_best=is_best, joined=joined, slope=slope
    )


def _top_slopes(twa_deg: Floats, speed_kn: Floats, joined: NDArray[np.bool_], slope: Floats) -> Floats:
    """Slopes with which VMG is stationary, or the given ones where the cubic would overshoot with those."""
    wanted = speed_kn * np.tan(twa_deg * DEGREE) * DEGREE
    rise = np.where(joined, np.diff(speed_kn) / np.diff(twa_deg), np.nan)
    left, right = np.append(np.nan, rise), np.append(rise, np.nan)
    # up to three times the chord's slope a cubic stays within its ends (Fritsch and Carlson, from memory)
    fits = [
        np.isnan(chord) | ((wanted * chord >= 0.0) & (np.abs(wanted) <= 3.0 * np.abs(chord)))
        for chord in (left, right)
    ]
    return np.where(fits[0] & fits[1] & np.isfinite(slope), wanted, slope)


def _leave(curve: _Curve, place: int, *, apart_deg: float = 0.0) -> _Curve:
    """The curve without one of its knots, and without those closer to it than `apart_deg`."""
    distance = np.abs(curve.twa_deg - curve.twa_deg[place])
    rest = (distance > 0.0) & (distance >= apart_deg)
    return _made(curve.twa_deg[rest], curve.speed_kn[rest], curve.branch[rest], curve.is_best[rest])


def _angle_error_kn(curve: _Curve, twa_deg: float) -> float:
    """With what error solved angles around one are found again when left out [kn]; 0 at a solved angle, NaN
    where there is no speed.
    """
    if curve.at(np.array([twa_deg]))[2][0] != KNOWN:
        return np.nan
    if np.min(np.abs(curve.twa_deg - twa_deg)) < _SAME_DEG:
        return 0.0
    after = int(np.searchsorted(curve.twa_deg, twa_deg))
    largest = error_near(curve.twa_deg, curve.left_out_kn, twa_deg, part=same_part(curve.joined, after))
    return largest * _error_share(curve, twa_deg, after)


def _error_share(curve: _Curve, twa_deg: float, after: int) -> float:
    """The share of the error of an interval that there is at a place in it: none at its ends, and little
    around one with a known slope.
    """
    low, high = curve.twa_deg[after - 1 : after + 1]
    t = (twa_deg - low) / (high - low)
    nearer = after - 1 if t < 0.5 else after
    share = 4.0 * t * (1.0 - t)
    return float(share**2 if curve.is_best[nearer] else share)


def _best(by_wind: Sequence[pd.DataFrame], aim: str, branches: Sequence[str]) -> _Best:
    twa, vmg, branch, reason = [], [], [], []
    for rows in by_wind:
        row = rows[rows["aim"] == aim]
        good = (row["status"] == _CONVERGED).to_numpy()
        found = bool(good.size and good[0])
        twa.append(float(row["twa_deg"].iloc[0]) if found else np.nan)
        speed = float(row["boat_speed_kn"].iloc[0]) if found else np.nan
        vmg.append(abs(speed * np.cos(twa[-1] * DEGREE)))
        branch.append(int(_branch_numbers(row, good, branches)[0]) if found else -1)
        said = next(iter(_words(row["reason"])), "")
        reason.append("" if found else said.rstrip("."))
    numbers = np.array(branch)
    return _Best(
        twa_deg=np.array(twa),
        vmg_kn=np.array(vmg),
        branch=numbers,
        joined=_joined(numbers[:, np.newaxis])[:, 0],
        reason=tuple(reason),
    )


def _parted_by_valleys(best: _Best, curves: Sequence[_Curve]) -> _Best:
    """Best VMGs joined only where they lie on the same hill of VMG in both winds."""
    joined = best.joined.copy()
    for place in np.flatnonzero(joined).tolist():
        here, there = best.twa_deg[place], best.twa_deg[place + 1]
        joined[place] = _falls(curves[place], here, there) and _falls(curves[place + 1], there, here)
    return replace(best, joined=joined)


def _falls(curve: _Curve, top_deg: float, to_deg: float) -> bool:
    """Whether VMG falls all the way from a top to another angle, as far as it is known on the way."""
    count = max(3, int(np.ceil(abs(to_deg - top_deg) / _VALLEY_STEP_DEG)))
    angles = np.linspace(top_deg, to_deg, count)
    speed, _, code = curve.at(angles)
    vmg = np.abs(speed * np.cos(angles * DEGREE))[code == KNOWN]
    if not vmg.size:
        return True
    return bool(np.all(vmg - np.minimum.accumulate(vmg) <= _VALLEY * vmg[0]))


def _branch_numbers(rows: pd.DataFrame, good: NDArray[np.bool_], branches: Sequence[str]) -> NDArray[np.int_]:
    names = _words(rows["branch"])
    return np.array(
        [branches.index(name) if ok else -1 for name, ok in zip(names, good, strict=True)], dtype=np.int_
    )


def _words(column: Iterable[Any]) -> list[str]:
    """Texts of a column, empty where a file has none: one without any text is read as numbers."""
    return ["" if pd.isna(word) else str(word) for word in column]


def _joined(branch: NDArray[np.int_]) -> NDArray[np.bool_]:
    joined: NDArray[np.bool_] = (branch[:-1] == branch[1:]) & (branch[1:] >= 0)
    return joined


# --- monotone cubics ----------------------------------------------------------------------------------------


def monotone_slopes(x: Floats, y: Floats, joined: NDArray[np.bool_]) -> Floats:
    """Slopes of a monotone piecewise cubic at its knots.

    x: (n,) rising; y: (n,) or (n, m) for m curves; joined: as y with one row less, which intervals may be
    used. NaN at knots without an interval. Inner slopes are weighted harmonic means (F. N. Fritsch and J.
    Butland, SIAM J. Sci. Stat. Comput. 5, 1984), those at ends of three points, cut so as to keep the
    direction; both from memory.
    """
    if len(x) < 2:
        return np.full(y.shape, np.nan)
    many = y.reshape(len(x), -1)
    use = joined.reshape(len(x) - 1, -1)
    step = np.broadcast_to(np.diff(x)[:, np.newaxis], use.shape)
    rise = np.where(use, np.diff(many, axis=0), 0.0) / step
    slope = np.full(many.shape, np.nan)
    left, right = use[:-1], use[1:]
    slope[1:-1] = np.where(left & right, _inner(step[:-1], step[1:], rise[:-1], rise[1:]), np.nan)
    none = np.zeros((1, many.shape[1]), dtype=bool)
    starts = use & ~np.vstack([none, use[:-1]])
    ends = use & ~np.vstack([use[1:], none])
    slope[:-1] = np.where(starts, _end(step, rise, use, 1), slope[:-1])
    slope[1:] = np.where(ends, _end(step, rise, use, -1), slope[1:])
    return slope.reshape(y.shape)


def _inner(left: Floats, right: Floats, rise_left: Floats, rise_right: Floats) -> Floats:
    first, second = 2.0 * right + left, right + 2.0 * left
    same = rise_left * rise_right > 0.0
    safe_left, safe_right = np.where(same, rise_left, 1.0), np.where(same, rise_right, 1.0)
    return np.where(same, (first + second) / (first / safe_left + second / safe_right), 0.0)


def _end(step: Floats, rise: Floats, use: NDArray[np.bool_], way: int) -> Floats:
    """Slope at the end of every interval that nothing goes on beyond, from it and the one on its other
    side.
    """
    further = np.roll(step, -way, axis=0), np.roll(rise, -way, axis=0), np.roll(use, -way, axis=0)
    next_step, next_rise, next_use = further
    last = -1 if way > 0 else 0
    there = next_use.copy()
    there[last] = False
    slope = ((2.0 * step + next_step) * rise - step * next_rise) / (step + next_step)
    slope = np.where(slope * rise <= 0.0, 0.0, slope)
    too_steep = (rise * next_rise < 0.0) & (np.abs(slope) > 3.0 * np.abs(rise))
    slope = np.where(too_steep, 3.0 * rise, slope)
    return np.where(there, slope, rise)


def evaluate(x: Floats, y: Floats, slope: Floats, joined: NDArray[np.bool_], at: Floats) -> Floats:
    """The piecewise cubic with these slopes at points (m,): of one curve (n,), or of a curve each (n, m); NaN
    beyond the knots and between knots that are not joined.
    """
    if len(x) < 2:
        return np.full(len(at), np.nan)
    place = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    column: tuple[NDArray[np.intp], ...] = () if y.ndim == 1 else (np.arange(len(at)),)
    y0, y1 = y[(place, *column)], y[(place + 1, *column)]
    d0, d1 = slope[(place, *column)], slope[(place + 1, *column)]
    step = x[place + 1] - x[place]
    t = (at - x[place]) / step
    value = (
        y0 * (1.0 + 2.0 * t) * (1.0 - t) ** 2
        + y1 * t**2 * (3.0 - 2.0 * t)
        + step * t * (1.0 - t) * (d0 * (1.0 - t) - d1 * t)
    )
    inside = (at >= x[0]) & (at <= x[-1]) & joined[(place, *column)]
    return np.where(inside, value, np.nan)


def left_out_errors(x: Floats, y: Floats, joined: NDArray[np.bool_]) -> Floats:
    """How far every knot of a monotone cubic (n,) is missed when left out and found again from the rest; NaN
    at the ends of a part, which nothing stands on either side of.
    """
    errors = np.full(len(x), np.nan)
    for place in range(1, len(x) - 1):
        if joined[place - 1] and joined[place]:
            rest = np.arange(len(x)) != place
            both = np.delete(joined, place)
            slope = monotone_slopes(x[rest], y[rest], both)
            errors[place] = evaluate(x[rest], y[rest], slope, both, x[place : place + 1])[0] - y[place]
    return errors


def same_part(joined: NDArray[np.bool_], after: int) -> slice:
    """The knots that are joined, over any others, to those before and at `after`."""
    first, last = after - 1, after
    while first > 0 and joined[first - 1]:
        first -= 1
    while last < len(joined) and joined[last]:
        last += 1
    return slice(max(first, 0), last + 1)


def error_near(x: Floats, errors: Floats, at: float, *, part: slice) -> float:
    """The largest of the errors of left-out knots near a place, two on either side of it in its part; where
    none of these has one, the largest of the part; NaN where that has none.
    """
    after = int(np.searchsorted(x, at))
    near = slice(max(after - _KNOTS_NEAR, part.start), min(after + _KNOTS_NEAR, part.stop))
    for chosen in (errors[near], errors[part]):
        known = np.abs(chosen[np.isfinite(chosen)])
        if known.size:
            return float(known.max())
    return np.nan


@dataclass(frozen=True, kw_only=True)
class Sampled:
    """Speeds of one option at chosen angles (m,), ready for any wind; see `PolarInterpolant.sampled`."""

    tws_kn: Floats
    twa_deg: Floats
    speed_kn: Floats
    branch: NDArray[np.int_]
    code: NDArray[np.int_]
    slope: Floats
    joined: NDArray[np.bool_]

    def at(
        self, tws_kn: Floats, place: NDArray[np.intp]
    ) -> tuple[Floats, NDArray[np.int_], NDArray[np.int_]]:
        """Speed [kn], branch and what there is at winds (k,), each at the angle of its place (k,)."""
        winds, code = self.tws_kn, self.code
        lower = np.clip(np.searchsorted(winds, tws_kn, side="right") - 1, 0, len(winds) - 1)
        upper = np.minimum(lower + 1, len(winds) - 1)
        on = np.where(np.abs(winds[upper] - tws_kn) < _SAME_KN, upper, lower)
        is_on = np.abs(winds[on] - tws_kn) < _SAME_KN
        if np.all(is_on):
            return self.speed_kn[on, place], self.branch[on, place], code[on, place]
        first, last = int(lower.min()), int(upper.max()) + 1
        columns = (slice(first, last), place)
        between = evaluate(
            winds[first:last],
            self.speed_kn[columns],
            self.slope[columns],
            self.joined[first : last - 1, place],
            tws_kn,
        )
        worst = np.maximum(code[lower, place], code[upper, place])
        worst = np.where((worst == KNOWN) & ~np.isfinite(between), CHANGES_WITH_WIND, worst)
        return (
            np.where(is_on, self.speed_kn[on, place], between),
            np.where(is_on, self.branch[on, place], np.where(worst == KNOWN, self.branch[lower, place], -1)),
            np.where(is_on, code[on, place], worst),
        )
