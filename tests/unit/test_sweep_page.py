"""The page of a study as text: whole, alone, harmless whatever its names, with the numbers of the tables."""

from __future__ import annotations

import json

import numpy as np
import pytest

from tests.support import sweeps
from tests.support.pages import LIBRARY, Elements
from tests.support.reported import HOSTILE
from vpp.report import sweep_content, sweep_page
from vpp.report.sweep_content import asked, closing, notes, page_rigs
from vpp.report.sweep_page import sweep_html
from vpp.results.files import CAUTION

pytest.importorskip("pyarrow", reason="tables of chunks need the extra sweep")

WINDS = ("[8.0, 14.0]", "[8.0, 22.0]")


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    return sweeps.result(tmp_path_factory.mktemp("study"), rigs=64, chunk=32)


@pytest.fixture(autouse=True)
def without_library(monkeypatch):
    """The page without its five megabytes."""
    monkeypatch.setattr(sweep_page, "plotting_library", lambda kinds: LIBRARY)


def told_on(text):
    return json.loads(Elements(text).scripts[0])


def test_page_is_whole_and_fetches_nothing(found):
    text = sweep_html(found)
    page = Elements(text)
    assert "@@" not in text
    assert LIBRARY in page.scripts[1]
    assert text.count(CAUTION) == 2
    sources = [value for _, of in page.tags for key, value in of.items() if key in ("src", "href")]
    assert [value for value in sources if not str(value).startswith(("#", "data:"))] == []
    assert "default-src 'none'" in text
    names = [of["id"] for _, of in page.tags if "id" in of]
    assert len(names) == len(set(names))


def test_sections_stand_in_the_order_in_which_they_are_asked(found):
    page = Elements(sweep_html(found))
    order = [of["aria-labelledby"] for tag, of in page.tags if tag == "section"]
    wanted = ("asked", "short", "best", "shares", "winds", "map", "front", "try", "failures")
    assert order == [f"h-{name}" for name in wanted]


def test_tables_are_those_of_the_files(found):
    tables = told_on(sweep_html(found))["tables"]
    frame = found.best_frame()
    assert [row["rig"] for row in tables["best"]] == frame["rig"].tolist()
    assert [row["behind_best_percent"] for row in tables["best"]] == frame["behind_best_percent"].tolist()
    worth = [row["worth_luff_m_kn"] for row in tables["conditions"]]
    assert worth == found.conditions_frame()["worth_luff_m_kn"].tolist()
    shares = [row["total_percent"] for row in tables["shares"]]
    assert shares == found.shares_frame()["total_percent"].tolist()


def test_the_sentences_are_those_of_the_summary(found):
    text = sweep_html(found)
    assert all(sentence in text for sentence in found.in_words())


def test_what_was_asked_is_said(found):
    told = "\n".join(asked(found))
    assert "Rigs depart from its option base; gains are over base" in told
    assert "8, 14 kn of true wind at TWA 60 deg, best VMG upwind: 4 for each rig" in told
    assert "64 of a scrambled Sobol sequence, seed 3. 64 have a result in every condition." in told
    assert f"Study digest {found.study.digest}, seed 3" in closing(found)[-1]


def test_rigs_without_a_result_are_counted_with_their_reason(tmp_path):
    found = sweeps.result(tmp_path, rigs=64, chunk=32, also=[WINDS])
    lost = int(np.isnan(found.gain_percent[:, 0]).sum())
    told = asked(found)
    assert any(f"{64 - lost} have a result in every condition; {lost} have not:" in line for line in told)
    assert any(f"  {lost} no_equilibrium: No equilibrium at .. m" in line for line in told)
    target = told_on(sweep_html(found))["targets"][0]
    assert len(target["lost"]) == lost
    assert len(target["among"]) == 64


def test_a_large_study_is_thinned_and_says_so(found, monkeypatch):
    monkeypatch.setattr(sweep_content, "MOST_RIGS", 8)
    monkeypatch.setattr(sweep_content, "MOST_AT_ONCE", 8)
    monkeypatch.setattr(sweep_content, "_MOST_MAPS", 2)
    # rigs that a surrogate goes through are all there
    assert len(page_rigs(found)) == 64
    told = notes(found)
    assert "Maps of single conditions go through 8 rigs" in told[0]
    assert told[1] == "Maps of single conditions are of 2 of 4, evenly over all."
    page = told_on(sweep_html(found))
    assert [len(target["holding"]) for target in page["targets"]] == [64, 64, 64, 0, 0]


def test_names_make_no_element(tmp_path):
    plain = Elements(sweep_html(sweeps.result(tmp_path / "plain", rigs=16)))
    name = ('"Luff and keel"', f"'{HOSTILE[0]}'")
    named = sweep_html(sweeps.result(tmp_path / "named", rigs=16, also=[name]))
    page = Elements(named)
    assert [tag for tag, _ in page.tags] == [tag for tag, _ in plain.tags]
    assert "<script>alert(1)" not in named
    assert "&lt;script&gt;alert(1)" in named


def test_an_option_among_the_factors_has_no_map_and_says_why(tmp_path):
    option = [
        ('name = "keel_m"', 'name = "crew"'), ("fin.keel.span_m", "option"),
        ("least = 1.4\ngreatest = 1.6", 'values = ["base", "more_crew"]'),
    ]  # fmt: skip
    told = told_on(sweep_html(sweeps.result(tmp_path, rigs=16, also=option)))
    assert {target["reason"] for target in told["targets"]} == {
        "a factor is the option, between which nothing lies"
    }
    assert told["factors"][1]["levels"] == ["base", "more_crew"]
    assert told["rigs"]["values"][1][0] in ("base", "more_crew")
