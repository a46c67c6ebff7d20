"""Forces of a rig of strip sails, from the wind at each strip to the loads on the boat."""

from __future__ import annotations

from dataclasses import dataclass

from vpp.physics.arrays import Array, array_namespace, elementwise, without_derivatives
from vpp.physics.lifting_line import StripFlow, WakeOperator, circulation, lifting_speed
from vpp.physics.sections import section_forces
from vpp.physics.wind import power_law_profile, wind_on_heeled_span


@dataclass(frozen=True, kw_only=True)
class RigGeometry:
    """The strips of all sails in one row, sail after sail; arrays (strips, conditions) unless stated.

    `height` is along the mast from the water plane [m]; `share` runs from 0 at the foot to 1 at the head; `x` is where the strip's force
    acts, the quarter chord. `reference_height` (conditions,) is where the wind that carries the wakes is taken.
    """

    height: Array
    width: Array
    chord: Array
    x: Array
    share: Array
    camber_flat: Array
    camber_full: Array
    stall_incidence: Array
    stall_width: Array
    least_drag: Array
    bucket_factor: Array
    drag_maximum: Array
    reference_height: Array


@dataclass(frozen=True, kw_only=True)
class SailTrim:
    """How one sail is set: chord angle at the foot [rad], foot to head twist [rad], camber between flattest 0 and fullest 1; (conditions,)."""

    sheet: Array
    twist: Array
    camber: Array


@dataclass(frozen=True, kw_only=True)
class StripLoads:
    """What every strip does, arrays (strips, conditions): forces forward and to leeward, normal to the mast [N], and the section's state.

    Incidence and lift coefficient are there to be looked at and carry no derivatives.
    """

    forward: Array
    leeward: Array
    incidence: Array
    lift_coefficient: Array
    camber: Array


@dataclass(frozen=True, kw_only=True)
class Wind:
    """What the rig moves through; all (conditions,). `true_wind_speed` is at the reference height of the profile."""

    true_wind_speed: Array
    true_wind_angle: Array
    exponent: Array
    profile_height: Array
    air_density: Array


def wind_at(*, height: Array, wind: Wind, boat_speed: Array, leeway: Array, heel: Array) -> tuple[Array, Array]:
    """Apparent wind from ahead and to leeward [m/s], normal to the mast, at a height along it; see `wind_on_heeled_span`."""

    def at(height: Array, twa: Array, boat_speed: Array, leeway: Array, heel: Array) -> tuple[Array, ...]:
        xp = array_namespace(height, twa, boat_speed, leeway, heel)
        profile = power_law_profile(
            height=height * xp.cos(heel), exponent=wind.exponent, reference_height=wind.profile_height
        )
        return wind_on_heeled_span(
            true_wind_speed=wind.true_wind_speed * profile,
            true_wind_angle=twa,
            boat_speed=boat_speed,
            leeway=leeway,
            heel=heel,
        )

    ahead, leeward = elementwise(at, height, wind.true_wind_angle, boat_speed, leeway, heel)
    return ahead, leeward


def strip_flow(
    *, geometry: RigGeometry, sails: tuple[slice, ...], trims: tuple[SailTrim, ...], wind: Wind, boat_speed: Array, leeway: Array, heel: Array
) -> StripFlow:
    """The flow at every strip before the sails act on each other, in wind axes. `sails` says which strips belong to which sail."""
    reference_ahead, reference_leeward = wind_at(
        height=geometry.reference_height, wind=wind, boat_speed=boat_speed, leeway=leeway, heel=heel
    )
    ahead, to_leeward = wind_at(height=geometry.height, wind=wind, boat_speed=boat_speed, leeway=leeway, heel=heel)
    xp = array_namespace(ahead, *(value for trim in trims for value in vars(trim).values()))
    angle = xp.arctan2(reference_leeward, reference_ahead)
    cos_a, sin_a = xp.cos(angle), xp.sin(angle)
    chord_angle = xp.concatenate(
        [trim.sheet + trim.twist * geometry.share[sail] for sail, trim in zip(sails, trims, strict=True)]
    )
    camber = xp.concatenate(
        [
            geometry.camber_flat[sail] + trim.camber * (geometry.camber_full[sail] - geometry.camber_flat[sail])
            for sail, trim in zip(sails, trims, strict=True)
        ]
    )
    return StripFlow(
        along=ahead * cos_a + to_leeward * sin_a,
        across=to_leeward * cos_a - ahead * sin_a,
        wind_angle=angle,
        chord_angle=chord_angle - angle,
        chord=geometry.chord,
        camber=camber,
        stall_incidence=geometry.stall_incidence,
        stall_width=geometry.stall_width,
    )


def strip_loads(*, geometry: RigGeometry, operator: WakeOperator, flow: StripFlow, air_density: Array) -> StripLoads:
    """Forces on every strip, with the flow that the sails induce on each other and on themselves.

    Lift acts across and drag along the flow that the strip feels; the induced drag is the lift's tilt. The lift is density times circulation
    times that flow's speed (Kutta-Joukowski), the circulation being made from the `lifting_speed`.
    """
    wake = operator.turned(flow.wind_angle)
    induced_across, induced_along = wake.induced(circulation(wake=wake, flow=flow))

    def forces(
        along: Array, undisturbed_across: Array, induced: Array, chord_angle: Array, camber: Array, wind_angle: Array
    ) -> tuple[Array, ...]:
        xp = array_namespace(along, undisturbed_across, induced, chord_angle, camber, wind_angle)
        speed = lifting_speed(along=along, undisturbed_across=undisturbed_across)
        across = undisturbed_across + induced
        incidence = xp.arctan2(across, along) - chord_angle
        lift, drag = section_forces(
            incidence=incidence,
            camber=camber,
            stall_incidence=geometry.stall_incidence,
            stall_width=geometry.stall_width,
            least_drag=geometry.least_drag,
            bucket_factor=geometry.bucket_factor,
            drag_maximum=geometry.drag_maximum,
        )
        scale = 0.5 * air_density * geometry.chord * geometry.width * speed
        force_along = scale * (drag * along - lift * across)
        force_across = scale * (lift * along + drag * across)
        cos_a, sin_a = xp.cos(wind_angle), xp.sin(wind_angle)
        return (
            force_across * sin_a - force_along * cos_a,
            force_across * cos_a + force_along * sin_a,
            without_derivatives(incidence),
            without_derivatives(lift),
        )

    forward, leeward, incidence, lift = elementwise(
        forces, flow.along + induced_along, flow.across, induced_across, flow.chord_angle, flow.camber, flow.wind_angle
    )
    return StripLoads(forward=forward, leeward=leeward, incidence=incidence, lift_coefficient=lift, camber=flow.camber)
