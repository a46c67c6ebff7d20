"""Wherever the solver may look, forces stay those of sails: no corner of the box may hold a rocket."""

from __future__ import annotations

import numpy as np
import pytest

from tests.support import keelboat
from vpp.physics.wind import apparent_wind

BOAT = keelboat.coarse(keelboat.base(), 6)
# A thin cambered section reaches lift coefficients near 3 before it stalls, a plate broadside on a drag of
# 1.5. Common practice, no source.
MOST = 4.0


def _coefficients(problem, x):
    """Horizontal force of the sails over dynamic pressure at the mast top and sail area."""
    values = keelboat.named_state(problem, x)
    env, area = BOAT.environment, sum(sail.area for sail in BOAT.sails)
    tws = problem.conditions.tws * (BOAT.rig.mast_top_height / env.wind_reference_height) ** env.wind_exponent
    speed, _ = apparent_wind(
        true_wind_speed=tws, true_wind_angle=values["twa"], boat_speed=values["boat_speed"]
    )
    components, _ = problem.loads(values, np.arange(len(tws)))
    loads = [c.load for c in components if c.name in problem.layout.sails]
    force = np.hypot(sum(load.forward for load in loads), sum(load.leeward for load in loads))
    return force / (0.5 * env.air_density * np.maximum(speed, 1.0) ** 2 * area)


@pytest.mark.parametrize("seed", range(4))
def test_sail_forces_anywhere_in_the_box_are_bounded(seed):
    """Random states in the whole box, half of the sail controls at their ends."""
    rng = np.random.default_rng(seed)
    count = 200
    problem = keelboat.problem([BOAT], keelboat.conditions(tws_kn=12, twa_deg=rng.uniform(0.0, 180.0, count)))
    share = rng.uniform(size=problem.lower.shape)
    share = np.where(rng.uniform(size=share.shape) < 0.5, np.round(share), share)
    share[problem.names.index("boat_speed")] = rng.uniform(0.05, 0.9, count)
    found = _coefficients(problem, problem.lower + share * (problem.upper - problem.lower))
    assert np.isfinite(found).all()
    assert found.max() < MOST


def test_sails_sheeted_hard_in_on_a_dead_run_are_bounded():
    """Flow from the trailing edge: an incidence of 180 deg, which the box allows."""
    problem = keelboat.problem([BOAT], keelboat.conditions(tws_kn=12, twa_deg=[180, 179, 175, 170, 165, 160]))
    x = keelboat.start(problem)
    for name in ("leeway", "heel"):
        x[problem.names.index(name)] = 0.0
    for sail in ("main", "jib"):
        for what in ("sheet", "twist"):
            x[problem.names.index(f"{sail}_{what}")] = problem.lower[problem.names.index(f"{sail}_{what}")]
    found = _coefficients(problem, x)
    assert np.isfinite(found).all()
    assert found.max() < MOST
