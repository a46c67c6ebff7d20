"""What a search for a better boat is asked: conditions and their weights, a course, a second aim."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vpp.boat import Boat
from vpp.config.course_file import CourseFile
from vpp.config.text import nearest
from vpp.course import check_reach, polar_winds_kn
from vpp.improve_aims import Aim, CourseAim, MeasureAim, SpeedAim, State, course_times
from vpp.improve_search import Refused
from vpp.measurement import QUANTITIES, measured
from vpp.polar import BEST_VMG, WindGrid, WindGridError, check_aim, parse_steps
from vpp.results.files import Source
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import SPEED, Conditions

Floats = NDArray[np.float64]
Angle = float | str

COURSE_TWA = "30:170:10"
"""Angles of the polar that a course is sailed with, unless others are given."""


@dataclass(frozen=True, kw_only=True)
class SpeedWanted:
    """Speed at winds [kn] and angles [deg], or `upwind` and `downwind` in their place, each with a weight."""

    tws_kn: tuple[float, ...]
    twa: tuple[Angle, ...]
    tws_weight: tuple[float, ...]
    twa_weight: tuple[float, ...]

    @property
    def name(self) -> str:
        """In words."""
        at = ", ".join(each if isinstance(each, str) else f"TWA {each:g} deg" for each in self.twa)
        winds = ", ".join(f"{wind:g}" for wind in self.tws_kn)
        mean = "mean speed made good" if len(self.tws_kn) * len(self.twa) > 1 else "speed made good"
        return f"{mean} {at} in {winds} kn"

    def rows(self) -> list[tuple[float, Angle]]:
        """Its conditions."""
        return [(wind, angle) for wind in self.tws_kn for angle in self.twa]

    def weights(self) -> Floats:
        """Their weights, with the sum one."""
        found = np.array([one * other for one in self.tws_weight for other in self.twa_weight])
        share: Floats = found / found.sum()
        return share


@dataclass(frozen=True, kw_only=True)
class CourseWanted:
    """Time round a course, sailed with a polar in some winds [kn] at some angles [deg]."""

    course: CourseFile
    tws_kn: tuple[float, ...]
    twa: tuple[float, ...]

    def rows(self) -> list[tuple[float, Angle]]:
        """The conditions of its polar."""
        angles: list[Angle] = [*self.twa, *BEST_VMG]
        return [(wind, angle) for wind in self.tws_kn for angle in angles]


@dataclass(frozen=True, kw_only=True)
class LessWanted:
    """As little as possible of something that is measured; a share of the luff where that is a chord."""

    quantity: str
    of: str = ""
    at_share: float = math.nan

    def rows(self) -> list[tuple[float, Angle]]:
        """None."""
        return []


Wanted = SpeedWanted | CourseWanted | LessWanted


# --- from words ---------------------------------------------------------------------------------------------


def speed_wanted(
    *,
    tws_kn: Sequence[float],
    twa: Sequence[Angle],
    tws_weight: Sequence[float] = (),
    twa_weight: Sequence[float] = (),
) -> SpeedWanted:
    """Speed at all angles in all winds. Raises WindGridError with all that is wrong."""
    problems: list[str] = []
    if not tws_kn:
        problems.append("tws: missing: give the winds in which the boat is to be faster, or a course")
    if not twa:
        problems.append("twa: empty; give upwind, downwind or angles")
    angles = sorted({angle for angle in twa if not isinstance(angle, str)})
    if len(set(twa)) < len(twa) or len(set(tws_kn)) < len(tws_kn):
        problems.append("tws, twa: each value once")
    for word in twa:
        if isinstance(word, str):
            try:
                check_aim(word)
            except WindGridError as error:
                problems += error.problems
    try:
        WindGrid(tws_kn=tuple(sorted(set(tws_kn))) or (10.0,), twa_deg=tuple(angles) or (90.0,))
    except WindGridError as error:
        problems += error.problems
    for name, weight, along in (("tws", tws_weight, tws_kn), ("twa", twa_weight, twa)):
        if weight and len(weight) != len(along):
            problems.append(f"{name}_weight: {len(weight)} weights for {len(along)} values of {name}")
        elif weight and not (
            all(math.isfinite(each) and each >= 0.0 for each in weight) and sum(weight) > 0.0
        ):
            problems.append(f"{name}_weight: weights must be zero or positive, and one of them positive")
    if problems:
        raise WindGridError(problems)
    return SpeedWanted(
        tws_kn=tuple(tws_kn),
        twa=tuple(twa),
        tws_weight=tuple(tws_weight) or (1.0,) * len(tws_kn),
        twa_weight=tuple(twa_weight) or (1.0,) * len(twa),
    )


def course_wanted(
    course: CourseFile, *, tws_kn: Sequence[float] = (), twa: Sequence[float] = ()
) -> CourseWanted:
    """Time round a course, with a polar in its own winds unless others are given. Raises WindGridError or
    CourseError.
    """
    winds = tuple(tws_kn) or polar_winds_kn(course)
    angles = tuple(twa) or parse_steps(COURSE_TWA, name="twa")
    grid = WindGrid(tws_kn=winds, twa_deg=angles)
    check_reach(course, winds)
    return CourseWanted(course=course, tws_kn=grid.tws_kn, twa=grid.twa_deg)


def against_wanted(text: str, first: Wanted) -> Wanted:
    """A second aim in words: `upwind`, `downwind` or angles in the winds of the first aim; `tws=...` and
    `twa=...`, a list each, of which the one that is left out is that of the first aim; or the name of a
    quantity to have less of, with the name of its part and a height on the luff in per cent behind a colon
    where it needs them. Raises WindGridError.
    """
    words = text.split()
    if len(words) == 1 and "=" not in text and text.split(":")[0] in QUANTITIES:
        return _less_wanted(text)
    given: dict[str, str] = {}
    for word in words:
        key, _, value = word.rpartition("=")
        given[key or "twa"] = value
    strange = [key for key in given if key not in ("tws", "twa")]
    if strange or len(given) != len(words) or not words:
        raise WindGridError([f"against = {text!r}: write tws=... twa=..., a list each, or a quantity"])
    try:
        twa = angles_of(given["twa"], name="twa") if "twa" in given else _own(first, "twa")
        tws = winds_of(given["tws"], name="tws") if "tws" in given else _own(first, "tws_kn")
        return speed_wanted(tws_kn=[float(each) for each in tws], twa=twa)
    except WindGridError as error:
        known = [*QUANTITIES, *BEST_VMG]
        hint = nearest(text.split(":")[0], known) if len(words) == 1 and "=" not in text else ""
        raise WindGridError(
            [f"against = {text!r}: {problem}{'; ' * bool(hint)}{hint}" for problem in error.problems]
        ) from None


def _own(first: Wanted, name: str) -> Sequence[Angle]:
    """What the first aim has of winds or angles."""
    if isinstance(first, SpeedWanted) or (isinstance(first, CourseWanted) and name == "tws_kn"):
        found: Sequence[Angle] = getattr(first, name)
        return found
    raise WindGridError(["twa: missing: the first aim has none"])


def _less_wanted(text: str) -> LessWanted:
    quantity, *parts = text.split(":")
    of = parts[0] if parts else ""
    share = math.nan
    if len(parts) > 1:
        try:
            share = float(parts[1]) / 100.0
        except ValueError:
            raise WindGridError(
                [f"against = {text!r}: {parts[1]!r} is no height on the luff in per cent"]
            ) from None
    return LessWanted(quantity=quantity, of=of, at_share=share)


def winds_of(text: str, *, name: str) -> tuple[float, ...]:
    """Numbers from a list such as `8,12,16` or even steps `8:16:4`. Raises WindGridError."""
    return tuple(value for part in text.split(",") for value in parse_steps(part.strip(), name=name))


def angles_of(text: str, *, name: str) -> tuple[Angle, ...]:
    """Angles from such a list, in which `upwind` and `downwind` may stand. Raises WindGridError."""
    found: list[Angle] = []
    for part in (each.strip() for each in text.split(",")):
        if part[:1].isalpha():
            check_aim(part)
            found.append(part)
        else:
            found += parse_steps(part, name=name)
    return tuple(found)


# --- to aims ------------------------------------------------------------------------------------------------


def conditions_of(wanted: Sequence[Wanted]) -> tuple[Conditions, list[NDArray[np.intp]]]:
    """The conditions of all aims, each once, and where those of each aim stand."""
    rows = [each.rows() for each in wanted]
    places = {row: at for at, row in enumerate(dict.fromkeys(row for some in rows for row in some))}
    tws = np.array([wind * KNOT for wind, _ in places], dtype=float)
    conditions = Conditions(
        option=np.zeros(len(places), dtype=np.intp),
        tws=tws,
        twa=np.array([math.nan if isinstance(a, str) else a * DEGREE for _, a in places], dtype=float),
        aim=np.array([a if isinstance(a, str) else SPEED for _, a in places], dtype=np.str_),
    )
    return conditions, [np.array([places[row] for row in some], dtype=np.intp) for some in rows]


def aim_of(
    wanted: Wanted, conditions: Conditions, places: NDArray[np.intp], start: State, source: Source
) -> Aim:
    """An aim against the boat that a search begins with. Raises Refused where that has no value of it."""
    if isinstance(wanted, SpeedWanted):
        weight = np.zeros(len(conditions))
        weight[places] = wanted.weights()
        aim = SpeedAim(
            name=wanted.name, conditions=conditions, weight=weight, start_kn=start.standing.made_good_kn
        )
        aim.gain(start)
        return aim
    if isinstance(wanted, CourseWanted):
        return _course_aim(wanted, conditions, places, start, source)
    return MeasureAim(
        quantity=wanted.quantity,
        of=wanted.of,
        at_share=wanted.at_share,
        start=_measured(wanted, start.boat),
    )


def _course_aim(
    wanted: CourseWanted, conditions: Conditions, places: NDArray[np.intp], start: State, source: Source
) -> CourseAim:
    counts = np.zeros(len(conditions), dtype=bool)
    counts[places] = True
    times = course_times(
        wanted.course, conditions, counts, source, start.standing.made_good_kn, start.standing
    )
    if not np.isfinite(times).any():
        raise Refused(f"{wanted.course.name} cannot be sailed in any of its winds")
    aim = CourseAim(
        course=wanted.course,
        conditions=conditions,
        counts=counts,
        source=source,
        sailed=tuple(bool(each) for each in np.isfinite(times)),
        start_s=1.0,
    )
    return CourseAim(**{**vars(aim), "start_s": aim.told(start)})


def _measured(wanted: LessWanted, boat: Boat) -> float:
    try:
        return measured(boat, wanted.quantity, of=wanted.of, at_share=wanted.at_share)
    except KeyError:
        part = f" {wanted.of!r}" if wanted.of else ", name its part behind a colon"
        raise Refused(f"against = {wanted.quantity}: the boat has nothing to measure that on{part}") from None


def check_measured(wanted: LessWanted, boat: Boat) -> list[str]:
    """What is wrong with a quantity as an aim for a boat."""
    try:
        found = _measured(wanted, boat)
    except Refused as reason:
        return [str(reason)]
    if math.isnan(found):
        return [f"against = {wanted.quantity}: needs a height on the luff in per cent, as in chord:main:50"]
    return []
