"""A boat's state, and the load of one part of it on her: what the models of the parts share.

A load is given in horizontal boat axes: forward along the centreline, to leeward across it, up; moments are
right-handed about those axes through the reference point, which lies on the centreline in the water plane.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

from vpp.foiling import Attitude
from vpp.physics import foil_geometry
from vpp.physics.arrays import Array, array_namespace, sum_of_rows
from vpp.physics.sails import SailTrim


@dataclass(frozen=True, kw_only=True)
class State:
    """Attitude, speed and controls, (conditions,) each; SI and radians, signs as in the conventions."""

    boat_speed: Array
    leeway: Array
    heel: Array
    rudder: Array
    crew_arm: Array
    crew_x: Array
    trims: tuple[SailTrim, ...]
    powers: tuple[Array, ...] = ()
    pitch: Array = 0.0
    ride_height: Array = 0.0
    cant: Array = 0.0
    flap: Array = 0.0
    elevator: Array = 0.0
    tab: Array = 0.0
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

    def times(self, scale: Array) -> Load:
        """The load multiplied by a factor."""
        return Load(**{field.name: getattr(self, field.name) * scale for field in fields(Load)})


@dataclass(frozen=True, kw_only=True)
class Component:
    """A named load and what exerts it: "air", "water" or "gravity"."""

    name: str
    medium: str
    load: Load


class BodyLoad(Load):
    """A load given in body axes: forward, to leeward normal to the mast, along the mast. Its parts in
    horizontal axes are found when they are asked for: of a sum they are found once (`total_load`).

    Force and moment are (conditions,) each, or (rows, conditions) for the loads of several components.
    """

    force: tuple[Array, Array, Array]
    moment: tuple[Array, Array, Array]
    heel: Array
    pitch_angle: Array

    def __init__(
        self,
        *,
        force: tuple[Array, Array, Array],
        moment: tuple[Array, Array, Array],
        heel: Array,
        pitch_angle: Array,
    ):
        _keep(self, force=force, moment=moment, heel=heel, pitch_angle=pitch_angle)

    def row(self, index: int) -> BodyLoad:
        """The load of one of several components."""
        return _RowOfBodyLoad(self, index)

    @cached_property
    def _turned_force(self) -> tuple[Array, Array, Array]:
        return self._turned(self.force)

    @cached_property
    def _turned_moment(self) -> tuple[Array, Array, Array]:
        return self._turned(self.moment)

    def _turned(self, vector: tuple[Array, Array, Array]) -> tuple[Array, Array, Array]:
        x, y, z = vector
        return foil_geometry.body_to_horizontal(x=x, y=y, z=z, heel=self.heel, pitch=self.pitch_angle)

    @property
    def forward(self) -> Array:
        """Force forward [N]."""
        return self._turned_force[0]

    @property
    def leeward(self) -> Array:
        """Force to leeward [N]."""
        return self._turned_force[1]

    @property
    def up(self) -> Array:
        """Force up [N]."""
        return self._turned_force[2]

    @property
    def roll(self) -> Array:
        """Moment about the axis forward [N m]."""
        return self._turned_moment[0]

    @property
    def pitch(self) -> Array:
        """Moment about the axis to leeward [N m]."""
        return self._turned_moment[1]

    @property
    def yaw(self) -> Array:
        """Moment about the axis up [N m]."""
        return self._turned_moment[2]


class _RowOfBodyLoad(BodyLoad):
    """One of the loads that were given together."""

    def __init__(self, whole: BodyLoad, index: int):
        _keep(self, whole=whole, index=index, heel=whole.heel, pitch_angle=whole.pitch_angle)

    whole: BodyLoad
    index: int

    @cached_property
    def force(self) -> tuple[Array, Array, Array]:  # type: ignore[override]
        """Its force in body axes [N]."""
        return self._own(self.whole.force)

    @cached_property
    def moment(self) -> tuple[Array, Array, Array]:  # type: ignore[override]
        """Its moment in body axes [N m]."""
        return self._own(self.whole.moment)

    def _own(self, vector: tuple[Array, Array, Array]) -> tuple[Array, Array, Array]:
        x, y, z = (part[self.index] if _has_rows(part) else part for part in vector)
        return x, y, z


def _has_rows(part: Array) -> bool:
    return getattr(part, "ndim", 0) > 1


def _keep(load: Load, **parts: Any) -> None:
    """What a load is given by; it is as fixed as any other's."""
    vars(load).update(parts)


def from_body(
    force: tuple[Array, Array, Array], moment: tuple[Array, Array, Array], state: State
) -> BodyLoad:
    """A load given in body axes: forward, to leeward normal to the mast, along the mast."""
    return BodyLoad(force=force, moment=moment, heel=state.heel, pitch_angle=state.pitch)


def at_height(forward: Array, normal: Array, x: Array, y: Array, height: Array, state: State) -> BodyLoad:
    """Load of a force that acts at a body point, forward and normal to the mast."""
    moment = (normal * (-1.0 * height), forward * height, normal * x - forward * y)
    return from_body((forward, normal, 0.0), moment, state)


class Drag(Load):
    """A resistance through the reference point, opposite to the course."""

    resistance: Array
    leeway: Array

    def __init__(self, resistance: Array, leeway: Array):
        _keep(self, resistance=resistance, leeway=leeway)

    @property
    def forward(self) -> Array:
        """Force forward [N]."""
        return -self.resistance * array_namespace(self.resistance, self.leeway).cos(self.leeway)

    @property
    def leeward(self) -> Array:
        """Force to leeward [N]."""
        return -self.resistance * array_namespace(self.resistance, self.leeway).sin(self.leeway)

    def times(self, scale: Array) -> Load:
        """The resistance multiplied by a factor."""
        return Drag(self.resistance * scale, self.leeway)


def weight_of(mass: Array, moments: tuple[Array, ...], gravity: Array, state: State) -> Load:
    """Weight of masses, given with their first moments in body axes."""
    x, y, z = moments
    forward, leeward, _ = foil_geometry.body_to_horizontal(x=x, y=y, z=z, heel=state.heel, pitch=state.pitch)
    return Load(up=-mass * gravity, roll=-gravity * leeward, pitch=gravity * forward)


def total_load(components: Sequence[Component], parts: Sequence[str]) -> dict[str, Array]:
    """Sums of some parts of the components' loads. Those given in body axes, and drags, all of one state, are
    added up before they are turned.
    """
    loads = [item.load for item in components]
    in_body = [load for load in loads if isinstance(load, BodyLoad)]
    drags = [load for load in loads if isinstance(load, Drag)]
    summed: list[Load] = [load for load in loads if not isinstance(load, BodyLoad | Drag)]
    if in_body:
        summed.append(_body_total(in_body))
    if drags:
        summed.append(Drag(sum(drag.resistance for drag in drags), drags[0].leeway))
    return {part: sum(getattr(load, part) for load in summed) for part in parts}


def _body_total(loads: Sequence[BodyLoad]) -> BodyLoad:
    """The sum in body axes; rows that are all there are added up without being taken apart."""
    rows: dict[int, list[_RowOfBodyLoad]] = {}
    alone: list[BodyLoad] = []
    for load in loads:
        if isinstance(load, _RowOfBodyLoad):
            rows.setdefault(id(load.whole), []).append(load)
        else:
            alone.append(load)
    for some in rows.values():
        whole = some[0].whole
        (count,) = {part.shape[0] for part in (*whole.force, *whole.moment) if _has_rows(part)}
        if sorted(row.index for row in some) == list(range(count)):
            alone.append(_sum_of_rows(whole, count))
        else:
            alone.extend(some)
    first = loads[0]
    force_x, force_y, force_z = (sum(parts) for parts in zip(*(load.force for load in alone), strict=True))
    roll, pitch, yaw = (sum(parts) for parts in zip(*(load.moment for load in alone), strict=True))
    return BodyLoad(
        force=(force_x, force_y, force_z),
        moment=(roll, pitch, yaw),
        heel=first.heel,
        pitch_angle=first.pitch_angle,
    )


def _sum_of_rows(whole: BodyLoad, count: int) -> BodyLoad:
    def total(part: Array) -> Array:
        if not _has_rows(part):
            return count * part
        return part[0] if count == 1 else sum_of_rows(part)

    (x, y, z), (roll, pitch, yaw) = ([total(part) for part in each] for each in (whole.force, whole.moment))
    return BodyLoad(
        force=(x, y, z), moment=(roll, pitch, yaw), heel=whole.heel, pitch_angle=whole.pitch_angle
    )
