"""The problem that the solver sees: what is free, within which bounds, and its derivatives."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.support import foiler, keelboat
from vpp import config, starts, trim
from vpp.boat import Range
from vpp.physics.hull import EXTENDED_FROUDE_LIMIT
from vpp.solved import BRANCHES
from vpp.solver.problem import Problem

STARTS = [value for value in vars(starts).values() if isinstance(value, trim.Start)]
MIXED = {"tws_kn": [6, 9, 12, 16, 20, 24], "twa_deg": [40, 60, 90, 120, 150, 175]}


@pytest.fixture(scope="module", params=["speed", "vmg"])
def problem(request):
    """The real keelboat at six conditions with fixed wind angles, or with the angle free."""
    boat = keelboat.base()
    if request.param == "speed":
        return keelboat.problem([boat], keelboat.conditions(**MIXED))
    aims = np.array(["upwind", "downwind"] * 3)
    return keelboat.problem([boat], keelboat.conditions(tws_kn=MIXED["tws_kn"], twa_deg=np.nan, aim=aims))


def _multipliers(problem, seed):
    count = problem.equality_count + problem.inequality_count
    return np.random.default_rng(seed).normal(size=(count, problem.condition_count))


def _cases(problem):
    return np.arange(problem.condition_count)


def _assert_close(found, expected, tolerance):
    """Error of every condition against the size of that condition's largest entry."""
    size = np.maximum(np.abs(expected).max(axis=tuple(range(expected.ndim - 1))), 1.0)
    assert np.max(np.abs(found - expected) / size) < tolerance


# Central differences of fourth order: independent of the derivative arrays, which they hold to account.


@pytest.mark.parametrize("seed", [1, 2])
def test_gradient_and_jacobian_equal_central_differences(problem, seed):
    x, cases = keelboat.random_states(problem, seed=seed), _cases(problem)
    found = problem.derivatives(x, cases, _multipliers(problem, seed))
    gradient = keelboat.central_difference(lambda at: problem.values(at, cases).objective, x, 1e-4)
    jacobian = keelboat.central_difference(lambda at: problem.values(at, cases).constraints, x, 1e-4)
    _assert_close(found.gradient, gradient, 1e-8)
    _assert_close(found.jacobian, jacobian.transpose(1, 0, 2), 1e-8)


@pytest.mark.parametrize(("seed", "objective_weight"), [(4, 1.0), (5, 0.3)])
def test_hessian_equals_central_differences_of_the_gradient(problem, seed, objective_weight):
    x, cases = keelboat.random_states(problem, seed=seed), _cases(problem)
    multipliers = _multipliers(problem, seed)

    def lagrangian_gradient(at):
        found = problem.derivatives(at, cases, multipliers)
        return objective_weight * found.gradient + np.einsum("mb,mnb->nb", multipliers, found.jacobian)

    found = problem.derivatives(x, cases, multipliers, objective_weight).hessian
    _assert_close(found, keelboat.central_difference(lagrangian_gradient, x, 1e-4), 1e-7)


def test_values_of_the_derivative_call_are_those_of_the_plain_call(problem):
    x, cases = keelboat.random_states(problem, seed=6), _cases(problem)
    plain, carried = problem.values(x, cases), problem.derivatives(x, cases, _multipliers(problem, 6)).values
    np.testing.assert_allclose(carried.objective, plain.objective, rtol=1e-14)
    np.testing.assert_allclose(carried.constraints, plain.constraints, rtol=1e-11, atol=1e-12)


def test_hessian_is_symmetric_and_finite(problem):
    x, cases = keelboat.random_states(problem, seed=7), _cases(problem)
    hessian = problem.derivatives(x, cases, _multipliers(problem, 7)).hessian
    assert np.isfinite(hessian).all()
    np.testing.assert_array_equal(hessian, hessian.transpose(1, 0, 2))


def test_objective_is_speed_or_speed_made_good():
    """Definitions of the conventions page: VMG is boat speed x cos TWA, to windward positive."""
    boat = keelboat.base()
    reach = keelboat.problem([boat], keelboat.conditions(tws_kn=[10], twa_deg=[100]))
    x = keelboat.random_states(reach, seed=8)
    speed = x[reach.names.index("boat_speed")] * trim.SCALES["boat_speed"]
    np.testing.assert_allclose(reach.values(x, _cases(reach)).objective * trim.SCALES["boat_speed"], -speed)

    aims = np.array(["upwind", "downwind"])
    beat = keelboat.problem([boat], keelboat.conditions(tws_kn=[10, 10], twa_deg=np.nan, aim=aims))
    x = keelboat.random_states(beat, seed=8)
    values = keelboat.named_state(beat, x)
    expected = values["boat_speed"] * np.cos(values["twa"]) * np.array([-1.0, 1.0])
    np.testing.assert_allclose(beat.values(x, _cases(beat)).objective * trim.SCALES["boat_speed"], expected)
    assert (expected < 0.0).all()


def test_many_conditions_are_differentiated_in_parts_with_the_same_result(problem, monkeypatch):
    x, cases, multipliers = keelboat.random_states(problem, seed=9), _cases(problem), _multipliers(problem, 9)
    whole = problem.derivatives(x, cases, multipliers)
    monkeypatch.setattr(trim, "MOST_DIFFERENTIATED", 4)
    parts = problem.derivatives(x, cases, multipliers)
    for name in ("gradient", "jacobian", "hessian"):
        np.testing.assert_allclose(getattr(parts, name), getattr(whole, name), rtol=1e-10, atol=1e-11)


def test_a_chosen_part_of_the_problem_is_the_same_problem(problem):
    x, places = keelboat.random_states(problem, seed=10), np.array([4, 1])
    part = problem.select(places)
    np.testing.assert_array_equal(part.lower, problem.lower[:, places])
    np.testing.assert_array_equal(part.upper, problem.upper[:, places])
    here, there = part.values(x[:, places], np.arange(2)), problem.values(x[:, places], places)
    np.testing.assert_allclose(here.constraints, there.constraints, rtol=1e-12, atol=1e-13)
    np.testing.assert_array_equal(here.objective, there.objective)


def test_cases_may_come_in_any_order_and_repeatedly(problem):
    x, cases = keelboat.random_states(problem, seed=11), np.array([3, 0, 3, 5])
    found = problem.values(x[:, cases], cases).constraints
    np.testing.assert_allclose(
        found, problem.values(x, _cases(problem)).constraints[:, cases], rtol=1e-12, atol=1e-13
    )


def test_problem_satisfies_what_the_solver_asks_for(problem):
    checked: Problem = problem
    assert checked.variable_count == len(problem.names) == len(problem.lower) == len(problem.upper)
    assert checked.equality_count == 4
    assert checked.inequality_count == 2  # both sails must be filled
    assert (checked.lower < checked.upper).all()


def test_bounds_are_those_of_the_boat_in_scaled_units():
    boat = keelboat.base()
    problem = keelboat.problem([boat], keelboat.conditions(tws_kn=[10], twa_deg=[90]))
    expected = {
        "heel": (-boat.margins.heel, boat.margins.heel),
        "leeway": (-boat.margins.leeway, boat.margins.leeway),
        "rudder": (-boat.margins.rudder, boat.margins.rudder),
        "crew_arm": (boat.crew.arm.lower, boat.crew.arm.upper),
        "main_sheet": (boat.sails[0].sheet.lower, boat.sails[0].sheet.upper),
        "jib_twist": (boat.sails[1].twist.lower, boat.sails[1].twist.upper),
        "boat_speed": (0.05, EXTENDED_FROUDE_LIMIT * math.sqrt(9.80665 * boat.hull.waterline_length)),
    }
    for name, bounds in expected.items():
        row = problem.names.index(name)
        found = np.array([problem.lower[row, 0], problem.upper[row, 0]]) * trim.scale_of(name)
        np.testing.assert_allclose(found, bounds, rtol=1e-12)


def test_equal_bounds_make_a_control_fixed_and_keep_its_value():
    boat = keelboat.base()
    main = replace(boat.sails[0], twist=Range(lower=0.2, upper=0.2))
    fixed = replace(boat, sails=(main, *boat.sails[1:]))
    free = trim.freedom([fixed])
    assert "main_twist" not in free.names
    np.testing.assert_array_equal(free.fixed["main_twist"], [0.2])
    problem = keelboat.problem([fixed], keelboat.conditions(tws_kn=[10], twa_deg=[90]))
    assert keelboat.named_state(problem, problem.lower)["main_twist"] == pytest.approx(0.2)


def _with_inverted_head(boat):
    """The boat with a main whose head can be trimmed from 8 % to windward to its fullest by itself."""
    main = replace(
        boat.sails[0],
        camber_flat=(*boat.sails[0].camber_flat[:-1], -0.08),
        head_zone_from_share=0.85,
        head_transition_from_share=0.6,
        head_camber=Range(lower=0.0, upper=1.0),
    )
    return replace(boat, sails=(main, *boat.sails[1:]))


def test_head_camber_is_free_only_where_the_sail_has_a_control_for_it():
    boat = keelboat.base()
    plain = trim.freedom([boat])
    assert not [name for name in plain.names if "head" in name]
    np.testing.assert_array_equal(plain.fixed["main_head_camber"], [0.0])
    np.testing.assert_array_equal(plain.fixed["jib_head_camber"], [0.0])
    np.testing.assert_array_equal(plain.fixed["jib_foot_camber"], [0.0])
    controlled = trim.freedom([_with_inverted_head(boat)])
    assert set(controlled.names) - set(plain.names) == {"main_head_camber"}
    # a range without a zone to act on is no freedom
    idle = replace(boat.sails[0], head_camber=Range(lower=0.2, upper=0.9))
    assert trim.freedom([replace(boat, sails=(idle, *boat.sails[1:]))]).names == plain.names


def test_foot_camber_and_mast_rotation_are_free_only_where_there_is_something_to_move():
    boat = keelboat.base()
    plain = set(trim.freedom([boat]).names)
    main = boat.sails[0]
    zoned = replace(
        main, foot_zone_to_share=0.3, foot_transition_to_share=0.5, foot_camber=Range(lower=0.0, upper=1.0)
    )
    freed = trim.freedom([replace(boat, sails=(zoned, boat.sails[1]))])
    assert set(freed.names) - plain == {"main_foot_camber"}
    rig = replace(boat.rig, mast_rotation=Range(lower=0.0, upper=0.5))
    assert set(trim.freedom([replace(boat, rig=rig)]).names) == plain
    wrapped = (replace(main, hinge_share=0.1), boat.sails[1])
    turning = trim.freedom([replace(boat, rig=rig, sails=wrapped)])
    assert set(turning.names) - plain == {"mast_rotation"}
    held = trim.freedom([replace(boat, sails=wrapped)])
    np.testing.assert_array_equal(held.fixed["mast_rotation"], [0.0])


def test_every_control_has_its_scale():
    scales = {"main_sheet": 0.3, "jib_twist": 0.3, "main_camber": 1.0, "main_head_camber": 1.0}
    assert {name: trim.scale_of(name) for name in scales} == scales


def _assert_derivatives(problem, moved, *, seed, jacobian_tolerance, hessian_tolerance):
    """Jacobian and Hessian of a problem equal central differences, and one variable moves every case."""
    x, cases = keelboat.random_states(problem, seed=seed), _cases(problem)
    multipliers = _multipliers(problem, seed)
    found = problem.derivatives(x, cases, multipliers)
    jacobian = keelboat.central_difference(lambda at: problem.values(at, cases).constraints, x, 1e-4)
    assert (np.abs(jacobian[problem.names.index(moved)]).max(axis=0) > 1e-4).all()
    _assert_close(found.jacobian, jacobian.transpose(1, 0, 2), jacobian_tolerance)

    def lagrangian_gradient(at):
        derived = problem.derivatives(at, cases, multipliers)
        return derived.gradient + np.einsum("mb,mnb->nb", multipliers, derived.jacobian)

    hessian = keelboat.central_difference(lagrangian_gradient, x, 1e-4)
    _assert_close(found.hessian, hessian, hessian_tolerance)


def test_derivatives_with_a_free_head_camber_equal_central_differences():
    boat = _with_inverted_head(keelboat.base())
    problem = keelboat.problem([boat], keelboat.conditions(**MIXED))
    _assert_derivatives(problem, "main_head_camber", seed=3, jacobian_tolerance=1e-8, hessian_tolerance=1e-7)


def test_derivatives_with_a_turning_mast_and_camber_zones_equal_central_differences():
    """Stall and drag of sections from their shape move with the camber, and the camber with three trims and
    the mast.
    """
    boat = keelboat.turning_mast(keelboat.coarse(keelboat.base()))
    problem = keelboat.problem([boat], keelboat.conditions(**MIXED))
    assert {"mast_rotation", "main_head_camber", "main_foot_camber"} <= set(problem.names)
    _assert_derivatives(problem, "mast_rotation", seed=5, jacobian_tolerance=1e-7, hessian_tolerance=1e-6)


def test_every_boat_of_a_batch_keeps_its_own_bounds():
    boat = keelboat.base()
    tender = replace(boat, margins=replace(boat.margins, heel=0.2))
    problem = keelboat.problem(
        [boat, tender], keelboat.conditions(tws_kn=[10, 10], twa_deg=[90, 90], option=[0, 1])
    )
    row = problem.names.index("heel")
    np.testing.assert_allclose(problem.upper[row] * trim.scale_of("heel"), [boat.margins.heel, 0.2])


@pytest.mark.parametrize("how", STARTS)
def test_starts_lie_strictly_inside_the_bounds_and_are_finite(problem, how):
    x = trim.start(problem, how)
    assert (x > problem.lower).all()
    assert (x < problem.upper).all()
    values = problem.values(x, _cases(problem))
    assert np.isfinite(values.objective).all()
    assert np.isfinite(values.constraints).all()


def test_starts_for_a_condition_are_different_states(problem):
    _assert_different([trim.start(problem, how) for how, _ in starts.starts_for(problem)])


def test_off_the_wind_there_are_more_starts():
    problem = keelboat.problem([keelboat.base()], keelboat.conditions(tws_kn=[10, 10], twa_deg=[45, 150]))
    counts = np.sum([where for _, where in starts.starts_for(problem)], axis=0)
    assert counts[1] > counts[0] >= 3


@pytest.mark.parametrize("branch", BRANCHES)
def test_starts_of_a_boat_on_foils_are_different_states_inside_the_bounds(branch):
    problem = foiler.problem(keelboat.conditions(tws_kn=[10.0, 16.0], twa_deg=[60.0, 120.0]), branch)
    states = [trim.start(problem, how) for how, _ in starts.starts_for(problem)]
    assert len(states) >= 2
    _assert_different(states)
    for x in states:
        assert ((x > problem.lower) & (x < problem.upper)).all()


def _assert_different(starts):
    for i, one in enumerate(starts):
        for other in starts[i + 1 :]:
            assert (np.abs(one - other).max(axis=0) > 0.05).all()


def test_boats_that_hold_what_others_do_not_have_are_not_solved_with_them():
    """A mast held at an angle leaves the same quantities free as one that does not turn, and has one more."""
    rigs = config.load(keelboat.FILE.with_name("foiling_rigs.toml"))
    held, fixed = rigs.boat("mast_held"), rigs.boat("twin_skin")
    for branch in trim.branches_of(held):
        names = [set(trim.ranges(boat, branch)) for boat in (held, fixed)]
        assert names[0] - names[1] == {"mast_rotation"}
        assert trim.ranges(held, branch)["mast_rotation"].is_fixed
        assert trim.kind_of(held, (branch,)) != trim.kind_of(fixed, (branch,))
