"""The sails side by side, as `vpp check` shows them of the demo boat on foils."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

from vpp.cli import app

CONFIGS = Path(__file__).parents[2] / "configs"


def check(*words: str) -> str:
    done = CliRunner().invoke(app, ["check", str(CONFIGS / "foiling_monohull.toml"), *words])
    assert done.exit_code == 0, done.output
    return str(done.stdout)


def sail_table(printed: str, boat: str) -> dict[str, list[float]]:
    """Numbers of the table by sail, in the order of its columns."""
    lines = printed.split(f"\nSails of {boat}\n")[1].splitlines()
    assert lines[0].split("  ")[0] == "sail"
    return {words[0]: [float(word) for word in words[1:]] for words in map(str.split, lines[1:3])}


def test_check_lists_the_sails_of_a_whole_boat_side_by_side() -> None:
    """Numbers of the file beside it: chords 5.20 and 1.70 m on a luff from 1.35 to 20.90 m that leans by 1
    deg, 0.20 m over the deck; `low_luff` adds 0.50 m of luff, 5.30 m long at its lower edge, over a floor as
    far below it.
    """
    told = check("--option", "low_luff")
    area, measured, centre, luff, foot, head, gap, mean, aspect = sail_table(told, "base")["main"]
    assert (foot, head, gap) == (5.2, 1.7, 0.2)
    assert luff == pytest.approx(19.55 / 0.99985, abs=1e-3)
    # trapezoids between the chords of the file
    quarters = (5.20, 4.95, 4.35, 3.40, 1.70)
    assert measured == pytest.approx(19.55 / 8.0 * (sum(quarters) + sum(quarters[1:-1])), abs=0.01)
    assert area == pytest.approx(measured, abs=0.01)
    assert mean == pytest.approx(area / 19.55, abs=1e-3)
    assert aspect == pytest.approx(19.55**2 / area, abs=1e-3)
    assert 1.35 < centre < 11.0
    lower = sail_table(told, "low_luff")["main"]
    assert lower[0] == pytest.approx(area + 0.5 * 0.5 * (5.2 + 5.3), abs=0.01)
    assert lower[1] == measured
    assert lower[2] < centre
    assert (lower[4], lower[6]) == (5.3, 0.2)


def test_check_tells_the_rig_as_a_whole() -> None:
    told = check()
    main, jib = sail_table(told, "base").values()
    (line,) = (line for line in told.splitlines() if line.startswith("Rig: "))
    total = main[0] + jib[0]
    height = (main[0] * main[2] + jib[0] * jib[2]) / total
    words = line.split()
    assert float(words[1]) == pytest.approx(total, abs=0.01)
    assert float(words[words.index("at") + 1]) == pytest.approx(height, abs=2e-3)
    assert line.endswith("mast top at 21.300 m.")


def test_check_as_data_has_the_same_numbers() -> None:
    values = {
        (each["option"], each["key"]): each
        for each in json.loads(check("--option", "low_luff", "--format", "json"))["values"]
    }
    table = sail_table(check("--option", "low_luff"), "low_luff")["main"]
    keys = (
        "area_m2", "measured_area_m2", "area_centre_height_m", "luff_length_m", "foot_chord_m",
        "head_chord_m", "deck_gap_m", "mean_chord_m", "aspect_ratio",
    )  # fmt: skip
    for key, shown in zip(keys, table, strict=True):
        found = values["low_luff", f"sail.main.{key}"]
        assert found["value"] == pytest.approx(shown, abs=5e-3)
        assert found["origin"] == "computed"
    assert values["base", "rig.sail_area_m2"]["unit"] == "m²"
    rows = pd.read_csv(io.StringIO(check("--format", "csv")))
    assert {"sail.jib.aspect_ratio", "rig.area_centre_height_m"} <= set(rows["key"])


def test_check_shows_what_an_option_changes_of_its_sails() -> None:
    """An option that is not named is shown by what differs."""
    told = check().split("\nlow_luff: ")[1].split("\ndeck_only: ")[0]
    assert "sail.main.area_centre_height_m" in told
    assert "rig.sail_area_m2" in told
    assert "sail.jib" not in told
    assert "sail.main.head_chord_m" not in told
