"""How sure the gains of options are: the same draws of what is uncertain for the base and every option.

Each draw changes the boat file within its ranges, in the base and in every option alike, and each gain is
that of an option over the base of the same draw: what is uncertain of both cancels as far as it does. See
docs/doubt.md.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp.boat import Boat
from vpp.compare import DECISIVE_PERCENT, LEVEL_KN, Comparison, NothingToCompare
from vpp.config.errors import BoatFileError
from vpp.config.movable import MovableKeys
from vpp.config.uncertain import Input, changes_at, inputs_of, movable_boats
from vpp.doubt_following import FAILED, FOLLOWED, MISSED, SOLVED, Drawn, Task, drawn, joined
from vpp.polar import BEST_VMG, Progress, grid_conditions, grid_of, polar_of
from vpp.results.files import Source, Written
from vpp.results.variables import show_number
from vpp.solved import FOIL_BORNE, SPEED, Conditions, Solved
from vpp.solver.processes import in_processes
from vpp.solver.status import Status
from vpp.uncertainty import Shares, sample, shares
from vpp.wardrobe import solve

if TYPE_CHECKING:
    from vpp.config import BoatFile

Floats = NDArray[np.float64]

DRAWS, SEED, CHECKED = 256, 1, 1
"""Draws, the seed of their sequence, and how many of them are solved in full, unless others are asked for."""

TWS_KN, TWA_DEG = (8.0, 12.0, 16.0), (90.0,)
"""Winds and angles of the usual decisions: with the best VMG up and down, a beat, a reach and a run."""

QUANTILES = (5, 10, 50, 90, 95)
"""Percent of the draws that gain at most so much, as tables give them."""

FILE_DECIMALS = 5


class NoDoubt(ValueError):
    """Nothing that could be in doubt: no range is left of those of the file and the defaults."""


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """Gains of options over the base, nominal and in every draw of what is uncertain.

    `nominal` is the comparison without draws; conditions are those of its polar, wind by wind, each angle and
    then the best VMG up and down. `ranges` are those of the inputs, and `places` (draws, inputs) says where
    each draw lies in them, from -1 to 1. `drawn` holds what each boat makes good in each draw, the base
    first.
    """

    nominal: Comparison
    ranges: tuple[Input, ...]
    places: Floats
    seed: int
    drawn: tuple[Drawn, ...]

    def __repr__(self) -> str:
        return (
            f"Doubt({self.source.file}: {', '.join(self.options)}; {len(self.places)} draws of "
            f"{len(self.ranges)} inputs, {self.failed} of {self.made_good_kn.size} without a result)"
        )

    @property
    def source(self) -> Source:
        """Where it all came from."""
        return self.nominal.polar.source

    @property
    def options(self) -> tuple[str, ...]:
        """The options that are compared with the base."""
        return self.nominal.alternatives

    @property
    def conditions(self) -> tuple[tuple[float, float | str], ...]:
        """True wind speed in kn of each condition, with the wind angle in degrees, `upwind` or `downwind`."""
        grid = self.nominal.polar.grid
        angles: tuple[float | str, ...] = (*grid.twa_deg, *BEST_VMG)
        return tuple((tws, angle) for tws in grid.tws_kn for angle in angles)

    @cached_property
    def made_good_kn(self) -> Floats:
        """What each boat makes good, (boats, conditions, draws), the base first; NaN without a result."""
        return np.array([each.made_good_kn for each in self.drawn])

    @cached_property
    def gain_kn(self) -> Floats:
        """Gains over the base of the same draw, (options, conditions, draws); NaN where one has no result."""
        return self.made_good_kn[1:] - self.made_good_kn[:1]

    @property
    def nominal_gain_kn(self) -> Floats:
        """Gains without draws, (options, conditions)."""
        gain = self.nominal.gain_kn()[1:]
        return gain.reshape(len(gain), -1)

    @property
    def failed(self) -> int:
        """How many draws have no result, of all boats in all conditions."""
        return self._count(FAILED)

    @property
    def not_flying(self) -> int:
        """In how many conditions of all boats one with foils does not fly without draws, so that there is no
        such optimum to follow.
        """
        flying = self.nominal.polar.solved.branches.get(FOIL_BORNE)
        return 0 if flying is None else int((flying.status != Status.CONVERGED).sum())

    @property
    def solved_in_full(self) -> int:
        """How many draws came from a search of their own."""
        return self._count(SOLVED)

    def _count(self, how: str) -> int:
        return sum(int((each.how == how).sum()) for each in self.drawn)

    def quantiles_kn(self, percents: Sequence[float] = QUANTILES) -> Floats:
        """Gains that so many percent of the draws do not exceed, (percents, options, conditions), of the
        draws that have one; NaN where none has.
        """
        if set(percents) <= set(QUANTILES):
            return self._usual_quantiles_kn[[QUANTILES.index(int(percent)) for percent in percents]]
        return self._quantiles_kn(percents)

    @cached_property
    def _usual_quantiles_kn(self) -> Floats:
        # tables, sentences and figures ask for them again and again
        return self._quantiles_kn(QUANTILES)

    def _quantiles_kn(self, percents: Sequence[float]) -> Floats:
        found = np.full((len(percents), *self.gain_kn.shape[:2]), np.nan)
        for place in np.ndindex(*self.gain_kn.shape[:2]):
            known = self.gain_kn[place][np.isfinite(self.gain_kn[place])]
            if len(known):
                found[(slice(None), *place)] = np.quantile(known, np.array(percents) / 100.0)
        return found

    def share_of_sign(self) -> Floats:
        """Share of the draws with a gain in which it has the sign of the nominal one, (options, conditions);
        NaN where that is level or missing.
        """
        nominal = self.nominal_gain_kn[..., None]
        known = np.isfinite(self.gain_kn)
        same = known & (np.sign(self.gain_kn) == np.sign(nominal))
        count = known.sum(axis=-1)
        has_sign = (np.abs(nominal[..., 0]) >= LEVEL_KN) & (count > 0)
        return np.where(has_sign, same.sum(axis=-1) / np.maximum(count, 1), np.nan)

    @cached_property
    def shares(self) -> tuple[tuple[Shares, ...], ...]:
        """Which inputs the gains follow, by option and condition; see `uncertainty.shares`."""
        shapes = [each.shape for each in self.ranges]
        return tuple(
            tuple(shares(self.places, gain, shapes=shapes) for gain in of_option)
            for of_option in self.gain_kn
        )

    @property
    def checks(self) -> tuple[int, int, int, float]:
        """How many draws were both followed from the nominal optima and searched for in full, in how many of
        them searching found a faster optimum and in how many following, and the largest difference [kn].
        """
        pairs = [(before, after) for each in self.drawn for _, _, before, after in each.checks]
        pairs = [(before, after) for before, after in pairs if np.isfinite(before + after)]
        searching = sum(after > before * (1.0 + MISSED) for before, after in pairs)
        following = sum(before > after * (1.0 + MISSED) for before, after in pairs)
        largest = max((abs(after - before) for before, after in pairs), default=0.0)
        return len(pairs), searching, following, largest

    def reasons(self) -> dict[str, int]:
        """Why draws have no result, with how many of each; numbers within a reason are not told apart."""
        found: dict[str, int] = {}
        for each in self.drawn:
            for why in each.reasons.values():
                told = re.sub(r"\d+(\.\d+)?(e-?\d+)?", "..", why)
                found[told] = found.get(told, 0) + 1
        return dict(sorted(found.items(), key=lambda item: -item[1]))

    # --- tables ---------------------------------------------------------------------------------------------

    def to_frame(self) -> pd.DataFrame:
        """The table of gains: a row for every option and condition.

        `gain_kn` is nominal; `gain_5_percent_kn` and the like are what so many percent of the draws do not
        exceed. `same_sign_percent` is the share of draws whose gain has the sign of the nominal one, `draws`
        the number that all of these rest on, `failed_draws` those without a gain, `branch_differs_percent`
        the share in which option and base are carried differently.
        """
        quantiles, sign = self.quantiles_kn(), self.share_of_sign()
        known = np.isfinite(self.gain_kn)
        branch = np.array([each.branch for each in self.drawn])
        crossed = known & (branch[1:] != branch[:1])
        base = self.nominal.made_good()[0].ravel()
        rows = []
        for option, condition in np.ndindex(*known.shape[:2]):
            at = option, condition
            count = int(known[at].sum())
            rows.append(
                {
                    **self._head(option, condition),
                    "base_kn": base[condition],
                    "gain_kn": self.nominal_gain_kn[at],
                    **{
                        f"gain_{percent}_percent_kn": quantiles[(place, *at)]
                        for place, percent in enumerate(QUANTILES)
                    },
                    "same_sign_percent": 100.0 * sign[at],
                    "draws": count,
                    "failed_draws": known.shape[-1] - count,
                    "branch_differs_percent": 100.0 * crossed[at].sum() / count if count else np.nan,
                }
            )
        return pd.DataFrame(rows)

    def ranges_frame(self) -> pd.DataFrame:
        """What is uncertain: a row an input, with its range and where that comes from."""
        return pd.DataFrame(
            [
                {
                    "input": each.name,
                    "keys": ", ".join(each.keys),
                    "range": each.range_text,
                    "shape": each.shape,
                    "from": "default" if each.is_default else "boat file",
                    "why": each.why,
                }
                for each in self.ranges
            ]
        )

    def inputs(self) -> pd.DataFrame:
        """What drives the doubt: a row for every option, condition and input.

        `first_percent` is the share of the variance of the gain that goes with the input by itself,
        `total_percent` with all that it does together with others. `explained_percent` is how much of the
        variance the fitted polynomial predicts of draws left out; where the shares are missing, `reason` says
        why.
        """
        rows = []
        for option, of_option in enumerate(self.shares):
            for condition, found in enumerate(of_option):
                rows += [
                    {
                        **self._head(option, condition),
                        "input": each.name,
                        "first_percent": 100.0 * found.first[at],
                        "total_percent": 100.0 * found.total[at],
                        "explained_percent": 100.0 * found.explained,
                        "draws": found.used,
                        "reason": found.reason,
                    }
                    for at, each in enumerate(self.ranges)
                ]
        return pd.DataFrame(rows)

    def draws(self) -> pd.DataFrame:
        """Every draw: a row for each boat, condition and draw, failed ones included, with how it was come by.

        The changes of the inputs in each draw are in `values`.
        """
        count = len(self.places)
        frames = []
        for at, each in enumerate(self.drawn):
            gain = self.made_good_kn[at] - self.made_good_kn[0]
            for condition, (tws, angle) in enumerate(self.conditions):
                frames.append(
                    pd.DataFrame(
                        {
                            "option": each.option,
                            "tws_kn": tws,
                            "twa_deg": np.nan if isinstance(angle, str) else angle,
                            "aim": angle if isinstance(angle, str) else SPEED,
                            "draw": np.arange(1, count + 1),
                            "made_good_kn": each.made_good_kn[condition],
                            "gain_kn": gain[condition],
                            "branch": each.branch[condition],
                            "found": each.how[condition],
                            "reason": [each.reasons.get((condition, draw), "") for draw in range(count)],
                        }
                    )
                )
        return pd.concat(frames, ignore_index=True)

    def values(self) -> pd.DataFrame:
        """By how much each draw changes the inputs: a row a draw, a column an input, in percent or in the
        unit at its end.
        """
        columns: dict[str, Any] = {"draw": np.arange(1, len(self.places) + 1)}
        for at, each in enumerate(self.ranges):
            factor = 100.0 if each.is_share else 1.0
            columns[each.column] = factor * (each.centre + each.half * self.places[:, at])
        return pd.DataFrame(columns)

    def _head(self, option: int, condition: int) -> dict[str, Any]:
        tws, angle = self.conditions[condition]
        is_aim = isinstance(angle, str)
        return {
            "option": self.options[option],
            "tws_kn": tws,
            "twa_deg": np.nan if is_aim else angle,
            "aim": angle if is_aim else SPEED,
        }

    # --- words ----------------------------------------------------------------------------------------------

    def in_words(self) -> tuple[str, ...]:
        """A sentence for each gain that may be a basis for a decision, one for the others of each option, and
        what is to be known of all of them.
        """
        told: list[str] = []
        for option, name in enumerate(self.options):
            small = [at for at in range(len(self.conditions)) if self.is_small(option, at)]
            told += [self.sentence(option, at) for at in range(len(self.conditions)) if at not in small]
            if small:
                where = ", ".join(self.say_condition(at) for at in small)
                told.append(
                    f"{name} {where}: less than {DECISIVE_PERCENT:g} % of the speed in 8 of 10 draws, no "
                    "basis for a decision by itself."
                )
        return (*told, *self.notes())

    def is_small(self, option: int, condition: int) -> bool:
        """Whether in 8 of 10 draws a gain is a smaller part of the base's speed than a decision asks for."""
        low, high = self.quantiles_kn((10, 90))[:, option, condition]
        base = float(self.nominal.made_good()[0].ravel()[condition])
        return bool(100.0 * max(abs(low), abs(high)) < DECISIVE_PERCENT * base)

    def is_narrow(self, option: int, condition: int) -> bool:
        """Whether all draws of a gain lie so close together that what drives the doubt is of no interest."""
        gain = self.gain_kn[option, condition]
        known = gain[np.isfinite(gain)]
        return not len(known) or float(known.max() - known.min()) < LEVEL_KN

    def sentence(self, option: int, condition: int) -> str:
        """How sure one gain is, and what drives the doubt."""
        name, where = self.options[option], self.say_condition(condition)
        nominal, known = self.nominal_gain_kn[option, condition], np.isfinite(self.gain_kn[option, condition])
        count = int(known.sum())
        if not count:
            return f"{name} {where}: no draw has a gain."
        low, high = self.quantiles_kn((10, 90))[:, option, condition]
        digits = 2 if high - low >= _COARSE_KN else 3
        ends = [show_number(value, decimals=digits, signed=True) for value in (low, high)]
        span = f"{ends[0]} to {ends[1]} kn in 8 of 10 draws"
        if max(abs(low), abs(high)) < LEVEL_KN:
            span = f"within {LEVEL_KN:g} kn of the base in 8 of 10 draws"
        sign = self.share_of_sign()[option, condition]
        if not np.isfinite(nominal):
            said = f"{name} {where}: without a nominal gain, {span}"
        elif not np.isfinite(sign):
            said = f"{name} is level {where} ({_signed(nominal)} kn): {span}"
        else:
            turn = "faster" if nominal > 0.0 else "slower"
            share = f"all {count} draws" if sign == 1.0 else f"{_percent(sign)} of the draws"
            said = f"{name} is {turn} {where} in {share}: {span}"
        missing = len(known) - count
        said += f" ({missing} of {len(known)} draws without a gain)" if missing else ""
        if np.isfinite(sign) and self.is_small(option, condition):
            said += f", below {DECISIVE_PERCENT:g} % of the speed and no basis for a decision by itself"
        return f"{said}{self._say_drivers(option, condition)}."

    def say_condition(self, condition: int) -> str:
        """A condition in words."""
        tws, angle = self.conditions[condition]
        return f"{angle if isinstance(angle, str) else f'at {angle:g} deg'} in {tws:g} kn"

    def _say_drivers(self, option: int, condition: int) -> str:
        found = self.shares[option][condition]
        if self.is_narrow(option, condition):
            return ""
        if found.reason:
            return "; what drives the doubt cannot be said" if np.isfinite(found.explained) else ""
        order = np.argsort(-found.total, kind="stable")
        named = [at for at in order.tolist() if found.total[at] >= _NAMED][:_MOST_NAMED]
        if not named:
            return "; the doubt has many small causes"
        parts = [f"{self.ranges[at].name} ({_percent(found.total[at])})" for at in named]
        return f"; what drives the doubt: {', '.join(parts)}"

    def notes(self) -> tuple[str, ...]:
        """What all numbers rest on: draws, failures, and what following missed."""
        total, (both, searching, following, largest) = self.made_good_kn.size, self.checks
        defaults = sum(each.is_default for each in self.ranges)
        notes = [
            f"{len(self.places)} draws of {len(self.ranges)} inputs ({defaults} of them by default), seed "
            f"{self.seed}; the same draws for all boats.",
            f"Of {total} optima {self._count(FOLLOWED)} were followed from the nominal ones, "
            f"{self.solved_in_full} searched for in full and {self.failed} not found.",
        ]
        if both:
            found = f"Checked in {both} draws of a boat in a condition: a whole search found a faster optimum"
            found += f" in {searching}"
            found += ", which was then followed to the other draws" if searching else ""
            beaten = f", following in {following}" if following else ""
            apart = show_number(largest, decimals=3)
            notes.append(f"{found}{beaten}; the largest difference was {apart} kn.")
        if self.not_flying:
            notes.append(
                f"In {self.not_flying} conditions of a boat it does not fly without draws: that it would "
                "in a draw is found where this is checked, and then followed to the others."
            )
        notes += [
            f"{count} without a result: {why}" for why, count in list(self.reasons().items())[:_REASONS]
        ]
        return tuple(notes)

    def write(self, folder: str | Path, *, figures: bool = True) -> Written:
        """Tables, sentences and figures into a folder; OSError where that cannot be."""
        # drawing is slow to load, and lies above the results that it draws
        written: Written = import_module("vpp.doubt_files").write(self, Path(folder), figures=figures)
        return written


# Narrower bands are told with three digits.
_COARSE_KN = 0.05
# Inputs are named in a sentence from this share of the variance on, and no more than so many.
_NAMED, _MOST_NAMED = 0.1, 3
# Reasons of failures that notes tell.
_REASONS = 5


def doubt(
    boat_file: BoatFile,
    *,
    tws_kn: Sequence[float] = TWS_KN,
    twa_deg: Sequence[float] = TWA_DEG,
    options: Sequence[str] = (),
    draws: int = DRAWS,
    seed: int = SEED,
    defaults: bool = True,
    checked: int = CHECKED,
    processes: int = 1,
    progress: Progress | None = None,
) -> Doubt:
    """How sure the gains of options of a boat file are, of all or of those named, at angles in winds and for
    the best VMG up and down in each.

    `draws` is a power of two. Without `defaults` only what the file names is uncertain. `checked` draws are
    solved in full as well as followed. With more than one of `processes`, options are shared out among new
    Python processes, to the same result. Raises WindGridError for winds that cannot be used, BoatFileError
    for options and ranges that are wrong, NothingToCompare where only the base is left, NoDoubt where nothing
    is uncertain and BadSample for a number of draws or a seed that cannot be used.
    """
    boats = boat_file.select(options)
    if len(boats) < 2:
        raise NothingToCompare(f"{boat_file.path}: nothing to compare: no option beside the base boat")
    movable = movable_boats(boat_file, options)
    inputs = inputs_of(boat_file, options=options, defaults=defaults, boats=movable)
    if not inputs:
        raise NoDoubt(f"{boat_file.path}: nothing is uncertain: no [[uncertainty]] leaves a range")
    places = sample(inputs, draws=draws, seed=seed)
    grid = grid_of(tws_kn=tws_kn, twa_deg=twa_deg)
    conditions = grid_conditions(grid, option_count=len(boats))
    moved, of_moved, whose = _moved(movable, boats, conditions, inputs, places[:checked])
    solved, searched = _solved(
        _Batch(boats, conditions), _Batch(moved, of_moved), processes=processes, progress=progress
    )
    nominal = polar_of(boat_file, boats, grid, solved)
    tasks = [
        Task(
            movable=movable[name],
            option=name,
            inputs=inputs,
            places=places,
            solved=nominal.solved,
            conditions=np.flatnonzero(conditions.option == at),
            searched=searched,
            searched_as={draw: boat for boat, (draw, option) in enumerate(whose) if option == at},
        )
        for at, name in enumerate(nominal.options)
    ]
    return Doubt(
        nominal=Comparison(polar=nominal),
        ranges=inputs,
        places=places,
        seed=seed,
        drawn=_drawn(tasks, processes=processes, progress=progress),
    )


def _drawn(tasks: Sequence[Task], *, processes: int, progress: Progress | None) -> tuple[Drawn, ...]:
    """The draws of every task, shared out among processes."""
    total = sum(len(task.conditions) * len(task.places) for task in tasks)
    shared, done = _shared_out(tasks, processes), 0

    def tell(number: int) -> None:
        nonlocal done
        done += len(shared[number].conditions) * len(shared[number].places)
        if progress is not None:
            progress(done, total)

    if processes > 1:
        parts = in_processes(drawn, shared, processes=min(processes, len(shared)), on_result=tell)
    else:
        parts = []
        for number, task in enumerate(shared):
            parts.append(drawn(task))
            tell(number)
    return tuple(joined([part for part in parts if part.option == task.option]) for task in tasks)


def _shared_out(tasks: Sequence[Task], processes: int) -> list[Task]:
    """Tasks with those that would be left over when every process has had as many cut into a part for each,
    by conditions, which are answered each for itself.
    """
    left = len(tasks) % processes
    whole, cut = tasks[: len(tasks) - left], tasks[len(tasks) - left :]
    parts = [
        replace(task, conditions=part)
        for task in cut
        for part in np.array_split(task.conditions, processes)
        if len(part)
    ]
    return [*whole, *parts]


@dataclass(frozen=True)
class _Batch:
    """Conditions to solve, each of one of some boats."""

    boats: Sequence[Boat]
    conditions: Conditions

    def solve(self, processes: int, progress: Progress | None = None) -> Solved:
        return solve(self.boats, self.conditions, processes=processes, progress=progress)


def _solved(
    nominal: _Batch, moved: _Batch, *, processes: int, progress: Progress | None
) -> tuple[Solved, Solved | None]:
    """Two batches solved, the second where it has boats: side by side, for one that is cut in two takes
    longer than half of its time.
    """
    if processes < 2 or not moved.boats:
        return nominal.solve(processes, progress), moved.solve(processes) if moved.boats else None
    both = [(nominal, processes // 2), (moved, processes - processes // 2)]
    total, done = len(nominal.conditions) + len(moved.conditions), 0

    def tell(number: int) -> None:
        nonlocal done
        done += len(both[number][0].conditions)
        if progress is not None:
            progress(done, total)

    one, other = in_processes(_solve_batch, both, processes=2, on_result=tell)
    return one, other


def _solve_batch(work: tuple[_Batch, int]) -> Solved:
    batch, processes = work
    return batch.solve(processes)


def _moved(
    movable: Mapping[str, MovableKeys],
    boats: Sequence[Boat],
    conditions: Conditions,
    inputs: Sequence[Input],
    places: Floats,
) -> tuple[list[Boat], Conditions, list[tuple[int, int]]]:
    """Draws of all boats, those of a draw side by side; their conditions, which are those of the boats; and
    the draw and the option of each.
    """
    moved: list[Boat] = []
    whose: list[tuple[int, int]] = []
    taken, number = [np.zeros(0, dtype=np.intp)], [np.zeros(0, dtype=np.intp)]
    for draw, place in enumerate(places):
        for option, keys in enumerate(movable[boat.name] for boat in boats):
            try:
                moved.append(keys.moved_to(changes_at(inputs, place.tolist(), keys.keys)).boat)
            except BoatFileError:  # told of where the draw is made
                continue
            taken.append(np.flatnonzero(conditions.option == option))
            number.append(np.full(len(taken[-1]), len(whose), dtype=np.intp))
            whose.append((draw, option))
    asked = replace(conditions.take(np.concatenate(taken)), option=np.concatenate(number))
    return moved, asked, whose


def _signed(value: float) -> str:
    return show_number(value, decimals=2, signed=True)


def _percent(share: float) -> str:
    return f"{show_number(100.0 * share, decimals=0)} %"
