"""How many stations a sail needs, and where: makes docs/figures/stations.png and prints the tables behind it.

    OMP_NUM_THREADS=1 python docs/figures/make_stations.py

Exact cases: the best loading of a sail at a gap above a plane, and lone wings. Rigs: the demo boats at the
states and trims below, theirs at best VMG upwind and on a reach, for the base and two options; drive, side
force and its height are held against a line of 120 stations a sail.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from unittest.mock import patch

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray
from scipy.special import ellipe, ellipj, ellipk

from vpp import balance, config, fleets, plots
from vpp.boat import Boat, Sail
from vpp.physics import lifting_line
from vpp.physics.lifting_line import Mirror, SailLine
from vpp.physics.sails import SailTrim
from vpp.state import State

FloatArray = NDArray[np.float64]
Stations = tuple[FloatArray, FloatArray]
Placement = Callable[[Sail, float, int], Stations]
Trimmed = tuple[tuple[float, ...], ...]

HERE = Path(__file__).parent
KNOT = 1852.0 / 3600.0
FINE = 120
COUNTS = (6, 8, 10, 12, 14, 16, 20, 24, 32)
PLANE = Mirror(deck_height=0.0, deck_half_width=math.inf, leakage=0.0)
GAPS = (0.001, 0.01, 0.1)
# TWS kn, TWA deg, boat speed m/s, leeway, heel, pitch deg, ride height m; then main and jib: sheet and twist
# deg, camber between flattest 0 and fullest 1.
STATES = {
    "keelboat": (
        ((8.0, 44.7, 2.63, 4.1, 10.7, 0.0, 0.0), (3.3, 7.2, 1.0), (16.7, 14.3, 0.83)),
        ((14.0, 40.7, 3.15, 4.5, 23.4, 0.0, 0.0), (12.2, 1.6, 1.0), (19.1, 9.4, 0.0)),
        ((20.0, 39.9, 3.25, 4.5, 25.0, 0.0, 0.0), (13.9, 7.0, 0.35), (21.9, 14.1, 0.0)),
        ((14.0, 100.0, 4.11, 1.4, 12.3, 0.0, 0.0), (33.3, 25.0, 1.0), (43.3, 25.0, 1.0)),
    ),
    "foiling_monohull": (
        ((14.0, 48.4, 12.83, -1.3, -3.5, -2.0, 0.48), (9.1, 9.2, 0.47), (13.4, 23.2, 0.0)),
        ((20.0, 45.9, 14.83, -1.0, -2.2, -2.0, 0.46), (8.8, 15.4, 0.13), (15.1, 17.9, 0.0)),
        ((14.0, 100.0, 19.45, 0.7, 3.5, -1.5, 1.08), (8.8, 15.8, 0.34), (13.5, 23.5, 0.0)),
    ),
}
OPTIONS = {
    "keelboat": ("base", "long_luff", "cut_head"),
    "foiling_monohull": ("base", "low_luff", "cut_head"),
}
SAID = {"keelboat": "keelboat", "foiling_monohull": "foiling monohull"}
MAINS, JIBS = (6, 8, 10, 12, 14, 16, 20, 24), (8, 10, 12)
FILED = {"keelboat": (14, 8), "foiling_monohull": (12, 8)}


# --- placements ---------------------------------------------------------------------------------------------


def in_angle(sail: Sail, gap: float, count: int) -> Stations:
    """As the lifting line does it."""
    return lifting_line.stations(lower=sail.lower_edge_height, upper=sail.head_height, count=count)


def in_height(sail: Sail, gap: float, count: int) -> Stations:
    """Strips of one height, stations in their middle."""
    heights = np.linspace(sail.lower_edge_height, sail.head_height, 2 * count + 1)
    return heights[::2], heights[1::2]


def above_a_plane(*, gap: float, span: float, count: int) -> Stations:
    """Spaced evenly in the argument of the elliptic function that describes the best loading at a gap.

    Even in angle far from the plane, bunched to the foot without end as the gap closes.
    """
    parameter = 1.0 - (gap / (gap + span)) ** 2
    argument = ellipk(parameter) * (1.0 - np.arange(2 * count + 1) / (2 * count))
    heights = (gap + span) * ellipj(argument, parameter)[2] - gap
    heights[0], heights[-1] = 0.0, span
    return heights[::2], heights[1::2]


def to_the_foot(sail: Sail, gap: float, count: int) -> Stations:
    """Bunched as the gap asks."""
    span = sail.head_height - sail.lower_edge_height
    nodes, controls = above_a_plane(gap=gap, span=span, count=count)
    return sail.lower_edge_height + nodes, sail.lower_edge_height + controls


def wide_to_the_foot(sail: Sail, gap: float, count: int) -> Stations:
    """Bunched as if the gap were ten times as wide."""
    return to_the_foot(sail, 10.0 * gap, count)


def at_corners(sail: Sail, gap: float, count: int) -> Stations:
    """Even in angle between nodes that are moved to the corners of the chord line."""
    low, high = sail.lower_edge_height, sail.head_height
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    index, angle = [0], [0.0]
    for corner in sail.corners[1:-1]:
        there = math.acos((middle - corner) / half)
        nearest = round(there / math.pi * count)
        if index[-1] < nearest < count:
            index.append(nearest)
            angle.append(there)
    nodes = np.interp(np.arange(count + 1), [*index, count], [*angle, math.pi])
    controls = 0.5 * (nodes[:-1] + nodes[1:])
    return middle - half * np.cos(nodes), middle - half * np.cos(controls)


SMOOTH = "even in angle, smooth wakes (the tool)"
PLACEMENTS: dict[str, Placement] = {
    "even in angle": in_angle,
    "even in height": in_height,
    "bunched to the foot": to_the_foot,
    "the same, ten times wider": wide_to_the_foot,
    "nodes at corners of the chord": at_corners,
}


# --- exact cases --------------------------------------------------------------------------------------------


def best_e(stations: Stations, mirror: Mirror) -> float:
    """e of the loading of least induced drag on a span of 1."""
    nodes, controls = stations
    line = SailLine(node_height=nodes, control_height=controls, x=0.0 * controls, chord=1.0 + 0.0 * controls)
    gamma = np.linalg.solve(-lifting_line.self_influence(line=line, mirror=mirror), np.ones(len(controls)))
    return float(np.sum(gamma * line.width)) / (0.5 * math.pi)


def exact_e(gap: float) -> float:
    """The same in closed form."""
    if gap == 0.0:
        return 2.0
    upper = 1.0 + gap
    parameter = 1.0 - (gap / upper) ** 2
    return float(2.0 * (upper**2 + gap**2 - 2.0 * upper**2 * ellipe(parameter) / ellipk(parameter)))


def gap_errors(gap: float, *, bunched: bool) -> list[float]:
    """Error of e for every count [%]."""
    errors = []
    for count in COUNTS:
        nodes, controls = (
            above_a_plane(gap=gap, span=1.0, count=count)
            if bunched
            else lifting_line.stations(lower=0.0, upper=1.0, count=count)
        )
        found = best_e((nodes + gap, controls + gap), PLANE)
        errors.append(100.0 * abs(found / exact_e(gap) - 1.0))
    return errors


def wing_errors(*, elliptic: bool) -> tuple[list[float], list[float]]:
    """Error of the lift slope and of the induced drag at given lift, wing of aspect ratio 6 [%]."""
    delta, tau = (0.0, 0.0) if elliptic else (0.0483, 0.1607)
    exact_slope = 2.0 * math.pi / (1.0 + (1.0 + tau) / 3.0)
    slopes, drags = [], []
    for count in COUNTS:
        nodes, z = lifting_line.stations(lower=-0.5, upper=0.5, count=count)
        chord = (4.0 / math.pi * np.sqrt(1.0 - 4.0 * z**2) if elliptic else np.ones(count)) / 6.0
        line = SailLine(node_height=nodes, control_height=z, x=0.0 * z, chord=chord)
        influence = lifting_line.self_influence(line=line, mirror=None)
        gamma = np.linalg.solve(np.eye(count) - math.pi * chord[:, None] * influence, math.pi * chord)
        lift = 12.0 * float(np.sum(gamma * line.width))
        drag = -12.0 * float(np.sum(gamma * (influence @ gamma) * line.width))
        slopes.append(100.0 * abs(lift / exact_slope - 1.0))
        drags.append(100.0 * abs(6.0 * math.pi * drag / lift**2 / (1.0 + delta) - 1.0))
    return slopes, drags


# --- rigs ---------------------------------------------------------------------------------------------------


@cache
def boat(name: str, option: str) -> Boat:
    return config.load(HERE.parents[1] / "configs" / f"{name}.toml").boat(option)


def gap_below(sail: Sail, rig_deck: float) -> float:
    return sail.lower_edge_height - (rig_deck if sail.deck_height is None else sail.deck_height)


def stepped_wake(line: SailLine) -> tuple[SailLine, FloatArray]:
    """The wake as the sail's own strips shed it, in steps."""
    return line, np.eye(len(line.control_height))


def on_rig(
    one: Boat, placement: Placement, counts: tuple[int, ...], states: Sequence[Trimmed], *, smooth: bool
) -> FloatArray:
    """Drive, side force and height of the side force of every state, (states, 3).

    The smooth wake of the tool, by a sine series, is for stations even in angle.
    """
    sails = tuple(replace(sail, station_count=n) for sail, n in zip(one.sails, counts, strict=True))
    stationed = replace(one, sails=sails)
    plain = lifting_line.stations

    def stations(*, lower: float, upper: float, count: int) -> Stations:
        asked = (lower, upper, count)
        for sail in sails:
            if (sail.lower_edge_height, sail.head_height, sail.station_count) == asked:
                with patch.object(lifting_line, "stations", plain):
                    return placement(sail, gap_below(sail, one.rig.deck_height), count)
        return plain(lower=lower, upper=upper, count=count)

    wake = lifting_line.smooth_wake if smooth else stepped_wake
    with (
        patch.object(lifting_line, "stations", stations),
        patch.object(lifting_line, "smooth_wake", wake),
    ):
        fleet = fleets.fleet([stationed])
    (tws, twa, speed, leeway, heel, pitch, ride), *trims = (
        np.array(part).T for part in zip(*states, strict=True)
    )
    boats, wake = fleet.select(np.zeros(len(states), dtype=np.intp))
    state = State(
        boat_speed=speed,
        leeway=np.radians(leeway),
        heel=np.radians(heel),
        pitch=np.radians(pitch),
        ride_height=ride,
        rudder=0.0 * speed,
        crew_arm=0.0 * speed,
        crew_x=0.0 * speed,
        trims=tuple(
            SailTrim(
                sheet=np.radians(sheet), twist=np.radians(twist), camber=camber, head_camber=0.0 * camber
            )
            for sheet, twist, camber in trims
        ),
    )
    wind = balance.true_wind(boats=boats, tws=tws * KNOT, twa=np.radians(twa), ride_height=ride)
    _, loads = balance.strips(fleet_layout=fleet.layout, boats=boats, wake=wake, wind=wind, state=state)
    side = loads.leeward.sum(axis=0)
    height = (loads.leeward * boats.rig.height).sum(axis=0) / side
    return np.stack([loads.forward.sum(axis=0), side, height], axis=-1)


def all_options(
    name: str, placement: Placement, counts: tuple[int, int], *, smooth: bool = True
) -> FloatArray:
    """(options, states, 3)."""
    return np.stack(
        [
            on_rig(boat(name, option), placement, counts, STATES[name], smooth=smooth)
            for option in OPTIONS[name]
        ]
    )


@cache
def fine(name: str) -> FloatArray:
    return all_options(name, in_angle, (FINE, FINE))


def rig_errors(
    name: str, placement: Placement, counts: tuple[int, int], *, smooth: bool = True
) -> tuple[FloatArray, FloatArray]:
    """Errors (options, states, 3) of drive, side force and height, and of what the options change of them,
    both in % of the base's.
    """
    found, exact = all_options(name, placement, counts, smooth=smooth), fine(name)
    error = 100.0 * (found - exact) / exact[:1]
    return error, error[1:] - error[:1]


def size(errors: FloatArray) -> float:
    """Root of the mean square."""
    return float(np.sqrt(np.mean(errors**2)))


# --- drawing ------------------------------------------------------------------------------------------------


def axes_for_errors(ax: Axes, title: str, ylabel: str) -> None:
    ax.set_title(title, loc="left")
    ax.set_yscale("log")
    ax.set_ylabel(ylabel)
    ax.yaxis.set_major_formatter(mpl.ticker.FuncFormatter(lambda value, _: f"{value:g}"))
    ax.grid(which="major")


def counts_axis(ax: Axes, counts: tuple[int, ...], label: str) -> None:
    ax.set_xscale("log")
    ax.set_xticks(counts, [str(count) for count in counts])
    ax.minorticks_off()
    ax.set_xlabel(label)


def line_label(
    ax: Axes, x: float, y: float, text: str, color: str, side: str, shift: tuple[int, int]
) -> None:
    ax.annotate(
        text, (x, y), xytext=shift, textcoords="offset points", color=color, fontsize=8.0, ha=side,
        va="center", bbox=plots.HALO,
    )  # fmt: skip


def draw_gaps(ax: Axes) -> None:
    axes_for_errors(ax, "Exact: best sail above a plane", "error of e, %")
    for gap, ink in zip(GAPS, plots.OPTION_INKS, strict=False):
        even, bunched = gap_errors(gap, bunched=False), gap_errors(gap, bunched=True)
        ax.plot(COUNTS, even, color=ink, marker="o", markersize=3.5, linewidth=1.4)
        ax.plot(
            COUNTS, bunched, color=ink, linestyle=(0, (4, 1.5)), marker="s", markersize=3.0, linewidth=1.1
        )
        print(f"gap {gap}: even in angle", np.round(even, 4), "bunched", np.round(bunched, 4))
        at = {0.001: 4, 0.01: 3, 0.1: 0}[gap]
        line_label(ax, COUNTS[at], even[at], f"gap {gap:g} span", ink, "left", (8, 6 if at else 9))
    ax.set_ylim(1e-4, 300.0)
    ax.plot([], [], color=plots.QUIET, marker="o", markersize=3.5, label="even in angle")
    ax.plot(
        [],
        [],
        color=plots.QUIET,
        linestyle=(0, (4, 1.5)),
        marker="s",
        markersize=3.0,
        label="bunched to the foot",
    )
    ax.legend(handlelength=3.5, frameon=False, fontsize=8.0, loc="upper right")
    counts_axis(ax, COUNTS, "stations")


def draw_wings(ax: Axes) -> None:
    axes_for_errors(ax, "Exact: lone wings of aspect ratio 6", "error, %")
    rectangular, elliptic = wing_errors(elliptic=False), wing_errors(elliptic=True)
    print("rectangular: slope", np.round(rectangular[0], 3), "drag", np.round(rectangular[1], 3))
    print("elliptic: slope", np.round(elliptic[0], 3), "drag", np.max(elliptic[1]))
    for values, text, ink, line in (
        (rectangular[1], "rectangular: induced drag at given lift", plots.OPTION_INKS[0], "-"),
        (rectangular[0], "rectangular: lift slope", plots.OPTION_INKS[1], (0, (6, 2))),
        (elliptic[0], "elliptic: lift slope", plots.OPTION_INKS[2], (0, (2, 1.5))),
    ):
        ax.plot(
            COUNTS, values, color=ink, linestyle=line, marker="o", markersize=3.5, linewidth=1.4, label=text
        )
    ax.set_ylim(5e-3, 5.0)
    ax.legend(frameon=False, fontsize=8.0, loc="upper right", handlelength=3.5)
    ax.text(
        0.03,
        0.05,
        "sealed foot, e of the elliptic wing:\nexact at any number",
        transform=ax.transAxes,
        fontsize=8.0,
        color=plots.INK,
    )
    counts_axis(ax, COUNTS, "stations, even in angle")


def draw_placements(ax: Axes) -> None:
    axes_for_errors(
        ax, "Demo rigs: where the stations are", "rms error of drive, side force and its height, %"
    )
    shown = [(SMOOTH, in_angle), *PLACEMENTS.items()]
    for (text, placement), ink, line in zip(shown, plots.OPTION_INKS, plots.OPTION_LINES, strict=False):
        smooth = text == SMOOTH
        errors = [
            [rig_errors(name, placement, (count, count), smooth=smooth) for name in STATES]
            for count in COUNTS
        ]
        total = [float(np.sqrt(np.mean([size(each[0]) ** 2 for each in one]))) for one in errors]
        gains = [float(np.sqrt(np.mean([size(each[1]) ** 2 for each in one]))) for one in errors]
        print(f"{text}: error", np.round(total, 3), "of what options change", np.round(gains, 3))
        first = smooth
        ax.plot(
            COUNTS, total, color=ink, linestyle=line, marker="o", markersize=4.0 if first else 2.5,
            linewidth=2.0 if first else 1.1, label=text, zorder=3 if first else 2,
        )  # fmt: skip
    ax.set_ylim(bottom=2e-3)  # room for the legend below the curves
    ax.legend(frameon=False, fontsize=8.0, loc="lower left", handlelength=3.5)
    counts_axis(ax, COUNTS, "stations in each sail")


def draw_pairs(ax: Axes) -> None:
    axes_for_errors(ax, "Demo rigs: stations of main and jib", "rms error as on the left, %")
    for name, ink in (("keelboat", plots.OPTION_INKS[2]), ("foiling_monohull", plots.OPTION_INKS[1])):
        print(f"\n| {SAID[name]}, main + jib | largest error, % | of what options change |\n|---|---|---|")
        found = {}
        for jib in JIBS:
            for main in MAINS:
                error, change = rig_errors(name, in_angle, (main, jib))
                found[main, jib] = size(error)
                print(f"| {main} + {jib} | {largest(error)} | {largest(change)} |")
        for jib, line in zip(JIBS, ("-", (0, (6, 2)), (0, (2, 1.5))), strict=True):
            ax.plot(
                MAINS, [found[main, jib] for main in MAINS], color=ink, linestyle=line, marker="o",
                markersize=2.5, linewidth=1.2, label=f"{SAID[name]}, {jib} in the jib",
            )  # fmt: skip
        pair = FILED[name]
        ax.plot(
            pair[0], found[pair], linestyle="", marker="o", markersize=8.0, color=ink,
            label=f"as filed: {pair[0]} and {pair[1]}",
        )  # fmt: skip
    ax.set_ylim(0.06, 9.0)
    ax.legend(frameon=False, fontsize=7.5, loc="upper right", handlelength=3.5)
    counts_axis(ax, MAINS, "stations in the main, even in angle")


def largest(errors: FloatArray) -> str:
    """The largest of drive, side force and height."""
    return " / ".join(f"{value:.2f}" for value in np.abs(errors).max(axis=(0, 1)))


def build() -> Figure:
    figure = Figure(figsize=(10.0, 7.6), layout="constrained")
    axes = figure.subplots(2, 2)
    for ax, draw in zip(axes.flat, (draw_gaps, draw_wings, draw_placements, draw_pairs), strict=True):
        draw(ax)
    figure.suptitle("Lifting line: error against the number of stations", x=0.012, ha="left", fontsize=11.0)
    return figure


if __name__ == "__main__":
    plots.styled(build).savefig(HERE / "stations.png", dpi=150)
