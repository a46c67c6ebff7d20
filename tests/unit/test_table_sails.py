"""A boat with a sail from a table: solved, closed, reported, and refused where the table ends."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest

from tests.support import keelboat
from vpp import balance, config, equilibrium, fleets, trim
from vpp.boat import Boat, Range
from vpp.results.frames import budget_frame, failures, to_frame
from vpp.solved import Solved
from vpp.solver.status import Status
from vpp.stability import effort_height
from vpp.state import Load

SAILS = keelboat.FILE.with_name("keelboat_sails.toml")

TWA = (65.0, 90.0, 125.0, 165.0)


@cache
def boat() -> Boat:
    """The demo boat's main by strips and its large sail from a table."""
    dressed = config.load(SAILS).boat("offwind").wearing("offwind")
    return keelboat.coarse(dressed, 6)


@cache
def solved() -> Solved:
    return equilibrium.solve([boat()], keelboat.conditions(tws_kn=11.0, twa_deg=list(TWA)))


def component(found: Solved, name: str) -> tuple[keelboat.Floats, keelboat.Floats]:
    row = found.components.index(name)
    return found.force[row], found.moment[row]


def test_solved_and_closed() -> None:
    found = solved()
    assert list(found.status) == [Status.CONVERGED] * len(TWA)
    assert np.all(found.closure < 1e-9)


def test_the_sail_stands_among_the_forces_of_the_air() -> None:
    found = solved()
    at = found.components.index("offwind_sail")
    assert found.medium[at] == "air"
    air = np.array([medium == "air" for medium in found.medium])
    assert found.quantities["drive"] == pytest.approx(found.force[air, 0].sum(axis=0), rel=1e-12)
    assert np.all(component(found, "offwind_sail")[0][0] > 100.0)
    budget = budget_frame(found)
    assert "offwind_sail" in set(budget["component"])


def test_the_centre_of_effort_is_that_of_all_sails() -> None:
    """Moments by hand: side force normal to the mast, times its height."""
    found, strips = solved(), solved().strips
    at = strips.sail.index("offwind_sail")
    assert strips.sail.count("offwind_sail") == 1
    assert strips.height[at] == pytest.approx(boat().table_sails[0].centre_height)
    assert strips.width[at] == pytest.approx(13.0)
    of_main = np.array([name == "main" for name in strips.sail])
    side, moment = strips.leeward[at].copy(), strips.leeward[at] * strips.height[at]
    side += strips.leeward[of_main].sum(axis=0)
    moment += (strips.leeward * strips.height)[of_main].sum(axis=0)
    assert found.quantities["ce_height"] == pytest.approx(moment / side, rel=1e-12)


def test_its_moment_is_that_of_its_force_at_its_centre() -> None:
    """Lever arms by hand, in the axes of the course, for the boat heeled and making leeway."""
    found, sail = solved(), boat().table_sails[0]
    heel, leeway = found.quantities["heel"], found.quantities["leeway"]
    force, moment = component(found, "offwind_sail")
    ahead = sail.centre_x * np.cos(leeway) + sail.centre_height * np.sin(heel) * np.sin(leeway)
    aside = -sail.centre_x * np.sin(leeway) + sail.centre_height * np.sin(heel) * np.cos(leeway)
    place = np.array([ahead, aside, sail.centre_height * np.cos(heel)])
    np.testing.assert_allclose(moment, np.cross(place, force, axis=0), rtol=1e-9, atol=1e-6)


def test_results_name_its_power_and_say_what_is_left_out() -> None:
    table = to_frame(solved())
    power = table["table_sail_power_percent"]
    assert power.between(40.0, 100.0).all()
    assert power[1:3].to_numpy() == pytest.approx(100.0, abs=0.01)
    assert table["remark"].str.contains("offwind_sail and the other sails do not feel each other").all()
    assert table["jib_sheet_deg"].isna().all()
    base = to_frame(
        equilibrium.solve(
            [keelboat.coarse(keelboat.base(), 6)], keelboat.conditions(tws_kn=11.0, twa_deg=90.0)
        )
    )
    assert base["table_sail_power_percent"].isna().all()
    assert not base["remark"].str.contains("feel").any()


def test_mixed_sails_do_not_feel_each_other() -> None:
    """In one state, each has the force that it has without the other."""
    both, count = boat(), 3
    alone = replace(both, table_sails=()), replace(both, sails=())
    values = {
        name: np.full(count, 0.5 * (bound.lower + bound.upper))
        for name, bound in trim.ranges(both, "hull-borne").items()
    }
    values |= {
        "boat_speed": np.full(count, 3.0),
        "heel": np.full(count, 0.2),
        "main_sheet": np.array([0.4, 0.7, 1.2]),
    }
    angle = np.array([1.4, 1.9, 2.6])

    def loads(of: Boat) -> dict[str, Load]:
        fleet = fleets.fleet([of])
        arrays, wake = fleet.select(np.zeros(count, dtype=np.intp))
        wind = balance.true_wind(boats=arrays, tws=np.full(count, 6.0), twa=angle)
        state = trim.state_from(values, fleet.layout)
        parts = balance.loads(
            fleet_layout=fleet.layout, boats=arrays, wake=wake, wind=wind, state=state, at_work=()
        )
        return {part.name: part.load for part in parts}

    together = loads(both)
    for name, other in zip(("main", "offwind_sail"), alone, strict=True):
        found = loads(other)[name]
        for axis in fields(Load):
            np.testing.assert_array_equal(getattr(found, axis.name), getattr(together[name], axis.name))


def test_power_is_taken_back_at_the_heel_limit() -> None:
    found = equilibrium.solve([boat()], keelboat.conditions(tws_kn=17.0, twa_deg=70.0))
    assert found.status[0] == Status.CONVERGED
    assert found.quantities["heel"][0] == pytest.approx(np.radians(25.0), abs=1e-4)
    assert 0.45 < found.quantities["table_sail_power"][0] < 0.9
    assert "heel limit" in found.remark[0]
    assert found.closure[0] < 1e-9


def test_wind_from_outside_the_table_is_no_result() -> None:
    found = equilibrium.solve([boat()], keelboat.conditions(tws_kn=11.0, twa_deg=[42.0, 90.0]))
    assert list(found.status) == [Status.OUTSIDE_MODEL_RANGE, Status.CONVERGED]
    assert found.reason[0] == (
        "The apparent wind comes to offwind_sail from outside the 30 to 190 deg of its table, where nothing "
        "is known of the sail; try another true wind angle, or other sails."
    )
    assert np.isnan(found.quantities["boat_speed"][0])
    assert list(failures(found)["status"]) == ["outside_model_range"]


def test_a_table_that_ends_before_the_run_ends_there() -> None:
    """The same sail known to 150 deg of apparent wind alone: reaching is as before, running is refused."""
    whole = boat().table_sails[0]
    known = tuple(angle for angle in whole.wind_angle if angle < np.radians(151.0))
    short = replace(
        whole,
        wind_angle=known,
        lift_coefficient=whole.lift_coefficient[: len(known)],
        drag_coefficient=whole.drag_coefficient[: len(known)],
    )
    options = [boat(), replace(boat(), name="short", table_sails=(short,))]
    found = equilibrium.solve(
        options, keelboat.conditions(tws_kn=11.0, twa_deg=[90.0, 90.0, 175.0], option=[0, 1, 1])
    )
    assert list(found.status) == [Status.CONVERGED, Status.CONVERGED, Status.OUTSIDE_MODEL_RANGE]
    # one row less bends the spline elsewhere, and the less the farther away
    assert found.quantities["boat_speed"][1] == pytest.approx(found.quantities["boat_speed"][0], rel=1e-4)
    assert "outside the 30 to 150 deg of its table" in found.reason[2]


def test_a_boat_whose_sails_all_come_from_tables() -> None:
    alone = replace(boat(), sails=())
    found = equilibrium.solve([alone], keelboat.conditions(tws_kn=11.0, twa_deg=[90.0, 150.0]))
    assert list(found.status) == [Status.CONVERGED] * 2
    assert np.all(found.closure < 1e-9)
    assert found.strips.sail == ("offwind_sail",)
    assert "feel" not in found.remark[0]


def test_derivatives_of_the_whole_balance_by_power() -> None:
    """Against central differences of the residuals."""
    problem = keelboat.problem([boat()], keelboat.conditions(tws_kn=11.0, twa_deg=[80.0, 130.0]))
    assert problem.names.count("offwind_sail_power") == 1
    row = problem.names.index("offwind_sail_power")
    cases = np.arange(2)
    x = 0.5 * (problem.lower + problem.upper)
    x[problem.names.index("boat_speed")] = 0.7
    found = problem.derivatives(x, cases, np.ones((problem.equality_count + problem.inequality_count, 2)))
    up, down = x.copy(), x.copy()
    up[row] += 1e-5
    down[row] -= 1e-5
    difference = (problem.values(up, cases).constraints - problem.values(down, cases).constraints) / 2e-5
    np.testing.assert_allclose(found.jacobian[:, row], difference, atol=1e-8)


def test_a_power_that_is_set_is_not_trimmed() -> None:
    held = replace(boat().table_sails[0], power=Range(lower=1.0, upper=1.0))
    free = trim.freedom([replace(boat(), table_sails=(held,))])
    assert "offwind_sail_power" not in free.names
    assert list(free.fixed["offwind_sail_power"]) == [1.0]


def test_static_stability_takes_the_sails_force_at_the_centre_of_all_areas() -> None:
    main, sail = boat().sails[0], boat().table_sails[0]
    area = main.area + sail.area
    height = (main.area * main.area_centre_height + sail.area * sail.centre_height) / area
    assert effort_height(boat()) == pytest.approx(height, rel=1e-12)
