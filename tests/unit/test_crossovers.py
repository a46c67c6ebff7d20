"""The wind in which one boat overtakes another, solved for and checked by solving there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.support import keelboat
from tests.support.coarse_files import coarse_file
from vpp.compare import Comparison, compare
from vpp.config import BoatFile, load
from vpp.crossovers import WITHIN_KN, crossover_kn
from vpp.results.variables import KNOT
from vpp.wardrobe import made_good, solve

OPTIONS = ("small_jib", "taller_rig")


@pytest.fixture(scope="module")
def boat_file(tmp_path_factory: pytest.TempPathFactory) -> BoatFile:
    return load(coarse_file(tmp_path_factory.mktemp("coarse"), "keelboat.toml"))


@pytest.fixture(scope="module")
def comparison(boat_file: BoatFile) -> Comparison:
    return compare(boat_file, tws_kn=(10.0, 14.0, 18.0), twa_deg=(90.0,), options=OPTIONS)


def test_a_gain_is_nil_in_the_wind_that_is_found(boat_file: BoatFile, comparison: Comparison) -> None:
    row = comparison.place("upwind")
    found = crossover_kn(comparison.polar, option=1, row=row, winds=(0, 1))
    assert 10.0 < found < 14.0
    boats = [boat_file.boat(name) for name in ("base", OPTIONS[0])]
    there = solve(boats, keelboat.conditions(tws_kn=found, twa_deg=np.nan, aim="upwind", option=[0, 1]))
    (gain,) = np.diff(made_good(there)) / KNOT
    slope = abs(np.diff(comparison.gain_kn()[1, :2, row])[0]) / 4.0
    # within what the wind is found to, and the tolerance of the solver
    assert abs(gain) < 2.0 * slope * WITHIN_KN + 1e-5


def test_two_options_may_be_held_against_each_other_either_way(comparison: Comparison) -> None:
    row = comparison.place("upwind")
    there = crossover_kn(comparison.polar, option=1, against=2, row=row, winds=(1, 2))
    back = crossover_kn(comparison.polar, option=2, against=1, row=row, winds=(1, 2))
    made_good = comparison.made_good()[:, :, row]
    assert made_good[1, 1] < made_good[2, 1]
    assert made_good[1, 2] > made_good[2, 2]
    assert 14.0 < there < 18.0
    assert there == pytest.approx(back, abs=2.0 * WITHIN_KN)


def test_nothing_is_solved_where_an_option_is_another_boat_in_the_next_wind(comparison: Comparison) -> None:
    row, boats = comparison.place("upwind"), comparison.polar.solved.boats
    heavier = replace(boats[1], name="heavier")
    found = crossover_kn(
        comparison.polar,
        option=1,
        row=row,
        winds=(0, 1),
        boat_at=lambda at, wind, _: heavier if (at, wind) == (1, 1) else boats[at],
    )
    assert np.isnan(found)


def test_there_is_no_crossing_without_a_change_of_sign(comparison: Comparison) -> None:
    row = comparison.place("downwind")
    assert np.isnan(crossover_kn(comparison.polar, option=1, row=row, winds=(0, 1)))
