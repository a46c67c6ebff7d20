"""What a sailor sees of a solved boat's rig: every sail as it stands, what it meets and what it does."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from vpp.boat import Boat, Rig, Sail, TableSail
from vpp.polar import Point
from vpp.results.frames import Floats
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import Strips

STATION_COLUMNS = (
    "option", "sail", "height_m", "width_m", "luff_x_m", "leech_x_m", "chord_m", "chord_angle_deg",
    "camber_percent", "nose_angle_deg", "incidence_deg", "lift_coefficient", "side_force_n_per_m",
    "drive_n_per_m", "wind_speed_kn", "wind_angle_deg", "flow_angle_deg",
)  # fmt: skip
# Points of an outline between two corners of the chord line, where a cut makes it curve.
_POINTS_BETWEEN_CORNERS = 9
# A sail whose tack is no farther from the mast [m] stands on it.
_ON_MAST = 0.5


@dataclass(frozen=True, kw_only=True)
class Place:
    """A point of the centre plane [m]: x forward of the reference point, height along the mast from the drawn
    water line.
    """

    x: float
    height: float


@dataclass(frozen=True, kw_only=True)
class SailView:
    """One sail from foot to head, arrays (stations,) in SI units and radians.

    `outline_*` (points,) are luff and leech at heights close enough for a smooth edge. Angles are from the
    centreline and positive to leeward: `chord_angle` of the chord, `wind_angle` of the apparent wind at that
    height, `flow_angle` of that wind with what all sails induce at three quarters of the chord. `nose_angle`
    is that of a turning mast from the chord, up to `hinge_share` of it, 0 where the sail has none;
    `draft_share` is where along the chord the camber is deepest. Loads [N/m] are per height along the mast:
    `side_load` to leeward, normal to mast and centreline, and `drive_load` forward along the centreline.
    """

    name: str
    outline_height: Floats
    outline_luff_x: Floats
    outline_leech_x: Floats
    deck_height: float
    area: float
    area_centre: Place
    hinge_share: float
    draft_share: float
    height: Floats
    width: Floats
    luff_x: Floats
    leech_x: Floats
    force_x: Floats
    chord_angle: Floats
    camber: Floats
    nose_angle: Floats
    incidence: Floats
    lift_coefficient: Floats
    side_load: Floats
    drive_load: Floats
    wind_speed: Floats
    wind_angle: Floats
    flow_angle: Floats

    @property
    def chord(self) -> Floats:
        """Chord at the stations [m]."""
        return self.luff_x - self.leech_x

    @property
    def side_force(self) -> float:
        """Force to leeward, normal to mast and centreline [N]."""
        return float(np.sum(self.side_load * self.width))

    @property
    def drive(self) -> float:
        """Force forward along the centreline [N]."""
        return float(np.sum(self.drive_load * self.width))

    def at(self, height: float) -> dict[str, float]:
        """Every number of the stations at a height, linear between them and as at the last one beyond."""
        return {
            name: float(np.interp(height, self.height, values))
            for name, values in vars(self).items()
            if isinstance(values, np.ndarray) and len(values) == len(self.height)
        }

    def reaches(self, height: float) -> bool:
        """Whether there is sail at a height."""
        return bool(self.outline_height[0] <= height <= self.outline_height[-1])


@dataclass(frozen=True, kw_only=True)
class TableSailView:
    """A sail known by its coefficients alone: no shape, its area [m^2] and its forces [N] at one centre."""

    name: str
    area: float
    centre: Place
    side_force: float
    drive: float
    wind_speed: float
    wind_angle: float

    @property
    def area_centre(self) -> Place:
        """Where its area counts: at the centre of effort."""
        return self.centre

    @property
    def frame_height(self) -> float:
        """Height [m] of the upright frame that stands for its area, twice as high as wide."""
        return math.sqrt(2.0 * self.area)


@dataclass(frozen=True, kw_only=True)
class RigView:
    """The rig of one boat in one wind, SI units and radians; heights as in `Place`.

    `sail_set` names the sails that are up where the boat has sets. The deck is the rig's; sails may have one
    of their own. `ride_height` is that of the boat's water line over the water.
    """

    option: str
    sail_set: str
    sails: tuple[SailView, ...]
    tables: tuple[TableSailView, ...]
    mast_base: Place
    mast_top: Place
    deck_height: float
    ride_height: float
    heel: float
    pitch: float

    @property
    def every_sail(self) -> tuple[SailView | TableSailView, ...]:
        """Sails of a shape and those from tables."""
        return (*self.sails, *self.tables)

    @property
    def area(self) -> float:
        """Area of all sails [m^2]."""
        return sum(sail.area for sail in self.every_sail)

    @property
    def area_centre(self) -> Place:
        """Centre of the area of all sails; that of a table is taken at its centre of effort."""
        return Place(
            x=sum(sail.area * sail.area_centre.x for sail in self.every_sail) / self.area,
            height=sum(sail.area * sail.area_centre.height for sail in self.every_sail) / self.area,
        )

    @property
    def side_force(self) -> float:
        """Force of all sails to leeward, normal to mast and centreline [N]."""
        return sum(sail.side_force for sail in self.every_sail)

    @property
    def drive(self) -> float:
        """Force of all sails forward along the centreline [N]."""
        return sum(sail.drive for sail in self.every_sail)

    @property
    def effort(self) -> Place:
        """Centre of effort: where the side force of all sails acts. Not a number without side force."""
        parts = [(sail.side_load * sail.width, sail.force_x, sail.height) for sail in self.sails]
        parts += [
            (np.array([sail.side_force]), np.array([sail.centre.x]), np.array([sail.centre.height]))
            for sail in self.tables
        ]
        force, x, height = (np.concatenate(part) for part in zip(*parts, strict=True))
        total = float(force.sum())
        if total == 0.0:
            return Place(x=math.nan, height=math.nan)
        return Place(x=float(force @ x) / total, height=float(force @ height) / total)

    @property
    def has_effort(self) -> bool:
        """Whether the centre of effort lies between the sails' lowest edge and highest head: it runs away
        where the side forces of several heights cancel.
        """
        ends = [float(sail.outline_height[end]) for sail in self.sails for end in (0, -1)]
        ends += [sail.centre.height for sail in self.tables]
        # one sail's own centre may differ from the sum's by rounding
        return min(ends) - 1e-9 <= self.effort.height <= max(ends) + 1e-9

    def water_height(self, x: Floats) -> Floats:
        """Height of the water in the centre plane at places along the boat, negative below the boat's water
        line.
        """
        return -(self.ride_height + x * math.sin(self.pitch)) / (math.cos(self.pitch) * math.cos(self.heel))

    def to_frame(self) -> pd.DataFrame:
        """The stations of every sail with a shape as a table, units in the names of the columns."""
        parts = [_frame(self.option, sail) for sail in self.sails]
        return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=STATION_COLUMNS)


def rig_view(point: Point) -> RigView:
    """The rig of a solved point."""
    solved = point.solved
    boat = solved.boat_at(0)
    quantities = {name: float(solved.quantities[name][0]) for name in ("ride_height", "heel", "pitch")}
    free = {name: value if math.isfinite(value) else 0.0 for name, value in quantities.items()}
    lean = math.tan(_mast_rake(boat))
    rig = boat.rig
    return RigView(
        option=boat.name,
        sail_set=str(solved.sail_set[0]),
        sails=tuple(_sail_view(sail, rig, solved.strips) for sail in boat.sails),
        tables=tuple(_table_view(sail, solved.strips) for sail in boat.table_sails),
        mast_base=Place(x=rig.mast_x, height=rig.mast_base_height),
        mast_top=Place(
            x=rig.mast_x - lean * (rig.mast_top_height - rig.mast_base_height), height=rig.mast_top_height
        ),
        deck_height=rig.deck_height,
        **free,
    )


def _mast_rake(boat: Boat) -> float:
    """The boat gives its mast no rake: it is drawn to lean with the sail that stands on it."""
    on_mast = [sail for sail in boat.sails if abs(sail.tack_x - boat.rig.mast_x) <= _ON_MAST]
    nearest = min(on_mast, key=lambda sail: abs(sail.tack_x - boat.rig.mast_x), default=None)
    return 0.0 if nearest is None else nearest.luff_rake


def _columns(strips: Strips, sail: str) -> dict[str, Floats]:
    """A sail's strips in the one condition."""
    own = np.flatnonzero(np.array(strips.sail) == sail)
    at = own[np.isfinite(strips.height[own, 0])]
    return {name: values[at, 0] for name, values in vars(strips).items() if name != "sail"}


def _table_view(sail: TableSail, strips: Strips) -> TableSailView:
    column = _columns(strips, sail.name)
    return TableSailView(
        name=sail.name,
        area=sail.area,
        centre=Place(x=sail.centre_x, height=sail.centre_height),
        side_force=float(column["leeward"].sum()),
        drive=float(column["forward"].sum()),
        wind_speed=float(column["wind_speed"][0]),
        wind_angle=float(column["wind_angle"][0]),
    )


def _sail_view(sail: Sail, rig: Rig, strips: Strips) -> SailView:
    column = _columns(strips, sail.name)
    height, width = column["height"], column["width"]
    luff_x = np.array([sail.luff_x(h) for h in height])
    outline = _outline(sail)
    return SailView(
        name=sail.name,
        outline_height=outline[0],
        outline_luff_x=outline[1],
        outline_leech_x=outline[2],
        deck_height=rig.deck_height if sail.deck_height is None else sail.deck_height,
        area=sail.area,
        area_centre=Place(x=_area_centre_x(*outline), height=sail.area_centre_height),
        hinge_share=sail.hinge_share,
        draft_share=sail.draft_share,
        height=height,
        width=width,
        luff_x=luff_x,
        leech_x=luff_x - np.array([sail.chord_at(h) for h in height]),
        force_x=column["x"],
        chord_angle=column["chord_angle"],
        camber=column["camber"],
        nose_angle=column["nose_angle"] if sail.hinge_share > 0.0 else np.zeros_like(height),
        incidence=column["incidence"],
        lift_coefficient=column["lift_coefficient"],
        side_load=column["leeward"] / width,
        drive_load=column["forward"] / width,
        wind_speed=column["wind_speed"],
        wind_angle=column["wind_angle"],
        flow_angle=column["flow_angle"],
    )


def _outline(sail: Sail) -> tuple[Floats, Floats, Floats]:
    """Heights, luff and leech from the lower edge to the head."""
    heights = np.concatenate(
        [
            # just inside the interval, because the chord may jump where the extension begins
            np.linspace(low + 1e-9, high - 1e-9, _POINTS_BETWEEN_CORNERS)
            for low, high in pairwise(sail.corners)
        ]
    )
    luff = np.array([sail.luff_x(h) for h in heights])
    return heights, luff, luff - np.array([sail.chord_at(h) for h in heights])


def _area_centre_x(height: Floats, luff_x: Floats, leech_x: Floats) -> float:
    chord = luff_x - leech_x
    moment = np.trapezoid(chord * 0.5 * (luff_x + leech_x), height)
    return float(moment / np.trapezoid(chord, height))


def _frame(option: str, sail: SailView) -> pd.DataFrame:
    columns: dict[str, Floats] = {
        "height_m": sail.height.round(3),
        "width_m": sail.width.round(3),
        "luff_x_m": sail.luff_x.round(3),
        "leech_x_m": sail.leech_x.round(3),
        "chord_m": sail.chord.round(3),
        "chord_angle_deg": (sail.chord_angle / DEGREE).round(3),
        "camber_percent": (100.0 * sail.camber).round(3),
        "nose_angle_deg": (sail.nose_angle / DEGREE).round(3),
        "incidence_deg": (sail.incidence / DEGREE).round(3),
        "lift_coefficient": sail.lift_coefficient.round(4),
        "side_force_n_per_m": sail.side_load.round(2),
        "drive_n_per_m": sail.drive_load.round(2),
        "wind_speed_kn": (sail.wind_speed / KNOT).round(3),
        "wind_angle_deg": (sail.wind_angle / DEGREE).round(3),
        "flow_angle_deg": (sail.flow_angle / DEGREE).round(3),
    }
    return pd.DataFrame({"option": option, "sail": sail.name, **columns})[list(STATION_COLUMNS)]
