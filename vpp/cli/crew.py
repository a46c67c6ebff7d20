"""`vpp crew`: what crew weight and place are worth."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from vpp.cli.console import closing, finish, marked_table, print_result, progress, stop, wrapped
from vpp.cli.options import (
    BoatPath,
    Format,
    NoFigures,
    Out,
    Printed,
    Processes,
    Twa,
    Tws,
    process_count,
    read_boat_and_winds,
)
from vpp.cli.writing import about_polar, names_of

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from vpp.crew import CrewWorth
    from vpp.results.files import Written

_SPEED_DECIMALS = {"unchanged_kn": 6, "changed_kn": 6, "unchanged_twa_deg": 3}
_BREAK_EVEN_DECIMALS = {"break_even_tws_kn": 2, "from_tws_kn": 3, "to_tws_kn": 3}

# Units that stay with their numbers where lines are broken.
_UNITS = ("kn", "%")


def crew(
    boat: BoatPath,
    option: Annotated[
        list[str] | None,
        typer.Option(
            "--option", metavar="NAME", help="Take this option; repeat for more.", show_default="base"
        ),
    ] = None,
    tws: Tws = "4:24:2",
    twa: Twa = "90",
    extra_kg: Annotated[float, typer.Option("--extra-kg", metavar="KG", help="Crew mass added, kg.")] = 10.0,
    out: Out = Path("out/crew"),
    printed: Printed = Format.TEXT,
    no_figures: NoFigures = False,
    processes: Processes = None,
) -> None:
    """What crew weight and place are worth, wind by wind.

    Ten more kilograms, and the wind from which they pay; the crew further out and, where the boat is free to
    pitch, forward and aft.

    Example: vpp crew keelboat.toml --tws 4:24:2 --extra-kg 10 -o crew
    """
    from vpp.config import BoatFileError
    from vpp.crew import CrewChangeError, crew_worth

    boat_file, grid = read_boat_and_winds(boat, options=option or (), tws=tws, twa=twa, out=out)
    try:
        with progress("solving") as report:
            worth = crew_worth(
                boat_file,
                tws_kn=grid.tws_kn,
                twa_deg=grid.twa_deg,
                extra_kg=extra_kg,
                options=option or ("base",),
                processes=process_count(processes),
                progress=report,
            )
    except (BoatFileError, CrewChangeError) as error:
        stop(str(problem) for problem in error.problems)
    written = _write(worth, out, figures=not no_figures)
    print_result(_PRINT[printed](worth, written), written, is_data=printed is not Format.TEXT)
    finish(worth.polar.solved)


# --- text ---------------------------------------------------------------------------------------------------


def _text(worth: CrewWorth, written: Written) -> str:
    parts = [worth.polar.source.line]
    for option in worth.options:
        title = (
            f"{option}: gain of each change of the crew, kn (%): positive where faster, - without a result"
        )
        parts += [title, *(_gains(worth, option, row) for row in worth.told_rows())]
    parts.append("\n".join(wrapped(note, units=_UNITS) for note in worth.notes()))
    parts.append("\n".join(wrapped(sentence, units=_UNITS) for sentence in worth.summary()))
    return "\n\n".join([*parts, closing(written)])


def _gains(worth: CrewWorth, option: str, row: int) -> str:
    """The table of one aim: what the boat makes good, and what each change adds."""
    import numpy as np

    changes = worth.changes(option)
    places = [worth.place(option, change) for change in changes]
    gain, share = worth.gain_kn()[places, :, row], worth.gain_percent()[places, :, row]
    speed = worth.made_good()[worth.place(option), :, row]
    none = np.full((len(speed), 1), "", dtype=object)
    marks = np.hstack([none, worth.marks()[places, :, row].T.astype(object)]).astype(str)
    made = "speed" if row < len(worth.polar.grid.twa_deg) else "VMG"
    header = ("TWS kn", f"{made} kn", *(worth.says(change) for change in changes))
    rows = [
        (
            f"{tws:g}",
            _speed(speed[wind]),
            *(_cell(gain[at, wind], share[at, wind]) for at in range(len(changes))),
        )
        for wind, tws in enumerate(worth.polar.grid.tws_kn)
    ]
    return f"{worth.row_names()[row]}\n{marked_table(header, rows, marks, left=0)}"


def _speed(value: float) -> str:
    from vpp.results.variables import variable

    return variable("boat_speed_kn").show(value)


def _cell(gain_kn: float, gain_percent: float) -> str:
    from vpp.crew import show_gain

    return show_gain(gain_kn, gain_percent).replace(" kn (", " (").replace(" %)", ")")


# --- data and files -----------------------------------------------------------------------------------------


def _frame(worth: CrewWorth) -> pd.DataFrame:
    """The gains with the digits that files carry."""
    return worth.to_frame().round(_SPEED_DECIMALS)


def _break_even(worth: CrewWorth) -> pd.DataFrame:
    return worth.break_even_frame().round(_BREAK_EVEN_DECIMALS)


def _about(worth: CrewWorth, files: tuple[str, ...]) -> dict[str, Any]:
    told = about_polar(worth.polar, files=files)
    return {**told, "extra_kg": worth.extra_kg, "shift_m": worth.shift_m}


def _json(worth: CrewWorth, written: Written) -> str:
    from vpp.results.files import json_text, records

    return json_text(
        {
            **_about(worth, names_of(written)),
            "summary": list(worth.summary()),
            "notes": list(worth.notes()),
            "break_even": records(_break_even(worth)),
            "gain": records(_frame(worth)),
        }
    )


def _csv(worth: CrewWorth, written: Written) -> str:
    from vpp.results.files import csv_text

    return csv_text(_frame(worth))


def _write(worth: CrewWorth, folder: Path, *, figures: bool) -> Written:
    from vpp.results.files import ABOUT, CAUTION, csv_text, json_text, write_folder

    told = [worth.polar.source.line, *worth.summary(), *worth.notes(), CAUTION]
    texts = {
        "crew.csv": csv_text(_frame(worth)),
        "break_even.csv": csv_text(_break_even(worth)),
        "summary.txt": "\n".join(told) + "\n",
    }
    drawn: dict[str, Figure] = {}
    if figures:
        from vpp.crew_plot import crew_figure

        drawn = {
            f"crew_{option}.{kind}": figure
            for option in worth.options
            for figure in (crew_figure(worth, option=option),)
            for kind in ("png", "svg")
        }
    about = json_text(_about(worth, (*texts, ABOUT, *drawn)))
    try:
        return write_folder(folder, texts={**texts, ABOUT: about}, figures=drawn)
    except OSError as error:
        stop([f"out = {str(folder)!r}: cannot be written ({error.strerror})"])


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}
