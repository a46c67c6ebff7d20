"""Best velocity made good against wind angles one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.support import keelboat
from tests.trust import shared
from vpp import best_vmg, equilibrium
from vpp.optima import SETTINGS, UNSOLVED
from vpp.solver.interior_point import minimise
from vpp.solver.status import Status
from vpp.starts import FLAT
from vpp.trim import VMG_RANGES, FastestEquilibrium, fleets_on, freedom, start

BOAT = keelboat.coarse(keelboat.base(), 5)
WINDS = (6.0, 12.0, 18.0)
FINE = {"upwind": np.arange(30.0, 61.0, 1.0), "downwind": np.arange(130.0, 180.5, 2.0)}


@pytest.fixture(scope="module")
def solved():
    """Best VMG by itself, with no other condition to begin at."""
    of = keelboat.conditions(
        tws_kn=np.repeat(WINDS, 2), twa_deg=np.nan, aim=np.tile(["upwind", "downwind"], len(WINDS))
    )
    return equilibrium.solve([BOAT], of)


@pytest.mark.parametrize("aim", list(FINE))
def test_it_is_at_least_that_of_the_best_of_many_angles(solved, aim):
    angles = FINE[aim]
    grid = equilibrium.solve([BOAT], keelboat.grid(tws_kn=WINDS, twa_deg=list(angles)))
    made_good = np.abs(grid.quantities["vmg"]).reshape(len(WINDS), -1)
    best, at = np.nanmax(made_good, axis=1), angles[np.nanargmax(made_good, axis=1)]
    here = solved.conditions.aim == aim
    assert not solved.status[here].any()
    found = np.abs(solved.quantities["vmg"][here])
    assert np.all(found >= best * (1.0 - 1e-6))
    assert np.all(found <= best * 1.005)
    # and at an angle beside the best of them
    step = angles[1] - angles[0]
    assert np.all(np.abs(np.degrees(solved.quantities["twa"][here]) - at) <= step + 1e-6)


def test_beside_wind_angles_it_is_the_same(solved):
    """The rows of angles that are asked for anyway are begun at as well."""
    mixed = equilibrium.solve(
        [BOAT], keelboat.grid(tws_kn=WINDS, twa_deg=[38, 45, 52, 75, 120, 150, 165], best_vmg=True)
    )
    for aim in FINE:
        alone = solved.quantities["vmg"][solved.conditions.aim == aim]
        beside = mixed.quantities["vmg"][mixed.conditions.aim == aim]
        np.testing.assert_allclose(beside, alone, rtol=1e-5)


def test_an_answer_at_the_end_of_the_range_is_not_called_a_best_vmg(monkeypatch):
    """A range that ends before the best angle: the end is the best of it, and said to be no best VMG."""
    short = {"upwind": (np.radians(55.0), np.radians(80.0)), "downwind": VMG_RANGES["downwind"]}
    monkeypatch.setattr("vpp.trim.VMG_RANGES", short)
    monkeypatch.setattr(best_vmg, "VMG_RANGES", short)
    cut = equilibrium.solve([BOAT], keelboat.conditions(tws_kn=12, twa_deg=np.nan, aim="upwind"))
    assert cut.status[0] == Status.LIMIT_REACHED
    assert "end of the search range" in cut.reason[0]


def test_an_answer_at_the_greatest_speed_of_the_models_does_not_hide_a_slower_one_that_makes_more_good():
    """A run dead before the wind is slower than a broad reach at the limit, and makes more good."""
    kinds = shared.kinds("keelboat_sails")
    kind = next(each for each in kinds if (each.option, each.sail_set) == ("wardrobe", "full"))
    boat = shared.drawn(kind, 0).boat
    run = equilibrium.solve([boat], keelboat.conditions(tws_kn=31.7, twa_deg=180.0, aim="speed"))
    both = equilibrium.solve([boat], keelboat.conditions(tws_kn=[31.7, 34.8], twa_deg=np.nan, aim="downwind"))
    assert not run.status.any()
    assert not both.status.any()
    assert both.quantities["vmg"][0] <= run.quantities["vmg"][0]


def test_a_boat_that_cannot_sail_has_no_best_vmg_and_says_why():
    crippled = replace(BOAT, margins=replace(BOAT.margins, leeway=0.002))
    of = keelboat.conditions(tws_kn=12, twa_deg=np.nan, aim=["upwind", "upwind"], option=[0, 1])
    solved = equilibrium.solve([crippled, BOAT], of)
    assert solved.status.tolist() == [Status.NO_EQUILIBRIUM, Status.CONVERGED]
    assert solved.reason[0].startswith("No equilibrium")
    assert not solved.reason[1]


def test_rows_leave_no_large_gaps_and_no_angle_twice():
    vmg = keelboat.conditions(tws_kn=[10, 10, 14], twa_deg=np.nan, aim=["upwind", "downwind", "upwind"])
    known = keelboat.grid(tws_kn=[10, 12], twa_deg=[40, 46, 140])
    rows, owner = best_vmg.rows_for(vmg, known)
    assert set(rows.aim) == {"speed"}
    np.testing.assert_array_equal(rows.tws, vmg.tws[owner])
    for place in range(3):
        aim, here = str(vmg.aim[place]), known.tws == vmg.tws[place]
        low, high = VMG_RANGES[aim]
        angles = np.sort(np.concatenate([rows.twa[owner == place], known.twa[here]]))
        angles = angles[(angles >= low - 1e-12) & (angles <= high + 1e-12)]
        assert np.diff(angles).max() <= 2.0 * best_vmg.ROW_STEP[aim]
        assert np.diff(angles).min() > 0.0
        assert angles[0] == pytest.approx(low)
        assert angles[-1] == pytest.approx(high)


def test_no_best_vmg_asks_for_no_row():
    nothing = keelboat.grid(tws_kn=[10], twa_deg=[90]).take(np.arange(0))
    rows, owner = best_vmg.rows_for(nothing, keelboat.grid(tws_kn=[10], twa_deg=[90]))
    assert len(rows) == 0
    assert len(owner) == 0


def test_nothing_to_follow_leads_nowhere():
    """As after a search beside peaks that found none."""
    nothing = np.zeros(0, dtype=np.int64)
    assert len(best_vmg._follow(None, nothing, None, None, np.zeros(0))) == 0


def test_others_are_compared_with_in_the_same_wind_and_the_same_boat_in_the_next_winds():
    of = keelboat.conditions(
        tws_kn=[10, 10, 14, 14, 18, 10],
        twa_deg=np.nan,
        aim=["upwind"] * 5 + ["downwind"],
        option=[0, 1, 0, 1, 0, 0],
    )
    case, source = best_vmg._pairs(of, 1, np.zeros(6, dtype=np.int64))
    assert sorted(zip(case.tolist(), source.tolist(), strict=True)) == [
        (0, 1), (0, 2), (1, 0), (1, 3), (2, 0), (2, 3), (2, 4), (3, 1), (3, 2), (4, 2),
    ]  # fmt: skip
    # patches know nothing of each other, branches neither
    case, source = best_vmg._pairs(of, 2, np.array([0, 1, 0, 1, 2, 0]))
    pairs = sorted(zip(case.tolist(), source.tolist(), strict=True))
    assert pairs == [(0, 2), (1, 3), (2, 0), (3, 1), (6, 8), (7, 9), (8, 6), (9, 7)]


def test_boats_in_one_wind_are_no_company_for_each_other():
    of = keelboat.conditions(
        tws_kn=[10, 10, 10, 14, 14], twa_deg=np.nan, aim="upwind", option=[0, 1, 2, 1, 0]
    )
    assert best_vmg._alone(of.take(np.arange(3)), np.zeros(3, dtype=np.int64), 1).tolist() == [0]
    # the first of these has another wind to compare with
    assert best_vmg._alone(of.take(np.array([0, 1, 4])), np.zeros(3, dtype=np.int64), 1).tolist() == []
    assert best_vmg._alone(of, np.array([0, 0, 0, 1, 1]), 2).tolist() == [0, 3, 5, 8]


def test_a_best_vmg_that_no_row_led_to_is_found_from_afar():
    """Two winds in which all was missed are no company, though there are two of them."""
    of = keelboat.conditions(tws_kn=[12, 12, 14, 14], twa_deg=np.nan, aim="upwind", option=[0, 1, 0, 1])
    boats, patch = [BOAT, replace(BOAT, name="twin")], np.zeros(4, dtype=np.int64)
    problem = FastestEquilibrium(fleets_on(boats, ["hull-borne"])[0], freedom(boats, "hull-borne"), of)
    found = minimise(problem, start(problem, FLAT), settings=SETTINGS)
    assert not found.status.any()
    whole = found.objective.copy()
    found.status[:] = Status.NO_EQUILIBRIUM
    assert best_vmg._alone(of, patch, 1).tolist() == []
    missed = best_vmg._without_answer(found, of, patch)
    assert missed.tolist() == [0, 2]
    assert best_vmg._from_afar(problem, [problem], found, missed)
    assert (found.status[missed] == Status.CONVERGED).all()
    assert (found.objective[missed] <= whole[missed] + 1e-7).all()


def test_a_boat_without_a_best_vmg_takes_it_over_from_another():
    """What one of two boats is robbed of is found again from the other, to the same answer."""
    more_windage = tuple(replace(item, side_area=1.3 * item.side_area) for item in BOAT.windage)
    boats = [BOAT, replace(BOAT, name="more windage", windage=more_windage)]
    of = keelboat.conditions(tws_kn=12, twa_deg=np.nan, aim=["upwind", "upwind"], option=[0, 1])
    fleet = fleets_on(boats, ["hull-borne"])[0]
    problem = FastestEquilibrium(fleet, freedom(boats, "hull-borne"), of)
    states = start(problem, FLAT)
    found = minimise(problem, states, settings=SETTINGS)
    assert not found.status.any()
    whole = found.objective.copy()
    found.status[1], found.objective[1] = UNSOLVED, np.nan
    best_vmg._compare(problem, [problem], found, np.zeros(2, dtype=np.int64))
    assert found.status.tolist() == [Status.CONVERGED] * 2
    np.testing.assert_allclose(found.objective, whole, rtol=1e-7)
