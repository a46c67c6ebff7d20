"""The search for the fastest equilibria of many conditions: some from guessed starts, the others from their
neighbours' answers.

A few conditions of every boat, spread over wind speed and angle, are solved from guessed starts
(`vpp.solver.interior_point`). All others begin at the answer of a neighbour and mostly need a handful of
steps (`vpp.solver.following`). Then neighbours compare: an optimum of one that may be as good and is not
among those of the other is followed there, round after round. Conditions know of each other within a patch
alone, so that the answers do not depend on how patches are shared out among processes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from vpp.neighbours import ANGLE_STEP, DENSE, REACH, Neighbours, cells, first_in_wind, grouped
from vpp.optima import (
    KEPT,
    SETTINGS,
    UNSOLVED,
    Cases,
    FloatArray,
    Integers,
    Mask,
    Optima,
    blocks,
    joined,
    rearranged,
    rounds,
    standing,
)
from vpp.physics.wind import apparent_wind
from vpp.solved import Conditions
from vpp.solver import stopping
from vpp.solver.following import Guess, follow
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Settings, Solution
from vpp.solver.status import Status
from vpp.starts import LAST, scattered_states, starts_for
from vpp.trim import FastestEquilibrium, start

# Steps along the sides of a cell of which one condition is solved from guessed starts; of every
# `LEADS`-th boat, and cells so many times as wide where other boats are solved in the same wind.
CELL, LEADS, WIDER = 1.8, 4, 4.0
# Of conditions that were not asked for, those within the second of the first angle [rad] may be solved from
# guessed starts: nearer the wind, and dead before it, answers are dear or none.
MIDDLE, AROUND = np.radians(95.0), np.radians(60.0)
# Iterations of a guessed start, restoration included; what needs more is left to neighbours.
FIRST_LIMIT = 80
# By how much of the best speed a search that ran out of them must be faster to be continued.
AHEAD = 1e-3
# By how much of itself a speed must lie below the line between its neighbours' to be looked into.
DENT = 4e-3
# Neighbours asked for, fewer than which are no reason to believe that a condition has no answer.
FEW = 3
# Neighbours tried by a condition that has no answer.
TRIES = 5
# Stages of a walk to a condition that could not be followed to in one step, and neighbours that it is walked
# to from.
STAGES, BESIDE = 4, 3
# By how much of the speed an optimum of a neighbour may promise to be worse and still be followed; the
# promise is good to first order.
DOUBT = 1e-2
# And by how much to be better to be walked to where it could not be followed to in one step, and how often
# that is done for a condition.
WORTH_A_WALK, WALKS = 3e-4, 8
# How far apart in scaled variables two answers must be to be different ones, and not the same a step on.
OTHER = 0.6
# The same of neighbours close to each other, and of other boats in the same wind.
OTHER_IF_CLOSE = 0.15
# Nearest neighbours from whose states a better optimum is searched for where theirs is another, how often,
# and with what barrier.
NEXT, OPINIONS, BARRIER_NEAR_BY = 4, 3, 1e-5
# States from which a case was led to nothing new that are remembered, and how near to them no more is tried.
MEMORY, ALIKE = 6, 0.25
# Rounds in which neighbours compare, and optima followed to a condition in each; and how many more rounds for
# those alone that promise to be faster by so much, which in dense rows have far to go.
ROUNDS, FOLLOWED = 6, 2
MORE_ROUNDS, FASTER = 60, 1e-4


def at_angles(
    problems: Sequence[FastestEquilibrium],
    patch: Integers,
    asked: int,
    satellites: int = 0,
    tell: Callable[[float], None] | None = None,
) -> list[Optima]:
    """Fastest equilibria at wind angles of boats on each branch, and other optima beside them; of problems of
    the same conditions.

    `patch` says which conditions may know of each other. The first `asked` of them are wanted, the others
    solved as far as that is easy; the last are `satellites` of wanted ones that are alone. `tell` is told the
    share that has ended.
    """
    return _Search(problems, patch, asked, satellites, tell).run()


class _Search:
    """One call of `at_angles`: cases are conditions on a branch."""

    def __init__(
        self,
        problems: Sequence[FastestEquilibrium],
        patch: Integers,
        asked: int,
        satellites: int,
        tell: Callable[[float], None] | None,
    ) -> None:
        self.problems, self.tell = problems, tell
        self.problem = joined(problems)
        count, branches = problems[0].condition_count, len(problems)
        self.condition = np.tile(np.arange(count), branches)
        self.branch = np.repeat(np.arange(branches), count)
        self.wanted = self.condition < asked
        self.satellite = self.condition >= count - satellites
        self.conditions = problems[0].conditions.take(self.condition)
        self.patch = patch[self.condition]
        self.near = Neighbours.of(self.conditions, self.patch, self.branch)
        self.first = first_in_wind(
            self.branch, self.patch, self.wanted, self.conditions.tws, self.conditions.twa
        )
        self.optima = Optima.of(self.problem)
        self.found = self.optima.best
        # whether a neighbour's optimum has been followed to here, (cases, neighbours, optima)
        self.tried = np.repeat((self.near.case < 0)[..., None], KEPT, axis=-1)
        self.cold = np.zeros(len(self.patch), dtype=bool)
        self.walks = np.zeros(len(self.patch), dtype=np.int64)
        self.dead = np.full((MEMORY, *self.found.x.shape), np.inf)
        self.dead_ends = np.zeros(len(self.patch), dtype=np.int64)
        self.ended = np.zeros(len(self.patch), dtype=bool)

    def run(self) -> list[Optima]:
        """Answers of each branch."""
        self._from_starts(np.flatnonzero(self._leads()))
        self._from_starts(self._satellites_of_failures())
        self._spread()
        self._from_starts(self._stranded())
        self._spread()
        while not stopping.asked():
            left = np.flatnonzero((self.found.status == UNSOLVED) & self.wanted)
            if not len(left):
                break
            self._settle(left)
            self._spread()
        self._compare_all()
        dented = self._dented()
        if len(dented) and not stopping.asked():
            self._from_starts(dented)
            self._compare_all()
        self._second_opinions()
        self._rescue()
        self._sharpen()
        if stopping.asked():  # what was not compared may not be the best
            self.found.status[self.found.status == Status.CONVERGED] = Status.INTERRUPTED
        self.found.status[self.found.status == UNSOLVED] = Status.INTERRUPTED
        count = self.problems[0].condition_count
        return [
            self.optima.take(np.arange(first, first + count)) for first in range(0, len(self.branch), count)
        ]

    def _compare_all(self) -> None:
        for number in range(ROUNDS + MORE_ROUNDS):
            if stopping.asked() or not self._compare(-DOUBT if number < ROUNDS else FASTER):
                return

    def _dented(self) -> Integers:
        """Conditions not yet solved from guessed starts whose speed lies below the straight line between
        those at the next smaller and larger wind angles. Where one optimum takes over from another that is
        as it should be, and else a sign that a better one was missed.
        """
        speed = np.where(self.found.status == Status.CONVERGED, -self.found.objective, np.nan)
        dented = np.zeros(len(speed), dtype=bool)
        for row in grouped(self.branch, self.patch, self.conditions.option, self.conditions.tws):
            row = row[np.argsort(self.conditions.twa[row], kind="stable")]
            angle, of = self.conditions.twa[row], speed[row]
            before, here, after = angle[:-2], angle[1:-1], angle[2:]
            share = (here - before) / np.where(after > before, after - before, 1.0)
            line = of[:-2] + share * (of[2:] - of[:-2])
            near = (after - before) <= 2.0 * REACH * ANGLE_STEP
            dented[row[1:-1]] = near & (of[1:-1] < (1.0 - DENT) * line)
        return np.flatnonzero(dented & self.wanted & ~self.cold)

    def _lone(self) -> Mask:
        """Conditions that were asked for with no other of their boat near them but their satellites; of
        several boats in one wind the first, whose answers the others compare with.
        """
        return self._with_few_near(~self.satellite, 1)

    def _with_few_near(self, others: Mask, fewer_than: int) -> Mask:
        """Conditions that were asked for with fewer than so many of `others` of their boat near them. Of
        several boats in one wind only the first: the others miss what it misses, and find what it finds.
        """
        near = (self.near.case >= 0) & (self.near.gap <= REACH) & others[self.near.case]
        near &= self.conditions.option[self.near.case] == self.conditions.option[:, None]
        return np.asarray(self.wanted & self.first & (near.sum(axis=1) < fewer_than))

    def _satellites_of_failures(self) -> Integers:
        """Satellites of conditions on their own that no guessed start led to an answer for."""
        failed = self._lone() & (self.found.status != Status.CONVERGED)
        beside = (self.near.case >= 0) & (self.near.gap <= REACH) & failed[self.near.case]
        return np.flatnonzero(self.satellite & beside.any(axis=1))

    def _rescue(self) -> None:
        """Look all over the bounds where a condition has no answer yet that is proven best, and few others
        near it that were asked for: these, or what else is near, may lead it to no answer where it has one.
        """
        few = self._with_few_near(self.wanted, FEW)
        cases = np.flatnonzero(few & np.isin(standing(self.found), (1, 2)))
        if len(cases) and not stopping.asked():
            index, states = scattered_states(self.problem, cases)
            new = self._minimise(
                index, states, self._settings_of_many(), restore_first=np.ones(len(index), dtype=bool)
            )
            if new.any():
                self._compare_all()

    def _second_opinions(self) -> None:
        """Where the nearest neighbours have another optimum or lean on other bounds, search for better ones
        from their states. Following takes over which bounds hold, and so misses what this finds.
        """
        asked = np.zeros(self.near.case.shape, dtype=bool)
        for _ in range(OPINIONS):
            cases, column = np.nonzero(self._differ() & ~asked)
            if not len(cases) or stopping.asked():
                return
            asked[cases, column] = True
            before = self.found.objective.copy()
            guess = self._guess(cases, self.near.case[cases, column])
            settings = replace(self._settings_of_many(), initial_barrier=BARRIER_NEAR_BY)
            if not self._minimise(cases, guess.x, settings).any():
                return
            self._compare_all()
            changed = np.flatnonzero(self.found.objective < before)
            asked &= ~np.isin(self.near.case, changed)

    def _differ(self) -> Mask:
        """Which of the nearest neighbours have an answer that does not follow from the one here, or the other
        way round; of the same boat, for others in this wind mostly have the same optimum, and of the first in
        a wind alone, with which those compare.
        """
        case = self.near.case
        near = (case >= 0) & (self.near.gap <= REACH) & self._converged(case) & self.wanted[case]
        near &= self.conditions.option[case] == self.conditions.option[:, None]
        near &= near.cumsum(axis=1) <= NEXT
        near &= ((self.found.status == Status.CONVERGED) & self.wanted & self.first)[:, None]
        here, column = np.nonzero(near)
        source = case[here, column]
        guess = self._guess(here, source)
        apart = np.abs(guess.x - self.found.x[:, here]).max(axis=0)
        far = apart > self._least(here, source, self.near.gap[here, column])
        for held, best in (
            (guess.active_lower, self.found.active_lower),
            (guess.active_upper, self.found.active_upper),
        ):
            far |= (held != (best[:, here] > 0)).any(axis=0)
        near[here, column] = far
        return near

    def _least(self, cases: Integers, source: Integers, gap: FloatArray) -> FloatArray:
        """How far apart answers of cases must be from those of others, `gap` steps away, to be different."""
        option = self.conditions.option
        is_close = (gap <= DENSE) | (option[cases] != option[source])
        return np.where(is_close, OTHER_IF_CLOSE, OTHER)

    def _settings_of_many(self) -> Settings:
        """Settings of searches that have others beside them: what needs long is left to those."""
        return replace(SETTINGS, step_limit=min(FIRST_LIMIT, SETTINGS.step_limit))

    def _sharpen(self) -> None:
        """Take the last of the barrier out of answers that were not followed."""
        blurred = self.optima.blurred()
        for part in blocks(len(blurred)):
            cases = blurred[part]
            answer = follow(Cases(self.problem, cases), self._unmoved(cases, None), settings=SETTINGS)
            self.optima.sharpen(answer, cases)

    def _leads(self) -> Mask:
        """Conditions to be solved from guessed starts: the middle one of every cell."""
        option = self.conditions.option
        others = (self.near.case >= 0) & (option[self.near.case] != option[:, None])
        wide = np.where((option % LEADS == 0) | ~others.any(axis=1), 1.0, WIDER) * CELL
        easy = (np.abs(self.conditions.twa - MIDDLE) < AROUND) & ~self.satellite
        leads = np.zeros(len(wide), dtype=bool)
        leads[self._middles(np.flatnonzero(self.wanted | easy), wide)] = True
        return leads | self._lone()

    def _middles(self, cases: Integers, wide: FloatArray) -> Integers:
        """Of some cases the middle one of every cell, so many steps wide."""
        keys = (self.branch, self.patch, self.conditions.option, *cells(self.conditions, wide))
        groups = grouped(*(key[cases] for key in keys))
        return cases[[group[len(group) // 2] for group in groups]]

    def _stranded(self) -> Integers:
        """The middle ones of those that were asked for and have no neighbour with an answer."""
        reached = self._converged(self.near.case) & (self.near.gap <= REACH)
        left = (self.found.status == UNSOLVED) & self.wanted & ~self.cold & ~reached.any(axis=1)
        return self._middles(np.flatnonzero(left), np.full(len(left), CELL))

    def _from_starts(self, cases: Integers) -> None:
        """Solve cases from all guessed starts that suit them."""
        self.cold[cases] = True
        index, states = [], []
        for number, problem in enumerate(self.problems):
            here = cases[self.branch[cases] == number]
            if not len(here):
                continue
            for how, suits in starts_for(problem):
                which = here[suits[self.condition[here]]]
                if len(which):
                    index.append(which)
                    states.append(start(problem, how)[:, self.condition[which]])
        if not index:
            return
        # guessed starts of a condition that has no other to compare with are all followed up
        alone = self._lone()
        lone, thorough = cases[alone[cases]], alone[np.concatenate(index)]
        if len(lone):
            more, scattered = scattered_states(self.problem, lone)
            index.append(more)
            states.append(scattered)
        starts = np.concatenate(index), np.concatenate(states, axis=-1)
        thorough = np.concatenate([thorough, np.zeros(len(starts[0]) - len(thorough), dtype=bool)])
        self._minimise(*starts, self._settings_of_many(), thorough=thorough)
        undecided = (self.found.status[cases] == Status.STEP_LIMIT) & (standing(self.found)[cases] == 1)
        self.found.status[cases[undecided]] = UNSOLVED
        self._tell(cases[self.found.status[cases] != UNSOLVED])

    def _last_resort(self, cases: Integers) -> None:
        """From slow and depowered states, with a thorough search for feasible ones."""
        for number, problem in enumerate(self.problems):
            here = cases[self.branch[cases] == number]
            if len(here):
                settings = replace(SETTINGS, initial_barrier=1e-2, restoration_starts=3)
                self._minimise(here, start(problem, LAST)[:, self.condition[here]], settings)
        self._tell(cases)

    def _minimise(
        self,
        cases: Integers,
        states: FloatArray,
        settings: Settings,
        *,
        restore_first: Mask | None = None,
        thorough: Mask | None = None,
    ) -> Mask:
        """Solve cases, some of them several times, from states; says which led to new optima. States of one
        case are rivals, but the `thorough` ones.
        """
        if not len(cases):
            return np.zeros(0, dtype=bool)
        rivals = cases
        if thorough is not None:
            rivals = np.where(thorough, len(self.patch) + np.arange(len(cases)), cases)
        answer = minimise(
            Cases(self.problem, cases),
            states,
            settings=settings,
            restore_first=restore_first,
            rivals=rivals,
        )
        new = self._keep(answer, cases)
        ahead = np.flatnonzero(self._ahead(answer, cases))
        if len(ahead) and not stopping.asked():
            places = cases[ahead]
            again = minimise(
                Cases(self.problem, places), answer.x[:, ahead], settings=SETTINGS, rivals=places
            )
            new[ahead] |= self._keep(again, places)
        return new

    def _ahead(self, answer: Solution, cases: Integers) -> Mask:
        """Which searches ran out of iterations at a feasible state that is faster than the best answer."""
        best = self.found.objective[cases]
        faster = answer.objective < best - AHEAD * np.abs(best)
        return np.asarray(faster & (standing(answer) == 2) & (self.found.status[cases] == Status.CONVERGED))

    def _keep(self, answer: Solution, cases: Integers) -> Mask:
        """Keep answers to cases, which may occur several times; says which are new optima there."""
        new = np.zeros(len(cases), dtype=bool)
        for turn in rounds(cases):
            _, new[turn] = self.optima.put(rearranged(answer, turn), cases[turn])
        return new

    def _spread(self) -> None:
        """Solve what has not been solved from neighbours that have, as long as that leads anywhere."""
        while not stopping.asked():
            left = np.flatnonzero((self.found.status == UNSOLVED) & (self._tries() < TRIES))
            neighbour = self.near.case[left]
            useful = self._converged(neighbour) & ~self.tried[left, :, 0] & (self.near.gap[left] <= REACH)
            some = useful.any(axis=1)
            if not some.any():
                return
            self._follow(left[some], useful[some].argmax(axis=1), np.zeros(int(some.sum()), dtype=np.int64))

    def _tries(self) -> Integers:
        """Neighbours tried by each case."""
        tries: Integers = (self.tried[..., 0] & (self.near.case >= 0)).sum(axis=1)
        return tries

    def _converged(self, neighbour: Integers, slot: int = 0) -> Mask:
        """Whether there is such a neighbour with so many optima."""
        converged = self.optima.slots[slot].status[neighbour] == Status.CONVERGED
        return np.asarray(converged & (neighbour >= 0))

    def _follow(self, cases: Integers, column: Integers, slot: Integers) -> tuple[Mask, Mask]:
        """Follow optima of neighbours to cases, which may occur several times; says which were reached, and
        which are new optima there.
        """
        self.tried[cases, column, slot] = True
        guess = self._guess(cases, self.near.case[cases, column], slot)
        new, reached = np.zeros(len(cases), dtype=bool), np.zeros(len(cases), dtype=bool)
        for part in blocks(len(cases)):
            answer = follow(Cases(self.problem, cases[part]), guess.take(part), settings=SETTINGS)
            good = np.flatnonzero(answer.status == Status.CONVERGED)
            reached[part[good]] = True
            new[part[good]] = self._keep(rearranged(answer, good), cases[part[good]])
            self._tell(cases[part[good]])
        return reached, new

    def _guess(self, cases: Integers, source: Integers, slot: Integers | None = None) -> Guess:
        """Neighbours' best answers or other optima, as a guess for cases."""
        guess = self._unmoved(source, slot)
        x = self._moved(guess.x, self.conditions.take(source), self.conditions.take(cases))
        return replace(guess, x=np.clip(x, self.problem.lower[:, cases], self.problem.upper[:, cases]))

    def _unmoved(self, source: Integers, slot: Integers | None) -> Guess:
        """Best answers or other optima of cases."""

        def pick(name: str) -> FloatArray:
            found = getattr(self.found, name)[:, source]
            for number in range(1, KEPT if slot is not None else 1):
                there = slot == number
                found[:, there] = getattr(self.optima.slots[number], name)[:, source[there]]
            return np.asarray(found)

        return Guess(pick("x"), pick("multipliers"), pick("active_lower") > 0, pick("active_upper") > 0)

    def _moved(self, x: FloatArray, of: Conditions, to: Conditions) -> FloatArray:
        """States of some conditions, the sheets moved as the apparent wind turns on the way to others."""
        row = self.problem.names.index("boat_speed")
        speed = x[row] * self.problem.scale[row]
        beta = [
            apparent_wind(true_wind_speed=at.tws, true_wind_angle=at.twa, boat_speed=speed)[1]
            for at in (of, to)
        ]
        moved = x.copy()
        for row, name in enumerate(self.problem.names):
            if name.endswith("_sheet"):
                moved[row] += (beta[1] - beta[0]) / self.problem.scale[row]
        return moved

    def _settle(self, left: Integers) -> None:
        """Solve cases that no neighbour led to an answer for, from where the neighbours' searches ended;
        where none has such neighbours, once more from afar.
        """
        neighbour = self.near.case[left]
        ends = (self.near.gap[left] <= REACH) & (neighbour >= 0) & (self.found.status[neighbour] >= 0)
        converged = ends & self._converged(neighbour)
        beside = converged.any(axis=1)
        if not ends.any():
            self._last_resort(left)
            return
        for turn in range(BESIDE):
            which = np.flatnonzero(converged.sum(axis=1) > turn)
            which = which[self.found.status[left[which]] == UNSOLVED]
            if len(which):
                column = np.argsort(~converged[which], axis=1, kind="stable")[:, turn]
                self._walk(left[which], neighbour[which, column])
        which = np.flatnonzero(ends.any(axis=1) & (self.found.status[left] == UNSOLVED))
        if len(which):
            column = np.where(beside, converged.argmax(axis=1), ends.argmax(axis=1))[which]
            guess = self._guess(left[which], neighbour[which, column])
            self._minimise(left[which], guess.x, SETTINGS, restore_first=np.asarray(~beside)[which])
            self._tell(left[which])

    def _walk(self, cases: Integers, source: Integers, slot: Integers | None = None) -> Mask:
        """Follow the best answers of other cases, or other optima, to cases of the same branches in stages;
        says which are new optima there.
        """
        new = np.zeros(len(cases), dtype=bool)
        for part in blocks(len(cases)):
            some, of = cases[part], source[part]
            ways = [self._between(of, some, stage / STAGES) for stage in range(1, STAGES + 1)]
            way = ways[0]
            for later in ways[1:]:
                way = way.followed_by(later)
            on_the_way = joined([FastestEquilibrium(at.fleet, at.free, way) for at in self.problems])
            path = np.arange(len(way)).reshape(STAGES, len(part))
            there = Cases(on_the_way, np.tile(self.branch[some] * len(way), STAGES) + path.reshape(-1))
            guess = self._unmoved(of, None if slot is None else slot[part])
            x = self._moved(guess.x, self.conditions.take(of), ways[0])

            def moved(x: FloatArray, of: Integers, to: Integers, way: Conditions = way) -> FloatArray:
                return self._moved(x, way.take(of), way.take(to))

            answer = follow(there, replace(guess, x=x), settings=SETTINGS, path=path, moved=moved)
            good = np.flatnonzero(answer.status == Status.CONVERGED)
            new[part[good]] = self._keep(rearranged(answer, good), some[good])
            self._tell(some[good])
        return new

    def _between(self, first: Integers, last: Integers, share: float) -> Conditions:
        """Conditions on the way from cases to others, of the boats of the others."""
        of, end = self.conditions.take(first), self.conditions.take(last)
        return replace(
            end,
            tws=of.tws ** (1.0 - share) * end.tws**share,
            twa=of.twa + share * (end.twa - of.twa),
        )

    def _compare(self, least: float) -> bool:
        """Follow neighbours' optima that promise a gain of at least so much; says whether any was new."""
        promise = np.stack([self._promises(slot) for slot in range(KEPT)], axis=-1)
        flat = promise.reshape(len(promise), -1)
        order = np.argsort(-flat, axis=1, kind="stable")[:, :FOLLOWED]
        cases, turn = np.nonzero(np.take_along_axis(flat, order, axis=1) > least)
        if not len(cases):
            return False
        column, slot = np.divmod(order[cases, turn], KEPT)
        expected = flat[cases, order[cases, turn]]
        reached, new = self._follow(cases, column, slot)
        unsolved = self.found.status[cases] != Status.CONVERGED
        worth = (expected > WORTH_A_WALK) & (unsolved | (self.walks[cases] < WALKS)) & self.wanted[cases]
        lost = np.flatnonzero(~reached & worth)
        self.walks[cases[lost]] += 1
        source = self.near.case[cases, column]
        new[lost] = self._walk(cases[lost], source[lost], slot[lost])
        self._remember(cases[~new], self._guess(cases[~new], source[~new], slot[~new]).x)
        changed = np.unique(cases[new])
        self.tried &= ~np.isin(self.near.case, changed)[..., None]
        return bool(new.any())

    def _remember(self, cases: Integers, states: FloatArray) -> None:
        """Note states from which cases were led to nothing new."""
        for which in rounds(cases):
            at = cases[which]
            self.dead[self.dead_ends[at] % MEMORY, :, at] = states[:, which].T
            self.dead_ends[at] += 1

    def _promises(self, slot: int) -> FloatArray:
        """What each neighbour's optimum of a slot promises, (cases, neighbours); minus infinity where it is
        known here or has been tried.
        """
        promises = np.full(self.near.case.shape, -np.inf)
        hopeful = (self.found.status == Status.CONVERGED) | (self._tries() < TRIES)
        ready = self._converged(self.near.case, slot) & ~self.tried[..., slot]
        ready &= hopeful[:, None] & (self.found.status >= 0)[:, None]
        cases, column = np.nonzero(ready)
        for part in blocks(len(cases)):
            of, source = cases[part], self.near.case[cases[part], column[part]]
            gap = self.near.gap[of, column[part]]
            promises[of, column[part]] = self._promise(of, source, np.full(len(part), slot), gap)
        return promises

    def _promise(self, cases: Integers, source: Integers, slot: Integers, gap: FloatArray) -> FloatArray:
        """By how much, as a share of the speed, neighbours' optima promise to be better: their objective,
        corrected to first order for what their state leaves over in the equations here. Minus infinity where
        an optimum is the same as one here, `gap` steps on.
        """
        guess = self._guess(cases, source, slot)
        share = np.full(len(cases), -np.inf)
        here = self._converged(cases)
        other = np.ones(len(cases), dtype=bool)
        least = self._least(cases, source, gap)
        for number in range(KEPT):
            apart = np.abs(guess.x - self.optima.slots[number].x[:, cases]).max(axis=0)
            other &= ~self._converged(cases, number) | (apart > least)
        for state in self.dead:
            other &= ~here | (np.abs(guess.x - state[:, cases]).max(axis=0) > ALIKE)
        which = np.flatnonzero(other)
        values = self.problem.values(guess.x[:, which], cases[which])
        expected = values.objective + (guess.multipliers[:, which] * values.constraints).sum(axis=0)
        now = np.where(here, self.found.objective[cases], np.inf)[which]
        gain = (now - expected) / np.where(here[which], np.abs(now), 1.0)
        share[which] = np.where(np.isfinite(expected), gain, -np.inf)
        return share

    def _tell(self, cases: Integers) -> None:
        self.ended[cases] = True
        if self.tell is not None:
            self.tell(float(self.ended.mean()))
