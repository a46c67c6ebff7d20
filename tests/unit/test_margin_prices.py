"""What a margin of the foils costs in speed: multipliers against the boat solved with another margin."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.support import foiler, keelboat
from vpp import equilibrium
from vpp.solved import FOIL_BORNE

# Upwind the immersion of the tips holds the boat back, on a reach in a breeze the wing's cavitation too.
TWS_KN, TWA_DEG = (14.0, 22.0), (50.0, 100.0)


@pytest.fixture(scope="module")
def prices():
    """Prices of the boat as filed, and its speed with each margin a little larger and smaller."""
    boat = foiler.base()
    step = {"immersion": 0.005, "cavitation": 0.002}
    boats = [boat] + [
        replace(boat, margins=replace(boat.margins, **{name: getattr(boat.margins, name) + sign * size}))
        for name, size in step.items()
        for sign in (1.0, -1.0)
    ]
    option = np.repeat(np.arange(len(boats)), 2)
    asked = keelboat.conditions(tws_kn=TWS_KN * len(boats), twa_deg=TWA_DEG * len(boats), option=option)
    solved = equilibrium.solve(boats, asked, branches=(FOIL_BORNE,))
    assert not solved.status.any()
    speed = solved.quantities["boat_speed"].reshape(len(boats), 2)
    slopes = {
        name: (speed[1 + 2 * i] - speed[2 + 2 * i]) / (2.0 * size)
        for i, (name, size) in enumerate(step.items())
    }
    return {name: solved.quantities[f"{name}_price"][:2] for name in step}, slopes


@pytest.mark.parametrize("margin", ["immersion", "cavitation"])
def test_price_is_the_speed_lost_to_a_larger_margin(prices, margin):
    found, slopes = prices
    np.testing.assert_allclose(found[margin], -slopes[margin], rtol=0.03, atol=1e-3)


def test_the_margins_matter_where_they_should(prices):
    found, _ = prices
    assert found["immersion"][0] > 0.5
    assert found["cavitation"][1] > 0.5
