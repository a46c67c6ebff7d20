"""The unit that a key carries at its end, and what turns it into SI units and radians."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Unit:
    """`symbol` is what people read, `name` stands in sentences, `to_si` gives SI units or radians."""

    symbol: str
    name: str
    to_si: Callable[[float], float] = float


def _share(percent: float) -> float:
    return percent / 100.0


def _seconds(minutes: float) -> float:
    return 60.0 * minutes


def _from_mm(millimetres: float) -> float:
    return millimetres / 1000.0


def _from_km(kilometres: float) -> float:
    return 1000.0 * kilometres


def _from_nm(nautical_miles: float) -> float:
    return 1852.0 * nautical_miles


def _from_kn(knots: float) -> float:
    return knots * 1852.0 / 3600.0


UNITS = {
    "kg_per_m2": Unit("kg/m²", "kilograms a square metre"),
    "kg_per_m": Unit("kg/m", "kilograms a metre"),
    "m3": Unit("m³", "cubic metres"),
    "m2": Unit("m²", "square metres"),
    "m": Unit("m", "metres"),
    "mm": Unit("mm", "millimetres", _from_mm),
    "km": Unit("km", "kilometres", _from_km),
    "nm": Unit("nm", "nautical miles", _from_nm),
    "kn": Unit("kn", "knots", _from_kn),
    "kg": Unit("kg", "kilograms"),
    "deg": Unit("deg", "degrees", math.radians),
    "percent": Unit("%", "per cent", _share),
    "s": Unit("s", "seconds"),
    "minutes": Unit("min", "minutes", _seconds),
    "w": Unit("W", "watts"),
    # temperatures are handed on in degrees Celsius, which is what the fluid properties take
    "c": Unit("°C", "degrees Celsius"),
}

PURE_NUMBER = Unit("", "a pure number")

# Endings that no key takes, but that people who think in another unit may write.
FOREIGN_ENDINGS = (
    "ft", "feet", "in", "inch", "yd", "cm", "dm",
    "ft2", "sqft", "sqm", "cm2", "mm2", "ft3", "l", "litres",
    "lb", "lbs", "g", "t", "tonnes", "lb_per_ft", "g_per_m2", "lb_per_ft2", "oz",
    "rad", "degrees", "f", "k", "share", "ratio", "pct", "mps", "ms",
)  # fmt: skip


def ending_of(key: str) -> str | None:
    """The unit ending of a key, such as `kg_per_m` of `mast_mass_per_length_kg_per_m`; None without one."""
    return next((ending for ending in UNITS if key.endswith("_" + ending)), None)


def unit_of(key: str) -> Unit:
    """The unit of a key. A key without a unit ending holds a text or a pure number."""
    ending = ending_of(key)
    return PURE_NUMBER if ending is None else UNITS[ending]


def stems_of(key: str) -> set[str]:
    """What a key may name once a unit, right or wrong, is taken off its end; the key itself too."""
    endings = (*UNITS, *FOREIGN_ENDINGS)
    return {key, *(key.removesuffix("_" + ending) for ending in endings)}
