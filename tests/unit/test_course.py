"""Times round a course against closed forms and an independent search, and what is chosen from them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize

from tests.support.polar_table import Speed, best_vmg_deg, polar_table
from vpp.config.course_file import CourseFile, Leg, Lost, Wind, weibull_wind
from vpp.course import CourseError, check_reach, polar_winds_kn, sail_course
from vpp.course_times import NAUTICAL_MILE, CourseTimes, say_time, weighted_quantile, winds_over_water_kn
from vpp.interpolation import PolarInterpolant
from vpp.legs import BOTH_TACKS, DIRECT, TWO_HEADINGS
from vpp.results.files import Source
from vpp.results.variables import KNOT

SOURCE = Source(name="Invented boat", file="boat.toml", digest="0123456789ab")
ALL_ANGLES = tuple(float(angle) for angle in range(0, 181, 5))
NOTHING = Lost()


def smooth(tws: float, twa: float) -> float:
    """An invented speed that cannot be sailed close to the wind, and best on two gybes."""
    angle = np.deg2rad(max(twa - 12.0, 0.0))
    blanketed = 1.0 - 0.3 * np.exp(-(((180.0 - twa) / 25.0) ** 2))
    return float(0.9 * tws * np.tanh(8.0 / tws) * np.sin(0.5 * angle) ** 0.6 * blanketed)


def circle(tws: float, twa: float) -> float:
    """Six knots whatever the angle."""
    return 6.0


def leg(bearing_deg: float, length_nm: float = 1.0, more_turns: int = 0) -> Leg:
    return Leg(
        name="leg",
        length=length_nm * NAUTICAL_MILE,
        bearing=math.radians(bearing_deg),
        more_turns=more_turns,
    )


def steady(tws_kn: float = 10.0, twd_deg: float = 0.0) -> Wind:
    return Wind(model="steady", tws=(tws_kn * KNOT,), twd=(math.radians(twd_deg),))


def listed(tws_kn: Sequence[float], weight: Sequence[float]) -> Wind:
    return Wind(model="listed", tws=tuple(w * KNOT for w in tws_kn), twd=(0.0,), weight=tuple(weight))


def make_course(
    *legs: Leg, wind: Wind | None = None, current: tuple[float, float] = (0.0, 0.0), **more: Any
) -> CourseFile:
    return CourseFile(
        path=Path("course.toml"),
        name="course",
        description="",
        digest="ba9876543210",
        legs=legs,
        wind=wind or steady(),
        current_speed=current[0] * KNOT,
        current_toward=math.radians(current[1]),
        **{"tack": NOTHING, "gybe": NOTHING, **more},
    )


def sail(course: CourseFile, frame: pd.DataFrame) -> CourseTimes:
    return sail_course(course, frame, source=SOURCE)


@pytest.fixture(scope="module")
def round_polar() -> pd.DataFrame:
    return polar_table({"base": circle}, tws_kn=(5.0, 10.0, 15.0), twa_deg=ALL_ANGLES)


@pytest.fixture(scope="module")
def polar() -> pd.DataFrame:
    return polar_table({"base": smooth}, tws_kn=(8.0, 10.0, 12.0))


# --- closed forms -------------------------------------------------------------------------------------------


def test_boat_of_constant_speed_sails_straight_everywhere(round_polar: pd.DataFrame) -> None:
    found = sail(make_course(*(leg(bearing) for bearing in (0.0, 33.3, 90.0, 180.0, 271.7))), round_polar)
    legs = found.legs_frame()
    assert set(legs["sailed"]) == {DIRECT}
    # an arc between angles a tenth of a degree apart is sailed as its chord: 1 - cos(0.05 deg) = 4e-7
    np.testing.assert_allclose(legs["time_s"], 600.0, rtol=5e-7)
    np.testing.assert_allclose(legs["first_heading_deg"], legs["bearing_deg"], atol=1e-6)
    np.testing.assert_allclose(legs["distance_sailed_nm"], 1.0, rtol=1e-12)


@pytest.mark.parametrize("bearing_deg", [0.0, 40.0, 90.0, 215.0])
@pytest.mark.parametrize("toward_deg", [0.0, 70.0, 180.0, 300.0])
def test_boat_of_constant_speed_in_a_current_is_a_triangle_of_velocities(
    round_polar: pd.DataFrame, bearing_deg: float, toward_deg: float
) -> None:
    found = sail(make_course(leg(bearing_deg), current=(2.5, toward_deg)), round_polar)
    apart = math.radians(toward_deg - bearing_deg)
    # law of sines: the heading makes up for what the current does across the leg
    crab = math.asin(2.5 * math.sin(apart) / 6.0)
    made_good = 6.0 * math.cos(crab) + 2.5 * math.cos(apart)
    row = found.legs_frame().iloc[0]
    np.testing.assert_allclose(row["made_good_kn"], made_good, rtol=1e-6)
    off = (row["first_heading_deg"] - (bearing_deg - math.degrees(crab)) + 180.0) % 360.0 - 180.0
    assert abs(off) < 1e-3
    np.testing.assert_allclose(found.time_s, 3600.0 / made_good, rtol=1e-6)


def test_current_that_outruns_the_boat_leaves_no_time(round_polar: pd.DataFrame) -> None:
    found = sail(make_course(leg(90.0), current=(7.0, 270.0)), round_polar)
    assert np.isnan(found.time_s).all()
    assert "leg: the current carries the boat away" in found.passages[0].reason
    assert found.chosen is None
    assert "Nothing can be chosen" in found.summary()[0]


@pytest.mark.parametrize(("bearing_deg", "aim"), [(0.0, "upwind"), (15.0, "upwind"), (170.0, "downwind")])
def test_within_the_best_angles_a_leg_takes_what_its_way_to_windward_takes(
    polar: pd.DataFrame, bearing_deg: float, aim: str
) -> None:
    # on both tacks at best VMG: the way along the wind over VMG, wherever the mark lies between the laylines
    angle = best_vmg_deg(smooth, 10.0, aim)
    speed = smooth(10.0, angle)
    vmg = abs(speed * math.cos(math.radians(angle)))
    row = sail(make_course(leg(bearing_deg)), polar).legs_frame().iloc[0]
    along = abs(math.cos(math.radians(bearing_deg)))
    np.testing.assert_allclose(row["time_s"], 3600.0 * along / vmg, rtol=1e-9)
    np.testing.assert_allclose([row["first_twa_deg"], row["second_twa_deg"]], angle, atol=1e-9)
    # shares of both tacks by hand: across the wind both must add up to the way across
    across = math.sin(math.radians(bearing_deg)) / (math.sin(math.radians(angle)) * speed / 3600.0)
    port = 0.5 * (1.0 + across / row["time_s"])
    shares = {row[f"{which}_tack"]: row[f"{which}_share_percent"] for which in ("first", "second")}
    np.testing.assert_allclose([shares["port"], shares["starboard"]], [100.0 * port, 100.0 - 100.0 * port])
    assert row["sailed"] == BOTH_TACKS
    assert (row["tacks"], row["gybes"]) == ((1, 0) if aim == "upwind" else (0, 1))
    np.testing.assert_allclose(row["distance_sailed_nm"], row["time_s"] * speed / 3600.0, rtol=1e-9)


def test_laylines_without_current_are_the_headings_of_best_vmg(polar: pd.DataFrame) -> None:
    angle = best_vmg_deg(smooth, 10.0, "upwind")
    row = sail(make_course(leg(40.0), wind=steady(10.0, 30.0)), polar).legs_frame().iloc[0]
    # starboard tack has the wind from starboard, so that it heads to the left of it
    np.testing.assert_allclose(row["layline_starboard_deg"], (30.0 - angle) % 360.0, atol=1e-9)
    np.testing.assert_allclose(row["layline_port_deg"], 30.0 + angle, atol=1e-9)


def test_laylines_with_current_are_tracks_over_the_ground(polar: pd.DataFrame) -> None:
    # a current along the wind leaves its eye: 10 kn over the water are 8.5 kn over the ground and 1.5 against
    row = sail(make_course(leg(0.0), wind=steady(8.5), current=(1.5, 0.0)), polar).legs_frame().iloc[0]
    angle = math.radians(best_vmg_deg(smooth, 10.0, "upwind"))
    speed = smooth(10.0, math.degrees(angle))
    track = math.degrees(math.atan2(speed * math.sin(angle), speed * math.cos(angle) + 1.5))
    np.testing.assert_allclose(row["layline_port_deg"], track, atol=1e-6)
    np.testing.assert_allclose(row["layline_starboard_deg"], 360.0 - track, atol=1e-6)
    np.testing.assert_allclose(row["made_good_kn"], speed * math.cos(angle) + 1.5, rtol=1e-9)


def test_reach_is_sailed_straight_at_the_speed_of_its_angle(polar: pd.DataFrame) -> None:
    row = sail(make_course(leg(100.0)), polar).legs_frame().iloc[0]
    assert row["sailed"] == DIRECT
    np.testing.assert_allclose(row["made_good_kn"], smooth(10.0, 100.0), rtol=1e-6)
    assert row["first_tack"] == "port"
    assert math.isnan(row["layline_port_deg"])
    assert row["second_tack"] == ""


def test_hollow_of_a_polar_is_sailed_on_two_headings_of_one_tack() -> None:
    # slow at 90 deg: the straight line between 70 and 110 deg makes good cos(20 deg) of six knots
    def hollow(tws: float, twa: float) -> float:
        return 6.0 if abs(twa - 90.0) >= 19.99 else 4.0

    angles = [angle for angle in ALL_ANGLES if not 70.0 < angle < 110.0]
    frame = polar_table({"base": hollow}, tws_kn=(10.0,), twa_deg=sorted([*angles, 70.1, 90.0, 109.9]))
    row = sail(make_course(leg(90.0)), frame).legs_frame().iloc[0]
    assert row["sailed"] == TWO_HEADINGS
    assert {row["first_tack"], row["second_tack"]} == {"port"}
    assert sorted([row["first_twa_deg"], row["second_twa_deg"]]) == [70.0, 110.0]
    np.testing.assert_allclose(row["made_good_kn"], 6.0 * math.cos(math.radians(20.0)), rtol=1e-9)
    assert row["tacks"] == row["gybes"] == 0


# --- an independent search ----------------------------------------------------------------------------------


def _searched_time(speed: Speed, *, tws: float, bearing_deg: float, current: tuple[float, float]) -> float:
    """The least time in s for a mile over the ground on two headings, all of both tried by scipy.

    In the frame of the water: two courses through it must add up to the mile less the drift.
    """
    toward = math.radians(current[1])
    drift = current[0] * np.array([math.cos(toward), math.sin(toward)])  # north, east
    over_water = np.array([-tws, 0.0]) - drift  # the wind blows from north over the ground
    water_kn, eye = float(np.hypot(*over_water)), math.atan2(-over_water[1], -over_water[0])
    bearing = math.radians(bearing_deg)
    mark = np.array([math.cos(bearing), math.sin(bearing)])

    def velocity(heading: float) -> np.ndarray[Any, Any]:
        twa = abs((math.degrees(heading - eye) + 180.0) % 360.0 - 180.0)
        return speed(water_kn, twa) * np.array([math.cos(heading), math.sin(heading)]) + drift

    def time(headings: Any) -> float:
        both = np.array([velocity(float(heading)) for heading in headings]).T
        if abs(np.linalg.det(both)) < 1e-9:
            return 1e3
        hours = np.linalg.solve(both, mark)
        return float(hours.sum()) if hours.min() >= -1e-12 else 1e3

    grid = np.radians(np.arange(0.0, 360.0, 4.0))
    tried = sorted((time((a, b)), a, b) for a in grid for b in grid if a < b)
    best = [
        minimize(time, (a, b), method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12}).fun
        for _, a, b in tried[:4]
    ]
    return 3600.0 * float(min(best))


@pytest.mark.parametrize("bearing_deg", [5.0, 50.0, 110.0, 165.0, 300.0])
@pytest.mark.parametrize("current", [(0.0, 0.0), (1.2, 80.0), (0.9, 200.0)])
def test_no_two_headings_are_faster(bearing_deg: float, current: tuple[float, float]) -> None:
    # the polar is solved in the wind of the course and at every degree, so that the search and the tool have
    # one boat; what is left is the cubic between degrees
    course = make_course(leg(bearing_deg), current=current)
    frame = polar_table(
        {"base": smooth},
        tws_kn=winds_over_water_kn(course),
        twa_deg=[float(angle) for angle in range(20, 181, 1)],
    )
    searched = _searched_time(smooth, tws=10.0, bearing_deg=bearing_deg, current=current)
    np.testing.assert_allclose(sail(course, frame).time_s, searched, rtol=2e-6)


# --- tacks and gybes ----------------------------------------------------------------------------------------


def test_turns_are_as_few_as_can_be(polar: pd.DataFrame) -> None:
    # up, down, up, down: a tack on each beat and a gybe on each run, none at the marks
    found = sail(make_course(*(leg(bearing) for bearing in (0.0, 180.0) * 2)), polar)
    legs = found.legs_frame()
    assert legs["tacks"].tolist() == [1, 0, 1, 0]
    assert legs["gybes"].tolist() == [0, 1, 0, 1]


def test_turns_of_the_file_are_added_and_cost_what_it_says(polar: pd.DataFrame) -> None:
    plain = sail(make_course(leg(0.0), leg(180.0)), polar).time_s
    course = make_course(
        leg(0.0, more_turns=2), leg(180.0, more_turns=1), tack=Lost(time=7.0), gybe=Lost(time=3.0)
    )
    found = sail(course, polar)
    legs = found.legs_frame()
    assert legs["tacks"].tolist() == [3, 0]
    assert legs["gybes"].tolist() == [0, 2]
    np.testing.assert_allclose(found.time_s - plain, 3 * 7.0 + 2 * 3.0)
    np.testing.assert_allclose(legs["lost_m"], legs["lost_s"] * legs["made_good_kn"] * KNOT)


def test_metres_lost_are_lost_at_the_speed_made_good(polar: pd.DataFrame) -> None:
    legs = sail(make_course(leg(0.0), tack=Lost(way=20.0)), polar).legs_frame()
    np.testing.assert_allclose(legs["lost_m"], 20.0)
    np.testing.assert_allclose(legs["lost_s"], 20.0 / (legs["made_good_kn"] * KNOT))


def test_turn_at_a_mark_is_counted_where_it_cannot_be_spared(polar: pd.DataFrame) -> None:
    # reaches to and fro: from 90 deg on port tack to 90 deg on starboard tack, by the smaller turn
    closer = sail(make_course(leg(80.0), leg(280.0)), polar).legs_frame()
    assert (closer["tacks"].tolist(), closer["gybes"].tolist()) == ([0, 1], [0, 0])
    wider = sail(make_course(leg(100.0), leg(260.0)), polar).legs_frame()
    assert (wider["tacks"].tolist(), wider["gybes"].tolist()) == ([0, 0], [0, 1])


def test_straight_is_sailed_where_the_turn_costs_more_than_it_gains(polar: pd.DataFrame) -> None:
    # ten degrees off the run, straight is slower, but saves a gybe of a minute on a tenth of a mile
    course = make_course(leg(172.0, length_nm=0.1), gybe=Lost(time=60.0))
    assert sail(course, polar).legs_frame()["sailed"].tolist() == [DIRECT]
    cheap = make_course(leg(172.0, length_nm=0.1))
    assert sail(cheap, polar).legs_frame()["sailed"].tolist() == [BOTH_TACKS]


# --- wind over time -----------------------------------------------------------------------------------------


def over_time(*rows: tuple[float, float, float]) -> Wind:
    time, tws, twd = zip(*rows, strict=True)
    return Wind(
        model="over_time",
        time=time,
        tws=tuple(value * KNOT for value in tws),
        twd=tuple(math.radians(value) for value in twd),
    )


def test_wind_that_does_not_change_is_a_steady_wind(polar: pd.DataFrame) -> None:
    legs = (leg(0.0, more_turns=2), leg(120.0), leg(200.0))
    lost = {"tack": Lost(time=6.0), "gybe": Lost(time=4.0)}
    still = sail(make_course(*legs, **lost), polar)
    timed = sail(make_course(*legs, wind=over_time((0.0, 10.0, 0.0), (9e3, 10.0, 360.0)), **lost), polar)
    np.testing.assert_allclose(timed.time_s, still.time_s, rtol=1e-9)
    kept = ["tacks", "gybes", "first_twa_deg", "distance_sailed_nm", "layline_port_deg"]
    pd.testing.assert_frame_equal(timed.legs_frame()[kept], still.legs_frame()[kept])


def test_speed_that_grows_evenly_with_time_is_integrated() -> None:
    # speed half the wind and the wind 8 kn + 4 kn an hour: distance 4 t + t^2 is a mile at -2 + sqrt(5) hours
    frame = polar_table({"base": lambda tws, twa: 0.5 * tws}, tws_kn=(8.0, 12.0), twa_deg=ALL_ANGLES)
    course = make_course(leg(90.0), wind=over_time((0.0, 8.0, 0.0), (3600.0, 12.0, 0.0)))
    found = sail(course, frame)
    # the trapezoid is exact for a speed linear in time, but for the last step, cut by a straight line
    np.testing.assert_allclose(found.time_s, 3600.0 * (math.sqrt(5.0) - 2.0), rtol=1e-5)
    assert math.isnan(found.tws_kn[0])
    np.testing.assert_allclose(found.legs_frame()["tws_kn"], 8.0 + 2.0 * (math.sqrt(5.0) - 2.0), rtol=1e-5)


def test_direction_turns_by_the_shorter_way(polar: pd.DataFrame) -> None:
    wind = over_time((0.0, 10.0, 350.0), (7200.0, 10.0, 10.0))
    row = sail(make_course(leg(0.0), wind=wind), polar).legs_frame().iloc[0]
    angle = best_vmg_deg(smooth, 10.0, "upwind")
    eye = 350.0 + 20.0 * row["time_s"] / 7200.0
    np.testing.assert_allclose(row["layline_port_deg"], (eye + angle) % 360.0, atol=0.1)


def test_wind_that_ends_before_the_course_leaves_no_time(polar: pd.DataFrame) -> None:
    found = sail(make_course(leg(90.0), leg(270.0), wind=over_time((0, 10, 0), (1000, 10, 0))), polar)
    assert np.isnan(found.time_s).all()
    assert found.passages[0].reason.startswith("leg 2 (leg): the wind is given until 1000 s")
    assert found.times_frame()["status"].tolist() == ["not_sailed"]


# --- what a polar does not hold -----------------------------------------------------------------------------


def test_leg_by_a_missing_best_vmg_is_told_and_others_are_sailed() -> None:
    frame = polar_table({"base": smooth}, tws_kn=(10.0,), fails=lambda option, tws, twa, aim: aim == "upwind")
    assert np.isfinite(sail(make_course(leg(100.0), leg(180.0)), frame).time_s).all()
    found = sail(make_course(leg(100.0), leg(0.0)), frame)
    assert found.passages[0].reason == ("leg 2 (leg): no best VMG upwind at 10 kn: No equilibrium: invented")


def test_leg_within_missing_results_is_refused_with_its_angles() -> None:
    frame = polar_table(
        {"base": smooth}, tws_kn=(10.0,), fails=lambda option, tws, twa, aim: 85.0 < twa < 105.0
    )
    reason = sail(make_course(leg(95.0)), frame).passages[0].reason
    assert "it lies between TWA 85.0 and 105.0 deg at 10 kn, where the polar has no result" in reason
    assert np.isfinite(sail(make_course(leg(80.0)), frame).time_s).all()


def test_leg_between_two_ways_of_being_carried_is_sailed_on_solved_headings() -> None:
    def branch(tws: float, twa: float) -> str:
        return "foil-borne" if 80.0 <= twa <= 140.0 else "hull-borne"

    def fast(tws: float, twa: float) -> float:
        return smooth(tws, twa) * (1.6 if 80.0 <= twa <= 140.0 else 1.0)

    frame = polar_table({"base": fast}, tws_kn=(10.0,), branch=branch)
    row = sail(make_course(leg(78.0)), frame).legs_frame().iloc[0]
    assert row["sailed"] == TWO_HEADINGS
    assert {row["first_branch"], row["second_branch"]} == {"foil-borne", "hull-borne"}
    assert "either side of a change of the way of being carried" in row["remark"]


def test_winds_between_two_ways_of_being_carried_are_refused() -> None:
    frame = polar_table(
        {"base": smooth},
        tws_kn=(8.0, 12.0),
        branch=lambda tws, twa: "foil-borne" if tws > 10.0 and twa > 35.0 else "hull-borne",
    )
    found = sail(make_course(leg(90.0), leg(0.0), wind=listed((8.0, 10.0, 12.0), (0.3, 0.5, 0.2))), frame)
    assert np.isfinite(found.time_s[0]).tolist() == [True, False, True]
    np.testing.assert_allclose(found.unsailed, 0.5)
    told = "\n".join(found.summary())
    assert "base has no time at 10 kn, 50.0 % of the winds by weight" in told
    assert "leaves out 50.0 % by weight" in told


def test_winds_beyond_the_polar_are_refused(polar: pd.DataFrame) -> None:
    with pytest.raises(CourseError, match=r"13 kn and the polar has 8 to 12 kn: nothing is extrapolated"):
        sail(make_course(leg(0.0), wind=steady(13.0)), polar)
    with pytest.raises(CourseError, match="from 7 to 13 kn on the course and from 8 to 12 kn"):
        check_reach(make_course(leg(0.0), wind=listed((7.0, 13.0), (1.0, 1.0))), (8.0, 12.0))


def test_winds_to_solve_are_those_of_the_course() -> None:
    assert polar_winds_kn(make_course(leg(0.0), wind=listed((7.0, 13.5), (0.5, 0.5)))) == (7.0, 13.5)
    # along the wind the current adds to it
    assert polar_winds_kn(make_course(leg(0.0), wind=steady(10.0), current=(1.5, 0.0))) == (11.5,)
    changing = make_course(leg(0.0), wind=over_time((0.0, 7.0, 0.0), (60.0, 12.5, 0.0)))
    assert polar_winds_kn(changing) == (6.0, 8.0, 10.0, 12.0, 14.0)
    with pytest.raises(CourseError, match="no wind is left over the water"):
        polar_winds_kn(make_course(leg(0.0), wind=steady(3.0), current=(3.0, 180.0)))


def test_option_that_the_polar_does_not_have_is_named(polar: pd.DataFrame) -> None:
    with pytest.raises(CourseError, match="option = 'taller': not in the polar, which has base"):
        sail_course(make_course(leg(0.0)), polar, source=SOURCE, options=["taller"])


# --- choice -------------------------------------------------------------------------------------------------


def _choice_polar(**more: Any) -> pd.DataFrame:
    """Round polars, so that times are by hand: 6 kn; 5 % faster in light air and slower in a breeze; the
    other way round.
    """

    def faster_by(gain: float) -> Speed:
        return lambda tws, twa: 6.0 / (1.0 + gain * (tws - 10.0) / 2.0)

    speeds = {"base": circle, "light": faster_by(0.05), "heavy": faster_by(-0.05)}
    return polar_table(speeds, tws_kn=(8.0, 10.0, 12.0), twa_deg=ALL_ANGLES, **more)


def test_choice_by_hand() -> None:
    wind = listed((8.0, 10.0, 12.0), (0.5, 0.3, 0.2))
    found = sail(make_course(leg(90.0), wind=wind), _choice_polar())
    np.testing.assert_allclose(found.time_s[1], [570.0, 600.0, 630.0], rtol=1e-6)
    base, light, heavy = found.choices
    # expected: 600; 600 - 30 * 0.5 + 30 * 0.2 = 591; 609. The best of each wind takes 570, 600, 570: 579
    np.testing.assert_allclose([base.expected, light.expected, heavy.expected], [600, 591, 609], rtol=1e-6)
    np.testing.assert_allclose([base.regret, light.regret, heavy.regret], [21, 12, 30], rtol=1e-4)
    np.testing.assert_allclose(light.quantiles, [-30.0, -30.0, 30.0], rtol=1e-4)
    np.testing.assert_allclose(light.difference_percent, -1.5, rtol=1e-4)
    # level at 10 kn, where each of the three has a third of the win
    np.testing.assert_allclose([base.won, light.won, heavy.won], [0.1, 0.6, 0.3])
    assert found.chosen is light
    assert (
        found.summary()[0]
        == "Fastest for the forecast: light, expected 09:51, 9.0 s (1.50 %) less than base, the next."
    )
    frame = found.choice_frame()
    assert frame["chosen"].tolist() == [False, True, False]
    np.testing.assert_allclose(frame["won_percent"].sum(), 100.0)


def test_choice_is_over_the_winds_that_all_sail_and_says_so() -> None:
    wind = listed((8.0, 10.0, 12.0), (0.5, 0.3, 0.2))
    frame = _choice_polar(fails=lambda option, tws, twa, aim: option == "light" and tws == 12.0)
    found = sail(make_course(leg(90.0), wind=wind), frame)
    np.testing.assert_allclose(found.choices[1].expected, (570 * 0.5 + 600 * 0.3) / 0.8, rtol=1e-6)
    np.testing.assert_allclose(found.choices[1].unsailed, 0.2)
    rows = found.times_frame()
    lost = rows[rows["status"] == "not_sailed"]
    assert lost[["option", "tws_kn", "weight_percent"]].values.tolist() == [["light", 12.0, 20.0]]
    assert "too few results at 12 kn" in lost["reason"].iloc[0]
    told = "\n".join(found.summary())
    assert "light has no time at 12 kn, 20.0 % of the winds by weight" in told
    assert "leaves out 20.0 % by weight" in told


def test_option_without_any_time_is_not_compared_but_named() -> None:
    frame = _choice_polar(fails=lambda option, tws, twa, aim: option == "heavy")
    found = sail(make_course(leg(90.0), wind=listed((8.0, 10.0), (0.5, 0.5))), frame)
    assert found.chosen is found.choices[1]
    assert "too few results" in found.choices[2].reason
    assert math.isnan(found.choices[2].expected)
    assert len(found.choice_frame()) == 3


def test_errors_of_differences_are_those_of_the_options_apart() -> None:
    speeds = {"base": smooth, "same": smooth, "other": lambda tws, twa: smooth(tws, twa) * 1.02}
    frame = polar_table(speeds, tws_kn=(8.0, 10.0, 12.0))
    table = sail(make_course(leg(90.0)), frame).interpolation
    assert (table["largest_percent"] > 0.01).all()
    np.testing.assert_allclose(table["difference_largest_percent"], 0.0, atol=1e-6)
    polar = PolarInterpolant.from_frame(frame)
    along = {found.along: found for found in polar.left_out("base")}
    row = table[(table["option"] == "base") & (table["along"] == "wind")].iloc[0]
    np.testing.assert_allclose(row["largest_percent"], 100.0 * np.abs(along["wind"].error).max())


def test_time_to_the_line_stands_beside_the_course(polar: pd.DataFrame) -> None:
    line = Leg(name="to the line", length=150.0, bearing=math.radians(100.0))
    found = sail(make_course(leg(0.0), line=line), polar)
    seconds = 150.0 / (smooth(10.0, 100.0) * KNOT)
    np.testing.assert_allclose(found.times_frame()["to_line_s"], seconds, rtol=1e-6)
    legs = found.legs_frame()
    assert legs["leg"].tolist() == [0, 1]
    np.testing.assert_allclose(found.time_s, legs["time_s"].iloc[1])
    assert f"To the line, 150 m: base {seconds:.0f} s." in found.summary()


def test_distribution_says_what_it_leaves_out(polar: pd.DataFrame) -> None:
    wind = weibull_wind(scale_kn=10.0, shape=4.0, tws_kn=(8.0, 10.0, 12.0), step_kn=2.0, twd_deg=0.0)
    told = "\n".join(sail(make_course(leg(0.0), wind=wind), polar).summary())
    # 1 - exp(-0.7^4) = 21.3 % below 7 kn, exp(-1.3^4) = 5.7 % above 13 kn
    assert "21.3 % of the winds lie below and 5.7 % above" in told
    assert "All legs are sailed at best VMG in winds that are solved: nothing is interpolated." in told


def test_what_is_interpolated_is_said(polar: pd.DataFrame) -> None:
    told = "\n".join(sail(make_course(leg(90.0)), polar).summary())
    assert "All winds of the course are solved: none is interpolated." in told
    assert "Interpolation along the angle: of the speeds left out in turn" in told
    assert "Interpolation along the wind" in "\n".join(
        sail(make_course(leg(0.0), wind=steady(11.0)), polar).summary()
    )


def test_weighted_quantile_is_the_inverse_of_the_distribution() -> None:
    values, weight = np.array([3.0, -1.0, 2.0, 9.0]), np.array([0.2, 0.5, 0.3, 0.0])
    found = [weighted_quantile(values, weight, share) for share in (0.0, 0.5, 0.51, 0.8, 0.81, 1.0)]
    assert found == [-1.0, -1.0, 2.0, 2.0, 3.0, 3.0]


def test_times_are_told_in_hours_minutes_and_seconds() -> None:
    assert [say_time(value) for value in (59.6, 3599.4, 3600.0, math.nan)] == [
        "01:00",
        "59:59",
        "1:00:00",
        "-",
    ]


def test_winds_between_the_times_given_are_reached_too() -> None:
    # the wind turns through the eye of a current of 3 kn, where 13 kn are left of 10.44 kn on either side
    wind = over_time((0.0, 10.0, 0.0), (600.0, 10.0, 180.0))
    course = make_course(leg(0.0), wind=wind, current=(3.0, 90.0))
    np.testing.assert_allclose(winds_over_water_kn(course), math.hypot(10.0, 3.0))
    assert polar_winds_kn(course) == (10.0, 12.0, 14.0)
    with pytest.raises(CourseError, match=r"from 10\.44 to 13 kn on the course and from 8 to 12 kn"):
        check_reach(course, (8.0, 12.0))
