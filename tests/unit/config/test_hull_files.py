"""Resistance, righting arms and sections of a hull from CSV files: what is read, and what is refused."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from vpp.config.columns import ColumnFile
from vpp.config.hull_files import KNOT, read_resistance, read_righting_arms, read_sections
from vpp.physics.hull_tables import resistance_table, table_resistance
from vpp.physics.righting_curves import form_lever, gz_curve
from vpp.physics.section_shape import SectionShape

Reader = Callable[[Path, str], ColumnFile]

# invented
UPRIGHT = "speed_kn,resistance_n\n0,0\n2,40\n4,170\n6,480\n\n8,1500\n"
ALL = "speed_kn,displacement_kg,heel_deg,resistance_n"
ARMS = "heel_deg,righting_arm_m\n0,0\n10,0.2\n20,0.38\n30,0.52\n45,0.64\n60,0.66\n"
# a box with a pointed bow
SECTIONS = """x_m,half_breadth_m,height_m
-3,0.8,-0.3
-3,1.0,0.8
0,0.0,-0.4
0,1.0,-0.2
0,1.2,0.9
3,0,-0.2
3,0,1.0
"""


def written(folder: Path, content: str) -> Path:
    (folder / "hull.csv").write_text(content, encoding="utf-8")
    return folder


def told(read: Reader, folder: Path, content: str) -> list[str]:
    file = read(written(folder, content), "hull.csv")
    assert not file.unreadable
    return [str(problem) for problem in file.problems]


def law(speed_kn: float, displacement_kg: float, heel_deg: float) -> float:
    """An invented resistance [N]."""
    return 10.0 * speed_kn**2.2 * (displacement_kg / 1000.0) ** 0.7 * (1.0 + (heel_deg / 60.0) ** 2)


def full_grid() -> list[tuple[float, float, float, float]]:
    points = product((0.0, 1.0, 2.0, 4.0, 5.5), (900.0, 1200.0), (0.0, 10.0, 25.0))
    return [(*point, law(*point)) for point in points]


def as_csv(rows: list[tuple[float, float, float, float]]) -> str:
    return "\n".join([ALL, *(",".join(repr(value) for value in row) for row in rows)]) + "\n"


# --- files in order -----------------------------------------------------------------------------------------


def test_an_upright_hull(tmp_path: Path) -> None:
    file = read_resistance(written(tmp_path, UPRIGHT), "hull.csv")
    assert file.problems == ()
    assert file.speed_kn == (0.0, 2.0, 4.0, 6.0, 8.0)
    assert file.resistance_n == file.resistance == (0.0, 40.0, 170.0, 480.0, 1500.0)
    assert file.lines == (2, 3, 4, 5, 7)
    assert (file.displacement, file.heel, file.displacement_range) == ((), (), None)
    assert file.speed_range == (0.0, pytest.approx(8.0 * 0.514444, rel=1e-6))
    assert file.heel_range == (0.0, 0.0)


@pytest.mark.parametrize("turned", [False, True], ids=["in_order", "in_any_order"])
def test_a_full_grid_in_any_order(turned: bool, tmp_path: Path) -> None:
    rows = full_grid()
    if turned:
        rows = [rows[i] for i in np.random.default_rng(2).permutation(len(rows))]
    file = read_resistance(written(tmp_path, as_csv(rows)), "hull.csv")
    assert file.problems == ()
    assert file.displacement_range == (900.0, 1200.0)
    assert file.heel_range == (-math.radians(25.0), math.radians(25.0))
    table = resistance_table(
        speed=file.speed,
        displacement=file.displacement,
        heel=file.heel,
        resistance=file.resistance,
        boat_displacement=1000.0,
    )
    for speed, heel in ((2.0, 0.0), (5.5, 10.0), (1.0, 25.0)):
        found = table_resistance(speed=speed * KNOT, heel=math.radians(heel), table=table)
        assert float(found) == pytest.approx(law(speed, 1000.0, heel), rel=1e-12)


@pytest.mark.parametrize("left_out", [1, 2], ids=["no_displacement", "no_heel"])
def test_a_grid_with_one_of_the_columns(left_out: int, tmp_path: Path) -> None:
    rows = [row for row in full_grid() if row[1] == 900.0 or left_out == 2]
    rows = [row for row in rows if row[2] == 0.0 or left_out == 1]
    names = ALL.split(",")
    lines = [[repr(value) for value in row] for row in rows]
    csv = "\n".join(",".join(cells[:left_out] + cells[left_out + 1 :]) for cells in [names, *lines])
    file = read_resistance(written(tmp_path, csv), "hull.csv")
    assert file.problems == ()
    assert (len(file.displacement), len(file.heel)) == ((0, 3) if left_out == 1 else (2, 0))
    assert file.resistance == tuple(row[3] for row in rows)


def test_righting_arms(tmp_path: Path) -> None:
    file = read_righting_arms(written(tmp_path, ARMS), "hull.csv")
    assert file.problems == ()
    assert file.heel_deg == (0.0, 10.0, 20.0, 30.0, 45.0, 60.0)
    assert file.heel_range == (-math.radians(60.0), math.radians(60.0))
    curve = gz_curve(heel=file.heel, righting_arm=file.righting_arm, mass_centre_z=0.0)
    assert float(form_lever(heel=math.radians(45.0), curve=curve)) == pytest.approx(0.64, rel=1e-12)


def test_sections(tmp_path: Path) -> None:
    file = read_sections(written(tmp_path, SECTIONS), "hull.csv")
    assert file.problems == ()
    assert file.shape == SectionShape(
        station_x=(-3.0, 0.0, 3.0),
        outlines=(
            ((0.8, -0.3), (1.0, 0.8)),
            ((0.0, -0.4), (1.0, -0.2), (1.2, 0.9)),
            ((0.0, -0.2), (0.0, 1.0)),
        ),
    )


@pytest.mark.parametrize("read", [read_resistance, read_righting_arms, read_sections])
def test_a_missing_file(read: Reader, tmp_path: Path) -> None:
    file = read(tmp_path, "hull.csv")
    assert file.unreadable == "there is no such file beside the boat file"
    assert file.values == {}


# --- resistance that is refused -----------------------------------------------------------------------------


def test_every_heading_is_named(tmp_path: Path) -> None:
    assert told(read_resistance, tmp_path, "speed,drag\n1,2\n") == [
        'hull.csv:1: "speed,drag": is not the heading: it lacks speed_kn, resistance_n; '
        "allowed: speed_kn,resistance_n or "
        "speed_kn,displacement_kg,resistance_n or speed_kn,heel_deg,resistance_n or "
        f"{ALL}"
    ]


def test_numbers_outside_their_range(tmp_path: Path) -> None:
    messages = told(read_resistance, tmp_path, UPRIGHT.replace("4,170", "400,-170"))
    assert [message.split(": is", 1)[0] for message in messages] == [
        "hull.csv:4: speed_kn = 400",
        "hull.csv:4: resistance_n = -170",
    ]


def test_all_that_is_wrong_with_rows_is_told_at_once(tmp_path: Path) -> None:
    csv = UPRIGHT.replace("0,0\n", "0,5\n").replace("4,170", "4,0") + "6,481\n"
    assert told(read_resistance, tmp_path, csv) == [
        "hull.csv:2: resistance_n = 5 N: at rest; allowed: 0 N",
        "hull.csv:4: resistance_n = 0 N: at 4 kn a hull has resistance; allowed: above 0 N",
        "hull.csv:8: stands in line 5 already: 6 kn; allowed: each combination once",
    ]


def test_which_combination_is_missing(tmp_path: Path) -> None:
    rows = [row for row in full_grid() if row[:3] != (2.0, 1200.0, 10.0)]
    assert told(read_resistance, tmp_path, as_csv(rows)) == [
        "hull.csv:1: there is no row for 2 kn, 1200 kg, 10 deg; allowed: each combination once"
    ]


def test_a_file_without_a_grid_is_not_told_row_by_row(tmp_path: Path) -> None:
    """500 different values in every column: 500 of 125 million combinations."""
    csv = ALL + "\n" + "".join(f"{1 + 0.1 * i},{100 + i},{0.1 * i},{9 + i}\n" for i in range(500))
    messages = told(read_resistance, tmp_path, csv)
    assert len(messages) == 6
    assert messages[-1].startswith("hull.csv:1: 124999495 more combinations have no row")


def test_too_few_values_of_a_column(tmp_path: Path) -> None:
    rows = [row for row in full_grid() if row[0] < 3.0 and row[1] < 1000.0 and row[2] > 0.0]
    assert told(read_resistance, tmp_path, as_csv(rows)) == [
        "hull.csv:1: speed_kn: the file has 2 different speeds above 0; allowed: 4 or more",
        "hull.csv:1: displacement_kg: the file has 1 different displacements; allowed: 2 or more, or no such "
        "column",
        "hull.csv:1: heel_deg: the file has 2 different heels; allowed: 3 or more, or no such column",
        "hull.csv:1: heel_deg: the heels begin at 10 deg; allowed: from 0 deg",
    ]


def test_a_file_of_a_heading_alone(tmp_path: Path) -> None:
    [message] = told(read_resistance, tmp_path, UPRIGHT.split("\n")[0])
    assert "the file has 0 different speeds above 0" in message


def test_a_curve_of_resistance_that_swings_between_rows(tmp_path: Path) -> None:
    """A step to four times as much throws the curve about on both sides of it: by how much, from SciPy."""
    rows = [(speed, 10.0 * speed**2 * (4.0 if speed > 6.5 else 1.0)) for speed in range(1, 11)]
    csv = "speed_kn,resistance_n\n" + "".join(f"{speed},{drag}\n" for speed, drag in rows)
    messages = told(read_resistance, tmp_path, csv)
    speed, drag = np.array(rows).T
    spline = CubicSpline(speed, np.log(drag / speed**2))
    share = np.exp(np.log(10.0) - spline(np.linspace(5.0, 6.0, 101)).min()) - 1.0
    assert len(messages) == 2
    assert messages[0] == (
        "hull.csv:7: resistance_n: between 5 kn and 6 kn the smooth curve through all rows leaves these two "
        f"by {100.0 * share:.0f} % of resistance over speed squared; allowed: up to 10 %; give more rows "
        "about here, or rows that change less abruptly"
    )
    assert messages[1].startswith("hull.csv:9: resistance_n: between 7 kn and 8 kn")


@pytest.mark.parametrize(("axis", "place"), [(1, "3 kn, 3000 kg, 0 deg"), (2, "3 kn, 1000 kg, 10 deg")])
def test_a_curve_that_swings_with_displacement_or_heel(axis: int, place: str, tmp_path: Path) -> None:
    speeds = (0.0, 1.0, 2.0, 3.0, 4.0)
    masses, heels = np.arange(1000.0, 7000.0, 1000.0), np.arange(0.0, 30.0, 5.0)
    rows = []
    for point in product(speeds, masses if axis == 1 else masses[:2], heels if axis == 2 else heels[:3]):
        beyond = point[1] > 3500.0 if axis == 1 else point[2] > 12.0
        rows.append((*map(float, point), point[0] ** 2 * (6.0 if beyond else 1.0)))
    messages = told(read_resistance, tmp_path, as_csv(rows))
    assert messages
    assert all("leaves these two by" in message for message in messages)
    assert any(f"and {place} the smooth curve" in message for message in messages)


# --- righting arms that are refused -------------------------------------------------------------------------

BAD_ARMS = {
    "heading": (
        "heel,arm\n0,0\n",
        ['hull.csv:1: "heel,arm": is not the heading: it lacks heel_deg, righting_arm_m; '
         'allowed: heel_deg,righting_arm_m'],
    ),
    "start and order": (
        ARMS.replace("0,0\n", "5,0.1\n", 1).replace("30,", "20,"),
        [
            "hull.csv:2: 5 deg, 0.1 m: the first row is not the upright boat without an arm; allowed: 0,0",
            "hull.csv:5: heel_deg = 20 deg: the heels do not rise; allowed: above 20 deg",
        ],
    ),
    "few": (
        "heel_deg,righting_arm_m\n0,0\n10,0.2\n20,0.3\n",
        ["hull.csv:1: the file has 3 rows of numbers; allowed: 4 or more"],
    ),
    "none": (
        "heel_deg,righting_arm_m\n",
        ["hull.csv:1: the file has 0 rows of numbers; allowed: 4 or more"],
    ),
}  # fmt: skip


@pytest.mark.parametrize(("csv", "expected"), BAD_ARMS.values(), ids=BAD_ARMS.keys())
def test_righting_arms_that_are_refused(csv: str, expected: list[str], tmp_path: Path) -> None:
    assert told(read_righting_arms, tmp_path, csv) == expected


def test_a_curve_of_righting_arms_that_swings_between_rows(tmp_path: Path) -> None:
    """By how much: the spline through the rows of both sides, from SciPy."""
    heel, arm = np.arange(0.0, 50.0, 10.0), np.array([0.0, 2.5, 2.5, 0.2, 0.2])
    spline = CubicSpline(np.concatenate((-heel[:0:-1], heel)), np.concatenate((-arm[:0:-1], arm)))
    above = spline(np.linspace(10.0, 20.0, 101)).max() - 2.5
    csv = "heel_deg,righting_arm_m\n" + "".join(f"{x},{y}\n" for x, y in zip(heel, arm, strict=True))
    messages = told(read_righting_arms, tmp_path, csv)
    assert [message.split(":")[1] for message in messages] == ["4", "6"]
    assert messages[0] == (
        "hull.csv:4: righting_arm_m: between 10 and 20 deg the smooth curve through all rows leaves these "
        f"two by {above:.3f} m; allowed: up to 0.250 m; give more rows about here, or rows that change less "
        "abruptly"
    )


# --- sections that are refused ------------------------------------------------------------------------------

_HEADING, *_ROWS = SECTIONS.split()
_DRY = (
    "hull.csv:1: height_m: no station has a breadth below the drawn water plane; heights count up from that "
    "plane; what lies below it is negative"
)
_FALLS = "points stand from the keel to the sheer; sides that fall in are not modelled"
BAD_SECTIONS = {
    "stations from the bow": (
        "\n".join((_HEADING, *_ROWS[5:], *_ROWS[2:5], *_ROWS[:2])),
        [
            f"hull.csv:{line}: x_m = {x:g} m: the stations do not rise; allowed: above {above:g} m; "
            "they stand from aft to forward, each with its rows together"
            for line, x, above in ((4, 0, 3), (7, -3, 0))
        ],
    ),
    "points": (
        SECTIONS.replace("-3,1.0,0.8", "-3,0.7,0.8").replace("0,1.2,0.9", "0,1.2,-0.3"),
        [
            "hull.csv:3: half_breadth_m = 0.7 m: falls from point to point at x_m = -3; allowed: from "
            f"0.8 m; {_FALLS}",
            "hull.csv:6: height_m = -0.3 m: falls from point to point at x_m = 0; allowed: from "
            f"-0.2 m; {_FALLS}",
            "hull.csv:6: height_m = -0.3 m: the station at 0 m ends below the drawn water plane; allowed: "
            "above 0 m; its last point is the sheer",
        ],
    ),
    "twice": (
        SECTIONS.replace("0,1.0,-0.2\n", "0,1.0,-0.2\n0,1.0,-0.2\n"),
        ["hull.csv:6: is the same point as the one before"],
    ),
    "few": (
        "x_m,half_breadth_m,height_m\n0,0,-0.3\n0,1,0.5\n2,0,0.5\n",
        [
            "hull.csv:1: the file has 2 stations; allowed: 3 or more",
            "hull.csv:4: the station at 2 m has one point; allowed: 2 or more",
        ],
    ),
    "dry": (
        SECTIONS.replace(",-0.", ",0."),
        [
            "hull.csv:5: height_m = 0.2 m: falls from point to point at x_m = 0; allowed: from "
            f"0.4 m; {_FALLS}",
            _DRY,
        ],
    ),
    "no rows": (
        "x_m,half_breadth_m,height_m\n",
        [
            "hull.csv:1: the file has 0 stations; allowed: 3 or more",
            _DRY,
        ],
    ),
}  # fmt: skip


@pytest.mark.parametrize(("csv", "expected"), BAD_SECTIONS.values(), ids=BAD_SECTIONS.keys())
def test_sections_that_are_refused(csv: str, expected: list[str], tmp_path: Path) -> None:
    assert told(read_sections, tmp_path, csv) == expected
