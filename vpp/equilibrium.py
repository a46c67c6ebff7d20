"""The fastest equilibrium of every condition: boats in batches, shared out among processes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vpp import best_vmg, neighbours, search
from vpp.boat import Boat
from vpp.optima import rearranged
from vpp.reporting import Report, assembled, report, taken
from vpp.solved import BRANCHES, SPEED, Conditions, Solved
from vpp.solver import stopping
from vpp.solver.memory import keep_freed_memory
from vpp.solver.processes import in_processes
from vpp.solver.status import Status
from vpp.trim import FastestEquilibrium, branches_of, fleets_on, freedom, kind_of

Progress = Callable[[int, int], None]

# Behind every answer: states that are not proven best, then none, for which the first branch stands.
_UNPROVEN, _UNSOLVED = 1e9, 1e300
# Conditions of a patch, or more where one boat in one wind has more or where they are close to each other;
# and boats that share patches.
PATCH, BOATS = 160, 8
# Fewer conditions than this are solved about as soon as another process starts.
LEAST_SHARED = 16
# Conditions solved and reported at a time, as far as patches allow: bounds the memory.
MOST_IN_PART = 1024


# The reports of some conditions, with the places of each.
_Reports = list[tuple[NDArray[np.intp], Report]]


@dataclass(frozen=True, kw_only=True)
class _Part:
    """Conditions that are solved together: their places in the whole, boats of one layout, and the branches
    on which they are solved. Conditions know of each other within a patch. Where other parts solve the same
    conditions on other branches, `share` says how much of the work this one is.
    """

    places: NDArray[np.intp]
    members: tuple[Boat, ...]
    conditions: Conditions
    patch: NDArray[np.intp]
    branches: tuple[str, ...]
    with_others: bool
    share: float = 1.0

    @property
    def size(self) -> float:
        """Conditions, as far as this part is all of their work."""
        return self.share * len(self.places)

    def by_branch(self) -> list[_Part]:
        """A part for each branch: nothing that is found on one is used on another."""
        share = 1.0 / len(self.branches)
        return [replace(self, branches=(branch,), share=share) for branch in self.branches]


def solve(
    boats: Sequence[Boat],
    conditions: Conditions,
    *,
    branches: Sequence[str] = BRANCHES,
    processes: int = 1,
    progress: Progress | None = None,
) -> Solved:
    """Fastest equilibrium of every condition; see `Solved`.

    Every one of `branches` that a boat has is solved; the better is reported. A condition that fails keeps
    its place with a status and a reason. With more than one of `processes`, large batches are shared out
    among new Python processes, to the same result; a script that asks for it needs the usual `if __name__ ==
    "__main__":`. `progress(done, total)` is called as conditions finish. Raises ValueError when the
    conditions name a boat that does not exist, one that has none of the branches, or one with sail sets.
    """
    found = reports(boats, conditions, branches=branches, processes=processes, progress=progress)
    return _better(boats, conditions, [at for at, _ in found], [each for _, each in found])


def reports(
    boats: Sequence[Boat],
    conditions: Conditions,
    *,
    branches: Sequence[str] = BRANCHES,
    processes: int = 1,
    progress: Progress | None = None,
    with_others: bool = False,
) -> list[tuple[NDArray[np.intp], Report]]:
    """What `solve` is made of: reports with their solutions, each of the conditions at some places on one
    branch; those at wind angles `with_others`, optima beside the best, where these are asked for.
    """
    if len(conditions) and (conditions.option.min() < 0 or conditions.option.max() >= len(boats)):
        raise ValueError(f"conditions name boats 0 to {conditions.option.max()}, and there are {len(boats)}")
    undressed = [boats[i].name for i in np.unique(conditions.option) if boats[i].sail_sets]
    if undressed:
        raise ValueError(f"{', '.join(undressed)}: which sails are up is for vpp.wardrobe to choose")
    without = [
        boats[i].name for i in np.unique(conditions.option) if not set(branches) & set(branches_of(boats[i]))
    ]
    if without:
        raise ValueError(f"{', '.join(without)} cannot be {' or '.join(branches)}")
    shares = processes if len(conditions) >= LEAST_SHARED else 1
    parts = _parts(boats, conditions, branches, shares, with_others)
    if min(shares, len(parts)) > 1:
        return _solve_shared(parts, processes, progress)
    return _solve_in_turn(parts, progress)


def _having(boats: Sequence[Boat], conditions: Conditions, branch: str) -> NDArray[np.intp]:
    """Places of the conditions whose boats can be carried in this way."""
    has = np.array([branch in branches_of(boat) for boat in boats])
    return np.flatnonzero(has[conditions.option])


def _better(
    boats: Sequence[Boat],
    conditions: Conditions,
    places: Sequence[NDArray[np.intp]],
    reports: Sequence[Report],
) -> Solved:
    """The better branch of every condition, with each branch beside it where there is more than one."""
    names = dict.fromkeys(found.branch for found in reports)
    if len(names) <= 1:
        return assembled(boats, conditions, places, reports)
    branches = {}
    for branch in names:
        here = [(at, found) for at, found in zip(places, reports, strict=True) if found.branch == branch]
        having = np.sort(np.concatenate([at for at, _ in here]))
        branches[branch] = assembled(
            boats,
            conditions.take(having),
            [np.searchsorted(having, at) for at, _ in here],
            [found for _, found in here],
        )
    best = np.full(len(conditions), np.inf)
    owner = np.full(len(conditions), -1)
    for number, (at, found) in enumerate(zip(places, reports, strict=True)):
        proven = found.status == Status.CONVERGED
        behind = np.where(proven, found.solution.objective, _UNPROVEN + found.solution.objective)
        objective = np.where(np.isnan(found.quantities["boat_speed"]), _UNSOLVED, behind)
        won = objective < best[at]
        best[at[won]], owner[at[won]] = objective[won], number
    chosen = [np.flatnonzero(owner[at] == number) for number, at in enumerate(places)]
    solved = assembled(
        boats,
        conditions,
        [at[which] for at, which in zip(places, chosen, strict=True)],
        [taken(found, which) for found, which in zip(reports, chosen, strict=True)],
    )
    for at, found in zip(places, reports, strict=True):
        # the better of two is not known before both are done
        stopped = at[found.status == Status.INTERRUPTED]
        solved.status[stopped], solved.remark[stopped] = Status.INTERRUPTED, ""
    return replace(solved, branches=branches, reason=_reasons(solved, branches))


def _reasons(solved: Solved, branches: Mapping[str, Solved]) -> NDArray[np.object_]:
    """Why a condition has no result: what each branch says, where its boat has more than one."""
    told: list[list[str]] = [[] for _ in solved.status]
    for branch, found in branches.items():
        for place, reason in zip(_having(solved.boats, solved.conditions, branch), found.reason, strict=True):
            told[place].append(f"{branch}: {str(reason).rstrip('.') or 'done'}")
    reasons = solved.reason.copy()
    for place in np.flatnonzero(solved.status != Status.CONVERGED):
        if len(told[place]) > 1:
            reasons[place] = "; ".join(told[place]) + "."
    return reasons


def _solve_in_turn(parts: Sequence[_Part], progress: Progress | None) -> _Reports:
    total = sum(len(part.places) for part in parts)
    found: _Reports = []
    done = 0
    for part in parts:

        def tell(share: float, part: _Part = part, before: int = done) -> None:
            if progress is not None:
                progress(before + int(share * len(part.places)), total)

        found += _solve_part(part, tell)
        done += len(part.places)
        if progress is not None and not stopping.asked():
            progress(done, total)
    return found


def _solve_shared(parts: Sequence[_Part], processes: int, progress: Progress | None) -> _Reports:
    """Parts dealt out to processes, in their order."""
    total, done = sum(part.size for part in parts), 0.0

    def tell(number: int) -> None:
        nonlocal done
        done += parts[number].size
        if progress is not None:
            progress(round(done), round(total))

    answers = in_processes(_solve_part, parts, processes=processes, on_result=tell)
    return [each for answer in answers for each in answer]


def _parts(
    boats: Sequence[Boat],
    conditions: Conditions,
    branches: Sequence[str],
    shares: int,
    with_others: bool,
) -> list[_Part]:
    """Conditions grouped by what their boats share, in order of first appearance, and cut between patches, so
    that each of `shares` processes has as many parts; where patches are too few, between branches as well.
    """
    keys = [kind_of(boat, branches) for boat in boats]
    number = {key: at for at, key in enumerate(dict.fromkeys(keys[option] for option in conditions.option))}
    batch = np.array([number[keys[option]] for option in conditions.option], dtype=np.intp)
    parts = []
    for places in (np.flatnonzero(batch == at) for at in number.values()):
        patch = _patches(conditions.take(places))
        _, place = np.unique(patch, return_inverse=True)
        count = min(shares * -(-len(places) // (MOST_IN_PART * shares)), place.max(initial=0) + 1)
        # every part has patches from all winds and boats, so that none takes much longer than the others
        for which in (place % count == turn for turn in range(count)):
            parts.append(_part(boats, conditions, places[which], patch[which], branches, with_others))
    if len(parts) < shares:
        return [each for part in parts for each in part.by_branch()]
    return parts


def _part(
    boats: Sequence[Boat],
    conditions: Conditions,
    places: NDArray[np.intp],
    patch: NDArray[np.intp],
    branches: Sequence[str],
    with_others: bool,
) -> _Part:
    used, option = np.unique(conditions.option[places], return_inverse=True)
    members = tuple(boats[i] for i in used)
    return _Part(
        places=places,
        members=members,
        conditions=replace(conditions.take(places), option=option),
        patch=patch,
        branches=tuple(branch for branch in branches if branch in branches_of(members[0])),
        with_others=with_others,
    )


def _patches(conditions: Conditions) -> NDArray[np.intp]:
    """Which conditions may begin at each other's answers: so many of neighbouring boats and wind speeds."""
    crew = (conditions.option // BOATS).astype(float)
    keys = np.stack([crew, conditions.tws, conditions.option.astype(float)])
    _, group = np.unique(keys, axis=1, return_inverse=True)
    sizes = np.bincount(group.reshape(-1), weights=neighbours.shares_of_a_crowd(conditions))
    patch = (np.cumsum(sizes) - sizes) // PATCH
    return np.asarray(patch[group.reshape(-1)], dtype=np.intp)


def _solve_part(part: _Part, tell: Callable[[float], None] | None = None) -> _Reports:
    """Reports of the conditions at wind angles and of those of best VMG, on each branch."""
    keep_freed_memory()
    afloat = [
        (fleet, freedom(part.members, branch))
        for fleet, branch in zip(fleets_on(part.members, part.branches), part.branches, strict=True)
    ]

    def problems(conditions: Conditions) -> list[FastestEquilibrium]:
        return [FastestEquilibrium(fleet, free, conditions) for fleet, free in afloat]

    at_angle = part.conditions.aim == SPEED
    asked, best = np.flatnonzero(at_angle), np.flatnonzero(~at_angle)
    conditions, patch = part.conditions.take(asked), part.patch[asked]
    if len(best):
        rows, owner = best_vmg.rows_for(part.conditions.take(best), conditions)
        conditions = conditions.followed_by(rows)
        patch = np.concatenate([patch, part.patch[best[owner]]])
    beside, owner = neighbours.satellites(conditions, patch, len(asked))
    conditions = conditions.followed_by(beside)
    patch = np.concatenate([patch, patch[owner]])
    rowed = problems(conditions)
    answers = search.at_angles(rowed, patch, len(asked), len(beside), tell)
    found: _Reports = []
    if len(asked):
        wanted = np.arange(len(asked))
        for problem, answer in zip(rowed, answers, strict=True):
            said = report(problem.select(wanted), rearranged(answer.best, wanted))
            slots = answer.slots[1:] if part.with_others else ()
            others = tuple(rearranged(slot, wanted) for slot in slots)
            found.append((part.places[asked], replace(said, others=others)))
    if len(best):
        of_best = problems(part.conditions.take(best))
        most = best_vmg.best_vmg(of_best, rowed, answers, part.patch[best])
        for problem, made_good in zip(of_best, most, strict=True):
            found.append((part.places[best], report(problem, made_good)))
    return found
