"""The foils of a boat: from geometry to the forces, weights and windage of foils at work and held up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np

from vpp.boat import Foil
from vpp.physics import foil_geometry, hydrofoils
from vpp.physics.arrays import Array, array_namespace, groupwise, row_groups, without_derivatives
from vpp.physics.foil_geometry import FoilPlace, FoilShape
from vpp.physics.hydrofoils import FoilFlow, FoilLoads, FoilSections, Wing

T = TypeVar("T")

CANTING_PAIR, RUDDER = "canting_pair", "rudder"
# Panels on each element: enough for the immersed span of an arm to come and go smoothly and for the load of a
# wing to within 0.5 % of that with 24.
PANELS = 6
# The NACA four-digit thickness form: excess speed at zero lift over thickness ratio (NACA Report 824, from
# memory) and nose radius over chord and square of the thickness ratio (exact).
THICKNESS_SPEED, NOSE_RADIUS = 1.57, 1.1019
# The arm is a symmetric section; its load is low, so the wing's stall and drag bucket serve it as well.
ARM, OUTBOARD, INBOARD = "arm", "outboard", "inboard"


@dataclass(frozen=True, kw_only=True)
class FoilLayout:
    """What foils must share to be computed in one batch: name, kind, and the elements that they have."""

    name: str
    kind: str
    elements: tuple[str, ...]

    @property
    def element_names(self) -> tuple[str, ...]:
        """Names of the elements' loads in the budget."""
        return tuple(f"{self.name} {element}" for element in self.elements)

    @property
    def after(self) -> tuple[int | None, ...]:
        """The arm hangs on the boat, the halves of the wing on the arm."""
        return (None, *(0 for _ in self.elements[1:]))

    @property
    def wings(self) -> tuple[Wing, ...]:
        """The arm alone, and the two halves as one wing from tip to tip."""
        halves = tuple(range(1, len(self.elements)))
        # from the tip of the first half to the arm, and on to the tip of the second
        wing = Wing(elements=halves, reverse=(True, False)[-len(halves) :], mirrored=False)
        return (Wing(elements=(0,), reverse=(False,), mirrored=True), wing)


@dataclass(frozen=True, kw_only=True)
class FoilArrays:
    """One foil of every boat; arrays (boats,), those of the elements (elements, boats).

    `shape` is that of the foil on the leeward side; `steers` is 1 for elements that turn with the rudder,
    `flapped` for those that have the flap; `mass_length` is how far down the arm the centre of mass lies.
    """

    shape: FoilShape
    incidence: Array
    steers: Array
    flapped: Array
    sections: FoilSections
    raised_cant: Array
    raised_drag_area: Array
    mass: Array
    mass_length: Array


def foil_layout(foil: Foil) -> FoilLayout:
    """The layout of one foil."""
    halves = [(INBOARD, foil.inboard_span), (OUTBOARD, foil.outboard_span)]
    elements = (ARM, *(name for name, span in halves if span > 0.0))
    return FoilLayout(name=foil.name, kind=foil.kind, elements=elements)


def foil_arrays(foil: Foil, *, profile_drag_scale: float = 1.0) -> FoilArrays:
    """One foil as arrays, its profile drag multiplied by a factor."""
    rows = np.array([_element_row(foil, name) for name in foil_layout(foil).elements]).T
    span, dihedral, outward, sweep, root, tip, incidence, thickness, design, flapped = rows
    steers = np.zeros(len(span))
    steers[0] = 1.0 if foil.kind == RUDDER else 0.0
    ones = np.ones(len(span))
    sections = FoilSections(
        thickness_ratio=thickness,
        zero_lift_angle=hydrofoils.uniform_load_zero_lift_angle(design_lift_coefficient=design),
        design_lift_coefficient=design,
        # what steers turns as a whole
        flap_effectiveness=steers
        + flapped * hydrofoils.flap_effectiveness(flap_chord_ratio=foil.flap_chord_ratio),
        flap_ideal_lift=flapped * hydrofoils.flap_ideal_lift(flap_chord_ratio=foil.flap_chord_ratio),
        lift_drag_factor=foil.drag_bucket_factor * ones,
        stall_lift_coefficient=foil.stall_lift_coefficient * ones,
        thickness_speed=THICKNESS_SPEED * thickness,
        nose_radius_ratio=NOSE_RADIUS * thickness**2,
        efficiency=ones,
        junction_drag_area=_junction(foil, len(span)),
        profile_drag_scale=profile_drag_scale,
    )
    shape = FoilShape(
        side=1.0,
        attachment_x=foil.attachment_x,
        attachment_y=foil.attachment_y,
        attachment_z=foil.attachment_z,
        span=span,
        dihedral=dihedral,
        outward=outward,
        sweep=sweep,
        root_chord=root,
        tip_chord=tip,
    )
    return FoilArrays(
        shape=shape,
        incidence=incidence,
        steers=steers,
        flapped=flapped,
        sections=sections,
        raised_cant=foil.raised_cant,
        raised_drag_area=foil.raised_drag_area,
        mass=foil.mass,
        mass_length=foil.mass_share * foil.arm_length,
    )


def _element_row(foil: Foil, name: str) -> tuple[float, ...]:
    if name == ARM:
        return (
            foil.arm_length, -0.5 * np.pi, 1.0, foil.arm_sweep, foil.arm_root_chord, foil.arm_tip_chord,
            0.0, foil.arm_thickness_ratio, 0.0, 0.0,
        )  # fmt: skip
    outboard = name == OUTBOARD
    return (
        foil.outboard_span if outboard else foil.inboard_span,
        foil.outboard_dihedral if outboard else foil.inboard_dihedral,
        1.0 if outboard else -1.0,
        foil.wing_sweep, foil.wing_root_chord, foil.wing_tip_chord, foil.wing_incidence,
        foil.wing_thickness_ratio, foil.wing_design_lift_coefficient, 1.0,
    )  # fmt: skip


def _junction(foil: Foil, count: int) -> Array:
    """The arm meets the wing as a wall, on both of the wing's faces: one junction for each half."""
    area = float(
        hydrofoils.wall_junction_drag_area(
            thickness=foil.arm_thickness_ratio * foil.arm_tip_chord, thickness_ratio=foil.arm_thickness_ratio
        )
    )
    return np.array([0.0, *(area for _ in range(count - 1))])


@dataclass(frozen=True, kw_only=True)
class FoilElements:
    """Elements of all foils, one foil after the other, to be computed at once: (elements, conditions).

    `cants` is 1 for those that cant and 0 for those that do not; the rest as in `FoilArrays`.
    """

    shape: FoilShape
    cants: Array
    incidence: Array
    steers: Array
    flapped: Array
    sections: FoilSections


def foil_elements(layouts: Sequence[FoilLayout], foils: Sequence[FoilArrays]) -> FoilElements:
    """The elements of foils, of which there is at least one, each (elements, conditions) or (conditions,)."""

    def joined(name: str, of: Sequence[Any]) -> Array:
        parts = [getattr(each, name) for each in of]
        xp = array_namespace(*parts)
        rows = [xp.broadcast_to(part, foil.incidence.shape) for part, foil in zip(parts, foils, strict=True)]
        return xp.concatenate(rows)

    def all_of(of: Sequence[Any]) -> dict[str, Array]:
        return {field.name: joined(field.name, of) for field in fields(of[0])}

    canting = [float(layout.kind == CANTING_PAIR) for layout in layouts]
    return FoilElements(
        shape=FoilShape(**all_of([foil.shape for foil in foils])),
        cants=np.repeat(canting, [len(layout.elements) for layout in layouts])[:, None],
        incidence=joined("incidence", foils),
        steers=joined("steers", foils),
        flapped=joined("flapped", foils),
        sections=FoilSections(**all_of([foil.sections for foil in foils])),
    )


@dataclass(frozen=True, kw_only=True)
class Attitude:
    """How the boat goes through the water, (conditions,) each; see `vpp.State`."""

    boat_speed: Array
    leeway: Array
    heel: Array
    pitch: Array
    ride_height: Array


@dataclass(frozen=True, kw_only=True)
class Water:
    """The water, (conditions,) each, SI."""

    density: Array
    viscosity: Array
    vapour_pressure: Array
    surface_pressure: Array
    gravity: Array


def foil_place(
    *, layout: FoilLayout, foil: FoilArrays, attitude: Attitude, cant: Array, side: float = 1.0
) -> FoilPlace:
    """Where a foil is; `side` is 1 for the leeward one and -1 for the windward one."""
    return foil_geometry.place(
        shape=replace(foil.shape, side=side, attachment_y=side * foil.shape.attachment_y),
        after=layout.after,
        cant=cant,
        ride_height=attitude.ride_height,
        heel=attitude.heel,
        pitch=attitude.pitch,
    )


def foil_loads(
    *,
    layout: FoilLayout,
    foil: FoilArrays,
    at: FoilPlace,
    attitude: Attitude,
    water: Water,
    rudder: Array,
    flap: Array,
) -> FoilLoads:
    """Loads of a working foil's elements in body axes, (elements, conditions).

    `rudder` [rad] turns the arm of a rudder foil and leaves its wing alone; `flap` [rad] is that of the wing.
    """
    # a foil that does not steer must not carry derivatives by the rudder
    turned = foil.steers * rudder + foil.flapped * flap if layout.kind == RUDDER else foil.flapped * flap
    return hydrofoils.element_forces(
        at=at,
        wings=layout.wings,
        sections=foil.sections,
        flow=_flow(attitude, water, foil.incidence, turned),
        panel_count=PANELS,
    )


def _flow(attitude: Attitude, water: Water, incidence: Array, flap: Array) -> FoilFlow:
    x, y, z = foil_geometry.water_velocity(
        boat_speed=attitude.boat_speed, leeway=attitude.leeway, heel=attitude.heel, pitch=attitude.pitch
    )
    return FoilFlow(
        water_x=x,
        water_y=y,
        water_z=z,
        setting=incidence,
        flap=flap,
        downwash=0.0,
        water_density=water.density,
        water_viscosity=water.viscosity,
        vapour_pressure=water.vapour_pressure,
        surface_pressure=water.surface_pressure,
        gravity=water.gravity,
        speed=attitude.boat_speed,
    )


# What of the loads carries derivatives where all foils are computed at once.
_MOVING_LOADS = ("force_x", "force_y", "force_z", "moment_x", "moment_y", "moment_z", "cavitation_margin")


def loads_of_all(
    *,
    layouts: Sequence[FoilLayout],
    elements: FoilElements,
    attitude: Attitude,
    water: Water,
    controls: Sequence[tuple[Array, Array]],
) -> list[tuple[FoilPlace, FoilLoads]]:
    """Where the foils are, of a pair the leeward one, and their loads: what `foil_place` and `foil_loads`
    give for each alone, computed at once.

    `controls` [rad] are for every foil the cant of a canting pair or the rudder's angle, and the wing's flap.
    Forces, moments, the margin of cavitation, and of the place `start_depth` and `rise`, carry derivatives;
    all else is plain numbers.
    """
    counts = [len(layout.elements) for layout in layouts]
    parts = row_groups(counts)
    rows = list(zip(layouts, parts, strict=True))
    after = tuple(
        None if link is None else part.start + link for layout, part in rows for link in layout.after
    )
    wings = tuple(
        replace(wing, elements=tuple(part.start + i for i in wing.elements))
        for layout, part in rows
        for wing in layout.wings
    )
    whole: list[tuple[FoilPlace, FoilLoads]] = []

    def moving(
        boat_speed: Array,
        leeway: Array,
        heel: Array,
        pitch: Array,
        ride_height: Array,
        turn: Array,
        flap: Array,
    ) -> tuple[Array, ...]:
        """What carries derivatives; `whole` gets everything."""
        sailed = Attitude(
            boat_speed=boat_speed, leeway=leeway, heel=heel, pitch=pitch, ride_height=ride_height
        )
        at = foil_geometry.place(
            shape=elements.shape,
            after=after,
            cant=elements.cants * turn,
            ride_height=ride_height,
            heel=heel,
            pitch=pitch,
        )
        turned = elements.steers * turn + elements.flapped * flap
        loads = hydrofoils.element_forces(
            at=at,
            wings=wings,
            sections=elements.sections,
            flow=_flow(sailed, water, elements.incidence, turned),
            panel_count=PANELS,
        )
        whole.append((at, loads))
        return at.start_depth, at.rise, *(getattr(loads, name) for name in _MOVING_LOADS)

    moved = groupwise(
        moving,
        tuple(vars(attitude).values()),
        [[_for_each(angle, water.gravity) for angle in kind] for kind in zip(*controls, strict=True)],
        counts,
    )
    ((at, loads),) = whole
    of_wings = iter(loads.wings)
    return [
        (
            replace(_plain_rows(at, part), start_depth=start_depth, rise=rise),
            replace(
                _plain_rows(loads, part),
                wings=tuple(_plain_rows(next(of_wings), slice(None)) for _ in layout.wings),
                **dict(zip(_MOVING_LOADS, of_loads, strict=True)),
            ),
        )
        for (layout, part), (start_depth, rise, *of_loads) in zip(rows, moved, strict=True)
    ]


def _for_each(angle: Array, like: Array) -> Array:
    """An angle that is one number for all conditions, as one for each."""
    return angle if getattr(angle, "ndim", 0) else angle + 0.0 * like


def _plain_rows(tree: T, part: slice) -> T:
    """Some rows of every array in a dataclass, without derivatives."""
    return type(tree)(
        **{
            name: without_derivatives(value)[part] if hasattr(value, "ndim") else value
            for name, value in vars(tree).items()
        }
    )


def tip_depths(at: FoilPlace) -> Array:
    """Depth of the wing's tips below the undisturbed water plane [m], (halves, conditions)."""
    return at.start_depth[1:] - at.span[1:] * at.rise[1:]


def arm_point(*, foil: FoilArrays, cant: Array, along: Array, side: float) -> tuple[Array, Array, Array]:
    """Body coordinates [m] of a point on the arm, `along` [m] from its attachment."""
    xp = array_namespace(cant)
    shape = foil.shape
    x = shape.attachment_x - along * array_namespace(shape.sweep).tan(shape.sweep[0])
    y = side * (shape.attachment_y + along * xp.sin(cant))
    return x, y, shape.attachment_z - along * xp.cos(cant)
