"""Sailing in a uniform current: what a boat does over the ground on either tack, and which tack is favoured.

Angles from the eye of the ground wind are positive to the side that a boat on starboard tack sails to, as in
`vpp.physics.current`; courses on port tack are therefore negative ones.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy.interpolate import PchipInterpolator
from scipy.optimize import minimize_scalar

from vpp.boat import Boat
from vpp.physics.current import over_ground, sailing_wind
from vpp.polar import BEST_VMG, WindGrid, WindGridError, check_aim, point
from vpp.results.files import Source
from vpp.results.frames import Floats, to_frame
from vpp.results.variables import DEGREE, KNOT, show_number, variable
from vpp.solved import SPEED, UPWIND, Conditions
from vpp.solver.status import Status
from vpp.solver.stopping import refuse_part
from vpp.wardrobe import solve

if TYPE_CHECKING:
    from vpp.config import BoatFile

STARBOARD, PORT = "starboard", "port"
TACKS = (STARBOARD, PORT)

GIVEN_ANGLE, VMG, MADE_GOOD = "given_angle", "vmg_through_water", "made_good_over_ground"
"""What a course is steered for: the angle asked for, the best VMG through the water, or the most made good
over the ground on that tack alone.
"""

LEVEL_KN = 0.005
"""Tacks that differ by less over the ground are called level."""

AT_THE_EDGE = "no result at the next angles, where more might be made good"

_SIDE = {STARBOARD: 1.0, PORT: -1.0}
_OTHER = {STARBOARD: PORT, PORT: STARBOARD}
_CURRENT_LIMIT_KN = 20.0
_SET_LIMIT_DEG = 360.0
_CALM_KN = 1e-6
_CONVERGED = Status.CONVERGED.name.lower()
_SHOWN_SHIFT_DEG = 0.05
# The search over angles: a grid that shows every hump of what is made good, then closer ones about its best.
# Angles without an equilibrium take the solver longer than all others together, so that a pinching boat is
# followed down by steps and not given the whole range.
_STEP_DEG = 5.0
_PINCH_DEG = 15.0
_CLOSE_DEG = 40.0
_CLOSER_DEG = ((-1.0, 0.0, 1.0), (0.0,))
_SAME_DEG = 1e-6


class CurrentError(ValueError):
    """Wind, angle or current that cannot be used; `problems` lists all that is wrong with them."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


@dataclass(frozen=True, kw_only=True)
class OnTack:
    """One course on one tack.

    `ground_tws_kn`, `current_kn` and `current_set_deg` are what was asked for; `tws_kn` is the wind over the
    water and `wind_shift_deg` how far its eye lies from that of the ground wind. `twa_deg` counts from the
    wind over the water to the course through the water, `vmg_kn` is made good against it. Both courses count
    from the eye of the ground wind, and `made_good_kn` is towards it over the ground, negative away from it.
    Numbers that were not found are NaN; then `status` and `reason` say why. `course_over_ground_deg` is NaN
    for a boat at rest over the ground.
    """

    option: str
    tack: str
    aim: str
    steered_for: str
    ground_tws_kn: float
    current_kn: float
    current_set_deg: float
    tws_kn: float
    wind_shift_deg: float
    twa_deg: float
    boat_speed_kn: float
    vmg_kn: float
    course_through_water_deg: float
    speed_over_ground_kn: float
    course_over_ground_deg: float
    made_good_kn: float
    branch: str
    sail_set: str
    status: str
    calibration: str
    remark: str
    reason: str

    @property
    def converged(self) -> bool:
        """Whether there is a result."""
        return self.status == _CONVERGED

    @property
    def across_kn(self) -> float:
        """Speed over the ground across the ground wind, positive to the side that starboard tack sails to."""
        through_water = self.boat_speed_kn * math.sin(self.course_through_water_deg * DEGREE)
        return through_water + self.current_kn * math.sin(self.current_set_deg * DEGREE)


@dataclass(frozen=True, kw_only=True)
class InCurrent:
    """One boat in one ground wind and current; see `in_current`.

    `rows` hold starboard and port tack at the angle asked for or at best VMG through the water and, where a
    best VMG was asked for, both tacks again for the most made good over the ground.
    """

    source: Source
    rows: tuple[OnTack, ...]

    def __repr__(self) -> str:
        first = self.rows[0]
        return (
            f"InCurrent({self.source.file}: {first.option}, {_aim_words(first)}; "
            f"TWS {first.ground_tws_kn:g} kn, current {first.current_kn:g} kn setting "
            f"{first.current_set_deg:g} deg)"
        )

    @property
    def aim(self) -> str:
        """`speed` at an angle asked for, `upwind` or `downwind`."""
        return self.rows[0].aim

    def row(self, tack: str, *, steered_for: str | None = None) -> OnTack:
        """One course; at the angle asked for or at best VMG through the water unless told otherwise. Raises
        KeyError where there is none.
        """
        wanted = (tack, steered_for or self.rows[0].steered_for)
        for row in self.rows:
            if (row.tack, row.steered_for) == wanted:
                return row
        raise KeyError(f"no row {', '.join(wanted)}; there are {', '.join(self._named())}")

    def by_both_tacks(self) -> tuple[float, float]:
        """The fastest way straight to windward or leeward over the ground: the share of the time to be spent
        on starboard tack [1], and what is then made good in kn, as `made_good_kn`.

        Both tacks are sailed at best VMG through the water, whatever the current: it carries a boat as far in
        the same time on every course, and of two courses through the water those of best VMG get furthest up
        the wind over the water for any way across it. NaN where both are carried to one side, so that no
        share leads straight up or down, and where the aim is not a best VMG.
        """
        if self.aim == SPEED:
            return math.nan, math.nan
        starboard, port = self.row(STARBOARD), self.row(PORT)
        apart = starboard.across_kn - port.across_kn
        share = -port.across_kn / apart if abs(apart) > _CALM_KN else math.nan
        if not 0.0 <= share <= 1.0:
            return math.nan, math.nan
        return share, share * starboard.made_good_kn + (1.0 - share) * port.made_good_kn

    def to_frame(self) -> pd.DataFrame:
        """The rows as a table, in the units of the column names."""
        names = [item.name for item in fields(OnTack)]
        return pd.DataFrame([[getattr(row, name) for name in names] for row in self.rows], columns=names)

    def summary(self) -> tuple[str, ...]:
        """What the current does, in sentences: to the wind, to the tacks, and to a mark straight to windward
        or to leeward.
        """
        return (self._say_wind(), *(self._say_angle() if self.aim == SPEED else self._say_best()))

    def _named(self) -> list[str]:
        return [f"{row.tack}, {row.steered_for}" for row in self.rows]

    def _say_wind(self) -> str:
        first = self.rows[0]
        shift, blows = first.wind_shift_deg, f"blows {variable('tws_kn').show(first.tws_kn)} kn"
        if abs(shift) < _SHOWN_SHIFT_DEG:
            return f"The wind over the water {blows}, from where the ground wind comes."
        headed = STARBOARD if shift > 0.0 else PORT
        turned = f"{show_number(abs(shift), decimals=1)} deg"
        if abs(shift) > 90.0:
            return (
                f"The current outruns the wind: that over the water {blows}, {turned} from the ground wind."
            )
        return (
            f"The wind over the water {blows} and comes {turned} from the ground wind: "
            f"a header on {headed} tack, a lift on {_OTHER[headed]} tack."
        )

    def _say_angle(self) -> Iterator[str]:
        starboard, port = (self.row(tack) for tack in TACKS)
        does = " and ".join(f"{row.tack} tack does {_kn(row.speed_over_ground_kn)}" for row in self.rows)
        ahead = starboard.speed_over_ground_kn - port.speed_over_ground_kn
        told = f"{STARBOARD if ahead > 0.0 else PORT} tack is faster by {_kn(abs(ahead))}"
        yield (
            f"At a TWA of {starboard.twa_deg:g} deg {does} over the ground: "
            f"{'both are level' if abs(ahead) < LEVEL_KN else told}."
        )

    def _say_best(self) -> Iterator[str]:
        starboard, port = (self.row(tack) for tack in TACKS)
        sign = 1.0 if self.aim == UPWIND else -1.0
        way = "to windward" if self.aim == UPWIND else "to leeward"
        makes = " and ".join(_say_way(row, sign) for row in (starboard, port))
        ahead = sign * (starboard.made_good_kn - port.made_good_kn)
        told = f"{STARBOARD if ahead > 0.0 else PORT} tack is favoured by {_kn(abs(ahead))}"
        yield (
            f"At best VMG through the water (TWA {_deg(starboard.twa_deg)}) {makes} {way} over the ground: "
            f"{'neither tack is favoured' if abs(ahead) < LEVEL_KN else told}."
        )
        yield from (self._say_made_good(tack, sign) for tack in TACKS if starboard.wind_shift_deg != 0.0)
        yield self._say_both(way, sign)

    def _say_made_good(self, tack: str, sign: float) -> str:
        water, ground = self.row(tack), self.row(tack, steered_for=MADE_GOOD)
        if not ground.converged:
            return f"On {tack} tack there is no course that makes the most good over the ground."
        gain = sign * (ground.made_good_kn - water.made_good_kn)
        turn = "higher" if ground.twa_deg < water.twa_deg else "lower"
        return (
            f"{tack.capitalize()} tack by itself makes the most good over the ground {turn}, at TWA "
            f"{_deg(ground.twa_deg)}: {_say_gain(sign * ground.made_good_kn, gain)}."
        )

    def _say_both(self, way: str, sign: float) -> str:
        share, made_good = self.by_both_tacks()
        if math.isnan(share):
            return (
                f"Both tacks are carried to one side: no share of them leads straight {way} over the ground."
            )
        return (
            f"Straight {way} over the ground by both tacks, best VMG through the water is fastest: "
            f"{show_number(100.0 * share, decimals=0)} % of the time on starboard tack, "
            f"{_kn(abs(made_good))} {'made good' if sign * made_good > 0.0 else 'lost to the current'}."
        )


def in_current(
    boat_file: BoatFile,
    *,
    tws_kn: float,
    twa_deg: float | str,
    current_kn: float,
    set_deg: float,
    option: str | None = None,
    sail_set: str | None = None,
) -> InCurrent:
    """What a boat does over the ground on either tack in a uniform current.

    `tws_kn` is the wind over the ground. The current flows to `set_deg` from the eye of that wind, positive
    to the side that a boat on starboard tack sails to: 0 to windward, 180 to leeward. `twa_deg` is the angle
    between the course through the water and the wind over the water, or `upwind` or `downwind`: both the
    best VMG through the water and, on each tack, the most made good over the ground. The latter is found on
    solved angles, to about 0.0001 kn. Of boats that can be carried in more ways than one the better is taken,
    of sail sets the best or `sail_set`.

    Raises CurrentError with all that is wrong with wind, angle and current, NoEquilibrium where the boat has
    no result at the angle or at best VMG through the water, NoSuchSailSet and BoatFileError for a set or an
    option that is not there.
    """
    if problems := input_problems(tws_kn=tws_kn, twa_deg=twa_deg, current_kn=current_kn, set_deg=set_deg):
        raise CurrentError(problems)
    water_kn, shift_deg = _wind_over_water(tws_kn, current_kn, set_deg)
    found = point(boat_file, tws_kn=water_kn, twa_deg=twa_deg, option=option or "base", sail_set=sail_set)
    asked = {
        "ground_tws_kn": float(tws_kn),
        "current_kn": float(current_kn),
        "current_set_deg": float(set_deg),
        "wind_shift_deg": shift_deg,
    }
    values = found.values
    aim = str(values["aim"])
    rows = [_on_tack(tack, GIVEN_ANGLE if aim == SPEED else VMG, values, asked) for tack in TACKS]
    if aim in BEST_VMG:
        searched = (
            {tack: replace(row, steered_for=MADE_GOOD) for tack, row in zip(TACKS, rows, strict=True)}
            if shift_deg == 0.0
            else _Search(boats=found.solved.boats, tried=found.frame, asked=asked, aim=aim).run()
        )
        rows += [searched[tack] for tack in TACKS]
    return InCurrent(source=found.source, rows=tuple(rows))


def input_problems(
    *, tws_kn: float, twa_deg: float | str, current_kn: float, set_deg: float
) -> tuple[str, ...]:
    """All that is wrong with a ground wind, an angle and a current; empty where nothing is."""
    angle = 90.0 if isinstance(twa_deg, str) else float(twa_deg)
    problems = [*_wind_problems(tws_kn, angle)]
    try:
        if isinstance(twa_deg, str):
            check_aim(twa_deg)
    except WindGridError as error:
        problems += error.problems
    if not 0.0 <= current_kn <= _CURRENT_LIMIT_KN:
        problems.append(
            f"current = {current_kn:g} kn: outside the allowed range: "
            f"from 0, at most {_CURRENT_LIMIT_KN:g} kn"
        )
    if not abs(set_deg) <= _SET_LIMIT_DEG:
        problems.append(
            f"set = {set_deg:g} deg: outside the allowed range: "
            f"from {-_SET_LIMIT_DEG:g}, at most {_SET_LIMIT_DEG:g} deg"
        )
    if problems:
        return tuple(problems)
    water_kn, _ = _wind_over_water(tws_kn, current_kn, set_deg)
    if water_kn < _CALM_KN:
        return ("current: it runs with the wind and as fast, which leaves no wind over the water",)
    return tuple(f"wind over the water, {problem}" for problem in _wind_problems(water_kn, angle))


def _wind_problems(tws_kn: float, twa_deg: float) -> tuple[str, ...]:
    try:
        WindGrid(tws_kn=(float(tws_kn),), twa_deg=(twa_deg,))
    except WindGridError as error:
        return error.problems
    return ()


def _wind_over_water(tws_kn: float, current_kn: float, set_deg: float) -> tuple[float, float]:
    """Speed [kn] and shift [deg]."""
    speed, shift = sailing_wind(
        ground_wind_speed=tws_kn * KNOT, current_speed=current_kn * KNOT, current_set=set_deg * DEGREE
    )
    # a set of 180 deg is no exact number of radians, and would leave a shift of that error
    return float(speed) / KNOT, round(float(shift) / DEGREE, 9) + 0.0


def _on_tack(tack: str, steered_for: str, values: Mapping[Any, Any], asked: Mapping[str, float]) -> OnTack:
    """A row of the table of conditions, sailed on a tack in a current."""
    course_deg = asked["wind_shift_deg"] + _SIDE[tack] * float(values["twa_deg"])
    speed, course, made_good = over_ground(
        boat_speed=float(values["boat_speed_kn"]) * KNOT,
        course_angle=course_deg * DEGREE,
        current_speed=asked["current_kn"] * KNOT,
        current_set=asked["current_set_deg"] * DEGREE,
    )
    moves = float(speed) / KNOT > _CALM_KN
    words = ("option", "aim", "branch", "sail_set", "status", "calibration", "remark", "reason")
    same: dict[str, Any] = {name: str(values[name]) for name in words}
    same |= {name: float(values[name]) for name in ("tws_kn", "twa_deg", "boat_speed_kn", "vmg_kn")}
    same |= asked
    return OnTack(
        **same,
        tack=tack,
        steered_for=steered_for,
        course_through_water_deg=_wrapped(course_deg),
        speed_over_ground_kn=float(speed) / KNOT,
        course_over_ground_deg=float(course) / DEGREE if moves else math.nan,
        made_good_kn=float(made_good) / KNOT,
    )


def _wrapped(angle_deg: float) -> float:
    """An angle within 180 deg of the eye; those of 180 deg keep their side."""
    return angle_deg - 360.0 * float(np.round(angle_deg / 360.0))


def _aim_words(row: OnTack) -> str:
    return f"TWA {row.twa_deg:g} deg" if row.aim == SPEED else row.aim


def _say_way(row: OnTack, sign: float) -> str:
    made_good = sign * row.made_good_kn
    return f"{row.tack} tack {'makes good' if made_good >= 0.0 else 'loses'} {_kn(abs(made_good))}"


def _say_gain(made_good_kn: float, gain_kn: float) -> str:
    made = f"{_kn(abs(made_good_kn))}{' lost' if made_good_kn < 0.0 else ''}"
    if gain_kn < LEVEL_KN:
        return f"{made}, level with that"
    return f"{made}, {_kn(gain_kn)} {'less' if made_good_kn < 0.0 else 'more'}"


def _kn(value: float) -> str:
    return f"{variable('vmg_kn').show(value)} kn"


def _deg(value: float) -> str:
    return f"{variable('twa_deg').show(value)} deg"


# --- the most made good over the ground ---------------------------------------------------------------------


@dataclass
class _Search:
    """The angles of the most made good over the ground, both tacks on the same solved angles.

    The current adds the same on every course. What is searched for is therefore the most made good through
    the water towards, or away from, the eye of the ground wind.
    """

    boats: tuple[Boat, ...]
    tried: pd.DataFrame
    asked: Mapping[str, float]
    aim: str

    def run(self) -> dict[str, OnTack]:
        """The best solved angle of each tack; `tried` begins with that of best VMG, so none is worse."""
        self._solve(self._first())
        while lower := {angle for tack in TACKS for angle in self._next_below(tack)}:
            self._solve(lower)
        for offsets in _CLOSER_DEG:
            self._solve({self._peak(tack) + offset for tack in TACKS for offset in offsets})
        return {tack: self._best(tack) for tack in TACKS}

    def _first(self) -> set[float]:
        turned = abs(self.asked["wind_shift_deg"])
        if self.aim == UPWIND:
            lowest, highest = float(self.tried["twa_deg"].iloc[0]) - _PINCH_DEG, 90.0 + turned
        else:
            lowest, highest = max(90.0 - turned, _CLOSE_DEG), 180.0
        lowest, highest = max(lowest, 0.0), min(highest, 180.0)
        return set(np.linspace(lowest, highest, math.ceil((highest - lowest) / _STEP_DEG) + 1).tolist())

    def _next_below(self, tack: str) -> tuple[float, ...]:
        """A step below the lowest angle tried, where that is the best."""
        lowest, _, gain = (values[0] for values in self._known(tack))
        tried = float(self.tried["twa_deg"].min())
        if lowest <= _SAME_DEG or lowest > tried or gain < self._known(tack)[2].max():
            return ()
        return (max(lowest - _STEP_DEG, 0.0),)

    def _peak(self, tack: str) -> float:
        """The best angle by a smooth curve through the solved speeds, between the neighbours of the best."""
        angles, speeds, gains = self._known(tack)
        if len(angles) == 1:
            return float(angles[0])
        best = int(np.argmax(gains))
        speed = PchipInterpolator(angles, speeds)
        found = minimize_scalar(
            lambda angle: -float(self._gain(tack, angle, speed(angle))),
            bounds=(angles[max(best - 1, 0)], angles[min(best + 1, len(angles) - 1)]),
            method="bounded",
            options={"xatol": 1e-3},
        )
        return float(found.x)

    def _best(self, tack: str) -> OnTack:
        angles, _, gains = self._known(tack)
        best = angles[int(np.argmax(gains))]
        place = int(np.flatnonzero(self.tried["twa_deg"] == best)[0])
        values: dict[Any, Any] = {**self.tried.iloc[place].to_dict(), "aim": self.aim}
        if gains.max() <= 0.0:
            way = "to windward" if self.aim == UPWIND else "to leeward"
            values |= {
                **dict.fromkeys(("twa_deg", "boat_speed_kn", "vmg_kn"), math.nan),
                **dict.fromkeys(("branch", "sail_set", "remark"), ""),
                "status": Status.NO_EQUILIBRIUM.name.lower(),
                "reason": f"No course on {tack} tack makes good {way} through the water.",
            }
        elif self._by_failed(place):
            values["remark"] = "; ".join(filter(None, (str(values["remark"]), AT_THE_EDGE)))
        return _on_tack(tack, MADE_GOOD, values, self.asked)

    def _by_failed(self, place: int) -> bool:
        """Whether an angle next to this one was tried in vain."""
        beside = self.tried["status"].iloc[max(place - 1, 0) : place + 2]
        return bool((beside != _CONVERGED).any())

    def _known(self, tack: str) -> tuple[Floats, Floats, Floats]:
        """Solved angles [deg], boat speeds there [kn], and what they make good [kn]."""
        known = self.tried[self.tried["status"] == _CONVERGED]
        angles, speeds = (known[name].to_numpy(dtype=float) for name in ("twa_deg", "boat_speed_kn"))
        return angles, speeds, self._gain(tack, angles, speeds)

    def _gain(self, tack: str, angle_deg: Any, speed_kn: Any) -> Floats:
        sign = 1.0 if self.aim == UPWIND else -1.0
        course = (angle_deg + _SIDE[tack] * self.asked["wind_shift_deg"]) * DEGREE
        gain: Floats = sign * speed_kn * np.cos(course)
        return gain

    def _solve(self, wanted: set[float]) -> None:
        before = self.tried["twa_deg"].to_numpy()
        angles = np.clip(np.array(sorted(wanted)), 0.0, 180.0)
        new = np.unique(angles[np.abs(angles[:, np.newaxis] - before).min(axis=1) > _SAME_DEG])
        if not len(new):
            return
        conditions = Conditions(
            option=np.zeros(len(new), dtype=np.intp),
            tws=np.full(len(new), float(self.tried["tws_kn"].iloc[0]) * KNOT),
            twa=new * DEGREE,
            aim=np.full(len(new), SPEED),
        )
        more = to_frame(solve(self.boats, conditions))
        refuse_part()
        self.tried = pd.concat([self.tried, more], ignore_index=True).sort_values(
            "twa_deg", ignore_index=True
        )
