"""The page of a report in a real browser: alone, by touch and by keyboard, with the numbers of its tables."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from tests.support.browsing import CONTRASTS, WIDTHS, assert_alone_and_within, assert_kinds, number, tap
from tests.support.reported import HOSTILE, TWS_KN, comparison_of, renamed
from vpp.report import page as report_page
from vpp.report.content import Subject, subject
from vpp.report.drawings import Drawing
from vpp.results.files import csv_text

Open = Callable[..., Any]


@pytest.fixture(scope="module")
def patched() -> Any:
    with pytest.MonkeyPatch.context() as patch:
        yield patch


@pytest.fixture(scope="module")
def about(browser: Any, patched: pytest.MonkeyPatch) -> Subject:
    return subject(*comparison_of(patched))


@pytest.fixture(scope="module")
def file(about: Subject, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(report_page.report_html(about), encoding="utf-8")
    return path


def reading(page: Any, key: str, of: str = "option") -> str:
    return str(page.locator(f"#reading-table td[data-key={key}][data-of={of}]").inner_text())


def table_of(about: Subject, tmp_path: Path) -> pd.DataFrame:
    """`polar.csv` as it is written beside the page."""
    path = tmp_path / "polar.csv"
    path.write_text(csv_text(about.comparison.polar.to_frame()), encoding="utf-8")
    return pd.read_csv(path, keep_default_na=True)


@pytest.mark.parametrize("width", WIDTHS)
def test_opens_alone_without_scrolling_sideways(file: Path, opened: Open, width: int) -> None:
    found = opened(file, width=width)
    assert_alone_and_within(found, file, width)
    assert found.page.locator("#polar .point").count() > 0


def test_library_starts_with_the_kinds_that_are_drawn(file: Path, opened: Open) -> None:
    assert_kinds(opened(file).page, ["bar", "scatter", "scatterpolar"])


def test_a_tap_reads_the_point(file: Path, opened: Open) -> None:
    found = opened(file)
    before, speed = found.text("#reading .chosen"), reading(found.page, "boat_speed_kn")
    tap(found.page, "#polar .scatterlayer path.point", 3)
    assert found.text("#reading .chosen") != before
    assert reading(found.page, "boat_speed_kn") != speed
    seen = set()
    for at in (5, 9, 22):
        shown = found.page.locator("#gain .scatterlayer .textpoint").nth(at).text_content()
        tap(found.page, "#gain .bars .point path", at)
        assert found.text("#reading-gain").startswith(f"Gain {shown} kn")
        seen.add(found.text("#reading .chosen"))
    assert len(seen) == 3
    assert found.complaints == []


@pytest.mark.parametrize("width", WIDTHS)
def test_a_tap_reads_the_very_point_that_is_touched(file: Path, opened: Open, width: int) -> None:
    """The ring that marks what is read stands where best VMG downwind was touched, at every width."""
    found = opened(file, width=width)
    found.page.select_option("#row", label="best VMG downwind")
    ring = found.page.locator("#polar .scatterlayer path.point").last
    ring.scroll_into_view_if_needed()
    box = ring.bounding_box()
    found.page.select_option("#row", label="TWA 70 deg")
    found.page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert found.text("#reading .chosen") == "TWS 10 kn, best VMG downwind"


def test_another_option_changes_curve_reading_and_rig(file: Path, opened: Open) -> None:
    found = opened(file)
    line = "#polar .scatterlayer .js-line >> nth=-1"
    found.page.select_option("#against", label="base")
    found.page.select_option("#option", label="cut_head")
    before, speed = found.page.locator(line).get_attribute("d"), reading(found.page, "boat_speed_kn")
    found.page.select_option("#option", label="lower_foot")
    assert found.page.locator(line).get_attribute("d") != before
    assert reading(found.page, "boat_speed_kn") != speed
    assert "lower_foot" in found.text(".rig:not([hidden])")
    assert found.text("#reading thead th:nth-child(2)") == "lower_foot"


def test_arrow_keys_move_the_reading(file: Path, opened: Open) -> None:
    found = opened(file)
    found.page.select_option("#row", label="TWA 70 deg")
    found.page.focus("#polar")
    found.page.keyboard.press("ArrowRight")
    assert found.text("#reading .chosen") == "TWS 10 kn, TWA 90 deg"
    found.page.keyboard.press("ArrowUp")
    assert found.text("#reading .chosen") == "TWS 14 kn, TWA 90 deg"
    found.page.focus("#gain")
    found.page.keyboard.press("ArrowDown")
    assert found.text("#reading .chosen") == "TWS 14 kn, TWA 110 deg"
    assert "TWS 14 kn, TWA 110 deg" in str(found.page.get_attribute("#polar", "aria-label"))


def test_tab_reaches_every_control_with_a_visible_focus(file: Path, opened: Open) -> None:
    found = opened(file)
    seen = []
    for _ in range(60):
        found.page.keyboard.press("Tab")
        told = found.page.evaluate(
            "() => [document.activeElement.id, getComputedStyle(document.activeElement).outlineStyle]"
        )
        seen.append(told[0])
        assert told[1] != "none", told
        if told[0] == "failures":
            break
    order = [
        "option",
        "against",
        "wind",
        "row",
        "speed-unit",
        "size-unit",
        "polar",
        "gain",
        "targets",
        "find",
    ]
    assert [name for name in seen if name in order] == order


def test_values_are_those_of_the_tables(file: Path, opened: Open, about: Subject, tmp_path: Path) -> None:
    found, table = opened(file), table_of(about, tmp_path)
    compared = 0
    for option, wind, angle in (
        ("taller_rig", 10.0, 70.0),
        ("cut_head", 18.0, 110.0),
        ("lower_foot", 6.0, 150.0),
    ):
        found.page.select_option("#option", label=option)
        found.page.select_option("#wind", label=f"{wind:g} kn")
        found.page.select_option("#row", label=f"TWA {angle:g} deg")
        rows = table[(table["aim"] == "speed") & (table["tws_kn"] == wind) & (table["twa_deg"] == angle)]
        for name, of in ((option, "option"), ("base", "against")):
            row = rows[rows["option"] == name].iloc[0]
            for cell in found.page.locator(f"#reading-table td[data-of={of}]").all():
                shown, expected = cell.inner_text(), row[cell.get_attribute("data-key")]
                if shown == "-":
                    assert pd.isna(expected)
                    continue
                last = 10.0 ** -len(shown.rstrip("~h").partition(".")[2])
                assert number(shown) == pytest.approx(expected, abs=0.51 * last)
                compared += 1
        assert ("~" in reading(found.page, "boat_speed_kn")) == (wind > 15.0 and angle > 99.0)
    assert compared > 60


def test_gains_and_targets_are_those_of_the_tables(file: Path, opened: Open, about: Subject) -> None:
    found = opened(file)
    found.page.select_option("#option", label="cut_head")
    gain = about.comparison.gain_kn()[about.comparison.polar.options.index("cut_head")]
    found.page.locator("summary", has_text="Gain map as a table").click()
    cells = found.page.locator("#gain-table td[data-wind]").all()
    assert len(cells) == gain.size
    for cell in cells:
        expected = gain[int(cell.get_attribute("data-wind")), int(cell.get_attribute("data-row"))]
        shown = cell.inner_text().lstrip("\u25bc\u00a0")
        assert (shown == "-") == pd.isna(expected)
        assert shown == "-" or number(shown) == pytest.approx(expected, abs=0.0051)
    assert not isinstance(about.targets, str)
    for aim in ("upwind", "downwind"):
        for wind, tws in enumerate(TWS_KN):
            target = about.targets.target("cut_head", aim=aim, tws_kn=tws)
            place = f"#targets td[data-aim={aim}][data-wind='{wind}']"
            assert number(found.text(f"{place}[data-key=vmg_kn]")) == pytest.approx(target.vmg_kn, abs=0.0051)
            assert number(found.text(f"{place}[data-key=twa_deg]")) == pytest.approx(
                target.twa_deg, abs=0.051
            )


def test_budget_adds_up_and_is_that_of_the_point(file: Path, opened: Open, about: Subject) -> None:
    found = opened(file)
    found.page.select_option("#option", label="taller_rig")
    found.page.select_option("#row", label="TWA 90 deg")
    found.page.locator("summary", has_text="Budget as a table").click()
    budget = about.comparison.polar.budget_frame()
    here = budget[
        (budget["option"] == "taller_rig") & (budget["tws_kn"] == 10.0) & (budget["twa_deg"] == 90.0)
    ]
    for key in ("force_x_n", "force_y_n", "moment_x_nm"):
        *shown, total = map(number, found.page.locator(f"#budget-table td[data-key={key}]").all_inner_texts())
        assert sum(shown) == pytest.approx(total, abs=1e-6)
        assert shown == pytest.approx(here[key].tolist(), abs=1.0)


def test_units_change_numbers_and_names(file: Path, opened: Open) -> None:
    found = opened(file)
    knots, heel = number(reading(found.page, "boat_speed_kn")), reading(found.page, "heel_deg")
    found.page.select_option("#speed-unit", label="km/h")
    # a knot is 1.852 km/h by definition
    assert number(reading(found.page, "boat_speed_kn")) == pytest.approx(1.852 * knots, abs=0.015)
    assert reading(found.page, "heel_deg") == heel
    assert "18.52 km/h" in found.text("#reading .chosen")
    newtons = number(reading(found.page, "drive_n"))
    found.page.select_option("#size-unit", label="ft, lbf")
    # a pound-force is 4.4482216152605 N by definition
    assert number(reading(found.page, "drive_n")) == pytest.approx(newtons / 4.4482216152605, abs=0.7)


def test_a_condition_without_a_result_says_why(file: Path, opened: Open) -> None:
    found = opened(file)
    found.page.select_option("#wind", label="18 kn")
    found.page.select_option("#row", label="TWA 30 deg")
    assert "No equilibrium" in found.text("#reading")
    assert "No equilibrium" in found.text("#failures")
    assert not found.page.locator("#budget").is_visible()


def test_one_boat_in_one_wind_has_a_page(opened: Open, patched: pytest.MonkeyPatch, tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    about = subject(*comparison_of(patched, tws_kn=[10.0], is_alone=True))
    path.write_text(report_page.report_html(about), encoding="utf-8")
    found = opened(path, width=400)
    assert found.complaints == []
    assert not found.page.locator("#gain").is_visible()
    assert not found.page.locator("#against").is_visible()
    assert number(reading(found.page, "boat_speed_kn")) > 0.0
    tap(found.page, "#polar .scatterlayer path.point", 4)
    assert found.text("#reading .chosen") != "TWS 10 kn, best VMG upwind"


def test_paper_has_no_empty_page(file: Path, opened: Open) -> None:
    found = opened(file)
    before = found.page.evaluate("document.getElementById('polar').clientHeight")
    pdf = found.page.pdf(format="A4")
    assert 3 < len(re.findall(rb"/Type /Page\b", pdf)) < 9
    # a page without words has no font
    pages = re.findall(rb"/Type /Page\b.*?endobj", pdf, re.DOTALL)
    assert all(b"/Font" in page for page in pages)
    assert found.page.evaluate("document.getElementById('polar').clientHeight") == before


def test_names_do_nothing(
    opened: Open, patched: pytest.MonkeyPatch, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(
        report_page,
        "drawings",
        lambda comparison: [Drawing(option=name, says=name) for name in comparison.polar.options],
    )
    path = tmp_path / "<report>.html"
    path.write_text(report_page.report_html(renamed(*comparison_of(patched), HOSTILE)), encoding="utf-8")
    found = opened(path, width=400)
    for name in HOSTILE:
        found.page.select_option("#option", label=name)
        assert found.text("#reading thead th:nth-child(2)") == name
    assert found.page.locator("img, script[src], iframe").count() == 0
    assert found.text("h1") == HOSTILE[1]
    assert found.page.evaluate("document.documentElement.scrollWidth") <= 400
    assert found.complaints == []


def test_text_stands_out(file: Path, opened: Open) -> None:
    """At least 4.5 to 1 between words and their ground (Web Content Accessibility Guidelines 2.1, 1.4.3)."""
    found = opened(file)
    ratios = found.page.evaluate(CONTRASTS)
    assert len(ratios) > 100
    assert min(ratios, key=lambda pair: pair[0])[0] >= 4.5
