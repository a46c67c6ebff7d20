"""What is measured of a study, each in a process of its own: a function takes what it is given as JSON and
returns numbers that JSON can hold.
"""

from __future__ import annotations

import resource
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from time import perf_counter, process_time
from typing import Any

from vpp import sweep_chunks
from vpp.sweep import Run
from vpp.sweep_chunks import CHUNKS
from vpp.sweep_files import write_results
from vpp.sweep_study import load_study

ROOT = Path(__file__).parents[2]

# Numbers of each boat that rigs differ in, with the ranges from the value of the file.
FACTORS = {
    "keelboat": (
        ("luff_m", "sail.main.foot_extension_m", 0.0, 0.6),
        ("keel_m", "fin.keel.span_m", 1.4, 1.6),
        ("mast_mass_kg_per_m", "rig.mast_mass_per_length_kg_per_m", 7.0, 8.5),
    ),
    "foiling_monohull": (
        ("cant_deg", "foil.foil.cant_max_deg", 52.0, 60.0),
        ("gap_percent", "rig.gap_leakage_percent", 5.0, 25.0),
        ("span_m", "foil.foil.outboard_span_m", 1.6, 1.9),
    ),
}


def sweep(given: dict[str, Any]) -> dict[str, Any]:
    """A study from nothing to its tables: time, memory, and time outside the solver."""
    with tempfile.TemporaryDirectory() as folder:
        study = load_study(_study(Path(folder), given))
        out = Path(folder) / "out"
        run = Run(study, out)
        with _solver() as solver:
            wall, processor = perf_counter(), process_time()
            run.run(processes=given.get("processes", 1))
            solving = perf_counter() - wall
            found = run.result()
            write_results(found, figures=False)
            processor, wall = process_time() - processor, perf_counter() - wall
        size = sum(path.stat().st_size for path in (out / CHUNKS).iterdir())
    return {
        "rigs": study.rigs,
        "conditions": study.condition_count,
        "rigs_per_chunk": study.rigs_per_chunk,
        "seconds": wall,
        "tables_s": wall - solving,
        "processor_s": processor,
        "outside": 1.0 - solver["seconds"] / processor,
        "searched": found.searched / study.condition_count,
        "checked": found.checks.get("checked", 0),
        "apart": found.checks.get("search_ahead", 0) + found.checks.get("following_ahead", 0),
        "failed": sum(found.failures.values()) / study.condition_count,
        "bytes_per_condition": size / study.condition_count,
        "peak_mib": _peak(resource.RUSAGE_SELF),
        "largest_child_mib": _peak(resource.RUSAGE_CHILDREN),
    }


MEASURE: dict[str, Callable[[dict[str, Any]], dict[str, Any]]] = {"sweep": sweep}


def _study(folder: Path, given: dict[str, Any]) -> Path:
    """A study file of so many rigs in so many conditions: three angles in winds from 6 to 24 kn."""
    winds = max(given["conditions"] // 3, 1)
    steps = [round(6.0 + 18.0 * at / max(winds - 1, 1), 3) for at in range(winds)]
    parts = [
        f'schema_version = 1\nname = "benchmark"\nboat = "{ROOT}/configs/{given["boat"]}.toml"',
        f'[plan]\nkind = "sobol"\nrigs = {given["rigs"]}',
        *(
            f'[[factor]]\nname = "{name}"\nkey = "{key}"\nleast = {least}\ngreatest = {greatest}'
            for name, key, least, greatest in FACTORS[given["boat"]]
        ),
        f'[conditions]\ntws_kn = {steps}\ntwa_deg = [90.0]\nbest_vmg = ["upwind", "downwind"]',
        f'[solve]\nmethod = "{given.get("method", "followed")}"',
    ]
    path = folder / "study.toml"
    path.write_text("\n\n".join(parts), encoding="utf-8")
    return path


@contextmanager
def _solver() -> Iterator[dict[str, float]]:
    """Processor time within the solver, in this process, while the block runs."""
    told = {"seconds": 0.0}
    real = {name: getattr(sweep_chunks, name) for name in ("followed", "searched")}

    def timed(work: Callable[..., Any]) -> Callable[..., Any]:
        def call(*values: Any, **named: Any) -> Any:
            begun = process_time()
            try:
                return work(*values, **named)
            finally:
                told["seconds"] += process_time() - begun

        return call

    for name, work in real.items():
        setattr(sweep_chunks, name, timed(work))
    try:
        yield told
    finally:
        for name, work in real.items():
            setattr(sweep_chunks, name, work)


def _peak(who: int) -> float:
    """Largest memory of a process [MiB]."""
    return resource.getrusage(who).ru_maxrss / 1024.0
