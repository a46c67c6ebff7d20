"""Rigs followed from anchors have the answers of a search."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.support import keelboat
from vpp import doubt_following, sweep_following
from vpp.solver.interior_point import minimise
from vpp.solver.status import Status
from vpp.sweep_answers import searched
from vpp.sweep_following import followed, spread

WANTED = ("boat_speed", "heel")


@pytest.fixture(scope="module")
def rigs():
    """Rigs of a plane of luff and keel, and where they lie in it."""
    base = keelboat.coarse(keelboat.base(), 4)
    places = np.array([(luff, keel) for luff in (0.0, 0.5, 1.0) for keel in (0.0, 1.0)])
    boats = []
    for luff, keel in places:
        main = replace(base.sails[0], foot_extension=0.6 * luff)
        fins = tuple(replace(fin, span=fin.span + 0.1 * keel) for fin in base.fins[:1]) + base.fins[1:]
        boats.append(replace(base, sails=(main, *base.sails[1:]), fins=fins))
    return boats, places


@pytest.fixture(scope="module")
def conditions():
    return keelboat.conditions(tws_kn=[10.0, 16.0], twa_deg=[60.0, 110.0])


@pytest.fixture(scope="module")
def from_afar(rigs, conditions):
    return searched(rigs[0], conditions, wanted=WANTED)


@pytest.fixture(scope="module")
def from_anchors(rigs, conditions):
    return followed(*rigs, conditions, anchors=2, wanted=WANTED)


def test_following_has_the_answers_of_a_search(from_afar, from_anchors):
    assert (from_anchors.status == Status.CONVERGED).all()
    assert (from_anchors.how == "followed").sum() == 4 * 2
    assert from_anchors.made_good == pytest.approx(from_afar.made_good, rel=1e-9)
    for name in WANTED:
        assert from_anchors.quantities[name] == pytest.approx(from_afar.quantities[name], rel=1e-5)


def test_every_anchor_is_checked_by_following_it_from_another(from_anchors):
    assert from_anchors.checks.shape == (2 * 2, 2)
    assert from_anchors.checks[:, 0] == pytest.approx(from_anchors.checks[:, 1], rel=1e-9)


def test_what_cannot_be_followed_is_searched_for(rigs, conditions, from_afar, monkeypatch):
    real = sweep_following.follow_cases

    def undecided(problem, cases, guess):
        answer = real(problem, cases, guess)
        answer.status[:] = Status.STEP_LIMIT
        return answer

    def given_up(cases, start, settings):
        return minimise(cases, start, settings=replace(settings, step_limit=1))

    for module in (sweep_following, doubt_following):
        monkeypatch.setattr(module, "follow_cases", undecided)
    monkeypatch.setattr(doubt_following, "minimise", given_up)
    found = followed(*rigs, conditions, anchors=2, wanted=WANTED)
    assert (found.how == "solved").all()
    assert found.made_good == pytest.approx(from_afar.made_good, rel=1e-7)
    assert len(found.checks) == 0


def test_anchors_are_spread_over_the_space():
    places = np.array([(x, y) for x in np.linspace(0, 1, 5) for y in np.linspace(0, 1, 5)])
    chosen = spread(places, 3)
    assert 12 in chosen  # the middle
    assert len(chosen) == len(set(chosen)) == 3
    corners = [at for at in chosen if at != 12]
    assert all(set(places[at]) <= {0.0, 1.0} for at in corners)
    assert spread(places[:2], 3) == [0, 1]
    assert spread(places[:0], 3) == []
