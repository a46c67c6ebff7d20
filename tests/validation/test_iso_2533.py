"""ISO 2533:1975, Standard Atmosphere: air at sea level, and pressure aloft."""

import pytest

from vpp.physics import fluids


def test_air_at_sea_level() -> None:
    air = fluids.air(temperature_c=15.0)
    assert air.density == pytest.approx(1.2250, rel=1e-5)
    assert air.kinematic_viscosity == pytest.approx(1.4607e-5, rel=1e-4)


@pytest.mark.parametrize(
    ("altitude", "pressure"),
    [(-500.0, 107478.0), (0.0, 101325.0), (1000.0, 89876.3), (2000.0, 79501.4), (5000.0, 54048.3)],
)
def test_pressure_at_altitude(altitude: float, pressure: float) -> None:
    """The standard's table over geometric altitude (from memory)."""
    assert fluids.air_pressure_at(altitude=altitude) == pytest.approx(pressure, rel=2e-6)
