"""Gains, leaders and crossovers, on invented results."""

from __future__ import annotations

import importlib
from dataclasses import replace

import numpy as np
import pytest

from tests.support import synthetic
from vpp.compare import Comparison, NothingToCompare, compare, find_crossovers, is_small, say_gains
from vpp.polar import polar
from vpp.reporting import EMPTY
from vpp.solver.status import Status


@pytest.fixture(autouse=True)
def _invented_results(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.import_module("vpp.polar"), "solve", synthetic.solve)


@pytest.fixture
def comparison() -> Comparison:
    return compare(
        synthetic.make_boat_file(), tws_kn=(6.0, 12.0, 18.0, 24.0), twa_deg=(30.0, 60.0, 90.0, 160.0)
    )


def test_gain_table_has_a_row_for_every_option_and_condition(comparison: Comparison) -> None:
    gain = comparison.gain_frame()
    assert list(gain.columns) == [
        "option", "tws_kn", "twa_deg", "aim", "gain_kn", "gain_percent", "base_twa_deg", "base_kn",
        "option_kn", "base_status", "option_status", "base_branch", "option_branch", "base_remark",
        "option_remark",
    ]  # fmt: skip
    assert len(gain) == 3 * 4 * 6
    assert set(gain["option"]) == {"taller_rig", "lower_foot", "cut_head"}


def test_gain_is_the_difference_of_speeds_under_equal_conditions(comparison: Comparison) -> None:
    gain = comparison.gain_frame()
    row = gain[(gain["option"] == "taller_rig") & (gain["tws_kn"] == 12.0) & (gain["twa_deg"] == 60.0)].iloc[
        0
    ]
    wind = (np.array([12.0]), np.array([60.0]))
    base = synthetic.boat_speed_kn("base", *wind)[0]
    option = synthetic.boat_speed_kn("taller_rig", *wind)[0]
    assert row["gain_kn"] == pytest.approx(option - base, abs=1e-12)
    assert row["gain_percent"] == pytest.approx(100.0 * (option / base - 1.0), abs=1e-10)


def test_gain_in_vmg_is_positive_for_the_faster_boat_both_ways(comparison: Comparison) -> None:
    # the invented taller rig is faster on every run, and in light air upwind
    gain = comparison.gain_frame()
    taller = gain[gain["option"] == "taller_rig"]
    assert (taller.loc[taller["aim"] == "downwind", "gain_kn"] > 0.0).all()
    upwind = taller[taller["aim"] == "upwind"]
    assert upwind["gain_kn"].iloc[0] > 0.0 > upwind["gain_kn"].iloc[-1]
    assert (upwind["base_kn"] > 0.0).all()


def test_gain_is_missing_unless_both_converged(comparison: Comparison) -> None:
    gain = comparison.gain_frame()
    both_failed = gain[(gain["tws_kn"] == 18.0) & (gain["twa_deg"] == 30.0)]
    assert both_failed["gain_kn"].isna().all()
    assert set(both_failed["base_status"]) == {"no_equilibrium"}
    one = gain[(gain["option"] == "cut_head") & (gain["tws_kn"] == 24.0) & (gain["twa_deg"] == 160.0)].iloc[0]
    assert np.isnan(one["gain_kn"])
    assert (one["base_status"], one["option_status"]) == ("converged", "step_limit")
    assert comparison.missing_count("cut_head") == comparison.missing_count("taller_rig") + 1
    assert int(gain["gain_kn"].isna().sum()) == sum(
        comparison.missing_count(n) for n in comparison.alternatives
    )


def test_result_that_leans_on_a_limit_is_not_compared(comparison: Comparison) -> None:
    solved = comparison.polar.solved
    status = solved.status.copy()
    status[1] = int(Status.LIMIT_REACHED)  # base, 6 kn, 60 deg
    leaning = Comparison(polar=replace(comparison.polar, solved=replace(solved, status=status)))
    gain = leaning.gain_frame()
    rows = gain[(gain["tws_kn"] == 6.0) & (gain["twa_deg"] == 60.0)]
    assert rows["gain_kn"].isna().all()


def test_best_option_and_its_margin(comparison: Comparison) -> None:
    best = comparison.best_frame()
    assert len(best) == 4 * 6
    row = best[(best["tws_kn"] == 12.0) & (best["twa_deg"] == 160.0)].iloc[0]
    wind = (np.array([12.0]), np.array([160.0]))
    speeds = {name: synthetic.boat_speed_kn(name, *wind)[0] for name in comparison.polar.options}
    first, second = sorted(speeds, key=lambda name: -speeds[name])[:2]
    assert (row["option"], row["runner_up"]) == (first, second)
    assert row["margin_kn"] == pytest.approx(speeds[first] - speeds[second], abs=1e-12)
    assert row["compared_count"] == 4


def test_best_option_counts_missing_boats_and_is_empty_without_any(comparison: Comparison) -> None:
    best = comparison.best_frame()
    without = best[(best["tws_kn"] == 24.0) & (best["twa_deg"] == 160.0)].iloc[0]
    assert (without["compared_count"], without["missing_count"]) == (3, 1)
    none = best[(best["tws_kn"] == 24.0) & (best["twa_deg"] == 30.0)].iloc[0]
    assert (none["option"], none["runner_up"], none["missing_count"]) == ("", "", 4)
    assert np.isnan(none["margin_kn"])


def test_equal_boats_are_led_by_the_earlier_option() -> None:
    base = synthetic.make_boat_file(options=False)
    solved = polar(base, tws_kn=(10.0,), twa_deg=(90.0,))
    force = replace(
        solved,
        options=("base", "copy"),
        solved=synthetic.solve(
            (base.boats[0], base.boats[0]),
            replace(
                solved.solved.conditions,
                option=np.repeat([0, 1], 3),
                tws=np.tile(solved.solved.conditions.tws, 2),
                twa=np.tile(solved.solved.conditions.twa, 2),
                aim=np.tile(solved.solved.conditions.aim, 2),
            ),
        ),
    )
    best = Comparison(polar=force).best_frame()
    assert list(best["option"]) == ["base"] * 3
    assert list(best["margin_kn"]) == [0.0] * 3


def test_reach_is_the_angle_nearest_to_the_beam(comparison: Comparison) -> None:
    assert comparison.reach_deg == 90.0
    narrow = compare(synthetic.make_boat_file(), tws_kn=(10.0,), twa_deg=(30.0, 40.0))
    assert narrow.reach_deg is None
    with pytest.raises(ValueError, match="no reach"):
        narrow.reach_gain_kn("taller_rig")
    assert "TWA" not in narrow.summary()[0]
    assert narrow.notes() == ("no reach compared: no angle of the grid lies from 70 to 130 deg",)


@pytest.mark.parametrize(
    ("twa_deg", "reach"),
    [((69.0, 131.0), None), ((70.0,), 70.0), ((130.0,), 130.0), ((60.0, 80.0, 100.0, 120.0), 80.0)],
)
def test_reach_lies_from_70_to_130_deg_and_is_the_smaller_of_two(
    twa_deg: tuple[float, ...], reach: float | None
) -> None:
    found = compare(synthetic.make_boat_file(), tws_kn=(10.0,), twa_deg=twa_deg)
    assert found.reach_deg == reach
    assert bool(found.reach_note) == (reach is None)


def test_crossover_lies_where_a_straight_line_meets_zero() -> None:
    gain = np.array([0.06, 0.02, -0.06, -0.10])
    (found,) = find_crossovers(tws_kn=(6.0, 8.0, 10.0, 12.0), gain_kn=gain, option="a", aim="upwind")
    assert (found.below_kn, found.above_kn) == (8.0, 10.0)
    assert found.tws_kn == pytest.approx(8.5)
    assert not found.gain_above


def test_level_and_missing_winds_widen_the_bracket_of_a_crossover() -> None:
    gain = np.array([-0.05, -0.001, np.nan, 0.003, 0.05])
    (found,) = find_crossovers(tws_kn=(6.0, 8.0, 10.0, 12.0, 14.0), gain_kn=gain, option="a", aim="upwind")
    assert (found.below_kn, found.above_kn) == (6.0, 14.0)
    assert found.tws_kn == pytest.approx(9.0)
    assert found.gain_above


@pytest.mark.parametrize(
    "gain", [[0.05, 0.002, 0.04], [0.004, -0.004, 0.004], [np.nan] * 3, [0.05, -0.003, np.nan]]
)
def test_wobble_around_level_is_no_crossover(gain: list[float]) -> None:
    assert find_crossovers(tws_kn=(6.0, 8.0, 10.0), gain_kn=np.array(gain), option="a", aim="upwind") == ()


@pytest.mark.parametrize(
    ("gain", "said"),
    [
        (
            [0.04, 0.001, -0.05],
            "+0.04 kn VMG (0.8 %) at 6 kn, level at 14 kn, -0.05 kn (1.0 %) at 24 kn",
        ),
        ([0.001, -0.002, 0.0], "level"),
        ([np.nan] * 3, "not compared"),
        ([np.nan, 0.03, np.nan], "+0.03 kn VMG (0.6 %) at 14 kn"),
        ([np.nan, 0.0, np.nan], "level at 14 kn"),
    ],
)
def test_gains_in_words(gain: list[float], said: str) -> None:
    # percent of a base that makes good 5 kn
    percent, inside = np.array(gain) / 5.0 * 100.0, np.zeros(3, dtype=bool)
    winds = (6.0, 14.0, 24.0)
    assert say_gains(winds, np.array(gain), gain_percent=percent, extended=inside, unit="kn VMG") == said


def test_gains_in_words_mark_extended_hull_resistance() -> None:
    gain = np.array([0.04, 0.001, -0.05])
    said = say_gains(
        (6.0, 14.0, 24.0),
        gain,
        gain_percent=20.0 * gain,
        extended=np.array([False, True, True]),
        unit="kn VMG",
    )
    assert said == "+0.04 kn VMG (0.8 %) at 6 kn, level~ at 14 kn, -0.05~ kn (1.0 %) at 24 kn"


@pytest.mark.parametrize(
    ("gain", "small"),
    [
        # percent of 5 kn: 0.8 and 1.2; 0.8 and 0.6; 0.96, which is shown as 1.0; level; none
        ([0.04, np.nan, 0.06], False),
        ([0.04, np.nan, -0.03], True),
        ([0.04, np.nan, 0.048], False),
        ([0.001, 0.002, 0.001], False),
        ([np.nan] * 3, False),
        # the large gain lies at a wind that the sentence does not name
        ([0.04, 0.04, 0.3, 0.04], True),
    ],
)
def test_gains_below_one_percent_are_no_basis_for_a_decision(gain: list[float], small: bool) -> None:
    gains = np.array(gain)
    assert is_small(gains, gain_percent=20.0 * gains) is small


def test_summary_says_gain_loss_crossover_and_what_is_missing(comparison: Comparison) -> None:
    taller, lower, cut = comparison.summary()
    gain = comparison.gain_frame()
    first = gain[(gain["option"] == "taller_rig") & (gain["aim"] == "upwind")].iloc[0]
    share = f"{first['gain_percent']:.1f} %"
    assert taller.startswith(f"taller_rig: upwind +0.02 kn VMG ({share}) at 6 kn")
    crossing = comparison.crossovers()[0].tws_kn
    assert f"the gain turns into a loss between 6 and 12 kn (about {crossing:.0f} kn)" in taller
    assert "turns into" not in lower
    assert "a loss turns into a gain between" in cut
    assert "3 conditions not compared for want of a result." in cut


def test_phrase_with_small_gains_alone_says_so(comparison: Comparison) -> None:
    # the invented foot gains 1.0 to 0.6 % everywhere, the rig 1.6 % downwind
    _, lower, _ = comparison.summary()
    small = ": below 1 %, no basis for a decision by itself"
    upwind, downwind, reach, missing = comparison.phrases("lower_foot")
    assert downwind.endswith(small)
    assert reach.endswith(small)
    assert lower == f"lower_foot: {upwind}; {downwind}; {reach}; {missing}."
    assert small not in comparison.phrases("taller_rig")[1]


def test_gain_is_marked_when_either_condition_rests_on_extended_hull_resistance(
    comparison: Comparison,
) -> None:
    solved = comparison.polar.solved
    remark = solved.remark.copy()
    beyond = "hull resistance extended past Fn 0.45"
    # rows run over 4 options, 4 winds and 4 angles followed by upwind and downwind
    remark[2] = beyond  # base, 6 kn, 90 deg
    remark[24 + 6 + 4] = beyond  # taller_rig, 12 kn, upwind
    marked = Comparison(polar=replace(comparison.polar, solved=replace(solved, remark=remark)))
    extended = marked.gain_extended()
    assert extended[:, 0, 2].all()
    assert list(extended[:, 1, 4]) == [False, True, False, False]
    assert int(extended.sum()) == 5
    gain, best = marked.gain_frame(), marked.best_frame()
    reach = gain[(gain["tws_kn"] == 6.0) & (gain["twa_deg"] == 90.0)]
    assert set(reach["base_remark"]) == {beyond}
    assert set(reach["option_remark"]) == {""}
    upwind = gain[(gain["tws_kn"] == 12.0) & (gain["aim"] == "upwind")]
    assert list(upwind["option_remark"]) == [beyond, "", ""]
    assert list(best["extended_count"]) == [
        int(row["twa_deg"] == 90.0 and row["tws_kn"] == 6.0)
        + int(row["aim"] == "upwind" and row["tws_kn"] == 12.0)
        for _, row in best.iterrows()
    ]
    assert best["base_remark"][2] == beyond
    assert best["option_remark"][2] == (beyond if best["option"][2] == "base" else "")
    assert "~ kn" in marked.summary()[0]
    assert marked.notes() == ("~ hull resistance extended past the data: 2 of 96 conditions",)


def test_missing_gain_is_not_marked(comparison: Comparison) -> None:
    solved = comparison.polar.solved
    remark = np.full(len(solved.status), "hull resistance extended past Fn 0.45", dtype=object)
    marked = Comparison(polar=replace(comparison.polar, solved=replace(solved, remark=remark)))
    np.testing.assert_array_equal(marked.gain_extended(), np.isfinite(comparison.gain_kn()))


def test_comparison_tells_in_a_line_what_it_is(comparison: Comparison) -> None:
    assert repr(comparison) == (
        "Comparison(demo_keelboat.toml: taller_rig, lower_foot, cut_head against base; "
        "96 conditions, 87 converged)"
    )


def test_file_without_options_cannot_be_compared() -> None:
    with pytest.raises(NothingToCompare, match="no option beside the base"):
        compare(synthetic.make_boat_file(options=False))
    with pytest.raises(NothingToCompare):
        compare(synthetic.make_boat_file(), options=("base",))


def test_sails_that_nothing_fills_are_counted_in_a_note(comparison: Comparison) -> None:
    solved = comparison.polar.solved
    assert not any("filled" in note for note in comparison.notes())
    remark = solved.remark.copy()
    remark[:3] = EMPTY.format(sail="jib")
    with_it = Comparison(polar=replace(comparison.polar, solved=replace(solved, remark=remark)))
    assert with_it.notes()[-1].startswith(f"In 3 of {len(remark)} conditions a sail is filled no more")
