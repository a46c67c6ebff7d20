"""Take-off and touch-down winds: the search on invented results, and the winds found with the real solver."""

from __future__ import annotations

import importlib
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from tests.support import foiler, keelboat, synthetic, two_ways
from vpp import plots
from vpp.polar import Polar, polar
from vpp.solved import HULL_BORNE, Conditions, Solved
from vpp.solver.status import Status
from vpp.take_off import TAKE_OFF_COLUMNS, TOLERANCE_KN, TakeOff, take_off_winds

ANGLES = (40.0, 100.0, 160.0)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[Conditions]:
    """What the solver was asked for; the results are invented."""
    seen: list[Conditions] = []

    def look(boats, conditions, **given):
        seen.append(conditions)
        return two_ways.solve(boats, conditions, **given)

    monkeypatch.setattr(importlib.import_module("vpp.take_off"), "solve", look)
    monkeypatch.setattr(importlib.import_module("vpp.polar"), "solve", two_ways.solve)
    return seen


@pytest.fixture
def grid(asked: list[Conditions]) -> Polar:
    return polar(two_ways.make_boat_file(), tws_kn=(6.0, 8.0, 10.0, 12.0, 14.0, 16.0), twa_deg=ANGLES)


@pytest.fixture
def found(grid: Polar) -> TakeOff:
    return take_off_winds(grid.solved.boats, twa_deg=ANGLES, polar=grid)


def test_winds_are_found_from_above_to_a_tenth_of_a_knot(found: TakeOff) -> None:
    for at, name in enumerate(found.options):
        for winds, wanted in (
            (found.touch_down_kn[at], two_ways.touch_down_kn(name, ANGLES)),
            (found.take_off_kn[at], two_ways.take_off_kn(name, ANGLES)),
        ):
            assert ((winds >= wanted - 1e-9) & (winds <= wanted + TOLERANCE_KN)).all(), name
    assert set(found.notes.ravel()) == {""}


def test_a_polar_leaves_few_winds_to_try(found: TakeOff, grid: Polar, asked: list[Conditions]) -> None:
    # steps of 2 kn are cut in five twice, of either branch at once; once more where the lightest wind of the
    # grid was enough already
    assert len(asked) <= 2 * 3
    assert sum(len(conditions) for conditions in asked) <= 2 * len(found.options) * len(ANGLES) * 8 + 8 + 1
    np.testing.assert_array_equal(found.touch_down_kn.shape, (len(grid.options), len(ANGLES)))


def test_without_a_polar_the_same_winds_are_found(found: TakeOff, grid: Polar) -> None:
    alone = take_off_winds(grid.solved.boats, twa_deg=ANGLES)
    np.testing.assert_allclose(alone.touch_down_kn, found.touch_down_kn, atol=TOLERANCE_KN)
    np.testing.assert_allclose(alone.take_off_kn, found.take_off_kn, atol=TOLERANCE_KN)
    assert alone.strongest_kn == 24.0


def test_wind_that_is_not_strong_enough_is_said(asked: list[Conditions]) -> None:
    light = polar(two_ways.make_boat_file(), tws_kn=(4.0, 7.0), twa_deg=ANGLES, options=("taller_rig",))
    winds = take_off_winds(light.solved.boats, twa_deg=ANGLES, polar=light)
    assert np.isnan(winds.touch_down_kn[0]).all()
    assert winds.notes[0, 1] == "no touch-down up to 7 kn; no take-off up to 7 kn"
    # taller_rig flies from 6 kn at 100 deg and takes off at 7.5
    assert winds.touch_down_kn[1, 1] == pytest.approx(6.0, abs=TOLERANCE_KN)
    assert winds.notes[1, 1] == "no take-off up to 7 kn"
    base, taller = winds.summary()
    assert base == ("base: cannot stay on foils in winds up to 7 kn; does not take off in winds up to 7 kn.")
    assert taller.startswith("taller_rig: on foils down to TWS 6.0 kn, at TWA 100 deg; ")


def test_winds_below_the_grid_are_tried_too(asked: list[Conditions]) -> None:
    strong = polar(two_ways.make_boat_file(), tws_kn=(12.0, 16.0), twa_deg=(100.0,), options=("taller_rig",))
    winds = take_off_winds(strong.solved.boats, twa_deg=(100.0,), polar=strong)
    assert winds.touch_down_kn[0, 0] == pytest.approx(8.0, abs=TOLERANCE_KN)
    assert winds.take_off_kn[1, 0] == pytest.approx(7.5, abs=TOLERANCE_KN)


def altered(grid: Polar, branch: str, change: dict[str, object], pick: np.ndarray) -> Polar:
    """The polar with some conditions of a branch changed."""
    found: Solved = grid.solved.branches[branch]
    fields = {
        name: np.where(pick, np.array(value, dtype=getattr(found, name).dtype), getattr(found, name))
        for name, value in change.items()
    }
    branches = {**grid.solved.branches, branch: replace(found, **fields)}
    return replace(grid, solved=replace(grid.solved, branches=branches))


def test_wind_found_beside_a_search_that_failed_is_called_uncertain(
    grid: Polar, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stuck(boats, conditions, **given):
        solved = two_ways.solve(boats, conditions, **given)
        failed = solved.status == Status.NO_EQUILIBRIUM
        return replace(solved, status=np.where(failed, Status.STEP_LIMIT, solved.status))

    monkeypatch.setattr(importlib.import_module("vpp.take_off"), "solve", stuck)
    winds = take_off_winds(grid.solved.boats[:1], twa_deg=(100.0,), polar=grid)
    assert winds.notes[0, 0] in (
        "",
        "touch-down is uncertain: no foil-borne result just below it (step_limit)",
    )
    winds = take_off_winds(grid.solved.boats[:1], twa_deg=(40.0,), polar=grid)
    assert winds.notes[0, 0] == "touch-down is uncertain: no foil-borne result just below it (step_limit)"


def test_hull_that_never_comes_up_and_hull_without_result_are_told_apart(grid: Polar) -> None:
    everywhere = np.ones(len(grid.solved.status), dtype=bool)
    calm = altered(grid, HULL_BORNE, {"remark": ""}, everywhere)
    strong = np.round(grid.solved.conditions.tws / keelboat.KNOT) >= 12
    lost = altered(calm, HULL_BORNE, {"status": int(Status.NO_EQUILIBRIUM)}, strong)
    for of, said in (
        (calm, "no take-off up to 16 kn"),
        (lost, "no take-off up to 16 kn; no hull-borne result at 12, 14, 16 kn"),
    ):
        winds = take_off_winds(grid.solved.boats[:1], twa_deg=(40.0,), polar=of)
        assert np.isnan(winds.take_off_kn[0, 0])
        assert winds.notes[0, 0] == said


def test_hull_that_comes_up_with_nothing_to_fly_on_is_said(
    grid: Polar, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(two_ways, "take_off_kn", lambda name, twa: two_ways.touch_down_kn(name, twa) - 1.0)
    early = take_off_winds(grid.solved.boats[:1], twa_deg=(100.0,))
    assert early.take_off_kn[0, 0] < early.touch_down_kn[0, 0]
    assert early.notes[0, 0] == "the hull comes up before there is an equilibrium on foils"


def test_boats_without_foils_are_left_out_and_not_alone(grid: Polar) -> None:
    boats = (*synthetic.make_boat_file(options=False).boats, grid.solved.boats[1])
    assert take_off_winds(boats, twa_deg=(100.0,), polar=grid).options == ("taller_rig",)
    with pytest.raises(ValueError, match="none of the boats has foils to fly on"):
        take_off_winds(boats[:1], twa_deg=(100.0,))


def test_angle_that_the_polar_does_not_hold_is_refused(grid: Polar) -> None:
    with pytest.raises(ValueError, match="does not hold base, hull-borne, at 90 deg"):
        take_off_winds(grid.solved.boats, twa_deg=(90.0,), polar=grid)


def test_table_is_tidy(found: TakeOff) -> None:
    frame = found.to_frame()
    assert tuple(frame.columns) == TAKE_OFF_COLUMNS
    assert len(frame) == 4 * 3
    row = frame[(frame["option"] == "cut_head") & (frame["twa_deg"] == 160.0)].iloc[0]
    assert row["touch_down_tws_kn"] == found.touch_down_kn[3, 2]
    assert row["take_off_tws_kn"] == found.take_off_kn[3, 2]


def test_figure_shades_the_winds_in_which_both_states_exist(found: TakeOff, grid: Polar) -> None:
    ax = plots.take_off_plot(Figure().subplots(), found)
    lines = {line.get_label(): line.get_ydata() for line in ax.lines}
    np.testing.assert_array_equal(lines["take-off"], found.take_off_kn[0])
    np.testing.assert_array_equal(lines["touch-down"], found.touch_down_kn[0])
    (band,) = ax.collections
    (path,) = band.get_paths()
    assert path.vertices[:, 1].max() == pytest.approx(found.take_off_kn[0].max())
    figure = plots.take_off_figure(found, grid.source)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    for text in figure.texts:
        box = text.get_window_extent(canvas.get_renderer())
        assert box.x0 >= -1.0
        assert box.x1 <= figure.bbox.width + 1.0
    assert [panel.get_title(loc="left") for panel in figure.axes] == list(found.options)


def test_demo_boat_flies_and_comes_up_between_a_calm_and_a_breeze(monkeypatch: pytest.MonkeyPatch) -> None:
    """The real solver on a reach, in three winds only to save time."""
    module = importlib.import_module("vpp.take_off")
    monkeypatch.setattr(module, "TOLERANCE_KN", 1.0)
    monkeypatch.setattr(module, "FIRST_LOOK_KN", (6.4, 7.4, 8.4))
    winds = take_off_winds([foiler.base()], twa_deg=(80.0,))
    # it stays on foils in less wind than it takes off in
    assert (winds.touch_down_kn[0, 0], winds.take_off_kn[0, 0]) == (7.4, 8.4)
    assert winds.notes[0, 0] == ""
