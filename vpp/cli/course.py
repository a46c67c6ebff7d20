"""`vpp course`: how long each option takes round a course, and which is best for the forecast."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from vpp.cli.console import SOME_FAILED, closing, print_result, progress, stop, table
from vpp.cli.options import (
    BoatPath,
    Format,
    NoFigures,
    Options,
    Out,
    PolarFolder,
    Printed,
    Processes,
    Twa,
    Waves,
    folder_problems,
    process_count,
    read_boat,
)
from vpp.cli.writing import names_of

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from vpp.config import BoatFile
    from vpp.config.course_file import CourseFile
    from vpp.course_times import CourseTimes
    from vpp.results.files import Source, Written

_DECIMALS = {
    **dict.fromkeys(
        (
            "time_s", "sailing_s", "lost_s", "to_line_s", "difference_s", "expected_time_s", "regret_s",
            "difference_10_percent_s", "difference_50_percent_s", "difference_90_percent_s", "lost_m",
            "weight_percent", "won_percent", "unsailed_percent",
        ),
        3,
    ),
    **dict.fromkeys(
        (
            "difference_percent", "half_within_percent", "most_within_percent", "largest_percent",
            "difference_half_within_percent", "difference_most_within_percent", "difference_largest_percent",
        ),
        4,
    ),
    **dict.fromkeys(("length_nm", "distance_sailed_nm"), 5),
    **dict.fromkeys(("tws_kn", "made_good_kn", "first_boat_speed_kn", "second_boat_speed_kn"), 4),
    **dict.fromkeys(
        (
            "twa_deg", "bearing_deg", "first_twa_deg", "first_heading_deg", "second_twa_deg",
            "second_heading_deg", "layline_starboard_deg", "layline_port_deg", "first_share_percent",
            "second_share_percent",
        ),
        3,
    ),
}  # fmt: skip
_MOST_COLUMNS = 6


def course(
    boat: BoatPath,
    course_path: Annotated[
        Path, typer.Argument(metavar="COURSE", help="Course file (TOML).", show_default=False)
    ],
    option: Options = None,
    tws: Annotated[
        str | None,
        typer.Option(
            "--tws",
            metavar="START:STOP:STEP",
            help="True wind speeds to solve, kn, both ends included.",
            show_default="those of the course",
        ),
    ] = None,
    twa: Twa = "30:170:5",
    polar: PolarFolder = None,
    sea: Waves = None,
    out: Out = Path("out/course"),
    printed: Printed = Format.TEXT,
    no_figures: NoFigures = False,
    processes: Processes = None,
) -> None:
    """Times round a course, and the best option for a forecast.

    Example: vpp course keelboat.toml two_lap_course.toml --option taller_rig -o course
    """
    options = option or []
    boat_file, asked, winds, angles = _read(boat, course_path, options, tws, twa, polar, sea, out)
    times, conditions = _sail(boat_file, asked, options, winds, angles, polar, processes)
    written = _write(times, conditions, out, figures=not no_figures)
    print_result(_PRINT[printed](times, written), written, is_data=printed is not Format.TEXT)
    lacking = [passage for passage in times.passages if not passage.legs]
    if lacking:
        typer.echo(f"{len(lacking)} of {len(times.passages)} passages have no time", err=True)
        raise typer.Exit(SOME_FAILED)


def _read(
    boat: Path,
    course_path: Path,
    options: Sequence[str],
    tws: str | None,
    twa: str,
    polar: Path | None,
    sea: str | None,
    out: Path,
) -> tuple[BoatFile, CourseFile, tuple[float, ...], tuple[float, ...]]:
    """Both files and the winds and angles to solve; everything wrong with them ends the command."""
    from vpp.config import BoatFileError
    from vpp.config.course_file import load_course
    from vpp.course import CourseError, check_reach, polar_winds_kn
    from vpp.polar import WindGrid, WindGridError

    problems: list[str] = []
    grid = boat_file = asked = None
    winds: tuple[float, ...] = ()
    try:
        grid = WindGrid.parse(twa=twa) if tws is None else WindGrid.parse(tws=tws, twa=twa)
    except WindGridError as error:
        problems += error.problems
    if polar is not None and tws is not None:
        problems.append("tws: of no use besides --polar, which has winds of its own")
    problems += folder_problems(out, polar=polar)
    try:
        boat_file = read_boat(boat, options=options, sea=sea)
    except BoatFileError as error:
        problems += [str(problem) for problem in error.problems]
    try:
        asked = load_course(course_path)
    except BoatFileError as error:
        problems += [str(problem) for problem in error.problems]
    if asked is not None and grid is not None:
        try:
            winds = polar_winds_kn(asked) if tws is None else grid.tws_kn
            if polar is None:
                check_reach(asked, winds)
        except CourseError as error:
            problems += error.problems
    if problems or boat_file is None or asked is None or grid is None:
        stop(problems)
    return boat_file, asked, winds, grid.twa_deg


def _sail(
    boat_file: BoatFile,
    asked: CourseFile,
    options: Sequence[str],
    winds: tuple[float, ...],
    angles: tuple[float, ...],
    polar: Path | None,
    processes: int | None,
) -> tuple[CourseTimes, pd.DataFrame]:
    """The times, and the table of conditions that they were taken from."""
    from vpp.course import CourseError, read_polar, sail_course
    from vpp.polar import WindGridError
    from vpp.polar import polar as solve_polar

    source: Source
    try:
        if polar is not None:
            conditions, source = read_polar(polar, boat_file)
        else:
            with progress("solving") as report:
                found = solve_polar(
                    boat_file,
                    tws_kn=winds,
                    twa_deg=angles,
                    options=options,
                    processes=process_count(processes),
                    progress=report,
                )
            conditions, source = found.to_frame(), found.source
        return sail_course(asked, conditions, source=source, options=options), conditions
    except (CourseError, WindGridError) as error:
        stop(error.problems)


# --- text ---------------------------------------------------------------------------------------------------


def _text(times: CourseTimes, written: Written) -> str:
    from vpp.results.variables import show_number

    course = times.course
    length = show_number(course.length / 1852.0, decimals=2)
    head = f"{course.name} ({course.path.name}, {course.digest}): {len(course.legs)} legs, {length} nm"
    parts = [f"{times.source.line}\n{head}", _times_table(times), _legs_table(times)]
    if len(times.tws_kn) > 1:
        parts.append(_choice_table(times))
    parts.append("\n".join(_wrapped(sentence) for sentence in times.summary()))
    return "\n\n".join([*parts, closing(written)])


def _times_table(times: CourseTimes) -> str:
    from vpp.course_times import say_time
    from vpp.results.variables import show_number

    base, *others = range(len(times.options))
    header = ("TWS kn", "weight %", times.options[base], *(times.options[at] for at in others))
    rows = [
        (
            _wind(tws),
            show_number(100.0 * times.weight[wind], decimals=1),
            say_time(times.time_s[base, wind]),
            *(
                f"{show_number(times.difference_s[at, wind], decimals=1, signed=True)}"
                f" ({show_number(times.difference_percent[at, wind], decimals=2, signed=True)})"
                if times.difference_s[at, wind] == times.difference_s[at, wind]
                else say_time(times.time_s[at, wind])
                for at in others
            ),
        )
        for wind, tws in enumerate(times.tws_kn)
    ]
    title = f"Time round the course of {times.options[base]}"
    title += "; others: s more (%), negative where faster" if others else ""
    return f"{title}; - without a result\n{table(header, rows, left=0)}"


def _legs_table(times: CourseTimes) -> str:
    """The legs of the best option in the wind of most weight."""
    from vpp.course_times import say_time
    from vpp.results.variables import show_number

    chosen = times.chosen
    at = times.options.index(chosen.option) if chosen is not None else 0
    most = max(range(len(times.tws_kn)), key=lambda wind: times.weight[wind])
    passage = times.passages[at * len(times.tws_kn) + most]
    if not passage.legs:
        return f"Legs of {passage.option}: none, {passage.reason}"
    header = (
        "leg", "bearing", "nm", "time", "sailed nm", "made good kn", "TWA", "headings", "tacks", "gybes",
        "laylines",
    )  # fmt: skip
    frame = times.legs_frame()
    if len(times.tws_kn) > 1:
        frame = frame[abs(frame["tws_kn"] - times.tws_kn[most]) < 1e-6]
    rows = []
    for leg in frame[frame["option"] == passage.option].to_dict(orient="records"):
        both = [leg[f"{which}_heading_deg"] for which in ("first", "second") if leg[f"{which}_tack"]]
        angles = [leg[f"{which}_twa_deg"] for which in ("first", "second") if leg[f"{which}_tack"]]
        laylines = [leg["layline_starboard_deg"], leg["layline_port_deg"]]
        rows.append(
            (
                str(leg["name"]),
                show_number(leg["bearing_deg"], decimals=0),
                show_number(leg["length_nm"], decimals=2),
                say_time(leg["time_s"]),
                show_number(leg["distance_sailed_nm"], decimals=2),
                show_number(leg["made_good_kn"], decimals=2),
                " ".join(dict.fromkeys(show_number(angle, decimals=0) for angle in angles)),
                " ".join(show_number(angle, decimals=0) for angle in both),
                str(leg["tacks"]),
                str(leg["gybes"]),
                " ".join(show_number(angle, decimals=0) for angle in laylines if angle == angle) or "-",
            )
        )
    where = f" at {_wind(times.tws_kn[most])} kn" if len(times.tws_kn) > 1 else ""
    return f"Legs of {passage.option}{where}; angles in deg\n{table(header, rows)}"


def _choice_table(times: CourseTimes) -> str:
    from vpp.course_times import say_time
    from vpp.results.variables import show_number

    header = ("option", "expected", "s more", "%", "10 %", "50 %", "90 %", "fastest in %", "regret s")
    rows = [
        (
            choice.option,
            say_time(choice.expected),
            show_number(choice.difference, decimals=1, signed=True),
            show_number(choice.difference_percent, decimals=2, signed=True),
            *(show_number(value, decimals=1, signed=True) for value in choice.quantiles),
            show_number(100.0 * choice.won, decimals=0),
            show_number(choice.regret, decimals=1),
        )
        for choice in sorted(times.choices, key=lambda each: (each.expected != each.expected, each.expected))
    ]
    title = (
        f"Over the forecast, against {times.options[0]}; 10, 50 and 90 % of the winds by weight have at most "
        "that many s more"
    )
    return f"{title}\n{table(header, rows)}"


def _wind(tws_kn: float) -> str:
    return f"{tws_kn:.4g}" if tws_kn == tws_kn else "changing"


def _wrapped(sentence: str) -> str:
    # a number and its unit stay in one line
    joined = sentence
    for unit in ("kn", "deg", "%", "s"):
        joined = joined.replace(f" {unit} ", f"\u00a0{unit} ")
    return textwrap.fill(joined, width=108, subsequent_indent="    ").replace("\u00a0", " ")


# --- data and files -----------------------------------------------------------------------------------------


def _tables(times: CourseTimes) -> dict[str, pd.DataFrame]:
    frames = {
        "times": times.times_frame(),
        "legs": times.legs_frame(),
        "choice": times.choice_frame(),
        "interpolation": times.interpolation,
    }
    return {name: frame.round(_DECIMALS) for name, frame in frames.items()}


def _about(times: CourseTimes, files: Sequence[str]) -> dict[str, Any]:
    from vpp.course_times import NOT_SAILED, SAILED
    from vpp.results.files import about

    sailed = sum(bool(passage.legs) for passage in times.passages)
    told = about(
        times.source,
        options=times.options,
        tws_kn=tuple(float(wind) for wind in times.polar.tws_kn),
        twa_deg=(),
        aims=("speed", "upwind", "downwind"),
        statuses={SAILED: sailed, NOT_SAILED: len(times.passages) - sailed},
        remarks=times.remarks,
        files=files,
    )
    told["grid"] = {"tws_kn": told["grid"]["tws_kn"]}
    told["passages"] = told.pop("conditions")
    course = {"name": times.course.name, "file": times.course.path.name, "digest": times.course.digest}
    return {**told, "course": course}


def _json(times: CourseTimes, written: Written) -> str:
    from vpp.results.files import json_text, records

    return json_text(
        {
            **_about(times, names_of(written)),
            "summary": list(times.summary()),
            **{name: records(frame) for name, frame in _tables(times).items()},
        }
    )


def _csv(times: CourseTimes, written: Written) -> str:
    from vpp.results.files import csv_text

    return csv_text(_tables(times)["times"])


def _write(times: CourseTimes, conditions: pd.DataFrame, folder: Path, *, figures: bool) -> Written:
    from vpp.course import POLAR
    from vpp.results.files import ABOUT, CAUTION, csv_text, json_text, write_folder

    texts = {f"{name}.csv": csv_text(frame) for name, frame in _tables(times).items()}
    texts[POLAR] = csv_text(conditions)
    texts["summary.txt"] = "\n".join([times.source.line, *times.summary(), CAUTION]) + "\n"
    drawn: dict[str, Figure] = {}
    if figures:
        from vpp.course_plot import course_figure

        figure = course_figure(times)
        drawn = {f"course.{kind}": figure for kind in ("png", "svg")}
    about = json_text(_about(times, (*texts, ABOUT, *drawn)))
    try:
        return write_folder(folder, texts={**texts, ABOUT: about}, figures=drawn)
    except OSError as error:
        stop([f"out = {str(folder)!r}: cannot be written ({error.strerror})"])


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}
