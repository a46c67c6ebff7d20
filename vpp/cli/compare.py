"""`vpp compare`: what each option gains or loses."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vpp.cli.console import (
    closing,
    finish,
    marked_table,
    print_result,
    progress,
    sail_set_sentences,
    stop,
    table,
    wrapped,
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
from vpp.cli.writing import (
    about_polar,
    figure_problems,
    names_of,
    sail_sets_told,
    set_values_told,
    write_comparison,
    write_figure,
)

if TYPE_CHECKING:
    import pandas as pd

    from vpp.compare import Comparison
    from vpp.config import BoatFile
    from vpp.levers import Levers
    from vpp.polar import WindGrid
    from vpp.results.files import Written
    from vpp.rule_box import Verdict


def compare(
    boat: BoatPath,
    option: Options = None,
    tws: Tws = "6:24:2",
    twa: Twa = "30:170:5",
    sea: Waves = None,
    out: Out = Path("out/compare"),
    printed: Printed = Format.TEXT,
    no_figures: NoFigures = False,
    processes: Processes = None,
    details: Annotated[
        bool,
        typer.Option(
            "--details", help="Print each option's gains in sentences and the map of the best option too."
        ),
    ] = False,
    brief: Annotated[
        Path | None,
        typer.Option(
            "--brief", metavar="FILE", help="Write one page for a meeting too (.pdf).", show_default=False
        ),
    ] = None,
    question: Annotated[
        str,
        typer.Option("--question", metavar="TEXT", help="What the page is to answer.", show_default="which"),
    ] = "",
    legs: Annotated[
        str,
        typer.Option(
            "--legs", metavar="LEG,LEG", help="What the page judges by.", show_default="upwind,reach,downwind"
        ),
    ] = "",
    draws: Annotated[
        int,
        typer.Option(
            "--draws", metavar="N", help="Draws that say how sure the page is, a power of two; 0: none."
        ),
    ] = 64,
) -> None:
    """What each option gains or loses against the base boat.

    What is set for a range and not trimmed ([[set]] in the boat file) has the best value of each range.

    Example: vpp compare keelboat.toml --option taller_rig --option long_luff
    """
    from vpp.compare import NothingToCompare
    from vpp.compare import compare as solve_comparison
    from vpp.rule_box import verdicts
    from vpp.solver.stopping import keep_on_interrupt

    boat_file, grid = read_boat_and_winds(
        boat, options=option or (), tws=tws, twa=twa, out=out, sea=sea, sets_values=True,
        also=_brief_problems(brief, question, legs, draws),
    )  # fmt: skip
    check_set_values(boat_file, grid, option or ())
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
    base_is_set = comparison.polar.options[0] in comparison.set_values().options
    # levers are those of the boat as filed, which with set values is not the one that sails
    levers = [] if base_is_set else compared_levers(boat_file, comparison)
    found = verdicts(boat_file, comparison.polar.options)
    written = write_comparison(
        comparison, out, figures=not no_figures, levers=levers, rule_box=rule_sentences(found)
    )
    told = (
        _text(comparison, written, levers, found, details=details)
        if printed is Format.TEXT
        else _PRINT[printed](comparison, written, levers, found)
    )
    print_result(told, written, is_data=printed is not Format.TEXT)
    if brief is not None:
        _write_brief(brief, boat_file, comparison, question, _split(legs), draws, process_count(processes))
    finish(comparison.polar.solved)


def _split(legs: str) -> tuple[str, ...]:
    return tuple(filter(None, (leg.strip() for leg in legs.split(","))))


def _brief_problems(brief: Path | None, question: str, legs: str, draws: int) -> list[str]:
    """What is wrong with what is asked of the page."""
    from vpp.brief import LEGS
    from vpp.uncertainty import BadSample, check_sample

    problems = figure_problems(brief, key="brief", kinds=(".pdf", ".png"))
    if brief is None and question:
        problems.append(f"question = {question!r}: of no use without --brief")
    if brief is None and legs:
        problems.append(f"legs = {legs!r}: of no use without --brief")
    problems += [
        f"legs = {leg!r}: there is no such leg; allowed: {', '.join(LEGS)}"
        for leg in _split(legs)
        if leg not in LEGS
    ]
    if draws:
        try:
            check_sample(draws=draws, seed=0)
        except BadSample as error:
            problems += [f"{problem}, or 0 for none" for problem in error.problems]
    return problems


def _write_brief(
    path: Path,
    boat_file: BoatFile,
    comparison: Comparison,
    question: str,
    legs: Sequence[str],
    draws: int,
    processes: int,
) -> None:
    """The page, or a line why there is none."""
    from vpp.brief import NoBrief
    from vpp.brief import brief as brief_of
    from vpp.brief_plot import brief_figure

    try:
        with progress("how sure") as report:
            found = brief_of(
                boat_file,
                comparison,
                question=question,
                legs=legs,
                draws=draws,
                processes=processes,
                progress=report,
            )
    except NoBrief as reason:
        stop([f"brief = {str(path)!r}: {reason}"])
    write_figure(path, brief_figure(found), key="brief")
    typer.echo(f"{path}: {found.headline}", err=True)


def check_set_values(boat_file: BoatFile, grid: WindGrid, options: Sequence[str]) -> None:
    """Everything that speaks against the values of set quantities, or the winds of the grid against their
    ranges, ends the command.
    """
    from vpp.config import BoatFileError
    from vpp.config.set_boats import has_set_quantities, set_boats, set_quantities
    from vpp.set_values import grid_problems

    if not has_set_quantities(boat_file, options):
        return
    problems = grid_problems(set_quantities(boat_file, options), grid)
    try:
        set_boats(boat_file, options)
    except BoatFileError as error:
        problems += [str(problem) for problem in error.problems]
    if problems:
        stop(problems)


def rule_sentences(found: Sequence[Verdict]) -> list[str]:
    """Which options break which clause by how much; nothing where the file has no rule box."""
    told = [f"{verdict.sentence}." for verdict in found if not verdict.holds]
    return told or ["Every option keeps to the rule box."] * bool(found)


def _text(
    comparison: Comparison,
    written: Written,
    levers: Sequence[Levers],
    found: Sequence[Verdict],
    *,
    details: bool,
) -> str:
    base = comparison.polar.options[0]
    parts = [
        comparison.polar.source.line,
        *([_by_wind(comparison)] if comparison.alternatives else []),
        *_set_values(comparison),
        *(_against_base(comparison) if comparison.alternatives else []),
    ]
    if found:
        parts.append("\n".join(rule_sentences(found)))
    parts += sail_set_sentences(comparison.polar)
    if comparison.notes():
        parts.append("\n".join(comparison.notes()))
    if details and comparison.alternatives:
        parts.append("\n".join(_summary(comparison, name) for name in comparison.alternatives))
        parts.append(_map(comparison))
    if levers:
        parts.append(told_compared(levers, base))
    return "\n\n".join([*parts, closing(written)])


def _against_base(comparison: Comparison) -> list[str]:
    """Tables of gains by wind speed, and which option is fastest where."""
    base = comparison.polar.options[0]
    parts = [
        f"Gains against {base}, kn, by true wind speed: positive where faster, - without a result",
        _gains(comparison, "VMG upwind", "upwind"),
        _gains(comparison, "VMG downwind", "downwind"),
    ]
    if comparison.reach_deg is not None:
        title = f"boat speed on a reach, TWA {comparison.reach_deg:g} deg"
        parts.append(_gains(comparison, title, comparison.reach_deg))
    return [*parts, _best(comparison)]


def _by_wind(comparison: Comparison) -> str:
    """Which option is best in which range of wind, under what the sentences leave out."""
    from vpp.compare import DECISIVE_PERCENT

    title = (
        f"In short, against {comparison.polar.options[0]}: what differs by less than {DECISIVE_PERCENT:g} % "
        "is no basis for a decision by itself, and not named"
    )
    return "\n".join([title, *(_wrapped(sentence) for sentence in comparison.by_wind())])


def _wrapped(sentence: str) -> str:
    """A sentence in lines that keeps its own indent."""
    told = sentence.lstrip()
    lines = wrapped(told, units=("kn", "%", "deg")).splitlines()
    return "\n".join(" " * (len(sentence) - len(told)) + line for line in lines)


_SET_HEADER = ("option", "set", "in", "to", "loses on average", "at most", "at")


def _set_values(comparison: Comparison) -> list[str]:
    """What is set to which value in which range, and what that loses; nothing where nothing is set."""
    from vpp.results.variables import show_number

    found = comparison.set_values()
    if not found:
        return []

    def percent(value: float) -> str:
        return f"{show_number(value, decimals=2)} %" if value == value else "-"

    settings = found.settings()
    is_trimmed = any(each.quantity.is_control for each in settings)
    rows = []
    for each in settings:
        in_kn = show_number(each.worst_regret_kn, decimals=2)
        lost = [percent(each.mean_lost_to_trim_percent), percent(each.worst_lost_to_trim_percent)]
        rows.append(
            (
                each.option, each.quantity.name, each.range_text,
                each.text + "*" * each.is_at_end, percent(each.mean_regret_percent),
                f"{percent(each.worst_regret_percent)}, {in_kn} kn", found.place_text(each),
                *(lost if is_trimmed else ()),
            )
        )  # fmt: skip
    header = (*_SET_HEADER, *(("to free trim", "at most") if is_trimmed else ()))
    notes = ["* the least or the greatest value on offer"] if any(each.is_at_end for each in settings) else []
    lacking = sum(each.unsailed_count for each in settings)
    notes += [f"{lacking} conditions that other values can sail have no result"] if lacking else []
    title = (
        "Set values: the best for all conditions of each range, and what they lose against the best value of "
        "each condition"
    )
    return ["\n".join([title, table(header, rows, left=4), *notes])]


def _map(comparison: Comparison) -> str:
    """The best option at every condition with its margin over the next, options by letters."""
    from vpp.compare import LEVEL_KN
    from vpp.results.variables import show_number

    grid, names = comparison.polar.grid, comparison.polar.options
    best = comparison.best_frame()
    rows = []
    # best VMG stands above and below the angles, as on the map that is drawn
    order: list[tuple[float | str, str]] = [("upwind", "VMG upwind")]
    order += [(angle, f"{angle:g}") for angle in grid.twa_deg]
    for twa_deg, label in [*order, ("downwind", "VMG downwind")]:
        along = best.iloc[comparison.place(twa_deg) :: len(comparison.polar.row_aims)]
        cells = []
        for row in along.to_dict(orient="records"):
            margin = show_number(row["margin_kn"], decimals=2)
            level = "=" if row["margin_kn"] < LEVEL_KN else " "
            told = f"{_letter(names.index(row['option']))}{level}{margin}" if row["option"] else "-"
            cells.append(told + "*" * bool(row["missing_count"]))
        rows.append((label, *cells))
    header = ("TWA deg", *(f"{tws:g} kn" for tws in grid.tws_kn))
    key = ", ".join(f"{_letter(at)} {name}" for at, name in enumerate(names))
    title = "Best option and its margin over the next, kn, at true wind angle and speed"
    notes = "= level, * at least one option has no result, - none has"
    return "\n".join([title, table(header, rows), wrapped(key), notes])


def _letter(index: int) -> str:
    """A to z, then aa and so on."""
    first, last = divmod(index, 26)
    return (chr(ord("a") + first - 1) if first else "") + chr(ord("a") + last)


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
            "by_wind": [sentence.strip() for sentence in comparison.by_wind()],
            "summary": list(comparison.summary()),
            "notes": list(comparison.notes()),
            "gain": records(comparison.gain_frame()),
            "best": records(comparison.best_frame()),
            "levers": records(shown_frame(levers, keys=())),
            **({"rule_box": records(to_frame(found))} if found else {}),
            **set_values_told(comparison),
            **sail_sets_told(comparison.polar),
        }
    )


def _csv(comparison: Comparison, written: Written, levers: Sequence[Levers], found: Sequence[Verdict]) -> str:
    from vpp.results.files import csv_text

    return csv_text(comparison.gain_frame())


_PRINT = {Format.JSON: _json, Format.CSV: _csv}
