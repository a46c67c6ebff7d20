"""How sure the gain of an improved boat is: as an option of its boat file, with the same draws of what is
uncertain as the boat as built.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from vpp.config import load
from vpp.config.resolve import BASE
from vpp.doubt import Doubt, NoDoubt, doubt
from vpp.doubt_following import Drawn
from vpp.improve_aims import Aim, CourseAim
from vpp.improve_asked import CourseWanted, SpeedWanted
from vpp.improve_following import Standing
from vpp.improve_result import Band
from vpp.improve_search import Refused
from vpp.uncertainty import shares

if TYPE_CHECKING:
    from vpp.config import BoatFile
    from vpp.polar import Progress

Floats = NDArray[np.float64]

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
    wanted: SpeedWanted | CourseWanted,
    aim: Aim,
    draws: int,
    seed: int,
    processes: int = 1,
    progress: Progress | None = None,
) -> Band:
    """The gain of an option, given by its text, over another of a boat file in every draw, of what is wanted:
    `aim` is that for the boats without draws. Raises what `vpp.doubt.doubt` raises.
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
    built, improved = found.drawn[0 if option == BASE else 1], found.drawn[-1]
    if isinstance(aim, CourseAim):
        before, after = (course_times_of(aim, each, places) for each in (built, improved))
        gains = 100.0 * (1.0 - after / before)
    else:
        assert isinstance(wanted, SpeedWanted)
        made = [each.made_good_kn[places] for each in (built, improved)]
        gains = 100.0 * (wanted.weights() @ (made[1] / made[0])) - 100.0
    return _band_of(found, gains)


def course_times_of(aim: CourseAim, drawn: Drawn, places: list[int]) -> Floats:
    """Time round the course in every draw [s], NaN where it cannot be sailed in a wind in which the boat
    without draws can.
    """
    counts = np.flatnonzero(aim.counts)
    times = np.full(drawn.made_good_kn.shape[1], np.nan)
    for draw in range(len(times)):
        made, twa = np.full((2, len(aim.counts)), np.nan)
        branch, empty = (np.full(len(made), "", dtype=object) for _ in range(2))
        made[counts], twa[counts] = drawn.made_good_kn[places, draw], drawn.twa_deg[places, draw]
        branch[counts] = drawn.branch[places, draw]
        standing = Standing(
            made_good_kn=made, twa_deg=twa, branch=branch, sail_set=empty, reason=empty, groups=()
        )
        with suppress(Refused):
            times[draw] = aim.time_s(standing)
    return times


def _band_of(found: Doubt, gains: Floats) -> Band:
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
