"""What the tables of a study say: sentences, tables, and what they rest on."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp.results.files import Source
from vpp.results.frames import status_words
from vpp.solver.status import Status
from vpp.sweep_chunks import (
    CHUNKS,
    LEFT_OUT,
    NOT_BUILT,
    REFERENCE,
    chunk_name,
    read_chunk,
)
from vpp.sweep_effects import (
    Parts,
    Surrogate,
    bins,
    front,
    main_effect,
    no_surrogate,
    parts,
    surrogate,
    thinned,
    variance_shares,
)
from vpp.sweep_study import GRID, SEARCHED, Study
from vpp.uncertainty import Shares

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

CONVERGED = str(status_words(np.array([Status.CONVERGED]))[0])

# Numbers kept of single conditions: bounds the memory.
_MOST_KEPT = 8_000_000
_READ = ("rig", "condition", "status", "reason", "how", "made_good_kn", "room_percent", "tightest")


@dataclass(frozen=True, kw_only=True)
class Sweep:
    """The rigs of a study and what they make good; arrays are in the order of the rigs.

    `reference_kn` is what the boat that they are compared with makes good in each condition, NaN without a
    result, and `gain_percent` (rigs, aims) the weighted mean of what each rig makes good more; NaN where a
    condition that counts has no result. `kept` are those rigs of which `made_good_kn` (kept, conditions)
    holds single conditions: all of them, or some evenly over all where there are very many. `best_rig` and
    `best_kn` (conditions,) are the best of all rigs, -1 and NaN of none. `failures` counts conditions by
    status and reason, and `rigs_failed` rigs. `checks` counts those conditions that were both followed and
    searched for.
    """

    study: Study
    folder: Path
    reference_kn: Floats
    gain_percent: Floats
    status: NDArray[np.object_]
    room_percent: Floats
    tightest: NDArray[np.object_]
    kept: Integers
    made_good_kn: Floats
    best_rig: Integers
    best_kn: Floats
    failed_share: Floats
    failures: Mapping[tuple[str, str], int]
    rigs_failed: Mapping[tuple[str, str], int]
    checks: Mapping[str, float]
    searched: int

    def __repr__(self) -> str:
        solved = int((self.status == CONVERGED).sum())
        return f"Sweep({self.study.name}: {self.study.rigs} rigs, {solved} with all results)"

    @classmethod
    def read(cls, study: Study, folder: Path) -> Sweep:
        """From the chunks of a folder, one after the other. Raises UnreadableChunk."""
        return _Reading(study, folder).run()

    @property
    def source(self) -> Source:
        """Where it all came from."""
        return self.study.source

    @property
    def aims(self) -> tuple[str, ...]:
        """Names of the aims."""
        return tuple(aim.name for aim in self.study.aims)

    @cached_property
    def shares(self) -> Floats:
        """Where each rig lies in the distribution of every factor (rigs, factors), from 0 to 1."""
        return self.study.shares(np.arange(self.study.rigs))

    @cached_property
    def values(self) -> list[NDArray[Any]]:
        """The values of every factor."""
        return self.study.values(np.arange(self.study.rigs))

    @cached_property
    def places(self) -> Floats:
        """Where each rig lies in the range of every factor (rigs, factors), from 0 to 1."""
        return np.array(
            [f.place(v) for f, v in zip(self.study.factors, self.values, strict=True)], dtype=float
        ).T

    # --- what the factors do --------------------------------------------------------------------------------

    def effect(self, aim: int, factor: int) -> tuple[NDArray[Any], Floats, Floats, NDArray[np.intp]]:
        """Levels of a factor, or the middles of parts of its distribution, and over the rigs of each the mean
        of an aim, without what other factors do to it by themselves there, its standard deviation [%] and
        how many they are.
        """
        item = self.study.factors[factor]
        levels = len(item.levels)
        gain, share = self.gain_percent[:, aim], self.shares[:, factor]
        _, spread, used = main_effect(share, levels, gain)
        # in a small sample the rigs of a part differ in the other factors as well
        others = sum(
            np.nan_to_num(self._gain_parts.of(other, self.shares[:, other])[:, aim])
            for other in range(len(self.study.factors))
            if other != factor
        )
        mean, _, _ = main_effect(share, levels, gain - others)
        count = levels or bins(self.study.rigs)
        return item.values((np.arange(count) + 0.5) / count), mean, spread, used

    @cached_property
    def variance(self) -> tuple[Shares, ...]:
        """Which factors each aim follows."""
        levels = [len(factor.levels) for factor in self.study.factors]
        return tuple(
            variance_shares(self.shares, levels, self.gain_percent[:, at], is_grid=self.study.kind == GRID)
            for at in range(len(self.aims))
        )

    def two_leading(self, aim: int) -> tuple[int, int]:
        """The two factors that an aim follows most, the first two where that is not known."""
        found = self.variance[aim]
        if found.reason:
            return 0, 1
        one, other = np.argsort(-found.total, kind="stable")[:2].tolist()
        return min(one, other), max(one, other)

    @cached_property
    def surrogates(self) -> tuple[Surrogate, ...]:
        """A surrogate of each aim, and its error on rigs left out. None of options."""
        if any(factor.is_option for factor in self.study.factors):
            nothing = no_surrogate("a factor is the option, between which nothing lies")
            return (nothing,) * len(self.aims)
        return tuple(surrogate(self.places, self.gain_percent[:, at]) for at in range(len(self.aims)))

    def predict(self, aim: str, **values: float) -> float:
        """An aim [%] at values of all factors, from its surrogate, whose error `surrogate_frame` tells; NaN
        outside their ranges, where the nearest rig has no result, and where there is no surrogate. Raises
        KeyError for names that are not there.
        """
        at = self.aims.index(aim) if aim in self.aims else -1
        names = [factor.name for factor in self.study.factors]
        if at < 0 or set(values) != set(names):
            raise KeyError(f"aims are {', '.join(self.aims)}, and all factors are needed: {', '.join(names)}")
        place = [
            (values[each.name] - each.ends[0]) / (each.ends[1] - each.ends[0]) for each in self.study.factors
        ]
        return float(self.surrogates[at](np.array([place]))[0])

    @cached_property
    def front(self) -> NDArray[np.intp]:
        """Rigs of which no other is better in both aims of the front; empty where the study has one aim."""
        if self.study.front is None:
            return np.zeros(0, dtype=np.intp)
        one, other = self.study.front
        return front(self.gain_percent[:, one], self.gain_percent[:, other])

    def best(self, aim: int) -> NDArray[np.intp]:
        """The best rigs of an aim, the best first."""
        gain = self.gain_percent[:, aim]
        known = np.flatnonzero(np.isfinite(gain))
        return known[np.argsort(-gain[known], kind="stable")][: self.study.best]

    def worth_kn(self, factor: int) -> Floats:
        """What a factor is worth by itself in each condition [kn]: from the middle of the lower quarter of
        its distribution to that of the upper, or from its first level to its last, of a parabola in every
        factor that is fitted to all rigs. NaN where too few have a result.
        """
        return self._speed_parts.worth(factor)

    @cached_property
    def _levels(self) -> tuple[int, ...]:
        return tuple(len(factor.levels) for factor in self.study.factors)

    @cached_property
    def _speed_parts(self) -> Parts:
        return parts(self.shares[self.kept], self._levels, self.made_good_kn)

    @cached_property
    def _gain_parts(self) -> Parts:
        return parts(self.shares, self._levels, self.gain_percent)

    # --- tables ---------------------------------------------------------------------------------------------

    def rigs_frame(self) -> pd.DataFrame:
        """Every rig: its factors, what it gains in each aim, its tightest limit and what room that leaves."""
        return self._of_rigs(np.arange(self.study.rigs)).assign(status=self.status)

    def _of_rigs(self, rigs: NDArray[Any]) -> pd.DataFrame:
        columns: dict[str, Any] = {"rig": rigs}
        columns |= {f.name: v[rigs] for f, v in zip(self.study.factors, self.values, strict=True)}
        columns |= {f"gain_{name}_percent": self.gain_percent[rigs, at] for at, name in enumerate(self.aims)}
        return pd.DataFrame(
            {**columns, "room_percent": self.room_percent[rigs], "tightest": self.tightest[rigs]}
        )

    def best_frame(self) -> pd.DataFrame:
        """The best rigs of each aim, and how far each is behind the best [%]."""
        frames = []
        for at, name in enumerate(self.aims):
            rigs = self.best(at)
            behind = self.gain_percent[rigs[:1], at].max(initial=-math.inf) - self.gain_percent[rigs, at]
            frame = self._of_rigs(rigs)
            frame.insert(0, "aim", name)
            frame.insert(1, "place", np.arange(1, len(rigs) + 1))
            frame.insert(3, "behind_best_percent", behind)
            frames.append(frame)
        return pd.concat(frames, ignore_index=True)

    def front_frame(self) -> pd.DataFrame:
        """The rigs of the front, from the best of its first aim."""
        return self._of_rigs(self.front)

    def conditions_frame(self) -> pd.DataFrame:
        """The best rig of every condition, what it gains over the reference, and what factors are worth."""
        rows = []
        worth = [self.worth_kn(at) for at in range(len(self.study.factors))]
        for at, (wind, angle) in enumerate(self.study.rows):
            rig = int(self.best_rig[at])
            row: dict[str, Any] = {"tws_kn": wind, "twa_deg": math.nan, "aim": angle}
            if not isinstance(angle, str):
                row |= {"twa_deg": angle, "aim": "speed"}
            row |= {
                "reference_kn": self.reference_kn[at],
                "best_kn": self.best_kn[at],
                "gain_kn": self.best_kn[at] - self.reference_kn[at],
                "best_rig": rig,
            }
            for factor, values in zip(self.study.factors, self.values, strict=True):
                row[f"best_{factor.name}"] = values[rig] if rig >= 0 else math.nan
            row |= {f"worth_{f.name}_kn": worth[n][at] for n, f in enumerate(self.study.factors)}
            rows.append({**row, "failed_percent": 100.0 * self.failed_share[at]})
        return pd.DataFrame(rows)

    def effects_frame(self) -> pd.DataFrame:
        """Main effects: the mean of each aim over the rigs of each level or part of a factor, and how much it
        varies among them.
        """
        rows = []
        for at, name in enumerate(self.aims):
            for number, factor in enumerate(self.study.factors):
                for value, mean, spread, used in zip(*self.effect(at, number), strict=True):
                    rows.append(
                        {"aim": name, "factor": factor.name, "value": value, "unit": factor.unit,
                         "mean_gain_percent": mean, "deviation_percent": spread, "rigs": used}
                    )  # fmt: skip
        return pd.DataFrame(rows)

    def shares_frame(self) -> pd.DataFrame:
        """Shares of the variance of each aim that go with each factor by itself and with all that it does
        together with others (indices of Sobol), and how much of it the fitted polynomial predicts of rigs
        left out; where they are missing, `reason` says why.
        """
        return pd.DataFrame(
            [
                {"aim": name, "factor": factor.name, "first_percent": 100.0 * found.first[at],
                 "total_percent": 100.0 * found.total[at], "explained_percent": 100.0 * found.explained,
                 "rigs": found.used, "reason": found.reason}
                for name, found in zip(self.aims, self.variance, strict=True)
                for at, factor in enumerate(self.study.factors)
            ]
        )  # fmt: skip

    def interactions_frame(self) -> pd.DataFrame:
        """Shares of the variance of each aim that go with two factors together and neither of them alone."""
        names = [factor.name for factor in self.study.factors]
        columns = ("aim", "factor", "other", "share_percent")
        rows = [
            (aim, names[a], names[b], 100.0 * found.pairs[a, b])
            for aim, found in zip(self.aims, self.variance, strict=True)
            if not found.reason
            for a in range(len(names))
            for b in range(a + 1, len(names))
        ]
        return pd.DataFrame(rows, columns=list(columns))

    def surrogate_frame(self) -> pd.DataFrame:
        """How far the surrogate of each aim is off for rigs left out."""
        return pd.DataFrame(
            [
                {"aim": name, "rms_percent": each.rms, "largest_percent": each.largest,
                 "explained_percent": 100.0 * each.explained, "rigs": each.used, "reason": each.reason}
                for name, each in zip(self.aims, self.surrogates, strict=True)
            ]
        )  # fmt: skip

    def failures_frame(self) -> pd.DataFrame:
        """Conditions without a result by status and reason, with the number of rigs; numbers in a reason are
        not told apart.
        """
        rows = [
            (status, reason, self.rigs_failed[status, reason], count)
            for (status, reason), count in sorted(self.failures.items(), key=lambda item: -item[1])
        ]
        return pd.DataFrame(rows, columns=["status", "reason", "rigs", "conditions"])

    # --- words ----------------------------------------------------------------------------------------------

    def in_words(self) -> tuple[str, ...]:
        """What the study says, in sentences."""
        told = [self._best_sentence(at) for at in range(len(self.aims))]
        told += [self._drivers_sentence(at) for at in range(len(self.aims))]
        return (*told, *self.notes())

    def _best_sentence(self, aim: int) -> str:
        name, rigs = self.aims[aim].replace("_", " "), self.best(aim)
        if not len(rigs):
            return f"{name}: no rig has a result in all conditions that count."
        best = int(rigs[0])
        with_values = ", ".join(
            f"{factor.name} {factor.show(values[best])}"
            for factor, values in zip(self.study.factors, self.values, strict=True)
        )
        gain = self.gain_percent[best, aim]
        told = f"{name}: rig {best} is best, {gain:+.2f} % over {self.study.compare_with}: {with_values}"
        if len(rigs) > 1:
            told += f"; the next is {gain - self.gain_percent[rigs[1], aim]:.2f} % behind"
        if self.tightest[best]:
            told += f"; its tightest limit, {self.tightest[best]}, leaves {self.room_percent[best]:.2f} %"
        return f"{told}."

    def _drivers_sentence(self, aim: int) -> str:
        name, found = self.aims[aim].replace("_", " "), self.variance[aim]
        if found.reason:
            return f"{name}: no shares of the variance: {found.reason}."
        order = np.argsort(-found.total, kind="stable")
        shares = ", ".join(
            f"{self.study.factors[at].name} {100.0 * found.first[at]:.0f} % alone and "
            f"{100.0 * found.total[at]:.0f} % in all"
            for at in order.tolist()
        )
        return f"{name}: of the variance between rigs, {shares}."

    def notes(self) -> tuple[str, ...]:
        """How the answers were come by, and what is missing."""
        rows = len(self.study.rows)
        told = []
        if self.study.method != SEARCHED:
            checks = self.checks
            spread = "" if self.study.is_compiled else ", and was followed to the others"
            apart = (
                f"searching found a faster optimum in {checks['search_ahead']:.0f} and following in "
                f"{checks['following_ahead']:.0f} (the faster one counts{spread}), "
                f"the largest difference {checks['largest_percent']:.2g} %"
            )
            told.append(
                f"{self.searched} of {self.study.condition_count} answers were searched for in full, the "
                f"others followed from these; of {checks['checked']:.0f} that were both, {apart}."
            )
        for status, word in ((LEFT_OUT, "break a limit"), (NOT_BUILT, "are refused by the boat file")):
            count = int((self.status == status).sum())
            if count:
                told.append(f"{count} of {self.study.rigs} rigs {word} and are not solved.")
        failed = sum(n for (status, _), n in self.failures.items() if status not in (LEFT_OUT, NOT_BUILT))
        if failed:
            told.append(f"{failed} of {self.study.rigs * rows} conditions have no result.")
        lost = [
            row for row, kn in zip(self.study.rows, self.reference_kn, strict=True) if not np.isfinite(kn)
        ]
        if lost:
            where = ", ".join(f"{wind:g} kn at {angle}" for wind, angle in lost)
            told.append(f"{self.study.compare_with} has no result in {where}: aims that count it have none.")
        if len(self.kept) < self.study.rigs:
            told.append(f"What factors are worth in single conditions is taken from {len(self.kept)} rigs.")
        return tuple(told)


class _Reading:
    """Gathers what is kept of the chunks."""

    def __init__(self, study: Study, folder: Path) -> None:
        self.study, self.folder = study, folder
        rows = len(study.rows)
        self.weights = np.array([aim.weight for aim in study.aims])
        self.gain = np.full((study.rigs, len(study.aims)), np.nan)
        self.status = np.full(study.rigs, "", dtype=object)
        self.room, self.tightest = np.full(study.rigs, np.nan), np.full(study.rigs, "", dtype=object)
        self.kept = thinned(study.rigs, max(1, _MOST_KEPT // rows)).astype(np.int64)
        self.made_good = np.full((len(self.kept), rows), np.nan)
        self.best_rig, self.best_kn = np.full(rows, -1), np.full(rows, np.nan)
        self.failed = np.zeros(rows)
        self.failures: Counter[tuple[str, str]] = Counter()
        self.rigs_failed: Counter[tuple[str, str]] = Counter()
        self.checks: Counter[str] = Counter()
        self.largest, self.searched = 0.0, 0

    def run(self) -> Sweep:
        study = self.study
        reference = read_chunk(self.folder / REFERENCE, study).columns["made_good_kn"]
        for number in range(study.chunk_count):
            self._take(number, reference)
        return Sweep(
            study=study,
            folder=self.folder,
            reference_kn=reference,
            gain_percent=self.gain,
            status=self.status,
            room_percent=self.room,
            tightest=self.tightest,
            kept=self.kept,
            made_good_kn=self.made_good,
            best_rig=self.best_rig,
            best_kn=self.best_kn,
            failed_share=self.failed / study.rigs,
            failures=self.failures,
            rigs_failed=self.rigs_failed,
            checks={**self.checks, "largest_percent": self.largest},
            searched=self.searched,
        )

    def _take(self, number: int, reference: Floats) -> None:
        rows = len(self.study.rows)
        chunk = read_chunk(self.folder / CHUNKS / chunk_name(number), self.study, columns=_READ)
        table = {name: values.reshape(-1, rows) for name, values in chunk.columns.items()}
        rigs, made = table["rig"][:, 0], table["made_good_kn"]
        more = made / reference - 1.0
        for at, weight in enumerate(self.weights):
            counts = weight > 0.0
            self.gain[rigs, at] = 100.0 * more[:, counts] @ weight[counts]
        worst = np.where((table["status"] == CONVERGED).all(axis=1), CONVERGED, "")
        for at, each in enumerate(table["status"]):
            bad = each[each != CONVERGED]
            self.status[rigs[at]] = bad[0] if len(bad) else worst[at]
        self.room[rigs], self.tightest[rigs] = table["room_percent"][:, 0], table["tightest"][:, 0]
        slot = np.searchsorted(self.kept, rigs)
        there = self.kept[np.minimum(slot, len(self.kept) - 1)] == rigs
        self.made_good[slot[there]] = made[there]
        self._best_of(rigs, made)
        self._count(table)
        self.searched += int((table["how"] == "solved").sum())
        for name, value in chunk.checks.items():
            if name == "largest_percent":
                self.largest = max(self.largest, value)
            else:
                self.checks[name] += value  # type: ignore[assignment]

    def _best_of(self, rigs: Integers, made: Floats) -> None:
        filled = np.where(np.isfinite(made), made, -np.inf)
        top = filled.argmax(axis=0)
        speed = filled[top, np.arange(len(self.best_kn))]
        better = np.isfinite(speed) & ~(speed <= self.best_kn)
        self.best_kn[better], self.best_rig[better] = speed[better], rigs[top[better]]

    def _count(self, table: Mapping[str, NDArray[Any]]) -> None:
        bad = table["status"] != CONVERGED
        self.failed += bad.sum(axis=0)
        for rig in np.flatnonzero(bad.any(axis=1)).tolist():
            pairs = [
                (str(status), blanked(str(reason)))
                for status, reason in zip(
                    table["status"][rig][bad[rig]], table["reason"][rig][bad[rig]], strict=True
                )
            ]
            self.failures.update(pairs)
            self.rigs_failed.update(set(pairs))


def blanked(reason: str) -> str:
    """A reason without its numbers, so that those alike can be counted."""
    return re.sub(r"(?<![\w.])-?\d+(\.\d+)?(e-?\d+)?(?![\w])", "..", reason)


def told_as_json(found: Sweep) -> dict[str, Any]:
    """What is printed as JSON."""
    frames = {
        "best": found.best_frame(),
        "front": found.front_frame(),
        "effects": found.effects_frame(),
        "shares": found.shares_frame(),
        "interactions": found.interactions_frame(),
        "surrogates": found.surrogate_frame(),
        "conditions": found.conditions_frame(),
        "failures": found.failures_frame(),
    }
    return {name: json.loads(frame.to_json(orient="records")) for name, frame in frames.items()}
