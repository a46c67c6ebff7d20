"""Ranges of numbers of the boat file: how they are given, by default, and what is wrong with them."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support import doubtful, keelboat
from vpp.config import BoatFileError, load
from vpp.config.movable import MovableKeys
from vpp.config.uncertain import DEFAULTS, PRACTICE, changes_at, inputs_of


def table(**keys):
    lines = [
        f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value}" for key, value in keys.items()
    ]
    return "\n[[uncertainty]]\n" + "\n".join(lines) + "\n"


def read(folder: Path, ranges: str):
    return load(doubtful.write(folder, ranges))


def test_ranges_of_the_file_take_the_place_of_the_default_of_their_keys(tmp_path):
    boat_file = read(tmp_path, doubtful.RANGES)
    found = {each.name: each for each in inputs_of(boat_file)}
    keys = [key for each in found.values() for key in each.keys]
    assert len(keys) == len(set(keys))
    assert not found["windage"].is_default
    assert found["windage"].why == "drag coefficients as listed"
    assert found["crew_mass"].is_default
    assert "gap_leakage" not in found
    alone = inputs_of(boat_file, defaults=False)
    assert [each.name for each in alone] == ["windage", "gap", "wind_profile"]
    gap = alone[1]
    assert [gap.change(t) for t in (-1.0, 1.0)] == pytest.approx([-20.0, 20.0])
    assert [each.column for each in alone] == [
        "windage_change_percent",
        "gap_change_percent",
        "wind_profile_change",
    ]


def test_a_range_of_nothing_takes_a_default_away(tmp_path):
    boat_file = read(tmp_path, table(name="crew", key="crew.mass_kg", plus_minus_percent=0.0))
    assert "crew.mass_kg" not in [key for each in inputs_of(boat_file) for key in each.keys]


def test_every_default_gives_a_reason_and_is_one_of_the_boat():
    assert all(each.why for each in DEFAULTS)
    found = inputs_of(load(keelboat.FILE))
    assert {"hull_drag", "windage", "gap_leakage", "boat_mass"} <= {each.name for each in found}
    assert any(each.why.endswith(PRACTICE) for each in found)
    # a keelboat has no foils
    assert "foil_immersion" not in {each.name for each in found}
    masses = next(each for each in found if each.name == "boat_mass")
    assert "mass.keel.mass_kg" in masses.keys
    assert masses.range_text == "2 % either way"


def test_what_an_option_sets_moves_in_proportion_or_by_the_same_shift(tmp_path):
    boat_file = read(
        tmp_path,
        table(name="crew", key="crew.mass_kg", plus_minus_percent=10.0)
        + table(name="boom", key="mass.boom.z_m", plus_minus=0.2),
    )
    inputs = inputs_of(boat_file, defaults=False)
    for option, mass, height in (
        ("base", 480.0, 1.85),
        ("more_crew", 560.0, 1.85),
        ("long_luff", 480.0, 1.25),
    ):
        movable = MovableKeys(boat_file, option)
        by = changes_at(inputs, [1.0, -1.0], movable.keys)
        assert by["crew.mass_kg"] == pytest.approx(0.1 * mass)
        assert by["mass.boom.z_m"] == pytest.approx(-0.2)
        assert movable.keys["mass.boom.z_m"].value == height
        assert movable.moved_to(by).boat.crew.mass == pytest.approx(1.1 * mass)


def test_everything_wrong_with_the_form_is_said_on_loading(tmp_path):
    ranges = (
        table(name="none", key="crew.mass_kg")
        + table(name="both", key="crew.z_m", plus_minus=0.1, plus_minus_percent=1.0)
        + table(name="one_end", key="crew.arm_max_m", least=1.0)
        + table(name="turned", key="crew.x_m", least=1.0, greatest=0.5)
        + table(name="star", key="mass.*.z_m", least=0.0, greatest=0.5)
        + table(name="misspelt", key="crew.masss_kg", plus_minus=0.1)
        + table(name="in_sail", key="sail.jib.stall_incidence_degrees", plus_minus=0.1)
    )
    with pytest.raises(BoatFileError) as error:
        read(tmp_path, ranges)
    said = str(error.value)
    for part in (
        "the range is not given",
        "given by plus_minus_percent and by plus_minus",
        "the other end of the range",
        "must not be less than least = 1",
        "says nothing for several keys",
        'did you mean "crew.mass_kg"?',
        'did you mean "sail.jib.stall_incidence_deg"?',
    ):
        assert part in said, part


def test_everything_wrong_with_the_boats_keys_is_said_with_the_line(tmp_path):
    boat_file = read(
        tmp_path,
        table(name="other_sail", key="sail.jibb.stall_incidence_deg", plus_minus=0.1)
        + table(name="beyond", key="rig.gap_leakage_percent", plus_minus=40.0)
        + table(name="of_zero", key="rig.mast_rotation_min_deg", plus_minus_percent=10.0)
        + table(name="first", key="crew.mass_kg", plus_minus=1.0)
        + table(name="again", key="crew.*", plus_minus=1.0),
    )
    with pytest.raises(BoatFileError) as error:
        inputs_of(boat_file)
    said = str(error.value)
    for part in (
        'did you mean "sail.jib.stall_incidence_deg"?',
        "goes from -10 to 70 %",
        "is 0, of which there is no share",
        "crew.mass_kg stands under first already",
    ):
        assert part in said, part
    assert all(problem.line for problem in error.value.problems)


def test_a_default_is_narrowed_to_what_every_boat_may_be(tmp_path):
    text = doubtful.write(tmp_path, "").read_text(encoding="utf-8")
    path = tmp_path / "leaky.toml"
    path.write_text(
        text.replace("gap_leakage_percent = 30.0", "gap_leakage_percent = 80.0"), encoding="utf-8"
    )
    gap = next(each for each in inputs_of(load(path)) if each.name == "gap_leakage")
    assert gap.half == pytest.approx(0.25)
    assert gap.why.endswith("narrowed to what the boat file allows")


def test_the_page_lists_every_default_with_its_reason():
    page = (keelboat.FILE.parents[1] / "docs" / "doubt.md").read_text(encoding="utf-8")
    rows = [row for row in page.split("\n") if row.startswith("| `")]
    for default in DEFAULTS:
        width = f"± {default.percent:g} %" if default.percent else f"± {default.shift:g}"
        [row] = [
            row
            for row in rows
            if row.startswith(f"| `{default.name}` | `{default.pattern}`")
            and all(hull in row for hull in default.hulls)
        ]
        assert width in row, row
        assert row.endswith(f"| {default.why} |"), row
