"""`vpp why`: where an option's gain comes from."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from vpp.cli.console import SOME_FAILED, stop, table, wrapped
from vpp.cli.options import BoatPath, Format, OneTwa, OneTws, Printed, Waves, angle_of, read_boat
from vpp.cli.writing import figure_problems, write_figure

if TYPE_CHECKING:
    import pandas as pd

    from vpp.polar import Point
    from vpp.why import Why

_HEADER = ("cause", "what it is", "gain kn", "alone kn")
_MEANS = (
    "Gain: by the multipliers of both optima, every trim at its best. Alone: the base with this cause and\n"
    "no other, solved again. What the gains leave over is what causes do to each other."
)


def why(
    boat: BoatPath,
    tws: OneTws = None,
    twa: OneTwa = None,
    option: Annotated[
        list[str] | None,
        typer.Option(
            "--option", metavar="NAME", help="Option to be explained; repeat for more.", show_default="all"
        ),
    ] = None,
    base: Annotated[
        str, typer.Option("--against", metavar="NAME", help="What the options are compared with.")
    ] = "base",
    sea: Waves = None,
    figure: Annotated[
        Path | None,
        typer.Option("--figure", metavar="FILE", help="Draw the parts of one option (.png or .svg)."),
    ] = None,
    printed: Printed = Format.TEXT,
) -> None:
    """Where the gain of an option comes from, by cause.

    Both boats must be carried alike, on the hull or on foils.

    Example: vpp why keelboat.toml --option taller_rig --tws 12 --twa upwind --figure why.png
    """
    from vpp.config import BoatFileError
    from vpp.polar import WindGridError, point
    from vpp.solved import NoEquilibrium
    from vpp.why import NoSplit, split

    given = {"--tws": tws, "--twa": twa}
    problems = [f"{name}: missing" for name, value in given.items() if value is None]
    problems += figure_problems(figure)
    try:
        boat_file = read_boat(boat, options=[*(option or ()), base], sea=sea)
        names = [name for name in option or [each.name for each in boat_file.boats] if name != base]
    except BoatFileError as error:
        stop([*problems, *(str(problem) for problem in error.problems)])
    if not problems and not names:
        problems.append(f"{boat}: nothing to explain: no option beside {base}")
    if figure is not None and len(names) > 1:
        problems.append(f"figure = {str(figure)!r}: one option is drawn; there are {len(names)}")
    if problems or tws is None or twa is None:
        stop(problems)
    try:
        first = point(boat_file, tws_kn=tws, twa_deg=angle_of(twa), option=base)
    except WindGridError as error:
        stop([str(error)])
    except NoEquilibrium as reason:
        typer.echo(f"No result for {base}: {reason}", err=True)
        raise typer.Exit(SOME_FAILED) from None
    found, reasons = [], []
    for name in names:
        try:
            found.append(split(first, point(boat_file, tws_kn=tws, twa_deg=angle_of(twa), option=name)))
        except (NoEquilibrium, NoSplit) as reason:
            reasons.append(f"No parts for {name}: {reason}")
    if found:
        if figure is not None:
            _draw(found[0], first, figure)
        typer.echo(_PRINT[printed](found, first), nl=printed is Format.TEXT)
    for each in reasons:
        typer.echo(each, err=True)
    if reasons:
        raise typer.Exit(SOME_FAILED)


def _draw(found: Why, first: Point, path: Path) -> None:
    from vpp.why_plot import why_figure

    write_figure(path, why_figure(found, first.source))


def _text(found: Sequence[Why], first: Point) -> str:
    from vpp.results.files import CAUTION

    parts = [first.source.line, *(_table(each) for each in found), _MEANS, CAUTION]
    return "\n\n".join(parts)


def _table(found: Why) -> str:
    from vpp.results.variables import show_number
    from vpp.why import CAUSES

    alone = {part.cause: part.solved_again_kn for part in found.parts}
    rows = [
        (
            name,
            CAUSES.get(name, ""),
            show_number(gain, decimals=3, signed=True),
            show_number(alone[name], decimals=3, signed=True) if name in alone else "",
        )
        for name, gain in found.steps()
    ]
    rows.append(("together", "", show_number(found.gain_kn, decimals=3, signed=True), ""))
    return f"{wrapped(found.sentence())}\n\n{table(_HEADER, rows, left=2)}"


def _frame(found: Sequence[Why]) -> pd.DataFrame:
    import pandas as pd

    from vpp.why import FILE_DECIMALS

    return pd.concat([each.to_frame() for each in found], ignore_index=True).round(FILE_DECIMALS)


def _json(found: Sequence[Why], first: Point) -> str:
    from vpp.results.files import CAUTION, json_text, origin, records

    told: dict[str, Any] = {
        **origin(first.source),
        "parts": records(_frame(found)),
        "summary": [each.sentence() for each in found],
        "caution": CAUTION,
    }
    return json_text(told)


def _csv(found: Sequence[Why], first: Point) -> str:
    from vpp.results.files import csv_text

    return csv_text(_frame(found))


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}
