"""Demo boat files on few stations a sail: solved sooner, and near enough for what is asked of them."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

CONFIGS = Path(__file__).parents[2] / "configs"


def coarse_file(folder: Path, name: str, *others: str, stations: int = 6) -> Path:
    """A demo boat file in a folder, and the files that it names beside it."""
    for each in (name, *others):
        if each.endswith(".toml"):
            text = (CONFIGS / each).read_text(encoding="utf-8")
            coarse = re.sub(r"station_count = \d+", f"station_count = {stations}", text)
            (folder / each).write_text(coarse, encoding="utf-8")
        else:
            shutil.copy(CONFIGS / each, folder / each)
    return folder / name


def without_sail_set(text: str, name: str) -> str:
    """The text of a boat file with one sail set fewer to solve for."""
    left, count = re.subn(rf'\[\[option\.add\.sail_set\]\]\nname = "{name}"\n(?:[^\[\n].*\n)+', "", text)
    assert count == 1, name
    return left
