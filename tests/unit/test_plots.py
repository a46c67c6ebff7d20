"""Figures of invented results: what is drawn, what is left out, and that words fit."""

from __future__ import annotations

import importlib
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text

from tests.support import synthetic
from vpp import plots
from vpp.compare import Comparison, compare
from vpp.polar import Point, point
from vpp.results.files import CAUTION


@pytest.fixture(autouse=True)
def _invented_results(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.import_module("vpp.polar"), "solve", synthetic.solve)


@pytest.fixture
def comparison() -> Comparison:
    return compare(
        synthetic.make_boat_file(), tws_kn=(6.0, 12.0, 18.0, 24.0), twa_deg=(30.0, 60.0, 90.0, 160.0)
    )


BEYOND = "hull resistance extended past Fn 0.45"


@pytest.fixture
def fast(comparison: Comparison) -> Comparison:
    """The same with the hull resistance extended past its data: the base at 24 kn and 90 deg and at its best
    VMG upwind there, `taller_rig` at 18 kn and 90 deg.
    """
    solved = comparison.polar.solved
    remark = solved.remark.copy()
    # rows run over 4 options, 4 winds and 4 angles followed by upwind and downwind
    for option, wind, row in ((0, 3, 2), (0, 3, 4), (1, 2, 2)):
        remark[(option * 4 + wind) * 6 + row] = BEYOND
    return Comparison(polar=replace(comparison.polar, solved=replace(solved, remark=remark)))


@pytest.fixture
def upwind() -> Point:
    return point(synthetic.make_boat_file(), tws_kn=12.0, twa_deg="upwind")


FIGURES: dict[str, Callable[[Comparison], Figure]] = {
    "polar": lambda comparison: plots.polar_figure(comparison.polar, option="taller_rig"),
    "gain": plots.gain_figure,
    "vmg": lambda comparison: plots.vmg_figure(comparison.polar),
    "vmg_gain": plots.vmg_gain_figure,
    "best_option": plots.best_option_figure,
}


def texts_of(figure: Figure) -> list[Text]:
    return [item for item in figure.findobj(Text) if item.get_visible() and item.get_text().strip()]


@pytest.mark.parametrize("name", FIGURES)
def test_footer_names_input_digest_version_and_caution(name: str, comparison: Comparison) -> None:
    said = "\n".join(item.get_text() for item in texts_of(FIGURES[name](comparison)))
    assert "Demo keelboat (demo_keelboat.toml, 0a1b2c3d4e5f), vpp " in said
    assert CAUTION in said


@pytest.mark.parametrize("name", FIGURES)
@pytest.mark.parametrize("options", [("taller_rig",), ("taller_rig", "lower_foot", "cut_head")])
def test_every_word_lies_inside_the_figure_and_can_be_read(name: str, options: tuple[str, ...]) -> None:
    steps = {"tws_kn": tuple(np.arange(6.0, 25.0, 2.0)), "twa_deg": tuple(np.arange(30.0, 171.0, 5.0))}
    comparison = compare(synthetic.make_boat_file(), options=options, **steps)
    solved = comparison.polar.solved
    remark = np.where(solved.conditions.tws > 9.0, BEYOND, "").astype(object)
    figure = FIGURES[name](Comparison(polar=replace(comparison.polar, solved=replace(solved, remark=remark))))
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    for item in texts_of(figure):
        box = item.get_window_extent(canvas.get_renderer())
        if box.width == 0.0:
            continue
        assert box.x0 >= -1.0, item.get_text()
        assert box.y0 >= -1.0, item.get_text()
        assert box.x1 <= figure.bbox.width + 1.0, item.get_text()
        assert box.y1 <= figure.bbox.height + 1.0, item.get_text()
        assert item.get_fontsize() >= 6.5, item.get_text()


@pytest.mark.parametrize("name", ["gain", "vmg", "vmg_gain", "best_option"])
def test_every_axis_carries_its_unit(name: str, comparison: Comparison) -> None:
    for ax in FIGURES[name](comparison).axes:
        assert ax.get_xlabel() == "true wind speed, kn"
        assert ax.get_ylabel().endswith((", kn", ", deg"))


@pytest.mark.parametrize(
    ("tws_kn", "twa_deg"),
    [((10.0,), (90.0,)), ((10.0,), (40.0, 90.0)), ((6.0, 12.0), (90.0,)), ((20.0, 24.0), (30.0,))],
)
@pytest.mark.parametrize("name", FIGURES)
def test_small_grids_and_grids_without_results_are_drawn(
    name: str, tws_kn: tuple[float, ...], twa_deg: tuple[float, ...]
) -> None:
    small = compare(synthetic.make_boat_file(), tws_kn=tws_kn, twa_deg=twa_deg)
    figure = FIGURES[name](small)
    FigureCanvasAgg(figure).draw()
    assert figure.axes


def test_polar_draws_a_line_for_each_wind_and_leaves_gaps(comparison: Comparison) -> None:
    ax = Figure().add_subplot(projection="polar")
    assert plots.polar_plot(ax, comparison.polar) is ax
    lines = [line for line in ax.lines if len(line.get_xdata()) == 4]
    assert len(lines) == 4
    speeds = np.array([line.get_ydata() for line in lines])
    np.testing.assert_array_equal(np.isnan(speeds[:, 0]), [False, False, True, True])
    np.testing.assert_array_equal(speeds, comparison.polar.at_angles("boat_speed_kn")[0])
    np.testing.assert_allclose(np.degrees(lines[0].get_xdata()), [30.0, 60.0, 90.0, 160.0])
    assert {item.get_text() for item in ax.texts} == {"6", "12", "18", "24"}


def test_polar_marks_best_vmg_where_it_was_found(comparison: Comparison) -> None:
    ax = plots.polar_plot(Figure().add_subplot(projection="polar"), comparison.polar)
    marks = [line for line in ax.lines if line.get_marker() == "^"]
    assert len(marks) == 4
    found = [np.degrees(np.atleast_1d(line.get_xdata())[0]) for line in marks]
    np.testing.assert_allclose(found, comparison.polar.at_best_vmg("twa_deg", aim="upwind")[0])


def test_polar_runs_from_the_wind_at_the_top_clockwise(comparison: Comparison) -> None:
    ax = plots.polar_plot(Figure().add_subplot(projection="polar"), comparison.polar)
    assert ax.get_theta_offset() == pytest.approx(np.pi / 2.0)
    assert ax.get_theta_direction() == -1
    assert (ax.get_thetamin(), ax.get_thetamax()) == (0.0, 180.0)


def test_gain_panel_says_gains_with_their_sign_and_hatches_losses(comparison: Comparison) -> None:
    ax = Figure().subplots()
    assert plots.gain_plot(ax, comparison, option="taller_rig") is ax
    said = {item.get_text() for item in ax.texts}
    gain = comparison.gain_kn()[1, :, :4]
    assert f"{gain[3, 1]:+.2f}" in said
    assert gain[3, 1] < 0.0
    hatched = [item for item in ax.collections if item.get_hatch()]
    assert len(hatched) == 1
    assert len(hatched[0].get_paths()) == int(np.sum(gain <= -0.005))
    crosses = [line for line in ax.lines if line.get_marker() == "x"]
    assert len(crosses) == int(np.sum(np.isnan(gain))) == 2


def test_option_lines_differ_in_style_and_carry_their_name(comparison: Comparison) -> None:
    ax = Figure().subplots()
    assert plots.vmg_gain_plot(ax, comparison, aim="upwind") is ax
    lines = [line for line in ax.lines if line.get_label() in comparison.polar.options]
    assert len({str(line._unscaled_dash_pattern) for line in lines}) == 4
    assert [item.get_text() for item in ax.texts if item.get_text() in comparison.polar.options]
    assert sorted(item.get_text() for item in ax.texts) == sorted(comparison.polar.options)


def test_names_at_line_ends_do_not_cover_each_other(comparison: Comparison) -> None:
    figure = plots.vmg_gain_figure(comparison)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    for ax in figure.axes:
        boxes = [
            Text.get_window_extent(item, canvas.get_renderer())
            for item in ax.texts
            if item.get_text() in comparison.polar.options
        ]
        boxes.sort(key=lambda box: box.y0)
        assert len(boxes) == 4
        assert all(upper.y0 >= lower.y1 - 1.0 for lower, upper in pairwise(boxes))


def test_lines_to_names_cross_none_of_them(comparison: Comparison) -> None:
    """Each line starts at the left edge of its own name, and all names lie to the right of that."""
    figure = plots.vmg_gain_figure(comparison)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    for ax in figure.axes:
        named = [item for item in ax.texts if item.get_text() in comparison.polar.options]
        left = min(Text.get_window_extent(item, canvas.get_renderer()).x0 for item in named)
        for item in named:
            assert isinstance(item, Annotation)
            drawn = item.arrow_patch.get_path().transformed(item.arrow_patch.get_transform()).vertices
            assert drawn[:, 0].max() <= left + 1.0


def test_names_stay_beside_their_axes_as_far_as_there_is_room() -> None:
    at_the_top = plots._spread(np.linspace(0.97, 1.0, 10), gap=0.058)
    assert at_the_top[-1] == pytest.approx(1.0)
    assert np.diff(at_the_top) == pytest.approx([0.058] * 9)
    at_the_foot = plots._spread(np.zeros(4), gap=0.058)
    assert at_the_foot == pytest.approx(0.058 * np.arange(4))


def test_vmg_is_drawn_as_speed_made_good_both_ways(comparison: Comparison) -> None:
    for aim in ("upwind", "downwind"):
        ax = plots.vmg_plot(Figure().subplots(), comparison.polar, aim=aim)
        drawn = np.array([line.get_ydata() for line in ax.lines])
        np.testing.assert_array_equal(drawn, np.abs(comparison.polar.at_best_vmg("vmg_kn", aim=aim)))
        assert (drawn > 0.0).all()


@pytest.mark.parametrize("shade", ["#2f6f9f", "#c0703a", "#fbfbf9", "#dceaf4", "#7b5136", "black", "white"])
def test_numbers_stand_out_on_the_colour_of_their_cell(shade: str) -> None:
    """Contrast of at least 3, what the Web Content Accessibility Guidelines 2.1 ask of large text (from
    memory), with the relative luminance that they define.
    """

    def luminance(colour: str) -> float:
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    ink = luminance(plots.ink_on(np.array(to_rgb(shade))))
    ground = luminance(shade)
    assert (max(ink, ground) + 0.05) / (min(ink, ground) + 0.05) >= 3.0


def one_far_ahead(comparison: Comparison) -> Comparison:
    """taller_rig a fifth faster in 12 kn at 90 deg: rows run over 4 options, 4 winds and 6 aims."""
    solved = comparison.polar.solved
    speed = solved.quantities["boat_speed"].copy()
    speed[24 + 6 + 2] *= 1.2
    quantities = {**solved.quantities, "boat_speed": speed}
    return Comparison(polar=replace(comparison.polar, solved=replace(solved, quantities=quantities)))


def test_numbers_of_a_gain_are_dark_or_light_as_their_cell_asks(comparison: Comparison) -> None:
    comparison = one_far_ahead(comparison)
    ax = plots.gain_plot(Figure().subplots(), comparison, option="taller_rig")
    inks = {item.get_text(): item.get_color() for item in ax.texts}
    limit = plots.shade_limit_kn(comparison)
    gain = comparison.gain_kn()[1, :, :4]
    strong, weak = gain[gain >= limit], gain[np.abs(gain) < 0.2 * limit]
    assert strong.size
    assert weak.size
    assert all(inks[f"{value:+.2f}"] == "white" for value in strong)
    assert all(inks[plots.show_number(value, decimals=2, signed=True)] == plots.INK for value in weak)


def test_map_of_leads_says_them_in_knots_and_bold_where_a_decision_can_rest_on_them(
    comparison: Comparison,
) -> None:
    comparison = one_far_ahead(comparison)
    ax = plots.best_margin_plot(Figure().subplots(), comparison)
    best = comparison.best_frame()
    known = best[best["margin_kn"].notna()]
    assert sorted(item.get_text() for item in ax.texts) == sorted(
        f"{margin:.2f}" for margin in known["margin_kn"]
    )
    bold = sum(item.get_fontweight() == "bold" for item in ax.texts)
    assert bold == int((known["margin_kn"] >= 0.01 * known["best_kn"]).sum())
    assert 0 < bold < len(ax.texts)
    crosses = [line for line in ax.lines if line.get_marker() == "x"]
    assert len(crosses) == int((best["missing_count"] > 0).sum())


def test_map_of_leaders_fills_every_condition_with_its_leader(comparison: Comparison) -> None:
    ax = Figure().subplots()
    assert plots.best_option_plot(ax, comparison) is ax
    best = comparison.best_frame()
    assert len(ax.patches) == int((best["option"] != "").sum())
    hatches = {patch.get_hatch() for patch in ax.patches}
    assert len(hatches) == best.loc[best["option"] != "", "option"].nunique()
    crosses = [line for line in ax.lines if line.get_marker() == "x"]
    assert len(crosses) == int((best["missing_count"] > 0).sum()) == 3
    labels = [item.get_text() for item in ax.get_yticklabels()]
    assert (labels[0], labels[-1]) == ("best VMG up", "best VMG down")


def test_budget_bars_start_where_the_one_before_ended(upwind: Point) -> None:
    values = upwind.budget["force_x_n"].to_numpy()
    ax = Figure().subplots()
    assert plots.budget_plot(ax, synthetic.COMPONENTS, values, title="along", unit="N") is ax
    starts = np.array([patch.get_x() for patch in ax.patches])
    lengths = np.array([patch.get_width() for patch in ax.patches])
    np.testing.assert_allclose(lengths, values)
    np.testing.assert_allclose(starts[1:], np.cumsum(values)[:-1], atol=1e-9)
    assert ax.get_xlabel() == "N, adding up to 0 N"
    written = [int(item.get_text()) for item in ax.texts]
    assert sum(written) == 0


def test_budget_has_the_signs_of_the_table_and_says_so(upwind: Point) -> None:
    figure = plots.budget_figure(upwind)
    columns = ("force_x_n", "force_y_n", "moment_x_nm", "moment_z_nm")
    for ax, column in zip(figure.axes, columns, strict=True):
        np.testing.assert_allclose([bar.get_width() for bar in ax.patches], upwind.budget[column])
    roll: Axes = next(ax for ax in figure.axes if "roll" in ax.get_title(loc="left"))
    assert roll.get_title(loc="left") == "Moment in roll, positive to windward (righting)"
    assert roll.patches[synthetic.COMPONENTS.index("main")].get_width() < 0.0
    assert "signs as in the table" in figure.get_suptitle()


def test_budget_repeats_the_remark_of_its_condition(upwind: Point) -> None:
    assert "remark" not in plots.budget_figure(upwind).get_suptitle()
    remark = np.array([BEYOND], dtype=object)
    beyond = replace(upwind, solved=replace(upwind.solved, remark=remark))
    assert f"remark: {BEYOND}" in plots.budget_figure(beyond).get_suptitle()


@pytest.mark.parametrize("name", FIGURES)
def test_extended_hull_resistance_is_in_the_key_where_it_occurs_and_nowhere_else(
    name: str, comparison: Comparison, fast: Comparison
) -> None:
    def said(of: Comparison) -> str:
        return "\n".join(item.get_text() for item in texts_of(FIGURES[name](of)))

    assert "hull resistance extended past its data" in said(fast)
    assert "extended" not in said(comparison)


def test_polar_is_thin_dotted_and_hollow_past_the_data(fast: Comparison) -> None:
    ax = plots.polar_plot(Figure().add_subplot(projection="polar"), fast.polar)
    speeds = fast.polar.at_angles("boat_speed_kn")[0, 3]
    dotted = [line for line in ax.lines if line.get_linestyle() == ":"]
    assert len(dotted) == 1
    # the leg on either side of 90 deg; 30 deg has no result
    np.testing.assert_array_equal(dotted[0].get_ydata(), [np.nan, *speeds[1:]])
    solid = next(line for line in ax.lines if line.get_marker() == "." and line.get_ydata()[-1] == speeds[-1])
    np.testing.assert_array_equal(np.isnan(solid.get_ydata()), [True, False, True, False])
    hollow = [line for line in ax.lines if line.get_marker() == "o"]
    assert [list(line.get_ydata()) for line in hollow] == [[speeds[2]]]
    up = [line.get_markerfacecolor() for line in ax.lines if line.get_marker() == "^"]
    assert [colour == "white" for colour in up] == [False, False, False, True]


def test_gain_of_extended_hull_resistance_is_pale_italic_and_marked(fast: Comparison) -> None:
    ax = plots.gain_plot(Figure().subplots(), fast, option="taller_rig")
    gain = fast.gain_kn()[1]
    italic = {item.get_text() for item in ax.texts if item.get_fontstyle() == "italic"}
    # 24 kn by the base, 18 kn by the option
    assert italic == {f"{gain[wind, 2]:+.2f}~" for wind in (2, 3)}
    _, pale, _ = ax.collections
    assert int(np.sum(~np.ma.getmaskarray(pale.get_array()))) == 2
    assert pale.get_alpha() == 0.5
    other = plots.gain_plot(Figure().subplots(), fast, option="lower_foot")
    assert sum("~" in item.get_text() for item in other.texts) == 1


def test_heading_of_gains_names_the_gain_of_full_shade(comparison: Comparison) -> None:
    heading = plots.gain_figure(comparison).get_suptitle()
    ax = plots.gain_plot(Figure().subplots(), comparison, option="taller_rig")
    lowest, highest = ax.collections[0].get_clim()
    assert lowest == -highest
    assert f"shade full at \u00b1{highest:.2f} kn" in heading
    assert highest == round(highest, 2)
    gains = np.abs(comparison.gain_kn()[1:])
    assert np.mean(gains[np.isfinite(gains)] <= highest) >= 0.95


@pytest.mark.parametrize(("step", "numbers", "said"), [(5.0, 28, False), (2.5, 28, True)])
def test_every_angle_carries_its_number_or_the_heading_says_which(
    step: float, numbers: int, said: bool
) -> None:
    angles = tuple(np.arange(35.0, 171.0, step))
    fine = compare(synthetic.make_boat_file(), tws_kn=(10.0, 12.0), twa_deg=angles)
    ax = plots.gain_plot(Figure().subplots(), fine, option="taller_rig")
    assert len(ax.texts) == 2 * numbers
    assert ("numbers at one angle in 2" in plots.gain_figure(fine).get_suptitle()) == said


@pytest.mark.parametrize("top", [0.083, 0.3, 0.011, 0.0009, 1.7])
def test_labels_of_the_gain_axis_are_exact(comparison: Comparison, top: float) -> None:
    figure = Figure()
    ax = plots.vmg_gain_plot(figure.subplots(), comparison, aim="upwind")
    ax.set_ylim(-1.25 * top, top)
    FigureCanvasAgg(figure).draw()
    ticks, labels = ax.get_yticks(), [item.get_text() for item in ax.get_yticklabels()]
    assert len(ticks) >= 3
    np.testing.assert_allclose([float(label) for label in labels], ticks, atol=1e-9)
    assert all(len(label.split(".")[1]) >= 2 for label in labels)


@pytest.mark.parametrize("aim", ["upwind", "downwind"])
def test_vmg_lines_have_hollow_marks_past_the_data(fast: Comparison, aim: str) -> None:
    speed = plots.vmg_plot(Figure().subplots(), fast.polar, aim=aim)
    gain = plots.vmg_gain_plot(Figure().subplots(), fast, aim=aim)
    hollow = [
        [line.get_xdata().tolist() for line in ax.lines if line.get_marker() == "o"] for ax in (speed, gain)
    ]
    # every gain at 24 kn upwind rests on the base's result there
    assert hollow == ([[[24.0]], [[24.0]] * 4] if aim == "upwind" else [[], []])


def test_map_of_leaders_marks_conditions_past_the_data(fast: Comparison) -> None:
    ax = plots.best_option_plot(Figure().subplots(), fast)
    assert sum(item.get_text() == "~" for item in ax.texts) == 3
    assert sum(patch.get_alpha() == 0.5 for patch in ax.patches) == 3


def test_figures_are_made_without_the_interactive_layer() -> None:
    code = "import sys, vpp.plots; print('matplotlib.pyplot' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
