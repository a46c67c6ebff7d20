"""Indices of Sobol of a function whose indices are known: Saltelli et al., "Global Sensitivity Analysis: The
Primer", 2008, chapter 4 (the function of Ishigami & Homma; from memory).

For sin x1 + a sin^2 x2 + b x3^4 sin x1 with x even from -pi to pi, the parts of the variance are
1/2 (1 + b pi^4 / 5)^2 of x1, a^2 / 8 of x2 and 8 b^2 pi^8 / 225 of x1 with x3. They follow from the integrals
of sin^2 and of powers by hand.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import qmc, sobol_indices, uniform

from vpp.uncertainty import shares

A, B = 7.0, 0.1
ALONE_1 = 0.5 * (1.0 + B * math.pi**4 / 5.0) ** 2
ALONE_2 = A**2 / 8.0
TOGETHER = 8.0 * B**2 * math.pi**8 / 225.0
WHOLE = ALONE_1 + ALONE_2 + TOGETHER


def ishigami(x):
    return np.sin(x[0]) + A * np.sin(x[1]) ** 2 + B * x[2] ** 4 * np.sin(x[0])


def test_first_and_total_indices_of_the_function_of_ishigami():
    places = 2.0 * qmc.Sobol(d=3, rng=1).random_base2(9) - 1.0
    found = shares(places, ishigami(math.pi * places.T), shapes=["even"] * 3)
    assert found.explained > 0.999
    assert found.first == pytest.approx([ALONE_1 / WHOLE, ALONE_2 / WHOLE, 0.0], abs=1e-3)
    assert found.total == pytest.approx(
        [(ALONE_1 + TOGETHER) / WHOLE, ALONE_2 / WHOLE, TOGETHER / WHOLE], abs=1e-3
    )


def test_they_agree_with_indices_by_sampling():
    of_scipy = sobol_indices(
        func=ishigami, n=1024, dists=[uniform(loc=-math.pi, scale=2.0 * math.pi)] * 3, rng=2
    )
    places = 2.0 * qmc.Sobol(d=3, rng=1).random_base2(9) - 1.0
    found = shares(places, ishigami(math.pi * places.T), shapes=["even"] * 3)
    # 1024 base samples leave about 0.03 (the estimator's own spread, estimated)
    assert found.first == pytest.approx(of_scipy.first_order, abs=0.04)
    assert found.total == pytest.approx(of_scipy.total_order, abs=0.04)


def test_too_few_draws_for_the_function_are_said_to_be():
    places = 2.0 * qmc.Sobol(d=3, rng=1).random_base2(5) - 1.0
    found = shares(places, ishigami(math.pi * places.T), shapes=["even"] * 3)
    assert found.reason
    assert np.isnan(found.first).all()
