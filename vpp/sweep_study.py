"""A study that is in order with its boat: factors, the plan of rigs, limits, conditions and aims."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, qmc, triang

from vpp.config import load
from vpp.config.boat_file import BoatFile
from vpp.config.errors import BoatFileError, Problem
from vpp.config.movable import AsFiled, Key, MovableKeys
from vpp.config.study_file import StudyFile, read_study
from vpp.config.study_schema import AimTable, FactorTable, SumTable
from vpp.config.text import nearest
from vpp.config.units import ending_of
from vpp.config.validate import Finding
from vpp.equilibrium import BOATS
from vpp.measurement import QUANTITIES, measured
from vpp.polar import BEST_VMG
from vpp.results.files import Source, calibration_text, sea_text
from vpp.results.variables import COLUMNS, DEGREE, KNOT
from vpp.rule_box import Limit, limits_of
from vpp.solved import SPEED, Conditions

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

OPTION = "option"
"""The factor key that stands for which option of the boat file a rig departs from."""

GRID, LATIN_HYPERCUBE, SOBOL = "grid", "latin_hypercube", "sobol"
EVEN, NORMAL, TRIANGULAR = "even", "normal", "triangular"
FOLLOWED, SEARCHED, COMPILED = "followed", "searched", "compiled"
"""How rigs are solved: followed from a few of each chunk, all searched, or as `vpp.accelerator` does."""

# Conditions of a chunk, as far as whole groups of boats allow, and chunks that a study is cut into where it
# is small.
_MOST_IN_CHUNK, _LEAST_CHUNKS = 4096, 8
# The same where what is solved is compiled: many at a time keep a graphics card busy. Boats weigh as well.
_MOST_COMPILED, _MOST_BOATS_COMPILED = 65536, 4096
# Rigs of a chunk for each of its anchors, at least.
_TO_AN_ANCHOR = 8
# A normal range holds 95 % of its distribution, and no rig lies beyond it.
_TAIL = 0.025
# What every table of conditions has anyway, and what is no number of a condition.
_OWN_COLUMNS = ("option", "tws_kn", "aim", "branch", "sail_set", "status", "reason", "remark", "calibration")


@dataclass(frozen=True, kw_only=True)
class Factor:
    """What differs between rigs: `keys` of the boat file that move together, or none where the factor is the
    option. `levels` are its values where it has a list of them.
    """

    name: str
    keys: tuple[Key, ...]
    levels: tuple[float | str, ...] = ()
    least: float = math.nan
    greatest: float = math.nan
    distribution: str = EVEN
    likeliest: float = math.nan

    @property
    def is_option(self) -> bool:
        """Whether it says which option a rig departs from."""
        return not self.keys

    @property
    def unit(self) -> str:
        """Unit of its values."""
        return self.keys[0].unit if self.keys else ""

    @property
    def words(self) -> str:
        """Its name without a unit at the end."""
        ending = ending_of(self.name)
        return (self.name if ending is None else self.name.removesuffix(f"_{ending}")).replace("_", " ")

    @property
    def label(self) -> str:
        """Its name and its unit."""
        return f"{self.words}, {self.unit}" if self.unit else self.words

    @property
    def ends(self) -> tuple[float, float]:
        """The least and the greatest of its values; the places of the first and last of options."""
        if self.is_option:
            return 0.0, float(max(len(self.levels) - 1, 1))
        numbers = [float(level) for level in self.levels]
        return (min(numbers), max(numbers)) if numbers else (self.least, self.greatest)

    @property
    def worth_ends(self) -> tuple[Any, Any]:
        """The values that what it is worth lies between: the middle of the lower quarter of its distribution
        and that of the upper, or its first level and its last.
        """
        count = len(self.levels) or 4
        low, high = self.values(np.array([0.5 / count, 1.0 - 0.5 / count]))
        return low, high

    def values(self, share: Floats) -> NDArray[Any]:
        """Values at shares of its distribution, from 0 to 1."""
        if self.levels:
            at = np.minimum((share * len(self.levels)).astype(np.intp), len(self.levels) - 1)
            return np.array(self.levels, dtype=object if self.is_option else float)[at]
        span = self.greatest - self.least
        if self.distribution == NORMAL:
            middle, sigma = self.least + 0.5 * span, 0.5 * span / float(norm.ppf(1.0 - _TAIL))
            return middle + sigma * norm.ppf(_TAIL + (1.0 - 2.0 * _TAIL) * share)
        if self.distribution == TRIANGULAR:
            shape = (self.likeliest - self.least) / span
            return np.asarray(triang.ppf(share, shape, loc=self.least, scale=span))
        return self.least + span * share

    def place(self, values: NDArray[Any]) -> Floats:
        """Where values lie in the range, from 0 to 1, as a measure of how far rigs are apart."""
        low, high = self.ends
        if self.is_option:
            known = {value: at for at, value in enumerate(self.levels)}
            values = np.array([known[value] for value in values.tolist()])
        return (np.asarray(values, dtype=float) - low) / (high - low)

    def show(self, value: float | str) -> str:
        """A value in few digits."""
        return value if isinstance(value, str) else f"{value:.4g}"


@dataclass(frozen=True, kw_only=True)
class Sum:
    """A limit on a weighted sum of factors, by their places among all."""

    name: str
    factors: tuple[int, ...]
    weights: tuple[float, ...]
    least: float
    greatest: float


@dataclass(frozen=True, kw_only=True)
class Aim:
    """What a rig is to be good at: a weight for each condition, with the sum one."""

    name: str
    weight: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Study:
    """A study that is in order."""

    path: Path
    name: str
    description: str
    boat_file: BoatFile
    option: str
    compare_with: str
    kind: str
    seed: int
    factors: tuple[Factor, ...]
    rigs: int
    limits: tuple[Limit, ...]
    sums: tuple[Sum, ...]
    keeps_to_rules: bool
    tws_kn: tuple[float, ...]
    angles: tuple[float | str, ...]
    columns: tuple[str, ...]
    aims: tuple[Aim, ...]
    front: tuple[int, int] | None
    best: int
    method: str
    anchors: int
    rigs_per_chunk: int
    movable: dict[str, MovableKeys] = field(repr=False, compare=False)

    @property
    def rows(self) -> tuple[tuple[float, float | str], ...]:
        """The conditions: wind speed in kn, and angle in deg or `upwind` or `downwind`."""
        return tuple((wind, angle) for wind in self.tws_kn for angle in self.angles)

    @cached_property
    def conditions(self) -> Conditions:
        """The conditions of one rig, wind by wind."""
        words = [angle if isinstance(angle, str) else SPEED for _, angle in self.rows]
        twa = [math.nan if isinstance(angle, str) else angle * DEGREE for _, angle in self.rows]
        return Conditions(
            option=np.zeros(len(words), dtype=np.intp),
            tws=np.array([wind * KNOT for wind, _ in self.rows]),
            twa=np.array(twa),
            aim=np.array(words, dtype=np.str_),
        )

    @property
    def condition_count(self) -> int:
        """Conditions of all rigs."""
        return self.rigs * len(self.rows)

    @property
    def chunk_count(self) -> int:
        """Chunks that the rigs are cut into."""
        return -(-self.rigs // self.rigs_per_chunk)

    @property
    def is_compiled(self) -> bool:
        """Whether rigs are followed by what JAX compiles."""
        return self.method == COMPILED

    @property
    def searched_per_chunk(self) -> int:
        """Rigs of a whole chunk that are searched in full."""
        if self.method == SEARCHED:
            return self.rigs_per_chunk
        # the compiled way checks one more
        return min(self.anchors + self.is_compiled, self.rigs_per_chunk)

    @property
    def source(self) -> Source:
        """Where it all comes from."""
        boats = self.boat_file.select([self.option, self.compare_with])
        return Source(
            name=self.name,
            file=f"{self.path.name} with {self.boat_file.path.name}",
            digest=self.digest,
            calibration=calibration_text(boats),
            sea=sea_text(boats),
        )

    @cached_property
    def inputs(self) -> dict[str, Any]:
        """All that the tables of conditions follow from, but for versions."""
        told = {
            "boat": self.boat_file.digest,
            "sea": sea_text(self.boat_file.select([])),
            "option": self.option,
            "compare_with": self.compare_with,
            "plan": [self.kind, self.seed, self.rigs],
            "factors": [
                [each.name, [key.name for key in each.keys], each.levels, each.least, each.greatest,
                 each.distribution, each.likeliest]
                for each in self.factors
            ],
            "limits": [str(limit) for limit in self.limits] + [str(each) for each in self.sums],
            "keeps_to_rules": self.keeps_to_rules,
            "conditions": self.rows,
            "columns": self.columns,
            "solve": [self.method, self.anchors, self.rigs_per_chunk],
        }  # fmt: skip
        as_read: dict[str, Any] = json.loads(json.dumps(told).replace("NaN", "null"))
        return as_read

    @property
    def digest(self) -> str:
        """Identifies the inputs."""
        text = json.dumps(self.inputs, sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()[:12]

    # --- the plan -------------------------------------------------------------------------------------------

    def shares(self, rigs: Integers) -> Floats:
        """Where some rigs lie in the distribution of every factor (rigs, factors), from 0 to 1."""
        if self.kind == GRID:
            counts = [len(factor.levels) for factor in self.factors]
            at = np.unravel_index(rigs, counts)
            return np.array(
                [(each + 0.5) / count for each, count in zip(at, counts, strict=True)], dtype=float
            ).T
        return _sample(self.kind, len(self.factors), self.rigs, self.seed)[rigs]

    def values(self, rigs: Integers) -> list[NDArray[Any]]:
        """The values of every factor of some rigs, in the unit of its key."""
        shares = self.shares(rigs)
        return [factor.values(shares[:, at]) for at, factor in enumerate(self.factors)]

    def chunk(self, number: int) -> Integers:
        """The rigs of a chunk: neighbours in the space of the factors."""
        order = _order(self)
        return order[number * self.rigs_per_chunk : (number + 1) * self.rigs_per_chunk]

    def __reduce__(self) -> tuple[Any, ...]:
        # what is worked out on demand stays behind
        return _rebuilt, ({name: getattr(self, name) for name in self.__dataclass_fields__},)

    def __hash__(self) -> int:
        return hash(self.digest)


def _rebuilt(values: dict[str, Any]) -> Study:
    return Study(**values)


@lru_cache(maxsize=2)
def _sample(kind: str, factors: int, rigs: int, seed: int) -> Floats:
    """All points of a sample (rigs, factors)."""
    if kind == SOBOL:
        sequence = qmc.Sobol(d=factors, scramble=True, rng=seed)
        return sequence.random_base2(max(rigs - 1, 0).bit_length())[:rigs]
    return np.asarray(qmc.LatinHypercube(d=factors, rng=seed).random(rigs))


@lru_cache(maxsize=2)
def _order(study: Study) -> Integers:
    """All rigs in an order in which neighbours of the space stand together: halves of the halves, each time
    along the factor that they differ most in; rigs of one option together.
    """
    rigs = np.arange(study.rigs)
    shares = study.shares(rigs)
    is_option = np.array([factor.is_option for factor in study.factors])
    weighted = shares * np.where(is_option, 1e3, 1.0)
    size = study.rigs_per_chunk
    parts, done = [rigs], []
    while parts:
        part = parts.pop()
        if len(part) <= size:
            done.append(part)
            continue
        spread = np.ptp(weighted[part], axis=0)
        along = part[np.argsort(weighted[part, int(spread.argmax())], kind="stable")]
        chunks = -(-len(part) // size)
        cut = (chunks // 2) * size
        parts += [along[cut:], along[:cut]]
    return np.concatenate(done)


# --- from the file ------------------------------------------------------------------------------------------


def load_study(path: str | PathLike[str]) -> Study:
    """Read a study file and its boat file. Raises BoatFileError with everything that is wrong."""
    file = read_study(path)
    boat_path = Path(path).parent / file.top.boat
    if not boat_path.is_file():
        wrong = "there is no such file, from the folder of the study file"
        raise BoatFileError([file.problem(Finding(("boat",), wrong))])
    return _Reader(file, load(boat_path)).study()


class _Reader:
    """Holds a study file against its boat, and gathers all that is wrong."""

    def __init__(self, file: StudyFile, boat_file: BoatFile) -> None:
        self.file, self.boat_file = file, boat_file
        self.problems: list[Problem] = []
        self.options = [boat.name for boat in boat_file.boats]

    def study(self) -> Study:
        """The study. Raises BoatFileError."""
        file = self.file
        for key in ("option", "compare_with"):
            self._check_option(getattr(file.top, key), (key,))
        self._refuse()
        option = file.top.option
        movable = self._movable(option)
        factors = tuple(
            factor
            for index, table in enumerate(file.factors)
            if (factor := self._factor(index, table, movable[option])) is not None
        )
        rigs = self._rigs(factors)
        angles: tuple[float | str, ...] = (*file.conditions.twa_deg, *file.conditions.best_vmg)
        self._check_conditions(angles)
        self._check_columns()
        sums = tuple(
            found for index, table in enumerate(file.sums) if (found := self._sum(index, table)) is not None
        )
        limits = self._limits(option)
        rows = [(wind, angle) for wind in file.conditions.tws_kn for angle in angles]
        aims = self._aims(rows)
        front = self._front([aim.name for aim in aims])
        self._refuse()
        for name in movable:
            for factor in factors:
                missing = [key.name for key in factor.keys if key.name not in movable[name].keys]
                for key in missing:
                    self._note(("factor",), f"option {name} has no number {key}")
        self._refuse()
        return Study(
            path=file.path,
            name=file.top.name,
            description=file.top.description or "",
            boat_file=self.boat_file,
            option=option,
            compare_with=file.top.compare_with or option,
            kind=file.plan.kind,
            seed=file.plan.seed,
            factors=factors,
            rigs=rigs,
            limits=limits,
            sums=sums,
            keeps_to_rules=file.rule_box.breaking == "left_out",
            tws_kn=file.conditions.tws_kn,
            angles=angles,
            columns=file.outputs.columns,
            aims=aims,
            front=front,
            best=file.outputs.best,
            method=file.solve.method,
            anchors=file.solve.anchors,
            rigs_per_chunk=file.solve.rigs_per_chunk
            or _chunk_size(file.solve.method, rigs, len(rows), file.solve.anchors),
            movable=movable,
        )

    def _refuse(self) -> None:
        if self.problems:
            raise BoatFileError(sorted(dict.fromkeys(self.problems), key=lambda each: each.line or 0))

    def _note(self, path: tuple[str | int, ...], wrong: str, allowed: str = "", hint: str = "") -> None:
        self.problems.append(self.file.problem(Finding(path, wrong, allowed, hint)))

    def _check_option(self, name: str | None, path: tuple[str | int, ...]) -> None:
        if name is not None and name not in self.options:
            self._note(
                path, "there is no option of that name", ", ".join(self.options), nearest(name, self.options)
            )

    def _movable(self, option: str) -> dict[str, MovableKeys]:
        """The numbers of every option that rigs depart from."""
        names = {option}
        for table in self.file.factors:
            if table.key == OPTION:
                names |= {value for value in table.values or () if value in self.options}
        filed = AsFiled.of(self.boat_file)
        return {name: MovableKeys(self.boat_file, name, filed=filed) for name in sorted(names)}

    # --- factors --------------------------------------------------------------------------------------------

    def _factor(self, index: int, table: FactorTable, movable: MovableKeys) -> Factor | None:
        before = len(self.problems)
        path = ("factor", index)
        if table.key == OPTION:
            return self._option_factor(path, table)
        names = [name.strip() for name in table.key.split("+")]
        for name in names:
            if name not in movable.keys:
                hint = nearest(name, list(movable.keys))
                self._note((*path, "key"), f"{name} is no number of this boat that can be moved", "", hint)
        if len(self.problems) > before:
            return None
        keys = tuple(movable.keys[name] for name in names)
        if len({key.unit for key in keys}) > 1:
            self._note((*path, "key"), "numbers that move together need the same unit")
        if table.values is not None and not all(isinstance(value, float) for value in table.values):
            self._note((*path, "values"), f"{table.key} takes numbers")
        return self._ranged(path, table, keys) if len(self.problems) == before else None

    def _option_factor(self, path: tuple[str | int, ...], table: FactorTable) -> Factor | None:
        if table.values is None:
            self._note((*path, "values"), "missing: names of options of the boat file")
            return None
        for value in table.values:
            self._check_option(str(value), (*path, "values"))
        if len(set(table.values)) < len(table.values):
            self._note((*path, "values"), "each option once")
        return Factor(name=table.name, keys=(), levels=tuple(str(value) for value in table.values))

    def _ranged(
        self, path: tuple[str | int, ...], table: FactorTable, keys: tuple[Key, ...]
    ) -> Factor | None:
        is_range = table.least is not None or table.greatest is not None
        if (table.values is not None) == is_range:
            self._note((*path, "values"), "give either values, or least and greatest")
            return None
        if table.values is not None:
            if len(set(table.values)) < len(table.values):
                self._note((*path, "values"), "each value once")
            return Factor(name=table.name, keys=keys, levels=table.values)
        least, greatest = table.least, table.greatest
        if least is None or greatest is None or greatest <= least:
            self._note((*path, "greatest"), "least and greatest are both needed, greatest above least")
            return None
        peak = table.likeliest
        if (table.distribution == TRIANGULAR) != (peak is not None):
            self._note((*path, "likeliest"), "belongs to a triangular distribution, and that needs it")
        elif peak is not None and not least <= peak <= greatest:
            self._note((*path, "likeliest"), "lies outside the range", f"{least:g} to {greatest:g}")
        if self.file.plan.kind == GRID:
            if table.steps is None or table.distribution != EVEN:
                self._note((*path, "steps"), "a grid takes even steps from least to greatest, or values")
                return None
            levels = tuple(float(value) for value in np.linspace(least, greatest, table.steps))
            return Factor(name=table.name, keys=keys, levels=levels)
        if table.steps is not None:
            self._note((*path, "steps"), "belongs to a grid; a sample takes the whole range, or values")
        return Factor(
            name=table.name,
            keys=keys,
            least=least,
            greatest=greatest,
            distribution=table.distribution,
            likeliest=math.nan if peak is None else peak,
        )

    def _rigs(self, factors: Sequence[Factor]) -> int:
        plan = self.file.plan
        taken = [key.name for factor in factors for key in factor.keys]
        for key in dict.fromkeys(taken):
            if taken.count(key) > 1:
                self._note(("factor",), f"{key} stands in more than one factor")
        clash = {"rig", "status", "how", "reason", "made_good_kn", *COLUMNS} & {each.name for each in factors}
        for name in sorted(clash):
            if name != OPTION:
                self._note(("factor",), f"{name} is the name of a column; call the factor otherwise")
        if plan.kind == GRID:
            if plan.rigs is not None:
                self._note(("plan", "rigs"), "a grid has as many rigs as its factors have combinations")
            return math.prod(len(factor.levels) for factor in factors)
        if plan.rigs is None:
            self._note(("plan", "rigs"), "missing: how many rigs are sampled")
        return plan.rigs or 1

    # --- conditions, limits, aims ---------------------------------------------------------------------------

    def _check_conditions(self, angles: Sequence[float | str]) -> None:
        asked = self.file.conditions
        if not angles:
            self._note(("conditions", "twa_deg"), "missing: angles, or best_vmg")
        for name in ("tws_kn", "twa_deg", "best_vmg"):
            values = getattr(asked, name)
            if len(set(values)) < len(values):
                self._note(("conditions", name), "each value once")

    def _check_columns(self) -> None:
        known = [name for name in COLUMNS if name not in _OWN_COLUMNS]
        for name in self.file.outputs.columns:
            if name not in known:
                self._note(
                    ("outputs", "columns"), f"there is no column {name} of numbers", "", nearest(name, known)
                )

    def _sum(self, index: int, table: SumTable) -> Sum | None:
        path = ("sum", index)
        names = [factor.name for factor in self.file.factors if factor.key != OPTION]
        unknown = [name for name in table.factors if name not in names]
        for name in unknown:
            self._note((*path, "factors"), f"{name} is no factor with numbers", ", ".join(names))
        if len(table.weights) != len(table.factors):
            self._note((*path, "weights"), "as many weights as factors are needed")
        if table.least is None and table.greatest is None:
            self._note((*path, "greatest"), "missing: least, greatest or both")
        every = [factor.name for factor in self.file.factors]
        return Sum(
            name=table.name,
            factors=tuple(every.index(name) for name in table.factors if name in names),
            weights=table.weights,
            least=-math.inf if table.least is None else table.least,
            greatest=math.inf if table.greatest is None else table.greatest,
        )

    def _limits(self, option: str) -> tuple[Limit, ...]:
        """The rule box of the boat file, then the limits of the study."""
        boat = self.boat_file.boat(option)
        found = list(limits_of(self.boat_file, option))
        for index, table in enumerate(self.file.constraints):
            unit = QUANTITIES[table.quantity].unit
            low, high = getattr(table, f"least_{unit}"), getattr(table, f"greatest_{unit}")
            turn = math.radians if unit == "deg" else float
            limit = Limit(
                name=table.name,
                clause=table.clause or table.name,
                quantity=table.quantity,
                of=table.of or "",
                at_share=math.nan if table.at_percent is None else table.at_percent / 100.0,
                least=None if low is None else turn(low),
                greatest=None if high is None else turn(high),
            )
            try:
                if math.isnan(measured(boat, limit.quantity, of=limit.of, at_share=limit.at_share)):
                    self._note(("constraint", index, "at_percent"), "missing: the height of the chord")
            except KeyError:
                self._note(("constraint", index, "of"), "the boat has nothing of that name to measure it on")
            found.append(limit)
        return tuple(found)

    def _aims(self, rows: Sequence[tuple[float, float | str]]) -> tuple[Aim, ...]:
        if self.file.aims:
            return tuple(
                aim for index, table in enumerate(self.file.aims) if (aim := self._aim(index, table, rows))
            )
        return tuple(_usual_aims(rows))

    def _aim(self, index: int, table: AimTable, rows: Sequence[tuple[float, float | str]]) -> Aim | None:
        path, asked = ("aim", index), self.file.conditions
        for name in ("tws_kn", "twa_deg", "best_vmg"):
            solved = getattr(asked, name)
            for value in getattr(table, name):
                if value not in solved:
                    self._note(
                        (*path, name), f"{value} is none of the [conditions]", ", ".join(map(str, solved))
                    )
        winds = table.tws_kn or asked.tws_kn
        if table.tws_weight and len(table.tws_weight) != len(winds):
            self._note((*path, "tws_weight"), f"{len(table.tws_weight)} weights for {len(winds)} winds")
            return None
        of_wind = dict(zip(winds, table.tws_weight or (1.0,) * len(winds), strict=True))
        angles = (*table.twa_deg, *table.best_vmg) or (*asked.twa_deg, *asked.best_vmg)
        weight = [of_wind.get(wind, 0.0) if angle in angles else 0.0 for wind, angle in rows]
        total = sum(weight)
        if total <= 0.0:
            self._note((*path, "name"), "no condition counts for this aim")
            return None
        return Aim(name=table.name, weight=tuple(each / total for each in weight))

    def _front(self, names: Sequence[str]) -> tuple[int, int] | None:
        asked = self.file.outputs.front
        if not asked:
            return (0, 1) if len(names) > 1 else None
        for name in asked:
            if name not in names:
                self._note(("outputs", "front"), f"{name} is no aim", ", ".join(names), nearest(name, names))
        if len(set(asked)) != 2:
            self._note(("outputs", "front"), "needs two aims")
        if self.problems:
            return None
        return names.index(asked[0]), names.index(asked[1])


def _usual_aims(rows: Sequence[tuple[float, float | str]]) -> Iterator[Aim]:
    """Each angle in all winds, and all of them together where there are several."""
    angles = list(dict.fromkeys(angle for _, angle in rows))
    names = {angle: angle if isinstance(angle, str) else f"at_{angle:g}_deg" for angle in angles}
    order = [*(word for word in BEST_VMG if word in angles), *(a for a in angles if a not in BEST_VMG)]
    for wanted in order:
        counts = [float(angle == wanted) for _, angle in rows]
        yield Aim(name=str(names[wanted]), weight=tuple(each / sum(counts) for each in counts))
    if len(angles) > 1:
        yield Aim(name="all_conditions", weight=(1.0 / len(rows),) * len(rows))


def _chunk_size(method: str, rigs: int, conditions: int, anchors: int) -> int:
    if method == COMPILED:
        return max(1, min(_MOST_COMPILED // conditions, _MOST_BOATS_COMPILED, rigs))
    return chunk_size(rigs, conditions, anchors if method == FOLLOWED else 1)


def chunk_size(rigs: int, conditions: int, anchors: int) -> int:
    """Rigs of a chunk: whole groups of boats that are searched together, of a bounded number of conditions,
    and so many that a small study still has work for several processes.
    """
    most = max(1, _MOST_IN_CHUNK // (conditions * BOATS))
    wanted = max(1, -(-rigs // (_LEAST_CHUNKS * BOATS)), anchors * _TO_AN_ANCHOR // BOATS)
    return BOATS * min(most, wanted)
