"""The files that a study leaves beside its chunks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from vpp.libraries import library
from vpp.results.files import ABOUT, CAUTION, Written, csv_text, json_text, write_folder
from vpp.sweep_result import Sweep
from vpp.version import __version__

if TYPE_CHECKING:
    from matplotlib.figure import Figure

RIGS = "rigs.parquet"
_MOST_AS_TEXT = 20_000
_DECIMALS = 4


def write_results(found: Sweep, *, figures: bool, page: bool = False) -> Written:
    """Tables, sentences, figures and the page into the folder of the chunks. Raises OSError, and
    MissingLibrary where the page is wanted and the library that draws it is not installed.
    """
    texts = {f"{name}.csv": csv_text(_rounded(frame)) for name, frame in tables(found).items()}
    rigs = found.rigs_frame()
    if len(rigs) <= _MOST_AS_TEXT:
        texts["rigs.csv"] = csv_text(_rounded(rigs))
    told = [found.source.line, *found.in_words(), CAUTION]
    texts["summary.txt"] = "\n".join(told) + "\n"
    if page:
        from vpp.report.sweep_page import FILE, sweep_html  # noqa: PLC0415  (only where it is wanted)

        texts[FILE] = sweep_html(found)
    drawn: dict[str, Figure] = {}
    if figures:
        from vpp.sweep_plot import all_figures  # noqa: PLC0415  (figures only where they are wanted)

        drawn = {f"{name}.{kind}": fig for name, fig in all_figures(found).items() for kind in ("png", "svg")}
    writers: Mapping[str, Callable[[Path], object]] = {RIGS: lambda path: _write_parquet(rigs, path)}
    about = json_text(_about(found, files=(*texts, *drawn, *writers, ABOUT)))
    return write_folder(found.folder, texts={**texts, ABOUT: about}, figures=drawn, writers=writers)


def tables(found: Sweep) -> dict[str, pd.DataFrame]:
    """The tables by name."""
    return {
        "best": found.best_frame(),
        "front": found.front_frame(),
        "conditions": found.conditions_frame(),
        "effects": found.effects_frame(),
        "shares": found.shares_frame(),
        "interactions": found.interactions_frame(),
        "surrogates": found.surrogate_frame(),
        "failures": found.failures_frame(),
    }


def _rounded(frame: pd.DataFrame) -> pd.DataFrame:
    """Few enough digits to read; values of factors keep theirs."""
    numbers = [name for name in frame.columns if str(name).endswith(("_percent", "_kn"))]
    return frame.round(dict.fromkeys(numbers, _DECIMALS))


def _about(found: Sweep, *, files: tuple[str, ...]) -> dict[str, Any]:
    study = found.study
    return {
        "boat": study.boat_file.name,
        "file": study.source.file,
        "digest": study.digest,
        "version": __version__,
        "calibration": study.source.calibration or "none",
        "waves": study.source.sea or "none",
        "date": datetime.now(tz=UTC).date().isoformat(),
        "study": study.name,
        "rigs": study.rigs,
        "conditions": study.condition_count,
        "method": study.method,
        "searched": found.searched,
        "checks": dict(found.checks),
        "files": list(files),
        "caution": CAUTION,
    }


def _write_parquet(frame: pd.DataFrame, path: Path) -> None:
    arrow = library("pyarrow")
    library("pyarrow.parquet").write_table(arrow.Table.from_pandas(frame, preserve_index=False), path)
