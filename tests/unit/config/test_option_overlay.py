"""Options laid over the base: what changes, what stays, and where every value came from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from vpp.config import load

Edit = Callable[..., Path]

BOAT = Path(__file__).with_name("boat.toml")


def test_base_comes_first_and_options_follow_in_the_order_of_the_file() -> None:
    boat_file = load(BOAT)
    assert [boat.name for boat in boat_file.boats] == ["base", "long_luff", "heavy"]
    assert [boat.says for boat in boat_file.boats] == [
        "Boat for the tests of the file format; its values stay as they are",
        "Main foot lower",
        "Water in the tanks",
    ]


def test_an_option_changes_what_it_names_and_nothing_else() -> None:
    boat_file = load(BOAT)
    base, option = boat_file.boat("base"), boat_file.boat("long_luff")
    main, jib = option.sails
    drop = option.sails[1].foot_height - base.sails[1].foot_height  # the extra cloth sinks the boat a little
    heights = {"foot_height": main.foot_height, "head_height": main.head_height}
    assert main == replace(base.sails[0], foot_extension=0.6, **heights)
    assert main.foot_height == pytest.approx(base.sails[0].foot_height + drop, abs=1e-12)
    assert main.head_height == pytest.approx(base.sails[0].head_height + drop, abs=1e-12)
    assert jib.chord == base.sails[1].chord
    assert abs(drop) < 1e-4
    assert option.rig.mast_mass_per_length == base.rig.mast_mass_per_length
    assert option.crew.mass == base.crew.mass
    assert option.environment == base.environment
    assert [mass.mass for mass in option.masses] == [mass.mass for mass in base.masses]


def test_an_option_builds_on_its_parent() -> None:
    heavy = load(BOAT).boat("heavy")
    assert heavy.sails[0].foot_extension == 0.6
    assert heavy.hull.heel_resistance_20deg == 0.06
    assert [item.name for item in heavy.windage] == ["topsides", "lifelines"]
    assert heavy.masses[-1].name == "water"


def test_a_parent_may_stand_after_its_child(edited: Edit) -> None:
    child = '\n[[option]]\nname = "child"\nsays = "x"\nparent = "late"\nchange.crew.mass_kg = 470.0\n'
    late = '\n[[option]]\nname = "late"\nsays = "x"\nchange.crew.drag_area_m2 = 1.1\n'
    boats = load(edited(add=child + late))
    assert [boat.name for boat in boats.boats] == ["base", "long_luff", "heavy", "child", "late"]
    assert boats.boat("child").crew.drag_area == 1.1
    assert boats.boat("child").crew.mass == 470.0
    assert boats.boat("late").crew.mass == 480.0


def test_removing_comes_before_adding_and_adding_before_changing(edited: Edit) -> None:
    option = (
        '\n[[option]]\nname = "swap"\nsays = "x"\nremove = ["mass.engine"]\nchange.mass.engine.z_m = -0.2\n'
        '[[option.add.mass]]\nname = "engine"\nmass_kg = 150.0\nx_m = -1.0\nz_m = 0.0\n'
    )
    boats = load(edited(add=option))
    [engine] = [mass for mass in boats.boat("swap").masses if mass.name == "engine"]
    sinkage = boats.boat("base").rig.deck_height - boats.boat("swap").rig.deck_height
    assert (engine.mass, engine.x) == (150.0, -1.0)
    assert engine.z == pytest.approx(-0.2 - sinkage, abs=1e-3)


def test_an_optional_key_can_be_removed_and_an_absent_one_set(edited: Edit) -> None:
    option = (
        '\n[[option]]\nname = "plain"\nsays = "x"\nremove = ["environment.wind_reference_height_m"]\n'
        "change.sail.jib.station_count = 14\n"
    )
    boats = load(edited(("wind_reference_height_m = 10.0", "wind_reference_height_m = 4.0"), add=option))
    assert boats.boat("base").environment.wind_reference_height == 4.0
    assert boats.boat("plain").environment.wind_reference_height == 10.0
    assert boats.boat("plain").sails[1].station_count == 14
    rows = {row.key: row for row in boats.rows("plain")}
    assert rows["environment.wind_reference_height_m"].origin == "default"


def test_selection_puts_the_base_first_and_keeps_the_order_asked_for() -> None:
    boat_file = load(BOAT)
    assert boat_file.select([]) == boat_file.boats
    assert [boat.name for boat in boat_file.select(["heavy", "long_luff", "heavy"])] == [
        "base",
        "heavy",
        "long_luff",
    ]
    assert [boat.name for boat in boat_file.select(["base"])] == ["base"]
    assert boat_file.boat("heavy") is boat_file.boats[2]


def test_every_row_says_where_its_value_was_written(boat_text: str) -> None:
    boat_file = load(BOAT)
    written = boat_text.split("\n")
    counted = {"default": 0, "computed": 0, "base": 0, "option": 0}
    for option in ("base", "long_luff", "heavy"):
        for key, value, unit, origin, description in boat_file.rows(option):
            assert description
            if origin in counted:
                counted[origin] += 1
                continue
            counted["option" if origin.startswith("option ") else "base"] += 1
            place, line = origin.rsplit(":", 1)
            assert place.endswith(str(BOAT))
            text = written[int(line) - 1]
            assert text.split(" = ")[0].split(".")[-1] == key.rsplit(".", 1)[-1]
            if isinstance(value, float):
                assert float(text.split(" = ")[1]) == value
                assert unit or key.rsplit("_", 1)[-1] in ("coefficient", "factor", "exponent")
    assert (
        counted["option"] == 2 + 2 + 1 + 4
    )  # of long_luff; the same inherited, one more change and the added mass
    assert counted["default"] >= 3 * 8


def test_origins_name_the_option_that_set_the_value() -> None:
    rows = {row.key: row for row in load(BOAT).rows("heavy")}
    assert rows["sail.main.foot_extension_m"].origin.startswith("option long_luff, ")
    assert rows["hull.heel_resistance_20deg_percent"].origin.startswith("option heavy, ")
    assert rows["mass.water.mass_kg"].origin.startswith("option heavy, ")
    assert not rows["crew.mass_kg"].origin.startswith("option")
    assert rows["sail.main.extension_chord_m"] == (
        "sail.main.extension_chord_m",
        4.2,
        "m",
        "default",
        rows["sail.main.extension_chord_m"].description,
    )


def test_the_digest_is_that_of_the_content(edited: Edit, tmp_path: Path) -> None:
    import hashlib

    assert load(BOAT).digest == hashlib.sha256(BOAT.read_bytes()).hexdigest()[:12]
    assert load(edited()).digest == load(BOAT).digest
    assert load(edited(("mass_kg = 480.0", "mass_kg = 481.0"))).digest != load(BOAT).digest
