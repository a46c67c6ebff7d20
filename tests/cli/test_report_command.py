"""`vpp report` on invented results: the page, the tables beside it, and how it ends."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from vpp.results.files import CAUTION

GRID = ("--tws", "8:14:2", "--twa", "35:170:15")
TABLES = {
    "polar.csv",
    "budget.csv",
    "gain.csv",
    "best.csv",
    "inputs.csv",
    "targets.csv",
    "summary.txt",
    "about.json",
}


@pytest.fixture
def run(invented: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    """The command without the five megabytes of its library."""
    monkeypatch.setattr("vpp.report.page.plotting_library", lambda: "")
    monkeypatch.setattr("vpp.cli.report.missing_page_library", list)
    return lambda *words: invented("report", *words)


def test_page_and_tables_are_written(run: Callable[..., Any]) -> None:
    done = run("good.toml", *GRID, "--option", "taller_rig", "-o", "here")
    assert done.exit_code == 0, done.output
    assert {path.name for path in Path("here").iterdir()} == {"report.html", *TABLES}
    about = json.loads(Path("here/about.json").read_text(encoding="utf-8"))
    assert set(about["files"]) == {"report.html", *TABLES}
    assert "here/report.html" in done.stdout
    assert done.stdout.rstrip().endswith(CAUTION)
    targets = pd.read_csv("here/targets.csv")
    assert set(targets["option"]) == {"base", "taller_rig"}


def test_a_boat_without_options_has_a_page(run: Callable[..., Any]) -> None:
    done = run("plain.toml", *GRID, "-o", "here")
    assert done.exit_code == 0, done.output
    assert Path("here/report.html").is_file()


def test_conditions_without_a_result_end_with_3(run: Callable[..., Any]) -> None:
    done = run("good.toml", "--tws", "14:18:4", "--twa", "30:90:30", "-o", "here")
    assert done.exit_code == 3, done.output
    assert "conditions have no result" in done.stderr
    assert Path("here/report.html").is_file()


def test_everything_wrong_is_told_at_once(run: Callable[..., Any]) -> None:
    done = run("broken.toml", "--tws", "6:9:2", "-o", "here")
    assert done.exit_code == 2
    assert "tws = '6:9:2'" in done.stderr
    assert "negative" in done.stderr
    assert not Path("here").exists()


def test_missing_library_is_told_before_solving(
    invented: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "plotly.offline", None)
    done = invented("report", "good.toml", "-o", "here")
    assert done.exit_code == 2
    assert "pip install 'vpp[report]'" in done.stderr
    assert not Path("here").exists()


def test_help_has_an_example(run: Callable[..., Any]) -> None:
    assert "Example: vpp report " in run("--help").stdout
