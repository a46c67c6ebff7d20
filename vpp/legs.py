"""Legs over the ground sailed the fastest way: straight, or on the two headings that together make the most
good towards the mark.

Bearings are from north, clockwise, in radians. Velocities are seen from the eye of the wind over the water.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError

from vpp.config.course_file import CourseFile, Leg
from vpp.interpolation import (
    BEST_VMG,
    CHANGES_WITH_ANGLE,
    CHANGES_WITH_WIND,
    KNOWN,
    MISSING,
    InterpolationError,
    PolarInterpolant,
    Sampled,
)
from vpp.physics.current import sailing_wind
from vpp.results.frames import Floats
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import DOWNWIND, UPWIND

STARBOARD, PORT = "starboard", "port"
TACKS = (STARBOARD, PORT)
TACK, GYBE = "tack", "gybe"
DIRECT, TWO_HEADINGS, BOTH_TACKS = "direct", "two_headings", "both_tacks"
"""How a leg is sailed: on one heading, on two of one tack, or on both tacks."""

_OTHER = {STARBOARD: PORT, PORT: STARBOARD}
# A tenth of a degree: a straight line between two points of a circle lacks 4e-7 of its radius there.
_ANGLES_DEG = np.round(np.arange(0.0, 180.05, 0.1), 1)
# So close to the eye of the wind, or to dead before it, a boat can be on either tack.
_EITHER_TACK = math.radians(0.15)
# A heading sailed for less of the time is none.
_NO_SHARE = 1e-6
# So much less than the best VMG is left to the points around it, so that it is the corner of the hull.
_BELOW_BEST = 1e-9
# Two headings that gain less are not worth the turns.
_NO_GAIN = 1e-6
# Forecasts change over minutes.
_TIME_STEP_S = 30.0
_WHY = {
    MISSING: "where the polar has no result",
    CHANGES_WITH_WIND: "where the way of being carried changes between the winds of the polar; solve it in "
    "the winds of the course",
}
_CHANGES = "headings on either side of a change of the way of being carried"


class NoWay(Exception):
    """A leg that an option cannot sail; the message says why, as a clause."""


@dataclass(frozen=True, kw_only=True)
class Part:
    """One heading of a leg: the share of the sailing time [1], true wind angle over the water and boat speed
    through it, the bearing of the course through the water and that of the track over the ground; SI.
    """

    tack: str
    share: float
    twa: float
    boat_speed: float
    heading: float
    track: float
    branch: str


@dataclass(frozen=True, kw_only=True)
class Way:
    """The way that a leg is sailed in one wind: what is made good towards the mark over the ground [m/s], and
    the one or two headings. `either_tack` where a straight leg may be sailed on both tacks: dead before the
    wind.
    """

    speed: float
    parts: tuple[Part, ...]
    either_tack: bool = False
    remark: str = ""

    @property
    def kind(self) -> str:
        """Straight, on two headings of one tack, or on both tacks."""
        if len(self.parts) == 1:
            return DIRECT
        return TWO_HEADINGS if self.parts[0].tack == self.parts[1].tack else BOTH_TACKS

    @property
    def through_water(self) -> float:
        """Boat speed through the water, the mean over the sailing time [m/s]."""
        return sum(part.share * part.boat_speed for part in self.parts)

    def twa_on(self, tack: str) -> float:
        """True wind angle of the heading on a tack, or of the only one [rad]."""
        return next((part.twa for part in self.parts if part.tack == tack), self.parts[0].twa)


@dataclass(frozen=True, kw_only=True)
class SailedLeg:
    """One leg as sailed: `way` is that half through it, `arrival` that at its end, which differ only where
    the wind changes; `sailing` time and the time `lost` in tacks and gybes (those at the mark that it begins
    at among them) [s], and the way through the water [m].
    """

    leg: Leg
    way: Way
    arrival: Way
    tws: float
    sailing: float
    lost: float
    through_water: float
    tacks: int
    gybes: int

    @property
    def time(self) -> float:
        """Sailing time and time lost [s]."""
        return self.sailing + self.lost


# --- one boat in one wind -----------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class _Reach:
    """All velocities that an option has in one wind and current, seen from the eye of the wind over the
    water: to windward and to the side of starboard tack [m/s].

    Points run round: starboard tack from the wind to dead before it, then port tack back. `hull` names the
    corners of the convex hull, anticlockwise.
    """

    eye: float
    tws_kn: float
    current: Floats
    velocity: Floats
    twa: Floats
    side: NDArray[np.int_]
    branch: NDArray[np.int_]
    code: NDArray[np.int_]
    hull: NDArray[np.intp]
    is_best: Mapping[str, bool]
    why_not: Mapping[str, str]
    names: tuple[str, ...]

    def ways(self, bearing: float) -> list[Way]:
        """The fastest way along a bearing over the ground first, then the best straight one where it is
        another. Raises NoWay.
        """
        along = _unit(self.eye - bearing)
        fastest = self._fastest(along)
        straight = self._straight(along) if fastest.kind != DIRECT else None
        if straight is None:
            return [fastest]
        return [straight] if straight.speed >= fastest.speed * (1.0 - _NO_GAIN) else [fastest, straight]

    def _fastest(self, along: Floats) -> Way:
        corners = self.velocity[self.hull]
        edges = np.roll(corners, -1, axis=0) - corners
        normal = np.stack([edges[:, 1], -edges[:, 0]], axis=1)
        reach = np.sum(normal * (corners + self.current), axis=1)
        facing = normal @ along
        # sides along the leg bound nothing on it
        scale = np.abs(normal).sum(axis=1)
        ahead, behind = facing > 1e-12 * scale, facing < -1e-12 * scale
        limit = np.full(len(facing), np.inf)
        limit[ahead] = reach[ahead] / facing[ahead]
        edge = int(np.argmin(limit))
        speed = float(limit[edge])
        least = float(np.max(reach[behind] / facing[behind], initial=0.0))
        if speed <= 0.0 or speed < least:
            raise NoWay("the current carries the boat away from the leg faster than it sails back")
        first, second = int(self.hull[edge]), int(self.hull[(edge + 1) % len(self.hull)])
        return self._way(speed, along, first, second)

    def _way(self, speed: float, along: Floats, first: int, second: int) -> Way:
        if abs(first - second) == 1 and self.branch[first] == self.branch[second]:
            return self._one_heading(speed, along, first)
        wanted = speed * along - self.current
        apart = self.velocity[second] - self.velocity[first]
        share = float(np.clip((wanted - self.velocity[first]) @ apart / (apart @ apart), 0.0, 1.0))
        remark = self._checked(first, second, share)
        if min(share, 1.0 - share) < _NO_SHARE:
            return self._one_heading(speed, along, second if share > 0.5 else first)
        parts = (self._part(first, 1.0 - share), self._part(second, share))
        return Way(speed=speed, parts=parts, remark=remark)

    def _checked(self, first: int, second: int, share: float) -> str:
        """A remark on the line between two points; raises NoWay where it leads past what is not known."""
        if self.side[first] != self.side[second]:
            aim = UPWIND if self.twa[first] + self.twa[second] < math.pi else DOWNWIND
            if not self.is_best[aim]:
                raise NoWay(self.why_not[aim])
            return ""
        lower, upper = sorted((first, second))
        between = self.code[lower + 1 : upper]
        unknown = between[(between == MISSING) | (between == CHANGES_WITH_WIND)]
        if unknown.size and min(share, 1.0 - share) >= _NO_SHARE:
            angles = sorted(np.rad2deg(self.twa[[first, second]]))
            raise NoWay(
                f"it lies between TWA {angles[0]:.1f} and {angles[1]:.1f} deg at {self.tws_kn:.4g} kn, "
                f"{_WHY[int(unknown.max())]}"
            )
        changes = np.any(between == CHANGES_WITH_ANGLE) or self.branch[first] != self.branch[second]
        return _CHANGES if changes else ""

    def _straight(self, along: Floats) -> Way | None:
        """The fastest single heading that leads along the leg, where there is one."""
        over_ground = self.velocity + self.current
        across = over_ground[:, 0] * along[1] - over_ground[:, 1] * along[0]
        ahead = over_ground @ along
        good = self.code == KNOWN
        joined = good[:-1] & good[1:] & (self.branch[:-1] == self.branch[1:])
        turns = joined & (across[:-1] * across[1:] <= 0.0) & (across[:-1] != across[1:])
        places = np.flatnonzero(turns)
        if not places.size:
            return None
        share = across[places] / (across[places] - across[places + 1])
        speeds = ahead[places] + share * (ahead[places + 1] - ahead[places])
        best = int(np.argmax(speeds))
        if speeds[best] <= 0.0:
            return None
        return self._one_heading(float(speeds[best]), along, int(places[best]))

    def _one_heading(self, speed: float, along: Floats, near: int) -> Way:
        velocity = speed * along - self.current
        twa = abs(math.atan2(velocity[1], velocity[0]))
        part = self._part(near, 1.0, velocity=velocity, twa=twa)
        return Way(speed=speed, parts=(part,), either_tack=abs(math.sin(twa)) < math.sin(_EITHER_TACK))

    def _part(
        self, place: int, share: float, *, velocity: Floats | None = None, twa: float | None = None
    ) -> Part:
        through = self.velocity[place] if velocity is None else velocity
        ground = through + self.current
        side = self.side[place]
        return Part(
            tack=STARBOARD if side > 0 else PORT,
            share=share,
            twa=float(self.twa[place]) if twa is None else twa,
            boat_speed=float(np.hypot(*through)),
            heading=(self.eye - math.atan2(through[1], through[0])) % math.tau,
            track=(self.eye - math.atan2(ground[1], ground[0])) % math.tau,
            branch=self.names[self.branch[place]],
        )


def _unit(angle: float) -> Floats:
    return np.array([math.cos(angle), math.sin(angle)])


@dataclass(frozen=True)
class Helm:
    """One option of a polar in the wind and current of a course."""

    polar: PolarInterpolant
    option: str
    course: CourseFile
    _reaches: dict[tuple[float, float], _Reach] = field(default_factory=dict)

    @cached_property
    def _sampled(self) -> Sampled:
        return self.polar.sampled(self.option, _ANGLES_DEG)

    @cached_property
    def _solved_angles(self) -> Sampled:
        return self.polar.sampled(self.option, self.polar.twa_deg)

    def ways(self, bearing: float, *, tws: float, twd: float) -> list[Way]:
        """The ways along a bearing in a wind over the ground [m/s, rad]. Raises NoWay."""
        key = (tws, twd)
        if key not in self._reaches:
            self._reaches[key] = self._reach(tws, twd)
        return self._reaches[key].ways(bearing)

    def _reach(self, tws: float, twd: float) -> _Reach:
        water, eye = over_water(self.course, tws=tws, twd=twd)
        tws_kn = float(water) / KNOT
        try:
            self.polar.check_winds(tws_kn)
        except InterpolationError as error:
            raise NoWay(str(error)) from None
        count = len(_ANGLES_DEG)
        speed, branch, code = self._sampled.at(np.full(count, tws_kn), np.arange(count))
        twa, top = _ANGLES_DEG, self._most_to_windward(tws_kn)
        is_best, why_not = {}, {}
        for aim in BEST_VMG:
            angle, vmg, number = self.polar.best_vmg(self.option, aim, tws_kn=tws_kn)
            is_best[aim] = number >= 0
            if number < 0:
                why_not[aim] = self.polar.why_no_best(self.option, aim, tws_kn=tws_kn)
                continue
            speed = _no_better_than(max(vmg, top[aim]), speed, twa, aim)
            place = int(np.searchsorted(twa, angle))
            twa = np.insert(twa, place, angle)
            speed = np.insert(speed, place, vmg / abs(math.cos(angle * DEGREE)))
            branch, code = np.insert(branch, place, number), np.insert(code, place, KNOWN)
        radians = twa * DEGREE
        starboard = speed[:, np.newaxis] * KNOT * np.stack([np.cos(radians), np.sin(radians)], axis=1)
        back = slice(-2, None, -1) if twa[-1] == 180.0 else slice(None, None, -1)
        around = {"twa": radians, "branch": branch, "code": code}
        velocity = np.vstack([starboard, (starboard * np.array([1.0, -1.0]))[back]])
        ring: dict[str, Any] = {name: np.concatenate([part, part[back]]) for name, part in around.items()}
        return _Reach(
            eye=eye,
            tws_kn=tws_kn,
            current=self.course.current_speed * _unit(eye - self.course.current_toward),
            velocity=velocity,
            side=np.where(np.arange(len(velocity)) < len(twa), 1, -1),
            hull=_corners(velocity, ring["code"] == KNOWN, tws_kn),
            is_best=is_best,
            why_not=why_not,
            names=self.polar.branches,
            **ring,
        )

    def _most_to_windward(self, tws_kn: float) -> dict[str, float]:
        """The most that the solved angles make good, up and down [kn]."""
        angles = self.polar.twa_deg
        count = len(angles)
        speed, _, _ = self._solved_angles.at(np.full(count, tws_kn), np.arange(count))
        made = speed * np.cos(angles * DEGREE)
        return {
            aim: float(np.max(sign * made, initial=0.0, where=np.isfinite(made)))
            for aim, sign in ((UPWIND, 1.0), (DOWNWIND, -1.0))
        }


def _no_better_than(vmg_kn: float, speed_kn: Floats, twa_deg: Floats, aim: str) -> Floats:
    """Speeds cut to what the best VMG allows: it is solved for, and more is an error of the cubic."""
    along = np.cos(twa_deg * DEGREE) * (1.0 if aim == UPWIND else -1.0)
    most = vmg_kn * (1.0 - _BELOW_BEST) / np.maximum(along, 1e-9)
    return np.where((along > 0.0) & (speed_kn > most), most, speed_kn)


def _corners(velocity: Floats, known: NDArray[np.bool_], tws_kn: float) -> NDArray[np.intp]:
    places = np.flatnonzero(known)
    try:
        corners: NDArray[np.intp] = places[ConvexHull(velocity[places]).vertices]
    except (QhullError, ValueError):
        raise NoWay(f"the polar has too few results at {tws_kn:.4g} kn") from None
    return corners


def over_water(course: CourseFile, *, tws: float, twd: float) -> tuple[float, float]:
    """Speed of the wind over the water [m/s] and the bearing of its eye [rad], from the wind over the ground
    and the current of a course.
    """
    if course.current_speed == 0.0:
        return tws, twd
    speed, shift = sailing_wind(
        ground_wind_speed=tws,
        current_speed=course.current_speed,
        current_set=twd - course.current_toward,
    )
    return float(speed), twd - float(shift)


# --- a course in one wind -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Track:
    """What is known on the way round: time [s], number of turns, and the legs so far."""

    time: float
    turns: int
    legs: tuple[SailedLeg, ...]

    @property
    def order(self) -> tuple[float, int]:
        return round(self.time, 6), self.turns


@dataclass(frozen=True, kw_only=True)
class _Run:
    """A leg sailed in one way, without its turns."""

    way: Way
    arrival: Way
    tws: float
    sailing: float
    through_water: float


def sail_legs(helm: Helm, legs: Sequence[Leg], weather: Weather) -> tuple[SailedLeg, ...]:
    """All legs the fastest way, tacks chosen so that the turns cost least. Raises NoWay."""
    tracks: dict[str, _Track] = {"": _Track(0.0, 0, ())}
    for number, leg in enumerate(legs, start=1):
        ahead: dict[str, _Track] = {}
        for before, track in tracks.items():
            try:
                runs = weather.runs(helm, leg, track.time)
            except NoWay as reason:
                place = f"leg {number} ({leg.name})" if len(legs) > 1 else leg.name
                raise NoWay(f"{place}: {reason}") from None
            for run in runs:
                for first, last in _tacks(run.way, leg):
                    done = _with_turns(helm.course, leg, run, before, first, track)
                    longer = _Track(
                        track.time + done.time,
                        track.turns + done.tacks + done.gybes,
                        (*track.legs, done),
                    )
                    if last not in ahead or longer.order < ahead[last].order:
                        ahead[last] = longer
        tracks = ahead
    return min(tracks.values(), key=lambda track: track.order).legs


def _tacks(way: Way, leg: Leg) -> Iterator[tuple[str, str]]:
    """On which tack a leg can begin, and on which it then ends."""
    if way.kind == BOTH_TACKS:
        for first in TACKS:
            yield first, first if leg.more_turns % 2 else _OTHER[first]
    elif way.either_tack:
        yield from ((tack, tack) for tack in TACKS)
    else:
        yield way.parts[0].tack, way.parts[0].tack


def _with_turns(course: CourseFile, leg: Leg, run: _Run, before: str, first: str, track: _Track) -> SailedLeg:
    """A leg with its own turns and that at the mark where it begins."""
    counts = {TACK: 0, GYBE: 0}
    if run.way.kind == BOTH_TACKS:
        counts[_turn(*(part.twa for part in run.way.parts))] += 1 + leg.more_turns
    if before and before != first:
        counts[_turn(track.legs[-1].arrival.twa_on(before), run.way.twa_on(first))] += 1
    made_good = leg.length / run.sailing
    lost = sum(
        counts[turn] * (each.time + each.way / made_good)
        for turn, each in ((TACK, course.tack), (GYBE, course.gybe))
    )
    return SailedLeg(leg=leg, lost=lost, tacks=counts[TACK], gybes=counts[GYBE], **vars(run))


def _turn(before: float, after: float) -> str:
    """The turn from one tack to the other by the smaller change of course."""
    return TACK if before + after < math.pi else GYBE


@dataclass(frozen=True, kw_only=True)
class Weather:
    """One wind, or one that changes over time."""

    time: Floats
    tws: Floats
    twd: Floats

    def at(self, time: float) -> tuple[float, float]:
        """Speed [m/s] and direction [rad]."""
        if len(self.time) < 2:
            return float(self.tws[0]), float(self.twd[0])
        return float(np.interp(time, self.time, self.tws)), float(np.interp(time, self.time, self.twd))

    def runs(self, helm: Helm, leg: Leg, start: float) -> list[_Run]:
        """A leg from a time on: the fastest way, and straight where that is another. Raises NoWay."""
        if len(self.time) < 2:
            tws, twd = self.at(0.0)
            return [
                _Run(
                    way=way,
                    arrival=way,
                    tws=tws,
                    sailing=leg.length / way.speed,
                    through_water=leg.length / way.speed * way.through_water,
                )
                for way in helm.ways(leg.bearing, tws=tws, twd=twd)
            ]
        found = [self._over_time(helm, leg, start, straight=False)]
        straight = self._over_time(helm, leg, start, straight=True)
        return [run for run in (*found, straight) if run is not None]

    def _over_time(self, helm: Helm, leg: Leg, start: float, *, straight: bool) -> _Run | None:
        """Steps in time until the leg is sailed; None where it cannot be sailed straight all along."""
        times, ways, made, water = [start], [], [0.0], [0.0]
        while True:
            tws, twd = self.at(times[-1])
            found = helm.ways(leg.bearing, tws=tws, twd=twd)
            if straight and found[-1].kind != DIRECT:
                return None
            ways.append(found[-1] if straight else found[0])
            if len(ways) > 1:
                step = times[-1] - times[-2]
                made.append(made[-1] + 0.5 * step * (ways[-2].speed + ways[-1].speed))
                water.append(water[-1] + 0.5 * step * (ways[-2].through_water + ways[-1].through_water))
            if made[-1] >= leg.length:
                break
            if times[-1] >= self.time[-1]:
                raise NoWay(f"the wind is given until {self.time[-1]:g} s, when the boat is still on it")
            times.append(min(times[-1] + _TIME_STEP_S, float(self.time[-1])))
        # speed is linear within a step, and so is the last one's
        last = times[-1] - times[-2]
        spent = _time_within(last, ways[-2].speed, ways[-1].speed, leg.length - made[-2])
        sailing = times[-2] + spent - start
        gained = ways[-1].through_water - ways[-2].through_water
        through_water = water[-2] + spent * (ways[-2].through_water + 0.5 * gained * spent / last)
        tws, twd = self.at(start + sailing)
        at_mark = helm.ways(leg.bearing, tws=tws, twd=twd)
        half = _nearest_way(times, ways, start + 0.5 * sailing)
        if not straight and any(way.kind == BOTH_TACKS for way in ways):
            # on both tacks for a part of the leg: the turns are those of that part
            half = half if half.kind == BOTH_TACKS else next(w for w in ways if w.kind == BOTH_TACKS)
        return _Run(
            way=half,
            arrival=at_mark[-1 if straight else 0],
            tws=self.at(start + 0.5 * sailing)[0],
            sailing=sailing,
            through_water=through_water,
        )


def _time_within(step: float, first: float, last: float, way: float) -> float:
    """Time for a way [m] at a speed that changes evenly from `first` to `last` [m/s] in `step` [s]."""
    growth = (last - first) / step
    return 2.0 * way / (first + math.sqrt(max(first * first + 2.0 * growth * way, 0.0)))


def _nearest_way(times: Sequence[float], ways: Sequence[Way], time: float) -> Way:
    return ways[int(np.argmin(np.abs(np.array(times) - time)))]
