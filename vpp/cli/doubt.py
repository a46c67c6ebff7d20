"""`vpp doubt`: how sure the gains of options are."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vpp.cli.console import SOME_FAILED, closing, print_result, progress, stop, table, wrapped
from vpp.cli.options import (
    BoatPath,
    Format,
    NoFigures,
    Options,
    Out,
    Printed,
    Processes,
    Tws,
    Waves,
    process_count,
    read_boat_and_winds,
)
from vpp.cli.writing import names_of

if TYPE_CHECKING:
    from vpp.doubt import Doubt
    from vpp.results.files import Written

_HEADER = ("option", "TWS kn", "course", "gain kn", "10 %", "50 %", "90 %", "same sign %", "draws")
_INPUTS = ("input", "range", "from", "why")
_MEANS = (
    "Gain: without draws. 10, 50 and 90 %: so many of the draws gain at most that. Same sign: draws whose\n"
    "gain has the sign of the nominal one. What no range covers is not in these numbers: errors in the form\n"
    "of the models above all."
)


def doubt(
    boat: BoatPath,
    option: Options = None,
    tws: Tws = "8:16:4",
    twa: Annotated[
        str,
        typer.Option(
            "--twa",
            metavar="START:STOP:STEP",
            help="True wind angles, deg, both ends included; best VMG is always added.",
        ),
    ] = "90",
    draws: Annotated[int, typer.Option("--draws", metavar="N", help="Draws, a power of two.")] = 256,
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="Seed of the draws.")] = 1,
    checked: Annotated[
        int, typer.Option("--check", metavar="N", min=0, help="Draws that are solved in full as well.")
    ] = 1,
    no_defaults: Annotated[
        bool, typer.Option("--no-defaults", help="Take the boat file's ranges only.")
    ] = False,
    sea: Waves = None,
    out: Out = Path("out/doubt"),
    printed: Printed = Format.TEXT,
    no_figures: NoFigures = False,
    processes: Processes = None,
) -> None:
    """How sure the gains of options are, and what drives the doubt.

    The same draws of what is uncertain are made for all boats. Ranges are those of [[uncertainty]] in the
    boat file, and defaults for what it does not name.

    Example: vpp doubt keelboat.toml --option taller_rig --tws 12 -o doubt
    """
    from vpp.compare import NothingToCompare
    from vpp.config import BoatFileError
    from vpp.doubt import NoDoubt
    from vpp.doubt import doubt as find
    from vpp.uncertainty import BadSample, check_sample

    options = option or []
    problems: list[str] = []
    try:
        check_sample(draws=draws, seed=seed)
    except BadSample as error:
        problems += error.problems
    boat_file, grid = read_boat_and_winds(
        boat, options=options, tws=tws, twa=twa, out=out, sea=sea, also=problems
    )
    try:
        with progress("solving") as report:
            found = find(
                boat_file,
                tws_kn=grid.tws_kn,
                twa_deg=grid.twa_deg,
                options=options,
                draws=draws,
                seed=seed,
                defaults=not no_defaults,
                checked=checked,
                processes=process_count(processes),
                progress=report,
            )
    except BoatFileError as error:
        stop(str(problem) for problem in error.problems)
    except (NoDoubt, NothingToCompare) as error:
        stop([str(error)])
    try:
        written = found.write(out, figures=not no_figures)
    except OSError as error:
        stop([f"out = {str(out)!r}: cannot be written ({error.strerror})"])
    print_result(_PRINT[printed](found, written), written, is_data=printed is not Format.TEXT)
    if found.failed:
        typer.echo(f"{found.failed} of {found.made_good_kn.size} draws have no result", err=True)
        raise typer.Exit(SOME_FAILED)


def _text(found: Doubt, written: Written) -> str:
    told = [wrapped(sentence, units=("kn", "%", "deg")) for sentence in found.in_words()]
    notes = len(found.notes())
    parts = [
        found.source.line,
        f"What is uncertain\n{_inputs(found)}",
        f"{_gains(found)}\n\n{_MEANS}",
        "\n".join(told[:-notes]),
        "\n".join(told[-notes:]),
    ]
    return "\n\n".join([*parts, closing(written)])


def _inputs(found: Doubt) -> str:
    rows = [
        (each.name, each.range_text, "default" if each.is_default else "boat file", each.why)
        for each in found.ranges
    ]
    return table(_INPUTS, rows, left=4)


def _gains(found: Doubt) -> str:
    from vpp.results.variables import show_number

    def signed(value: float) -> str:
        return show_number(value, decimals=3, signed=True)

    quantiles, sign = found.quantiles_kn((10, 50, 90)), found.share_of_sign()
    rows = [
        (
            name,
            show_number(tws, decimals=1),
            angle if isinstance(angle, str) else f"{angle:g} deg",
            signed(found.nominal_gain_kn[option, condition]),
            *(signed(value) for value in quantiles[:, option, condition]),
            show_number(100.0 * sign[option, condition], decimals=0),
            str(int((found.gain_kn[option, condition] == found.gain_kn[option, condition]).sum())),
        )
        for option, name in enumerate(found.options)
        for condition, (tws, angle) in enumerate(found.conditions)
    ]
    return f"Gains over {found.nominal.polar.options[0]}\n{table(_HEADER, rows)}"


def _json(found: Doubt, written: Written) -> str:
    from vpp.doubt_files import about_doubt, tables
    from vpp.results.files import json_text, records

    frames = tables(found)
    return json_text(
        {
            **about_doubt(found, names_of(written)),
            "summary": list(found.in_words()),
            **{name: records(frames[name]) for name in ("gains", "inputs", "ranges")},
        }
    )


def _csv(found: Doubt, written: Written) -> str:
    from vpp.doubt_files import rounded
    from vpp.results.files import csv_text

    return csv_text(rounded(found.to_frame()))


_PRINT: dict[Format, Callable[[Doubt, Written], str]] = {
    Format.TEXT: _text,
    Format.JSON: _json,
    Format.CSV: _csv,
}
