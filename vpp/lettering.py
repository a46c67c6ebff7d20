"""How wide words are in type, so that they can be broken or made smaller before a page is drawn."""

from __future__ import annotations

from functools import cache
from typing import Any

from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font, LoadFlags

FAMILY = "DejaVu Sans"
"""The type of pages."""

MM_PER_POINT = 25.4 / 72.0


@cache
def _font(bold: bool) -> Any:
    return FT2Font(findfont(FontProperties(family=FAMILY, weight="bold" if bold else "normal")))


def printable(words: str, *, bold: bool = True) -> str:
    """Words in one line, with a question mark for every sign that the type does not have."""
    font = _font(bold)
    line = " ".join(words.split())
    return "".join(sign if font.get_char_index(ord(sign)) else "?" for sign in line)


@cache
def width_mm(words: str, size: float, bold: bool = True) -> float:
    """How wide words are in type of a size in points, mm."""
    font = _font(bold)
    font.set_size(100.0, 72.0)
    font.set_text(words, 0.0, flags=LoadFlags.NO_HINTING)
    # in 64ths of a dot; small type on a screen is fitted to its dots and may come out wider
    return 1.04 * float(font.get_width_height()[0]) / 64.0 * size / 100.0 * MM_PER_POINT
