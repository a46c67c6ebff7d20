"""What the commands print and write, and how they end."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from vpp.cli.compare import name_runs
from vpp.results.files import CAUTION
from vpp.results.variables import BUDGET_COLUMNS, COLUMNS
from vpp.version import __version__

Run = Callable[..., Any]
SMALL = ("--tws", "6:18:6", "--twa", "60:160:50")
BEYOND = ("--tws", "24:30:6", "--twa", "60:110:50")
FAILING = ("--tws", "6:18:6", "--twa", "30:90:60")


def test_compare_prints_gains_leaders_summary_files_and_caution(invented: Run) -> None:
    done = invented("compare", "good.toml", *SMALL)
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    for said in ("VMG upwind", "VMG downwind", "boat speed on a reach, TWA 110 deg", "taller_rig", "fastest"):
        assert said in done.stdout
    assert "In short, against base: what differs by less than 1 %" in done.stdout
    assert "Downwind: from 6 to 18 kn taller_rig is the fastest, worth" in done.stdout
    assert "lower_foot: upwind +0.03 kn VMG (0.9 %) at 6 kn" in Path("out/compare/summary.txt").read_text()
    assert done.stdout.rstrip().endswith(CAUTION)
    names = {
        "about.json", "best.csv", "budget.csv", "gain.csv", "polar.csv", "summary.txt", "best_option.png",
        "best_option.svg", "gain.png", "gain.svg", "vmg.png", "vmg.svg",
    }  # fmt: skip
    assert {path.name for path in Path("out/compare").iterdir()} == names
    assert all(f"out/compare/{name}" in done.stdout for name in names)


def test_details_are_the_sentences_of_each_option_and_the_map_of_the_best(invented: Run) -> None:
    plain = invented("compare", "good.toml", "--no-figures", *SMALL).stdout
    done = invented("compare", "good.toml", "--no-figures", "--details", *SMALL).stdout
    assert "lower_foot: upwind +0.03 kn VMG (0.9 %) at 6 kn" not in plain
    assert "lower_foot: upwind +0.03 kn VMG (0.9 %) at 6 kn" in done
    lines = done.splitlines()
    start = lines.index("Best option and its margin over the next, kn, at true wind angle and speed")
    header, *rows = lines[start + 1 : start + 7]
    assert header.split() == ["TWA", "deg", "6", "kn", "12", "kn", "18", "kn"]
    best = pd.read_csv("out/compare/best.csv", keep_default_na=False)
    names = ["base", "taller_rig", "lower_foot", "cut_head"]
    for row, angle in zip(rows[1:4], (60.0, 110.0, 160.0), strict=True):
        along = best[(best["aim"] == "speed") & (best["twa_deg"] == angle)]
        told = row.split(maxsplit=1)[1].replace("=", " ").split()
        assert told[::2] == [chr(ord("a") + names.index(name)) for name in along["option"]]
        assert [float(each) for each in told[1::2]] == [round(each, 2) for each in along["margin_kn"]]
    assert "a base, b taller_rig, c lower_foot, d cut_head" in lines


def test_printed_gain_is_the_one_in_the_table(invented: Run) -> None:
    done = invented("compare", "good.toml", "--no-figures", *SMALL)
    gain = pd.read_csv("out/compare/gain.csv")
    upwind = gain[(gain["option"] == "taller_rig") & (gain["aim"] == "upwind")]["gain_kn"]
    line = next(line for line in done.stdout.splitlines() if line.startswith("taller_rig  "))
    assert [float(word) for word in line.split()[1:]] == [round(value, 2) for value in upwind]


def test_polar_writes_tidy_tables_and_about(invented: Run) -> None:
    done = invented("polar", "good.toml", "--option", "taller_rig", "-o", "deep/er", *SMALL)
    assert done.exit_code == 0, done.output
    table = pd.read_csv("deep/er/polar.csv", keep_default_na=False)
    assert tuple(table.columns) == COLUMNS
    assert len(table) == 2 * 3 * (3 + 2)
    assert tuple(pd.read_csv("deep/er/budget.csv").columns) == BUDGET_COLUMNS
    about = json.loads(Path("deep/er/about.json").read_text())
    assert about["digest"] == "0a1b2c3d4e5f"
    assert about["version"] == __version__
    assert about["options"] == ["base", "taller_rig"]
    assert about["conditions"]["converged"] == 30
    assert {path.name for path in Path("deep/er").glob("*.png")} == {
        "polar_base.png",
        "polar_taller_rig.png",
        "vmg.png",
    }


def test_polar_marks_numbers_past_the_data_and_counts_them(invented: Run) -> None:
    done = invented("polar", "good.toml", "--no-figures", "--option", "taller_rig", *BEYOND)
    lines = done.stdout.splitlines()
    speeds = lines[lines.index("base: boat speed, kn, at TWA, deg") + 2 :][:2]
    assert [word[-1] == "~" for line in speeds for word in line.split()] == [False] * 5 + [True]
    # digits stay below each other
    assert len({line.rstrip("~").rindex(".") for line in speeds}) == 1
    best = lines[lines.index("base: best VMG up and down") + 2 :][:2]
    assert [word[-1] == "~" for line in best for word in line.split()] == [False] * 11 + [True] * 3
    assert "~ hull resistance extended past the data: 4 of 16 conditions" in lines
    about = json.loads(Path("out/polar/about.json").read_text())
    assert about["remarks"] == {"heel limit": 12, "hull resistance extended past Fn 0.45": 4}


def test_compare_marks_gains_past_the_data_in_tables_sentences_and_files(invented: Run) -> None:
    done = invented("compare", "good.toml", "--no-figures", *BEYOND)
    lines = done.stdout.splitlines()
    reach = lines[lines.index("boat speed on a reach, TWA 110 deg") + 2 :][:3]
    assert all(line.endswith("~") and line.count("~") == 1 for line in reach)
    note = "~ hull resistance extended past the data: 8 of 32 conditions"
    assert note in lines
    assert "~ kn" in done.stdout
    assert any(line.startswith("reach, TWA 110 deg") and "~ 30 kn" in line for line in lines)
    assert note in Path("out/compare/summary.txt").read_text().splitlines()
    gain = pd.read_csv("out/compare/gain.csv", keep_default_na=False)
    fast = (gain["tws_kn"] == 30.0) & (gain["twa_deg"] > 99.0)
    said = "hull resistance extended past Fn 0.45"
    for column in ("base_remark", "option_remark"):
        assert set(gain.loc[fast, column]) == {said}
        assert not set(gain.loc[~fast, column]) & {said}
    best = pd.read_csv("out/compare/best.csv", keep_default_na=False)
    assert (best["option_remark"] == said).sum() == (best["extended_count"] == 4).sum() == 2


def test_tables_within_the_data_carry_no_mark(invented: Run) -> None:
    for command in ("polar", "compare"):
        assert "~" not in invented(command, "good.toml", "--no-figures", *SMALL).stdout


def test_missing_reach_is_said_in_a_line(invented: Run) -> None:
    done = invented("compare", "good.toml", "--no-figures", "--tws", "6", "--twa", "40:60:20")
    note = "no reach compared: no angle of the grid lies from 70 to 130 deg"
    assert note in done.stdout.splitlines()
    assert note in Path("out/compare/summary.txt").read_text().splitlines()
    told = json.loads(
        invented(
            "compare", "good.toml", "--no-figures", "--format", "json", "--tws", "6", "--twa", "40:60:20"
        ).stdout
    )
    assert told["notes"] == [note]


def test_folder_never_mixes_two_runs(invented: Run) -> None:
    invented("compare", "good.toml", "-o", "out", "--no-figures", *SMALL)
    Path("out/notes.txt").write_text("mine")
    done = invented("polar", "good.toml", "-o", "out", "--no-figures", *SMALL)
    about = json.loads(Path("out/about.json").read_text())
    assert about["files"] == ["polar.csv", "budget.csv", "about.json"]
    assert {path.name for path in Path("out").iterdir()} == {*about["files"], "notes.txt"}
    closing = done.stdout.split("Removed, left by an earlier run:\n")[1].splitlines()
    assert closing == ["  out/gain.csv", "  out/best.csv", "  out/summary.txt", CAUTION]
    again = invented("polar", "good.toml", "-o", "out", "--no-figures", *SMALL)
    assert "Removed" not in again.stdout


def test_removed_files_are_told_on_stderr_where_data_is_printed(invented: Run) -> None:
    invented("compare", "good.toml", "-o", "out", "--no-figures", *SMALL)
    done = invented("polar", "good.toml", "-o", "out", "--no-figures", "--format", "csv", *SMALL)
    assert done.stdout == Path("out/polar.csv").read_text()
    assert "out/gain.csv" in done.stderr


def test_unknown_format_is_told_like_any_other_bad_input(invented: Run) -> None:
    for words in (("polar", "good.toml"), ("compare", "good.toml"), ("check", "good.toml")):
        done = invented(*words, "--format", "xml")
        assert done.exit_code == 2
        assert done.stdout == ""
        assert done.stderr == "format = 'xml': not a format; allowed: text, json, csv\n"
    assert not Path("out").exists()


def test_no_figures_means_none(invented: Run) -> None:
    invented("polar", "good.toml", "--no-figures", *SMALL)
    assert {path.suffix for path in Path("out/polar").iterdir()} == {".csv", ".json"}


@pytest.mark.parametrize("command", ["polar", "compare"])
def test_printed_csv_is_the_written_one(invented: Run, command: str) -> None:
    done = invented(command, "good.toml", "--no-figures", "--format", "csv", *SMALL)
    name = {"polar": "polar.csv", "compare": "gain.csv"}[command]
    assert done.stdout == Path(f"out/{command}", name).read_text()


@pytest.mark.parametrize("command", ["polar", "compare"])
def test_printed_json_is_strict_and_whole(invented: Run, command: str) -> None:
    done = invented(command, "good.toml", "--no-figures", "--format", "json", *FAILING)
    told = json.loads(done.stdout, parse_constant=pytest.fail)
    assert told["caution"] == CAUTION
    rows = told["rows" if command == "polar" else "gain"]
    assert len(rows) == (60 if command == "polar" else 45) * 4 // 5


@pytest.mark.parametrize("command", ["polar", "compare"])
def test_failed_conditions_are_counted_by_reason_and_everything_is_written(
    invented: Run, command: str
) -> None:
    done = invented(command, "good.toml", "--no-figures", *FAILING)
    assert done.exit_code == 3
    assert "4 of 48 conditions have no result:" in done.stderr
    assert "4 no_equilibrium (TWS 18 kn, TWA 30 deg): No equilibrium" in done.stderr
    table = pd.read_csv(f"out/{command}/polar.csv")
    assert (table["status"] == "no_equilibrium").sum() == 4
    assert Path(f"out/{command}/about.json").exists()


@pytest.mark.parametrize("command", ["polar", "compare"])
def test_bad_input_lists_every_problem_and_writes_nothing(invented: Run, command: str) -> None:
    done = invented(command, "broken.toml", "--tws", "6:24:0", "--twa", "20:200:20")
    assert done.exit_code == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    for said in (
        "the step is 0",
        "twa = 200 deg",
        "broken.toml:3: hull.waterline_length_m",
        "broken.toml:9: rig.mast_x",
    ):
        assert said in done.stderr
    assert list(Path().iterdir()) == []


@pytest.mark.parametrize("command", ["check", "polar", "compare"])
def test_unknown_option_is_bad_input_with_the_nearest_name(invented: Run, command: str) -> None:
    done = invented(command, "good.toml", "--option", "taler_rig")
    assert done.exit_code == 2
    assert "taller_rig" in done.stderr
    assert not Path("out").exists()


def test_file_in_the_way_of_the_folder_is_bad_input(invented: Run) -> None:
    Path("out").write_text("mine")
    done = invented("polar", "good.toml", *SMALL)
    assert done.exit_code == 2
    assert done.stderr == "out = 'out/polar': out is a file and not a folder\n"
    assert Path("out").read_text() == "mine"


def test_nothing_to_compare_is_bad_input(invented: Run) -> None:
    done = invented("compare", "plain.toml")
    assert done.exit_code == 2
    assert "nothing to compare" in done.stderr
    assert not Path("out").exists()


def test_point_prints_columns_that_add_up(invented: Run) -> None:
    done = invented("point", "good.toml", "--tws", "12", "--twa", "upwind")
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    first = next(index for index, line in enumerate(lines) if line.startswith("component"))
    last = next(index for index, line in enumerate(lines) if line.startswith("together"))
    assert last - first == 14
    totals = [float(word) for word in lines[last].split()[1:]]
    columns = zip(
        *([float(word) for word in line.split()[-6:]] for line in lines[first + 1 : last]), strict=True
    )
    assert [round(sum(column), 6) for column in columns] == totals
    assert lines[-1] == CAUTION


def test_point_prints_speeds_with_two_decimals_and_angles_with_one(invented: Run) -> None:
    done = invented("point", "good.toml", "--tws", "12", "--twa", "90")
    lines = {
        line.split("  ")[0]: line.split()[-2]
        for line in done.stdout.splitlines()
        if line.endswith((" kn", " deg"))
    }
    assert len(lines["boat speed"].split(".")[1]) == 2
    assert len(lines["heel"].split(".")[1]) == 1


def test_point_in_json_carries_values_and_budget(invented: Run) -> None:
    done = invented(
        "point", "good.toml", "--tws", "12", "--twa", "90", "--option", "cut_head", "--format", "json"
    )
    told = json.loads(done.stdout)
    assert told["values"]["option"] == "cut_head"
    assert told["values"]["pitch_deg"] is None
    assert len(told["budget"]) == 13


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_point_draws_its_budget(invented: Run, kind: str) -> None:
    done = invented("point", "good.toml", "--tws", "12", "--twa", "90", "--figure", f"new/budget.{kind}")
    assert done.exit_code == 0, done.output
    start = {"png": b"\x89PNG", "svg": b"<?xml"}[kind]
    assert Path(f"new/budget.{kind}").read_bytes().startswith(start)


def test_point_without_result_says_why(invented: Run) -> None:
    done = invented("point", "good.toml", "--tws", "20", "--twa", "30", "--figure", "budget.png")
    assert done.exit_code == 3
    assert done.stdout == ""
    assert "No equilibrium: the drive cannot meet the drag" in done.stderr
    assert not Path("budget.png").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--tws", "50", "--twa", "90"), "tws = 50 kn"),
        (("--tws", "10", "--twa", "sideways"), "twa = 'sideways'"),
        (("--tws", "10", "--twa", "nan"), "twa = nan deg"),
        (("--tws", "10", "--twa", "90", "--option", "taler_rig"), "taller_rig"),
        (("--tws", "10", "--twa", "90", "--figure", "budget.gif"), ".png or .svg"),
        (("--tws", "ten", "--twa", "90"), "Invalid value for '--tws'"),
    ],
)
def test_point_with_bad_input_says_what_is_wrong(invented: Run, words: tuple[str, ...], said: str) -> None:
    done = invented("point", "good.toml", *words)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert said in done.stderr
    assert list(Path().iterdir()) == []


def test_check_shows_values_with_origin_masses_and_derived_numbers(invented: Run) -> None:
    done = invented("check", "good.toml")
    assert done.exit_code == 0, done.output
    assert "demo_keelboat.toml:12" in done.stdout
    assert "default" in done.stdout
    assert "metacentric" in done.stdout
    assert "together" in done.stdout
    changed = done.stdout.split("taller_rig: mast and luff 0.6 m longer (what differs from base)")[1]
    assert "11.2" in changed.split("lower_foot")[0]
    assert "waterline" not in changed


def test_check_shows_a_named_option_whole(invented: Run) -> None:
    done = invented("check", "good.toml", "--option", "taller_rig")
    assert done.stdout.count("hull.waterline_length_m") == 2
    assert "lower_foot" not in done.stdout


def test_check_lists_problems_of_a_broken_file(invented: Run) -> None:
    done = invented("check", "broken.toml")
    assert done.exit_code == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 2


def test_check_as_data(invented: Run) -> None:
    told = json.loads(invented("check", "good.toml", "--format", "json").stdout)
    table = pd.read_csv(io.StringIO(invented("check", "good.toml", "--format", "csv").stdout))
    assert len(told["values"]) == len(table) == 4 * 5
    assert told["values"][2]["value"] == [3.2, 0.6]


def test_leader_among_boats_without_result_is_starred() -> None:
    best = pd.DataFrame(
        {
            "tws_kn": [6.0, 8.0, 10.0, 12.0, 14.0],
            "option": ["a", "a", "a", "b", ""],
            "runner_up": ["b", "b", "b", "a", ""],
            "margin_kn": [0.1, 0.1, 0.1, 0.001, float("nan")],
            "missing_count": [0, 0, 1, 0, 3],
            "extended_count": [0, 0, 1, 2, 0],
        }
    )
    assert name_runs(best) == "a 6 to 8 kn; a*~ 10 kn; b level with a~ 12 kn; no result 14 kn"
