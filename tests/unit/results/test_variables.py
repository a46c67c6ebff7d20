"""The table of variables and the tables made from it."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from vpp.results.variables import COLUMNS, CONTROL_COLUMNS, VARIABLES, markdown, show_number, variable


def test_columns_come_in_their_fixed_order() -> None:
    assert COLUMNS == (
        "option", "tws_kn", "twa_deg", "aim", "branch", "sail_set", "status",
        "boat_speed_kn", "vmg_kn", "sail_set_margin_kn", "aws_kn", "awa_deg", "beta_deg",
        "heel_deg", "leeway_deg", "pitch_deg", "ride_height_m", "ce_height_m",
        "righting_moment_nm", "heeling_moment_nm", "drive_n", "side_force_n",
        "main_sheet_deg", "main_twist_deg", "main_camber_percent", "main_head_camber_percent",
        "main_foot_camber_percent", "mast_rotation_deg",
        "jib_sheet_deg", "jib_twist_deg", "jib_camber_percent", "table_sail_power_percent",
        "crew_arm_m", "crew_x_m", "tab_deg", "rudder_deg", "cant_deg", "flap_deg", "elevator_deg",
        "tip_depth_m", "cavitation_margin",
        "immersion_price_kn_per_m", "clearance_price_kn_per_m", "cavitation_price_kn",
        "heave_stiffness_n_per_m", "pitch_stiffness_nm_per_deg", "roll_stiffness_nm_per_deg",
        "froude_number", "planing_percent", "porpoising_margin_deg", "wave_height_m", "wave_period_s",
        "calibration", "remark", "reason",
    )  # fmt: skip
    assert CONTROL_COLUMNS[0] == "main_sheet_deg"
    assert CONTROL_COLUMNS[-4:] == ("rudder_deg", "cant_deg", "flap_deg", "elevator_deg")


@pytest.mark.parametrize(
    ("column", "si", "shown"),
    [
        # 1 kn = 1852/3600 m/s: BIPM, The International System of Units (9th ed.), table 8, from memory
        ("boat_speed_kn", 1852.0 / 3600.0, 1.0),
        ("heel_deg", math.pi, 180.0),
        ("main_camber_percent", 0.12, 12.0),
        ("main_head_camber_percent", -0.05, -5.0),
        ("drive_n", 321.0, 321.0),
        ("ce_height_m", 5.0, 5.0),
        ("flap_deg", math.pi, 180.0),
        ("heave_stiffness_n_per_m", 4e4, 4e4),
        # a moment per radian is pi/180 of it per degree
        ("pitch_stiffness_nm_per_deg", 180.0, math.pi),
        ("froude_number", 0.35, 0.35),
    ],
)
def test_conversion_to_the_unit_of_the_column(column: str, si: float, shown: float) -> None:
    assert si * variable(column).factor == pytest.approx(shown, rel=1e-14)


def test_unit_is_the_end_of_the_column_name() -> None:
    ends = {
        "kn": "_kn",
        "deg": "_deg",
        "percent": "_percent",
        "m": "_m",
        "s": "_s",
        "N": "_n",
        "N m": "_nm",
        "1": ("_number", "_margin"),
        "N/m": "_n_per_m",
        "kn/m": "_kn_per_m",
        "N m/deg": "_nm_per_deg",
    }
    for item in VARIABLES:
        if not item.is_text:
            assert item.column.endswith(ends[item.unit])


@pytest.mark.parametrize(
    ("value", "decimals", "signed", "text"),
    [
        (5.678, 2, False, "5.68"),
        (-0.001, 2, False, "0.00"),
        (-0.001, 2, True, "0.00"),
        (0.04, 2, True, "+0.04"),
        (-0.05, 2, True, "-0.05"),
        (float("nan"), 2, False, "-"),
        (float("inf"), 2, True, "-"),
    ],
)
def test_numbers_are_shown_without_negative_zero(
    value: float, decimals: int, signed: bool, text: str
) -> None:
    assert show_number(value, decimals=decimals, signed=signed) == text


def test_speeds_show_two_decimals_and_angles_one() -> None:
    assert variable("boat_speed_kn").show(6.54321) == "6.54"
    assert all(item.decimals == 1 for item in VARIABLES if item.unit == "deg")


def test_remark_is_said_to_name_limits_of_attitude_and_helm_and_not_trims() -> None:
    sense = variable("remark").sense
    assert "attitude, helm and foils" in sense
    assert "not sails, crew, cant and flap at the end of their range" in sense


def test_documentation_holds_the_table_as_it_is() -> None:
    page = Path(__file__).parents[3] / "docs" / "results.md"
    assert markdown() in page.read_text(encoding="utf-8")
