"""What tests of pages as text have in common."""

from __future__ import annotations

from html.parser import HTMLParser

LIBRARY = "/* the plotting library */"
"""Stands in place of five megabytes."""


class Elements(HTMLParser):
    """The elements of a page with their attributes, and the text of scripts."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag == "script":
            self.scripts.append("")

    def handle_data(self, data: str) -> None:
        if self.tags and self.tags[-1][0] == "script":
            self.scripts[-1] += data
