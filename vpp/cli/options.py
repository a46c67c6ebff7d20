"""Arguments and options that several commands share, and what is read from them."""

from __future__ import annotations

import os
from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vpp.cli.console import stop

if TYPE_CHECKING:
    from vpp.config import BoatFile
    from vpp.polar import WindGrid


class Format(StrEnum):
    """What is printed."""

    TEXT = "text"
    JSON = "json"
    CSV = "csv"


def _format(text: str) -> Format:
    if text not in tuple(Format):
        stop([f"format = {text!r}: not a format; allowed: {', '.join(Format)}"])
    return Format(text)


def angle_of(text: str) -> float | str:
    """A wind angle in degrees, or the word that stands in its place."""
    try:
        return float(text)
    except ValueError:
        return text


BoatPath = Annotated[Path, typer.Argument(metavar="BOAT", help="Boat file (TOML).", show_default=False)]
Tws = Annotated[
    str, typer.Option("--tws", metavar="START:STOP:STEP", help="True wind speeds, kn, both ends included.")
]
Twa = Annotated[
    str, typer.Option("--twa", metavar="START:STOP:STEP", help="True wind angles, deg, both ends included.")
]
Options = Annotated[
    list[str] | None,
    typer.Option(
        "--option", metavar="NAME", help="Take only this option; repeat for more.", show_default="all"
    ),
]
OneTws = Annotated[float | None, typer.Option("--tws", metavar="KN", help="True wind speed, kn.  [required]")]
OneTwa = Annotated[
    str | None,
    typer.Option("--twa", metavar="DEG", help="True wind angle, deg, or upwind or downwind.  [required]"),
]
PolarFolder = Annotated[
    Path | None,
    typer.Option(
        "--polar",
        metavar="DIR",
        help="Folder with the polar.csv of an earlier command for this boat file, in place of solving.",
        show_default=False,
    ),
]
BaseOptions = Annotated[
    list[str] | None,
    typer.Option(
        "--option", metavar="NAME", help="Option of the boat file; repeat for more.", show_default="base"
    ),
]
Out = Annotated[Path, typer.Option("--out", "-o", metavar="DIR", help="Folder for the files.")]
Printed = Annotated[
    Format, typer.Option("--format", metavar="|".join(Format), parser=_format, help="What is printed.")
]
Processes = Annotated[
    int | None,
    typer.Option(
        "--processes", metavar="N", min=1, help="Processes to solve with.", show_default="all cores"
    ),
]
Waves = Annotated[
    str | None,
    typer.Option(
        "--sea",
        metavar="flat|HEIGHT:PERIOD|fetch:KM",
        help="Waves: none, of a significant height in m and peak period in s, or as the wind raises them.",
        show_default="the boat file's",
    ),
]
NoFigures = Annotated[bool, typer.Option("--no-figures", help="Write tables only.")]


def process_count(asked: int | None) -> int:
    """The number of processes asked for, or one for every core that this process may use."""
    if asked is not None:
        return asked
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def missing_page_library() -> list[str]:
    """What has to be installed before a page for a browser can be written."""
    from vpp.libraries import MissingLibrary, library

    try:
        library("plotly.offline")
    except MissingLibrary as error:
        return list(error.problems)
    return []


def read_boat(
    boat: Path, *, options: Sequence[str], sea: str | None = None, sets_values: bool = False
) -> BoatFile:
    """The boat file, its boats in the sea that is asked for. Says on stderr which values quantities have that
    are to be set, unless the command `sets_values` itself. Raises BoatFileError with all that is wrong.
    """
    from vpp.config import load, sea_of

    asked = None if sea is None else sea_of(sea)
    boat_file = load(boat)
    boat_file.select(options)
    if not sets_values:
        _tell_values_as_filed(boat_file, options)
    return boat_file if asked is None else boat_file.at_sea(asked)


def _tell_values_as_filed(boat_file: BoatFile, options: Sequence[str]) -> None:
    from vpp.config.set_boats import set_quantities

    told = [
        f"{option}: {', '.join(f'{each.name} {each.built_text}' for each in quantities)}"
        for option, quantities in set_quantities(boat_file, options).items()
    ]
    if told:
        typer.echo("quantities to be set are as the boat file has them (vpp compare sets them):", err=True)
        for line in told:
            typer.echo(f"  {line}", err=True)


def below_a_file(key: str, path: Path) -> list[str]:
    """What is wrong with a path, given as the option `key`, that has a file in place of a folder above it."""
    above = (each for each in path.parents if each.is_file())
    return [f"{key} = {str(path)!r}: {each} is a file and not a folder" for each in above][:1]


def folder_problems(out: Path | None, *, polar: Path | None = None) -> list[str]:
    """What is wrong with the folder to write to, beside that of an earlier `polar`."""
    if out is None:
        return []
    if out.exists() and not out.is_dir():
        return [f"out = {str(out)!r}: a file of that name is in the way"]
    if problems := below_a_file("out", out):
        return problems
    if polar is not None and out.resolve() == polar.resolve():
        return [f"out = {str(out)!r}: the folder that --polar names; take another with -o"]
    return []


def read_boat_and_winds(
    boat: Path,
    *,
    options: Sequence[str],
    tws: str,
    twa: str,
    out: Path,
    sea: str | None = None,
    sets_values: bool = False,
    also: Sequence[str] = (),
) -> tuple[BoatFile, WindGrid]:
    """The boat file, as `read_boat` has it, and the wind grid; everything wrong with either, or with the
    folder to write to, and what is wrong `also`, ends the command.
    """
    from vpp.config import BoatFileError
    from vpp.polar import WindGrid, WindGridError

    problems = [*also]
    grid = boat_file = None
    try:
        grid = WindGrid.parse(tws=tws, twa=twa)
    except WindGridError as error:
        problems += error.problems
    problems += folder_problems(out)
    try:
        boat_file = read_boat(boat, options=options, sea=sea, sets_values=sets_values)
    except BoatFileError as error:
        problems += [str(problem) for problem in error.problems]
    if problems or grid is None or boat_file is None:
        stop(problems)
    return boat_file, grid
