"""`vpp current`: one boat in a uniform current, on either tack."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from vpp.cli.console import SOME_FAILED, stop, table, wrapped
from vpp.cli.options import BoatPath, Format, Printed, Waves, angle_of, read_boat

if TYPE_CHECKING:
    import pandas as pd

    from vpp.current import InCurrent, OnTack

_HEADER = (
    "tack", "steered for", "TWA deg", "boat kn", "course deg", "SOG kn", "COG deg", "made good kn", "sails",
)  # fmt: skip
_SIGNS = (
    "Course is that through the water, SOG and COG are speed and course over the ground. Courses count from\n"
    "the eye of the ground wind, positive to the side that a boat on starboard tack sails to. Made good is\n"
    "over the ground, positive to windward."
)
_FILE_DECIMALS = {
    "ground_tws_kn": 4,
    "current_kn": 4,
    "current_set_deg": 3,
    "wind_shift_deg": 3,
    "course_through_water_deg": 3,
    "speed_over_ground_kn": 4,
    "course_over_ground_deg": 3,
    "made_good_kn": 4,
}

# Units that stay with their numbers where lines are broken.
_UNITS = ("kn", "deg", "%")


def current(
    boat: BoatPath,
    tws: Annotated[
        float | None, typer.Option("--tws", metavar="KN", help="Wind speed over the ground, kn.  [required]")
    ] = None,
    twa: Annotated[
        str | None,
        typer.Option(
            "--twa",
            metavar="DEG",
            help="Angle of the course through the water from the wind over the water, deg, "
            "or upwind or downwind.  [required]",
        ),
    ] = None,
    stream: Annotated[
        float | None, typer.Option("--current", metavar="KN", help="Speed of the current, kn.  [required]")
    ] = None,
    set_to: Annotated[
        float | None,
        typer.Option(
            "--set",
            metavar="DEG",
            help="Where the current flows to, deg from the eye of the ground wind: 0 to windward, 90 to the "
            "side that a boat on starboard tack sails to (to the left, looking to windward), 180 to leeward, "
            "-90 to the side of port tack.  [required]",
        ),
    ] = None,
    option: Annotated[
        str, typer.Option("--option", metavar="NAME", help="Option of the boat file.")
    ] = "base",
    sail_set: Annotated[
        str | None,
        typer.Option(
            "--sail-set", metavar="NAME", help="Which of the boat's sail sets is up.", show_default="the best"
        ),
    ] = None,
    sea: Waves = None,
    printed: Printed = Format.TEXT,
) -> None:
    """What a boat does over the ground in a current, on either tack.

    --twa upwind or downwind finds the best VMG through the water and the most made good over the ground.

    Example: vpp current keelboat.toml --tws 12 --twa upwind --current 1.5 --set 90
    """
    from vpp.config import BoatFileError
    from vpp.current import in_current, input_problems
    from vpp.polar import NoSuchSailSet
    from vpp.solved import NoEquilibrium

    given = {"--tws": tws, "--twa": twa, "--current": stream, "--set": set_to}
    problems, boat_file = [f"{name}: missing" for name, value in given.items() if value is None], None
    angle = None if twa is None else angle_of(twa)
    wind: dict[str, Any] = {"tws_kn": tws, "twa_deg": angle, "current_kn": stream, "set_deg": set_to}
    if not problems:
        problems += input_problems(**wind)
    try:
        boat_file = read_boat(boat, options=[option], sea=sea)
    except BoatFileError as error:
        problems += [str(problem) for problem in error.problems]
    if problems or boat_file is None:
        stop(problems)
    try:
        found = in_current(boat_file, **wind, option=option, sail_set=sail_set)
    except NoSuchSailSet as error:
        stop([str(error)])
    except NoEquilibrium as reason:
        typer.echo(f"No result: {reason}", err=True)
        raise typer.Exit(SOME_FAILED) from None
    typer.echo(_PRINT[printed](found), nl=printed is Format.TEXT)
    if failed := [row for row in found.rows if not row.converged]:
        for row in failed:
            typer.echo(f"No result for {row.tack} tack, {_steered(row)}: {row.reason}", err=True)
        raise typer.Exit(SOME_FAILED)


# --- text and data ------------------------------------------------------------------------------------------


def _text(found: InCurrent) -> str:
    from vpp.results.files import CAUTION

    first = found.rows[0]
    course = first.aim if first.aim != "speed" else f"TWA {first.twa_deg:g} deg"
    title = (
        f"{first.option}, {course}, {first.ground_tws_kn:g} kn of wind over the ground, "
        f"{first.current_kn:g} kn of current setting {first.current_set_deg:g} deg"
    )
    remarks = dict.fromkeys(
        f"Remark, {row.tack} tack, {_steered(row)}: {row.remark}" for row in found.rows if row.remark
    )
    parts = [
        f"{found.source.line}\n{title}",
        _table(found),
        _SIGNS,
        *(["\n".join(remarks)] if remarks else []),
        "\n".join(wrapped(sentence, units=_UNITS) for sentence in found.summary()),
    ]
    return "\n\n".join([*parts, CAUTION])


def _table(found: InCurrent) -> str:
    from vpp.results.variables import show_number

    worn = any(row.sail_set for row in found.rows)
    rows = [
        (
            row.tack,
            _steered(row),
            *(
                show_number(value, decimals=decimals)
                for value, decimals in (
                    (row.twa_deg, 1),
                    (row.boat_speed_kn, 2),
                    (row.course_through_water_deg, 1),
                    (row.speed_over_ground_kn, 2),
                    (row.course_over_ground_deg, 1),
                    (row.made_good_kn, 2),
                )
            ),
            *((row.sail_set or "-",) if worn else ()),
        )
        for row in found.rows
    ]
    return table(_HEADER if worn else _HEADER[:-1], rows, left=2)


def _steered(row: OnTack) -> str:
    return row.steered_for.replace("_", " ").replace("vmg", "VMG")


def _frame(found: InCurrent) -> pd.DataFrame:
    """The rows with the digits that files carry."""
    return found.to_frame().round(_FILE_DECIMALS)


def _json(found: InCurrent) -> str:
    from vpp.results.files import CAUTION, json_text, origin, records

    share, made_good = found.by_both_tacks()
    return json_text(
        {
            **origin(found.source),
            "rows": records(_frame(found)),
            "both_tacks": {
                "starboard_share_percent": _number(100.0 * share, 2),
                "made_good_kn": _number(made_good, 4),
            },
            "summary": list(found.summary()),
            "caution": CAUTION,
        }
    )


def _number(value: float, decimals: int) -> float | None:
    return None if value != value else round(value, decimals) + 0.0


def _csv(found: InCurrent) -> str:
    from vpp.results.files import csv_text

    return csv_text(_frame(found))


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}
