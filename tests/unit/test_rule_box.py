"""Limits of a rule box held against boats: margins by hand, and what people read when a limit is wrong."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.support import synthetic
from vpp.config import BoatFileError, Problem, load
from vpp.config.movable import MovableKeys
from vpp.measurement import QUANTITIES
from vpp.rule_box import Limit, Verdict, broken_by, judge, limits_of, to_frame, verdicts

Load = Callable[..., Path]

FOLDER = Path(__file__).parent / "config"
KEELBOAT = (FOLDER / "boat.toml").read_text(encoding="utf-8")
FOILER = (FOLDER / "foiling_boat.toml").read_text(encoding="utf-8")
OFFWIND = """
[[sail]]
name = "offwind_sail"
model = "table"
coefficient_file = "offwind_sail.csv"
area_m2 = 75.0
span_m = 13.0
ce_height_m = 7.3
ce_x_m = 2.8
power_min_percent = 40.0
mass_per_area_kg_per_m2 = 0.10
"""
COEFFICIENTS = (
    "awa_deg,lift_coefficient,drag_coefficient\n30,0.40,0.24\n60,1.35,0.46\n90,1.46,0.69\n180,0.00,1.00\n"
)


def rule(name: str, quantity: str, *, clause: str = "", **given: float | str) -> str:
    """The table of a limit."""
    values = {"name": name, "clause": clause or f"clause {name}", "quantity": quantity, **given}
    told = (
        f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value}"
        for key, value in values.items()
    )
    return "\n[[rule_box]]\n" + "\n".join(told) + "\n"


@pytest.fixture
def boat(tmp_path: Path) -> Load:
    """Writes a boat with more tables before its options."""

    def write(*tables: str, of: str = KEELBOAT) -> Path:
        path = tmp_path / "boat.toml"
        head, mark, options = of.partition("[[option]]")
        path.write_text(head + "".join(tables) + mark + options, encoding="utf-8")
        (tmp_path / "offwind_sail.csv").write_text(COEFFICIENTS, encoding="utf-8")
        return path

    return write


@pytest.fixture
def problems_of(boat: Load) -> Callable[..., list[Problem]]:
    """What is wrong with a boat with those tables."""

    def find(*tables: str, of: str = KEELBOAT) -> list[Problem]:
        with pytest.raises(BoatFileError) as caught:
            load(boat(*tables, of=of))
        return list(caught.value.problems)

    return find


def said(problem: Problem) -> str:
    return str(problem).split(": ", 1)[1]


# --- verdicts -----------------------------------------------------------------------------------------------


def of_crew(*, least: float | None = None, greatest: float | None = None) -> Verdict:
    """The invented keelboat has a crew of 320 kg."""
    limit = Limit(name="crew", clause="7 the crew", quantity="crew_mass", least=least, greatest=greatest)
    [verdict] = judge(synthetic.make_boat(), [limit])
    assert verdict.measured == 320.0
    return verdict


def test_the_margin_is_the_distance_to_the_nearer_bound() -> None:
    assert of_crew(greatest=350.0).margin == 30.0
    assert of_crew(least=300.0).margin == 20.0
    assert of_crew(least=300.0, greatest=350.0).margin == 20.0
    assert of_crew(least=250.0, greatest=330.0).margin == 10.0
    assert of_crew(greatest=300.0).margin == -20.0
    assert of_crew(least=330.0, greatest=340.0).margin == -10.0
    assert of_crew(least=310.0, greatest=315.0).margin == -5.0
    # a bound of 0 is one
    assert of_crew(greatest=0.0).margin == -320.0


def test_bounds_are_allowed_and_rounding_breaks_none() -> None:
    assert of_crew(greatest=320.0).holds
    assert of_crew(least=320.0, greatest=320.0).holds
    at_it = of_crew(greatest=320.0 - 1e-8)
    assert at_it.holds
    assert at_it.margin == 0.0
    past_it = of_crew(greatest=320.0 - 1e-5)
    assert not past_it.holds
    assert past_it.margin == pytest.approx(-1e-5, rel=1e-3)


def test_sentences() -> None:
    assert of_crew(greatest=300.0).sentence == (
        'base breaks "7 the crew" by 20.0 kg: crew mass 320.0 kg, at most 300 kg'
    )
    assert of_crew(least=300.0, greatest=350.0).sentence == (
        'base keeps to "7 the crew", with 20.0 kg left: crew mass 320.0 kg, 300 to 350 kg'
    )
    # no clause is broken by 0.0
    assert of_crew(least=320.004).sentence == (
        'base breaks "7 the crew" by 0.004 kg: crew mass 320.000 kg, at least 320.004 kg'
    )


def test_angles_are_shown_in_degrees() -> None:
    limit = Limit(name="x", clause="c", quantity="greatest_cant", greatest=math.radians(60.0))
    verdict = Verdict(option="wide", limit=limit, measured=math.radians(62.0))
    assert verdict.sentence == 'wide breaks "c" by 2.0 deg: greatest cant 62.0 deg, at most 60 deg'
    assert verdict.margin == pytest.approx(-math.radians(2.0))
    [row] = to_frame([verdict]).to_dict(orient="records")
    assert (row["measured"], row["greatest"], row["margin"]) == pytest.approx((62.0, 60.0, -2.0))
    assert (row["unit"], row["holds"]) == ("deg", False)
    assert np.isnan(row["least"])
    assert np.isnan(row["at_percent"])


# --- boat files ---------------------------------------------------------------------------------------------

MAIN_AREA = rule("main_area", "sail_area", of="main", greatest_m2=35.0)


def test_without_a_rule_box_there_is_no_verdict(boat: Load) -> None:
    assert verdicts(load(boat())) == ()
    assert verdicts(synthetic.make_boat_file()) == ()
    assert to_frame(()).empty
    assert broken_by(()) == ()


def test_every_option_is_held_against_every_clause(boat: Load) -> None:
    """The main by trapezoids on 12.8 m: 34.4 m2; long_luff adds 0.6 m of 4.20 m."""
    boat_file = load(boat(MAIN_AREA, rule("crew", "crew_mass", least_kg=100.0)))
    found = verdicts(boat_file)
    assert [(each.option, each.limit.name) for each in found] == [
        (option.name, name) for option in boat_file.boats for name in ("main_area", "crew")
    ]
    area = 12.8 / 8.0 * (4.2 + 2.0 * (3.6 + 2.85 + 1.9) + 0.4)
    measured = {each.option: each.measured for each in found if each.limit.name == "main_area"}
    assert measured["base"] == pytest.approx(area, rel=1e-8)
    assert measured["long_luff"] == pytest.approx(area + 0.6 * 4.2, rel=1e-8)
    # heavy builds on long_luff
    assert broken_by(found) == ("long_luff", "heavy")
    two = verdicts(boat_file, ["long_luff"])
    assert [each.option for each in two] == ["base", "base", "long_luff", "long_luff"]
    with pytest.raises(BoatFileError, match="long_luf"):
        verdicts(boat_file, ["long_luf"])


def test_limits_are_read_in_si_units(boat: Load) -> None:
    tables = (
        rule("chord", "chord", of="main", at_percent=90.0, least_m=0.5, greatest_m=2.0, clause="R 1: chord"),
        rule("cant", "greatest_cant", greatest_deg=60),
    )
    chord, cant = limits_of(load(boat(*tables, of=FOILER)))
    assert chord == Limit(
        name="chord",
        clause="R 1: chord",
        quantity="chord",
        of="main",
        at_share=0.9,
        least=0.5,
        greatest=2.0,
    )
    assert cant.greatest == pytest.approx(math.radians(60.0))
    assert cant.least is None


def test_every_quantity_can_be_limited(boat: Load) -> None:
    parts = {"sail": "jib", "strips": "main", "sail_set": "both", "foil": "foil"}
    both = '\n[[sail_set]]\nname = "both"\nsays = "both"\nsails = ["main", "jib"]\n'
    tables = [
        rule(
            name,
            name,
            **({"of": parts[quantity.part]} if quantity.is_of_named else {}),
            **({"at_percent": 50.0} if name == "chord" else {}),
            **{f"greatest_{quantity.unit}": 0.0},
        )
        for name, quantity in QUANTITIES.items()
    ]
    found = verdicts(load(boat(both, *tables, of=FOILER)), ["base"])
    assert [each.limit.quantity for each in found] == list(QUANTITIES)
    assert all(math.isfinite(each.margin) for each in found)


def test_options_change_add_and_take_away_limits(boat: Load) -> None:
    options = """
[[option]]
name = "larger_box"
says = "the limit is another"
change.rule_box.main_area.greatest_m2 = 40.0

[[option]]
name = "no_box"
says = "none at all"
remove = ["rule_box.main_area"]

[[option]]
name = "both_sides"
says = "a bound more"
change.rule_box.main_area.least_m2 = 30.0

[[option]]
name = "two"
says = "a clause more"
[[option.add.rule_box]]
name = "crew"
clause = "clause crew"
quantity = "crew_mass"
greatest_kg = 1.0
"""
    boat_file = load(boat(MAIN_AREA, options))
    told = {option: [limit.text for limit in limits_of(boat_file, option)] for option in (
        "base", "larger_box", "no_box", "both_sides", "two"
    )}  # fmt: skip
    assert told == {
        "base": ["at most 35"],
        "larger_box": ["at most 40"],
        "no_box": [],
        "both_sides": ["30 to 35"],
        "two": ["at most 35", "at most 1"],
    }


def test_a_limit_is_no_lever_of_the_boat(boat: Load) -> None:
    """Limits are numbers of the file, but nothing sails by them."""
    boat_file = load(boat(MAIN_AREA))
    assert not [key for key in MovableKeys(boat_file, "base").keys if key.startswith("rule_box")]
    assert load(boat()).boats == boat_file.boats


# --- wrong input --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        (
            rule("x", "sail_area", of="mian", greatest_m2=30.0),
            'rule_box.x.of = "mian": there is no sail of that name; allowed: main, jib, offwind_sail; did '
            'you mean "main"?',
        ),
        (
            rule("x", "luff_length", of="offwind_sail", greatest_m=30.0),
            'rule_box.x.of = "offwind_sail": is a sail given by coefficients, of which only the area is known'
            "; allowed: main, jib",
        ),
        (
            rule("x", "sail_set_area", of="ful", greatest_m2=30.0),
            'rule_box.x.of = "ful": there is no sail set of that name; allowed: full; did you mean "full"?',
        ),
        (
            rule("x", "foil_span", of="keel", greatest_m=3.0),
            'rule_box.x.of = "keel": the boat has no foil to measure this on',
        ),
        (
            rule("x", "greatest_cant", greatest_deg=60.0),
            'rule_box.x.quantity = "greatest_cant": the boat has no [[foil]] of kind "canting_pair" to '
            "measure this on",
        ),
        (
            rule("x", "sail_area", greatest_m2=30.0),
            "rule_box.x.of: missing: name of the sail, sail set or foil that it is measured on; needed with "
            "a quantity of a named part; allowed: one line of text, at most 40 letters",
        ),
        (
            rule("x", "crew_mass", of="main", greatest_kg=30.0),
            'rule_box.x.of = "main": not used with quantity = "crew_mass"',
        ),
        (
            rule("x", "crew_mass"),
            "rule_box.x.greatest_kg: missing: neither least_kg nor greatest_kg says what the clause allows",
        ),
        (
            rule("x", "crew_mass", least_kg=90.0, greatest_kg=80.0),
            "rule_box.x.greatest_kg = 80.0 kg: must not be less than least_kg = 90; allowed: from 90",
        ),
        (
            rule("x", "chord", of="main", greatest_m=3.0),
            "rule_box.x.at_percent: missing: height on the luff above the foot at which the chord is "
            'measured; needed with quantity = "chord"; allowed: 0 to 100 %',
        ),
        (
            rule("x", "luff_length", of="main", at_percent=50.0, greatest_m=30.0),
            'rule_box.x.at_percent = 50.0 %: not used with quantity = "luff_length"',
        ),
        (
            rule("x", "crew_mass", greatest_lb=700.0),
            'rule_box.x.greatest_lb = 700.0: unknown key; did you mean "greatest_kg"? That key takes '
            "kilograms",
        ),
        (
            rule("x", "mast_height_over_deck", greatest_ft=70.0),
            'rule_box.x.greatest_ft = 70.0: unknown key; did you mean "greatest_m"? That key takes metres',
        ),
    ],
)  # fmt: skip
def test_a_wrong_limit_is_said_in_one_line(
    problems_of: Callable[..., list[Problem]], table: str, expected: str
) -> None:
    sets = '\n[[sail_set]]\nname = "full"\nsays = "all"\nsails = ["main", "jib", "offwind_sail"]\n'
    [problem] = problems_of(OFFWIND, sets, table)
    assert said(problem) == expected
    assert problem.line is not None


def test_all_that_is_wrong_is_said_at_once(problems_of: Callable[..., list[Problem]]) -> None:
    found = problems_of(
        rule("a", "sail_area", of="mian", greatest_m2=30.0),
        rule("b", "sail_area", of="main", greatest_kg=30.0, clause="clause a"),
        rule("b", "greatest_cant", greatest_deg=30.0),
    )
    assert [said(problem).split(" = ")[0].split(": ")[0] for problem in found] == [
        "rule_box.a.of",
        "rule_box.b.greatest_m2",
        "rule_box.b.clause",
        "rule_box.b.greatest_kg",
        "rule_box.b.name",
        "rule_box.b.quantity",
    ]
    assert [problem.line for problem in found] == sorted(problem.line or 0 for problem in found)


def test_an_unknown_quantity_is_told_with_the_nearest(problems_of: Callable[..., list[Problem]]) -> None:
    [problem] = problems_of(rule("x", "sail_aera", of="main", greatest_m2=30.0))
    assert problem.wrong == "no such choice"
    assert problem.hint == 'did you mean "sail_area"?'


def test_an_option_that_takes_the_measured_part_away_is_refused(
    problems_of: Callable[..., list[Problem]],
) -> None:
    option = '\n[[option]]\nname = "no_jib"\nsays = "bare"\nremove = ["sail.jib"]\n'
    [problem] = problems_of(rule("x", "sail_area", of="jib", greatest_m2=30.0), option)
    assert said(problem) == (
        'rule_box.x.of = "jib": in option "no_jib": there is no sail of that name; allowed: main'
    )
