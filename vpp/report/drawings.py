"""Rigs as drawings inside of a page: every option at best VMG upwind in the middle wind, over the base."""

from __future__ import annotations

import re
import warnings
from dataclasses import dataclass, replace
from io import StringIO
from typing import TYPE_CHECKING

import matplotlib as mpl
import numpy as np

from vpp.polar import Point
from vpp.results.variables import variable
from vpp.rig_plot import draw_rig
from vpp.set_values import some_of
from vpp.solved import UPWIND

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from vpp.compare import Comparison

_MOST_DRAWN = 8


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """The rig of an option as SVG, or the reason why there is none; `says` tells in words what it shows."""

    option: str
    says: str
    svg: str = ""


def drawings(comparison: Comparison) -> tuple[Drawing, ...]:
    """The rig of the base, and those of the other options over it: at the best VMG upwind in the middle wind.
    No more than eight options are drawn.
    """
    polar = comparison.polar
    wind = (len(polar.grid.tws_kn) - 1) // 2
    where = f"best VMG upwind, TWS {variable('tws_kn').show(polar.grid.tws_kn[wind])} kn"
    points = [_point(comparison, at, wind) for at in range(len(polar.options))]
    base = points[0]
    found = []
    for at, (name, point) in enumerate(zip(polar.options, points, strict=True)):
        if at >= _MOST_DRAWN:
            found.append(Drawing(option=name, says=f"Only the first {_MOST_DRAWN} options are drawn."))
        elif point is None:
            found.append(Drawing(option=name, says=f"Nothing is drawn: no result at the {where}."))
        else:
            shown = [point] if at == 0 or base is None else [base, point]
            over = f" over {polar.options[0]}" if len(shown) > 1 else ""
            svg = _svg_of(shown, prefix=f"rig{at}")
            found.append(Drawing(option=name, says=f"Rig of {name}{over}, {where}", svg=svg))
    return tuple(found)


def _svg_of(shown: list[Point], *, prefix: str) -> str:
    """A rig as SVG, dollars in names taken as they are."""
    with mpl.rc_context({"text.parse_math": False}):
        return svg_text(draw_rig(*shown), prefix=prefix)


def _point(comparison: Comparison, at: int, wind: int) -> Point | None:
    """One condition of a polar as a point; None where it has no result."""
    polar = comparison.polar
    row = polar.row_aims.index(UPWIND)
    place = int(np.ravel_multi_index((at, wind, row), polar.statuses().shape))
    if not polar.converged[place]:
        return None
    solved = polar.solved
    conditions = replace(solved.conditions.take(np.array([place])), option=np.zeros(1, dtype=np.intp))
    boats = (comparison.boat_at(at, wind, row),)
    return Point(source=polar.source, solved=some_of(solved, np.array([place]), boats, conditions))


def svg_text(figure: Figure, *, prefix: str) -> str:
    """A figure as SVG that stands beside others: text as text, its parts with names of their own."""
    text = StringIO()
    with mpl.rc_context({"svg.hashsalt": "vpp", "svg.fonttype": "none"}), warnings.catch_warnings():
        # a letter that the font here lacks is drawn by the browser, with a font of its own
        warnings.filterwarnings("ignore", message="Glyph .* missing from font", category=UserWarning)
        figure.savefig(text, format="svg", metadata={"Date": None})
    svg = text.getvalue()
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r'\bid="([^"]+)"', rf'id="{prefix}-\1"', svg)
    svg = re.sub(r"url\(#([^)]+)\)", rf"url(#{prefix}-\1)", svg)
    return re.sub(r'href="#([^"]+)"', rf'href="#{prefix}-\1"', svg)
