"""Where the crew of a skiff stand: I. M. Viola et al., Chesapeake Sailing Yacht Symposium, 2013.

Towed at full and at model scale, a skiff has less drag with its crew forward at low Froude number and aft at
high. That is a sign; neither the size nor the Froude number of the change is taken from there. Here an
invented skiff, with its crew of 160 kg together 0.3 m further aft.
"""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.support import planing_skiff as skiff

SPEEDS_KN = np.arange(2.0, 20.1, 0.5)


def aft_less_forward(forward_x: float) -> NDArray[np.float64]:
    """Change of drag over weight by 0.3 m aft, over the speeds."""
    forward, aft = (skiff.run(x, SPEEDS_KN).drag_share for x in (forward_x, forward_x - 0.3))
    return aft - forward


@pytest.mark.parametrize("forward_x", [-1.4, -1.7])
def test_forward_is_less_drag_at_low_speed_and_aft_at_high(forward_x: float) -> None:
    """From 3 to 11 kn forward, from 15 kn aft, with one change between.

    From crew 0.9 and 0.6 m ahead of the transom. Further forward it does not hold throughout: about 7.5 kn
    the boat planes sooner with its crew aft, as the theory page says.
    """
    change = aft_less_forward(forward_x)
    assert np.all(change[(SPEEDS_KN >= 3.0) & (SPEEDS_KN <= 11.0)] > 0.0)
    assert np.all(change[SPEEDS_KN >= 15.0] < 0.0)
    after = SPEEDS_KN >= 3.0
    assert np.count_nonzero(np.diff(np.sign(change[after]))) == 1


def test_change_of_sign_lies_at_the_end_of_the_hand_over_or_above() -> None:
    """Not its artefact: the law alone changes sign there, where its share is 1."""
    change = aft_less_forward(-1.4)
    crossing = SPEEDS_KN[np.flatnonzero((change[:-1] > 0.0) & (change[1:] < 0.0))[-1]] * skiff.KNOT
    volumetric = crossing / math.sqrt(skiff.GRAVITY * skiff.VOLUME ** (1.0 / 3.0))
    assert 2.0 < volumetric < 3.5
