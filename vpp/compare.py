"""What each option gains or loses against the base boat, where the gain turns into a loss, and which option
is best where.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp.boat import Boat
from vpp.config.set_boats import SetBoats, set_boats
from vpp.crossovers import crossover_kn
from vpp.polar import (
    BEST_VMG,
    REACH_RANGE_DEG,
    Polar,
    Progress,
    WindGridError,
    grid_of,
    polar,
    source_of,
)
from vpp.results.frames import EXTENDED_MARK, Floats, status_words
from vpp.results.variables import show_number
from vpp.set_values import Candidates, SetValues, grid_problems
from vpp.solved import FOIL_BORNE, SPEED
from vpp.summary_by_wind import DECISIVE_PERCENT as DECISIVE_PERCENT
from vpp.summary_by_wind import LEVEL_KN as LEVEL_KN
from vpp.summary_by_wind import Course, Turn, say

if TYPE_CHECKING:
    from vpp.config import BoatFile

FLIES_MARK, FLOATS_MARK = "^", "v"
"""What follows a gain between branches: the option is foil-borne and the base hull-borne, or the other way
round.
"""

_SMALL = f": below {DECISIVE_PERCENT:g} %, no basis for a decision by itself"


class NothingToCompare(ValueError):
    """The boat file holds no option, or none was chosen, beside the base boat."""


@dataclass(frozen=True, kw_only=True)
class Crossover:
    """Where a VMG gain changes sign: between two wind speeds of the grid, at `tws_kn`, which is solved for
    (`is_solved`) or by a straight line between them; NaN where a boat changes its branch in between. At
    `below_kn` the gain has one sign, at `above_kn` the other; `winds` are the places of the known gains
    next to the crossing.
    """

    option: str
    aim: str
    below_kn: float
    above_kn: float
    tws_kn: float
    gain_above: bool
    winds: tuple[int, int]
    is_solved: bool = False


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """A polar with what its options gain against the base, which is the polar's first option.

    Gains are positive where the option is the faster: in boat speed at a given angle, in speed made good to
    windward or downwind where the aim is a best VMG. They are NaN unless both boats converged. Options with
    quantities that are set for a range of wind have the values of `settings` in the polar.
    """

    polar: Polar
    settings: SetValues = field(default_factory=SetValues, repr=False)

    def __repr__(self) -> str:
        options = f"{', '.join(self.alternatives)} against {self.polar.options[0]}"
        counted = f"{len(self.polar.solved.status)} conditions, {int(np.sum(self.polar.converged))} converged"
        return f"Comparison({self.polar.source.file}: {options}; {counted})"

    def _repr_html_(self) -> str:
        """What a notebook shows: the figure of best VMGs and their gains, and a table of gains."""
        from vpp.notebook import comparison_html  # noqa: PLC0415  (figures only where they are looked at)

        return comparison_html(self)

    @property
    def alternatives(self) -> tuple[str, ...]:
        """The options compared with the base."""
        return self.polar.options[1:]

    def made_good(self) -> Floats:
        """What is compared, in kn, on (option, tws, row_aims): boat speed, or speed made good where the aim
        is a best VMG.
        """
        aims = np.array(self.polar.row_aims)
        sign = np.where(aims == "downwind", -1.0, 1.0)
        return np.where(aims == "speed", self.polar.rows("boat_speed_kn"), sign * self.polar.rows("vmg_kn"))

    def gain_kn(self) -> Floats:
        """Gain of every option over the base in the shape of `made_good`; the base's own is zero."""
        made_good = self.made_good()
        return made_good - made_good[:1]

    def gain_percent(self) -> Floats:
        """The same as a part of the base's."""
        made_good = self.made_good()
        return 100.0 * (made_good - made_good[:1]) / made_good[:1]

    def gain_extended(self) -> NDArray[np.bool_]:
        """Which gains rest on hull resistance extended past its data: that of the option or that of the
        base.
        """
        extended = self.polar.extended
        return (extended | extended[:1]) & np.isfinite(self.gain_kn())

    def crossing(self) -> NDArray[np.int_]:
        """Which gains lie between branches: 1 where the option is foil-borne and the base hull-borne, -1 the
        other way round, 0 where both are carried alike or one has no result.
        """
        flies = (self.polar.branch == FOIL_BORNE).astype(np.int_)
        return np.where(np.isfinite(self.gain_kn()), flies - flies[:1], 0)

    def marks(self) -> NDArray[np.str_]:
        """What follows a printed gain: a mark for extended hull resistance, and one for gains between
        branches.
        """
        crossing = self.crossing()
        between = np.where(crossing > 0, FLIES_MARK, np.where(crossing < 0, FLOATS_MARK, ""))
        return np.char.add(np.where(self.gain_extended(), EXTENDED_MARK, ""), between)

    @property
    def crossing_note(self) -> str:
        """What the marks of gains between branches mean; empty when there are none."""
        crossing = self.crossing()[1:]
        if not crossing.any():
            return ""
        return (
            f"{FLIES_MARK} the option is foil-borne and {self.polar.options[0]} hull-borne, {FLOATS_MARK} "
            f"the other way round: {int(np.sum(crossing != 0))} of {crossing.size} gains"
        )

    def set_values(self) -> SetValues:
        """What is set for a day, a leg or a range of wind: the values that are best for each and what they
        lose. Empty, and false, where no option has anything that is set.
        """
        return self.settings

    def boat_at(self, at: int, wind: int, row: int) -> Boat:
        """The boat of an option at a wind and a row of `row_aims`, all by their places, with what is set."""
        name = self.polar.options[at]
        if name in self.settings.options:
            return self.settings.boat_at(name, wind, row)
        return self.polar.solved.boats[at]

    def vmg_gain_kn(self, option: str, *, aim: str) -> Floats:
        """Gain in speed made good `upwind` or `downwind` of an option, along the wind speeds."""
        return self.gain_kn()[self.polar.options.index(option), :, self.place(aim)]

    @property
    def reach_deg(self) -> float | None:
        """The grid's angle that stands for a reach; see `WindGrid.reach_deg`."""
        return self.polar.grid.reach_deg

    @property
    def reach_note(self) -> str:
        """Why there is no reach; empty when there is one."""
        if self.reach_deg is not None:
            return ""
        lowest, highest = REACH_RANGE_DEG
        return f"no reach compared: no angle of the grid lies from {lowest:g} to {highest:g} deg"

    def reach_gain_kn(self, option: str) -> Floats:
        """Gain of an option on the reach at `reach_deg`, along the wind speeds. Raises ValueError when the
        grid holds no reach.
        """
        if self.reach_deg is None:
            raise ValueError("the wind grid holds no reach")
        return self.gain_kn()[self.polar.options.index(option), :, self.place(self.reach_deg)]

    def place(self, twa_deg: float | str) -> int:
        """Where an angle of the grid, `upwind` or `downwind` lies along the last axis of `made_good`."""
        if isinstance(twa_deg, str):
            return self.polar.row_aims.index(twa_deg)
        return self.polar.grid.twa_deg.index(twa_deg)

    def gain_frame(self) -> pd.DataFrame:
        """The table of gains, one row for every option but the base and every condition, failed ones kept.

        `base_kn` and `option_kn` are what is compared (see `made_good`); where the aim is a best VMG each
        boat sails its own angle.
        """
        made_good = self.made_good()
        remarks = self.polar.remarks()
        twa = self.polar.rows("twa_deg")
        status = status_words(self.polar.statuses().ravel()).reshape(made_good.shape)
        branch = self.polar.branch.astype(object)
        columns: dict[str, NDArray[Any]] = {
            "option": np.array(self.polar.options, dtype=object)[:, np.newaxis, np.newaxis],
            "tws_kn": self.polar.rows("tws_kn"),
            "twa_deg": twa,
            "aim": np.array(self.polar.row_aims, dtype=object),
            "gain_kn": self.gain_kn(),
            "gain_percent": self.gain_percent(),
            "base_twa_deg": twa[:1],
            "base_kn": made_good[:1],
            "option_kn": made_good,
            "base_status": status[:1],
            "option_status": status,
            "base_branch": branch[:1],
            "option_branch": branch,
            "base_remark": remarks[:1],
            "option_remark": remarks,
        }
        return pd.DataFrame(
            {name: np.broadcast_to(values, made_good.shape)[1:].ravel() for name, values in columns.items()}
        )

    def best_frame(self) -> pd.DataFrame:
        """The fastest boat at every condition, with its margin to the next.

        `twa_deg` is the best boat's where the aim is a best VMG. `compared_count` boats converged,
        `missing_count` did not, and `extended_count` of those compared rest on hull resistance
        extended past its data. Without a converged boat the names are empty and the numbers missing.
        """
        made_good = self.made_good()
        converged_count = np.sum(~np.isnan(made_good), axis=0)
        # missing boats last; of equals the earlier option first, since it is the simpler answer
        ranked = np.argsort(np.where(np.isnan(made_good), np.inf, -made_good), axis=0, kind="stable")
        ranked_speed = np.take_along_axis(made_good, ranked, axis=0)
        names = np.array(self.polar.options, dtype=object)[ranked]
        names = np.where(np.isnan(ranked_speed), "", names)
        remarks = self.polar.remarks()
        best_remark = np.take_along_axis(remarks, ranked, axis=0)[0]
        alone = len(self.polar.options) == 1
        columns: dict[str, NDArray[Any]] = {
            "tws_kn": self.polar.rows("tws_kn")[0],
            "twa_deg": np.take_along_axis(self.polar.rows("twa_deg"), ranked, axis=0)[0],
            "aim": np.array(self.polar.row_aims, dtype=object),
            "option": names[0],
            "branch": np.take_along_axis(self.polar.branch, ranked, axis=0)[0].astype(object),
            "best_kn": ranked_speed[0],
            "runner_up": np.array("", dtype=object) if alone else names[1],
            "margin_kn": np.array(np.nan) if alone else ranked_speed[0] - ranked_speed[1],
            "compared_count": converged_count,
            "missing_count": len(self.polar.options) - converged_count,
            "extended_count": np.sum(self.polar.extended, axis=0),
            "base_remark": remarks[0],
            "option_remark": np.where(converged_count > 0, best_remark, ""),
        }
        return pd.DataFrame(
            {name: np.broadcast_to(values, made_good.shape[1:]).ravel() for name, values in columns.items()}
        )

    def missing_count(self, option: str) -> int:
        """How many conditions could not be compared for an option, because it or the base has no result."""
        return int(np.sum(np.isnan(self.gain_kn()[self.polar.options.index(option)])))

    def crossovers(self) -> tuple[Crossover, ...]:
        """Every change of sign of a VMG gain between wind speeds, by option and aim, gains between branches
        left aside. Where both boats can be followed between the winds it is solved for.
        """
        return self._crossovers

    @cached_property
    def _crossovers(self) -> tuple[Crossover, ...]:
        return tuple(
            self._solved(crossover)
            for option in self.alternatives
            for aim in BEST_VMG
            for crossover in self._turning(self.polar.options.index(option), self.place(aim), aim)
        )

    def _turning(self, at: int, row: int, aim: str) -> tuple[Crossover, ...]:
        """Changes of sign of an option's gain along the winds of a row, by straight lines."""
        return find_crossovers(
            tws_kn=self.polar.grid.tws_kn,
            gain_kn=self._alike_kn(at, row),
            option=self.polar.options[at],
            aim=aim,
            branches=self._pair(at, row),
        )

    def _solved(self, found: Crossover) -> Crossover:
        """A crossover solved for, where that can be."""
        if np.isnan(found.tws_kn):
            return found
        tws_kn = crossover_kn(
            self.polar,
            option=self.polar.options.index(found.option),
            row=self.place(found.aim),
            winds=found.winds,
            boat_at=self.boat_at,
        )
        return found if np.isnan(tws_kn) else replace(found, tws_kn=tws_kn, is_solved=True)

    def by_wind(self) -> tuple[str, ...]:
        """Which option is best in which range of wind and what the others gain or cost there, in sentences:
        upwind, on a reach and downwind. The ranges end where the better option is solved to change.
        """
        return self._by_wind

    @cached_property
    def _by_wind(self) -> tuple[str, ...]:
        ways: list[tuple[float | str, str]] = [("upwind", "Upwind")]
        if self.reach_deg is not None:
            ways.append((self.reach_deg, f"On the reach, TWA {self.reach_deg:g} deg"))
        ways.append(("downwind", "Downwind"))
        if not self.alternatives:
            return ()
        return (*say([self._course(twa_deg, where) for twa_deg, where in ways]), *self._say_missing())

    def _say_missing(self) -> list[str]:
        """How many conditions of the grid could not be compared, by option."""
        counts = {name: self.missing_count(name) for name in self.alternatives}
        named = [f"{name} in {count}" for name, count in counts.items() if count]
        of = self.made_good()[0].size
        told = f"Not compared for want of a result, of {of} conditions: {', '.join(named)}."
        return [told] if named else []

    def _course(self, twa_deg: float | str, where: str) -> Course:
        """What all options make good along the winds at an angle or a best VMG."""
        row = self.place(twa_deg)
        # those of best VMG are solved for anyway; one on the reach is not worth as much
        turns = (
            self.crossovers()
            if isinstance(twa_deg, str)
            else [
                each
                for name in self.alternatives
                for each in self._turning(self.polar.options.index(name), row, SPEED)
            ]
        )
        return Course(
            where=where,
            tws_kn=self.polar.grid.tws_kn,
            options=self.polar.options,
            made_good=self.made_good()[:, :, row],
            crossing=self.crossing()[:, :, row],
            extended=self.gain_extended()[:, :, row],
            overtaking=lambda first, second, left, right: self._overtaking(first, second, row, (left, right)),
            turns={
                name: [
                    _as_turn(each)
                    for each in turns
                    if each.option == name and each.aim == self.polar.row_aims[row]
                ]
                for name in self.alternatives
            },
        )

    def _overtaking(self, first: int, second: int, row: int, winds: tuple[int, int]) -> Turn:
        """Where one option overtakes another between two winds at which it is slower and faster."""
        low, high = (self.polar.grid.tws_kn[wind] for wind in winds)
        carried = {tuple(self.polar.branch[[first, second], wind, row]) for wind in winds}
        if len(carried) > 1:
            return Turn(below_kn=low, above_kn=high, tws_kn=np.nan, is_solved=False)
        tws_kn = crossover_kn(
            self.polar, option=second, against=first, row=row, winds=winds, boat_at=self.boat_at
        )
        if np.isfinite(tws_kn):
            return Turn(below_kn=low, above_kn=high, tws_kn=tws_kn, is_solved=True)
        before, after = (self.made_good()[[second, first], wind, row] for wind in winds)
        lead = before[0] - before[1], after[0] - after[1]
        share = lead[0] / (lead[0] - lead[1])
        return Turn(below_kn=low, above_kn=high, tws_kn=float(low + share * (high - low)), is_solved=False)

    def _alike_kn(self, at: int, row: int) -> Floats:
        """Gains along the wind speeds where both boats are carried alike, NaN elsewhere."""
        return np.where(self.crossing()[at, :, row] == 0, self.gain_kn()[at, :, row], np.nan)

    def _pair(self, at: int, row: int) -> tuple[tuple[str, str], ...]:
        """How base and option are carried along the wind speeds."""
        branch = self.polar.branch[:, :, row]
        return tuple((str(base), str(option)) for base, option in zip(branch[0], branch[at], strict=True))

    def summary(self) -> tuple[str, ...]:
        """One sentence an option in plain words: what it gains upwind, downwind and on a reach, and where
        that changes sign.
        """
        return tuple(f"{option}: {'; '.join(self.phrases(option))}." for option in self.alternatives)

    def notes(self) -> tuple[str, ...]:
        """What is to be said beside the summary: the marks it uses, a reach that is missing, and sails that
        nothing fills.
        """
        polar = self.polar
        notes = (self.reach_note, polar.extended_note, self.crossing_note, polar.unfilled_note)
        return tuple(note for note in notes if note)

    def phrases(self, option: str) -> tuple[str, ...]:
        """The parts of an option's sentence: upwind, downwind, on the reach, and what is missing."""
        at = self.polar.options.index(option)
        parts = [self._say_along(at, aim, aim, unit="kn VMG") for aim in BEST_VMG]
        if self.reach_deg is not None:
            parts.append(self._say_along(at, self.reach_deg, f"at TWA {self.reach_deg:g} deg", unit="kn"))
        missing = self.missing_count(option)
        if missing:
            counted = "1 condition" if missing == 1 else f"{missing} conditions"
            parts.append(f"{counted} not compared for want of a result")
        return tuple(parts)

    def _say_along(self, at: int, twa_deg: float | str, name: str, *, unit: str) -> str:
        """What an option gains along the wind speeds at an angle or a best VMG."""
        row = self.place(twa_deg)
        tws_kn, pair = self.polar.grid.tws_kn, self._pair(at, row)
        crossing = self.crossing()[at, :, row] != 0
        gain, percent = self.gain_kn()[at, :, row], self.gain_percent()[at, :, row]
        alike = self._alike_kn(at, row)
        extended = self.gain_extended()[at, :, row]
        parts = []
        if np.isfinite(alike).any() or not crossing.any():
            told = _carried(pair, np.isfinite(alike))
            parts.append(
                say_gains(tws_kn, alike, gain_percent=percent, extended=extended, unit=unit, carried=told)
            )
        parts += _say_crossing(
            tws_kn, gain, crossing, pair, names=(self.polar.options[0], self.polar.options[at]), unit=unit
        )
        said = ", ".join(parts)
        turns = "".join(
            f", {_say_crossover(item)}"
            for item in self.crossovers()
            if (item.option, item.aim) == (self.polar.options[at], twa_deg)
        )
        small = not crossing.any() and is_small(gain, gain_percent=percent)
        return f"{name} {said}{turns}{_SMALL if small else ''}"


def compare(
    boat_file: BoatFile,
    *,
    tws_kn: Sequence[float] | None = None,
    twa_deg: Sequence[float] | None = None,
    options: Sequence[str] = (),
    processes: int = 1,
    progress: Progress | None = None,
) -> Comparison:
    """Every option of a boat file, or those named, against its base boat on one wind grid.

    Where an option has quantities that are set for a range of wind, every value is solved and the best of
    each range is taken; see `Comparison.set_values`. Raises WindGridError for a grid that cannot be used,
    BoatFileError for an option that the file does not hold and for a value that the boat cannot have, and
    NothingToCompare when only the base boat is left and nothing of it is set.
    """
    has_options, made = len(boat_file.select(options)) > 1, set_boats(boat_file, options)
    if not has_options and not made:
        raise NothingToCompare(f"{boat_file.path}: nothing to compare: no option beside the base boat")
    if made:
        return _with_set_values(
            boat_file, made, options, tws_kn=tws_kn, twa_deg=twa_deg, processes=processes, progress=progress
        )
    return Comparison(
        polar=polar(
            boat_file,
            tws_kn=tws_kn,
            twa_deg=twa_deg,
            options=options,
            processes=processes,
            progress=progress,
        )
    )


def _with_set_values(
    boat_file: BoatFile,
    made: Mapping[str, SetBoats],
    options: Sequence[str],
    *,
    tws_kn: Sequence[float] | None,
    twa_deg: Sequence[float] | None,
    processes: int,
    progress: Progress | None,
) -> Comparison:
    """The same where options have quantities that are set: each value is solved as a boat of its own."""
    quantities = {name: each.quantities for name, each in made.items()}
    grid = grid_of(tws_kn=tws_kn, twa_deg=twa_deg)
    if problems := grid_problems(quantities, grid):
        raise WindGridError(problems)
    filed = boat_file.select(options)
    boats: list[Boat] = []
    of: list[Candidates] = []
    for boat in filed:
        if boat.name not in made:
            boats.append(boat)
            continue
        own = made[boat.name]
        places = len(boats) + np.arange(len(own.held) + len(own.free))
        of.append(
            Candidates(
                option=boat.name,
                quantities=own.quantities,
                held=places[: len(own.held)],
                free=places[len(own.held) :],
            )
        )
        boats += (*own.held, *own.free)
    solved = polar(
        replace(boat_file, boats=tuple(boats)),
        tws_kn=grid.tws_kn,
        twa_deg=grid.twa_deg,
        processes=processes,
        progress=progress,
    )
    settings = SetValues(solved=solved, of=tuple(of))
    source = replace(source_of(boat_file, filed), stopped=solved.source.stopped)
    return Comparison(polar=settings.polar(source=source, boats=filed), settings=settings)


def find_crossovers(
    *,
    tws_kn: Sequence[float],
    gain_kn: Floats,
    option: str,
    aim: str,
    branches: Sequence[tuple[str, str]] | None = None,
) -> tuple[Crossover, ...]:
    """Where a gain along rising wind speeds changes sign.

    The sign is that of the winds that are not level; level and missing winds in between widen the bracket.
    The crossing itself is by a straight line between the two known gains around it, and NaN where those have
    different `branches` (how base and option are carried), since the gain jumps there.
    """
    known = [index for index in range(len(tws_kn)) if np.isfinite(gain_kn[index])]
    signed = [index for index in known if abs(gain_kn[index]) >= LEVEL_KN]
    found = []
    for first, second in pairwise(signed):
        if (gain_kn[first] > 0.0) == (gain_kn[second] > 0.0):
            continue
        inside = [index for index in known if first <= index <= second]
        left, right = next(
            (a, b) for a, b in pairwise(inside) if (gain_kn[b] > 0.0) == (gain_kn[second] > 0.0)
        )
        share = gain_kn[left] / (gain_kn[left] - gain_kn[right])
        between = () if branches is None else branches[left : right + 1]
        if len({pair for pair in between if all(pair)}) > 1:
            share = np.nan
        found.append(
            Crossover(
                option=option,
                aim=aim,
                below_kn=tws_kn[first],
                above_kn=tws_kn[second],
                tws_kn=float(tws_kn[left] + share * (tws_kn[right] - tws_kn[left])),
                gain_above=bool(gain_kn[second] > 0.0),
                winds=(left, right),
            )
        )
    return tuple(found)


def named_winds(gain_kn: Floats) -> tuple[int, ...]:
    """Which wind speeds a sentence names: the lowest, middle and highest that have a gain."""
    known = [index for index in range(len(gain_kn)) if np.isfinite(gain_kn[index])]
    return tuple(sorted({known[0], known[(len(known) - 1) // 2], known[-1]})) if known else ()


def say_gains(
    tws_kn: Sequence[float],
    gain_kn: Floats,
    *,
    gain_percent: Floats,
    extended: NDArray[np.bool_],
    unit: str,
    carried: Sequence[str] | None = None,
) -> str:
    """Gains in words at the winds named, in knots and percent; those of extended hull resistance are
    marked. `carried` follows each wind, in words how both boats are carried there.
    """
    carried = [""] * len(tws_kn) if carried is None else carried
    named = named_winds(gain_kn)
    if not named:
        return "not compared"
    if np.all(np.abs(gain_kn[np.isfinite(gain_kn)]) < LEVEL_KN):
        mark = EXTENDED_MARK if np.any(extended & np.isfinite(gain_kn)) else ""
        return (
            f"level{mark}" if np.sum(np.isfinite(gain_kn)) > 1 else f"level{mark} at {tws_kn[named[0]]:g} kn"
        )
    words = []
    for index in named:
        mark = EXTENDED_MARK if extended[index] else ""
        if abs(gain_kn[index]) < LEVEL_KN:
            words.append(f"level{mark} at {tws_kn[index]:g} kn{carried[index]}")
            continue
        gain = show_number(gain_kn[index], decimals=2, signed=True)
        share = show_number(abs(gain_percent[index]), decimals=1)
        words.append(f"{gain}{mark} {unit} ({share} %) at {tws_kn[index]:g} kn{carried[index]}")
        unit = "kn"
    return ", ".join(words)


def is_small(gain_kn: Floats, *, gain_percent: Floats) -> bool:
    """Whether all gains at the winds named are below `DECISIVE_PERCENT` as shown, and not all winds level."""
    named = list(named_winds(gain_kn))
    level = bool(np.all(np.abs(gain_kn[np.isfinite(gain_kn)]) < LEVEL_KN))
    return not level and bool(np.all(np.round(np.abs(gain_percent[named]), 1) < DECISIVE_PERCENT))


def _carried(pair: Sequence[tuple[str, str]], named: NDArray[np.bool_]) -> list[str]:
    """How both boats are carried, to be said behind each wind where it is not the same in all that are
    compared.
    """
    kinds = {pair[index] for index in np.flatnonzero(named).tolist()}
    return [f" (both {base})" if len(kinds) > 1 else "" for base, _ in pair]


def _say_crossing(
    tws_kn: Sequence[float],
    gain_kn: Floats,
    crossing: NDArray[np.bool_],
    pair: Sequence[tuple[str, str]],
    *,
    names: tuple[str, str],
    unit: str,
) -> list[str]:
    """Gains between branches in words, each wind by itself."""
    told = []
    for index in np.flatnonzero(crossing).tolist():
        base, option = pair[index]
        gain = show_number(gain_kn[index], decimals=2, signed=True)
        told.append(f"at {tws_kn[index]:g} kn {names[0]} is {base}, {names[1]} {option} ({gain} {unit})")
    return told


def _as_turn(crossover: Crossover) -> Turn:
    return Turn(
        below_kn=crossover.below_kn,
        above_kn=crossover.above_kn,
        tws_kn=crossover.tws_kn,
        is_solved=crossover.is_solved,
    )


def _say_crossover(crossover: Crossover) -> str:
    turn = "a loss turns into a gain" if crossover.gain_above else "the gain turns into a loss"
    between = f"between {crossover.below_kn:g} and {crossover.above_kn:g} kn"
    if np.isnan(crossover.tws_kn):
        return f"{turn} {between}, where the way of being carried changes"
    if crossover.is_solved:
        return f"{turn} at {show_number(crossover.tws_kn, decimals=1)} kn"
    return f"{turn} {between} (about {show_number(crossover.tws_kn, decimals=0)} kn)"
