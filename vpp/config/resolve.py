"""From the values of a file to its boats: options over the base, every check, every problem."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from vpp.boat import Boat
from vpp.config import build, checks
from vpp.config.chords import read_chords
from vpp.config.coefficients import CoefficientFile, misfits_of, read_coefficients
from vpp.config.errors import Problem
from vpp.config.files import Files
from vpp.config.hull_forms import form_findings, hull_file_findings, hull_file_problems
from vpp.config.overlay import Items, Leaf, Misfit, Node, Table, lay_over, name_of
from vpp.config.schema import BoatDocument, CoefficientSailTable, HullTable, SailTable
from vpp.config.sections import strip_findings
from vpp.config.text import clause, nearest
from vpp.config.validate import Finding, option_findings, problem, read_boat, sound_tables, top_findings

BASE = "base"


@dataclass(frozen=True)
class Resolved:
    """A boat in order: its values with their origins, as checked, and afloat."""

    root: Table
    document: BoatDocument
    afloat: build.Afloat


class Resolver:
    """Judges base and options of one file, and gathers what is wrong with them in `problems`."""

    def __init__(self, *, file: str, root: Table, folder: Path) -> None:
        self.problems: list[Problem] = []
        self.files = Files()
        self._file = file
        self._root = root
        self._folder = folder
        self._options = _tables_named_option(root)
        self._reported: set[tuple[str, int | None, str]] = set()
        self._missing_keys: set[str] = set()

    def resolve(self) -> dict[str, Resolved]:
        """Every boat of the file by name, base first; only those that are in order."""
        base = replace(
            self._root, entries={key: node for key, node in self._root.entries.items() if key != "option"}
        )
        resolved: dict[str, Resolved] = {}
        judged = self._judge(base)
        if judged is not None:
            resolved[BASE] = judged
        self._note_all(top_findings(self._root), self._root)
        for name, root in self._option_roots(base).items():
            judged = self._judge(root, option=name, base_is_sound=BASE in resolved)
            if judged is not None:
                resolved[name] = judged
        return resolved

    def _note(self, found: Problem) -> None:
        """Keep a problem, unless it was reported at the same place for a boat that this one builds on."""
        if (found.file, found.line, found.key) not in self._reported:
            self.problems.append(found)

    def _note_all(self, findings: Sequence[Finding], root: Table, *, option: str | None = None) -> None:
        line = None if option is None else self._options[option].origin.line
        for finding in findings:
            found = problem(finding, root, file=self._file, base_line=line, option=option)
            if finding.missing and option is not None and found.key in self._missing_keys:
                continue
            if finding.missing:
                self._missing_keys.add(found.key)
            self._note(found)

    def _note_misfits(self, misfits: Sequence[Misfit], option: str) -> None:
        for misfit in misfits:
            self._note(
                Problem(
                    file=self._file,
                    line=misfit.origin.line,
                    key=misfit.key,
                    given=misfit.given,
                    wrong=f'in option "{option}": {misfit.wrong}',
                    allowed=misfit.allowed,
                    hint=misfit.hint,
                )
            )

    def _option_roots(self, base: Table) -> dict[str, Table]:
        """The values of every option that can be laid over its parent."""
        sound = self._sound_options()
        self._check_parents(sound)
        roots: dict[str, Table] = {BASE: base}
        for name in sound:
            for step in _ancestry(name, sound):
                if step not in roots:
                    roots[step], misfits = lay_over(roots[_parent_of(sound[step])], sound[step])
                    self._note_misfits(misfits, step)
        return {name: roots[name] for name in sound if name in roots}

    def _sound_options(self) -> dict[str, Table]:
        """Options whose form is in order and whose name is their own."""
        sound: dict[str, Table] = {}
        names: set[str] = set()
        entries = self._root.entries.get("option")
        for index, entry in enumerate(entries.entries if isinstance(entries, Items) else ()):
            if not isinstance(entry, Table):
                continue  # `top_findings` tells
            findings = [*option_findings(self._root, index), *_name_findings(index, name_of(entry), names)]
            if not findings and not any(
                _holds_something(entry.entries.get(key)) for key in ("change", "remove", "add")
            ):
                findings.append(
                    Finding(("option", index), "the option changes nothing", "change, remove or add")
                )
            self._note_all(findings, self._root)
            name = name_of(entry)
            if name is not None:
                names.add(name)
                if not findings:
                    sound[name] = entry
        return sound

    def _check_parents(self, sound: Mapping[str, Table]) -> None:
        for name, entry in sound.items():
            parent = _parent_of(entry)
            wrong = allowed = hint = ""
            if parent != BASE and parent not in self._options:
                others = [BASE, *(other for other in self._options if other not in (name, BASE))]
                wrong, allowed, hint = (
                    "there is no option of that name",
                    ", ".join(others),
                    nearest(parent, others),
                )
            elif circle := _circle(name, sound):
                wrong = f"the options build on each other in a circle: {' on '.join(circle)}"
            if wrong:
                place = entry.entries["parent"].origin
                key = f"option.{name}.parent"
                self._note(
                    Problem(
                        file=self._file,
                        line=place.line,
                        key=key,
                        given=f'"{parent}"',
                        wrong=wrong,
                        allowed=allowed,
                        hint=hint,
                    )
                )

    def _judge(
        self, root: Table, *, option: str | None = None, base_is_sound: bool = True
    ) -> Resolved | None:
        # from here on, nothing is reported again at the same place for a boat that inherits it
        self._reported = {(each.file, each.line, each.key) for each in self.problems}
        document, findings = read_boat(root)
        tables = sound_tables(root)
        findings += checks.table_findings(tables)
        sails = {path: table for path, table in tables.items() if isinstance(table, SailTable)}
        for path, sail in sails.items():
            findings += self._chord_file_findings((*path, "chord_file"), sail)
        coefficients_are_sound = True
        for path, table in tables.items():
            if isinstance(table, CoefficientSailTable):
                file_findings = self._coefficient_file_findings((*path, "coefficient_file"), table)
                coefficients_are_sound &= not file_findings and self._coefficients_are_sound(table)
                findings += file_findings
        hull = tables.get(("hull",))
        hull_files_are_sound = True
        if isinstance(hull, HullTable):
            file_findings = hull_file_findings(self.files, self._folder, hull)
            findings += file_findings
            wrong_rows = hull_file_problems(self.files, hull)
            for found in wrong_rows:
                self._note(replace(found, file=str(self._folder / found.file)))
            hull_files_are_sound = not wrong_rows
        if document is not None:
            findings += checks.boat_findings(document)
        self._note_all(findings, root, option=option)
        chords_are_sound = not any(self._chords_are_bad(sail) for sail in sails.values())
        files_are_sound = chords_are_sound and coefficients_are_sound and hull_files_are_sound
        if document is None or findings or not files_are_sound or not base_is_sound:
            return None
        says = document.description if option is None else _text(self._options[option], "says")
        shape_findings = form_findings(document.hull, self.files)
        if shape_findings:
            self._note_all(shape_findings, root, option=option)
            return None
        drawn = build.as_drawn(
            document,
            name=option or BASE,
            says=says,
            files=self.files,
        )
        return self._float(root, document, drawn, option)

    def _chord_file_findings(self, path: tuple[str | int, ...], sail: SailTable) -> list[Finding]:
        if sail.chord_file is None:
            return []
        if sail.chord_file not in self.files.chords:
            self.files.chords[sail.chord_file] = read_chords(self._folder, sail.chord_file)
        file = self.files.chords[sail.chord_file]
        if file.unreadable:
            return [Finding(path, file.unreadable)]
        for found in file.problems:
            self._note(replace(found, file=str(self._folder / file.name)))
        if file.problems:
            return []
        if len(file.lines) < 2:
            return [Finding(path, "the file has fewer than two rows of numbers")]
        wrong = checks.heights_fault(file.height_percent)
        return (
            [Finding(path, f"in that file {wrong}", "height_percent rising from 0 to 100")] if wrong else []
        )

    def _coefficient_file_findings(
        self, path: tuple[str | int, ...], sail: CoefficientSailTable
    ) -> list[Finding]:
        if sail.coefficient_file not in self.files.coefficients:
            self.files.coefficients[sail.coefficient_file] = read_coefficients(
                self._folder, sail.coefficient_file
            )
        file = self.files.coefficients[sail.coefficient_file]
        if file.unreadable:
            return [Finding(path, file.unreadable)]
        for found in self._wrong_in(file, sail):
            self._note(replace(found, file=str(self._folder / file.name)))
        return []

    def _wrong_in(self, file: CoefficientFile, sail: CoefficientSailTable) -> Sequence[Problem]:
        return file.problems or misfits_of(sail, file)

    def _coefficients_are_sound(self, sail: CoefficientSailTable) -> bool:
        return not self._wrong_in(self.files.coefficients[sail.coefficient_file], sail)

    def _chords_are_bad(self, sail: SailTable) -> bool:
        return sail.chord_file is not None and bool(self.files.chords[sail.chord_file].problems)

    def _float(self, root: Table, document: BoatDocument, drawn: Boat, option: str | None) -> Resolved | None:
        findings = [
            *strip_findings(drawn, document),
            *checks.weight_findings(drawn, is_base=option is None),
        ]
        if not findings:
            try:
                floating = build.afloat(drawn)
            except ValueError as error:  # its sections do not carry it, or not upright
                findings = [Finding(("hull", "stability_section_file"), clause(error))]
            else:
                findings = checks.afloat_findings(floating)
                if not findings:
                    return Resolved(root, document, floating)
        for finding in findings:
            self._note_afloat(finding, root, option)
        return None

    def _note_afloat(self, finding: Finding, root: Table, option: str | None) -> None:
        """Put what is wrong with the floating boat to the key that an option changed, else to the option."""
        found = problem(finding, root, file=self._file, option=option)
        if option is not None and not _is_of_option(root, finding):
            line = self._options[option].origin.line
            found = replace(found, line=line, key=f"option.{option}", given="")
        self._note(found)


def _tables_named_option(root: Table) -> dict[str, Table]:
    """Options by name; the first where a name comes twice."""
    entries = root.entries.get("option")
    found: dict[str, Table] = {}
    for entry in entries.entries if isinstance(entries, Items) else ():
        name = name_of(entry)
        if name is not None and isinstance(entry, Table):
            found.setdefault(name, entry)
    return found


def _name_findings(index: int, name: str | None, taken: set[str]) -> list[Finding]:
    path = ("option", index, "name")
    if name == BASE:
        return [Finding(path, "is the name of the boat without options", "another name")]
    return [Finding(path, "there is already an option of that name", "another name")] if name in taken else []


def _holds_something(node: Node | None) -> bool:
    return node is not None and (isinstance(node, Leaf) or bool(node.entries))


def _ancestry(name: str, sound: Mapping[str, Table]) -> list[str]:
    """An option and those it builds on, eldest first; empty if one is missing or they go in a circle."""
    chain = [name]
    while (parent := _parent_of(sound[chain[-1]])) != BASE:
        if parent not in sound or parent in chain:
            return []
        chain.append(parent)
    return chain[::-1]


def _circle(name: str, sound: Mapping[str, Table]) -> list[str]:
    """The circle of options that leads back to `name`; empty if none does."""
    chain = [name]
    while (parent := _parent_of(sound[chain[-1]])) in sound:
        if parent == name:
            return [*chain, name]
        if parent in chain:
            return []
        chain.append(parent)
    return []


def _is_of_option(root: Table, finding: Finding) -> bool:
    node: Node = root
    for part in finding.path:
        if not isinstance(node, Table) or not isinstance(part, str) or part not in node.entries:
            return False
        node = node.entries[part]
    return node.origin.option is not None


def _parent_of(option: Table) -> str:
    return _text(option, "parent") or BASE


def _text(table: Table, key: str) -> str:
    entry = table.entries.get(key)
    return entry.value if isinstance(entry, Leaf) and isinstance(entry.value, str) else ""
