"""Draw the two pictures of the conventions page: `python docs/figures/make_conventions.py`.

Angles are larger than a boat's, so that they can be told apart.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Arc, FancyArrowPatch, Polygon
from numpy.typing import ArrayLike, NDArray

HERE = Path(__file__).parent
INK, GREY, PALE = "#1d2733", "#66717d", "#e9edf1"
AIR, WATER, WEIGHT = "#b8500f", "#14619c", "#3f7d3a"

LEEWAY, TWA, BETA, HEEL = (math.radians(angle) for angle in (10.0, 64.0, 38.0, 24.0))
# Boat speed over true wind speed that makes the apparent wind come from BETA.
SPEED_RATIO = math.sin(TWA) / math.tan(BETA) - math.cos(TWA)


def page(x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
    """Plan view: course x up the page, leeward y to the left."""
    return np.array([-np.asarray(y, dtype=float), np.asarray(x, dtype=float)])


def from_course(angle: float, radius: float) -> NDArray[np.float64]:
    """A point of the plan view at an angle from the course, counted towards the wind (to the right)."""
    return page(radius * math.cos(angle), -radius * math.sin(angle))


def on_boat(x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
    """Plan view of a point in body axes."""
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    return page(
        x * math.cos(LEEWAY) + y * math.sin(LEEWAY),
        y * math.cos(LEEWAY) - x * math.sin(LEEWAY),
    )


def from_astern(y: ArrayLike, z: ArrayLike) -> NDArray[np.float64]:
    """Stern view of a point in body axes of the heeled boat."""
    y, z = np.asarray(y, dtype=float), np.asarray(z, dtype=float)
    return np.array([-(y * math.cos(HEEL) + z * math.sin(HEEL)), z * math.cos(HEEL) - y * math.sin(HEEL)])


def shift(point: ArrayLike, right: float, up: float) -> NDArray[np.float64]:
    """A point of the page moved by so much."""
    return np.asarray(point, dtype=float) + np.array([right, up])


def arrow(
    ax: Axes, start: ArrayLike, end: ArrayLike, colour: str, width: float = 2.2, style: str = "-|>"
) -> None:
    """A straight arrow between two points of the page."""
    ax.add_patch(
        FancyArrowPatch(
            tuple(np.asarray(start)),
            tuple(np.asarray(end)),
            arrowstyle=f"{style},head_width={1.6 + width:.1f},head_length={2.6 + 1.6 * width:.1f}",
            color=colour,
            linewidth=width,
            shrinkA=0,
            shrinkB=0,
            zorder=6,
        )
    )


def label(ax: Axes, at: ArrayLike, text: str, colour: str = INK, **kwargs: Any) -> None:
    """Text, centred unless told otherwise."""
    x, y = np.asarray(at)
    options: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": 9.5, "linespacing": 1.25} | kwargs
    ax.text(x, y, text, color=colour, zorder=8, **options)


def pointed_label(ax: Axes, point: ArrayLike, at: ArrayLike, text: str) -> None:
    """Small text with a thin line to the point it names."""
    line = {"arrowstyle": "-", "color": GREY, "linewidth": 0.8, "shrinkB": 4}
    ax.annotate(text, point, at, fontsize=8.5, color=INK, ha="center", va="center", arrowprops=line, zorder=8)


def angle_from_course(ax: Axes, radius: float, start: float, end: float, colour: str = INK) -> None:
    """An arc with an arrowhead between two angles of the plan view, in the positive direction."""
    angles = np.linspace(start, end, 60)
    path = np.array([from_course(angle, radius) for angle in angles])
    ax.plot(path[:, 0], path[:, 1], color=colour, linewidth=1.2, zorder=5)
    arrow(ax, path[-6], path[-1], colour, width=1.2)


def turn(ax: Axes, centre: ArrayLike, radius: float, start: float, end: float, colour: str) -> None:
    """A curved arrow for a moment; page angles in degrees from the right, counter-clockwise positive."""
    angles = np.radians(np.linspace(start, end, 60))
    x, y = np.asarray(centre)
    path = np.column_stack([x + radius * np.cos(angles), y + radius * np.sin(angles)])
    ax.plot(path[:-3, 0], path[:-3, 1], color=colour, linewidth=2.2, zorder=5)
    arrow(ax, path[-5], path[-1], colour, width=2.2)


def plan_view() -> Figure:
    """Course, leeway, winds and horizontal forces, seen from above."""
    figure = Figure(figsize=(7.4, 8.0))
    ax = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    ax.set(xlim=(-4.3, 5.2), ylim=(-4.2, 6.07), aspect="equal")
    ax.axis("off")

    along = np.linspace(0.0, 1.0, 60)
    station = -2.3 + 4.9 * along
    half = 0.78 * (1.0 - np.abs((station + 0.5) / 3.1) ** 2.2) * (1.0 - 0.1 * (1.0 - along) ** 2)
    outline = np.hstack([on_boat(station, half), on_boat(station[::-1], -half[::-1])])
    ax.add_patch(Polygon(outline.T, closed=True, facecolor=PALE, edgecolor=INK, linewidth=1.4, zorder=2))

    def sail(tack: float, chord: float, sheet: float, depth: float) -> None:
        share = np.linspace(0.0, 1.0, 40)
        bulge = 4.0 * depth * share * (1.0 - share) * chord
        aft = -(chord * share * math.cos(sheet) - bulge * math.sin(sheet) * -1.0)
        lee = chord * share * math.sin(sheet) + bulge * math.cos(sheet)
        ax.plot(*on_boat(tack + aft, lee), color=INK, linewidth=2.4, zorder=4, solid_capstyle="round")

    sail(0.85, 2.25, math.radians(9.0), 0.1)
    sail(2.25, 1.75, math.radians(17.0), 0.13)
    ax.plot(*on_boat(0.85, 0.0), marker="o", color=INK, markersize=4, zorder=5)

    # rays from the reference point
    ax.plot(*np.array([from_course(0.0, 0.0), from_course(0.0, 5.0)]).T, color=INK, linewidth=1.0, zorder=3)
    arrow(ax, from_course(0.0, 4.7), from_course(0.0, 5.2), INK, width=1.2)
    ax.plot(
        *on_boat([-2.75, 4.9], [0.0, 0.0]), color=GREY, linewidth=1.0, linestyle=(0, (7, 3, 1.5, 3)), zorder=3
    )
    for angle, reach in ((BETA, 4.6), (TWA, 5.0)):
        ray = np.array([from_course(angle, 0.0), from_course(angle, reach)])
        ax.plot(*ray.T, color=GREY, linewidth=0.9, linestyle=(0, (2, 2)), zorder=3)
    ax.plot([0.0, -3.0], [0.0, 0.0], color=INK, linewidth=1.0, zorder=3)
    arrow(ax, page(0.0, 2.8), page(0.0, 3.35), INK, width=1.2)
    ax.plot(
        0.0, 0.0, marker="o", color="white", markeredgecolor=INK, markeredgewidth=1.4, markersize=7, zorder=9
    )
    label(ax, (-0.05, 5.62), "x: course through the water", weight="bold")
    label(ax, (-3.2, -0.28), "y: to leeward (port)", weight="bold")
    label(ax, shift(on_boat(5.05, 0.0), 0.4, 0.12), "centreline", GREY)
    pointed_label(ax, (-0.04, -0.05), (-2.0, -0.95), "reference point\n(z up, towards you)")

    # angles
    angle_from_course(ax, 4.45, LEEWAY, 0.0)
    label(ax, shift(from_course(math.radians(-1.5), 4.42), -0.62, 0.0), "leeway")
    angle_from_course(ax, 3.35, LEEWAY, BETA)
    label(ax, from_course(math.radians(24.0), 3.68), "AWA")
    angle_from_course(ax, 2.62, 0.0, BETA)
    label(ax, from_course(math.radians(26.0), 2.84), "β", fontsize=11)
    angle_from_course(ax, 1.55, 0.0, TWA)
    label(ax, from_course(math.radians(54.0), 1.98), "TWA")

    # winds, blowing towards the boat
    arrow(ax, from_course(BETA, 5.6), from_course(BETA, 4.0), AIR, width=2.6)
    label(ax, shift(from_course(BETA, 5.6), 0.15, 0.32), "apparent wind", AIR)
    arrow(ax, from_course(TWA, 5.2), from_course(TWA, 3.6), AIR, width=2.6)
    label(ax, shift(from_course(TWA, 5.2), -0.22, 0.34), "true wind", AIR)

    # forces
    effort = on_boat(0.75, 0.62)
    drive, side = np.array([0.0, 0.85]), np.array([-2.0, 0.0])
    arrow(ax, effort, effort + side, AIR)
    arrow(ax, effort, effort + drive, AIR)
    arrow(ax, effort, effort + drive + side, AIR, width=1.2)
    for corner in (drive, side):
        edge = np.array([effort + corner, effort + drive + side])
        ax.plot(*edge.T, color=AIR, linewidth=0.7, linestyle=(0, (2, 2)), zorder=4)
    ax.plot(*effort, marker="o", color=AIR, markersize=5, zorder=9)
    label(ax, shift(effort + drive, -0.12, 0.2), "drive", AIR)
    label(ax, shift(effort + side, 0.55, -0.24), "side force (air)", AIR)
    label(ax, shift(effort + drive + side, 0.1, 0.24), "air force", AIR)

    water = on_boat(-0.55, 0.0)
    resistance, holding = np.array([0.0, -0.85]), np.array([2.0, 0.0])
    arrow(ax, water, water + holding, WATER)
    arrow(ax, water, water + resistance, WATER)
    ax.plot(*water, marker="o", color=WATER, markersize=5, zorder=9)
    label(ax, shift(water + holding, -0.45, -0.4), "side force\n(keel, rudder)", WATER)
    label(ax, shift(water + resistance, 1.2, -0.16), "resistance", WATER)

    # rudder with its trailing edge to windward
    stock, deflection = -2.25, math.radians(26.0)
    blade = on_boat(
        stock - np.array([-0.12, 0.55]) * math.cos(deflection),
        -np.array([-0.12, 0.55]) * math.sin(deflection),
    )
    ax.plot(*blade, color=WATER, linewidth=4.0, solid_capstyle="round", zorder=5)
    start = on_boat(stock - 0.1, 0.0)
    arrow(ax, start, shift(start, -1.15, 0.0), WATER)
    label(ax, shift(start, -2.1, -0.02), "rudder +: pushes\nstern to leeward", WATER)

    # yaw
    turn(ax, (0.0, 0.0), 3.3, 245.0, 290.0, INK)
    label(ax, (-0.1, -3.72), "yaw moment +: bow to leeward", INK)

    # wind triangle
    start = np.array([4.75, -0.95])
    scale = 1.85
    over_water = scale * page(-math.cos(TWA), math.sin(TWA))
    motion = scale * SPEED_RATIO * page(-1.0, 0.0)
    middle, end = start + over_water, start + over_water + motion
    arrow(ax, start, middle, AIR, width=1.8)
    arrow(ax, middle, end, GREY, width=1.8)
    arrow(ax, start, end, AIR, width=2.6)
    label(ax, shift(0.5 * (start + middle), -0.2, 0.25), "TWS", AIR)
    label(ax, shift(0.5 * (middle + end), -0.5, 0.0), "boat\nspeed", GREY)
    label(ax, shift(0.5 * (start + end), 0.5, -0.05), "AWS", AIR)
    label(
        ax,
        shift(end, 0.65, -0.42),
        "wind triangle: wind over the\nwater less the boat's motion",
        GREY,
        fontsize=8.5,
    )
    return figure


def stern_view() -> Figure:
    """Heel, heights, and the forces that heel and right the boat, seen from astern."""
    figure = Figure(figsize=(7.4, 7.4))
    ax = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    ax.set(xlim=(-5.0, 5.2), ylim=(-2.9, 7.3), aspect="equal")
    ax.axis("off")

    ax.axhspan(-2.9, 0.0, color="#eef4f9", zorder=0)
    ax.plot([-5.0, 5.2], [0.0, 0.0], color=WATER, linewidth=1.2, zorder=3)

    across = np.linspace(-1.35, 1.35, 80)
    bottom = -0.62 + 1.27 * (np.abs(across) / 1.35) ** 3.0
    section = np.hstack([from_astern(across, bottom), from_astern([1.35, -1.35], [0.65, 0.65])])
    ax.add_patch(Polygon(section.T, closed=True, facecolor=PALE, edgecolor=INK, linewidth=1.4, zorder=2))
    fin = from_astern([-0.09, 0.09, 0.06, -0.06], [-0.62, -0.62, -1.75, -1.75])
    ax.add_patch(Polygon(fin.T, closed=True, facecolor="#c9d1d9", edgecolor=INK, linewidth=1.2, zorder=1))
    bulb = np.linspace(0.0, 2.0 * math.pi, 40)
    ax.add_patch(
        Polygon(
            from_astern(0.26 * np.cos(bulb), -1.85 + 0.17 * np.sin(bulb)).T,
            facecolor="#c9d1d9",
            edgecolor=INK,
            linewidth=1.2,
            zorder=2,
        )
    )
    ax.plot(*from_astern([0.0, 0.0], [0.65, 6.6]), color=INK, linewidth=2.6, zorder=4, solid_capstyle="round")
    up = np.linspace(1.15, 6.5, 60)
    share = (up - 1.15) / 5.35
    leech = 0.62 * np.sin(np.pi * np.minimum(1.0, 0.12 + 0.88 * share)) * (1.0 - 0.25 * share) + 0.1 * (
        1.0 - share
    )
    ax.fill(
        *np.hstack([from_astern(leech, up), from_astern([0.0], [1.15])]),
        color=AIR,
        alpha=0.12,
        zorder=1,
        linewidth=0,
    )
    ax.plot(*from_astern(leech, up), color=INK, linewidth=1.3, zorder=3)

    # axes
    arrow(ax, (0.0, 0.0), (0.0, 6.75), INK, width=1.0)
    label(ax, (0.0, 7.0), "z: up", weight="bold")
    arrow(ax, (0.0, 0.0), (-4.55, 0.0), INK, width=1.0)
    label(ax, (-4.2, 0.28), "y: to leeward", weight="bold")
    label(ax, (3.9, -0.26), "undisturbed water plane", WATER, fontsize=8.5)
    ax.plot(
        0.0, 0.0, marker="o", color="white", markeredgecolor=INK, markeredgewidth=1.4, markersize=7, zorder=9
    )
    pointed_label(ax, (-0.05, -0.03), (-3.35, -1.0), "reference point\n(x forward, away from you)")

    # heel
    radius = 5.6
    ax.add_patch(
        Arc(
            (0, 0),
            2 * radius,
            2 * radius,
            theta1=90.0,
            theta2=90.0 + math.degrees(HEEL),
            color=INK,
            linewidth=1.2,
        )
    )
    tip = [(-radius * math.sin(a), radius * math.cos(a)) for a in (HEEL - 0.06, HEEL)]
    arrow(ax, tip[0], tip[1], INK, width=1.2)
    label(ax, (-radius * math.sin(0.42 * HEEL), radius * math.cos(0.42 * HEEL) + 0.27), "heel")

    # air side force and its height
    effort = from_astern(0.0, 3.4)
    arrow(ax, effort, shift(effort, -1.9, 0.0), AIR)
    ax.plot(*effort, marker="o", color=AIR, markersize=6, zorder=9)
    label(ax, shift(effort, -1.6, 0.3), "side force (air)", AIR)
    label(ax, shift(effort, 0.1, 0.26), "centre of\neffort", AIR, ha="left", fontsize=8.5)
    arrow(ax, from_astern(-0.22, 0.0), from_astern(-0.22, 3.15), GREY, width=0.8, style="<|-|>")
    label(ax, (0.1, 2.35), "centre-of-effort height,\nalong the mast", GREY, ha="left", fontsize=8.5)

    # water side force
    lateral = from_astern(0.0, -1.15)
    arrow(ax, lateral, shift(lateral, 1.9, 0.0), WATER)
    ax.plot(*lateral, marker="o", color=WATER, markersize=6, zorder=9)
    label(ax, shift(lateral, 2.05, -0.34), "side force (keel, rudder)", WATER)

    # weight, buoyancy, crew
    gravity = from_astern(0.0, -0.35)
    buoyancy = np.array([-0.72, -0.24])
    arrow(ax, gravity, shift(gravity, 0.0, -2.0), WEIGHT)
    ax.plot(*gravity, marker="o", color=WEIGHT, markersize=6, zorder=9)
    label(ax, shift(gravity, 0.14, -2.12), "weight", WEIGHT, ha="left")
    arrow(ax, buoyancy, shift(buoyancy, 0.0, 1.85), WATER)
    ax.plot(*buoyancy, marker="o", color=WATER, markersize=6, zorder=9)
    label(ax, shift(buoyancy, -0.12, 0.88), "buoyancy", WATER, ha="right")
    ax.plot(
        [buoyancy[0]] * 2, [buoyancy[1], -2.05], color=WATER, linewidth=0.7, linestyle=(0, (2, 2)), zorder=4
    )
    arrow(ax, (buoyancy[0], -1.95), (gravity[0], -1.95), GREY, width=0.8, style="<|-|>")
    label(ax, (buoyancy[0] - 0.12, -1.95), "righting arm GZ", GREY, ha="right", fontsize=8.5)

    crew = from_astern(-1.3, 0.95)
    ax.plot(*crew, marker="o", color=WEIGHT, markersize=12, zorder=7)
    arrow(ax, crew, shift(crew, 0.0, -1.15), WEIGHT)
    label(ax, shift(crew, 0.4, -0.95), "crew weight", WEIGHT, ha="left")
    middle = from_astern(0.0, 0.95)
    arrow(ax, middle, crew, GREY, width=0.8, style="<|-|>")
    label(
        ax,
        shift(0.5 * (middle + crew), -0.12, 0.27),
        "crew arm",
        GREY,
        fontsize=8.5,
        rotation=math.degrees(HEEL),
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5},
    )

    # moments
    turn(ax, (0.0, 0.0), 4.6, 138.0, 158.0, AIR)
    label(ax, (-4.45, 2.8), "heeling\nmoment", AIR)
    turn(ax, (0.0, 0.0), 4.55, -22.0, -38.0, WEIGHT)
    label(ax, (3.0, -2.3), "righting moment", WEIGHT)

    # wind over height
    height = np.array([0.6, 1.6, 2.6, 3.6, 4.6, 5.6])
    speed = 1.9 * (height / 5.6) ** 0.22
    for level, length in zip(height, speed, strict=True):
        arrow(ax, (4.9, level), (4.9 - length, level), AIR, width=0.9)
    profile = 6.1 * np.linspace(0.0, 1.0, 120) ** 4
    ax.plot(4.9 - 1.9 * (profile / 5.6) ** 0.22, profile, color=AIR, linewidth=1.0, zorder=4)
    ax.plot([4.9, 4.9], [0.0, 6.1], color=AIR, linewidth=0.8, zorder=4)
    label(ax, (3.75, 6.42), "true wind over height;\nTWS at 10 m", AIR, fontsize=8.5)
    return figure


def main() -> None:
    """Write both pictures as SVG and PNG beside this script."""
    style = {"svg.hashsalt": "conventions", "font.family": "DejaVu Sans", "svg.fonttype": "path"}
    with mpl.rc_context(style):
        for name, draw in (("conventions_plan", plan_view), ("conventions_stern", stern_view)):
            figure = draw()
            figure.savefig(HERE / f"{name}.svg", metadata={"Date": None})
            figure.savefig(HERE / f"{name}.png", dpi=150, metadata={"Software": None})


if __name__ == "__main__":
    main()
