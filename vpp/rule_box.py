"""A rule box: limits on what is measured of a boat, and which options keep to it.

The limits and the clauses that they stand in are the boat file's own (`[[rule_box]]`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from vpp.config.units import UNITS, unit_of
from vpp.measurement import QUANTITIES, Quantity, measured
from vpp.results.variables import show_number

if TYPE_CHECKING:
    from vpp.boat import Boat
    from vpp.config import BoatFile

_DECIMALS = {"m2": 2, "m": 3, "kg": 1, "deg": 1}
# A quantity beyond its bound by less than this share is at it: sums and differences of given numbers round.
_ROUNDING = 1e-9


@dataclass(frozen=True, kw_only=True)
class Limit:
    """A clause: what it measures, and between which values that may lie, SI units and radians.

    None is no bound on that side. `of` names the part that is measured, and `at_share` is the height on the
    luff of a chord.
    """

    name: str
    clause: str
    quantity: str
    of: str = ""
    at_share: float = math.nan
    least: float | None = None
    greatest: float | None = None

    @property
    def measure(self) -> Quantity:
        """What it measures."""
        return QUANTITIES[self.quantity]

    @property
    def what(self) -> str:
        """What it measures in words, such as `chord (main, at 50 %)`."""
        at = "" if math.isnan(self.at_share) else f"at {100.0 * self.at_share:g} %"
        of = ", ".join(word for word in (self.of, at) if word)
        return self.quantity.replace("_", " ") + (f" ({of})" if of else "")

    @property
    def symbol(self) -> str:
        """The unit in which it is shown."""
        return UNITS[self.measure.unit].symbol

    @property
    def text(self) -> str:
        """The bounds as given, without their unit."""
        low, high = (None if bound is None else f"{self.shown(bound):.10g}" for bound in self.bounds)
        if low is None or high is None:
            return f"at least {low}" if high is None else f"at most {high}"
        return f"{low} to {high}"

    @property
    def bounds(self) -> tuple[float | None, float | None]:
        """Least and greatest value."""
        return self.least, self.greatest

    def shown(self, value: float) -> float:
        """A value in the unit in which it is shown."""
        return math.degrees(value) if self.measure.unit == "deg" else value


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """What a clause finds of an option; `measured` in SI units and radians."""

    option: str
    limit: Limit
    measured: float

    @property
    def margin(self) -> float:
        """Distance to the nearer bound, positive inside, SI units and radians; 0 within rounding of it."""
        low, high = self.limit.bounds
        rooms = [
            (room, abs(bound))
            for bound, room in (
                (low, self.measured - (low or 0.0)),
                (high, (high or 0.0) - self.measured),
            )
            if bound is not None
        ]
        room, size = min(rooms)
        return 0.0 if abs(room) <= _ROUNDING * max(1.0, size) else room

    @property
    def holds(self) -> bool:
        """Whether the option keeps to the clause; the bounds themselves are allowed."""
        return self.margin >= 0.0

    @property
    def decimals(self) -> int:
        """Decimals that the unit deserves, and as many more as show by how much a clause is broken."""
        decimals = _DECIMALS[self.limit.measure.unit]
        margin = self.limit.shown(self.margin)
        while margin < 0.0 and round(margin, decimals) == 0.0:
            decimals += 1
        return decimals

    @property
    def measured_text(self) -> str:
        """The measured value as it is shown, without its unit."""
        return show_number(self.limit.shown(self.measured), decimals=self.decimals)

    @property
    def margin_text(self) -> str:
        """The margin as it is shown, with its sign and without its unit."""
        return show_number(self.limit.shown(self.margin), decimals=self.decimals, signed=True)

    @property
    def sentence(self) -> str:
        """By how much the option breaks the clause, or keeps to it."""
        limit, unit = self.limit, self.limit.symbol
        how = f'keeps to "{limit.clause}", with' if self.holds else f'breaks "{limit.clause}" by'
        room = show_number(abs(limit.shown(self.margin)), decimals=self.decimals)
        found = f"{limit.what} {self.measured_text} {unit}, {limit.text} {unit}"
        return f"{self.option} {how} {room} {unit}{' left' * self.holds}: {found}"


def limits_of(boat_file: BoatFile, option: str = "base") -> tuple[Limit, ...]:
    """The limits that hold for an option, in the order of the file; empty where there is no rule box.

    Raises BoatFileError if there is no such option.
    """
    told: dict[str, dict[str, Any]] = {}
    for row in boat_file.rows(option):
        table, _, rest = row.key.partition(".")
        if table == "rule_box":
            name, _, key = rest.partition(".")
            told.setdefault(name, {})[key] = row.value
    return tuple(_limit(values) for values in told.values())


def _limit(values: dict[str, Any]) -> Limit:
    """A limit from the values of its table, in the units of their keys."""
    si = {key: unit_of(key).to_si(value) for key, value in values.items() if isinstance(value, float)}
    unit = QUANTITIES[values["quantity"]].unit
    return Limit(
        name=values["name"],
        clause=values["clause"],
        quantity=values["quantity"],
        of=values.get("of", ""),
        at_share=si.get("at_percent", math.nan),
        least=si.get(f"least_{unit}"),
        greatest=si.get(f"greatest_{unit}"),
    )


def judge(boat: Boat, limits: Iterable[Limit]) -> tuple[Verdict, ...]:
    """What each of some limits finds of a boat.

    Raises KeyError where the boat does not have a part that is measured; those of a boat file do.
    """
    return tuple(
        Verdict(
            option=boat.name,
            limit=limit,
            measured=measured(boat, limit.quantity, of=limit.of, at_share=limit.at_share),
        )
        for limit in limits
    )


def verdicts(boat_file: BoatFile, options: Sequence[str] = ()) -> tuple[Verdict, ...]:
    """Every clause that holds for the base and the named options, or all of them if none is named: boat by
    boat, in the order of the file. Empty where there is no rule box.

    Raises BoatFileError with every name that is no option.
    """
    return tuple(
        verdict
        for boat in boat_file.select(options)
        for verdict in judge(boat, limits_of(boat_file, boat.name))
    )


def broken_by(found: Iterable[Verdict]) -> tuple[str, ...]:
    """The options that break a clause, each once."""
    return tuple(dict.fromkeys(verdict.option for verdict in found if not verdict.holds))


def to_frame(found: Iterable[Verdict]) -> pd.DataFrame:
    """A row for each verdict. `measured`, `least`, `greatest` and `margin` are in the unit of the row's
    `unit`, which is m², m, kg or deg; a bound that there is none of is missing.
    """
    columns = (
        "option", "rule", "clause", "quantity", "of", "at_percent", "unit",
        "measured", "least", "greatest", "margin", "holds",
    )  # fmt: skip
    return pd.DataFrame([_record(verdict) for verdict in found], columns=list(columns))


def _record(verdict: Verdict) -> dict[str, Any]:
    limit = verdict.limit
    least, greatest = (math.nan if bound is None else limit.shown(bound) for bound in limit.bounds)
    return {
        "option": verdict.option,
        "rule": limit.name,
        "clause": limit.clause,
        "quantity": limit.quantity,
        "of": limit.of,
        "at_percent": 100.0 * limit.at_share,
        "unit": limit.symbol,
        "measured": limit.shown(verdict.measured),
        "least": least,
        "greatest": greatest,
        "margin": limit.shown(verdict.margin),
        "holds": verdict.holds,
    }
