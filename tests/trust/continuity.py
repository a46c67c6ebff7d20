"""Does an answer move smoothly as the wind does, and is every jump explained?

    OMP_NUM_THREADS=1 python tests/trust/continuity.py [--files keelboat ...] [--angles 45 90 135]
        [--winds 8 16] [--processes 2] [--commit]

Every demo boat is walked through the wind in steps of 0.1 kn at some angles, and through the angle in steps
of 0.5 deg at some winds. A step is a jump where a variable moves by more than its neighbouring steps explain:
where it differs from their median by more than SPREADS times the distance of their quartiles plus a floor
(0.2 % of boat speed, FLOOR of the unit of every other variable in `trim.SCALES`). A jump is named after what
changes there: status, branch, sail set, optimum, limits that bind. That two optima change places is checked
by following each across the step. A jump that keeps a slower optimum, or that nothing explains, is a failure.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.trust import shared
from tests.trust.shared import KNOT, Answer, Floats, Kind, Row
from vpp.boat import Boat
from vpp.reporting import report
from vpp.solved import SPEED, Conditions
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Settings
from vpp.solver.status import Status

# The option that is walked of a file: one that the others do not hold; the base of those not named here.
WALKED = {
    "keelboat_sails": "offwind",
    "keelboat_water": "by_sections",
    "foiling_rigs": "three_zones",
    "mainsail_decision": "low_and_cut",
    "catamaran": "gennaker",
}
TWS_KN, TWA_DEG = (3.0, 30.0, 0.1), (25.0, 180.0, 0.5)
ANGLES, WINDS = (45.0, 90.0, 135.0), (8.0, 16.0)
NEIGHBOURS, SPREADS, FLOOR, SPEED_FLOOR = 3, 3.0, 0.02, 2e-3
# An optimum may be kept while it is slower than another by less than this share.
LEVEL = 5e-4
# Multipliers above this say that a limit on the foils binds.
FELT = 1e-6
CAREFUL = Settings(initial_barrier=1e-5, restoration_starts=1, step_limit=80)
SUBSTEPS, DEEPER, MOST_OF_A_JUMP = 10, 5, 0.35
STATUS, BRANCH, SAILS, OPTIMUM, ENDS = "status", "branch", "sail set", "optimum", "optimum ends"
LIMITS, STEEP, KEPT, UNNAMED = "limits that bind", "steep", "slower optimum kept", "unnamed"
FAILURES = (KEPT, UNNAMED)
NO_FAULT = (Status.CONVERGED, Status.NO_EQUILIBRIUM, Status.LIMIT_REACHED, Status.OUTSIDE_MODEL_RANGE)


@dataclass(frozen=True, kw_only=True)
class Point:
    """The best answer of a step of a walk, under the best of the boat's sail sets; `answer` is None where
    there is no result, and `status` says why.
    """

    boat: Boat
    sail_set: str
    answer: Answer | None
    status: int


def walk(*, angle: float | None = None, wind: float | None = None, part: float = 1.0) -> Conditions:
    """Conditions at one angle through the wind, or in one wind through the angles; of the range the first
    `part`.
    """
    first, last, step = TWS_KN if wind is None else TWA_DEG
    moving = first + step * np.arange(round(part * (last - first) / step) + 1)
    tws, twa = (moving, angle) if wind is None else (wind, moving)
    tws, twa = np.broadcast_arrays(np.asarray(tws, float), np.asarray(twa, float))
    return Conditions(
        option=np.zeros(len(moving), dtype=np.intp),
        tws=tws * KNOT,
        twa=np.radians(twa),
        aim=np.full(len(moving), SPEED),
    )


def chunk(file: str, angle: float | None, wind: float | None) -> list[Row]:
    """The jumps of a walk, and a last row that counts its steps."""
    kinds = [kind for kind in shared.kinds(file) if kind.option == WALKED.get(file, "base")]
    return rows_of(kinds, walk(angle=angle, wind=wind))


def rows_of(kinds: Sequence[Kind], conditions: Conditions) -> list[Row]:
    """A row for every jump of a boat under its sail sets, and one that counts the steps."""
    points = _points(kinds, conditions)
    gaps = jumps([point.answer for point in points])
    change = [i for i in range(len(points) - 1) if points[i].status != points[i + 1].status]
    rows = [_row(kinds[0], conditions, points, i, gaps.get(i, ())) for i in sorted({*gaps, *change})]
    solved = sum(point.answer is not None for point in points)
    whole = {"jump": "", "steps": len(points) - 1, "solved": solved}
    return [*rows, {**_where(kinds[0], conditions, 0, len(points) - 1), **whole}]


def _points(kinds: Sequence[Kind], conditions: Conditions) -> list[Point]:
    best: list[Point | None] = [None] * len(conditions)
    for kind in kinds:
        boat, _ = shared.made(kind, scale=1.0, factors={})
        _, found = shared.answers([boat], conditions)
        for answer in found:
            converged = answer.status == Status.CONVERGED
            point = Point(
                boat=boat, sail_set=kind.sail_set, answer=answer if converged else None, status=answer.status
            )
            best[answer.place] = _better(best[answer.place], point)
    return [point for point in best if point is not None]


def _better(one: Point | None, other: Point) -> Point:
    if one is None or one.answer is None or other.answer is None:
        return other if one is None or one.answer is None else one
    return other if other.answer.objective < one.answer.objective else one


def jumps(answers: Sequence[Answer | None]) -> dict[int, tuple[str, float]]:
    """Steps that are jumps, each with the variable that jumps most and by how much of its threshold."""
    names = dict.fromkeys(name for answer in answers if answer is not None for name in answer.problem.names)
    found: dict[int, tuple[str, float]] = {}
    for name in names:
        for i, excess in enumerate(_excess(_series(answers, name), name)):
            if excess > max(1.0, found.get(i, ("", 1.0))[1]):
                found[i] = name, float(excess)
    return found


def _series(answers: Sequence[Answer | None], name: str) -> Floats:
    """A scaled variable along the walk, NaN where there is none."""
    values = np.full(len(answers), np.nan)
    for i, answer in enumerate(answers):
        if answer is not None and name in answer.problem.names:
            values[i] = answer.x[answer.problem.names.index(name)]
    return values


def _excess(values: Floats, name: str) -> Floats:
    """How far every step is from its neighbours' median, over what these explain."""
    steps = np.diff(values)
    excess = np.zeros(len(steps))
    for i in np.flatnonzero(np.isfinite(steps)):
        near = np.concatenate([steps[max(0, i - NEIGHBOURS) : i], steps[i + 1 : i + 1 + NEIGHBOURS]])
        near = near[np.isfinite(near)]
        middle, spread = 0.0, 0.0
        if len(near):
            middle = float(np.median(near))
            spread = float(np.subtract(*np.percentile(near, [75, 25])))
        least = SPEED_FLOOR * values[i] if name == "boat_speed" else FLOOR
        excess[i] = abs(steps[i] - middle) / (SPREADS * spread + least)
    return excess


def _where(kind: Kind, conditions: Conditions, first: int, last: int) -> Row:
    tws, twa = conditions.tws / KNOT, np.degrees(conditions.twa)
    return {
        "file": kind.file,
        "option": kind.option,
        "tws_kn": f"{tws[first]:.1f}" if tws[first] == tws[last] else f"{tws[first]:.1f} to {tws[last]:.1f}",
        "twa_deg": f"{twa[first]:.1f}" if twa[first] == twa[last] else f"{twa[first]:.1f} to {twa[last]:.1f}",
    }


def _row(kind: Kind, conditions: Conditions, points: Sequence[Point], i: int, most: Sequence[object]) -> Row:
    one, other = points[i], points[i + 1]
    row = _where(kind, conditions, i, i + 1)
    if one.answer is None or other.answer is None:
        words = [Status(point.status).name.lower() for point in (one, other)]
        fault = {one.status, other.status} - {int(each) for each in NO_FAULT}
        return {**row, "jump": UNNAMED if fault else STATUS, "what": " to ".join(words)}
    if one.answer.branch != other.answer.branch:
        name, what = BRANCH, f"{one.answer.branch} to {other.answer.branch}"
    elif one.sail_set != other.sail_set:
        name, what = SAILS, f"{one.sail_set} to {other.sail_set}"
    else:
        name, what = _named(one, other, conditions, i)
    heel = [_value(point.answer, "heel") for point in (one, other)]
    speed = [_value(point.answer, "boat_speed") / KNOT for point in (one, other)]
    return {
        **row,
        "jump": name,
        "what": what,
        "speed_kn": f"{speed[0]:.4f} to {speed[1]:.4f}",
        "heel_deg": f"{np.degrees(heel[0]):.2f} to {np.degrees(heel[1]):.2f}",
        "most": f"{most[0]} {most[1]:.0f}x" if most else "",
    }


def _value(answer: Answer, name: str) -> float:
    row = answer.problem.names.index(name)
    return float(answer.x[row] * answer.problem.scale[row])


def _named(one: Point, other: Point, conditions: Conditions, i: int) -> tuple[str, str]:
    """What a jump within one branch and sail set is, from following both answers across it."""
    a, b = one.answer, other.answer
    assert a is not None
    assert b is not None
    ahead, ahead_at = follow(one.boat, a, conditions.take(np.array([i + 1])), a.x)
    back, back_at = follow(one.boat, b, conditions.take(np.array([i])), b.x)
    limits = ", ".join(sorted(_limits(a) ^ _limits(b)))
    stays = [
        x is not None and _far(x, own) < _far(x, that)
        for x, own, that in ((ahead, a.x, b.x), (back, b.x, a.x))
    ]
    missed = [
        (answer.objective - at) / abs(at)
        for answer, at, there in ((a, back_at, stays[1]), (b, ahead_at, stays[0]))
        if there
    ]
    if max(missed, default=0.0) > LEVEL:
        return KEPT, f"by {100.0 * max(missed):.3f} %; {limits}"
    if any(stays):
        return (OPTIMUM if all(stays) else ENDS), limits
    if limits:
        return LIMITS, limits
    ends = [conditions.take(np.array([at])) for at in (i, i + 1)]
    return _inside(one.boat, a, a.x, b.x, ends, MOST_OF_A_JUMP * _far(a.x, b.x)), ""


def follow(boat: Boat, answer: Answer, to: Conditions, x: Floats) -> tuple[Floats | None, float]:
    """The optimum that a state leads to in another condition and its objective, None if it is no result."""
    problem = shared.problem_of([boat], answer.branch, to)
    solution = minimise(problem, x[:, None].copy(), settings=CAREFUL)
    if solution.status[0] != Status.CONVERGED or report(problem, solution).status[0] != Status.CONVERGED:
        return None, np.inf
    return solution.x[:, 0], float(solution.objective[0])


def _far(x: Floats, other: Floats) -> float:
    return float(np.abs(x - other).max())


def _limits(answer: Answer) -> set[str]:
    """What binds: bounds by the name of their variable, and margins of the foils."""
    found, case, problem = answer.solution, answer.case, answer.problem
    names = {
        f"{name} least" for name, on in zip(problem.names, found.active_lower[:, case], strict=True) if on
    }
    names |= {
        f"{name} most" for name, on in zip(problem.names, found.active_upper[:, case], strict=True) if on
    }
    margins = np.flatnonzero(found.multipliers[problem.equality_count :, case] < -FELT)
    return names | {f"foil margin {number}" for number in margins}


def _inside(
    boat: Boat,
    answer: Answer,
    x: Floats,
    y: Floats,
    ends: Sequence[Conditions],
    least: float,
    deeper: int = DEEPER,
) -> str:
    """What a step is in which neither answer lasts to the other end, from walking it in smaller ones from
    both: a change of optimum where both last to a point between, steep where no smaller step is a jump.
    """
    shares = np.linspace(0.0, 1.0, SUBSTEPS + 1)
    between = [_between(ends, share) for share in shares]
    ahead, back = _path(boat, answer, x, between[1:]), _path(boat, answer, y, between[-2::-1])
    if ahead is None or back is None:
        one_ends = (ahead is None) != (back is None)
        return ENDS if one_ends and deeper < DEEPER else UNNAMED
    moved = np.abs(np.diff([x, *ahead], axis=0)).max(axis=1)
    if moved.max() <= least:
        return STEEP
    apart = np.abs(np.array([x, *ahead]) - np.array([*back[::-1], y])).max(axis=1)
    if apart.max() > least:
        return OPTIMUM
    if not deeper:
        return UNNAMED
    at = int(moved.argmax())
    parts = [x, *ahead]
    return _inside(boat, answer, parts[at], parts[at + 1], between[at : at + 2], least, deeper - 1)


def _between(ends: Sequence[Conditions], share: float) -> Conditions:
    tws, twa = (
        (1.0 - share) * getattr(ends[0], what) + share * getattr(ends[1], what) for what in ("tws", "twa")
    )
    return replace(ends[0], tws=tws, twa=twa)


def _path(boat: Boat, answer: Answer, x: Floats, through: Sequence[Conditions]) -> list[Floats] | None:
    """The states that one leads to through conditions, each from the one before; None where they end."""
    states = []
    for to in through:
        there, _ = follow(boat, answer, to, x)
        if there is None:
            return None
        states.append(there)
        x = there
    return states


def main() -> None:
    """Walk, print and, where asked, write the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--files", nargs="*", default=shared.files(), help="boat files, without .toml")
    parser.add_argument("--angles", nargs="*", type=float, default=ANGLES)
    parser.add_argument("--winds", nargs="*", type=float, default=WINDS)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--commit", action="store_true", help="write tests/trust/results")
    given = parser.parse_args()
    walks = [(f"{angle:g}deg", angle, None) for angle in given.angles]
    walks += [(f"{wind:g}kn", None, wind) for wind in given.winds]
    chunks = [(f"{file}_{name}", (file, angle, wind)) for file in given.files for name, angle, wind in walks]
    rows = shared.run_chunks("continuity", chunks, chunk, given.processes)
    found = [
        {name: value for name, value in row.items() if name not in ("steps", "solved")}
        for row in rows
        if row["jump"]
    ]
    walked = [row for row in rows if not row["jump"]]
    steps = sum(int(row["steps"]) for row in walked)
    for row in found:
        print({name: value for name, value in row.items() if value})
    counts = Counter(row["jump"] for row in found)
    failures = sum(counts[name] for name in FAILURES)
    print(f"{steps} steps, {len(found)} jumps: {dict(counts)}; {failures} failures")
    if given.commit:
        shared.write(shared.RESULTS / "continuity.csv", found)
        names = (STATUS, BRANCH, SAILS, OPTIMUM, ENDS, LIMITS, STEEP, KEPT, UNNAMED)
        shared.write(
            shared.RESULTS / "continuity_summary.csv",
            [_counts(file, walked, found, names) for file in [*given.files, "all"]],
        )


def _counts(file: str, walked: Sequence[Row], found: Sequence[Row], names: Sequence[str]) -> Row:
    of = [row for row in found if file in ("all", row["file"])]
    steps = sum(int(row["steps"]) for row in walked if file in ("all", row["file"]))
    return {"file": file, "steps": steps, **{name: sum(row["jump"] == name for row in of) for name in names}}


if __name__ == "__main__":
    main()
