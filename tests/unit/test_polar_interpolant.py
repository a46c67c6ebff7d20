"""Speeds between the solved points of a polar: exact on them, scipy's monotone cubic between them, and
nothing across a gap, a change of branch or the edge.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from tests.support.polar_table import best_vmg_deg, polar_table
from vpp.interpolation import (
    BEYOND,
    CHANGES_WITH_ANGLE,
    CHANGES_WITH_WIND,
    KNOWN,
    MISSING,
    InterpolationError,
    PolarInterpolant,
    evaluate,
    monotone_slopes,
)

WINDS = (8.0, 10.0, 13.0, 16.0)


def smooth(tws: float, twa: float) -> float:
    """An invented speed with one top and no more than one best VMG either way."""
    angle = np.deg2rad(max(twa - 12.0, 0.0))
    blanketed = 1.0 - 0.3 * np.exp(-(((180.0 - twa) / 25.0) ** 2))
    return float(0.9 * tws * np.tanh(8.0 / tws) * np.sin(0.5 * angle) ** 0.6 * blanketed)


@pytest.fixture(scope="module")
def polar() -> PolarInterpolant:
    return PolarInterpolant.from_frame(polar_table({"base": smooth}, tws_kn=WINDS))


@pytest.mark.parametrize("count", [2, 3, 4, 9])
def test_monotone_cubic_is_that_of_scipy(count: int) -> None:
    # scipy's PchipInterpolator has the slopes of Fritsch and Butland 1984 and the same ends
    rng = np.random.default_rng(count)
    x, y = np.cumsum(rng.uniform(0.3, 2.0, count)), rng.normal(size=count)
    joined = np.ones(count - 1, dtype=bool)
    at = np.linspace(x[0], x[-1], 57)
    found = evaluate(x, y, monotone_slopes(x, y, joined), joined, at)
    np.testing.assert_allclose(found, PchipInterpolator(x, y)(at), atol=1e-12)


def test_parts_that_are_not_joined_do_not_feel_each_other() -> None:
    x, y = np.arange(7.0), np.array([0.0, 1.0, 4.0, -5.0, -4.0, -1.0, 3.0])
    joined = np.array([True, True, False, True, True, True])
    at = np.array([0.4, 1.7, 2.5, 3.2, 5.9])
    found = evaluate(x, y, monotone_slopes(x, y, joined), joined, at)
    lower, upper = PchipInterpolator(x[:3], y[:3]), PchipInterpolator(x[3:], y[3:])
    np.testing.assert_allclose(found, [lower(0.4), lower(1.7), np.nan, upper(3.2), upper(5.9)], atol=1e-12)


def test_solved_points_are_met_and_shapes_broadcast(polar: PolarInterpolant) -> None:
    winds, angles = np.array(WINDS)[:, np.newaxis], np.arange(30.0, 181.0, 5.0)
    wanted = [[smooth(float(wind), float(angle)) for angle in angles] for wind in WINDS]
    np.testing.assert_allclose(polar.speed_kn("base", tws_kn=winds, twa_deg=angles), wanted, rtol=1e-12)
    assert polar.speed_kn("base", tws_kn=10.0, twa_deg=90.0).shape == ()


def test_along_the_angle_it_is_the_cubic_through_angles_and_best_vmg(polar: PolarInterpolant) -> None:
    best = [best_vmg_deg(smooth, 13.0, aim) for aim in ("upwind", "downwind")]
    nodes = np.unique([*np.arange(30.0, 181.0, 5.0), *best])
    at = np.array([31.3, 44.4, 77.7, 141.2, 178.8])
    wanted = PchipInterpolator(nodes, [smooth(13.0, float(node)) for node in nodes])(at)
    np.testing.assert_allclose(polar.speed_kn("base", tws_kn=13.0, twa_deg=at), wanted, rtol=1e-10)


def test_along_the_wind_it_is_the_cubic_through_the_winds(polar: PolarInterpolant) -> None:
    wanted = PchipInterpolator(WINDS, [smooth(wind, 90.0) for wind in WINDS])(11.3)
    np.testing.assert_allclose(polar.speed_kn("base", tws_kn=11.3, twa_deg=90.0), wanted, rtol=1e-12)


def test_it_is_near_the_speed_it_was_taken_from(polar: PolarInterpolant) -> None:
    rng = np.random.default_rng(1)
    winds, angles = rng.uniform(8.0, 16.0, 200), rng.uniform(35.0, 180.0, 200)
    true = [smooth(wind, angle) for wind, angle in zip(winds, angles, strict=True)]
    error = polar.speed_kn("base", tws_kn=winds, twa_deg=angles) / true - 1.0
    # steps are twice as wide where points are left out
    largest = max(np.abs(found.error).max() for found in polar.left_out("base"))
    assert np.abs(error).max() < largest


def test_a_left_out_point_is_that_of_scipy_without_it(polar: PolarInterpolant) -> None:
    _, along_wind = polar.left_out("base")
    at = np.flatnonzero((along_wind.tws_kn == 10.0) & (along_wind.twa_deg == 90.0))
    rest = [8.0, 13.0, 16.0]
    again = PchipInterpolator(rest, [smooth(wind, 90.0) for wind in rest])(10.0)
    np.testing.assert_allclose(along_wind.error[at], again / smooth(10.0, 90.0) - 1.0, rtol=1e-9)
    assert set(along_wind.tws_kn) == {10.0, 13.0}


def test_nothing_is_left_wrong_where_speeds_are_proportional_to_the_wind() -> None:
    frame = polar_table({"base": lambda tws, twa: tws * smooth(10.0, twa)}, tws_kn=WINDS)
    _, along_wind = PolarInterpolant.from_frame(frame).left_out("base")
    # best VMG is searched for in every wind anew, so that its angles differ by the search's 1e-7 deg
    assert np.abs(along_wind.error).max() < 1e-7


def test_no_speed_is_given_across_a_change_of_branch() -> None:
    def branch(tws: float, twa: float) -> str:
        return "foil-borne" if tws >= 13.0 and twa >= 60.0 else "hull-borne"

    frame = polar_table({"base": smooth}, tws_kn=WINDS, branch=branch)
    polar = PolarInterpolant.from_frame(frame)
    known = polar.known("base", tws_kn=13.0, twa_deg=np.array([45.0, 52.5, 57.0, 60.0, 63.0]))
    assert known.tolist() == [KNOWN, KNOWN, CHANGES_WITH_ANGLE, KNOWN, KNOWN]
    known = polar.known("base", tws_kn=np.array([9.0, 11.0, 14.0]), twa_deg=90.0)
    assert known.tolist() == [KNOWN, CHANGES_WITH_WIND, KNOWN]
    assert np.isnan(polar.speed_kn("base", tws_kn=11.0, twa_deg=90.0))
    _, names, _ = polar.look_up("base", tws_kn=14.0, twa_deg=90.0)
    assert polar.branches[int(names)] == "foil-borne"


def test_no_speed_is_given_next_to_a_missing_result() -> None:
    frame = polar_table(
        {"base": smooth}, tws_kn=WINDS, fails=lambda option, tws, twa, aim: (tws, twa) == (10.0, 100.0)
    )
    polar = PolarInterpolant.from_frame(frame)
    angles = np.array([95.0, 97.0, 100.0, 103.0, 105.0])
    known = polar.known("base", tws_kn=10.0, twa_deg=angles)
    assert known.tolist() == [KNOWN, MISSING, MISSING, MISSING, KNOWN]
    assert polar.known("base", tws_kn=np.array([9.0, 11.0, 14.0]), twa_deg=100.0).tolist() == [
        MISSING,
        MISSING,
        KNOWN,
    ]


def test_nothing_is_extrapolated() -> None:
    polar = PolarInterpolant.from_frame(
        polar_table({"base": smooth}, tws_kn=WINDS, twa_deg=np.arange(60.0, 121.0, 10.0).tolist())
    )
    low, high = (best_vmg_deg(smooth, 10.0, aim) for aim in ("upwind", "downwind"))
    at = np.array([low - 1.0, low, 0.5 * (low + 60.0), high])
    known = polar.known("base", tws_kn=10.0, twa_deg=at)
    assert known.tolist() == [BEYOND, KNOWN, KNOWN, KNOWN]
    with pytest.raises(InterpolationError, match="7 kn and the polar has 8 to 16 kn: nothing is extrap"):
        polar.speed_kn("base", tws_kn=7.0, twa_deg=90.0)
    with pytest.raises(InterpolationError, match="in winds from 8 to 17 kn"):
        polar.check_winds([9.0, 17.0])


def test_best_vmg_between_winds_makes_good_what_lies_between() -> None:
    # dead before the wind at 8 kn, on two gybes at 10 kn: speed and angle each by themselves would make good
    # more between these than either
    def speed(tws: float, twa: float) -> float:
        before_the_wind = 1.0 if tws < 9.0 else 0.0
        return smooth(tws, twa) + before_the_wind * float(np.exp(-(((180.0 - twa) / 10.0) ** 2)))

    polar = PolarInterpolant.from_frame(polar_table({"base": speed}, tws_kn=(8.0, 10.0)))
    made = [polar.best_vmg("base", "downwind", tws_kn=wind) for wind in (8.0, 9.0, 10.0)]
    (first_deg, first, _), (middle_deg, middle, branch), (last_deg, last, _) = made
    assert first_deg > 179.0
    assert last_deg < 160.0
    np.testing.assert_allclose(middle, 0.5 * (first + last))
    assert last_deg < middle_deg < first_deg
    assert branch == 0


def test_a_missing_best_vmg_is_told_with_its_reason() -> None:
    frame = polar_table(
        {"base": smooth}, tws_kn=WINDS, fails=lambda option, tws, twa, aim: aim == "upwind" and tws == 10.0
    )
    polar = PolarInterpolant.from_frame(frame)
    assert polar.best_vmg("base", "upwind", tws_kn=9.0)[2] == -1
    told = polar.why_no_best("base", "upwind", tws_kn=9.0)
    assert told == "no best VMG upwind at 10 kn: No equilibrium: invented"
    assert polar.best_vmg("base", "upwind", tws_kn=14.0)[2] == 0


def test_a_polar_without_results_is_refused() -> None:
    frame = polar_table({"base": smooth}, tws_kn=(8.0,), fails=lambda *condition: True)
    with pytest.raises(InterpolationError, match="no result to interpolate"):
        PolarInterpolant.from_frame(frame)
