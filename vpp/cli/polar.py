"""`vpp polar`: boat speed in every wind."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from vpp.cli.console import closing, finish, marked_table, print_result, progress, sail_set_sentences, table
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
    Waves,
    process_count,
    read_boat_and_winds,
)
from vpp.cli.writing import sail_sets_told, write_polar

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from vpp.boat import Boat
    from vpp.polar import Polar
    from vpp.results.files import Written
    from vpp.take_off import TakeOff

_MOST_ANGLES = 8
_TAKE_OFF_STEP_DEG = 20.0


def polar(
    boat: BoatPath,
    option: Options = None,
    tws: Tws = "6:24:2",
    twa: Twa = "30:170:5",
    sea: Waves = None,
    out: Out = Path("out/polar"),
    printed: Printed = Format.TEXT,
    no_figures: NoFigures = False,
    processes: Processes = None,
) -> None:
    """Boat speed in every wind, and best VMG up and down.

    Example: vpp polar keelboat.toml --tws 6:20:2 -o polar
    """
    from vpp.polar import polar as solve_polar
    from vpp.solver.stopping import Stopped, keep_on_interrupt, refuse_part

    boat_file, grid = read_boat_and_winds(boat, options=option or (), tws=tws, twa=twa, out=out, sea=sea)
    take_off, left_out = None, ""
    with keep_on_interrupt():
        with progress("solving") as report:
            solved = solve_polar(
                boat_file,
                tws_kn=grid.tws_kn,
                twa_deg=grid.twa_deg,
                options=option or (),
                processes=process_count(processes),
                progress=report,
            )
        if solved.branches:
            try:
                refuse_part()
                with progress("take-off") as report:
                    boats = boat_file.select(option or ())
                    take_off = _take_off(boats, solved, process_count(processes), report)
            except Stopped:
                left_out = "take-off and touch-down winds"
    written = write_polar(solved, take_off, out, figures=not no_figures)
    print_result(_PRINT[printed](solved, take_off, written), written, is_data=printed is not Format.TEXT)
    finish(solved.solved, left_out=left_out)


def _take_off(
    boats: Sequence[Boat], solved: Polar, processes: int, report: Callable[[int, int], None] | None
) -> TakeOff:
    """Take-off at the polar's angles, of those closer than twenty degrees to each other only some."""
    from vpp.take_off import take_off_winds

    angles: list[float] = []
    for angle in solved.grid.twa_deg:
        if not angles or angle - angles[-1] >= _TAKE_OFF_STEP_DEG:
            angles.append(angle)
    return take_off_winds(boats, twa_deg=angles, polar=solved, processes=processes, progress=report)


def _text(solved: Polar, take_off: TakeOff | None, written: Written) -> str:
    parts = [solved.source.line]
    parts += [part for option in solved.options for part in (_speeds(solved, option), _best(solved, option))]
    parts += sail_set_sentences(solved)
    notes = [note for note in (solved.extended_note, solved.hull_borne_note, solved.unfilled_note) if note]
    if notes:
        parts.append("\n".join(notes))
    if take_off is not None:
        parts.append(_take_off_table(take_off))
    return "\n\n".join([*parts, closing(written)])


def _speeds(solved: Polar, option: str) -> str:
    from vpp.results.variables import variable

    show = variable("boat_speed_kn").show
    angles = solved.grid.twa_deg
    picked = range(0, len(angles), -(-len(angles) // _MOST_ANGLES))
    at = solved.options.index(option)
    speeds, marks = solved.at_angles("boat_speed_kn")[at], solved.marks()[at][:, list(picked)]
    header = ("TWS kn", *(f"{angles[index]:g}" for index in picked))
    rows = [
        (f"{tws:g}", *(show(speeds[row, index]) for index in picked))
        for row, tws in enumerate(solved.grid.tws_kn)
    ]
    return f"{option}: boat speed, kn, at TWA, deg\n{marked_table(header, rows, marks, left=0)}"


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
    marks = np.repeat(solved.marks()[index][:, best], len(columns), axis=1)
    return f"{option}: best VMG up and down\n{marked_table(header, rows, marks, left=0)}"


def _take_off_table(take_off: TakeOff) -> str:
    from vpp.results.variables import show_number

    step = -(-len(take_off.twa_deg) // _MOST_ANGLES)
    header = ("option", "TWS kn", *(f"{angle:g}" for angle in take_off.twa_deg[::step]))
    rows = [
        (name, event, *(show_number(wind, decimals=1) for wind in winds[at, ::step]))
        for at, name in enumerate(take_off.options)
        for event, winds in (("touch-down", take_off.touch_down_kn), ("take-off", take_off.take_off_kn))
    ]
    title = (
        "Touch-down (least wind with an equilibrium on foils) and take-off (least in which the hull comes\n"
        f"up), kn, at TWA, deg; - none up to {take_off.strongest_kn:g} kn; in between, both states exist"
    )
    return "\n".join([title, table(header, rows, left=2), *take_off.summary()])


def _json(solved: Polar, take_off: TakeOff | None, written: Written) -> str:
    from vpp.cli.writing import about_polar, names_of
    from vpp.results.files import json_text, records

    told = {**about_polar(solved, files=names_of(written)), "rows": records(solved.to_frame())}
    told |= sail_sets_told(solved)
    if solved.branches:
        told["branches"] = records(solved.branches_frame())
    if take_off is not None:
        told["take_off"] = records(take_off.to_frame())
    return json_text(told)


def _csv(solved: Polar, take_off: TakeOff | None, written: Written) -> str:
    from vpp.results.files import csv_text

    return csv_text(solved.to_frame())


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}
