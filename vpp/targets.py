"""Targets of a boat: best VMG up and down by wind, what being off it costs, and the modes around it. What is
told between solved winds and how is in `targets_between`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from vpp.polar import BEST_VMG, Polar, polar
from vpp.results.frames import to_frame
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import SPEED, Conditions
from vpp.targets_between import OFFSETS_DEG, Targets, each_way, targets_from
from vpp.wardrobe import solve

if TYPE_CHECKING:
    from vpp.config import BoatFile
    from vpp.polar import Progress

DEFAULT_TWS_GRID = "6:24:2"
DEFAULT_TWA_GRID = "30:170:5"


def targets(
    boat_file: BoatFile,
    *,
    tws_kn: Sequence[float] | None = None,
    twa_deg: Sequence[float] | None = None,
    options: Sequence[str] = (),
    processes: int = 1,
    progress: Progress | None = None,
) -> Targets:
    """Targets of the base boat and of the named options, of all options when none is named: their polar is
    solved on a wind grid, as `vpp.polar` does, and then the angles around each best one, so that what being
    off it costs is solved and not interpolated.

    Raises WindGridError for a grid that cannot be used, BoatFileError for an option that the file does not
    hold and InterpolationError where no condition has a result.
    """
    solved = polar(
        boat_file, tws_kn=tws_kn, twa_deg=twa_deg, options=options, processes=processes, progress=progress
    )
    return with_angles_around(solved, processes=processes, progress=progress)


def with_angles_around(solved: Polar, *, processes: int = 1, progress: Progress | None = None) -> Targets:
    """The targets of a polar whose boats are at hand, with the angles around each best one solved."""
    conditions = _around(solved)
    frames = [solved.to_frame()]
    if len(conditions):
        frames.append(
            to_frame(solve(solved.solved.boats, conditions, processes=processes, progress=progress))
        )
    return targets_from(
        pd.concat(frames, ignore_index=True), source=solved.source, each=each_way(solved.solved)
    )


def _around(solved: Polar) -> Conditions:
    """The angles at which modes and costs are told, for every option and wind with a best VMG."""
    places, offsets = np.indices((len(solved.options) * len(solved.grid.tws_kn), len(OFFSETS_DEG)))
    option, wind = np.divmod(places.ravel(), len(solved.grid.tws_kn))
    winds, off = np.array(solved.grid.tws_kn)[wind], np.array(OFFSETS_DEG)[offsets.ravel()]
    parts = []
    for aim in BEST_VMG:
        twa = solved.at_best_vmg("twa_deg", aim=aim)[option, wind] + off
        known = np.isfinite(solved.at_best_vmg("vmg_kn", aim=aim)[option, wind])
        rows = np.flatnonzero(known & (twa >= 0.0) & (twa <= 180.0))
        parts.append((option[rows], winds[rows], twa[rows]))
    options, tws, angles = (np.concatenate(each) for each in zip(*parts, strict=True))
    return Conditions(
        option=options.astype(np.intp), tws=tws * KNOT, twa=angles * DEGREE, aim=np.full(len(tws), SPEED)
    )
