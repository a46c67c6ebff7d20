"""From file units to SI units, and the boat afloat at its own weight."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad

from vpp.boat import Boat, Fin
from vpp.config import build, load

BOAT = Path(__file__).with_name("boat.toml")


@pytest.fixture(scope="module")
def boat() -> Boat:
    return load(BOAT).boat("base")


def box(boat: Boat, *, length: float, beam: float, draught: float) -> Boat:
    """The same boat on a box-shaped hull without fins, of which every hydrostatic value is known exactly."""
    volume = length * beam * draught
    hull = replace(
        boat.hull,
        waterline_length=length,
        waterline_beam=beam,
        canoe_draught=draught,
        canoe_volume=volume,
        prismatic_coefficient=1.0,
        wetted_area=length * beam + 2.0 * draught * (length + beam),
        waterplane_area=length * beam,
        buoyancy_centre_z=-0.5 * draught,
        metacentric_radius=beam**2 / (12.0 * draught),
    )
    return replace(boat, hull=hull, fins=())


def test_units_become_si_and_radians(boat: Boat) -> None:
    main = boat.sails[0]
    assert boat.hull.buoyancy_centre_share == -0.035
    assert boat.hull.wall_sided_limit == pytest.approx(math.radians(35.0), rel=1e-15)
    assert main.luff_rake == pytest.approx(math.pi / 180.0, rel=1e-15)
    assert main.chord_share == (0.0, 0.25, 0.5, 0.75, 1.0)
    assert main.camber_flat == (0.04, 0.045, 0.04)
    assert (main.camber.lower, main.camber.upper) == (0.0, 1.0)
    assert main.sheet.upper == pytest.approx(math.radians(85.0), rel=1e-15)
    assert main.head_cut_from_share == 1.0
    assert main.station_count == 10
    assert main.extension_chord == 4.2
    assert boat.fins[0].thickness_ratio == 0.13
    assert boat.rig.gap_leakage == 0.3
    assert boat.environment.gravity == 9.80665


def test_head_control_of_a_sail(tmp_path: Path, boat: Boat, boat_text: str) -> None:
    plain = boat.sails[0]
    assert not plain.has_head_control
    assert (plain.head_transition_from_share, plain.head_camber.upper) == (1.0, 0.0)
    path = tmp_path / "boat.toml"
    keys = "head_zone_from_percent = 80.0\nhead_camber_trim_max_percent = 90.0\n"
    flat = ("camber_flat_percent = [4.0, 4.5, 4.0]", "camber_flat_percent = [4.0, 4.5, -6.0]")
    path.write_text(boat_text.replace(*flat).replace("sheet_min_deg = 0.0", f"{keys}sheet_min_deg = 0.0", 1))
    main = load(path).boat("base").sails[0]
    assert main.has_head_control
    assert (main.head_zone_from_share, main.head_transition_from_share) == (0.8, 0.8)
    assert (main.head_camber.lower, main.head_camber.upper) == (0.0, 0.9)
    assert main.camber_flat == (0.04, 0.045, -0.06)
    path.write_text(path.read_text().replace(keys, f"{keys}head_transition_from_percent = 55.0\n"))
    assert load(path).boat("base").sails[0].head_transition_from_share == pytest.approx(0.55, rel=1e-15)


def test_water_and_air_follow_the_temperature(boat: Boat) -> None:
    # sea water of 15 degC: ITTC 7.5-02-01-03, where EOS-80 is allowed 0.06 kg/m^3; air: ISO 2533
    assert boat.environment.water_density == pytest.approx(1026.021, abs=0.06)
    assert boat.environment.water_viscosity == pytest.approx(1.1892e-6, rel=2e-3)
    assert boat.environment.air_density == pytest.approx(1.2250, rel=1e-4)
    assert boat.environment.air_viscosity == pytest.approx(1.4607e-5, rel=1e-3)


def test_fresh_water_lets_the_boat_sink_deeper(tmp_path: Path, boat: Boat, boat_text: str) -> None:
    path = tmp_path / "boat.toml"
    path.write_text(boat_text.replace('water = "sea"', 'water = "fresh"'))
    fresh = load(path).boat("base")
    assert fresh.environment.water_density == pytest.approx(999.1026, rel=1e-4)  # ITTC 7.5-02-01-03
    assert fresh.hull.canoe_draught > boat.hull.canoe_draught


def test_fin_volume_is_the_integral_of_the_section(boat: Boat) -> None:
    # thickness form of the NACA four-digit sections: Abbott, von Doenhoff & Stivers, NACA Report 824, 1945
    # (coefficients from memory)
    def half_thickness(x: float) -> float:
        return 5.0 * (0.2969 * math.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1015 * x**4)

    section = 2.0 * quad(half_thickness, 0.0, 1.0)[0]
    assert pytest.approx(section, rel=1e-3) == build.SECTION_AREA_FACTOR

    def slice_volume(share: float, fin: Fin) -> float:
        chord = fin.root_chord + share * (fin.tip_chord - fin.root_chord)
        return section * fin.thickness_ratio * chord**2 * fin.span

    expected = sum(quad(slice_volume, 0.0, 1.0, args=(fin,))[0] for fin in boat.fins)
    assert build.fin_volume(boat) == pytest.approx(expected, rel=1e-3)


def test_every_boat_displaces_its_weight() -> None:
    for boat in load(BOAT).boats:
        buoyancy = boat.environment.water_density * (boat.hull.canoe_volume + build.fin_volume(boat))
        assert buoyancy == pytest.approx(boat.total_mass, rel=1e-12)


def test_a_box_floats_as_archimedes_says(boat: Boat) -> None:
    length, beam = 8.0, 2.5
    floating = build.afloat(box(boat, length=length, beam=beam, draught=0.27))
    hull = floating.boat.hull
    draught = boat.total_mass / boat.environment.water_density / (length * beam)
    assert hull.canoe_draught == pytest.approx(draught, rel=1e-12)
    assert floating.sinkage == pytest.approx(draught - 0.27, rel=1e-9)
    assert hull.canoe_volume == pytest.approx(length * beam * draught, rel=1e-12)
    assert hull.prismatic_coefficient == pytest.approx(1.0, rel=1e-12)
    assert hull.buoyancy_centre_z == pytest.approx(-0.5 * draught, rel=1e-12)
    assert hull.metacentric_radius == pytest.approx(beam**2 / (12.0 * draught), rel=1e-12)
    # GM = BM - (draught/2) - height of the centre of mass, all from the new water plane
    masses = floating.boat.all_masses()
    weight_height = (
        sum(m.mass * m.z for m in masses) + floating.boat.crew.mass * floating.boat.crew.z
    ) / boat.total_mass
    expected = beam**2 / (12.0 * draught) - 0.5 * draught - weight_height
    assert floating.metacentric_height == pytest.approx(expected, rel=1e-12)


def test_all_heights_fall_with_the_boat(boat: Boat) -> None:
    drawn = box(boat, length=8.0, beam=2.5, draught=0.25)
    floating = build.afloat(drawn)
    low = floating.boat
    pairs = [
        (drawn.rig.deck_height, low.rig.deck_height),
        (drawn.rig.mast_top_height, low.rig.mast_top_height),
        (drawn.rig.mast_base_height, low.rig.mast_base_height),
        (drawn.crew.z, low.crew.z),
        *((a.z, b.z) for a, b in zip(drawn.masses, low.masses, strict=True)),
        *((a.height, b.height) for a, b in zip(drawn.windage, low.windage, strict=True)),
        *((a.foot_height, b.foot_height) for a, b in zip(drawn.sails, low.sails, strict=True)),
        *((a.head_height, b.head_height) for a, b in zip(drawn.sails, low.sails, strict=True)),
    ]
    assert floating.sinkage > 0.02
    np.testing.assert_allclose([a - b for a, b in pairs], floating.sinkage, rtol=1e-9)
    sunk_fins = build.afloat(boat).boat.fins
    assert [fin.span for fin in sunk_fins] == [fin.span for fin in boat.fins]


def test_wetted_area_grows_by_the_outline_of_the_water_plane(boat: Boat) -> None:
    drawn = replace(boat, crew=replace(boat.crew, mass=boat.crew.mass + 100.0))
    floating = build.afloat(drawn)
    length, beam = drawn.hull.waterline_length, drawn.hull.waterline_beam

    def stretch(x: float) -> float:
        # outline y = B/2 (1 - (2x/L)^2)
        return math.hypot(1.0, 4.0 * beam * x / length**2)

    outline = 2.0 * quad(stretch, -0.5 * length, 0.5 * length)[0]
    growth = floating.boat.hull.wetted_area - drawn.hull.wetted_area
    assert growth == pytest.approx(floating.sinkage * outline, rel=5e-3)
    assert floating.sinkage == pytest.approx(
        100.0 / boat.environment.water_density / drawn.hull.waterplane_area, rel=1e-9
    )


def test_mass_beyond_brings_the_hull_to_the_limit(boat: Boat) -> None:
    floating = build.afloat(boat)
    for parameter, limit in (("length_displacement_ratio", 4.8), ("beam_draught_ratio", 4.0)):
        beyond = build.mass_beyond(floating.boat, parameter, limit)
        assert beyond is not None
        lighter = replace(boat, crew=replace(boat.crew, mass=boat.crew.mass - beyond))
        hull = build.afloat(lighter).boat.hull
        ratios = {
            "length_displacement_ratio": hull.waterline_length / hull.canoe_volume ** (1.0 / 3.0),
            "beam_draught_ratio": hull.waterline_beam / hull.canoe_draught,
        }
        assert ratios[parameter] == pytest.approx(limit, rel=1e-9)
    assert build.mass_beyond(floating.boat, "length_beam_ratio", 3.0) is None
