"""What `vpp check` and `vpp compare` say of options that break the rule box of their boat file."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner, Result

from tests.support import synthetic
from vpp.cli import app
from vpp.config import BoatFile
from vpp.config.rows import Row

CONFIGS = Path(__file__).parents[2] / "configs"
FOILER = str(CONFIGS / "foiling_monohull.toml")
Run = Callable[..., Result]

CLAUSES = 9
BREAKING = {
    # the addition below the foot: 0.50 m by 5.20 and 5.30 m of chord
    "low_luff": {"main_area", "main_area_filled"},
    "more_cant": {"cant"},
    "taller_rig": {"main_area", "main_area_filled", "mast_height"},
    # the cut takes the area off again, and filled in it is back
    "low_and_cut": {"main_area_filled"},
    "more_crew": {"crew_mass"},
}


def check(*words: str) -> str:
    done = CliRunner().invoke(app, ["check", FOILER, *words])
    assert done.exit_code == 0, done.output
    return str(done.stdout)


def block(printed: str, heading: str) -> dict[str, list[str]]:
    """Rows of the table under a heading, by option."""
    lines = printed.split(f"\n{heading}\n")[1].split("\n\n")[0].splitlines()
    assert lines[0].split() == ["option", "verdict", "measured", "limit", "margin"]
    return {first: rest for first, *rest in map(str.split, lines[1:])}


def test_check_tells_every_clause_of_every_option() -> None:
    told = check()
    area = block(told, "1.1 mainsail, greatest area: sail area (main), m²")
    assert list(area) == [
        "base", "low_luff", "deck_only", "cut_head", "inverted_head", "gear_below", "more_cant",
        "taller_rig", "low_and_cut", "more_crew",
    ]  # fmt: skip
    # 19.55 m by the chords of the file, and 0.50 m by 5.25 m: 78.93 and 81.56 m2
    assert area["base"] == ["pass", "78.93", "at", "most", "81", "+2.07"]
    assert area["low_luff"] == ["FAIL", "81.56", "at", "most", "81", "-0.56"]
    pivot = block(told, "2.1 height of the mast's pivot over the cant axis: pivot over cant axis, m")
    # 1.35 m less 0.45 m
    assert pivot["base"] == ["pass", "0.900", "0.85", "to", "0.95", "+0.050"]
    cant = block(told, "3.1 greatest cant of the foils: greatest cant, deg")
    assert cant["more_cant"] == ["FAIL", "62.0", "at", "most", "60", "-2.0"]


def test_check_ends_with_the_options_that_break_the_box() -> None:
    closing = check().split("\nRule box: ")[1].split("\n\n")[0].splitlines()
    assert closing[0] == "5 of 10 boats break it."
    assert [line.split()[0] for line in closing[1:]] == [
        option for option, clauses in BREAKING.items() for _ in clauses
    ]
    assert closing[1] == (
        '  low_luff breaks "1.1 mainsail, greatest area" by 0.56 m²: sail area (main) 81.56 m², at most 81 m²'
    )


def test_check_of_options_that_keep_to_the_box() -> None:
    told = check("--option", "cut_head")
    assert "\nRule box: all 2 boats keep to it.\n" in told
    assert "FAIL" not in told


def test_check_of_a_boat_without_a_rule_box_says_nothing_of_one() -> None:
    done = CliRunner().invoke(app, ["check", str(CONFIGS / "keelboat.toml")])
    assert done.exit_code == 0
    assert "ule box" not in done.stdout
    told = CliRunner().invoke(app, ["check", str(CONFIGS / "keelboat.toml"), "--format", "json"])
    assert json.loads(told.stdout)["rule_box"] == []


def test_a_file_of_options_is_held_against_the_box_of_its_boat() -> None:
    done = CliRunner().invoke(app, ["check", str(CONFIGS / "foiling_rigs.toml"), "--option", "square_head"])
    assert done.exit_code == 0
    assert "\nRule box: 1 of 2 boats break it.\n" in done.stdout


def test_check_as_json_has_a_record_for_each_verdict() -> None:
    found = json.loads(check("--format", "json"))["rule_box"]
    assert len(found) == 10 * CLAUSES
    broken = {(each["option"], each["rule"]) for each in found if not each["holds"]}
    assert broken == {(option, rule) for option, rules in BREAKING.items() for rule in rules}
    (chord,) = (each for each in found if (each["option"], each["rule"]) == ("base", "main_upper_chord"))
    # between 3.40 m at 75 % and 1.70 m at the head
    assert chord == {
        "option": "base",
        "rule": "main_upper_chord",
        "clause": "1.3 mainsail, greatest chord at nine tenths of the luff",
        "quantity": "chord",
        "of": "main",
        "at_percent": pytest.approx(90.0),
        "unit": "m",
        "measured": pytest.approx(3.40 - 0.6 * 1.70),
        "least": None,
        "greatest": 2.6,
        "margin": pytest.approx(2.6 - 2.38),
        "holds": True,
    }


def test_check_as_csv_has_the_verdicts_among_the_computed_values() -> None:
    table = pd.read_csv(io.StringIO(check("--format", "csv"))).set_index(["option", "key"])
    measured = table.loc[("taller_rig", "rule_box.mast_height.measured_m")]
    # 22.0 m less 1.15 m; 20.5 m are allowed
    assert float(measured["value"]) == pytest.approx(20.85)
    assert (measured["unit"], measured["origin"]) == ("m", "computed")
    assert float(table.loc[("taller_rig", "rule_box.mast_height.margin_m"), "value"]) == pytest.approx(-0.35)
    assert table.loc[("taller_rig", "rule_box.mast_height.holds"), "value"] == "False"
    assert table.loc[("base", "rule_box.mast_height.holds"), "value"] == "True"
    limit = table.loc[("base", "rule_box.mast_height.greatest_m")]
    assert float(limit["value"]) == 20.5
    assert "foiling_monohull.toml:" in limit["origin"]


def test_a_limit_on_what_the_boat_lacks_is_an_error_of_the_file(tmp_path: Path) -> None:
    text = Path(FOILER).read_text(encoding="utf-8")
    path = tmp_path / "boat.toml"
    path.write_text(text.replace('of = "main"', 'of = "mainsail"'), encoding="utf-8")
    line = text[: text.index('of = "main"')].count("\n") + 1
    done = CliRunner().invoke(app, ["check", str(path)])
    assert done.exit_code == 2
    assert done.stdout == ""
    problems = done.stderr.splitlines()
    assert len(problems) == 3
    assert problems[0] == (
        f'{path}:{line}: rule_box.main_area.of = "mainsail": there is no sail of that name; allowed: main, '
        'jib; did you mean "main"?'
    )


# --- compare ------------------------------------------------------------------------------------------------


def with_rule_box(greatest_m2: float) -> BoatFile:
    """The invented boats with a limit of the main's area, of which lower_foot adds half a metre by 3.2 m."""
    given = {
        "name": "main_area",
        "clause": "12 mainsail",
        "quantity": "sail_area",
        "of": "main",
        "greatest_m2": greatest_m2,
    }
    rows = tuple(Row(f"rule_box.main_area.{key}", value, "", "", "") for key, value in given.items())
    file = synthetic.make_boat_file()
    main = file.boat("lower_foot").sails[0]
    larger = replace(main, foot_extension=0.5, extension_chord=3.2)
    boats = [
        replace(boat, sails=(larger, *boat.sails[1:])) if boat.name == "lower_foot" else boat
        for boat in file.boats
    ]
    resolved = {name: (*each, *rows) for name, each in file.resolved.items()}
    return replace(file, boats=tuple(boats), resolved=resolved)


@pytest.fixture
def compared(invented: Run, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Result]:
    """Run `vpp compare` on the invented boats with a limit of the main's area in m2."""

    def run(greatest_m2: float, *words: str) -> Result:
        monkeypatch.setattr("vpp.config.load", lambda path: with_rule_box(greatest_m2))
        return invented(
            "compare", "good.toml", "--tws", "8:16:4", "--twa", "60:140:40", "--no-figures", *words
        )

    return run


# The main is 8.8 m by 3.2 and 0.6 m, 16.72 m2; with half a metre by 3.2 m more, 18.32 m2.
BROKEN = 'lower_foot breaks "12 mainsail" by 0.32 m²: sail area (main) 18.32 m², at most 18 m².'


def test_compare_marks_the_options_that_break_the_box(compared: Callable[..., Result]) -> None:
    done = compared(18.0)
    told = done.stdout.splitlines()
    assert told.count(BROKEN) == 1
    assert [line for line in told if " breaks " in line] == [BROKEN]
    assert told.index(BROKEN) > next(place for place, line in enumerate(told) if line.startswith("fastest"))
    assert BROKEN in Path("out/compare/summary.txt").read_text(encoding="utf-8").splitlines()


def test_compare_says_when_every_option_keeps_to_the_box(compared: Callable[..., Result]) -> None:
    told = compared(19.0).stdout
    assert "\nEvery option keeps to the rule box.\n" in told
    assert " breaks " not in told


def test_compare_names_the_base_where_it_breaks_the_box(compared: Callable[..., Result]) -> None:
    told = compared(16.0, "--option", "lower_foot").stdout
    assert [line.split()[0] for line in told.splitlines() if " breaks " in line] == ["base", "lower_foot"]


def test_compare_as_json_has_the_verdicts(compared: Callable[..., Result]) -> None:
    found = json.loads(compared(18.0, "--format", "json").stdout)["rule_box"]
    assert [(each["option"], each["holds"]) for each in found] == [
        ("base", True), ("taller_rig", True), ("lower_foot", False), ("cut_head", True),
    ]  # fmt: skip
    assert found[2]["margin"] == pytest.approx(-0.32)


def test_compare_without_a_rule_box_says_nothing_of_one(invented: Run) -> None:
    words = ("compare", "good.toml", "--tws", "8:16:4", "--twa", "60:140:40", "--no-figures")
    assert "ule box" not in invented(*words).stdout
    assert "rule_box" not in json.loads(invented(*words, "--format", "json").stdout)
