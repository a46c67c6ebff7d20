"""Writing: whole files or none, the same bytes for the same result."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path

import pandas as pd
import pytest
from matplotlib.figure import Figure

from vpp.results.files import (
    CAUTION,
    Source,
    about,
    csv_text,
    json_text,
    records,
    save_figure,
    whole_file,
    write_folder,
    write_text,
)


def test_file_appears_whole_with_plain_line_ends(tmp_path: Path) -> None:
    path = write_text(tmp_path / "a.csv", "x\n1\n")
    assert path.read_bytes() == b"x\n1\n"
    assert [item.name for item in tmp_path.iterdir()] == ["a.csv"]


def test_interrupted_writing_leaves_the_old_file_and_nothing_else(tmp_path: Path) -> None:
    path = write_text(tmp_path / "a.csv", "old")

    def write_half() -> None:
        with whole_file(path) as temporary:
            temporary.write_text("ne")
            raise OSError("disk full")

    with pytest.raises(OSError, match="disk full"):
        write_half()
    assert path.read_text() == "old"
    assert [item.name for item in tmp_path.iterdir()] == ["a.csv"]


def test_csv_is_empty_where_there_is_no_value_and_carries_two_digits_more_than_shown() -> None:
    frame = pd.DataFrame(
        {"option": ["base", "base"], "boat_speed_kn": [6.123456, math.nan], "heel_deg": [-1e-9, 12.34567]}
    )
    assert csv_text(frame) == "option,boat_speed_kn,heel_deg\nbase,6.1235,0.0\nbase,,12.346\n"


def test_records_are_strict_json_with_null_for_missing() -> None:
    frame = pd.DataFrame({"option": ["base"], "boat_speed_kn": [math.nan], "compared_count": [3]})
    assert json.loads(json_text({"rows": records(frame)})) == {
        "rows": [{"option": "base", "boat_speed_kn": None, "compared_count": 3}]
    }


def test_json_refuses_what_is_no_number() -> None:
    with pytest.raises(ValueError, match="JSON compliant"):
        json_text({"value": math.nan})


def test_about_says_where_a_result_came_from_and_how_it_went() -> None:
    source = Source(name="Demo", file="demo.toml", digest="0a1b2c3d4e5f")
    told = about(
        source,
        options=("base",),
        tws_kn=(6.0,),
        twa_deg=(90.0,),
        aims=("speed",),
        statuses={"converged": 1, "no_equilibrium": 0},
        remarks={"heel limit": 1},
        files=("polar.csv", "about.json"),
    )
    assert (told["boat"], told["file"], told["digest"]) == ("Demo", "demo.toml", "0a1b2c3d4e5f")
    assert told["grid"] == {"tws_kn": [6.0], "twa_deg": [90.0], "aims": ["speed"]}
    assert told["conditions"] == {"converged": 1, "no_equilibrium": 0}
    assert told["remarks"] == {"heel limit": 1}
    assert told["files"] == ["polar.csv", "about.json"]
    assert told["caution"] == CAUTION
    json.loads(json_text(told))


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_same_figure_gives_the_same_bytes(tmp_path: Path, kind: str) -> None:
    def draw(name: str) -> bytes:
        figure = Figure(figsize=(2.0, 2.0))
        figure.subplots().plot([0.0, 1.0], [0.0, 1.0])
        return save_figure(tmp_path / f"{name}.{kind}", figure).read_bytes()

    assert draw("first") == draw("second")


def run_of(names: Sequence[str]) -> dict[str, str]:
    """The texts of an invented run, by file name."""
    told = about(
        Source(name="Demo", file="demo.toml", digest="0a1b2c3d4e5f"),
        options=("base",),
        tws_kn=(6.0,),
        twa_deg=(90.0,),
        aims=("speed",),
        statuses={},
        remarks={},
        files=(*names, "about.json"),
    )
    return {**dict.fromkeys(names, "content"), "about.json": json_text(told)}


def names_in(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_files_of_an_earlier_run_that_are_not_written_again_are_removed(tmp_path: Path) -> None:
    (tmp_path / "notes.csv").write_text("mine")
    first = write_folder(tmp_path, texts=run_of(["polar.csv", "gain.csv"]), figures={})
    assert (first.files, first.removed) == (
        tuple(tmp_path / name for name in ("polar.csv", "gain.csv", "about.json")),
        (),
    )
    second = write_folder(tmp_path, texts=run_of(["polar.csv", "budget.csv"]), figures={})
    assert second.removed == (tmp_path / "gain.csv",)
    assert names_in(tmp_path) == {"notes.csv", "polar.csv", "budget.csv", "about.json"}


@pytest.mark.parametrize(
    "listed", ["../outside.csv", "sub/inside.csv", "/etc/hostname.csv", "..", "", "thesis.docx", "sub.csv", 3]
)
def test_only_plain_files_of_the_folder_are_ever_removed(tmp_path: Path, listed: str | int) -> None:
    folder = tmp_path / "out"
    (folder / "sub").mkdir(parents=True)
    (folder / "sub.csv").mkdir()
    kept = [tmp_path / "outside.csv", folder / "sub" / "inside.csv", folder / "thesis.docx"]
    for path in kept:
        path.write_text("mine")
    earlier = json.loads(run_of([])["about.json"])
    (folder / "about.json").write_text(json.dumps({**earlier, "files": [listed]}))
    assert write_folder(folder, texts=run_of(["polar.csv"]), figures={}).removed == ()
    assert all(path.read_text() == "mine" for path in kept)
    assert (folder / "sub.csv").is_dir()


@pytest.mark.parametrize("text", ["", "{", "[]", '{"files": ["mine.csv"]}', '{"files": "mine.csv"}'])
def test_folder_of_somebody_else_is_left_alone(tmp_path: Path, text: str) -> None:
    (tmp_path / "mine.csv").write_text("mine")
    (tmp_path / "about.json").write_text(text)
    assert write_folder(tmp_path, texts=run_of(["polar.csv"]), figures={}).removed == ()
    assert (tmp_path / "mine.csv").read_text() == "mine"


def test_run_that_fails_leaves_the_folder_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_folder(tmp_path, texts=run_of(["polar.csv", "gain.csv"]), figures={})
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    figure = Figure(figsize=(1.0, 1.0))

    def full(*_: object, **__: object) -> None:
        raise OSError("disk full")

    monkeypatch.setattr(figure, "savefig", full)
    with pytest.raises(OSError, match="disk full"):
        write_folder(tmp_path, texts=run_of(["polar.csv"]), figures={"a.png": figure})
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before
