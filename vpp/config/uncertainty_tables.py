"""Whether the ranges of a boat file are given in one way, for keys that hold numbers."""

from __future__ import annotations

from fnmatch import fnmatchcase
from functools import cache

from vpp.config.locate import Path
from vpp.config.schema import REPEATED_TABLES, SAIL_TABLES, TABLES, UncertaintyTable, properties_of
from vpp.config.text import nearest
from vpp.config.validate import Finding


def uncertainty_findings(path: Path, table: UncertaintyTable) -> list[Finding]:
    """Whether a range is given in one way, and its key is one of a boat file."""
    found: list[Finding] = []
    ways = {
        "plus_minus_percent": table.plus_minus_percent is not None,
        "plus_minus": table.plus_minus is not None,
        "least and greatest": table.least is not None or table.greatest is not None,
    }
    given = [name for name, is_given in ways.items() if is_given]
    if len(given) != 1:
        wrong = f"given by {' and by '.join(given)}" if given else "missing: the range is not given"
        found.append(Finding((*path, "plus_minus_percent"), wrong, f"one of {', '.join(ways)}", missing=True))
    elif given == ["least and greatest"]:
        if table.least is None or table.greatest is None:
            missing = "least" if table.least is None else "greatest"
            found.append(Finding((*path, missing), "missing: the other end of the range", missing=True))
        elif table.greatest < table.least:
            found.append(Finding((*path, "greatest"), f"must not be less than least = {table.least:g}"))
        elif "*" in table.key:
            found.append(
                Finding((*path, "least"), "says nothing for several keys", "plus_minus_percent or plus_minus")
            )
    return found + _key_findings((*path, "key"), table.key)


def _key_findings(path: Path, key: str) -> list[Finding]:
    """Whether a key has the form of one that holds numbers; what it names is not looked for."""
    known = list(_forms())
    parts = key.split(".")
    form = ".".join((parts[0], "*", *parts[2:])) if parts[0] in REPEATED_TABLES else key
    if any(fnmatchcase(each, form) for each in known):
        return []
    hint = nearest(form, known)
    if hint and len(parts) == 3 and parts[1] != "*":
        hint = hint.replace(".*.", f".{parts[1]}.")
    return [Finding(path, "no boat file has numbers under that key", "", hint)]


@cache
def _forms() -> dict[str, None]:
    """Keys of numbers, with a star for the names of tables that may come more than once."""
    found: dict[str, None] = {}
    for table_name in TABLES:
        models = list(SAIL_TABLES.values()) if table_name == "sail" else [TABLES[table_name]]
        before = f"{table_name}.*" if table_name in REPEATED_TABLES else table_name
        for model in models:
            for key, entry in properties_of(model).items():
                if "number" in (entry.get("type"), entry.get("items", {}).get("type")):
                    found[f"{before}.{key}"] = None
    return found
