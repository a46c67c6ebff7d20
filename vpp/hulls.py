"""The hulls that a boat may have, behind one interface: geometry to arrays, and a state to loads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from vpp.boat import FormedHull, Hull
from vpp.foiling import Water
from vpp.physics import hull, hull_form, stability
from vpp.physics.arrays import Array
from vpp.state import Component, Load, State, against_course


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
class FormedHullArrays:
    """Hull given by its shape, of every boat: arrays (boats,); columns and waves as `hull_form` has them."""

    waterline_length: Array
    drawn_volume: Array
    form_factor: Array
    columns: hull_form.Columns
    waves: hull_form.WaveTable


def hull_arrays(form: Hull | FormedHull) -> HullArrays | FormedHullArrays:
    if isinstance(form, FormedHull):
        return _formed_hull_arrays(form)
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


def _formed_hull_arrays(form: FormedHull) -> FormedHullArrays:
    shape: dict[str, Any] = {
        "waterline_length": form.waterline_length,
        "waterline_beam": form.waterline_beam,
        "canoe_draught": form.canoe_draught,
        "waterline_exponent": form.waterline_exponent,
        "section_exponent": form.section_exponent,
    }
    return FormedHullArrays(
        waterline_length=form.waterline_length,
        drawn_volume=hull_form.drawn_volume(**shape),
        form_factor=form.form_factor,
        columns=hull_form.hull_columns(**shape, centre_x=form.centre_x),
        waves=hull_form.wave_table(**shape),
    )


def hull_components(form: HullArrays | FormedHullArrays, water: Water, state: State) -> tuple[Component, ...]:
    """What the water does to a hull; the buoyancy of one that floats at its own weight is `floating_buoyancy`."""
    if isinstance(form, FormedHullArrays):
        return _formed_hull_components(form, water, state)
    growth = hull.heel_resistance_factor(heel=state.heel, growth_at_20deg=form.heel_resistance_20deg)
    friction = growth * _friction(form, water, form.wetted_area, state)
    residuary = growth * hull.residuary_resistance(
        froude_number=froude_number(form, water, state.boat_speed),
        weight=water.density * water.gravity * form.canoe_volume,
        start=form.residuary_start,
        step=form.residuary_step,
        coefficients=form.residuary_coefficients,
    )
    return (
        Component(name="hull friction", medium="water", load=against_course(friction, state.leeway)),
        Component(name="hull residuary", medium="water", load=against_course(residuary, state.leeway)),
    )


def _formed_hull_components(form: FormedHullArrays, water: Water, state: State) -> tuple[Component, ...]:
    """Buoyancy and resistance of what is in the water of the hull: nothing once it is clear."""
    afloat = hull_form.buoyancy(
        columns=form.columns,
        ride_height=state.ride_height,
        heel=state.heel,
        pitch=state.pitch,
        water_density=water.density,
        gravity=water.gravity,
    )
    friction = _friction(form, water, afloat.wetted_area, state)
    waves = hull_form.wave_resistance(
        froude_number=froude_number(form, water, state.boat_speed),
        volume=afloat.volume,
        drawn_volume=form.drawn_volume,
        waterline_length=form.waterline_length,
        table=form.waves,
        water_density=water.density,
        gravity=water.gravity,
    )
    lift = Load(up=afloat.up, roll=afloat.roll, pitch=afloat.pitch)
    return (
        Component(name="hull friction", medium="water", load=against_course(friction, state.leeway)),
        Component(name="hull waves", medium="water", load=against_course(waves, state.leeway)),
        Component(name="buoyancy", medium="water", load=lift),
    )


def _friction(form: HullArrays | FormedHullArrays, water: Water, wetted_area: Array, state: State) -> Array:
    return hull.frictional_resistance(
        speed=state.boat_speed,
        wetted_area=wetted_area,
        waterline_length=form.waterline_length,
        water_density=water.density,
        water_viscosity=water.viscosity,
        form_factor=form.form_factor,
    )


def floating_buoyancy(
    form: HullArrays, weight: Array, state: State, others: Sequence[Component]
) -> Component:
    """Buoyancy of a hull that floats at a weight [N]: it takes up what is left of heave and pitch."""
    righting = stability.form_righting_moment(
        heel=state.heel,
        weight=weight,
        buoyancy_centre_z=form.buoyancy_centre_z,
        metacentric_radius=form.metacentric_radius,
    )
    up = -sum(component.load.up for component in others)
    pitch = -sum(component.load.pitch for component in others)
    return Component(name="buoyancy", medium="water", load=Load(up=up, roll=righting, pitch=pitch))


def froude_number(form: HullArrays | FormedHullArrays, water: Water, boat_speed: Array) -> Array:
    """Froude number on the waterline length."""
    return boat_speed / (water.gravity * form.waterline_length) ** 0.5
