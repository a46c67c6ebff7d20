"""Forces of a rig of strip sails, from the wind at each strip to the loads on the boat."""

from __future__ import annotations

from dataclasses import dataclass

from vpp.physics.arrays import Array, array_namespace, elementwise, without_derivatives
from vpp.physics.lifting_line import BOUND, StripFlow, WakeOperator, circulation, lifting_speed
from vpp.physics.sections import section_forces
from vpp.physics.wind import power_law_profile, wind_on_heeled_span


@dataclass(frozen=True, kw_only=True)
class RigGeometry:
    """The strips of all sails in one row, sail after sail; arrays (strips, conditions) unless stated.

    `height` is along the mast from the water plane [m]; `share` runs from 0 at the foot to 1 at the head; `x`
    is where the strip's force acts, the quarter chord. `head_ramp` is the share of the head's own camber trim
    in a strip's, 0 throughout a sail without one. `reference_height` (conditions,) is where the wind
    that carries the wakes is taken.
    """

    height: Array
    width: Array
    chord: Array
    x: Array
    share: Array
    camber_flat: Array
    camber_full: Array
    head_ramp: Array
    stall_incidence: Array
    stall_width: Array
    least_drag: Array
    bucket_factor: Array
    drag_maximum: Array
    reference_height: Array


@dataclass(frozen=True, kw_only=True)
class SailTrim:
    """How one sail is set, (conditions,) each.

    Chord angle at the foot [rad], foot to head twist [rad], camber between flattest 0 and fullest 1, and
    the same for the head where the sail has a control for it (any number where it has none).
    """

    sheet: Array
    twist: Array
    camber: Array
    head_camber: Array


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
) -> StripFlow:
    """The flow at every strip before the sails act on each other, in wind axes.

    `sails` says which strips belong to which sail.
    """
    reference_ahead, reference_leeward = wind_at(
        height=geometry.reference_height, wind=wind, boat_speed=boat_speed, leeway=leeway, heel=heel
    )
    ahead, to_leeward = wind_at(
        height=geometry.height, wind=wind, boat_speed=boat_speed, leeway=leeway, heel=heel
    )
    xp = array_namespace(ahead, *(value for trim in trims for value in vars(trim).values()))
    angle = xp.arctan2(reference_leeward, reference_ahead)
    cos_a, sin_a = xp.cos(angle), xp.sin(angle)
    chord_angle = xp.concatenate(
        [trim.sheet + trim.twist * geometry.share[sail] for sail, trim in zip(sails, trims, strict=True)]
    )
    camber = xp.concatenate(
        [
            geometry.camber_flat[sail]
            + _local_trim(trim, geometry.head_ramp[sail])
            * (geometry.camber_full[sail] - geometry.camber_flat[sail])
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


def _local_trim(trim: SailTrim, head_ramp: Array) -> Array:
    """Camber trim of each strip."""
    return trim.camber + (trim.head_camber - trim.camber) * head_ramp


def strip_loads(
    *, geometry: RigGeometry, operator: WakeOperator, flow: StripFlow, air_density: Array
) -> StripLoads:
    """Forces on every strip, with the flow that the sails induce on each other and on themselves.

    Incidence and circulation come from the flow that the chord meets, at three quarters of it. The lift is
    density times circulation times the flow at the bound vortex, and across it (Kutta-Joukowski): only there
    do the forces of two vortices on each other cancel, so that the induced drag is that of the wake (Munk's
    stagger theorem, NACA Report 121, 1921). Profile drag acts along the same flow.
    """
    wake = operator.turned(flow.wind_angle)
    gamma = circulation(wake=wake, flow=flow)
    met_across, met_along = wake.induced(gamma)
    bound_across, bound_along = operator.turned(flow.wind_angle, BOUND).induced(gamma)

    def forces(
        met_along: Array,
        met_across: Array,
        bound_along: Array,
        bound_across: Array,
        undisturbed_across: Array,
        chord_angle: Array,
        camber: Array,
    ) -> tuple[Array, ...]:
        xp = array_namespace(
            met_along, met_across, bound_along, bound_across, undisturbed_across, chord_angle, camber
        )
        incidence = xp.arctan2(met_across, met_along) - chord_angle
        lift, drag = section_forces(
            incidence=incidence,
            camber=camber,
            stall_incidence=geometry.stall_incidence,
            stall_width=geometry.stall_width,
            least_drag=geometry.least_drag,
            bucket_factor=geometry.bucket_factor,
            drag_maximum=geometry.drag_maximum,
        )
        speed = lifting_speed(along=met_along, undisturbed_across=undisturbed_across)
        scale = 0.5 * air_density * geometry.chord * geometry.width * speed
        return (
            scale * (drag * bound_along - lift * bound_across),
            scale * (lift * bound_along + drag * bound_across),
            without_derivatives(incidence),
            without_derivatives(lift),
        )

    along, across, incidence, lift = elementwise(
        forces,
        flow.along + met_along,
        flow.across + met_across,
        flow.along + bound_along,
        flow.across + bound_across,
        flow.across,
        flow.chord_angle,
        flow.camber,
    )
    return StripLoads(
        along=along, across=across, wind_angle=flow.wind_angle, incidence=incidence, lift_coefficient=lift
    )
