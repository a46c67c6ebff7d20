"""The machine that a benchmark ran on, in words."""

from __future__ import annotations

import os
import platform
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

ONE_THREAD = {name: "1" for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")}


def one_thread() -> dict[str, str]:
    """The environment, with one thread for linear algebra."""
    return {**os.environ, **ONE_THREAD}


def told(at: datetime) -> str:
    """Date, processor, cores, and versions that matter, in a sentence."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return (
        f"Measured on {at:%Y-%m-%d} on {cores} cores of {_processor()}, with Python "
        f"{platform.python_version()}, NumPy {version('numpy')} ({_linear_algebra()}), SciPy "
        f"{version('scipy')}; load of the machine at the start {os.getloadavg()[0]:.1f}."
    )


def _processor() -> str:
    """Its model as the system gives it, with its clock where that says more."""
    found: dict[str, str] = {}
    listing = Path("/proc/cpuinfo")
    if listing.exists():
        for line in listing.read_text(encoding="utf-8").splitlines():
            key, _, value = line.partition(":")
            found.setdefault(key.strip(), value.strip())
    model = found.get("model name") or platform.processor() or platform.machine()
    clock = found.get("cpu MHz")
    return f"{model} ({float(clock) / 1e3:.1f} GHz)" if clock and "GHz" not in model else model


def _linear_algebra() -> str:
    import numpy as np  # after its number of threads is set

    built: Any = np.show_config(mode="dicts")
    library = built["Build Dependencies"]["blas"]
    return f"{library['name']} {library['version']}"
