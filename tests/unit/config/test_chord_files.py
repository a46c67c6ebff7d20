"""Chords of a sail from a CSV file beside the boat file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from vpp.config import BoatFileError, load

Edit = Callable[..., Path]

CHORDS = "chord_at_percent = [0.0, 25.0, 50.0, 75.0, 100.0]\nchord_m = [4.20, 3.60, 2.85, 1.90, 0.40]\n"
FROM_FILE = (CHORDS, 'chord_file = "main.csv"\n')
GOOD = "height_percent,chord_m\n0,4.20\n25,3.60\n50,2.85\n\n75,1.90\n100,0.40\n"

BOAT = Path(__file__).with_name("boat.toml")


def messages(path: Path) -> list[str]:
    with pytest.raises(BoatFileError) as caught:
        load(path)
    return [str(problem).replace(f"{path.parent}/", "") for problem in caught.value.problems]


def test_chords_from_a_file_are_those_of_the_lists(edited: Edit) -> None:
    path = edited(FROM_FILE)
    (path.parent / "main.csv").write_text(GOOD)
    assert load(path).boats == load(BOAT).boats


def test_the_origin_of_the_chords_is_the_file(edited: Edit) -> None:
    path = edited(FROM_FILE)
    (path.parent / "main.csv").write_text(GOOD)
    rows = {row.key: row for row in load(path).rows()}
    assert rows["sail.main.chord_m"].origin == "main.csv:2"
    assert rows["sail.main.chord_m"].value == (4.20, 3.60, 2.85, 1.90, 0.40)
    assert rows["sail.main.chord_at_percent"].value == (0.0, 25.0, 50.0, 75.0, 100.0)


def test_the_digest_covers_the_file(edited: Edit) -> None:
    path = edited(FROM_FILE)
    data = path.parent / "main.csv"
    data.write_text(GOOD)
    before = load(path).digest
    data.write_text(GOOD.replace("2.85", "2.86"))
    assert load(path).digest != before


def test_a_missing_file(edited: Edit, boat_text: str) -> None:
    line = boat_text[: boat_text.index(CHORDS)].count("\n") + 1
    assert messages(edited(FROM_FILE)) == [
        f'boat.toml:{line}: sail.main.chord_file = "main.csv": there is no such file beside the boat file'
    ]


def test_an_absolute_path(edited: Edit) -> None:
    [message] = messages(edited((CHORDS, 'chord_file = "/tmp/main.csv"\n')))
    assert message.endswith('chord_file = "/tmp/main.csv": the path must be relative to the boat file')


def test_both_a_file_and_lists(edited: Edit) -> None:
    path = edited((CHORDS, CHORDS + 'chord_file = "main.csv"\n'))
    (path.parent / "main.csv").write_text(GOOD)
    told = messages(path)
    assert len(told) == 2
    assert all(message.endswith("stands beside chord_file; give one or the other") for message in told)


def test_neither_file_nor_lists(edited: Edit) -> None:
    told = messages(edited((CHORDS, "")))
    assert [message.split(": ", 1)[1] for message in told] == [
        "sail.main.chord_at_percent: missing: chords of the sail; or give chord_file",
        "sail.main.chord_m: missing: chords of the sail; or give chord_file",
    ]


BAD = {
    "empty": (
        "",
        ["main.csv:1: is not the heading: it lacks height_percent, chord_m; allowed: height_percent,chord_m"],
    ),
    "other heading": (
        "height,chord\n0,4\n",
        [
            'main.csv:1: "height,chord": is not the heading: it lacks height_percent, chord_m; '
            "allowed: height_percent,chord_m"
        ],
    ),
    "words": (
        GOOD.replace("3.60", "wide"),
        ["main.csv:3: chord_m = wide: is not a finite number; allowed: 0.02 to 15 m"],
    ),
    "not a number": (
        GOOD.replace("3.60", "nan"),
        ["main.csv:3: chord_m = nan: is not a finite number; allowed: 0.02 to 15 m"],
    ),
    "several mistakes": (
        GOOD.replace("3.60", "36").replace("75,", "175,"),
        [
            "main.csv:3: chord_m = 36: is outside its range; allowed: 0.02 to 15 m",
            "main.csv:6: height_percent = 175: is outside its range; allowed: 0 to 100 %",
        ],
    ),
    "too many cells": (GOOD.replace("3.60", "3,60"), ["main.csv:3: has 3 cells; allowed: 2 cells"]),
    "broken quotes": ('height_percent,chord_m\n"0\n', ["main.csv:2: has 1 cells; allowed: 2 cells"]),
}


@pytest.mark.parametrize(("content", "expected"), BAD.values(), ids=BAD.keys())
def test_mistakes_inside_the_file(content: str, expected: list[str], edited: Edit) -> None:
    path = edited(FROM_FILE)
    (path.parent / "main.csv").write_text(content)
    assert messages(path) == expected


def test_heights_that_do_not_reach_the_head(edited: Edit) -> None:
    path = edited(FROM_FILE)
    (path.parent / "main.csv").write_text("height_percent,chord_m\n0,4\n50,2\n")
    [message] = messages(path)
    assert "in that file the heights do not reach from foot to head" in message


def test_a_file_that_is_not_text(edited: Edit) -> None:
    path = edited(FROM_FILE)
    (path.parent / "main.csv").write_bytes(b"\xff\xfe\x00")
    [message] = messages(path)
    assert "the file is not UTF-8 text" in message


def test_an_option_inherits_a_bad_file_without_saying_so_again(edited: Edit) -> None:
    path = edited(FROM_FILE)
    (path.parent / "main.csv").write_text(GOOD.replace("3.60", "36"))
    assert len(messages(path)) == 1


def test_two_options_may_share_a_bad_file(edited: Edit) -> None:
    option = (
        '\n[[option]]\nname = "{}"\nsays = "x"\nremove = ["sail.main.chord_at_percent", '
        '"sail.main.chord_m"]\n'
        'change.sail.main.chord_file = "main.csv"\n'
    )
    path = edited(add=option.format("first") + option.format("second"))
    (path.parent / "main.csv").write_text(GOOD.replace("3.60", "36"))
    assert len(messages(path)) == 1
    (path.parent / "main.csv").write_text(GOOD)
    boats = load(path)
    assert boats.boat("first").sails == boats.boat("base").sails
