"""A study file whose form is in order, and how to read one."""

from __future__ import annotations

import difflib
import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from os import PathLike
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from vpp.config import source
from vpp.config.errors import BoatFileError, Problem
from vpp.config.locate import Path as KeyPath
from vpp.config.overlay import Items, Node, Table, nodes_along, plain
from vpp.config.rule_boxes import rule_findings
from vpp.config.schema import TableModel, properties_of
from vpp.config.study_schema import (
    NEEDED_STUDY_TABLES,
    REPEATED_STUDY_TABLES,
    SINGLE_STUDY_TABLES,
    STUDY_TABLES,
    AimTable,
    ConditionsTable,
    ConstraintTable,
    FactorTable,
    OutputsTable,
    PlanTable,
    RuleBoxTable,
    SolveTable,
    StudyDocument,
    SumTable,
)
from vpp.config.text import allowed_text, nearest
from vpp.config.validate import Finding, problem, value_hint, wrong_text


@dataclass(frozen=True, kw_only=True)
class StudyFile:
    """A study file whose form is in order; whether it fits its boat is another matter."""

    path: Path
    digest: str
    top: StudyDocument
    plan: PlanTable
    conditions: ConditionsTable
    rule_box: RuleBoxTable
    outputs: OutputsTable
    solve: SolveTable
    factors: tuple[FactorTable, ...]
    constraints: tuple[ConstraintTable, ...]
    sums: tuple[SumTable, ...]
    aims: tuple[AimTable, ...]
    root: Table = field(repr=False, compare=False)

    def problem(self, finding: Finding) -> Problem:
        """Something wrong at a path of the file, with its line."""
        return problem(finding, self.root, file=str(self.path))


def read_study(path: str | PathLike[str]) -> StudyFile:
    """Read a study file. Raises BoatFileError with everything that is wrong with its form."""
    file = str(path)
    content = source.read(file)
    root = source.parse(file, content)
    findings: list[Finding] = []
    own = {key: node for key, node in root.entries.items() if key not in STUDY_TABLES}
    top = _judged(StudyDocument, Table(own, root.origin), (), findings, beside=tuple(STUDY_TABLES))
    single: dict[str, Any] = {}
    for name, model in SINGLE_STUDY_TABLES.items():
        node = root.entries.get(name)
        if node is not None and not isinstance(node, Table):
            findings.append(Finding((name,), f"must be written [{name}], once"))
        elif node is not None or name not in NEEDED_STUDY_TABLES:
            single[name] = _judged(model, node or Table({}, root.origin), (name,), findings)
        else:
            findings.append(Finding((name,), f"the table is missing; write [{name}], once", missing=True))
    repeated = {name: _repeated(root, name, findings) for name in REPEATED_STUDY_TABLES}
    if findings or top is None:
        told = [problem(finding, root, file=file) for finding in findings]
        raise BoatFileError(sorted(told, key=lambda each: each.line or 0))
    return StudyFile(
        path=Path(path),
        digest=hashlib.sha256(content).hexdigest()[:12],
        top=top,
        factors=tuple(repeated["factor"]),
        constraints=tuple(repeated["constraint"]),
        sums=tuple(repeated["sum"]),
        aims=tuple(repeated["aim"]),
        root=root,
        **single,
    )


def _repeated(root: Table, name: str, findings: list[Finding]) -> list[Any]:
    node = root.entries.get(name)
    if node is None:
        if name in NEEDED_STUDY_TABLES:
            wrong = f"there is none; write [[{name}]], once for each"
            findings.append(Finding((name,), wrong, missing=True))
        return []
    if not isinstance(node, Items) or not all(isinstance(entry, Table) for entry in node.entries):
        findings.append(Finding((name,), f"must be written [[{name}]], once for each"))
        return []
    found: list[Any] = []
    names: set[str] = set()
    for index, entry in enumerate(node.entries):
        table: Any = _judged(REPEATED_STUDY_TABLES[name], entry, (name, index), findings)
        if table is None:
            continue
        if isinstance(table, ConstraintTable):
            findings += rule_findings((name, index), table)
        if table.name in names:
            findings.append(Finding((name, index, "name"), f"there is already a [[{name}]] of that name"))
        names.add(table.name)
        found.append(table)
    return found


def _judged(
    model: type[TableModel],
    node: Node,
    path: KeyPath,
    findings: list[Finding],
    *,
    beside: Sequence[str] = (),
) -> Any:
    """The table that a node describes, or None with what is wrong noted."""
    try:
        return model.model_validate(plain(node))
    except ValidationError as error:
        findings += _findings(model, node, error, path, beside)
        return None


def _findings(
    model: type[TableModel], node: Node, error: ValidationError, path: KeyPath, beside: Sequence[str]
) -> Iterator[Finding]:
    """Every departure of one table from its form."""
    properties = properties_of(model)
    known = (*properties, *beside)
    told: set[KeyPath] = set()
    details = error.errors(include_url=False, include_input=False, include_context=True)
    unknown = [str(detail["loc"][-1]) for detail in details if detail["type"] == "extra_forbidden"]
    meant = {near for key in unknown for near in difflib.get_close_matches(key, known, n=1)}
    for detail in details:
        # a value that may be of several kinds is reported once for each
        loc = tuple(part for part in detail["loc"] if part not in ("float", "str"))
        kind, key = detail["type"], str(loc[0])
        entry = properties.get(key, {})
        if loc in told:
            continue
        told.add(loc)
        if kind == "missing":
            if key not in meant:
                wrong = f"missing: {entry['description']}"
                yield Finding((*path, *loc), wrong, _allowed(key, entry), missing=True)
        elif kind == "extra_forbidden":
            yield Finding((*path, *loc), "unknown key", "", nearest(key, known))
        else:
            value = plain(nodes_along(node, loc)[-1])
            yield Finding(
                (*path, *loc), wrong_text(kind, value, key, detail), _allowed(key, entry),
                value_hint(kind, value, entry),
            )  # fmt: skip


def _allowed(key: str, entry: dict[str, Any]) -> str:
    """What a key takes, in words."""
    is_mixed = entry.get("type") == "array" and entry["items"].get("type") not in ("string", "number")
    if is_mixed and "enum" in entry["items"]:
        return " and ".join(f'"{each}"' for each in entry["items"]["enum"])
    if is_mixed:
        return "list of numbers or of texts"
    if entry.get("type") == "array" and "minItems" not in entry and entry["items"].get("type") == "number":
        entry = {"minItems": 0, **entry}
    try:
        return allowed_text(key, entry)
    except KeyError:
        return ""
