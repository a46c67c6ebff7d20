"""The warning that an arm through the surface may ventilate, and from which end.

Regime: surface-piercing struts ventilate from the nose below depth Froude numbers of 1.0 to 1.25 and from the
tail above (tests in J. Fluid Mech., 2026).
"""

from __future__ import annotations

import pytest

from tests.support import foiler, keelboat
from vpp import equilibrium, reporting
from vpp.solved import FOIL_BORNE

FLYING = keelboat.conditions(tws_kn=[14.0], twa_deg=[60.0])


def remark() -> str:
    solved = equilibrium.solve([foiler.base()], FLYING, branches=(FOIL_BORNE,))
    return str(solved.remark[0])


def test_a_lightly_loaded_arm_gives_no_warning() -> None:
    assert "ventilate" not in remark()


def test_a_loaded_arm_warns_of_its_tail_in_flight(monkeypatch: pytest.MonkeyPatch) -> None:
    """At flying speed the depth Froude number is far above 1.25."""
    monkeypatch.setattr(reporting, "VENTILATION_LIFT", 1e-3)
    assert "foil arm may ventilate from its tail" in remark()
