"""Boats with invented forces on the real problem class, whose answers are known in closed form.

Only `loads` differs from the real problem: residuals, their scaling, derivative arrays, the search for
best VMG and the solver are those of the package.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.support import keelboat
from vpp import fleets, trim
from vpp.balance import WorkingFoil
from vpp.physics.arrays import array_namespace
from vpp.solved import HULL_BORNE, Conditions
from vpp.state import Component, Load

Floats = NDArray[np.float64]

# Force of the invented sail per square of the apparent wind [N s2/m2], and of the invented keel per square
# of the boat
# speed and radian of leeway: any numbers of a boat's order of size.
SAIL, KEEL = 30.0, 5.0e3
SPEED_LIMIT = 60.0


def course_load(along: Any, across: Any, leeway: Any, roll: Any = 0.0, yaw: Any = 0.0) -> Load:
    """A force along and across the course, and moments, as a load in the boat's axes."""
    xp = array_namespace(along, across, leeway)
    return Load(
        forward=along * xp.cos(leeway) - across * xp.sin(leeway),
        leeward=along * xp.sin(leeway) + across * xp.cos(leeway),
        roll=roll,
        yaw=yaw,
    )


class _Invented(trim.FastestEquilibrium):
    """Speed, leeway, crew and rudder are free: leeway makes side force, crew holds the roll and rudder the
    yaw moment.
    """

    free_names: tuple[str, ...] = ("boat_speed", "leeway", "rudder", "crew_arm")
    rooms: Mapping[str, tuple[float, float]] = {
        "boat_speed": (0.05, SPEED_LIMIT),
        "leeway": (-1.5, 1.5),
        "rudder": (-20.0, 20.0),
        "crew_arm": (-20.0, 20.0),
        "main_sheet": (0.2, 2.0),
    }

    def __init__(self, conditions: Conditions):
        boat = keelboat.base()
        fixed = [name for name in trim.ranges(boat, HULL_BORNE) if name not in self.free_names]
        bounds = np.array([self.rooms[name] for name in self.free_names])
        free = trim.Freedom(
            branch=HULL_BORNE,
            names=self.free_names,
            lower=bounds[:, :1],
            upper=bounds[:, 1:],
            fixed={name: np.array([1.0 if name == "main_sheet" else 0.0]) for name in fixed},
        )
        super().__init__(fleets.fleet([boat]), free, conditions)

    def start(self) -> Floats:
        """Somewhere inside the bounds, balanced in nothing."""
        tws, aim = self.conditions.tws, self.conditions.aim
        guesses = {
            "boat_speed": 0.6 * tws,
            "leeway": 0.05,
            "rudder": 0.0,
            "crew_arm": 0.0,
            "main_sheet": 1.0,
            "twa": np.radians(np.where(aim == "upwind", 50.0, 140.0)),
        }
        return np.array(
            [guesses[name] / scale + 0.0 * tws for name, scale in zip(self.names, self.scale, strict=True)]
        )

    @property
    def inequality_count(self) -> int:
        """None: there are no sails to be filled."""
        return 0

    def limits(self, *_: Any) -> list[Any]:
        return []

    def loads(
        self, values: Mapping[str, Any], cases: NDArray[np.int64], *later: Any
    ) -> tuple[tuple[Component, ...], tuple[WorkingFoil, ...]]:
        speed, leeway = values["boat_speed"], values["leeway"]
        tws = self.conditions.tws[cases]
        xp = array_namespace(speed, values["twa"])
        ahead, across = tws * xp.cos(values["twa"]) + speed, tws * xp.sin(values["twa"])
        air = self.air(ahead, across, values["main_sheet"])
        water = self.water(speed, leeway)
        weight = 100.0
        held = Load(roll=2.0e4 * values["crew_arm"], yaw=5.0e3 * values["rudder"])
        components = (
            Component(
                name="sail",
                medium="air",
                load=course_load(*air, leeway, roll=-5.0 * air[1], yaw=0.3 * air[1]),
            ),
            Component(name="keel", medium="water", load=course_load(*water, leeway)),
            Component(name="weight", medium="gravity", load=held),
            Component(name="ballast", medium="gravity", load=Load(up=-weight)),
        )
        return components, ()

    def air(self, ahead: Any, across: Any, power: Any) -> tuple[Any, Any]:
        """Force along and across the course, given the apparent wind's two parts."""
        raise NotImplementedError

    def water(self, speed: Any, leeway: Any) -> tuple[Any, Any]:
        """Force along and across the course."""
        raise NotImplementedError


class ConstantDragAngles(_Invented):
    """Drag angles in air and water that never change, whatever the flow; forces grow with its square."""

    air_angle = np.radians(6.0)
    water_angle = np.radians(9.0)

    def air(self, ahead: Any, across: Any, power: Any) -> tuple[Any, Any]:
        xp = array_namespace(ahead, across)
        lift = SAIL * power * xp.sqrt(ahead**2 + across**2)
        drag = lift * np.tan(self.air_angle)
        # times the unit vectors across and along the apparent wind, whose length is in `lift` once already
        return lift * across - drag * ahead, lift * ahead + drag * across

    def water(self, speed: Any, leeway: Any) -> tuple[Any, Any]:
        side = KEEL * speed**2 * leeway
        return -side * np.tan(self.water_angle), -side


class FreePower(ConstantDragAngles):
    """The same with a control that scales the sail's force, on which the speed does not depend: a redundant
    trim.
    """

    free_names = (*_Invented.free_names, "main_sheet")


class PureDrag(_Invented):
    """Drag alone in air and water, their constants in the ratio `water_over_air`."""

    water_over_air = 4.0

    def air(self, ahead: Any, across: Any, power: Any) -> tuple[Any, Any]:
        xp = array_namespace(ahead, across)
        drag = SAIL * xp.sqrt(ahead**2 + across**2)
        return -drag * ahead, drag * across

    def water(self, speed: Any, leeway: Any) -> tuple[Any, Any]:
        return -self.water_over_air * SAIL * speed**2, -KEEL * speed**2 * leeway


class AddedLoad(trim.FastestEquilibrium):
    """A boat with a constant load more, in the axes of the course: `extra` (4, conditions) as the residuals
    are ordered.
    """

    extra: Floats

    def loads(
        self, values: Mapping[str, Any], cases: NDArray[np.int64], *later: Any
    ) -> tuple[tuple[Component, ...], tuple[WorkingFoil, ...]]:
        along, across, roll, yaw = self.extra[:, cases]
        load = course_load(along, across, values["leeway"], roll=roll, yaw=yaw)
        components, at_work = super().loads(values, cases, *later)
        return (*components, Component(name="added", medium="water", load=load)), at_work
