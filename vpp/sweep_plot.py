"""Figures of a study: main effects, shares of the variance, maps, the front, and what factors are worth by
wind.

Each plot draws on the axes it is given and returns them; all of them read without colour.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from vpp.plots import (
    GAIN,
    INK,
    OPTION_INKS,
    OPTION_LINES,
    QUIET,
    footer,
    heading,
    option_fill,
    styled,
)
from vpp.sweep_result import Sweep

Floats = NDArray[np.float64]

_MOST_AIMS, _MOST_FACTORS = 4, 6
_GRID_OF_MAP, _LEVELS = 61, 9
_MOST_DOTS = 4000
_MARKS = ("o", "s", "^", "D", "v", "P")


def all_figures(found: Sweep) -> dict[str, Figure]:
    """Every figure that the study allows, by name."""
    figures = {"effects": effects_figure(found)}
    if any(np.isfinite(found.worth_kn(number)).any() for number in _leading(found)):
        figures["winds"] = winds_figure(found)
    if any(not shares.reason for shares in found.variance):
        figures["shares"] = shares_figure(found)
    if len(found.study.factors) > 1 and any(each.function is not None for each in found.surrogates):
        figures["maps"] = maps_figure(found)
    if len(found.front):
        figures["front"] = front_figure(found)
    return figures


# --- main effects -------------------------------------------------------------------------------------------


def effect_plot(ax: Axes, found: Sweep, aim: int, factor: int) -> Axes:
    """Mean of an aim over the rigs of each part of a factor's range, and the band of one standard deviation
    among them.
    """
    values, mean, spread, _ = found.effect(aim, factor)
    is_option = found.study.factors[factor].is_option
    x = np.arange(len(values)) if is_option else np.asarray(values, dtype=float)
    if is_option:
        ax.errorbar(x, mean, spread, color=INK, marker="o", linestyle="", capsize=3.0)
        ax.set_xticks(x, [str(value) for value in values], rotation=30, ha="right")
        ax.set_xlim(-0.5, len(x) - 0.5)
    else:
        ax.fill_between(x, mean - spread, mean + spread, color="#dbe3e9", linewidth=0.0)
        ax.plot(x, mean, color=INK, marker="o", markersize=4.0, linewidth=1.6)
    ax.grid(True)
    return ax


def effects_figure(found: Sweep) -> Figure:
    """Main effects: a row an aim, a column a factor."""
    factors, aims = _leading(found), range(min(len(found.aims), _MOST_AIMS))

    def build() -> Figure:
        figure = Figure(figsize=(2.6 * len(factors) + 1.4, 1.9 * len(aims) + 1.9), layout="constrained")
        panels = figure.subplots(len(aims), len(factors), squeeze=False, sharey="row", sharex="col")
        for row, aim in enumerate(aims):
            for column, factor in enumerate(factors):
                effect_plot(panels[row, column], found, aim, factor)
            panels[row, 0].set_ylabel(f"{_said(found.aims[aim])}\ngain, %")
        for column, factor in enumerate(factors):
            panels[-1, column].set_xlabel(found.study.factors[factor].label)
        heading(
            figure,
            f"{found.study.name}: what each factor does",
            f"line: mean gain over {found.study.compare_with}",
            "band: one standard deviation among the rigs there, from all other factors",
        )
        footer(figure, found.source)
        return figure

    return styled(build)


def _leading(found: Sweep) -> list[int]:
    """Factors, those with the largest shares where there are many, in the order of the file."""
    count = len(found.study.factors)
    if count <= _MOST_FACTORS:
        return list(range(count))
    total = np.sum(
        [shares.total for shares in found.variance if not shares.reason] or [np.zeros(count)], axis=0
    )
    return sorted(np.argsort(-total, kind="stable")[:_MOST_FACTORS].tolist())


def _said(name: str) -> str:
    return name.replace("_", " ")


# --- shares of the variance ---------------------------------------------------------------------------------


def shares_plot(ax: Axes, found: Sweep) -> Axes:
    """Shares of the variance by aim and factor [%]: by itself filled, together with others white."""
    names = [factor.words for factor in found.study.factors]
    ticks, labels, row = [], [], 0.0
    for aim, shares in zip(found.aims, found.variance, strict=True):
        if shares.reason:
            continue
        for at, name in enumerate(names):
            first, total = 100.0 * shares.first[at], 100.0 * shares.total[at]
            ax.barh(row, first, height=0.7, **option_fill(1 + at))
            ax.barh(
                row, total - first, left=first, height=0.7, facecolor="white", edgecolor=INK, linewidth=0.6
            )
            ax.annotate(
                f"{total:.0f}",
                (total, row),
                (4.0, 0.0),
                textcoords="offset points",
                va="center",
                fontsize=8.0,
            )
            ticks.append(row)
            labels.append(f"{_said(aim)}: {name}" if at == 0 else name)
            row += 1.0
        row += 0.6
    ax.set_yticks(ticks, labels)
    ax.set_ylim(row - 0.9, -0.7)
    ax.set_xlim(0.0, 108.0)
    ax.set_xlabel("share of the variance between rigs, %")
    ax.grid(True, axis="x")
    return ax


def shares_figure(found: Sweep) -> Figure:
    """Which factors the aims follow."""

    def build() -> Figure:
        rows = sum(not shares.reason for shares in found.variance) * len(found.study.factors)
        figure = Figure(figsize=(7.6, 0.3 * rows + 2.1), layout="constrained")
        shares_plot(figure.subplots(), found)
        heading(
            figure,
            f"{found.study.name}: which factors the gains follow",
            "filled: a factor by itself",
            "white: only together with others",
            "number: in all",
        )
        footer(figure, found.source)
        return figure

    return styled(build)


# --- maps ---------------------------------------------------------------------------------------------------


def map_plot(ax: Axes, found: Sweep, aim: int, across: int, up: int) -> Axes:
    """An aim [%] from its surrogate over two factors, all others as the best rig has them, which is a
    diamond; rigs without a result are crosses, and there is no map where these are the nearest.
    """
    best = int(found.best(aim)[0])
    line = np.linspace(0.0, 1.0, _GRID_OF_MAP)
    places = np.tile(found.places[best], (line.size**2, 1))
    places[:, across], places[:, up] = np.tile(line, line.size), np.repeat(line, line.size)
    gain = found.surrogates[aim](places).reshape(line.size, line.size)
    x, y = (found.study.factors[at].ends for at in (across, up))
    extent = (x[0] + line * (x[1] - x[0]), y[0] + line * (y[1] - y[0]))
    ax.contourf(*extent, gain, levels=_LEVELS, cmap="Greys", alpha=0.45)
    lines = ax.contour(*extent, gain, levels=_LEVELS, colors=INK, linewidths=0.9)
    ax.clabel(lines, fmt="%.2g", fontsize=8.0)
    lost = np.flatnonzero(~np.isfinite(found.gain_percent[:, aim]))[:_MOST_DOTS]
    values = [np.asarray(found.values[at], dtype=float) for at in (across, up)]
    ax.plot(values[0][lost], values[1][lost], linestyle="", marker="x", color=QUIET, markersize=4.0)
    ax.plot(
        values[0][best], values[1][best], marker="D", color="white", markeredgecolor=INK,
        markeredgewidth=1.4, markersize=8.0, linestyle="", clip_on=False, zorder=5,
    )  # fmt: skip
    ax.set_xlabel(found.study.factors[across].label)
    ax.set_ylabel(found.study.factors[up].label)
    ax.grid(False)
    return ax


def maps_figure(found: Sweep) -> Figure:
    """A map of every aim over the two factors that it follows most."""
    aims = [
        at for at, each in enumerate(found.surrogates) if each.function is not None and len(found.best(at))
    ]
    aims = aims[:_MOST_AIMS]
    is_torn = not np.isfinite(found.gain_percent[:, aims]).all()

    def build() -> Figure:
        columns = min(len(aims), 2)
        rows = -(-len(aims) // columns)
        figure = Figure(figsize=(max(4.6 * columns, 7.6), 3.5 * rows + 1.5), layout="constrained")
        panels = figure.subplots(rows, columns, squeeze=False).ravel()
        for ax, aim in zip(panels, aims, strict=False):
            across, up = found.two_leading(aim)
            map_plot(ax, found, aim, across, up)
            off = found.surrogates[aim].rms
            ax.set_title(
                f"{_said(found.aims[aim])}: gain, % (off by {off:.2g} left out)", loc="left", fontsize=9.0
            )
        for spare in panels[len(aims) :]:
            spare.set_visible(False)
        heading(
            figure,
            f"{found.study.name}: gains over {found.study.compare_with} by the two leading factors",
            "other factors as the best rig has them (diamond)",
            *(["crosses: rigs left out or without a result; no map beside them"] if is_torn else []),
        )
        footer(figure, found.source)
        return figure

    return styled(build)


# --- front --------------------------------------------------------------------------------------------------


def front_plot(ax: Axes, found: Sweep) -> Axes:
    """Two aims of all rigs [%]; those of which none is better in both are joined and numbered."""
    one, other = found.study.front or (0, 1)
    x, y = found.gain_percent[:, one], found.gain_percent[:, other]
    some = np.linspace(0, len(x) - 1, min(len(x), _MOST_DOTS)).astype(int)
    ax.plot(x[some], y[some], linestyle="", marker=".", color="#b3bcc4", markersize=5.0)
    ax.plot(x[found.front], y[found.front], color=GAIN, marker="o", linewidth=1.6, markersize=5.5)
    named = found.front[np.unique(np.linspace(0, len(found.front) - 1, min(len(found.front), 8)).astype(int))]
    for rig in named.tolist():
        ax.annotate(
            str(rig), (x[rig], y[rig]), (6.0, 4.0), textcoords="offset points", color=INK, fontsize=8.0
        )
    ax.axhline(0.0, color=QUIET, linewidth=0.8)
    ax.axvline(0.0, color=QUIET, linewidth=0.8)
    ax.set_xlabel(f"{_said(found.aims[one])}: gain, %")
    ax.set_ylabel(f"{_said(found.aims[other])}: gain, %")
    ax.grid(True)
    return ax


def along_front_plot(ax: Axes, found: Sweep) -> Axes:
    """Where in their ranges the factors of the front's rigs lie [%], by its first aim [%]."""
    one = (found.study.front or (0, 1))[0]
    for at, factor in enumerate(found.study.factors):
        ax.plot(
            found.gain_percent[found.front, one],
            100.0 * found.places[found.front, at],
            color=OPTION_INKS[at % len(OPTION_INKS)],
            linestyle=OPTION_LINES[at % len(OPTION_LINES)],
            marker=_MARKS[at % len(_MARKS)],
            markersize=5.0,
            label=factor.words,
        )
    ax.set_ylim(-6.0, 106.0)
    ax.set_ylabel("of its range, %")
    ax.set_xlabel(f"{_said(found.aims[one])}: gain, %")
    ax.grid(True)
    return ax


def front_figure(found: Sweep) -> Figure:
    """What one aim costs of the other, and the factors along the front."""

    def build() -> Figure:
        is_line = len(found.front) > 1
        figure = Figure(figsize=(9.6 if is_line else 6.4, 5.0), layout="constrained")
        if is_line:
            left, right = figure.subplots(1, 2, width_ratios=(1.3, 1.0))
            along_front_plot(right, found)
            figure.legend(*right.get_legend_handles_labels(), loc="outside right center", frameon=False)
        else:
            left = figure.subplots()
        front_plot(left, found)
        heading(
            figure,
            f"{found.study.name}: what one aim costs of the other",
            f"gains over {found.study.compare_with}",
            "joined: no other rig is better in both; numbers of rigs",
            *(["right: the factors along that front"] if is_line else []),
        )
        footer(figure, found.source)
        return figure

    return styled(build)


# --- by wind ------------------------------------------------------------------------------------------------


def winds_plot(ax: Axes, found: Sweep, angle: float | str) -> Axes:
    """What each factor is worth by wind [kn] at an angle."""
    at = np.array([row[1] == angle for row in found.study.rows])
    winds = found.study.tws_kn
    for number in _leading(found):
        ax.plot(
            winds,
            found.worth_kn(number)[at],
            color=OPTION_INKS[number % len(OPTION_INKS)],
            linestyle=OPTION_LINES[number % len(OPTION_LINES)],
            marker=_MARKS[number % len(_MARKS)],
            markersize=4.5,
            linewidth=1.5,
        )
    ax.axhline(0.0, color=QUIET, linewidth=0.9)
    ax.set_title(angle if isinstance(angle, str) else f"TWA {angle:g} deg", loc="left", fontsize=9.0)
    ax.set_xlabel("true wind speed, kn")
    ax.grid(True)
    return ax


def winds_figure(found: Sweep) -> Figure:
    """What each factor is worth, a panel an angle."""
    angles = found.study.angles[:6]

    def build() -> Figure:
        columns = min(len(angles), 3)
        rows = -(-len(angles) // columns)
        figure = Figure(figsize=(max(3.1 * columns + 2.2, 8.4), 2.7 * rows + 1.5), layout="constrained")
        panels = figure.subplots(rows, columns, squeeze=False, sharey=True)
        for ax, angle in zip(panels.ravel(), angles, strict=False):
            winds_plot(ax, found, angle)
        for ax in panels.ravel()[len(angles) :]:
            ax.set_visible(False)
        for ax in panels[:, 0]:
            ax.set_ylabel("worth, kn made good")
        handles: list[Any] = []
        for number in _leading(found):
            handles.append(
                Line2D([], [], color=OPTION_INKS[number % len(OPTION_INKS)],
                       linestyle=OPTION_LINES[number % len(OPTION_LINES)],
                       marker=_MARKS[number % len(_MARKS)], markersize=4.5, label=_room(found, number))
            )  # fmt: skip
        figure.legend(handles=handles, loc="outside right center", frameon=False, handlelength=3.4)
        heading(
            figure,
            f"{found.study.name}: what each factor is worth by wind",
            "by itself, between the values beside its name: a parabola in every factor, fitted to all rigs",
        )
        footer(figure, found.source)
        return figure

    return styled(build)


def _room(found: Sweep, number: int) -> str:
    """A factor and the range that its worth spans."""
    factor = found.study.factors[number]
    low, high = factor.worth_ends
    return f"{factor.label}\n{factor.show(low)} to {factor.show(high)}"
