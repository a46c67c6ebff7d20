"""`vpp point` for several options, and the drawing of the rig."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from vpp.results.files import CAUTION
from vpp.results.variables import COLUMNS
from vpp.rig_view import STATION_COLUMNS

Run = Callable[..., Any]
POINT = ("point", "good.toml", "--tws", "12", "--twa", "60")
TWO = ("--option", "base", "--option", "taller_rig")
# the option cut_head has no invented result in this wind, the base has
HALF = ("point", "good.toml", "--tws", "22", "--twa", "160", "--option", "base", "--option", "cut_head")
WRITTEN = ["about.json", "rig.png", "rig.svg", "stations.csv"]


def names_in(folder: str) -> list[str]:
    return sorted(path.name for path in Path(folder).iterdir())


@pytest.mark.parametrize("options", [(), ("--option", "lower_foot"), TWO])
def test_plot_writes_drawing_and_stations_and_says_where(invented: Run, options: tuple[str, ...]) -> None:
    done = invented(*POINT, *options, "--plot", "-o", "deep/rig")
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    assert names_in("deep/rig") == WRITTEN
    lines = done.stdout.splitlines()
    assert {f"  deep/rig/{name}" for name in WRITTEN} <= set(lines)
    assert lines[-1] == CAUTION
    assert Path("deep/rig/rig.png").read_bytes().startswith(b"\x89PNG")
    assert Path("deep/rig/rig.svg").read_bytes().startswith(b"<?xml")
    stations = pd.read_csv("deep/rig/stations.csv")
    assert tuple(stations.columns) == STATION_COLUMNS
    boats = list(options[1::2]) or ["base"]
    assert list(dict.fromkeys(stations["option"])) == boats
    assert len(stations) == 6 * len(boats)
    about = json.loads(Path("deep/rig/about.json").read_text())
    assert about["options"] == boats
    assert about["digest"] == "0a1b2c3d4e5f"
    assert sorted(about["files"]) == WRITTEN


def test_plot_goes_to_the_folder_of_the_other_commands_unless_told_another(invented: Run) -> None:
    done = invented(*POINT, "--plot")
    assert names_in("out/point") == WRITTEN
    assert "  out/point/rig.png" in done.stdout.splitlines()


def test_centres_of_effort_are_told_and_compared(invented: Run) -> None:
    said = "Centre of effort over the boat's water line, along the mast: "
    alone = invented(*POINT, "--plot")
    assert any(line.startswith(said) and line.endswith(" m") for line in alone.stdout.splitlines())
    both = invented(*POINT, *TWO, "--plot")
    (line,) = (line for line in both.stdout.splitlines() if line.startswith(said))
    assert line.endswith("; taller_rig level")
    assert said not in invented(*POINT).stdout


def test_several_options_are_printed_one_after_the_other(invented: Run) -> None:
    done = invented(*POINT, *TWO, "--option", "base")
    lines = done.stdout.splitlines()
    assert [line for line in lines if line in ("base, hull-borne", "taller_rig, hull-borne")] == [
        "base, hull-borne",
        "taller_rig, hull-borne",
    ]
    assert sum(line.startswith("together") for line in lines) == 2
    assert done.stdout.count("positive in roll to windward") == done.stdout.count(CAUTION) == 1
    one = invented(*POINT, "--option", "taller_rig").stdout.splitlines()
    speed = next(line for line in one if line.startswith("boat speed"))
    assert speed in lines


def test_several_options_as_data(invented: Run) -> None:
    told = json.loads(invented(*POINT, *TWO, "--format", "json").stdout)
    assert [each["values"]["option"] for each in told["points"]] == ["base", "taller_rig"]
    assert "files" not in told
    table = pd.read_csv(io.StringIO(invented(*POINT, *TWO, "--format", "csv").stdout))
    assert tuple(table.columns) == COLUMNS
    assert list(table["option"]) == ["base", "taller_rig"]
    drawn = json.loads(invented(*POINT, "--plot", "--format", "json").stdout)
    assert sorted(drawn["files"]) == [f"out/point/{name}" for name in WRITTEN]
    assert drawn["values"]["option"] == "base"


def test_nothing_is_drawn_without_an_equilibrium(invented: Run) -> None:
    done = invented("point", "good.toml", "--tws", "20", "--twa", "30", "--plot")
    assert done.exit_code == 3
    assert done.stdout == ""
    assert done.stderr.splitlines() == [
        "No result: No equilibrium: the drive cannot meet the drag; bear away or reduce the wind.",
        "Nothing is drawn: there is no result to draw.",
    ]
    assert list(Path().iterdir()) == []


def test_of_two_options_one_without_equilibrium_leaves_the_other_printed_and_nothing_drawn(
    invented: Run,
) -> None:
    done = invented(*HALF, "--plot")
    assert done.exit_code == 3
    assert "base, hull-borne" in done.stdout.splitlines()
    first, second = done.stderr.splitlines()
    assert first.startswith("No result for cut_head: The search ran out of steps")
    assert second.startswith("Nothing is drawn")
    assert list(Path().iterdir()) == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            (*TWO, "--option", "cut_head", "--plot"),
            "plot: one option is drawn, or two over each other; 3 are named",
        ),
        (
            (*TWO, "--figure", "budget.png"),
            "figure = 'budget.png': the budget of one option is drawn; 2 are named",
        ),
        (("-o", "rig"), "out = 'rig': there is nothing to write without --plot"),
        (("--option", "base", "--option", "taler_rig", "--plot"), 'did you mean "taller_rig"?'),
        (("--branch", "foil-borne", "--plot"), "base has no foils to fly on"),
    ],
)
def test_bad_input_says_what_is_wrong_and_draws_nothing(
    invented: Run, words: tuple[str, ...], said: str
) -> None:
    done = invented(*POINT, *words)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert said in done.stderr
    assert list(Path().iterdir()) == []


def test_file_in_the_way_of_the_folder_is_bad_input(invented: Run) -> None:
    Path("out").write_text("mine")
    done = invented(*POINT, "--plot")
    assert done.exit_code == 2
    assert "out = 'out/point': out is a file and not a folder" in done.stderr
    assert Path("out").read_text() == "mine"


def test_drawing_of_another_run_is_replaced_and_what_it_left_is_told(invented: Run) -> None:
    invented("polar", "good.toml", "--no-figures", "--tws", "6", "--twa", "60", "-o", "out/point")
    Path("out/point/notes.txt").write_text("mine")
    done = invented(*POINT, "--plot")
    assert names_in("out/point") == sorted([*WRITTEN, "notes.txt"])
    assert "  out/point/polar.csv" in done.stdout.split("Removed, left by an earlier run:\n")[1].splitlines()
