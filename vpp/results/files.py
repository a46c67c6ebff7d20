"""Writing results: each file appears whole under its name, or not at all."""

from __future__ import annotations

import json
import math
import os
import tempfile
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import pandas as pd

from vpp.results.variables import FILE_EXTRA_DECIMALS, VARIABLES
from vpp.version import __version__

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from vpp.boat import Boat

CAUTION = (
    "A quick estimate for comparing rigs and boats, not a stability, structural or safety sign-off: "
    "class rules, local codes and licensed practice come first."
)
"""Said once here, and shown with every result."""

ABOUT = "about.json"
"""The file of a folder of results that says what they were made from and lists them."""

NOT_CALIBRATED = "none"
"""What tables say of a boat without calibration."""

_OWN_KEYS = {"boat", "digest", "version", "caution", "files"}
_OWN_SUFFIXES = (".csv", ".json", ".txt", ".toml", ".png", ".svg", ".pdf", ".html", ".parquet", ".nc")

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
    "behind_best_kn": 4,
    "change_pays_after_minutes": 1,
    **dict.fromkeys(("worst_regret_kn", "worst_lost_to_trim_kn", "regret_kn", "lost_to_trim_kn"), 4),
    **dict.fromkeys(("made_good_kn", "best_made_good_kn", "trimmed_made_good_kn"), 4),
    **dict.fromkeys(("mean_regret_percent", "worst_regret_percent", "regret_percent"), 3),
    **dict.fromkeys(("mean_lost_to_trim_percent", "worst_lost_to_trim_percent", "lost_to_trim_percent"), 3),
    "touch_down_tws_kn": 2,
    "take_off_tws_kn": 2,
    **{f"force_{axis}_n": 4 for axis in "xyz"},
    **{f"moment_{axis}_nm": 4 for axis in "xyz"},
}


@dataclass(frozen=True, kw_only=True)
class Source:
    """Where a result came from: the boat's name, its file, and the digest of that and the data it names; what
    forces are multiplied by after known points, `calibration_text` of its boats, and their sea, `sea_text`.
    `stopped` says how much was done of a run that was stopped before its end; it is empty for a whole one.
    """

    name: str
    file: str
    digest: str
    calibration: str = ""
    sea: str = ""
    stopped: str = ""

    @property
    def line(self) -> str:
        """The line under every figure and table, and more where a boat is in waves or calibrated or the run
        was stopped.
        """
        said = [f"{self.name} ({self.file}, {self.digest}), vpp {__version__}"]
        said += [f"waves: {self.sea}"] if self.sea else []
        said += [f"calibrated: {self.calibration}"] if self.calibration else []
        said += [f"stopped: {self.stopped}"] if self.stopped else []
        return "\n".join(said)


def origin(source: Source) -> dict[str, str]:
    """Where a result came from, for JSON."""
    return {
        "boat": source.name,
        "file": source.file,
        "digest": source.digest,
        "version": __version__,
        "calibration": source.calibration or NOT_CALIBRATED,
    }


def calibration_text(boats: Sequence[Boat]) -> str:
    """What forces of boats are multiplied by after known points: once where all are alike, else by their
    names; empty where none is calibrated.
    """
    return _by_boat([(boat.name, boat.calibration.text) for boat in boats], NOT_CALIBRATED)


def sea_text(boats: Sequence[Boat]) -> str:
    """The sea that boats are in, in the same way; empty where all of it is flat."""
    return _by_boat([(boat.name, boat.sea.text) for boat in boats], "none")


def _by_boat(told: Sequence[tuple[str, str]], nothing: str) -> str:
    """A text once where all boats have the same, else with the names of those that have it."""
    names: dict[str, list[str]] = {}
    for name, text in told:
        names.setdefault(text, []).append(name)
    if len(names) <= 1:
        return next(iter(names), "")
    return "; ".join(f"{', '.join(having)}: {text or nothing}" for text, having in names.items())


@dataclass(frozen=True, kw_only=True)
class Written:
    """What a run left in its folder: the files it wrote, and those of an earlier run that it removed."""

    files: tuple[Path, ...]
    removed: tuple[Path, ...]


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
    return rounded(frame).to_csv(index=False, lineterminator="\n")


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """A table as records for JSON, null where there is no value."""
    rows = rounded(frame).to_dict(orient="records")
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
    remarks: Mapping[str, int],
    files: Sequence[str],
) -> dict[str, Any]:
    """What a folder of results was made from and how it went."""
    return {
        "boat": source.name,
        "file": source.file,
        "digest": source.digest,
        "version": __version__,
        "calibration": source.calibration or NOT_CALIBRATED,
        "waves": source.sea or "none",
        "stopped": source.stopped or "no",
        "date": datetime.now(tz=UTC).date().isoformat(),
        "options": list(options),
        "grid": {"tws_kn": list(tws_kn), "twa_deg": list(twa_deg), "aims": list(aims)},
        "conditions": dict(statuses),
        "remarks": dict(remarks),
        "files": list(files),
        "caution": CAUTION,
    }


def write_folder(
    folder: Path,
    *,
    texts: Mapping[str, str],
    figures: Mapping[str, Figure],
    writers: Mapping[str, Callable[[Path], object]] = MappingProxyType({}),
) -> Written:
    """Write files by name into a folder, and remove those of an earlier run that are not written again.
    `writers` are called with the path that each is to write to.

    Everything is written aside first, so that a run that fails leaves the folder as it was. Only files that
    the folder's `about.json` lists are removed. Raises OSError.
    """
    folder.mkdir(parents=True, exist_ok=True)
    names = (*texts, *figures, *writers)
    with tempfile.TemporaryDirectory(prefix=".writing_", dir=folder) as aside:
        for name, text in texts.items():
            write_text(Path(aside, name), text)
        for name, figure in figures.items():
            save_figure(Path(aside, name), figure)
        for name, write in writers.items():
            write(Path(aside, name))
        listed = (folder / name for name in _listed(folder) if name not in names)
        removed = tuple(path for path in listed if path.is_file())
        for path in removed:
            path.unlink()
        for name in names:
            os.replace(Path(aside, name), folder / name)
    return Written(files=tuple(folder / name for name in names), removed=removed)


def _listed(folder: Path) -> tuple[str, ...]:
    """The files that an earlier run left in a folder; none where there is no `about.json` or not one of
    ours.
    """
    try:
        told = json.loads((folder / ABOUT).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return ()
    if not isinstance(told, dict) or not told.keys() >= _OWN_KEYS or not isinstance(told["files"], list):
        return ()
    names = (name for name in told["files"] if isinstance(name, str))
    # a name with a folder in it is none that a run has written
    return tuple(name for name in names if Path(name).name == name and Path(name).suffix in _OWN_SUFFIXES)


def save_figure(path: Path, figure: Figure) -> Path:
    """Write a figure as PNG (150 dpi), SVG or PDF by its suffix. The same figure gives the same bytes."""
    import matplotlib as mpl  # noqa: PLC0415  (tables need no figures)

    kind = path.suffix.lower().removeprefix(".")
    metadata = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}.get(kind, {})
    with mpl.rc_context({"svg.hashsalt": "vpp", "pdf.fonttype": 42}), whole_file(path) as temporary:
        figure.savefig(temporary, format=kind, dpi=150, metadata=metadata)
    return path


def rounded(frame: pd.DataFrame) -> pd.DataFrame:
    """A table with the digits that files have."""
    decimals = {name: digits for name, digits in _FILE_DECIMALS.items() if name in frame.columns}
    kept = frame.round(decimals)
    for name in decimals:
        kept[name] = kept[name] + 0.0  # turns a negative zero into zero
    return kept


def _json_value(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value
