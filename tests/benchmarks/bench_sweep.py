"""How fast studies of many rigs are: prints tables in Markdown and puts them into `docs/sweep.md`. Not a
test, and not collected.

    OMP_NUM_THREADS=1 python tests/benchmarks/bench_sweep.py [SECTION ...] [--no-write] [--rigs 10000] ...

Sections: growth, processes, following; all of them unless some are named. Everything is measured in a
fresh Python process, one at a time. Ratios are between numbers of one run. Run it on an idle machine: as it
stands it takes two hours; smaller sizes show the same shares.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks import machine, sweep_measurements
from tests.benchmarks.markdown import Aim, aims, table
from tests.benchmarks.sections import arguments, measured, run_sections

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "sweep.md"
MOST_OUTSIDE = 0.10
LEAST_GAIN = 1.8
# linear: a condition takes no longer than this many times what it takes in the smallest run
MOST_GROWTH = 1.1
MOST_MEMORY_MIB = 1024.0


def main() -> None:
    """Measure what is asked for, print it and put it into the page."""
    run_sections(_arguments(), sections=SECTIONS, measure=sweep_measurements.MEASURE)


def _arguments() -> argparse.ArgumentParser:
    parser = arguments(
        "Time studies; prints tables and updates docs/sweep.md.", sections=SECTIONS, page=PAGE, limit=36_000
    )
    parser.add_argument("--boat", default="keelboat", choices=sorted(sweep_measurements.FACTORS))
    parser.add_argument("--rigs", type=int, default=10_000)
    parser.add_argument("--conditions", type=int, default=30, help="of a rig; a multiple of three")
    parser.add_argument("--sizes", nargs="+", type=int, default=(1_000, 3_000, 10_000), help="rigs of growth")
    parser.add_argument("--sample", type=int, default=64, help="rigs of following, also searched in full")
    return parser


def _measured(asked: argparse.Namespace, **given: Any) -> dict[str, Any]:
    """What a study in a process of its own took."""
    told = {"boat": asked.boat, "rigs": asked.rigs, "conditions": asked.conditions, **given}
    return measured(__file__, "sweep", asked.limit, **told)


HEADER = (
    "rigs", "conditions", "wall seconds", "conditions a second", "of that tables, s", "searched", "no result",
    "outside the solver", "bytes a condition", "peak MiB",
)  # fmt: skip


def _row(found: dict[str, Any]) -> tuple[str, ...]:
    return (
        f"{found['rigs']}",
        f"{found['conditions']}",
        f"{found['seconds']:.1f}",
        f"{found['conditions'] / found['seconds']:.1f}",
        f"{found['tables_s']:.1f}",
        f"{found['searched']:.1%}",
        f"{found['failed']:.2%}",
        f"{found['outside']:.1%}",
        f"{found['bytes_per_condition']:.0f}",
        f"{found['peak_mib']:.0f}",
    )


def _named(found: dict[str, Any]) -> str:
    return f"{found['rigs']} rigs"


def _processes(asked: argparse.Namespace) -> str:
    runs = [_measured(asked, processes=count) for count in (1, 2)]
    gain = runs[0]["seconds"] / runs[1]["seconds"]
    rows = [
        (
            f"{count}",
            f"{found['rigs']}",
            f"{found['conditions']}",
            f"{found['seconds']:.1f}",
            f"{found['conditions'] / found['seconds']:.1f}",
            f"{found['peak_mib']:.0f}",
            f"{found['largest_child_mib']:.0f}" if count > 1 else "-",
        )
        for count, found in enumerate(runs, 1)
    ]
    header = (
        "processes", "rigs", "conditions", "wall seconds", "conditions a second", "peak MiB, first process",
        "peak MiB, largest of the others",
    )  # fmt: skip
    met = aims(
        [
            Aim("two processes against one", f"at least {LEAST_GAIN:g}", {asked.boat: gain}, "{:.2f}",
                lambda value: value >= LEAST_GAIN),
        ]
    )  # fmt: skip
    return f"{asked.boat}\n\n{table(header, rows)}\n\n{met}"


def _growth(asked: argparse.Namespace) -> str:
    runs = [_measured(asked, rigs=rigs) for rigs in asked.sizes]
    of_one = [found["processor_s"] / found["conditions"] for found in runs]
    rows = [(*_row(found), f"{each / of_one[0]:.2f}") for found, each in zip(runs, of_one, strict=True)]
    growth = {_named(found): each / of_one[0] for found, each in zip(runs, of_one, strict=True)}
    met = aims(
        [
            Aim("time outside the solver", f"at most {MOST_OUTSIDE:.0%}",
                {_named(found): found["outside"] for found in runs}, "{:.1%}",
                lambda value: value <= MOST_OUTSIDE),
            Aim("time a condition against the smallest run", f"at most {MOST_GROWTH:g}", growth, "{:.2f}",
                lambda value: value <= MOST_GROWTH),
            Aim("peak memory, MiB", f"at most {MOST_MEMORY_MIB:g}",
                {_named(found): found["peak_mib"] for found in runs}, "{:.0f}",
                lambda value: value <= MOST_MEMORY_MIB),
        ]
    )  # fmt: skip
    header = (*HEADER, "time a condition against the smallest")
    return f"{asked.boat}, in one process\n\n{table(header, rows)}\n\n{met}"


def _following(asked: argparse.Namespace) -> str:
    """A study followed and searched in full."""
    runs = {how: _measured(asked, rigs=asked.sample, method=how) for how in ("followed", "searched")}
    rows = [
        (
            how,
            f"{found['rigs']}",
            f"{found['conditions']}",
            f"{1e3 * found['processor_s'] / found['conditions']:.1f}",
            f"{found['searched']:.1%}",
            f"{found['checked']:.0f}",
            f"{found['apart']:.0f}",
        )
        for how, found in runs.items()
    ]
    header = (
        "rigs are", "rigs", "conditions", "ms a condition", "searched in full", "checked both ways",
        "of these apart by 0.01 %",
    )  # fmt: skip
    return f"{asked.boat}, in one process\n\n{table(header, rows)}"


SECTIONS = {"growth": _growth, "processes": _processes, "following": _following}

if __name__ == "__main__":
    os.environ.update(machine.ONE_THREAD)
    main()
