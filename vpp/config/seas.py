"""The sea that a command asks for in place of the boat file's."""

from __future__ import annotations

import math

from vpp.boat import Sea
from vpp.config.errors import BoatFileError, Problem
from vpp.config.schema import SeaTable, properties_of
from vpp.config.text import allowed_text
from vpp.config.units import unit_of

FLAT, GIVEN, WIND_SEA = "flat", "given", "wind_sea"
_FETCH = "fetch"
_HOW = "write flat, HEIGHT:PERIOD in m and s as in 0.5:3, or fetch:KM as in fetch:20"


def sea_of(text: str) -> Sea:
    """The sea that a text describes: `flat`, `HEIGHT:PERIOD` [m, s] or `fetch:KM`.

    Raises BoatFileError with everything that is wrong with it.
    """
    first, colon, second = text.strip().partition(":")
    if first == FLAT and not colon:
        return Sea()
    if first == _FETCH:
        fetch = _value("fetch_km", second, text)
        return Sea(model=WIND_SEA, fetch=unit_of("fetch_km").to_si(fetch))
    if not colon:
        raise BoatFileError([_problem(text, "is no sea")])
    height = _value("significant_height_m", first, text)
    return Sea(model=GIVEN, significant_height=height, peak_period=_value("peak_period_s", second, text))


def _value(key: str, text: str, whole: str) -> float:
    entry = properties_of(SeaTable)[key]
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not entry["minimum"] <= value <= entry["maximum"]:
        wrong = f"{entry['description']}: {text!r} is not in its range"
        raise BoatFileError(
            [
                Problem(
                    file="",
                    key="sea",
                    given=repr(whole),
                    wrong=wrong,
                    allowed=allowed_text(key, entry),
                    hint=_HOW,
                )
            ]
        )
    return value


def _problem(text: str, wrong: str, allowed: str = "") -> Problem:
    return Problem(file="", key="sea", given=repr(text), wrong=wrong, allowed=allowed, hint=_HOW)
