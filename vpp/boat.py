"""The boat as frozen values in SI units and radians: what the physics needs and nothing else.

Lengths are measured in body axes with the boat upright and afloat at its design weight: x forward of the
reference point, y to leeward of the centreline, z up from the water plane. A height is a z.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

from vpp.physics.section_shape import SectionShape

# Heights of the luff at which a sail's chords are measured for its measured area.
MEASURED_AT = (0.0, 0.25, 0.5, 0.75, 1.0)


@dataclass(frozen=True, kw_only=True)
class Range:
    """Bounds of an adjustable quantity, in SI units. Equal bounds mean that it is set and not trimmed."""

    lower: float
    upper: float

    @property
    def is_fixed(self) -> bool:
        """Whether nothing is left to trim."""
        return self.lower == self.upper


@dataclass(frozen=True, kw_only=True)
class Environment:
    """Water and air.

    The wind profile is `wind speed = tws * (height / wind_reference_height) ** wind_exponent`.
    """

    water_density: float
    water_viscosity: float
    water_vapour_pressure: float
    air_density: float
    air_viscosity: float
    wind_exponent: float
    wind_reference_height: float
    air_pressure: float = 101325.0
    gravity: float = 9.80665


@dataclass(frozen=True, kw_only=True)
class Sea:
    """The sea state: "flat", "given" by its significant height and peak period, or the "wind_sea" that the
    wind of each condition raises over a fetch. What a model does not use is 0.
    """

    model: str = "flat"
    significant_height: float = 0.0
    peak_period: float = 0.0
    fetch: float = 0.0

    @property
    def is_flat(self) -> bool:
        """Whether there are no waves."""
        return self.model == "flat"

    @property
    def text(self) -> str:
        """The sea in a few words; empty where it is flat."""
        if self.model == "given":
            return f"{self.significant_height:g} m, {self.peak_period:g} s"
        return f"raised by the wind over {self.fetch / 1000.0:g} km" if self.model == "wind_sea" else ""


@dataclass(frozen=True, kw_only=True)
class ResistanceRows:
    """A hull's resistance [N] at every combination of speeds [m/s], displacements [kg] and heels [rad], each
    rising, empty where the table does not vary it; `resistance` runs over heels fastest and speeds slowest.
    `file` is where it comes from.
    """

    file: str
    speed: tuple[float, ...]
    displacement: tuple[float, ...]
    heel: tuple[float, ...]
    resistance: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class LeverRows:
    """Lever [m] of the buoyancy of a heeled hull about the point of the centreline in the water plane,
    positive where it rights, at heels [rad] that rise from 0. `file` is where it comes from.
    """

    file: str
    heel: tuple[float, ...]
    lever: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Hull:
    """The hull afloat at the boat's own weight, for resistance and form stability.

    `canoe_*`, `wetted_area` and `prismatic_coefficient` are those of the bare canoe body;
    `buoyancy_centre_share` is its longitudinal centre of buoyancy from midships as a share of the waterline
    length, forward positive. `buoyancy_centre_z` (negative) and `metacentric_radius` are those of the whole
    displaced volume, fins included. `heel_resistance_20deg` is the share by which residuary resistance, or
    that of a table without heel, has grown at 20 deg of heel. `roughness` is the height of sand grains that
    make the same friction. `side_force_model` is "effective_draught" or "surface_image". `resistance` holds
    the rows of the model "table"; `levers` those of the stability model "gz_table" or, found from `sections`
    when the boat is floated, "sections". What a model does not use is NaN, or None.
    """

    model: str
    waterline_length: float
    waterline_beam: float
    canoe_draught: float
    canoe_volume: float
    prismatic_coefficient: float
    buoyancy_centre_share: float
    wetted_area: float
    waterplane_area: float
    form_factor: float
    heel_resistance_20deg: float
    roughness: float = 0.0
    resistance: ResistanceRows | None = None
    side_force_model: str
    stability_model: str
    buoyancy_centre_z: float
    metacentric_radius: float
    wall_sided_limit: float
    levers: LeverRows | None = None
    sections: SectionShape | None = None

    @property
    def heel_limit(self) -> float:
        """Heel [rad] up to which its stability is known."""
        return self.wall_sided_limit if self.levers is None else self.levers.heel[-1]


@dataclass(frozen=True, kw_only=True)
class FormedHull:
    """A hull given by its shape: buoyancy, wetted area and wave resistance follow at every immersion.

    Without `sections`, half breadth (B/2)(1 - |2 x/L|^n)(1 - (1 - zeta)^m), with zeta the height above a
    level keel line over the draught, n `waterline_exponent` and m `section_exponent`; sides above the drawn
    water line are vertical. `centre_x` is the middle of the water line. With a `hull_spacing` there are two
    such hulls, their centre planes that far apart. `deadrise` and `transom_rise` belong to a bottom that
    planes, whose chines are `waterline_beam` apart and whose keel lies that much higher at the transom.
    """

    model: str
    waterline_length: float
    waterline_beam: float
    canoe_draught: float
    waterline_exponent: float = math.nan
    section_exponent: float = math.nan
    sections: SectionShape | None = None
    hull_spacing: float = 0.0
    deadrise: float = math.nan
    transom_rise: float = 0.0
    centre_x: float
    form_factor: float
    roughness: float = 0.0

    @property
    def planes(self) -> bool:
        """Whether it has a bottom that carries it at speed."""
        return self.model == "planing_prism"


@dataclass(frozen=True, kw_only=True)
class Fin:
    """A keel fin or rudder: a straight tapered foil below the hull, in the centre plane.

    `kind` is "fixed" or "rudder". `quarter_chord_x` is where the side force acts; `root_z` (zero or negative)
    is where the fin leaves the hull; `span` is measured down from there. With an `offset_y` there is one on
    either side of the centreline. `tab` is the range of a trim tab of `tab_chord_share` of the chord,
    positive when it pushes the boat to windward.
    """

    name: str
    kind: str
    span: float
    root_chord: float
    tip_chord: float
    thickness_ratio: float
    quarter_chord_x: float
    root_z: float
    offset_y: float = 0.0
    tab_chord_share: float = 0.0
    tab: Range = Range(lower=0.0, upper=0.0)

    @property
    def sides(self) -> tuple[tuple[str, float], ...]:
        """Name and distance to leeward of every such fin."""
        if self.offset_y == 0.0:
            return ((self.name, 0.0),)
        return ((f"{self.name} leeward", self.offset_y), (f"{self.name} windward", -self.offset_y))


@dataclass(frozen=True, kw_only=True)
class Foil:
    """A hydrofoil: an arm through the water surface, and a wing of up to two halves at its end.

    `kind` is "canting_pair", one on either side, of which the leeward one works at a trimmed `cant` and the
    windward one is held up at `raised_cant`; or "rudder", one on the centreline that steers with its arm.
    The attachment is in body axes, `attachment_y` to either side. The arm hangs straight down at zero cant
    and leans aft by `arm_sweep`; the wing's halves run outboard and inboard from its end with dihedrals
    counted at zero cant, tip up positive; a half of no span is absent. `flap` is the trimmed flap angle of
    the wing; a flap of the whole chord turns the wing. `mass` is that of one foil, at `mass_share` of the
    arm's length.
    """

    name: str
    kind: str
    attachment_x: float
    attachment_y: float
    attachment_z: float
    arm_length: float
    arm_root_chord: float
    arm_tip_chord: float
    arm_thickness_ratio: float
    arm_sweep: float
    outboard_span: float
    inboard_span: float
    outboard_dihedral: float
    inboard_dihedral: float
    wing_sweep: float
    wing_root_chord: float
    wing_tip_chord: float
    wing_thickness_ratio: float
    wing_incidence: float
    wing_design_lift_coefficient: float
    stall_lift_coefficient: float
    drag_bucket_factor: float
    flap_chord_ratio: float
    flap: Range
    cant: Range
    raised_cant: float
    raised_drag_area: float
    mass: float
    mass_share: float

    @property
    def wing_area(self) -> float:
        """Area of the wing [m^2], both halves."""
        return 0.5 * (self.outboard_span + self.inboard_span) * (self.wing_root_chord + self.wing_tip_chord)


@dataclass(frozen=True, kw_only=True)
class SectionGeometry:
    """The shape from which stall and drag of a sail's sections follow; see `sail_sections.section_law`.

    `kind` is "single_skin", "twin_skin" or "solid"; `mast_diameter` that of a round mast ahead of a single
    skin, 0 where there is none. The leech of twin skins is `clew_thickness` thick at the foot and thins in a
    straight line up to `clew_zone_to_share` of the luff.
    """

    kind: str
    thickness_share: float = 0.0
    clew_thickness: float = 0.0
    clew_zone_to_share: float = 0.2
    mast_diameter: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Sheeting:
    """How a sail is sheeted, as far as the boat file says; None where it does not. For estimates of loads.

    `holds` is "boom" or "clew". `point` [m] is where along the boom, from the luff, the sheet leaves it. The
    block or lead that it runs down to stands at `block_x` and `block_height`, and between `track_min` and
    `track_max` to leeward of the centreline. `stay_sag_share` is the sag of the stay over the luff's length.
    """

    holds: str | None = None
    point: float | None = None
    block_x: float | None = None
    block_height: float | None = None
    track_min: float | None = None
    track_max: float | None = None
    stay_sag_share: float | None = None


@dataclass(frozen=True, kw_only=True)
class Sail:
    """A sail as geometry. Shares run from 0 at `foot_height` to 1 at `head_height` along the luff's vertical
    extent.

    `foot_extension` is extra luff below `foot_height`, with the chord running linearly to `extension_chord`
    at its lower end. Above `head_cut_from_share` the chord is multiplied by a share that falls linearly from
    1 to `head_cut_chord_share` at `head_cut_to_share` and stays there up to the head. The luff lies at
    `tack_x` at the foot and leans aft by `luff_rake` going up. Camber is depth over chord, between a flattest
    and a fullest distribution; one trim moves all heights between the two, and a negative camber is inverted.
    Above `head_zone_from_share` (1: no such control) the trim is `head_camber`; between it and
    `head_transition_from_share` below, where tension carries the shape, the trim runs linearly from one to
    the other. `foot_camber` is likewise the trim below `foot_zone_to_share` (0: no such control), with its
    transition up to `foot_transition_to_share`. The chord's angle from the centreline is the sheet angle at
    the lower edge plus the twist times the share of the height from there to the head. The belly is deepest
    at `draft_share` of the chord; a `hinge_share` above 0 is that of a nose, the turning mast's, from whose
    corner twin skins run to the leech. Where `section` is given, stall and drag follow from it, and
    `stall_incidence`, `stall_width`, `profile_drag_coefficient` and `drag_bucket_factor` are not used.
    `stall_incidence` is counted from the ideal incidence, in which the flow meets the leading edge smoothly.
    `deck_height` and `deck_half_width` are those under this sail where they differ from the rig's. `role`
    names the columns that its trims are reported in; the sail's own name where it has none.
    """

    name: str
    foot_height: float
    head_height: float
    foot_extension: float
    extension_chord: float
    tack_x: float
    luff_rake: float
    chord_share: tuple[float, ...]
    chord: tuple[float, ...]
    head_cut_from_share: float
    head_cut_to_share: float = 1.0
    head_cut_chord_share: float
    camber_share: tuple[float, ...]
    camber_flat: tuple[float, ...]
    camber_full: tuple[float, ...]
    camber: Range
    head_zone_from_share: float = 1.0
    head_transition_from_share: float = 1.0
    head_camber: Range = Range(lower=0.0, upper=0.0)
    foot_zone_to_share: float = 0.0
    foot_transition_to_share: float = 0.0
    foot_camber: Range = Range(lower=0.0, upper=0.0)
    draft_share: float = 0.5
    hinge_share: float = 0.0
    sheet: Range
    twist: Range
    stall_incidence: float = math.nan
    stall_width: float = math.nan
    profile_drag_coefficient: float = math.nan
    drag_bucket_factor: float = math.nan
    section: SectionGeometry | None = None
    mass_per_area: float
    station_count: int
    deck_height: float | None = None
    deck_half_width: float | None = None
    role: str | None = None
    sheeting: Sheeting = Sheeting()

    @property
    def lower_edge_height(self) -> float:
        """Height of the lowest point of the sail, extension included."""
        return self.foot_height - self.foot_extension

    def chord_at(self, height: float) -> float:
        """Chord at a height, with the foot extension and the head cut applied."""
        if height < self.foot_height and self.foot_extension > 0.0:
            fall = (self.foot_height - height) / self.foot_extension
            return self.chord[0] + fall * (self.extension_chord - self.chord[0])
        share = self._share(height)
        return _interpolate(share, self.chord_share, self.chord) * self._cut_at(share)

    def _cut_at(self, share: float) -> float:
        """What the head's cut leaves of the chord."""
        if self.head_cut_from_share >= 1.0:
            return 1.0
        cut = _ramp(share, self.head_cut_from_share, self.head_cut_to_share)
        return 1.0 + cut * (self.head_cut_chord_share - 1.0)

    def camber_at(self, height: float) -> tuple[float, float]:
        """Flattest and fullest camber at a height; the extension carries the foot's."""
        share = max(0.0, self._share(height))
        return (
            _interpolate(share, self.camber_share, self.camber_flat),
            _interpolate(share, self.camber_share, self.camber_full),
        )

    @property
    def has_head_control(self) -> bool:
        """Whether the head has a camber trim of its own."""
        return self.head_zone_from_share < 1.0

    def head_ramp_at(self, height: float) -> float:
        """Share of the head's own trim in the trim at a height, from 0 below the transition to 1 in the
        head's zone.
        """
        if not self.has_head_control:
            return 0.0
        return _ramp(self._share(height), self.head_transition_from_share, self.head_zone_from_share)

    @property
    def has_foot_control(self) -> bool:
        """Whether the foot has a camber trim of its own."""
        return self.foot_zone_to_share > 0.0

    def foot_ramp_at(self, height: float) -> float:
        """Share of the foot's own trim in the trim at a height, from 1 in the foot's zone to 0 above the
        transition.
        """
        if not self.has_foot_control:
            return 0.0
        return 1.0 - _ramp(self._share(height), self.foot_zone_to_share, self.foot_transition_to_share)

    def _share(self, height: float) -> float:
        """Height as a share of the luff above the foot; negative on the extension."""
        return (height - self.foot_height) / (self.head_height - self.foot_height)

    def leech_thickness_at(self, height: float) -> float:
        """Thickness of the leech at a height, where the skins do not meet; that of the foot on the
        extension.
        """
        if self.section is None or self.section.clew_thickness == 0.0:
            return 0.0
        closed = _ramp(self._share(height), 0.0, self.section.clew_zone_to_share)
        return self.section.clew_thickness * (1.0 - closed)

    @property
    def corners(self) -> tuple[float, ...]:
        """Heights at which the chord line has a corner, from the lower edge to the head."""
        luff = self.head_height - self.foot_height
        cut = (self.head_cut_from_share, self.head_cut_to_share)
        inside = {self.foot_height + share * luff for share in (*self.chord_share, *cut)}
        edges = {self.lower_edge_height, self.head_height}
        return tuple(sorted({h for h in inside | edges if self.lower_edge_height <= h <= self.head_height}))

    @cached_property
    def area(self) -> float:
        """Area between luff and leech, exact up to the curvature of the head cut (Simpson's rule between
        corners).
        """
        total = 0.0
        for low, high in pairwise(self.corners):
            middle = 0.5 * (low + high)
            step = high - low
            # just inside the interval, because the chord may jump where the extension begins
            total += (
                step
                / 6.0
                * (
                    self.chord_at(low + 1e-9 * step)
                    + 4.0 * self.chord_at(middle)
                    + self.chord_at(high - 1e-9 * step)
                )
            )
        return total

    @property
    def measured_area(self) -> float:
        """Area as it would be measured: trapezoids between the chords at `MEASURED_AT` of the luff above the
        foot. Common practice, no source.

        It does not see an addition below the foot, nor what is cut away or added between those heights.
        """
        luff = self.head_height - self.foot_height
        chords = [self.chord_at(self.foot_height + share * luff) for share in MEASURED_AT]
        return sum(
            0.5 * (low + high) * (b - a) * luff
            for (a, b), (low, high) in zip(pairwise(MEASURED_AT), pairwise(chords), strict=True)
        )

    @property
    def mass(self) -> float:
        """Mass [kg] of the cloth with battens and fittings."""
        return self.mass_per_area * self.area

    @cached_property
    def area_centre_height(self) -> float:
        """Height of the area's centroid."""
        moment = 0.0
        for low, high in pairwise(self.corners):
            middle = 0.5 * (low + high)
            step = high - low
            inner_low, inner_high = low + 1e-9 * step, high - 1e-9 * step
            moment += (
                step
                / 6.0
                * (
                    low * self.chord_at(inner_low)
                    + 4.0 * middle * self.chord_at(middle)
                    + high * self.chord_at(inner_high)
                )
            )
        return moment / self.area

    def luff_x(self, height: float) -> float:
        """Fore-and-aft position of the luff at a height."""
        return self.tack_x - (height - self.foot_height) * math.tan(self.luff_rake)

    def reefed(self, share: float) -> Sail:
        """The sail with that share of its luff taken out at the foot (slab reef).

        The cloth above the reef comes down along the luff until its lower edge lies at `foot_height`: the
        head is lower by `share` of the luff, and chords, cambers, head cut and the zones of the head and of
        the foot stay where they are in the cloth. A reefed sail has no foot extension, and a foot zone that
        the reef takes away takes its control with it. Exact geometry. Raises ValueError where nothing or all
        of the luff is taken, or the reef reaches into the head's cut, zone or transition.
        """
        start = min(self.head_cut_from_share, self.head_transition_from_share)
        if not 0.0 < share < start:
            raise ValueError(f"{self.name} cannot be reefed by {share:g} of its luff: 0 to {start:g}")

        def above(place: float) -> float:
            return max(0.0, (place - share) / (1.0 - share))

        chord_share, (chord,) = _above_reef(share, self.chord_share, self.chord)
        camber_share, (flat, full) = _above_reef(share, self.camber_share, self.camber_flat, self.camber_full)
        return replace(
            self,
            head_height=self.head_height - share * (self.head_height - self.foot_height),
            foot_extension=0.0,
            extension_chord=chord[0],
            chord_share=chord_share,
            chord=chord,
            camber_share=camber_share,
            camber_flat=flat,
            camber_full=full,
            head_cut_from_share=above(self.head_cut_from_share),
            head_cut_to_share=above(self.head_cut_to_share),
            head_zone_from_share=above(self.head_zone_from_share),
            head_transition_from_share=above(self.head_transition_from_share),
            foot_zone_to_share=above(self.foot_zone_to_share),
            foot_transition_to_share=above(self.foot_transition_to_share),
        )


@dataclass(frozen=True, kw_only=True)
class TableSail:
    """A sail given by a table of lift and drag coefficients over the apparent wind angle.

    `wind_angle`, from the centreline, rises from row to row and bounds what is known of the sail. The
    coefficients are on `area`, of full power; `power` is the range to which lift can be taken back. `span` is
    the effective one for induced drag, images included. The force acts at `centre_height` and `centre_x`,
    where the sail's mass is put too.
    """

    name: str
    area: float
    span: float
    centre_height: float
    centre_x: float
    mass_per_area: float
    power: Range
    wind_angle: tuple[float, ...]
    lift_coefficient: tuple[float, ...]
    drag_coefficient: tuple[float, ...]

    @property
    def mass(self) -> float:
        """Mass [kg] of the cloth with fittings."""
        return self.mass_per_area * self.area


@dataclass(frozen=True, kw_only=True)
class Rig:
    """Mast, standing rigging and the deck under the sails.

    `rigging_diameter` is the sum of all wire diameters seen from ahead. The deck at `deck_height` reaches
    `deck_half_width` to either side and mirrors the sails' flow as far as its width allows; `gap_leakage` is
    the share of that mirror lost to flow through gear, boom and crew: 0 a clean deck, 1 none.
    `mast_rotation` is the angle of a turning mast from the foot chord of the sail on it, positive where it
    adds to the camber; the mast does not twist. `mast_pivot_share` is the axis that it turns about, from its
    leading edge over the length of its section, None where the boat file does not say.
    """

    mast_x: float
    mast_base_height: float
    mast_top_height: float
    mast_mass_per_length: float
    mast_diameter: float
    mast_drag_coefficient: float
    rigging_diameter: float
    rigging_drag_coefficient: float
    deck_height: float
    deck_half_width: float
    gap_leakage: float
    mast_rotation: Range = Range(lower=0.0, upper=0.0)
    mast_pivot_share: float | None = None


@dataclass(frozen=True, kw_only=True)
class PointMass:
    """A mass at a point of the boat."""

    name: str
    mass: float
    x: float
    y: float
    z: float


@dataclass(frozen=True, kw_only=True)
class Crew:
    """The crew as one mass that can move. `arm` is its distance to windward of the centreline; it sits at
    `x`, or anywhere in `x_range` on a boat that is free to pitch. `trim_power` [W] is what crew or pump have
    for trimming sails, None where the boat file does not say.
    """

    mass: float
    arm: Range
    x: float
    z: float
    drag_area: float
    x_range: Range | None = None
    trim_power: float | None = None

    @property
    def along(self) -> Range:
        """Where lengthwise it may sit."""
        return Range(lower=self.x, upper=self.x) if self.x_range is None else self.x_range


@dataclass(frozen=True, kw_only=True)
class WindageItem:
    """A bluff body in the wind. Its area turns with the apparent wind from the frontal to the side area."""

    name: str
    frontal_area: float
    side_area: float
    drag_coefficient: float
    x: float
    height: float


@dataclass(frozen=True, kw_only=True)
class Margins:
    """Limits on the attitude and the helm, and what must be left of the foils' limits.

    `heel_to_windward` is as `heel` where it is not given. `pitch` bounds boats that are free to pitch; the
    next three bind those with foils: least depth of the main foil's shallower wing tip and of the elevator;
    least height of the keel line over the water when foil-borne; least cavitation number left over the
    suction peak on every working foil element.
    """

    heel: float
    leeway: float
    rudder: float
    pitch: Range = Range(lower=0.0, upper=0.0)
    immersion: float = 0.0
    clearance: float = 0.0
    cavitation: float = 0.0
    heel_to_windward: float | None = None

    @property
    def to_windward(self) -> float:
        """Greatest heel to windward [rad], positive."""
        return self.heel if self.heel_to_windward is None else self.heel_to_windward


@dataclass(frozen=True, kw_only=True)
class SailSet:
    """Sails that are up together, by name, and the share of the luff that is reefed out of some of them."""

    name: str
    says: str
    sails: tuple[str, ...]
    reefed: tuple[str, ...] = ()
    reef_share: tuple[float, ...] = ()

    def reef_of(self, sail: str) -> float:
        """Share of a sail's luff that is reefed out of it."""
        return dict(zip(self.reefed, self.reef_share, strict=True)).get(sail, 0.0)


@dataclass(frozen=True, kw_only=True)
class SailChange:
    """What a change of sails costs: `lost_time` [s] of sailing on a leg of `leg_time` [s]."""

    lost_time: float = 20.0
    leg_time: float = 1200.0

    @property
    def least_gain(self) -> float:
        """Gain in speed, as a share of it, above which a change pays on that leg."""
        return self.lost_time / self.leg_time


@dataclass(frozen=True, kw_only=True)
class Calibration:
    """What forces of the models are multiplied by, after points that are known of the boat; 1 leaves them.

    `hull_resistance` scales friction, waves and added resistance of the hull; `appendage_drag` the profile
    drag of fins and foils; `windage` the force of the wind on everything but sails; `sail_force` the whole
    force of the sails.
    """

    hull_resistance: float = 1.0
    appendage_drag: float = 1.0
    windage: float = 1.0
    sail_force: float = 1.0

    @property
    def text(self) -> str:
        """The scales that are not 1; empty where none is."""
        scales = {name.replace("_", " "): value for name, value in vars(self).items() if value != 1.0}
        return ", ".join(f"{name} x {value:.3f}" for name, value in scales.items())


@dataclass(frozen=True, kw_only=True)
class Boat:
    """One complete boat: what an option resolves to.

    With `sail_sets`, `sails` is the locker, of which one set is up at a time; without, all of them are up.
    """

    name: str
    says: str
    environment: Environment
    hull: Hull | FormedHull
    fins: tuple[Fin, ...]
    foils: tuple[Foil, ...]
    rig: Rig
    sails: tuple[Sail, ...]
    table_sails: tuple[TableSail, ...] = ()
    masses: tuple[PointMass, ...]
    crew: Crew
    windage: tuple[WindageItem, ...]
    margins: Margins
    sail_sets: tuple[SailSet, ...] = ()
    sail_change: SailChange = SailChange()
    sea: Sea = Sea()
    pitch_gyradius_share: float = 0.25
    calibration: Calibration = Calibration()

    @property
    def turns_mast(self) -> bool:
        """Whether a sail takes its nose from a turning mast."""
        return any(sail.hinge_share > 0.0 for sail in self.sails)

    @property
    def heaves(self) -> bool:
        """Whether heave and pitch are solved for: the hull is given by its shape."""
        return isinstance(self.hull, FormedHull)

    @property
    def has_tab(self) -> bool:
        """Whether a fin has a trim tab."""
        return any(fin.tab_chord_share > 0.0 for fin in self.fins)

    def foil(self, kind: str) -> Foil | None:
        """The foil of a kind, if there is one."""
        return next((foil for foil in self.foils if foil.kind == kind), None)

    @property
    def every_sail(self) -> tuple[Sail | TableSail, ...]:
        """Sails of strips, then those from tables."""
        return (*self.sails, *self.table_sails)

    def wearing(self, name: str) -> Boat:
        """The boat under one of its sail sets, a boat without sets.

        Sails of the locker that are not up lie on deck at the foot of the mast, and the reefed part of a sail
        along its foot: every set weighs the same. Raises KeyError for a set that the boat does not have.
        """
        chosen = {item.name: item for item in self.sail_sets}[name]
        whole = [sail for sail in self.sails if sail.name in chosen.sails]
        up = [sail.reefed(chosen.reef_of(sail.name)) if chosen.reef_of(sail.name) else sail for sail in whole]
        folded = [
            PointMass(
                name=f"{sail.name} (reefed part)",
                mass=sail.mass - reefed.mass,
                x=reefed.tack_x - 0.5 * reefed.chord[0],
                y=0.0,
                z=reefed.foot_height,
            )
            for sail, reefed in zip(whole, up, strict=True)
            if reefed is not sail
        ]
        stowed = [
            PointMass(
                name=f"{sail.name} (stowed)", mass=sail.mass, x=self.rig.mast_x, y=0.0, z=self.rig.deck_height
            )
            for sail in self.every_sail
            if sail.name not in chosen.sails
        ]
        return replace(
            self,
            sails=tuple(up),
            table_sails=tuple(sail for sail in self.table_sails if sail.name in chosen.sails),
            masses=(*self.masses, *folded, *stowed),
            sail_sets=(),
        )

    @property
    def dressed(self) -> Boat:
        """The boat itself, or under the first of its sail sets where it has any."""
        return self.wearing(self.sail_sets[0].name) if self.sail_sets else self

    def all_masses(self) -> tuple[PointMass, ...]:
        """Every mass but crew and canting foils: those of the file, and mast, sails and rudder foil that
        follow from geometry. Of a boat with sail sets, under the first of them.
        """
        if self.sail_sets:
            return self.dressed.all_masses()
        rig = self.rig
        length = rig.mast_top_height - rig.mast_base_height
        mast = PointMass(
            name="mast",
            mass=rig.mast_mass_per_length * length,
            x=rig.mast_x,
            y=0.0,
            z=0.5 * (rig.mast_top_height + rig.mast_base_height),
        )
        sails = tuple(
            PointMass(
                name=sail.name,
                mass=sail.mass,
                x=sail.luff_x(sail.area_centre_height) - 0.4 * sail.chord_at(sail.area_centre_height),
                y=0.0,
                z=sail.area_centre_height,
            )
            for sail in self.sails
        )
        rudders = tuple(
            PointMass(
                name=foil.name,
                mass=foil.mass,
                x=foil.attachment_x,
                y=0.0,
                z=foil.attachment_z - foil.mass_share * foil.arm_length,
            )
            for foil in self.foils
            if foil.kind == "rudder"
        )
        tables = tuple(
            PointMass(name=sail.name, mass=sail.mass, x=sail.centre_x, y=0.0, z=sail.centre_height)
            for sail in self.table_sails
        )
        return (*self.masses, mast, *sails, *tables, *rudders)

    @property
    def draught(self) -> float:
        """Draught [m] of hull and deepest fixed fin, canting foils and rudders left out."""
        fixed = [fin.span - fin.root_z for fin in self.fins if fin.kind == "fixed"]
        return max(self.hull.canoe_draught, *fixed, 0.0)

    @property
    def total_mass(self) -> float:
        """Mass of the boat with its crew and foils."""
        canting = sum(2.0 * foil.mass for foil in self.foils if foil.kind == "canting_pair")
        return self.crew.mass + canting + sum(item.mass for item in self.all_masses())


def _ramp(at: float, start: float, end: float) -> float:
    """From 0 up to `start` to 1 from `end` on, linearly between."""
    if at >= end:
        return 1.0
    return 0.0 if at <= start else (at - start) / (end - start)


def _above_reef(
    reef: float, share: tuple[float, ...], *values: tuple[float, ...]
) -> tuple[tuple[float, ...], list[tuple[float, ...]]]:
    """Places along a luff and values at them, of what is left above a reef, by shares of the luff left."""
    kept = [index for index, place in enumerate(share) if place > reef]
    places = (0.0, *((share[index] - reef) / (1.0 - reef) for index in kept))
    return places, [(_interpolate(reef, share, along), *(along[index] for index in kept)) for along in values]


def _interpolate(at: float, x: tuple[float, ...], y: tuple[float, ...]) -> float:
    for x0, x1, y0, y1 in zip(x[:-1], x[1:], y[:-1], y[1:], strict=True):
        if at <= x1:
            return y0 + (at - x0) / (x1 - x0) * (y1 - y0)
    return y[-1]
