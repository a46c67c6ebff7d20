"""Least drag and most drive under a limited heeling moment: tables and figures of docs/theory/least_drag.md.

    OMP_NUM_THREADS=1 python -m docs.figures.make_least_drag

To be run from the root of the repository, because the questions are asked by `tests/support/least_drag.py`,
as the tests ask them. A minute.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from tests.support import least_drag
from tests.support.least_drag import (
    FOILING_MONOHULL,
    GAP,
    KEELBOAT,
    NO_PLANE,
    SEALED,
    Controls,
    Found,
    FreeTrims,
    LoneSail,
    Rig,
)
from vpp.boat import Boat, Range
from vpp.equilibrium import solve
from vpp.plots import INK, OPTION_INKS, QUIET, styled
from vpp.solved import UPWIND, Conditions

Floats = NDArray[np.float64]

HERE = Path(__file__).parent
KNOT = 1852.0 / 3600.0
BLUE, ORANGE, GREEN, PURPLE = OPTION_INKS[1:5]
PLANES = {"no plane": NO_PLANE, "foot 0.05 spans above a plane": GAP, "foot sealed to a plane": SEALED}
LOOKS = {
    "no plane": (INK, "-", "o"),
    "foot 0.05 spans above a plane": (ORANGE, (0, (6, 2)), "s"),
    "foot sealed to a plane": (BLUE, (0, (2, 1.2)), "^"),
}
# Of the figures of the loads: the foot sealed, the axis a fifth of the span below it.
LEVER = 0.2
# Moment allowed over that of the best force without a limit.
SHARES = np.array([1.0, 0.95, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.35, 0.3, 0.25, 0.22, 0.2, 0.17, 0.15])
TOLD = (1.0, 0.8, 0.6, 0.4, 0.3, 0.25, 0.2, 0.15)
WINDS_KN = (8.0, 14.0, 20.0)


def main() -> None:
    """Print the tables and write the figures beside this script."""
    print_tables()
    figures = {"load": load_figure, "effort": effort_figure, "trims": trims_figure}
    for name, draw in figures.items():
        styled(draw).savefig(HERE / f"least_drag_{name}.png", dpi=150, metadata={"Software": None})


# --- the tool against the closed forms ----------------------------------------------------------------------


def print_tables() -> None:
    """Every number of the theory beside the tool's."""
    print(
        "| wing, root moment over its elliptic value | exact | tool, 40 stations | error |\n|---|---|---|---|"
    )
    shares = np.array([0.9, 0.75, 0.6])
    drag, _ = least_drag.drag_with_root_moment(shares, count=40)
    for share, found in zip(shares, drag, strict=True):
        row(f"{share:g}", 1.0 + 8.0 * (1.0 - share) ** 2, found, 4)
    print("\n| plane | centre of effort, spans | exact | tool, 24 stations | error |\n|---|---|---|---|---|")
    for name, theory in PLANES.items():
        efforts = theory.centre - np.array([0.0, 0.05, 0.10, 0.15])
        drag, _ = least_drag.drag_with_effort_at(efforts, theory)
        for effort, found in zip(efforts, drag, strict=True):
            row(f"{name} | {effort:.4f}", theory.drag_ratio(effort), found, 4)
    print("\n| plane | lever, spans | u | exact x | tool | error |\n|---|---|---|---|---|---|")
    for name, theory in PLANES.items():
        for lever in (0.0, 0.2):
            ratio = np.array([1.5, 2.5, 4.0, 6.0])
            force, _ = least_drag.drive_with_limit(ratio, np.full(4, lever), theory)
            for u, found in zip(ratio, force, strict=True):
                row(f"{name} | {lever:g} | {u:g}", theory.best_force(u, lever), found, 4)
    print("\n| plane | lever, spans | kappa | exact u* | tool | error |\n|---|---|---|---|---|---|")
    for name, theory in PLANES.items():
        for lever in (0.0, 0.1, 0.2, 0.3):
            found = least_drag.ratio_that_unloads_the_head(lever, theory)
            told = f"{name} | {lever:g} | {theory.kappa(lever):.1f}"
            row(told, theory.head_inverts_above(lever), found, 3)
    print("\n| stations | drag, worst of all | side force, worst | u*, worst |\n|---|---|---|---|")
    for count in (12, 16, 24, 40):
        print(f"| {count} | {' | '.join(f'{100 * worst:.2f} %' for worst in errors(count))} |")


def errors(count: int) -> tuple[float, float, float]:
    """Largest error at a number of stations over the planes and the cases of the tables, wings left out."""
    drag, force, ratio = [], [], []
    for theory in PLANES.values():
        efforts = theory.centre - np.array([0.0, 0.05, 0.10, 0.15])
        found, _ = least_drag.drag_with_effort_at(efforts, theory, count=count)
        drag.append(np.abs(found / theory.drag_ratio(efforts) - 1.0).max())
        for lever in (0.0, 0.2):
            asked = np.array([1.5, 2.5, 4.0, 6.0])
            found, _ = least_drag.drive_with_limit(asked, np.full(4, lever), theory, count=count)
            force.append(np.abs(found / theory.best_force(asked, lever) - 1.0).max())
            at = least_drag.ratio_that_unloads_the_head(lever, theory, count=count)
            ratio.append(abs(at / theory.head_inverts_above(lever) - 1.0))
    return float(max(drag)), float(max(force)), float(max(ratio))


def row(told: str, exact: float, found: float, digits: int) -> None:
    """One row of a table of the tool against the exact value."""
    error = round(100.0 * (found / exact - 1.0), 2) + 0.0
    print(f"| {told} | {exact:.{digits}f} | {found:.{digits}f} | {error:+.2f} % |")


def load_figure() -> Figure:
    """Best load along the height for several limits; force, centre of effort and drive against the limit."""
    figure = Figure(figsize=(10.0, 5.4), layout="constrained")
    loads, sums = figure.subplots(1, 2, width_ratios=(1.15, 1.0))
    draw_loads(loads)
    draw_sums(sums)
    return figure


def draw_loads(ax: Axes) -> None:
    """Load over the mean load of the best force without a limit; lines exact, marks the tool's stations."""
    inverts = 1.0 / float(SEALED.head_inverts_above(LEVER))
    limits = np.array([1.0, 0.5, 0.33, inverts, 0.14])
    _, found = least_drag.drive_with_limit(1.0 / limits, np.full(len(limits), LEVER), SEALED)
    mean = best_force(found.sail) / found.sail.span
    height = 0.5 * (1.0 - np.cos(np.linspace(0.02, math.pi, 200)))
    looks = zip((INK, BLUE, GREEN, ORANGE, PURPLE), "osD^v", strict=True)
    for i, (limit, (ink, mark)) in enumerate(zip(limits, looks, strict=True)):
        force = SEALED.best_force(1.0 / limit, LEVER) * limit
        exact = force * least_drag.sealed_loading(height, float(SEALED.best_effort(1.0 / limit, LEVER)))
        ax.plot(exact, height, color=ink, linewidth=1.4)
        note = ": head just unloaded" if limit == inverts else ""
        ax.plot(
            found.load[:, i] / mean,
            found.height,
            mark,
            color=ink,
            markerfacecolor="white",
            markersize=4.5,
            clip_on=False,
            label=f"{100.0 * limit:.0f} %{note}",
        )
    ax.axvline(0.0, color=QUIET, linewidth=0.8)
    ax.annotate(
        "head pushes\nto windward",
        xy=(-0.025, 0.90),
        xytext=(-0.385, 0.66),
        color=PURPLE,
        fontsize=8.5,
        arrowprops={"arrowstyle": "-", "color": PURPLE, "linewidth": 0.8},
    )
    ax.set(xlim=(-0.40, 1.72), ylim=(0.0, 1.02))
    ax.grid(axis="x")
    ax.set_xlabel("force per height over the mean of the best sail without a limit")
    ax.set_ylabel("height above the foot, spans")
    ax.set_title("Best load along the height", loc="left")
    ax.legend(title="heeling moment allowed", frameon=False, loc="upper right", fontsize=8.5)


def draw_sums(ax: Axes) -> None:
    """What gives way as the limit tightens."""
    limits = np.linspace(1.0, 0.10, 100)
    points = np.array([1.0, 0.9, 0.75, 0.6, 0.5, 0.4, 0.33, 0.27, 0.21, 0.17, 0.14])
    _, found = least_drag.drive_with_limit(1.0 / points, np.full(len(points), LEVER), SEALED)
    best = best_force(found.sail)
    most = 0.5 * best * math.sin(found.sail.wind_angle)
    force = SEALED.best_force(1.0 / limits, LEVER)
    drive = SEALED.best_drive(1.0 / limits, LEVER)
    lines = (
        (
            SEALED.best_effort(1.0 / limits, LEVER) / SEALED.centre,
            found.effort / SEALED.centre,
            (ORANGE, "^", "height of the centre of effort above the foot"),
        ),
        (drive, found.drive / most, (INK, "o", "drive")),
        (force * limits, found.across / best, (BLUE, "s", "side force")),
    )
    for exact, tool, (ink, mark, told) in lines:
        ax.plot(100.0 * limits, exact, color=ink, linewidth=1.4)
        ax.plot(
            100.0 * points, tool, mark, color=ink, markerfacecolor="white", markersize=4.5,
            clip_on=False, zorder=3, label=told,
        )  # fmt: skip
    scaled = limits * (2.0 - limits)
    ax.plot(100.0 * limits, scaled, color=INK, linewidth=1.0, linestyle=(0, (3, 2)),
            label="drive, if the load is only scaled down")  # fmt: skip
    ax.legend(frameon=False, loc="lower left", fontsize=8.5)
    inverts = 100.0 / float(SEALED.head_inverts_above(LEVER))
    ax.axvspan(0.0, inverts, color=PURPLE, alpha=0.08, linewidth=0.0)
    ax.text(inverts - 0.8, 1.0, "head to\nwindward", color=PURPLE, ha="left", va="top", fontsize=8.5)
    ax.set(xlim=(100.0, 5.0), ylim=(0.0, 1.02))
    ax.grid()
    ax.set_xlabel("heeling moment allowed, % of that of the best sail without a limit")
    ax.set_ylabel("over the value without a limit")
    ax.set_title("What gives way", loc="left")


def best_force(sail: LoneSail) -> float:
    """Exact best side force without a limit, foot sealed [N]."""
    return SEALED.best_unlimited_force(wind_angle=sail.wind_angle, pressure=sail.pressure, span=sail.span)


def effort_figure() -> Figure:
    """Drag against the height of the centre of effort, and by how much the tool misses it."""
    figure = Figure(figsize=(7.6, 6.6), layout="constrained")
    drags, missed = figure.subplots(2, 1, height_ratios=(3.0, 1.0), sharex=True)
    for name, theory in PLANES.items():
        ink, line, mark = LOOKS[name]
        height = np.linspace(theory.centre - 0.2, theory.centre + 0.06, 120)
        drags.plot(height, theory.drag_ratio(height), color=ink, linestyle=line, linewidth=1.4)
        efforts = theory.centre + np.linspace(-0.19, 0.05, 9)
        drag, _ = least_drag.drag_with_effort_at(efforts, theory)
        marks: dict[str, Any] = {"color": ink, "markerfacecolor": "white", "markersize": 5.0}
        drags.plot(efforts, drag, mark, label=name, **marks)
        missed.plot(efforts, 100.0 * (drag / theory.drag_ratio(efforts) - 1.0), mark, **marks)
        turns = theory.head_unloads_at
        drags.plot(turns, theory.drag_ratio(turns), "|", color=ink, markersize=18.0, markeredgewidth=1.6)
    drags.annotate(
        "bars: head without load;\nto the left of them it pushes to windward",
        xy=(NO_PLANE.head_unloads_at, float(NO_PLANE.drag_ratio(NO_PLANE.head_unloads_at)) + 0.09),
        xytext=(0.40, 2.05),
        fontsize=8.5,
        arrowprops={"arrowstyle": "-", "color": QUIET, "linewidth": 0.8},
    )
    drags.set(ylim=(0.95, 2.9))
    drags.set_ylabel("induced drag over its least")
    drags.set_title("Lines: exact. Marks: the tool, 24 stations", loc="left")
    drags.legend(frameon=False, loc="upper right")
    missed.axhline(0.0, color=QUIET, linewidth=0.8)
    missed.set(ylim=(-0.55, 0.25))
    missed.set_ylabel("tool less exact, %")
    missed.set_xlabel("height of the centre of effort above the foot, spans")
    for ax in (drags, missed):
        ax.grid()
    return figure


# --- what real trims lose -----------------------------------------------------------------------------------


def with_inverting_head(boat: Boat) -> Boat:
    """The boat with a control of its own for the mainsail's head, down to 8 % to windward."""
    main = boat.sails[0]
    inverted = replace(
        main,
        camber_flat=(*main.camber_flat[:-1], -least_drag.DEEPEST_INVERTED),
        head_zone_from_share=0.85,
        head_transition_from_share=0.6,
        head_camber=Range(lower=0.0, upper=1.0),
    )
    return replace(boat, sails=(inverted, *boat.sails[1:]))


def losses(rig: Rig, *, section_drag: bool) -> dict[str, Floats]:
    """Share of the drive of the ideal trim that each other way of setting the sail loses, at `SHARES`."""

    def sail(boat: Boat) -> LoneSail:
        return rig.sail(boat if section_drag else least_drag.without_section_drag(boat))

    base = sail(rig.boat())
    ideal = least_drag.ideal_trim(base, section_drag=section_drag)
    _, moment = least_drag.unlimited(rig, ideal)
    limits = moment * SHARES
    pressing = least_drag.found(rig.asked(ideal, limits, never_to_windward=True))
    # sections that stall have local optima; the better of two starts
    bound = np.maximum(
        least_drag.found(rig.asked(ideal, limits)).drive,
        least_drag.found(rig.asked(ideal, limits), pressing.x).drive,
    )
    inverting = rig.boat("inverted_head") if rig is FOILING_MONOHULL else with_inverting_head(rig.boat())
    ways: dict[str, Controls] = {
        "twist held at zero": FreeTrims(base, held={"main_twist": 0.0}),
        "sheet, twist, camber": FreeTrims(base),
        "the same, head cut": FreeTrims(sail(rig.boat("cut_head"))),
        "the same, head with its own camber": FreeTrims(sail(inverting)),
    }
    found: dict[str, Found] = {
        name: least_drag.found(rig.asked(controls, limits)) for name, controls in ways.items()
    }
    drives = {name: way.drive for name, way in found.items()}
    drives["ideal, but nowhere to windward"] = pressing.drive
    return {name: 1.0 - drive / bound for name, drive in drives.items()}


def sailed(rig: Rig) -> Floats:
    """Heeling moment of the boat's mainsail at her best VMG upwind in `WINDS_KN`, over that of the ideal trim
    without a limit in the same apparent wind.
    """
    boat, count = rig.boat(), len(WINDS_KN)
    asked = Conditions(
        option=np.zeros(count, dtype=np.int64),
        tws=np.array(WINDS_KN) * KNOT,
        twa=np.full(count, np.nan),
        aim=np.full(count, UPWIND),
    )
    solved = solve([boat], asked)
    part = solved.components.index("main")
    heel = solved.quantities["heel"]
    normal = solved.force[part, 1] / np.cos(heel)
    main = boat.sails[0]
    axis = main.foot_height - rig.lever * (main.head_height - main.foot_height)
    moment = -solved.moment[part, 0] - normal * axis
    shares = []
    for angle, speed, each in zip(solved.quantities["awa"], solved.quantities["aws"], moment, strict=True):
        there = replace(rig, wind_angle=float(angle))
        sail = there.sail()
        _, most = least_drag.unlimited(there, least_drag.ideal_trim(sail))
        shares.append(each / most * (sail.wind_speed / speed) ** 2)
    return np.array(shares)


WAYS = {
    "twist held at zero": (QUIET, (0, (4, 2)), "x"),
    "sheet, twist, camber": (INK, "-", "o"),
    "the same, head cut": (GREEN, (0, (6, 2)), "s"),
    "the same, head with its own camber": (BLUE, (0, (2, 1.2)), "D"),
    "ideal, but nowhere to windward": (ORANGE, (0, (7, 2, 1.5, 2)), "^"),
}


def trims_figure() -> Figure:
    """Loss of real trims against the ideal one; prints the same numbers."""
    figure = Figure(figsize=(10.0, 5.6), layout="constrained")
    panels = figure.subplots(1, 2, sharey=True)
    named = {"Mainsail of the boat on foils": FOILING_MONOHULL, "Mainsail of the keelboat": KEELBOAT}
    for ax, (name, rig) in zip(panels, named.items(), strict=True):
        for section_drag in (False, True):
            found = losses(rig, section_drag=section_drag)
            print_losses(f"{name}, {'section as filed' if section_drag else 'induced drag alone'}", found)
        for way, (ink, line, mark) in WAYS.items():
            ax.plot(
                100.0 * SHARES, 100.0 * found[way], color=ink, linestyle=line, marker=mark,
                markersize=4.0, markerfacecolor="white", linewidth=1.3, label=way,
            )  # fmt: skip
        at = sailed(rig)
        print("sailed upwind", dict(zip(WINDS_KN, np.round(at, 2).tolist(), strict=True)))
        mark_winds(ax, at)
        ax.set(xlim=(102.0, 13.0), ylim=(-0.32, 3.0))
        ax.set_xlabel("heeling moment allowed, % of that of the ideal trim without a limit")
        ax.set_title(name, loc="left")
        ax.grid()
    panels[0].set_ylabel("drive lost against the ideal trim, %")
    handles, names = panels[0].get_legend_handles_labels()
    figure.legend(handles, names, frameon=False, loc="outside lower center", ncols=3)
    return figure


def mark_winds(ax: Axes, shares: Floats) -> None:
    """Where the boat's own mainsail stands upwind."""
    for wind, share in zip(WINDS_KN, shares, strict=True):
        ax.plot(100.0 * share, -0.09, "^", color=PURPLE, markersize=6.0)
        ax.text(100.0 * share, -0.15, f"{wind:g} kn", color=PURPLE, fontsize=8.5, ha="center", va="top")


def print_losses(name: str, found: dict[str, Floats]) -> None:
    """A table of the losses in per cent at some of the limits."""
    places: Sequence[int] = [int(np.flatnonzero(share == SHARES)[0]) for share in TOLD]
    print(f"\n{name}\n\n| moment allowed | {' | '.join(f'{100 * share:g} %' for share in TOLD)} |")
    print("|---" * (len(TOLD) + 1) + "|")
    for way in WAYS:
        print(
            f"| {way} | {' | '.join(f'{round(100 * found[way][place], 2) + 0.0:.2f}' for place in places)} |"
        )


if __name__ == "__main__":
    main()
