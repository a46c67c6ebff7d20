"""What tests of pages in a browser have in common."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

WIDTHS = (400, 800, 1600)
"""Windows that pages are opened in [px]."""


def tap(page: Any, selector: str, at: int) -> None:
    """Touch the middle of one of the marks of a figure."""
    mark = page.locator(selector).nth(at)
    mark.scroll_into_view_if_needed()
    box = mark.bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)


def open_all_details(page: Any) -> None:
    """Unfold everything that a page has folded."""
    for details in page.locator("details").all():
        details.locator("summary").click()


def assert_alone_and_within(found: Any, file: Path, width: int) -> None:
    """A page that was opened has asked for nothing, complains of nothing and, unfolded, is no wider than the
    window.
    """
    assert found.requests[0] == file.as_uri()
    assert [url for url in found.requests[1:] if not url.startswith("data:")] == []
    assert found.complaints == []
    open_all_details(found.page)
    assert found.page.evaluate("document.documentElement.scrollWidth") <= width


def assert_kinds(page: Any, kinds: Sequence[str]) -> None:
    """The library has started with some kinds of figure, and all of these are drawn."""
    assert sorted(page.evaluate("Object.keys(Plotly.PlotSchema.get().traces)")) == sorted(kinds)
    figures = "[...document.querySelectorAll('.js-plotly-plot')]"
    drawn = page.evaluate(f"{figures}.flatMap((figure) => figure._fullData.map(({{type}}) => type))")
    assert sorted(set(drawn)) == sorted(kinds)


def number(text: str) -> float:
    return float(re.sub(r"[^-+.\d]", "", text))


CONTRASTS = r"""() => {
  const parts = (colour) => colour.match(/[\d.]+/g).map(Number);
  const light = ([red, green, blue]) => [red, green, blue]
    .map((value) => value / 255)
    .map((value) => (value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4))
    .reduce((sum, value, at) => sum + value * [0.2126, 0.7152, 0.0722][at], 0);
  const ground = (node) => {
    for (let each = node; each; each = each.parentElement) {
      const found = parts(getComputedStyle(each).backgroundColor);
      if (found.length < 4 || found[3] > 0) return found;
    }
    return [255, 255, 255];
  };
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), ratios = [];
  while (walker.nextNode()) {
    const node = walker.currentNode.parentElement;
    if (!walker.currentNode.data.trim() || !node.getClientRects().length) continue;
    if (node.closest(".rig svg, script, style")) continue;
    const ink = node.closest("svg") ? getComputedStyle(node).fill : getComputedStyle(node).color;
    const [one, other] = [light(parts(ink)), light(ground(node))].sort((a, b) => b - a);
    ratios.push([(one + 0.05) / (other + 0.05), walker.currentNode.data]);
  }
  return ratios;
}"""
"""Contrast of every word that is shown with its ground, and the word."""
