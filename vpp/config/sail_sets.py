"""Whether sail sets go together with the sails of the boat, and with each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from vpp.config.locate import Path
from vpp.config.schema import BoatDocument, CoefficientSailTable, SailSetTable, SailTable
from vpp.config.text import nearest
from vpp.config.validate import Finding

# Sails up at a time whose flow about each other has been compared with other methods.
MOST_SAILS_UP = 2
# Less cloth than this along the luff is no sail.
LEAST_REEFED_LUFF_M = 0.5
# Parts that stand in the same lists of loads and masses as the sails.
_TAKEN = ("mast", "rigging", "crew", "weight", "buoyancy")


def sail_set_findings(boat: BoatDocument) -> list[Finding]:
    """What does not go together between the sails of a boat and its sail sets."""
    found = [*_sail_names(boat), *_roles(boat)]
    if not boat.sail_set:
        hint = "say which are up together in [[sail_set]]"
        together = [replace(each, hint=each.hint or hint) for each in _together(("sail",), boat.sail)]
        return [*found, *together, *_useless_wardrobe(boat)]
    for index, table in enumerate(boat.sail_set):
        found += _one_set(("sail_set", index), table, boat)
    return [*found, *_unused(boat), *_alike(boat.sail_set)]


def role_of(sail: SailTable) -> str:
    """In whose columns a sail's trims stand; "other" for none."""
    return sail.role or (sail.name if sail.name in ("main", "jib") else "other")


def _sail_names(boat: BoatDocument) -> Iterator[Finding]:
    """A sail stands by its name beside other parts in every list of loads and weights."""
    others = {
        table.name: kind
        for kind, tables in (
            ("foil", boat.foil), ("fin", boat.fin), ("mass", boat.mass), ("windage", boat.windage),
        )
        for table in tables
    }  # fmt: skip
    for path, name in _named(boat):
        if name in _TAKEN:
            yield Finding((*path, "name"), "is the name of another part of the boat", "another name")
        elif name in others and not (name in ("main", "jib") and others[name] in ("foil", "mass")):
            # of masses and foils of those names it is told already
            wrong = f"there is already a [[{others[name]}]] of that name"
            yield Finding((*path, "name"), wrong, "another name")


def _roles(boat: BoatDocument) -> Iterator[Finding]:
    for index, sail in enumerate(boat.sail):
        if isinstance(sail, SailTable) and sail.role is None and sail.name not in ("main", "jib"):
            yield Finding(
                ("sail", index, "role"),
                "missing: in whose columns the trims of a sail of that name stand",
                '"main" or "jib" or "other"',
                missing=True,
            )


def _together(path: Path, up: Sequence[SailTable | CoefficientSailTable]) -> Iterator[Finding]:
    """Whether sails can be up at the same time."""
    strips = _of_strips(up)
    if len(strips) > MOST_SAILS_UP:
        wrong = f"{len(strips)} sails are up together; the sails' mutual flow is known of {MOST_SAILS_UP}"
        yield Finding(path, wrong, f"up to {MOST_SAILS_UP}")
    yield from _same_role(path, strips)
    yield from _one_table(path, up)


def _of_strips(sails: Sequence[SailTable | CoefficientSailTable]) -> list[SailTable]:
    return [sail for sail in sails if isinstance(sail, SailTable)]


def _one_table(path: Path, up: Sequence[SailTable | CoefficientSailTable]) -> Iterator[Finding]:
    """Sails from tables do not feel each other, and the results have a column for the power of one."""
    tables = [sail.name for sail in up if isinstance(sail, CoefficientSailTable)]
    if len(tables) > 1:
        wrong = f'{" and ".join(tables)} are up together, each with model = "table"'
        yield Finding(path, wrong, "one such sail")


def _same_role(path: Path, up: Sequence[SailTable]) -> Iterator[Finding]:
    taken: dict[str, str] = {}
    for sail in up:
        role = role_of(sail)
        if role in taken and role != "other":
            wrong = f"{taken[role]} and {sail.name} are up together, and the trims of both stand under {role}"
            yield Finding(path, wrong, "", 'give one of them another role, or "other" for none')
        taken[role] = sail.name


def _useless_wardrobe(boat: BoatDocument) -> Iterator[Finding]:
    for key in sorted(boat.wardrobe.model_fields_set):
        yield Finding(("wardrobe", key), "there is no [[sail_set]] to change to")


def _one_set(path: Path, table: SailSetTable, boat: BoatDocument) -> Iterator[Finding]:
    sails = {sail.name: sail for sail in _of_strips(boat.sail)}
    known = [name for _, name in _named(boat)]
    yield from _each_once((*path, "sails"), table.sails, known, "sail")
    yield from _together((*path, "sails"), [sail for sail in boat.sail if sail.name in table.sails])
    yield from _each_once((*path, "reefed"), table.reefed, table.sails, "sail of this set")
    if len(table.reef_percent) != len(table.reefed):
        wrong = f"has {len(table.reef_percent)} entries, reefed has {len(table.reefed)}"
        yield Finding((*path, "reef_percent"), wrong, f"{len(table.reefed)} entries")
    for index, (name, percent) in enumerate(zip(table.reefed, table.reef_percent, strict=False)):
        if name in sails:
            yield from _reef((*path, "reef_percent", index), sails[name], percent)
        elif name in known:
            wrong = "a sail given by coefficients has no luff to reef"
            yield Finding((*path, "reefed", index), wrong)


def _each_once(path: Path, names: Sequence[str], known: Sequence[str], what: str) -> Iterator[Finding]:
    for index, name in enumerate(names):
        if name not in known:
            yield Finding(
                (*path, index), f"there is no {what} of that name", ", ".join(known), nearest(name, known)
            )
        elif name in names[:index]:
            yield Finding((*path, index), f"{name} is in the list already")


def _reef(path: Path, sail: SailTable, percent: float) -> Iterator[Finding]:
    transition = sail.head_transition_from_percent
    ends = {
        "the head's cut": sail.head_cut_from_percent,
        "the head's own trim": sail.head_zone_from_percent if transition is None else transition,
    }
    for what, start in ends.items():
        if percent >= start:
            yield Finding(path, f"the reef reaches into {what} of {sail.name}", f"below {start:g} %")
    luff = sail.head_height_m - sail.foot_height_m
    if luff * (1.0 - percent / 100.0) < LEAST_REEFED_LUFF_M:
        most = 100.0 * (1.0 - LEAST_REEFED_LUFF_M / luff)
        yield Finding(path, f"less than {LEAST_REEFED_LUFF_M:g} m of luff is left", f"up to {most:.3g} %")


def _unused(boat: BoatDocument) -> Iterator[Finding]:
    used = {name for table in boat.sail_set for name in table.sails}
    for path, name in _named(boat):
        if name not in used:
            wrong = "no [[sail_set]] has this sail"
            yield Finding((*path, "name"), wrong, "", "add it to a set, or take the sail away")


def _alike(sets: Sequence[SailSetTable]) -> Iterator[Finding]:
    seen: dict[tuple[frozenset[str], frozenset[tuple[str, float]]], str] = {}
    for index, table in enumerate(sets):
        reefs = frozenset(zip(table.reefed, table.reef_percent, strict=False))
        what = frozenset(table.sails), reefs
        if what in seen:
            wrong = f"has the same sails and reefs as {seen[what]}"
            yield Finding(("sail_set", index, "sails"), wrong, "another choice")
        seen.setdefault(what, table.name)


def _named(boat: BoatDocument) -> Iterator[tuple[Path, str]]:
    """Every sail of the locker, with its place."""
    for index, sail in enumerate(boat.sail):
        yield ("sail", index), sail.name
