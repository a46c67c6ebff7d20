"""What one more unit buys, by the multipliers of one condition, against solving again."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import vpp
from tests.support import keelboat
from vpp import equilibrium, fleets, wardrobe
from vpp.boat import Boat
from vpp.config import BoatFile, BoatFileError
from vpp.config.movable import Key, MovableKeys
from vpp.levers import Lever, Levers, NoLevers, _Optimum, levers, practical_step
from vpp.results.variables import KNOT
from vpp.solved import Conditions, Solved
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Settings
from vpp.solver.status import Status
from vpp.trim import SCALES, FastestEquilibrium, fleets_on, freedom
from vpp.wardrobe import made_good

CONFIGS = Path(__file__).parents[2] / "configs"
# Central differences are taken over this share of the practical step.
SHARE = 0.1
# The accuracy that is promised where the same limits hold.
WITHIN = 0.01


@cache
def boat_file(name: str) -> BoatFile:
    return vpp.load(CONFIGS / f"{name}.toml")


# Where each boat is looked at. The skiff has company, beside which one best VMG is found sooner.
WINDS: dict[str, tuple[tuple[float, float | str], ...]] = {
    "keelboat": ((12.0, "upwind"), (9.0, "downwind"), (24.0, 60.0)),
    "foiling_monohull": ((14.0, "upwind"),),
    "skiff": ((12.0, "upwind"), (13.0, "upwind")),
}


@cache
def all_solved(name: str) -> Solved:
    """The boat in all of its winds."""
    at_best = [isinstance(angle, str) for _, angle in WINDS[name]]
    asked = keelboat.conditions(
        tws_kn=[wind for wind, _ in WINDS[name]],
        twa_deg=[np.nan if best else angle for best, (_, angle) in zip(at_best, WINDS[name], strict=True)],
        aim=np.array(
            [angle if best else "speed" for best, (_, angle) in zip(at_best, WINDS[name], strict=True)]
        ),
    )
    solved = wardrobe.solve((boat_file(name).boat("base"),), asked)
    assert not solved.status.any(), solved.reason
    return solved


def solved_at(name: str, tws_kn: float, twa_deg: float | str) -> tuple[Solved, int]:
    return all_solved(name), WINDS[name].index((tws_kn, twa_deg))


def levers_at(name: str, *wind: float | str, **asked: Any) -> Levers:
    solved, place = solved_at(name, *wind)  # type: ignore[arg-type]
    return levers(boat_file(name), solved, place=place, **asked)


@cache
def found(name: str, tws_kn: float, twa_deg: float | str) -> Levers:
    return levers_at(name, tws_kn, twa_deg)


def moved_both_ways(
    name: str, solved: Solved, place: int, keys: tuple[str, ...]
) -> tuple[list[Boat], Conditions, list[float]]:
    """Boats with a little more and a little less of each key in the condition of a place, and those steps."""
    movable = MovableKeys(boat_file(name), "base")
    steps = [SHARE * practical_step(movable.keys[key]) for key in keys]
    boats = [
        movable.moved(key, side * step) for key, step in zip(keys, steps, strict=True) for side in (1.0, -1.0)
    ]
    if solved.sail_set[place]:
        boats = [boat.wearing(str(solved.sail_set[place])) for boat in boats]
    asked = solved.conditions.take(np.full(len(boats), place))
    return boats, replace(asked, option=np.arange(len(boats))), steps


def slopes_of(speed_kn: np.ndarray, keys: tuple[str, ...], steps: list[float]) -> dict[str, float]:
    more, less = speed_kn.reshape(-1, 2).T
    return dict(zip(keys, ((more - less) / (2.0 * np.array(steps))).tolist(), strict=True))


def solved_again(name: str, solved: Solved, place: int, keys: tuple[str, ...]) -> dict[str, float]:
    """Knots a unit by solving boats with a little more and a little less of each key from scratch."""
    boats, conditions, steps = moved_both_ways(name, solved, place, keys)
    again = equilibrium.solve(boats, conditions, branches=(str(solved.branch[place]),))
    return slopes_of(made_good(again) / KNOT, keys, steps)


def improved_again(name: str, solved: Solved, place: int, keys: tuple[str, ...]) -> dict[str, float]:
    """The same by finding optima anew from that of the boat itself, which takes much less time."""
    boats, conditions, steps = moved_both_ways(name, solved, place, keys)
    branch = str(solved.branch[place])
    (fleet,) = fleets_on(boats, (branch,))
    problem = FastestEquilibrium(fleet, freedom(boats, branch), conditions)
    start = _Optimum(MovableKeys(boat_file(name), "base"), solved, place).x
    again = minimise(problem, np.repeat(start, len(boats), axis=1), settings=Settings(initial_barrier=1e-4))
    assert (again.status == Status.CONVERGED).all()
    return slopes_of(-again.objective * SCALES["boat_speed"] / KNOT, keys, steps)


KEELBOAT = (
    "crew.mass_kg", "crew.drag_area_m2", "crew.arm_max_m", "mass.keel.mass_kg", "mass.interior.mass_kg",
    "sail.main.head_height_m", "sail.jib.foot_height_m", "sail.jib.chord_m", "fin.keel.span_m",
    "rig.mast_diameter_m", "windage.topsides.frontal_area_m2", "hull.waterline_length_m", "mass.keel.z_m",
)  # fmt: skip


@pytest.mark.parametrize(
    ("name", "wind", "keys"),
    [
        ("keelboat", (12.0, "upwind"), KEELBOAT),
        ("keelboat", (9.0, "downwind"), ("mass.keel.mass_kg", "sail.main.head_height_m", "fin.keel.span_m")),
        # at the limit of heel
        ("keelboat", (24.0, 60.0), (*KEELBOAT, "margins.heel_deg")),
        (
            "foiling_monohull",
            (14.0, "upwind"),
            (
                "crew.mass_kg", "foil.foil.arm_length_m", "foil.foil.cant_min_deg", "margins.immersion_m",
            ),
        ),
        (
            "skiff",
            (12.0, "upwind"),
            ("crew.arm_max_m", "fin.board.span_m"),
        ),
    ],
)  # fmt: skip
def test_levers_are_what_solving_again_gives(
    name: str, wind: tuple[float, float | str], keys: tuple[str, ...]
) -> None:
    # Source: the envelope theorem, against central differences of optima, the keelboat's found from scratch
    by_multipliers = levers_at(name, *wind, keys=keys)
    solve_again = solved_again if name == "keelboat" else improved_again
    again = solve_again(name, *solved_at(name, *wind), keys)
    for key in keys:
        lever = by_multipliers[key]
        # what is left of the solver's tolerance in two speeds, over the step
        noise = 2e-6 / (SHARE * lever.step)
        assert lever.gain_kn == pytest.approx(again[key], rel=WITHIN, abs=noise), key


def test_the_multipliers_are_the_solvers_own() -> None:
    optimum = _Optimum(MovableKeys(boat_file("keelboat"), "base"), *solved_at("keelboat", 24.0, 60.0))
    own = minimise(optimum.problem, optimum.x, settings=Settings(initial_barrier=1e-4))
    assert own.status[0] == Status.CONVERGED
    assert optimum.multipliers == pytest.approx(own.multipliers[:, 0], abs=1e-5)
    assert optimum.at_upper == pytest.approx(own.upper_multipliers[:, 0], abs=1e-5)
    assert optimum.at_lower == pytest.approx(own.lower_multipliers[:, 0], abs=1e-5)


def test_the_state_is_read_off_a_result_whole() -> None:
    # under six equations, with trims read off the strips
    optimum = _Optimum(
        MovableKeys(boat_file("foiling_monohull"), "base"), *solved_at("foiling_monohull", 14.0, "upwind")
    )
    equations = optimum.constraints[: optimum.problem.equality_count]
    assert np.abs(equations).max() < 1e-7


def test_signs_of_levers_of_the_balance() -> None:
    # common practice, no source: drag is slow, and upwind righting moment and free side force are fast
    of = found("keelboat", 12.0, "upwind")
    assert of["drag_n"].gain_kn < 0.0
    assert of["righting_moment_nm"].gain_kn > 0.0
    assert of["side_force_n"].gain_kn > 0.0
    assert of["mast_drag_area_m2"].gain_kn < 0.0
    assert of["mass_at_masthead_kg"].gain_kn < of["mass_at_centre_kg"].gain_kn < 0.0


def test_a_limit_that_does_not_hold_buys_nothing() -> None:
    assert found("keelboat", 12.0, "upwind")["margins.heel_deg"].gain_kn == 0.0
    assert found("keelboat", 24.0, 60.0)["margins.heel_deg"].gain_kn > 0.0


def test_a_limit_let_go_within_the_step_is_solved_again_on_either_side() -> None:
    lever = levers_at("keelboat", 24.0, 60.0, keys=["margins.heel_deg"])["margins.heel_deg"]
    assert not lever.is_stable
    assert "solved again" in lever.remark
    # more room for heel gains less and less
    assert 0.0 <= lever.gain_up_kn < lever.gain_kn < lever.gain_down_kn


def test_what_the_boat_file_allows_one_way_is_told_one_way() -> None:
    lever = found("keelboat", 12.0, "upwind")["sail.jib.foot_extension_m"]
    assert lever.value == 0.0
    assert math.isfinite(lever.gain_up_kn)
    assert math.isnan(lever.gain_down_kn)


def test_the_strongest_are_ranked_by_a_practical_step_and_are_choices() -> None:
    strongest = found("keelboat", 12.0, "upwind").strongest()
    worth = [abs(lever.step_gain_kn) for lever in strongest]
    assert len(strongest) == 10
    assert worth == sorted(worth, reverse=True)
    assert all(lever.is_choice for lever in strongest)
    assert not {"environment", "sea", "calibration"} & {lever.name.split(".")[0] for lever in strongest}


def test_practical_steps_follow_unit_and_size() -> None:
    def step(name: str, value: float, unit: str) -> float:
        return practical_step(Key(name=name, value=value, unit=unit, description=""))

    assert step("margins.heel_deg", 25.0, "deg") == 1.0
    assert step("fin.keel.span_m", 1.5, "m") == 0.1
    assert step("rig.mast_diameter_m", 0.12, "m") == pytest.approx(0.012)
    assert step("mass.keel.x_m", 0.02, "m") == 0.1
    assert step("mass.rudder.mass_kg", 45.0, "kg") == pytest.approx(4.5)
    assert step("hull.canoe_volume_m3", 5.4, "m³") == pytest.approx(0.054)
    assert step("hull.form_factor", 0.0, "") > 0.0


def test_a_frame_has_a_row_for_each_lever_with_units() -> None:
    of = found("keelboat", 12.0, "upwind")
    frame = of.to_frame()
    assert len(frame) == len(of.found)
    assert {"gain_kn_per_unit", "unit", "step_gain_kn"} <= set(frame.columns)
    assert frame["tws_kn"].unique() == pytest.approx([12.0])


def test_keys_that_cannot_be_moved_are_refused_with_a_reason() -> None:
    with pytest.raises(BoatFileError, match="no such lever"):
        levers_at("keelboat", 12.0, "upwind", keys=["crew.mas_kg"])
    with pytest.raises(BoatFileError, match="none of it"):
        levers_at("keelboat", 12.0, "upwind", keys=["fin.keel.offset_y_m"])


def test_a_condition_without_a_result_has_no_levers() -> None:
    solved, place = solved_at("keelboat", 12.0, "upwind")
    reason = np.full(len(solved.status), "No equilibrium: invented.", dtype=object)
    failed = replace(solved, status=np.full_like(solved.status, Status.NO_EQUILIBRIUM), reason=reason)
    with pytest.raises(NoLevers, match="without a result: No equilibrium: invented"):
        levers(boat_file("keelboat"), failed, place=place)


def test_a_step_is_worth_the_stronger_side() -> None:
    lever = Lever(
        name="x", kind="key", value=1.0, unit="m", description="", gain_kn=2.0, gain_up_kn=1.0,
        gain_down_kn=3.0, step=0.5, is_stable=False,
    )  # fmt: skip
    assert lever.step_gain_kn == 1.5


def test_held_water_line_and_sinking_make_up_the_boat_afloat() -> None:
    movable = MovableKeys(boat_file("keelboat"), "base")
    held, short = movable.held("mass.keel.mass_kg", 10.0)
    assert short == pytest.approx(10.0 / held.environment.water_density, rel=1e-9)
    assert held.hull == movable.boat.hull
    assert fleets.layout(held) == fleets.layout(movable.boat)


def test_a_step_that_the_boat_file_does_not_allow_whole_is_told() -> None:
    # two centimetres are left between the deck and the jib
    lever = levers_at("foiling_monohull", 14.0, "upwind", keys=["rig.deck_height_m"])["rig.deck_height_m"]
    assert lever.remark == "The boat file does not allow a whole step more."


def test_dimensions_that_change_the_waves_of_a_hull_can_be_left_to_be_asked_for() -> None:
    without = levers_at("foiling_monohull", 14.0, "upwind", hull_waves=False)
    assert "by name" in without.left_out["hull.waterline_length_m"]
    # friction is none of the waves, and the hull out of the water has none
    assert without["hull.roughness_mm"].gain_kn == 0.0


def test_levers_of_another_option_and_sail_set_are_of_that_boat() -> None:
    file = boat_file("keelboat_sails")
    at = vpp.point(file, tws_kn=10.0, twa_deg=90.0, option=file.boats[-1].name)
    of = levers(file, at)
    assert (of.option, of.sail_set) == (file.boats[-1].name, at.values["sail_set"])
    assert of["crew.drag_area_m2"].gain_kn != 0.0
