"""Targets from invented polars whose best angles, costs and speeds are known exactly."""

from __future__ import annotations

import importlib
import math
from collections.abc import Callable
from functools import cache

import numpy as np
import pandas as pd
import pytest

import vpp
from tests.support import synthetic
from tests.support.polar_table import best_vmg_deg, polar_table
from vpp.interpolation import (
    InterpolationError,
    PolarInterpolant,
    error_near,
    left_out_errors,
    same_part,
)
from vpp.results.files import Source
from vpp.results.variables import DEGREE
from vpp.targets_between import (
    INTERPOLATED,
    MODES_DEG,
    NO_TARGET,
    OFFSETS_DEG,
    SOLVED,
    UNSURE_MARK,
    Targets,
    say_mode,
    targets_from,
)

SOURCE = Source(name="Invented", file="invented.toml", digest="0123456789ab")
WINDS = (6.0, 8.0, 10.0, 13.0, 16.0, 20.0)


def round_hill(tws: float, twa: float) -> float:
    """An invented speed with a smooth top of VMG up and down whose angles move with the wind."""
    angle = np.deg2rad(max(twa - 18.0 + 0.5 * tws, 0.0))
    slow = 1.0 - 0.3 * np.exp(-(((180.0 - twa) / (20.0 + tws)) ** 2))
    return float(0.9 * tws * np.tanh(8.0 / tws) * np.sin(0.5 * angle) ** 0.6 * slow)


def levelling_off(tws: float, twa: float) -> float:
    """Another: a speed that levels off with the wind."""
    angle = np.deg2rad(twa)
    return float(7.0 * np.tanh(tws / 9.0) * np.sin(0.5 * angle) ** 0.8 * (1.0 + 0.15 * np.sin(2.0 * angle)))


def made_good(speed: Callable[[float, float], float], tws: float, twa: float) -> float:
    return speed(tws, twa) * abs(math.cos(twa * DEGREE))


@cache
def plain(speed: Callable[[float, float], float]) -> Targets:
    return targets_from(polar_table({"base": speed}, tws_kn=WINDS), source=SOURCE)


def targets(speed: Callable[[float, float], float] = round_hill, **given: object) -> Targets:
    if not given:
        return plain(speed)
    frame = polar_table({"base": speed}, **{"tws_kn": WINDS, **given})  # type: ignore[arg-type]
    return targets_from(frame, source=SOURCE)


# --- targets in solved winds --------------------------------------------------------------------------------


def test_solved_winds_give_the_rows_of_the_table() -> None:
    found = targets()
    for aim in ("upwind", "downwind"):
        told = found.target(aim=aim, tws_kn=10.0)
        best = best_vmg_deg(round_hill, 10.0, aim)
        assert told.status == SOLVED
        assert told.twa_deg == pytest.approx(best)
        assert told.boat_speed_kn == pytest.approx(round_hill(10.0, best))
        assert told.vmg_kn == pytest.approx(made_good(round_hill, 10.0, best))
        assert (told.twa_error_deg, told.boat_speed_error_kn, told.vmg_error_kn) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("speed", "aim"), [(round_hill, "upwind"), (round_hill, "downwind"), (levelling_off, "upwind")]
)
def test_half_a_degree_costs_what_the_second_derivative_says(
    speed: Callable[[float, float], float], aim: str
) -> None:
    # VMG has no slope at its top, so that half a degree costs half the second derivative times its square
    found = targets(speed)
    for tws in WINDS:
        told = found.target(aim=aim, tws_kn=tws)
        best, step = best_vmg_deg(speed, tws, aim), 0.5
        ends = [made_good(speed, tws, min(best + way * step, 180.0)) for way in (-1.0, 1.0)]
        curvature = (sum(ends) - 2.0 * made_good(speed, tws, best)) / step**2
        exact = -0.5 * curvature * 0.5**2
        assert abs(told.half_degree_lost_kn - exact) < max(told.lost_error_kn[-0.5], told.lost_error_kn[0.5])
        assert told.half_degree_lost_kn == pytest.approx(exact, rel=1.5, abs=2e-4)


def test_half_a_degree_is_exact_where_angles_stand_close() -> None:
    fine = targets(levelling_off, twa_deg=np.arange(30.0, 181.0, 0.5).tolist(), tws_kn=(10.0,))
    told = fine.target(aim="upwind", tws_kn=10.0)
    best = best_vmg_deg(levelling_off, 10.0, "upwind")
    top = made_good(levelling_off, 10.0, best)
    exact = max(top - made_good(levelling_off, 10.0, best + way * 0.5) for way in (-1.0, 1.0))
    assert told.half_degree_lost_kn == pytest.approx(exact, rel=0.02)


def test_half_a_knot_costs_its_part_along_the_wind_and_the_time_that_follows() -> None:
    told = targets().target(aim="upwind", tws_kn=10.0)
    assert told.half_knot_lost_kn == pytest.approx(0.5 * math.cos(told.twa_deg * DEGREE))
    longer = 3600.0 / (told.vmg_kn - told.half_knot_lost_kn) - 3600.0 / told.vmg_kn
    assert told.seconds_per_nm(told.half_knot_lost_kn) == pytest.approx(longer)
    assert math.isnan(told.seconds_per_nm(told.vmg_kn))


def test_modes_are_the_speeds_at_their_angles() -> None:
    found = targets()
    modes = found.modes_frame()
    assert set(modes["off_best_deg"]) == set(MODES_DEG)
    for row in modes.itertuples():
        exact = round_hill(row.tws_kn, row.twa_deg)
        assert abs(row.boat_speed_kn - exact) < 0.02
        assert row.vmg_kn == pytest.approx(row.boat_speed_kn * abs(math.cos(row.twa_deg * DEGREE)))
        target = found.target(aim=row.aim, tws_kn=row.tws_kn)
        assert row.boat_speed_gain_kn == pytest.approx(row.boat_speed_kn - target.boat_speed_kn)
        assert row.vmg_lost_kn == pytest.approx(target.vmg_kn - row.vmg_kn)
    up = modes[(modes["aim"] == "upwind") & (modes["tws_kn"] == 10.0)].set_index("off_best_deg")
    assert up.loc[-4.0, "boat_speed_gain_kn"] < up.loc[-2.0, "boat_speed_gain_kn"] < 0.0
    assert [say_mode(offset) for offset in (-2.0, 4.0)] == ["2 deg higher", "4 deg lower"]


def test_no_mode_is_told_across_a_change_of_branch_or_beyond_dead_run() -> None:
    found = targets(branch=lambda tws, twa: "foil-borne" if twa >= 50.0 else "hull-borne")
    told = found.target(aim="upwind", tws_kn=10.0)
    assert told.branch == "hull-borne"
    assert told.twa_deg + 4.0 > 45.0
    assert math.isfinite(told.lost_kn[-4.0])
    assert math.isnan(told.lost_kn[4.0])
    before_the_wind = targets(lambda tws, twa: 0.5 * tws * (0.2 + twa / 180.0))
    told = before_the_wind.target(aim="downwind", tws_kn=10.0)
    assert told.twa_deg == pytest.approx(180.0)
    assert math.isnan(told.lost_kn[2.0])
    assert told.half_degree_lost_kn == told.lost_kn[-0.5]


def test_a_cost_that_the_angles_do_not_tell_is_marked() -> None:
    def knee(tws: float, twa: float) -> float:
        return round_hill(tws, twa) * (1.0 if twa < 147.0 else max(0.05, 1.0 - (twa - 147.0) / 20.0))

    told = targets(knee).target(aim="downwind", tws_kn=10.0)
    assert not told.is_sure(0.5)
    plain_top = targets().target(aim="downwind", tws_kn=10.0)
    assert plain_top.is_sure(-0.5)
    assert plain_top.is_sure(0.5)


# --- how wide the top is ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("speed", "aim"), [(round_hill, "upwind"), (round_hill, "downwind"), (levelling_off, "upwind")]
)
def test_half_a_percent_is_lost_at_both_ends_of_the_flat_top(
    speed: Callable[[float, float], float], aim: str
) -> None:
    found = targets(speed, twa_deg=np.arange(20.0, 181.0, 1.0).tolist())
    for tws in WINDS:
        told = found.target(aim=aim, tws_kn=tws)
        assert told.flat_open == (False, False)
        assert told.flat_sure == (True, True)
        assert told.flat_deg[0] < told.twa_deg < told.flat_deg[1]
        for end in told.flat_deg:
            # by definition, and to 2 % of that for reading between angles a degree apart
            assert made_good(speed, tws, end) == pytest.approx(0.995 * told.vmg_kn, rel=1e-4)
        between = np.linspace(*told.flat_deg, 21)[1:-1]
        assert min(made_good(speed, tws, angle) for angle in between) > 0.995 * told.vmg_kn


def test_a_flat_top_that_is_not_known_to_its_end_says_so() -> None:
    grid, best = np.arange(20.0, 181.0, 1.0).tolist(), best_vmg_deg(round_hill, 10.0, "upwind")
    carried = targets(
        branch=lambda tws, twa: "foil-borne" if twa >= best + 1.5 else "hull-borne",
        twa_deg=grid,
        tws_kn=[10.0],
    )
    step = carried.target(aim="upwind", tws_kn=10.0)
    assert best < step.flat_deg[1] < best + 1.5
    assert step.flat_open == (False, True)
    assert step.flat_words.endswith("+")
    assert step.flat_open_words == "to"
    # a dead run is an end by itself
    run = targets(lambda tws, twa: 0.5 * tws * (0.2 + twa / 180.0), twa_deg=grid)
    told = run.target(aim="downwind", tws_kn=10.0)
    assert told.flat_deg[1] == pytest.approx(180.0)
    assert told.flat_open == (False, False)


def test_an_end_that_the_angles_do_not_tell_is_marked() -> None:
    found = targets(round_hill, twa_deg=[30.0, 60.0, 90.0, 120.0, 150.0])
    told = found.target(aim="upwind", tws_kn=10.0)
    assert told.flat_sure != (True, True)
    assert UNSURE_MARK in told.flat_words
    row = found.to_frame().set_index(["tws_kn", "aim"]).loc[(10.0, "upwind")]
    assert row["flat_unsure"] == told.flat_unsure_words != ""


def test_the_flat_top_between_winds_lies_between_those_of_both() -> None:
    found = targets(levelling_off, twa_deg=np.arange(20.0, 181.0, 1.0).tolist())
    low, told, high = (found.target(aim="upwind", tws_kn=wind) for wind in (8.0, 9.0, 10.0))
    for before, here, after in zip(low.flat_deg, told.flat_deg, high.flat_deg, strict=True):
        assert min(before, after) <= here <= max(before, after)
    for end in told.flat_deg:
        assert made_good(levelling_off, 9.0, end) == pytest.approx(0.995 * told.vmg_kn, rel=5e-4)
    row = found.to_frame().set_index(["tws_kn", "aim"]).loc[(8.0, "upwind")]
    assert (row["flat_from_deg"], row["flat_to_deg"]) == low.flat_deg
    assert row["flat_open"] == ""


# --- between the winds --------------------------------------------------------------------------------------


@pytest.mark.parametrize("speed", [round_hill, levelling_off])
def test_speeds_between_are_within_the_error_that_is_stated(speed: Callable[[float, float], float]) -> None:
    found, rng = targets(speed), np.random.default_rng(4)
    for tws, twa in zip(rng.uniform(6.0, 20.0, 60), rng.uniform(31.0, 180.0, 60), strict=True):
        told = found.speed_at(tws_kn=float(tws), twa_deg=float(twa))
        assert told.status == INTERPOLATED
        assert 0.0 < told.error_kn < 0.5
        assert abs(told.boat_speed_kn - speed(tws, twa)) <= told.error_kn


@pytest.mark.parametrize("aim", ["upwind", "downwind"])
def test_targets_between_are_within_the_errors_that_are_stated(aim: str) -> None:
    found = targets()
    for tws in (6.7, 9.1, 11.4, 12.2, 15.0, 18.3):
        told, best = found.target(aim=aim, tws_kn=tws), best_vmg_deg(round_hill, tws, aim)
        assert told.status == INTERPOLATED
        assert abs(told.twa_deg - best) <= told.twa_error_deg
        assert abs(told.vmg_kn - made_good(round_hill, tws, best)) <= told.vmg_error_kn
        assert abs(told.boat_speed_kn - round_hill(tws, best)) <= told.boat_speed_error_kn
        assert told.vmg_kn == pytest.approx(told.boat_speed_kn * abs(math.cos(told.twa_deg * DEGREE)))


def test_left_out_errors_are_those_of_the_curve_without_the_point() -> None:
    x, y = np.arange(6.0), np.array([0.0, 1.0, 4.0, 9.0, 16.0, 25.0])
    joined = np.array([True, True, True, False, True])
    errors = left_out_errors(x, y, joined)
    assert np.isnan(errors[[0, 3, 4, 5]]).all()
    # three knots at 0, 2 and 3 with chords 2 and 5: the ends' slopes 0.8 and 4, weighted, from the formulae
    assert errors[2] != 0.0
    assert same_part(joined, 1) == slice(0, 4)
    assert same_part(joined, 5) == slice(4, 6)
    assert error_near(x, errors, 1.5, part=slice(0, 4)) == np.nanmax(np.abs(errors[:4]))
    assert math.isnan(error_near(x, errors, 4.5, part=slice(4, 6)))


def test_too_few_winds_leave_the_error_open() -> None:
    told = targets(tws_kn=(8.0, 10.0)).target(aim="upwind", tws_kn=9.0)
    assert told.status == INTERPOLATED
    assert math.isnan(told.boat_speed_error_kn)


def test_nothing_is_extrapolated() -> None:
    found = targets(twa_deg=[float(angle) for angle in range(60, 151, 10)])
    for tws in (5.0, 21.0):
        with pytest.raises(InterpolationError, match="nothing is extrapolated; solve the polar in winds"):
            found.target(aim="upwind", tws_kn=tws)
        with pytest.raises(InterpolationError, match="nothing is extrapolated"):
            found.speed_at(tws_kn=tws, twa_deg=90.0)
    told = found.speed_at(tws_kn=10.0, twa_deg=20.0)
    assert told.status == NO_TARGET
    assert "nothing is extrapolated; solve it at this angle" in told.reason
    with pytest.raises(InterpolationError, match="nothing is extrapolated"):
        found.boat_speed_kn(tws_kn=10.0, twa_deg=20.0)


def test_change_of_branch_is_never_crossed() -> None:
    found = targets(branch=lambda tws, twa: "foil-borne" if tws >= 13.0 else "hull-borne")
    assert found.flies
    for aim in ("upwind", "downwind"):
        told = found.target(aim=aim, tws_kn=11.0)
        assert told.status == NO_TARGET
        assert "between 10 and 13 kn the optimum changes (hull-borne to foil-borne)" in told.reason
        low = found.target(aim=aim, tws_kn=10.0)
        assert f"at 10 kn {low.twa_deg:.1f} deg and {low.boat_speed_kn:.2f} kn" in told.reason
    at_angle = found.speed_at(tws_kn=11.0, twa_deg=90.0)
    assert at_angle.status == NO_TARGET
    assert "solve the polar in this wind" in at_angle.reason
    assert found.target(aim="upwind", tws_kn=9.0).branch == "hull-borne"
    assert found.speed_at(tws_kn=14.0, twa_deg=92.0).branch == "foil-borne"


def test_change_of_sails_is_never_crossed() -> None:
    frame = polar_table({"base": round_hill}, tws_kn=WINDS)
    frame["sail_set"] = np.where(frame["twa_deg"] > 110.0, "offwind", "full")
    frame.loc[(frame["tws_kn"] >= 16.0) & (frame["twa_deg"] < 60.0), "sail_set"] = "reefed"
    found = targets_from(frame, source=SOURCE)
    assert "full to reefed" in found.target(aim="upwind", tws_kn=14.0).reason
    assert found.target(aim="upwind", tws_kn=12.0).sail_set == "full"
    assert found.target(aim="downwind", tws_kn=14.0).sail_set == "offwind"
    assert "best sail set changes" in found.speed_at(tws_kn=10.0, twa_deg=112.0).reason
    assert found.speed_at(tws_kn=10.0, twa_deg=113.0).status == NO_TARGET
    assert found.speed_at(tws_kn=10.0, twa_deg=117.0).sail_set == "offwind"


def two_sets(*, reefed_from_kn: float = 0.0) -> Targets:
    """Full sails, and reefed ones that are faster above some 12 kn and have no result below a wind."""

    def reefed(tws: float, twa: float) -> float:
        return round_hill(tws, twa) * (0.8 + 0.017 * tws)

    frames = []
    for name, speed, least in (("full", round_hill, 0.0), ("reefed", reefed, reefed_from_kn)):
        frame = polar_table(
            {"base": speed}, tws_kn=WINDS, fails=lambda option, tws, twa, aim, least=least: tws < least
        )
        frames.append(frame.assign(sail_set=name))
    made = [frame["vmg_kn"].abs().fillna(0.0).to_numpy() for frame in frames]
    best = frames[0].where(pd.Series(made[0] >= made[1]), frames[1])
    each = pd.concat([frame.drop(columns="branch") for frame in frames], ignore_index=True)
    return targets_from(best, source=SOURCE, each=each)


def test_where_sails_change_each_set_is_read_by_itself_and_the_best_is_told() -> None:
    found = two_sets()
    assert found.target(aim="upwind", tws_kn=10.0).sail_set == "full"
    assert found.target(aim="upwind", tws_kn=13.0).sail_set == "reefed"
    for tws, wanted in ((10.5, "full"), (11.5, "full"), (12.5, "reefed")):
        factor = 1.0 if wanted == "full" else 0.8 + 0.017 * tws
        told, best = found.target(aim="upwind", tws_kn=tws), best_vmg_deg(round_hill, tws, "upwind")
        assert (told.status, told.sail_set) == (INTERPOLATED, wanted)
        assert abs(told.vmg_kn - factor * made_good(round_hill, tws, best)) <= told.vmg_error_kn
        at_angle = found.speed_at(tws_kn=tws, twa_deg=92.0)
        assert (at_angle.status, at_angle.sail_set) == (INTERPOLATED, wanted)
        assert abs(at_angle.boat_speed_kn - factor * round_hill(tws, 92.0)) <= at_angle.error_kn


def test_where_one_of_the_sets_is_not_known_on_both_sides_nothing_is_told() -> None:
    found = two_sets(reefed_from_kn=13.0)
    assert found.target(aim="upwind", tws_kn=13.0).sail_set == "reefed"
    told = found.target(aim="upwind", tws_kn=11.5)
    assert told.status == NO_TARGET
    assert "full to reefed" in told.reason
    assert found.speed_at(tws_kn=11.5, twa_deg=92.0).status == NO_TARGET


def test_jump_between_two_hills_of_vmg_is_never_crossed() -> None:
    # in light wind two gybes are best, in more wind dead before it, with less VMG between
    def speed(tws: float, twa: float) -> float:
        gain = 0.3 + 0.3 * np.tanh(tws - 11.5)
        return round_hill(tws, twa) * (1.0 + gain * float(np.exp(-(((180.0 - twa) / 7.0) ** 2))))

    found = targets(speed)
    low, high = (found.target(aim="downwind", tws_kn=tws) for tws in (10.0, 13.0))
    assert low.twa_deg < 170.0 < high.twa_deg
    told = found.target(aim="downwind", tws_kn=11.0)
    assert told.status == NO_TARGET
    assert "the best angle jumps from one hill of VMG to another" in told.reason
    assert found.target(aim="upwind", tws_kn=11.0).status == INTERPOLATED
    assert found.target(aim="downwind", tws_kn=9.0).status == INTERPOLATED


def test_missing_best_vmg_is_told_with_its_reason() -> None:
    found = targets(fails=lambda option, tws, twa, aim: aim == "upwind" and tws == 10.0)
    for tws in (9.0, 10.0, 12.0):
        told = found.target(aim="upwind", tws_kn=tws)
        assert told.status == NO_TARGET
        assert "no best VMG upwind at 10 kn: No equilibrium: invented" in told.reason
    assert math.isnan(told.boat_speed_kn)


# --- the state ----------------------------------------------------------------------------------------------


def with_heel(heel: Callable[[float], float]) -> pd.DataFrame:
    frame = polar_table({"base": round_hill}, tws_kn=WINDS)
    frame["heel_deg"] = [heel(tws) for tws in frame["tws_kn"]]
    frame["main_twist_deg"] = 12.0
    return frame


def test_heel_and_trims_are_read_with_their_error() -> None:
    found = targets_from(with_heel(lambda tws: 25.0 * math.tanh(tws / 12.0)), source=SOURCE)
    told = found.target(aim="upwind", tws_kn=9.0)
    exact = 25.0 * math.tanh(9.0 / 12.0)
    assert abs(told.state["heel_deg"] - exact) <= told.state_error["heel_deg"] < 2.0
    assert told.state["main_twist_deg"] == pytest.approx(12.0)
    assert found.trims == ("main_twist_deg",)
    assert found.to_frame()["main_twist_deg"].tolist() == [12.0] * 12


def test_heel_that_jumps_between_winds_is_not_told() -> None:
    found = targets_from(with_heel(lambda tws: -3.0 if tws in (8.0, 13.0) else 6.0), source=SOURCE)
    assert math.isnan(found.target(aim="upwind", tws_kn=9.0).state["heel_deg"])
    assert found.target(aim="upwind", tws_kn=8.0).state["heel_deg"] == -3.0


# --- tables -------------------------------------------------------------------------------------------------


def test_tables_are_tidy() -> None:
    found = targets_from(polar_table({"base": round_hill, "b": levelling_off}, tws_kn=WINDS), source=SOURCE)
    table = found.to_frame()
    assert len(table) == 2 * len(WINDS) * 2
    assert not table.duplicated(["option", "tws_kn", "aim"]).any()
    assert len(found.modes_frame()) == len(table) * len(MODES_DEG)
    between = found.interpolation_frame()
    assert len(between) == 2 * 2 * (len(WINDS) - 1)
    assert set(between["status"]) == {INTERPOLATED}


def test_an_option_that_is_not_there_is_named() -> None:
    frame = polar_table({"base": round_hill}, tws_kn=WINDS)
    with pytest.raises(InterpolationError, match="option = 'x': not in the polar, which has base"):
        targets_from(frame, source=SOURCE, options=("base", "x"))
    with pytest.raises(KeyError, match="no option 'x'"):
        targets_from(frame, source=SOURCE).speed_at("x", tws_kn=10.0, twa_deg=90.0)


def test_courses_are_interpolated_as_before_without_tops() -> None:
    frame = polar_table({"base": round_hill}, tws_kn=WINDS)
    plain, tops = (PolarInterpolant.from_frame(frame, tops=asked) for asked in (False, True))
    at = np.array([62.0, 77.0, 93.0])
    np.testing.assert_allclose(
        plain.speed_kn("base", tws_kn=10.0, twa_deg=at), tops.speed_kn("base", tws_kn=10.0, twa_deg=at)
    )


# --- solved around the best ---------------------------------------------------------------------------------


def test_angles_around_the_best_are_solved_so_that_costs_are_exact(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in ("vpp.polar", "vpp.targets"):
        monkeypatch.setattr(importlib.import_module(module), "solve", synthetic.solve)
    boat_file = synthetic.make_boat_file(options=False)
    found = vpp.targets(boat_file, tws_kn=[8.0, 12.0], twa_deg=[40.0, 90.0, 140.0])
    assert found.grid_twa_deg == (40.0, 90.0, 140.0)
    for wind in (8.0, 12.0):
        for aim in ("upwind", "downwind"):
            told = found.target(aim=aim, tws_kn=wind)
            for offset in OFFSETS_DEG:
                if told.twa_deg + offset > 180.0:
                    assert math.isnan(told.lost_kn[offset])
                    continue
                angle = told.twa_deg + offset
                speed = synthetic.boat_speed_kn("base", np.array([wind]), np.array([angle]))[0]
                lost = told.vmg_kn - speed * abs(math.cos(angle * DEGREE))
                # the best of a search in steps of 0.01 deg
                assert told.lost_kn[offset] == pytest.approx(lost, abs=1e-6)
                assert told.lost_error_kn[offset] == 0.0
    assert found.target(aim="upwind", tws_kn=8.0).is_sure(0.5)
