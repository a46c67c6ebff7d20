"""Water and air against reference libraries and published check values."""

import numpy as np
import pytest

from vpp.physics import fluids

TEMPERATURES = (0.0, 4.0, 10.0, 15.0, 22.5, 30.0)


@pytest.mark.parametrize(("temperature_1968_c", "density"), [(5.0, 1027.67547), (25.0, 1023.34306)])
def test_sea_water_density_reproduces_the_check_values_of_its_equation(
    temperature_1968_c: float, density: float
) -> None:
    """N. P. Fofonoff, R. C. Millard, UNESCO Technical Papers in Marine Science 44, 1983, p. 19 (from
    memory).
    """
    water = fluids.sea_water(temperature_c=temperature_1968_c / 1.00024)
    assert water.density == pytest.approx(density, abs=1e-5)


def test_sea_water_density_agrees_with_teos_10() -> None:
    gsw = pytest.importorskip("gsw", reason="needs the reference library gsw")
    salinity = 35.16504
    for temperature in TEMPERATURES:
        expected = gsw.rho_t_exact(salinity, temperature, 0.0)
        assert fluids.sea_water(temperature_c=temperature).density == pytest.approx(expected, abs=0.01)


def test_the_density_in_the_ittc_table_is_that_of_ten_metres_depth() -> None:
    """Why ours lies 0.049 kg/m^3 below ITTC 7.5-02-01-03: the table took 101325 Pa for the pressure of
    the sea alone.
    """
    gsw = pytest.importorskip("gsw", reason="needs the reference library gsw")
    assert gsw.rho_t_exact(35.16504, 15.0, 10.1325) == pytest.approx(1026.0210, abs=1e-4)


def test_fresh_water_agrees_with_iapws() -> None:
    iapws = pytest.importorskip("iapws", reason="needs the reference library iapws")
    for temperature in TEMPERATURES[1:]:
        expected = iapws.IAPWS95(T=temperature + 273.15, P=0.101325)
        saturated = iapws.IAPWS95(T=temperature + 273.15, x=0.0)
        water = fluids.fresh_water(temperature_c=temperature)
        assert water.density == pytest.approx(expected.rho, rel=1e-5)
        assert water.kinematic_viscosity == pytest.approx(expected.nu, rel=2e-3)
        assert water.vapour_pressure == pytest.approx(saturated.P * 1e6, rel=1e-4)


def test_air_agrees_with_the_standard_atmosphere() -> None:
    """U.S. Standard Atmosphere 1976, identical with ISO 2533 at these heights."""
    atmosphere = pytest.importorskip("fluids", reason="needs the reference library fluids").ATMOSPHERE_1976
    for height in (-500.0, 0.0, 500.0, 1500.0, 2000.0, 5000.0):
        expected = atmosphere(height)
        assert fluids.air_pressure_at(altitude=height) == pytest.approx(expected.P, rel=1e-5)
        air = fluids.air(temperature_c=expected.T - 273.15, pressure=expected.P)
        assert air.density == pytest.approx(expected.rho, rel=1e-5)
        assert air.kinematic_viscosity == pytest.approx(expected.mu / expected.rho, rel=1e-4)


def test_sea_water_is_heavier_and_more_viscous_and_boils_later_than_fresh() -> None:
    for temperature in TEMPERATURES:
        sea, fresh = (
            fluids.sea_water(temperature_c=temperature),
            fluids.fresh_water(temperature_c=temperature),
        )
        assert sea.density > fresh.density
        assert sea.kinematic_viscosity > fresh.kinematic_viscosity
        assert sea.vapour_pressure < fresh.vapour_pressure


def test_viscosity_falls_smoothly_with_temperature() -> None:
    temperatures = np.linspace(0.0, 30.0, 301)
    viscosity = np.array([fluids.sea_water(temperature_c=float(t)).kinematic_viscosity for t in temperatures])
    assert np.all(np.diff(viscosity) < 0.0)
    assert np.all(np.diff(viscosity, n=2) > 0.0)


@pytest.mark.parametrize("temperature", [-0.1, 30.1, float("nan")])
def test_water_outside_its_range_is_refused_with_the_range(temperature: float) -> None:
    with pytest.raises(ValueError, match="lies outside 0 to 30 degC"):
        fluids.sea_water(temperature_c=temperature)
    with pytest.raises(ValueError, match="lies outside 0 to 30 degC"):
        fluids.fresh_water(temperature_c=temperature)


def test_air_outside_its_range_is_refused() -> None:
    with pytest.raises(ValueError, match="lies outside -20 to 45 degC"):
        fluids.air(temperature_c=288.15)
    with pytest.raises(ValueError, match="50000 to 110000 Pa"):
        fluids.air(temperature_c=15.0, pressure=1013.25)


@pytest.mark.parametrize("altitude", [-501.0, 5001.0, float("nan")])
def test_altitude_outside_its_range_is_refused_with_the_range(altitude: float) -> None:
    with pytest.raises(ValueError, match="lies outside -500 to 5000 m"):
        fluids.air_pressure_at(altitude=altitude)


def test_pressure_at_every_allowed_altitude_is_one_that_air_accepts() -> None:
    for altitude in fluids.ALTITUDE_RANGE:
        pressure = fluids.air_pressure_at(altitude=altitude)
        density = fluids.air(temperature_c=15.0, pressure=pressure).density
        # an ideal gas of one temperature: density goes with pressure (Boyle)
        assert density == pytest.approx(1.2250 * pressure / 101325.0, rel=1e-5)
