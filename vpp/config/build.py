"""From the values of a file to the boat in SI units and radians, afloat at its own weight."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from vpp import boat as parts
from vpp.boat import Boat, FormedHull, Hull, PointMass, Range
from vpp.config.chords import ChordFile
from vpp.config.coefficients import CoefficientFile
from vpp.config.files import Files
from vpp.config.schema import (
    FREE_MODELS,
    BoatDocument,
    CoefficientSailTable,
    CrewTable,
    EnvironmentTable,
    FinTable,
    FoilTable,
    HullTable,
    MarginsTable,
    MassTable,
    RigTable,
    SailSetTable,
    SailTable,
    SeaTable,
    TableModel,
    WindageTable,
)
from vpp.config.units import unit_of
from vpp.hulls import family, series_form
from vpp.physics import fluids, hull, hull_form, hull_sections
from vpp.physics.hull_sections import righting_levers
from vpp.physics.righting_curves import gz_curve, initial_metacentre_height
from vpp.physics.section_shape import SectionShape

# Weight and drawn displacement of the base may differ by this share; beyond, the drawing is of another boat.
WEIGHT_TOLERANCE = 0.03
# The same for a hull that is given by its shape: its heave is solved for, so that the water line that it is
# drawn to matters less.
FORMED_WEIGHT_TOLERANCE = 0.10
# Share of the drawn volume up to which a strip with vertical sides stands for what sinks in or comes out.
GREATEST_VOLUME_CHANGE = 0.15
# Section area over thickness times chord of the NACA four-digit form: the integral of its polynomial.
SECTION_AREA_FACTOR = 0.685
# Heels at which the levers of a hull's sections are found, from upright: to 60 deg.
SECTION_HEEL_STEP_DEG = 2.5
SECTION_HEELS = 25

# How the parameters of the series are called in sentences.
FORM_NAMES = {
    "buoyancy_centre_share": "the centre of buoyancy",
    "prismatic_coefficient": "the prismatic coefficient",
    "length_displacement_ratio": "water line length over the cube root of canoe volume",
    "beam_draught_ratio": "water line beam over canoe draught",
    "length_beam_ratio": "water line length over beam",
}


@dataclass(frozen=True, kw_only=True)
class Afloat:
    """A boat at its own weight, with what floating it brought out.

    `volume_change` [m^3] and `sinkage` [m] count from the drawn water line, positive when deeper.
    `metacentric_height` [m] is that of the upright boat with the crew on the centreline, and both foils of a
    canting pair down at their least cant.
    """

    boat: Boat
    volume_change: float
    sinkage: float
    metacentric_height: float


@dataclass(frozen=True, kw_only=True)
class DrawnForm:
    """What a hull given by its shape displaces upright at its drawn water line, SI; z up from that line."""

    volume: float
    waterplane_area: float
    buoyancy_centre_z: float
    metacentric_radius: float


@lru_cache(maxsize=16)
def drawn_form(hull: FormedHull) -> DrawnForm:
    """Integrals of the shape, of both hulls of a catamaran.

    A second hull at a spacing s doubles volume and area, and adds s^2/4 of their quotient to the metacentric
    radius. Exact.
    """
    one = _family_form(hull) if hull.sections is None else _section_form(hull.sections)
    if hull.hull_spacing == 0.0:
        return one
    apart = 0.25 * hull.hull_spacing**2 * one.waterplane_area / one.volume
    return replace(
        one,
        volume=2.0 * one.volume,
        waterplane_area=2.0 * one.waterplane_area,
        metacentric_radius=one.metacentric_radius + apart,
    )


def _section_form(shape: SectionShape) -> DrawnForm:
    form = hull_sections.drawn_form(shape=shape)
    return DrawnForm(
        volume=form.volume,
        waterplane_area=form.waterplane_area,
        buoyancy_centre_z=form.buoyancy_centre_z,
        metacentric_radius=form.metacentric_radius,
    )


def _family_form(hull: FormedHull) -> DrawnForm:
    """Integrals of the shape in closed form.

    With n and m the exponents of water line and section: volume L B T n/(n + 1) m/(m + 1), water plane L B
    n/(n + 1), centre of buoyancy at -T (m + 1)/(2 (m + 2)), and second moment of the water plane L B^3/2
    n^3/((n + 1) (2 n + 1) (3 n + 1)), which over the volume is the metacentric radius. Exact.
    """
    length, beam, draught = hull.waterline_length, hull.waterline_beam, hull.canoe_draught
    n, m = hull.waterline_exponent, hull.section_exponent
    area = length * beam * n / (n + 1.0)
    volume = hull_form.drawn_volume(**family(hull))
    second_moment = 0.5 * length * beam**3 * n**3 / ((n + 1.0) * (2.0 * n + 1.0) * (3.0 * n + 1.0))
    return DrawnForm(
        volume=volume,
        waterplane_area=area,
        buoyancy_centre_z=-draught * (m + 1.0) / (2.0 * (m + 2.0)),
        metacentric_radius=second_moment / volume,
    )


def as_drawn(
    document: BoatDocument,
    *,
    name: str,
    says: str,
    files: Files,
) -> Boat:
    """The boat of a document, at the water line to which its hull is drawn."""
    return Boat(
        name=name,
        says=says,
        environment=_environment(document.environment),
        hull=_hull(document.hull, files),
        fins=tuple(sorted(map(_fin, document.fin), key=lambda fin: -fin.quarter_chord_x)),
        foils=tuple(_foil(foil) for foil in document.foil),
        rig=_rig(document.rig),
        sails=tuple(
            _sail(sail, files.chords, mast_diameter=_si(document.rig, "mast_diameter_m"))
            for sail in document.sail
            if isinstance(sail, SailTable)
        ),
        table_sails=tuple(
            _table_sail(sail, files.coefficients[sail.coefficient_file])
            for sail in document.sail
            if isinstance(sail, CoefficientSailTable)
        ),
        masses=tuple(_mass(mass) for mass in document.mass),
        crew=_crew(document.crew),
        windage=tuple(_windage(item) for item in document.windage),
        margins=_margins(document.margins, document.hull),
        sail_sets=tuple(_sail_set(table) for table in document.sail_set),
        sail_change=parts.SailChange(
            lost_time=_si(document.wardrobe, "change_cost_s"), leg_time=_si(document.wardrobe, "leg_minutes")
        ),
        sea=_sea(document.sea),
        pitch_gyradius_share=_si(document.sea, "pitch_gyradius_percent"),
        calibration=parts.Calibration(
            **{key: getattr(document.calibration, f"{key}_scale") for key in vars(parts.Calibration())}
        ),
    )


def fin_volume(boat: Boat) -> float:
    """Volume [m^3] of keel and rudder, with the section of the NACA four-digit family and straight taper."""
    return sum(_volume_of(fin) for fin in boat.fins for _ in fin.sides)


def _volume_of(fin: parts.Fin) -> float:
    chords = fin.root_chord**2 + fin.root_chord * fin.tip_chord + fin.tip_chord**2
    return SECTION_AREA_FACTOR * fin.thickness_ratio * fin.span * chords / 3.0


def resting_foils(boat: Boat) -> tuple[PointMass, ...]:
    """Both foils of a canting pair as masses, down at their least cant; empty without such a pair."""
    foil = boat.foil("canting_pair")
    if foil is None:
        return ()
    along, cant = foil.mass_share * foil.arm_length, foil.cant.lower
    return tuple(
        PointMass(
            name=f"{foil.name} {where}",
            mass=foil.mass,
            x=foil.attachment_x - along * math.tan(foil.arm_sweep),
            y=side * (foil.attachment_y + along * math.sin(cant)),
            z=foil.attachment_z - along * math.cos(cant),
        )
        for where, side in (("leeward", 1.0), ("windward", -1.0))
    )


def needed_canoe_volume(boat: Boat) -> float:
    """Volume [m^3] that the canoe body must displace so that the boat floats."""
    return boat.total_mass / boat.environment.water_density - fin_volume(boat)


def afloat(boat: Boat) -> Afloat:
    """The boat sunk or risen to its own weight.

    The sides are taken as vertical at the water line, so that length, beam and area of the water plane stay.
    Sinkage is volume over water plane area, and lowers every height. Wetted area grows by sinkage times the
    outline of the water plane, two parabolic arcs over its length and beam: 2 L (1 + 2/3 (B/L)^2), right to
    first order in (B/L)^2. The greatest section grows by beam times sinkage, which gives the prismatic
    coefficient. The centre of buoyancy stays where it is lengthwise, and in height takes in the strip; the
    metacentric radius falls as the whole volume grows. Meant for changes up to `GREATEST_VOLUME_CHANGE`.

    A boat whose hull is given by its shape comes back as drawn: its heave is solved for in every condition.
    Its metacentric height is that of the hull at the drawn water line, fins and foils left out.
    """
    lines = boat.hull
    if isinstance(lines, FormedHull):
        form = drawn_form(lines)
        metacentre = form.buoyancy_centre_z + form.metacentric_radius
        return Afloat(
            boat=boat,
            volume_change=0.0,
            sinkage=0.0,
            metacentric_height=metacentre - mass_centre_height(boat),
        )
    volume = needed_canoe_volume(boat)
    change = volume - lines.canoe_volume
    sinkage = change / lines.waterplane_area
    length, beam = lines.waterline_length, lines.waterline_beam
    outline = 2.0 * length * (1.0 + 2.0 / 3.0 * (beam / length) ** 2)
    greatest_section = lines.canoe_volume / (lines.prismatic_coefficient * length) + beam * sinkage
    whole_before = lines.canoe_volume + fin_volume(boat)
    whole = whole_before + change
    floated_hull = replace(
        lines,
        canoe_draught=lines.canoe_draught + sinkage,
        canoe_volume=volume,
        prismatic_coefficient=volume / (greatest_section * length),
        wetted_area=lines.wetted_area + sinkage * outline,
        buoyancy_centre_z=(whole_before * (lines.buoyancy_centre_z - sinkage) - change * 0.5 * sinkage)
        / whole,
        metacentric_radius=lines.metacentric_radius * whole_before / whole,
        levers=_levers_afloat(boat, volume, sinkage),
    )
    floated = replace(_lowered(boat, sinkage), hull=floated_hull)
    return Afloat(
        boat=floated,
        volume_change=change,
        sinkage=sinkage,
        metacentric_height=_metacentre(floated_hull) - mass_centre_height(floated),
    )


def floating_as(boat: Boat, other: Afloat) -> Boat:
    """A boat as drawn with the hull of another afloat, and as deep in the water."""
    return replace(_lowered(boat, other.sinkage), hull=other.boat.hull)


def _metacentre(lines: Hull) -> float:
    """Height [m] of the metacentre over the water plane, upright."""
    if lines.levers is None:
        return lines.buoyancy_centre_z + lines.metacentric_radius
    curve = gz_curve(heel=lines.levers.heel, righting_arm=lines.levers.lever, mass_centre_z=0.0)
    return float(initial_metacentre_height(curve=curve))


def _levers_afloat(boat: Boat, canoe_volume: float, sinkage: float) -> parts.LeverRows | None:
    """Levers of the buoyancy about the point of the centreline in the water plane that the boat floats at.

    That point lies higher in the boat by the sinkage s than the one that levers were given about: they are
    less by s sin(heel). Those of a table are otherwise left as they are; those of sections are found at the
    boat's weight, its trim with its mass centre fixed, and the fins' buoyancy is added at their middle.
    """
    lines = boat.hull
    if not isinstance(lines, Hull):
        return None
    rows = lines.levers
    if lines.sections is not None:
        rows = _levers_of_sections(boat, lines.sections, canoe_volume)
    if rows is None:
        return None
    lowered = tuple(
        lever - sinkage * math.sin(heel) for heel, lever in zip(rows.heel, rows.lever, strict=True)
    )
    return replace(rows, lever=lowered)


def _levers_of_sections(boat: Boat, sections: SectionShape, canoe_volume: float) -> parts.LeverRows:
    heels = tuple(math.radians(SECTION_HEEL_STEP_DEG) * step for step in range(SECTION_HEELS))
    levers = righting_levers(
        shape=sections,
        heels=heels,
        volume=canoe_volume,
        centre_x=mass_centre_x(boat),
        centre_z=mass_centre_height(boat),
    )
    fins = fin_volume(boat)
    depth = sum(_volume_of(fin) * (fin.root_z - 0.5 * fin.span) for fin in boat.fins for _ in fin.sides)
    heeled = tuple(
        (canoe_volume * float(arm) + depth * math.sin(heel)) / (canoe_volume + fins)
        for heel, arm in zip(heels[1:], levers[1:], strict=True)
    )
    # upright both sides are alike; integrals leave a rounding error
    return parts.LeverRows(file="sections", heel=heels, lever=(0.0, *heeled))


def mass_centre_height(boat: Boat) -> float:
    """Height [m] of the centre of mass, crew included and canting foils down."""
    masses = (*boat.all_masses(), *resting_foils(boat))
    moment = boat.crew.mass * boat.crew.z + sum(item.mass * item.z for item in masses)
    return moment / boat.total_mass


def mass_centre_x(boat: Boat) -> float:
    """Position [m] of the centre of mass forward of midships, crew included."""
    masses = (*boat.all_masses(), *resting_foils(boat))
    return (boat.crew.mass * boat.crew.x + sum(item.mass * item.x for item in masses)) / boat.total_mass


def outside_series(boat: Boat) -> list[tuple[str, float, float, float]]:
    """Form parameters that the hull's resistance model does not cover: name, value, lowest and highest.

    Empty for a hull given by its shape or by a table of resistance, which are no members of a series.
    """
    lines = boat.hull
    if isinstance(lines, FormedHull) or lines.resistance is not None:
        return []
    return hull.outside_series(**series_form(lines))


def mass_beyond(boat: Boat, parameter: str, limit: float) -> float | None:
    """By how much [kg] a floated boat is too heavy (negative: too light) for a form parameter at a limit.

    None where the parameter does not follow from the weight.
    """
    lines = boat.hull
    if isinstance(lines, FormedHull):
        return None
    if parameter == "length_displacement_ratio":
        volume = (lines.waterline_length / limit) ** 3
    elif parameter == "beam_draught_ratio":
        volume = lines.canoe_volume + lines.waterplane_area * (
            lines.waterline_beam / limit - lines.canoe_draught
        )
    else:
        return None
    return boat.environment.water_density * (lines.canoe_volume - volume)


def _lowered(boat: Boat, sinkage: float) -> Boat:
    """The boat with every height counted from a water plane that lies higher by `sinkage`."""
    rig = boat.rig
    return replace(
        boat,
        fins=tuple(replace(fin, root_z=fin.root_z - sinkage) for fin in boat.fins),
        rig=replace(
            rig,
            mast_base_height=rig.mast_base_height - sinkage,
            mast_top_height=rig.mast_top_height - sinkage,
            deck_height=rig.deck_height - sinkage,
        ),
        sails=tuple(
            replace(
                sail,
                foot_height=sail.foot_height - sinkage,
                head_height=sail.head_height - sinkage,
                deck_height=None if sail.deck_height is None else sail.deck_height - sinkage,
                sheeting=_lowered_block(sail.sheeting, sinkage),
            )
            for sail in boat.sails
        ),
        table_sails=tuple(
            replace(sail, centre_height=sail.centre_height - sinkage) for sail in boat.table_sails
        ),
        masses=tuple(replace(mass, z=mass.z - sinkage) for mass in boat.masses),
        crew=replace(boat.crew, z=boat.crew.z - sinkage),
        windage=tuple(replace(item, height=item.height - sinkage) for item in boat.windage),
    )


def _lowered_block(sheeting: parts.Sheeting, sinkage: float) -> parts.Sheeting:
    if sheeting.block_height is None:
        return sheeting
    return replace(sheeting, block_height=sheeting.block_height - sinkage)


def _si(table: TableModel, key: str) -> float:
    return unit_of(key).to_si(float(getattr(table, key)))


def _si_or(table: TableModel, key: str, otherwise: float) -> float:
    return otherwise if getattr(table, key) is None else _si(table, key)


def _si_where_given(table: TableModel, key: str) -> float | None:
    return None if getattr(table, key) is None else _si(table, key)


def _all_si(key: str, values: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(unit_of(key).to_si(float(value)) for value in values)


def _range(table: TableModel, low: str, high: str) -> Range:
    return Range(lower=_si(table, low), upper=_si(table, high))


def _environment(table: EnvironmentTable) -> parts.Environment:
    properties = fluids.sea_water if table.water == "sea" else fluids.fresh_water
    water = properties(temperature_c=table.water_temperature_c)
    pressure = fluids.air_pressure_at(altitude=table.altitude_m)
    air = fluids.air(temperature_c=table.air_temperature_c, pressure=pressure)
    return parts.Environment(
        water_density=water.density,
        water_viscosity=water.kinematic_viscosity,
        water_vapour_pressure=water.vapour_pressure,
        air_density=air.density,
        air_viscosity=air.kinematic_viscosity,
        wind_exponent=_si(table, "wind_exponent"),
        wind_reference_height=_si(table, "wind_reference_height_m"),
        air_pressure=pressure,
    )


def _sea(table: SeaTable) -> parts.Sea:
    return parts.Sea(
        model=table.model,
        significant_height=_si_or(table, "significant_height_m", 0.0),
        peak_period=_si_or(table, "peak_period_s", 0.0),
        fetch=_si_or(table, "fetch_km", 0.0),
    )


def _hull(table: HullTable, files: Files) -> Hull | FormedHull:
    lines: dict[str, Any] = {
        "model": table.model,
        "waterline_length": _si(table, "waterline_length_m"),
        "waterline_beam": _si(table, "waterline_beam_m"),
        "canoe_draught": _si(table, "canoe_draught_m"),
        "form_factor": _si(table, "form_factor"),
        "roughness": _si(table, "roughness_mm"),
    }
    if table.model in FREE_MODELS:
        return FormedHull(
            **lines,
            centre_x=_si(table, "centre_x_m"),
            waterline_exponent=_si_or(table, "waterline_exponent", math.nan),
            section_exponent=_si_or(table, "section_exponent", math.nan),
            sections=sections_of(table, files),
            hull_spacing=_si_or(table, "hull_spacing_m", 0.0),
            deadrise=_si_or(table, "deadrise_deg", math.nan),
            transom_rise=_si(table, "transom_rise_m"),
        )
    if table.stability_model is None or table.side_force_model is None:
        raise ValueError("The hull has no model of stability or side force; check its table before building.")
    return Hull(
        **lines,
        canoe_volume=_si(table, "canoe_volume_m3"),
        prismatic_coefficient=_si_or(table, "prismatic_coefficient", math.nan),
        buoyancy_centre_share=_si_or(table, "buoyancy_centre_percent", math.nan),
        wetted_area=_si_or(table, "wetted_area_m2", math.nan),
        waterplane_area=_si(table, "waterplane_area_m2"),
        heel_resistance_20deg=_si_or(table, "heel_resistance_20deg_percent", 0.0),
        resistance=_resistance_rows(table, files),
        side_force_model=table.side_force_model,
        stability_model=table.stability_model,
        buoyancy_centre_z=_si_or(table, "buoyancy_centre_z_m", math.nan),
        metacentric_radius=_si_or(table, "metacentric_radius_m", math.nan),
        wall_sided_limit=_si_or(table, "wall_sided_limit_deg", math.nan),
        levers=_given_levers(table, files),
        sections=(
            None
            if table.stability_section_file is None
            else files.sections[table.stability_section_file].shape
        ),
    )


def _resistance_rows(table: HullTable, files: Files) -> parts.ResistanceRows | None:
    if table.resistance_file is None:
        return None
    file = files.resistance[table.resistance_file]
    return parts.ResistanceRows(
        file=file.name,
        speed=file.speed,
        displacement=file.displacement,
        heel=file.heel,
        resistance=file.resistance,
    )


def sections_of(table: HullTable, files: Files) -> SectionShape | None:
    """The sections of a hull that is free to heave, from its file or from the numbers of a planing bottom.

    Raises ValueError where those numbers make no hull.
    """
    if table.section_file is not None:
        return files.sections[table.section_file].shape
    if table.model != "planing_prism":
        return None
    length = _si(table, "waterline_length_m")
    return hull_sections.chined_shape(
        waterline_length=length,
        chine_beam=_si(table, "waterline_beam_m"),
        deadrise=_si(table, "deadrise_deg"),
        canoe_draught=_si(table, "canoe_draught_m"),
        entry_share=_si(table, "entry_percent"),
        freeboard=_si(table, "freeboard_m"),
        transom_x=_si(table, "centre_x_m") - 0.5 * length,
        transom_rise=_si(table, "transom_rise_m"),
    )


def _given_levers(table: HullTable, files: Files) -> parts.LeverRows | None:
    """Levers about the drawn water plane from righting arms, which hold about a mass centre at a height."""
    if table.gz_file is None:
        return None
    file = files.righting_arms[table.gz_file]
    height = _si(table, "gz_mass_centre_z_m")
    lever = tuple(
        arm + height * math.sin(heel) for heel, arm in zip(file.heel, file.righting_arm, strict=True)
    )
    return parts.LeverRows(file=file.name, heel=file.heel, lever=lever)


def _fin(table: FinTable) -> parts.Fin:
    return parts.Fin(
        name=table.name,
        kind=table.kind,
        span=_si(table, "span_m"),
        root_chord=_si(table, "root_chord_m"),
        tip_chord=_si(table, "tip_chord_m"),
        thickness_ratio=_si(table, "thickness_percent"),
        quarter_chord_x=_si(table, "quarter_chord_x_m"),
        root_z=_si(table, "root_z_m"),
        offset_y=_si(table, "offset_y_m"),
        tab_chord_share=_si(table, "tab_chord_percent"),
        tab=_range(table, "tab_min_deg", "tab_max_deg"),
    )


def _foil(table: FoilTable) -> parts.Foil:
    cants = table.kind == "canting_pair"
    return parts.Foil(
        name=table.name,
        kind=table.kind,
        attachment_x=_si(table, "attachment_x_m"),
        attachment_y=_si(table, "attachment_y_m"),
        attachment_z=_si(table, "attachment_z_m"),
        arm_length=_si(table, "arm_length_m"),
        arm_root_chord=_si(table, "arm_root_chord_m"),
        arm_tip_chord=_si(table, "arm_tip_chord_m"),
        arm_thickness_ratio=_si(table, "arm_thickness_percent"),
        arm_sweep=_si(table, "arm_sweep_deg"),
        outboard_span=_si(table, "outboard_span_m"),
        inboard_span=_si(table, "inboard_span_m"),
        outboard_dihedral=_si(table, "outboard_dihedral_deg"),
        inboard_dihedral=_si(table, "inboard_dihedral_deg"),
        wing_sweep=_si(table, "wing_sweep_deg"),
        wing_root_chord=_si(table, "wing_root_chord_m"),
        wing_tip_chord=_si(table, "wing_tip_chord_m"),
        wing_thickness_ratio=_si(table, "wing_thickness_percent"),
        wing_incidence=_si(table, "wing_incidence_deg"),
        wing_design_lift_coefficient=_si(table, "wing_design_lift_coefficient"),
        stall_lift_coefficient=_si(table, "stall_lift_coefficient"),
        drag_bucket_factor=_si(table, "drag_bucket_factor"),
        flap_chord_ratio=_si(table, "flap_chord_percent"),
        flap=_range(table, "flap_min_deg", "flap_max_deg"),
        cant=_range(table, "cant_min_deg", "cant_max_deg") if cants else Range(lower=0.0, upper=0.0),
        raised_cant=_si(table, "raised_cant_deg") if cants else 0.0,
        raised_drag_area=_si(table, "raised_drag_area_m2") if cants else 0.0,
        mass=_si(table, "mass_kg"),
        mass_share=_si(table, "mass_at_percent"),
    )


def _rig(table: RigTable) -> parts.Rig:
    return parts.Rig(
        mast_x=_si(table, "mast_x_m"),
        mast_base_height=_si(table, "mast_base_height_m"),
        mast_top_height=_si(table, "mast_top_height_m"),
        mast_mass_per_length=_si(table, "mast_mass_per_length_kg_per_m"),
        mast_diameter=_si(table, "mast_diameter_m"),
        mast_drag_coefficient=_si(table, "mast_drag_coefficient"),
        rigging_diameter=_si(table, "rigging_diameter_m"),
        rigging_drag_coefficient=_si(table, "rigging_drag_coefficient"),
        deck_height=_si(table, "deck_height_m"),
        deck_half_width=_si(table, "deck_half_width_m"),
        gap_leakage=_si(table, "gap_leakage_percent"),
        mast_rotation=_range(table, "mast_rotation_min_deg", "mast_rotation_max_deg"),
        mast_pivot_share=_si_where_given(table, "mast_pivot_percent"),
    )


def chords_of(
    sail: SailTable, chord_files: Mapping[str, ChordFile]
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Heights [%] and chords [m] of a sail, from the boat file or its chord file."""
    if sail.chord_file is not None:
        file = chord_files[sail.chord_file]
        return file.height_percent, file.chord_m
    if sail.chord_at_percent is None or sail.chord_m is None:
        raise ValueError(
            f"The sail {sail.name} has neither chords nor a chord file; check its table before building."
        )
    return sail.chord_at_percent, sail.chord_m


def _draft_share(table: SailTable) -> float:
    """Place of the deepest camber; the middle of what is behind the hinge where it is not given."""
    if table.draft_at_percent is not None:
        return _si(table, "draft_at_percent")
    return 0.5 * (1.0 + _si(table, "hinge_at_percent"))


def _section(table: SailTable, mast_diameter: float) -> dict[str, Any]:
    """Stall and drag of the sections, or the geometry that they follow from."""
    if table.section_model == "given":
        return {
            "stall_incidence": _si(table, "stall_incidence_deg"),
            "stall_width": _si(table, "stall_width_deg"),
            "profile_drag_coefficient": _si(table, "profile_drag_coefficient"),
            "drag_bucket_factor": _si(table, "drag_bucket_factor"),
        }
    thickness = 0.0 if table.thickness_percent is None else _si(table, "thickness_percent")
    geometry = parts.SectionGeometry(
        kind=table.section_model,
        thickness_share=thickness,
        clew_thickness=_si(table, "clew_thickness_m"),
        clew_zone_to_share=_si(table, "clew_zone_to_percent"),
        mast_diameter=mast_diameter if table.behind_mast else 0.0,
    )
    return {"section": geometry}


def _sail(table: SailTable, chord_files: Mapping[str, ChordFile], *, mast_diameter: float) -> parts.Sail:
    heights, chords = chords_of(table, chord_files)
    transition = (
        "head_zone_from_percent"
        if table.head_transition_from_percent is None
        else "head_transition_from_percent"
    )
    foot_transition = (
        "foot_zone_to_percent" if table.foot_transition_to_percent is None else "foot_transition_to_percent"
    )
    extension_chord = chords[0] if table.extension_chord_m is None else table.extension_chord_m
    return parts.Sail(
        name=table.name,
        foot_height=_si(table, "foot_height_m"),
        head_height=_si(table, "head_height_m"),
        foot_extension=_si(table, "foot_extension_m"),
        extension_chord=float(extension_chord),
        tack_x=_si(table, "tack_x_m"),
        luff_rake=_si(table, "luff_rake_deg"),
        chord_share=_all_si("chord_at_percent", heights),
        chord=_all_si("chord_m", chords),
        head_cut_from_share=_si(table, "head_cut_from_percent"),
        head_cut_to_share=_si(table, "head_cut_to_percent"),
        head_cut_chord_share=_si(table, "head_cut_chord_percent"),
        camber_share=_all_si("camber_at_percent", table.camber_at_percent),
        camber_flat=_all_si("camber_flat_percent", table.camber_flat_percent),
        camber_full=_all_si("camber_full_percent", table.camber_full_percent),
        camber=_range(table, "camber_trim_min_percent", "camber_trim_max_percent"),
        head_zone_from_share=_si(table, "head_zone_from_percent"),
        head_transition_from_share=_si(table, transition),
        head_camber=_range(table, "head_camber_trim_min_percent", "head_camber_trim_max_percent"),
        foot_zone_to_share=_si(table, "foot_zone_to_percent"),
        foot_transition_to_share=_si(table, foot_transition),
        foot_camber=_range(table, "foot_camber_trim_min_percent", "foot_camber_trim_max_percent"),
        sheet=_range(table, "sheet_min_deg", "sheet_max_deg"),
        twist=_range(table, "twist_min_deg", "twist_max_deg"),
        draft_share=_draft_share(table),
        hinge_share=_si(table, "hinge_at_percent"),
        **_section(table, mast_diameter),
        mass_per_area=_si(table, "mass_per_area_kg_per_m2"),
        station_count=table.station_count,
        deck_height=None if table.deck_height_m is None else _si(table, "deck_height_m"),
        deck_half_width=None if table.deck_half_width_m is None else _si(table, "deck_half_width_m"),
        role=None if table.role == "other" else table.role,
        sheeting=parts.Sheeting(
            holds=table.sheeting,
            point=_si_where_given(table, "sheet_point_m"),
            block_x=_si_where_given(table, "sheet_block_x_m"),
            block_height=_si_where_given(table, "sheet_block_height_m"),
            track_min=_si_where_given(table, "sheet_track_min_m"),
            track_max=_si_where_given(table, "sheet_track_max_m"),
            stay_sag_share=_si_where_given(table, "stay_sag_percent"),
        ),
    )


def _sail_set(table: SailSetTable) -> parts.SailSet:
    return parts.SailSet(
        name=table.name,
        says=table.says,
        sails=table.sails,
        reefed=table.reefed,
        reef_share=_all_si("reef_percent", table.reef_percent),
    )


def _table_sail(table: CoefficientSailTable, file: CoefficientFile) -> parts.TableSail:
    return parts.TableSail(
        name=table.name,
        area=_si(table, "area_m2"),
        span=_si(table, "span_m"),
        centre_height=_si(table, "ce_height_m"),
        centre_x=_si(table, "ce_x_m"),
        mass_per_area=_si(table, "mass_per_area_kg_per_m2"),
        power=Range(lower=_si(table, "power_min_percent"), upper=1.0),
        wind_angle=_all_si("awa_deg", file.awa_deg),
        lift_coefficient=_all_si("lift_coefficient", file.lift_coefficient),
        drag_coefficient=_all_si("drag_coefficient", file.drag_coefficient),
    )


def _mass(table: MassTable) -> parts.PointMass:
    return parts.PointMass(
        name=table.name,
        mass=_si(table, "mass_kg"),
        x=_si(table, "x_m"),
        y=_si(table, "y_m"),
        z=_si(table, "z_m"),
    )


def _crew(table: CrewTable) -> parts.Crew:
    along = Range(lower=_si_or(table, "x_min_m", table.x_m), upper=_si_or(table, "x_max_m", table.x_m))
    return parts.Crew(
        mass=_si(table, "mass_kg"),
        arm=_range(table, "arm_min_m", "arm_max_m"),
        x=_si(table, "x_m"),
        z=_si(table, "z_m"),
        drag_area=_si(table, "drag_area_m2"),
        x_range=None if along.is_fixed else along,
        trim_power=_si_where_given(table, "trim_power_w"),
    )


def _windage(table: WindageTable) -> parts.WindageItem:
    return parts.WindageItem(
        name=table.name,
        frontal_area=_si(table, "frontal_area_m2"),
        side_area=_si(table, "side_area_m2"),
        drag_coefficient=_si(table, "drag_coefficient"),
        x=_si(table, "x_m"),
        height=_si(table, "height_m"),
    )


def _margins(table: MarginsTable, hull_table: HullTable) -> parts.Margins:
    margins = parts.Margins(
        heel=_si(table, "heel_deg"),
        leeway=_si(table, "leeway_deg"),
        rudder=_si(table, "rudder_deg"),
        heel_to_windward=(None if table.heel_to_windward_deg is None else _si(table, "heel_to_windward_deg")),
    )
    if hull_table.model not in FREE_MODELS:
        return margins
    return replace(
        margins,
        pitch=_range(table, "pitch_min_deg", "pitch_max_deg"),
        immersion=_si(table, "immersion_m"),
        clearance=_si(table, "clearance_m"),
        cavitation=_si(table, "cavitation_margin"),
    )
