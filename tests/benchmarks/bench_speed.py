"""How fast the package is, and against what: prints tables in Markdown and puts them into `docs/speed.md`.
Not a test, and not collected.

    OMP_NUM_THREADS=1 python tests/benchmarks/bench_speed.py [SECTION ...] [--no-write] [--sample 6] ...

Sections: boats, growth, processes, cold, imports, profile; all of them unless some are named. Everything is
measured in a fresh Python process, one at a time, so that peak memory is that of the one thing measured and
nothing is warm that would not be. Ratios are between numbers of one run. Run it on an idle machine.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks import cold_start, machine, measurements
from tests.benchmarks.markdown import Aim, aims, table
from tests.benchmarks.sections import arguments, measured, run_sections

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "speed.md"
DEMO_BOATS = ("keelboat", "foiling_monohull", "skiff", "catamaran")
LEAST_RATIO = 300.0
LEAST_PER_SECOND = 500.0
MOST_OUTSIDE = 0.4
LEAST_GAIN = 1.9
MOST_MEMORY_MIB = 1024.0
MOST_COLD_SECONDS = 2.5
# linear: a condition takes no longer than this many times what it takes in the smallest run
MOST_GROWTH = 1.1


def main() -> None:
    """Measure what is asked for, print it and put it into the page."""
    run_sections(_arguments(), sections=SECTIONS, measure=measurements.MEASURE)


def _arguments() -> argparse.ArgumentParser:
    parser = arguments(
        "Time the package; prints tables and updates docs/speed.md.", sections=SECTIONS, page=PAGE, limit=1800
    )
    parser.add_argument("--boats", nargs="+", default=DEMO_BOATS, help="names of files in configs/")
    parser.add_argument("--sample", type=int, default=6, help="conditions a boat given to SLSQP")
    parser.add_argument("--seed", type=int, default=1, help="of that sample")
    parser.add_argument("--tws", default="6:24:2", help="winds of sections boats, cold and profile")
    parser.add_argument("--twa", default="30:170:5", help="angles of the same")
    parser.add_argument("--sizes", nargs="+", type=int, default=(1_000, 10_000, 100_000), help="of growth")
    parser.add_argument("--shared", type=int, default=4_000, help="conditions of processes")
    parser.add_argument("--files", nargs="+", default=None, help="boat files of cold, all unless given")
    parser.set_defaults(slow=None)
    return parser


def _measured(what: str, limit: int, **given: Any) -> dict[str, Any]:
    """What a measurement in a process of its own found."""
    return measured(__file__, what, limit, **given)


# --- each demo boat -----------------------------------------------------------------------------------------


def _boats(asked: argparse.Namespace) -> str:
    rows, ratios, outsides = [], {}, {}
    for boat in asked.boats:
        grid = {"boat": boat, "tws": asked.tws, "twa": asked.twa}
        found = _measured("grid", asked.limit, **grid)
        one = _measured("one_by_one", asked.limit, **grid, sample=asked.sample, seed=asked.seed)
        ratio = one["us_per_converged"] / found["us_per_converged"] if one["us_per_converged"] else None
        ratios[boat], outsides[boat] = ratio, found["outside"]
        missed = ratio is None or ratio < LEAST_RATIO or found["outside"] > MOST_OUTSIDE
        asked.slow = [*(asked.slow or []), *([boat] if missed else [])]
        rows.append(_boat_row(boat, found, one, ratio))
    header = (
        "boat", "conditions", "µs a condition", "converged", "SLSQP: converged", "SLSQP: starts",
        "SLSQP: slower, faster answers", "SLSQP: µs a converged one", "ratio", "peak MiB",
        "outside model and derivatives", "iterations a condition", "values a condition x µs",
        "derivatives a condition x µs",
    )  # fmt: skip
    met = aims(
        [
            Aim("times per-point SLSQP, a converged condition", f"at least {LEAST_RATIO:g}", ratios, "{:.0f}",
                lambda value: value >= LEAST_RATIO),
            Aim("time outside model and derivative calls", f"at most {MOST_OUTSIDE:.0%}", outsides, "{:.0%}",
                lambda value: value <= MOST_OUTSIDE),
        ]
    )  # fmt: skip
    return f"{table(header, rows)}\n\n{met}"


def _boat_row(boat: str, found: dict[str, Any], one: dict[str, Any], ratio: float | None) -> tuple[str, ...]:
    count = found["conditions"]
    return (
        boat,
        f"{count}",
        f"{found['us_per_condition']:.0f}",
        f"{found['converged'] / count:.1%}" + _of_branches(found["branches"]),
        f"{one['converged']} of {one['conditions']}",
        f"{one['starts']:.1f}",
        f"{one['slower']}, {one['faster']}",
        "-" if ratio is None else f"{one['us_per_converged']:.0f}",
        "-" if ratio is None else f"{ratio:.0f}",
        f"{found['peak_mib']:.0f}",
        f"{found['outside']:.0%}",
        f"{found['iterations']:.0f}",
        *(f"{found[call]:.0f} x {found[f'us_of_{call}']:.0f}" for call in measurements.MODEL_CALLS),
    )


def _of_branches(shares: dict[str, float]) -> str:
    told = ", ".join(f"{branch} {share:.1%}" for branch, share in shares.items())
    return f" ({told})" if told else ""


# --- many conditions, two processes -------------------------------------------------------------------------


def _growth(asked: argparse.Namespace) -> str:
    runs = [_measured("many", asked.limit, boat="keelboat", count=size) for size in asked.sizes]
    first = runs[0]["us_per_condition"]
    rows = [
        (
            f"{found['conditions']}",
            f"{found['seconds']:.1f}",
            f"{found['us_per_condition']:.0f}",
            f"{1e6 / found['us_per_condition']:.0f}",
            f"{found['converged'] / found['conditions']:.2%}",
            f"{found['us_per_condition'] / first:.2f}",
            f"{found['peak_mib']:.0f}",
        )
        for found in runs
    ]
    header = (
        "conditions", "wall seconds", "µs a condition", "conditions a second", "converged",
        "µs against the smallest", "peak MiB",
    )  # fmt: skip
    sizes = [f"{found['conditions']} conditions" for found in runs]
    per_second = {
        size: 1e6 / found["us_per_condition"]
        for size, found in zip(sizes, runs, strict=True)
        if found["conditions"] >= 1_000
    }
    growth = {size: found["us_per_condition"] / first for size, found in zip(sizes, runs, strict=True)}
    memory = {size: found["peak_mib"] for size, found in zip(sizes, runs, strict=True)}
    met = aims(
        [
            Aim("conditions a second and core", f"at least {LEAST_PER_SECOND:g}", per_second, "{:.0f}",
                lambda value: value >= LEAST_PER_SECOND),
            Aim("time a condition against the smallest run", f"at most {MOST_GROWTH:g}", growth, "{:.2f}",
                lambda value: value <= MOST_GROWTH),
            Aim("peak memory, MiB", f"at most {MOST_MEMORY_MIB:g}", memory, "{:.0f}",
                lambda value: value <= MOST_MEMORY_MIB),
        ]
    )  # fmt: skip
    return f"{table(header, rows)}\n\n{met}"


def _processes(asked: argparse.Namespace) -> str:
    runs = [
        _measured("many", asked.limit, boat="keelboat", count=asked.shared, processes=count)
        for count in (1, 2)
    ]
    gain = runs[0]["seconds"] / runs[1]["seconds"]
    rows = [
        (
            f"{count}",
            f"{found['conditions']}",
            f"{found['seconds']:.2f}",
            f"{found['conditions'] / found['seconds']:.0f}",
            f"{found['peak_mib']:.0f}",
            f"{found['largest_child_mib']:.0f}" if count > 1 else "-",
        )
        for count, found in enumerate(runs, 1)
    ]
    header = (
        "processes", "conditions", "wall seconds", "conditions a second", "peak MiB, first process",
        "peak MiB, largest of the others",
    )  # fmt: skip
    met = aims(
        [
            Aim("two processes against one", f"at least {LEAST_GAIN:g}", {"keelboat": gain}, "{:.2f}",
                lambda value: value >= LEAST_GAIN),
        ]
    )  # fmt: skip
    return f"{table(header, rows)}\n\n{met}"


# --- the command from cold, its imports ---------------------------------------------------------------------


def _cold(asked: argparse.Namespace) -> str:
    files = asked.files or [path.stem for path in sorted((ROOT / "configs").glob("*.toml"))]
    rows, first_runs = [], {}
    for name in files:
        print(f"... vpp polar {name}", file=sys.stderr, flush=True)
        found = cold_start.timed(name, tws=asked.tws, twa=asked.twa, limit=asked.limit)
        first_runs[name] = found.seconds["first run, figures"]
        rows.append((name, f"{found.conditions}", *(f"{found.seconds[how]:.2f}" for how in cold_start.HOW)))
    met = aims(
        [
            Aim("`vpp polar FILE`, first run, wall seconds", f"under {MOST_COLD_SECONDS:g}", first_runs,
                "{:.2f}", lambda value: value < MOST_COLD_SECONDS),
        ]
    )  # fmt: skip
    return f"{table(('boat file', 'conditions', *cold_start.HOW), rows)}\n\n{met}"


def _imports(asked: argparse.Namespace) -> str:
    name = asked.boats[0]
    tables = []
    for title, figures in (("without figures", False), ("with figures", True)):
        found = cold_start.import_times(name, figures=figures)
        packages = table(
            ("package", "modules", "own time, ms"),
            [(package, f"{count}", f"{own:.0f}") for package, count, own in found.packages],
        )
        modules = table(
            ("module", "own time, ms", "with what it imports, ms"),
            [(module, f"{own:.0f}", f"{whole:.0f}") for module, own, whole in found.modules],
        )
        tables.append(f"`vpp polar`, {title}: {found.total:.0f} ms of imports\n\n{packages}\n\n{modules}")
    return "\n\n".join(tables)


# --- where the time goes ------------------------------------------------------------------------------------


def _profile(asked: argparse.Namespace) -> str:
    """Of the boats that missed a figure, or of all where section `boats` was not asked for."""
    told = []
    for boat in asked.boats if asked.slow is None else asked.slow:
        found = _measured("profile", asked.limit, boat=boat, tws=asked.tws, twa=asked.twa)
        parts = table(
            ("part", "share of own time"), [(name, f"{share:.0%}") for name, share in found["parts"]]
        )
        functions = table(
            ("function", "calls a condition", "share of own time"),
            [(name, f"{calls:.1f}", f"{share:.1%}") for name, calls, share in found["functions"]],
        )
        told.append(f"{boat}, {found['conditions']} conditions\n\n{parts}\n\n{functions}")
    return "\n\n".join(told) if told else "No boat missed a figure."


SECTIONS = {
    "boats": _boats,
    "growth": _growth,
    "processes": _processes,
    "cold": _cold,
    "imports": _imports,
    "profile": _profile,
}

if __name__ == "__main__":
    os.environ.update(machine.ONE_THREAD)
    main()
