"""Keel fins, boards and rudders of a boat: from geometry to their loads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vpp.boat import Boat, Fin
from vpp.foiling import RUDDER, Water
from vpp.hulls import FormedHullArrays, HullArrays, froude_number
from vpp.physics import fins, foils, hull, hydrofoils
from vpp.physics.arrays import Array, array_namespace
from vpp.physics.fins import ImmersedFin
from vpp.state import Component, Load, State, at_height

# Share of thin-aerofoil theory's effect that a trim tab reaches. Common practice, no source: 0.7 to 0.9 for
# plain flaps with a gap.
TAB_REACHED = 0.8


@dataclass(frozen=True, kw_only=True)
class FinLayout:
    """One fin of every boat: its name in the budget, its kind, on which side of the centreline it is (1 to
    leeward, -1 to windward, 0 in the middle), and whether it has a trim tab.
    """

    name: str
    kind: str
    side: int
    tab: bool


@dataclass(frozen=True, kw_only=True)
class FinArrays:
    """One fin of every boat; arrays (boats,).

    From `root_z`, where it leaves the hull, down to `tip_z`, at (x, y). `tab_effectiveness` and
    `tab_ideal_lift` are those of the trim tab, `roughness` [m] is that of the hull, and
    `profile_drag_scale` a factor on profile drag.
    """

    root_z: Array
    tip_z: Array
    root_chord: Array
    tip_chord: Array
    thickness_ratio: Array
    x: Array
    y: Array
    roughness: Array
    tab_effectiveness: Array
    tab_ideal_lift: Array
    profile_drag_scale: Array


def fin_layouts(boat: Boat) -> tuple[FinLayout, ...]:
    """The fins of a boat, one by one."""
    return tuple(
        FinLayout(
            name=name,
            kind=fin.kind,
            side=(offset > 0.0) - (offset < 0.0),
            tab=fin.tab_chord_share > 0.0,
        )
        for fin in boat.fins
        for name, offset in fin.sides
    )


def fin_arrays(boat: Boat) -> tuple[FinArrays, ...]:
    """The fins of a boat as arrays, one by one."""
    return tuple(_arrays(boat, fin, offset) for fin in boat.fins for _, offset in fin.sides)


def _arrays(boat: Boat, fin: Fin, offset: float) -> FinArrays:
    effectiveness = ideal = 0.0
    if fin.tab_chord_share > 0.0:
        theory = hydrofoils.flap_effectiveness(flap_chord_ratio=fin.tab_chord_share)
        effectiveness = TAB_REACHED * float(theory)
        ideal = TAB_REACHED * float(hydrofoils.flap_ideal_lift(flap_chord_ratio=fin.tab_chord_share))
    return FinArrays(
        root_z=fin.root_z,
        tip_z=fin.root_z - fin.span,
        root_chord=fin.root_chord,
        tip_chord=fin.tip_chord,
        thickness_ratio=fin.thickness_ratio,
        x=fin.quarter_chord_x,
        y=offset,
        roughness=boat.hull.roughness,
        tab_effectiveness=effectiveness,
        tab_ideal_lift=ideal,
        profile_drag_scale=boat.calibration.appendage_drag,
    )


def fin_components(
    layouts: Sequence[FinLayout],
    arrays: Sequence[FinArrays],
    hull_arrays: HullArrays | FormedHullArrays,
    water: Water,
    state: State,
) -> tuple[Component, ...]:
    """Fins from forward to aft; a rudder feels the downwash of the fixed fins ahead of it on its side.

    The side force of hull and fin is made as if the fin went on through the hull to the water plane (the
    extended-keel method: J. Gerritsma, Course keeping qualities and motions in waves of a sailing yacht,
    1971, from memory); only the fin itself has profile drag. Its induced drag follows from the effective
    draught of the whole boat or from the fin's own surface image, as the hull's model of the side force says.
    The keel's downwash takes its lift slope's image, and what it adds to the rudder's drag is therefore less
    than if all side force had that draught: by a tenth of the induced drag where the rudder has a tenth of
    the side force.
    """
    if not layouts:
        return ()
    xp = array_namespace(
        state.boat_speed, state.leeway, state.heel, state.rudder, state.pitch, state.ride_height
    )
    ahead, sideways = xp.cos(state.leeway), xp.sin(state.leeway) * xp.cos(state.heel)
    flow_angle = xp.arctan2(sideways, ahead)
    pressure = 0.5 * water.density * state.boat_speed**2 * (ahead**2 + sideways**2)
    draught = _effective_draught(hull_arrays, water, state)
    profile = _profile_drag_without_lift(arrays, water, state)
    loads: dict[int, Load] = {}
    behind: dict[int, Array] = {}
    # all that are fixed at once, then all that steer
    for steers in (False, True):
        members = [i for i, layout in enumerate(layouts) if (layout.kind == RUDDER) == steers]
        if not members:
            continue
        fin = _rows_of([arrays[i] for i in members])
        tab = state.tab if any(layouts[i].tab for i in members) else 0.0
        wet = _immersed(fin, hull_arrays, state)
        aspect_ratio = foils.effective_aspect_ratio(span=wet.lifting_span, area=wet.lifting_area)
        angle = flow_angle
        if steers and behind:
            none = np.zeros(fin.x.shape[1:])
            angle = angle - xp.stack([none + _downwash(layouts, i, behind) for i in members])
        lift, drag = foils.fin_coefficients(
            incidence=angle - state.rudder if steers else angle,
            aspect_ratio_effective=aspect_ratio,
            profile_drag_coefficient=0.0,
            efficiency=_efficiency(draught, wet, water, state),
            zero_lift_angle=foils.tab_zero_lift_angle(tab_angle=tab, effectiveness=fin.tab_effectiveness),
        )
        by_lift = foils.tab_section_drag(lift_coefficient=lift, tab_angle=tab, ideal_lift=fin.tab_ideal_lift)
        wet_share = fin.profile_drag_scale * wet.area / wet.lifting_area
        drag = drag + wet_share * (profile[np.array(members)] + by_lift)
        if not steers:
            turned = foils.downwash_angle(lift_coefficient=lift, aspect_ratio_effective=aspect_ratio)
            # a dry fin turns no water
            turned = turned * (wet.span / (fin.root_z - fin.tip_z))
            behind = {i: turned[row] for row, i in enumerate(members)}
        force, cos_a, sin_a = pressure * wet.lifting_area, xp.cos(angle), xp.sin(angle)
        together = at_height(
            force * (lift * sin_a - drag * cos_a),
            -1.0 * force * (lift * cos_a + drag * sin_a),
            fin.x,
            fin.y,
            wet.centre_z,
            state,
        )
        loads |= {i: together.row(row) for row, i in enumerate(members)}
    return tuple(
        Component(name=layout.name, medium="water", load=loads[i]) for i, layout in enumerate(layouts)
    )


def _rows_of(arrays: Sequence[FinArrays]) -> FinArrays:
    """Several fins as one, (fins, conditions)."""
    xp = array_namespace(*vars(arrays[0]).values())
    return FinArrays(**{name: xp.stack([vars(fin)[name] for fin in arrays]) for name in vars(arrays[0])})


def _downwash(layouts: Sequence[FinLayout], rudder: int, behind: dict[int, Array]) -> Array:
    """By how much the fixed fins ahead of a rudder turn the water that it meets."""
    return sum(
        turned for i, turned in behind.items() if i < rudder and layouts[i].side == layouts[rudder].side
    )


def _immersed(fin: FinArrays, hull_arrays: HullArrays | FormedHullArrays, state: State) -> ImmersedFin:
    """What of a fin is in the water; one below a hull that floats at its weight always is as when upright."""
    if not isinstance(hull_arrays, HullArrays):
        return fins.immersed_fin(
            root_z=fin.root_z,
            tip_z=fin.tip_z,
            x=fin.x,
            y=fin.y,
            chords=(fin.root_chord, fin.tip_chord),
            heel=state.heel,
            pitch=state.pitch,
            ride_height=state.ride_height,
        )
    span, covered = fin.root_z - fin.tip_z, -1.0 * fin.root_z
    area = 0.5 * span * (fin.root_chord + fin.tip_chord)
    depth = -fins.ELLIPTIC_CENTRE_SHARE * fin.tip_z
    return ImmersedFin(
        span=span,
        area=area,
        lifting_span=covered + span,
        lifting_area=covered * fin.root_chord + area,
        mean_depth=covered + 0.5 * span,
        centre_depth=depth,
        centre_z=fins.ELLIPTIC_CENTRE_SHARE * fin.tip_z,
    )


def side_force_height(fin: FinArrays, hull_arrays: HullArrays | FormedHullArrays, state: State) -> Array:
    """Height in body axes at which the side force of a fin acts."""
    return _immersed(fin, hull_arrays, state).centre_z


def _effective_draught(
    hull_arrays: HullArrays | FormedHullArrays, water: Water, state: State
) -> Array | None:
    """Effective draught [m] of the whole boat, where the hull's model of the side force has one."""
    if not isinstance(hull_arrays, HullArrays) or hull_arrays.effective_draught is None:
        return None
    share = hull.effective_draught_share(
        froude_number=froude_number(hull_arrays, water, state.boat_speed),
        heel=state.heel,
        coefficients=hull_arrays.effective_draught,
    )
    return share * hull_arrays.total_draught


def _efficiency(effective_draught: Array | None, wet: ImmersedFin, water: Water, state: State) -> Array:
    """Efficiency of a fin and its rigid image for induced drag."""
    if effective_draught is not None:
        return foils.draught_efficiency(effective_draught=effective_draught, lifting_span=wet.lifting_span)
    froude = state.boat_speed / (water.gravity * wet.lifting_span) ** 0.5
    # yachts in towing tests have what the bare surface gives: no share of it is covered by their hull
    return 0.5 * fins.board_efficiency(depth_froude_number=froude, covered_share=0.0)


def _profile_drag_without_lift(arrays: Sequence[FinArrays], water: Water, state: State) -> Array:
    """Profile drag coefficient of every fin on its wet area, (fins, conditions), but for what lift adds."""
    fin = _rows_of(arrays)
    span = fin.root_z - fin.tip_z
    area = 0.5 * span * (fin.root_chord + fin.tip_chord)
    friction = hull.rough_friction_coefficient(
        reynolds=foils.mean_chord_reynolds(
            speed=state.boat_speed, span=span, area=area, water_viscosity=water.viscosity
        ),
        length=area / span,
        roughness=fin.roughness,
    )
    return foils.section_profile_drag(friction_coefficient=friction, thickness_ratio=fin.thickness_ratio)
