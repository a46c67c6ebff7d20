"""`vpp crew` on invented gains: what it prints and writes, and how it ends."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from tests.support.crew import invent
from vpp.cli import app
from vpp.results.files import CAUTION

CONFIGS = Path(__file__).parents[2] / "configs"
KEELBOAT, FOILER = (str(CONFIGS / f"{name}.toml") for name in ("keelboat", "foiling_monohull"))
GAINS: dict[str, Callable[[Any], Any]] = {
    "heavier": lambda tws: 0.001 * (tws - 9.0),
    "further out": lambda tws: 0.004 + 0.0 * tws,
}


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Any:
    invent(monkeypatch, GAINS)
    monkeypatch.chdir(tmp_path)
    runner = CliRunner()
    return lambda *words: runner.invoke(app, ["crew", *words])


def test_text_tells_gains_and_the_break_even_wind(run: Any) -> None:
    done = run(KEELBOAT, "--tws", "6:14:2", "--no-figures")
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    for said in (
        "TWS kn  VMG kn",
        "10 kg more        10 cm out",
        "TWA 90 deg",
        "(+0.40)",
        "with its drag area unchanged",
        "base, upwind: 10 kg more breaks even at 9.0 kn (slower below and faster above)",
    ):
        assert said in done.stdout
    assert done.stdout.rstrip().endswith(CAUTION)


def test_files_are_those_that_are_listed(run: Any) -> None:
    done = run(KEELBOAT, "--tws", "8:10:2", "--option", "base", "--option", "small_jib", "-o", "here")
    assert done.exit_code == 0, done.output
    names = {
        "crew.csv", "break_even.csv", "summary.txt", "about.json", "crew_base.png", "crew_base.svg",
        "crew_small_jib.png", "crew_small_jib.svg",
    }  # fmt: skip
    assert {path.name for path in Path("here").iterdir()} == names
    about = json.loads(Path("here/about.json").read_text())
    assert set(about["files"]) == names
    assert (about["extra_kg"], about["shift_m"]) == (10.0, 0.1)
    table = pd.read_csv("here/break_even.csv")
    assert set(table["option"]) == {"base", "small_jib"}
    np.testing.assert_allclose(table["break_even_tws_kn"], 9.0, atol=0.02)


def test_extra_weight_and_angles_are_those_asked_for(run: Any) -> None:
    done = run(KEELBOAT, "--tws", "8", "--twa", "60:120:30", "--extra-kg", "25", "--no-figures")
    assert done.exit_code == 0, done.output
    assert "25 kg more" in done.stdout
    for said in ("TWA 60 deg", "TWA 90 deg", "TWA 120 deg"):
        assert said in done.stdout


def test_boat_free_to_pitch_has_columns_forward_and_aft(run: Any) -> None:
    done = run(FOILER, "--tws", "8", "--no-figures")
    assert done.exit_code == 0, done.output
    assert "10 cm forward" in done.stdout
    assert "10 cm aft" in done.stdout
    assert "10 cm forward" not in run(KEELBOAT, "--tws", "8", "--no-figures").stdout


def test_data_is_tidy_and_strict(run: Any) -> None:
    words = (KEELBOAT, "--tws", "8:10:2", "--no-figures", "--format")
    frame = pd.read_csv(io.StringIO(run(*words, "csv").stdout))
    assert len(frame) == 2 * 2 * 3
    np.testing.assert_allclose(frame["gain_kn"], frame["changed_kn"] - frame["unchanged_kn"], atol=6e-5)
    told = json.loads(run(*words, "json").stdout, parse_constant=pytest.fail)
    assert len(told["gain"]) == len(frame)
    assert {item["aim"] for item in told["break_even"]} == {"upwind", "downwind", "speed"}
    assert told["summary"][0].startswith("base, upwind: 10 kg more breaks even")


def test_conditions_without_a_result_are_written_and_counted(
    run: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    invent(monkeypatch, GAINS, fails=lambda name, tws: tws == 8.0)
    done = run(KEELBOAT, "--tws", "6:10:2", "--no-figures")
    assert done.exit_code == 3
    assert "9 of 27 conditions have no result" in done.stderr
    assert len(pd.read_csv("out/crew/crew.csv")) == 2 * 3 * 3
    failed = [line.split() for line in done.stdout.splitlines() if line.split()[:1] == ["8"]]
    assert failed == [["8", "-", "-", "-"]] * 3


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((KEELBOAT, "--extra-kg", "0"), ["extra_kg = 0 kg"]),
        ((KEELBOAT, "--extra-kg", "nan"), ["extra_kg = nan kg"]),
        ((KEELBOAT, "--extra-kg", "3000"), ["crew.mass_kg = 3480.0 kg"]),
        ((KEELBOAT, "--option", "nope"), ["no option of that name"]),
        ((KEELBOAT, "--tws", "6:7:2", "--twa", "200"), ["do not land on 7", "twa = 200 deg"]),
        (("absent.toml",), ["absent.toml"]),
        ((KEELBOAT, "--format", "xml"), ["not a format"]),
        ((KEELBOAT, "-o", KEELBOAT), ["a file of that name is in the way"]),
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
    assert list(Path().iterdir()) == []


def test_help_has_an_example(run: Any) -> None:
    assert "Example: vpp crew " in run("--help").stdout
