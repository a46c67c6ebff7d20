"""The search over many conditions: some are solved from guessed starts, the others from their neighbours."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.support import keelboat
from vpp import equilibrium, search, starts
from vpp.optima import KEPT, SETTINGS, Cases
from vpp.solved import Conditions
from vpp.solver import stopping
from vpp.solver.interior_point import minimise
from vpp.solver.status import Status
from vpp.starts import ATTACHED, starts_for
from vpp.trim import start

BOAT = keelboat.coarse(keelboat.base(), 5)
GRID = keelboat.grid(tws_kn=[5, 8, 12, 18], twa_deg=[36, 45, 60, 80, 100, 125, 150, 175])
# Of the speed: what separates answers that are the same, the barrier of the interior point included.
SAME = 1e-6


def searched(conditions, *, boats=(BOAT,), patch=None, asked=None, tell=None):
    """Optima of conditions, all of one patch and all asked for unless told otherwise, and their problem."""
    problem = keelboat.problem(boats, conditions)
    patch = np.zeros(len(conditions), dtype=np.int64) if patch is None else patch
    asked = len(conditions) if asked is None else asked
    [found] = search.at_angles([problem], patch, asked, tell=tell)
    return found, problem


@pytest.fixture(scope="module")
def grid():
    told = []
    found, problem = searched(GRID, tell=told.append)
    return found, problem, told


def best_of_all_starts(problem):
    """The best objective of every condition solved by itself from every guessed start."""
    best = np.full(problem.condition_count, np.inf)
    for how, suits in starts_for(problem):
        which = np.flatnonzero(suits)
        found = minimise(Cases(problem, which), start(problem, how)[:, which], settings=SETTINGS)
        objective = np.where(found.status == Status.CONVERGED, found.objective, np.inf)
        best[which] = np.minimum(best[which], objective)
    return best


def test_no_condition_is_slower_than_from_all_guessed_starts_by_itself(grid):
    found, problem, _ = grid
    assert not found.best.status.any()
    slower = (found.best.objective - best_of_all_starts(problem)) / np.abs(found.best.objective)
    assert slower.max() <= SAME


def missed(problem, values):
    """By how much equations or limits are missed at the most."""
    equations, limits = np.split(values.constraints, [problem.equality_count])
    return max(np.abs(equations).max(initial=0.0), -limits.min(initial=0.0))


def test_answers_are_optima_by_the_solvers_tolerances(grid):
    found, problem, _ = grid
    assert found.best.constraint_error.max() <= SETTINGS.constraint_tolerance
    assert found.best.optimality_error.max() <= SETTINGS.optimality_tolerance
    values = problem.values(found.best.x, np.arange(len(GRID)))
    np.testing.assert_allclose(values.objective, found.best.objective, rtol=1e-12)
    assert missed(problem, values) <= SETTINGS.constraint_tolerance
    assert np.all((found.best.x >= problem.lower) & (found.best.x <= problem.upper))


def test_answers_are_on_the_bounds_that_hold_them(grid):
    """No barrier is left of the interior point, nor of where an answer came from."""
    found, problem, _ = grid
    assert len(found.blurred()) == 0
    best = found.best
    np.testing.assert_array_equal(best.x[best.active_lower], problem.lower[best.active_lower])
    np.testing.assert_array_equal(best.x[best.active_upper], problem.upper[best.active_upper])
    assert best.active_lower.any()
    assert best.active_upper.any()


def test_other_optima_are_slower_ones_in_order(grid):
    found, problem, _ = grid
    assert len(found.slots) == KEPT
    beside = 0
    for before, after in zip(found.slots[:-1], found.slots[1:], strict=True):
        both = np.flatnonzero(after.status == Status.CONVERGED)
        assert np.all(before.status[both] == Status.CONVERGED)
        assert np.all(before.objective[both] < after.objective[both])
        values = problem.values(after.x[:, both], both)
        assert missed(problem, values) <= SETTINGS.constraint_tolerance
        beside += len(both)
    assert beside > 0


def test_the_share_that_has_ended_rises_to_one(grid):
    _, _, told = grid
    assert told[-1] == 1.0
    assert np.all(np.diff(told) >= 0.0)
    assert min(told) > 0.0


def test_conditions_of_another_patch_change_nothing(grid):
    """To the last bit, in whatever order the patches come."""
    found, _, _ = grid
    others = keelboat.grid(tws_kn=[6, 9, 15], twa_deg=[42, 70, 110, 160])
    both, _ = searched(
        others.followed_by(GRID), patch=np.repeat([7, 2], [len(others), len(GRID)]).astype(np.int64)
    )
    mine = both.take(np.arange(len(others), len(others) + len(GRID)))
    for slot, expected in zip(mine.slots, found.slots, strict=True):
        np.testing.assert_array_equal(slot.status, expected.status)
        for name in ("x", "objective", "multipliers", "iterations"):
            np.testing.assert_array_equal(getattr(slot, name), getattr(expected, name), err_msg=name)


def test_the_order_of_conditions_moves_no_speed(grid):
    found, _, _ = grid
    order = np.random.default_rng(1).permutation(len(GRID))
    shuffled, _ = searched(GRID.take(order))
    np.testing.assert_allclose(shuffled.best.objective, found.best.objective[order], rtol=SAME)


CRIPPLED = replace(BOAT, name="crippled", margins=replace(BOAT.margins, leeway=0.002))


def test_what_has_no_equilibrium_between_others_keeps_its_verdict():
    """A boat that may hardly make leeway, beside one that may, and angles too near the wind beside others:
    neither is given an answer by its neighbours, nor takes one from them.
    """
    twa_deg = [10.0, 36.0, 50.0, 64.0]
    boats = [BOAT, CRIPPLED]
    of = keelboat.conditions(tws_kn=10.0, twa_deg=np.tile(twa_deg, 2), option=np.repeat([0, 1], len(twa_deg)))
    solved = equilibrium.solve(boats, of)
    crippled, healthy = of.option == 1, of.option != 1
    near = np.isclose(np.degrees(of.twa), 10.0)
    assert set(solved.status[crippled | near]) == {Status.NO_EQUILIBRIUM}
    assert all("No equilibrium" in reason for reason in solved.reason[crippled | near])
    assert all("the surge equation" in reason for reason in solved.reason[healthy & near])
    assert not solved.status[healthy & ~near].any()
    assert not solved.reason[healthy & ~near].any()
    alone = equilibrium.solve([BOAT], of.take(np.flatnonzero(of.option == 0)))
    speed = solved.quantities["boat_speed"][of.option == 0]
    np.testing.assert_allclose(speed, alone.quantities["boat_speed"], rtol=SAME)


def same_to_the_last_bit(one, other):
    np.testing.assert_array_equal(one.status, other.status)
    for name, value in one.quantities.items():
        np.testing.assert_array_equal(other.quantities[name], value, err_msg=name)
    np.testing.assert_array_equal(one.iterations, other.iterations)


def make_patches_small(monkeypatch):
    """Several patches to share out, of a few conditions each."""
    monkeypatch.setattr(equilibrium, "LEAST_SHARED", 1)
    monkeypatch.setattr(equilibrium, "PATCH", 4)


@pytest.fixture
def small_patches(monkeypatch):
    make_patches_small(monkeypatch)


MIXED = keelboat.grid(tws_kn=[8, 12], twa_deg=[50, 90, 150], best_vmg=True)


@pytest.fixture(scope="module")
def in_small_patches():
    with pytest.MonkeyPatch.context() as patch:
        make_patches_small(patch)
        return equilibrium.solve([BOAT], MIXED)


def test_processes_share_patches_out_and_change_no_number(small_patches, in_small_patches):
    told = []
    shared = equilibrium.solve([BOAT], MIXED, processes=2, progress=lambda *count: told.append(count))
    same_to_the_last_bit(in_small_patches, shared)
    assert len(told) == 2
    assert told[-1] == (len(MIXED), len(MIXED))


def test_how_patches_are_dealt_out_changes_no_number(small_patches, in_small_patches, monkeypatch):
    monkeypatch.setattr(equilibrium, "MOST_IN_PART", 4)
    same_to_the_last_bit(in_small_patches, equilibrium.solve([BOAT], MIXED))


def test_patches_keep_a_boat_in_one_wind_together():
    boats = 20
    of = keelboat.conditions(
        tws_kn=np.repeat([8.0, 10.0, 12.0], 60), twa_deg=np.tile(np.linspace(40, 170, 60), 3), option=0
    )
    of = Conditions(
        option=np.repeat(np.arange(boats), len(of)), tws=np.tile(of.tws, boats), twa=np.tile(of.twa, boats),
        aim=np.tile(of.aim, boats),
    )  # fmt: skip
    patch = equilibrium._patches(of)
    for group in range(patch.max() + 1):
        members = patch == group
        assert members.any()
        assert members.sum() < 2 * equilibrium.PATCH + 60
    for option in range(boats):
        for tws in np.unique(of.tws):
            assert len(set(patch[(of.option == option) & (of.tws == tws)])) == 1
    order = np.random.default_rng(2).permutation(len(of))
    np.testing.assert_array_equal(equilibrium._patches(of.take(order)), patch[order])


@pytest.mark.parametrize("processes", [1, 2])
def test_what_was_solved_besides_never_comes_back(small_patches, processes):
    """A lone condition has others solved beside it, and a best VMG a row of angles: one answer a condition,
    each its own.
    """
    of = keelboat.conditions(
        tws_kn=[9, 9, 14, 14], twa_deg=[75, np.nan, 130, np.nan], aim=["speed", "upwind", "speed", "downwind"]
    )
    told = []
    solved = equilibrium.solve([BOAT], of, processes=processes, progress=lambda *count: told.append(count))
    assert len(solved.status) == 4
    assert not solved.status.any()
    for name, value in vars(solved.conditions).items():
        np.testing.assert_array_equal(value, getattr(of, name))
    at_angle = of.aim == "speed"
    np.testing.assert_array_equal(solved.quantities["twa"][at_angle], of.twa[at_angle])
    np.testing.assert_allclose(np.degrees(solved.quantities["twa"][~at_angle]), [45, 175], atol=10)
    assert told[-1] == (4, 4)
    assert all(done <= total == 4 for done, total in told)


def test_conditions_not_asked_for_are_no_burden():
    """What is not wanted and not easy stays unsolved: here, nearer to the wind than a boat can sail."""
    of = keelboat.conditions(tws_kn=10, twa_deg=[50, 58, 4, 8])
    found, _ = searched(of, asked=2)
    assert not found.best.status[:2].any()
    assert set(found.best.status[2:]) <= {Status.NO_EQUILIBRIUM, Status.STEP_LIMIT, Status.INTERRUPTED}


def test_a_lone_condition_is_as_fast_as_in_company(grid):
    found, problem, _ = grid
    speed = -found.best.objective * problem.scale[problem.names.index("boat_speed")]
    for place in (1, 13, 22, 31):
        alone = equilibrium.solve([BOAT], GRID.take(np.array([place])))
        assert alone.quantities["boat_speed"][0] == pytest.approx(speed[place], rel=1e-5)


def test_like_boats_in_a_lone_wind_are_as_fast_as_each_alone():
    """They are no company for each other: what guessed starts miss for one they miss for all."""
    boat = keelboat.coarse(keelboat.base(), 6)
    boats = [
        boat,
        *(replace(boat, crew=replace(boat.crew, mass=boat.crew.mass + more)) for more in (0.1, 0.2)),
    ]
    alone = equilibrium.solve([boat], keelboat.conditions(tws_kn=10.0, twa_deg=160.0))
    together = equilibrium.solve(
        boats, keelboat.conditions(tws_kn=10.0, twa_deg=160.0, option=np.arange(len(boats)))
    )
    speed = together.quantities["boat_speed"]
    np.testing.assert_allclose(speed, alone.quantities["boat_speed"][0], rtol=1e-6)


def test_nothing_is_claimed_once_searches_are_to_end():
    with stopping.keep_on_interrupt() as stop:
        stop.ask()
        found, _ = searched(GRID.take(np.arange(6)))
    assert set(found.best.status) == {Status.INTERRUPTED}


def test_what_was_not_compared_with_its_neighbours_is_not_called_best():
    """Ended after the first answers: they are handed on, and none of them is called converged."""
    with stopping.keep_on_interrupt() as stop:
        found, _ = searched(GRID.take(np.arange(8, 16)), tell=lambda share: stop.ask())
    assert set(found.best.status) == {Status.INTERRUPTED}
    feasible = found.best.constraint_error <= SETTINGS.constraint_tolerance
    assert feasible.any()


def test_a_slower_optimum_gives_way_to_that_of_a_neighbour(monkeypatch):
    """Off the wind one start leads one of these to a slower optimum. Solved each by itself it
    stays there; compared with the others it takes the better one over.
    """
    of = keelboat.grid(tws_kn=[12], twa_deg=[142, 144, 146, 148, 150, 152, 154])
    best = best_of_all_starts(keelboat.problem([BOAT], of))
    everywhere = np.ones(len(of), dtype=bool)
    monkeypatch.setattr(search, "starts_for", lambda problem: [(ATTACHED, everywhere)])
    monkeypatch.setattr(search, "CELL", 0.1)  # each is the middle of a cell
    worst = {}
    for what, rounds, opinions in (("apart", 0, 0), ("compared", 6, 0), ("second opinions", 0, 3)):
        monkeypatch.setattr(search, "ROUNDS", rounds)
        monkeypatch.setattr(search, "MORE_ROUNDS", 0)
        monkeypatch.setattr(search, "OPINIONS", opinions)
        found, _ = searched(of)
        worst[what] = ((found.best.objective - best) / np.abs(best)).max()
    assert worst["apart"] > 1e-3
    assert worst["compared"] <= SAME
    assert worst["second opinions"] <= SAME


def test_no_neighbour_of_a_dense_row_leads_to_a_faster_answer():
    """Neither by following nor by the interior point from where the one before or after it stands. At 153 deg
    two optima less than a step's length apart change places.
    """
    boat = keelboat.base()
    of = keelboat.grid(tws_kn=[8], twa_deg=np.arange(145.0, 165.0, 0.5))
    found, problem = searched(of, boats=[boat])
    best = found.best
    for step in (1, -1):
        to = np.arange(len(of))[max(step, 0) : len(of) + min(step, 0)]
        again = minimise(
            Cases(problem, to), best.x[:, to - step], settings=replace(SETTINGS, initial_barrier=1e-5)
        )
        objective = np.where(again.status == Status.CONVERGED, again.objective, np.inf)
        assert ((best.objective[to] - objective) / np.abs(best.objective[to])).max() <= 2e-4


@pytest.mark.parametrize(("asked", "looks"), [(1, [0]), (3, [0, 1, 2]), (4, [])])
def test_what_has_no_answer_and_few_asked_for_beside_it_is_looked_for_all_over(monkeypatch, asked, looks):
    """These, or what else is near, of the row of a best VMG, may lead it to no answer where it has one."""
    looked = []

    def recorded(problem, cases):
        looked.extend(cases)
        return starts.scattered_states(problem, cases)

    monkeypatch.setattr(search, "scattered_states", recorded)
    # too near to the wind to be sailed
    found, _ = searched(keelboat.conditions(tws_kn=10.0, twa_deg=[11.0, 12.0, 13.0, 14.0]), asked=asked)
    assert found.best.status[0] == Status.NO_EQUILIBRIUM
    assert sorted(looked) == looks


def test_of_boats_in_one_wind_the_first_is_looked_for_all_over(monkeypatch):
    looked = []

    def recorded(problem, cases):
        looked.extend(cases)
        return starts.scattered_states(problem, cases)

    monkeypatch.setattr(search, "scattered_states", recorded)
    of = keelboat.conditions(tws_kn=10.0, twa_deg=[11.0, 11.0, 13.0], option=[0, 1, 1])
    found, _ = searched(of, boats=(BOAT, BOAT))
    assert set(found.best.status) == {Status.NO_EQUILIBRIUM}
    assert set(looked) == {0, 2}
