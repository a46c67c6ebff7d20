"""`vpp sweep`: what it prints, writes and refuses, on an invented solver."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

from tests.support import sweeps
from vpp.cli import app
from vpp.cli import sweep as command

pytest.importorskip("pyarrow", reason="tables of chunks need the extra sweep")


@pytest.fixture
def study(tmp_path, monkeypatch) -> Path:
    for name in ("followed", "searched"):
        monkeypatch.setattr(f"vpp.sweep_chunks.{name}", getattr(sweeps.sweep_chunks, name))
    sweeps.invent()
    monkeypatch.chdir(tmp_path)
    return sweeps.study_file(tmp_path, rigs=32)


def run(*words: object):
    return CliRunner().invoke(app, ["sweep", "--processes", "1", *map(str, words)])


def test_a_dry_run_says_how_much_it_is_and_writes_nothing(study, tmp_path):
    ended = run(study, "--dry-run")
    assert ended.exit_code == 0
    assert "32 rigs in 4 conditions: 128 conditions in 4 chunks" in ended.stdout
    assert "with one process" in ended.stdout
    assert " kB on disk" in " ".join(ended.stdout.split())
    assert not (tmp_path / "out").exists()


def test_it_says_what_is_to_be_done_then_what_came_out(study, tmp_path):
    ended = run(study, "-o", "out")
    assert ended.exit_code == 0, ended.output
    assert "128 conditions in 4 chunks" in ended.stderr
    assert "128 of 128 conditions" in ended.stderr
    assert "Best rigs, upwind" in ended.stdout
    assert "Shares of the variance between rigs" in ended.stdout
    about = json.loads((tmp_path / "out" / "about.json").read_text())
    for name in (*about["files"], "manifest.json", "study.toml", "reference.parquet"):
        assert (tmp_path / "out" / name).is_file(), name
    assert {"effects.png", "maps.png", "front.svg", "rigs.csv", "rigs.parquet"} <= set(about["files"])
    rigs = pd.read_csv(tmp_path / "out" / "rigs.csv")
    assert len(rigs) == 32
    assert rigs["gain_upwind_percent"].notna().all()


def test_quiet_says_nothing_on_the_way(study):
    ended = run(study, "-o", "out", "--quiet", "--no-figures")
    assert ended.exit_code == 0
    assert ended.stderr == ""


def test_json_is_data_alone(study):
    ended = run(study, "-o", "out", "--quiet", "--no-figures", "--format", "json")
    told = json.loads(ended.stdout)
    assert told["rigs"] == 32
    assert {"best", "front", "effects", "shares", "surrogates", "failures", "summary"} <= set(told)


def test_missing_results_are_counted_by_reason(study):
    study.write_text(study.read_text().replace("[8.0, 14.0]", "[8.0, 22.0]"))
    ended = run(study, "-o", "out", "--quiet", "--no-figures")
    assert ended.exit_code == 3
    assert "have no result" in ended.stderr
    assert "no_equilibrium: No equilibrium at .. m: try less wind." in ended.stderr


def test_parts_of_a_study_tell_what_is_missing(study):
    first = run(study, "-o", "out", "--shard", "1/2", "--quiet")
    assert first.exit_code == 0
    assert "part 1 of 2 is done; 2 chunks of the others are missing" in first.stdout
    second = run(study, "-o", "out", "--shard", "2/2", "--quiet", "--no-figures")
    assert "Best rigs" in second.stdout


@pytest.mark.parametrize("text", ["0/2", "3/2", "1", "a/b"])
def test_a_strange_part_is_refused(study, text):
    ended = run(study, "--shard", text)
    assert ended.exit_code == 2
    assert "such as 1/4" in ended.stderr


def test_everything_wrong_is_said_at_once(study, tmp_path):
    text = study.read_text()
    text = text.replace("fin.keel.span_m", "fin.keel.spam_m").replace("greatest = 0.6", "greatest = -0.6")
    study.write_text(text.replace("[8.0, 14.0]", "[8.0, 8.0]"))
    ended = run(study, "-o", "out")
    assert ended.exit_code == 2
    assert 'did you mean "fin.keel.span_m"?' in ended.stderr
    assert "greatest above least" in ended.stderr
    assert "each value once" in ended.stderr
    assert not (tmp_path / "out").exists()


def test_another_study_in_the_folder_is_refused(study):
    run(study, "-o", "out", "--quiet", "--no-figures")
    study.write_text(study.read_text().replace("seed = 3", "seed = 4"))
    ended = run(study, "-o", "out", "--quiet")
    assert ended.exit_code == 2
    assert "holds another study: plan changed since it began" in ended.stderr


def test_progress_in_a_pipe_is_a_line_a_minute(monkeypatch, capsys):
    now = 0.0
    monkeypatch.setattr("vpp.cli.sweep.time.monotonic", lambda: now)
    with command.rated_progress(quiet=False) as tell:
        for minute in range(1, 5):
            for second in (0, 30):
                now = 60.0 * minute + second
                tell(100 * minute + second, 1000)
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 4
    assert lines[0] == "100 of 1000 conditions, 1.67 a second, 9 min left"


def test_the_page_is_written_with_the_rest(study, tmp_path):
    pytest.importorskip("plotly", reason="plotly is not installed: extra report")
    page = tmp_path / "out" / "sweep.html"
    assert run(study, "-o", "out", "--quiet").exit_code == 0
    assert "Luff and keel" in page.read_text(encoding="utf-8")
    # tables only
    assert run(study, "-o", "out", "--quiet", "--no-figures").exit_code == 0
    assert not page.exists()
    run(study, "-o", "out", "--quiet", "--no-figures", "--page")
    assert page.is_file()
    run(study, "-o", "out", "--quiet", "--no-page")
    assert not page.exists()
    assert (tmp_path / "out" / "maps.svg").is_file()


def test_without_the_plotting_library_there_is_no_page_and_a_sentence(study, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "plotly.offline", None)
    ended = run(study, "-o", "out", "--quiet")
    assert ended.exit_code == 0
    assert (
        ended.stderr
        == "no page: plotly is not installed: it comes with the extra report, pip install 'vpp[report]'\n"
    )
    assert not (tmp_path / "out" / "sweep.html").exists()
    assert (tmp_path / "out" / "maps.svg").is_file()
    assert run(study, "-o", "out", "--quiet", "--no-page").stderr == ""


def test_a_page_that_is_asked_for_and_cannot_be_drawn_ends_it_before_anything_is_solved(
    study, tmp_path, monkeypatch
):
    monkeypatch.setitem(sys.modules, "plotly.offline", None)
    ended = run(study, "-o", "out", "--page")
    assert ended.exit_code == 2
    assert "pip install 'vpp[report]'" in ended.stderr
    assert not (tmp_path / "out").exists()
