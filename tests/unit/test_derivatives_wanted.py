"""Derivatives of the balance by some of its variables alone, and what the solver's derivatives consist of."""

from __future__ import annotations

import numpy as np
import pytest

from tests.support import differences

GROUPS = {group.name: group for group in differences.groups(5)}
NAMES = (
    "keelboat / base, hull-borne, best VMG",
    "skiff / base / main_and_jib, hull-borne, speed",
    "foiling_rigs / three_zones, foil-borne, speed",
)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("by", [("heel",), ("leeway", "boat_speed"), ()])
def test_slopes_are_columns_of_the_jacobian(name, by):
    problem = differences.problem(GROUPS[name], most=2, each=3)
    x, cases = differences.states_near_the_start(problem, seed=5), np.arange(problem.condition_count)
    none = np.zeros((problem.equality_count + problem.inequality_count, len(cases)))
    jacobian = problem.derivatives(x, cases, none).jacobian
    found = problem.slopes(x, cases, by)
    expected = jacobian[:, [problem.names.index(variable) for variable in by]]
    assert found.shape == (len(none), len(by), len(cases))
    np.testing.assert_allclose(found, expected, rtol=1e-11, atol=1e-12 * np.abs(jacobian).max())
    for one in (0, len(cases) - 1):
        alone = problem.slopes(x[:, [one]], cases[[one]], by)
        np.testing.assert_array_equal(alone[..., 0], found[..., one])
