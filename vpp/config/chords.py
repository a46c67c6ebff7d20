"""Chords of a sail from a CSV file beside the boat file."""

from __future__ import annotations

from pathlib import Path

from vpp.config.columns import ColumnFile, read_columns
from vpp.config.schema import SailTable, properties_of

# column by column, the key of the schema whose range it shares
_KEYS = {"height_percent": "chord_at_percent", "chord_m": "chord_m"}


class ChordFile(ColumnFile):
    """A file of chords as read."""

    @property
    def height_percent(self) -> tuple[float, ...]:
        """Heights at which chords are given."""
        return self.column("height_percent")

    @property
    def chord_m(self) -> tuple[float, ...]:
        """Chords at those heights."""
        return self.column("chord_m")


def read_chords(folder: Path, name: str) -> ChordFile:
    """Read a chord file."""
    entries = {column: properties_of(SailTable)[key]["items"] for column, key in _KEYS.items()}
    return ChordFile(**vars(read_columns(folder, name, entries)))
