"""An invented polar as it is exported."""

from __future__ import annotations

import importlib

import pytest

from tests.support import synthetic
from vpp.exchange.table import PolarTable
from vpp.polar import Polar


@pytest.fixture
def polar(monkeypatch: pytest.MonkeyPatch) -> Polar:
    """Two options in three winds, with conditions that have no result."""
    module = importlib.import_module("vpp.polar")
    monkeypatch.setattr(module, "solve", synthetic.solve)
    return module.polar(
        synthetic.make_boat_file(),
        tws_kn=(8.0, 16.0, 24.0),
        twa_deg=(30.0, 60.0, 90.0, 160.0),
        options=("cut_head",),
    )


@pytest.fixture
def table(polar: Polar) -> PolarTable:
    """The same, as it is exported."""
    return PolarTable.from_polar(polar)
