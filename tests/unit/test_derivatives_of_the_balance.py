"""First and second derivatives of the whole balance against differences: every demo boat with all its options
under every sail set, calibrated or not, on flat water and in waves, on the hull and on foils, at fixed wind
angles and at the best VMG.

`tests/support/differences.py` says what an error is held against.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.support import differences
from tests.support.differences import Group
from vpp import config, fleets, trim
from vpp.physics import lifting_line
from vpp.solved import FOIL_BORNE

Floats = NDArray[np.float64]
States = Callable[..., Floats]

# Strips on every sail: the derivatives of a rig of few are made by the same code.
STATIONS = 5
# Of a group of like boats so many are looked at, spread over it; the figures of the theory page are of all.
MOST = 3
# Groups about whose optima the derivatives are checked too: one of each kind of hull and way of going.
OPTIMA = (
    "keelboat / base, hull-borne, best VMG",
    "keelboat_water / by_resistance_table, hull-borne, speed",
    "keelboat_sails / offwind / offwind, hull-borne, speed",
    "catamaran / mast_held, hull-borne, speed",
    "skiff / base / main_and_jib, hull-borne, speed",
    "foiling_rigs / three_zones, hull-borne, best VMG",
    "foiling_rigs / three_zones, foil-borne, speed",
)
GROUPS = {group.name: group for group in differences.groups(STATIONS)}


@pytest.fixture(autouse=True)
def _flow_without_noise(monkeypatch: pytest.MonkeyPatch) -> None:
    """The sails' circulation found by the size of the step alone, which leaves its square, not 1e-11."""
    monkeypatch.setattr(lifting_line, "MISS_TOLERANCE", 0.0)


def _check(group: Group, states: States, *, most: int, seed: int) -> None:
    problem = differences.problem(group, most=most)
    x = states(problem, seed=seed)
    # where strips stand at their stall with the sail aback, the flow is not found at every point
    cases = differences.with_flow_around(problem, x)
    assert len(cases) >= max(problem.condition_count - 1, 1)
    faults = differences.account(problem, x[:, cases], cases, seed=seed).faults()
    assert not faults, f"{len(faults)} in rows of {problem.names}: {faults[:5]}"


@pytest.mark.parametrize("name", GROUPS)
def test_derivatives_anywhere_within_the_bounds(name: str) -> None:
    _check(GROUPS[name], differences.random_states, most=MOST, seed=11)


@pytest.mark.parametrize("name", GROUPS)
def test_derivatives_where_a_search_goes(name: str) -> None:
    _check(GROUPS[name], differences.states_near_the_start, most=MOST, seed=12)


@pytest.mark.parametrize("name", OPTIMA)
def test_derivatives_about_the_optimum(name: str) -> None:
    _check(GROUPS[name], differences.states_near_the_optimum, most=1, seed=13)


def test_every_layout_branch_and_aim_of_the_demo_boats_is_among_them() -> None:
    found = {(fleets.layout(g.boats[0]), g.branch, g.seeks_vmg) for g in GROUPS.values()}
    for _, boat in differences.demo_boats(STATIONS):
        for branch in trim.branches_of(boat):
            assert {(fleets.layout(boat), branch, seeks_vmg) for seeks_vmg in (False, True)} <= found


def test_seas_calibration_and_sail_sets_are_among_them() -> None:
    named = differences.demo_boats(STATIONS)
    boats = [boat for _, boat in named]
    assert {boat.sea.model for boat in boats} == {"flat", "given", "wind_sea"}
    assert {bool(boat.calibration.text) for boat in boats} == {True, False}
    for path in differences.CONFIGS:
        for boat in config.load(path).boats:
            for sail_set in boat.sail_sets:
                assert any(name == f"{path.stem} / {boat.name} / {sail_set.name}" for name, _ in named)
    assert any(FOIL_BORNE in trim.branches_of(boat) and boat.sea.model == "given" for boat in boats)


@pytest.mark.parametrize("part", ["gradient", "jacobian", "hessian"])
def test_a_millionth_too_much_of_a_derivative_is_noticed(part: str, spoil: Callable[[str], None]) -> None:
    problem = differences.problem(GROUPS["keelboat / base, hull-borne, best VMG"], most=1)
    x, cases = differences.states_near_the_start(problem, seed=14), np.arange(1)
    assert not differences.account(problem, x, cases, seed=14).faults()
    spoil(part)
    assert differences.account(problem, x, cases, seed=14).faults()


@pytest.fixture
def spoil(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Make one of the derivatives a millionth too large."""

    def by(part: str) -> None:
        honest = trim.FastestEquilibrium.derivatives

        def spoilt(self, *arguments):
            found = honest(self, *arguments)
            return replace(found, **{part: getattr(found, part) * (1.0 + 1e-6)})

        monkeypatch.setattr(trim.FastestEquilibrium, "derivatives", spoilt)

    return by
