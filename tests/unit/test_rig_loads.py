"""Loads of a solved boat and the work of trimming it: the keelboat with few strips."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

import vpp
from tests.support import keelboat
from vpp.boat import Boat, Sheeting, TableSail
from vpp.config import BoatFile
from vpp.physics import rig_loads as statics
from vpp.polar import Point
from vpp.rig_loads import (
    BOOM,
    CLEW,
    LOAD_COLUMNS,
    NO_SHAPE,
    TRIM_POWER_W,
    RigLoads,
    rig_loads,
    trimming,
    winds_between,
)


def coarse_file(**changes: Any) -> BoatFile:
    """The demo keelboat with few strips, and any part changed."""
    file = vpp.load(keelboat.FILE)
    boat = replace(keelboat.coarse(file.boat("base"), 6), **changes)
    return replace(file, boats=(boat,))


@cache
def point(tws_kn: float, twa_deg: float) -> Point:
    return vpp.point(coarse_file(), tws_kn=tws_kn, twa_deg=twa_deg)


@cache
def loads(tws_kn: float, twa_deg: float) -> RigLoads:
    return rig_loads(point(tws_kn, twa_deg))


def with_boat(of: Point, boat: Boat) -> RigLoads:
    """The same state of the same strips with what does not act on them changed."""
    return rig_loads(replace(of, solved=replace(of.solved, boats=(boat,))))


def sheeted(**keys: Any) -> RigLoads:
    at = point(14.0, 45.0)
    boat = at.solved.boat_at(0)
    main = replace(boat.sails[0], sheeting=Sheeting(**keys))
    return with_boat(at, replace(boat, sails=(main, boat.sails[1])))


def test_normal_force_is_that_of_the_budget_at_its_angle() -> None:
    """Strips across their chords against the forces of the whole sail: twist is small, so that the two differ
    by little.
    """
    found, strips = loads(14.0, 45.0), point(14.0, 45.0).solved.strips
    for place, name in enumerate(("main", "jib")):
        own = np.array(strips.sail) == name
        angle = strips.chord_angle[own]
        forward, leeward = strips.forward[own], strips.leeward[own]
        by_hand = (forward * np.sin(angle) + leeward * np.cos(angle)).sum()
        assert found.sails[place].of("normal_force") == pytest.approx(by_hand)


def test_moment_about_the_luff_is_force_times_its_centre() -> None:
    for sail, rake in zip(loads(14.0, 45.0).sails, (1.0, 17.9), strict=True):
        whole = sail.of("normal_force") * sail.of("effort_behind_luff") * math.cos(math.radians(rake))
        assert sail.of("moment_about_luff") == pytest.approx(whole)


def test_sheet_of_the_boom_holds_the_moment_about_the_luff() -> None:
    """By cross products from what the table says of the sheet alone; about a luff raked by 1 deg."""
    sail = loads(14.0, 45.0).sails[0]
    start, end = (
        np.array([sail.of(f"sheet_{where}_{axis}") for axis in ("x", "y", "height")])
        for where in ("from", "to")
    )
    force = sail.of("sheet_tension") * (end - start) / sail.of("sheet_length")
    rake = math.radians(1.0)
    axis = np.array([-math.sin(rake), 0.0, math.cos(rake)])
    tack = np.array([0.76, 0.0, start[2]])
    moment = axis @ np.cross(start - tack, force)
    assert moment == pytest.approx(sail.of("moment_about_luff"), rel=2e-3)
    assert -force[1] == pytest.approx(sail.of("block_to_leeward"))


def test_estimates_are_of_the_size_of_the_rule_of_thumb() -> None:
    """Common practice, no source: within a factor of two, upwind in a breeze. The two share nothing."""
    for tws in (10.0, 14.0, 18.0):
        for sail in loads(tws, 45.0).sails:
            assert 0.5 < sail.of("sheet_tension") / sail.of("rule_of_thumb") < 2.0


def test_leech_alone_would_pull_harder_than_leech_and_cloth() -> None:
    for sail in loads(18.0, 45.0).sails:
        assert sail.of("leech_tension_alone") > sail.of("leech_tension")


def test_main_stands_on_the_mast_and_the_jib_does_not() -> None:
    main, jib = loads(14.0, 45.0).sails
    assert main.geometry[0].value == BOOM
    assert jib.geometry[0].value == CLEW
    assert all(item.origin.startswith("default: ") for sail in (main, jib) for item in sail.geometry)
    assert math.isnan(main.of("stay_tension"))
    assert jib.of("stay_tension") > 0.0


def test_block_inboard_along_the_boom_pulls_harder_and_is_said_to_be_from_the_file() -> None:
    plain, inboard = loads(14.0, 45.0).sails[0], sheeted(point=2.1).sails[0]
    assert inboard.of("sheet_tension") == pytest.approx(2.0 * plain.of("sheet_tension"), rel=0.02)
    assert inboard.of("rule_of_thumb") == pytest.approx(2.0 * plain.of("rule_of_thumb"), rel=1e-3)
    assert {item.key for item in inboard.geometry if item.origin == "boat file"} == {"sheet_point_m"}


def test_end_of_the_track_leaves_the_leech_to_a_vang_and_says_so() -> None:
    found = sheeted(track_min=-0.2, track_max=0.2).sails[0]
    assert found.of("sheet_to_y") == pytest.approx(0.2)
    assert found.of("left_to_vang") > 0.0
    note = next(item.note for item in found.quantities if item.name == "sheet_tension")
    assert note == "block at the leeward end of its track: a vang holds the rest of the leech"


def test_half_the_sag_doubles_the_pull_of_the_stay() -> None:
    at = point(14.0, 45.0)
    boat = at.solved.boat_at(0)
    jib = replace(boat.sails[1], sheeting=Sheeting(stay_sag_share=0.0075))
    taut = with_boat(at, replace(boat, sails=(boat.sails[0], jib)))
    assert taut.sails[1].of("stay_tension") == pytest.approx(
        2.0 * loads(14.0, 45.0).sails[1].of("stay_tension")
    )


@pytest.mark.parametrize("block_x", [1.0, 0.5])
def test_sheet_of_the_jib_comes_down_to_a_lead_that_is_given(block_x: float) -> None:
    """Further aft it pulls more along the foot and less down the leech, and still holds the sail."""
    at = point(14.0, 45.0)
    boat = at.solved.boat_at(0)
    jib = replace(boat.sails[1], sheeting=Sheeting(block_x=block_x))
    plain, aft = loads(14.0, 45.0).sails[1], with_boat(at, replace(boat, sails=(boat.sails[0], jib))).sails[1]
    assert aft.of("sheet_to_x") == pytest.approx(block_x, abs=1e-5)
    assert aft.of("leech_tension") < plain.of("leech_tension")
    assert aft.of("clew_to_leeward") == pytest.approx(plain.of("clew_to_leeward"))
    assert ("sheet_block_x_m", block_x, "boat file") in [
        (item.key, item.value, item.origin) for item in aft.geometry
    ]


def test_table_of_loads_is_tidy() -> None:
    frame = loads(14.0, 45.0).to_frame()
    assert tuple(frame.columns) == LOAD_COLUMNS
    assert not frame.duplicated(["sail", "quantity"]).any()
    assert set(frame["unit"]) == {"N", "N m", "m", "deg"}
    assert set(frame["kind"]) == {"load", "place", "check"}


def test_turning_mast_has_a_moment_an_axis_and_a_control() -> None:
    at = point(14.0, 45.0)
    boat = at.solved.boat_at(0)
    main = replace(boat.sails[0], hinge_share=0.1, draft_share=0.55)
    found = with_boat(at, replace(boat, sails=(main, boat.sails[1]))).sails[0]
    assert math.isfinite(found.of("mast_turning_moment"))
    assert found.geometry[-1].key == "mast_pivot_percent"
    assert [control.name for control in found.controls][-1] == "mast rotation"
    ahead = with_boat(
        at, replace(boat, sails=(main, boat.sails[1]), rig=replace(boat.rig, mast_pivot_share=0.1))
    ).sails[0]
    assert ahead.of("mast_turning_moment") > found.of("mast_turning_moment")


def test_sail_from_a_table_has_a_rule_of_thumb_alone() -> None:
    at = point(14.0, 45.0)
    boat = at.solved.boat_at(0)
    table = TableSail(
        name="offwind", area=70.0, span=12.0, centre_height=7.0, centre_x=2.0, mass_per_area=0.1,
        power=boat.sails[0].camber, wind_angle=(0.5, 3.0), lift_coefficient=(1.0, 0.0),
        drag_coefficient=(0.3, 1.0),
    )  # fmt: skip
    states = [with_boat(at, replace(boat, table_sails=(table,)))] * 2
    found = states[0].sails[-1]
    assert math.isnan(found.of("sheet_tension"))
    assert found.quantities[0].note == NO_SHAPE
    assert found.of("rule_of_thumb") > 0.0
    assert trimming(states).not_told == (f"offwind: {NO_SHAPE}",)


# --- trimming -----------------------------------------------------------------------------------------------


def test_there_and_back_is_the_same_work_the_other_way_round() -> None:
    there = trimming([loads(14.0, 45.0), loads(18.0, 45.0)])
    back = trimming([loads(18.0, 45.0), loads(14.0, 45.0)])
    assert back.cycle_work_j == pytest.approx(there.cycle_work_j)
    for one, other in zip(there.work, back.work, strict=True):
        assert (one.out, one.back) == (pytest.approx(other.back), pytest.approx(other.out))


def test_work_is_mean_moment_times_angle() -> None:
    first, last = loads(14.0, 45.0), loads(18.0, 45.0)
    for item in trimming([first, last]).work:
        by_hand = 0.5 * (item.load[0] + item.load[1]) * (item.position[1] - item.position[0])
        assert item.back - item.out == pytest.approx(by_hand)
        assert item.out * item.back == 0.0


def test_net_work_of_a_gust_hardly_depends_on_the_states_between() -> None:
    """Trapezoids through two states against three, from 14 to 18 kn. The sum of both ways is more: trims lie
    on a flat optimum and wander between neighbouring winds.
    """
    ends = [loads(14.0, 45.0), loads(18.0, 45.0)]
    two, three = trimming(ends), trimming([ends[0], loads(16.0, 45.0), ends[1]])
    net = [sum(item.back - item.out for item in found.work) for found in (two, three)]
    assert net[1] == pytest.approx(net[0], rel=0.05)


def test_standing_still_takes_nothing() -> None:
    assert trimming([loads(14.0, 45.0)] * 2).cycle_work_j == 0.0


def test_power_is_work_over_period_of_the_watts_at_hand() -> None:
    states = [loads(14.0, 45.0), loads(18.0, 45.0)]
    found = trimming(states, period_s=20.0, power_w=300.0)
    assert found.mean_power_w == pytest.approx(found.cycle_work_j / 20.0)
    assert found.least_period_s == pytest.approx(found.cycle_work_j / 300.0)
    assert "command line" in found.summary()[1]
    assert trimming(states).power_w == TRIM_POWER_W
    assert math.isnan(trimming(states).mean_power_w)
    boat = point(14.0, 45.0).solved.boat_at(0)
    pumped = with_boat(point(14.0, 45.0), replace(boat, crew=replace(boat.crew, trim_power=900.0)))
    assert (trimming([pumped, states[1]]).power_w, trimming([pumped, states[1]]).power_origin) == (
        900.0,
        "boat file",
    )


def test_control_that_is_not_in_all_states_is_named_and_left_out() -> None:
    first, last = loads(14.0, 45.0), loads(18.0, 45.0)
    found = trimming([first, replace(last, sails=last.sails[:1])])
    assert {item.sail for item in found.work} == {"main"}
    assert "jib, twist: not in use in all of the states" in found.not_told
    assert any("Not in it: jib" in sentence for sentence in found.summary())


def test_one_state_is_no_trimming() -> None:
    with pytest.raises(ValueError, match="two states or more"):
        trimming([loads(14.0, 45.0)])


def test_winds_between_are_even() -> None:
    assert winds_between((14.0, 45.0), (18.0, 55.0), points=3) == [(14.0, 45.0), (16.0, 50.0), (18.0, 55.0)]
    assert winds_between((8.0, "upwind"), (12.0, "upwind"), points=2) == [(8.0, "upwind"), (12.0, "upwind")]


def test_rule_of_thumb_of_a_jib_is_on_its_area() -> None:
    at = point(14.0, 45.0)
    area = at.solved.boat_at(0).sails[1].area
    speed = float(at.solved.quantities["aws"][0])
    assert loads(14.0, 45.0).sails[1].of("rule_of_thumb") == pytest.approx(
        statics.RULE_OF_THUMB * area * speed**2
    )
