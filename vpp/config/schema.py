"""The boat file as data: every key with its unit, range, default and description.

Error texts, the configuration reference and the JSON Schema are all made from these classes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag

from vpp.measurement import QUANTITIES

NAME_PATTERN = r"^[a-z][a-z0-9_]*$"
LINE_PATTERN = r"^[^\r\n]+$"


def quantity(description: str, low: float, high: float, *, default: Any = ...) -> Any:
    """A number within a range, bounds included."""
    return Field(default, ge=low, le=high, description=description)


def name(description: str) -> Any:
    """A name that can stand in a key path."""
    return Field(pattern=NAME_PATTERN, max_length=40, description=description)


def line(description: str) -> Any:
    """One line of text."""
    return Field(pattern=LINE_PATTERN, max_length=200, description=description)


def numbers(description: str, *, default: Any = ...) -> Any:
    """A list of at least two numbers."""
    return Field(default, min_length=2, max_length=50, description=description)


Percents = tuple[Annotated[float, Field(ge=0.0, le=100.0)], ...]
Chords = tuple[Annotated[float, Field(ge=0.02, le=15.0)], ...]
Cambers = tuple[Annotated[float, Field(ge=-15.0, le=25.0)], ...]


class TableModel(BaseModel):
    """What all tables share: nothing is converted, guessed or ignored."""

    model_config = ConfigDict(strict=True, frozen=True, extra="forbid", allow_inf_nan=False)


class EnvironmentTable(TableModel):
    """Water and air."""

    water: Literal["sea", "fresh"] = Field(description="which water the boat floats in")
    water_temperature_c: float = quantity("temperature of the water", 0.0, 30.0)
    air_temperature_c: float = quantity("temperature of the air", -20.0, 45.0)
    wind_exponent: float = quantity(
        "exponent of the wind profile: wind speed grows with (height / reference height) to this power",
        0.0,
        0.35,
    )
    wind_reference_height_m: float = quantity(
        "height at which the true wind speed is given", 1.0, 50.0, default=10.0
    )
    altitude_m: float = quantity(
        "height of the water over the sea, which thins the air of a mountain lake",
        -450.0,
        5000.0,
        default=0.0,
    )


class SeaTable(TableModel):
    """Waves: without this table the water is flat."""

    model: Literal["flat", "given", "wind_sea"] = Field(
        description="no waves, waves of one height and period in every wind, or what the wind raises over a "
        "fetch"
    )
    significant_height_m: float | None = quantity(
        "mean height of the highest third of the waves", 0.0, 10.0, default=None
    )
    peak_period_s: float | None = quantity("period of the most energetic waves", 1.0, 20.0, default=None)
    fetch_km: float | None = quantity(
        "open water to windward over which the wind has blown for long", 0.1, 2000.0, default=None
    )
    pitch_gyradius_percent: float = quantity(
        "gyradius of the boat in pitch over the water line length, for the resistance in waves",
        18.0,
        35.0,
        default=25.0,
    )


class CalibrationTable(TableModel):
    """Factors on forces of the models, from points that are known of the boat; `vpp calibrate` finds them."""

    hull_resistance_scale: float = quantity("factor on the hull's resistance", 0.7, 1.4, default=1.0)
    appendage_drag_scale: float = quantity(
        "factor on the profile drag of fins and foils", 0.7, 1.4, default=1.0
    )
    windage_scale: float = quantity("factor on the wind's force on all but the sails", 0.7, 1.4, default=1.0)
    sail_force_scale: float = quantity("factor on the force of the sails", 0.7, 1.4, default=1.0)


class KnownPointTable(TableModel):
    """A speed that is known of the boat, for `vpp calibrate`."""

    name: str = name("what the point is called")
    tws_kn: float = quantity("true wind speed", 2.0, 45.0)
    twa_deg: float = quantity("true wind angle", 25.0, 180.0)
    boat_speed_kn: float = quantity("boat speed through the water", 0.5, 60.0)


class HullTable(TableModel):
    """The canoe body, without keel and rudder, as drawn at its design water line."""

    model: Literal["systematic_series", "table", "thin_ship", "planing_prism"] = Field(
        description="how the hull's forces are found: afloat at its weight from the tests of a series of "
        "yachts, or from a table of resistance; or from a shape that may rise, sink and pitch, slender, or "
        "planing at speed"
    )
    waterline_length_m: float = quantity("length of the water line", 2.0, 40.0)
    waterline_beam_m: float = quantity(
        "greatest beam of the water line, of one of two hulls; between the chines with planing_prism",
        0.1,
        12.0,
    )
    canoe_draught_m: float = quantity("draught of the canoe body", 0.03, 5.0)
    canoe_volume_m3: float | None = quantity(
        "volume of water that the canoe body displaces", 0.05, 300.0, default=None
    )
    prismatic_coefficient: float | None = quantity(
        "canoe volume over water line length times greatest section area", 0.4, 0.8, default=None
    )
    buoyancy_centre_percent: float | None = quantity(
        "centre of buoyancy from midships as a part of the water line length, forward positive",
        -12.0,
        8.0,
        default=None,
    )
    wetted_area_m2: float | None = quantity("wetted area of the canoe body", 0.5, 600.0, default=None)
    waterplane_area_m2: float | None = quantity("area of the water plane", 0.3, 400.0, default=None)
    resistance_file: str | None = Field(
        None,
        pattern=r"^[^\r\n\x00]+$",
        max_length=200,
        description="CSV file with columns speed_kn, then displacement_kg and heel_deg where it varies "
        "them, then resistance_n: all of the bare hull's resistance",
    )
    form_factor: float = quantity(
        "excess of skin friction over a flat plate's; 0 with systematic_series and table, which contain it",
        0.0,
        0.5,
        default=0.0,
    )
    roughness_mm: float = quantity(
        "height of sand grains as rough as the bottom: 0.03 for new paint; 0 is smooth",
        0.0,
        3.0,
        default=0.0,
    )
    heel_resistance_20deg_percent: float | None = quantity(
        "growth from upright to 20 deg of heel of residuary resistance, or of a table without heel",
        0.0,
        50.0,
        default=None,
    )
    side_force_model: Literal["effective_draught", "surface_image"] | None = Field(
        None,
        description="how the induced drag of the side force is found: by the effective draught of hull and "
        "keel, after tests of yachts, or by the water surface that every fin is mirrored in",
    )
    stability_model: Literal["wall_sided", "gz_table", "sections"] | None = Field(
        None,
        description="how the righting moment of the hull's form is found: straight vertical sides, a table "
        "of righting arms, or sections integrated at heel and trim",
    )
    buoyancy_centre_z_m: float | None = quantity(
        "height of the centre of buoyancy of the whole boat, fins included; negative below water",
        -5.0,
        0.0,
        default=None,
    )
    metacentric_radius_m: float | None = quantity(
        "second moment of the water plane about the centreline over the volume displaced by the whole boat",
        0.02,
        20.0,
        default=None,
    )
    wall_sided_limit_deg: float | None = quantity(
        "heel up to which the hull's sides count as straight and vertical", 5.0, 60.0, default=None
    )
    gz_file: str | None = Field(
        None,
        pattern=r"^[^\r\n\x00]+$",
        max_length=200,
        description="CSV file with columns heel_deg,righting_arm_m at the drawn water line",
    )
    gz_mass_centre_z_m: float | None = quantity(
        "height of the centre of mass for which those righting arms hold", -5.0, 5.0, default=None
    )
    stability_section_file: str | None = Field(
        None,
        pattern=r"^[^\r\n\x00]+$",
        max_length=200,
        description="CSV file with columns x_m,half_breadth_m,height_m, station by station from aft, each "
        "from keel to sheer",
    )
    waterline_exponent: float | None = quantity(
        "n of the water line, half breadth 1 - (2x/L)^n at x from its middle: 2 is a parabola, "
        "more is fuller at the ends",
        1.5,
        6.0,
        default=None,
    )
    section_exponent: float | None = quantity(
        "m of the sections, half breadth 1 - (1 - h/T)^m at height h over the keel line: 2 is a parabola, "
        "more is flatter at the bottom",
        1.5,
        6.0,
        default=None,
    )
    section_file: str | None = Field(
        None,
        pattern=r"^[^\r\n\x00]+$",
        max_length=200,
        description="CSV file of sections in place of the two exponents, as stability_section_file",
    )
    hull_spacing_m: float | None = quantity(
        "distance between the centre planes of the two hulls of a catamaran", 0.3, 20.0, default=None
    )
    deadrise_deg: float | None = quantity(
        "angle of the bottom's two halves from level, from the transom to where the bow begins",
        0.0,
        30.0,
        default=None,
    )
    entry_percent: float | None = quantity(
        "part of the length over which the bow narrows from full beam to a point", 10.0, 90.0, default=None
    )
    freeboard_m: float | None = quantity(
        "height of the sheer over the drawn water line", 0.05, 3.0, default=None
    )
    transom_rise_m: float = quantity(
        "height of the keel line at the transom over its level part; it rises straight over the after three "
        "fifths of the length",
        0.0,
        0.5,
        default=0.0,
    )
    centre_x_m: float = quantity(
        "middle of the water line, forward of the reference point", -20.0, 20.0, default=0.0
    )


class FinTable(TableModel):
    """A keel fin or rudder below the hull."""

    name: str = name("what the fin is called")
    kind: Literal["fixed", "rudder"] = Field(description="whether it turns to steer")
    span_m: float = quantity("depth from where it leaves the hull to its tip", 0.1, 8.0)
    root_chord_m: float = quantity("chord where it leaves the hull", 0.05, 6.0)
    tip_chord_m: float = quantity("chord at the tip", 0.03, 6.0)
    thickness_percent: float = quantity("greatest thickness of the section over its chord", 3.0, 30.0)
    quarter_chord_x_m: float = quantity(
        "position of the quarter chord at half span, forward of midships", -25.0, 25.0
    )
    root_z_m: float = quantity("height at which it leaves the hull; zero or negative", -5.0, 0.0)
    offset_y_m: float = quantity(
        "distance from the centreline of two such fins, one on either side; 0 for one in the middle",
        0.0,
        12.0,
        default=0.0,
    )
    tab_chord_percent: float = quantity(
        "part of the chord that a trim tab takes; 0 for none", 0.0, 60.0, default=0.0
    )
    tab_min_deg: float = quantity(
        "least angle of that tab, trailing edge to leeward positive, which lifts to windward",
        -15.0,
        15.0,
        default=0.0,
    )
    tab_max_deg: float = quantity("greatest angle of that tab", -15.0, 15.0, default=0.0)


class FoilTable(TableModel):
    """A hydrofoil: an arm through the water surface, and a wing of up to two halves at its end."""

    name: str = name("what the foil is called")
    kind: Literal["canting_pair", "rudder"] = Field(
        description="one on either side, the leeward one at work and the windward one held up; or one on the "
        "centreline that steers with its arm"
    )
    attachment_x_m: float = quantity("position of the arm's upper end, forward of midships", -25.0, 25.0)
    attachment_y_m: float = quantity(
        "distance of the arm's upper end from the centreline; 0 for a rudder", 0.0, 10.0
    )
    attachment_z_m: float = quantity("height of the arm's upper end", -5.0, 5.0)
    arm_length_m: float = quantity("length of the arm from its upper end to the wing", 0.2, 12.0)
    arm_root_chord_m: float = quantity("chord of the arm at its upper end", 0.03, 3.0)
    arm_tip_chord_m: float = quantity("chord of the arm at the wing", 0.03, 3.0)
    arm_thickness_percent: float = quantity(
        "greatest thickness of the arm's section over its chord", 3.0, 30.0
    )
    arm_sweep_deg: float = quantity("angle by which the arm leans aft going down", -30.0, 45.0, default=0.0)
    outboard_span_m: float = quantity("span of the wing's half outboard of the arm; 0 for none", 0.0, 8.0)
    inboard_span_m: float = quantity("span of the wing's half inboard of the arm; 0 for none", 0.0, 8.0)
    outboard_dihedral_deg: float = quantity(
        "angle of the outboard half from level with the arm upright, tip up positive", -75.0, 75.0
    )
    inboard_dihedral_deg: float = quantity(
        "angle of the inboard half from level with the arm upright, tip up positive", -75.0, 75.0
    )
    wing_sweep_deg: float = quantity(
        "angle by which the wing's quarter chord leans aft towards the tips", -30.0, 45.0, default=0.0
    )
    wing_root_chord_m: float = quantity("chord of the wing at the arm", 0.03, 3.0)
    wing_tip_chord_m: float = quantity("chord of the wing at its tips", 0.03, 3.0)
    wing_thickness_percent: float = quantity(
        "greatest thickness of the wing's section over its chord", 3.0, 30.0
    )
    wing_incidence_deg: float = quantity(
        "angle of the wing's chord to the boat's level, leading edge up positive", -5.0, 10.0, default=0.0
    )
    wing_design_lift_coefficient: float = quantity(
        "lift coefficient for which the wing's section is cambered; 0 for a symmetric one", -0.5, 1.0
    )
    stall_lift_coefficient: float = quantity("lift coefficient at which the flow separates", 0.3, 2.5)
    drag_bucket_factor: float = quantity(
        "growth of section drag with the square of lift coefficient less the design one", 0.0, 0.2
    )
    flap_chord_percent: float = quantity(
        "part of the wing's chord that the flap takes; 100 turns the whole wing", 5.0, 100.0
    )
    flap_min_deg: float = quantity("least flap angle, trailing edge down positive", -30.0, 30.0)
    flap_max_deg: float = quantity("greatest flap angle, trailing edge down positive", -30.0, 30.0)
    cant_min_deg: float | None = quantity(
        "least angle of the working arm from the boat's vertical, outward positive", -10.0, 89.0, default=None
    )
    cant_max_deg: float | None = quantity(
        "greatest angle of the working arm from the boat's vertical", -10.0, 89.0, default=None
    )
    raised_cant_deg: float | None = quantity(
        "angle from the boat's vertical at which the windward foil is held up", 0.0, 180.0, default=None
    )
    raised_drag_area_m2: float | None = quantity(
        "drag coefficient times area of the windward foil in the wind", 0.0, 10.0, default=None
    )
    mass_kg: float = quantity("mass of one foil", 0.5, 10000.0)
    mass_at_percent: float = quantity(
        "where on the arm its centre of mass lies: 0 upper end, 100 wing", 0.0, 100.0
    )


class RigTable(TableModel):
    """Mast, standing rigging and the deck under the sails."""

    mast_x_m: float = quantity("position of the mast, forward of midships", -25.0, 25.0)
    mast_base_height_m: float = quantity("height of the lower end of the mast", -3.0, 10.0)
    mast_top_height_m: float = quantity("height of the mast's top", 2.0, 70.0)
    mast_mass_per_length_kg_per_m: float = quantity(
        "mass of mast, standing rigging and halyards over the mast's length", 0.1, 200.0
    )
    mast_diameter_m: float = quantity("width of the mast across the wind", 0.01, 1.0)
    mast_drag_coefficient: float = quantity(
        "drag coefficient of the mast on its width times its length", 0.0, 2.0
    )
    rigging_diameter_m: float = quantity("sum of the diameters of all wires", 0.0, 0.5)
    rigging_drag_coefficient: float = quantity("drag coefficient of the wires", 0.0, 2.0)
    deck_height_m: float = quantity("height of the deck under the sails", 0.05, 8.0)
    deck_half_width_m: float = quantity("half width of that deck", 0.1, 10.0)
    gap_leakage_percent: float = quantity(
        "part of the deck's mirror effect lost to flow through gear, boom and crew; 0 for a clean deck",
        0.0,
        100.0,
    )
    mast_rotation_min_deg: float = quantity(
        "least angle of a turning mast from the foot chord of the sail on it, positive where it adds to the "
        "camber",
        -10.0,
        60.0,
        default=0.0,
    )
    mast_rotation_max_deg: float = quantity(
        "greatest angle of a turning mast from that chord", -10.0, 60.0, default=0.0
    )
    mast_pivot_percent: float | None = quantity(
        "axis that a turning mast turns about, from its leading edge, over the length of its section; for "
        "vpp loads alone",
        0.0,
        100.0,
        default=None,
    )


SAIL_MODELS = (
    "how the sail's forces are found: from strips along its luff, or from a table of lift and drag "
    "coefficients"
)


class SailTable(TableModel):
    """A sail as chords at heights, given in per cent from 0 at the foot to 100 at the head."""

    name: str = name("what the sail is called")
    role: Literal["main", "jib", "other"] | None = Field(
        None,
        description="in whose columns of the results its trims stand, with other in none; "
        "where not given, in those of its name",
    )
    model: Literal["strips", "table"] = Field(description=SAIL_MODELS)
    foot_height_m: float = quantity("height of the foot", 0.1, 20.0)
    head_height_m: float = quantity("height of the head", 1.0, 70.0)
    foot_extension_m: float = quantity("sail added below the foot", 0.0, 5.0, default=0.0)
    extension_chord_m: float | None = Field(
        None,
        ge=0.02,
        le=15.0,
        description="chord at the lower end of that addition; the foot's chord where not given",
    )
    tack_x_m: float = quantity("position of the luff at the foot, forward of midships", -25.0, 30.0)
    luff_rake_deg: float = quantity("angle by which the luff leans aft", -10.0, 45.0)
    chord_at_percent: Percents | None = numbers(
        "heights at which chords are given, from 0 to 100", default=None
    )
    chord_m: Chords | None = numbers("chords at those heights, measured horizontally", default=None)
    chord_file: str | None = Field(
        None,
        pattern=r"^[^\r\n\x00]+$",
        max_length=200,
        description="CSV file with columns height_percent,chord_m, in place of chord_at_percent and chord_m",
    )
    head_cut_from_percent: float = quantity(
        "height above which the head is cut narrower", 0.0, 100.0, default=100.0
    )
    head_cut_to_percent: float = quantity(
        "height up to which that cut deepens; from there to the head it keeps its depth",
        0.0,
        100.0,
        default=100.0,
    )
    head_cut_chord_percent: float = quantity("chord left by that cut", 5.0, 100.0, default=100.0)
    camber_at_percent: Percents = numbers("heights at which cambers are given, from 0 to 100")
    camber_flat_percent: Cambers = numbers(
        "depth over chord at those heights when set flat; negative where the belly is to windward"
    )
    camber_full_percent: Cambers = numbers("depth over chord at those heights when set full")
    camber_trim_min_percent: float = quantity("flattest trim: 0 flat, 100 full", 0.0, 100.0, default=0.0)
    camber_trim_max_percent: float = quantity("fullest trim: 0 flat, 100 full", 0.0, 100.0, default=100.0)
    head_zone_from_percent: float = quantity(
        "height above which the head's own camber trim holds; 100 for none", 0.0, 100.0, default=100.0
    )
    head_transition_from_percent: float | None = Field(
        None,
        ge=0.0,
        le=100.0,
        description="height from which the trim runs over to the head's; that of the zone where not given",
    )
    head_camber_trim_min_percent: float = quantity(
        "the head's flattest trim: 0 flat, 100 full", 0.0, 100.0, default=0.0
    )
    head_camber_trim_max_percent: float = quantity(
        "the head's fullest trim: 0 flat, 100 full", 0.0, 100.0, default=0.0
    )
    foot_zone_to_percent: float = quantity(
        "height below which the foot's own camber trim holds; 0 for none", 0.0, 100.0, default=0.0
    )
    foot_transition_to_percent: float | None = Field(
        None,
        ge=0.0,
        le=100.0,
        description="height at which the foot's trim has run over to the sail's; that of the zone where not "
        "given",
    )
    foot_camber_trim_min_percent: float = quantity(
        "the foot's flattest trim: 0 flat, 100 full", 0.0, 100.0, default=0.0
    )
    foot_camber_trim_max_percent: float = quantity(
        "the foot's fullest trim: 0 flat, 100 full", 0.0, 100.0, default=0.0
    )
    sheet_min_deg: float = quantity("least angle of the foot's chord from the centreline", -15.0, 90.0)
    sheet_max_deg: float = quantity("greatest angle of the foot's chord from the centreline", -15.0, 90.0)
    twist_min_deg: float = quantity("least opening of the head against the foot", -10.0, 45.0)
    twist_max_deg: float = quantity("greatest opening of the head against the foot", -10.0, 45.0)
    draft_at_percent: float | None = quantity(
        "place of the deepest camber, in per cent of the chord from the luff; 50, or the middle of the skins "
        "behind a hinge, where not given",
        5.0,
        95.0,
        default=None,
    )
    hinge_at_percent: float = quantity(
        "share of the chord that is the nose of a turning mast, to its hinge with the skins; 0 for none",
        0.0,
        60.0,
        default=0.0,
    )
    section_model: Literal["given", "single_skin", "twin_skin", "solid"] = Field(
        description="where stall and drag of the sections come from: given numbers, or their geometry"
    )
    stall_incidence_deg: float | None = quantity(
        "incidence at which the flow separates, counted from where it meets the leading edge smoothly",
        2.0,
        25.0,
        default=None,
    )
    stall_width_deg: float | None = quantity(
        "over how many degrees the flow separates", 0.3, 10.0, default=None
    )
    profile_drag_coefficient: float | None = quantity(
        "section drag at the camber's own lift, on the sail's area", 0.002, 0.1, default=None
    )
    drag_bucket_factor: float | None = quantity(
        "growth of section drag with the square of lift coefficient less the camber's own",
        0.0,
        0.2,
        default=None,
    )
    thickness_percent: float | None = quantity(
        "greatest thickness of the section, skins and mast together", 4.0, 20.0, default=None
    )
    clew_thickness_m: float = quantity(
        "thickness of the leech at the clew, where twin skins do not meet", 0.0, 0.3, default=0.0
    )
    clew_zone_to_percent: float = quantity(
        "height at which the skins' leeches meet; the thickness falls in a straight line up to there",
        1.0,
        100.0,
        default=20.0,
    )
    behind_mast: bool | None = Field(
        None, description="whether the rig's mast, round, stands ahead of the luff"
    )
    mass_per_area_kg_per_m2: float = quantity("mass of the cloth with battens and fittings", 0.02, 5.0)
    deck_height_m: float | None = Field(
        None, ge=0.05, le=8.0, description="height of the deck under this sail; the rig's where not given"
    )
    deck_half_width_m: float | None = Field(
        None, ge=0.1, le=10.0, description="half width of that deck; the rig's where not given"
    )
    station_count: int = Field(10, ge=4, le=60, description="number of strips in the calculation")
    sheeting: Literal["boom", "clew"] | None = Field(
        None,
        description="what the sheet holds, for vpp loads alone: a boom or the clew; where not given, a boom "
        "on a sail that stands on the mast",
    )
    sheet_point_m: float | None = quantity(
        "distance from the luff to where the sheet leaves the boom", 0.1, 20.0, default=None
    )
    sheet_block_x_m: float | None = quantity(
        "position of the block or lead that the sheet runs down to, forward of midships",
        -30.0,
        30.0,
        default=None,
    )
    sheet_block_height_m: float | None = quantity("height of that block or lead", 0.0, 15.0, default=None)
    sheet_track_min_m: float | None = quantity(
        "how far to leeward of the centreline that block can be set at least; negative to windward",
        -15.0,
        15.0,
        default=None,
    )
    sheet_track_max_m: float | None = quantity(
        "how far to leeward of the centreline that block can be set at most", -15.0, 15.0, default=None
    )
    stay_sag_percent: float | None = quantity(
        "sag of the stay that the luff is set on, over the length of the luff", 0.1, 10.0, default=None
    )


class CoefficientSailTable(TableModel):
    """A sail by lift and drag coefficients over the apparent wind angle, from a file."""

    name: str = name("what the sail is called")
    model: Literal["strips", "table"] = Field(description=SAIL_MODELS)
    coefficient_file: str = Field(
        pattern=r"^[^\r\n\x00]+$",
        max_length=200,
        description="CSV file with columns awa_deg,lift_coefficient,drag_coefficient, on area_m2",
    )
    area_m2: float = quantity("area that the coefficients count on", 0.5, 1500.0)
    span_m: float = quantity("effective span for induced drag, images included", 0.5, 120.0)
    ce_height_m: float = quantity("height at which the force acts and the wind is taken", 0.3, 60.0)
    ce_x_m: float = quantity("where the force acts, forward of midships", -25.0, 40.0)
    power_min_percent: float = quantity(
        "how far lift can be taken back from that of the table, which is 100", 5.0, 100.0
    )
    mass_per_area_kg_per_m2: float = quantity("mass of the cloth with fittings, at that place", 0.02, 5.0)


def _model_of_sail(table: Any) -> str:
    """By which model a sail's table is judged; strips where it has none that is known."""
    model = table.get("model") if isinstance(table, Mapping) else getattr(table, "model", None)
    return "table" if model == "table" else "strips"


AnySailTable = Annotated[
    Annotated[SailTable, Tag("strips")] | Annotated[CoefficientSailTable, Tag("table")],
    Discriminator(_model_of_sail),
]


class SailSetTable(TableModel):
    """Sails that are up together. With sets, one of them is up at a time, and the best is found."""

    name: str = name("what the set is called")
    says: str = line("what the set is, in one line")
    sails: tuple[str, ...] = Field(
        min_length=1, max_length=6, description="names of the sails that are up, in any order"
    )
    reefed: tuple[str, ...] = Field((), max_length=6, description="names of those of them that are reefed")
    reef_percent: tuple[Annotated[float, Field(ge=1.0, le=70.0)], ...] = Field(
        (), min_length=1, max_length=6, description="part of the luff taken out of each of these at its foot"
    )


class WardrobeTable(TableModel):
    """What a change from one sail set to another costs."""

    change_cost_s: float = quantity(
        "time lost by one change; a minute at two thirds of the speed costs 20 s", 0.0, 3600.0, default=20.0
    )
    leg_minutes: float = quantity(
        "sailing time of the leg on which a change has to earn its cost", 0.5, 1440.0, default=20.0
    )


class MassTable(TableModel):
    """A mass at a point. Crew, mast, sails and foils are not listed: they follow from their own tables."""

    name: str = name("what weighs")
    mass_kg: float = quantity("mass", 0.01, 200000.0)
    x_m: float = quantity("position forward of midships", -30.0, 30.0)
    y_m: float = quantity("position to leeward of the centreline", -10.0, 10.0, default=0.0)
    z_m: float = quantity("height; negative below water", -10.0, 60.0)


class CrewTable(TableModel):
    """The crew as one mass that moves across the boat."""

    mass_kg: float = quantity("mass of all crew in their gear", 30.0, 3000.0)
    arm_min_m: float = quantity("least distance of the crew to windward of the centreline", -6.0, 10.0)
    arm_max_m: float = quantity("greatest distance of the crew to windward of the centreline", -6.0, 10.0)
    x_m: float = quantity("position forward of midships", -25.0, 25.0)
    x_min_m: float | None = quantity(
        "farthest aft that it may sit, on a hull that may pitch; x_m where not given",
        -25.0,
        25.0,
        default=None,
    )
    x_max_m: float | None = quantity(
        "farthest forward that it may sit, on a hull that may pitch; x_m where not given",
        -25.0,
        25.0,
        default=None,
    )
    z_m: float = quantity("height", 0.0, 10.0)
    drag_area_m2: float = quantity("drag coefficient times area of all crew in the wind", 0.0, 20.0)
    trim_power_w: float | None = quantity(
        "power that crew or pump have for trimming sails, for vpp loads alone", 1.0, 100000.0, default=None
    )


class WindageTable(TableModel):
    """A body in the wind that is neither sail, mast, wire nor crew."""

    name: str = name("what stands in the wind")
    frontal_area_m2: float = quantity("area seen from ahead", 0.0, 100.0)
    side_area_m2: float = quantity("area seen from the side", 0.0, 300.0)
    drag_coefficient: float = quantity("drag coefficient on those areas", 0.0, 2.0)
    x_m: float = quantity("position of its centre, forward of midships", -25.0, 25.0)
    height_m: float = quantity("height of its centre", 0.05, 60.0)


class MarginsTable(TableModel):
    """Limits on attitude, helm and foils that no condition may exceed."""

    heel_deg: float = quantity("greatest heel", 3.0, 60.0)
    heel_to_windward_deg: float | None = quantity(
        "greatest heel to windward; heel_deg where not given", 0.5, 60.0, default=None
    )
    leeway_deg: float = quantity("greatest leeway", 1.0, 20.0)
    rudder_deg: float = quantity("greatest rudder angle", 1.0, 35.0)
    pitch_min_deg: float = quantity(
        "least pitch, bow up positive; with the bow further down it meets the waves",
        -10.0,
        10.0,
        default=-2.0,
    )
    pitch_max_deg: float = quantity(
        "greatest pitch, bow up positive; with the bow further up the stern drags in the water",
        -10.0,
        10.0,
        default=4.0,
    )
    immersion_m: float = quantity(
        "least depth of the working foil's shallower wing tip and of the rudder's wing; about half a chord, "
        "which keeps air out and is as shallow as the laws of the surface hold",
        0.0,
        3.0,
        default=0.15,
    )
    clearance_m: float = quantity(
        "least height of the keel line over the water when foil-borne; half the height of small waves",
        0.0,
        3.0,
        default=0.10,
    )
    cavitation_margin: float = quantity(
        "least cavitation number over suction peak left on foils at work; 0 is where cavitation begins",
        -1.0,
        3.0,
        default=0.0,
    )


def bound(description: str, low: float, high: float) -> Any:
    """A number within a range that may be left out."""
    return quantity(description, low, high, default=None)


class RuleTable(TableModel):
    """A limit on what is measured of the boat. All limits together are its rule box."""

    name: str = name("what the limit is called in key paths")
    clause: str = line("the clause that it stands in, in the words of the rule")
    quantity: Literal[
        "sail_area",
        "sail_area_filled",
        "sail_area_by_quarters",
        "sail_set_area",
        "total_sail_area",
        "luff_length",
        "chord",
        "head_zone_height",
        "head_transition_height",
        "foot_zone_height",
        "foot_transition_height",
        "lower_edge_over_pivot",
        "pivot_over_cant_axis",
        "mast_height_over_deck",
        "waterline_length",
        "hull_beam",
        "crew_reach",
        "beam_with_foils",
        "draught",
        "foil_span",
        "least_cant",
        "greatest_cant",
        "cant_range",
        "boat_mass",
        "crew_mass",
    ] = Field(description="what is measured")
    of: str | None = Field(
        None,
        pattern=LINE_PATTERN,
        max_length=40,
        description="name of the sail, sail set or foil that it is measured on",
    )
    at_percent: float | None = bound(
        "height on the luff above the foot at which the chord is measured", 0.0, 100.0
    )
    least_m2: float | None = bound("least area that the clause allows", 0.0, 5000.0)
    greatest_m2: float | None = bound("greatest area that the clause allows", 0.0, 5000.0)
    least_m: float | None = bound("least length that the clause allows", -50.0, 100.0)
    greatest_m: float | None = bound("greatest length that the clause allows", -50.0, 100.0)
    least_kg: float | None = bound("least mass that the clause allows", 0.0, 500000.0)
    greatest_kg: float | None = bound("greatest mass that the clause allows", 0.0, 500000.0)
    least_deg: float | None = bound("least angle that the clause allows", -90.0, 180.0)
    greatest_deg: float | None = bound("greatest angle that the clause allows", -90.0, 180.0)


class SetTable(TableModel):
    """A quantity that is set for a day, a leg or a range of wind and not trimmed at every condition; `vpp
    compare` picks the best of its values for each range.
    """

    name: str = name("what is set")
    says: str = line("how it is set, in one line")
    values: dict[str, Any] = Field(
        description="what it may be set to: a list of values by key path, such as mass.water_tank.mass_kg; "
        "lists of several keys go together, value by value. A control is named without min and max, as "
        "sail.jib.camber_trim_percent, and held",
    )
    wind_edges_kn: tuple[Annotated[float, Field(ge=0.0, le=40.0)], ...] = Field(
        (),
        min_length=2,
        max_length=20,
        description="edges of the wind ranges that each have a value of their own, rising; an edge inside "
        "belongs to the range above it. One value for every wind where not given",
    )
    twa_edges_deg: tuple[Annotated[float, Field(ge=0.0, le=180.0)], ...] = Field(
        (),
        min_length=2,
        max_length=10,
        description="edges of the ranges of true wind angle that each have a value of their own, likewise, "
        "as [0, 75, 180] for a beat and the rest; best VMG upwind belongs to the first, downwind to the "
        "last. One value for every angle where not given",
    )


class UncertaintyTable(TableModel):
    """How well a number of the boat is known, for `vpp doubt`."""

    name: str = name("what is in doubt, as tables call it")
    key: str = Field(
        pattern=LINE_PATTERN,
        max_length=120,
        description="the number of this file that is in doubt, such as crew.mass_kg; a star stands for every "
        "name, as in mass.*.mass_kg, and all of them move together",
    )
    plus_minus_percent: float | None = bound(
        "half of the range, as a part of the number; 0 for a number that is not in doubt", 0.0, 90.0
    )
    plus_minus: float | None = bound(
        "half of the range, in the unit of the number; 0 for a number that is not in doubt", 0.0, 1e5
    )
    least: float | None = bound("lower end of the range, in the unit of the number", -1e5, 1e6)
    greatest: float | None = bound("upper end of the range, in the unit of the number", -1e5, 1e6)
    shape: Literal["even", "normal"] = Field(
        "even",
        description="whether every value of the range is alike, or the range holds 95 % of a normal "
        "distribution",
    )
    why: str | None = Field(
        None, pattern=LINE_PATTERN, max_length=200, description="where the range comes from, in one line"
    )


class BoatDocument(TableModel):
    """A whole boat without its options: the base, or what an option resolves to."""

    schema_version: Literal[1] = Field(description="version of this file format")
    name: str = line("name of the boat")
    description: str = line("what the boat is, in one line")
    environment: EnvironmentTable
    sea: SeaTable = Field(default_factory=lambda: SeaTable(model="flat"))
    hull: HullTable
    fin: tuple[FinTable, ...] = Field((), max_length=20)
    foil: tuple[FoilTable, ...] = Field((), max_length=2)
    rig: RigTable
    sail: tuple[AnySailTable, ...] = Field(min_length=1, max_length=12)
    sail_set: tuple[SailSetTable, ...] = Field((), max_length=20)
    wardrobe: WardrobeTable = Field(default_factory=WardrobeTable)
    mass: tuple[MassTable, ...] = Field(min_length=1, max_length=200)
    crew: CrewTable
    windage: tuple[WindageTable, ...] = Field((), max_length=100)
    margins: MarginsTable
    calibration: CalibrationTable = Field(default_factory=CalibrationTable)
    known_point: tuple[KnownPointTable, ...] = Field((), max_length=50)
    rule_box: tuple[RuleTable, ...] = Field((), max_length=100)
    uncertainty: tuple[UncertaintyTable, ...] = Field((), max_length=100)
    set: tuple[SetTable, ...] = Field((), max_length=4)


class AddTables(TableModel):
    """Tables that an option adds."""

    sail_set: tuple[SailSetTable, ...] = ()

    fin: tuple[FinTable, ...] = ()
    foil: tuple[FoilTable, ...] = ()
    sail: tuple[AnySailTable, ...] = ()
    mass: tuple[MassTable, ...] = ()
    windage: tuple[WindageTable, ...] = ()
    rule_box: tuple[RuleTable, ...] = ()
    set: tuple[SetTable, ...] = ()


class OptionTable(TableModel):
    """A named variant of the boat."""

    name: str = name("what the option is called; not base")
    says: str = line("what the option is, in one line")
    parent: str | None = Field(
        None, pattern=NAME_PATTERN, description="option that this one builds on; the base where not given"
    )
    change: dict[str, Any] = Field(
        default_factory=dict, description="values that differ, by key path such as sail.main.foot_extension_m"
    )
    remove: tuple[str, ...] = Field((), description="tables to take away, by path such as windage.coachroof")
    add: AddTables = Field(default_factory=AddTables, description="tables to add, as [[option.add.mass]]")


class BoatFileDocument(BoatDocument):
    """A boat file: one boat and its options."""

    option: tuple[OptionTable, ...] = Field((), max_length=200)


SINGLE_TABLES: dict[str, type[TableModel]] = {
    "environment": EnvironmentTable,
    "sea": SeaTable,
    "hull": HullTable,
    "rig": RigTable,
    "wardrobe": WardrobeTable,
    "crew": CrewTable,
    "margins": MarginsTable,
    "calibration": CalibrationTable,
}
REPEATED_TABLES: dict[str, type[TableModel]] = {
    "fin": FinTable,
    "foil": FoilTable,
    "sail": SailTable,
    "sail_set": SailSetTable,
    "mass": MassTable,
    "windage": WindageTable,
    "known_point": KnownPointTable,
    "rule_box": RuleTable,
    "uncertainty": UncertaintyTable,
    "set": SetTable,
}
TABLES = SINGLE_TABLES | REPEATED_TABLES
# Tables of which every model has keys of its own; the first is the one in `TABLES`.
SAIL_TABLES: dict[str, type[TableModel]] = {"strips": SailTable, "table": CoefficientSailTable}


def table_model(table_name: str, table: object) -> type[TableModel] | None:
    """By what a table of a name is judged, given its plain values; None where no table has that name."""
    return SAIL_TABLES[_model_of_sail(table)] if table_name == "sail" else TABLES.get(table_name)


# Models of a hull that is free to heave and pitch; the others float at their boat's weight.
FREE_MODELS = ("thin_ship", "planing_prism")
TOP_KEYS = ("schema_version", "name", "description")
# Keys that only some commands read, and that change nothing of how the boat sails.
TELLING_KEYS = (
    *("mast_pivot_percent", "sheet_point_m", "sheet_block_x_m", "sheet_block_height_m", "sheet_track_min_m"),
    *("sheet_track_max_m", "stay_sag_percent", "trim_power_w"),
)


@dataclass(frozen=True, kw_only=True)
class Choice:
    """Keys of a table that belong to one choice of a model or kind, and have no use beside another.

    `selector` is the path of that choice: a key of the same table, or table and key. Those `needed` must be
    given with it. `called` stands for the choices in sentences where they are too many to list.
    """

    table: str
    selector: tuple[str, ...]
    chosen: str
    or_chosen: tuple[str, ...] = ()
    needed: tuple[str, ...] = ()
    optional: tuple[str, ...] = ()
    called: str = ""

    @property
    def choices(self) -> tuple[str, ...]:
        """The choices that the keys belong to."""
        return (self.chosen, *self.or_chosen)

    @property
    def keys(self) -> tuple[str, ...]:
        """All keys that belong to the choice."""
        return (*self.needed, *self.optional)

    @property
    def text(self) -> str:
        """The choice as it stands in a file."""
        if self.called:
            return self.called
        quoted = " or ".join(f'"{choice}"' for choice in self.choices)
        return f"{'.'.join(self.selector)} = {quoted}"


def _with_quantities(
    called: str,
    chosen: list[str],
    *,
    needed: tuple[str, ...] = (),
    optional: tuple[str, ...] = (),
) -> Choice:
    first, *others = chosen
    return Choice(
        table="rule_box",
        selector=("quantity",),
        chosen=first,
        or_chosen=tuple(others),
        needed=needed,
        optional=optional,
        called=called,
    )


def _measured_in(unit: str, what: str) -> Choice:
    """The bounds of quantities of a unit."""
    chosen = [each.name for each in QUANTITIES.values() if each.unit == unit]
    return _with_quantities(f"a quantity that is {what}", chosen, optional=bounds_in(unit))


def bounds_in(unit: str) -> tuple[str, str]:
    """The keys of least and greatest value in a unit."""
    return f"least_{unit}", f"greatest_{unit}"


CHOICES = (
    Choice(
        table="sea",
        selector=("model",),
        chosen="given",
        needed=("significant_height_m", "peak_period_s"),
    ),
    Choice(table="sea", selector=("model",), chosen="wind_sea", needed=("fetch_km",)),
    Choice(
        table="sea",
        selector=("model",),
        chosen="given",
        or_chosen=("wind_sea",),
        optional=("pitch_gyradius_percent",),
    ),
    Choice(
        table="hull",
        selector=("model",),
        chosen="systematic_series",
        needed=("buoyancy_centre_percent", "wetted_area_m2"),
    ),
    Choice(table="hull", selector=("model",), chosen="table", needed=("resistance_file",)),
    Choice(
        table="hull",
        selector=("model",),
        chosen="systematic_series",
        or_chosen=("table",),
        needed=("canoe_volume_m3", "waterplane_area_m2", "side_force_model", "stability_model"),
        optional=("heel_resistance_20deg_percent", "prismatic_coefficient"),
    ),
    Choice(
        table="hull",
        selector=("stability_model",),
        chosen="wall_sided",
        needed=("buoyancy_centre_z_m", "metacentric_radius_m", "wall_sided_limit_deg"),
    ),
    Choice(
        table="hull",
        selector=("stability_model",),
        chosen="gz_table",
        needed=("gz_file", "gz_mass_centre_z_m"),
    ),
    Choice(
        table="hull",
        selector=("stability_model",),
        chosen="sections",
        needed=("stability_section_file",),
    ),
    Choice(
        table="hull",
        selector=("model",),
        chosen="thin_ship",
        optional=("waterline_exponent", "section_exponent", "section_file", "hull_spacing_m"),
    ),
    Choice(
        table="hull",
        selector=("model",),
        chosen="planing_prism",
        needed=("deadrise_deg", "entry_percent", "freeboard_m"),
        optional=("transom_rise_m",),
    ),
    Choice(
        table="hull",
        selector=("model",),
        chosen="thin_ship",
        or_chosen=("planing_prism",),
        optional=("centre_x_m",),
    ),
    Choice(
        table="crew",
        selector=("hull", "model"),
        chosen="thin_ship",
        or_chosen=("planing_prism",),
        optional=("x_min_m", "x_max_m"),
    ),
    Choice(
        table="sail",
        selector=("section_model",),
        chosen="given",
        needed=(
            "stall_incidence_deg",
            "stall_width_deg",
            "profile_drag_coefficient",
            "drag_bucket_factor",
        ),
    ),
    Choice(
        table="sail",
        selector=("section_model",),
        chosen="twin_skin",
        or_chosen=("solid",),
        needed=("thickness_percent",),
    ),
    Choice(
        table="sail",
        selector=("section_model",),
        chosen="twin_skin",
        optional=("clew_thickness_m", "clew_zone_to_percent"),
    ),
    Choice(
        table="sail",
        selector=("section_model",),
        chosen="twin_skin",
        or_chosen=("given",),
        optional=("hinge_at_percent",),
    ),
    Choice(
        table="sail",
        selector=("section_model",),
        chosen="single_skin",
        needed=("behind_mast",),
    ),
    Choice(
        table="foil",
        selector=("kind",),
        chosen="canting_pair",
        needed=("cant_min_deg", "cant_max_deg", "raised_cant_deg", "raised_drag_area_m2"),
    ),
    Choice(
        table="margins",
        selector=("hull", "model"),
        chosen="thin_ship",
        or_chosen=("planing_prism",),
        optional=("pitch_min_deg", "pitch_max_deg"),
    ),
    Choice(
        table="margins",
        selector=("hull", "model"),
        chosen="thin_ship",
        optional=("immersion_m", "clearance_m", "cavitation_margin"),
    ),
    _with_quantities(
        "a quantity of a named part",
        [each.name for each in QUANTITIES.values() if each.is_of_named],
        needed=("of",),
    ),
    Choice(table="rule_box", selector=("quantity",), chosen="chord", needed=("at_percent",)),
    _measured_in("m2", "an area"),
    _measured_in("m", "a length"),
    _measured_in("kg", "a mass"),
    _measured_in("deg", "an angle"),
)


@cache
def choice_of(table_name: str, key: str) -> Choice | None:
    """The choice that a key belongs to, if it belongs to one."""
    return next((choice for choice in CHOICES if choice.table == table_name and key in choice.keys), None)


@cache
def properties_of(model: type[TableModel]) -> dict[str, dict[str, Any]]:
    """Each key of a table with its JSON Schema, in the order of the table; references are not followed."""
    found: dict[str, dict[str, Any]] = model.model_json_schema()["properties"]
    return {key: without_null(entry) for key, entry in found.items()}


def without_null(entry: Mapping[str, Any]) -> dict[str, Any]:
    """The entry of an optional key, as that of the key when it is given: TOML has no null."""
    choices = [choice for choice in entry.get("anyOf", ()) if choice.get("type") != "null"]
    if len(choices) != 1:
        return dict(entry)
    return {**{key: value for key, value in entry.items() if key != "anyOf"}, **choices[0]}
