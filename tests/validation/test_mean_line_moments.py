"""Moments of mean lines about the quarter chord, from I. H. Abbott, A. E. von Doenhoff, L. S. Stivers,
"Summary of Airfoil Data", NACA Report 824, 1945. All numbers are from memory.
"""

import math

import pytest

from vpp.physics.rig_loads import chordwise_load


@pytest.mark.parametrize(("draft", "moment"), [(0.2, -0.113), (0.3, -0.134), (0.4, -0.157), (0.5, -0.187)])
def test_mean_lines_of_six_percent(draft: float, moment: float) -> None:
    """NACA 62 to 65. Glauert's integrals are within 2 % of the tables, which were summed over stations; for
    the parabola they are the closed form pi times the camber.
    """
    load = chordwise_load(hinge_share=0.0, draft_share=draft)
    found = -0.25 * math.pi * 0.06 * (load.first[0] - load.second[0])
    assert found == pytest.approx(moment, rel=0.02)
    if draft == 0.5:
        assert found == pytest.approx(-math.pi * 0.06)
