"""The demo boats load, are what they claim to be, and give a reason for every number."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from vpp.config import build, load

CONFIGS = Path(__file__).parents[3] / "configs"
BOAT_FILES = sorted(CONFIGS.glob("*.toml"))
KEELBOAT = CONFIGS / "keelboat.toml"


@pytest.mark.parametrize("path", BOAT_FILES, ids=lambda path: path.stem)
def test_every_demo_boat_loads(path: Path) -> None:
    assert load(path).boats


@pytest.mark.parametrize("path", BOAT_FILES, ids=lambda path: path.stem)
def test_every_number_of_a_demo_boat_has_its_reason(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").split("\n")
    numbers = [index for index, text in enumerate(lines) if re.match(r"[a-z0-9_.]+ = \[?[-0-9]", text)]
    is_whole = not any(text.startswith("options_of") for text in lines)
    assert len(numbers) > (50 if is_whole else 8)
    for index in numbers:
        has_reason = re.search(r"\s# \S+", lines[index]) or lines[index - 1].startswith("# ")
        assert has_reason or lines[index].startswith("schema_version"), (
            f"{path.name}:{index + 1} gives no reason"
        )


def test_the_keelboat_floats_level_at_its_drawn_weight() -> None:
    boat = load(KEELBOAT).boat("base")
    drawn = boat.hull.canoe_volume + build.fin_volume(boat)
    assert boat.total_mass == pytest.approx(boat.environment.water_density * drawn, rel=1e-12)
    rows = {row.key: row.value for row in load(KEELBOAT).rows()}
    assert abs(rows["afloat.sinkage_m"]) < 0.001
    # the centre of mass over the centre of buoyancy, so that it floats without pitch
    buoyancy_centre = boat.hull.buoyancy_centre_share * boat.hull.waterline_length
    assert rows["afloat.mass_centre_x_m"] == pytest.approx(buoyancy_centre, abs=0.01)
    assert 0.9 < rows["afloat.metacentric_height_m"] < 1.2


def test_the_keelboats_options_do_what_they_say() -> None:
    boats = {boat.name: boat for boat in load(KEELBOAT).boats}
    base = boats.pop("base")
    assert set(boats) == {
        "taller_rig", "long_luff", "cut_head", "lighter_rig", "more_crew", "small_jib",
    }  # fmt: skip
    mast = {name: boat.all_masses()[-3] for name, boat in boats.items()}
    base_mast = base.all_masses()[-3]
    assert base_mast.name == "mast"

    taller = boats["taller_rig"]
    assert taller.rig.mast_top_height - taller.rig.mast_base_height == pytest.approx(
        base.rig.mast_top_height - base.rig.mast_base_height + 0.5
    )
    assert mast["taller_rig"].mass - base_mast.mass == pytest.approx(0.5 * base.rig.mast_mass_per_length)
    base_luff = base.sails[0].head_height - base.sails[0].foot_height
    assert taller.sails[0].area / base.sails[0].area == pytest.approx((base_luff + 0.5) / base_luff)

    lower = boats["long_luff"].sails[0]
    assert lower.area - base.sails[0].area == pytest.approx(0.6 * base.sails[0].chord[0])
    assert lower.lower_edge_height > boats["long_luff"].rig.deck_height

    cut = boats["cut_head"].sails[0]
    assert cut.chord_at(cut.head_height) == pytest.approx(0.5 * base.sails[0].chord[-1])
    assert cut.area < base.sails[0].area

    assert mast["lighter_rig"].mass == pytest.approx(0.85 * base_mast.mass)
    assert boats["more_crew"].crew.mass == base.crew.mass + 80.0
    assert boats["small_jib"].sails[1].chord == pytest.approx([0.75 * chord for chord in base.sails[1].chord])
    assert boats["small_jib"].sails[1].head_height < base.sails[1].head_height
    with_large_sail = load(CONFIGS / "keelboat_sails.toml").boat("offwind")
    assert [sail.name for sail in with_large_sail.table_sails] == ["offwind_sail"]
    assert with_large_sail.table_sails[0].area == pytest.approx(3.0 * base.sails[1].area, rel=0.05)
    assert all(boat.says for boat in boats.values())


def test_the_keelboats_jib_meets_the_mast_where_its_forestay_does() -> None:
    boat = load(KEELBOAT).boat("base")
    jib = boat.sails[1]
    assert jib.luff_x(jib.head_height) == pytest.approx(boat.rig.mast_x, abs=0.02)
