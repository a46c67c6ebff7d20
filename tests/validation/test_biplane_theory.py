"""Induced drag of wings near a surface that gives way or is rigid: the biplane theory of L. Prandtl,
"Induced drag of multiplanes", NACA TN 182, 1924, and M. M. Munk, NACA TR 116, 1921 (from memory), summed
here from the vortices in the plane far behind the wings.
"""

import math

import numpy as np
import pytest

from vpp.physics import hydrofoils


def image_drag(*, depth_span_ratio: float, inclination: float, count: int = 1000) -> float:
    """Induced drag by an image of the same sense above an elliptically loaded wing of span 1, over its own.

    Trailing vortices of wing and image, mirrored in the surface, act on the wing normal to its span.
    """
    edge = -0.5 * np.cos(np.arange(count + 1) * math.pi / count)
    middle = -0.5 * np.cos((np.arange(count) + 0.5) * math.pi / count)
    loading = np.sqrt(np.clip(1.0 - 4.0 * edge**2, 0.0, None))
    shed = np.diff(loading)
    along = np.array([math.cos(inclination), math.sin(inclination)])
    normal = np.array([-math.sin(inclination), math.cos(inclination)])
    wing = middle[:, None] * along + [0.0, -depth_span_ratio]
    away = wing[:, None, :] - (wing * [1.0, -1.0])[None, :, :]
    distance2 = np.sum(away**2, axis=2)
    velocity = np.stack([away[..., 1], -away[..., 0]], axis=2) / (4.0 * math.pi * distance2[..., None])
    downwash = -(velocity @ normal) @ shed
    own = math.pi / 8.0
    return float(np.sum(downwash * np.sqrt(1.0 - 4.0 * middle**2) * np.diff(edge)) / own)


@pytest.mark.parametrize(
    ("depth_span_ratio", "factor"), [(0.05, 1.657), (0.10, 1.484), (0.25, 1.232), (0.5, 1.094)]
)
def test_equal_biplane_with_elliptic_loading(depth_span_ratio: float, factor: float) -> None:
    """Values of 1 + sigma computed independently, by four figures; and the vortices summed here, to 2e-4."""
    law = 1.0 + hydrofoils.biplane_factor(depth_span_ratio=np.array([depth_span_ratio]))[0]
    assert law == pytest.approx(factor, abs=7e-4)
    assert law - 1.0 == pytest.approx(
        image_drag(depth_span_ratio=depth_span_ratio, inclination=0.0), abs=2e-4
    )


@pytest.mark.parametrize("inclination_deg", [15.0, 30.0, 45.0, 60.0])
@pytest.mark.parametrize("tip_depth", [0.05, 0.2, 0.5])
def test_inclined_wing(inclination_deg: float, tip_depth: float) -> None:
    """The fit for canted wings against the vortices summed here: 0.02 of the deep induced drag."""
    inclination = math.radians(inclination_deg)
    ratio = tip_depth + 0.5 * math.sin(inclination)
    law = hydrofoils.biplane_factor(depth_span_ratio=np.array([ratio]))[0]
    law *= hydrofoils.inclined_image_factor(inclination2=math.sin(inclination) ** 2, depth_span_ratio=ratio)
    assert law == pytest.approx(image_drag(depth_span_ratio=ratio, inclination=inclination), abs=0.02)


@pytest.mark.parametrize("depth_span_ratio", [0.02, 0.1, 0.5, 1.0, 4.0])
def test_curvature_by_a_finite_image(depth_span_ratio: float) -> None:
    """The fit against its integral over the spectrum of elliptic loading (derived in the theory page), 0.3 %.

    Curvature over that of plane flow: int (J1/a)^2 8 a^2 (K0 + K1/x) da over int (J1/a)^2/(2 (h/b)^2) da,
    with the modified Bessel functions at x = 4 a h/b.
    """
    from scipy.special import j1, k0, k1

    a = np.concatenate([np.geomspace(1e-7, 1e-2, 20000), np.linspace(1e-2, 300.0, 300001)[1:]])
    spectrum = (j1(a) / a) ** 2
    x = 4.0 * a * depth_span_ratio
    finite = np.trapezoid(spectrum * 8.0 * a**2 * (k0(x) + k1(x) / x), a)
    plane = np.trapezoid(spectrum, a) / (2.0 * depth_span_ratio**2)
    assert hydrofoils.bound_image_span_factor(depth_span_ratio=depth_span_ratio) == pytest.approx(
        finite / plane, rel=0.003
    )


def wake_by_vortices(along: float, normal: float) -> float:
    """Downwash far behind an elliptic wing of span 2, over that on its wake, by its vortices."""
    count = 4000
    edge = -np.cos(np.arange(count + 1) * math.pi / count)
    middle = -np.cos((np.arange(count) + 0.5) * math.pi / count)
    shed = np.diff(np.sqrt(np.clip(1.0 - edge**2, 0.0, None)))
    away = along - middle
    return float(np.sum(shed * away / (away**2 + normal**2)) / math.pi)


@pytest.mark.parametrize(("along", "normal"), [(0.0, 0.5), (0.3, 0.4), (0.8, 0.6), (1.6, 0.3), (3.0, 1.0)])
def test_downwash_off_the_wake(along: float, normal: float) -> None:
    """H. Glauert, The Elements of Aerofoil and Airscrew Theory, 1926, chapter XII; vortices summed."""
    angle = hydrofoils.wake_downwash(
        lift_coefficient=np.array([0.5]),
        aspect_ratio=6.0,
        span=2.0,
        offset_along=np.array([along]),
        offset_normal=np.array([normal]),
        core=1e-4,
    )[0]
    full = 2.0 * 0.5 / (math.pi * 6.0)
    assert angle / full == pytest.approx(wake_by_vortices(along, normal), abs=1e-3)
