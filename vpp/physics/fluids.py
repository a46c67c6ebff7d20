"""Properties of sea water, fresh water and air, as single numbers for one temperature.

They are evaluated once, when a boat is built, and therefore take and return plain floats.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

WATER_TEMPERATURE_RANGE_C = (0.0, 30.0)
AIR_TEMPERATURE_RANGE_C = (-20.0, 45.0)
# From the pressure of the highest lakes to that of the deepest shores in fine weather.
AIR_PRESSURE_RANGE = (50e3, 110e3)
ALTITUDE_RANGE = (-500.0, 5000.0)

# Absolute salinity of the reference sea water of TEOS-10, and the practical salinity that it corresponds to.
REFERENCE_SALINITY = 35.16504e-3
PRACTICAL_SALINITY = 35.0

STANDARD_PRESSURE = 101325.0
_ZERO_CELSIUS = 273.15
_AIR_GAS_CONSTANT = 287.05287
_STANDARD_TEMPERATURE = 288.15
_STANDARD_GRAVITY = 9.80665
_LAPSE_RATE = 6.5e-3
_EARTH_RADIUS = 6356766.0


@dataclass(frozen=True, kw_only=True)
class Water:
    """Density [kg/m^3], kinematic viscosity [m^2/s] and saturation vapour pressure [Pa] of a water."""

    density: float
    kinematic_viscosity: float
    vapour_pressure: float


@dataclass(frozen=True, kw_only=True)
class Air:
    """Density [kg/m^3] and kinematic viscosity [m^2/s] of dry air."""

    density: float
    kinematic_viscosity: float


def sea_water(*, temperature_c: float) -> Water:
    """Properties of standard sea water (35.165 g of salt per kg) at the surface.

    Density: one-atmosphere equation of state EOS-80 (F. J. Millero, A. Poisson, Deep-Sea Research 28A,
    1981, 625-629, DOI 10.1016/0198-0149(81)90122-9). Viscosity and vapour pressure: M. H. Sharqawy, J. H.
    Lienhard, S. M. Zubair, Desalination and Water Treatment 16, 2010, 354-380, DOI 10.5004/dwt.2010.1079.
    Valid from 0 to 30 degC.

    Raises ValueError outside that range.
    """
    _require_range(what="water", temperature_c=temperature_c, allowed=WATER_TEMPERATURE_RANGE_C)
    density = _sea_water_density(temperature_c=temperature_c)
    return Water(
        density=density,
        kinematic_viscosity=_sea_water_viscosity(temperature_c=temperature_c) / density,
        vapour_pressure=_sea_water_vapour_pressure(temperature_c=temperature_c),
    )


def fresh_water(*, temperature_c: float) -> Water:
    """Properties of pure water at one atmosphere.

    Density: M. Tanaka et al., Metrologia 38, 2001, 301-309, DOI 10.1088/0026-1394/38/4/3. Viscosity:
    Sharqawy et al. 2010 as in `sea_water`. Vapour pressure: W. Wagner, A. Pruss, J. Phys. Chem. Ref. Data
    22, 1993, 783-787, DOI 10.1063/1.555926. Valid from 0 to 30 degC.

    Raises ValueError outside that range.
    """
    _require_range(what="water", temperature_c=temperature_c, allowed=WATER_TEMPERATURE_RANGE_C)
    density = _fresh_water_density(temperature_c=temperature_c)
    return Water(
        density=density,
        kinematic_viscosity=_fresh_water_viscosity(temperature_c=temperature_c) / density,
        vapour_pressure=_fresh_water_vapour_pressure(temperature_c=temperature_c),
    )


def air(*, temperature_c: float, pressure: float = STANDARD_PRESSURE) -> Air:
    """Properties of dry air, an ideal gas with Sutherland's viscosity (ISO 2533:1975).

    `pressure` is absolute [Pa], by `air_pressure_at` for a lake in the mountains. Valid from -20 to 45 degC
    and from 50 to 110 kPa, where the law of ideal gases is within 0.2 %. Vapour lowers the density by 0.378
    times its share of the pressure: saturated 1.6 % at 30 degC and 3.6 % at 45 degC at sea level.

    Raises ValueError outside those ranges.
    """
    _require_range(what="air", temperature_c=temperature_c, allowed=AIR_TEMPERATURE_RANGE_C)
    low, high = AIR_PRESSURE_RANGE
    if not low <= pressure <= high:
        raise ValueError(f"The air pressure of {pressure:g} Pa lies outside {low:.0f} to {high:.0f} Pa.")
    temperature = temperature_c + _ZERO_CELSIUS
    density = pressure / (_AIR_GAS_CONSTANT * temperature)
    viscosity = 1.458e-6 * math.pow(temperature, 1.5) / (temperature + 110.4)
    return Air(density=density, kinematic_viscosity=viscosity / density)


def air_pressure_at(*, altitude: float) -> float:
    """Pressure [Pa] of the standard atmosphere at a height above sea level [m]: ISO 2533:1975.

    101325 (1 - 0.0065 H/288.15)^5.25588 with the geopotential height H = r h/(r + h), r = 6356766 m. Valid
    from -500 to 5000 m. Weather moves it by 3 %, and a warm column of air raises it: at 2000 m by 2 % for
    25 K.

    Raises ValueError outside that range.
    """
    low, high = ALTITUDE_RANGE
    if not low <= altitude <= high:
        raise ValueError(
            f"The altitude of {altitude:g} m lies outside {low:g} to {high:g} m; give it in metres above sea "
            "level."
        )
    height = _EARTH_RADIUS * altitude / (_EARTH_RADIUS + altitude)
    exponent = _STANDARD_GRAVITY / (_AIR_GAS_CONSTANT * _LAPSE_RATE)
    return STANDARD_PRESSURE * math.pow(1.0 - _LAPSE_RATE * height / _STANDARD_TEMPERATURE, exponent)


def _require_range(*, what: str, temperature_c: float, allowed: tuple[float, float]) -> None:
    low, high = allowed
    if not low <= temperature_c <= high:
        raise ValueError(
            f"The {what} temperature of {temperature_c:g} degC lies outside {low:g} to {high:g} degC; "
            "give it in degrees Celsius within that range."
        )


def _sea_water_density(*, temperature_c: float) -> float:
    s = PRACTICAL_SALINITY
    t = 1.00024 * temperature_c  # the equation was fitted on the temperature scale of 1968
    pure = _polynomial(t, 999.842594, 6.793952e-2, -9.095290e-3, 1.001685e-4, -1.120083e-6, 6.536332e-9)
    a = _polynomial(t, 8.24493e-1, -4.0899e-3, 7.6438e-5, -8.2467e-7, 5.3875e-9)
    b = _polynomial(t, -5.72466e-3, 1.0227e-4, -1.6546e-6)
    c = 4.8314e-4
    return pure + a * s + b * math.pow(s, 1.5) + c * s**2


def _fresh_water_density(*, temperature_c: float) -> float:
    t = temperature_c
    fall = (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881))
    return 999.974950 * (1.0 - fall)


def _fresh_water_viscosity(*, temperature_c: float) -> float:
    """Dynamic viscosity [Pa s]."""
    return 4.2844e-5 + 1.0 / (0.157 * (temperature_c + 64.993) ** 2 - 91.296)


def _sea_water_viscosity(*, temperature_c: float) -> float:
    """Dynamic viscosity [Pa s]."""
    s = REFERENCE_SALINITY
    a = _polynomial(temperature_c, 1.541, 1.998e-2, -9.52e-5)
    b = _polynomial(temperature_c, 7.974, -7.561e-2, 4.724e-4)
    return _fresh_water_viscosity(temperature_c=temperature_c) * (1.0 + a * s + b * s**2)


def _fresh_water_vapour_pressure(*, temperature_c: float) -> float:
    critical_temperature, critical_pressure = 647.096, 22.064e6
    temperature = temperature_c + _ZERO_CELSIUS
    tau = 1.0 - temperature / critical_temperature
    terms = (
        (-7.85951783, 1.0),
        (1.84408259, 1.5),
        (-11.7866497, 3.0),
        (22.6807411, 3.5),
        (-15.9618719, 4.0),
        (1.80122502, 7.5),
    )
    exponent = math.fsum(factor * math.pow(tau, power) for factor, power in terms)
    return critical_pressure * math.exp(critical_temperature / temperature * exponent)


def _sea_water_vapour_pressure(*, temperature_c: float) -> float:
    salt_per_water = REFERENCE_SALINITY / (1.0 - REFERENCE_SALINITY)
    return _fresh_water_vapour_pressure(temperature_c=temperature_c) / (1.0 + 0.57357 * salt_per_water)


def _polynomial(x: float, *ascending: float) -> float:
    total = 0.0
    for coefficient in reversed(ascending):
        total = total * x + coefficient
    return total
