"""Statics of sheet, leech, stay and turning mast: closed forms, balance of moments, mirror, work."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.support.with_jax import double_precision, jax_or_skip
from vpp.physics import rig_loads, sail_sections

Floats = NDArray[np.float64]

ARC = rig_loads.chordwise_load(hinge_share=0.0, draft_share=0.5)
STRIPS = 200


def strips(count: int = STRIPS) -> tuple[Floats, Floats]:
    """Shares of the height at the middle of equal strips, and their widths over the height."""
    share = (np.arange(count)[:, np.newaxis] + 0.5) / count
    return share, np.full_like(share, 1.0 / count)


def leech_of(*, chord: Floats, load: Floats, height: float, twist: float, slope: Any = 0.0) -> Any:
    share, width = strips(len(chord))
    return rig_loads.leech_load(
        leech=load,
        chord=chord,
        chord_slope=slope + np.zeros_like(chord),
        width=width * height,
        share=share,
        luff_height=height,
        luff_rake=0.0,
        twist=np.array([twist]),
    )


# --- along the chord ----------------------------------------------------------------------------------------


def discrete_vortices(
    *, incidence: float, camber: float, slope: float, hinge: float, draft: float, count: int = 2000
) -> tuple[Floats, Floats]:
    """Places and pressure forces over dynamic pressure times chord of a thin section, by lumped vortices with
    cosine spacing: another way to the load than its Fourier series. Incidence is from the chord.
    """
    edge = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, count + 1)))
    width = np.diff(edge)
    vortex, control = edge[:-1] + 0.25 * width, edge[:-1] + 0.75 * width
    skins = np.where(
        control < draft,
        2.0 * (draft - control) / (draft - hinge) ** 2,
        2.0 * (draft - control) / (1.0 - draft) ** 2,
    )
    mean = np.where(control < hinge, slope, -slope * hinge / (1.0 - hinge) + camber * skins)
    matrix = 1.0 / (2.0 * np.pi * (control[:, None] - vortex[None, :]))
    strength = np.linalg.solve(matrix, incidence - mean)
    return vortex, 2.0 * strength


@pytest.mark.parametrize(
    ("camber", "slope", "hinge", "draft"),
    [(0.10, 0.0, 0.0, 0.5), (0.08, 0.0, 0.0, 0.35), (0.06, 0.3, 0.2, 0.6), (0.03, 0.2, 0.3, 0.6)],
)
def test_load_and_its_part_on_the_nose_are_those_of_discrete_vortices(
    camber: float, slope: float, hinge: float, draft: float
) -> None:
    chord_incidence = 0.09
    place, force = discrete_vortices(
        incidence=chord_incidence, camber=camber, slope=slope, hinge=hinge, draft=draft
    )
    line = sail_sections.mean_line(hinge_share=hinge, draft_share=draft)
    incidence, arc = sail_sections.equivalent_arc(
        line=line, incidence=chord_incidence, camber=camber, rotation=math.atan(slope)
    )
    total = float(force.sum())
    found = rig_loads.strip_loads(
        normal=np.array([[total]]),
        pressure_force=np.array([[1.0]]),
        chord=np.array([[1.0]]),
        camber=np.array([[camber]]),
        nose_slope=np.array([[slope]]),
        incidence=np.array([[incidence]]),
        chord_incidence=np.array([[chord_incidence]]),
        lift_coefficient=np.array([[2.0 * math.pi * (incidence + 2.0 * arc)]]),
        load=rig_loads.chordwise_load(hinge_share=hinge, draft_share=draft),
    )
    on_nose = place < hinge
    assert found.centre_share[0, 0] == pytest.approx(float(force @ place) / total, rel=2e-3)
    assert found.nose_force[0, 0] == pytest.approx(force[on_nose].sum(), rel=0.02, abs=1e-12)
    assert found.nose_moment[0, 0] == pytest.approx((force * place)[on_nose].sum(), rel=0.02, abs=1e-12)


@pytest.mark.parametrize(("hinge", "draft"), [(0.0, 0.5), (0.0, 0.4), (0.2, 0.6), (0.1, 0.5)])
def test_first_coefficient_is_that_of_the_equivalent_arc(hinge: float, draft: float) -> None:
    line = sail_sections.mean_line(hinge_share=hinge, draft_share=draft)
    load = rig_loads.chordwise_load(hinge_share=hinge, draft_share=draft)
    assert load.first[0] == pytest.approx(2.0 * (line.ideal_per_camber - line.zero_lift_per_camber))
    assert load.first[1] == pytest.approx(2.0 * (line.ideal_per_slope - line.zero_lift_per_slope))


def arc_strip(**changes: Any) -> rig_loads.StripLoads:
    """One strip of a parabolic arc of 10 % at an incidence of 3 deg, with a force of its own lift."""
    incidence, camber = math.radians(3.0), 0.10
    lift = 2.0 * math.pi * (incidence + 2.0 * camber)
    values: dict[str, Any] = {
        "normal": 60.0 * lift,
        "pressure_force": 60.0,
        "chord": 2.0,
        "camber": camber,
        "nose_slope": 0.0,
        "incidence": incidence,
        "chord_incidence": incidence,
        "lift_coefficient": lift,
    } | changes
    return rig_loads.strip_loads(**{k: np.array([[v]]) for k, v in values.items()}, load=ARC)


def test_arc_has_its_centre_between_quarter_and_half_chord() -> None:
    """Thin arc: 1/4 + pi f / cl, and half the chord at the ideal incidence (Glauert 1926)."""
    lift = 2.0 * math.pi * (math.radians(3.0) + 0.2)
    assert arc_strip().centre_share[0, 0] == pytest.approx(0.25 + math.pi * 0.1 / lift)
    ideal = arc_strip(incidence=0.0, normal=60.0 * 0.4 * math.pi, lift_coefficient=0.4 * math.pi)
    assert ideal.centre_share[0, 0] == pytest.approx(0.5)


def test_edges_carry_the_whole_normal_force_and_its_moment() -> None:
    found = arc_strip()
    assert found.leech + found.luff == pytest.approx(found.normal)
    assert found.leech[0, 0] * 2.0 == pytest.approx(found.normal[0, 0] * found.centre_share[0, 0] * 2.0)


def test_cloth_is_a_parabolic_cable() -> None:
    """w L^2 / (8 d) of an even load (textbooks of statics): 10 % of depth pull with 1.25 times the load."""
    found = arc_strip()
    assert found.tension[0, 0] == pytest.approx(1.25 * found.normal[0, 0])


def test_a_sail_on_the_other_tack_is_the_mirror_image() -> None:
    one = arc_strip()
    names = ("normal", "camber", "incidence", "chord_incidence", "lift_coefficient")
    incidence, lift = math.radians(3.0), 2.0 * math.pi * (math.radians(3.0) + 0.2)
    values = dict(zip(names, (60.0 * lift, 0.1, incidence, incidence, lift), strict=True))
    other = arc_strip(**{name: -value for name, value in values.items()})
    assert other.leech == pytest.approx(-one.leech)
    assert other.luff == pytest.approx(-one.luff)
    assert other.tension == pytest.approx(one.tension)
    assert other.centre_share == pytest.approx(one.centre_share)


def test_stalled_plate_has_its_centre_at_five_sixteenths_and_at_half() -> None:
    """Rayleigh 1876, from memory: 5/16 of the chord as the incidence vanishes, half of it broadside on."""
    assert rig_loads.plate_centre(incidence=np.array(0.0)) == pytest.approx(5.0 / 16.0)
    assert rig_loads.plate_centre(incidence=np.array(math.pi / 2.0)) == pytest.approx(0.5)
    assert rig_loads.plate_centre(incidence=np.array(-0.4)) == pytest.approx(
        rig_loads.plate_centre(incidence=np.array(0.4))
    )


def test_stalled_strip_takes_the_centre_of_the_plate() -> None:
    stalled = arc_strip(lift_coefficient=0.0, chord_incidence=math.pi / 2.0, incidence=1.5, normal=70.0)
    assert stalled.centre_share[0, 0] == pytest.approx(0.5)


def test_force_across_the_chord_has_none_along_it() -> None:
    angle = np.array([0.3])
    along = rig_loads.force_across_chord(forward=-np.cos(angle), leeward=np.sin(angle), chord_angle=angle)
    across = rig_loads.force_across_chord(forward=np.sin(angle), leeward=np.cos(angle), chord_angle=angle)
    assert along == pytest.approx(0.0, abs=1e-15)
    assert across == pytest.approx(1.0)


# --- along luff and leech -----------------------------------------------------------------------------------


def test_even_load_on_a_rectangle_swings_it_by_load_times_chord() -> None:
    chord = np.full((STRIPS, 1), 3.0)
    found = leech_of(chord=chord, load=np.full((STRIPS, 1), 500.0 / STRIPS), height=10.0, twist=0.1)
    assert found.luff_moment == pytest.approx(500.0 * 3.0)
    assert found.twist_moment == pytest.approx(500.0 * 3.0 / 2.0)


def test_triangle_under_even_pressure_has_a_leech_tension_of_p_k_h2_over_4_twist() -> None:
    """Virtual work by hand: p k c^2 h/12 over c^2 twist/(3 h); of small twist."""
    pressure, share_aft, height, foot, twist = 60.0, 0.45, 12.0, 4.0, math.radians(2.0)
    share, width = strips(800)
    chord = foot * (1.0 - share)
    load = pressure * share_aft * chord * width * height
    found = leech_of(chord=chord, load=load, height=height, twist=twist, slope=0.0)
    assert found.luff_moment == pytest.approx(pressure * share_aft * foot**2 * height / 3.0, rel=1e-4)
    assert found.twist_moment == pytest.approx(pressure * share_aft * foot**2 * height / 12.0, rel=1e-4)
    assert found.tension_alone == pytest.approx(pressure * share_aft * height**2 / (4.0 * twist), rel=1e-3)


def test_tension_times_lengthening_of_the_leech_is_the_work_of_its_loads() -> None:
    """The length of a leech of points turned about the luff, measured in space, with rake and taper."""
    foot, slope, height, rake, twist = 4.0, -0.25, 11.0, math.radians(12.0), math.radians(14.0)
    share, width = strips(400)
    chord = foot + slope * height * share
    load = (30.0 + 10.0 * share) * chord * width

    def length(twist: float) -> float:
        s = np.linspace(0.0, 1.0, 20001)
        c = foot + slope * height * s
        along = s * height / math.cos(rake) + c * math.sin(rake)
        arm = c * math.cos(rake)
        points = np.array([along, arm * np.cos(twist * s), arm * np.sin(twist * s)])
        return float(np.sqrt((np.diff(points) ** 2).sum(axis=0)).sum())

    found = rig_loads.leech_load(
        leech=load, chord=chord, chord_slope=np.full_like(chord, slope), width=width * height, share=share,
        luff_height=height, luff_rake=rake, twist=np.array([twist]),
    )  # fmt: skip
    stretch = (length(twist + 1e-4) - length(twist - 1e-4)) / 2e-4
    assert found.tension_alone * stretch == pytest.approx(found.twist_moment, rel=1e-3)


def test_straight_leech_has_no_tension_to_be_told() -> None:
    chord = np.full((STRIPS, 1), 3.0)
    found = leech_of(chord=chord, load=chord, height=10.0, twist=0.5 * rig_loads.LEAST_TWIST)
    assert math.isnan(found.tension_alone[0])


def test_stay_under_even_load_is_a_cable() -> None:
    """w L^2 / (8 d) of an even load (textbooks of statics): 2 % of sag pull with 6.25 times the load."""
    share, width = strips()
    tension = rig_loads.stay_tension(
        luff=0.6 * 800.0 * width, tension=0.8 * 800.0 * width, chord_angle=np.full_like(share, 0.3),
        share=share, sag_share=0.02,
    )  # fmt: skip
    assert tension == pytest.approx(800.0 / (8.0 * 0.02), rel=1e-4)


def test_no_rotation_moment_about_the_leading_edge_of_a_mast_of_no_length() -> None:
    loads = arc_strip()
    moment = rig_loads.mast_moment(
        loads=loads, chord=np.array([[2.0]]), nose_angle=np.zeros((1, 1)), hinge_share=0.0, pivot_share=0.4
    )
    assert moment == pytest.approx(0.0)


def test_mast_and_sail_together_feel_the_moment_of_the_whole_force() -> None:
    """Both bodies about the axis: wind on the mast and the skins' pull on it, with the leech's reaction at
    its own lever, make up the moment of all the load (straight mast, so that the tension has no lever).
    """
    load = rig_loads.chordwise_load(hinge_share=0.2, draft_share=0.6)
    chord = np.array([[3.0]])
    loads = rig_loads.strip_loads(
        normal=np.array([[100.0]]), pressure_force=np.array([[80.0]]), chord=chord, camber=np.array([[0.08]]),
        nose_slope=np.zeros((1, 1)), incidence=np.array([[0.05]]), chord_incidence=np.array([[0.05]]),
        lift_coefficient=np.array([[1.2]]), load=load,
    )  # fmt: skip
    pivot = 0.4 * 0.2 * 3.0
    moment = rig_loads.mast_moment(
        loads=loads, chord=chord, nose_angle=np.zeros((1, 1)), hinge_share=0.2, pivot_share=0.4
    )
    whole = 100.0 * (loads.centre_share[0, 0] * 3.0 - pivot)
    assert moment[0] + loads.leech[0, 0] * (3.0 - pivot) == pytest.approx(whole)


def test_tension_of_the_skins_turns_the_mast_back() -> None:
    changes = {"tension": arc_strip().tension * 2.0}
    more = dataclasses.replace(arc_strip(), **changes)
    shared: dict[str, Any] = {
        "chord": np.array([[2.0]]), "nose_angle": np.array([[0.2]]), "hinge_share": 0.2, "pivot_share": 0.4
    }  # fmt: skip
    assert rig_loads.mast_moment(loads=more, **shared) < rig_loads.mast_moment(loads=arc_strip(), **shared)


# --- clew and sheet -----------------------------------------------------------------------------------------


def axis_of(rake: float) -> Floats:
    return np.array([-math.sin(rake), 0.0, math.cos(rake)])


@pytest.mark.parametrize("foot_angle", [0.0, 0.2, 0.9])
@pytest.mark.parametrize("rake", [0.0, 0.31])
def test_pull_of_the_cloth_holds_the_sail_about_its_luff(foot_angle: float, rake: float) -> None:
    """The moment of the clew's pull about the luff by the cross product is the luff moment, whatever the
    line of the pull; positive to leeward, which is left-handed about the luff going up.
    """
    pull = rig_loads.clew_pull(
        luff_moment=np.array([1500.0]), foot_angle=np.array([foot_angle]), foot_chord=3.8, luff_rake=rake,
        foot_exit=0.3, leech_exit=0.05, leech_lean=0.02, rise=1.1,
    )  # fmt: skip
    arm = 3.8 * np.array([-math.cos(foot_angle), math.sin(foot_angle), 0.0])
    force = np.array([pull.forward[0], pull.leeward[0], pull.up[0]])
    assert -axis_of(rake) @ np.cross(arm, force) == pytest.approx(1500.0)
    normal = np.cross(arm, axis_of(rake))
    assert force @ normal / np.linalg.norm(normal) == pytest.approx(pull.across[0])
    slope = math.cos(1.1) * 0.3 + math.sin(1.1) * (0.05 + 0.02 * 0.3)
    assert math.sqrt(force @ force - pull.across[0] ** 2) == pytest.approx(pull.across[0] / slope)


def test_pull_lies_in_the_surface_of_a_cone() -> None:
    """Cloth on a cone from the clew leaves it along straight lines: a pull along the foot alone, of slope s,
    presses by s (statics).
    """
    pull = rig_loads.clew_pull(
        luff_moment=np.array([300.0]), foot_angle=np.array([0.0]), foot_chord=3.0, luff_rake=0.0,
        foot_exit=0.25, leech_exit=0.05, leech_lean=0.0, rise=0.0,
    )  # fmt: skip
    assert pull.leeward == pytest.approx(100.0)
    assert pull.forward == pytest.approx(400.0)
    assert pull.up == pytest.approx(0.0, abs=1e-12)


def test_cloth_does_not_push() -> None:
    pull = rig_loads.clew_pull(
        luff_moment=np.array([300.0]), foot_angle=np.array([0.1]), foot_chord=3.0, luff_rake=0.0,
        foot_exit=-0.1, leech_exit=0.02, leech_lean=0.0, rise=0.8,
    )  # fmt: skip
    assert math.isnan(pull.up[0])


def test_sheet_of_a_clew_pulls_against_the_cloth() -> None:
    pull = rig_loads.ClewPull(
        forward=np.array([300.0]), leeward=np.array([100.0]), up=np.array([900.0]), across=np.array([90.0])
    )
    found = rig_loads.clew_sheet(pull=pull, foot_angle=np.array([0.2]), foot_chord=3.0, tack_x=4.0, drop=0.3)
    lead = np.array(
        [found.block_x[0] - found.attachment_x[0], found.block_y[0] - found.attachment_y[0], -0.3]
    )
    force = found.tension[0] * lead / found.length[0]
    assert force == pytest.approx([-300.0, -100.0, -900.0])
    assert np.linalg.norm(lead) == pytest.approx(found.length[0])
    assert found.on_block == pytest.approx(100.0)


BOOM: dict[str, Any] = {
    "foot_chord": 4.2, "point": 3.6, "tack_x": 0.8, "block_x": -2.8, "drop": 0.75,
    "track_min": -1.5, "track_max": 1.5,
}  # fmt: skip


def boom(*, angle: float, rake: float = 0.0, moment: float = 3500.0, **changes: Any) -> rig_loads.SheetLoad:
    shared = BOOM | changes
    return rig_loads.boom_sheet(
        luff_moment=np.array([moment]), lift_at_clew=np.array([4000.0]), foot_angle=np.array([angle]),
        luff_rake=rake, **shared,
    )  # fmt: skip


def force_on_boom(found: rig_loads.SheetLoad) -> Floats:
    along = [
        found.block_x[0] - found.attachment_x[0],
        found.block_y[0] - found.attachment_y[0],
        -BOOM["drop"],
    ]
    return found.tension[0] * np.array(along) / found.length[0]


@pytest.mark.parametrize(("angle", "rake"), [(0.05, 0.0), (0.2, 0.0), (0.2, 0.1), (1.2, 0.02)])
def test_sheet_balances_the_boom_about_its_pivot(angle: float, rake: float) -> None:
    """Moments by cross products: about the luff the sheet holds the wind's, and about the gooseneck, in the
    plane of the boom, it holds the leech down with the vang.
    """
    found = boom(angle=angle, rake=rake)
    out = np.array([-math.cos(angle), math.sin(angle), 0.0])
    force = force_on_boom(found)
    assert axis_of(rake) @ np.cross(3.6 * out, force) == pytest.approx(3500.0)
    assert -force[2] * 3.6 + found.left_to_vang[0] == pytest.approx(4000.0 * 4.2)
    assert found.on_block[0] == pytest.approx(-force[1])


def test_vang_has_nothing_to_hold_within_the_track_and_something_beyond() -> None:
    assert boom(angle=0.2).left_to_vang == pytest.approx(0.0, abs=1e-9)
    eased = boom(angle=1.2)
    assert eased.block_y == pytest.approx(1.5)
    assert eased.left_to_vang[0] > 0.0


def test_sheet_half_way_along_the_boom_pulls_twice_as_hard() -> None:
    whole = boom(angle=0.0, point=4.2, block_x=0.8 - 4.2)
    half = boom(angle=0.0, point=2.1, block_x=0.8 - 2.1)
    assert half.tension == pytest.approx(2.0 * whole.tension)


def test_sheet_from_windward_of_a_backed_sail_holds_nothing() -> None:
    assert math.isnan(boom(angle=0.2, moment=-100.0, track_max=0.2, track_min=-0.2).tension[0])


def test_work_of_the_sheet_is_that_of_the_wind_on_the_boom() -> None:
    """Virtual work: the sheet's force on the boom times the way of its attachment, against the moment about
    the luff times the angle.
    """
    step = 1e-5
    there, before, after = (boom(angle=0.3 + shift) for shift in (0.0, -step, step))
    way = np.array(
        [after.attachment_x[0] - before.attachment_x[0], after.attachment_y[0] - before.attachment_y[0], 0.0]
    )
    assert force_on_boom(there) @ way == pytest.approx(-3500.0 * 2.0 * step, rel=1e-6)


def test_rule_of_thumb_is_that_of_square_feet_and_knots() -> None:
    """0.00431 lb for each square foot and knot squared: common practice, no source, from memory."""
    pounds = 0.00431 * 300.0 * 20.0**2
    load = rig_loads.rule_of_thumb_sheet_load(
        area=300.0 * 0.3048**2, apparent_wind_speed=20.0 * 1852.0 / 3600.0, leverage=2.0
    )
    assert load == pytest.approx(2.0 * pounds * 4.4482216)


# --- work ---------------------------------------------------------------------------------------------------


def test_linear_spring_takes_half_k_x2_to_pull_and_nothing_to_let_go() -> None:
    """A load of k (x0 - x) that pulls x up: to bring x from x0 down by d takes k d^2/2, exactly with two
    points because the load is linear.
    """
    position = np.array([2.0, 1.5])
    out, back = rig_loads.trim_work(load=400.0 * (2.0 - position), position=position)
    assert out == pytest.approx(0.5 * 400.0 * 0.5**2)
    assert back == 0.0


def test_work_through_a_turning_point_is_told_for_both_ways() -> None:
    position = np.array([0.0, 1.0, 0.5])
    out, back = rig_loads.trim_work(load=np.full(3, 10.0), position=position)
    assert (out, back) == (pytest.approx(5.0), pytest.approx(10.0))
    reverse = rig_loads.trim_work(load=np.full(3, 10.0), position=position[::-1])
    assert reverse == (pytest.approx(10.0), pytest.approx(5.0))


def test_loads_are_the_same_with_jax() -> None:
    jax = jax_or_skip()
    with double_precision(jax):
        jnp = jax.numpy
        kwargs: dict[str, Any] = {"foot_chord": 3.0, "luff_rake": 0.2, "foot_exit": 0.2, "leech_lean": 0.0}

        def pull(xp: Any) -> Any:
            return rig_loads.clew_pull(
                luff_moment=xp.asarray([900.0]), foot_angle=xp.asarray([0.3]), leech_exit=xp.asarray([0.04]),
                rise=xp.asarray([1.0]), **kwargs,
            ).up  # fmt: skip

        assert np.asarray(pull(jnp)) == pytest.approx(pull(np))
        sheet = rig_loads.boom_sheet(
            luff_moment=jnp.asarray([3500.0]), lift_at_clew=jnp.asarray([4000.0]),
            foot_angle=jnp.asarray([0.2]), luff_rake=0.0, **BOOM,
        )  # fmt: skip
        assert np.asarray(sheet.tension) == pytest.approx(boom(angle=0.2).tension)
