"""Compiled sweeps: the balance in traced arrays, the compiled Newton iteration, and what follows what. With
NumPy's iteration in place of the compiled one, so that nothing large is compiled here; whole sweeps are
compared with the search by `tests/benchmarks/bench_accelerator.py`.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.support import keelboat, without_compiling
from tests.support.with_jax import double_precision, jax_or_skip
from vpp import accelerator, config, equilibrium, trim
from vpp.libraries import MissingLibrary
from vpp.solved import SPEED, Conditions
from vpp.solver import compiled
from vpp.solver.status import Status

CONFIGS = Path(__file__).parents[2] / "configs"
QUICK_TO_COMPILE = {"xla_backend_optimization_level": 0, "xla_llvm_disable_expensive_passes": True}


def _boats():
    boat = keelboat.coarse(keelboat.base(), 4)
    heavier = replace(boat.crew, mass=1.04 * boat.crew.mass)
    return [boat, replace(boat, name="heavier crew", crew=heavier)]


def _conditions(boats):
    every = keelboat.grid(tws_kn=[10, 12], twa_deg=[80, 95, 110])
    every = every.take(np.tile(np.arange(len(every)), len(boats)))
    return replace(every, option=np.repeat(np.arange(len(boats)), len(every) // len(boats)))


def _problem(boat, branch, aim=SPEED, count=3):
    (fleet,) = trim.fleets_on([boat, boat], (branch,))
    twa = np.full(count, np.nan if aim != SPEED else 1.3)
    conditions = Conditions(
        option=np.arange(count) % 2, tws=np.linspace(6.0, 8.0, count), twa=twa, aim=np.full(count, aim)
    )
    return trim.FastestEquilibrium(fleet, trim.freedom([boat, boat], branch), conditions)


def _traced(problem):
    leaves = []
    accelerator._taken_apart(tuple(accelerator._arrays_of(problem).values()), leaves)
    program = accelerator._Program(accelerator._Kind.of(problem), problem)
    return leaves, lambda leaves, x: program._evaluate(leaves)(x)


def test_the_balance_of_traced_boats_is_numpys():
    """Reference: the same source on NumPy."""
    jax = jax_or_skip()
    problem = _problem(_boats()[0], trim.HULL_BORNE)
    x = keelboat.random_states(problem, seed=3)
    with double_precision(jax):
        leaves, evaluate = _traced(problem)
        lowered = jax.jit(evaluate).lower(leaves, x)
        objective, constraints = lowered.compile(compiler_options=QUICK_TO_COMPILE)(leaves, x)
    expected = problem.values(x, np.arange(3))
    np.testing.assert_allclose(objective, expected.objective, rtol=1e-12)
    np.testing.assert_allclose(constraints, expected.constraints, rtol=1e-9, atol=1e-10)


@pytest.mark.parametrize("name", ["keelboat", "foiling_monohull", "catamaran", "skiff"])
def test_every_demo_boat_can_be_traced(name):
    jax = jax_or_skip()
    boat = config.load(CONFIGS / f"{name}.toml").boat("base")
    for branch in trim.branches_of(boat):
        problem = _problem(boat, branch, "upwind")
        with double_precision(jax):
            leaves, evaluate = _traced(problem)
            objective, constraints = jax.eval_shape(evaluate, leaves, problem.lower)
        assert objective.shape == (3,)
        assert constraints.shape == (problem.equality_count + problem.inequality_count, 3)


def test_compiled_iteration_finds_the_least_point_of_a_quadratic():
    """Least x.x - x0 with x0 + x1 = 1, x2 >= 0.3 and x0 <= 0.7: by hand x = (0.7, 0.3, 0.3), the multipliers
    of equation and limit 2 x = 0.6 with the sign turned.
    """
    jax = jax_or_skip()

    def evaluate(x):
        return (x**2).sum(axis=0) - x[0], jax.numpy.stack([x[0] + x[1] - 1.0, x[2] - 0.3])

    shape = compiled.Shape(
        equalities=1, inequalities=1, constraint_tolerance=1e-9, optimality_tolerance=1e-7, proximal=1e-6
    )
    with double_precision(jax):
        lower, upper = np.full((3, 4), -1.0), np.full((3, 4), 0.7)
        track = compiled.begun(
            np.full((3, 4), 0.5),
            np.zeros((2, 4)),
            np.zeros((3, 4), dtype=np.int32),
            np.zeros((1, 4), bool),
            lower,
            upper,
        )
        found = compiled.advanced(evaluate, shape, track, lower, upper, 10)
        assert (np.asarray(found.place) == compiled.CONVERGED).all()
        np.testing.assert_allclose(found.x.T, [[0.7, 0.3, 0.3]] * 4, atol=1e-9)
        np.testing.assert_allclose(found.multipliers.T, [[-0.6, -0.6]] * 4, atol=1e-8)


def test_compiled_iteration_takes_no_saddle_for_an_answer():
    """x0^2 - x1^2 has a saddle at the origin and none of its least points inside the bounds."""
    jax = jax_or_skip()
    shape = compiled.Shape(
        equalities=0, inequalities=0, constraint_tolerance=1e-9, optimality_tolerance=1e-7, proximal=1e-6
    )
    with double_precision(jax):
        lower, upper = np.full((2, 2), -1.0), np.full((2, 2), 1.0)
        none = np.zeros((0, 2))
        track = compiled.begun(
            np.zeros((2, 2)), none, np.zeros((2, 2), dtype=np.int32), none.astype(bool), lower, upper
        )
        found = compiled.advanced(
            lambda x: (x[0] ** 2 - x[1] ** 2, jax.numpy.zeros((0, 2))), shape, track, lower, upper, 4
        )
        assert (np.asarray(found.place) != compiled.CONVERGED).all()


def test_a_sweep_finds_what_the_search_finds(monkeypatch):
    jax_or_skip()
    without_compiling.iterate_in_numpy(monkeypatch)
    boats = _boats()
    conditions = _conditions(boats)
    got = accelerator.solve(boats, conditions, batch=16, anchors=1)
    expected = equilibrium.solve(boats, conditions)
    assert (got.status == Status.CONVERGED).all()
    np.testing.assert_allclose(got.made_good, expected.quantities["boat_speed"], rtol=1e-6)
    assert got.counts == {"anchors": 6, accelerator.FOLLOWED: 6, "handed back": 0}
    assert (got.how == np.repeat([accelerator.SEARCHED, accelerator.FOLLOWED], 6)).all()
    # reported in full: checked for closure, and on the same state
    followed = np.flatnonzero(got.how == accelerator.FOLLOWED)
    full = got.solved(followed)
    assert (full.status == Status.CONVERGED).all()
    assert (full.closure < 1e-8).all()
    np.testing.assert_allclose(full.quantities["heel"], got.quantities["heel"][followed], rtol=1e-12)


def test_what_cannot_be_followed_is_handed_back(monkeypatch):
    jax_or_skip()
    lost = {"place": compiled.GIVEN_BACK, "objective": np.nan}
    monkeypatch.setattr(
        accelerator._Sweep,
        "_advance",
        lambda *given: {
            name: np.full_like(part, lost[name]) if name in lost else part
            for name, part in without_compiling.advanced(*given).items()
        },
    )
    boats = _boats()
    got = accelerator.solve(boats, _conditions(boats), batch=16, anchors=1)
    assert got.counts["handed back"] == 6
    assert (got.how == accelerator.SEARCHED).all()
    assert (got.status == Status.CONVERGED).all()


def test_without_jax_the_extra_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "jax", None)
    boats = _boats()
    with pytest.raises(MissingLibrary, match=r"vpp\[gpu\]"):
        accelerator.solve(boats, _conditions(boats))


def test_boats_that_do_not_fit_are_refused():
    jax_or_skip()
    boats = _boats()
    conditions = _conditions(boats)
    finer = keelboat.coarse(boats[1], 5)
    with pytest.raises(ValueError, match="differ in layout"):
        accelerator.solve([boats[0], finer], conditions)
    with pytest.raises(ValueError, match="there are 1"):
        accelerator.solve(boats[:1], conditions)
    with pytest.raises(ValueError, match="no conditions"):
        accelerator.solve(boats, conditions.take(np.zeros(0, dtype=np.intp)))
