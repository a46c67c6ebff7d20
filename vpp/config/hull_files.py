"""Resistance, righting arms and sections of a hull from CSV files beside the boat file."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import groupby, islice, pairwise, product
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vpp.config.columns import ColumnFile, read_columns
from vpp.config.errors import Problem
from vpp.physics import hull_tables, righting_curves
from vpp.physics.section_shape import SectionShape

Floats = NDArray[np.float64]

KNOT = 1852.0 / 3600.0


def _between(lowest: float, highest: float) -> dict[str, Any]:
    return {"type": "number", "minimum": lowest, "maximum": highest}


# From a dinghy to a superyacht, with room: no source.
_SPEED = {"speed_kn": _between(0.0, 100.0)}
_DISPLACEMENT = {"displacement_kg": _between(10.0, 1e6)}
_HEEL = {"heel_deg": _between(0.0, 80.0)}
_RESISTANCE = {"resistance_n": _between(0.0, 1e7)}
_RESISTANCE_HEADINGS = (
    {**_SPEED, **_RESISTANCE},
    {**_SPEED, **_DISPLACEMENT, **_RESISTANCE},
    {**_SPEED, **_HEEL, **_RESISTANCE},
    {**_SPEED, **_DISPLACEMENT, **_HEEL, **_RESISTANCE},
)
_RIGHTING_ARMS = {"heel_deg": _between(0.0, 180.0), "righting_arm_m": _between(-10.0, 20.0)}
_SECTIONS = {
    "x_m": _between(-60.0, 60.0),
    "half_breadth_m": _between(0.0, 20.0),
    "height_m": _between(-10.0, 20.0),
}

# A curve through the rows that leaves the span between two of them by more than this share, of resistance
# over speed squared or of the largest righting arm, is of the curve's making and not of the table's.
MOST_SWING = 0.1
LEAST_STATIONS = 3
_LEAST_POINTS = 2
# A table that lacks a whole column of rows need not be told row by row.
_MOST_MISSING = 5
_SMOOTHER = "give more rows about here, or rows that change less abruptly"


class ResistanceFile(ColumnFile):
    """A file of resistances as read. What is in SI units is of use only where the file is in order."""

    @property
    def speed_kn(self) -> tuple[float, ...]:
        """Boat speed of every row."""
        return self.column("speed_kn")

    @property
    def displacement_kg(self) -> tuple[float, ...]:
        """Displacement of every row; empty where the table is for one only."""
        return self.column("displacement_kg")

    @property
    def heel_deg(self) -> tuple[float, ...]:
        """Heel of every row; empty where the table is of the upright hull."""
        return self.column("heel_deg")

    @property
    def resistance_n(self) -> tuple[float, ...]:
        """Resistance of every row."""
        return self.column("resistance_n")

    @property
    def speed(self) -> tuple[float, ...]:
        """The speeds of the table [m/s], rising."""
        return tuple(KNOT * value for value in sorted(set(self.speed_kn)))

    @property
    def displacement(self) -> tuple[float, ...]:
        """The displacements of the table [kg], rising, or none."""
        return tuple(sorted(set(self.displacement_kg)))

    @property
    def heel(self) -> tuple[float, ...]:
        """The heels of the table [rad], rising, or none."""
        return tuple(math.radians(value) for value in sorted(set(self.heel_deg)))

    @property
    def resistance(self) -> tuple[float, ...]:
        """Resistance [N] by speed, in that by displacement, in that by heel, as
        `hull_tables.resistance_table` takes it.
        """
        return tuple(self.resistance_n[place] for _, place in sorted(self.places().items()))

    @property
    def speed_range(self) -> tuple[float, float]:
        """Lowest and highest speed [m/s]."""
        return self.speed[0], self.speed[-1]

    @property
    def heel_range(self) -> tuple[float, float]:
        """Greatest heel [rad] to windward and to leeward, both 0 without heels."""
        greatest = max(self.heel, default=0.0)
        return -greatest, greatest

    @property
    def displacement_range(self) -> tuple[float, float] | None:
        """Lowest and highest displacement [kg]; None where the table is for one only."""
        return (self.displacement[0], self.displacement[-1]) if self.displacement else None

    def points(self) -> list[tuple[float, float, float]]:
        """Speed [kn], displacement [kg] and heel [deg] of every row, 0 for what the file does not have."""
        none = (0.0,) * len(self.lines)
        return list(zip(self.speed_kn, self.displacement_kg or none, self.heel_deg or none, strict=True))

    def places(self) -> dict[tuple[float, float, float], int]:
        """The row of each of the `points`, the first where there are several."""
        places: dict[tuple[float, float, float], int] = {}
        for place, point in enumerate(self.points()):
            places.setdefault(point, place)
        return places


class RightingArmFile(ColumnFile):
    """A file of righting arms as read."""

    @property
    def heel_deg(self) -> tuple[float, ...]:
        """Heels."""
        return self.column("heel_deg")

    @property
    def righting_arm_m(self) -> tuple[float, ...]:
        """Righting arms at those heels."""
        return self.column("righting_arm_m")

    @property
    def heel(self) -> tuple[float, ...]:
        """Heels [rad]."""
        return tuple(math.radians(value) for value in self.heel_deg)

    @property
    def righting_arm(self) -> tuple[float, ...]:
        """Righting arms [m]."""
        return self.righting_arm_m

    @property
    def heel_range(self) -> tuple[float, float]:
        """Greatest heel [rad] to windward and to leeward of a file in order."""
        return -self.heel[-1], self.heel[-1]


class SectionFile(ColumnFile):
    """A file of a hull's sections as read."""

    @property
    def x_m(self) -> tuple[float, ...]:
        """Station of every row."""
        return self.column("x_m")

    @property
    def half_breadth_m(self) -> tuple[float, ...]:
        """Half breadth of every row."""
        return self.column("half_breadth_m")

    @property
    def height_m(self) -> tuple[float, ...]:
        """Height of every row over the drawn water plane."""
        return self.column("height_m")

    @property
    def shape(self) -> SectionShape:
        """The hull of a file in order."""
        stations = self.stations()
        return SectionShape(
            station_x=tuple(self.x_m[rows[0]] for rows in stations),
            outlines=tuple(
                tuple((self.half_breadth_m[row], self.height_m[row]) for row in rows) for rows in stations
            ),
        )

    def stations(self) -> list[list[int]]:
        """The rows of each station, as they stand one below the other."""
        return [list(rows) for _, rows in groupby(range(len(self.lines)), key=self.x_m.__getitem__)]


def read_resistance(folder: Path, name: str) -> ResistanceFile:
    """Read a table of resistance over speed and, with those columns, displacement and heel.

    Rows stand in any order, each combination of speed, displacement and heel once. That none is missing, that
    there are enough, and that a smooth curve through them does not swing is part of being in order.
    """
    file = ResistanceFile(**vars(read_columns(folder, name, *_RESISTANCE_HEADINGS)))
    if file.unreadable or file.problems:
        return file
    problems = [*_impossible_rows(file), *_too_few(file), *_gaps(file)]
    return replace(file, problems=tuple(problems or _swings_of_resistance(file)))


def read_righting_arms(folder: Path, name: str) -> RightingArmFile:
    """Read a table of righting arms; that it begins upright and its heels rise is part of being in order."""
    file = RightingArmFile(**vars(read_columns(folder, name, _RIGHTING_ARMS)))
    if file.unreadable or file.problems:
        return file
    problems = list(_disorder_of_arms(file))
    return replace(file, problems=tuple(problems or _swings_of_arms(file)))


def read_sections(folder: Path, name: str) -> SectionFile:
    """Read a hull's sections: stations from aft to forward, in each the points from the keel to the sheer.

    That the points make a `SectionShape` which floats is part of being in order.
    """
    file = SectionFile(**vars(read_columns(folder, name, _SECTIONS)))
    if file.unreadable or file.problems:
        return file
    return replace(file, problems=(*_disorder_of_stations(file), *_disorder_of_points(file), *_dry(file)))


# --- resistance ---------------------------------------------------------------------------------------------


def _impossible_rows(file: ResistanceFile) -> Iterator[Problem]:
    places = file.places()
    rows = zip(file.points(), file.speed_kn, file.resistance_n, file.lines, strict=True)
    for place, (point, speed, resistance, line) in enumerate(rows):
        given = f"{resistance:g} N"
        if speed == 0.0 and resistance != 0.0:
            yield Problem(
                file=file.name, line=line, key="resistance_n", given=given, wrong="at rest", allowed="0 N"
            )
        if speed > 0.0 and resistance == 0.0:
            wrong = f"at {speed:g} kn a hull has resistance"
            yield Problem(
                file=file.name, line=line, key="resistance_n", given=given, wrong=wrong, allowed="above 0 N"
            )
        if places[point] != place:
            wrong = f"stands in line {file.lines[places[point]]} already: {_where(file, *point)}"
            yield Problem(file=file.name, line=line, wrong=wrong, allowed="each combination once")


def _too_few(file: ResistanceFile) -> Iterator[Problem]:
    def fault(key: str, wrong: str, allowed: str) -> Problem:
        return Problem(file=file.name, line=1, key=key, wrong=wrong, allowed=allowed)

    moving = sum(speed > 0.0 for speed in file.speed)
    if moving < hull_tables.LEAST_SPEEDS:
        wrong = f"the file has {moving} different speeds above 0"
        yield fault("speed_kn", wrong, f"{hull_tables.LEAST_SPEEDS} or more")
    displacements = len(file.displacement)
    if file.displacement_kg and displacements < hull_tables.LEAST_DISPLACEMENTS:
        wrong = f"the file has {displacements} different displacements"
        yield fault("displacement_kg", wrong, f"{hull_tables.LEAST_DISPLACEMENTS} or more, or no such column")
    if file.heel_deg and len(file.heel) < hull_tables.LEAST_HEELS:
        wrong = f"the file has {len(file.heel)} different heels"
        yield fault("heel_deg", wrong, f"{hull_tables.LEAST_HEELS} or more, or no such column")
    if file.heel and file.heel[0] > 0.0:
        yield fault("heel_deg", f"the heels begin at {min(file.heel_deg):g} deg", "from 0 deg")


def _gaps(file: ResistanceFile) -> Iterator[Problem]:
    """The combinations of the file's values that have no row."""
    if not file.lines:
        return
    axes = [sorted(set(values)) for values in zip(*file.points(), strict=True)]
    places = file.places()
    missing = math.prod(len(values) for values in axes) - len(places)
    for point in islice((each for each in product(*axes) if each not in places), _MOST_MISSING):
        wrong = f"there is no row for {_where(file, *point)}"
        yield Problem(file=file.name, line=1, wrong=wrong, allowed="each combination once")
    if missing > _MOST_MISSING:
        wrong = f"{missing - _MOST_MISSING} more combinations have no row"
        yield Problem(file=file.name, line=1, wrong=wrong, allowed="each combination once")


def _swings_of_resistance(file: ResistanceFile) -> Iterator[Problem]:
    """Where the smooth curves that the solver takes leave two neighbouring rows."""
    axes = [sorted(set(values)) for values in zip(*file.points(), strict=True)]
    places = file.places()
    for axis, shares in enumerate(_swings_by_axis(file)):
        for index in np.argwhere(shares > MOST_SWING):
            before = [values[i] for values, i in zip(axes, index, strict=True)]
            after = list(before)
            after[axis] = axes[axis][index[axis] + 1]
            share = f"{100.0 * shares[tuple(index)]:.0f} % of resistance over speed squared"
            yield Problem(
                file=file.name,
                line=file.lines[places[after[0], after[1], after[2]]],
                key="resistance_n",
                wrong=f"between {_where(file, *before)} and {_where(file, *after)} the smooth curve through "
                f"all rows leaves these two by {share}",
                allowed=f"up to {100.0 * MOST_SWING:.0f} %",
                hint=_SMOOTHER,
            )


def _swings_by_axis(file: ResistanceFile) -> tuple[Floats, Floats, Floats]:
    """Shares by which the curves leave two rows that differ in speed, in displacement, in heel; each over
    (speeds, displacements, heels), one fewer along its own axis.
    """
    tables = [
        hull_tables.resistance_table(
            speed=file.speed,
            displacement=file.displacement,
            heel=file.heel,
            resistance=file.resistance,
            boat_displacement=mass,
        )
        for mass in file.displacement or (0.0,)
    ]
    with_speed = np.stack([hull_tables.swing_with_speed(table=table) for table in tables], axis=1)
    with_heel = np.stack([hull_tables.swing_with_heel(table=table) for table in tables], axis=1)
    grid = np.reshape(file.resistance, (len(file.speed), len(tables), -1))
    with_displacement = np.zeros((grid.shape[0], len(tables) - 1, grid.shape[2]))
    if file.displacement:
        moving = np.array(file.speed) > 0.0
        found = hull_tables.swing_with_displacement(
            displacement=file.displacement, resistance=grid[moving].transpose(1, 0, 2)
        )
        with_displacement[moving] = found.transpose(1, 0, 2)
    return with_speed, with_displacement, with_heel


def _where(file: ResistanceFile, speed: float, displacement: float, heel: float) -> str:
    """A row in words, as far as the file has the columns."""
    parts = [f"{speed:g} kn"]
    parts += [f"{displacement:g} kg"] if file.displacement_kg else []
    parts += [f"{heel:g} deg"] if file.heel_deg else []
    return ", ".join(parts)


# --- righting arms ------------------------------------------------------------------------------------------


def _disorder_of_arms(file: RightingArmFile) -> Iterator[Problem]:
    if file.lines and (file.heel_deg[0], file.righting_arm_m[0]) != (0.0, 0.0):
        given = f"{file.heel_deg[0]:g} deg, {file.righting_arm_m[0]:g} m"
        yield Problem(
            file=file.name,
            line=file.lines[0],
            given=given,
            wrong="the first row is not the upright boat without an arm",
            allowed="0,0",
        )
    for (before, heel), line in zip(pairwise(file.heel_deg), file.lines[1:], strict=True):
        if heel <= before:
            yield Problem(
                file=file.name,
                line=line,
                key="heel_deg",
                given=f"{heel:g} deg",
                wrong="the heels do not rise",
                allowed=f"above {before:g} deg",
            )
    if len(file.lines) < righting_curves.LEAST_ROWS:
        wrong = f"the file has {len(file.lines)} rows of numbers"
        yield Problem(file=file.name, line=1, wrong=wrong, allowed=f"{righting_curves.LEAST_ROWS} or more")


def _swings_of_arms(file: RightingArmFile) -> Iterator[Problem]:
    curve = righting_curves.gz_curve(heel=file.heel, righting_arm=file.righting_arm, mass_centre_z=0.0)
    swings = righting_curves.swing(curve=curve)
    most = MOST_SWING * max(abs(arm) for arm in file.righting_arm)
    for place in np.flatnonzero(swings > most):
        low, high = file.heel_deg[place : place + 2]
        yield Problem(
            file=file.name,
            line=file.lines[place + 1],
            key="righting_arm_m",
            wrong=f"between {low:g} and {high:g} deg the smooth curve through all rows leaves these two by "
            f"{swings[place]:.3f} m",
            allowed=f"up to {most:.3f} m",
            hint=_SMOOTHER,
        )


# --- sections -----------------------------------------------------------------------------------------------


def _disorder_of_stations(file: SectionFile) -> Iterator[Problem]:
    stations = file.stations()
    for before, rows in pairwise(stations):
        x, last = file.x_m[rows[0]], file.x_m[before[0]]
        if x < last:
            yield Problem(
                file=file.name,
                line=file.lines[rows[0]],
                key="x_m",
                given=f"{x:g} m",
                wrong="the stations do not rise",
                allowed=f"above {last:g} m",
                hint="they stand from aft to forward, each with its rows together",
            )
    if len(stations) < LEAST_STATIONS:
        wrong = f"the file has {len(stations)} stations"
        yield Problem(file=file.name, line=1, wrong=wrong, allowed=f"{LEAST_STATIONS} or more")


def _disorder_of_points(file: SectionFile) -> Iterator[Problem]:
    for rows in file.stations():
        x = file.x_m[rows[0]]
        if len(rows) < _LEAST_POINTS:
            wrong = f"the station at {x:g} m has one point"
            yield Problem(file=file.name, line=file.lines[rows[0]], wrong=wrong, allowed="2 or more")
        for before, row in pairwise(rows):
            yield from _falls(file, before, row)
        top = file.height_m[rows[-1]]
        if top <= 0.0:
            yield Problem(
                file=file.name,
                line=file.lines[rows[-1]],
                key="height_m",
                given=f"{top:g} m",
                wrong=f"the station at {x:g} m ends below the drawn water plane",
                allowed="above 0 m",
                hint="its last point is the sheer",
            )


def _falls(file: SectionFile, before: int, row: int) -> Iterator[Problem]:
    """What is wrong with a point after the one before it in its section."""
    columns = {"half_breadth_m": file.half_breadth_m, "height_m": file.height_m}
    for key, values in columns.items():
        if values[row] < values[before]:
            yield Problem(
                file=file.name,
                line=file.lines[row],
                key=key,
                given=f"{values[row]:g} m",
                wrong=f"falls from point to point at x_m = {file.x_m[row]:g}",
                allowed=f"from {values[before]:g} m",
                hint="points stand from the keel to the sheer; sides that fall in are not modelled",
            )
    if all(values[row] == values[before] for values in columns.values()):
        yield Problem(file=file.name, line=file.lines[row], wrong="is the same point as the one before")


def _dry(file: SectionFile) -> Iterator[Problem]:
    """A hull without a breadth below the drawn water plane floats nowhere."""
    wet = any(
        file.height_m[before] < 0.0 and file.half_breadth_m[row] > 0.0
        for rows in file.stations()
        for before, row in pairwise(rows)
    )
    if not wet:
        wrong = "no station has a breadth below the drawn water plane"
        hint = "heights count up from that plane; what lies below it is negative"
        yield Problem(file=file.name, line=1, key="height_m", wrong=wrong, hint=hint)
