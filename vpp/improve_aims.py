"""What a boat is to be better at: speed at conditions, time round a course, or something that is measured on
it.

Every aim counts in per cent better than the boat that the search begins with.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp.boat import Boat
from vpp.config.course_file import CourseFile
from vpp.config.units import UNITS
from vpp.course import CourseError, sail_course
from vpp.improve_following import Standing, sign_of
from vpp.improve_search import Refused
from vpp.measurement import QUANTITIES, measured
from vpp.results.files import Source
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import SPEED, Conditions

Floats = NDArray[np.float64]
Neighbours = Sequence[Sequence[tuple[float, Boat]]]

# Knots by which speeds are moved to see what that does to the time round a course.
_LITTLE_KN = 1e-3


@dataclass(frozen=True, kw_only=True)
class State:
    """A boat and how it sails in all conditions."""

    boat: Boat
    standing: Standing


class Aim(Protocol):
    """What is to be better."""

    @property
    def name(self) -> str:
        """In words."""

    @property
    def unit(self) -> str:
        """The unit in which it is told."""

    def told(self, state: State) -> float:
        """Its value in that unit. Raises Refused where there is none."""

    def gain(self, state: State) -> float:
        """Per cent better than the start. Raises Refused where there is none."""

    def slopes(self, state: State, speeds: Floats, neighbours: Neighbours) -> Floats:
        """Per cent for a unit of each varied number (n,), from those of the speeds (conditions, n), kn."""


@dataclass(frozen=True, kw_only=True)
class SpeedAim:
    """The mean, by weight, of what is made good at some conditions relative to what the start makes good
    there, `start_kn` (conditions,); `weight` (conditions,) is zero where a condition does not count, and has
    the sum one.
    """

    name: str
    conditions: Conditions
    weight: Floats
    start_kn: Floats

    @property
    def unit(self) -> str:
        """Per cent of the start."""
        return "%"

    def told(self, state: State) -> float:
        """Per cent of the start."""
        return 100.0 + self.gain(state)

    def gain(self, state: State) -> float:
        """Per cent faster."""
        counts = self.weight > 0.0
        made = state.standing.made_good_kn
        lacking = np.flatnonzero(counts & np.isnan(made))
        if len(lacking):
            first = int(lacking[0])
            raise Refused(f"{say_condition(self.conditions, first)}: {state.standing.reason[first]}")
        return 100.0 * float(self.weight[counts] @ (made[counts] / self.start_kn[counts])) - 100.0

    def slopes(self, state: State, speeds: Floats, neighbours: Neighbours) -> Floats:
        """From those of the speeds; what is not known counts as none."""
        counts = self.weight > 0.0
        share = 100.0 * self.weight[counts] / self.start_kn[counts]
        found: Floats = share @ np.nan_to_num(speeds[counts])
        return found


@dataclass(frozen=True, kw_only=True)
class CourseAim:
    """The expected time round a course, in those of its winds that the start can sail; `conditions` are a
    polar and `counts` (conditions,) says which of all they are. `start_s` is the start's time.
    """

    course: CourseFile
    conditions: Conditions
    counts: NDArray[np.bool_]
    source: Source
    sailed: tuple[bool, ...]
    start_s: float

    @property
    def name(self) -> str:
        """In words."""
        return f"time round {self.course.name}"

    @property
    def unit(self) -> str:
        """Seconds."""
        return "s"

    def told(self, state: State) -> float:
        """Expected time [s]."""
        return self.time_s(state.standing)

    def time_s(self, standing: Standing) -> float:
        """Expected time [s] of a boat that stands so. Raises Refused where it has none."""
        times = self.times(standing.made_good_kn, standing)
        weight = np.array(self.course.wind.weight if len(times) > 1 else (1.0,)) * np.array(self.sailed)
        if not np.isfinite(times[weight > 0.0]).all():
            raise Refused("the course cannot be sailed in a wind in which the start can")
        return float(np.where(weight > 0.0, times, 0.0) @ weight / weight.sum())

    def gain(self, state: State) -> float:
        """Per cent less time."""
        return 100.0 * (1.0 - self.told(state) / self.start_s)

    def slopes(self, state: State, speeds: Floats, neighbours: Neighbours) -> Floats:
        """The course sailed with every speed moved a little along its slope."""
        found = np.zeros(speeds.shape[1])
        for row, slope in enumerate(np.nan_to_num(speeds).T):
            size = float(np.abs(slope).max(initial=0.0))
            if size > 0.0:
                one, other = (
                    self.told(_moved(state, side * _LITTLE_KN / size * slope)) for side in (-1.0, 1.0)
                )
                found[row] = -100.0 * (other - one) * size / (2.0 * _LITTLE_KN * self.start_s)
        return found

    def times(self, made_good_kn: Floats, standing: Standing) -> Floats:
        """Time in each wind [s], NaN where the course cannot be sailed."""
        return course_times(self.course, self.conditions, self.counts, self.source, made_good_kn, standing)


def course_times(
    course: CourseFile,
    conditions: Conditions,
    counts: NDArray[np.bool_],
    source: Source,
    made_good_kn: Floats,
    standing: Standing,
) -> Floats:
    """Time round a course in each of its winds [s], NaN where it cannot be sailed. Raises Refused where there
    is no polar to sail it with.
    """
    best = conditions.aim != SPEED
    made, twa = made_good_kn[counts], standing.twa_deg[counts]
    here, best = conditions.take(np.flatnonzero(counts)), best[counts]
    speed = np.where(best, made / np.abs(np.cos(twa * DEGREE)), made)
    good = np.isfinite(made)
    frame = pd.DataFrame(
        {
            "option": "boat",
            "tws_kn": np.round(here.tws / KNOT, 9),
            "twa_deg": np.where(best, twa, np.round(here.twa / DEGREE, 9)),
            "aim": here.aim.astype(object),
            "boat_speed_kn": speed,
            "vmg_kn": np.where(best, sign_of(here) * made, speed * np.cos(twa * DEGREE)),
            "branch": standing.branch[counts],
            "sail_set": standing.sail_set[counts],
            "status": np.where(good, "converged", "no_equilibrium").astype(object),
            "reason": standing.reason[counts],
        }
    )
    try:
        return np.asarray(sail_course(course, frame, source=source).time_s[0])
    except CourseError as error:
        raise Refused(str(error)) from None


def _moved(state: State, by_kn: Floats) -> State:
    standing = state.standing
    moved = Standing(**{**vars(standing), "made_good_kn": standing.made_good_kn + by_kn})
    return State(boat=state.boat, standing=moved)


@dataclass(frozen=True, kw_only=True)
class MeasureAim:
    """A quantity measured on the boat, to be as small as possible; `start` in SI units and radians."""

    quantity: str
    of: str
    at_share: float
    start: float

    @property
    def name(self) -> str:
        """In words."""
        at = "" if math.isnan(self.at_share) else f"at {100.0 * self.at_share:g} %"
        of = ", ".join(word for word in (self.of, at) if word)
        return self.quantity.replace("_", " ") + (f" ({of})" if of else "")

    @property
    def unit(self) -> str:
        """The unit in which it is told."""
        return UNITS[QUANTITIES[self.quantity].unit].symbol

    def _found(self, boat: Boat) -> float:
        return measured(boat, self.quantity, of=self.of, at_share=self.at_share)

    def told(self, state: State) -> float:
        """Its value in that unit."""
        found = self._found(state.boat)
        return math.degrees(found) if QUANTITIES[self.quantity].unit == "deg" else found

    def gain(self, state: State) -> float:
        """Per cent less."""
        return 100.0 * (self.start - self._found(state.boat)) / (abs(self.start) or 1.0)

    def slopes(self, state: State, speeds: Floats, neighbours: Neighbours) -> Floats:
        """By differences of what is measured."""
        size = abs(self.start) or 1.0
        return np.array(
            [
                -100.0 * (self._found(two) - self._found(one)) / (after - before) / size
                for (before, one), (after, two) in neighbours
            ]
        )


def say_condition(conditions: Conditions, place: int) -> str:
    """A condition in words."""
    tws = float(conditions.tws[place] / KNOT)
    if conditions.aim[place] != SPEED:
        return f"{conditions.aim[place]} at {tws:.4g} kn"
    return f"TWA {float(conditions.twa[place] / DEGREE):.4g} deg at {tws:.4g} kn"
