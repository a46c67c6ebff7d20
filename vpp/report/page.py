"""The page of a comparison."""

from __future__ import annotations

from html import escape

from vpp.report.content import Subject, budget, content, notes, sentences
from vpp.report.drawings import Drawing, drawings
from vpp.report.plotting import plotting_library
from vpp.report.shell import filled, items, own, whole_page

FILE = "report.html"
"""The name of the page's file."""


def report_html(about: Subject) -> str:
    """The page, whole in one text. Raises MissingLibrary where the plotting library is not installed."""
    drawn = drawings(about.comparison)
    told = {**content(about), "rigs": [{"option": each.option, "says": each.says} for each in drawn]}
    parts = {
        "summary": items(sentences(about)),
        "notes": items(notes(about)),
        "rigs": "\n".join(_rig(at, each) for at, each in enumerate(drawn)),
    }
    return whole_page(
        title=f"{about.boat_file.name}: speeds and options",
        name=about.boat_file.name,
        description=about.boat_file.description,
        source=about.comparison.polar.source.line.splitlines(),
        skip_to=("reading", "To the reading"),
        body=filled(own("report.html"), parts),
        data={"data": told, "budget-data": budget(about)},
        scripts=("report_words.js", "report_figures.js", "report.js"),
        library=plotting_library(),
    )


def _rig(at: int, drawn: Drawing) -> str:
    """A drawing that is shown when its option is chosen."""
    label = escape(drawn.says, quote=True)
    hidden = " hidden" if at else ""
    if not drawn.svg:
        return f'<div class="rig" data-at="{at}"{hidden}><p>{label}</p></div>'
    return (
        f'<div class="rig" data-at="{at}"{hidden}><p>{label}</p>'
        f'<div class="scroll" tabindex="0" role="img" aria-label="{label}">'
        f"<template>{drawn.svg}</template></div></div>"
    )
