"""A boat's state, and the load of one part of it on her: what the models of the parts share.

A load is given in horizontal boat axes: forward along the centreline, to leeward across it, up; moments are
right-handed about those axes through the reference point, which lies on the centreline in the water plane.
"""

from __future__ import annotations

from dataclasses import dataclass

from vpp.foiling import Attitude
from vpp.physics import foil_geometry
from vpp.physics.arrays import Array, array_namespace
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


@dataclass(frozen=True, kw_only=True)
class Component:
    """A named load and what exerts it: "air", "water" or "gravity"."""

    name: str
    medium: str
    load: Load


def from_body(force: tuple[Array, Array, Array], moment: tuple[Array, Array, Array], state: State) -> Load:
    """A load given in body axes: forward, to leeward normal to the mast, along the mast."""
    turned = [
        foil_geometry.body_to_horizontal(x=x, y=y, z=z, heel=state.heel, pitch=state.pitch)
        for x, y, z in (force, moment)
    ]
    (forward, leeward, up), (roll, pitch, yaw) = turned
    return Load(forward=forward, leeward=leeward, up=up, roll=roll, pitch=pitch, yaw=yaw)


def at_height(forward: Array, normal: Array, x: Array, y: Array, height: Array, state: State) -> Load:
    """Load of a force that acts at a body point, forward and normal to the mast."""
    moment = (-1.0 * normal * height, forward * height, normal * x - forward * y)
    return from_body((forward, normal, 0.0), moment, state)


def against_course(resistance: Array, leeway: Array) -> Load:
    """A resistance through the reference point, opposite to the course."""
    xp = array_namespace(resistance, leeway)
    return Load(forward=-resistance * xp.cos(leeway), leeward=-resistance * xp.sin(leeway))


def weight_of(mass: Array, moments: tuple[Array, ...], gravity: Array, state: State) -> Load:
    """Weight of masses, given with their first moments in body axes."""
    x, y, z = moments
    forward, leeward, _ = foil_geometry.body_to_horizontal(x=x, y=y, z=z, heel=state.heel, pitch=state.pitch)
    return Load(up=-mass * gravity, roll=-gravity * leeward, pitch=gravity * forward)


def scaled(component: Component, scale: Array) -> Component:
    """A component whose whole load is multiplied by a factor."""
    load = Load(**{name: value * scale for name, value in vars(component.load).items()})
    return Component(name=component.name, medium=component.medium, load=load)
