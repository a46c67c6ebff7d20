"""Commands run in this process on an invented boat and invented results."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from tests.support import synthetic
from vpp.cli import app
from vpp.config import BoatFile, BoatFileError, Problem
from vpp.polar import Progress
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import Conditions, Solved

BEYOND = "hull resistance extended past Fn 0.45"


def solve_beyond_the_data(
    boats: Any, conditions: Conditions, *, processes: int = 1, progress: Progress | None = None
) -> Solved:
    """Invented results; above 28 kn of wind and at 100 deg and more they rest on extended hull resistance."""
    solved = synthetic.solve(boats, conditions, progress=progress)
    beyond = (conditions.tws > 28.0 * KNOT) & (solved.quantities["twa"] > 99.0 * DEGREE)
    remark = np.where(beyond, BEYOND, solved.remark)
    return replace(solved, remark=remark)


@pytest.fixture
def invented(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[..., object]:
    """Run `vpp` with words; the boat file `good.toml` has options, `plain.toml` has none, any other is broken
    twice.
    """

    def load(path: Path) -> BoatFile:
        if Path(path).name == "good.toml":
            return synthetic.make_boat_file()
        if Path(path).name == "plain.toml":
            return synthetic.make_boat_file(options=False)
        raise BoatFileError(
            [
                Problem(file=str(path), line=3, key="hull.waterline_length_m", given="-1", wrong="negative"),
                Problem(file=str(path), line=9, key="rig.mast_x", given="1", wrong="unknown key"),
            ]
        )

    monkeypatch.setattr("vpp.config.load", load)
    monkeypatch.setattr(importlib.import_module("vpp.polar"), "solve", solve_beyond_the_data)
    monkeypatch.chdir(tmp_path)
    runner = CliRunner()
    return lambda *words: runner.invoke(app, list(words))
