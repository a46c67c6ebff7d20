"""Best velocity made good: looked for along a row of wind angles, then exactly, and compared with those of
other boats in the same wind and of the same boat in the next winds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from vpp.neighbours import first_in_wind, grouped
from vpp.optima import (
    BETTER,
    SETTINGS,
    UNSOLVED,
    Cases,
    FloatArray,
    Integers,
    Optima,
    blank,
    blocks,
    joined,
    keep_better,
    rearranged,
    rounds,
)
from vpp.solved import DOWNWIND, SPEED, UPWIND, Conditions
from vpp.solver import stopping
from vpp.solver.following import Guess, follow
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Solution
from vpp.solver.status import Status
from vpp.starts import scattered_states, starts_for
from vpp.trim import VMG_RANGES, FastestEquilibrium, start

# Wind angles between which the best VMG is looked for first [rad], and how many of the best of a row.
ROW_STEP = {UPWIND: np.radians(6.0), DOWNWIND: np.radians(8.0)}
PEAKS = 3
# Rounds in which best VMGs compare, how many others each follows in one, what these must promise, and what to
# be searched for where following leads elsewhere.
ROUNDS, FOLLOWED, PROMISE, WORTH_A_SEARCH = 4, 2, 1e-4, 1e-3
_NEARBY, _FROM_AFAR = replace(SETTINGS, step_limit=60), replace(SETTINGS, step_limit=80)


class _Begun(NamedTuple):
    """A case of best VMG, and the optimum at a wind angle that its search begins at."""

    case: int
    branch: int
    place: int
    slot: int
    is_highest: bool = False


def rows_for(conditions: Conditions, at_angles: Conditions) -> tuple[Conditions, Integers]:
    """What is to be solved besides the conditions `at_angles`, so that every best VMG has a row of wind
    angles without large gaps to be looked for on, and which of `conditions` each of them is for.
    """
    owner: list[int] = []
    option, tws, twa = [], [], []
    for place in range(len(conditions)):
        aim = str(conditions.aim[place])
        low, high = VMG_RANGES[aim]
        here = (at_angles.option == conditions.option[place]) & (at_angles.tws == conditions.tws[place])
        known = at_angles.twa[here & (at_angles.twa >= low) & (at_angles.twa <= high)]
        steps = np.linspace(low, high, int(np.ceil((high - low) / ROW_STEP[aim])) + 1)
        new = [
            angle for angle in steps if not np.isclose(known, angle, atol=0.6 * ROW_STEP[aim], rtol=0).any()
        ]
        option += [conditions.option[place]] * len(new)
        tws += [conditions.tws[place]] * len(new)
        twa += new
        owner += [place] * len(new)
    rows = Conditions(
        option=np.array(option, dtype=np.intp),
        tws=np.array(tws, dtype=float),
        twa=np.array(twa, dtype=float),
        aim=np.full(len(option), SPEED),
    )
    return rows, np.array(owner, dtype=np.int64)


def best_vmg(
    problems: Sequence[FastestEquilibrium],
    rows: Sequence[FastestEquilibrium],
    answers: Sequence[Optima],
    patch: Integers,
) -> list[Solution]:
    """Best VMG of conditions on each branch, begun at the best of the rows of wind angles. `patch` says which
    conditions may know of each other.
    """
    conditions, row = problems[0].conditions, rows[0].conditions
    together = joined(problems)
    count = problems[0].condition_count
    found = blank(together)
    peaks = [
        _Begun(branch * count + place, branch, at, slot, is_highest=number + slot == 0)
        for branch, answer in enumerate(answers)
        for place in range(count)
        for number, at in enumerate(_peaks(conditions, place, row, answer.best).tolist())
        for slot, other in enumerate(answer.slots)
        if other.status[at] == Status.CONVERGED
    ]
    _from_peaks(together, rows[0], answers, peaks, found)
    alone = _alone(conditions, patch, len(problems))
    _from_afar(together, problems, found, alone)
    left = np.flatnonzero(found.status == UNSOLVED)
    if len(left) and not stopping.asked():
        nearest = []
        for case in left.tolist():
            branch, place = divmod(case, count)
            nearest.append(_Begun(case, branch, _nearest(conditions, place, row, answers[branch].best), 0))
        cases, guess = _at_angles(together, rows[0], answers, nearest)
        states = np.clip(guess.x, together.lower[:, cases], together.upper[:, cases])
        restore_first = np.ones(len(cases), dtype=bool)
        answer = minimise(Cases(together, cases), states, settings=SETTINGS, restore_first=restore_first)
        keep_better(found, answer, cases)
    _compare(together, problems, found, patch)
    doubtful = np.union1d(_held_back(together, found), _without_answer(found, conditions, patch))
    if _from_afar(together, problems, found, np.setdiff1d(doubtful, alone)):
        _compare(together, problems, found, patch)
    found.status[found.status == UNSOLVED] = Status.INTERRUPTED
    return [
        rearranged(found, np.arange(first, first + count)) for first in range(0, len(found.status), count)
    ]


def _from_peaks(
    together: FastestEquilibrium,
    row: FastestEquilibrium,
    answers: Sequence[Optima],
    peaks: Sequence[_Begun],
    found: Solution,
) -> None:
    """Follow the peaks of rows; beside the highest, and where following leads off to less than the row has,
    search from afar as well.
    """
    if not peaks or stopping.asked():
        return
    cases, guess = _at_angles(together, row, answers, peaks)
    known = np.array([answers[each.branch].slots[each.slot].objective[each.place] for each in peaks])
    known = known * np.abs(np.cos(guess.x[-1] * together.scale[-1]))
    led_off = _follow(together, cases, guess, found, known)
    highest = [number for number, each in enumerate(peaks) if each.is_highest]
    led_off = np.union1d(led_off, np.array(highest, dtype=np.int64))
    if len(led_off) and not stopping.asked():
        beside = Cases(together, cases[led_off])
        angle, width = guess.x[-1, led_off], max(ROW_STEP.values()) / together.scale[-1]
        beside.lower[-1] = np.maximum(beside.lower[-1], angle - width)
        beside.upper[-1] = np.minimum(beside.upper[-1], angle + width)
        states = np.clip(guess.x[:, led_off], beside.lower, beside.upper)
        answer = minimise(beside, states, settings=SETTINGS)
        _keep_sharp(together, cases[led_off], answer, found)


def _keep_sharp(together: FastestEquilibrium, cases: Integers, answer: Solution, found: Solution) -> None:
    """Take the last of the barrier out of answers, and keep them where they are better."""
    good = np.flatnonzero(answer.status == Status.CONVERGED)
    names = ("x", "multipliers", "active_lower", "active_upper")
    guess = Guess(*(getattr(answer, name)[:, good] for name in names))
    _follow(together, cases[good], guess, found, answer.objective[good])


def _follow(
    together: FastestEquilibrium, cases: Integers, guess: Guess, found: Solution, known: FloatArray
) -> Integers:
    """Keep the best answers near guesses; returns the places of guesses that led to none as good as `known`,
    an objective.
    """
    led_off = [np.zeros(0, dtype=np.int64)]
    for part in blocks(len(cases)):
        answer = follow(Cases(together, cases[part]), guess.take(part), settings=SETTINGS)
        converged = answer.status == Status.CONVERGED
        led_off.append(part[~converged | (answer.objective > known[part] + BETTER)])
        good = np.flatnonzero(converged)
        for which in rounds(cases[part[good]]):
            keep_better(found, rearranged(answer, good[which]), cases[part[good[which]]])
    return np.concatenate(led_off)


def _alone(conditions: Conditions, patch: Integers, branches: int) -> Integers:
    """Cases that have no other best VMG of their boat to compare with; of several boats in one wind the
    first.
    """
    alone = first_in_wind(patch, conditions.aim, conditions.tws)
    for group in grouped(patch, conditions.aim, conditions.option):
        alone[group] &= len(group) == 1
    return np.flatnonzero(np.tile(alone, branches))


def _without_answer(found: Solution, conditions: Conditions, patch: Integers) -> Integers:
    """Cases that neither a row nor others led to an answer; of several boats in one wind the first, which the
    others compare with. Wind angles of a row are solved as far as that is easy, and where the boat sails at
    few of them all may have been missed.
    """
    first = first_in_wind(patch, conditions.aim, conditions.tws)
    unsolved = (found.status == Status.NO_EQUILIBRIUM) | (found.status == Status.STEP_LIMIT)
    return np.flatnonzero(unsolved & np.tile(first, len(unsolved) // len(first)))


def _held_back(together: FastestEquilibrium, found: Solution) -> Integers:
    """Cases whose answer leans on the greatest speed that the models reach. At a wind angle nothing faster
    could be reported; a best VMG may be more at another angle, where the boat is slower.
    """
    speed = together.names.index("boat_speed")
    return np.flatnonzero((found.status == Status.CONVERGED) & found.active_upper[speed])


def _from_afar(
    together: FastestEquilibrium, problems: Sequence[FastestEquilibrium], found: Solution, cases: Integers
) -> bool:
    """Search for best VMGs from guessed starts, and from states all over the bounds, as well; says whether
    any was found that is better.
    """
    count = problems[0].condition_count
    if not len(cases) or stopping.asked():
        return False
    index, scattered = scattered_states(together, cases)
    which, begun = [index], [scattered]
    for branch, problem in enumerate(problems):
        here = cases[cases // count == branch]
        for how, _ in starts_for(problem):
            which.append(here)
            begun.append(start(problem, how)[:, here % count])
    before = np.where(found.status == Status.CONVERGED, found.objective, np.inf)
    rivals, states = np.concatenate(which), np.concatenate(begun, axis=-1)
    answer = minimise(Cases(together, rivals), states, settings=_FROM_AFAR, rivals=rivals)
    _keep_sharp(together, rivals, answer, found)
    return bool(((found.status == Status.CONVERGED) & (found.objective < before)).any())


def _compare(
    together: FastestEquilibrium, problems: Sequence[FastestEquilibrium], found: Solution, patch: Integers
) -> None:
    """Follow what others make good to where it promises to be more, until nothing new is found."""
    case, source = _pairs(problems[0].conditions, len(problems), patch)
    tried = np.zeros(len(case), dtype=bool)
    for _ in range(ROUNDS):
        known = np.flatnonzero(~tried & (found.status[source] == Status.CONVERGED))
        if not len(known) or stopping.asked():
            return
        promise = np.concatenate(
            [_promise(together, found, case[known[part]], source[known[part]]) for part in blocks(len(known))]
        )
        order = np.lexsort((-promise, case[known]))
        turn = np.arange(len(order)) - np.searchsorted(case[known[order]], case[known[order]])
        best = order[(turn < FOLLOWED) & (promise[order] > PROMISE)]
        follows, expected = known[best], promise[best]
        tried[follows] = True
        before = found.objective.copy()
        guess = _guess(together, found, case[follows], source[follows])
        led_off = _follow(together, case[follows], guess, found, found.objective[case[follows]])
        lost = led_off[expected[led_off] > WORTH_A_SEARCH]
        if len(lost) and not stopping.asked():
            cases = case[follows[lost]]
            answer = minimise(Cases(together, cases), guess.x[:, lost], settings=_NEARBY)
            _keep_sharp(together, cases, answer, found)
        changed = np.flatnonzero(found.objective != before)
        tried &= ~np.isin(source, changed)
        if not len(changed):
            return


def _pairs(conditions: Conditions, branches: int, patch: Integers) -> tuple[Integers, Integers]:
    """Cases, and others that they compare with."""
    first, second = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for group in grouped(patch, conditions.aim, conditions.tws):
        one, other = np.nonzero(~np.eye(len(group), dtype=bool))
        first.append(group[one])
        second.append(group[other])
    for group in grouped(patch, conditions.aim, conditions.option):
        row = group[np.argsort(conditions.tws[group], kind="stable")]
        first += [row[1:], row[:-1]]
        second += [row[:-1], row[1:]]
    offset = np.repeat(np.arange(branches) * len(conditions), sum(len(some) for some in first))
    return (
        np.tile(np.concatenate(first), branches) + offset,
        np.tile(np.concatenate(second), branches) + offset,
    )


def _guess(together: FastestEquilibrium, found: Solution, case: Integers, source: Integers) -> Guess:
    x = np.clip(found.x[:, source], together.lower[:, case], together.upper[:, case])
    return Guess(
        x, found.multipliers[:, source], found.active_lower[:, source], found.active_upper[:, source]
    )


def _promise(together: FastestEquilibrium, found: Solution, case: Integers, source: Integers) -> FloatArray:
    """By how much, as a share, the answers to others promise to make more good, to first order."""
    guess = _guess(together, found, case, source)
    values = together.values(guess.x, case)
    expected = values.objective + (guess.multipliers * values.constraints).sum(axis=0)
    here = np.where(found.status[case] == Status.CONVERGED, found.objective[case], np.inf)
    return np.where(np.isfinite(expected), (here - expected) / np.abs(expected), -np.inf)


def _row(conditions: Conditions, place: int, row: Conditions) -> Integers:
    """Places of a best VMG's row, by wind angle."""
    low, high = VMG_RANGES[str(conditions.aim[place])]
    here = (row.option == conditions.option[place]) & (row.tws == conditions.tws[place])
    places = np.flatnonzero(here & (row.twa >= low) & (row.twa <= high))
    return places[np.argsort(row.twa[places], kind="stable")]


def _peaks(conditions: Conditions, place: int, row: Conditions, answer: Solution) -> Integers:
    """The best of those places of a row that make more good than both beside them."""
    places = _row(conditions, place, row)
    converged = answer.status[places] == Status.CONVERGED
    good = np.where(converged, -answer.objective[places] * np.abs(np.cos(row.twa[places])), -np.inf)
    beside = np.concatenate([[-np.inf], good, [-np.inf]])
    top = np.flatnonzero(converged & (good >= beside[:-2]) & (good >= beside[2:]))
    return places[top[np.argsort(-good[top], kind="stable")][:PEAKS]]


def _nearest(conditions: Conditions, place: int, row: Conditions, answer: Solution) -> int:
    """The place of a row that came nearest to an equilibrium."""
    places = _row(conditions, place, row)
    return int(places[answer.constraint_error[places].argmin()])


def _at_angles(
    together: FastestEquilibrium,
    row: FastestEquilibrium,
    answers: Sequence[Optima],
    begun: Sequence[_Begun],
) -> tuple[Integers, Guess]:
    """Cases of best VMG, and guesses for them from answers at wind angles."""

    def pick(name: str) -> FloatArray:
        return np.stack(
            [getattr(answers[each.branch].slots[each.slot], name)[..., each.place] for each in begun], axis=-1
        )

    angle = row.conditions.twa[[each.place for each in begun]]
    free = np.zeros((1, len(begun)), dtype=bool)
    return np.array([each.case for each in begun], dtype=np.int64), Guess(
        np.concatenate([pick("x"), angle[None] / together.scale[-1]]),
        pick("multipliers") * np.abs(np.cos(angle)),
        np.concatenate([pick("active_lower"), free]),
        np.concatenate([pick("active_upper"), free]),
    )
