"""What gusts, lulls and shifts do to a boat whose trims stay as they are: the equilibrium with every control
held, at winds around one in which it was trimmed.

The boat keeps its course; the helm holds it there, and speed, leeway, heel and, of a boat that heaves, ride
height and pitch follow. How it gets there is left out. See docs/gusts.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp import equilibrium
from vpp.config.resolve import BASE
from vpp.multipliers import NoOptimum, Optimum
from vpp.polar import Point, point
from vpp.reporting import Report, report
from vpp.results.files import Source
from vpp.results.frames import status_words
from vpp.results.variables import DEGREE, KNOT, show_number
from vpp.solved import FOIL_BORNE, SPEED, Conditions
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Settings
from vpp.solver.status import Status
from vpp.trim import FastestEquilibrium, Freedom

if TYPE_CHECKING:
    from vpp.config import BoatFile

Floats = NDArray[np.float64]

CHANGE_KN, SHIFT_DEG = 2.0, 5.0
"""Gust and lull, and shift, that are looked at when nothing else is asked for."""

COLUMNS = (
    "option", "tws_kn", "twa_deg", "branch", "tws_change_kn", "twa_change_deg", "weight", "status",
    "boat_speed_kn", "speed_change_kn", "heel_deg", "heel_change_deg", "ride_height_m",
    "ride_height_change_m", "trimmed_kn", "lost_kn", "reason",
)  # fmt: skip

FILE_DECIMALS = {
    "tws_kn": 4, "twa_deg": 3, "tws_change_kn": 4, "twa_change_deg": 4, "weight": 6, "boat_speed_kn": 4,
    "speed_change_kn": 4, "heel_deg": 3, "heel_change_deg": 3, "ride_height_m": 4, "ride_height_change_m": 4,
    "trimmed_kn": 4, "lost_kn": 4,
}  # fmt: skip
"""Digits that files carry."""

# What the wind moves when nobody touches a control but the helm, and what flies a boat on foils.
_FOLLOWS = ("boat_speed", "leeway", "heel", "rudder", "pitch", "ride_height")
_FLIES = ("flap", "elevator")
# A gust may heel a boat so far past the limit to which it was trimmed, either way [rad].
_FURTHER = np.radians(15.0)
_SETTINGS = Settings(initial_barrier=1e-4, block_size=256, restoration_starts=2)
# Nodes of a normal distribution in its standard deviation, and their weights: exact to the fifth power.
# Source: three-point Gauss-Hermite quadrature, Abramowitz & Stegun 25.4.46, table 25.10.
_NODES, _WEIGHTS = (-np.sqrt(3.0), 0.0, np.sqrt(3.0)), (1.0 / 6.0, 2.0 / 3.0, 1.0 / 6.0)


@dataclass(frozen=True, kw_only=True)
class Gusts:
    """A boat trimmed for one wind, in winds around it: arrays over those winds.

    `frozen` has every control held, `trimmed_kn` is what the boat would do trimmed anew, on either branch
    (NaN without a result). `weight` is each wind's share of the time; zeros where no spectrum was asked for.
    """

    source: Source
    option: str
    tws_kn: float
    twa_deg: float
    branch: str
    trimmed_for: dict[str, float]
    tws_change_kn: Floats
    twa_change_deg: Floats
    weight: Floats
    frozen: Report
    trimmed_kn: Floats

    def __repr__(self) -> str:
        return (
            f"Gusts({self.option}: trimmed for {self.tws_kn:g} kn at {self.twa_deg:.4g} deg; "
            f"{len(self.weight)} winds, {int(self.holds.sum())} with an equilibrium)"
        )

    @property
    def holds(self) -> NDArray[np.bool_]:
        """In which winds there is an equilibrium on the same branch."""
        return np.asarray(self.frozen.status == Status.CONVERGED)

    def quantity(self, name: str, unit: float) -> Floats:
        """A quantity of the frozen boat in a unit, NaN where it has no equilibrium."""
        return np.where(self.holds, self.frozen.quantities[name] / unit, np.nan)

    @cached_property
    def boat_speed_kn(self) -> Floats:
        """Boat speed with every control held."""
        return self.quantity("boat_speed", KNOT)

    def to_frame(self) -> pd.DataFrame:
        """One row a wind, failed ones kept."""
        speed = self.boat_speed_kn
        heel, height = self.quantity("heel", DEGREE), self.quantity("ride_height", 1.0)
        columns = (
            self.option, self.tws_kn, self.twa_deg, self.branch, self.tws_change_kn, self.twa_change_deg,
            self.weight, status_words(self.frozen.status), speed, speed - self.trimmed_for["boat_speed_kn"],
            heel, heel - self.trimmed_for["heel_deg"], height, height - self.trimmed_for["ride_height_m"],
            self.trimmed_kn, self.trimmed_kn - speed, np.array(self.frozen.reason, dtype=object),
        )  # fmt: skip
        return pd.DataFrame(dict(zip(COLUMNS, columns, strict=True)))

    def mean_kn(self) -> tuple[float, float, float]:
        """Over the spectrum: mean speed with every control held, mean speed trimmed anew in the same winds,
        and the share of the time in which the boat has an equilibrium with its controls held. Speeds are
        means over that share; NaN without a spectrum.
        """
        total = float(self.weight.sum())
        counts = self.holds & np.isfinite(self.trimmed_kn)
        share = float(self.weight[counts].sum())
        if not share:
            return np.nan, np.nan, 0.0 if total else np.nan
        held, trimmed = (
            float(np.sum(np.where(counts, speed * self.weight, 0.0)) / share)
            for speed in (self.boat_speed_kn, self.trimmed_kn)
        )
        return held, trimmed, share / total

    def sentences(self) -> tuple[str, ...]:
        """What is worth saying: the worst wind, those without an equilibrium, and the spectrum."""
        told = []
        changes = list(zip(self.tws_change_kn.tolist(), self.twa_change_deg.tolist(), strict=True))
        lost = np.nan_to_num(self.trimmed_kn - self.boat_speed_kn, nan=-np.inf)
        if np.isfinite(lost).any():
            worst = int(np.argmax(lost))
            told.append(
                f"{self.option} loses most, {show_number(float(lost[worst]), decimals=2)} kn against trims "
                f"for that wind, {_say_wind(*changes[worst])}."
            )
        fallen = [change for change, holds in zip(changes, self.holds, strict=True) if not holds]
        if fallen:
            flies = "comes off its foils or " if self.branch == FOIL_BORNE else ""
            winds = "; ".join(_say_wind(*change) for change in fallen)
            told.append(f"With its controls held it {flies}has no equilibrium {winds}.")
        held, trimmed, share = self.mean_kn()
        if np.isfinite(held):
            part = show_number(100.0 * share, decimals=0)
            of_time = "" if share > 0.9999 else f", in the {part} % of the time that it holds"
            told.append(
                f"Over the spectrum it makes {show_number(held, decimals=2)} kn with its controls held, "
                f"{show_number(trimmed, decimals=2)} kn trimmed for every wind{of_time}."
            )
        return tuple(told)


def _say_wind(tws_change_kn: float, twa_change_deg: float) -> str:
    parts = []
    if tws_change_kn:
        size = show_number(abs(tws_change_kn), decimals=1)
        parts.append(f"{size} kn {'more' if tws_change_kn > 0.0 else 'less'}")
    if twa_change_deg:
        size = show_number(abs(twa_change_deg), decimals=1)
        parts.append(f"{size} deg {'wider' if twa_change_deg > 0.0 else 'narrower'}")
    return "in " + (" and ".join(parts) if parts else "the wind it was trimmed for")


def gusts(
    boat_file: BoatFile,
    *,
    tws_kn: float,
    twa_deg: float | str,
    option: str = BASE,
    change_kn: float = CHANGE_KN,
    shift_deg: float = SHIFT_DEG,
    spread_kn: float = 0.0,
    spread_deg: float = 0.0,
    hold_foils: bool = False,
) -> Gusts:
    """A boat trimmed at its fastest for one wind (an angle, or best VMG `upwind` or `downwind`), in
    `change_kn` more and less of it, from `shift_deg` further aft and ahead, and both; with a spectrum given
    by standard deviations `spread_kn` and `spread_deg` in place of those, in the winds that make its means.
    Flap and elevator go on flying the boat at their best unless `hold_foils`.

    Raises ValueError for changes that make no sense, and what `vpp.point` raises.
    """
    check_changes(
        tws_kn, change_kn=change_kn, shift_deg=shift_deg, spread_kn=spread_kn, spread_deg=spread_deg
    )
    trimmed = point(boat_file, tws_kn=tws_kn, twa_deg=twa_deg, option=option)
    if spread_kn or spread_deg:
        changes = [(spread_kn * first, spread_deg * second) for first in _NODES for second in _NODES]
        weights = [first * second for first in _WEIGHTS for second in _WEIGHTS]
    else:
        changes = [
            (speed, angle) for speed in (-change_kn, 0.0, change_kn) for angle in (-shift_deg, 0.0, shift_deg)
        ]
        weights = [0.0] * len(changes)
    return in_winds(trimmed, changes, weights, hold_foils=hold_foils)


def check_changes(
    tws_kn: float, *, change_kn: float, shift_deg: float, spread_kn: float, spread_deg: float
) -> None:
    """Raises ValueError with everything that is wrong, a line each."""
    asked = {
        "change_kn": change_kn, "shift_deg": shift_deg, "spread_kn": spread_kn, "spread_deg": spread_deg,
    }  # fmt: skip
    problems = [
        f"{name} = {value:g}: must be a positive number or zero"
        for name, value in asked.items()
        if not (np.isfinite(value) and value >= 0.0)
    ]
    lowest = tws_kn - (np.sqrt(3.0) * spread_kn if spread_kn else change_kn)
    if not problems and lowest <= 0.0:
        problems.append(f"the lull leaves {lowest:g} kn of {tws_kn:g} kn: ask for a smaller change")
    if problems:
        raise ValueError("\n".join(problems))


def in_winds(
    trimmed: Point,
    changes: Sequence[tuple[float, float]],
    weights: Sequence[float],
    *,
    hold_foils: bool = False,
) -> Gusts:
    """A solved point with its controls held in winds that differ by so many knots and degrees."""
    solved = trimmed.solved
    boat = solved.boats[int(solved.conditions.option[0])]
    try:
        optimum = Optimum(boat, solved, 0)
    except NoOptimum as error:
        raise ValueError(f"nothing to hold where {error}") from error
    values = trimmed.values
    tws = float(solved.conditions.tws[0]) + np.array([change for change, _ in changes]) * KNOT
    twa = float(solved.quantities["twa"][0]) + np.array([shift for _, shift in changes]) * DEGREE
    conditions = Conditions(
        option=np.zeros(len(changes), dtype=np.intp),
        tws=tws,
        twa=np.clip(twa, 0.0, np.pi),
        aim=np.full(len(changes), SPEED),
    )
    again = equilibrium.solve([optimum.boat], conditions)
    return Gusts(
        source=trimmed.source,
        option=str(values["option"]),
        tws_kn=float(values["tws_kn"]),
        twa_deg=float(values["twa_deg"]),
        branch=optimum.branch,
        trimmed_for={name: float(values[name]) for name in ("boat_speed_kn", "heel_deg", "ride_height_m")},
        tws_change_kn=np.array([change for change, _ in changes]),
        twa_change_deg=np.array([shift for _, shift in changes]),
        weight=np.array(weights, dtype=float),
        frozen=_held(optimum, conditions, _FOLLOWS if hold_foils else (*_FOLLOWS, *_FLIES)),
        trimmed_kn=np.where(again.status == Status.CONVERGED, again.quantities["boat_speed"] / KNOT, np.nan),
    )


def _held(optimum: Optimum, conditions: Conditions, moves: Sequence[str]) -> Report:
    """The equilibria with everything held but what `moves`."""
    problem = optimum.problem
    free = problem.free
    follows = [name for name in free.names if name in moves]
    rows = [free.names.index(name) for name in follows]
    further = np.array([_FURTHER if name == "heel" else 0.0 for name in follows])[:, None]
    held = {name: np.array([float(optimum.values[name])]) for name in free.names if name not in follows}
    of_state = Freedom(
        branch=free.branch,
        names=tuple(follows),
        lower=free.lower[rows] - further,
        upper=free.upper[rows] + further,
        fixed={**free.fixed, **held},
    )
    there = FastestEquilibrium(problem.fleet, of_state, conditions)
    state = np.array([optimum.values[name] for name in follows])[:, None] / there.scale[:, None]
    start = np.clip(np.repeat(state, len(conditions), axis=1), there.lower, there.upper)
    return report(there, minimise(there, start, settings=_SETTINGS))
