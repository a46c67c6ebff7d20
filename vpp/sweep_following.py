"""Many boats of one design space: a few of them searched in full, the others followed from these.

Boats near each other have optima near each other, which `vpp.solver.following` reaches in a few steps of
Newton's method where a search takes hundreds. The anchors are boats spread over the space, searched in full;
every other boat begins at the optima of the anchor nearest to it, on every branch and under every sail set
that is nearly as fast there. What cannot be followed is searched in full. Anchors are followed from each
other as well: where that and their own search disagree, the optima of all anchors are followed to all boats.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from time import perf_counter

import numpy as np
from numpy.typing import NDArray

from vpp import wardrobe
from vpp.boat import Boat
from vpp.doubt_following import (
    FOLLOWED,
    MISSED,
    Track,
    dressed_as,
    each_way,
    follow_cases,
    grouped_tracks,
    nearly_fastest,
    recover,
    tracks_at,
)
from vpp.reporting import report
from vpp.solved import DOWNWIND, SPEED, Conditions, Solved
from vpp.solver import stopping
from vpp.solver.following import Guess
from vpp.solver.problem import Solution
from vpp.solver.status import Status
from vpp.sweep_answers import Answers, Gathering
from vpp.trim import FastestEquilibrium, fleets_on, freedom, kind_of

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

NEAR = 0.10
"""Optima of an anchor that make good less than its best by more than this share are not followed."""

# Cases of one batch: bounds the memory.
_AT_A_TIME = 2048


def followed(
    boats: Sequence[Boat],
    places: Floats,
    conditions: Conditions,
    *,
    anchors: int,
    wanted: Sequence[str],
) -> Answers:
    """Every boat in all conditions, which are those of one boat: `anchors` of them searched in full, the
    others followed. `places` (boats, factors) says where the boats lie in the space, in comparable units.
    """
    run = _Run(boats, places, conditions, wanted)
    run.follow(spread(places, anchors))
    return run.answers()


def spread(places: Floats, count: int) -> list[int]:
    """So many boats spread over the space: the one nearest to the middle of all, then each the farthest from
    those before it.
    """
    if not len(places):
        return []
    apart = ((places - places.mean(axis=0)) ** 2).sum(axis=1)
    chosen = [int(apart.argmin())]
    nearest = ((places - places[chosen[0]]) ** 2).sum(axis=1)
    while len(chosen) < min(count, len(places)):
        chosen.append(int(nearest.argmax()))
        nearest = np.minimum(nearest, ((places - places[chosen[-1]]) ** 2).sum(axis=1))
    return sorted(set(chosen))


class _Run(Gathering):
    def __init__(
        self, boats: Sequence[Boat], places: Floats, conditions: Conditions, wanted: Sequence[str]
    ) -> None:
        super().__init__(boats, conditions, wanted)
        self.places = places
        self.lost = np.zeros(self.status.shape, dtype=bool)

    def follow(self, anchors: Sequence[int]) -> None:
        """Search the anchors, follow the others from them, search what was lost."""
        count = len(self.conditions)
        found = self.search(np.repeat(anchors, count), np.tile(np.arange(count), len(anchors)))
        self.searching_s = perf_counter() - self.begun
        if found is None or stopping.asked():
            return
        tracks = [self._tracks(found, number, boat) for number, boat in enumerate(anchors)]
        unsure = self._unsure(tracks)
        others = np.setdiff1d(np.arange(len(self.boats)), anchors)
        self.lost[np.ix_(others, np.flatnonzero(unsure))] = True
        apart = ((self.places[:, None] - self.places[list(anchors)]) ** 2).sum(axis=-1)
        contested = self._check(anchors, tracks, apart)
        nearest = apart.argmin(axis=1)
        for number in range(len(anchors)):
            near = others[nearest[others] == number]
            far = others[nearest[others] != number]
            known = [track for track in tracks[number] if not unsure[track.condition]]
            self._follow_all(anchors[number], known, near)
            self._follow_all(
                anchors[number], [track for track in known if contested[track.condition]], far, is_extra=True
            )
        lost = np.argwhere(self.lost)
        if not stopping.asked():
            self.search(lost[:, 0], lost[:, 1])

    def _tracks(self, found: Solved, number: int, boat: int) -> list[Track]:
        """Optima of an anchor, the `number`-th of those searched, that are the fastest of their condition or
        nearly.
        """
        tracks: list[tuple[Track, float]] = []
        for solved in each_way(found, self.boats[boat]):
            speed = wardrobe.made_good(solved)
            places = np.flatnonzero((solved.conditions.option == number) & np.isfinite(speed)).tolist()
            there = [(place, self._number_of(solved.conditions, place)) for place in places]
            each = tracks_at(self.boats[boat], solved, there)
            tracks += [(track, float(speed[place])) for track, place in zip(each, places, strict=True)]
        return nearly_fastest(tracks, near=NEAR)

    def _number_of(self, of: Conditions, place: int) -> int:
        """Which of the conditions it is."""
        same = (self.conditions.tws == of.tws[place]) & (self.conditions.aim == of.aim[place])
        if of.aim[place] == SPEED:
            same &= self.conditions.twa == of.twa[place]
        return int(np.flatnonzero(same)[0])

    def _unsure(self, tracks: Sequence[Sequence[Track]]) -> NDArray[np.bool_]:
        """Conditions in which an anchor has no optimum to follow, or the anchors are not carried or dressed
        in the same ways: there all boats are searched in full.
        """
        unsure = np.zeros(len(self.conditions), dtype=bool)
        for condition in range(len(self.conditions)):
            ways = [
                {(track.branch, track.sail_set) for track in some if track.condition == condition}
                for some in tracks
            ]
            whole = all(len(track.x) for some in tracks for track in some if track.condition == condition)
            unsure[condition] = not whole or not set.intersection(*ways)
        return unsure

    def _check(
        self, anchors: Sequence[int], tracks: Sequence[Sequence[Track]], apart: Floats
    ) -> NDArray[np.bool_]:
        """Follow each anchor from the nearest other one, and say in which conditions that and its own search
        do not agree.
        """
        contested = np.zeros(len(self.conditions), dtype=bool)
        if len(anchors) < 2:
            return contested
        for number, boat in enumerate(anchors):
            row = apart[boat].copy()
            row[number] = np.inf
            other = int(row.argmin())
            before = self.made_good[boat].copy()
            self.made_good[boat] = np.nan
            kept = {name: getattr(self, name)[boat].copy() for name in _KEPT}
            more = {name: values[boat].copy() for name, values in self.quantities.items()}
            self._follow_all(anchors[other], tracks[other], np.array([boat]), is_extra=True)
            after = self.made_good[boat].copy()
            both = np.isfinite(before) & np.isfinite(after)
            self.checks += list(zip(after[both].tolist(), before[both].tolist(), strict=True))
            contested |= both & (np.abs(after - before) > MISSED * before)
            found = np.isnan(before) & np.isfinite(after)
            worse = ~found & ~(after > before * (1.0 + MISSED))
            self.made_good[boat] = np.where(worse, before, after)
            for name, values in kept.items():
                getattr(self, name)[boat] = np.where(worse, values, getattr(self, name)[boat])
            for name, values in more.items():
                self.quantities[name][boat] = np.where(worse, values, self.quantities[name][boat])
        return contested

    def _follow_all(
        self, anchor: int, tracks: Sequence[Track], boats: Integers, *, is_extra: bool = False
    ) -> None:
        """Follow optima of an anchor to boats. Extra ones need not be there."""
        for alike in grouped_tracks(tracks, self.conditions):
            known = [track for track in alike if len(track.x)]
            kind = kind_of(dressed_as(self.boats[anchor], alike[0].sail_set), (alike[0].branch,))
            same = [at for at in boats.tolist() if self._kind(at, alike[0]) == kind]
            if not is_extra:
                strange = np.setdiff1d(boats, same)
                self.lost[np.ix_(strange, np.array([track.condition for track in alike]))] = True
            size = max(1, _AT_A_TIME // max(len(known), 1))
            for first in range(0, len(same) if known else 0, size):
                if not stopping.asked():
                    self._follow(known, np.array(same[first : first + size]), is_extra=is_extra)

    def _kind(self, at: int, track: Track) -> tuple[object, ...]:
        return kind_of(dressed_as(self.boats[at], track.sail_set), (track.branch,))

    def _follow(self, tracks: Sequence[Track], boats: Integers, *, is_extra: bool) -> None:
        """Follow optima of one branch, sail set and kind of aim to boats of one kind."""
        count, branch, sail_set = len(boats), tracks[0].branch, tracks[0].sail_set
        members = [dressed_as(self.boats[at], sail_set) for at in boats.tolist()]
        (fleet,) = fleets_on(members, (branch,))
        numbers = np.repeat([track.condition for track in tracks], count)
        conditions = replace(
            self.conditions.take(numbers), option=np.tile(np.arange(count), len(tracks)).astype(np.intp)
        )
        problem = FastestEquilibrium(fleet, freedom(members, branch), conditions)
        guess = Guess(
            *(
                np.repeat(np.array([getattr(track, name) for track in tracks]).T, count, axis=1)
                for name in ("x", "multipliers", "at_lower", "at_upper")
            )
        )
        answer = self._followed(problem, guess, boats, is_extra=is_extra)
        said = report(problem, answer)
        at = np.tile(boats, len(tracks))
        if not is_extra:
            self.lost[at, numbers] |= np.asarray(said.status) != Status.CONVERGED
        vmg = np.where(conditions.aim == DOWNWIND, -1.0, 1.0) * said.quantities["vmg"]
        speed = np.where(conditions.aim == SPEED, said.quantities["boat_speed"], vmg)
        good = said.status == Status.CONVERGED
        better = good & ~(speed <= self.made_good[at, numbers])
        which = np.flatnonzero(better)
        words = (np.full(len(at), branch, dtype=object), np.full(len(at), sail_set, dtype=object))
        self.keep(
            which, at, numbers, said.status, speed, *words, np.array(said.reason, dtype=object),
            np.array(said.remark, dtype=object), said.quantities,
        )  # fmt: skip
        self.how[at[which], numbers[which]] = FOLLOWED

    def _followed(
        self, problem: FastestEquilibrium, guess: Guess, boats: Integers, *, is_extra: bool
    ) -> Solution:
        """Answers of cases, boats within each track: from the optimum of the anchor, then from that of the
        nearest boat that was reached, then by a search from the first.
        """
        answer = follow_cases(problem, np.arange(problem.condition_count), guess)
        track, boat = np.divmod(np.arange(problem.condition_count), len(boats))
        recover(problem, answer, guess.x, self.places[boats][boat], track, is_searched=not is_extra)
        return answer


_KEPT = ("status", "how", "branch", "sail_set", "reason", "remark")
