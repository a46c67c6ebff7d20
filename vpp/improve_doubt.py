"""How sure the gain of an improved boat is: as an option of its boat file, with the same draws of what is
uncertain as the boat as built.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from vpp.config import load
from vpp.config.resolve import BASE
from vpp.doubt import NoDoubt, doubt
from vpp.improve_asked import SpeedWanted
from vpp.improve_result import Band
from vpp.uncertainty import shares

if TYPE_CHECKING:
    from vpp.config import BoatFile
    from vpp.polar import Progress

# Where the best VMG alone is asked for, an angle that stands in for those that there must be.
_ANY_DEG = (90.0,)
# Inputs that are named: from this share of the variance on, and no more than so many.
_NAMED, _MOST_NAMED = 0.1, 3


def band(
    boat_file: BoatFile,
    *,
    text: str,
    name: str,
    option: str,
    wanted: SpeedWanted,
    draws: int,
    seed: int,
    processes: int = 1,
    progress: Progress | None = None,
) -> Band:
    """The gain of an option, given by its text, over another of a boat file in every draw, in the mean that
    is wanted. Raises what `vpp.doubt.doubt` raises.
    """
    with _with_option(boat_file, text) as path:
        file = load(path)
        if file.boats[0].sea != boat_file.boats[0].sea:
            file = file.at_sea(boat_file.boats[0].sea)
        angles = tuple(sorted(angle for angle in wanted.twa if not isinstance(angle, str)))
        found = doubt(
            file,
            tws_kn=sorted(wanted.tws_kn),
            twa_deg=angles or _ANY_DEG,
            options=[name] if option == BASE else [option, name],
            draws=draws,
            seed=seed,
            processes=processes,
            progress=progress,
        )
    places = [found.conditions.index(row) for row in wanted.rows()]
    built, improved = (found.made_good_kn[at][places] for at in (0 if option == BASE else 1, -1))
    gains = 100.0 * (wanted.weights() @ (improved / built)) - 100.0
    known = np.isfinite(gains)
    if not known.any():
        raise NoDoubt("no draw has a result in all conditions")
    low, middle, high = np.quantile(gains[known], (0.1, 0.5, 0.9)).tolist()
    follows = shares(found.places, gains, shapes=[each.shape for each in found.ranges])
    order = np.argsort(-np.nan_to_num(follows.total))
    return Band(
        draws=len(gains),
        known=int(known.sum()),
        low_percent=low,
        middle_percent=middle,
        high_percent=high,
        better_share=float(np.mean(gains[known] > 0.0)),
        drivers=tuple(
            found.ranges[at].name for at in order[:_MOST_NAMED].tolist() if follows.total[at] >= _NAMED
        ),
    )


@contextmanager
def _with_option(boat_file: BoatFile, text: str) -> Iterator[Path]:
    """A copy of a boat file with an option at its end, among links to all that lies beside the file."""
    with tempfile.TemporaryDirectory() as folder:
        here = Path(boat_file.path).resolve()
        for each in here.parent.iterdir():
            if each.is_file() and each.name != here.name:
                _lay(each, Path(folder, each.name))
        path = Path(folder, here.name)
        path.write_bytes(here.read_bytes() + b"\n" + text.encode())
        yield path


def _lay(file: Path, there: Path) -> None:
    try:
        there.symlink_to(file)
    except OSError:  # no links in this system
        shutil.copy(file, there)
