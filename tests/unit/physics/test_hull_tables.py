"""Resistance from a table: the series' model and tests read back, SciPy's splines, derivatives and JAX."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from importlib import resources
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from tests.support.with_jax import double_precision, jax_or_skip
from vpp.physics import hull_tables
from vpp.physics.hull import frictional_resistance, residuary_curve, residuary_resistance
from vpp.physics.hull_tables import ResistanceTable, resistance_table, table_resistance
from vpp.solver import jets

FloatArray = NDArray[np.float64]

KNOT = 1852.0 / 3600.0
LENGTH, VOLUME, WETTED_AREA, DENSITY, GRAVITY = 8.6, 5.4, 18.4, 1026.0, 9.80665

# invented: speeds as uneven as a file's may be, a bottom that likes a little heel and not much
SPEED = np.array([0.4, 1.0, 1.4, 2.1, 2.6, 3.4, 4.0, 5.1])
HEEL = np.radians([0.0, 8.0, 15.0, 30.0])
GROWTH = 1.0 - 0.2 * np.sin(5.0 * HEEL) ** 2 + 1.5 * HEEL**2
RESISTANCE = (20.0 * SPEED**1.8 + 0.3 * SPEED**5)[:, None] * GROWTH


def heeled() -> ResistanceTable:
    return resistance_table(speed=SPEED, heel=HEEL, resistance=RESISTANCE, boat_displacement=1.0)


def upright() -> ResistanceTable:
    return resistance_table(speed=SPEED, resistance=RESISTANCE[:, 0], boat_displacement=1.0)


# --- what goes in comes out ---------------------------------------------------------------------------------


def test_exact_at_every_row_on_either_side() -> None:
    for side in (1.0, -1.0):
        found = table_resistance(speed=SPEED[:, None], heel=side * HEEL, table=heeled())
        np.testing.assert_allclose(found, RESISTANCE, rtol=1e-13)
    found = table_resistance(speed=SPEED, heel=0.3, table=upright())
    np.testing.assert_allclose(found, RESISTANCE[:, 0], rtol=1e-13)


def test_resistance_that_goes_with_the_square_of_speed_by_hand() -> None:
    """25 kg/m at any speed: 25 x 3.3^2 = 272.25 N."""
    table = resistance_table(speed=SPEED, resistance=25.0 * SPEED**2, boat_displacement=1.0)
    assert float(table_resistance(speed=3.3, heel=0.0, table=table)) == pytest.approx(272.25, rel=1e-13)


def test_between_the_rows_it_is_the_exponential_of_the_splines_of_scipy() -> None:
    """One along speed, one along heel through the rows of both sides."""
    logarithm = np.log(RESISTANCE / SPEED[:, None] ** 2)
    speed, heel = np.linspace(0.4, 5.1, 48), np.linspace(-HEEL[-1], HEEL[-1], 31)
    mirrored = np.concatenate((-HEEL[:0:-1], HEEL))
    along_speed = CubicSpline(SPEED, logarithm)(speed)
    both = np.concatenate((along_speed[:, :0:-1], along_speed), axis=1)
    expected = speed[:, None] ** 2 * np.exp(CubicSpline(mirrored, both, axis=1)(heel))
    found = table_resistance(speed=speed[:, None], heel=heel, table=heeled())
    np.testing.assert_allclose(found, expected, rtol=1e-12)


def series(speed: FloatArray, volume: float = VOLUME) -> FloatArray:
    """The whole resistance of a hull of the systematic series [N]."""
    curve = residuary_curve(
        waterline_length=LENGTH,
        waterline_beam=2.7,
        canoe_draught=0.645,
        canoe_volume=VOLUME,
        prismatic_coefficient=0.56,
        buoyancy_centre_share=-0.035,
    )
    residuary = residuary_resistance(
        froude_number=speed / math.sqrt(GRAVITY * LENGTH),
        weight=DENSITY * GRAVITY * volume,
        start=curve.start,
        step=curve.step,
        coefficients=curve.coefficients,
    )
    return np.asarray(residuary + friction(speed))


def friction(speed: FloatArray) -> FloatArray:
    return np.asarray(
        frictional_resistance(
            speed=speed,
            wetted_area=WETTED_AREA,
            waterline_length=LENGTH,
            water_density=DENSITY,
            water_viscosity=1.19e-6,
            form_factor=0.0,
        )
    )


@pytest.mark.parametrize(("step", "error"), [(1.0, 0.015), (0.5, 0.004)], ids=["1_kn", "half_a_knot"])
def test_the_series_model_written_to_a_table_and_read_back(step: float, error: float) -> None:
    """A hull of 8.6 m from 1 to 12 kn; midway between the rows it comes back within 1.34 % and 0.33 %."""
    speed = KNOT * np.arange(1.0, 12.0 + 1e-9, step)
    middle = 0.5 * (speed[1:] + speed[:-1])
    table = resistance_table(speed=speed, resistance=series(speed), boat_displacement=1.0)
    np.testing.assert_allclose(
        table_resistance(speed=middle, heel=0.0, table=table), series(middle), rtol=error
    )


def measured_hulls() -> list[tuple[FloatArray, FloatArray]]:
    """Speed [m/s] and resistance [N] of the hulls of the open tests, with the friction of the hull above.

    J. Gerritsma, R. Onnink, A. Versluis, 1981 (DOI 10.24432/C5XG7R), residuary resistance over weight.
    """
    file = resources.files("vpp.data").joinpath("yacht_hydrodynamics.csv")
    with file.open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    hulls = []
    for hull in {row["hull"]: None for row in rows}:
        own = [row for row in rows if row["hull"] == hull]
        froude = np.array([float(row["froude_number"]) for row in own])
        share = np.array([float(row["residuary_resistance_per_1000_weight"]) for row in own]) / 1000.0
        speed = froude * math.sqrt(GRAVITY * LENGTH)
        hulls.append((speed, share * DENSITY * GRAVITY * VOLUME + friction(speed)))
    return hulls


def test_measured_rows_that_are_left_out_come_back_from_their_neighbours() -> None:
    """Every other test of 22 hulls, 0.05 in Froude number or 0.9 kn apart: 1.4 % rms, 4.8 % at most, with
    the scatter of the tests in it.
    """
    errors = []
    for speed, resistance in measured_hulls():
        for first in (0, 1):
            table = resistance_table(
                speed=speed[first::2], resistance=resistance[first::2], boat_displacement=1.0
            )
            low, high = table.speed_range
            out = np.arange(len(speed)) % 2 != first
            out &= (speed > low) & (speed < high)
            found = table_resistance(speed=speed[out], heel=0.0, table=table)
            errors += list(found / resistance[out] - 1.0)
    assert len(errors) == 22 * 2 * 6
    assert math.sqrt(np.mean(np.square(errors))) < 0.015
    assert np.abs(errors).max() < 0.05


def test_curves_through_all_measured_rows_stay_between_them() -> None:
    for speed, resistance in measured_hulls():
        table = resistance_table(speed=speed, resistance=resistance, boat_displacement=1.0)
        assert hull_tables.swing_with_speed(table=table).max() < 0.01


def test_a_table_that_begins_at_rest() -> None:
    """Resistance over speed squared of the first row at rest, and nothing at rest; the series' own hull has a
    tenth more at half of 1 kn.
    """
    speed = KNOT * np.arange(0.0, 12.1, 1.0)
    resistance = np.concatenate(([0.0], series(speed[1:])))
    table = resistance_table(speed=speed, resistance=resistance, boat_displacement=1.0)
    assert table.speed_range == (0.0, speed[-1])
    assert float(table_resistance(speed=0.0, heel=0.0, table=table)) == 0.0
    slow = float(table_resistance(speed=1e-4, heel=0.0, table=table)) / 1e-8
    assert slow == pytest.approx(resistance[1] / speed[1] ** 2, rel=1e-3)
    half = 0.5 * KNOT
    assert float(table_resistance(speed=half, heel=0.0, table=table)) == pytest.approx(
        float(series(np.array(half))), rel=0.11
    )


# --- displacement -------------------------------------------------------------------------------------------


def at(displacements: list[float], boat: float, power: FloatArray | float) -> FloatArray:
    """Read back at a displacement where resistance goes with a power of it, one per speed and heel."""
    masses = np.array(displacements)
    resistance = RESISTANCE[:, None] * (masses[:, None] / 1000.0) ** np.asarray(power)
    table = resistance_table(
        speed=SPEED, heel=HEEL, displacement=masses, resistance=resistance.ravel(), boat_displacement=boat
    )
    return np.asarray(table_resistance(speed=SPEED[:, None], heel=HEEL, table=table))


@pytest.mark.parametrize("count", [2, 3, 4, 6])
def test_a_power_law_of_displacement_is_exact(count: int) -> None:
    power = np.linspace(0.3, 1.4, len(HEEL))
    found = at(list(np.linspace(900.0, 1500.0, count)), 1234.0, power)
    np.testing.assert_allclose(found, RESISTANCE * 1.234**power, rtol=1e-12)


@pytest.mark.parametrize(("count", "error"), [(2, 1e-3), (3, 1e-5)])
def test_the_series_at_a_displacement_between_those_of_the_table(count: int, error: float) -> None:
    """Residuary resistance in proportion to weight, friction not. At 5250 kg: within 0.08 % from 5000 and
    6000 kg, within 5e-6 with 5500 kg between them.
    """
    speed, masses = KNOT * np.arange(2.0, 11.0), np.linspace(5000.0, 6000.0, count)
    grid = np.stack([series(speed, mass / DENSITY) for mass in masses], axis=1)
    table = resistance_table(speed=speed, displacement=masses, resistance=grid, boat_displacement=5250.0)
    found = table_resistance(speed=speed, heel=0.0, table=table)
    np.testing.assert_allclose(found, series(speed, 5250.0 / DENSITY), rtol=error)


def test_the_displacements_of_the_table_themselves() -> None:
    masses = [900.0, 1100.0, 1500.0, 1700.0]
    for mass in masses:
        np.testing.assert_allclose(at(masses, mass, 0.8), RESISTANCE * (mass / 1000.0) ** 0.8, rtol=1e-12)


@pytest.mark.parametrize("boat", [899.0, 1501.0])
def test_a_displacement_outside_the_table_is_refused(boat: float) -> None:
    with pytest.raises(
        ValueError, match=f"displaces {boat:.0f} kg; the resistance table goes from 900 to 1500"
    ):
        at([900.0, 1500.0], boat, 1.0)


# --- smoothness ---------------------------------------------------------------------------------------------


def with_derivatives(speed: Any, heel: Any, table: ResistanceTable) -> tuple[FloatArray, ...]:
    state = np.array(np.broadcast_arrays(np.atleast_1d(speed), heel), dtype=float)
    found = table_resistance(speed=(rows := jets.variables(state))[0], heel=rows[1], table=table)
    return jets.dense(found, 2, state.shape[1:])


@pytest.mark.parametrize("table", [heeled(), upright()], ids=["heeled", "upright"])
def test_value_slope_and_curvature_run_on_through_every_row(table: ResistanceTable) -> None:
    """The third derivative jumps, so that a step of 1e-9 across a row moves the second by 1e-9 of it."""
    step = 1e-9
    through_speed = [(SPEED[1:-1] - step, 0.1), (SPEED[1:-1] + step, 0.1)]
    heels = np.concatenate((-HEEL[2:0:-1], HEEL[:3]))
    through_heel = [(3.0, heels - step), (3.0, heels + step)]
    for before, after in (through_speed, through_heel):
        for below, above in zip(
            with_derivatives(*before, table), with_derivatives(*after, table), strict=True
        ):
            np.testing.assert_allclose(above, below, rtol=1e-6, atol=1e-5)


def test_upright_nothing_changes_with_a_little_heel() -> None:
    slope, bend = (part for part in with_derivatives([1.7, 3.0], 0.0, heeled())[1:])
    np.testing.assert_allclose(slope[1], 0.0, atol=1e-10)
    assert np.all(np.abs(bend[1, 1]) > 1.0)


def test_the_same_to_windward_and_to_leeward() -> None:
    speed, heel = np.linspace(0.5, 5.0, 7), np.linspace(0.01, 0.5, 7)
    leeward, windward = (with_derivatives(speed, side * heel, heeled()) for side in (1.0, -1.0))
    np.testing.assert_allclose(windward[0], leeward[0], rtol=1e-14)
    np.testing.assert_allclose(windward[1], leeward[1] * np.array([[1.0], [-1.0]]), rtol=1e-13)
    np.testing.assert_allclose(windward[2][0, 1], -leeward[2][0, 1], rtol=1e-13)


def test_derivatives_are_those_of_central_differences() -> None:
    state = np.array([[0.7, 1.9, 3.1, 4.6], [0.05, -0.2, 0.3, -0.45]])
    value, gradient, hessian = with_derivatives(*state, heeled())
    np.testing.assert_allclose(value, table_resistance(speed=state[0], heel=state[1], table=heeled()))
    for i in range(2):
        up, down = state.copy(), state.copy()
        up[i] += 1e-5
        down[i] -= 1e-5
        above, below = with_derivatives(*up, heeled()), with_derivatives(*down, heeled())
        np.testing.assert_allclose(gradient[i], (above[0] - below[0]) / 2e-5, rtol=1e-6)
        np.testing.assert_allclose(hessian[i], (above[1] - below[1]) / 2e-5, rtol=1e-5, atol=1e-4)


# --- kinds of arrays ----------------------------------------------------------------------------------------


def stacked(tables: list[ResistanceTable]) -> ResistanceTable:
    return ResistanceTable(
        **{name: np.stack([vars(table)[name] for table in tables], axis=-1) for name in vars(tables[0])}
    )


@pytest.mark.parametrize("make", [heeled, upright], ids=["heeled", "upright"])
def test_a_table_per_condition(make: Any) -> None:
    """Knots, too, differ from boat to boat."""
    first = make()
    second = replace(first, speed=1.2 * first.speed, coefficients=0.9 * first.coefficients)
    speed, heel = np.array([1.2, 3.3, 0.7]), np.array([0.1, -0.3, 0.4])
    which = (first, second, first)
    together = table_resistance(speed=speed, heel=heel, table=stacked(list(which)))
    for i, table in enumerate(which):
        alone = table_resistance(speed=speed[i], heel=heel[i], table=table)
        assert together[i] == pytest.approx(float(alone), rel=1e-14)


@pytest.mark.parametrize("make", [heeled, upright], ids=["heeled", "upright"])
def test_jax_traces_equal_numpy(make: Any) -> None:
    jax = jax_or_skip()
    table = stacked([make(), make(), make()])
    state = np.array([[1.2, 3.3, 0.7], [0.1, -0.3, 0.4]])

    def resistance(rows: Any) -> Any:
        return table_resistance(speed=rows[0], heel=rows[1], table=table)

    with double_precision(jax):
        traced = jax.jit(resistance)(jax.numpy.asarray(state))
        slope = jax.jacfwd(lambda rows: resistance(rows).sum())(jax.numpy.asarray(state))
    np.testing.assert_allclose(traced, resistance(state), rtol=1e-12)
    expected = jets.dense(resistance(jets.variables(state)), 2, (3,))[1]
    np.testing.assert_allclose(slope, expected, rtol=1e-9, atol=1e-9)


def test_what_is_not_a_number_stays_so_and_leaves_its_neighbours_alone() -> None:
    found = table_resistance(speed=np.array([np.nan, 1.0]), heel=np.array([0.1, 0.0]), table=heeled())
    assert np.isnan(found[0])
    assert found[1] == pytest.approx(RESISTANCE[1, 0], rel=1e-13)


# --- ranges, swings, refusals -------------------------------------------------------------------------------


def test_ranges() -> None:
    assert heeled().speed_range == (0.4, 5.1)
    assert heeled().heel_range == (-HEEL[-1], HEEL[-1])
    assert not heeled().is_upright
    assert upright().is_upright
    assert upright().heel_range == (0.0, 0.0)


def test_a_step_between_rows_swings_beside_it() -> None:
    """Flat rows but for a step to four times as much: the spline overshoots beside it and stays above 0."""
    speed = np.arange(1.0, 9.0)
    step = np.where(speed > 4.5, 4.0, 1.0)
    table = resistance_table(speed=speed, resistance=step * speed**2, boat_displacement=1.0)
    swings = hull_tables.swing_with_speed(table=table)
    assert swings.shape == (7, 1)
    assert np.argmax(swings) in (2, 4)
    assert swings.max() > 0.1
    assert swings[3, 0] == pytest.approx(0.0, abs=1e-12)
    fine = np.linspace(1.0, 8.0, 400)
    assert np.all(table_resistance(speed=fine, heel=0.0, table=table) > 0.0)
    assert hull_tables.swing_with_heel(table=table).shape == (8, 0)


def test_a_step_with_heel_or_displacement_swings_too() -> None:
    step = np.array([1.0, 1.0, 1.0, 4.0, 4.0, 4.0])
    heel = np.radians([0.0, 5.0, 10.0, 15.0, 20.0, 25.0])
    grid = SPEED[:, None] ** 2 * step
    table = resistance_table(speed=SPEED, heel=heel, resistance=grid, boat_displacement=1.0)
    swings = hull_tables.swing_with_heel(table=table)
    assert swings.shape == (len(SPEED), 5)
    assert np.all(np.max(swings, axis=1) > 0.1)
    np.testing.assert_allclose(hull_tables.swing_with_speed(table=table), 0.0, atol=1e-12)
    masses = 1000.0 * np.arange(1.0, 7.0)
    with_mass = hull_tables.swing_with_displacement(displacement=masses, resistance=grid.T)
    assert with_mass.shape == (5, len(SPEED))
    assert np.all(np.max(with_mass, axis=0) > 0.1)


BAD: dict[str, tuple[dict[str, Any], str]] = {
    "order": ({"speed": SPEED[::-1]}, "speeds of a resistance table must rise"),
    "few speeds": ({"speed": [0.0, 1.0, 2.0, 3.0], "resistance": [0.0, 1.0, 4.0, 9.0]}, "at least 4 speeds"),
    "astern": ({"speed": SPEED - 0.5}, "none below"),
    "drag at rest": ({"speed": SPEED - 0.4}, "at rest must be 0"),
    "no drag": ({"resistance": 0.0 * SPEED}, "must be positive"),
    "not finite": ({"resistance": SPEED * np.inf}, "must be positive"),
    "two heels": ({"heel": [0.0, 0.1], "resistance": np.ones((8, 2))}, "at least 3 heels, the first 0"),
    "heels not from 0": ({"heel": HEEL + 0.1, "resistance": RESISTANCE}, "at least 3 heels, the first 0"),
    "one displacement": ({"displacement": [900.0]}, "at least 2, above 0"),
}


@pytest.mark.parametrize(("change", "message"), BAD.values(), ids=BAD.keys())
def test_what_makes_no_table_is_refused(change: dict[str, Any], message: str) -> None:
    good: dict[str, Any] = {"speed": SPEED, "resistance": RESISTANCE[:, 0], "boat_displacement": 900.0}
    with pytest.raises(ValueError, match=message):
        resistance_table(**{**good, **change})
