"""Spray, junctions and crossings: S. F. Hoerner, "Fluid-Dynamic Drag", 1965, chapters VIII and X (from
memory), evaluated by hand.
"""

import numpy as np
import pytest

from vpp.physics import hydrofoils

KNOT = 1852.0 / 3600.0


def test_spray_drag_of_a_strut() -> None:
    """0.24 q t^2: 30 mm thick, 30 kn, sea water of 1026.021 kg/m^3 gives 26.4 N."""
    drag = hydrofoils.spray_drag(speed=30.0 * KNOT, thickness=0.030, water_density=1026.021)
    assert drag == pytest.approx(26.4, abs=0.05)


@pytest.mark.parametrize("ratio", [0.085, 0.12, 0.2])
def test_wall_junction_above_its_onset(ratio: float) -> None:
    area = hydrofoils.wall_junction_drag_area(thickness=0.03, thickness_ratio=np.array(ratio))
    assert area == pytest.approx(0.03**2 * (0.75 * ratio - 0.0003 / ratio**2), rel=1e-12)


@pytest.mark.parametrize("ratio", [0.065, 0.12, 0.2])
def test_strut_crossing_above_its_onset(ratio: float) -> None:
    area = hydrofoils.crossing_drag_area(thickness=0.03, thickness_ratio=np.array(ratio))
    assert area == pytest.approx(0.03**2 * (17.0 * ratio**2 - 0.05), rel=1e-12)


def test_formulas_turn_positive_where_stated() -> None:
    """Zeros of the brackets: t/c 0.074 and 0.054."""
    assert pytest.approx(0.074, abs=5e-4) == hydrofoils.WALL_JUNCTION_LEAST_THICKNESS
    assert pytest.approx(0.054, abs=5e-4) == hydrofoils.CROSSING_LEAST_THICKNESS


def test_no_thrust_below_the_onset() -> None:
    thin = np.linspace(0.01, 0.05, 50)
    assert np.all(hydrofoils.wall_junction_drag_area(thickness=1.0, thickness_ratio=thin) == 0.0)
    assert np.all(hydrofoils.crossing_drag_area(thickness=1.0, thickness_ratio=thin) == 0.0)
    onset = np.linspace(0.05, 0.09, 400)
    for area in (hydrofoils.wall_junction_drag_area, hydrofoils.crossing_drag_area):
        values = area(thickness=1.0, thickness_ratio=onset)
        assert np.all(values >= 0.0)
        assert np.all(np.diff(values) >= 0.0)
