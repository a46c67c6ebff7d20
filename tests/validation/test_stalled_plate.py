"""Sections beyond stall: L. A. Viterna & R. D. Corrigan, "Fixed pitch rotor performance of large horizontal
axis wind turbines", NASA CP-2230, 1981 (from memory), and plates broadside on of S. F. Hoerner,
"Fluid-Dynamic Drag", 1965 (from memory).
"""

import math

import numpy as np
import pytest

from vpp.physics import sections

STALL = math.radians(8.0)


@pytest.mark.parametrize(("aspect_ratio", "drag"), [(1.0, 1.128), (5.0, 1.200), (50.0, 2.010)])
def test_drag_of_a_plate_broadside_on(aspect_ratio: float, drag: float) -> None:
    """Viterna & Corrigan 1981 (from memory): 1.11 + 0.018 AR."""
    assert sections.plate_drag_maximum(aspect_ratio=aspect_ratio) == pytest.approx(drag, abs=1e-12)


@pytest.mark.parametrize(("aspect_ratio", "measured"), [(1.0, 1.17), (50.0, 1.98)])
def test_drag_of_a_plate_against_measurements(aspect_ratio: float, measured: float) -> None:
    """Hoerner 1965 (from memory): a square plate 1.17, a plate in two-dimensional flow 1.98; within 5 %."""
    assert sections.plate_drag_maximum(aspect_ratio=aspect_ratio) == pytest.approx(measured, rel=0.05)


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("camber", [0.0, 0.05, 0.12])
@pytest.mark.parametrize("aspect_ratio", [1.0, 5.0])
def test_section_square_to_the_wind(side: float, camber: float, aspect_ratio: float) -> None:
    """Viterna & Corrigan 1981: at 90 deg no lift and the drag of the plate, whatever happened at the
    stall.
    """
    lift, drag = sections.section_forces(
        incidence=side * 0.5 * math.pi,
        camber=camber,
        stall_incidence=STALL,
        stall_width=math.radians(1.5),
        least_drag=0.012,
        bucket_factor=0.012,
        drag_maximum=1.11 + 0.018 * aspect_ratio,
    )
    assert lift == pytest.approx(0.0, abs=1e-12)
    assert drag == pytest.approx(1.11 + 0.018 * aspect_ratio, rel=1e-12)


@pytest.mark.parametrize("stall_deg", [6.0, 8.0, 14.0])
def test_plate_starts_from_the_section_at_its_stall(stall_deg: float) -> None:
    """Viterna & Corrigan 1981: the constants are chosen so that both coefficients are continuous at the
    stall.
    """
    stall = math.radians(stall_deg)
    lift, drag = sections.stalled_plate(
        incidence=stall, stall_incidence=stall, stall_lift=1.3, stall_drag=0.03, drag_maximum=1.2
    )
    assert (lift, drag) == pytest.approx((1.3, 0.03), rel=1e-12)


def test_plate_tends_to_a_force_normal_to_itself() -> None:
    """Newtonian plate (common practice, no source): far past the stall the force is normal to the chord,
    lift/drag = 1/tan(incidence).

    Viterna's join to the section adds 0.08 to the lift at 45 deg and less beyond; the force is normal
    within 6 deg from there.
    """
    incidence = np.radians(np.linspace(45.0, 90.0, 10))
    lift, drag = sections.section_forces(
        incidence=incidence,
        camber=0.05,
        stall_incidence=STALL,
        stall_width=math.radians(1.5),
        least_drag=0.012,
        bucket_factor=0.012,
        drag_maximum=1.2,
    )
    np.testing.assert_allclose(np.arctan2(drag, lift), incidence, atol=math.radians(6.0))
