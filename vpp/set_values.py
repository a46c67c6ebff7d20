"""The best values of what is set for a day, a leg or a range of wind, what they lose against the best value
of every condition and against free trim, and the polar of a boat that has them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp.config.set_tables import SetQuantity, range_of
from vpp.polar import Polar, WindGrid, WindGridError
from vpp.results.files import Source
from vpp.results.variables import KNOT, show_number
from vpp.set_choice import Group, best_of_each, choose, is_lacking, relative_loss
from vpp.solved import SPEED, Conditions, Solved, Strips
from vpp.wardrobe import made_good, places_under

if TYPE_CHECKING:
    from vpp.boat import Boat

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

VALUE_COLUMNS = (
    "option", "set", "key", "unit", "tws_from_kn", "tws_to_kn", "twa_from_deg", "twa_to_deg", "value",
    "built_value", "is_control", "condition_count", "unsailed_count", "mean_regret_percent",
    "worst_regret_percent", "worst_regret_kn", "worst_tws_kn", "worst_twa_deg", "worst_aim",
    "mean_lost_to_trim_percent", "worst_lost_to_trim_percent", "worst_lost_to_trim_kn",
)  # fmt: skip
REGRET_COLUMNS = (
    "option", "tws_kn", "twa_deg", "aim", "set_to", "made_good_kn", "best_set_to", "best_made_good_kn",
    "regret_kn", "regret_percent", "trimmed_made_good_kn", "lost_to_trim_kn", "lost_to_trim_percent",
)  # fmt: skip
CANDIDATE_COLUMNS = (
    "option", "tws_from_kn", "tws_to_kn", "twa_from_deg", "twa_to_deg", "candidate", "set", "key", "value",
    "unit", "condition_count", "unsailed_count", "mean_regret_percent", "worst_regret_percent", "is_chosen",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Candidates:
    """Which boats of a polar are an option at the values of its set quantities.

    `held` (candidates,) are their places: of every combination of values, the last quantity's fastest. `free`
    (combinations of the quantities that are no controls,) are those with all controls free; empty without
    controls.
    """

    option: str
    quantities: tuple[SetQuantity, ...]
    held: Places
    free: Places

    @property
    def indices(self) -> Places:
        """The value that each quantity has in each candidate, (quantities, candidates)."""
        return np.array(np.unravel_index(np.arange(len(self.held)), [each.count for each in self.quantities]))

    @property
    def trimmed(self) -> Places:
        """Where each candidate with its controls free stands in `free`, (candidates,)."""
        rows = [row for row, each in enumerate(self.quantities) if not each.is_control]
        if not rows:
            return np.zeros(len(self.held), dtype=np.intp)
        counts = [self.quantities[row].count for row in rows]
        found: Places = np.ravel_multi_index(tuple(self.indices[rows]), counts)
        return found

    def groups(self, grid: WindGrid) -> list[Group]:
        """Quantities with the same ranges taken together."""
        found = []
        for edges in dict.fromkeys(each.edges for each in self.quantities):
            rows = [row for row, each in enumerate(self.quantities) if each.edges == edges]
            counts = [self.quantities[row].count for row in rows]
            found.append(
                Group(
                    of_candidate=np.ravel_multi_index(tuple(self.indices[rows]), counts),
                    of_condition=ranges_of(self.quantities[rows[0]], grid).ravel(),
                )
            )
        return found

    def text(self, candidate: int) -> str:
        """The values of a candidate in words."""
        return ", ".join(
            f"{each.name} {each.text(int(index))}"
            for each, index in zip(self.quantities, self.indices[:, candidate], strict=True)
        )


@dataclass(frozen=True, kw_only=True)
class Setting:
    """What a quantity of an option is set to in one of its ranges: the value of that `index`.

    Regret is what the chosen values of all quantities together lose at the conditions of the range against
    the best values of each condition, and `lost_to_trim` what they lose against free controls; in percent,
    and in kn where it is worst, at `worst` (wind, row). NaN where there is nothing to lose against.
    `unsailed_count` of the `condition_count` conditions that any values can sail have no result.
    """

    option: str
    quantity: SetQuantity
    range_index: int
    index: int
    condition_count: int
    unsailed_count: int
    mean_regret_percent: float
    worst_regret_percent: float
    worst_regret_kn: float
    worst: tuple[int, int] | None
    mean_lost_to_trim_percent: float
    worst_lost_to_trim_percent: float
    worst_lost_to_trim_kn: float

    @property
    def range_text(self) -> str:
        """Its range in words."""
        return self.quantity.range_text(self.range_index)

    @property
    def text(self) -> str:
        """The value with its unit."""
        return self.quantity.text(self.index)

    @property
    def is_at_end(self) -> bool:
        """Whether it is the least or greatest value on offer of a number, beyond which a better may lie."""
        values = self.quantity.keys[0].values
        at_end = values[self.index] in (min(values), max(values))
        return at_end and not self.quantity.is_control


@dataclass(frozen=True, kw_only=True)
class SetValues:
    """The values chosen for every option that has set quantities, and what the others would do.

    `solved` is the polar of all candidates, `of` says which of its boats are whose. Without set quantities
    both are empty.
    """

    solved: Polar | None = field(default=None, repr=False)
    of: tuple[Candidates, ...] = ()

    @property
    def options(self) -> tuple[str, ...]:
        """The options that have set quantities."""
        return tuple(each.option for each in self.of)

    def __bool__(self) -> bool:
        return bool(self.of)

    def candidates(self, option: str) -> Candidates:
        """What an option may be set to. Raises KeyError for an option without set quantities."""
        for each in self.of:
            if each.option == option:
                return each
        raise KeyError(f"option {option!r} has nothing that is set")

    def made_good(self, option: str) -> Floats:
        """What each candidate of an option makes good [kn], (candidates, tws, row_aims)."""
        return self._made_good[self.candidates(option).held]

    def chosen(self, option: str) -> Places:
        """The candidate that is chosen at each condition, (tws, row_aims); see `set_choice.choose`."""
        return self._chosen[option]

    def regret_kn(self, option: str) -> Floats:
        """What the chosen values lose at every condition against the best values there, (tws, row_aims)."""
        return best_of_each(self.made_good(option)) - self._of_chosen(option)

    def regret_percent(self, option: str) -> Floats:
        """The same as a part of the best."""
        return 100.0 * self.regret_kn(option) / best_of_each(self.made_good(option))

    def trimmed(self, option: str) -> Floats:
        """What the option makes good with the chosen values and all controls free [kn], (tws, row_aims); NaN
        where none of its set quantities is a control.
        """
        mine = self.candidates(option)
        if not len(mine.free):
            return np.full(self._shape, np.nan)
        return self._at(mine.free[mine.trimmed[self.chosen(option)]])

    def lost_to_trim_kn(self, option: str) -> Floats:
        """What the chosen values lose against free controls, in the same shape."""
        return self.trimmed(option) - self._of_chosen(option)

    def lost_to_trim_percent(self, option: str) -> Floats:
        """The same as a part of what free controls make good."""
        return 100.0 * self.lost_to_trim_kn(option) / self.trimmed(option)

    def settings(self) -> tuple[Setting, ...]:
        """Every value that is chosen, by option, quantity and range; ranges without a condition of the grid
        are left out.
        """
        return self._settings

    def boat_at(self, option: str, wind: int, row: int) -> Boat:
        """The boat of an option at a wind and a row of the grid, by their places, with the chosen values."""
        assert self.solved is not None
        place = self.candidates(option).held[self.chosen(option)[wind, row]]
        return self.solved.solved.boats[int(place)]

    # --- tables ---------------------------------------------------------------------------------------------

    def to_frame(self) -> pd.DataFrame:
        """One row for each key that is set, by option and range; without rows where nothing is set."""
        rows = []
        for each in self.settings():
            bounds = each.quantity.bounds(each.range_index)
            wind, row = each.worst or (-1, -1)
            for key in each.quantity.keys:
                rows.append(
                    (
                        each.option, each.quantity.name, key.key, key.unit, *bounds, key.values[each.index],
                        key.built, each.quantity.is_control, each.condition_count, each.unsailed_count,
                        each.mean_regret_percent, each.worst_regret_percent, each.worst_regret_kn,
                        self._grid.tws_kn[wind] if each.worst else math.nan,
                        self._twa_deg(row) if each.worst else math.nan,
                        self._aims[row] if each.worst else "", each.mean_lost_to_trim_percent,
                        each.worst_lost_to_trim_percent, each.worst_lost_to_trim_kn,
                    )
                )  # fmt: skip
        return pd.DataFrame(rows, columns=list(VALUE_COLUMNS))

    def regret_frame(self) -> pd.DataFrame:
        """One row for each option with set quantities and every condition, those without a result too."""
        frames = [self._regret_rows(each) for each in self.of]
        return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=list(REGRET_COLUMNS))

    def candidates_frame(self) -> pd.DataFrame:
        """What every combination of values loses in every range, a row for each key; the ranges are those in
        which no value changes.
        """
        rows = []
        for mine in self.of:
            speeds = self.made_good(mine.option)
            loss, lacking, chosen = relative_loss(speeds), is_lacking(speeds), self.chosen(mine.option)
            for where, bounds in self._common_ranges(mine):
                for candidate in range(len(mine.held)):
                    here = 100.0 * loss[candidate][where]
                    told = (
                        int(np.isfinite(best_of_each(speeds)[where]).sum()),
                        int(lacking[candidate][where].sum()),
                        _mean(here),
                        float(np.nanmax(here)) if np.isfinite(here).any() else math.nan,
                        bool(chosen[where][0] == candidate),
                    )
                    rows += [
                        (
                            mine.option, *bounds, candidate, quantity.name, key.key,
                            key.values[int(mine.indices[at, candidate])], key.unit, *told,
                        )
                        for at, quantity in enumerate(mine.quantities)
                        for key in quantity.keys
                    ]  # fmt: skip
        return pd.DataFrame(rows, columns=list(CANDIDATE_COLUMNS))

    def sentences(self) -> tuple[str, ...]:
        """Each setting in words."""
        return tuple(self._say(each) for each in self.settings())

    # --- the boat that has them -----------------------------------------------------------------------------

    def polar(self, *, source: Source, boats: Sequence[Boat]) -> Polar:
        """The polar of the options, `boats` as filed, with the chosen values."""
        assert self.solved is not None
        at = np.empty((len(boats), *self._shape), dtype=np.intp)
        for row, boat in enumerate(boats):
            if boat.name in self.options:
                at[row] = self.candidates(boat.name).held[self.chosen(boat.name)]
            else:
                at[row] = self.solved.options.index(boat.name)
        places = at * math.prod(self._shape) + np.arange(math.prod(self._shape)).reshape(self._shape)
        option = np.broadcast_to(np.arange(len(boats))[:, np.newaxis, np.newaxis], places.shape)
        return replace(
            self.solved,
            source=source,
            options=tuple(boat.name for boat in boats),
            solved=_taken(self.solved.solved, places.ravel(), tuple(boats), option.ravel()),
        )

    # --- inside ---------------------------------------------------------------------------------------------

    @property
    def _grid(self) -> WindGrid:
        assert self.solved is not None
        return self.solved.grid

    @property
    def _aims(self) -> tuple[str, ...]:
        return () if self.solved is None else self.solved.row_aims

    @property
    def _shape(self) -> tuple[int, int]:
        return len(self._grid.tws_kn), len(self._aims)

    def _twa_deg(self, row: int) -> float:
        """The angle asked for in a row; NaN where that is a best VMG."""
        return self._grid.twa_deg[row] if self._aims[row] == SPEED else math.nan

    @cached_property
    def _made_good(self) -> Floats:
        assert self.solved is not None
        return (made_good(self.solved.solved) / KNOT).reshape(-1, *self._shape)

    @cached_property
    def _chosen(self) -> Mapping[str, Places]:
        return {
            each.option: choose(
                self.made_good(each.option).reshape(len(each.held), -1), each.groups(self._grid)
            ).reshape(self._shape)
            for each in self.of
        }

    def _at(self, candidates: Places) -> Floats:
        """What is made good at every condition by that candidate of all which is given for it."""
        found: Floats = np.take_along_axis(self._made_good, candidates[np.newaxis], axis=0)[0]
        return found

    def _of_chosen(self, option: str) -> Floats:
        """What the chosen values make good [kn], (tws, row_aims)."""
        return self._at(self.candidates(option).held[self.chosen(option)])

    @cached_property
    def _settings(self) -> tuple[Setting, ...]:
        return tuple(
            self._setting(mine, quantity, row, int(each))
            for mine in self.of
            for row, quantity in enumerate(mine.quantities)
            for each in np.unique(ranges_of(quantity, self._grid))
        )

    def _setting(self, mine: Candidates, quantity: SetQuantity, row: int, range_index: int) -> Setting:
        inside = ranges_of(quantity, self._grid) == range_index

        def of_range(values: Floats) -> Floats:
            return np.where(inside, values, np.nan)

        best = of_range(best_of_each(self.made_good(mine.option)))
        percent = of_range(self.regret_percent(mine.option))
        lost_percent = of_range(self.lost_to_trim_percent(mine.option))
        worst, of_trim = _worst(percent), _worst(lost_percent)
        return Setting(
            option=mine.option,
            quantity=quantity,
            range_index=range_index,
            index=int(mine.indices[row, self.chosen(mine.option)[inside][0]]),
            condition_count=int(np.isfinite(best).sum()),
            unsailed_count=int((np.isfinite(best) & np.isnan(percent)).sum()),
            mean_regret_percent=_mean(percent),
            worst_regret_percent=_value_at(percent, worst),
            worst_regret_kn=_value_at(self.regret_kn(mine.option), worst),
            worst=worst,
            mean_lost_to_trim_percent=_mean(lost_percent),
            worst_lost_to_trim_percent=_value_at(lost_percent, of_trim),
            worst_lost_to_trim_kn=_value_at(self.lost_to_trim_kn(mine.option), of_trim),
        )

    def _regret_rows(self, mine: Candidates) -> pd.DataFrame:
        speeds, chosen = self.made_good(mine.option), self.chosen(mine.option)
        best = best_of_each(speeds)
        leader = np.argmax(np.where(np.isnan(speeds), -np.inf, speeds), axis=0)
        texts = np.array([mine.text(candidate) for candidate in range(len(mine.held))], dtype=object)
        columns = {
            "option": np.array(mine.option, dtype=object),
            "tws_kn": np.array(self._grid.tws_kn)[:, np.newaxis],
            "twa_deg": np.array([self._twa_deg(row) for row in range(len(self._aims))]),
            "aim": np.array(self._aims, dtype=object),
            "set_to": texts[chosen],
            "made_good_kn": self._of_chosen(mine.option),
            "best_set_to": np.where(np.isnan(best), "", texts[leader]),
            "best_made_good_kn": best,
            "regret_kn": self.regret_kn(mine.option),
            "regret_percent": self.regret_percent(mine.option),
            "trimmed_made_good_kn": self.trimmed(mine.option),
            "lost_to_trim_kn": self.lost_to_trim_kn(mine.option),
            "lost_to_trim_percent": self.lost_to_trim_percent(mine.option),
        }
        return pd.DataFrame(
            {name: np.broadcast_to(values, best.shape).ravel() for name, values in columns.items()}
        )

    def _common_ranges(
        self, mine: Candidates
    ) -> list[tuple[NDArray[np.bool_], tuple[float, float, float, float]]]:
        """Where no quantity changes its range, and the edges around it."""
        keys = np.stack([ranges_of(each, self._grid).ravel() for each in mine.quantities])
        found = []
        for each in np.unique(keys, axis=1).T:
            where = np.all(keys == each[:, np.newaxis], axis=0).reshape(self._shape)
            found.append((where, _common_bounds(mine.quantities, each)))
        return found

    def _say(self, each: Setting) -> str:
        lost = ""
        if math.isfinite(each.mean_lost_to_trim_percent):
            lost = (
                f"; {_percent(each.mean_lost_to_trim_percent)} on average against free trim, "
                f"{_percent(each.worst_lost_to_trim_percent)} at most"
            )
        lacking = f"; {each.unsailed_count} conditions that other values can sail have no result"
        if not math.isfinite(each.mean_regret_percent):
            return f"{each.option}, {each.range_text}: {each.quantity.name} has no value with a result."
        told = f"{each.option}, {each.range_text}: {each.quantity.name} {each.text} "
        if round(each.worst_regret_percent, 2) == 0.0:
            told += "is the best value of every condition"
        else:
            told += (
                f"loses {_percent(each.mean_regret_percent)} on average against the best value of each "
                f"condition, {_percent(each.worst_regret_percent)} "
                f"({show_number(each.worst_regret_kn, decimals=2)} kn) at most, at {self.place_text(each)}"
            )
        return f"{told}{lost}{lacking if each.unsailed_count else ''}."

    def place_text(self, each: Setting) -> str:
        """Where the regret of a setting is worst, in words; a dash where there is none."""
        if each.worst is None or round(each.worst_regret_percent, 2) == 0.0:
            return "-"
        wind, row = each.worst
        way = f"TWA {self._twa_deg(row):g} deg" if self._aims[row] == SPEED else self._aims[row]
        return f"{self._grid.tws_kn[wind]:g} kn, {way}"


def ranges_of(quantity: SetQuantity, grid: WindGrid) -> Places:
    """The range that every condition belongs to, (tws, row_aims): a best VMG upwind is in the first range of
    angles, one downwind in the last. Raises WindGridError for winds and angles outside all ranges.
    """
    winds, problems = _each_range(quantity.wind_edges_kn, grid.tws_kn)
    angles, outside = _each_range(quantity.twa_edges_deg, grid.twa_deg)
    told = []
    for name, unit, edges, values in (
        ("tws", "kn", quantity.wind_edges_kn, problems),
        ("twa", "deg", quantity.twa_edges_deg, outside),
    ):
        if values:
            listed = ", ".join(f"{value:g}" for value in values)
            told.append(
                f"{name}: {listed} {unit} outside the ranges of set.{quantity.name}, which run from "
                f"{edges[0]:g} to {edges[-1]:g} {unit}"
            )
    if told:
        raise WindGridError(told)
    last = quantity.angle_range_count - 1
    rows = np.array([*angles, 0, last], dtype=np.intp)
    found: Places = np.array(winds, dtype=np.intp)[:, np.newaxis] * (last + 1) + rows
    return found


def _each_range(edges: tuple[float, ...], values: Sequence[float]) -> tuple[list[int], list[float]]:
    """The range of each value, and those values that lie in none."""
    found = [(range_of(edges, value), value) for value in values]
    return [at or 0 for at, _ in found], [value for at, value in found if at is None]


def grid_problems(quantities: Mapping[str, Sequence[SetQuantity]], grid: WindGrid) -> list[str]:
    """What is wrong with the winds and angles of a grid for the set quantities of some options."""
    told: dict[str, None] = {}
    for each in (each for several in quantities.values() for each in several):
        try:
            ranges_of(each, grid)
        except WindGridError as error:
            told |= dict.fromkeys(error.problems)
    return list(told)


def _mean(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else math.nan


def _worst(values: Floats) -> tuple[int, int] | None:
    """Place of the greatest value; None where none is known."""
    if not np.isfinite(values).any():
        return None
    wind, row = np.unravel_index(int(np.nanargmax(values)), values.shape)
    return int(wind), int(row)


def _value_at(values: Floats, place: tuple[int, int] | None) -> float:
    return math.nan if place is None else float(values[place])


def _percent(value: float) -> str:
    return f"{show_number(value, decimals=2)} %"


def _common_bounds(
    quantities: Sequence[SetQuantity], range_indices: Places
) -> tuple[float, float, float, float]:
    """The edges of what several ranges have in common [kn, deg]; NaN where none has any."""
    bounds = np.array(
        [each.bounds(int(index)) for each, index in zip(quantities, range_indices, strict=True)]
    )
    bounds[:, [0, 2]] *= -1.0
    known = np.where(np.isnan(bounds), np.inf, bounds).min(axis=0)
    known[[0, 2]] *= -1.0
    low, high, first, last = np.where(np.isfinite(known), known, np.nan)
    return float(low), float(high), float(first), float(last)


def _taken(found: Solved, places: Places, boats: tuple[Boat, ...], option: Places) -> Solved:
    """Conditions of candidates as those of the options whose boats they are."""
    conditions = replace(found.conditions.take(places), option=option)
    return replace(
        some_of(found, places, boats, conditions),
        branches={
            name: _inner(of_branch, _having(found, of_branch), places, boats, conditions)
            for name, of_branch in found.branches.items()
        },
    )


def _having(found: Solved, of_branch: Solved) -> Places:
    """Places of the conditions that a branch is about."""
    return np.flatnonzero(np.isin(found.conditions.option, np.unique(of_branch.conditions.option)))


def _inner(
    inner: Solved, covered: Places, places: Places, boats: tuple[Boat, ...], conditions: Conditions
) -> Solved:
    """Those conditions of a branch or sail set, which has the `covered` ones of the whole, that are taken."""
    count = int(max(covered.max(initial=-1), places.max(initial=-1))) + 1
    inside = np.full(count, -1, dtype=np.intp)
    inside[covered] = np.arange(len(covered))
    rows = inside[places]
    kept = np.flatnonzero(rows >= 0)
    return some_of(inner, rows[kept], boats, conditions.take(kept))


def some_of(found: Solved, places: Places, boats: tuple[Boat, ...], conditions: Conditions) -> Solved:
    """Some conditions, told of other boats, with their sail sets and without branches."""
    strips = {
        name: value if name == "sail" else value[..., places] for name, value in vars(found.strips).items()
    }
    return replace(
        found,
        boats=boats,
        conditions=conditions,
        quantities={name: values[places] for name, values in found.quantities.items()},
        force=found.force[..., places],
        moment=found.moment[..., places],
        strips=Strips(**strips),
        branches={},
        sail_sets={
            name: _inner(of_set, places_under(found, name), places, boats, conditions)
            for name, of_set in found.sail_sets.items()
        },
        **{name: getattr(found, name)[places] for name in _BY_CONDITION},
    )


_BY_CONDITION = (
    "branch", "sail_set", "status", "reason", "remark", "iterations",
    "constraint_error", "optimality_error", "closure",
)  # fmt: skip
