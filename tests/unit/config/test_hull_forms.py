"""Hulls from tables and sections, what goes with them, and the sea, crew and fins that they allow."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest

from vpp.boat import FormedHull, Hull, Range
from vpp.config import Problem, build, load

HERE = Path(__file__).parent
KEELBOAT, FOILER = HERE / "boat.toml", HERE / "foiling_boat.toml"

Edit = Callable[..., Path]
ProblemsOf = Callable[..., list[Problem]]

# The form of the test keelboat's sections: exponents for which the family's volume is near 5.40 m3.
LENGTH, BEAM, DRAUGHT, N, M = 8.6, 2.7, 0.645, 1.27, 1.815

WALLS = (
    'stability_model = "wall_sided"\nbuoyancy_centre_z_m = -0.26\nmetacentric_radius_m = 1.23\n'
    "wall_sided_limit_deg = 35.0"
)
SERIES = (
    ('model = "systematic_series"', 'model = "table"\nresistance_file = "hull.csv"'),
    ("buoyancy_centre_percent = -3.5\nwetted_area_m2 = 18.4\n", ""),
)


def said(problem: Problem) -> str:
    """Without the file and the line."""
    return str(problem).split(": ", 1)[1]


def rows(heading: str, *values: tuple[float, ...]) -> str:
    return "\n".join([heading, *(",".join(f"{value:.6g}" for value in row) for row in values)]) + "\n"


def arms(last_deg: int = 60) -> str:
    """Arms of an invented hull whose metacentre is 1.0 m above its mass centre."""
    return rows(
        "heel_deg,righting_arm_m", *((deg, math.sin(math.radians(deg))) for deg in range(0, last_deg + 1, 10))
    )


def sections(*, beam: float = BEAM) -> str:
    """The family's shape at 41 stations, with vertical sides to 1 m."""
    points = []
    for step in range(41):
        x = LENGTH * (step / 40.0 - 0.5)
        outline = 0.5 * beam * (1.0 - abs(2.0 * x / LENGTH) ** N)
        points += [
            (x, outline * (1.0 - (1.0 - h / 20.0) ** M), DRAUGHT * (h / 20.0 - 1.0)) for h in range(21)
        ]
        points.append((x, outline, 1.0))
    return rows("x_m,half_breadth_m,height_m", *points)


# what stands in the keelboat's file, what is written in its place, and what is said
ONE_MISTAKE = {
    "series without its prismatic coefficient": (
        "prismatic_coefficient = 0.56\n",
        "",
        "hull.prismatic_coefficient: missing: canoe volume over water line length times greatest section "
        'area; needed with model = "systematic_series"; allowed: 0.4 to 0.8',
    ),
    "series without its growth with heel": (
        "heel_resistance_20deg_percent = 5.0\n",
        "",
        "hull.heel_resistance_20deg_percent: missing: growth of residuary resistance from upright to 20 deg "
        'of heel; needed with model = "systematic_series"; allowed: 0 to 50 %',
    ),
    "form drag twice": (
        "form_factor = 0.0",
        "form_factor = 0.1",
        'hull.form_factor = 0.1: with model = "systematic_series" the resistance contains the form drag; '
        "allowed: 0",
    ),
    "no model of the side force": (
        'side_force_model = "effective_draught"\n',
        "",
        "hull.side_force_model: missing: how the induced drag of the side force is found: by the effective "
        "draught of hull and keel, after tests of yachts, or by the water surface that every fin is mirrored "
        'in; needed with model = "systematic_series" or "table"; '
        'allowed: "effective_draught" or "surface_image"',
    ),
    "keel more pointed than the tests": (
        "tip_chord_m = 1.00",
        "tip_chord_m = 0.35",
        'hull.side_force_model = "effective_draught": tip over root chord of the keel is 0.25, which the '
        'tests of effective draught do not cover; allowed: 0.3 to 1; or side_force_model = "surface_image"',
    ),
    "a key of another model of stability": (
        WALLS,
        WALLS + "\ngz_mass_centre_z_m = 0.1",
        'hull.gz_mass_centre_z_m = 0.1 m: not used with stability_model = "wall_sided"',
    ),
    "two fins below a hull that floats": (
        "root_z_m = -0.60",
        "root_z_m = -0.60\noffset_y_m = 0.5",
        "fin.keel.offset_y_m = 0.5 m: a fin off the centreline needs a hull that may heave; allowed: 0 m",
    ),
    "a tab without a chord": (
        "root_z_m = -0.60",
        "root_z_m = -0.60\ntab_max_deg = 8.0",
        "fin.keel.tab_chord_percent: the tab that turns has no chord; allowed: above 0 %",
    ),
    "a tab on the rudder": (
        "root_z_m = -0.25",
        "root_z_m = -0.25\ntab_chord_percent = 20.0",
        "fin.rudder.tab_chord_percent = 20.0 %: a rudder turns as a whole; allowed: 0 %",
    ),
    "a tab's bounds in the wrong order": (
        "root_z_m = -0.60",
        "root_z_m = -0.60\ntab_chord_percent = 20.0\ntab_min_deg = 5.0\ntab_max_deg = 2.0",
        "fin.keel.tab_max_deg = 2.0 deg: must not be less than tab_min_deg = 5; allowed: from 5",
    ),
    "a crew that moves on a hull that does not pitch": (
        "[crew]\n",
        "[crew]\nx_max_m = 1.0\n",
        'crew.x_max_m = 1.0 m: not used with hull.model = "systematic_series"',
    ),
    "a flat sea with a fetch": (
        "[hull]\n",
        '[sea]\nmodel = "flat"\nfetch_km = 5.0\n\n[hull]\n',
        'sea.fetch_km = 5.0 km: not used with model = "flat"',
    ),
    "waves without a period": (
        "[hull]\n",
        '[sea]\nmodel = "given"\nsignificant_height_m = 0.5\n\n[hull]\n',
        'sea.peak_period_s: missing: period of the most energetic waves; needed with model = "given"; '
        "allowed: 1 to 20 s",
    ),
    "a wind sea without a fetch": (
        "[hull]\n",
        '[sea]\nmodel = "wind_sea"\n\n[hull]\n',
        "sea.fetch_km: missing: open water to windward over which the wind has blown for long; "
        'needed with model = "wind_sea"; allowed: 0.1 to 2000 km',
    ),
    "a factor far from 1": (
        "[hull]\n",
        "[calibration]\nwindage_scale = 1.6\n\n[hull]\n",
        "calibration.windage_scale = 1.6: is too large; allowed: 0.7 to 1.4",
    ),
    "a mountain lake too high": (
        "wind_exponent = 0.11",
        "wind_exponent = 0.11\naltitude_m = 6000.0",
        "environment.altitude_m = 6000.0 m: is too large; allowed: -450 to 5000 m",
    ),
}


@pytest.mark.parametrize(("there", "written", "expected"), ONE_MISTAKE.values(), ids=ONE_MISTAKE.keys())
def test_a_mistake_is_said_in_one_line(
    there: str, written: str, expected: str, problems_of: ProblemsOf, boat_text: str
) -> None:
    options = boat_text[boat_text.index("[[option]]") :]
    assert [said(problem) for problem in problems_of((there, written), (options, ""))] == [expected]


# --- the side force -----------------------------------------------------------------------------------------


def test_a_boat_that_the_tests_do_not_cover_may_mirror_its_fins_in_the_surface(
    edited: Edit, boat_text: str
) -> None:
    options = boat_text[boat_text.index("[[option]]") :]
    path = edited(
        ("tip_chord_m = 1.00", "tip_chord_m = 0.35"),
        ('"effective_draught"', '"surface_image"'),
        (options, ""),
    )
    hull = load(path).boat("base").hull
    assert isinstance(hull, Hull)
    assert hull.side_force_model == "surface_image"


def test_a_trim_tab_belongs_to_its_fin(edited: Edit) -> None:
    tab = "root_z_m = -0.60\ntab_chord_percent = 20.0\ntab_min_deg = -2.0\ntab_max_deg = 8.0"
    boat = load(edited(("root_z_m = -0.60", tab))).boat("base")
    keel = boat.fins[0]
    assert boat.has_tab
    assert keel.tab_chord_share == pytest.approx(0.2)
    assert keel.tab == Range(lower=math.radians(-2.0), upper=math.radians(8.0))


# --- stability ----------------------------------------------------------------------------------------------


def with_arms(edited: Edit, folder: Path, content: str | None, mass_centre_z_m: float = 0.1) -> Path:
    if content is not None:
        (folder / "arms.csv").write_text(content, encoding="utf-8")
    given = f'stability_model = "gz_table"\ngz_file = "arms.csv"\ngz_mass_centre_z_m = {mass_centre_z_m}'
    return edited((WALLS, given))


def test_righting_arms_hold_about_the_mass_centre_of_their_file(edited: Edit, tmp_path: Path) -> None:
    """A metacentre 1.0 m above a mass centre at 0.1 m is 1.1 m above the water plane; from there it counts to
    the boat's own mass centre.
    """
    boats = load(with_arms(edited, tmp_path, arms()))
    rows_ = {row.key: row.value for row in boats.rows("base")}
    hull = boats.boat("base").hull
    assert isinstance(hull, Hull)
    assert hull.heel_limit == pytest.approx(math.radians(60.0))
    sinkage = DRAUGHT - hull.canoe_draught
    centre = build.mass_centre_height(boats.boat("base"))
    assert rows_["afloat.metacentric_height_m"] == pytest.approx(1.1 + sinkage - centre, abs=2e-3)


def test_righting_arms_must_reach_to_the_greatest_heel(
    problems_of: ProblemsOf, tmp_path: Path, boat_text: str
) -> None:
    (tmp_path / "arms.csv").write_text(arms(20), encoding="utf-8")
    given = 'stability_model = "gz_table"\ngz_file = "arms.csv"\ngz_mass_centre_z_m = 0.1'
    problems = problems_of((WALLS, given))
    assert {problem.file for problem in problems} == {str(tmp_path / "arms.csv")}
    (tmp_path / "arms.csv").write_text(arms(60).rsplit("\n", 4)[0] + "\n", encoding="utf-8")
    options = boat_text[boat_text.index("[[option]]") :]
    [problem] = problems_of((WALLS, given), ("heel_deg = 30.0", "heel_deg = 35.0"), (options, ""))
    assert (
        said(problem) == "margins.heel_deg = 35.0 deg: the righting arms end at 30 deg; allowed: up to 30 deg"
    )


def test_a_missing_file_is_told_at_the_key_that_names_it(problems_of: ProblemsOf) -> None:
    given = 'stability_model = "gz_table"\ngz_file = "arms.csv"\ngz_mass_centre_z_m = 0.1'
    assert {problem.key for problem in problems_of((WALLS, given))} == {"hull.gz_file"}


def test_levers_of_sections_are_those_of_their_shape(edited: Edit, tmp_path: Path) -> None:
    """Metacentre of the canoe body in closed form: (m + 1)/(2 (m + 2)) of the draught below the water line,
    up by L B^3/2 n^3/((n + 1)(2n + 1)(3n + 1)) over the volume; fins at half their span.
    """
    (tmp_path / "lines.csv").write_text(sections(), encoding="utf-8")
    given = 'stability_model = "sections"\nstability_section_file = "lines.csv"'
    boats = load(edited((WALLS, given)))
    boat = boats.boat("base")
    volume = LENGTH * BEAM * DRAUGHT * N / (N + 1.0) * M / (M + 1.0)
    second = 0.5 * LENGTH * BEAM**3 * N**3 / ((N + 1.0) * (2.0 * N + 1.0) * (3.0 * N + 1.0))
    metacentre = -DRAUGHT * (M + 1.0) / (2.0 * (M + 2.0)) + second / volume
    fins = [
        (
            0.685
            * fin.thickness_ratio
            * fin.span
            * (fin.root_chord**2 + fin.root_chord * fin.tip_chord + fin.tip_chord**2)
            / 3.0,
            fin.root_z - 0.5 * fin.span,
        )
        for fin in boat.fins
    ]
    whole = (volume * metacentre + sum(v * z for v, z in fins)) / (volume + sum(v for v, _ in fins))
    rows_ = {row.key: row.value for row in boats.rows("base")}
    found = rows_["afloat.metacentric_height_m"]
    assert found == pytest.approx(whole - build.mass_centre_height(boat), rel=0.01)


def test_sections_for_stability_are_those_of_the_hull(
    problems_of: ProblemsOf, tmp_path: Path, boat_text: str
) -> None:
    (tmp_path / "lines.csv").write_text(sections(beam=1.0), encoding="utf-8")
    options = boat_text[boat_text.index("[[option]]") :]
    given = 'stability_model = "sections"\nstability_section_file = "lines.csv"'
    [problem] = problems_of((WALLS, given), (options, ""))
    assert said(problem) == (
        "hull.waterline_beam_m = 2.7 m: the sections in lines.csv have 1 m; allowed: 1 m"
    )


# --- a table of resistance ----------------------------------------------------------------------------------


def resistance(heels: tuple[float, ...] = (), masses: tuple[float, ...] = ()) -> str:
    """An invented resistance, by speed squared."""
    heading = ["speed_kn", *(["displacement_kg"] if masses else []), *(["heel_deg"] if heels else [])]
    values = [
        (speed, *([mass] if masses else []), *([heel] if heels else []), 12.0 * speed**2)
        for speed in (0.0, 2.0, 4.0, 6.0, 8.0, 10.0)
        for mass in masses or (0.0,)
        for heel in heels or (0.0,)
    ]
    return rows(",".join([*heading, "resistance_n"]), *values)


def test_a_hull_may_have_its_resistance_from_a_table(edited: Edit, tmp_path: Path, boat_text: str) -> None:
    (tmp_path / "hull.csv").write_text(resistance((0.0, 15.0, 30.0)), encoding="utf-8")
    options = boat_text[boat_text.index("[[option]]") :]
    path = edited(*SERIES, ("heel_resistance_20deg_percent = 5.0\n", ""), (options, ""))
    first = load(path)
    hull = first.boat("base").hull
    assert isinstance(hull, Hull)
    assert hull.resistance is not None
    assert hull.resistance.speed[-1] == pytest.approx(10.0 * 1852.0 / 3600.0)
    assert hull.resistance.heel == pytest.approx(tuple(map(math.radians, (0.0, 15.0, 30.0))))
    (tmp_path / "hull.csv").write_text(resistance((0.0, 15.0, 31.0)), encoding="utf-8")
    assert load(path).digest != first.digest


def test_a_table_of_resistance_must_reach_to_the_greatest_heel(
    problems_of: ProblemsOf, tmp_path: Path, boat_text: str
) -> None:
    (tmp_path / "hull.csv").write_text(resistance((0.0, 10.0, 20.0)), encoding="utf-8")
    options = boat_text[boat_text.index("[[option]]") :]
    [problem] = problems_of(*SERIES, ("heel_resistance_20deg_percent = 5.0\n", ""), (options, ""))
    assert said(problem).startswith("margins.heel_deg = ")
    assert problem.wrong == "the table of resistance ends at 20 deg"


def test_resistance_does_not_grow_twice_with_heel(
    problems_of: ProblemsOf, tmp_path: Path, boat_text: str
) -> None:
    (tmp_path / "hull.csv").write_text(resistance((0.0, 15.0, 30.0)), encoding="utf-8")
    options = boat_text[boat_text.index("[[option]]") :]
    [problem] = problems_of(*SERIES, (options, ""))
    assert said(problem) == (
        "hull.heel_resistance_20deg_percent = 5.0 %: hull.csv has the resistance at heel already; "
        "allowed: 0 %, or leave it out"
    )


def test_the_boat_must_weigh_what_the_table_has_rows_for(
    problems_of: ProblemsOf, tmp_path: Path, boat_text: str
) -> None:
    (tmp_path / "hull.csv").write_text(resistance((), (4000.0, 4500.0, 5000.0)), encoding="utf-8")
    options = boat_text[boat_text.index("[[option]]") :]
    [problem] = problems_of(*SERIES, (options, ""))
    assert problem.key == "hull.resistance_file"
    assert problem.wrong.endswith("and hull.csv has no such row")
    assert problem.allowed == "displacement_kg from 4000 to 5000"


# --- a hull by its shape ------------------------------------------------------------------------------------


def shaped(path: Path, *, hull: str = "", keel: str = "", crew: str = "") -> Path:
    """The test keelboat on a hull given by its shape, without options; more lines for hull, keel and crew."""
    text = KEELBOAT.read_text(encoding="utf-8")
    text = text[: text.index("[[option]]")]
    start, end = text.index("[hull]"), text.index("[[fin]]")
    lines = f'[hull]\nmodel = "thin_ship"\nwaterline_length_m = {LENGTH}\nwaterline_beam_m = {BEAM}\n'
    shape = hull or f"waterline_exponent = 2.2\nsection_exponent = {M}\n"
    draught = DRAUGHT if hull else 0.54
    text = f"{text[:start]}{lines}canoe_draught_m = {draught}\n{shape}\n{text[end:]}"
    text = text.replace("root_z_m = -0.60", f"root_z_m = -0.60\n{keel}", 1)
    path.write_text(text.replace("[crew]\n", f"[crew]\n{crew}", 1), encoding="utf-8")
    return path


def test_a_slender_hull_may_come_from_sections(tmp_path: Path) -> None:
    (tmp_path / "lines.csv").write_text(sections(), encoding="utf-8")
    hull = load(shaped(tmp_path / "boat.toml", hull='section_file = "lines.csv"\n')).boat("base").hull
    assert isinstance(hull, FormedHull)
    assert hull.sections is not None
    exact = LENGTH * BEAM * DRAUGHT * N / (N + 1.0) * M / (M + 1.0)
    assert build.drawn_form(hull).volume == pytest.approx(exact, rel=5e-3)


def problems_in(path: Path) -> list[Problem]:
    from vpp.config import BoatFileError

    with pytest.raises(BoatFileError) as caught:
        load(path)
    return list(caught.value.problems)


def test_sections_must_be_those_of_the_table(tmp_path: Path) -> None:
    (tmp_path / "lines.csv").write_text(sections(beam=2.5), encoding="utf-8")
    [problem] = problems_in(shaped(tmp_path / "boat.toml", hull='section_file = "lines.csv"\n'))
    assert said(problem) == (
        "hull.waterline_beam_m = 2.7 m: the sections in lines.csv have 2.5 m; allowed: 2.5 m"
    )


def test_a_shape_is_given_once(tmp_path: Path) -> None:
    (tmp_path / "lines.csv").write_text(sections(), encoding="utf-8")
    both = 'section_file = "lines.csv"\nwaterline_exponent = 2.0\n'
    [problem] = problems_in(shaped(tmp_path / "boat.toml", hull=both))
    assert said(problem) == (
        "hull.waterline_exponent = 2.0: stands beside section_file; give one or the other"
    )


def test_two_hulls_stand_clear_of_each_other(tmp_path: Path) -> None:
    text = FOILER.read_text(encoding="utf-8").replace("form_factor = 0.05", "hull_spacing_m = 2.0")
    path = tmp_path / "boat.toml"
    path.write_text(text[: text.index("[[option]]")], encoding="utf-8")
    assert "hull.hull_spacing_m = 2.0 m: the two hulls overlap: each is 2.2 m wide; allowed: above 2.2 m" in {
        said(problem) for problem in problems_in(path)
    }


def test_a_second_hull_doubles_the_first_and_sets_the_metacentre_high() -> None:
    """Two thin hulls s apart: second moment of the water plane 2 I + 2 A (s/2)^2, by the parallel axis."""
    one = FormedHull(
        model="thin_ship",
        waterline_length=8.0,
        waterline_beam=0.5,
        canoe_draught=0.3,
        waterline_exponent=2.0,
        section_exponent=2.0,
        centre_x=0.0,
        form_factor=0.0,
    )
    two = FormedHull(**{**vars(one), "hull_spacing": 4.0})
    single, double = build.drawn_form(one), build.drawn_form(two)
    assert double.volume == pytest.approx(2.0 * single.volume)
    second = 2.0 * single.metacentric_radius * single.volume + 2.0 * single.waterplane_area * 2.0**2
    assert double.metacentric_radius * double.volume == pytest.approx(second)


def test_a_fin_off_the_centreline_is_two(tmp_path: Path) -> None:
    half = shaped(tmp_path / "boat.toml", keel="offset_y_m = 0.8")
    boat = load(half).boat("base")
    assert boat.fins[0].sides == (("keel leeward", 0.8), ("keel windward", -0.8))
    single = load(shaped(tmp_path / "one.toml")).boat("base")
    keel = single.fins[0]
    chords = keel.root_chord**2 + keel.root_chord * keel.tip_chord + keel.tip_chord**2
    second = 0.685 * keel.thickness_ratio * keel.span * chords / 3.0
    assert build.fin_volume(boat) - build.fin_volume(single) == pytest.approx(second)


def test_a_crew_moves_fore_and_aft_on_a_hull_that_pitches(tmp_path: Path) -> None:
    path = tmp_path / "boat.toml"
    place = load(shaped(path)).boat("base").crew
    assert place.along == Range(lower=place.x, upper=place.x)
    moving = load(shaped(path, crew="x_max_m = 1.5\n")).boat("base").crew
    assert moving.along == Range(lower=place.x, upper=1.5)
    [problem] = problems_in(shaped(path, crew="x_max_m = -8.0\n"))
    assert (problem.key, problem.wrong) == ("crew.x_max_m", f"is less than x_m = {place.x:g}")


# --- water, air, and what is known --------------------------------------------------------------------------


def test_air_is_thin_on_a_mountain_lake(edited: Edit) -> None:
    """ISO 2533: 79501 Pa at a geometric height of 2000 m, of 101325 Pa at the sea (from memory)."""
    low = load(edited()).boat("base").environment
    high = load(edited(("wind_exponent = 0.11", "wind_exponent = 0.11\naltitude_m = 2000.0"))).boat("base")
    assert high.environment.air_density / low.air_density == pytest.approx(79501.4 / 101325.0, rel=1e-5)
    assert high.environment.air_pressure == pytest.approx(79501.4, rel=1e-5)


def test_roughness_is_given_in_millimetres(edited: Edit) -> None:
    path = edited(("form_factor = 0.0", "form_factor = 0.0\nroughness_mm = 0.15"))
    assert load(path).boat("base").hull.roughness == pytest.approx(1.5e-4)


def test_the_sea_goes_with_every_option(edited: Edit) -> None:
    waves = '[sea]\nmodel = "wind_sea"\nfetch_km = 20.0\npitch_gyradius_percent = 24.0\n\n[hull]\n'
    boats = load(edited(("[hull]\n", waves)))
    for boat in boats.boats:
        assert (boat.sea.model, boat.sea.fetch, boat.sea.significant_height) == ("wind_sea", 20e3, 0.0)
        assert boat.pitch_gyradius_share == pytest.approx(0.24)
    assert load(edited()).boat("base").sea.model == "flat"


def test_factors_and_known_points_are_read(edited: Edit) -> None:
    point = (
        '\n[[known_point]]\nname = "beat"\ntws_kn = 12.0\ntwa_deg = 42.0\nboat_speed_kn = 6.1\n'
        "\n[calibration]\nhull_resistance_scale = 1.06\n"
    )
    boat = load(edited(("[hull]\n", f"{point}\n[hull]\n"))).boat("base")
    assert boat.calibration.hull_resistance == 1.06
    assert boat.calibration.text == "hull resistance x 1.060"
    assert load(edited()).boat("base").calibration.text == ""
