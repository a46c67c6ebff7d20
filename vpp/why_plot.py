"""A gain and its parts as steps from the speed of one boat to that of the other."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vpp.plots import GAIN, INK, LOSS, QUIET, footer, heading, styled
from vpp.results.files import Source
from vpp.results.variables import show_number
from vpp.why import Why, say_wind


def why_plot(ax: Axes, found: Why) -> Axes:
    """Steps [kn], one below the other: the base, each part, what is left over, the option. The axis is cut
    off so that the steps can be seen.
    """
    steps = found.steps()
    names = [found.base, *(name for name, _ in steps), found.option]
    before = found.base_kn + np.cumsum([0.0, *(gain for _, gain in steps)])
    rows = np.arange(len(names))
    for row, (start, (_, gain)) in enumerate(zip(before[:-1], steps, strict=True), start=1):
        end = start + gain
        ax.barh(row, gain, left=start, height=0.62, color=GAIN if gain > 0.0 else LOSS)
        ax.plot([end, end], [row - 0.31, row + 1.31], color=QUIET, linewidth=0.8)
        side = 1.0 if gain > 0.0 else -1.0
        ax.annotate(
            show_number(gain, decimals=2, signed=True),
            (end, row),
            (4.0 * side, 0.0),
            textcoords="offset points",
            va="center",
            ha="left" if gain > 0.0 else "right",
            color=INK,
        )
    for row, speed in ((0, found.base_kn), (len(names) - 1, found.option_kn)):
        ax.plot(speed, row, marker="D", color=INK, markersize=6.0)
        ax.annotate(
            f"{show_number(speed, decimals=2)} kn",
            (speed, row),
            (8.0, 0.0),
            textcoords="offset points",
            va="center",
            color=INK,
        )
    ax.plot([found.base_kn] * 2, [0.0, 1.31], color=QUIET, linewidth=0.8)
    ax.set_yticks(rows, names)
    ax.invert_yaxis()
    ax.set_xlabel("boat speed, kn" if found.aim == "speed" else f"VMG {found.aim}, kn")
    ax.use_sticky_edges = False
    ax.margins(x=0.12, y=0.03)
    ax.grid(True, axis="x")
    ax.grid(False, axis="y")
    return ax


def why_figure(found: Why, source: Source) -> Figure:
    """One panel with its title: what is explained, in which wind."""

    def build() -> Figure:
        count = len(found.steps()) + 2
        figure = Figure(figsize=(7.6, 0.36 * count + 2.0), layout="constrained")
        why_plot(figure.subplots(), found)
        gains = "gains" if found.gain_kn >= 0.0 else "loses"
        title = (
            f"{found.option} {gains} {show_number(abs(found.gain_kn), decimals=2)} kn on {found.base}: why"
        )
        heading(figure, title, say_wind(found), found.branch, "the axis does not begin at zero")
        footer(figure, source)
        return figure

    return styled(build)
