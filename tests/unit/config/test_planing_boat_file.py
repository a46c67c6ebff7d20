"""A planing bottom whose run rises to the transom: what its file says, and what cannot be."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest

from vpp.boat import FormedHull
from vpp.config import BoatFileError, load

Write = Callable[..., Path]

CONFIGS = Path(__file__).parents[3] / "configs"


@pytest.fixture
def written(tmp_path: Path) -> Write:
    """The demo skiff's file with other values of its keys, beside the files that it names."""
    text = (CONFIGS / "skiff.toml").read_text()

    def write(**values: float) -> Path:
        lines = text.splitlines()
        for key, value in values.items():
            (at,) = (i for i, line in enumerate(lines) if line.startswith(f"{key} ="))
            lines[at] = f"{key} = {value}"
        (tmp_path / "skiff_gennaker.csv").write_bytes((CONFIGS / "skiff_gennaker.csv").read_bytes())
        path = tmp_path / "skiff.toml"
        path.write_text("\n".join(lines))
        return path

    return write


def told(path: Path) -> list[str]:
    with pytest.raises(BoatFileError) as refused:
        load(path)
    return [str(problem) for problem in refused.value.problems if "option" not in str(problem)]


def test_rise_comes_into_the_hull(written: Write) -> None:
    hull = load(written(transom_rise_m=0.09)).boats[0].hull
    assert isinstance(hull, FormedHull)
    assert hull.transom_rise == pytest.approx(0.09)
    assert hull.sections is not None
    keel = [outline[0][1] for outline in hull.sections.outlines]
    assert keel[0] - keel[-1] == pytest.approx(0.09)


def test_transom_clear_of_the_water_is_told(written: Write) -> None:
    (problem,) = told(written(transom_rise_m=0.16))
    assert "hull.transom_rise_m = 0.16 m: the keel line leaves the water ahead of the transom" in problem
    assert "allowed: below 0.155 m" in problem


def test_dry_chines_are_told(written: Write) -> None:
    """Of the run's line in the middle: a level keel of 0.05 m would do."""
    spread = 1.05 * 1.15 / (2.0 * math.pi) * math.tan(math.radians(12.0))
    assert spread < 0.05
    found = told(written(canoe_draught_m=0.05, transom_rise_m=0.09))
    assert any("hull.canoe_draught_m = 0.05 m: the chines, 1.15 m apart, are dry at rest" in p for p in found)
    least = spread + 0.09 - 2.4 * math.sin(math.atan(0.09 * 2.0 / 1.4 / 4.8))
    assert any(f"allowed: above {least:.3f} m" in p for p in found)
