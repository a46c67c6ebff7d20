"""The page for a meeting: which boat is chosen, what is said of it, and how it looks, on invented results."""

from __future__ import annotations

import importlib
from dataclasses import replace

import numpy as np
import pytest

from tests.support import keelboat, synthetic
from tests.support.solved_once import solved_once
from vpp import load
from vpp.brief import Brief, NoBrief, Standing, brief, rows_of
from vpp.brief_plot import A4_MM, brief_figure, lines_within
from vpp.compare import Comparison, compare
from vpp.config import BoatFile
from vpp.rule_box import Limit, Verdict

WINDS = (6.0, 12.0, 18.0, 24.0)


@pytest.fixture
def invented(monkeypatch: pytest.MonkeyPatch) -> BoatFile:
    monkeypatch.setattr(importlib.import_module("vpp.polar"), "solve", synthetic.solve)
    return synthetic.make_boat_file()


@pytest.fixture
def comparison(invented: BoatFile) -> Comparison:
    return compare(invented, tws_kn=WINDS, twa_deg=(60.0, 90.0))


def told(comparison: Comparison, standings: tuple[Standing, ...], **changed: object) -> Brief:
    """A brief of given standings, without the parts that solve."""
    chosen = next(each.option for each in standings if not each.breaks)
    whole = Brief(
        comparison=comparison,
        question="Which?",
        standings=standings,
        chosen=chosen,
        counted=12,
        known=12,
        rows=rows_of(comparison),
        verdicts=(),
        explained=chosen,
        says="What it is",
        why_not="not solved here",
    )
    return replace(whole, **changed)  # type: ignore[arg-type]


def standings_of(invented: BoatFile, comparison: Comparison, monkeypatch: pytest.MonkeyPatch) -> Brief:
    """A brief whose gain is not split."""
    module = importlib.import_module("vpp.brief")
    monkeypatch.setattr(module, "_split", lambda *_: (None, "not solved here"))
    return brief(invented, comparison, draws=0)


def test_standings_are_mean_gains_over_best_vmgs_and_the_reach(
    invented: BoatFile, comparison: Comparison, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = standings_of(invented, comparison, monkeypatch)
    assert rows_of(comparison) == ("upwind", 90.0, "downwind")
    percent = comparison.gain_percent()[:, :, [comparison.place(row) for row in rows_of(comparison)]]
    percent = percent.reshape(len(comparison.polar.options), -1)
    known = np.asarray(np.isfinite(percent).all(axis=0))
    # the invented results lack some conditions on purpose
    assert (found.counted, found.known) == (len(known), int(known.sum()))
    for at, name in enumerate(comparison.polar.options):
        assert found.standing(name).mean_percent == pytest.approx(percent[at, known].mean())
    means = [each.mean_percent for each in found.standings]
    assert means == sorted(means, reverse=True)
    assert found.chosen == found.standings[0].option
    assert found.says == next(each.says for each in invented.boats if each.name == found.chosen)


def test_an_option_that_breaks_the_rule_box_is_not_chosen_and_is_named(
    invented: BoatFile, comparison: Comparison, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = standings_of(invented, comparison, monkeypatch)
    limit = Limit(name="mast", clause="2.2 mast", quantity="mast_height", greatest=1.0)
    broken = Verdict(option=plain.chosen, limit=limit, measured=2.0)
    monkeypatch.setattr(importlib.import_module("vpp.brief"), "verdicts", lambda *_: (broken,))
    found = standings_of(invented, comparison, monkeypatch)
    assert found.chosen == plain.standings[1].option
    assert any(f"{plain.chosen} would be faster" in said and '"2.2 mast"' in said for said in found.answer())


def test_the_headline_says_what_is_gained_and_when_that_is_no_basis(comparison: Comparison) -> None:
    best = Standing(option="taller_rig", mean_percent=2.34)
    small = Standing(option="taller_rig", mean_percent=0.4)
    base = Standing(option="base", mean_percent=0.0)
    over = "on average over best VMG upwind, a reach at 90 deg and best VMG downwind in 6 to 24 kn"
    assert told(comparison, (best, base)).headline == f"taller_rig: 2.3 % faster than base {over}."
    assert "no basis for a decision by itself" in told(comparison, (small, base)).headline
    assert told(comparison, (base, small)).headline == f"Keep base: no option is faster {over}."


def test_just_under_what_a_decision_asks_for_is_not_rounded_up_to_it(comparison: Comparison) -> None:
    almost = Standing(option="taller_rig", mean_percent=0.998)
    said = told(comparison, (almost, Standing(option="base", mean_percent=0.0))).headline
    assert "only 0.99 % faster" in said


def test_a_question_about_one_leg_is_judged_by_it_alone(
    invented: BoatFile, comparison: Comparison, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(importlib.import_module("vpp.brief"), "_split", lambda *_: (None, "not solved here"))
    found = brief(invented, comparison, legs=("downwind",), draws=0)
    assert found.rows == ("downwind",)
    gain = comparison.gain_percent()[:, :, comparison.place("downwind")]
    known = np.asarray(np.isfinite(gain).all(axis=0))
    best = int(np.argmax(gain[:, known].mean(axis=1)))
    assert found.chosen == comparison.polar.options[best]
    assert "on average over best VMG downwind in 6 to 24 kn" in found.headline
    with pytest.raises(NoBrief, match="no reach compared"):
        rows_of(compare(invented, tws_kn=WINDS, twa_deg=(40.0,)), ("reach",))


def test_rivals_that_are_faster_somewhere_are_named_with_their_winds(comparison: Comparison) -> None:
    """The invented taller rig is faster in light air upwind and slower in much."""
    names = ("base", "taller_rig")
    standings = tuple(Standing(option=name, mean_percent=1.0 - at) for at, name in enumerate(names))
    said = next(each for each in told(comparison, standings).answer() if each.startswith("It is not"))
    gain = comparison.vmg_gain_kn("taller_rig", aim="upwind")
    ahead = [wind for wind, value in zip(WINDS, gain, strict=True) if value >= 0.005]
    assert ahead
    assert ahead[0] == WINDS[0]
    span = f"{ahead[0]:g} kn" if len(ahead) == 1 else f"{ahead[0]:g} to {ahead[-1]:g} kn"
    assert f"upwind in {span} taller_rig by" in said


def test_without_a_condition_that_all_boats_have_there_is_no_brief(
    invented: BoatFile, comparison: Comparison
) -> None:
    solved = comparison.polar.solved
    nothing = replace(solved, status=np.full_like(solved.status, 1))
    for values in nothing.quantities.values():
        values[:] = np.nan
    empty = Comparison(polar=replace(comparison.polar, solved=nothing))
    with pytest.raises(NoBrief, match="compare fewer options, or other winds"):
        brief(invented, empty, draws=0)


def test_lines_fit_their_width_and_keep_units_with_numbers() -> None:
    text = "It gains upwind +0.06 to +0.08 kn, at 90 deg +0.05 to +0.09 kn in 8 to 12 kn of wind and 81 m²."
    lines = lines_within(text, room_mm=40.0, size=9.0)
    assert " ".join(lines) == text
    assert len(lines) > 2
    assert not any(line.split(" ")[0].strip(",.") in ("kn", "deg", "m²") for line in lines)
    assert lines_within("word", room_mm=1.0, size=9.0) == ["word"]
    assert lines_within("", room_mm=10.0, size=9.0) == []


def test_the_page_is_a4_and_all_its_text_is_on_it(comparison: Comparison) -> None:
    standings = tuple(
        Standing(option=name, mean_percent=-at) for at, name in enumerate(comparison.polar.options)
    )
    long = told(comparison, standings, question="Which of them, and is it worth its price? " * 4)
    figure = brief_figure(long)
    assert figure.get_size_inches() * 25.4 == pytest.approx(A4_MM)
    figure.canvas.draw()
    page = figure.bbox
    for text in figure.texts:
        box = text.get_window_extent()
        assert page.x0 <= box.x0 <= box.x1 <= page.x1
        assert page.y0 <= box.y0 <= box.y1 <= page.y1


def test_a_brief_of_the_keelboat_explains_and_doubts_its_choice() -> None:
    """The whole of it on the demo boat: the luff made longer gains, sure and by drive."""
    file = load(keelboat.FILE)
    with solved_once():
        comparison = compare(file, tws_kn=(12.0,), twa_deg=(90.0,), options=("long_luff", "cut_head"))
        found = brief(file, comparison, draws=16)
    assert found.chosen == found.explained == "long_luff"
    assert found.why is not None
    assert found.why.option == "long_luff"
    assert found.doubt is not None
    assert len(found.doubt.places) == 16
    assert found.doubt.share_of_sign() == pytest.approx(1.0)
    assert "holds in at least 90 % of the draws in 3 of 3 conditions" in " ".join(found.how_sure())
    assert found.what_matters()
    assert brief_figure(found).axes
