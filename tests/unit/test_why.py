"""Gains by cause: parts against boats that differ in one thing, and against solving again; their sum."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from tests.support import keelboat
from vpp import equilibrium, load
from vpp.polar import Point
from vpp.results.files import Source
from vpp.why import (
    CAUSES,
    CENTRE,
    DRIVE,
    HULL,
    INDUCED,
    LEFT_OVER,
    LIMITS,
    PROFILE,
    RIGHTING,
    SIDE_FORCE,
    SMALL,
    TURNING,
    WEIGHT,
    WINDAGE,
    NoSplit,
    _by_height,
    split,
    split_at,
    why,
)

SOURCE = Source(name="tests", file="none", digest="0")
OF_SAILS = (DRIVE, INDUCED, PROFILE, SIDE_FORCE, CENTRE, TURNING)


def at(boat, tws_kn=12.0, twa_deg=60.0):
    solved = equilibrium.solve([boat], keelboat.conditions(tws_kn=tws_kn, twa_deg=twa_deg))
    assert not solved.status.any()
    return Point(source=SOURCE, solved=solved)


BASE = keelboat.coarse(keelboat.base(), 5)


def parts(found):
    return {part.cause: part.gain_kn for part in found.parts}


@lru_cache(maxsize=1)
def boat_file():
    return load(keelboat.FILE)


WINDS = ((12.0, "upwind"), (16.0, 100.0))
OPTIONS = ("taller_rig", "long_luff", "cut_head", "more_crew")


@lru_cache(maxsize=1)
def together():
    """The demo boat and its options in both winds, one boat after the other."""
    boats = [boat_file().boat(name) for name in ("base", *OPTIONS)]
    of = keelboat.conditions(
        option=np.repeat(np.arange(len(boats)), len(WINDS)),
        tws_kn=[wind for wind, _ in WINDS] * len(boats),
        twa_deg=[np.nan, 100.0] * len(boats),
        aim=np.array(["upwind", "speed"] * len(boats)),
    )
    found = equilibrium.solve(boats, of)
    assert not found.status.any()
    return found


def solved(option, wind):
    """A boat of the demo file in a wind, by its place among those solved together."""
    return together(), ("base", *OPTIONS).index(option) * len(WINDS) + WINDS.index(wind)


def gain_of(option, over, **wind):
    """The gain of a boat over another in one wind, by cause; both solved together."""
    of = keelboat.conditions(**{"tws_kn": 12.0, "twa_deg": 60.0, **wind}, option=[0, 1])
    found = equilibrium.solve([over, option], of)
    assert not found.status.any()
    return split_at((found, 0), (found, 1))


@lru_cache(maxsize=1)
def with_less_windage():
    """The boat, and one with half the windage: at 45 deg and at both best VMGs."""
    less = replace(
        BASE,
        name="sleek",
        windage=tuple(replace(item, drag_coefficient=0.5 * item.drag_coefficient) for item in BASE.windage),
    )
    of = keelboat.conditions(
        option=[0, 0, 0, 1, 1, 1],
        tws_kn=12.0,
        twa_deg=[45.0, np.nan, np.nan] * 2,
        aim=np.array(["speed", "upwind", "downwind"] * 2),
    )
    found = equilibrium.solve([BASE, less], of)
    assert not found.status.any()
    return found


def test_a_boat_gains_nothing_on_itself():
    found = gain_of(replace(BASE, name="same"), BASE)
    assert set(parts(found)) == set(CAUSES)
    assert all(abs(part.gain_kn) < 1e-9 for part in found.parts)
    assert all(abs(part.solved_again_kn) < 1e-5 for part in found.parts)


@pytest.mark.parametrize(("place", "aim"), [(0, "speed"), (1, "upwind"), (2, "downwind")])
def test_what_differs_in_windage_alone_gains_by_windage_alone(place, aim):
    both = with_less_windage()
    found = split_at((both, place), (both, place + 3))
    assert found.aim == aim
    by_cause = parts(found)
    assert abs(by_cause[WINDAGE]) > 1e-3
    assert by_cause[WINDAGE] == pytest.approx(found.gain_kn, rel=2e-3)
    assert all(abs(gain) < 1e-7 for cause, gain in by_cause.items() if cause != WINDAGE)
    again = {part.cause: part.solved_again_kn for part in found.parts}
    assert again[WINDAGE] == pytest.approx(found.gain_kn, rel=2e-2)


def test_a_crew_that_may_sit_further_out_gains_by_a_limit_that_gives_way():
    arm = replace(BASE.crew.arm, upper=1.1 * BASE.crew.arm.upper)
    further = replace(BASE, name="racks", crew=replace(BASE.crew, arm=arm))
    found = gain_of(further, BASE, tws_kn=16.0)
    by_cause = parts(found)
    assert by_cause[LIMITS] == pytest.approx(found.gain_kn, rel=2e-2)
    assert all(abs(gain) < 1e-6 for cause, gain in by_cause.items() if cause != LIMITS)
    assert found.gain_kn > 1e-3


def test_a_heavier_crew_that_does_not_sink_the_boat_gains_by_righting_moment():
    heavier = replace(BASE, name="more crew", crew=replace(BASE.crew, mass=1.2 * BASE.crew.mass))
    found = gain_of(heavier, BASE, tws_kn=16.0)
    by_cause = parts(found)
    assert by_cause[RIGHTING] == pytest.approx(found.gain_kn, rel=2e-2)
    assert all(abs(gain) < 1e-7 for cause, gain in by_cause.items() if cause != RIGHTING)


def test_a_heavier_crew_as_the_boat_file_has_it_sinks_the_boat_too():
    by_cause = parts(split_at(solved("base", (16.0, 100.0)), solved("more_crew", (16.0, 100.0))))
    assert by_cause[RIGHTING] > 0.0 > by_cause[HULL]
    assert all(abs(by_cause[cause]) < 2e-3 for cause in OF_SAILS)


@pytest.mark.parametrize("wind", WINDS, ids=str)
@pytest.mark.parametrize("option", OPTIONS)
def test_parts_of_the_demo_options_add_up_and_are_what_solving_again_gives(option, wind):
    found = split_at(solved("base", wind), solved(option, wind))
    largest = max(abs(part.gain_kn) for part in found.parts)
    assert abs(found.remainder_kn) < 0.03 * largest + 5e-4
    for part in found.parts:
        assert part.solved_again_kn == pytest.approx(part.gain_kn, rel=0.08, abs=0.02 * largest + 2e-4)
    assert sum(gain for _, gain in found.steps()) == pytest.approx(found.gain_kn, abs=1e-12)


def test_going_back_is_the_same_the_other_way_round():
    there = split_at(solved("base", (12.0, "upwind")), solved("taller_rig", (12.0, "upwind")))
    back = split_at(solved("taller_rig", (12.0, "upwind")), solved("base", (12.0, "upwind")))
    assert parts(back) == pytest.approx({cause: -gain for cause, gain in parts(there).items()}, abs=1e-9)


def test_force_and_height_share_a_heeling_moment_between_them():
    # (force, moment): the same height, the same force, and both changed
    assert _by_height(np.array([100.0, 500.0]), np.array([120.0, 600.0])) == pytest.approx(0.0)
    assert _by_height(np.array([100.0, 500.0]), np.array([100.0, 550.0])) == pytest.approx(50.0)
    by_height = _by_height(np.array([100.0, 500.0]), np.array([120.0, 720.0]))
    assert by_height == pytest.approx(110.0 * (6.0 - 5.0))
    # by force: the mean height times 20
    assert 720.0 - 500.0 - by_height == pytest.approx(5.5 * 20.0)
    # a force that has no height to speak of
    assert _by_height(np.array([100.0, 500.0]), np.array([-1.0, 80.0])) == pytest.approx(-420.0)


def test_the_table_and_the_sentence_say_the_same():
    found = why(boat_file(), option="taller_rig", tws_kn=12.0, twa_deg="upwind")
    frame = found.to_frame()
    assert frame["cause"].tolist() == [*CAUSES, LEFT_OVER]
    assert frame["gain_kn"].sum() == pytest.approx(found.gain_kn)
    assert frame["option"].unique().tolist() == ["taller_rig"]
    sentence = found.sentence()
    assert sentence.startswith(
        "taller_rig gains 0.03 kn on base, VMG upwind in 12.0 kn, hull-borne: sail drive"
    )
    assert [name for name, _ in found.steps()][-1] in (SMALL, LEFT_OVER)
    assert WEIGHT not in sentence
    assert "taller_rig against base" in repr(found)


def test_without_a_result_there_are_no_parts():
    crippled = replace(BASE, name="crippled", margins=replace(BASE.margins, leeway=0.002))
    of = keelboat.conditions(tws_kn=12.0, twa_deg=60.0, option=[0, 1])
    found = equilibrium.solve([BASE, crippled], of)
    with pytest.raises(NoSplit, match="crippled has no result: No equilibrium"):
        split_at((found, 0), (found, 1))


def test_boats_that_are_not_trimmed_alike_are_said_to_be_so():
    """One of them cannot sheet its jib in; the parts of such a gain are rough."""
    main, jib = BASE.sails
    eased = replace(jib, sheet=replace(jib.sheet, lower=np.radians(40.0)))
    option = replace(BASE, name="eased", sails=(main, eased))
    before, after = at(BASE, twa_deg=50.0), at(option, twa_deg=50.0)
    sheet = before.values["jib_sheet_deg"]
    found = split(before, after)
    assert f"jib sheet angle {sheet:.1f} deg on base, 40.0 deg on eased" in found.apart
    assert found.apart[0] in found.sentence()
    assert split(before, before).apart == ()
