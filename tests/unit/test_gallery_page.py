"""The page of what is measured against what is computed, written by `docs/figures/make_gallery.py`."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "gallery.md").read_text(encoding="utf-8")
PARTS = dict(re.findall(r"^% begin (\S+)$\n(.*?)^% end \1$", PAGE, flags=re.MULTILINE | re.DOTALL))


def test_every_part_is_written() -> None:
    assert len(PARTS) == PAGE.count("% begin ") == PAGE.count("% end ")
    empty = [name for name, text in PARTS.items() if not text.strip()]
    assert not empty


def test_every_picture_exists() -> None:
    pictures = re.findall(r"^```\{figure\} (\S+)$", PAGE, flags=re.MULTILINE)
    assert len(pictures) == sum(name.endswith("-figure") for name in PARTS)
    assert all((ROOT / "docs" / name).is_file() for name in pictures)


@pytest.mark.parametrize("name", [name for name in PARTS if name.endswith("-table")])
def test_every_row_has_a_verdict_and_names_a_test_that_exists(name: str) -> None:
    """Rows without a test say so."""
    rows = [line.strip("| ").split(" | ") for line in PARTS[name].strip().splitlines()[2:]]
    assert rows
    for row in rows:
        assert len(row) == 5, row
        assert row[3], row
        assert row[4] == "none" or (ROOT / row[4].strip("`")).is_file(), row


def test_nothing_is_missing_from_the_numbers() -> None:
    assert not re.search(r"\bnan\b|\binf\b", PAGE)
