"""Righting moments afloat and on foils: against closed forms, energy, and the balance's own loads."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.integrate import quad

from tests.support import foiler, keelboat
from vpp import fleets, foiling
from vpp.boat import PointMass, Range
from vpp.physics import hull_form
from vpp.physics.stability import wall_sided_righting_arm
from vpp.solved import FOIL_BORNE
from vpp.stability import (
    AFLOAT,
    CANT,
    CANT_AXIS,
    CREW,
    HEEL,
    HULL_FORM,
    MAST_PIVOT,
    RAISED_WEIGHT,
    REFERENCES,
    RUDDER_FOIL,
    SAILS,
    SIDE,
    VERTICAL,
    WATER_PLANE,
    WORKING_FOIL,
    Settings,
    Stability,
    StabilityInputError,
    afloat,
    effort_height,
    stability,
)

GRAVITY = 9.80665
DEGREE = math.pi / 180.0


def _file(boat):
    """What `stability` needs of a boat file."""
    return SimpleNamespace(boat=lambda option: boat, name="n", path=SimpleNamespace(name="f"), digest="d")


@lru_cache(maxsize=1)
def _flying() -> Stability:
    """The demo boat with its foil canted so that every heel of its range has a result."""
    return stability(_file(foiler.base()), cant_deg=48.0)


@lru_cache(maxsize=1)
def _keelboat() -> Stability:
    return stability(_file(keelboat.base()))


def _at(curve, name, direction=VERTICAL):
    return next(item for item in curve.of(direction) if item.name == name)


def _afloat_at(boat, heel, *, arm=0.0, cant=math.nan):
    heel = np.atleast_1d(np.asarray(heel, dtype=float))
    settings = Settings(
        crew_arm=arm, heel=0.0, cant=cant, boat_speed=math.nan, ride_height=math.nan, effort_height=math.nan
    )
    return afloat(fleets.fleet([boat]), boat, settings, varied=HEEL, heel=heel, cant=np.full(len(heel), cant))


# --- closed forms


def test_weight_held_out_to_windward_has_the_lever_of_canting_ballast():
    # 3000 kg 4 m from a pivot over the centreline, 40 deg out, 20 deg of heel: 3000 g 4 sin(60 deg), by hand
    foil = foiler.base().foil("canting_pair")
    held = replace(
        foil, attachment_y=0.0, attachment_z=3.5, arm_length=4.0, mass_share=1.0, mass=3000.0,
        raised_cant=40.0 * DEGREE,
    )  # fmt: skip
    boat = replace(foiler.base(), foils=(held, *(f for f in foiler.base().foils if f is not foil)))
    curve = _afloat_at(boat, [20.0 * DEGREE], cant=50.0 * DEGREE)
    # as many as its two foils weigh, the boat floats lower; the lever does not know
    assert curve.unknowns["ride_height"][0] < 0.0
    pivot = 3000.0 * GRAVITY * 3.5 * math.sin(20.0 * DEGREE)
    assert _at(curve, RAISED_WEIGHT).roll[0] + pivot == pytest.approx(101_914.0, abs=0.5)


def test_crew_to_windward_rights_by_its_weight_times_its_arm():
    crew = replace(keelboat.base().crew, mass=80.0, arm=Range(lower=0.0, upper=1.9))
    found = stability(_file(replace(keelboat.base(), crew=crew)))
    assert found.settings.crew_arm == 1.9
    assert _at(found.curves[0], CREW).roll[0] == pytest.approx(1490.6, abs=0.05)  # 80 g 1.9, by hand


@pytest.mark.parametrize(("heel_deg", "arm"), [(10.0, 0.055734), (30.0, 0.370370)])
def test_box_has_the_arms_of_the_theory_page(heel_deg, arm):
    # beam 10, draught 3, depth 6, centre of mass 4 m above the keel: worked by hand on the theory page
    boat = keelboat.base()
    box = replace(
        boat.hull, buoyancy_centre_z=-1.5, metacentric_radius=100.0 / 36.0, wall_sided_limit=30.964 * DEGREE
    )
    weightless = replace(
        boat,
        hull=box,
        masses=(PointMass(name="all", mass=5000.0, x=0.0, y=0.0, z=1.0),),
        crew=replace(boat.crew, mass=0.0),
        rig=replace(boat.rig, mast_mass_per_length=0.0),
        sails=tuple(replace(sail, mass_per_area=0.0) for sail in boat.sails),
    )
    curve = _afloat_at(weightless, [heel_deg * DEGREE, 31.0 * DEGREE])
    assert curve.righting_arm[0] == pytest.approx(arm, abs=1e-6)
    assert math.isnan(curve.righting_arm[1])
    assert "vertical sides" in curve.reason[1]


def test_keelboat_has_the_wall_sided_arm_with_its_crew_amidships():
    boat = keelboat.base()
    heel = np.radians([0.0, 5.0, 15.0, 30.0])
    masses = boat.all_masses()
    moment = sum(item.mass * item.z for item in masses) + boat.crew.mass * boat.crew.z
    height = boat.hull.buoyancy_centre_z + boat.hull.metacentric_radius - moment / boat.total_mass
    arm = wall_sided_righting_arm(
        heel=heel, metacentric_height=height, metacentric_radius=boat.hull.metacentric_radius
    )
    np.testing.assert_allclose(_afloat_at(boat, heel).righting_arm, arm, rtol=1e-12, atol=1e-15)


def test_righting_moment_afloat_is_the_slope_of_the_potential_energy():
    # energy of the masses, and of the water from the buoyant force alone, integrated from a hull clear of it
    boat, cant, arm = foiler.base(), 48.0 * DEGREE, 0.6
    fleet = fleets.fleet([boat])
    env, foil = boat.environment, boat.foil("canting_pair")
    arrays = foiling.foil_arrays(foil)
    held = [
        (foil.mass, *foiling.arm_point(foil=arrays, cant=angle, along=arrays.mass_length, side=side))
        for angle, side in ((cant, 1.0), (foil.raised_cant, -1.0))
    ]
    masses = [(item.mass, item.x, item.y, item.z) for item in boat.all_masses()]
    masses += [(boat.crew.mass, boat.crew.x, -arm, boat.crew.z), *held]

    def energy(heel, rise, pitch):
        def up(height):
            return float(
                hull_form.buoyancy(
                    columns=fleet.arrays.hull.columns[0],
                    ride_height=np.array([height]),
                    heel=np.array([heel]),
                    pitch=np.array([pitch]),
                    water_density=env.water_density,
                    gravity=GRAVITY,
                ).up[0]
            )

        water, _ = quad(up, rise, 1.5, epsabs=1e-4, epsrel=1e-10, limit=400)
        heights = [
            (z * math.cos(heel) - y * math.sin(heel)) * math.cos(pitch) + x * math.sin(pitch) + rise
            for _, x, y, z in masses
        ]
        return water + sum(m * GRAVITY * h for (m, *_), h in zip(masses, heights, strict=True))

    step = 0.004
    for middle in (0.1, 0.4):
        curve = _afloat_at(boat, middle + step * np.array([-1.0, 0.0, 1.0]), arm=arm, cant=cant)
        rise, pitch = curve.unknowns["ride_height"], curve.unknowns["pitch"]
        low, high = (energy(curve.heel[i], rise[i], pitch[i]) for i in (0, 2))
        # central difference: its error goes with the square of the step
        assert (high - low) / (2.0 * step) == pytest.approx(curve.righting_moment[1], rel=1e-3)


# --- afloat


def test_boat_afloat_carries_its_weight_and_no_moment_in_pitch():
    boat = foiler.base()
    curve = _flying().curve(AFLOAT, HEEL)
    assert np.all(curve.reason == "")
    np.testing.assert_allclose(_at(curve, HULL_FORM).force, boat.total_mass * GRAVITY, rtol=1e-9)
    np.testing.assert_allclose(
        np.sum([item.force for item in curve.of(VERTICAL)], axis=0) / curve.weight, 0.0, atol=1e-10
    )
    assert not curve.of(SIDE)


def test_heel_past_the_deck_edge_has_no_result():
    boat = foiler.base()
    low = replace(boat, rig=replace(boat.rig, deck_height=0.3))
    curve = _afloat_at(low, np.radians([2.0, 30.0]), cant=0.8)
    assert curve.reason[0] == ""
    assert curve.reason[1] == "the deck edge is under water"
    assert np.isfinite(curve.righting_moment[0])
    assert np.isnan(curve.righting_moment[1])


def test_boat_too_heavy_to_float_has_no_result_and_no_number():
    boat = foiler.base()
    sunk = replace(boat, masses=(*boat.masses, PointMass(name="lead", mass=5e5, x=30.0, y=0.0, z=0.0)))
    curve = _afloat_at(sunk, [0.1], cant=0.8)
    assert curve.reason[0] != ""
    assert np.isnan(curve.righting_moment[0])


# --- on foils


@pytest.mark.parametrize("varied", [HEEL, CANT])
def test_couple_is_the_same_about_every_reference(varied):
    curve = _flying().curve(FOIL_BORNE, varied)
    assert tuple(curve.heights) == REFERENCES
    assert np.all(curve.reason == "")
    righting = curve.righting_moment
    for height in curve.heights.values():
        heeling = np.sum([item.about(height) for item in curve.of(SIDE)], axis=0)
        np.testing.assert_allclose(heeling, -righting, rtol=1e-9)
        vertical = np.sum([item.about(height) for item in curve.of(VERTICAL)], axis=0)
        np.testing.assert_allclose(vertical, righting, rtol=1e-15)
    np.testing.assert_allclose(curve.side_force * curve.lever, righting, rtol=1e-9)


def test_parts_of_side_forces_change_with_the_height_and_parts_of_vertical_ones_do_not():
    curve = _flying().curve(FOIL_BORNE, HEEL)
    for name in (WORKING_FOIL, RUDDER_FOIL, SAILS):
        side, up = _at(curve, name, SIDE), _at(curve, name)
        change = side.about(curve.heights[MAST_PIVOT]) - side.about(curve.heights[WATER_PLANE])
        np.testing.assert_allclose(change, curve.heights[MAST_PIVOT] * side.force, rtol=1e-12)
        np.testing.assert_array_equal(up.about(curve.heights[MAST_PIVOT]), up.roll)
    # to leeward above the line heels, and less about a higher line; the water pushes to windward below it
    sails, foil = _at(curve, SAILS, SIDE), _at(curve, WORKING_FOIL, SIDE)
    assert np.all(sails.about(curve.heights[CANT_AXIS]) > sails.roll)
    assert np.all(foil.about(curve.heights[CANT_AXIS]) < foil.roll)


def test_state_on_foils_balances_under_the_loads_of_the_balance():
    # the same state given to the balance: heave, sway, roll and pitch with the sails' force at its height
    found = _flying()
    curve, settings, boat = found.curve(FOIL_BORNE, HEEL), found.settings, foiler.base()
    for i in (0, 6, 12):
        components, _, _ = foiler.loads(
            {
                "boat_speed": settings.boat_speed,
                "ride_height": settings.ride_height,
                "cant": settings.cant,
                "crew_arm": settings.crew_arm,
                "heel": curve.heel[i],
                **{name: values[i] for name, values in curve.unknowns.items()},
            }
        )
        total = {
            part: sum(
                float(np.asarray(getattr(c.load, part)).reshape(-1)[0])
                for c in components.values()
                if c.medium != "air"
            )
            for part in ("forward", "leeward", "up", "roll", "pitch")
        }
        heel, height = curve.heel[i], settings.effort_height
        press = curve.side_force[i] / math.cos(heel)
        assert total["leeward"] + press * math.cos(heel) == pytest.approx(0.0, abs=1e-6)
        assert total["up"] - press * math.sin(heel) == pytest.approx(0.0, abs=1e-4)
        assert total["roll"] - press * height == pytest.approx(0.0, abs=1e-4)
        drive = -total["forward"]
        mast = press * math.sin(heel) * boat.rig.mast_x
        assert total["pitch"] + drive * height * math.cos(heel) + mast == pytest.approx(0.0, abs=1e-4)


def test_contributions_of_a_foil_add_up_to_its_roll_moment_and_act_on_it():
    found = _flying()
    curve, settings = found.curve(FOIL_BORNE, CANT), found.settings
    up, side = _at(curve, WORKING_FOIL), _at(curve, WORKING_FOIL, SIDE)
    for i in (0, 8, 16):
        components, at_work, layout = foiler.loads(
            {
                "boat_speed": settings.boat_speed,
                "ride_height": settings.ride_height,
                "cant": curve.cant[i],
                "crew_arm": settings.crew_arm,
                **{name: values[i] for name, values in curve.unknowns.items()},
            }
        )
        roll = sum(float(components[name].load.roll[0]) for name in layout.foils[0].element_names)
        assert up.roll[i] + side.about(settings.ride_height)[i] == pytest.approx(roll, rel=1e-9)
        # the vertical force acts inside the wing's span, the side force between wing tips and surface
        place = at_work[0].place
        ends = place.start_y + place.span * place.span_y
        assert ends.min() < up.roll[i] / up.force[i] < ends.max()
        assert -place.start_depth.max() - 1.0 < -side.roll[i] / side.force[i] < 0.0


def test_more_cant_rights_more():
    # the foil's vertical force acts further out
    curve = _flying().curve(FOIL_BORNE, CANT)
    assert np.all(np.diff(curve.righting_moment) > 0.0)


def test_higher_effort_means_less_side_force_for_the_same_lever():
    low = _flying()
    high = stability(_file(foiler.base()), cant_deg=48.0, ce_height_m=low.settings.effort_height + 2.0)
    force = [found.curve(FOIL_BORNE, HEEL).side_force[6] for found in (low, high)]
    assert force[1] < force[0]


def test_conditions_outside_the_limits_are_gaps_with_a_reason():
    curve = stability(_file(foiler.base())).curve(FOIL_BORNE, HEEL)
    assert "out of the water" in curve.reason[0]
    assert np.isnan(curve.righting_moment[0])
    assert np.isnan(curve.unknowns["flap"][0])
    slow = stability(_file(foiler.base()), cant_deg=48.0, speed_kn=12.0).curve(FOIL_BORNE, HEEL)
    assert np.all(slow.reason != "")
    assert any("of flap; allowed" in reason or "balance" in reason for reason in slow.reason)


# --- what is asked for, and tables


def test_defaults_are_those_said():
    boat = foiler.base()
    settings = stability(_file(boat)).settings
    assert settings.crew_arm == boat.crew.arm.upper
    assert settings.cant == boat.foil("canting_pair").cant.upper
    assert settings.boat_speed == pytest.approx(25.0 * 1852.0 / 3600.0)
    assert settings.ride_height == boat.hull.canoe_draught + 0.35
    areas = [sail.area for sail in boat.sails]
    heights = [sail.area_centre_height for sail in boat.sails]
    assert settings.effort_height == effort_height(boat) == pytest.approx(np.average(heights, weights=areas))


def test_every_value_that_the_boat_cannot_have_is_told():
    with pytest.raises(StabilityInputError) as told:
        stability(_file(foiler.base()), heel_deg=9.0, cant_deg=math.nan, crew_arm_m=-5.0, speed_kn=0.0)
    said = {problem.split(" =")[0] for problem in told.value.problems}
    assert said == {"heel", "cant", "crew_arm", "speed"}
    with pytest.raises(StabilityInputError, match="no canting foils"):
        stability(_file(keelboat.base()), speed_kn=20.0)


def test_tables_hold_every_contribution_and_add_up():
    found = _flying()
    frame = found.to_frame()
    assert list(frame.columns) == [
        "option", "state", "varied", "heel_deg", "cant_deg", "reference", "reference_height_m",
        "contribution", "direction", "force_n", "roll_moment_nm", "reason",
    ]  # fmt: skip
    flying = frame[frame["state"] == FOIL_BORNE]
    total = flying.groupby(["varied", "heel_deg", "cant_deg", "reference"])["roll_moment_nm"].sum()
    assert len(total) == 3 * (13 + 17)
    assert total.abs().max() < 0.01
    states = found.state_frame()
    assert len(states) == sum(len(curve.heel) for curve in found.curves)
    assert states["righting_moment_nm"].notna().all()
    assert set(_keelboat().to_frame()["reference"]) == {WATER_PLANE}
