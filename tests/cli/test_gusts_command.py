"""`vpp gusts`: what it prints, and how it ends."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from typing import Any

import pandas as pd
import pytest
from typer.testing import CliRunner

from tests.support import keelboat
from tests.support.solved_once import solved_once
from vpp.cli import app
from vpp.gusts import COLUMNS
from vpp.results.files import CAUTION

ASKED = ("--tws", "12", "--twa", "60")


@pytest.fixture(scope="module", autouse=True)
def _solved_once() -> Iterator[None]:
    with solved_once():
        yield


def run(*words: str) -> Any:
    return CliRunner().invoke(app, ["gusts", str(keelboat.FILE), *words])


def test_text_tells_every_wind_and_the_worst() -> None:
    done = run(*ASKED)
    assert done.exit_code == 0, done.output
    for said in ("base, trimmed for 12 kn at TWA 60.0 deg, hull-borne", "10.0     55.0", "14.0     65.0"):
        assert said in done.stdout
    assert "base loses most" in done.stdout
    assert "Over the spectrum" not in done.stdout
    assert done.stdout.rstrip().endswith(CAUTION)


def test_data_is_tidy_and_has_the_spectrum() -> None:
    words = (*ASKED, "--option", "cut_head", "--spread", "1:3")
    frame = pd.read_csv(io.StringIO(run(*words, "--format", "csv").stdout))
    assert frame.columns.tolist() == list(COLUMNS)
    assert frame["weight"].sum() == pytest.approx(1.0, abs=1e-5)
    told = json.loads(run(*words, "--format", "json").stdout, parse_constant=pytest.fail)
    (spectrum,) = told["spectrum"]
    assert spectrum["option"] == "cut_head"
    assert spectrum["share_percent"] == pytest.approx(100.0)
    held = (frame["boat_speed_kn"] * frame["weight"]).sum()
    assert spectrum["held_kn"] == pytest.approx(held, abs=2e-4)


def test_everything_that_is_wrong_is_said_at_once() -> None:
    done = run("--tws", "12", "--option", "cut_hed", "--spread", "lots", "--change", "-1")
    assert done.exit_code == 2
    for said in ("--twa: missing", "spread = 'lots'", "change_kn = -1", "cut_head"):
        assert said in done.stderr
    assert not done.stdout
