"""How fast the compiled sweep is, against the search on two cores: prints tables in Markdown and puts them
into `docs/accelerator.md`. Not a test, and not collected.

    python tests/benchmarks/bench_accelerator.py [--boats FILE] [--numbers FILE] [--no-write] [--sizes 10 100]
    python tests/benchmarks/bench_accelerator.py --write-from FILE

Boats are made up at random around the demo keelboat and the demo foiling monohull. Where boat files cannot be
read, on a machine without pydantic, `--boats` takes a pickle of the demo boats by name. The second form
writes tables from numbers that another machine has measured.
"""

from __future__ import annotations

import argparse
import json
import os
import pickle
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks import machine
from tests.benchmarks.markdown import Aim, aims, replace_block, table
from vpp import accelerator, equilibrium
from vpp.boat import Boat
from vpp.optima import SETTINGS, Cases
from vpp.solved import Conditions
from vpp.solver.following import Guess, follow
from vpp.solver.status import Status
from vpp.trim import FastestEquilibrium, branches_of, fleets_on, freedom

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "accelerator.md"
KNOT = 1852.0 / 3600.0
KEELBOAT, FOILER = "keelboat", "foiling_monohull"
WINDS = {
    KEELBOAT: (np.arange(6.0, 22.0, 2.0), np.arange(40.0, 171.0, 10.0)),
    FOILER: (np.arange(8.0, 20.0, 4.0), np.arange(50.0, 151.0, 20.0)),
}
# By how much of themselves masses, dimensions and areas are changed at the most.
SPREAD = 0.07
# Among so many hulls.
HULLS = 24
LEAST_PER_SECOND = 50_000.0
SAME = 1e-6


def main() -> None:
    """Measure, print, and put what was measured into the page."""
    asked = _arguments()
    if asked.write_from:
        numbers = json.loads(asked.write_from.read_text(encoding="utf-8"))
    else:
        numbers = _measured(asked)
    text = _told(numbers)
    print(text)
    if asked.write:
        replace_block(asked.page, "accelerator", text)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Time the compiled sweep.")
    parser.add_argument("--boats", type=Path, help="a pickle of the demo boats by name")
    parser.add_argument("--numbers", type=Path, help="where to write what was measured")
    parser.add_argument("--write-from", type=Path, help="numbers measured elsewhere")
    parser.add_argument("--no-write", dest="write", action="store_false", help="print only")
    parser.add_argument("--page", type=Path, default=PAGE)
    parser.add_argument("--sizes", nargs="+", type=int, default=(10, 90, 450, 1800), help="keelboats a run")
    parser.add_argument("--foilers", type=int, default=100, help="boats on foils; 0 leaves them out")
    parser.add_argument("--compared", type=int, default=40, help="keelboats compared with the search")
    parser.add_argument("--searched", type=int, default=10, help="keelboats that the search is timed on")
    parser.add_argument("--cores", type=int, default=14, help="processes of searches that are not timed")
    return parser.parse_args()


def varied(boat: Boat, count: int, seed: int = 1) -> list[Boat]:
    """The boat, and others with masses, dimensions and areas drawn at random around it."""
    draw = np.random.default_rng(seed)
    # a hull takes longer to be made into arrays than all else of a boat
    volumes = draw.uniform(1.0 - SPREAD, 1.0 + SPREAD, HULLS)
    found = [boat]
    for number in range(1, count):
        crew, mass, span, chord, height = draw.uniform(1.0 - SPREAD, 1.0 + SPREAD, 5)
        hull = boat.hull
        if hasattr(hull, "canoe_volume"):
            hull = replace(hull, canoe_volume=hull.canoe_volume * volumes[number % HULLS])
        found.append(
            replace(
                boat,
                name=f"{boat.name} {number}",
                crew=replace(boat.crew, mass=boat.crew.mass * crew),
                hull=hull,
                masses=tuple(replace(item, mass=item.mass * mass) for item in boat.masses),
                fins=tuple(
                    replace(
                        fin,
                        span=fin.span * span,
                        root_chord=fin.root_chord * chord,
                        tip_chord=fin.tip_chord * chord,
                    )
                    for fin in boat.fins
                ),
                windage=tuple(
                    replace(item, frontal_area=item.frontal_area * height) for item in boat.windage
                ),
            )
        )
    return found


def conditions_of(boats: Sequence[Boat], name: str) -> Conditions:
    """Every boat in every wind."""
    tws, twa = (part.ravel() for part in np.meshgrid(*WINDS[name]))
    count = len(boats)
    return Conditions(
        option=np.repeat(np.arange(count), len(tws)),
        tws=np.tile(tws * KNOT, count),
        twa=np.tile(np.radians(twa), count),
        aim=np.full(len(tws) * count, "speed"),
    )


def _demo(asked: argparse.Namespace, name: str) -> Boat:
    if asked.boats:
        boat: Boat = pickle.loads(asked.boats.read_bytes())[name]
        return boat
    from vpp import config

    return config.load(ROOT / "configs" / f"{name}.toml").boat("base")


# --- measurements -------------------------------------------------------------------------------------------


def _measured(asked: argparse.Namespace) -> dict[str, Any]:
    import jax

    numbers: dict[str, Any] = {
        "machine": machine.told(datetime.now(UTC)),
        "card": accelerator.devices()[0],
        "jax": jax.__version__,
        "runs": [],
    }
    keelboat = _demo(asked, KEELBOAT)
    numbers["search"] = _searched(keelboat, KEELBOAT, asked.searched)
    numbers["follow"] = _followed(keelboat, KEELBOAT, asked.searched)
    for count in asked.sizes:
        numbers["runs"].append(_swept(keelboat, KEELBOAT, count))
    numbers["agreement"] = _agreement(keelboat, KEELBOAT, asked.compared, asked.cores)
    _keep(asked, numbers)
    if asked.foilers:
        foiler = _demo(asked, FOILER)
        numbers["foiler search"] = _searched(foiler, FOILER, 2)
        numbers["runs"].append(_swept(foiler, FOILER, asked.foilers))
        _keep(asked, numbers)
        numbers["foiler agreement"] = _agreement(foiler, FOILER, 12, asked.cores)
        _keep(asked, numbers)
    return numbers


def _keep(asked: argparse.Namespace, numbers: dict[str, Any]) -> None:
    if asked.numbers:
        asked.numbers.write_text(json.dumps(numbers, indent=1), encoding="utf-8")


def _note(what: str, found: dict[str, Any]) -> dict[str, Any]:
    print(what, found, file=sys.stderr, flush=True)
    return found


def _swept(boat: Boat, name: str, count: int) -> dict[str, Any]:
    """The same sweep twice in one process: the second finds everything compiled."""
    boats = varied(boat, count)
    conditions = conditions_of(boats, name)
    found: dict[str, Any] = {"boat": name, "conditions": len(conditions)}
    for turn in ("first", "second"):
        begun = time.perf_counter()
        got = accelerator.solve(boats, conditions, processes=2)
        found[turn] = {"whole": time.perf_counter() - begun, **got.seconds}
    found["counts"] = dict(got.counts)
    found["converged"] = int((got.status == Status.CONVERGED).sum())
    return _note("swept", found)


def _on_two_cores(work: Any) -> tuple[float, Any]:
    cores = sorted(os.sched_getaffinity(0))
    os.sched_setaffinity(0, cores[:2])
    begun = time.perf_counter()
    found = work()
    spent = time.perf_counter() - begun
    os.sched_setaffinity(0, cores)
    return spent, found


def _searched(boat: Boat, name: str, count: int) -> dict[str, Any]:
    boats = varied(boat, count)
    conditions = conditions_of(boats, name)
    spent, _ = _on_two_cores(lambda: equilibrium.solve(boats, conditions, processes=2))
    return _note("searched", {"boat": name, "conditions": len(conditions), "seconds": spent})


def _followed(boat: Boat, name: str, count: int) -> dict[str, Any]:
    """What following costs without compiling: the answers of the first boat to all others, one core."""
    boats = varied(boat, count)
    conditions = conditions_of(boats, name)
    (branch,) = branches_of(boat)
    first = np.flatnonzero(conditions.option == 0)
    ((places, said),) = equilibrium.reports(boats[:1], conditions.take(first), branches=(branch,))
    order = np.argsort(places)
    (fleet,) = fleets_on(boats, (branch,))
    problem = FastestEquilibrium(fleet, freedom(boats, branch), conditions)
    parts = ("x", "multipliers", "active_lower", "active_upper")
    guess = Guess(*(np.tile(getattr(said.solution, part)[:, order], count) for part in parts))
    rest = np.flatnonzero(conditions.option > 0)
    begun = time.process_time()
    answer = follow(Cases(problem, rest), guess.take(rest), settings=SETTINGS)
    spent = time.process_time() - begun
    reached = int((answer.status == Status.CONVERGED).sum())
    return _note("followed", {"conditions": len(rest), "reached": reached, "seconds of a core": spent})


def _agreement(boat: Boat, name: str, count: int, cores: int) -> dict[str, Any]:
    """Against the search over all boats, and of the search over single boats against that."""
    boats = varied(boat, count, seed=2)
    conditions = conditions_of(boats, name)
    together = equilibrium.solve(boats, conditions, processes=cores)
    got = accelerator.solve(boats, conditions, processes=cores)
    # boats of a patch know of each other: so many places apart they do not
    alone = np.concatenate(
        [
            equilibrium.solve([each], conditions_of([each], name), processes=1).quantities["boat_speed"]
            for each in boats[: max(count // 8, 1)]
        ]
    )
    speed = together.quantities["boat_speed"]
    its = got.solved(np.flatnonzero(got.status == Status.CONVERGED)[:64])
    return _note(
        "agreement",
        {
            "boat": name,
            "conditions": len(conditions),
            "status differs": int((together.status != got.status).sum()),
            "closure": float(np.nanmax(its.closure)),
            "against": _apart(got.made_good, speed),
            "itself": _apart(alone, speed[: len(alone)]),
        },
    )


def _apart(speed: Any, other: Any) -> dict[str, Any]:
    both = np.isfinite(speed) & np.isfinite(other)
    off = (speed[both] - other[both]) / other[both]
    same = np.abs(off) <= SAME
    return {
        "both": int(both.sum()),
        "same": int(same.sum()),
        "slower": int((off < -SAME).sum()),
        "faster": int((off > SAME).sum()),
        "most slower": float(-off.min()),
        "most faster": float(off.max()),
        "apart where same": float(np.abs(off[same]).max()),
    }


# --- tables -------------------------------------------------------------------------------------------------


def _told(numbers: dict[str, Any]) -> str:
    parts = [f"{numbers['machine']} Card: {numbers['card']}, JAX {numbers['jax']}, double precision."]
    parts.append(_table_of_runs(numbers))
    parts.append(_table_of_agreement(numbers))
    parts.append(_aims(numbers))
    return "\n\n".join(parts)


def _rate(found: dict[str, Any], parts: Sequence[str] = ("following",)) -> float:
    """Conditions a second of parts of a sweep, everything compiled."""
    spent: float = sum(found["second"][part] for part in parts)
    return float(found["conditions"] - found["counts"]["anchors"]) / spent


_COMPILED = ("following", "comparing", "judging")


def _table_of_runs(numbers: dict[str, Any]) -> str:
    header = (
        "boat", "conditions", "anchors", "handed back", "making ready s", "anchors s", "following s",
        "comparing s", "handed back s", "ranges s", "whole s", "whole, a second", "followed, a second",
        "all compiled parts, a second", "compiling s",
    )  # fmt: skip
    rows = []
    for run in numbers["runs"]:
        second = run["second"]
        compiling = sum(run["first"][part] - second[part] for part in ("following", "comparing"))
        rows.append(
            (
                run["boat"],
                f"{run['conditions']}",
                f"{run['counts']['anchors']}",
                f"{run['counts']['handed back']}",
                *(f"{second[part]:.2f}" for part in accelerator.SECONDS),
                f"{second['whole']:.1f}",
                f"{run['conditions'] / second['whole']:.0f}",
                f"{_rate(run):.0f}",
                f"{_rate(run, _COMPILED):.0f}",
                f"{compiling:.0f}" if compiling > 1.0 else "-",
            )
        )
    for name in ("search", "foiler search"):
        if name in numbers:
            rows.append(_row_of_search(numbers[name], len(header)))
    return table(header, rows)


def _row_of_search(found: dict[str, Any], columns: int) -> tuple[str, ...]:
    row = ["-"] * columns
    row[0], row[1] = f"{found['boat']}, the search on two cores", f"{found['conditions']}"
    row[10], row[11] = f"{found['seconds']:.1f}", f"{found['conditions'] / found['seconds']:.2g}"
    return tuple(row)


def _table_of_agreement(numbers: dict[str, Any]) -> str:
    header = (
        "speed, against the search over all boats", "conditions", "within 1e-6", "slower", "by at most",
        "faster", "by at most", "most apart of those within", "other status",
    )  # fmt: skip
    rows = []
    for name in ("agreement", "foiler agreement"):
        if name not in numbers:
            continue
        found = numbers[name]
        for what, key in (("compiled", "against"), ("the search, one boat at a time", "itself")):
            apart = found[key]
            rows.append(
                (
                    f"{found['boat']}: {what}",
                    f"{apart['both']}",
                    f"{apart['same'] / apart['both']:.1%}",
                    f"{apart['slower']}",
                    f"{apart['most slower']:.1e}",
                    f"{apart['faster']}",
                    f"{apart['most faster']:.1e}",
                    f"{apart['apart where same']:.1e}",
                    f"{found['status differs']}" if key == "against" else "-",
                )
            )
    return table(header, rows)


def _aims(numbers: dict[str, Any]) -> str:
    """The figure wanted, and from which size on a sweep is sooner done than the search on two cores."""
    keelboats = [run for run in numbers["runs"] if run["boat"] == KEELBOAT]
    largest = max(keelboats, key=lambda run: float(run["conditions"]))
    told = {f"{run['boat']}, {run['conditions']}": run for run in numbers["runs"]}
    wanted = f"at least {LEAST_PER_SECOND:.0f}"
    met = aims(
        [
            Aim(what, wanted, {name: _rate(run, parts) for name, run in told.items()}, "{:.0f}",
                lambda value: value >= LEAST_PER_SECOND)
            for what, parts in (
                ("conditions followed a second", ("following",)),
                ("the same, all compiled parts counted", _COMPILED),
            )
        ]
    )  # fmt: skip
    search = numbers["search"]["seconds"] / numbers["search"]["conditions"]
    each = largest["second"]["whole"] - largest["second"]["searching"]
    each /= largest["conditions"]
    anchors = largest["second"]["searching"]
    compiling = max(run["first"]["whole"] - run["second"]["whole"] for run in keelboats)
    cold, warm = ((anchors + more) / (search - each) for more in (compiling, 0.0))
    follow = numbers["follow"]
    reached = follow["reached"] / follow["conditions"]
    spent = follow["seconds of a core"] / follow["conditions"] * 1e3
    return (
        f"{met}\n\nAgainst the search on two cores the keelboat's sweep pays from {cold:.0f} conditions on "
        f"where it must be compiled first, and from {warm:.0f} on where it need not. Following without "
        f"compiling, from the first boat alone, takes {spent:.2f} ms of one core a condition and reaches "
        f"{reached:.1%}."
    )


if __name__ == "__main__":
    main()
