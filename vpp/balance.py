"""Forces and moments on a boat in a state: the budget by component, and the residuals of its equations.

A component's load is given in horizontal boat axes: forward along the centreline, to leeward across it, up;
moments are right-handed about those axes through the reference point, which lies on the centreline in the
water plane.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vpp import appendages, foiling, hulls
from vpp.fleets import BoatArrays, Layout
from vpp.foiling import FoilArrays, FoilLayout
from vpp.physics import foil_geometry, hydrofoils, stability
from vpp.physics.arrays import Array, array_namespace
from vpp.physics.lifting_line import StripFlow, WakeOperator
from vpp.physics.sail_tables import TableSailForce, table_sail_force
from vpp.physics.sails import (
    RigGeometry,
    SailShape,
    StripLoads,
    Wind,
    from_wind_axes,
    sail_shape,
    strip_flow,
    strip_loads,
    strip_sums,
    wind_at,
)
from vpp.physics.windage import bluff_body_force
from vpp.seaway import added_resistance
from vpp.state import Component, Load, State, at_height, from_body, scaled, weight_of

IMMERSION, CAVITATION = "immersion", "cavitation"


def loads(
    *,
    fleet_layout: Layout,
    boats: BoatArrays,
    wake: WakeOperator,
    wind: Wind,
    state: State,
    at_work: Sequence[WorkingFoil],
) -> tuple[Component, ...]:
    """Every component's load; `at_work` are the foils' own loads, from `foils_at_work`.

    A boat that floats at its own weight does not solve for heave and pitch: its buoyancy takes up what is
    left of both.
    """
    components = (
        *_sail_components(fleet_layout, boats, wake, wind, state),
        *_table_sail_components(fleet_layout, boats, wind, state),
        *_windage_components(fleet_layout, boats, wind, state),
        *_hull_components(boats, wind, state),
        *appendages.fin_components(fleet_layout.fins, boats.fins, boats.hull, boats.water, state),
        *_foil_components(fleet_layout, boats, wind, state, at_work),
        *_gravity_components(fleet_layout, boats, state),
    )
    if isinstance(boats.hull, hulls.FormedHullArrays):
        return components
    floating = (boats.mass + boats.crew_mass) * boats.gravity
    return (*components, hulls.floating_buoyancy(boats.hull, floating, state, components))


def _hull_components(boats: BoatArrays, wind: Wind, state: State) -> tuple[Component, ...]:
    added = added_resistance(
        boats.seaway,
        boat_speed=state.boat_speed,
        twa=wind.true_wind_angle,
        waterline_length=boats.hull.waterline_length,
        water=boats.water,
    )
    if added is not None:
        added = hulls.count(boats.hull) * added
    return tuple(
        scaled(component, boats.hull_resistance_scale) if component.name in hulls.RESISTANCE else component
        for component in hulls.hull_components(boats.hull, boats.water, state, added)
    )


def true_wind(*, boats: BoatArrays, tws: Array, twa: Array, ride_height: Array = 0.0) -> Wind:
    """The wind of each condition; a boat that rides higher meets more of it."""
    return Wind(
        ride_height=ride_height,
        true_wind_speed=tws,
        true_wind_angle=twa,
        exponent=boats.wind_exponent,
        profile_height=boats.wind_reference_height,
        air_density=boats.air_density,
    )


def strips(
    *, fleet_layout: Layout, boats: BoatArrays, wake: WakeOperator, wind: Wind, state: State
) -> tuple[StripFlow, StripLoads]:
    """Flow and loads of every strip."""
    if not fleet_layout.sails:
        return _no_strips(boats, state)
    flow = _flow(fleet_layout, boats, wind, state)
    density = wind.air_density * boats.sail_force_scale
    return flow, strip_loads(geometry=boats.rig, operator=wake, flow=flow, air_density=density)


def _flow(fleet_layout: Layout, boats: BoatArrays, wind: Wind, state: State) -> StripFlow:
    return strip_flow(
        geometry=boats.rig,
        sails=fleet_layout.slices,
        trims=state.trims,
        wind=wind,
        boat_speed=state.boat_speed,
        leeway=state.leeway,
        heel=state.heel,
        mast_rotation=state.mast_rotation,
    )


def _no_strips(boats: BoatArrays, state: State) -> tuple[StripFlow, StripLoads]:
    """Of a boat whose sails all come from tables: rows of no strips, and no wind that carries their wakes."""
    none, angle = 0.0 * boats.rig.height, 0.0 * boats.mass
    flow = StripFlow(**{field.name: none for field in dataclasses.fields(StripFlow)})
    loads_of_none = StripLoads(
        along=none, across=none, wind_angle=angle, incidence=none, lift_coefficient=none
    )
    return replace(flow, wind_angle=angle), loads_of_none


def sail_shapes(*, fleet_layout: Layout, boats: BoatArrays, state: State) -> SailShape:
    """How every strip stands."""
    if not fleet_layout.sails:
        none = 0.0 * boats.rig.height
        return SailShape(chord_angle=none, camber=none, nose_angle=none)
    return sail_shape(
        geometry=boats.rig,
        sails=fleet_layout.slices,
        trims=state.trims,
        mast_rotation=state.mast_rotation,
    )


def _sail_components(
    fleet_layout: Layout, boats: BoatArrays, wake: WakeOperator, wind: Wind, state: State
) -> tuple[Component, ...]:
    if not fleet_layout.sails:
        return ()
    flow = _flow(fleet_layout, boats, wind, state)
    along, across = strip_sums(
        geometry=boats.rig,
        operator=wake,
        flow=flow,
        air_density=wind.air_density * boats.sail_force_scale,
        sums=_moment_operator(boats.rig, fleet_layout.slices),
    )
    forward, normal = from_wind_axes(along=along, across=across, wind_angle=flow.wind_angle)
    components = []
    for i, name in enumerate(fleet_layout.sails):
        load = from_body(
            (forward[3 * i], normal[3 * i], 0.0),
            (-normal[3 * i + 1], forward[3 * i + 1], normal[3 * i + 2]),
            state,
        )
        components.append(Component(name=name, medium="air", load=load))
    return tuple(components)


def table_sail_forces(*, boats: BoatArrays, wind: Wind, state: State) -> tuple[TableSailForce, ...]:
    """Force of every sail from a table, in the wind that no other sail has changed."""
    calibrated = replace(wind, air_density=wind.air_density * boats.sail_force_scale)
    return tuple(
        table_sail_force(
            sail=sail,
            power=power,
            wind=calibrated,
            boat_speed=state.boat_speed,
            leeway=state.leeway,
            heel=state.heel,
        )
        for sail, power in zip(boats.table_sails, state.powers, strict=True)
    )


def _table_sail_components(
    fleet_layout: Layout, boats: BoatArrays, wind: Wind, state: State
) -> tuple[Component, ...]:
    found = table_sail_forces(boats=boats, wind=wind, state=state)
    return tuple(
        Component(
            name=name,
            medium="air",
            load=at_height(force.forward, force.leeward, sail.centre_x, 0.0, sail.centre_height, state),
        )
        for name, sail, force in zip(fleet_layout.table_sails, boats.table_sails, found, strict=True)
    )


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
        air_density=wind.air_density * boats.windage_scale,
    )
    components = [
        Component(
            name=name,
            medium="air",
            load=at_height(forward[i], normal[i], bluff.x[i], 0.0, bluff.height[i], state),
        )
        for i, name in enumerate(fleet_layout.bluff)
    ]
    return (*components, _crew_windage(boats, wind, state))


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
        air_density=wind.air_density * boats.windage_scale,
    )
    load = at_height(forward, normal, state.crew_x, -1.0 * state.crew_arm, boats.crew_z, state)
    return Component(name="crew windage", medium="air", load=load)


def froude_number(*, boats: BoatArrays, boat_speed: Array) -> Array:
    """Froude number on the waterline length."""
    return hulls.froude_number(boats.hull, boats.water, boat_speed)


def weight(fleet_layout: Layout, boats: BoatArrays) -> Array:
    """Weight of boat and crew [N]."""
    canting = sum(
        2.0 * foil.mass
        for each, foil in zip(fleet_layout.foils, boats.foils, strict=True)
        if each.kind == foiling.CANTING_PAIR
    )
    return (boats.mass + boats.crew_mass + canting) * boats.gravity


@dataclass(frozen=True, kw_only=True)
class WorkingFoil:
    """A foil in the water: where it is, and its loads in body axes."""

    place: foil_geometry.FoilPlace
    loads: hydrofoils.FoilLoads


def foils_at_work(*, fleet_layout: Layout, boats: BoatArrays, state: State) -> tuple[WorkingFoil, ...]:
    """The leeward canting foil and the rudder foil, in the order of the layout."""
    found = []
    for each, foil in zip(fleet_layout.foils, boats.foils, strict=True):
        canting = each.kind == foiling.CANTING_PAIR
        place = foiling.foil_place(
            layout=each, foil=foil, attitude=state.attitude, cant=state.cant if canting else 0.0
        )
        on_elements = foiling.foil_loads(
            layout=each,
            foil=foil,
            at=place,
            attitude=state.attitude,
            water=boats.water,
            rudder=state.rudder,
            flap=state.flap if canting else state.elevator,
        )
        found.append(WorkingFoil(place=place, loads=on_elements))
    return tuple(found)


def _foil_components(
    fleet_layout: Layout, boats: BoatArrays, wind: Wind, state: State, at_work: Sequence[WorkingFoil]
) -> tuple[Component, ...]:
    components: list[Component] = []
    for each, foil, work in zip(fleet_layout.foils, boats.foils, at_work, strict=True):
        on_elements = work.loads
        whole = from_body(
            (on_elements.force_x, on_elements.force_y, on_elements.force_z),
            (on_elements.moment_x, on_elements.moment_y, on_elements.moment_z),
            state,
        )
        components += [
            Component(
                name=name,
                medium="water",
                load=Load(**{field: value[i] for field, value in vars(whole).items()}),
            )
            for i, name in enumerate(each.element_names)
        ]
        if each.kind == foiling.CANTING_PAIR:
            components += _canting_components(each, foil, boats, wind, state)
    return tuple(components)


def _canting_components(
    each: FoilLayout, foil: FoilArrays, boats: BoatArrays, wind: Wind, state: State
) -> list[Component]:
    """Weights of the foil at work and of the one held up to windward, and the windage of the latter."""
    low = foiling.arm_point(foil=foil, cant=state.cant, along=foil.mass_length, side=1.0)
    high = foiling.arm_point(foil=foil, cant=foil.raised_cant, along=foil.mass_length, side=-1.0)
    x, y, z = foiling.arm_point(foil=foil, cant=foil.raised_cant, along=0.5 * foil.shape.span[0], side=-1.0)
    ahead, leeward = wind_at(
        height=z, wind=wind, boat_speed=state.boat_speed, leeway=state.leeway, heel=state.heel
    )
    forward, normal = bluff_body_force(
        from_ahead=ahead,
        to_leeward=leeward,
        frontal_area=foil.raised_drag_area,
        side_area=foil.raised_drag_area,
        drag_coefficient=1.0,
        air_density=wind.air_density * boats.windage_scale,
    )
    return [
        Component(
            name=f"{each.name} weight", medium="gravity", load=_weight_at(foil.mass, low, boats, state)
        ),
        Component(
            name=f"raised {each.name} weight",
            medium="gravity",
            load=_weight_at(foil.mass, high, boats, state),
        ),
        Component(
            name=f"raised {each.name} windage",
            medium="air",
            load=at_height(forward, normal, x, y, z, state),
        ),
    ]


def _weight_at(mass: Array, at: tuple[Array, Array, Array], boats: BoatArrays, state: State) -> Load:
    """Weight of a mass at a body point."""
    return weight_of(mass, tuple(mass * part for part in at), boats.gravity, state)


def _gravity_components(fleet_layout: Layout, boats: BoatArrays, state: State) -> tuple[Component, ...]:
    """Weight rights or heels by where it is. The pitching moment of a boat that floats at its own weight is
    held by its hull and left out of both.
    """
    if fleet_layout.heaves:
        crew_moments = (
            boats.crew_mass * state.crew_x,
            -1.0 * boats.crew_mass * state.crew_arm,
            boats.crew_mass * boats.crew_z,
        )
        moments = (boats.mass_moment_x, boats.mass_moment_y, boats.mass_moment_z)
        return (
            Component(
                name="weight", medium="gravity", load=weight_of(boats.mass, moments, boats.gravity, state)
            ),
            Component(
                name="crew weight",
                medium="gravity",
                load=weight_of(boats.crew_mass, crew_moments, boats.gravity, state),
            ),
        )
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


# --- margins ------------------------------------------------------------------------------------------------

# Width over which the lesser of two margins is taken [m, and of cavitation number].
_LESSER_WIDTH = 0.01
# Speed [m/s] at which a cavitation number counts in full: as pressures the limits are alike at all speeds.
_CAVITATION_SPEED = 20.0


@dataclass(frozen=True, kw_only=True)
class FoilMargin:
    """What is left of a limit of a foil named `of`: of "immersion" [m], or of "cavitation" as a number."""

    kind: str
    of: str
    value: Array


def foil_margins(fleet_layout: Layout, at_work: Sequence[WorkingFoil]) -> tuple[FoilMargin, ...]:
    """Depth of the shallower wing tip of each working foil, and cavitation number less suction peak of its
    elements, the two halves of a rudder's wing taken together.
    """
    margins = []
    for each, work in zip(fleet_layout.foils, at_work, strict=True):
        tips = foiling.tip_depths(work.place)
        cavitation = work.loads.cavitation_margin
        margins.append(FoilMargin(kind=IMMERSION, of=each.name, value=_least(tips)))
        names = each.element_names
        if each.kind == foiling.RUDDER:
            margins += [
                FoilMargin(kind=CAVITATION, of=names[0], value=cavitation[0]),
                FoilMargin(kind=CAVITATION, of=f"{each.name} wing", value=_least(cavitation[1:])),
            ]
        else:
            margins += [
                FoilMargin(kind=CAVITATION, of=name, value=cavitation[i]) for i, name in enumerate(names)
            ]
    return tuple(margins)


def margin_count(fleet_layout: Layout) -> int:
    """Number of margins that `foil_margins` gives."""
    return sum(3 if each.kind == foiling.RUDDER else 1 + len(each.elements) for each in fleet_layout.foils)


def cavitation_pressure(boat_speed: Array) -> Array:
    """What turns a cavitation number into a pressure over that of `_CAVITATION_SPEED`."""
    return (boat_speed / _CAVITATION_SPEED) ** 2


def foil_limits(boats: BoatArrays, margins: Sequence[FoilMargin], *, boat_speed: Array) -> list[Array]:
    """Margins less the least ones of the boat file, of order one: none may be negative."""
    pressure = cavitation_pressure(boat_speed)
    return [
        margin.value - boats.least_immersion
        if margin.kind == IMMERSION
        else (margin.value - boats.least_cavitation) * pressure
        for margin in margins
    ]


def _least(values: Array) -> Array:
    """The lesser of one or two rows, smoothly and on the safe side."""
    if values.shape[0] == 1:
        return values[0]
    xp = array_namespace(values)
    difference = values[0] - values[1]
    return 0.5 * (values[0] + values[1] - xp.sqrt(difference**2 + _LESSER_WIDTH**2))


# --- residuals ----------------------------------------------------------------------------------------------


def residuals(fleet_layout: Layout, components: Sequence[Component], *, leeway: Array) -> Array:
    """What the equations of a layout leave over, (equations, conditions).

    Sums of force along and across the course and up [N], and of moment about centreline, athwart and vertical
    [N m].
    """
    forward = sum(component.load.forward for component in components)
    leeward = sum(component.load.leeward for component in components)
    xp = array_namespace(forward, leeward, leeway)
    left = {
        "surge": forward * xp.cos(leeway) + leeward * xp.sin(leeway),
        "sway": leeward * xp.cos(leeway) - forward * xp.sin(leeway),
        "roll": sum(component.load.roll for component in components),
        "yaw": sum(component.load.yaw for component in components),
    }
    if fleet_layout.heaves:
        left["heave"] = sum(component.load.up for component in components)
        left["pitch"] = sum(component.load.pitch for component in components)
    return xp.stack([left[equation] for equation in fleet_layout.equations])


def residual_scales(fleet_layout: Layout, boats: BoatArrays, tws: Array) -> Array:
    """What the residuals are measured by, (equations, conditions).

    The rig's force in the true wind, with a floor, for the horizontal forces, and it times a length for roll
    and yaw; the weight for heave, and it times a metre for pitch.
    """
    area = (boats.rig.chord * boats.rig.width).sum(axis=0) + sum(sail.area for sail in boats.table_sails)
    force = 0.5 * boats.air_density * np.maximum(tws, 2.0) ** 2 * area
    scales = {
        "surge": force,
        "sway": force,
        "heave": weight(fleet_layout, boats),
        "roll": force * boats.rig.reference_height,
        "pitch": weight(fleet_layout, boats),
        "yaw": force * boats.hull.waterline_length,
    }
    return np.stack([scales[equation] for equation in fleet_layout.equations])
