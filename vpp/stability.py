"""Righting moment against heel and against the cant of the foils, afloat at rest and on foils, and what it is
made of.

Moments are about fore-and-aft lines straight above or below the reference point, positive where they right
the boat. A vertical force has the same moment about all of them; that of a side force depends on the height.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp import appendages, balance, fleets, hulls, trim
from vpp.balance import WorkingFoil
from vpp.boat import Boat, Foil, FormedHull, Hull
from vpp.fleets import BoatArrays, Fleet
from vpp.foiling import CANTING_PAIR
from vpp.physics.arrays import Array
from vpp.physics.lifting_line import WakeOperator
from vpp.polar import source_of
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import FOIL_BORNE
from vpp.solver import jets
from vpp.state import Component, State

if TYPE_CHECKING:
    from vpp.config import BoatFile
    from vpp.results.files import Source

Floats = NDArray[np.float64]
Reasons = NDArray[np.object_]

STABILITY_CAUTION = (
    "Not for stability sign-off: still water, no waves, gusts or flooding. ISO 12217-2:2022 excludes foiling "
    "craft when they are not in displacement mode."
)
"""Said with every righting moment."""

AFLOAT = "afloat"
HEEL, CANT = "heel", "cant"
VERTICAL, SIDE = "vertical", "side"
WATER_PLANE, CANT_AXIS, MAST_PIVOT = "water plane", "cant axis", "mast pivot"
REFERENCES = (WATER_PLANE, CANT_AXIS, MAST_PIVOT)

HULL_FORM, MASSES, CREW = "hull form (buoyancy)", "boat's masses", "crew"
RAISED_WEIGHT, WORKING_WEIGHT = "raised foil", "working foil's weight"
WORKING_FOIL, RUDDER_FOIL, FINS, HULL_DRAG, SAILS = (
    "working foil", "rudder foil", "fins", "hull resistance", "sails",
)  # fmt: skip

DEFAULT_SPEED_KN = 25.0
# Height of the keel line over the water where none is asked for [m].
DEFAULT_CLEARANCE = 0.35
# No farther does a boat heel here whose hull has no limit of its own [rad], and the steps of the curves.
MOST_HEEL = 40.0 * DEGREE
_AFLOAT_STEP, _STEP = 2.5 * DEGREE, 1.0 * DEGREE
# Slow enough that the water exerts nothing, as the balance takes no boat at rest [m/s].
_AT_REST = 0.05
_MOST_STEPS, _LONGEST_STEP, _MET = 30, 0.5, 1e-11
# Shortest vector that still points somewhere.
_TINY = 1e-12


class StabilityInputError(ValueError):
    """Values asked for that the boat cannot have; `problems` holds a sentence for each."""

    def __init__(self, problems: Sequence[str]):
        super().__init__("\n".join(problems))
        self.problems = tuple(problems)


@dataclass(frozen=True, kw_only=True)
class Settings:
    """What is held fixed, SI and radians: see `stability`. Those of the foils are NaN for a boat without."""

    crew_arm: float
    heel: float
    cant: float
    boat_speed: float
    ride_height: float
    effort_height: float


@dataclass(frozen=True, kw_only=True)
class Contribution:
    """Vertical forces or side forces of one kind along a curve, (conditions,).

    `force` [N] is up for vertical forces and to leeward for side forces; `roll` [N m] is their moment about
    the water plane, positive where it rights.
    """

    name: str
    direction: str
    force: Floats
    roll: Floats

    def about(self, height: Floats) -> Floats:
        """Moment [N m] about a line at a height over the water [m]."""
        return self.roll + height * self.force if self.direction == SIDE else self.roll


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Righting moment along heel or cant, arrays (conditions,) in SI units and radians, NaN without a result.

    `state` is "afloat" or "foil-borne", `varied` "heel" or "cant". `unknowns` holds what was solved for by
    name: ride_height and pitch afloat (none for a hull of a series); leeway, flap and elevator on foils.
    `heights` are those of the references over the water, and `effort_height` that of the sails' force.
    `reason` says why a condition has no result, `remark` what else is to be known of one.
    """

    state: str
    varied: str
    heel: Floats
    cant: Floats
    weight: float
    contributions: tuple[Contribution, ...]
    unknowns: Mapping[str, Floats]
    heights: Mapping[str, Floats]
    effort_height: Floats
    reason: Reasons
    remark: Reasons

    @property
    def along(self) -> Floats:
        """Heel or cant, whichever is varied."""
        return self.heel if self.varied == HEEL else self.cant

    def of(self, direction: str) -> tuple[Contribution, ...]:
        """The contributions of vertical or of side forces."""
        return tuple(item for item in self.contributions if item.direction == direction)

    @property
    def righting_moment(self) -> Floats:
        """Moment of all vertical forces: they add up to no force, so that it is a couple, the same about
        every line.
        """
        return np.asarray(sum(item.roll for item in self.of(VERTICAL)))

    @property
    def righting_arm(self) -> Floats:
        """Righting moment over the weight [m]: GZ for a boat afloat."""
        return self.righting_moment / self.weight

    @property
    def side_force(self) -> Floats:
        """Horizontal side force of the sails [N], to leeward; NaN afloat."""
        found = [item.force for item in self.of(SIDE) if item.name == SAILS]
        return found[0] if found else np.full(len(self.heel), np.nan)

    @property
    def water_height(self) -> Floats:
        """Height over the water at which the side forces of the water act together [m], below it negative;
        NaN afloat, and where they add up to nothing.
        """
        water = [item for item in self.of(SIDE) if item.name != SAILS]
        none = np.zeros(len(self.heel))
        force, roll = (sum((getattr(item, part) for item in water), none) for part in ("force", "roll"))
        return np.where(force == 0.0, np.nan, -roll / np.where(force == 0.0, 1.0, force))

    @property
    def lever(self) -> Floats:
        """Vertical distance from the water's side force up to the sails' [m]."""
        return self.effort_height - self.water_height


@dataclass(frozen=True, kw_only=True)
class Stability:
    """Righting moments of one boat."""

    source: Source
    boat: Boat
    settings: Settings
    curves: tuple[Curve, ...]

    @property
    def option(self) -> str:
        """The option of the boat file."""
        return self.boat.name

    def curve(self, state: str, varied: str) -> Curve | None:
        """One of the curves, None where the boat has none of that kind."""
        return next((c for c in self.curves if (c.state, c.varied) == (state, varied)), None)

    def to_frame(self) -> pd.DataFrame:
        """The tidy table: a row for each condition, reference height and contribution.

        Moments in N m about the reference named, forces in N (up for vertical ones, to leeward for side
        forces), heights over the water in m. Afloat there are no side forces, and the reference is the water
        plane alone.
        """
        rows: list[dict[str, Any]] = []
        for curve in self.curves:
            for reference, height in curve.heights.items():
                for item in curve.contributions:
                    moment = item.about(height)
                    rows += [
                        {
                            **self._condition(curve, i),
                            "reference": reference,
                            "reference_height_m": round(float(height[i]), 6),
                            "contribution": item.name,
                            "direction": item.direction,
                            "force_n": round(float(item.force[i]), 4),
                            "roll_moment_nm": round(float(moment[i]), 4),
                            "reason": curve.reason[i],
                        }
                        for i in range(len(curve.heel))
                    ]
        return pd.DataFrame(rows)

    def state_frame(self) -> pd.DataFrame:
        """A row for each condition: righting moment, lever and what was solved for."""
        rows = []
        for curve in self.curves:
            values = {
                "righting_moment_nm": curve.righting_moment,
                "righting_arm_m": curve.righting_arm,
                "side_force_n": curve.side_force,
                "effort_height_m": curve.effort_height,
                "water_force_height_m": curve.water_height,
                "lever_m": curve.lever,
                "ride_height_m": curve.unknowns.get("ride_height"),
                **{
                    f"{name}_deg": curve.unknowns[name] / DEGREE if name in curve.unknowns else None
                    for name in ("pitch", "leeway", "flap", "elevator")
                },
            }
            rows += [
                {
                    **self._condition(curve, i),
                    **{
                        name: math.nan if value is None else round(float(value[i]), 6)
                        for name, value in values.items()
                    },
                    "reason": curve.reason[i],
                    "remark": curve.remark[i],
                }
                for i in range(len(curve.heel))
            ]
        return pd.DataFrame(rows)

    def _condition(self, curve: Curve, i: int) -> dict[str, Any]:
        return {
            "option": self.option,
            "state": curve.state,
            "varied": curve.varied,
            "heel_deg": round(float(curve.heel[i] / DEGREE), 6),
            "cant_deg": round(float(curve.cant[i] / DEGREE), 6),
        }


def stability(
    boat_file: BoatFile,
    *,
    option: str = "base",
    crew_arm_m: float | None = None,
    heel_deg: float | None = None,
    cant_deg: float | None = None,
    speed_kn: float | None = None,
    ride_height_m: float | None = None,
    ce_height_m: float | None = None,
) -> Stability:
    """Righting moments of a boat, afloat and, where it has canting foils, on them.

    The crew sits at `crew_arm_m` (its greatest where None). The curves against heel have the cant `cant_deg`
    (the greatest), those against cant the heel `heel_deg` (none). On foils the boat goes level fore and aft
    at `speed_kn` (25) with its drawn water line `ride_height_m` over the water (keel line 0.35 m clear), and
    the sails press `ce_height_m` over the drawn water line along the mast (area-weighted height of the sails'
    centroids).

    Of a boat with sail sets it is that under the first of them.

    Raises StabilityInputError with every value that the boat cannot have, and BoatFileError for an option
    that the file does not hold.
    """
    boat = boat_file.boat(option).dressed
    settings = _settings(
        boat,
        {
            "crew_arm": crew_arm_m, "heel": heel_deg, "cant": cant_deg, "boat_speed": speed_kn,
            "ride_height": ride_height_m, "effort_height": ce_height_m,
        },
    )  # fmt: skip
    source = source_of(boat_file, [boat])
    return Stability(source=source, boat=boat, settings=settings, curves=curves(boat, settings))


def curves(boat: Boat, settings: Settings) -> tuple[Curve, ...]:
    """The curves of a boat: afloat against heel; with canting foils also against cant, and both on foils."""
    fleet = fleets.fleet([boat])
    heels = _steps(0.0, _heel_limit(boat), _AFLOAT_STEP)
    foil = boat.foil(CANTING_PAIR)
    if foil is None:
        return (afloat(fleet, boat, settings, varied=HEEL, heel=heels, cant=np.full(len(heels), np.nan)),)
    cants = _steps(foil.cant.lower, foil.cant.upper, _STEP)
    flying = _steps(-boat.margins.heel, boat.margins.heel, _STEP)
    found = []
    for curve_of, angles in ((afloat, heels), (on_foils, flying)):
        along = {HEEL: (angles, settings.cant + 0.0 * angles), CANT: (settings.heel + 0.0 * cants, cants)}
        found += [
            curve_of(fleet, boat, settings, varied=varied, heel=heel, cant=cant)
            for varied, (heel, cant) in along.items()
        ]
    return tuple(found)


def effort_height(boat: Boat) -> float:
    """Area-weighted height of the sails' centroids over the drawn water line, along the mast [m]."""
    centres = [
        *((sail.area, sail.area_centre_height) for sail in boat.sails),
        *((sail.area, sail.centre_height) for sail in boat.table_sails),
    ]
    return sum(area * height for area, height in centres) / sum(area for area, _ in centres)


# --- afloat -------------------------------------------------------------------------------------------------


def afloat(fleet: Fleet, boat: Boat, settings: Settings, *, varied: str, heel: Floats, cant: Floats) -> Curve:
    """The boat at rest at each heel and cant, (conditions,), floating at its own weight.

    A hull given by its shape sinks and trims until heave and pitch are met. One of a series has vertical
    sides at the water plane: it heels about its centreline there and stays level.
    """
    given = {
        "boat_speed": _AT_REST + 0.0 * heel,
        "heel": heel,
        "cant": np.nan_to_num(cant),
        "crew_arm": settings.crew_arm,
        "crew_x": boat.crew.x,
    }
    heaves = isinstance(boat.hull, FormedHull)
    names = ("ride_height", "pitch") if heaves else ()
    weight = float(balance.weight(fleet.layout, fleet.arrays)[0])

    def left_over(unknowns: Mapping[str, Array]) -> list[Array]:
        components, _ = _loads(fleet, {**given, **unknowns})
        still = [item.load for item in components if _is_still(item)]
        return [sum(load.up for load in still) / weight, sum(load.pitch for load in still) / weight]

    unknowns = {name: 0.0 * heel for name in names}
    met = np.ones(len(heel), dtype=bool)
    if heaves:
        unknowns, met = _solve(left_over, unknowns)
    components, _ = _loads(fleet, {**given, **unknowns})
    names_of = {"buoyancy": HULL_FORM, **_weights(boat)}
    ones = np.ones(len(heel))
    contributions = [
        Contribution(
            name=names_of[item.name],
            direction=VERTICAL,
            force=ones * item.load.up,
            roll=ones * item.load.roll,
        )
        for item in sorted(components, key=lambda item: item.name != "buoyancy")
        if _is_still(item)
    ]
    if not heaves:
        # the balance hands this component what other forces leave over as well; at rest that is the weight
        contributions[0] = replace(contributions[0], force=weight * ones)
    rise = unknowns.get("ride_height", 0.0 * heel)
    reason = _afloat_reasons(boat, heel, rise, met)
    return _curve(
        state=AFLOAT,
        varied=varied,
        heel=heel,
        cant=cant,
        weight=weight,
        contributions=contributions,
        unknowns=unknowns,
        heights={WATER_PLANE: 0.0 * heel},
        effort_height=np.full(len(heel), np.nan),
        reason=reason,
        remark=np.full(len(heel), "", dtype=object),
    )


def _is_still(item: Component) -> bool:
    return item.medium == "gravity" or item.name == "buoyancy"


def _weights(boat: Boat) -> dict[str, str]:
    """What the balance calls the weights, and what they are called here."""
    foil = boat.foil(CANTING_PAIR)
    own = {"weight": MASSES, "crew weight": CREW}
    return own if foil is None else own | {
        f"raised {foil.name} weight": RAISED_WEIGHT, f"{foil.name} weight": WORKING_WEIGHT
    }  # fmt: skip


def _heel_limit(boat: Boat) -> float:
    return boat.hull.heel_limit if isinstance(boat.hull, Hull) else MOST_HEEL


def _afloat_reasons(boat: Boat, heel: Floats, rise: Floats, met: NDArray[np.bool_]) -> Reasons:
    """No deck limits a hull given by its shape, so that its edge is looked at here: at the height of the deck
    under the sails, above the vertical sides.
    """
    reason = np.full(len(heel), "", dtype=object)
    if isinstance(boat.hull, Hull):
        reason[np.abs(heel) > boat.hull.heel_limit + _TINY] = (
            "heeled past the limit of the hull's vertical sides"
            if boat.hull.levers is None
            else "heeled past the last heel of the hull's righting arms"
        )
        return reason
    half_beam = 0.5 * (boat.hull.waterline_beam + boat.hull.hull_spacing)
    edge = rise + boat.rig.deck_height * np.cos(heel) - half_beam * np.sin(np.abs(heel))
    reason[edge < 0.0] = "the deck edge is under water"
    reason[~met] = "no immersion and trim carry the boat's weight"
    return reason


# --- on foils -----------------------------------------------------------------------------------------------


def on_foils(
    fleet: Fleet, boat: Boat, settings: Settings, *, varied: str, heel: Floats, cant: Floats
) -> Curve:
    """The boat on foils at each heel and cant, (conditions,), at a speed and a ride height, level fore and
    aft.

    The sails press across the mast at one height, and drive there with as much as the water's drag. Flap,
    elevator and leeway meet heave, pitch and roll; the sails' force meets sway. The rudder is amidships and
    yaw is left out, as are windage and the sails' pull along the mast.
    """
    given = {
        "boat_speed": settings.boat_speed + 0.0 * heel,
        "heel": heel,
        "cant": cant,
        "crew_arm": settings.crew_arm,
        "crew_x": boat.crew.x,
        "ride_height": settings.ride_height + 0.0 * heel,
    }
    weight = float(balance.weight(fleet.layout, fleet.arrays)[0])

    def left_over(unknowns: Mapping[str, Array]) -> list[Array]:
        components, _ = _loads(fleet, {**given, **unknowns})
        loads = [item.load for item in components if item.medium != "air"]
        total = {
            part: sum(getattr(load, part) for load in loads)
            for part in ("forward", "leeward", "up", "roll", "pitch")
        }
        press = -1.0 * total["leeward"] / np.cos(heel)
        height = settings.effort_height
        up = total["up"] - press * np.sin(heel)
        # drive presses the bow down, and so does what presses down at a mast ahead of the reference point
        pitch = (
            total["pitch"] - total["forward"] * height * np.cos(heel) + press * np.sin(heel) * boat.rig.mast_x
        )
        return [up / weight, (total["roll"] - press * height) / weight, pitch / weight]

    start = {"flap": 0.06 + 0.0 * heel, "leeway": 0.0 * heel, "elevator": 0.0 * heel}
    unknowns, met = _solve(left_over, start)
    components, at_work = _loads(fleet, {**given, **unknowns})
    state = _state(fleet, _selected(fleet, len(heel))[0], {**given, **unknowns})
    contributions = _flying_contributions(fleet, boat, settings, state, components, at_work)
    reason, remark = _limits(fleet, boat, unknowns, at_work, settings.boat_speed, met)
    foil = _canting(boat)
    over = {WATER_PLANE: None, CANT_AXIS: foil.attachment_z, MAST_PIVOT: boat.rig.mast_base_height}
    return _curve(
        state=FOIL_BORNE,
        varied=varied,
        heel=heel,
        cant=cant,
        weight=weight,
        contributions=contributions,
        unknowns=unknowns,
        heights={
            name: 0.0 * heel if z is None else settings.ride_height + z * np.cos(heel)
            for name, z in over.items()
        },
        effort_height=settings.ride_height + settings.effort_height * np.cos(heel),
        reason=reason,
        remark=remark,
    )


def _canting(boat: Boat) -> Foil:
    foil = boat.foil(CANTING_PAIR)
    if foil is None:
        raise ValueError(f"{boat.name} has no canting foils.")
    return foil


def _flying_contributions(
    fleet: Fleet,
    boat: Boat,
    settings: Settings,
    state: State,
    components: Sequence[Component],
    at_work: Sequence[WorkingFoil],
) -> list[Contribution]:
    heel = state.heel
    by_name = {item.name: item.load for item in components}
    still = {**_weights(boat), "buoyancy": HULL_FORM}
    ones = np.ones(len(heel))
    found = [
        Contribution(
            name=name, direction=VERTICAL, force=ones * by_name[own].up, roll=ones * by_name[own].roll
        )
        for own, name in still.items()
    ]
    side: list[Contribution] = []

    def add(name: str, up: Array, leeward: Array, roll: Array, roll_of_vertical: Array) -> None:
        found.append(
            Contribution(name=name, direction=VERTICAL, force=ones * up, roll=ones * roll_of_vertical)
        )
        # from the reference point down to the water plane
        about_water = roll - roll_of_vertical - settings.ride_height * leeward
        side.append(Contribution(name=name, direction=SIDE, force=ones * leeward, roll=ones * about_water))

    for each, work in zip(fleet.layout.foils, at_work, strict=True):
        loads = [by_name[name] for name in each.element_names]
        up, leeward, roll = (sum(getattr(load, part) for load in loads) for part in ("up", "leeward", "roll"))
        name = WORKING_FOIL if each.kind == CANTING_PAIR else RUDDER_FOIL
        add(name, up, leeward, roll, _roll_of_vertical_forces(work, heel))
    if fleet.layout.fins:
        fins = [
            (by_name[each.name], appendages.side_force_height(fin, fleet.arrays.hull, state))
            for each, fin in zip(fleet.layout.fins, fleet.arrays.fins, strict=True)
        ]
        up, leeward, roll = (
            sum(getattr(load, part) for load, _ in fins) for part in ("up", "leeward", "roll")
        )
        add(FINS, up, leeward, roll, sum(load.up * z * np.sin(heel) for load, z in fins))
    drag = sum(load.leeward for name, load in by_name.items() if name in hulls.RESISTANCE)
    add(HULL_DRAG, 0.0 * heel, drag, 0.0 * heel, 0.0 * heel)
    press = -sum(item.force for item in side) / np.cos(heel)
    height = settings.effort_height
    add(
        SAILS,
        -press * np.sin(heel),
        press * np.cos(heel),
        -press * height,
        -press * height * np.sin(heel) ** 2,
    )
    return [*found, *side]


def _roll_of_vertical_forces(work: WorkingFoil, heel: Floats) -> Floats:
    """Moment of the vertical forces on a foil about the line through the reference point [N m], without
    pitch.

    An element's forces lie along a straight line, whose points are its start and so far along its span. Force
    times that distance follows from the moment: across the span exactly; along it only skin friction and
    spray act, which are taken at mid span (the roll moment as a whole is exact).
    """
    at, loads = work.place, work.loads
    # moment about the element's start: that of the forces at their distances along the span
    moment = loads.moment_x - (at.start_y * loads.force_z - at.start_z * loads.force_y)
    turn = at.span_y * at.normal_z - at.span_z * at.normal_y
    across = moment / turn
    beside = 0.5 * at.span * (loads.force_y * at.span_y + loads.force_z * at.span_z)
    far_y = across * at.normal_y + beside * at.span_y
    far_z = across * at.normal_z + beside * at.span_z
    cos_h, sin_h = np.cos(heel), np.sin(heel)
    start, along = (y * cos_h + z * sin_h for y, z in ((at.start_y, at.start_z), (at.span_y, at.span_z)))
    up, far_up = (z * cos_h - y * sin_h for y, z in ((loads.force_y, loads.force_z), (far_y, far_z)))
    return np.asarray(np.sum(start * up + along * far_up, axis=0))


def _limits(
    fleet: Fleet,
    boat: Boat,
    unknowns: Mapping[str, Floats],
    at_work: Sequence[WorkingFoil],
    boat_speed: float,
    met: NDArray[np.bool_],
) -> tuple[Reasons, Reasons]:
    """Why a condition counts as unsolved, the first reason that holds, and where a foil cavitates."""
    count = len(met)
    reason, remark = (np.full(count, "", dtype=object) for _ in range(2))
    bounds = trim.ranges(boat, FOIL_BORNE)
    margins = balance.foil_margins(fleet.layout, at_work)
    for i in range(count):
        said = []
        if not met[i]:
            said.append("no flap, elevator and leeway balance the boat")
        for name, values in unknowns.items():
            low, high = bounds[name].lower, bounds[name].upper
            if not low - _TINY <= values[i] <= high + _TINY:
                said.append(
                    f"needs {values[i] / DEGREE:.1f} deg of {name}; "
                    f"allowed: {low / DEGREE:g} to {high / DEGREE:g}"
                )
        for margin in margins:
            if margin.kind == balance.IMMERSION and margin.value[i] < boat.margins.immersion:
                said.append(_say_tip(margin.of, margin.value[i], boat.margins.immersion))
            elif margin.kind == balance.CAVITATION and margin.value[i] < boat.margins.cavitation:
                remark[i] = remark[i] or f"{margin.of} cavitates beyond its margin"
        reason[i] = said[0] if said else ""
    return reason, remark


def _say_tip(foil: str, depth: float, least: float) -> str:
    if depth <= 0.0:
        return f"the wing tip of {foil} is out of the water"
    return f"the wing tip of {foil} is {depth:.2f} m deep; the least is {least:g} m"


# --- both ---------------------------------------------------------------------------------------------------


def _curve(*, contributions: Sequence[Contribution], reason: Reasons, **rest: Any) -> Curve:
    """A curve with NaN where a condition has no result."""
    missing = reason != ""

    def known(values: Floats) -> Floats:
        return np.where(missing, np.nan, values)

    return Curve(
        contributions=tuple(
            replace(item, force=known(item.force), roll=known(item.roll)) for item in contributions
        ),
        reason=reason,
        **{
            **rest,
            "unknowns": {name: known(values) for name, values in rest["unknowns"].items()},
            "remark": np.where(missing, "", rest["remark"]),
        },
    )


def _loads(
    fleet: Fleet, values: Mapping[str, Array]
) -> tuple[tuple[Component, ...], tuple[WorkingFoil, ...]]:
    """The balance's own loads at a state; those of the air are of no use here."""
    count = len(np.asarray(values["heel"]))
    boats, wake = _selected(fleet, count)
    state = _state(fleet, boats, values)
    at_work = balance.foils_at_work(fleet_layout=fleet.layout, boats=boats, state=state)
    calm = balance.true_wind(
        boats=boats, tws=np.full(count, 0.1), twa=np.full(count, 1.0), ride_height=np.zeros(count)
    )
    found = balance.loads(
        fleet_layout=fleet.layout, boats=boats, wake=wake, wind=calm, state=state, at_work=at_work
    )
    return found, at_work


def _selected(fleet: Fleet, count: int) -> tuple[BoatArrays, WakeOperator]:
    return fleet.select(np.zeros(count, dtype=np.intp))


def _state(fleet: Fleet, boats: BoatArrays, values: Mapping[str, Array]) -> State:
    zero = 0.0 * boats.mass
    sails = {
        f"{sail}_{control}": zero
        for sail in fleet.layout.sails
        for control in ("sheet", "twist", "camber", "head_camber")
    }
    sails |= {f"{sail}_{trim.POWER}": zero for sail in fleet.layout.table_sails}
    rest = {"leeway": zero, "rudder": zero, "tab": zero, **sails}
    if fleet.layout.heaves:
        rest |= {name: zero for name in trim.FOILING}
    given = {name: value + zero for name, value in values.items() if name in rest or name not in trim.FOILING}
    return trim.state_from({**rest, **given}, fleet.layout)


def _solve(
    left_over: Callable[[Mapping[str, Array]], list[Array]], start: Mapping[str, Floats]
) -> tuple[dict[str, Floats], NDArray[np.bool_]]:
    """Newton's method on all conditions at once, with exact derivatives; which conditions it has met."""
    names = tuple(start)
    scale = np.array([trim.scale_of(name) for name in names])[:, None]
    x = np.array([start[name] for name in names]) / scale
    count = x.shape[1]
    error = np.full(count, np.inf)
    for _ in range(_MOST_STEPS):
        free = jets.variables(x)
        rows = left_over({name: free[i] * scale[i, 0] for i, name in enumerate(names)})
        value, slope = jets.dense_gradient(jets.stack(rows), len(names), (len(rows), count))
        error = np.max(np.abs(value), axis=0)
        if np.all(error < _MET):
            break
        step = -np.linalg.solve(_regular(slope.transpose(2, 1, 0)), value.T[..., None])[..., 0].T
        # a step too long to trust is shortened, not turned
        step *= np.minimum(1.0, _LONGEST_STEP / np.maximum(np.max(np.abs(step), axis=0), _TINY))
        x = x + np.where(error < _MET, 0.0, step)
    return {name: x[i] * scale[i, 0] for i, name in enumerate(names)}, error < _MET


def _regular(matrices: Floats) -> Floats:
    """Matrices that can be solved with: the unit matrix in place of a singular one."""
    singular = np.abs(np.linalg.det(matrices)) < _TINY
    return np.where(singular[:, None, None], np.eye(matrices.shape[1]), matrices)


def _steps(low: float, high: float, step: float) -> Floats:
    """Even steps from low to high; the last one is shorter where they do not land on it."""
    count = math.floor((high - low) / step + 1e-9) + 1
    whole = np.array([low + step * i for i in range(count)], dtype=np.float64)
    return whole if high - whole[-1] < 1e-9 else np.array([*whole, high], dtype=np.float64)


# --- what is asked for --------------------------------------------------------------------------------------


def _settings(boat: Boat, asked: Mapping[str, float | None]) -> Settings:
    """Settings in SI units from those asked for in the units of sailing, None for the default."""
    problems: list[str] = []
    foil = boat.foil(CANTING_PAIR)
    ranges: dict[str, _Asked] = {
        "crew_arm": _Asked("crew_arm", "m", 1.0, boat.crew.arm.lower, boat.crew.arm.upper)
    }
    defaults: dict[str, float] = {"crew_arm": boat.crew.arm.upper}
    if foil is not None:
        bounds = trim.ranges(boat, FOIL_BORNE)
        ranges |= {
            "heel": _Asked("heel", "deg", DEGREE, -boat.margins.heel, boat.margins.heel),
            "cant": _Asked("cant", "deg", DEGREE, foil.cant.lower, foil.cant.upper),
            "boat_speed": _Asked("speed", "kn", KNOT, KNOT, bounds["boat_speed"].upper),
            "ride_height": _Asked("ride_height", "m", 1.0, 0.0, bounds["ride_height"].upper),
            "effort_height": _Asked("ce_height", "m", 1.0, 0.0, boat.rig.mast_top_height),
        }
        defaults |= {
            "heel": 0.0,
            "cant": foil.cant.upper,
            "boat_speed": DEFAULT_SPEED_KN * KNOT,
            "ride_height": boat.hull.canoe_draught + DEFAULT_CLEARANCE,
            "effort_height": effort_height(boat),
        }
    values = dict.fromkeys(asked, math.nan) | defaults
    for name, value in asked.items():
        if value is None:
            continue
        if name not in ranges:
            said = {"boat_speed": "speed", "effort_height": "ce_height"}.get(name, name)
            problems.append(f"{said} = {value:g}: {boat.name} has no canting foils, which this is for")
            continue
        values[name] = value * ranges[name].unit_in_si
        problems += ranges[name].problems(value)
    if problems:
        raise StabilityInputError(problems)
    return Settings(**values)


@dataclass(frozen=True)
class _Asked:
    """A value that may be asked for: its name and unit, and its range in SI units."""

    name: str
    unit: str
    unit_in_si: float
    lower: float
    upper: float

    def problems(self, value: float) -> list[str]:
        low, high = self.lower / self.unit_in_si, self.upper / self.unit_in_si
        if low - 1e-9 <= value <= high + 1e-9:
            return []
        return [f"{self.name} = {value:g} {self.unit}: allowed are {low:.4g} to {high:.4g} {self.unit}"]
