"""`vpp calibrate`: factors on forces from known points of the boat."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Annotated

import typer

from vpp.cli.console import progress, stop, table
from vpp.cli.options import BoatPath, Format, Printed, Processes, process_count

if TYPE_CHECKING:
    from vpp.calibration import CalibrationFit

_DEFAULT_SCALE = "hull_resistance"
_GAP = "-"
_COLUMNS = ("known_kn", "before_kn", "before_error_percent", "after_kn", "after_error_percent")
_HEADER = ("known point", "TWS kn", "TWA deg", "known kn", "before kn", "off by %", "after kn", "off by %")
_FILE_DECIMALS = {
    "known_kn": 4,
    "before_kn": 4,
    "before_error_percent": 3,
    "after_kn": 4,
    "after_error_percent": 3,
    "value": 5,
    "standard_error": 5,
    "error_per_percent": 5,
}


def calibrate(
    boat: BoatPath,
    option: Annotated[
        str, typer.Option("--option", metavar="NAME", help="Option of the boat file.")
    ] = "base",
    scale: Annotated[
        list[str] | None,
        typer.Option(
            "--scale", metavar="NAME", help="Scale to fit; repeat for more.", show_default=_DEFAULT_SCALE
        ),
    ] = None,
    printed: Printed = Format.TEXT,
    processes: Processes = None,
) -> None:
    """Factors on forces that bring the boat to its known points.

    Scales: hull_resistance, appendage_drag, windage, sail_force. Prints the lines for the boat file and
    writes nothing.

    Example: vpp calibrate keelboat.toml --scale hull_resistance --scale sail_force
    """
    from vpp.calibration import CannotCalibrate
    from vpp.calibration import calibrate as find_scales
    from vpp.config import BoatFileError, load

    try:
        with progress("solving") as report:
            fit = find_scales(
                load(boat),
                scales=scale or (_DEFAULT_SCALE,),
                option=option,
                processes=process_count(processes),
                progress=report,
            )
    except (BoatFileError, CannotCalibrate) as error:
        stop(str(problem) for problem in error.problems)
    typer.echo(_PRINT[printed](fit), nl=printed is Format.TEXT)


def _text(fit: CalibrationFit) -> str:
    from vpp.results.files import CAUTION

    parts = [
        fit.source.line,
        f"{fit.option}: scales fitted, all others 1\n{_scales(fit)}",
        f"Boat speed before (all scales 1) and after\n{_points(fit)}",
        "\n".join(textwrap.fill(told, width=108, subsequent_indent="    ") for told in fit.summary()),
        f"For the boat file, which is left as it is:\n\n{fit.toml()}",
    ]
    return "\n\n".join([*(part.rstrip("\n") for part in parts), CAUTION])


def _scales(fit: CalibrationFit) -> str:
    header = ("scale", "value", "standard error", "error for 1 % in speeds")
    rows = [
        (name, *(_number(value, 3) for value in values))
        for name, *values in fit.scales_frame().itertuples(index=False)
    ]
    return table(header, rows)


def _points(fit: CalibrationFit) -> str:
    from vpp.results.variables import show_number

    frame = fit.to_frame()
    columns = [
        [
            show_number(value, decimals=1, signed=True)
            if name.endswith("percent")
            else show_number(value, decimals=2)
            for value in frame[name].tolist()
        ]
        for name in _COLUMNS
    ]
    winds = [(point.name, f"{point.tws_kn:g}", f"{point.twa_deg:g}") for point in fit.points]
    return table(
        _HEADER, [(*wind, *row) for wind, row in zip(winds, zip(*columns, strict=True), strict=True)]
    )


def _number(value: float, decimals: int) -> str:
    return _GAP if value != value else f"{value:.{decimals}f}"


def _json(fit: CalibrationFit) -> str:
    from vpp.results.files import CAUTION, json_text, origin, records

    return json_text(
        {
            **origin(fit.source),
            "option": fit.option,
            "scales": records(fit.scales_frame().round(_FILE_DECIMALS)),
            "points": records(fit.to_frame().round(_FILE_DECIMALS)),
            "similarity": fit.similarity.round(4).tolist(),
            "summary": list(fit.summary()),
            "toml": fit.toml(),
            "caution": CAUTION,
        }
    )


def _csv(fit: CalibrationFit) -> str:
    from vpp.results.files import csv_text

    return csv_text(fit.to_frame().round(_FILE_DECIMALS))


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}
