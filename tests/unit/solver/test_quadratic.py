"""Quadratic problems with equalities and bounds against closed forms, SciPy and the optimality conditions."""

import numpy as np
import pytest
from scipy.optimize import minimize

from vpp.solver import quadratic
from vpp.solver.quadratic import Quadratic

FLOOR = 1e-6
INF = np.inf


def solve(of):
    """Silent, as where it is called from: what cannot be met drives numbers out of range."""
    with np.errstate(all="ignore"):
        return quadratic.solve_quadratic(of, FLOOR)


def random_problems(seed, cases, *, size=6, equalities=2, indefinite=False, width=1.0):
    """Random problems that have states between their bounds."""
    rng = np.random.default_rng(seed)
    half = rng.normal(size=(size, size, cases))
    hessian = np.einsum("ikb,jkb->ijb", half, half) + 0.1 * np.eye(size)[:, :, None]
    if indefinite:
        hessian = half + half.transpose(1, 0, 2)
    jacobian = rng.normal(size=(equalities, size, cases))
    low = -width * rng.uniform(0.1, 1.0, (size, cases))
    high = width * rng.uniform(0.1, 1.0, (size, cases))
    inside = low + rng.uniform(0.2, 0.8, (size, cases)) * (high - low)
    residual = -np.einsum("mib,ib->mb", jacobian, inside)
    return Quadratic(hessian, 3.0 * rng.normal(size=(size, cases)), jacobian, residual, low, high)


def only(of, which):
    return Quadratic(**{name: part[..., which] for name, part in vars(of).items()})


def objective(of, step):
    curved = np.einsum("ib,ijb,jb->b", step, of.hessian, step)
    return np.einsum("ib,ib->b", of.gradient, step) + 0.5 * curved


def assert_optimal(of, answer, *, atol=1e-8):
    """The optimality conditions: stationary, feasible, complementary, multipliers of the right sign.

    The floor under the curvature of the scaled problem leaves as large a share of a bound's multiplier over.
    """
    step = answer.step
    pull = np.einsum("mib,mb->ib", of.jacobian, answer.multipliers)
    left = of.gradient + np.einsum("ijb,jb->ib", of.hessian, step) + pull - answer.lower + answer.upper
    largest = np.maximum(answer.lower, answer.upper).max(axis=0)
    assert np.all(np.abs(left).max(axis=0) <= atol + 2.0 * FLOOR * largest)
    np.testing.assert_allclose(np.einsum("mib,ib->mb", of.jacobian, step), -of.residual, atol=atol)
    assert np.all(step >= of.low)
    assert np.all(step <= of.high)
    assert np.all(answer.lower >= 0.0)
    assert np.all(answer.upper >= 0.0)
    for multiplier, gap in ((answer.lower, step - of.low), (answer.upper, of.high - step)):
        bounded = np.isfinite(gap)
        np.testing.assert_allclose(multiplier[bounded] * gap[bounded], 0.0, atol=atol)
        assert not multiplier[~bounded].any()


@pytest.mark.parametrize("equalities", [0, 1, 3])
def test_random_convex_problems_meet_the_optimality_conditions(equalities):
    of = random_problems(1, 60, equalities=equalities)
    answer = solve(of)
    assert_optimal(of, answer)
    assert (answer.lower > 1e-6).any()
    assert (answer.upper > 1e-6).any()


def test_random_convex_problems_against_slsqp():
    of = random_problems(2, 25)
    answer = solve(of)
    for case in range(25):
        one = only(of, slice(case, case + 1))

        def value(step, one=one):
            return objective(one, step[:, None])[0]

        def slope(step, one=one):
            return one.gradient[:, 0] + one.hessian[..., 0] @ step

        def rows(step, one=one):
            return one.jacobian[..., 0] @ step + one.residual[:, 0]

        reference = minimize(
            value,
            np.zeros(6),
            jac=slope,
            method="SLSQP",
            bounds=list(zip(one.low[:, 0], one.high[:, 0], strict=True)),
            constraints={"type": "eq", "fun": rows, "jac": lambda step, one=one: one.jacobian[..., 0]},
            options={"ftol": 1e-14, "maxiter": 300},
        )
        assert reference.success
        assert value(answer.step[:, case]) == pytest.approx(reference.fun, abs=1e-8)
        np.testing.assert_allclose(answer.step[:, case], reference.x, atol=1e-5)


def test_the_nearest_state_in_a_box_is_a_clip():
    rng = np.random.default_rng(3)
    target = rng.normal(scale=2.0, size=(5, 40))
    empty = np.zeros((0, 40))
    of = Quadratic(
        np.repeat(np.eye(5)[:, :, None], 40, axis=-1), -target, np.zeros((0, 5, 40)), empty,
        np.full((5, 40), -1.0), np.full((5, 40), 0.5),
    )  # fmt: skip
    answer = solve(of)
    np.testing.assert_allclose(answer.step, np.clip(target, -1.0, 0.5), atol=1e-8)
    np.testing.assert_allclose(answer.lower, np.maximum(-1.0 - target, 0.0), rtol=2.0 * FLOOR, atol=1e-8)
    np.testing.assert_allclose(answer.upper, np.maximum(target - 0.5, 0.0), rtol=2.0 * FLOOR, atol=1e-8)


def nearest_on_simplex(target):
    """The nearest state of positive parts that add up to one: all are lowered alike and cut off at zero, by
    sorting (from memory).
    """
    sorted_down = -np.sort(-target)
    level = (np.cumsum(sorted_down) - 1.0) / np.arange(1, len(target) + 1)
    return np.maximum(target - level[np.flatnonzero(sorted_down > level)[-1]], 0.0)


def test_the_nearest_state_on_a_simplex():
    rng = np.random.default_rng(4)
    target = rng.normal(size=(6, 40))
    of = Quadratic(
        np.repeat(np.eye(6)[:, :, None], 40, axis=-1), -target, np.ones((1, 6, 40)), np.full((1, 40), -1.0),
        np.zeros((6, 40)), np.full((6, 40), INF),
    )  # fmt: skip
    answer = solve(of)
    expected = np.apply_along_axis(nearest_on_simplex, 0, target)
    np.testing.assert_allclose(answer.step, expected, atol=1e-8)


def test_without_bounds_that_hold_it_is_the_newton_step():
    of = random_problems(5, 30, width=100.0)
    answer = solve(of)
    for case in range(30):
        block = np.block(
            [
                [of.hessian[..., case], of.jacobian[..., case].T],
                [of.jacobian[..., case], np.zeros((2, 2))],
            ]
        )
        exact = np.linalg.solve(block, -np.concatenate([of.gradient[:, case], of.residual[:, case]]))
        if np.abs(exact[:6]).max() > 8.0:
            continue
        np.testing.assert_allclose(answer.step[:, case], exact[:6], rtol=1e-7, atol=1e-8)
        np.testing.assert_allclose(answer.multipliers[:, case], exact[6:], rtol=1e-7, atol=1e-7)


@pytest.mark.parametrize("equalities", [0, 2])
def test_an_indefinite_hessian_leads_downhill(equalities):
    """From a state that meets the equalities: lower in the quadratic model, and between the bounds."""
    of = random_problems(6, 80, equalities=equalities, indefinite=True)
    of.residual[:] = 0.0
    answer = solve(of)
    assert np.linalg.eigvalsh(of.hessian.transpose(2, 0, 1)).min(axis=1).max() < 0.0
    assert np.all(np.isfinite(answer.step))
    assert np.all((answer.step >= of.low) & (answer.step <= of.high))
    assert np.all(objective(of, answer.step) < 0.0)


def with_equalities_that_cannot_be_met():
    """Every second case out of reach between its bounds, others with rows that contradict each other."""
    of = random_problems(7, 40)
    of.residual[:, ::2] += 50.0
    of.jacobian[1, :, 1::4] = of.jacobian[0, :, 1::4]
    of.residual[1, 1::4] = of.residual[0, 1::4] + 1.0
    return of


def test_equalities_that_cannot_be_met_give_something_finite():
    of = with_equalities_that_cannot_be_met()
    answer = solve(of)
    assert np.all(np.isfinite(answer.step))
    assert np.all((answer.step >= of.low) & (answer.step <= of.high))


def test_equalities_that_cannot_be_met_do_not_spread():
    of = with_equalities_that_cannot_be_met()
    answer, possible = solve(of), np.arange(3, 40, 4)
    healthy = {name: part[..., possible] for name, part in vars(answer).items()}
    assert_optimal(only(of, possible), type(answer)(**healthy))


def test_bounds_on_one_side_and_none_at_all():
    of = random_problems(8, 30)
    of.low[:3], of.high[2:] = -INF, INF
    assert_optimal(of, solve(of))


def test_a_state_on_its_bound_may_stay_there_or_leave():
    """`low` of zero is a bound that the step begins at."""
    of = random_problems(9, 50)
    inside = 0.5 * (of.low + of.high)
    of.low[:2] = 0.0
    of.residual[:] = -np.einsum("mib,ib->mb", of.jacobian, np.maximum(inside, of.low + 0.05))
    answer = solve(of)
    assert_optimal(of, answer)
    at_bound = answer.step[:2] < 1e-8
    assert at_bound.any()
    assert not at_bound.all()


def test_a_case_does_not_depend_on_the_others():
    easy, hard = random_problems(10, 20), random_problems(11, 20)
    hard.residual += 50.0
    order = np.random.default_rng(12).permutation(40)
    both = only(
        Quadratic(**{k: np.concatenate([v, getattr(hard, k)], axis=-1) for k, v in vars(easy).items()}), order
    )
    mixed, alone = solve(both), solve(easy)
    places = np.argsort(order)[:20]
    for name, part in vars(alone).items():
        np.testing.assert_array_equal(getattr(mixed, name)[..., places], part, err_msg=name)
    one = solve(only(easy, slice(4, 5)))
    np.testing.assert_array_equal(one.step[:, 0], alone.step[:, 4])


def test_a_case_that_is_not_finite_stays_alone():
    of = random_problems(13, 10)
    whole = solve(of)
    of.gradient[2, 5] = np.nan
    poisoned = solve(of)
    healthy = np.delete(np.arange(10), 5)
    np.testing.assert_array_equal(poisoned.step[:, healthy], whole.step[:, healthy])
