"""The commands on the demo boat, with the real solver."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from vpp.cli import app
from vpp.results.variables import COLUMNS, VARIABLES

DEMO = Path(__file__).parents[2] / "configs" / "keelboat.toml"
NOT_OF_A_KEELBOAT = (
    "boats free to pitch",
    "boats free to heave",
    "boats with foils",
    "boats with canting foils",
    "boats with a rudder foil",
    "mains with a head control",
    "boats with sail sets",
    "mains with a foot control",
    "boats with a turning mast",
    "boats with a sail from a table",
    "boats with a trim tab",
    "boats in waves",
    "hulls that plane",
    "hulls that plane, planing",
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    words = [
        "--tws",
        "8:24:16",
        "--twa",
        "60:120:30",
        "--option",
        "taller_rig",
        "--no-figures",
        "-o",
        str(folder),
    ]
    done = CliRunner().invoke(app, ["compare", str(DEMO), *words])
    assert done.exit_code == 0, done.output
    assert "In short, against base" in done.stdout
    (folder / "printed.txt").write_text(done.stdout, encoding="utf-8")
    return folder


def test_every_condition_converges_with_numbers_in_every_column_that_applies(folder: Path) -> None:
    table = pd.read_csv(folder / "polar.csv", keep_default_na=False)
    assert tuple(table.columns) == COLUMNS
    assert set(table["status"]) == {"converged"}
    lacking = [item.column for item in VARIABLES if item.applies in NOT_OF_A_KEELBOAT]
    assert "pitch_deg" in lacking
    assert (table[lacking] == "").all(axis=None)
    assert not (table.drop(columns=[*lacking, "remark", "reason"]) == "").any(axis=None)


def test_budget_balances_along_across_in_roll_and_in_yaw(folder: Path) -> None:
    budget = pd.read_csv(folder / "budget.csv")
    budget = budget.assign(twa_deg=budget["twa_deg"].round(3))
    by_condition = budget.groupby(["option", "tws_kn", "twa_deg", "aim"])
    for column in ("force_x_n", "force_y_n", "moment_x_nm", "moment_z_nm"):
        largest = by_condition[column].agg(lambda values: np.abs(values).max())
        # files carry four decimals of a newton, so that fifteen components may leave a thousandth
        assert (by_condition[column].sum().abs() <= 1e-3 + 1e-6 * largest).all(), column


def test_course_theorem_holds_for_the_exported_numbers(folder: Path) -> None:
    """Lanchester, Aerodynamics (1907): apparent wind angle from the course = drag angle in air + drag angle
    in water.
    """
    budget = pd.read_csv(folder / "budget.csv")
    table = pd.read_csv(folder / "polar.csv").set_index(["option", "tws_kn", "twa_deg", "aim"])
    for condition, parts in budget.groupby(["option", "tws_kn", "twa_deg", "aim"]):
        air = parts.loc[parts["medium"] == "air", ["force_x_n", "force_y_n"]].sum()
        water = parts.loc[parts["medium"] == "water", ["force_x_n", "force_y_n"]].sum()
        beta = np.radians(table.loc[condition, "beta_deg"])
        air_drag = -air["force_x_n"] * np.cos(beta) + air["force_y_n"] * np.sin(beta)
        air_lift = air["force_x_n"] * np.sin(beta) + air["force_y_n"] * np.cos(beta)
        angles = np.arctan2(air_drag, air_lift) + np.arctan2(-water["force_x_n"], -water["force_y_n"])
        # beta is written to a thousandth of a degree
        assert angles == pytest.approx(beta, abs=2e-5)


def test_vmg_and_the_wind_triangle_hold_for_the_exported_numbers(folder: Path) -> None:
    table = pd.read_csv(folder / "polar.csv")
    tws, speed, twa = table["tws_kn"], table["boat_speed_kn"], np.radians(table["twa_deg"])
    np.testing.assert_allclose(table["vmg_kn"], speed * np.cos(twa), atol=2e-4)
    along, across = tws * np.cos(twa) + speed, tws * np.sin(twa)
    np.testing.assert_allclose(table["aws_kn"], np.hypot(along, across), atol=2e-3)
    np.testing.assert_allclose(table["beta_deg"], np.degrees(np.arctan2(across, along)), atol=2e-3)
    np.testing.assert_allclose(table["awa_deg"], table["beta_deg"] - table["leeway_deg"], atol=2e-3)


def test_best_vmg_is_no_worse_than_any_angle_of_the_grid(folder: Path) -> None:
    table = pd.read_csv(folder / "polar.csv")
    for _, rows in table.groupby(["option", "tws_kn"]):
        assert rows.loc[rows["aim"] == "upwind", "vmg_kn"].item() >= rows["vmg_kn"].max() - 1e-4
        assert rows.loc[rows["aim"] == "downwind", "vmg_kn"].item() <= rows["vmg_kn"].min() + 1e-4


def test_numbers_beyond_the_data_of_the_hull_model_are_marked(folder: Path) -> None:
    table = pd.read_csv(folder / "polar.csv", keep_default_na=False)
    printed = (folder / "printed.txt").read_text(encoding="utf-8")
    # the tests behind the hull model end at Froude number 0.45: Gerritsma, Onnink & Versluis, "Geometry,
    # resistance and stability of the Delft systematic yacht hull series" (1981)
    beyond = table["froude_number"] > 0.45
    assert list(table["remark"].str.contains("hull resistance extended past")) == list(beyond)
    assert beyond.any()
    assert f"extended past the data: {beyond.sum()} of {len(table)} conditions" in printed
