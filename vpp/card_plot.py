"""A boat's card as one page: big type, black on white for the day, dim red-orange on black for the night.

All lengths are in mm of an A5 page and all type is in points of it; an A4 page is the same, larger by the
ratio of the two. Nothing is told by colour, and no line is thin or pale, so that it holds in grey, in
sunlight and under a laminate. Wind speeds stand in blocks wherever they are.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from vpp.card import OPTIONS, Card, Cell, Curve
from vpp.lettering import FAMILY, MM_PER_POINT, printable, width_mm
from vpp.results.files import CAUTION
from vpp.results.frames import Floats
from vpp.results.variables import DEGREE

A5, A4 = "a5", "a4"
PAGES_MM = {A5: (148.0, 210.0), A4: (210.0, 297.0)}
"""Widths and heights of pages (ISO 216), mm."""

DAY, NIGHT = "day", "night"

LEAST_TABLE_PT = 14.0
"""The least size of the table's numbers on A5; on A4 it is larger by the ratio of the pages."""

LEAST_PT = 6.5
"""The least size of anything on A5."""

_WIDTH, _HEIGHT = PAGES_MM[A5]
_EDGE = 6.0
_LEFT, _RIGHT = _EDGE, _WIDTH - _EDGE
_LARGEST_TABLE_PT = 22.0
_LARGEST_LINE_MM = 12.0
_BAR_MM = 0.9
_LEAST_POLAR_MM = 66.0
_LARGEST_RADIUS_MM = 46.0
_LINE_PT = 1.0
_CURVE_LINES: tuple[Any, ...] = ("-", (0, (4.0, 1.2)), (0, (1.2, 0.9)))


@dataclass(frozen=True)
class _Inks:
    """Ground, ink, and two tones between them: a band behind rows, and the lines of a scale. Blocks are full
    of ink, or drawn round in it.
    """

    ground: str
    ink: str
    band: str
    scale: str
    full_blocks: bool


# By night rods see little of red-orange, and an eye that is used to the dark stays so; deep red would be
# dimmer still but is hard to focus on. Ink stands to ground as 4.7 to 1 (relative luminances by WCAG 2, from
# memory): enough to be read, little enough not to dazzle, which large blocks full of ink would.
_INKS = {
    DAY: _Inks(ground="#ffffff", ink="#000000", band="#dcdcdc", scale="#808080", full_blocks=True),
    NIGHT: _Inks(ground="#000000", ink="#d1491b", band="#331105", scale="#7a2b10", full_blocks=False),
}


def card_figure(card: Card, *, page: str = A5, ground: str = DAY) -> Figure:
    """A card on a page `a5` or `a4`, for `day` or `night`. Raises KeyError for any other."""
    width, height = PAGES_MM[page]
    style: dict[Any, Any] = {"font.family": FAMILY}
    with mpl.rc_context(style):
        figure = Figure(figsize=(width / 25.4, height / 25.4))
        pen = _Pen(figure, _INKS[ground], height / _HEIGHT)
        _draw(pen, card)
    return figure


class _Pen:
    """Draws on a page in mm of A5 from the lower left corner."""

    def __init__(self, figure: Figure, inks: _Inks, scale: float) -> None:
        figure.set_facecolor(inks.ground)
        self.axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.axes.set_xlim(0.0, _WIDTH)
        self.axes.set_ylim(0.0, _HEIGHT)
        self.axes.axis("off")
        self.inks, self.scale, self._drawn = inks, scale, 0

    def _above(self) -> int:
        """What is drawn later lies above."""
        self._drawn += 1
        return self._drawn

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size: float,
        *,
        bold: bool = True,
        align: str = "left",
        ink: str | None = None,
        name: str = "",
    ) -> None:
        """Words with the middle of their digits at y."""
        self.axes.text(
            x,
            # figures are 0.73 of the type's size high, so that half of that lies below their middle
            y - 0.365 * size * MM_PER_POINT,
            words,
            fontsize=size * self.scale,
            fontweight="bold" if bold else "normal",
            ha=align,
            va="baseline",
            color=ink or self.inks.ink,
            parse_math=False,
            gid=name or None,
            zorder=self._above(),
        )

    def box(self, x: float, y: float, width: float, height: float, *, fill: str, edge: float = 0.0) -> None:
        """A rectangle by its lower left corner, with an edge as wide as said in points, inside it."""
        inset = 0.5 * edge * MM_PER_POINT
        self.axes.add_patch(
            Rectangle(
                (x + inset, y + inset),
                width - 2.0 * inset,
                height - 2.0 * inset,
                facecolor=fill,
                edgecolor=self.inks.ink if edge else "none",
                linewidth=edge * self.scale,
                zorder=self._above(),
            )
        )

    def block(self, x: float, y: float, width: float, height: float) -> str:
        """A block to write on; returns the ink to write with."""
        inks = self.inks
        if inks.full_blocks:
            self.box(x, y, width, height, fill=inks.ink)
            return inks.ground
        self.box(x, y, width, height, fill=inks.ground, edge=1.4 * _LINE_PT)
        return inks.ink

    def tag(self, x: float, y: float, words: str, size: float, *, room: float = math.inf) -> None:
        """Words in a block of their own around a point, in smaller type where the room is narrow."""
        size *= min(1.0, (room - 1.0) / width_mm(words, size))
        wide, high = min(width_mm(words, size) + 1.8, room), 1.25 * size * MM_PER_POINT
        ink = self.block(x - 0.5 * wide, y - 0.5 * high, wide, high)
        self.text(x, y, words, size, align="center", ink=ink, name="tag")

    def mark(self, corners: Sequence[Any]) -> None:
        """A filled shape."""
        self.axes.add_patch(Polygon(corners, facecolor=self.inks.ink, edgecolor="none", zorder=self._above()))

    def line(self, x: Floats | Sequence[float], y: Floats | Sequence[float], **style: Any) -> None:
        """A line through points; widths in points of A5."""
        width = style.pop("width", _LINE_PT)
        style.setdefault("color", self.inks.ink)
        self.axes.plot(
            x, y, linewidth=width * self.scale, solid_capstyle="butt", zorder=self._above(), **style
        )


# --- type that fits -----------------------------------------------------------------------------------------


def fitted(
    words: str, room_mm: float, *, size: float, least: float, bold: bool = True, lines: int = 1
) -> tuple[tuple[str, ...], float]:
    """Words in as large a type as fits a width, from `size` down to `least` points, in up to so many lines;
    what does not fit even so is cut with an ellipsis. Returns the lines and the size.
    """
    words = printable(words, bold=bold)
    while True:
        found = _broken(words, room_mm, size, bold)
        if len(found) <= lines:
            return found, size
        if size <= least:
            break
        size = max(least, size - 0.5)
    if lines == 1:
        return (_cut(words, room_mm, size, bold),), size
    kept = list(found[:lines])
    last = kept[-1]
    while last and width_mm(f"{last}\u2026", size, bold) > room_mm:
        last = last[:-1]
    kept[-1] = f"{last.rstrip()}\u2026"
    return tuple(kept), size


def _cut(words: str, room_mm: float, size: float, bold: bool) -> str:
    """Both ends of words with an ellipsis between them, because names often differ in their end."""
    for count in range(len(words) - 1, 1, -1):
        short = f"{words[: count - count // 2]}\u2026{words[len(words) - count // 2 :]}"
        if width_mm(short, size, bold) <= room_mm:
            return short
    return "\u2026"


def _broken(words: str, room_mm: float, size: float, bold: bool) -> tuple[str, ...]:
    """Words in lines of a width, broken at spaces, and within words that are wider."""
    lines, line = [], ""
    for word in words.split(" "):
        joined = f"{line} {word}".strip()
        if width_mm(joined, size, bold) <= room_mm:
            line = joined
            continue
        if line:
            lines.append(line)
        line = word
        while width_mm(line, size, bold) > room_mm:
            count = len(line) - 1
            while count > 1 and width_mm(line[:count], size, bold) > room_mm:
                count -= 1
            lines.append(line[:count])
            line = line[count:]
    return (*lines, line)


# --- the page -----------------------------------------------------------------------------------------------


def _draw(pen: _Pen, card: Card) -> None:
    below_title = _title(pen, card)
    above_foot = _foot(pen, card)
    lower = above_foot + 2.0
    room = below_title - lower
    # the table gets what its rows want, up to what leaves the polar half a page's width
    table_height = min(room - _LEAST_POLAR_MM, 12.0 + _LARGEST_LINE_MM * len(card.tws_kn))
    below_table = _table(pen, card, below_title, table_height)
    top = below_table - 3.0
    radius = min(0.5 * (top - lower) - 2.0, _LARGEST_RADIUS_MM)
    _polar(pen, card, _LEFT + 2.0, 0.5 * (top + lower), radius)
    _side(pen, card, _LEFT + radius + 12.5, lower, top)


def _title(pen: _Pen, card: Card) -> float:
    """The boat's name, and the option's; returns the height below them."""
    y = _HEIGHT - _EDGE
    lines, size = fitted(card.name, _RIGHT - _LEFT, size=17.0, least=11.0, lines=2)
    for line in lines:
        y -= 0.75 * size * MM_PER_POINT
        pen.text(_LEFT, y + 0.365 * size * MM_PER_POINT, line, size, name="title")
        y -= 0.45 * size * MM_PER_POINT
    told = f"Targets of option {card.option}" if card.option != "base" else ""
    if card.chart is not None and card.chart.kind == OPTIONS:
        told = f"Targets of A, {card.option}"
    if told:
        (line,), size = fitted(told, _RIGHT - _LEFT, size=12.0, least=8.0)
        y -= 0.75 * size * MM_PER_POINT
        pen.text(_LEFT, y + 0.365 * size * MM_PER_POINT, line, size, name="option")
        y -= 0.4 * size * MM_PER_POINT
    return y


def _foot(pen: _Pen, card: Card) -> float:
    """Notes, source and caution at the foot of the page; returns the height above them."""
    room, lines = _RIGHT - _LEFT, []
    for text, most in ((card.origin, 1), ("; ".join(card.conditions), 2), (CAUTION, 3)):
        if text:
            found, size = fitted(text, room, size=7.0, least=LEAST_PT, bold=False, lines=most)
            lines += [(line, size) for line in found]
    notes = "; ".join(card.notes)
    if notes:
        found, size = fitted(notes, room, size=9.0, least=8.0, lines=2)
        lines = [*((line, size) for line in found), *lines]
    y = _EDGE
    for line, size in reversed(lines):
        pen.text(_LEFT, y + 0.365 * size * MM_PER_POINT, line, size, bold=size > 7.5, name="foot")
        y += 1.3 * size * MM_PER_POINT
    return y


def _table(pen: _Pen, card: Card, top: float, height: float) -> float:
    """The targets, a line each wind; returns the height below them."""
    rows = [card.row(place) for place in range(len(card.tws_kn))]
    header = card.header
    band, head = 6.0, 5.0
    line = (height - band - head) / max(len(rows), 1)
    size = _table_size(rows, header, line)
    widths, gaps = _columns(rows, header, size)
    # numbers end at the right of their columns
    spare = (_RIGHT - 1.5 - _LEFT - sum(widths) - sum(gaps)) / len(widths)
    ends, x = [], _LEFT
    for width, gap in zip(widths, gaps, strict=True):
        x += gap + width + spare
        ends.append(x)
    half = (len(header) - 1) // 2
    middle = 0.5 * (ends[half] + ends[half + 1] - widths[half + 1] - 0.5 * spare)
    start = ends[0] + 2.5
    for left, right, words in ((start, middle - 0.8, "UP"), (middle + 0.8, _RIGHT, "DOWN")):
        ink = pen.block(left, top - band, right - left, band)
        pen.text(0.5 * (left + right), top - 0.5 * band, words, 13.0, align="center", ink=ink)
    y = top - band - 0.5 * head
    for end, words in zip(ends, header, strict=True):
        pen.text(end, y, words, 9.0, align="right", name="head")
    y = top - band - head
    for number in range(0, len(rows), 2):
        pen.box(_LEFT, y - (number + 1) * line, _RIGHT - _LEFT, line, fill=pen.inks.band)
    wind_ink = pen.block(_LEFT, y - len(rows) * line, ends[0] + 1.5 - _LEFT, len(rows) * line)
    for row in rows:
        for column, (end, cell) in enumerate(zip(ends, row, strict=True)):
            ink = pen.inks.ink if column else wind_ink
            # a mark hangs out, so that digits stand below each other
            digits = cell.rstrip("~")
            pen.text(end, y - 0.5 * line, digits, size, align="right", ink=ink, name="number")
            if digits != cell:
                pen.text(end + 0.1, y - 0.5 * line, cell[len(digits) :], size * 0.8, ink=ink, name="mark")
        y -= line
    for place, jumps in enumerate(card.jumps, start=1):
        height = top - band - head - place * line
        for jumped, left, right in zip(jumps, (start, middle), (middle, _RIGHT), strict=True):
            if jumped:
                pen.box(left, height - 0.5 * _BAR_MM, right - left, _BAR_MM, fill=pen.inks.ink)
    pen.line([middle, middle], [top, y], width=1.6)
    return y


def _table_size(rows: Sequence[Sequence[str]], header: Sequence[str], line_mm: float) -> float:
    """The largest type in which the table fits its width and lines, never below the least."""
    size = min(_LARGEST_TABLE_PT, 0.86 * line_mm / MM_PER_POINT)
    while size > LEAST_TABLE_PT:
        widths, gaps = _columns(rows, header, size)
        if sum(widths) + sum(gaps) <= _RIGHT - 1.5 - _LEFT:
            break
        size -= 0.5
    return max(size, LEAST_TABLE_PT)


def _columns(
    rows: Sequence[Sequence[str]], header: Sequence[str], size: float
) -> tuple[list[float], list[float]]:
    """Widths of the columns, and the gaps before them."""
    widths = [
        max(width_mm(head, 9.0), *(width_mm(row[column].rstrip("~"), size) for row in rows))
        for column, head in enumerate(header)
    ]
    marked = [any(row[column].endswith("~") for row in rows) for column in range(len(header))]
    half = (len(header) - 1) // 2
    gaps = [1.0 if column == 0 else 3.0 for column in range(len(header))]
    for column in (1, half + 1):
        gaps[column] += 2.0
    for column, has in enumerate(marked):
        if has and column + 1 < len(gaps):
            gaps[column + 1] += 2.0
    return widths, gaps


# --- polar --------------------------------------------------------------------------------------------------


def _polar(pen: _Pen, card: Card, x: float, y: float, radius: float) -> None:
    """Half a polar: speed outwards, the wind from above."""
    speeds = [curve.boat_speed_kn for curve in card.curves]
    top = max((float(np.nanmax(each)) for each in speeds if np.isfinite(each).any()), default=1.0)
    step = next(step for step in (1.0, 2.0, 3.0, 5.0, 10.0, 20.0) if top / step <= 4.5)
    rings = np.arange(step, 1.02 * top, step)
    scale = radius / (1.02 * top)
    arc = np.linspace(0.0, np.pi, 91)
    for ring in rings:
        pen.line(
            x + ring * scale * np.sin(arc), y + ring * scale * np.cos(arc), color=pen.inks.scale, width=0.9
        )
    for angle in range(0, 181, 30):
        way = math.sin(angle * DEGREE), math.cos(angle * DEGREE)
        pen.line([x, x + radius * way[0]], [y, y + radius * way[1]], color=pen.inks.scale, width=0.9)
        if 0 < angle < 180:
            pen.text(
                x + (radius + 4.2) * way[0], y + (radius + 3.0) * way[1], f"{angle}", 9.0, align="center"
            )
    for ring in rings:
        _label(pen, x, y - ring * scale, f"{ring:g}", 8.0, align="center")
    for curve, style in zip(card.curves, _CURVE_LINES, strict=False):
        _curve(pen, curve, x, y, scale, style)
    for number, curve in enumerate(card.curves):
        _name_curve(pen, curve, x, y, scale, number)


def _curve(pen: _Pen, curve: Curve, x: float, y: float, scale: float, style: Any) -> None:
    angle = curve.twa_deg * DEGREE
    along = curve.boat_speed_kn * scale
    pen.line(x + along * np.sin(angle), y + along * np.cos(angle), width=2.4, linestyle=style)
    for best_deg, speed in curve.best:
        best = best_deg * DEGREE
        centre = np.array([x + speed * scale * math.sin(best), y + speed * scale * math.cos(best)])
        corners = [
            centre + 1.5 * np.array([math.sin(turn), math.cos(turn)])
            for turn in (best_deg < 90.0) * math.pi + np.array([math.pi, math.pi / 3.0, -math.pi / 3.0])
        ]
        pen.mark(corners)


def _name_curve(pen: _Pen, curve: Curve, x: float, y: float, scale: float, number: int) -> None:
    """The wind on its curve, each on another bearing so that they do not meet."""
    wanted = (70.0, 88.0, 104.0)[number % 3]
    known = np.flatnonzero(np.isfinite(curve.boat_speed_kn))
    if not known.size:
        return
    place = known[np.argmin(np.abs(curve.twa_deg[known] - wanted))]
    angle, along = curve.twa_deg[place] * DEGREE, curve.boat_speed_kn[place] * scale
    pen.tag(x + along * math.sin(angle), y + along * math.cos(angle), f"{curve.tws_kn:g}", 10.0)


def _label(pen: _Pen, x: float, y: float, words: str, size: float, *, align: str = "center") -> None:
    """Words on a patch of ground, so that lines end before them."""
    wide, high = width_mm(words, size) + 1.2, 1.1 * size * MM_PER_POINT
    pen.box(x - 0.5 * wide, y - 0.5 * high, wide, high, fill=pen.inks.ground)
    pen.text(x, y, words, size, align=align)


# --- what is beside the polar -------------------------------------------------------------------------------


def _side(pen: _Pen, card: Card, left: float, lower: float, top: float) -> None:
    """The chart of sails or options with its key, or speeds on reaches."""
    if card.chart is None:
        rows = list(card.reaches.values())
        courses = [f"{angle:g}" for angle in card.reaches]
        if rows:
            _grid(pen, "BOAT SPEED, kn", courses, card.reach_winds, rows, left, top, top - lower)
        return
    title = "FASTEST OPTION" if card.chart.kind == OPTIONS else "SAILS"
    key = [(sign, name) for sign, name in card.chart.key.items()]
    columns = 2 if len(key) > 4 else 1
    deep = -(-len(key) // columns)
    key_height = 4.6 * deep + 8.4
    cells, room = card.chart.cells, top - lower - key_height
    lowest = _grid(pen, title, card.chart.courses, card.tws_kn, cells, left, top, room)
    room = (_RIGHT - left) / columns
    for number, (sign, name) in enumerate(key):
        column, row = divmod(number, deep)
        x, y = left + column * room, lowest - 3.4 - 4.6 * row
        pen.text(x, y, sign, 11.0, name="key")
        (line,), size = fitted(name, room - 6.0, size=9.5, least=LEAST_PT)
        pen.text(x + 4.5, y, line, size, name="key")
    told = f"{'inverse' if pen.inks.full_blocks else 'framed'}: leads the others by 1 % or more"
    if card.chart.kind == OPTIONS:
        told += "; two letters, or = for more: within 1 %"
    for row, line in enumerate(_broken(told, _RIGHT - left, 7.5, True)):
        pen.text(left, lowest - 3.4 - 4.6 * deep - 3.4 * row, line, 7.5, name="key")


def _grid(
    pen: _Pen,
    title: str,
    courses: Sequence[str],
    winds: Sequence[float],
    rows: Sequence[Sequence[Cell]],
    left: float,
    top: float,
    height: float,
) -> float:
    """Cells by course and wind under a title; returns the height below them."""
    pen.text(0.5 * (left + _RIGHT), top - 2.5, title, 11.0, align="center", name="head")
    names = 11.5
    width = (_RIGHT - left - names) / len(winds)
    high = min((height - 12.0) / len(rows), 12.0)
    y = top - 8.0
    for column, wind in enumerate(winds):
        pen.tag(left + names + (column + 0.5) * width, y, f"{wind:g}", 10.0, room=width - 0.5)
    pen.text(left + names - 1.2, y, "TWA", 8.0, align="right", name="head")
    y -= 2.8
    cells = [cell.sign for row in rows for cell in row]
    widest = max((width_mm(sign, 10.0) for sign in cells), default=1.0)
    size = min(13.0, 10.0 * (width - 0.8) / max(widest, 0.1), 0.8 * high / MM_PER_POINT)
    for course, row in zip(courses, rows, strict=True):
        pen.text(
            left + names - 1.2, y - 0.5 * high, course.upper(), 9.5 if len(course) < 4 else 8.0, align="right"
        )
        for column, cell in enumerate(row):
            x = left + names + column * width
            place, ink = (x + 0.25, y - high + 0.25, width - 0.5, high - 0.5), pen.inks.ink
            if cell.leads:
                ink = pen.block(*place)
            else:
                pen.box(*place, fill=pen.inks.band)
            pen.text(x + 0.5 * width, y - 0.5 * high, cell.sign or "-", size, align="center", ink=ink)
        y -= high
    return y
