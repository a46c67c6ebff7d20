"""Draws within their ranges, and which inputs a result follows."""

from __future__ import annotations

import numpy as np
import pytest

from vpp.config.uncertain import EVEN, NORMAL, Input
from vpp.uncertainty import LEAST_EXPLAINED, BadSample, sample, shares


def of_shape(*shapes):
    return tuple(
        Input(
            name=f"x{at}",
            keys=("crew.mass_kg",),
            is_share=True,
            half=0.1,
            centre=0.0,
            shape=shape,
            unit="%",
            why="",
            is_default=False,
        )
        for at, shape in enumerate(shapes)
    )


def test_even_draws_fill_their_range_and_normal_ones_hold_95_percent_in_it():
    places = sample(of_shape(EVEN, NORMAL), draws=1024, seed=3)
    assert places.shape == (1024, 2)
    # every one of 1024 equal slices of an even range holds one point of the sequence (Sobol 1967)
    slices = np.floor((places[:, 0] + 1.0) * 512).astype(int)
    assert sorted(slices.tolist()) == list(range(1024))
    assert np.mean(np.abs(places[:, 1]) <= 1.0) == pytest.approx(0.95, abs=0.003)
    # a range of 1.96 standard deviations either way
    assert places[:, 1].std() == pytest.approx(1.0 / 1.95996, rel=0.01)


def test_the_same_seed_gives_the_same_draws_and_another_one_others():
    inputs = of_shape(EVEN, EVEN, NORMAL)
    first, again, other = (sample(inputs, draws=64, seed=seed) for seed in (5, 5, 6))
    assert np.array_equal(first, again)
    assert np.abs(first - other).max() > 0.5


def test_everything_wrong_with_a_sample_is_said_at_once():
    with pytest.raises(BadSample) as error:
        sample(of_shape(EVEN), draws=250, seed=-1)
    draws, seed = error.value.problems
    assert "power of two" in draws
    assert "such as 256" in draws
    assert "seed = -1" in seed


def test_linear_results_have_exact_shares():
    # variance of a sum: squares of slopes times variances, 1/3 of an even range and 1/1.96^2 of a normal one
    inputs = of_shape(EVEN, EVEN, NORMAL)
    places = sample(inputs, draws=32, seed=1)
    slopes = np.array([2.0, -1.0, 3.0])
    found = shares(places, 7.0 + places @ slopes, shapes=[each.shape for each in inputs])
    parts = slopes**2 * np.array([1.0 / 3.0, 1.0 / 3.0, 1.0 / 1.959964**2])
    assert found.first == pytest.approx(parts / parts.sum(), abs=1e-5)
    assert found.total == pytest.approx(found.first, abs=1e-9)
    assert found.explained == pytest.approx(1.0)
    assert found.degree == 1


def test_what_two_inputs_only_do_together_counts_as_total_of_both():
    places = sample(of_shape(EVEN, EVEN), draws=64, seed=1)
    found = shares(places, places[:, 0] * places[:, 1], shapes=[EVEN, EVEN])
    assert found.first == pytest.approx([0.0, 0.0], abs=1e-9)
    assert found.total == pytest.approx([1.0, 1.0], abs=1e-9)


def test_results_that_are_missing_are_counted_and_do_not_spoil_the_shares():
    places = sample(of_shape(EVEN, EVEN), draws=64, seed=1)
    result = places @ np.array([1.0, 1.0])
    result[[3, 40]] = np.nan
    found = shares(places, result, shapes=[EVEN, EVEN])
    assert found.used == 62
    assert found.first == pytest.approx([0.5, 0.5], abs=1e-6)


def test_shares_are_not_told_where_they_cannot_be():
    places = sample(of_shape(EVEN, EVEN), draws=64, seed=1)
    rng = np.random.default_rng(1)
    noise = shares(places, rng.normal(size=64), shapes=[EVEN, EVEN])
    assert noise.explained < LEAST_EXPLAINED
    assert "no polynomial" in noise.reason
    constant = shares(places, np.full(64, 3.0), shapes=[EVEN, EVEN])
    assert constant.reason == "does not vary"
    few = shares(places, np.where(np.arange(64) < 5, places[:, 0], np.nan), shapes=[EVEN, EVEN])
    assert few.reason == "known in 5 draws; 2 inputs need 6"
    for found in (noise, constant, few):
        assert np.isnan(found.first).all()
        assert np.isnan(found.total).all()
