"""What is set for a range of wind, from the command line, on invented results."""

from __future__ import annotations

import importlib
import json
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from tests.support import synthetic
from vpp.boat import Boat
from vpp.cli import app
from vpp.compare import Comparison
from vpp.results.variables import KNOT
from vpp.set_values import CANDIDATE_COLUMNS, REGRET_COLUMNS, VALUE_COLUMNS
from vpp.solved import Conditions, Solved

CONFIGS = Path(__file__).parents[2] / "configs"
DEMO = str(CONFIGS / "tank_and_stay.toml")
GRID = ("--tws", "6:18:6", "--twa", "60:120:30")
Run = Callable[..., Any]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Run:
    """Run `vpp` with words. Heavier boats are slower off the wind and in light air, and faster on the beat in
    a breeze; the jib's camber changes nothing.
    """

    def solve(boats: Sequence[Boat], conditions: Conditions, **_: Any) -> Solved:
        named = tuple(replace(boat, name="base") for boat in boats)
        found = synthetic.solve(named, conditions)
        heavy = np.array([boat.total_mass for boat in boats])[conditions.option] - boats[0].total_mass
        beat = (conditions.aim == "upwind") | (np.degrees(conditions.twa) < 75.0)
        gain = np.where(beat, 1e-4 * (conditions.tws / KNOT - 10.0), -5e-5) * heavy * KNOT
        speed = found.quantities["boat_speed"] + gain
        vmg = found.quantities["vmg"] + gain * np.where(conditions.aim == "downwind", -1.0, 1.0)
        return replace(
            found, boats=tuple(boats), quantities={**found.quantities, "boat_speed": speed, "vmg": vmg}
        )

    monkeypatch.setattr(importlib.import_module("vpp.polar"), "solve", solve)
    # invented states are no optima, so that there is nothing to take levers of
    monkeypatch.setattr(importlib.import_module("vpp.cli.compare"), "compared_levers", _levers)
    monkeypatch.chdir(tmp_path)
    runner = CliRunner()
    return lambda *words: runner.invoke(app, list(words))


def _levers(boat_file: Any, comparison: Comparison) -> list[Any]:
    assert comparison.polar.options[0] not in comparison.set_values().options, "the base is not as filed"
    return []


def test_compare_prints_the_value_of_each_range_and_what_it_loses(run: Run) -> None:
    done = run("compare", DEMO, "--no-figures", *GRID)
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    start = next(at for at, line in enumerate(lines) if line.startswith("Set values: the best for all"))
    table = [line for line in lines[start + 2 : start + 12] if line.startswith("water_by_leg")]
    told = [(re.split(r"\s{2,}", line)[2], line) for line in table]
    assert [where for where, _ in told] == [
        "4 to below 9 kn, TWA 0 to below 75 deg", "4 to below 9 kn, TWA 75 to 180 deg",
        "9 to below 14 kn, TWA 0 to below 75 deg", "9 to below 14 kn, TWA 75 to 180 deg",
        "14 to 24 kn, TWA 0 to below 75 deg", "14 to 24 kn, TWA 75 to 180 deg",
    ]  # fmt: skip
    assert ["300 kg*" in line for _, line in told] == [False, False, True, False, True, False]
    # lost against free trim is told of the stay alone
    assert all(line.split()[-2:] == ["-", "-"] for _, line in told)
    assert "* the least or the greatest value on offer" in lines
    written = {path.name for path in Path("out/compare").iterdir()}
    assert {"set_values.csv", "set_regret.csv", "set_candidates.csv"} <= written
    summary = Path("out/compare/summary.txt").read_text()
    assert (
        "water_by_leg, 14 to 24 kn, TWA 0 to below 75 deg: water 300 kg is the best value of every condition."
        in (summary)
    )


def test_files_and_json_hold_the_same(run: Run) -> None:
    told = json.loads(run("compare", DEMO, "--no-figures", "--format", "json", *GRID).stdout)
    values = pd.read_csv("out/compare/set_values.csv")
    assert tuple(values.columns) == VALUE_COLUMNS
    assert tuple(pd.read_csv("out/compare/set_regret.csv").columns) == REGRET_COLUMNS
    assert tuple(pd.read_csv("out/compare/set_candidates.csv").columns) == CANDIDATE_COLUMNS
    assert [row["value"] for row in told["set_values"]] == list(values["value"])
    assert len(told["set_regret"]) == 3 * 3 * 5
    assert len(told["set_value_summary"]) == 3 + 6 + 1
    assert [sentence for sentence in told["by_wind"] if sentence.startswith("Upwind")]
    gain = pd.DataFrame(told["gain"])
    beat = gain[(gain["option"] == "water_by_leg") & (gain["aim"] == "upwind")]
    # 299 kg more than the empty tank: nothing in 6 kn, and 0.06 and 0.24 kn
    assert list(beat["gain_kn"].round(3)) == [pytest.approx(-4e-5 * 10, abs=1e-3), 0.06, 0.24]


def test_without_figures_or_with_them_the_folder_says_what_it_holds(run: Run) -> None:
    run("compare", DEMO, "--no-figures", *GRID)
    listed = json.loads(Path("out/compare/about.json").read_text())["files"]
    assert {"set_values.csv", "set_regret.csv", "set_candidates.csv"} <= set(listed)
    # a file without set quantities leaves none of them
    done = run("compare", str(CONFIGS / "keelboat.toml"), "--option", "long_luff", "--no-figures", *GRID)
    assert done.exit_code == 0, done.output
    assert "Set values" not in done.stdout
    assert not list(Path("out/compare").glob("set_*.csv"))


def test_winds_and_angles_outside_the_ranges_are_bad_input(run: Run) -> None:
    done = run("compare", DEMO, "--tws", "3:27:12", "--twa", "60:120:30")
    assert done.exit_code == 2
    assert done.stderr.splitlines() == [
        "tws: 3, 27 kn outside the ranges of set.stay, which run from 4 to 24 kn",
        "tws: 3, 27 kn outside the ranges of set.water, which run from 4 to 24 kn",
    ]
    assert not Path("out/compare").exists()


def test_everything_wrong_is_said_at_once(run: Run, tmp_path: Path) -> None:
    for path in CONFIGS.glob("keelboat*.*"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    text = Path(DEMO).read_text(encoding="utf-8")
    wrong = text.replace("mass.water_tank.mass_kg = [1.0", "mass.water_tnk.mass_kg = [1.0").replace(
        "sail.jib.camber_trim_percent = [0.0", "sail.jib.camber_trim_percent = [-10.0"
    )
    Path("wrong.toml").write_text(wrong, encoding="utf-8")
    for command in ("check", "compare"):
        done = run(command, "wrong.toml")
        assert done.exit_code == 2
        assert 'did you mean "mass.water_tank.mass_kg"?' in done.stderr
        assert "camber_trim_percent[1] = -10.0" in done.stderr
        assert "Traceback" not in done.stderr
    # 90 t of water are in range of the key and sink the boat; the winds are wrong as well
    heavy = text.replace("[1.0, 150.0, 300.0]", "[1.0, 150.0, 90000.0]")
    Path("heavy.toml").write_text(heavy, encoding="utf-8")
    done = run("compare", "heavy.toml", "--tws", "2:22:10")
    assert done.exit_code == 2
    assert "tws: 2 kn outside the ranges of set.water" in done.stderr
    assert 'with water 90000 kg of option "water_by_leg"' in done.stderr
    assert 'with water 90000 kg of option "water_for_day"' in done.stderr
    assert not Path("out/compare").exists()
    assert run("check", "heavy.toml").exit_code == 2


def test_values_of_the_base_are_chosen_without_any_option_beside_it(run: Run) -> None:
    text = (CONFIGS / "keelboat.toml").read_text(encoding="utf-8")
    added = '\n[[set]]\nname = "people"\nsays = "aboard"\n[set.values]\ncrew.mass_kg = [400.0, 480.0]\n'
    Path("alone.toml").write_text(text[: text.index("\n[[option]]")] + added, encoding="utf-8")
    done = run("compare", "alone.toml", "--details", *GRID)
    assert done.exit_code == 0, done.output
    assert "base    people" in done.stdout
    for told in ("In short", "Gains against", "fastest", "Best option"):
        assert told not in done.stdout
    names = {path.name for path in Path("out/compare").iterdir()}
    assert "vmg.png" in names
    assert not {"gain.png", "best_option.png"} & names
    bare = run("compare", "alone.toml", "--no-figures", "--format", "json", *GRID)
    assert json.loads(bare.stdout)["gain"] == []


def test_check_lists_what_may_be_set(run: Run) -> None:
    done = run("check", DEMO)
    assert done.exit_code == 0, done.output
    start = done.stdout.index("Set for a range and not trimmed")
    table = done.stdout[start:].splitlines()[2:5]
    assert table[0].split("  ") == [
        *("stay_by_wind", " stay", " sail.jib.camber_trim_percent", "trimmed, 0 to 100 %"),
        *("0, 25, 50, 75, 100 %", "TWS 4, 9, 14, 24 kn"),
    ]
    assert table[1].endswith("1, 150, 300 kg        TWS 4, 9, 14, 24 kn; TWA 0, 75, 180 deg")
    assert table[2].endswith("one for every wind")
    assert "Set for a range" not in run("check", str(CONFIGS / "keelboat.toml")).stdout


@pytest.mark.parametrize(
    "words",
    [
        ("point", "--tws", "10", "--twa", "60", "--no-levers"),
        ("polar", "--tws", "10", "--twa", "60", "--no-figures"),
    ],
    ids=["point", "polar"],
)
def test_other_commands_say_that_they_take_what_is_filed(run: Run, words: tuple[str, ...]) -> None:
    command, *rest = words
    done = run(command, DEMO, "--option", "water_by_leg", *rest)
    assert done.exit_code == 0, done.output
    assert "are as the boat file has them (vpp compare sets them)" in done.stderr
    assert "  water_by_leg: water 1 kg" in done.stderr
    assert "stay" not in done.stderr
    assert run(command, DEMO, "--option", "base", *rest).stderr == ""


def test_levers_are_left_out_where_the_base_has_something_to_be_set(run: Run, tmp_path: Path) -> None:
    text = (CONFIGS / "keelboat.toml").read_text(encoding="utf-8")
    added = '\n[[set]]\nname = "people"\nsays = "aboard"\n[set.values]\ncrew.mass_kg = [400.0, 480.0]\n'
    Path("own.toml").write_text(text.replace("\n[[option]]", added + "\n[[option]]", 1), encoding="utf-8")
    done = run("compare", "own.toml", "--option", "long_luff", "--no-figures", *GRID)
    assert done.exit_code == 0, done.output
    assert "levers" not in done.stdout
    assert "base       people" in done.stdout
