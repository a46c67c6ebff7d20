"""One test for each row of the table of signs on the conventions page: zero, positive sense in words, axis
and order of rotation.

Source: docs/conventions.md. A sense in words is checked by what it does, not by repeating a formula of the
code.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.support import foiler, keelboat
from vpp import balance, equilibrium, fleets
from vpp.physics.sail_sections import equivalent_arc, mean_line
from vpp.physics.sections import section_forces
from vpp.physics.wind import apparent_wind, wind_on_heeled_span
from vpp.results.variables import VARIABLES
from vpp.state import Component, Load

DEG = math.radians(1.0)
AIR = ("main", "jib", "mast", "rigging", "topsides", "coachroof", "lifelines", "crew windage")


@pytest.fixture(scope="module")
def solved():
    """A beat and a reach, and both best VMGs, of the keelboat with few strips."""
    of = keelboat.conditions(
        tws_kn=[12, 12, 12, 12],
        twa_deg=[50, 110, np.nan, np.nan],
        aim=["speed", "speed", "upwind", "downwind"],
    )
    result = equilibrium.solve([keelboat.coarse(keelboat.base())], of)
    assert not result.status.any()
    return result


def _components(tws=6.0, twa_deg=70.0, boat=None, **changes):
    """Loads by name at one plain state with any quantity changed: 3 m/s, upright, on course, sails well
    out. Of the keelboat, or of another boat.
    """
    boat = keelboat.coarse(boat or keelboat.base())
    problem = keelboat.problem([boat], keelboat.conditions(tws_kn=tws / keelboat.KNOT, twa_deg=twa_deg))
    state = {"boat_speed": 3.0, "leeway": 0.0, "heel": 0.0, "rudder": 0.0, "crew_arm": 0.0}
    state["crew_x"] = boat.crew.x
    state |= {
        f"{sail}_{what}": v
        for sail in ("main", "jib")
        for what, v in (("sheet", 0.5), ("twist", 0.1), ("camber", 0.5), ("head_camber", 0.0))
    }
    state |= changes
    values = {name: np.array([value], dtype=float) for name, value in state.items()}
    values["twa"] = problem.conditions.twa
    return {c.name: c.load for c in problem.loads(values, np.array([0]))[0]}


def _number(value):
    return float(np.asarray(value).reshape(-1)[0])


def _air(loads, part):
    return sum(_number(getattr(loads[name], part)) for name in AIR)


# --- winds


def test_true_wind_angle_sign():
    """Zero: wind from dead ahead. Positive: from starboard, so that it pushes the mast to port (+y). 180
    deg: from astern.
    """
    ahead, beam, astern = (
        _components(twa_deg=angle, boat_speed=0.05)["mast"] for angle in (0.0, 90.0, 180.0)
    )
    assert _number(ahead.forward) < 0.0
    assert abs(_number(ahead.leeward)) < 1e-9
    assert _number(beam.leeward) > 0.0
    assert _number(astern.forward) > 0.0


def test_beta_sign():
    """Zero from dead ahead along the course; positive from windward; the wind blows towards (-cos beta, sin
    beta).
    """
    speed, beta = apparent_wind(true_wind_speed=5.0, true_wind_angle=0.0, boat_speed=3.0)
    assert (speed, beta) == (8.0, 0.0)
    speed, beta = apparent_wind(true_wind_speed=5.0, true_wind_angle=math.radians(90.0), boat_speed=5.0)
    assert beta == pytest.approx(math.radians(45.0))
    # what a boat at 5 m/s feels of a wind that blows to leeward at 5 m/s: 5 to leeward and 5 from ahead
    np.testing.assert_allclose([-speed * math.cos(beta), speed * math.sin(beta)], [-5.0, 5.0])


def test_apparent_wind_angle_sign(solved):
    """Zero along the centreline; leeway turns the bow to windward, so that the wind comes from farther
    ahead: AWA = beta - leeway.
    """
    q = solved.quantities
    assert (q["leeway"][:1] > 0.0).all()
    np.testing.assert_allclose(q["awa"], q["beta"] - q["leeway"], atol=1e-14)
    ahead, leeward = wind_on_heeled_span(
        true_wind_speed=6.0, true_wind_angle=1.0, boat_speed=3.0, leeway=0.1, heel=0.0
    )
    _, beta = apparent_wind(true_wind_speed=6.0, true_wind_angle=1.0, boat_speed=3.0)
    assert math.atan2(leeward, ahead) == pytest.approx(beta - 0.1, abs=1e-14)


def test_vmg_sign(solved):
    """Positive to windward, negative sailing away; zero square to the wind."""
    q = solved.quantities
    np.testing.assert_allclose(q["vmg"], q["boat_speed"] * np.cos(q["twa"]))
    assert np.sign(q["vmg"]).tolist() == [1.0, -1.0, 1.0, -1.0]


# --- attitude


def test_leeway_sign():
    """Sliding to leeward: the keel pushes back to windward (-y), and the centreline in course axes is (cos,
    -sin, 0).
    """
    keel = _components(leeway=3.0 * DEG)["keel"]
    assert _number(keel.leeward) < 0.0
    assert abs(_number(_components()["keel"].leeward)) < 1e-9
    along_centreline = Component(
        name="push", medium="air", load=Load(forward=np.ones(1), roll=np.zeros(1), yaw=np.zeros(1))
    )
    surge, sway, *_ = balance.residuals(
        fleets.layout(keelboat.base()), [along_centreline], leeway=np.array([0.1])
    )[:, 0]
    np.testing.assert_allclose([surge, sway], [math.cos(0.1), -math.sin(0.1)])
    turned = Rotation.from_euler("z", -0.1).apply(
        [1.0, 0.0, 0.0]
    )  # a negative right-handed turn about the vertical
    np.testing.assert_allclose(turned[:2], [surge, sway])


def test_heel_sign():
    """To leeward: the mast tip moves to +y, which a weight aloft shows by heeling further (negative right-
    handed).
    """
    tip = Rotation.from_euler("x", -0.3).apply([0.0, 0.0, 15.0])
    np.testing.assert_allclose(tip, [0.0, 15.0 * math.sin(0.3), 15.0 * math.cos(0.3)])
    upright, heeled = (_components(heel=angle) for angle in (0.0, 0.3))
    assert _number(upright["buoyancy"].roll) == pytest.approx(0.0, abs=1e-6)
    # the crew sits high: its weight on the centreline turns the heeled boat further over
    assert (
        _number(heeled["crew weight"].roll)
        < 0.0
        < _number(heeled["buoyancy"].roll) + _number(heeled["weight"].roll)
    )


def test_pitch_sign(solved):
    """Positive bow up, by the table of variables; not solved for a hull-borne boat, so that its column is
    there and empty.
    """
    assert np.isnan(solved.quantities["pitch"]).all()
    (row,) = [v for v in VARIABLES if v.source == "pitch"]
    assert "bow up" in row.sense
    # of the boat on foils, what is ahead of the reference point rises and what is behind it sinks
    level, up = (foiler.loads({"pitch": angle})[1] for angle in (0.0, 2.0 * DEG))
    (foil, rudder), (foil_up, rudder_up) = (
        [work.place.start_depth[0, 0] for work in at] for at in (level, up)
    )
    assert foil_up < foil
    assert rudder_up > rudder
    np.testing.assert_allclose(
        Rotation.from_euler("y", -2.0 * DEG).apply([5.0, 0.0, 0.0]),
        [5.0 * math.cos(2.0 * DEG), 0.0, 5.0 * math.sin(2.0 * DEG)],
    )


def test_ride_height_sign(solved):
    """Positive lifted, by the table of variables; the column is there and empty for a hull-borne boat."""
    assert np.isnan(solved.quantities["ride_height"]).all()
    (row,) = [v for v in VARIABLES if v.source == "ride_height"]
    assert "lifted" in row.sense
    low, high = (foiler.loads({"ride_height": height})[1] for height in (0.5, 0.7))
    for before, after in zip(low, high, strict=True):
        np.testing.assert_allclose(after.place.start_depth, before.place.start_depth - 0.2, atol=1e-14)


# --- controls


def test_rudder_sign():
    """Positive pushes the stern to leeward, and with its place aft of the reference point turns the bow to
    windward (negative z).
    """
    amidships, over = (_components(rudder=angle)["rudder"] for angle in (0.0, 5.0 * DEG))
    assert abs(_number(amidships.leeward)) < 1e-9
    assert _number(over.leeward) > 0.0
    assert _number(over.yaw) < 0.0
    amidships, over = (foiler.loads({"rudder": angle})[0]["rudder arm"].load for angle in (0.0, 2.0 * DEG))
    assert abs(_number(amidships.leeward)) < 1e-9
    assert _number(over.leeward) > 0.0
    assert _number(over.yaw) < 0.0


def test_cant_sign():
    """Zero straight down in the boat's plane; positive takes the end of the leeward arm outward, and up."""
    ends = []
    for angle in (0.0, 40.0 * DEG, 50.0 * DEG):
        place = foiler.loads({"cant": angle})[1][0].place
        ends.append((place.start_y[1, 0], place.start_z[1, 0], place.start_depth[1, 0]))
    foil = foiler.base().foils[0]
    assert ends[0][:2] == pytest.approx((foil.attachment_y, foil.attachment_z - foil.arm_length))
    for less, more in pairwise(ends):
        assert more[0] > less[0]
        assert more[1] > less[1]
        assert more[2] < less[2]


def test_flap_sign():
    """Positive lifts, and by its place to leeward rights the boat."""
    low, high = (_wing("foil", flap=angle) for angle in (0.0, 3.0 * DEG))
    assert high["up"] > low["up"]
    assert high["roll"] > low["roll"]


def test_elevator_sign():
    """Zero in line with the boat and without lift; positive lifts the stern and so puts the bow down
    (positive right-handed).
    """
    level, up = (_wing("rudder", elevator=angle) for angle in (0.0, 1.0 * DEG))
    assert abs(level["up"]) < 1e-9
    assert up["up"] > 0.0
    assert up["pitch"] > level["pitch"]


def _wing(foil, **values):
    """Load of both halves of a foil's wing together."""
    components, _, _ = foiler.loads(values)
    halves = [components[f"{foil} {half}"].load for half in ("inboard", "outboard")]
    return {part: sum(_number(getattr(load, part)) for load in halves) for part in ("up", "roll", "pitch")}


def test_sheet_sign():
    """Easing lets the clew go to leeward: incidence and side force fall; a beam wind on a sail amidships is
    stalled drag to leeward.
    """
    trimmed, eased = (_components(main_sheet=angle * DEG) for angle in (25.0, 35.0))
    assert _number(eased["main"].leeward) < _number(trimmed["main"].leeward)
    # eased to the wind's own angle the flat sail makes no side force to speak of; eased beyond, it backs
    backed = _components(main_sheet=85.0 * DEG, main_camber=0.0, jib_camber=0.0)
    assert _number(backed["main"].leeward) < 0.0


def test_twist_sign():
    """Positive opens the head: side force moves down the sail, foot unchanged."""
    closed, open_ = (_components(main_sheet=0.6, main_twist=angle)["main"] for angle in (0.0, 12.0 * DEG))
    height = [-_number(load.roll) / _number(load.leeward) for load in (closed, open_)]
    assert height[1] < height[0] - 0.1


def test_camber_sign():
    """Belly to leeward lifts to leeward with the chord along the wind (thin-aerofoil theory: zero-lift
    angle -2 f/c).
    """
    common = {
        "stall_incidence": 0.14,
        "stall_width": 0.035,
        "least_drag": 0.01,
        "bucket_factor": 0.01,
        "drag_maximum": 1.5,
    }
    (lift, _), (flat, _) = (
        section_forces(incidence=np.array([0.0]), camber=c, **common) for c in (0.08, 0.0)
    )
    assert lift[0] > 0.0
    assert flat[0] == pytest.approx(0.0, abs=1e-12)
    assert _number(_components(main_camber=1.0)["main"].leeward) > _number(
        _components(main_camber=0.0)["main"].leeward
    )


def test_mast_rotation_sign():
    """Zero: nose along the foot chord, so that a flat section stays flat. Positive adds to the camber, as a
    belly to leeward does, and so to the side force at small incidence.
    """
    line = mean_line(hinge_share=0.12, draft_share=0.5)
    rotation = np.array([-0.2, 0.0, 0.2])
    incidence, camber = equivalent_arc(line=line, incidence=0.0, camber=0.0, rotation=rotation)
    assert (incidence[1], camber[1]) == (0.0, 0.0)
    assert camber[0] < 0.0 < camber[2]
    # the apparent wind comes at 48 deg and the chord stands at 46
    boat = keelboat.turning_mast(keelboat.base())
    back, along, turned = (
        _components(boat=boat, main_sheet=0.8, main_twist=0.0, main_foot_camber=0.5, mast_rotation=angle)
        for angle in (-0.2, 0.0, 0.2)
    )
    assert _number(back["main"].leeward) < _number(along["main"].leeward) < _number(turned["main"].leeward)


def test_crew_arm_sign():
    """Positive to windward: rights the boat (positive right-handed about x), and its windage acts at -y."""
    inside, outside = (_components(crew_arm=arm) for arm in (0.0, 1.0))
    gained = _number(outside["crew weight"].roll) - _number(inside["crew weight"].roll)
    assert gained == pytest.approx(keelboat.base().crew.mass * 9.80665)
    # drag on a point at -y, pulling aft, turns the bow to windward: y x F = -(-1)(-) -> negative about z
    assert _number(outside["crew windage"].yaw) < _number(inside["crew windage"].yaw)


# --- results


def test_drive_sign(solved):
    """Forward along the course: what water takes away from a boat at steady speed."""
    water = np.array(solved.medium) == "water"
    assert (solved.quantities["drive"] > 0.0).all()
    np.testing.assert_allclose(solved.quantities["drive"], -solved.force[water, 0].sum(axis=0), rtol=1e-9)


def test_side_force_sign(solved):
    """To leeward across the course, +y, for a wind from starboard."""
    water = np.array(solved.medium) == "water"
    assert (solved.quantities["side_force"][[0, 1, 2]] > 0.0).all()
    np.testing.assert_allclose(
        solved.quantities["side_force"], -solved.force[water, 1].sum(axis=0), atol=1e-6
    )


def test_ce_height_sign(solved):
    """Up from the water plane: between the sails' lowest foot and highest head where all strips pull the
    same way.
    """
    boat = keelboat.base()
    lowest, highest = min(s.lower_edge_height for s in boat.sails), max(s.head_height for s in boat.sails)
    height, heel = solved.quantities["ce_height"][[0, 2]], solved.quantities["heel"][[0, 2]]
    assert (height > lowest * np.cos(heel)).all()
    assert (height < highest).all()


def test_tip_depth_sign():
    """Positive under water: lifting the boat by a metre takes a metre off, and out of the water it is
    negative.
    """
    depth = []
    for height in (0.9, 1.9):
        _, at_work, layout = foiler.loads({"ride_height": height})
        depth.append(_number(balance.foil_margins(layout, at_work)[0].value))
    assert depth[0] > 0.0 > depth[1]
    assert depth[0] - depth[1] == pytest.approx(1.0, abs=1e-12)


def test_cavitation_margin_sign():
    """Positive where nothing cavitates: it falls with speed and is negative far beyond the usual."""
    found = []
    for speed in (8.0, 30.0):
        _, at_work, layout = foiler.loads({"boat_speed": speed})
        margins = balance.foil_margins(layout, at_work)
        found.append(min(_number(m.value) for m in margins if m.kind == balance.CAVITATION))
    assert found[0] > 0.0 > found[1]


@pytest.mark.parametrize(
    ("name", "variable", "equation", "sign"),
    [
        # a force down on a lifted boat, a moment bow down on one pitched up and upright on a heeled one
        ("heave_stiffness", "ride_height", "heave", -1.0),
        ("pitch_stiffness", "pitch", "pitch", 1.0),
        ("roll_stiffness", "heel", "roll", 1.0),
    ],
)
def test_stiffness_signs(name, variable, equation, sign):
    """Positive where what changes pushes back; in newtons and newton metres per metre and radian."""
    problem, solution, said = foiler.flying()
    values = {what: _number(v) for what, v in problem.named(solution.x, np.array([0])).items()}
    wind = {"tws": 14.0 * keelboat.KNOT, "twa": values.pop("twa")}
    step = 1e-5
    more, less = (
        foiler.residuals({**values, variable: values[variable] + way * step}, **wind)[equation]
        for way in (1.0, -1.0)
    )
    found = said.quantities[name][0]
    assert found == pytest.approx(sign * (more - less) / (2.0 * step), rel=1e-5)


def _about_centreline(solved, components):
    """Moment of some components about the horizontal centreline, (cos leeway, -sin leeway, 0) in course
    axes.
    """
    leeway, moment = solved.quantities["leeway"], solved.moment[components].sum(axis=0)
    return np.cos(leeway) * moment[0] - np.sin(leeway) * moment[1]


def test_heeling_moment_sign(solved):
    """Heels the boat to leeward: about the centreline, the negative of all moments of air, fins and hull
    drag.
    """
    resting = np.isin(solved.components, ["weight", "crew weight", "buoyancy"])
    found = solved.quantities["heeling_moment"]
    assert (found[[0, 1, 2]] > 0.0).all()
    np.testing.assert_allclose(found, -_about_centreline(solved, ~resting), rtol=1e-9, atol=1e-6)


def test_righting_moment_sign(solved):
    """Turns the boat upright: about the centreline, the moment of weight, crew and buoyancy; equals the
    heeling moment.
    """
    resting = np.isin(solved.components, ["weight", "crew weight", "buoyancy"])
    found = solved.quantities["righting_moment"]
    np.testing.assert_allclose(found, _about_centreline(solved, resting), rtol=1e-9, atol=1e-6)
    np.testing.assert_allclose(found, solved.quantities["heeling_moment"], rtol=1e-6, atol=1e-3)


def _of(solved, name):
    place = solved.components.index(name)
    return solved.force[place], solved.moment[place]


def test_budget_force_signs(solved):
    """x forward: sails drive, hull drags. y to leeward: sails push, keel holds. z up: buoyancy up, weight
    down.
    """
    main, keel, hull = (_of(solved, name)[0][:, 0] for name in ("main", "keel", "hull friction"))
    assert main[0] > 0.0 > hull[0]
    assert main[1] > 0.0 > keel[1]
    assert _of(solved, "buoyancy")[0][2, 0] > 0.0 > _of(solved, "weight")[0][2, 0]
    assert main[2] < 0.0  # heeled to leeward the sail pushes down as well


def test_budget_moment_x_sign(solved):
    """Positive rights the boat: crew to windward does, a sail pushed to leeward aloft does not."""
    assert _of(solved, "crew weight")[1][0, 0] > 0.0 > _of(solved, "main")[1][0, 0]


def test_budget_moment_y_sign():
    """Positive is bow down: a drive aloft does that, which buoyancy holds; a drag below the water does it
    too.
    """
    loads = _components(leeway=0.0)
    assert _number(loads["main"].forward) > 0.0
    assert _number(loads["main"].pitch) > 0.0 > _number(loads["buoyancy"].pitch)
    assert _number(loads["mast"].forward) * _number(loads["mast"].pitch) > 0.0
    assert _number(loads["keel"].forward) < 0.0 < _number(loads["keel"].pitch)


def test_budget_moment_z_sign():
    """Positive turns the bow to leeward: a push to leeward forward of the reference point does, one aft of
    it does not.
    """
    loads = _components(leeway=0.0)
    assert _number(loads["jib"].leeward) > 0.0
    assert _number(loads["jib"].yaw) > 0.0
    assert _number(_components(rudder=-5.0 * DEG)["rudder"].yaw) > 0.0  # pushes the stern to windward


def test_position_signs():
    """x forward, y to leeward, z up, in body axes: a heeled point lies at y cos h + z sin h and z cos h - y
    sin h.
    """
    boat = keelboat.base()
    jib, main = boat.sails[1], boat.sails[0]
    assert jib.tack_x > main.tack_x > boat.fins[1].quarter_chord_x
    assert boat.fins[0].root_z < 0.0 < boat.rig.mast_base_height
    point, heel = np.array([0.0, -1.4, 1.2]), 0.25
    expected = [
        0.0,
        -1.4 * math.cos(heel) + 1.2 * math.sin(heel),
        1.2 * math.cos(heel) + 1.4 * math.sin(heel),
    ]
    np.testing.assert_allclose(Rotation.from_euler("x", -heel).apply(point), expected)
    # a weight at that point has the moment of its lateral place: crew to windward at 1.4 m
    crew = boat.crew
    roll = _number(_components(heel=heel, crew_arm=1.4)["crew weight"].roll)
    lateral = -1.4 * math.cos(heel) + crew.z * math.sin(heel)
    assert roll == pytest.approx(-crew.mass * 9.80665 * lateral, rel=1e-12)
