"""The best value for each range, by hand on small tables of speeds."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from vpp.set_choice import Group, best_of_each, choose, is_lacking, relative_loss

NAN = np.nan


def one_group(candidates: int, ranges: list[int]) -> list[Group]:
    return [Group(of_candidate=np.arange(candidates), of_condition=np.array(ranges))]


def test_loss_is_a_share_of_the_best_at_each_condition() -> None:
    speeds = np.array([[4.0, NAN, NAN], [5.0, 6.0, NAN]])
    np.testing.assert_array_equal(best_of_each(speeds), [5.0, 6.0, NAN])
    np.testing.assert_allclose(relative_loss(speeds), [[0.2, NAN, NAN], [0.0, 0.0, NAN]], atol=1e-15)
    np.testing.assert_array_equal(is_lacking(speeds), [[False, True, False], [False, False, False]])


def test_the_least_mean_relative_loss_counts_and_not_the_mean_speed() -> None:
    # the first loses 10 % of 4 kn, the second 5 % of 20 kn: it is faster on average, and loses more in knots
    speeds = np.array([[3.6, 20.0], [4.0, 19.0]])
    assert list(choose(speeds, one_group(2, [0, 0]))) == [1, 1]
    assert speeds[0].mean() > speeds[1].mean()


def test_each_range_has_the_value_that_is_best_over_it() -> None:
    speeds = np.array([[5.0, 5.0, 5.0, 5.0], [5.2, 4.9, 4.0, 5.1], [4.0, 4.0, 5.5, 5.5]])
    assert list(choose(speeds, one_group(3, [0, 0, 1, 1]))) == [1, 1, 2, 2]
    assert list(choose(speeds, one_group(3, [0, 0, 0, 0]))) == [0, 0, 0, 0]
    assert list(choose(speeds, one_group(3, [0, 1, 2, 3]))) == [1, 0, 2, 2]


def test_of_equals_the_first_is_taken() -> None:
    speeds = np.array([[5.0, 6.0], [6.0, 5.0], [5.0, 6.0]])
    assert list(choose(speeds, one_group(3, [0, 0]))) == [0, 0]
    assert list(choose(speeds[::-1], one_group(3, [0, 0]))) == [0, 0]


def test_a_value_that_cannot_sail_what_another_can_is_not_chosen() -> None:
    speeds = np.array([[9.0, 9.0, NAN], [4.0, 4.0, 4.0]])
    assert list(choose(speeds, one_group(2, [0, 0, 0]))) == [1, 1, 1]


def test_where_none_can_sail_everything_the_fewest_lacking_decide() -> None:
    speeds = np.array([[9.0, NAN, NAN], [4.0, 4.0, NAN], [NAN, 5.0, 5.0]])
    # the second and third lack one condition each; the third loses nothing where it sails
    assert list(choose(speeds, one_group(3, [0, 0, 0]))) == [2, 2, 2]


def test_conditions_that_nobody_sails_count_for_nothing() -> None:
    speeds = np.array([[NAN, 5.0], [NAN, 6.0]])
    assert list(choose(speeds, one_group(2, [0, 0]))) == [1, 1]
    assert list(choose(np.full((2, 2), NAN), one_group(2, [0, 0]))) == [0, 0]


@pytest.mark.parametrize("seed", range(6))
def test_quantities_with_different_ranges_are_chosen_together_as_well_as_can_be(seed: int) -> None:
    """Against every assignment there is: two quantities of 3 and 2 values in 2 ranges each, set across."""
    rng = np.random.default_rng(seed)
    speeds = rng.uniform(4.0, 6.0, (6, 8))
    speeds[rng.random(speeds.shape) < 0.1] = NAN
    first = Group(of_candidate=np.repeat(np.arange(3), 2), of_condition=np.repeat([0, 1], 4))
    second = Group(of_candidate=np.tile(np.arange(2), 3), of_condition=np.tile([0, 1], 4))
    lacking, loss = is_lacking(speeds), np.nan_to_num(relative_loss(speeds))
    totals = []
    for a, b in product(product(range(3), repeat=2), product(range(2), repeat=2)):
        each = 2 * np.array(a)[first.of_condition] + np.array(b)[second.of_condition]
        totals.append((lacking[each, range(8)].sum(), loss[each, range(8)].sum()))
    for groups in ([first, second], [second, first]):
        chosen = choose(speeds, groups)
        found = (lacking[chosen, range(8)].sum(), loss[chosen, range(8)].sum())
        assert found[0] == min(totals)[0]
        assert found[1] == pytest.approx(min(totals)[1], abs=1e-12)
        for group in groups:
            for each in (0, 1):
                assert len(set(group.of_candidate[chosen[group.of_condition == each]])) == 1
