"""`vpp point`: one boat in one wind."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

import typer

from vpp.cli.console import SOME_FAILED, closing, print_result, stop, table
from vpp.cli.options import (
    BaseOptions,
    BoatPath,
    Format,
    Printed,
    Waves,
    angle_of,
    folder_problems,
    read_boat,
)
from vpp.cli.writing import figure_problems, write_figure

if TYPE_CHECKING:
    from vpp.config import BoatFile
    from vpp.levers import Levers
    from vpp.polar import Point
    from vpp.results.files import Written

_BASE = "base"
_MOST_DRAWN = 2
_FORCES = ("force_x_n", "force_y_n", "force_z_n")
_MOMENTS = ("moment_x_nm", "moment_y_nm", "moment_z_nm")
_HEADER = ("component", "medium", "along N", "across N", "up N", "roll N m", "pitch N m", "yaw N m")
_SIGNS = (
    "Forces along the course, across it to leeward, and up. Moments about the boat's reference point,\n"
    "positive in roll to windward, in pitch bow down, in yaw bow to leeward. Columns are rounded so that\n"
    "they add up."
)


def point(
    boat: BoatPath,
    tws: Annotated[float, typer.Option("--tws", metavar="KN", help="True wind speed, kn.")],
    twa: Annotated[
        str, typer.Option("--twa", metavar="DEG", help="True wind angle, deg, or upwind or downwind.")
    ],
    option: BaseOptions = None,
    branch: Annotated[
        str | None,
        typer.Option(
            "--branch",
            metavar="NAME",
            help="How the boat is carried: hull-borne or foil-borne.",
            show_default="the better",
        ),
    ] = None,
    sail_set: Annotated[
        str | None,
        typer.Option(
            "--sail-set", metavar="NAME", help="Which of the boat's sail sets is up.", show_default="the best"
        ),
    ] = None,
    sea: Waves = None,
    figure: Annotated[
        Path | None, typer.Option("--figure", metavar="FILE", help="Draw the budget (.png or .svg).")
    ] = None,
    plot: Annotated[
        bool, typer.Option("--plot", help="Draw the rig of one option, or of two over each other.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="DIR", help="Folder for what --plot draws.", show_default="out/point"
        ),
    ] = None,
    lever: Annotated[
        list[str] | None,
        typer.Option(
            "--lever",
            metavar="KEY",
            help="What one more unit of this number of the boat file buys; repeat for more.",
            show_default="the ten strongest",
        ),
    ] = None,
    no_levers: Annotated[
        bool, typer.Option("--no-levers", help="Leave out what one more unit of everything buys.")
    ] = False,
    printed: Printed = Format.TEXT,
) -> None:
    """Speed, trim and every force in one wind; levers.

    --twa upwind or downwind finds the angle of best VMG. With --lever, --format csv prints the levers.

    Example: vpp point keelboat.toml --tws 12 --twa upwind

    Example: vpp point keelboat.toml --tws 12 --twa 45 --option base --option taller_rig --plot -o rig
    """
    from vpp.config import BoatFileError

    options = list(dict.fromkeys(option or (_BASE,)))
    if problems := [*_drawing_problems(options, figure=figure, plot=plot, out=out)]:
        stop(problems)
    try:
        boat_file = read_boat(boat, options=options, sea=sea)
    except BoatFileError as error:
        stop(str(problem) for problem in error.problems)
    found, reasons = _solve(boat_file, options, tws=tws, twa=twa, branch=branch, sail_set=sail_set)
    # states that are not proven fastest are printed, and are no results
    reasons |= {str(each.values["option"]): why for each in found if (why := str(each.values["reason"]))}
    for name, reason in reasons.items():
        typer.echo(f"No result{f' for {name}' if len(options) > 1 else ''}: {reason}", err=True)
    if reasons and (plot or figure is not None):
        typer.echo("Nothing is drawn: there is no result to draw.", err=True)
    written = None
    if not reasons and figure is not None:
        _draw_budget(found[0], figure)
    if not reasons and plot:
        written = _draw_rig(found, Path("out/point") if out is None else out)
    worth = _Levers(found=(), keys=tuple(lever or ()))
    if found and not no_levers and (lever or printed is not Format.CSV):
        worth = _levers(boat_file, found, keys=worth.keys)
    if found and written is not None:
        print_result(_PRINT[printed](found, written, worth), written, is_data=printed is not Format.TEXT)
    elif found:
        typer.echo(_PRINT[printed](found, None, worth), nl=printed is Format.TEXT)
    if reasons:
        raise typer.Exit(SOME_FAILED)


def _drawing_problems(
    options: Sequence[str], *, figure: Path | None, plot: bool, out: Path | None
) -> list[str]:
    """What is wrong with the words that ask for drawings."""
    problems = figure_problems(figure)
    if figure is not None and len(options) > 1:
        problems.append(
            f"figure = {str(figure)!r}: the budget of one option is drawn; {len(options)} are named"
        )
    if plot and len(options) > _MOST_DRAWN:
        problems.append(f"plot: one option is drawn, or two over each other; {len(options)} are named")
    if out is not None and not plot:
        problems.append(f"out = {str(out)!r}: there is nothing to write without --plot")
    folder = Path("out/point") if out is None else out
    return problems + (folder_problems(folder) if plot else [])


def _solve(
    boat_file: BoatFile,
    options: Sequence[str],
    *,
    tws: float,
    twa: str,
    branch: str | None,
    sail_set: str | None,
) -> tuple[list[Point], dict[str, str]]:
    """The points that have a state, and by option why others have none; bad input ends the command."""
    from vpp.polar import NoSuchBranch, NoSuchSailSet, WindGridError
    from vpp.polar import point as solve_point
    from vpp.solved import NoEquilibrium

    found, reasons = [], {}
    for name in options:
        try:
            found.append(
                solve_point(
                    boat_file,
                    tws_kn=tws,
                    twa_deg=angle_of(twa),
                    option=name,
                    branch=branch,
                    sail_set=sail_set,
                    unproven=True,
                )
            )
        except WindGridError as error:
            stop(error.problems)
        except (NoSuchBranch, NoSuchSailSet) as error:
            stop([str(error)])
        except NoEquilibrium as reason:
            reasons[name] = str(reason)
    return found, reasons


class _Levers(NamedTuple):
    """What one more unit buys at every point, or why that is not known; empty where it is not asked for."""

    found: Sequence[Levers | str]
    keys: Sequence[str]


def _levers(boat_file: BoatFile, found: Sequence[Point], *, keys: Sequence[str]) -> _Levers:
    """Keys that cannot be moved end the command."""
    from vpp.cli.lever_tables import levers_of
    from vpp.config import BoatFileError

    try:
        return _Levers(levers_of(boat_file, found, keys=keys), keys)
    except BoatFileError as error:
        stop(str(problem) for problem in error.problems)


def _draw_budget(found: Point, path: Path) -> None:
    from vpp.plots import budget_figure

    write_figure(path, budget_figure(found))


def _draw_rig(found: Sequence[Point], folder: Path) -> Written:
    """The drawing of the rig and the numbers of its stations."""
    import pandas as pd

    from vpp.results.files import ABOUT, csv_text, json_text, write_folder
    from vpp.rig_plot import draw_rig
    from vpp.rig_view import rig_view

    figure = draw_rig(*found)
    drawn = {"rig.png": figure, "rig.svg": figure}
    stations = pd.concat([rig_view(point).to_frame() for point in found], ignore_index=True)
    told = _about(found, files=("stations.csv", ABOUT, *drawn))
    texts = {"stations.csv": csv_text(stations), ABOUT: json_text(told)}
    try:
        return write_folder(folder, texts=texts, figures=drawn)
    except OSError as error:
        stop([f"out = {str(folder)!r}: cannot be written ({error.strerror})"])


def _about(found: Sequence[Point], *, files: Sequence[str]) -> dict[str, Any]:
    """What `about.json` says of points and the names of the files written with it."""
    from vpp.polar import source_of_all
    from vpp.results.files import CAUTION, NOT_CALIBRATED
    from vpp.version import __version__

    source, values = source_of_all(found), [point.values for point in found]
    return {
        "boat": source.name,
        "file": source.file,
        "digest": source.digest,
        "version": __version__,
        "calibration": source.calibration or NOT_CALIBRATED,
        "options": [each["option"] for each in values],
        "tws_kn": values[0]["tws_kn"],
        "twa_deg": [round(float(each["twa_deg"]), 3) for each in values],
        "aim": values[0]["aim"],
        "branches": [each["branch"] for each in values],
        "files": list(files),
        "caution": CAUTION,
    }


# --- text and data ------------------------------------------------------------------------------------------


def _text(found: Sequence[Point], written: Written | None, worth: _Levers) -> str:
    from vpp.cli.lever_tables import told
    from vpp.polar import source_of_all
    from vpp.results.files import CAUTION

    of_levers = [[told(each, keys=worth.keys)] for each in worth.found] or [[]] * len(found)
    parts = [
        part
        for point, levers in zip(found, of_levers, strict=True)
        for part in (*_told(point, signs=point is found[0]), *levers)
    ]
    parts[0] = f"{source_of_all(found).line}\n{parts[0]}"
    if written is None:
        return "\n\n".join([*parts, CAUTION])
    from vpp.rig_plot import say_effort
    from vpp.rig_view import rig_view

    return "\n\n".join([*parts, say_effort([rig_view(point) for point in found]), closing(written)])


def _told(found: Point, *, signs: bool) -> list[str]:
    """A point in paragraphs, and where wanted what the signs of its budget mean."""
    from vpp.results.variables import VARIABLES

    values = found.values
    state = [
        (item.long_name, item.show(float(values[item.column])), "" if item.unit == "1" else item.unit)
        for item in VARIABLES
        if not item.is_text and float(values[item.column]) == float(values[item.column])
    ]
    aim = "" if values["aim"] == "speed" else f", best VMG {values['aim']}"
    worn = f", under {values['sail_set']}" if values["sail_set"] else ""
    unproven = f"\nNo result: {values['reason']}" if values["reason"] else ""
    parts = [
        f"{values['option']}{aim}, {values['branch']}{worn}{unproven}",
        _state(state),
        _budget(found),
        *([_SIGNS] if signs else []),
    ]
    if values["remark"]:
        parts.append(f"Remark: {values['remark']}")
    return [*parts, *found.others()]


def _state(rows: list[tuple[str, str, str]]) -> str:
    name_width = max(len(name) for name, _, _ in rows)
    value_width = max(len(value) for _, value, _ in rows)
    return "\n".join(
        f"{name.ljust(name_width)}  {value.rjust(value_width)} {unit}".rstrip() for name, value, unit in rows
    )


def _budget(found: Point) -> str:
    from vpp.results.rounding import add_up, decimals_for

    budget = found.budget
    columns = [
        add_up(budget[name].to_numpy(), decimals=decimals_for(budget[name].to_numpy()))
        for name in (*_FORCES, *_MOMENTS)
    ]
    names = [*budget["component"], "together"]
    media = [*budget["medium"], ""]
    return table(_HEADER, zip(names, media, *columns, strict=True), left=2)


def _json(found: Sequence[Point], written: Written | None, worth: _Levers) -> str:
    from vpp.cli.lever_tables import lever_records
    from vpp.polar import source_of_all
    from vpp.results.files import CAUTION, NOT_CALIBRATED, json_text

    source, told = source_of_all(found), [_record(point) for point in found]
    for record, levers in zip(told, worth.found, strict=False):
        record |= lever_records(levers, keys=worth.keys)
    return json_text(
        {
            "boat": source.name,
            "file": source.file,
            "digest": source.digest,
            "calibration": source.calibration or NOT_CALIBRATED,
            **(told[0] if len(told) == 1 else {"points": told}),
            **({} if written is None else {"files": [str(path) for path in written.files]}),
            "caution": CAUTION,
        }
    )


def _record(found: Point) -> dict[str, Any]:
    from vpp.results.files import records

    return {
        "values": records(found.frame)[0],
        "budget": records(found.budget),
        **({"others": list(found.others())} if found.others() else {}),
    }


def _csv(found: Sequence[Point], written: Written | None, worth: _Levers) -> str:
    import pandas as pd

    from vpp.cli.lever_tables import shown_frame
    from vpp.results.files import csv_text

    if worth.keys and worth.found:
        return csv_text(shown_frame(worth.found, keys=worth.keys))
    return csv_text(pd.concat([point.frame for point in found], ignore_index=True))


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}
