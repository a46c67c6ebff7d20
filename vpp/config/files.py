"""The CSV files that stand beside a boat file, as they are read."""

from __future__ import annotations

from dataclasses import dataclass, field

from vpp.config.chords import ChordFile
from vpp.config.coefficients import CoefficientFile
from vpp.config.columns import ColumnFile
from vpp.config.hull_files import ResistanceFile, RightingArmFile, SectionFile


@dataclass(frozen=True, kw_only=True)
class Files:
    """Files by kind and name; filled while the boats of a file are resolved."""

    chords: dict[str, ChordFile] = field(default_factory=dict)
    coefficients: dict[str, CoefficientFile] = field(default_factory=dict)
    resistance: dict[str, ResistanceFile] = field(default_factory=dict)
    righting_arms: dict[str, RightingArmFile] = field(default_factory=dict)
    sections: dict[str, SectionFile] = field(default_factory=dict)

    def by_name(self) -> dict[str, ColumnFile]:
        """Every file by its name."""
        return {name: file for kind in vars(self).values() for name, file in kind.items()}
