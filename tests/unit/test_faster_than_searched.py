"""A boat on foils at the end of the search range of speed is not told of the yacht series' range."""

from __future__ import annotations

import pytest

from tests.support import foiler, keelboat
from vpp import equilibrium, reporting, trim
from vpp.solved import FOIL_BORNE
from vpp.solver.status import Status


def test_the_reason_speaks_of_the_search_and_not_of_the_series(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(trim, "FASTEST_ON_FOILS", 13.0)
    asked = keelboat.conditions(tws_kn=[16.0], twa_deg=[100.0])
    solved = equilibrium.solve([foiler.base()], asked, branches=(FOIL_BORNE,))
    assert solved.status[0] == Status.OUTSIDE_MODEL_RANGE
    assert solved.reason[0] == reporting.FASTER_THAN_SEARCHED
