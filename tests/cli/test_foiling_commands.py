"""The commands on boats that can be carried in two ways, on invented results."""

from __future__ import annotations

import importlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from typer.testing import CliRunner

from tests.support import synthetic, two_ways
from vpp.cli import app
from vpp.config import BoatFile
from vpp.results.files import CAUTION
from vpp.results.variables import COLUMNS
from vpp.take_off import TAKE_OFF_COLUMNS

Run = Callable[..., Any]
GRID = ("--tws", "6:14:4", "--twa", "40:160:60")
POINT = ("point", "flying.toml", "--tws", "12", "--twa", "100")


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Run:
    """Run `vpp` with words; the boats of `flying.toml` have foils, those of any other file have none."""

    def load(path: Path) -> BoatFile:
        flies = Path(path).name == "flying.toml"
        return two_ways.make_boat_file() if flies else synthetic.make_boat_file()

    def solve(boats: Any, conditions: Any, **given: Any) -> Any:
        made = two_ways if boats[0].foils else synthetic
        return made.solve(boats, conditions, **given)

    monkeypatch.setattr("vpp.config.load", load)
    for module in ("vpp.polar", "vpp.take_off"):
        monkeypatch.setattr(importlib.import_module(module), "solve", solve)
    monkeypatch.chdir(tmp_path)
    runner = CliRunner()
    return lambda *words: runner.invoke(app, list(words))


def test_polar_writes_branches_and_take_off(run: Run) -> None:
    done = run("polar", "flying.toml", "--option", "taller_rig", *GRID)
    assert done.exit_code == 0, done.output
    polar, branches, take_off = (
        pd.read_csv(f"out/polar/{name}.csv", keep_default_na=False)
        for name in ("polar", "branches", "take_off")
    )
    assert tuple(polar.columns) == tuple(branches.columns) == COLUMNS
    assert len(branches) == 2 * len(polar) == 2 * 2 * 3 * 5
    assert tuple(take_off.columns) == TAKE_OFF_COLUMNS
    assert list(take_off["option"]) == ["base"] * 3 + ["taller_rig"] * 3
    names = json.loads(Path("out/polar/about.json").read_text())["files"]
    for name in ("branches.csv", "take_off.csv", "take_off.png", "take_off.svg"):
        assert name in names
        assert f"out/polar/{name}" in done.stdout
        assert Path("out/polar", name).stat().st_size > 0


def test_polar_prints_branches_and_take_off_in_short(run: Run) -> None:
    done = run("polar", "flying.toml", "--no-figures", "--option", "taller_rig", *GRID)
    lines = done.stdout.splitlines()
    speeds = lines[lines.index("base: boat speed, kn, at TWA, deg") + 2 :][:3]
    assert [word.endswith("h") for line in speeds for word in line.split()[1:]] == [
        *(True, True, True),
        *(True, False, True),
        *(False, False, False),
    ]
    assert any(line.startswith("h hull-borne, all others foil-borne: ") for line in lines)
    table = pd.read_csv("out/polar/take_off.csv")
    told = next(line for line in lines if line.startswith("taller_rig  touch-down"))
    winds = table.loc[table["option"] == "taller_rig", "touch_down_tws_kn"]
    assert [float(word) for word in told.split()[2:]] == pytest.approx(winds.tolist(), abs=0.051)
    assert any(line.startswith("base: on foils down to TWS 8.") for line in lines)
    assert lines[-1] == CAUTION


def test_take_off_is_found_at_angles_twenty_degrees_apart(run: Run) -> None:
    run(
        "polar",
        "flying.toml",
        "--no-figures",
        "--option",
        "taller_rig",
        "--tws",
        "6:14:4",
        "--twa",
        "90:120:5",
    )
    assert sorted(set(pd.read_csv("out/polar/take_off.csv")["twa_deg"])) == [90.0, 110.0]


def test_polar_as_data_carries_branches_and_take_off(run: Run) -> None:
    done = run("polar", "flying.toml", "--no-figures", "--format", "json", *GRID)
    told = json.loads(done.stdout, parse_constant=pytest.fail)
    assert len(told["branches"]) == 2 * len(told["rows"])
    assert set(told["take_off"][0]) == set(TAKE_OFF_COLUMNS)
    printed = run("polar", "flying.toml", "--no-figures", "--format", "csv", *GRID).stdout
    assert printed == Path("out/polar/polar.csv").read_text()


def test_boats_without_foils_have_neither(run: Run) -> None:
    done = run("polar", "floating.toml", *GRID)
    assert done.exit_code == 0, done.output
    assert {path.suffix for path in Path("out/polar").glob("take_off*")} == set()
    assert not Path("out/polar/branches.csv").exists()
    for word in ("borne", "take-off"):
        assert word not in done.stdout
    data = run("polar", "floating.toml", "--no-figures", "--format", "json", *GRID).stdout
    assert not {"branches", "take_off"} & set(json.loads(data))


def test_compare_marks_gains_between_branches(run: Run) -> None:
    done = run("compare", "flying.toml", *GRID)
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    reach = lines.index("boat speed on a reach, TWA 100 deg")
    taller = next(line for line in lines[reach:] if line.startswith("taller_rig"))
    assert taller.split()[1].endswith("^")
    assert not any(word.endswith(("^", "v")) for word in taller.split()[2:])
    note = next(line for line in lines if line.startswith("^ the option is foil-borne and base hull-borne"))
    assert note in Path("out/compare/summary.txt").read_text().splitlines()
    assert "flying at 6 kn where base does not" in " ".join(done.stdout.split())
    summary = Path("out/compare/summary.txt").read_text()
    assert "at 6 kn base is hull-borne, taller_rig foil-borne (+" in summary
    details = run("compare", "flying.toml", "--details", "--no-figures", *GRID).stdout
    assert "at 6 kn base is hull-borne, taller_rig foil-borne (+" in " ".join(details.split())
    gain = pd.read_csv("out/compare/gain.csv", keep_default_na=False)
    assert set(gain["option_branch"]) == {"hull-borne", "foil-borne"}
    assert Path("out/compare/branches.csv").exists()


def test_point_says_in_a_line_what_the_other_branch_does(run: Run) -> None:
    done = run(*POINT)
    assert done.exit_code == 0, done.output
    assert "base, foil-borne" in done.stdout.splitlines()
    other = [line for line in done.stdout.splitlines() if line.startswith("Hull-borne, the boat would do ")]
    assert len(other) == 1
    assert other[0].endswith(" kn (hull at the surface).")
    told = json.loads(run(*POINT, "--format", "json").stdout)
    assert told["others"] == other


def test_point_takes_the_branch_that_it_is_told(run: Run) -> None:
    done = run(*POINT, "--branch", "hull-borne")
    assert "base, hull-borne" in done.stdout.splitlines()
    assert "Foil-borne, the boat would do " in done.stdout


def test_point_without_result_on_a_branch_says_why_and_what_the_other_does(run: Run) -> None:
    done = run("point", "flying.toml", "--tws", "6", "--twa", "100", "--branch", "foil-borne")
    assert done.exit_code == 3
    assert done.stdout == ""
    assert done.stderr.startswith(f"No result: {two_ways.TOO_SLOW} Hull-borne, the boat would do ")


@pytest.mark.parametrize(
    ("boat", "branch", "said"),
    [
        ("flying.toml", "flying", "branch = 'flying': write hull-borne or foil-borne\n"),
        ("floating.toml", "foil-borne", "base has no foils to fly on; it can only be hull-borne\n"),
    ],
)
def test_branch_that_does_not_exist_is_bad_input(run: Run, boat: str, branch: str, said: str) -> None:
    done = run("point", boat, "--tws", "12", "--twa", "100", "--branch", branch)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert done.stderr.endswith(said)


def test_point_of_a_boat_without_foils_says_nothing_of_branches(run: Run) -> None:
    done = run("point", "floating.toml", "--tws", "12", "--twa", "100")
    assert done.exit_code == 0
    assert "would do" not in done.stdout
    assert "others" not in json.loads(
        run("point", "floating.toml", "--tws", "12", "--twa", "100", "--format", "json").stdout
    )


def test_check_says_which_equations_are_solved_and_why_not_the_others() -> None:
    configs = Path(__file__).parents[2] / "configs"
    floats = CliRunner().invoke(app, ["check", str(configs / "keelboat.toml")]).stdout
    assert "Not solved: heave and pitch, because the hull floats" in floats
    flies = CliRunner().invoke(app, ["check", str(configs / "foiling_monohull.toml")]).stdout
    assert "Solved: surge, sway, heave, roll, pitch, yaw" in flies
    assert "cant, flap and elevator" in flies
