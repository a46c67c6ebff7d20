"""The page on use from Python: its code runs, and what it names exists."""

from __future__ import annotations

import importlib
import re
from pathlib import Path

import pytest

import vpp
from docs.figures.make_python_page import CODE, PAGE, run
from tests.support import synthetic


def test_code_of_the_page_runs_on_invented_results(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("vpp.config.load", lambda path: synthetic.make_boat_file())
    monkeypatch.setattr(importlib.import_module("vpp.polar"), "solve", synthetic.solve)
    monkeypatch.chdir(tmp_path)
    # a gain is split by the multipliers of real optima
    filled = run(PAGE.read_text(encoding="utf-8"), leave_out="vpp.why(")
    pieces = list(CODE.finditer(filled))
    assert len(pieces) == 9
    assert sum(piece["output"] is None for piece in pieces) == 1  # that of the figures
    assert all(piece["output"] is None or piece["output"].strip() for piece in pieces)
    assert {path.name for path in tmp_path.iterdir()} == {"taller_rig.png", "vmg.svg", "course.toml"}
    assert "Demo keelboat ['base', 'taller_rig', 'lower_foot', 'cut_head']" in filled


def test_page_has_output_and_names_what_exists() -> None:
    text = PAGE.read_text(encoding="utf-8")
    assert all(piece["output"] is None or piece["output"].strip() for piece in CODE.finditer(text))
    named = set(re.findall(r"\bvpp\.([A-Za-z_]+)\(", text))
    assert len(named) >= 10
    assert named <= set(vpp.__all__)
