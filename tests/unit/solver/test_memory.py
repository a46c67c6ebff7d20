"""Memory that a process keeps: that arrays made again and again are not fetched from the system each time."""

from __future__ import annotations

import platform
import subprocess
import sys

import pytest

from vpp.solver.memory import keep_freed_memory

# Page faults while sixteen arrays of 8 MiB (2048 pages each) are filled and freed in a new process.
FAULTS = """
import resource
import numpy as np
from vpp.solver.memory import keep_freed_memory

if {kept}:
    keep_freed_memory()
np.ones(1 << 20)
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
for _ in range(16):
    np.ones(1 << 20)
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


def test_it_may_be_asked_for_again():
    keep_freed_memory()
    keep_freed_memory()


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="the GNU C library's thresholds")
def test_arrays_made_again_fault_in_no_pages(monkeypatch):
    for name in ("GLIBC_TUNABLES", "MALLOC_MMAP_THRESHOLD_", "MALLOC_TRIM_THRESHOLD_", "MALLOC_TOP_PAD_"):
        monkeypatch.delenv(name, raising=False)
    assert _faults(kept=True) < 100


def _faults(*, kept: bool) -> int:
    done = subprocess.run(
        [sys.executable, "-c", FAULTS.format(kept=kept)], capture_output=True, text=True, check=True
    )
    return int(done.stdout)
