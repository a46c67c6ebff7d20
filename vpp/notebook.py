"""How a polar and a comparison show themselves in a notebook: the figure, and a short table below it."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from html import escape
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np

from vpp.plots import polar_figure, vmg_gain_figure
from vpp.polar import BEST_VMG
from vpp.results.files import CAUTION
from vpp.results.variables import show_number, variable

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from vpp.compare import Comparison
    from vpp.polar import Polar

_MOST_WINDS = 12
_DOTS_PER_INCH = 100
_CELL = ' style="text-align: right"'


def figure_of(polar: Polar, option: str | None = None) -> Figure:
    """The polar of one option, of the first unless another is named. Raises KeyError for one that is not
    there.
    """
    name = polar.options[0] if option is None else option
    if name not in polar.options:
        raise KeyError(f"no option {name!r} in this polar; it holds {', '.join(polar.options)}")
    return polar_figure(polar, option=name)


def png(figure: Figure) -> bytes:
    """A figure as PNG."""
    image = BytesIO()
    figure.savefig(image, format="png", dpi=_DOTS_PER_INCH)
    return image.getvalue()


def polar_html(polar: Polar) -> str:
    """The polar of the first option and its best VMGs, every name escaped."""
    option, *others = polar.options
    said = [polar.extended_note, polar.hull_borne_note, _missing(polar)]
    if others:
        said.append(f"also in this polar: {', '.join(others)}; plot(option=...) draws one of them")
    return _page(
        figure=figure_of(polar),
        alternative=f"Polar of {option}",
        caption=f"{option}: best VMG upwind and downwind" + _reach_caption(polar.grid.reach_deg),
        rows=_vmg_rows(polar),
        notes=[*said, polar.source.line, CAUTION],
    )


def comparison_html(comparison: Comparison) -> str:
    """Best VMG of all options with their gains, and the gains in numbers, every name escaped."""
    polar = comparison.polar
    said = [polar.extended_note, comparison.crossing_note, comparison.reach_note, _missing(polar)]
    return _page(
        figure=vmg_gain_figure(comparison),
        alternative=f"Gains of {', '.join(comparison.alternatives)}",
        caption=f"Gain against {polar.options[0]}, kn" + _reach_caption(comparison.reach_deg),
        rows=_gain_rows(comparison),
        notes=[*said, polar.source.line, CAUTION],
    )


def _page(
    *, figure: Figure, alternative: str, caption: str, rows: Sequence[Sequence[str]], notes: Sequence[str]
) -> str:
    """All of it as HTML; the first row is the head of the table, the first column its names."""
    image = b64encode(png(figure)).decode("ascii")
    head, *body = rows
    lines = [
        f'<img alt="{escape(alternative)}" src="data:image/png;base64,{image}">',
        f"<table><caption>{escape(caption)}</caption>",
        "<thead><tr>" + "".join(f"<th>{escape(cell)}</th>" for cell in head) + "</tr></thead>",
        "<tbody>",
        *("<tr>" + "".join(f"<td{_CELL}>{escape(cell)}</td>" for cell in row) + "</tr>" for row in body),
        "</tbody></table>",
        *(f"<p>{escape(note)}</p>" for note in notes if note),
    ]
    return "\n".join(lines)


def _vmg_rows(polar: Polar) -> list[tuple[str, ...]]:
    columns = [(aim, name) for aim in BEST_VMG for name in ("vmg_kn", "twa_deg", "boat_speed_kn")]
    places = [polar.row_aims.index(aim) for aim, _ in columns]
    head = [f"{aim}: {label}" for aim in BEST_VMG for label in ("VMG kn", "TWA deg", "speed kn")]
    reach = polar.grid.reach_deg
    if reach is not None:
        head.append("reach: speed kn")
        columns.append(("speed", "boat_speed_kn"))
        places.append(polar.grid.twa_deg.index(reach))
    has_result = np.isfinite(polar.rows("boat_speed_kn")[0])
    values = [
        np.where(has_result[:, place], polar.rows(name)[0, :, place], np.nan)
        for (_, name), place in zip(columns, places, strict=True)
    ]
    marks = polar.marks()[0]
    rows = [
        (
            f"{polar.grid.tws_kn[wind]:g}",
            *(
                variable(name).show(float(value[wind])) + str(marks[wind, place])
                for (_, name), value, place in zip(columns, values, places, strict=True)
            ),
        )
        for wind in _picked(len(polar.grid.tws_kn))
    ]
    return [("TWS kn", *head), *rows]


def _gain_rows(comparison: Comparison) -> list[tuple[str, ...]]:
    polar = comparison.polar
    winds = _picked(len(polar.grid.tws_kn))
    sides: list[tuple[str, float | str]] = [(aim, aim) for aim in BEST_VMG]
    if comparison.reach_deg is not None:
        sides.insert(1, ("reach", comparison.reach_deg))
    gain, marks = comparison.gain_kn(), comparison.marks()
    rows = [
        (
            name,
            side,
            *(
                show_number(gain[at, wind, place], decimals=2, signed=True) + str(marks[at, wind, place])
                for wind in winds
            ),
        )
        for at, name in enumerate(polar.options)
        if at
        for side, place in ((side, comparison.place(angle)) for side, angle in sides)
    ]
    return [("option", "", *(f"{polar.grid.tws_kn[wind]:g} kn" for wind in winds)), *rows]


def _picked(count: int) -> list[int]:
    """Places of at most some winds, evenly, with the first and the last."""
    return sorted({round(place) for place in np.linspace(0, count - 1, min(count, _MOST_WINDS))})


def _reach_caption(reach_deg: float | None) -> str:
    return "" if reach_deg is None else f"; the reach is at {reach_deg:g} deg"


def _missing(polar: Polar) -> str:
    count = int(np.sum(~polar.converged))
    return f"{count} of {polar.converged.size} conditions have no result" if count else ""
