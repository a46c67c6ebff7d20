"""What more crew weight and other places of the crew gain, drawn against the wind.

Each plot draws on the axes it is given and returns them. Lines differ in style and mark, conditions without a
result are gaps, and hollow marks rest on hull resistance extended past its data.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from vpp.crew import AFT, FORWARD, HEAVIER, OUT, CrewWorth
from vpp.plots import HALO, INK, OPTION_INKS, OPTION_LINES, QUIET, footer, styled
from vpp.results.variables import show_number, variable

_MARKS = {HEAVIER: "o", OUT: "s", FORWARD: "^", AFT: "v"}
_MOST_COLUMNS = 3


def crew_plot(ax: Axes, worth: CrewWorth, *, option: str, row: int) -> Axes:
    """Gain (kn) of each change of an option's crew against true wind speed (kn), for one aim by its place
    along the last axis of the gains. Break-even winds stand on the zero line.

    Gains between branches would dwarf all others and are left out.
    """
    tws, gains, extended = np.array(worth.polar.grid.tws_kn), worth.gain_kn(), worth.extended()
    ax.axhline(0.0, color=QUIET, linewidth=0.8)
    for index, change in enumerate(worth.changes(option)):
        at = worth.place(option, change)
        gain = np.where(worth.crossing()[at, :, row] == 0, gains[at, :, row], np.nan)
        line: dict[str, Any] = {"color": OPTION_INKS[index], "marker": _MARKS[change], "markersize": 4.0}
        ax.plot(tws, gain, linestyle=OPTION_LINES[index], linewidth=1.5, label=worth.says(change), **line)
        hollow = extended[at, :, row]
        ax.plot(tws[hollow], gain[hollow], linestyle="", markerfacecolor="white", **line)
    for item in worth.break_even(option):
        if worth.row_of(item) == row and np.isfinite(item.tws_kn):
            _mark_break_even(ax, item.tws_kn)
    ax.set_title(worth.row_names()[row], loc="left")
    ax.set_xlabel(variable("tws_kn").label)
    ax.set_ylabel("gain, kn" if row < len(worth.polar.grid.twa_deg) else "gain in VMG, kn")
    ax.xaxis.set_major_locator(MaxNLocator(nbins=8, steps=[1, 2, 5, 10]))
    ax.grid(True)
    return ax


def crew_figure(worth: CrewWorth, *, option: str) -> Figure:
    """The gains of an option's crew, a panel for each aim."""

    def build() -> Figure:
        rows = worth.told_rows()
        columns = min(len(rows), _MOST_COLUMNS)
        lines = -(-len(rows) // columns)
        figure = Figure(figsize=(3.7 * columns + 0.6, 3.5 * lines + 1.5), layout="constrained")
        panels = figure.subplots(lines, columns, squeeze=False).ravel()
        for ax, row in zip(panels, rows, strict=False):
            crew_plot(ax, worth, option=option, row=row)
        for ax in panels[len(rows) :]:
            ax.remove()
        figure.suptitle("\n".join(_heading(worth, option)), x=0.012, ha="left", fontsize=10.5)
        handles, labels = panels[0].get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside upper right", ncols=len(labels), frameon=False)
        footer(figure, worth.polar.source)
        return figure

    return styled(build)


def _heading(worth: CrewWorth, option: str) -> list[str]:
    rows = [worth.place(option, change) for change in worth.changes(option)]
    key = ["\u25c7 break-even wind of the weight, kn"]
    if worth.extended()[rows].any():
        key.append("hollow: hull resistance extended past the data")
    if worth.crossing()[rows].any():
        key.append("not drawn: only one of the two boats is foil-borne")
    return [f"{option}: what crew weight and place gain, kn", "    ".join(key)]


def _mark_break_even(ax: Axes, tws_kn: float) -> None:
    ax.plot(
        tws_kn, 0.0, marker="D", markersize=6.5, markerfacecolor="white", markeredgecolor=INK, linestyle=""
    )
    ax.annotate(
        show_number(tws_kn, decimals=1),
        xy=(tws_kn, 0.0),
        xytext=(0.0, -14.0),
        textcoords="offset points",
        ha="center",
        fontsize=8.5,
        bbox=HALO,
    )
