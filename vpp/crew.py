"""What the crew is worth by weight and by place, told apart, and the wind from which ten more kilograms pay.

Each change is made to the boat as its file would have it, so that a heavier boat floats deeper, and every
boat is then sailed at its best.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp.boat import Boat
from vpp.compare import DECISIVE_PERCENT, FLIES_MARK, FLOATS_MARK
from vpp.config import BoatFile, BoatFileError
from vpp.config.variants import Variants
from vpp.polar import BEST_VMG, Polar, Progress, WindGrid, parse_steps, polar
from vpp.results.frames import EXTENDED_MARK, Floats, status_words
from vpp.results.variables import DEGREE, KNOT, show_number
from vpp.solved import FOIL_BORNE, SPEED, Conditions
from vpp.solver.stopping import refuse_part
from vpp.wardrobe import made_good, solve

DEFAULT_TWS = "4:24:2"
DEFAULT_TWA = (90.0,)
EXTRA_KG = 10.0
SHIFT_M = 0.1

TOLERANCE_KN = 0.1
"""How closely a break-even wind is bracketed by solved winds."""

LEVEL_KN = 1e-5
"""Gains smaller than this have no sign: ten times what is left of the solver's tolerance in a difference of
two speeds on the demo keelboat.
"""

BOTH_WAYS_KN = 1e-3
"""A crew that gains more than this both further forward and further aft tells of a poorer local optimum: what
the curvature of a speed gives over so short a shift is less.
"""

GAIN_DECIMALS = 4
"""Digits of a gain in knots: differences are far below the speeds, and the solver settles them."""

HEAVIER, OUT, FORWARD, AFT = "heavier", "further_out", "further_forward", "further_aft"

GAIN_COLUMNS = (
    "option", "change", "tws_kn", "twa_deg", "aim", "gain_kn", "gain_percent", "unchanged_twa_deg",
    "unchanged_kn", "changed_kn", "unchanged_status", "changed_status", "unchanged_branch", "changed_branch",
    "unchanged_remark", "changed_remark",
)  # fmt: skip
BREAK_EVEN_COLUMNS = (
    "option", "aim", "twa_deg", "break_even_tws_kn", "from_tws_kn", "to_tws_kn", "gain_above", "note"
)  # fmt: skip

_PLACE_KEYS = ("x_m", "x_min_m", "x_max_m")
# A few conditions take the solver as long as a hundred: brackets are cut in five.
_CUTS = 4
# A gain that still changes by this share of what it did over the whole bracket jumps.
_JUMP = 0.5


class CrewChangeError(ValueError):
    """A change of the crew that cannot be made; `problems` lists all that is wrong with it."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


@dataclass(frozen=True, kw_only=True)
class BreakEven:
    """A wind in which more crew weight changes between loss and gain.

    `twa_deg` is NaN where the aim is a best VMG. The solved winds `from_tws_kn` and `to_tws_kn` have gains of
    different sign; `tws_kn` between them is by a straight line, and NaN where the gain jumps or one of the
    boats has no result in between: `note` says which.
    """

    option: str
    aim: str
    twa_deg: float
    tws_kn: float
    from_tws_kn: float
    to_tws_kn: float
    gain_above: bool
    note: str


@dataclass(frozen=True, kw_only=True)
class CrewWorth:
    """What changes of the crew gain, by option, wind and aim; see `crew_worth`.

    `polar` holds every boat: of each option first the unchanged one, then one for each change. `cases` names
    their option and change, the latter empty for the unchanged boat. `left_out` says which changes a boat
    file does not allow, and why.
    """

    polar: Polar
    cases: tuple[tuple[str, str], ...]
    extra_kg: float
    shift_m: float
    crossings: tuple[BreakEven, ...]
    left_out: tuple[str, ...]

    def __repr__(self) -> str:
        counted = f"{len(self.polar.solved.status)} conditions, {int(np.sum(self.polar.converged))} converged"
        return f"CrewWorth({self.polar.source.file}: {', '.join(self.options)}; {counted})"

    @property
    def options(self) -> tuple[str, ...]:
        """The options whose crew is changed."""
        return tuple(dict.fromkeys(option for option, _ in self.cases))

    def changes(self, option: str) -> tuple[str, ...]:
        """The changes made to the crew of an option."""
        return tuple(change for name, change in self.cases if name == option and change)

    def says(self, change: str) -> str:
        """A change in words."""
        length = f"{100.0 * self.shift_m:g} cm"
        return {
            HEAVIER: f"{self.extra_kg:g} kg more",
            OUT: f"{length} out",
            FORWARD: f"{length} forward",
            AFT: f"{length} aft",
        }[change]

    def place(self, option: str, change: str = "") -> int:
        """Where a boat stands along the first axis of the gains. Raises ValueError for one that is not
        there.
        """
        return self.cases.index((option, change))

    def row_names(self) -> tuple[str, ...]:
        """The aims along the last axis of the gains, in words."""
        angles = tuple(f"TWA {angle:g} deg" for angle in self.polar.grid.twa_deg)
        return (*angles, *BEST_VMG)

    def told_rows(self) -> tuple[int, ...]:
        """The places along the last axis of the gains in the order in which they are told: upwind, downwind,
        then the angles.
        """
        count = len(self.polar.grid.twa_deg)
        return (count, count + 1, *range(count))

    def row_of(self, item: BreakEven) -> int:
        """The place of a break-even's aim along the last axis of the gains."""
        if item.aim == SPEED:
            return self.polar.grid.twa_deg.index(item.twa_deg)
        return self.polar.row_aims.index(item.aim)

    def made_good(self) -> Floats:
        """What is compared, in kn, on (case, tws, aim): boat speed, or speed made good where the aim is a
        best VMG; NaN without a result.
        """
        return (made_good(self.polar.solved) / KNOT).reshape(self.polar.rows("tws_kn").shape)

    def gain_kn(self) -> Floats:
        """Gain of every case over the unchanged boat of its option, in the shape of `made_good`; NaN unless
        both have a result.
        """
        speed = self.made_good()
        return speed - speed[self._unchanged()]

    def gain_percent(self) -> Floats:
        """The same as a part of what the unchanged boat makes good."""
        return 100.0 * self.gain_kn() / self.made_good()[self._unchanged()]

    def crossing(self) -> NDArray[np.int_]:
        """Which gains lie between branches: 1 where the changed boat is foil-borne and the unchanged one
        hull-borne, -1 the other way round, else 0.
        """
        flies = (self.polar.branch == FOIL_BORNE).astype(np.int_)
        return np.where(np.isfinite(self.gain_kn()), flies - flies[self._unchanged()], 0)

    def extended(self) -> NDArray[np.bool_]:
        """Which gains rest on hull resistance extended past its data, of either boat."""
        extended = self.polar.extended
        return (extended | extended[self._unchanged()]) & np.isfinite(self.gain_kn())

    def marks(self) -> NDArray[np.str_]:
        """What follows a printed gain: marks for extended hull resistance and for gains between branches."""
        crossing = self.crossing()
        between = np.where(crossing > 0, FLIES_MARK, np.where(crossing < 0, FLOATS_MARK, ""))
        return np.char.add(np.where(self.extended(), EXTENDED_MARK, ""), between)

    def break_even(self, option: str | None = None) -> list[BreakEven]:
        """Every wind in which the heavier crew changes between loss and gain, of all options or of one."""
        return [item for item in self.crossings if option in (None, item.option)]

    def to_frame(self) -> pd.DataFrame:
        """The tidy table: one row for every option, change and condition, failed ones kept.

        `unchanged_kn` and `changed_kn` are what is compared (see `made_good`); where the aim is a best VMG
        each boat sails its own angle.
        """
        speed, before = self.made_good(), self._unchanged()
        twa, remarks = self.polar.rows("twa_deg"), self.polar.remarks()
        status = status_words(self.polar.statuses().ravel()).reshape(speed.shape)
        branch = self.polar.branch.astype(object)
        option, change = (
            np.array(words, dtype=object)[:, np.newaxis, np.newaxis]
            for words in zip(*self.cases, strict=True)
        )
        columns = (
            option, change, self.polar.rows("tws_kn"), twa, np.array(self.polar.row_aims, dtype=object),
            self.gain_kn(), self.gain_percent(), twa[before], speed[before], speed, status[before], status,
            branch[before], branch, remarks[before], remarks,
        )  # fmt: skip
        kept = [place for place, (_, name) in enumerate(self.cases) if name]
        return pd.DataFrame(
            {
                name: np.broadcast_to(values, speed.shape)[kept].ravel()
                for name, values in zip(GAIN_COLUMNS, columns, strict=True)
            }
        )

    def break_even_frame(self) -> pd.DataFrame:
        """The break-even winds as a table; without rows where there are none."""
        rows = [
            (
                item.option, item.aim, item.twa_deg, item.tws_kn, item.from_tws_kn, item.to_tws_kn,
                item.gain_above, item.note,
            )
            for item in self.crossings
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=list(BREAK_EVEN_COLUMNS))

    def summary(self) -> tuple[str, ...]:
        """Sentences for each option and aim: where more weight breaks even, then what the other changes
        gain.
        """
        return tuple(
            f"{option}, {self.row_names()[row]}: {told}."
            for option in self.options
            for row in self.told_rows()
            for told in self._phrases(option, row)
        )

    def notes(self) -> tuple[str, ...]:
        """What is to be said beside the gains."""
        crossing = self.crossing()
        notes = [
            f"{self.says(HEAVIER)}: at the crew's place and with its drag area unchanged; the boat floats at "
            "its new weight",
            f"{self.says(OUT)}: the crew's greatest arm; where the crew does not use it, nothing changes",
        ]
        if any(FORWARD in self.changes(option) for option in self.options):
            notes.append(
                f"{self.says(FORWARD)}, {self.says(AFT)}: the crew's place; where it is trimmed within a "
                "range, both ends of that"
            )
        notes += self.left_out
        share = self.gain_percent()
        if np.isfinite(share).any() and np.nanmax(np.abs(share)) < DECISIVE_PERCENT:
            notes.append(f"all gains are below {DECISIVE_PERCENT:g} %: no basis for a decision by themselves")
        notes += self._poorer_optima()
        if self.extended().any():
            notes.append(f"{EXTENDED_MARK} hull resistance extended past the data")
        if crossing.any():
            notes.append(
                f"{FLIES_MARK} only the changed boat is foil-borne, {FLOATS_MARK} only the unchanged one: "
                f"{int(np.sum(crossing != 0))} gains"
            )
        return tuple(notes)

    def _unchanged(self) -> list[int]:
        """Of every case, the place of the unchanged boat of its option."""
        return [self.place(option) for option, _ in self.cases]

    def _poorer_optima(self) -> Iterator[str]:
        """Where a crew further forward and one further aft both gain: the unchanged boat's result is then a
        poorer local optimum than theirs.
        """
        gain, tws = self.gain_kn(), self.polar.grid.tws_kn
        for option in self.options:
            if not {FORWARD, AFT} <= set(self.changes(option)):
                continue
            both = np.minimum(gain[self.place(option, FORWARD)], gain[self.place(option, AFT)])
            for row in self.told_rows():
                winds = ", ".join(f"{tws[i]:g}" for i in np.flatnonzero(both[:, row] > BOTH_WAYS_KN))
                if winds:
                    yield (
                        f"{option}, {self.row_names()[row]} at {winds} kn: forward and aft both gain, so the "
                        "unchanged boat was not found at its best there, and gains over it are too large"
                    )

    def _phrases(self, option: str, row: int) -> Iterator[str]:
        gain = self.gain_kn()[self.place(option, HEAVIER), :, row]
        yield f"{self._say_break_even(option, row, gain)}{self._say_at_ends(option, HEAVIER, row)}"
        for change in self.changes(option):
            if change != HEAVIER:
                yield f"{self.says(change)}: {self._say_at_ends(option, change, row).removeprefix(': ')}"

    def _say_break_even(self, option: str, row: int, gain: Floats) -> str:
        what = self.says(HEAVIER)
        here = [item for item in self.break_even(option) if self.row_of(item) == row]
        if here:
            return f"{what} breaks even at {'; '.join(_say_turn(item) for item in here)}"
        known = np.flatnonzero(np.isfinite(gain))
        if not known.size:
            return f"{what}: break-even not known, no wind has a result of both boats"
        signed = gain[known][np.abs(gain[known]) >= LEVEL_KN]
        how = "level" if not signed.size else "faster" if signed[0] > 0.0 else "slower"
        tws = self.polar.grid.tws_kn
        if known.size == 1:
            return f"{what}: no break-even to be found from one wind; {how} at {tws[known[0]]:g} kn"
        span = f"from {tws[known[0]]:g} to {tws[known[-1]]:g} kn"
        having = "" if known.size == gain.size else " that have a result"
        return f"{what}: break-even wind none: {how} at all winds {span}{having}"

    def _say_at_ends(self, option: str, change: str, row: int) -> str:
        """Gains in words at the lowest, middle and highest winds that have one."""
        at, tws = self.place(option, change), self.polar.grid.tws_kn
        gain, percent = self.gain_kn()[at, :, row], self.gain_percent()[at, :, row]
        marks = self.marks()[at, :, row]
        known = np.flatnonzero(np.isfinite(gain))
        if not known.size:
            return ": no result of both boats"
        if np.all(np.abs(gain[known]) < LEVEL_KN):
            return ": level in all winds"
        named = sorted({known[0], known[(len(known) - 1) // 2], known[-1]})
        return ": " + ", ".join(f"{show_gain(gain[i], percent[i])}{marks[i]} at {tws[i]:g} kn" for i in named)


def show_gain(gain_kn: float, gain_percent: float) -> str:
    """A gain with its share, such as `+0.0020 kn (+0.04 %)`; a dash where there is none."""
    if not math.isfinite(gain_kn):
        return "-"
    if abs(gain_kn) < LEVEL_KN:
        return "level"
    gain = show_number(gain_kn, decimals=GAIN_DECIMALS, signed=True)
    return f"{gain} kn ({show_number(gain_percent, decimals=2, signed=True)} %)"


def shifted_place(crew: Mapping[str, float], by_m: float) -> dict[str, float]:
    """The crew's place fore and aft moved forward by a length [m], out of the keys of its table: its position
    or, where that is trimmed, both ends of its range.
    """
    return {key: round(crew[key] + by_m, 9) for key in _PLACE_KEYS if key in crew}


def crew_worth(
    boat_file: BoatFile,
    *,
    tws_kn: Sequence[float] | None = None,
    twa_deg: Sequence[float] = DEFAULT_TWA,
    extra_kg: float = EXTRA_KG,
    shift_m: float = SHIFT_M,
    options: Sequence[str] = ("base",),
    processes: int = 1,
    progress: Progress | None = None,
) -> CrewWorth:
    """What crew weight and place are worth at best VMG up and down and at true wind angles, boat by boat.

    Of each option the crew is changed in one thing at a time: `extra_kg` more at the same place and with the
    same drag area; `shift_m` more of greatest arm (of a fixed arm, of that); and, of boats free to pitch,
    `shift_m` further forward and aft. Each boat is built, checked and floated anew, but for the arm, which
    changes no flotation and may reach further than a boat file allows. A place fore and aft that the file
    does not allow is left out and named.

    Where the gain of the heavier crew changes sign between winds of the grid, the break-even wind is solved
    for: both boats in winds in between, until two of different sign are within 0.1 kn of each other. A gain
    that comes and goes between two neighbours of the grid is not seen.

    Raises WindGridError for a grid that cannot be used, CrewChangeError for changes that are not above zero,
    and BoatFileError for an option that the file does not hold, a file that has changed since it was read,
    or more weight than the boat may have.
    """
    _check(extra_kg=extra_kg, shift_m=shift_m)
    boats, cases, left_out = _changed_boats(boat_file, options, extra_kg=extra_kg, shift_m=shift_m)
    worth = CrewWorth(
        polar=polar(
            replace(boat_file, boats=tuple(boats)),
            tws_kn=parse_steps(DEFAULT_TWS, name="tws") if tws_kn is None else tws_kn,
            twa_deg=twa_deg,
            processes=processes,
            progress=progress,
        ),
        cases=cases,
        extra_kg=extra_kg,
        shift_m=shift_m,
        crossings=(),
        left_out=left_out,
    )
    return replace(worth, crossings=_break_evens(worth, boats, processes))


def _check(*, extra_kg: float, shift_m: float) -> None:
    values = (("extra_kg", extra_kg, "kg"), ("shift_m", shift_m, "m"))
    problems = [
        f"{name} = {value:g} {unit}: must be a number above 0"
        for name, value, unit in values
        if not (math.isfinite(value) and value > 0.0)
    ]
    if problems:
        raise CrewChangeError(problems)


def _changed_boats(
    boat_file: BoatFile, options: Sequence[str], *, extra_kg: float, shift_m: float
) -> tuple[list[Boat], tuple[tuple[str, str], ...], tuple[str, ...]]:
    """Every boat with its option and change, and what was left out."""
    named = tuple(dict.fromkeys(options))
    boat_file.select(named)
    variants = Variants(boat_file)
    boats: list[Boat] = []
    cases: list[tuple[str, str]] = []
    left_out: list[str] = []
    for option in named:
        filed, crew = boat_file.boat(option), _crew_table(boat_file, option)
        more = {"mass_kg": round(crew["mass_kg"] + extra_kg, 9)}
        heavier = variants.boat(HEAVIER, option=option, table="crew", change=more)
        made = {"": filed, HEAVIER: heavier, OUT: _further_out(filed, shift_m)}
        for change, by in ((FORWARD, shift_m), (AFT, -shift_m)) if filed.heaves else ():
            try:
                made[change] = variants.boat(
                    change, option=option, table="crew", change=shifted_place(crew, by)
                )
            except BoatFileError as error:
                left_out.append(f"left out of {_name(option, change)}: {error.problems[0]}")
        boats += [replace(boat, name=_name(option, change)) for change, boat in made.items()]
        cases += [(option, change) for change in made]
    return boats, tuple(cases), tuple(left_out)


def _further_out(boat: Boat, by: float) -> Boat:
    """The boat with a greater arm of its crew, beyond the reach that a boat file may have if need be. It
    floats as before.
    """
    arm = boat.crew.arm
    # an arm that is not trimmed stays so
    lower = arm.lower + by if arm.is_fixed else arm.lower
    further = replace(boat.crew, arm=replace(arm, lower=lower, upper=arm.upper + by))
    return replace(boat, crew=further)


def _name(option: str, change: str) -> str:
    """What a boat is called in results: its option, and the change of the crew if there is one."""
    return f"{option}, {change.replace('_', ' ')}" if change else option


def _crew_table(boat_file: BoatFile, option: str) -> dict[str, float]:
    """The numbers of an option's crew by the keys of its table."""
    rows = (row for row in boat_file.rows(option) if row.key.startswith("crew."))
    return {
        row.key.removeprefix("crew."): float(row.value) for row in rows if isinstance(row.value, int | float)
    }


# --- break-even ---------------------------------------------------------------------------------------------


def _say_turn(item: BreakEven) -> str:
    turn = "slower below and faster above" if item.gain_above else "faster below and slower above"
    if math.isnan(item.tws_kn):
        between = f"between {item.from_tws_kn:.3g} and {item.to_tws_kn:.3g} kn"
        return f"a wind {between} ({turn}; {item.note})"
    return f"{show_number(item.tws_kn, decimals=1)} kn ({turn})"


@dataclass
class _Search:
    """One change of sign between two winds of the grid: the gain, and how both boats are carried, by wind."""

    unchanged: int
    heavier: int
    row: int
    first_kn: float
    last_kn: float
    told: dict[float, tuple[float, tuple[str, str]]] = field(default_factory=dict)

    @property
    def ends(self) -> tuple[float, float]:
        """The neighbouring winds with a result between which the sign first becomes the last one's."""
        known = sorted(wind for wind, (gain, _) in self.told.items() if math.isfinite(gain))
        above = self.gain_above
        return next((a, b) for a, b in pairwise(known) if (self.told[b][0] > 0.0) == above)

    @property
    def gain_above(self) -> bool:
        return self.told[self.last_kn][0] > 0.0

    def missing(self) -> bool:
        """Whether a wind between the ends was tried in vain."""
        low, high = self.ends
        return any(low < wind < high for wind in self.told)

    def next_kn(self) -> tuple[float, ...]:
        """The winds to try next, which cut the bracket evenly; none when the search is over."""
        low, high = self.ends
        if high - low <= TOLERANCE_KN or self.missing():
            return ()
        return tuple(np.linspace(low, high, _CUTS + 2)[1:-1].tolist())

    def note(self) -> str:
        """Why there is no break-even between the ends; empty where there is one."""
        low, high = self.ends
        if self.missing():
            return "no result of both boats in between"
        if self.told[low][1] != self.told[high][1]:
            return "the gain jumps where the way of being carried changes"
        whole = abs(self.told[self.last_kn][0] - self.told[self.first_kn][0])
        left = abs(self.told[high][0] - self.told[low][0])
        narrowed = high - low < 0.25 * (self.last_kn - self.first_kn)
        return "the gain jumps" if narrowed and left > _JUMP * whole else ""

    def found(self, option: str, row_aims: Sequence[str], grid: WindGrid) -> BreakEven:
        low, high = self.ends
        note, below, above = self.note(), self.told[low][0], self.told[high][0]
        aim = row_aims[self.row]
        return BreakEven(
            option=option,
            aim=aim,
            twa_deg=grid.twa_deg[self.row] if aim == SPEED else math.nan,
            tws_kn=math.nan if note else low + (high - low) * below / (below - above),
            from_tws_kn=low,
            to_tws_kn=high,
            gain_above=self.gain_above,
            note=note,
        )


def _break_evens(worth: CrewWorth, boats: Sequence[Boat], processes: int) -> tuple[BreakEven, ...]:
    """Break-even winds of all options and aims, the winds in between solved together."""
    searches = [
        search
        for option in worth.options
        for row in worth.told_rows()
        for search in _brackets(worth, option, row)
    ]
    row_aims, grid = worth.polar.row_aims, worth.polar.grid
    while going := [(search, wind) for search in searches for wind in search.next_kn()]:
        _try(boats, going, row_aims, grid, processes)
    return tuple(search.found(worth.cases[search.unchanged][0], row_aims, grid) for search in searches)


def _brackets(worth: CrewWorth, option: str, row: int) -> Iterator[_Search]:
    """The changes of sign along the winds of the grid, winds that are level or have no result left aside."""
    unchanged, heavier = worth.place(option), worth.place(option, HEAVIER)
    gain, branch = worth.gain_kn()[heavier, :, row], worth.polar.branch[:, :, row]
    tws = worth.polar.grid.tws_kn
    told = {
        tws[i]: (float(gain[i]), (str(branch[unchanged, i]), str(branch[heavier, i])))
        for i in range(len(tws))
    }
    signed = [i for i in range(len(tws)) if np.isfinite(gain[i]) and abs(gain[i]) >= LEVEL_KN]
    for first, last in pairwise(signed):
        if (gain[first] > 0.0) != (gain[last] > 0.0):
            inside = {tws[i]: told[tws[i]] for i in range(first, last + 1) if np.isfinite(gain[i])}
            yield _Search(
                unchanged=unchanged,
                heavier=heavier,
                row=row,
                first_kn=tws[first],
                last_kn=tws[last],
                told=inside,
            )


def _try(
    boats: Sequence[Boat],
    winds: Sequence[tuple[_Search, float]],
    row_aims: Sequence[str],
    grid: WindGrid,
    processes: int,
) -> None:
    """Solve both boats of searches in winds [kn], all together."""
    aims = [row_aims[search.row] for search, _ in winds]
    angles = [
        grid.twa_deg[search.row] if aim == SPEED else math.nan
        for (search, _), aim in zip(winds, aims, strict=True)
    ]
    conditions = Conditions(
        option=np.array(
            [n for search, _ in winds for n in (search.unchanged, search.heavier)], dtype=np.intp
        ),
        tws=np.repeat(np.array([wind for _, wind in winds]), 2) * KNOT,
        twa=np.repeat(np.array(angles), 2) * DEGREE,
        aim=np.repeat(np.array(aims), 2),
    )
    found = solve(boats, conditions, processes=processes)
    refuse_part()
    gain = np.diff(made_good(found).reshape(-1, 2), axis=1).ravel() / KNOT
    branch = found.branch.reshape(-1, 2)
    for (search, wind), gained, carried in zip(winds, gain.tolist(), branch.tolist(), strict=True):
        search.told[wind] = gained, (str(carried[0]), str(carried[1]))
