"""`vpp why`: what it prints and draws, and how it ends."""

from __future__ import annotations

import io
import json
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
from vpp.why import CAUSES, LEFT_OVER

ASKED = ("--tws", "12", "--twa", "upwind", "--option", "long_luff")


@pytest.fixture(scope="module", autouse=True)
def _solved_once() -> Iterator[None]:
    with solved_once():
        yield


def run(*words: str) -> Any:
    return CliRunner().invoke(app, ["why", str(keelboat.FILE), *words])


def test_text_tells_the_parts_and_the_figure_is_drawn(tmp_path: Path) -> None:
    figure = tmp_path / "new" / "why.png"
    done = run(*ASKED, "--figure", str(figure))
    assert done.exit_code == 0, done.output
    assert "long_luff gains" in done.stdout
    assert "VMG upwind in 12.0 kn, hull-borne: " in done.stdout
    for said in ("sail drive", "side force", "centre of effort", "together", "alone kn"):
        assert said in done.stdout
    assert done.stdout.rstrip().endswith(CAUTION)
    assert figure.stat().st_size > 10_000


def test_data_is_tidy_and_adds_up() -> None:
    frame = pd.read_csv(io.StringIO(run(*ASKED, "--format", "csv").stdout))
    assert frame["cause"].tolist() == [*CAUSES, LEFT_OVER]
    told = json.loads(run(*ASKED, "--format", "json").stdout, parse_constant=pytest.fail)
    assert [row["gain_kn"] for row in told["parts"]] == frame["gain_kn"].tolist()
    (sentence,) = told["summary"]
    gain = float(sentence.split("gains ")[1].split(" kn")[0])
    assert frame["gain_kn"].sum() == pytest.approx(gain, abs=0.006)


def test_everything_that_is_wrong_is_said_at_once() -> None:
    done = run("--tws", "12", "--option", "long_luf", "--figure", "why.jpg")
    assert done.exit_code == 2
    for said in ("--twa: missing", "must end in .png or .svg", "long_luff"):
        assert said in done.stderr
    assert not done.stdout


def test_one_figure_is_of_one_option() -> None:
    done = run("--tws", "12", "--twa", "60", "--figure", "why.png")
    assert done.exit_code == 2
    assert "one option is drawn; there are 6" in done.stderr
