"""Arrays with first and second derivatives, operation by operation, against closed forms.

Derivatives of elementary functions: M. Abramowitz & I. Stegun, Handbook of Mathematical Functions, 1964,
chapters 3 and 4. Rules for products, quotients and chains: any calculus text; written out here with full
arrays, which the packed ones must equal.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tests.support.with_jax import double_precision, jax_or_skip
from vpp.physics.arrays import (
    apply_operator,
    array_namespace,
    elementwise,
    has_settled_sums,
    with_slopes,
    without_derivatives,
)
from vpp.solver import jets

N = 4  # variables


class Full(NamedTuple):
    """Value, gradient (N, ...) and Hessian (N, N, ...), nothing left out."""

    value: np.ndarray
    gradient: np.ndarray
    hessian: np.ndarray


def full(jet, shape=None):
    """The same numbers of a jet."""
    return Full(*jets.dense(jet, N, np.shape(without_derivatives(jet)) if shape is None else shape))


def made(seed, support=(0, 1, 2, 3), shape=(3,), curved=True, low=-2.0, high=2.0):
    """A jet with random derivatives over some of the variables."""
    rng = np.random.default_rng(seed)
    size = len(support)
    hessian = rng.normal(size=(size * (size + 1) // 2, *shape)) if curved else None
    return jets.Jet(rng.uniform(low, high, shape), support, rng.normal(size=(size, *shape)), hessian)


def outer(a, b):
    return a[:, None] * b[None, :]


def chain(value, first, second, inner):
    """f(u) from f, f', f'' at u and u's own derivatives."""
    return Full(
        value, first * inner.gradient, first * inner.hessian + second * outer(inner.gradient, inner.gradient)
    )


def chain_of_two(value, first, second, u, v):
    """f(u, v); `second` is f_uu, f_uv, f_vv."""
    crossed = outer(u.gradient, v.gradient) + outer(v.gradient, u.gradient)
    hessian = (
        first[0] * u.hessian
        + first[1] * v.hessian
        + second[0] * outer(u.gradient, u.gradient)
        + second[1] * crossed
        + second[2] * outer(v.gradient, v.gradient)
    )
    return Full(value, first[0] * u.gradient + first[1] * v.gradient, hessian)


def assert_equal(found, expected, rtol=1e-12, atol=1e-12):
    for part_found, part_expected in zip(found, expected, strict=True):
        np.testing.assert_allclose(
            np.broadcast_to(part_found, np.shape(part_expected)), part_expected, rtol=rtol, atol=atol
        )


SUPPORTS = [
    ((0, 1, 2, 3), (0, 1, 2, 3)),
    ((0, 2), (1, 3)),
    ((0, 1, 3), (1, 2)),
    ((2,), (0, 1, 2, 3)),
    ((1,), (1,)),
]
seeds = st.integers(min_value=0, max_value=2**31)

# name: function, first and second derivative, range of the argument
ELEMENTARY = {
    "sqrt": (np.sqrt, lambda x: 0.5 * x**-0.5, lambda x: -0.25 * x**-1.5, (0.1, 9.0)),
    "exp": (np.exp, np.exp, np.exp, (-3.0, 3.0)),
    "log": (np.log, lambda x: 1.0 / x, lambda x: -1.0 / x**2, (0.1, 9.0)),
    "sin": (np.sin, np.cos, lambda x: -np.sin(x), (-7.0, 7.0)),
    "cos": (np.cos, lambda x: -np.sin(x), lambda x: -np.cos(x), (-7.0, 7.0)),
    "tan": (np.tan, lambda x: 1.0 / np.cos(x) ** 2, lambda x: 2.0 * np.sin(x) / np.cos(x) ** 3, (-1.4, 1.4)),
    "arctan": (np.arctan, lambda x: 1.0 / (1.0 + x**2), lambda x: -2.0 * x / (1.0 + x**2) ** 2, (-5.0, 5.0)),
    "tanh": (
        np.tanh,
        lambda x: np.cosh(x) ** -2.0,
        lambda x: -2.0 * np.sinh(x) / np.cosh(x) ** 3,
        (-3.0, 3.0),
    ),
    "abs": (np.abs, np.sign, np.zeros_like, (-3.0, 3.0)),
}


@pytest.mark.parametrize("name", ELEMENTARY)
@settings(deadline=None, max_examples=15)
@given(seed=seeds, curved=st.booleans())
def test_elementary_functions(name, seed, curved):
    function, first, second, (low, high) = ELEMENTARY[name]
    jet = made(seed, support=(0, 2, 3), curved=curved, low=low, high=high)
    expected = chain(function(jet.value), first(jet.value), second(jet.value), full(jet))
    assert_equal(full(getattr(jets, name)(jet)), expected, rtol=1e-10)
    np.testing.assert_array_equal(getattr(jets, name)(jet.value), function(jet.value))


@pytest.mark.parametrize("exponent", [2, 2.0, 3, 4, 8, 0.5, -1.0, 1.0 / 7.0, -1.5])
def test_constant_powers(exponent):
    jet = made(1, low=0.2, high=4.0)
    p, x = exponent, jet.value
    expected = chain(x**p, p * x ** (p - 1), p * (p - 1) * x ** (p - 2), full(jet))
    assert_equal(full(jet**exponent), expected)


def test_square_and_linear_power_are_regular_at_zero():
    jet = jets.Jet(np.zeros(2), (0,), np.ones((1, 2)), None)
    assert_equal(full(jet**2), Full(np.zeros(2), np.zeros((N, 2)), _single(0, 0, 2.0)))
    with np.errstate(all="raise"):
        assert np.isfinite(full(jet**2).hessian).all()


def _single(i, j, value):
    hessian = np.zeros((N, N, 2))
    hessian[i, j] = hessian[j, i] = value
    return hessian


@pytest.mark.parametrize("supports", SUPPORTS)
@settings(deadline=None, max_examples=15)
@given(seed=seeds, curved=st.tuples(st.booleans(), st.booleans()))
def test_sum_difference_product_quotient(supports, seed, curved):
    a = made(seed, supports[0], curved=curved[0])
    b = made(seed + 1, supports[1], curved=curved[1], low=0.5, high=2.0)
    u, v = full(a), full(b)
    one, zero = np.ones(3), np.zeros(3)
    assert_equal(full(a + b), chain_of_two(a.value + b.value, (one, one), (zero, zero, zero), u, v))
    assert_equal(full(a - b), chain_of_two(a.value - b.value, (one, -one), (zero, zero, zero), u, v))
    assert_equal(full(a * b), chain_of_two(a.value * b.value, (b.value, a.value), (zero, one, zero), u, v))
    ratio = chain_of_two(
        a.value / b.value,
        (1.0 / b.value, -a.value / b.value**2),
        (zero, -1.0 / b.value**2, 2.0 * a.value / b.value**3),
        u,
        v,
    )
    assert_equal(full(a / b), ratio, rtol=1e-10)


@pytest.mark.parametrize("supports", SUPPORTS)
@settings(deadline=None, max_examples=15)
@given(seed=seeds, angle=st.floats(-math.pi, math.pi), radius=st.floats(1e-3, 1e3))
def test_arctan2_in_all_quadrants(supports, seed, angle, radius):
    y, x = made(seed, supports[0]), made(seed + 1, supports[1])
    y.value[:], x.value[:] = radius * math.sin(angle), radius * math.cos(angle)
    square = x.value**2 + y.value**2
    first = (x.value / square, -y.value / square)
    cross = (y.value**2 - x.value**2) / square**2
    twice = 2.0 * x.value * y.value / square**2
    expected = chain_of_two(np.arctan2(y.value, x.value), first, (-twice, cross, twice), full(y), full(x))
    size = max(1.0, radius**-2.0)
    assert_equal(full(jets.arctan2(y, x)), expected, rtol=1e-9, atol=1e-9 * size)


@pytest.mark.parametrize(("y", "x"), [(0.0, 2.0), (0.0, -2.0), (3.0, 0.0), (-3.0, 0.0), (-0.0, -2.0)])
def test_arctan2_on_the_axes(y, x):
    """On the axes the angle is that of `math.atan2` and its gradient (x, -y)/r^2, dead astern included."""
    vy, vx = jets.variables(np.array([[y], [x]]))
    angle = full(jets.arctan2(vy, vx))
    assert angle.value == pytest.approx(math.atan2(y, x), abs=1e-15)
    r2 = x * x + y * y
    np.testing.assert_allclose(angle.gradient[:2, 0], [x / r2, -y / r2], atol=1e-15)
    np.testing.assert_allclose(angle.hessian[0, 1, 0], (y * y - x * x) / r2**2, atol=1e-15)


def test_arctan2_with_one_plain_argument():
    (x,) = jets.variables(np.array([[0.5, -0.5]]))
    angle = full(jets.arctan2(np.array([1.0, 1.0]), x))
    np.testing.assert_allclose(angle.value, np.arctan2(1.0, x.value))
    np.testing.assert_allclose(angle.gradient[0], -1.0 / (1.0 + x.value**2))
    np.testing.assert_allclose(angle.hessian[0, 0], 2.0 * x.value / (1.0 + x.value**2) ** 2)


@pytest.mark.parametrize("order", ["jet first", "jet last"])
def test_arithmetic_with_plain_numbers_and_arrays(order):
    jet = made(3, support=(1, 3), low=0.5, high=2.0)
    u, plain, zero = full(jet), np.array([2.0, -3.0, 0.5]), np.zeros(3)
    j, p = jet.value, plain
    if order == "jet first":
        found = (jet + plain, jet - plain, jet * plain, jet / plain)
        expected = (
            chain(j + p, 1.0, zero, u),
            chain(j - p, 1.0, zero, u),
            chain(j * p, p, zero, u),
            chain(j / p, 1.0 / p, zero, u),
        )
    else:
        found = (plain + jet, plain - jet, plain * jet, plain / jet)
        expected = (
            chain(p + j, 1.0, zero, u),
            chain(p - j, -1.0, zero, u),
            chain(p * j, p, zero, u),
            chain(p / j, -p / j**2, 2.0 * p / j**3, u),
        )
    for one, other in zip(found, expected, strict=True):
        assert isinstance(one, jets.Jet)
        assert_equal(full(one), other)
    assert_equal(full(-jet), chain(-j, -1.0, zero, u))
    assert_equal(full(+jet), u)
    assert_equal(full(3 * jet - 1), chain(3.0 * j - 1.0, 3.0, zero, u))


@pytest.mark.parametrize("operation", ["add", "multiply", "divide", "arctan2", "where"])
def test_broadcasting_of_values_and_derivatives(operation):
    """(5, 1) with (4,), and coefficients that are broader or narrower than the value."""
    a, b = made(4, (0, 1), shape=(5, 1), low=0.5), made(5, (1, 2), shape=(4,), low=0.5)
    narrow = jets.Jet(np.linspace(1.0, 2.0, 4), (3,), np.ones((1, 1)), None)
    wide_a, wide_b = jets.broadcast_to(a, (5, 4)), jets.broadcast_to(b, (5, 4))
    wide_narrow = jets.Jet(
        np.broadcast_to(narrow.value, (5, 4)), (3,), np.ones((1, 5, 4)), np.zeros((1, 5, 4))
    )
    act = {
        "add": lambda x, y: x + y,
        "multiply": lambda x, y: x * y,
        "divide": lambda x, y: x / y,
        "arctan2": jets.arctan2,
        "where": lambda x, y: jets.where(np.arange(4) < 2, x, y),
    }[operation]
    for x, y, wide_x, wide_y in ((a, b, wide_a, wide_b), (a, narrow, wide_a, wide_narrow)):
        assert_equal(full(act(x, y), (5, 4)), full(act(wide_x, wide_y), (5, 4)))


@settings(deadline=None, max_examples=25)
@given(arrays(np.bool_, (3,)), seeds, st.booleans())
def test_where_takes_value_and_derivatives_of_the_chosen_branch(condition, seed, plain):
    a = made(seed, (0, 2))
    b = np.array([1.0, 2.0, 3.0]) if plain else made(seed + 1, (1, 2), curved=False)
    u, v = full(a), full(b)
    expected = Full(*(np.where(condition, x, y) for x, y in zip(u, v, strict=True)))
    assert_equal(full(jets.where(condition, a, b)), expected)
    flipped = Full(*(np.where(condition, y, x) for x, y in zip(u, v, strict=True)))
    assert_equal(full(jets.where(condition, b, a)), flipped)


def test_where_does_not_let_the_other_branch_in():
    """The safe double `where`: infinite derivatives of the other branch must not spoil this one."""
    (x,) = jets.variables(np.array([[0.0, 4.0]]))
    positive = x > 0.0
    safe = jets.where(positive, jets.sqrt(jets.where(positive, x, 1.0)), 0.0)
    assert_equal(full(safe), Full(np.array([0.0, 2.0]), _row(0, [0.0, 0.25]), _pair(0, [0.0, -1.0 / 32.0])))


def _row(i, values):
    gradient = np.zeros((N, 2))
    gradient[i] = values
    return gradient


def _pair(i, values):
    hessian = np.zeros((N, N, 2))
    hessian[i, i] = values
    return hessian


@settings(deadline=None, max_examples=25)
@given(seeds)
def test_maximum_minimum_and_comparisons_go_by_value(seed):
    a, b = made(seed, (0, 1)), made(seed + 1, (1, 3))
    larger = a.value >= b.value
    pick = [np.where(larger, x, y) for x, y in zip(full(a), full(b), strict=True)]
    drop = [np.where(larger, y, x) for x, y in zip(full(a), full(b), strict=True)]
    assert_equal(full(jets.maximum(a, b)), Full(*pick))
    assert_equal(full(jets.minimum(a, b)), Full(*drop))
    np.testing.assert_array_equal(a < b, a.value < b.value)
    np.testing.assert_array_equal(a >= 0.3, a.value >= 0.3)
    np.testing.assert_array_equal(a <= b, a.value <= b.value)
    np.testing.assert_array_equal(a < 0.3, a.value < 0.3)


@pytest.mark.parametrize(
    "key", [0, -1, slice(1, 3), (slice(None), 2), (..., 1), np.array([2, 0, 2]), (None, 1)]
)
@pytest.mark.parametrize("curved", [True, False])
def test_indexing(key, curved):
    jet = made(6, (0, 3), shape=(4, 5), curved=curved)
    u = full(jet)
    tail = key if isinstance(key, tuple) else (key,)
    expected = Full(
        u.value[key], u.gradient[(slice(None), *tail)], u.hessian[(slice(None), slice(None), *tail)]
    )
    assert_equal(full(jet[key]), expected)


def test_indexing_of_a_variable_whose_derivatives_are_stored_once():
    x, _ = jets.variables(np.arange(12.0).reshape(2, 6))
    assert_equal(full(x[2:4]), Full(np.array([2.0, 3.0]), _row(0, [1.0, 1.0]), np.zeros((N, N, 2))))
    assert x[2:4].gradient.shape == (1, 2)


@pytest.mark.parametrize("axis", [0, 1, -1])
def test_sum_along_an_axis(axis):
    jet = made(7, (1, 2), shape=(4, 5))
    u, along = full(jet), axis % 2
    expected = Full(u.value.sum(along), u.gradient.sum(along + 1), u.hessian.sum(along + 2))
    assert_equal(full(jets.sum(jet, axis=axis)), expected)
    np.testing.assert_array_equal(jets.sum(jet.value, axis=axis), jet.value.sum(axis=axis))


@pytest.mark.parametrize("axis", [0, 1])
def test_concatenate_joins_jets_and_plain_arrays(axis):
    a, b, plain = made(8, (0, 1), shape=(3, 3)), made(9, (2,), shape=(3, 3), curved=False), np.ones((3, 3))
    found = full(jets.concatenate([a, plain, b], axis=axis))
    parts = [full(a), Full(plain, np.zeros((N, 3, 3)), np.zeros((N, N, 3, 3))), full(b)]
    expected = Full(
        *(np.concatenate(group, axis=axis + i) for i, group in enumerate(zip(*parts, strict=True)))
    )
    assert_equal(found, expected)
    np.testing.assert_array_equal(
        jets.concatenate([plain, plain], axis=axis), np.concatenate([plain, plain], axis=axis)
    )


def test_stack_broadcasts_first():
    a, b = made(10, (0, 2), shape=(4,)), made(11, (1,), shape=(3, 1))
    found = jets.stack([a, b, 2.5])
    assert found.shape == (3, 3, 4)
    for i, part in enumerate((a, b, 2.5)):
        assert_equal(full(found[i]), full(part, (3, 4)))
    with pytest.raises(ValueError, match="axis 0"):
        jets.stack([a, b], axis=1)


def test_reshape_and_broadcast_to():
    jet = made(12, (0, 1), shape=(2, 3))
    u = full(jet)
    expected = Full(u.value.reshape(3, 2), u.gradient.reshape(N, 3, 2), u.hessian.reshape(N, N, 3, 2))
    assert_equal(full(jet.reshape(3, 2)), expected)
    wide = jets.broadcast_to(made(13, (0, 1), shape=(3,)), (2, 3))
    assert_equal(full(wide[0]), full(wide[1]))
    assert wide.shape == (2, 3)
    assert wide.ndim == 2


def test_zeros_and_ones_are_plain_and_of_the_same_shape():
    jet = made(14, shape=(2, 3))
    np.testing.assert_array_equal(jets.zeros_like(jet), np.zeros((2, 3)))
    np.testing.assert_array_equal(jets.ones_like(jet), np.ones((2, 3)))


def test_dense_and_variables():
    x = np.array([[1.0, 2.0], [3.0, 4.0]])
    first, second = jets.variables(x)
    value, gradient, hessian = jets.dense(first * second, 2, (2,))
    np.testing.assert_array_equal(value, [3.0, 8.0])
    np.testing.assert_array_equal(gradient, [[3.0, 4.0], [1.0, 2.0]])
    np.testing.assert_array_equal(hessian, [[[0.0, 0.0], [1.0, 1.0]], [[1.0, 1.0], [0.0, 0.0]]])
    value, gradient, hessian = jets.dense(2.5, 2, (2,))
    np.testing.assert_array_equal(value, [2.5, 2.5])
    assert not gradient.any()
    assert not hessian.any()


def _long_expression(x, y, z):
    xp = array_namespace(x, y, z)
    smooth = xp.tanh(x * y) + xp.arctan2(y, xp.exp(z)) * xp.sqrt(1.0 + z * z)
    return smooth, xp.where(x > 0.0, x**3, x * z), xp.sin(x) / (2.0 + xp.cos(z))


@pytest.mark.parametrize(
    "supports", [((0, 1), (1, 2), (0, 3)), ((0,), (1,), (2,)), ((0, 1, 2, 3), (2,), (2, 3))]
)
@settings(deadline=None, max_examples=15)
@given(seed=seeds, curved=st.booleans())
def test_compose_equals_the_direct_way(supports, seed, curved):
    arguments = [made(seed + i, support, curved=curved) for i, support in enumerate(supports)]
    for short, direct in zip(
        elementwise(_long_expression, *arguments), _long_expression(*arguments), strict=True
    ):
        assert_equal(full(short), full(direct), rtol=1e-11, atol=1e-11)


def test_compose_with_plain_arguments_and_broadcasting():
    x, z = made(15, (0, 1), shape=(5, 1)), made(16, (1, 3), shape=(4,))
    y = np.linspace(-1.0, 1.0, 20).reshape(5, 4)
    for short, direct in zip(elementwise(_long_expression, x, y, z), _long_expression(x, y, z), strict=True):
        assert_equal(full(short, (5, 4)), full(direct, (5, 4)), rtol=1e-11, atol=1e-11)
    plain = elementwise(_long_expression, x.value, y, z.value)
    np.testing.assert_array_equal(plain[0], _long_expression(x.value, y, z.value)[0])
    (constant,) = elementwise(lambda a: (np.ones(4),), z)
    np.testing.assert_array_equal(constant, np.ones(4))


@pytest.mark.parametrize("curved", [True, False])
def test_composing_results_of_all_kinds_at_once(curved):
    """Linear and bent results, of one, two and three arguments, and of several shapes, keep their order."""
    a, b = made(30, (0, 1), shape=(2, 3), curved=curved), made(31, (1, 3), shape=(3,), curved=curved)
    c = made(32, (2,), shape=(2, 3), curved=False)

    def several(a, b, c):
        return a + b, a * b, 2.0 * b, b**3, a * b * c, jets.sin(c), a - b, c / (3.0 + a * a + b * b)

    composed, direct = elementwise(several, a, b, c), several(a, b, c)
    for found, expected in zip(composed, direct, strict=True):
        assert found.shape == expected.shape
        assert_equal(full(found), full(expected))


@pytest.mark.parametrize("curved", [True, False])
def test_matmul_is_a_matrix_product_along_the_last_axis_but_one(curved):
    rng = np.random.default_rng(33)
    matrix, x = rng.normal(size=(2, 5)), made(34, (0, 2), shape=(4, 5, 3), curved=curved)
    u = full(x)
    expected = Full(*(np.einsum("rk,...kc->...rc", matrix, part) for part in u))
    assert_equal(full(jets.matmul(matrix, x)), expected)
    np.testing.assert_allclose(jets.matmul(matrix, u.value), expected.value)


@pytest.mark.parametrize("curved", [True, False])
def test_apply_operator_is_a_matrix_product_for_each_case(curved):
    rng = np.random.default_rng(17)
    operator, vector = rng.normal(size=(3, 2, 5)), made(18, (0, 2), shape=(5, 3), curved=curved)
    u = full(vector)
    expected = Full(
        np.einsum("crk,kc->rc", operator, u.value),
        np.einsum("crk,nkc->nrc", operator, u.gradient),
        np.einsum("crk,nmkc->nmrc", operator, u.hessian),
    )
    assert_equal(full(apply_operator(operator, vector)), expected)
    np.testing.assert_allclose(apply_operator(operator, u.value), expected.value)


ELEMENTS, CASES = 3, 70


def fed_back(pushed, turned, free):
    """Two results and, last, what feeds back into the first two arguments."""
    xp = array_namespace(pushed, turned, free)
    swing = xp.sin(pushed) * turned + free * free
    return swing, without_derivatives(swing), pushed * free + turned, 0.3 * xp.tanh(pushed + turned * free)


def settled_by_repetition(arguments, a, b, angle):
    """The fed-back quantity with its derivatives, by putting it in until nothing changes; what feeds back is
    `a` cos angle + `b` sin angle times it.
    """
    xp = array_namespace(angle)
    unknown = np.zeros((ELEMENTS, CASES))
    for _ in range(80):
        shift = xp.cos(angle) * apply_operator(a, unknown) + xp.sin(angle) * apply_operator(b, unknown)
        moved = (arguments[0] + shift[:ELEMENTS], arguments[1] + shift[ELEMENTS:], arguments[2])
        results = fed_back(*moved)
        unknown = results[-1]
    return unknown, results


def turning(a, b, angle):
    """The matrix of that feedback and its first two derivatives by the angle."""
    c, s = (f(angle)[:, None, None] for f in (np.cos, np.sin))
    return a * c + b * s, b * c - a * s, -a * c - b * s


@pytest.mark.parametrize("curved", [True, False])
@pytest.mark.parametrize("still", [(), (2,), (0, 2)])
def test_settled_sums_are_those_of_an_equation_solved_with_its_derivatives(curved, still):
    """Against a contraction repeated with jets until values and derivatives stand; `still` names arguments
    without derivatives.
    """
    rng = np.random.default_rng(41)
    a, b = 0.1 * rng.normal(size=(2, CASES, 2 * ELEMENTS, ELEMENTS))
    angle = made(42, (1, 3), shape=(CASES,))
    operators = turning(a, b, angle.value)
    arguments = [
        made(43 + i, (i, 3), shape=(ELEMENTS, CASES), curved=curved, low=-0.5, high=0.5) for i in range(3)
    ]
    arguments = [x.value if i in still else x for i, x in enumerate(arguments)]
    unknown, expected = settled_by_repetition(arguments, a, b, angle)
    sums = rng.normal(size=(CASES, 2, ELEMENTS))
    found = jets.settled_sums(
        fed_back, arguments, operators=operators, angle=angle, unknown=unknown.value, sums=sums
    )
    assert len(found) == 3
    np.testing.assert_allclose(found[1], expected[1], rtol=1e-12)
    for one, other in ((found[0], expected[0]), (found[2], expected[2])):
        assert_equal(full(one), full(apply_operator(sums, other)), rtol=1e-9, atol=1e-9)


def test_settled_sums_at_a_plain_angle_and_of_no_cases():
    """As with an angle that does not move; and nothing of nothing."""
    a, b = 0.1 * np.random.default_rng(44).normal(size=(2, CASES, 2 * ELEMENTS, ELEMENTS))
    sums = np.ones((CASES, 1, ELEMENTS))
    angle = np.linspace(0.1, 1.0, CASES)
    operators = turning(a, b, angle)
    arguments = [made(45 + i, (i,), shape=(ELEMENTS, CASES), low=-0.5, high=0.5) for i in range(3)]
    unknown, expected = settled_by_repetition(arguments, a, b, angle)
    found = jets.settled_sums(
        fed_back, arguments, operators=operators, angle=angle, unknown=unknown.value, sums=sums
    )
    assert_equal(full(found[0]), full(apply_operator(sums, expected[0])), rtol=1e-9, atol=1e-9)
    none = jets.settled_sums(
        fed_back,
        [x[:, :0] for x in arguments],
        operators=[operator[:0] for operator in operators],
        angle=angle[:0],
        unknown=unknown.value[:, :0],
        sums=sums[:0],
    )
    assert none[0].shape == (1, 0)


def test_functions_with_their_slopes_are_those_that_many_operations_make():
    """And of plain numbers, the values alone."""
    x = made(48, (0, 2), (3,), low=0.2)

    def given(x):
        e, s, c = np.exp(x), np.sin(x), np.cos(x)
        return (e * s, x * x), lambda: ((e * (s + c), 2.0 * e * c), (2.0 * x, 2.0 * np.ones_like(x)))

    for found, made_up in zip(with_slopes(given, x), (jets.exp(x) * jets.sin(x), x * x), strict=True):
        assert_equal(full(found), full(made_up))
    np.testing.assert_array_equal(with_slopes(given, x.value)[1], x.value**2)


def test_elementwise_in_variables_of_their_own_is_the_function_itself():
    """Arguments that are a variable times a number each, in any order of the variables."""
    shape = (3,)
    x, y = made(46, (2,), shape, curved=False, low=0.2), made(47, (0,), shape, curved=False, low=0.2)

    def function(a, b):
        return a * jets.exp(b) + b * b, 2.0 * a - b

    for composed, plain in zip(elementwise(function, x, y), function(x, y), strict=True):
        assert_equal(full(composed), full(plain))


def test_namespace_protocol():
    """A jet announces the module as its namespace (Python array API standard, 2023.12); plain numbers stay
    with NumPy.
    """
    jet = made(22)
    assert jet.__array_namespace__() is jets
    assert array_namespace(1.0, np.ones(3), jet) is jets
    assert array_namespace(1.0, np.ones(3)) is np
    assert has_settled_sums(np.ones(3), jet)
    assert not has_settled_sums(np.ones(3))
    np.testing.assert_array_equal(without_derivatives(jet), jet.value)
    np.testing.assert_array_equal(without_derivatives(jet.value), jet.value)
    names = [
        "sqrt",
        "exp",
        "log",
        "sin",
        "cos",
        "tan",
        "arctan",
        "arctan2",
        "tanh",
        "abs",
        "where",
        "maximum",
        "minimum",
        "sum",
        "matmul",
        "stack",
        "concatenate",
    ]
    for name in [*names, "broadcast_to", "zeros_like", "ones_like", "pi"]:
        assert hasattr(jets, name), name


def test_numpy_functions_refuse_jets_rather_than_drop_derivatives():
    jet = made(23)
    with pytest.raises(TypeError):
        np.sin(jet)
    with pytest.raises(TypeError):
        np.add(np.ones(3), jet)


def _field(xp, x):
    """A function of three variables that uses most of the namespace."""
    a, b, c = x[0], x[1], x[2]
    rows = xp.stack([xp.sin(a * b), xp.exp(-c) / (1.0 + a * a), xp.arctan2(b, a)])
    joined = xp.concatenate([rows, rows * xp.sqrt(1.0 + c * c)])
    return (
        xp.sum(joined * joined, axis=0)
        + xp.maximum(a, 2.0 * b) ** 3
        - xp.log(2.0 + xp.tanh(c))
        + xp.tan(0.1 * a)
    )


def test_gradient_and_hessian_equal_those_of_jax():
    """Reference library: JAX, forward over reverse differentiation in double precision."""
    jax = jax_or_skip()
    x = np.random.default_rng(24).uniform(0.3, 1.5, size=(3, 6)) * np.array([[1.0], [-1.0], [1.0]])
    value, gradient, hessian = jets.dense(_field(jets, jets.variables(x)), 3, (6,))

    def field(point):
        return _field(jax.numpy, point)

    with double_precision(jax):
        by_case = [jax.jit(jax.vmap(f))(x.T) for f in (field, jax.grad(field), jax.hessian(field))]
    np.testing.assert_allclose(value, by_case[0], rtol=1e-13)
    np.testing.assert_allclose(gradient.T, by_case[1], rtol=1e-11)
    np.testing.assert_allclose(hessian.transpose(2, 0, 1), by_case[2], rtol=1e-10, atol=1e-12)
