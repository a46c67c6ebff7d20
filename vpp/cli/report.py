"""`vpp report`: a comparison as one page for a browser, that needs no network."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from vpp.cli.compare import check_set_values, rule_sentences
from vpp.cli.console import closing, finish, print_result, progress
from vpp.cli.lever_tables import compared_levers
from vpp.cli.options import (
    BoatPath,
    Options,
    Out,
    Processes,
    Twa,
    Tws,
    Waves,
    missing_page_library,
    process_count,
    read_boat_and_winds,
)
from vpp.cli.writing import write_comparison

if TYPE_CHECKING:
    from vpp.compare import Comparison
    from vpp.config import BoatFile
    from vpp.polar import WindGrid
    from vpp.report.content import Subject


def report(
    boat: BoatPath,
    option: Options = None,
    tws: Tws = "6:24:2",
    twa: Twa = "30:170:5",
    sea: Waves = None,
    out: Out = Path("out/report"),
    processes: Processes = None,
) -> None:
    """What compare finds, as one page for a browser.

    Polars, gains between any two options, targets, budgets, levers, rig and inputs in one file that needs no
    network, with its tables beside it. Needs the extra `report`.

    Example: vpp report keelboat.toml --option taller_rig -o report
    """
    from vpp.report.content import subject
    from vpp.report.page import FILE, report_html
    from vpp.rule_box import verdicts
    from vpp.solver.stopping import keep_on_interrupt

    boat_file, grid = read_boat_and_winds(
        boat,
        options=option or (),
        tws=tws,
        twa=twa,
        out=out,
        sea=sea,
        sets_values=True,
        also=missing_page_library(),
    )
    check_set_values(boat_file, grid, option or ())
    with keep_on_interrupt():
        comparison = _solve(boat_file, grid, option or (), process_count(processes))
    base_is_set = comparison.polar.options[0] in comparison.set_values().options
    about = subject(
        boat_file,
        comparison,
        # levers are those of the boat as filed, which with set values is not the one that sails
        levers=() if base_is_set else compared_levers(boat_file, comparison),
        rule_box=rule_sentences(verdicts(boat_file, comparison.polar.options)),
    )
    written = write_comparison(
        comparison,
        out,
        figures=False,
        levers=about.levers,
        rule_box=about.rule_box,
        more={FILE: report_html(about), **_tables(about)},
    )
    print_result(f"{comparison.polar.source.line}\n\n{closing(written)}", written, is_data=False)
    finish(comparison.polar.solved)


def _solve(boat_file: BoatFile, grid: WindGrid, options: Sequence[str], processes: int) -> Comparison:
    """The comparison, which may be of the base boat alone."""
    from vpp.compare import Comparison, NothingToCompare, compare
    from vpp.polar import polar

    with progress("solving") as told:
        asked: dict[str, Any] = {
            "tws_kn": grid.tws_kn,
            "twa_deg": grid.twa_deg,
            "options": options,
            "processes": processes,
            "progress": told,
        }
        try:
            return compare(boat_file, **asked)
        except NothingToCompare:
            return Comparison(polar=polar(boat_file, **asked))


def _tables(about: Subject) -> dict[str, str]:
    """What the page shows beside polar, budget and gains."""
    from vpp.report.content import inputs_frame
    from vpp.results.files import csv_text

    tables = {"inputs.csv": csv_text(inputs_frame(about.boat_file, about.comparison.polar.options))}
    if not isinstance(about.targets, str):
        tables["targets.csv"] = csv_text(about.targets.to_frame())
    return tables
