"""The solver can be trusted: small samples of the proofs in tests/trust, whose results docs/trust.md holds.

What must hold of them is what is asked of the whole: 99.9 % of the conditions that have an equilibrium
converge, answers are within 0.05 % of the best that independent optimisers find, and every jump along a walk
through the wind has a name.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from tests.support import bounded_least_squares, keelboat
from tests.support.in_step import SLSQP, TRUST_CONSTR, minimise_each
from tests.support.reference_search import search as scipy_search
from tests.trust import continuity, optimality, page, shared, trust
from tests.trust.shared import Kind
from vpp import equilibrium
from vpp.solved import SPEED, Conditions
from vpp.solver.status import Status

BASE = Kind(file="keelboat", option="base", sail_set="")
SAMPLE = (
    BASE,
    Kind(file="keelboat", option="small_jib", sail_set=""),
    Kind(file="keelboat", option="long_luff", sail_set=""),
)


@pytest.fixture(scope="module")
def rows() -> Sequence[shared.Row]:
    boats = [shared.drawn(kind, number) for kind in SAMPLE for number in range(2)]
    return trust.rows_of(boats, shared.conditions_of(len(boats), 6, (shared.SEED, 77)), (shared.SEED, 77), 1)


def test_every_condition_with_an_equilibrium_converges(rows) -> None:
    """Of those that converge, and those in which 20 random starts find an equilibrium that closes."""
    assert len(rows) == 36
    assert [row for row in rows if row["verdict"] in trust.LISTED] == []
    assert sum(row["verdict"] == trust.CONVERGED for row in rows) >= 24


def test_what_does_not_converge_is_refused_for_a_reason_that_holds(rows) -> None:
    refused = [row for row in rows if row["status"] != "converged"]
    assert refused
    assert all(row["reason"] for row in refused)
    empty = [row for row in refused if row["status"] == "no_equilibrium"]
    assert all(float(row["least_residual"]) > trust.CLEARLY for row in empty)


def test_a_converged_answer_meets_the_tolerances_evaluated_anew(rows) -> None:
    converged = [row for row in rows if row["status"] == "converged"]
    assert max(float(row["residual"]) for row in converged) <= 1e-8
    assert max(float(row["first_order"]) for row in converged) <= 1e-6


def test_no_answer_is_slower_than_independent_optimisers_find() -> None:
    boats = [shared.drawn(BASE, number) for number in range(2)]
    conditions = shared.conditions_of(2, 8, (shared.SEED, 78))
    found = optimality.rows_of(boats, conditions, 4, 3, 3, (shared.SEED, 78))
    assert len(found) == 4
    falls = np.array([float(row["shortfall_percent"]) for row in found])
    assert falls.max() <= optimality.MOST_WITHIN


@pytest.mark.parametrize(
    "conditions",
    [continuity.walk(angle=60.0, part=0.1), continuity.walk(wind=12.0, part=0.1)],
    ids=["wind by 0.1 kn", "angle by 0.5 deg"],
)
def test_every_jump_of_a_walk_has_a_name(conditions: Conditions) -> None:
    found = continuity.rows_of([BASE], conditions)
    assert int(found[-1]["solved"]) >= 0.8 * len(conditions)
    assert [row for row in found if row["jump"] in continuity.FAILURES] == []


def test_the_page_holds_the_results_of_the_proofs() -> None:
    text = page.PAGE.read_text(encoding="utf-8")
    assert page.filled(text) == text


# --- the instruments themselves -----------------------------------------------------------------------------


def test_a_jump_is_found_and_a_corner_is_none() -> None:
    """A series with a corner and, elsewhere, a step of ten floors: closed form."""
    at = np.arange(40.0)
    corner = 0.01 * at + 0.05 * np.maximum(at - 12.0, 0.0)
    assert continuity._excess(corner, "heel").max() <= 1.0
    step = corner + np.where(at > 29.5, 10.0 * continuity.FLOOR, 0.0)
    assert np.flatnonzero(continuity._excess(step, "heel") > 1.0).tolist() == [29]


def test_a_scaled_boat_keeps_its_form() -> None:
    """Lengths as the scale, masses and volumes as its cube, sail area as its square: exact geometry."""
    boat, _ = shared.made(BASE, scale=1.0, factors={})
    larger, used = shared.made(BASE, scale=1.2, factors={})
    assert used == {}
    assert boat == keelboat.base()
    assert larger.hull.waterline_length / boat.hull.waterline_length == pytest.approx(1.2)
    assert larger.total_mass / boat.total_mass == pytest.approx(1.2**3, rel=1e-9)
    assert larger.sails[0].area / boat.sails[0].area == pytest.approx(1.2**2, rel=1e-9)
    assert larger.hull.canoe_volume / boat.hull.canoe_volume == pytest.approx(1.2**3, rel=1e-6)


def test_drawn_boats_are_the_same_for_the_same_number() -> None:
    assert shared.drawn(BASE, 3).boat == shared.drawn(BASE, 3).boat
    assert shared.drawn(BASE, 3).boat != shared.drawn(BASE, 4).boat


def test_the_batched_search_ends_where_that_of_scipy_does() -> None:
    """One condition that has an equilibrium and one dead upwind in much wind that has none."""
    asked = keelboat.conditions(tws_kn=[12.0, 33.0], twa_deg=[90.0, 25.0])
    problem = shared.problem_of([keelboat.coarse(keelboat.base(), 6)], "hull-borne", asked)
    cases = np.repeat([0, 1], 10)
    start = np.concatenate([shared.random_starts(problem, case, 10, (1, case)) for case in (0, 1)], axis=1)
    residual = bounded_least_squares.search(problem, cases, start).residual
    assert residual[:10].min() <= 1e-10
    again = scipy_search(problem, 1, starts=2, seed=1).residual
    assert residual[10:].min() > trust.CLEARLY
    assert residual[10:].min() == pytest.approx(again, rel=0.2)


def test_optimisers_in_step_find_the_answer_again() -> None:
    boat = keelboat.coarse(keelboat.base(), 6)
    asked = keelboat.conditions(tws_kn=12.0, twa_deg=80.0)
    solved = equilibrium.solve([boat], asked)
    assert solved.status[0] == Status.CONVERGED
    problem = shared.problem_of([boat], "hull-borne", asked)
    start = keelboat.start(problem)
    ends = minimise_each(problem, [0, 0], np.repeat(start, 2, axis=1), [SLSQP, TRUST_CONSTR])
    speed = ends[problem.names.index("boat_speed")] * problem.scale[problem.names.index("boat_speed")]
    np.testing.assert_allclose(speed, solved.quantities["boat_speed"][0], rtol=1e-5)
    assert asked.aim[0] == SPEED
