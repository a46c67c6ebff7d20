"""Systems with equalities against NumPy's dense solution of all their equations at once."""

import numpy as np
import pytest

from vpp.solver.linear_algebra import EqualitySystem, split_by_constraints

FLOOR = 1e-8


def random_system(seed, *, size=7, constraints=3, cases=20):
    rng = np.random.default_rng(seed)
    half = rng.normal(size=(size, size, cases))
    hessian = np.einsum("ikb,jkb->ijb", half, half) + 0.1 * np.eye(size)[:, :, None]
    jacobian = rng.normal(size=(constraints, size, cases))
    return hessian, jacobian, rng.normal(size=(size, cases)), rng.normal(size=(constraints, cases))


def solved(hessian, jacobian, gradient, residual):
    system = EqualitySystem.of(hessian, split_by_constraints(jacobian), FLOOR)
    return (*system.solve(gradient, residual), system)


def all_equations(hessian, jacobian, gradient, residual, case):
    """[H A^T; A 0] [d; y] = [-g; -r] of one case."""
    h, a = hessian[..., case], jacobian[..., case]
    matrix = np.block([[h, a.T], [a, np.zeros((len(a), len(a)))]])
    answer = np.linalg.solve(matrix, -np.concatenate([gradient[:, case], residual[:, case]]))
    return answer[: len(h)], answer[len(h) :]


@pytest.mark.parametrize("constraints", [1, 3, 7])
def test_steps_and_multipliers_against_all_equations_at_once(constraints):
    of = random_system(constraints, constraints=constraints)
    step, multipliers, system = solved(*of)
    assert system.convex().all()
    for case in range(step.shape[1]):
        exact_step, exact_multipliers = all_equations(*of, case)
        np.testing.assert_allclose(step[:, case], exact_step, rtol=1e-8, atol=1e-9)
        np.testing.assert_allclose(multipliers[:, case], exact_multipliers, rtol=1e-7, atol=1e-8)


def test_no_constraints_leave_newtons_step():
    hessian, jacobian, gradient, residual = random_system(4, constraints=0)
    step, multipliers, _ = solved(hessian, jacobian, gradient, residual)
    assert multipliers.shape == (0, step.shape[1])
    np.testing.assert_allclose(np.einsum("ijb,jb->ib", hessian, step), -gradient, atol=1e-9)


def test_a_constraint_that_is_there_twice_changes_nothing():
    hessian, jacobian, gradient, residual = random_system(5)
    step, multipliers, _ = solved(hessian, jacobian, gradient, residual)
    twice = np.concatenate([jacobian, 2.0 * jacobian[:1]])
    again, shared, _ = solved(hessian, twice, gradient, np.concatenate([residual, 2.0 * residual[:1]]))
    np.testing.assert_allclose(again, step, atol=1e-9)
    pull = np.einsum("mib,mb->ib", jacobian, multipliers)
    np.testing.assert_allclose(np.einsum("mib,mb->ib", twice, shared), pull, atol=1e-8)


def test_of_constraints_that_contradict_each_other_the_middle_is_taken():
    hessian, jacobian, gradient, residual = random_system(6, constraints=1)
    twice = np.concatenate([jacobian, jacobian])
    step, _, _ = solved(hessian, twice, gradient, np.concatenate([residual, -residual]))
    np.testing.assert_allclose(np.einsum("ib,ib->b", jacobian[0], step), 0.0, atol=1e-9)


def test_a_constraint_without_direction_is_left_out():
    hessian, jacobian, gradient, residual = random_system(7)
    jacobian[1, :, ::2] = 0.0
    step, multipliers, _ = solved(hessian, jacobian, gradient, residual)
    kept = np.array([0, 2])
    alone, of_kept, _ = solved(hessian, jacobian[kept], gradient, residual[kept])
    np.testing.assert_allclose(step[:, ::2], alone[:, ::2], atol=1e-9)
    np.testing.assert_allclose(multipliers[kept][:, ::2], of_kept[:, ::2], atol=1e-8)
    np.testing.assert_array_equal(multipliers[1, ::2], 0.0)
    exact, _ = all_equations(hessian, jacobian, gradient, residual, 1)
    np.testing.assert_allclose(step[:, 1], exact, rtol=1e-8, atol=1e-9)


def test_what_is_not_finite_stays_with_its_case():
    hessian, jacobian, gradient, residual = random_system(8)
    whole, _, _ = solved(hessian, jacobian, gradient, residual)
    jacobian[0, 0, 3] = np.nan
    hessian[0, 0, 5] = np.inf
    with np.errstate(invalid="ignore"):
        step, _, _ = solved(hessian, jacobian, gradient, residual)
    others = np.setdiff1d(np.arange(20), [3, 5])
    np.testing.assert_array_equal(step[:, others], whole[:, others])
    assert not np.isfinite(step[:, 3]).all()


def test_a_case_is_the_same_to_the_last_bit_in_any_batch():
    of = random_system(9)
    of[1][2, :, ::3] = of[1][0, :, ::3]  # some of them dependent
    whole = solved(*of)[:2]
    some = np.array([0, 1, 7, 12])
    part = solved(*(value[..., some] for value in of))[:2]
    alone = solved(*(value[..., 7:8] for value in of))[:2]
    for full, few, one in zip(whole, part, alone, strict=True):
        np.testing.assert_array_equal(full[:, some], few)
        np.testing.assert_array_equal(full[:, 7:8], one)


def test_where_it_curves_down_it_is_said_and_the_step_goes_down_all_the_same():
    hessian, jacobian, gradient, _ = random_system(10)
    hessian[..., ::2] = -hessian[..., ::2]
    step, _, system = solved(hessian, jacobian, gradient, np.zeros((3, 20)))
    assert not system.convex()[::2].any()
    assert system.convex()[1::2].all()
    assert np.all(np.einsum("ib,ib->b", gradient, step) < 0.0)
