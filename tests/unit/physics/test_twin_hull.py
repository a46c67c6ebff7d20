"""Two hulls abreast: limits of spacing and of volume, derivatives, and the tables of either kind of hull."""

import dataclasses
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.support.with_jax import double_precision, jax_or_skip
from vpp.physics import hull_form, twin_hull
from vpp.physics.section_shape import SectionShape
from vpp.solver import jets

FloatArray = NDArray[np.float64]

LENGTH = 8.0
FORM = {
    "waterline_length": LENGTH,
    "waterline_beam": 0.8,
    "canoe_draught": 0.5,
    "waterline_exponent": 2.0,
    "section_exponent": 2.0,
}
DRAWN = hull_form.drawn_volume(**FORM)
FROUDE = np.concatenate((np.arange(0.03, 0.6, 0.013), np.arange(0.6, 2.9, 0.1)))


def twin(table: twin_hull.TwinWaveTable, leeward: Any, windward: Any, froude: Any = FROUDE) -> Any:
    return twin_hull.twin_wave_resistance(
        froude_number=froude,
        volume_leeward=leeward,
        volume_windward=windward,
        drawn_volume=DRAWN,
        waterline_length=LENGTH,
        table=table,
        water_density=1025.0,
        gravity=9.81,
    )


def single(volume: float) -> FloatArray:
    return hull_form.wave_resistance(
        froude_number=FROUDE,
        volume=volume,
        drawn_volume=DRAWN,
        waterline_length=LENGTH,
        table=hull_form.wave_table(**FORM),
        water_density=1025.0,
        gravity=9.81,
    )


def given_hull() -> SectionShape:
    """The same hull by its sections."""
    x, z = np.linspace(-0.5, 0.5, 41), np.linspace(-1.0, 0.0, 21)
    half = 0.4 * (1.0 - 4.0 * x**2)[:, None] * (1.0 - z**2)
    outlines = ((*zip(row.tolist(), (0.5 * z).tolist(), strict=True), (float(row[-1]), 1.0)) for row in half)
    return SectionShape(station_x=tuple(LENGTH * x), outlines=tuple(outlines))


def test_far_apart_each_hull_is_by_itself() -> None:
    table = twin_hull.twin_wave_table(spacing=8.0 * LENGTH, **FORM)
    alone = single(0.7 * DRAWN)
    assert twin(table, 0.7 * DRAWN, 0.7 * DRAWN) == pytest.approx(2.0 * alone, rel=2e-3)


def test_in_one_place_they_are_one_hull_of_twice_the_breadth() -> None:
    """Thin-ship resistance goes with the square of breadth: four times one hull."""
    table = twin_hull.twin_wave_table(spacing=0.0, **FORM)
    assert twin(table, DRAWN, DRAWN) == pytest.approx(4.0 * single(DRAWN), rel=1e-6)


def test_a_hull_out_of_the_water_leaves_the_other_by_itself() -> None:
    table = twin_hull.twin_wave_table(spacing=0.3 * LENGTH, **FORM)
    alone = single(1.4 * DRAWN)
    assert twin(table, 1.4 * DRAWN, 0.0) == pytest.approx(alone, rel=1e-9)
    assert twin(table, 0.0, 1.4 * DRAWN) == pytest.approx(alone, rel=1e-9)


def test_hulls_may_change_places() -> None:
    table = twin_hull.twin_wave_table(spacing=0.3 * LENGTH, **FORM)
    assert twin(table, 1.4 * DRAWN, 0.6 * DRAWN) == pytest.approx(twin(table, 0.6 * DRAWN, 1.4 * DRAWN))


@pytest.mark.parametrize("spacing_share", [0.05, 0.15, 0.25, 0.35, 0.6])
def test_waves_always_take_energy(spacing_share: float) -> None:
    """At any speed and volumes: the two hulls' waves never cancel altogether (the energy of their sum)."""
    table = twin_hull.twin_wave_table(spacing=spacing_share * LENGTH, **FORM)
    for leeward, windward in ((1.0, 1.0), (1.3, 0.7), (1.7, 0.3), (2.0, 0.05), (0.3, 0.2)):
        assert np.all(twin(table, leeward * DRAWN, windward * DRAWN) > 0.0)


def test_resistance_of_a_hull_by_itself_is_that_of_the_single_table() -> None:
    """More directions are summed for two hulls, to the same integral."""
    own = twin_hull.twin_wave_table(spacing=2.0, **FORM).own
    alone = hull_form.wave_table(**FORM)
    scale = np.max(np.abs(alone.coefficients))
    assert own.coefficients == pytest.approx(alone.coefficients, abs=1e-6 * scale)


@pytest.mark.parametrize("spacing_share", [0.15, 0.3])
def test_hull_by_its_sections_has_the_interference_of_its_family(spacing_share: float) -> None:
    """Straight lines between 41 stations and 21 points take 0.3 % off the waves; the two tables, made at
    different volumes, are each within 1 % of the curve's maximum of the integral.
    """
    family = twin_hull.twin_wave_table(spacing=spacing_share * LENGTH, **FORM)
    given = twin_hull.twin_section_wave_table(
        spacing=spacing_share * LENGTH, shape=given_hull(), waterline_length=LENGTH
    )
    for leeward, windward in ((1.0, 1.0), (1.5, 0.5)):
        expected = twin(family, leeward * DRAWN, windward * DRAWN)
        found = twin(given, leeward * DRAWN, windward * DRAWN)
        assert found[FROUDE > 0.25] == pytest.approx(expected[FROUDE > 0.25], rel=0.015)
        assert found == pytest.approx(expected, abs=0.01 * np.max(expected))


def test_derivatives_agree_with_differences() -> None:
    table = twin_hull.twin_wave_table(spacing=0.3 * LENGTH, **FORM)
    x = np.array([[0.18, 0.33, 0.5, 0.9, 0.4], [1.0, 1.4, 0.2, 1.9, 0.8], [1.0, 0.6, 1.7, 0.02, 0.0]])

    def resistance(at: FloatArray) -> object:
        froude, leeward, windward = jets.variables(at)
        return twin(table, leeward * DRAWN, windward * DRAWN, froude)

    value, gradient, hessian = jets.dense(resistance(x), 3, (5,))
    assert value == pytest.approx(twin(table, x[1] * DRAWN, x[2] * DRAWN, x[0]), rel=1e-12)
    scale = np.max(np.abs(value))
    h = 1e-6
    for i in range(3):
        d = h * np.eye(3)[i][:, None]
        ahead, behind = (jets.dense_gradient(resistance(x + s), 3, (5,)) for s in (d, -d))
        assert gradient[i] == pytest.approx((ahead[0] - behind[0]) / (2.0 * h), rel=1e-5, abs=1e-7 * scale)
        assert hessian[i] == pytest.approx((ahead[1] - behind[1]) / (2.0 * h), rel=1e-4, abs=1e-4 * scale)


def test_derivatives_are_finite_with_both_hulls_clear() -> None:
    table = twin_hull.twin_wave_table(spacing=0.3 * LENGTH, **FORM)
    froude, leeward, windward = jets.variables(np.array([[0.5], [0.0], [0.0]]))
    value, gradient, hessian = jets.dense(twin(table, leeward, windward, froude), 3, (1,))
    assert not np.any(value)
    assert not np.any(gradient)
    assert np.all(np.isfinite(hessian))


def test_same_numbers_in_jax() -> None:
    jax = jax_or_skip()
    table = twin_hull.twin_wave_table(spacing=0.3 * LENGTH, **FORM)
    x = np.array([[0.2, 0.5], [1.2 * DRAWN, 0.8 * DRAWN], [0.8 * DRAWN, 0.0]])
    with double_precision(jax):
        froude, leeward, windward = (jax.numpy.asarray(row) for row in x)
        found = np.asarray(twin(table, leeward, windward, froude))
    assert found == pytest.approx(twin(table, x[1], x[2], x[0]), rel=1e-10)


def test_tables_stack_over_boats() -> None:
    """Each of the two as a single hull's does."""
    tables = [twin_hull.twin_wave_table(spacing=s * LENGTH, **FORM) for s in (0.2, 0.4)]

    def stacked(name: str) -> hull_form.WaveTable:
        parts = [getattr(table, name) for table in tables]
        coefficients = np.stack([part.coefficients for part in parts], axis=-1)
        return dataclasses.replace(parts[0], coefficients=coefficients, hull=np.array([1, 0]))

    both = twin_hull.TwinWaveTable(own=stacked("own"), added=stacked("added"))
    volume, froude = np.array([DRAWN, DRAWN]), np.array([0.35, 0.45])
    found = twin(both, volume, 0.5 * volume, froude)
    for i, table in enumerate(reversed(tables)):
        expected = twin(table, volume, 0.5 * volume, froude)[i]
        assert found[i] == pytest.approx(expected, rel=1e-12)


def test_negative_spacing_is_refused() -> None:
    with pytest.raises(ValueError, match="spacing"):
        twin_hull.twin_wave_table(spacing=-1.0, **FORM)
    with pytest.raises(ValueError, match="spacing"):
        twin_hull.twin_section_wave_table(spacing=-1.0, shape=given_hull(), waterline_length=LENGTH)


@pytest.mark.parametrize("change", [{"section_exponent": 1.2}, {"canoe_draught": 0.0}])
def test_unusable_form_is_refused(change: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"exponents|positive"):
        twin_hull.twin_wave_table(spacing=2.0, **(FORM | change))
