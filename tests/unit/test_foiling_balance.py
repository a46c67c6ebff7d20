"""Forces and moments of the boat on foils: each against a formula written out here, an integral done here, or
a turn done by another library.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import root
from scipy.spatial.transform import Rotation

from tests.support import foiler, keelboat
from vpp import balance, fleets, foiling, trim
from vpp.solved import FOIL_BORNE, HULL_BORNE
from vpp.solver import jets

GRAVITY = 9.80665
# Heeled, pitched, sliding and helmed: nothing is zero that could hide a wrong sign.
TURNED = {
    "heel": 0.07, "pitch": 0.03, "leeway": 0.04, "rudder": 0.02, "elevator": 0.01, "crew_arm": 0.8,
    "cant": 0.9, "flap": 0.1,
}  # fmt: skip
FOILS = {"foil": 0, "rudder": 1}
FOIL_ELEMENTS = (
    "foil arm",
    "foil inboard",
    "foil outboard",
    "rudder arm",
    "rudder inboard",
    "rudder outboard",
)


def _turn(values):
    """Body to horizontal axes: heel about x, then pitch about y, both negative right-handed (conventions
    page).
    """
    return Rotation.from_euler("xy", [-values.get("heel", 0.0), -values.get("pitch", 0.0)])


def _vectors(component):
    load = component.load
    force, moment = (
        np.array([float(np.asarray(getattr(load, part)).reshape(-1)[0]) for part in parts])
        for parts in (("forward", "leeward", "up"), ("roll", "pitch", "yaw"))
    )
    return force, moment


def _foil(kind):
    return foiler.base().foil(kind)


def _on_arm(foil, cant, along, side):
    """A point of the arm in body axes: it hangs down at no cant, which turns it outward about the fore-and-
    aft axis through the attachment, and the windward one is the mirror image.
    """
    down = Rotation.from_euler("x", cant).apply([0.0, 0.0, -along])
    y = foil.attachment_y + down[1]
    return np.array(
        [foil.attachment_x - along * math.tan(foil.arm_sweep), side * y, foil.attachment_z + down[2]]
    )


# --- what there is


def test_layout_has_six_equations_and_the_foils_elements():
    layout = fleets.layout(foiler.base())
    assert layout.equations == ("surge", "sway", "heave", "roll", "pitch", "yaw")
    assert tuple(name for foil in layout.foils for name in foil.element_names) == FOIL_ELEMENTS


def test_names_and_media_of_the_components():
    components, _, _ = foiler.loads({})
    assert [(c.name, c.medium) for c in components.values()] == [
        *(
            (name, "air")
            for name in ("main", "jib", "mast", "rigging", "topsides", "deck_edges", "deck_gear")
        ),
        ("crew windage", "air"),
        ("hull friction", "water"),
        ("hull waves", "water"),
        ("buoyancy", "water"),
        *((name, "water") for name in FOIL_ELEMENTS[:3]),
        ("foil weight", "gravity"),
        ("raised foil weight", "gravity"),
        ("raised foil windage", "air"),
        *((name, "water") for name in FOIL_ELEMENTS[3:]),
        ("weight", "gravity"),
        ("crew weight", "gravity"),
    ]


def test_a_wing_runs_from_tip_to_tip_without_a_gap():
    """Passed in its order, each element ends where the next begins, and both halves meet at the arm."""
    _, at_work, layout = foiler.loads(TURNED)
    for each, work in zip(layout.foils, at_work, strict=True):
        arm, wing = each.wings
        assert (arm.elements, arm.mirrored, wing.elements, wing.mirrored) == ((0,), True, (1, 2), False)
        at = work.place
        start = np.array([at.start_y[:, 0], at.start_z[:, 0]]).T
        end = start + at.span * np.array([at.span_y[:, 0], at.span_z[:, 0]]).T
        passed = [
            (end[i], start[i]) if back else (start[i], end[i])
            for i, back in zip(wing.elements, wing.reverse, strict=True)
        ]
        np.testing.assert_allclose(passed[0][1], passed[1][0], atol=1e-13)
        np.testing.assert_allclose(passed[0][1], end[0], atol=1e-13)


def test_a_half_without_span_is_not_there():
    foil = replace(_foil(foiling.CANTING_PAIR), inboard_span=0.0)
    layout = foiling.foil_layout(foil)
    assert layout.elements == ("arm", "outboard")
    assert layout.wings[1].elements == (1,)
    whole = foiling.foil_arrays(foil)
    np.testing.assert_allclose(whole.shape.span, [foil.arm_length, foil.outboard_span])
    with pytest.raises(ValueError, match="differ in layout"):
        fleets.fleet([foiler.base(), replace(foiler.base(), foils=(foil, *foiler.base().foils[1:]))])


# --- weights


def _masses():
    """Mass and body point of everything that has weight, by the name of its component."""
    boat, foil = foiler.base(), _foil(foiling.CANTING_PAIR)
    along = foil.mass_share * foil.arm_length
    crew = boat.crew
    return {
        "foil weight": [(foil.mass, _on_arm(foil, TURNED["cant"], along, 1.0))],
        "raised foil weight": [(foil.mass, _on_arm(foil, foil.raised_cant, along, -1.0))],
        "crew weight": [(crew.mass, np.array([crew.x, -TURNED["crew_arm"], crew.z]))],
        "weight": [(item.mass, np.array([item.x, item.y, item.z])) for item in boat.all_masses()],
    }


@pytest.mark.parametrize("name", ["foil weight", "raised foil weight", "crew weight", "weight"])
def test_weights_pull_down_at_their_own_points(name):
    """Newton: m g downwards; its moment is the turned lever times it, item by item."""
    components, _, _ = foiler.loads(TURNED)
    force, moment = np.zeros((2, 3))
    for mass, point in _masses()[name]:
        pull = np.array([0.0, 0.0, -mass * GRAVITY])
        force += pull
        moment += np.cross(_turn(TURNED).apply(point), pull)
    found = _vectors(components[name])
    np.testing.assert_allclose(found[0], force, rtol=1e-13)
    np.testing.assert_allclose(found[1], moment, rtol=1e-12, atol=1e-9)


def test_all_weights_are_the_boats_mass():
    boat = foiler.base()
    components, _, layout = foiler.loads({})
    weights = sum(_vectors(c)[0][2] for c in components.values() if c.medium == "gravity")
    assert weights == pytest.approx(-boat.total_mass * GRAVITY, rel=1e-13)
    assert balance.weight(layout, foiler.arrays())[0] == pytest.approx(-weights, rel=1e-13)
    canting, steering = _foil(foiling.CANTING_PAIR), _foil(foiling.RUDDER)
    named = {item.name: item for item in boat.all_masses()}
    assert boat.total_mass == pytest.approx(
        boat.crew.mass + 2.0 * canting.mass + sum(item.mass for item in named.values())
    )
    assert named["rudder"].mass == steering.mass
    assert "foil" not in named


def test_the_raised_foil_rights_and_the_lowered_one_heels_a_level_boat():
    """By weight alone: one hangs to leeward, the other farther out to windward."""
    components, _, _ = foiler.loads({})
    low, high = (_vectors(components[f"{which}foil weight"])[1][0] for which in ("", "raised "))
    assert low < 0.0 < high
    assert high + low > 0.0


# --- point forces in the air, pitched


def _air_points():
    boat, foil = foiler.base(), _foil(foiling.CANTING_PAIR)
    rig = boat.rig
    middle = 0.5 * (rig.mast_top_height + rig.mast_base_height)
    return {
        **{name: np.array([rig.mast_x, 0.0, middle]) for name in ("mast", "rigging")},
        **{item.name: np.array([item.x, 0.0, item.height]) for item in boat.windage},
        "crew windage": np.array([boat.crew.x, -TURNED["crew_arm"], boat.crew.z]),
        # the middle of the arm's length
        "raised foil windage": _on_arm(foil, foil.raised_cant, 0.5 * foil.arm_length, -1.0),
    }


@pytest.mark.parametrize("name", list(_air_points()))
def test_moment_of_every_air_force_is_lever_times_force(name):
    components, _, _ = foiler.loads(TURNED)
    force, moment = _vectors(components[name])
    expected = np.cross(_turn(TURNED).apply(_air_points()[name]), force)
    np.testing.assert_allclose(moment, expected, rtol=1e-11, atol=1e-9 * np.abs(expected).max())


def test_windage_of_the_raised_foil_dead_upwind():
    """0.5 rho V^2 times the drag area, in the wind at its own height over the water: boat speed plus
    tws (z/10)^a.
    """
    boat, foil = foiler.base(), _foil(foiling.CANTING_PAIR)
    env = boat.environment
    components, _, _ = foiler.loads({"boat_speed": 13.0, "ride_height": 0.9}, tws=8.0, twa=0.0)
    height = _on_arm(foil, foil.raised_cant, 0.5 * foil.arm_length, -1.0)[2] + 0.9
    wind = 13.0 + 8.0 * (height / env.wind_reference_height) ** env.wind_exponent
    force, _ = _vectors(components["raised foil windage"])
    drag = 0.5 * env.air_density * foil.raised_drag_area * wind**2
    np.testing.assert_allclose(force, [-drag, 0.0, 0.0], rtol=1e-12, atol=1e-10)


@pytest.mark.parametrize("sail", ["main", "jib"])
def test_sail_load_is_the_sum_over_its_strips_turned_one_by_one(sail):
    fleet = foiler.fleet_at(TURNED)
    boats, wake = fleet.select(np.zeros(1, dtype=np.intp))
    state = foiler.state_of(TURNED, fleet.layout)
    wind = balance.true_wind(
        boats=boats, tws=np.full(1, 7.0), twa=np.full(1, 1.2), ride_height=state.ride_height
    )
    _, strips = balance.strips(fleet_layout=fleet.layout, boats=boats, wake=wake, wind=wind, state=state)
    part = fleet.layout.slices[fleet.layout.sails.index(sail)]
    force, moment = np.zeros((2, 3))
    for i in range(part.start, part.stop):
        f = _turn(TURNED).apply([strips.forward[i, 0], strips.leeward[i, 0], 0.0])
        force += f
        moment += np.cross(_turn(TURNED).apply([boats.rig.x[i, 0], 0.0, boats.rig.height[i, 0]]), f)
    found = _vectors(foiler.loads(TURNED)[0][sail])
    np.testing.assert_allclose(found[0], force, rtol=1e-11, atol=1e-9)
    np.testing.assert_allclose(found[1], moment, rtol=1e-11, atol=1e-8)


# --- foils


@pytest.mark.parametrize("name", FOIL_ELEMENTS)
def test_turning_a_foils_load_to_horizontal_axes_is_a_rotation(name):
    """Sizes stay, and the turn is that of the boat (scipy's)."""
    components, at_work, _ = foiler.loads(TURNED)
    foil, i = at_work[FOILS[name.split()[0]]].loads, FOIL_ELEMENTS.index(name) % 3
    body_force = np.array([foil.force_x[i, 0], foil.force_y[i, 0], foil.force_z[i, 0]])
    body_moment = np.array([foil.moment_x[i, 0], foil.moment_y[i, 0], foil.moment_z[i, 0]])
    force, moment = _vectors(components[name])
    assert np.linalg.norm(force) == pytest.approx(np.linalg.norm(body_force), rel=1e-13)
    assert np.linalg.norm(moment) == pytest.approx(np.linalg.norm(body_moment), rel=1e-13)
    np.testing.assert_allclose(force, _turn(TURNED).apply(body_force), rtol=1e-11, atol=1e-9)
    np.testing.assert_allclose(moment, _turn(TURNED).apply(body_moment), rtol=1e-11, atol=1e-9)


@pytest.mark.parametrize("name", FOIL_ELEMENTS)
def test_a_foils_load_acts_on_its_element(name):
    """The moment about the element's own start, divided by the force, is a lever no longer than the element
    and along it: force times moment about a point of the line of action is zero.
    """
    _, at_work, _ = foiler.loads(TURNED)
    work, i = at_work[FOILS[name.split()[0]]], FOIL_ELEMENTS.index(name) % 3
    place, foil = work.place, work.loads
    force = np.array([foil.force_x[i, 0], foil.force_y[i, 0], foil.force_z[i, 0]])
    moment = np.array([foil.moment_x[i, 0], foil.moment_y[i, 0], foil.moment_z[i, 0]])
    start = np.array([place.start_x[i, 0], place.start_y[i, 0], place.start_z[i, 0]])
    along = np.array([place.step_x[i, 0], place.span_y[i, 0], place.span_z[i, 0]])
    about_start = moment - np.cross(start, force)
    lever_moment = np.cross(along, force)
    # where along the element the whole force would have this moment
    reach = about_start @ lever_moment / (lever_moment @ lever_moment)
    assert 0.0 < reach < place.span[i, 0]


def test_a_flying_boats_working_foil_is_where_its_numbers_say():
    """Corners of the foil by turning its arm and wing with scipy: cant about the attachment, then heel, then
    pitch, then the height of ride.
    """
    values = {**TURNED, "ride_height": 0.8}
    _, at_work, _ = foiler.loads(values)
    foil, place = _foil(foiling.CANTING_PAIR), at_work[0].place
    end = _on_arm(foil, TURNED["cant"], foil.arm_length, 1.0)
    np.testing.assert_allclose(
        [place.start_x[2, 0], place.start_y[2, 0], place.start_z[2, 0]], end, rtol=1e-13, atol=1e-13
    )
    np.testing.assert_allclose(
        foiling.tip_depths(place)[:, 0], _tip_depths(foil, values), rtol=1e-12, atol=1e-13
    )


def _tip_depths(foil, values):
    """Depth of the tips of both halves, inboard first."""
    cant = values["cant"] if foil.kind == foiling.CANTING_PAIR else 0.0
    end = _on_arm(foil, cant, foil.arm_length, 1.0)
    depths = []
    for span, dihedral, outward in (
        (foil.inboard_span, foil.inboard_dihedral, -1.0),
        (foil.outboard_span, foil.outboard_dihedral, 1.0),
    ):
        along = [
            -math.tan(foil.wing_sweep), outward * math.cos(dihedral), math.sin(dihedral)
        ]  # fmt: skip
        tip = end + Rotation.from_euler("x", cant).apply(np.array(along) * span)
        depths.append(-_turn(values).apply(tip)[2] - values["ride_height"])
    return np.array(depths)


def test_a_mirrored_rudder_foil_has_the_mirrored_load():
    """Leeway, heel and rudder turned round: windward and leeward half change places, y forces and x and z
    moments their signs. Symmetry alone.
    """
    port = {**TURNED, **{name: -TURNED[name] for name in ("leeway", "heel", "rudder")}}
    here, there = (foiler.loads(values)[0] for values in (TURNED, port))
    for one, other in (("arm", "arm"), ("inboard", "outboard"), ("outboard", "inboard")):
        (force, moment), (mirrored, turned) = (
            _vectors(here[f"rudder {one}"]),
            _vectors(there[f"rudder {other}"]),
        )
        scale = np.linalg.norm(force)
        np.testing.assert_allclose(mirrored, force * [1, -1, 1], rtol=1e-11, atol=1e-11 * scale)
        np.testing.assert_allclose(turned, moment * [-1, 1, -1], rtol=1e-11, atol=1e-10 * scale)


def test_all_foils_at_once_have_the_loads_that_each_has_alone():
    """Values and derivatives by everything that moves them, over states heeled, pitched and half out."""
    arrays, layouts = foiler.arrays(), fleets.layout(foiler.base()).foils
    x = np.random.default_rng(8).uniform(-1.0, 1.0, (9, 3))
    middle = np.array([12.0, 0.02, 0.1, 0.02, 0.8, 0.8, 0.05, 0.0, 0.0])[:, None]
    width = np.array([4.0, 0.04, 0.2, 0.03, 0.6, 0.3, 0.1, 0.1, 0.05])[:, None]
    speed, leeway, heel, pitch, ride, cant, flap, rudder, elevator = jets.variables(middle + width * x)
    attitude = foiling.Attitude(boat_speed=speed, leeway=leeway, heel=heel, pitch=pitch, ride_height=ride)
    water = arrays.water
    together = foiling.loads_of_all(
        layouts=layouts,
        elements=foiling.foil_elements(layouts, arrays.foils),
        attitude=attitude,
        water=water,
        controls=[(cant, flap), (rudder, elevator)],
    )
    for layout, foil, turn, angle, (place, found) in zip(
        layouts, arrays.foils, (cant, 0.0), (flap, elevator), together, strict=True
    ):
        at = foiling.foil_place(layout=layout, foil=foil, attitude=attitude, cant=turn)
        alone = foiling.foil_loads(
            layout=layout, foil=foil, at=at, attitude=attitude, water=water, rudder=rudder, flap=angle
        )
        pairs = [(getattr(found, name), getattr(alone, name)) for name in foiling._MOVING_LOADS]
        pairs += [(place.start_depth, at.start_depth), (place.rise, at.rise)]
        for got, want in pairs:
            for left, right in zip(jets.dense(got, 9, (3, 3)), jets.dense(want, 9, (3, 3)), strict=True):
                np.testing.assert_allclose(left, right, rtol=1e-10, atol=1e-12 * np.abs(right).max())
        for plain in (found.incidence, found.induced_drag, place.start_y, found.wings[1].lift_slope):
            assert isinstance(plain, np.ndarray)


def test_the_foil_of_the_other_side_has_the_mirrored_load():
    layout, foil = fleets.layout(foiler.base()).foils[0], foiler.arrays().foils[0]
    water = foiler.arrays().water
    found = []
    for side in (1.0, -1.0):
        attitude = foiling.Attitude(
            boat_speed=np.full(1, 13.0),
            leeway=side * np.full(1, 0.04),
            heel=side * np.full(1, 0.07),
            pitch=np.full(1, 0.03),
            ride_height=np.full(1, 0.9),
        )
        at = foiling.foil_place(layout=layout, foil=foil, attitude=attitude, cant=np.full(1, 0.9), side=side)
        found.append(
            foiling.foil_loads(
                layout=layout,
                foil=foil,
                at=at,
                attitude=attitude,
                water=water,
                rudder=np.zeros(1),
                flap=np.full(1, 0.1),
            )
        )
    leeward, windward = found
    for name, sign in (("x", 1.0), ("y", -1.0), ("z", 1.0)):
        for what, turned in (("force", sign), ("moment", -sign)):
            one, other = (getattr(load, f"{what}_{name}") for load in (leeward, windward))
            np.testing.assert_allclose(other, turned * one, rtol=1e-11, atol=1e-8)


def test_flap_and_elevator_move_only_their_own_wings():
    plain, _, _ = foiler.loads({})
    for control, moved in (
        ("flap", FOIL_ELEMENTS[1:3]),
        ("elevator", FOIL_ELEMENTS[4:]),
        ("rudder", ("rudder arm",)),
    ):
        changed, _, _ = foiler.loads({control: foiler.PLAIN[control] + 0.01})
        differing = [n for n in plain if not np.array_equal(_vectors(plain[n]), _vectors(changed[n]))]
        assert tuple(differing) == moved


def test_a_foil_clear_of_the_water_carries_nothing():
    components, _, _ = foiler.loads({"ride_height": 6.0})
    for name in (*FOIL_ELEMENTS, "buoyancy", "hull friction", "hull waves"):
        np.testing.assert_array_equal(np.abs(_vectors(components[name])), 0.0, err_msg=name)


# --- afloat


def _breadths():
    """Half breadth of the hull as its file describes it: B/2 (1 - |2x/L|^n)(1 - (1 - h/T)^m)."""
    form = foiler.base().hull

    def half(x, z):
        share = min(max((z + form.canoe_draught) / form.canoe_draught, 0.0), 1.0)
        plan = 1.0 - abs(2.0 * (x - form.centre_x) / form.waterline_length) ** form.waterline_exponent
        return 0.5 * form.waterline_beam * plan * (1.0 - (1.0 - share) ** form.section_exponent)

    return form, half


def _section_area(level):
    """Area of the section below a level, over the half breadth of the water line at that station."""
    form, _ = _breadths()
    draught, m = form.canoe_draught, form.section_exponent

    def share(z):
        return 1.0 - (1.0 - min((z + draught) / draught, 1.0)) ** m

    if level <= -draught:
        return 0.0
    return 2.0 * quad(share, -draught, min(level, 0.0), epsabs=1e-12)[0] + 2.0 * max(level, 0.0)


def _displaced(ride_height, pitch):
    """Volume of an upright, pitched hull by adaptive quadrature along x of the sections' areas, the water at
    height -(ride_height)/cos(pitch) - x tan(pitch) over the drawn water line.
    """
    form, half = _breadths()

    def area(x):
        return half(x, 0.0) * _section_area(-ride_height / math.cos(pitch) - x * math.tan(pitch))

    ends = form.centre_x + 0.5 * form.waterline_length * np.array([-1.0, 1.0])
    return quad(area, *ends, points=[form.centre_x], limit=200)[0]


def test_a_boat_at_rest_without_wind_floats_at_its_weight():
    """Archimedes. Heave and pitch brought into balance by another library's root finder; what the hull then
    displaces, integrated here, weighs what the boat weighs.

    At the least speed of the search, 0.05 m/s, the water's other forces are some newtons of 39 kN.
    """
    boat = foiler.base()
    still = {"boat_speed": 0.05, "heel": 0.0}

    def left(x):
        found = foiler.residuals({**still, "ride_height": x[0], "pitch": x[1]}, tws=0.05, twa=1.0)
        return [found["heave"] / 1e4, found["pitch"] / 1e4]

    solution = root(left, [0.0, 0.0], tol=1e-12)
    assert solution.success
    ride_height, pitch = solution.x
    components, _, _ = foiler.loads({**still, "ride_height": ride_height, "pitch": pitch}, tws=0.05, twa=1.0)
    weight = boat.total_mass * GRAVITY
    assert _vectors(components["buoyancy"])[0][2] == pytest.approx(weight, rel=2e-4)
    # with its keel wet all along, the hull's columns hold their volume to 1e-4
    assert boat.environment.water_density * _displaced(ride_height, pitch) == pytest.approx(
        boat.total_mass, rel=2e-4
    )
    # lighter than drawn, it floats higher; and nearly level
    assert 0.0 < ride_height < 0.05
    assert abs(pitch) < 0.01


def test_buoyancy_rights_by_the_metacentric_radius():
    """B M = I/V (Bouguer 1746): at a small heel buoyancy acts (BM + z_B) sin(heel) to leeward, with the
    integrals of the hull done here.
    """
    form, half = _breadths()
    ends = form.centre_x + 0.5 * form.waterline_length * np.array([-1.0, 1.0])
    inertia = quad(lambda x: 2.0 / 3.0 * half(x, 0.0) ** 3, *ends, points=[form.centre_x])[0]
    plan = quad(lambda x: 2.0 * half(x, 0.0), *ends, points=[form.centre_x])[0]
    shares = [
        quad(
            lambda z, k=k: z**k * half(form.centre_x, z) / half(form.centre_x, 0.0), -form.canoe_draught, 0.0
        )[0]
        for k in (0, 1)
    ]
    volume, centre = plan * shares[0], shares[1] / shares[0]
    heel = 0.004
    components, _, _ = foiler.loads({"ride_height": 0.0, "boat_speed": 5.0, "heel": heel})
    force, moment = _vectors(components["buoyancy"])
    density = foiler.base().environment.water_density
    assert force[2] == pytest.approx(density * GRAVITY * volume, rel=1e-3)
    assert moment[0] == pytest.approx(
        density * GRAVITY * (inertia + volume * centre) * math.sin(heel), rel=3e-3
    )
    assert force[:2].tolist() == [0.0, 0.0]


# --- margins


@pytest.mark.parametrize("values", [{}, TURNED, {**TURNED, "cant": 0.7, "heel": -0.05}])
def test_margins_are_tip_depths_and_cavitation_in_the_layouts_order(values):
    _, at_work, layout = foiler.loads(values)
    margins = balance.foil_margins(layout, at_work)
    assert [(margin.kind, margin.of) for margin in margins] == [
        ("immersion", "foil"),
        *(("cavitation", f"foil {element}") for element in ("arm", "inboard", "outboard")),
        ("immersion", "rudder"),
        ("cavitation", "rudder arm"),
        ("cavitation", "rudder wing"),
    ]
    assert balance.margin_count(layout) == len(margins) == 7
    found = {(margin.kind, margin.of): float(margin.value[0]) for margin in margins}
    everything = {**foiler.PLAIN, **foiler.FLYING, **values}
    for kind, name in ((foiling.CANTING_PAIR, "foil"), (foiling.RUDDER, "rudder")):
        shallower = _tip_depths(_foil(kind), everything).min()
        # the lesser of two, smoothly, is up to half the width of 1 cm on the safe side
        assert shallower - 0.005 - 1e-12 <= found["immersion", name] < shallower
    for i, element in enumerate(("arm", "inboard", "outboard")):
        assert found["cavitation", f"foil {element}"] == at_work[0].loads.cavitation_margin[i, 0]
    halves = at_work[1].loads.cavitation_margin[1:, 0]
    assert halves.min() - 0.005 - 1e-12 <= found["cavitation", "rudder wing"] < halves.min()


def test_margin_counts_of_other_layouts():
    layout = fleets.layout(foiler.base())
    assert balance.margin_count(replace(layout, foils=())) == 0
    assert balance.margin_count(replace(layout, foils=layout.foils[1:])) == 3
    single = foiling.foil_layout(replace(_foil(foiling.CANTING_PAIR), inboard_span=0.0))
    assert balance.margin_count(replace(layout, foils=(single,))) == 3
    assert balance.margin_count(fleets.layout(keelboat.base())) == 0


def test_limits_are_what_is_left_of_the_files_margins():
    """Immersion in metres; cavitation numbers as pressures, in full at 20 m/s."""
    _, at_work, layout = foiler.loads({})
    margins = balance.foil_margins(layout, at_work)
    boats = replace(foiler.arrays(), least_immersion=np.array([0.2]), least_cavitation=np.array([0.1]))
    limits = balance.foil_limits(boats, margins, boat_speed=np.array([10.0]))
    for margin, limit in zip(margins, limits, strict=True):
        expected = margin.value - 0.2 if margin.kind == "immersion" else 0.25 * (margin.value - 0.1)
        np.testing.assert_allclose(limit, expected, rtol=1e-13)


def test_speed_and_lift_use_up_the_cavitation_margin_and_height_the_immersion():
    def margins(**values):
        _, at_work, layout = foiler.loads(values)
        return {(m.kind, m.of): float(m.value[0]) for m in balance.foil_margins(layout, at_work)}

    plain, fast, loaded, high = (
        margins(**values) for values in ({}, {"boat_speed": 16.0}, {"flap": 0.16}, {"ride_height": 1.0})
    )
    assert fast["cavitation", "foil outboard"] < plain["cavitation", "foil outboard"]
    assert loaded["cavitation", "foil outboard"] < plain["cavitation", "foil outboard"]
    for name in ("foil", "rudder"):
        assert high["immersion", name] == pytest.approx(plain["immersion", name] - 0.1, abs=1e-9)


# --- the solver's problem


def _conditions():
    return keelboat.conditions(tws_kn=[8, 12, 16, 20], twa_deg=[50, 80, 110, 140])


def _multipliers(problem, seed):
    count = problem.equality_count + problem.inequality_count
    return np.random.default_rng(seed).normal(size=(count, problem.condition_count))


# Variables are of order one: a fourth-order difference leaves 1e-16 over its step of rounding and next to no
# truncation, which is the keelboat's tolerance. Second derivatives have corners where a column of the hull
# begins to get wet. A difference of gradients across one is wrong by the step times the change of slope: with
# a step of 1e-4 (0.03 mm of height) one entry of one state is so by 1e-5, with a quarter of it none is.
JACOBIAN_STEP, JACOBIAN_TOLERANCE = 1e-4, 1e-8
HESSIAN_STEP, HESSIAN_TOLERANCE = 2.5e-5, 1e-7


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("branch", [FOIL_BORNE, HULL_BORNE])
def test_jacobian_of_equations_and_margins_equals_central_differences(branch, seed):
    problem = foiler.problem(_conditions(), branch)
    x, cases = foiler.random_states(problem, seed=seed), np.arange(4)
    assert (problem.equality_count, problem.inequality_count) == (6, 9)
    found = problem.derivatives(x, cases, _multipliers(problem, seed)).jacobian
    expected = keelboat.central_difference(lambda at: problem.values(at, cases).constraints, x, JACOBIAN_STEP)
    _assert_rows_close(found, expected.transpose(1, 0, 2), JACOBIAN_TOLERANCE)


def _assert_rows_close(found, expected, tolerance):
    """Error in every row, against the largest entry of that row or one."""
    size = np.maximum(np.abs(expected).max(axis=1, keepdims=True), 1.0)
    assert np.max(np.abs(found - expected) / size) < tolerance


@pytest.mark.parametrize("branch", [FOIL_BORNE, HULL_BORNE])
def test_hessian_equals_central_differences_of_the_gradient(branch):
    problem = foiler.problem(_conditions(), branch)
    x, cases, multipliers = foiler.random_states(problem, seed=3), np.arange(4), _multipliers(problem, 3)

    def lagrangian_gradient(at):
        found = problem.derivatives(at, cases, multipliers)
        return found.gradient + np.einsum("mb,mnb->nb", multipliers, found.jacobian)

    found = problem.derivatives(x, cases, multipliers).hessian
    expected = keelboat.central_difference(lagrangian_gradient, x, HESSIAN_STEP)
    _assert_rows_close(found, expected, HESSIAN_TOLERANCE)


def test_values_of_the_derivative_call_are_those_of_the_plain_call():
    problem = foiler.problem(_conditions())
    x, cases = foiler.random_states(problem, seed=4), np.arange(4)
    plain, carried = problem.values(x, cases), problem.derivatives(x, cases, _multipliers(problem, 4)).values
    np.testing.assert_allclose(carried.objective, plain.objective, rtol=1e-14)
    np.testing.assert_allclose(carried.constraints, plain.constraints, rtol=1e-11, atol=1e-12)


def test_residual_scales_of_heave_and_pitch_are_the_weight():
    boat = foiler.base()
    layout = fleets.layout(boat)
    scales = dict(
        zip(
            layout.equations,
            balance.residual_scales(layout, foiler.arrays(), np.array([7.0]))[:, 0],
            strict=True,
        )
    )
    assert scales["heave"] == scales["pitch"] == pytest.approx(boat.total_mass * GRAVITY, rel=1e-13)
    assert scales["surge"] == scales["sway"]


def test_bounds_of_a_boat_on_foils():
    """Keel line clear by its margin at least, and no higher than the wing's root at the least cant."""
    boat, foil = foiler.base(), _foil(foiling.CANTING_PAIR)
    flying, floating = (trim.ranges(boat, branch) for branch in (FOIL_BORNE, HULL_BORNE))
    draught = boat.hull.canoe_draught
    reach = foil.arm_length * math.cos(foil.cant.lower) - foil.attachment_z
    assert (flying["ride_height"].lower, flying["ride_height"].upper) == pytest.approx(
        (draught + boat.margins.clearance, reach)
    )
    assert (floating["ride_height"].lower, floating["ride_height"].upper) == pytest.approx(
        (-draught, 0.5 * draught)
    )
    for bounds in (flying, floating):
        assert bounds["pitch"] == boat.margins.pitch
        assert (bounds["cant"], bounds["flap"]) == (foil.cant, foil.flap)
        assert bounds["elevator"] == _foil(foiling.RUDDER).flap
    assert trim.branches_of(boat) == (HULL_BORNE, FOIL_BORNE)
    assert trim.branches_of(keelboat.base()) == (HULL_BORNE,)
    assert not set(trim.FOILING) & set(trim.ranges(keelboat.base(), HULL_BORNE))
