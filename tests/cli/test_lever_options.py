"""What one more unit buys, at the command line."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from tests.support.solved_once import solved_once
from vpp.cli import app

KEELBOAT = str(Path(__file__).parents[2] / "configs" / "keelboat.toml")
WIND = ("--tws", "12", "--twa", "60")


@pytest.fixture(scope="module", autouse=True)
def _solved_once() -> Iterator[None]:
    with solved_once():
        yield


def run(*words: str) -> Any:
    return CliRunner().invoke(app, ["point", KEELBOAT, *WIND, *words])


def test_a_point_ends_with_loads_and_the_ten_strongest_keys() -> None:
    done = run()
    told = done.stdout.split("Levers: ")[1].split("\n\n")[0].splitlines()
    assert done.exit_code == 0
    assert "boat speed" in told[0]
    assert told[1].split()[:3] == ["lever", "has", "unit"]
    assert sum("." in line.split()[0] for line in told[2:]) == 10
    assert any(line.startswith("drag_n") for line in told)


def test_levers_can_be_left_out() -> None:
    assert "Levers" not in run("--no-levers").stdout
    assert "levers" not in json.loads(run("--no-levers", "--format", "json").stdout)


def test_named_levers_are_data_with_units() -> None:
    asked = ("--lever", "crew.mass_kg", "--lever", "drag_n")
    rows = list(csv.DictReader(io.StringIO(run(*asked, "--format", "csv").stdout)))
    assert {row["lever"]: row["unit"] for row in rows} == {"drag_n": "N", "crew.mass_kg": "kg"}
    told = json.loads(run(*asked, "--format", "json").stdout)["levers"]
    assert [row["lever"] for row in told] == ["drag_n", "crew.mass_kg"]
    assert float(rows[0]["gain_kn_per_unit"]) == pytest.approx(told[0]["gain_kn_per_unit"], rel=1e-6)


def test_a_lever_that_is_none_is_bad_input() -> None:
    done = run("--lever", "crew.mas_kg")
    assert done.exit_code == 2
    assert 'did you mean "crew.mass_kg"' in done.stderr


def test_why_there_are_no_levers_is_told(invented: Callable[..., Any]) -> None:
    # the invented boat stands in no file
    done = invented("point", "good.toml", "--tws", "12", "--twa", "60")
    assert done.exit_code == 0
    assert "No levers: " in done.stdout


def test_a_comparison_tells_the_ten_strongest_of_the_base_and_writes_all(tmp_path: Path) -> None:
    words = ("--tws", "12", "--twa", "90", "--option", "more_crew", "--no-figures", "--processes", "1")
    done = CliRunner().invoke(app, ["compare", KEELBOAT, *words, "-o", str(tmp_path)])
    assert done.exit_code == 0
    told = done.stdout.split("The ten strongest levers of base")[1].split("\n\n")[0].splitlines()
    assert len(told) == 2 + 10
    assert "upwind 12 kn" in told[1]
    rows = list(csv.DictReader(io.StringIO((tmp_path / "levers.csv").read_text())))
    assert {row["aim"] for row in rows} == {"upwind", "downwind"}
