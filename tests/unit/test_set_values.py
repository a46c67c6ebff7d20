"""What is set for a range: which value is chosen, and what it loses, by hand on invented results."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from tests.support import synthetic
from tests.support.coarse_files import without_sail_set
from vpp.boat import Boat
from vpp.compare import Comparison, compare
from vpp.config import load
from vpp.config.set_boats import set_boats, set_quantities
from vpp.polar import WindGridError
from vpp.results.variables import KNOT
from vpp.set_values import CANDIDATE_COLUMNS, REGRET_COLUMNS, VALUE_COLUMNS
from vpp.solved import Conditions, Solved
from vpp.solver.status import Status

CONFIGS = Path(__file__).parents[2] / "configs"

TANK = """
schema_version = 1
name = "Tank"
description = "The demo keelboat with a tank"
options_of = "keelboat.toml"
[[option]]
name = "tank"
says = "A tank"
[[option.add.mass]]
name = "tank"
mass_kg = 1.0
x_m = 0.0
z_m = 0.5
[[option.add.set]]
name = "water"
says = "Water"
{edges}
[option.add.set.values]
mass.tank.mass_kg = [1.0, 100.0, 200.0]
"""
STAY = """
[[option]]
name = "stay"
says = "A stay"
[[option.add.set]]
name = "stay"
says = "Length"
[option.add.set.values]
sail.jib.camber_trim_percent = [0.0, 50.0, 100.0]
"""
GRID = {"tws_kn": (6.0, 10.0, 14.0), "twa_deg": (60.0, 120.0)}


def water_of(boat: Boat) -> float:
    return next((mass.mass for mass in boat.masses if mass.name == "tank"), 0.0)


def speed_kn(boat: Boat, tws_kn: float, aim: str, twa_deg: float) -> float:
    """Water pays close to the wind above 10 kn and costs elsewhere; a flat jib pays in 14 kn."""
    close = aim == "upwind" or (aim == "speed" and twa_deg < 90.0)
    gain = 0.001 * (tws_kn - 10.0) if close else -0.0005
    jib = next(sail for sail in boat.sails if sail.name == "jib").camber
    fullness = 0.5 * (jib.lower + jib.upper) if jib.is_fixed else 1.0
    of_camber = -0.1 * (1.0 - fullness) if tws_kn < 12.0 else -0.02 * fullness
    if not jib.is_fixed:
        of_camber = 0.0
    return 5.0 + 0.1 * tws_kn + gain * water_of(boat) + of_camber


@pytest.fixture
def sailed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[..., Comparison]:
    """Compare a file beside the demo keelboat on invented speeds; `lacking` says which conditions fail."""
    for path in CONFIGS.iterdir():
        if path.is_file():
            (tmp_path / path.name).write_bytes(path.read_bytes())

    def run(
        text: str, *, lacking: Callable[[Boat, float, str], bool] = lambda *_: False, **grid: Any
    ) -> Comparison:
        def solve(boats: Sequence[Boat], conditions: Conditions, **_: Any) -> Solved:
            named = tuple(replace(boat, name="base") for boat in boats)
            found = synthetic.solve(named, conditions)
            aims, winds = conditions.aim, np.round(conditions.tws / KNOT, 6)
            angles = np.degrees(conditions.twa)
            speeds = [
                speed_kn(boats[option], wind, str(aim), angle) * KNOT
                for option, wind, aim, angle in zip(conditions.option, winds, aims, angles, strict=True)
            ]
            failed = [
                lacking(boats[option], wind, str(aim))
                for option, wind, aim in zip(conditions.option, winds, aims, strict=True)
            ]
            speed = np.where(failed, np.nan, speeds)
            sign = np.where(aims == "downwind", -1.0, 1.0)
            return replace(
                found,
                boats=tuple(boats),
                status=np.where(failed, int(Status.NO_EQUILIBRIUM), int(Status.CONVERGED)),
                quantities={**found.quantities, "boat_speed": speed, "vmg": sign * speed},
            )

        monkeypatch.setattr(importlib.import_module("vpp.polar"), "solve", solve)
        path = tmp_path / "tank.toml"
        path.write_text(text, encoding="utf-8")
        return compare(load(path), **{**GRID, **grid})

    return run


def chosen(comparison: Comparison, option: str = "tank") -> list[tuple[int, str]]:
    return [
        (each.range_index, each.text) for each in comparison.set_values().settings() if each.option == option
    ]


def test_one_value_for_every_wind_is_that_of_the_least_mean_loss(sailed: Callable[..., Comparison]) -> None:
    comparison = sailed(TANK.format(edges=""))
    # by hand: 200 kg lose 0.8 kn of 5.6 at 6 kn close to the wind, gain 0.8 kn of 6.4 at 14, and lose 0.1
    # elsewhere
    assert chosen(comparison) == [(0, "1 kg")]
    found = comparison.set_values()
    assert found.options == ("tank",)
    best = 6.4 + 0.004 * 200.0
    place = comparison.place("upwind")
    assert found.regret_kn("tank")[2, place] == pytest.approx(best - (6.4 + 0.004), abs=1e-12)
    assert found.regret_percent("tank")[2, place] == pytest.approx(100.0 * (0.796 / best), abs=1e-10)
    assert found.regret_kn("tank")[0] == pytest.approx(0.0, abs=1e-12)
    (setting,) = found.settings()
    assert setting.worst == (2, comparison.place(60.0))
    assert setting.worst_regret_kn == pytest.approx(0.796, abs=1e-12)
    assert setting.mean_regret_percent == pytest.approx(np.mean(found.regret_percent("tank")), abs=1e-12)
    assert np.isnan(setting.mean_lost_to_trim_percent)
    assert setting.is_at_end


def test_ranges_of_wind_and_angle_have_values_of_their_own(sailed: Callable[..., Comparison]) -> None:
    by_leg = sailed(
        TANK.format(edges="wind_edges_kn = [4.0, 12.0, 20.0]\ntwa_edges_deg = [0.0, 90.0, 180.0]")
    )
    # light close, light free, breeze close, breeze free
    assert chosen(by_leg) == [(0, "1 kg"), (1, "1 kg"), (2, "200 kg"), (3, "1 kg")]
    water = [water_of(by_leg.boat_at(1, 2, row)) for row in range(4)]
    assert water == [200.0, 1.0, 200.0, 1.0]
    made_good = by_leg.made_good()
    assert made_good[1, 2] == pytest.approx([7.2, 6.3995, 7.2, 6.3995], abs=1e-9)
    assert by_leg.gain_kn()[1, 2, by_leg.place("upwind")] == pytest.approx(0.8, abs=1e-9)


def test_an_edge_belongs_to_the_range_above_it_and_the_last_to_the_one_below() -> None:
    (quantity,) = set_quantities(load(CONFIGS / "tank_and_stay.toml"), ["stay_by_wind"])["stay_by_wind"]
    from vpp.config.set_tables import range_of

    edges = quantity.wind_edges_kn
    assert edges == (4.0, 9.0, 14.0, 24.0)
    assert [range_of(edges, wind) for wind in (4.0, 8.9, 9.0, 13.9, 14.0, 24.0)] == [0, 0, 1, 1, 2, 2]
    assert [range_of(edges, wind) for wind in (3.9, 24.1)] == [None, None]
    assert [quantity.range_text(index) for index in range(3)] == [
        "4 to below 9 kn", "9 to below 14 kn", "14 to 24 kn",
    ]  # fmt: skip


def test_winds_outside_all_ranges_are_refused(sailed: Callable[..., Comparison]) -> None:
    edges = "wind_edges_kn = [8.0, 12.0]\ntwa_edges_deg = [0.0, 100.0]"
    with pytest.raises(WindGridError) as refused:
        sailed(TANK.format(edges=edges))
    assert refused.value.problems == (
        "tws: 6, 14 kn outside the ranges of set.water, which run from 8 to 12 kn",
        "twa: 120 deg outside the ranges of set.water, which run from 0 to 100 deg",
    )


def test_a_value_that_cannot_sail_a_condition_is_left(sailed: Callable[..., Comparison]) -> None:
    def lacking(boat: Boat, tws_kn: float, aim: str) -> bool:
        return water_of(boat) == 1.0 and tws_kn == 6.0 and aim == "downwind"

    comparison = sailed(TANK.format(edges=""), lacking=lacking)
    assert chosen(comparison) == [(0, "100 kg")]
    # where none can, the condition has no result and the others decide

    def none_can(boat: Boat, tws_kn: float, aim: str) -> bool:
        return water_of(boat) > 0.0 and tws_kn == 6.0 and aim == "downwind"

    comparison = sailed(TANK.format(edges=""), lacking=none_can)
    assert chosen(comparison) == [(0, "1 kg")]
    (setting,) = comparison.set_values().settings()
    assert (setting.condition_count, setting.unsailed_count) == (11, 0)
    assert np.isnan(comparison.gain_kn()[1, 0, comparison.place("downwind")])
    # where each value lacks something, the one that lacks least is taken and what it lacks is counted

    def each_lacks(boat: Boat, tws_kn: float, aim: str) -> bool:
        water = water_of(boat)
        return (water == 1.0 and tws_kn == 6.0) or (water > 1.0 and aim == "downwind" and tws_kn > 6.0)

    (setting,) = sailed(TANK.format(edges=""), lacking=each_lacks).set_values().settings()
    assert (setting.text, setting.unsailed_count) == ("100 kg", 2)


def test_a_control_that_is_set_is_held_and_compared_with_free_trim(
    sailed: Callable[..., Comparison],
) -> None:
    comparison = sailed(TANK.format(edges="") + STAY)
    found = comparison.set_values()
    boats = set_boats(load_of(comparison), ["stay"])["stay"]
    jibs = [next(sail for sail in boat.sails if sail.name == "jib").camber for boat in boats.held]
    assert [(jib.lower, jib.upper) for jib in jibs] == [(0.0, 0.0), (0.5, 0.5), (1.0, 1.0)]
    assert [boat.sails[1].camber.is_fixed for boat in boats.free] == [False]
    # full: nothing lost at 6 and 10 kn, 0.02 kn at 14 kn; the invented free trim loses nothing anywhere
    assert chosen(comparison, "stay") == [(0, "100 %")]
    assert found.regret_kn("stay")[:, 0] == pytest.approx([0.0, 0.0, 0.02], abs=1e-9)
    assert found.lost_to_trim_kn("stay")[:, 0] == pytest.approx([0.0, 0.0, 0.02], abs=1e-9)
    assert found.lost_to_trim_percent("stay")[2, 0] == pytest.approx(2.0 / 6.4, abs=1e-9)
    assert np.isnan(found.lost_to_trim_kn("tank")).all()
    (setting,) = [each for each in found.settings() if each.option == "stay"]
    assert not setting.is_at_end
    assert setting.worst_lost_to_trim_kn == pytest.approx(0.02, abs=1e-9)


def load_of(comparison: Comparison) -> Any:
    return load(Path(comparison.polar.source.file))


@pytest.fixture(autouse=True)
def _beside_the_file(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(tmp_path)


def test_several_quantities_make_every_combination(sailed: Callable[..., Comparison]) -> None:
    text = TANK.format(edges="wind_edges_kn = [4.0, 12.0, 20.0]") + (
        "[[option.add.set]]\n"
        'name = "stay"\n'
        'says = "Length"\n'
        "[option.add.set.values]\n"
        "sail.jib.camber_trim_percent = [0.0, 100.0]\n"
    )
    comparison = sailed(text)
    mine = comparison.set_values().candidates("tank")
    assert [mine.text(at) for at in range(6)] == [
        f"water {water} kg, stay {stay} %" for water in (1, 100, 200) for stay in (0, 100)
    ]
    assert len(mine.free) == 3
    # the water is chosen for each wind, the stay once; with the controls free the water stays as it is
    told = {(each.quantity.name, each.range_index): each.text for each in comparison.set_values().settings()}
    assert told == {("water", 0): "1 kg", ("water", 1): "200 kg", ("stay", 0): "100 %"}
    trimmed = comparison.set_values().trimmed("tank")
    assert trimmed[2, 0] == pytest.approx(6.4 + 0.8, abs=1e-9)


def test_further_keys_go_with_the_first() -> None:
    text = (CONFIGS / "tank_and_stay.toml").read_text(encoding="utf-8")
    rake = (
        '\n[[option]]\nname = "rake"\nsays = "Rake"\n[[option.add.set]]\nname = "rake"\nsays = "Rake"\n'
        "[option.add.set.values]\n"
        "sail.main.luff_rake_deg = [1.0, 2.0]\nsail.jib.luff_rake_deg = [17.9, 18.9]\n"
    )
    folder = Path.cwd()
    (folder / "keelboat.toml").write_bytes((CONFIGS / "keelboat.toml").read_bytes())
    (folder / "rake.toml").write_text(text + rake, encoding="utf-8")
    made = set_boats(load(folder / "rake.toml"), ["rake"])["rake"]
    rakes = [tuple(np.degrees(sail.luff_rake) for sail in boat.sails) for boat in made.held]
    assert rakes == [pytest.approx((1.0, 17.9)), pytest.approx((2.0, 18.9))]
    assert [boat.name for boat in made.held] == ["rake, rake 1 deg", "rake, rake 2 deg"]


def test_tables_have_fixed_columns_with_their_units(sailed: Callable[..., Comparison]) -> None:
    edges = "wind_edges_kn = [4.0, 12.0, 20.0]\ntwa_edges_deg = [0.0, 90.0, 180.0]"
    found = sailed(TANK.format(edges=edges) + STAY).set_values()
    values, regret, candidates = found.to_frame(), found.regret_frame(), found.candidates_frame()
    assert tuple(values.columns) == VALUE_COLUMNS
    assert tuple(regret.columns) == REGRET_COLUMNS
    assert tuple(candidates.columns) == CANDIDATE_COLUMNS
    assert len(values) == 4 + 1
    assert len(regret) == 2 * 3 * 4
    assert len(candidates) == 4 * 3 + 3
    row = values.iloc[2]
    assert (row["tws_from_kn"], row["tws_to_kn"], row["twa_from_deg"], row["twa_to_deg"]) == (12, 20, 0, 90)
    assert (row["value"], row["unit"], row["built_value"]) == (200.0, "kg", 1.0)
    for _, group in candidates.groupby(["option", "tws_from_kn", "twa_from_deg"], dropna=False):
        assert group["is_chosen"].sum() == 1
        picked = group[group["is_chosen"]].iloc[0]
        assert picked["mean_regret_percent"] == pytest.approx(group["mean_regret_percent"].min(), abs=1e-12)
    assert set(regret[regret["tws_kn"] == 14.0]["set_to"]) == {"water 200 kg", "water 1 kg", "stay 100 %"}


def test_a_file_without_set_quantities_is_solved_as_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.import_module("vpp.polar"), "solve", synthetic.solve)
    comparison = compare(synthetic.make_boat_file(), tws_kn=(10.0,), twa_deg=(90.0,))
    found = comparison.set_values()
    assert not found
    assert (found.options, found.settings(), found.sentences()) == ((), (), ())
    assert all(table.empty for table in (found.to_frame(), found.regret_frame(), found.candidates_frame()))
    assert comparison.boat_at(1, 0, 0) is comparison.polar.solved.boats[1]


def test_the_demo_keelboat_fills_its_tank_on_the_beat_in_a_breeze_and_nowhere_else() -> None:
    """Solved for real: 300 kg to windward are worth a percent upwind in 20 kn and cost elsewhere, so that one
    filling for the day is as good as none.
    """
    file = load(CONFIGS / "tank_and_stay.toml")
    found = compare(file, tws_kn=(6.0, 20.0), twa_deg=(120.0,), options=("water_by_leg", "water_for_day"))
    told = {(each.option, each.range_text): each.text for each in found.set_values().settings()}
    assert told == {
        ("water_by_leg", "4 to below 9 kn, TWA 0 to below 75 deg"): "1 kg",
        ("water_by_leg", "4 to below 9 kn, TWA 75 to 180 deg"): "1 kg",
        ("water_by_leg", "14 to 24 kn, TWA 0 to below 75 deg"): "300 kg",
        ("water_by_leg", "14 to 24 kn, TWA 75 to 180 deg"): "1 kg",
        ("water_for_day", "every wind"): "1 kg",
    }
    gain = found.gain_kn()[:, 1, found.place("upwind")]
    regret = found.set_values().regret_kn("water_for_day")[1, found.place("upwind")]
    # what the day's filling loses on the beat is what the leg's gains over it
    assert gain[1] - gain[2] == pytest.approx(regret, abs=1e-6)
    assert gain[1] > 0.03


def test_sail_sets_and_budgets_are_those_of_the_boat_with_the_chosen_value(tmp_path: Path) -> None:
    """Solved for real, against options that have the values built in: few aboard in 8 kn, many in 20."""
    (tmp_path / "keelboat.toml").write_bytes((CONFIGS / "keelboat.toml").read_bytes())
    (tmp_path / "offwind_sail.csv").write_bytes((CONFIGS / "offwind_sail.csv").read_bytes())
    text = without_sail_set((CONFIGS / "keelboat_sails.toml").read_text(encoding="utf-8"), "working_jib")
    few, many = (
        f'\n[[option]]\nname = "{name}"\nparent = "wardrobe"\nsays = "x"\n'
        f"[option.change]\ncrew.mass_kg = {mass}\n"
        for name, mass in (("few", 320.0), ("many", 640.0))
    )
    either = (
        '\n[[option]]\nname = "either"\nparent = "wardrobe"\nsays = "x"\n'
        '[[option.add.set]]\nname = "aboard"\nsays = "x"\nwind_edges_kn = [0.0, 14.0, 40.0]\n'
        "[option.add.set.values]\ncrew.mass_kg = [320.0, 640.0]\n"
    )
    path = tmp_path / "aboard.toml"
    path.write_text(text + few + many + either, encoding="utf-8")
    found = compare(load(path), tws_kn=(8.0, 20.0), twa_deg=(60.0,), options=("either", "few", "many"))
    assert [each.text for each in found.set_values().settings()] == ["320 kg", "640 kg"]
    for table in (found.polar.to_frame(), found.polar.sail_sets_frame(), found.polar.budget_frame()):
        for tws, name in ((8.0, "few"), (20.0, "many")):
            here = table[np.isclose(table["tws_kn"], tws)]
            own, built = (
                here[here["option"] == option].drop(columns="option").reset_index(drop=True)
                for option in ("either", name)
            )
            assert len(own)
            pd.testing.assert_frame_equal(own, built, rtol=1e-6, atol=1e-4)
