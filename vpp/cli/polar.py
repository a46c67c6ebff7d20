"""`vpp polar`: boat speed in every wind."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from vpp.cli.console import closing, finish, marked_table, print_result, progress
from vpp.cli.options import (
    BoatPath,
    Format,
    NoFigures,
    Options,
    Out,
    Printed,
    Processes,
    Twa,
    Tws,
    process_count,
    read_boat_and_winds,
)
from vpp.cli.writing import write_polar

if TYPE_CHECKING:
    from vpp.polar import Polar
    from vpp.results.files import Written

_MOST_ANGLES = 8


def polar(
    boat: BoatPath,
    option: Options = None,
    tws: Tws = "6:24:2",
    twa: Twa = "30:170:5",
    out: Out = Path("out"),
    printed: Printed = Format.TEXT,
    no_figures: NoFigures = False,
    processes: Processes = None,
) -> None:
    """Boat speed in every wind, and best VMG up and down.

    Example: vpp polar keelboat.toml --tws 6:20:2 -o polar
    """
    from vpp.polar import polar as solve_polar

    boat_file, grid = read_boat_and_winds(boat, options=option or (), tws=tws, twa=twa, out=out)
    with progress("solving") as report:
        solved = solve_polar(
            boat_file,
            tws_kn=grid.tws_kn,
            twa_deg=grid.twa_deg,
            options=option or (),
            processes=process_count(processes),
            progress=report,
        )
    written = write_polar(solved, out, figures=not no_figures)
    print_result(_PRINT[printed](solved, written), written, is_data=printed is not Format.TEXT)
    finish(solved.solved)


def _text(solved: Polar, written: Written) -> str:
    parts = [solved.source.line]
    parts += [part for option in solved.options for part in (_speeds(solved, option), _best(solved, option))]
    if solved.extended_note:
        parts.append(solved.extended_note)
    return "\n\n".join([*parts, closing(written)])


def _speeds(solved: Polar, option: str) -> str:
    from vpp.results.variables import variable

    show = variable("boat_speed_kn").show
    angles = solved.grid.twa_deg
    picked = range(0, len(angles), -(-len(angles) // _MOST_ANGLES))
    at = solved.options.index(option)
    speeds, extended = solved.at_angles("boat_speed_kn")[at], solved.extended[at][:, list(picked)]
    header = ("TWS kn", *(f"{angles[index]:g}" for index in picked))
    rows = [
        (f"{tws:g}", *(show(speeds[row, index]) for index in picked))
        for row, tws in enumerate(solved.grid.tws_kn)
    ]
    return f"{option}: boat speed, kn, at TWA, deg\n{marked_table(header, rows, extended, left=0)}"


def _best(solved: Polar, option: str) -> str:
    import numpy as np

    from vpp.polar import BEST_VMG
    from vpp.results.variables import variable

    index = solved.options.index(option)
    columns = ("vmg_kn", "twa_deg", "boat_speed_kn")
    values = [(column, solved.at_best_vmg(column, aim=aim)[index]) for aim in BEST_VMG for column in columns]
    header = ("TWS kn", "up: VMG kn", "TWA deg", "speed kn", "down: VMG kn", "TWA deg", "speed kn")
    rows = [
        (f"{tws:g}", *(variable(column).show(along[row]) for column, along in values))
        for row, tws in enumerate(solved.grid.tws_kn)
    ]
    best = [solved.row_aims.index(aim) for aim in BEST_VMG]
    extended = np.repeat(solved.extended[index][:, best], len(columns), axis=1)
    return f"{option}: best VMG up and down\n{marked_table(header, rows, extended, left=0)}"


def _json(solved: Polar, written: Written) -> str:
    from vpp.cli.writing import about_polar, names_of
    from vpp.results.files import json_text, records

    return json_text({**about_polar(solved, files=names_of(written)), "rows": records(solved.to_frame())})


def _csv(solved: Polar, written: Written) -> str:
    from vpp.results.files import csv_text

    return csv_text(solved.to_frame())


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}
