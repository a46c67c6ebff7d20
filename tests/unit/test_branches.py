"""Polars, points, gains and figures of boats that can be carried in two ways, on invented results."""

from __future__ import annotations

import importlib
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from tests.support import synthetic, two_ways
from vpp import plots
from vpp.compare import Comparison, compare, find_crossovers
from vpp.polar import NoSuchBranch, Point, Polar, point, polar
from vpp.results.files import csv_text
from vpp.results.frames import branches_frame
from vpp.results.variables import COLUMNS, CONTROL_COLUMNS
from vpp.solved import BRANCHES, FOIL_BORNE, HULL_BORNE, NoEquilibrium

# at 100 deg the base flies from 8 kn, taller_rig from 6 kn and cut_head from 9 kn
WINDS, ANGLES = (6.0, 8.0, 12.0, 20.0), (30.0, 100.0, 160.0)


@pytest.fixture(autouse=True)
def _invented_results(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.import_module("vpp.polar"), "solve", two_ways.solve)


@pytest.fixture
def flying() -> Polar:
    return polar(two_ways.make_boat_file(), tws_kn=WINDS, twa_deg=ANGLES, options=("taller_rig",))


@pytest.fixture
def comparison() -> Comparison:
    return compare(two_ways.make_boat_file(), tws_kn=WINDS, twa_deg=ANGLES)


def floating() -> Polar:
    """The same boats without foils."""
    found = polar(synthetic.make_boat_file(), tws_kn=WINDS, twa_deg=ANGLES, options=("taller_rig",))
    return replace(found, solved=synthetic.solve(found.solved.boats, found.solved.conditions))


# --- polar --------------------------------------------------------------------------------------------------


def test_table_keeps_one_row_a_condition_and_names_its_branch(flying: Polar) -> None:
    frame = flying.to_frame()
    assert tuple(frame.columns) == COLUMNS
    assert len(frame) == 2 * 4 * 5
    reach = frame[(frame["option"] == "base") & (frame["twa_deg"] == 100.0)]
    assert list(reach["branch"]) == [HULL_BORNE, FOIL_BORNE, FOIL_BORNE, FOIL_BORNE]


def test_branches_have_a_row_for_every_branch_and_condition(flying: Polar) -> None:
    frame, branches = flying.to_frame(), flying.branches_frame()
    assert tuple(branches.columns) == COLUMNS
    assert len(branches) == 2 * len(frame)
    assert list(branches["branch"]) == [HULL_BORNE] * len(frame) + [FOIL_BORNE] * len(frame)
    # the better of the two rows is the one reported
    speeds = branches["boat_speed_kn"].to_numpy().reshape(2, -1)
    good = frame["status"] == "converged"
    np.testing.assert_array_equal(frame.loc[good, "boat_speed_kn"], np.fmax.reduce(speeds[:, good], axis=0))


def test_each_branch_is_a_polar_of_its_own(flying: Polar) -> None:
    assert list(flying.branches) == [HULL_BORNE, FOIL_BORNE]
    hull, foils = flying.branches.values()
    assert hull.options == foils.options == flying.options
    np.testing.assert_array_equal(
        foils.at_angles("boat_speed_kn")[:, 2:, 1], 2.0 * hull.at_angles("boat_speed_kn")[:, 2:, 1]
    )
    assert np.isnan(foils.speed("base", tws_kn=6.0, twa_deg=100.0))


def test_branch_of_some_boats_is_a_polar_of_those(flying: Polar) -> None:
    """A boat that cannot fly keeps out of the other branch."""
    solved = flying.solved
    second = np.flatnonzero(solved.conditions.option == 1)
    only = two_ways.solve(solved.boats, solved.conditions.take(second), branches=(FOIL_BORNE,))
    mixed = replace(flying, solved=replace(solved, branches={**solved.branches, FOIL_BORNE: only}))
    assert mixed.branches[FOIL_BORNE].options == ("taller_rig",)
    assert mixed.branches[FOIL_BORNE].speed("taller_rig", tws_kn=12.0, twa_deg=100.0) == flying.speed(
        "taller_rig", tws_kn=12.0, twa_deg=100.0
    )
    assert not mixed.hull_borne[0].any()
    assert mixed.hull_borne[1].any()


def test_hull_borne_numbers_are_marked_and_counted(flying: Polar) -> None:
    count = int((flying.solved.branch[flying.converged] == HULL_BORNE).sum())
    assert 0 < count < 40
    assert int(flying.hull_borne.sum()) == count
    assert flying.hull_borne_note == f"h hull-borne, all others foil-borne: {count} of 40 conditions"
    assert flying.marks()[0, :, 1].tolist() == ["h", "", "", ""]


def test_boat_without_foils_has_no_branches_to_show() -> None:
    found = floating()
    assert found.branches == {}
    assert found.branches_frame().empty
    assert tuple(branches_frame(found.solved).columns) == COLUMNS
    assert not found.hull_borne.any()
    assert found.hull_borne_note == ""
    assert set(found.marks().ravel()) == {""}


def test_controls_are_the_columns_that_can_be_set() -> None:
    assert CONTROL_COLUMNS[0] == "main_sheet_deg"
    assert CONTROL_COLUMNS[-4:] == ("rudder_deg", "cant_deg", "flap_deg", "elevator_deg")


# --- point --------------------------------------------------------------------------------------------------


def at(twa_deg: float | str = 100.0, **given: object) -> Point:
    return point(two_ways.make_boat_file(), **{"tws_kn": 12.0, "twa_deg": twa_deg, **given})  # type: ignore[arg-type]


def test_point_reports_the_better_branch_and_says_what_the_other_does() -> None:
    found = at()
    half = float(found.values["boat_speed_kn"]) / 2.0
    assert found.values["branch"] == FOIL_BORNE
    assert found.others() == (f"Hull-borne, the boat would do {half:.2f} kn (hull at the surface).",)
    (said,) = at("upwind").others()
    assert ", VMG " in said
    assert " kn at TWA " in said


def test_point_says_why_the_other_branch_has_no_result() -> None:
    found = at(tws_kn=6.0)
    assert found.values["branch"] == HULL_BORNE
    assert found.others() == (f"Foil-borne: no result. {two_ways.TOO_SLOW}",)


def test_branch_can_be_picked() -> None:
    found = at(branch=HULL_BORNE)
    assert found.values["branch"] == HULL_BORNE
    assert found.others()[0].startswith("Foil-borne, the boat would do ")
    with pytest.raises(
        NoEquilibrium, match=r"too little wind to fly.* Hull-borne, the boat would do .* kn\."
    ):
        at(tws_kn=6.0, branch=FOIL_BORNE)


def test_branch_that_does_not_exist_is_refused() -> None:
    with pytest.raises(NoSuchBranch, match="'flying': write hull-borne or foil-borne"):
        at(branch="flying")
    with pytest.raises(NoSuchBranch, match="base has no foils to fly on"):
        point(synthetic.make_boat_file(), tws_kn=12.0, twa_deg=90.0, branch=FOIL_BORNE)


# --- gains --------------------------------------------------------------------------------------------------


def test_gains_between_branches_are_told_by_their_way(comparison: Comparison) -> None:
    crossing = comparison.crossing()
    flies = comparison.polar.branch == FOIL_BORNE
    known = np.isfinite(comparison.gain_kn())
    np.testing.assert_array_equal(crossing == 1, flies & ~flies[:1] & known)
    np.testing.assert_array_equal(crossing == -1, ~flies & flies[:1] & known)
    # at 6 kn only taller_rig flies, at 8 kn all but cut_head
    assert crossing[:, :2, 1].tolist() == [[0, 0], [1, 0], [0, 0], [0, -1]]
    assert comparison.marks()[:, :2, 1].tolist() == [["", ""], ["^", ""], ["", ""], ["", "v"]]
    assert comparison.crossing_note.startswith("^ the option is foil-borne and base hull-borne, v the other")
    assert comparison.crossing_note in comparison.notes()


def test_gain_and_best_name_the_branches(comparison: Comparison) -> None:
    gain, best = comparison.gain_frame(), comparison.best_frame()
    row = gain[(gain["option"] == "taller_rig") & (gain["tws_kn"] == 6.0) & (gain["twa_deg"] == 100.0)].iloc[
        0
    ]
    assert (row["base_branch"], row["option_branch"]) == (HULL_BORNE, FOIL_BORNE)
    leader = best[(best["tws_kn"] == 6.0) & (best["twa_deg"] == 100.0)].iloc[0]
    assert (leader["option"], leader["branch"]) == ("taller_rig", FOIL_BORNE)
    assert csv_text(gain).count("foil-borne") > 0


def test_sentences_name_a_change_of_branch_and_keep_its_gain_apart(comparison: Comparison) -> None:
    reach = comparison.phrases("taller_rig")[2]
    gain = comparison.reach_gain_kn("taller_rig")
    assert reach.startswith("at TWA 100 deg +")
    assert f"at 6 kn base is hull-borne, taller_rig foil-borne ({gain[0]:+.2f} kn)" in reach
    # the winds of the plain gains are those in which both fly
    assert f"{gain[1]:+.2f} kn" in reach
    assert "both" not in reach
    cut = comparison.phrases("cut_head")[2]
    assert "at 8 kn base is foil-borne, cut_head hull-borne (-" in cut
    assert "at 6 kn (both hull-borne)" in cut
    assert "at 20 kn (both foil-borne)" in cut
    assert "no basis for a decision" not in cut


def test_crossover_is_not_placed_by_a_line_across_a_change_of_branch() -> None:
    both = [(HULL_BORNE, HULL_BORNE), (FOIL_BORNE, FOIL_BORNE), (FOIL_BORNE, FOIL_BORNE)]
    given = {"tws_kn": (6.0, 8.0, 10.0), "option": "a", "aim": "upwind", "branches": both}
    (jump,) = find_crossovers(gain_kn=np.array([-0.1, 0.1, 0.2]), **given)
    assert (jump.below_kn, jump.above_kn, np.isnan(jump.tws_kn)) == (6.0, 8.0, True)
    (smooth,) = find_crossovers(gain_kn=np.array([-0.2, -0.1, 0.1]), **given)
    assert smooth.tws_kn == pytest.approx(9.0)
    # nor across a wind in between that is carried otherwise
    around = [both[1], (HULL_BORNE, FOIL_BORNE), both[1]]
    (over,) = find_crossovers(gain_kn=np.array([-0.1, np.nan, 0.1]), **{**given, "branches": around})
    assert np.isnan(over.tws_kn)


def test_crossover_at_a_change_of_branch_is_said_without_a_wind(comparison: Comparison) -> None:
    solved = comparison.polar.solved
    speed = solved.quantities["vmg"].copy()
    upwind = (solved.conditions.aim == "upwind") & (solved.conditions.option == 2)
    floats = solved.branch == HULL_BORNE
    speed[upwind & floats] *= 0.95
    speed[upwind & ~floats] *= 1.05
    changed = replace(solved, quantities={**solved.quantities, "vmg": speed})
    said = Comparison(polar=replace(comparison.polar, solved=changed)).phrases("lower_foot")[0]
    assert "a loss turns into a gain between" in said
    assert "where the way of being carried changes" in said
    assert "about" not in said


# --- figures ------------------------------------------------------------------------------------------------


def test_polar_parts_the_line_where_the_branch_changes(flying: Polar) -> None:
    ax = plots.polar_plot(Figure().add_subplot(projection="polar"), flying)
    lines = [line for line in ax.lines if len(line.get_xdata()) == len(ANGLES)]
    speeds = flying.at_angles("boat_speed_kn")[0]
    hull_borne = flying.hull_borne[0, :, : len(ANGLES)]
    full = [line for line in lines if line.get_linewidth() > 1.0]
    thin = [line for line in lines if line.get_linewidth() < 1.0]
    np.testing.assert_array_equal([line.get_ydata() for line in full], np.where(hull_borne, np.nan, speeds))
    np.testing.assert_array_equal(
        [line.get_ydata() for line in thin],
        [np.where(mask, speed, np.nan) for mask, speed in zip(hull_borne, speeds, strict=True) if mask.any()],
    )
    assert "hull-borne" in "".join(item.get_text() for item in plots.polar_figure(flying).texts)


@pytest.mark.parametrize(
    ("fastest_kn", "ticks"), [(7.4, [1.0, 2.0, 3.0]), (20.0, [2.0, 4.0, 6.0]), (42.0, [5.0, 10.0, 15.0])]
)
def test_circles_of_the_polar_suit_slow_and_fast_boats(
    flying: Polar, fastest_kn: float, ticks: list[float]
) -> None:
    solved = flying.solved
    share = fastest_kn / np.nanmax(flying.at_angles("boat_speed_kn")[0])
    quantities = {**solved.quantities, "boat_speed": share * solved.quantities["boat_speed"]}
    scaled = replace(flying, solved=replace(solved, quantities=quantities))
    ax = plots.polar_plot(Figure().add_subplot(projection="polar"), scaled)
    assert ax.get_yticks()[:3].tolist() == ticks
    assert fastest_kn <= ax.get_rmax() <= fastest_kn + 1.1


def test_vmg_lines_are_thin_with_open_squares_on_the_hull(flying: Polar) -> None:
    ax = plots.vmg_plot(Figure().subplots(), flying, aim="upwind")
    speed = np.abs(flying.at_best_vmg("vmg_kn", aim="upwind"))
    hull_borne = flying.hull_borne[:, :, len(ANGLES)]
    assert hull_borne.any(axis=1).all()
    squares = [line.get_ydata() for line in ax.lines if line.get_marker() == "s"]
    full = [line.get_ydata() for line in ax.lines if line.get_marker() == "."]
    np.testing.assert_array_equal(squares, np.where(hull_borne, speed, np.nan))
    np.testing.assert_array_equal(full, np.where(hull_borne, np.nan, speed))
    assert "open squares: hull-borne" in plots.vmg_figure(flying).get_suptitle()


def test_gains_between_branches_do_not_set_the_scale(comparison: Comparison) -> None:
    row = comparison.place("downwind")
    crossing = comparison.crossing()[:, :, row]
    assert crossing.any()
    ax = plots.vmg_gain_plot(Figure().subplots(), comparison, aim="downwind")
    marks = [line for line in ax.lines if line.get_marker() in ("^", "v")]
    assert len(marks) == int(np.sum(crossing != 0))
    alike = np.abs(np.where(crossing == 0, comparison.gain_kn()[:, :, row], 0.0))
    assert np.nanmax(alike) < max(np.abs(ax.get_ylim())) < 1.5 * np.nanmax(alike)
    assert "only the option is foil-borne" in plots.vmg_gain_figure(comparison).get_suptitle()
    alike = np.abs(comparison.gain_kn())[comparison.crossing() == 0]
    assert plots.shade_limit_kn(comparison) <= 1.2 * np.nanmax(alike) + 0.01


def test_map_of_gains_marks_those_between_branches(comparison: Comparison) -> None:
    ax = plots.gain_plot(Figure().subplots(), comparison, option="taller_rig")
    said = [item.get_text() for item in ax.texts]
    assert sum(text.endswith("^") for text in said) == int(
        np.sum(comparison.crossing()[1, :, : len(ANGLES)] == 1)
    )
    assert "^: only the option is foil-borne" in plots.gain_figure(comparison).get_suptitle().replace(
        "\u00a0", " "
    )


@pytest.mark.parametrize("name", ["polar", "vmg", "vmg_gain", "gain", "best"])
def test_every_word_lies_inside_the_figure(name: str, comparison: Comparison) -> None:
    figure = {
        "polar": lambda: plots.polar_figure(comparison.polar),
        "vmg": lambda: plots.vmg_figure(comparison.polar),
        "vmg_gain": lambda: plots.vmg_gain_figure(comparison),
        "gain": lambda: plots.gain_figure(comparison),
        "best": lambda: plots.best_option_figure(comparison),
    }[name]()
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    for text in figure.texts:
        box = text.get_window_extent(canvas.get_renderer())
        assert box.x0 >= -1.0, text.get_text()
        assert box.x1 <= figure.bbox.width + 1.0, text.get_text()


@pytest.mark.parametrize("name", ["polar", "vmg", "vmg_gain", "gain"])
def test_figures_of_boats_without_foils_say_nothing_of_branches(name: str) -> None:
    found = floating()
    comparison = Comparison(polar=found)
    figure = {
        "polar": lambda: plots.polar_figure(found),
        "vmg": lambda: plots.vmg_figure(found),
        "vmg_gain": lambda: plots.vmg_gain_figure(comparison),
        "gain": lambda: plots.gain_figure(comparison),
    }[name]()
    assert not any("borne" in text.get_text() for text in figure.texts)
    assert BRANCHES == (HULL_BORNE, FOIL_BORNE)
