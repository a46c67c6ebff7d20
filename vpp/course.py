"""How long each option of a boat takes round a course, and which is best for the forecast."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from vpp.config.course_file import OVER_TIME, CourseFile
from vpp.course_times import CourseTimes, Passage, winds_over_water_kn
from vpp.interpolation import InterpolationError, PolarInterpolant
from vpp.legs import Helm, NoWay, Weather, over_water, sail_legs
from vpp.polar import polar as solve_polar
from vpp.results.files import ABOUT, NOT_CALIBRATED, Source, sea_text
from vpp.results.variables import KNOT

if TYPE_CHECKING:
    from vpp.config import BoatFile
    from vpp.polar import Progress

POLAR = "polar.csv"
"""The table of conditions in a folder of results."""

_CALM = 1e-6 * KNOT
_GRID_STEP_KN = 2.0
_BETWEEN = 20
# Digits of a wind in files, in which it must be found again.
_FILE_DECIMALS, _SAME_KN = 4, 1e-4
_POLAR_COLUMNS = (
    "option", "tws_kn", "twa_deg", "aim", "boat_speed_kn", "vmg_kn", "branch", "status", "reason",
)  # fmt: skip


class CourseError(ValueError):
    """A course that cannot be sailed with what is given; `problems` lists all that is wrong."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


def polar_winds_kn(course: CourseFile) -> tuple[float, ...]:
    """The winds that a polar is solved in for a course: its own, so that none is interpolated; for a wind
    that changes over time even steps around all of them. Raises CourseError for a calm over the water.
    """
    winds = _winds_met_kn(course)
    if min(winds) * KNOT < _CALM:
        raise CourseError(["the current runs with the wind and as fast: no wind is left over the water"])
    if course.wind.model != OVER_TIME:
        return tuple(sorted({round(wind, _FILE_DECIMALS) for wind in winds}))
    lowest = max(_GRID_STEP_KN * math.floor(min(winds) / _GRID_STEP_KN), min(_GRID_STEP_KN, min(winds)))
    steps = math.ceil((max(winds) - lowest) / _GRID_STEP_KN - 1e-9)
    return tuple(round(lowest + _GRID_STEP_KN * index, _FILE_DECIMALS) for index in range(max(steps, 1) + 1))


def sail_course(
    course: CourseFile, frame: pd.DataFrame, *, source: Source, options: Sequence[str] = ()
) -> CourseTimes:
    """Every option of a polar, or those named beside the base, round a course.

    `frame` is the table of conditions of a polar (`Polar.to_frame`, or its `polar.csv`). Raises CourseError
    where its winds do not reach those of the course, or where it lacks an option.
    """
    try:
        polar = PolarInterpolant.from_frame(frame)
        polar.check_winds(_winds_met_kn(course))
    except InterpolationError as error:
        raise CourseError([str(error)]) from None
    names = tuple(dict.fromkeys((polar.options[0], *options))) if options else polar.options
    if lacking := [name for name in names if name not in polar.options]:
        raise CourseError(
            [f"option = {name!r}: not in the polar, which has {', '.join(polar.options)}" for name in lacking]
        )
    steady = course.wind.model != OVER_TIME
    weathers = [_weather(course, place) for place in range(len(course.wind.tws))] if steady else [
        _weather(course)
    ]  # fmt: skip
    winds = course.wind.tws if steady else (math.nan,)
    passages = tuple(
        _passage(Helm(polar, option, course), weather, tws)
        for option in names
        for weather, tws in zip(weathers, winds, strict=True)
    )
    return CourseTimes(
        source=source,
        course=course,
        options=names,
        tws_kn=tuple(round(tws / KNOT, 9) for tws in winds),
        weight=course.wind.weight if steady else (1.0,),
        passages=passages,
        polar=polar,
        remarks=_remarks(frame[frame["option"].isin(names)]),
    )


def _remarks(frame: pd.DataFrame) -> dict[str, int]:
    if "remark" not in frame.columns:
        return {}
    told = frame["remark"][frame["remark"].notna()]
    each = [part for remark in told for part in filter(None, str(remark).split("; "))]
    return {part: each.count(part) for part in dict.fromkeys(each)}


def round_course(
    boat_file: BoatFile,
    course: CourseFile,
    *,
    tws_kn: Sequence[float] | None = None,
    twa_deg: Sequence[float] | None = None,
    options: Sequence[str] = (),
    processes: int = 1,
    progress: Progress | None = None,
) -> CourseTimes:
    """The options of a boat file, all or those named beside the base, round a course: the polar is solved in
    the winds of the course unless others are given, and then sailed.

    Raises CourseError where the winds do not reach those of the course, BoatFileError for an option that is
    not there and WindGridError for winds or angles that cannot be used.
    """
    winds = tuple(polar_winds_kn(course) if tws_kn is None else tws_kn)
    check_reach(course, winds)
    found = solve_polar(
        boat_file, tws_kn=winds, twa_deg=twa_deg, options=options, processes=processes, progress=progress
    )
    return sail_course(course, found.to_frame(), source=found.source)


def read_polar(folder: Path, boat_file: BoatFile) -> tuple[pd.DataFrame, Source]:
    """The table of conditions that a command has left in a folder for this boat file, and its source.

    Raises CourseError with all that does not fit: no such table, another boat file or an older state of it,
    another sea.
    """
    try:
        frame = pd.read_csv(folder / POLAR)
        about = json.loads((folder / ABOUT).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        raise CourseError(
            [f"polar = {str(folder)!r}: there is no {POLAR} with its {ABOUT}; vpp polar writes both"]
        ) from None
    lacking = [name for name in _POLAR_COLUMNS if name not in frame.columns]
    if lacking or not isinstance(about, dict):
        raise CourseError([f"polar = {str(folder)!r}: {POLAR} is no table of conditions"])
    problems = []
    if about.get("digest") != boat_file.digest:
        problems.append(
            f"polar = {str(folder)!r}: solved for {about.get('file')} {about.get('digest')}, not for "
            f"{boat_file.path.name} as it is now ({boat_file.digest}); solve it anew"
        )
    solved = [boat for boat in boat_file.boats if boat.name in about.get("options", ())]
    waves, asked = about.get("waves"), sea_text(solved) or "none"
    if waves != asked:
        problems.append(f"polar = {str(folder)!r}: solved in waves: {waves}; asked for: {asked}")
    if problems:
        raise CourseError(problems)
    calibration, stopped = about.get("calibration", NOT_CALIBRATED), about.get("stopped", "no")
    source = Source(
        name=boat_file.name,
        file=boat_file.path.name,
        digest=boat_file.digest,
        calibration="" if calibration == NOT_CALIBRATED else calibration,
        sea="" if waves == "none" else str(waves),
        stopped="" if stopped == "no" else stopped,
    )
    return frame, source


def check_reach(course: CourseFile, tws_kn: Sequence[float]) -> None:
    """Raises CourseError where winds of a polar to be solved do not reach those of the course."""
    asked = _winds_met_kn(course)
    if min(asked) < min(tws_kn) - _SAME_KN or max(asked) > max(tws_kn) + _SAME_KN:
        raise CourseError(
            [
                f"tws: the wind over the water goes from {min(asked):.4g} to {max(asked):.4g} kn on the "
                f"course and from {min(tws_kn):g} to {max(tws_kn):g} kn in the polar: nothing is "
                "extrapolated; widen --tws, or leave it out to solve the winds of the course"
            ]
        )


def _winds_met_kn(course: CourseFile) -> tuple[float, ...]:
    """Winds over the water on the way; between those of a wind over time too, where it may be weaker than on
    either side as it turns against a current.
    """
    if course.wind.model != OVER_TIME:
        return winds_over_water_kn(course)
    weather = _weather(course)
    times = np.union1d(weather.time, np.linspace(0.0, weather.time[-1], _BETWEEN * len(weather.time)))
    return tuple(
        over_water(course, tws=tws, twd=twd)[0] / KNOT for tws, twd in map(weather.at, times.tolist())
    )


def _weather(course: CourseFile, place: int | None = None) -> Weather:
    wind = course.wind
    if place is None:
        return Weather(time=np.array(wind.time), tws=np.array(wind.tws), twd=np.unwrap(np.array(wind.twd)))
    return Weather(time=np.zeros(1), tws=np.array(wind.tws[place : place + 1]), twd=np.array(wind.twd))


def _passage(helm: Helm, weather: Weather, tws: float) -> Passage:
    passage = Passage(option=helm.option, tws=tws)
    try:
        passage = replace(passage, legs=sail_legs(helm, helm.course.legs, weather))
    except NoWay as reason:
        passage = replace(passage, reason=str(reason))
    if helm.course.line is None:
        return passage
    try:
        return replace(passage, line=sail_legs(helm, (helm.course.line,), weather)[0])
    except NoWay as reason:
        return replace(passage, line_reason=str(reason))
