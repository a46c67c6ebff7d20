"""`vpp compare`: what each option gains or loses."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

from vpp.cli.console import (
    closing,
    finish,
    marked_table,
    print_result,
    progress,
    sail_set_sentences,
    stop,
    table,
)
from vpp.cli.lever_tables import compared_levers, shown_frame, told_compared
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
from vpp.cli.writing import about_polar, names_of, sail_sets_told, write_comparison

if TYPE_CHECKING:
    import pandas as pd

    from vpp.compare import Comparison
    from vpp.levers import Levers
    from vpp.results.files import Written
    from vpp.rule_box import Verdict


def compare(
    boat: BoatPath,
    option: Options = None,
    tws: Tws = "6:24:2",
    twa: Twa = "30:170:5",
    sea: Waves = None,
    out: Out = Path("out"),
    printed: Printed = Format.TEXT,
    no_figures: NoFigures = False,
    processes: Processes = None,
) -> None:
    """What each option gains or loses against the base boat.

    Example: vpp compare keelboat.toml --option taller_rig --option long_luff
    """
    from vpp.compare import NothingToCompare
    from vpp.compare import compare as solve_comparison
    from vpp.rule_box import verdicts
    from vpp.solver.stopping import keep_on_interrupt

    boat_file, grid = read_boat_and_winds(boat, options=option or (), tws=tws, twa=twa, out=out, sea=sea)
    try:
        with keep_on_interrupt(), progress("solving") as report:
            comparison = solve_comparison(
                boat_file,
                tws_kn=grid.tws_kn,
                twa_deg=grid.twa_deg,
                options=option or (),
                processes=process_count(processes),
                progress=report,
            )
    except NothingToCompare as error:
        stop([str(error)])
    levers = compared_levers(boat_file, comparison)
    found = verdicts(boat_file, comparison.polar.options)
    written = write_comparison(
        comparison, out, figures=not no_figures, levers=levers, rule_box=_rule_sentences(found)
    )
    told = _PRINT[printed](comparison, written, levers, found)
    print_result(told, written, is_data=printed is not Format.TEXT)
    finish(comparison.polar.solved)


def _rule_sentences(found: Sequence[Verdict]) -> list[str]:
    """Which options break which clause by how much; nothing where the file has no rule box."""
    told = [f"{verdict.sentence}." for verdict in found if not verdict.holds]
    return told or ["Every option keeps to the rule box."] * bool(found)


def _text(
    comparison: Comparison, written: Written, levers: Sequence[Levers], found: Sequence[Verdict]
) -> str:
    base = comparison.polar.options[0]
    parts = [
        comparison.polar.source.line,
        f"Gains against {base}, kn, by true wind speed: positive where faster, - without a result",
        _gains(comparison, "VMG upwind", "upwind"),
        _gains(comparison, "VMG downwind", "downwind"),
    ]
    if comparison.reach_deg is not None:
        title = f"boat speed on a reach, TWA {comparison.reach_deg:g} deg"
        parts.append(_gains(comparison, title, comparison.reach_deg))
    parts.append(_best(comparison))
    if found:
        parts.append("\n".join(_rule_sentences(found)))
    parts += sail_set_sentences(comparison.polar)
    if comparison.notes():
        parts.append("\n".join(comparison.notes()))
    parts.append("\n".join(_summary(comparison, name) for name in comparison.alternatives))
    if levers:
        parts.append(told_compared(levers, base))
    return "\n\n".join([*parts, closing(written)])


def _summary(comparison: Comparison, option: str) -> str:
    """The sentence of an option, a line for each of its parts."""
    told = f"{option}: " + ";\n".join(comparison.phrases(option)) + "."
    # a number and its unit stay in one line
    lines = told.replace(" kn", "\u00a0kn").splitlines()
    wrapped = (
        textwrap.fill(line, width=108, initial_indent="  " * bool(place), subsequent_indent="    ")
        for place, line in enumerate(lines)
    )
    return "\n".join(wrapped).replace("\u00a0", " ")


def _gains(comparison: Comparison, title: str, twa_deg: float | str) -> str:
    from vpp.results.variables import show_number

    row = comparison.place(twa_deg)
    gain, marks = comparison.gain_kn()[1:, :, row], comparison.marks()[1:, :, row]
    header = ("option", *(f"{tws:g} kn" for tws in comparison.polar.grid.tws_kn))
    rows = [
        (name, *(show_number(value, decimals=2, signed=True) for value in along))
        for name, along in zip(comparison.alternatives, gain, strict=True)
    ]
    return f"{title}\n{marked_table(header, rows, marks)}"


def _best(comparison: Comparison) -> str:
    best = comparison.best_frame()
    rows = [("VMG upwind", name_runs(best[best["aim"] == "upwind"]))]
    if comparison.reach_deg is not None:
        on_reach = (best["aim"] == "speed") & (best["twa_deg"] == comparison.reach_deg)
        rows.append((f"reach, TWA {comparison.reach_deg:g} deg", name_runs(best[on_reach])))
    rows.append(("VMG downwind", name_runs(best[best["aim"] == "downwind"])))
    told = table(("fastest", "at true wind speeds"), rows, left=2)
    return f"{told}\n* at least one option has no result there" if "*" in told else told


def name_runs(best: pd.DataFrame) -> str:
    """Neighbouring winds with the same leader taken together."""
    leaders = [
        _leader(*row)
        for row in zip(
            best["option"],
            best["runner_up"],
            best["margin_kn"],
            best["missing_count"],
            best["extended_count"],
            strict=True,
        )
    ]
    told = []
    for leader, run in groupby(zip(leaders, best["tws_kn"], strict=True), key=lambda pair: pair[0]):
        winds = [tws for _, tws in run]
        span = f"{winds[0]:g} kn" if len(winds) == 1 else f"{winds[0]:g} to {winds[-1]:g} kn"
        told.append(f"{leader} {span}")
    return "; ".join(told)


def _leader(name: str, second: str, margin: float, missing_count: int, extended_count: int) -> str:
    from vpp.compare import LEVEL_KN
    from vpp.results.frames import EXTENDED_MARK

    if not name:
        return "no result"
    told = f"{name} level with {second}" if margin < LEVEL_KN else name
    return told + ("*" if missing_count else "") + (EXTENDED_MARK if extended_count else "")


def _json(
    comparison: Comparison, written: Written, levers: Sequence[Levers], found: Sequence[Verdict]
) -> str:
    from vpp.results.files import json_text, records
    from vpp.rule_box import to_frame

    return json_text(
        {
            **about_polar(comparison.polar, files=names_of(written)),
            "summary": list(comparison.summary()),
            "notes": list(comparison.notes()),
            "gain": records(comparison.gain_frame()),
            "best": records(comparison.best_frame()),
            "levers": records(shown_frame(levers, keys=())),
            **({"rule_box": records(to_frame(found))} if found else {}),
            **sail_sets_told(comparison.polar),
        }
    )


def _csv(comparison: Comparison, written: Written, levers: Sequence[Levers], found: Sequence[Verdict]) -> str:
    from vpp.results.files import csv_text

    return csv_text(comparison.gain_frame())


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}
