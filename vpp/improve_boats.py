"""Boats with several numbers of their file at other values inside bounds, and what measuring them finds."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from vpp.boat import Boat
from vpp.config.boat_file import BoatFile
from vpp.config.errors import BoatFileError, Problem
from vpp.config.movable import Key, MovableKeys
from vpp.config.text import nearest
from vpp.levers import practical_step
from vpp.rule_box import Limit, judge, limits_of
from vpp.solved import BRANCHES
from vpp.trim import kind_of

Floats = NDArray[np.float64]

# Of these none at all is something else than a little: two fins for one, a hinge, a tab.
_NONE_AT_ZERO = ("offset_y_m", "hinge_at_percent", "tab_chord_percent", "tab_min_deg", "tab_max_deg")
# Share of a practical step over which derivatives are taken, and of a range that no step may be wider than.
_SMALL, _SMALL_OF_RANGE = 1e-3, 1e-4
# Values are written to a digit below this share of their range.
_FINE = 1e-4
# Roundings up and down are tried together for so many numbers.
_MOST_ROUNDED = 8
# A rule box is kept to within this many per cent of a bound.
_KEPT = 1e-7
# Values as near as this, as a share of the range, are the same.
_SAME = 1e-9
# A range narrower than this share of a practical step is none.
_NARROW = 1e-3
# Halvings in which the place is found beyond which the boat file refuses a value.
_HALVINGS = 12


class ImproveError(ValueError):
    """A search that cannot be made as asked; `problems` lists all that is wrong."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


@dataclass(frozen=True, kw_only=True)
class Varied:
    """A number of the boat file that is varied from `least` to `greatest`, in the unit of its key, and others
    of the same unit that move with it by as much.
    """

    keys: tuple[Key, ...]
    least: float
    greatest: float

    @property
    def name(self) -> str:
        """Its key, and those that move with it."""
        return "+".join(key.name for key in self.keys)

    @property
    def key(self) -> Key:
        """The key that the bounds are meant for."""
        return self.keys[0]

    @property
    def unit(self) -> str:
        """Its unit."""
        return self.key.unit

    @property
    def built(self) -> float:
        """What the boat has of it."""
        return self.key.value

    @property
    def span(self) -> float:
        """Its range."""
        return self.greatest - self.least

    @property
    def decimals(self) -> int:
        """Decimals of its values in files: a digit of less than a ten-thousandth of its range."""
        return max(0, -math.floor(math.log10(_FINE * self.span)))

    def moves(self, value: float) -> dict[str, float]:
        """By how much each of its keys moves for it to have a value."""
        return {key.name: value - self.built for key in self.keys}


def varied_of(
    movable: MovableKeys, bounds: Mapping[str, tuple[float, float]]
) -> tuple[tuple[Varied, ...], tuple[str, ...]]:
    """What is to be varied, by keys joined with + and bounds in their unit, and all that is wrong with it."""
    found: list[Varied] = []
    problems: list[str] = []
    if not bounds:
        problems.append("vary: missing: name at least one number of the boat file with its bounds")
    seen: set[str] = set()
    for text, (least, greatest) in bounds.items():
        names = [name.strip() for name in text.split("+")]
        wrong = list(_wrong_names(movable, names, seen))
        seen |= set(names)
        if not wrong:
            item = Varied(keys=tuple(movable.named(names)), least=float(least), greatest=float(greatest))
            wrong = list(_wrong_bounds(movable, item))
            found.append(item)
        problems += wrong
    return tuple(found), tuple(problems)


def _wrong_names(movable: MovableKeys, names: Sequence[str], seen: set[str]) -> Iterator[str]:
    for name in names:
        if name not in movable.keys:
            hint = nearest(name, list(movable.keys))
            yield "; ".join(
                filter(None, (f"vary = {name}: is no number of this boat that can be moved", hint))
            )
        elif name in seen or names.count(name) > 1:
            yield f"vary = {name}: is varied twice"
            return
    known = [movable.keys[name] for name in names if name in movable.keys]
    units = dict.fromkeys(key.unit for key in known)
    if len(units) > 1:
        told = ", ".join(f"{key.name} in {key.unit or 'no unit'}" for key in known)
        yield f"vary = {'+'.join(names)}: numbers that move together need the same unit: {told}"


def _wrong_bounds(movable: MovableKeys, item: Varied) -> Iterator[str]:
    name, unit = f"vary = {item.name}", item.unit
    if not (math.isfinite(item.least) and math.isfinite(item.greatest)):
        yield f"{name}: the bounds must be finite numbers"
        return
    if item.greatest < item.least:
        yield f"{name}: the bounds are reversed: {item.least:g} lies above {item.greatest:g}"
        return
    if item.span <= _NARROW * practical_step(item.key):
        yield f"{name}: the bounds {item.least:g} and {item.greatest:g} leave nothing to vary"
        return
    if not item.least <= item.built <= item.greatest:
        yield (
            f"{name}: the boat has {item.built:.6g} {unit}, outside {item.least:g} to {item.greatest:g}: "
            "widen the bounds, or begin at an option of the boat file that lies inside (--option)"
        )
        return
    beyond = list(_beyond(movable, item))
    if beyond:
        yield from beyond
        return
    for key in item.keys:
        if key.value == 0.0 and key.name.endswith(_NONE_AT_ZERO):
            yield f"vary = {key.name}: there is none of it: some would be another boat"
            return
    yield from _wrong_kind(movable, item)


def _beyond(movable: MovableKeys, item: Varied) -> Iterator[str]:
    """Keys that the bounds would take out of what a boat file allows."""
    for key in item.keys:
        low, high = movable.allowed(key.name)
        ends = tuple(key.value + end - item.built for end in (item.least, item.greatest))
        if low <= ends[0] and ends[1] <= high:
            continue
        told = f"the bounds go from {ends[0]:g} to {ends[1]:g} {key.unit}".rstrip()
        yield f"vary = {key.name}: {told}; allowed: {low:g} to {high:g} {key.unit}".rstrip()


def _wrong_kind(movable: MovableKeys, item: Varied) -> Iterator[str]:
    """Whether a little of it leaves other quantities free, or is refused both ways."""
    reasons = []
    for by in (_small(item), -_small(item)):
        try:
            there = movable.moved_to(dict.fromkeys((key.name for key in item.keys), by)).boat
        except ValueError as error:
            reasons.append(told_of(error))
            continue
        if kind_of(there.dressed, BRANCHES) != kind_of(movable.boat.dressed, BRANCHES):
            yield (
                f"vary = {item.name}: a little of it changes what can be trimmed; make that an option of the "
                "boat file first and begin there (--option)"
            )
            return
    if len(reasons) == 2:
        yield f"vary = {item.name}: the boat file allows neither more nor less: {reasons[0]}"


def _small(item: Varied) -> float:
    return min(_SMALL * practical_step(item.key), _SMALL_OF_RANGE * item.span)


def told_of(error: ValueError) -> str:
    """What speaks against a boat, in a line."""
    if isinstance(error, BoatFileError):
        return "; ".join(_said(each) for each in error.problems)
    return str(error)


def _said(problem: Problem) -> str:
    subject = ": ".join(filter(None, (problem.key, problem.wrong)))
    return f"{subject}; allowed: {problem.allowed}" if problem.allowed else subject


@dataclass(frozen=True, kw_only=True)
class Clause:
    """One side of a clause of the rule box: `sign` 1 where it is a least value."""

    limit: Limit
    sign: float
    bound: float

    @property
    def size(self) -> float:
        """What its room is measured against."""
        return abs(self.bound) or 1.0

    def room(self, measured: float) -> float:
        """Per cent of the bound that are left; negative where the clause is broken."""
        return 100.0 * self.sign * (measured - self.bound) / self.size


class Boats:
    """The boats of an option of a file with some numbers varied; places are shares of the ranges (n,)."""

    def __init__(
        self, boat_file: BoatFile, option: str, varied: Sequence[Varied], movable: MovableKeys
    ) -> None:
        self.boat_file, self.option, self.movable = boat_file, option, movable
        self.varied = tuple(varied)
        self.limits = limits_of(boat_file, option)
        self.clauses = tuple(
            Clause(limit=limit, sign=sign, bound=bound)
            for limit in self.limits
            for sign, bound in ((1.0, limit.least), (-1.0, limit.greatest))
            if bound is not None
        )
        self._kept: dict[tuple[float, ...], MovableKeys] = {}

    @cached_property
    def start(self) -> Floats:
        """The place of the boat as filed."""
        return np.array([(item.built - item.least) / item.span for item in self.varied])

    def values(self, at: Floats) -> tuple[float, ...]:
        """The values at a place, in the units of their keys."""
        return tuple(
            float(min(max(item.least + share * item.span, item.least), item.greatest))
            for item, share in zip(self.varied, at.tolist(), strict=True)
        )

    def place(self, values: Sequence[float]) -> Floats:
        """The place of some values."""
        return np.array(
            [(value - item.least) / item.span for item, value in zip(self.varied, values, strict=True)]
        )

    def there(self, at: Floats) -> MovableKeys:
        """The boat at a place. Raises ValueError with what speaks against it."""
        key = tuple(at.tolist())
        if key not in self._kept:
            if len(self._kept) > 64:
                self._kept.clear()
            moves: dict[str, float] = {}
            for item, value in zip(self.varied, self.values(at), strict=True):
                moves |= item.moves(value)
            self._kept[key] = self.movable.moved_to(moves)
        return self._kept[key]

    def boat(self, at: Floats) -> Boat:
        """The boat at a place. Raises ValueError with what speaks against it."""
        return self.there(at).boat

    def rooms(self, boat: Boat) -> Floats:
        """Per cent left in every clause (clauses,)."""
        measured = {verdict.limit.name: verdict.measured for verdict in judge(boat, self.limits)}
        return np.array([clause.room(measured[clause.limit.name]) for clause in self.clauses])

    def rounded(self, at: Floats) -> Floats:
        """The nearest place whose values have few digits and that keeps to all that this one keeps to; this
        one where there is none.
        """
        kept = self.rooms(self.boat(at)) >= -_KEPT
        for values in self._roundings(self.values(at)):
            place = self.place(values)
            try:
                rooms = self.rooms(self.boat(place))
            except ValueError:
                continue
            if np.all(rooms[kept] >= -_KEPT):
                return place
        return at

    def _roundings(self, values: Sequence[float]) -> list[tuple[float, ...]]:
        """Values rounded down and up, nearest first."""
        choices = []
        for item, value in zip(self.varied, values, strict=True):
            digit = 10.0**-item.decimals
            both = {round(digit * end(value / digit), item.decimals) for end in (math.floor, math.ceil)}
            inside = {min(max(each, item.least), item.greatest) for each in both}
            if abs(value - item.built) <= _SAME * item.span:
                inside = {item.built}
            nearest = min(inside, key=lambda each: abs(each - value))
            choices.append(sorted(inside) if len(values) <= _MOST_ROUNDED else [nearest])
        spans = [item.span for item in self.varied]

        def off(some: tuple[float, ...]) -> float:
            return sum(abs(a - b) / span for a, b, span in zip(some, values, spans, strict=True))

        return sorted(itertools.product(*choices), key=off)

    def neighbours(self, at: Floats) -> list[list[tuple[float, Boat]]]:
        """Of each varied number, boats with a little less and a little more of it, and by how much, in its
        unit; one of them where the file refuses the other.
        """
        there = self.there(at)
        found = []
        for item in self.varied:
            sides = []
            for by in (-_small(item), _small(item)):
                try:
                    moves = dict.fromkeys((key.name for key in item.keys), by)
                    sides.append((by, there.moved_to(moves).boat))
                except ValueError:
                    continue
            found.append(sides if len(sides) == 2 else [*sides, (0.0, there.boat)])
        return found

    def room(self, at: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        """How far each number alone can go before the file refuses it, of what is asked for, in shares."""
        nearest_low, nearest_high = low.copy(), high.copy()
        for row in range(len(at)):
            for ends in (nearest_low, nearest_high):
                ends[row] = self._allowed(at, row, float(ends[row]))
        return nearest_low, nearest_high

    def _allowed(self, at: Floats, row: int, asked: float) -> float:
        """The farthest move that is allowed, to a four-thousandth of what is asked for."""
        if self.refusal(at, row, asked) is None:
            return asked
        good, bad = 0.0, asked
        for _ in range(_HALVINGS):
            middle = 0.5 * (good + bad)
            good, bad = (middle, bad) if self.refusal(at, row, middle) is None else (good, middle)
        return good

    def refusal(self, at: Floats, row: int, by: float) -> str | None:
        """Why the file refuses one number moved by so much alone; None where it does not."""
        moved = at.copy()
        moved[row] += by
        try:
            self.there(moved)
        except ValueError as error:
            return told_of(error)
        return None
