"""`vpp current` on invented speeds: what it prints, and how it ends."""

from __future__ import annotations

import importlib
import io
import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from tests.support import synthetic
from vpp.results.files import CAUTION

ASKED = ("--tws", "12", "--twa", "upwind", "--current", "1.5", "--set", "90")


@pytest.fixture
def run(invented: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setattr(importlib.import_module("vpp.current"), "solve", synthetic.solve)
    return lambda *words: invented("current", *words)


def test_text_tells_both_tacks_and_what_the_current_does(run: Any) -> None:
    done = run("good.toml", *ASKED)
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    for said in (
        "base, upwind, 12 kn of wind over the ground, 1.5 kn of current setting 90 deg",
        "starboard  VMG through water",
        "port       made good over ground",
        "a header on starboard tack",
        "port tack is favoured by",
    ):
        assert said in done.stdout
    assert done.stdout.rstrip().endswith(CAUTION)


def test_option_and_angle_are_those_asked_for(run: Any) -> None:
    done = run("good.toml", *ASKED[:2], "--twa", "70", *ASKED[4:], "--option", "taller_rig")
    assert done.exit_code == 0, done.output
    assert "taller_rig, TWA 70 deg" in done.stdout
    assert done.stdout.count("given angle") == 2
    assert "made good over ground" not in done.stdout


def test_data_is_tidy_and_strict(run: Any) -> None:
    frame = pd.read_csv(io.StringIO(run("good.toml", *ASKED, "--format", "csv").stdout))
    assert frame["tack"].tolist() == ["starboard", "port"] * 2
    across = frame["boat_speed_kn"] * np.sin(np.radians(frame["course_through_water_deg"])) + 1.5
    along = frame["boat_speed_kn"] * np.cos(np.radians(frame["course_through_water_deg"]))
    np.testing.assert_allclose(frame["speed_over_ground_kn"], np.hypot(across, along), atol=3e-4)
    np.testing.assert_allclose(frame["made_good_kn"], along, atol=3e-4)
    told = json.loads(run("good.toml", *ASKED, "--format", "json").stdout, parse_constant=pytest.fail)
    assert [row["made_good_kn"] for row in told["rows"]] == frame["made_good_kn"].tolist()
    assert 0.0 < told["both_tacks"]["starboard_share_percent"] < 50.0
    assert len(told["summary"]) == 5


def test_tack_without_a_result_is_named(run: Any) -> None:
    words = ("good.toml", "--tws", "7", "--twa", "upwind", "--current", "8", "--set", "150")
    done = run(*words)
    assert done.exit_code == 3
    assert "No result for starboard tack, made good over ground: No course" in done.stderr
    assert "VMG through water" in done.stdout
    told = json.loads(run(*words, "--format", "json").stdout, parse_constant=pytest.fail)
    assert [row["status"] for row in told["rows"]] == ["converged"] * 2 + ["no_equilibrium", "converged"]
    assert told["rows"][2]["made_good_kn"] is None
    assert told["both_tacks"] == {"starboard_share_percent": None, "made_good_kn": None}


def test_no_equilibrium_ends_with_3(run: Any) -> None:
    done = run("good.toml", "--tws", "18", "--twa", "30", "--current", "1", "--set", "90")
    assert done.exit_code == 3
    assert done.stdout == ""
    assert done.stderr.startswith("No result: No equilibrium")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("good.toml", *ASKED, "--option", "nope"), ["no option of that name"]),
        (("good.toml", *ASKED, "--sail-set", "nope"), ["no such sail set"]),
        (("good.toml", *ASKED, "--format", "xml"), ["not a format"]),
        (("good.toml", *ASKED[:6], "--set", "nan"), ["set = nan deg"]),
        (
            ("bad.toml", "--tws", "50", "--twa", "up", "--current", "-1", "--set", "900"),
            ["tws = 50", "twa = 'up'", "current = -1", "set = 900", "waterline_length_m", "rig.mast_x"],
        ),
    ],
)
def test_bad_input_is_told_a_sentence_a_problem(run: Any, words: tuple[str, ...], said: list[str]) -> None:
    done = run(*words)
    assert done.exit_code == 2, done.output
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert len(done.stderr.splitlines()) == len(said)
    for sentence in said:
        assert sentence in done.stderr


def test_all_that_is_missing_is_told_at_once(run: Any) -> None:
    done = run("good.toml", "--twa", "70")
    assert done.exit_code == 2
    assert done.stderr.split() == ["--tws:", "missing", "--current:", "missing", "--set:", "missing"]


def test_help_has_an_example(run: Any) -> None:
    assert "Example: vpp current " in run("--help").stdout
