"""The climb of a search for a better boat, on functions whose best places are known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.typing import NDArray

from vpp.improve_search import (
    MANY_TRIES,
    NOTHING_LEFT,
    STOPPED,
    Found,
    Place,
    Refused,
    Slopes,
    climb,
    prices_at,
)

Floats = NDArray[np.float64]


def _differences(function: Callable[[Floats], Floats], at: Floats) -> Floats:
    step = 1e-6
    rows = [(function(at + step * e) - function(at - step * e)) / (2.0 * step) for e in np.eye(len(at))]
    return np.array(rows).T


@dataclass
class Hill:
    """A function with limits, in shares of ranges; `wall` is where the first quantity is refused."""

    height: Callable[[Floats], float]
    limits: Callable[[Floats], Floats] = lambda at: np.zeros(0)
    wall: float = 2.0
    asked: int = 0
    accepted: list[float] = field(default_factory=list)

    def look(self, at: Floats) -> Place:
        self.asked += 1
        if at[0] > self.wall:
            raise Refused("beyond the wall")
        return Place(at=at, value=self.height(at), limits=self.limits(at))

    def slopes(self, place: Place) -> Slopes:
        self.accepted.append(place.merit)
        value = _differences(lambda at: np.array([self.height(at)]), place.at)[0]
        return Slopes(value=value, limits=_differences(self.limits, place.at).reshape(-1, len(place.at)))

    def cheap_limits(self, at: Floats) -> Floats:
        return self.limits(at)

    def room(self, at: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        return low, high


def climbed(hill: Hill, *start: float, most: int = 100) -> Found:
    return climb(hill, hill.look(np.array(start)), most=most)


def valley(at: Floats) -> float:
    """Rosenbrock's function upside down, gentler, its top at (1, 1) within -2 to 2 (from memory)."""
    x, y = 4.0 * at - 2.0
    return float(-((1.0 - x) ** 2 + 10.0 * (y - x * x) ** 2))


def test_the_top_of_a_curved_valley_is_found() -> None:
    found = climbed(Hill(valley), 0.3, 0.4)
    assert found.why == NOTHING_LEFT
    assert 4.0 * found.place.at - 2.0 == pytest.approx([1.0, 1.0], abs=5e-3)


def test_a_round_limit_is_kept_and_its_price_is_what_more_room_buys() -> None:
    # best on the unit circle by scipy.optimize.minimize(method="SLSQP"), ftol 1e-14: 0.78874, 0.61473
    def within(room: float) -> Found:
        return climbed(Hill(valley, lambda at: np.array([room - ((4.0 * at - 2.0) ** 2).sum()])), 0.3, 0.4)

    found = within(1.0)
    assert 4.0 * found.place.at - 2.0 == pytest.approx([0.78874, 0.61473], abs=5e-4)
    assert found.place.limits.min() > -1e-6
    price = float(prices_at(found.place, found.slopes).limits[0])
    bought = (within(1.01).place.value - within(0.99).place.value) / 0.02
    assert price == pytest.approx(bought, rel=0.02)


def test_a_slope_ends_at_the_bounds_with_their_prices() -> None:
    found = climbed(Hill(lambda at: float(3.0 * at[0] - 2.0 * at[1])), 0.5, 0.5)
    assert found.place.at == pytest.approx([1.0, 0.0])
    prices = prices_at(found.place, found.slopes)
    assert prices.upper == pytest.approx([3.0, 0.0])
    assert prices.lower == pytest.approx([0.0, 2.0])


def test_a_start_that_breaks_a_limit_is_mended_before_it_is_bettered() -> None:
    hill = Hill(lambda at: float(at.sum()), lambda at: np.array([0.5 - at[0], 0.6 - at[1]]))
    found = climbed(hill, 0.9, 0.9)
    assert found.place.limits.min() > -1e-6
    assert found.place.at == pytest.approx([0.5, 0.6], abs=1e-5)


def test_every_accepted_place_is_better_than_the_last() -> None:
    hill = Hill(valley)
    climbed(hill, 0.1, 0.9)
    assert np.all(np.diff(hill.accepted) > 0.0)


def test_what_is_refused_shortens_the_step_and_is_told() -> None:
    hill = Hill(lambda at: float(-((at[0] - 0.55) ** 2) - (at[1] - 0.7) ** 2), wall=0.6)
    found = climbed(hill, 0.4, 0.4)
    assert found.place.at == pytest.approx([0.55, 0.7], abs=0.01)
    refused = [tried for tried in found.tries if tried.place is None]
    assert all(tried.reason == "beyond the wall" and not tried.accepted for tried in refused)


def test_it_ends_after_so_many_tries_and_when_it_is_stopped() -> None:
    found = climbed(Hill(valley), 0.1, 0.9, most=2)
    assert (found.why, len(found.tries)) == (MANY_TRIES, 2)
    hill = Hill(valley)
    start = hill.look(np.array([0.1, 0.9]))
    found = climb(hill, start, most=50, stops=lambda: hill.asked > 2)
    assert found.why == STOPPED
    assert found.place.value >= start.value
