"""First and second derivatives of every model against differences, at random places, at the seams of its
pieces and across them; and that no function of `vpp.physics` is left out.
"""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil
from functools import partial
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

import vpp.physics
from tests.support import differences, model_derivatives, physics_models
from tests.support.model_derivatives import LEAST_SHARE
from tests.support.physics_models import MODELS, Model
from vpp.physics import hull_form, lifting_line, smoothing
from vpp.physics.arrays import array_namespace
from vpp.solver import jets

Floats = NDArray[np.float64]

# Step across a seam, as a share of the range.
SEAM_STEP = 2e-3

BUILT_ONCE = "evaluated when a boat is built"
REPORTED = "evaluated on results, in plain numbers"
# Functions of arrays that never see derivatives, and why.
NEVER = {
    "hull.admissible_roughness": BUILT_ONCE,
    "hull.outside_effective_draught": REPORTED,
    "hull.outside_heeled_wetted": REPORTED,
    "hydrofoils.take_off_speed": REPORTED,
    "hydrofoils.uniform_load_zero_lift_angle": BUILT_ONCE,
    "lifting_line.fourier_basis": "its own derivatives by the angle are asked for by order",
    "lifting_line.circulation": "found in plain numbers; `jets.settled_sums` differentiates its equation",
    "planing.may_porpoise": REPORTED,
    "planing.outside_range": REPORTED,
    "planing.porpoising_known": REPORTED,
    "planing.porpoising_trim": REPORTED,
    "planing_handover.bottom_fullness": BUILT_ONCE,
    "planing_handover.wet_beyond_bottom": REPORTED,
    "rig_loads.boom_sheet": REPORTED,
    "rig_loads.clew_pull": REPORTED,
    "rig_loads.clew_sheet": REPORTED,
    "rig_loads.force_across_chord": REPORTED,
    "rig_loads.leech_load": REPORTED,
    "rig_loads.mast_moment": REPORTED,
    "rig_loads.plate_centre": REPORTED,
    "rig_loads.rule_of_thumb_sheet_load": REPORTED,
    "rig_loads.stay_tension": REPORTED,
    "rig_loads.strip_loads": REPORTED,
    "rig_loads.trim_work": REPORTED,
    "righting_curves.initial_metacentre_height": REPORTED,
    "sail_sections.base_drag": BUILT_ONCE,
    "sail_sections.forebody_drag": BUILT_ONCE,
    "sail_sections.is_nothing": "a switch on plain numbers",
    "sail_sections.mast_interference_drag": BUILT_ONCE,
    "sail_sections.mean_line": BUILT_ONCE,
    "sail_sections.nose_lift_margin": BUILT_ONCE,
    "sail_sections.nose_radius_share": BUILT_ONCE,
    "sail_sections.profile_drag": BUILT_ONCE,
    "sail_sections.section_law": BUILT_ONCE,
    "sail_sections.stall_lift_margin": BUILT_ONCE,
    "sail_sections.tail_lift_margin": BUILT_ONCE,
    "sail_tables.induced_drag_factor": BUILT_ONCE,
    "sail_tables.is_outside": REPORTED,
    "sail_tables.parasite_drag": BUILT_ONCE,
    "sections.plate_drag_maximum": BUILT_ONCE,
    "waves.crest_and_trough": BUILT_ONCE,
    "waves.outside_range": REPORTED,
    "waves.wave_spectrum": BUILT_ONCE,
    "waves.wind_sea": BUILT_ONCE,
    "sails.strip_force_parts": REPORTED,
}


@pytest.fixture(autouse=True)
def _flow_without_noise(monkeypatch: pytest.MonkeyPatch) -> None:
    """The sails' circulation found by the size of the step alone, which leaves its square, not 1e-11."""
    monkeypatch.setattr(lifting_line, "MISS_TOLERANCE", 0.0)


@pytest.mark.parametrize("name", MODELS)
def test_derivatives_are_those_of_differences(name: str) -> None:
    faults = faults_of(MODELS[name])
    assert not faults, f"{len(faults)} of {name}: {faults[:6]}"


def faults_of(model: Model) -> list[str]:
    """Derivatives that are wrong by more than their differences answer for."""
    return [
        f"{order} {at.tolist()}: {error[tuple(at)]:.1e}, answered {answered[tuple(at)]:.1e}"
        for order, (error, answered) in model_derivatives.compared(model).items()
        for at in np.argwhere(~(error <= answered))
    ]


# Models whose plain numbers cannot be complex, and why.
NOT_COMPLEX = {
    "added resistance": "it takes the size of an angle",
    "rig": "its circulation is found by an iteration on real numbers",
}


@pytest.mark.parametrize("name", [name for name in MODELS if name not in NOT_COMPLEX])
def test_first_derivatives_are_those_of_a_complex_step(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Im f(x + ih)/h has no difference in it and so no error but rounding (W. Squire, G. Trapp, SIAM Review
    40, 1998, from memory): a hundred roundings of a row's largest entry, over what it is measured by at the
    least.
    """
    # NumPy lacks these two of complex numbers
    monkeypatch.setattr(np, "arctan2", partial(_complex_angle, np.arctan2))
    monkeypatch.setattr(np, "floor", partial(_floor_of_real, np.floor))
    model = MODELS[name]
    shares = np.random.default_rng(5).uniform(0.02, 0.98, size=(len(model.ranges), 24))
    carried = model_derivatives.carried(model, shares)
    gradient, _ = model_derivatives.derivatives(model, shares)
    step = 1e-30
    found = []
    for row in range(len(shares)):
        moved = shares.astype(complex)
        moved[row] += 1j * step
        found.append(model_derivatives.values(model, moved, carried).imag / step)
    size = np.maximum(np.abs(gradient).max(axis=0), model_derivatives.least_of(gradient, gradient.shape[1]))
    error = np.abs(gradient - np.array(found)) / size
    assert error.max() < differences.ROUNDINGS * differences.EPSILON / LEAST_SHARE


def _complex_angle(angle: Any, y: Any, x: Any) -> Any:
    """Angle of a point, exact to first order in the imaginary parts; of plain numbers a plain number."""
    if not (np.iscomplexobj(y) or np.iscomplexobj(x)):
        return angle(y, x)
    turn = np.real(x) * np.imag(y) - np.real(y) * np.imag(x)
    return angle(np.real(y), np.real(x)) + 1j * turn / (np.real(x) ** 2 + np.real(y) ** 2)


def _floor_of_real(floor: Any, x: Any) -> Any:
    return floor(np.real(x))


SEAMS = [(name, argument, value) for name, model in MODELS.items() for argument, value in model.seams]


def _one_sided(model: Model, shares: Floats, argument: int, step: float, carried: list[int]) -> Floats:
    """Second differences of second order on the side of the step, (rows, places)."""
    moves = np.zeros((4, *shares.shape))
    moves[:, argument] = step * np.arange(4.0)[:, None]
    values = np.array([model_derivatives.values(model, shares + move, carried) for move in moves])
    return np.asarray(np.tensordot([2.0, -5.0, 4.0, -1.0], values, axes=1) / step**2)


@pytest.mark.parametrize(("name", "argument", "value"), SEAMS)
def test_curvature_does_not_jump_at_a_seam(name: str, argument: int, value: float) -> None:
    """Second differences from either side, which know nothing of the derivative arrays, have one limit: they
    differ by no more than halving their step still changes them, and by rounding.
    """
    assert _jump(MODELS[name], argument, value) <= 1.0


def _jump(model: Model, argument: int, value: float) -> float:
    """Largest jump of a curvature over what is answered for."""
    shares = np.random.default_rng(4).uniform(0.2, 0.8, size=(len(model.ranges), 4))
    low, high = model.ranges[argument]
    shares[argument] = (value - low) / (high - low)
    carried = model_derivatives.carried(model, shares)
    wide = [_one_sided(model, shares, argument, side * SEAM_STEP, carried) for side in (-1.0, 1.0)]
    near = [_one_sided(model, shares, argument, 0.5 * side * SEAM_STEP, carried) for side in (-1.0, 1.0)]
    size = np.abs(model_derivatives.values(model, shares, carried)) + np.abs(near).max(axis=0) * SEAM_STEP
    # 12 is the sum of the weights
    rounding = 2.0 * 12.0 * differences.ROUNDINGS * differences.EPSILON * size / (0.5 * SEAM_STEP) ** 2
    answered = sum(np.abs(a - b) for a, b in zip(wide, near, strict=True)) + rounding
    jump = np.abs(near[1] - near[0])
    # what is zero on both sides does not jump
    return float(np.max(np.divide(jump, answered, out=np.zeros_like(jump), where=answered > 0.0)))


# --- the checks themselves ----------------------------------------------------------------------------------


@pytest.mark.parametrize("order", ["gradient", "hessian"])
def test_a_millionth_too_much_of_a_derivative_is_noticed(order: str) -> None:
    def sine(x: Any) -> Any:
        found = array_namespace(x).sin(3.0 * x)
        if isinstance(found, jets.Jet):
            setattr(found, order, getattr(found, order) * (1.0 + 1e-6))
        return found

    assert faults_of(Model(run=sine, ranges=((0.0, 1.0),)))


def test_a_curvature_that_jumps_is_noticed() -> None:
    """A step by a polynomial of third degree has a curvature of 6 at its foot, and none before it."""

    def step(x: Any) -> Any:
        xp = array_namespace(x)
        t = xp.minimum(xp.maximum(x, 0.0), 1.0)
        return t**2 * (3.0 - 2.0 * t)

    assert _jump(Model(run=step, ranges=((-1.0, 2.0),)), 0, 0.0) > 10.0


# --- at the very seam ---------------------------------------------------------------------------------------


def test_slope_at_the_very_end_of_a_bend_is_that_beyond_it() -> None:
    """Both pieces are there at that one number, and the slope of one of them counts. By their definition the
    value itself is beyond the end: slope 1, no curvature.
    """
    for bent in (
        smoothing.smooth_ramp(value=jets.variables(np.array([[0.5]]))[0], width=0.5),
        smoothing.smooth_floor(value=jets.variables(np.array([[0.75]]))[0], floor=0.25, width=0.5),
    ):
        value, gradient, hessian = jets.dense(bent, 1, (1,))
        assert value[0] in (0.5, 0.75)
        assert gradient[0, 0] == pytest.approx(1.0, rel=1e-14)
        assert hessian[0, 0, 0] == pytest.approx(0.0, abs=1e-13)


def test_buoyancy_of_a_column_that_is_just_all_wet_grows_with_its_area() -> None:
    """A level bottom a band below the water: its volume grows with the depth times its area (Archimedes)."""
    names = [field.name for field in dataclasses.fields(hull_form.Columns)]
    columns = hull_form.Columns(
        **{**{name: np.zeros((1, 1)) for name in names}, "plan_area": np.full((1, 1), 2.0)}
    )
    (ride_height,) = jets.variables(np.array([[-hull_form.SURFACE_BAND]]))
    level = np.zeros(1)
    found = hull_form.buoyancy(
        columns=columns, ride_height=ride_height, heel=level, pitch=level, water_density=1000.0, gravity=10.0
    )
    assert jets.dense_gradient(found.volume, 1, (1,))[1][0, 0] == pytest.approx(-2.0, rel=1e-14)


# --- completeness -------------------------------------------------------------------------------------------


def test_no_function_of_arrays_is_left_out() -> None:
    """Every one was seen to run with derivatives in a model here, or is said never to, and then does not."""
    modules = [
        importlib.import_module(f"vpp.physics.{each.name}")
        for each in pkgutil.iter_modules(vpp.physics.__path__)
        if each.name != "arrays"  # what it holds is no model
    ]
    known = set().union(*(physics_models.takes_arrays(module) for module in modules))
    runs = [
        partial(model_derivatives.carried, model, model_derivatives.places(model))
        for model in MODELS.values()
    ]
    ran = physics_models.ran_with_derivatives(runs)
    assert known - ran - NEVER.keys() == set()
    assert NEVER.keys() - known == set()
    assert NEVER.keys() & ran == set()
