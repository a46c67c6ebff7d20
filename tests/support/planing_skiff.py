"""An invented skiff of 4.6 m and 270 kg on its planing bottom, upright and pushed, for tests and for the
figure of the page on planing.

Two crew of 160 kg together stand where they are told. A level push 2.2 m above the water plane takes the
place of sails and foils: it pushes the bow down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import root

from vpp.physics import hull, hull_form, hull_sections, planing, planing_handover, section_waves
from vpp.physics.hull_form import Columns, WaveTable

Floats = NDArray[np.float64]

KNOT, GRAVITY, DENSITY, VISCOSITY, ALLOWANCE = 1852.0 / 3600.0, 9.80665, 1025.0, 1.19e-6, 4e-4
LENGTH, BEAM, DEADRISE, DRAUGHT, RISE = 4.6, 1.1, math.radians(8.0), 0.134, 0.08
HULL_MASS, CREW_MASS = 110.0, 160.0
WEIGHT = (HULL_MASS + CREW_MASS) * GRAVITY
VOLUME = WEIGHT / (DENSITY * GRAVITY)
HULL_MASS_X, MASS_Z, PUSH_Z = -0.2, 0.45, 2.2
SHAPE = hull_sections.chined_shape(
    waterline_length=LENGTH,
    chine_beam=BEAM,
    deadrise=DEADRISE,
    canoe_draught=DRAUGHT,
    entry_share=0.5,
    freeboard=0.4,
    transom_x=-0.5 * LENGTH,
    transom_rise=RISE,
)
FORM = hull_sections.drawn_form(shape=SHAPE)
BOTTOM = planing.PlaningHull(
    beam=BEAM,
    deadrise=DEADRISE,
    transom_x=-0.5 * LENGTH,
    transom_z=RISE - DRAUGHT,
    keel_angle=hull_sections.run_angle(waterline_length=LENGTH, transom_rise=RISE),
)
FULLNESS = planing_handover.bottom_fullness(hull=BOTTOM, bottom_length=LENGTH, volume=FORM.volume)


@dataclass(frozen=True)
class Water:
    """The water's loads at one attitude: of the floating hull, of the planing bottom, and handed over."""

    afloat: planing_handover.HullLoad
    planing: planing_handover.HullLoad
    whole: planing_handover.HullLoad
    forces: planing_handover.HeeledPlaningForces


@dataclass(frozen=True)
class Run:
    """Equilibria over speed: pitch [rad], ride height [m], drag over weight, and the water's loads."""

    speed_kn: Floats
    pitch: Floats
    ride_height: Floats
    drag_share: Floats
    water: list[Water]


@cache
def columns() -> Columns:
    built = hull_sections.section_columns(shape=SHAPE)
    return Columns(**{f.name: np.asarray(getattr(built, f.name))[:, None] for f in fields(built)})


@cache
def waves() -> WaveTable:
    built = section_waves.section_wave_table(shape=SHAPE, waterline_length=LENGTH)
    return replace(built, coefficients=built.coefficients[..., None])


def forces(speed: Any, pitch: Any, heel: Any, ride_height: Any) -> planing_handover.HeeledPlaningForces:
    return planing_handover.extended_planing_forces(
        hull=BOTTOM,
        bottom_length=LENGTH,
        bottom_fullness=FULLNESS,
        speed=speed,
        pitch=pitch,
        heel=heel,
        ride_height=ride_height,
        water_density=DENSITY,
        water_viscosity=VISCOSITY,
        gravity=GRAVITY,
        roughness_allowance=ALLOWANCE,
    )


def water(speed: Any, pitch: Any, heel: Any, ride_height: Any) -> Water:
    """(conditions,) each."""
    still = hull_form.buoyancy(
        columns=columns(),
        ride_height=ride_height,
        heel=heel,
        pitch=pitch,
        water_density=DENSITY,
        gravity=GRAVITY,
    )
    friction = hull.frictional_resistance(
        speed=speed,
        wetted_area=still.wetted_area,
        waterline_length=LENGTH,
        water_density=DENSITY,
        water_viscosity=VISCOSITY,
        form_factor=0.0,
    )
    level_waves = hull_form.wave_resistance(
        froude_number=speed / math.sqrt(GRAVITY * LENGTH),
        volume=still.volume,
        drawn_volume=FORM.volume,
        waterline_length=LENGTH,
        table=waves(),
        water_density=DENSITY,
        gravity=GRAVITY,
    )
    transom = planing_handover.transom_drag_by_trim(
        hull=BOTTOM,
        level_x=FORM.buoyancy_centre_x,
        speed=speed,
        pitch=pitch,
        heel=heel,
        ride_height=ride_height,
        water_density=DENSITY,
        gravity=GRAVITY,
    )
    afloat = planing_handover.HullLoad(
        friction=friction,
        waves=level_waves + transom,
        planing_drag=0.0,
        up=still.up,
        roll=still.roll,
        pitch=still.pitch,
    )
    planes = forces(speed, pitch, heel, ride_height)
    load = planing_handover.planing_load(forces=planes, floating_waves=level_waves, weight=WEIGHT)
    share = planing_handover.planing_share(speed=speed, volume=VOLUME, gravity=GRAVITY)
    whole = planing_handover.handed_over(share=share, afloat=afloat, planing=load)
    return Water(afloat=afloat, planing=load, whole=whole, forces=planes)


def equilibrium(speed: float, crew_x: float, start: Floats, part: str = "whole") -> tuple[Floats, Water]:
    """Pitch and ride height at which weight, push and water balance, upright; `part` of `Water` counts."""
    mass_x = (HULL_MASS * HULL_MASS_X + CREW_MASS * crew_x) / (HULL_MASS + CREW_MASS)

    def at(x: Floats) -> Water:
        return water(np.array([speed]), x[:1], np.zeros(1), x[1:])

    def residuals(x: Floats) -> list[float]:
        load = getattr(at(x), part)
        ahead = mass_x * math.cos(x[0]) - MASS_Z * math.sin(x[0])
        moment = load.pitch[0] + WEIGHT * ahead + load.drag[0] * PUSH_Z
        return [load.up[0] / WEIGHT - 1.0, moment / (WEIGHT * BEAM)]

    solved = root(residuals, start, tol=1e-11)
    if not solved.success or max(map(abs, residuals(solved.x))) > 1e-8:
        raise RuntimeError(f"{speed / KNOT:.1f} kn, crew at {crew_x} m: {solved.message}")
    return solved.x, at(solved.x)


def run(crew_x: float, speeds_kn: Floats, start: Floats | None = None, part: str = "whole") -> Run:
    """Speeds in the order given, each started from the last."""
    x = np.zeros(2) if start is None else start
    states, found = [], []
    for speed in speeds_kn:
        x, there = equilibrium(float(speed) * KNOT, crew_x, x, part)
        states.append(x)
        found.append(there)
    pitch, ride_height = np.array(states).T
    return Run(
        speed_kn=speeds_kn,
        pitch=pitch,
        ride_height=ride_height,
        drag_share=np.array([getattr(each, part).drag[0] for each in found]) / WEIGHT,
        water=found,
    )
