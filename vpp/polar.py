"""The polar: wind grids, the fastest equilibrium at each of their conditions, and single points."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp.boat import Boat
from vpp.reporting import FILLED_NO_MORE
from vpp.results.files import Source, calibration_text, sea_text
from vpp.results.frames import (
    EXTENDED_MARK,
    HULL_MARK,
    Floats,
    branches_frame,
    budget_frame,
    is_converged,
    is_extended,
    numbers,
    remark_counts,
    sail_sets_frame,
    status_counts,
    stopped_text,
    to_frame,
)
from vpp.results.variables import DEGREE, KNOT, variable
from vpp.solved import BRANCHES, DOWNWIND, HULL_BORNE, SPEED, UPWIND, Conditions, NoEquilibrium, Solved
from vpp.targets_between import Targets, each_way, targets_from
from vpp.trim import branches_of
from vpp.wardrobe import made_good, places_under, solve

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from vpp.config import BoatFile

Progress = Callable[[int, int], None]

DEFAULT_TWS = "6:24:2"
DEFAULT_TWA = "30:170:5"
BEST_VMG = (UPWIND, DOWNWIND)
REACH_RANGE_DEG = (70.0, 130.0)
_REACH_DEG = 90.0

TWS_LIMIT_KN = 40.0
_STEPS_LIMIT = 1000


class WindGridError(ValueError):
    """A wind grid that cannot be used; `problems` lists all that is wrong with it."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


class NoSuchBranch(ValueError):
    """A way of carrying the boat that does not exist, or that the boat does not have."""


class NoSuchSailSet(ValueError):
    """A sail set that the boat does not have."""


@dataclass(frozen=True, kw_only=True)
class WindGrid:
    """The true wind speeds (kn) and angles (deg) of a polar. Best VMG up and down is added at every wind
    speed.

    Raises WindGridError unless there is at least one wind speed above 0 and at most 40 kn and one angle from
    0 to 180 deg, each list rising.
    """

    tws_kn: tuple[float, ...]
    twa_deg: tuple[float, ...]

    def __post_init__(self) -> None:
        problems = [
            *_list_problems("tws", self.tws_kn, "kn", 0.0, TWS_LIMIT_KN, lower_included=False),
            *_list_problems("twa", self.twa_deg, "deg", 0.0, 180.0, lower_included=True),
        ]
        if problems:
            raise WindGridError(problems)

    @property
    def reach_deg(self) -> float | None:
        """The angle that stands for a reach: that from 70 to 130 deg that is nearest to 90 deg, of two the
        smaller; None when there is none.
        """
        lowest, highest = REACH_RANGE_DEG
        inside = [angle for angle in self.twa_deg if lowest <= angle <= highest]
        return min(inside, key=lambda angle: abs(angle - _REACH_DEG)) if inside else None

    @classmethod
    def parse(cls, *, tws: str = DEFAULT_TWS, twa: str = DEFAULT_TWA) -> WindGrid:
        """A grid from two texts `start:stop:step`, or a single number each. Raises WindGridError with every
        problem.
        """
        problems: list[str] = []
        steps: dict[str, tuple[float, ...]] = {"tws": (10.0,), "twa": (90.0,)}
        for name, text in (("tws", tws), ("twa", twa)):
            try:
                steps[name] = parse_steps(text, name=name)
            except WindGridError as error:
                problems += error.problems
        try:
            grid = cls(tws_kn=steps["tws"], twa_deg=steps["twa"])
        except WindGridError as error:
            problems += error.problems
        if problems:
            raise WindGridError(problems)
        return grid


def parse_steps(text: str, *, name: str) -> tuple[float, ...]:
    """Even steps from `start:stop:step`, both ends included, or a single number.

    Raises WindGridError when the text is not that, the step is not above zero, the stop lies below the start,
    or the steps do not land on the stop.
    """
    try:
        parts = [float(part) for part in text.split(":")]
    except ValueError:
        parts = []
    if len(parts) not in (1, 3) or not all(math.isfinite(part) for part in parts):
        raise WindGridError(
            [f"{name} = {text!r}: not a wind grid; write start:stop:step, such as 6:24:2, or one number"]
        )
    if len(parts) == 1:
        return (parts[0],)
    start, stop, step = parts
    if step <= 0.0:
        raise WindGridError([f"{name} = {text!r}: the step is {step:g}; it must be above 0"])
    if stop < start:
        raise WindGridError(
            [f"{name} = {text!r}: empty, because the stop {stop:g} lies below the start {start:g}"]
        )
    gaps = round((stop - start) / step)
    if gaps >= _STEPS_LIMIT:
        raise WindGridError([f"{name} = {text!r}: {gaps + 1} steps; at most {_STEPS_LIMIT} are allowed"])
    if abs(start + gaps * step - stop) > 1e-9 * max(1.0, abs(stop)):
        below = start + math.floor((stop - start) / step) * step
        raise WindGridError(
            [
                f"{name} = {text!r}: steps of {step:g} from {start:g} do not land on {stop:g}; "
                f"stop at {below:g} or {below + step:g}"
            ]
        )
    return tuple(round(start + index * step, 9) for index in range(gaps + 1))


@dataclass(frozen=True, kw_only=True)
class Polar:
    """Boats by name on a wind grid: the fastest equilibrium at each condition, and the best VMG up and down
    at each wind speed.

    The conditions of `solved` run over option, then wind speed, then the grid's angles followed by best VMG
    upwind and downwind. Of boats that can be carried in more ways than one it holds the better; `branches`
    has each.
    """

    source: Source
    grid: WindGrid
    options: tuple[str, ...]
    solved: Solved

    def __repr__(self) -> str:
        count = len(self.solved.status)
        return (
            f"Polar({self.source.file}: {', '.join(self.options)}; "
            f"{count} conditions, {int(np.sum(self.converged))} converged)"
        )

    def _repr_html_(self) -> str:
        """What a notebook shows: the figure of the first option and a table of its best VMGs."""
        from vpp.notebook import polar_html  # noqa: PLC0415  (figures only where they are looked at)

        return polar_html(self)

    def _repr_png_(self) -> bytes:
        """What a console that draws shows: the figure of the first option."""
        from vpp.notebook import png  # noqa: PLC0415  (figures only where they are looked at)

        return png(self.plot())

    def plot(self, option: str | None = None) -> Figure:
        """The polar of one option, of the first unless another is named. Raises KeyError for one that is not
        there.
        """
        from vpp.notebook import figure_of  # noqa: PLC0415  (figures only where they are looked at)

        return figure_of(self, option)

    @property
    def converged(self) -> NDArray[np.bool_]:
        """Which conditions have a result that may be used, flat."""
        return is_converged(self.solved)

    @property
    def branches(self) -> dict[str, Polar]:
        """Each branch as a polar of its own, over the options whose boats have it; empty where no boat can be
        carried in more ways than one.
        """
        return {branch: self._of_branch(found) for branch, found in self.solved.branches.items()}

    @property
    def branch(self) -> NDArray[np.str_]:
        """How the boat is carried, on (option, tws, `row_aims`); empty where there is no result."""
        return np.where(self.converged, self.solved.branch, "").reshape(self._shape)

    @property
    def hull_borne(self) -> NDArray[np.bool_]:
        """Which results are hull-borne though the boat can also fly, on (option, tws, `row_aims`)."""
        flying = {
            name for branch, found in self.branches.items() if branch != HULL_BORNE for name in found.options
        }
        can_fly = np.array([name in flying for name in self.options])
        hull_borne: NDArray[np.bool_] = (self.branch == HULL_BORNE) & can_fly[:, np.newaxis, np.newaxis]
        return hull_borne

    @property
    def hull_borne_note(self) -> str:
        """How many results are hull-borne though the boat can also fly; empty when none is."""
        count = int(np.sum(self.hull_borne))
        return (
            f"{HULL_MARK} hull-borne, all others foil-borne: {count} of {self.hull_borne.size} conditions"
            * bool(count)
        )

    def marks(self) -> NDArray[np.str_]:
        """What follows a printed number, on (option, tws, `row_aims`): a mark for extended hull resistance
        and one for hull-borne results of boats that can also fly.
        """
        return np.char.add(
            np.where(self.extended, EXTENDED_MARK, ""), np.where(self.hull_borne, HULL_MARK, "")
        )

    @property
    def status_counts(self) -> dict[str, int]:
        """How many conditions ended in each status."""
        return status_counts(self.solved)

    @property
    def remark_counts(self) -> dict[str, int]:
        """How many conditions carry each remark."""
        return remark_counts(self.solved)

    @property
    def extended(self) -> NDArray[np.bool_]:
        """Which results rest on hull resistance extended past its data, on (option, tws, `row_aims`)."""
        return is_extended(self.solved).reshape(self._shape)

    @property
    def extended_note(self) -> str:
        """How many conditions rest on hull resistance extended past its data; empty when none does."""
        count = int(np.sum(self.extended))
        if not count:
            return ""
        return (
            f"{EXTENDED_MARK} hull resistance extended past the data: "
            f"{count} of {self.extended.size} conditions"
        )

    @property
    def unfilled_note(self) -> str:
        """In how many conditions a sail is eased until nothing fills it; empty when in none."""
        told = [FILLED_NO_MORE in str(remark) for remark in self.solved.remark]
        if not any(told):
            return ""
        return (
            f"In {sum(told)} of {len(told)} conditions a sail {FILLED_NO_MORE} (see the remarks): gains "
            "there are between ways of sailing."
        )

    def remarks(self) -> NDArray[np.object_]:
        """Remarks on (option, tws, `row_aims`), empty where there is none."""
        return np.asarray(self.solved.remark, dtype=object).reshape(self._shape)

    def at_angles(self, column: str) -> Floats:
        """A numeric column on (option, tws, twa) for the aim `speed`, NaN where not converged."""
        return self.rows(column)[:, :, : len(self.grid.twa_deg)]

    def at_best_vmg(self, column: str, *, aim: str) -> Floats:
        """A numeric column on (option, tws) for the aim `upwind` or `downwind`, in its unit, NaN where not
        converged.
        """
        return self.rows(column)[:, :, len(self.grid.twa_deg) + BEST_VMG.index(aim)]

    def speed(self, option: str = "base", *, tws_kn: float, twa_deg: float | str) -> float:
        """Boat speed in kn at a wind and an angle; `twa_deg` may be `upwind` or `downwind`. Between points of
        the grid it is interpolated, as `targets` says with its error; NaN at a point of the grid that has not
        converged.

        Raises KeyError for an option that the polar does not hold and InterpolationError, which is a
        ValueError, with the reason where there is no speed between solved points or the wind lies beyond
        them.
        """
        if option not in self.options:
            raise KeyError(f"no option {option!r} in this polar; it holds {', '.join(self.options)}")
        at_option, at_wind = self.options.index(option), _position(self.grid.tws_kn, tws_kn)
        row = (
            self.row_aims.index(check_aim(twa_deg))
            if isinstance(twa_deg, str)
            else _position(self.grid.twa_deg, twa_deg)
        )
        if at_wind is not None and row is not None:
            return float(self.rows("boat_speed_kn")[at_option, at_wind, row])
        return self.targets().boat_speed_kn(option, tws_kn=tws_kn, twa_deg=twa_deg)

    def targets(self) -> Targets:
        """Best VMG up and down by wind, what being off it costs, and speeds between the solved points."""
        return self._targets

    @cached_property
    def _targets(self) -> Targets:
        return targets_from(self.to_frame(), source=self.source, each=each_way(self.solved))

    @property
    def row_aims(self) -> tuple[str, ...]:
        """The aims along the last axis of `rows`: `speed` at each angle of the grid, then `upwind` and
        `downwind`.
        """
        return (SPEED,) * len(self.grid.twa_deg) + BEST_VMG

    def rows(self, column: str) -> Floats:
        """A numeric column on (option, tws, `row_aims`), in its unit, NaN where not converged; wind asked for
        is always there.
        """
        values = numbers(self.solved, column)
        if column not in ("tws_kn", "twa_deg"):
            values = np.where(self.converged, values, np.nan)
        return values.reshape(self._shape)

    def statuses(self) -> NDArray[np.int_]:
        """Status codes on (option, tws, `row_aims`)."""
        return np.asarray(self.solved.status).reshape(self._shape)

    @property
    def sail_set(self) -> NDArray[np.object_]:
        """The best sail set, on (option, tws, `row_aims`); empty without a result or without sets."""
        return np.where(self.converged, self.solved.sail_set, "").reshape(self._shape)

    def under(self, sail_set: str) -> Floats:
        """What a sail set makes good in kn, on (option, tws, `row_aims`): boat speed, or speed made good
        where the aim is a best VMG. NaN where it has no result and for options without that set. Raises
        KeyError for a set that no option has.
        """
        found = self.solved.sail_sets[sail_set]
        speed = np.full(len(self.solved.status), np.nan)
        speed[places_under(self.solved, sail_set)] = made_good(found) / KNOT
        return speed.reshape(self._shape)

    def sail_sets_frame(self) -> pd.DataFrame:
        """What every sail set does at every condition; without rows where no boat has sets."""
        return sail_sets_frame(self.solved)

    def to_frame(self) -> pd.DataFrame:
        """The tidy table, failed conditions included."""
        return to_frame(self.solved)

    def branches_frame(self) -> pd.DataFrame:
        """The tidy table of every branch, one after the other; without rows where there is only one."""
        return branches_frame(self.solved)

    def budget_frame(self) -> pd.DataFrame:
        """Every force and moment by condition and component."""
        return budget_frame(self.solved)

    def _of_branch(self, found: Solved) -> Polar:
        having = np.unique(found.conditions.option)
        conditions = replace(found.conditions, option=np.searchsorted(having, found.conditions.option))
        return replace(
            self,
            options=tuple(self.options[i] for i in having),
            solved=replace(found, boats=tuple(found.boats[i] for i in having), conditions=conditions),
        )

    @property
    def _shape(self) -> tuple[int, int, int]:
        return len(self.options), len(self.grid.tws_kn), len(self.row_aims)


@dataclass(frozen=True, kw_only=True)
class Point:
    """One boat at one condition. `values` is its row of the table of conditions, `budget` its forces and
    moments by component. `solved` also holds the other ways in which the boat can be carried.
    """

    source: Source
    solved: Solved

    def __repr__(self) -> str:
        values = self.values
        aim = "" if values["aim"] == SPEED else f" (best VMG {values['aim']})"
        return (
            f"Point({self.source.file}: {values['option']}; TWS {float(values['tws_kn']):g} kn, "
            f"TWA {float(values['twa_deg']):.4g} deg{aim}; {values['status']})"
        )

    @property
    def frame(self) -> pd.DataFrame:
        """The table of conditions with this one row."""
        return to_frame(self.solved)

    @property
    def values(self) -> dict[str, float | str]:
        """Every column of the row by name."""
        return {str(name): value for name, value in self.frame.iloc[0].items()}

    @property
    def budget(self) -> pd.DataFrame:
        """Forces in N and moments in N m by component, long."""
        return budget_frame(self.solved)

    def others(self) -> tuple[str, ...]:
        """A sentence on each branch and sail set that is not reported: its speed, or why it has none."""
        branch, sail_set = str(self.solved.branch[0]), str(self.solved.sail_set[0])
        branches = {name: found for name, found in self.solved.branches.items() if name != branch}
        sets = {f"under {name}": found for name, found in self.solved.sail_sets.items() if name != sail_set}
        return _say_others({**branches, **sets})


def polar(
    boat_file: BoatFile,
    *,
    tws_kn: Sequence[float] | None = None,
    twa_deg: Sequence[float] | None = None,
    options: Sequence[str] = (),
    processes: int = 1,
    progress: Progress | None = None,
) -> Polar:
    """The polar of the base boat and of the named options; of all options when none is named.

    Raises WindGridError for a grid that cannot be used and BoatFileError for an option that the file does not
    hold. Conditions that fail stay in the result with their reason. Within `vpp.keep_on_interrupt()` Ctrl-C
    returns the polar with what is done, and `source.stopped` says so.
    """
    grid = grid_of(tws_kn=tws_kn, twa_deg=twa_deg)
    boats = boat_file.select(options)
    conditions = grid_conditions(grid, option_count=len(boats))
    return polar_of(boat_file, boats, grid, solve(boats, conditions, processes=processes, progress=progress))


def grid_of(*, tws_kn: Sequence[float] | None, twa_deg: Sequence[float] | None) -> WindGrid:
    """The grid of these winds and angles, of the standard ones where none are given. Raises WindGridError for
    one that cannot be used.
    """
    standard = WindGrid.parse()
    return WindGrid(
        tws_kn=standard.tws_kn if tws_kn is None else tuple(float(value) for value in tws_kn),
        twa_deg=standard.twa_deg if twa_deg is None else tuple(float(value) for value in twa_deg),
    )


def polar_of(boat_file: BoatFile, boats: Sequence[Boat], grid: WindGrid, solved: Solved) -> Polar:
    """The polar of boats of a file whose conditions on a grid are solved."""
    return Polar(
        source=replace(source_of(boat_file, boats), stopped=stopped_text(solved)),
        grid=grid,
        options=tuple(boat.name for boat in boats),
        solved=solved,
    )


def point(
    boat_file: BoatFile,
    *,
    tws_kn: float,
    twa_deg: float | str,
    option: str = "base",
    branch: str | None = None,
    sail_set: str | None = None,
    unproven: bool = False,
) -> Point:
    """The fastest equilibrium at one wind speed and angle, or the best VMG where `twa_deg` is `upwind` or
    `downwind`; of a boat that can be carried in more ways than one, the better or that of `branch`; of one
    with sail sets, under the best or under `sail_set`. With `unproven`, also a state that meets all equations
    but is not proven fastest, because the search ended early; its `values` have the status and the reason.

    Raises NoEquilibrium with the reason when there is no result, WindGridError for a wind that cannot be
    used, NoSuchBranch and NoSuchSailSet for a branch or a set that the boat does not have and BoatFileError
    for an option that the file does not hold.
    """
    aim = check_aim(twa_deg) if isinstance(twa_deg, str) else SPEED
    angle = math.nan if isinstance(twa_deg, str) else float(twa_deg)
    WindGrid(tws_kn=(float(tws_kn),), twa_deg=(90.0 if aim in BEST_VMG else angle,))
    conditions = Conditions(
        option=np.zeros(1, dtype=np.intp),
        tws=np.array([tws_kn * KNOT]),
        twa=np.array([angle * DEGREE]),
        aim=np.array([aim]),
    )
    boat = boat_file.boat(option)
    if branch is not None:
        _check_branch(branch, boat)
    if sail_set is not None:
        boat = _with_one_set(boat, sail_set)
    solved = solve((boat,), conditions)
    if branch is not None and solved.branches:
        solved = replace(solved.branches[branch], branches=solved.branches)
    if not (is_converged(solved)[0] or (unproven and solved.quantities["boat_speed"][0] > 0.0)):
        others = {name: found for name, found in solved.branches.items() if is_converged(found)[0]}
        raise NoEquilibrium(" ".join((str(solved.reason[0]), *_say_others(others))))
    return Point(source=source_of(boat_file, [boat]), solved=solved)


def source_of(boat_file: BoatFile, boats: Sequence[Boat]) -> Source:
    """What results on boats say about the file they came from."""
    return Source(
        name=boat_file.name,
        file=str(boat_file.path.name),
        digest=boat_file.digest,
        calibration=calibration_text(boats),
        sea=sea_text(boats),
    )


def source_of_all(points: Sequence[Point]) -> Source:
    """What several points of one boat file say about it together."""
    boats = [boat for point in points for boat in point.solved.boats]
    return replace(points[0].source, calibration=calibration_text(boats), sea=sea_text(boats))


def check_aim(text: str) -> str:
    """`upwind` or `downwind` as given. Raises WindGridError for any other word."""
    if text not in BEST_VMG:
        raise WindGridError([f"twa = {text!r}: write an angle from 0 to 180 deg, upwind or downwind"])
    return text


def _check_branch(branch: str, boat: Boat) -> None:
    having = branches_of(boat)
    if branch not in BRANCHES:
        raise NoSuchBranch(f"branch = {branch!r}: write {' or '.join(BRANCHES)}")
    if branch not in having:
        raise NoSuchBranch(
            f"branch = {branch!r}: {boat.name} has no foils to fly on; it can only be {having[0]}"
        )


def _with_one_set(boat: Boat, name: str) -> Boat:
    """The boat with only one of its sail sets to choose from."""
    having = [item for item in boat.sail_sets if item.name == name]
    if not having:
        known = ", ".join(item.name for item in boat.sail_sets) or "none"
        raise NoSuchSailSet(f"sail_set = {name!r}: {boat.name} has no such sail set; it has {known}")
    return replace(boat, sail_sets=tuple(having))


def _say_others(others: Mapping[str, Solved]) -> tuple[str, ...]:
    """A sentence on each branch or sail set of one condition: its speed, or why it has none."""
    told = []
    for key, found in others.items():
        name = key[:1].upper() + key[1:]
        if not is_converged(found)[0]:
            told.append(f"{name}: no result. {found.reason[0]}")
            continue
        shown = {
            column: variable(column).show(float(numbers(found, column)[0]))
            for column in ("boat_speed_kn", "vmg_kn", "twa_deg")
        }
        aim = str(found.conditions.aim[0])
        course = f", VMG {shown['vmg_kn']} kn at TWA {shown['twa_deg']} deg" if aim in BEST_VMG else ""
        remark = f" ({found.remark[0]})" if found.remark[0] else ""
        told.append(f"{name}, the boat would do {shown['boat_speed_kn']} kn{course}{remark}.")
    return tuple(told)


def grid_conditions(grid: WindGrid, *, option_count: int) -> Conditions:
    """Conditions of all boats at all places of a grid, boat by boat and wind by wind: each angle and then the
    best VMG up and down.
    """
    angle_count = len(grid.twa_deg)
    twa = np.array([*(angle * DEGREE for angle in grid.twa_deg), *(math.nan for _ in BEST_VMG)])
    aim = np.array([SPEED] * angle_count + list(BEST_VMG))
    wind_count, row_count = len(grid.tws_kn), angle_count + len(BEST_VMG)
    return Conditions(
        option=np.repeat(np.arange(option_count, dtype=np.intp), wind_count * row_count),
        tws=np.tile(np.repeat(np.array(grid.tws_kn) * KNOT, row_count), option_count),
        twa=np.tile(twa, option_count * wind_count),
        aim=np.tile(aim, option_count * wind_count),
    )


def _list_problems(
    name: str, values: Sequence[float], unit: str, lower: float, upper: float, *, lower_included: bool
) -> Iterator[str]:
    if not values:
        yield f"{name}: empty; give at least one value"
    lowest = f"from {lower:g}" if lower_included else f"above {lower:g}"
    allowed = f"{lowest}, at most {upper:g} {unit}"
    for value in values:
        inside = lower <= value <= upper if lower_included else lower < value <= upper
        if not inside:
            yield f"{name} = {value:g} {unit}: outside the allowed range: {allowed}"
    if any(not second > first for first, second in pairwise(values)):
        yield f"{name}: the values must rise, each once"


def _position(values: Sequence[float], wanted: float) -> int | None:
    """Where a wind or an angle stands in the grid; None where it does not."""
    for index, value in enumerate(values):
        if math.isclose(value, wanted, rel_tol=0.0, abs_tol=1e-9):
            return index
    return None
