"""Quantities to be set in boat files: what becomes of them, and what people read when they are wrong."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from vpp.config import BoatFileError, Problem, load
from vpp.config.set_boats import has_set_quantities, set_boats, set_quantities

ProblemsOf = Callable[..., list[Problem]]
Edit = Callable[..., Path]

CREW = """
[[set]]
name = "people"
says = "How many are aboard"
wind_edges_kn = [0.0, 10.0, 40.0]
[set.values]
crew.mass_kg = [400.0, 480.0]
"""
JIB = """
[[set]]
name = "stay"
says = "Forestay"
[set.values]
sail.jib.camber_trim_percent = [0.0, 100.0]
"""


def text_of(*lines: str, name: str = "wrong", edges: str = "") -> str:
    return "\n".join(["", "[[set]]", f'name = "{name}"', 'says = "x"', edges, "[set.values]", *lines, ""])


def said(problems: list[Problem]) -> list[str]:
    told = [f"{problem.key}: {problem.wrong}" for problem in problems]
    return [
        each
        + (f"; {problem.allowed}" if problem.allowed else "")
        + (f"; {problem.hint}" if problem.hint else "")
        for each, problem in zip(told, problems, strict=True)
    ]


def test_a_file_says_what_is_set_and_what_it_may_be_set_to(edited: Edit) -> None:
    boat_file = load(edited(add=CREW + JIB))
    people, stay = set_quantities(boat_file)["base"]
    assert (people.name, people.count, people.is_control, people.range_count) == ("people", 2, False, 2)
    assert (people.built_text, people.text(0)) == ("480 kg", "400 kg")
    assert (stay.count, stay.is_control, stay.range_count) == (2, True, 1)
    assert stay.built_text == "trimmed, 0 to 100 %"
    rows = {row.key: row for row in boat_file.rows()}
    assert rows["set.people.values.crew.mass_kg"].value == (400.0, 480.0)
    assert rows["set.people.values.crew.mass_kg"].unit == "kg"
    # what is to be set changes nothing of the boat as filed
    assert boat_file.boat("base") == load(edited()).boat("base")
    assert not has_set_quantities(load(edited()))
    assert set_boats(load(edited())) == {}


def test_boats_with_the_values_are_floated_anew(edited: Edit) -> None:
    boat_file = load(edited(add=CREW + JIB))
    base = boat_file.boat("base")
    made = set_boats(boat_file, ["base"])["base"]
    assert [boat.crew.mass for boat in made.held] == [400.0, 400.0, 480.0, 480.0]
    assert [boat.sails[1].camber.lower for boat in made.held] == [0.0, 1.0, 0.0, 1.0]
    assert [boat.crew.mass for boat in made.free] == [400.0, 480.0]
    assert made.held[0].total_mass == pytest.approx(base.total_mass - 80.0)
    assert made.held[0].hull.canoe_volume < base.hull.canoe_volume
    assert made.free[1].sails == base.sails


def test_options_change_add_and_remove_what_is_set(edited: Edit) -> None:
    options = """
[[option]]
name = "fixed"
says = "nothing set"
remove = ["set.people"]
[[option]]
name = "by_day"
says = "one value"
remove = ["set.people.wind_edges_kn"]
[[option]]
name = "fewer"
says = "other values"
[option.change]
set.people.values = {crew = {mass_kg = [240.0, 320.0, 400.0]}}
[[option]]
name = "more"
says = "a second one"
[[option.add.set]]
name = "stay"
says = "Forestay"
[option.add.set.values]
sail.jib.camber_trim_percent = [0.0, 100.0]
"""
    found = set_quantities(load(edited(add=CREW + options)))
    assert "fixed" not in found
    assert [each.range_count for each in found["by_day"]] == [1]
    assert found["fewer"][0].keys[0].values == (240.0, 320.0, 400.0)
    assert [each.name for each in found["more"]] == ["people", "stay"]
    assert found["taller_rig" if "taller_rig" in found else "base"][0].count == 2


@pytest.mark.parametrize(
    ("added", "expected"),
    [
        (
            text_of("crew.mass_kgs = [1.0, 2.0]"),
            "set.wrong.values.crew.mass_kgs: is no number of this boat that can be set, and no control; did "
            'you mean "crew.mass_kg"?',
        ),
        (
            text_of("sail.jib.camber_trim_min_percents = [1.0, 2.0]"),
            "set.wrong.values.sail.jib.camber_trim_min_percents: is no number of this boat that can be set, "
            'and no control; did you mean "sail.jib.camber_trim_min_percent"?',
        ),
        (
            text_of('"crew.mass_kg" = [100.0, 200.0]'),
            "set.wrong.values.crew.mass_kg: is no key path; write the path without quotes",
        ),
        (
            text_of("margins.heel_deg = [20.0, 25.0]"),
            "set.wrong.values.margins.heel_deg: is no part of the boat that can be set",
        ),
        (
            text_of("crew.mass_kg = 400.0"),
            "set.wrong.values.crew.mass_kg: is not a list of values; 2 to 25 numbers",
        ),
        (
            text_of("crew.mass_kg = [400.0]"),
            "set.wrong.values.crew.mass_kg: has too few entries; 2 to 25 numbers",
        ),
        (
            text_of('crew.mass_kg = [400.0, "500"]'),
            "set.wrong.values.crew.mass_kg: holds something that is not a number; 2 to 25 numbers",
        ),
        (
            text_of("crew.mass_kg = [400.0, 4000.0]"),
            "set.wrong.values.crew.mass_kg[2]: is out of range; 30 to 3000 kg",
        ),
        (
            text_of("sail.jib.sheet_deg = [2.0, 20.0]"),
            "set.wrong.values.sail.jib.sheet_deg[1]: lies outside what the boat can trim; 5 to 75 deg",
        ),
        (
            text_of("rig.mast_rotation_deg = [0.0, 20.0]"),
            "set.wrong.values.rig.mast_rotation_deg: is not trimmed on this boat, whose least and greatest "
            "are both 0; a control whose bounds differ",
        ),
        (text_of("crew.mass_kg = [400.0, 400.0]"), "set.wrong.values: holds a value twice"),
        (text_of(), "set.wrong.values: holds no key; a list of values by key path"),
        (
            text_of("crew.mass_kg = [400.0, 480.0]", "crew.x_m = [0.0, -1.0, -2.0]"),
            "set.wrong.values.crew.x_m: has 3 values, crew.mass_kg has 2; 2 values",
        ),
        (
            text_of("crew.mass_kg = [400.0, 480.0]", "sail.jib.sheet_deg = [10.0, 20.0]"),
            "set.wrong.values: holds a number and a control, which cannot be set by one table; give each "
            "a [[set]] of its own",
        ),
        (
            text_of("crew.mass_kg = [400.0, 480.0]", edges="wind_edges_kn = [4.0, 10.0, 10.0]"),
            "set.wrong.wind_edges_kn: the edges must rise, each once",
        ),
        (
            text_of("crew.mass_kg = [400.0, 480.0]", edges="twa_edges_deg = [90.0, 0.0]"),
            "set.wrong.twa_edges_deg: the edges must rise, each once",
        ),
        (
            CREW + text_of("crew.mass_kg = [300.0, 480.0]"),
            "set.wrong.values.crew.mass_kg: is set by set.people already",
        ),
        (
            JIB + text_of("sail.jib.camber_trim_max_percent = [50.0, 100.0]"),
            "set.wrong.values.sail.jib.camber_trim_max_percent: is set by set.stay already",
        ),
        (
            text_of(f"crew.mass_kg = {[100.0 + 10.0 * each for each in range(25)]}", name="a")
            + text_of("crew.x_m = [0.0, -1.0, -2.0]", name="b"),
            "set.a.values: the values make 75 boats to be solved in every wind; at most 60 can be; "
            "fewer values or fewer [[set]]",
        ),
        (
            text_of("crew.mass_kg = [400.0, 480.0]", edges="edges_kn = [4.0, 10.0]"),
            'set.wrong.edges_kn: unknown key; did you mean "wind_edges_kn"?',
        ),
    ],
)
def test_a_mistake_is_said_with_what_was_meant(added: str, expected: str, problems_of: ProblemsOf) -> None:
    assert said(problems_of(add=added)) == [expected]


def test_all_mistakes_are_said_at_once(problems_of: ProblemsOf) -> None:
    added = text_of(
        "crew.mass_kgs = [1.0, 2.0]", "crew.x_m = [-99.0, 0.0]", edges="wind_edges_kn = [4.0, 2.0]"
    )
    found = said(problems_of(add=added))
    assert len(found) == 3
    assert any("crew.mass_kgs" in each for each in found)
    assert any("crew.x_m[1]" in each for each in found)
    assert any("wind_edges_kn" in each for each in found)


def test_too_many_ways_to_combine_ranges_are_refused(problems_of: ProblemsOf) -> None:
    edges = ", ".join(f"{each:.1f}" for each in range(15))
    added = text_of("crew.mass_kg = [400.0, 480.0]", name="a", edges=f"wind_edges_kn = [{edges}, 39.0]")
    added += text_of("crew.x_m = [0.0, -1.0]", name="b", edges=f"wind_edges_kn = [{edges}, 40.0]")
    added += text_of("crew.z_m = [1.2, 1.3]", name="c", edges="wind_edges_kn = [0.0, 20.0]")
    (found,) = said(problems_of(add=added))
    assert found.startswith("set.a.wind_edges_kn: there are too many ways to combine values in ranges")


def test_values_that_the_boat_cannot_have_are_said_with_their_values(edited: Edit) -> None:
    """Each is in range by itself, and too heavy for what the hull's tests hold."""
    boat_file = load(edited(add=text_of("crew.mass_kg = [480.0, 2900.0, 3000.0]")))
    with pytest.raises(BoatFileError) as refused:
        set_boats(boat_file)
    first, *others = said(list(refused.value.problems))
    assert "with wrong 2900 kg: " in first
    assert any("with wrong 3000 kg: " in each for each in (first, *others))
    assert all(problem.line is not None for problem in refused.value.problems)
    assert not any("set_0" in each or "set_1" in each or "set_2" in each for each in (first, *others))


def test_a_changed_file_is_refused(edited: Edit) -> None:
    boat_file = load(edited(add=CREW))
    edited(add=CREW + JIB)
    with pytest.raises(BoatFileError, match="has changed since it was read"):
        set_boats(boat_file)
