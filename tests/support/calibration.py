"""Boat files with known points, and speeds that follow a power of every scale, for tests of calibration."""

from __future__ import annotations

import importlib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.support import synthetic
from vpp.boat import Boat, Calibration
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import Conditions, Solved
from vpp.solver.status import Status

Floats = NDArray[np.float64]
Power = Callable[[Floats, Floats], Floats]

KEELBOAT = Path(__file__).parents[2] / "configs" / "keelboat.toml"
WHY = "No equilibrium: invented."


def powers(**of_scale: Power) -> dict[str, Power]:
    """By wind speed [kn] and angle [deg], the power of each scale that the speed goes with: by all scales."""
    told: dict[str, Power] = {
        "hull_resistance": lambda tws, twa: -0.2 - 0.01 * tws,
        "appendage_drag": lambda tws, twa: -0.04 - 0.0004 * twa,
        "windage": lambda tws, twa: -0.2 + 0.0016 * twa,
        "sail_force": lambda tws, twa: 0.21 + 0.01 * tws,
    }
    return told | of_scale


def speed_kn(calibration: Calibration, tws_kn: Floats, twa_deg: Floats, of: Mapping[str, Power]) -> Floats:
    """The invented speed."""
    tws, twa = np.asarray(tws_kn, dtype=float), np.asarray(twa_deg, dtype=float)
    speed = synthetic.boat_speed_kn("base", tws, twa)
    for name, scale in vars(calibration).items():
        speed = speed * scale ** of[name](tws, twa)
    return speed


def invent(
    monkeypatch: pytest.MonkeyPatch,
    of: Mapping[str, Power],
    *,
    fails: Callable[[Boat, Floats], NDArray[np.bool_]] = lambda boat, tws_kn: np.zeros(len(tws_kn), bool),
) -> list[int]:
    """Let boats be solved with the invented speed; `fails` says by a boat and winds where it has no result.
    Returns the sizes of the batches that are solved, as they come.
    """

    levers = importlib.import_module("vpp.levers")  # the package has a function of that name

    def no_levers(*_: object, **__: object) -> object:
        raise levers.NoLevers("the boat is invented")

    monkeypatch.setattr(levers, "levers", no_levers)
    sizes: list[int] = []

    def solve(
        boats: Sequence[Boat],
        conditions: Conditions,
        *,
        processes: int = 1,
        progress: Callable[[int, int], None] | None = None,
    ) -> Solved:
        sizes.append(len(conditions))
        plain = synthetic.solve([synthetic.make_boat()] * len(boats), conditions, progress=progress)
        speed, status = plain.quantities["boat_speed"].copy(), np.full(len(conditions), int(Status.CONVERGED))
        for place, boat in enumerate(boats):
            mine = np.flatnonzero(conditions.option == place)
            tws, twa = conditions.tws[mine] / KNOT, plain.quantities["twa"][mine] / DEGREE
            speed[mine] = KNOT * speed_kn(boat.calibration, tws, twa, of)
            status[mine[fails(boat, tws)]] = Status.NO_EQUILIBRIUM
        good = status == Status.CONVERGED
        return replace(
            plain,
            boats=tuple(boats),
            quantities={**plain.quantities, "boat_speed": np.where(good, speed, np.nan)},
            status=status,
            reason=np.where(good, "", WHY).astype(object),
        )

    for module in ("vpp.polar", "vpp.crew", "vpp.calibration"):
        monkeypatch.setattr(importlib.import_module(module), "solve", solve)
    return sizes


def boat_text(
    points: Sequence[tuple[str, float, float, float]] = (), *, calibration: Mapping[str, float] | None = None
) -> str:
    """The demo keelboat on few stations a sail (quicker, and the same for what is tested here), with known
    points (name, wind speed kn, wind angle deg, boat speed kn) and scales.
    """
    text = re.sub(r"station_count = \d+", "station_count = 6", KEELBOAT.read_text(encoding="utf-8"))
    if calibration:
        lines = "\n".join(f"{name}_scale = {value!r}" for name, value in calibration.items())
        text += f"\n[calibration]\n{lines}\n"
    for name, tws, twa, speed in points:
        text += (
            f'\n[[known_point]]\nname = "{name}"\ntws_kn = {float(tws)!r}\ntwa_deg = {float(twa)!r}\n'
            f"boat_speed_kn = {float(speed)!r}\n"
        )
    return text
