"""Forces and moments on a boat in a state: the budget by component, and the residuals of its equations.

A component's load is given in horizontal boat axes: forward along the centreline, to leeward across it, up;
moments are right-handed about those axes through the reference point, which lies on the centreline in the
water plane.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from vpp import foiling
from vpp.boat import Boat, Environment, Fin, FormedHull, Hull, Rig, Sail, TableSail
from vpp.foiling import Attitude, FoilArrays, FoilLayout, Water
from vpp.physics import foil_geometry, foils, hull, hull_form, hydrofoils, lifting_line, stability
from vpp.physics.arrays import Array, array_namespace
from vpp.physics.lifting_line import Mirror, SailLine, StripFlow, WakeOperator
from vpp.physics.sail_sections import MeanLine, mean_line, section_law
from vpp.physics.sail_tables import TableSailArrays, TableSailForce, table_curves, table_sail_force
from vpp.physics.sails import (
    RigGeometry,
    SailShape,
    SailTrim,
    StripLoads,
    Wind,
    from_wind_axes,
    sail_shape,
    strip_flow,
    strip_loads,
    strip_sums,
    wind_at,
)
from vpp.physics.sections import plate_drag_maximum
from vpp.physics.windage import bluff_body_force

FloatArray = NDArray[np.float64]
T = TypeVar("T")

# Depth of the side force of an elliptically loaded fin below the water plane, as a share of its extended
# span: 4/(3 pi).
ELLIPTIC_CENTRE_SHARE = 4.0 / (3.0 * np.pi)
FLOATING_EQUATIONS = ("surge", "sway", "roll", "yaw")
IMMERSION, CAVITATION = "immersion", "cavitation"
SIX_EQUATIONS = ("surge", "sway", "heave", "roll", "pitch", "yaw")
# A strip's force acts at this share of the chord behind the luff. Source: thin-aerofoil theory, quarter
# chord.
QUARTER_CHORD = 0.25
# Apparent wind speed [m/s] for which the Reynolds number of sections from geometry is taken: half or twice as
# much changes their friction by 10 %.
SECTION_WIND_SPEED = 12.0


# --- boats as arrays ----------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class FinArrays:
    """One fin of every boat; arrays (boats,).

    `lifting_span` and `lifting_area` are those of the fin extended to the water plane, through the hull: hull
    and fin make their side force together, as if the fin went on (the extended-keel method: J. Gerritsma,
    Course keeping qualities and motions in waves of a sailing yacht, 1971, from memory). Only the fin itself
    has profile drag.
    """

    lifting_span: Array
    lifting_area: Array
    span: Array
    area: Array
    thickness_ratio: Array
    x: Array
    z: Array


@dataclass(frozen=True, kw_only=True)
class BluffArrays:
    """Bluff bodies of every boat, arrays (bodies, boats)."""

    frontal_area: Array
    side_area: Array
    drag_coefficient: Array
    x: Array
    height: Array


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


@dataclass(frozen=True, kw_only=True)
class BoatArrays:
    """What the balance needs of a batch of boats of one layout, the boat axis last."""

    water_density: Array
    water_viscosity: Array
    water_vapour_pressure: Array
    air_density: Array
    wind_exponent: Array
    wind_reference_height: Array
    gravity: Array
    hull: HullArrays | FormedHullArrays
    fins: tuple[FinArrays, ...]
    foils: tuple[FoilArrays, ...]
    bluff: BluffArrays
    rig: RigGeometry
    table_sails: tuple[TableSailArrays, ...]
    mass: Array
    mass_moment_x: Array
    mass_moment_y: Array
    mass_moment_z: Array
    crew_mass: Array
    crew_x: Array
    crew_z: Array
    crew_drag_area: Array
    least_immersion: Array
    least_cavitation: Array


@dataclass(frozen=True, kw_only=True)
class Layout:
    """What boats must share to be solved in one batch. The trims of a sail are reported under its role."""

    sails: tuple[str, ...]
    roles: tuple[str, ...]
    strips: tuple[int, ...]
    table_sails: tuple[str, ...]
    table_rows: tuple[int, ...]
    fins: tuple[tuple[str, str], ...]
    foils: tuple[FoilLayout, ...]
    bluff: tuple[str, ...]
    heaves: bool

    @property
    def equations(self) -> tuple[str, ...]:
        """The equations of balance. A boat whose hull is not given by its shape floats at its own weight: its
        buoyancy takes up heave and pitch.
        """
        return SIX_EQUATIONS if self.heaves else FLOATING_EQUATIONS

    @property
    def slices(self) -> tuple[slice, ...]:
        """Which strips belong to which sail."""
        ends = np.cumsum([0, *self.strips])
        return tuple(slice(int(a), int(b)) for a, b in pairwise(ends))


def layout(boat: Boat) -> Layout:
    """The layout of one boat."""
    return Layout(
        sails=tuple(sail.name for sail in boat.sails),
        roles=tuple(sail.role or sail.name for sail in boat.sails),
        strips=tuple(sail.station_count for sail in boat.sails),
        table_sails=tuple(sail.name for sail in boat.table_sails),
        table_rows=tuple(len(sail.wind_angle) for sail in boat.table_sails),
        fins=tuple((fin.name, fin.kind) for fin in boat.fins),
        foils=tuple(foiling.foil_layout(foil) for foil in boat.foils),
        bluff=("mast", "rigging", *(item.name for item in boat.windage)),
        heaves=boat.heaves,
    )


@dataclass(frozen=True, kw_only=True)
class Fleet:
    """Boats of one layout as arrays, with the influence of their sails on each other; `mirrored_from` as in
    `WakeOperator`.
    """

    layout: Layout
    arrays: BoatArrays
    wake: FloatArray
    mirrored_from: FloatArray | None = None

    def select(self, boat: NDArray[np.intp]) -> tuple[BoatArrays, WakeOperator]:
        """The arrays with one entry a condition, given the boat of each."""
        wake = WakeOperator(coefficients=self.wake, boat=boat, mirrored_from=self.mirrored_from)
        return take(self.arrays, boat), wake

    def mirrored(self, boats: Sequence[Boat], ride_heights: Sequence[tuple[float, float]]) -> Fleet:
        """The same boats with the water's mirror following their ride height: straight through those of two
        ride heights [m] of each.
        """
        low, high = np.array(ride_heights, dtype=float).T
        at_low, at_high = wakes(boats, low), wakes(boats, high)
        slope = (at_high - at_low) / (high - low)[:, None, None, None, None]
        return replace(self, wake=np.concatenate([at_low, slope], axis=2), mirrored_from=low)


def take(tree: T, index: NDArray[np.intp]) -> T:
    """Pick along the last axis of every array in a dataclass of arrays; of tables of waves, which are large,
    only whose they are.
    """
    if isinstance(tree, hull_form.WaveTable):
        return replace(tree, hull=np.asarray(tree.hull)[index])
    if isinstance(tree, tuple):
        return tuple(take(item, index) for item in tree)  # type: ignore[return-value]
    if dataclasses.is_dataclass(tree) and not isinstance(tree, type):
        return type(tree)(
            **{field.name: take(getattr(tree, field.name), index) for field in dataclasses.fields(tree)}
        )
    picked: Any = np.asarray(tree)[..., index]
    return picked  # type: ignore[no-any-return]


def fleet(boats: Sequence[Boat]) -> Fleet:
    """Stack boats of one layout, their sails mirrored in the water as afloat. Raises ValueError when layouts
    differ.
    """
    shared = layout(boats[0])
    for boat in boats:
        if layout(boat) != shared:
            raise ValueError(f"{boat.name} and {boats[0].name} differ in layout and cannot share a batch")
    # options mostly share their hull, whose waves take longer than all else
    hulls = {form: _hull_arrays(form) for form in dict.fromkeys(boat.hull for boat in boats)}
    per_boat = [_boat_arrays(boat, hulls[boat.hull]) for boat in boats]
    return Fleet(layout=shared, arrays=_stack(per_boat), wake=wakes(boats, np.zeros(len(boats))))


def wakes(boats: Sequence[Boat], ride_heights: FloatArray) -> FloatArray:
    """Influence of the sails of boats on each other, mirrored in the water from a ride height [m] each."""
    return np.stack([_wake(boat, height) for boat, height in zip(boats, ride_heights, strict=True)])


def _stack(trees: Sequence[T]) -> T:
    first = trees[0]
    if isinstance(first, hull_form.WaveTable):
        tables = np.stack([tree.coefficients for tree in trees], axis=-1)  # type: ignore[attr-defined]
        return replace(first, coefficients=tables, hull=np.arange(len(trees)))
    if isinstance(first, tuple):
        return tuple(_stack([tree[i] for tree in trees]) for i in range(len(first)))  # type: ignore[index,return-value]
    if dataclasses.is_dataclass(first) and not isinstance(first, type):
        names = [field.name for field in dataclasses.fields(first)]
        return type(first)(**{name: _stack([getattr(tree, name) for tree in trees]) for name in names})
    stacked: Any = np.stack([np.asarray(tree, dtype=float) for tree in trees], axis=-1)
    return stacked  # type: ignore[no-any-return]


def _boat_arrays(boat: Boat, hull_arrays: HullArrays | FormedHullArrays) -> BoatArrays:
    masses = boat.all_masses()
    env = boat.environment
    return BoatArrays(
        water_density=env.water_density,
        water_viscosity=env.water_viscosity,
        water_vapour_pressure=env.water_vapour_pressure,
        air_density=env.air_density,
        wind_exponent=env.wind_exponent,
        wind_reference_height=env.wind_reference_height,
        gravity=env.gravity,
        hull=hull_arrays,
        fins=tuple(_fin_arrays(fin) for fin in boat.fins),
        foils=tuple(foiling.foil_arrays(foil) for foil in boat.foils),
        bluff=_bluff_arrays(boat),
        rig=_rig_geometry(boat),
        table_sails=tuple(_table_sail_arrays(sail) for sail in boat.table_sails),
        mass=sum(item.mass for item in masses),
        mass_moment_x=sum(item.mass * item.x for item in masses),
        mass_moment_y=sum(item.mass * item.y for item in masses),
        mass_moment_z=sum(item.mass * item.z for item in masses),
        crew_mass=boat.crew.mass,
        crew_x=boat.crew.x,
        crew_z=boat.crew.z,
        crew_drag_area=boat.crew.drag_area,
        least_immersion=boat.margins.immersion,
        least_cavitation=boat.margins.cavitation,
    )


def _hull_arrays(form: Hull | FormedHull) -> HullArrays | FormedHullArrays:
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


def _fin_arrays(fin: Fin) -> FinArrays:
    covered = -fin.root_z
    area = 0.5 * fin.span * (fin.root_chord + fin.tip_chord)
    return FinArrays(
        lifting_span=covered + fin.span,
        lifting_area=covered * fin.root_chord + area,
        span=fin.span,
        area=area,
        thickness_ratio=fin.thickness_ratio,
        x=fin.quarter_chord_x,
        z=-ELLIPTIC_CENTRE_SHARE * (covered + fin.span),
    )


def _bluff_arrays(boat: Boat) -> BluffArrays:
    rig = boat.rig
    length = rig.mast_top_height - rig.mast_base_height
    middle = 0.5 * (rig.mast_top_height + rig.mast_base_height)
    rows = [
        (
            rig.mast_diameter * length,
            rig.mast_diameter * length,
            rig.mast_drag_coefficient,
            rig.mast_x,
            middle,
        ),
        (
            rig.rigging_diameter * length,
            rig.rigging_diameter * length,
            rig.rigging_drag_coefficient,
            rig.mast_x,
            middle,
        ),
        *(
            (item.frontal_area, item.side_area, item.drag_coefficient, item.x, item.height)
            for item in boat.windage
        ),
    ]
    frontal, side, drag, x, height = np.array(rows).T
    return BluffArrays(frontal_area=frontal, side_area=side, drag_coefficient=drag, x=x, height=height)


def sail_line(sail: Sail) -> SailLine:
    """Where a sail's vortices lie: on its quarter chord."""
    nodes, controls = lifting_line.stations(
        lower=sail.lower_edge_height, upper=sail.head_height, count=sail.station_count
    )
    chord = np.array([sail.chord_at(h) for h in controls])
    x = np.array([sail.luff_x(h) for h in controls]) - QUARTER_CHORD * chord
    return SailLine(node_height=nodes, control_height=controls, x=x, chord=chord)


def _mirror(sail: Sail, rig: Rig, ride_height: float) -> Mirror:
    """What lies below a sail: its own deck, or the rig's, and the water."""
    return Mirror(
        deck_height=rig.deck_height if sail.deck_height is None else sail.deck_height,
        deck_half_width=rig.deck_half_width if sail.deck_half_width is None else sail.deck_half_width,
        leakage=rig.gap_leakage,
        water_height=-ride_height,
    )


def _wake(boat: Boat, ride_height: float) -> FloatArray:
    lines = tuple(
        replace(sail_line(sail), mirror=_mirror(sail, boat.rig, ride_height)) for sail in boat.sails
    )
    return lifting_line.wake_coefficients(lines=lines, mirror=None)


def _rig_geometry(boat: Boat) -> RigGeometry:
    rows = [_sail_rows(sail, boat.environment) for sail in boat.sails]
    lines = [_mean_line_rows(sail) for sail in boat.sails]
    centres = [(sail.area, sail.area_centre_height) for sail in boat.sails]
    if not centres:
        centres = [(sail.area, sail.centre_height) for sail in boat.table_sails]
    reference = sum(area * height for area, height in centres) / sum(area for area, _ in centres)
    names = [field.name for field in dataclasses.fields(RigGeometry)]
    return RigGeometry(
        **{name: _joined(rows, name) for name in names if name not in ("reference_height", "mean_line")},
        mean_line=MeanLine(
            **{field.name: _joined(lines, field.name) for field in dataclasses.fields(MeanLine)}
        ),
        reference_height=reference,
    )


def _joined(of_sails: Sequence[dict[str, FloatArray]], name: str) -> FloatArray:
    # nothing in front, so that a boat without strips has empty rows
    return np.concatenate([np.empty(0), *(rows[name] for rows in of_sails)])


def _table_sail_arrays(sail: TableSail) -> TableSailArrays:
    return TableSailArrays(
        curves=table_curves(angle=sail.wind_angle, lift=sail.lift_coefficient, drag=sail.drag_coefficient),
        area=sail.area,
        span=sail.span,
        centre_height=sail.centre_height,
        centre_x=sail.centre_x,
    )


def _sail_rows(sail: Sail, environment: Environment) -> dict[str, FloatArray]:
    line = sail_line(sail)
    heights = line.control_height
    chords = _strip_chords(sail, line)
    camber = np.array([sail.camber_at(h) for h in heights])
    luff = sail.head_height - sail.lower_edge_height
    drag_maximum = float(plate_drag_maximum(aspect_ratio=luff**2 / sail.area))
    return {
        "height": heights,
        "width": line.width,
        "chord": chords,
        "x": line.x,
        "share": (heights - sail.lower_edge_height) / luff,
        "camber_flat": camber[:, 0],
        "camber_full": camber[:, 1],
        "head_ramp": np.array([sail.head_ramp_at(h) for h in heights]),
        "foot_ramp": np.array([sail.foot_ramp_at(h) for h in heights]),
        "drag_maximum": np.full(len(heights), drag_maximum),
        **_section_rows(sail, heights, chords, environment),
    }


def _section_rows(
    sail: Sail, heights: FloatArray, chords: FloatArray, environment: Environment
) -> dict[str, FloatArray]:
    """Stall and drag of every strip's section: as given, or from its geometry."""
    if sail.section is None:
        given = {
            "stall_incidence": sail.stall_incidence,
            "stall_width": sail.stall_width,
            "least_drag": sail.profile_drag_coefficient,
            "bucket_factor": sail.drag_bucket_factor,
            "tail_ratio": 0.0,
            "camber_drag": 0.0,
        }
        return {name: np.full(len(heights), value) for name, value in given.items()}
    law = section_law(
        kind=sail.section.kind,
        thickness_share=sail.section.thickness_share,
        mast_share=sail.section.mast_diameter / chords,
        blunt_share=np.array([sail.leech_thickness_at(h) for h in heights]) / chords,
        reynolds=SECTION_WIND_SPEED * chords / environment.air_viscosity,
    )
    return {name: np.broadcast_to(value, heights.shape) for name, value in vars(law).items()}


def _mean_line_rows(sail: Sail) -> dict[str, FloatArray]:
    line = mean_line(hinge_share=sail.hinge_share, draft_share=sail.draft_share)
    return {name: np.full(sail.station_count, float(value)) for name, value in vars(line).items()}


def _strip_chords(sail: Sail, line: SailLine) -> FloatArray:
    """Chord of each strip, its area over its width, so that the strips' area is the sail's."""
    chords = []
    for low, high in zip(line.node_height[:-1], line.node_height[1:], strict=True):
        inside = [h for h in sail.corners if low < h < high]
        edges = np.array([low, *inside, high])
        middles = 0.5 * (edges[:-1] + edges[1:])
        chords.append(
            sum(sail.chord_at(m) * s for m, s in zip(middles, np.diff(edges), strict=True)) / (high - low)
        )
    return np.array(chords)


# --- loads --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class State:
    """Attitude, speed and controls, (conditions,) each; SI and radians, signs as in the conventions."""

    boat_speed: Array
    leeway: Array
    heel: Array
    rudder: Array
    crew_arm: Array
    trims: tuple[SailTrim, ...]
    powers: tuple[Array, ...] = ()
    pitch: Array = 0.0
    ride_height: Array = 0.0
    cant: Array = 0.0
    flap: Array = 0.0
    elevator: Array = 0.0
    mast_rotation: Array | None = None

    @property
    def attitude(self) -> Attitude:
        """How the boat goes through the water."""
        return Attitude(
            boat_speed=self.boat_speed,
            leeway=self.leeway,
            heel=self.heel,
            pitch=self.pitch,
            ride_height=self.ride_height,
        )


@dataclass(frozen=True, kw_only=True)
class Load:
    """Force [N] and moment [N m] of one component in horizontal boat axes; see the module's text."""

    forward: Array = 0.0
    leeward: Array = 0.0
    up: Array = 0.0
    roll: Array = 0.0
    pitch: Array = 0.0
    yaw: Array = 0.0


@dataclass(frozen=True, kw_only=True)
class Component:
    """A named load and what exerts it: "air", "water" or "gravity"."""

    name: str
    medium: str
    load: Load


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
        *_hull_components(boats, state),
        *_fin_components(fleet_layout, boats, state),
        *_foil_components(fleet_layout, boats, wind, state, at_work),
        *_gravity_components(fleet_layout, boats, state),
    )
    if isinstance(boats.hull, FormedHullArrays):
        return components
    return (*components, _buoyancy(boats, boats.hull, state, components))


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


def _from_body(force: tuple[Array, Array, Array], moment: tuple[Array, Array, Array], state: State) -> Load:
    """A load given in body axes: forward, to leeward normal to the mast, along the mast."""
    turned = [
        foil_geometry.body_to_horizontal(x=x, y=y, z=z, heel=state.heel, pitch=state.pitch)
        for x, y, z in (force, moment)
    ]
    (forward, leeward, up), (roll, pitch, yaw) = turned
    return Load(forward=forward, leeward=leeward, up=up, roll=roll, pitch=pitch, yaw=yaw)


def strips(
    *, fleet_layout: Layout, boats: BoatArrays, wake: WakeOperator, wind: Wind, state: State
) -> tuple[StripFlow, StripLoads]:
    """Flow and loads of every strip."""
    if not fleet_layout.sails:
        return _no_strips(boats, state)
    flow = _flow(fleet_layout, boats, wind, state)
    return flow, strip_loads(geometry=boats.rig, operator=wake, flow=flow, air_density=wind.air_density)


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
        air_density=wind.air_density,
        sums=_moment_operator(boats.rig, fleet_layout.slices),
    )
    forward, normal = from_wind_axes(along=along, across=across, wind_angle=flow.wind_angle)
    components = []
    for i, name in enumerate(fleet_layout.sails):
        load = _from_body(
            (forward[3 * i], normal[3 * i], 0.0),
            (-normal[3 * i + 1], forward[3 * i + 1], normal[3 * i + 2]),
            state,
        )
        components.append(Component(name=name, medium="air", load=load))
    return tuple(components)


def table_sail_forces(*, boats: BoatArrays, wind: Wind, state: State) -> tuple[TableSailForce, ...]:
    """Force of every sail from a table, in the wind that no other sail has changed."""
    return tuple(
        table_sail_force(
            sail=sail,
            power=power,
            wind=wind,
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
            load=_at_height(force.forward, force.leeward, sail.centre_x, 0.0, sail.centre_height, state),
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
        air_density=wind.air_density,
    )
    components = [
        Component(
            name=name,
            medium="air",
            load=_at_height(forward[i], normal[i], bluff.x[i], 0.0, bluff.height[i], state),
        )
        for i, name in enumerate(fleet_layout.bluff)
    ]
    return (*components, _crew_windage(boats, wind, state))


def _at_height(forward: Array, normal: Array, x: Array, y: Array, height: Array, state: State) -> Load:
    """Load of a force that acts at a body point, forward and normal to the mast."""
    moment = (-1.0 * normal * height, forward * height, normal * x - forward * y)
    return _from_body((forward, normal, 0.0), moment, state)


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
        air_density=wind.air_density,
    )
    load = _at_height(forward, normal, boats.crew_x, -1.0 * state.crew_arm, boats.crew_z, state)
    return Component(name="crew windage", medium="air", load=load)


def _hull_components(boats: BoatArrays, state: State) -> tuple[Component, ...]:
    form = boats.hull
    if isinstance(form, FormedHullArrays):
        return _formed_hull_components(boats, form, state)
    growth = hull.heel_resistance_factor(heel=state.heel, growth_at_20deg=form.heel_resistance_20deg)
    friction = growth * _hull_friction(boats, form.wetted_area, state)
    residuary = growth * hull.residuary_resistance(
        froude_number=froude_number(boats=boats, boat_speed=state.boat_speed),
        weight=boats.water_density * boats.gravity * form.canoe_volume,
        start=form.residuary_start,
        step=form.residuary_step,
        coefficients=form.residuary_coefficients,
    )
    return (
        Component(name="hull friction", medium="water", load=_against_course(friction, state.leeway)),
        Component(name="hull residuary", medium="water", load=_against_course(residuary, state.leeway)),
    )


def _formed_hull_components(boats: BoatArrays, form: FormedHullArrays, state: State) -> tuple[Component, ...]:
    """Buoyancy and resistance of what is in the water of the hull: nothing once it is clear."""
    afloat = hull_form.buoyancy(
        columns=form.columns,
        ride_height=state.ride_height,
        heel=state.heel,
        pitch=state.pitch,
        water_density=boats.water_density,
        gravity=boats.gravity,
    )
    friction = _hull_friction(boats, afloat.wetted_area, state)
    waves = hull_form.wave_resistance(
        froude_number=froude_number(boats=boats, boat_speed=state.boat_speed),
        volume=afloat.volume,
        drawn_volume=form.drawn_volume,
        waterline_length=form.waterline_length,
        table=form.waves,
        water_density=boats.water_density,
        gravity=boats.gravity,
    )
    lift = Load(up=afloat.up, roll=afloat.roll, pitch=afloat.pitch)
    return (
        Component(name="hull friction", medium="water", load=_against_course(friction, state.leeway)),
        Component(name="hull waves", medium="water", load=_against_course(waves, state.leeway)),
        Component(name="buoyancy", medium="water", load=lift),
    )


def _hull_friction(boats: BoatArrays, wetted_area: Array, state: State) -> Array:
    return hull.frictional_resistance(
        speed=state.boat_speed,
        wetted_area=wetted_area,
        waterline_length=boats.hull.waterline_length,
        water_density=boats.water_density,
        water_viscosity=boats.water_viscosity,
        form_factor=boats.hull.form_factor,
    )


def _against_course(resistance: Array, leeway: Array) -> Load:
    """A resistance through the reference point, opposite to the course."""
    xp = array_namespace(resistance, leeway)
    return Load(forward=-resistance * xp.cos(leeway), leeward=-resistance * xp.sin(leeway))


def froude_number(*, boats: BoatArrays, boat_speed: Array) -> Array:
    """Froude number on the waterline length."""
    return boat_speed / (boats.gravity * boats.hull.waterline_length) ** 0.5


def weight(fleet_layout: Layout, boats: BoatArrays) -> Array:
    """Weight of boat and crew [N]."""
    canting = sum(
        2.0 * foil.mass
        for each, foil in zip(fleet_layout.foils, boats.foils, strict=True)
        if each.kind == foiling.CANTING_PAIR
    )
    return (boats.mass + boats.crew_mass + canting) * boats.gravity


def _fin_components(fleet_layout: Layout, boats: BoatArrays, state: State) -> tuple[Component, ...]:
    """Fins from forward to aft; a rudder feels the downwash of the fixed fins ahead of it."""
    xp = array_namespace(state.boat_speed, state.leeway, state.heel, state.rudder)
    ahead, sideways = xp.cos(state.leeway), xp.sin(state.leeway) * xp.cos(state.heel)
    flow_angle = xp.arctan2(sideways, ahead)
    pressure = 0.5 * boats.water_density * state.boat_speed**2 * (ahead**2 + sideways**2)
    downwash: Array = 0.0
    components = []
    for (name, kind), fin in zip(fleet_layout.fins, boats.fins, strict=True):
        aspect_ratio = foils.effective_aspect_ratio(span=fin.lifting_span, area=fin.lifting_area)
        angle = flow_angle - downwash if kind == "rudder" else flow_angle
        lift, drag = foils.fin_coefficients(
            incidence=angle - state.rudder if kind == "rudder" else angle,
            aspect_ratio_effective=aspect_ratio,
            profile_drag_coefficient=_fin_profile_drag(boats, fin, state.boat_speed)
            * fin.area
            / fin.lifting_area,
        )
        if kind == "fixed":
            downwash = downwash + foils.downwash_angle(
                lift_coefficient=lift, aspect_ratio_effective=aspect_ratio
            )
        forward = pressure * fin.lifting_area * (lift * xp.sin(angle) - drag * xp.cos(angle))
        normal = -pressure * fin.lifting_area * (lift * xp.cos(angle) + drag * xp.sin(angle))
        components.append(
            Component(name=name, medium="water", load=_at_height(forward, normal, fin.x, 0.0, fin.z, state))
        )
    return tuple(components)


def _fin_profile_drag(boats: BoatArrays, fin: FinArrays, boat_speed: Array) -> Array:
    reynolds = foils.mean_chord_reynolds(
        speed=boat_speed, span=fin.span, area=fin.area, water_viscosity=boats.water_viscosity
    )
    friction = hull.friction_coefficient(reynolds=reynolds)
    return foils.section_profile_drag(friction_coefficient=friction, thickness_ratio=fin.thickness_ratio)


@dataclass(frozen=True, kw_only=True)
class WorkingFoil:
    """A foil in the water: where it is, and its loads in body axes."""

    place: foil_geometry.FoilPlace
    loads: hydrofoils.FoilLoads


def foils_at_work(*, fleet_layout: Layout, boats: BoatArrays, state: State) -> tuple[WorkingFoil, ...]:
    """The leeward canting foil and the rudder foil, in the order of the layout."""
    water = Water(
        density=boats.water_density,
        viscosity=boats.water_viscosity,
        vapour_pressure=boats.water_vapour_pressure,
        gravity=boats.gravity,
    )
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
            water=water,
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
        whole = _from_body(
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
        air_density=wind.air_density,
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
            load=_at_height(forward, normal, x, y, z, state),
        ),
    ]


def _weight_at(mass: Array, at: tuple[Array, Array, Array], boats: BoatArrays, state: State) -> Load:
    """Weight of a mass at a body point."""
    return _weight_of(mass, tuple(mass * part for part in at), boats, state)


def _weight_of(mass: Array, moments: tuple[Array, ...], boats: BoatArrays, state: State) -> Load:
    """Weight of masses, given with their first moments in body axes."""
    x, y, z = moments
    forward, leeward, _ = foil_geometry.body_to_horizontal(x=x, y=y, z=z, heel=state.heel, pitch=state.pitch)
    return Load(up=-mass * boats.gravity, roll=-boats.gravity * leeward, pitch=boats.gravity * forward)


def _gravity_components(fleet_layout: Layout, boats: BoatArrays, state: State) -> tuple[Component, ...]:
    """Weight rights or heels by where it is. The pitching moment of a boat that floats at its own weight is
    held by its hull and left out of both.
    """
    if fleet_layout.heaves:
        crew_moments = (
            boats.crew_mass * boats.crew_x,
            -1.0 * boats.crew_mass * state.crew_arm,
            boats.crew_mass * boats.crew_z,
        )
        moments = (boats.mass_moment_x, boats.mass_moment_y, boats.mass_moment_z)
        return (
            Component(name="weight", medium="gravity", load=_weight_of(boats.mass, moments, boats, state)),
            Component(
                name="crew weight",
                medium="gravity",
                load=_weight_of(boats.crew_mass, crew_moments, boats, state),
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


def _buoyancy(boats: BoatArrays, form: HullArrays, state: State, others: Sequence[Component]) -> Component:
    righting = stability.form_righting_moment(
        heel=state.heel,
        weight=(boats.mass + boats.crew_mass) * boats.gravity,
        buoyancy_centre_z=form.buoyancy_centre_z,
        metacentric_radius=form.metacentric_radius,
    )
    up = -sum(component.load.up for component in others)
    pitch = -sum(component.load.pitch for component in others)
    return Component(name="buoyancy", medium="water", load=Load(up=up, roll=righting, pitch=pitch))


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
