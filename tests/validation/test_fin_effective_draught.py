"""Effective draught of a yacht by the regression of J. A. Keuning, U. B. Sonnenberg, 1998 (from memory)
against linear theory of a vertical board through a bare water surface.

The two have nothing in common: towing tests of hulls with keels, and the least drag of a lifting line with
its waves. That they agree fixes how the effective draught is meant, F^2/(pi q Te^2), in which a keel with its
image in a rigid surface has sqrt(2) of its draught, and says that the hull does little to hold the surface.
"""

import math

import numpy as np
import pytest

from vpp.physics import fins, hull, hydrofoils

LENGTH, DRAUGHT, CANOE_DRAUGHT, BEAM = 8.6, 2.1, 0.645, 2.7
FROUDE = np.array([0.2, 0.25, 0.3, 0.35, 0.4, 0.45])
SPAN_FROUDE = FROUDE * math.sqrt(LENGTH / DRAUGHT)


def share(heel_deg: float) -> np.ndarray:
    table = hull.effective_draught_coefficients(
        canoe_draught_share=CANOE_DRAUGHT / DRAUGHT,
        beam_draught_ratio=BEAM / CANOE_DRAUGHT,
        taper_ratio=1.0 / 1.4,
    )
    return hull.effective_draught_share(froude_number=FROUDE, heel=math.radians(heel_deg), coefficients=table)


def test_upright_and_at_10_degrees_it_is_that_of_a_board_through_a_bare_surface() -> None:
    """Upright within 4 %; at 10 deg within 10.5 %, above at low speed and below at high."""
    board = np.sqrt(hydrofoils.piercing_efficiency(span_froude=SPAN_FROUDE))
    np.testing.assert_allclose(share(0.0), board, rtol=0.04)
    np.testing.assert_allclose(share(10.0), board, rtol=0.105)


def test_heel_takes_more_than_the_theory_of_a_vertical_board_knows_of() -> None:
    """At 30 deg the tests have 3 to 22 % less draught than the board."""
    board = np.sqrt(hydrofoils.piercing_efficiency(span_froude=SPAN_FROUDE))
    lack = 1.0 - share(30.0) / board
    assert 0.02 < lack.min() < 0.04
    assert 0.20 < lack.max() < 0.22


def test_the_estimate_of_a_hull_as_an_endless_plate_covers_too_much() -> None:
    """With the hull's half beam it gives 12 to 27 % more draught than the tests."""
    covered = fins.covered_share(hull_half_beam=0.5 * BEAM, lifting_span=DRAUGHT)
    plate = np.sqrt(fins.board_efficiency(depth_froude_number=SPAN_FROUDE, covered_share=covered))
    excess = plate / share(0.0) - 1.0
    assert excess.min() == pytest.approx(0.12, abs=0.01)
    assert excess.max() == pytest.approx(0.27, abs=0.01)
