"""Boats with sail sets: every set is solved, and the best is what is reported."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.support import keelboat, synthetic
from vpp import closure, config, equilibrium, wardrobe
from vpp.boat import Boat, SailSet
from vpp.reporting import TOO_FAST
from vpp.results.frames import sail_sets_frame, to_frame
from vpp.solved import FOIL_BORNE, HULL_BORNE, Solved
from vpp.solver.status import Status

FILE = Path(__file__).parents[2] / "configs" / "keelboat_sails.toml"
GRID = keelboat.conditions(
    tws_kn=[6.0, 28.0, 24.0],
    twa_deg=[45.0, np.nan, 110.0],
    aim=np.array(["speed", "upwind", "speed"]),
)
SETS = ("full", "working_jib", "reefed")


@lru_cache(maxsize=1)
def sailor() -> Boat:
    """The demo keelboat with its wardrobe, few strips on each sail."""
    return keelboat.coarse(config.load(FILE).boat("wardrobe"), 6)


@pytest.fixture(scope="module")
def solved() -> Solved:
    return wardrobe.solve([sailor()], GRID)


@pytest.fixture(scope="module")
def separately() -> dict[str, Solved]:
    return {name: equilibrium.solve([sailor().wearing(name)], GRID) for name in SETS}


def test_the_answer_is_the_best_of_the_sets_solved_by_themselves(solved, separately) -> None:
    assert (solved.status == Status.CONVERGED).all()
    speeds = np.array([wardrobe.made_good(separately[name]) for name in SETS])
    np.testing.assert_allclose(wardrobe.made_good(solved), np.nanmax(speeds, axis=0), rtol=1e-7)
    winners = np.array(SETS)[np.nanargmax(speeds, axis=0)]
    second, first = np.sort(speeds, axis=0)[-2:]
    clear = (first - second) / first > 1e-6
    assert clear.all()
    assert solved.sail_set[clear].tolist() == winners[clear].tolist()
    np.testing.assert_allclose(solved.quantities["sail_set_margin"], first - second, atol=1e-6)


def test_every_set_is_kept_beside_the_best(solved, separately) -> None:
    assert list(solved.sail_sets) == list(SETS)
    for name, found in solved.sail_sets.items():
        assert set(found.sail_set) == {name}
        np.testing.assert_allclose(wardrobe.made_good(found), wardrobe.made_good(separately[name]), rtol=1e-7)


def test_the_big_sails_win_in_light_air_and_the_reef_in_much_wind_upwind(solved) -> None:
    assert solved.sail_set.tolist() == ["full", "reefed", "full"]


def test_the_budget_is_that_of_the_sails_that_are_up(solved) -> None:
    for place, name in enumerate(solved.sail_set):
        up = {sail.name for sail in sailor().wearing(name).sails}
        forces = {
            component: solved.force[row, :, place]
            for row, component in enumerate(solved.components)
            if component in ("main", "jib", "small_jib")
        }
        assert {component for component, force in forces.items() if np.any(force != 0.0)} == up
    assert (solved.closure <= closure.TOLERANCE).all()
    np.testing.assert_allclose(solved.force[:, :2].sum(axis=0), 0.0, atol=1e-3)


def test_the_trims_of_any_jib_stand_in_the_jibs_columns(solved) -> None:
    table = to_frame(solved)
    assert {"full", "reefed"} <= set(table["sail_set"])
    assert np.isfinite(table["jib_sheet_deg"]).all()
    assert np.isfinite(table["main_twist_deg"]).all()


def test_trims_of_sails_that_are_not_up_are_missing() -> None:
    boat = replace(
        sailor(),
        sails=sailor().sails[:2],
        sail_sets=(SailSet(name="main_alone", says="no jib", sails=("main",)),),
    )
    found = wardrobe.solve([boat], keelboat.conditions(tws_kn=16.0, twa_deg=80.0))
    table = to_frame(found)
    assert table["sail_set"].tolist() == ["main_alone"]
    assert np.isnan(table["jib_sheet_deg"]).all()
    assert np.isnan(table["sail_set_margin_kn"]).all()
    assert "jib" not in found.components
    assert found.boat_at(0).sails == boat.sails[:1]


def test_a_boat_without_sets_is_solved_as_it_is_to_the_last_bit() -> None:
    conditions = keelboat.conditions(tws_kn=[8.0, 18.0], twa_deg=[60.0, 140.0])
    boats = [keelboat.coarse(keelboat.base())]
    plain, through = equilibrium.solve(boats, conditions), wardrobe.solve(boats, conditions)
    for name, values in plain.quantities.items():
        np.testing.assert_array_equal(through.quantities[name], values)
    np.testing.assert_array_equal(through.force, plain.force)
    assert set(through.sail_set) == {""}
    assert not through.sail_sets


def test_boats_with_and_without_sets_share_a_run() -> None:
    plain = keelboat.coarse(keelboat.base())
    conditions = keelboat.conditions(tws_kn=12.0, twa_deg=[50.0, 50.0, 100.0], option=[1, 0, 1])
    found = wardrobe.solve([plain, sailor()], conditions)
    assert [bool(name) for name in found.sail_set] == [True, False, True]
    alone = equilibrium.solve([plain], keelboat.conditions(tws_kn=12.0, twa_deg=50.0))
    assert found.quantities["boat_speed"][1] == pytest.approx(alone.quantities["boat_speed"][0], rel=1e-9)
    assert np.isnan(found.quantities["sail_set_margin"][1])
    np.testing.assert_array_equal(wardrobe.places_under(found, "full"), [0, 2])
    np.testing.assert_allclose(found.sail_sets["full"].conditions.twa, np.radians([50.0, 100.0]))
    # one row for each set of the boat that has them, in the order of the conditions
    assert sail_sets_frame(found)["sail_set"].tolist() == [*SETS, *SETS]


def test_the_margin_closes_towards_the_wind_of_the_change() -> None:
    """Along the wind a whole and a reefed main cross, and the margin of the better falls to nothing there."""
    main, _, small_jib = sailor().sails
    boat = replace(sailor(), sails=(main, small_jib), sail_sets=sailor().sail_sets[1:])
    winds = np.arange(16.0, 26.1, 2.0)
    found = wardrobe.solve([boat], keelboat.conditions(tws_kn=winds, twa_deg=50.0))
    whole, reefed = (wardrobe.made_good(found.sail_sets[name]) for name in SETS[1:])
    gain = reefed - whole
    at = int(np.flatnonzero((gain[:-1] < 0.0) & (gain[1:] > 0.0))[0])
    crossing = winds[at] - gain[at] * (winds[at + 1] - winds[at]) / (gain[at + 1] - gain[at])
    near = wardrobe.solve([boat], keelboat.conditions(tws_kn=crossing, twa_deg=50.0))
    margins = found.quantities["sail_set_margin"]
    # a straight line misses the crossing by the curvature of the two, far less than its neighbours' margins
    assert near.quantities["sail_set_margin"][0] < 0.25 * min(margins[at], margins[at + 1])


def two_named(*names: str) -> Boat:
    """An invented boat with sets that differ in name alone."""
    sets = tuple(SailSet(name=name, says=name, sails=("main", "jib")) for name in names)
    return replace(synthetic.make_boat(), sail_sets=sets)


def test_what_no_set_can_do_is_said_once_or_for_each(monkeypatch: pytest.MonkeyPatch) -> None:
    def solve(boats: Any, conditions: Any, *, branches: Any, processes: int, progress: Any) -> Solved:
        found = synthetic.solve(boats, conditions)
        failed = found.status != Status.CONVERGED
        own = np.array([f"{found.reason[i]} {i}." if i % 2 else found.reason[i] for i in range(len(failed))])
        return replace(found, reason=np.where(failed & (conditions.tws > 10.0), own, found.reason))

    monkeypatch.setattr(equilibrium, "solve", solve)
    # the invented results fail at this angle in more than 15 kn
    conditions = keelboat.conditions(tws_kn=[16.0, 22.0, 10.0], twa_deg=30.0)
    found = wardrobe.solve([two_named("one", "two")], conditions)
    assert found.status.tolist() == [Status.NO_EQUILIBRIUM] * 2 + [Status.CONVERGED]
    assert found.sail_set.tolist() == ["", "", "one"]
    plain = "No equilibrium: the drive cannot meet the drag; bear away or reduce the wind"
    assert found.reason.tolist() == [f"{plain}.", f"one: {plain}. 1; two: {plain}.", ""]
    assert np.isnan(found.quantities["boat_speed"][:2]).all()
    assert np.isnan(found.quantities["sail_set_margin"][:2]).all()


def test_a_set_too_fast_for_the_hull_model_is_not_passed_over_in_silence(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def solve(boats: Any, conditions: Any, **_: Any) -> Solved:
        found = synthetic.solve(boats, conditions)
        too_fast = (conditions.option == 1) & (conditions.twa > np.radians(100.0))
        return replace(
            found,
            status=np.where(too_fast, int(Status.OUTSIDE_MODEL_RANGE), found.status),
            reason=np.where(too_fast, TOO_FAST, found.reason),
        )

    monkeypatch.setattr(equilibrium, "solve", solve)
    found = wardrobe.solve([two_named("one", "two")], keelboat.conditions(tws_kn=22.0, twa_deg=[90.0, 120.0]))
    assert found.sail_set.tolist() == ["one", "one"]
    assert found.remark.tolist() == ["heel limit", "heel limit; too fast under two for the hull model"]


def test_equals_go_to_the_set_that_stands_first(monkeypatch: pytest.MonkeyPatch) -> None:
    def solve(boats: Any, conditions: Any, **_: Any) -> Solved:
        return synthetic.solve(boats, conditions)

    monkeypatch.setattr(equilibrium, "solve", solve)
    for names in (("first", "second"), ("second", "first")):
        found = wardrobe.solve([two_named(*names)], keelboat.conditions(tws_kn=10.0, twa_deg=[60.0, 90.0]))
        assert set(found.sail_set) == {names[0]}
        assert found.quantities["sail_set_margin"].tolist() == [0.0, 0.0]


def test_each_branch_has_the_best_set_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a boat with two sets that floats and flies, and one without sets that only floats."""
    afloat, flying = np.array([6.0, 7.0, 5.0]), np.array([14.0, 12.0, np.nan])

    def solve(boats: Any, conditions: Any, **_: Any) -> Solved:
        under = conditions.option
        branches = {}
        for name, speeds in ((HULL_BORNE, afloat), (FOIL_BORNE, flying)):
            rows = np.flatnonzero(np.isfinite(speeds[under]))
            part = synthetic.solve(boats, conditions.take(rows))
            quantities = {**part.quantities, "boat_speed": speeds[under[rows]]}
            branches[name] = replace(part, quantities=quantities, branch=np.full(len(rows), name))
        whole = synthetic.solve(boats, conditions)
        best = {**whole.quantities, "boat_speed": np.fmax(afloat, flying)[under]}
        branch = np.where(np.isfinite(flying[under]), FOIL_BORNE, HULL_BORNE)
        return replace(whole, quantities=best, branch=branch, branches=branches)

    monkeypatch.setattr(equilibrium, "solve", solve)
    conditions = keelboat.conditions(tws_kn=12.0, twa_deg=[90.0, 90.0, 120.0], option=[1, 0, 0])
    found = wardrobe.solve([two_named("one", "two"), synthetic.make_boat()], conditions)
    assert found.branch.tolist() == [HULL_BORNE, FOIL_BORNE, FOIL_BORNE]
    assert found.sail_set.tolist() == ["", "one", "one"]
    floats, flies = found.branches[HULL_BORNE], found.branches[FOIL_BORNE]
    assert floats.sail_set.tolist() == ["", "two", "two"]
    assert floats.quantities["boat_speed"].tolist() == [5.0, 7.0, 7.0]
    assert flies.sail_set.tolist() == ["one", "one"]
    np.testing.assert_array_equal(flies.conditions.option, [0, 0])
    np.testing.assert_allclose(flies.conditions.twa, np.radians([90.0, 120.0]))
    assert flies.quantities["sail_set_margin"].tolist() == [2.0, 2.0]
    assert list(flies.sail_sets) == ["one", "two"]


def test_conditions_of_a_boat_that_is_not_there_are_refused() -> None:
    with pytest.raises(ValueError, match="boats 0 to 1"):
        wardrobe.solve([sailor()], keelboat.conditions(tws_kn=10.0, twa_deg=60.0, option=1))


def test_a_boat_with_sets_is_not_sailed_under_all_its_sails_at_once() -> None:
    with pytest.raises(ValueError, match=r"vpp\.wardrobe"):
        equilibrium.solve([sailor()], keelboat.conditions(tws_kn=10.0, twa_deg=60.0))
