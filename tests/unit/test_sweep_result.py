"""What a study says: effects, shares of the variance, the surrogate, the front, best rigs."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RBFInterpolator

from tests.support import sweeps
from tests.support.keelboat import KNOT
from vpp import sweep_effects, sweep_plot
from vpp.sweep_result import blanked

pytest.importorskip("pyarrow", reason="tables of chunks need the extra sweep")


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    return sweeps.result(tmp_path_factory.mktemp("study"), rigs=128, chunk=32)


def law(luff, keel):
    """Gain [%] of the invented solver over a boat with no extension and a keel of 1.5 m."""
    return 100.0 * (0.05 * luff + 0.1 * luff * (keel - 1.5) - 0.2 * (keel - 1.5) ** 2)


def test_gains_are_over_the_boat_as_filed(found):
    luff, keel = (np.asarray(column, dtype=float) for column in found.values)
    assert found.gain_percent[:, 0] == pytest.approx(law(luff, keel), abs=1e-9)


def test_the_best_rigs_and_what_is_behind_them(found):
    best = found.best(0)
    assert best[0] == np.argmax(found.gain_percent[:, 0])
    frame = found.best_frame()
    first = frame[frame["aim"] == found.aims[0]]
    assert list(first["place"]) == list(range(1, 11))
    assert first["behind_best_percent"].iloc[0] == 0.0
    assert first["behind_best_percent"].is_monotonic_increasing


def test_main_effects_are_means_over_the_other_factors(found):
    values, mean, _, used = found.effect(0, 0)
    assert used.sum() == 128
    # over keels of 1.4 to 1.6 m, alike likely: their mean square from 1.5 m is 0.1^2 / 3
    expected = 100.0 * (0.05 * values - 0.2 * 0.1**2 / 3.0)
    assert mean == pytest.approx(expected, abs=0.03)


def test_shares_of_the_variance_are_those_of_the_law(found):
    # variances of even distributions: a^2 / 3 of half a range a, 4 a^4 / 45 of its square
    luff, keel = 0.3, 0.1
    alone_luff = 0.05**2 * luff**2 / 3.0
    slope = 0.1 * 0.3  # of the keel, at the middle of the luff's range
    alone_keel = slope**2 * keel**2 / 3.0 + 0.2**2 * 4.0 * keel**4 / 45.0
    both = 0.1**2 * luff**2 / 3.0 * keel**2 / 3.0
    whole = alone_luff + alone_keel + both
    shares = found.variance[0]
    assert shares.reason == ""
    assert shares.first == pytest.approx([alone_luff / whole, alone_keel / whole], abs=1e-3)
    assert shares.pairs[0, 1] == pytest.approx(both / whole, abs=1e-3)
    assert shares.total - shares.first == pytest.approx([both / whole] * 2, abs=1e-3)


def test_shares_of_a_grid_are_those_of_its_levels():
    levels = (3, 5)
    at = np.indices(levels).reshape(2, -1)
    share = ((at + 0.5) / np.array(levels)[:, None]).T
    one, other = np.array([0.0, 1.0, 5.0])[at[0]], np.array([2.0, -1.0, 0.0, 4.0, 1.0])[at[1]]
    found = sweep_effects.variance_shares(share, levels, one + other, is_grid=True)
    # of a sum, the variance of each part
    parts = np.array([one.var(), other.var()])
    assert found.first == pytest.approx(parts / parts.sum(), abs=1e-12)
    assert found.total == pytest.approx(found.first, abs=1e-12)


def test_shares_of_levels_that_are_sampled_are_those_of_a_grid_of_them():
    levels = (2, 3)
    at = np.tile(np.indices(levels).reshape(2, -1), 8)
    share = ((at + 0.5) / np.array(levels)[:, None]).T
    gain = np.array([0.0, 1.0])[at[0]] * np.array([1.0, 3.0, -1.0])[at[1]] + at[1]
    sampled = sweep_effects.variance_shares(share, levels, gain)
    exact = sweep_effects.variance_shares(share[:6], levels, gain[:6], is_grid=True)
    assert sampled.first == pytest.approx(exact.first, abs=1e-9)
    assert sampled.total == pytest.approx(exact.total, abs=1e-9)
    assert sampled.pairs == pytest.approx(exact.pairs, abs=1e-9)


def test_no_shares_where_rigs_are_missing(tmp_path):
    found = sweeps.result(tmp_path, rigs=64, also=[("[8.0, 14.0]", "[8.0, 22.0]")])
    shares = found.variance[0]
    assert np.isnan(shares.first).all()
    assert "not independent" in shares.reason
    assert len(found.interactions_frame()) == 0
    assert (found.failures_frame()["rigs"] == np.isnan(found.gain_percent[:, 0]).sum()).all()
    assert any("no shares of the variance" in sentence for sentence in found.in_words())
    # no map where the nearest rig has no result
    assert np.isnan(found.predict(found.aims[0], luff_m=0.58, keel_m=1.5))
    assert found.predict(found.aims[0], luff_m=0.3, keel_m=1.5) == pytest.approx(law(0.3, 1.5), abs=1e-2)


def test_the_surrogate_finds_what_it_is_not_told(found):
    made = found.surrogates[0]
    assert made.explained > 0.9999
    assert found.predict(found.aims[0], luff_m=0.2, keel_m=1.55) == pytest.approx(
        law(0.2, 1.55), abs=3.0 * made.largest
    )
    assert np.isnan(found.predict(found.aims[0], luff_m=0.7, keel_m=1.55))
    with pytest.raises(KeyError, match="luff_m"):
        found.predict(found.aims[0], luff=0.2)


def test_too_few_rigs_make_no_surrogate():
    made = sweep_effects.surrogate(np.random.default_rng(1).random((4, 2)), np.arange(4.0))
    assert "are needed" in made.reason
    assert np.isnan(made(np.array([[0.5, 0.5]]))).all()


def test_the_front_has_those_that_none_beats_in_both():
    chance = np.random.default_rng(2)
    one, other = chance.random(200), chance.random(200)
    one[7] = np.nan
    found = sweep_effects.front(one, other)
    beaten = [
        bool(np.any((one >= one[i]) & (other >= other[i]) & ((one > one[i]) | (other > other[i]))))
        for i in range(200)
    ]
    assert sorted(found) == [i for i in range(200) if not beaten[i] and np.isfinite(one[i])]
    assert np.all(np.diff(one[found]) < 0.0)


def test_worth_by_wind_is_that_of_a_factor_by_itself(found):
    worth = found.worth_kn(0)
    assert len(worth) == len(found.study.rows)
    # luffs of 0.075 and 0.525 m with a keel of 1.5 m, whose part in it is zero on the mean
    speed = np.sqrt(8.0 * KNOT) / KNOT
    assert worth[0] == pytest.approx(speed * 0.05 * 0.45, rel=0.01)


def test_parts_do_not_mix_factors_in_a_small_sample():
    share = np.random.default_rng(4).random((12, 2))
    low = share[:, 0] < 0.5
    results = np.stack([3.0 * share[:, 0] + share[:, 1] ** 2, np.where(low, np.nan, 1.0)], axis=1)
    found = sweep_effects.parts(share, (0, 0), results)
    assert found.worth(0)[0] == pytest.approx(3.0 * 0.75)
    assert found.worth(1)[0] == pytest.approx(0.875**2 - 0.125**2)


def test_parts_of_levels_are_steps():
    at = np.tile(np.indices((3, 2)).reshape(2, -1), 4)
    share = ((at + 0.5) / np.array([[3], [2]])).T
    results = (np.array([0.0, 5.0, 2.0])[at[0]] + 7.0 * at[1])[:, None]
    found = sweep_effects.parts(share, (3, 2), results)
    assert found.worth(0) == pytest.approx([2.0])
    assert found.worth(1) == pytest.approx([7.0])


def test_few_bins_of_few_rigs():
    assert sweep_effects.bins(16) == 3
    assert sweep_effects.bins(10_000) == sweep_effects.BINS


def test_reasons_without_their_numbers():
    assert blanked("at 3.5 m, -2 deg (Fn 1e-05)") == "at .. m, .. deg (Fn ..)"


def test_all_figures_of_a_study_can_be_drawn(found):
    figures = sweep_plot.all_figures(found)
    assert set(figures) == {"effects", "winds", "shares", "maps", "front"}


def test_what_too_few_rigs_do_not_tell_is_no_figure(tmp_path):
    figures = sweep_plot.all_figures(sweeps.result(tmp_path, rigs=2))
    assert "winds" not in figures


def test_a_function_through_the_nearest_is_that_of_scipy():
    """Where no places are as far away as each other (scipy.interpolate.RBFInterpolator with neighbours)."""
    chance = np.random.default_rng(5)
    places, points = chance.random((300, 3)), chance.random((40, 3))
    values = np.sin(3.0 * places[:, 0]) + places[:, 1] * places[:, 2]
    expected = RBFInterpolator(places, values, kernel="cubic", degree=1, neighbors=sweep_effects.NEIGHBOURS)
    found = sweep_effects.RadialBasis(places, values)
    assert found.whole is None
    assert found(points) == pytest.approx(expected(points), rel=1e-12)


def test_of_places_as_far_away_as_each_other_the_first_count():
    places = np.stack(np.meshgrid(np.arange(20.0), np.arange(20.0), indexing="ij"), axis=-1).reshape(-1, 2)
    function = sweep_effects.RadialBasis(places, np.arange(400.0))
    point = np.array([[9.0, 9.0]])
    near = function._nearest(point)[0]
    away = ((places - point) ** 2).sum(axis=1)
    last = away[near].max()
    tied = np.flatnonzero(away == last)
    taken = np.intersect1d(near, tied)
    assert len(near) == sweep_effects.NEIGHBOURS
    assert set(np.flatnonzero(away < last)) <= set(near)
    assert 0 < len(taken) < len(tied)
    assert taken.tolist() == tied[: len(taken)].tolist()
    # the same whatever else is asked at once
    many = np.concatenate([np.random.default_rng(6).random((5, 2)), point])
    assert function(many)[-1] == function(point)[0]


def test_nothing_is_said_where_one_of_the_nearest_has_no_result():
    line = np.linspace(0.0, 1.0, 5)
    places = np.stack(np.meshgrid(line, line, indexing="ij"), axis=-1).reshape(-1, 2)
    gain = np.arange(25.0)
    gain[12] = np.nan
    made = sweep_effects.surrogate(places, gain)
    # half way between the rig without a result and one with
    assert np.isnan(made(np.array([[0.5, 0.625]]))).all()
    assert np.isfinite(made(np.array([[0.5, 0.63]]))).all()
