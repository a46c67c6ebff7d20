"""`vpp target`: the angle and the speed to sail for, and what being off them costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from vpp.cli.console import SOME_FAILED, closing, print_result, progress, stop, table, wrapped
from vpp.cli.options import (
    BaseOptions,
    BoatPath,
    Format,
    PolarFolder,
    Printed,
    Processes,
    Waves,
    angle_of,
    folder_problems,
    process_count,
    read_boat,
)
from vpp.cli.writing import names_of

if TYPE_CHECKING:
    import pandas as pd

    from vpp.config import BoatFile
    from vpp.polar import WindGrid
    from vpp.results.files import Source, Written
    from vpp.targets_between import SpeedAt, Target, Targets

TwsGrid = Annotated[
    str | None,
    typer.Option(
        "--tws-grid",
        metavar="START:STOP:STEP",
        help="True wind speeds to solve, kn, both ends included.",
        show_default="6:24:2",
    ),
]
TwaGrid = Annotated[
    str | None,
    typer.Option(
        "--twa-grid",
        metavar="START:STOP:STEP",
        help="True wind angles to solve, deg, both ends included.",
        show_default="30:170:5",
    ),
]
DECIMALS = {
    **dict.fromkeys(
        ("boat_speed_kn", "vmg_kn", "boat_speed_gain_kn", "vmg_lost_kn", "half_degree_lost_kn"), 4
    ),
    **dict.fromkeys(("half_knot_lost_kn", "boat_speed_error_kn", "vmg_error_kn"), 4),
    **dict.fromkeys(
        ("twa_deg", "twa_error_deg", "vmg_lost_percent", "tws_kn", "flat_from_deg", "flat_to_deg"), 3
    ),
    **dict.fromkeys(("half_degree_lost_s_per_nm", "half_knot_lost_s_per_nm"), 2),
}
# The first is what targets and cards leave; a polar leaves one of the others.
_EACH = ("each_way.csv", "sail_sets.csv", "branches.csv")
_SHORT = {"upwind": "up", "downwind": "down"}


def target(
    boat: BoatPath,
    tws: Annotated[
        float | None,
        typer.Option(
            "--tws", metavar="KN", help="True wind speed to answer for in one line, kn.", show_default=False
        ),
    ] = None,
    twa: Annotated[
        str | None,
        typer.Option(
            "--twa",
            metavar="DEG",
            help="With --tws: true wind angle to answer for, deg, or upwind or downwind.",
            show_default="upwind and downwind",
        ),
    ] = None,
    option: BaseOptions = None,
    polar: PolarFolder = None,
    tws_grid: TwsGrid = None,
    twa_grid: TwaGrid = None,
    sea: Waves = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="DIR", help="Folder for the files; without it none are written."),
    ] = None,
    printed: Printed = Format.TEXT,
    processes: Processes = None,
) -> None:
    """Angle and speed to sail for by wind, and what being off costs.

    With --tws the answer is one line: the targets up and down, or the speed at --twa. Without --polar it is
    solved in that very wind, unless --tws-grid asks for winds to interpolate between.

    Example: vpp target keelboat.toml --polar out/polar --tws 13.4
    """
    names = list(dict.fromkeys(option or ("base",)))
    problems = asked_problems(tws, twa)
    if tws is not None and out is not None:
        problems.append(f"out = {str(out)!r}: of no use with --tws, whose answer is one line")
    if polar is None and tws is not None and tws_grid is None and not problems:
        tws_grid = f"{tws!r}"
        twa_grid = twa_grid or (twa if _is_angle(twa) else None) or "90"
    boat_file, grid = read_input(
        boat, names, polar=polar, tws_grid=tws_grid, twa_grid=twa_grid, sea=sea, out=out, problems=problems
    )
    found = find_targets(
        boat_file,
        names,
        grid=grid,
        polar=polar,
        processes=process_count(processes),
        around=tws is None,
    )
    if tws is None:
        _tables(found, out, printed)
    elif twa is not None and _is_angle(twa):
        _speeds(found, tws, float(twa), printed)
    else:
        _lines(found, tws, (twa,) if twa else tuple(_SHORT), printed)


def _is_angle(twa: str | None) -> bool:
    return twa is not None and isinstance(angle_of(twa), float)


def asked_problems(tws: float | None, twa: str | None) -> list[str]:
    """What is wrong with the wind and the angle that are asked for."""
    from vpp.polar import TWS_LIMIT_KN

    problems = []
    if tws is not None and not 0.0 < tws <= TWS_LIMIT_KN:
        problems.append(f"tws = {tws:g} kn: outside the allowed range: above 0, at most {TWS_LIMIT_KN:g} kn")
    if twa is None:
        return problems
    if tws is None:
        problems.append("--tws: missing beside --twa; angles to solve are --twa-grid")
    angle = angle_of(twa)
    if isinstance(angle, str) and angle not in _SHORT:
        problems.append(f"twa = {twa!r}: write an angle from 0 to 180 deg, upwind or downwind")
    elif isinstance(angle, float) and not 0.0 <= angle <= 180.0:
        problems.append(f"twa = {twa} deg: outside the allowed range: from 0, at most 180 deg")
    return problems


def read_input(
    boat: Path,
    options: Sequence[str],
    *,
    polar: Path | None,
    tws_grid: str | None,
    twa_grid: str | None,
    sea: str | None,
    out: Path | None,
    problems: Sequence[str] = (),
) -> tuple[BoatFile, WindGrid]:
    """The boat file and the wind grid; everything wrong with these, with the folders, or already known to be
    wrong ends the command.
    """
    from vpp.config import BoatFileError
    from vpp.polar import WindGrid, WindGridError
    from vpp.targets import DEFAULT_TWA_GRID, DEFAULT_TWS_GRID

    told, grid, boat_file = list(problems), None, None
    try:
        grid = WindGrid.parse(tws=tws_grid or DEFAULT_TWS_GRID, twa=twa_grid or DEFAULT_TWA_GRID)
    except WindGridError as error:
        told += [f"--{name}-grid: {text}" for text in error.problems for name in [text.split()[0]]]
    if polar is not None:
        told += [
            f"{name}: of no use beside --polar, which has its own"
            for name, given in (("--tws-grid", tws_grid), ("--twa-grid", twa_grid))
            if given is not None
        ]
    told += folder_problems(out, polar=polar)
    try:
        boat_file = read_boat(boat, options=options, sea=sea)
    except BoatFileError as error:
        told += [str(problem) for problem in error.problems]
    if told or grid is None or boat_file is None:
        stop(told)
    return boat_file, grid


def find_targets(
    boat_file: BoatFile,
    options: Sequence[str],
    *,
    grid: WindGrid,
    polar: Path | None,
    processes: int,
    around: bool,
) -> Targets:
    """Targets of the named options, from a folder or solved, then with the angles `around` the best ones if
    asked; what cannot be ends the command.
    """
    from vpp.course import CourseError, read_polar
    from vpp.interpolation import InterpolationError
    from vpp.polar import polar as solve_polar
    from vpp.targets import with_angles_around
    from vpp.targets_between import targets_from

    source: Source
    try:
        if polar is not None:
            conditions, source = read_polar(polar, boat_file)
            return targets_from(conditions, source=source, options=options, each=_read_each(polar))
        with progress("solving") as report:
            solved = solve_polar(
                boat_file,
                tws_kn=grid.tws_kn,
                twa_deg=grid.twa_deg,
                options=[name for name in options if name != "base"] or ["base"],
                processes=processes,
                progress=report,
            )
        found = solved.targets()
        if around:
            with progress("angles around the best") as report:
                found = with_angles_around(solved, processes=processes, progress=report)
        return targets_from(found.frame, source=found.source, options=options, each=found.each)
    except CourseError as error:
        stop(error.problems)
    except InterpolationError as error:
        stop(str(error).splitlines())


def _read_each(folder: Path) -> pd.DataFrame | None:
    """The table of every sail set or branch that a command has left in a folder, if there is one."""
    import pandas as pd

    for name in _EACH:
        try:
            return pd.read_csv(folder / name)
        except (OSError, ValueError):
            continue
    return None


def each_texts(found: Targets) -> dict[str, str]:
    """The same table to be left in a folder, by file name; nothing where there is one way only."""
    from vpp.results.files import csv_text

    return {} if found.each.empty else {_EACH[0]: csv_text(found.each)}


# --- one line -----------------------------------------------------------------------------------------------


def _lines(found: Targets, tws_kn: float, aims: Sequence[str], printed: Format) -> None:
    """A line an option: the targets in one wind."""
    from vpp.interpolation import InterpolationError
    from vpp.targets_between import targets_frame

    try:
        told = [[found.target(option, aim=aim, tws_kn=tws_kn) for aim in aims] for option in found.options]
    except InterpolationError as error:
        stop([str(error)])
    flat = [each for of_option in told for each in of_option]
    lines = [_line(found, each) for each in told]
    _answer(
        found,
        lines,
        targets_frame(flat, found.trims),
        [(f"{each.option} {each.aim}", each.reason) for each in flat],
        printed,
    )


def _speeds(found: Targets, tws_kn: float, twa_deg: float, printed: Format) -> None:
    """A line an option: the speed at one wind and angle."""
    from vpp.interpolation import InterpolationError
    from vpp.targets_between import speeds_frame

    try:
        told = [found.speed_at(option, tws_kn=tws_kn, twa_deg=twa_deg) for option in found.options]
    except InterpolationError as error:
        stop([str(error)])
    lines = [_speed_line(found, each) for each in told]
    _answer(found, lines, speeds_frame(told), [(each.option, each.reason) for each in told], printed)


def _answer(
    found: Targets,
    lines: Sequence[str],
    frame: pd.DataFrame,
    reasons: Sequence[tuple[str, str]],
    printed: Format,
) -> None:
    """The answer on stdout and all that goes with it on stderr, so that it can be read at a glance."""
    from vpp.results.files import CAUTION, csv_text, json_text, origin, records

    frame = frame.round(DECIMALS)
    if printed is Format.CSV:
        typer.echo(csv_text(frame), nl=False)
    elif printed is Format.JSON:
        told = {**origin(found.source), "rows": records(frame), "summary": list(lines), "caution": CAUTION}
        typer.echo(json_text(told), nl=False)
    else:
        typer.echo("\n".join(lines))
        typer.echo(f"{found.source.line}\n{CAUTION}", err=True)
    lacking = [f"No result for {name}: {reason}" for name, reason in reasons if reason]
    if printed is not Format.TEXT:
        for sentence in lacking:
            typer.echo(sentence, err=True)
    if lacking:
        raise typer.Exit(SOME_FAILED)


def _line(found: Targets, targets: Sequence[Target]) -> str:
    first = targets[0]
    parts = "; ".join(_say_target(found, each) for each in targets)
    return f"TWS {first.tws_kn:g} kn, {first.option}: {parts}{_say_error(targets)}"


def _say_target(found: Targets, told: Target) -> str:
    from vpp.results.variables import show_number
    from vpp.targets_between import NO_TARGET

    way = _SHORT[told.aim]
    if told.status == NO_TARGET:
        return f"{way} none, {told.reason}"
    parts = [
        f"{way} TWA {_with_error(told.twa_deg, told.twa_error_deg, 1)} deg",
        f"{_with_error(told.boat_speed_kn, told.boat_speed_error_kn, 2)} kn{told.mark}",
        f"VMG {show_number(told.vmg_kn, decimals=2)} kn",
    ]
    for column, word, unit, decimals in (("heel_deg", "heel", "deg", 0), ("ride_height_m", "ride", "m", 2)):
        value = told.state.get(column, math.nan)
        if math.isfinite(value):
            parts.append(f"{word} {_with_error(value, told.state_error[column], decimals)} {unit}")
    return ", ".join([*parts, *_carried(found, told)])


def _speed_line(found: Targets, told: SpeedAt) -> str:
    from vpp.results.variables import show_number
    from vpp.targets_between import NO_TARGET

    head = f"TWS {told.tws_kn:g} kn, TWA {told.twa_deg:g} deg, {told.option}"
    if told.status == NO_TARGET:
        return f"{head}: none, {told.reason}"
    parts = [
        f"{_with_error(told.boat_speed_kn, told.error_kn, 2)} kn",
        f"VMG {show_number(abs(told.vmg_kn), decimals=2)} kn {'up' if told.vmg_kn >= 0.0 else 'down'}",
        *_carried(found, told),
    ]
    return f"{head}: {', '.join(parts)}{_say_error([told])}"


def _carried(found: Targets, told: Target | SpeedAt) -> list[str]:
    parts = [told.branch] if found.flies else []
    return [*parts, *([f"under {told.sail_set}"] if told.sail_set else [])]


def _with_error(value: float, error: float, decimals: int) -> str:
    """A number and, where it is interpolated, its error, rounded up so that it never says none."""
    from vpp.results.variables import show_number

    shown = show_number(value, decimals=decimals)
    if not error > 0.0:
        return shown
    unit = 10.0**-decimals
    return f"{shown} \u00b1{show_number(math.ceil(error / unit - 1e-9) * unit, decimals=decimals)}"


def _say_error(told: Sequence[Target | SpeedAt]) -> str:
    from vpp.targets_between import INTERPOLATED, SOLVED, SpeedAt

    if all(each.status != INTERPOLATED for each in told):
        return " (solved, not interpolated)" if any(each.status == SOLVED for each in told) else ""
    errors = [
        each.error_kn if isinstance(each, SpeedAt) else each.boat_speed_error_kn
        for each in told
        if each.status == INTERPOLATED
    ]
    if any(math.isnan(error) for error in errors):
        return " (interpolated; too few solved points to tell the error)"
    return " (\u00b1 of interpolation)"


# --- tables -------------------------------------------------------------------------------------------------


def _tables(found: Targets, out: Path | None, printed: Format) -> None:
    from vpp.results.files import Written

    written = Written(files=(), removed=()) if out is None else _write(found, out)
    print_result(_PRINT[printed](found, written), written, is_data=printed is not Format.TEXT)
    lacking = [each for option in found.options for each in found.all(option) if each.reason]
    for each in lacking:
        typer.echo(f"No target for {each.option} {each.aim} in {each.tws_kn:g} kn: {each.reason}", err=True)
    if lacking:
        raise typer.Exit(SOME_FAILED)


def _text(found: Targets, written: Written) -> str:
    from vpp.results.files import CAUTION

    parts = [found.source.line]
    for option in found.options:
        for aim in _SHORT:
            targets = [each for each in found.all(option) if each.aim == aim]
            parts += [_targets_table(found, targets), _modes_table(targets), _trims_table(found, targets)]
    parts.append("\n".join(wrapped(note, units=("deg", "kn")) for note in found.notes()))
    return "\n\n".join([*filter(None, parts), closing(written) if written.files else CAUTION])


def _targets_table(found: Targets, targets: Sequence[Target]) -> str:
    from vpp.flat_tops import SHARE
    from vpp.results.variables import show_number

    option, aim = targets[0].option, targets[0].aim
    rides = any(math.isfinite(each.state.get("ride_height_m", math.nan)) for each in targets)
    header = ["TWS kn", "TWA deg", "speed kn", "VMG kn", "heel deg", *(["ride m"] if rides else [])]
    header += [f"within {100.0 * SHARE:g} %: TWA deg", "half deg: s/nm", "half kn: s/nm"]
    header += [*(["carried"] if found.flies else []), *(["sails"] if found.has_sail_sets else [])]
    rows = []
    for each in targets:
        rows.append(
            [
                f"{each.tws_kn:g}",
                show_number(each.twa_deg, decimals=1),
                show_number(each.boat_speed_kn, decimals=2) + each.mark,
                show_number(each.vmg_kn, decimals=2),
                show_number(each.state.get("heel_deg", math.nan), decimals=1),
                *([show_number(each.state.get("ride_height_m", math.nan), decimals=2)] if rides else []),
                each.flat_words,
                each.half_degree_words,
                show_number(each.seconds_per_nm(each.half_knot_lost_kn), decimals=0),
                *([each.branch or "-"] if found.flies else []),
                *([each.sail_set or "-"] if found.has_sail_sets else []),
            ]
        )
    title = f"{option}: targets {aim}, and what being off them costs"
    return f"{title}\n{table(header, rows, left=0)}"


def _modes_table(targets: Sequence[Target]) -> str:
    from vpp.results.variables import show_number
    from vpp.targets_between import MODES_DEG, UNSURE_MARK, say_mode

    option, aim = targets[0].option, targets[0].aim
    header = ["TWS kn", *(say_mode(offset) for offset in MODES_DEG)]
    rows = []
    for each in targets:
        cells = []
        for offset in MODES_DEG:
            lost = each.lost_kn.get(offset, math.nan)
            cosine = abs(math.cos(math.radians(each.twa_deg + offset))) if math.isfinite(lost) else math.nan
            speed = (each.vmg_kn - lost) / cosine if math.isfinite(lost) else math.nan
            gain = show_number(speed - each.boat_speed_kn, decimals=2, signed=True)
            mark = "" if each.is_sure(offset) else UNSURE_MARK
            cells.append(f"{gain} ({show_number(lost, decimals=3)}{mark})" if math.isfinite(lost) else "-")
        rows.append([f"{each.tws_kn:g}", *cells])
    title = f"{option}: modes {aim}: boat speed against the target, kn, and VMG lost, kn, in brackets"
    return f"{title}\n{table(header, rows, left=0)}"


def _trims_table(found: Targets, targets: Sequence[Target]) -> str:
    from vpp.results.variables import variable

    trims = [
        name for name in found.trims if any(math.isfinite(each.state.get(name, math.nan)) for each in targets)
    ]
    if not trims:
        return ""
    header = ["trim", *(f"{each.tws_kn:g}" for each in targets)]
    rows = [
        [
            variable(name).label,
            *(variable(name).show(each.state.get(name, math.nan)) for each in targets),
        ]
        for name in trims
    ]
    return f"{targets[0].option}: trims {targets[0].aim}, by TWS, kn\n{table(header, rows)}"


# --- data and files -----------------------------------------------------------------------------------------


def _frames(found: Targets) -> dict[str, pd.DataFrame]:
    frames = {
        "targets": found.to_frame(),
        "modes": found.modes_frame(),
        "interpolation": found.interpolation_frame(),
    }
    return {name: frame.round(DECIMALS) for name, frame in frames.items()}


def about_targets(found: Targets, files: Sequence[str]) -> dict[str, Any]:
    """What a folder of targets was made from."""
    from vpp.results.files import about
    from vpp.targets_between import NO_TARGET, SOLVED

    statuses = [each.status for option in found.options for each in found.all(option)]
    told = about(
        found.source,
        options=found.options,
        tws_kn=found.tws_kn,
        twa_deg=found.grid_twa_deg,
        aims=("speed", *_SHORT),
        statuses={name: statuses.count(name) for name in (SOLVED, NO_TARGET)},
        remarks={},
        files=files,
    )
    told["targets"] = told.pop("conditions")
    del told["remarks"]
    return told


def _json(found: Targets, written: Written) -> str:
    from vpp.results.files import json_text, records

    frames = {name: records(frame) for name, frame in _frames(found).items()}
    return json_text({**about_targets(found, names_of(written)), **frames})


def _csv(found: Targets, written: Written) -> str:
    from vpp.results.files import csv_text

    return csv_text(_frames(found)["targets"])


def _write(found: Targets, folder: Path) -> Written:
    from vpp.course import POLAR
    from vpp.results.files import ABOUT, csv_text, json_text, write_folder

    texts = {f"{name}.csv": csv_text(frame) for name, frame in _frames(found).items()}
    texts |= {POLAR: csv_text(found.frame), **each_texts(found)}
    about = json_text(about_targets(found, (*texts, ABOUT)))
    try:
        return write_folder(folder, texts={**texts, ABOUT: about}, figures={})
    except OSError as error:
        stop([f"out = {str(folder)!r}: cannot be written ({error.strerror})"])


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}
