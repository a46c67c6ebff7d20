"""A file of options for the boat of another file."""

from pathlib import Path

import pytest

from vpp.config import BoatFileError, load

HEADING = """schema_version = 1
name = "Rigs to think about"
description = "Options of the test keelboat that are kept apart from it"
options_of = "boat.toml"
"""
OPTION = """
[[option]]
name = "lower_boom"
says = "The boom hangs lower"
[option.change]
mass.boom.z_m = 1.30
"""


@pytest.fixture
def folder(tmp_path: Path, boat_text: str) -> Path:
    (tmp_path / "boat.toml").write_text(boat_text)
    return tmp_path


def written(folder: Path, text: str) -> Path:
    path = folder / "rigs.toml"
    path.write_text(text)
    return path


def problems(path: Path) -> list[str]:
    with pytest.raises(BoatFileError) as caught:
        load(path)
    return [str(problem) for problem in caught.value.problems]


def test_its_base_is_the_other_files_boat_and_its_options_are_its_own(folder: Path) -> None:
    alone, rigs = load(folder / "boat.toml"), load(written(folder, HEADING + OPTION))
    assert rigs.name == "Rigs to think about"
    assert [boat.name for boat in rigs.boats] == ["base", "lower_boom"]
    described = {"says": rigs.boats[0].says}
    assert vars(rigs.boat("base")) == {**vars(alone.boat("base")), **described}
    heights = [
        next(mass.z for mass in rigs.boat(name).masses if mass.name == "boom")
        for name in ("base", "lower_boom")
    ]
    assert heights[1] < heights[0]


def test_origins_name_the_file_that_a_value_stands_in(folder: Path) -> None:
    path = written(folder, HEADING + OPTION)
    origin = {row.key: row.origin for row in load(path).rows("lower_boom")}
    assert origin["mass.boom.z_m"].startswith(f"option lower_boom, {path}:")
    assert origin["mass.boom.mass_kg"].startswith(f"{folder / 'boat.toml'}:")


def test_digest_knows_of_both_files(folder: Path, boat_text: str) -> None:
    path = written(folder, HEADING + OPTION)
    before = load(path).digest
    (folder / "boat.toml").write_text(boat_text + "\n# another line\n")
    between = load(path).digest
    path.write_text(HEADING + OPTION.replace("1.30", "1.25"))
    assert len({before, between, load(path).digest}) == 3


def test_a_mistake_in_the_boat_is_told_with_the_boats_file_and_line(folder: Path, boat_text: str) -> None:
    (folder / "boat.toml").write_text(boat_text.replace("sheet_max_deg = 85.0", "sheet_max_deg = 185.0", 1))
    [told] = problems(written(folder, HEADING + OPTION))
    line = boat_text[: boat_text.index("sheet_max_deg")].count("\n") + 1
    place = f"{folder / 'boat.toml'}:{line}"
    assert told.startswith(f"{place}: sail.main.sheet_max_deg = 185.0 deg: is too large")


def test_a_mistake_in_an_option_is_told_with_the_options_file_and_line(folder: Path) -> None:
    path = written(folder, HEADING + OPTION.replace("1.30", '"low"'))
    [told] = problems(path)
    assert told.startswith(f'{path}:10: mass.boom.z_m = "low": in option "lower_boom": is not a number')


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (HEADING.replace("boat.toml", "no.toml"), "there is no such file in the folder of this one"),
        (HEADING.replace("boat.toml", "../boat.toml"), "must be the name of a boat file in the same folder"),
        (HEADING.replace('"boat.toml"', "3"), "must be the name of a boat file in the same folder"),
        (HEADING.replace("boat.toml", "rigs.toml"), "is itself a file of options; name the boat's own file"),
    ],
)
def test_a_wrong_name_is_told_at_its_line(folder: Path, text: str, expected: str) -> None:
    path = written(folder, text + OPTION)
    [told] = problems(path)
    assert told.startswith(f"{path}:4: options_of = ")
    assert told.endswith(expected)


def test_tables_of_a_boat_do_not_stand_in_it(folder: Path) -> None:
    path = written(folder, HEADING + "[crew]\nmass_kg = 400.0\n" + OPTION)
    [told] = problems(path)
    assert told.startswith(f"{path}:5: crew: does not stand in a file of options; allowed: schema_version, ")
    assert told.endswith(f"it belongs in {folder / 'boat.toml'}")
