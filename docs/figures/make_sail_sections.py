"""Draw the picture of the page on sail sections: `python docs/figures/make_sail_sections.py`."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Arc, Circle
from numpy.typing import NDArray

from vpp import plots
from vpp.physics import sail_sections, sections

Floats = NDArray[np.float64]

HERE = Path(__file__).parent
INK, QUIET = plots.INK, plots.QUIET
# Kind of section: what it is called, ink, tone, thickness and blunt edge over chord.
KINDS = {
    sail_sections.SINGLE_SKIN: ("single skin", plots.OPTION_INKS[2], "#f1dcc9", 0.0, 0.0),
    sail_sections.TWIN_SKIN: ("twin skin", plots.OPTION_INKS[1], "#c9dbe8", 0.08, 0.01),
    sail_sections.SOLID: ("solid", plots.OPTION_INKS[3], "#d3e5d3", 0.12, 0.0),
}
DRAFT, CAMBER, HINGE = 0.45, 0.06, 0.12
MAST, REYNOLDS = 0.04, 2e6


def main() -> None:
    """Write the picture."""
    figure = plots.styled(build)
    figure.savefig(HERE / "sail_sections.png", dpi=160)


def build() -> Figure:
    figure = Figure(figsize=(9.6, 7.4), layout="constrained")
    rows = figure.add_gridspec(2, 3, height_ratios=(0.72, 2.0))
    for column, draw in enumerate((single_skin, twin_skin, solid)):
        draw(figure.add_subplot(rows[0, column]))
    polars(figure.add_subplot(rows[1, :]))
    return figure


def mean_height(x: Floats, *, hinge: float, camber: float, rotation: float) -> Floats:
    """Of a turned nose, its tail line and the skins' depth on it."""
    rise = math.tan(rotation)
    reach = np.where(x < DRAFT, DRAFT - hinge, 1.0 - DRAFT)
    skins = np.where(x < hinge, 0.0, camber * (1.0 - ((x - DRAFT) / reach) ** 2))
    return np.where(x < hinge, rise * x, rise * hinge * (1.0 - x) / (1.0 - hinge)) + skins


def outline(x: Floats, height: Floats, thickness: float, blunt: float) -> tuple[Floats, Floats]:
    """A closed outline about a mean line."""
    closed = 5.0 * thickness * (
        0.2969 * np.sqrt(x) + x * (-0.1260 + x * (-0.3516 + x * (0.2843 - 0.1036 * x)))
    )  # fmt: skip
    half = closed + 0.5 * blunt * x
    angle = np.arctan(np.gradient(height, x))
    up = np.column_stack([x - half * np.sin(angle), height + half * np.cos(angle)])
    down = np.column_stack([x + half * np.sin(angle), height - half * np.cos(angle)])
    both = np.vstack([up, down[::-1]])
    return both[:, 0], both[:, 1]


def panel(ax: Axes, title: str) -> Axes:
    ax.set_aspect("equal")
    ax.set_xlim(-0.09, 1.09)
    ax.set_ylim(-0.13, 0.25)
    ax.axis("off")
    ax.plot([0.0, 1.0], [0.0, 0.0], color=QUIET, linewidth=0.8, linestyle=(0, (6, 3)))
    ax.set_title(title, loc="left")
    return ax


def depth(ax: Axes, foot: float, top: float, text: str) -> None:
    ax.annotate(
        "", (DRAFT, top), (DRAFT, foot), arrowprops={"arrowstyle": "<->", "color": INK, "linewidth": 0.8}
    )
    ax.text(DRAFT + 0.02, foot + 0.42 * (top - foot), text, fontsize=9.0, va="center")


def single_skin(ax: Axes) -> None:
    """A skin behind a round mast."""
    _, ink, tone, _, _ = KINDS[sail_sections.SINGLE_SKIN]
    panel(ax, "Single skin behind a mast")
    x = np.linspace(0.0, 1.0, 300)
    height = mean_height(x, hinge=0.0, camber=0.10, rotation=0.0)
    ax.plot(x, height, color=ink, linewidth=2.2)
    slope = math.atan2(height[1], x[1])
    radius = 0.5 * MAST * 1.3
    ax.add_patch(
        Circle((-radius * math.cos(slope), -radius * math.sin(slope)), radius, facecolor=tone, edgecolor=ink)
    )
    depth(ax, 0.0, 0.10, "$f$")
    ax.text(-0.06, -0.1, "mast, diameter $d$:\nwindage, and 0.3 $d/c$ here", fontsize=8.0, va="center")
    ax.text(1.0, -0.04, "leech", fontsize=8.0, ha="right", va="top", color=QUIET)


def twin_skin(ax: Axes) -> None:
    """A turned mast under its skins, fair and not turned."""
    _, ink, tone, thickness, blunt = KINDS[sail_sections.TWIN_SKIN]
    panel(ax, "Twin skin, mast turned until fair")
    x = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, 600)))
    slope = 0.07 * float(sail_sections.mean_line(hinge_share=HINGE, draft_share=DRAFT).fair_slope_per_camber)
    rotation = math.atan(slope)
    height = mean_height(x, hinge=HINGE, camber=0.07, rotation=rotation)
    ax.fill(*outline(x, height, thickness, 2.0 * blunt), facecolor=tone, edgecolor=ink, linewidth=0.9)
    ax.plot(x, height, color=ink, linewidth=1.8)
    tail = np.array([HINGE, 1.0])
    ax.plot(
        tail, slope * HINGE * (1.0 - tail) / (1.0 - HINGE), color=INK, linewidth=0.8, linestyle=(0, (2, 1.5))
    )
    ax.plot([0.0, 0.3], [0.0, 0.3 * slope], color=INK, linewidth=0.8)
    ax.plot([HINGE], [HINGE * slope], "o", color=INK, markersize=4.0)
    ax.add_patch(
        Arc((0.0, 0.0), 0.5, 0.5, theta1=0.0, theta2=math.degrees(rotation), color=INK, linewidth=0.8)
    )
    ax.text(0.262, 0.022, r"$\delta$", fontsize=10.0)
    foot = slope * HINGE * (1.0 - DRAFT) / (1.0 - HINGE)
    depth(ax, foot, foot + 0.07, "$f$")
    ax.text(
        -0.06,
        -0.085,
        "mast to the hinge (dot), turned by $\\delta$",
        fontsize=8.0,
        va="center",
    )
    ax.text(1.02, -0.045, "thick clew", fontsize=8.0, ha="right", va="top", color=QUIET)


def solid(ax: Axes) -> None:
    """A rigid section, and its mirror image."""
    _, ink, tone, thickness, _ = KINDS[sail_sections.SOLID]
    panel(ax, "Solid; dotted: inverted")
    x = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, 600)))
    height = mean_height(x, hinge=0.0, camber=CAMBER, rotation=0.0)
    across, up = outline(x, height, thickness, 0.0)
    ax.fill(across, up, facecolor=tone, edgecolor=ink, linewidth=0.9)
    ax.plot(x, height, color=ink, linewidth=1.8)
    ax.plot(across, -up, color=ink, linewidth=0.9, linestyle=(0, (1, 1.5)))
    depth(ax, 0.0, CAMBER, "$f$")


def forces(kind: str, camber: float, incidence: Floats) -> tuple[Floats, Floats]:
    """Lift and drag of a kind, within and a little past its stall."""
    _, _, _, thickness, blunt = KINDS[kind]
    found = sail_sections.section_law(
        kind=kind, thickness_share=thickness, mast_share=0.0, blunt_share=blunt, reynolds=REYNOLDS
    ).at(camber=camber)
    lift, drag = sections.section_forces(
        incidence=incidence * found.stall_incidence, camber=camber, drag_maximum=1.2, **vars(found)
    )
    return drag, lift


def polars(ax: Axes) -> None:
    """Lift against drag, 6 % of camber to either side."""
    incidence = np.linspace(-1.1, 1.1, 1201)
    for kind, (_, ink, _, _, _) in KINDS.items():
        for camber, style in ((CAMBER, "-"), (-CAMBER, (0, (5, 2)))):
            drag, lift = forces(kind, camber, incidence)
            ax.plot(drag, lift, color=ink, linestyle=style, linewidth=1.8)
    ax.axhline(0.0, color=QUIET, linewidth=0.8)
    ax.set_xlim(0.0, 0.085)
    ax.set_ylim(-1.85, 1.95)
    ax.grid(True)
    ax.set_xlabel("profile drag coefficient $C_D$")
    ax.set_ylabel("lift coefficient $C_L$, positive to leeward")
    ax.set_title(
        "Lift and drag with 6 % of camber (full lines) and the same inverted (broken), Reynolds number 2e6",
        loc="left",
    )
    design = sections.design_lift(camber=CAMBER)
    for side, text in ((1.0, "design lift"), (-1.0, "design lift, inverted")):
        ax.axhline(side * design, color=QUIET, linewidth=0.8, linestyle=(0, (2, 2)))
        label(ax, text, 0.0845, side * (design + 0.07), QUIET, align="right")
    inks = {kind: ink for kind, (_, ink, _, _, _) in KINDS.items()}
    label(ax, "solid, 12 % thick", 0.0262, 1.72, inks[sail_sections.SOLID])
    label(ax, "twin skin, 8 % thick, leech 1 % of the chord", 0.0262, 1.56, inks[sail_sections.TWIN_SKIN])
    label(
        ax,
        "single skin: the sharp edge loses its suction\noff the design lift",
        0.053,
        1.02,
        inks[sail_sections.SINGLE_SKIN],
    )
    label(ax, "negative lift, belly to leeward: stalled", 0.0262, -0.14, INK)


def label(ax: Axes, text: str, x: float, y: float, colour: str, align: str = "left") -> None:
    ax.text(x, y, text, color=colour, fontsize=8.8, ha=align, va="center", bbox=plots.HALO)


if __name__ == "__main__":
    main()
