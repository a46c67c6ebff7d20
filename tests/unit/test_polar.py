"""Wind grids, polars and points, on invented results."""

from __future__ import annotations

import importlib
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import vpp
from tests.support import synthetic
from vpp.config import BoatFileError
from vpp.polar import Polar, WindGrid, WindGridError, parse_steps, point, polar
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import NoEquilibrium


@pytest.fixture(autouse=True)
def _invented_results(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.import_module("vpp.polar"), "solve", synthetic.solve)


@pytest.fixture
def small() -> Polar:
    return polar(
        synthetic.make_boat_file(), tws_kn=(6.0, 18.0), twa_deg=(30.0, 90.0, 150.0), options=("taller_rig",)
    )


def test_standard_grid() -> None:
    grid = WindGrid.parse()
    assert grid.tws_kn == (6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0, 22.0, 24.0)
    assert (grid.twa_deg[0], grid.twa_deg[1], grid.twa_deg[-1], len(grid.twa_deg)) == (30.0, 35.0, 170.0, 29)


@given(
    start=st.integers(0, 100),
    step=st.integers(1, 50),
    gaps=st.integers(0, 200),
    scale=st.sampled_from([1, 10, 8]),
)
def test_steps_include_both_ends_exactly(start: int, step: int, gaps: int, scale: int) -> None:
    texts = [str(number / scale) for number in (start, start + gaps * step, step)]
    values = parse_steps(":".join(texts), name="tws")
    assert len(values) == gaps + 1
    assert (values[0], values[-1]) == (float(texts[0]), float(texts[1]))


def test_one_number_is_one_wind() -> None:
    assert parse_steps("12", name="tws") == (12.0,)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "not a wind grid"),
        ("6:24", "not a wind grid"),
        ("6;24;2", "not a wind grid"),
        ("nan", "not a wind grid"),
        ("6:inf:2", "not a wind grid"),
        ("6:24:0", "step is 0"),
        ("6:24:-2", "step is -2"),
        ("24:6:2", "empty"),
        ("6:25:2", "stop at 24 or 26"),
        ("1:40:1e-9", "at most 1000"),
    ],
)
def test_steps_that_cannot_be_used_say_why(text: str, said: str) -> None:
    with pytest.raises(WindGridError, match=said):
        parse_steps(text, name="tws")


@pytest.mark.parametrize(
    ("tws", "twa", "said"),
    [
        ("0:10:2", "90", "tws = 0 kn"),
        ("38:42:2", "90", "tws = 42 kn"),
        ("10", "-10:170:10", "twa = -10 deg"),
        ("10", "170:190:10", "twa = 190 deg"),
    ],
)
def test_winds_outside_the_range_are_named(tws: str, twa: str, said: str) -> None:
    with pytest.raises(WindGridError, match=said):
        WindGrid.parse(tws=tws, twa=twa)


def test_every_problem_of_a_grid_is_listed_at_once() -> None:
    with pytest.raises(WindGridError) as caught:
        WindGrid.parse(tws="6:24:0", twa="20:200:20")
    assert len(caught.value.problems) == 2


@pytest.mark.parametrize("values", [(), (10.0, 10.0), (12.0, 10.0), (math.nan,)])
def test_grid_of_values_must_rise(values: tuple[float, ...]) -> None:
    with pytest.raises(WindGridError):
        WindGrid(tws_kn=values, twa_deg=(90.0,))


def test_conditions_run_over_option_wind_and_angle_with_best_vmg_last(small: Polar) -> None:
    frame = small.to_frame()
    assert len(frame) == 2 * 2 * 5
    assert list(frame["option"]) == ["base"] * 10 + ["taller_rig"] * 10
    assert list(frame["tws_kn"][:10]) == [6.0] * 5 + [18.0] * 5
    assert list(frame["aim"][:5]) == ["speed", "speed", "speed", "upwind", "downwind"]
    assert list(frame["twa_deg"][:3]) == [30.0, 90.0, 150.0]


def test_arrays_agree_with_the_table(small: Polar) -> None:
    frame = small.to_frame()
    speeds = small.at_angles("boat_speed_kn")
    assert speeds.shape == (2, 2, 3)
    for option, name in enumerate(small.options):
        for wind, tws in enumerate(small.grid.tws_kn):
            rows = frame[(frame["option"] == name) & (frame["tws_kn"] == tws)]
            by_aim = {aim: rows[rows["aim"] == aim] for aim in ("speed", "upwind", "downwind")}
            np.testing.assert_array_equal(speeds[option, wind], by_aim["speed"]["boat_speed_kn"])
            for aim in ("upwind", "downwind"):
                assert small.at_best_vmg("vmg_kn", aim=aim)[option, wind] == by_aim[aim]["vmg_kn"].item()


def test_failed_condition_is_a_gap_and_not_a_number(small: Polar) -> None:
    assert np.isnan(small.at_angles("boat_speed_kn")[0, 1, 0])
    assert small.status_counts["no_equilibrium"] == 2
    assert math.isnan(small.speed("base", tws_kn=18.0, twa_deg=30.0))


def test_speed_is_read_on_the_grid_and_interpolated_between(small: Polar) -> None:
    wanted = synthetic.boat_speed_kn("taller_rig", np.array([6.0]), np.array([90.0]))[0]
    assert small.speed("taller_rig", tws_kn=6.0, twa_deg=90.0) == pytest.approx(wanted, rel=1e-12)
    upwind = small.at_best_vmg("boat_speed_kn", aim="upwind")[1, 0]
    assert small.speed("taller_rig", tws_kn=6.0, twa_deg="upwind") == upwind
    found = small.targets()
    assert small.speed(tws_kn=7.0, twa_deg=91.0) == found.speed_at(tws_kn=7.0, twa_deg=91.0).boat_speed_kn
    between = found.target("taller_rig", aim="upwind", tws_kn=7.0)
    assert small.speed("taller_rig", tws_kn=7.0, twa_deg="upwind") == between.boat_speed_kn
    with pytest.raises(ValueError, match="nothing is extrapolated; solve it at this angle"):
        small.speed("base", tws_kn=6.0, twa_deg=20.0)
    with pytest.raises(ValueError, match="nothing is extrapolated; solve the polar in winds from 5 to 18"):
        small.speed("base", tws_kn=5.0, twa_deg=90.0)
    with pytest.raises(KeyError, match="no option 'nothing'"):
        small.speed("nothing", tws_kn=6.0, twa_deg=90.0)


def test_dead_run_and_head_to_wind_are_inside_the_grid() -> None:
    grid = WindGrid(tws_kn=(40.0,), twa_deg=(0.0, 180.0))
    solved = polar(synthetic.make_boat_file(options=False), tws_kn=grid.tws_kn, twa_deg=grid.twa_deg)
    assert list(solved.to_frame()["twa_deg"][:2]) == [0.0, 180.0]


def test_unknown_option_is_an_error_of_the_boat_file() -> None:
    with pytest.raises(BoatFileError, match="taler_rig"):
        polar(synthetic.make_boat_file(), options=("taler_rig",))


def test_point_gives_its_row_and_budget() -> None:
    found = point(synthetic.make_boat_file(), tws_kn=12.0, twa_deg=90.0, option="taller_rig")
    assert found.values["option"] == "taller_rig"
    wanted = synthetic.boat_speed_kn("taller_rig", np.array([12.0]), np.array([90.0]))[0]
    assert found.values["boat_speed_kn"] == pytest.approx(wanted, rel=1e-12)
    assert tuple(found.budget["component"]) == synthetic.COMPONENTS
    assert len(found.frame) == 1


@pytest.mark.parametrize(("aim", "sign"), [("upwind", 1.0), ("downwind", -1.0)])
def test_point_finds_the_best_vmg(aim: str, sign: float) -> None:
    found = point(synthetic.make_boat_file(), tws_kn=12.0, twa_deg=aim)
    assert found.values["aim"] == aim
    assert sign * float(found.values["vmg_kn"]) > 0.0


def test_point_without_equilibrium_raises_its_reason() -> None:
    with pytest.raises(NoEquilibrium, match="drive cannot meet the drag"):
        point(synthetic.make_boat_file(), tws_kn=20.0, twa_deg=30.0)


@pytest.mark.parametrize(
    ("tws_kn", "twa_deg"), [(0.0, 90.0), (41.0, 90.0), (10.0, 181.0), (10.0, math.nan), (10.0, "abeam")]
)
def test_point_in_an_impossible_wind_is_refused(tws_kn: float, twa_deg: float | str) -> None:
    with pytest.raises(WindGridError):
        point(synthetic.make_boat_file(), tws_kn=tws_kn, twa_deg=twa_deg)


def test_conditions_reach_the_solver_in_si_units(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = []

    def look(boats, conditions, *, processes=1, progress=None):
        seen.append(conditions)
        return synthetic.solve(boats, conditions, progress=progress)

    monkeypatch.setattr(importlib.import_module("vpp.polar"), "solve", look)
    polar(synthetic.make_boat_file(options=False), tws_kn=(10.0,), twa_deg=(45.0,))
    np.testing.assert_allclose(seen[0].tws, 10.0 * KNOT)
    np.testing.assert_allclose(seen[0].twa, [45.0 * DEGREE, np.nan, np.nan])


def test_extended_hull_resistance_is_counted_and_stands_at_its_condition(small: Polar) -> None:
    assert not small.extended.any()
    assert small.extended_note == ""
    remark = small.solved.remark.copy()
    remark[6] = "heel limit; hull resistance extended past Fn 0.45"  # base, 18 kn, 90 deg
    beyond = replace(small, solved=replace(small.solved, remark=remark))
    assert [tuple(place) for place in np.argwhere(beyond.extended)] == [(0, 1, 1)]
    assert beyond.extended_note == "~ hull resistance extended past the data: 1 of 20 conditions"
    assert beyond.remarks()[0, 1, 1] == remark[6]
    assert beyond.remark_counts == {"heel limit": 1, "hull resistance extended past Fn 0.45": 1}


def test_polar_and_point_tell_in_a_line_what_they_are(small: Polar) -> None:
    assert repr(small) == "Polar(demo_keelboat.toml: base, taller_rig; 20 conditions, 18 converged)"
    found = point(synthetic.make_boat_file(), tws_kn=12.0, twa_deg=90.0, option="taller_rig")
    assert repr(found) == "Point(demo_keelboat.toml: taller_rig; TWS 12 kn, TWA 90 deg; converged)"
    upwind = point(synthetic.make_boat_file(), tws_kn=12.5, twa_deg="upwind")
    assert repr(upwind).endswith(" deg (best VMG upwind); converged)")
    assert "\n" not in repr(upwind)


def test_public_names_are_functions_even_after_their_modules_are_imported() -> None:
    importlib.import_module("vpp.polar")
    importlib.import_module("vpp.compare")
    assert vpp.polar is polar
    assert vpp.point is point
    assert callable(vpp.compare)
    with pytest.raises(AttributeError, match="nothing"):
        vpp.nothing  # noqa: B018
