"""What the page of a study holds: every number, word and name as plain values for JSON.

Tables carry the digits of the results, and the page rounds them. Factors and gains of rigs, which surrogates
go through, keep all of their digits. Missing numbers are null.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vpp.plots import GAIN, OPTION_INKS
from vpp.report.content import exact_numbers, indexed, rounded_numbers
from vpp.results.files import records
from vpp.sweep_chunks import LEFT_OUT, NOT_BUILT
from vpp.sweep_effects import (
    MOST_AT_ONCE,
    NEIGHBOURS,
    SAME,
    Surrogate,
    no_surrogate,
    surrogate,
    thinned,
)
from vpp.sweep_result import CONVERGED, Sweep
from vpp.sweep_study import GRID, LATIN_HYPERCUBE, SOBOL, Factor

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

MOST_RIGS = 2048
"""Rigs that the page holds where a study has more, evenly over all; best rigs and the front come on top."""

_PLANS = {
    GRID: "all combinations of the factors' values",
    LATIN_HYPERCUBE: "a Latin hypercube",
    SOBOL: "a scrambled Sobol sequence",
}
_MOST_REASONS = 5
# Single conditions with a map, and angles with a figure by wind.
_MOST_MAPS, _MOST_ANGLES = 40, 6
_CONDITION_DECIMALS = 6


def sweep_content(found: Sweep) -> dict[str, Any]:
    """Everything on the page but what is words alone."""
    rigs = page_rigs(found)
    return {
        "compare_with": found.study.compare_with,
        "factors": [_factor(factor) for factor in found.study.factors],
        "aims": [{"name": name, "leading": _leading(found, at)} for at, name in enumerate(found.aims)],
        "rigs": {
            "rig": rigs.tolist(),
            "values": [np.asarray(values)[rigs].tolist() for values in found.values],
            "gain": [exact_numbers(found.gain_percent[rigs, at]) for at in range(len(found.aims))],
            "room": rounded_numbers(found.room_percent[rigs], _CONDITION_DECIMALS),
            "tightest": indexed(found.tightest[rigs]),
            "status": indexed(found.status[rigs]),
        },
        "targets": [*_aim_targets(found, rigs), *_condition_targets(found, rigs)],
        "front": _front(found, rigs),
        "tables": {
            "best": records(found.best_frame()),
            "effects": records(found.effects_frame()),
            "shares": records(found.shares_frame()),
            "interactions": records(found.interactions_frame()),
            "conditions": records(found.conditions_frame()),
            "failures": records(found.failures_frame()),
        },
        "angles": [_angle(angle) for angle in found.study.angles[:_MOST_ANGLES]],
        "neighbours": NEIGHBOURS,
        "most_at_once": MOST_AT_ONCE,
        "same": SAME,
        "inks": {"options": list(OPTION_INKS), "gain": GAIN},
    }


def page_rigs(found: Sweep) -> Integers:
    """The rigs that the page holds, in their order."""
    parts = [
        thinned(found.study.rigs, MOST_RIGS),
        found.front,
        found.best_rig[found.best_rig >= 0],
        _of_conditions(found),
        *(found.best(at) for at in range(len(found.aims))),
        *(each.rigs for each in found.surrogates),
    ]
    return np.unique(np.concatenate(parts)).astype(np.int64)


# --- in words -----------------------------------------------------------------------------------------------


def asked(found: Sweep) -> list[str]:
    """What was asked, in sentences; what belongs to the sentence before it is indented."""
    study = found.study
    boat = study.boat_file
    plan = _PLANS[study.kind] + ("" if study.kind == GRID else f", seed {study.seed}")
    told = [
        f"Boat: {boat.name} ({boat.path.name}). Rigs depart from its option {study.option}; gains are over "
        f"{study.compare_with}.",
        f"Conditions: {_among(study.tws_kn)} kn of true wind at {_listed(study.angles)}: "
        f"{len(study.rows)} for each rig. The aims:",
    ]
    told += [f"  {aim.name.replace('_', ' ')}: {_counted(found, aim.weight)}" for aim in study.aims]
    limits = [*(limit.name for limit in study.limits), *(each.name for each in study.sums)]
    if limits:
        kept = "are left out" if study.keeps_to_rules else "are solved all the same"
        told.append(f"Limits: {', '.join(limits)}. Rigs that break one {kept}.")
    whole = int((found.status == CONVERGED).sum())
    rest = f"; {study.rigs - whole} have not:" if whole < study.rigs else "."
    told.append(f"Rigs: {study.rigs} of {plan}. {whole} have a result in every condition{rest}")
    reasons = sorted(found.rigs_failed.items(), key=lambda item: -item[1])
    told += [f"  {count} {_status(status)}: {reason}" for (status, reason), count in reasons[:_MOST_REASONS]]
    if len(reasons) > _MOST_REASONS:
        told.append(f"  and {len(reasons) - _MOST_REASONS} reasons more at the end of the page")
    return told


def notes(found: Sweep) -> list[str]:
    """What is to be said of the numbers of this page, as against those of the tables."""
    told = []
    count, rigs = len(page_rigs(found)), found.study.rigs
    if count < rigs:
        told.append(
            f"This page holds {count} of {rigs} rigs, evenly over all, with the best and those of the front: "
            "points of figures and rigs without a result are those of them. Tables are of all rigs."
        )
    if len(_of_conditions(found)) < rigs:
        told.append(
            f"Maps of single conditions go through {len(_of_conditions(found))} rigs, and tell their own "
            "error; those of aims go through as many as the surrogate of the study."
        )
    angles, rows = len(found.study.angles), len(found.study.rows)
    if angles > _MOST_ANGLES:
        told.append(f"Figures by wind are of the first {_MOST_ANGLES} of {angles} angles; the table has all.")
    if rows > _MOST_MAPS:
        told.append(f"Maps of single conditions are of {_MOST_MAPS} of {rows}, evenly over all.")
    return told


def closing(found: Sweep) -> list[str]:
    """Version, digests and seed."""
    study = found.study
    return [
        *found.source.line.splitlines(),
        f"Study digest {study.digest}, seed {study.seed}; boat file digest {study.boat_file.digest}.",
    ]


def _among(numbers: tuple[float, ...]) -> str:
    return ", ".join(f"{number:g}" for number in numbers)


def _angle(angle: float | str) -> str:
    return f"best VMG {angle}" if isinstance(angle, str) else f"TWA {angle:g} deg"


def _listed(angles: tuple[float | str, ...]) -> str:
    return ", ".join(_angle(angle) for angle in angles)


def _counted(found: Sweep, weight: tuple[float, ...]) -> str:
    """The conditions that an aim counts, and whether all alike."""
    counts = [(row, of) for row, of in zip(found.study.rows, weight, strict=True) if of > 0.0]
    if len({round(of, 12) for _, of in counts}) == 1:
        angles = tuple(dict.fromkeys(angle for (_, angle), _ in counts))
        winds = tuple(dict.fromkeys(wind for (wind, _), _ in counts))
        return f"mean gain, {_listed(angles)} in {_among(winds)} kn, all alike"
    told = ", ".join(f"{wind:g} kn {_angle(angle)} {100.0 * of:.3g} %" for (wind, angle), of in counts)
    return f"mean gain, weights {told}"


def _status(status: str) -> str:
    return {LEFT_OUT: "break a limit", NOT_BUILT: "are refused by the boat file"}.get(status, status)


# --- numbers ------------------------------------------------------------------------------------------------


def _factor(factor: Factor) -> dict[str, Any]:
    low, high = factor.ends
    return {
        "name": factor.name,
        "words": factor.words,
        "unit": factor.unit,
        "label": factor.label,
        "keys": [key.name for key in factor.keys],
        "is_option": factor.is_option,
        "levels": list(factor.levels),
        "least": low,
        "greatest": high,
        "distribution": "" if factor.levels else factor.distribution,
        "worth": [factor.show(value) for value in factor.worth_ends],
    }


def _leading(found: Sweep, aim: int) -> list[int]:
    return list(found.two_leading(aim)) if len(found.study.factors) > 1 else [0]


def _of_conditions(found: Sweep) -> Integers:
    """The rigs that maps of single conditions are made of."""
    return found.kept[thinned(len(found.kept), MOST_AT_ONCE)]


def _aim_targets(found: Sweep, rigs: Integers) -> list[dict[str, Any]]:
    """The surrogate of every aim."""
    targets = []
    for at, (name, made) in enumerate(zip(found.aims, found.surrogates, strict=True)):
        gain, best = found.gain_percent[:, at], found.best(at)
        best_rig = int(best[0]) if len(best) else -1
        told: dict[str, Any] = {"label": name.replace("_", " "), "aim": name}
        told |= _target(made, rigs, gain, rigs, best_rig)
        targets.append({**told, "values": None})
    return targets


def _condition_targets(found: Sweep, rigs: Integers) -> list[dict[str, Any]]:
    """A surrogate of the gain in every condition."""
    some, targets = _of_conditions(found), []
    made_good = found.made_good_kn[np.searchsorted(found.kept, some)]
    for at in thinned(len(found.study.rows), _MOST_MAPS).tolist():
        wind, angle = found.study.rows[at]
        gain = np.full(found.study.rigs, np.nan)
        gain[some] = np.round(100.0 * (made_good[:, at] / found.reference_kn[at] - 1.0), _CONDITION_DECIMALS)
        if any(factor.is_option for factor in found.study.factors):
            made = no_surrogate(found.surrogates[0].reason)
        else:
            made = surrogate(found.places[some], gain[some])
            made = replace(made, rigs=some[made.rigs])
        told: dict[str, Any] = {"label": f"TWS {wind:g} kn, {_angle(angle)}", "aim": None}
        best_rig = int(found.best_rig[at])
        told |= _target(made, rigs, gain, some, best_rig)
        targets.append({**told, "values": exact_numbers(gain[made.rigs])})
    return targets


def _target(made: Surrogate, rigs: Integers, gain: Floats, among: Integers, best_rig: int) -> dict[str, Any]:
    """A surrogate by the places of its rigs on the page, and those without a result; a map has its other
    factors as the best rig has them.
    """
    known = np.isfinite(gain[among])
    rms, largest, explained = exact_numbers(np.array([made.rms, made.largest, 100.0 * made.explained]))
    return {
        "rms": rms,
        "largest": largest,
        "explained_percent": explained,
        "reason": made.reason,
        "holding": np.searchsorted(rigs, made.rigs).tolist(),
        "lost": np.searchsorted(rigs, among[~known]).tolist(),
        "among": [] if known.all() else np.searchsorted(rigs, among).tolist(),
        "best": int(np.searchsorted(rigs, best_rig)) if best_rig >= 0 else None,
    }


def _front(found: Sweep, rigs: Integers) -> dict[str, Any] | None:
    """The aims of the front and its rigs by their places on the page."""
    if found.study.front is None or not len(found.front):
        return None
    one, other = found.study.front
    return {"aims": [one, other], "rigs": np.searchsorted(rigs, found.front).tolist()}
