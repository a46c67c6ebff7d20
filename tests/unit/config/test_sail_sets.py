"""Sail sets in boat files: what becomes of them, and what people read when they are wrong."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from vpp.config import Problem, load

ProblemsOf = Callable[..., list[Problem]]
Edit = Callable[..., Path]

CONFIGS = Path(__file__).parents[3] / "configs"
FULL = '\n[[sail_set]]\nname = "full"\nsays = "both"\nsails = ["jib", "main"]\n'
REEFED = (
    '\n[[sail_set]]\nname = "reefed"\nsays = "less"\nsails = ["main"]\n'
    'reefed = ["main"]\nreef_percent = [20.0]\n'
)
SMALL_JIB = """
[[sail]]
name = "small_jib"
role = "jib"
model = "strips"
section_model = "given"
foot_height_m = 1.35
head_height_m = 11.0
tack_x_m = 4.75
luff_rake_deg = 17.9
chord_at_percent = [0.0, 100.0]
chord_m = [2.8, 0.1]
camber_at_percent = [0.0, 100.0]
camber_flat_percent = [7.0, 7.0]
camber_full_percent = [12.0, 12.0]
sheet_min_deg = 5.0
sheet_max_deg = 75.0
twist_min_deg = 0.0
twist_max_deg = 25.0
stall_incidence_deg = 8.0
stall_width_deg = 1.5
profile_drag_coefficient = 0.02
drag_bucket_factor = 0.012
mass_per_area_kg_per_m2 = 0.4
"""


def test_sets_come_with_their_reefs_and_what_a_change_costs(edited: Edit) -> None:
    added = FULL + REEFED + "[wardrobe]\nchange_cost_s = 45.0\nleg_minutes = 15.0\n"
    boat = load(edited(add=added)).boat("base")
    assert [item.name for item in boat.sail_sets] == ["full", "reefed"]
    assert boat.sail_sets[1].reef_of("main") == pytest.approx(0.2)
    assert boat.sail_sets[0].reef_of("main") == 0.0
    assert boat.sail_change.lost_time == 45.0
    # minutes are 60 s
    assert boat.sail_change.leg_time == 900.0


def test_a_boat_without_sets_has_none_and_shows_no_wardrobe(edited: Edit) -> None:
    boat_file = load(edited())
    assert boat_file.boat("base").sail_sets == ()
    assert not [row for row in boat_file.rows() if row.key.startswith(("wardrobe", "sail_set"))]


def test_a_boat_with_sets_shows_them_and_their_areas(edited: Edit) -> None:
    boat_file = load(edited(add=FULL + REEFED))
    rows = {row.key: row for row in boat_file.rows()}
    assert rows["wardrobe.leg_minutes"].origin == "default"
    assert rows["wardrobe.leg_minutes"].unit == "min"
    assert rows["sail_set.reefed.reef_percent"].value == (20.0,)
    boat = boat_file.boat("base")
    assert rows["sail_set.full.area_m2"].value == pytest.approx(sum(sail.area for sail in boat.sails))
    assert rows["sail_set.reefed.area_m2"].value == pytest.approx(boat.sails[0].reefed(0.2).area)


def test_sails_of_sets_float_with_the_boat(edited: Edit) -> None:
    """Of two boats that differ in a sail on deck, the heavier lies deeper, and so do its reefs."""
    light = load(edited(add=FULL + REEFED)).boat("base")
    three = FULL + REEFED + SMALL_JIB + '\n[[sail_set]]\nname = "c"\nsays = "c"\nsails = ["small_jib"]\n'
    heavy = load(edited(add=three)).boat("base")
    extra = heavy.total_mass - light.total_mass
    assert extra == pytest.approx(heavy.sails[2].mass, rel=1e-9)
    sunk = light.wearing("reefed").sails[0].head_height - heavy.wearing("reefed").sails[0].head_height
    area = light.hull.waterplane_area
    assert sunk == pytest.approx(extra / (light.environment.water_density * area), rel=1e-9)


# what is added to the test boat, and what is said after "boat.toml:LINE: "
ONE_MISTAKE = {
    "a sail that is not there": (
        FULL + REEFED.replace('sails = ["main"]', 'sails = ["main", "jibe"]'),
        'sail_set.reefed.sails[2] = "jibe": there is no sail of that name; allowed: main, jib; '
        'did you mean "jib"?',
    ),
    "a sail twice": (
        FULL.replace('["jib", "main"]', '["jib", "main", "jib"]'),
        'sail_set.full.sails[3] = "jib": jib is in the list already',
    ),
    "a reefed sail that is not up": (
        FULL + REEFED.replace('reefed = ["main"]', 'reefed = ["jib"]'),
        'sail_set.reefed.reefed[1] = "jib": there is no sail of this set of that name; allowed: main',
    ),
    "a reef of nothing": (
        FULL + REEFED.replace("[20.0]", "[0.0]"),
        "sail_set.reefed.reef_percent[1] = 0.0 %: is too small; allowed: 1 to 70 %",
    ),
    "no depth of the reef": (
        FULL + REEFED.replace("reef_percent = [20.0]\n", ""),
        "sail_set.reefed.reef_percent: has 0 entries, reefed has 1; allowed: 1 entries",
    ),
    "two sets of a name": (
        FULL + REEFED.replace('name = "reefed"', 'name = "full"'),
        'sail_set.full.name = "full": there is already a [[sail_set]] of that name; allowed: another name',
    ),
    "two sets alike": (
        FULL + REEFED + REEFED.replace('name = "reefed"', 'name = "again"'),
        'sail_set.again.sails = ["main"]: has the same sails and reefs as reefed; allowed: another choice',
    ),
    "a sail in no set": (
        REEFED,
        'sail.jib.name = "jib": no [[sail_set]] has this sail; add it to a set, or take the sail away',
    ),
    "a sail without a role": (
        FULL.replace('["jib", "main"]', '["small_jib", "main"]')
        + FULL.replace('"full"', '"whole"')
        + SMALL_JIB.replace('role = "jib"\n', ""),
        "sail.small_jib.role: missing: in whose columns the trims of a sail of that name stand; "
        'allowed: "main" or "jib" or "other"',
    ),
    "a role twice": (
        FULL + '\n[[sail_set]]\nname = "two"\nsays = "two"\nsails = ["jib", "small_jib"]\n' + SMALL_JIB,
        'sail_set.two.sails = ["jib", "small_jib"]: jib and small_jib are up together, and the trims of both '
        'stand under jib; give one of them another role, or "other" for none',
    ),
    "a cost without sets": (
        "\n[wardrobe]\nchange_cost_s = 30.0\n",
        "wardrobe.change_cost_s = 30.0 s: there is no [[sail_set]] to change to",
    ),
    "a sail named as a keel": (
        FULL.replace('["jib", "main"]', '["keel", "main"]')
        + FULL.replace('"full"', '"whole"')
        + SMALL_JIB.replace('"small_jib"', '"keel"'),
        'sail.keel.name = "keel": there is already a [[mass]] of that name; allowed: another name',
    ),
    "a set without sails": (
        FULL.replace('["jib", "main"]', "[]"),
        "sail_set.full.sails = []: has too few entries; allowed: list of texts",
    ),
}


@pytest.mark.parametrize(("added", "said"), ONE_MISTAKE.values(), ids=ONE_MISTAKE.keys())
def test_a_mistake_is_said_in_one_line(problems_of: ProblemsOf, added: str, said: str) -> None:
    [problem] = problems_of(add=added)
    assert str(problem).split(": ", 1)[1] == said


def test_more_sails_than_the_model_carries_need_sets(problems_of: ProblemsOf) -> None:
    found = problems_of(add=SMALL_JIB.replace('role = "jib"', 'role = "other"'))
    assert any("sails are up together" in each.wrong and "[[sail_set]]" in each.hint for each in found)


def test_a_reef_into_the_heads_cut_is_refused(problems_of: ProblemsOf) -> None:
    edit = (
        "luff_rake_deg = 1.0",
        "luff_rake_deg = 1.0\nhead_cut_from_percent = 60.0\nhead_cut_chord_percent = 50.0",
    )
    [problem] = problems_of(edit, add=FULL + REEFED.replace("[20.0]", "[65.0]"))
    assert problem.wrong == "the reef reaches into the head's cut of main"
    assert problem.allowed == "below 60 %"


def test_an_option_can_change_a_set_and_take_one_away(edited: Edit) -> None:
    options = """
[[option]]
name = "deeper"
says = "a deeper reef"
[option.change]
sail_set.reefed.reef_percent = [30.0]
wardrobe.leg_minutes = 60.0
[[option]]
name = "no_reef"
says = "without"
remove = ["sail_set.reefed"]
"""
    boats = load(edited(add=FULL + REEFED + options))
    deeper = boats.boat("deeper")
    assert deeper.sail_sets[1].reef_of("main") == pytest.approx(0.3)
    assert deeper.sail_change.leg_time == 3600.0
    assert [item.name for item in boats.boat("no_reef").sail_sets] == ["full"]


def test_the_demo_wardrobe_is_what_it_says() -> None:
    boats = load(CONFIGS / "keelboat_sails.toml")
    boat = boats.boat("wardrobe")
    areas = {item.name: sum(sail.area for sail in boat.wearing(item.name).sails) for item in boat.sail_sets}
    assert areas["full"] > areas["working_jib"] > areas["reefed"]
    main, reefed = boat.sails[0], boat.wearing("reefed").sails[0]
    # "a quarter of the main's area"
    assert 1.0 - reefed.area / main.area == pytest.approx(0.25, abs=0.03)
    assert boats.boat("base").sail_sets == ()
    assert boats.boat("offwind").wearing("offwind").table_sails
