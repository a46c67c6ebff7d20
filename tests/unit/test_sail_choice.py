"""Which set from which wind, and where a change gains less than it costs: on invented speeds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.patches import Rectangle

from tests.support import synthetic
from vpp import sail_choice
from vpp.boat import SailChange, SailSet
from vpp.plots import sail_set_figure
from vpp.polar import BEST_VMG, Polar, WindGrid
from vpp.results.files import Source
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import SPEED, Conditions, Solved
from vpp.solver.status import Status

TWS_KN = (6.0, 10.0, 14.0, 18.0)
TWA_DEG = (60.0, 90.0)
# boat speed in kn along the winds at every angle: the small set gains 0.2 kn in 4 kn of wind, level at 12
BIG, SMALL = np.array([5.0, 6.0, 7.0, 8.0]), np.array([4.7, 5.9, 7.1, 8.3])
SETS = (
    SailSet(name="big", says="all", sails=("main", "jib")),
    SailSet(name="small", says="less", sails=("main",)),
)


def made_up(big: np.ndarray = BIG, small: np.ndarray = SMALL, *, change: SailChange | None = None) -> Polar:
    """A polar of one boat with two sets whose speed depends on the wind speed alone."""
    boat = replace(synthetic.make_boat(), sail_sets=SETS, sail_change=change or SailChange())
    aims = np.array([SPEED] * len(TWA_DEG) + list(BEST_VMG))
    twa = np.array([*(angle * DEGREE for angle in TWA_DEG), np.nan, np.nan])
    count = len(TWS_KN) * len(aims)
    conditions = Conditions(
        option=np.zeros(count, dtype=np.intp),
        tws=np.repeat(np.array(TWS_KN), len(aims)) * KNOT,
        twa=np.tile(twa, len(TWS_KN)),
        aim=np.tile(aims, len(TWS_KN)),
    )
    sets = {
        item.name: _under(conditions, boat, item.name, np.repeat(speed, len(aims)) * KNOT)
        for item, speed in zip(SETS, (big, small), strict=True)
    }
    speeds = np.array([np.repeat(speed, len(aims)) for speed in (big, small)])
    known = np.isfinite(speeds).any(axis=0)
    best = np.where(known, np.argmax(np.nan_to_num(speeds, nan=-1.0), axis=0), 0)
    names = np.where(known, np.array(["big", "small"], dtype=object)[best], "")
    won = {
        name: np.where(best == 0, sets["big"].quantities[name], sets["small"].quantities[name])
        for name in sets["big"].quantities
    }
    won["sail_set_margin"] = np.abs(speeds[0] - speeds[1]) * KNOT
    solved = replace(
        sets["big"],
        sail_set=names,
        quantities=won,
        status=np.where(known, int(Status.CONVERGED), int(Status.NO_EQUILIBRIUM)),
        sail_sets=sets,
    )
    return Polar(
        source=Source(name="Invented", file="invented.toml", digest="0"),
        grid=WindGrid(tws_kn=TWS_KN, twa_deg=TWA_DEG),
        options=("base",),
        solved=solved,
    )


def _under(conditions: Conditions, boat: object, name: str, speed: np.ndarray) -> Solved:
    solved = synthetic.solve([boat], conditions)
    sign = np.where(conditions.aim == "downwind", -1.0, 1.0)
    quantities = {**solved.quantities, "boat_speed": speed, "vmg": sign * speed}
    quantities["twa"] = np.where(np.isnan(conditions.twa), 1.0, conditions.twa)
    return replace(
        solved,
        sail_set=np.full(len(speed), name, dtype=object),
        quantities=quantities,
        status=np.where(np.isfinite(speed), int(Status.CONVERGED), int(Status.NO_EQUILIBRIUM)),
    )


def test_the_change_lies_where_a_straight_line_between_the_gains_is_level() -> None:
    """By hand: 0.1 kn behind at 10 kn and 0.1 kn ahead at 14 kn, but as shares of 6.0 and 7.1 kn."""
    [change] = sail_choice.changeovers(made_up(), "base", 90.0)
    assert (change.lighter, change.stronger) == ("big", "small")
    assert (change.below_kn, change.above_kn) == (10.0, 14.0)
    low, high = -0.1 / 6.0, 0.1 / 7.1
    assert change.tws_kn == pytest.approx(10.0 + 4.0 * low / (low - high))
    assert not change.compares_models


def test_the_overlap_reaches_to_where_the_gain_is_the_cost() -> None:
    """By hand: 18 s on a leg of 10 minutes are 3 %; the gains are -6, -1.667, 1.408 and 3.614 %."""
    polar = made_up(change=SailChange(lost_time=18.0, leg_time=600.0))
    [change] = sail_choice.changeovers(polar, "base", "upwind")
    gains = [-0.3 / 5.0, -0.1 / 6.0, 0.1 / 7.1, 0.3 / 8.3]
    assert change.from_kn == pytest.approx(6.0 + 4.0 * (0.03 + gains[0]) / (gains[0] - gains[1]))
    assert change.to_kn == pytest.approx(14.0 + 4.0 * (0.03 - gains[2]) / (gains[3] - gains[2]))


def test_an_overlap_ends_where_the_first_set_leads_again() -> None:
    """By hand: the small set gains 1 % in 10 and 14 kn, and loses 10 % in 18 kn; a change costs 3 %."""
    polar = made_up(
        np.array([5.0, 6.0, 7.0, 8.0]),
        np.array([4.5, 6.0 / 0.99, 7.0 / 0.99, 7.2]),
        change=SailChange(lost_time=18.0, leg_time=600.0),
    )
    first, second = sail_choice.changeovers(polar, "base", 90.0)
    assert (first.lighter, first.stronger, second.stronger) == ("big", "small", "big")
    assert first.from_kn == pytest.approx(6.0 + 4.0 * 0.07 / 0.11)
    assert first.to_kn == pytest.approx(14.0 + 4.0 * 0.04 / 0.11)
    assert (second.from_kn, second.to_kn) == pytest.approx((first.from_kn, first.to_kn))


def test_a_change_that_never_earns_its_cost_overlaps_everywhere() -> None:
    polar = made_up(change=SailChange(lost_time=60.0, leg_time=600.0))
    [change] = sail_choice.changeovers(polar, "base", 90.0)
    assert (change.from_kn, change.to_kn) == (-np.inf, np.inf)
    said = sail_choice.summary(polar, "base")[1]
    assert said.endswith("the change gains less than it costs on a leg of 10 minutes in every wind.")


def test_a_change_that_costs_nothing_has_no_overlap() -> None:
    polar = made_up(change=SailChange(lost_time=0.0, leg_time=600.0))
    [change] = sail_choice.changeovers(polar, "base", 90.0)
    assert change.from_kn == pytest.approx(change.to_kn)
    assert change.from_kn == pytest.approx(change.tws_kn)
    assert sail_choice.summary(polar, "base")[1] == "base, at TWA 90 deg: big up to 12.2 kn, then small."


def test_the_search_for_the_overlap_ends_where_a_set_has_no_result() -> None:
    polar = made_up(
        small=np.array([np.nan, 5.9, 7.1, 8.3]), change=SailChange(lost_time=18.0, leg_time=600.0)
    )
    [change] = sail_choice.changeovers(polar, "base", 90.0)
    assert change.from_kn == 10.0
    assert np.isfinite(change.tws_kn)


def test_a_change_to_a_set_without_a_result_before_has_no_wind_of_its_own() -> None:
    polar = made_up(small=np.array([np.nan, np.nan, 7.1, 8.3]))
    [change] = sail_choice.changeovers(polar, "base", 90.0)
    assert np.isnan(change.tws_kn)
    assert np.isnan(change.from_kn)
    said = sail_choice.summary(polar, "base")[1]
    assert said == "base, at TWA 90 deg: big up to 10 to 14 kn, then small; small has no result at 6, 10 kn."


def test_winds_without_a_result_are_named() -> None:
    gap = np.array([np.nan, 6.0, 7.0, 8.0])
    said = sail_choice.summary(made_up(gap, gap - 1.0), "base")[0]
    assert said == "base, upwind: big in every wind; no result at 6 kn."


def test_a_set_without_any_result_is_named_and_marked_in_the_map() -> None:
    polar = made_up(small=np.full(4, np.nan))
    assert sail_choice.summary(polar, "base")[0] == "base, upwind: big in every wind; small has no result."
    crosses = [line for line in sail_set_figure(polar).axes[0].lines if line.get_marker() == "x"]
    assert len(crosses) == len(TWS_KN) * (len(TWA_DEG) + 2)


def test_an_option_without_sets_has_nothing_to_say() -> None:
    plain = made_up()
    boats = tuple(replace(boat, sail_sets=()) for boat in plain.solved.boats)
    polar = replace(plain, solved=replace(plain.solved, boats=boats, sail_sets={}))
    assert sail_choice.summary(polar, "base") == ()
    with pytest.raises(ValueError, match="sail sets"):
        sail_set_figure(polar)


def test_the_table_of_sets_says_after_how_long_a_change_pays() -> None:
    """By hand: at 6 kn the small set lacks 0.3 of 5.0 kn; 20 s at 5 kn are earned in 20 x 5/0.3 s."""
    table = made_up().sail_sets_frame()
    assert len(table) == 2 * len(TWS_KN) * (len(TWA_DEG) + 2)
    row = table[(table["tws_kn"] == 6.0) & (table["twa_deg"] == 90.0) & (table["sail_set"] == "small")].iloc[
        0
    ]
    assert row["behind_best_kn"] == pytest.approx(0.3)
    assert row["change_pays_after_minutes"] == pytest.approx(20.0 * 5.0 / 0.3 / 60.0)
    best = table[table["behind_best_kn"].isna()]
    assert best["change_pays_after_minutes"].isna().all()
    assert len(best) == len(table) / 2


def test_the_map_hatches_where_a_change_does_not_pay() -> None:
    polar = made_up(change=SailChange(lost_time=18.0, leg_time=600.0))
    figure = sail_set_figure(polar)
    cells = [patch for patch in figure.axes[0].patches if isinstance(patch, Rectangle)]
    assert len(cells) == len(TWS_KN) * (len(TWA_DEG) + 2)
    hatched = [bool(patch.get_hatch()) for patch in cells[: len(TWS_KN)]]
    # the gains are 6, 1.667, 1.408 and 3.614 % against a cost of 3 %
    assert hatched == [False, True, True, False]
    tones = [patch.get_facecolor() for patch in cells[: len(TWS_KN)]]
    assert tones[0] == tones[1] != tones[2] == tones[3]


def test_tones_of_sets_differ_in_grey() -> None:
    figure = sail_set_figure(made_up())
    luminance = [
        float(np.dot(patch.get_facecolor()[:3], (0.2126, 0.7152, 0.0722)))
        for patch in figure.axes[0].patches[1:3]
    ]
    assert abs(luminance[0] - luminance[1]) > 0.1
