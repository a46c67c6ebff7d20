"""`vpp target` on invented results: one line at sea, tables at home, and how it ends."""

from __future__ import annotations

import importlib
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from tests.support import synthetic
from vpp.results.files import CAUTION

FILES = {"targets.csv", "modes.csv", "interpolation.csv", "polar.csv", "about.json"}
GRID = ("--tws-grid", "8:16:2", "--twa-grid", "35:170:5")


@pytest.fixture
def run(invented: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    monkeypatch.setattr(importlib.import_module("vpp.targets"), "solve", synthetic.solve)
    return lambda *words: invented("target", *words)


@pytest.fixture
def solved(invented: Callable[..., Any]) -> Callable[..., Any]:
    """The same after `vpp polar` has left its tables in the folder `home`."""
    words = ("polar", "good.toml", "--tws", "8:16:2", "--twa", "35:170:5", "--no-figures", "-o", "home")
    assert invented(*words, "--option", "taller_rig").exit_code == 0
    return lambda *given: invented("target", "good.toml", "--polar", "home", *given)


def test_a_wind_is_answered_in_one_line(solved: Callable[..., Any]) -> None:
    done = solved("--tws", "13.4")
    assert done.exit_code == 0, done.output
    assert len(done.stdout.splitlines()) == 1
    assert done.stdout.startswith("TWS 13.4 kn, base: up TWA ")
    assert "; down TWA " in done.stdout
    assert done.stdout.rstrip().endswith("(\u00b1 of interpolation)")
    assert done.stderr.splitlines()[-1] == CAUTION


def test_a_wind_and_an_angle_are_answered_in_one_line(solved: Callable[..., Any]) -> None:
    done = solved("--tws", "13.4", "--twa", "48")
    assert done.exit_code == 0, done.output
    assert len(done.stdout.splitlines()) == 1
    head, told = done.stdout.split("base: ")
    assert head == "TWS 13.4 kn, TWA 48 deg, "
    speed, error = (float(word.strip("\u00b1")) for word in told.split()[:2])
    exact = synthetic.boat_speed_kn("base", *(pd.Series([value]).to_numpy() for value in (13.4, 48.0)))[0]
    assert abs(speed - exact) <= error + 0.005


def test_one_of_both_targets_and_more_options_are_a_line_each(solved: Callable[..., Any]) -> None:
    done = solved("--tws", "12", "--twa", "upwind", "--option", "base", "--option", "taller_rig")
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert [line.split(":")[0] for line in lines] == ["TWS 12 kn, base", "TWS 12 kn, taller_rig"]
    assert all("down" not in line and "(solved, not interpolated)" in line for line in lines)


def test_without_a_polar_that_very_wind_is_solved(run: Callable[..., Any]) -> None:
    for words in ((), ("--twa", "48"), ("--twa", "downwind")):
        done = run("plain.toml", "--tws", "13.4", *words)
        assert done.exit_code == 0, done.output
        assert "(solved, not interpolated)" in done.stdout
    between = run("plain.toml", "--tws", "13.4", *GRID)
    assert "(\u00b1 of interpolation)" in between.stdout
    assert not Path("out").exists()


def test_tables_tell_targets_costs_modes_and_trims(run: Callable[..., Any]) -> None:
    done = run("good.toml", *GRID)
    assert done.exit_code == 0, done.output
    for said in (
        "base: targets upwind, and what being off them costs",
        "TWS kn  TWA deg  speed kn  VMG kn  heel deg  within 0.5 %: TWA deg  half deg: s/nm  half kn: s/nm",
        "base: modes downwind: boat speed against the target",
        "4 deg higher",
        "base: trims upwind, by TWS, kn",
        "mainsail twist, deg",
    ):
        assert said in done.stdout, said
    assert "taller_rig" not in done.stdout
    assert done.stdout.rstrip().endswith(CAUTION)


def test_files_are_those_that_are_listed_and_can_be_read_again(run: Callable[..., Any]) -> None:
    done = run("good.toml", *GRID, "-o", "here", "--format", "csv")
    assert done.exit_code == 0, done.output
    assert {path.name for path in Path("here").iterdir()} == FILES
    about = json.loads(Path("here/about.json").read_text(encoding="utf-8"))
    assert set(about["files"]) == FILES
    assert about["targets"] == {"solved": 10, "no_target": 0}
    pd.testing.assert_frame_equal(pd.read_csv("here/targets.csv"), pd.read_csv(io.StringIO(done.stdout)))
    again = run("good.toml", "--polar", "here", "--format", "csv")
    assert again.exit_code == 0, again.output
    first, second = pd.read_csv(io.StringIO(done.stdout)), pd.read_csv(io.StringIO(again.stdout))
    assert (first["boat_speed_kn"] - second["boat_speed_kn"]).abs().max() < 2e-4


def test_data_is_strict_and_says_where_it_is_from(solved: Callable[..., Any]) -> None:
    told = json.loads(solved("--format", "json").stdout, parse_constant=pytest.fail)
    assert {"targets", "modes", "interpolation", "caution", "digest"} <= set(told)
    told = json.loads(solved("--tws", "13.4", "--format", "json").stdout, parse_constant=pytest.fail)
    assert [row["aim"] for row in told["rows"]] == ["upwind", "downwind"]
    assert told["summary"][0].startswith("TWS 13.4 kn, base: up ")
    frame = pd.read_csv(io.StringIO(solved("--tws", "13.4", "--twa", "48", "--format", "csv").stdout))
    assert frame["status"].tolist() == ["interpolated"]
    assert frame["boat_speed_error_kn"].item() > 0.0


def test_sets_that_a_polar_has_left_are_read_where_the_best_changes(solved: Callable[..., Any]) -> None:
    polar = pd.read_csv("home/polar.csv")
    words = ("--tws", "13", "--twa", "upwind")
    polar["sail_set"] = ["reefed" if tws > 13.0 else "full" for tws in polar["tws_kn"]]
    polar.to_csv("home/polar.csv", index=False)
    alone = solved(*words)
    assert alone.exit_code == 3
    assert "between 12 and 14 kn the optimum changes (full to reefed)" in alone.stdout
    columns = ["option", "tws_kn", "twa_deg", "aim", "status", "boat_speed_kn", "vmg_kn"]
    sets = [polar[columns].assign(sail_set=name) for name in ("full", "reefed")]
    pd.concat(sets).to_csv("home/sail_sets.csv", index=False)
    done = solved(*words)
    assert done.exit_code == 0, done.output
    assert "under full (\u00b1 of interpolation)" in done.stdout
    refused = solved(*words, "-o", "again")
    assert refused.exit_code == 2
    assert "out = 'again': of no use with --tws" in refused.stderr
    assert solved("-o", "again").exit_code == 0
    assert "each_way.csv" in json.loads(Path("again/about.json").read_text(encoding="utf-8"))["files"]


def test_a_point_without_a_speed_says_why_and_ends_with_3(solved: Callable[..., Any]) -> None:
    done = solved("--tws", "12", "--twa", "20")
    assert done.exit_code == 3
    assert len(done.stdout.splitlines()) == 1
    assert "none, the polar has angles from 35 to 170 deg at 12 kn: nothing is extrapolated" in done.stdout
    data = solved("--tws", "12", "--twa", "20", "--format", "csv")
    assert data.exit_code == 3
    assert "No result for base: the polar has angles" in data.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("broken.toml", "--tws", "50"), ["outside the allowed range", "negative", "unknown key"]),
        (("good.toml", "--option", "nope"), ["there is no option of that name"]),
        (("good.toml", "--twa", "48"), ["--tws: missing beside --twa"]),
        (("good.toml", "--tws", "10", "--twa", "200"), ["twa = 200 deg: outside the allowed range"]),
        (("good.toml", "--tws", "10", "--twa", "abeam"), ["write an angle from 0 to 180 deg, upwind or"]),
        (("good.toml", "--tws-grid", "6:9:2"), ["--tws-grid: tws = '6:9:2'"]),
        (("good.toml", "--polar", "nowhere"), ["there is no polar.csv with its about.json"]),
        (("good.toml", "--polar", "home", "--tws", "30"), ["has 8 to 16 kn: nothing is extrapolated"]),
        (("good.toml", "--polar", "home", "--option", "cut_head"), ["not in the polar, which has base"]),
        (("good.toml", "--format", "xml"), ["not a format"]),
        (
            ("good.toml", "--polar", "home", *GRID, "-o", "home"),
            ["--tws-grid: of no use", "--twa-grid: of no use", "the folder that --polar names"],
        ),
    ],
)
def test_bad_input_is_told_a_sentence_a_problem(
    run: Callable[..., Any], solved: Callable[..., Any], words: tuple[str, ...], said: list[str]
) -> None:
    before = {path.name for path in Path().iterdir()}
    done = run(*words)
    assert done.exit_code == 2, done.output
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert len(done.stderr.splitlines()) == len(said), done.stderr
    for sentence in said:
        assert sentence in done.stderr
    assert {path.name for path in Path().iterdir()} == before


def test_help_has_an_example(run: Callable[..., Any]) -> None:
    assert "Example: vpp target " in run("--help").stdout
