"""Forces and moments on a boat in a state: the budget by component, and the residuals of its equations.

A component's load is given in horizontal boat axes: forward along the centreline, to leeward across it, up;
moments are right-handed about those axes through the reference point, which lies on the centreline in the
water plane.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from vpp import appendages, foiling, hulls
from vpp.fleets import BoatArrays, Layout
from vpp.foiling import FoilArrays, FoilLayout
from vpp.physics import foil_geometry, hydrofoils, stability
from vpp.physics.arrays import Array, apply_operator, array_namespace, sum_of_rows, without_derivatives
from vpp.physics.lifting_line import StripFlow, WakeOperator
from vpp.physics.sail_tables import TableSailForce, table_sail_force
from vpp.physics.sails import (
    RigGeometry,
    SailShape,
    SailTrim,
    StripLoads,
    Wind,
    from_wind_axes,
    sail_shape,
    strip_flow,
    strip_force_parts,
    strip_loads,
    strip_sums,
    wind_at,
)
from vpp.physics.windage import bluff_body_force
from vpp.seaway import added_resistance
from vpp.state import BodyLoad, Component, Load, State, at_height, from_body, total_load, weight_of

IMMERSION, CAVITATION = "immersion", "cavitation"


def loads(
    *,
    fleet_layout: Layout,
    boats: BoatArrays,
    wake: WakeOperator,
    wind: Wind,
    state: State,
    at_work: Sequence[WorkingFoil],
    later: list[SailCurvature] | None = None,
) -> tuple[Component, ...]:
    """Every component's load; `at_work` are the foils' own loads, from `foils_at_work`.

    Where a list `later` is given, the sails' forces come without their second derivatives and the list gets
    what makes them; see `SailCurvature`.

    A boat that floats at its own weight does not solve for heave and pitch: its buoyancy takes up what is
    left of both.
    """
    windage = _windage(fleet_layout, boats, wind, state)
    components = (
        *_sail_components(fleet_layout, boats, wake, wind, state, later),
        *_table_sail_components(fleet_layout, boats, wind, state),
        *windage.bodies,
        windage.crew,
        *_hull_components(boats, wind, state),
        *appendages.fin_components(fleet_layout.fins, boats.fins, boats.hull, boats.water, state),
        *_foil_components(fleet_layout, boats, state, at_work, windage.raised),
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
        replace(component, load=component.load.times(boats.hull_resistance_scale))
        if component.name in hulls.RESISTANCE
        else component
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
    fleet_layout: Layout,
    boats: BoatArrays,
    wake: WakeOperator,
    wind: Wind,
    state: State,
    later: list[SailCurvature] | None,
) -> tuple[Component, ...]:
    if not fleet_layout.sails:
        return ()
    flow = _flow(fleet_layout, boats, wind, state)
    kept_back: list[Any] | None = None if later is None else []
    along, across = strip_sums(
        geometry=boats.rig,
        operator=wake,
        flow=flow,
        air_density=wind.air_density * boats.sail_force_scale,
        sums=_moment_operator(boats.rig, fleet_layout.slices),
        later=kept_back,
    )
    if later is not None and kept_back:
        (of_sums,) = kept_back
        later.append(SailCurvature(of_sums=of_sums, wind_angle=without_derivatives(flow.wind_angle)))
    together = _load_of_sums(along, across, flow.wind_angle, state)
    return tuple(
        Component(name=name, medium="air", load=together.row(i)) for i, name in enumerate(fleet_layout.sails)
    )


def sail_force_parts(
    *, fleet_layout: Layout, boats: BoatArrays, wake: WakeOperator, wind: Wind, state: State
) -> dict[str, Load]:
    """The load of all sails made of strips together, in parts: "lift", "induced" and "profile"; see
    `vpp.physics.sails.strip_force_parts`.
    """
    if not fleet_layout.sails:
        return {}
    flow = _flow(fleet_layout, boats, wind, state)
    parts = strip_force_parts(
        geometry=boats.rig,
        operator=wake,
        flow=flow,
        air_density=wind.air_density * boats.sail_force_scale,
    )
    sums = _moment_operator(boats.rig, (slice(None),))
    return {
        name: _load_of_sums(
            apply_operator(sums, along), apply_operator(sums, across), flow.wind_angle, state
        ).row(0)
        for name, (along, across) in vars(parts).items()
    }


def _load_of_sums(along: Array, across: Array, wind_angle: Array, state: State) -> BodyLoad:
    """Load of every sail, from the sums over its strips of force, force times height and force times x."""
    forward, normal = from_wind_axes(along=along, across=across, wind_angle=wind_angle)
    return from_body((forward[::3], normal[::3], 0.0), (-normal[1::3], forward[1::3], normal[2::3]), state)


@dataclass(frozen=True, kw_only=True)
class SailCurvature:
    """Second derivatives that were left out of the sails' loads.

    Only residuals are made of the loads, and of those one weighted sum: by its derivatives by the sails' sums
    their second derivatives are weighted at once. `of_sums` gives them by such weights
    (`vpp.solver.jets.LaterCurvature`).
    """

    of_sums: Any
    wind_angle: Array

    def hessian(
        self, fleet_layout: Layout, *, state: State, multipliers: Array, pushes: Array, variable_count: int
    ) -> Array:
        """What they add to the Hessian (variables, variables, conditions) of `multipliers . residuals` and of
        `pushes . sail_pushes`; state, multipliers (equations, conditions) and pushes (sails, conditions) are
        plain numbers.
        """
        # the residuals are linear in the sums, and alike in those of all sails
        unit = np.eye(6).reshape(2, 3, 6, 1)
        load = _load_of_sums(unit[0], unit[1], self.wind_angle, state)
        felt = residuals(fleet_layout, [Component(name="", medium="air", load=load)], leeway=state.leeway)
        by_sums = sum_of_rows(multipliers[:, None] * felt[:, 0])
        weights = np.tile(by_sums.reshape(2, 3, -1), (1, len(fleet_layout.sails), 1))
        weights[:, ::3] += self._by_forces(fleet_layout, state, pushes)
        return self.of_sums.dense(weights, variable_count)

    def _by_forces(self, fleet_layout: Layout, state: State, pushes: Array) -> Array:
        """How much the sums of force in wind axes count in `pushes . sail_pushes`, (2, sails, conditions)."""
        forward, normal = from_wind_axes(
            along=np.array([[1.0], [0.0]]), across=np.array([[0.0], [1.0]]), wind_angle=self.wind_angle
        )
        angle = np.array([_mean_chord(trim) for trim in state.trims])
        return pushes * (forward[:, None] * np.sin(angle) + normal[:, None] * np.cos(angle))


def _mean_chord(trim: SailTrim) -> Array:
    """Angle of a sail's chord from the centreline half way up [rad]."""
    return trim.sheet + 0.5 * trim.twist


def sail_pushes(fleet_layout: Layout, components: Sequence[Component], state: State) -> tuple[Array, ...]:
    """Force of each sail made of strips normal to its chord [N], positive to leeward: what fills it. A cloth
    sail as a whole can only be filled from the windward side: pressed from the other it loses its shape.
    """
    loads_of = {component.name: component.load for component in components}
    pushes = []
    for name, trim in zip(fleet_layout.sails, state.trims, strict=True):
        load = loads_of[name]
        assert isinstance(load, BodyLoad)
        forward, normal, _ = load.force
        angle = _mean_chord(trim)
        xp = array_namespace(angle)
        pushes.append(forward * xp.sin(angle) + normal * xp.cos(angle))
    return tuple(pushes)


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


@dataclass(frozen=True, kw_only=True)
class _Windage:
    """Drag of all that stands in the wind: the bodies of the layout, the crew, and each raised foil."""

    bodies: tuple[Component, ...]
    crew: Component
    raised: tuple[Load, ...]


def _windage(fleet_layout: Layout, boats: BoatArrays, wind: Wind, state: State) -> _Windage:
    """All bodies at once; those that stay where they are on the boat also have one load together."""
    bluff = boats.bluff
    raised = [
        (foil, _raised_arm(foil, 0.5 * foil.shape.span[0]))
        for each, foil in zip(fleet_layout.foils, boats.foils, strict=True)
        if each.kind == foiling.CANTING_PAIR
    ]
    # the drag areas of a raised foil and of a person hold a coefficient already
    areas = [foil.raised_drag_area for foil, _ in raised] + [boats.crew_drag_area]
    height = _rows(bluff.height, *(z for _, (_, _, z) in raised), boats.crew_z)
    ahead, leeward = wind_at(
        height=height, wind=wind, boat_speed=state.boat_speed, leeway=state.leeway, heel=state.heel
    )
    forward, normal = bluff_body_force(
        from_ahead=ahead,
        to_leeward=leeward,
        frontal_area=_rows(bluff.frontal_area, *areas),
        side_area=_rows(bluff.side_area, *areas),
        drag_coefficient=_rows(bluff.drag_coefficient, *(1.0 + 0.0 * area for area in areas)),
        air_density=wind.air_density * boats.windage_scale,
    )
    none = 0.0 * bluff.x
    fixed = at_height(
        forward[:-1],
        normal[:-1],
        _rows(bluff.x, *(x for _, (x, _, _) in raised)),
        _rows(none, *(y for _, (_, y, _) in raised)),
        height[:-1],
        state,
    )
    crew = at_height(forward[-1], normal[-1], state.crew_x, -1.0 * state.crew_arm, boats.crew_z, state)
    count = len(fleet_layout.bluff)
    return _Windage(
        bodies=tuple(
            Component(name=name, medium="air", load=fixed.row(i)) for i, name in enumerate(fleet_layout.bluff)
        ),
        crew=Component(name="crew windage", medium="air", load=crew),
        raised=tuple(fixed.row(count + i) for i in range(len(raised))),
    )


def _rows(block: Array, *rows: Array) -> Array:
    """Plain rows below a block of them, (rows, conditions)."""
    return array_namespace(block).concatenate([block, *(row[None] for row in rows)])


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
    """A foil in the water: where it is, and its loads in body axes; see `foiling.loads_of_all`."""

    place: foil_geometry.FoilPlace
    loads: hydrofoils.FoilLoads


def foils_at_work(*, fleet_layout: Layout, boats: BoatArrays, state: State) -> tuple[WorkingFoil, ...]:
    """The leeward canting foil and the rudder foil, in the order of the layout."""
    if not fleet_layout.foils:
        return ()
    controls = [
        (state.cant, state.flap) if each.kind == foiling.CANTING_PAIR else (state.rudder, state.elevator)
        for each in fleet_layout.foils
    ]
    found = foiling.loads_of_all(
        layouts=fleet_layout.foils,
        elements=boats.foil_elements(fleet_layout.foils),
        attitude=state.attitude,
        water=boats.water,
        controls=controls,
    )
    return tuple(WorkingFoil(place=place, loads=on_elements) for place, on_elements in found)


def _foil_components(
    fleet_layout: Layout,
    boats: BoatArrays,
    state: State,
    at_work: Sequence[WorkingFoil],
    raised_windage: Sequence[Load],
) -> tuple[Component, ...]:
    components: list[Component] = []
    windage = iter(raised_windage)
    for each, foil, work in zip(fleet_layout.foils, boats.foils, at_work, strict=True):
        on_elements = work.loads
        whole = from_body(
            (on_elements.force_x, on_elements.force_y, on_elements.force_z),
            (on_elements.moment_x, on_elements.moment_y, on_elements.moment_z),
            state,
        )
        components += [
            Component(name=name, medium="water", load=whole.row(i))
            for i, name in enumerate(each.element_names)
        ]
        if each.kind == foiling.CANTING_PAIR:
            components += _canting_components(each, foil, boats, state, next(windage))
    return tuple(components)


def _canting_components(
    each: FoilLayout, foil: FoilArrays, boats: BoatArrays, state: State, windage: Load
) -> list[Component]:
    """Weights of the foil at work and of the one held up to windward, and the windage of the latter."""
    low = foiling.arm_point(foil=foil, cant=state.cant, along=foil.mass_length, side=1.0)
    high = _raised_arm(foil, foil.mass_length)
    return [
        Component(
            name=f"{each.name} weight", medium="gravity", load=_weight_at(foil.mass, low, boats, state)
        ),
        Component(
            name=f"raised {each.name} weight",
            medium="gravity",
            load=_weight_at(foil.mass, high, boats, state),
        ),
        Component(name=f"raised {each.name} windage", medium="air", load=windage),
    ]


def _raised_arm(foil: FoilArrays, along: Array) -> tuple[Array, Array, Array]:
    """A point of the arm that is held up to windward, `along` [m] from its attachment."""
    return foiling.arm_point(foil=foil, cant=foil.raised_cant, along=along, side=-1.0)


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


def sail_limits(boats: BoatArrays, pushes: Sequence[Array], *, scale: Array) -> list[Array]:
    """What fills each sail over `scale` [N]: none may be negative. A solid one has room to be backed."""
    return [push / scale + room for push, room in zip(pushes, boats.backing_room, strict=True)]


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
    parts = ("forward", "leeward", "roll", "yaw", *(("up", "pitch") if fleet_layout.heaves else ()))
    total = total_load(components, parts)
    forward, leeward = total["forward"], total["leeward"]
    xp = array_namespace(forward, leeward, leeway)
    cos_l, sin_l = xp.cos(leeway), xp.sin(leeway)
    left = {
        "surge": forward * cos_l + leeward * sin_l,
        "sway": leeward * cos_l - forward * sin_l,
        "roll": total["roll"],
        "yaw": total["yaw"],
    }
    if fleet_layout.heaves:
        left |= {"heave": total["up"], "pitch": total["pitch"]}
    return xp.stack([left[equation] for equation in fleet_layout.equations])


def residual_scales(fleet_layout: Layout, boats: BoatArrays, tws: Array) -> Array:
    """What the residuals are measured by, (equations, conditions).

    The rig's force in the true wind, with a floor, for the horizontal forces, and it times a length for roll
    and yaw; the weight for heave, and it times a metre for pitch.
    """
    area = (boats.rig.chord * boats.rig.width).sum(axis=0) + sum(sail.area for sail in boats.table_sails)
    xp = array_namespace(area, tws)
    force = 0.5 * boats.air_density * xp.maximum(tws, 2.0) ** 2 * area
    scales = {
        "surge": force,
        "sway": force,
        "heave": weight(fleet_layout, boats),
        "roll": force * boats.rig.reference_height,
        "pitch": weight(fleet_layout, boats),
        "yaw": force * boats.hull.waterline_length,
    }
    return xp.stack([scales[equation] for equation in fleet_layout.equations])
