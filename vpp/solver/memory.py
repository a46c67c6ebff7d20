"""Memory that a process keeps for its next arrays."""

from __future__ import annotations

from functools import cache

import numpy as np

# [bytes] The largest block that moves the thresholds of the GNU C library is just under 32 MiB.
_BLOCK = 31 << 20


@cache
def keep_freed_memory() -> None:
    """Have freed arrays kept by the process rather than handed back to the system, once a process.

    The GNU C library gives every block above a threshold, 128 KiB at first, its own pages, and hands them
    back when it is freed; each of the solver's temporary arrays would be cleared by the system, page by page,
    when it is next made. Freeing one large block raises that threshold to the block's size, and what may lie
    unused before memory is handed back to twice that (mallopt(3), "dynamic mmap threshold"). The block is
    never written to, so that it takes no memory itself. Elsewhere this does nothing.
    """
    np.empty(_BLOCK, dtype=np.uint8)
