"""One boat through different models of her hull: where two of them know the same hull, they agree."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.support import keelboat
from vpp import config, equilibrium, fleets, hulls
from vpp.boat import Boat, Hull
from vpp.config import BoatFileError
from vpp.foiling import Water
from vpp.physics import hull_form, stability
from vpp.solver.status import Status
from vpp.state import State

KNOT = keelboat.KNOT
WINDS = keelboat.conditions(tws_kn=[6.0, 12.0, 12.0, 18.0], twa_deg=[45.0, 45.0, 100.0, 130.0])

Files = dict[str, str]
Edited = Callable[..., Path]


@pytest.fixture
def edited(tmp_path: Path) -> Edited:
    """Writes a demo boat with other keys of its hull and files beside it."""

    def write(
        demo: str, *, hull: dict[str, Any], without: tuple[str, ...] = (), files: Files | None = None
    ) -> Path:
        text = keelboat.FILE.with_name(demo).read_text(encoding="utf-8")
        for key in (*without, *hull):
            text = re.sub(rf"(?m)^{key} = .*\n", "", text, count=1)
        lines = "".join(f"{key} = {value!r}\n".replace("'", '"') for key, value in hull.items())
        text = text.replace("[hull]\n", f"[hull]\n{lines}", 1)
        for name, content in (files or {}).items():
            (tmp_path / name).write_text(content, encoding="utf-8")
        path = tmp_path / demo
        path.write_text(text.split("[[option]]")[0], encoding="utf-8")
        return path

    return write


def speeds(boat: Boat, conditions: Any = WINDS) -> np.ndarray:
    solved = equilibrium.solve([boat], conditions)
    assert (solved.status == Status.CONVERGED).all(), solved.reason
    return np.stack([solved.quantities[name] for name in ("boat_speed", "heel", "leeway")])


@cache
def speeds_as_filed() -> np.ndarray:
    return speeds(keelboat.base())


def bare_resistance(boat: Boat, speed: Any, heel: float) -> np.ndarray:
    """Friction and residuary resistance of the demo keelboat's hull, from its components."""
    fleet = fleets.fleet([boat])
    count = len(speed)
    arrays, _ = fleet.select(np.zeros(count, dtype=np.intp))
    zero = np.zeros(count)
    state = State(
        boat_speed=np.asarray(speed), leeway=zero, heel=zero + heel, rudder=zero, crew_arm=zero,
        crew_x=zero, trims=(),
    )  # fmt: skip
    components = hulls.hull_components(arrays.hull, arrays.water, state, None)
    return -sum(component.load.forward for component in components)


def resistance_rows(boat: Boat, *, heels: tuple[float, ...]) -> str:
    knots = np.arange(0.5, 10.01, 0.5)
    rows = ["speed_kn,heel_deg,resistance_n", *(f"0,{heel:g},0" for heel in heels)]
    for heel in heels:
        found = bare_resistance(boat, knots * KNOT, np.radians(heel))
        rows += [f"{knot:g},{heel:g},{value:.6f}" for knot, value in zip(knots, found, strict=True)]
    return "\n".join(rows) + "\n"


SERIES_KEYS = ("buoyancy_centre_percent", "wetted_area_m2", "heel_resistance_20deg_percent")


def test_a_hull_given_by_the_resistance_of_another_sails_like_it(edited: Edited) -> None:
    """Source: the tool's own series model, tabulated every half knot and 5 deg."""
    series = keelboat.base()
    rows = resistance_rows(series, heels=(0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0))
    path = edited(
        "keelboat.toml",
        hull={"model": "table", "resistance_file": "rows.csv"},
        without=SERIES_KEYS,
        files={"rows.csv": rows},
    )
    np.testing.assert_allclose(speeds(config.load(path).boat("base"))[0], speeds_as_filed()[0], rtol=2e-3)


def test_past_the_last_speed_of_the_table_there_is_no_result(edited: Edited) -> None:
    rows = resistance_rows(keelboat.base(), heels=(0.0, 15.0, 30.0)).splitlines()
    kept = [row for row in rows if not re.match(r"(7|7\.5|8|8\.5|9|9\.5|10),", row)]
    path = edited(
        "keelboat.toml",
        hull={"model": "table", "resistance_file": "rows.csv"},
        without=SERIES_KEYS,
        files={"rows.csv": "\n".join(kept) + "\n"},
    )
    solved = equilibrium.solve([config.load(path).boat("base")], WINDS)
    fast = np.array([False, False, True, True])
    np.testing.assert_array_equal(solved.status == Status.OUTSIDE_MODEL_RANGE, fast)
    assert all("table of its hull's resistance" in str(text) for text in solved.reason[fast])


def gz_rows(boat: Boat, *, step: float, last: float) -> str:
    """Righting arms about the reference point by the wall-sided formula, with the mass centre there."""
    lines = boat.hull
    assert isinstance(lines, Hull)
    heels = np.arange(0.0, last + 0.5 * step, step)
    arms = stability.wall_sided_righting_arm(
        heel=np.radians(heels),
        metacentric_height=lines.buoyancy_centre_z + lines.metacentric_radius,
        metacentric_radius=lines.metacentric_radius,
    )
    rows = (f"{heel:g},{arm:.9f}" for heel, arm in zip(heels, arms, strict=True))
    return "\n".join(["heel_deg,righting_arm_m", *rows]) + "\n"


def test_righting_arms_of_vertical_sides_in_a_table_are_those_of_the_formula(edited: Edited) -> None:
    """Source: the wall-sided formula, tabulated every 5 deg."""
    walls = keelboat.base()
    path = edited(
        "keelboat.toml",
        hull={"stability_model": "gz_table", "gz_file": "arms.csv", "gz_mass_centre_z_m": 0.0},
        without=("buoyancy_centre_z_m", "metacentric_radius_m", "wall_sided_limit_deg"),
        files={"arms.csv": gz_rows(walls, step=5.0, last=35.0)},
    )
    np.testing.assert_allclose(
        speeds(config.load(path).boat("base")), speeds_as_filed(), rtol=2e-4, atol=2e-5
    )


def test_a_box_by_its_sections_rights_as_the_wall_sided_formula(edited: Edited) -> None:
    """Source: the wall-sided formula, exact for a box of 8.6 x 2.7 m, drawn to 0.645 m; fins left out."""
    half = "\n".join(f"{x},1.35,{z}" for x in (-4.3, 0.0, 4.3) for z in (-0.645, 1.2))
    path = edited(
        "keelboat.toml",
        hull={"stability_model": "sections", "stability_section_file": "box.csv"},
        without=("buoyancy_centre_z_m", "metacentric_radius_m", "wall_sided_limit_deg"),
        files={"box.csv": f"x_m,half_breadth_m,height_m\n{half}\n"},
    )
    boat = config.load(path).boat("base")
    lines = boat.hull
    assert isinstance(lines, Hull)
    assert lines.levers is not None
    volume = lines.canoe_volume
    draught = volume / (8.6 * 2.7)
    fins = boat.total_mass / boat.environment.water_density - volume
    heel = np.array(lines.levers.heel[:4])
    arm = stability.wall_sided_righting_arm(
        heel=heel, metacentric_height=2.7**3 * 8.6 / 12.0 / volume - 0.5 * draught,
        metacentric_radius=2.7**3 * 8.6 / 12.0 / volume,
    )  # fmt: skip
    # the lever counts from the water plane at which the boat itself floats, the box from its own
    sunk = draught - keelboat.base().hull.canoe_draught
    whole = np.array(lines.levers.lever[:4]) * (volume + fins)
    of_fins = whole - volume * (arm + sunk * np.sin(heel))
    # what is left is the buoyancy of keel and rudder: its depth is the same at every heel
    depth = of_fins[1:] / np.sin(heel[1:]) / fins
    assert np.ptp(depth) < 1e-3
    assert -1.6 < depth.mean() < -1.0


def family_sections(count: int) -> str:
    """The demo foiler's hull as sections."""
    length, beam, draught, n, m = 14.2, 2.5, 0.22, 2.5, 3.0
    heights = np.concatenate((np.linspace(0.0, 1.0, 13), [5.0]))
    rows = ["x_m,half_breadth_m,height_m"]
    for x in 0.5 * length * np.sin(np.linspace(-0.5 * np.pi, 0.5 * np.pi, count)):
        along = max(1.0 - abs(2.0 * x / length) ** n, 0.0)
        rows += [
            f"{x:.6f},{0.5 * beam * along * (1.0 - (1.0 - min(h, 1.0)) ** m):.8f},{draught * (h - 1.0):.8f}"
            for h in heights
        ]
    return "\n".join(rows) + "\n"


def test_a_slender_hull_by_its_sections_is_like_the_one_by_its_exponents(edited: Edited) -> None:
    """Source: closed forms of the family, through 41 sections; straight lines between them cost volume."""
    path = edited(
        "foiling_monohull.toml",
        hull={"section_file": "sections.csv"},
        without=("waterline_exponent", "section_exponent"),
        files={"sections.csv": family_sections(41)},
    )
    sections = config.load(path).boat("base")
    family = config.load(keelboat.FILE.with_name("foiling_monohull.toml")).boat("base")
    speed = np.linspace(1.0, 9.0, 9)
    zero = np.zeros_like(speed)
    found = []
    for boat in (sections, family):
        arrays, _ = fleets.fleet([boat]).select(np.zeros(9, dtype=np.intp))
        state = State(
            boat_speed=speed, leeway=zero, heel=zero + 0.05, rudder=zero, crew_arm=zero, crew_x=zero,
            trims=(), ride_height=zero, pitch=zero + 0.01,
        )  # fmt: skip
        components = hulls.hull_components(arrays.hull, arrays.water, state, None)
        loads = {component.name: component.load for component in components}
        found.append(
            {
                "friction": -loads["hull friction"].forward,
                "waves": -loads["hull waves"].forward,
                "up": loads["buoyancy"].up,
            }
        )
    np.testing.assert_allclose(found[0]["up"], found[1]["up"], rtol=0.01)
    np.testing.assert_allclose(found[0]["friction"], found[1]["friction"], rtol=0.01)
    np.testing.assert_allclose(found[0]["waves"], found[1]["waves"], rtol=0.04)


def test_a_key_of_another_stability_model_is_refused(edited: Edited) -> None:
    path = edited("keelboat.toml", hull={"gz_mass_centre_z_m": 0.0})
    with pytest.raises(BoatFileError, match='not used with stability_model = "wall_sided"'):
        config.load(path)


def test_two_hulls_far_apart_are_two_hulls(edited: Edited) -> None:
    """Forces double, and the righting moment is that of two buoyancies on a lever. Source: statics."""
    one = config.load(keelboat.FILE.with_name("foiling_monohull.toml")).boat("base")
    spacing = 20.0
    path = edited("foiling_monohull.toml", hull={"hull_spacing_m": spacing})
    with pytest.raises(BoatFileError, match="displace"):
        config.load(path)  # twice the buoyancy for the same weight
    two = dataclasses.replace(one, hull=dataclasses.replace(one.hull, hull_spacing=spacing))
    speed, zero = np.array([4.0, 8.0]), np.zeros(2)
    heel = np.radians(0.3)
    loads = []
    for boat, tilt in ((one, 0.0), (two, 0.0), (two, heel)):
        arrays, _ = fleets.fleet([boat]).select(np.zeros(2, dtype=np.intp))
        state = State(
            boat_speed=speed, leeway=zero, heel=zero + tilt, rudder=zero, crew_arm=zero, crew_x=zero,
            trims=(), ride_height=zero, pitch=zero,
        )  # fmt: skip
        components = hulls.hull_components(arrays.hull, arrays.water, state, None)
        loads.append({component.name: component.load for component in components})
    np.testing.assert_allclose(loads[1]["buoyancy"].up, 2.0 * loads[0]["buoyancy"].up, rtol=1e-12)
    np.testing.assert_allclose(
        loads[1]["hull friction"].forward, 2.0 * loads[0]["hull friction"].forward, rtol=1e-12
    )
    # 1 + interference: at 1.4 lengths apart the waves meet far astern only
    np.testing.assert_allclose(
        loads[1]["hull waves"].forward, 2.0 * loads[0]["hull waves"].forward, rtol=0.25
    )
    area = 2.0 * 14.2 * 2.5 * 2.5 / 3.5
    stiffness = 1026.0 * 9.80665 * area * (0.5 * spacing) ** 2
    np.testing.assert_allclose(loads[2]["buoyancy"].roll, stiffness * heel, rtol=0.03)


def test_water_of_the_boat_is_that_of_its_arrays() -> None:
    boat = keelboat.base()
    arrays, _ = fleets.fleet([boat]).select(np.zeros(1, dtype=np.intp))
    assert isinstance(arrays.water, Water)
    assert arrays.water.surface_pressure[0] == pytest.approx(101325.0)
    assert hull_form.FROUDE_LIMIT == 3.0
