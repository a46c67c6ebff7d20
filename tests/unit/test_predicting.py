"""Where optima of draws are expected: on curves between them, and with the bounds that will hold."""

from __future__ import annotations

import numpy as np
import pytest

from vpp.predicting import Optima, expected


def optima(places):
    """Minimise (x - a)^2 / 2 subject to x <= 1, where a is a polynomial of what is drawn; and a second
    variable that is equal to b by an equation.
    """
    p, q = places.T
    a, b = 0.9 + 0.6 * p + 0.2 * p * q, np.exp(0.3 * q)
    held = np.where(a > 1.0, 1, 0)
    return Optima(
        x=np.array([np.minimum(a, 1.0), b]),
        multipliers=np.array([0.5 - b, np.zeros(len(p))]),
        at_bounds=np.array([np.minimum(1.0 - a, 0.0), np.zeros(len(p))]),
        held=np.array([held, np.zeros(len(p), dtype=int)]),
        equations=1,
    )


def test_what_holds_and_where_it_lies_are_expected_from_other_draws():
    chance = np.random.default_rng(1)
    at, places = chance.uniform(-1.0, 1.0, (60, 2)), chance.uniform(-0.9, 0.9, (200, 2))
    known, true = optima(at), optima(places)
    upper = np.broadcast_to(np.array([[1.0], [9.0]]), (2, 200))
    x, multipliers, held = expected(known, at, places, -upper, upper)
    assert 0.2 < (true.held[0] == 1).mean() < 0.8
    assert (held == true.held).mean() > 0.99
    alike = (held == true.held).all(axis=0)
    # of exp(0.3 q) a polynomial of third degree leaves 0.3^4 / 4! = 3e-4 at the ends
    assert np.abs(x - true.x)[:, alike].max() < 1e-3
    assert np.abs(multipliers - true.multipliers)[:, alike].max() < 1e-3
    assert (x <= upper).all()


def test_a_limit_that_holds_pushes_and_one_that_does_not_is_not_felt():
    chance = np.random.default_rng(2)
    at, places = chance.uniform(-1.0, 1.0, (60, 1)), chance.uniform(-0.9, 0.9, (50, 1))

    def limited(t):
        force = np.minimum(0.5 * t[:, 0], 0.0)
        return Optima(
            x=np.array([np.maximum(t[:, 0], 0.0)]),
            multipliers=np.array([force]),
            at_bounds=np.zeros((1, len(t))),
            held=np.zeros((1, len(t)), dtype=int),
            equations=0,
        )

    room = np.full((1, 50), 9.0)
    _, multipliers, _ = expected(limited(at), at, places, -room, room)
    surely = np.abs(places[:, 0]) > 0.1
    assert ((multipliers[0] < 0.0) == (places[:, 0] < 0.0))[surely].all()
    assert multipliers[0, places[:, 0] > 0.1] == pytest.approx(0.0, abs=0.0)
