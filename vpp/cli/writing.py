"""Which files a command leaves in its folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from vpp.cli.console import stop

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from vpp.compare import Comparison
    from vpp.polar import Polar


def about_polar(polar: Polar) -> dict[str, Any]:
    """What `about.json` says of a polar."""
    from vpp.results.files import about

    return about(
        polar.source,
        options=polar.options,
        tws_kn=polar.grid.tws_kn,
        twa_deg=polar.grid.twa_deg,
        aims=tuple(dict.fromkeys(polar.row_aims)),
        statuses=polar.status_counts,
    )


def write_polar(polar: Polar, folder: Path, *, figures: bool) -> tuple[Path, ...]:
    """Tables and figures of a polar. Returns what was written."""
    from vpp.results.files import csv_text, json_text

    texts = {
        "polar.csv": csv_text(polar.to_frame()),
        "budget.csv": csv_text(polar.budget_frame()),
        "about.json": json_text(about_polar(polar)),
    }
    drawn: dict[str, Figure] = {}
    if figures:
        from vpp.plots import polar_figure, vmg_figure

        drawn = {f"polar_{option}": polar_figure(polar, option=option) for option in polar.options}
        drawn["vmg"] = vmg_figure(polar)
    return _write(folder, texts, drawn)


def write_comparison(comparison: Comparison, folder: Path, *, figures: bool) -> tuple[Path, ...]:
    """Tables and figures of a comparison. Returns what was written."""
    from vpp.results.files import CAUTION, csv_text, json_text

    texts = {
        "polar.csv": csv_text(comparison.polar.to_frame()),
        "budget.csv": csv_text(comparison.polar.budget_frame()),
        "gain.csv": csv_text(comparison.gain_frame()),
        "best.csv": csv_text(comparison.best_frame()),
        "summary.txt": "\n".join([comparison.polar.source.line, *comparison.summary(), CAUTION]) + "\n",
        "about.json": json_text(about_polar(comparison.polar)),
    }
    drawn: dict[str, Figure] = {}
    if figures:
        from vpp.plots import best_option_figure, gain_figure, vmg_gain_figure

        drawn = {
            "gain": gain_figure(comparison),
            "vmg": vmg_gain_figure(comparison),
            "best_option": best_option_figure(comparison),
        }
    return _write(folder, texts, drawn)


def _write(folder: Path, texts: dict[str, str], drawn: dict[str, Figure]) -> tuple[Path, ...]:
    from vpp.results.files import save_figure, write_text

    try:
        folder.mkdir(parents=True, exist_ok=True)
        written = [write_text(folder / name, text) for name, text in texts.items()]
        for name, figure in drawn.items():
            written += [save_figure(folder / f"{name}.{kind}", figure) for kind in ("png", "svg")]
    except OSError as error:
        stop([f"out = {str(folder)!r}: cannot be written ({error.strerror})"])
    return tuple(written)
