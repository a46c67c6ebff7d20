"""How wide best VMG is: the angles around the best one between which next to nothing of it is lost.

VMG has no slope at its top, so that what half a degree off costs is nothing that helps at sea. How far one
may be off before it costs something does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vpp.interpolation import PolarInterpolant
from vpp.results.frames import Floats
from vpp.results.variables import DEGREE

SHARE = 0.005
"""The part of best VMG that is lost at both ends."""

MORE_MARK = "+"
"""What follows an end that is not where VMG is lost: the solved angles or the way of sailing end there."""

_STEP_DEG = 0.1


@dataclass(frozen=True, kw_only=True)
class FlatTops:
    """The angles at which a part SHARE of best VMG is lost, in every solved wind, first towards the wind and
    then away from it (2, n): `end_deg`, NaN without a best VMG; `is_open` where the polar does not hold, on
    the same way of sailing, angles at which as much is lost, so that the end is the last one that it holds;
    `is_sure` where what is lost at the end is known to half of SHARE. A dead run is no open end.
    """

    end_deg: Floats
    is_open: NDArray[np.bool_]
    is_sure: NDArray[np.bool_]


def flat_tops(polar: PolarInterpolant, option: str, twa_deg: Floats, vmg_kn: Floats) -> FlatTops:
    """The flat tops around best VMGs (n,) of an option at angles [deg], positive up and down [kn]."""
    ends = np.full((2, len(twa_deg)), np.nan)
    is_open, is_sure = np.zeros((2, *ends.shape), dtype=bool)
    for place, (wind, best, made) in enumerate(zip(polar.tws_kn, twa_deg, vmg_kn, strict=True)):
        if not math.isfinite(made):
            continue
        for side, limit in enumerate((0.0, 180.0)):
            end, is_lost = _end(polar, option, place, float(best), float(made), limit)
            error = polar.error_kn(option, tws_kn=float(wind), twa_deg=end) * abs(math.cos(end * DEGREE))
            ends[side, place] = end
            is_open[side, place] = not (is_lost or end == limit)
            is_sure[side, place] = error <= 0.5 * SHARE * made
    return FlatTops(end_deg=ends, is_open=is_open, is_sure=is_sure)


def _end(
    polar: PolarInterpolant, option: str, place: int, best_deg: float, made_kn: float, limit_deg: float
) -> tuple[float, bool]:
    """The first angle from the best one towards a limit at which SHARE is lost, or the last one that is
    known, and whether it is lost there.
    """
    count = 2 + int(abs(limit_deg - best_deg) / _STEP_DEG)
    angles = np.linspace(best_deg, limit_deg, count)
    speeds, branch, _ = polar.in_solved_wind(option, place, angles)
    lost = made_kn - speeds * np.abs(np.cos(angles * DEGREE)) - SHARE * made_kn
    gone = np.flatnonzero((branch != branch[0]) | ~np.isfinite(lost))
    known = int(gone[0]) if gone.size else count
    over = np.flatnonzero(lost[:known] >= 0.0)
    if not over.size or over[0] == 0:
        return float(angles[max(known - 1, 0)]), False
    after = int(over[0])
    part = lost[after - 1] / (lost[after - 1] - lost[after])
    return float(angles[after - 1] + part * (angles[after] - angles[after - 1])), True
