"""Solved conditions of the real keelboat: each closes, says what happened to it, and no other start finds a
faster one.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.support import keelboat
from vpp import closure, equilibrium, trim
from vpp.boat import Range
from vpp.physics.hull import EXTENDED_FROUDE_LIMIT
from vpp.physics.lifting_line import FIT_ANGLES
from vpp.solver.interior_point import minimise
from vpp.solver.status import Status

GRID = {"tws_kn": [6, 12, 20], "twa_deg": [40, 90, 130, 180]}


@pytest.fixture(scope="module")
def solved():
    """A small grid with its best VMGs."""
    return equilibrium.solve([keelboat.base()], keelboat.grid(**GRID, best_vmg=True))


def test_every_condition_of_the_grid_converges(solved):
    assert solved.status.tolist() == [Status.CONVERGED] * len(solved.conditions)
    assert set(solved.reason) == {""}
    assert (solved.constraint_error <= 1e-9).all()
    assert (solved.optimality_error <= 1e-7).all()


# --- closure, summed again here from what is exported


def test_forces_close(solved):
    total = solved.force.sum(axis=0)
    assert (np.abs(total) < 1e-6 * np.abs(solved.force).sum(axis=0).max(axis=0)).all()


@pytest.mark.parametrize("point", [(0.0, 0.0, 0.0), (3.1, -2.2, 5.7), (-40.0, 25.0, 60.0)])
def test_moments_close_about_any_point(solved, point):
    arm = np.array(point)[None, :, None]
    about = solved.moment - np.cross(arm, solved.force, axis=1)
    assert (np.abs(about.sum(axis=0)) < 1e-6 * np.abs(about).sum(axis=0).max(axis=0)).all()


def test_sails_are_the_sum_of_their_strips(solved):
    """Each strip turned by the heel, then the leeway, by a library of rotations."""
    strips, q = solved.strips, solved.quantities
    for sail in dict.fromkeys(strips.sail):
        rows = [i for i, name in enumerate(strips.sail) if name == sail]
        for case in range(len(solved.conditions)):
            turn = Rotation.from_euler("xz", [-q["heel"][case], -q["leeway"][case]])
            zero = np.zeros(len(rows))
            force = turn.apply(np.array([strips.forward[rows, case], strips.leeward[rows, case], zero]).T)
            place = turn.apply(np.array([strips.x[rows, case], zero, strips.height[rows, case]]).T)
            moment = np.cross(place, force).sum(axis=0)
            said = solved.components.index(sail)
            scale = np.abs(force).sum()
            np.testing.assert_allclose(force.sum(axis=0), solved.force[said, :, case], atol=1e-9 * scale)
            np.testing.assert_allclose(moment, solved.moment[said, :, case], atol=1e-8 * scale)


def test_head_control_is_solved_and_told_beside_a_boat_without_one():
    """At the heel limit in 32 kn a head that can be inverted is, pushes harder to windward than one that can
    only be twisted off, and gains (what R. T. Jones, NACA TN 2249, 1950, asks of a sail whose moment is
    limited).
    """
    boat = keelboat.base()
    main = replace(
        boat.sails[0],
        camber_flat=(*boat.sails[0].camber_flat[:-1], -0.08),
        head_zone_from_share=0.85,
        head_transition_from_share=0.6,
        head_camber=Range(lower=0.0, upper=1.0),
    )
    boats = [boat, replace(boat, name="inverted", sails=(main, *boat.sails[1:]))]
    of = keelboat.conditions(tws_kn=[32, 32], twa_deg=45, option=[0, 1])
    found = equilibrium.solve(boats, of)
    assert found.status.tolist() == [Status.CONVERGED] * 2
    assert (found.closure <= closure.TOLERANCE).all()
    head = found.quantities["main_head_camber"]
    assert np.isnan(head[0])
    assert head[1] < 0.0
    assert np.isnan(found.quantities["jib_head_camber"]).all()
    speed = found.quantities["boat_speed"]
    assert speed[1] > speed[0]
    top = [i for i, name in enumerate(found.strips.sail) if name == "main"][-1]
    assert found.strips.leeward[top, 1] < min(0.0, found.strips.leeward[top, 0])


def test_course_theorem_holds_to_a_millionth_of_a_radian(solved):
    """Lanchester, Aerodynamics, 1907: beta = eps_A + eps_H, from the exported budget and the wind triangle
    alone.
    """
    conditions, q = solved.conditions, solved.quantities
    wind = conditions.tws * np.exp(-1j * q["twa"])  # towards astern and to leeward, as a complex number
    apparent = np.conj(-(-wind - q["boat_speed"]))
    beta = np.angle(apparent)
    np.testing.assert_allclose(q["beta"], beta, atol=1e-12)
    np.testing.assert_allclose(q["aws"], np.abs(apparent), rtol=1e-12)
    np.testing.assert_allclose(q["awa"], beta - q["leeway"], atol=1e-12)
    medium = np.array(solved.medium)
    air, water = (solved.force[medium == name][:, :2].sum(axis=0) for name in ("air", "water"))
    # angle of each force from the normal to its own flow: the flow of the water is from ahead
    air_angle = beta - np.arctan2(air[0], air[1])
    water_angle = np.arctan2(-water[0], -water[1])
    difference = np.angle(np.exp(1j * (beta - air_angle - water_angle)))
    assert (np.abs(difference) < 1e-6).all()
    assert (air_angle > 0.0).all()


def test_drive_power_is_drag_power(solved):
    medium = np.array(solved.medium)
    drive = solved.force[medium == "air", 0].sum(axis=0)
    drag = -solved.force[medium == "water", 0].sum(axis=0)
    np.testing.assert_allclose(drive, drag, rtol=1e-6)
    assert (drive > 0.0).all()


def test_reported_closure_is_that_of_the_check(solved):
    assert (solved.closure <= closure.TOLERANCE).all()
    assert (solved.closure < 1e-8).all()


# --- quantities


def test_quantities_agree_with_the_budget(solved):
    q, medium = solved.quantities, np.array(solved.medium)
    np.testing.assert_allclose(q["drive"], solved.force[medium == "air", 0].sum(axis=0), rtol=1e-12)
    np.testing.assert_allclose(q["side_force"], solved.force[medium == "air", 1].sum(axis=0), rtol=1e-12)
    np.testing.assert_allclose(q["vmg"], q["boat_speed"] * np.cos(q["twa"]), rtol=1e-12)
    resting = np.isin(solved.components, ["weight", "crew weight", "buoyancy"])
    np.testing.assert_allclose(q["righting_moment"], q["heeling_moment"], rtol=1e-6, atol=1e-3)
    weight = solved.force[resting, 2].sum(axis=0)
    assert (np.abs(weight) < 0.2 * np.abs(solved.force[solved.components.index("weight"), 2])).all()


def test_best_vmg_is_at_least_that_of_the_angles_around_it(solved):
    """By definition: boat speeds solved at fixed angles around the best one make no better VMG."""
    q, conditions = solved.quantities, solved.conditions
    best = np.flatnonzero(conditions.aim != "speed")
    turns = np.array([-8.0, -2.0, -0.5, 0.5, 2.0, 8.0])
    angles = np.degrees(q["twa"][best])[:, None] + turns
    inside = angles <= 180.0
    tws_kn = np.broadcast_to((conditions.tws[best] / keelboat.KNOT)[:, None], angles.shape)
    fixed = equilibrium.solve(
        [keelboat.base()], keelboat.conditions(tws_kn=tws_kn[inside], twa_deg=angles[inside])
    )
    assert (fixed.status == Status.CONVERGED).all()
    limit = np.broadcast_to(q["vmg"][best][:, None], angles.shape)[inside]
    assert (np.sign(fixed.quantities["vmg"]) == np.sign(limit)).all()
    assert (np.abs(fixed.quantities["vmg"]) <= np.abs(limit) * (1.0 + 1e-7)).all()
    assert (np.sign(q["vmg"][best]) == np.where(conditions.aim[best] == "upwind", 1.0, -1.0)).all()


@pytest.mark.parametrize("seed", [1, 2, 4])
def test_no_other_start_finds_a_faster_equilibrium(solved, seed):
    """Sails that may stall make several local optima; what is reported as the fastest must be the best of
    them.
    """
    places = np.flatnonzero(solved.conditions.aim == "speed")
    problem = keelboat.problem([keelboat.base()], keelboat.grid(**GRID))
    again = minimise(problem, _near_attached_flow(problem, seed))
    found = -again.objective * trim.SCALES["boat_speed"] / solved.quantities["boat_speed"][places] - 1.0
    found = np.where(again.status == Status.CONVERGED, found, -1.0)
    conditions = solved.conditions
    faster = [
        f"tws {conditions.tws[i]:.1f} m/s, twa {np.degrees(conditions.twa[i]):.0f} deg: {found[i]:+.2%}"
        for i in np.flatnonzero(found > 1e-6)
    ]
    assert faster == []


def _near_attached_flow(problem, seed):
    """Random states with the sails sheeted to within 0 to 25 deg of the apparent wind, so that they pull."""
    rng = np.random.default_rng(seed)
    x = keelboat.random_states(problem, seed=seed)
    values = keelboat.named_state(problem, x)
    twa, tws = problem.conditions.twa, problem.conditions.tws
    beta = np.arctan2(tws * np.sin(twa), tws * np.cos(twa) + values["boat_speed"])
    for sail in problem.layout.sails:
        row = problem.names.index(f"{sail}_sheet")
        sheet = (beta - rng.uniform(0.0, 0.45, len(beta))) / problem.scale[row]
        x[row] = np.clip(sheet, problem.lower[row] + 0.05, problem.upper[row] - 0.05)
    return x


# --- statuses and reasons


def _is_sentence(text):
    return bool(re.fullmatch(r"[A-Z].*[^.]\.", text)) and len(text.split()) > 5


def _assert_failed(solved, place, status, *words):
    """Status and reason as stated, no number left where none was found, the closing sentence in words."""
    assert solved.status[place] == status
    reason = solved.reason[place]
    assert _is_sentence(reason), reason
    for word in words:
        assert word in reason
    assert solved.remark[place] == ""
    for name, values in solved.quantities.items():
        if name != "twa":
            assert np.isnan(values[place]), name
    assert np.isnan(solved.force[..., place]).all()
    assert np.isnan(solved.moment[..., place]).all()


def _tender(boat):
    """Ballast raised and a narrow limit of heel: nothing holds even the windage of the rig."""
    return replace(
        boat,
        hull=replace(boat.hull, metacentric_radius=0.05),
        masses=tuple(replace(mass, z=1.0) for mass in boat.masses),
        crew=replace(boat.crew, arm=Range(lower=0.0, upper=0.05)),
        margins=replace(boat.margins, heel=np.radians(2.0)),
    )


@pytest.fixture(scope="module")
def failing():
    """One batch: dead upwind; a reach that works; a tender boat; one in water so thin that it outruns its
    curve; one with a hole.
    """
    boat = keelboat.coarse(keelboat.base())
    boats = [
        boat,
        _tender(boat),
        replace(boat, environment=replace(boat.environment, water_density=60.0)),
        replace(boat, crew=replace(boat.crew, mass=float("nan"))),
    ]
    return equilibrium.solve(
        boats,
        keelboat.conditions(
            tws_kn=[12, 12, 30, 20, 10, 12], twa_deg=[0, 60, 90, 110, 60, 18], option=[0, 0, 1, 2, 3, 0]
        ),
    )


def test_a_condition_that_works_is_not_harmed_by_failing_neighbours(failing):
    alone = equilibrium.solve(failing.boats[:1], keelboat.conditions(tws_kn=12, twa_deg=60))
    assert failing.status[1] == alone.status[0] == Status.CONVERGED
    np.testing.assert_allclose(
        failing.quantities["boat_speed"][1], alone.quantities["boat_speed"][0], rtol=1e-9
    )


def test_dead_upwind_has_no_equilibrium_and_names_the_equation(failing):
    _assert_failed(failing, 0, Status.NO_EQUILIBRIUM, "surge equation", "try")


def test_a_boat_that_cannot_be_held_upright_names_the_roll_equation(failing):
    _assert_failed(failing, 2, Status.NO_EQUILIBRIUM, "roll equation", "try")


def test_a_boat_at_the_end_of_its_resistance_curve_is_outside_the_models_range(failing):
    _assert_failed(failing, 3, Status.OUTSIDE_MODEL_RANGE, f"Froude number {EXTENDED_FROUDE_LIMIT}")


def test_a_boat_with_a_missing_number_is_not_finite(failing):
    _assert_failed(failing, 4, Status.NOT_FINITE, "not finite".capitalize())


def test_no_answer_rests_on_the_wake_outside_the_angles_it_was_fitted_to(failing):
    """Pinching at 18 deg: below its first fitted angle the series of the sails' influence is wrong."""
    awa = failing.quantities["awa"][5]
    assert failing.status[5] != Status.CONVERGED or awa >= FIT_ANGLES[0]


def test_a_best_vmg_at_the_end_of_its_range_is_not_called_one(monkeypatch):
    """The best angle upwind is near 42 deg; searched for from 60 deg up, the answer leans on the range's
    end.
    """
    monkeypatch.setitem(trim.VMG_RANGES, "upwind", (np.radians(60.0), np.radians(89.0)))
    boat = keelboat.coarse(keelboat.base())
    solved = equilibrium.solve([boat], keelboat.conditions(tws_kn=10, twa_deg=np.nan, aim="upwind"))
    _assert_failed(solved, 0, Status.LIMIT_REACHED, "search range", "try")


@pytest.mark.parametrize("tws", [np.nan, 0.0, -3.0, np.inf])
def test_an_impossible_wind_is_refused(tws):
    with pytest.raises(ValueError, match="true wind speed"):
        keelboat.conditions(tws_kn=tws, twa_deg=60)


@pytest.mark.parametrize("twa_deg", [np.nan, -1.0, 181.0])
def test_an_impossible_angle_is_refused(twa_deg):
    with pytest.raises(ValueError, match="true wind angle"):
        keelboat.conditions(tws_kn=10, twa_deg=twa_deg)


def test_conditions_that_name_no_boat_are_refused():
    with pytest.raises(ValueError, match="boats"):
        equilibrium.solve([keelboat.base()], keelboat.conditions(tws_kn=10, twa_deg=60, option=1))


def test_active_limits_are_remarked():
    boat = keelboat.coarse(keelboat.base())
    stiff_rule = replace(boat, margins=replace(boat.margins, heel=np.radians(10.0)))
    solved = equilibrium.solve(
        [stiff_rule, boat], keelboat.conditions(tws_kn=[16, 5, 24], twa_deg=[60, 100, 130], option=[0, 0, 1])
    )
    assert solved.status[:2].tolist() == [Status.CONVERGED] * 2
    assert "heel limit" in solved.remark[0]
    assert "heel limit" not in solved.remark[1]
    np.testing.assert_allclose(solved.quantities["heel"][0], np.radians(10.0), atol=1e-6)
    assert (solved.quantities["froude_number"][2] > 0.45) == ("past Fn 0.45" in solved.remark[2])


# --- mixed batches


def test_boats_of_different_layouts_and_aims_come_back_in_order():
    boat = keelboat.coarse(keelboat.base())
    bare = replace(boat, name="no_jib", sails=boat.sails[:1])
    of = keelboat.conditions(
        tws_kn=[10, 10, 10, 10],
        twa_deg=[90, np.nan, 90, np.nan],
        aim=["speed", "upwind", "speed", "upwind"],
        option=[0, 1, 1, 0],
    )
    told = []
    solved = equilibrium.solve([boat, bare], of, progress=lambda done, total: told.append((done, total)))
    assert solved.status.tolist() == [Status.CONVERGED] * 4
    speed = solved.quantities["boat_speed"]
    assert speed[0] > speed[2]
    assert solved.quantities["vmg"][3] > solved.quantities["vmg"][1]
    assert np.isnan(solved.quantities["jib_sheet"][[1, 2]]).all()
    jib = solved.components.index("jib")
    assert not solved.force[jib][:, [1, 2]].any()
    assert solved.force[jib][0, 0] != 0.0
    assert told[-1] == (4, 4)
    assert [done for done, _ in told] == sorted(done for done, _ in told)


def test_no_conditions_give_an_empty_answer():
    nothing = keelboat.conditions(
        tws_kn=np.array([]), twa_deg=np.array([]), aim=np.array([], dtype=str), option=np.array([], dtype=int)
    )
    solved = equilibrium.solve([keelboat.base()], nothing)
    assert len(solved.status) == 0


def test_a_dense_row_is_not_cut_into_patches():
    """Conditions on both sides of a cut would not know of each other."""
    row = keelboat.grid(tws_kn=np.arange(3.0, 30.05, 0.1), twa_deg=[135.0])
    assert len(row) > equilibrium.PATCH
    assert len(set(equilibrium._patches(row))) == 1
    grid = keelboat.grid(tws_kn=np.arange(6.0, 25.0, 2.0), twa_deg=np.arange(35.0, 181.0, 5.0))
    assert len(set(equilibrium._patches(grid))) == 2


def test_processes_share_the_work_and_change_no_number(solved, monkeypatch):
    monkeypatch.setattr(equilibrium, "LEAST_SHARED", 1)
    seen = []
    conditions = keelboat.grid(**GRID, best_vmg=True)
    shared = equilibrium.solve(
        [keelboat.base()], conditions, processes=2, progress=lambda *count: seen.append(count)
    )
    for name, value in solved.quantities.items():
        np.testing.assert_array_equal(shared.quantities[name], value, err_msg=name)
    np.testing.assert_array_equal(shared.status, solved.status)
    assert seen[-1] == (len(conditions), len(conditions))
