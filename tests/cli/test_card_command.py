"""`vpp card` on invented results: files, pages, and how it ends."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from vpp.results.files import CAUTION

GRID = ("--tws-grid", "8:14:2", "--twa-grid", "35:170:5")
ONE = ("--page", "a5", "--ground", "day")
SIZES = {"a5": (148.0, 210.0), "a4": (210.0, 297.0)}


@pytest.fixture
def run(invented: Callable[..., Any]) -> Callable[..., Any]:
    return lambda *words: invented("card", *words)


def test_every_page_is_written_with_its_size(run: Callable[..., Any]) -> None:
    done = run("plain.toml", *GRID, "-o", "here")
    assert done.exit_code == 0, done.output
    cards = {
        f"card_{page}_{ground}.{kind}"
        for page in SIZES
        for ground in ("day", "night")
        for kind in ("pdf", "png")
    }
    assert {path.name for path in Path("here").iterdir()} == {
        *cards, "polar.csv", "targets.csv", "about.json",
    }  # fmt: skip
    about = json.loads(Path("here/about.json").read_text(encoding="utf-8"))
    assert set(about["files"]) == {path.name for path in Path("here").iterdir()}
    for page, size in SIZES.items():
        box = re.findall(rb"/MediaBox \[ ([\d. ]+) \]", Path(f"here/card_{page}_day.pdf").read_bytes())
        assert len(box) == 1
        found = [float(number) * 25.4 / 72.0 for number in box[0].split()]
        assert found == pytest.approx([0.0, 0.0, *size], abs=0.01)


def test_text_is_the_card_in_columns(run: Callable[..., Any]) -> None:
    done = run("good.toml", *GRID, *ONE, "--option", "base", "--option", "taller_rig")
    assert done.exit_code == 0, done.output
    assert "TWS  TWA    kn  heel  TWA    kn  heel" in done.stdout
    assert "Best options by TWS, kn: A base, B taller_rig; * leads by 1 % or more" in done.stdout
    assert "out/card/card_a5_day.pdf" in done.stdout
    assert "night" not in done.stdout
    assert done.stdout.rstrip().endswith(CAUTION)


def test_the_card_of_an_earlier_polar_is_the_same(run: Callable[..., Any]) -> None:
    first = run("plain.toml", *GRID, *ONE, "-o", "first", "--format", "csv")
    again = run("plain.toml", "--polar", "first", *ONE, "-o", "second", "--format", "csv")
    assert again.exit_code == 0, again.output
    frames = [pd.read_csv(io.StringIO(each.stdout)) for each in (first, again)]
    assert (frames[0]["boat_speed_kn"] - frames[1]["boat_speed_kn"]).abs().max() < 2e-4
    third = run("plain.toml", "--polar", "first", *ONE, "-o", "third", "--format", "json")
    assert third.exit_code == 0
    assert json.loads(third.stdout, parse_constant=pytest.fail)["rows"]
    # files are free of dates
    for name in ("card_a5_day.pdf", "card_a5_day.png"):
        assert Path("second", name).read_bytes() == Path("third", name).read_bytes()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("broken.toml", "--tws-grid", "6:9:2"), ["--tws-grid: tws = '6:9:2'", "negative", "unknown key"]),
        (("good.toml", "--option", "nope"), ["there is no option of that name"]),
        (("good.toml", "--page", "a6"), ["page = 'a6': not a page; allowed: a5, a4"]),
        (("good.toml", "--ground", "dusk"), ["ground = 'dusk': not a ground; allowed: day, night"]),
        (("good.toml", "--polar", "nowhere"), ["there is no polar.csv with its about.json"]),
        (
            ("good.toml", "--polar", "out/card", *GRID),
            ["--tws-grid: of no", "--twa-grid: of no", "--polar names"],
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


def test_help_has_an_example(run: Callable[..., Any]) -> None:
    assert "Example: vpp card " in run("--help").stdout
