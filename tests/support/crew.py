"""Invented gains of crew changes on the boats of a file, for tests of break-even winds and of `vpp crew`."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.support import synthetic
from vpp.boat import Boat
from vpp.results.variables import KNOT
from vpp.solved import Conditions, Solved
from vpp.solver.status import Status

Floats = NDArray[np.float64]
Gain = Callable[[Floats], Floats]


def invent(
    monkeypatch: pytest.MonkeyPatch,
    gains: Mapping[str, Gain],
    *,
    fails: Callable[[str, Floats], Any] = lambda name, tws_kn: np.zeros(len(tws_kn), dtype=bool),
    flies: Callable[[str, Floats], Any] = lambda name, tws_kn: np.zeros(len(tws_kn), dtype=bool),
) -> None:
    """Let boats be solved with an invented speed, and a share of it more [1] by the wind [kn] for each boat
    whose name ends in a key of `gains`. `fails` and `flies` say by a boat's name and winds where it has no
    result and where it is on foils.
    """

    def solve(
        boats: Sequence[Boat],
        conditions: Conditions,
        *,
        processes: int = 1,
        progress: Callable[[int, int], None] | None = None,
    ) -> Solved:
        plain = synthetic.solve([synthetic.make_boat()] * len(boats), conditions, progress=progress)
        factor, status, branch = np.ones(len(conditions)), plain.status.copy(), plain.branch.astype(object)
        for place, boat in enumerate(boats):
            mine = np.flatnonzero(conditions.option == place)
            tws = np.round(conditions.tws[mine] / KNOT, 9)
            for ending, gain in gains.items():
                factor[mine] += gain(tws) if boat.name.endswith(ending) else 0.0
            status[mine[fails(boat.name, tws)]] = Status.NO_EQUILIBRIUM
            branch[mine[flies(boat.name, tws)]] = "foil-borne"
        scaled = {name: plain.quantities[name] * factor for name in ("boat_speed", "vmg")}
        reason = np.where(status == Status.CONVERGED, "", "No equilibrium: invented.").astype(object)
        return replace(
            plain,
            boats=tuple(boats),
            quantities={**plain.quantities, **scaled},
            status=status,
            reason=reason,
            branch=branch.astype(str),
        )

    for module in ("vpp.polar", "vpp.crew"):
        monkeypatch.setattr(importlib.import_module(module), "solve", solve)
