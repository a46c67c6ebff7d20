"""Commands run in this process on an invented boat and invented results."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tests.support import synthetic
from vpp.cli import app
from vpp.config import BoatFile, BoatFileError, Problem


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
    monkeypatch.setattr(importlib.import_module("vpp.polar"), "solve", synthetic.solve)
    monkeypatch.chdir(tmp_path)
    runner = CliRunner()
    return lambda *words: runner.invoke(app, list(words))
