"""Keel fins, boards and rudders of a boat: from geometry to their loads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vpp.boat import Fin
from vpp.foiling import Water
from vpp.physics import foils, hull
from vpp.physics.arrays import Array, array_namespace
from vpp.state import Component, State, at_height

# Depth of the side force of an elliptically loaded fin below the water plane, as a share of its extended
# span: 4/(3 pi).
ELLIPTIC_CENTRE_SHARE = 4.0 / (3.0 * np.pi)


@dataclass(frozen=True, kw_only=True)
class FinArrays:
    """One fin of every boat; arrays (boats,).

    `lifting_span` and `lifting_area` are those of the fin extended to the water plane, through the hull: hull
    and fin make their side force together, as if the fin went on (the extended-keel method: J. Gerritsma,
    Course keeping qualities and motions in waves of a sailing yacht, 1971, from memory). Only the fin itself
    has profile drag.
    """

    lifting_span: Array
    lifting_area: Array
    span: Array
    area: Array
    thickness_ratio: Array
    x: Array
    z: Array


def fin_arrays(fin: Fin) -> FinArrays:
    covered = -fin.root_z
    area = 0.5 * fin.span * (fin.root_chord + fin.tip_chord)
    return FinArrays(
        lifting_span=covered + fin.span,
        lifting_area=covered * fin.root_chord + area,
        span=fin.span,
        area=area,
        thickness_ratio=fin.thickness_ratio,
        x=fin.quarter_chord_x,
        z=-ELLIPTIC_CENTRE_SHARE * (covered + fin.span),
    )


def fin_components(
    kinds: Sequence[tuple[str, str]], fins: Sequence[FinArrays], water: Water, state: State
) -> tuple[Component, ...]:
    """Fins from forward to aft; a rudder feels the downwash of the fixed fins ahead of it."""
    xp = array_namespace(state.boat_speed, state.leeway, state.heel, state.rudder)
    ahead, sideways = xp.cos(state.leeway), xp.sin(state.leeway) * xp.cos(state.heel)
    flow_angle = xp.arctan2(sideways, ahead)
    pressure = 0.5 * water.density * state.boat_speed**2 * (ahead**2 + sideways**2)
    downwash: Array = 0.0
    components = []
    for (name, kind), fin in zip(kinds, fins, strict=True):
        aspect_ratio = foils.effective_aspect_ratio(span=fin.lifting_span, area=fin.lifting_area)
        angle = flow_angle - downwash if kind == "rudder" else flow_angle
        lift, drag = foils.fin_coefficients(
            incidence=angle - state.rudder if kind == "rudder" else angle,
            aspect_ratio_effective=aspect_ratio,
            profile_drag_coefficient=_profile_drag(fin, water, state.boat_speed)
            * fin.area
            / fin.lifting_area,
        )
        if kind == "fixed":
            downwash = downwash + foils.downwash_angle(
                lift_coefficient=lift, aspect_ratio_effective=aspect_ratio
            )
        forward = pressure * fin.lifting_area * (lift * xp.sin(angle) - drag * xp.cos(angle))
        normal = -pressure * fin.lifting_area * (lift * xp.cos(angle) + drag * xp.sin(angle))
        components.append(
            Component(name=name, medium="water", load=at_height(forward, normal, fin.x, 0.0, fin.z, state))
        )
    return tuple(components)


def _profile_drag(fin: FinArrays, water: Water, boat_speed: Array) -> Array:
    reynolds = foils.mean_chord_reynolds(
        speed=boat_speed, span=fin.span, area=fin.area, water_viscosity=water.viscosity
    )
    friction = hull.friction_coefficient(reynolds=reynolds)
    return foils.section_profile_drag(friction_coefficient=friction, thickness_ratio=fin.thickness_ratio)
