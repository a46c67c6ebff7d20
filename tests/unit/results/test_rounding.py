"""Printed columns add up to their printed totals."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from vpp.results.rounding import add_up, decimals_for


@given(
    values=st.lists(st.floats(-5e4, 5e4), min_size=1, max_size=20),
    decimals=st.integers(0, 2),
)
def test_printed_numbers_add_up_to_the_rounded_total(values: list[float], decimals: int) -> None:
    *parts, total = add_up(np.array(values), decimals=decimals)
    unit = 10.0**-decimals
    assert round(sum(round(float(part) / unit) for part in parts)) == round(float(total) / unit)
    assert abs(float(total) - sum(values)) <= 0.5 * unit + 1e-6
    for part, value in zip(parts, values, strict=True):
        assert abs(float(part) - value) < unit + 1e-6


def test_thirds_share_the_missing_unit() -> None:
    # three thirds of 100 rounded apart would add up to 99
    assert add_up(np.array([100.0 / 3.0] * 3), decimals=0) == ("34", "33", "33", "100")


def test_balanced_column_prints_zero_without_a_sign() -> None:
    assert add_up(np.array([10.04, -10.04, -1e-12]), decimals=1) == ("10.0", "-10.0", "0.0", "0.0")


def test_decimals_follow_the_largest_number() -> None:
    assert decimals_for(np.array([12.3, -99.9])) == 1
    assert decimals_for(np.array([12.3, -100.0])) == 0
    assert decimals_for(np.array([])) == 1
