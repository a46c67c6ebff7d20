"""A condition's answer is its own: it does not depend on which others are solved beside it, nor on their
order or fate.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.support import keelboat
from vpp import equilibrium
from vpp.optima import SETTINGS
from vpp.solved import Conditions
from vpp.solver.status import Status

BOAT = keelboat.coarse(keelboat.base(), 6)
TWS_KN, TWA_DEG = [8, 12, 18, 10, 15], [50, 100, 70, 140, 42]
COMPARED = ("boat_speed", "heel", "leeway", "rudder", "vmg", "twa", "drive", "righting_moment")


@pytest.fixture(scope="module")
def together():
    solved = equilibrium.solve([BOAT], keelboat.conditions(tws_kn=TWS_KN, twa_deg=TWA_DEG))
    assert not solved.status.any()
    return solved


def _assert_same(solved, places, reference, reference_places, rtol):
    np.testing.assert_array_equal(solved.status[places], reference.status[reference_places])
    for name in COMPARED:
        np.testing.assert_allclose(
            solved.quantities[name][places],
            reference.quantities[name][reference_places],
            rtol=rtol,
            atol=rtol,
            err_msg=name,
        )


def test_a_batch_equals_its_conditions_one_by_one(together):
    for place, (tws_kn, twa_deg) in enumerate(zip(TWS_KN, TWA_DEG, strict=True)):
        alone = equilibrium.solve([BOAT], keelboat.conditions(tws_kn=tws_kn, twa_deg=twa_deg))
        np.testing.assert_allclose(
            alone.quantities["boat_speed"][0], together.quantities["boat_speed"][place], rtol=1e-8
        )
        # a trim that hardly matters is found less exactly than the speed it hardly changes
        _assert_same(alone, [0], together, [place], rtol=1e-5)


@pytest.mark.parametrize("seed", [1, 2])
def test_the_order_of_conditions_changes_nothing(together, seed):
    order = np.random.default_rng(seed).permutation(len(TWS_KN))
    shuffled = equilibrium.solve(
        [BOAT], keelboat.conditions(tws_kn=np.array(TWS_KN)[order], twa_deg=np.array(TWA_DEG)[order])
    )
    np.testing.assert_allclose(
        shuffled.quantities["boat_speed"], together.quantities["boat_speed"][order], rtol=1e-8
    )
    _assert_same(shuffled, slice(None), together, order, rtol=1e-5)


def test_a_repeated_condition_gives_the_same_answer_twice():
    """One of the two begins at the answer of the other, or both at a neighbour's: they are exact alike."""
    solved = equilibrium.solve([BOAT], keelboat.conditions(tws_kn=[12, 9, 12], twa_deg=[100, 60, 100]))
    np.testing.assert_allclose(
        solved.quantities["boat_speed"][2], solved.quantities["boat_speed"][0], rtol=1e-9
    )
    assert solved.constraint_error.max() <= SETTINGS.constraint_tolerance
    assert solved.optimality_error.max() <= SETTINGS.optimality_tolerance


def test_the_same_call_gives_the_same_numbers(together):
    again = equilibrium.solve([BOAT], keelboat.conditions(tws_kn=TWS_KN, twa_deg=TWA_DEG))
    for name, values in together.quantities.items():
        np.testing.assert_array_equal(again.quantities[name], values, err_msg=name)
    np.testing.assert_array_equal(again.force, together.force)


POISONS = {
    "a boat without a crew mass": replace(BOAT, crew=replace(BOAT.crew, mass=float("nan"))),
    "a boat with a broken sail": replace(
        BOAT, sails=(replace(BOAT.sails[0], stall_incidence=float("nan")), BOAT.sails[1])
    ),
}


@pytest.mark.parametrize("name", POISONS)
def test_a_poisoned_neighbour_changes_nothing(together, name):
    """Conditions of the healthy boat around some of one with a NaN in it."""
    of = keelboat.conditions(
        tws_kn=[*TWS_KN[:2], 10, *TWS_KN[2:], 14],
        twa_deg=[*TWA_DEG[:2], 60, *TWA_DEG[2:], 90],
        option=[0, 0, 1, 0, 0, 0, 1],
    )
    solved = equilibrium.solve([BOAT, POISONS[name]], of)
    healthy = np.flatnonzero(of.option == 0)
    _assert_same(solved, healthy, together, slice(None), rtol=1e-5)
    np.testing.assert_allclose(
        solved.quantities["boat_speed"][healthy], together.quantities["boat_speed"], rtol=1e-8
    )
    assert solved.status[of.option == 1].tolist() == [Status.NOT_FINITE] * 2
    assert all("Not finite" in reason for reason in solved.reason[of.option == 1])


def test_a_wind_that_is_not_a_number_poisons_its_own_condition_alone(together):
    """Refused by `Conditions`; smuggled past it, it must still not spread."""
    of = keelboat.conditions(tws_kn=[*TWS_KN, 10], twa_deg=[*TWA_DEG, 60])
    tws = of.tws.copy()
    tws[-1] = np.nan
    with pytest.raises(ValueError, match="finite"):
        replace(of, tws=tws)
    problem = keelboat.problem([BOAT], of)
    object.__setattr__(of, "tws", tws)
    x = keelboat.random_states(problem, seed=1)
    poisoned = problem.values(x, np.arange(len(of)))
    clean = keelboat.problem(
        [BOAT], Conditions(option=of.option[:-1], tws=tws[:-1], twa=of.twa[:-1], aim=of.aim[:-1])
    )
    alone = clean.values(x[:, :-1], np.arange(len(of) - 1))
    np.testing.assert_allclose(poisoned.constraints[:, :-1], alone.constraints, rtol=1e-11, atol=1e-12)
    assert np.isnan(poisoned.constraints[:, -1]).any()
