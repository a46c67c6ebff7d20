"""The rig drawn as it stands in one wind: from the side, its loads over the height, and its sections from
above.

All panels share the height along the mast. Sails differ in tone, weight of line and mark; boats in the line:
the first has full lines and filled marks, the second broken lines and open marks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator

from vpp.plots import HALO, INK, OPTION_INKS, QUIET, footer, say_condition, styled
from vpp.polar import Point, source_of_all
from vpp.results.frames import Floats
from vpp.results.variables import DEGREE, KNOT, show_number
from vpp.rig_view import RigView, SailView, TableSailView, rig_view

MOST_BOATS = 2

# A4 landscape [inches], and what its panels leave for each other.
_WIDTH, _HEIGHT = 11.69, 8.27
_LEFT, _RIGHT, _BOTTOM, _TOP = 0.50, 0.10, 1.38, 1.18
_GAP, _AXIS_ROOM = 0.17, 0.50
_LOAD_WIDTHS = {"side": 1.15, "drive": 0.95}
_PROFILE_WIDTH = 0.60
# Sections may be drawn smaller than the side view by this, for room.
_SECTION_SCALE = 0.85
# Length of the arrow of the strongest wind, room for it ahead of the sails, and how far panels reach past the
# sails, as shares of the mast top's height.
_ARROW, _ARROW_ROOM, _MARGIN = 0.10, 0.08, 0.033
# Decks nearer to each other than this [m] are drawn once: boats float at their own weights.
_SAME_DECK = 0.05
# Cuts through the sails, fewer where the sections would meet.
_MOST_CUTS, _LEAST_CUTS = 6, 4

_PALE_INK, _WATER, _WATER_LINE, _CLOTH = "#59636b", "#dfeaf2", "#7fa8c4", "#e3e8ec"
_LINES: tuple[Any, ...] = ("-", (0, (5, 2)))
_HATCHES = ("//////", "\\\\\\\\\\\\")
_SAIL_MARKS = ("o", "s", "^", "D")
_SAIL_WIDTHS = (1.7, 1.1, 0.9, 0.9)
_SMALL = 7.0
_NAME: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": 8.5, "fontweight": "bold", "bbox": HALO}
_TITLE: dict[str, Any] = {"fontsize": 8.5, "loc": "left", "fontweight": "normal"}
_WIND_ARROW = {"arrowstyle": "-|>,head_length=0.4,head_width=0.14", "color": QUIET, "linewidth": 0.9}
_FLOW_ARROW = {"arrowstyle": "->,head_length=0.25,head_width=0.1", "color": INK, "linewidth": 0.6}


class _Profile(NamedTuple):
    """A number of the stations that is drawn over the height, its name and its unit."""

    name: str
    unit: str
    of: Callable[[SailView], Floats]


_LOADS = {
    "side": _Profile("Side force", "N/m", lambda sail: sail.side_load),
    "drive": _Profile("Drive", "N/m", lambda sail: sail.drive_load),
}
_PROFILES = {
    "chord_angle": _Profile("Chord\nangle", "deg", lambda sail: sail.chord_angle / DEGREE),
    "camber": _Profile("Camber\n", "% of chord", lambda sail: 100.0 * sail.camber),
    "lift": _Profile("Lift co-\nefficient", "", lambda sail: sail.lift_coefficient),
}


def draw_rig(*points: Point) -> Figure:
    """The rig of one solved point, or of two over each other, on A4 landscape: from the side, side force and
    drive by height, sections from above, and angle, camber and lift coefficient by height.

    `points` come from `vpp.point`. Raises ValueError for none or more than two.
    """
    if not 1 <= len(points) <= MOST_BOATS:
        raise ValueError(f"a rig figure shows one boat or two, not {len(points)}")
    return styled(lambda: _figure(points))


def say_effort(views: Sequence[RigView]) -> str:
    """Height of the centre of effort in a line, and of two boats by how much the second's is lower."""
    told = [_effort(view) if len(views) == 1 else f"{view.option} {_effort(view)}" for view in views]
    said = f"Centre of effort over the boat's water line, along the mast: {', '.join(told)}"
    if len(views) == 1 or not all(view.has_effort for view in views):
        return said
    first, second = (round(view.effort.height, 2) for view in views)
    if first == second:
        return f"{said}; {views[1].option} level"
    return f"{said}; {views[1].option} {abs(second - first):.2f} m {'lower' if second < first else 'higher'}"


# --- panels -------------------------------------------------------------------------------------------------


def side_plot(ax: Axes, views: Sequence[RigView]) -> Axes:
    """The rig from the side, bow to the right, to one scale: x (m, forward) against height along the mast (m
    over the boat's water line).

    Mast, sails with their stations, deck and water. Squares are centres of area, circles with a cross centres
    of effort.
    """
    low, high = _span_x(views)
    _draw_surroundings(ax, views, low, high)
    for index, view in enumerate(views):
        ax.plot(
            [view.mast_base.x, view.mast_top.x],
            [view.mast_base.height, view.mast_top.height],
            color=INK,
            linewidth=1.2 if index else 2.6,
            linestyle=_LINES[index],
            dash_capstyle="butt",
            solid_capstyle="butt",
            zorder=2.5,
        )
        for row, sail in enumerate(view.sails):
            _draw_sail(ax, sail, row, index)
        for table in view.tables:
            _draw_table_sail(ax, table, index)
    for index, view in enumerate(views):
        _draw_centres(ax, view, index)
    for row, sail in enumerate(views[0].sails):
        height = sail.height[0] + 0.09 * (sail.height[-1] - sail.height[0])
        at = sail.at(height)
        ax.text(0.5 * (at["luff_x"] + at["leech_x"]), height, sail.name, color=_ink(row), **_NAME)
    ax.set_title("From the side", **_TITLE)
    ax.set_xlim(low, high)
    ax.set_aspect("equal")
    ax.set_xlabel("x forward, m")
    ax.set_ylabel("height along the mast over the boat's water line, m")
    _inner_ticks(ax, 5)
    ax.legend(
        handles=_side_key(views),
        loc="upper right",
        framealpha=0.8,
        edgecolor="none",
        fontsize=_SMALL,
        handlelength=1.8,
        borderaxespad=0.0,
        labelspacing=0.35,
    )
    return ax


def load_plot(ax: Axes, views: Sequence[RigView], *, of: str) -> Axes:
    """Load for each metre of height (N/m) against height (m), a line a sail: the `side` force, to leeward and
    normal to mast and centreline, or the `drive` along the centreline. Loads the other way are hatched. Above
    it are the forces of all sails, those given by tables included.
    """
    profile = _LOADS[of]
    for index, view in enumerate(views):
        for row, sail in enumerate(view.sails):
            load = profile.of(sail)
            ax.fill_betweenx(
                sail.height,
                load,
                0.0,
                where=(load < 0.0).tolist(),
                interpolate=True,
                facecolor="none",
                edgecolor=_ink(row),
                hatch=_HATCHES[index],
                linewidth=0.0,
            )
        if of == "side" and view.has_effort:
            ax.axhline(view.effort.height, color=INK, linewidth=0.7, linestyle=_LINES[index])
    _profile_lines(ax, views, profile)
    low, high = ax.get_xlim()
    ax.set_xlim(min(low, -0.05 * high), max(high, -0.05 * low))
    _inner_ticks(ax, 3)
    ax.axvline(0.0, color=INK, linewidth=0.9)
    forces = [view.side_force if of == "side" else view.drive for view in views]
    told = ", ".join(show_number(1e-3 * force, decimals=2) for force in forces)
    ax.set_title(f"{profile.name}\n{told} kN", **_TITLE)
    return ax


def section_plot(ax: Axes, views: Sequence[RigView], *, heights: Floats, scale: float = 1.0) -> Axes:
    """The sails cut at some heights and seen from above, bow to the right and leeward up: each cut has its
    centreline at its height, and lengths to leeward `scale` times those of the height. Sections have their
    true shape where a metre of x is as long as `scale` metres of height.

    Arrows end at the luff: the first boat's apparent wind at the height, and thin the flow that each chord
    meets, with what all sails induce.
    """
    winds = [float(np.max(sail.wind_speed)) for view in views for sail in view.sails]
    low, high = _span_x(views)
    for height in heights:
        ax.plot([low, high], [height, height], color=QUIET, linewidth=0.5, linestyle=(0, (8, 2, 1, 2)))
        told = "\n".join(filter(None, (_say_wind(view, height) for view in views)))
        ax.text(low + 0.12, height - 0.15, told, va="top", fontsize=6.5, color=_PALE_INK)
        for index, view in enumerate(views):
            for row, sail in enumerate(view.sails):
                if sail.reaches(height):
                    _draw_section(ax, sail, row, index, height, scale)
                    _draw_arrows(ax, sail, index, height, scale, _ARROW * _size(views) / max(winds))
    ax.set_title(f"From above, at {100.0 * scale:.0f} % of the scale", **_TITLE)
    ax.set_xlim(low, high + _ARROW_ROOM * _size(views))
    ax.set_xlabel("x forward, m")
    _inner_ticks(ax, 5)
    return ax


def profile_plot(ax: Axes, views: Sequence[RigView], *, of: str) -> Axes:
    """A number of the sections against height (m), a line a sail: `chord_angle` (deg from the centreline),
    `camber` (% of the chord) or `lift`, the lift coefficient.
    """
    profile = _PROFILES[of]
    _profile_lines(ax, views, profile)
    _inner_ticks(ax, 2)
    ax.set_title(profile.name, **_TITLE)
    if ax.get_xlim()[0] < 0.0 < ax.get_xlim()[1]:
        ax.axvline(0.0, color=INK, linewidth=0.7)
    return ax


def cut_heights(views: Sequence[RigView], *, scale: float = 1.0) -> tuple[Floats, float]:
    """Heights for sections, from near the lower edges to near the highest head, and the scale at which their
    sections leave each other room: fewer heights first, then a smaller scale. None without sails of a shape.
    """
    sails = [sail for view in views for sail in view.sails]
    if not sails:
        return np.array([]), scale
    feet = [float(sail.outline_height[0]) for sail in sails]
    highest = max(float(sail.outline_height[-1]) for sail in sails)
    # all sails are cut at the lowest height where their feet are near each other
    lowest = max(feet) if max(feet) - min(feet) < 0.15 * (highest - min(feet)) else min(feet)
    reach = max(
        float(np.max(sail.chord * (np.abs(np.sin(sail.chord_angle)) + np.abs(sail.camber)))) for sail in sails
    )
    for count in range(_MOST_CUTS, _LEAST_CUTS - 1, -1):
        heights = lowest + (highest - lowest) * np.linspace(0.03, 0.97, count)
        room = float(heights[1] - heights[0])
        if scale * reach <= room:
            return heights, scale
    return heights, room / reach


# --- parts of the side view ---------------------------------------------------------------------------------


def _ink(row: int) -> str:
    return OPTION_INKS[row % len(OPTION_INKS)]


def _size(views: Sequence[RigView]) -> float:
    return max(view.mast_top.height for view in views)


def _span_x(views: Sequence[RigView]) -> tuple[float, float]:
    ends = [float(np.min(sail.outline_leech_x)) for view in views for sail in view.sails]
    ends += [float(np.max(sail.outline_luff_x)) for view in views for sail in view.sails]
    for view in views:
        ends += [view.mast_base.x, view.mast_top.x]
        for sail in view.tables:
            ends += [sail.centre.x - 0.25 * sail.frame_height, sail.centre.x + 0.25 * sail.frame_height]
    margin = _MARGIN * _size(views)
    return min(ends) - margin, max(ends) + margin


def _span_height(views: Sequence[RigView]) -> tuple[float, float]:
    ends = [float(height) for view in views for height in view.water_height(np.array(_span_x(views)))]
    ends += [view.mast_top.height for view in views]
    for view in views:
        ends += [sail.centre.height + 0.5 * sail.frame_height for sail in view.tables]
    low, high = min(*ends, 0.0), max(ends)
    room = 0.03 * (high - low)
    return low - room, high + room


def _draw_surroundings(ax: Axes, views: Sequence[RigView], low: float, high: float) -> None:
    """Water, deck, and the decks that sails have of their own."""
    x = np.array([low, high])
    for index, view in enumerate(views):
        water = view.water_height(x)
        if index == 0:
            ax.fill_between(x, water, water - 100.0, color=_WATER, linewidth=0.0, zorder=0.5)
            ax.text(high - 0.1, water[1] - 0.08, "water", ha="right", va="top", fontsize=_SMALL)
        ax.plot(x, water, color=_WATER_LINE, linewidth=1.2, linestyle=_LINES[index])
        if index == 0 or abs(view.deck_height - views[0].deck_height) > _SAME_DECK:
            ax.plot(x, [view.deck_height] * 2, color=INK, linewidth=0.9, linestyle=_LINES[index])
            ax.text(high - 0.1, view.deck_height - 0.08, "deck", ha="right", va="top", fontsize=_SMALL)
        for sail in view.sails:
            if sail.deck_height != view.deck_height:
                ends = [float(sail.outline_leech_x[0]), float(sail.outline_luff_x[0])]
                ax.plot(ends, [sail.deck_height] * 2, color=INK, linewidth=0.9, linestyle=_LINES[index])
                said = f"deck under {sail.name}"
                ax.text(ends[1] + 0.15, sail.deck_height, said, va="center", fontsize=_SMALL)


def _draw_sail(ax: Axes, sail: SailView, row: int, index: int) -> None:
    x = np.concatenate([sail.outline_luff_x, sail.outline_leech_x[::-1], sail.outline_luff_x[:1]])
    height = np.concatenate([sail.outline_height, sail.outline_height[::-1], sail.outline_height[:1]])
    if index == 0:
        ax.fill(x, height, color=_CLOTH, alpha=0.75, linewidth=0.0, zorder=1.0)
    ax.plot(x, height, color=_ink(row), linewidth=0.8 * _width(row), linestyle=_LINES[index])
    ax.plot(sail.force_x, sail.height, linestyle="", **_station_marks(row, index))


def _draw_table_sail(ax: Axes, sail: TableSailView, index: int) -> None:
    tall, wide = sail.frame_height, 0.5 * sail.frame_height
    corner = (sail.centre.x - 0.5 * wide, sail.centre.height - 0.5 * tall)
    frame = Rectangle(corner, wide, tall, facecolor="none", edgecolor=INK, linewidth=0.9, linestyle=":")
    ax.add_patch(frame)
    if index == 0:
        ax.text(
            sail.centre.x,
            corner[1] + 0.12 * tall,
            f"{sail.name}\n(from a table, {sail.area:.0f} m²)",
            **_NAME,
        )


def _draw_centres(ax: Axes, view: RigView, index: int) -> None:
    marks: dict[str, Any] = {"color": INK, "markerfacecolor": "white" if index else INK, "linestyle": ""}
    area, effort = view.area_centre, view.effort
    ax.plot(area.x, area.height, marker="s", markersize=5.5, zorder=5.0, **marks)
    if view.has_effort:
        ax.plot(effort.x, effort.height, marker="o", markersize=8.0, zorder=5.0, **marks)
        cross: dict[str, Any] = {"color": INK if index else "white", "markersize": 7.0, "zorder": 5.1}
        ax.plot(effort.x, effort.height, marker="+", linestyle="", **cross)


def _side_key(views: Sequence[RigView]) -> list[Line2D]:
    handles = []
    for index, view in enumerate(views):
        if len(views) > 1:
            handles.append(
                Line2D([], [], color=INK, linewidth=1.3, linestyle=_LINES[index], label=view.option)
            )
        marks = [("s", 4.5, f"{view.area:.1f} m² at {view.area_centre.height:.2f} m")]
        if view.has_effort:
            marks.insert(0, ("o", 6.5, f"effort at {_effort(view)}"))
        face = "white" if index else INK
        handles += [
            Line2D(
                [],
                [],
                color=INK,
                marker=mark,
                markersize=size,
                markerfacecolor=face,
                linestyle="",
                label=said,
            )
            for mark, size, said in marks
        ]
    return handles


def _effort(view: RigView) -> str:
    if not view.has_effort:
        return "none (the sails' side forces nearly cancel)"
    return f"{show_number(view.effort.height, decimals=2)} m"


# --- parts of the other panels ------------------------------------------------------------------------------


def _width(row: int) -> float:
    return _SAIL_WIDTHS[row % len(_SAIL_WIDTHS)]


def _station_marks(row: int, index: int) -> dict[str, Any]:
    return {
        "color": _ink(row),
        "marker": _SAIL_MARKS[row % len(_SAIL_MARKS)],
        "markersize": 2.3,
        "markerfacecolor": "white" if index else _ink(row),
        "markeredgewidth": 0.6,
    }


def _inner_ticks(ax: Axes, most: int) -> None:
    """Round numbers across the axis, none so near to its ends that it runs into the next panel's."""
    low, high = ax.get_xlim()
    first, last = low + 0.04 * (high - low), high - 0.07 * (high - low)
    unit = 10.0 ** math.floor(math.log10(high - low))
    finer: list[float] = []
    for step in (share * unit for share in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0)):
        ticks = [float(n * step) for n in range(math.ceil(first / step), math.floor(last / step) + 1)]
        if len(ticks) <= most:
            break
        finer = ticks
    ax.set_xticks(ticks if len(ticks) > 1 or not finer else [finer[0], finer[-1]])
    ax.set_xlim(low, high)


def _profile_lines(ax: Axes, views: Sequence[RigView], profile: _Profile) -> None:
    for index, view in enumerate(views):
        for row, sail in enumerate(view.sails):
            style = {"linestyle": _LINES[index], "linewidth": _width(row), **_station_marks(row, index)}
            ax.plot(profile.of(sail), sail.height, **style)
    ax.set_xlabel(profile.unit)
    ax.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    ax.grid(True)


def _draw_section(ax: Axes, sail: SailView, row: int, index: int, height: float, scale: float) -> None:
    at = sail.at(height)
    along, depth = mean_line(
        camber=at["camber"],
        nose_angle=at["nose_angle"],
        hinge_share=sail.hinge_share,
        draft_share=sail.draft_share,
    )
    chord, cos_a, sin_a = (
        at["luff_x"] - at["leech_x"],
        math.cos(at["chord_angle"]),
        math.sin(at["chord_angle"]),
    )
    # behind the luff, turned about it: the leech goes to leeward
    x = at["luff_x"] + chord * (depth * sin_a - along * cos_a)
    y = height + scale * chord * (depth * cos_a + along * sin_a)
    ax.plot(x[[0, -1]], y[[0, -1]], color=_ink(row), linewidth=0.5, linestyle=":")
    ax.plot(x, y, color=_ink(row), linewidth=_width(row), linestyle=_LINES[index], solid_capstyle="butt")


def _draw_arrows(
    ax: Axes, sail: SailView, index: int, height: float, scale: float, metres_per_speed: float
) -> None:
    at = sail.at(height)
    length = metres_per_speed * at["wind_speed"]
    arrows = [(at["flow_angle"], _FLOW_ARROW)]
    if index == 0:
        arrows.insert(0, (at["wind_angle"], _WIND_ARROW))
    for angle, style in arrows:
        tail = (at["luff_x"] + length * math.cos(angle), height - scale * length * math.sin(angle))
        plain = {**style, "shrinkA": 0.0, "shrinkB": 0.0, "linestyle": _LINES[index]}
        ax.annotate("", xy=(at["luff_x"], height), xytext=tail, arrowprops=plain)


def mean_line(
    *, camber: float, nose_angle: float = 0.0, hinge_share: float = 0.0, draft_share: float = 0.5
) -> tuple[Floats, Floats]:
    """Places along the chord from luff 0 to leech 1 and depth there over the chord, to leeward.

    The shape that `sail_sections.mean_line` takes: a straight nose, a line from its hinge back to the leech,
    and on that line the cloth in two parabolas, level where they meet.
    """
    along = np.concatenate([[0.0], np.linspace(hinge_share, 1.0, 41)])
    ahead, behind = (
        (along - draft_share) / (draft_share - hinge_share),
        (along - draft_share) / (1.0 - draft_share),
    )
    cloth = np.maximum(0.0, 1.0 - np.where(along < draft_share, ahead, behind) ** 2)
    corner = hinge_share * math.tan(nose_angle)
    frame = (
        np.interp(along, [0.0, hinge_share, 1.0], [0.0, corner, 0.0]) if hinge_share > 0.0 else 0.0 * along
    )
    return along, frame + camber * cloth


def _say_wind(view: RigView, height: float) -> str:
    """Apparent wind at a height, from the first sail that reaches it; empty where none does."""
    at = next((sail.at(height) for sail in view.sails if sail.reaches(height)), None)
    return "" if at is None else f"{at['wind_speed'] / KNOT:.1f} kn, {at['wind_angle'] / DEGREE:.1f}°"


# --- the figure ---------------------------------------------------------------------------------------------


def _figure(points: Sequence[Point]) -> Figure:
    views = [rig_view(point) for point in points]
    low, high = _span_x(views)
    bottom, top = _span_height(views)
    fixed = [*_LOAD_WIDTHS.values(), *[_PROFILE_WIDTH] * len(_PROFILES)]
    room = _WIDTH - _LEFT - _RIGHT - sum(fixed) - _GAP * (len(fixed) + 1)
    across, ahead = high - low, high - low + _ARROW_ROOM * _size(views)
    inches_per_metre = min(
        room / (across + _SECTION_SCALE * ahead), (_HEIGHT - _BOTTOM - _TOP) / (top - bottom)
    )
    # what a tall rig leaves of the width goes to the sections
    heights, scale = cut_heights(views, scale=min(1.0, (room / inches_per_metre - across) / ahead))
    panels: list[tuple[float, Callable[[Axes], Axes]]] = [
        (inches_per_metre * across, partial(side_plot, views=views)),
        *((width, partial(load_plot, views=views, of=name)) for name, width in _LOAD_WIDTHS.items()),
        (inches_per_metre * scale * ahead, partial(section_plot, views=views, heights=heights, scale=scale)),
        *((_PROFILE_WIDTH, partial(profile_plot, views=views, of=name)) for name in _PROFILES),
    ]
    figure = Figure(figsize=(_WIDTH, _HEIGHT))
    tall = inches_per_metre * (top - bottom)
    _place(figure, panels, tall=tall)
    heights_told = MaxNLocator(nbins=9, steps=[1, 2, 5, 10]).tick_values(bottom, top)
    figure.axes[0].set_yticks([height for height in heights_told if bottom <= height <= top])
    figure.axes[0].set_ylim(bottom, top)
    _head(figure, points, views)
    _key(figure, views, top=1.0 - (_TOP + tall + _AXIS_ROOM) / _HEIGHT)
    footer(figure, source_of_all(points))
    return figure


def _place(figure: Figure, panels: Sequence[tuple[float, Callable[[Axes], Axes]]], *, tall: float) -> None:
    """Panels of their widths [inches] side by side, with one scale of heights that the first one carries."""
    left = _LEFT
    for width, draw in panels:
        place = (left / _WIDTH, 1.0 - (_TOP + tall) / _HEIGHT, width / _WIDTH, tall / _HEIGHT)
        ax = figure.add_axes(place, sharey=figure.axes[0] if figure.axes else None)
        draw(ax)
        if len(figure.axes) > 1:
            ax.tick_params(axis="y", labelleft=False, length=2.0)
        left += width + _GAP


def _head(figure: Figure, points: Sequence[Point], views: Sequence[RigView]) -> None:
    names = " and ".join(view.option for view in views)
    title = f"{names}: how the rig stands and what it carries"
    figure.text(0.012, 0.985, title, fontsize=10.5, fontweight="bold", va="top")
    told = []
    for point, view in zip(points, views, strict=True):
        sails = f" under {view.sail_set}" if view.sail_set else ""
        carried = f", {point.values['branch']}" if point.solved.branches else ""
        told.append(f"{view.option}{sails}{carried}: {say_condition(point)}")
    figure.text(0.012, 0.957, "\n".join([*told, say_effort(views)]), fontsize=8.0, va="top", linespacing=1.35)


def _key(figure: Figure, views: Sequence[RigView], *, top: float) -> None:
    whose = "" if len(views) == 1 else f"{views[0].option}'s "
    told = [
        "Circles: centres of effort; squares: centres of area; small marks: stations. Side force to leeward, "
        "normal to mast and centreline; drive along the centreline; hatched where they act the other way.",
        f"From above: leeward is up; grey arrow, {whose}apparent wind at that height (kn, deg off the bow); "
        "thin arrow, the flow that the chord meets, with what all sails induce. Chord angles from the "
        "centreline.",
    ]
    if any(view.tables for view in views):
        told.append(
            "Dotted frame: area of a sail given by a table, about its centre of effort; it has no stations."
        )
    figure.text(0.012, top, "\n".join(told), fontsize=_SMALL, va="top", linespacing=1.35)
