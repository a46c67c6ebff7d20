"""What is shown of a solved rig agrees with the boat's geometry and with the forces it was solved for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.support import foiler, keelboat, synthetic
from vpp import equilibrium
from vpp.boat import Boat, Range, TableSail
from vpp.polar import Point
from vpp.results.files import Source
from vpp.rig_view import STATION_COLUMNS, RigView, SailView, rig_view
from vpp.solved import FOIL_BORNE

SOURCE = Source(name="Demo", file="demo.toml", digest="0a1b2c3d4e5f")
AFLOAT, FLYING = "afloat", "flying"


def point(boat: Boat, **wind: float) -> Point:
    return Point(source=SOURCE, solved=equilibrium.solve([boat], keelboat.conditions(**wind)))


@pytest.fixture(scope="module")
def points() -> dict[str, Point]:
    """The keelboat heeled upwind, and the boat on foils with a foot that is longer and a head that is cut."""
    boat = foiler.base()
    main = replace(
        boat.sails[0],
        foot_extension=0.4,
        extension_chord=5.6,
        head_cut_from_share=0.78,
        head_cut_to_share=0.86,
        head_cut_chord_share=0.5,
        deck_height=0.6,
    )
    conditions = keelboat.conditions(tws_kn=14.0, twa_deg=60.0)
    flying = replace(boat, sails=(main, *boat.sails[1:]))
    return {
        AFLOAT: point(keelboat.coarse(keelboat.base()), tws_kn=12.0, twa_deg=45.0),
        FLYING: Point(source=SOURCE, solved=equilibrium.solve([flying], conditions, branches=(FOIL_BORNE,))),
    }


@pytest.fixture(scope="module")
def views(points: dict[str, Point]) -> dict[str, RigView]:
    return {name: rig_view(found) for name, found in points.items()}


@pytest.mark.parametrize("name", [AFLOAT, FLYING])
def test_loads_add_up_to_the_forces_of_the_budget(
    name: str, points: dict[str, Point], views: dict[str, RigView]
) -> None:
    """Turned by heel, pitch and leeway with a library of rotations: right-handed about x forward, y to
    leeward and z up, heel to leeward about -x, bow up about -y, the course leeway to leeward of the
    centreline.
    """
    solved = points[name].solved
    heel, pitch, leeway = (float(solved.quantities[key][0]) for key in ("heel", "pitch", "leeway"))
    turn = Rotation.from_euler("xyz", [-heel, -(pitch if pitch == pitch else 0.0), -leeway])
    for sail in views[name].sails:
        force = turn.apply([sail.drive, sail.side_force, 0.0])
        said = solved.force[solved.components.index(sail.name), :, 0]
        np.testing.assert_allclose(force, said, atol=1e-9 * np.abs(said).max())
    assert views[name].side_force == pytest.approx(sum(sail.side_force for sail in views[name].sails))
    assert views[name].drive == pytest.approx(sum(sail.drive for sail in views[name].sails))


@pytest.mark.parametrize("name", [AFLOAT, FLYING])
def test_centre_of_effort_is_that_of_the_table_of_conditions(
    name: str, points: dict[str, Point], views: dict[str, RigView]
) -> None:
    told = float(points[name].solved.quantities["ce_height"][0])
    assert views[name].has_effort
    assert views[name].effort.height == pytest.approx(told, rel=1e-12)


@pytest.mark.parametrize("name", [AFLOAT, FLYING])
def test_ends_of_every_chord_are_those_of_the_sail(
    name: str, points: dict[str, Point], views: dict[str, RigView]
) -> None:
    sails = {sail.name: sail for sail in points[name].solved.boats[0].sails}
    for shown in views[name].sails:
        sail = sails[shown.name]
        assert len(shown.height) == sail.station_count
        for height, luff, leech in zip(shown.height, shown.luff_x, shown.leech_x, strict=True):
            assert luff == sail.luff_x(height)
            assert luff - leech == pytest.approx(sail.chord_at(height), rel=1e-12)


def test_outline_runs_from_the_lowest_edge_to_the_head_through_extension_and_cut(
    points: dict[str, Point], views: dict[str, RigView]
) -> None:
    main, sail = views[FLYING].sails[0], points[FLYING].solved.boats[0].sails[0]
    chord = main.outline_luff_x - main.outline_leech_x
    luff = sail.head_height - sail.foot_height
    assert main.outline_height[[0, -1]] == pytest.approx([sail.lower_edge_height, sail.head_height])
    # the extension's own chord, the whole chord below the cut, and half of it above
    for height, expected in (
        (sail.lower_edge_height, 5.6),
        (sail.foot_height + 0.78 * luff, sail.chord_at(sail.foot_height + 0.78 * luff)),
        (sail.head_height, 0.5 * sail.chord[-1]),
    ):
        assert np.interp(height, main.outline_height, chord) == pytest.approx(expected, rel=1e-6)
    assert main.deck_height == 0.6
    assert views[FLYING].sails[1].deck_height == points[FLYING].solved.boats[0].rig.deck_height


def test_area_and_its_centre_are_those_of_the_outline(views: dict[str, RigView]) -> None:
    """The outline as a polygon, by the shoelace formula; the cut's leech curves, hence the tolerance."""
    for sail in views[FLYING].sails:
        x = np.concatenate([sail.outline_luff_x, sail.outline_leech_x[::-1]])
        z = np.concatenate([sail.outline_height, sail.outline_height[::-1]])
        cross = x * np.roll(z, -1) - np.roll(x, -1) * z
        area = 0.5 * cross.sum()
        centre = [float(((v + np.roll(v, -1)) * cross).sum() / (6.0 * area)) for v in (x, z)]
        assert sail.area == pytest.approx(abs(area), rel=1e-4)
        assert sail.area_centre.x == pytest.approx(centre[0], abs=2e-3)
        assert sail.area_centre.height == pytest.approx(centre[1], abs=2e-3)


@pytest.mark.parametrize("name", [AFLOAT, FLYING])
def test_wind_is_that_of_its_height_less_the_boats_way_normal_to_the_mast(
    name: str, points: dict[str, Point], views: dict[str, RigView]
) -> None:
    """Vectors in the horizontal plane, turned to the centreline; of a heeled mast, what is normal to it."""
    solved = points[name].solved
    q = {key: float(value[0]) for key, value in solved.quantities.items()}
    env = solved.boats[0].environment
    ride = q["ride_height"] if q["ride_height"] == q["ride_height"] else 0.0
    for sail in views[name].sails:
        height = sail.height * np.cos(q["heel"]) + ride
        true = solved.conditions.tws[0] * (height / env.wind_reference_height) ** env.wind_exponent
        along, across = true * np.cos(q["twa"]) + q["boat_speed"], true * np.sin(q["twa"])
        angle, speed = np.arctan2(across, along) - q["leeway"], np.hypot(along, across)
        ahead, leeward = speed * np.cos(angle), speed * np.sin(angle) * np.cos(q["heel"])
        np.testing.assert_allclose(sail.wind_speed, np.hypot(ahead, leeward), rtol=1e-9)
        np.testing.assert_allclose(sail.wind_angle, np.arctan2(leeward, ahead), rtol=1e-9)


@pytest.mark.parametrize("name", [AFLOAT, FLYING])
def test_incidence_lies_between_chord_and_flow_of_a_parabolic_arc(
    name: str, views: dict[str, RigView]
) -> None:
    """The ideal incidence of such an arc, from which incidence counts, is zero (H. Glauert, 1926)."""
    for sail in views[name].sails:
        assert (sail.hinge_share, sail.draft_share) == (0.0, 0.5)
        assert not sail.nose_angle.any()
        np.testing.assert_allclose(sail.chord_angle + sail.incidence, sail.flow_angle, atol=1e-12)


def test_twist_and_camber_are_those_of_the_trim(points: dict[str, Point], views: dict[str, RigView]) -> None:
    """The chord opens linearly from sheet to sheet plus twist."""
    q = {key: float(value[0]) for key, value in points[AFLOAT].solved.quantities.items()}
    for shown in views[AFLOAT].sails:
        ends = shown.outline_height[[0, -1]]
        opening = np.polyfit(shown.height, shown.chord_angle, 1)
        at_ends = np.polyval(opening, ends)
        assert at_ends[0] == pytest.approx(q[f"{shown.name}_sheet"], abs=1e-6)
        assert at_ends[1] - at_ends[0] == pytest.approx(q[f"{shown.name}_twist"], abs=1e-6)


def test_water_lies_where_its_height_is_zero(views: dict[str, RigView]) -> None:
    """Points of the centre plane turned by heel and pitch with a library of rotations, then lifted."""
    view = replace(views[FLYING], heel=0.2, pitch=-0.05, ride_height=0.6)
    x = np.array([-6.0, 0.0, 7.0])
    turn = Rotation.from_euler("xy", [-view.heel, -view.pitch])
    over_water = turn.apply(np.array([x, 0.0 * x, view.water_height(x)]).T)[:, 2] + view.ride_height
    np.testing.assert_allclose(over_water, 0.0, atol=1e-12)


def test_table_of_stations_has_a_row_a_station(views: dict[str, RigView]) -> None:
    table = views[FLYING].to_frame()
    assert tuple(table.columns) == STATION_COLUMNS
    assert len(table) == sum(len(sail.height) for sail in views[FLYING].sails)
    main = table[table["sail"] == "main"]
    carried = (main["side_force_n_per_m"] * main["width_m"]).sum()
    # loads and widths are rounded
    assert carried == pytest.approx(views[FLYING].sails[0].side_force, rel=2e-3)


def test_sail_from_a_table_counts_at_its_centre() -> None:
    kite = TableSail(
        name="kite",
        area=60.0,
        span=12.0,
        centre_height=7.0,
        centre_x=3.0,
        mass_per_area=0.1,
        power=Range(lower=0.4, upper=1.0),
        wind_angle=tuple(np.radians([60.0, 90.0, 120.0, 150.0, 180.0])),
        lift_coefficient=(0.9, 1.4, 1.3, 0.7, 0.1),
        drag_coefficient=(0.25, 0.5, 0.8, 1.0, 1.05),
    )
    boat = keelboat.coarse(keelboat.base())
    found = point(replace(boat, sails=boat.sails[:1], table_sails=(kite,)), tws_kn=10.0, twa_deg=130.0)
    view = rig_view(found)
    (main,), (table,) = view.sails, view.tables
    assert view.area == pytest.approx(main.area + 60.0)
    assert view.drive == pytest.approx(main.drive + table.drive)
    assert table.drive > 0.0
    moment = float(np.sum(main.side_load * main.width * main.height)) + 7.0 * table.side_force
    assert view.effort.height == pytest.approx(moment / view.side_force)
    assert set(view.to_frame()["sail"]) == {"main"}


def test_effort_runs_away_where_side_forces_cancel() -> None:
    found = synthetic.solve([synthetic.make_boat()], keelboat.conditions(tws_kn=12.0, twa_deg=90.0))
    view = rig_view(Point(source=SOURCE, solved=found))
    assert view.has_effort
    push = view.sails[0]
    away = replace(push, side_load=-push.side_load * view.sails[1].side_force / push.side_force * 0.99)
    assert not replace(view, sails=(away, *view.sails[1:])).has_effort
    none = replace(push, side_load=0.0 * push.side_load)
    assert not replace(view, sails=(none,)).has_effort


def test_numbers_between_stations_are_interpolated() -> None:
    found = synthetic.solve([synthetic.make_boat()], keelboat.conditions(tws_kn=12.0, twa_deg=90.0))
    main: SailView = rig_view(Point(source=SOURCE, solved=found)).sails[0]
    at = main.at(0.5 * (main.height[0] + main.height[1]))
    assert at["camber"] == pytest.approx(0.5 * (main.camber[0] + main.camber[1]))
    assert main.reaches(main.height[0])
    assert not main.reaches(main.outline_height[-1] + 0.01)
