"""Draw the pictures of the page on planing, and print its numbers: `python docs/figures/make_planing.py`.

A powered boat of 60 000 lb, and an invented skiff of 5 m and 250 kg with its crew at two places; the skiff of
`tests.support.planing_skiff` from rest to planing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray
from scipy.optimize import root

from tests.support import planing_skiff
from vpp import plots
from vpp.physics import planing, planing_handover

Floats = NDArray[np.float64]

HERE = Path(__file__).parent
INK, QUIET = plots.INK, plots.QUIET
KNOT, GRAVITY, FOOT = 1852.0 / 3600.0, 9.80665, 0.3048
DENSITY, VISCOSITY, ALLOWANCE = 1025.0, 1.19e-6, 4e-4
# Crew ahead of midships [m].
CREW_PLACES = (-1.1, -1.4, -1.7)
HANDOVER_SPEEDS = np.arange(2.0, 20.01, 0.25)
FLOATING_SPEEDS = np.arange(2.0, 12.01, 0.25)


@dataclass(frozen=True)
class Craft:
    """A prism that is pushed. `shaft` [rad]: the thrust's direction over the keel's, None for a level thrust;
    `below` [m]: how far its line passes below the centre of mass. `mass_ahead` and `mass_height` [m]: of the
    transom and over the keel.
    """

    said: str
    mass: float
    beam: float
    deadrise: float
    mass_ahead: float
    mass_height: float
    shaft: float | None
    below: float

    def forces(self, speed: float, pitch: float, ride_height: float) -> planing.PlaningForces:
        hull = planing.PlaningHull(
            beam=self.beam,
            deadrise=self.deadrise,
            transom_x=-self.mass_ahead,
            transom_z=-self.mass_height,
            keel_angle=0.0,
        )
        return planing.planing_forces(
            hull=hull,
            speed=np.array([speed]),
            pitch=np.array([pitch]),
            ride_height=np.array([ride_height]),
            water_density=DENSITY,
            water_viscosity=VISCOSITY,
            gravity=GRAVITY,
            roughness_allowance=ALLOWANCE,
        )

    def equilibrium(self, speed: float, start: Floats) -> tuple[Floats, planing.PlaningForces]:
        """Pitch and ride height at which weight, thrust and water balance."""
        weight = self.mass * GRAVITY

        def residuals(x: Floats) -> list[float]:
            found = self.forces(speed, *x)
            direction = 0.0 if self.shaft is None else x[0] + self.shaft
            thrust = found.drag[0] / math.cos(direction)
            carried = found.up[0] + thrust * math.sin(direction)
            moment = found.pitch[0] - thrust * self.below
            return [carried / weight - 1.0, moment / (weight * self.beam)]

        solved = root(residuals, start, tol=1e-11)
        if not solved.success:
            raise RuntimeError(f"{self.said} at {speed / KNOT:.1f} kn: {solved.message}")
        return solved.x, self.forces(speed, *solved.x)


POWERED = Craft(
    "27.2 t, beam 4.27 m", 60_000.0 * 0.45359237, 14.0 * FOOT, math.radians(10.0),
    29.0 * FOOT, 2.0 * FOOT, math.radians(4.0), 0.5 * FOOT,
)  # fmt: skip
SKIFFS = tuple(
    Craft(f"mass {ahead:.1f} m ahead of the transom", 250.0, 1.2, math.radians(10.0), ahead, 0.5, None, -2.5)
    for ahead in (1.0, 1.2)
)


@dataclass(frozen=True)
class Run:
    """A craft over its speeds, lowest first."""

    speed_kn: Floats
    drag_share: Floats
    trim_deg: Floats
    limit_deg: Floats
    within: NDArray[np.bool_]
    states: list[planing.PlaningForces]


def run(craft: Craft, speeds_kn: Floats, start: Floats) -> Run:
    """From the highest speed down, each started from the last."""
    x, states = start, []
    for speed in speeds_kn[::-1]:
        x, found = craft.equilibrium(speed * KNOT, x)
        states.insert(0, found)
    limits = [
        planing.porpoising_trim(lift_coefficient=s.lift_coefficient, deadrise=craft.deadrise)[0]
        for s in states
    ]
    outside = [planing.outside_range(forces=s, deadrise=craft.deadrise) for s in states]
    return Run(
        speed_kn=speeds_kn,
        drag_share=np.array([s.drag[0] for s in states]) / (craft.mass * GRAVITY),
        trim_deg=np.degrees([s.trim[0] for s in states]),
        limit_deg=np.degrees(limits),
        within=np.array([not any(mask[0] for mask in out.values()) for out in outside]),
        states=states,
    )


def main() -> None:
    """Write the picture and print what the page says."""
    powered = run(POWERED, np.arange(12.0, 50.1, 0.5), np.array([0.03, -0.2]))
    skiffs = [run(craft, np.arange(6.0, 22.1, 0.25), np.array([0.03, 0.4])) for craft in SKIFFS]
    say("powered", powered, (15.0, 20.0, 25.0, 30.0, 40.0, 50.0))
    for craft, found in zip(SKIFFS, skiffs, strict=True):
        say(craft.said, found, (8.0, 10.0, 12.0, 15.0, 18.0, 20.0))
    say_buoyancy()
    say_shuford()
    plots.styled(lambda: build(powered, skiffs)).savefig(HERE / "planing.png", dpi=160)
    whole = [planing_skiff.run(x, HANDOVER_SPEEDS) for x in CREW_PLACES]
    floats = planing_skiff.run(CREW_PLACES[1], FLOATING_SPEEDS, part="afloat")
    say_handover(whole)
    say_roll()
    plots.styled(lambda: build_handover(whole, floats)).savefig(HERE / "planing_handover.png", dpi=160)


def lift(trim: float, ratio: float, froude: float, deadrise: float) -> float:
    flat = planing.flat_plate_lift(trim=trim, length_beam_ratio=np.array(ratio), speed_coefficient=froude)
    return float(planing.deadrise_lift(flat_plate_lift=flat, deadrise=deadrise))


def buoyancy(trim: float, ratio: float, deadrise: float) -> float:
    """Volume over b^3 that the same bottom displaces in still water at the same draught, transom wet."""
    keel = ratio + math.tan(deadrise) / (2.0 * math.pi * math.tan(trim))
    depth = np.linspace(0.0, keel, 20001) * math.tan(trim)
    corner = 0.5 * math.tan(deadrise)
    area = np.where(depth > corner, depth - 0.5 * corner, depth**2 / math.tan(deadrise))
    return float(np.trapezoid(area, depth / math.tan(trim)))


def say_buoyancy() -> None:
    """The law's vertical force over still water's, and the flat plate's dynamic part of it."""
    trim, deadrise = math.radians(4.0), math.radians(10.0)
    print("vertical force over buoyancy, dynamic share; trim 4 deg, deadrise 10 deg")
    for ratio in (2.0, 3.0, 4.0):
        for froude in (0.6, 1.0, 1.5, 2.0, 3.0):
            over = 0.5 * froude**2 * lift(trim, ratio, froude, deadrise) / buoyancy(trim, ratio, deadrise)
            share = lift(trim, ratio, 1e9, 0.0) / lift(trim, ratio, froude, 0.0)
            print(f"  l {ratio:.0f}  Cv {froude:.1f}  {over:.2f}  {share:.2f}")


def say_shuford() -> None:
    """The flat plate's dynamic lift over that of another author."""
    print("dynamic lift over Shuford's")
    for ratio in (1.0, 2.0, 4.0):
        row = []
        for trim in np.radians((2.0, 4.0, 6.0, 10.0, 15.0)):
            linear = 0.5 * math.pi * trim / (ratio + 1.0) * math.cos(trim) ** 2
            cross_flow = 4.0 / 3.0 * math.sin(trim) ** 2 * math.cos(trim) ** 3
            row.append(f"{lift(trim, ratio, 1e9, 0.0) / ratio / (linear + cross_flow):.2f}")
        print(f"  l {ratio:.0f} ", *row)


def say(said: str, found: Run, speeds_kn: tuple[float, ...]) -> None:
    print(said)
    for speed in speeds_kn:
        i = int(np.argmin(np.abs(found.speed_kn - speed)))
        state = found.states[i]
        print(
            f"{speed:5.1f} kn  Cv {float(state.speed_coefficient[0]):.2f}  trim {found.trim_deg[i]:.2f} deg"
            f"  limit {found.limit_deg[i]:.2f}  l {state.length_beam_ratio[0]:.2f}"
            f"  keel {state.keel_length[0]:.2f} m  drag/weight {found.drag_share[i]:.3f}"
            f"  {'within' if found.within[i] else 'outside'}"
        )


def say_handover(whole: list[planing_skiff.Run]) -> None:
    for crew_x, found in zip(CREW_PLACES, whole, strict=True):
        print(f"crew at {crew_x} m")
        for i in range(0, len(HANDOVER_SPEEDS), 8):
            load, state = found.water[i].whole, found.water[i].forces
            parts = [float(np.ravel(x)[0]) for x in (load.friction, load.waves, load.planing_drag)]
            print(
                f"{HANDOVER_SPEEDS[i]:5.1f} kn  pitch {math.degrees(found.pitch[i]):5.2f} deg  ride height "
                f"{found.ride_height[i]:.3f} m  drag/weight {found.drag_share[i]:.4f} (friction, waves, law "
                + ", ".join(f"{part / planing_skiff.WEIGHT:.4f}" for part in parts)
                + f")  l {state.length_beam_ratio[0]:.2f}  keel {state.keel_length[0]:.2f} m"
                f"  sunk/weight {state.sunk_up[0] / planing_skiff.WEIGHT:.2f}"
            )
    for one, other in ((0, 1), (1, 2)):
        change = 1e3 * (whole[other].drag_share - whole[one].drag_share)
        print(f"aft less forward, 1000 drag/weight, {CREW_PLACES[one]} to {CREW_PLACES[other]} m")
        print("  ", *(f"{v:.0f}:{c:+.1f}" for v, c in zip(HANDOVER_SPEEDS[::4], change[::4], strict=True)))


def say_roll() -> None:
    """Roll stiffness over lift about the keel, and that of still water on the same wetted plan."""
    hull = planing_skiff.BOTTOM
    print("roll stiffness over lift, m: planing, still water; at 15 deg of heel over that at none")
    for speed_kn, trim_deg, ratio in ((10.0, 2.9, 3.0), (14.0, 2.6, 2.7), (18.0, 2.0, 2.6)):
        speed, trim = np.full(3, speed_kn * KNOT), np.full(3, math.radians(trim_deg))
        heel = np.array([0.0, 1e-4, math.radians(15.0)])
        rise = np.tan(hull.deadrise) / (2.0 * math.pi * np.tan(trim))
        height = -(ratio + rise) * hull.beam * np.sin(trim)
        pitch = trim - hull.keel_angle
        height = height - hull.transom_x * np.sin(pitch) - hull.transom_z * np.cos(pitch)
        found = planing_skiff.forces(speed, pitch, heel, height)
        keel_z = hull.transom_z + found.pressure_centre * np.sin(hull.keel_angle)
        about_keel = found.roll - found.up * keel_z * np.sin(heel)
        plan = planing_skiff.DENSITY * GRAVITY * hull.beam**4 * ratio / 12.0
        print(
            f"  {speed_kn:.0f} kn  {about_keel[1] / heel[1] / found.up[1]:.2f}  {plan / found.up[0]:.2f}"
            f"  {about_keel[2] / math.sin(heel[2]) * heel[1] / about_keel[1]:.2f}"
        )


def build_handover(whole: list[planing_skiff.Run], floats: planing_skiff.Run) -> Figure:
    """Drag, trim and ride height of the skiff over speed, its crew at three places."""
    figure = Figure(figsize=(9.6, 8.2), layout="constrained")
    axes = figure.subplots(3, 1, sharex=True)
    unit = planing_handover.volumetric_froude_number(speed=KNOT, volume=planing_skiff.VOLUME, gravity=GRAVITY)
    for ax in axes:
        ax.axvspan(
            *(x / unit for x in planing_handover.HANDOVER_RANGE), color=QUIET, alpha=0.12, linewidth=0.0
        )
        ax.grid(True)
    for crew_x, found, ink in zip(CREW_PLACES, whole, plots.OPTION_INKS[1:], strict=False):
        said = f"crew {planing_skiff.LENGTH / 2.0 + crew_x:.1f} m ahead of the transom"
        curves = (found.drag_share, np.degrees(found.pitch), 100.0 * found.ride_height)
        for ax, values in zip(axes, curves, strict=True):
            ax.plot(found.speed_kn, values, color=ink, linewidth=1.8, label=said)
    curves = (floats.drag_share, np.degrees(floats.pitch), 100.0 * floats.ride_height)
    for ax, values in zip(axes, curves, strict=True):
        ax.plot(
            floats.speed_kn, values, color=INK, linewidth=1.1, linestyle=(0, (1, 1.6)),
            label="the middle one, did it only float",
        )  # fmt: skip
    axes[0].set_title("Invented skiff, 270 kg, run 8 cm up at the transom; shaded: hand-over", loc="left")
    axes[0].legend(loc="upper left", frameon=False)
    axes[0].set_ylabel("drag over weight")
    axes[1].set_ylabel("pitch, deg")
    axes[2].set_ylabel("ride height, cm")
    axes[2].set_xlabel("speed, kn")
    axes[2].set_xlim(HANDOVER_SPEEDS[0], HANDOVER_SPEEDS[-1])
    return figure


def build(powered: Run, skiffs: list[Run]) -> Figure:
    figure = Figure(figsize=(9.6, 6.6), layout="constrained")
    axes = figure.subplots(2, 2, sharex="col")
    inks = (plots.OPTION_INKS[1], plots.OPTION_INKS[2])
    draw(axes[:, 0], [powered], inks[:1])
    draw(axes[:, 1], skiffs, inks)
    axes[0, 0].set_title("Powered boat, 27.2 t, beam 4.27 m, deadrise 10 deg", loc="left")
    axes[0, 1].set_title("Invented skiff, 250 kg, beam 1.2 m, deadrise 10 deg", loc="left")
    for ax in axes[0]:
        ax.set_ylim(0.0, 0.32)
    for ax in axes[1]:
        ax.set_ylim(0.0, 8.0)
        ax.set_xlabel("speed, kn")
    axes[0, 0].set_ylabel("drag over weight")
    axes[1, 0].set_ylabel("trim, deg")
    axes[0, 0].set_xlim(12.0, 50.0)
    axes[0, 1].set_xlim(6.0, 22.0)
    for ax in axes.flat:
        ax.grid(True)
    label(axes[0, 0], "dotted: outside the range of the source", 13.0, 0.29, INK)
    label(axes[1, 0], "long: over 4 beams wetted", 14.0, 1.05, inks[0])
    label(axes[1, 0], "flat: below 2 deg", 39.0, 1.05, inks[0])
    label(axes[1, 0], "limit of porpoising, from memory", 29.5, 6.6, INK)
    label(axes[0, 1], SKIFFS[0].said, 13.4, 0.115, inks[0])
    label(axes[0, 1], SKIFFS[1].said, 8.4, 0.215, inks[1])
    label(axes[1, 1], "mass 1.0 m ahead", 6.3, 4.75, inks[0])
    label(axes[1, 1], "mass 1.2 m ahead", 6.3, 2.45, inks[1])
    label(axes[1, 1], "limit of porpoising, from memory", 11.4, 6.2, INK)
    return figure


def draw(axes: Floats, runs: list[Run], inks: tuple[str, ...]) -> None:
    """Drag above, trim and its limit below."""
    for found, ink in zip(runs, inks, strict=True):
        for ax, values in zip(axes, (found.drag_share, found.trim_deg), strict=True):
            ax.plot(found.speed_kn, np.where(found.within, values, np.nan), color=ink, linewidth=1.8)
            ax.plot(
                found.speed_kn, np.where(found.within, np.nan, values), color=ink, linewidth=1.1,
                linestyle=(0, (1, 1.6)),
            )  # fmt: skip
    # the limit hangs on load and deadrise alone, so that one line holds for all places of the mass
    axes[1].plot(runs[0].speed_kn, runs[0].limit_deg, color=INK, linewidth=1.2, linestyle=(0, (6, 2)))


def label(ax: Axes, text: str, x: float, y: float, colour: str) -> None:
    ax.text(x, y, text, color=colour, fontsize=8.5, va="center", bbox=plots.HALO)


if __name__ == "__main__":
    main()
