"""Between which winds a boat with foils takes off and touches down, by true wind angle."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp.boat import Boat
from vpp.polar import Polar
from vpp.reporting import SKIMMING
from vpp.results.frames import Floats, is_converged
from vpp.results.variables import DEGREE, KNOT, show_number
from vpp.solved import BRANCHES, FOIL_BORNE, HULL_BORNE, SPEED, Conditions, Solved
from vpp.solver.status import Status
from vpp.solver.stopping import refuse_part
from vpp.trim import branches_of
from vpp.wardrobe import solve

Progress = Callable[[int, int], None]

TOLERANCE_KN = 0.1
"""How closely the two winds are found."""

LIGHTEST_KN = 2.0
"""No wind below this is tried."""

FIRST_LOOK_KN = (4.0, 8.0, 12.0, 16.0, 20.0, 24.0)
"""Winds that are tried first where no polar says what happens in them."""

TAKE_OFF_COLUMNS = ("option", "twa_deg", "touch_down_tws_kn", "take_off_tws_kn", "note")

# A few conditions take the solver as long as a hundred: brackets are cut in two where there are many, in up
# to five parts where there are few.
_FEW, _MOST_CUTS = 200, 4
_EVENTS = {FOIL_BORNE: "touch_down", HULL_BORNE: "take_off"}


@dataclass(frozen=True, kw_only=True)
class TakeOff:
    """Take-off and touch-down winds of boats with foils by true wind angle; see `take_off_winds`.

    `touch_down_kn` and `take_off_kn` are on (option, angle), NaN where there is none; `notes` says what a
    number alone does not. The strongest wind tried was `strongest_kn`.
    """

    options: tuple[str, ...]
    twa_deg: tuple[float, ...]
    strongest_kn: float
    touch_down_kn: Floats
    take_off_kn: Floats
    notes: NDArray[np.object_]

    def to_frame(self) -> pd.DataFrame:
        """The tidy table: one row for each option and angle."""
        option, angle = np.meshgrid(np.array(self.options, dtype=object), self.twa_deg, indexing="ij")
        columns = (option, angle, self.touch_down_kn, self.take_off_kn, self.notes)
        return pd.DataFrame(
            {name: values.ravel() for name, values in zip(TAKE_OFF_COLUMNS, columns, strict=True)}
        )

    def summary(self) -> tuple[str, ...]:
        """One sentence an option: the lightest wind in which it flies, and that in which it takes off."""
        return tuple(
            f"{name}: {self._say_least(self.touch_down_kn[at], 'on foils down to', 'cannot stay on foils')}; "
            f"{self._say_least(self.take_off_kn[at], 'takes off from the hull from', 'does not take off')}."
            for at, name in enumerate(self.options)
        )

    def _say_least(self, winds: Floats, found: str, none: str) -> str:
        if not np.isfinite(winds).any():
            return f"{none} in winds up to {self.strongest_kn:g} kn"
        at = int(np.nanargmin(winds))
        return f"{found} TWS {show_number(winds[at], decimals=1)} kn, at TWA {self.twa_deg[at]:g} deg"


@dataclass
class _Search:
    """What is known of one event for one boat at one angle: whether it is so, and how the solver ended, by
    wind.
    """

    boat: int
    twa_deg: float
    branch: str
    told: dict[float, tuple[bool, int]] = field(default_factory=dict)

    @property
    def bracket(self) -> tuple[float, float] | None:
        """The lowest wind in which it is so and the one tried next below; None where there is none."""
        winds = sorted(self.told)
        so = [wind for wind in winds if self.told[wind][0]]
        if not so:
            return None
        return max((wind for wind in winds if wind < so[0]), default=so[0]), so[0]

    def next_kn(self, cuts: int) -> tuple[float, ...]:
        """The winds to try next, which cut the bracket evenly; none when the search is over."""
        if self.bracket is None:
            return ()
        below, above = self.bracket
        if below == above:
            return (LIGHTEST_KN,) if above > LIGHTEST_KN else ()
        if above - below <= TOLERANCE_KN:
            return ()
        return tuple(np.linspace(below, above, cuts + 2)[1:-1].tolist())

    @property
    def found_kn(self) -> float:
        return math.nan if self.bracket is None else self.bracket[1]

    def learn(self, found: Solved, place: int, tws_kn: float) -> None:
        converged = bool(is_converged(found)[place])
        leans = SKIMMING in str(found.remark[place])
        so = converged and (self.branch == FOIL_BORNE or leans)
        self.told[tws_kn] = so, int(found.status[place])

    def notes(self) -> list[str]:
        """What the wind alone does not say."""
        event = _EVENTS[self.branch].replace("_", "-")
        if self.bracket is None:
            none = f"no {event} up to {max(self.told):g} kn"
            without = [wind for wind in sorted(self.told) if self.told[wind][1] != Status.CONVERGED]
            if self.branch == HULL_BORNE and without:
                none += f"; no hull-borne result at {', '.join(f'{wind:g}' for wind in without)} kn"
            return [none]
        below, above = self.bracket
        if below == above:
            return [f"{event} already in the lightest wind tried"]
        ended = self.told[below][1]
        expected = Status.NO_EQUILIBRIUM if self.branch == FOIL_BORNE else Status.CONVERGED
        if ended == expected:
            return []
        return [f"{event} is uncertain: no {self.branch} result just below it ({Status(ended).name.lower()})"]


def take_off_winds(
    boats: Sequence[Boat],
    *,
    twa_deg: Sequence[float],
    polar: Polar | None = None,
    processes: int = 1,
    progress: Progress | None = None,
) -> TakeOff:
    """Take-off and touch-down winds of those of the boats that can fly, at true wind angles [deg].

    The touch-down wind is the lowest true wind speed with an equilibrium on foils: in less wind a flying boat
    comes down. The take-off wind is the lowest in which the fastest equilibrium on the hull leans on the top
    of its range of ride heights: the boat would rise further if it were let. Between the two both states
    exist, and which of them a boat is in depends on what it did before. Where the take-off wind is the lower,
    there is nothing to fly on yet when the hull comes up, and the boat skims in between.

    Both are found to 0.1 kn by cutting brackets, all boats and angles at once, between winds of `polar`
    (which must hold the angles) or else of a first look from 4 to 24 kn. No wind below 2 kn and none above
    the strongest of those is tried, and a change that comes and goes between two neighbours is not seen.
    Everything is steady: inertia, waves, gusts and the crew's pumping are left out. They let boats take off
    in less wind and keep flying through lulls. The definition is this package's own.

    Raises ValueError when no boat can fly or the polar does not hold a boat or an angle.
    """
    flying = [boat for boat in boats if FOIL_BORNE in branches_of(boat)]
    if not flying:
        raise ValueError("none of the boats has foils to fly on")
    searches = [
        _Search(boat, float(angle), branch)
        for boat in range(len(flying))
        for angle in twa_deg
        for branch in BRANCHES
    ]
    if polar is None:
        _try(flying, [(search, wind) for search in searches for wind in FIRST_LOOK_KN], processes)
    else:
        _read(polar, flying, searches)
    done = 0
    while going := [search for search in searches if search.next_kn(1)]:
        cuts = min(max(_FEW // len(going), 1), _MOST_CUTS)
        _try(flying, [(search, wind) for search in going for wind in search.next_kn(cuts)], processes)
        done += len(going)
        if progress is not None:
            progress(done, done + sum(bool(search.next_kn(1)) for search in searches))
    return _assembled(flying, tuple(float(angle) for angle in twa_deg), searches)


def _read(polar: Polar, boats: Sequence[Boat], searches: Sequence[_Search]) -> None:
    """What a polar knows already."""
    branches = polar.branches
    for search in searches:
        name = boats[search.boat].name
        found = branches.get(search.branch)
        if found is None or name not in found.options or search.twa_deg not in found.grid.twa_deg:
            raise ValueError(f"the polar does not hold {name}, {search.branch}, at {search.twa_deg:g} deg")
        row_count = len(found.row_aims)
        first = found.options.index(name) * len(found.grid.tws_kn) * row_count
        for wind, tws_kn in enumerate(found.grid.tws_kn):
            place = first + wind * row_count + found.grid.twa_deg.index(search.twa_deg)
            search.learn(found.solved, place, tws_kn)


def _try(boats: Sequence[Boat], winds: Sequence[tuple[_Search, float]], processes: int) -> None:
    """Solve searches in winds [kn], all those of a branch together."""
    for branch in BRANCHES:
        chosen = [(search, wind) for search, wind in winds if search.branch == branch]
        if not chosen:
            continue
        conditions = Conditions(
            option=np.array([search.boat for search, _ in chosen], dtype=np.intp),
            tws=np.array([wind for _, wind in chosen]) * KNOT,
            twa=np.array([search.twa_deg for search, _ in chosen]) * DEGREE,
            aim=np.full(len(chosen), SPEED),
        )
        found = solve(boats, conditions, branches=(branch,), processes=processes)
        refuse_part()
        for place, (search, wind) in enumerate(chosen):
            search.learn(found, place, wind)


def _assembled(boats: Sequence[Boat], twa_deg: tuple[float, ...], searches: Sequence[_Search]) -> TakeOff:
    shape = len(boats), len(twa_deg)
    of = {branch: [search for search in searches if search.branch == branch] for branch in BRANCHES}
    winds = {
        branch: np.array([search.found_kn for search in of[branch]]).reshape(shape) for branch in BRANCHES
    }
    notes = []
    for down, up in zip(of[FOIL_BORNE], of[HULL_BORNE], strict=True):
        said = [*down.notes(), *up.notes()]
        if up.found_kn < down.found_kn - TOLERANCE_KN:
            said.append("the hull comes up before there is an equilibrium on foils")
        notes.append("; ".join(said))
    return TakeOff(
        options=tuple(boat.name for boat in boats),
        twa_deg=twa_deg,
        strongest_kn=max(max(search.told) for search in searches),
        touch_down_kn=winds[FOIL_BORNE],
        take_off_kn=winds[HULL_BORNE],
        notes=np.array(notes, dtype=object).reshape(shape),
    )
