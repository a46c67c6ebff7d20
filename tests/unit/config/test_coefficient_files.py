"""Sails by lift and drag coefficients: their keys, and the CSV file beside the boat file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from vpp.config import BoatFileError, load
from vpp.config.schema import CoefficientSailTable, SailTable, properties_of

Edit = Callable[..., Path]

SAIL = """
[[sail]]
name = "big"
model = "table"
coefficient_file = "big.csv"
area_m2 = 70.0
span_m = 12.0
ce_height_m = 7.0
ce_x_m = 2.5
power_min_percent = 40.0
mass_per_area_kg_per_m2 = 0.1
"""
HEADING = "awa_deg,lift_coefficient,drag_coefficient\n"
# invented
GOOD = HEADING + "40,0.7,0.3\n60,1.3,0.5\n\n90,1.4,0.7\n130,0.8,0.9\n180,0,1.0\n"


def written(edited: Edit, *replacements: tuple[str, str], csv: str | None = GOOD) -> Path:
    """The test boat with one more sail, pieces of whose text are replaced, and the sail's file."""
    text = SAIL
    for old, new in replacements:
        assert old in text
        text = text.replace(old, new, 1)
    path = edited(add=text)
    if csv is not None:
        (path.parent / "big.csv").write_text(csv, encoding="utf-8")
    return path


def messages(path: Path) -> list[str]:
    with pytest.raises(BoatFileError) as caught:
        load(path)
    return [str(problem).replace(f"{path.parent}/", "") for problem in caught.value.problems]


def line_of(path: Path, text: str) -> int:
    return 1 + path.read_text(encoding="utf-8").split("\n").index(text)


# --- a sail in order ----------------------------------------------------------------------------------------


def test_the_sail_in_si_units(edited: Edit) -> None:
    boat = load(written(edited)).boat("base")
    assert [sail.name for sail in boat.sails] == ["main", "jib"]
    [sail] = boat.table_sails
    assert (sail.name, sail.area, sail.span, sail.centre_x) == ("big", 70.0, 12.0, 2.5)
    assert sail.wind_angle == pytest.approx(np.radians([40.0, 60.0, 90.0, 130.0, 180.0]))
    assert sail.lift_coefficient == (0.7, 1.3, 1.4, 0.8, 0.0)
    assert sail.drag_coefficient == (0.3, 0.5, 0.7, 0.9, 1.0)
    assert (sail.power.lower, sail.power.upper) == (0.4, 1.0)


def test_it_weighs_where_its_force_acts_and_sinks_with_the_boat(edited: Edit) -> None:
    without, loaded = load(edited()).boat("base"), load(written(edited))
    boat = loaded.boat("base")
    [mass] = [item for item in boat.all_masses() if item.name == "big"]
    assert mass.mass == pytest.approx(7.0)
    assert boat.total_mass == pytest.approx(without.total_mass + 7.0)
    sinkage = {row.key: row.value for row in loaded.rows()}["afloat.sinkage_m"]
    assert boat.table_sails[0].centre_height == pytest.approx(7.0 - sinkage)
    assert (mass.x, mass.z) == (2.5, boat.table_sails[0].centre_height)


def test_every_value_is_shown_with_its_origin(edited: Edit) -> None:
    path = written(edited)
    rows = {row.key: row for row in load(path).rows()}
    assert rows["sail.big.area_m2"].origin.endswith(f"boat.toml:{line_of(path, 'area_m2 = 70.0')}")
    assert rows["sail.big.awa_deg"].value == (40.0, 60.0, 90.0, 130.0, 180.0)
    assert rows["sail.big.lift_coefficient"].value == (0.7, 1.3, 1.4, 0.8, 0.0)
    assert rows["sail.big.drag_coefficient"].origin == "big.csv:2"
    assert rows["sail.big.awa_deg"].unit == "deg"
    # nothing of strips
    keys = {key.removeprefix("sail.big.") for key in rows if key.startswith("sail.big.")}
    assert not keys & (set(properties_of(SailTable)) - set(properties_of(CoefficientSailTable)))


def test_the_digest_covers_the_file(edited: Edit) -> None:
    path = written(edited)
    before = load(path).digest
    (path.parent / "big.csv").write_text(GOOD.replace("1.3", "1.31"))
    assert load(path).digest != before


def test_an_option_can_add_and_change_one(edited: Edit) -> None:
    added = SAIL.replace("[[sail]]", "[[option.add.sail]]")
    options = (
        '[[option]]\nname = "offwind"\nsays = "s"\nremove = ["sail.jib"]\n' + added
        + '[[option]]\nname = "larger"\nsays = "s"\nparent = "offwind"\n'
        + "[option.change]\nsail.big.area_m2 = 80.0\n"
    )  # fmt: skip
    path = edited(add=options)
    (path.parent / "big.csv").write_text(GOOD)
    boats = load(path)
    assert boats.boat("base").table_sails == ()
    assert [sail.name for sail in boats.boat("offwind").sails] == ["main"]
    assert boats.boat("larger").table_sails[0].area == 80.0


def test_all_sails_may_come_from_tables(edited: Edit, boat_text: str) -> None:
    start = boat_text.index("[[sail]]")
    sails = boat_text[start : boat_text.index("[[mass]]")]
    options = boat_text[boat_text.index("[[option]]") :]
    path = edited((sails, SAIL.lstrip()), (options, ""))
    (path.parent / "big.csv").write_text(GOOD)
    boat = load(path).boat("base")
    assert (boat.sails, len(boat.table_sails)) == ((), 1)


# --- keys ---------------------------------------------------------------------------------------------------


def test_mistakes_of_the_table_are_told_all_at_once(edited: Edit) -> None:
    path = written(
        edited, ("area_m2 = 70.0", "area_ft2 = 750.0"), ("span_m = 12.0", 'span_m = "long"\nchord_m = 3.0')
    )
    first = line_of(path, "area_ft2 = 750.0")
    assert messages(path) == [
        f"boat.toml:{first}: sail.big.area_ft2 = 750.0: unknown key; did you mean "
        '"area_m2"? That key takes square metres',
        f'boat.toml:{first + 1}: sail.big.span_m = "long": is not a number; allowed: 0.5 to 120 m; '
        "numbers stand without quotes and units",
        f'boat.toml:{first + 2}: sail.big.chord_m = 3.0 m: not used with model = "table"',
    ]


def test_a_missing_key_says_what_it_is(edited: Edit) -> None:
    [told] = messages(written(edited, ("power_min_percent = 40.0\n", "")))
    assert told.endswith(
        "sail.big.power_min_percent: missing: how far lift can be taken back from that of the table, which "
        "is 100; allowed: 5 to 100 %"
    )


def test_keys_of_a_table_have_no_use_beside_strips(edited: Edit) -> None:
    [told] = messages(edited(('model = "strips"\n', 'model = "strips"\nspan_m = 12.0\n')))
    assert told.endswith('sail.main.span_m = 12.0 m: not used with model = "strips"')


@pytest.mark.parametrize("model", ['model = "tabel"', ""], ids=["misspelt", "missing"])
def test_without_a_model_that_is_known_both_are_named(edited: Edit, model: str) -> None:
    told = messages(written(edited, ('model = "table"', model)))
    assert sum('"strips" or "table"' in message for message in told) == 1


def test_the_force_acts_on_the_rig(edited: Edit) -> None:
    [told] = messages(written(edited, ("ce_height_m = 7.0", "ce_height_m = 40.0")))
    assert "sail.big.ce_height_m = 40.0 m: lies outside the rig, from the deck at" in told


def test_two_tables_are_not_up_together(edited: Edit) -> None:
    path = written(edited)
    with path.open("a", encoding="utf-8") as file:
        file.write(SAIL.replace('"big"', '"bigger"'))
    [told] = messages(path)
    assert 'big and bigger are up together, each with model = "table"; allowed: one such sail' in told
    assert "[[sail_set]]" in told


# --- the file -----------------------------------------------------------------------------------------------

BAD = {
    "heading": (
        "angle,cl,cd\n",
        [f'big.csv:1: "angle,cl,cd": is not the heading: it lacks {HEADING.strip().replace(",", ", ")}; '
            f'allowed: {HEADING.strip()}'],
    ),
    "cells": (GOOD + "190,0\n", ["big.csv:8: has 2 cells; allowed: 3 cells"]),
    "numbers": (
        GOOD.replace("60,1.3,0.5", "60,x,9"),
        [
            "big.csv:3: lift_coefficient = x: is not a finite number; allowed: -1 to 3",
            "big.csv:3: drag_coefficient = 9: is outside its range; allowed: 0 to 2",
        ],
    ),
    "order": (
        GOOD.replace("130,", "80,"),
        ["big.csv:6: awa_deg = 80 deg: the angles do not rise; allowed: above 90 deg"],
    ),
    "few": (
        HEADING + "40,0.7,0.3\n60,1.3,0.5\n",
        ["big.csv:1: the file has 2 rows of numbers; allowed: 4 or more"],
    ),
    # 1.3^2 x 70 / (pi x 144) = 0.2615, and 0.005
    "drag": (
        GOOD.replace("1.3,0.5", "1.3,0.2"),
        [
            "big.csv:3: drag_coefficient = 0.2: at 60 deg is less than the induced drag of that lift at "
            "sail.big.span_m = 12 and area_m2 = 70, and 0.005 of friction; allowed: from 0.2665"
        ],
    ),
}  # fmt: skip


@pytest.mark.parametrize(("csv", "expected"), BAD.values(), ids=BAD.keys())
def test_what_is_wrong_in_a_file_is_told_with_its_line(edited: Edit, csv: str, expected: list[str]) -> None:
    assert messages(written(edited, csv=csv)) == expected


def test_a_curve_that_swings_between_the_rows(edited: Edit) -> None:
    rows = "40,0.2,0.5\n60,0.2,0.5\n80,0.2,0.5\n100,1.2,0.7\n120,1.2,0.8\n140,1.2,0.9\n180,1.2,1.0\n"
    told = messages(written(edited, csv=HEADING + rows))
    assert any("big.csv:4: lift_coefficient: between 60 and 80 deg the smooth curve" in line for line in told)
    assert all(line.endswith("rows that change less abruptly") for line in told)


def test_too_little_drag_between_the_rows(edited: Edit) -> None:
    """Every row has just enough drag, and the spline between two of them has less."""
    factor = 70.0 / (np.pi * 144.0)
    rows = [(40.0, 0.9), (60.0, 1.0), (80.0, 1.3), (100.0, 1.2), (140.0, 0.9), (180.0, 0.9)]
    csv = "".join(f"{angle:g},{lift:g},{factor * lift**2 + 0.0052:.6f}\n" for angle, lift in rows)
    told = messages(written(edited, csv=HEADING + csv))
    assert told
    assert all("less drag than induced drag and 0.005 of friction" in line for line in told)


def test_a_missing_file(edited: Edit) -> None:
    path = written(edited, csv=None)
    line = line_of(path, 'coefficient_file = "big.csv"')
    assert messages(path) == [
        f'boat.toml:{line}: sail.big.coefficient_file = "big.csv": there is no such file beside the boat file'
    ]
