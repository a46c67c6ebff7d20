"""`vpp export`: a polar in file formats that other software reads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vpp.cli.console import SOME_FAILED, STOPPED, closing, print_result, progress, stop, table
from vpp.cli.options import (
    BoatPath,
    Format,
    Options,
    Out,
    PolarFolder,
    Printed,
    Processes,
    Waves,
    folder_problems,
    process_count,
    read_boat,
)
from vpp.cli.writing import names_of

if TYPE_CHECKING:
    from vpp.config import BoatFile
    from vpp.exchange.table import PolarTable
    from vpp.polar import WindGrid
    from vpp.results.files import Written


def export(
    boat: BoatPath,
    formats: Annotated[
        list[str] | None,
        typer.Option(
            "--as",
            metavar="csv|parquet|netcdf|signalk",
            help="Format of the files; repeat for more.",
            show_default="csv",
        ),
    ] = None,
    option: Options = None,
    tws: Annotated[
        str | None,
        typer.Option(
            "--tws",
            metavar="START:STOP:STEP",
            help="True wind speeds, kn, both ends included.",
            show_default="6:24:2",
        ),
    ] = None,
    twa: Annotated[
        str | None,
        typer.Option(
            "--twa",
            metavar="START:STOP:STEP",
            help="True wind angles, deg, both ends included.",
            show_default="30:170:5",
        ),
    ] = None,
    polar: PolarFolder = None,
    sea: Waves = None,
    out: Out = Path("exported"),
    printed: Printed = Format.TEXT,
    processes: Processes = None,
) -> None:
    """Polars in files that other software reads.

    Example: vpp export keelboat.toml --polar out/polar --as netcdf --as signalk
    """
    from vpp.exchange.formats import export as write_export
    from vpp.exchange.table import ExportError, NothingToExport

    options, asked = option or [], formats or ["csv"]
    boat_file, grid = _read(boat, asked, options, tws, twa, polar, sea, out)
    try:
        found = replace(
            _table(boat_file, options, grid, polar, processes), active=options[0] if options else ""
        )
        written = write_export(found, out, formats=asked)
    except NothingToExport as error:
        typer.echo(f"{error}: nothing is written", err=True)
        raise typer.Exit(SOME_FAILED) from None
    except ExportError as error:
        stop([str(error)])
    except OSError as error:
        stop([f"out = {str(out)!r}: cannot be written ({error.strerror})"])
    print_result(_PRINT[printed](found, written), written, is_data=printed is not Format.TEXT)
    if found.source.stopped and polar is None:
        typer.echo(f"stopped: {found.source.stopped}", err=True)
        raise typer.Exit(STOPPED)
    if found.left_out:
        typer.echo(found.left_out_text, err=True)
        raise typer.Exit(SOME_FAILED)


def _read(
    boat: Path,
    formats: Sequence[str],
    options: Sequence[str],
    tws: str | None,
    twa: str | None,
    polar: Path | None,
    sea: str | None,
    out: Path,
) -> tuple[BoatFile, WindGrid]:
    """The boat file and the winds to solve; everything wrong with what is asked for ends the command."""
    from vpp.config import BoatFileError
    from vpp.exchange.formats import check_formats
    from vpp.exchange.table import ExportError
    from vpp.libraries import MissingLibrary
    from vpp.polar import DEFAULT_TWA, DEFAULT_TWS, WindGrid, WindGridError

    problems: list[str] = []
    grid = boat_file = None
    try:
        check_formats(formats)
    except ExportError as error:
        problems.append(f"as = {error}")
    except MissingLibrary as error:
        problems += error.problems
    try:
        grid = WindGrid.parse(tws=tws or DEFAULT_TWS, twa=twa or DEFAULT_TWA)
    except WindGridError as error:
        problems += error.problems
    if polar is not None:
        problems += [
            f"{name}: of no use besides --polar, which has winds of its own"
            for name, given in (("tws", tws), ("twa", twa))
            if given is not None
        ]
    problems += folder_problems(out, polar=polar)
    try:
        boat_file = read_boat(boat, options=options, sea=sea)
    except BoatFileError as error:
        problems += [str(problem) for problem in error.problems]
    if problems or boat_file is None or grid is None:
        stop(problems)
    return boat_file, grid


def _table(
    boat_file: BoatFile, options: Sequence[str], grid: WindGrid, polar: Path | None, processes: int | None
) -> PolarTable:
    """What is exported, read or solved."""
    from vpp.exchange.table import PolarTable
    from vpp.polar import polar as solve_polar
    from vpp.solver.stopping import keep_on_interrupt

    if polar is not None:
        return _read_table(boat_file, options, polar)
    with keep_on_interrupt(), progress("solving") as report:
        solved = solve_polar(
            boat_file,
            tws_kn=grid.tws_kn,
            twa_deg=grid.twa_deg,
            options=options,
            processes=process_count(processes),
            progress=report,
        )
    return PolarTable.from_polar(solved)


def _read_table(boat_file: BoatFile, options: Sequence[str], folder: Path) -> PolarTable:
    """The polar of an earlier run, of the options asked for beside the base."""
    import json

    from vpp.course import CourseError, read_polar
    from vpp.exchange.table import PolarTable
    from vpp.results.files import ABOUT

    try:
        frame, source = read_polar(folder, boat_file)
    except CourseError as error:
        stop(error.problems)
    held = tuple(dict.fromkeys(frame["option"]))
    names = tuple(dict.fromkeys((held[0], *options))) if options else held
    if lacking := [name for name in names if name not in held]:
        stop(
            f"option = {name!r}: not in the polar of {str(folder)!r}, which has {', '.join(held)}"
            for name in lacking
        )
    about = json.loads((folder / ABOUT).read_text(encoding="utf-8"))
    return PolarTable.from_frame(
        frame[frame["option"].isin(names)],
        source=source,
        boats=[boat for boat in boat_file.boats if boat.name in names],
        solved_on=str(about.get("date", "")),
    )


def _text(found: PolarTable, written: Written) -> str:
    header = ("option", "winds kn", "angles deg", "exported", "left out")
    rows = []
    for name in found.options:
        of_option = found.conditions[found.conditions["option"] == name]
        count = int((found.rows["option"] == name).sum())
        rows.append(
            (
                name,
                _span(found.tws_kn),
                _span(found.twa_deg),
                str(count),
                str(len(of_option) - count),
            )
        )
    left_out = found.left_out_text[:1].upper() + found.left_out_text[1:]
    return "\n\n".join([found.source.line, table(header, rows), f"{left_out}.", closing(written)])


def _span(values: Sequence[float]) -> str:
    return f"{values[0]:g}" if len(values) == 1 else f"{values[0]:g} to {values[-1]:g}"


def _json(found: PolarTable, written: Written) -> str:
    from vpp.exchange.formats import about_export
    from vpp.results.files import json_text, records

    return json_text({**about_export(found, names_of(written)), "rows": records(found.rows)})


def _csv(found: PolarTable, written: Written) -> str:
    from vpp.exchange.tidy_csv import table_text

    return table_text(found)


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}
