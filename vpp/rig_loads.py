"""What the rig of a solved boat pulls on, and what trimming it from one state to another takes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from vpp.boat import Boat, Sail, TableSail
from vpp.physics import rig_loads as statics
from vpp.polar import Point, source_of_all
from vpp.results.files import Source
from vpp.results.frames import Floats
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import Strips

LOADS_CAUTION = (
    "Loads are estimates of the steady pull, from statics of cloth without weight, friction or shocks: not "
    "for sizing gear."
)
"""Shown with every load, before the caution of all results."""

BOOM, CLEW = "boom", "clew"
SWING, TWIST, MAST_ROTATION = "sheet and traveller", "twist", "mast rotation"
FROM_FILE = "boat file"

# A sail whose tack is no farther from the mast [m] stands on it.
_ON_MAST = 0.5
# Defaults for what the boat file does not say; the page on loads gives reasons.
_STAY_SAG_SHARE = 0.015
_MAST_PIVOT_SHARE = 0.4
_LEAST_DROP = 0.10
_PULL_POINTS_AT = 0.5
# How closely [m] a sheet comes down to a lead that is given, and in how many tries.
_LEAD_TOLERANCE, _LEAD_STEPS = 1e-6, 50
TRIM_POWER_W = 200.0

LOAD_COLUMNS = (
    "option", "sail_set", "tws_kn", "twa_deg", "aim", "sail", "kind", "quantity", "value", "unit", "note"
)  # fmt: skip
GEOMETRY_COLUMNS = ("option", "sail_set", "sail", "key", "value", "unit", "origin")
WORK_COLUMNS = (
    "option", "from_tws_kn", "from_twa_deg", "to_tws_kn", "to_twa_deg", "points", "sail", "control",
    "from_deg", "to_deg", "from_moment_nm", "to_moment_nm", "work_out_j", "work_back_j",
)  # fmt: skip

NO_TWIST = "hardly any twist: a leech that straight would hold no load alone"
NO_SHAPE = "a sail from a table of coefficients has no shape to tell its loads from"
NO_CAMBER = "hardly any camber, or a belly against the load: tension across the cloth cannot be told from it"
NOT_HELD = "no pull of a sheet holds the sail: it leads the wrong way, or the clew's corner is flat"
BACKED = "the sail is pressed to windward: its sheet holds nothing"


class Quantity(NamedTuple):
    """A number on a sail in SI units and degrees, or why there is none. `kind` is load, place or check."""

    kind: str
    name: str
    value: float
    unit: str
    note: str = ""


class Given(NamedTuple):
    """A number of the sheeting with its key, and where it comes from."""

    key: str
    value: float | str
    unit: str
    origin: str


@dataclass(frozen=True, kw_only=True)
class Control:
    """What trims a sail: the wind turns it with the moment `load` [N m], the way `position` [rad] grows."""

    sail: str
    name: str
    load: float
    position: float


@dataclass(frozen=True, kw_only=True)
class SailLoads:
    """The loads of one sail in one state, its sheeting, and the controls that trim it."""

    sail: str
    quantities: tuple[Quantity, ...]
    geometry: tuple[Given, ...]
    controls: tuple[Control, ...]

    def of(self, name: str) -> float:
        """A quantity by name, NaN where there is none."""
        return next((item.value for item in self.quantities if item.name == name), math.nan)


@dataclass(frozen=True, kw_only=True)
class RigLoads:
    """The loads of a boat's sails in one solved state."""

    point: Point
    sails: tuple[SailLoads, ...]

    @property
    def option(self) -> str:
        """The boat that is meant."""
        return str(self.point.values["option"])

    @property
    def controls(self) -> tuple[Control, ...]:
        """What trims all of its sails."""
        return tuple(control for sail in self.sails for control in sail.controls)

    def to_frame(self) -> pd.DataFrame:
        """Every quantity, long: N, N m, m and degrees, as `unit` says."""
        values = self.point.values
        head = tuple(values[name] for name in LOAD_COLUMNS[:5])
        rows = [
            (*head, sail.sail, item.kind, item.name, _rounded(item.value, item.unit), item.unit, item.note)
            for sail in self.sails
            for item in sail.quantities
        ]
        return pd.DataFrame(rows, columns=list(LOAD_COLUMNS))

    def geometry_frame(self) -> pd.DataFrame:
        """What the loads take of sheets, stay and mast, and where it comes from."""
        worn = self.point.values["sail_set"]
        rows = [
            (self.option, worn, sail.sail, item.key, _shown(item.value), item.unit, item.origin)
            for sail in self.sails
            for item in sail.geometry
        ]
        return pd.DataFrame(rows, columns=list(GEOMETRY_COLUMNS))


@dataclass(frozen=True, kw_only=True)
class TrimWork:
    """Work [J] to move one control from the first state to the last, and back."""

    sail: str
    name: str
    load: Floats
    position: Floats
    out: float
    back: float


@dataclass(frozen=True, kw_only=True)
class Trimming:
    """What trimming from a state to another and back takes, through states between them.

    `not_told` names the sails and controls whose work is not known, with the reason; the sums are then those
    of the others alone.
    """

    states: tuple[RigLoads, ...]
    work: tuple[TrimWork, ...]
    not_told: tuple[str, ...]
    power_w: float
    power_origin: str
    period_s: float | None

    @property
    def cycle_work_j(self) -> float:
        """Work of the way there and back; nothing that eases is given back."""
        return sum(item.out + item.back for item in self.work)

    @property
    def mean_power_w(self) -> float:
        """Mean power of a cycle there and back in every period, NaN where none is asked for."""
        return math.nan if self.period_s is None else self.cycle_work_j / self.period_s

    @property
    def least_period_s(self) -> float:
        """The shortest period for which the power at hand is enough."""
        return self.cycle_work_j / self.power_w

    def summary(self) -> tuple[str, ...]:
        """Sentences: the work of a cycle, its power, and what is not in it."""
        told = [f"A cycle there and back takes {self.cycle_work_j:.0f} J; nothing that eases is given back."]
        at_hand = f"{self.power_w:g} W ({self.power_origin})"
        if self.period_s is not None:
            share = 100.0 * self.mean_power_w / self.power_w
            told.append(
                f"Every {self.period_s:g} s this is {self.mean_power_w:.0f} W on average, {share:.0f} % of "
                f"the {at_hand} at hand."
            )
        told.append(f"With {at_hand} a cycle takes {self.least_period_s:.1f} s at least.")
        told.append(
            "Gear without friction and cloth without stretch: blocks and winches take a good part more "
            "(common practice, no source)."
        )
        told += [f"Not in it: {text}." for text in self.not_told]
        return tuple(told)

    def to_frame(self) -> pd.DataFrame:
        """The work of every control, one row each; angles in deg, moments in N m."""
        first, last = (state.point.values for state in (self.states[0], self.states[-1]))
        head = (
            first["option"], first["tws_kn"], first["twa_deg"], last["tws_kn"], last["twa_deg"],
            len(self.states),
        )  # fmt: skip
        rows = [
            (
                *head, item.sail, item.name, _rounded(item.position[0] / DEGREE, "deg"),
                _rounded(item.position[-1] / DEGREE, "deg"), _rounded(item.load[0], "N m"),
                _rounded(item.load[-1], "N m"), round(item.out, 2), round(item.back, 2),
            )
            for item in self.work
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=list(WORK_COLUMNS))


def source_of_loads(states: Sequence[RigLoads]) -> Source:
    """What several states of one boat file say about it together."""
    return source_of_all([state.point for state in states])


def _rounded(value: float, unit: str) -> float:
    return round(float(value), {"N": 2, "N m": 2, "m": 4, "deg": 3, "%": 3}[unit]) + 0.0


def _shown(value: float | str) -> str:
    return value if isinstance(value, str) else f"{round(value, 4) + 0.0:g}"


# --- loads of a state ---------------------------------------------------------------------------------------


def rig_loads(point: Point) -> RigLoads:
    """The loads of every sail of a solved point."""
    boat = point.solved.boat_at(0)
    speed = float(point.solved.quantities["aws"][0])
    sails = [_sail_loads(sail, boat, point.solved.strips, speed) for sail in boat.sails]
    sails += [_table_loads(sail, speed) for sail in boat.table_sails]
    return RigLoads(point=point, sails=tuple(sails))


def _table_loads(sail: TableSail, wind_speed: float) -> SailLoads:
    rule = statics.rule_of_thumb_sheet_load(area=sail.area, apparent_wind_speed=wind_speed)
    quantities = (
        Quantity("load", "sheet_tension", math.nan, "N", NO_SHAPE),
        Quantity("check", "rule_of_thumb", float(rule), "N", _RULE),
    )
    return SailLoads(sail=sail.name, quantities=quantities, geometry=(), controls=())


_RULE = "area times apparent wind speed squared: common practice, no source"


@dataclass(frozen=True, kw_only=True)
class _Sheeting:
    """How a sail is sheeted, with defaults filled in."""

    holds: str
    point: float
    block_x: float
    block_height: float
    track_min: float
    track_max: float
    stay_sag_share: float


def _sheeting(sail: Sail, boat: Boat) -> tuple[_Sheeting, tuple[Given, ...]]:
    """The sheeting of a sail, and each number of it with its origin but for the block of a clew's sheet."""
    said, rig = sail.sheeting, boat.rig
    foot, edge = sail.chord_at(sail.lower_edge_height), sail.lower_edge_height
    deck = rig.deck_height if sail.deck_height is None else sail.deck_height
    half_width = rig.deck_half_width if sail.deck_half_width is None else sail.deck_half_width
    on_mast = abs(sail.tack_x - rig.mast_x) <= _ON_MAST
    holds = said.holds or (BOOM if on_mast else CLEW)
    point = foot if said.point is None or holds == CLEW else said.point
    height = min(deck, edge - _LEAST_DROP) if said.block_height is None else said.block_height
    inner = (-half_width if holds == BOOM else 0.0) if said.track_min is None else said.track_min
    outer = max(half_width, inner) if said.track_max is None else said.track_max
    found = _Sheeting(
        holds=holds,
        point=point,
        block_x=sail.luff_x(edge) - point if said.block_x is None else said.block_x,
        block_height=height,
        track_min=min(inner, outer),
        track_max=outer,
        stay_sag_share=_STAY_SAG_SHARE if said.stay_sag_share is None else said.stay_sag_share,
    )
    stands = "stands on the mast" if on_mast else "does not stand on the mast"
    below = f"deck, at least {_LEAST_DROP:g} m below the foot"
    inner_end = "the deck's windward edge" if holds == BOOM else "centreline"
    told = [
        Given("sheeting", holds, "", _origin(said.holds, stands)),
        Given("sheet_block_height_m", height, "m", _origin(said.block_height, below)),
        Given("sheet_track_min_m", found.track_min, "m", _origin(said.track_min, inner_end)),
        Given("sheet_track_max_m", outer, "m", _origin(said.track_max, "the deck's leeward edge")),
    ]
    if holds == BOOM:
        told += [
            Given("sheet_point_m", point, "m", _origin(said.point, "chord of the foot")),
            Given("sheet_block_x_m", found.block_x, "m", _origin(said.block_x, "below the boom's point")),
        ]
    else:
        share = 100.0 * found.stay_sag_share
        told.append(
            Given("stay_sag_percent", share, "%", _origin(said.stay_sag_share, "common practice, no source"))
        )
    return found, tuple(told)


def _origin(said: object, otherwise: str) -> str:
    return f"default: {otherwise}" if said is None else FROM_FILE


def _rise(sail: Sail) -> float:
    """Angle [rad] from the foot of the line from the clew to the middle of the luff."""
    edge = sail.lower_edge_height
    up = _PULL_POINTS_AT * (sail.head_height - edge)
    return math.atan2(up, sail.chord_at(edge) - up * math.tan(sail.luff_rake))


@dataclass(frozen=True, kw_only=True)
class _Cloth:
    """The strips of one sail in the one condition, (strips, 1) each, as the statics take them."""

    height: Floats
    width: Floats
    share: Floats
    chord: Floats
    chord_slope: Floats
    chord_angle: Floats
    camber: Floats
    nose_angle: Floats
    loads: statics.StripLoads


def _cloth(sail: Sail, strips: Strips, air_density: float) -> _Cloth:
    own = np.array(strips.sail) == sail.name
    at = {name: values[own] for name, values in vars(strips).items() if name != "sail"}
    edge = sail.lower_edge_height
    ends = edge + np.concatenate([[0.0], np.cumsum(at["width"][:, 0])])
    # just inside, because the chord may jump where an extension begins
    chords = [(sail.chord_at(low + 1e-9), sail.chord_at(high - 1e-9)) for low, high in pairwise(ends)]
    chord = np.array([[sail.chord_at(h)] for h in at["height"][:, 0]])
    nose_angle = at["nose_angle"] if sail.hinge_share > 0.0 else np.zeros_like(chord)
    loads = statics.strip_loads(
        normal=statics.force_across_chord(
            forward=at["forward"], leeward=at["leeward"], chord_angle=at["chord_angle"]
        ),
        pressure_force=0.5 * air_density * at["wind_speed"] ** 2 * chord * at["width"],
        chord=chord,
        camber=at["camber"],
        nose_slope=np.tan(nose_angle),
        incidence=at["incidence"],
        chord_incidence=at["flow_angle"] - at["chord_angle"],
        lift_coefficient=at["lift_coefficient"],
        load=statics.chordwise_load(hinge_share=sail.hinge_share, draft_share=sail.draft_share),
    )
    return _Cloth(
        height=at["height"],
        width=at["width"],
        share=(at["height"] - edge) / (sail.head_height - edge),
        chord=chord,
        chord_slope=np.array([[high - low] for low, high in chords]) / at["width"],
        chord_angle=at["chord_angle"],
        camber=at["camber"],
        nose_angle=nose_angle,
        loads=loads,
    )


def _twist(cloth: _Cloth) -> tuple[float, float]:
    """Angle of the foot's chord and twist [rad]: both are linear over the height."""
    share, angle = cloth.share[:, 0], cloth.chord_angle[:, 0]
    twist = (angle[-1] - angle[0]) / (share[-1] - share[0])
    return float(angle[0] - twist * share[0]), float(twist)


def _sail_loads(sail: Sail, boat: Boat, strips: Strips, wind_speed: float) -> SailLoads:
    sheeting, geometry = _sheeting(sail, boat)
    cloth = _cloth(sail, strips, boat.environment.air_density)
    foot_angle, twist = _twist(cloth)
    leech = statics.leech_load(
        leech=cloth.loads.leech,
        chord=cloth.chord,
        chord_slope=cloth.chord_slope,
        width=cloth.width,
        share=cloth.share,
        luff_height=sail.head_height - sail.lower_edge_height,
        luff_rake=sail.luff_rake,
        twist=np.array([twist]),
    )
    pull = _clew_pull(sail, cloth, leech, _rise(sail))
    sheet = _sheet(sail, sheeting, leech, pull, foot_angle)
    if sheeting.holds == CLEW and sail.sheeting.block_x is not None:
        pull, sheet = _led_to(sail.sheeting.block_x, sail, cloth, leech, sheeting)
    why = _why_not(sheet, leech)
    quantities = [
        *_cloth_quantities(cloth, leech, twist),
        *_pull_quantities(pull, leech, why),
        *_sheet_quantities(sheet, sheeting, sail.lower_edge_height, why),
        _rule_of_thumb(sail, sheeting, wind_speed),
    ]
    controls = _turns_about_luff(sail.name, leech, foot_angle, twist)
    if sheeting.holds == CLEW:
        quantities.append(_stay(cloth, sheeting))
        aims = "in line with the pull of the cloth, towards the middle of the luff"
        said = sail.sheeting.block_x
        lead_x = float(sheet.block_x[0]) if said is None else said
        lead = Given("sheet_block_x_m", lead_x, "m", _origin(said, aims))
        geometry = (*geometry, lead)
    if sail.hinge_share > 0.0:
        pivot, axis = _pivot(boat)
        geometry = (*geometry, axis)
        turning = _mast(cloth, sail, pivot)
        quantities.append(turning)
        controls = (*controls, _mast_control(sail.name, turning.value, cloth))
    return SailLoads(sail=sail.name, quantities=tuple(quantities), geometry=geometry, controls=controls)


def _led_to(
    block_x: float, sail: Sail, cloth: _Cloth, leech: statics.LeechLoad, sheeting: _Sheeting
) -> tuple[statics.ClewPull, statics.SheetLoad]:
    """Pull and sheet of a clew whose lead is given: the line of the pull that comes down there."""
    foot_angle, _ = _twist(cloth)
    edge = sail.lower_edge_height
    clew_x = sail.luff_x(edge) - sail.chord_at(edge) * math.cos(foot_angle)
    run = (clew_x - block_x) / math.cos(foot_angle)
    for _ in range(_LEAD_STEPS):
        pull = _clew_pull(sail, cloth, leech, math.atan2(edge - sheeting.block_height, run))
        sheet = _sheet(sail, sheeting, leech, pull, foot_angle)
        missed = float(sheet.block_x[0]) - block_x
        if not abs(missed) > _LEAD_TOLERANCE:
            break
        run += missed / math.cos(foot_angle)
    return pull, sheet


def _clew_pull(sail: Sail, cloth: _Cloth, leech: statics.LeechLoad, rise: float) -> statics.ClewPull:
    """The foot leaves the clew by the slope of its mean line, the leech by the twist."""
    foot_angle, twist = _twist(cloth)
    foot_chord = sail.chord_at(sail.lower_edge_height)
    hinge, nose = sail.hinge_share, math.tan(float(cloth.nose_angle[0, 0]))
    skins = 2.0 * float(cloth.camber[0, 0]) / (1.0 - sail.draft_share)
    turning = twist / (sail.head_height - sail.lower_edge_height)
    return statics.clew_pull(
        luff_moment=leech.luff_moment,
        foot_angle=np.array([foot_angle]),
        foot_chord=foot_chord,
        luff_rake=sail.luff_rake,
        foot_exit=np.array([skins + nose * hinge / (1.0 - hinge)]),
        leech_exit=np.array([foot_chord * turning * math.cos(sail.luff_rake) ** 2]),
        leech_lean=float(cloth.chord_slope[0, 0]) + math.tan(sail.luff_rake),
        rise=np.array([rise]),
    )


def _sheet(
    sail: Sail, sheeting: _Sheeting, leech: statics.LeechLoad, pull: statics.ClewPull, foot_angle: float
) -> statics.SheetLoad:
    shared: dict[str, Any] = {
        "foot_angle": np.array([foot_angle]),
        "foot_chord": sail.chord_at(sail.lower_edge_height),
        "tack_x": sail.luff_x(sail.lower_edge_height),
        "drop": sail.lower_edge_height - sheeting.block_height,
    }
    if sheeting.holds == CLEW:
        return statics.clew_sheet(pull=pull, **shared)
    return statics.boom_sheet(
        luff_moment=leech.luff_moment,
        lift_at_clew=pull.up,
        point=sheeting.point,
        luff_rake=sail.luff_rake,
        block_x=sheeting.block_x,
        track_min=sheeting.track_min,
        track_max=sheeting.track_max,
        **shared,
    )


def _cloth_quantities(cloth: _Cloth, leech: statics.LeechLoad, twist: float) -> Iterator[Quantity]:
    normal = cloth.loads.normal
    total = float(normal.sum())
    yield Quantity("load", "normal_force", total, "N")
    yield Quantity("place", "effort_height", float((normal * cloth.height).sum()) / total, "m")
    arm = float((normal * cloth.loads.centre_share * cloth.chord).sum()) / total
    yield Quantity("place", "effort_behind_luff", arm, "m")
    yield Quantity("load", "moment_about_luff", float(leech.luff_moment[0]), "N m")
    yield Quantity("load", "moment_opening_twist", float(leech.twist_moment[0]), "N m")
    yield Quantity("place", "twist", twist / DEGREE, "deg")


def _pull_quantities(pull: statics.ClewPull, leech: statics.LeechLoad, why: str) -> Iterator[Quantity]:
    yield Quantity("load", "clew_to_leeward", float(pull.across[0]), "N")
    yield _known("load", "leech_tension", pull.up, "N", why)
    alone = float(leech.tension_alone[0])
    yield Quantity("check", "leech_tension_alone", alone, "N", "" if math.isfinite(alone) else NO_TWIST)


def _why_not(sheet: statics.SheetLoad, leech: statics.LeechLoad) -> str:
    """Why a sheet has no tension; empty where it has."""
    if float(leech.luff_moment[0]) <= 0.0:
        return BACKED
    return "" if math.isfinite(float(sheet.tension[0])) else NOT_HELD


def _sheet_quantities(
    sheet: statics.SheetLoad, sheeting: _Sheeting, foot_height: float, why: str
) -> Iterator[Quantity]:
    note = why or _track_note(sheet, sheeting)
    yield _known("load", "sheet_tension", sheet.tension, "N", why)._replace(note=note)
    yield _known("load", "block_to_leeward", sheet.on_block, "N", why)
    if sheeting.holds == BOOM:
        yield _known("load", "left_to_vang", sheet.left_to_vang, "N m", why)
    yield _known("place", "sheet_from_x", sheet.attachment_x, "m", "")
    yield _known("place", "sheet_from_y", sheet.attachment_y, "m", "")
    yield Quantity("place", "sheet_from_height", foot_height, "m")
    yield _known("place", "sheet_to_x", sheet.block_x, "m", why)
    yield _known("place", "sheet_to_y", sheet.block_y, "m", why)
    yield Quantity("place", "sheet_to_height", sheeting.block_height, "m")
    yield _known("place", "sheet_length", sheet.length, "m", why)
    lean = np.degrees(np.arccos((foot_height - sheeting.block_height) / sheet.length))
    yield _known("place", "sheet_from_vertical", lean, "deg", why)


def _known(kind: str, name: str, value: Floats, unit: str, why: str) -> Quantity:
    """A number, or the reason why it is not there."""
    return Quantity(kind, name, math.nan if why else float(value[0]), unit, why)


def _track_note(sheet: statics.SheetLoad, sheeting: _Sheeting) -> str:
    """What is to be said where the block would have to stand beyond its track, or does at its end."""
    block = float(sheet.block_y[0])
    if sheeting.holds == CLEW:
        if sheeting.track_min <= block <= sheeting.track_max:
            return ""
        return f"it would lead to {block:.2f} m from the centreline, beyond its track"
    if sheeting.track_min < block < sheeting.track_max:
        return ""
    end = "leeward" if block >= sheeting.track_max else "windward"
    if float(sheet.left_to_vang[0]) >= 0.0:
        return f"block at the {end} end of its track: a vang holds the rest of the leech"
    return f"block at the {end} end of its track: the sheet pulls down more than the leech asks"


def _rule_of_thumb(sail: Sail, sheeting: _Sheeting, wind_speed: float) -> Quantity:
    """By the trade a sail on a boom counts with luff times foot, and with the leverage of the sheet."""
    if sheeting.holds == CLEW:
        area, leverage, note = sail.area, 1.0, _RULE
    else:
        edge = sail.lower_edge_height
        foot = sail.chord_at(edge)
        area = (sail.head_height - edge) / math.cos(sail.luff_rake) * foot
        leverage, note = foot / sheeting.point, _RULE.replace("area", "luff times foot")
    load = statics.rule_of_thumb_sheet_load(area=area, apparent_wind_speed=wind_speed, leverage=leverage)
    return Quantity("check", "rule_of_thumb", float(load), "N", note)


def _has_camber(cloth: _Cloth) -> bool:
    return bool(np.all(cloth.camber * np.sign(cloth.loads.normal.sum()) >= statics.LEAST_CAMBER))


def _stay(cloth: _Cloth, sheeting: _Sheeting) -> Quantity:
    if not _has_camber(cloth):
        return Quantity("load", "stay_tension", math.nan, "N", NO_CAMBER)
    tension = statics.stay_tension(
        luff=cloth.loads.luff,
        tension=cloth.loads.tension,
        chord_angle=cloth.chord_angle,
        share=cloth.share,
        sag_share=sheeting.stay_sag_share,
    )
    return Quantity("load", "stay_tension", float(tension[0]), "N")


def _pivot(boat: Boat) -> tuple[float, Given]:
    said = boat.rig.mast_pivot_share
    share = _MAST_PIVOT_SHARE if said is None else said
    origin = _origin(said, "a little ahead of the middle, a choice")
    return share, Given("mast_pivot_percent", 100.0 * share, "%", origin)


def _mast(cloth: _Cloth, sail: Sail, pivot_share: float) -> Quantity:
    if not _has_camber(cloth):
        return Quantity("load", "mast_turning_moment", math.nan, "N m", NO_CAMBER)
    moment = statics.mast_moment(
        loads=cloth.loads,
        chord=cloth.chord,
        nose_angle=cloth.nose_angle,
        hinge_share=sail.hinge_share,
        pivot_share=pivot_share,
    )
    return Quantity("load", "mast_turning_moment", float(moment[0]), "N m")


# --- trimming -----------------------------------------------------------------------------------------------


def _turns_about_luff(
    sail: str, leech: statics.LeechLoad, foot_angle: float, twist: float
) -> tuple[Control, ...]:
    """The two ways in which the sheet, with traveller and vang, moves a sail: by virtual work their pulls
    times their movements are the wind's moments times these angles.
    """
    return (
        Control(sail=sail, name=SWING, load=float(leech.luff_moment[0]), position=foot_angle),
        Control(sail=sail, name=TWIST, load=float(leech.twist_moment[0]), position=twist),
    )


def _mast_control(sail: str, moment: float, cloth: _Cloth) -> Control:
    """The mast by its angle from the centreline, its after edge to leeward positive."""
    angle = float(cloth.nose_angle[0, 0] + cloth.chord_angle[0, 0])
    return Control(sail=sail, name=MAST_ROTATION, load=moment, position=angle)


def trimming(
    states: Sequence[RigLoads], *, period_s: float | None = None, power_w: float | None = None
) -> Trimming:
    """What trimming from the first of several states to the last takes, and back; two states or more of one
    boat, in the order in which they are passed.

    Loads times movements by trapezoids between neighbouring states. `power_w` is what crew or pump have; that
    of the boat file, else TRIM_POWER_W, where it is not given. Raises ValueError for fewer than two states.
    """
    if len(states) < 2:
        raise ValueError(f"trimming goes between two states or more; given {len(states)}")
    boat = states[0].point.solved.boat_at(0)
    if power_w is not None:
        power, origin = power_w, "command line"
    elif boat.crew.trim_power is not None:
        power, origin = boat.crew.trim_power, FROM_FILE
    else:
        power, origin = TRIM_POWER_W, "default: one trained person for minutes, common practice, no source"
    work, not_told = [], []
    names = [{(control.sail, control.name) for control in state.controls} for state in states]
    for sail, name in dict.fromkeys(key for state in states for key in _keys(state)):
        if not all((sail, name) in having for having in names):
            not_told.append(f"{sail}, {name}: not in use in all of the states")
            continue
        found = [_control(state, sail, name) for state in states]
        load = np.array([control.load for control in found])
        position = np.array([control.position for control in found])
        if not (np.isfinite(load).all() and np.isfinite(position).all()):
            not_told.append(f"{sail}, {name}: its load is not known in all of the states")
            continue
        out, back = statics.trim_work(load=load, position=position)
        work.append(
            TrimWork(sail=sail, name=name, load=load, position=position, out=float(out), back=float(back))
        )
    not_told += [f"{sail}: {NO_SHAPE}" for sail in _without_shape(states)]
    return Trimming(
        states=tuple(states),
        work=tuple(work),
        not_told=tuple(not_told),
        power_w=power,
        power_origin=origin,
        period_s=period_s,
    )


def _keys(state: RigLoads) -> list[tuple[str, str]]:
    return [(control.sail, control.name) for control in state.controls]


def _control(state: RigLoads, sail: str, name: str) -> Control:
    return next(item for item in state.controls if (item.sail, item.name) == (sail, name))


def _without_shape(states: Sequence[RigLoads]) -> list[str]:
    return list(dict.fromkeys(sail.sail for state in states for sail in state.sails if not sail.controls))


def winds_between(
    first: tuple[float, Any], last: tuple[float, Any], *, points: int
) -> list[tuple[float, Any]]:
    """Winds from the first to the last, evenly spaced: speed [kn] and angle [deg], or the aim of both."""
    shares = [place / (points - 1) for place in range(points)]
    angles = (
        [first[1] + share * (last[1] - first[1]) for share in shares]
        if not isinstance(first[1], str)
        else [first[1]] * points
    )
    return [
        (first[0] + share * (last[0] - first[0]), angle) for share, angle in zip(shares, angles, strict=True)
    ]


def wind_text(loads: RigLoads) -> str:
    """The wind of a state in words."""
    values = loads.point.values
    tws, twa = (round(float(values[name]), 2) for name in ("tws_kn", "twa_deg"))
    aws = float(loads.point.solved.quantities["aws"][0]) / KNOT
    heel = float(loads.point.solved.quantities["heel"][0]) / DEGREE
    return f"TWS {tws:g} kn, TWA {twa:g} deg, AWS {aws:.1f} kn, heel {heel:.1f} deg"
