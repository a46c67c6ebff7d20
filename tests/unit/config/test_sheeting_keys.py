"""How sails are sheeted, where a mast turns and what trims, in the boat file: for loads alone."""

import tomllib
from collections.abc import Callable
from dataclasses import replace

import pytest

from tests.unit.config.conftest import Edit
from vpp.boat import Sheeting
from vpp.config import Problem, load
from vpp.config.movable import MovableKeys

KEYS = """
sheeting = "boom"
sheet_point_m = 3.6
sheet_block_x_m = -2.9
sheet_block_height_m = 1.25
sheet_track_min_m = -1.2
sheet_track_max_m = 1.1
"""


def main_with(boat_text: str, keys: str) -> tuple[str, str]:
    table = boat_text[boat_text.index("[[sail]]") :]
    line = next(line for line in table.splitlines() if line.startswith("foot_height_m"))
    return line, f"{line}\n{keys}"


def test_keys_come_into_the_boat_and_its_list_with_their_line(edited: Edit, boat_text: str) -> None:
    file = load(edited(main_with(boat_text, KEYS)))
    boat = file.boat("base")
    found = boat.sails[0].sheeting
    assert (found.holds, found.point, found.block_x) == ("boom", 3.6, -2.9)
    assert (found.track_min, found.track_max, found.stay_sag_share) == (-1.2, 1.1, None)
    rows = {row.key: row for row in file.rows("base")}
    row = rows["sail.main.sheet_point_m"]
    assert (row.value, row.unit) == (3.6, "m")
    assert "boat.toml:" in row.origin
    assert "sail.jib.sheet_point_m" not in rows


def test_block_goes_down_with_the_boat(edited: Edit, boat_text: str) -> None:
    boat = load(edited(main_with(boat_text, KEYS))).boat("base")
    drawn = tomllib.loads(boat_text)["rig"]["deck_height_m"]
    block = boat.sails[0].sheeting.block_height
    assert block == pytest.approx(1.25 + boat.rig.deck_height - drawn)
    assert block != 1.25


def test_boat_without_keys_says_nothing(edited: Edit) -> None:
    boat = load(edited()).boat("base")
    assert {sail.sheeting for sail in boat.sails} == {Sheeting()}
    assert (boat.rig.mast_pivot_share, boat.crew.trim_power) == (None, None)


def test_keys_change_nothing_else_of_the_boat(edited: Edit, boat_text: str) -> None:
    plain, given = load(edited()).boat("base"), load(edited(main_with(boat_text, KEYS))).boat("base")
    sails = tuple(replace(sail, sheeting=Sheeting()) for sail in given.sails)
    assert replace(given, sails=sails) == plain


def test_pivot_and_power_are_in_shares_and_watts(edited: Edit) -> None:
    file = load(
        edited(("[rig]", "[rig]\nmast_pivot_percent = 35.0"), ("[crew]", "[crew]\ntrim_power_w = 450.0"))
    )
    boat = file.boat("base")
    assert (boat.rig.mast_pivot_share, boat.crew.trim_power) == (pytest.approx(0.35), 450.0)
    row = next(row for row in file.rows("base") if row.key == "crew.trim_power_w")
    assert (row.value, row.unit) == (450.0, "W")


def test_they_are_no_levers(edited: Edit, boat_text: str) -> None:
    keys = MovableKeys(load(edited(main_with(boat_text, KEYS))), "base").keys
    assert "sail.main.sheet_min_deg" in keys
    assert not [key for key in keys if "sheet_point" in key or "sheet_block" in key or "sheet_track" in key]


@pytest.mark.parametrize(
    ("keys", "key", "wrong"),
    [
        ("sheet_block_height_m = 2.5", "sheet_block_height_m", "is not below the lower edge"),
        ("sheet_track_min_m = 1.0\nsheet_track_max_m = -1.0", "sheet_track_max_m", "must not be less than"),
        ('sheeting = "clew"\nsheet_point_m = 2.0', "sheet_point_m", 'not used with sheeting = "clew"'),
        ('sheeting = "boom"\nstay_sag_percent = 2.0', "stay_sag_percent", 'not used with sheeting = "boom"'),
        ('sheeting = "rail"', "sheeting", "allowed"),
        ("sheet_point_m = 0.0", "sheet_point_m", "is too small"),
        ("sheet_point_ft = 9.0", "sheet_point_ft", "unknown key"),
    ],
)
def test_what_does_not_go_together_is_told(
    problems_of: Callable[..., list[Problem]], boat_text: str, keys: str, key: str, wrong: str
) -> None:
    problems = problems_of(main_with(boat_text, keys))
    assert [problem.key for problem in problems] == [f"sail.main.{key}"]
    assert wrong in str(problems[0])
