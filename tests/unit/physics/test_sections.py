"""Sail sections: thin aerofoil, drag bucket, stall, the stalled plate and what of the lift leaves a wake."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad

from vpp.physics import sections, smoothing
from vpp.solver import jets

FloatArray = NDArray[np.float64]

STALL = math.radians(8.0)
WIDTH = math.radians(1.5)
LEAST, BUCKET, PLATE = 0.012, 0.012, 1.2

cambers = st.floats(-0.15, 0.15)
incidences = st.floats(-math.pi, math.pi, exclude_min=True, exclude_max=True)


def forces(incidence: object, camber: object = 0.0) -> tuple:  # type: ignore[type-arg]
    return sections.section_forces(
        incidence=incidence,
        camber=camber,
        stall_incidence=STALL,
        stall_width=WIDTH,
        least_drag=LEAST,
        bucket_factor=BUCKET,
        drag_maximum=PLATE,
    )


# --- attached flow ------------------------------------------------------------------------------------------


def slope_of_arc(angle: float, camber: float) -> float:
    """dz/dx of a parabolic arc z = 4 f x (1 - x) at x = (1 - cos angle)/2."""
    return 4.0 * camber * math.cos(angle)


@pytest.mark.parametrize("camber", [0.02, 0.08, -0.05])
def test_zero_lift_incidence_and_design_lift_by_the_integrals_of_thin_aerofoil_theory(camber: float) -> None:
    """H. Glauert, The Elements of Aerofoil and Airscrew Theory, 1926: his integrals over the mean line, by
    quadrature.

    Zero-lift incidence 1/pi int dz/dx (1 - cos) dt, ideal incidence 1/pi int dz/dx dt, lift at it 2 int
    dz/dx cos dt.
    """
    zero_lift = quad(lambda t: slope_of_arc(t, camber) * (1.0 - math.cos(t)), 0.0, math.pi)[0] / math.pi
    ideal = quad(lambda t: slope_of_arc(t, camber), 0.0, math.pi)[0] / math.pi
    lift_there = 2.0 * quad(lambda t: slope_of_arc(t, camber) * math.cos(t), 0.0, math.pi)[0]
    assert ideal == pytest.approx(0.0, abs=1e-12)
    assert sections.zero_lift_incidence(camber=camber) == pytest.approx(zero_lift, rel=1e-12)
    assert sections.design_lift(camber=camber) == pytest.approx(lift_there, rel=1e-12)


def test_lift_slope_and_values_of_a_thin_section() -> None:
    """Glauert 1926: 2 pi per rad; with 10 % camber -0.2 rad and 1.2566."""
    assert sections.zero_lift_incidence(camber=0.1) == pytest.approx(-0.2)
    assert sections.design_lift(camber=0.1) == pytest.approx(1.256637, abs=1e-6)
    assert sections.attached_lift(incidence=-0.2, camber=0.1) == pytest.approx(0.0, abs=1e-15)
    rise = sections.attached_lift(incidence=0.1, camber=0.1) - sections.attached_lift(
        incidence=0.0, camber=0.1
    )
    assert rise == pytest.approx(0.2 * math.pi)


@pytest.mark.parametrize("camber", [0.05, 0.10, 0.14])
def test_thin_theory_against_the_exact_circular_arc(camber: float) -> None:
    """Joukowski's map of a circular arc (exact): CL = 2 pi sin(a + b)/cos b with tan b = 2 f/c; linear
    theory is within 4 %.
    """
    b = math.atan(2.0 * camber)
    for degrees in (0.0, 4.0, 8.0):
        incidence = math.radians(degrees)
        exact = 2.0 * math.pi * math.sin(incidence + b) / math.cos(b)
        assert sections.attached_lift(incidence=incidence, camber=camber) == pytest.approx(exact, rel=0.04)


@pytest.mark.parametrize("camber", [0.0, 0.05, 0.10, -0.06])
def test_bucket_is_centred_on_the_design_lift(camber: float) -> None:
    """The form of Abbott, von Doenhoff & Stivers, NACA Report 824, 1945: least drag where the flow meets
    the nose smoothly.
    """
    lift = np.linspace(-2.0, 2.0, 4001)
    drag = sections.attached_drag(lift=lift, camber=camber, least_drag=LEAST, bucket_factor=BUCKET)
    assert lift[drag.argmin()] == pytest.approx(4.0 * math.pi * camber, abs=5e-4)
    assert drag.min() == pytest.approx(LEAST, abs=1e-8)
    assert sections.attached_drag(
        lift=4.0 * math.pi * camber + 0.5, camber=camber, least_drag=LEAST, bucket_factor=BUCKET
    ) == pytest.approx(LEAST + 0.25 * BUCKET)


@pytest.mark.parametrize("lift", [-0.1, -0.4, -0.8])
def test_negative_lift_is_dear_with_positive_camber_and_not_with_negative(lift: float) -> None:
    """By hand at -0.4 and 8 % camber: bucket 0.012 (-0.4 -+ 1.005)^2, 0.0237 against 0.0044."""

    def drag(camber: float) -> float:
        incidence = lift / (2.0 * math.pi) - 2.0 * camber
        return float(
            sections.attached_drag(
                lift=sections.attached_lift(incidence=incidence, camber=camber),
                camber=camber,
                least_drag=LEAST,
                bucket_factor=BUCKET,
            )
        )

    assert drag(0.08) > drag(0.0)
    assert drag(0.08) > drag(-0.08)
    if lift == -0.4:
        assert (drag(0.08) - LEAST, drag(-0.08) - LEAST) == pytest.approx((0.0237, 0.0044), abs=5e-5)


# --- the whole range ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("camber", [0.0, 0.06, 0.12])
def test_well_inside_the_stall_the_section_is_attached(camber: float) -> None:
    incidence = np.linspace(-0.2 * STALL, 0.2 * STALL, 9)
    lift, drag = forces(incidence, camber)
    attached = sections.attached_lift(incidence=incidence, camber=camber)
    np.testing.assert_allclose(lift, attached, atol=0.02)
    attached_drag = sections.attached_drag(
        lift=attached, camber=camber, least_drag=LEAST, bucket_factor=BUCKET
    )
    np.testing.assert_allclose(drag, attached_drag, atol=3e-4)


@given(incidence=incidences, camber=cambers)
def test_mirror_image_of_a_section(incidence: float, camber: float) -> None:
    """Turned over with its camber, a section has the opposite lift and the same drag."""
    lift, drag = forces(incidence, camber)
    mirrored_lift, mirrored_drag = forces(-incidence, -camber)
    assert mirrored_lift == pytest.approx(-lift, rel=1e-9, abs=1e-12)
    assert mirrored_drag == pytest.approx(drag, rel=1e-9, abs=1e-12)


@given(incidence=incidences)
def test_without_camber_lift_is_odd_and_drag_even(incidence: float) -> None:
    lift, drag = forces(incidence)
    mirrored_lift, mirrored_drag = forces(-incidence)
    assert mirrored_lift == pytest.approx(-lift, rel=1e-9, abs=1e-12)
    assert mirrored_drag == pytest.approx(drag, rel=1e-9, abs=1e-12)


@given(incidence=incidences, camber=cambers)
def test_finite_at_every_angle(incidence: float, camber: float) -> None:
    assert all(math.isfinite(value) for value in forces(incidence, camber))


@pytest.mark.parametrize("camber", [0.0, 0.06, 0.12])
def test_no_stalled_section_lifts_more_than_an_attached_one(camber: float) -> None:
    """At every angle to +-180 deg: an optimiser finds whatever lift a formula gives away in reversed flow."""
    lift, _ = forces(np.radians(np.linspace(-179.99, 179.99, 7201)), camber)
    assert np.abs(lift).max() <= sections.attached_lift(incidence=STALL, camber=camber)


@pytest.mark.parametrize("least_drag", [0.008, 0.012, 0.02])
def test_drag_is_positive_at_every_angle(least_drag: float) -> None:
    """With the wind from behind as well: a section is never a source of thrust along its own flow."""
    _, drag = sections.section_forces(
        incidence=np.radians(np.linspace(-179.99, 179.99, 7201)),
        camber=0.06,
        stall_incidence=STALL,
        stall_width=WIDTH,
        least_drag=least_drag,
        bucket_factor=BUCKET,
        drag_maximum=PLATE,
    )
    assert drag.min() >= 0.0


@pytest.mark.parametrize("camber", [0.0, 0.06, 0.12])
def test_dead_run(camber: float) -> None:
    """A boom at 75 to 90 deg on a dead run puts the sail at 90 to 105 deg: a plate, nearly without lift
    (geometry).
    """
    incidence = np.radians(np.linspace(90.0, 105.0, 16))
    lift, drag = forces(incidence, camber)
    assert np.all(drag > PLATE * np.sin(incidence) ** 2 - 0.01)
    assert np.all(drag < PLATE * np.sin(incidence) ** 2 + 0.01)
    np.testing.assert_allclose(lift, PLATE * np.sin(incidence) * np.cos(incidence), atol=0.03)


# --- smoothness ---------------------------------------------------------------------------------------------


def derivatives(incidence: FloatArray, camber: float) -> list[tuple[FloatArray, FloatArray, FloatArray]]:
    (x,) = jets.variables(incidence[None])
    results = []
    for part in forces(x, camber):
        value, gradient, hessian = jets.dense(part, 1, incidence.shape)
        results.append((value, gradient[0], hessian[0, 0]))
    return results


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("camber", [0.0, 0.1])
def test_twice_differentiable_across_the_stall(side: float, camber: float) -> None:
    """Value, slope and curvature are those of one smooth curve: each is the integral of the next
    (trapezoidal rule), and the curvature's steps halve with the grid's.
    """
    largest_steps = []
    for count in (2000, 4000):
        # an odd offset, so that no point lies on the stall itself
        incidence = side * STALL + np.linspace(-4.0 * WIDTH, 4.1 * WIDTH, count)
        step = incidence[1] - incidence[0]
        largest = []
        for value, slope, curvature in derivatives(incidence, camber):
            np.testing.assert_allclose(np.diff(value), 0.5 * step * (slope[1:] + slope[:-1]), atol=1e-7)
            np.testing.assert_allclose(
                np.diff(slope), 0.5 * step * (curvature[1:] + curvature[:-1]), atol=1e-4
            )
            largest.append(np.abs(np.diff(curvature)).max())
        largest_steps.append(np.array(largest))
    np.testing.assert_allclose(largest_steps[0] / largest_steps[1], 2.0, rtol=0.05)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_derivatives_at_the_stall_itself(side: float) -> None:
    """On the very incidence where the rounding of |x| turns over, curvature is that of the neighbours."""
    incidence = side * STALL + np.array([-1e-7, 0.0, 1e-7])
    for value, slope, curvature in derivatives(incidence, 0.06):
        for numbers in (value, slope, curvature):
            assert numbers[1] == pytest.approx(0.5 * (numbers[0] + numbers[2]), rel=1e-4)


def test_extreme_widths_do_not_overflow() -> None:
    lift, drag = sections.section_forces(
        incidence=np.array([-3.0, 0.0, 3.0]),
        camber=0.1,
        stall_incidence=0.14,
        stall_width=1e-5,
        least_drag=LEAST,
        bucket_factor=BUCKET,
        drag_maximum=PLATE,
    )
    assert np.isfinite(lift).all()
    assert np.isfinite(drag).all()


# --- what leaves a wake -------------------------------------------------------------------------------------


@given(incidence=incidences, camber=cambers)
def test_mirror_image_of_the_shed_lift(incidence: float, camber: float) -> None:
    """An inverted section sheds what its mirror image does, the other way: nothing but symmetry."""

    def shed(side: float) -> tuple[float, float]:
        lift, slope = sections.shed_lift(
            incidence=side * incidence, camber=side * camber, stall_incidence=STALL, stall_width=WIDTH
        )
        return float(lift), float(slope)

    lift, slope = shed(1.0)
    assert shed(-1.0) == pytest.approx((-lift, slope), rel=1e-9, abs=1e-12)


def test_shed_lift_is_twice_differentiable_in_camber_as_the_belly_changes_sides() -> None:
    """Value, slope and curvature by camber are each the integral of the next (trapezoidal rule)."""
    camber = np.linspace(-0.03, 0.03, 4001)
    step = camber[1] - camber[0]
    for incidence in (-0.3, -0.15, 0.15, 0.3):
        (x,) = jets.variables(camber[None])
        lift, _ = sections.shed_lift(incidence=incidence, camber=x, stall_incidence=STALL, stall_width=WIDTH)
        value, gradient, hessian = jets.dense(lift, 1, camber.shape)
        slope, curvature = gradient[0], hessian[0, 0]
        np.testing.assert_allclose(np.diff(value), 0.5 * step * (slope[1:] + slope[:-1]), atol=1e-8)
        np.testing.assert_allclose(np.diff(slope), 0.5 * step * (curvature[1:] + curvature[:-1]), atol=1e-3)


@pytest.mark.parametrize("camber", [0.0, 0.08])
def test_shed_lift_follows_the_section_up_to_the_stall_and_is_level_beyond(camber: float) -> None:
    """Levels: attached lift at the stall above, that of as much incidence short of zero lift below."""

    def shed(incidence: float) -> tuple[float, float]:
        lift, slope = sections.shed_lift(
            incidence=incidence, camber=camber, stall_incidence=STALL, stall_width=WIDTH
        )
        return float(lift), float(slope)

    assert shed(0.2 * STALL)[0] == pytest.approx(
        sections.attached_lift(incidence=0.2 * STALL, camber=camber), abs=0.01
    )
    for incidence, level in ((1.5, 2.0 * math.pi * (STALL + 2.0 * camber)), (-1.5, -2.0 * math.pi * STALL)):
        assert shed(incidence) == pytest.approx((level, 0.0), abs=1e-9)


def test_slope_of_the_shed_lift_is_its_derivative() -> None:
    incidence = np.linspace(-0.6, 0.6, 1201)
    (x,) = jets.variables(incidence[None])
    lift, slope = sections.shed_lift(incidence=x, camber=0.07, stall_incidence=STALL, stall_width=WIDTH)
    _, gradient, _ = jets.dense(lift, 1, incidence.shape)
    np.testing.assert_allclose(gradient[0], jets.without_derivatives(slope), rtol=1e-9, atol=1e-10)
    assert np.all(jets.without_derivatives(slope) >= -1e-12)


def test_share_of_the_lift_that_is_shed() -> None:
    """Whole up to 20 deg past the stall, under a tenth for a sail square to the wind, falling in between;
    even in incidence.
    """

    def share(degrees: float | list[float] | FloatArray) -> FloatArray:
        return np.asarray(sections.shed_share(incidence=np.radians(degrees), stall_incidence=STALL))

    assert share(0.0) > 0.9999
    assert share(28.0) > 0.985
    assert share(90.0) < 0.1
    assert share(150.0) < 1e-4
    assert np.all(np.diff(share(np.linspace(0.0, 180.0, 361))) <= 0.0)
    np.testing.assert_allclose(share([-40.0, -100.0]), share([40.0, 100.0]), rtol=1e-12)


@pytest.mark.parametrize(
    ("function", "at"),
    [
        (sections._softplus, np.array([-40.0, -3.0, -0.4, 0.0, 0.7, 5.0, 60.0])),
        (smoothing._unit_floor, np.array([-2.0, -0.1, 0.2, 0.5, 0.9, 1.1, 4.0])),
        (sections._plate_terms, np.array([-2.9, -1.2, -0.2, 0.15, 0.8, np.pi / 2.0, 2.6, 3.1])),
    ],
)
def test_derivatives_written_out_are_those_of_the_functions(function, at):
    """Against central differences, the second ones of the first."""
    step = 1e-5
    _, slopes = function(at)
    values = [function(at + side)[0] for side in (-step, step)]
    around = [function(at + side)[1]() for side in (-step, step)]
    for i, (first, second) in enumerate(slopes()):
        by_value = (values[1][i] - values[0][i]) / (2.0 * step)
        by_slope = (around[1][i][0] - around[0][i][0]) / (2.0 * step)
        np.testing.assert_allclose(first, by_value, rtol=1e-8, atol=1e-8)
        np.testing.assert_allclose(second, by_slope, rtol=1e-8, atol=1e-8)
