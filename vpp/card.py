"""What stands on a boat's card: targets by wind, a polar of few winds, and which sails or which option are
best where.

Drawn by `card_plot`; a card has one page.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from string import ascii_uppercase

import numpy as np
from numpy.typing import NDArray

from vpp.compare import DECISIVE_PERCENT
from vpp.interpolation import BEST_VMG
from vpp.results.files import Source
from vpp.results.frames import EXTENDED_MARK, EXTENDED_REMARK, Floats
from vpp.results.variables import DEGREE, show_number
from vpp.solved import HULL_BORNE, SPEED
from vpp.targets_between import Target, Targets
from vpp.version import __version__

MOST_WINDS = 12
"""Rows of a card; of more winds, some in even steps are taken."""

MOST_OPTIONS = 8
"""Options that a card can compare."""

SAILS, OPTIONS = "sails", "options"

LEVEL = "="
"""The sign of more than two options that differ by less than a decision needs."""

_NAMED = 2
_FEW_WINDS = 3
_REACHES_DEG = (60.0, 90.0, 120.0)
_MORE_REACHES_DEG = (60.0, 75.0, 90.0, 105.0, 120.0, 135.0, 150.0)
_REACH_WINDS = 5
_SAME_KN = 1e-4
_CURVE_DEG = np.arange(0.0, 180.5, 1.0)


class CardError(ValueError):
    """A card that cannot be made; the message says what to do."""


@dataclass(frozen=True, kw_only=True)
class Cell:
    """What is best in one wind on one course: its sign, and whether it leads by enough for a decision; or a
    speed. Empty where there is no result.
    """

    sign: str = ""
    leads: bool = False


@dataclass(frozen=True, kw_only=True)
class Chart:
    """Which sail set or option is best by course (rows) and wind (columns), and what the signs stand for."""

    kind: str
    courses: tuple[str, ...]
    cells: tuple[tuple[Cell, ...], ...]
    key: Mapping[str, str]


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Boat speed against the angle in one wind, with gaps where there is none, and the best VMGs."""

    tws_kn: float
    twa_deg: Floats
    boat_speed_kn: Floats
    best: tuple[tuple[float, float], ...]


@dataclass(frozen=True, kw_only=True)
class Card:
    """The content of a card. `targets` are pairs, up and down, by wind; `jumps` says for each pair, up and
    down, whether the target jumps on the way to the next wind; `reaches` speeds by angle and wind, where
    there is no chart, in the `reach_winds`; `rides` whether the boat has a ride height.
    """

    source: Source
    name: str
    option: str
    tws_kn: tuple[float, ...]
    targets: tuple[tuple[Target, Target], ...]
    jumps: tuple[tuple[bool, bool], ...]
    rides: bool
    sail_signs: Mapping[str, str]
    curves: tuple[Curve, ...]
    chart: Chart | None
    reach_winds: tuple[float, ...]
    reaches: Mapping[float, tuple[Cell, ...]]

    def speed_decimals(self, aim: str) -> int:
        """Decimals of the speeds in a column: two where none of them then has more than three digits."""
        speeds = [each.boat_speed_kn for pair in self.targets for each in pair if each.aim == aim]
        return 2 if max((speed for speed in speeds if math.isfinite(speed)), default=0.0) < 9.995 else 1

    def row(self, place: int) -> tuple[str, ...]:
        """One line of the table as text: wind, then angle, speed, heel, ride height [cm] and sign of the
        sails upwind, and the same downwind. The columns of ride height and sails are there only where they
        apply.
        """
        return (
            f"{self.tws_kn[place]:g}",
            *(cell for each in self.targets[place] for cell in self._cells(each)),
        )

    def _cells(self, each: Target) -> tuple[str, ...]:
        ride = each.state.get("ride_height_m", math.nan)
        shown_ride = "hull" if each.branch == HULL_BORNE else show_number(100.0 * ride, decimals=0)
        return (
            show_number(each.twa_deg, decimals=0),
            show_number(each.boat_speed_kn, decimals=self.speed_decimals(each.aim)) + each.mark,
            show_number(each.state.get("heel_deg", math.nan), decimals=0),
            *((shown_ride if each.branch else "-",) if self.rides else ()),
            *((self.sail_signs.get(each.sail_set, "-"),) if self.sail_signs else ()),
        )

    @property
    def header(self) -> tuple[str, ...]:
        """The heads of the columns of `row`, with their units."""
        half = (
            "TWA",
            "kn",
            "heel",
            *(("cm",) if self.rides else ()),
            *(("sails",) if self.sail_signs else ()),
        )
        return ("TWS", *half, *half)

    @property
    def origin(self) -> str:
        """What the card was made from, the file's name last, which may be cut."""
        return f"{self.source.digest}, vpp {__version__}, {self.source.file}"

    @property
    def conditions(self) -> tuple[str, ...]:
        """What else the numbers were made under: a part of a run, a sea, factors on forces."""
        source = self.source
        told = (("stopped", source.stopped), ("waves", source.sea), ("calibrated", source.calibration))
        return tuple(f"{name}: {text}" for name, text in told if text)

    @property
    def notes(self) -> tuple[str, ...]:
        """What the numbers need beside them, in a few words each."""
        told = []
        reaches = [cell.sign for cells in self.reaches.values() for cell in cells]
        if any(each.is_extended for pair in self.targets for each in pair) or any(
            sign.endswith(EXTENDED_MARK) for sign in reaches
        ):
            told.append(f"{EXTENDED_MARK} beyond the hull's data")
        if any(not math.isfinite(each.twa_deg) for pair in self.targets for each in pair):
            told.append("-: no result")
        if any(jumps for pair in self.jumps for jumps in pair):
            told.append("bar: jumps here, take no value between")
        heels = [each.state.get("heel_deg", math.nan) for pair in self.targets for each in pair]
        if any(heel <= -0.5 for heel in heels):
            told.append("heel below 0: to windward")
        if self.rides:
            told.append("cm: ride height")
        if self.sail_signs and (self.chart is None or self.chart.kind != SAILS):
            told.append("sails: " + ", ".join(f"{sign} {name}" for name, sign in self.sail_signs.items()))
        return tuple(told)


def card_of(found: Targets) -> Card:
    """The card of the first of some options; the others are compared with it.

    Raises CardError for more options than fit.
    """
    if len(found.options) > MOST_OPTIONS:
        raise CardError(
            f"option: {len(found.options)} options; a card compares at most {MOST_OPTIONS}: name fewer"
        )
    option, winds = found.options[0], chosen_winds(found.tws_kn, MOST_WINDS)
    up, down = BEST_VMG
    targets = tuple(
        (found.target(option, aim=up, tws_kn=wind), found.target(option, aim=down, tws_kn=wind))
        for wind in winds
    )
    rides = any(math.isfinite(each.state.get("ride_height_m", math.nan)) for pair in targets for each in pair)
    sets = _sail_sets(found, option)
    signs = {name: str(number) for number, name in enumerate(sets, start=1)}
    reaches, chart = _reaches(found, _REACHES_DEG), None
    if len(found.options) > 1:
        chart = _options_chart(found, winds, reaches)
    elif len(sets) > 1:
        chart = _sails_chart(found, winds, reaches, signs)
    return Card(
        source=found.source,
        name=found.source.name,
        option=option,
        tws_kn=winds,
        targets=targets,
        jumps=tuple(
            (_jumps(found, option, up, low, high), _jumps(found, option, down, low, high))
            for low, high in pairwise(winds)
        ),
        rides=rides,
        sail_signs=signs if len(sets) > 1 else {},
        curves=tuple(_curve(found, option, wind) for wind in _few(winds)),
        chart=chart,
        reach_winds=chosen_winds(winds, _REACH_WINDS),
        reaches={} if chart else _reach_speeds(found, option, chosen_winds(winds, _REACH_WINDS)),
    )


def _jumps(found: Targets, option: str, aim: str, low: float, high: float) -> bool:
    """Whether a target changes on the way from one wind to another, both of which have one, in a way that
    nothing is read across.
    """
    ends = [found.target(option, aim=aim, tws_kn=wind) for wind in (low, high)]
    if not all(math.isfinite(each.twa_deg) for each in ends):
        return False
    solved = [wind for wind in found.tws_kn if low - _SAME_KN <= wind <= high + _SAME_KN]
    between = [found.target(option, aim=aim, tws_kn=0.5 * (one + other)) for one, other in pairwise(solved)]
    return any(not math.isfinite(each.twa_deg) for each in between)


def chosen_winds(tws_kn: Sequence[float], most: int) -> tuple[float, ...]:
    """All winds, or of more than `most` those in the smallest even steps that are few enough, the last among
    them.
    """
    step = -(-len(tws_kn) // most)
    return tuple(tws_kn[::-1][::step][::-1])


def _few(winds: Sequence[float]) -> tuple[float, ...]:
    places = sorted({0, len(winds) // 2, len(winds) - 1})
    return tuple(winds[place] for place in places[:_FEW_WINDS])


def _reaches(found: Targets, wanted_deg: Sequence[float]) -> tuple[float, ...]:
    """Solved angles that stand for reaches: those nearest to some, each once."""
    angles = np.array(found.grid_twa_deg)
    if not angles.size:
        return ()
    nearest = [float(angles[np.argmin(np.abs(angles - wanted))]) for wanted in wanted_deg]
    close = [angle for angle, wanted in zip(nearest, wanted_deg, strict=True) if abs(angle - wanted) <= 10.0]
    return tuple(dict.fromkeys(close))


def _reach_speeds(found: Targets, option: str, winds: Sequence[float]) -> dict[float, tuple[Cell, ...]]:
    return {
        angle: tuple(
            Cell(sign=show_number(speed, decimals=1) + (EXTENDED_MARK if extended else ""))
            for speed, extended in zip(
                _speeds(found, option, winds, angle), _extended(found, option, winds, angle), strict=True
            )
        )
        for angle in _reaches(found, _MORE_REACHES_DEG)
    }


def _extended(found: Targets, option: str, winds: Sequence[float], course: float | str) -> list[bool]:
    """Which speeds at an angle or a best VMG rest on hull resistance extended past its data."""
    frame = found.frame
    here = frame["option"] == option
    if isinstance(course, str):
        here &= frame["aim"] == course
    else:
        here &= (frame["aim"] == SPEED) & ((frame["twa_deg"] - course).abs() < _SAME_KN)
    remarks = dict(zip(frame.loc[here, "tws_kn"].round(3), frame.loc[here, "remark"], strict=True))
    return [EXTENDED_REMARK in str(remarks.get(round(wind, 3), "")) for wind in winds]


def _curve(found: Targets, option: str, wind: float) -> Curve:
    speeds = found.polar.speed_kn(option, tws_kn=wind, twa_deg=_CURVE_DEG)
    best = [found.target(option, aim=aim, tws_kn=wind) for aim in BEST_VMG]
    return Curve(
        tws_kn=wind,
        twa_deg=_CURVE_DEG,
        boat_speed_kn=speeds,
        best=tuple((each.twa_deg, each.boat_speed_kn) for each in best if math.isfinite(each.twa_deg)),
    )


def _speeds(found: Targets, option: str, winds: Sequence[float], angle: float) -> tuple[float, ...]:
    speeds = found.polar.speed_kn(option, tws_kn=np.array(winds), twa_deg=angle)
    return tuple(float(speed) for speed in speeds)


def _courses(reaches: Sequence[float]) -> tuple[str, ...]:
    return ("up", *(f"{angle:g}" for angle in reaches), "down")


# --- charts -------------------------------------------------------------------------------------------------


def _options_chart(found: Targets, winds: Sequence[float], reaches: Sequence[float]) -> Chart:
    """The fastest of the options: by VMG up and down, by speed on reaches."""
    signs = dict(zip(found.options, ascii_uppercase, strict=False))
    up, down = BEST_VMG
    courses: list[float | str] = [up, *reaches, down]
    cells = tuple(
        tuple(
            _fastest(speeds, extended, tuple(signs.values()))
            for speeds, extended in zip(
                np.transpose([_made_good(found, option, winds, course) for option in found.options]),
                np.transpose([_extended(found, option, winds, course) for option in found.options]),
                strict=True,
            )
        )
        for course in courses
    )
    return Chart(
        kind=OPTIONS,
        courses=_courses(reaches),
        cells=cells,
        key={sign: name for name, sign in signs.items()},
    )


def _made_good(found: Targets, option: str, winds: Sequence[float], course: float | str) -> tuple[float, ...]:
    """Best VMG, or speed at an angle, in each wind."""
    if isinstance(course, str):
        return tuple(found.target(option, aim=course, tws_kn=wind).vmg_kn for wind in winds)
    return _speeds(found, option, winds, course)


def _fastest(speeds: Floats, extended: NDArray[np.bool_], signs: Sequence[str]) -> Cell:
    """The fastest option and the one less than `DECISIVE_PERCENT` behind it; of more than two such, none. One
    that rests on hull resistance past its data leads by nothing to decide on.
    """
    known = np.flatnonzero(np.isfinite(speeds))
    if not known.size:
        return Cell()
    fastest = speeds[known].max()
    near = [at for at in known.tolist() if 100.0 * (1.0 - speeds[at] / fastest) < DECISIVE_PERCENT]
    if len(near) > _NAMED:
        return Cell(sign=LEVEL)
    leads = len(near) == 1 < known.size and not extended[near[0]]
    return Cell(sign="".join(signs[at] for at in near), leads=leads)


def _sails_chart(
    found: Targets, winds: Sequence[float], reaches: Sequence[float], signs: Mapping[str, str]
) -> Chart:
    """The best sail set, by the margins of the table of conditions."""
    up, down = BEST_VMG
    courses: list[tuple[str, float]] = [
        (up, math.nan),
        *((SPEED, angle) for angle in reaches),
        (down, math.nan),
    ]
    cells = tuple(
        tuple(_best_set(found, wind, aim, angle, signs) for wind in winds) for aim, angle in courses
    )
    return Chart(
        kind=SAILS,
        courses=_courses(reaches),
        cells=cells,
        key={sign: name for name, sign in signs.items()},
    )


def _best_set(found: Targets, wind: float, aim: str, angle: float, signs: Mapping[str, str]) -> Cell:
    frame = found.frame
    here = (frame["option"] == found.options[0]) & (frame["aim"] == aim)
    here &= (frame["tws_kn"] - wind).abs() < _SAME_KN
    if aim == SPEED:
        here &= (frame["twa_deg"] - angle).abs() < _SAME_KN
    rows = frame[here & (frame["status"] == "converged")]
    if rows.empty:
        return Cell()
    row = rows.iloc[0]
    made = float(row["boat_speed_kn"]) * (1.0 if aim == SPEED else abs(math.cos(row["twa_deg"] * DEGREE)))
    # a set without any other beside it leads
    margin = float(row["sail_set_margin_kn"]) if "sail_set_margin_kn" in row else math.nan
    leads = not 100.0 * margin / made < DECISIVE_PERCENT
    return Cell(sign=signs.get(str(row["sail_set"]), ""), leads=leads)


def _sail_sets(found: Targets, option: str) -> tuple[str, ...]:
    """The sail sets that are best anywhere, in the order of the winds and courses in which they first are."""
    if not found.has_sail_sets:
        return ()
    frame = found.frame
    rows = frame[(frame["option"] == option) & (frame["status"] == "converged")]
    return tuple(dict.fromkeys(str(name) for name in rows["sail_set"].dropna() if name))
