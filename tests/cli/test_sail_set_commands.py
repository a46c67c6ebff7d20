"""The commands on a boat with sail sets, with the real solver."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner, Result

from tests.support.coarse_files import coarse_file
from vpp.cli import app
from vpp.config import load
from vpp.stability import stability

SETS = ["full", "working_jib", "reefed"]
WINDS = ("--tws", "8:24:16", "--twa", "50:90:40")


def run(*words: str) -> Result:
    return CliRunner().invoke(app, list(words))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    return coarse_file(folder, "keelboat_sails.toml", "keelboat.toml", "offwind_sail.csv")


@pytest.fixture(scope="module")
def folder(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sails")
    words = ("--option", "wardrobe", "--processes", "1", "-o", str(folder), "--format", "json")
    done = run("polar", str(demo), *WINDS, *words)
    assert done.exit_code == 0, done.output
    (folder / "printed.json").write_text(done.stdout)
    return folder


def test_a_polar_names_the_best_set_and_its_margin(folder: Path) -> None:
    table = pd.read_csv(folder / "polar.csv", keep_default_na=False)
    plain, sails = table[table["option"] == "base"], table[table["option"] == "wardrobe"]
    assert (plain[["sail_set", "sail_set_margin_kn"]] == "").all(axis=None)
    assert set(sails["sail_set"]) <= set(SETS)
    assert (sails["sail_set_margin_kn"].astype(float) >= 0.0).all()


def test_every_set_has_its_row_and_the_best_of_them_is_in_the_polar(folder: Path) -> None:
    sets = pd.read_csv(folder / "sail_sets.csv")
    polar = pd.read_csv(folder / "polar.csv")
    polar = polar[polar["option"] == "wardrobe"]
    # three sets in two winds at two angles and two best VMGs
    assert len(sets) == 3 * 2 * 4
    assert sets["sail_set"].tolist() == SETS * 8
    for (tws, aim), rows in sets[sets["aim"] != "speed"].groupby(["tws_kn", "aim"]):
        best = polar[(polar["tws_kn"] == tws) & (polar["aim"] == aim)].iloc[0]
        made_good = rows.set_index("sail_set")["vmg_kn"].abs()
        assert made_good.idxmax() == best["sail_set"]
        first, second = made_good.sort_values().iloc[-1], made_good.sort_values().iloc[-2]
        # files carry four decimals
        assert best["sail_set_margin_kn"] == pytest.approx(first - second, abs=2e-4)
        lag = rows.set_index("sail_set")["behind_best_kn"].drop(best["sail_set"])
        assert lag.min() == pytest.approx(best["sail_set_margin_kn"], abs=2e-4)


def test_a_folder_lists_the_map_and_the_table(folder: Path) -> None:
    told = json.loads((folder / "about.json").read_text())
    assert {"sail_sets.csv", "sail_sets.png", "sail_sets.svg"} <= set(told["files"])
    printed = json.loads((folder / "printed.json").read_text())
    assert len(printed["sail_sets"]) == 24
    upwind, reach, downwind = printed["sail_set_summary"]
    assert upwind.startswith("wardrobe, upwind: full up to ")
    assert "on a leg of 20 minutes" in upwind
    assert reach.startswith("wardrobe, at TWA 90 deg: ")
    assert downwind == "wardrobe, downwind: full in every wind."


def test_a_comparison_says_which_sails_are_up(demo: Path, tmp_path: Path) -> None:
    words = ("--option", "wardrobe", "--processes", "1", "--no-figures", "-o", str(tmp_path))
    done = run("compare", str(demo), "--tws", "8", "--twa", "90", *words)
    assert done.exit_code == 0, done.output
    sentence = "wardrobe, upwind: full in every wind."
    assert sentence in done.stdout
    assert sentence in (tmp_path / "summary.txt").read_text()
    assert (tmp_path / "sail_sets.csv").exists()
    assert not (tmp_path / "sail_sets.png").exists()


def test_a_point_says_what_the_other_sets_would_do(demo: Path) -> None:
    words = ("--tws", "8", "--twa", "60", "--option", "wardrobe", "--no-levers")
    done = run("point", str(demo), *words)
    assert done.exit_code == 0, done.output
    assert "wardrobe, hull-borne, under full" in done.stdout
    assert "Under working_jib, the boat would do " in done.stdout
    assert "Under reefed, the boat would do " in done.stdout
    assert "small_jib  " not in done.stdout
    reefed = run("point", str(demo), *words, "--sail-set", "reefed")
    assert "wardrobe, hull-borne, under reefed" in reefed.stdout
    assert "small_jib  " in reefed.stdout
    assert "would do" not in reefed.stdout


@pytest.mark.parametrize(
    ("option", "said"),
    [
        ("wardrobe", "sail_set = 'ful': wardrobe has no such sail set; it has full, working_jib, reefed"),
        ("base", "sail_set = 'ful': base has no such sail set; it has none"),
    ],
)
def test_a_set_that_is_not_there_is_bad_input(demo: Path, option: str, said: str) -> None:
    done = run("point", str(demo), "--tws", "8", "--twa", "60", "--option", option, "--sail-set", "ful")
    assert done.exit_code == 2
    assert done.stderr.strip() == said


def test_a_check_shows_the_sets_and_the_masses_under_the_first(demo: Path) -> None:
    done = run("check", str(demo), "--option", "wardrobe")
    assert done.exit_code == 0, done.output
    assert "Masses of wardrobe, under its first sail set full" in done.stdout
    assert "small_jib (stowed)" in done.stdout
    assert "sail_set.reefed.area_m2" in done.stdout


def test_stability_is_that_under_the_first_set(demo: Path) -> None:
    boat_file = load(demo)
    assert stability(boat_file, option="wardrobe").boat == boat_file.boat("wardrobe").wearing("full")
