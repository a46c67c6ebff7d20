"""The demo keelboat with few strips, an option that changes nothing, and ranges of its own."""

from __future__ import annotations

import re
from pathlib import Path

from tests.support import keelboat

RANGES = """
[[uncertainty]]
name = "windage"
key = "calibration.windage_scale"
plus_minus_percent = 30.0
why = "drag coefficients as listed"

[[uncertainty]]
name = "gap"
key = "rig.gap_leakage_percent"
least = 10.0
greatest = 50.0

[[uncertainty]]
name = "wind_profile"
key = "environment.wind_exponent"
plus_minus = 0.03
shape = "normal"
"""

TWIN = """
[[option]]
name = "twin"
says = "the base again"
[option.change]
crew.mass_kg = 480.0
"""


def write(folder: Path, ranges: str = RANGES) -> Path:
    """The boat file in a folder."""
    text = keelboat.FILE.read_text(encoding="utf-8")
    text = re.sub(r"station_count = \d+", "station_count = 5", text)
    path = folder / "doubtful.toml"
    path.write_text(text + TWIN + ranges, encoding="utf-8")
    return path
