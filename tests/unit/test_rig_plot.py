"""The drawing of the rig: true to scale, every word readable and clear of the others, one boat or two."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from tests.support import keelboat, synthetic
from vpp import draw_rig
from vpp.physics import sail_sections
from vpp.polar import Point
from vpp.results.files import CAUTION, Source
from vpp.rig_plot import cut_heights, load_plot, mean_line, profile_plot, say_effort, section_plot, side_plot
from vpp.rig_view import Place, RigView, SailView, TableSailView, rig_view

SOURCE = Source(name="Demo keelboat", file="demo_keelboat.toml", digest="0a1b2c3d4e5f")


def point(name: str = "base", *, tws_kn: float = 12.0, twa_deg: float = 60.0) -> Point:
    """An invented result, with a head pushed to windward."""
    boat = synthetic.make_boat(name)
    solved = synthetic.solve([boat], keelboat.conditions(tws_kn=tws_kn, twa_deg=twa_deg))
    return Point(source=SOURCE, solved=solved)


@pytest.fixture
def view() -> RigView:
    return rig_view(point())


@pytest.fixture
def lower(view: RigView) -> RigView:
    """The same 0.27 m lower."""

    def lowered(sail: SailView) -> SailView:
        return replace(
            sail, height=sail.height - 0.27, outline_height=sail.outline_height - 0.27, deck_height=0.4
        )

    return replace(view, option="lower", sails=tuple(lowered(sail) for sail in view.sails))


def words_of(figure: Figure) -> list[Text]:
    return [item for item in figure.findobj(Text) if item.get_visible() and item.get_text().strip()]


def boxes(figure: Figure) -> list[tuple[str, float, float, float, float]]:
    """What is written and where: x from, y from, x to, y to, in pixels."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    found = []
    for item in words_of(figure):
        box = item.get_window_extent(canvas.get_renderer())
        if box.width > 0.0:
            found.append((item.get_text(), box.x0, box.y0, box.x1, box.y1))
    return found


@pytest.mark.parametrize("names", [("base",), ("base", "taller_rig")])
@pytest.mark.parametrize("twa_deg", [45.0, 150.0])
def test_every_word_lies_inside_a4_and_can_be_read(names: Sequence[str], twa_deg: float) -> None:
    figure = draw_rig(*(point(name, twa_deg=twa_deg) for name in names))
    assert figure.get_size_inches() == pytest.approx((11.69, 8.27))
    for said, left, low, right, high in boxes(figure):
        assert left >= -1.0, said
        assert low >= -1.0, said
        assert right <= figure.bbox.width + 1.0, said
        assert high <= figure.bbox.height + 1.0, said
    assert min(item.get_fontsize() for item in words_of(figure)) >= 6.5


@pytest.mark.parametrize("names", [("base",), ("base", "taller_rig")])
def test_no_word_covers_another(names: Sequence[str]) -> None:
    for one, other in combinations(boxes(draw_rig(*(point(name) for name in names))), 2):
        apart_across = one[3] <= other[1] + 1.0 or other[3] <= one[1] + 1.0
        apart_upwards = one[4] <= other[2] + 1.0 or other[4] <= one[2] + 1.0
        assert apart_across or apart_upwards, (one[0], other[0])


def metre(ax: Axes) -> tuple[float, float]:
    """Pixels across and upwards of a metre on both axes."""
    corner, across, up = ax.transData.transform([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)])
    return float(across[0] - corner[0]), float(up[1] - corner[1])


@pytest.mark.parametrize("twa_deg", [45.0, 150.0])
def test_side_view_has_one_scale_and_all_panels_one_height(twa_deg: float) -> None:
    figure = draw_rig(point(twa_deg=twa_deg))
    FigureCanvasAgg(figure).draw()
    side, *others = figure.axes
    across, up = metre(side)
    assert across == pytest.approx(up, rel=1e-6)
    for ax in others:
        assert metre(ax)[1] == pytest.approx(up, rel=1e-9)
        assert ax.get_position().y0 == pytest.approx(side.get_position().y0)
    (sections,) = [ax for ax in figure.axes if ax.get_title(loc="left").startswith("From above")]
    percent = float(sections.get_title(loc="left").split()[3])
    assert metre(sections)[0] == pytest.approx(0.01 * percent * up, rel=0.01)


@pytest.mark.parametrize("count", [0, 3])
def test_a_figure_shows_one_boat_or_two(count: int) -> None:
    with pytest.raises(ValueError, match=f"one boat or two, not {count}"):
        draw_rig(*[point()] * count)


def test_footer_names_input_digest_version_and_caution() -> None:
    said = "\n".join(item.get_text() for item in words_of(draw_rig(point())))
    assert "Demo keelboat (demo_keelboat.toml, 0a1b2c3d4e5f), vpp " in said
    assert CAUTION in said
    assert "TWS 12.0 kn, TWA 60.0 deg" in said


def test_centres_of_effort_are_compared_in_a_line(view: RigView, lower: RigView) -> None:
    here = f"{view.effort.height:.2f} m"
    assert say_effort([view]).endswith(f": {here}")
    assert say_effort([view, lower]).endswith(
        f"base {here}, lower {view.effort.height - 0.27:.2f} m; lower 0.27 m lower"
    )
    assert say_effort([lower, view]).endswith("base 0.27 m higher")
    assert say_effort([view, replace(view, option="twin")]).endswith("twin level")
    nothing = tuple(replace(sail, side_load=0.0 * sail.side_load) for sail in view.sails)
    assert "nearly cancel" in say_effort([replace(view, sails=nothing)])
    assert not say_effort([view, replace(view, sails=nothing)]).endswith(("lower", "higher", "level"))


def axes() -> Axes:
    return Figure().subplots()


def test_plots_return_the_axes_they_draw_on(view: RigView) -> None:
    heights, scale = cut_heights([view])
    for plot in (
        lambda ax: side_plot(ax, [view]),
        lambda ax: load_plot(ax, [view], of="side"),
        lambda ax: load_plot(ax, [view], of="drive"),
        lambda ax: section_plot(ax, [view], heights=heights, scale=scale),
        lambda ax: profile_plot(ax, [view], of="lift"),
    ):
        ax = axes()
        assert plot(ax) is ax


def test_loads_are_drawn_as_they_are_and_hatched_where_negative(view: RigView, lower: RigView) -> None:
    ax = load_plot(axes(), [view, lower], of="side")
    drawn = [line.get_xydata() for line in ax.lines]
    for shown in (view, lower):
        for sail in shown.sails:
            expected = np.column_stack([sail.side_load, sail.height])
            assert any(line.shape == expected.shape and np.allclose(line, expected) for line in drawn)
    hatched = [each for each in ax.collections if each.get_hatch() and each.get_paths()]
    assert ax.get_xlim()[0] < 0.0 < ax.get_xlim()[1]
    # the head of the main alone pushes to windward, in both boats
    assert len(hatched) == 2
    assert {each.get_hatch() for each in hatched} == {"//////", "\\\\\\\\\\\\"}
    assert max(path.vertices[:, 0].max() for each in hatched for path in each.get_paths()) <= 1e-9
    styles = {line.get_linestyle() for line in ax.lines if len(line.get_xydata()) == 3}
    assert styles == {"-", "--"}


def test_sections_stand_at_their_angle_with_their_camber(view: RigView) -> None:
    main = view.sails[0]
    height = float(main.height[1])
    ax = section_plot(axes(), [view], heights=np.array([height]), scale=0.5)
    chord, belly = ax.lines[1].get_xydata(), ax.lines[2].get_xydata()
    run = chord[0] - chord[1]
    # leeward is up, the leech behind the luff and to leeward of it
    assert run[0] > 0.0 > run[1]
    assert np.arctan2(-run[1] / 0.5, run[0]) == pytest.approx(main.chord_angle[1])
    assert np.hypot(run[0], run[1] / 0.5) == pytest.approx(main.chord[1])
    assert chord[0] == pytest.approx([main.luff_x[1], height])
    across = np.array([np.sin(main.chord_angle[1]), np.cos(main.chord_angle[1])])
    true_shape = (belly - chord[0]) / [1.0, 0.5]
    depth = true_shape @ across
    assert depth.max() == pytest.approx(main.camber[1] * main.chord[1], rel=1e-6)


def test_mean_line_is_deepest_at_the_draft_and_turns_at_the_hinge() -> None:
    along, depth = mean_line(camber=0.1)
    np.testing.assert_allclose(depth, 0.4 * along * (1.0 - along), atol=1e-12)
    along, depth = mean_line(camber=0.08, draft_share=0.35)
    assert depth[[0, -1]] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert np.interp(0.35, along, depth) == pytest.approx(0.08, rel=1e-3)
    along, depth = mean_line(camber=0.05, nose_angle=0.3, hinge_share=0.12, draft_share=0.5)
    assert np.interp(0.12, along, depth) == pytest.approx(0.12 * np.tan(0.3))
    assert np.interp(0.06, along, depth) == pytest.approx(0.06 * np.tan(0.3))


@pytest.mark.parametrize(("hinge", "draft"), [(0.0, 0.5), (0.0, 0.4), (0.12, 0.5)])
def test_mean_line_drawn_is_the_one_solved_with(hinge: float, draft: float) -> None:
    """H. Glauert, 1926: ideal incidence 1/pi int z' dt with x/c = (1 - cos t)/2, here of the drawn line by
    finite differences, against the closed form that the forces are computed with.
    """
    line = sail_sections.mean_line(hinge_share=hinge, draft_share=draft)
    t = np.linspace(0.0, np.pi, 20001)
    x = 0.5 * (1.0 - np.cos(t))
    for camber, nose, said in ((0.1, 0.0, line.ideal_per_camber), (0.0, 0.1, line.ideal_per_slope)):
        if nose and not hinge:
            continue
        along, depth = mean_line(camber=camber, nose_angle=nose, hinge_share=hinge, draft_share=draft)
        slope = np.gradient(np.interp(x, along, depth), x)
        ideal = np.trapezoid(slope, t) / np.pi
        # chords of 40 parts stand for the drawn curve
        assert ideal == pytest.approx(float(said) * (camber + np.tan(nose)), abs=2e-3)


def test_cuts_leave_each_other_room(view: RigView) -> None:
    heights, scale = cut_heights([view], scale=0.85)
    assert (len(heights), scale) == (6, 0.85)
    eased = tuple(replace(sail, chord_angle=0.0 * sail.chord_angle + 1.4) for sail in view.sails)
    heights, scale = cut_heights([replace(view, sails=eased)], scale=0.85)
    reach = max(float(np.max(sail.chord * (np.sin(1.4) + abs(sail.camber)))) for sail in eased)
    assert 4 <= len(heights) < 6
    assert scale * reach <= heights[1] - heights[0] + 1e-9


@pytest.mark.parametrize("strips", [True, False])
def test_sail_from_a_table_is_a_labelled_frame_at_its_centre(view: RigView, strips: bool) -> None:
    kite = TableSailView(
        name="kite",
        area=50.0,
        centre=Place(x=3.0, height=6.0),
        side_force=400.0,
        drive=900.0,
        wind_speed=8.0,
        wind_angle=1.5,
    )
    both = replace(view, sails=view.sails if strips else (), tables=(kite,))
    ax = side_plot(axes(), [both])
    assert any("kite" in item.get_text() and "50 m²" in item.get_text() for item in ax.texts)
    (frame,) = ax.patches[-1:]
    box = frame.get_bbox()
    assert box.width * box.height == pytest.approx(50.0)
    assert (box.x0 + box.x1, box.y0 + box.y1) == pytest.approx((6.0, 12.0))
    told = load_plot(axes(), [both], of="drive").get_title(loc="left")
    assert told.endswith(f"{1e-3 * both.drive:.2f} kN")
    heights, scale = cut_heights([both])
    section_plot(axes(), [both], heights=heights, scale=scale)
    profile_plot(axes(), [both], of="camber")
    assert len(heights) == (6 if strips else 0)
