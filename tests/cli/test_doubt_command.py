"""`vpp doubt`: what it prints and writes, and how it ends."""

from __future__ import annotations

import importlib
import json
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from typer.testing import CliRunner

from tests.support import doubtful
from vpp.cli import app
from vpp.results.files import CAUTION

ASKED = ("--tws", "12", "--option", "long_luff", "--draws", "16", "--check", "0", "--no-defaults")


def run(*words: str) -> Any:
    return CliRunner().invoke(app, ["doubt", *words])


@pytest.fixture(scope="module")
def boat(tmp_path_factory):
    return doubtful.write(tmp_path_factory.mktemp("doubt"))


@pytest.fixture(scope="module", autouse=True)
def _drawn_once():
    """The same question is answered once, however it is printed."""
    module = importlib.import_module("vpp.doubt")
    find, answers = module.doubt, {}

    def remembered(boat_file, *, progress=None, **asked):
        question = (boat_file.path, repr(sorted(asked.items())))
        if question not in answers:
            answers[question] = find(boat_file, progress=progress, **asked)
        return answers[question]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "doubt", remembered)
        yield


@pytest.fixture(scope="module")
def done(boat, tmp_path_factory):
    out = tmp_path_factory.mktemp("doubt") / "out"
    return run(str(boat), *ASKED, "--processes", "1", "--out", str(out)), out


def test_text_tells_ranges_gains_and_what_they_rest_on(done) -> None:
    result, folder = done
    assert result.exit_code == 0, result.output
    for said in (
        "What is uncertain",
        "drag coefficients as listed",
        "Gains over base",
        "long_luff is faster upwind in 12 kn in all 16 draws",
        "16 draws of 3 inputs",
        "errors in the form",
    ):
        assert said in result.stdout.replace("\n    ", " ").replace("\n", " "), said
    assert result.stdout.rstrip().endswith(CAUTION)
    told = json.loads((folder / "about.json").read_text(encoding="utf-8"))
    assert {path.name for path in folder.iterdir()} == set(told["files"])
    assert (told["draws"], told["seed"]) == (16, 1)


def test_files_hold_every_draw_and_figures_are_drawn(done) -> None:
    _, folder = done
    gains, draws = (pd.read_csv(folder / f"{name}.csv") for name in ("gains", "draws"))
    assert len(gains) == 3
    assert len(draws) == 2 * 3 * 16
    of = draws[(draws["option"] == "long_luff") & (draws["aim"] == "downwind")]
    row = gains[gains["aim"] == "downwind"].iloc[0]
    assert row["gain_50_percent_kn"] == pytest.approx(of["gain_kn"].median(), abs=2e-5)
    for name in ("bands", "drivers"):
        assert (folder / f"{name}.png").stat().st_size > 10_000


def test_everything_that_is_wrong_is_said_at_once_and_nothing_is_written(tmp_path: Path) -> None:
    boat = doubtful.write(tmp_path)
    out = tmp_path / "out"
    given = ("--draws", "100", "--seed", "-1", "--tws", "12:8:2", "--option", "long_luf", "--out", str(out))
    result = run(str(boat), *given)
    assert result.exit_code == 2
    for said in ("draws = 100", "such as 128", "seed = -1", "tws = '12:8:2'", 'did you mean "long_luff"?'):
        assert said in result.stderr, said
    assert not result.stdout
    assert not out.exists()


def test_a_key_that_the_boat_does_not_have_is_named_with_the_nearest(tmp_path: Path) -> None:
    ranges = '\n[[uncertainty]]\nname = "a"\nkey = "sail.gennaker.tack_x_m"\nplus_minus = 0.1\n'
    boat = doubtful.write(tmp_path, ranges)
    result = run(str(boat), *ASKED, "--out", str(tmp_path / "out"))
    assert result.exit_code == 2
    assert "uncertainty.a.key" in result.stderr
    assert 'did you mean "sail.' in result.stderr
    assert not (tmp_path / "out").exists()


def test_data_alone_is_printed(boat: Path, tmp_path: Path) -> None:
    words = (str(boat), *ASKED, "--processes", "1", "--no-figures", "--out", str(tmp_path / "out"))
    told = json.loads(run(*words, "--format", "json").stdout, parse_constant=pytest.fail)
    assert len(told["gains"]) == 3
    assert [row["input"] for row in told["ranges"]] == ["windage", "gap", "wind_profile"]
    frame = pd.read_csv(tmp_path / "out" / "gains.csv")
    assert frame["gain_kn"].tolist() == [row["gain_kn"] for row in told["gains"]]
