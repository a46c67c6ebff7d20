"""Leeway of a keelboat upwind: 3 to 6 deg in full-scale sailing and towing tests, as in L. Larsson, R. E.
Eliasson, Principles of Yacht Design, and common practice (from memory).
"""

from pathlib import Path

import pytest

import vpp.config
from vpp.polar import point

KEELBOAT = Path(__file__).parents[2] / "configs" / "keelboat.toml"


@pytest.mark.parametrize("tws_kn", [6.0, 8.0, 12.0, 16.0])
def test_leeway_at_best_vmg_upwind_lies_in_the_band(tws_kn: float) -> None:
    values = point(vpp.config.load(KEELBOAT), tws_kn=tws_kn, twa_deg="upwind").values
    assert values["status"] == "converged"
    assert 3.0 < float(values["leeway_deg"]) < 6.0


def test_leeway_grows_with_wind_once_the_boat_is_pressed() -> None:
    """More heel for the same side force, and hardly more speed (common practice, no source)."""
    boat = vpp.config.load(KEELBOAT)
    leeway = [
        float(point(boat, tws_kn=tws, twa_deg="upwind").values["leeway_deg"]) for tws in (8.0, 12.0, 16.0)
    ]
    assert leeway == sorted(leeway)
