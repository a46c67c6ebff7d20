"""Course files: what they are read into, in SI units, and every mistake with its line."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import weibull_min

from vpp.config import BoatFileError
from vpp.config.course_file import (
    GYBE_LOST_S,
    TACK_LOST_S,
    CourseFile,
    Lost,
    load_course,
    weibull_wind,
)
from vpp.config.course_schema import COURSE_TABLES, WIND_TABLES, CourseDocument
from vpp.config.schema import properties_of

KNOT = 1852.0 / 3600.0
DEMO = Path(__file__).parents[3] / "configs" / "courses" / "two_lap_course.toml"
HEAD = 'schema_version = 1\nname = "course"\n'
STEADY = '[wind]\nmodel = "steady"\ntws_kn = 10\ntwd_deg = 350\n'
LEG = "[[leg]]\nlength_nm = 1\nbearing_deg = 90\n"


def read(folder: Path, text: str) -> CourseFile:
    path = folder / "course.toml"
    path.write_text(text, encoding="utf-8")
    return load_course(path)


def problems(folder: Path, text: str) -> list[str]:
    with pytest.raises(BoatFileError) as caught:
        read(folder, text)
    return [str(problem).removeprefix(f"{folder / 'course.toml'}") for problem in caught.value.problems]


def test_demo_course_is_in_order() -> None:
    course = load_course(DEMO)
    assert [leg.name for leg in course.legs] == ["to windward", "to leeward"] * 2
    assert course.length == pytest.approx(4 * 0.9 * 1852.0)
    assert sum(course.wind.weight) == pytest.approx(1.0)
    assert course.line is not None


def test_values_are_in_si_units_and_radians(tmp_path: Path) -> None:
    course = read(
        tmp_path,
        HEAD
        + STEADY
        + "[current]\nspeed_kn = 2\ntoward_deg = 45\n[line]\ndistance_nm = 0.1\nbearing_deg = 180\n"
        + LEG
        + '[[leg]]\nname = "out"\nlength_m = 500\nbearing_deg = 180\nmore_turns = 2\n',
    )
    assert course.wind.tws == pytest.approx((10.0 * KNOT,))
    assert course.wind.twd == pytest.approx((math.radians(350.0),))
    assert (course.current_speed, course.current_toward) == pytest.approx((2.0 * KNOT, math.pi / 4.0))
    assert [leg.length for leg in course.legs] == [1852.0, 500.0]
    assert [leg.name for leg in course.legs] == ["leg 1", "out"]
    assert [leg.more_turns for leg in course.legs] == [0, 2]
    assert course.line is not None
    assert course.line.length == pytest.approx(185.2)
    assert (course.tack, course.gybe) == (Lost(time=TACK_LOST_S), Lost(time=GYBE_LOST_S))


def test_laps_are_legs_along_the_wind_or_the_axis_given(tmp_path: Path) -> None:
    course = read(tmp_path, HEAD + STEADY + "[[lap]]\nlength_m = 800\ncount = 2\n")
    assert np.degrees([leg.bearing for leg in course.legs]) == pytest.approx([350.0, 170.0] * 2)
    course = read(tmp_path, HEAD + STEADY + "[[lap]]\nlength_m = 800\naxis_deg = 10\nmore_turns = 3\n")
    assert np.degrees([leg.bearing for leg in course.legs]) == pytest.approx([10.0, 190.0])
    assert [leg.more_turns for leg in course.legs] == [3, 3]


def test_turns_may_lose_metres(tmp_path: Path) -> None:
    course = read(tmp_path, HEAD + STEADY + "[manoeuvres]\ntack_lost_m = 15\ngybe_lost_s = 0\n" + LEG)
    assert (course.tack, course.gybe) == (Lost(way=15.0), Lost(time=0.0))


@pytest.mark.parametrize(("scale", "shape"), [(10.0, 2.0), (12.0, 4.0), (8.0, 1.6)])
def test_weibull_winds_have_the_moments_of_the_distribution(scale: float, shape: float) -> None:
    # fine steps with next to nothing cut off
    step = 0.1
    tws_kn = np.arange(0.5 * step, 60.0, step)
    wind = weibull_wind(scale_kn=scale, shape=shape, tws_kn=tws_kn.tolist(), step_kn=step, twd_deg=0.0)
    mean, variance = weibull_min.stats(shape, scale=scale)
    weight, knots = np.array(wind.weight), np.array(wind.tws) / KNOT
    assert weight @ knots == pytest.approx(float(mean), rel=1e-4)
    assert weight @ knots**2 - (weight @ knots) ** 2 == pytest.approx(float(variance), rel=1e-3)
    assert weight.sum() == pytest.approx(1.0, abs=1e-12)


def test_cut_of_a_weibull_distribution_is_what_scipy_has_outside() -> None:
    wind = weibull_wind(scale_kn=12.0, shape=4.0, tws_kn=(6.0, 8.0, 10.0), step_kn=2.0, twd_deg=0.0)
    law = weibull_min(4.0, scale=12.0)
    assert wind.below == pytest.approx(float(law.cdf(5.0)), rel=1e-12)
    assert wind.above == pytest.approx(float(law.sf(11.0)), rel=1e-12)
    parts = np.diff(law.cdf([5.0, 7.0, 9.0, 11.0]))
    assert wind.weight == pytest.approx(parts / parts.sum(), rel=1e-12)


def test_listed_weights_are_parts_of_their_sum(tmp_path: Path) -> None:
    text = '[wind]\nmodel = "listed"\ntws_kn = [8, 12, 16]\nweight = [1, 2, 1]\ntwd_deg = 0\n'
    wind = read(tmp_path, HEAD + text + LEG).wind
    assert wind.weight == pytest.approx((0.25, 0.5, 0.25))
    assert np.array(wind.tws) / KNOT == pytest.approx([8.0, 12.0, 16.0])


def test_wind_over_time_is_the_same_from_lists_and_from_a_file(tmp_path: Path) -> None:
    lists = '[wind]\nmodel = "over_time"\ntime_s = [0, 600]\ntws_kn = [8, 9]\ntwd_deg = [355, 10]\n'
    (tmp_path / "wind.csv").write_text("time_s,tws_kn,twd_deg\n0,8,355\n600,9,10\n", encoding="utf-8")
    from_file = read(tmp_path, HEAD + '[wind]\nmodel = "over_time"\nfile = "wind.csv"\n' + LEG)
    assert read(tmp_path, HEAD + lists + LEG).wind == from_file.wind
    before = from_file.digest
    (tmp_path / "wind.csv").write_text("time_s,tws_kn,twd_deg\n0,8,355\n600,9,11\n", encoding="utf-8")
    assert load_course(tmp_path / "course.toml").digest != before


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (STEADY + LEG, [": schema_version: missing", ": name: missing"]),
        (HEAD, [": leg: there is no leg", ": wind: the table is missing"]),
        (
            HEAD + STEADY + "[[legs]]\n",
            [": leg: there is no leg", ':7: legs: unknown key; did you mean "leg"?'],
        ),
        (HEAD + STEADY + LEG + "[[lap]]\nlength_m = 3\n", [":10: lap: a course has [[leg]] or [[lap]]"]),
        (HEAD + STEADY + "[leg]\n", [":7: leg: must be written [[leg]]"]),
        (HEAD + "wind = 3\n" + LEG, [":3: wind = 3: must be written [wind], once"]),
        (HEAD + '[wind]\nmodel = "weibul"\n' + LEG, [':4: wind.model = "weibul": no such model']),
        (HEAD + "[wind]\ntws_kn = 3\n" + LEG, [":3: wind.model: missing: how the wind is given"]),
        (
            HEAD + STEADY + "[[leg]]\nlength_km = 1\nbearing_deg = 361\n",
            [
                ':8: leg[1].length_km = 1 km: unknown key; did you mean "length_nm"? '
                "That key takes nautical miles",
                ":9: leg[1].bearing_deg = 361 deg: is too large; allowed: 0 to 360 deg",
            ],
        ),
        (
            HEAD + STEADY + "[[leg]]\nlength_nm = 1\nlength_m = 1852\nbearing_deg = 0\n",
            [":9: leg[1].length_m = 1852 m: is given besides length_nm"],
        ),
        (HEAD + STEADY + "[[leg]]\nbearing_deg = 0\n", [":7: leg[1].length_nm: missing: length_nm or"]),
        (
            HEAD + STEADY + "[manoeuvres]\ntack_lost_s = 3\ntack_lost_m = 3\ngibe_lost_s = 1\n" + LEG,
            [
                ":9: manoeuvres.tack_lost_m = 3 m: is given besides tack_lost_s",
                ':10: manoeuvres.gibe_lost_s = 1 s: unknown key; did you mean "gybe_lost_s"?',
            ],
        ),
        (
            HEAD + STEADY.replace("10", '"10"') + "file = 3\n" + LEG,
            [
                ':5: wind.tws_kn = "10": is not a number',
                ":7: wind.file = 3: unknown key",
            ],
        ),
        (
            HEAD + '[wind]\nmodel = "listed"\ntws_kn = [9, 8]\nweight = [0, 0, 0]\ntwd_deg = 0\n' + LEG,
            [
                ":5: wind.tws_kn = [9, 8]: must rise",
                ":6: wind.weight = [0, 0, 0]: the lists are of different length: tws_kn has 2, weight has 3",
                ":6: wind.weight = [0, 0, 0]: has a sum of 0",
            ],
        ),
        (
            HEAD + '[wind]\nmodel = "over_time"\ntime_s = [1, 2]\ntwd_deg = [0, 1]\n' + LEG,
            [":3: wind.tws_kn: missing: needed with a wind over time without file"],
        ),
        (
            HEAD + '[wind]\nmodel = "over_time"\ntime_s = [1, 2]\ntws_kn = [9, 9]\ntwd_deg = [0, 1]\n' + LEG,
            [":5: wind.time_s = [1, 2]: must begin at 0"],
        ),
        (
            HEAD + '[wind]\nmodel = "over_time"\nfile = "absent.csv"\n' + LEG,
            [':5: wind.file = "absent.csv": there is no such file beside the course file'],
        ),
    ],
)
def test_mistakes_are_told_with_their_lines(tmp_path: Path, text: str, told: list[str]) -> None:
    found = problems(tmp_path, text)
    assert len(found) == len(told), found
    for sentence in told:
        assert any(problem.startswith(sentence) for problem in found), found


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ("from_kn = 6\nto_kn = 6\nstep_kn = 1", ":8: wind.to_kn = 6 kn: must lie above from_kn = 6 kn"),
        ("from_kn = 6\nto_kn = 9\nstep_kn = 2", ":9: wind.step_kn = 2 kn: does not lead from 6 to 9 kn"),
        ("from_kn = 1\nto_kn = 40\nstep_kn = 0.1", ":9: wind.step_kn = 0.1 kn: makes 391 winds"),
    ],
)
def test_steps_of_a_distribution_must_fit(tmp_path: Path, keys: str, told: str) -> None:
    text = f'[wind]\nmodel = "weibull"\nscale_kn = 10\nshape = 2\n{keys}\ntwd_deg = 0\n'
    (found,) = problems(tmp_path, HEAD + text + LEG)
    assert found.startswith(told)


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ("time_s,tws_kn\n0,8\n", "it lacks twd_deg"),
        ("time_s,tws_kn,twd_deg\n0,8,355\n", "has 1 rows of numbers"),
        ("time_s,tws_kn,twd_deg\n0,8,355\n0,8,355\n", "must begin at 0, the start, and rise"),
        ("time_s,tws_kn,twd_deg\n0,8,355\n9,80,x\n", "wind.csv:3: tws_kn = 80: is outside its range"),
    ],
)
def test_wind_files_are_checked(tmp_path: Path, rows: str, told: str) -> None:
    (tmp_path / "wind.csv").write_text(rows, encoding="utf-8")
    found = problems(tmp_path, HEAD + '[wind]\nmodel = "over_time"\nfile = "wind.csv"\n' + LEG)
    assert told in found[0]


def test_absent_file_and_broken_toml_are_told(tmp_path: Path) -> None:
    with pytest.raises(BoatFileError, match="there is no such file"):
        load_course(tmp_path / "absent.toml")
    (found,) = problems(tmp_path, HEAD + "[wind\n")
    assert "not TOML" in found


STRANGE = ("3", '"x"', "true", "[]", "[1]", '["a"]', "{}", "{ a = 1 }", "[{ a = 1 }]", "nan", "1e400", "-1")
KEYS = (
    "schema_version", "name", "wind", "wind.model", "wind.tws_kn", "wind.weight", "wind.time_s", "wind.file",
    "current", "current.speed_kn", "manoeuvres", "manoeuvres.tack_lost_s", "line", "line.distance_m", "leg",
    "lap", "option",
)  # fmt: skip


@pytest.mark.parametrize("model", ["steady", "over_time", "weibull", "listed"])
@pytest.mark.parametrize("key", KEYS)
def test_values_of_any_kind_are_read_or_told(tmp_path: Path, key: str, model: str) -> None:
    for strange in STRANGE:
        lines = [f"{key} = {strange}"]
        lines += [] if key in ("schema_version",) else ["schema_version = 1"]
        lines += [] if key in ("wind", "wind.model") else [f'wind.model = "{model}"']
        text = "\n".join([*lines, "wind.twd_deg = 0" if key != "wind" else ""])
        told = problems(tmp_path, text)
        assert told
        assert all(sentence.startswith(":") for sentence in told)


def test_page_names_every_key_and_its_example_is_in_order(tmp_path: Path) -> None:
    page = (Path(__file__).parents[3] / "docs" / "course.md").read_text(encoding="utf-8")
    models = (CourseDocument, *COURSE_TABLES.values(), *WIND_TABLES.values())
    for key in {key for model in models for key in properties_of(model)}:
        assert f"`{key}`" in page or f"`{key} = " in page, key
    for name in COURSE_TABLES:
        assert f"[{name}]" in page
    example = page.split("```toml\n", 1)[1].split("```", 1)[0]
    assert read(tmp_path, example).name == "Two laps"
