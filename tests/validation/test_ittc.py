"""Recommended procedures of the International Towing Tank Conference."""

import pytest

from vpp.physics import fluids, hull


@pytest.mark.parametrize(("reynolds", "expected"), [(1e6, 4.68750e-3), (1e7, 3.0e-3), (1e9, 1.53061e-3)])
def test_friction_line_of_1957(reynolds: float, expected: float) -> None:
    """ITTC 7.5-02-02-01."""
    assert hull.friction_coefficient(reynolds=reynolds) == pytest.approx(expected, rel=2e-6)


def test_sea_water_at_15_degc() -> None:
    """ITTC 7.5-02-01-03. Its density is that of ten metres depth, see the tests of `fluids`."""
    water = fluids.sea_water(temperature_c=15.0)
    assert water.density == pytest.approx(1026.021, rel=1e-4)
    assert water.kinematic_viscosity == pytest.approx(1.1892e-6, rel=2e-3)
    assert water.vapour_pressure == pytest.approx(1670.9, rel=1e-2)


def test_fresh_water_at_15_degc() -> None:
    """ITTC 7.5-02-01-03."""
    water = fluids.fresh_water(temperature_c=15.0)
    assert water.density == pytest.approx(999.1026, rel=1e-6)
    assert water.kinematic_viscosity == pytest.approx(1.1386e-6, rel=2e-3)
    assert water.vapour_pressure == pytest.approx(1705.8, rel=1e-2)
