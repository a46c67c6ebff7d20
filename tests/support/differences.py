"""Derivatives by differences with what they are in doubt by, and every demo boat in every way it is solved.

A difference knows how good it is: it is made with two steps, and the two disagree by what the curvature of
the function between the points, a corner in it, or the noise of its values leaves. What a derivative and its
difference disagree by is held against that, never against a number that was found to be enough.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.support import keelboat
from vpp import config, fleets, trim
from vpp.boat import Boat, Calibration, Sea
from vpp.config.hull_forms import sea_fault
from vpp.solved import FOIL_BORNE, HULL_BORNE, Conditions
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Settings

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

CONFIGS = sorted((Path(__file__).parents[2] / "configs").glob("*.toml"))
# Points of the two fourth-order differences, in half steps: the wide one has +-2 and +-4, the narrow one +-1
# and +-2.
HALF_STEPS = np.array([-4.0, -2.0, -1.0, 1.0, 2.0, 4.0])
WIDE = np.array([1.0, -8.0, 0.0, 0.0, 8.0, -1.0]) / 24.0
NARROW = np.array([0.0, 1.0, -8.0, 8.0, -1.0, 0.0]) / 12.0
# Richardson: the error of either goes with the fourth power of its step.
BEST = (16.0 * NARROW - WIDE) / 15.0
# Roundings that a value is taken to have gone through: of some hundred operations one behind the other.
ROUNDINGS = 100.0
# What a difference should answer for; where it does not, smaller steps are tried.
SHARP = 1e-7
EPSILON = float(np.finfo(float).eps)


@dataclass(frozen=True, kw_only=True)
class Difference:
    """Derivatives (n, ..., b) by each of n arguments at b points, by how much each is in doubt, and the
    largest value met on the way, (..., b).
    """

    best: Floats
    doubt: Floats
    largest: Floats
    step: float

    def rounding(self, size: Floats) -> Floats:
        """What rounding of values of a size makes of a difference."""
        return np.asarray(ROUNDINGS * EPSILON * np.abs(BEST).sum() / (0.5 * self.step) * size)


def difference(function: Callable[[Floats, Integers], Floats], x: Floats, step: float) -> Difference:
    """Derivatives of `function(x, points)` (..., b) by every row of x (n, b); `points` are the columns that
    the columns of its x are near, so that all are evaluated in one call.
    """
    by_argument = np.moveaxis(around(function, x, step), -3, 0)
    best, wide, narrow = (
        np.einsum("m,...mb->...b", weights, by_argument) / (0.5 * step) for weights in (BEST, WIDE, NARROW)
    )
    return Difference(
        best=best, doubt=np.abs(wide - narrow), largest=np.abs(by_argument).max(axis=(0, -2)), step=step
    )


def around(function: Callable[[Floats, Integers], Floats], x: Floats, step: float) -> Floats:
    """The function at all points of the differences by every row of x (n, b): (..., n, moves, b)."""
    count, points = x.shape
    move = 0.5 * step * HALF_STEPS
    near = np.broadcast_to(x[:, None, None], (count, count, len(move), points)).copy()
    near[np.arange(count), np.arange(count)] += move[:, None]
    which = np.broadcast_to(np.arange(points), near.shape[1:]).reshape(-1)
    found = function(near.reshape(count, -1), which)
    return found.reshape(*found.shape[:-1], *near.shape[1:])


# --- the demo boats -----------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Group:
    """Boats that share a batch on one branch with one kind of aim; `names` of the boats."""

    name: str
    names: tuple[str, ...]
    boats: tuple[Boat, ...]
    branch: str
    seeks_vmg: bool


@lru_cache(maxsize=2)
def demo_boats(stations: int | None) -> tuple[tuple[str, Boat], ...]:
    """Every option of every demo boat under every sail set, `file / option / sail set`; and of every file the
    first boat that may be in waves, in waves of one height and in those that the wind raises. Every other one
    has its forces scaled. `stations` on each sail, None for those of the file.
    """
    found: list[tuple[str, Boat]] = []
    for path in CONFIGS:
        boats = config.load(path).boats
        for boat in boats:
            sets = boat.sail_sets
            worn = [(item.name, boat.wearing(item.name)) for item in sets] if sets else [("", boat)]
            found += [(f"{path.stem} / {boat.name} / {name}".rstrip(" /"), under) for name, under in worn]
        found += list(_at_sea(path.stem, found[-1][1] if boats[0].sail_sets else boats[0]))
    scaled = Calibration(hull_resistance=1.07, appendage_drag=0.9, windage=1.2, sail_force=0.95)
    named = []
    for number, (name, boat) in enumerate(found):
        boat = replace(boat, calibration=scaled) if number % 2 else boat
        named.append((name, boat if stations is None else keelboat.coarse(boat, stations)))
    return tuple(named)


def _at_sea(file: str, boat: Boat) -> Iterator[tuple[str, Boat]]:
    for sea in (
        Sea(model="given", significant_height=0.4, peak_period=3.5),
        Sea(model="wind_sea", fetch=10e3),
    ):
        there = replace(boat, sea=sea)
        if not sea_fault(there):
            yield f"{file} / {boat.name} / sea {sea.model}", there


@lru_cache(maxsize=2)
def groups(stations: int | None) -> tuple[Group, ...]:
    """The demo boats by what a batch must share: layout, free quantities, branch and kind of aim."""
    members: dict[Any, list[tuple[str, Boat]]] = {}
    for name, boat in demo_boats(stations):
        for branch in trim.branches_of(boat):
            free = trim.freedom([boat], branch).names
            for seeks_vmg in (False, True):
                key = fleets.layout(boat), free, branch, seeks_vmg
                members.setdefault(key, []).append((name, boat))
    return tuple(
        Group(
            name=f"{some[0][0]}, {key[2]}, {'best VMG' if key[3] else 'speed'}",
            names=tuple(name for name, _ in some),
            boats=tuple(boat for _, boat in some),
            branch=key[2],
            seeks_vmg=key[3],
        )
        for key, some in members.items()
    )


def problem(group: Group, *, most: int | None = None, each: int = 1) -> trim.FastestEquilibrium:
    """The solver's problem for `each` conditions of the boats of a group, or of `most` of them spread over
    it, winds from light to fresh and angles from close to square.
    """
    boats = spread(group.boats, most)
    place = np.arange(each * len(boats))
    # steps that share no factor with the number of winds, so that boats meet different ones
    tws_kn = np.array([6.0, 10.0, 14.0, 19.0, 24.0])[(2 * place) % 5]
    twa_deg = np.array([45.0, 65.0, 90.0, 115.0, 140.0, 165.0, 179.0])[(3 * place) % 7]
    conditions: Conditions = keelboat.conditions(
        option=np.repeat(np.arange(len(boats)), each),
        tws_kn=tws_kn,
        twa_deg=np.nan if group.seeks_vmg else twa_deg,
        aim=np.where(place % 2 == 0, "upwind", "downwind") if group.seeks_vmg else "speed",
    )
    return trim.FastestEquilibrium(_fleet(boats, group.branch), trim.freedom(boats, group.branch), conditions)


def spread(boats: tuple[Boat, ...], most: int | None) -> tuple[Boat, ...]:
    """All of the boats, or `most` at even distances."""
    if most is None or len(boats) <= most:
        return boats
    return tuple(boats[(i * len(boats)) // most] for i in range(most))


@lru_cache(maxsize=64)
def _fleet(boats: tuple[Boat, ...], branch: str) -> fleets.Fleet:
    (fleet,) = trim.fleets_on(boats, [branch])
    return fleet


def random_states(of: trim.FastestEquilibrium, *, seed: int) -> Floats:
    """Scaled variables inside the bounds, one state a condition; boats that heave near the height and at the
    speeds at which they sail, for elsewhere in the box they are out of the water or far below it.
    """
    rng = np.random.default_rng(seed)
    states = of.lower + rng.uniform(0.15, 0.85, size=of.lower.shape) * (of.upper - of.lower)
    on_foils = of.free.branch == FOIL_BORNE
    speeds, heights = ((8.0, 18.0), (0.5, 1.1)) if on_foils else ((2.0, 6.0), (-0.06, 0.06))
    ranges = {"boat_speed": speeds}
    if "ride_height" in of.names:
        ranges["ride_height"] = heights
        if of.free.branch == HULL_BORNE:
            ranges["pitch"] = (-0.02, 0.04)
            ranges["heel"] = (-0.1, 0.25)
    for name, (low, high) in ranges.items():
        row = of.names.index(name)
        low, high = (np.clip(edge / of.scale[row], of.lower[row], of.upper[row]) for edge in (low, high))
        states[row] = low + rng.uniform(0.1, 0.9, size=of.lower.shape[1]) * (high - low)
    return np.asarray(states)


def plain_states(of: trim.FastestEquilibrium) -> Floats:
    """Guesses of a state in attached flow, not the package's own: sails at one incidence, crew out, much else
    at zero.
    """
    twa = {"upwind": np.radians(45.0), "downwind": np.radians(135.0)}
    angle = np.array([twa.get(aim, a) for aim, a in zip(of.conditions.aim, of.conditions.twa, strict=True)])
    tws, on_foils = of.conditions.tws, of.free.branch == FOIL_BORNE
    boat_speed = 12.0 + 0.0 * tws if on_foils else 4.0 * np.tanh(tws * (0.4 + 0.6 * np.sin(angle)) / 4.0)
    beta = np.arctan2(tws * np.sin(angle), tws * np.cos(angle) + boat_speed)
    guesses = {"boat_speed": boat_speed, "twa": angle, "ride_height": 0.8 if on_foils else 0.0, "pitch": 0.01}
    guesses |= {"heel": 0.0 if on_foils else 0.15, "leeway": 0.03, "crew_arm": 1.0, "mast_rotation": 0.2}
    guesses |= {"cant": 0.8, "flap": 0.05}
    endings = {"sheet": np.maximum(beta - 0.14, 0.04), "twist": 0.15, "camber": 0.5, "power": 0.9}
    rows = []
    for name in of.names:
        ending = name.rsplit("_", 1)[-1]
        guess = guesses[name] if name in guesses else endings.get(ending, 0.0)
        rows.append(np.broadcast_to(guess, tws.shape))
    room = of.upper - of.lower
    inside = np.clip(np.array(rows) / of.scale[:, None], of.lower + 0.03 * room, of.upper - 0.03 * room)
    return np.asarray(inside)


def states_near_the_start(of: trim.FastestEquilibrium, *, seed: int) -> Floats:
    """States that are a third of the way from a plain guess, in attached flow, to anywhere."""
    start = plain_states(of)
    return np.asarray(start + 0.3 * (random_states(of, seed=seed) - start))


def states_near_the_optimum(of: trim.FastestEquilibrium, *, seed: int, step_limit: int = 80) -> Floats:
    """States about what the solver finds, or gets to in so many steps, by a hundredth of every range."""
    settings = Settings(step_limit=step_limit, restoration_starts=1, initial_barrier=1e-2)
    found = minimise(of, plain_states(of), settings=settings).x
    room = of.upper - of.lower
    moved = found + 0.01 * room * np.random.default_rng(seed).normal(size=room.shape)
    return np.asarray(np.clip(moved, of.lower, of.upper))


# --- a problem's derivatives held to account ----------------------------------------------------------------

# The steps that are tried, of scaled variables: the first leaves least of the noise, the others are clear of
# a corner in second or third derivatives that lies within it.
FIRST_STEPS = (1e-3, 2e-4, 4e-5)
SECOND_STEPS = (2.5e-4, 5e-5, 1e-5)


@dataclass(frozen=True, kw_only=True)
class Account:
    """Of first and second derivatives: error of every entry over the largest entry of its row and case (or
    one), and what its difference answers for, doubt and rounding, over the same. Of the steps tried each
    entry has the one that leaves least of its error unanswered, or of those that leave none, answers for
    least.
    """

    error: dict[str, Floats]
    answered: dict[str, Floats]

    def of(self, cases: NDArray[np.bool_]) -> Account:
        """That of some of the cases."""
        error, answered = (
            {name: values[..., cases] for name, values in each.items()}
            for each in (self.error, self.answered)
        )
        return Account(error=error, answered=answered)

    def faults(self) -> list[str]:
        """Entries that are wrong by more than the differences answer for."""
        found = []
        for name, error in self.error.items():
            for place in np.argwhere(~(error <= self.answered[name])):
                at = tuple(int(i) for i in place)
                found.append(f"{name} {at}: error {error[at]:.1e}, answered {self.answered[name][at]:.1e}")
        return found


def held(
    exact: Floats,
    function: Callable[[Floats, Integers], Floats],
    x: Floats,
    steps: Sequence[float],
    *,
    least: Floats | float = 1.0,
    of_gradient: bool = False,
) -> tuple[Floats, Floats]:
    """Error and answered of derivatives `exact` (n, ..., b) of a function as `difference` takes it, over the
    largest by any argument or what is `least`; `Account` says the rest. `of_gradient`: the function is a
    gradient (n, ..., b).
    """
    size = np.maximum(np.abs(exact).max(axis=0), least)
    found: tuple[Floats, Floats] | None = None
    for step in steps:
        by = difference(function, x, step)
        error = np.abs(exact - by.best) / size
        # the entries of a gradient come out of one calculation and share the roundings of the largest
        largest = by.largest.max(axis=0, keepdims=True) if of_gradient else by.largest
        answered = (by.doubt + by.rounding(np.maximum(largest, size))) / size
        if found is None:
            found = error, answered
        else:
            before, now = (np.maximum(e - a, 0.0) for e, a in (found, (error, answered)))
            better = (now < before) | ((now == before) & (answered < found[1]))
            found = np.where(better, error, found[0]), np.where(better, answered, found[1])
        if (found[0] <= found[1]).all() and found[1].max() < SHARP:
            break
    assert found is not None
    return found


def account(of: trim.FastestEquilibrium, x: Floats, cases: Integers, *, seed: int) -> Account:
    """Gradient and Jacobian against differences of values, the Hessian of the Lagrangian with random
    multipliers against differences of its gradient.
    """
    constraints = of.equality_count + of.inequality_count
    multipliers = np.random.default_rng(seed).normal(size=(constraints, len(cases)))
    found = of.derivatives(x, cases, multipliers)

    def values(at: Floats, points: Integers) -> Floats:
        there = of.values(at, cases[points])
        return np.concatenate([there.objective[None], there.constraints])

    def slopes(at: Floats, points: Integers) -> Floats:
        there = of.derivatives(at, cases[points], multipliers[:, points])
        by_constraint = np.einsum("mb,mnb->nb", multipliers[:, points], there.jacobian)
        return np.asarray(there.gradient + by_constraint)

    rows = np.concatenate([found.gradient[None], found.jacobian]).transpose(1, 0, 2)
    first = held(rows, values, x, FIRST_STEPS)
    second = held(found.hessian, slopes, x, SECOND_STEPS, of_gradient=True)
    return Account(
        error={"first derivatives": first[0], "second derivatives": second[0]},
        answered={"first derivatives": first[1], "second derivatives": second[1]},
    )


def with_flow_around(of: trim.FastestEquilibrium, x: Floats) -> Integers:
    """Cases with a finite value at every point of the widest differences about their state: the sails' flow
    is not found everywhere where strips stall.
    """
    cases = np.arange(of.condition_count)

    def finite(at: Floats, points: Integers) -> Floats:
        return np.isfinite(of.values(at, cases[points]).constraints).all(axis=0)

    return np.flatnonzero(finite(x, cases) & around(finite, x, FIRST_STEPS[0]).all(axis=(0, 1)))
