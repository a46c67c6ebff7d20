"""What people read when a boat file is wrong: one line a mistake, with place, reason and remedy."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from vpp.config import BoatFile, BoatFileError, Problem, load

ProblemsOf = Callable[..., list[Problem]]
Edit = Callable[..., Path]

BOAT = Path(__file__).with_name("boat.toml")


def line_of(text: str, piece: str) -> int:
    """The line on which the first such piece stands."""
    return text[: text.index(piece)].count("\n") + 1


def said(problem: Problem) -> str:
    """The line without the folder."""
    return str(problem).replace(f"{Path(problem.file).parent}/", "")


# what stands there, what is written in its place, and what is said after "boat.toml:LINE: "
ONE_MISTAKE = {
    "foot for metre": (
        "foot_height_m = 1.90",
        "foot_height_ft = 6.2",
        'sail.main.foot_height_ft = 6.2: unknown key; did you mean "foot_height_m"? That key takes metres',
    ),
    "centimetre for metre": (
        "span_m = 1.50",
        "span_cm = 150",
        'fin.keel.span_cm = 150: unknown key; did you mean "span_m"? That key takes metres',
    ),
    "pound for kilogram": (
        "mass_kg = 1650.0",
        "mass_lb = 3600",
        'mass.hull_and_deck.mass_lb = 3600: unknown key; did you mean "mass_kg"? That key takes kilograms',
    ),
    "no unit": (
        "span_m = 1.50",
        "span = 1.5",
        'fin.keel.span = 1.5: unknown key; did you mean "span_m"? That key takes metres',
    ),
    "luff in feet": (
        "luff_rake_deg = 1.0",
        "luff_ft = 42",
        'sail.main.luff_ft = 42: unknown key; did you mean "luff_rake_deg"? That key takes degrees',
    ),
    "spelling": (
        "luff_rake_deg = 1.0",
        "luf_rake_deg = 1.0",
        'sail.main.luf_rake_deg = 1.0 deg: unknown key; did you mean "luff_rake_deg"?',
    ),
    "table misspelt": ("[margins]", "[marginz]", 'marginz: unknown key; did you mean "margins"?'),
    "text for a number": (
        "span_m = 1.50",
        'span_m = "1.5"',
        'fin.keel.span_m = "1.5": is not a number; allowed: 0.1 to 8 m; numbers stand without quotes '
        "and units",
    ),
    "truth for a number": (
        "span_m = 1.50",
        "span_m = true",
        "fin.keel.span_m = true: is not a number; allowed: 0.1 to 8 m",
    ),
    "not a number": (
        "span_m = 1.50",
        "span_m = nan",
        "fin.keel.span_m = nan m: is not a finite number; allowed: 0.1 to 8 m",
    ),
    "infinite": (
        "span_m = 1.50",
        "span_m = -inf",
        "fin.keel.span_m = -inf m: is not a finite number; allowed: 0.1 to 8 m",
    ),
    "negative": (
        "canoe_volume_m3 = 5.40",
        "canoe_volume_m3 = -5.4",
        "hull.canoe_volume_m3 = -5.4 m³: is too small; allowed: 0.05 to 300 m³",
    ),
    "too large": (
        "thickness_percent = 13.0",
        "thickness_percent = 130",
        "fin.keel.thickness_percent = 130 %: is too large; allowed: 3 to 30 %",
    ),
    "integer beyond floating point": (
        "span_m = 1.50",
        "span_m = 1" + 400 * "0",
        "fin.keel.span_m = an integer of more than 400 digits m: is too large; allowed: 0.1 to 8 m",
    ),
    "list for a number": (
        "span_m = 1.50",
        "span_m = [1.5, 1.6]",
        "fin.keel.span_m = [1.5, 1.6]: is not a number; allowed: 0.1 to 8 m",
    ),
    "date for a number": (
        "span_m = 1.50",
        "span_m = 2020-01-02",
        "fin.keel.span_m = 2020-01-02: is not a number; allowed: 0.1 to 8 m",
    ),
    "number for a text": (
        'description = "Boat for the tests of the file format; its values stay as they are"',
        "description = 3",
        "description = 3: is not a text; allowed: one line of text, at most 200 letters",
    ),
    "unknown model": (
        'model = "strips"',
        'model = "strip"',
        'sail.main.model = "strip": no such model; allowed: "strips" or "table"; did you mean "strips"?',
    ),
    "unknown choice": (
        'water = "sea"',
        'water = "salt"',
        'environment.water = "salt": no such choice; allowed: "sea" or "fresh"',
    ),
    "version from the future": (
        "schema_version = 1",
        "schema_version = 2",
        "schema_version = 2: this version of the file format is not known; allowed: 1",
    ),
    "name that is no key": (
        'name = "engine"',
        'name = "Engine 1"',
        'mass[4].name = "Engine 1": is not a name that can stand in a key path; '
        "allowed: lower-case letters, digits and _, beginning with a letter",
    ),
    "name twice": (
        'name = "engine"',
        'name = "interior"',
        'mass.interior.name = "interior": there is already a [[mass]] of that name; allowed: another name',
    ),
    "name of the boat's own mass": (
        'name = "engine"',
        'name = "mast"',
        'mass.mast.name = "mast": the mass of crew, mast and sails follows from their own tables; '
        "allowed: another name",
    ),
    "list too short": (
        "chord_m = [4.20, 3.60, 2.85, 1.90, 0.40]",
        "chord_m = [4.2]",
        "sail.main.chord_m = [4.2]: has too few entries; allowed: list of 2 to 50 numbers, each 0.02 to 15 m",
    ),
    "lists of different length": (
        "chord_m = [4.20, 3.60, 2.85, 1.90, 0.40]",
        "chord_m = [4.2, 0.4]",
        "sail.main.chord_m = [4.2, 0.4]: has 2 entries, chord_at_percent has 5; allowed: 5 entries",
    ),
    "element of a list": (
        "chord_m = [4.20, 3.60, 2.85, 1.90, 0.40]",
        "chord_m = [4.2, 36, 2.85, 1.90, 0.40]",
        "sail.main.chord_m[2] = 36 m: is too large; allowed: 0.02 to 15 m",
    ),
    "heights that fall": (
        "chord_at_percent = [0.0, 25.0, 50.0, 75.0, 100.0]",
        "chord_at_percent = [0.0, 50.0, 25.0, 75.0, 100.0]",
        "sail.main.chord_at_percent = [0.0, 50.0, 25.0, 75.0, 100.0]: the heights do not rise; "
        "allowed: rising from 0 to 100 %",
    ),
    "heights that stop short": (
        "camber_at_percent = [0.0, 50.0, 100.0]",
        "camber_at_percent = [0.0, 50.0, 90.0]",
        "sail.main.camber_at_percent = [0.0, 50.0, 90.0]: the heights do not reach from foot to head; "
        "allowed: rising from 0 to 100 %",
    ),
    "fuller than full": (
        "camber_full_percent = [10.0, 12.0, 11.0]",
        "camber_full_percent = [10.0, 3.0, 11.0]",
        "sail.main.camber_full_percent[2] = 3.0 %: is less than the flat camber of 4.5 % at that height; "
        "allowed: from 4.5 %",
    ),
    "hollow the other way beyond reason": (
        "camber_flat_percent = [4.0, 4.5, 4.0]",
        "camber_flat_percent = [4.0, 4.5, -16.0]",
        "sail.main.camber_flat_percent[3] = -16.0 %: is too small; allowed: -15 to 25 %",
    ),
    "transition above the head's zone": (
        "sheet_max_deg = 85.0",
        "head_transition_from_percent = 80.0\nhead_zone_from_percent = 70.0\nsheet_max_deg = 85.0",
        "sail.main.head_transition_from_percent = 80.0 %: the transition to the head's zone begins above "
        "head_zone_from_percent = 70; allowed: up to 70 %",
    ),
    "head trim without a zone": (
        "sheet_max_deg = 85.0",
        "head_camber_trim_max_percent = 100.0\nsheet_max_deg = 85.0",
        "sail.main.head_camber_trim_max_percent = 100.0 %: the head has no zone in which a trim of its own "
        "could act; set head_zone_from_percent below 100, or leave this key out",
    ),
    "transition to no zone": (
        "sheet_max_deg = 85.0",
        "head_transition_from_percent = 0.0\nsheet_max_deg = 85.0",
        "sail.main.head_transition_from_percent = 0.0 %: the head has no zone in which a trim of its own "
        "could act; set head_zone_from_percent below 100, or leave this key out",
    ),
    "head cut that ends before it begins": (
        "sheet_max_deg = 85.0",
        "head_cut_to_percent = 70.0\nhead_cut_from_percent = 80.0\nhead_cut_chord_percent = 50.0\n"
        "sheet_max_deg = 85.0",
        "sail.main.head_cut_to_percent = 70.0 %: the cut is done before it begins at head_cut_from_percent = "
        "80; allowed: from 80 %",
    ),
    "foot transition below its zone": (
        "sheet_max_deg = 85.0",
        "foot_transition_to_percent = 20.0\nfoot_zone_to_percent = 30.0\nsheet_max_deg = 85.0",
        "sail.main.foot_transition_to_percent = 20.0 %: the transition from the foot's zone ends below "
        "foot_zone_to_percent = 30; allowed: from 30 %",
    ),
    "foot trim without a zone": (
        "sheet_max_deg = 85.0",
        "foot_camber_trim_max_percent = 100.0\nsheet_max_deg = 85.0",
        "sail.main.foot_camber_trim_max_percent = 100.0 %: the foot has no zone in which a trim of its own "
        "could act; set foot_zone_to_percent above 0, or leave this key out",
    ),
    "foot's zone in the head's": (
        "sheet_max_deg = 85.0",
        "foot_zone_to_percent = 70.0\nhead_zone_from_percent = 80.0\nhead_transition_from_percent = 60.0\n"
        "sheet_max_deg = 85.0",
        "sail.main.foot_zone_to_percent = 70.0 %: the foot's trim "
        "reaches into the head's, which begins at 60 "
        "%; allowed: up to 60 %",
    ),
    "foot zone too small for its strips": (
        "sheet_max_deg = 85.0",
        "foot_zone_to_percent = 0.1\nsheet_max_deg = 85.0",
        "sail.main.foot_zone_to_percent = 0.1 %: the foot's zone "
        "ends below the middle of the lowest strip at "
        "0.6 %; allowed: from 0.6 %; or raise station_count; 0 % is a foot without a trim of its own",
    ),
    "mast turns less than least": (
        "deck_half_width_m = 1.50",
        "mast_rotation_max_deg = 5.0\nmast_rotation_min_deg = 10.0\ndeck_half_width_m = 1.50",
        "rig.mast_rotation_max_deg = 5.0 deg: must not be less than mast_rotation_min_deg = 10; allowed: "
        "from 10",
    ),
    "head trims crossed": (
        "sheet_max_deg = 85.0",
        "head_camber_trim_max_percent = 30.0\nhead_camber_trim_min_percent = 60.0\n"
        "head_zone_from_percent = 70.0\nsheet_max_deg = 85.0",
        "sail.main.head_camber_trim_max_percent = 30.0 %: must not be less than "
        "head_camber_trim_min_percent = 60; allowed: from 60",
    ),
    "head zone too small for its strips": (
        "sheet_max_deg = 85.0",
        "head_zone_from_percent = 99.9\nsheet_max_deg = 85.0",
        "sail.main.head_zone_from_percent = 99.9 %: the head's zone begins above the middle of the uppermost "
        "strip at 99.4 %; allowed: up to 99.4 %; or raise station_count; 100 % is a head without a "
        "trim of its own",
    ),
    "bounds crossed": (
        "sheet_max_deg = 85.0",
        "sheet_max_deg = -5.0",
        "sail.main.sheet_max_deg = -5.0 deg: must not be less than sheet_min_deg = 0; allowed: from 0",
    ),
    "head below foot": (
        "head_height_m = 13.40",
        "head_height_m = 1.30",
        "sail.jib.head_height_m = 1.3 m: the head must be at least 0.5 m above the foot at 1.35 m; "
        "allowed: from 1.85 m",
    ),
    "stall too wide": (
        "stall_width_deg = 1.5",
        "stall_width_deg = 3.0",
        "sail.main.stall_width_deg = 3.0 deg: the flow must not separate over more than a fifth of "
        "stall_incidence_deg = 8; allowed: up to 1.6 deg",
    ),
    "head above mast": (
        "head_height_m = 14.70",
        "head_height_m = 15.30",
        "sail.main.head_height_m = 15.3 m: the head is above the mast's top at 15.2 m; allowed: up "
        "to 15.2 m; "
        "rig.mast_top_height_m may have to rise with it",
    ),
    "foot on the deck": (
        "foot_height_m = 1.35",
        "foot_height_m = 1.155",
        "sail.jib.foot_height_m = 1.155 m: the foot lies below or on the deck: "
        "the deck is at rig.deck_height_m = 1.15; allowed: from 1.16 m",
    ),
    "extension through the deck": (
        "sail.main.foot_extension_m = 0.60",
        "sail.main.foot_extension_m = 0.75",
        'sail.main.foot_extension_m = 0.75 m: in option "long_luff": the lower edge at 1.15 m lies '
        "below or on "
        "the deck: the deck is at rig.deck_height_m = 1.15; allowed: up to 0.74 m",
    ),
    "crew out too far": (
        "arm_max_m = 1.5",
        "arm_max_m = 2.6",
        "crew.arm_max_m = 2.6 m: is more than 1 m outside the hull, whose half beam is 1.5 m; "
        "allowed: up to 2.5 m",
    ),
    "heel beyond the stability model": (
        "heel_deg = 30.0",
        "heel_deg = 36.0",
        "margins.heel_deg = 36.0 deg: the stability model ends at hull.wall_sided_limit_deg = 35; "
        "allowed: up to 35 deg",
    ),
    "hull outside the series": (
        "waterline_beam_m = 2.70",
        "waterline_beam_m = 2.30",
        "hull.waterline_beam_m = 2.3 m: water line length over beam is 3.739, which the hull series does not "
        "cover; allowed: 2.73 to 3.64",
    ),
    "wetted area below the water plane": (
        "wetted_area_m2 = 18.4",
        "wetted_area_m2 = 15.0",
        "hull.wetted_area_m2 = 15.0 m²: is less than the water plane that it hangs from; allowed: from 16 m²",
    ),
    "hull form outside the series": (
        "prismatic_coefficient = 0.56",
        "prismatic_coefficient = 0.41",
        "hull.prismatic_coefficient = 0.41: the prismatic coefficient is 0.41, which the hull series "
        "does not cover; "
        "allowed: 0.53 to 0.6",
    ),
    "metacentric radius beyond its box": (
        "metacentric_radius_m = 1.23",
        "metacentric_radius_m = 2.7",
        "hull.metacentric_radius_m = 2.7 m: is more than a rectangular water plane of that length "
        "and beam would "
        "give; allowed: up to 2.61 m",
    ),
    "wrong key in an option": (
        "mass.boom.z_m = 1.25",
        "mass.boom.z_cm = 125",
        'mass.boom.z_cm = 125: in option "long_luff": unknown key; did you mean "z_m"? That key takes metres',
    ),
    "wrong table in an option": (
        "mass.boom.z_m = 1.25",
        "mass.bom.z_m = 1.25",
        'mass.bom: in option "long_luff": there is no mass of that name; allowed: keel, '
        "hull_and_deck, interior, "
        'engine, rudder, boom, deck_gear_and_stores; did you mean "boom"?',
    ),
    "quoted path in an option": (
        "mass.boom.z_m = 1.25",
        '"mass.boom.z_m" = 1.25',
        'mass.boom.z_m: in option "long_luff": an option can change only what stands in the boat\'s tables; '
        "allowed: environment, sea, hull, rig, wardrobe, crew, margins, calibration, fin, foil, sail, "
        "sail_set, mass, windage, known_point, rule_box, uncertainty, set; "
        "write the path without quotes",
    ),
    "removing what is not there": (
        'remove = ["windage.coachroof"]',
        'remove = ["windage.coachrof"]',
        'remove = "windage.coachrof": in option "heavy": there is no windage of that name to remove; '
        'allowed: paths such as "windage.coachroof"; did you mean "windage.coachroof"?',
    ),
    "removing what must stay": (
        'remove = ["windage.coachroof"]',
        'remove = ["crew"]',
        'remove = "crew": in option "heavy": is not the path of something that a boat can do without; '
        'allowed: paths such as "windage.coachroof"',
    ),
    "unknown parent": (
        'parent = "long_luff"',
        'parent = "long_luf"',
        'option.heavy.parent = "long_luf": there is no option of that name; allowed: base, long_luff; '
        'did you mean "long_luff"?',
    ),
    "option called base": (
        'name = "heavy"',
        'name = "base"',
        'option.base.name = "base": is the name of the boat without options; allowed: another name',
    ),
    "option name twice": (
        'name = "heavy"',
        'name = "long_luff"',
        'option.long_luff.name = "long_luff": there is already an option of that name; allowed: another name',
    ),
    "decimal comma": (
        "span_m = 1.50",
        "span_m = 1,50  # note",
        "span_m = 1,50: not TOML: expected newline or end of document after a statement; "
        "decimals take a point, as in 1.5",
    ),
    "unit behind the number": (
        "span_m = 1.50",
        "span_m = 1.50 m",
        "span_m = 1.50 m: not TOML: expected newline or end of document after a statement; "
        "no unit behind a number: the key names it; a text stands in quotes",
    ),
    "bare decimal point": (
        "span_m = 1.50",
        "span_m = .5",
        "span_m = .5: not TOML: invalid value; a decimal point needs a digit before and behind it, as in 0.5",
    ),
    "endless integer": ("span_m = 1.50", "span_m = 1" + 5000 * "0", "a number has too many digits"),
}


@pytest.mark.parametrize(("there", "written", "expected"), ONE_MISTAKE.values(), ids=ONE_MISTAKE.keys())
def test_a_mistake_is_said_in_one_line(
    there: str, written: str, expected: str, problems_of: ProblemsOf, boat_text: str
) -> None:
    [problem] = problems_of((there, written))
    assert said(problem) == f"boat.toml:{line_of(boat_text, there)}: {expected}"


def test_a_missing_key_is_put_to_its_table(problems_of: ProblemsOf, boat_text: str) -> None:
    [problem] = problems_of(("span_m = 1.50\n", ""))
    assert said(problem) == (
        f"boat.toml:{line_of(boat_text, '[[fin]]')}: fin.keel.span_m: missing: depth from where it "
        f"leaves the hull to "
        "its tip; allowed: 0.1 to 8 m"
    )


def test_a_key_of_another_table_is_sent_there(problems_of: ProblemsOf, boat_text: str) -> None:
    [problem] = problems_of(("[margins]", "[margins]\nmast_diameter_m = 0.1"))
    assert said(problem) == (
        f"boat.toml:{line_of(boat_text, '[margins]') + 1}: margins.mast_diameter_m = 0.1 m: unknown key; "
        "this key belongs in [rig]"
    )


def test_everything_is_said_at_once_in_the_order_of_the_lines(problems_of: ProblemsOf) -> None:
    problems = problems_of(
        ("heel_deg = 30.0", "heel_deg = 300"),
        ("mass_kg = 1650.0", "mass_kg = 0"),
        ("sheet_max_deg = 85.0", "sheet_max_deg = -5.0"),
        ("[environment]", "[environment]\nwaves = 3"),
        ("sail.main.foot_extension_m = 0.60", "sail.main.foot_extension_m = -0.60"),
    )
    assert [problem.key for problem in problems] == [
        "environment.waves",
        "sail.main.sheet_max_deg",
        "mass.hull_and_deck.mass_kg",
        "margins.heel_deg",
        "sail.main.foot_extension_m",
    ]
    lines = [problem.line or 0 for problem in problems]
    assert lines == sorted(lines)


def test_what_is_wrong_with_the_base_is_not_said_again_for_every_option(problems_of: ProblemsOf) -> None:
    assert [problem.key for problem in problems_of(("[margins]", "[no_margins]"))] == ["no_margins"]
    assert len(problems_of(("[crew]", "[[crew]]"))) == 1


def test_a_file_without_anything_lists_every_table(tmp_path: Path) -> None:
    path = tmp_path / "empty.toml"
    path.write_text("")
    with pytest.raises(BoatFileError) as caught:
        load(path)
    missing = [problem.key for problem in caught.value.problems]
    assert missing[:3] == ["schema_version", "name", "description"]
    # fins are not among them: a boat with foils may have none
    assert missing[3:] == ["environment", "hull", "rig", "sail", "mass", "crew", "margins"]
    assert str(caught.value).count("\n") == len(missing) - 1


def test_tables_of_the_wrong_kind(tmp_path: Path) -> None:
    path = tmp_path / "odd.toml"
    path.write_text("hull = 3\nsail = {}\nfin = [1]\noption = 5\n")
    with pytest.raises(BoatFileError) as caught:
        load(path)
    told = [said(problem) for problem in caught.value.problems if problem.line]
    assert told == [
        "odd.toml:1: hull = 3: must be written [hull], once",
        "odd.toml:2: sail: must be written [[sail]], once for each",
        "odd.toml:3: fin[1] = 1: must be written [[fin]], once for each",
        "odd.toml:4: option = 5: must be written [[option]], once for each",
    ]


def test_a_boat_heavier_than_its_hull_is_told_what_to_take_off(edited: Edit, boat_text: str) -> None:
    with pytest.raises(BoatFileError) as caught:
        load(edited(("mass_kg = 2120.0", "mass_kg = 3120.0")))
    [problem] = caught.value.problems
    assert problem.line == line_of(boat_text, "canoe_volume_m3")
    assert problem.hint.startswith("take off at least ")
    kilograms = int(problem.hint.split()[-2])
    # so much less is enough, and one kilogram more is not
    load(edited(("mass_kg = 2120.0", f"mass_kg = {3120 - kilograms}")))
    with pytest.raises(BoatFileError):
        load(edited(("mass_kg = 2120.0", f"mass_kg = {3120 - kilograms + 1}")))


def test_an_option_that_leaves_the_series_is_told_what_to_take_off(edited: Edit, boat_text: str) -> None:
    # a beamier hull on less draught: beam over draught close to the series' least when the boat sinks further
    shallow = (
        ("waterline_beam_m = 2.70", "waterline_beam_m = 2.40"),
        ("canoe_draught_m = 0.645", "canoe_draught_m = 0.84"),
    )
    with pytest.raises(BoatFileError) as caught:
        load(edited(*shallow, ("mass_kg = 200.0", "mass_kg = 400.0")))
    [problem] = caught.value.problems
    assert problem.line == line_of(boat_text, 'name = "heavy"') - 1
    assert problem.key == "option.heavy"
    assert 'in option "heavy": water line beam over canoe draught is 2.77' in problem.wrong
    assert problem.allowed == "2.81 to 5.35"
    kilograms = int(problem.hint.split()[-2])
    load(edited(*shallow, ("mass_kg = 200.0", f"mass_kg = {400 - kilograms}")))
    with pytest.raises(BoatFileError):
        load(edited(*shallow, ("mass_kg = 200.0", f"mass_kg = {400 - kilograms + 1}")))


def test_a_boat_that_would_capsize_is_refused(problems_of: ProblemsOf) -> None:
    [problem] = problems_of(
        ("mass_kg = 1650.0\nx_m = -0.25\nz_m = 0.28", "mass_kg = 1650.0\nx_m = -0.25\nz_m = 5.0")
    )
    assert "would capsize (an estimate)" in problem.wrong
    [problem] = problems_of(("hull.heel_resistance_20deg_percent = 6.0", "mass.keel.z_m = 3.0"))
    assert problem.key == "option.heavy"
    assert "would capsize (an estimate)" in problem.wrong


def test_a_hull_must_fit_into_its_box(problems_of: ProblemsOf) -> None:
    problems = problems_of(
        ("waterplane_area_m2 = 16.0", "waterplane_area_m2 = 24.0"),
        ("canoe_draught_m = 0.645", "canoe_draught_m = 0.4"),
    )
    assert [problem.key for problem in problems] == [
        "hull.canoe_volume_m3",
        "hull.wetted_area_m2",
        "hull.waterplane_area_m2",
    ]
    assert problems[0].allowed == "up to 5.201 m³"  # 0.56 x 8.60 x 2.70 x 0.40
    assert problems[2].allowed == "up to 23.22 m²"  # 8.60 x 2.70


def test_a_boat_needs_a_keel_and_a_rudder(problems_of: ProblemsOf) -> None:
    [problem] = problems_of(('kind = "rudder"', 'kind = "fixed"'))
    assert problem.wrong == 'no fin or foil is of kind "rudder": nothing could hold the course'
    [problem] = problems_of(('kind = "fixed"', 'kind = "rudder"'))
    assert problem.wrong == (
        'no fin is of kind "fixed" and no foil of kind "canting_pair": nothing could carry the side force'
    )


def test_a_file_that_is_not_there() -> None:
    with pytest.raises(BoatFileError, match=r"^no/such/boat\.toml: there is no such file$"):
        load("no/such/boat.toml")


def test_a_folder_is_no_boat_file(tmp_path: Path) -> None:
    with pytest.raises(BoatFileError, match="this is a folder, not a boat file"):
        load(tmp_path)


def test_a_file_that_is_not_utf_8(tmp_path: Path) -> None:
    path = tmp_path / "boat.toml"
    path.write_bytes(b'schema_version = 1\nname = "B\xf6e"\n')
    with pytest.raises(BoatFileError) as caught:
        load(path)
    [problem] = caught.value.problems
    assert said(problem) == "boat.toml:2: not UTF-8 text; save the file with the encoding UTF-8"


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(tmp_path: Path, boat_text: str) -> None:
    path = tmp_path / "boat.toml"
    path.write_bytes(b"\xef\xbb\xbf" + boat_text.replace("\n", "\r\n").encode())
    assert load(path).boats == load(BOAT).boats


@pytest.mark.parametrize("text", ["a = " + 5000 * "[", "a = " + 40 * "[" + 40 * "]", 400 * "a." + "b = 1"])
def test_deep_nesting_is_refused(text: str, tmp_path: Path) -> None:
    path = tmp_path / "deep.toml"
    path.write_text(text)
    with pytest.raises(BoatFileError, match=r"nested too deeply|not TOML"):
        load(path)


def test_a_file_that_ends_too_early(tmp_path: Path) -> None:
    path = tmp_path / "short.toml"
    path.write_text("a = 1\nb = [1,\n")
    with pytest.raises(BoatFileError, match=r"short\.toml:3: not TOML: the file ends too early"):
        load(path)


def test_an_unknown_option_is_told_its_neighbour() -> None:
    boat_file: BoatFile = load(BOAT)
    for ask in (boat_file.boat, boat_file.rows, lambda name: boat_file.select([name])):
        with pytest.raises(BoatFileError) as caught:
            ask("long_lufff")
        [problem] = caught.value.problems
        assert problem.wrong == "there is no option of that name"
        assert problem.allowed == "base, long_luff, heavy"
        assert problem.hint == 'did you mean "long_luff"?'


def test_options_in_a_circle(problems_of: ProblemsOf) -> None:
    problems = problems_of(('name = "long_luff"\n', 'name = "long_luff"\nparent = "heavy"\n'))
    assert [problem.key for problem in problems] == ["option.long_luff.parent", "option.heavy.parent"]
    assert problems[0].wrong == "the options build on each other in a circle: long_luff on heavy on long_luff"


def test_an_option_must_change_something(problems_of: ProblemsOf) -> None:
    [problem] = problems_of(add='\n[[option]]\nname = "same"\nsays = "Nothing"\nchange = {}\n')
    assert (problem.key, problem.wrong) == ("option.same", "the option changes nothing")


def test_a_table_cannot_be_replaced_as_a_whole_by_an_option(problems_of: ProblemsOf) -> None:
    option = '\n[[option]]\nname = "blunt"\nsays = "x"\n[option.change]\nmass = 3\nhull = []\nsail.jib = 2\n'
    problems = problems_of(add=option)
    assert [problem.key for problem in problems] == ["mass", "hull", "sail.jib"]
    assert {problem.wrong for problem in problems} == {
        'in option "blunt": a table cannot be replaced as a whole'
    }


def test_a_control_character_cannot_break_the_line() -> None:
    problem = Problem(file="a\nb.toml", line=3, key="x\ty", given="1\x1b[31m", wrong="odd")
    assert str(problem) == "a b.toml:3: x y = 1 [31m: odd"
