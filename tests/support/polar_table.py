"""Tables of conditions from an invented boat speed, for tests of what is done with a polar."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd
from scipy.optimize import minimize_scalar

Speed = Callable[[float, float], float]
"""Boat speed in kn from wind in kn and angle in deg."""

ANGLES_DEG = tuple(float(angle) for angle in range(30, 181, 5))


def polar_table(
    speeds: dict[str, Speed],
    *,
    tws_kn: Sequence[float],
    twa_deg: Sequence[float] = ANGLES_DEG,
    branch: Callable[[float, float], str] = lambda tws, twa: "hull-borne",
    fails: Callable[[str, float, float, str], bool] = lambda option, tws, twa, aim: False,
) -> pd.DataFrame:
    """The table of a polar: the speeds at every angle, and both best VMGs by a search on the same speed."""
    rows = []
    for option, speed in speeds.items():
        for tws in tws_kn:
            cases = [(angle, "speed") for angle in twa_deg]
            cases += [(best_vmg_deg(speed, tws, aim), aim) for aim in ("upwind", "downwind")]
            for angle, aim in cases:
                failed = fails(option, tws, angle, aim)
                value = np.nan if failed else speed(tws, angle)
                rows.append(
                    {
                        "option": option,
                        "tws_kn": tws,
                        "twa_deg": np.nan if failed and aim != "speed" else angle,
                        "aim": aim,
                        "boat_speed_kn": value,
                        "vmg_kn": value * np.cos(np.deg2rad(angle)),
                        "branch": "" if failed else branch(tws, angle),
                        "status": "no_equilibrium" if failed else "converged",
                        "reason": "No equilibrium: invented." if failed else "",
                    }
                )
    return pd.DataFrame(rows)


def best_vmg_deg(speed: Speed, tws: float, aim: str) -> float:
    """The angle of best VMG, by a grid of half degrees and a search about its best."""
    sign = 1.0 if aim == "upwind" else -1.0
    angles = np.arange(1.0, 90.0, 0.5) if aim == "upwind" else np.arange(90.5, 180.1, 0.5)

    def lost(angle: float) -> float:
        return -sign * speed(tws, float(np.clip(angle, 0.0, 180.0))) * float(np.cos(np.deg2rad(angle)))

    best = float(angles[np.argmin([lost(float(angle)) for angle in angles])])
    found = minimize_scalar(
        lost, bounds=(best - 0.5, min(best + 0.5, 180.0)), method="bounded", options={"xatol": 1e-9}
    )
    return best if lost(best) <= found.fun else float(found.x)
