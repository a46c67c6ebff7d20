"""States that meet all equations but are not proven fastest: they are handed on, and are no results."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

import vpp
from tests.support import keelboat
from vpp import equilibrium, search
from vpp.cli import app
from vpp.cli.console import SOME_FAILED
from vpp.config import BoatFile
from vpp.plots import polar_figure
from vpp.solver.status import Status

BOAT = Path(__file__).parents[2] / "configs" / "keelboat.toml"
WIND = {"tws_kn": (10.0, 12.0), "twa_deg": (60.0, 90.0), "options": ("base",)}


@cache
def boat_file() -> BoatFile:
    """The keelboat with few strips on its sails."""
    loaded = vpp.load(BOAT)
    return replace(loaded, boats=tuple(keelboat.coarse(boat) for boat in loaded.boats))


@pytest.fixture(scope="module")
def whole() -> Any:
    return vpp.polar(boat_file(), **WIND)


@pytest.fixture
def ended_early(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Makes searches in 12 kn end with a status, at their optima or, at 90 deg, off balance."""
    report = equilibrium.report

    def of(status: Status) -> None:
        def told(problem: Any, solution: Any) -> Any:
            early = problem.conditions.tws > 6.0
            off = early & (np.abs(problem.conditions.twa - np.pi / 2) < 1e-6)
            return report(
                problem,
                replace(
                    solution,
                    x=np.where(off, 1.1 * solution.x, solution.x),
                    status=np.where(early, status, solution.status),
                    constraint_error=np.where(off, 0.1, solution.constraint_error),
                ),
            )

        monkeypatch.setattr(equilibrium, "report", told)

    return of


@pytest.mark.parametrize("status", [Status.STEP_LIMIT, Status.INTERRUPTED])
def test_the_row_and_the_budget_hold_the_state_and_its_status(whole: Any, ended_early: Any, status: Status):
    ended_early(status)
    polar = vpp.polar(boat_file(), **WIND)
    row = polar.to_frame().query("tws_kn == 12 and twa_deg == 60").iloc[0]
    assert row["status"] == status.name.lower()
    expected = whole.speed("base", tws_kn=12.0, twa_deg=60.0)
    assert row["boat_speed_kn"] == pytest.approx(expected, rel=1e-9)
    budget = polar.budget_frame().query("tws_kn == 12 and twa_deg == 60")
    assert abs(budget["force_x_n"].sum()) < 1e-3


def test_a_state_that_misses_the_equations_has_no_numbers(ended_early: Any) -> None:
    ended_early(Status.STEP_LIMIT)
    polar = vpp.polar(boat_file(), **WIND)
    row = polar.to_frame().query("tws_kn == 12 and twa_deg == 90").iloc[0]
    assert np.isnan(row["boat_speed_kn"])
    assert row["reason"].startswith("Step limit: no feasible state was found in ")
    assert polar.budget_frame().query("tws_kn == 12 and twa_deg == 90")["force_x_n"].isna().all()


def test_it_is_no_result_to_polars_and_figures(whole: Any, ended_early: Any) -> None:
    ended_early(Status.STEP_LIMIT)
    polar = vpp.polar(boat_file(), **WIND)
    assert not polar.converged.reshape(2, 4)[1].any()
    assert np.isnan(polar.at_angles("boat_speed_kn")[0, 1]).all()
    assert np.isnan(polar.at_best_vmg("vmg_kn", aim="upwind")[0, 1])
    np.testing.assert_array_equal(
        polar.at_angles("boat_speed_kn")[0, 0], whole.at_angles("boat_speed_kn")[0, 0]
    )
    drawn = np.concatenate(
        [line.get_ydata() for axes in polar_figure(polar, option="base").axes for line in axes.lines]
    )
    for tws_kn, is_drawn in ((10.0, True), (12.0, False)):
        speed = whole.speed("base", tws_kn=tws_kn, twa_deg=60.0)
        assert np.isclose(drawn, speed, rtol=1e-9).any() == is_drawn


def test_a_point_is_raised_or_returned_where_asked_for(whole: Any, ended_early: Any) -> None:
    ended_early(Status.STEP_LIMIT)
    speed = whole.speed("base", tws_kn=12.0, twa_deg=60.0)
    said = f"best feasible state returned, {speed:.2f} kn, not proven fastest"
    with pytest.raises(vpp.NoEquilibrium, match=said):
        vpp.point(boat_file(), tws_kn=12.0, twa_deg=60.0)
    found = vpp.point(boat_file(), tws_kn=12.0, twa_deg=60.0, unproven=True)
    assert found.values["status"] == "step_limit"
    assert said in str(found.values["reason"])
    with pytest.raises(vpp.NoEquilibrium, match="no feasible state"):
        vpp.point(boat_file(), tws_kn=12.0, twa_deg=90.0, unproven=True)


def test_the_command_prints_it_draws_nothing_and_ends_as_without_a_result(
    ended_early: Any, tmp_path: Path
) -> None:
    ended_early(Status.STEP_LIMIT)
    drawing = tmp_path / "budget.png"
    words = ["point", str(BOAT), "--tws", "12", "--twa", "60", "--figure", str(drawing)]
    ended = CliRunner().invoke(app, words)
    assert ended.exit_code == SOME_FAILED
    assert "not proven fastest" in ended.stdout
    assert "not proven fastest" in ended.stderr
    assert "keel" in ended.stdout
    assert not drawing.exists()


def test_real_searches_of_few_steps_hand_on_what_they_have(monkeypatch: pytest.MonkeyPatch) -> None:
    """With fewer steps than any search takes, whatever comes back says what it is."""
    monkeypatch.setattr(search, "SETTINGS", replace(search.SETTINGS, step_limit=7))
    frame = vpp.polar(boat_file(), **WIND).to_frame()
    early = frame[frame["status"] == "step_limit"]
    assert len(early) > 0
    with_state = early["boat_speed_kn"].notna()
    assert early.loc[with_state, "reason"].str.contains("not proven fastest").all()
    assert early.loc[~with_state, "reason"].str.contains("no feasible state").all()
