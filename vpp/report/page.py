"""The page: template, style, script, plotting library and content in one text of HTML.

Names come from files that anybody may have written. Words inside of the page are escaped, JSON inside of
script elements has no `<`, and the page's own policy lets nothing be fetched.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from html import escape
from importlib import resources
from typing import Any

from vpp.report.content import Subject, budget, content, notes, sentences
from vpp.report.drawings import Drawing, drawings
from vpp.report.plotting import plotting_library
from vpp.results.files import CAUTION

FILE = "report.html"
"""The name of the page's file."""


def report_html(about: Subject) -> str:
    """The page, whole in one text. Raises MissingLibrary where the plotting library is not installed."""
    drawn = drawings(about.comparison)
    told = {**content(about), "rigs": [{"option": each.option, "says": each.says} for each in drawn]}
    parts = {
        "title": escape(f"{about.boat_file.name}: speeds and options"),
        "name": escape(about.boat_file.name),
        "description": _paragraphs([about.boat_file.description]),
        "summary": _items(sentences(about)),
        "notes": _items(notes(about)),
        "caution": escape(CAUTION),
        "source": _paragraphs(about.comparison.polar.source.line.splitlines()),
        "rigs": "\n".join(_rig(at, each) for at, each in enumerate(drawn)),
        "style": _own("report.css"),
        "library": plotting_library(),
        "data": json_in_script(told),
        "budget": json_in_script(budget(about)),
        "script": "\n".join(_own(name) for name in ("report_words.js", "report_figures.js", "report.js")),
    }
    return _filled(_own("report.html"), parts)


def json_in_script(value: Mapping[str, Any]) -> str:
    """JSON that nothing in it can end the script element with, or open another."""
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _filled(template: str, parts: Mapping[str, str]) -> str:
    """The template with its places filled, what is filled in taken as it is."""
    return re.sub(r"@@(\w+)@@", lambda found: parts[found[1]], template)


def _own(name: str) -> str:
    return resources.files("vpp.report").joinpath(name).read_text(encoding="utf-8")


def _paragraphs(lines: list[str]) -> str:
    return "\n".join(f"<p>{escape(line)}</p>" for line in lines if line)


def _items(lines: list[str]) -> str:
    """A list, what is indented belonging to the item before it."""
    told = [
        f"<li{' class=under' if line.startswith(' ') else ''}>{escape(line.strip())}</li>" for line in lines
    ]
    return f"<ul>{''.join(told)}</ul>" if told else ""


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
