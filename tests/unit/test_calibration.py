"""Scales fitted to known points: found again, refused where the points do not hold them, and told."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

from tests.support.calibration import WHY, Power, boat_text, invent, powers, speed_kn
from vpp import config
from vpp.boat import Calibration
from vpp.calibration import (
    SCALES,
    CalibrationFit,
    CannotCalibrate,
    calibrate,
    known_points,
    singular_ratio,
)
from vpp.config import BoatFile
from vpp.plots import footer
from vpp.results.files import Source, calibration_text
from vpp.results.variables import KNOT
from vpp.solved import Conditions
from vpp.wardrobe import solve

WINDS = (
    ("beat", 12.0, 45.0),
    ("close_reach", 8.0, 70.0),
    ("reach", 16.0, 90.0),
    ("broad_reach", 10.0, 115.0),
)
Load = Callable[..., BoatFile]


@pytest.fixture
def load(tmp_path: Path) -> Load:
    """The demo keelboat with known points and scales."""

    def loaded(points: Sequence[tuple[str, float, float, float]] = (), **scales: float) -> BoatFile:
        path = tmp_path / "boat.toml"
        path.write_text(boat_text(points, calibration=scales), encoding="utf-8")
        return config.load(path)

    return loaded


def _invented(
    load: Load, truth: Calibration, of: dict[str, Power], *, winds: Sequence[tuple[str, float, float]] = WINDS
) -> BoatFile:
    """A boat file with known points that are invented speeds with some scales."""
    return load([(name, tws, twa, float(speed_kn(truth, tws, twa, of))) for name, tws, twa in winds])  # type: ignore[arg-type]


def _refused(boat_file: BoatFile, scales: Sequence[str]) -> str:
    with pytest.raises(CannotCalibrate) as refusal:
        calibrate(boat_file, scales=scales)
    return "\n".join(refusal.value.problems)


# --- with the solver ----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def solved_points(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[str, float, float, float]]:
    """Points that the tool itself finds for the boat with 1.12 of its hull resistance and 0.85 of its
    windage.
    """
    path = tmp_path_factory.mktemp("truth") / "boat.toml"
    path.write_text(boat_text(calibration={"hull_resistance": 1.12, "windage": 0.85}), encoding="utf-8")
    boat = config.load(path).boat("base")
    winds = WINDS[:3]
    found = solve(
        [boat],
        Conditions(
            option=np.zeros(len(winds), dtype=np.intp),
            tws=np.array([tws for _, tws, _ in winds]) * KNOT,
            twa=np.radians([twa for _, _, twa in winds]),
            aim=np.full(len(winds), "speed"),
        ),
    )
    speeds = found.quantities["boat_speed"] / KNOT
    return [(*wind, float(speed)) for wind, speed in zip(winds, speeds, strict=True)]


def test_scales_behind_speeds_are_found_again(load: Load, solved_points: list) -> None:
    fit = calibrate(load(solved_points), scales=("hull_resistance", "windage"))
    np.testing.assert_allclose(fit.values, (1.12, 0.85), rtol=2e-3)
    np.testing.assert_allclose(fit.after_kn, [speed for *_, speed in solved_points], rtol=1e-4)
    # more hull resistance slows the boat everywhere; the wind on rig and hull matters most close to it
    assert np.all(fit.sensitivity[:, 0] < 0.0)
    assert fit.sensitivity[0, 1] == fit.sensitivity[:, 1].min() < 0.0


def test_points_of_the_model_itself_need_no_calibration(load: Load, solved_points: list) -> None:
    fit = calibrate(load(solved_points[:2], hull_resistance=1.12, windage=0.85))
    # the file's own scales are not what the fit starts from
    assert fit.values[0] != pytest.approx(1.0, abs=0.02)
    again = [
        (point.name, point.tws_kn, point.twa_deg, speed)
        for point, speed in zip(fit.points, fit.before_kn, strict=True)
    ]
    fit = calibrate(load(again))
    assert fit.values == pytest.approx((1.0,), abs=1e-4)
    assert fit.calibration == Calibration()
    assert fit.evaluations == 1


# --- with invented speeds -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "truth",
    [
        {"hull_resistance": 1.15},
        {"hull_resistance": 0.8, "windage": 1.3},
        {"sail_force": 0.9, "windage": 1.2},
        {"appendage_drag": 1.25},
    ],
)
def test_scales_of_an_invented_model_are_found_in_few_batches(
    monkeypatch: pytest.MonkeyPatch, load: Load, truth: dict[str, float]
) -> None:
    of = powers()
    sizes = invent(monkeypatch, of)
    fit = calibrate(_invented(load, Calibration(**truth), of), scales=tuple(truth))
    np.testing.assert_allclose(fit.values, tuple(truth.values()), rtol=5e-4)
    assert sizes == [len(WINDS) * (1 + len(truth))] * fit.evaluations
    assert fit.evaluations <= 6
    np.testing.assert_allclose(fit.standard_errors, 0.0, atol=1e-3)


def test_sensitivities_are_powers_and_similarity_their_cosine(
    monkeypatch: pytest.MonkeyPatch, load: Load
) -> None:
    of = powers()
    invent(monkeypatch, of)
    fit = calibrate(_invented(load, Calibration(), of), scales=("hull_resistance", "windage"))
    tws, twa = (np.array([wind[place] for wind in WINDS]) for place in (1, 2))
    exact = np.stack([of["hull_resistance"](tws, twa), of["windage"](tws, twa)], axis=1)
    # of a power p the slope over a step of 2 % differs by about (p - 1)/100 of itself
    np.testing.assert_allclose(fit.sensitivity, exact, rtol=0.015)
    length = np.linalg.norm(exact, axis=0)
    assert fit.similarity[0, 1] == pytest.approx(exact[:, 0] @ exact[:, 1] / length.prod(), abs=1e-3)
    np.testing.assert_allclose(np.diag(fit.similarity), 1.0)


def test_standard_error_is_that_of_linear_regression(monkeypatch: pytest.MonkeyPatch, load: Load) -> None:
    of = powers(hull_resistance=lambda tws, twa: -0.3 + 0.0 * tws)
    invent(monkeypatch, of)
    # errors of +1, -1, +1 and -1 % in four speeds that a scale moves by the same power: the scale is the mean
    points = [
        (name, tws, twa, float(speed_kn(Calibration(), tws, twa, of)) * (1.0 + error))  # type: ignore[arg-type]
        for (name, tws, twa), error in zip(WINDS, (0.01, -0.01, 0.01, -0.01), strict=True)
    ]
    fit = calibrate(load(points))
    assert fit.values[0] == pytest.approx(1.0, abs=1e-3)
    # standard deviation sqrt(4/3) % of a speed, over the root of 4 points, over the power
    assert fit.standard_errors[0] == pytest.approx(0.01 * math.sqrt(4.0 / 3.0) / 2.0 / 0.3, rel=0.02)
    assert fit.errors_per_percent[0] == pytest.approx(0.01 / 2.0 / 0.3, rel=0.02)


def test_as_many_scales_as_points_have_no_standard_error(monkeypatch: pytest.MonkeyPatch, load: Load) -> None:
    of = powers()
    invent(monkeypatch, of)
    fit = calibrate(_invented(load, Calibration(hull_resistance=1.1), of, winds=WINDS[:1]))
    assert math.isnan(fit.standard_errors[0])
    assert fit.errors_per_percent[0] == pytest.approx(1.1 * 0.01 / 0.32, rel=0.02)
    assert any("as many scales as points" in told for told in fit.summary())


def _some_fit(monkeypatch: pytest.MonkeyPatch, load: Load, **filed: float) -> CalibrationFit:
    of = powers()
    invent(monkeypatch, of)
    truth = Calibration(hull_resistance=1.1, windage=0.9)
    points = [(name, tws, twa, float(speed_kn(truth, tws, twa, of))) for name, tws, twa in WINDS]  # type: ignore[arg-type]
    return calibrate(load(points, **filed), scales=("windage", "hull_resistance"))


def test_errors_that_no_scale_mends_are_pointed_at(monkeypatch: pytest.MonkeyPatch, load: Load) -> None:
    of = powers(hull_resistance=lambda tws, twa: -0.3 + 0.0 * tws)
    invent(monkeypatch, of)

    def told(errors: Sequence[float]) -> str:
        points = [
            (name, tws, twa, float(speed_kn(Calibration(), tws, twa, of)) * (1.0 + error))  # type: ignore[arg-type]
            for (name, tws, twa), error in zip(WINDS, errors, strict=True)
        ]
        return " ".join(calibrate(load(points)).summary())

    assert "more than half of the largest error is left" in told((0.03, -0.03, 0.03, -0.03))
    assert "is left" not in told((0.03, 0.03, 0.03, 0.02))
    # under 1 % there is nothing to look for
    assert "is left" not in told((0.005, -0.005, 0.005, -0.005))


def test_lines_for_the_boat_file_are_its_calibration(monkeypatch: pytest.MonkeyPatch, load: Load) -> None:
    fit = _some_fit(monkeypatch, load)
    told = tomllib.loads(fit.toml())["calibration"]
    assert list(told) == ["windage_scale", "hull_resistance_scale"]
    pasted = load([], **{name.removesuffix("_scale"): value for name, value in told.items()})
    assert pasted.boat("base").calibration == fit.calibration
    assert fit.calibration.text == "hull resistance x 1.100, windage x 0.900"


def test_fit_leaves_the_calibration_of_the_file_aside_and_says_so(
    monkeypatch: pytest.MonkeyPatch, load: Load
) -> None:
    fit = _some_fit(monkeypatch, load, sail_force=1.2)
    assert fit.values == pytest.approx((0.9, 1.1), rel=1e-3)
    assert fit.filed == Calibration(sail_force=1.2)
    assert any("sail force x 1.200" in told and "from all scales 1" in told for told in fit.summary())
    assert not any("already" in told for told in _some_fit(monkeypatch, load).summary())


def test_tables_hold_every_point_and_scale(monkeypatch: pytest.MonkeyPatch, load: Load) -> None:
    fit = _some_fit(monkeypatch, load)
    frame = fit.to_frame()
    assert list(frame["known_point"]) == [name for name, *_ in WINDS]
    np.testing.assert_allclose(frame["after_error_percent"], 0.0, atol=0.02)
    np.testing.assert_allclose(
        frame["before_error_percent"], 100.0 * (frame["before_kn"] / frame["known_kn"] - 1.0)
    )
    assert list(fit.scales_frame()["scale"]) == ["windage", "hull_resistance"]


def test_known_points_of_an_option_are_its_own(load: Load) -> None:
    boat_file = load([("beat", 12.0, 45.0, 6.0), ("reach", 10.0, 90.0, 7.0)])
    points = known_points(boat_file)
    assert [(point.name, point.tws_kn, point.twa_deg, point.boat_speed_kn) for point in points] == [
        ("beat", 12.0, 45.0, 6.0), ("reach", 10.0, 90.0, 7.0),
    ]  # fmt: skip
    assert known_points(boat_file, boat_file.boats[1].name) == points


# --- refusals -----------------------------------------------------------------------------------------------


def test_no_known_points(load: Load) -> None:
    assert "there are no known points; add [[known_point]] tables" in _refused(load(), ["hull_resistance"])


def test_fewer_points_than_scales(load: Load) -> None:
    told = _refused(load([("beat", 12.0, 45.0, 6.0)]), ["hull_resistance", "windage"])
    assert "1 known point for 2 scales; fit fewer scales or add" in told


def test_scale_that_does_not_exist(load: Load) -> None:
    told = _refused(load([("beat", 12.0, 45.0, 6.0)]), ["hull_resistence"])
    assert "no such scale" in told
    assert 'did you mean "hull_resistance"?' in told
    assert all(name in told for name in SCALES)
    assert "name at least one" in _refused(load([("beat", 12.0, 45.0, 6.0)]), [])


def test_scales_that_look_alike_are_named_with_a_point_that_tells_them_apart(
    monkeypatch: pytest.MonkeyPatch, load: Load
) -> None:
    # alike but at 150 deg, where the second does nothing
    of = powers(sail_force=lambda tws, twa: np.where(twa > 140.0, 0.01, 0.2 + 0.01 * tws))
    invent(monkeypatch, of)
    told = _refused(_invented(load, Calibration(), of), ["hull_resistance", "sail_force", "windage"])
    assert "hull resistance and sail force move these speeds alike (cosine -1.000, more of one" in told
    assert "windage" not in told
    assert "TWA 150 deg in 20 kn" in told


def test_scales_that_no_point_tells_apart(monkeypatch: pytest.MonkeyPatch, load: Load) -> None:
    of = powers(sail_force=lambda tws, twa: 0.2 + 0.01 * tws)
    invent(monkeypatch, of)
    told = _refused(_invented(load, Calibration(), of), ["hull_resistance", "sail_force"])
    assert "fit fewer scales; none of the winds that were tried" in told


def test_three_scales_of_which_one_is_made_up_of_the_others(
    monkeypatch: pytest.MonkeyPatch, load: Load
) -> None:
    of = powers(
        hull_resistance=lambda tws, twa: -0.2 + 0.001 * (twa - 80.0),
        windage=lambda tws, twa: -0.2 - 0.02 * (tws - 12.0),
        appendage_drag=lambda tws, twa: 0.001 * (twa - 80.0) + 0.02 * (tws - 12.0),
    )
    invent(monkeypatch, of)
    told = _refused(_invented(load, Calibration(), of), ["hull_resistance", "windage", "appendage_drag"])
    assert "hull resistance, windage and appendage drag cannot be told apart at these points" in told


def test_scale_that_moves_no_speed(monkeypatch: pytest.MonkeyPatch, load: Load) -> None:
    of = powers(appendage_drag=lambda tws, twa: -0.01 + 0.0 * tws)
    invent(monkeypatch, of)
    told = _refused(_invented(load, Calibration(), of), ["hull_resistance", "appendage_drag"])
    assert told.startswith(
        "scale = 'appendage_drag': 10 % more of it moves none of these speeds by more than"
    )


@pytest.mark.parametrize(("factor", "bound"), [(0.8, "1.4"), (1.3, "0.7")])
def test_scale_at_its_bound(monkeypatch: pytest.MonkeyPatch, load: Load, factor: float, bound: str) -> None:
    of = powers()
    invent(monkeypatch, of)
    points = [
        (name, tws, twa, factor * float(speed_kn(Calibration(), tws, twa, of)))  # type: ignore[arg-type]
        for name, tws, twa in WINDS
    ]
    told = _refused(load(points), ["hull_resistance"])
    assert f"ends at its bound {bound}" in told
    assert "more than calibration may mend" in told


def test_point_without_equilibrium(monkeypatch: pytest.MonkeyPatch, load: Load) -> None:
    of = powers()
    invent(monkeypatch, of, fails=lambda boat, tws_kn: np.round(tws_kn, 6) == 8.0)
    told = _refused(_invented(load, Calibration(), of), ["hull_resistance"])
    assert told == (
        "known_point.close_reach: no equilibrium at TWA 70 deg in 8 kn with hull resistance x 1.00: "
        f"{WHY} Leave the point out or check its wind."
    )


def test_search_that_does_not_settle(monkeypatch: pytest.MonkeyPatch, load: Load) -> None:
    of = powers()
    invent(monkeypatch, of)
    monkeypatch.setattr("vpp.calibration._MOST_EVALUATIONS", 1)
    told = _refused(_invented(load, Calibration(hull_resistance=1.2), of), ["hull_resistance"])
    assert told.startswith(
        "no scales found: after 1 step, at hull resistance x 1.000, the search has not settled"
    )


def test_singular_ratio_of_two_scales_follows_their_cosine() -> None:
    # the singular values of two columns of length 1 are the roots of 1 + c and 1 - c
    for angle in (0.1, 0.7, 1.5):
        columns = np.array([[2.0, 0.3 * math.cos(angle)], [0.0, 0.3 * math.sin(angle)]])
        cosine = math.cos(angle)
        assert singular_ratio(columns) == pytest.approx(math.sqrt((1.0 - cosine) / (1.0 + cosine)))


# --- told everywhere ----------------------------------------------------------------------------------------


def test_source_says_what_is_calibrated(load: Load) -> None:
    plain = load().boats
    assert calibration_text(plain) == ""
    calibrated = load(hull_resistance=1.083).boats
    assert calibration_text(calibrated) == "hull resistance x 1.083"
    both = calibration_text([calibrated[0], plain[1], plain[2]])
    assert both == f"base: hull resistance x 1.083; {plain[1].name}, {plain[2].name}: none"


def test_figures_say_it_under_their_source() -> None:
    figure = Figure()
    footer(figure, Source(name="Demo", file="demo.toml", digest="0", calibration="windage x 0.900"))
    assert "\ncalibrated: windage x 0.900\n" in figure.texts[0].get_text()
    footer(figure, Source(name="Demo", file="demo.toml", digest="0"))
    assert "calibrated" not in figure.texts[1].get_text()
