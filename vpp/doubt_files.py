"""The folder that says how sure gains are."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from vpp.doubt import FILE_DECIMALS, Doubt
from vpp.doubt_following import FAILED, FOLLOWED, SOLVED
from vpp.polar import BEST_VMG
from vpp.results.files import ABOUT, CAUTION, Written, about, csv_text, json_text, write_folder
from vpp.solved import SPEED

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_COARSE = {"tws_kn": 4, "twa_deg": 3, "same_sign_percent": 2, "branch_differs_percent": 2}


def tables(found: Doubt) -> dict[str, pd.DataFrame]:
    """All tables by the names of their files, rounded."""
    frames = {
        "gains": found.to_frame(),
        "inputs": found.inputs(),
        "ranges": found.ranges_frame(),
        "draws": found.draws(),
        "values": found.values(),
    }
    return {name: rounded(frame) for name, frame in frames.items()}


def rounded(frame: pd.DataFrame) -> pd.DataFrame:
    """A table with the digits that files carry."""
    return frame.round({str(name): _COARSE.get(str(name), FILE_DECIMALS) for name in frame.columns})


def about_doubt(found: Doubt, files: tuple[str, ...] | list[str]) -> dict[str, Any]:
    """What `about.json` says: where it came from, and how the draws were come by."""
    grid = found.nominal.polar.grid
    ways = {
        how: sum(int((each.how == how).sum()) for each in found.drawn) for how in (FOLLOWED, SOLVED, FAILED)
    }
    told = about(
        found.source,
        options=found.nominal.polar.options,
        tws_kn=grid.tws_kn,
        twa_deg=grid.twa_deg,
        aims=(SPEED, *BEST_VMG),
        statuses=ways,
        remarks=found.nominal.polar.remark_counts,
        files=files,
    )
    return {**told, "draws": len(found.places), "seed": found.seed}


def write(found: Doubt, folder: Path, *, figures: bool) -> Written:
    """Tables, sentences and figures. Raises OSError."""
    texts = {f"{name}.csv": csv_text(frame) for name, frame in tables(found).items()}
    texts["summary.txt"] = "\n".join([found.source.line, *found.in_words(), CAUTION]) + "\n"
    drawn: Mapping[str, Figure] = {}
    if figures:
        from vpp.doubt_plot import bands_figure, drivers_figure  # noqa: PLC0415  (slow to load)

        made = {"bands": bands_figure(found), "drivers": drivers_figure(found)}
        drawn = {f"{name}.{kind}": figure for name, figure in made.items() for kind in ("png", "svg")}
    texts[ABOUT] = json_text(about_doubt(found, [*texts, ABOUT, *drawn]))
    return write_folder(folder, texts=texts, figures=drawn)
