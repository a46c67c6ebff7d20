"""The page of a report as text: whole, alone, and harmless whatever the names in it."""

from __future__ import annotations

import json
import re
import sys
from typing import Any

import numpy as np
import pytest

from tests.support.pages import LIBRARY, Elements
from tests.support.reported import HOSTILE, comparison_of, renamed
from vpp.libraries import MissingLibrary
from vpp.report import page
from vpp.report.content import budget, content, inputs_frame, subject
from vpp.report.page import report_html
from vpp.report.plotting import plotting_library
from vpp.report.shell import json_in_script
from vpp.results.files import CAUTION, csv_text
from vpp.results.variables import variable


@pytest.fixture
def without_library(monkeypatch: pytest.MonkeyPatch) -> None:
    """The page without its five megabytes."""
    monkeypatch.setattr(page, "plotting_library", lambda: LIBRARY)


@pytest.mark.usefixtures("without_library")
def test_page_is_whole_and_fetches_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    text = report_html(subject(*comparison_of(monkeypatch, options=["taller_rig"])))
    found = Elements(text)
    assert "@@" not in text
    assert LIBRARY in found.scripts[2]
    assert text.count(CAUTION) >= 2
    sources = [
        value for _, of in found.tags for key, value in of.items() if key in ("src", "href", "xlink:href")
    ]
    assert [value for value in sources if not str(value).startswith(("#", "data:"))] == []
    assert "default-src 'none'" in text
    # every drawing has names of its own for its parts
    names = [of["id"] for _, of in found.tags if "id" in of]
    assert len(names) == len(set(names))


@pytest.mark.usefixtures("without_library")
def test_names_make_no_element(monkeypatch: pytest.MonkeyPatch) -> None:
    boat_file, comparison = comparison_of(monkeypatch)
    plain = Elements(report_html(renamed(boat_file, comparison, ("a", "b", "c", "d"))))
    named = Elements(report_html(renamed(boat_file, comparison, HOSTILE)))
    assert {tag for tag, _ in named.tags} == {tag for tag, _ in plain.tags}
    assert len(named.scripts) == len(plain.scripts)
    assert not any(key.startswith("on") for _, of in named.tags for key in of)
    told = json.loads(named.scripts[0])
    assert [option["name"] for option in told["options"]] == list(HOSTILE)


def test_json_cannot_end_its_script() -> None:
    value = {"name": "</script><!--<script>&\u2028\u2029\U0001f600", "x": 0.1}
    text = json_in_script(value)
    assert not set("<>&\u2028\u2029") & set(text)
    assert json.loads(text) == value
    with pytest.raises(ValueError, match="JSON"):
        json_in_script({"x": float("nan")})


def test_numbers_are_those_of_the_table(monkeypatch: pytest.MonkeyPatch) -> None:
    boat_file, comparison = comparison_of(monkeypatch)
    told = content(subject(boat_file, comparison))
    frame = comparison.polar.to_frame()
    good = (frame["status"] == "converged").to_numpy()
    assert 0 < good.sum() < len(frame)
    for column in ("boat_speed_kn", "heel_deg", "righting_moment_nm"):
        shown = told["values"][column]
        assert [value is not None for value in shown] == good.tolist()
        known = [value for value in shown if value is not None]
        assert (
            np.abs(np.array(known) - frame.loc[good, column]).max()
            <= 0.5e-4 * 10.0 ** -variable(column).decimals
        )
    gain = comparison.gain_kn().ravel()
    count = len(told["made_good"]) // 4
    first = [
        (option, told["made_good"][count + at], told["made_good"][at])
        for at, option in enumerate(gain[count : 2 * count])
    ]
    for expected, one, base in first:
        assert (one is None or base is None) == bool(np.isnan(expected))
        if one is not None and base is not None:
            assert one - base == pytest.approx(expected, abs=2e-6)


def test_conditions_without_a_result_keep_their_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    about = subject(*comparison_of(monkeypatch))
    told, forces = content(about), budget(about)
    failed = [at for at, value in enumerate(told["values"]["boat_speed_kn"]) if value is None]
    assert told["missing_count"] == len(failed) > 0
    reason: dict[str, Any] = told["words"]["reason"]
    assert all(reason["texts"][reason["at"][at]].startswith("No equilibrium") for at in failed)
    assert all(forces["values"]["force_x_n"][at] is None for at in failed)
    assert sum(group["count"] for group in told["failures"]) == len(failed)
    assert told["extended"]


def test_inputs_are_all_of_the_base_and_what_options_change(monkeypatch: pytest.MonkeyPatch) -> None:
    boat_file, _ = comparison_of(monkeypatch)
    frame = inputs_frame(boat_file, ["base", "taller_rig"])
    assert frame.groupby("option").size().to_dict() == {"base": 5, "taller_rig": 1}
    changed = frame[frame["option"] == "taller_rig"].iloc[0]
    assert (changed["value"], changed["origin"]) == ("11.2", "option taller_rig, demo_keelboat.toml:90")
    assert csv_text(frame).startswith("option,key,value,unit,origin,description\n")


def test_missing_library_names_the_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "plotly.offline", None)
    with pytest.raises(MissingLibrary, match=re.escape("pip install 'vpp[report]'")):
        plotting_library()
