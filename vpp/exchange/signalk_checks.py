"""What the published schema of Signal K lets pass though it makes a polar wrong: units, signs, numbers that
are none, names that lead nowhere.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

import pandas as pd

from vpp.exchange.signalk import polar_id
from vpp.exchange.table import PolarTable
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import DOWNWIND, SPEED, UPWIND

STRONGEST_WIND = 40.0 * KNOT
"""The strongest wind of a polar here, m/s; a number above it is more likely one in knots."""

# The last digits of numbers in a document: 5 decimals of m/s and 6 of radians.
_SPEED_ROUNDING, _ANGLE_ROUNDING = 1e-5, 1e-6
_ALIKE = 1e-3


def problems(document: Mapping[str, Any]) -> tuple[str, ...]:
    """A sentence for all that is wrong with the polars of a document in itself; empty where nothing is.

    Speeds all in knots look like speeds in m/s unless the wind is above `STRONGEST_WIND`: `differences` with
    the table that they came from tells.
    """
    return tuple(_document_problems(document))


def differences(document: Mapping[str, Any], table: PolarTable) -> tuple[str, ...]:
    """A sentence for each way in which a document does not say what the table does, beyond rounding; empty
    where it does.
    """
    held = {key: value for _, performance in _performances(document) for key, value in _polars(performance)}
    rows = table.rows
    told: list[str] = []
    for option in table.options:
        expected = rows[rows["option"] == option]
        polar = held.pop(polar_id(table, option), None)
        if polar is None and not expected.empty:
            told.append(f"{option}: the document has no polar of it")
        elif polar is not None:
            told += _polar_differences(option, polar, expected)
    return (*told, *(f"polar {key}: the table has no such option" for key in held))


# --- in itself ----------------------------------------------------------------------------------------------


def _document_problems(document: Mapping[str, Any]) -> Iterator[str]:
    vessels = document.get("vessels", {})
    own = str(document.get("self", ""))
    if own.removeprefix("vessels.") not in vessels:
        yield f"self: {own!r} is none of the document's vessels"
    for name, vessel in vessels.items():
        if vessel.get("uuid", name) != name:
            yield f"vessels.{name}: its uuid is {vessel['uuid']!r}"
    if not any(performance.get("polars") for _, performance in _performances(document)):
        yield "no vessel of the document has polars"
    for where, performance in _performances(document):
        polars = dict(_polars(performance))
        active = performance.get("activePolar")
        if active is not None and str(active) not in polars:
            yield f"{where}.activePolar: {active!r} is none of the polars"
        data = performance.get("activePolarData")
        if data is not None and data != polars.get(str(active)):
            yield f"{where}.activePolarData: it is not the polar that activePolar names"
        for key, polar in polars.items():
            if polar.get("id") != key:
                yield f"{where}.polars.{key}: its id is {polar.get('id')!r}"
            yield from _polar_problems(f"{where}.polars.{key}", polar)


def _polar_problems(where: str, polar: Mapping[str, Any]) -> Iterator[str]:
    winds = polar.get("windData", ())
    if not winds:
        yield f"{where}: it has no wind"
    speeds = [wind.get("trueWindSpeed") for wind in winds]
    yield from _rising(where, "trueWindSpeed", speeds)
    for place, wind in enumerate(winds):
        inside = f"{where}.windData[{place}]"
        yield from _speed_problems(f"{inside}.trueWindSpeed", wind.get("trueWindSpeed"))
        if _is_number(wind.get("trueWindSpeed")) and wind["trueWindSpeed"] > STRONGEST_WIND:
            yield (
                f"{inside}.trueWindSpeed: {wind['trueWindSpeed']:g} m/s is more than "
                f"{STRONGEST_WIND:.1f}, the most here: it may be in knots"
            )
        if not any(wind.get(key) for key in ("angleData", "optimalBeats", "optimalGybes")):
            yield f"{inside}: it has no boat speed"
        yield from _rising(inside, "angleData", [_first(point) for point in wind.get("angleData", ())])
        for key in ("angleData", "optimalBeats", "optimalGybes"):
            for number, point in enumerate(wind.get(key, ())):
                yield from _point_problems(f"{inside}.{key}[{number}]", key, point)


def _point_problems(where: str, key: str, point: Sequence[Any]) -> Iterator[str]:
    if len(point) < 2:
        yield f"{where}: it needs an angle and a speed"
        return
    angle, speed = point[:2]
    yield from _angle_problems(where, angle)
    yield from _speed_problems(where, speed)
    sides = {"optimalBeats": (0.0, math.pi / 2.0), "optimalGybes": (math.pi / 2.0, math.pi)}
    if key in sides and _is_number(angle) and 0.0 <= angle <= math.pi:
        lowest, highest = sides[key]
        if not lowest <= angle <= highest:
            yield f"{where}: {angle:g} rad is not an angle for {'beating' if lowest == 0.0 else 'gybing'}"
    if len(point) > 2 and all(map(_is_number, point)):
        expected = speed * math.cos(angle)
        # wider than any rounding, and far below a mistaken unit or sign
        if abs(point[2] - expected) > _ALIKE * max(1.0, speed):
            yield f"{where}: VMG is {point[2]:g} m/s where speed times the angle's cosine is {expected:g}"
    elif len(point) > 2 and not _is_number(point[2]):
        yield f"{where}: VMG is {point[2]!r}, which is no number"


def _angle_problems(where: str, angle: Any) -> Iterator[str]:
    if not _is_number(angle):
        yield f"{where}: the angle is {angle!r}, which is no number"
    elif angle < 0.0:
        yield f"{where}: the angle is {angle:g}, below 0"
    elif angle > math.pi + _ANGLE_ROUNDING:
        yield f"{where}: the angle is {angle:g}, above pi: it may be in degrees"


def _speed_problems(where: str, speed: Any) -> Iterator[str]:
    if not _is_number(speed):
        yield f"{where}: the speed is {speed!r}, which is no number"
    elif speed < 0.0:
        yield f"{where}: the speed is {speed:g} m/s, below 0"


def _rising(where: str, key: str, values: Sequence[Any]) -> Iterator[str]:
    numbers = [value for value in values if _is_number(value)]
    if any(second <= first for first, second in pairwise(numbers)):
        yield f"{where}: {key} does not rise from one to the next"


# --- against the table --------------------------------------------------------------------------------------


def _polar_differences(option: str, polar: Mapping[str, Any], rows: pd.DataFrame) -> Iterator[str]:
    """What is different in one polar, each kind of difference told once for the whole of it."""
    winds = sorted({tws * KNOT for tws in rows["tws_kn"]})
    held_winds = polar.get("windData", ())
    given = [wind.get("trueWindSpeed") for wind in held_winds]
    yield from _compared(f"{option}, trueWindSpeed", given, winds, "knots", 1.0 / KNOT, _SPEED_ROUNDING)
    for key, aim in (("angleData", SPEED), ("optimalBeats", UPWIND), ("optimalGybes", DOWNWIND)):
        held = [point for wind in held_winds for point in wind.get(key, ())]
        expected = rows[rows["aim"] == aim].sort_values(["tws_kn", "twa_deg"])
        columns = (
            ("angle", "twa_deg", DEGREE, "degrees", _ANGLE_ROUNDING),
            ("speed", "boat_speed_kn", KNOT, "knots", _SPEED_ROUNDING),
            ("VMG", "vmg_kn", KNOT, "knots", _SPEED_ROUNDING),
        )
        for place, (name, column, factor, other, rounding) in enumerate(columns[: 3 if aim == SPEED else 2]):
            where = f"{option}, {name} of {key}"
            numbers = [point[place] if len(point) > place else None for point in held]
            yield from _compared(
                where, numbers, [value * factor for value in expected[column]], other, 1.0 / factor, rounding
            )


def _compared(
    where: str, given: Sequence[Any], expected: Sequence[float], other: str, per_unit: float, rounding: float
) -> Iterator[str]:
    """One kind of number in a document and in the table; `per_unit` is the number of the `other` unit in one
    of the document's.
    """
    if len(given) != len(expected):
        yield f"{where}: the document has {len(given)} where the table has {len(expected)}"
        return
    pairs = list(zip(given, expected, strict=True))
    wrong = [
        (number, value)
        for number, value in pairs
        if not (_is_number(number) and abs(number - value) <= rounding)
    ]
    if not wrong:
        return
    number, value = wrong[0]
    if all(_is_number(n) and abs(n - v * per_unit) <= _ALIKE * abs(v * per_unit) for n, v in wrong):
        yield f"{where}: {number:g} where the table has {value:g}: it is in {other}"
    else:
        shown = f"{number:g}" if _is_number(number) else repr(number)
        yield f"{where}: {shown} where the table has {value:g}, and {len(wrong)} of {len(pairs)} differ"


def _performances(document: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    for name, vessel in document.get("vessels", {}).items():
        if "performance" in vessel:
            yield f"vessels.{name}.performance", vessel["performance"]


def _polars(performance: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    yield from performance.get("polars", {}).items()


def _first(point: Any) -> Any:
    return point[0] if isinstance(point, Sequence) and len(point) else None


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
