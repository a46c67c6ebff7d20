"""The wind triangle on a moving, heeled boat."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vpp.physics import wind
from vpp.solver import jets

speeds = st.floats(0.5, 30.0)
angles = st.floats(0.0, math.pi)


@pytest.mark.parametrize(
    ("true_angle_deg", "apparent_speed", "beta_deg"),
    [(0.0, 9.0, 0.0), (90.0, 5.0, math.degrees(math.atan2(4.0, 3.0))), (180.0, 1.0, 180.0)],
)
def test_wind_triangle_by_hand(true_angle_deg: float, apparent_speed: float, beta_deg: float) -> None:
    """Sums of vectors: head wind, the 3-4-5 triangle and a dead run, each with the boat's speed of hand."""
    true_speed, boat_speed = {0.0: (5.0, 4.0), 90.0: (4.0, 3.0), 180.0: (5.0, 4.0)}[true_angle_deg]
    speed, beta = wind.apparent_wind(
        true_wind_speed=true_speed, true_wind_angle=math.radians(true_angle_deg), boat_speed=boat_speed
    )
    assert speed == pytest.approx(apparent_speed, rel=1e-12)
    assert math.degrees(beta) == pytest.approx(beta_deg, abs=1e-9)


@given(true_speed=speeds, true_angle=angles, boat_speed=speeds)
def test_wind_triangle_obeys_the_laws_of_triangles(
    true_speed: float, true_angle: float, boat_speed: float
) -> None:
    """Law of cosines, and law of sines: the boat's and the wind's speed across the apparent wind are equal
    (plane geometry).
    """
    speed, beta = wind.apparent_wind(
        true_wind_speed=true_speed, true_wind_angle=true_angle, boat_speed=boat_speed
    )
    squared = true_speed**2 + boat_speed**2 + 2.0 * true_speed * boat_speed * math.cos(true_angle)
    assert speed**2 == pytest.approx(squared, rel=1e-12, abs=1e-12)
    assert boat_speed * math.sin(beta) == pytest.approx(true_speed * math.sin(true_angle - beta), abs=1e-9)


def test_boat_at_the_speed_of_the_wind_halves_the_angle() -> None:
    """Isosceles triangle: beta = TWA/2."""
    for degrees in (40.0, 90.0, 150.0):
        _, beta = wind.apparent_wind(
            true_wind_speed=6.0, true_wind_angle=math.radians(degrees), boat_speed=6.0
        )
        assert math.degrees(beta) == pytest.approx(degrees / 2.0)


def test_boat_at_rest_and_air_at_rest() -> None:
    speed, beta = wind.apparent_wind(true_wind_speed=6.0, true_wind_angle=2.0, boat_speed=0.0)
    assert (speed, beta) == pytest.approx((6.0, 2.0))
    speed, beta = wind.apparent_wind(true_wind_speed=0.0, true_wind_angle=2.0, boat_speed=3.0)
    assert (speed, beta) == pytest.approx((3.0, 0.0))
    speed, beta = wind.apparent_wind(true_wind_speed=0.0, true_wind_angle=2.0, boat_speed=0.0)
    assert speed == 0.0
    assert math.isfinite(beta)


def test_no_wind_has_finite_derivatives_while_the_boat_moves() -> None:
    true_speed, boat_speed = jets.variables(np.array([[0.0], [3.0]]))
    for result in wind.apparent_wind(true_wind_speed=true_speed, true_wind_angle=2.0, boat_speed=boat_speed):
        for part in jets.dense(result, 2, (1,)):
            assert np.isfinite(part).all()


def test_apparent_wind_twists_with_height_though_the_true_wind_does_not() -> None:
    """More wind aloft draws the apparent wind aft; by hand with 1/7: 4.0 m/s at 10 m is 4.416 at 20 m,
    3.179 at 2 m.
    """
    profile = wind.power_law_profile(
        height=np.array([2.0, 10.0, 20.0]), exponent=1.0 / 7.0, reference_height=10.0
    )
    _, beta = wind.apparent_wind(true_wind_speed=4.0 * profile, true_wind_angle=math.pi / 2.0, boat_speed=3.0)
    by_hand = np.degrees(np.arctan2([3.1785, 4.0, 4.4163], 3.0))
    np.testing.assert_allclose(np.degrees(beta), by_hand, atol=0.01)
    assert np.all(np.diff(beta) > 0.0)


@pytest.mark.parametrize("height", [1.0, 10.0, 30.0])
def test_profiles_are_one_at_their_reference(height: float) -> None:
    assert wind.power_law_profile(height=height, exponent=0.11, reference_height=height) == 1.0
    assert wind.log_law_profile(height=height, roughness_length=0.001, reference_height=height) == 1.0


def test_no_gradient_with_exponent_zero() -> None:
    assert wind.power_law_profile(height=17.0, exponent=0.0, reference_height=10.0) == 1.0


@given(true_speed=speeds, true_angle=angles, boat_speed=speeds, leeway=st.floats(-0.2, 0.2))
def test_upright_span_feels_the_whole_apparent_wind(
    true_speed: float, true_angle: float, boat_speed: float, leeway: float
) -> None:
    """Upright, the parts along and across the centreline are the apparent wind at the angle beta - leeway."""
    speed, beta = wind.apparent_wind(
        true_wind_speed=true_speed, true_wind_angle=true_angle, boat_speed=boat_speed
    )
    ahead, to_leeward = wind.wind_on_heeled_span(
        true_wind_speed=true_speed, true_wind_angle=true_angle, boat_speed=boat_speed, leeway=leeway, heel=0.0
    )
    assert ahead == pytest.approx(speed * math.cos(beta - leeway), abs=1e-9)
    assert to_leeward == pytest.approx(speed * math.sin(beta - leeway), abs=1e-9)


@given(heel=st.floats(0.0, 1.2), true_angle=angles)
def test_heel_reduces_the_wind_across_by_its_cosine_and_leaves_that_ahead(
    heel: float, true_angle: float
) -> None:
    """Projection of the horizontal wind on the plane normal to the mast (geometry)."""

    def parts(heel: float) -> tuple[float, float]:
        ahead, to_leeward = wind.wind_on_heeled_span(
            true_wind_speed=8.0, true_wind_angle=true_angle, boat_speed=3.0, leeway=0.05, heel=heel
        )
        return float(ahead), float(to_leeward)

    upright, heeled = parts(0.0), parts(heel)
    assert heeled[0] == upright[0]
    assert heeled[1] == pytest.approx(upright[1] * math.cos(heel), abs=1e-12)


def test_wind_on_a_heeled_span_is_the_projection_of_the_vector() -> None:
    """With vectors: the mast points along (0, sin heel, cos heel) in axes forward, to leeward, up
    (conventions).
    """
    true_speed, twa, boat_speed, leeway, heel = 7.0, 0.8, 3.2, 0.07, 0.4
    course = np.array(
        [math.cos(leeway), math.sin(leeway), 0.0]
    )  # seen from the centreline, which points to windward of it
    to_leeward_of_course = np.array([-math.sin(leeway), math.cos(leeway), 0.0])
    air = (
        -(true_speed * math.cos(twa) + boat_speed) * course
        + true_speed * math.sin(twa) * to_leeward_of_course
    )
    across = np.array([0.0, math.cos(heel), -math.sin(heel)])
    ahead, to_leeward = wind.wind_on_heeled_span(
        true_wind_speed=true_speed, true_wind_angle=twa, boat_speed=boat_speed, leeway=leeway, heel=heel
    )
    assert ahead == pytest.approx(-air[0], rel=1e-12)
    assert to_leeward == pytest.approx(air @ across, rel=1e-12)
