"""`vpp compare --brief`: the page as a file, and what is wrong with what is asked of it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from vpp.cli import app

KEELBOAT = str(Path(__file__).parents[2] / "configs" / "keelboat.toml")
A4_POINTS = (595.276, 841.89)


def compare(*words: str) -> Result:
    return CliRunner().invoke(app, ["compare", KEELBOAT, *words])


def test_the_page_is_one_sheet_of_a4_and_its_headline_is_told(tmp_path: Path) -> None:
    page = tmp_path / "folder" / "page.pdf"
    done = compare(
        "--tws", "12", "--twa", "90", "--option", "long_luff", "--no-figures", "--processes", "1",
        "-o", str(tmp_path / "out"), "--brief", str(page), "--question", "Is it worth it?", "--draws", "0",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert f"{page}: long_luff" in done.stderr
    written = page.read_bytes()
    assert written.startswith(b"%PDF")
    assert written.count(b"/Type /Page\n") + written.count(b"/Type /Page ") == 1
    box = re.search(rb"/MediaBox \[ ?([\d. ]+)\]", written)
    assert box is not None
    assert [float(value) for value in box[1].split()][2:] == pytest.approx(A4_POINTS, abs=0.01)


def test_everything_wrong_with_the_page_and_the_rest_is_told_at_once(tmp_path: Path) -> None:
    done = compare(
        "--tws", "99", "--option", "no_such", "--brief", str(tmp_path / "page.txt"), "--draws", "100",
        "--legs", "upwind,beam",
    )  # fmt: skip
    assert done.exit_code == 2
    for said in (
        "legs = 'beam': there is no such leg",
        "or 0 for none",
        "must end in .pdf or .png",
        "draws = 100: must be a power of two",
        "99 kn",
        "no_such",
    ):
        assert said in done.stderr
    assert not list(tmp_path.iterdir())


def test_a_question_without_a_page_and_a_folder_in_its_place_are_refused(tmp_path: Path) -> None:
    done = compare("--question", "Which?")
    assert done.exit_code == 2
    assert "of no use without --brief" in done.stderr
    (tmp_path / "page.pdf").mkdir()
    done = compare("--brief", str(tmp_path / "page.pdf"))
    assert done.exit_code == 2
    assert "a folder of that name is in the way" in done.stderr
