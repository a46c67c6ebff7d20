"""Figures. Each plot draws on the axes it is given and returns them; functions named `..._figure` build a
whole figure.

Everything reads without colour: lines differ in style and carry their label, losses are hatched. Conditions
without a result are left as gaps. Results that rest on hull resistance extended past its data have hollow
marks, thin dotted lines, or numbers in italics with a mark behind. Hull-borne results of boats that can also
fly have thin lines, broken where the boat takes off, and open squares or triangles.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Sequence
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap, ListedColormap, Normalize, to_rgb
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.patches import Rectangle
from matplotlib.projections.polar import PolarAxes
from matplotlib.ticker import Formatter, MaxNLocator
from numpy.typing import NDArray

from vpp.compare import DECISIVE_PERCENT, FLIES_MARK, FLOATS_MARK, LEVEL_KN, Comparison
from vpp.polar import BEST_VMG, Point, Polar, WindGrid
from vpp.results.files import CAUTION, Source
from vpp.results.frames import EXTENDED_MARK, EXTENDED_REMARK, Floats
from vpp.results.rounding import add_up, decimals_for
from vpp.results.variables import DEGREE, KNOT, show_number, variable
from vpp.sail_choice import has_sets
from vpp.solved import FOIL_BORNE, SPEED
from vpp.stability import (
    AFLOAT,
    CREW,
    FINS,
    HEEL,
    HULL_DRAG,
    HULL_FORM,
    MASSES,
    RAISED_WEIGHT,
    RUDDER_FOIL,
    SAILS,
    SIDE,
    VERTICAL,
    WATER_PLANE,
    WORKING_FOIL,
    WORKING_WEIGHT,
    Curve,
    Stability,
)
from vpp.take_off import TakeOff

INK = "#1f2a33"
QUIET = "#8a949c"
_GRID = "#d9dee2"
LOSS, GAIN = "#c0703a", "#2f6f9f"
# Twelve options are told apart by ink and line, tone and hatching; after that they begin again.
OPTION_INKS = (
    "#1f2a33", "#2f6f9f", "#c0703a", "#4d8a57", "#8a5a9c", "#7a7a2e",
    "#9a4a5a", "#4a8a8a", "#3f3f8f", "#b58a2a", "#6b4a2f", "#c0629a",
)  # fmt: skip
OPTION_LINES: tuple[Any, ...] = (
    "-", (0, (6, 2)), (0, (2, 1.5)), (0, (7, 2, 1.5, 2)),
    (0, (1, 1)), (0, (4, 1, 1, 1, 1, 1)), (0, (10, 3)), (0, (3, 3)),
    (0, (8, 1.5, 2, 1.5)), (0, (1, 2.5)), (0, (5, 1)), (0, (9, 2, 1, 2, 1, 2)),
)  # fmt: skip
_OPTION_HATCHES = ("", "////", "....", "\\\\\\\\", "xxxx", "----", "oo", "++", "||||", "**", "OO", "/.")
_OPTION_TONES = (
    "#eef1f3", "#c9dbe8", "#f1dcc9", "#d3e5d3", "#e0d3e6", "#e6e4c4",
    "#ecd0d6", "#cfe5e5", "#cfcfe8", "#f0e3bd", "#dccfc4", "#f2d3e3",
)  # fmt: skip
# Sail sets are told apart by tone from light to dark, since hatching says something else about them.
_SAIL_SET_TONES = (
    "#f1f3f4", "#bdd5e6", "#e0aa7c", "#86b08c", "#a07fb0", "#5f7f9c", "#d9d27a", "#9c5f5f",
)  # fmt: skip
_OPTION_COUNT = len(OPTION_INKS)
_STYLE: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.titlecolor": INK,
    "axes.titlesize": 10.0,
    "axes.titleweight": "bold",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "grid.color": _GRID,
    "grid.linewidth": 0.7,
    "hatch.linewidth": 0.5,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 8.5,
    "ytick.labelsize": 8.5,
}


def polar_plot(ax: PolarAxes, polar: Polar, *, option: str = "base") -> PolarAxes:
    """Boat speed (kn, outwards) against true wind angle (deg, from the wind downwards), a line for each true
    wind speed.

    `ax` has the projection `polar`. Triangles show the best VMG up and down. Where the hull resistance is
    extended past its data, lines are thin and dotted and marks hollow. Where a boat that can fly is
    hull-borne, lines are thin and dash-dotted and triangles open.
    """
    index = polar.options.index(option)
    extended, hull_borne = polar.extended[index], polar.hull_borne[index]
    angle = np.deg2rad(np.array(polar.grid.twa_deg))
    speeds = polar.at_angles("boat_speed_kn")[index]
    ax.set_theta_zero_location("N")
    ax.set_theta_direction(-1)
    ax.set_thetalim(0.0, np.pi)
    top = _round_up(np.nanmax(speeds, initial=1.0))
    ax.set_rlim(0.0, top)
    step = next(step for most, step in ((12.0, 1.0), (24.0, 2.0), (np.inf, 5.0)) if top <= most)
    ax.set_rticks(np.arange(step, top + 0.5, step))
    ax.set_xticks(np.deg2rad(np.arange(0.0, 181.0, 15.0)))
    ax.grid(color=_GRID, linewidth=0.7)
    ax.tick_params(axis="y", labelsize=8.0, labelcolor=QUIET)
    wind_count = len(polar.grid.tws_kn)
    for row, tws in enumerate(polar.grid.tws_kn):
        tone = _wind_tone(row, wind_count)
        ax.plot(
            angle,
            np.where((extended | hull_borne)[row, : len(angle)], np.nan, speeds[row]),
            color=tone,
            linestyle="-" if row % 2 == 0 else (0, (5, 1.5)),
            linewidth=1.3,
            marker=".",
            markersize=2.5,
        )
        _extended_line(ax, angle, speeds[row], extended[row, : len(angle)], tone)
        if hull_borne[row, : len(angle)].any():
            floating = np.where(hull_borne[row, : len(angle)], speeds[row], np.nan)
            ax.plot(angle, floating, color=tone, marker=".", markersize=2.5, **_HULL_BORNE_LINE)
        for aim, marker in zip(BEST_VMG, ("^", "v"), strict=True):
            best_angle = np.deg2rad(polar.at_best_vmg("twa_deg", aim=aim)[index, row])
            best_speed = polar.at_best_vmg("boat_speed_kn", aim=aim)[index, row]
            ax.plot(
                best_angle,
                best_speed,
                marker=marker,
                color=tone,
                markerfacecolor="white" if (extended | hull_borne)[row, polar.row_aims.index(aim)] else tone,
                markersize=4.5,
                linestyle="",
            )
        on_foils = np.where(hull_borne[row, : len(angle)], np.nan, speeds[row])
        labelled = on_foils if np.isfinite(on_foils).any() else speeds[row]
        _label_on_line(ax, angle, labelled, f"{tws:g}", row, wind_count, tone)
    ax.set_title(f"{option}\nboat speed, kn (outwards), at true wind angle, deg", pad=12.0)
    return ax


def polar_figure(polar: Polar, *, option: str = "base") -> Figure:
    """The polar of one option."""

    def build() -> Figure:
        width, height, disc = 6.0, 9.8, 7.8
        figure = Figure(figsize=(width, height))
        # a half circle is drawn in the middle half of square axes, so that these may be wider than the figure
        left = 0.46 * width - 0.5 * disc
        axes = figure.add_axes((left / width, 1.1 / height, disc / width, disc / height), projection="polar")
        assert isinstance(axes, PolarAxes)
        polar_plot(axes, polar, option=option)
        key = "on the lines: true wind speed, kn;  \u25b2 best VMG up,  \u25bc best VMG down"
        if polar.extended[polar.options.index(option)].any():
            key += f"\nthin, dotted and hollow: {_EXTENDED}"
        if polar.hull_borne[polar.options.index(option)].any():
            key += "\nthin, dash-dotted and open: hull-borne; all others foil-borne"
        figure.text(0.5, 0.68 / height, key, ha="center", va="center", fontsize=8.5)
        footer(figure, polar.source)
        return figure

    return styled(build)


def gain_plot(ax: Axes, comparison: Comparison, *, option: str) -> Axes:
    """Gain in boat speed (kn) of an option against true wind speed (kn) and angle (deg). Losses are hatched,
    missing ones crossed, those of extended hull resistance paler and in italics. A mark behind the number
    says that the two boats are carried in different ways.
    """
    grid = comparison.polar.grid
    index, angles = comparison.polar.options.index(option), slice(len(grid.twa_deg))
    gain = comparison.gain_kn()[index, :, angles].T
    extended = comparison.gain_extended()[index, :, angles].T
    marks = comparison.marks()[index, :, angles].T
    limit = shade_limit_kn(comparison)
    x, y = _edges(grid.tws_kn), _edges(grid.twa_deg)
    diverging = LinearSegmentedColormap.from_list("loss and gain", (LOSS, "#fbfbf9", GAIN))
    ax.pcolormesh(x, y, np.ma.masked_invalid(gain), cmap=diverging, vmin=-limit, vmax=limit, rasterized=True)
    pale = np.ma.masked_where(~extended, np.ones_like(gain))
    ax.pcolormesh(x, y, pale, cmap=ListedColormap(["white"]), alpha=0.5, linewidth=0.0, rasterized=True)
    shade = diverging(Normalize(-limit, limit)(np.nan_to_num(gain)))[..., :3]
    shade = np.where(extended[..., np.newaxis], 0.5 + 0.5 * shade, shade)
    loss = np.ma.masked_where(~(gain <= -LEVEL_KN), gain)
    ax.pcolor(x, y, loss, hatch="////", facecolor="none", edgecolor="#8a4a20", alpha=0.45, linewidth=0.0)
    row_step, column_step = _number_steps(comparison)
    for row, twa in enumerate(grid.twa_deg):
        for column, tws in enumerate(grid.tws_kn):
            value = gain[row, column]
            if np.isnan(value):
                ax.plot(tws, twa, **_MISSING_MARK)
            elif row % row_step == 0 and column % column_step == 0:
                _write_gain(ax, tws, twa, value, mark=str(marks[row, column]), shade=shade[row, column])
    _wind_axes(ax, grid.tws_kn, grid.twa_deg)
    ax.set_title(option, loc="left")
    return ax


def gain_figure(comparison: Comparison) -> Figure:
    """Gain against the base on the whole grid of winds, a panel for each option."""

    def build() -> Figure:
        names = comparison.alternatives
        columns = min(len(names), 2)
        rows = -(-len(names) // columns)
        # a number needs a sixth of an inch
        angles = min(len(comparison.polar.grid.twa_deg), _MOST_NUMBER_ROWS)
        figure = Figure(
            figsize=(5.6 * columns, max(5.2, 0.165 * angles + 0.9) * rows + 1.1), layout="constrained"
        )
        panels = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True).ravel()
        for ax, name in zip(panels, names, strict=False):
            gain_plot(ax, comparison, option=name)
            ax.tick_params(labelbottom=True, labelleft=True)
        for ax in panels[len(names) :]:
            ax.remove()
        heading(
            figure,
            f"Gain in boat speed against {comparison.polar.options[0]}, kn",
            *_gain_key(comparison),
        )
        footer(figure, comparison.polar.source)
        return figure

    return styled(build)


def vmg_plot(ax: Axes, polar: Polar, *, aim: str) -> Axes:
    """Best speed made good (kn) `upwind` or `downwind` against true wind speed (kn), a line an option."""
    speed = np.abs(polar.at_best_vmg("vmg_kn", aim=aim))
    row = polar.row_aims.index(aim)
    extended, hull_borne = polar.extended[:, :, row], polar.hull_borne[:, :, row]
    _option_lines(ax, polar.grid.tws_kn, speed, extended, polar.options, hull_borne=hull_borne)
    ax.set_ylabel(f"VMG {aim}, kn")
    return ax


def vmg_gain_plot(ax: Axes, comparison: Comparison, *, aim: str) -> Axes:
    """Gain in speed made good (kn) `upwind` or `downwind` against true wind speed (kn), a line for each
    option. Gains between boats that are carried in different ways would dwarf all others; they are marked at
    the upper or lower edge.
    """
    row, tws_kn = comparison.place(aim), comparison.polar.grid.tws_kn
    crossing = comparison.crossing()[:, :, row]
    gain = np.array([comparison.vmg_gain_kn(name, aim=aim) for name in comparison.polar.options])
    gain = np.where(crossing == 0, gain, np.nan)
    extended = comparison.gain_extended()[:, :, row] & (crossing == 0)
    hull_borne = comparison.polar.hull_borne[:, :, row]
    _option_lines(ax, tws_kn, gain, extended, comparison.polar.options, hull_borne=hull_borne)
    _edge_marks(ax, tws_kn, crossing)
    ax.yaxis.set_major_locator(MaxNLocator(nbins=10, steps=[1, 2, 5, 10]))
    ax.yaxis.set_major_formatter(_SignedTicks())
    ax.set_ylabel(f"gain in VMG {aim}, kn")
    return ax


def vmg_figure(polar: Polar) -> Figure:
    """Best VMG up and down against wind."""

    def build() -> Figure:
        figure = Figure(figsize=(10.0, 4.8), layout="constrained")
        for ax, aim in zip(figure.subplots(1, 2), BEST_VMG, strict=True):
            vmg_plot(ax, polar, aim=aim)
        heading(figure, "Best VMG against wind", *_vmg_key(polar))
        footer(figure, polar.source)
        return figure

    return styled(build)


def vmg_gain_figure(comparison: Comparison) -> Figure:
    """Best VMG up and down against wind, and below it what each option gains."""

    def build() -> Figure:
        figure = Figure(figsize=(10.0, 8.6), layout="constrained")
        panels = figure.subplots(2, 2, sharex=True)
        for column, aim in enumerate(BEST_VMG):
            vmg_plot(panels[0, column], comparison.polar, aim=aim)
            vmg_gain_plot(panels[1, column], comparison, aim=aim)
            panels[0, column].tick_params(labelbottom=True)
        title = f"Best VMG against wind, and the gain against {comparison.polar.options[0]}"
        best = slice(len(comparison.polar.grid.twa_deg), None)
        edge = [f"at the edge of the gains, {item}" for item in _crossing_key(comparison, best)]
        for way, mark in ((FLIES_MARK, "\u25b3"), (FLOATS_MARK, "\u25bd")):
            edge = [item.replace(f"{way}:", f"{mark}:") for item in edge]
        heading(figure, title, *_vmg_key(comparison.polar), *edge)
        footer(figure, comparison.polar.source)
        return figure

    return styled(build)


def best_option_plot(ax: Axes, comparison: Comparison) -> Axes:
    """Which option is fastest against true wind speed (kn) and angle (deg), best VMG in rows of their own
    above and below.

    A dot marks a lead too small to call (level), a cross a condition in which at least one option has no
    result. Conditions in which a boat rests on extended hull resistance are paler and marked.
    """
    grid, names = comparison.polar.grid, comparison.polar.options
    best, margin, missing, extended = _best_map(comparison)
    x, tops = _edges(grid.tws_kn), _map_tops(grid)
    for row, top in enumerate(tops):
        for column, tws in enumerate(grid.tws_kn):
            index = int(best[row, column])
            if missing[row, column]:
                ax.plot(tws - 0.32 * (x[column + 1] - x[column]), top + 0.5, **_MISSING_MARK)
            if index < 0:
                continue
            corner, width = (x[column], top), x[column + 1] - x[column]
            fill = option_fill(index)
            if extended[row, column]:
                fill["alpha"] = 0.5
                place = (tws + 0.36 * width, top + 0.5)
                ax.text(*place, EXTENDED_MARK, ha="center", va="center", fontsize=8.0)
            ax.add_patch(Rectangle(corner, width, 1.0, **fill))
            if margin[row, column] < LEVEL_KN:
                ax.plot(tws, top + 0.5, marker="o", color=INK, markersize=3.5, markeredgecolor="white")
    _name_regions(ax, best[1:-1], grid.tws_kn, tops[1:-1] + 0.5, names)
    _map_axes(ax, grid)
    return ax


def best_margin_plot(ax: Axes, comparison: Comparison) -> Axes:
    """By how much (kn) the fastest option leads the next, in the same map: the darker the more, the number
    bold where it is no less than what a decision can rest on. Lines run between regions of different options.
    """
    grid = comparison.polar.grid
    best, margin, missing, _ = _best_map(comparison)
    speed = _as_map(comparison, np.nanmax(comparison.made_good(), axis=0, initial=0.0))
    x, tops = _edges(grid.tws_kn), _map_tops(grid)
    known = margin[np.isfinite(margin)]
    limit = max(float(np.quantile(known, 0.95)) if known.size else 0.0, 2.0 * LEVEL_KN)
    shades = LinearSegmentedColormap.from_list("margin", ("#fbfbf9", GAIN))(
        Normalize(0.0, limit, clip=True)(np.nan_to_num(margin))
    )[..., :3]
    row_step, column_step = _number_steps(comparison)
    for row, top in enumerate(tops):
        for column, tws in enumerate(grid.tws_kn):
            width, middle = x[column + 1] - x[column], top + 0.5
            is_known = best[row, column] >= 0 and np.isfinite(margin[row, column])
            shade = shades[row, column]
            if missing[row, column]:
                ink = {"color": ink_on(shade)} if is_known else {}
                ax.plot(tws - 0.32 * width, middle, **{**_MISSING_MARK, **ink})
            if not is_known:
                continue
            ax.add_patch(
                Rectangle(
                    (x[column], top), width, 1.0, facecolor=tuple(shade), edgecolor=_GRID, linewidth=0.3
                )
            )
            at_edge = row in (0, len(tops) - 1)
            if (at_edge or (row - 1) % row_step == 0) and column % column_step == 0:
                decides = margin[row, column] >= 0.01 * DECISIVE_PERCENT * speed[row, column]
                told = show_number(float(margin[row, column]), decimals=2)
                weight = "bold" if decides else "normal"
                _write_on(ax, tws, middle, told, shade=shade, fontweight=weight)
    _set_borders(ax, best, x, tops)
    _map_axes(ax, grid)
    return ax


def _best_map(comparison: Comparison) -> tuple[NDArray[np.int_], Floats, Floats, Floats]:
    """The best option by its place (-1 where there is none), its margin, and how many options are missing
    and extended, on (rows of the map, tws).
    """
    names, table = comparison.polar.options, comparison.best_frame()
    shape = comparison.made_good().shape[1:]
    best = np.array([names.index(name) if name else -1 for name in table["option"]])
    columns = (table[name].to_numpy() for name in ("margin_kn", "missing_count", "extended_count"))
    margin, missing, extended = (_as_map(comparison, values.reshape(shape)) for values in columns)
    return _as_map(comparison, best.reshape(shape)), margin, missing, extended


def _as_map(comparison: Comparison, values: Any) -> Any:
    """Values on (tws, row_aims) as rows of the map, that of best VMG upwind first."""
    angles = len(comparison.polar.grid.twa_deg)
    return values[:, [angles, *range(angles), angles + 1]].T


def _map_tops(grid: WindGrid) -> Floats:
    """Upper ends of the rows of a map: a gap of half a row sets best VMG apart from the angles."""
    return np.array([0.0, *(1.5 + np.arange(len(grid.twa_deg))), len(grid.twa_deg) + 2.0])


def _map_axes(ax: Axes, grid: WindGrid) -> None:
    tops = _map_tops(grid)
    labels = ["best VMG up", *(f"{angle:g}" for angle in grid.twa_deg), "best VMG down"]
    step = max(1, round(len(grid.twa_deg) / 15))
    keep = [0, *range(1, len(labels) - 1, step), len(labels) - 1]
    ax.set_yticks([tops[index] + 0.5 for index in keep], [labels[index] for index in keep])
    ax.set_xlim(*_edges(grid.tws_kn)[[0, -1]])
    ax.set_ylim(tops[-1] + 1.0, 0.0)
    ax.set_ylabel(variable("twa_deg").label)
    ax.set_xticks(_thinned(grid.tws_kn, 12))
    ax.set_xlabel(variable("tws_kn").label)


def best_option_figure(comparison: Comparison) -> Figure:
    """Which option is best where, and by how much."""

    def build() -> Figure:
        figure = Figure(figsize=(14.6, 7.6), layout="constrained")
        left, right = figure.subplots(1, 2, sharey=True)
        best_option_plot(left, comparison)
        best_margin_plot(right, comparison)
        left.set_title("The fastest option", loc="left")
        right.set_title("Its lead over the next, kn", loc="left")
        right.tick_params(labelleft=True)
        handles = [
            Rectangle((0.0, 0.0), 1.0, 1.0, label=name, **option_fill(index))
            for index, name in enumerate(comparison.polar.options)
        ]
        figure.legend(
            handles=handles, loc="outside right upper", frameon=False, handlelength=2.6, handleheight=1.6
        )
        heading(
            figure,
            "Which option is fastest where, and by how much",
            f"dot: leads by less than {LEVEL_KN:g} kn",
            f"bold: leads by {DECISIVE_PERCENT:g} % of its speed or more",
            "\u00d7: an option has no result",
            "blank: none has",
            *([f"paler, {EXTENDED_MARK}: {_EXTENDED}"] if comparison.polar.extended.any() else []),
        )
        footer(figure, comparison.polar.source)
        return figure

    return styled(build)


def sail_set_plot(ax: Axes, polar: Polar, *, option: str) -> Axes:
    """The best sail set of an option against true wind speed (kn) and angle (deg), best VMG in rows of their
    own above and below.

    Hatched cells lead the next best set by less than a change costs on the boat's leg; a cross marks
    conditions in which at least one set has no result.
    """
    grid, at = polar.grid, polar.options.index(option)
    boat = polar.solved.boats[at]
    sets = _sail_sets(polar)
    order = [-2, *range(len(grid.twa_deg)), -1]
    best = np.array([[sets.index(name) if name else -1 for name in winds] for winds in polar.sail_set[at]])
    speed = np.where(np.array(polar.row_aims) == SPEED, polar.rows("boat_speed_kn"), polar.rows("vmg_kn"))[at]
    lead = polar.rows("sail_set_margin_kn")[at] / np.abs(speed)
    speeds = np.array([polar.under(item.name)[at] for item in boat.sail_sets])
    missing = np.any(np.isnan(speeds), axis=0)[:, order].T
    best, close = best[:, order].T, (lead < boat.sail_change.least_gain)[:, order].T
    x = _edges(grid.tws_kn)
    tops = _map_tops(grid)
    for row, top in enumerate(tops):
        for column, tws in enumerate(grid.tws_kn):
            width = x[column + 1] - x[column]
            if missing[row, column]:
                ax.plot(tws - 0.32 * width, top + 0.5, **_MISSING_MARK)
            if best[row, column] >= 0:
                fill = _sail_set_fill(best[row, column], close=bool(close[row, column]))
                ax.add_patch(Rectangle((x[column], top), width, 1.0, **fill))
    _set_borders(ax, best, x, tops)
    _name_regions(ax, best[1:-1], grid.tws_kn, tops[1:-1] + 0.5, sets)
    _map_axes(ax, grid)
    cost, leg = boat.sail_change.lost_time, boat.sail_change.leg_time / 60.0
    ax.set_title(f"{option}: a change costs {cost:g} s, a leg has {leg:g} min", loc="left")
    return ax


def sail_set_figure(polar: Polar) -> Figure:
    """Which sail set is best where, a panel an option with sets. Raises ValueError when none has any."""
    names = [name for name in polar.options if has_sets(polar, name)]
    if not names:
        raise ValueError("no option of the polar has sail sets")

    def build() -> Figure:
        columns = min(len(names), 2)
        rows = -(-len(names) // columns)
        figure = Figure(figsize=(2.4 + 6.2 * columns, 6.3 * rows + 1.1), layout="constrained")
        panels = figure.subplots(rows, columns, squeeze=False).ravel()
        for ax, name in zip(panels, names, strict=False):
            sail_set_plot(ax, polar, option=name)
        for ax in panels[len(names) :]:
            ax.remove()
        handles = [
            Rectangle((0.0, 0.0), 1.0, 1.0, label=name, **_sail_set_fill(index, close=False))
            for index, name in enumerate(_sail_sets(polar))
        ]
        figure.legend(
            handles=handles, loc="outside right upper", frameon=False, handlelength=2.6, handleheight=1.6
        )
        heading(
            figure,
            "Which sail set is best where",
            "hatched: leads the next set by less than a change costs on the leg",
            "\u00d7: a set has no result",
            "blank: none has",
        )
        footer(figure, polar.source)
        return figure

    return styled(build)


def _sail_sets(polar: Polar) -> list[str]:
    """The names of all sail sets, in the order of the options and their sets."""
    return list(dict.fromkeys(item.name for boat in polar.solved.boats for item in boat.sail_sets))


def _sail_set_fill(index: int, *, close: bool) -> dict[str, Any]:
    return {
        "facecolor": _SAIL_SET_TONES[index % len(_SAIL_SET_TONES)],
        "edgecolor": "#7d878e",
        "hatch": "////" if close else "",
        "linewidth": 0.0,
    }


def _set_borders(ax: Axes, best: NDArray[np.int_], x: Floats, tops: Floats) -> None:
    """Lines between cells of different sets, best VMG and angles each for themselves."""
    for row, top in enumerate(tops):
        for column in range(best.shape[1]):
            if column and best[row, column] != best[row, column - 1]:
                ax.plot([x[column]] * 2, [top, top + 1.0], color=INK, linewidth=1.2)
            if 1 < row < len(tops) - 1 and best[row, column] != best[row - 1, column]:
                ax.plot(x[column : column + 2], [top] * 2, color=INK, linewidth=1.2)


def take_off_plot(ax: Axes, take_off: TakeOff, *, option: str = "base") -> Axes:
    """Take-off and touch-down wind (kn) of an option against true wind angle (deg); between the two, shaded,
    the boat may be on its hull or on its foils.
    """
    at = take_off.options.index(option)
    angle = np.array(take_off.twa_deg)
    down, up = take_off.touch_down_kn[at], take_off.take_off_kn[at]
    both = np.isfinite(down) & np.isfinite(up) & (down <= up)
    ax.fill_between(
        angle, down, up, where=both, color="#c9dbe8", linewidth=0.0, label="hull-borne or foil-borne"
    )
    ax.plot(angle, up, color=LOSS, linestyle=(0, (5, 2)), marker="^", markersize=4.5, label="take-off")
    ax.plot(angle, down, color=GAIN, marker="v", markersize=4.5, label="touch-down")
    ax.set_title(option, loc="left")
    ax.set_xlabel(variable("twa_deg").label)
    ax.set_ylabel(variable("tws_kn").label)
    ax.set_xlim(angle[0] - 3.0, angle[-1] + 3.0)
    ax.set_ylim(0.0, 1.08 * take_off.strongest_kn)
    ax.axhline(take_off.strongest_kn, color=QUIET, linewidth=0.7, linestyle=":")
    ax.set_xticks(_thinned(take_off.twa_deg, 10))
    ax.grid(True)
    return ax


def take_off_figure(take_off: TakeOff, source: Source) -> Figure:
    """Take-off and touch-down winds against true wind angle, a panel for each option."""

    def build() -> Figure:
        names = take_off.options
        columns = min(len(names), 3)
        rows = -(-len(names) // columns)
        figure = Figure(figsize=(max(6.4, 3.9 * columns), 3.4 * rows + 1.4), layout="constrained")
        panels = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True).ravel()
        for ax, name in zip(panels, names, strict=False):
            take_off_plot(ax, take_off, option=name)
            ax.tick_params(labelbottom=True, labelleft=True)
        for ax in panels[len(names) :]:
            ax.remove()
        heading(
            figure,
            "Winds of take-off and touch-down",
            "\u25b2 take-off: least wind in which the hull comes up by itself",
            "\u25bc touch-down: least wind with an equilibrium on foils",
            "shaded: either state",
            f"dotted: strongest wind tried, {take_off.strongest_kn:g} kn",
            "inertia, waves and pumping left out",
        )
        footer(figure, source)
        return figure

    return styled(build)


def budget_plot(ax: Axes, components: Sequence[str], values: Floats, *, title: str, unit: str) -> Axes:
    """Bars that start where the one before ended, so that they end at the total; the number beside each bar
    is its own length.
    """
    ends = np.cumsum(values)
    starts = ends - values
    places = np.arange(len(components))
    low, high = (
        min(0.0, float(starts.min()), float(ends.min())),
        max(0.0, float(starts.max()), float(ends.max())),
    )
    span = (high - low) or 1.0
    ax.barh(
        places, values, left=starts, height=0.62, color=[GAIN if value >= 0.0 else LOSS for value in values]
    )
    for bar, value in zip(ax.patches, values, strict=True):
        bar.set_hatch("" if value >= 0.0 else "////")
        bar.set_edgecolor("white")
    for place in places[:-1]:
        ax.plot([ends[place]] * 2, [place, place + 1], color=QUIET, linewidth=0.7)
    ax.axvline(0.0, color=INK, linewidth=0.8)
    *texts, total = add_up(values, decimals=decimals_for(values))
    for place, text, start, end in zip(places, texts, starts, ends, strict=True):
        ax.text(float(max(start, end) + 0.015 * span), float(place), text, va="center", fontsize=8.0)
    ax.set_title(title, loc="left")
    ax.set_xlabel(f"{unit}, adding up to {total} {unit}")
    ax.set_yticks(places, components)
    ax.set_ylim(len(components) - 0.4, -0.6)
    ax.set_xlim(low - 0.04 * span, high + 0.2 * span)
    ax.xaxis.set_major_locator(MaxNLocator(5))
    ax.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    ax.grid(axis="x")
    ax.tick_params(axis="y", length=0.0)
    return ax


def budget_figure(point: Point) -> Figure:
    """Forces along and across the course and moments in roll and yaw of a point, by component, with the signs
    of the table.
    """

    def build() -> Figure:
        budget = point.budget
        components = [str(name) for name in budget["component"]]
        figure = Figure(figsize=(11.0, 0.6 * len(components) + 2.6), layout="constrained")
        panels = figure.subplots(2, 2, sharey=True).ravel()
        for ax, (column, title, unit) in zip(panels, _BUDGET_PANELS, strict=True):
            budget_plot(ax, components, budget[column].to_numpy(dtype=float), title=title, unit=unit)
        remark = str(point.values["remark"])
        heading(
            figure,
            f"{point.values['option']}: what holds the boat in balance",
            say_condition(point),
            "signs as in the table",
            *([f"remark: {remark}"] if remark else []),
        )
        footer(figure, point.source)
        return figure

    return styled(build)


_BUDGET_PANELS = (
    ("force_x_n", "Force along the course, positive forward", "N"),
    ("force_y_n", "Force across the course, positive to leeward", "N"),
    ("moment_x_nm", "Moment in roll, positive to windward (righting)", "N m"),
    ("moment_z_nm", "Moment in yaw, positive bow to leeward", "N m"),
)

_EXTENDED = f"{EXTENDED_REMARK} its data"
_MOST_NUMBER_ROWS, _MOST_NUMBER_COLUMNS = 40, 12

_MISSING_MARK: dict[str, Any] = {"marker": "x", "color": "#6a747b", "markersize": 4.0, "linestyle": ""}
_HULL_BORNE_LINE: dict[str, Any] = {"linestyle": (0, (6, 1.5, 1, 1.5)), "linewidth": 0.7}
HALO = {"boxstyle": "round,pad=0.12", "facecolor": "white", "edgecolor": "none", "alpha": 0.82}


def say_condition(point: Point) -> str:
    """The condition of a point and its speed in a line."""
    values = point.values
    told = {
        name: variable(name).show(float(values[name]))
        for name in ("tws_kn", "twa_deg", "boat_speed_kn", "heel_deg", "leeway_deg")
    }
    aim = "" if values["aim"] == "speed" else f" (best VMG {values['aim']})"
    return (
        f"TWS {told['tws_kn']} kn, TWA {told['twa_deg']} deg{aim}: boat speed {told['boat_speed_kn']} kn, "
        f"heel {told['heel_deg']} deg, leeway {told['leeway_deg']} deg"
    )


def styled(build: Callable[[], Figure]) -> Figure:
    with mpl.rc_context(_STYLE):
        return build()


def heading(figure: Figure, title: str, *under: str) -> None:
    """A title and the parts of its key, in as many lines as they need."""
    # spaces inside a part are kept together while lines are broken between parts
    joined = "    ".join(part.replace(" ", "\u00a0") for part in under)
    width = int(12.0 * figure.get_figwidth())
    lines = textwrap.wrap(joined, width=width, drop_whitespace=True, break_on_hyphens=False)
    figure.suptitle("\n".join([title, *lines]).replace("\u00a0", " "), x=0.012, ha="left", fontsize=10.5)


def footer(figure: Figure, source: Source) -> None:
    figure.text(
        0.012,
        0.008,
        f"{source.line}\n{CAUTION}",
        fontsize=6.8,
        color="#59636b",
        ha="left",
        va="bottom",
        wrap=True,
    )
    engine = figure.get_layout_engine()
    if isinstance(engine, ConstrainedLayoutEngine):
        room = 0.5 / float(figure.get_figheight())
        engine.set(rect=(0.0, room, 1.0, 1.0 - room))


def _extended_line(ax: Axes, x: Floats, y: Floats, extended: NDArray[np.bool_], tone: Any) -> None:
    """The part of a curve that rests on extended hull resistance, joined to its neighbours on either side."""
    if not extended.any():
        return
    joined = extended.copy()
    joined[1:] |= extended[:-1]
    joined[:-1] |= extended[1:]
    ax.plot(x, np.where(joined, y, np.nan), color=tone, linestyle=":", linewidth=0.9)
    _hollow_marks(ax, x, y, extended, tone)


def _hollow_marks(ax: Axes, x: Floats, y: Floats, extended: NDArray[np.bool_], tone: Any) -> None:
    ax.plot(
        x[extended],
        y[extended],
        linestyle="",
        marker="o",
        markersize=3.6,
        markerfacecolor="white",
        markeredgecolor=tone,
        markeredgewidth=0.8,
        clip_on=False,
    )


def _vmg_key(polar: Polar) -> list[str]:
    best = [polar.row_aims.index(aim) for aim in BEST_VMG]
    said = [f"hollow marks: {_EXTENDED}"] if polar.extended[:, :, best].any() else []
    if polar.hull_borne[:, :, best].any():
        said.append("thin lines, open squares: hull-borne; all others foil-borne")
    return said


def _gain_key(comparison: Comparison) -> list[str]:
    row_step, column_step = _number_steps(comparison)
    steps = ((row_step, "angle"), (column_step, "wind speed"))
    thinned = [f"numbers at one {what} in {step}" for step, what in steps if step > 1]
    angles = len(comparison.polar.grid.twa_deg)
    extended = bool(comparison.gain_extended()[1:, :, :angles].any())
    return [
        "hatched: the option is slower",
        f"shade full at \u00b1{shade_limit_kn(comparison):.2f} kn and beyond",
        *thinned,
        "0.00: level",
        "\u00d7: one of the two has no result",
        *([f"paler, italic, {EXTENDED_MARK}: {_EXTENDED}"] if extended else []),
        *_crossing_key(comparison, slice(angles)),
    ]


def _crossing_key(comparison: Comparison, rows: slice) -> list[str]:
    crossing = comparison.crossing()[1:, :, rows]
    says = (
        (1, FLIES_MARK, "only the option is foil-borne"),
        (-1, FLOATS_MARK, "only the base is foil-borne"),
    )
    return [f"{mark}: {what}" for way, mark, what in says if (crossing == way).any()]


def _number_steps(comparison: Comparison) -> tuple[int, int]:
    """Every how manieth angle and wind speed carries a number that can be read."""
    grid = comparison.polar.grid
    return (
        -(-len(grid.twa_deg) // _MOST_NUMBER_ROWS),
        -(-len(grid.tws_kn) // _MOST_NUMBER_COLUMNS),
    )


def _write_gain(ax: Axes, tws: float, twa: float, value: float, *, mark: str, shade: Floats) -> None:
    """A gain on its cell. Behind the digits is the cell's colour, so that no hatching crosses them."""
    style: dict[str, Any] = {"fontstyle": "italic"} if EXTENDED_MARK in mark else {}
    _write_on(ax, tws, twa, _signed(value) + mark, shade=shade, **style)


def _write_on(ax: Axes, x: float, y: float, text: str, *, shade: Floats, **style: Any) -> None:
    """A text in the middle of a cell of a colour, dark or light as that asks."""
    ground = {"boxstyle": "round,pad=0.08", "facecolor": tuple(shade), "edgecolor": "none"}
    # a cell's text lies inside its axes, so the layout need not measure a thousand of them
    style = {"fontsize": 7.0, "color": ink_on(shade), "in_layout": False, **style}
    ax.text(x, y, text, ha="center", va="center", bbox=ground, **style)


def ink_on(shade: Floats) -> str:
    """The ink that stands out on a colour (red, green and blue from 0 to 1): that of the greater contrast as
    the Web Content Accessibility Guidelines 2.1 define it (from memory), light or dark.
    """
    light, dark = (_luminance(np.array(to_rgb(ink))) for ink in ("white", INK))
    ground = _luminance(shade)
    on_light, on_dark = (light + 0.05) / (ground + 0.05), (ground + 0.05) / (dark + 0.05)
    return "white" if on_light > on_dark else INK


def _luminance(colour: Floats) -> float:
    """Relative luminance of a colour (red, green and blue from 0 to 1), from 0 to 1."""
    linear = np.where(colour <= 0.04045, colour / 12.92, ((colour + 0.055) / 1.055) ** 2.4)
    return float(linear @ np.array([0.2126, 0.7152, 0.0722]))


class _SignedTicks(Formatter):
    """Labels with their sign and as many decimals as the ticks need, two at least."""

    _decimals = 2

    def set_locs(self, locs: Any) -> None:
        super().set_locs(locs)
        ticks = np.asarray(locs, dtype=float)
        self._decimals = next(
            (
                digits
                for digits in range(2, 9)
                if np.allclose(ticks, ticks.round(digits), rtol=0.0, atol=1e-10)
            ),
            9,
        )

    def __call__(self, x: float, pos: int | None = None) -> str:
        return show_number(x, decimals=self._decimals, signed=True)


def _option_lines(
    ax: Axes,
    tws_kn: Sequence[float],
    values: Floats,
    extended: NDArray[np.bool_],
    names: Sequence[str],
    *,
    hull_borne: NDArray[np.bool_],
) -> None:
    for index, name in enumerate(names):
        if hull_borne[index].any():
            _hull_borne_line(ax, tws_kn, np.where(hull_borne[index], values[index], np.nan), index)
        ax.plot(
            tws_kn,
            np.where(hull_borne[index], np.nan, values[index]),
            color=OPTION_INKS[index % _OPTION_COUNT],
            linestyle=OPTION_LINES[index % _OPTION_COUNT],
            linewidth=1.5,
            marker=".",
            markersize=4.0,
            label=name,
        )
        if extended[index].any():
            _hollow_marks(
                ax, np.array(tws_kn), values[index], extended[index], OPTION_INKS[index % _OPTION_COUNT]
            )
    ax.set_xlabel(variable("tws_kn").label)
    ax.set_xticks(_thinned(tws_kn, 12))
    ax.grid(True)
    _label_line_ends(ax, tws_kn, values, names)


def _hull_borne_line(ax: Axes, tws_kn: Sequence[float], values: Floats, index: int) -> None:
    ax.plot(
        tws_kn,
        values,
        color=OPTION_INKS[index % _OPTION_COUNT],
        linestyle=OPTION_LINES[index % _OPTION_COUNT],
        linewidth=0.7,
        marker="s",
        markersize=3.2,
        markerfacecolor="white",
        markeredgewidth=0.8,
        clip_on=False,
    )


def _edge_marks(ax: Axes, tws_kn: Sequence[float], crossing: NDArray[np.int_]) -> None:
    """Triangles at the upper or lower edge for gains between branches, those of several options in a row."""
    for way, marker, edge, towards in ((1, "^", 0.985, -1.0), (-1, "v", 0.015, 1.0)):
        for wind in np.flatnonzero((crossing == way).any(axis=0)).tolist():
            for place, index in enumerate(np.flatnonzero(crossing[:, wind] == way)):
                ax.plot(
                    tws_kn[wind],
                    edge + 0.028 * towards * place,
                    marker=marker,
                    markersize=4.5,
                    markerfacecolor="white",
                    markeredgecolor=OPTION_INKS[index % _OPTION_COUNT],
                    linestyle="",
                    transform=ax.get_xaxis_transform(),
                    clip_on=False,
                )


def option_fill(index: int) -> dict[str, Any]:
    """How an area is filled so that it can be told from others in grey as well: tone and hatching."""
    return {
        "facecolor": _OPTION_TONES[index % _OPTION_COUNT],
        "edgecolor": "#98a2a9",
        "hatch": _OPTION_HATCHES[index % _OPTION_COUNT],
        "linewidth": 0.3,
    }


def shade_limit_kn(comparison: Comparison) -> float:
    """The gain shown in full colour: a little more than what one condition in twenty exceeds, so that a few
    extremes do not fade the rest; in whole hundredths of a knot. Gains between branches do not count.
    """
    gains = np.abs(comparison.gain_kn()[1:])
    known = gains[np.isfinite(gains) & (comparison.crossing()[1:] == 0)]
    common = float(np.quantile(known, 0.95)) if known.size else 0.0
    return math.ceil(120.0 * max(common, 2.0 * LEVEL_KN)) / 100.0


def _wind_axes(ax: Axes, tws_kn: Sequence[float], twa_deg: Sequence[float]) -> None:
    ax.set_xlim(*_edges(tws_kn)[[0, -1]])
    ax.set_ylim(*_edges(twa_deg)[[-1, 0]])
    ax.set_xticks(_thinned(tws_kn, 12))
    ax.set_yticks(_thinned(twa_deg, 15))
    ax.set_xlabel(variable("tws_kn").label)
    ax.set_ylabel(variable("twa_deg").label)


def _label_on_line(
    ax: PolarAxes, angle: Floats, speed: Floats, text: str, row: int, row_count: int, tone: Any
) -> None:
    finite = np.flatnonzero(np.isfinite(speed))
    if not finite.size:
        return
    # labels step down the arc from one wind to the next, since the lines lie close together in strong wind
    wanted = np.deg2rad(84.0 + 70.0 * row / max(1, row_count - 1))
    place = finite[np.argmin(np.abs(angle[finite] - wanted))]
    ax.text(angle[place], speed[place], text, fontsize=8.0, color=tone, ha="center", va="center", bbox=HALO)


def _label_line_ends(ax: Axes, tws_kn: Sequence[float], values: Floats, names: Sequence[str]) -> None:
    lower, upper = ax.get_ylim()
    ax.set_ylim(lower, upper)
    left, right = (tws_kn[0], tws_kn[-1]) if len(tws_kn) > 1 else ax.get_xlim()
    ax.set_xlim(left, right)
    ends = []
    for index in range(len(names)):
        finite = np.flatnonzero(np.isfinite(values[index]))
        if finite.size:
            ends.append((index, tws_kn[finite[-1]], values[index, finite[-1]]))
    ends.sort(key=lambda end: end[2])
    heights = _spread(np.array([(end[2] - lower) / (upper - lower) for end in ends]), gap=0.058)
    for (index, tws, value), height in zip(ends, heights, strict=True):
        ax.annotate(
            names[index],
            xy=(tws, value),
            xytext=(1.05, height),
            textcoords="axes fraction",
            fontsize=8.5,
            color=OPTION_INKS[index % _OPTION_COUNT],
            va="center",
            arrowprops=_LEADER,
        )


# From the left of a name, so that it crosses none, to the end of its line.
_LEADER: dict[str, Any] = {
    "arrowstyle": "-",
    "color": QUIET,
    "linewidth": 0.6,
    "shrinkA": 1.0,
    "shrinkB": 0.0,
    "relpos": (0.0, 0.5),
}


def _spread(places: Floats, *, gap: float) -> Floats:
    """Rising places moved apart until neighbours are at least `gap` from each other, about their common
    middle, and kept from 0 to 1 as far as there is room.
    """
    apart = places.copy()
    for _ in range(50):
        overlap = np.maximum(0.0, gap - np.diff(apart))
        apart[:-1] -= 0.5 * overlap
        apart[1:] += 0.5 * overlap
    steps = gap * np.arange(len(apart))
    # from the top down no higher than there is room for those above, then from the bottom up likewise
    apart = np.minimum(apart, 1.0 - steps[::-1])
    kept: Floats = np.maximum(apart, steps)
    return kept


def _name_regions(
    ax: Axes, best: NDArray[np.int_], tws_kn: Sequence[float], middles: Floats, names: Sequence[str]
) -> None:
    for index, name in enumerate(names):
        own = np.argwhere(best == index)
        if not own.size:
            continue
        others = np.argwhere(np.pad(best != index, 1, constant_values=True)) - 1
        # the cell of the region that lies farthest from its edge; a name needs more room across than down
        away = np.abs(own[:, np.newaxis] - others[np.newaxis])
        room = np.min(np.maximum(away[:, :, 0], away[:, :, 1] / 1.5), axis=1)
        if room.max() < 1.0:
            continue
        row, column = own[np.argmax(room)]
        x, y = tws_kn[int(column)], float(middles[row])
        ax.text(x, y, name, ha="center", va="center", fontsize=9.5, fontweight="bold", bbox=HALO)


def _edges(values: Sequence[float]) -> Floats:
    """Edges of cells around rising values: half way between neighbours."""
    centres = np.array(values, dtype=float)
    if len(centres) == 1:
        return np.array([centres[0] - 1.0, centres[0] + 1.0])
    middles = 0.5 * (centres[:-1] + centres[1:])
    return np.array([2.0 * centres[0] - middles[0], *middles, 2.0 * centres[-1] - middles[-1]])


def _thinned(values: Sequence[float], most: int) -> list[float]:
    return list(values[:: -(-len(values) // most)])


def _signed(value: float) -> str:
    return show_number(value, decimals=2, signed=True)


def _round_up(speed: float) -> float:
    return float(np.floor(speed) + (0.5 if speed % 1.0 < 0.45 else 1.0))


def _wind_tone(row: int, row_count: int) -> Any:
    light, dark = np.array([0.45, 0.66, 0.80]), np.array([0.08, 0.18, 0.30])
    share = row / max(1, row_count - 1)
    return tuple(light + share * (dark - light))


def stability_plot(ax: Axes, curve: Curve, *, direction: str) -> Axes:
    """Moments (kN m, positive where they right) of vertical forces, or of side forces about each reference
    height, against heel or cant (deg): a line for each contribution and a heavy one for their sum.
    """
    angles = curve.along / DEGREE
    lines: list[tuple[str, Floats, dict[str, Any]]] = []
    for item in curve.of(direction):
        references = curve.heights.items() if direction == SIDE else [("", 0.0 * angles)]
        for row, (reference, height) in enumerate(references):
            moment = 1e-3 * item.about(height)
            if np.nanmax(np.abs(moment), initial=0.0) < _LEAST_SHOWN_KNM:
                continue
            # colour tells forces apart; the line tells heights, or forces too where there is but one height
            ink, line = _CONTRIBUTION_STYLES[item.name]
            style = {
                "color": OPTION_INKS[ink],
                "linestyle": OPTION_LINES[row if reference else line],
                "linewidth": 1.3,
            }
            lines.append((f"{item.name}, {reference}" if reference else item.name, moment, style))
    total = 1e-3 * sum(item.about(curve.heights[WATER_PLANE]) for item in curve.of(direction))
    said = "righting moment" if direction == VERTICAL else "all together, every height"
    lines.append((said, np.asarray(total), {"color": INK, "linestyle": "-", "linewidth": 2.6}))
    ax.axhline(0.0, color=QUIET, linewidth=0.8)
    _ended_lines(ax, angles, lines)
    ax.set_xlabel(f"{curve.varied}, deg")
    ax.set_ylabel("moment, positive righting, kN m")
    return ax


def stability_heights_plot(ax: Axes, curve: Curve) -> Axes:
    """Heights over the water (m) of the references, of the sails' force and of the water's side force against
    heel or cant (deg).
    """
    named = [
        ("sails' force", curve.effort_height),
        *(pair for pair in curve.heights.items() if pair[0] != WATER_PLANE),
        ("water's side force", curve.water_height),
    ]
    lines = [
        (
            name,
            np.asarray(height),
            {"color": OPTION_INKS[index], "linestyle": OPTION_LINES[index], "linewidth": 1.5},
        )
        for index, (name, height) in enumerate(named, start=1)
    ]
    ax.axhline(0.0, color=OPTION_INKS[1], linewidth=1.0)
    lines.append((WATER_PLANE, 0.0 * curve.along, {"color": OPTION_INKS[1], "linewidth": 1.0}))
    _ended_lines(ax, curve.along / DEGREE, lines)
    ax.set_xlabel(f"{curve.varied}, deg")
    ax.set_ylabel("height over the water, m")
    return ax


def stability_figure(found: Stability, *, varied: str) -> Figure:
    """Righting moment against `heel` or `cant`, by contribution: afloat, and for a boat with canting foils on
    them, with the heights that the moments of side forces are taken about.
    """

    def build() -> Figure:
        floating, flying = (found.curve(state, varied) for state in (AFLOAT, FOIL_BORNE))
        if floating is None:
            raise ValueError(f"{found.option} has no curve against {varied}")
        shape, size = ((1, 1), (7.4, 4.9)) if flying is None else ((2, 2), (13.4, 9.4))
        figure = Figure(figsize=size, layout="constrained")
        panels = figure.subplots(*shape, squeeze=False).ravel()
        stability_plot(panels[0], floating, direction=VERTICAL)
        panels[0].set_title("Afloat at rest", loc="left")
        if flying is not None:
            stability_heights_plot(panels[1], flying)
            stability_plot(panels[2], flying, direction=VERTICAL)
            stability_plot(panels[3], flying, direction=SIDE)
            for ax, title in zip(panels[1:], _FLYING_TITLES, strict=True):
                ax.set_title(title, loc="left")
        settings = found.settings
        key = [f"crew {settings.crew_arm:.2f} m to windward"]
        if flying is not None:
            held = ("cant", settings.cant) if varied == HEEL else ("heel", settings.heel)
            key += [
                f"{held[0]} {held[1] / DEGREE:.1f} deg",
                f"on foils at {settings.boat_speed / KNOT:.1f} kn",
                f"drawn water line {settings.ride_height:.2f} m over the water",
            ]
        if any((curve.reason != "").any() for curve in (floating, flying) if curve is not None):
            key.append("gaps: no balance inside the limits")
        heading(figure, f"{found.option}: righting moment against {varied}, by contribution", *key)
        footer(figure, found.source)
        return figure

    return styled(build)


_FLYING_TITLES = (
    "On foils: heights",
    "On foils: vertical forces",
    "On foils: side forces, by reference height",
)
_LEAST_SHOWN_KNM = 0.05
# Ink and line of each contribution, by their places in the lists of options.
_CONTRIBUTION_STYLES = {
    HULL_FORM: (1, 0), MASSES: (2, 1), CREW: (3, 2), RAISED_WEIGHT: (4, 3), WORKING_WEIGHT: (5, 6),
    WORKING_FOIL: (1, 5), RUDDER_FOIL: (6, 7), SAILS: (7, 4), FINS: (4, 5), HULL_DRAG: (3, 6),
}  # fmt: skip


def _ended_lines(ax: Axes, x: Floats, lines: Sequence[tuple[str, Floats, dict[str, Any]]]) -> None:
    """Lines with their labels beside the axes, moved apart and joined to the lines' ends."""
    for name, values, style in lines:
        ax.plot(x, values, label=name, **style)
    ax.grid(True)
    lower, upper = ax.get_ylim()
    ax.set_ylim(lower, upper)
    ax.set_xlim(x[0], x[-1])
    ends = []
    for name, values, style in lines:
        finite = np.flatnonzero(np.isfinite(values))
        if finite.size:
            ends.append((float(values[finite[-1]]), float(x[finite[-1]]), name, style))
    ends.sort(key=lambda end: end[0])
    heights = _spread(np.array([(end[0] - lower) / (upper - lower) for end in ends]), gap=0.058)
    for (value, place, name, style), height in zip(ends, heights, strict=True):
        ax.annotate(
            name,
            xy=(place, value),
            xytext=(1.05, height),
            textcoords="axes fraction",
            fontsize=8.5,
            color=style["color"],
            va="center",
            arrowprops=_LEADER,
        )
