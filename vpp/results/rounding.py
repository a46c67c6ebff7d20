"""Rounding a column so that the printed numbers add up to the printed total."""

from __future__ import annotations

from decimal import Decimal

import numpy as np

from vpp.results.frames import Floats


def decimals_for(values: Floats) -> int:
    """Decimals that give the largest of forces or moments three digits or more: no column deserves finer
    ones.
    """
    largest = np.max(np.abs(values), initial=0.0)
    return 0 if largest >= 100.0 else 1


def add_up(values: Floats, *, decimals: int) -> tuple[str, ...]:
    """A column of numbers and its total as text, rounded so that the numbers add up to the total.

    The total is rounded in the usual way. Every number is rounded down, and the units of the last digit then
    missing go to those that lost most: each differs from its value by less than one such unit.
    """
    scaled = np.asarray(values, dtype=float) * 10.0**decimals
    total = round(float(np.sum(scaled)))
    floors = np.floor(scaled)
    missing = int(total - np.sum(floors))
    order = np.argsort(-(scaled - floors), kind="stable")
    units = floors.astype(int)
    units[order[:missing]] += 1
    step = Decimal(1).scaleb(-decimals)
    return tuple(f"{int(unit) * step:.{decimals}f}" for unit in (*units, total))
