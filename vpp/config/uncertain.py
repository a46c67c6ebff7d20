"""What is uncertain about a boat: ranges of numbers of its file, as the file gives them or by default."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase

from vpp.config.boat_file import BoatFile
from vpp.config.errors import BoatFileError
from vpp.config.locate import Path as KeyPath
from vpp.config.movable import AsFiled, Key, MovableKeys
from vpp.config.resolve import BASE
from vpp.config.schema import BoatDocument, TableModel, UncertaintyTable, properties_of
from vpp.config.text import nearest
from vpp.config.units import ending_of
from vpp.config.validate import Finding, problem

EVEN, NORMAL = "even", "normal"
"""Shapes of a range: every value alike, or a normal distribution of which the range holds 95 %."""

PRACTICE = "common practice, no source"
_NARROWED = "narrowed to what the boat file allows"
# How much of a default range is taken, at most, where its ends are refused.
_SHARES_OF_DEFAULT = (1.0, 0.75, 0.5, 0.25)
_NO_NUMBER = "is no number of the base boat that can be moved"


@dataclass(frozen=True, kw_only=True)
class Input:
    """Something uncertain: numbers of the boat file that move together.

    At t from -1 to 1, the ends of the range, each of `keys` changes by `centre + half * t`: as a share of its
    own value where `is_share`, else in its own unit. `unit` is that of the change, "%" or the key's. `why` is
    the reason for the range, and `is_default` says that it is not from the boat file.
    """

    name: str
    keys: tuple[str, ...]
    is_share: bool
    half: float
    centre: float
    shape: str
    unit: str
    why: str
    is_default: bool

    def change(self, t: float) -> float:
        """The change at t, a share or in the key's unit."""
        return self.centre + self.half * t

    @property
    def column(self) -> str:
        """The name of a column of changes, its unit at the end."""
        ending = "percent" if self.is_share else ending_of(self.keys[0])
        return f"{self.name}_change_{ending}" if ending else f"{self.name}_change"

    @property
    def range_text(self) -> str:
        """The range in words."""
        factor = 100.0 if self.is_share else 1.0
        half, unit = f"{factor * self.half:.4g}", f" {self.unit}" if self.unit else ""
        if self.centre == 0.0:
            return f"{half}{unit} either way"
        low, high = (factor * self.change(t) for t in (-1.0, 1.0))
        return f"{low:+.4g} to {high:+.4g}{unit}"


@dataclass(frozen=True, kw_only=True)
class Default:
    """A range that is taken where the file gives none: of the keys that match `pattern`, on boats whose hull
    is of one of `hulls`, where any are named, and with foils where it `is_of_foils`.
    """

    name: str
    pattern: str
    why: str
    percent: float = 0.0
    shift: float = 0.0
    shape: str = EVEN
    hulls: tuple[str, ...] = ()
    is_of_foils: bool = False

    @property
    def half(self) -> float:
        """Half of the range, a share or in the key's unit."""
        return self.percent / 100.0 if self.percent else self.shift


DEFAULTS = (
    Default(
        name="hull_drag",
        pattern="calibration.hull_resistance_scale",
        percent=5.0,
        hulls=("systematic_series", "table"),
        why="tests of one hull in different waters differed by some 4 % (Day, Cameron & Dai 2019), and none "
        "should be claimed better than 5 %",
    ),
    Default(
        name="hull_drag",
        pattern="calibration.hull_resistance_scale",
        percent=20.0,
        hulls=("thin_ship",),
        why=f"a theory without data, no dynamic lift: {PRACTICE}",
    ),
    Default(
        name="hull_drag",
        pattern="calibration.hull_resistance_scale",
        percent=20.0,
        hulls=("planing_prism",),
        why="between floating and planing the drag is blended by a curve without source, 20 % either way",
    ),
    Default(
        name="heel_drag",
        pattern="hull.heel_resistance_20deg_percent",
        shift=5.0,
        why=f"growth of the hull's resistance with heel: {PRACTICE}",
    ),
    Default(
        name="appendage_drag",
        pattern="calibration.appendage_drag_scale",
        percent=20.0,
        why=f"sections of real finish, and where the flow turns turbulent: {PRACTICE}",
    ),
    Default(
        name="windage",
        pattern="calibration.windage_scale",
        percent=30.0,
        why="drag coefficients of hulls, spars and wires, 30 % either way (Larsson & Eliasson, Principles of "
        "Yacht Design, fig. 9.2, from memory)",
    ),
    Default(
        name="sail_force",
        pattern="calibration.sail_force_scale",
        percent=10.0,
        why=f"two sails in each other's flow, and cloth: {PRACTICE}",
    ),
    Default(
        name="sail_profile_drag",
        pattern="sail.*.profile_drag_coefficient",
        percent=20.0,
        why="Reynolds number alone is worth that",
    ),
    Default(
        name="sail_stall",
        pattern="sail.*.stall_*_deg",
        percent=20.0,
        why=f"where the flow leaves a soft sail, and how gradually: {PRACTICE}",
    ),
    Default(
        name="gap_leakage",
        pattern="rig.gap_leakage_percent",
        percent=100.0,
        why="nothing is measured between a sealed gap and an open one: from sealed to twice the estimate",
    ),
    Default(
        name="wind_profile",
        pattern="environment.wind_exponent",
        shift=0.03,
        shape=NORMAL,
        why="open sea in near-neutral air: 0.11 within 0.03 (Hsu, Meindl & Gilhousen 1994, from memory)",
    ),
    Default(
        name="wave_height",
        pattern="sea.significant_height_m",
        percent=20.0,
        why="added resistance goes with the square of the height and is in doubt by half: a fifth of the "
        "height stands for it",
    ),
    Default(
        name="crew_mass",
        pattern="crew.mass_kg",
        percent=3.0,
        why=f"clothes and water: {PRACTICE}",
    ),
    Default(
        name="crew_reach",
        pattern="crew.arm_max_m",
        percent=5.0,
        why=f"where people really sit: {PRACTICE}",
    ),
    Default(
        name="boat_mass",
        pattern="mass.*.mass_kg",
        percent=2.0,
        why=f"weights are sums of estimates until the boat is weighed: {PRACTICE}",
    ),
    Default(
        name="mass_height",
        pattern="mass.*.z_m",
        shift=0.03,
        why=f"an inclining test finds the centre of mass to a few centimetres: {PRACTICE}",
    ),
    Default(
        name="form_stability",
        pattern="hull.metacentric_radius_m",
        percent=3.0,
        why=f"second moment of the water plane: {PRACTICE}",
    ),
    Default(
        name="foil_stall",
        pattern="foil.*.stall_lift_coefficient",
        percent=10.0,
        why=f"sections near the surface and with their flaps down: {PRACTICE}",
    ),
    Default(
        name="foil_immersion",
        pattern="margins.immersion_m",
        shift=0.05,
        is_of_foils=True,
        why=f"how near to the surface the tips are let: {PRACTICE}",
    ),
)
"""Ranges where the boat file gives none. A range is narrowed where one of its ends would be refused for the
base or an option, and left out where nothing remains of it.
"""


def movable_boats(boat_file: BoatFile, options: Sequence[str] = ()) -> dict[str, MovableKeys]:
    """The numbers of the base and of options of a file, all of them unless some are named, by name.

    Raises BoatFileError where the file has changed, and for options that it does not hold.
    """
    filed = AsFiled.of(boat_file)
    return {boat.name: MovableKeys(boat_file, boat.name, filed=filed) for boat in boat_file.select(options)}


def inputs_of(
    boat_file: BoatFile,
    *,
    options: Sequence[str] = (),
    defaults: bool = True,
    boats: Mapping[str, MovableKeys] | None = None,
) -> tuple[Input, ...]:
    """What is uncertain about the boats of a file: what its `[[uncertainty]]` tables name, and with
    `defaults` the ranges of `DEFAULTS` for keys that they do not name.

    Ranges of options are those of the base. `boats` are those of `movable_boats`, where they are known
    already. Raises BoatFileError with everything that is wrong with the tables, and where the file has
    changed.
    """
    if boats is None:
        boats = movable_boats(boat_file, options)
    keys = boats[BASE].keys
    document, given, named = _given(boat_file, boats[BASE])
    if not defaults:
        return given
    bounds = _bounds(document, keys)
    found = list(given)
    for default in DEFAULTS:
        if default.hulls and document.hull.model not in default.hulls:
            continue
        if default.is_of_foils and not document.foil:
            continue
        its = [name for name in keys if fnmatchcase(name, default.pattern) and name not in named]
        made = _of_default(default, its, list(boats.values()), bounds)
        if made is not None:
            found.append(made)
    return tuple(found)


def changes_at(inputs: Sequence[Input], t: Sequence[float], keys: Mapping[str, Key]) -> dict[str, float]:
    """By how much the numbers of a boat move where its inputs are at t, in the units of the keys; keys that
    the boat does not have stay behind. A share is one of the boat's own value, so that what an option sets
    moves in proportion; a shift is the same for all.
    """
    by: dict[str, float] = {}
    for each, at in zip(inputs, t, strict=True):
        change = each.change(at)
        for name in each.keys:
            if name in keys:
                by[name] = by.get(name, 0.0) + (change * keys[name].value if each.is_share else change)
    return by


# --- tables of the file -------------------------------------------------------------------------------------


def _given(boat_file: BoatFile, boat: MovableKeys) -> tuple[BoatDocument, tuple[Input, ...], frozenset[str]]:
    """The base as filed, its inputs, and all keys that its tables name, those of no range included."""
    document, keys = boat.document, boat.keys
    bounds = {name: boat.allowed(name) for name in keys}
    findings: list[Finding] = []
    found: list[Input] = []
    named: dict[str, str] = {}
    for index, table in enumerate(document.uncertainty):
        path: KeyPath = ("uncertainty", index)
        its = [name for name in keys if fnmatchcase(name, table.key)]
        if not its:
            findings.append(Finding((*path, "key"), _NO_NUMBER, "", nearest(table.key, list(keys))))
            continue
        twice = [name for name in its if name in named]
        if twice:
            wrong = f"{twice[0]} stands under {named[twice[0]]} already"
            findings.append(Finding((*path, "key"), wrong, "each key once"))
        named |= dict.fromkeys(its, table.name)
        made, faults = _of_table(table, [keys[name] for name in its], bounds)
        findings += [Finding((*path, key), fault, allowed) for key, fault, allowed in faults]
        if made is not None and made.half > 0.0:
            found.append(made)
    if findings:
        root = AsFiled.of(boat_file).boats[BASE].root
        raise BoatFileError([problem(finding, root, file=str(boat_file.path)) for finding in findings])
    return document, tuple(found), frozenset(named)


def _of_table(
    table: UncertaintyTable, keys: Sequence[Key], bounds: Mapping[str, tuple[float, float]]
) -> tuple[Input | None, list[tuple[str, str, str]]]:
    """The input of a table, or what is wrong with its range: key, what, and what is allowed."""
    is_share = table.plus_minus_percent is not None
    centre, way = 0.0, "plus_minus"
    if table.plus_minus_percent is not None:
        half, way = table.plus_minus_percent / 100.0, "plus_minus_percent"
        zero = [key.name for key in keys if key.value == 0.0]
        if zero and half:
            return None, [(way, f"{zero[0]} is 0, of which there is no share", "plus_minus")]
    elif table.plus_minus is not None:
        half = table.plus_minus
    else:
        assert table.least is not None
        assert table.greatest is not None
        half, way = 0.5 * (table.greatest - table.least), "least"
        centre = 0.5 * (table.greatest + table.least) - keys[0].value
    made = Input(
        name=table.name,
        keys=tuple(key.name for key in keys),
        is_share=is_share,
        half=half,
        centre=centre,
        shape=table.shape,
        unit="%" if is_share else keys[0].unit,
        why=table.why or "from the boat file",
        is_default=False,
    )
    wrong = []
    for key in keys:
        low, high = bounds[key.name]
        ends = [key.value + made.change(t) * (key.value if is_share else 1.0) for t in (-1.0, 1.0)]
        if half and not (low <= min(ends) and max(ends) <= high):
            told = f"the range of {key.name} goes from {min(ends):g} to {max(ends):g} {key.unit}".rstrip()
            wrong.append((way, told, f"{low:g} to {high:g} {key.unit}".rstrip()))
            break
    return made, wrong


# --- defaults -----------------------------------------------------------------------------------------------


def _of_default(
    default: Default,
    names: Sequence[str],
    boats: Sequence[MovableKeys],
    bounds: Mapping[str, tuple[float, float]],
) -> Input | None:
    """The input of a default range, as wide as all boats allow."""
    is_share = default.percent > 0.0
    names = [name for name in names if not (is_share and boats[0].keys[name].value == 0.0)]
    if not names:
        return None
    room = math.inf
    for boat in boats:
        for name in names:
            value = boat.keys[name].value if name in boat.keys else 0.0
            if name in boat.keys and (value != 0.0 or not is_share):
                low, high = bounds[name]
                room = min(
                    room, *(abs(end - value) / (abs(value) if is_share else 1.0) for end in (low, high))
                )
    widest = Input(
        name=default.name,
        keys=tuple(names),
        is_share=is_share,
        half=min(default.half, room),
        centre=0.0,
        shape=default.shape,
        unit="%" if is_share else boats[0].keys[names[0]].unit,
        why=default.why,
        is_default=True,
    )
    for share in _SHARES_OF_DEFAULT:
        made = replace(widest, half=share * widest.half)
        if made.half > 0.0 and all(_is_allowed(made, boat) for boat in boats):
            narrowed = made.half < default.half
            return replace(made, why=f"{default.why}; {_NARROWED}") if narrowed else made
    return None


def _is_allowed(each: Input, boat: MovableKeys) -> bool:
    """Whether a boat file would allow both ends of a range."""
    try:
        for t in (-1.0, 1.0):
            boat.moved_to(changes_at([each], [t], boat.keys))
    except BoatFileError:
        return False
    return True


def _bounds(document: BoatDocument, keys: Mapping[str, Key]) -> dict[str, tuple[float, float]]:
    """What each key may be, in its unit; lists are not bounded."""
    found: dict[str, tuple[float, float]] = {}
    for name, key in keys.items():
        table_name, *_, last = name.split(".")
        entry = properties_of(_model_of(document, table_name, name))[last]
        low, high = entry.get("minimum", -math.inf), entry.get("maximum", math.inf)
        found[name] = (-math.inf, math.inf) if key.is_list else (low, high)
    return found


def _model_of(document: BoatDocument, table_name: str, name: str) -> type[TableModel]:
    held = getattr(document, table_name)
    if not isinstance(held, tuple):
        return type(held)
    return next(type(table) for table in held if table.name == name.split(".")[1])
