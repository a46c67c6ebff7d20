"""Motions of a hull in regular head waves and what they cost."""

import math

import numpy as np
import pytest

from vpp.physics import ship_motions
from vpp.physics.ship_motions import PitchingHull


def yacht(**changes: float) -> PitchingHull:
    values = {
        "waterline_length": 8.6,
        "waterline_beam": 2.7,
        "canoe_draught": 0.645,
        "volume": 5.4,
        "prismatic_coefficient": 0.56,
        "pitch_gyradius": 2.15,
    }
    return PitchingHull(**values | changes)


@pytest.mark.parametrize(
    ("beam_draught_ratio", "area_coefficient"), [(2.0, math.pi / 4.0), (4.19, 0.64), (8.0, 0.7), (1.2, 0.9)]
)
def test_lewis_form_has_the_beam_draught_and_area_asked_for(
    beam_draught_ratio: float, area_coefficient: float
) -> None:
    """Area by the trapezium rule along the mapped contour (geometry)."""
    a1, a3 = ship_motions.lewis_coefficients(
        beam_draught_ratio=beam_draught_ratio, area_coefficient=area_coefficient
    )
    w = np.exp(1j * np.linspace(-math.pi, 0.0, 20001))
    z = w + a1 / w + a3 / w**3
    beam, draught = 2.0 * z.real.max(), -z.imag.min()
    assert beam / draught == pytest.approx(beam_draught_ratio, rel=1e-6)
    area = -np.trapezoid(z.imag, z.real)
    assert area / (beam * draught) == pytest.approx(area_coefficient, rel=1e-6)


def test_hull_has_the_volume_asked_for() -> None:
    """Integral of the section areas along the hull (geometry)."""
    hull = yacht()
    x = np.linspace(-1.0, 1.0, 20001)
    taper = (1.0 - np.abs(x) ** hull.waterline_exponent) ** 2
    assert np.trapezoid(taper, x) / 2.0 == pytest.approx(0.56, rel=1e-6)
    section = hull.section_area * hull.waterline_beam * hull.canoe_draught
    assert section * hull.waterline_length * 0.56 == pytest.approx(5.4)


def test_prismatic_coefficient_of_parabolas() -> None:
    """The mean of (1 - x^2)^2 is 8/15."""
    assert yacht(prismatic_coefficient=8.0 / 15.0).waterline_exponent == pytest.approx(2.0, rel=1e-12)


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"volume": 0.0}, "volume of a pitching hull must be positive"),
        ({"pitch_gyradius": math.nan}, "pitch gyradius of a pitching hull must be positive"),
        ({"prismatic_coefficient": 0.95}, "outside 0.4 to 0.9"),
        ({"volume": 2.0}, "is no Lewis form"),
        ({"volume": 15.0}, "is no Lewis form"),
    ],
)
def test_hull_that_does_not_exist_is_refused(changes: dict[str, float], reason: str) -> None:
    with pytest.raises(ValueError, match=reason):
        yacht(**changes)


def test_hull_follows_long_waves() -> None:
    """Waves without end in length: heave is that of the surface and pitch its slope (hydrostatics)."""
    heave, pitch = ship_motions.head_wave_motions(hull=yacht(), froude_number=[0.0, 0.2], frequency=[0.5])
    np.testing.assert_allclose(np.abs(heave), 1.0, atol=0.01)
    np.testing.assert_allclose(np.abs(pitch), 1.0, atol=0.03)
    # bow up on the face of a wave from ahead: a quarter of a period before the crest
    np.testing.assert_allclose(np.angle(heave), 0.0, atol=0.05)
    np.testing.assert_allclose(np.angle(pitch), math.pi / 2.0, atol=0.05)


def test_hull_does_not_move_in_short_waves() -> None:
    heave, pitch = ship_motions.head_wave_motions(hull=yacht(), froude_number=[0.0, 0.35], frequency=[6.0])
    assert np.abs(heave).max() < 0.005
    assert np.abs(pitch).max() < 0.005


def test_added_resistance_fades_towards_long_and_short_waves() -> None:
    response = ship_motions.head_wave_resistance(
        hull=yacht(), froude_number=[0.2, 0.35, 0.5], frequency=np.geomspace(0.8, 8.0, 40)
    )
    peak = response.max(axis=1)
    assert np.all(np.abs(response[:, 0]) < 0.01 * peak)
    assert np.all(response[:, -1] < 0.05 * peak)
    assert response.min() > -0.01 * peak.max()


def test_peak_moves_to_longer_waves_with_speed() -> None:
    """The hull meets the waves of its own pitch period further ahead of resonance (common practice)."""
    frequency = np.geomspace(1.0, 4.0, 200)
    response = ship_motions.head_wave_resistance(
        hull=yacht(), froude_number=[0.2, 0.3, 0.4, 0.5], frequency=frequency
    )
    assert np.all(np.diff(frequency[response.argmax(axis=1)]) < 0.0)


def test_weight_in_the_ends_costs_in_waves_that_make_the_hull_pitch() -> None:
    light, heavy = (
        ship_motions.head_wave_resistance(
            hull=yacht(pitch_gyradius=share * 8.6), froude_number=[0.33], frequency=[1.6, 1.8, 2.0]
        )
        for share in (0.23, 0.27)
    )
    assert np.all(heavy > 1.1 * light)


def test_size_does_not_matter_at_one_froude_number() -> None:
    """Froude's law of similarity."""
    twice = yacht(
        waterline_length=17.2, waterline_beam=5.4, canoe_draught=1.29, volume=43.2, pitch_gyradius=4.3
    )
    small, large = (
        ship_motions.head_wave_resistance(hull=hull, froude_number=[0.3], frequency=[1.5, 2.2, 3.0])
        for hull in (yacht(), twice)
    )
    np.testing.assert_allclose(small, large, rtol=1e-9)


def test_number_of_strips_is_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    frequency = np.geomspace(1.0, 5.0, 30)
    coarse = ship_motions.head_wave_resistance(hull=yacht(), froude_number=[0.2, 0.4], frequency=frequency)
    monkeypatch.setattr(ship_motions, "_STATIONS", 241)
    monkeypatch.setattr(ship_motions, "_NUMBERS", 240)
    fine = ship_motions.head_wave_resistance(hull=yacht(), froude_number=[0.2, 0.4], frequency=frequency)
    assert np.abs(coarse - fine).max() < 0.01 * fine.max()


@pytest.mark.parametrize("number", [0.0, 15.1, math.nan])
def test_section_outside_its_range_is_refused(number: float) -> None:
    with pytest.raises(ValueError, match="frequency numbers above 0 and up to 15"):
        ship_motions.heaving_section(frequency_number=number, beam_draught_ratio=2.0, area_coefficient=0.785)
