"""ISO 2533:1975, Standard Atmosphere: air at sea level."""

import pytest

from vpp.physics import fluids


def test_air_at_sea_level() -> None:
    air = fluids.air(temperature_c=15.0)
    assert air.density == pytest.approx(1.2250, rel=1e-5)
    assert air.kinematic_viscosity == pytest.approx(1.4607e-5, rel=1e-4)
