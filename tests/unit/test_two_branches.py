"""A boat that can be carried by its hull or by its foils: both ways are solved and the better is reported."""

from __future__ import annotations

import numpy as np
import pytest

from tests.support import foiler, keelboat
from vpp import closure, equilibrium, fleets
from vpp.solved import FOIL_BORNE, HULL_BORNE
from vpp.solver.status import Status

TWS_KN, TWA_DEG = [4, 14, 10], [60, 110, 0]


@pytest.fixture(scope="module")
def solved():
    """Too little wind to fly, a breeze, and dead into the wind."""
    found = equilibrium.solve([foiler.base()], keelboat.conditions(tws_kn=TWS_KN, twa_deg=TWA_DEG))
    assert found.status[:2].tolist() == [Status.CONVERGED] * 2
    return found


def test_a_boat_flies_in_a_breeze_and_floats_in_a_calm(solved):
    assert solved.branch[:2].tolist() == [HULL_BORNE, FOIL_BORNE]
    assert list(solved.branches) == [HULL_BORNE, FOIL_BORNE]
    calm = solved.branches[FOIL_BORNE]
    assert calm.status[0] == Status.NO_EQUILIBRIUM
    assert calm.reason[0].startswith("No equilibrium")


def test_condition_that_fails_on_every_branch_says_why_on_each(solved):
    """Dead into the wind nothing balances, or only where the wakes are not known."""
    assert solved.status[2] in (Status.NO_EQUILIBRIUM, Status.OUTSIDE_MODEL_RANGE)
    reasons = {branch: str(one.reason[2]) for branch, one in solved.branches.items()}
    assert all(reasons.values())
    assert solved.reason[2] == (
        f"hull-borne: {reasons[HULL_BORNE].removesuffix('.')}; foil-borne: {reasons[FOIL_BORNE]}"
    )


def test_the_faster_branch_is_the_one_reported(solved):
    speeds = np.array([solved.branches[branch].quantities["boat_speed"][:2] for branch in solved.branches])
    np.testing.assert_array_equal(solved.quantities["boat_speed"][:2], np.nanmax(speeds, axis=0))


def test_each_branch_closes_in_all_six_equations(solved):
    """Summed from the exported budget: force and moment, against the sizes of what is summed."""
    for found in (solved, *solved.branches.values()):
        good = found.status == Status.CONVERGED
        assert (found.closure[good] <= closure.TOLERANCE).all()
        for parts in (found.force, found.moment):
            total = np.abs(parts.sum(axis=0)) / np.abs(parts).sum(axis=(0, 1))
            assert (total[:, good] < closure.TOLERANCE).all()


def test_a_branch_is_the_same_alone_and_among_others(solved):
    """The reported numbers are those of the branch that they come from."""
    flying = solved.branches[FOIL_BORNE]
    assert flying.branch.tolist() == [FOIL_BORNE] * 3
    for name, value in solved.quantities.items():
        np.testing.assert_array_equal(value[1], flying.quantities[name][1], err_msg=name)
    for row, name in enumerate(solved.components):
        np.testing.assert_array_equal(
            solved.force[row, :, 1], flying.force[flying.components.index(name), :, 1], err_msg=name
        )


def test_processes_solve_a_branch_each_and_change_no_number(solved, monkeypatch):
    monkeypatch.setattr(equilibrium, "LEAST_SHARED", 1)
    seen = []
    shared = equilibrium.solve(
        [foiler.base()],
        keelboat.conditions(tws_kn=TWS_KN[1:2], twa_deg=TWA_DEG[1:2]),
        processes=2,
        progress=lambda *count: seen.append(count),
    )
    assert seen[-1] == (1, 1)
    assert list(shared.branches) == [HULL_BORNE, FOIL_BORNE]
    for found, alone in (
        (shared, solved),
        *zip(shared.branches.values(), solved.branches.values(), strict=True),
    ):
        assert found.branch[0] == alone.branch[1]
        for name, value in found.quantities.items():
            # sums of one condition and of three are not made in the same order
            np.testing.assert_allclose(value[0], alone.quantities[name][1], rtol=1e-14, err_msg=name)
        assert found.quantities["boat_speed"][0] == alone.quantities["boat_speed"][1]


def test_foils_keep_their_margins(solved):
    boat, q = foiler.base(), solved.quantities
    # the solver meets a limit to its own tolerance
    assert q["tip_depth"][1] >= boat.margins.immersion - 1e-6
    assert q["cavitation_margin"][1] >= boat.margins.cavitation - 1e-6
    assert "foil immersion limit" in solved.remark[1]
    assert q["ride_height"][1] >= boat.hull.canoe_draught + boat.margins.clearance - 1e-9
    # clear of the water, the hull neither carries nor drags
    for name in ("buoyancy", "hull friction", "hull waves"):
        np.testing.assert_array_equal(solved.force[solved.components.index(name), :, 1], 0.0)


def test_righting_moment_holds_the_heeling_moment_of_either_branch(solved):
    q = solved.quantities
    np.testing.assert_allclose(q["righting_moment"][:2], q["heeling_moment"][:2], rtol=1e-6)
    assert (q["righting_moment"][:2] > 0.0).all()


def test_boats_with_and_without_foils_share_a_call():
    """Each keeps its branches; a boat that cannot fly has only the one."""
    boats = [keelboat.coarse(keelboat.base(), 6), foiler.base()]
    found = equilibrium.solve(boats, keelboat.conditions(tws_kn=14, twa_deg=110, option=[0, 1]))
    assert found.branch.tolist() == [HULL_BORNE, FOIL_BORNE]
    assert len(found.branches[HULL_BORNE].conditions) == 2
    assert len(found.branches[FOIL_BORNE].conditions) == 1
    assert np.isnan(found.quantities["cant"]).tolist() == [True, False]
    assert np.isnan(found.quantities["ride_height"]).tolist() == [True, False]
    layout = fleets.layout(boats[1])
    only_flying = [name for foil in layout.foils for name in foil.element_names if name != "rudder"]
    for name in only_flying:
        assert not found.force[found.components.index(name), :, 0].any()
