"""Triangles of wind, boat and current."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vpp.physics import current
from vpp.solver import jets

speeds = st.floats(0.5, 20.0)
currents = st.floats(0.0, 3.0)
angles = st.floats(-math.pi, math.pi)


def sailing_wind_deg(*, wind: float, stream: float, set_deg: float) -> tuple[float, float]:
    speed, shift = current.sailing_wind(
        ground_wind_speed=wind, current_speed=stream, current_set=math.radians(set_deg)
    )
    return float(speed), math.degrees(shift)


@pytest.mark.parametrize(
    ("set_deg", "speed", "shift_deg"),
    [
        (0.0, 7.0, 0.0),  # carried to windward: more wind, 4 + 3
        (180.0, 1.0, 0.0),  # carried to leeward: 4 - 3
        (90.0, 5.0, math.degrees(math.atan2(3.0, 4.0))),  # the 3-4-5 triangle
        (-90.0, 5.0, -math.degrees(math.atan2(3.0, 4.0))),
    ],
)
def test_sailing_wind_by_hand(set_deg: float, speed: float, shift_deg: float) -> None:
    """Sums of vectors with 4 m/s of wind and 3 m/s of current."""
    assert sailing_wind_deg(wind=4.0, stream=3.0, set_deg=set_deg) == pytest.approx(
        (speed, shift_deg), abs=1e-9
    )


@given(stream=st.floats(0.1, 3.0), set_angle=angles)
def test_drifting_boat_in_a_calm_over_the_ground_feels_wind_from_where_it_drifts_to(
    stream: float, set_angle: float
) -> None:
    speed, shift = current.sailing_wind(ground_wind_speed=0.0, current_speed=stream, current_set=set_angle)
    assert speed == pytest.approx(stream)
    assert math.cos(shift - set_angle) == pytest.approx(1.0)


def test_slack_water_changes_nothing() -> None:
    assert sailing_wind_deg(wind=6.0, stream=0.0, set_deg=70.0) == (6.0, 0.0)
    speed, course, windward = current.over_ground(
        boat_speed=3.0, course_angle=0.7, current_speed=0.0, current_set=1.0
    )
    assert (speed, course, windward) == pytest.approx((3.0, 0.7, 3.0 * math.cos(0.7)))


def test_way_over_ground_by_hand() -> None:
    """Sums of vectors: a reach at 4 m/s in 3 m/s of current to windward goes 5 m/s, 3 of them to windward; a
    current of the boat's own speed against it stops it.
    """
    speed, course, windward = current.over_ground(
        boat_speed=4.0, course_angle=math.pi / 2.0, current_speed=3.0, current_set=0.0
    )
    assert (speed, windward) == pytest.approx((5.0, 3.0))
    assert course == pytest.approx(math.atan2(4.0, 3.0))
    speed, _, windward = current.over_ground(
        boat_speed=2.0, course_angle=0.8, current_speed=2.0, current_set=0.8 - math.pi
    )
    assert (speed, windward) == pytest.approx((0.0, 0.0), abs=1e-12)


@given(wind=speeds, stream=currents, set_angle=angles)
def test_wind_over_ground_comes_back_from_the_wind_over_the_water(
    wind: float, stream: float, set_angle: float
) -> None:
    """Seen from the water, the ground flows the other way; axes turned by the shift."""
    speed, shift = current.sailing_wind(ground_wind_speed=wind, current_speed=stream, current_set=set_angle)
    back, turned_back = current.sailing_wind(
        ground_wind_speed=speed, current_speed=stream, current_set=set_angle - shift + math.pi
    )
    assert back == pytest.approx(wind, abs=1e-9)
    if wind > 1e-3 + stream or stream < 1e-3:
        assert turned_back == pytest.approx(-shift, abs=1e-9)


@given(boat=speeds, course=angles, stream=currents, set_angle=angles)
def test_way_through_the_water_comes_back_from_the_way_over_ground(
    boat: float, course: float, stream: float, set_angle: float
) -> None:
    speed, over_ground, windward = current.over_ground(
        boat_speed=boat, course_angle=course, current_speed=stream, current_set=set_angle
    )
    assert windward == pytest.approx(speed * math.cos(over_ground), abs=1e-9)
    back, through_water, _ = current.over_ground(
        boat_speed=speed, course_angle=over_ground, current_speed=stream, current_set=set_angle + math.pi
    )
    assert back == pytest.approx(boat, abs=1e-9)
    assert math.cos(through_water - course) == pytest.approx(1.0, abs=1e-9)


@given(wind=speeds, boat=speeds, angle=st.floats(0.0, math.pi), stream=currents, set_angle=angles)
def test_apparent_wind_is_that_of_the_boat_over_the_ground(
    wind: float, boat: float, angle: float, stream: float, set_angle: float
) -> None:
    """Whoever counts, the air passes the boat at one speed: over ground wind less boat over ground; over the
    water true wind and boat at their angle (law of cosines).
    """
    true_wind, shift = current.sailing_wind(
        ground_wind_speed=wind, current_speed=stream, current_set=set_angle
    )
    speed, course, _ = current.over_ground(
        boat_speed=boat, course_angle=angle + shift, current_speed=stream, current_set=set_angle
    )
    by_ground = wind**2 + speed**2 + 2.0 * wind * speed * math.cos(course)
    by_water = true_wind**2 + boat**2 + 2.0 * true_wind * boat * math.cos(angle)
    assert by_ground == pytest.approx(by_water, abs=1e-8)


def test_tacks_are_mirror_images_in_a_current_and_its_mirror_image() -> None:
    there = current.over_ground(boat_speed=3.0, course_angle=0.8, current_speed=1.0, current_set=0.5)
    back = current.over_ground(boat_speed=3.0, course_angle=-0.8, current_speed=1.0, current_set=-0.5)
    assert back == (there[0], -there[1], there[2])


def test_arrays_broadcast_and_derivatives_are_those_of_differences() -> None:
    wind, stream = jets.variables(np.array([[5.0, 8.0], [1.0, 0.3]]))
    speed, shift = current.sailing_wind(ground_wind_speed=wind, current_speed=stream, current_set=1.1)
    for jet, row in ((speed, 0), (shift, 1)):
        _, gradient, _ = jets.dense(jet, 2, (2,))
        step = 1e-6
        for i, moved in enumerate(((step, 0.0), (0.0, step))):
            high, low = (
                current.sailing_wind(
                    ground_wind_speed=wind.value + sign * moved[0],
                    current_speed=stream.value + sign * moved[1],
                    current_set=1.1,
                )[row]
                for sign in (1.0, -1.0)
            )
            np.testing.assert_allclose(gradient[i], (high - low) / (2.0 * step), atol=1e-8)
