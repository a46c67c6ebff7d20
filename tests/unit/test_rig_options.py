"""Each rig option of the demo boat on foils at one trim: what it changes of sails, gear and masses, and which
way.

The signs are common practice, no source; the amounts are geometry.
"""

from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from vpp import balance, config, fleets
from vpp.boat import Boat, Sail
from vpp.physics.sails import SailTrim
from vpp.state import State

CONFIGS = Path(__file__).parents[2] / "configs"
FILES = [config.load(CONFIGS / name) for name in ("foiling_monohull.toml", "foiling_rigs.toml")]
TRIM = {"sheet": 0.05, "twist": 0.15, "camber": 0.5, "head_camber": 0.5, "foot_camber": 0.5}


class Aloft(NamedTuple):
    """Sails and windage close-hauled at 12 m/s in 7 m/s of wind."""

    drive: float
    side_force: float
    effort: float
    head_load: float
    windage: float


def boat(option: str) -> Boat:
    """An option under all the sails that its first set has."""
    found = next(file.boat(option) for file in FILES if option in {each.name for each in file.boats})
    return found.wearing(found.sail_sets[0].name) if found.sail_sets else found


def aloft(one: Boat, *, mast_rotation: float | None = None, **trim: float) -> Aloft:
    fleet = fleets.fleet([one])
    arrays, wake = fleet.select(np.zeros(1, dtype=np.intp))
    values = {name: np.array([value]) for name, value in (TRIM | trim).items()}
    at_rest = ("leeway", "heel", "pitch", "rudder", "crew_arm", "crew_x", "flap", "elevator")
    plain = dict.fromkeys(at_rest, 0.0) | {"boat_speed": 12.0, "cant": 0.85, "ride_height": 0.9}
    state = State(
        trims=(SailTrim(**values), SailTrim(**(values | {"sheet": np.array([0.12])}))),
        mast_rotation=None if mast_rotation is None else np.array([mast_rotation]),
        **{name: np.array([value]) for name, value in plain.items()},
    )
    wind = balance.true_wind(boats=arrays, tws=np.array([7.0]), twa=np.radians([48.0]), ride_height=0.9)
    _, on = balance.strips(fleet_layout=fleet.layout, boats=arrays, wake=wake, wind=wind, state=state)
    forward, leeward = on.forward[:, 0], on.leeward[:, 0]
    height = arrays.rig.height[:, 0]
    of_main = fleet.layout.slices[0]
    loads = balance.loads(
        fleet_layout=fleet.layout,
        boats=arrays,
        wake=wake,
        wind=wind,
        state=state,
        at_work=balance.foils_at_work(fleet_layout=fleet.layout, boats=arrays, state=state),
    )
    bluff = [float(np.sum(part.load.forward)) for part in loads if part.name in fleet.layout.bluff]
    return Aloft(
        drive=float(forward.sum()),
        side_force=float(leeward.sum()),
        effort=float((leeward * height).sum() / leeward.sum()),
        head_load=float(leeward[of_main][-1] / (arrays.rig.width * arrays.rig.chord)[of_main][-1, 0]),
        windage=-sum(bluff),
    )


@lru_cache(maxsize=1)
def base() -> Aloft:
    return aloft(boat("base"))


def main_of(option: str) -> Sail:
    return boat(option).sails[0]


def test_luff_below_the_pivot_adds_area_and_side_force_low_down() -> None:
    low, plain = main_of("low_luff"), main_of("base")
    assert low.area - plain.area == pytest.approx(0.5 * 0.5 * (5.20 + 5.30), rel=1e-9)
    assert low.area_centre_height < plain.area_centre_height
    assert low.measured_area == plain.measured_area
    with_it = aloft(boat("low_luff"))
    assert with_it.effort < base().effort
    assert with_it.side_force > base().side_force


def test_a_lowered_deck_with_the_foot_left_where_it_was_opens_the_gap() -> None:
    """More induced drag at the same trim: less side force and drive, and less windage."""
    lowered = aloft(boat("deck_only"))
    assert lowered.side_force < base().side_force
    assert lowered.windage < base().windage


@pytest.mark.parametrize("option", ["cut_head", "head_cut_out", "pin_head"])
def test_a_narrower_head_takes_area_and_force_from_aloft(option: str) -> None:
    narrow, plain = main_of(option), main_of("base")
    assert narrow.area < plain.area
    assert narrow.head_height == plain.head_height
    found = aloft(boat(option))
    assert found.effort < base().effort
    assert found.side_force < base().side_force


def test_a_cut_between_measured_heights_costs_less_measured_than_actual_area() -> None:
    plain, cut = main_of("base"), main_of("head_cut_out")
    assert plain.measured_area - cut.measured_area < plain.area - cut.area
    assert cut.area < main_of("cut_head").area  # to the same width at the head, and there sooner


def test_a_square_head_is_the_other_way_about() -> None:
    found = aloft(boat("square_head"))
    assert found.effort > base().effort
    assert found.side_force > base().side_force


@pytest.mark.parametrize("option", ["inverted_head", "short_head_zone", "low_transition"])
def test_an_inverted_head_pushes_to_windward_and_lowers_the_effort(option: str) -> None:
    inverted = aloft(boat(option), head_camber=0.0, camber=0.4, twist=0.3)
    held_full = aloft(boat(option), head_camber=1.0, camber=0.4, twist=0.3)
    assert inverted.head_load < 0.0 < held_full.head_load
    assert inverted.effort < held_full.effort
    assert inverted.side_force < held_full.side_force


def test_a_shorter_head_zone_unloads_less() -> None:
    long, short = (
        aloft(boat(option), head_camber=0.0, camber=0.4) for option in ("inverted_head", "short_head_zone")
    )
    assert short.effort > long.effort


def test_a_lower_transition_reaches_further_down_and_has_its_area_low() -> None:
    low, high = main_of("low_transition"), main_of("inverted_head")
    middle = low.foot_height + 0.6 * (low.head_height - low.foot_height)
    assert low.head_ramp_at(middle) > high.head_ramp_at(middle) == 0.0
    assert low.area_centre_height < high.area_centre_height


def test_three_zones_trim_foot_and_head_apart() -> None:
    full_foot, flat_foot = (aloft(boat("three_zones"), foot_camber=camber) for camber in (1.0, 0.0))
    assert full_foot.effort < flat_foot.effort
    assert full_foot.side_force > flat_foot.side_force
    full_head = aloft(boat("three_zones"), head_camber=1.0)
    assert full_head.effort > aloft(boat("three_zones"), head_camber=0.0).effort


def test_a_turning_mast_adds_lift_as_camber_does() -> None:
    """And more with a longer nose; a mast in line with the foot's chord stands as `twin_skin` does, but for
    its twist.
    """
    turned, straight = (aloft(boat("turning_mast"), mast_rotation=angle) for angle in (0.4, 0.0))
    assert turned.side_force > straight.side_force
    longer = aloft(boat("hinge_aft"), mast_rotation=0.4)
    assert longer.side_force > turned.side_force
    untwisted = aloft(boat("turning_mast"), mast_rotation=0.0, twist=0.0)
    assert untwisted.side_force == pytest.approx(aloft(boat("twin_skin"), twist=0.0).side_force, rel=0.02)


def test_a_held_mast_is_no_control() -> None:
    assert boat("mast_held").rig.mast_rotation.is_fixed
    assert not boat("turning_mast").rig.mast_rotation.is_fixed


def test_a_thick_clew_costs_drag_where_it_is_thick() -> None:
    """At one camber: the fuller foot that the option has beside it is taken back."""
    thick = boat("thick_clew")
    plain = boat("twin_skin")
    alike = replace(thick.sails[0], camber_full=plain.sails[0].camber_full)
    found = aloft(replace(thick, sails=(alike, thick.sails[1])))
    assert found.drive < aloft(plain).drive
    arrays = [fleets.fleet([one]).arrays.rig.least_drag[: alike.station_count, 0] for one in (thick, plain)]
    more = arrays[0] - arrays[1]
    heights = fleets.fleet([thick]).arrays.rig.height[: alike.station_count, 0]
    closed = heights > alike.foot_height + 0.2 * (alike.head_height - alike.foot_height)
    np.testing.assert_array_equal(more[closed], 0.0)
    assert (more[~closed] > 0.0).all()


def test_solid_and_single_skin_differ_from_twin_skins_by_nose_and_drag() -> None:
    twin, solid, single = (
        fleets.fleet([boat(option)]).arrays.rig for option in ("twin_skin", "solid", "single_skin")
    )
    strips = slice(0, main_of("twin_skin").station_count)
    assert (solid.stall_incidence[strips] > twin.stall_incidence[strips]).all()
    assert (single.stall_incidence[strips] < twin.stall_incidence[strips]).all()
    assert (single.bucket_factor[strips] > 10.0 * twin.bucket_factor[strips]).all()
    assert main_of("solid").mass_per_area > main_of("twin_skin").mass_per_area
    assert aloft(boat("single_skin")).windage > 1.5 * aloft(boat("twin_skin")).windage


def test_gear_and_boom_are_drag_mass_and_leakage() -> None:
    below, boom = aloft(boat("gear_below")), aloft(boat("boom"))
    assert below.windage < base().windage < boom.windage
    assert below.side_force > base().side_force > boom.side_force  # the deck mirrors more, or less
    assert boat("boom").total_mass == pytest.approx(boat("base").total_mass + 45.0)


def test_rig_height_changes_span_mass_and_windage() -> None:
    short, tall = boat("shorter_rig"), boat("taller_rig")
    assert short.total_mass < boat("base").total_mass < tall.total_mass
    assert aloft(short).windage < base().windage < aloft(tall).windage
    assert aloft(short).effort < base().effort < aloft(tall).effort


def test_a_reef_lowers_head_and_effort() -> None:
    locker = next(file.boat("reef") for file in FILES if "reef" in {each.name for each in file.boats})
    full, reefed = (aloft(locker.wearing(name)) for name in ("full", "reefed"))
    assert reefed.effort < full.effort
    assert reefed.side_force < full.side_force
