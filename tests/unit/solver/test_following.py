"""Following: from the answer of a neighbouring case to the exact answer of this one, or undecided."""

import numpy as np
import pytest

from tests.support.function_problem import FunctionProblem
from vpp.solver import stopping
from vpp.solver.following import MOST_STEPS, Guess, follow
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Settings
from vpp.solver.status import Status

SETTINGS = Settings()
INF = np.inf


def guess_at(x, multipliers=None, *, lower=None, upper=None, rows=0):
    """A guess at states (n, b): no multipliers and no bound that holds unless given."""
    x = np.asarray(x, dtype=float)
    nothing = np.zeros(x.shape, dtype=bool)
    return Guess(
        x,
        np.zeros((rows, x.shape[1])) if multipliers is None else np.asarray(multipliers, dtype=float),
        nothing if lower is None else lower,
        nothing if upper is None else upper,
    )


def guess_from(solution):
    return Guess(solution.x, solution.multipliers, solution.active_lower, solution.active_upper)


# --- the lowest point of circles: x = (-r, 0), multiplier r / 2 with the circle relative to its radius -----


def circles(radius, lower=-100.0):
    radius = np.atleast_1d(np.asarray(radius, dtype=float))[None]

    def function(x, data, xp):
        return x[0], [(x[0] ** 2 + x[1] ** 2) / data[0] ** 2 - 1.0]

    return FunctionProblem(function, [lower] * 2, [100.0] * 2, 1, 0, radius, radius.shape[1])


def lowest(radius):
    radius = np.atleast_1d(np.asarray(radius, dtype=float))
    return guess_at(np.stack([-radius, np.zeros(len(radius))]), 0.5 * radius[None])


def test_a_neighbours_answer_leads_to_the_exact_one_in_a_few_steps():
    radius = np.array([0.8, 0.9, 1.1, 1.3])
    found = follow(circles(radius), lowest(np.ones(4)), settings=SETTINGS)
    assert not found.status.any()
    np.testing.assert_allclose(found.x, [-radius, np.zeros(4)], atol=1e-11)
    np.testing.assert_allclose(found.multipliers, 0.5 * radius[None], atol=1e-7)
    np.testing.assert_allclose(found.objective, -radius, atol=1e-11)
    assert found.iterations.max() <= 5
    assert found.constraint_error.max() <= 1e-11


def test_residuals_that_no_step_within_reach_can_cancel_are_lowered_by_steps_within_reach():
    """From one radius to a third of it and to four times, at which the first steps are held short."""
    ratio = np.concatenate([np.linspace(0.3, 0.98, 40), np.linspace(1.05, 4.0, 60)])
    found = follow(circles(2.2 * ratio), lowest(np.full(100, 2.2)), settings=SETTINGS)
    assert not found.status.any()
    np.testing.assert_allclose(found.x[0], -2.2 * ratio, rtol=1e-10)


def test_an_exact_answer_takes_no_step():
    found = follow(circles([1.0, 2.0]), lowest([1.0, 2.0]), settings=SETTINGS, steps=0)
    assert list(found.status) == [Status.CONVERGED] * 2
    assert list(found.iterations) == [0, 0]


def test_an_answer_across_the_circle_is_found_from_the_side():
    """Begun a third of a turn away, with the multiplier of a neighbour: the same optimum, or nothing said."""
    angle = np.radians([180.0, 160.0, 120.0])
    guess = guess_at(np.stack([np.cos(angle), np.sin(angle)]), np.full((1, 3), 0.5))
    found = follow(circles(np.ones(3)), guess, settings=SETTINGS)
    converged = found.status == Status.CONVERGED
    assert converged[:2].all()
    np.testing.assert_allclose(found.x[0, converged], -1.0, atol=1e-9)


# --- last steps that are not confirmed ----------------------------------------------------------------------


def test_an_unconfirmed_last_step_spares_an_evaluation_and_leaves_no_more_than_it_says():
    radius = np.array([0.8, 0.9, 0.97, 1.02, 1.1, 1.3])
    confirmed = follow(circles(radius), lowest(np.ones(6)), settings=SETTINGS)
    found = follow(circles(radius), lowest(np.ones(6)), settings=SETTINGS, unconfirmed=1e-4)
    assert not found.status.any()
    # the last evaluation of a confirmed answer is followed by no step, so that as many steps are one less
    assert (found.iterations <= confirmed.iterations).all()
    assert 0.0 < found.optimality_error.max() < 1e-4
    np.testing.assert_array_equal(found.constraint_error, found.optimality_error)
    np.testing.assert_allclose(found.x, [-radius, np.zeros(6)], atol=1e-5)
    np.testing.assert_allclose(found.multipliers, 0.5 * radius[None], atol=1e-4)
    # of third order in a last step of up to 1e-2
    np.testing.assert_allclose(found.objective, -radius, atol=1e-7)


def evaluations(work):
    """How many cases a problem was evaluated for while `work(problem)` ran."""
    problem, count = circles(np.linspace(0.8, 1.3, 20)), 0
    real = problem.derivatives

    def counted(x, *rest):
        nonlocal count
        count += x.shape[1]
        return real(x, *rest)

    problem.derivatives = counted
    work(problem)
    return count


def test_what_need_not_be_confirmed_is_evaluated_less_often():
    def evaluated(unconfirmed):
        return evaluations(
            lambda problem: follow(problem, lowest(np.ones(20)), settings=SETTINGS, unconfirmed=unconfirmed)
        )

    counts = [evaluated(unconfirmed) for unconfirmed in (0.0, 1e-6, 1e-3)]
    assert counts[0] >= counts[1] + 20
    assert counts[1] > counts[2]


@pytest.mark.parametrize("target", [[0.55, 1.1, 3.2], [0.30, 0.9, 2.2]], ids=["upper", "lower"])
def test_bounds_that_hold_do_so_after_an_unconfirmed_step_too(target):
    after = np.array(target)[:, None]
    guess, _ = exact_logarithms(0.9 * after)
    found = follow(logarithms(after), guess, settings=SETTINGS, unconfirmed=1e-3)
    exact, slope = exact_logarithms(after)
    assert found.status[0] == Status.CONVERGED
    assert found.optimality_error[0] > SETTINGS.optimality_tolerance
    np.testing.assert_allclose(found.x, exact.x, atol=1e-4)
    np.testing.assert_array_equal(found.active_lower, exact.active_lower)
    np.testing.assert_array_equal(found.active_upper, exact.active_upper)
    np.testing.assert_allclose(found.lower_multipliers, np.maximum(slope, 0.0), atol=1e-4)
    np.testing.assert_allclose(found.upper_multipliers, np.maximum(-slope, 0.0), atol=1e-4)
    best = (np.exp(exact.x) - after * exact.x).sum(axis=0)
    np.testing.assert_allclose(found.objective, best, atol=1e-6)


def test_an_answer_on_the_way_is_not_the_end_of_a_path():
    radii = np.array([1.5, 2.2, 3.2])
    found = follow(
        circles(radii),
        lowest(1.0),
        settings=SETTINGS,
        path=np.arange(3)[:, None],
        moved=scaled_moves(radii),
        unconfirmed=1e-3,
    )
    assert found.status.tolist() == [Status.CONVERGED]
    np.testing.assert_allclose(found.objective, [-3.2], atol=1e-5)


# --- along paths -------------------------------------------------------------------------------------------


def scaled_moves(radii):
    """Where a state on one circle lies on another."""
    return lambda x, of, to: x * radii[to] / radii[of]


def test_what_is_too_far_for_a_few_steps_is_reached_along_a_path():
    """Ten times the radius, with six steps each time and nothing to say where states move."""
    radii = np.array([1.5, 2.2, 3.2, 4.6, 6.8, 10.0])
    assert follow(circles(radii[-1:]), lowest(1.0), settings=SETTINGS, steps=6).status[0] == Status.STEP_LIMIT
    found = follow(
        circles(radii),
        lowest(1.0),
        settings=SETTINGS,
        steps=6,
        path=np.arange(6)[:, None],
        moved=lambda x, of, to: x,
    )
    assert found.status.tolist() == [Status.CONVERGED]
    np.testing.assert_allclose(found.x[:, 0], [-10.0, 0.0], atol=1e-9)
    np.testing.assert_allclose(found.multipliers, [[5.0]], atol=1e-6)


def test_paths_of_a_batch_are_walked_each_by_itself():
    radii = np.array([1.5, 1.2, 2.0, 0.9, 3.0, 0.5])
    path = np.array([[0, 1], [2, 3], [4, 5]])
    both = follow(circles(radii), lowest([1.0, 1.0]), settings=SETTINGS, path=path, moved=scaled_moves(radii))
    assert both.status.tolist() == [Status.CONVERGED] * 2
    np.testing.assert_allclose(both.x[0], [-3.0, -0.5], atol=1e-10)
    for place in range(2):
        one = follow(
            circles(radii),
            lowest(1.0),
            settings=SETTINGS,
            path=path[:, place : place + 1],
            moved=scaled_moves(radii),
        )
        np.testing.assert_array_equal(one.x[:, 0], both.x[:, place])


def test_a_path_that_is_cut_gives_nothing_back():
    """The middle circle has no point between the bounds; the one beyond it has."""
    radii = np.array([1.2, 0.6, 1.5])
    guess = guess_at([[0.5], [1.09]], [[0.5]])

    def along(path):
        stages = np.array(path)[:, None]
        problem = circles(radii, lower=0.5)
        return follow(problem, guess, settings=SETTINGS, path=stages, moved=lambda x, of, to: x).status[0]

    assert along([0, 2]) == Status.CONVERGED
    assert along([0, 1, 2]) == Status.STEP_LIMIT


# --- sums of exp(x) - t x between bounds: each x = log t, cut off at the bounds ----------------------------


def logarithms(target, lower=-1.0, upper=1.0):
    target = np.asarray(target, dtype=float)
    size = len(target)

    def function(x, data, xp):
        return sum(xp.exp(x[i]) - data[i] * x[i] for i in range(size)), []

    return FunctionProblem(function, [lower] * size, [upper] * size, 0, 0, target, target.shape[1])


def exact_logarithms(target, lower=-1.0, upper=1.0):
    free = np.log(target)
    x = np.clip(free, lower, upper)
    return guess_at(x, lower=free < lower, upper=free > upper), np.exp(x) - target


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ([0.5, 1.0, 2.0], [0.55, 0.9, 2.2]),  # none holds
        ([0.5, 1.0, 2.5], [0.55, 0.9, 3.2]),  # one begins to hold
        ([0.30, 1.0, 3.5], [0.45, 1.1, 2.3]),  # both let go
        ([0.30, 1.0, 2.5], [0.45, 1.1, 3.0]),  # one lets go as another takes hold
        ([0.30, 0.2, 3.5], [0.25, 0.3, 4.5]),  # all keep holding
    ],
    ids=["free", "takes hold", "let go", "exchange", "held"],
)
def test_bounds_take_hold_and_let_go(before, after):
    before, after = np.array(before)[:, None], np.array(after)[:, None]
    guess, _ = exact_logarithms(before)
    found = follow(logarithms(after), guess, settings=SETTINGS)
    exact, slope = exact_logarithms(after)
    assert found.status[0] == Status.CONVERGED
    assert found.iterations[0] <= 6
    np.testing.assert_allclose(found.x, exact.x, atol=1e-7)
    np.testing.assert_array_equal(found.active_lower, exact.active_lower)
    np.testing.assert_array_equal(found.active_upper, exact.active_upper)
    np.testing.assert_allclose(found.lower_multipliers, np.maximum(slope, 0.0), atol=1e-7)
    np.testing.assert_allclose(found.upper_multipliers, np.maximum(-slope, 0.0), atol=1e-7)
    # what holds is on its bound exactly, not near it
    on_bound = found.active_lower | found.active_upper
    assert set(np.abs(found.x[on_bound])) <= {1.0}


def test_random_changes_of_the_bounds_that_hold():
    rng = np.random.default_rng(1)
    before = np.exp(rng.uniform(-1.6, 1.6, (4, 200)))
    after = before * np.exp(rng.uniform(-0.3, 0.3, before.shape))
    guess, _ = exact_logarithms(before)
    found = follow(logarithms(after), guess, settings=SETTINGS)
    exact, _ = exact_logarithms(after)
    assert (exact.active_lower != guess.active_lower).any(axis=0).sum() > 20
    assert not found.status.any()
    np.testing.assert_allclose(found.x, exact.x, atol=1e-6)


def test_a_guess_outside_the_bounds_begins_on_them():
    guess = guess_at([[5.0], [-5.0]])
    found = follow(logarithms([[1.5], [0.7]]), guess, settings=SETTINGS)
    assert found.status[0] == Status.CONVERGED
    np.testing.assert_allclose(found.x[:, 0], np.log([1.5, 0.7]), atol=1e-7)


# --- the nearest state to a target within a disc of radius two: an inequality ------------------------------


def discs(target):
    target = np.asarray(target, dtype=float)

    def function(x, data, xp):
        distance = (x[0] - data[0]) ** 2 + (x[1] - data[1]) ** 2
        return distance, [1.0 - 0.25 * x[0] ** 2 - 0.25 * x[1] ** 2]

    return FunctionProblem(function, [-9.0] * 2, [9.0] * 2, 0, 1, target, target.shape[1])


def nearest_in_disc(target):
    size = np.hypot(*target)
    outside = size > 2.0
    x = np.where(outside, 2.0 * target / size, target)
    # 2 (x - target) + multiplier * (-x / 2) = 0
    return guess_at(x, np.where(outside, 4.0 * (1.0 - size / 2.0), 0.0)[None])


@pytest.mark.parametrize(
    ("before", "after"),
    [([1.0, 1.2], [1.2, 1.0]), ([1.3, 1.3], [1.7, 1.6]), ([2.0, 1.2], [1.2, 0.9]), ([2.0, 1.0], [2.6, 2.0])],
    ids=["does not hold", "takes hold", "lets go", "holds"],
)
def test_an_inequality_takes_hold_and_lets_go(before, after):
    before, after = np.array(before)[:, None], np.array(after)[:, None]
    found = follow(discs(after), nearest_in_disc(before), settings=SETTINGS)
    exact = nearest_in_disc(after)
    assert found.status[0] == Status.CONVERGED
    assert found.iterations[0] <= 7
    np.testing.assert_allclose(found.x, exact.x, atol=1e-7)
    np.testing.assert_allclose(found.multipliers, exact.multipliers, atol=1e-6)
    assert found.multipliers[0, 0] <= 0.0


# --- what is not reached is not claimed --------------------------------------------------------------------


def bent(seed, cases, offset=0.4):
    """Smooth problems of several optima: as much as possible of one variable, subject to bent balances."""
    size, balances = 6, 3
    rng = np.random.default_rng(seed)
    data = np.concatenate(
        [
            rng.normal(size=(balances * size, cases)),
            rng.normal(size=(balances * size, cases)) / 2,
            offset * rng.normal(size=(balances, cases)),
        ]
    )

    def function(x, data, xp):
        slope = data[: balances * size].reshape(balances, size, -1)
        inner = data[balances * size : 2 * balances * size].reshape(balances, size, -1)
        rows = []
        for k in range(balances):
            linear = sum(slope[k, j] * x[j] for j in range(size))
            turn = sum(inner[k, j] * x[j] for j in range(size))
            rows.append(linear + 0.5 * turn * turn + 0.3 * xp.sin(turn) + data[2 * balances * size + k])
        return 0.1 * x[1] ** 2 - x[0], [*rows, 2.5 - x[0] * x[1] - x[2] ** 2]

    lower, upper = [0.0] + [-1.0] * 5, [5.0] + [1.5] * 5
    return FunctionProblem(function, lower, upper, balances, 1, data, cases)


def assert_optimal(problem, solution, which):
    """The optimality conditions, summed here from the problem's own derivatives."""
    cases = np.flatnonzero(which)
    m = problem.equality_count
    at = problem.derivatives(solution.x[:, cases], cases, solution.multipliers[:, cases])
    rows, multipliers = at.values.constraints, solution.multipliers[:, cases]
    lower, upper = solution.lower_multipliers[:, cases], solution.upper_multipliers[:, cases]
    assert np.abs(rows[:m]).max(initial=0.0) <= 1e-9
    assert rows[m:].min(initial=0.0) >= -1e-9
    left = at.gradient + np.einsum("mib,mb->ib", at.jacobian, multipliers) - lower + upper
    scale = np.maximum(np.abs(multipliers).max(axis=0, initial=0.0), 1.0)
    assert np.all(np.abs(left).max(axis=0) <= 1e-6 * scale)
    assert np.all(lower >= 0.0)
    assert np.all(upper >= 0.0)
    assert np.all(multipliers[m:] <= 1e-7)
    np.testing.assert_allclose(multipliers[m:] * rows[m:], 0.0, atol=1e-6)
    np.testing.assert_allclose(lower * (solution.x - problem.lower)[:, cases], 0.0, atol=1e-6)
    np.testing.assert_allclose(upper * (problem.upper - solution.x)[:, cases], 0.0, atol=1e-6)


@pytest.mark.parametrize("seed", [2, 3])
def test_from_afar_it_is_right_or_undecided(seed):
    """Random states, multipliers and bounds that hold: nothing is claimed that is not an optimum."""
    cases = 150
    problem, rng = bent(seed, cases), np.random.default_rng(seed)
    x = rng.uniform(problem.lower, problem.upper)
    hold = rng.uniform(size=x.shape)
    guess = guess_at(x, rng.normal(scale=3.0, size=(4, cases)), lower=hold < 0.1, upper=hold > 0.9)
    found = follow(problem, guess, settings=SETTINGS)
    assert set(found.status) == {Status.CONVERGED, Status.STEP_LIMIT}
    assert_optimal(problem, found, found.status == Status.CONVERGED)
    assert found.iterations.max() <= MOST_STEPS


def test_what_cannot_be_met_is_never_an_answer():
    impossible = bent(4, 60, offset=40.0)
    begun = minimise(bent(4, 60), np.full((6, 60), 0.3))
    assert set(follow(impossible, guess_from(begun), settings=SETTINGS).status) == {Status.STEP_LIMIT}


def test_where_the_model_is_undefined_the_case_is_undecided_and_alone():
    """The logarithm of a distance that is negative on one side of the guess."""

    def function(x, data, xp):
        return x[0] - data[0] * xp.log(x[0]), []

    problem = FunctionProblem(function, [-9.0], [9.0], 0, 0, np.array([[1.0, 2.0, 1.5]]), 3)
    with np.errstate(invalid="ignore"):
        found = follow(problem, guess_at([[1.1, -1.0, 1.4]]), settings=SETTINGS)
    assert list(found.status) == [Status.CONVERGED, Status.STEP_LIMIT, Status.CONVERGED]
    np.testing.assert_allclose(found.x[0, [0, 2]], [1.0, 1.5], atol=1e-7)


def test_without_enough_steps_the_guess_is_given_back():
    guess = lowest(np.ones(2))
    found = follow(circles([1.0, 1.3]), guess, settings=SETTINGS, steps=1)
    assert list(found.status) == [Status.CONVERGED, Status.STEP_LIMIT]
    np.testing.assert_array_equal(found.x[:, 1], guess.x[:, 1])
    assert found.constraint_error[1] == INF


# --- beside the interior point -----------------------------------------------------------------------------


def test_the_same_answers_as_the_interior_point():
    """Answers of cases a little changed, taken over: the optima that the interior point finds from there."""
    problem = bent(5, 80)
    begun = minimise(problem, np.full((6, 80), 0.3))
    good = np.flatnonzero(begun.status == Status.CONVERGED)
    moved = bent(5, 80)
    moved.data = moved.data + 0.02 * np.random.default_rng(6).normal(size=moved.data.shape)
    found = follow(moved, guess_from(begun), settings=SETTINGS)
    converged = good[found.status[good] == Status.CONVERGED]
    assert len(converged) >= 0.9 * len(good)
    assert_optimal(moved, found, found.status == Status.CONVERGED)
    again = minimise(moved, begun.x)
    both = converged[again.status[converged] == Status.CONVERGED]
    same = both[np.abs(found.x[:, both] - again.x[:, both]).max(axis=0) < 1e-3]
    assert len(same) >= 0.9 * len(both)
    # the barrier that is left of the interior point costs it as much as it is for every bound that holds
    behind = again.objective[same] - found.objective[same]
    rows = problem.variable_count + problem.inequality_count
    assert np.all(behind <= rows * SETTINGS.least_barrier)
    assert np.all(behind >= -1e-9)
    assert np.median(found.iterations[same]) < 0.6 * np.median(again.iterations[same])


def test_what_the_interior_point_left_is_made_exact():
    """Its answers are a barrier away from the bounds that hold; followed where they are, they are on them."""
    problem = bent(7, 60)
    near = minimise(problem, np.full((6, 60), 0.3))
    exact = follow(problem, guess_from(near), settings=SETTINGS)
    good = (near.status == Status.CONVERGED) & (exact.status == Status.CONVERGED)
    assert good.sum() >= 0.9 * (near.status == Status.CONVERGED).sum()
    assert exact.iterations[good].max() <= 3
    held = exact.active_lower & good
    assert held.any()
    np.testing.assert_array_equal(exact.x[held], problem.lower[held])
    assert np.all(near.x[held] > problem.lower[held])


# --- batches and ending early ------------------------------------------------------------------------------


FIELDS = ("x", "multipliers", "lower_multipliers", "upper_multipliers", "objective", "status", "iterations",
          "constraint_error", "optimality_error", "worst_constraint", "active_lower",
          "active_upper")  # fmt: skip


def followed(problem, guess, which):
    """Some cases of a problem alone."""
    part = FunctionProblem(problem.function, [0.0] * 6, [1.0] * 6, 3, 1, problem.data[:, which], len(which))
    part.lower, part.upper = problem.lower[:, which], problem.upper[:, which]
    return follow(part, guess.take(which), settings=SETTINGS)


def test_a_case_does_not_depend_on_the_others():
    problem = bent(8, 40)
    begun = minimise(bent(8, 40), np.full((6, 40), 0.3))
    problem.data = problem.data + 0.4 * np.random.default_rng(9).normal(size=problem.data.shape)
    guess = guess_from(begun)
    together = followed(problem, guess, np.arange(40))
    assert len(set(together.status)) == 2
    order = np.random.default_rng(10).permutation(40)
    shuffled = followed(problem, guess, order)
    for name in FIELDS:
        np.testing.assert_array_equal(getattr(shuffled, name), getattr(together, name)[..., order], name)
    for case in range(0, 40, 5):
        alone = followed(problem, guess, np.array([case]))
        for name in FIELDS:
            np.testing.assert_array_equal(
                getattr(alone, name)[..., 0], getattr(together, name)[..., case], name
            )


def test_a_poisoned_neighbour_changes_nothing():
    problem, guess = circles([0.9, 1.1, 1.2]), lowest(np.ones(3))
    whole = follow(problem, guess, settings=SETTINGS)
    problem.data[0, 1] = np.nan
    part = follow(problem, guess, settings=SETTINGS)
    assert part.status[1] == Status.STEP_LIMIT
    np.testing.assert_array_equal(part.x[:, [0, 2]], whole.x[:, [0, 2]])


def test_arrays_that_the_problem_keeps_to_itself_are_left_alone():
    """A problem may give arrays that are not to be written to, such as one number for all cases; seen only
    where a step is taken back.
    """
    cases = 150
    problem, rng = bent(2, cases), np.random.default_rng(2)

    def kept(x, cases, multipliers, objective_weight=1.0):
        given = FunctionProblem.derivatives(problem, x, cases, multipliers, objective_weight)
        for array in (given.values.objective, given.values.constraints, given.gradient, given.jacobian):
            array.flags.writeable = False
        return given

    problem.derivatives = kept
    x = rng.uniform(problem.lower, problem.upper)
    follow(problem, guess_at(x, rng.normal(scale=3.0, size=(4, cases))), settings=SETTINGS)


def test_once_asked_to_end_nothing_is_claimed():
    guess = lowest(np.ones(2))
    with stopping.keep_on_interrupt() as stop:
        stop.ask()
        found = follow(circles([1.0, 1.2]), guess, settings=SETTINGS)
    assert list(found.status) == [Status.STEP_LIMIT] * 2
    np.testing.assert_array_equal(found.x, guess.x)


def test_what_was_done_when_asked_to_end_is_kept():
    problem, calls = circles([1.0, 1.2]), []
    with stopping.keep_on_interrupt() as stop:

        def counted(x, cases, multipliers, objective_weight=1.0):
            calls.append(len(cases))
            if len(calls) == 2:
                stop.ask()
            return FunctionProblem.derivatives(problem, x, cases, multipliers, objective_weight)

        problem.derivatives = counted
        found = follow(problem, lowest(np.ones(2)), settings=SETTINGS)
    assert list(found.status) == [Status.CONVERGED, Status.STEP_LIMIT]
    assert calls == [2, 1]


def test_no_cases():
    found = follow(circles(np.zeros(0)), lowest(np.zeros(0)), settings=SETTINGS)
    assert found.x.shape == (2, 0)
    assert found.status.shape == (0,)
