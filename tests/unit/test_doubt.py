"""Paired draws of a keelboat: followed as well as searched, failures kept, and what tables and words say."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from tests.support import doubtful
from tests.support.solved_once import solved_once
from vpp import doubt_following, load
from vpp.compare import NothingToCompare
from vpp.doubt import NoDoubt, _shared_out, doubt
from vpp.doubt_following import FAILED, FOLLOWED, NO_NOMINAL, SOLVED, Task
from vpp.solver.status import Status

OPTIONS = ("long_luff", "twin")


@pytest.fixture(scope="module", autouse=True)
def _solved_once():
    """What is drawn around: boats without draws. And the draws that are searched for in full."""
    with solved_once("vpp.doubt"):
        yield


@pytest.fixture(scope="module")
def boat_file(tmp_path_factory):
    return load(doubtful.write(tmp_path_factory.mktemp("doubt")))


def find(boat_file, **asked):
    usual = {"tws_kn": (12.0,), "options": OPTIONS, "draws": 32, "defaults": False, "checked": 1}
    return doubt(boat_file, **{**usual, **asked})


@pytest.fixture(scope="module")
def found(boat_file):
    return find(boat_file)


def test_an_option_equal_to_the_base_gains_nothing_in_any_draw(found):
    twin = found.options.index("twin")
    assert np.abs(found.gain_kn[twin]).max() < 1e-9
    assert found.made_good_kn[0].std(axis=-1).min() > 0.01
    assert np.isnan(found.share_of_sign()[twin]).all()
    assert all(found.is_narrow(twin, at) for at in range(len(found.conditions)))


def test_followed_draws_are_what_a_whole_search_finds(found):
    both, searching, following, largest = found.checks
    assert both == 3 * len(found.conditions)
    assert (searching, following) == (0, 0)
    # the sails' effect on each other is taken along parabolas: a thousandth of a knot would be too much
    assert largest < 1e-4
    assert found.failed == 0
    assert all((each.how == FOLLOWED).all() for each in found.drawn)


def test_the_nominal_gain_lies_in_its_band_and_bands_are_in_order(found):
    frame = found.to_frame()
    row = frame[(frame["option"] == "long_luff") & (frame["aim"] == "upwind")].iloc[0]
    percents = [row[f"gain_{percent}_percent_kn"] for percent in (5, 10, 50, 90, 95)]
    assert percents == sorted(percents)
    assert percents[0] < row["gain_kn"] < percents[-1]
    assert row["same_sign_percent"] == 100.0
    assert row["draws"] == 32
    assert row["failed_draws"] == 0
    assert row["branch_differs_percent"] == 0.0


def test_what_drives_the_doubt_is_what_an_option_has_to_do_with(found):
    frame = found.inputs()
    of = frame[(frame["option"] == "long_luff") & (frame["aim"] == "upwind")].set_index("input")
    assert (of["explained_percent"] > 90.0).all()
    # a luff that closes the gap: its worth goes with how open the gap was
    assert of["total_percent"].idxmax() == "gap"
    assert of["first_percent"].sum() <= 100.0 + 1e-6
    assert (of["total_percent"] >= of["first_percent"] - 1e-9).all()


def test_the_same_seed_gives_the_same_answers_in_more_processes(boat_file, found):
    again = find(boat_file, checked=0, processes=2)
    assert np.array_equal(again.made_good_kn, found.made_good_kn)
    assert np.array_equal(again.places, found.places)


def task(conditions):
    return Task(
        movable=None, option="base", inputs=(), places=np.zeros((4, 0)), solved=None, conditions=conditions
    )


def test_tasks_that_are_left_over_are_cut_by_conditions():
    tasks = [task(np.arange(6 * at, 6 * at + 5)) for at in range(3)]
    shared = _shared_out(tasks, 2)
    assert [each.conditions.tolist() for each in shared] == [
        [0, 1, 2, 3, 4],
        [6, 7, 8, 9, 10],
        [12, 13, 14],
        [15, 16],
    ]
    assert _shared_out(tasks, 1) == tasks


def test_sentences_say_how_sure_what_drives_it_and_what_it_rests_on(found):
    told = found.in_words()
    upwind = next(each for each in told if each.startswith("long_luff is faster upwind"))
    assert "in all 32 draws" in upwind
    assert "what drives the doubt: gap" in upwind
    assert any(each.startswith("twin") and "no basis for a decision" in each for each in told)
    assert any("32 draws of 3 inputs (0 of them by default), seed 1" in each for each in told)
    assert any(
        "Checked in 9 draws of a boat in a condition: a whole search found a faster optimum in 0;" in each
        for each in told
    )


def test_every_draw_is_in_the_tables_with_its_changes(found):
    draws, values = found.draws(), found.values()
    assert len(draws) == 3 * 3 * 32
    assert set(draws["found"]) == {FOLLOWED}
    assert len(values) == 32
    assert values["windage_change_percent"].abs().max() <= 30.0
    assert values["gap_change_percent"].between(-20.0, 20.0).all()
    base = draws[(draws["option"] == "base") & (draws["aim"] == "upwind")]
    # more windage is slower upwind
    assert np.corrcoef(base["made_good_kn"], values["windage_change_percent"])[0, 1] < -0.8


def test_draws_without_a_result_are_counted_and_left_out_of_the_bands(found):
    base = found.drawn[0]
    made_good, how = base.made_good_kn.copy(), base.how.copy()
    made_good[0, :4], how[0, :4] = np.nan, FAILED
    reasons = {(0, draw): f"mass.x: {draw} kg is too heavy" for draw in range(4)}
    failing = replace(
        found, drawn=(replace(base, made_good_kn=made_good, how=how, reasons=reasons), *found.drawn[1:])
    )
    frame = failing.to_frame()
    first = frame.iloc[0]
    assert (first["draws"], first["failed_draws"]) == (28, 4)
    assert failing.failed == 4
    assert failing.reasons() == {"mass.x: .. kg is too heavy": 4}
    kept = found.gain_kn[0, 0, 4:]
    assert first["gain_50_percent_kn"] == pytest.approx(np.median(kept))
    assert "4 of 32 draws without a gain" in failing.sentence(0, 0)
    assert failing.draws()["reason"].str.contains("too heavy").sum() == 4


def test_a_draw_that_the_boat_file_refuses_fails_with_the_reason(tmp_path):
    # a keel that is heavier by half sinks the hull past what its drawing stands for
    ranges = '\n[[uncertainty]]\nname = "keel"\nkey = "mass.keel.mass_kg"\nplus_minus_percent = 60.0\n'
    found = find(
        load(doubtful.write(tmp_path, ranges)), options=("twin",), draws=16, checked=0, twa_deg=(60.0,)
    )
    assert 0 < found.failed < found.made_good_kn.size
    why = next(iter(found.reasons()))
    assert "hull and fins displace" in why
    both = np.isfinite(found.gain_kn)
    assert np.array_equal(both[0, 0], np.isfinite(found.made_good_kn[0, 0]))
    assert (found.drawn[0].how == FAILED).sum() == (~both[0]).sum()


def undecided(work, *given, **named):
    answer = work(*given, **named)
    answer.status[:1] = Status.STEP_LIMIT
    return answer


def test_what_cannot_be_followed_is_searched_for(boat_file, found, monkeypatch):
    followed = found.made_good_kn[[0, 1 + found.options.index("twin")]]
    for name in ("follow_cases", "minimise"):
        real = getattr(doubt_following, name)
        monkeypatch.setattr(doubt_following, name, partial(undecided, real))
    searched = find(boat_file, options=("twin",), checked=0)
    # a draw of the angle and one of a best VMG, of both boats
    assert searched.solved_in_full == 4
    assert searched.failed == 0
    assert searched.made_good_kn == pytest.approx(followed, abs=1e-4)
    assert set(searched.drawn[0].how[0, :1]) == {SOLVED}
    assert set(searched.drawn[0].how[0, 1:]) == {FOLLOWED}


def test_last_steps_that_were_longer_than_expected_are_confirmed(boat_file, found, monkeypatch):
    """With ends that are far too early the answers do not close, which is seen and mended."""
    followed = found.made_good_kn[[0, 1 + found.options.index("twin")]]
    judged, mended = doubt_following.judged, []

    def noted(problem, answer):
        early = answer.optimality_error.copy()
        said = judged(problem, answer)
        mended.append(int((answer.optimality_error < early).sum()))
        return said

    monkeypatch.setattr(doubt_following, "judged", noted)
    monkeypatch.setattr(doubt_following, "_UNCONFIRMED", 1e-2)
    hasty = find(boat_file, options=("twin",), checked=0)
    assert sum(mended) > 20
    assert hasty.failed == 0
    assert hasty.made_good_kn == pytest.approx(followed, abs=1e-5)


def test_where_the_nominal_boat_fails_its_draws_say_so(boat_file):
    # best VMG is not looked for closer to the wind than 20 deg, and at 10 deg no boat sails
    found = find(boat_file, options=("twin",), draws=16, checked=0, twa_deg=(10.0,))
    frame = found.to_frame()
    assert np.isnan(frame["gain_kn"][0])
    assert (frame["draws"][0], frame["failed_draws"][0]) == (0, 16)
    assert next(iter(found.reasons())).startswith(NO_NOMINAL)
    assert found.sentence(0, 0) == "twin at 10 deg in 12 kn: no draw has a gain."
    assert frame["draws"][1] == 16


def test_nothing_to_compare_and_nothing_in_doubt_are_refused(boat_file, tmp_path):
    with pytest.raises(NothingToCompare):
        find(boat_file, options=("base",))
    with pytest.raises(NoDoubt):
        find(load(doubtful.write(tmp_path, "")), options=("twin",))
