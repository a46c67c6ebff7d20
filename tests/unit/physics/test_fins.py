"""Fins that come out of the water and boards whose surface gives way: geometry, limits, smoothness."""

import dataclasses
import math
from typing import Any

import numpy as np
import pytest

from vpp.physics import fins, foil_geometry, foils

ROOT, TIP, CHORDS = -0.2, -1.2, (0.4, 0.3)


def immersed(**changes: Any) -> fins.ImmersedFin:
    given: dict[str, Any] = {
        "root_z": ROOT,
        "tip_z": TIP,
        "x": 0.0,
        "y": 0.0,
        "chords": CHORDS,
        "heel": 0.0,
        "pitch": 0.0,
        "ride_height": 0.0,
    }
    return fins.immersed_fin(**{**given, **changes})


@pytest.mark.parametrize("root_z", [0.0, -0.02, -0.2, -0.6])
def test_a_fin_afloat_and_upright_is_the_built_one_extended_to_the_water_plane(root_z: float) -> None:
    """By hand: span 1, area of the trapezium, extension at the root chord, centre at 4/(3 pi)."""
    fin = immersed(root_z=root_z, tip_z=root_z - 1.0)
    assert fin.span == pytest.approx(1.0, rel=1e-14)
    assert fin.area == pytest.approx(0.35, rel=1e-14)
    assert fin.lifting_span == pytest.approx(1.0 - root_z, rel=1e-14)
    assert fin.lifting_area == pytest.approx(0.35 - 0.4 * root_z, rel=1e-14)
    assert fin.centre_z == pytest.approx(-4.0 / (3.0 * math.pi) * (1.0 - root_z), rel=1e-13)
    # middle of a trapezium below its root: h (a + 2 b)/(3 (a + b))
    assert fin.mean_depth == pytest.approx(-root_z + (0.4 + 2.0 * 0.3) / (3.0 * 0.7), rel=1e-13)


def test_a_fin_half_out_of_the_water_by_hand() -> None:
    """Lifted 0.7 m: half the fin is wet, from chord 0.35 to 0.3, and begins at the water plane."""
    fin = immersed(ride_height=0.7)
    assert fin.span == pytest.approx(0.5)
    assert fin.lifting_span == pytest.approx(0.5)
    assert fin.area == pytest.approx(0.5 * 0.325)
    assert fin.lifting_area == pytest.approx(fin.area)
    assert fin.mean_depth == pytest.approx(0.5 * (0.35 + 2.0 * 0.3) / (3.0 * 0.65))
    assert fin.centre_depth == pytest.approx(4.0 / (3.0 * math.pi) * 0.5)


@pytest.mark.parametrize(("x", "y"), [(0.0, 0.0), (2.0, 1.2), (-2.5, -1.2)])
def test_the_tip_is_as_deep_as_its_place_says(x: float, y: float) -> None:
    """The lifting span, along the fin's axis, ends where the tip is: depth by rotating the tip itself."""
    attitude = {"heel": math.radians(18.0), "pitch": math.radians(-3.0)}
    fin = immersed(x=x, y=y, ride_height=0.1, **attitude)
    _, _, up = foil_geometry.body_to_horizontal(x=x, y=y, z=TIP, **attitude)
    depth = fin.lifting_span * math.cos(attitude["heel"]) * math.cos(attitude["pitch"])
    assert depth == pytest.approx(-(up + 0.1), rel=1e-12)


def test_the_side_force_acts_below_the_water_plane_by_its_depth() -> None:
    attitude = {"heel": math.radians(18.0), "pitch": math.radians(-3.0)}
    fin = immersed(x=1.0, y=-1.2, ride_height=0.1, **attitude)
    _, _, up = foil_geometry.body_to_horizontal(x=1.0, y=-1.2, z=fin.centre_z, **attitude)
    assert fin.centre_depth == pytest.approx(-(up + 0.1), rel=1e-12)


def test_the_windward_board_leaves_the_water_first() -> None:
    heel = math.radians(20.0)
    windward, leeward = (immersed(y=y, heel=heel) for y in (-1.2, 1.2))
    assert windward.span < 0.8
    assert leeward.span == pytest.approx(1.0)
    assert leeward.lifting_span > 1.5


def test_a_dry_fin_is_small_positive_and_finite() -> None:
    fin = immersed(ride_height=np.array([1.2, 1.5, 30.0]))
    for field in dataclasses.fields(fin):
        values = getattr(fin, field.name)
        assert np.all(np.isfinite(values)), field.name
    np.testing.assert_allclose(fin.span, 1e-3)
    np.testing.assert_allclose(fin.lifting_area, fin.area)
    aspect_ratio = foils.effective_aspect_ratio(span=fin.lifting_span, area=fin.lifting_area)
    lift, drag = foils.fin_coefficients(
        incidence=0.1, aspect_ratio_effective=aspect_ratio, profile_drag_coefficient=0.01
    )
    assert np.all(lift * fin.lifting_area < 1e-6)
    assert np.all((drag > 0.0) & (drag < 0.02))


def test_everything_wet_shrinks_steadily_as_the_fin_is_lifted() -> None:
    fin = immersed(ride_height=np.linspace(-0.3, 1.6, 4001))
    for name in ("span", "area", "lifting_span", "lifting_area", "mean_depth", "centre_depth", "centre_z"):
        assert np.all(np.diff(getattr(fin, name)) <= 1e-12), name


def test_the_wet_part_is_too_long_by_no_more_than_stated() -> None:
    ride_height = np.linspace(0.2, 1.1, 2001)
    excess = immersed(ride_height=ride_height).span - (-TIP - ride_height)
    assert excess.min() >= -1e-15
    assert 0.006 < excess.max() < 0.010


def test_curvature_has_no_jump_as_the_fin_is_lifted() -> None:
    def largest_change(count: int, name: str) -> float:
        ride_height = np.linspace(-0.1, 1.5, count)
        values = getattr(immersed(ride_height=ride_height), name)
        curvature = np.diff(values, n=2) / (ride_height[1] - ride_height[0]) ** 2
        return float(np.abs(np.diff(curvature)).max())

    for name in ("span", "lifting_area", "mean_depth", "centre_z"):
        assert largest_change(32001, name) == pytest.approx(0.5 * largest_change(16001, name), rel=0.05), name


def test_derivative_arrays_agree_with_differences() -> None:
    from vpp.solver import jets

    heel = np.radians(np.linspace(-30.0, 30.0, 61))
    ride_height = np.linspace(0.5, 1.3, 61)

    def values(heel: object, ride_height: object) -> tuple[Any, ...]:
        return dataclasses.astuple(immersed(x=1.0, y=0.8, pitch=0.03, heel=heel, ride_height=ride_height))

    step = 1e-4
    found = values(*jets.variables(np.stack([heel, ride_height])))
    plain = values(heel, ride_height)
    up, down = values(heel + step, ride_height), values(heel - step, ride_height)
    for jet, here, above, below in zip(found, plain, up, down, strict=True):
        value, gradient, hessian = jets.dense(jet, 2, heel.shape)
        np.testing.assert_allclose(value, here, atol=1e-14)
        np.testing.assert_allclose(gradient[0], (above - below) / (2.0 * step), atol=1e-4)
        np.testing.assert_allclose(hessian[0, 0], (above - 2.0 * here + below) / step**2, atol=0.05)


def test_board_efficiency_falls_with_speed_from_that_of_a_rigid_surface() -> None:
    """2 is never exceeded (image theorem), and an endless cover keeps it at any speed."""
    froude = np.geomspace(0.1, 30.0, 101)
    for covered in (0.0, 0.3, 0.9):
        efficiency = fins.board_efficiency(depth_froude_number=froude, covered_share=covered)
        assert np.all(np.diff(efficiency) < 0.0)
        assert efficiency[0] < 2.0
    np.testing.assert_allclose(fins.board_efficiency(depth_froude_number=froude, covered_share=1.0), 2.0)


def test_board_efficiency_at_speed_lies_between_its_bounds() -> None:
    """8/pi^2 for a bare surface at high Froude number, 2 below an endless plate (both exact)."""
    covered = np.linspace(0.0, 1.0, 11)
    efficiency = fins.board_efficiency(depth_froude_number=50.0, covered_share=covered)
    assert efficiency[0] == pytest.approx(8.0 / math.pi**2, rel=2e-3)
    assert efficiency[-1] == pytest.approx(2.0)
    assert np.all(np.diff(efficiency) > 0.0)


def test_covered_share_of_a_plate_by_hand() -> None:
    """A half beam as wide as the load is deep fills 45 of 90 degrees to either side: a half."""
    depth = fins.ELLIPTIC_CENTRE_SHARE * 1.0
    assert fins.covered_share(hull_half_beam=depth, lifting_span=1.0) == pytest.approx(0.5)
    assert fins.covered_share(hull_half_beam=0.0, lifting_span=1.0) == 0.0
    assert fins.covered_share(hull_half_beam=1e4, lifting_span=1.0) == pytest.approx(1.0, abs=1e-4)
