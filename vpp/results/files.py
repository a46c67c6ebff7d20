"""Writing results: each file appears whole under its name, or not at all."""

from __future__ import annotations

import json
import math
import os
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from vpp.results.variables import FILE_EXTRA_DECIMALS, VARIABLES
from vpp.version import __version__

if TYPE_CHECKING:
    from matplotlib.figure import Figure

CAUTION = (
    "A quick estimate for comparing rigs and boats, not a stability, structural or safety sign-off: "
    "class rules, local codes and licensed practice come first."
)
"""Said once here, and shown with every result."""

_FILE_DECIMALS = {
    item.column: item.decimals + FILE_EXTRA_DECIMALS for item in VARIABLES if not item.is_text
} | {
    "tws_kn": 4,
    "base_twa_deg": 3,
    "base_kn": 4,
    "option_kn": 4,
    "gain_kn": 4,
    "gain_percent": 3,
    "best_kn": 4,
    "margin_kn": 4,
    **{f"force_{axis}_n": 4 for axis in "xyz"},
    **{f"moment_{axis}_nm": 4 for axis in "xyz"},
}


@dataclass(frozen=True, kw_only=True)
class Source:
    """Where a result came from: the boat's name, its file, and the digest of that and the data it names."""

    name: str
    file: str
    digest: str

    @property
    def line(self) -> str:
        """The line under every figure and table."""
        return f"{self.name} ({self.file}, {self.digest}), vpp {__version__}"


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A temporary name in the same folder, renamed to `path` when the block ends well and removed when it
    does not.
    """
    temporary = path.with_name(f".{path.name}.{uuid.uuid4().hex}")
    try:
        yield temporary
        os.replace(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> Path:
    """Write a text file as UTF-8 with plain line ends."""
    with whole_file(path) as temporary:
        temporary.write_bytes(text.encode("utf-8"))
    return path


def csv_text(frame: pd.DataFrame) -> str:
    """A table as CSV: a header and one row a line, empty where there is no value."""
    return _rounded(frame).to_csv(index=False, lineterminator="\n")


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """A table as records for JSON, null where there is no value."""
    rows = _rounded(frame).to_dict(orient="records")
    return [{str(key): _json_value(value) for key, value in row.items()} for row in rows]


def json_text(value: Mapping[str, Any]) -> str:
    """A mapping as strict JSON."""
    return json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def about(
    source: Source,
    *,
    options: tuple[str, ...],
    tws_kn: tuple[float, ...],
    twa_deg: tuple[float, ...],
    aims: tuple[str, ...],
    statuses: Mapping[str, int],
) -> dict[str, Any]:
    """What a folder of results was made from and how it went."""
    return {
        "boat": source.name,
        "file": source.file,
        "digest": source.digest,
        "version": __version__,
        "date": datetime.now(tz=UTC).date().isoformat(),
        "options": list(options),
        "grid": {"tws_kn": list(tws_kn), "twa_deg": list(twa_deg), "aims": list(aims)},
        "conditions": dict(statuses),
        "caution": CAUTION,
    }


def save_figure(path: Path, figure: Figure) -> Path:
    """Write a figure as PNG (150 dpi) or SVG by its suffix. The same figure gives the same bytes."""
    import matplotlib as mpl  # noqa: PLC0415  (tables need no figures)

    kind = path.suffix.lower().removeprefix(".")
    metadata = {"Date": None} if kind == "svg" else {}
    with mpl.rc_context({"svg.hashsalt": "vpp"}), whole_file(path) as temporary:
        figure.savefig(temporary, format=kind, dpi=150, metadata=metadata)
    return path


def _rounded(frame: pd.DataFrame) -> pd.DataFrame:
    decimals = {name: digits for name, digits in _FILE_DECIMALS.items() if name in frame.columns}
    rounded = frame.round(decimals)
    for name in decimals:
        rounded[name] = rounded[name] + 0.0  # turns a negative zero into zero
    return rounded


def _json_value(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value
