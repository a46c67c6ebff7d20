"""A vertical lifting board through the water surface: the lifting line of L. Prandtl, 1918, with images,
and linear free-surface theory between the limits (form of the waves: T. H. Havelock, Proc. R. Soc. A 138,
1932, from memory).

The least drag at given side force is found here with a free loading, piecewise linear from the surface to
the tip. Drag is a quadratic form of the loading: trailing vortices with their image in a rigid surface, and
waves, D_w = (rho/pi) int k_y^2/k |int G exp(k z) dz|^2/(2 - K/k) dk_y, k = (K + sqrt(K^2 + 4 k_y^2))/2.
"""

import math
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from vpp.physics import hydrofoils

FloatArray = NDArray[np.float64]


def nodes(count: int) -> FloatArray:
    """Depths from the surface (0) to the tip (1), close together at both ends."""
    even = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, count + 1)))
    return np.concatenate([[0.0], even[1] * np.geomspace(1e-3, 0.5, 6), even[1:]])


def double_logarithm(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> FloatArray:
    """Integral of ln|x - y| over x from a to b and y from c to d."""

    def primitive(t: FloatArray) -> FloatArray:
        safe = np.where(t == 0.0, 1.0, np.abs(t))
        return np.asarray(np.where(t == 0.0, 0.0, 0.5 * t**2 * np.log(safe) - 0.75 * t**2))

    return np.asarray(primitive(b - c) - primitive(b - d) - primitive(a - c) + primitive(a - d))


def trailing_form(r: FloatArray, image: float, free_at_surface: bool) -> FloatArray:
    """Drag of trailing vortices for unit density, speed and nodal loading; image 1 for a rigid surface,
    -1 for one that gives way.
    """
    low, high = r[:-1], r[1:]
    own = double_logarithm(low[:, None], high[:, None], low[None], high[None])
    mirrored = double_logarithm(low[:, None], high[:, None], -high[None], -low[None])
    first = 0 if free_at_surface else 1
    slopes = np.zeros((len(low), len(r) - 1 - first))
    for column, node in enumerate(range(first, len(r) - 1)):
        slopes[node, column] = -1.0 / (high[node] - low[node])
        if node > 0:
            slopes[node - 1, column] = 1.0 / (high[node - 1] - low[node - 1])
    return np.asarray(-slopes.T @ (own - image * mirrored) @ slopes / (4.0 * math.pi))


def wave_form(r: FloatArray, wave_number: float) -> FloatArray:
    across = np.geomspace(1e-4, 2e5, 6000)
    weight = np.gradient(np.log(across)) * across
    k = 0.5 * (wave_number + np.sqrt(wave_number**2 + 4.0 * across**2))
    a, b, c = r[:-2], r[1:-1], r[2:]
    decay = np.exp(-k[:, None] * r[None])
    fore, aft = (decay[:, :-2] - decay[:, 1:-1]) / (b - a), (decay[:, 1:-1] - decay[:, 2:]) / (c - b)
    small = k[:, None] * (c - a) < 1e-3
    hat = np.where(small, 0.5 * (c - a) * decay[:, 1:-1], (fore - aft) / k[:, None] ** 2)
    kernel = weight * across**2 / k / (2.0 - wave_number / k)
    return np.asarray((hat * kernel[:, None]).T @ hat / math.pi)


def efficiency(form: FloatArray, force: FloatArray) -> float:
    """e of the loading of least drag, from D = F^2/(pi q b^2 e)."""
    return float(force @ np.linalg.solve(form, force) / (0.5 * math.pi))


@cache
def of_linear_theory(span_froude: float) -> float:
    r = nodes(60)
    force = 0.5 * (r[2:] - r[:-2])
    form = trailing_form(r, 1.0, free_at_surface=False) + wave_form(r, span_froude**-2)
    return efficiency(form, force)


def test_rigid_surface_doubles_the_span() -> None:
    """Image theorem: e = 2 exactly; 0.1 % for the loading in straight pieces."""
    r = nodes(80)
    force = np.concatenate([[0.5 * r[1]], 0.5 * (r[2:] - r[:-2])])
    assert efficiency(trailing_form(r, 1.0, free_at_surface=True), force) == pytest.approx(2.0, rel=1e-3)
    assert hydrofoils.piercing_efficiency(span_froude=np.array([1e-30]))[0] == pytest.approx(2.0, rel=0.02)


def test_surface_that_gives_way() -> None:
    """Image of the opposite side force, no load at the surface: e = 8/pi^2 exactly; 0.1 %."""
    r = nodes(80)
    force = 0.5 * (r[2:] - r[:-2])
    exact = 8.0 / math.pi**2
    assert efficiency(trailing_form(r, -1.0, free_at_surface=False), force) == pytest.approx(exact, rel=1e-3)
    assert hydrofoils.piercing_efficiency(span_froude=np.array([1e3]))[0] == pytest.approx(exact, rel=1e-5)


@pytest.mark.parametrize("span_froude", [0.1, 0.2, 0.32, 0.5, 0.7, 1.0, 1.4, 2.0, 3.0, 10.0])
def test_between_the_limits(span_froude: float) -> None:
    """Linear theory solved here, against the fit: 0.2 %."""
    law = hydrofoils.piercing_efficiency(span_froude=np.array([span_froude]))[0]
    assert law == pytest.approx(of_linear_theory(span_froude), rel=2e-3)


def test_waves_at_high_froude_number_take_what_the_image_theorem_says() -> None:
    """Rigid image and waves together must be the image of the other sign; 0.15 %."""
    assert of_linear_theory(30.0) == pytest.approx(8.0 / math.pi**2, rel=1.5e-3)


def test_efficiency_falls_with_speed() -> None:
    froude = np.geomspace(0.01, 100.0, 400)
    assert np.all(np.diff(hydrofoils.piercing_efficiency(span_froude=froude)) < 0.0)
