"""`vpp improve`: what it prints, writes and refuses, and how it ends."""

from __future__ import annotations

import io
import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from typer.testing import CliRunner

from tests.support import keelboat
from tests.support.solved_once import solved_once
from vpp.cli import app
from vpp.results.files import CAUTION

ASKED = ("--vary", "fin.keel.span_m=1.2:2.2", "--tws", "12", "--twa", "100")


@pytest.fixture(scope="module", autouse=True)
def _solved_once() -> Iterator[None]:
    with solved_once("vpp.improve"):
        yield


def run(*words: str) -> Any:
    return CliRunner().invoke(app, ["improve", str(keelboat.FILE), *words])


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> tuple[Any, Path]:
    folder = tmp_path_factory.mktemp("improve") / "new" / "out"
    return run(*ASKED, "-o", str(folder)), folder


def test_text_tells_numbers_gains_path_and_the_option(done: tuple[Any, Path]) -> None:
    result, folder = done
    assert result.exit_code == 0, result.output
    for said in (
        "Aim: speed made good TWA 100 deg in 12 kn",
        "fin.keel.span_m",
        "1.2 to 2.2",
        "solved from afar",
        "The path",
        "An option for keelboat.toml:",
        "no basis for a decision",
        "The aim knows nothing of structure, cost, handling, stability and safety.",
        str(folder / "path.png"),
    ):
        # sentences are broken into lines
        assert said in " ".join(result.stdout.split()), said
    assert result.stdout.rstrip().endswith(CAUTION)


def test_the_folder_holds_the_option_as_it_is_printed_and_a_figure(done: tuple[Any, Path]) -> None:
    result, folder = done
    option = (folder / "option.toml").read_text(encoding="utf-8")
    assert option.rstrip() in result.stdout
    (table,) = tomllib.loads(option)["option"]
    built = pd.read_csv(folder / "numbers.csv").iloc[0]
    assert table["change"]["fin"]["keel"]["span_m"] == built["improved"]
    assert built["built"] == 1.5
    assert (folder / "path.png").stat().st_size > 10_000
    about = json.loads((folder / "about.json").read_text(encoding="utf-8"))
    assert sorted(about["files"]) == sorted(path.name for path in folder.iterdir())


def test_data_is_tidy_and_a_run_that_finds_nothing_leaves_no_option(done: tuple[Any, Path]) -> None:
    _, folder = done
    best = pd.read_csv(folder / "numbers.csv")["improved"].iloc[0]
    ends = sorted((1.5, 1.5 + 0.1 if best < 1.5 else 1.5 - 0.1))
    words = ("--vary", f"fin.keel.span_m={ends[0]}:{ends[1]}", *ASKED[2:], "--no-figures", "-o", str(folder))
    result = run(*words, "--format", "json")
    told = json.loads(result.stdout, parse_constant=pytest.fail)
    assert told["option_toml"] is None
    assert not told["is_better"]
    assert told["summary"][0].startswith("The boat as built is the best that was found")
    assert [row["key"] for row in told["numbers"]] == ["fin.keel.span_m"]
    assert not (folder / "option.toml").exists()
    assert not (folder / "path.png").exists()
    frame = pd.read_csv(io.StringIO(run(*words, "--format", "csv").stdout))
    assert frame["key"].tolist() == ["fin.keel.span_m"]


def test_everything_that_is_wrong_is_said_at_once_and_nothing_is_written(tmp_path: Path) -> None:
    out = tmp_path / "out"
    result = run(
        *("--vary", "fin.keel.spam_m=1:2", "--vary", "rig.mast_x_m=2:1", "--vary", "hull"),
        *("--vary", "crew.mass_kg=500:600", "--tws", "8,x", "--twa", "upwind,nowhere"),
        *("--against", "boat_mas", "--points", "2", "-o", str(out)),
    )
    assert result.exit_code == 2
    for said in (
        'did you mean "fin.keel.span_m"?',
        "the bounds are reversed",
        "vary = 'hull': write KEY=LEAST:GREATEST",
        "outside 500 to 600",
        "tws = 'x'",
        "twa = 'nowhere'",
        'did you mean "boat_mass"?',
        "points = 2",
    ):
        assert said in result.stderr
    assert "Traceback" not in result.output
    assert not out.exists()


def test_bounds_outside_what_a_boat_file_allows_are_refused_at_once_with_the_range(tmp_path: Path) -> None:
    ranges = (
        '\n[[uncertainty]]\nname = "gap"\nkey = "rig.gap_leakage_percent"\nleast = -5.0\ngreatest = 50.0\n'
    )
    path = tmp_path / "boat.toml"
    path.write_text(keelboat.FILE.read_text(encoding="utf-8") + ranges, encoding="utf-8")
    out = tmp_path / "out"
    result = CliRunner().invoke(
        app,
        [
            *(
                "improve",
                str(path),
                "--vary",
                "rig.gap_leakage_percent=-10:60",
                "--tws",
                "12",
                "--draws",
                "16",
            ),
            *("--vary", "calibration.windage_scale=0.5:1000", "-o", str(out)),
        ],
    )
    assert result.exit_code == 2
    for said in (
        "vary = rig.gap_leakage_percent: the bounds go from -10 to 60 %; allowed: 0 to 100 %",
        "vary = calibration.windage_scale: the bounds go from 0.5 to 1000; allowed: ",
        "the range of rig.gap_leakage_percent goes from -5 to 50 %",
    ):
        assert said in result.stderr
    assert not out.exists()


def test_what_is_missing_is_asked_for() -> None:
    result = run()
    assert result.exit_code == 2
    assert "vary: missing" in result.stderr
    assert "--tws: missing" in result.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--option", "long_luf"), 'did you mean "long_luff"?'),
        (("--sea", "rough"), "rough"),
        (("--course", "nowhere.toml"), "nowhere.toml: there is no such file"),
        (("--tws-weight", "1,2"), "tws_weight: 2 weights for 1 values of tws"),
        (("--against", "sail_area"), "name its part behind a colon"),
    ],
)
def test_what_cannot_be_is_refused(words: tuple[str, ...], said: str) -> None:
    result = run(*ASKED, *words)
    assert result.exit_code == 2
    assert said in result.stderr
    assert not result.stdout


def test_a_start_without_a_result_ends_with_its_reason(tmp_path: Path) -> None:
    result = run(*ASKED[:4], "--twa", "2", "-o", str(tmp_path / "out"))
    assert result.exit_code == 3
    assert "No result for base: TWA 2 deg at 12 kn" in result.stderr
    assert not (tmp_path / "out").exists()
