"""Draws of an option followed from its nominal optima.

A draw changes the boat by little, so that its optimum lies near the one of the nominal boat, which
`vpp.solver.following` reaches in a few steps of Newton's method where a search takes hundreds. All optima of
a condition that are nearly as fast are followed, on every branch and under every sail set, and the fastest
counts. What cannot be followed is searched for from there, and what is not found in that way is solved as any
boat is. Some draws are solved so beforehand, all boats together: where that finds a faster optimum than
following does, it is followed to the other draws as well.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from vpp import fleets, wardrobe
from vpp.boat import Boat
from vpp.config.errors import BoatFileError
from vpp.config.movable import MovableKeys
from vpp.config.uncertain import Input, changes_at
from vpp.fleets import Fleet
from vpp.multipliers import Held, held
from vpp.optima import SETTINGS, Cases, blank, keep_better, put_in, rearranged, rounds
from vpp.predicting import Optima, expected
from vpp.reporting import report
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import SPEED, Conditions, Solved
from vpp.solver import stopping
from vpp.solver.following import MOST_STEPS, Guess, follow
from vpp.solver.interior_point import minimise
from vpp.solver.memory import keep_freed_memory
from vpp.solver.problem import Settings, Solution
from vpp.solver.status import Status
from vpp.trim import SCALES, FastestEquilibrium, freedom, kind_of, mirror_heights

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

FOLLOWED, SOLVED, FAILED = "followed", "solved", "failed"
"""How a draw was come by: from the nominal optimum, by a whole search, or not at all."""

NO_NOMINAL = "nothing to follow, for the nominal boat has no result"
"""Why there is no draw where the nominal boat fails."""

NEAR = 0.05
"""Optima that make good less than the best by more than this share are not followed."""

AGAIN = Settings(initial_barrier=1e-4, block_size=256, restoration_starts=1)
# A draw is off the parabola by so many times the median distance and this share of the speed, where there are
# so many draws for each of its terms; it begins anew at so many others.
_USUAL, _LEAST_OFF, _DRAWS_PER_TERM, _BESIDE = 8.0, 5e-4, 1.5, 2
# Draws that are known before others are expected where they let them be, and cases that are followed in one
# batch.
_LEAST_KNOWN, _AT_ONCE = 32, 8192
# How far towards the ends of a range boats are tried for what the sails do to each other.
_SHARES_OF_RANGE = (1.0, 0.5, 0.25)
# A draw is not evaluated again after a step from which none longer than this is to be expected.
_UNCONFIRMED = 1e-5
# A bound with a multiplier above this holds.
_HOLDS = 1e-7
# By how much of the speed a whole search must be faster to have found another optimum.
MISSED = 1e-4


@dataclass(frozen=True, kw_only=True)
class Task:
    """The draws of an option: `places` (draws, inputs) within the ranges. `solved` holds the nominal answers
    to `conditions`, which are the option's. `searched` holds whole answers to some draws, and `searched_as`
    which of its boats each of these draws is.
    """

    movable: MovableKeys
    option: str
    inputs: tuple[Input, ...]
    places: Floats
    solved: Solved
    conditions: Integers
    searched: Solved | None = None
    searched_as: Mapping[int, int] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """What the draws of an option make good [kn] (conditions, draws), at which wind angle [deg], on which
    branch, and how each was come by; `reasons` of those that failed by their place, and of those checked what
    following and searching found.
    """

    option: str
    made_good_kn: Floats
    twa_deg: Floats
    branch: NDArray[np.object_]
    how: NDArray[np.object_]
    reasons: Mapping[tuple[int, int], str]
    checks: tuple[tuple[int, int, float, float], ...]


def joined(parts: Sequence[Drawn]) -> Drawn:
    """Draws of an option in some conditions and then in others as one."""
    reasons: dict[tuple[int, int], str] = {}
    checks: list[tuple[int, int, float, float]] = []
    done = 0
    for part in parts:
        reasons |= {(done + condition, draw): why for (condition, draw), why in part.reasons.items()}
        checks += [(done + place, draw, before, after) for place, draw, before, after in part.checks]
        done += len(part.made_good_kn)
    return Drawn(
        option=parts[0].option,
        made_good_kn=np.concatenate([part.made_good_kn for part in parts]),
        twa_deg=np.concatenate([part.twa_deg for part in parts]),
        branch=np.concatenate([part.branch for part in parts]),
        how=np.concatenate([part.how for part in parts]),
        reasons=reasons,
        checks=tuple(checks),
    )


@dataclass(frozen=True, kw_only=True)
class Track:
    """An optimum to follow: the number of its condition, how the boat is carried and dressed there, and the
    guess for its draws.
    """

    condition: int
    branch: str
    sail_set: str
    x: Floats
    multipliers: Floats
    at_lower: NDArray[np.bool_]
    at_upper: NDArray[np.bool_]


def drawn(task: Task) -> Drawn:
    """Every draw of an option at every condition."""
    keep_freed_memory()
    return _Drawing(task).run()


class _Drawing:
    def __init__(self, task: Task) -> None:
        self.task = task
        self.movable = task.movable
        self.conditions = task.solved.conditions.take(task.conditions)
        shape = len(task.conditions), len(task.places)
        self.made_good, self.twa_deg = np.full(shape, np.nan), np.full(shape, np.nan)
        self.branch = np.full(shape, "", dtype=object)
        self.how = np.full(shape, FAILED, dtype=object)
        self.reasons: dict[tuple[int, int], str] = {}
        self.lost = np.zeros(shape, dtype=bool)
        self.boats: dict[int, Boat] = {}
        self.fleets: dict[tuple[str, str], tuple[Integers, Sequence[Boat], Fleet | None]] = {}

    def run(self) -> Drawn:
        """Draws by following, then what searching adds to that, and by searching where following failed."""
        self._make_boats()
        tracks = self._tracks()
        self._leave_out({track.condition for track in tracks})
        for alike in grouped_tracks(tracks, self.conditions):
            self._follow_all(alike)
        checks, more = self._check()
        for alike in grouped_tracks(more, self.conditions):
            self._follow_all(alike, is_extra=True)
        self._search()
        return Drawn(
            option=self.task.option,
            made_good_kn=self.made_good,
            twa_deg=self.twa_deg,
            branch=self.branch,
            how=self.how,
            reasons={place: why for place, why in self.reasons.items() if self.how[place] == FAILED},
            checks=checks,
        )

    def _leave_out(self, known: set[int]) -> None:
        """Give the reason for all draws of conditions in which the nominal boat has no answer to follow."""
        for condition, place in enumerate(self.task.conditions.tolist()):
            if condition not in known:
                why = f"{NO_NOMINAL}: {self.task.solved.reason[place]}"
                self.reasons |= {(condition, draw): why for draw in self.boats}

    def _make_boats(self) -> None:
        for at, place in enumerate(self.task.places):
            try:
                self.boats[at] = self._boat(place)
            except BoatFileError as error:
                why = "; ".join(
                    ": ".join(filter(None, (each.key, each.wrong, each.allowed))) for each in error.problems
                )
                self.reasons |= {(condition, at): why for condition in range(len(self.conditions))}

    def _boat(self, place: Floats) -> Boat:
        by = changes_at(self.task.inputs, place.tolist(), self.movable.keys)
        return self.movable.moved_to(by).boat if by else self.movable.boat

    # --- nominal optima -------------------------------------------------------------------------------------

    def _tracks(self) -> list[Track]:
        """Nominal optima that are the fastest of their condition, or nearly."""
        found: list[tuple[Track, float]] = []
        option = int(self.conditions.option[0])
        for solved in each_way(self.task.solved, self.movable.boat):
            speed = wardrobe.made_good(solved)
            there = [each for each in self._places(solved, option) if np.isfinite(speed[each[0]])]
            tracks = tracks_at(self.movable.boat, solved, there)
            found += [(track, float(speed[place])) for track, (place, _) in zip(tracks, there, strict=True)]
        return nearly_fastest(found, near=NEAR)

    def _places(self, solved: Solved, option: int) -> Iterator[tuple[int, int]]:
        """Places in some answers of the task's conditions for a boat, with their numbers."""
        of, asked = solved.conditions, self.conditions
        for condition in range(len(asked)):
            same = (of.option == option) & (of.tws == asked.tws[condition])
            same &= of.aim == asked.aim[condition]
            if asked.aim[condition] == SPEED:
                same &= of.twa == asked.twa[condition]
            for place in np.flatnonzero(same)[:1]:
                yield int(place), condition

    # --- following ------------------------------------------------------------------------------------------

    def _follow_all(self, tracks: Sequence[Track], *, is_extra: bool = False) -> None:
        """Follow optima of one branch and sail set, and of one kind of aim, to all draws. Extra ones need not
        be there in all draws.
        """
        known = [track for track in tracks if len(track.x)]
        draws, members, fleet = self._fleet(tracks[0].branch, tracks[0].sail_set)
        others = [at for at in self.boats if at not in draws]
        for track in () if is_extra else tracks:
            self.lost[track.condition, others if len(track.x) else list(self.boats)] = True
        if not known or fleet is None or stopping.asked():
            return
        count = len(draws)
        # all conditions of a draw lie next to each other: what is a boat's own is made once for all of them
        conditions = self.conditions.take(np.tile([track.condition for track in known], count))
        conditions = replace(conditions, option=np.repeat(np.arange(count), len(known)))
        problem = FastestEquilibrium(fleet, freedom(members, tracks[0].branch), conditions)
        nominal = Guess(
            *(
                np.array([getattr(track, name) for track in known]).T
                for name in ("x", "multipliers", "at_lower", "at_upper")
            )
        )
        answer = self._followed(problem, nominal, draws, is_extra=is_extra)
        self._keep(problem, answer, known, draws, is_extra=is_extra)

    def _followed(
        self, problem: FastestEquilibrium, nominal: Guess, draws: Integers, *, is_extra: bool
    ) -> Solution:
        """Answers of cases, the tracks of each draw side by side: from where the optimum is expected, then
        from that of the nearest draw that was reached, then by a search from the nominal one.
        """
        width = nominal.x.shape[1]
        answer = self._in_stages(problem, nominal, draws)
        draw, track = np.divmod(np.arange(problem.condition_count), width)
        places = self.task.places[draws][draw]
        recover(problem, answer, nominal.x[:, track], places, track, is_searched=not is_extra)
        self._compare(problem, answer, draws, width)
        return answer

    def _in_stages(self, problem: FastestEquilibrium, nominal: Guess, draws: Integers) -> Solution:
        """Some draws from the nominal optima, and ever more of the others from where the optima of those that
        are known let theirs be expected, on tracks on which that is of use. What is not reached from there
        begins at the nominal optimum as well.
        """
        width, done = nominal.x.shape[1], 0
        answer = blank(problem)
        is_expected = np.zeros(width, dtype=bool)
        steps = np.full(width, np.inf)
        again: list[Integers] = []
        for stage in _stages(len(draws)):
            cases = np.arange(width * done, width * (done + stage))
            guess = nominal.take(cases % width)
            for track in np.flatnonzero(is_expected).tolist():
                self._expect(problem, answer, guess, draws[: done + stage], track, width)
            found = follow_cases(problem, cases, guess, unconfirmed=_UNCONFIRMED)
            put_in(answer, found, cases)
            done += stage
            is_lost = found.status != Status.CONVERGED
            again.append(cases[is_lost & is_expected[cases % width]])
            taken = np.where(is_lost, 2 * MOST_STEPS, found.iterations).reshape(stage, width).mean(axis=0)
            is_expected = taken < steps
            steps = np.minimum(steps, taken)
        lost = np.concatenate(again)
        if len(lost) and not stopping.asked():
            put_converged(answer, follow_cases(problem, lost, nominal.take(lost % width)), lost)
        return answer

    def _expect(
        self,
        problem: FastestEquilibrium,
        answer: Solution,
        guess: Guess,
        draws: Integers,
        track: int,
        width: int,
    ) -> None:
        """Put into the guess for the last of some draws where the optima of the first of them let those of a
        track be expected, if there are enough.
        """
        ahead = np.arange(track, guess.x.shape[1], width)
        done = len(draws) - len(ahead)
        before = track + width * np.arange(done)
        before = before[answer.status[before] == Status.CONVERGED]
        if len(before) < _LEAST_KNOWN // 2:
            return
        at, places = self.task.places[draws], width * done + ahead
        known = Optima(
            x=answer.x[:, before],
            multipliers=answer.multipliers[:, before],
            at_bounds=answer.lower_multipliers[:, before] - answer.upper_multipliers[:, before],
            held=np.where(answer.active_lower[:, before], -1, np.where(answer.active_upper[:, before], 1, 0)),
            equations=problem.equality_count,
        )
        x, multipliers, holds = expected(
            known, at[before // width], at[done:], problem.lower[:, places], problem.upper[:, places]
        )
        guess.x[:, ahead], guess.multipliers[:, ahead] = x, multipliers
        guess.active_lower[:, ahead], guess.active_upper[:, ahead] = holds < 0, holds > 0

    def _compare(self, problem: FastestEquilibrium, answer: Solution, draws: Integers, width: int) -> None:
        """Let draws of a track compare. Speed is nearly a parabola in every input: a draw that falls below it
        was led to a slower optimum, and begins anew at the nearest that does not; one that stands out above
        it found a faster one, which is followed to the others.
        """
        places = self.task.places[draws]
        terms = np.concatenate([np.ones((len(draws), 1)), places, places**2], axis=1)
        begun, source = [], []
        for track in range(width):
            known = np.arange(track, problem.condition_count, width)
            known = known[answer.status[known] == Status.CONVERGED]
            if len(known) < _DRAWS_PER_TERM * terms.shape[1]:
                continue
            speed, of = -answer.objective[known], terms[known // width]
            off = speed - of @ np.linalg.lstsq(of, speed, rcond=None)[0]
            usual = _USUAL * float(np.median(np.abs(off)))
            least = np.maximum(usual, _LEAST_OFF * np.abs(speed))
            low, high = known[off < -least], known[off > least]
            fair = np.setdiff1d(known, low)
            for case in low.tolist() if len(fair) else ():
                apart = ((places[fair // width] - places[case // width]) ** 2).sum(axis=1)
                for near in fair[np.argsort(apart, kind="stable")[:_BESIDE]].tolist():
                    begun.append(case)
                    source.append(near)
            if len(high):
                best = int(known[off.argmax()])
                others = np.setdiff1d(known, [best]).tolist()
                begun += others
                source += [best] * len(others)
        if begun and not stopping.asked():
            cases = np.array(begun)
            guess = _beside(answer, np.array(source))
            found = follow_cases(problem, cases, guess, unconfirmed=_UNCONFIRMED)
            for turn in rounds(cases):
                put_converged(answer, rearranged(found, turn), cases[turn])

    def _keep(
        self,
        problem: FastestEquilibrium,
        answer: Solution,
        tracks: Sequence[Track],
        draws: Integers,
        *,
        is_extra: bool,
    ) -> None:
        """Note the fastest of each draw, judged as every answer is."""
        status, reason = judged(problem, answer)
        speed = -answer.objective * SCALES["boat_speed"] / KNOT
        angle = problem.named(answer.x, np.arange(problem.condition_count))["twa"] / DEGREE
        for case in range(problem.condition_count):
            draw, number = divmod(case, len(tracks))
            place = tracks[number].condition, int(draws[draw])
            if answer.status[case] != Status.CONVERGED:
                self.lost[place] |= not is_extra
            elif status[case] != Status.CONVERGED:
                self.reasons[place] = reason[case]
            elif not speed[case] <= self.made_good[place]:
                self.made_good[place], self.twa_deg[place] = speed[case], angle[case]
                self.branch[place] = tracks[number].branch
                self.how[place] = FOLLOWED

    def _fleet(self, branch: str, sail_set: str) -> tuple[Integers, Sequence[Boat], Fleet | None]:
        """Draws that can be solved in one batch with the nominal boat, their boats, and these stacked."""
        if (branch, sail_set) not in self.fleets:
            nominal = dressed_as(self.movable.boat, sail_set)
            kind = kind_of(nominal, (branch,))
            dressed = {at: dressed_as(boat, sail_set) for at, boat in self.boats.items()}
            alike = {at: boat for at, boat in dressed.items() if kind_of(boat, (branch,)) == kind}
            draws, members = np.array(list(alike), dtype=int), list(alike.values())
            fleet = self._stacked(nominal, members, draws, branch, sail_set) if members else None
            self.fleets[branch, sail_set] = draws, members, fleet
        return self.fleets[branch, sail_set]

    def _stacked(
        self, nominal: Boat, members: Sequence[Boat], draws: Integers, branch: str, sail_set: str
    ) -> Fleet:
        """Draws as arrays. What the sails do to each other is dear to find and changes by little, so that it
        is taken along a parabola through the ends of every input's range.
        """
        heights = [mirror_heights(nominal, branch)] if nominal.heaves else None

        def whole(boats: Sequence[Boat]) -> Fleet:
            return fleets.fleet(boats, ride_heights=None if heights is None else heights * len(boats))

        ends = [self._ends(at, sail_set) for at in range(len(self.task.inputs))]
        if not all(ends):
            return whole(members)
        try:
            wake = whole([nominal, *(boat for pair, _ in filter(None, ends) for boat in pair)]).wake
        except ValueError:  # an end of a range is a boat of another kind
            return whole(members)
        reach = np.array([share for _, share in filter(None, ends)])
        low, high = wake[1::2], wake[2::2]
        changes = [at for at in range(len(ends)) if (low[at] != wake[0]).any() or (high[at] != wake[0]).any()]
        t = self.task.places[draws][:, changes] / reach[changes]
        slope, curve = 0.5 * (high - low)[changes], (0.5 * (high + low) - wake[0])[changes]
        stacked = fleets.without_wakes(members)
        together = wake[0] + np.tensordot(t, slope, axes=1) + np.tensordot(t**2, curve, axes=1)
        return replace(
            stacked,
            wake=together,
            mirrored_from=None if heights is None else np.full(len(members), heights[0][0]),
        )

    def _ends(self, at: int, sail_set: str) -> tuple[list[Boat], float] | None:
        """The boats at both ends of one input's range, or as far towards them as the boat file allows, and
        how far that is.
        """
        for share in _SHARES_OF_RANGE:
            place = np.zeros(len(self.task.inputs))
            ends = []
            try:
                for place[at] in (-share, share):
                    ends.append(dressed_as(self._boat(place), sail_set))
            except BoatFileError:
                continue
            return ends, share
        return None

    # --- searching ------------------------------------------------------------------------------------------

    def _check(self) -> tuple[tuple[tuple[int, int, float, float], ...], list[Track]]:
        """What following and searching found of the draws that both have, and the optima that following had
        missed.
        """
        searched = self.task.searched
        checks, more = [], list[Track]()
        if searched is None:
            return (), more
        speed = wardrobe.made_good(searched) / KNOT
        for draw, boat in self.task.searched_as.items():
            for at, condition in self._places(searched, boat):
                place, found = (condition, draw), float(speed[at])
                before = float(self.made_good[place])
                if not self.lost[place]:
                    checks.append((*place, before, found))
                if np.isfinite(found) and not found <= before * (1.0 + MISSED):
                    self._put(place, found, searched, at)
                    self.lost[place] = False
                    (track,) = tracks_at(self.boats[draw], searched, [(at, condition)])
                    more += [track] if len(track.x) else []
        return tuple(checks), more

    def _search(self) -> None:
        """Solve what was lost."""
        condition, draw = np.nonzero(self.lost)
        if not len(condition) or stopping.asked():
            return
        draws, option = np.unique(draw, return_inverse=True)
        conditions = replace(self.conditions.take(condition), option=option)
        found = wardrobe.solve([self.boats[at] for at in draws.tolist()], conditions)
        speed = wardrobe.made_good(found) / KNOT
        for number, place in enumerate(zip(condition.tolist(), draw.tolist(), strict=True)):
            if np.isfinite(speed[number]) and not speed[number] <= self.made_good[place]:
                self._put(place, float(speed[number]), found, number)
            elif self.how[place] == FAILED:
                self.reasons[place] = str(found.reason[number])

    def _put(self, place: tuple[int, int], made_good_kn: float, solved: Solved, at: int) -> None:
        """Note one that was searched for."""
        self.made_good[place], self.branch[place] = made_good_kn, str(solved.branch[at])
        self.twa_deg[place] = solved.quantities["twa"][at] / DEGREE
        self.how[place] = SOLVED


def tracks_at(boat: Boat, solved: Solved, there: Sequence[tuple[int, int]]) -> list[Track]:
    """Solved conditions of a boat, each a place among the answers and the number of a condition, as something
    to follow; without a state where it is no optimum.
    """
    alike: dict[tuple[str, str, bool], list[int]] = {}
    for place, _ in there:
        kind = str(solved.branch[place]), str(solved.sail_set[place]), solved.conditions.aim[place] == SPEED
        alike.setdefault(kind, []).append(place)
    known = {
        place: each
        for places in alike.values()
        for place, each in zip(places, held(boat, solved, places), strict=True)
    }
    return [_track(known[place], solved, place, condition) for place, condition in there]


def _track(known: Held | None, solved: Solved, place: int, condition: int) -> Track:
    none = np.zeros(0, dtype=bool)
    return Track(
        condition=condition,
        branch=str(solved.branch[place]),
        sail_set=str(solved.sail_set[place]),
        x=np.empty(0) if known is None else known.x,
        multipliers=np.empty(0) if known is None else known.multipliers,
        at_lower=none if known is None else known.at_lower > _HOLDS,
        at_upper=none if known is None else known.at_upper > _HOLDS,
    )


def dressed_as(boat: Boat, sail_set: str) -> Boat:
    return boat.wearing(sail_set) if sail_set else boat.dressed


def grouped_tracks(tracks: Sequence[Track], conditions: Conditions) -> list[list[Track]]:
    """Tracks that can be followed in one batch."""
    groups: dict[tuple[str, str, bool], list[Track]] = {}
    for track in tracks:
        key = track.branch, track.sail_set, bool(conditions.aim[track.condition] == SPEED)
        groups.setdefault(key, []).append(track)
    return list(groups.values())


def _stages(count: int) -> list[int]:
    """How many of the draws are solved at a time."""
    if count < 2 * _LEAST_KNOWN:
        return [count]
    first = max(_LEAST_KNOWN, count // 8)
    second = min(2 * first, count - first)
    return [stage for stage in (first, second, count - first - second) if stage]


def follow_cases(
    problem: FastestEquilibrium, cases: Integers, guess: Guess, *, unconfirmed: float = 0.0
) -> Solution:
    """Answers of cases near a guess, however many; see `vpp.solver.following.follow`."""
    parts = [
        follow(Cases(problem, cases[part]), guess.take(part), settings=SETTINGS, unconfirmed=unconfirmed)
        for part in np.split(np.arange(len(cases)), range(_AT_ONCE, len(cases), _AT_ONCE))
    ]
    return Solution(
        **{name: np.concatenate([getattr(part, name) for part in parts], axis=-1) for name in vars(parts[0])}
    )


def judged(problem: FastestEquilibrium, answer: Solution) -> tuple[Integers, list[str]]:
    """Status and reason of every answer. Those that do not close are confirmed first: their last step was not
    as small as expected.
    """
    said = report(problem, answer)
    status, reason = said.status, said.reason
    is_open = (answer.status == Status.CONVERGED) & (status == Status.STEP_LIMIT)
    if is_open.any() and not stopping.asked():
        places = np.flatnonzero(is_open)
        confirmed = follow_cases(problem, places, _beside(answer, places))
        put_in(answer, confirmed, places)
        again = report(problem.select(places), confirmed)
        status[places] = again.status
        for place, why in zip(places.tolist(), again.reason, strict=True):
            reason[place] = why
    return status, reason


def _beside(answer: Solution, cases: Integers) -> Guess:
    """The answers to some cases as guesses for others."""
    names = ("x", "multipliers", "active_lower", "active_upper")
    return Guess(*(getattr(answer, name)[:, cases] for name in names))


def put_converged(answer: Solution, other: Solution, cases: Integers) -> None:
    """Put answers that converged in place of others."""
    which = np.flatnonzero(other.status == Status.CONVERGED)
    keep_better(answer, rearranged(other, which), cases[which])


def each_way(solved: Solved, boat: Boat) -> Iterator[Solved]:
    """Answers on each branch, under each sail set where the boat has any."""
    for of_branch in solved.branches.values() or (solved,):
        yield from of_branch.sail_sets.values() if boat.sail_sets else (of_branch,)


def nearly_fastest(tracks: Sequence[tuple[Track, float]], *, near: float) -> list[Track]:
    """Of tracks, each with what it makes good, those that make good as much as the best of their condition,
    or less by no more than the share `near`.
    """
    best: dict[int, float] = {}
    for track, speed in tracks:
        best[track.condition] = max(best.get(track.condition, 0.0), speed)
    return [track for track, speed in tracks if speed >= (1.0 - near) * best[track.condition]]


def recover(
    problem: FastestEquilibrium,
    answer: Solution,
    start: Floats,
    places: Floats,
    track: Integers,
    *,
    is_searched: bool,
) -> None:
    """Follow to what was not reached the nearest answer of its track that was, by the places (cases, inputs)
    and tracks (cases,) of all; then, where that is asked for, search from `start` (variables, cases).
    """
    lost = np.flatnonzero(answer.status != Status.CONVERGED)
    reached = np.flatnonzero(answer.status == Status.CONVERGED)
    near, source = _nearest_reached(lost, reached, places, track)
    if len(near) and not stopping.asked():
        put_converged(answer, follow_cases(problem, near, _beside(answer, source)), near)
    lost = np.flatnonzero(answer.status != Status.CONVERGED)
    if len(lost) and is_searched and not stopping.asked():
        cases = Cases(problem, lost)
        begun = np.clip(start[:, lost], cases.lower, cases.upper)
        put_converged(answer, minimise(cases, begun, settings=AGAIN), lost)


def _nearest_reached(
    lost: Integers, reached: Integers, places: Floats, track: Integers
) -> tuple[Integers, Integers]:
    """Cases among `lost` of whose track others were reached, and the nearest of those: by the places
    (cases, inputs) and tracks (cases,) of all.
    """
    cases, sources = [], []
    for case in lost.tolist():
        near = reached[track[reached] == track[case]]
        if len(near):
            apart = ((places[near] - places[case]) ** 2).sum(axis=1)
            cases.append(case)
            sources.append(int(near[apart.argmin()]))
    return np.array(cases, dtype=int), np.array(sources, dtype=int)
