"""Which sail set from which wind, where the change lies, and where it gains less than it costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

import numpy as np

from vpp.boat import Boat
from vpp.polar import BEST_VMG, Polar
from vpp.results.frames import Floats
from vpp.results.variables import show_number


@dataclass(frozen=True, kw_only=True)
class Changeover:
    """Where the best sail set changes along the wind speeds, at an angle or a best VMG.

    `lighter` is best in `below_kn`, `stronger` in `above_kn`, neighbours of the grid; `tws_kn` is where both
    are level, by a straight line between them, NaN where one has no result in either. From `from_kn` to
    `to_kn` the better of the two gains less than a change costs on the boat's leg, again by straight lines;
    -inf or inf where that is so to the end of the grid. `compares_models`: only one of the two has a sail
    from a table of coefficients, so that the change compares two models.
    """

    option: str
    twa_deg: float | str
    lighter: str
    stronger: str
    below_kn: float
    above_kn: float
    tws_kn: float
    from_kn: float
    to_kn: float
    compares_models: bool


def has_sets(polar: Polar, option: str) -> bool:
    """Whether an option has sail sets to choose from."""
    return bool(_boat(polar, option).sail_sets)


def changeovers(polar: Polar, option: str, twa_deg: float | str) -> tuple[Changeover, ...]:
    """Every change of the best sail set of an option along the wind speeds of a polar, at an angle of its
    grid or at best VMG `upwind` or `downwind`. Winds without a result are passed over.
    """
    boat, at, row = _boat(polar, option), polar.options.index(option), place(polar, twa_deg)
    best = polar.sail_set[at, :, row]
    known = [index for index in range(len(best)) if best[index]]
    found = []
    for low, high in pairwise(known):
        lighter, stronger = str(best[low]), str(best[high])
        if lighter == stronger:
            continue
        gain = relative_gain(polar, option, twa_deg, lighter=lighter, stronger=stronger)
        tws_kn = polar.grid.tws_kn
        from_kn, to_kn = overlap(tws_kn, gain, between=(low, high), least_gain=boat.sail_change.least_gain)
        found.append(
            Changeover(
                option=option,
                twa_deg=twa_deg,
                lighter=lighter,
                stronger=stronger,
                below_kn=tws_kn[low],
                above_kn=tws_kn[high],
                tws_kn=_level(tws_kn[low], tws_kn[high], gain[low], gain[high], 0.0),
                from_kn=from_kn,
                to_kn=to_kn,
                compares_models=_has_table_sail(boat, lighter) != _has_table_sail(boat, stronger),
            )
        )
    return tuple(found)


def relative_gain(polar: Polar, option: str, twa_deg: float | str, *, lighter: str, stronger: str) -> Floats:
    """Gain of one set over another along the wind speeds, as a share of the faster; NaN without both."""
    at, row = polar.options.index(option), place(polar, twa_deg)
    first, second = (polar.under(name)[at, :, row] for name in (lighter, stronger))
    gain: Floats = (second - first) / np.maximum(first, second)
    return gain


def overlap(
    tws_kn: Sequence[float], gain: Floats, *, between: tuple[int, int], least_gain: float
) -> tuple[float, float]:
    """Winds around a changeover `between` two places in which a gain stays within `least_gain` of none, by
    straight lines between neighbours.

    -inf and inf where it does up to the ends of the grid. A wind in which the gain is not known ends the
    search at its neighbour; NaN where it is not known at the changeover itself.
    """
    low, high = between
    return (
        _edge(tws_kn, gain, range(low, -1, -1), inside=high, least_gain=least_gain),
        _edge(tws_kn, gain, range(high, len(gain)), inside=low, least_gain=least_gain),
    )


def _edge(tws_kn: Sequence[float], gain: Floats, outwards: range, *, inside: int, least_gain: float) -> float:
    """The wind in which one set first leads by so much on the way outwards from a changeover."""
    for at in outwards:
        if not np.isfinite(gain[at]):
            return np.nan if at == outwards[0] else tws_kn[inside]
        if abs(gain[at]) >= least_gain:
            level = float(np.copysign(least_gain, gain[at]))
            return _level(tws_kn[inside], tws_kn[at], gain[inside], gain[at], level)
        inside = at
    return outwards.step * np.inf


def summary(polar: Polar, option: str) -> tuple[str, ...]:
    """Sentences on an option with sail sets: the best set along the wind upwind, on a reach and downwind, the
    overlap of each change, and which changes compare two models. Empty for an option without sets.
    """
    if not has_sets(polar, option):
        return ()
    reach = polar.grid.reach_deg
    where: list[float | str] = [BEST_VMG[0], *([] if reach is None else [reach]), BEST_VMG[1]]
    told = [_say_along(polar, option, twa_deg) for twa_deg in where]
    if compares_models(polar, option):
        told.append(
            f"{option}: where a set with a sail from a table takes over from one without, two models are "
            "compared, and the set from the table is flattered: its sails do not feel each other."
        )
    return tuple(told)


def compares_models(polar: Polar, option: str) -> bool:
    """Whether neighbouring conditions of the grid have best sets of which only one has a sail from a
    table of coefficients.
    """
    boat = _boat(polar, option)
    with_table = {item.name for item in boat.sail_sets if _has_table_sail(boat, item.name)}
    best = polar.sail_set[polar.options.index(option)]
    has = np.isin(best, list(with_table))
    pairs = [
        (best[1:], best[:-1], has[1:] != has[:-1]),
        (best[:, 1:-2], best[:, :-3], has[:, 1:-2] != has[:, :-3]),
    ]
    return any(bool(np.any((one != "") & (other != "") & differ)) for one, other, differ in pairs)


def place(polar: Polar, twa_deg: float | str) -> int:
    """Where an angle of the grid, `upwind` or `downwind` lies along the last axis of a polar."""
    if isinstance(twa_deg, str):
        return polar.row_aims.index(twa_deg)
    return polar.grid.twa_deg.index(twa_deg)


def _boat(polar: Polar, option: str) -> Boat:
    return polar.solved.boats[polar.options.index(option)]


def _has_table_sail(boat: Boat, sail_set: str) -> bool:
    return bool(boat.wearing(sail_set).table_sails)


def _level(x0: float, x1: float, y0: float, y1: float, level: float) -> float:
    """Where a straight line through two points reaches a level; NaN where one is not known."""
    if not (np.isfinite(y0) and np.isfinite(y1)):
        return np.nan
    return float(x0 if y0 == y1 else x0 + (level - y0) / (y1 - y0) * (x1 - x0))


def _say_along(polar: Polar, option: str, twa_deg: float | str) -> str:
    """Which set from which wind, and where a change gains less than it costs."""
    name = twa_deg if isinstance(twa_deg, str) else f"at TWA {twa_deg:g} deg"
    best = polar.sail_set[polar.options.index(option), :, place(polar, twa_deg)]
    runs = [str(key) for key, _ in groupby(best[best != ""])]
    if not runs:
        return f"{option}, {name}: no result."
    changes = changeovers(polar, option, twa_deg)
    said = (
        f"{option}, {name}: {'; '.join([_say_runs(runs, changes), *_say_missing(polar, option, twa_deg)])}."
    )
    leg = show_number(_boat(polar, option).sail_change.leg_time / 60.0, decimals=0)
    overlaps = [_say_overlap(change, leg) for change in changes]
    return " ".join([said, *(text for text in overlaps if text)])


def _say_missing(polar: Polar, option: str, twa_deg: float | str) -> list[str]:
    """In which winds there is no result, and in which others single sets have none."""
    at, row = polar.options.index(option), place(polar, twa_deg)
    winds = np.array([f"{tws:g}" for tws in polar.grid.tws_kn])
    known = {
        item.name: np.isfinite(polar.under(item.name)[at, :, row]) for item in _boat(polar, option).sail_sets
    }
    some = np.any(list(known.values()), axis=0)
    told = [] if some.all() else [f"no result at {', '.join(winds[~some])} kn"]
    for name, has in known.items():
        if not has.any():
            told.append(f"{name} has no result")
        elif (some & ~has).any():
            told.append(f"{name} has no result at {', '.join(winds[some & ~has])} kn")
    return told


def _say_runs(runs: Sequence[str], changes: Sequence[Changeover]) -> str:
    if len(runs) == 1:
        return f"{runs[0]} in every wind"
    told = [
        f"{change.lighter} {'up ' if index == 0 else ''}to {_say_wind(change)}"
        for index, change in enumerate(changes)
    ]
    return f"{', then '.join(told)}, then {runs[-1]}"


def _say_wind(change: Changeover) -> str:
    between = f"{change.below_kn:g} to {change.above_kn:g}"
    return f"{between if np.isnan(change.tws_kn) else show_number(change.tws_kn, decimals=1)} kn"


def _say_overlap(change: Changeover, leg: str) -> str:
    """Where the change gains less than it costs; empty where that is nowhere or not known."""
    if np.isnan(change.from_kn) or np.isnan(change.to_kn) or change.from_kn == change.to_kn:
        return ""
    low, high = (show_number(wind, decimals=1) for wind in (change.from_kn, change.to_kn))
    between = f"From {change.lighter} to {change.stronger}"
    costs = f"the change gains less than it costs on a leg of {leg} minutes"
    if np.isinf(change.from_kn) and np.isinf(change.to_kn):
        return f"{between}, {costs} in every wind."
    if np.isinf(change.from_kn):
        return f"{between}, {costs} up to {high} kn."
    if np.isinf(change.to_kn):
        return f"{between}, {costs} from {low} kn on."
    return f"{between}, {costs} from {low} to {high} kn."
