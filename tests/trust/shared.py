"""What the proofs of trust share: boats drawn at random, conditions, answers with the solver's own states,
and tables that long runs can be taken up again from.
"""

from __future__ import annotations

import csv
import hashlib
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import lru_cache
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vpp import equilibrium, fleets, trim
from vpp.boat import Boat
from vpp.config import source
from vpp.config.errors import BoatFileError
from vpp.config.overlay import Items, Leaf, Node, Origin, Table, lay_over, name_of, plain
from vpp.config.resolve import BASE, Resolver
from vpp.config.study import OPTIONS_OF, with_boat
from vpp.config.units import ending_of
from vpp.reporting import Report
from vpp.solved import DOWNWIND, SPEED, UPWIND, Conditions, Solved
from vpp.solver.problem import Solution
from vpp.solver.status import Status
from vpp.trim import FastestEquilibrium

Floats = NDArray[np.float64]

ROOT = Path(__file__).parents[2]
CONFIGS = ROOT / "configs"
RESULTS = Path(__file__).parent / "results"
# Parts of runs that are not finished; git ignores it.
WORK = ROOT / "out" / "trust"
KNOT = 1852.0 / 3600.0
SEED = 20261125
# Dimensions are scaled between these, and so are the quantities that are changed by themselves.
LEAST, MOST = 0.7, 1.4
TWS_KN, TWA_DEG = (3.0, 35.0), (25.0, 180.0)
# A variable is at a bound where it is nearer than this share of the room between its bounds.
AT_BOUND = 1e-6
FIRST_FILES = (
    "catamaran", "foiling_monohull", "foiling_rigs", "keelboat", "keelboat_sails", "keelboat_water", "skiff",
)  # fmt: skip
SHARE_OF_AIMS = {SPEED: 0.7, UPWIND: 0.15, DOWNWIND: 0.15}

# --- boats --------------------------------------------------------------------------------------------------

# By what power of the length a quantity grows on a boat of the same shape, by the unit in its key. Speeds and
# forces occur in tables of resistance alone: at one Froude number speed grows with the root of the length and
# force with its cube.
GROWS = {"m": 1, "mm": 1, "m2": 2, "m3": 3, "kg": 3, "kg_per_m": 2, "kg_per_m2": 1, "kn": 0.5, "n": 3}
# What does not belong to the boat keeps its size.
NOT_OF_THE_BOAT = ("environment", "sea")
# Built quantities that are changed by themselves: table, key, and a name that the table must have if any.
CHANGED = {
    "sail chords": (("sail", "chord_m", None), ("sail", "area_m2", None)),
    "fin span": (("fin", "span_m", None),),
    "foil spans": (("foil", "outboard_span_m", None), ("foil", "inboard_span_m", None)),
    "crew mass": (("crew", "mass_kg", None),),
    "ballast": (("mass", "mass_kg", "keel"),),
    "crew arm": (("crew", "arm_max_m", None),),
}
SHARE_CHANGED = 0.4
DRAWN = "drawn"


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A boat as filed: file, option and sail set, the last empty where it has none."""

    file: str
    option: str
    sail_set: str


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A boat of a kind, drawn at random: `scale` of its lengths, and the factors of what is changed besides.

    `refused` says how many draws before it the checks of boat files refused.
    """

    kind: Kind
    number: int
    scale: float
    factors: dict[str, float]
    refused: int
    boat: Boat

    @property
    def row(self) -> dict[str, Any]:
        """The boat in columns of a table."""
        factors = " ".join(f"{name.replace(' ', '_')}={value:.4f}" for name, value in self.factors.items())
        return {**vars(self.kind), "number": self.number, "scale": f"{self.scale:.4f}", "factors": factors}


def files() -> list[str]:
    """Names of the demo boat files. Random numbers follow from the place of a file, so that new files are
    added to the end.
    """
    found = {path.stem for path in CONFIGS.glob("*.toml")}
    return [*FIRST_FILES, *sorted(found.difference(FIRST_FILES))]


@lru_cache
def kinds(file: str) -> tuple[Kind, ...]:
    """Every option of a demo boat file, each sail set as a boat of its own."""
    resolved = _resolver(file, _tree(file), CONFIGS).resolve()
    boats = {name: entry.afloat.boat for name, entry in resolved.items()}
    return tuple(
        Kind(file=file, option=name, sail_set=worn)
        for name, boat in boats.items()
        for worn in ([each.name for each in boat.sail_sets] or [""])
    )


def drawn(kind: Kind, number: int, *, seed: int = SEED, attempts: int = 40) -> Drawn:
    """A boat of a kind at random, the same for the same number and seed. One that the checks refuse is drawn
    again. Raises BoatFileError where all of the attempts are refused.
    """
    for attempt in range(attempts):
        rng = random((seed, *_digits(kind), number, attempt))
        scale = float(np.exp(rng.uniform(np.log(LEAST), np.log(MOST))))
        chosen = {name: rng.random() < SHARE_CHANGED for name in CHANGED}
        factors = {name: float(np.exp(rng.uniform(np.log(LEAST), np.log(MOST)))) for name in CHANGED}
        factors = {name: value for name, value in factors.items() if chosen[name]}
        try:
            boat, used = made(kind, scale=scale, factors=factors)
        except BoatFileError:
            if attempt == attempts - 1:
                raise
        else:
            return Drawn(kind=kind, number=number, scale=scale, factors=used, refused=attempt, boat=boat)
    raise ValueError("a boat takes at least one attempt")


def made(kind: Kind, *, scale: float, factors: dict[str, float]) -> tuple[Boat, dict[str, float]]:
    """The boat of a kind with all lengths scaled, areas and masses with them, and some quantities multiplied
    by factors of their own; and those factors that the boat has something for.

    Raises BoatFileError where the checks of boat files refuse it.
    """
    with tempfile.TemporaryDirectory() as folder:
        _write_scaled_tables(Path(folder), scale)
        root = _scaled(_tree(kind.file), scale, ())
        assert isinstance(root, Table)
        steps = _steps(root, kind.option)
        boat = replace(root, entries={key: node for key, node in root.entries.items() if key != "option"})
        base = boat
        for step in steps:
            boat, _ = lay_over(boat, step)
        change, used = _changes(boat, factors)
        name = kind.option
        if change.entries:
            name = DRAWN
            steps = [*steps, _option(change, parent=kind.option)]
        root = replace(base, entries={**base.entries, "option": Items(tuple(steps), Origin(None))})
        resolver = _resolver(kind.file, root, Path(folder))
        resolved = resolver.resolve()
    if name not in resolved:
        raise BoatFileError(resolver.problems)
    found = resolved[name].afloat.boat
    return (found.wearing(kind.sail_set) if kind.sail_set else found), used


def random(key: Iterable[int]) -> np.random.Generator:
    """Random numbers that follow from whole numbers alone."""
    return np.random.default_rng(list(key))


def _digits(kind: Kind) -> tuple[int, ...]:
    """A kind as whole numbers: each has random numbers of its own, in whichever order they come."""
    digest = hashlib.sha256("/".join(vars(kind).values()).encode()).digest()
    return tuple(digest[:8])


@lru_cache
def _tree(file: str) -> Table:
    path = str(CONFIGS / f"{file}.toml")
    root = source.parse(path, source.read(path))
    return with_boat(path, root)[0] if OPTIONS_OF in root.entries else root


def _resolver(file: str, root: Table, folder: Path) -> Resolver:
    return Resolver(file=f"{file}.toml", root=root, folder=folder)


def _steps(root: Table, option: str) -> list[Table]:
    """An option and those it builds on, eldest first; none for the base."""
    entries = root.entries.get("option")
    options = {name_of(entry): entry for entry in (entries.entries if isinstance(entries, Items) else ())}
    steps: list[Table] = []
    while option != BASE:
        step = options[option]
        assert isinstance(step, Table)
        steps.insert(0, step)
        option = str(plain(step.entries["parent"])) if "parent" in step.entries else BASE
    return steps


def _scaled(node: Node, scale: float, path: tuple[str, ...]) -> Node:
    """A node with everything that carries a unit of length or mass scaled."""
    if path and path[-1] in NOT_OF_THE_BOAT:
        return node
    if isinstance(node, Table):
        return replace(
            node, entries={key: _scaled(entry, scale, (*path, key)) for key, entry in node.entries.items()}
        )
    if isinstance(node, Items):
        return replace(node, entries=tuple(_scaled(entry, scale, path) for entry in node.entries))
    power = GROWS.get(ending_of(path[-1]) or "", 0) if path else 0
    if power and isinstance(node.value, int | float) and not isinstance(node.value, bool):
        return replace(node, value=node.value * scale**power)
    return node


def _write_scaled_tables(folder: Path, scale: float) -> None:
    """The tables beside the boat files, of the scaled boat."""
    for path in CONFIGS.glob("*.csv"):
        with path.open(newline="") as file:
            heading, *rows = [row for row in csv.reader(file) if row]
        grows = [scale ** GROWS.get(column.rsplit("_", 1)[-1], 0) for column in heading]
        with (folder / path.name).open("w", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(heading)
            for row in rows:
                writer.writerow(
                    [
                        cell if by == 1 else f"{float(cell) * by:.12f}"
                        for cell, by in zip(row, grows, strict=True)
                    ]
                )


def _changes(boat: Table, factors: dict[str, float]) -> tuple[Table, dict[str, float]]:
    """The tables of an option that multiplies quantities of a boat, and the factors that found some."""
    change: dict[str, dict[str, Any]] = {}
    used = {}
    for what, factor in factors.items():
        for table, key, wanted in CHANGED[what]:
            for name, found in _tables(boat, table):
                if key in found.entries and wanted in (None, name):
                    entry = change.setdefault(table, {})
                    entry = entry if name is None else entry.setdefault(name, {})
                    entry[key] = _times(found.entries[key], factor)
                    used[what] = factor
    table = _as_node(change)
    assert isinstance(table, Table)
    return table, used


def _tables(boat: Table, table: str) -> Iterator[tuple[str | None, Table]]:
    found = boat.entries.get(table)
    if isinstance(found, Table):
        yield None, found
    for entry in found.entries if isinstance(found, Items) else ():
        if isinstance(entry, Table):
            yield name_of(entry), entry


def _times(node: Node, factor: float) -> Node:
    if isinstance(node, Items):
        return replace(node, entries=tuple(_times(entry, factor) for entry in node.entries))
    assert isinstance(node, Leaf)
    return replace(node, value=float(str(node.value)) * factor)


def _as_node(value: object) -> Node:
    if isinstance(value, dict):
        return Table({key: _as_node(entry) for key, entry in value.items()}, Origin(None, DRAWN))
    return value if isinstance(value, Leaf | Items) else Leaf(value, Origin(None, DRAWN))


def _option(change: Table, *, parent: str) -> Table:
    entries: dict[str, object] = {"name": DRAWN, "says": DRAWN, "change": change}
    if parent != BASE:
        entries["parent"] = parent
    return Table(
        {key: value if isinstance(value, Table) else _as_node(value) for key, value in entries.items()},
        Origin(None, DRAWN),
    )


# --- conditions and answers ---------------------------------------------------------------------------------


def conditions_of(boats: int, each: int, key: Sequence[int]) -> Conditions:
    """Random conditions, `each` of them a boat: most at a wind angle, some for a best VMG."""
    count = boats * each
    rng = random(key)
    aim = rng.choice(list(SHARE_OF_AIMS), p=list(SHARE_OF_AIMS.values()), size=count)
    twa = np.radians(rng.uniform(*TWA_DEG, size=count))
    return Conditions(
        option=np.repeat(np.arange(boats), each),
        tws=rng.uniform(*TWS_KN, size=count) * KNOT,
        twa=np.where(aim == SPEED, twa, np.nan),
        aim=aim,
    )


@dataclass(frozen=True, kw_only=True)
class Answer:
    """One condition on one branch as the package answered it: what it says, and the problem and the solution
    behind it, with the condition's place in those.
    """

    place: int
    branch: str
    status: int
    reason: str
    problem: FastestEquilibrium
    solution: Solution
    case: int
    closure: float

    @property
    def x(self) -> Floats:
        """Scaled variables."""
        state: Floats = self.solution.x[:, self.case]
        return state

    @property
    def objective(self) -> float:
        """Less is better: minus what is made good, scaled."""
        return float(self.solution.objective[self.case])


def answers(boats: Sequence[Boat], conditions: Conditions) -> tuple[Solved, list[Answer]]:
    """Conditions solved as the package solves them, with an answer for every branch.

    No two conditions of one boat may be alike. Raises ValueError where the package's reports do not account
    for every condition.
    """
    with _reports() as reports:
        solved = equilibrium.solve(boats, conditions)
    by_key: dict[tuple[object, ...], tuple[FastestEquilibrium, Report, int]] = {}
    for problem, report in reports:
        of = problem.conditions
        for case in range(len(of)):
            # options are counted anew in every batch, so that the boat's own numbers stand for it
            boat = float(problem.boats.mass[case]), float(problem.boats.crew_mass[case])
            key = (report.branch, problem.layout, *boat, *_key(of, case))
            by_key[key] = problem, report, case
    found = []
    for branch, part in (solved.branches or {"": solved}).items():
        option = np.unique(part.conditions.option)
        places = np.flatnonzero(np.isin(conditions.option, option)) if branch else np.arange(len(conditions))
        for row, place in enumerate(places):
            boat = boats[int(conditions.option[place])]
            name = branch or str(part.branch[row])
            arrays = fleet_row(boat)
            key = (name, *arrays, *_key(conditions, int(place)))
            if key not in by_key:
                raise ValueError(f"nothing was reported of condition {place} ({name})")
            problem, report, case = by_key[key]
            found.append(
                Answer(
                    place=int(place),
                    branch=name,
                    status=int(part.status[row]),
                    reason=str(part.reason[row]),
                    problem=problem,
                    solution=report.solution,
                    case=case,
                    closure=float(report.closure[case]),
                )
            )
    return solved, found


@lru_cache(maxsize=4096)
def fleet_row(boat: Boat) -> tuple[object, ...]:
    """Layout and masses of a boat, which with its condition say whose a report is."""
    mass = float(sum(item.mass for item in boat.all_masses()))
    return fleets.layout(boat), mass, float(boat.crew.mass)


def _key(of: Conditions, case: int) -> tuple[object, ...]:
    twa = float(of.twa[case])
    return float(of.tws[case]), (None if np.isnan(twa) else twa), str(of.aim[case])


@contextmanager
def _reports() -> Iterator[list[tuple[FastestEquilibrium, Report]]]:
    """Everything that is reported meanwhile in this process, with its problem."""
    kept: list[tuple[FastestEquilibrium, Report]] = []
    plainly = equilibrium.report

    def noted(problem: FastestEquilibrium, solution: Solution, *more: Any, **named: Any) -> Report:
        made_of = plainly(problem, solution, *more, **named)
        kept.append((problem, made_of))
        return made_of

    equilibrium.report = noted
    try:
        yield kept
    finally:
        equilibrium.report = plainly


def problem_of(boats: Sequence[Boat], branch: str, conditions: Conditions) -> FastestEquilibrium:
    """The solver's problem for boats of one layout, built from the package's parts, not by `equilibrium`."""
    used, option = np.unique(conditions.option, return_inverse=True)
    members = [boats[int(i)] for i in used]
    (fleet,) = trim.fleets_on(members, [branch])
    return FastestEquilibrium(fleet, trim.freedom(members, branch), replace(conditions, option=option))


def random_starts(problem: FastestEquilibrium, case: int, count: int, key: Sequence[int]) -> Floats:
    """Scaled states at random inside the bounds of a condition, (variables, count)."""
    lower, upper = problem.lower[:, case, None], problem.upper[:, case, None]
    share = random(key).uniform(0.05, 0.95, size=(len(lower), count))
    states: Floats = lower + share * (upper - lower)
    return states


def violation(problem: FastestEquilibrium, constraints: Floats) -> Floats:
    """By how much every constraint is missed, (constraints, cases)."""
    missed = np.abs(constraints)
    count = problem.equality_count
    missed[count:] = np.maximum(-constraints[count:], 0.0)
    return missed


def as_solution(problem: FastestEquilibrium, x: Floats) -> Solution:
    """States (variables, conditions) found elsewhere as a converged solution, to be reported on."""
    count = x.shape[1]
    values = problem.values(x, np.arange(count))
    missed = violation(problem, values.constraints)
    room = AT_BOUND * (problem.upper - problem.lower)
    return Solution(
        x=x,
        multipliers=np.zeros_like(missed),
        lower_multipliers=np.zeros_like(x),
        upper_multipliers=np.zeros_like(x),
        objective=values.objective,
        status=np.full(count, int(Status.CONVERGED)),
        iterations=np.zeros(count, dtype=np.int64),
        constraint_error=missed.max(axis=0),
        optimality_error=np.zeros(count),
        worst_constraint=missed.argmax(axis=0),
        active_lower=x <= problem.lower + room,
        active_upper=x >= problem.upper - room,
    )


def first_order(answer: Answer) -> tuple[float, float]:
    """Largest scaled residual of an answer, and its largest first-order error, both evaluated anew.

    The error is that of the gradient of the Lagrangian in the scaled variables, of complementarity of bounds
    and inequalities, and of the signs of multipliers, over s = max(100, mean of all multipliers) / 100. The
    objective is minus the speed made good in units of 5 m/s.
    """
    problem, found, case = answer.problem, answer.solution, np.array([answer.case])
    x = found.x[:, case]
    multipliers, count = found.multipliers[:, case], problem.equality_count
    below, above = found.lower_multipliers[:, case], found.upper_multipliers[:, case]
    at = problem.derivatives(np.ascontiguousarray(x), case, np.zeros_like(multipliers))
    slope = at.gradient + np.einsum("ijb,ib->jb", at.jacobian, multipliers) - below + above
    idle = multipliers[count:] * at.values.constraints[count:]
    rests = below * (x - problem.lower[:, case]), above * (problem.upper[:, case] - x), idle
    signs = np.maximum(-below, 0.0), np.maximum(-above, 0.0), np.maximum(multipliers[count:], 0.0)
    every = np.concatenate([np.abs(multipliers), below, above])
    worst = max(float(np.abs(part).max(initial=0.0)) for part in (slope, *rests, *signs))
    residual = float(violation(problem, at.values.constraints).max())
    return residual, worst / (max(100.0, float(every.mean())) / 100.0)


def equation_of(problem: FastestEquilibrium, constraint: int) -> str:
    """What the constraint of a place is called: an equation, or the margins of foils."""
    equations = problem.layout.equations
    return equations[constraint] if constraint < len(equations) else "foil margin"


def in_words(conditions: Conditions, place: int) -> dict[str, Any]:
    """A condition in columns of a table."""
    twa = conditions.twa[place]
    return {
        "tws_kn": f"{conditions.tws[place] / KNOT:.6f}",
        "twa_deg": "" if np.isnan(twa) else f"{np.degrees(twa):.6f}",
        "aim": str(conditions.aim[place]),
    }


def shown_state(problem: FastestEquilibrium, x: Floats) -> str:
    """A state in knots, degrees and metres, for the eye."""
    parts = []
    for name, value, scale in zip(problem.names, x, problem.scale, strict=True):
        si = float(value * scale)
        lengths = name in ("crew_arm", "crew_x", "ride_height") or name.endswith(("camber", "power"))
        angle = f"{np.degrees(si):.2f}deg"
        parts.append(
            f"{name}={si / KNOT:.3f}kn"
            if name == "boat_speed"
            else f"{name}={si:.3f}"
            if lengths
            else f"{name}={angle}"
        )
    return " ".join(parts)


# --- tables and long runs -----------------------------------------------------------------------------------

Row = dict[str, Any]


def write(path: Path, rows: Sequence[Row]) -> None:
    """A table, whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    names = list(dict.fromkeys(name for row in rows for name in row))
    with part.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, names, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    part.replace(path)


def read(path: Path) -> list[Row]:
    """The rows of a table; none where there is no such file."""
    if not path.exists():
        return []
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def run_chunks(
    run: str, chunks: Sequence[tuple[str, tuple[Any, ...]]], work: Callable[..., list[Row]], processes: int
) -> list[Row]:
    """The rows of a run's chunks of work, each kept in a file as soon as it is done, and not done again where
    the file is there. Every state of the package and of these scripts has a folder of its own.
    """
    folder = WORK / f"{run}_{_state_of_the_code()}"
    todo = [(name, given) for name, given in chunks if not (folder / f"{name}.csv").exists()]
    begun = time.monotonic()
    print(f"{len(chunks) - len(todo)} of {len(chunks)} chunks are in {folder}", flush=True)

    def done(name: str, rows: list[Row], number: int) -> None:
        write(folder / f"{name}.csv", rows)
        verdicts = dict(Counter(row.get("verdict") or row.get("jump") or "steps" for row in rows))
        spent = time.monotonic() - begun
        print(f"{number}/{len(todo)} {name}: {len(rows)} rows {verdicts}, {spent:.0f} s", flush=True)

    if processes <= 1:
        for number, (name, given) in enumerate(todo, start=1):
            done(name, work(*given), number)
    elif todo:
        with ProcessPoolExecutor(max_workers=processes, mp_context=get_context("spawn")) as pool:
            waiting = {pool.submit(work, *given): name for name, given in todo}
            for number, future in enumerate(as_completed(waiting), start=1):
                done(waiting[future], future.result(), number)
    return [row for name, _ in chunks for row in read(folder / f"{name}.csv")]


def _state_of_the_code() -> str:
    """A few digits that change with the parts of the package that are in use, the boat files and these
    scripts.
    """
    digest = hashlib.sha256()
    used = {module.__file__ for name, module in sys.modules.items() if name.split(".")[0] == "vpp"}
    paths = [
        *(Path(file) for file in used if file),
        *CONFIGS.glob("*.*"),
        *Path(__file__).parent.glob("*.py"),
    ]
    for path in sorted(paths):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:8]


def table(rows: Sequence[Sequence[object]]) -> None:
    """Print rows under each other; the first is the heading."""
    widths = [max(len(str(row[i])) for row in rows) for i in range(len(rows[0]))]
    for row in rows:
        print(
            "  ".join(f"{cell!s:>{width}}" for cell, width in zip(row, widths, strict=True)), file=sys.stdout
        )
