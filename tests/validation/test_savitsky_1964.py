"""The prismatic planing hull: D. Savitsky, "Hydrodynamic Design of Planing Hulls", Marine Technology 1(1),
1964.

All inputs and values are from memory. Those marked "charts" are what the worked example reads off its charts
or works with a slide rule; the equilibrium is what the formulae behind the charts give.
"""

import math
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq, root

from vpp.physics import planing, planing_handover
from vpp.physics.hull import friction_coefficient

FOOT, POUND, SLUG = 0.3048, 4.4482216152605, 14.593902937206

# The worked example: a boat of 60 000 lb at 40 kn, its shaft inclined by 4 deg and passing 0.5 ft below the
# centre of mass.
WEIGHT, BEAM = 60_000.0 * POUND, 14.0 * FOOT
MASS_AHEAD, MASS_HEIGHT = 29.0 * FOOT, 2.0 * FOOT
DEADRISE, SHAFT, SHAFT_LEVER = math.radians(10.0), math.radians(4.0), 0.5 * FOOT
SPEED = 40.0 * 1852.0 / 3600.0
DENSITY, VISCOSITY, GRAVITY = 1.94 * SLUG / FOOT**3, 1.35e-5 * FOOT**2, 32.2 * FOOT
ALLOWANCE = 0.0004
FROUDE = SPEED / math.sqrt(GRAVITY * BEAM)
# Body axes with their origin in the centre of mass.
HULL = planing.PlaningHull(
    beam=BEAM, deadrise=DEADRISE, transom_x=-MASS_AHEAD, transom_z=-MASS_HEIGHT, keel_angle=0.0
)


@dataclass(frozen=True)
class Column:
    """A column of the worked example, at one trim."""

    lift: float
    flat_lift: float
    ratio: float
    friction: float
    drag: float
    moment: float


def column(trim: float) -> Column:
    """At a trim [rad], with the source's own two simplifications: the water carries the whole weight, and the
    thrust is what it would be along the keel.
    """
    pressure = 0.5 * DENSITY * SPEED**2 * BEAM**2
    lift = WEIGHT / pressure

    def carried(ratio: float) -> float:
        return float(planing.deadrise_lift(flat_plate_lift=flat(trim, ratio), deadrise=DEADRISE))

    ratio = brentq(lambda ratio: carried(ratio) - lift, 0.5, 8.0)
    water = SPEED * planing.bottom_velocity_ratio(
        trim=trim, length_beam_ratio=np.array(ratio), deadrise=DEADRISE
    )
    coefficient = ALLOWANCE + friction_coefficient(reynolds=water * ratio * BEAM / VISCOSITY)
    friction = 0.5 * DENSITY * water**2 * ratio * BEAM**2 / math.cos(DEADRISE) * coefficient
    centre = planing.centre_of_pressure(length_beam_ratio=np.array(ratio), speed_coefficient=FROUDE)
    ahead = MASS_AHEAD - centre * ratio * BEAM
    above = MASS_HEIGHT - 0.25 * BEAM * math.tan(DEADRISE)
    upright = 1.0 - math.sin(trim) * math.sin(trim + SHAFT)
    moment = WEIGHT * (upright * ahead / math.cos(trim) - SHAFT_LEVER * math.sin(trim)) + friction * (
        above - SHAFT_LEVER
    )
    drag = WEIGHT * math.tan(trim) + friction / math.cos(trim)
    return Column(lift, float(flat(trim, ratio)), ratio, float(friction), float(drag), float(moment))


def flat(trim: float, ratio: Any) -> Any:
    return planing.flat_plate_lift(
        trim=np.array(trim), length_beam_ratio=np.array(ratio), speed_coefficient=FROUDE
    )


@cache
def equilibrium_trim() -> float:
    return float(brentq(lambda trim: column(trim).moment, math.radians(1.5), math.radians(4.0)))


def forces(pitch: float, ride_height: float) -> planing.PlaningForces:
    return planing.planing_forces(
        hull=HULL,
        speed=np.array([SPEED]),
        pitch=np.array([pitch]),
        ride_height=np.array([ride_height]),
        water_density=DENSITY,
        water_viscosity=VISCOSITY,
        gravity=GRAVITY,
        roughness_allowance=ALLOWANCE,
    )


@cache
def balanced() -> planing.PlaningForces:
    """All three equations of the boat in full, with the thrust along the inclined shaft."""

    def residuals(x: Any) -> list[float]:
        found = forces(*x)
        thrust = found.drag[0] / math.cos(x[0] + SHAFT)
        return [
            (found.up[0] + thrust * math.sin(x[0] + SHAFT)) / WEIGHT - 1.0,
            (found.pitch[0] - thrust * SHAFT_LEVER) / (WEIGHT * BEAM),
        ]

    solved = root(residuals, (0.04, 0.0), tol=1e-12)
    assert solved.success
    return forces(*solved.x)


def test_lift_coefficients_of_the_worked_example() -> None:
    """Charts: speed coefficient 3.18, 0.069 with deadrise and 0.085 for the flat plate; half a unit of the
    last place, and 1.5 % for what is read off a chart.
    """
    found = column(math.radians(2.0))
    assert pytest.approx(3.18, abs=0.005) == FROUDE
    assert found.lift == pytest.approx(0.069, abs=5e-4)
    assert found.flat_lift == pytest.approx(0.085, rel=0.015)


@pytest.mark.parametrize(("trim_deg", "ratio"), [(2.0, 3.85), (3.0, 2.60)])
def test_wetted_length_of_the_worked_example(trim_deg: float, ratio: float) -> None:
    """Charts; within 1.5 %, the error of reading the flat plate's lift."""
    assert column(math.radians(trim_deg)).ratio == pytest.approx(ratio, rel=0.015)


def test_friction_of_the_worked_example() -> None:
    """At 2 deg of trim 7340 lb on charts, 7392 lb by the formulae; within 2 %: another friction line (the
    source's is Schoenherr's) is 0.2 % of it.
    """
    friction = column(math.radians(2.0)).friction / POUND
    assert friction == pytest.approx(7340.0, rel=0.02)
    assert friction == pytest.approx(7392.0, rel=0.005)


def test_equilibrium_of_the_worked_example() -> None:
    """Trim 2.26 deg and drag 9072 lb by the formulae; half a unit of the last place, and 0.5 % for the
    friction line.
    """
    trim = equilibrium_trim()
    assert math.degrees(trim) == pytest.approx(2.26, abs=0.005)
    assert column(trim).drag / POUND == pytest.approx(9072.0, rel=0.005)


def test_forces_at_an_attitude_balance_the_worked_example() -> None:
    """The same boat by lift, drag and moment at speed, trim and ride height. Here the thrust carries 1.7 % of
    the weight, which the source lets the water carry: within 2 %.
    """
    found = balanced()
    assert math.degrees(found.trim[0]) == pytest.approx(2.26, rel=0.02)
    assert found.drag[0] / POUND == pytest.approx(9072.0, rel=0.02)
    assert WEIGHT - found.up[0] == pytest.approx(0.017 * WEIGHT, rel=0.1)
    out = planing.outside_range(forces=found, deadrise=DEADRISE)
    assert not any(mask[0] for mask in out.values())


def test_forces_at_an_attitude_agree_with_the_worked_example_where_the_water_carries_the_weight() -> None:
    """Wetted length, friction and drag of the column at 2 and 3 deg, from the transom's draught that gives
    them.
    """
    for trim in np.radians([2.0, 3.0]):
        expected = column(trim)
        keel = BEAM * (expected.ratio + math.tan(DEADRISE) / (2.0 * math.pi * math.tan(trim)))
        ride_height = MASS_AHEAD * math.sin(trim) + MASS_HEIGHT * math.cos(trim) - keel * math.sin(trim)
        found = forces(trim, ride_height)
        assert found.up[0] == pytest.approx(WEIGHT, rel=1e-9)
        assert found.friction[0] == pytest.approx(expected.friction, rel=1e-9)
        assert found.drag[0] == pytest.approx(expected.drag, rel=1e-9)


def test_continued_law_leaves_the_worked_example_as_it_is() -> None:
    """Upright on a bottom twice as long as its wetted keel."""
    found = balanced()
    pitch = float(found.trim[0])
    draught = float(found.keel_length[0]) * math.sin(pitch)
    ride_height = MASS_AHEAD * math.sin(pitch) + MASS_HEIGHT * math.cos(pitch) - draught
    continued = planing_handover.extended_planing_forces(
        hull=HULL,
        bottom_length=2.0 * found.keel_length,
        bottom_fullness=0.7,
        speed=np.array([SPEED]),
        pitch=np.array([pitch]),
        heel=np.zeros(1),
        ride_height=np.array([ride_height]),
        water_density=DENSITY,
        water_viscosity=VISCOSITY,
        gravity=GRAVITY,
        roughness_allowance=ALLOWANCE,
    )
    for name in ("up", "drag", "friction", "length_beam_ratio", "lift_coefficient", "pressure_centre"):
        assert getattr(continued, name) == pytest.approx(getattr(found, name), rel=1e-9), name
    assert continued.pitch == pytest.approx(found.pitch, abs=1e-9 * WEIGHT * BEAM)
    assert continued.roll[0] == pytest.approx(0.0, abs=1e-9 * WEIGHT * BEAM)


def test_worked_example_does_not_porpoise() -> None:
    """The source finds it free of porpoising, sqrt(CL/2) = 0.186."""
    found = balanced()
    assert math.sqrt(0.5 * column(equilibrium_trim()).lift) == pytest.approx(0.186, abs=5e-4)
    given = {"lift_coefficient": found.lift_coefficient, "deadrise": DEADRISE}
    assert not planing.may_porpoise(trim=found.trim, **given)[0]
    assert planing.porpoising_known(**given)[0]
    assert planing.porpoising_margin(trim=found.trim, **given)[0] > 0.0


@pytest.mark.parametrize("froude", [0.6, 1.0, 2.0, 4.0, 13.0])
def test_centre_of_pressure_is_where_its_two_parts_put_it(froude: float) -> None:
    """The source composes it: dynamic lift at 3/4 and buoyancy at 1/3 of the wetted length. 0.5 % for the
    rounding of its constants (5.21 for 5.236 and 2.39 for 2.40).
    """
    trim, ratio = np.array(math.radians(4.0)), np.linspace(0.5, 4.0, 8)
    whole = planing.flat_plate_lift(trim=trim, length_beam_ratio=ratio, speed_coefficient=froude)
    dynamic = planing.flat_plate_lift(trim=trim, length_beam_ratio=ratio, speed_coefficient=1e9)
    expected = 0.75 * dynamic / whole + (1.0 - dynamic / whole) / 3.0
    found = planing.centre_of_pressure(length_beam_ratio=ratio, speed_coefficient=froude)
    assert found == pytest.approx(expected, rel=0.005)


def test_bottom_velocity_without_deadrise() -> None:
    """Printed as a formula of its own: sqrt(1 - 0.0120 trim^1.1/(l^0.5 cos(trim)))."""
    trim_deg, ratio = np.linspace(2.0, 15.0, 14)[:, None], np.linspace(0.5, 4.0, 8)
    trim = np.radians(trim_deg)
    expected = np.sqrt(1.0 - 0.0120 * trim_deg**1.1 / (np.sqrt(ratio) * np.cos(trim)))
    found = planing.bottom_velocity_ratio(trim=trim, length_beam_ratio=ratio, deadrise=0.0)
    assert found == pytest.approx(expected, rel=1e-12)


def test_water_rises_at_the_chines_as_at_a_wedge() -> None:
    """H. Wagner, 1932 (from memory): a wedge is wetted over pi/2 times its breadth in still water. The chine
    therefore meets the spray root 2/pi as far behind the keel as still water.
    """
    trim = math.radians(4.0)
    keel, chine = planing.wetted_lengths(trim=trim, transom_draught=1.0, beam=BEAM, deadrise=DEADRISE)
    in_still_water = 0.5 * BEAM * math.tan(DEADRISE) / math.tan(trim)
    assert keel - chine == pytest.approx(in_still_water / (0.5 * math.pi), rel=1e-12)
