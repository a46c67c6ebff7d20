"""The boat as plain values: sail geometry, masses and ranges."""

import dataclasses
import math

import pytest

from tests.support import synthetic
from vpp.boat import Crew, PointMass, Range, Rig, Sail

TRIANGLE = Sail(
    name="main",
    foot_height=2.0,
    head_height=14.0,
    foot_extension=0.0,
    extension_chord=0.0,
    tack_x=1.0,
    luff_rake=math.radians(3.0),
    chord_share=(0.0, 1.0),
    chord=(4.0, 0.0),
    head_cut_from_share=1.0,
    head_cut_chord_share=1.0,
    camber_share=(0.0, 0.5, 1.0),
    camber_flat=(0.04, 0.05, 0.03),
    camber_full=(0.10, 0.12, 0.11),
    camber=Range(lower=0.0, upper=1.0),
    sheet=Range(lower=0.0, upper=1.4),
    twist=Range(lower=0.0, upper=0.4),
    stall_incidence=0.14,
    stall_width=0.02,
    profile_drag_coefficient=0.012,
    drag_bucket_factor=0.012,
    mass_per_area=0.4,
    station_count=10,
)


def test_a_range_with_equal_ends_is_fixed() -> None:
    assert Range(lower=0.3, upper=0.3).is_fixed
    assert not Range(lower=0.3, upper=0.4).is_fixed


def test_triangle() -> None:
    """Half base times height, its centroid at a third of the height (geometry)."""
    assert TRIANGLE.area == pytest.approx(24.0, rel=1e-9)
    assert TRIANGLE.area_centre_height == pytest.approx(6.0, rel=1e-9)
    assert TRIANGLE.chord_at(8.0) == pytest.approx(2.0)
    assert TRIANGLE.lower_edge_height == 2.0


def test_chord_line_with_corners() -> None:
    """Two trapezia by hand: (4 + 3)/2 x 6 + (3 + 1)/2 x 6 = 33; moments about the foot 61.2... in thirds of
    heights.
    """
    sail = dataclasses.replace(TRIANGLE, chord_share=(0.0, 0.5, 1.0), chord=(4.0, 3.0, 1.0))
    lower, upper = 21.0, 12.0
    centre_lower = 6.0 / 3.0 * (4.0 + 2.0 * 3.0) / (4.0 + 3.0)
    centre_upper = 6.0 + 6.0 / 3.0 * (3.0 + 2.0 * 1.0) / (3.0 + 1.0)
    assert sail.area == pytest.approx(33.0, rel=1e-9)
    centre = 2.0 + (lower * centre_lower + upper * centre_upper) / 33.0
    assert sail.area_centre_height == pytest.approx(centre, rel=1e-9)
    assert sail.chord_at(5.0) == pytest.approx(3.5)
    assert sail.corners == pytest.approx((2.0, 8.0, 14.0))


def test_foot_extension_runs_from_the_foot_to_the_extension_chord() -> None:
    """A trapezium below the foot: (4 + 3)/2 x 0.6 = 2.1 m2, its lower edge 0.6 m down."""
    sail = dataclasses.replace(TRIANGLE, foot_extension=0.6, extension_chord=3.0)
    assert sail.lower_edge_height == pytest.approx(1.4)
    assert sail.chord_at(2.0) == pytest.approx(4.0)
    assert sail.chord_at(1.7) == pytest.approx(3.5)
    assert sail.chord_at(1.4) == pytest.approx(3.0)
    assert sail.area == pytest.approx(26.1, rel=1e-9)
    assert sail.area_centre_height < TRIANGLE.area_centre_height
    assert sail.camber_at(1.5) == TRIANGLE.camber_at(2.0)


def test_chord_above_the_foot_does_not_know_of_the_extension() -> None:
    sail = dataclasses.replace(TRIANGLE, foot_extension=0.6, extension_chord=3.0)
    for height in (2.0, 5.0, 13.0):
        assert sail.chord_at(height) == TRIANGLE.chord_at(height)


def test_head_cut_tapers_the_chord_to_its_share_at_the_head() -> None:
    """A rectangle of 2 m cut to a half above half the luff: 12 + 6 x 1.5 = 21 m2 by hand."""
    sail = dataclasses.replace(TRIANGLE, chord=(2.0, 2.0), head_cut_from_share=0.5, head_cut_chord_share=0.5)
    assert sail.chord_at(8.0) == pytest.approx(2.0)
    assert sail.chord_at(11.0) == pytest.approx(1.5)
    assert sail.chord_at(14.0) == pytest.approx(1.0)
    assert sail.area == pytest.approx(21.0, rel=1e-9)


def test_area_of_a_cut_triangle_is_exact() -> None:
    """Integral of 4 (1 - s)(1 - (s - 0.5)) from 0.5 to 1, times 12 m: 5.0 m2, below it 18 m2 (by hand)."""
    sail = dataclasses.replace(TRIANGLE, head_cut_from_share=0.5, head_cut_chord_share=0.5)
    assert sail.area == pytest.approx(18.0 + 5.0, rel=1e-9)


def test_head_cut_ends_where_it_is_told_to_and_keeps_its_depth_above() -> None:
    """A rectangle of 2 m, cut to a half from half to three quarters of the luff: 12 + 3 x 1.5 + 3 x 1 = 19.5
    m2 by hand.
    """
    cut = {"head_cut_from_share": 0.5, "head_cut_to_share": 0.75, "head_cut_chord_share": 0.5}
    sail = dataclasses.replace(TRIANGLE, chord=(2.0, 2.0), **cut)
    chords = [sail.chord_at(h) for h in (8.0, 9.5, 11.0, 13.0, 14.0)]
    assert chords == pytest.approx([2.0, 1.5, 1.0, 1.0, 1.0])
    assert sail.area == pytest.approx(19.5, rel=1e-9)
    stepped = dataclasses.replace(sail, head_cut_to_share=0.5)
    assert stepped.area == pytest.approx(12.0 + 6.0, rel=1e-8)


def test_measured_area_sees_the_chords_at_the_quarters_of_the_luff_alone() -> None:
    """Trapezoids by hand: a triangle in full; of a cut from 76 to 80 % only the chord at the head, 24 m2 less
    3 x 1 / 2; nothing of an addition below the foot.
    """
    assert TRIANGLE.measured_area == pytest.approx(24.0)
    rectangle = dataclasses.replace(TRIANGLE, chord=(2.0, 2.0))
    cut = dataclasses.replace(
        rectangle, head_cut_from_share=0.76, head_cut_to_share=0.8, head_cut_chord_share=0.5
    )
    assert cut.measured_area == pytest.approx(24.0 - 1.5)
    assert cut.area < cut.measured_area
    low = dataclasses.replace(rectangle, foot_extension=0.6, extension_chord=2.0)
    assert low.measured_area == rectangle.measured_area
    assert low.area == pytest.approx(24.0 + 1.2, rel=1e-9)


def test_camber_is_interpolated_between_its_heights() -> None:
    assert TRIANGLE.camber_at(2.0) == pytest.approx((0.04, 0.10))
    assert TRIANGLE.camber_at(5.0) == pytest.approx((0.045, 0.11))
    assert TRIANGLE.camber_at(14.0) == pytest.approx((0.03, 0.11))


def test_trim_runs_over_to_the_heads_own_between_transition_and_zone() -> None:
    """Luff from 2 to 14 m: transition from 8 m, zone from 11 m, half way at 9.5 m (by hand)."""
    sail = dataclasses.replace(TRIANGLE, head_zone_from_share=0.75, head_transition_from_share=0.5)
    heights = (2.0, 8.0, 9.5, 11.0, 14.0)
    assert [sail.head_ramp_at(h) for h in heights] == pytest.approx([0.0, 0.0, 0.5, 1.0, 1.0], abs=1e-12)
    below_the_foot = dataclasses.replace(sail, foot_extension=0.6, head_transition_from_share=0.0)
    assert below_the_foot.head_ramp_at(1.5) == 0.0


def test_zone_without_transition_steps_and_no_zone_has_no_ramp() -> None:
    stepped = dataclasses.replace(TRIANGLE, head_zone_from_share=0.75, head_transition_from_share=0.75)
    assert [stepped.head_ramp_at(h) for h in (10.99, 11.0)] == [0.0, 1.0]
    assert not TRIANGLE.has_head_control
    assert [TRIANGLE.head_ramp_at(h) for h in (2.0, 13.0, 14.0)] == [0.0, 0.0, 0.0]


def test_foots_own_trim_holds_in_its_zone_and_runs_out_above_it() -> None:
    """Luff from 2 to 14 m: zone up to 5 m, transition up to 8 m, half way at 6.5 m (by hand)."""
    sail = dataclasses.replace(
        TRIANGLE, foot_extension=0.6, foot_zone_to_share=0.25, foot_transition_to_share=0.5
    )
    heights = (1.5, 2.0, 5.0, 6.5, 8.0, 14.0)
    assert [sail.foot_ramp_at(h) for h in heights] == pytest.approx([1.0, 1.0, 1.0, 0.5, 0.0, 0.0], abs=1e-12)
    stepped = dataclasses.replace(sail, foot_transition_to_share=0.25)
    assert [stepped.foot_ramp_at(h) for h in (4.99, 5.01)] == [1.0, 0.0]
    assert not TRIANGLE.has_foot_control
    assert TRIANGLE.foot_ramp_at(2.0) == 0.0


def test_luff_leans_aft_going_up() -> None:
    assert TRIANGLE.luff_x(2.0) == pytest.approx(1.0)
    assert TRIANGLE.luff_x(12.0) == pytest.approx(1.0 - 10.0 * math.tan(math.radians(3.0)))


BOAT = dataclasses.replace(
    synthetic.make_boat(),
    rig=Rig(
        mast_x=1.1,
        mast_base_height=1.0,
        mast_top_height=15.0,
        mast_mass_per_length=8.0,
        mast_diameter=0.12,
        mast_drag_coefficient=1.0,
        rigging_diameter=0.04,
        rigging_drag_coefficient=1.2,
        deck_height=1.1,
        deck_half_width=1.4,
        gap_leakage=0.3,
    ),
    sails=(TRIANGLE,),
    masses=(PointMass(name="keel", mass=2000.0, x=0.1, y=0.0, z=-1.2),),
    crew=Crew(mass=480.0, arm=Range(lower=0.0, upper=1.5), x=-1.8, z=1.3, drag_area=1.5),
)


def test_masses_of_mast_and_sails_follow_from_geometry() -> None:
    """By hand: 8 kg/m over 14 m at mid height; 0.4 kg/m2 on 24 m2 at the sail's centroid, 0.4 of the chord
    behind the luff.
    """
    masses = {item.name: item for item in BOAT.all_masses()}
    assert set(masses) == {"keel", "mast", "main"}
    assert (masses["mast"].mass, masses["mast"].x, masses["mast"].z) == pytest.approx((112.0, 1.1, 8.0))
    assert (masses["main"].mass, masses["main"].z) == pytest.approx((9.6, 6.0), rel=1e-9)
    assert masses["main"].x == pytest.approx(
        1.0 - 4.0 * math.tan(math.radians(3.0)) - 0.4 * TRIANGLE.chord_at(6.0)
    )
    assert BOAT.total_mass == pytest.approx(2000.0 + 112.0 + 9.6 + 480.0, rel=1e-9)


def test_a_boat_cannot_be_changed_in_place() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        BOAT.name = "other"  # type: ignore[misc]
