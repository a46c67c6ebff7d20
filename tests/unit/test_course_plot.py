"""The figure of times round a course shows what the tables hold."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from tests.support.polar_table import polar_table
from vpp.config.course_file import CourseFile, Leg, Wind
from vpp.course import sail_course
from vpp.course_plot import course_figure, course_plot, one_wind_plot
from vpp.course_times import CourseTimes
from vpp.results.files import Source
from vpp.results.variables import KNOT

ANGLES_DEG = tuple(float(angle) for angle in range(0, 181, 10))


def make_times(winds: dict[float, float]) -> CourseTimes:
    speeds = {
        "base": lambda tws, twa: 6.0,
        "other": lambda tws, twa: 6.0 + 0.1 * (tws - 10.0),
        "lost": lambda tws, twa: 6.0,
    }
    frame = polar_table(
        speeds,
        tws_kn=(8.0, 10.0, 12.0),
        twa_deg=ANGLES_DEG,
        fails=lambda option, tws, twa, aim: option == "lost" and tws == 12.0,
    )
    course = CourseFile(
        path=Path("course.toml"),
        name="Out and back",
        description="",
        digest="ba9876543210",
        legs=(Leg(name="out", length=1852.0, bearing=math.radians(90.0)),),
        wind=Wind(
            model="listed", tws=tuple(w * KNOT for w in winds), twd=(0.0,), weight=tuple(winds.values())
        ),
    )
    return sail_course(course, frame, source=Source(name="Invented", file="boat.toml", digest="0123456789ab"))


def test_lines_are_differences_and_bars_are_weights() -> None:
    times = make_times({8.0: 0.5, 10.0: 0.3, 12.0: 0.2})
    figure = Figure()
    ax = course_plot(figure.subplots(), times)
    lines = {line.get_label(): line for line in ax.get_lines()}
    assert set(lines) == {"base", "other", "lost"}
    np.testing.assert_allclose(lines["other"].get_ydata(), times.difference_s[1])
    assert np.isnan(np.asarray(lines["lost"].get_ydata(), dtype=float)).tolist() == [False, False, True]
    (weights,) = [axes for axes in figure.axes if axes is not ax]
    heights = [bar.get_height() for bar in weights.patches]
    np.testing.assert_allclose(heights, [50.0, 30.0, 20.0])


def test_one_wind_is_a_bar_an_option_and_says_where_there_is_no_time() -> None:
    times = make_times({12.0: 1.0})
    ax = one_wind_plot(Figure().subplots(), times)
    np.testing.assert_allclose([bar.get_width() for bar in ax.patches], [times.difference_s[1, 0], 0.0])
    said = [text.get_text() for text in ax.texts]
    assert said[0].endswith("09:41")
    assert said[1].endswith("no time")
    assert [label.get_text() for label in ax.get_yticklabels()] == ["other", "lost"]


def test_figure_names_course_boat_and_caution() -> None:
    for winds in ({8.0: 0.5, 12.0: 0.5}, {10.0: 1.0}):
        figure = course_figure(make_times(winds))
        assert "Out and back (course.toml, ba9876543210)" in figure.get_suptitle()
        assert any("0123456789ab" in text.get_text() for text in figure.texts)
