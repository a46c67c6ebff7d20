"""The demo catamaran sails: one hull comes out of the water, and each change acts the way practice says.

Common practice, no source, unless a check says otherwise.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.support.keelboat import coarse, conditions
from vpp import config, equilibrium, hulls
from vpp.boat import Boat, FormedHull
from vpp.config import build
from vpp.config.boat_file import BoatFile
from vpp.config.errors import BoatFileError
from vpp.physics import hull_form
from vpp.physics.twin_hull import TwinWaveTable, twin_wave_resistance
from vpp.results.frames import numbers
from vpp.solved import Solved
from vpp.solver.status import Status

FILE = Path(__file__).parents[2] / "configs" / "catamaran.toml"
WATER_DENSITY, GRAVITY = 1025.0, 9.80665
# Upwind to a reach in a breeze, then a light-air reach, where weight only costs.
BASE, HEAVIER, WIDER = 0, 1, 2
ASKED = conditions(
    tws_kn=[12.0, 12.0, 8.0, 16.0, 16.0, 16.0, 16.0, 6.0, 6.0],
    twa_deg=[45.0, 55.0, 60.0, 60.0, 90.0, 60.0, 60.0, 95.0, 95.0],
    option=[BASE, BASE, BASE, BASE, BASE, HEAVIER, WIDER, BASE, HEAVIER],
)
UPWIND, FOOTING, LIGHT, BREEZE, REACH, HEAVY_BREEZE, WIDE_BREEZE, LULL, HEAVY_LULL = range(9)
FLYING = [UPWIND, FOOTING, LIGHT, BREEZE, REACH, HEAVY_BREEZE, WIDE_BREEZE]


@pytest.fixture(scope="module")
def boats() -> BoatFile:
    return config.load(FILE)


@pytest.fixture(scope="module")
def solved(boats: BoatFile) -> Solved:
    return equilibrium.solve(
        [coarse(boats.boat(name), 6) for name in ("base", "heavier_crew", "wider")], ASKED
    )


def formed(boat: Boat) -> FormedHull:
    assert isinstance(boat.hull, FormedHull)
    return boat.hull


def volumes(boat: Boat, *, heel: Any, pitch: Any, ride_height: Any) -> list[Any]:
    """What the leeward and the windward hull displace [m^3]."""
    arrays = hulls.hull_arrays(boat)
    assert isinstance(arrays, hulls.FormedHullArrays)
    found = []
    for columns in arrays.columns:
        spread = hull_form.Columns(
            **{name: np.asarray(value)[:, None] for name, value in vars(columns).items()}
        )
        afloat = hull_form.buoyancy(
            columns=spread,
            ride_height=np.atleast_1d(ride_height),
            heel=np.atleast_1d(heel),
            pitch=np.atleast_1d(pitch),
            water_density=WATER_DENSITY,
            gravity=GRAVITY,
        )
        found.append(afloat.volume)
    return found


def solved_volumes(solved: Solved, place: int) -> tuple[float, float]:
    state = {name: solved.quantities[name][place] for name in ("heel", "pitch", "ride_height")}
    leeward, windward = volumes(solved.boat_at(place), **state)
    return float(leeward[0]), float(windward[0])


def test_the_catamaran_floats_on_both_hulls_at_its_drawn_weight(boats: BoatFile) -> None:
    boat = boats.boat("base")
    drawn = build.drawn_form(formed(boat)).volume + build.fin_volume(boat)
    assert boat.total_mass == pytest.approx(boat.environment.water_density * drawn, rel=0.01)
    leeward, windward = volumes(boat, heel=0.0, pitch=0.0, ride_height=0.0)
    assert leeward == pytest.approx(windward, rel=1e-12)


def test_every_condition_converges(solved: Solved) -> None:
    assert (solved.status == Status.CONVERGED).all(), solved.reason


def test_the_windward_hull_is_out_of_the_water_in_a_breeze(solved: Solved) -> None:
    for place in FLYING:
        leeward, windward = solved_volumes(solved, place)
        assert windward < 0.01 * leeward
        # the other carries all but the little that boards and rudders lift
        carried = WATER_DENSITY * leeward / solved.boat_at(place).total_mass
        assert 0.90 < carried < 1.05


def test_the_righting_moment_is_that_of_all_weight_about_the_leeward_hull(solved: Solved) -> None:
    """Lever by hand: half the spacing, the crew's arm, and what the height of the masses takes away."""
    for place in (UPWIND, BREEZE, WIDE_BREEZE):
        boat = solved.boat_at(place)
        heel, arm = solved.quantities["heel"][place], solved.quantities["crew_arm"][place]
        others = boat.all_masses()
        side = 0.5 * formed(boat).hull_spacing
        about = sum(item.mass * (side * np.cos(heel) - item.z * np.sin(heel)) for item in others)
        about += boat.crew.mass * ((side + arm) * np.cos(heel) - boat.crew.z * np.sin(heel))
        # the boards' heeled lift presses on the hull and the hull's bottom is not a point
        moment = solved.quantities["righting_moment"][place]
        assert moment == pytest.approx(GRAVITY * about, rel=0.06)


def test_more_righting_moment_is_faster_in_a_breeze_and_more_weight_slower_without_need(
    solved: Solved,
) -> None:
    speed, moment = solved.quantities["boat_speed"], solved.quantities["righting_moment"]
    for place in (HEAVY_BREEZE, WIDE_BREEZE):
        assert moment[place] > 1.03 * moment[BREEZE]
        assert speed[place] > speed[BREEZE]
    assert speed[HEAVY_LULL] < speed[LULL]


def test_ten_degrees_lower_is_faster_and_so_is_more_wind(solved: Solved) -> None:
    speed = solved.quantities["boat_speed"]
    assert speed[FOOTING] > speed[UPWIND]
    assert speed[LIGHT] < speed[BREEZE] < speed[REACH]


def test_the_crew_is_on_the_trapeze_and_farther_aft_the_harder_the_sails_press(solved: Solved) -> None:
    arm, along = solved.quantities["crew_arm"], solved.quantities["crew_x"]
    assert arm[FLYING] == pytest.approx(solved.boats[BASE].crew.arm.upper, abs=0.16)
    assert along[LIGHT] > along[BREEZE] > along[REACH]


def test_the_boards_hold_the_boat_at_a_few_degrees_of_leeway(solved: Solved) -> None:
    leeway, rudder = numbers(solved, "leeway_deg"), numbers(solved, "rudder_deg")
    assert ((leeway[[UPWIND, FOOTING]] > 1.5) & (leeway[[UPWIND, FOOTING]] < 5.0)).all()
    assert (np.abs(rudder) < 4.0).all()


def test_the_hulls_waves_cost_more_together_near_hull_speed_and_nothing_once_one_flies(
    boats: BoatFile,
) -> None:
    """Thin-ship theory: transverse waves of hulls abreast add up near Froude number 0.5, where their length
    is that of the hull and more; a hull alone has its own resistance.
    """
    form = formed(boats.boat("base"))
    arrays = hulls.hull_arrays(boats.boat("base"))
    assert isinstance(arrays, hulls.FormedHullArrays)
    assert isinstance(arrays.waves, TwinWaveTable)
    family = {
        "waterline_length": form.waterline_length,
        "waterline_beam": form.waterline_beam,
        "canoe_draught": form.canoe_draught,
        "waterline_exponent": form.waterline_exponent,
        "section_exponent": form.section_exponent,
    }
    drawn = np.array([hull_form.drawn_volume(**family)])
    common: dict[str, Any] = {
        "froude_number": np.array([0.5]),
        "drawn_volume": drawn,
        "waterline_length": form.waterline_length,
        "water_density": WATER_DENSITY,
        "gravity": GRAVITY,
    }
    alone = hull_form.wave_table(**family)
    far_apart = 2.0 * hull_form.wave_resistance(volume=drawn, table=alone, **common)
    one = hull_form.wave_resistance(volume=2.0 * drawn, table=alone, **common)
    abreast = twin_wave_resistance(volume_leeward=drawn, volume_windward=drawn, table=arrays.waves, **common)
    flown = twin_wave_resistance(
        volume_leeward=2.0 * drawn, volume_windward=0.0 * drawn, table=arrays.waves, **common
    )
    assert abreast > 1.05 * far_apart
    assert flown == pytest.approx(one, rel=1e-6)
    # all the weight on one hull makes more waves than half of it on each of two
    assert flown > abreast


def test_the_reach_of_a_trapeze_counts_from_the_outer_side_of_the_windward_hull(tmp_path: Path) -> None:
    """Half the spacing and half a hull's beam, 1.29 m here, however narrow the deck under the sails is."""
    text = FILE.read_text(encoding="utf-8").replace("deck_half_width_m = 1.29", "deck_half_width_m = 0.60")
    table = FILE.with_name("catamaran_gennaker.csv")
    (tmp_path / table.name).write_bytes(table.read_bytes())
    narrow = tmp_path / FILE.name
    narrow.write_text(text, encoding="utf-8")
    assert config.load(narrow).boats
    narrow.write_text(text.replace("arm_max_m = 2.2 ", "arm_max_m = 2.4 "), encoding="utf-8")
    with pytest.raises(BoatFileError, match=r"crew\.arm_max_m.*half beam is 1\.29 m"):
        config.load(narrow)
