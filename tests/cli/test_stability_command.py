"""`vpp stability` on the demo boats: what it prints and writes, and how it ends."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from typer.testing import CliRunner

from vpp.cli import app
from vpp.results.files import CAUTION

CONFIGS = Path(__file__).parents[2] / "configs"
KEELBOAT, FOILER = (str(CONFIGS / f"{name}.toml") for name in ("keelboat", "foiling_monohull"))


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Any:
    monkeypatch.chdir(tmp_path)
    runner = CliRunner()
    return lambda *words: runner.invoke(app, ["stability", *words])


def test_keelboat_prints_its_arms_and_writes_nothing_unasked(run: Any) -> None:
    done = run(KEELBOAT)
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    for said in ("heel, deg", "hull form (buoyancy)", "boat's masses", "crew", "righting arm GZ, m"):
        assert said in done.stdout
    assert "On foils" not in done.stdout
    assert "ISO 12217-2:2022 excludes foiling craft" in done.stdout
    assert done.stdout.rstrip().endswith(CAUTION)
    assert list(Path().iterdir()) == []


def test_foiler_prints_every_reference_and_writes_tables_and_figures(run: Any) -> None:
    done = run(FOILER, "--cant", "48", "-o", "out")
    assert done.exit_code == 0, done.output
    for said in ("water plane", "cant axis", "mast pivot", "side force times lever", "rudder amidships"):
        assert said in done.stdout
    names = {
        "stability.csv", "conditions.csv", "about.json", "stability_heel.png", "stability_heel.svg",
        "stability_cant.png", "stability_cant.svg",
    }  # fmt: skip
    assert {path.name for path in Path("out").iterdir()} == names
    assert set(json.loads(Path("out/about.json").read_text())["files"]) == names
    printed = next(line for line in done.stdout.splitlines() if line.startswith("  righting moment"))
    table = pd.read_csv("out/conditions.csv")
    first = table[(table["state"] == "afloat") & (table["varied"] == "heel")].iloc[0]
    assert float(printed.split()[2]) == pytest.approx(first["righting_moment_nm"] / 1e3, abs=0.05)


def test_gaps_are_told_with_their_reasons(run: Any) -> None:
    done = run(FOILER)
    assert done.exit_code == 3
    assert "no result at heel -6.0 to -3.0 deg: the wing tip of foil is out of the water" in done.stdout
    assert "conditions have no result" in done.stderr
    data = run(FOILER, "--format", "csv")
    assert data.exit_code == 3
    assert "out of the water" in data.stderr


def test_data_is_tidy_and_strict(run: Any) -> None:
    frame = pd.read_csv(io.StringIO(run(FOILER, "--cant", "48", "--format", "csv").stdout))
    assert {"option", "state", "heel_deg", "cant_deg", "reference", "contribution", "roll_moment_nm"} <= set(
        frame
    )
    assert set(frame["state"]) == {"afloat", "foil-borne"}
    told = json.loads(run(KEELBOAT, "--format", "json").stdout, parse_constant=pytest.fail)
    assert told["settings"]["crew_arm_m"] == 1.5
    assert told["settings"]["cant_deg"] is None
    assert len(told["moments"]) == 3 * len(told["conditions"])
    assert "ISO 12217-2:2022" in told["caution"]


def test_option_changes_the_boat(run: Any) -> None:
    base, crew = (
        json.loads(run(KEELBOAT, "--option", name, "--format", "json").stdout)["conditions"][0]
        for name in ("base", "more_crew")
    )
    more = crew["righting_moment_nm"] - base["righting_moment_nm"]
    assert more == pytest.approx(80.0 * 9.80665 * 1.5, abs=0.1)  # one more of 80 kg, 1.5 m to windward


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((FOILER, "--heel", "9"), ["heel = 9 deg"]),
        ((FOILER, "--cant", "20", "--speed", "0"), ["cant = 20 deg", "speed = 0 kn"]),
        ((FOILER, "--ride-height", "9", "--ce-height", "99"), ["ride_height = 9 m", "ce_height = 99 m"]),
        ((FOILER, "--speed", "nan"), ["speed = nan kn"]),
        ((KEELBOAT, "--speed", "20"), ["no canting foils"]),
        ((KEELBOAT, "--crew-arm", "9"), ["crew_arm = 9 m: allowed are 0 to 1.5 m"]),
        ((KEELBOAT, "--option", "nope"), ["no option of that name"]),
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
    assert "Example: vpp stability " in run("--help").stdout
