"""Whether the limits of a rule box can be held against the boat."""

from __future__ import annotations

from collections.abc import Mapping

from vpp.config.locate import Path
from vpp.config.schema import BoatDocument, RuleTable, SailTable, TableModel, bounds_in
from vpp.config.text import nearest
from vpp.config.validate import Finding
from vpp.measurement import NAMED_PARTS, QUANTITIES, Part

_CALLED: dict[Part, str] = {"sail": "sail", "strips": "sail", "sail_set": "sail set", "foil": "foil"}


def rule_findings(path: Path, table: RuleTable) -> list[Finding]:
    """Whether a limit has a bound, and its bounds leave room."""
    low, high = bounds_in(QUANTITIES[table.quantity].unit)
    least, greatest = getattr(table, low), getattr(table, high)
    if least is None and greatest is None:
        wrong = f"missing: neither {low} nor {high} says what the clause allows"
        return [Finding((*path, high), wrong, missing=True)]
    if least is not None and greatest is not None and greatest < least:
        return [Finding((*path, high), f"must not be less than {low} = {least:g}", f"from {least:g}")]
    return []


def clause_findings(tables: Mapping[Path, TableModel]) -> list[Finding]:
    """Clauses that stand in the box twice."""
    found: list[Finding] = []
    seen: set[str] = set()
    for path, table in tables.items():
        if isinstance(table, RuleTable):
            if table.clause in seen:
                wrong = "there is already a [[rule_box]] with that clause"
                found.append(Finding((*path, "clause"), wrong, "another clause"))
            seen.add(table.clause)
    return found


def part_findings(boat: BoatDocument) -> list[Finding]:
    """Limits on what the boat does not have."""
    found: list[Finding] = []
    parts = _parts_of(boat)
    for index, table in enumerate(boat.rule_box):
        part = QUANTITIES[table.quantity].part
        path: Path = ("rule_box", index)
        if part == "canting_pair" and not any(foil.kind == "canting_pair" for foil in boat.foil):
            wrong = 'the boat has no [[foil]] of kind "canting_pair" to measure this on'
            found.append(Finding((*path, "quantity"), wrong))
        elif part in NAMED_PARTS and table.of is not None and table.of not in parts[part]:
            found.append(_unknown_part((*path, "of"), table.of, part, parts))
    return found


def _parts_of(boat: BoatDocument) -> dict[Part, list[str]]:
    """Names of what quantities can be measured on."""
    return {
        "sail": [sail.name for sail in boat.sail],
        "strips": [sail.name for sail in boat.sail if isinstance(sail, SailTable)],
        "sail_set": [table.name for table in boat.sail_set],
        "foil": [foil.name for foil in boat.foil],
    }


def _unknown_part(path: Path, name: str, part: Part, parts: Mapping[Part, list[str]]) -> Finding:
    known = parts[part]
    if part == "strips" and name in parts["sail"]:
        return Finding(
            path, "is a sail given by coefficients, of which only the area is known", ", ".join(known)
        )
    if not known:
        return Finding(path, f"the boat has no {_CALLED[part]} to measure this on")
    return Finding(path, f"there is no {_CALLED[part]} of that name", ", ".join(known), nearest(name, known))
