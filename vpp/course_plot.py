"""Time round a course against the base, drawn against the wind.

Each plot draws on the axes it is given and returns them.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from vpp.course_times import CourseTimes, say_time
from vpp.plots import INK, OPTION_INKS, OPTION_LINES, QUIET, footer, styled
from vpp.results.variables import show_number, variable

_WEIGHT_TONE = "#e3e7ea"


def course_plot(ax: Axes, times: CourseTimes) -> Axes:
    """Time against the base (s, negative where faster) by true wind speed over the ground (kn), a line an
    option; bars behind are the weights of the winds. Winds without a time of both are gaps.
    """
    tws, difference = np.array(times.tws_kn), times.difference_s
    weights = ax.twinx()
    width = 0.8 * float(np.min(np.diff(tws)))
    weights.bar(tws, 100.0 * np.array(times.weight), width=width, color=_WEIGHT_TONE)
    weights.set_ylabel("weight of the wind, %", color=QUIET)
    weights.set_ylim(0.0, 300.0 * max(times.weight))
    weights.tick_params(colors=QUIET)
    weights.spines["right"].set_visible(False)
    ax.set_zorder(weights.get_zorder() + 1)
    ax.patch.set_visible(False)
    for at, option in enumerate(times.options):
        ax.plot(tws, difference[at], label=option, marker="." if at else "", markersize=5.0, **_style(at))
    ax.set_xlabel(f"{variable('tws_kn').long_name} over the ground, kn")
    ax.set_ylabel(f"time against {times.options[0]}, s (faster below)")
    ax.xaxis.set_major_locator(MaxNLocator(nbins=10, steps=[1, 2, 5, 10]))
    ax.grid(True)
    return ax


def one_wind_plot(ax: Axes, times: CourseTimes) -> Axes:
    """Time against the base (s, negative where faster) in the only wind, a bar an option with its time."""
    names = times.options[1:] if len(times.options) > 1 else times.options
    first = len(times.options) - len(names)
    for row, _ in enumerate(names):
        at = first + row
        value = times.difference_s[at, 0]
        ax.barh(row, 0.0 if np.isnan(value) else value, height=0.5, color=OPTION_INKS[at % len(OPTION_INKS)])
        told = "no time" if np.isnan(times.time_s[at, 0]) else say_time(times.time_s[at, 0])
        shown = f"{show_number(value, decimals=1, signed=True)} s   {told}" if first else told
        ax.annotate(
            shown,
            xy=(0.0 if np.isnan(value) else max(value, 0.0), row),
            xytext=(6.0, 0.0),
            textcoords="offset points",
            va="center",
        )
    ax.axvline(0.0, color=INK, linewidth=0.9)
    ax.set_yticks(range(len(names)), names)
    ax.invert_yaxis()
    ax.margins(x=0.35)
    ax.set_xlabel(f"time against {times.options[0]}, s (faster to the left)")
    return ax


def course_figure(times: CourseTimes) -> Figure:
    """Time against the base of every option, by wind where there is more than one."""

    def build() -> Figure:
        several = len(times.tws_kn) > 1
        height = 4.6 if several else 2.0 + 0.4 * len(times.options)
        figure = Figure(figsize=(8.6, height), layout="constrained")
        ax = figure.subplots()
        (course_plot if several else one_wind_plot)(ax, times)
        under = f"{times.course.name} ({times.course.path.name}, {times.course.digest})"
        lines = [f"Time round the course against {times.options[0]}", under]
        figure.suptitle("\n".join(lines), x=0.012, ha="left", fontsize=10.5)
        if several:
            handles, labels = ax.get_legend_handles_labels()
            figure.legend(handles, labels, loc="outside right center", frameon=False)
        footer(figure, times.source)
        return figure

    return styled(build)


def _style(at: int) -> dict[str, Any]:
    return {
        "color": OPTION_INKS[at % len(OPTION_INKS)],
        "linestyle": OPTION_LINES[at % len(OPTION_LINES)],
        "linewidth": 1.0 if at == 0 else 1.6,
    }
