"""The page of a brief: A4, to be printed and handed round."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from vpp.brief import Brief
from vpp.doubt import Doubt
from vpp.doubt_plot import draw_bands
from vpp.lettering import MM_PER_POINT, width_mm
from vpp.plots import INK, styled, vmg_gain_plot
from vpp.polar import BEST_VMG
from vpp.results.files import CAUTION
from vpp.why import say_wind
from vpp.why_plot import why_plot

A4_MM = (210.0, 297.0)
_MM = 1.0 / 25.4
_MARGIN = 14.0
_LINE = 1.28


@dataclass
class _Cursor:
    """Where the next line of a column goes: millimetres from the page's upper left corner."""

    figure: Figure
    left: float
    width: float
    top: float

    def write(
        self, text: str, *, size: float, weight: str = "normal", colour: str = INK, gap: float = 0.0
    ) -> None:
        """Lines of text that fit the column, and a gap after them [mm]."""
        lines = lines_within(text, room_mm=self.width, size=size, weight=weight)
        step = size * _LINE * MM_PER_POINT
        for line in lines:
            self.figure.text(
                self.left / A4_MM[0],
                1.0 - self.top / A4_MM[1],
                line,
                fontsize=size,
                fontweight=weight,
                color=colour,
                va="top",
                ha="left",
                parse_math=False,
            )
            self.top += step
        self.top += gap


def lines_within(text: str, *, room_mm: float, size: float, weight: str = "normal") -> list[str]:
    """A text as lines that are no wider than given, broken between words; a longer word is a line of its
    own. A number keeps its unit beside it.
    """
    lines: list[str] = []
    for word in _words(text):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_mm(longer, size, weight == "bold") <= room_mm:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _words(text: str) -> list[str]:
    """Words, with a unit held to its number."""
    words: list[str] = []
    for word in text.split():
        if words and word.strip(",.;:)") in _UNITS and words[-1][-1:].isdigit():
            words[-1] += f" {word}"
        else:
            words.append(word)
    return words


_UNITS = ("kn", "%", "deg", "m", "kg", "m²")


def brief_figure(brief: Brief) -> Figure:
    """The page: question, answer, three figures, doubt, what matters, cautions."""
    return styled(lambda: _page(brief))


def _page(brief: Brief) -> Figure:
    figure = Figure(figsize=(A4_MM[0] * _MM, A4_MM[1] * _MM))
    whole = _Cursor(figure, _MARGIN, A4_MM[0] - 2.0 * _MARGIN, _MARGIN)
    whole.write(brief.comparison.polar.source.name, size=9.0, colour="#59636b", gap=1.0)
    whole.write(brief.question, size=16.0, weight="bold", gap=2.5)
    whole.write(brief.headline, size=11.5, weight="bold", gap=1.0)
    for sentence in brief.answer():
        whole.write(sentence, size=9.5)
    top = whole.top + 5.0
    _gains(figure, brief, top)
    top += 74.0
    half = 0.5 * (A4_MM[0] - 2.0 * _MARGIN) - 4.0
    _why(figure, brief, _Cursor(figure, _MARGIN, half, top))
    _bands(figure, brief, _Cursor(figure, _MARGIN + half + 8.0, half, top))
    low = _Cursor(figure, _MARGIN, half, top + 80.0)
    _told(low, "What the bands say", brief.how_sure())
    right = _Cursor(figure, _MARGIN + half + 8.0, half, top + 80.0)
    _told(right, "Inputs that matter", brief.what_matters())
    low.top = right.top = max(low.top, right.top) + 2.0
    _told(low, "Rule box", _rules(brief))
    _told(right, "Cautions", brief.cautions())
    foot = _Cursor(figure, _MARGIN, A4_MM[0] - 2.0 * _MARGIN, A4_MM[1] - 15.0)
    for line in (brief.comparison.polar.source.line, CAUTION):
        foot.write(line, size=6.8, colour="#59636b")
    return figure


def _rules(brief: Brief) -> list[str]:
    """How the options stand to the rule box."""
    if not brief.verdicts:
        return ["The boat file has none."]
    told = [f"{each.option} breaks {', '.join(each.breaks)}." for each in brief.standings if each.breaks]
    return told or ["Every option keeps to it."]


def _told(at: _Cursor, title: str, sentences: Sequence[str]) -> None:
    at.write(title, size=10.0, weight="bold", gap=0.5)
    for sentence in sentences:
        at.write(sentence, size=8.5, gap=0.6)


def _axes(figure: Figure, left: float, top: float, width: float, height: float) -> Axes:
    """Axes by their place on the page, mm from the upper left corner."""
    page, long = A4_MM
    return figure.add_axes((left / page, 1.0 - (top + height) / long, width / page, height / long))


def _gains(figure: Figure, brief: Brief, top: float) -> None:
    for column, aim in enumerate(BEST_VMG):
        ax = _axes(figure, _MARGIN + 12.0 + column * 94.0, top, 52.0, 60.0)
        vmg_gain_plot(ax, brief.comparison, aim=aim)


def _why(figure: Figure, brief: Brief, at: _Cursor) -> None:
    found = brief.why
    if found is None:
        _told(at, "Why", [brief.why_not])
        return
    at.write(f"Why: {found.option}, {say_wind(found)}", size=10.0, weight="bold")
    at.write("the axis does not begin at zero", size=7.5, colour="#59636b")
    ax = _axes(figure, _MARGIN + 26.0, at.top + 2.0, at.width - 28.0, 58.0)
    why_plot(ax, found)
    ax.tick_params(labelsize=8.0)


def _bands(figure: Figure, brief: Brief, at: _Cursor) -> None:
    found = brief.doubt
    at.write(
        "How sure" if found is None else f"How sure: gain of {brief.explained}, kn", size=10.0, weight="bold"
    )
    if found is None:
        _told(at, "", brief.how_sure())
        return
    at.write("at the right: draws in which the sign of the gain holds", size=7.5, colour="#59636b")
    ax = _axes(figure, at.left + 24.0, at.top + 2.0, at.width - 36.0, 58.0)
    sure_plot(ax, found, brief.explained)


def sure_plot(ax: Axes, found: Doubt, option: str) -> Axes:
    """Gain of an option [kn], a row a condition, as `draw_bands` has it; behind each in how many draws its
    sign holds.
    """
    at = found.options.index(option)
    # wind by wind, the beat first
    order = sorted(
        range(len(found.conditions)), key=lambda place: (found.conditions[place][0], _leg(found, place))
    )
    least, low, high, most = found.quantiles_kn((5, 10, 90, 95))[:, at, order]
    share = found.share_of_sign()[at, order]
    draw_bands(ax, least, low, high, most, found.nominal_gain_kn[at, order])
    for row in np.flatnonzero(np.isfinite(share)).tolist():
        told = f"{100.0 * share[row]:.0f} %"
        place = (1.02, row)
        ax.annotate(told, place, xycoords=("axes fraction", "data"), va="center", fontsize=8.0, color=INK)
    ax.set_yticks(range(len(order)), [found.say_condition(place).replace(" in ", ", ") for place in order])
    ax.xaxis.set_major_locator(MaxNLocator(nbins=5))
    ax.tick_params(labelsize=8.0)
    return ax


def _leg(found: Doubt, place: int) -> int:
    """Where a condition stands among those of its wind: upwind, angles, downwind."""
    angle = found.conditions[place][1]
    return {BEST_VMG[0]: 0, BEST_VMG[1]: 2}.get(angle, 1) if isinstance(angle, str) else 1
