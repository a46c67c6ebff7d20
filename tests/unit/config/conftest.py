from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from vpp.config import BoatFileError, Problem, load

DEMO = Path(__file__).parents[3] / "configs" / "keelboat.toml"
BOAT = Path(__file__).with_name("boat.toml")

Edit = Callable[..., Path]


@pytest.fixture(scope="session")
def boat_text() -> str:
    return BOAT.read_text(encoding="utf-8")


@pytest.fixture
def edited(tmp_path: Path, boat_text: str) -> Edit:
    """Writes the test boat with pieces of its text replaced, all of which must occur, and more at the end."""

    def write(*replacements: tuple[str, str], add: str = "") -> Path:
        text = boat_text
        for old, new in replacements:
            assert old in text
            text = text.replace(old, new, 1)
        path = tmp_path / "boat.toml"
        path.write_text(text + add, encoding="utf-8")
        return path

    return write


@pytest.fixture
def problems_of(edited: Edit) -> Callable[..., list[Problem]]:
    """What is wrong with the test boat after those edits."""

    def find(*replacements: tuple[str, str], add: str = "") -> list[Problem]:
        with pytest.raises(BoatFileError) as caught:
            load(edited(*replacements, add=add))
        return list(caught.value.problems)

    return find
