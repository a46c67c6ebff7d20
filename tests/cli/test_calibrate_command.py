"""`vpp calibrate` on invented speeds, and that every command says what is calibrated."""

from __future__ import annotations

import io
import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from tests.support.calibration import boat_text, invent, powers, speed_kn
from vpp.boat import Calibration
from vpp.cli import app
from vpp.results.files import CAUTION

OF = powers()
TRUTH = Calibration(hull_resistance=1.1, windage=0.9)
WINDS = (("beat", 12.0, 45.0), ("close_reach", 8.0, 70.0), ("reach", 16.0, 90.0))
SAID = "calibrated: hull resistance x 1.100, windage x 0.900"
Run = Callable[..., Any]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Run:
    """Run `vpp` beside boat files of the demo keelboat: with known points, with some that are far off, with
    scales, with neither, and with scales in one option only.
    """
    invent(monkeypatch, OF)
    # what one more unit of everything buys has no meaning at invented states
    monkeypatch.setattr("vpp.cli.lever_tables.levers_of", lambda *_, **__: [])
    monkeypatch.setattr("vpp.cli.compare.compared_levers", lambda *_: [])
    monkeypatch.chdir(tmp_path)
    points = [(name, tws, twa, float(speed_kn(TRUTH, tws, twa, OF))) for name, tws, twa in WINDS]  # type: ignore[arg-type]
    scales = {name: value for name, value in vars(TRUTH).items() if value != 1.0}
    far = [(name, tws, twa, 0.85 * speed) for name, tws, twa, speed in points]
    option = (
        '\n[[option]]\nname = "draggy"\nsays = "a foul bottom"\n[option.change]\n'
        "calibration.hull_resistance_scale = 1.2\n"
    )
    for name, text in (
        ("points", boat_text(points)),
        ("calibrated", boat_text(points, calibration=scales)),
        ("far", boat_text(far)),
        ("plain", boat_text()),
        ("option", boat_text() + option),
    ):
        Path(f"{name}.toml").write_text(text, encoding="utf-8")
    runner = CliRunner()
    return lambda *words: runner.invoke(app, list(words))


BOTH = ("--scale", "hull_resistance", "--scale", "windage")


def test_text_tells_scales_speeds_and_the_lines_for_the_boat_file(run: Run) -> None:
    before = Path("points.toml").read_text()
    done = run("calibrate", "points.toml", *BOTH)
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    lines = [line.split() for line in done.stdout.splitlines()]
    assert ["hull_resistance", "1.100", "0.000"] in [line[:3] for line in lines]
    assert next(line for line in lines if line[:1] == ["beat"])[:3] == ["beat", "12", "45"]
    pasted = done.stdout.split("left as it is:\n\n")[1].removesuffix(f"\n\n{CAUTION}\n")
    assert tomllib.loads(pasted)["calibration"] == pytest.approx(
        {"hull_resistance_scale": 1.1, "windage_scale": 0.9}, rel=1e-3
    )
    assert Path("points.toml").read_text() == before
    assert {path.suffix for path in Path().iterdir()} == {".toml"}


def test_hull_resistance_alone_is_fitted_unless_scales_are_named(run: Run) -> None:
    told = json.loads(run("calibrate", "points.toml", "--format", "json").stdout, parse_constant=pytest.fail)
    assert [scale["scale"] for scale in told["scales"]] == ["hull_resistance"]
    assert "(hull_resistance)" in run("calibrate", "--help").stdout


def test_data_is_tidy_and_strict(run: Run) -> None:
    words = ("calibrate", "points.toml", *BOTH, "--format")
    frame = pd.read_csv(io.StringIO(run(*words, "csv").stdout))
    assert list(frame["known_point"]) == [name for name, *_ in WINDS]
    assert set(frame["calibration"]) == {"hull resistance x 1.100, windage x 0.900"}
    np.testing.assert_allclose(frame["after_kn"], frame["known_kn"], rtol=1e-4)
    told = json.loads(run(*words, "json").stdout, parse_constant=pytest.fail)
    assert [scale["value"] for scale in told["scales"]] == pytest.approx([1.1, 0.9], rel=1e-3)
    assert np.shape(told["similarity"]) == (2, 2)
    assert len(told["points"]) == len(WINDS)
    assert told["calibration"] == "none"
    assert told["caution"] == CAUTION


def test_file_with_scales_is_fitted_from_none_and_says_so(run: Run) -> None:
    done = run("calibrate", "calibrated.toml", *BOTH)
    assert done.exit_code == 0, done.output
    assert SAID in done.stdout
    assert "from all scales 1" in " ".join(done.stdout.split())
    plain = run("calibrate", "points.toml", *BOTH)
    assert plain.stdout.split("[calibration]")[1] == done.stdout.split("[calibration]")[1]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("plain.toml",), "there are no known points"),
        (
            ("points.toml", *BOTH, "--scale", "sail_force", "--scale", "appendage_drag"),
            "3 known points for 4",
        ),
        (("points.toml", "--scale", "hull_resistance", "--scale", "sail_force"), "alike (cosine"),
        (("points.toml", "--scale", "hull_resistence"), 'did you mean "hull_resistance"?'),
        (("far.toml",), "scale = 'hull_resistance': ends at its bound 1.4"),
        (("points.toml", "--option", "nope"), "no option of that name"),
        (("points.toml", "--format", "xml"), "not a format"),
        (("absent.toml",), "absent.toml"),
    ],
)
def test_refusals_are_a_sentence_each(run: Run, words: tuple[str, ...], said: str) -> None:
    done = run("calibrate", *words)
    assert done.exit_code == 2, done.output
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert said in done.stderr


def test_point_without_equilibrium_is_refused(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    invent(monkeypatch, OF, fails=lambda boat, tws_kn: np.round(tws_kn, 6) == 8.0)
    done = run("calibrate", "points.toml")
    assert done.exit_code == 2
    assert "known_point.close_reach: no equilibrium at TWA 70 deg in 8 kn" in done.stderr


# --- every other command ------------------------------------------------------------------------------------

GRID = ("--tws", "10", "--twa", "90", "--no-figures")
COMMANDS = {
    "check": (),
    "point": ("--tws", "10", "--twa", "90"),
    "polar": GRID,
    "compare": (*GRID, "--option", "small_jib"),
    "stability": (),
    "crew": GRID,
    "current": ("--tws", "10", "--twa", "90", "--current", "1", "--set", "90"),
}


@pytest.mark.parametrize("command", list(COMMANDS))
def test_text_says_what_is_calibrated_near_the_top(run: Run, command: str) -> None:
    done = run(command, "calibrated.toml", *COMMANDS[command])
    assert done.exit_code == 0, done.output
    assert SAID in done.stdout.splitlines()[:5]
    assert "calibrated:" not in run(command, "plain.toml", *COMMANDS[command]).stdout


@pytest.mark.parametrize("command", list(COMMANDS))
def test_json_says_what_is_calibrated(run: Run, command: str) -> None:
    told, plain = (
        json.loads(run(command, f"{name}.toml", *COMMANDS[command], "--format", "json").stdout)["calibration"]
        for name in ("calibrated", "plain")
    )
    if command == "check":
        told, plain = told["base"], plain["base"]
    assert told == SAID.removeprefix("calibrated: ")
    assert plain == "none"


@pytest.mark.parametrize("command", ["point", "polar"])
def test_table_of_conditions_says_it_in_every_row(run: Run, command: str) -> None:
    for name, said in (("calibrated", SAID.removeprefix("calibrated: ")), ("plain", "none")):
        done = run(command, f"{name}.toml", *COMMANDS[command], "--format", "csv")
        table = pd.read_csv(io.StringIO(done.stdout), keep_default_na=False)
        assert set(table["calibration"]) == {said}


def test_files_say_it(run: Run) -> None:
    run("compare", "calibrated.toml", *COMMANDS["compare"])
    assert SAID in Path("out/compare/summary.txt").read_text().splitlines()
    about = json.loads(Path("out/compare/about.json").read_text())
    assert about["calibration"] == SAID.removeprefix("calibrated: ")


def test_option_that_alone_is_calibrated_is_told_apart(run: Run) -> None:
    both = ("--option", "base", "--option", "draggy")
    done = run("point", "option.toml", *COMMANDS["point"], *both)
    assert "calibrated: base: none; draggy: hull resistance x 1.200" in done.stdout.splitlines()
    shown = run("check", "option.toml", "--option", "draggy").stdout
    assert shown.splitlines().count("calibrated: hull resistance x 1.200") == 1
    assert "calibrated" not in run("point", "option.toml", *COMMANDS["point"]).stdout
