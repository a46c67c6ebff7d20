"""What is kept of several answers to one condition."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from vpp.optima import (
    APART,
    BETTER,
    KEPT,
    SETTINGS,
    UNSOLVED,
    Optima,
    keep_better,
    rearranged,
    rounds,
    standing,
)
from vpp.solver.problem import Solution
from vpp.solver.status import Status


def none_yet(count):
    """Optima of a problem with bounds alone: that is all that is asked of one."""
    problem = SimpleNamespace(
        variable_count=2,
        equality_count=1,
        inequality_count=1,
        lower=np.zeros((2, count)),
        upper=np.ones((2, count)),
    )
    return Optima.of(problem)


def answers(objective, *, status=Status.CONVERGED, error=0.0, iterations=1):
    """Answers whose state is their objective, so that what belongs together can be told."""
    objective = np.atleast_1d(np.asarray(objective, dtype=float))
    count = len(objective)
    whole = {"status": status, "iterations": iterations, "worst_constraint": 0}
    of = {name: np.broadcast_to(value, (count,)).astype(np.int64) for name, value in whole.items()}
    return Solution(
        x=np.tile(objective, (2, 1)),
        multipliers=np.tile(2.0 * objective, (2, 1)),
        lower_multipliers=np.zeros((2, count)),
        upper_multipliers=np.zeros((2, count)),
        objective=objective,
        constraint_error=np.broadcast_to(np.asarray(error, dtype=float), (count,)).copy(),
        optimality_error=np.zeros(count),
        active_lower=np.zeros((2, count), dtype=bool),
        active_upper=np.zeros((2, count), dtype=bool),
        **of,
    )


def kept(optima, place=0):
    return [float(slot.objective[place]) for slot in optima.slots if slot.status[place] == Status.CONVERGED]


ONE = np.array([0])


def test_nothing_is_kept_at_first():
    optima = none_yet(3)
    assert set(optima.best.status) == {UNSOLVED}
    assert kept(optima) == []
    assert len(optima.slots) == KEPT


@pytest.mark.parametrize("seed", range(6))
def test_the_best_are_kept_in_order_whatever_came_first(seed):
    values = -1.0 - 0.01 * np.arange(KEPT + 3)
    optima = none_yet(1)
    for value in np.random.default_rng(seed).permutation(values):
        optima.put(answers(value), ONE)
    assert kept(optima) == sorted(values)[:KEPT]
    for slot in optima.slots:  # what belongs to an answer moves with it
        np.testing.assert_array_equal(slot.x[:, 0], slot.objective[0])
        np.testing.assert_array_equal(slot.multipliers[:, 0], 2.0 * slot.objective[0])


def test_what_is_known_is_not_kept_again():
    optima = none_yet(1)
    assert [mask[0] for mask in optima.put(answers(-1.0), ONE)] == [True, True]
    for again in (-1.0, -1.0 - 0.5 * APART, -1.0 + 0.5 * APART):
        assert [mask[0] for mask in optima.put(answers(again), ONE)] == [False, False]
    assert kept(optima) == [-1.0]
    assert [mask[0] for mask in optima.put(answers(-1.0 + 2.0 * APART), ONE)] == [False, True]
    assert [mask[0] for mask in optima.put(answers(-1.0 - 2.0 * APART), ONE)] == [True, True]
    assert len(kept(optima)) == 3


def test_answers_that_are_not_optima_are_kept_only_until_there_is_one():
    optima = none_yet(1)
    optima.put(answers(-9.0, status=Status.STEP_LIMIT, error=0.5), ONE)
    optima.put(answers(-8.0, status=Status.NO_EQUILIBRIUM, error=0.1), ONE)
    assert optima.best.objective[0] == -8.0  # nearer to an equilibrium
    optima.put(answers(-0.5, status=Status.STEP_LIMIT), ONE)
    assert optima.best.objective[0] == -0.5  # feasible, if slow
    won, new = optima.put(answers(-0.4), ONE)
    assert won[0]
    assert new[0]
    assert kept(optima) == [-0.4]
    optima.put(answers(-0.6, status=Status.STEP_LIMIT), ONE)
    assert optima.best.objective[0] == -0.4
    assert optima.best.status[0] == Status.CONVERGED


def test_what_an_optimum_replaces_is_no_optimum_beside_it():
    optima = none_yet(1)
    optima.put(answers(-1.5, status=Status.STEP_LIMIT, error=0.2), ONE)
    optima.put(answers(-1.0), ONE)
    assert kept(optima) == [-1.0]
    assert set(slot.status[0] for slot in optima.slots[1:]).isdisjoint({Status.CONVERGED})


def test_iterations_of_all_searches_add_up():
    optima = none_yet(1)
    for value, status in ((-1.0, 0), (-1.1, 0), (-1.1, 0), (-5.0, Status.STEP_LIMIT), (-0.9, 0)):
        optima.put(answers(value, status=status, error=float(status > 0), iterations=10), ONE)
    assert optima.best.iterations[0] == 50


def test_places_do_not_touch_each_other():
    optima = none_yet(4)
    optima.put(answers([-1.0, -2.0]), np.array([3, 1]))
    won, new = optima.put(answers([-1.5, -1.5]), np.array([1, 3]))
    assert won.tolist() == [False, True]
    assert new.tolist() == [True, True]
    assert [kept(optima, place) for place in range(4)] == [[], [-2.0, -1.5], [], [-1.5, -1.0]]
    taken = optima.take(np.array([3, 0]))
    assert kept(taken, 0) == [-1.5, -1.0]
    assert kept(taken, 1) == []


def test_standing_orders_what_is_known():
    unsolved = answers(0.0)
    unsolved.status[:] = UNSOLVED
    ladder = [
        unsolved,
        answers(0.0, status=Status.NO_EQUILIBRIUM, error=1.0),
        answers(0.0, status=Status.STEP_LIMIT, error=0.5 * SETTINGS.constraint_tolerance),
        answers(0.0),
    ]
    assert [int(standing(one)[0]) for one in ladder] == [0, 1, 2, 3]
    # an interrupted search may have met the equations too; one without equilibrium has not
    assert standing(answers(0.0, status=Status.INTERRUPTED))[0] == 2
    assert standing(answers(0.0, status=Status.NO_EQUILIBRIUM))[0] == 1


def test_an_answer_that_is_no_better_changes_nothing():
    found = answers([-1.0, -1.0, -1.0])
    won = keep_better(found, answers([-1.0 - 0.5 * BETTER, -1.0 - 2.0 * BETTER, -0.9]), np.arange(3))
    assert won.tolist() == [False, True, False]
    np.testing.assert_array_equal(found.objective, [-1.0, -1.0 - 2.0 * BETTER, -1.0])
    np.testing.assert_array_equal(found.x[0], found.objective)
    assert found.iterations.tolist() == [2, 2, 2]


def test_what_a_barrier_holds_off_a_bound_is_told_from_what_is_on_it():
    optima = none_yet(4)
    found = answers([-1.0, -1.0, -1.0, -1.0])
    found.lower_multipliers[0] = [0.0, 0.3, 0.3, 0.3]  # at no bound, on one, off one, and so but unsolved
    found.active_lower[0] = [False, True, False, False]
    found.status[3] = Status.STEP_LIMIT
    optima.put(found, np.arange(4))
    assert optima.blurred().tolist() == [2]


def test_an_answer_is_sharpened_by_the_same_optimum_alone():
    optima = none_yet(3)
    optima.put(answers([-1.0, -1.0, -1.0], iterations=7), np.arange(3))
    same, other = -1.0 - 0.1 * APART, -1.0 - 5.0 * APART
    optima.sharpen(answers([other, same], iterations=3), np.array([2, 0]))
    optima.sharpen(answers(same, status=Status.STEP_LIMIT), np.array([1]))
    np.testing.assert_array_equal(optima.best.objective, [same, -1.0, -1.0])
    np.testing.assert_array_equal(optima.best.x[0], optima.best.objective)
    assert optima.best.iterations.tolist() == [7, 7, 7]


def test_rearranged_keeps_cases_together():
    some = rearranged(answers([-1.0, -2.0, -3.0]), np.array([2, 0, 2]))
    np.testing.assert_array_equal(some.objective, [-3.0, -1.0, -3.0])
    np.testing.assert_array_equal(some.x[0], some.objective)


def test_rounds_have_every_place_once_and_every_case_once_a_round():
    cases = np.array([4, 2, 4, 4, 7, 2])
    turns = rounds(cases)
    np.testing.assert_array_equal(np.sort(np.concatenate(turns)), np.arange(6))
    assert all(len(set(cases[turn])) == len(turn) for turn in turns)
    assert [len(turn) for turn in turns] == [3, 2, 1]
    assert rounds(np.zeros(0, dtype=np.int64)) == []
