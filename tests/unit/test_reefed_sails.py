"""Reefs as geometry, and a boat under one of its sail sets."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.support import synthetic
from vpp.boat import Boat, Range, Sail, SailChange, SailSet

# luff of 10 m, chords from 4 m to nothing
TRIANGLE = replace(
    synthetic.make_boat().sails[0],
    foot_height=2.0,
    head_height=12.0,
    luff_rake=0.1,
    chord_share=(0.0, 1.0),
    chord=(4.0, 0.0),
    mass_per_area=0.5,
)
# everything that depends on height
SHAPED = replace(
    TRIANGLE,
    foot_extension=0.5,
    extension_chord=4.4,
    chord_share=(0.0, 0.3, 0.7, 1.0),
    chord=(4.0, 3.6, 2.4, 1.0),
    camber_share=(0.0, 0.25, 1.0),
    camber_flat=(0.04, 0.06, 0.02),
    camber_full=(0.10, 0.14, 0.09),
    head_cut_from_share=0.8,
    head_cut_to_share=0.9,
    head_cut_chord_share=0.5,
    head_zone_from_share=0.75,
    head_transition_from_share=0.55,
    head_camber=Range(lower=0.0, upper=1.0),
    foot_zone_to_share=0.3,
    foot_transition_to_share=0.5,
    foot_camber=Range(lower=0.0, upper=1.0),
)


def two_sets(boat: Boat | None = None) -> Boat:
    """A boat with full sails, or its main reefed and the jib below."""
    sets = (
        SailSet(name="full", says="all", sails=("jib", "main")),
        SailSet(name="reefed", says="less", sails=("main",), reefed=("main",), reef_share=(0.25,)),
    )
    return replace(boat or synthetic.make_boat(), sail_sets=sets)


def test_a_reefed_triangle_is_a_similar_triangle() -> None:
    """By hand: a fifth of the luff out leaves 8 m of luff over a foot of 0.8 x 4 m: half of 8 x 3.2."""
    reefed = TRIANGLE.reefed(0.2)
    assert reefed.head_height == pytest.approx(10.0, rel=1e-14)
    assert reefed.foot_height == 2.0
    assert reefed.chord_at(2.0) == pytest.approx(3.2, rel=1e-14)
    assert reefed.area == pytest.approx(12.8, rel=1e-9)
    assert reefed.area / TRIANGLE.area == pytest.approx(0.8**2, rel=1e-9)


@pytest.mark.parametrize("share", [0.1, 0.3, 0.45])
def test_the_cloth_above_a_reef_only_comes_down(share: float) -> None:
    """At every height the reefed sail is the cloth that was a reef's depth higher up (geometry)."""
    depth = share * 10.0
    reefed = SHAPED.reefed(share)
    for height in np.linspace(2.0 + 1e-9, 12.0 - depth, 41):
        assert reefed.chord_at(height) == pytest.approx(SHAPED.chord_at(height + depth), rel=1e-12)
        assert reefed.camber_at(height) == pytest.approx(SHAPED.camber_at(height + depth), rel=1e-12)
        assert reefed.head_ramp_at(height) == pytest.approx(SHAPED.head_ramp_at(height + depth), abs=1e-12)


def test_a_reefed_area_is_what_is_left_above_the_reef() -> None:
    whole = replace(SHAPED, foot_extension=0.0, head_cut_from_share=1.0, head_cut_to_share=1.0)
    # trapezia by hand: 3 m of (4.0 + 3.6)/2, 4 m of (3.6 + 2.4)/2 and 3 m of (2.4 + 1.0)/2
    assert whole.area == pytest.approx(11.4 + 12.0 + 5.1, rel=1e-9)
    assert whole.reefed(0.3).area == pytest.approx(12.0 + 5.1, rel=1e-9)


def test_the_luff_slides_along_itself() -> None:
    reefed = SHAPED.reefed(0.3)
    for height in (2.0, 5.0, 9.0):
        assert reefed.luff_x(height) == pytest.approx(SHAPED.luff_x(height), rel=1e-14)


def test_a_reefed_sail_has_no_addition_below_its_foot() -> None:
    assert SHAPED.reefed(0.2).lower_edge_height == SHAPED.foot_height


def test_a_foot_zone_goes_with_its_cloth() -> None:
    left = SHAPED.reefed(0.2)
    # by hand: what lay at 0.3 and 0.5 of the luff lies at (0.3 - 0.2)/0.8 and (0.5 - 0.2)/0.8
    assert left.foot_zone_to_share == pytest.approx(0.125)
    assert left.foot_transition_to_share == pytest.approx(0.375)
    assert not SHAPED.reefed(0.4).has_foot_control


@pytest.mark.parametrize("share", [0.0, -0.1, 0.55, 1.0])
def test_a_reef_into_the_heads_zone_or_of_nothing_is_refused(share: float) -> None:
    with pytest.raises(ValueError, match="cannot be reefed"):
        SHAPED.reefed(share)


def test_every_set_weighs_the_same_and_lies_where_it_is_stowed() -> None:
    boat = two_sets()
    full, reefed = boat.wearing("full"), boat.wearing("reefed")
    assert not full.sail_sets
    # in the order of the locker, whatever the order in the set
    assert [sail.name for sail in full.sails] == ["main", "jib"]
    assert [sail.name for sail in reefed.sails] == ["main"]
    assert full.total_mass == pytest.approx(reefed.total_mass, rel=1e-14)
    assert full.total_mass == pytest.approx(synthetic.make_boat().total_mass, rel=1e-14)
    stowed = {item.name: item for item in reefed.masses}
    jib, main = boat.sails[1], boat.sails[0]
    on_deck, folded = stowed["jib (stowed)"], stowed["main (reefed part)"]
    assert (on_deck.x, on_deck.z) == (boat.rig.mast_x, boat.rig.deck_height)
    assert on_deck.mass == pytest.approx(jib.mass_per_area * jib.area)
    assert folded.z == main.foot_height
    assert folded.mass == pytest.approx(main.mass_per_area * (main.area - main.reefed(0.25).area))


def test_a_boat_with_sets_weighs_and_is_seen_as_under_the_first() -> None:
    boat = two_sets()
    assert boat.dressed == boat.wearing("full")
    assert boat.all_masses() == boat.wearing("full").all_masses()
    plain = synthetic.make_boat()
    assert plain.dressed is plain


def test_a_set_that_the_boat_does_not_have() -> None:
    with pytest.raises(KeyError):
        two_sets().wearing("storm")


def test_a_change_has_to_gain_its_cost_on_the_leg() -> None:
    """By hand: 30 s on a leg of 10 minutes are a twentieth of it."""
    assert SailChange(lost_time=30.0, leg_time=600.0).least_gain == pytest.approx(0.05)


def test_reefing_twice_is_reefing_once_by_both() -> None:
    """A fifth, then a quarter of what is left, are two fifths of the whole."""
    once: Sail = replace(SHAPED, foot_extension=0.0).reefed(0.4)
    twice = replace(SHAPED, foot_extension=0.0).reefed(0.2).reefed(0.25)
    assert twice.area == pytest.approx(once.area, rel=1e-12)
    assert twice.head_height == pytest.approx(once.head_height, rel=1e-14)
