"""Figures of invented results: what is drawn, what is left out, and that words fit."""

from __future__ import annotations

import importlib
import subprocess
import sys
from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

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
def test_every_word_lies_inside_the_figure_and_can_be_read(name: str, comparison: Comparison) -> None:
    figure = FIGURES[name](comparison)
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


def test_vmg_is_drawn_as_speed_made_good_both_ways(comparison: Comparison) -> None:
    for aim in ("upwind", "downwind"):
        ax = plots.vmg_plot(Figure().subplots(), comparison.polar, aim=aim)
        drawn = np.array([line.get_ydata() for line in ax.lines])
        np.testing.assert_array_equal(drawn, np.abs(comparison.polar.at_best_vmg("vmg_kn", aim=aim)))
        assert (drawn > 0.0).all()


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


def test_budget_turns_the_heeling_moment_positive(upwind: Point) -> None:
    figure = plots.budget_figure(upwind)
    roll: Axes = next(ax for ax in figure.axes if "roll" in ax.get_title(loc="left"))
    main = roll.patches[synthetic.COMPONENTS.index("main")]
    assert main.get_width() > 0.0
    assert upwind.budget["moment_x_nm"][0] == pytest.approx(-main.get_width())


def test_figures_are_made_without_the_interactive_layer() -> None:
    code = "import sys, vpp.plots; print('matplotlib.pyplot' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
