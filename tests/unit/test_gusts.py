"""One trim in the winds around it: against roots found by SciPy, and against free trims."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from scipy.optimize import root

from tests.support import keelboat
from vpp import load
from vpp.gusts import Gusts, check_changes, gusts, in_winds
from vpp.multipliers import Optimum
from vpp.polar import point
from vpp.solved import Conditions
from vpp.trim import FastestEquilibrium

CHANGES = [(speed, angle) for speed in (-2.0, 0.0, 2.0) for angle in (-5.0, 0.0, 5.0)]


@lru_cache(maxsize=1)
def boat_file():
    return load(keelboat.FILE)


@lru_cache(maxsize=2)
def trimmed(wind=(12.0, "upwind")):
    return point(boat_file(), tws_kn=wind[0], twa_deg=wind[1])


@lru_cache(maxsize=1)
def held() -> Gusts:
    return in_winds(trimmed(), CHANGES, [0.0] * len(CHANGES))


def test_in_the_wind_of_the_trims_nothing_changes():
    at = CHANGES.index((0.0, 0.0))
    row = held().to_frame().iloc[at]
    for change in ("speed_change_kn", "heel_change_deg", "lost_kn"):
        assert row[change] == pytest.approx(0.0, abs=1e-4)


def test_it_is_the_root_of_the_equations_with_the_trims_held():
    """Reference: scipy.optimize.root (MINPACK hybrid) on the four equations, from the wind of the trims."""
    solved = trimmed().solved
    optimum = Optimum(solved.boats[0], solved, 0)
    free = ("boat_speed", "leeway", "heel", "rudder")
    places = [optimum.problem.names.index(name) for name in free]
    twa = float(solved.quantities["twa"][0])
    for (speed, angle), found in zip(CHANGES, held().boat_speed_kn, strict=True):
        of = Conditions(
            option=np.zeros(1, dtype=np.intp),
            tws=solved.conditions.tws + speed * keelboat.KNOT,
            twa=np.array([twa + np.radians(angle)]),
            aim=np.array(["speed"]),
        )
        problem = FastestEquilibrium(optimum.problem.fleet, optimum.problem.free, of)
        x = optimum.x[: problem.variable_count].copy()

        def residuals(state, problem=problem, x=x):
            moved = x.copy()
            moved[places, 0] = state
            return problem.values(moved, np.zeros(1, dtype=np.int64)).constraints[: problem.equality_count, 0]

        answer = root(residuals, x[places, 0], tol=1e-12)
        assert answer.success
        by_root = answer.x[0] * problem.scale[places[0]] / keelboat.KNOT
        assert found == pytest.approx(by_root, abs=1e-6)


def test_held_trims_are_never_faster_than_free_ones_and_heel_follows_the_wind():
    frame = held().to_frame()
    assert (frame["lost_kn"] > -1e-4).all()
    assert frame["lost_kn"].max() > 0.02
    heel = frame["heel_deg"].to_numpy().reshape(3, 3)
    assert np.all(np.diff(heel, axis=0) > 2.0)


def test_means_over_a_spectrum_are_those_of_a_normal_distribution():
    """Reference: many draws of the parabola through the three speeds, for which the quadrature is exact."""
    found = gusts(boat_file(), tws_kn=12.0, twa_deg=60.0, spread_kn=1.2)
    assert found.weight.sum() == pytest.approx(1.0)
    mean, trimmed_kn, share = found.mean_kn()
    assert share == pytest.approx(1.0)
    speeds = found.boat_speed_kn.reshape(3, 3)[:, 1]
    changes = found.tws_change_kn.reshape(3, 3)[:, 1]
    parabola = np.polynomial.Polynomial.fit(changes, speeds, 2)
    draws = np.random.default_rng(1).normal(0.0, 1.2, 400_000)
    assert mean == pytest.approx(float(parabola(draws).mean()), abs=2e-3)
    assert mean < trimmed_kn + 1e-6
    assert "Over the spectrum it makes" in found.sentences()[-1]


def test_winds_without_an_equilibrium_keep_their_row_and_reason():
    """A gust of 30 kn on a boat trimmed for 6."""
    found = in_winds(trimmed((6.0, 60.0)), [(0.0, 0.0), (30.0, 0.0)], [0.0, 0.0])
    frame = found.to_frame()
    assert frame["status"].tolist()[0] == "converged"
    assert frame["status"].tolist()[1] != "converged"
    assert np.isnan(frame["boat_speed_kn"][1])
    assert frame["reason"][1]
    assert "has no equilibrium in 30.0 kn more" in " ".join(found.sentences())


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"change_kn": -1.0}, "change_kn = -1: must be a positive number or zero"),
        ({"spread_deg": np.nan}, "spread_deg = nan"),
        ({"change_kn": 13.0}, "the lull leaves -1 kn of 12 kn"),
        ({"spread_kn": 8.0}, "the lull leaves"),
    ],
    ids=str,
)
def test_changes_that_make_no_sense_are_refused(asked, said):
    given = {"change_kn": 2.0, "shift_deg": 5.0, "spread_kn": 0.0, "spread_deg": 0.0} | asked
    with pytest.raises(ValueError, match=said):
        check_changes(12.0, **given)
