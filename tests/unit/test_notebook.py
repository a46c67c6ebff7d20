"""How a polar and a comparison show themselves in a notebook."""

from __future__ import annotations

import importlib
import re
from base64 import b64decode
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from matplotlib.figure import Figure

from tests.support import synthetic
from vpp.compare import Comparison
from vpp.polar import Polar
from vpp.results.files import CAUTION

PNG = b"\x89PNG\r\n\x1a\n"


class Page(HTMLParser):
    """The elements of a page: what is open, the cells of the table, and all text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.rows: list[list[str]] = []
        self.said = ""
        self.tags: set[str] = set()
        self.image = b""
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        if tag == "img":
            self.image = b64decode(str(dict(attrs)["src"]).removeprefix("data:image/png;base64,"))
            return
        self.open.append(tag)
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.said += data
        if self.open and self.open[-1] in ("td", "th"):
            self.rows[-1][-1] += data


@pytest.fixture
def polar(monkeypatch: pytest.MonkeyPatch) -> Polar:
    module = importlib.import_module("vpp.polar")
    monkeypatch.setattr(module, "solve", synthetic.solve)
    return module.polar(
        synthetic.make_boat_file(),
        tws_kn=(8.0, 16.0, 24.0),
        twa_deg=(30.0, 60.0, 90.0, 160.0),
        options=("taller_rig", "cut_head"),
    )


def test_polar_shows_its_figure_and_best_vmg(polar: Polar) -> None:
    page = Page(polar._repr_html_())
    assert page.image.startswith(PNG)
    assert page.rows[0][:3] == ["TWS kn", "upwind: VMG kn", "upwind: TWA deg"]
    assert [row[0] for row in page.rows[1:]] == ["8", "16", "24"]
    for at, row in enumerate(page.rows[1:]):
        assert float(row[1]) == pytest.approx(polar.at_best_vmg("vmg_kn", aim="upwind")[0, at], abs=0.005)
        assert float(row[4]) == pytest.approx(polar.at_best_vmg("vmg_kn", aim="downwind")[0, at], abs=0.005)
        assert float(row[7]) == pytest.approx(polar.at_angles("boat_speed_kn")[0, at, 2], abs=0.005)
    assert "base: best VMG upwind and downwind; the reach is at 90 deg" in page.said
    assert "also in this polar: taller_rig, cut_head" in page.said
    assert "7 of 54 conditions have no result" in page.said
    assert polar.source.line in page.said
    assert CAUTION in page.said


def test_comparison_shows_gains(polar: Polar) -> None:
    comparison = Comparison(polar=polar)
    page = Page(comparison._repr_html_())
    assert page.image.startswith(PNG)
    assert page.rows[0] == ["option", "", "8 kn", "16 kn", "24 kn"]
    assert [row[:2] for row in page.rows[1:]] == [
        [name, side] for name in ("taller_rig", "cut_head") for side in ("upwind", "reach", "downwind")
    ]
    gains = comparison.vmg_gain_kn("cut_head", aim="upwind")
    assert [float(cell) for cell in page.rows[4][2:]] == pytest.approx(gains.tolist(), abs=0.005)
    assert "Gain against base, kn; the reach is at 90 deg" in page.said


def test_grid_without_a_reach_has_no_such_column(monkeypatch: pytest.MonkeyPatch) -> None:
    module = importlib.import_module("vpp.polar")
    monkeypatch.setattr(module, "solve", synthetic.solve)
    found = module.polar(synthetic.make_boat_file(), tws_kn=(8.0,), twa_deg=(40.0, 160.0))
    assert "reach" not in Page(found._repr_html_()).said
    assert [row[1] for row in Page(Comparison(polar=found)._repr_html_()).rows[1:3]] == ["upwind", "downwind"]


def test_many_winds_are_thinned_and_keep_the_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    module = importlib.import_module("vpp.polar")
    monkeypatch.setattr(module, "solve", synthetic.solve)
    winds = tuple(float(wind) for wind in range(5, 35))
    found = module.polar(synthetic.make_boat_file(options=False), tws_kn=winds, twa_deg=(90.0,))
    shown = [row[0] for row in Page(found._repr_html_()).rows[1:]]
    assert len(shown) == 12
    assert (shown[0], shown[-1]) == ("5", "34")


def test_names_from_files_are_escaped(polar: Polar) -> None:
    nasty = '<script>alert("x")</script> & co'
    named = replace(polar, source=replace(polar.source, name=nasty, calibration=nasty))
    for shown in (named, Comparison(polar=named)):
        text = shown._repr_html_()
        assert "<script>" not in text
        assert "&lt;script&gt;alert(&quot;x&quot;)&lt;/script&gt; &amp; co" in text
        page = Page(text)
        assert page.tags == {
            "img", "table", "caption", "thead", "tbody", "tr", "th", "td", "p",
        }  # fmt: skip
        assert nasty in page.said


def test_names_of_options_are_escaped(polar: Polar) -> None:
    named = replace(polar, options=("base", "a<b", 'c"d'))
    page = Page(named._repr_html_())
    assert 'also in this polar: a<b, c"d;' in page.said
    gains = Page(Comparison(polar=named)._repr_html_())
    assert {row[0] for row in gains.rows[1:]} == {"a<b", 'c"d'}


def test_plot_gives_the_figure_of_an_option(polar: Polar) -> None:
    figure = polar.plot()
    assert isinstance(figure, Figure)
    assert figure.axes[0].get_title().startswith("base\n")
    assert polar.plot("cut_head").axes[0].get_title().startswith("cut_head\n")
    with pytest.raises(KeyError, match="no option 'tall_rig' in this polar; it holds base, taller_rig"):
        polar.plot("tall_rig")


def test_png_is_the_figure(polar: Polar) -> None:
    image = polar._repr_png_()
    assert image.startswith(PNG)
    width, height = (int.from_bytes(image[at : at + 4]) for at in (16, 20))
    assert (width, height) == tuple(round(100 * size) for size in polar.plot().get_size_inches())


def test_polar_without_any_result_still_shows(polar: Polar) -> None:
    none = replace(polar, solved=replace(polar.solved, status=polar.solved.status * 0 + 1))
    page = Page(none._repr_html_())
    assert all(re.fullmatch("-", cell) for row in page.rows[1:] for cell in row[1:])
    assert "54 of 54 conditions have no result" in page.said
