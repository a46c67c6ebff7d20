"""Many boats in many winds at once, with the balance compiled by JAX, on a graphics card where there is one.

The physics is the one of `vpp.balance`, run on JAX's arrays; the compiled iteration is
`vpp.solver.compiled`. A few boats spread over the others, the anchors, are solved as `vpp.equilibrium` does,
from guessed starts. Their answers are followed to all other boats and winds. Then neighbours compare as in
`vpp.search`: what was not reached is tried from neighbours that were, and an optimum of a neighbour that
promises to be as good is followed too. What has no answer by then is handed to `vpp.equilibrium`.

JAX is needed, the extra `gpu`; in the absence of it, what is asked for raises `MissingLibrary`.
"""

from __future__ import annotations

import dataclasses
import hashlib
import importlib
import time
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import lru_cache
from types import SimpleNamespace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from vpp import equilibrium, search
from vpp.boat import Boat
from vpp.fleets import Fleet
from vpp.libraries import library
from vpp.neighbours import in_steps
from vpp.optima import BETTER, KEPT, SETTINGS, rearranged, rounds
from vpp.physics.arrays import Array, array_namespace
from vpp.reporting import assembled, report, status_in_range
from vpp.solved import BRANCHES, SPEED, UPWIND, Conditions, Solved
from vpp.solver import compiled, stopping
from vpp.solver.problem import Solution
from vpp.solver.status import Status, sentence
from vpp.trim import SCALES, FastestEquilibrium, Freedom, branches_of, fleets_on, freedom, kind_of

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Mask = NDArray[np.bool_]

BATCH = 16384
"""Conditions that are worked on at a time, as many as keep an H100 busy."""
ANCHORS = 3
"""Boats that are solved from guessed starts."""
FOLLOWED, SEARCHED = "followed", "searched"
"""How a condition was come by: from an answer near it, or by a whole search on the processor."""

# Steps of Newton's method that all cases of a batch take, and that those take which need more.
_STEPS = (4, 4, 12)
SECONDS = (
    "making ready", "searching", "following", "comparing", "searching again", "judging", "compiling",
)  # fmt: skip
"""What `Accelerated.seconds` tells apart: boats made into arrays, anchors solved, their answers followed,
optima of neighbours tried, what was handed back solved, the models' ranges looked at; and how much of
following and comparing was compiling.
"""
NOT_REACHED = "Not reached from the conditions around it, and not searched for on this branch."
"""Why a branch of a condition has no answer of its own where another has one."""

# Rows of a solution that are (variables, conditions) or (constraints, conditions).
_ROWS = (
    "x", "multipliers", "lower_multipliers", "upper_multipliers", "active_lower", "active_upper",
)  # fmt: skip
# What of a track is fetched.
_KEPT = ("x", "multipliers", "held", "felt", "objective", "optimality", "residual", "steps", "place")
_STORED = ("x", "multipliers", "held", "objective", "optimality", "residual", "steps")
# Conditions of the smaller of two sizes of batches, for what is left over: fewer do not take a card less
# time, and every size is compiled anew.
_FEW = 2048
# Wakes of a fleet are filled up to a multiple of this, or to the next power of two.
_WAKES = 256
# Batches on their way at the same time, so that the next is made ready while one is worked on.
_IN_FLIGHT = 2
# Wind speeds and angles of the anchors lie so many steps apart (of `vpp.neighbours`).
_CELL = 1.5
# The first of them is solved in every wind where these are no more than so many, or than this share of all.
_EVERY_WIND, _SHARE = 200, 0.005
# How many steps of wind boats are apart that differ by as much as boats of the fleet usually do.
_BOAT_STEPS = 0.5
# Neighbours in wind and boats in the same wind that a condition knows.
_WINDS, _BOATS = 6, 3
# Tries from neighbours of a condition that was not reached.
_TRIES = 4
# One boat in so many, and at least so many, compare with winds around; the others with those boats.
_LEADS, _LEAST_LEADS = 8, 8
# Multiplier of an inequality above which it holds.
_FELT = 1e-7


@dataclass(frozen=True, kw_only=True)
class Accelerated:
    """What was found of conditions, arrays (conditions,).

    `status` holds `vpp.solver.status` codes, `reason` a sentence where a condition failed, `how` whether it
    was FOLLOWED or SEARCHED. `made_good` [m/s] is boat speed, or speed made good where that is the aim, NaN
    where a condition has not converged. `states` holds by branch the solver's answers to all conditions, and
    `problems` by branch and whether wind angles are given the places of conditions and what makes the problem
    of some of these.
    `counts` says how many were anchors, followed, and handed back; `seconds` where the time went.

    Closure, forces and all else that `Solved` tells are not found for every condition: ask `solved`.
    """

    boats: tuple[Boat, ...]
    conditions: Conditions
    branch: NDArray[np.str_]
    status: Integers
    reason: NDArray[np.object_]
    how: NDArray[np.str_]
    made_good: Floats
    quantities: Mapping[str, Floats]
    states: Mapping[str, Solution] = field(repr=False)
    counts: Mapping[str, int]
    seconds: Mapping[str, float]
    problems: Mapping[tuple[str, bool], tuple[Integers, Callable[[Integers], FastestEquilibrium]]] = field(
        repr=False
    )

    def solved(self, places: Integers) -> Solved:
        """Some converged conditions, reported in full and checked for closure as any solved ones, each on its
        best branch. Raises ValueError where one has not converged.
        """
        failed = places[self.status[places] != Status.CONVERGED]
        if len(failed):
            raise ValueError(f"condition {failed[0]} has no result: {self.reason[failed[0]]}")
        said, at = [], []
        is_at_angle = self.conditions.aim[places] == SPEED
        for branch in self.states:
            for at_angle in (True, False):
                here = np.flatnonzero((self.branch[places] == branch) & (is_at_angle == at_angle))
                if len(here):
                    said.append(report(*self._problem(branch, places[here])))
                    at.append(here)
        return assembled(self.boats, self.conditions.take(places), at, said)

    def _problem(self, branch: str, places: Integers) -> tuple[FastestEquilibrium, Solution]:
        of, problem_of = self.problems[branch, bool(self.conditions.aim[places[0]] == SPEED)]
        problem = problem_of(np.searchsorted(of, places))
        taken = rearranged(self.states[branch], places)
        n = problem.variable_count
        x, low, high = taken.x[:n], taken.active_lower[:n], taken.active_upper[:n]
        at = problem.derivatives(x, np.arange(len(places)), taken.multipliers)
        left = at.gradient + (at.jacobian * taken.multipliers[:, None]).sum(axis=0)
        solution = replace(
            taken,
            x=x,
            active_lower=low,
            active_upper=high,
            lower_multipliers=np.where(low, np.maximum(left, 0.0), 0.0),
            upper_multipliers=np.where(high, np.maximum(-left, 0.0), 0.0),
        )
        return problem, solution


def jax_in_double_precision() -> tuple[Any, Any]:
    """The library, and a context in which it computes in 64 bits. Raises MissingLibrary without it."""
    jax = library("jax")
    home = jax if hasattr(jax, "enable_x64") else importlib.import_module("jax.experimental")
    return jax, home.enable_x64(True)


def devices() -> list[str]:
    """What JAX would compute on, by name: the first is used."""
    jax, _ = jax_in_double_precision()
    return [str(device.device_kind) for device in jax.devices()]


def solve(
    boats: Sequence[Boat],
    conditions: Conditions,
    *,
    branches: Sequence[str] = BRANCHES,
    processes: int = 1,
    batch: int = BATCH,
    anchors: int = ANCHORS,
    progress: Callable[[int, int], None] | None = None,
) -> Accelerated:
    """Fastest equilibrium of every condition of boats of one layout, as `equilibrium.solve` finds it; see
    the module's text.

    Boats must share what `trim.kind_of` says: the layout, and which quantities are free; sail sets must be
    dressed. `processes` are those of the searches on the processor. `batch` bounds the memory: some 0.5 MB a
    condition. `progress(done, total)` counts conditions, over all branches. Raises ValueError where boats do
    not fit, and MissingLibrary where JAX is absent.
    """
    begun = time.perf_counter()
    _, double = jax_in_double_precision()
    _refuse(boats, conditions)
    having = [branch for branch in branches if branch in branches_of(boats[0])]
    if not having:
        raise ValueError(f"{boats[0].name} cannot be {' or '.join(branches)}")
    with double:
        parts = {}
        for branch, fleet in zip(having, fleets_on(boats, having), strict=True):
            for at_angle in (True, False):
                places = np.flatnonzero((conditions.aim == SPEED) == at_angle)
                if len(places):
                    parts[branch, at_angle] = (
                        places,
                        _Sweep(boats, fleet, freedom(boats, branch), conditions.take(places), batch, anchors),
                    )
        whole = _Whole(boats, conditions, parts, processes, progress)
        whole.seconds["making ready"] = time.perf_counter() - begun
        return whole.run()


def _refuse(boats: Sequence[Boat], conditions: Conditions) -> None:
    if not len(conditions):
        raise ValueError("there are no conditions to solve")
    if conditions.option.min() < 0 or conditions.option.max() >= len(boats):
        raise ValueError(f"conditions name boats 0 to {conditions.option.max()}, and there are {len(boats)}")
    dressed = [boat.name for boat in boats if boat.sail_sets]
    if dressed:
        raise ValueError(f"{', '.join(dressed)}: which sails are up must be chosen first")
    first = kind_of(boats[0], BRANCHES)
    for boat in boats:
        if kind_of(boat, BRANCHES) != first:
            raise ValueError(f"{boat.name} and {boats[0].name} differ in layout or in what is free")


# --- the problem in traced arrays ---------------------------------------------------------------------------


class _Traced(FastestEquilibrium):
    """The equations of a batch whose numbers are not known while they are laid out. All conditions of the
    batch are meant at once: `cases` is always all of them.
    """

    def __init__(self, kind: _Kind, arrays: Mapping[str, Any]) -> None:
        self.layout, self.names, self.seeks_vmg = kind.layout, kind.names, kind.seeks_vmg
        self.scale = np.array(kind.scale)
        self.boats, self.wake, self.fixed = arrays["boats"], arrays["wake"], arrays["fixed"]
        self.residual_scale, self.force_scale = arrays["residual_scale"], arrays["force_scale"]
        self.conditions: Any = SimpleNamespace(tws=arrays["tws"], twa=arrays["twa"])
        self._sign = arrays["sign"]

    def of(self, cases: Any) -> tuple[Any, Any]:
        """The boats and wakes of the batch."""
        return self.boats, self.wake

    def evaluated(self, x: Array) -> tuple[Array, Array]:
        """Objective and scaled constraints at x (variables, conditions)."""
        everything: Any = slice(None)
        return self._evaluate(tuple(x), everything)

    def _made_good(self, values: Mapping[str, Array], cases: Any) -> Array:
        if not self.seeks_vmg:
            return values["boat_speed"]
        return self._sign * values["boat_speed"] * array_namespace(values["twa"]).cos(values["twa"])


@dataclass(frozen=True)
class _Kind:
    """What is known when a problem is laid out: problems of one kind share what is compiled."""

    layout: Any
    names: tuple[str, ...]
    scale: tuple[float, ...]
    fixed: tuple[str, ...]
    seeks_vmg: bool
    has_sea: bool
    has_mirror: bool
    equalities: int
    inequalities: int

    @classmethod
    def of(cls, problem: FastestEquilibrium) -> _Kind:
        return cls(
            layout=problem.layout,
            names=problem.names,
            scale=tuple(problem.scale.tolist()),
            fixed=tuple(problem.fixed),
            seeks_vmg=problem.seeks_vmg,
            has_sea=problem.boats.seaway is not None,
            has_mirror=problem.wake.mirrored_from is not None,
            equalities=problem.equality_count,
            inequalities=problem.inequality_count,
        )

    @property
    def shape(self) -> compiled.Shape:
        return compiled.Shape(
            equalities=self.equalities,
            inequalities=self.inequalities,
            constraint_tolerance=SETTINGS.constraint_tolerance,
            optimality_tolerance=SETTINGS.optimality_tolerance,
            proximal=SETTINGS.proximal,
        )


def _arrays_of(problem: FastestEquilibrium) -> dict[str, Any]:
    """Everything in a problem that is a number."""
    conditions = problem.conditions
    return {
        "boats": problem.boats,
        "wake": problem.wake,
        "fixed": tuple(problem.fixed.values()),
        "tws": conditions.tws,
        "twa": np.where(np.isnan(conditions.twa), 0.0, conditions.twa),
        "sign": np.where(conditions.aim == UPWIND, 1.0, -1.0),
        "residual_scale": problem.residual_scale,
        "force_scale": problem.force_scale,
    }


def _taken_apart(tree: Any, leaves: list[Any]) -> Callable[[Iterator[Any]], Any]:
    """Put the arrays of a tree of dataclasses and tuples in a list; gives what puts others back."""
    if tree is None:
        return lambda others: None
    if isinstance(tree, tuple):
        items = [_taken_apart(item, leaves) for item in tree]
        return lambda others: tuple([item(others) for item in items])
    if dataclasses.is_dataclass(tree):
        kind: Any = type(tree)
        parts = {
            each.name: _taken_apart(getattr(tree, each.name), leaves) for each in dataclasses.fields(tree)
        }
        return lambda others: kind(**{name: part(others) for name, part in parts.items()})
    leaves.append(tree)
    return lambda others: next(others)


class _Program:
    """What is compiled for a kind of problem."""

    def __init__(self, kind: _Kind, like: FastestEquilibrium) -> None:
        arrays = _arrays_of(like)
        self.names = tuple(arrays)
        self._builds = _taken_apart(tuple(arrays.values()), [])
        self.kind = kind
        self.compiling_s = 0.0
        self.begun = self._watched(self._begun)
        self.advanced = self._watched(self._advanced)
        self.promised = self._watched(self._promised)

    def _watched(self, function: Callable[..., Any]) -> Callable[..., Any]:
        """The function, compiled at its first call with arrays of some shapes, which is timed."""
        import jax

        quick, known = jax.jit(function), set[tuple[tuple[int, ...], ...]]()

        def call(*arguments: Any) -> Any:
            shapes = tuple(np.shape(leaf) for leaf in jax.tree.leaves(arguments))
            begun = time.perf_counter()
            found = quick(*arguments)
            if shapes not in known:
                known.add(shapes)
                self.compiling_s += time.perf_counter() - begun
            return found

        return call

    def _evaluate(self, leaves: Sequence[Any]) -> compiled.Evaluate:
        arrays = dict(zip(self.names, self._builds(iter(leaves)), strict=True))
        arrays["fixed"] = dict(zip(self.kind.fixed, arrays["fixed"], strict=True))
        return _Traced(self.kind, arrays).evaluated

    def _begun(self, guess: tuple[Any, ...], lower: Any, upper: Any) -> compiled.Track:
        x, multipliers, held, felt = guess
        return compiled.begun(x, multipliers, held, felt, lower, upper)

    def _advanced(
        self, leaves: Sequence[Any], track: compiled.Track, lower: Any, upper: Any, steps: Any
    ) -> compiled.Track:
        evaluate = self._evaluate(leaves)
        return compiled.advanced(evaluate, self.kind.shape, track, lower, upper, steps)

    def _promised(self, leaves: Sequence[Any], x: Any, multipliers: Any) -> Any:
        objective, constraints = self._evaluate(leaves)(x)
        return objective + (multipliers * constraints).sum(axis=0)


@lru_cache(maxsize=1)
def _programs() -> dict[_Kind, _Program]:
    """What has been compiled in this process, by kind."""
    return {}


def _with_shared_wakes(fleet: Fleet) -> tuple[Fleet, Integers]:
    """A fleet with one wake for all boats whose sails lie alike, and which is whose: the wakes are most of a
    boat's numbers.
    """
    seen: dict[bytes, int] = {}
    whose = np.zeros(len(fleet.wake), dtype=np.int64)
    first: list[int] = []
    for boat, wake in enumerate(fleet.wake):
        above = b"" if fleet.mirrored_from is None else fleet.mirrored_from[boat].tobytes()
        key = hashlib.blake2b(wake.tobytes() + above).digest()
        whose[boat] = seen.setdefault(key, len(first))
        if whose[boat] == len(first):
            first.append(boat)
    # as many as other fleets have, since every number is compiled anew
    count = len(first)
    step = min(1 << (count - 1).bit_length(), _WAKES)
    first += first[:1] * (-count % step)
    mirrored_from = None if fleet.mirrored_from is None else fleet.mirrored_from[first]
    return replace(fleet, wake=fleet.wake[first], mirrored_from=mirrored_from), whose


# --- one branch and one kind of aim -------------------------------------------------------------------------


class _Sweep:
    """Conditions of boats on one branch, at wind angles or of best VMG, and their answers."""

    def __init__(
        self,
        boats: Sequence[Boat],
        fleet: Fleet,
        free: Freedom,
        conditions: Conditions,
        batch: int,
        anchors: int,
    ) -> None:
        self.boats, self.free, self.conditions, self.batch = boats, free, conditions, batch
        self.fleet = _with_shared_wakes(fleet)
        self.sample = FastestEquilibrium(self.fleet[0], free, conditions.take(np.arange(1)))
        kind = _Kind.of(self.sample)
        if kind not in _programs():
            _programs()[kind] = _Program(kind, self.sample)
        self.program = _programs()[kind]
        n, count = len(kind.names), len(conditions)
        # the best optimum of every case, after those of all cases the next best, and so on
        self.x = np.full((n, KEPT * count), np.nan)
        self.multipliers = np.zeros((kind.equalities + kind.inequalities, KEPT * count))
        self.held = np.zeros((n, KEPT * count), dtype=np.int32)
        self.objective = np.full(KEPT * count, np.inf)
        self.optimality = np.full(KEPT * count, np.inf)
        self.residual = np.full(KEPT * count, np.inf)
        self.steps = np.zeros(KEPT * count, dtype=np.int64)
        self.seen: Floats | None = None
        self.near = _Near(conditions, fleet, anchors)
        few = min(batch, _FEW)
        self.sizes = (few,) if count <= few or batch <= few else (batch, few)
        self._resident: dict[int, tuple[Any, Any]] = {}

    # --- compiled work --------------------------------------------------------------------------------------

    def problem(self, cases: Integers) -> FastestEquilibrium:
        """The problem of some conditions."""
        fleet, wake_of = self.fleet
        found = FastestEquilibrium(fleet, self.free, self.conditions.take(cases))
        found.wake = replace(found.wake, boat=wake_of[found.conditions.option])
        return found

    def _leaves(self, problem: FastestEquilibrium) -> list[Any]:
        """The numbers of a problem, what belongs to the whole fleet kept on the device."""
        import jax

        leaves: list[Any] = []
        _taken_apart(tuple(_arrays_of(problem).values()), leaves)
        count = problem.condition_count
        for place, leaf in enumerate(leaves):
            array = np.asarray(leaf)
            if array.shape[-1:] == (count,) and count != len(self.boats):
                continue
            if id(leaf) not in self._resident:
                self._resident[id(leaf)] = leaf, jax.device_put(array)
            leaves[place] = self._resident[id(leaf)][1]
        return leaves

    def follow(self, cases: Integers, sources: Integers) -> Mask:
        """Follow answers of other cases to cases; says which led to one that is better than what is known.

        A case may occur several times. Those that are still on their way after a few steps go on together.
        """
        m = self.program.kind.equalities
        guess: tuple[Any, ...] = (
            self.x[:, sources],
            self.multipliers[:, sources],
            self.held[:, sources],
            self.multipliers[m:, sources] < -_FELT,
        )
        new = np.zeros(len(cases), dtype=bool)
        left = np.arange(len(cases))
        for steps in _STEPS:
            found = self._advance(cases[left], tuple(part[:, left] for part in guess), steps)
            new[left] = self._keep(cases[left], found)
            going = np.flatnonzero(found["place"] == compiled.GOING)
            guess = tuple(part.copy() for part in guess)
            for part, name in zip(guess, ("x", "multipliers", "held", "felt"), strict=True):
                part[:, left[going]] = found[name][:, going]
            left = left[going]
            if not len(left):
                break
        return new

    def _advance(self, cases: Integers, guess: tuple[Any, ...], steps: int) -> dict[str, Any]:
        """What tracks have come to after some steps, batch by batch."""
        flying: deque[tuple[int, Any]] = deque()
        parts: list[dict[str, Any]] = []

        def land() -> None:
            count, track = flying.popleft()
            parts.append({name: np.asarray(getattr(track, name))[..., :count] for name in _KEPT})

        for rows, size in self._batches(len(cases)):
            filled = np.concatenate([rows, np.full(size - len(rows), rows[0])])
            problem = self.problem(cases[filled])
            lower, upper = problem.lower, problem.upper
            begun = self.program.begun(tuple(part[:, filled] for part in guess), lower, upper)
            track = self.program.advanced(self._leaves(problem), begun, lower, upper, steps)
            flying.append((len(rows), track))
            if len(flying) >= _IN_FLIGHT:
                land()
        while flying:
            land()
        return {name: np.concatenate([part[name] for part in parts], axis=-1) for name in _KEPT}

    def _batches(self, count: int) -> Iterator[tuple[Integers, int]]:
        """Rows of each batch and its size, to which it is to be filled up: what is compiled has few sizes."""
        first = 0
        while first < count:
            size = self.sizes[0] if 2 * (count - first) > self.sizes[0] else self.sizes[-1]
            yield np.arange(first, min(first + size, count)), size
            first += size

    def promises(self, cases: Integers, sources: Integers) -> Floats:
        """What optima of other cases promise to be worth at cases, to first order: the Lagrangian there."""
        found = []
        for rows, size in self._batches(len(cases)):
            filled = np.concatenate([rows, np.full(size - len(rows), rows[0])])
            problem = self.problem(cases[filled])
            x = np.clip(self.x[:, sources[filled]], problem.lower, problem.upper)
            promise = self.program.promised(self._leaves(problem), x, self.multipliers[:, sources[filled]])
            found.append(np.asarray(promise)[: len(rows)])
        return np.concatenate(found)

    @property
    def count(self) -> int:
        """Number of conditions."""
        return len(self.conditions)

    @property
    def there(self) -> Mask:
        """Which conditions have an answer."""
        there: Mask = np.isfinite(self.objective[: self.count])
        return there

    def _keep(self, cases: Integers, found: Mapping[str, Any]) -> Mask:
        """Keep answers that are better than those known, or others; says which are better."""
        new = np.zeros(len(cases), dtype=bool)
        good = np.flatnonzero(found["place"] == compiled.CONVERGED)
        for turn in rounds(cases[good]):
            rows = good[turn]
            new[rows] = self._sorted_in(cases[rows], {name: found[name][..., rows] for name in _STORED})
        return new

    def _sorted_in(self, cases: Integers, found: Mapping[str, Any]) -> Mask:
        """Put one optimum each among those of different cases, the best first; says which are the best."""
        slots = np.arange(KEPT)[:, None] * self.count + cases
        pool = {
            name: np.concatenate([getattr(self, name)[..., slots], found[name][..., None, :]], axis=-2)
            for name in _STORED
        }
        objective = pool["objective"]
        alike = np.abs(pool["x"] - found["x"][:, None]).max(axis=0) <= search.OTHER
        alike &= np.isfinite(objective)
        alike[-1] = False
        known = np.where(alike, objective, np.inf).min(axis=0)
        better = objective[-1] < known - BETTER
        new: Mask = better & (objective[-1] < objective[0] - BETTER)
        # of two that are the same optimum the better one stays
        objective[:-1][alike[:-1] & better] = np.inf
        objective[-1, ~better] = np.inf
        order = np.argsort(objective, axis=0, kind="stable")[:KEPT]
        for name, value in pool.items():
            at = np.broadcast_to(order, (*value.shape[:-2], *order.shape))
            getattr(self, name)[..., slots] = np.take_along_axis(value, at, axis=-2)
        return new

    # --- answers of the search ------------------------------------------------------------------------------

    def take_over(self, places: Integers, solution: Solution) -> None:
        """Keep converged answers of `vpp.equilibrium` to conditions."""
        good = solution.status == Status.CONVERGED
        held = np.where(solution.active_lower, -1, np.where(solution.active_upper, 1, 0))
        found = {
            "place": np.where(good, compiled.CONVERGED, compiled.GIVEN_BACK),
            "x": solution.x,
            "multipliers": solution.multipliers,
            "held": held,
            "objective": solution.objective,
            "optimality": solution.optimality_error,
            "residual": solution.constraint_error,
            "steps": solution.iterations,
        }
        self._keep(places, found)

    # --- what follows what ----------------------------------------------------------------------------------

    def spread(self, anchors: Integers) -> None:
        """Follow the anchors' answers to all conditions, and try those not reached from their neighbours."""
        known = anchors[self.there[anchors]]
        left = np.flatnonzero(~self.there)
        if not len(known) or not len(left):
            return
        self.follow(left, self.near.nearest(left, known))
        for turn in range(_TRIES):
            left = np.flatnonzero(~self.there)
            near = self.near.of(left)
            reached = (near >= 0) & self.there[near]
            useful = np.flatnonzero(reached.sum(axis=1) > turn)
            if not len(useful) or stopping.asked():
                return
            order = np.argsort(~reached, axis=1, kind="stable")
            self.follow(left[useful], np.take_along_axis(near, order, axis=1)[useful, turn])

    def compare(self) -> int:
        """Follow optima of neighbours that are others than a condition's own and promise to be as good; says
        how many led to better answers. No optimum of a neighbour is looked at twice.
        """
        target, source = self._others()
        if not len(target):
            return 0
        promise = self.promises(target, source)
        own = self.objective[target]
        worth = np.flatnonzero(promise < own + search.DOUBT * np.abs(own))
        worth = worth[np.lexsort((promise[worth], target[worth]))]
        chosen = worth[_first_few(target[worth], search.FOLLOWED)]
        return int(self.follow(target[chosen], source[chosen]).sum()) if len(chosen) else 0

    def _others(self) -> tuple[Integers, Integers]:
        """Cases, and neighbours' optima that are unlike those known there and have not been looked at."""
        cases = np.flatnonzero(self.there)
        near = self.near.compared(cases)
        both = np.concatenate(
            [np.where(near < 0, -1, near + slot * self.count) for slot in range(KEPT)], axis=1
        )
        if self.seen is None:
            self.seen = np.full((self.count, both.shape[1]), np.inf)
        fresh = (both >= 0) & (self.objective[both] != self.seen[cases])
        self.seen[cases] = self.objective[both]
        for column in range(both.shape[1]):
            least = search.OTHER if column % near.shape[1] < _WINDS else search.OTHER_IF_CLOSE
            rows = np.flatnonzero(fresh[:, column])
            theirs, own = self.x[:, both[rows, column]], cases[rows]
            for slot in range(KEPT):
                apart = np.abs(theirs - self.x[:, own + slot * self.count]).max(axis=0)
                fresh[rows[apart <= least], column] = False
        pairs = np.nonzero(fresh)
        return cases[pairs[0]], both[pairs]

    def solution(self) -> Solution:
        """All answers as the solver gives them."""
        count, there = self.count, self.there
        held = self.held[:, :count]
        return Solution(
            np.where(there, self.x[:, :count], 0.5 * (self.sample.lower + self.sample.upper)),
            self.multipliers[:, :count],
            np.zeros(held.shape),
            np.zeros(held.shape),
            np.where(there, self.objective[:count], np.nan),
            np.where(there, Status.CONVERGED, Status.STEP_LIMIT).astype(np.int64),
            self.steps[:count],
            self.residual[:count],
            self.optimality[:count],
            np.zeros(count, dtype=np.int64),
            held < 0,
            held > 0,
        )


def _first_few(groups: Integers, most: int) -> Integers:
    """Places of the first few of each group, of groups that stand together."""
    begins = np.concatenate([[True], groups[1:] != groups[:-1]]) if len(groups) else np.zeros(0, dtype=bool)
    first = np.maximum.accumulate(np.where(begins, np.arange(len(groups)), 0))
    return np.flatnonzero(np.arange(len(groups)) - first < most)


class _Near:
    """Which conditions are near each other: of a boat those of neighbouring winds, of a wind those of like
    boats.
    """

    def __init__(self, conditions: Conditions, fleet: Fleet, anchors: int) -> None:
        place = np.where(
            np.isnan(conditions.twa), np.where(conditions.aim == UPWIND, -1e3, 1e3), conditions.twa
        )
        winds = np.stack(in_steps(replace(conditions, twa=place)))
        self.winds, self.wind = np.unique(winds, axis=1, return_inverse=True)
        self.wind = self.wind.reshape(-1)
        self.boat = conditions.option.astype(np.int64)
        self.boats = _numbers(fleet)
        key = self.boat * self.winds.shape[1] + self.wind
        self._order = np.argsort(key, kind="stable")
        self._keys = key[self._order]
        self._beside = _closest(self.winds.T, np.arange(self.winds.shape[1]), _WINDS)
        there = np.unique(self.boat)
        self.anchored = _far_apart(self.boats, there, anchors)
        leads = there[:: max(min(_LEADS, len(there) // _LEAST_LEADS), 1)]
        leads = np.union1d(leads, self.anchored)
        self.leads = np.isin(self.boat, leads)
        self._alike = _closest(self.boats, there, _BOATS)
        self._lead = _closest(self.boats, leads, _BOATS)

    def _case(self, boat: Integers, wind: Integers) -> Integers:
        """Which case is that of a boat in a wind; -1 where none is."""
        key = boat * self.winds.shape[1] + wind
        at = np.minimum(np.searchsorted(self._keys, key), len(self._keys) - 1)
        return np.where((boat >= 0) & (wind >= 0) & (self._keys[at] == key), self._order[at], -1)

    def of(self, cases: Integers) -> Integers:
        """Neighbours (cases, some), first those in wind, nearest first, -1 where there is none."""
        return np.concatenate([self._in_wind(cases), self._of_boats(cases, self._alike)], axis=1)

    def compared(self, cases: Integers) -> Integers:
        """Neighbours to compare with: of the leading boats those in wind, of all boats the leading ones."""
        beside = np.where(self.leads[cases, None], self._in_wind(cases), -1)
        return np.concatenate([beside, self._of_boats(cases, self._lead)], axis=1)

    def _in_wind(self, cases: Integers) -> Integers:
        beside = self._beside[self.wind[cases]]
        return self._case(self.boat[cases, None] + 0 * beside, beside)

    def _of_boats(self, cases: Integers, alike: Integers) -> Integers:
        others = alike[self.boat[cases]]
        return self._case(others, self.wind[cases, None] + 0 * others)

    def nearest(self, cases: Integers, known: Integers) -> Integers:
        """Of known cases the one to follow to each: near in wind, and of a boat that is like it."""
        boats = np.unique(self.boat[known])
        gap = np.full((len(boats), self.winds.shape[1]), np.inf)
        found = np.zeros(gap.shape, dtype=np.int64)
        for number, boat in enumerate(boats):
            its = known[self.boat[known] == boat]
            away = ((self.winds[:, :, None] - self.winds[:, None, self.wind[its]]) ** 2).sum(axis=0)
            found[number], gap[number] = its[np.argmin(away, axis=1)], np.sqrt(away.min(axis=1))
        apart = np.sqrt(((self.boats[:, None] - self.boats[None, boats]) ** 2).mean(axis=2))
        row = np.empty(len(cases), dtype=np.int64)
        for part in np.array_split(np.arange(len(cases)), max(len(cases) // 65536, 1)):
            steps = gap[:, self.wind[cases[part]]].T + _BOAT_STEPS * apart[self.boat[cases[part]]]
            row[part] = np.argmin(steps, axis=1)
        source: Integers = found[row, self.wind[cases]]
        return source

    def anchors(self) -> Integers:
        """Cases to be solved from guessed starts: of boats that lie far apart, the first in all winds unless
        these are many, the others in winds some steps apart.
        """
        cell = np.floor(self.winds / _CELL + 0.5)
        off = ((self.winds - cell * _CELL) ** 2).sum(axis=0)
        picked = []
        for number, boat in enumerate(self.anchored):
            its = np.flatnonzero(self.boat == boat)
            if number or len(its) > max(_EVERY_WIND, _SHARE * len(self.boat)):
                its = its[np.argsort(off[self.wind[its]], kind="stable")]
                _, first = np.unique(cell[:, self.wind[its]], axis=1, return_index=True)
                its = its[first]
            picked.append(its)
        return np.unique(np.concatenate(picked))


def _numbers(fleet: Fleet) -> Floats:
    """Boats as numbers (boats, numbers) to tell which are alike: all of theirs over how much they spread."""
    leaves: list[Any] = []
    _taken_apart(fleet.arrays, leaves)
    count = len(fleet.exposures)
    rows = [
        np.asarray(leaf, dtype=float).reshape(-1, count) for leaf in leaves if np.shape(leaf)[-1:] == (count,)
    ]
    numbers = np.concatenate(rows).T
    spread = numbers.std(axis=0)
    moving = spread > 1e-12 * np.maximum(1.0, np.abs(numbers).max(axis=0))
    if not moving.any():
        return np.zeros((count, 1))
    scaled: Floats = (numbers[:, moving] - numbers[:, moving].mean(axis=0)) / spread[moving]
    return scaled


def _far_apart(points: Floats, among: Integers, count: int) -> list[int]:
    """Of some points (points, axes) the one in the middle, then always that which is farthest from those."""
    off_middle = ((points[among] - points[among].mean(axis=0)) ** 2).sum(axis=1)
    chosen = [int(among[np.argmin(off_middle)])]
    while len(chosen) < min(count, len(among)):
        apart = ((points[among, None] - points[None, chosen]) ** 2).sum(axis=2).min(axis=1)
        chosen.append(int(among[np.argmax(apart)]))
    return chosen


def _closest(points: Floats, among: Integers, count: int) -> Integers:
    """The nearest others of points (points, axes) among some of them: (points, count), -1 where there are no
    more.
    """
    found = np.full((len(points), count), -1)
    some = min(count + 1, len(among))
    order = among[cKDTree(points[among]).query(points, k=[*range(1, some + 1)])[1]]
    others = order != np.arange(len(points))[:, None]
    order = np.where(others, order, -1)
    order = np.take_along_axis(order, np.argsort(~others, axis=1, kind="stable"), axis=1)
    found[:, :some] = order[:, :count]
    return found


# --- all branches and aims ----------------------------------------------------------------------------------


class _Whole:
    """One call of `solve`."""

    def __init__(
        self,
        boats: Sequence[Boat],
        conditions: Conditions,
        parts: Mapping[tuple[str, bool], tuple[Integers, _Sweep]],
        processes: int,
        progress: Callable[[int, int], None] | None,
    ) -> None:
        self.boats, self.conditions, self.parts = tuple(boats), conditions, parts
        self.processes, self.progress = processes, progress
        self.branches = tuple(dict.fromkeys(branch for branch, _ in parts))
        count = len(conditions)
        self.status = {branch: np.full(count, Status.STEP_LIMIT, dtype=np.int64) for branch in self.branches}
        self.reason = {branch: np.full(count, NOT_REACHED, dtype=object) for branch in self.branches}
        self.searched = np.zeros(count, dtype=bool)
        self.seconds = {name: 0.0 for name in SECONDS}

    def run(self) -> Accelerated:
        """Search the anchors, follow them, search what was not reached."""
        compiled_before = self._compiling_s()
        anchors = {
            at_angle: places[sweep.near.anchors()] for (_, at_angle), (places, sweep) in self.parts.items()
        }
        asked = np.unique(np.concatenate(list(anchors.values())))
        with self._timed("searching"):
            self._search(asked)
        self._tell()
        with self._timed("following"):
            for (_, at_angle), (places, sweep) in self.parts.items():
                sweep.spread(np.searchsorted(places, anchors[at_angle]))
        with self._timed("comparing"):
            for _, sweep in self.parts.values():
                for _ in range(search.ROUNDS):
                    if stopping.asked() or not sweep.compare():
                        break
        self._tell()
        lost = self._lost(anchors) if not stopping.asked() else np.zeros(0, dtype=np.int64)
        with self._timed("searching again"):
            self._search(lost)
        with self._timed("judging"):
            for (branch, _), (places, sweep) in self.parts.items():
                self._judge(branch, places, sweep)
        self.seconds["compiling"] = self._compiling_s() - compiled_before
        counts = {
            "anchors": len(asked),
            FOLLOWED: len(self.conditions) - len(asked) - len(lost),
            "handed back": len(lost),
        }
        return self._result(counts)

    def _compiling_s(self) -> float:
        """What has been spent on compiling the programs in use, now and before."""
        programs = {sweep.program.kind: sweep.program for _, sweep in self.parts.values()}
        return sum(program.compiling_s for program in programs.values())

    @contextmanager
    def _timed(self, what: str) -> Iterator[None]:
        begun = time.perf_counter()
        yield
        self.seconds[what] += time.perf_counter() - begun

    def _tell(self) -> None:
        if self.progress is not None:
            done = [sweep.there.sum() for _, sweep in self.parts.values()]
            total = [len(places) for places, _ in self.parts.values()]
            self.progress(int(sum(done)), sum(total))

    def _search(self, cases: Integers) -> None:
        """Solve cases as `equilibrium.solve` does, those of the boat with most of them first: of several
        boats in one wind it looks most thoroughly for the first.
        """
        if not len(cases):
            return
        boat = self.conditions.option[cases]
        cases = cases[np.argsort(-np.bincount(boat)[boat], kind="stable")]
        conditions = self.conditions.take(cases)
        used, option = np.unique(conditions.option, return_inverse=True)
        found = equilibrium.reports(
            [self.boats[i] for i in used],
            replace(conditions, option=option),
            branches=self.branches,
            processes=self.processes,
            with_others=True,
        )
        self.searched[cases] = True
        for at, said in found:
            places = cases[at]
            self.status[said.branch][places] = said.status
            self.reason[said.branch][places] = said.reason
            of, sweep = self.parts[said.branch, bool(self.conditions.aim[places[0]] == SPEED)]
            for solution in (said.solution, *said.others):
                sweep.take_over(np.searchsorted(of, places), solution)

    def _lost(self, anchors: Mapping[bool, Integers]) -> Integers:
        """What is to be searched for: what has no answer on a branch on which the anchor that it was followed
        from has one, and what has none at all.
        """
        reached = np.zeros(len(self.conditions), dtype=bool)
        missed = np.zeros(len(self.conditions), dtype=bool)
        for (_, at_angle), (places, sweep) in self.parts.items():
            reached[places] |= sweep.there
            known = np.searchsorted(places, anchors[at_angle])
            has = sweep.there[sweep.near.nearest(np.arange(len(places)), known)]
            missed[places] |= ~sweep.there & has
        return np.flatnonzero((~reached | missed) & ~self.searched)

    def _judge(self, branch: str, places: Integers, sweep: _Sweep) -> None:
        """Which answers that were followed lie within the models' range."""
        followed = np.flatnonzero(sweep.there & ~self.searched[places])
        solution = sweep.solution()
        for rows, _ in sweep._batches(len(followed)):
            part = followed[rows]
            its = rearranged(solution, part)
            status = status_in_range(sweep.problem(part), its)
            self.status[branch][places[part]] = status
            self.reason[branch][places[part]] = [
                "" if code == Status.CONVERGED else sentence(int(code)) for code in status
            ]

    def _result(self, counts: Mapping[str, int]) -> Accelerated:
        count = len(self.conditions)
        best, of = np.full(count, np.inf), np.zeros(count, dtype=np.intp)
        states: dict[str, Solution] = {}
        for number, branch in enumerate(self.branches):
            states[branch] = self._states(branch)
            proven = self.status[branch] == Status.CONVERGED
            objective = np.where(proven, states[branch].objective, np.inf)
            ahead = objective < best
            best[ahead], of[ahead] = objective[ahead], number
        names = np.array(self.branches)
        status = np.choose(of, [self.status[branch] for branch in self.branches])
        failed = ~np.isfinite(best)
        quantities = self._quantities(of)
        for value in quantities.values():
            value[failed] = np.nan
        return Accelerated(
            boats=self.boats,
            conditions=self.conditions,
            branch=names[of],
            status=status,
            reason=np.array([self.reason[names[number]][i] for i, number in enumerate(of)], dtype=object),
            how=np.where(self.searched, SEARCHED, FOLLOWED),
            made_good=np.where(failed, np.nan, -best * SCALES["boat_speed"]),
            quantities=quantities,
            states=states,
            counts=counts,
            seconds=self.seconds,
            problems={key: (places, sweep.problem) for key, (places, sweep) in self.parts.items()},
        )

    def _states(self, branch: str) -> Solution:
        """Answers of a branch to all conditions; those at wind angles have one variable less, and zeros for
        it.
        """
        parts = [(places, sweep) for (of, _), (places, sweep) in self.parts.items() if of == branch]
        solutions = [(places, sweep.solution()) for places, sweep in parts]
        if len(solutions) == 1 and len(solutions[0][0]) == len(self.conditions):
            return solutions[0][1]
        most = {name: max(np.shape(vars(each)[name])[0] for _, each in solutions) for name in _ROWS}
        whole: dict[str, Any] = {}
        for name, first in vars(solutions[0][1]).items():
            shape = (most[name], len(self.conditions)) if name in _ROWS else (len(self.conditions),)
            whole[name] = np.zeros(shape, dtype=first.dtype)
            for places, each in solutions:
                value = vars(each)[name]
                whole[name][(slice(len(value)), places) if name in _ROWS else places] = value
        return Solution(**whole)

    def _quantities(self, of: Integers) -> dict[str, Floats]:
        """Everything that was solved for or is fixed, in SI units, on the best branch."""
        found: dict[str, Floats] = {}
        for (branch, _), (places, sweep) in self.parts.items():
            here = np.flatnonzero(of[places] == self.branches.index(branch))
            option = self.conditions.option[places[here]]
            values = {name: fixed[option] for name, fixed in sweep.free.fixed.items()}
            names, scale = sweep.sample.names, sweep.sample.scale
            values |= {name: sweep.x[row, here] * scale[row] for row, name in enumerate(names)}
            values.setdefault("twa", self.conditions.twa[places[here]])
            for name, value in values.items():
                found.setdefault(name, np.full(len(self.conditions), np.nan))[places[here]] = value
        return found
