"""A sail of cloth is filled from its windward side, or it is no sail: the limit on what presses it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.support import keelboat
from vpp import balance, trim
from vpp.boat import Boat, Range, SectionGeometry
from vpp.equilibrium import solve
from vpp.physics.sails import from_wind_axes
from vpp.reporting import EMPTY, SAIL_LIMIT
from vpp.results.variables import DEGREE
from vpp.solved import Solved
from vpp.solver.status import Status

TWO_WINDS = keelboat.conditions(tws_kn=[8.0, 16.0], twa_deg=60.0)
ASKED = keelboat.conditions(tws_kn=[12.0], twa_deg=[50.0])


def with_jib_eased(least_sheet_deg: float, *, section: SectionGeometry | None = None) -> Boat:
    """A keelboat whose jib cannot be sheeted in further."""
    boat = keelboat.coarse(keelboat.base())
    main, fore = boat.sails
    eased = replace(fore, sheet=Range(lower=least_sheet_deg * DEGREE, upper=90.0 * DEGREE), section=section)
    return replace(boat, sails=(main, eased))


def pushes(problem: trim.FastestEquilibrium, x: keelboat.Floats) -> np.ndarray:
    """What fills each sail in a state, N."""
    cases = np.arange(problem.condition_count)
    values = problem.named(x, cases)
    components, _ = problem.loads(values, cases)
    return np.array(balance.sail_pushes(problem.layout, components, trim.state_from(values, problem.layout)))


@pytest.fixture(scope="module")
def eased() -> Solved:
    """Jibs that cannot be sheeted in further than to 40, 60 and 65 deg, solved together."""
    boats = [with_jib_eased(angle) for angle in (40.0, 60.0, 65.0)]
    return solve(boats, keelboat.conditions(tws_kn=12.0, twa_deg=50.0, option=[0, 1, 2]))


def pushed_by_strips(solved: Solved, sail: str, place: int = 0) -> float:
    """The same from the strips of a result, added up one by one."""
    angle = float(solved.quantities[f"{sail}_sheet"][place] + 0.5 * solved.quantities[f"{sail}_twist"][place])
    strips = solved.strips
    return sum(
        float(strips.forward[i, place] * np.sin(angle) + strips.leeward[i, place] * np.cos(angle))
        for i, name in enumerate(strips.sail)
        if name == sail
    )


def test_what_fills_a_sail_is_its_strips_force_normal_to_its_chord() -> None:
    problem = keelboat.problem([keelboat.coarse(keelboat.base())], TWO_WINDS)
    x, cases = keelboat.random_states(problem, seed=4), np.arange(2)
    values = problem.named(x, cases)
    boats, wake = problem.of(cases)
    flow, loads = balance.strips(
        fleet_layout=problem.layout,
        boats=boats,
        wake=wake,
        wind=problem.wind(values, cases),
        state=trim.state_from(values, problem.layout),
    )
    forward, normal = from_wind_axes(along=loads.along, across=loads.across, wind_angle=flow.wind_angle)
    expected = []
    for name, strips in zip(problem.layout.sails, problem.layout.slices, strict=True):
        angle = values[f"{name}_sheet"] + 0.5 * values[f"{name}_twist"]
        expected.append((forward[strips] * np.sin(angle) + normal[strips] * np.cos(angle)).sum(axis=0))
    np.testing.assert_allclose(pushes(problem, x), expected, rtol=1e-10)


def test_the_limits_are_what_fills_the_sails_over_the_scale_of_the_rigs_force() -> None:
    problem = keelboat.problem([keelboat.coarse(keelboat.base())], TWO_WINDS)
    x = keelboat.random_states(problem, seed=3)
    limits = problem.values(x, np.arange(2)).constraints[problem.equality_count :]
    np.testing.assert_allclose(limits, pushes(problem, x) / problem.residual_scale[0], rtol=1e-12)


def test_a_jib_that_is_eased_past_filling_is_said_to_be_one_to_lower(eased: Solved) -> None:
    """Without the limit the jib would stand further to leeward of the wind and push to windward."""
    free, held = 0, 1
    assert eased.status[free] == eased.status[held] == Status.CONVERGED
    assert pushed_by_strips(eased, "jib", free) > 50.0
    assert eased.remark[free] == ""
    assert eased.remark[held] == EMPTY.format(sail="jib")
    assert pushed_by_strips(eased, "jib", held) == pytest.approx(0.0, abs=0.01)


def test_where_no_trim_fills_a_sail_there_is_no_equilibrium_and_the_reason_names_it(eased: Solved) -> None:
    assert eased.status[2] == Status.NO_EQUILIBRIUM
    assert eased.reason[2] == SAIL_LIMIT


def test_a_solid_sail_may_be_pressed_from_either_side() -> None:
    wing = SectionGeometry(kind="solid", thickness_share=0.12)
    found = solve([with_jib_eased(65.0, section=wing)], ASKED)
    assert found.status[0] == Status.CONVERGED
    assert pushed_by_strips(found, "jib") < -10.0
    assert EMPTY.format(sail="jib") not in found.remark[0]
