"""The page of a study in a real browser: alone, by touch and by keyboard, with the numbers of its tables."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from tests.support import sweeps
from tests.support.browsing import (
    CONTRASTS,
    WIDTHS,
    assert_alone_and_within,
    assert_kinds,
    number,
    open_all_details,
    tap,
)
from tests.support.reported import HOSTILE
from vpp.report.sweep_page import sweep_html
from vpp.sweep_files import write_results
from vpp.sweep_result import Sweep

pytest.importorskip("pyarrow", reason="tables of chunks need the extra sweep")

Open = Callable[..., Any]
KEEL = "least = 1.4\ngreatest = 1.6"


def page_of(found: Sweep, path: Path) -> Path:
    path.write_text(sweep_html(found), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def found(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Sweep:
    return sweeps.result(tmp_path_factory.mktemp("study"), rigs=64, chunk=32)


@pytest.fixture(scope="module")
def file(found: Sweep) -> Path:
    """The page beside the tables of the study."""
    write_results(found, figures=False, page=True)
    return found.folder / "sweep.html"


def try_values(page: Any, *values: object) -> None:
    for at, value in enumerate(values):
        page.fill(f"#try-{at}", str(value))


def predicted(page: Any, aim: str) -> float:
    text = page.locator(f"#try td[data-aim={aim}]").get_attribute("data-gain")
    return float(text) if text else float("nan")


@pytest.mark.parametrize("width", WIDTHS)
def test_opens_alone_without_scrolling_sideways(file: Path, opened: Open, width: int) -> None:
    found = opened(file, width=width)
    assert_alone_and_within(found, file, width)
    for figure in ("shares", "effect-0", "wind-1", "map", "front"):
        assert found.page.locator(f"#{figure} .cartesianlayer path").count() > 0, figure


def test_library_starts_with_the_kinds_that_are_drawn(file: Path, opened: Open) -> None:
    assert_kinds(opened(file).page, ["bar", "contour", "scatter"])


def test_values_are_those_of_the_files(file: Path, opened: Open) -> None:
    found, compared = opened(file), 0
    best, conditions, effects, shares = (
        pd.read_csv(file.parent / f"{name}.csv") for name in ("best", "conditions", "effects", "shares")
    )
    open_all_details(found.page)

    def compare(cells: str, row_of: Callable[[Any], pd.Series]) -> None:
        nonlocal compared
        for cell in found.page.locator(cells).all():
            shown = cell.inner_text().lstrip("\u25bc\u00a0")
            expected = row_of(cell)[cell.get_attribute("data-key")]
            last = 10.0 ** -len(shown.partition(".")[2])
            # the files have four decimals
            assert number(shown) == pytest.approx(expected, abs=0.5 * last + 0.51e-4)
            compared += 1

    for at, aim in enumerate(best["aim"].unique()):
        rows = best[best["aim"] == aim].set_index("rig", drop=False)
        compare(
            f"#best-{at} td[data-key]", lambda cell, rows=rows: rows.loc[int(cell.get_attribute("data-rig"))]
        )
    compare(
        "#winds-table td[data-key]", lambda cell: conditions.loc[int(cell.get_attribute("data-condition"))]
    )
    own = effects[effects["aim"] == "upwind"]
    compare(
        "#effects-table td[data-key]",
        lambda cell: own[
            (own["factor"] == cell.get_attribute("data-factor"))
            & np.isclose(own["value"], float(cell.get_attribute("data-value")))
        ].iloc[0],
    )
    compare(
        "#shares-table td[data-key]",
        lambda cell: shares[
            (shares["aim"] == cell.get_attribute("data-aim"))
            & (shares["factor"] == cell.get_attribute("data-factor"))
        ].iloc[0],
    )
    assert compared > 150


def test_sentences_are_those_of_the_summary(file: Path, opened: Open) -> None:
    found = opened(file)
    told = (file.parent / "summary.txt").read_text(encoding="utf-8").splitlines()
    shown = found.text("#short")
    assert all(sentence in shown for sentence in told[1:-1])
    assert found.text("footer .caution") == told[-1]


def test_another_aim_changes_shares_and_effects(file: Path, opened: Open) -> None:
    found = opened(file)
    before = found.page.get_attribute("#shares", "aria-label")
    found.page.select_option("#aim", label="at 60 deg")
    assert found.page.get_attribute("#shares", "aria-label") != before
    assert "at 60 deg" in str(found.page.get_attribute("#effect-1", "aria-label"))


def test_the_map_is_of_what_is_chosen(file: Path, opened: Open, found: Sweep) -> None:
    page = opened(file)
    for label in ("all conditions", "TWS 14 kn, TWA 60 deg"):
        page.page.select_option("#target", label=label)
        assert page.text("#map-section .chosen").startswith(f"{label}, over luff and keel")
        assert label in str(page.page.get_attribute("#map", "aria-label"))
    # two factors that would be the same change places
    page.page.select_option("#across", label="keel, m")
    assert page.page.input_value("#up") == "0"
    page.page.select_option("#target", label="upwind")
    page.page.locator("summary", has_text="Map as a table").click()
    corner = page.text("#map-table tbody tr:last-child td:nth-child(2)")
    assert number(corner) == pytest.approx(found.predict("upwind", luff_m=0.0, keel_m=1.4), abs=0.0051)
    assert f"off by {found.surrogates[0].rms:.2g}" in page.text("#map-help")


def test_a_condition_has_the_gain_of_its_rigs(file: Path, opened: Open, found: Sweep) -> None:
    """Through a rig a map has the gain of that rig."""
    page = opened(file)
    script = "(rig) => predictAt(targets[targets.length - 1], places[data.rigs.rig.indexOf(rig)]).gain"
    gain = 100.0 * (found.made_good_kn[:, -1] / found.reference_kn[-1] - 1.0)
    for rig in (0, 17, 40):
        assert page.page.evaluate(script, rig) == pytest.approx(gain[rig], abs=1e-5)


def test_a_tap_reads_the_rig_that_is_touched(file: Path, opened: Open, found: Sweep) -> None:
    page = opened(file)
    for rig in (5, 23):
        tap(page.page, "#front .scatterlayer .trace:nth-child(1) path.point", rig)
        assert page.text("#reading thead th:first-child") == f"rig {rig}"
        shown = number(page.text("#reading-table td[data-key=gain_upwind_percent]").lstrip("\u25bc\u00a0"))
        assert shown == pytest.approx(found.gain_percent[rig, 0], abs=0.0051)
    page.page.click("#take")
    assert float(page.page.input_value("#try-0")) == pytest.approx(found.values[0][23], rel=1e-3)


def test_arrow_keys_go_along_the_front(opened: Open, browser: Any, tmp_path: Path) -> None:
    found = sweeps.result(tmp_path, rigs=32)
    # what one aim gains the other loses
    found.gain_percent[:, 1] = -found.gain_percent[:, 0]
    page = opened(page_of(found, tmp_path / "sweep.html"))
    page.page.focus("#front")
    assert page.text("#reading thead th:first-child") == f"rig {found.front[0]}"
    page.page.keyboard.press("ArrowLeft")
    assert page.text("#reading thead th:first-child") == f"rig {found.front[1]}"
    assert f"Rig {found.front[1]}:" in page.text("#status")
    page.page.keyboard.press("ArrowRight")
    page.page.keyboard.press("ArrowRight")
    assert page.text("#reading thead th:first-child") == f"rig {found.front[0]}"


def test_predictions_are_those_of_the_results(file: Path, opened: Open, found: Sweep) -> None:
    page = opened(file)
    for luff, keel in ((0.2, 1.55), (0.0, 1.4), (0.6, 1.6), (0.4321, 1.5), (0.317, 1.4711)):
        try_values(page.page, luff, keel)
        for aim in found.aims:
            expected = found.predict(aim, luff_m=luff, keel_m=keel)
            assert predicted(page.page, aim) == pytest.approx(expected, rel=1e-9)
    shown = page.page.locator("#try tbody tr").first.locator("td").all_inner_texts()
    assert shown[1:] == [f"{value:.2g}" for value in (found.surrogates[0].rms, found.surrogates[0].largest)]
    assert page.complaints == []


@pytest.mark.parametrize("kind", ["sobol", "grid"])
def test_predictions_through_the_nearest_rigs_are_those_of_the_results(
    kind: str, opened: Open, browser: Any, tmp_path: Path
) -> None:
    """Of more rigs than a surrogate goes through at once; on a grid many are as far away as each other."""
    given: dict[str, Any] = {"rigs": 300}
    if kind == "grid":
        given = {
            "rigs": None,
            "luff": "least = 0.0\ngreatest = 0.6\nsteps = 21",
            "keel": f"{KEEL}\nsteps = 15",
        }
    found = sweeps.result(tmp_path, kind=kind, chunk=64, **given)
    page = opened(page_of(found, tmp_path / "sweep.html"))
    for luff, keel in ((0.2, 1.55), (0.3, 1.5), (0.0, 1.4), (0.4321, 1.5), (0.317, 1.4711), (0.15, 1.45)):
        try_values(page.page, luff, keel)
        expected = found.predict("upwind", luff_m=luff, keel_m=keel)
        assert predicted(page.page, "upwind") == pytest.approx(expected, rel=1e-9)


def test_nothing_is_said_outside_the_ranges(file: Path, opened: Open) -> None:
    page = opened(file)
    for values in ((0.61, 1.5), (0.3, 1.39), ("", 1.5)):
        try_values(page.page, *values)
        assert np.isnan(predicted(page.page, "upwind"))
        assert page.text("#try-refused").startswith("Nothing is said: ")
    assert page.text("#try-refused") == "Nothing is said: luff is outside 0 to 0.6 m."
    try_values(page.page, 0.3, 1.5)
    assert not page.page.locator("#try-refused").is_visible()


def test_the_slider_keeps_to_the_range(file: Path, opened: Open) -> None:
    page = opened(file)
    page.page.focus("#slide-0")
    page.page.keyboard.press("End")
    assert float(page.page.input_value("#try-0")) == 0.6
    page.page.keyboard.press("Home")
    assert float(page.page.input_value("#try-0")) == 0.0
    assert not np.isnan(predicted(page.page, "upwind"))


def test_nothing_is_said_where_the_nearest_rig_has_no_result(
    opened: Open, browser: Any, tmp_path: Path
) -> None:
    found = sweeps.result(tmp_path, rigs=64, chunk=32, also=[("[8.0, 14.0]", "[8.0, 22.0]")])
    page = opened(page_of(found, tmp_path / "sweep.html"))
    said = 0
    for luff in np.linspace(0.3, 0.6, 13):
        try_values(page.page, luff, 1.5)
        expected = found.predict("upwind", luff_m=float(luff), keel_m=1.5)
        assert predicted(page.page, "upwind") == pytest.approx(expected, rel=1e-9, nan_ok=True)
        said += not np.isnan(expected)
    assert 3 < said < 12
    assert "the nearest rig has no result" in page.text("#try")
    assert "No equilibrium at .. m" in page.text("#failures")
    assert "No shares of the variance" in page.text("#no-shares")
    assert "Crosses" in page.text("#map-help")
    assert page.complaints == []


def test_options_among_the_factors_have_effects_and_no_map(
    opened: Open, browser: Any, tmp_path: Path
) -> None:
    option = [
        ('name = "keel_m"', 'name = "crew"'), ("fin.keel.span_m", "option"),
        (KEEL, 'values = ["base", "more_crew"]'),
    ]  # fmt: skip
    page = opened(page_of(sweeps.result(tmp_path, rigs=16, also=option), tmp_path / "sweep.html"), width=400)
    assert page.complaints == []
    assert "a factor is the option" in page.text("#no-map")
    assert "Nothing can be tried" in page.text("#try-section")
    assert not page.page.locator("#take").is_visible()
    assert page.page.locator("#effect-1 path.point").count() == 2


def test_tab_reaches_every_control_with_a_visible_focus(file: Path, opened: Open) -> None:
    found, seen = opened(file), []
    for _ in range(60):
        found.page.keyboard.press("Tab")
        told = found.page.evaluate(
            "() => [document.activeElement.id, getComputedStyle(document.activeElement).outlineStyle]"
        )
        seen.append(told[0])
        assert told[1] != "none", told
        if told[0] == "failures":
            break
    order = ["best-0", "best-2", "aim", "target", "across", "up", "front", "take"]
    order += ["try-0", "slide-0", "try-1", "slide-1", "failures"]
    assert [name for name in seen if name in order] == order


def test_paper_has_no_empty_page(file: Path, opened: Open) -> None:
    pdf = opened(file).page.pdf(format="A4")
    pages = re.findall(rb"/Type /Page\b.*?endobj", pdf, re.DOTALL)
    assert 2 < len(pages) < 7
    # a page without words has no font
    assert all(b"/Font" in page for page in pages)


@pytest.mark.parametrize("name", [name for name in HOSTILE if "'" not in name])
def test_names_do_nothing(opened: Open, browser: Any, tmp_path: Path, name: str) -> None:
    found = sweeps.result(tmp_path, rigs=16, also=[('"Luff and keel"', f"'{name}'")])
    page = opened(page_of(found, tmp_path / "<sweep>.html"), width=400)
    assert page.page.locator("img, script[src], iframe, b").count() == 0
    assert page.text("h1") == name
    assert page.page.evaluate("document.documentElement.scrollWidth") <= 400
    assert page.complaints == []


def test_text_stands_out(file: Path, opened: Open) -> None:
    """At least 4.5 to 1 between words and their ground (Web Content Accessibility Guidelines 2.1, 1.4.3)."""
    ratios = opened(file).page.evaluate(CONTRASTS)
    assert len(ratios) > 100
    assert min(ratios, key=lambda pair: pair[0])[0] >= 4.5
