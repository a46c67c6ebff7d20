"""Which files a command leaves in its folder."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from vpp.cli.console import stop
from vpp.cli.options import below_a_file

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from vpp.compare import Comparison
    from vpp.levers import Levers
    from vpp.polar import Polar
    from vpp.results.files import Written
    from vpp.take_off import TakeOff


def about_polar(polar: Polar, *, files: Sequence[str]) -> dict[str, Any]:
    """What `about.json` says of a polar and the names of the files written with it."""
    from vpp.results.files import about

    return about(
        polar.source,
        options=polar.options,
        tws_kn=polar.grid.tws_kn,
        twa_deg=polar.grid.twa_deg,
        aims=tuple(dict.fromkeys(polar.row_aims)),
        statuses=polar.status_counts,
        remarks=polar.remark_counts,
        files=files,
    )


def sail_sets_told(polar: Polar) -> dict[str, Any]:
    """What every sail set does and which is best where, for JSON; nothing where no boat has sail sets."""
    from vpp.results.files import records
    from vpp.sail_choice import summary

    if not polar.solved.sail_sets:
        return {}
    sentences = [sentence for option in polar.options for sentence in summary(polar, option)]
    return {"sail_set_summary": sentences, "sail_sets": records(polar.sail_sets_frame())}


def set_values_told(comparison: Comparison) -> dict[str, Any]:
    """What is set to which value and what it loses, for JSON; nothing where nothing is set."""
    from vpp.results.files import records

    found = comparison.set_values()
    if not found:
        return {}
    return {
        "set_value_summary": list(found.sentences()),
        "set_values": records(found.to_frame()),
        "set_regret": records(found.regret_frame()),
        "set_candidates": records(found.candidates_frame()),
    }


def names_of(written: Written) -> tuple[str, ...]:
    """The names of the files written."""
    return tuple(path.name for path in written.files)


def write_polar(polar: Polar, take_off: TakeOff | None, folder: Path, *, figures: bool) -> Written:
    """Tables and figures of a polar, and of take-off where boats can fly. Returns what was written and
    removed.
    """
    from vpp.results.files import csv_text

    texts = _tables(polar)
    drawn: dict[str, Figure] = {}
    if take_off is not None:
        texts["take_off.csv"] = csv_text(take_off.to_frame())
    if figures:
        from vpp.plots import polar_figure, take_off_figure, vmg_figure

        drawn = {f"polar_{option}": polar_figure(polar, option=option) for option in polar.options}
        drawn["vmg"] = vmg_figure(polar)
        drawn |= _sail_set_figures(polar)
        if take_off is not None:
            drawn["take_off"] = take_off_figure(take_off, polar.source)
    return _write(folder, polar, texts, drawn)


def write_comparison(
    comparison: Comparison,
    folder: Path,
    *,
    figures: bool,
    levers: Sequence[Levers] = (),
    rule_box: Sequence[str] = (),
    more: Mapping[str, str] = MappingProxyType({}),
) -> Written:
    """Tables and figures of a comparison, levers of the base where there are any, sentences on the rule box,
    and `more` texts by their file names. Returns what was written and removed.
    """
    from vpp.results.files import CAUTION, csv_text
    from vpp.sail_choice import summary

    polar = comparison.polar
    choices = [sentence for option in polar.options for sentence in summary(polar, option)]
    settings = comparison.set_values().sentences()
    gains = [*comparison.by_wind(), *settings, *comparison.summary()]
    told = [polar.source.line, *gains, *rule_box, *choices, *comparison.notes(), CAUTION]
    texts = {
        **_tables(comparison.polar),
        "gain.csv": csv_text(comparison.gain_frame()),
        "best.csv": csv_text(comparison.best_frame()),
        **_set_value_tables(comparison),
        **_lever_table(levers),
        "summary.txt": "\n".join(told) + "\n",
        **more,
    }
    drawn: dict[str, Figure] = {}
    if figures:
        from vpp.plots import best_option_figure, gain_figure, vmg_figure, vmg_gain_figure

        drawn = {
            **(
                {
                    "gain": gain_figure(comparison),
                    "vmg": vmg_gain_figure(comparison),
                    "best_option": best_option_figure(comparison),
                }
                if comparison.alternatives
                else {"vmg": vmg_figure(polar)}
            ),
            **_sail_set_figures(comparison.polar),
        }
    return _write(folder, comparison.polar, texts, drawn)


def _set_value_tables(comparison: Comparison) -> dict[str, str]:
    """What is set to which value and what it loses; nothing where nothing is set."""
    from vpp.results.files import csv_text

    found = comparison.set_values()
    if not found:
        return {}
    return {
        "set_values.csv": csv_text(found.to_frame()),
        "set_regret.csv": csv_text(found.regret_frame()),
        "set_candidates.csv": csv_text(found.candidates_frame()),
    }


def _lever_table(levers: Sequence[Levers]) -> dict[str, str]:
    """All levers found, a condition after the other."""
    import pandas as pd

    from vpp.results.files import csv_text

    frames = [each.to_frame() for each in levers]
    return {"levers.csv": csv_text(pd.concat(frames, ignore_index=True))} if frames else {}


def _tables(polar: Polar) -> dict[str, str]:
    from vpp.results.files import csv_text

    branches = polar.branches_frame()
    return {
        "polar.csv": csv_text(polar.to_frame()),
        **({} if branches.empty else {"branches.csv": csv_text(branches)}),
        **({"sail_sets.csv": csv_text(polar.sail_sets_frame())} if polar.solved.sail_sets else {}),
        "budget.csv": csv_text(polar.budget_frame()),
    }


def _sail_set_figures(polar: Polar) -> dict[str, Figure]:
    """The map of best sail sets, where any boat has sail sets."""
    if not polar.solved.sail_sets:
        return {}
    from vpp.plots import sail_set_figure

    return {"sail_sets": sail_set_figure(polar)}


def _write(folder: Path, polar: Polar, texts: dict[str, str], drawn: dict[str, Figure]) -> Written:
    from vpp.results.files import ABOUT, json_text, write_folder

    figures = {f"{name}.{kind}": figure for name, figure in drawn.items() for kind in ("png", "svg")}
    about = json_text(about_polar(polar, files=(*texts, ABOUT, *figures)))
    try:
        return write_folder(folder, texts={**texts, ABOUT: about}, figures=figures)
    except OSError as error:
        stop([f"out = {str(folder)!r}: cannot be written ({error.strerror})"])


def figure_problems(
    path: Path | None, *, key: str = "figure", kinds: Sequence[str] = (".png", ".svg")
) -> list[str]:
    """What is wrong with the name of a figure, given as the option `key`."""
    if path is None:
        return []
    if problems := below_a_file(key, path):
        return problems
    if path.is_dir():
        return [f"{key} = {str(path)!r}: a folder of that name is in the way"]
    if path.suffix.lower() in kinds:
        return []
    return [f"{key} = {str(path)!r}: the name must end in {' or '.join(kinds)}"]


def write_figure(path: Path, figure: Figure, *, key: str = "figure") -> None:
    """One figure to a file of this name, folders and all."""
    from vpp.results.files import save_figure

    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        save_figure(path, figure)
    except OSError as error:
        stop([f"{key} = {str(path)!r}: cannot be written ({error.strerror})"])
