"""Which conditions count as near each other."""

from __future__ import annotations

import numpy as np
import pytest

from tests.support import keelboat
from vpp.neighbours import (
    ANGLE_STEP,
    COMPARED,
    CROWD,
    NEAREST,
    REACH,
    SPEED_RATIO,
    Neighbours,
    grouped,
    satellites,
    shares_of_a_crowd,
)  # fmt: skip


def of(conditions, patch=None, branch=None):
    nothing = np.zeros(len(conditions), dtype=np.int64)
    return Neighbours.of(
        conditions, nothing if patch is None else patch, nothing if branch is None else branch
    )


def listed(near, place):
    return [int(case) for case in near.case[place] if case >= 0]


GRID = keelboat.grid(tws_kn=[6, 8, 10, 12, 16, 20], twa_deg=[40, 48, 56, 70, 90, 110, 135, 150])


def test_neighbours_are_as_far_as_said_and_in_that_order():
    near = of(GRID)
    u, v = np.log(GRID.tws) / np.log(SPEED_RATIO), GRID.twa / ANGLE_STEP
    for place in range(len(GRID)):
        case, gap = near.case[place], near.gap[place]
        assert np.all(np.diff(gap[case >= 0]) >= 0.0)
        assert np.all(np.isinf(gap[case < 0]))
        assert place not in case
        assert len(set(listed(near, place))) == len(listed(near, place))
        apart = np.hypot(u[case] - u[place], v[case] - v[place])[case >= 0]
        np.testing.assert_allclose(apart, gap[case >= 0], rtol=1e-9)
        within = np.flatnonzero(np.hypot(u - u[place], v - v[place]) <= COMPARED)
        assert len(listed(near, place)) == min(len(within) - 1, NEAREST)


def test_a_step_is_a_ratio_of_wind_speeds_or_a_turn():
    near = of(keelboat.conditions(tws_kn=[10, 10 * SPEED_RATIO], twa_deg=[90, 90]))
    assert near.gap[0, 0] == pytest.approx(1.0)
    near = of(keelboat.conditions(tws_kn=[10, 10], twa_deg=[90, 90 + np.degrees(ANGLE_STEP)]))
    assert near.gap[0, 0] == pytest.approx(1.0)


def test_nobody_is_a_neighbour_across_patches_branches_or_beyond_what_is_compared():
    pair = keelboat.conditions(tws_kn=[10, 10], twa_deg=[90, 92])
    assert listed(of(pair), 0) == [1]
    assert listed(of(pair, patch=np.array([0, 1])), 0) == []
    assert listed(of(pair, branch=np.array([0, 1])), 0) == []
    far = keelboat.conditions(tws_kn=[10, 10], twa_deg=[90, 90 + np.degrees(ANGLE_STEP) * (COMPARED + 0.1)])
    assert listed(of(far), 0) == []


def test_boats_are_neighbours_in_the_same_wind_alone():
    four = keelboat.conditions(tws_kn=10, twa_deg=[90, 90, 90, 90, 91], option=[0, 1, 2, 3, 1])
    near = of(four)
    for place in range(4):
        assert set(listed(near, place)) <= {0, 1, 2, 3, 4}
        others = {place_ for place_ in range(4) if place_ != place}
        assert set(listed(near, place)) & others  # somebody
        assert all(gap <= REACH for gap in near.gap[place][near.case[place] >= 0])
    assert 1 in listed(near, 4)  # the same boat a degree on
    assert 0 not in listed(near, 4)  # another boat, not in the same wind
    lone = of(keelboat.conditions(tws_kn=[10, 10], twa_deg=[90, 90], option=[0, 1]))
    assert listed(lone, 0) == [1]
    assert listed(lone, 1) == [0]


def test_the_same_wind_twice_is_no_step_apart():
    near = of(keelboat.conditions(tws_kn=[10, 12, 10], twa_deg=[90, 90, 90]))
    assert listed(near, 0)[0] == 2
    assert near.gap[0, 0] == 0.0


def test_neighbours_within_a_patch_do_not_depend_on_other_patches():
    alone = of(GRID)
    others = keelboat.grid(tws_kn=[7, 9, 11], twa_deg=[44, 52, 80])
    both = others.followed_by(GRID)
    patch = np.repeat([0, 1], [len(others), len(GRID)])
    together = of(both, patch=patch)
    shifted = np.where(alone.case >= 0, alone.case + len(others), -1)
    np.testing.assert_array_equal(together.case[len(others) :], shifted)
    np.testing.assert_array_equal(together.gap[len(others) :], alone.gap)


def test_one_condition_and_none():
    assert listed(of(keelboat.conditions(tws_kn=10, twa_deg=90)), 0) == []
    assert of(GRID.take(np.arange(0))).case.shape[0] == 0


def test_grouped_is_a_partition_by_all_keys():
    rng = np.random.default_rng(1)
    first, second = rng.integers(0, 3, 50), rng.choice([0.5, 1.5, 2.5], 50)
    groups = grouped(first, second)
    np.testing.assert_array_equal(np.sort(np.concatenate(groups)), np.arange(50))
    keys = [{(first[i], second[i]) for i in group} for group in groups]
    assert all(len(key) == 1 for key in keys)
    assert len({key.pop() for key in keys}) == len(groups)
    assert all(np.all(np.diff(group) > 0) for group in groups)
    assert grouped(np.zeros(0)) == []


def test_what_is_alone_gets_two_conditions_beside_it():
    pair = keelboat.conditions(tws_kn=[10, 10, 20], twa_deg=[90, 94, 150])
    patch = np.array([3, 3, 4])
    beside, owner = satellites(pair, patch, 3)
    assert owner.tolist() == [2, 2]
    assert len(beside) == 2
    assert set(beside.aim) == {"speed"}
    both = pair.followed_by(beside)
    near = of(both, patch=np.concatenate([patch, patch[owner]]))
    assert set(listed(near, 2)) == {3, 4}
    assert np.all(near.gap[2, :2] <= REACH)
    # one on either side
    assert (beside.tws[0] - pair.tws[2]) * (beside.tws[1] - pair.tws[2]) < 0.0
    assert (beside.twa[0] - pair.twa[2]) * (beside.twa[1] - pair.twa[2]) < 0.0


def test_conditions_that_were_not_asked_for_get_none_beside_them():
    _, owner = satellites(GRID.take(np.array([0, 40])), np.array([0, 0]), 1)
    assert owner.tolist() == [0, 0]
    _, owner = satellites(GRID, np.zeros(len(GRID), dtype=np.int64), 0)
    assert len(owner) == 0


@pytest.mark.parametrize("twa_deg", [20, 30, 36, 178, 180])
def test_conditions_beside_one_are_sailable_angles(twa_deg):
    """None past dead before the wind, nor nearer to the wind than what was asked for there."""
    beside, _ = satellites(keelboat.conditions(tws_kn=10, twa_deg=twa_deg), np.array([0]), 1)
    assert np.all(beside.twa <= np.pi)
    assert np.all(np.degrees(beside.twa) >= min(twa_deg, 35.0) - 1e-9)


def test_conditions_by_themselves_count_as_one_each():
    assert np.all(shares_of_a_crowd(GRID) == 1.0)
    many = keelboat.conditions(tws_kn=10.0, twa_deg=90.0, option=np.arange(6))
    assert np.all(shares_of_a_crowd(many) == 1.0)


def test_of_a_crowd_up_to_so_many_count_as_one():
    dense = keelboat.grid(tws_kn=[10], twa_deg=np.arange(90.0, 110.0, 0.25))
    share = shares_of_a_crowd(dense)
    assert share.min() == 1.0 / CROWD
    assert share.sum() == pytest.approx(len(dense) / CROWD, rel=0.1)
