"""Bands of gains over the draws, and what drives the doubt about them.

Each plot draws on the axes it is given and returns them.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from vpp.compare import LEVEL_KN
from vpp.doubt import Doubt
from vpp.plots import GAIN, HALO, INK, LOSS, QUIET, footer, heading, option_fill, styled
from vpp.results.variables import show_number

Floats = NDArray[np.float64]

_ALL, _MOST = (5, 95), (10, 90)
_HEIGHT = 0.62
# Inputs that get a colour of their own; the others are drawn as one.
_NAMED = 8
_OTHERS: dict[str, Any] = {"facecolor": "#8a949c", "edgecolor": "#98a2a9", "linewidth": 0.3}


def draw_bands(ax: Axes, least: Floats, low: Floats, high: Floats, most: Floats, nominal: Floats) -> None:
    """Gains (kn) of several rows, one below the other from 0: the line holds 90 % of the draws, from `least`
    to `most`, the bar 80 %, and the mark is the nominal gain.
    """
    for row, gain in enumerate(nominal):
        tone = GAIN if gain > 0.0 else LOSS
        ax.plot([least[row], most[row]], [row, row], color=tone, linewidth=1.2, solid_capstyle="butt")
        ax.barh(row, high[row] - low[row], left=low[row], height=0.42, color=tone)
        ax.plot(gain, row, marker="D", markersize=4.2, color=INK, markeredgecolor="white")
    ax.axvline(0.0, color=INK, linewidth=0.9)
    ax.set_ylim(len(nominal) - 0.4, -0.6)
    ax.grid(True, axis="x")
    ax.grid(False, axis="y")


def bands_plot(ax: Axes, found: Doubt, condition: int) -> Axes:
    """Gains of all options in one condition (kn), an option a row: the line holds 90 % of the draws, the bar
    80 %, and the mark is the nominal gain. How sure its sign is stands at the right.
    """
    low, high = found.quantiles_kn(_ALL)[:, :, condition]
    inner_low, inner_high = found.quantiles_kn(_MOST)[:, :, condition]
    nominal, sign = found.nominal_gain_kn[:, condition], found.share_of_sign()[:, condition]
    rows = np.arange(len(found.options))
    draw_bands(ax, low, inner_low, inner_high, high, nominal)
    for row in rows:
        told = "level" if np.isnan(sign[row]) else f"{100.0 * sign[row]:.0f} %"
        ax.annotate(
            told,
            (1.0, row),
            (-4.0, 0.0),
            xycoords=("axes fraction", "data"),
            textcoords="offset points",
            va="center",
            ha="right",
            fontsize=8.0,
            color=INK,
        )
    ax.set_yticks(rows, found.options)
    ax.set_title(found.say_condition(condition), loc="left", fontsize=9.0)
    return ax


def bands_figure(found: Doubt) -> Figure:
    """Bands of all gains: a panel a condition, a row of panels a wind."""

    def build() -> Figure:
        winds = len(found.nominal.polar.grid.tws_kn)
        columns = len(found.conditions) // winds
        height = winds * (0.28 * len(found.options) + 0.75) + 1.6
        figure = Figure(figsize=(2.9 * columns + 1.4, height), layout="constrained")
        panels = figure.subplots(winds, columns, squeeze=False, sharey=True, sharex="col")
        for condition in range(len(found.conditions)):
            wind, column = divmod(condition, columns)
            bands_plot(panels[wind, column], found, condition)
        for column in range(columns):
            _widen(panels[0, column], found, column, columns)
            panels[-1, column].set_xlabel("gain, kn")
        heading(
            figure,
            f"How sure the gains over {found.nominal.polar.options[0]} are: {len(found.places)} draws",
            "bar: 8 of 10 draws",
            "line: 9 of 10",
            "diamond: nominal",
            "at the right: draws with the sign of the nominal gain",
        )
        footer(figure, found.source)
        return figure

    return styled(build)


def _widen(ax: Axes, found: Doubt, column: int, columns: int) -> None:
    """Leave room at the right of a column of panels for what stands there."""
    here = found.quantiles_kn(_ALL)[:, :, column::columns]
    known = np.concatenate([here.ravel(), found.nominal_gain_kn[:, column::columns].ravel(), [0.0]])
    low, high = float(np.nanmin(known)), float(np.nanmax(known))
    room = max(high - low, 0.02)
    ax.set_xlim(low - 0.06 * room, high + 0.3 * room)


def drivers_plot(ax: Axes, found: Doubt, option: int, named: list[int]) -> Axes:
    """Of the variance of an option's gains what goes with each input by itself (%), a bar a condition; what
    inputs only do together is left white. Where that is not known, it says so.
    """
    for row in range(len(found.conditions)):
        shares = found.shares[option][row]
        told = "not explained by the inputs" if np.isfinite(shares.explained) else shares.reason
        if found.is_narrow(option, row):
            told = f"all within {LEVEL_KN:g} kn"
        if shares.reason or found.is_narrow(option, row):
            ax.annotate(told, (2.0, row), va="center", fontsize=7.5, color=QUIET)
            continue
        first = 100.0 * shares.first
        left = 0.0
        for place, at in enumerate(named):
            ax.barh(row, first[at], left=left, height=_HEIGHT, **option_fill(1 + place))
            left += float(first[at])
        others = float(first.sum()) - left
        ax.barh(row, others, left=left, height=_HEIGHT, **_OTHERS)
        if max(first.max(), 0.0) >= 20.0:
            _name_largest(ax, found, row, first, named)
    ax.set_yticks(
        range(len(found.conditions)), [found.say_condition(at) for at in range(len(found.conditions))]
    )
    ax.set_ylim(len(found.conditions) - 0.4, -0.6)
    ax.set_xlim(0.0, 100.0)
    ax.set_title(found.options[option], loc="left", fontsize=9.0)
    ax.grid(False)
    return ax


def _name_largest(ax: Axes, found: Doubt, row: int, first: Floats, named: list[int]) -> None:
    """Write the share of the largest input on its bar."""
    largest = int(first.argmax())
    if largest not in named:
        return
    before = float(sum(first[at] for at in named[: named.index(largest)]))
    ax.annotate(
        show_number(first[largest], decimals=0),
        (before + 0.5 * float(first[largest]), row),
        va="center",
        ha="center",
        fontsize=7.5,
        color=INK,
        bbox=HALO,
    )


def drivers_figure(found: Doubt) -> Figure:
    """What drives the doubt: a panel an option."""

    def build() -> Figure:
        named = _most_telling(found)
        count = len(found.options)
        columns = min(count, 3)
        rows = -(-count // columns)
        height = max(rows * (0.24 * len(found.conditions) + 0.75) + 1.5, 0.28 * _NAMED + 2.0)
        figure = Figure(figsize=(2.7 * columns + 3.2, height), layout="constrained")
        panels = figure.subplots(rows, columns, squeeze=False, sharey=True, sharex=True).ravel()
        for option in range(count):
            drivers_plot(panels[option], found, option, named)
        for spare in panels[count:]:
            spare.set_visible(False)
        for ax in panels[max(count - columns, 0) : count]:
            ax.set_xlabel("share of the variance, %")
            ax.tick_params(labelbottom=True)
        fills = [*(option_fill(1 + place) for place in range(len(named))), _OTHERS]
        names = [*(found.ranges[at].name.replace("_", " ") for at in named), "other inputs"]
        handles = [Rectangle((0.0, 0.0), 1.0, 1.0, **fill) for fill in fills]
        figure.legend(
            handles, names, loc="outside right center", frameon=False, handlelength=2.6, handleheight=1.6
        )
        heading(
            figure,
            "What drives the doubt about the gains",
            "by itself, of the variance over the draws",
            "white: only together with others",
        )
        footer(figure, found.source)
        return figure

    return styled(build)


def _most_telling(found: Doubt) -> list[int]:
    """The inputs with the largest shares over all gains, largest first."""
    known = [
        shares.first
        for option, of_option in enumerate(found.shares)
        for condition, shares in enumerate(of_option)
        if not shares.reason and not found.is_narrow(option, condition)
    ]
    if not known:
        return []
    total = np.sum(known, axis=0)
    return [int(at) for at in np.argsort(-total, kind="stable")[: min(_NAMED, len(total))]]
