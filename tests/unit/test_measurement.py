"""Measured quantities against what a hand with a tape finds: every number is computed beside its check from
the round numbers of invented boats.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import get_args

import pytest

from tests.support import synthetic
from vpp.boat import Boat, Crew, Fin, FormedHull, Range, Sail, SailSet, TableSail
from vpp.config import load
from vpp.config.schema import RuleTable
from vpp.measurement import NAMED_PARTS, QUANTITIES, measured
from vpp.physics.section_shape import SectionShape

FOILER = Path(__file__).parent / "config" / "foiling_boat.toml"


@pytest.fixture(scope="module")
def foiler() -> Boat:
    return load(FOILER).boat("base")


def with_main(**changed: float | tuple[float, ...] | Range) -> Boat:
    """A boat whose main has a luff of 10 m of height, leaning by 10 deg, and chords from 4 to 2 m."""
    boat = synthetic.make_boat()
    plain: Sail = replace(
        boat.sails[0], foot_height=2.0, head_height=12.0, luff_rake=math.radians(10.0), chord=(4.0, 2.0)
    )
    return replace(boat, sails=(replace(plain, **changed), boat.sails[1]))  # type: ignore[arg-type]


CUT = {"head_cut_from_share": 0.8, "head_cut_to_share": 0.8, "head_cut_chord_share": 0.5}
LOWER = {"foot_extension": 1.0, "extension_chord": 5.0}


@pytest.mark.parametrize(
    ("changed", "area", "filled", "by_quarters"),
    [
        # a trapezium of 10 m by 4 and 2 m
        ({}, 30.0, 30.0, 30.0),
        # half of the upper 2 m by 2.4 and 2 m is gone; by quarters the head counts 1 m in place of 2
        (CUT, 30.0 - 0.5 * 4.4, 30.0, 30.0 - 0.5 * 2.5 * 1.0),
        # below the foot a trapezium of 1 m by 4 and 5 m
        (LOWER, 34.5, 34.5, 30.0),
        (CUT | LOWER, 34.5 - 2.2, 34.5, 30.0 - 1.25),
    ],
)
def test_sail_area_with_and_without_the_cut_of_its_head(
    changed: dict[str, float], area: float, filled: float, by_quarters: float
) -> None:
    boat = with_main(**changed)
    # a sudden cut is measured by Simpson's rule just inside its edges
    assert measured(boat, "sail_area", of="main") == pytest.approx(area, rel=1e-8)
    assert measured(boat, "sail_area_filled", of="main") == pytest.approx(filled, rel=1e-8)
    assert measured(boat, "sail_area_by_quarters", of="main") == pytest.approx(by_quarters, rel=1e-12)


def test_a_cut_that_tapers_is_filled_in_whole() -> None:
    """From 1 at 60 % of the luff to a quarter at the head: chord times share is a parabola there. At 60, 80
    and 100 % the chords are 2.8, 2.4 and 2.0 m, so that Simpson's rule over 4 m gives what is left exactly.
    """
    boat = with_main(head_cut_from_share=0.6, head_cut_chord_share=0.25)
    left = 4.0 / 6.0 * (2.8 + 4.0 * 2.4 * 0.625 + 2.0 * 0.25)
    assert measured(boat, "sail_area", of="main") == pytest.approx(6.0 * 3.4 + left, rel=1e-8)
    assert measured(boat, "sail_area_filled", of="main") == pytest.approx(30.0, rel=1e-8)


def test_luff_and_chords() -> None:
    boat = with_main(**CUT, **LOWER)
    assert measured(boat, "luff_length", of="main") == pytest.approx(11.0 / math.cos(math.radians(10.0)))
    # shares are of the luff above the foot, so that the addition below it moves none of them
    assert measured(boat, "chord", of="main", at_share=0.0) == pytest.approx(4.0)
    assert measured(boat, "chord", of="main", at_share=0.5) == pytest.approx(3.0)
    assert measured(boat, "chord", of="main", at_share=0.9) == pytest.approx(0.5 * 2.2)
    # the mast begins at 0.9 m, the lower edge is at 1.0 m
    assert measured(boat, "lower_edge_over_pivot", of="main") == pytest.approx(0.1)


def test_heights_of_the_control_zones() -> None:
    zones = ("head_zone", "head_transition", "foot_zone", "foot_transition")
    boat = with_main(
        **LOWER,
        head_zone_from_share=0.85,
        head_transition_from_share=0.6,
        foot_zone_to_share=0.2,
        foot_transition_to_share=0.35,
    )
    heights = [measured(boat, f"{zone}_height", of="main") for zone in zones]
    # of 10 m of luff; the foot's zone takes in the metre below the foot
    assert heights == pytest.approx([1.5, 2.5, 3.0, 1.5])
    assert [measured(with_main(**LOWER), f"{zone}_height", of="main") for zone in zones] == [0.0] * 4


def test_total_area_and_that_of_sail_sets() -> None:
    boat = with_main()
    # the jib: 6.4 m by 2.6 and 0.1 m
    jib = 0.5 * 6.4 * 2.7
    assert measured(boat, "total_sail_area") == pytest.approx(30.0 + jib)
    large = TableSail(
        name="large",
        area=60.0,
        span=10.0,
        centre_height=6.0,
        centre_x=2.0,
        mass_per_area=0.1,
        power=Range(lower=0.4, upper=1.0),
        wind_angle=(0.5, 1.0, 2.0, 3.0),
        lift_coefficient=(0.4, 1.3, 1.0, 0.0),
        drag_coefficient=(0.2, 0.4, 0.8, 1.0),
    )
    sets = (
        SailSet(name="upwind", says="-", sails=("main", "jib")),
        SailSet(name="reefed", says="-", sails=("main",), reefed=("main",), reef_share=(0.5,)),
        SailSet(name="downwind", says="-", sails=("main", "large")),
    )
    boat = replace(boat, table_sails=(large,), sail_sets=sets)
    # the upper half of the main is 5 m by 3 and 2 m
    found = [measured(boat, "sail_set_area", of=item.name) for item in sets]
    assert found == pytest.approx([30.0 + jib, 12.5, 90.0])
    assert measured(boat, "total_sail_area") == pytest.approx(90.0)
    assert measured(boat, "sail_area", of="large") == 60.0


def test_heights_of_the_rig_and_the_cant_axis(foiler: Boat) -> None:
    # mast from 1.35 to 21.3 m, deck at 1.15 m, bearings at 0.45 m
    assert measured(foiler, "pivot_over_cant_axis") == pytest.approx(0.90)
    assert measured(foiler, "mast_height_over_deck") == pytest.approx(20.15)


def test_a_boat_that_sinks_to_its_weight_keeps_its_heights_and_draws_more() -> None:
    boat_file = load(FOILER.with_name("boat.toml"))
    base = boat_file.boat("base")
    sinkage = {row.key: row.value for row in boat_file.rows()}["afloat.sinkage_m"]
    assert measured(base, "mast_height_over_deck") == pytest.approx(15.20 - 1.15)
    # the keel leaves the hull at -0.60 m and is 1.50 m deep
    assert measured(base, "draught") == pytest.approx(2.10 + sinkage)


def test_beam_is_the_greatest_that_is_known_of_the_hull(foiler: Boat) -> None:
    # water line 2.2 m, deck 1.9 m to either side
    assert measured(foiler, "hull_beam") == pytest.approx(3.8)
    narrow = replace(foiler, rig=replace(foiler.rig, deck_half_width=0.5))
    assert measured(narrow, "hull_beam") == pytest.approx(2.2)
    assert isinstance(narrow.hull, FormedHull)
    flared = SectionShape(
        station_x=(-1.0, 0.0, 1.0),
        outlines=(
            ((0.0, -0.2), (1.0, 0.0), (1.1, 0.5)),
            ((0.0, -0.25), (1.1, 0.0), (1.45, 0.9)),
            ((0.0, -0.1), (0.2, 0.5)),
        ),
    )
    with_sections = replace(narrow, hull=replace(narrow.hull, sections=flared))
    assert measured(with_sections, "hull_beam") == pytest.approx(2.9)
    two = replace(narrow, hull=replace(narrow.hull, hull_spacing=6.0))
    assert measured(two, "hull_beam") == pytest.approx(8.2)


def test_the_crew_may_reach_further_to_leeward_than_to_windward() -> None:
    boat = synthetic.make_boat()
    assert measured(boat, "crew_reach") == 1.3
    crew: Crew = replace(boat.crew, arm=Range(lower=-1.6, upper=1.3))
    assert measured(replace(boat, crew=crew), "crew_reach") == 1.6


def test_foils(foiler: Boat) -> None:
    # halves of 1.75 and 1.55 m; the rudder's 0.80 m twice
    assert measured(foiler, "foil_span", of="foil") == pytest.approx(3.30)
    assert measured(foiler, "foil_span", of="rudder") == pytest.approx(1.60)
    cants = [measured(foiler, name) for name in ("least_cant", "greatest_cant", "cant_range")]
    assert cants == pytest.approx([math.radians(each) for each in (40.0, 56.0, 16.0)])


def test_breadth_over_foils_is_where_they_reach_furthest(foiler: Boat) -> None:
    """The outboard half hangs 33 deg below level, its tip (1.468, -4.453) m from the bearing with the arm
    upright: 4.689 m away, 18.24 deg outboard of straight down. It is level with the bearing at 71.76 deg,
    between least and greatest cant if these are 40 and 80, and a raised cant of 105 deg is past it.
    """
    along, up = 1.75 * math.cos(math.radians(33.0)), -3.5 - 1.75 * math.sin(math.radians(33.0))
    away, angle = math.hypot(along, up), math.degrees(math.atan2(along, -up))
    assert (away, angle) == pytest.approx((4.689, 18.24), abs=5e-3)
    pair = foiler.foils[0]

    def breadth(lower: float, upper: float, raised: float) -> float:
        foil = replace(
            pair,
            cant=Range(lower=math.radians(lower), upper=math.radians(upper)),
            raised_cant=math.radians(raised),
        )
        return measured(replace(foiler, foils=(foil, foiler.foils[1])), "beam_with_foils")

    def at(cant: float) -> float:
        return 2.0 * (1.75 + away * math.sin(math.radians(cant + angle)))

    assert breadth(40.0, 56.0, 105.0) == pytest.approx(at(56.0))
    assert breadth(40.0, 80.0, 105.0) == pytest.approx(2.0 * (1.75 + away))
    assert breadth(0.0, 5.0, 105.0) == pytest.approx(at(105.0))
    assert breadth(0.0, 5.0, 5.0) == pytest.approx(at(5.0))
    # stood on its head, the inboard half points outboard
    assert breadth(-90.0, -80.0, 180.0) == pytest.approx(2.0 * (1.75 + 1.55 * math.cos(math.radians(33.0))))


def test_draught_is_that_of_the_deepest(foiler: Boat) -> None:
    """The bearing is 0.45 m up. At 40 deg of cant the arm's end lies 3.5 cos(40) below it, and the inboard
    half, 33 deg up from level with the arm upright, 1.55 sin(7) lower still. At 15 deg that half lies 1.55
    sin(18) above the arm's end, and the outboard half's tip 1.75 sin(18) below it.
    """
    pair, rudder = foiler.foils

    def draught(cant: float) -> float:
        foil = replace(pair, cant=Range(lower=math.radians(cant), upper=math.radians(cant)))
        return measured(replace(foiler, foils=(foil, rudder)), "draught")

    def below(cant: float, more: float) -> float:
        return 3.5 * math.cos(math.radians(cant)) + more - 0.45

    assert draught(40.0) == pytest.approx(below(40.0, 1.55 * math.sin(math.radians(7.0))))
    assert draught(15.0) == pytest.approx(below(15.0, 1.75 * math.sin(math.radians(18.0))))
    # the range's deepest place is at its least cant
    assert measured(foiler, "draught") == pytest.approx(draught(40.0))
    # drawn up almost level, the rudder is the deepest: an arm of 2.2 m from 0.20 m
    assert draught(89.0) == pytest.approx(2.0)
    deep = Fin(
        name="keel",
        kind="fixed",
        span=4.0,
        root_chord=1.0,
        tip_chord=1.0,
        thickness_ratio=0.1,
        quarter_chord_x=0.0,
        root_z=-0.2,
    )
    assert measured(replace(foiler, fins=(deep,)), "draught") == pytest.approx(4.2)


def test_masses(foiler: Boat) -> None:
    """Hull 1650, gear 420, electronics 180, deck gear 150; two foils of 310 and a rudder of 55; a mast of
    19.95 m at 15 kg/m; sails of 0.85 and 0.40 kg/m2, their areas by trapezoids, exact for straight edges.
    """
    main = 19.55 / 8.0 * (5.20 + 2.0 * (4.95 + 4.35 + 3.40) + 1.70)
    jib = 15.03 / 8.0 * (4.70 + 2.0 * (3.60 + 2.55 + 1.45) + 0.25)
    given = 1650.0 + 420.0 + 180.0 + 150.0
    expected = given + 2.0 * 310.0 + 55.0 + 15.0 * 19.95 + 0.85 * main + 0.40 * jib
    assert measured(foiler, "boat_mass") == pytest.approx(expected, rel=1e-8)
    assert measured(foiler, "crew_mass") == 550.0
    assert measured(foiler, "waterline_length") == 14.2


def test_what_a_boat_does_not_have_is_not_measured(foiler: Boat) -> None:
    keelboat = synthetic.make_boat()
    for quantity in QUANTITIES.values():
        if quantity.part == "canting_pair":
            with pytest.raises(KeyError):
                measured(keelboat, quantity.name)
        if quantity.part in NAMED_PARTS:
            with pytest.raises(KeyError):
                measured(foiler, quantity.name, of="nothing", at_share=0.5)
    with pytest.raises(KeyError):
        measured(keelboat, "length")


def test_a_boat_file_can_name_every_quantity() -> None:
    assert get_args(RuleTable.model_fields["quantity"].annotation) == tuple(QUANTITIES)
    for name, quantity in QUANTITIES.items():
        assert quantity.name == name
        assert quantity.says
