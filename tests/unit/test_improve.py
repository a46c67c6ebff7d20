"""The demo keelboat made faster: slopes, following, known answers, prices of limits, fronts, stopping."""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.optimize import minimize_scalar

import vpp
from tests.support import keelboat
from tests.support.solved_once import solved_once
from vpp.boat import Boat
from vpp.config import BoatFile, load
from vpp.config.course_file import load_course
from vpp.config.movable import MovableKeys
from vpp.doubt_following import Drawn
from vpp.improve import ImproveError, NoStart, Search, improve
from vpp.improve_aims import CourseAim, State
from vpp.improve_asked import against_wanted, aim_of, angles_of, conditions_of, course_wanted, speed_wanted
from vpp.improve_doubt import course_times_of
from vpp.improve_following import Standing, follow_to, speed_slopes, standing
from vpp.improve_plot import front_figure, path_figure
from vpp.improve_result import ACCEPTED, FOLLOWED, REFUSED, SOLVED, Improvement
from vpp.polar import WindGridError, source_of
from vpp.results.variables import DEGREE, KNOT
from vpp.rule_box import judge, limits_of
from vpp.solved import SPEED, Conditions
from vpp.solver.stopping import keep_on_interrupt
from vpp.wardrobe import made_good, solve

REACHES = {"tws_kn": (12.0,), "twa": (60.0, 100.0)}
REACH = {"tws_kn": (12.0,), "twa": (100.0,)}
COURSE = keelboat.FILE.parent / "courses" / "two_lap_course.toml"


@cache
def coarse() -> Path:
    """The keelboat's file with fewer strips on its sails, which is quicker."""
    text = keelboat.FILE.read_text(encoding="utf-8")
    for before, after in (
        ("station_count = 14 ", "station_count = 6 "),
        ("station_count = 8 ", "station_count = 4 "),
    ):
        assert before in text
        text = text.replace(before, after)
    path = Path(tempfile.mkdtemp()) / "keelboat.toml"
    path.write_text(text, encoding="utf-8")
    return path


@cache
def boat_file() -> BoatFile:
    return load(coarse())


def with_rule_box(folder: Path, greatest_m2: float) -> BoatFile:
    """The keelboat with a rule on its sail area (invented)."""
    rule = (
        '\n[[rule_box]]\nname = "area"\nclause = "1 greatest sail area"\nquantity = "total_sail_area"\n'
        f"greatest_m2 = {greatest_m2}\n"
    )
    path = folder / f"boxed_{greatest_m2}.toml"
    path.write_text(coarse().read_text(encoding="utf-8") + rule, encoding="utf-8")
    return load(path)


@pytest.fixture(scope="module", autouse=True)
def _solved_once() -> Iterator[None]:
    with solved_once("vpp.improve"):
        yield


def boat_with(search: Search, value: float) -> Boat:
    """The boat with a value of the first number."""
    return search.boats.boat(search.boats.place((value,)))


def gains_percent(search: Search, values: Sequence[float]) -> np.ndarray:
    """Per cent gained by the first number at each of some values, all boats solved afresh."""
    boats = [search.boats.movable.boat, *(boat_with(search, value) for value in values)]
    of = search.conditions
    every = of.take(np.tile(np.arange(len(of)), len(boats)))
    solved = solve(boats, replace(every, option=np.repeat(np.arange(len(boats)), len(of))))
    built, *made = made_good(solved).reshape(len(boats), -1)
    return 100.0 * np.mean(np.array(made) / built, axis=1) - 100.0


@cache
def keel() -> Improvement:
    """One number between its bounds."""
    return improve(boat_file(), vary={"fin.keel.span_m": (1.2, 2.2)}, **REACHES)


# --- slopes and following -----------------------------------------------------------------------------------


def test_slopes_are_those_of_boats_solved_again_on_the_way_too() -> None:
    vary = {"sail.main.chord_m": (80.0, 120.0), "fin.keel.span_m": (1.2, 2.2), "crew.mass_kg": (300.0, 700.0)}
    search = Search(boat_file(), vary=vary, **REACHES)
    boats, conditions = search.boats, search.conditions
    at = boats.place((104.0, 1.6, 450.0))
    here = standing(solve((boats.boat(at),), conditions))
    slopes = speed_slopes(here, boats.boat(at), boats.neighbours(at))
    for row, step in enumerate((1.0, 0.02, 5.0)):
        moved = []
        for side in (1.0, -1.0):
            values = np.array(boats.values(at))
            values[row] += side * step
            moved.append(boats.boat(boats.place(values.tolist())))
        both = replace(
            conditions.followed_by(conditions), option=np.repeat(np.arange(2, dtype=np.intp), len(conditions))
        )
        more, less = (made_good(solve(moved, both)) / KNOT).reshape(2, -1)
        again = (more - less) / (2.0 * step)
        # 1 %: the accuracy that levers promise
        assert slopes[:, row] == pytest.approx(again, rel=0.01, abs=1e-7)


def test_following_comes_to_what_a_search_from_afar_finds() -> None:
    vary = {"sail.main.chord_m": (80.0, 120.0), "rig.mast_x_m": (0.5, 1.2)}
    search = Search(boat_file(), vary=vary, tws_kn=(10.0,), twa=("upwind", 90.0))
    start = standing(solve((search.boats.movable.boat,), search.conditions))
    boat = search.boats.boat(search.boats.place((108.0, 0.7)))
    followed = follow_to(start, boat, search.conditions)
    afar = standing(solve((boat,), search.conditions))
    assert followed.searched == 0
    assert followed.made_good_kn == pytest.approx(afar.made_good_kn, rel=1e-8)
    assert followed.twa_deg == pytest.approx(afar.twa_deg, abs=1e-3)


# --- known answers ------------------------------------------------------------------------------------------


def test_one_number_ends_where_a_search_along_it_by_solving_afresh_ends() -> None:
    """Boats all along the range, every one solved from afar, and the best between them."""
    search = Search(boat_file(), vary={"fin.keel.span_m": (1.2, 2.2)}, **REACHES)
    spans = np.linspace(1.2, 2.2, 21)
    gains = CubicSpline(spans, gains_percent(search, spans.tolist()))
    best = minimize_scalar(
        lambda span: -float(gains(span)), bounds=(1.2, 2.2), method="bounded", options={"xatol": 1e-4}
    )
    found = keel()
    # the aim is flat there: a hundredth of a metre is 1e-5 per cent
    assert found.keys[0].improved == pytest.approx(float(best.x), abs=0.01)
    assert found.gain_percent == pytest.approx(-float(best.fun), abs=1e-4)
    assert found.keys[0].at == ""
    assert not found.held


def test_a_clause_that_binds_is_kept_to_the_letter_and_its_price_is_what_more_room_buys(
    tmp_path: Path,
) -> None:
    vary = {"sail.main.chord_m": (90.0, 120.0)}
    found = improve(with_rule_box(tmp_path, 61.0), vary=vary, **REACH)
    (verdict,) = found.verdicts
    assert verdict.holds
    assert verdict.measured == pytest.approx(61.0, abs=1e-3)
    (held,) = found.held
    assert (held.kind, held.side, held.unit) == ("rule box", "greatest", "m²")
    assert held.name == "1 greatest sail area"
    # with a quarter of a square metre less and more, which are used up as well
    search = Search(boat_file(), vary=vary, **REACH)
    areas = [sum(sail.area for sail in boat_with(search, chord).every_sail) for chord in (90.0, 120.0)]
    chords = np.interp([60.75, 61.25], areas, (90.0, 120.0))
    less, more = gains_percent(search, chords.tolist())
    assert less < found.gain_percent < more
    bought = (more - less) / 0.5
    assert held.gain_percent_per_unit == pytest.approx(bought, rel=0.03)


def test_a_boat_that_breaks_its_rule_box_is_mended_though_that_costs_speed(tmp_path: Path) -> None:
    vary = {"sail.main.chord_m": (80.0, 110.0)}
    found = improve(with_rule_box(tmp_path, 57.0), vary=vary, **REACH)
    assert found.mends
    assert found.is_better
    assert found.gain_percent < 0.0
    assert found.verdicts[0].measured == pytest.approx(57.0, abs=1e-3)
    assert found.verdicts[0].holds
    assert "breaks its rule box; the boat found keeps to it" in found.in_words()[0]


def test_a_bound_that_binds_says_what_more_room_buys() -> None:
    found = improve(boat_file(), vary={"sail.main.chord_m": (90.0, 104.0)}, **REACH)
    (held,) = found.held
    assert (held.kind, held.side, held.bound) == ("bound", "greatest", 104.0)
    assert found.keys[0].at == "at its greatest"
    search = Search(boat_file(), vary={"sail.main.chord_m": (90.0, 105.0)}, **REACH)
    less, more = gains_percent(search, (103.0, 105.0))
    assert less < found.gain_percent < more
    bought = (more - less) / 2.0
    assert held.gain_percent_per_unit == pytest.approx(bought, rel=0.03)
    assert held.step_gain_percent == pytest.approx(held.gain_percent_per_unit * 1.0)


def test_what_the_boat_file_refuses_is_a_limit_with_its_reason() -> None:
    found = improve(boat_file(), vary={"sail.main.head_height_m": (14.0, 16.5)}, **REACH)
    (held,) = found.held
    assert held.kind == "boat file"
    assert held.bound == pytest.approx(15.2, abs=0.01)  # the mast's top
    assert "mast" in held.said
    assert any("boat file allows of sail.main.head_height_m" in sentence for sentence in found.in_words())


def test_numbers_joined_with_plus_move_together_past_that() -> None:
    name = "sail.main.head_height_m+rig.mast_top_height_m"
    found = improve(boat_file(), vary={name: (14.0, 15.5)}, **REACH)
    assert found.keys[0].improved == pytest.approx(15.5)
    assert "rig.mast_top_height_m = 16.0\n" in found.option_toml()


def test_an_end_without_a_result_sends_the_search_back_along_its_path(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    search = Search(boat_file(), vary={"sail.main.chord_m": (90.0, 110.0)}, **REACH)
    afar = search._from_afar

    def not_beyond(boat: Boat) -> Standing:
        found = afar(boat)
        chord = next(sail for sail in boat.sails if sail.name == "main").chord_at(1.9)
        if chord < 1.07 * 4.2:
            return found
        nothing = np.full_like(found.made_good_kn, np.nan)
        return replace(found, made_good_kn=nothing, reason=np.array(["too much sail"], dtype=object))

    monkeypatch.setattr(search, "_from_afar", not_beyond)
    search.run()
    found = search.finish()
    assert found.keys[0].improved == pytest.approx(105.0)
    assert found.gain_percent > 0.0
    assert any(sentence.startswith("Beyond this boat") for sentence in found.in_words())
    assert "solved from afar: TWA 100 deg at 12 kn: too much sail" in found.path()["reason"].tolist()


def test_where_the_end_is_slower_from_afar_the_boat_as_built_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    search = Search(boat_file(), vary={"sail.main.chord_m": (90.0, 110.0)}, **REACH)
    afar = search._from_afar

    def slower_if_changed(boat: Boat) -> Standing:
        found = afar(boat)
        return found if boat.name == "base" else replace(found, made_good_kn=0.9 * found.made_good_kn)

    monkeypatch.setattr(search, "_from_afar", slower_if_changed)
    search.run()
    found = search.finish()
    assert not found.is_better
    assert found.keys[0].improved == found.keys[0].built
    assert any("slower when solved from afar" in sentence for sentence in found.in_words())


# --- the result ---------------------------------------------------------------------------------------------


def test_the_option_can_be_put_into_the_boat_file_and_is_the_boat_that_was_solved(tmp_path: Path) -> None:
    found = keel()
    path = tmp_path / "keelboat.toml"
    path.write_text(coarse().read_text(encoding="utf-8") + "\n" + found.option_toml(), encoding="utf-8")
    boat = load(path).boat("improved")
    assert replace(boat, says="") == replace(found.boat, says="")
    made = standing(solve((boat,), conditions_of([speed_wanted(**REACHES)])[0])).made_good_kn
    assert made == pytest.approx([gain.improved_kn for gain in found.gains], rel=1e-9)
    assert found.gain_percent == pytest.approx(np.mean([gain.gain_percent for gain in found.gains]), abs=1e-9)


def test_a_name_that_is_taken_gets_a_number() -> None:
    search = Search(boat_file(), vary={"fin.keel.span_m": (1.2, 2.2)}, name="long_luff", **REACHES)
    assert search.name == "long_luff_2"


def test_the_path_only_climbs_and_ends_with_a_boat_solved_from_afar() -> None:
    path = keel().path()
    accepted = path[(path["how"] == SOLVED) | (path["outcome"] == ACCEPTED)]
    assert np.all(np.diff(accepted["gain_percent"]) > -1e-4)
    assert path["how"].tolist()[0] == path["how"].tolist()[-1] == SOLVED
    assert FOLLOWED in set(path["how"])
    assert path["fin.keel.span_m"].tolist()[0] == 1.5


def test_a_number_that_gains_nothing_stays_as_built() -> None:
    vary = {"fin.keel.span_m": (1.2, 2.2), "margins.heel_deg": (20.0, 35.0)}
    found = improve(boat_file(), vary=vary, **REACHES)
    margin = found.keys[1]
    assert margin.improved == margin.built
    assert margin.worth_percent == pytest.approx(0.0, abs=1e-3)
    assert found.keys[0].worth_percent == pytest.approx(found.gain_percent, abs=1e-3)


def test_where_nothing_is_better_it_says_so_and_offers_no_option() -> None:
    found = improve(boat_file(), vary={"sail.main.chord_m": (80.0, 100.0)}, **REACH)
    assert not found.is_better
    assert found.gain_percent == pytest.approx(0.0, abs=1e-9)
    assert found.in_words()[0].startswith("The boat as built is the best that was found")


def test_weights_count() -> None:
    weight = np.array((1.0, 3.0))
    found = improve(
        boat_file(), vary={"sail.main.chord_m": (90.0, 101.0)}, twa_weight=weight.tolist(), most=1, **REACHES
    )
    by_angle = np.array([gain.gain_percent for gain in found.gains])
    assert found.gain_percent == pytest.approx(float(weight @ by_angle / weight.sum()), abs=1e-9)
    assert found.gain_percent != pytest.approx(by_angle.mean(), rel=1e-3)
    assert found.gain_percent != pytest.approx(by_angle[0], rel=1e-3)


def test_more_starts_never_end_worse() -> None:
    one = keel()
    more = improve(boat_file(), vary={"fin.keel.span_m": (1.2, 2.2)}, starts=2, **REACHES)
    assert more.gain_percent >= one.gain_percent - 1e-6
    assert "start 2" in set(more.path()["search"])


def test_everything_is_written_and_read_back(tmp_path: Path) -> None:
    found = keel()
    written = found.write(tmp_path / "out")
    names = {path.name for path in written.files}
    assert {"numbers.csv", "gains.csv", "limits.csv", "path.csv", "option.toml", "about.json"} <= names
    told = json.loads((tmp_path / "out" / "about.json").read_text(encoding="utf-8"))
    assert set(told["files"]) == names
    assert told["gain_percent"] == found.gain_percent
    assert (tmp_path / "out" / "option.toml").read_text(encoding="utf-8") == found.option_toml()


# --- fronts -------------------------------------------------------------------------------------------------


@cache
def front() -> Improvement:
    """Speed on a reach against the area of the sails."""
    vary = {"sail.main.chord_m": (90.0, 110.0), "sail.jib.chord_m": (90.0, 110.0)}
    return improve(boat_file(), vary=vary, tws_kn=(12.0,), twa=(100.0,), against="total_sail_area", points=3)


def test_the_front_goes_from_one_aim_to_the_other_and_nothing_on_it_is_dominated() -> None:
    found = front()
    gains = np.array([(point.gain_percent, point.against_percent) for point in found.front])
    assert len(gains) == 3
    assert np.all(np.diff(gains[:, 0]) < 0.0)
    assert np.all(np.diff(gains[:, 1]) > 0.0)
    # but for the thousandth of its range that the second aim leaves at its end for the first to settle
    assert found.front[-1].values == pytest.approx((90.0, 90.0), abs=0.1)
    tried = found.path()
    tried = tried[tried["outcome"] != REFUSED]
    for gain, less in gains:
        better = (tried["gain_percent"] > gain + 2e-3) & (tried["against_percent"] > less + 2e-3)
        assert not better.any()


def test_the_second_aim_is_told_in_its_unit() -> None:
    found = front()
    boat = boat_file().boat("base")
    area = sum(sail.area for sail in boat.every_sail)
    for point in found.front:
        assert point.against_told == pytest.approx(area * (1.0 - point.against_percent / 100.0), rel=1e-9)
    assert found.against_unit == "m²"


def test_figures_show_the_path_and_the_front() -> None:
    found = front()
    words = " ".join(
        text.get_text()
        for figure in (path_figure(found), front_figure(found))
        for text in figure.findobj(lambda artist: hasattr(artist, "get_text"))
    )
    for said in (
        "solved from afar",
        "sail.jib.chord_m",
        "as built",
        "total sail area",
        "better than built, %",
    ):
        assert said in words


def test_draws_tell_how_sure_the_gain_is_against_the_option_that_it_began_with() -> None:
    found = improve(
        boat_file(),
        vary={"sail.main.chord_m": (95.0, 105.0)},
        option="taller_rig",
        tws_kn=(12.0,),
        twa=(100.0,),
        draws=16,
    )
    band = found.band
    assert band is not None
    assert (band.draws, band.known, band.better_share) == (16, 16, 1.0)
    # the same draws for both boats: the gain varies far less than the speeds do
    assert band.low_percent <= band.middle_percent <= band.high_percent
    assert band.middle_percent == pytest.approx(found.gain_percent, rel=0.2)
    assert 'parent = "taller_rig"' in found.option_toml()
    assert any(sentence.startswith("How sure: +") for sentence in found.in_words())


# --- round a course -----------------------------------------------------------------------------------------


def invented(conditions: Conditions, factor: float = 1.0) -> Standing:
    """Speeds that rise with the wind, with their best VMG each way; no boat."""

    def share(twa: np.ndarray) -> np.ndarray:
        return np.sin(twa) ** 0.7 * np.exp(-0.25 * (twa - 1.9) ** 2)

    angles = np.linspace(0.2, 3.0, 100_001)
    up, down = (
        angles[np.argmax(share(angles) * np.cos(angles))],
        angles[np.argmin(share(angles) * np.cos(angles))],
    )
    best = conditions.aim != SPEED
    twa = np.where(best, np.where(conditions.aim == "upwind", up, down), conditions.twa)
    speed = factor * (3.0 + 0.4 * conditions.tws / KNOT) * share(twa)
    count = len(speed)
    return Standing(
        made_good_kn=np.where(best, speed * np.abs(np.cos(twa)), speed),
        twa_deg=twa / DEGREE,
        branch=np.full(count, "hull-borne", dtype=object),
        sail_set=np.full(count, "", dtype=object),
        reason=np.full(count, "", dtype=object),
        groups=(),
    )


def course_aim() -> tuple[CourseAim, State]:
    wanted = course_wanted(load_course(COURSE))
    conditions, (places,) = conditions_of([wanted])
    boat = boat_file().boat("base")
    state = State(boat=boat, standing=invented(conditions))
    aim = aim_of(wanted, conditions, places, state, source_of(boat_file(), [boat]))
    assert isinstance(aim, CourseAim)
    return aim, state


def test_a_boat_that_is_faster_everywhere_saves_that_share_of_the_time_but_not_of_the_turns() -> None:
    aim, state = course_aim()
    faster = State(boat=state.boat, standing=invented(aim.conditions, 1.01))
    assert aim.gain(state) == pytest.approx(0.0, abs=1e-12)
    assert 0.8 < aim.gain(faster) < 1.0


def test_a_course_is_sailed_in_each_draw_with_the_speeds_of_that_draw() -> None:
    aim, state = course_aim()
    rows = course_wanted(load_course(COURSE)).rows()
    places = np.random.default_rng(3).permutation(len(rows)).tolist()  # draws may lie in another order
    draws = [state.standing, invented(aim.conditions, 1.02), state.standing]
    shape = len(rows), len(draws)
    drawn = Drawn(
        option="base",
        made_good_kn=np.full(shape, np.nan),
        twa_deg=np.full(shape, np.nan),
        branch=np.full(shape, "", dtype=object),
        how=np.full(shape, SOLVED, dtype=object),
        reasons={},
        checks=(),
    )
    for draw, here in enumerate(draws):
        drawn.made_good_kn[places, draw] = here.made_good_kn
        drawn.twa_deg[places, draw] = here.twa_deg
        drawn.branch[places, draw] = here.branch
    drawn.made_good_kn[:, 2] = np.nan
    times = course_times_of(aim, drawn, places)
    assert times[0] == pytest.approx(aim.start_s, rel=1e-12)
    assert times[1] == pytest.approx(aim.time_s(draws[1]), rel=1e-12)
    assert np.isnan(times[2])


def test_slopes_of_the_time_round_a_course_are_those_of_sailing_it_with_other_speeds() -> None:
    aim, state = course_aim()
    made = state.standing.made_good_kn
    slopes = np.stack([0.01 * made, np.where(aim.conditions.aim == "upwind", 0.05, 0.0)], axis=1)
    found = aim.slopes(state, slopes, ())
    # upwind alone only a little: a best VMG that falls below an angle beside it is not sailed any more
    for row, step in enumerate((0.5, 0.01)):
        gains = [
            aim.gain(
                State(
                    boat=state.boat,
                    standing=replace(state.standing, made_good_kn=made + side * step * slopes[:, row]),
                )
            )
            for side in (1.0, -1.0)
        ]
        assert found[row] == pytest.approx((gains[0] - gains[1]) / (2.0 * step), rel=0.01)


# --- stopping, and what cannot be asked ---------------------------------------------------------------------


def test_a_search_that_is_stopped_keeps_its_best_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    search = Search(boat_file(), vary={"fin.keel.span_m": (1.2, 2.2)}, starts=3, **REACH)
    with keep_on_interrupt() as stop:
        note = search._note

        def stop_after_the_first(*given: object) -> None:
            note(*given)  # type: ignore[arg-type]
            if len(search.steps) > 1:
                stop.ask()

        monkeypatch.setattr(search, "_note", stop_after_the_first)
        search.run()
    found = search.finish()
    assert found.source.stopped
    assert found.is_solved  # from afar, once the search was over
    assert found.gain_percent > 0.0
    assert "start 2" not in set(found.path()["search"])


def test_all_that_is_wrong_is_said_at_once() -> None:
    with pytest.raises(ImproveError) as raised:
        Search(
            boat_file(),
            vary={
                "fin.keel.spam_m": (1.0, 2.0),
                "rig.mast_x_m": (2.0, 1.0),
                "crew.mass_kg": (500.0, 600.0),
                "sail.main.chord_m+fin.rudder.span_m": (1.0, 200.0),
                "fin.keel.offset_y_m": (0.0, 1.0),
                "sail.jib.chord_m": (99.99999, 100.0),
            },
            tws_kn=(8.0, 50.0),
            twa=("upwnd",),
            against="boat_mas",
            points=2,
        )
    told = "\n".join(raised.value.problems)
    for said in (
        'did you mean "fin.keel.span_m"?',
        "rig.mast_x_m: the bounds are reversed: 2 lies above 1",
        "the boat has 480 kg, outside 500 to 600: widen the bounds, or begin at an option",
        "numbers that move together need the same unit",
        "there is none of it",
        "leave nothing to vary",
        "tws = 50 kn: outside the allowed range",
        "twa = 'upwnd'",
        'did you mean "boat_mass"?',
        "points = 2: must be at least 3",
    ):
        assert said in told


def test_a_boat_without_a_result_to_begin_with_ends_the_search_with_the_condition() -> None:
    with pytest.raises(NoStart, match=r"TWA 2 deg at 12 kn: "):
        improve(boat_file(), vary={"fin.keel.span_m": (1.2, 2.2)}, tws_kn=(12.0,), twa=(2.0,))


@pytest.mark.parametrize("text", ["speed=3", "tws=8 tws=9", "", "chord:main:x", "tws=x"])
def test_second_aims_that_make_no_sense_are_refused(text: str) -> None:
    with pytest.raises(WindGridError, match="against = "):
        against_wanted(text, speed_wanted(**REACHES))


def test_second_aims_take_what_they_lack_from_the_first() -> None:
    first = speed_wanted(tws_kn=(8.0, 12.0), twa=("upwind", 100.0))
    winds, angles = against_wanted("tws=20", first), against_wanted("downwind,90:110:20", first)
    assert (winds.tws_kn, winds.twa) == ((20.0,), ("upwind", 100.0))  # type: ignore[union-attr]
    assert (angles.tws_kn, angles.twa) == ((8.0, 12.0), ("downwind", 90.0, 110.0))  # type: ignore[union-attr]
    assert angles_of("60, downwind", name="twa") == (60.0, "downwind")


def test_the_rule_box_of_an_option_holds_for_a_search_that_begins_there() -> None:
    foiler = load(keelboat.FILE.with_name("foiling_monohull.toml"))
    search = Search(foiler, vary={"crew.mass_kg": (400.0, 700.0)}, tws_kn=(12.0,), option="low_luff")
    assert len(search.boats.limits) == len(limits_of(foiler, "low_luff"))
    rooms = search.boats.rooms(search.boats.movable.boat)
    verdicts = {
        verdict.limit.name: verdict for verdict in judge(search.boats.movable.boat, search.boats.limits)
    }
    for clause, room in zip(search.boats.clauses, rooms, strict=True):
        assert (room >= 0.0) == verdicts[clause.limit.name].holds


def test_several_numbers_at_once_make_the_boat_of_an_option_with_them() -> None:
    movable = MovableKeys(boat_file(), "base")
    moved = movable.moved_to({"rig.mast_top_height_m": 0.5, "sail.main.head_height_m": 0.5}).boat
    option = boat_file().boat("taller_rig")
    assert replace(moved, name="", says="") == replace(option, name="", says="")
    # a share of chords is always one of those that are filed
    twice = movable.moved_to({"sail.main.chord_m": 10.0}).moved_to({"sail.main.chord_m": -10.0})
    assert twice.value_in_file("sail.main.chord_m") == pytest.approx(
        movable.value_in_file("sail.main.chord_m")
    )


def test_it_is_offered_by_the_package() -> None:
    assert vpp.improve is improve
    assert re.search(r"Improvement\(keelboat\.toml, base: \+0\.0", repr(keel()))
