"""`vpp course` on invented results: what it prints and writes, and how it ends."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from vpp.results.files import CAUTION

WIND = '[wind]\nmodel = "listed"\ntws_kn = [8, 12, 16]\nweight = [1, 2, 1]\ntwd_deg = 0\n'
HEAD = 'schema_version = 1\nname = "There and back"\n'
LEGS = '[[leg]]\nname = "beat"\nlength_nm = 1\nbearing_deg = 5\n[[leg]]\nlength_m = 1852\nbearing_deg = 190\n'
LINE = "[line]\ndistance_m = 100\nbearing_deg = 60\n"
FILES = {
    "times.csv", "legs.csv", "choice.csv", "interpolation.csv", "polar.csv", "summary.txt", "about.json",
    "course.png", "course.svg",
}  # fmt: skip


@pytest.fixture
def run(invented: Callable[..., Any]) -> Callable[..., Any]:
    Path("course.toml").write_text(HEAD + WIND + LINE + LEGS, encoding="utf-8")
    Path("steady.toml").write_text(
        HEAD + '[wind]\nmodel = "steady"\ntws_kn = 11\ntwd_deg = 0\n' + LEGS, encoding="utf-8"
    )
    Path("changing.toml").write_text(
        HEAD
        + '[wind]\nmodel = "over_time"\ntime_s = [0, 9000]\ntws_kn = [8, 12]\ntwd_deg = [350, 10]\n'
        + LEGS,
        encoding="utf-8",
    )
    return lambda *words: invented("course", *words)


def test_text_tells_times_legs_and_the_choice(run: Callable[..., Any]) -> None:
    done = run("good.toml", "course.toml", "--no-figures")
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    for said in (
        "There and back (course.toml, ",
        "2 legs, 2.00 nm",
        "TWS kn  weight %   base",
        "Legs of lower_foot at 12 kn; angles in deg",
        "Over the forecast, against base",
        "Fastest for the forecast: lower_foot, expected ",
        "% of the winds by weight; always having the best option of each wind",
        "To the line, 100 m: base ",
        "A tack loses 6 s, a gybe 4 s.",
        "All winds of the course are solved: none is interpolated.",
        "Interpolation along the angle: of the speeds left out in turn, half are found again",
    ):
        assert said in done.stdout, said
    assert done.stdout.rstrip().endswith(CAUTION)


def test_files_are_those_that_are_listed_and_agree(run: Callable[..., Any]) -> None:
    done = run("good.toml", "course.toml", "--option", "taller_rig", "-o", "here")
    assert done.exit_code == 0, done.output
    assert {path.name for path in Path("here").iterdir()} == FILES
    about = json.loads(Path("here/about.json").read_text(encoding="utf-8"))
    assert set(about["files"]) == FILES
    assert about["passages"] == {"sailed": 6, "not_sailed": 0}
    assert about["course"]["name"] == "There and back"
    times, legs = pd.read_csv("here/times.csv"), pd.read_csv("here/legs.csv")
    sums = legs[legs["leg"] > 0].groupby(["option", "tws_kn"])["time_s"].sum()
    for row in times.itertuples():
        assert sums[row.option, row.tws_kn] == pytest.approx(row.time_s, abs=0.003)
    choice = pd.read_csv("here/choice.csv").set_index("option")
    base = times[times["option"] == "base"]
    expected = np.average(base["time_s"], weights=base["weight_percent"])
    assert choice.loc["base", "expected_time_s"] == pytest.approx(expected, abs=0.002)
    assert set(times["option"]) == {"base", "taller_rig"}


def test_polar_of_an_earlier_run_gives_the_same_times(run: Callable[..., Any]) -> None:
    words = ("good.toml", "course.toml", "--no-figures", "--format", "csv")
    solved = pd.read_csv(io.StringIO(run(*words, "-o", "first").stdout))
    again = run(*words, "-o", "second", "--polar", "first")
    assert again.exit_code == 0, again.output
    # speeds in files have four decimals of a knot
    read = pd.read_csv(io.StringIO(again.stdout))
    np.testing.assert_allclose(read["time_s"], solved["time_s"], rtol=1e-4)


def test_winds_asked_for_are_solved_and_interpolated(run: Callable[..., Any]) -> None:
    done = run("good.toml", "steady.toml", "--tws", "8:14:2", "--no-figures")
    assert done.exit_code == 0, done.output
    assert "Interpolation along the wind:" in done.stdout
    assert "Over the forecast" not in done.stdout
    exact = run("good.toml", "steady.toml", "--no-figures", "--format", "csv", "-o", "exact").stdout
    between = pd.read_csv("out/course/times.csv")
    np.testing.assert_allclose(between["time_s"], pd.read_csv(io.StringIO(exact))["time_s"], rtol=2e-3)


def test_wind_that_changes_is_one_wind(run: Callable[..., Any]) -> None:
    done = run("good.toml", "changing.toml", "--option", "taller_rig")
    assert done.exit_code == 0, done.output
    assert "changing" in done.stdout
    assert set(pd.read_csv("out/course/polar.csv")["tws_kn"]) == {8.0, 10.0, 12.0}
    assert pd.read_csv("out/course/times.csv")["tws_kn"].isna().all()


def test_boat_without_options_is_sailed_alone(run: Callable[..., Any]) -> None:
    for course in ("course.toml", "steady.toml"):
        done = run("plain.toml", course)
        assert done.exit_code == 0, done.output
        assert "base: " in done.stdout


def test_data_is_tidy_and_strict(run: Callable[..., Any]) -> None:
    words = ("good.toml", "course.toml", "--no-figures", "--format")
    frame = pd.read_csv(io.StringIO(run(*words, "csv").stdout))
    assert len(frame) == 4 * 3
    told = json.loads(run(*words, "json").stdout, parse_constant=pytest.fail)
    assert len(told["times"]) == len(frame)
    assert {"legs", "choice", "interpolation", "summary", "course", "caution"} <= set(told)
    assert [each["option"] for each in told["choice"] if each["chosen"]] == ["lower_foot"]


def test_passages_without_a_time_are_written_and_counted(run: Callable[..., Any]) -> None:
    Path("course.toml").write_text(
        HEAD + WIND + "[current]\nspeed_kn = 7.5\ntoward_deg = 185\n" + LEGS, encoding="utf-8"
    )
    done = run("good.toml", "course.toml", "--no-figures", "--option", "taller_rig")
    assert done.exit_code == 3
    assert "6 of 6 passages have no time" in done.stderr
    assert "the current carries the boat away" in done.stdout
    times = pd.read_csv("out/course/times.csv")
    assert set(times["status"]) == {"not_sailed"}
    assert times["reason"].str.startswith("leg 1 (beat): the current").all()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("broken.toml", "absent.toml"), ["negative", "unknown key", "absent.toml: there is no such file"]),
        (("good.toml", "course.toml", "--option", "nope"), ["there is no option of that name"]),
        (("good.toml", "course.toml", "--tws", "10:12:2"), ["from 8 to 16 kn on the course and from 10 to"]),
        (("good.toml", "course.toml", "--twa", "30:37:5"), ["do not land on 37"]),
        (("good.toml", "course.toml", "-o", "course.toml"), ["a file of that name is in the way"]),
        (("good.toml", "course.toml", "--polar", "nowhere"), ["there is no polar.csv with its about.json"]),
        (("good.toml", "course.toml", "--format", "xml"), ["not a format"]),
        (
            ("good.toml", "course.toml", "--polar", "out/course", "--tws", "8:16:4"),
            ["of no use besides --polar", "the folder that --polar names"],
        ),
    ],
)
def test_bad_input_is_told_a_sentence_a_problem(
    run: Callable[..., Any], words: tuple[str, ...], said: list[str]
) -> None:
    before = {path.name for path in Path().iterdir()}
    done = run(*words)
    assert done.exit_code == 2, done.output
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert len(done.stderr.splitlines()) == len(said), done.stderr
    for sentence in said:
        assert sentence in done.stderr
    assert {path.name for path in Path().iterdir()} == before


def test_polar_of_another_boat_or_sea_is_refused(run: Callable[..., Any]) -> None:
    assert run("good.toml", "course.toml", "-o", "first", "--no-figures").exit_code == 0
    about = json.loads(Path("first/about.json").read_text(encoding="utf-8"))
    Path("first/about.json").write_text(
        json.dumps({**about, "digest": "ffffffffffff", "waves": "0.5 m"}), encoding="utf-8"
    )
    done = run("good.toml", "course.toml", "--polar", "first")
    assert done.exit_code == 2
    assert "solved for demo_keelboat.toml ffffffffffff" in done.stderr
    assert "solved in waves: 0.5 m; asked for: none" in done.stderr
    Path("first/polar.csv").write_text("option,tws_kn\n", encoding="utf-8")
    assert "is no table of conditions" in run("good.toml", "course.toml", "--polar", "first").stderr


def test_winds_of_an_earlier_polar_must_reach(run: Callable[..., Any]) -> None:
    assert run("good.toml", "steady.toml", "-o", "first", "--no-figures").exit_code == 0
    done = run("good.toml", "course.toml", "--polar", "first")
    assert done.exit_code == 2
    assert "the polar has only 11 kn: nothing is extrapolated" in done.stderr


def test_help_has_an_example(run: Callable[..., Any]) -> None:
    assert "Example: vpp course " in run("--help").stdout
