"""Tidy tables of solved conditions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.support.synthetic import COMPONENTS, make_boat_file, solve
from vpp.results.frames import (
    budget_frame,
    failures,
    is_extended,
    remark_counts,
    status_counts,
    to_frame,
)
from vpp.results.variables import BUDGET_COLUMNS, COLUMNS, DEGREE, KNOT
from vpp.solved import Conditions, Solved


@pytest.fixture(scope="module")
def solved() -> Solved:
    boats = make_boat_file().boats
    conditions = Conditions(
        option=np.array([0, 0, 1, 0], dtype=np.intp),
        tws=np.array([6.0, 18.0, 12.0, 10.0]) * KNOT,
        twa=np.array([90.0, 30.0, 110.0, np.nan]) * DEGREE,
        aim=np.array(["speed", "speed", "speed", "upwind"]),
    )
    return solve(boats, conditions)


def test_frame_has_the_fixed_columns_and_a_row_for_every_condition(solved: Solved) -> None:
    frame = to_frame(solved)
    assert tuple(frame.columns) == COLUMNS
    assert list(frame["option"]) == ["base", "base", "taller_rig", "base"]
    assert list(frame["status"]) == ["converged", "no_equilibrium", "converged", "converged"]


def test_wind_reads_as_it_was_asked_for(solved: Solved) -> None:
    frame = to_frame(solved)
    assert list(frame["tws_kn"]) == [6.0, 18.0, 12.0, 10.0]
    assert list(frame["twa_deg"][:3]) == [90.0, 30.0, 110.0]


def test_angle_of_a_best_vmg_is_the_one_found(solved: Solved) -> None:
    row = to_frame(solved).iloc[3]
    assert row["twa_deg"] == pytest.approx(solved.quantities["twa"][3] * 180.0 / np.pi, abs=1e-12)
    assert row["vmg_kn"] == pytest.approx(
        row["boat_speed_kn"] * np.cos(np.radians(row["twa_deg"])), rel=1e-12
    )


def test_failed_row_keeps_its_wind_and_reason_and_has_no_numbers(solved: Solved) -> None:
    row = to_frame(solved).iloc[1]
    assert row["tws_kn"] == 18.0
    assert row["reason"].startswith("No equilibrium")
    assert np.isnan(row["boat_speed_kn"])


def test_freedoms_that_a_boat_lacks_have_no_numbers(solved: Solved) -> None:
    frame = to_frame(solved)
    assert frame["pitch_deg"].isna().all()
    assert frame["ride_height_m"].isna().all()


def test_budget_has_a_row_for_every_condition_and_component(solved: Solved) -> None:
    budget = budget_frame(solved)
    assert tuple(budget.columns) == BUDGET_COLUMNS
    assert len(budget) == 4 * len(COMPONENTS)
    third = budget[2 * len(COMPONENTS) : 3 * len(COMPONENTS)]
    assert tuple(third["component"]) == COMPONENTS
    assert set(third["option"]) == {"taller_rig"}


def test_budget_holds_the_forces_of_its_own_condition_and_axis(solved: Solved) -> None:
    budget = budget_frame(solved)
    keel = budget[(budget["component"] == "keel") & (budget["tws_kn"] == 12.0)].iloc[0]
    place = COMPONENTS.index("keel")
    for axis, name in enumerate("xyz"):
        assert keel[f"force_{name}_n"] == solved.force[place, axis, 2]
        assert keel[f"moment_{name}_nm"] == solved.moment[place, axis, 2]


def test_budget_adds_up_and_is_empty_where_a_condition_failed(solved: Solved) -> None:
    budget = budget_frame(solved)
    forces = budget.groupby(["option", "tws_kn"])[["force_x_n", "force_y_n", "force_z_n"]].sum(min_count=1)
    np.testing.assert_allclose(forces.loc[("base", 6.0)], 0.0, atol=1e-9)
    assert budget.loc[budget["tws_kn"] == 18.0, "force_x_n"].isna().all()


def test_every_status_is_counted(solved: Solved) -> None:
    assert status_counts(solved) == {
        "converged": 3,
        "no_equilibrium": 1,
        "limit_reached": 0,
        "step_limit": 0,
        "outside_model_range": 0,
        "not_finite": 0,
        "interrupted": 0,
    }


@pytest.fixture
def remarked(solved: Solved) -> Solved:
    beyond = "hull resistance extended past Fn 0.45"
    remark = np.array([f"heel limit; {beyond}", beyond, "heel limit", ""], dtype=object)
    return replace(solved, remark=remark)


def test_extended_hull_resistance_is_read_from_the_remark_of_a_result(remarked: Solved) -> None:
    # the second condition has failed, so that nothing rests on it
    assert list(is_extended(remarked)) == [True, False, False, False]


def test_every_remark_is_counted_by_itself(remarked: Solved, solved: Solved) -> None:
    assert remark_counts(remarked) == {"heel limit": 2, "hull resistance extended past Fn 0.45": 2}
    assert remark_counts(solved) == {}


def test_failures_are_grouped_with_their_range_of_wind(solved: Solved) -> None:
    grouped = failures(solved)
    assert len(grouped) == 1
    group = grouped.iloc[0]
    assert (group["status"], group["count"], group["tws_from_kn"], group["twa_to_deg"]) == (
        "no_equilibrium",
        1,
        18.0,
        30.0,
    )
