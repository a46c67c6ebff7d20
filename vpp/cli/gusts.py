"""`vpp gusts`: one trim in the winds around it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from vpp.cli.console import SOME_FAILED, stop, table, wrapped
from vpp.cli.options import BaseOptions, BoatPath, Format, OneTwa, OneTws, Printed, Waves, angle_of, read_boat

if TYPE_CHECKING:
    import pandas as pd

    from vpp.gusts import Gusts

_HEADER = ("TWS kn", "TWA deg", "boat kn", "change", "heel deg", "change", "ride m", "trimmed kn", "lost kn")
_MEANS = (
    "Changes are against the wind that the boat was trimmed for, every control but the helm held{foils}.\n"
    "Trimmed: with every trim found anew for that wind. - without an equilibrium."
)


def gusts(
    boat: BoatPath,
    tws: OneTws = None,
    twa: OneTwa = None,
    option: BaseOptions = None,
    change: Annotated[
        float, typer.Option("--change", metavar="KN", help="More wind in a gust, less in a lull, kn.")
    ] = 2.0,
    shift: Annotated[
        float, typer.Option("--shift", metavar="DEG", help="Shift of the wind to either side, deg.")
    ] = 5.0,
    spread: Annotated[
        str | None,
        typer.Option(
            "--spread",
            metavar="KN:DEG",
            help="Standard deviations of wind speed, kn, and angle, deg: means over them in place of gust, "
            "lull and shift.",
        ),
    ] = None,
    hold_foils: Annotated[
        bool, typer.Option("--hold-foils", help="Hold flap and elevator too, which else fly the boat.")
    ] = False,
    sea: Waves = None,
    printed: Printed = Format.TEXT,
) -> None:
    """What gust, lull and shift do while the trim stays.

    Example: vpp gusts keelboat.toml --tws 12 --twa upwind --option base --option cut_head

    Example: vpp gusts keelboat.toml --tws 12 --twa upwind --spread 1.5:4
    """
    from vpp.config import BoatFileError
    from vpp.gusts import check_changes
    from vpp.gusts import gusts as in_gusts
    from vpp.polar import WindGridError
    from vpp.solved import NoEquilibrium

    names = list(dict.fromkeys(option or ("base",)))
    problems = [f"{name}: missing" for name, value in (("--tws", tws), ("--twa", twa)) if value is None]
    spreads = _spreads(spread, problems)
    changes: dict[str, float] = {
        "change_kn": change, "shift_deg": shift, "spread_kn": spreads[0], "spread_deg": spreads[1]
    }  # fmt: skip
    try:
        check_changes(1e9 if tws is None else tws, **changes)
    except ValueError as error:
        problems += str(error).splitlines()
    try:
        boat_file = read_boat(boat, options=names, sea=sea)
    except BoatFileError as error:
        stop([*problems, *(str(problem) for problem in error.problems)])
    if problems or tws is None or twa is None:
        stop(problems)
    found, reasons = [], []
    for name in names:
        try:
            found.append(
                in_gusts(
                    boat_file,
                    tws_kn=tws,
                    twa_deg=angle_of(twa),
                    option=name,
                    hold_foils=hold_foils,
                    **changes,
                )
            )
        except WindGridError as error:
            stop([str(error)])
        except NoEquilibrium as reason:
            reasons.append(f"No result for {name}: {reason}")
    if found:
        typer.echo(_PRINT[printed](found, hold_foils), nl=printed is Format.TEXT)
    for each in reasons:
        typer.echo(each, err=True)
    if reasons or not all(each.holds.all() for each in found):
        raise typer.Exit(SOME_FAILED)


def _spreads(text: str | None, problems: list[str]) -> tuple[float, float]:
    if text is None:
        return 0.0, 0.0
    try:
        speed, angle = (float(part) for part in text.split(":"))
    except ValueError:
        problems.append(f"spread = {text!r}: must be two numbers, kn and deg, as in 1.5:4")
        return 0.0, 0.0
    if speed == 0.0 and angle == 0.0:
        problems.append(f"spread = {text!r}: one of the two must be more than zero")
    return speed, angle


def _text(found: Sequence[Gusts], hold_foils: bool) -> str:
    from vpp.results.files import CAUTION

    flies = any(each.branch == "foil-borne" for each in found) and not hold_foils
    means = _MEANS.format(foils=", and those that fly the boat" if flies else "")
    parts = [found[0].source.line]
    for each in found:
        told = "\n".join(wrapped(sentence) for sentence in each.sentences())
        title = (
            f"{each.option}, trimmed for {each.tws_kn:g} kn at TWA {each.twa_deg:.1f} deg, {each.branch}: "
            f"{each.trimmed_for['boat_speed_kn']:.2f} kn"
        )
        parts += [f"{title}\n\n{_table(each)}", told]
    return "\n\n".join([*(part for part in parts if part), means, CAUTION])


def _table(found: Gusts) -> str:
    from vpp.results.variables import show_number

    rows = [
        tuple(
            show_number(value, decimals=decimals, signed=signed)
            for value, decimals, signed in (
                (row["tws_kn"] + row["tws_change_kn"], 1, False),
                (row["twa_deg"] + row["twa_change_deg"], 1, False),
                (row["boat_speed_kn"], 2, False),
                (row["speed_change_kn"], 2, True),
                (row["heel_deg"], 1, False),
                (row["heel_change_deg"], 1, True),
                (row["ride_height_m"], 2, False),
                (row["trimmed_kn"], 2, False),
                (row["lost_kn"], 2, False),
            )
        )
        for _, row in found.to_frame().iterrows()
    ]
    return table(_HEADER, rows, left=0)


def _frame(found: Sequence[Gusts]) -> pd.DataFrame:
    import pandas as pd

    from vpp.gusts import FILE_DECIMALS

    return pd.concat([each.to_frame() for each in found], ignore_index=True).round(FILE_DECIMALS)


def _json(found: Sequence[Gusts], hold_foils: bool) -> str:
    from vpp.results.files import CAUTION, json_text, origin, records

    source = found[0].source
    told: dict[str, Any] = {
        **origin(source),
        "foils_held": hold_foils,
        "winds": records(_frame(found)),
        "spectrum": [_spectrum(each) for each in found],
        "summary": [sentence for each in found for sentence in each.sentences()],
        "caution": CAUTION,
    }
    return json_text(told)


def _spectrum(found: Gusts) -> dict[str, Any]:
    held, trimmed, share = found.mean_kn()
    numbers = {"held_kn": held, "trimmed_kn": trimmed, "share_percent": 100.0 * share}
    return {"option": found.option} | {
        name: None if value != value else round(value, 4) for name, value in numbers.items()
    }


def _csv(found: Sequence[Gusts], hold_foils: bool) -> str:
    from vpp.results.files import csv_text

    return csv_text(_frame(found))


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}
