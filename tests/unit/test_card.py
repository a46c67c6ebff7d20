"""The card: what stands on it, how large, and that nothing runs over its edges."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.text import Text

from tests.support.polar_table import polar_table
from vpp.card import (
    MOST_OPTIONS,
    MOST_WINDS,
    OPTIONS,
    SAILS,
    Card,
    CardError,
    Cell,
    card_of,
    chosen_winds,
)
from vpp.card_plot import (
    A4,
    A5,
    DAY,
    LEAST_PT,
    LEAST_TABLE_PT,
    NIGHT,
    PAGES_MM,
    card_figure,
    fitted,
)
from vpp.lettering import printable, width_mm
from vpp.results.files import Source
from vpp.targets_between import targets_from

SOURCE = Source(name="Invented keelboat", file="invented.toml", digest="0123456789ab")
WINDS = tuple(float(wind) for wind in range(6, 25, 2))
LONG = "a boat whose name goes on_and_on " * 5
ODD = "$x_2^{3}$ \\frac <b>&amp;</b> \u65e5\u672c\u8a9e \U0001f9ed %s {0}\n\ttail"


def smooth(tws: float, twa: float) -> float:
    angle = np.deg2rad(max(twa - 12.0, 0.0))
    slow = 1.0 - 0.3 * np.exp(-(((180.0 - twa) / 25.0) ** 2))
    return float(0.9 * tws * np.tanh(8.0 / tws) * np.sin(0.5 * angle) ** 0.6 * slow)


@cache
def plain_table() -> pd.DataFrame:
    frame = polar_table({"base": smooth}, tws_kn=WINDS)
    return frame.assign(heel_deg=np.minimum(2.0 * frame["tws_kn"], 25.0), remark="", sail_set="")


@cache
def keelboat() -> Card:
    return card_of(targets_from(plain_table(), source=SOURCE))


BAR = "bar: jumps here, take no value between"


@cache
def foiler() -> Card:
    """Hull-borne in light wind, faster and flying in more."""
    frame = plain_table().copy()
    flies = frame["tws_kn"] > 9.0
    frame["branch"] = np.where(flies, "foil-borne", "hull-borne")
    frame["ride_height_m"] = np.where(flies, 1.37, 0.02)
    frame["heel_deg"] = -6.0
    frame.loc[flies, ["boat_speed_kn", "vmg_kn"]] *= 4.0
    return card_of(targets_from(frame, source=SOURCE))


@cache
def wardrobe() -> Card:
    frame = plain_table().copy()
    frame["sail_set"] = np.where(frame["tws_kn"] > 15.0, "reefed", "full")
    frame["sail_set_margin_kn"] = np.where(frame["tws_kn"] > 15.0, 0.001, 0.5)
    return card_of(targets_from(frame, source=SOURCE))


@cache
def many_options() -> Card:
    """Eight options with long and odd names, a boat named so too, marks and missing results."""
    frames = []
    for number in range(MOST_OPTIONS):
        frame = plain_table().copy()
        factor = 1.0 + 0.003 * number * (frame["tws_kn"] - 14.0) / 10.0
        frame[["boat_speed_kn", "vmg_kn"]] = frame[["boat_speed_kn", "vmg_kn"]].mul(factor, axis=0)
        frame["option"] = f"{(ODD, LONG)[number % 2]} {number}"
        frame.loc[frame["tws_kn"] > 19.0, "remark"] = "hull resistance extended past Fn 0.45"
        frame.loc[(frame["tws_kn"] == 24.0) & (frame["aim"] == "downwind"), "status"] = "step_limit"
        frames.append(frame)
    source = replace(SOURCE, name=ODD + LONG, file=f"{LONG}.toml", sea=LONG, stopped=LONG, calibration=ODD)
    return card_of(targets_from(pd.concat(frames, ignore_index=True), source=source))


CARDS = {"keelboat": keelboat, "foiler": foiler, "wardrobe": wardrobe, "many options": many_options}


def texts(figure: Figure) -> list[Text]:
    return [text for text in figure.findobj(Text) if text.get_text()]


# --- content ------------------------------------------------------------------------------------------------


def test_rows_are_the_targets() -> None:
    card = keelboat()
    first = card.targets[0][0]
    assert card.header == ("TWS", "TWA", "kn", "heel", "TWA", "kn", "heel")
    assert card.row(0)[:4] == ("6", f"{first.twa_deg:.0f}", f"{first.boat_speed_kn:.2f}", "12")
    assert len(card.tws_kn) == len(WINDS)
    assert card.notes == ()
    assert not any(any(pair) for pair in card.jumps)


def test_hull_borne_rows_have_no_ride_height_and_fast_boats_one_decimal() -> None:
    card = foiler()
    assert card.header == ("TWS", *("TWA", "kn", "heel", "cm") * 2)
    assert card.row(0)[4] == "hull"
    assert card.row(4)[4] == "137"
    assert re.fullmatch(r"\d+\.\d", card.row(4)[2])
    assert card.notes == (BAR, "heel below 0: to windward", "cm: ride height")
    # between the winds in which it last floats and first flies
    assert [place for place, pair in enumerate(card.jumps) if any(pair)] == [WINDS.index(10.0) - 1]
    assert card.jumps[WINDS.index(10.0) - 1] == (True, True)


def test_sail_sets_have_signs_and_a_chart_that_says_which_lead() -> None:
    card = wardrobe()
    assert card.chart is not None
    assert card.chart.kind == SAILS
    assert dict(card.chart.key) == {"1": "full", "2": "reefed"}
    assert card.row(0)[4] == "1"
    assert card.row(len(WINDS) - 1)[4] == "2"
    up = card.chart.cells[0]
    assert [cell.sign for cell in up] == ["1"] * 5 + ["2"] * 5
    # half a knot is a lead of more than 1 %, a thousandth of one is not
    assert [cell.leads for cell in up] == [True] * 5 + [False] * 5


def test_options_are_compared_and_the_fastest_named() -> None:
    card = many_options()
    assert card.chart is not None
    assert card.chart.kind == OPTIONS
    assert list(card.chart.key) == list("ABCDEFGH")
    up = {wind: cell for wind, cell in zip(card.tws_kn, card.chart.cells[0], strict=True)}
    # option number 7 gains most with the wind, 0.021 of the speed in 24 kn, and others nearly as much
    assert (up[24.0].sign, up[24.0].leads) == ("=", False)
    assert up[6.0].sign == "="
    assert card.chart.cells[-1][-1].sign == ""
    assert card.notes[:2] == ("~ beyond the hull's data", "-: no result")


def three_options(gain_b: float, gain_c: float, *, remark: str = "") -> Card:
    """Options that are faster than the first by parts of the speed, with a remark on all of the second's."""
    frames = [
        plain_table().assign(option=name, remark=remark if name == "b" else "") for name in ("a", "b", "c")
    ]
    for frame, gain in zip(frames[1:], (gain_b, gain_c), strict=True):
        frame[["boat_speed_kn", "vmg_kn"]] *= 1.0 + gain
    return card_of(targets_from(pd.concat(frames, ignore_index=True), source=SOURCE))


@pytest.mark.parametrize(
    ("gains", "remark", "cell"),
    [
        ((0.02, 0.0), "", Cell(sign="B", leads=True)),
        ((0.02, 0.015), "", Cell(sign="BC")),
        ((0.002, -0.001), "", Cell(sign="=")),
        ((0.02, 0.0), "hull resistance extended past Fn 0.45", Cell(sign="B")),
    ],
)
def test_one_letter_leads_and_options_within_one_percent_share_a_cell(
    gains: tuple[float, float], remark: str, cell: Cell
) -> None:
    """A lead that rests on hull resistance past its data is none to decide on."""
    chart = three_options(*gains, remark=remark).chart
    assert chart is not None
    assert {each for row in chart.cells for each in row} == {cell}


def test_speeds_on_reaches_past_the_data_are_marked() -> None:
    frame = plain_table()
    past = (frame["tws_kn"] > 19.0) & (frame["aim"] == "speed")
    frame = frame.assign(remark=np.where(past, "hull resistance extended past Fn 0.45", ""))
    card = card_of(targets_from(frame, source=SOURCE))
    for cells in card.reaches.values():
        marked = [cell.sign.endswith("~") for cell in cells]
        assert marked == [wind > 19.0 for wind in card.reach_winds]
    assert card.notes == ("~ beyond the hull's data",)


def test_sails_of_several_options_are_explained_in_a_note() -> None:
    frame = plain_table().assign(sail_set=np.where(plain_table()["tws_kn"] > 15.0, "reefed", "full"))
    both = pd.concat([frame, frame.assign(option="other")], ignore_index=True)
    card = card_of(targets_from(both, source=SOURCE))
    assert card.chart is not None
    assert card.chart.kind == OPTIONS
    assert card.row(0)[4] == "1"
    assert card.notes == (BAR, "sails: 1 full, 2 reefed")


def test_too_many_options_are_refused() -> None:
    speeds = {f"o{number}": smooth for number in range(MOST_OPTIONS + 1)}
    found = targets_from(polar_table(speeds, tws_kn=(8.0, 10.0)), source=SOURCE)
    with pytest.raises(CardError, match="9 options; a card compares at most 8: name fewer"):
        card_of(found)


def test_many_winds_are_thinned_evenly_and_keep_the_strongest() -> None:
    assert chosen_winds(WINDS, MOST_WINDS) == WINDS
    assert chosen_winds(tuple(range(4, 31)), 12) == (6, 9, 12, 15, 18, 21, 24, 27, 30)
    assert chosen_winds((10.0,), 12) == (10.0,)


# --- pages --------------------------------------------------------------------------------------------------


def media_box_mm(figure: Figure) -> Sequence[float]:
    file = io.BytesIO()
    figure.savefig(file, format="pdf", metadata={"CreationDate": None})
    found = re.findall(rb"/MediaBox \[ ([\d. ]+) \]", file.getvalue())
    assert len(found) == 1
    return [float(number) * 25.4 / 72.0 for number in found[0].split()]


@pytest.mark.parametrize("page", [A5, A4])
def test_pages_have_their_sizes(page: str) -> None:
    box = media_box_mm(card_figure(keelboat(), page=page))
    np.testing.assert_allclose(box, (0.0, 0.0, *PAGES_MM[page]), atol=0.01)
    assert PAGES_MM == {A5: (148.0, 210.0), A4: (210.0, 297.0)}  # ISO 216


@pytest.mark.parametrize("name", CARDS)
@pytest.mark.parametrize("page", [A5, A4])
def test_type_is_as_large_as_stated(name: str, page: str) -> None:
    figure = card_figure(CARDS[name](), page=page)
    scale = PAGES_MM[page][1] / PAGES_MM[A5][1]
    numbers = [text for text in texts(figure) if text.get_gid() == "number"]
    assert len(numbers) >= 7 * len(WINDS)
    assert min(text.get_fontsize() for text in numbers) >= LEAST_TABLE_PT * scale - 1e-9
    assert min(text.get_fontsize() for text in texts(figure)) >= LEAST_PT * scale - 1e-9


@pytest.mark.parametrize("name", CARDS)
def test_nothing_runs_over_an_edge_or_into_its_neighbour(name: str) -> None:
    figure = card_figure(CARDS[name]())
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    width, height = canvas.get_width_height()
    margin = 3.0 / 25.4 * figure.dpi
    boxes = [text.get_window_extent(canvas.get_renderer()) for text in texts(figure)]
    for text, box in zip(texts(figure), boxes, strict=True):
        assert box.x0 >= margin, text
        assert box.y0 >= margin, text
        assert box.x1 <= width - margin, text
        assert box.y1 <= height - margin, text
    for kind in ("number", "key", "foot"):
        own = [box for text, box in zip(texts(figure), boxes, strict=True) if text.get_gid() == kind]
        # descenders of one line may reach the room above the letters of the next
        slim = [box.shrunk(1.0, 0.6) for box in own]
        for place, box in enumerate(slim):
            assert not any(box.overlaps(other) for other in slim[place + 1 :])


def test_the_card_says_where_it_is_from_and_what_it_is_not() -> None:
    said = " ".join(text.get_text() for text in texts(card_figure(many_options())))
    assert "0123456789ab, vpp " in said
    assert "not a stability, structural or safety sign-off" in said
    assert "stopped: " in said
    assert "202" not in said.replace("0123456789ab", "")


def luminance(colour: Any) -> float:
    """Relative luminance by WCAG 2, from memory."""
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in to_rgb(colour)]
    return float(np.dot((0.2126, 0.7152, 0.0722), linear))


@pytest.mark.parametrize(("ground", "least"), [(DAY, 15.0), (NIGHT, 4.5)])
def test_ink_stands_out_on_what_it_is_written_on(ground: str, least: float) -> None:
    # WCAG 2 asks for 4.5 to 1 for text, from memory
    figure = card_figure(keelboat(), ground=ground)
    page = luminance(figure.get_facecolor())
    inks = {luminance(text.get_color()) for text in texts(figure)}
    # words in a block full of ink have the colour of the page
    assert page in inks or ground == NIGHT
    for ink in inks - {page}:
        assert (max(ink, page) + 0.05) / (min(ink, page) + 0.05) >= least


def test_by_night_the_page_is_dark_and_its_ink_is_red() -> None:
    file = io.BytesIO()
    figure = card_figure(foiler(), ground=NIGHT)
    figure.savefig(file, format="raw", dpi=50)
    pixels = np.frombuffer(file.getvalue(), dtype=np.uint8).reshape(-1, 4)[:, :3].astype(float)
    assert np.mean(pixels.max(axis=1) < 60) > 0.75
    bright = pixels[pixels.max(axis=1) > 150]
    assert (bright[:, 0] > 2.0 * bright[:, 1]).all()


def test_lines_are_neither_thin_nor_pale() -> None:
    for ground in (DAY, NIGHT):
        figure = card_figure(keelboat(), ground=ground)
        page = luminance(figure.get_facecolor())
        for line in figure.axes[0].lines:
            ink = luminance(line.get_color())
            assert line.get_linewidth() >= 0.9
            assert (max(ink, page) + 0.05) / (min(ink, page) + 0.05) >= 1.9


def test_the_same_card_gives_the_same_bytes() -> None:
    files = [io.BytesIO(), io.BytesIO()]
    for file in files:
        card_figure(wardrobe()).savefig(file, format="pdf", metadata={"CreationDate": None})
    assert files[0].getvalue() == files[1].getvalue()


# --- type that fits -----------------------------------------------------------------------------------------


def test_type_shrinks_then_breaks_then_is_cut() -> None:
    assert fitted("short", 100.0, size=17.0, least=11.0) == (("short",), 17.0)
    (line,), size = fitted("somewhat longer words", 60.0, size=17.0, least=11.0)
    assert line == "somewhat longer words"
    assert 11.0 <= size < 17.0
    lines, size = fitted(LONG, 60.0, size=17.0, least=11.0, lines=2)
    assert len(lines) == 2
    assert lines[-1].endswith("\u2026")
    assert all(width_mm(line, size) <= 60.0 for line in lines)
    (line,), _ = fitted("a_name_that_differs_in_its_end_7", 20.0, size=9.0, least=6.5)
    assert line.startswith("a_n")
    assert line.endswith("_7")
    assert "\u2026" in line


def test_signs_that_the_type_lacks_are_question_marks_and_lines_are_joined() -> None:
    assert printable(ODD) == "$x_2^{3}$ \\frac <b>&amp;</b> ??? ? %s {0} tail"
