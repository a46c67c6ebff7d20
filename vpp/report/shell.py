"""What pages have in common: one text of HTML that holds its style, script, plotting library and content.

Names come from files that anybody may have written. Words inside of the page are escaped, JSON inside of
script elements has no `<`, and the page's own policy lets nothing be fetched.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from html import escape
from importlib import resources
from typing import Any

from vpp.results.files import CAUTION

_STYLE = "report.css"
_SCRIPTS = ("page_words.js", "page_figures.js")


def whole_page(
    *,
    title: str,
    name: str,
    description: str,
    source: Sequence[str],
    skip_to: tuple[str, str],
    body: str,
    data: Mapping[str, Mapping[str, Any]],
    scripts: Sequence[str],
    library: str,
) -> str:
    """The page. `body` is HTML with its words escaped, `data` goes in as JSON by the id of its element,
    `scripts` are files beside this one, `skip_to` is an id in the body and what the link to it says; all
    other words are taken as they are.
    """
    parts = {
        "title": escape(title),
        "name": escape(name),
        "description": paragraphs([description]),
        "caution": escape(CAUTION),
        "source": paragraphs(source),
        "skip_to": skip_to[0],
        "skip_says": escape(skip_to[1]),
        "style": own(_STYLE),
        "body": body,
        "library": library,
        "data": "\n".join(
            f'<script type="application/json" id="{of}">{json_in_script(told)}</script>'
            for of, told in data.items()
        ),
        "script": "\n".join(own(each) for each in (*_SCRIPTS, *scripts)),
    }
    return filled(own("page.html"), parts)


def json_in_script(value: Mapping[str, Any]) -> str:
    """JSON that nothing in it can end the script element with, or open another."""
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def filled(template: str, parts: Mapping[str, str]) -> str:
    """The template with its places filled, what is filled in taken as it is."""
    return re.sub(r"@@(\w+)@@", lambda found: parts[found[1]], template)


def own(name: str) -> str:
    """A file of this package as text."""
    return resources.files("vpp.report").joinpath(name).read_text(encoding="utf-8")


def paragraphs(lines: Sequence[str]) -> str:
    """Lines as HTML, a paragraph each."""
    return "\n".join(f"<p>{escape(line)}</p>" for line in lines if line)


def items(lines: Sequence[str]) -> str:
    """A list, what is indented belonging to the item before it."""
    told = [
        f"<li{' class=under' if line.startswith(' ') else ''}>{escape(line.strip())}</li>" for line in lines
    ]
    return f"<ul>{''.join(told)}</ul>" if told else ""
