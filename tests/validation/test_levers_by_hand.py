"""Levers of numbers that act on one equation alone, against that equation's multiplier by hand.

Source: the envelope theorem (P. Milgrom & I. Segal, Econometrica 70, 2002, pp. 583-601, from memory): a
number that enters one equation as a force or a moment buys what one more newton or newton metre there buys,
times that force or moment for one more unit.
"""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import pandas as pd
import pytest

import vpp
from vpp.config.movable import MovableKeys
from vpp.levers import Levers, levers
from vpp.polar import Point

KEELBOAT = Path(__file__).parents[2] / "configs" / "keelboat.toml"
GRAVITY = 9.80665


@cache
def solved() -> tuple[Point, Levers]:
    boat_file = vpp.load(KEELBOAT)
    point = vpp.point(boat_file, tws_kn=14.0, twa_deg=75.0)
    return point, levers(boat_file, point)


def budget() -> pd.DataFrame:
    return solved()[0].budget.set_index("component")


def test_a_hundredth_more_hull_resistance_is_so_many_newtons_of_drag() -> None:
    _, of = solved()
    resistance = -budget().loc[["hull friction", "hull residuary"], "force_x_n"].sum()
    expected = of["drag_n"].gain_kn * resistance
    assert of["calibration.hull_resistance_scale"].gain_kn == pytest.approx(expected, rel=1e-3)


def test_a_kilogram_lower_down_rights_by_its_height_and_the_heel() -> None:
    point, of = solved()
    movable = MovableKeys(vpp.load(KEELBOAT), "base")
    heel = math.radians(float(point.values["heel_deg"]))
    # the keel's height counts from the drawn water line, the boat floats a little off it
    keel = next(mass.z for mass in movable.boat.masses if mass.name == "keel")
    moment = GRAVITY * (movable.mass_centre[1] - keel) * math.sin(heel)
    difference = of["mass.keel.mass_kg"].gain_kn - of["mass_at_centre_kg"].gain_kn
    assert difference == pytest.approx(of["righting_moment_nm"].gain_kn * moment, rel=2e-3)


def test_ballast_a_metre_out_to_windward_rights_by_its_weight_and_the_heel() -> None:
    point, of = solved()
    heel = math.radians(float(point.values["heel_deg"]))
    moment = -2120.0 * GRAVITY * math.cos(heel)
    assert of["mass.keel.y_m"].gain_kn == pytest.approx(of["righting_moment_nm"].gain_kn * moment, rel=1e-3)


def test_the_crew_further_out_rights_by_its_weight_and_the_heel() -> None:
    point, of = solved()
    heel = math.radians(float(point.values["heel_deg"]))
    # its windage moves with it, and turns the boat a little; so that some per cent are left
    expected = of["righting_moment_nm"].gain_kn * 480.0 * GRAVITY * math.cos(heel)
    assert of["crew.arm_max_m"].gain_kn == pytest.approx(expected, rel=0.05)


def test_drag_area_costs_its_drag_its_side_force_and_its_heel() -> None:
    point, of = solved()
    columns = ["force_x_n", "force_y_n", "moment_x_nm", "moment_y_nm", "moment_z_nm"]
    crew = budget().loc["crew windage", columns].astype(float) / 1.5
    # the budget is about the course, and boats right about their centreline
    leeway = math.radians(float(point.values["leeway_deg"]))
    righting = crew["moment_x_nm"] * math.cos(leeway) - crew["moment_y_nm"] * math.sin(leeway)
    expected = (
        -of["drag_n"].gain_kn * crew["force_x_n"]
        - of["side_force_n"].gain_kn * crew["force_y_n"]
        + of["righting_moment_nm"].gain_kn * righting
        + of["bow_to_leeward_moment_nm"].gain_kn * crew["moment_z_nm"]
    )
    assert of["crew.drag_area_m2"].gain_kn == pytest.approx(expected, rel=2e-3)


def test_a_newton_of_side_force_costs_the_drag_that_solving_again_gave() -> None:
    # docs/theory/one_newton.md, by loads added and the boat solved again: 0.054 N for the force, 0.120 N for
    # its moment at the centre of effort, 9.54 m up
    boat_file = vpp.load(KEELBOAT.parent / "foiling_monohull.toml")
    point = vpp.point(boat_file, tws_kn=14.0, twa_deg="upwind")
    of = levers(boat_file, point, keys=["drag_n", "side_force_n", "righting_moment_nm"])
    drag = -of["drag_n"].gain_kn
    assert of["side_force_n"].gain_kn / drag == pytest.approx(0.054, abs=0.001)
    assert 9.54 * of["righting_moment_nm"].gain_kn / drag == pytest.approx(0.120, abs=0.002)
