"""A boat made faster: named numbers of its file varied inside bounds and its rule box, by the speed at
conditions or the time round a course.

By the envelope theorem the slope of a fastest speed with respect to a number of the boat is its lever, so
that slopes cost no solving; boats on the way are followed from their neighbours, and where a search ends the
boat is solved from afar, as `vpp polar` would, under all its sails and carried in every way.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from vpp.boat import Boat
from vpp.config.errors import BoatFileError
from vpp.config.movable import MovableKeys
from vpp.config.pasted import changed_values, free_name, option_text, with_option
from vpp.config.uncertain import inputs_of
from vpp.course import CourseError
from vpp.improve_aims import Aim, State, course_times
from vpp.improve_asked import (
    Angle,
    CourseWanted,
    LessWanted,
    Wanted,
    against_wanted,
    aim_of,
    check_measured,
    conditions_of,
    course_wanted,
    speed_wanted,
)
from vpp.improve_boats import Boats, ImproveError, told_of, varied_of
from vpp.improve_doubt import band as band_of
from vpp.improve_following import Standing, follow_to, speed_slopes, standing
from vpp.improve_result import (
    ACCEPTED,
    FIRST,
    FOLLOWED,
    LEVEL_PERCENT,
    NO_GAIN,
    REFUSED,
    SOLVED,
    FrontPoint,
    Gain,
    Held,
    Improvement,
    KeyChange,
    Lap,
    Step,
)
from vpp.improve_search import Found, Place, Prices, Refused, Slopes, Tried, climb, prices_at
from vpp.levers import practical_step
from vpp.polar import WindGridError, source_of
from vpp.results.variables import DEGREE, KNOT
from vpp.rule_box import judge
from vpp.solver import stopping
from vpp.uncertainty import LEAST_DRAWS, BadSample, check_sample
from vpp.wardrobe import solve

if TYPE_CHECKING:
    from vpp.config import BoatFile
    from vpp.config.course_file import CourseFile
    from vpp.polar import Progress

Floats = NDArray[np.float64]

MOST_TRIES = 60
"""Tries of one climb, unless another number is given."""

POINTS = 5
"""Points of a front of two aims, both ends included."""

# Climbs from what a solve from afar has found, and how far apart the two may be, per cent.
_ROUNDS, _AGREE = 3, 0.002
# Places on the way back that are solved when the end has no result.
_WAY_BACK = 3
# Steps in which the improved boat is followed back to what is built.
_BACK = 4
# What share of its range the second aim may leave at its end of the front, so that the first can settle.
_SLACK = 1e-3
# A range of the second aim, in per cent, that is none.
_NO_FRONT = 1e-4
# What the whole range of the second aim is as a limit, in per cent, to be of the size of others.
_WHOLE = 1.0


class NoStart(Exception):
    """The boat to begin with has no result that the aim needs; the message says which."""


@dataclass(frozen=True, kw_only=True)
class _Reached:
    """Where climbs have ended: the place, its value as solved from afar unless the search was stopped, and
    the last climb.
    """

    place: Place
    state: State
    found: Found
    is_solved: bool
    remark: str = ""
    worth: tuple[float, ...] = ()


@dataclass(frozen=True, kw_only=True)
class _Floor:
    """The least gain of a second aim, which ranges over a `span` of per cents."""

    aim: Aim
    least: float
    span: float

    def room(self, gain: float) -> float:
        """What is left above it, as a limit."""
        return _WHOLE * (gain - self.least) / self.span


class _Climb:
    """One aim over the boats, for `climb`: looked at by following, with the rule box and, where there is one,
    the least of a second aim as limits.
    """

    def __init__(self, search: Search, aim: Aim, floor: _Floor | None = None) -> None:
        self.search, self.aim, self.floor = search, aim, floor
        self.boats = search.boats
        self.states: dict[tuple[float, ...], State] = {}
        self.near: Standing | None = None

    def known(self, at: Floats, state: State) -> Place:
        """A place whose state is known. Raises Refused."""
        self.states[tuple(at.tolist())] = state
        limits = self.boats.rooms(state.boat)
        if self.floor is not None:
            limits = np.append(limits, self.floor.room(self.floor.aim.gain(state)))
        return Place(at=at, value=self.aim.gain(state), limits=limits)

    def look(self, at: Floats) -> Place:
        """The place, followed from the last one accepted. Raises Refused."""
        assert self.near is not None
        try:
            boat = self.boats.boat(at)
        except ValueError as error:
            raise Refused(told_of(error)) from None
        state = State(boat=boat, standing=follow_to(self.near, boat, self.search.conditions))
        self.search.followed += 1
        self.search.searched += state.standing.searched
        return self.known(at, state)

    def slopes(self, place: Place) -> Slopes:
        """By levers, and by measuring neighbours."""
        state = self.states[tuple(place.at.tolist())]
        self.near = state.standing
        self.states = {tuple(place.at.tolist()): state}
        neighbours = self.boats.neighbours(place.at)
        span = np.array([item.span for item in self.boats.varied])
        speeds = speed_slopes(state.standing, state.boat, neighbours)
        self.search.without_slope = max(
            self.search.without_slope,
            int(np.sum(np.isnan(speeds).any(axis=1) & np.isfinite(state.standing.made_good_kn))),
        )
        limits = np.array(
            [
                (self.boats.rooms(two) - self.boats.rooms(one)) / (after - before)
                for (before, one), (after, two) in neighbours
            ]
        ).T
        if self.floor is not None:
            slopes = self.floor.aim.slopes(state, speeds, neighbours)
            limits = np.vstack([limits, slopes * _WHOLE / self.floor.span])
        return Slopes(value=self.aim.slopes(state, speeds, neighbours) * span, limits=limits * span)

    def cheap_limits(self, at: Floats) -> Floats:
        """The rule box."""
        try:
            return self.boats.rooms(self.boats.boat(at))
        except ValueError as error:
            raise Refused(told_of(error)) from None

    def room(self, at: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        """What the boat file allows of each number."""
        return self.boats.room(at, low, high)


class Search:
    """A search, in two parts, so that what `run` has found by the time it is stopped can still be solved by
    `finish`. Takes what `improve` takes, and raises what it raises.
    """

    def __init__(
        self,
        boat_file: BoatFile,
        *,
        vary: Mapping[str, tuple[float, float]],
        tws_kn: Sequence[float] = (),
        twa: Sequence[Angle] = ("upwind", "downwind"),
        tws_weight: Sequence[float] = (),
        twa_weight: Sequence[float] = (),
        course: CourseFile | None = None,
        against: str | None = None,
        points: int = POINTS,
        option: str = "base",
        name: str = "improved",
        most: int = MOST_TRIES,
        starts: int = 1,
        seed: int = 1,
        draws: int = 0,
        processes: int = 1,
        progress: Progress | None = None,
    ) -> None:
        self.boat_file, self.option, self.name = boat_file, option, free_name(boat_file, name)
        self.most, self.starts, self.seed, self.points = most, starts, seed, points
        self.processes, self.progress, self.draws = processes, progress, draws
        problems: list[str] = []
        try:
            check_sample(draws=draws or LEAST_DRAWS, seed=seed)
        except BadSample as error:
            problems.append(str(error))
        for word, number, least in (("most", most, 1), ("starts", starts, 1), ("points", points, 3)):
            if number < least:
                problems.append(f"{word} = {number}: must be at least {least}")
        wanted: list[Wanted] = []
        try:
            if course is not None:
                numbers = [each for each in twa if not isinstance(each, str)]
                wanted.append(course_wanted(course, tws_kn=tws_kn, twa=numbers))
            else:
                wanted.append(
                    speed_wanted(tws_kn=tws_kn, twa=twa, tws_weight=tws_weight, twa_weight=twa_weight)
                )
        except (WindGridError, CourseError) as error:
            problems += error.problems
        if against is not None:
            first = wanted[0] if wanted else LessWanted(quantity="")
            try:
                wanted.append(against_wanted(against, first))
            except WindGridError as error:
                problems += error.problems
        movable = MovableKeys(boat_file, option)
        for each in wanted:
            if isinstance(each, LessWanted):
                problems += check_measured(each, movable.boat)
        varied, wrong = varied_of(movable, vary)
        problems += wrong
        if draws:
            # what is wrong with the ranges is told before the search and not after it
            try:
                inputs_of(boat_file, options=(option,), defaults=False)
            except BoatFileError as error:
                problems += [str(each) for each in error.problems]
        if problems:
            raise ImproveError(problems)
        self.boats = Boats(boat_file, option, varied, movable)
        self.wanted = tuple(wanted)
        self.conditions, self._places = conditions_of(wanted)
        self.source = source_of(boat_file, [movable.boat])
        self.steps: list[Step] = []
        self.followed = self.searched = self.without_slope = self.solves = 0
        self.reached: _Reached | None = None
        self.front: list[_Reached] = []
        self.start: State | None = None
        self.aims: tuple[Aim, ...] = ()
        self.stopped = False
        self._label = FIRST

    # --- searching ------------------------------------------------------------------------------------------

    def run(self) -> None:
        """Search. Within `vpp.keep_on_interrupt()` Ctrl-C ends it with what is found; before the first boat
        is solved there is nothing, and `Stopped` is raised. Raises NoStart where that has no result.
        """
        self.start = State(boat=self.boats.movable.boat, standing=self._from_afar(self.boats.movable.boat))
        stopping.refuse_part()
        try:
            self.aims = tuple(
                aim_of(wanted, self.conditions, places, self.start, self.source)
                for wanted, places in zip(self.wanted, self._places, strict=True)
            )
        except Refused as reason:
            raise NoStart(str(reason)) from None
        self._note(self.boats.start, self.start, SOLVED, "")
        self.reached = self._ascended(self.aims[0], (self.boats.start, self.start))
        for number, at in enumerate(self._other_starts(), start=2):
            self._label = f"start {number}"
            other = self._started(at)
            if other is not None and other.place.merit > self.reached.place.merit:
                self.reached = other
        if len(self.aims) > 1 and not stopping.asked():
            self._find_front()
        self.stopped = stopping.asked()

    def _other_starts(self) -> list[Floats]:
        """Places spread over the ranges by chance."""
        chance = np.random.default_rng(self.seed)
        return [chance.uniform(size=len(self.boats.varied)) for _ in range(self.starts - 1)]

    def _started(self, at: Floats) -> _Reached | None:
        """A climb from somewhere else; None where the boat there has no result."""
        if stopping.asked():
            return None
        try:
            boat = self.boats.boat(at)
            state = State(boat=boat, standing=self._from_afar(boat))
            _Climb(self, self.aims[0]).known(at, state)
        except (Refused, ValueError) as reason:
            self._refused(at, str(reason) if isinstance(reason, Refused) else told_of(reason))
            return None
        self._note(at, state, SOLVED, "")
        return self._ascended(self.aims[0], (at, state))

    def _ascended(self, aim: Aim, *starts: tuple[Floats, State], floor: _Floor | None = None) -> _Reached:
        """The best of climbs from some starts, and climbs from what its end is when solved from afar, as long
        as that is more than was followed.
        """
        climbs = []
        for at, state in starts:
            task = _Climb(self, aim, floor)
            place = task.known(at, state)
            climbs.append((task, place, state, self._climbed(task, place)))
        task, place, state, found = max(climbs, key=lambda each: each[-1].place.merit)
        reached: _Reached | None = None
        first = place, state
        for number in range(_ROUNDS):
            if number:
                found = self._climbed(task, place)
            if found.place is place:
                return reached or _Reached(place=place, state=state, found=found, is_solved=True)
            if stopping.asked():
                there = task.states[tuple(found.place.at.tolist())]
                return _Reached(place=found.place, state=there, found=found, is_solved=False)
            after = self._settled(task, found)
            if after is None:
                return self._way_back(task, found, place, state)
            if reached is None or after.place.merit > reached.place.merit - _AGREE:
                reached = after
            if after.place.merit <= found.place.merit + _AGREE:
                break
            place, state = after.place, after.state
        assert reached is not None
        if reached.place.merit < first[0].merit:
            told = "Where the search went the boat is slower when solved from afar: see the path."
            return self._held_at(task, *first, found, told)
        return reached

    def _climbed(self, task: _Climb, place: Place) -> Found:
        return climb(task, place, most=self.most, told=self._tell(task), stops=stopping.asked)

    def _settled(self, task: _Climb, found: Found, at: Floats | None = None) -> _Reached | None:
        """An end with rounded values, solved from afar; None where that has no result."""
        worth: tuple[float, ...] = ()
        if at is None and task.floor is None:
            at, worth = self._without_idle(task, found.place)
        at = self.boats.rounded(found.place.at if at is None else at)
        try:
            boat = self._pasted(at)
        except ValueError as error:
            self._refused(at, told_of(error))
            return None
        state = State(boat=boat, standing=self._from_afar(boat))
        if stopping.asked():
            there = task.states.get(tuple(found.place.at.tolist()))
            return (
                None
                if there is None
                else _Reached(place=found.place, state=there, found=found, is_solved=False)
            )
        try:
            place = task.known(at, state)
        except Refused as reason:
            self._refused(at, f"solved from afar: {reason}")
            return None
        self._note(at, state, SOLVED, "")
        off = found.place.value - place.value
        remark = ""
        if abs(off) > 10.0 * _AGREE:
            than = "slower" if off > 0.0 else "faster"
            remark = (
                f"Solved from afar the boat is {abs(off):.2f} % {than} than it was when followed: it sails "
                "another way there, and slopes do not hold across."
            )
        return _Reached(place=place, state=state, found=found, is_solved=True, remark=remark, worth=worth)

    def _without_idle(self, task: _Climb, end: Place) -> tuple[Floats, tuple[float, ...]]:
        """An end with what gains nothing as it was built, and what each number is worth there: the per cent
        that are lost when it alone goes back; NaN where that is refused.
        """
        at, worth = end.at.copy(), []
        for row, built in enumerate(self.boats.start.tolist()):
            back = end.at.copy()
            back[row] = built
            worth.append(math.nan if np.any(back != end.at) else 0.0)
            if stopping.asked() or not math.isnan(worth[row]):
                continue
            try:
                place = task.look(back)
                worth[row] = end.value - place.value
                idle = at.copy()
                idle[row] = built
                if abs(worth[row]) < LEVEL_PERCENT and task.look(idle).merit > end.merit - LEVEL_PERCENT:
                    at = idle
            except Refused:
                continue
        return at, tuple(worth)

    def _way_back(self, task: _Climb, found: Found, place: Place, state: State) -> _Reached:
        """The last place before an end without result that has one."""
        better = [each.place for each in found.tries if each.accepted and each.place is not None]
        for each in better[-2 : -2 - _WAY_BACK : -1]:
            back = self._settled(task, found, each.at)
            if back is not None and back.place.merit > place.merit:
                told = "Beyond this boat some conditions have no result: see the path."
                return self._held_at(task, back.place, back.state, found, told)
        return self._held_at(task, place, state, found, "No better boat has a result: see the path.")

    def _held_at(self, task: _Climb, place: Place, state: State, found: Found, remark: str) -> _Reached:
        """A place that is not the end of its climb, with the slopes there."""
        place = task.known(place.at, state)
        here = replace(found, place=place, slopes=task.slopes(place))
        return _Reached(place=place, state=state, found=here, is_solved=True, remark=remark)

    def _pasted(self, at: Floats) -> Boat:
        """The boat as the option that will be written makes it."""
        boat = with_option(self.boat_file, self._option_text(at), self.name)
        return replace(boat, sea=self.boats.movable.boat.sea)

    def _option_text(self, at: Floats, says: str = "Found by a search") -> str:
        there = self.boats.there(at)
        names = [key.name for item in self.boats.varied for key in item.keys]
        values = changed_values(there, names)
        return option_text(
            self.name,
            says=says,
            parent=self.option,
            changes={name: _few_digits(value) for name, value in values.items()},
        )

    def _from_afar(self, boat: Boat) -> Standing:
        self.solves += 1
        return standing(solve((boat,), self.conditions, processes=self.processes, progress=self.progress))

    # --- the front ------------------------------------------------------------------------------------------

    def _find_front(self) -> None:
        """Both ends, and between them the best of the first aim with at least so much of the second."""
        assert self.reached is not None
        assert self.start is not None
        one, other = self.aims
        first = _gain_of(other, self.reached.state)
        if not math.isfinite(first):
            return
        known = [(self.boats.start, self.start), (self.reached.place.at, self.reached.state)]
        self._label = "second aim"
        end = self._ascended(other, known[0])
        self.front = [self.reached]
        span = _gain_of(other, end.state) - first
        if stopping.asked() or span <= _NO_FRONT:
            return
        known.insert(1, (end.place.at, end.state))
        for number, share in enumerate(np.linspace(0.0, 1.0, self.points)[1:].tolist(), start=2):
            self._label = f"point {number}"
            floor = _Floor(aim=other, least=first + min(share, 1.0 - _SLACK) * span, span=span)
            point = self._front_point(one, floor, known)
            if stopping.asked():
                return
            if point is not None:
                known.append((point.place.at, point.state))
                self.front.append(point)

    def _front_point(self, one: Aim, floor: _Floor, known: Sequence[tuple[Floats, State]]) -> _Reached | None:
        """The best of one aim with at least so much of the other, from the best place known to have it, and
        from the last point of the front; None where none of them has a result.
        """
        task = _Climb(self, one, floor)
        merits = []
        for at, state in known:
            try:
                merits.append(task.known(at, state).merit)
            except Refused:
                merits.append(-math.inf)
        best = int(np.argmax(merits))
        if not math.isfinite(merits[best]):
            return None
        places = dict.fromkeys((best, *([len(known) - 1] if math.isfinite(merits[-1]) else [])))
        return self._ascended(one, *(known[place] for place in places), floor=floor)

    # --- what is told ---------------------------------------------------------------------------------------

    def _tell(self, task: _Climb) -> Callable[[Tried], None]:
        def told(tried: Tried) -> None:
            if tried.place is None:
                self._refused(tried.at, tried.reason)
                return
            state = task.states[tuple(tried.at.tolist())]
            self._note(tried.at, state, FOLLOWED, ACCEPTED if tried.accepted else NO_GAIN)

        return told

    def _note(self, at: Floats, state: State, how: str, outcome: str) -> None:
        gains = [_gain_of(aim, state) for aim in self.aims]
        self.steps.append(
            Step(
                number=len(self.steps),
                search=self._label,
                how=how,
                outcome=outcome,
                values=self.boats.values(at),
                gain_percent=gains[0],
                against_percent=gains[1] if len(gains) > 1 else math.nan,
                least_room_percent=float(self.boats.rooms(state.boat).min(initial=math.inf)),
                reason="",
            )
        )

    def _refused(self, at: Floats, reason: str) -> None:
        self.steps.append(
            Step(
                number=len(self.steps),
                search=self._label,
                how=FOLLOWED,
                outcome=REFUSED,
                values=self.boats.values(at),
                gain_percent=math.nan,
                against_percent=math.nan,
                least_room_percent=math.nan,
                reason=reason,
            )
        )

    def finish(self) -> Improvement:
        """What was found, its last boat solved from afar where the search was stopped before that."""
        assert self.reached is not None
        assert self.start is not None
        reached = self.reached
        if not reached.is_solved and not stopping.asked():
            task = _Climb(self, self.aims[0])
            task.known(reached.place.at, reached.state)
            task.near = reached.state.standing
            reached = self._settled(task, reached.found) or reached
        back = self._followed_back(reached)
        aim = self.aims[0]
        gain = aim.gain(reached.state)
        at = reached.place.at
        says = f"Found by a search: {gain:.2f} % better at {aim.name}"
        text = self._option_text(at, says) if at is not self.boats.start else ""
        return Improvement(
            source=replace(self.source, stopped="search ended by Ctrl-C" if self.stopped else ""),
            option=self.option,
            name=self.name,
            aim=aim.name,
            aim_unit=aim.unit,
            against=self.aims[1].name if len(self.aims) > 1 else "",
            against_unit=self.aims[1].unit if len(self.aims) > 1 else "",
            gain_percent=gain,
            built=aim.told(self.start),
            improved=aim.told(reached.state),
            is_solved=reached.is_solved,
            mends=self._keeps_to_rules(reached.state) and not self._keeps_to_rules(self.start),
            why=reached.found.why,
            keys=self._keys(reached),
            gains=self._gains(reached.state),
            laps=self._laps(reached.state),
            held=self._held(reached),
            verdicts=judge(replace(reached.state.boat, name=self.name), self.boats.limits),
            steps=tuple(self.steps),
            front=tuple(self._front_points()),
            solves=self.solves,
            followed=self.followed,
            searched=self.searched,
            notes=(*back, *self._notes(reached)),
            text=text,
            boat=reached.state.boat,
        )

    def how_sure(self, found: Improvement) -> Improvement:
        """What was found with its gain in draws, where these are asked for and anything was found."""
        wanted = self.wanted[0]
        if not (self.draws and found.is_better and not isinstance(wanted, LessWanted)):
            return found
        try:
            band = band_of(
                self.boat_file,
                text=found.text,
                name=self.name,
                option=self.option,
                wanted=wanted,
                aim=self.aims[0],
                draws=self.draws,
                seed=self.seed,
                processes=self.processes,
                progress=self.progress,
            )
        except ValueError as reason:
            return replace(found, notes=(*found.notes, f"How sure the gain is cannot be told: {reason}"))
        return replace(found, band=band)

    def _followed_back(self, reached: _Reached) -> tuple[str, ...]:
        """The boat as built once more, followed back from the improved one: where that is faster than what
        was found from afar, it counts, so that a better optimum found on the way is not taken for a better
        boat.
        """
        assert self.start is not None
        end, here = reached.place.at, reached.state.standing
        if stopping.asked() or end is self.boats.start:
            return ()
        try:
            for share in np.linspace(1.0, 0.0, _BACK + 1)[1:].tolist():
                at = self.boats.start + share * (end - self.boats.start)
                here = follow_to(here, self.boats.boat(at), self.conditions)
        except ValueError:  # refused on the way
            return ()
        before = self.start.standing
        better = here.made_good_kn > (1.0 + 0.01 * _AGREE) * before.made_good_kn
        if not better.any():
            return ()
        more = 100.0 * float(np.max(here.made_good_kn[better] / before.made_good_kn[better] - 1.0))
        mixed = {
            name: np.where(better, getattr(here, name), getattr(before, name))
            for name in ("made_good_kn", "twa_deg", "branch", "sail_set", "reason")
        }
        self.start = State(boat=self.start.boat, standing=replace(before, **mixed))
        self.aims = tuple(
            aim_of(wanted, self.conditions, places, self.start, self.source)
            for wanted, places in zip(self.wanted, self._places, strict=True)
        )
        count = "1 condition" if better.sum() == 1 else f"{int(better.sum())} conditions"
        return (
            f"Followed back from the improved boat, the boat as built is up to {more:.2f} % faster in "
            f"{count} than when it was solved from afar. That counts in the gains; the path was walked with "
            "less, and overrates them by as much.",
        )

    def _keeps_to_rules(self, state: State) -> bool:
        return all(verdict.holds for verdict in judge(state.boat, self.boats.limits))

    def _notes(self, reached: _Reached) -> tuple[str, ...]:
        notes = [reached.remark] if reached.remark else []
        if self.without_slope:
            notes.append(
                f"{self.without_slope} conditions have no slope (their state is no smooth optimum) and count "
                "as if nothing changed them."
            )
        if not reached.is_solved:
            notes.append("The best so far is followed and not solved from afar.")
        return tuple(notes)

    def _keys(self, reached: _Reached) -> tuple[KeyChange, ...]:
        return tuple(
            KeyChange(
                name=item.name,
                unit=item.unit,
                description=item.key.description,
                built=item.built,
                least=item.least,
                greatest=item.greatest,
                improved=value,
                decimals=item.decimals,
                worth_percent=worth,
            )
            for item, value, worth in zip(
                self.boats.varied,
                self.boats.values(reached.place.at),
                reached.worth or (math.nan,) * len(self.boats.varied),
                strict=True,
            )
        )

    def _gains(self, state: State) -> tuple[Gain, ...]:
        assert self.start is not None
        before, after, found = self.start.standing, state.standing, []
        for at in range(len(self.conditions)):
            found.append(
                Gain(
                    tws_kn=float(self.conditions.tws[at] / KNOT),
                    twa_deg=float(self.conditions.twa[at] / DEGREE),
                    aim=str(self.conditions.aim[at]),
                    built_kn=float(before.made_good_kn[at]),
                    improved_kn=float(after.made_good_kn[at]),
                    built_twa_deg=float(before.twa_deg[at]),
                    improved_twa_deg=float(after.twa_deg[at]),
                    built_branch=str(before.branch[at]),
                    improved_branch=str(after.branch[at]),
                    built_sail_set=str(before.sail_set[at]),
                    improved_sail_set=str(after.sail_set[at]),
                )
            )
        return tuple(found)

    def _laps(self, state: State) -> tuple[Lap, ...]:
        wanted = self.wanted[0]
        if not isinstance(wanted, CourseWanted):
            return ()
        assert self.start is not None
        counts = np.zeros(len(self.conditions), dtype=bool)
        counts[self._places[0]] = True
        before, after = (
            course_times(
                wanted.course, self.conditions, counts, self.source, each.standing.made_good_kn, each.standing
            )
            for each in (self.start, state)
        )
        wind = wanted.course.wind
        steady = len(before) == len(wind.tws)
        return tuple(
            Lap(
                tws_kn=float(wind.tws[at] / KNOT) if steady else math.nan,
                weight=float(wind.weight[at]) if steady else 1.0,
                built_s=float(before[at]),
                improved_s=float(after[at]),
            )
            for at in range(len(before))
        )

    def _held(self, reached: _Reached) -> tuple[Held, ...]:
        """What holds the boat back, with what more room would buy."""
        place, slopes = reached.found.place, reached.found.slopes
        low, high = self.boats.room(place.at, -place.at, 1.0 - place.at)
        lowest, highest = place.at + low, place.at + high
        prices = prices_at(place, slopes, lowest=lowest, highest=highest)
        held = [*self._held_clauses(prices)]
        for row, item in enumerate(self.boats.varied):
            for side, end, price in (
                ("least", lowest[row], prices.lower[row]),
                ("greatest", highest[row], prices.upper[row]),
            ):
                if price <= 0.0:
                    continue
                is_file = 1e-6 < end < 1.0 - 1e-6
                by = (1e-3 if side == "greatest" else -1e-3) + end - place.at[row]
                held.append(
                    Held(
                        kind="boat file" if is_file else "bound",
                        name=item.name,
                        side=side,
                        bound=item.least + end * item.span,
                        unit=item.unit,
                        gain_percent_per_unit=price / item.span,
                        step=practical_step(item.key),
                        said=(self.boats.refusal(place.at, row, by) or "") if is_file else "",
                    )
                )
        return tuple(sorted(held, key=lambda each: -each.step_gain_percent))

    def _held_clauses(self, prices: Prices) -> list[Held]:
        held = []
        for clause, price in zip(self.boats.clauses, prices.limits, strict=False):
            if price <= 0.0:
                continue
            limit = clause.limit
            bound = limit.shown(clause.bound)
            per_unit = price * 100.0 / (abs(bound) or 1.0)
            held.append(
                Held(
                    kind="rule box",
                    name=limit.clause,
                    side="least" if clause.sign > 0.0 else "greatest",
                    bound=bound,
                    unit=limit.symbol,
                    gain_percent_per_unit=per_unit,
                    step=_STEPS.get(limit.symbol, 1.0),
                    said=limit.what,
                )
            )
        return held

    def _front_points(self) -> list[FrontPoint]:
        """The points of the front, without those that another is as good as in both aims."""
        points: list[FrontPoint] = []
        for reached in self.front:
            gains = [aim.gain(reached.state) for aim in self.aims]
            points.append(
                FrontPoint(
                    values=self.boats.values(reached.place.at),
                    gain_percent=gains[0],
                    against_percent=gains[1],
                    told=self.aims[0].told(reached.state),
                    against_told=self.aims[1].told(reached.state),
                )
            )
        points.sort(key=lambda point: (-point.gain_percent, -point.against_percent))
        kept: list[FrontPoint] = []
        for point in points:
            if not kept or point.against_percent > kept[-1].against_percent + _NO_FRONT:
                kept.append(point)
        return kept


# What people can do at a time of what is measured.
_STEPS = {"m²": 1.0, "m": 0.1, "kg": 10.0, "deg": 1.0}


def _gain_of(aim: Aim, state: State) -> float:
    """Per cent, NaN without a result."""
    try:
        return aim.gain(state)
    except Refused:
        return math.nan


def _few_digits(value: object) -> object:
    if isinstance(value, tuple):
        return tuple(_few_digits(each) for each in value)
    return float(f"{value:.7g}") if isinstance(value, float) else value


def improve(
    boat_file: BoatFile,
    *,
    vary: Mapping[str, tuple[float, float]],
    tws_kn: Sequence[float] = (),
    twa: Sequence[Angle] = ("upwind", "downwind"),
    tws_weight: Sequence[float] = (),
    twa_weight: Sequence[float] = (),
    course: CourseFile | None = None,
    against: str | None = None,
    points: int = POINTS,
    option: str = "base",
    name: str = "improved",
    most: int = MOST_TRIES,
    starts: int = 1,
    seed: int = 1,
    draws: int = 0,
    processes: int = 1,
    progress: Progress | None = None,
) -> Improvement:
    """The best boat that can be reached from an option of a file by varying some of its numbers.

    `vary` has keys of the boat file with their least and greatest value in the unit of the key; keys joined
    with + move together by as much. The aim is the mean, by weight, of what is made good at all angles `twa`
    (deg, or `upwind` and `downwind`) in all winds `tws_kn` relative to the boat as built; or with a `course`
    the expected time round it, in a polar of its own winds at 30 to 170 deg unless others are given.
    `against` is a second aim in words, as `vpp improve --against` takes it, and gives a front of so many
    `points`. `most` is the number of tries of one climb, `starts` that of climbs, of which all but the first
    begin somewhere by chance (`seed`); with `draws`, a power of two, the gain is also taken in so many draws
    of what is uncertain. Raises ImproveError with all that is wrong with this, NoStart where the boat as
    built has no result that the aim needs, and BoatFileError for an option that is not there.
    """
    search = Search(
        boat_file,
        vary=vary,
        tws_kn=tws_kn,
        twa=twa,
        tws_weight=tws_weight,
        twa_weight=twa_weight,
        course=course,
        against=against,
        points=points,
        option=option,
        name=name,
        most=most,
        starts=starts,
        seed=seed,
        draws=draws,
        processes=processes,
        progress=progress,
    )
    search.run()
    return search.how_sure(search.finish())
