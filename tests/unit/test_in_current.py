"""A boat in a uniform current: triangles of the columns by hand, mirror images, and what is best over the
ground.

The first half sails the demo keelboat. The second is on invented speeds, where every angle can be tried.
"""

from __future__ import annotations

import cmath
import importlib
import math
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from tests.support import keelboat, synthetic
from vpp import config
from vpp.config import BoatFile, BoatFileError
from vpp.current import (
    AT_THE_EDGE,
    MADE_GOOD,
    PORT,
    STARBOARD,
    TACKS,
    VMG,
    CurrentError,
    InCurrent,
    OnTack,
    in_current,
)
from vpp.polar import NoSuchSailSet, point
from vpp.solved import NoEquilibrium

DEG = math.pi / 180.0
SIDE = {STARBOARD: 1.0, PORT: -1.0}
COURSES = ("course_through_water_deg", "course_over_ground_deg")


@cache
def boat_file() -> BoatFile:
    """The keelboat with few strips on its sails."""
    loaded = config.load(keelboat.FILE)
    return replace(loaded, boats=tuple(keelboat.coarse(boat) for boat in loaded.boats))


@cache
def sailed(twa_deg: float | str, current_kn: float, set_deg: float, tws_kn: float = 12.0) -> InCurrent:
    return in_current(boat_file(), tws_kn=tws_kn, twa_deg=twa_deg, current_kn=current_kn, set_deg=set_deg)


def numbers(row: OnTack, *, mirrored: bool = False) -> list[float]:
    """What is found, for a comparison; seen in a mirror where wanted."""
    sign = -1.0 if mirrored else 1.0
    straight = ("tws_kn", "twa_deg", "boat_speed_kn", "vmg_kn", "speed_over_ground_kn", "made_good_kn")
    turned = ("wind_shift_deg", *COURSES)
    return [getattr(row, name) for name in straight] + [sign * getattr(row, name) for name in turned]


# --- the keelboat


def test_three_four_five_by_hand() -> None:
    """8 kn of wind and 6 kn of current square to it: 10 kn over the water, turned by atan(6/8) = 36.87 deg.
    At a TWA of 53.13 deg starboard tack then sails square to the ground wind along with the current, and port
    tack at 126.87 deg square to it against the current.
    """
    turned = math.degrees(math.atan2(6.0, 8.0))
    along = sailed(90.0 - turned, 6.0, 90.0, 8.0).row(STARBOARD)
    assert along.tws_kn == pytest.approx(10.0)
    assert along.wind_shift_deg == pytest.approx(36.8699, abs=1e-4)
    assert along.course_through_water_deg == pytest.approx(90.0)
    assert along.course_over_ground_deg == pytest.approx(90.0)
    assert along.speed_over_ground_kn == pytest.approx(along.boat_speed_kn + 6.0)
    assert along.made_good_kn == pytest.approx(0.0, abs=1e-9)
    against = sailed(90.0 + turned, 6.0, 90.0, 8.0).row(PORT)
    assert against.course_through_water_deg == pytest.approx(-90.0)
    assert against.across_kn == pytest.approx(6.0 - against.boat_speed_kn)
    assert against.speed_over_ground_kn == pytest.approx(abs(6.0 - against.boat_speed_kn))
    assert against.made_good_kn == pytest.approx(0.0, abs=1e-9)


def test_every_row_closes_its_triangle() -> None:
    """Boat and current as arrows in a plane, the eye of the ground wind along its real axis."""
    for row in sailed("upwind", 1.5, 90.0).rows:
        through_water = cmath.rect(row.boat_speed_kn, row.course_through_water_deg * DEG)
        over_ground = through_water + cmath.rect(1.5, 90.0 * DEG)
        assert row.speed_over_ground_kn == pytest.approx(abs(over_ground))
        assert row.course_over_ground_deg == pytest.approx(cmath.phase(over_ground) / DEG)
        assert row.made_good_kn == pytest.approx(over_ground.real)
        assert row.across_kn == pytest.approx(over_ground.imag)
        assert row.course_through_water_deg == pytest.approx(7.125016 + SIDE[row.tack] * row.twa_deg)
        assert row.vmg_kn == pytest.approx(row.boat_speed_kn * math.cos(row.twa_deg * DEG))


@pytest.mark.parametrize(("set_deg", "water_kn"), [(0.0, 14.0), (180.0, 10.0)])
def test_current_along_the_wind_adds_or_subtracts(set_deg: float, water_kn: float) -> None:
    """A boat that is carried against 12 kn of wind at 2 kn feels 14, carried along with it 10."""
    found = sailed(60.0, 2.0, set_deg)
    assert found.rows[0].tws_kn == pytest.approx(water_kn)
    alone = point(boat_file(), tws_kn=water_kn, twa_deg=60.0).values
    for row in found.rows:
        assert row.boat_speed_kn == pytest.approx(alone["boat_speed_kn"], abs=1e-6)
        drift = 2.0 * math.cos(set_deg * DEG)
        assert row.made_good_kn == pytest.approx(row.vmg_kn + drift)


@pytest.mark.parametrize("set_deg", [0.0, 180.0])
@pytest.mark.parametrize("twa_deg", [60.0, "upwind"])
def test_tacks_are_mirror_images_in_a_current_along_the_wind(twa_deg: float | str, set_deg: float) -> None:
    found = sailed(twa_deg, 2.0, set_deg)
    for starboard, port in zip(found.rows[::2], found.rows[1::2], strict=True):
        assert (starboard.tack, port.tack) == TACKS
        assert starboard.steered_for == port.steered_for
        assert numbers(starboard) == pytest.approx(numbers(port, mirrored=True))
    if twa_deg == "upwind":
        assert found.by_both_tacks() == pytest.approx((0.5, found.row(PORT).made_good_kn))


def test_no_current_is_a_point() -> None:
    found, alone = sailed("upwind", 0.0, 70.0), point(boat_file(), tws_kn=12.0, twa_deg="upwind").values
    assert [row.steered_for for row in found.rows] == [VMG, VMG, MADE_GOOD, MADE_GOOD]
    for row in found.rows:
        for name in ("tws_kn", "twa_deg", "boat_speed_kn", "vmg_kn"):
            assert getattr(row, name) == pytest.approx(alone[name], abs=1e-9)
        assert row.speed_over_ground_kn == pytest.approx(row.boat_speed_kn)
        assert row.course_over_ground_deg == pytest.approx(SIDE[row.tack] * row.twa_deg)
        assert row.made_good_kn == pytest.approx(row.vmg_kn)


def test_made_good_over_the_ground_is_no_less_and_is_a_peak() -> None:
    """A headed boat pinches for it and a lifted one bears away; half a degree to either side is worse."""
    found = sailed("upwind", 1.5, 90.0)
    for tack, turned in ((STARBOARD, -1.0), (PORT, 1.0)):
        water, ground = found.row(tack), found.row(tack, steered_for=MADE_GOOD)
        assert ground.made_good_kn > water.made_good_kn
        assert ground.vmg_kn < water.vmg_kn
        assert (ground.twa_deg - water.twa_deg) * turned > 0.0
        for aside in (-0.5, 0.5):
            beside = sailed(ground.twa_deg + aside, 1.5, 90.0).row(tack)
            assert beside.made_good_kn < ground.made_good_kn


def test_summary_speaks_of_header_lift_and_favoured_tack() -> None:
    told = " ".join(sailed("upwind", 1.5, 90.0).summary())
    for said in (
        "blows 12.1 kn and comes 7.1 deg from the ground wind",
        "a header on starboard tack, a lift on port tack",
        "port tack is favoured by 0.98 kn",
        "Starboard tack by itself makes the most good over the ground higher",
        "% of the time on starboard tack",
    ):
        assert said in told


def test_given_angle_tells_the_faster_tack() -> None:
    found = sailed(53.0, 2.0, 90.0)
    ahead = found.row(STARBOARD).speed_over_ground_kn - found.row(PORT).speed_over_ground_kn
    assert ahead > 0.0
    assert found.summary()[-1].endswith(f"starboard tack is faster by {ahead:.2f} kn.")
    assert [row.steered_for for row in found.rows] == ["given_angle"] * 2
    with pytest.raises(KeyError, match="made_good_over_ground"):
        found.row(PORT, steered_for=MADE_GOOD)


def test_sail_sets_are_tried_or_picked() -> None:
    loaded = config.load(keelboat.FILE.with_name("keelboat_sails.toml"))
    having = next(boat for boat in loaded.boats if boat.sail_sets)
    asked: dict[str, Any] = {"tws_kn": 8.0, "twa_deg": 60.0, "current_kn": 1.0, "set_deg": 90.0}
    names = [item.name for item in having.sail_sets]
    best = in_current(loaded, **asked, option=having.name).row(PORT)
    assert best.sail_set in names
    for name in names[:2]:
        under = in_current(loaded, **asked, option=having.name, sail_set=name).row(PORT)
        assert under.sail_set == name
        assert under.boat_speed_kn <= best.boat_speed_kn + 1e-6
    with pytest.raises(NoSuchSailSet, match="nope"):
        in_current(loaded, **asked, option=having.name, sail_set="nope")


# --- invented speeds


@pytest.fixture
def invented(monkeypatch: pytest.MonkeyPatch) -> Any:
    for name in ("vpp.polar", "vpp.current"):
        monkeypatch.setattr(importlib.import_module(name), "solve", synthetic.solve)

    def run(twa_deg: float | str, *, tws_kn: float, current_kn: float, set_deg: float) -> InCurrent:
        return in_current(
            synthetic.make_boat_file(), tws_kn=tws_kn, twa_deg=twa_deg, current_kn=current_kn, set_deg=set_deg
        )

    return run


WINDS = [(10.0, 1.0, 90.0), (10.0, 3.0, -70.0), (8.0, 4.0, 130.0), (12.0, 2.0, 45.0)]


def every_course(found: InCurrent, tack: str, *, step_deg: float) -> Any:
    """What every angle makes good and goes across over the ground, in knots, as complex numbers."""
    angles = np.arange(0.0, 180.0 + step_deg, step_deg)
    row = found.row(tack)
    speeds = synthetic.boat_speed_kn("base", np.full_like(angles, row.tws_kn), angles)
    course = (row.wind_shift_deg + SIDE[tack] * angles) * DEG
    return speeds * np.exp(1j * course) + cmath.rect(row.current_kn, row.current_set_deg * DEG)


@pytest.mark.parametrize(("tws_kn", "current_kn", "set_deg"), WINDS)
@pytest.mark.parametrize("aim", ["upwind", "downwind"])
def test_most_made_good_is_that_of_every_angle_tried(
    invented: Any, aim: str, tws_kn: float, current_kn: float, set_deg: float
) -> None:
    found = invented(aim, tws_kn=tws_kn, current_kn=current_kn, set_deg=set_deg)
    sign = 1.0 if aim == "upwind" else -1.0
    for tack in TACKS:
        best = np.max(sign * every_course(found, tack, step_deg=0.01).real)
        ground, water = found.row(tack, steered_for=MADE_GOOD), found.row(tack)
        assert ground.aim == aim
        assert sign * ground.made_good_kn == pytest.approx(best, abs=1e-4)
        assert sign * ground.made_good_kn >= sign * water.made_good_kn


@pytest.mark.parametrize(("tws_kn", "current_kn", "set_deg"), [(10.0, 1.0, 90.0), (12.0, 2.0, 45.0)])
@pytest.mark.parametrize("aim", ["upwind", "downwind"])
def test_both_tacks_at_best_vmg_through_the_water_are_the_fastest_way_straight_up_or_down(
    invented: Any, aim: str, tws_kn: float, current_kn: float, set_deg: float
) -> None:
    """Every pair of courses and every share of the time that keeps to the line, tried."""
    found = invented(aim, tws_kn=tws_kn, current_kn=current_kn, set_deg=set_deg)
    sign = 1.0 if aim == "upwind" else -1.0
    starboard, port = (every_course(found, tack, step_deg=0.5) for tack in TACKS)
    first, second = starboard[:, np.newaxis], port[np.newaxis, :]
    apart = first.imag - second.imag
    share = np.divide(-second.imag, apart, out=np.full(apart.shape, np.nan), where=np.abs(apart) > 1e-9)
    made_good = sign * (share * first.real + (1.0 - share) * second.real)
    best = np.max(made_good[(share >= 0.0) & (share <= 1.0)])
    time_share, made = found.by_both_tacks()
    assert 0.0 < time_share < 1.0
    assert best <= sign * made + 1e-6
    assert sign * made == pytest.approx(best, abs=2e-3)  # the pairs are half a degree apart


def test_current_from_the_other_side_swaps_the_tacks(invented: Any) -> None:
    there, back = (invented("upwind", tws_kn=10.0, current_kn=2.0, set_deg=s) for s in (60.0, -60.0))
    for steered_for in (VMG, MADE_GOOD):
        for tack, other in ((STARBOARD, PORT), (PORT, STARBOARD)):
            here = numbers(there.row(tack, steered_for=steered_for))
            assert here == pytest.approx(
                numbers(back.row(other, steered_for=steered_for), mirrored=True), abs=1e-6
            )
    assert there.by_both_tacks()[0] == pytest.approx(1.0 - back.by_both_tacks()[0])


def test_sets_a_full_turn_apart_are_one(invented: Any) -> None:
    one, other = (invented("upwind", tws_kn=10.0, current_kn=2.0, set_deg=s) for s in (270.0, -90.0))
    for here, there in zip(one.rows, other.rows, strict=True):
        assert numbers(here) == pytest.approx(numbers(there), abs=1e-6)


def test_angle_without_an_equilibrium_is_told_as_for_a_point(invented: Any) -> None:
    with pytest.raises(NoEquilibrium, match="bear away"):
        invented(30.0, tws_kn=18.0, current_kn=1.0, set_deg=90.0)


def test_angle_beside_those_without_a_result_is_remarked(invented: Any) -> None:
    """The invented boat has no result above 33 deg from a wind of more than 15 kn."""
    found = invented("upwind", tws_kn=18.0, current_kn=9.0, set_deg=90.0)
    ground = found.row(STARBOARD, steered_for=MADE_GOOD)
    assert 33.0 <= ground.twa_deg < 34.5
    assert AT_THE_EDGE in ground.remark
    assert AT_THE_EDGE not in found.row(PORT, steered_for=MADE_GOOD).remark


def test_tack_that_no_course_serves_says_so(invented: Any) -> None:
    """A current of 8 kn, nearly along with 7 kn of wind, turns the wind by almost a right angle: the headed
    tack would make good to windward only where the boat does not sail.
    """
    found = invented("upwind", tws_kn=7.0, current_kn=8.0, set_deg=150.0)
    assert found.rows[0].wind_shift_deg > 80.0
    row = found.row(STARBOARD, steered_for=MADE_GOOD)
    assert row.status == "no_equilibrium"
    assert "No course on starboard tack" in row.reason
    assert math.isnan(row.made_good_kn)
    assert math.isnan(row.course_over_ground_deg)
    told = " ".join(found.summary())
    assert "nan" not in told
    assert "carried to one side" in told
    assert len(found.to_frame()) == 4


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (
            {"tws_kn": 0.0, "current_kn": -1.0, "set_deg": 400.0},
            ["tws = 0 kn", "current = -1 kn", "set = 400"],
        ),
        ({"twa_deg": "across"}, ["twa = 'across'"]),
        ({"twa_deg": 190.0, "current_kn": math.nan}, ["twa = 190 deg", "current = nan kn"]),
        ({"set_deg": 180.0, "current_kn": 12.0}, ["no wind over the water"]),
        ({"tws_kn": 39.0, "set_deg": 0.0}, ["wind over the water, tws = 41 kn"]),
    ],
)
def test_bad_input_is_told_all_at_once(invented: Any, changes: dict[str, Any], said: list[str]) -> None:
    asked = {"tws_kn": 12.0, "twa_deg": "upwind", "current_kn": 2.0, "set_deg": 90.0} | changes
    with pytest.raises(CurrentError) as caught:
        in_current(synthetic.make_boat_file(), **asked)
    assert len(caught.value.problems) == len(said)
    for problem, words in zip(caught.value.problems, said, strict=True):
        assert words in problem


def test_unknown_option_is_the_boat_files(invented: Any) -> None:
    with pytest.raises(BoatFileError, match="no option of that name"):
        in_current(
            synthetic.make_boat_file(), tws_kn=9.0, twa_deg=60.0, current_kn=1.0, set_deg=0.0, option="nope"
        )
