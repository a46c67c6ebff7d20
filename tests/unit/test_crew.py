"""Crew weight and place told apart, and the break-even wind of more weight."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

from tests.support.coarse_files import coarse_file, without_sail_set
from tests.support.crew import invent
from vpp import config
from vpp.crew import (
    AFT,
    BREAK_EVEN_COLUMNS,
    FORWARD,
    GAIN_COLUMNS,
    HEAVIER,
    OUT,
    CrewChangeError,
    CrewWorth,
    crew_worth,
    shifted_place,
)
from vpp.crew_plot import crew_figure, crew_plot
from vpp.results.variables import KNOT
from vpp.solved import Conditions
from vpp.wardrobe import made_good, solve

CONFIGS = Path(__file__).parents[2] / "configs"
KEELBOAT, FOILER, SAILS = (
    CONFIGS / f"{name}.toml" for name in ("keelboat", "foiling_monohull", "keelboat_sails")
)
WINDS = (4.0, 10.0, 20.0)


@pytest.fixture(scope="module")
def coarse(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demo keelboat and two of its sail sets on few stations a sail: quicker, and near
    enough.
    """
    folder = tmp_path_factory.mktemp("coarse")
    sails = coarse_file(folder, SAILS.name, KEELBOAT.name)
    # the file of options adds a large sail beside the sets that are compared
    wardrobe, _, _ = sails.read_text().partition('[[option]]\nname = "offwind"')
    sails.write_text(without_sail_set(wardrobe, "working_jib"))
    return folder


@pytest.fixture(scope="module")
def keelboat(coarse: Path) -> CrewWorth:
    """The demo keelboat, solved."""
    return crew_worth(config.load(coarse / KEELBOAT.name), tws_kn=WINDS)


def _gain(worth: CrewWorth, change: str, aim: str, *, option: str = "base") -> np.ndarray:
    return worth.gain_kn()[worth.place(option, change), :, worth.row_names().index(aim)]


def test_weight_on_the_rail_costs_in_light_air_and_pays_in_a_breeze(keelboat: CrewWorth) -> None:
    # the crew hikes upwind: common practice, no source
    gain = _gain(keelboat, HEAVIER, "upwind")
    assert gain[0] < 0.0 < gain[-1]
    # off the wind the boat is hardly heeled, and weight is only weight: common practice, no source
    assert (_gain(keelboat, HEAVIER, "downwind") < 0.0).all()


def test_gain_vanishes_at_the_break_even_wind(keelboat: CrewWorth) -> None:
    (found,) = [item for item in keelboat.break_even() if item.aim == "upwind"]
    assert found.gain_above
    assert 4.0 < found.from_tws_kn < found.tws_kn < found.to_tws_kn < 10.0
    assert found.to_tws_kn - found.from_tws_kn <= 0.1
    boats = keelboat.polar.solved.boats
    option = np.array([keelboat.place("base"), keelboat.place("base", HEAVIER)])
    here = Conditions(
        option=option,
        tws=np.full(2, found.tws_kn * KNOT),
        twa=np.full(2, np.nan),
        aim=np.full(2, "upwind"),
    )
    left = abs(float(np.diff(made_good(solve(boats, here)))[0]) / KNOT)
    # against what the weight loses and gains at the winds of the grid on either side
    assert left < 0.02 * np.abs(_gain(keelboat, HEAVIER, "upwind")[:2]).min()


def test_more_weight_floats_deeper_and_changes_nothing_else_of_the_crew(keelboat: CrewWorth) -> None:
    filed, heavier = keelboat.polar.solved.boats[:2]
    assert heavier.total_mass - filed.total_mass == pytest.approx(10.0)
    sunk = heavier.hull.canoe_volume - filed.hull.canoe_volume
    assert sunk == pytest.approx(10.0 / filed.environment.water_density)
    assert heavier.hull.wetted_area > filed.hull.wetted_area
    crews = filed.crew, heavier.crew
    assert crews[0].drag_area == crews[1].drag_area
    assert crews[0].arm == crews[1].arm
    assert crews[0].x == crews[1].x


def test_further_out_helps_only_where_the_crew_is_out(keelboat: CrewWorth) -> None:
    upwind, downwind = (_gain(keelboat, OUT, aim) for aim in ("upwind", "downwind"))
    arm = keelboat.polar.rows("crew_arm_m")[0]
    greatest = keelboat.polar.solved.boats[0].crew.arm.upper
    for gain, used in ((upwind, arm[:, 1]), (downwind, arm[:, 2])):
        out = used > greatest - 1e-3
        assert (gain[out] > 1e-3).all()
        assert np.abs(gain[~out]).max(initial=0.0) < 1e-5


def test_weight_rights_by_its_arm_less_its_height(keelboat: CrewWorth) -> None:
    # by hand: ten kilograms at arm a and height z right by m g (a cos heel - z sin heel), since the water
    # that they displace is added at the water plane; and the crew 10 cm further out by M g 0.1 m cos heel
    boat = keelboat.polar.solved.boats[0]
    last, upwind = len(WINDS) - 1, keelboat.row_names().index("upwind")
    heel = keelboat.polar.rows("heel_deg")[:, last, upwind]
    np.testing.assert_allclose(heel, 25.0, atol=1e-3)  # at the limit, so that all sail at the same heel
    moment = keelboat.polar.rows("righting_moment_nm")[:, last, upwind]
    gained = moment[1:] - moment[0]
    cos, sin = math.cos(math.radians(25.0)), math.sin(math.radians(25.0))
    weight = 10.0 * 9.80665 * (1.5 * cos - boat.crew.z * sin)
    place = boat.crew.mass * 9.80665 * 0.1 * cos
    np.testing.assert_allclose(gained, [weight, place], rtol=0.01)


def test_table_has_a_row_for_every_change_and_condition(keelboat: CrewWorth) -> None:
    frame = keelboat.to_frame()
    assert tuple(frame.columns) == GAIN_COLUMNS
    assert len(frame) == 2 * len(WINDS) * 3
    assert set(frame["change"]) == {HEAVIER, OUT}
    np.testing.assert_allclose(frame["gain_kn"], frame["changed_kn"] - frame["unchanged_kn"])
    np.testing.assert_allclose(frame["gain_percent"], 100.0 * frame["gain_kn"] / frame["unchanged_kn"])
    assert tuple(keelboat.break_even_frame().columns) == BREAK_EVEN_COLUMNS


def test_sentences_say_where_weight_breaks_even_and_where_not(keelboat: CrewWorth) -> None:
    told = keelboat.summary()
    (found,) = [item for item in keelboat.break_even() if item.aim == "upwind"]
    assert told[0].startswith(
        f"base, upwind: 10 kg more breaks even at {found.tws_kn:.1f} kn (slower below and faster above): "
    )
    assert any(
        line.startswith(
            "base, downwind: 10 kg more: break-even wind none: slower at all winds from 4 to 20 kn"
        )
        for line in told
    )
    assert "base, downwind: 10 cm out: level in all winds." in told
    assert any("drag area unchanged" in note for note in keelboat.notes())


def test_sail_sets_are_chosen_for_each_boat(coarse: Path) -> None:
    worth = crew_worth(config.load(coarse / SAILS.name), tws_kn=(14.0,), options=("wardrobe",))
    assert (worth.polar.sail_set != "").all()
    assert worth.polar.converged.all()
    assert _gain(worth, OUT, "upwind", option="wardrobe")[0] > 0.0


# --- on invented results ------------------------------------------------------------------------------------


def test_every_change_of_sign_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    invent(monkeypatch, {"heavier": lambda tws: -0.01 * np.cos(math.pi * tws / 12.0)})
    worth = crew_worth(config.load(KEELBOAT), tws_kn=(4.0, 8.0, 12.0, 16.0, 20.0), twa_deg=(60.0, 90.0))
    assert len(worth.break_even()) == 2 * 4
    for item in worth.break_even():
        # the invented gain vanishes at 6 and 18 kn
        assert item.tws_kn == pytest.approx(6.0 if item.gain_above else 18.0, abs=2e-3)
        assert item.note == ""
    assert set(worth.break_even_frame()["twa_deg"].dropna()) == {60.0, 90.0}
    (told,) = [line for line in worth.summary() if line.startswith("base, TWA 60 deg: 10 kg")]
    assert "6.0 kn (slower below and faster above); 18.0 kn (faster below and slower above)" in told


def test_jump_is_no_break_even_wind(monkeypatch: pytest.MonkeyPatch) -> None:
    invent(monkeypatch, {"heavier": lambda tws: np.where(tws < 9.3, -0.01, 0.01)})
    worth = crew_worth(config.load(KEELBOAT), tws_kn=(8.0, 12.0))
    for item in worth.break_even():
        assert math.isnan(item.tws_kn)
        assert item.from_tws_kn < 9.3 <= item.to_tws_kn
        assert item.note == "the gain jumps"
    assert "a wind between 9.28 and 9.31 kn" in worth.summary()[0]


def test_take_off_of_one_boat_is_no_break_even_wind(monkeypatch: pytest.MonkeyPatch) -> None:
    def flies(name: str, tws_kn: np.ndarray) -> np.ndarray:
        return tws_kn > (9.3 if name.endswith("heavier") else 9.0)

    invent(monkeypatch, {"heavier": lambda tws: np.where(tws < 9.3, -0.3, 0.01)}, flies=flies)
    worth = crew_worth(config.load(KEELBOAT), tws_kn=(8.0, 9.2, 12.0))
    assert {item.note for item in worth.break_even()} == {
        "the gain jumps where the way of being carried changes"
    }
    marks = worth.marks()[worth.place("base", HEAVIER)]
    assert (marks[1] == "v").all()
    assert (marks[[0, 2]] == "").all()
    assert any("only the changed boat is foil-borne" in note for note in worth.notes())
    ax = crew_plot(Figure().subplots(), worth, option="base", row=1)
    assert np.isnan(ax.lines[1].get_ydata()[1])


def test_break_even_without_results_around_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    invent(
        monkeypatch,
        {"heavier": lambda tws: 0.001 * (tws - 9.5)},
        fails=lambda name, tws: (tws > 9.0) & (tws < 10.0),
    )
    worth = crew_worth(config.load(KEELBOAT), tws_kn=(8.0, 12.0))
    for item in worth.break_even():
        assert math.isnan(item.tws_kn)
        assert (item.from_tws_kn, item.to_tws_kn) == pytest.approx((8.8, 10.4))
        assert item.note == "no result of both boats in between"


def test_failed_conditions_keep_their_rows_and_are_gaps(monkeypatch: pytest.MonkeyPatch) -> None:
    invent(monkeypatch, {"heavier": lambda tws: -0.001 + 0.0 * tws}, fails=lambda name, tws: tws == 8.0)
    worth = crew_worth(config.load(KEELBOAT), tws_kn=(6.0, 8.0, 10.0))
    frame = worth.to_frame()
    failed = frame[frame["tws_kn"] == 8.0]
    assert len(failed) == 2 * 3
    assert failed["gain_kn"].isna().all()
    assert set(failed["changed_status"]) == {"no_equilibrium"}
    assert worth.break_even() == []
    assert "slower at all winds from 6 to 10 kn that have a result" in worth.summary()[0]
    ax = crew_plot(Figure().subplots(), worth, option="base", row=1)
    drawn = ax.lines[1].get_ydata()
    assert np.isnan(drawn[1])
    assert np.isfinite(drawn[[0, 2]]).all()


def test_gains_are_against_the_unchanged_boat_of_the_same_option(monkeypatch: pytest.MonkeyPatch) -> None:
    invent(
        monkeypatch,
        {
            "base, heavier": lambda tws: 0.01 + 0.0 * tws,
            "more_crew": lambda tws: 0.5 + 0.0 * tws,
            "more_crew, heavier": lambda tws: 0.52 + 0.0 * tws,
        },
    )
    worth = crew_worth(config.load(KEELBOAT), tws_kn=(8.0, 12.0), options=("base", "more_crew"))
    share = worth.gain_percent()
    np.testing.assert_allclose(share[worth.place("base", HEAVIER)], 1.0)
    np.testing.assert_allclose(share[worth.place("more_crew", HEAVIER)], 100.0 * 0.02 / 1.5)
    assert worth.options == ("base", "more_crew")
    # one more of 80 kg, and the ten
    assert worth.polar.solved.boats[worth.place("more_crew", HEAVIER)].crew.mass == pytest.approx(570.0)


def test_boat_free_to_pitch_has_its_crew_moved_fore_and_aft(monkeypatch: pytest.MonkeyPatch) -> None:
    invent(
        monkeypatch,
        {
            "further forward": lambda tws: np.where(tws < 10.0, 0.01, -0.01),
            "further aft": lambda tws: 0.01 + 0.0 * tws,
        },
    )
    worth = crew_worth(config.load(FOILER), tws_kn=(8.0, 12.0))
    assert worth.changes("base") == (HEAVIER, OUT, FORWARD, AFT)
    filed, forward, aft = (
        worth.polar.solved.boats[worth.place("base", change)].crew.x for change in ("", FORWARD, AFT)
    )
    assert forward - filed == pytest.approx(0.1)
    assert aft - filed == pytest.approx(-0.1)
    # where both ways gain, the unchanged boat was not at its best
    notes = [note for note in worth.notes() if "forward and aft both gain" in note]
    assert len(notes) == 3
    assert all(" at 8 kn: " in note for note in notes)


def test_place_is_shifted_whether_it_is_trimmed_or_not() -> None:
    assert shifted_place({"x_m": -1.8, "z_m": 1.0}, 0.1) == {"x_m": -1.7}
    trimmed = shifted_place({"x_min_m": -2.0, "x_max_m": -1.0, "arm_max_m": 1.5}, -0.1)
    assert trimmed == {"x_min_m": -2.1, "x_max_m": -1.1}


def test_arm_that_is_not_trimmed_stays_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    invent(monkeypatch, {})
    path = _altered(tmp_path, "arm_min_m = 0.0 ", "arm_min_m = 1.5 ")
    worth = crew_worth(config.load(path), tws_kn=(8.0,))
    arm = worth.polar.solved.boats[worth.place("base", OUT)].crew.arm
    assert (arm.lower, arm.upper) == pytest.approx((1.6, 1.6))


def test_crew_may_be_further_out_than_a_boat_file_allows(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    invent(monkeypatch, {})
    # the crew of a file may be 1 m outside the half beam of 1.5 m
    path = _altered(tmp_path, "arm_max_m = 1.5 ", "arm_max_m = 2.45 ")
    worth = crew_worth(config.load(path), tws_kn=(8.0,))
    assert worth.polar.solved.boats[worth.place("base", OUT)].crew.arm.upper == pytest.approx(2.55)


def test_place_that_the_boat_file_does_not_allow_is_left_out(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    invent(monkeypatch, {})
    table = FOILER.read_text().partition("[[option]]")[0].partition("[crew]")
    path = tmp_path / "far_aft.toml"
    # positions end 25 m aft of midships
    path.write_text(table[0] + table[1] + re.sub(r"\bx_m = \S+", "x_m = -24.95", table[2], count=1))
    worth = crew_worth(config.load(path), tws_kn=(8.0,))
    assert worth.changes("base") == (HEAVIER, OUT, FORWARD)
    (note,) = worth.left_out
    assert note.startswith("left out of base, further aft: ")
    assert "allowed: -25 to 25 m" in note
    assert note in worth.notes()


def test_more_weight_than_the_boat_may_have_is_refused() -> None:
    with pytest.raises(config.BoatFileError, match="mass_kg = 3480"):
        crew_worth(config.load(KEELBOAT), tws_kn=(8.0,), extra_kg=3000.0)
    with pytest.raises(config.BoatFileError, match="no option of that name"):
        crew_worth(config.load(KEELBOAT), tws_kn=(8.0,), options=("nope",))


def test_changes_that_change_nothing_are_refused() -> None:
    with pytest.raises(CrewChangeError) as refused:
        crew_worth(config.load(KEELBOAT), extra_kg=0.0, shift_m=math.nan)
    assert len(refused.value.problems) == 2


def test_file_that_has_changed_since_it_was_read_is_refused(tmp_path: Path) -> None:
    path = _altered(tmp_path, "arm_max_m = 1.5 ", "arm_max_m = 1.6 ")
    boat_file = config.load(path)
    path.write_text(path.read_text().replace("arm_max_m = 1.6 ", "arm_max_m = 1.7 "))
    with pytest.raises(config.BoatFileError, match="has changed since it was read"):
        crew_worth(boat_file, tws_kn=(8.0,))


def test_figure_has_a_panel_for_each_aim_and_marks_break_even(monkeypatch: pytest.MonkeyPatch) -> None:
    invent(monkeypatch, {"heavier": lambda tws: 0.001 * (tws - 9.0)})
    worth = crew_worth(config.load(KEELBOAT), tws_kn=(8.0, 12.0), twa_deg=(60.0, 90.0))
    figure = crew_figure(worth, option="base")
    assert [ax.get_title(loc="left") for ax in figure.axes] == [
        "upwind", "downwind", "TWA 60 deg", "TWA 90 deg"
    ]  # fmt: skip
    assert all([text.get_text() for text in ax.texts] == ["9.0"] for ax in figure.axes)


def _altered(folder: Path, before: str, after: str) -> Path:
    """A copy of the demo keelboat without options that differs in a value."""
    text = KEELBOAT.read_text().partition("[[option]]")[0]
    assert text.count(before) == 1
    path = folder / "altered.toml"
    path.write_text(text.replace(before, after))
    return path
