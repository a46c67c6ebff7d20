"""The hulls that a boat may have, behind one interface: geometry to arrays, and a state to loads.

A hull floats at its boat's weight (`Hull`: heave and pitch are taken up by buoyancy), or is given by its
shape and free to heave and pitch (`FormedHull`: slender, two slender ones abreast, or planing at speed).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any

import numpy as np

from vpp.boat import Boat, FormedHull, Hull
from vpp.foiling import Water
from vpp.physics import hull, hull_form, hull_sections, planing_handover, stability
from vpp.physics.arrays import Array
from vpp.physics.hull_tables import ResistanceTable, resistance_table, table_resistance
from vpp.physics.planing import PlaningHull
from vpp.physics.planing_handover import HullLoad
from vpp.physics.righting_curves import RightingCurve, gz_curve, righting_moment_of_form
from vpp.physics.section_waves import section_wave_table
from vpp.physics.twin_hull import (
    TwinWaveTable,
    twin_section_wave_table,
    twin_wave_resistance,
    twin_wave_table,
)
from vpp.state import Component, Drag, Load, State, total_load

# Models of the side force: the induced drag by the effective draught of hull and keel, or by the surface that
# every fin is mirrored in.
EFFECTIVE_DRAUGHT, SURFACE_IMAGE = "effective_draught", "surface_image"
# How far a hull's keel line may lie off that of its planing bottom and count as straight, in beams.
RUN_TOLERANCE = 0.01
# Names of components by the hull's resistance, for whoever asks what they are.
RESISTANCE = (
    "hull friction",
    "hull residuary",
    "hull resistance",
    "hull waves",
    "planing drag",
    "added resistance in waves",
)


@dataclass(frozen=True, kw_only=True)
class HullLayout:
    """What hulls must share to be solved in one batch: model, model of stability and of the side force, how
    many hulls, and how many speeds, heels and righting arms their tables have.
    """

    model: str
    stability: str = ""
    side_force: str = ""
    hulls: int = 1
    table: tuple[int, ...] = ()
    sea: bool = False

    @property
    def heaves(self) -> bool:
        """Whether heave and pitch are solved for."""
        return not self.stability


@dataclass(frozen=True, kw_only=True)
class HullArrays:
    """Hull that floats at its boat's weight, of every boat.

    Arrays (boats,) but for the residuary curve's coefficients (4, pieces, boats) and those of heeled wetted
    area (4, pieces, boats) and effective draught (2, 4, pieces, boats). None is what a model does not have;
    `beyond_wetted` is 1 for a hull outside the tests of heeled wetted area, which is taken at their end.
    """

    waterline_length: Array
    canoe_volume: Array
    wetted_area: Array
    form_factor: Array
    roughness: Array
    heel_resistance_20deg: Array
    buoyancy_centre_z: Array
    metacentric_radius: Array
    residuary: hull.ResiduaryCurve | None
    heeled_wetted: Array | None
    beyond_wetted: Array
    effective_draught: Array | None
    total_draught: Array
    resistance: ResistanceTable | None
    righting: RightingCurve | None


@dataclass(frozen=True, kw_only=True)
class PlaningArrays:
    """What a hull that planes has besides, arrays (boats,): its bottom with length [m] and fullness, and the
    length [m] of its run, over which the hull is as straight as the bottom; x of the buoyancy centre [m], and
    the volume [m^3] of the boat's weight.
    """

    bottom: PlaningHull
    length: Array
    run: Array
    fullness: Array
    level_x: Array
    weight_volume: Array


@dataclass(frozen=True, kw_only=True)
class FormedHullArrays:
    """Hull given by its shape, of every boat: arrays (boats,); columns and waves as `hull_form` has them, of
    the leeward and the windward hull of a catamaran.
    """

    waterline_length: Array
    drawn_volume: Array
    form_factor: Array
    roughness: Array
    columns: tuple[hull_form.Columns, ...]
    waves: hull_form.WaveTable | TwinWaveTable
    planing: PlaningArrays | None


def hull_layout(boat: Boat) -> HullLayout:
    """The layout of a boat's hull."""
    lines, sea = boat.hull, not boat.sea.is_flat
    if isinstance(lines, FormedHull):
        return HullLayout(model=lines.model, hulls=2 if lines.hull_spacing > 0.0 else 1, sea=sea)
    rows = lines.resistance
    table = () if rows is None else (len(rows.speed), len(rows.heel))
    curve = () if lines.levers is None else (len(lines.levers.heel),)
    return HullLayout(
        model=lines.model,
        stability="wall_sided" if lines.levers is None else "curve",
        side_force=lines.side_force_model,
        table=(*table, *curve),
        sea=sea,
    )


# --- arrays -------------------------------------------------------------------------------------------------


def hull_arrays(boat: Boat) -> HullArrays | FormedHullArrays:
    """The hull of one boat."""
    if isinstance(boat.hull, FormedHull):
        return _formed_hull_arrays(boat, boat.hull)
    lines = boat.hull
    return HullArrays(
        waterline_length=lines.waterline_length,
        canoe_volume=lines.canoe_volume,
        wetted_area=lines.wetted_area,
        form_factor=lines.form_factor,
        roughness=lines.roughness,
        heel_resistance_20deg=lines.heel_resistance_20deg,
        buoyancy_centre_z=lines.buoyancy_centre_z,
        metacentric_radius=lines.metacentric_radius,
        residuary=None if lines.resistance is not None else hull.residuary_curve(**series_form(lines)),
        heeled_wetted=None if lines.resistance is not None else _heeled_wetted(lines),
        beyond_wetted=_beyond_wetted(lines),
        effective_draught=_effective_draught(boat, lines),
        total_draught=boat.draught,
        resistance=_resistance_table(boat, lines),
        righting=_righting_curve(lines),
    )


def series_form(lines: Hull) -> dict[str, float]:
    """What the systematic series asks of a hull."""
    return {
        "waterline_length": lines.waterline_length,
        "waterline_beam": lines.waterline_beam,
        "canoe_draught": lines.canoe_draught,
        "canoe_volume": lines.canoe_volume,
        "prismatic_coefficient": lines.prismatic_coefficient,
        "buoyancy_centre_share": lines.buoyancy_centre_share,
    }


def _wetted_parameters(lines: Hull) -> dict[str, float]:
    """What the regression of wetted area at heel asks of a hull."""
    greatest_section = lines.canoe_volume / (lines.prismatic_coefficient * lines.waterline_length)
    return {
        "beam_draught_ratio": lines.waterline_beam / lines.canoe_draught,
        "midship_coefficient": greatest_section / (lines.waterline_beam * lines.canoe_draught),
    }


def _heeled_wetted(lines: Hull) -> Array:
    """The regression's coefficients, at the end of its range that is nearest to the hull."""
    parameters = _wetted_parameters(lines)
    return hull.heeled_wetted_coefficients(
        **{
            name: float(np.clip(value, *hull.HEELED_WETTED_RANGES[name]))
            for name, value in parameters.items()
        }
    )


def _beyond_wetted(lines: Hull) -> float:
    """1 where the hull lies outside the regression of wetted area at heel, else 0."""
    if lines.resistance is not None:
        return 0.0
    ranges = hull.HEELED_WETTED_RANGES
    outside = [not ranges[k][0] <= v <= ranges[k][1] for k, v in _wetted_parameters(lines).items()]
    return float(any(outside))


def _effective_draught(boat: Boat, lines: Hull) -> Array | None:
    if lines.side_force_model != EFFECTIVE_DRAUGHT:
        return None
    return hull.effective_draught_coefficients(**draught_parameters(boat, lines))


def draught_parameters(boat: Boat, lines: Hull) -> dict[str, float]:
    """What the regression of effective draught asks of a boat: its keel is the deepest fin that is fixed."""
    keel = min((fin for fin in boat.fins if fin.kind == "fixed"), key=lambda fin: fin.root_z - fin.span)
    return {
        "canoe_draught_share": lines.canoe_draught / boat.draught,
        "beam_draught_ratio": lines.waterline_beam / lines.canoe_draught,
        "taper_ratio": keel.tip_chord / keel.root_chord,
    }


def _resistance_table(boat: Boat, lines: Hull) -> ResistanceTable | None:
    rows = lines.resistance
    if rows is None:
        return None
    return resistance_table(
        speed=rows.speed,
        heel=rows.heel,
        displacement=rows.displacement,
        resistance=rows.resistance,
        boat_displacement=boat.total_mass,
    )


def _righting_curve(lines: Hull) -> RightingCurve | None:
    if lines.levers is None:
        return None
    return gz_curve(heel=lines.levers.heel, righting_arm=lines.levers.lever, mass_centre_z=0.0)


def _formed_hull_arrays(boat: Boat, form: FormedHull) -> FormedHullArrays:
    spacing = form.hull_spacing
    sides = (0.0,) if spacing == 0.0 else (0.5 * spacing, -0.5 * spacing)
    return FormedHullArrays(
        waterline_length=form.waterline_length,
        drawn_volume=drawn_volume(form),
        form_factor=form.form_factor,
        roughness=form.roughness,
        columns=tuple(_columns(form, side) for side in sides),
        # friction and where the hull lies along the boat are none of the waves
        waves=_waves(replace(form, form_factor=0.0, roughness=0.0, centre_x=0.0)),
        planing=_planing_arrays(boat, form) if form.planes else None,
    )


def family(form: FormedHull) -> dict[str, Any]:
    """What a hull given by its exponents is to the functions of `hull_form`."""
    return {
        "waterline_length": form.waterline_length,
        "waterline_beam": form.waterline_beam,
        "canoe_draught": form.canoe_draught,
        "waterline_exponent": form.waterline_exponent,
        "section_exponent": form.section_exponent,
    }


def drawn_volume(form: FormedHull) -> float:
    """Volume of one hull below the drawn water plane."""
    if form.sections is not None:
        return hull_sections.drawn_form(shape=form.sections).volume
    return hull_form.drawn_volume(**family(form))


@lru_cache(maxsize=64)
def _columns(form: FormedHull, offset_y: float) -> hull_form.Columns:
    if form.sections is not None:
        return hull_sections.section_columns(shape=form.sections, offset_y=offset_y)
    columns = hull_form.hull_columns(**family(form), centre_x=form.centre_x)
    return hull_form.Columns(**{**vars(columns), "y": columns.y + offset_y})


@lru_cache(maxsize=64)
def _waves(form: FormedHull) -> hull_form.WaveTable | TwinWaveTable:
    """Kept, because options mostly share their hull, and its waves take longer than all else."""
    if form.hull_spacing > 0.0:
        if form.sections is not None:
            return twin_section_wave_table(
                shape=form.sections, waterline_length=form.waterline_length, spacing=form.hull_spacing
            )
        return twin_wave_table(**family(form), spacing=form.hull_spacing)
    if form.sections is not None:
        return section_wave_table(shape=form.sections, waterline_length=form.waterline_length)
    return hull_form.wave_table(**family(form))


def _planing_arrays(boat: Boat, form: FormedHull) -> PlaningArrays:
    if form.sections is None:
        raise ValueError("A bottom that planes needs its sections.")
    drawn = hull_sections.drawn_form(shape=form.sections)
    keel = {"waterline_length": form.waterline_length, "transom_rise": form.transom_rise}
    bottom = PlaningHull(
        beam=form.waterline_beam,
        deadrise=form.deadrise,
        transom_x=form.centre_x - 0.5 * form.waterline_length,
        transom_z=form.transom_rise - form.canoe_draught,
        keel_angle=hull_sections.run_angle(**keel),
    )
    return PlaningArrays(
        bottom=bottom,
        length=form.waterline_length,
        run=hull_sections.run_length(**keel, tolerance=RUN_TOLERANCE * form.waterline_beam),
        fullness=planing_handover.bottom_fullness(
            hull=bottom, bottom_length=form.waterline_length, volume=drawn.volume
        ),
        level_x=drawn.buoyancy_centre_x,
        weight_volume=boat.total_mass / boat.environment.water_density,
    )


def count(form: HullArrays | FormedHullArrays) -> int:
    """How many hulls a boat has."""
    return len(form.columns) if isinstance(form, FormedHullArrays) else 1


# --- loads --------------------------------------------------------------------------------------------------


def hull_components(
    form: HullArrays | FormedHullArrays, water: Water, state: State, added: Array | None
) -> tuple[Component, ...]:
    """What the water does to a hull; buoyancy of one that floats: `floating_buoyancy`.

    `added` is the resistance [N] that waves add to a hull which is all in the water; None on flat water.
    """
    if isinstance(form, FormedHullArrays):
        return _formed_hull_components(form, water, state, added)
    return (*_resistance_components(form, water, state), *_added(added, state))


def _added(added: Array | None, state: State) -> tuple[Component, ...]:
    if added is None:
        return ()
    return (_drag("added resistance in waves", added, state),)


def _drag(name: str, resistance: Array, state: State) -> Component:
    return Component(name=name, medium="water", load=Drag(resistance, state.leeway))


def _resistance_components(form: HullArrays, water: Water, state: State) -> tuple[Component, ...]:
    growth = hull.heel_resistance_factor(heel=state.heel, growth_at_20deg=form.heel_resistance_20deg)
    if form.resistance is not None:
        found = table_resistance(speed=state.boat_speed, heel=state.heel, table=form.resistance)
        return (_drag("hull resistance", growth * found, state),)
    curve = form.residuary
    assert curve is not None  # the layout's model says so
    residuary = growth * hull.residuary_resistance(
        froude_number=froude_number(form, water, state.boat_speed),
        weight=water.density * water.gravity * form.canoe_volume,
        start=curve.start,
        step=curve.step,
        coefficients=curve.coefficients,
    )
    wetted = form.wetted_area * hull.heeled_wetted_share(heel=state.heel, coefficients=form.heeled_wetted)
    friction = _friction(form, water, wetted, state)
    return (_drag("hull friction", friction, state), _drag("hull residuary", residuary, state))


def _formed_hull_components(
    form: FormedHullArrays, water: Water, state: State, added: Array | None
) -> tuple[Component, ...]:
    """Buoyancy and resistance of what is in the water of the hull: nothing once it is clear."""
    afloat = [_afloat(columns, water, state) for columns in form.columns]
    volumes = [each.volume for each in afloat]
    load = HullLoad(
        friction=_friction(form, water, sum(each.wetted_area for each in afloat), state),
        waves=_wave_resistance(form, water, state, volumes),
        planing_drag=0.0,
        up=sum(each.up for each in afloat),
        roll=sum(each.roll for each in afloat),
        pitch=sum(each.pitch for each in afloat),
    )
    immersed = sum(volumes) / (len(volumes) * form.drawn_volume)
    waves = _added(None if added is None else added * immersed, state)
    if form.planing is None:
        return (*_load_components(load, state), *waves)
    handed = _handed_over(form, form.planing, water, state, load)
    return (*_load_components(handed, state), _drag("planing drag", handed.planing_drag, state), *waves)


def _load_components(load: HullLoad, state: State) -> tuple[Component, ...]:
    lift = Load(up=load.up, roll=load.roll, pitch=load.pitch)
    return (
        _drag("hull friction", load.friction, state),
        _drag("hull waves", load.waves, state),
        Component(name="buoyancy", medium="water", load=lift),
    )


def _afloat(columns: hull_form.Columns, water: Water, state: State) -> hull_form.Afloat:
    return hull_form.buoyancy(
        columns=columns,
        ride_height=state.ride_height,
        heel=state.heel,
        pitch=state.pitch,
        water_density=water.density,
        gravity=water.gravity,
    )


def _wave_resistance(form: FormedHullArrays, water: Water, state: State, volumes: Sequence[Array]) -> Array:
    common: dict[str, Any] = {
        "froude_number": froude_number(form, water, state.boat_speed),
        "drawn_volume": form.drawn_volume,
        "waterline_length": form.waterline_length,
        "water_density": water.density,
        "gravity": water.gravity,
    }
    if isinstance(form.waves, hull_form.WaveTable):
        return hull_form.wave_resistance(volume=volumes[0], table=form.waves, **common)
    return twin_wave_resistance(
        volume_leeward=volumes[0], volume_windward=volumes[1], table=form.waves, **common
    )


def _handed_over(
    form: FormedHullArrays, hull_that_planes: PlaningArrays, water: Water, state: State, afloat: HullLoad
) -> HullLoad:
    """From floating to planing, by speed."""
    share, forces = planing_at(form, water, state)
    transom = planing_handover.transom_drag_by_trim(
        hull=hull_that_planes.bottom,
        level_x=hull_that_planes.level_x,
        speed=state.boat_speed,
        pitch=state.pitch,
        heel=state.heel,
        ride_height=state.ride_height,
        water_density=water.density,
        gravity=water.gravity,
    )
    planes = planing_handover.planing_load(
        forces=forces,
        floating_waves=afloat.waves,
        weight=hull_that_planes.weight_volume * water.density * water.gravity,
    )
    floats = replace(afloat, waves=afloat.waves + transom)
    return planing_handover.handed_over(share=share, afloat=floats, planing=planes)


def planing_at(
    form: FormedHullArrays, water: Water, state: State
) -> tuple[Array, planing_handover.HeeledPlaningForces]:
    """How far a hull has gone over to planing, 0 to 1, and what its planing bottom does.

    Raises ValueError for a hull that does not plane.
    """
    if form.planing is None:
        raise ValueError("This hull does not plane.")
    forces = planing_handover.extended_planing_forces(
        hull=form.planing.bottom,
        bottom_length=form.planing.length,
        bottom_fullness=form.planing.fullness,
        speed=state.boat_speed,
        pitch=state.pitch,
        heel=state.heel,
        ride_height=state.ride_height,
        water_density=water.density,
        water_viscosity=water.viscosity,
        gravity=water.gravity,
        roughness_allowance=0.0,
    )
    share = planing_handover.planing_share(
        speed=state.boat_speed, volume=form.planing.weight_volume, gravity=water.gravity
    )
    return share, forces


def _friction(form: HullArrays | FormedHullArrays, water: Water, wetted_area: Array, state: State) -> Array:
    return hull.frictional_resistance(
        speed=state.boat_speed,
        wetted_area=wetted_area,
        waterline_length=form.waterline_length,
        water_density=water.density,
        water_viscosity=water.viscosity,
        form_factor=form.form_factor,
        roughness=form.roughness,
    )


class BuoyancyOfOthers(Load):
    """Load of a hull that floats: what is left of heave and pitch, found when it is asked for, because no
    equation of the balance needs it.
    """

    def __init__(self, righting: Array, others: Sequence[Component]):
        vars(self).update(roll=righting, others=others)

    others: Sequence[Component]

    @cached_property
    def up(self) -> Array:
        """What holds all other forces up [N]."""
        return -total_load(self.others, ("up",))["up"]

    @cached_property
    def pitch(self) -> Array:
        """What holds all other pitching moments [N m]."""
        return -total_load(self.others, ("pitch",))["pitch"]


def floating_buoyancy(
    form: HullArrays, weight: Array, state: State, others: Sequence[Component]
) -> Component:
    """Buoyancy of a hull that floats at a weight [N]: it takes up what is left of heave and pitch."""
    if form.righting is None:
        righting = stability.form_righting_moment(
            heel=state.heel,
            weight=weight,
            buoyancy_centre_z=form.buoyancy_centre_z,
            metacentric_radius=form.metacentric_radius,
        )
    else:
        righting = righting_moment_of_form(heel=state.heel, weight=weight, curve=form.righting)
    return Component(name="buoyancy", medium="water", load=BuoyancyOfOthers(righting, others))


def froude_number(form: HullArrays | FormedHullArrays, water: Water, boat_speed: Array) -> Array:
    """Froude number on the waterline length."""
    return boat_speed / (water.gravity * form.waterline_length) ** 0.5
