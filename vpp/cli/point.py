"""`vpp point`: one boat in one wind."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vpp.cli.console import SOME_FAILED, stop, table
from vpp.cli.options import BoatPath, Format, Printed

if TYPE_CHECKING:
    from vpp.polar import Point

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
    option: Annotated[
        str, typer.Option("--option", metavar="NAME", help="Option of the boat file.")
    ] = "base",
    branch: Annotated[
        str | None,
        typer.Option(
            "--branch",
            metavar="NAME",
            help="How the boat is carried: hull-borne or foil-borne.",
            show_default="the better",
        ),
    ] = None,
    figure: Annotated[
        Path | None, typer.Option("--figure", metavar="FILE", help="Draw the budget (.png or .svg).")
    ] = None,
    printed: Printed = Format.TEXT,
) -> None:
    """Speed, trim and every force in one wind.

    --twa upwind or downwind finds the angle of best VMG.

    Example: vpp point keelboat.toml --tws 12 --twa upwind
    """
    from vpp.config import BoatFileError, load
    from vpp.polar import NoSuchBranch, WindGridError
    from vpp.polar import point as solve_point
    from vpp.solved import NoEquilibrium

    if figure is not None and figure.suffix.lower() not in (".png", ".svg"):
        stop([f"figure = {str(figure)!r}: the name must end in .png or .svg"])
    try:
        found = solve_point(load(boat), tws_kn=tws, twa_deg=_angle(twa), option=option, branch=branch)
    except (BoatFileError, WindGridError) as error:
        stop(str(problem) for problem in error.problems)
    except NoSuchBranch as error:
        stop([str(error)])
    except NoEquilibrium as reason:
        typer.echo(f"No result: {reason}", err=True)
        raise typer.Exit(SOME_FAILED) from None
    if figure is not None:
        _draw(found, figure)
    typer.echo(_PRINT[printed](found), nl=printed is Format.TEXT)


def _angle(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text


def _draw(found: Point, path: Path) -> None:
    from vpp.plots import budget_figure
    from vpp.results.files import save_figure

    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        save_figure(path, budget_figure(found))
    except OSError as error:
        stop([f"figure = {str(path)!r}: cannot be written ({error.strerror})"])


def _text(found: Point) -> str:
    from vpp.results.files import CAUTION
    from vpp.results.variables import VARIABLES

    values = found.values
    state = [
        (item.long_name, item.show(float(values[item.column])), "" if item.unit == "1" else item.unit)
        for item in VARIABLES
        if not item.is_text and float(values[item.column]) == float(values[item.column])
    ]
    aim = "" if values["aim"] == "speed" else f", best VMG {values['aim']}"
    parts = [
        f"{found.source.line}\n{values['option']}{aim}, {values['branch']}",
        _state(state),
        _budget(found),
        _SIGNS,
    ]
    if values["remark"]:
        parts.append(f"Remark: {values['remark']}")
    parts += found.others()
    return "\n\n".join([*parts, CAUTION])


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


def _json(found: Point) -> str:
    from vpp.results.files import CAUTION, json_text, records

    return json_text(
        {
            "boat": found.source.name,
            "file": found.source.file,
            "digest": found.source.digest,
            "values": records(found.frame)[0],
            "budget": records(found.budget),
            **({"others": list(found.others())} if found.others() else {}),
            "caution": CAUTION,
        }
    )


def _csv(found: Point) -> str:
    from vpp.results.files import csv_text

    return csv_text(found.frame)


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}
