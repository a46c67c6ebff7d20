"""Forces and moments on a boat in a state: the budget by component, and the residuals of its equations.

A component's load is given in horizontal boat axes: forward along the centreline, to leeward across it, up;
moments are right-handed about those axes through the reference point, which lies on the centreline in the
water plane.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from vpp.boat import Boat, Fin, Sail
from vpp.physics import foils, hull, lifting_line, stability
from vpp.physics.arrays import Array, apply_operator, array_namespace
from vpp.physics.lifting_line import Mirror, SailLine, StripFlow, WakeOperator
from vpp.physics.sails import (
    RigGeometry,
    SailTrim,
    StripLoads,
    Wind,
    from_wind_axes,
    strip_flow,
    strip_loads,
    wind_at,
)
from vpp.physics.sections import plate_drag_maximum
from vpp.physics.windage import bluff_body_force

FloatArray = NDArray[np.float64]
T = TypeVar("T")

# Depth of the side force of an elliptically loaded fin below the water plane, as a share of its extended
# span: 4/(3 pi).
ELLIPTIC_CENTRE_SHARE = 4.0 / (3.0 * np.pi)
# A strip's force acts at this share of the chord behind the luff. Source: thin-aerofoil theory, quarter
# chord.
QUARTER_CHORD = 0.25


# --- boats as arrays ----------------------------------------------------------------------------------------


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


@dataclass(frozen=True, kw_only=True)
class BluffArrays:
    """Bluff bodies of every boat, arrays (bodies, boats)."""

    frontal_area: Array
    side_area: Array
    drag_coefficient: Array
    x: Array
    height: Array


@dataclass(frozen=True, kw_only=True)
class HullArrays:
    """Hull of every boat, arrays (boats,) but for the residuary curve's coefficients (4, pieces, boats)."""

    waterline_length: Array
    canoe_volume: Array
    wetted_area: Array
    form_factor: Array
    heel_resistance_20deg: Array
    buoyancy_centre_z: Array
    metacentric_radius: Array
    residuary_start: Array
    residuary_step: Array
    residuary_coefficients: Array


@dataclass(frozen=True, kw_only=True)
class BoatArrays:
    """What the balance needs of a batch of boats of one layout, the boat axis last."""

    water_density: Array
    water_viscosity: Array
    air_density: Array
    wind_exponent: Array
    wind_reference_height: Array
    gravity: Array
    hull: HullArrays
    fins: tuple[FinArrays, ...]
    bluff: BluffArrays
    rig: RigGeometry
    mass: Array
    mass_moment_y: Array
    mass_moment_z: Array
    crew_mass: Array
    crew_x: Array
    crew_z: Array
    crew_drag_area: Array


@dataclass(frozen=True, kw_only=True)
class Layout:
    """What boats must share to be solved in one batch."""

    sails: tuple[str, ...]
    strips: tuple[int, ...]
    fins: tuple[tuple[str, str], ...]
    bluff: tuple[str, ...]

    @property
    def slices(self) -> tuple[slice, ...]:
        """Which strips belong to which sail."""
        ends = np.cumsum([0, *self.strips])
        return tuple(slice(int(a), int(b)) for a, b in pairwise(ends))


def layout(boat: Boat) -> Layout:
    """The layout of one boat."""
    return Layout(
        sails=tuple(sail.name for sail in boat.sails),
        strips=tuple(sail.station_count for sail in boat.sails),
        fins=tuple((fin.name, fin.kind) for fin in boat.fins),
        bluff=("mast", "rigging", *(item.name for item in boat.windage)),
    )


@dataclass(frozen=True, kw_only=True)
class Fleet:
    """Boats of one layout as arrays, with the influence of their sails on each other."""

    layout: Layout
    arrays: BoatArrays
    wake: FloatArray

    def select(self, boat: NDArray[np.intp]) -> tuple[BoatArrays, WakeOperator]:
        """The arrays with one entry a condition, given the boat of each."""
        return take(self.arrays, boat), WakeOperator(coefficients=self.wake, boat=boat)


def take(tree: T, index: NDArray[np.intp]) -> T:
    """Pick along the last axis of every array in a dataclass of arrays."""
    if isinstance(tree, tuple):
        return tuple(take(item, index) for item in tree)  # type: ignore[return-value]
    if dataclasses.is_dataclass(tree) and not isinstance(tree, type):
        return type(tree)(
            **{field.name: take(getattr(tree, field.name), index) for field in dataclasses.fields(tree)}
        )
    picked: Any = np.asarray(tree)[..., index]
    return picked  # type: ignore[no-any-return]


def fleet(boats: Sequence[Boat]) -> Fleet:
    """Stack boats of one layout. Raises ValueError when layouts differ."""
    shared = layout(boats[0])
    for boat in boats:
        if layout(boat) != shared:
            raise ValueError(f"{boat.name} and {boats[0].name} differ in layout and cannot share a batch")
    per_boat = [_boat_arrays(boat) for boat in boats]
    wake = np.stack([_wake(boat) for boat in boats])
    return Fleet(layout=shared, arrays=_stack(per_boat), wake=wake)


def _stack(trees: Sequence[T]) -> T:
    first = trees[0]
    if isinstance(first, tuple):
        return tuple(_stack([tree[i] for tree in trees]) for i in range(len(first)))  # type: ignore[index,return-value]
    if dataclasses.is_dataclass(first) and not isinstance(first, type):
        names = [field.name for field in dataclasses.fields(first)]
        return type(first)(**{name: _stack([getattr(tree, name) for tree in trees]) for name in names})
    stacked: Any = np.stack([np.asarray(tree, dtype=float) for tree in trees], axis=-1)
    return stacked  # type: ignore[no-any-return]


def _boat_arrays(boat: Boat) -> BoatArrays:
    masses = boat.all_masses()
    env = boat.environment
    return BoatArrays(
        water_density=env.water_density,
        water_viscosity=env.water_viscosity,
        air_density=env.air_density,
        wind_exponent=env.wind_exponent,
        wind_reference_height=env.wind_reference_height,
        gravity=env.gravity,
        hull=_hull_arrays(boat),
        fins=tuple(_fin_arrays(fin) for fin in boat.fins),
        bluff=_bluff_arrays(boat),
        rig=_rig_geometry(boat),
        mass=sum(item.mass for item in masses),
        mass_moment_y=sum(item.mass * item.y for item in masses),
        mass_moment_z=sum(item.mass * item.z for item in masses),
        crew_mass=boat.crew.mass,
        crew_x=boat.crew.x,
        crew_z=boat.crew.z,
        crew_drag_area=boat.crew.drag_area,
    )


def _hull_arrays(boat: Boat) -> HullArrays:
    form = boat.hull
    curve = hull.residuary_curve(
        waterline_length=form.waterline_length,
        waterline_beam=form.waterline_beam,
        canoe_draught=form.canoe_draught,
        canoe_volume=form.canoe_volume,
        prismatic_coefficient=form.prismatic_coefficient,
        buoyancy_centre_share=form.buoyancy_centre_share,
    )
    return HullArrays(
        waterline_length=form.waterline_length,
        canoe_volume=form.canoe_volume,
        wetted_area=form.wetted_area,
        form_factor=form.form_factor,
        heel_resistance_20deg=form.heel_resistance_20deg,
        buoyancy_centre_z=form.buoyancy_centre_z,
        metacentric_radius=form.metacentric_radius,
        residuary_start=curve.start,
        residuary_step=curve.step,
        residuary_coefficients=curve.coefficients,
    )


def _fin_arrays(fin: Fin) -> FinArrays:
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


def _bluff_arrays(boat: Boat) -> BluffArrays:
    rig = boat.rig
    length = rig.mast_top_height - rig.mast_base_height
    middle = 0.5 * (rig.mast_top_height + rig.mast_base_height)
    rows = [
        (
            rig.mast_diameter * length,
            rig.mast_diameter * length,
            rig.mast_drag_coefficient,
            rig.mast_x,
            middle,
        ),
        (
            rig.rigging_diameter * length,
            rig.rigging_diameter * length,
            rig.rigging_drag_coefficient,
            rig.mast_x,
            middle,
        ),
        *(
            (item.frontal_area, item.side_area, item.drag_coefficient, item.x, item.height)
            for item in boat.windage
        ),
    ]
    frontal, side, drag, x, height = np.array(rows).T
    return BluffArrays(frontal_area=frontal, side_area=side, drag_coefficient=drag, x=x, height=height)


def sail_line(sail: Sail) -> SailLine:
    """Where a sail's vortices lie: on its quarter chord."""
    nodes, controls = lifting_line.stations(
        lower=sail.lower_edge_height, upper=sail.head_height, count=sail.station_count
    )
    chord = np.array([sail.chord_at(h) for h in controls])
    x = np.array([sail.luff_x(h) for h in controls]) - QUARTER_CHORD * chord
    return SailLine(node_height=nodes, control_height=controls, x=x, chord=chord)


def _wake(boat: Boat) -> FloatArray:
    rig = boat.rig
    mirror = Mirror(deck_height=rig.deck_height, deck_half_width=rig.deck_half_width, leakage=rig.gap_leakage)
    return lifting_line.wake_coefficients(lines=tuple(sail_line(sail) for sail in boat.sails), mirror=mirror)


def _rig_geometry(boat: Boat) -> RigGeometry:
    rows = [_sail_rows(sail) for sail in boat.sails]
    joined = {name: np.concatenate([row[name] for row in rows]) for name in rows[0]}
    area = sum(sail.area for sail in boat.sails)
    reference = sum(sail.area * sail.area_centre_height for sail in boat.sails) / area
    return RigGeometry(**joined, reference_height=reference)


def _sail_rows(sail: Sail) -> dict[str, FloatArray]:
    line = sail_line(sail)
    heights = line.control_height
    count = len(heights)
    camber = np.array([sail.camber_at(h) for h in heights])
    luff = sail.head_height - sail.lower_edge_height
    constants = {
        "stall_incidence": sail.stall_incidence,
        "stall_width": sail.stall_width,
        "least_drag": sail.profile_drag_coefficient,
        "bucket_factor": sail.drag_bucket_factor,
        "drag_maximum": float(plate_drag_maximum(aspect_ratio=luff**2 / sail.area)),
    }
    return {
        "height": heights,
        "width": line.width,
        "chord": _strip_chords(sail, line),
        "x": line.x,
        "share": (heights - sail.lower_edge_height) / luff,
        "camber_flat": camber[:, 0],
        "camber_full": camber[:, 1],
        **{name: np.full(count, value) for name, value in constants.items()},
    }


def _strip_chords(sail: Sail, line: SailLine) -> FloatArray:
    """Chord of each strip, its area over its width, so that the strips' area is the sail's."""
    chords = []
    for low, high in zip(line.node_height[:-1], line.node_height[1:], strict=True):
        inside = [h for h in sail.corners if low < h < high]
        edges = np.array([low, *inside, high])
        middles = 0.5 * (edges[:-1] + edges[1:])
        chords.append(
            sum(sail.chord_at(m) * s for m, s in zip(middles, np.diff(edges), strict=True)) / (high - low)
        )
    return np.array(chords)


# --- loads --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class State:
    """Attitude, speed and controls, (conditions,) each; SI and radians, signs as in the conventions."""

    boat_speed: Array
    leeway: Array
    heel: Array
    rudder: Array
    crew_arm: Array
    trims: tuple[SailTrim, ...]


@dataclass(frozen=True, kw_only=True)
class Load:
    """Force [N] and moment [N m] of one component in horizontal boat axes; see the module's text."""

    forward: Array = 0.0
    leeward: Array = 0.0
    up: Array = 0.0
    roll: Array = 0.0
    pitch: Array = 0.0
    yaw: Array = 0.0


@dataclass(frozen=True, kw_only=True)
class Component:
    """A named load and what exerts it: "air", "water" or "gravity"."""

    name: str
    medium: str
    load: Load


def loads(
    *, fleet_layout: Layout, boats: BoatArrays, wake: WakeOperator, wind: Wind, state: State
) -> tuple[Component, ...]:
    """Every component's load.

    Buoyancy takes up what is left of heave and pitch, which a hull-borne boat does not solve for.
    """
    components = (
        *_sail_components(fleet_layout, boats, wake, wind, state),
        *_windage_components(fleet_layout, boats, wind, state),
        *_hull_components(boats, state),
        *_fin_components(fleet_layout, boats, state),
        *_gravity_components(boats, state),
    )
    return (*components, _buoyancy(boats, state, components))


def true_wind(*, boats: BoatArrays, tws: Array, twa: Array) -> Wind:
    """The wind of each condition."""
    return Wind(
        true_wind_speed=tws,
        true_wind_angle=twa,
        exponent=boats.wind_exponent,
        profile_height=boats.wind_reference_height,
        air_density=boats.air_density,
    )


def _heeled_load(
    *, forward: Array, normal: Array, roll: Array, in_plane: Array, about_span: Array, heel: Array
) -> Load:
    """From axes that heel with the boat (forward, to leeward normal to the mast, along the mast) to
    horizontal ones.
    """
    xp = array_namespace(forward, normal, heel)
    cos_h, sin_h = xp.cos(heel), xp.sin(heel)
    return Load(
        forward=forward,
        leeward=normal * cos_h,
        up=-1.0 * normal * sin_h,
        roll=roll,
        pitch=in_plane * cos_h + about_span * sin_h,
        yaw=about_span * cos_h - in_plane * sin_h,
    )


def strips(
    *, fleet_layout: Layout, boats: BoatArrays, wake: WakeOperator, wind: Wind, state: State
) -> tuple[StripFlow, StripLoads]:
    """Flow and loads of every strip."""
    flow = strip_flow(
        geometry=boats.rig,
        sails=fleet_layout.slices,
        trims=state.trims,
        wind=wind,
        boat_speed=state.boat_speed,
        leeway=state.leeway,
        heel=state.heel,
    )
    return flow, strip_loads(geometry=boats.rig, operator=wake, flow=flow, air_density=wind.air_density)


def _sail_components(
    fleet_layout: Layout, boats: BoatArrays, wake: WakeOperator, wind: Wind, state: State
) -> tuple[Component, ...]:
    _, on_strips = strips(fleet_layout=fleet_layout, boats=boats, wake=wake, wind=wind, state=state)
    sums = _moment_operator(boats.rig, fleet_layout.slices)
    forward, normal = from_wind_axes(
        along=apply_operator(sums, on_strips.along),
        across=apply_operator(sums, on_strips.across),
        wind_angle=on_strips.wind_angle,
    )
    components = []
    for i, name in enumerate(fleet_layout.sails):
        load = _heeled_load(
            forward=forward[3 * i],
            normal=normal[3 * i],
            roll=-normal[3 * i + 1],
            in_plane=forward[3 * i + 1],
            about_span=normal[3 * i + 2],
            heel=state.heel,
        )
        components.append(Component(name=name, medium="air", load=load))
    return tuple(components)


def _moment_operator(rig: RigGeometry, slices: tuple[slice, ...]) -> Array:
    """Sums over each sail's strips of force, force times height and force times x, as an operator.

    Shape (conditions, 3 sails, strips).
    """
    xp = array_namespace(rig.height)
    rows = []
    for sail in slices:
        mask = np.zeros((rig.height.shape[0], 1))
        mask[sail] = 1.0
        rows += [mask * xp.ones_like(rig.height), mask * rig.height, mask * rig.x]
    return xp.stack(rows).transpose(2, 0, 1)


def _windage_components(
    fleet_layout: Layout, boats: BoatArrays, wind: Wind, state: State
) -> tuple[Component, ...]:
    bluff = boats.bluff
    ahead, leeward = wind_at(
        height=bluff.height, wind=wind, boat_speed=state.boat_speed, leeway=state.leeway, heel=state.heel
    )
    forward, normal = bluff_body_force(
        from_ahead=ahead,
        to_leeward=leeward,
        frontal_area=bluff.frontal_area,
        side_area=bluff.side_area,
        drag_coefficient=bluff.drag_coefficient,
        air_density=wind.air_density,
    )
    components = [
        Component(
            name=name,
            medium="air",
            load=_at_height(forward[i], normal[i], bluff.x[i], 0.0, bluff.height[i], state.heel),
        )
        for i, name in enumerate(fleet_layout.bluff)
    ]
    return (*components, _crew_windage(boats, wind, state))


def _at_height(forward: Array, normal: Array, x: Array, y: Array, height: Array, heel: Array) -> Load:
    """Load of a force that acts at a body point, forward and normal to the mast."""
    return _heeled_load(
        forward=forward,
        normal=normal,
        roll=-1.0 * normal * height,
        in_plane=forward * height,
        about_span=normal * x - forward * y,
        heel=heel,
    )


def _crew_windage(boats: BoatArrays, wind: Wind, state: State) -> Component:
    ahead, leeward = wind_at(
        height=boats.crew_z, wind=wind, boat_speed=state.boat_speed, leeway=state.leeway, heel=state.heel
    )
    # the drag area of a person holds a coefficient already
    forward, normal = bluff_body_force(
        from_ahead=ahead,
        to_leeward=leeward,
        frontal_area=boats.crew_drag_area,
        side_area=boats.crew_drag_area,
        drag_coefficient=1.0,
        air_density=wind.air_density,
    )
    load = _at_height(forward, normal, boats.crew_x, -1.0 * state.crew_arm, boats.crew_z, state.heel)
    return Component(name="crew windage", medium="air", load=load)


def _hull_components(boats: BoatArrays, state: State) -> tuple[Component, ...]:
    form = boats.hull
    growth = hull.heel_resistance_factor(heel=state.heel, growth_at_20deg=form.heel_resistance_20deg)
    friction = growth * hull.frictional_resistance(
        speed=state.boat_speed,
        wetted_area=form.wetted_area,
        waterline_length=form.waterline_length,
        water_density=boats.water_density,
        water_viscosity=boats.water_viscosity,
        form_factor=form.form_factor,
    )
    residuary = growth * hull.residuary_resistance(
        froude_number=froude_number(boats=boats, boat_speed=state.boat_speed),
        weight=boats.water_density * boats.gravity * form.canoe_volume,
        start=form.residuary_start,
        step=form.residuary_step,
        coefficients=form.residuary_coefficients,
    )
    return (
        Component(name="hull friction", medium="water", load=_against_course(friction, state.leeway)),
        Component(name="hull residuary", medium="water", load=_against_course(residuary, state.leeway)),
    )


def _against_course(resistance: Array, leeway: Array) -> Load:
    """A resistance through the reference point, opposite to the course."""
    xp = array_namespace(resistance, leeway)
    return Load(forward=-resistance * xp.cos(leeway), leeward=-resistance * xp.sin(leeway))


def froude_number(*, boats: BoatArrays, boat_speed: Array) -> Array:
    """Froude number on the waterline length."""
    return boat_speed / (boats.gravity * boats.hull.waterline_length) ** 0.5


def weight(boats: BoatArrays) -> Array:
    """Weight of boat and crew [N]."""
    return (boats.mass + boats.crew_mass) * boats.gravity


def _fin_components(fleet_layout: Layout, boats: BoatArrays, state: State) -> tuple[Component, ...]:
    """Fins from forward to aft; a rudder feels the downwash of the fixed fins ahead of it."""
    xp = array_namespace(state.boat_speed, state.leeway, state.heel, state.rudder)
    ahead, sideways = xp.cos(state.leeway), xp.sin(state.leeway) * xp.cos(state.heel)
    flow_angle = xp.arctan2(sideways, ahead)
    pressure = 0.5 * boats.water_density * state.boat_speed**2 * (ahead**2 + sideways**2)
    downwash: Array = 0.0
    components = []
    for (name, kind), fin in zip(fleet_layout.fins, boats.fins, strict=True):
        aspect_ratio = foils.effective_aspect_ratio(span=fin.lifting_span, area=fin.lifting_area)
        angle = flow_angle - downwash if kind == "rudder" else flow_angle
        lift, drag = foils.fin_coefficients(
            incidence=angle - state.rudder if kind == "rudder" else angle,
            aspect_ratio_effective=aspect_ratio,
            profile_drag_coefficient=_fin_profile_drag(boats, fin, state.boat_speed)
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
            Component(
                name=name, medium="water", load=_at_height(forward, normal, fin.x, 0.0, fin.z, state.heel)
            )
        )
    return tuple(components)


def _fin_profile_drag(boats: BoatArrays, fin: FinArrays, boat_speed: Array) -> Array:
    reynolds = foils.mean_chord_reynolds(
        speed=boat_speed, span=fin.span, area=fin.area, water_viscosity=boats.water_viscosity
    )
    friction = hull.friction_coefficient(reynolds=reynolds)
    return foils.section_profile_drag(friction_coefficient=friction, thickness_ratio=fin.thickness_ratio)


def _gravity_components(boats: BoatArrays, state: State) -> tuple[Component, ...]:
    """Weight rights or heels by where it is; its pitching moment is held by the hull and left out of both."""
    boat = stability.mass_righting_moment(
        heel=state.heel, mass=1.0, y=boats.mass_moment_y, z=boats.mass_moment_z, gravity=boats.gravity
    )
    crew = stability.mass_righting_moment(
        heel=state.heel, mass=boats.crew_mass, y=-1.0 * state.crew_arm, z=boats.crew_z, gravity=boats.gravity
    )
    return (
        Component(name="weight", medium="gravity", load=Load(up=-boats.mass * boats.gravity, roll=boat)),
        Component(
            name="crew weight", medium="gravity", load=Load(up=-boats.crew_mass * boats.gravity, roll=crew)
        ),
    )


def _buoyancy(boats: BoatArrays, state: State, others: Sequence[Component]) -> Component:
    righting = stability.form_righting_moment(
        heel=state.heel,
        weight=weight(boats),
        buoyancy_centre_z=boats.hull.buoyancy_centre_z,
        metacentric_radius=boats.hull.metacentric_radius,
    )
    up = -sum(component.load.up for component in others)
    pitch = -sum(component.load.pitch for component in others)
    return Component(name="buoyancy", medium="water", load=Load(up=up, roll=righting, pitch=pitch))


# --- residuals ----------------------------------------------------------------------------------------------

EQUATIONS = ("surge", "sway", "roll", "yaw")


def residuals(components: Sequence[Component], *, leeway: Array) -> Array:
    """Sums of force along and across the course [N] and of moment about centreline and vertical [N m], (4,
    conditions).
    """
    forward = sum(component.load.forward for component in components)
    leeward = sum(component.load.leeward for component in components)
    xp = array_namespace(forward, leeward, leeway)
    return xp.stack(
        [
            forward * xp.cos(leeway) + leeward * xp.sin(leeway),
            leeward * xp.cos(leeway) - forward * xp.sin(leeway),
            sum(component.load.roll for component in components),
            sum(component.load.yaw for component in components),
        ]
    )


def residual_scales(boats: BoatArrays, tws: Array) -> Array:
    """What the residuals are measured by, (4, conditions).

    The rig's force in the true wind, with a floor, for the forces, and it times a length for the moments.
    """
    area = (boats.rig.chord * boats.rig.width).sum(axis=0)
    force = 0.5 * boats.air_density * np.maximum(tws, 2.0) ** 2 * area
    return np.stack([force, force, force * boats.rig.reference_height, force * boats.hull.waterline_length])
