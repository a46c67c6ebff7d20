"""Sections of sails in the boat file: given numbers or geometry."""

import re

import pytest

from tests.unit.config.conftest import Edit
from vpp.boat import Sail
from vpp.config import load

GIVEN = (
    "stall_incidence_deg",
    "stall_width_deg",
    "profile_drag_coefficient",
    "drag_bucket_factor",
)


def main_with(boat_text: str, model: str, keys: str, *, and_given: tuple[str, ...] = ()) -> tuple[str, str]:
    """The main's table with another section model and further keys, and without the numbers of the first."""
    table = boat_text[boat_text.index("[[sail]]") :]
    table = table[: table.index("[[sail]]", 1)]
    changed = table.replace('section_model = "given"', f'section_model = "{model}"\n{keys}')
    for key in GIVEN:
        if key not in and_given:
            changed = re.sub(rf"^{key} = .*\n", "", changed, flags=re.MULTILINE)
    return table, changed


def main_sail(edited: Edit, boat_text: str, model: str, keys: str) -> Sail:
    return load(edited(main_with(boat_text, model, keys))).boat("base").sails[0]


def test_given_numbers_are_taken_as_they_are(edited: Edit) -> None:
    main = load(edited()).boat("base").sails[0]
    assert main.section is None
    assert (main.draft_share, main.hinge_share) == (0.5, 0.0)


def test_twin_skins_become_geometry(edited: Edit, boat_text: str) -> None:
    keys = "thickness_percent = 8.0\nhinge_at_percent = 10.0\nclew_thickness_m = 0.03\n"
    main = main_sail(edited, boat_text, "twin_skin", keys)
    assert main.section is not None
    assert (main.section.kind, main.section.thickness_share) == ("twin_skin", 0.08)
    assert main.hinge_share == pytest.approx(0.1)
    assert main.draft_share == pytest.approx(0.55)  # the middle of the skins
    assert main.leech_thickness_at(main.foot_height) == pytest.approx(0.03)
    tenth = main.foot_height + 0.1 * (main.head_height - main.foot_height)
    assert main.leech_thickness_at(tenth) == pytest.approx(0.015)  # half way to 20 % of the luff
    assert main.leech_thickness_at(main.head_height) == 0.0
    assert main_sail(edited, boat_text, "twin_skin", keys + "draft_at_percent = 40.0\n").draft_share == 0.4


def test_mast_ahead_of_a_single_skin_is_the_rigs(edited: Edit, boat_text: str) -> None:
    behind = main_sail(edited, boat_text, "single_skin", "behind_mast = true\n").section
    alone = main_sail(edited, boat_text, "single_skin", "behind_mast = false\n").section
    assert behind is not None
    assert alone is not None
    assert behind.mast_diameter == pytest.approx(0.12)
    assert alone.mast_diameter == 0.0


@pytest.mark.parametrize(
    ("model", "keys", "and_given", "expected"),
    [
        (
            "twin_skin",
            "",
            (),
            "thickness_percent: missing: greatest thickness of the "
            "section, skins and mast together; needed with "
            'section_model = "twin_skin" or "solid"; allowed: 4 to 20 %',
        ),
        (
            "solid",
            "thickness_percent = 12.0\n",
            ("stall_width_deg",),
            'stall_width_deg = 1.5 deg: not used with section_model = "solid"',
        ),
        (
            "single_skin",
            "behind_mast = true\nhinge_at_percent = 10.0\n",
            (),
            'hinge_at_percent = 10.0 %: not used with section_model = "single_skin"',
        ),
        (
            "single_skin",
            "",
            (),
            "behind_mast: missing: whether the rig's mast, round, stands ahead of the luff; needed with "
            'section_model = "single_skin"; allowed: true or false',
        ),
        (
            "twin_skin",
            "thickness_percent = 8.0\nhinge_at_percent = 30.0\ndraft_at_percent = 32.0\n",
            (),
            "draft_at_percent = 32.0 %: the deepest camber lies too near "
            "to the hinge at hinge_at_percent = 30; "
            "allowed: from 35 %",
        ),
        (
            "twin_skin",
            "thickness_percent = 8.0\nclew_thickness_m = 0.25\n",
            (),
            "clew_thickness_m = 0.25 m: is more than 5 % of the chord; allowed: up to 0.192 m",
        ),
        (
            "sold",
            "thickness_percent = 12.0\n",
            GIVEN,
            'section_model = "sold": no such model; allowed: "given" or '
            '"single_skin" or "twin_skin" or "solid"; did you mean '
            '"solid"?',
        ),
    ],
)
def test_a_mistake_is_said_in_one_line(
    problems_of, boat_text: str, model: str, keys: str, and_given: tuple[str, ...], expected: str
) -> None:
    [told] = problems_of(main_with(boat_text, model, keys, and_given=and_given))
    assert str(told).split(": sail.main.")[1] == expected


def test_fullest_camber_of_a_section_from_geometry_is_bounded(problems_of, boat_text: str) -> None:
    table, changed = main_with(boat_text, "solid", "thickness_percent = 12.0\n")
    fuller = changed.replace(
        "camber_full_percent = [10.0, 12.0, 11.0]", "camber_full_percent = [10.0, 16.0, 11.0]"
    )
    [told] = problems_of((table, fuller))
    assert str(told).endswith(
        "sail.main.camber_full_percent[2] = 16.0 %: beyond what is "
        'known of sections of section_model = "solid"; '
        "allowed: up to 14 %"
    )


def test_mast_turns_only_with_a_sail_on_it(problems_of) -> None:
    [told] = problems_of(
        ("deck_half_width_m = 1.50", "deck_half_width_m = 1.50\nmast_rotation_max_deg = 30.0")
    )
    assert str(told).endswith(
        "rig.mast_rotation_max_deg = 30.0 deg: no sail takes its nose from the turning mast; give that sail "
        "hinge_at_percent, or leave this key out"
    )
