"""Second derivatives kept back until the weights of the sums are known."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from vpp.physics.arrays import array_namespace, without_derivatives
from vpp.solver import jets

ELEMENTS, CASES, VARIABLES = 5, 70, 4


def fed_back(pushed, turned, free):
    """Two results, one without derivatives between them, and what feeds back into the first two arguments."""
    xp = array_namespace(pushed, turned, free)
    swing = xp.sin(pushed) * turned + free * free
    return swing, without_derivatives(swing), pushed * free + turned, 0.3 * xp.tanh(pushed + turned * free)


def settled(x: Any, later: list[Any] | None, cases: slice = slice(None)) -> tuple[Any, ...]:
    """Three sums of each result as functions of four variables; the last turns what is fed back."""
    rng = np.random.default_rng(5)
    a, b = 0.1 * rng.normal(size=(2, CASES, 2 * ELEMENTS, ELEMENTS))[:, cases]
    sums = rng.normal(size=(CASES, 3, ELEMENTS))[cases]
    slopes = rng.normal(size=(3, ELEMENTS, CASES))[..., cases]
    p, q, r, angle = jets.variables(x)
    arguments = [p * slopes[0] + p * q * slopes[1], q * r * slopes[2] + 0.2, slopes[1] * (angle + p)]
    c, s = np.cos(x[3])[:, None, None], np.sin(x[3])[:, None, None]
    operator = a * c + b * s
    unknown = np.zeros(slopes[0].shape)
    for _ in range(80):
        shift = jets.apply_operator(operator, unknown)
        plain = [without_derivatives(each) for each in arguments]
        unknown = fed_back(plain[0] + shift[:ELEMENTS], plain[1] + shift[ELEMENTS:], plain[2])[-1]
    return jets.settled_sums(
        fed_back,
        arguments,
        operators=(operator, b * c - a * s, -operator),
        angle=angle,
        unknown=unknown,
        sums=sums,
        later=later,
    )


def states() -> Any:
    """Values of the variables."""
    return np.random.default_rng(6).uniform(-0.5, 0.5, size=(VARIABLES, CASES))


def test_sums_come_without_second_derivatives_and_are_else_the_same():
    later: list[Any] = []
    found, whole = settled(states(), later), settled(states(), None)
    assert len(later) == 1
    for i in (0, 2):
        assert found[i].hessian is None
        assert whole[i].hessian is not None
        np.testing.assert_array_equal(found[i].value, whole[i].value)
        np.testing.assert_array_equal(found[i].gradient, whole[i].gradient)
    np.testing.assert_array_equal(found[1], whole[1])


def test_a_function_of_the_sums_gets_its_whole_hessian():
    """Of a function that is not linear in them: without the sums' second derivatives, and those by weights,
    against the function of sums that have them.
    """
    x = states()

    def function(results: tuple[Any, ...]) -> Any:
        first, second = results[0], results[2]
        return jets.sin(first[0]) * second[1] + first[2] * first[2] + 3.0 * second[0]

    later: list[Any] = []
    lacking = settled(x, later)
    first, second = lacking[0].value, lacking[2].value
    weights = np.zeros((2, 3, CASES))
    weights[0, 0] = np.cos(first[0]) * second[1]
    weights[0, 2] = 2.0 * first[2]
    weights[1, 1] = np.sin(first[0])
    weights[1, 0] = 3.0
    (curvature,) = later
    _, gradient, hessian = jets.dense(function(lacking), VARIABLES, (CASES,))
    whole = jets.dense(function(settled(x, None)), VARIABLES, (CASES,))
    np.testing.assert_allclose(gradient, whole[1], rtol=1e-13)
    assert np.abs(hessian - whole[2]).max() > 0.1
    hessian += curvature.dense(weights, VARIABLES)
    np.testing.assert_allclose(hessian, whole[2], rtol=1e-12, atol=1e-12 * np.abs(whole[2]).max())


@pytest.mark.parametrize("cases", [slice(0, 1), slice(63, 66), slice(69, 70)])
def test_a_case_has_the_same_curvature_whatever_shares_the_call(cases):
    x = states()
    weights = np.random.default_rng(7).normal(size=(2, 3, CASES))
    together: list[Any] = []
    alone: list[Any] = []
    settled(x, together)
    settled(x[:, cases], alone, cases)
    np.testing.assert_array_equal(
        alone[0].dense(weights[..., cases], VARIABLES), together[0].dense(weights, VARIABLES)[..., cases]
    )
