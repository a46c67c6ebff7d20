"""The path of a search for a better boat, and the front of two aims, drawn.

Each plot draws on the axes it is given and returns them.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from vpp.improve_result import ACCEPTED, FOLLOWED, REFUSED, SOLVED, Improvement, Step
from vpp.plots import GAIN, INK, LOSS, OPTION_INKS, OPTION_LINES, QUIET, footer, heading, styled

_MOST_NAME = 34


def path_plot(ax: Axes, found: Improvement) -> Axes:
    """Gain [%] by boat tried: followed ones that were gains joined by a line, others hollow, those solved
    from afar as diamonds, refused ones as crosses along the lower edge.
    """
    steps = _of_starts(found)
    for start in dict.fromkeys(step.search for step in steps):
        kept = [
            step
            for step in steps
            if step.search == start and (step.outcome == ACCEPTED or step.how == SOLVED)
        ]
        ax.plot(
            [step.number for step in kept], [step.gain_percent for step in kept], color=GAIN, linewidth=1.2
        )
    kinds: Sequence[tuple[str, Any, dict[str, Any]]] = (
        ("followed, a gain", lambda s: s.how == FOLLOWED and s.outcome == ACCEPTED, {"marker": "o"}),
        (
            "followed, no gain",
            lambda s: s.how == FOLLOWED and s.outcome not in (ACCEPTED, REFUSED),
            {"marker": "o", "markerfacecolor": "white"},
        ),
        ("solved from afar", lambda s: s.how == SOLVED, {"marker": "D", "color": INK}),
    )
    for label, belongs, style in kinds:
        some = [step for step in steps if belongs(step)]
        if some:
            ax.plot(
                [step.number for step in some],
                [step.gain_percent for step in some],
                linestyle="",
                markersize=5.0,
                label=label,
                **{"color": GAIN, **style},
            )
    refused = [step.number for step in steps if step.outcome == REFUSED]
    if refused:
        low = ax.get_ylim()[0]
        ax.plot(refused, [low] * len(refused), linestyle="", marker="x", color=LOSS, label="refused")
    ax.set_ylabel("better than built, %")
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    ax.grid(True)
    ax.legend(frameon=False, fontsize=8.0, loc="best")
    return ax


def values_plot(
    ax: Axes, numbers: Sequence[float], values: Sequence[tuple[float, ...]], found: Improvement
) -> Axes:
    """Values of the varied numbers, as shares of their ranges [%], by some numbers; what is built is a tick
    at the left.
    """
    table = np.array(values)
    for row, key in enumerate(found.keys):
        span = key.greatest - key.least
        shares = 100.0 * (table[:, row] - key.least) / span
        room = f"{key.least:.6g} to {key.greatest:.6g} {key.unit}, built {key.built:.6g}"
        ax.plot(
            numbers,
            shares,
            color=OPTION_INKS[row % len(OPTION_INKS)],
            linestyle=OPTION_LINES[row % len(OPTION_LINES)],
            marker=".",
            linewidth=1.4,
            label=f"{_short(key.name)}\n{room}",
        )
    for edge in (0.0, 100.0):
        ax.axhline(edge, color=QUIET, linewidth=0.9)
    ax.set_ylim(-6.0, 106.0)
    ax.set_ylabel("of its range, %")
    ax.grid(True)
    return ax


def path_figure(found: Improvement) -> Figure:
    """The path: gains above, the varied numbers over their ranges below."""

    def build() -> Figure:
        room = 0.42 * len(found.keys)
        figure = Figure(figsize=(9.2, max(5.6, 3.4 + room)), layout="constrained")
        upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(1.0, 1.1))
        path_plot(upper, found)
        known = [step for step in _of_starts(found) if step.outcome != REFUSED]
        values_plot(lower, [step.number for step in known], [step.values for step in known], found)
        lower.set_xlabel("boats, in the order in which they were tried")
        _keys_beside(figure, lower)
        heading(figure, f"{found.name} from {found.option}: the path", found.aim, f"ended: {found.why}")
        footer(figure, found.source)
        return figure

    return styled(build)


def front_plot(ax: Axes, found: Improvement) -> Axes:
    """The first aim against the second; every point is the best boat with at least so much of the second. The
    boat as built is a diamond, other boats that were tried are dots.
    """
    tried = [step for step in found.steps if step.outcome != REFUSED]
    x, y = _Axis(found, second=True), _Axis(found, second=False)
    # measured things and times of boats on the way are not kept; they follow from their gains
    ax.plot(
        [x.of_gain(step.against_percent) for step in tried],
        [y.of_gain(step.gain_percent) for step in tried],
        linestyle="",
        marker=".",
        color="#c3cad0",
        label="boats tried",
    )
    ax.plot(
        [x.of_gain(point.against_percent) for point in found.front],
        [y.of_gain(point.gain_percent) for point in found.front],
        marker="o",
        color=GAIN,
        linewidth=1.6,
        label="best with at least so much",
    )
    ax.plot(x.of_gain(0.0), y.of_gain(0.0), marker="D", color=INK, linestyle="", label="as built")
    for number, point in enumerate(found.front, start=1):
        ax.annotate(
            str(number),
            (x.of_gain(point.against_percent), y.of_gain(point.gain_percent)),
            (5.0, 5.0),
            textcoords="offset points",
            color=INK,
        )
    ax.set_xlabel(x.label)
    ax.set_ylabel(y.label)
    ax.grid(True)
    ax.legend(frameon=False, fontsize=8.0, loc="best")
    return ax


class _Axis:
    """An axis of the front: what a gain in per cent is there."""

    def __init__(self, found: Improvement, *, second: bool) -> None:
        name, unit = (found.against, found.against_unit) if second else (found.aim, found.aim_unit)
        first = found.front[0]
        gain, told = (
            (first.against_percent, first.against_told) if second else (first.gain_percent, first.told)
        )
        self.is_gain = unit == "%"
        self.start = told / (1.0 - gain / 100.0)
        label = f"{name}, % better" if self.is_gain else f"{name}, {unit} (less is better)"
        self.label = "\n".join(textwrap.wrap(label, width=80 if second else 44))

    def of_gain(self, percent: float) -> float:
        """Where a gain lies."""
        return percent if self.is_gain else self.start * (1.0 - percent / 100.0)


def front_figure(found: Improvement) -> Figure:
    """The front, and the varied numbers along it."""

    def build() -> Figure:
        room = 0.42 * len(found.keys)
        figure = Figure(figsize=(9.2, max(7.0, 4.6 + room)), layout="constrained")
        upper, lower = figure.subplots(2, 1, height_ratios=(1.4, 1.0))
        front_plot(upper, found)
        numbers = list(range(1, len(found.front) + 1))
        values_plot(lower, numbers, [point.values for point in found.front], found)
        lower.set_xlabel("points of the front")
        lower.xaxis.set_major_locator(MaxNLocator(integer=True))
        _keys_beside(figure, lower)
        heading(figure, f"{found.option} improved: what one aim costs of the other")
        footer(figure, found.source)
        return figure

    return styled(build)


def _of_starts(found: Improvement) -> list[Step]:
    """The path without the searches for points of a front."""
    return [step for step in found.steps if step.search.startswith("start")]


def _keys_beside(figure: Figure, ax: Axes) -> None:
    handles, labels = ax.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside right lower", frameon=False, fontsize=7.6)


def _short(name: str) -> str:
    """A name broken after a + or a point where it is long."""
    parts = name.split("+")
    return " +\n".join(part if len(part) <= _MOST_NAME else part.replace(".", ".\n", 1) for part in parts)
