"""Forces of a rig of strip sails, from the wind at each strip to the loads on the boat."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from vpp.physics.arrays import (
    Array,
    apply_operator,
    array_namespace,
    elementwise,
    has_settled_sums,
    without_derivatives,
)
from vpp.physics.lifting_line import BOUND, StripFlow, TurnedWake, WakeOperator, circulation, lifting_speed
from vpp.physics.sail_sections import MeanLine, equivalent_arc
from vpp.physics.sections import section_forces
from vpp.physics.wind import power_law_profile, wind_on_heeled_span


@dataclass(frozen=True, kw_only=True)
class RigGeometry:
    """The strips of all sails in one row, sail after sail; arrays (strips, conditions) unless stated.

    `height` is along the mast from the water plane [m]; `share` runs from 0 at the foot to 1 at the head; `x`
    is where the strip's force acts, the quarter chord. `head_ramp` and `foot_ramp` are the shares of the
    head's and the foot's own camber trim in a strip's, 0 throughout a sail without them. `least_drag` and the
    stall are those without camber; `tail_ratio` and `camber_drag` say what camber does to them (see
    `sections.section_forces`). `reference_height` (conditions,) is where the wind that carries the wakes is
    taken.
    """

    height: Array
    width: Array
    chord: Array
    x: Array
    share: Array
    camber_flat: Array
    camber_full: Array
    head_ramp: Array
    foot_ramp: Array
    mean_line: MeanLine
    stall_incidence: Array
    stall_width: Array
    least_drag: Array
    bucket_factor: Array
    drag_maximum: Array
    tail_ratio: Array
    camber_drag: Array
    reference_height: Array


@dataclass(frozen=True, kw_only=True)
class SailTrim:
    """How one sail is set, (conditions,) each.

    Chord angle at the foot [rad], foot to head twist [rad], camber between flattest 0 and fullest 1, and
    the same for the head and the foot where the sail has a control for them (any number where it has none).
    """

    sheet: Array
    twist: Array
    camber: Array
    head_camber: Array
    foot_camber: Array = 0.0


@dataclass(frozen=True, kw_only=True)
class SailShape:
    """How the strips stand as their sails are trimmed, arrays (strips, conditions).

    Chord angle from the centreline [rad], positive to leeward; depth over chord; and the angle of the nose
    from the chord [rad] where it turns with the mast, positive where it adds to the camber; 0 (no array)
    where no mast turns.
    """

    chord_angle: Array
    camber: Array
    nose_angle: Array


@dataclass(frozen=True, kw_only=True)
class StripLoads:
    """What every strip does, arrays (strips, conditions): forces along the wind and across it, normal to the
    mast [N], and the section's state.

    The wind is that of `wind_angle` (conditions,). Incidence and lift coefficient are there to be looked at
    and carry no derivatives.
    """

    along: Array
    across: Array
    wind_angle: Array
    incidence: Array
    lift_coefficient: Array

    @property
    def forward(self) -> Array:
        """Force forward along the centreline [N]."""
        return from_wind_axes(along=self.along, across=self.across, wind_angle=self.wind_angle)[0]

    @property
    def leeward(self) -> Array:
        """Force to leeward, normal to centreline and mast [N]."""
        return from_wind_axes(along=self.along, across=self.across, wind_angle=self.wind_angle)[1]


def from_wind_axes(*, along: Array, across: Array, wind_angle: Array) -> tuple[Array, Array]:
    """Parts forward and to leeward of a force given along the apparent wind and across it, to leeward and
    forward.
    """
    xp = array_namespace(along, across, wind_angle)
    cos_a, sin_a = xp.cos(wind_angle), xp.sin(wind_angle)
    return across * sin_a - along * cos_a, across * cos_a + along * sin_a


@dataclass(frozen=True, kw_only=True)
class Wind:
    """What the rig moves through; all (conditions,).

    `true_wind_speed` is at the reference height of the profile. `ride_height` [m] is that of the boat's
    reference point, from which heights along the mast count, over the water.
    """

    true_wind_speed: Array
    true_wind_angle: Array
    exponent: Array
    profile_height: Array
    air_density: Array
    ride_height: Array = 0.0


def wind_at(
    *, height: Array, wind: Wind, boat_speed: Array, leeway: Array, heel: Array
) -> tuple[Array, Array]:
    """Apparent wind from ahead and to leeward [m/s], normal to the mast, at a height along it; see
    `wind_on_heeled_span`.
    """

    def at(
        height: Array, twa: Array, boat_speed: Array, leeway: Array, heel: Array, ride_height: Array
    ) -> tuple[Array, ...]:
        xp = array_namespace(height, twa, boat_speed, leeway, heel, ride_height)
        profile = power_law_profile(
            height=height * xp.cos(heel) + ride_height,
            exponent=wind.exponent,
            reference_height=wind.profile_height,
        )
        return wind_on_heeled_span(
            true_wind_speed=wind.true_wind_speed * profile,
            true_wind_angle=twa,
            boat_speed=boat_speed,
            leeway=leeway,
            heel=heel,
        )

    ahead, leeward = elementwise(at, height, wind.true_wind_angle, boat_speed, leeway, heel, wind.ride_height)
    return ahead, leeward


def strip_flow(
    *,
    geometry: RigGeometry,
    sails: tuple[slice, ...],
    trims: tuple[SailTrim, ...],
    wind: Wind,
    boat_speed: Array,
    leeway: Array,
    heel: Array,
    mast_rotation: Array | None = None,
) -> StripFlow:
    """The flow at every strip before the sails act on each other, in wind axes.

    `sails` says which strips belong to which sail; `mast_rotation` [rad] is that of a turning mast from the
    foot chord, None where no mast turns. Every section is handed on as the parabolic arc of equal lift, with
    its incidence counted from the ideal one: what thin-aerofoil theory says of a mean line is linear in its
    shape.
    """
    reference_ahead, reference_leeward = wind_at(
        height=geometry.reference_height, wind=wind, boat_speed=boat_speed, leeway=leeway, heel=heel
    )
    ahead, to_leeward = wind_at(
        height=geometry.height, wind=wind, boat_speed=boat_speed, leeway=leeway, heel=heel
    )
    shape = sail_shape(geometry=geometry, sails=sails, trims=trims, mast_rotation=mast_rotation)
    xp = array_namespace(ahead, shape.chord_angle)
    angle = xp.arctan2(reference_leeward, reference_ahead)
    cos_a, sin_a = xp.cos(angle), xp.sin(angle)
    arc_incidence, arc_camber = equivalent_arc(
        line=geometry.mean_line,
        incidence=angle - shape.chord_angle,
        camber=shape.camber,
        rotation=shape.nose_angle,
    )
    return StripFlow(
        along=ahead * cos_a + to_leeward * sin_a,
        across=to_leeward * cos_a - ahead * sin_a,
        wind_angle=angle,
        chord_angle=-arc_incidence,
        chord=geometry.chord,
        camber=arc_camber,
        stall_incidence=geometry.stall_incidence,
        stall_width=geometry.stall_width,
        tail_ratio=geometry.tail_ratio,
        ride_height=wind.ride_height,
    )


def sail_shape(
    *,
    geometry: RigGeometry,
    sails: tuple[slice, ...],
    trims: tuple[SailTrim, ...],
    mast_rotation: Array | None = None,
) -> SailShape:
    """How every strip stands. A mast that does not twist turns less from a chord that does."""
    values = (value for trim in trims for value in vars(trim).values())
    xp = array_namespace(geometry.share, *values)
    opening = [trim.twist * geometry.share[sail] for sail, trim in zip(sails, trims, strict=True)]
    return SailShape(
        chord_angle=xp.concatenate(
            [trim.sheet + open_by for trim, open_by in zip(trims, opening, strict=True)]
        ),
        camber=xp.concatenate(
            [
                geometry.camber_flat[sail]
                + _local_trim(trim, geometry.head_ramp[sail], geometry.foot_ramp[sail])
                * (geometry.camber_full[sail] - geometry.camber_flat[sail])
                for sail, trim in zip(sails, trims, strict=True)
            ]
        ),
        nose_angle=0.0
        if mast_rotation is None
        else xp.concatenate([mast_rotation - open_by for open_by in opening]),
    )


def _local_trim(trim: SailTrim, head_ramp: Array, foot_ramp: Array) -> Array:
    """Camber trim of each strip."""
    return (
        trim.camber
        + (trim.head_camber - trim.camber) * head_ramp
        + (trim.foot_camber - trim.camber) * foot_ramp
    )


def strip_loads(
    *, geometry: RigGeometry, operator: WakeOperator, flow: StripFlow, air_density: Array
) -> StripLoads:
    """Forces on every strip, with the flow that the sails induce on each other and on themselves.

    Incidence and circulation come from the flow that the chord meets, at three quarters of it. The lift is
    density times circulation times the flow at the bound vortex, and across it (Kutta-Joukowski): only there
    do the forces of two vortices on each other cancel, so that the induced drag is that of the wake (Munk's
    stagger theorem, NACA Report 121, 1921). Profile drag acts along the same flow.
    """
    if has_settled_sums(*vars(flow).values()):
        strips = len(geometry.height)
        one_by_one = np.broadcast_to(np.eye(strips), (len(operator.boat), strips, strips))
        along, across, incidence, lift = _settled_sums(geometry, operator, flow, air_density, one_by_one)
        return StripLoads(
            along=along, across=across, wind_angle=flow.wind_angle, incidence=incidence, lift_coefficient=lift
        )
    met = _met(geometry, operator, flow)
    along, across = _forces(
        geometry, air_density, lift=met.lift, drag=met.drag, speed=met.speed, bound=met.bound(flow)
    )
    return StripLoads(
        along=along,
        across=across,
        wind_angle=flow.wind_angle,
        incidence=without_derivatives(met.incidence),
        lift_coefficient=without_derivatives(met.lift),
    )


@dataclass(frozen=True, kw_only=True)
class StripForceParts:
    """What a strip's force along the wind and across it consists of [N], (strips, conditions) each: lift in
    the wind as it comes, what the wakes' induced flow adds to it, and profile drag. Their sum is the force.
    """

    lift: tuple[Array, Array]
    induced: tuple[Array, Array]
    profile: tuple[Array, Array]


def strip_force_parts(
    *, geometry: RigGeometry, operator: WakeOperator, flow: StripFlow, air_density: Array
) -> StripForceParts:
    """`strip_loads` in parts. Lift is of the circulation that the strip has with its wakes, in the flow that
    it would meet without them: the rest of the force of that circulation is induced.
    """
    met = _met(geometry, operator, flow)

    def force(*, lift: Array, drag: Array, bound: tuple[Array, Array]) -> tuple[Array, Array]:
        return _forces(geometry, air_density, lift=lift, drag=drag, speed=met.speed, bound=bound)

    none = 0.0 * met.lift
    return StripForceParts(
        lift=force(lift=met.lift, drag=none, bound=(flow.across, flow.along)),
        induced=force(lift=met.lift, drag=none, bound=met.induced),
        profile=force(lift=none, drag=met.drag, bound=met.bound(flow)),
    )


@dataclass(frozen=True, kw_only=True)
class _Met:
    """How strips meet the flow with their wakes, and section coefficients there; `induced` is what wakes add
    at the bound vortex, across the wind and along it.
    """

    incidence: Array
    lift: Array
    drag: Array
    speed: Array
    induced: tuple[Array, Array]

    def bound(self, flow: StripFlow) -> tuple[Array, Array]:
        """Flow across and along the wind at the bound vortex."""
        return flow.across + self.induced[0], flow.along + self.induced[1]


def _met(geometry: RigGeometry, operator: WakeOperator, flow: StripFlow) -> _Met:
    xp = array_namespace(flow.along, flow.across, flow.chord_angle)
    wake = operator.turned(flow.wind_angle, ride_height=flow.ride_height)
    gamma = circulation(wake=wake, flow=flow)
    met_across, met_along = wake.induced(gamma)
    at_bound = operator.turned(flow.wind_angle, BOUND, ride_height=flow.ride_height)
    met_across, met_along = flow.across + met_across, flow.along + met_along
    incidence = xp.arctan2(met_across, met_along) - flow.chord_angle

    def section(incidence: Array, camber: Array) -> tuple[Array, ...]:
        return _section(geometry, incidence, camber)

    lift, drag = elementwise(section, incidence, flow.camber)
    return _Met(
        incidence=incidence,
        lift=lift,
        drag=drag,
        speed=lifting_speed(along=met_along, undisturbed_across=flow.across),
        induced=at_bound.induced(gamma),
    )


def strip_sums(
    *,
    geometry: RigGeometry,
    operator: WakeOperator,
    flow: StripFlow,
    air_density: Array,
    sums: Array,
    later: list[Any] | None = None,
) -> tuple[Array, Array]:
    """Sums over the strips of their forces along the wind and across it, (rows, conditions) each, by `sums`
    (conditions, rows, strips); see `strip_loads`.

    Of sums with derivatives the second ones may be left out, for `later`: see `vpp.solver.jets.settled_sums`.
    """
    if array_namespace(sums) is np:
        # of matrices that lie otherwise in memory NumPy makes products, and rounds them, in another way
        sums = np.ascontiguousarray(sums)
    if has_settled_sums(*vars(flow).values()):
        along, across, _, _ = _settled_sums(geometry, operator, flow, air_density, sums, later)
        return along, across
    loads = strip_loads(geometry=geometry, operator=operator, flow=flow, air_density=air_density)
    return apply_operator(sums, loads.along), apply_operator(sums, loads.across)


def _settled_sums(
    geometry: RigGeometry,
    operator: WakeOperator,
    flow: StripFlow,
    air_density: Array,
    sums: Array,
    later: list[Any] | None = None,
) -> tuple[Array, ...]:
    """`strip_sums` with derivatives; incidence and lift coefficient of every strip without."""
    plain = flow.without_derivatives()
    matrices = operator.taylor(plain.wind_angle, plain.ride_height)
    strips = len(geometry.height)
    met = TurnedWake(matrix=matrices[0][:, : 2 * strips])

    def forces(
        met_across: Array,
        met_along: Array,
        bound_across: Array,
        bound_along: Array,
        along: Array,
        across: Array,
        chord_angle: Array,
        camber: Array,
    ) -> tuple[Array, ...]:
        local = replace(flow, along=along, across=across, chord_angle=chord_angle, camber=camber)

        def section(incidence: Array, camber: Array) -> tuple[Array, ...]:
            shed = local.shed_lift(incidence=incidence, camber=camber)
            return (*_section(geometry, incidence, camber), shed)

        incidence = array_namespace(met_across).arctan2(met_across, met_along) - chord_angle
        lift, drag, shed = elementwise(section, incidence, camber)
        speed = lifting_speed(along=met_along, undisturbed_across=across)
        bound = (bound_across, bound_along)
        return (
            *_forces(geometry, air_density, lift=lift, drag=drag, speed=speed, bound=bound),
            without_derivatives(incidence),
            without_derivatives(lift),
            local.shedding_chord() * speed * shed,
        )

    namespace = array_namespace(*vars(flow).values())
    return namespace.settled_sums(  # type: ignore[no-any-return]
        forces,
        2 * (flow.across, flow.along) + (flow.along, flow.across, flow.chord_angle, flow.camber),
        operators=matrices,
        angle=flow.wind_angle,
        lift=None if operator.mirrored_from is None else flow.ride_height,
        by_lift=operator.by_ride_height(plain.wind_angle),
        unknown=circulation(wake=met, flow=plain),
        sums=sums,
        later=later,
    )


def _section(geometry: RigGeometry, incidence: Array, camber: Array) -> tuple[Array, Array]:
    """Lift and drag coefficient of every strip."""
    return section_forces(
        incidence=incidence,
        camber=camber,
        stall_incidence=geometry.stall_incidence,
        stall_width=geometry.stall_width,
        least_drag=geometry.least_drag,
        bucket_factor=geometry.bucket_factor,
        drag_maximum=geometry.drag_maximum,
        tail_ratio=geometry.tail_ratio,
        camber_drag=geometry.camber_drag,
    )


def _forces(
    geometry: RigGeometry,
    air_density: Array,
    *,
    lift: Array,
    drag: Array,
    speed: Array,
    bound: tuple[Array, Array],
) -> tuple[Array, Array]:
    """Force along the wind and across it of every strip, from the flow across and along at the bound
    vortex.
    """
    bound_across, bound_along = bound
    scale = 0.5 * air_density * geometry.chord * geometry.width * speed
    return scale * (drag * bound_along - lift * bound_across), scale * (
        lift * bound_along + drag * bound_across
    )
