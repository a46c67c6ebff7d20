"""Coefficients of a main and a jib against G. Hazen, "A model of sail aerodynamics for diverse rig types",
New England Sailing Yacht Symposium, 1980, as reproduced in Larsson & Eliasson, "Principles of Yacht
Design" (from memory): plausibility within 15 %.

At apparent wind angles 27, 50, 80, 100, 180 deg: main lift 1.50 1.50 0.95 0.85 0, drag without induced drag
0.02 0.15 0.80 1.00 0.90; jib lift 1.50 0.50 0.30 0 0. The best lift that the demo boat's trims reach stands
against the tabulated one. They agree where sails are trimmed for lift with a flat to middling shape. Where
they do not, the tests hold the size of the disagreement that the page on sails states.
"""

import dataclasses
import itertools
import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

import vpp.config
from vpp import fleets
from vpp.boat import Boat
from vpp.physics.sails import SailTrim, Wind, strip_flow, strip_loads

FloatArray = NDArray[np.float64]

KEELBOAT = Path(__file__).parents[2] / "configs" / "keelboat.toml"
BAND = 0.15
WIND_SPEED = 8.0
FLAT, MIDDLING, FULL = 0.0, 0.5, 1.0


@cache
def rig(*names: str) -> tuple[Boat, fleets.Fleet]:
    """The demo boat with some of its sails."""
    base = vpp.config.load(KEELBOAT).boats[0]
    boat = dataclasses.replace(base, sails=tuple(sail for sail in base.sails if sail.name in names))
    return boat, fleets.fleet([boat])


def coefficients(names: tuple[str, ...], angle: float, trims: tuple[SailTrim, ...]) -> FloatArray:
    """Lift and drag coefficients of each sail on its own area, (sails, 2, trims), upright in a wind that is
    the same at all heights.
    """
    boat, fleet = rig(*names)
    count = len(trims[0].sheet)
    arrays, wake = fleet.select(np.zeros(count, dtype=np.intp))
    one = np.ones(count)
    density = 1.225 * one
    wind = Wind(
        true_wind_speed=WIND_SPEED * one,
        true_wind_angle=angle * one,
        exponent=0.0 * one,
        profile_height=10.0 * one,
        air_density=density,
    )
    flow = strip_flow(
        geometry=arrays.rig,
        sails=fleet.layout.slices,
        trims=trims,
        wind=wind,
        boat_speed=0.0 * one,
        leeway=0.0 * one,
        heel=0.0 * one,
    )
    loads = strip_loads(geometry=arrays.rig, operator=wake, flow=flow, air_density=density)
    result = []
    for sail, strips in zip(boat.sails, fleet.layout.slices, strict=True):
        forward, leeward = loads.forward[strips].sum(axis=0), loads.leeward[strips].sum(axis=0)
        lift = forward * math.sin(angle) + leeward * math.cos(angle)
        drag = leeward * math.sin(angle) - forward * math.cos(angle)
        result.append(np.stack([lift, drag]) / (0.5 * 1.225 * WIND_SPEED**2 * sail.area))
    return np.stack(result)


def best_alone(name: str, angle_deg: float, camber: float, which: int = 0) -> float:
    """Largest lift (or drag, `which` 1) coefficient of one sail over its range of sheet and twist."""
    sail = rig(name)[0].sails[0]
    sheet, twist = np.array(
        list(
            itertools.product(
                np.linspace(sail.sheet.lower, sail.sheet.upper, 60),
                np.linspace(sail.twist.lower, sail.twist.upper, 6),
            )
        )
    ).T
    level = np.full(len(sheet), camber)
    trim = SailTrim(sheet=sheet, twist=twist, camber=level, head_camber=level)
    return float(coefficients((name,), math.radians(angle_deg), (trim,))[0, which].max())


def best_together(angle_deg: float, camber: float) -> float:
    """Largest lift coefficient of main and jib on their joint area."""
    boat, _ = rig("main", "jib")
    main, jib = boat.sails
    steps = [
        np.linspace(bounds.lower, min(bounds.upper, math.radians(largest)), count)
        for bounds, largest, count in (
            (main.sheet, angle_deg, 9),
            (main.twist, 25.0, 5),
            (jib.sheet, angle_deg, 9),
            (jib.twist, 25.0, 5),
        )
    ]
    grid = np.array(list(itertools.product(*steps))).T
    level = np.full(grid.shape[1], camber)
    trims = (
        SailTrim(sheet=grid[0], twist=grid[1], camber=level, head_camber=level),
        SailTrim(sheet=grid[2], twist=grid[3], camber=level, head_camber=level),
    )
    lift = coefficients(("main", "jib"), math.radians(angle_deg), trims)[:, 0]
    areas = np.array([main.area, jib.area])
    return float((areas @ lift / areas.sum()).max())


@pytest.mark.parametrize("angle_deg", [27.0, 50.0])
def test_lift_of_the_main_with_a_middling_shape(angle_deg: float) -> None:
    """Hazen 1980 (from memory): 1.50 at 27 and 50 deg."""
    assert best_alone("main", angle_deg, MIDDLING) == pytest.approx(1.50, rel=BAND)


def test_lift_of_the_flattest_jib() -> None:
    """Hazen 1980 (from memory): 1.50 at 27 deg."""
    assert best_alone("jib", 27.0, FLAT) == pytest.approx(1.50, rel=BAND)


def test_lift_of_both_sails_at_their_flattest() -> None:
    """Hazen 1980 (from memory): 1.50 on the joint area at 27 deg."""
    assert best_together(27.0, FLAT) == pytest.approx(1.50, rel=BAND)


def test_tabulated_lift_of_the_main_lies_between_its_flattest_and_fullest_shape() -> None:
    """Hazen 1980 (from memory): 1.50 at 27 deg, what a main gives as it is usually sailed rather than at
    its limits.
    """
    assert best_alone("main", 27.0, FLAT) < 1.50 < best_alone("main", 27.0, FULL)


def test_fullest_main_lifts_a_third_more_than_tabulated() -> None:
    """Hazen 1980 (from memory): 1.50 at 27 deg; the model's 12 % camber carried to a stall of 8 deg beyond
    gives 2.01.
    """
    assert 1.28 < best_alone("main", 27.0, FULL) / 1.50 < 1.36


@pytest.mark.parametrize(("angle_deg", "tabulated", "excess"), [(80.0, 0.95, 1.3), (100.0, 0.85, 1.45)])
def test_main_on_a_reach_can_stay_attached_where_the_table_is_stalled(
    angle_deg: float, tabulated: float, excess: float
) -> None:
    """Hazen 1980 (from memory): 0.95 and 0.85 with a drag of 0.8 and 1.0, a stalled sail; even the flattest
    shape reaches more here.
    """
    assert best_alone("main", angle_deg, FLAT) == pytest.approx(excess * tabulated, rel=0.03)


def test_drag_of_the_main_square_to_the_wind_is_a_third_more_than_tabulated() -> None:
    """Hazen 1980 (from memory): 0.90 at 180 deg; Viterna & Corrigan's plate of the same aspect ratio has
    1.20.
    """
    assert best_alone("main", 180.0, FULL, which=1) / 0.90 == pytest.approx(1.33, abs=0.02)
