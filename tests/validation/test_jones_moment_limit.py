"""Least induced drag under a limit on moment, on the lifting line's own operator.

The problem is that of R. T. Jones, NACA TN 2249, 1950; the closed forms follow from loadings whose downwash
is linear in height.
"""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from vpp.physics import lifting_line
from vpp.physics.lifting_line import Mirror, SailLine

FloatArray = NDArray[np.float64]

ENDLESS_PLANE = Mirror(deck_height=0.0, deck_half_width=math.inf, leakage=0.0)


def least_drag(
    *, gap: float | None, arm: FloatArray, line: SailLine, centre: float
) -> tuple[float, FloatArray]:
    """Induced drag over that without the limit, and the loading, for unit force with its centre at `centre`
    on `arm`.

    Stationary drag at given force and moment means a downwash of the form a + b arm (R. T. Jones 1950).
    """
    downwash = -lifting_line.self_influence(line=line, mirror=None if gap is None else ENDLESS_PLANE)
    w = line.width
    modes = np.linalg.solve(downwash, np.stack([np.ones(len(arm)), arm], axis=1))
    free = modes[:, 0] / (w @ modes[:, 0])
    weights = np.linalg.solve(np.stack([w, w * arm]) @ modes, np.array([1.0, centre]))
    gamma = np.asarray(modes @ weights, dtype=float)
    return float((w * gamma) @ downwash @ gamma / ((w * free) @ downwash @ free)), gamma


def span_of_one(*, lower: float, count: int) -> SailLine:
    nodes, z = lifting_line.stations(lower=lower, upper=lower + 1.0, count=count)
    return SailLine(node_height=nodes, control_height=z, x=np.zeros(count), chord=np.ones(count))


@pytest.mark.parametrize(("moment_share", "ratio"), [(0.9, 1.08), (0.75, 1.50)])
def test_wing_with_limited_root_bending_moment(moment_share: float, ratio: float) -> None:
    """R. T. Jones, NACA TN 2249, 1950 (problem): D/D_elliptic = 1 + 8 (1 - m)^2 (closed form, exact)."""
    line = span_of_one(lower=-0.5, count=40)
    arm = np.abs(line.control_height)
    elliptic_centre = 2.0 / (3.0 * math.pi)
    drag, _ = least_drag(gap=None, arm=arm, line=line, centre=moment_share * elliptic_centre)
    assert ratio == pytest.approx(1.0 + 8.0 * (1.0 - moment_share) ** 2)
    assert drag == pytest.approx(ratio, rel=0.005)


@pytest.mark.parametrize(("moment_share", "sign"), [(0.80, 1.0), (0.70, -1.0)])
def test_tip_load_turns_negative_below_three_quarters_of_the_moment(moment_share: float, sign: float) -> None:
    """R. T. Jones 1950 (problem; closed form, exact): the load at the tip is zero at m = 0.75."""
    line = span_of_one(lower=-0.5, count=80)
    centre = moment_share * 2.0 / (3.0 * math.pi)
    _, gamma = least_drag(gap=None, arm=np.abs(line.control_height), line=line, centre=centre)
    assert np.all(sign * gamma[[0, -1]] > 0.0)


@pytest.mark.parametrize(
    ("gap", "stiffness", "natural_centre", "changes_sign_at"),
    [(0.0, 9.0 * math.pi**2 / 2.0, 0.42441, 1.0 / math.pi), (0.05, 36.86, 0.4859, 0.3677)],
)
def test_sail_above_a_plane_with_limited_heeling_moment(
    gap: float, stiffness: float, natural_centre: float, changes_sign_at: float
) -> None:
    """Closed form (exact): D/D_min = 1 + K2 ((z0 - z)/b)^2, the head load negative below a centre of effort
    of z*.
    """
    line = span_of_one(lower=gap, count=40)
    above_foot = line.control_height - gap
    for centre in (0.40, 0.34):
        drag, _ = least_drag(gap=gap, arm=above_foot, line=line, centre=centre)
        assert drag == pytest.approx(1.0 + stiffness * (natural_centre - centre) ** 2, rel=0.005)
    heads = [
        least_drag(gap=gap, arm=above_foot, line=line, centre=changes_sign_at + step)[1][-1]
        for step in (0.01, -0.01)
    ]
    assert heads[0] > 0.0 > heads[1]
