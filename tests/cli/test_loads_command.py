"""`vpp loads` on invented strips: what it prints and writes, and how it ends."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from vpp.results.files import CAUTION
from vpp.rig_loads import LOADS_CAUTION

ASKED = ("--tws", "12", "--twa", "70")
GUST = (*ASKED, "--to-tws", "16", "--period-s", "20", "--power-w", "300")


@pytest.fixture
def run(invented: Callable[..., Any]) -> Any:
    return lambda *words: invented("loads", *words)


def test_text_tells_loads_lines_checks_and_where_the_sheeting_comes_from(run: Any) -> None:
    done = run("good.toml", *ASKED)
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    for said in (
        "base: TWS 12 kn, TWA 70 deg",
        "sheet, kN",
        "leech at the clew, kN",
        "sheet by the rule of thumb, kN",
        "common practice, no source",
        "main sheet",
        "default: stands on the mast",
        "stay under the luff, kN",
    ):
        assert said in done.stdout
    assert "trimming from" not in done.stdout
    assert LOADS_CAUTION in done.stdout
    assert done.stdout.rstrip().endswith(CAUTION)


def test_gust_tells_work_and_power(run: Any) -> None:
    done = run("good.toml", *GUST)
    assert done.exit_code == 0, done.output
    assert "trimming from TWS 12 kn, TWA 70 deg to TWS 16 kn, TWA 70 deg and back" in done.stdout
    assert "of the 300 W (command line) at hand" in done.stdout
    assert "Every 20 s" in done.stdout


def test_printed_table_is_tidy_and_states_follow_each_other(run: Any) -> None:
    frame = pd.read_csv(io.StringIO(run("good.toml", *GUST, "--format", "csv").stdout))
    assert frame["tws_kn"].drop_duplicates().tolist() == [12.0, 16.0]
    assert not frame.duplicated(["option", "tws_kn", "sail", "quantity"]).any()
    assert set(frame["unit"]) <= {"N", "N m", "m", "deg"}
    without = frame[frame["value"].isna()]
    assert without["note"].notna().all()


def test_json_is_strict_and_carries_the_caution(run: Any) -> None:
    done = run("good.toml", *GUST, "--format", "json", "--option", "base", "--option", "taller_rig")
    told = json.loads(done.stdout, parse_constant=pytest.fail)
    assert told["options"] == ["base", "taller_rig"]
    assert told["caution"].startswith(LOADS_CAUTION)
    assert {row["option"] for row in told["work"]} == {"base", "taller_rig"}
    [first, _] = told["power"]
    assert first["mean_power_w"] == pytest.approx(first["cycle_work_j"] / 20.0, abs=1e-2)
    assert first["power_w"] == 300.0


def test_files_are_the_tables_and_name_what_they_are_made_from(run: Any) -> None:
    done = run("good.toml", *GUST, "-o", "there")
    assert done.exit_code == 0, done.output
    assert sorted(path.name for path in Path("there").iterdir()) == [
        "about.json", "loads.csv", "sheeting.csv", "trim_work.csv",
    ]  # fmt: skip
    about = json.loads(Path("there", "about.json").read_text())
    assert about["files"] == ["loads.csv", "sheeting.csv", "trim_work.csv", "about.json"]
    assert LOADS_CAUTION in about["caution"]
    printed = run("good.toml", *GUST, "--format", "csv").stdout
    assert Path("there", "loads.csv").read_text() == printed
    again = run("good.toml", *ASKED, "-o", "there")
    assert "there/trim_work.csv" in again.stdout.split("Removed, left by an earlier run:")[1]


def test_no_equilibrium_ends_with_3_and_names_the_wind(run: Any) -> None:
    done = run("good.toml", "--tws", "18", "--twa", "30", "--option", "base")
    assert done.exit_code == 3
    assert done.stdout == ""
    assert done.stderr.startswith("No result: No equilibrium")
    gust = run("good.toml", "--tws", "12", "--twa", "30", "--to-tws", "18")
    assert gust.exit_code == 3
    assert "No result: at 18 kn, 30 deg: " in gust.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("good.toml",), ["--tws: missing", "--twa: missing"]),
        (("good.toml", *ASKED, "--option", "taler_rig"), ['did you mean "taller_rig"']),
        (("good.toml", *ASKED, "--sail-set", "nope"), ["no such sail set"]),
        (("good.toml", *ASKED, "--branch", "airborne"), ["branch = 'airborne'"]),
        (("good.toml", *ASKED, "--format", "xml"), ["not a format"]),
        (
            ("good.toml", *ASKED, "--period-s", "20", "--points", "3", "--power-w", "5"),
            ["--points: there is nothing", "--period-s: there is nothing", "--power-w: there is nothing"],
        ),
        (
            ("good.toml", *ASKED, "--to-tws", "60", "--to-twa", "200", "--period-s", "0", "--power-w", "nan"),
            ["to tws = 60", "to twa = 200", "period-s = 0 s", "power-w = nan W"],
        ),
        (("good.toml", *ASKED, "--to-twa", "upwind"), ["there is no way to it"]),
        (("good.toml", *ASKED, "--to-tws", "14", "--points", "1"), ["points = 1"]),
        (
            ("bad.toml", "--tws", "50", "--twa", "up"),
            ["tws = 50", "twa = 'up'", "waterline_length_m", "mast_x"],
        ),
    ],
)
def test_bad_input_is_told_a_sentence_a_problem(run: Any, words: tuple[str, ...], said: list[str]) -> None:
    done = run(*words)
    assert done.exit_code == 2, done.output
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert len(done.stderr.splitlines()) == len(said), done.stderr
    for sentence in said:
        assert sentence in done.stderr


def test_file_in_the_way_of_the_folder_is_bad_input(run: Any) -> None:
    Path("there").write_text("")
    done = run("good.toml", *ASKED, "-o", "there")
    assert done.exit_code == 2
    assert "a file of that name is in the way" in done.stderr


def test_help_has_an_example(run: Any) -> None:
    assert "Example: vpp loads " in run("--help").stdout
