"""Boats as arrays: what the balance needs of a batch of boats of one layout."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import pairwise
from typing import Any, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from vpp import appendages, foiling, hulls
from vpp.appendages import FinArrays, FinLayout
from vpp.boat import Boat, Environment, Rig, Sail, TableSail
from vpp.foiling import FoilArrays, FoilElements, FoilLayout, Water
from vpp.hulls import FormedHullArrays, HullArrays, HullLayout
from vpp.physics import hull_form, lifting_line
from vpp.physics.arrays import Array
from vpp.physics.lifting_line import Mirror, SailLine, WakeOperator
from vpp.physics.sail_sections import MeanLine, mean_line, section_law
from vpp.physics.sail_tables import TableSailArrays, table_curves
from vpp.physics.sails import RigGeometry
from vpp.physics.sections import plate_drag_maximum
from vpp.seaway import Exposure, Seaway, exposure, seaway

FloatArray = NDArray[np.float64]
T = TypeVar("T")

FLOATING_EQUATIONS = ("surge", "sway", "roll", "yaw")
SIX_EQUATIONS = ("surge", "sway", "heave", "roll", "pitch", "yaw")
# A strip's force acts at this share of the chord behind the luff. Source: thin-aerofoil theory, quarter
# chord.
QUARTER_CHORD = 0.25
# Apparent wind speed [m/s] for which the Reynolds number of sections from geometry is taken: half or twice as
# much changes their friction by 10 %.
SECTION_WIND_SPEED = 12.0


@dataclass(frozen=True, kw_only=True)
class BluffArrays:
    """Bluff bodies of every boat, arrays (bodies, boats)."""

    frontal_area: Array
    side_area: Array
    drag_coefficient: Array
    x: Array
    height: Array


@dataclass(frozen=True, kw_only=True)
class BoatArrays:
    """What the balance needs of a batch of boats of one layout, the boat axis last."""

    water_density: Array
    water_viscosity: Array
    water_vapour_pressure: Array
    air_density: Array
    air_pressure: Array
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
    crew_z: Array
    crew_drag_area: Array
    least_immersion: Array
    least_cavitation: Array
    hull_resistance_scale: Array
    windage_scale: Array
    sail_force_scale: Array
    backing_room: Array
    seaway: Seaway | None = None

    @property
    def water(self) -> Water:
        """The water that each boat sails in."""
        return Water(
            density=self.water_density,
            viscosity=self.water_viscosity,
            vapour_pressure=self.water_vapour_pressure,
            surface_pressure=self.air_pressure,
            gravity=self.gravity,
        )

    @cached_property
    def _elements(self) -> dict[tuple[FoilLayout, ...], FoilElements]:
        """What `foil_elements` has made."""
        return {}

    def foil_elements(self, layouts: tuple[FoilLayout, ...]) -> FoilElements:
        """The elements of all foils in one; made once, for every evaluation at the same conditions asks."""
        if layouts not in self._elements:
            self._elements[layouts] = foiling.foil_elements(layouts, self.foils)
        return self._elements[layouts]


@dataclass(frozen=True, kw_only=True)
class Layout:
    """What boats must share to be solved in one batch. The trims of a sail are reported under its role."""

    sails: tuple[str, ...]
    roles: tuple[str, ...]
    strips: tuple[int, ...]
    table_sails: tuple[str, ...]
    table_rows: tuple[int, ...]
    fins: tuple[FinLayout, ...]
    foils: tuple[FoilLayout, ...]
    bluff: tuple[str, ...]
    hull: HullLayout

    @property
    def heaves(self) -> bool:
        """Whether heave and pitch are solved for."""
        return self.hull.heaves

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
        fins=appendages.fin_layouts(boat),
        foils=tuple(foiling.foil_layout(foil) for foil in boat.foils),
        bluff=("mast", "rigging", *(item.name for item in boat.windage)),
        hull=hulls.hull_layout(boat),
    )


@dataclass(frozen=True, kw_only=True)
class Fleet:
    """Boats of one layout as arrays, with the influence of their sails on each other; `mirrored_from` as in
    `WakeOperator`.
    """

    layout: Layout
    arrays: BoatArrays
    wake: FloatArray
    exposures: tuple[Exposure | None, ...]
    mirrored_from: FloatArray | None = None

    def at_sea(self, boats: BoatArrays, boat: NDArray[np.intp], tws: FloatArray) -> BoatArrays:
        """Selected arrays with the sea that goes with each condition's wind [m/s], and its troughs added to
        the depth that foils must keep.
        """
        found = seaway(self.exposures, boat, tws, boats.gravity)
        if found is None:
            return boats
        return replace(boats, seaway=found, least_immersion=boats.least_immersion + found.trough)

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
    only whose they are. None stays None.
    """
    return Picker(tree).pick(index)


class Picker(Generic[T]):
    """A dataclass of arrays made ready to be picked from along their last axis, many times over: what is one
    number a boat lies in one block and is picked together.
    """

    def __init__(self, tree: T):
        self._numbers: list[FloatArray] = []
        self._build = self._plan(tree)
        self._block = np.stack(self._numbers)

    def pick(self, index: NDArray[np.intp]) -> T:
        """The same dataclass with the entries `index`."""
        tree: T = self._build(list(self._block.take(index, axis=-1)), index)
        return tree

    def _plan(self, tree: Any) -> Callable[[list[FloatArray], NDArray[np.intp]], Any]:
        """How to make a part of the dataclass from the numbers that are picked."""
        if tree is None:
            return lambda numbers, index: None
        if isinstance(tree, hull_form.WaveTable):
            whose = np.asarray(tree.hull)
            return lambda numbers, index: replace(tree, hull=whose[index])
        if isinstance(tree, tuple):
            items = [self._plan(item) for item in tree]
            return lambda numbers, index: tuple([item(numbers, index) for item in items])
        if dataclasses.is_dataclass(tree):
            kind: Any = type(tree)
            parts = {field.name: self._plan(getattr(tree, field.name)) for field in dataclasses.fields(tree)}
            return lambda numbers, index: kind(**{name: part(numbers, index) for name, part in parts.items()})
        array = np.asarray(tree, dtype=float)
        if array.ndim > 1:
            return lambda numbers, index: array[..., index]
        place = len(self._numbers)
        self._numbers.append(array)
        return lambda numbers, index: numbers[place]


def fleet(boats: Sequence[Boat], *, ride_heights: Sequence[tuple[float, float]] | None = None) -> Fleet:
    """Stack boats of one layout, their sails mirrored in the water as afloat, or as `Fleet.mirrored` has it
    from two ride heights of each. Raises ValueError when layouts differ.
    """
    stacked = without_wakes(boats)
    if ride_heights is None:
        return replace(stacked, wake=wakes(boats, np.zeros(len(boats))))
    return stacked.mirrored(boats, ride_heights)


def without_wakes(boats: Sequence[Boat]) -> Fleet:
    """Boats of one layout stacked without the influence of their sails, for which `wakes` is dear. Raises
    ValueError when layouts differ.
    """
    shared = layout(boats[0])
    for boat in boats:
        if layout(boat) != shared:
            raise ValueError(f"{boat.name} and {boats[0].name} differ in layout and cannot share a batch")
    return Fleet(
        layout=shared,
        arrays=_stack([_boat_arrays(boat) for boat in boats]),
        wake=np.empty(0),
        exposures=tuple(exposure(boat) for boat in boats),
    )


def wakes(boats: Sequence[Boat], ride_heights: FloatArray) -> FloatArray:
    """Influence of the sails of boats on each other, mirrored in the water from a ride height [m] each."""
    return np.stack([_wake(boat, height) for boat, height in zip(boats, ride_heights, strict=True)])


def _stack(trees: Sequence[T]) -> T:
    first = trees[0]
    if first is None:
        return first
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


def _boat_arrays(boat: Boat) -> BoatArrays:
    masses = boat.all_masses()
    env = boat.environment
    scale = boat.calibration
    return BoatArrays(
        water_density=env.water_density,
        water_viscosity=env.water_viscosity,
        water_vapour_pressure=env.water_vapour_pressure,
        air_density=env.air_density,
        air_pressure=env.air_pressure,
        wind_exponent=env.wind_exponent,
        wind_reference_height=env.wind_reference_height,
        gravity=env.gravity,
        hull=hulls.hull_arrays(boat),
        fins=appendages.fin_arrays(boat),
        foils=tuple(
            foiling.foil_arrays(foil, profile_drag_scale=scale.appendage_drag) for foil in boat.foils
        ),
        bluff=_bluff_arrays(boat),
        rig=_rig_geometry(boat),
        table_sails=tuple(_table_sail_arrays(sail) for sail in boat.table_sails),
        mass=sum(item.mass for item in masses),
        mass_moment_x=sum(item.mass * item.x for item in masses),
        mass_moment_y=sum(item.mass * item.y for item in masses),
        mass_moment_z=sum(item.mass * item.z for item in masses),
        crew_mass=boat.crew.mass,
        crew_z=boat.crew.z,
        crew_drag_area=boat.crew.drag_area,
        least_immersion=boat.margins.immersion,
        least_cavitation=boat.margins.cavitation,
        hull_resistance_scale=scale.hull_resistance,
        windage_scale=scale.windage,
        sail_force_scale=scale.sail_force,
        backing_room=np.array([_SOLID_ROOM if _is_solid(sail) else 0.0 for sail in boat.sails]),
    )


# How much of the rig's force may press a solid sail from leeward: more than there ever is. A sail of cloth
# that is pressed from there loses its shape.
_SOLID_ROOM = 100.0


def _is_solid(sail: Sail) -> bool:
    return sail.section is not None and sail.section.kind == "solid"


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
    lines = [sail_line(sail) for sail in boat.sails]
    return _wake_of(
        tuple(
            (tuple(line.node_height), tuple(line.control_height), tuple(line.x), tuple(line.chord))
            for line in lines
        ),
        tuple(_mirror(sail, boat.rig, float(ride_height)) for sail in boat.sails),
    )


@lru_cache(maxsize=256)
def _wake_of(lines: tuple[tuple[tuple[float, ...], ...], ...], mirrors: tuple[Mirror, ...]) -> FloatArray:
    # boats that differ in anything but this geometry share it: a wake costs more than all else of a boat
    mirrored = tuple(
        SailLine(
            node_height=np.array(nodes),
            control_height=np.array(controls),
            x=np.array(x),
            chord=np.array(chord),
            mirror=mirror,
        )
        for (nodes, controls, x, chord), mirror in zip(lines, mirrors, strict=True)
    )
    return lifting_line.wake_coefficients(lines=mirrored, mirror=None)


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
