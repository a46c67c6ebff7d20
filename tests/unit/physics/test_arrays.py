"""One spelling of physics for NumPy arrays, arrays with derivatives and JAX arrays."""

import numpy as np
import pytest
from numpy.typing import NDArray

from vpp.physics import arrays
from vpp.solver import jets

FloatArray = NDArray[np.float64]

POINTS = np.array([[0.3, -0.7, 1.1], [0.9, 0.2, -0.4]])


def test_plain_numbers_and_arrays_belong_to_numpy() -> None:
    assert arrays.array_namespace(1.0, 2) is np
    assert arrays.array_namespace(np.ones(2), np.float64(3.0)) is np


def test_one_array_with_derivatives_decides() -> None:
    x, _ = jets.variables(POINTS)
    assert arrays.array_namespace(np.ones(3), 2.0, x) is jets
    assert arrays.array_namespace(x, np.ones(3)) is jets


def test_one_jax_array_decides() -> None:
    jax_numpy = pytest.importorskip(
        "jax.numpy", reason="jax is not installed; it comes with the extra 'reference'"
    )
    assert arrays.array_namespace(np.ones(3), jax_numpy.ones(3)) is jax_numpy


def test_numbers_without_their_derivatives() -> None:
    x, _ = jets.variables(POINTS)
    plain = arrays.without_derivatives(x * x)
    assert isinstance(plain, np.ndarray)
    np.testing.assert_array_equal(plain, POINTS[0] ** 2)
    same = np.ones(3)
    assert arrays.without_derivatives(same) is same
    assert arrays.without_derivatives(2.0) == 2.0


def test_numbers_without_their_derivatives_in_jax() -> None:
    """The derivative through `without_derivatives` is zero, that beside it is not."""
    jax = pytest.importorskip("jax", reason="jax is not installed; it comes with the extra 'reference'")
    slope = jax.grad(lambda x: arrays.without_derivatives(x) * x)(3.0)
    assert slope == pytest.approx(3.0)


def test_elementwise_gives_the_derivatives_of_the_function_itself() -> None:
    """The short way of differentiating and the long one agree to rounding."""

    def function(a: object, b: object) -> tuple[object, object]:
        xp = arrays.array_namespace(a, b)
        return xp.sin(a * b) / (2.0 + b * b), xp.exp(a) * b  # type: ignore[operator]

    x, y = jets.variables(POINTS)
    arguments = (x * y + x, y * y)
    for short, long in zip(arrays.elementwise(function, *arguments), function(*arguments), strict=True):
        for left, right in zip(jets.dense(short, 2, (3,)), jets.dense(long, 2, (3,)), strict=True):
            np.testing.assert_allclose(left, right, rtol=1e-13, atol=1e-14)


def test_elementwise_on_plain_arrays_is_the_function() -> None:
    (doubled,) = arrays.elementwise(lambda a: (2.0 * a,), POINTS)
    np.testing.assert_array_equal(doubled, 2.0 * POINTS)


def operators(rows: int, columns: int, conditions: int) -> FloatArray:
    return np.random.default_rng(3).normal(size=(conditions, rows, columns))


def test_an_operator_acts_on_each_condition_alone() -> None:
    operator = operators(4, 2, 3)
    result = arrays.apply_operator(operator, POINTS)
    for i in range(3):
        np.testing.assert_allclose(result[:, i], operator[i] @ POINTS[:, i], rtol=1e-14)


def test_an_operator_acts_on_derivatives() -> None:
    operator = operators(4, 2, 3)
    x, y = jets.variables(POINTS)
    vector = jets.stack([x * y, y * y * x])
    value, gradient, hessian = jets.dense(arrays.apply_operator(operator, vector), 2, (4, 3))
    for whole, part in zip((value, gradient, hessian), jets.dense(vector, 2, (2, 3)), strict=True):
        np.testing.assert_allclose(
            whole, np.einsum("cij,...jc->...ic", operator, part), rtol=1e-13, atol=1e-14
        )


def test_partials_that_are_written_out_go_through_the_chain_rule() -> None:
    """Of x^2 y by hand, on arguments that depend on the variables, against the product itself."""

    def function(a: FloatArray, b: FloatArray) -> tuple[tuple[FloatArray], object]:
        slopes = np.stack([2.0 * a * b, a * a]), np.stack([2.0 * b, 2.0 * a, 0.0 * a])
        return (a * a * b,), lambda: (slopes,)

    x, y = jets.variables(POINTS)
    for a, b in ((x * y + x, y * y), (x * y, POINTS[0])):
        (short,) = arrays.with_partials(function, a, b)
        for left, right in zip(jets.dense(short, 2, (3,)), jets.dense(a * a * b, 2, (3,)), strict=True):
            np.testing.assert_allclose(left, right, rtol=1e-13, atol=1e-14)
    (plain,) = arrays.with_partials(function, *POINTS)
    np.testing.assert_array_equal(plain, POINTS[0] * POINTS[0] * POINTS[1])


def test_groups_of_rows_at_once_are_each_group_alone() -> None:
    """Two groups, of one row and of two, with an argument that both share and two that each has its own of,
    one of which does not move in the second; every row also sees the sum over its group.
    """
    together = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 1.0], [0.0, 1.0, 1.0]])

    def function(shared: object, own: object, other: object) -> tuple[object, object]:
        xp = arrays.array_namespace(own, shared, other)
        parts = own * shared + xp.sin(other)  # type: ignore[operator]
        return parts * own, xp.matmul(together, parts * parts)  # type: ignore[operator]

    def alone(shared: object, own: object, other: object, count: int) -> tuple[object, object]:
        xp = arrays.array_namespace(own, shared, other)
        part = own * shared + xp.sin(other)  # type: ignore[operator]
        return part * own, float(count) * part * part  # type: ignore[operator]

    x, y = jets.variables(POINTS)
    plain = 0.3 + POINTS[1]
    for shared, own, other in (((x), (x * y, y), (y, plain)), (POINTS[0], tuple(POINTS), (plain, plain))):
        found = arrays.groupwise(function, (shared,), (own, other), (1, 2))
        for group, (count, results) in enumerate(zip((1, 2), found, strict=True)):
            expected = alone(shared, own[group], other[group], count)
            for got, want in zip(results, expected, strict=True):
                assert got.shape == (count, 3)
                for left, right in zip(
                    jets.dense(got, 2, (count, 3)), jets.dense(want, 2, (3,)), strict=True
                ):
                    np.testing.assert_allclose(
                        left, np.broadcast_to(right[..., None, :], left.shape), rtol=1e-12, atol=1e-13
                    )
