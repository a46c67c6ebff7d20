"""The page of a study."""

from __future__ import annotations

from vpp.report.plotting import plotting_library
from vpp.report.shell import filled, items, own, whole_page
from vpp.report.sweep_content import asked, closing, notes, sweep_content
from vpp.sweep_result import Sweep

FILE = "sweep.html"
"""The name of the page's file."""

KINDS = ("bar", "contour")
"""Kinds of figure that the page of a study draws, beside lines and points."""


def sweep_html(found: Sweep) -> str:
    """The page, whole in one text. Raises MissingLibrary where the plotting library is not installed."""
    study = found.study
    parts = {
        "asked": items(asked(found)),
        "summary": items(found.in_words()),
        "notes": items(notes(found)),
    }
    return whole_page(
        title=f"{study.name}: many rigs",
        name=study.name,
        description=study.description,
        source=closing(found),
        skip_to=("best-rigs", "To the best rigs"),
        body=filled(own("sweep.html"), parts),
        data={"data": sweep_content(found)},
        scripts=("sweep_surrogate.js", "sweep_figures.js", "sweep.js"),
        library=plotting_library(KINDS),
    )
