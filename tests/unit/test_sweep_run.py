"""A study is cut into chunks, and ends the same however often it is ended and by whatever engine it is
solved.
"""

from __future__ import annotations

import errno
import os
import random
import signal
import subprocess
import sys
import time
from importlib import import_module
from pathlib import Path

import pytest

from tests.support import sweeps
from vpp import sweep_engines
from vpp.solver.stopping import keep_on_interrupt
from vpp.sweep import CHUNKS, MANIFEST, Run, SweepError
from vpp.sweep_chunks import chunk_name, read_chunk
from vpp.sweep_study import load_study

pytest.importorskip("pyarrow", reason="tables of chunks need the extra sweep")

ROOT = Path(__file__).parents[2]


@pytest.fixture(autouse=True)
def _invented(monkeypatch):
    for name in ("followed", "searched"):
        monkeypatch.setattr(f"vpp.sweep_chunks.{name}", getattr(sweeps.sweep_chunks, name))
    sweeps.invent()


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted((folder / CHUNKS).glob("*.parquet"))}


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The study, and the chunks of a run that nothing ended."""
    folder = tmp_path_factory.mktemp("whole")
    path = sweeps.study_file(folder, rigs=64)
    with pytest.MonkeyPatch.context() as patch:
        for name in ("followed", "searched"):
            patch.setattr(f"vpp.sweep_chunks.{name}", getattr(sweeps.sweep_chunks, name))
        sweeps.invent()
        assert Run(load_study(path), folder / "out").run()
    return path, contents(folder / "out")


def command(path: Path, out: Path, *words: str, seconds: float = 0.0) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [
            sys.executable,
            "-m",
            "tests.support.sweeps",
            str(seconds),
            "sweep",
            str(path),
            "-o",
            str(out),
            *words,
        ],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"},
    )


def wait_for(folder: Path, chunks: int) -> None:
    for _ in range(1200):
        if len(list((folder / CHUNKS).glob("chunk_*.parquet"))) >= chunks:
            return
        time.sleep(0.02)
    pytest.fail("no chunk in 24 s")


def test_killed_at_any_moment_it_goes_on_to_the_same_tables(whole, tmp_path):
    path, expected = whole
    chance = random.Random(5)
    for chunks in (1, 4):
        running = command(path, tmp_path / "out", "--processes", "1", "--quiet", seconds=0.02)
        wait_for(tmp_path / "out", chunks)
        time.sleep(chance.uniform(0.0, 0.2))
        running.kill()
        running.communicate()
        done = contents(tmp_path / "out")
        assert chunks <= len(done) < len(expected)
        assert all(expected[name] == content for name, content in done.items())
    run = Run(load_study(path), tmp_path / "out")
    assert run.run()
    assert contents(tmp_path / "out") == expected


def test_ctrl_c_ends_it_cleanly_and_says_how_to_go_on(whole, tmp_path):
    path, expected = whole
    running = command(path, tmp_path / "out", "--processes", "1", "--no-figures", seconds=0.05)
    wait_for(tmp_path / "out", 1)
    running.send_signal(signal.SIGINT)
    out, told = running.communicate(timeout=60)
    assert running.returncode == 130
    assert out == ""
    done = contents(tmp_path / "out")
    assert 0 < len(done) < len(expected)
    assert f"stopped: {len(done)} of 8 chunks are done and kept" in told
    assert "the same command goes on from there" in told
    assert "Traceback" not in told
    assert Run(load_study(path), tmp_path / "out").run()
    assert contents(tmp_path / "out") == expected


def test_shards_make_the_same_tables(whole, tmp_path):
    path, expected = whole
    for part in (3, 1, 2):
        run = Run(load_study(path), tmp_path / "out")
        assert run.run(shard=(part, 3))
        assert not run.missing((part, 3))
    assert contents(tmp_path / "out") == expected


def test_processes_make_the_same_tables(whole, tmp_path):
    path, expected = whole
    running = command(path, tmp_path / "out", "--processes", "2", "--quiet", "--no-figures")
    _, told = running.communicate(timeout=120)
    assert running.returncode == 0, told
    assert contents(tmp_path / "out") == expected


def test_a_chunk_that_cannot_be_read_is_kept_aside_and_solved_again(whole, tmp_path):
    path, expected = whole
    run = Run(load_study(path), tmp_path / "out")
    assert run.run()
    cut, broken = run.path(2), run.path(5)
    cut.write_bytes(cut.read_bytes()[:700])
    content = bytearray(broken.read_bytes())
    content[60] ^= 0xFF
    broken.write_bytes(bytes(content))
    told: list[str] = []
    assert run.run(tell=told.append)
    assert len(told) == 2
    assert all("cannot be read" in each and "solved again" in each for each in told)
    assert contents(tmp_path / "out") == expected
    assert cut.with_suffix(".unreadable").is_file()


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ("study", "conditions"),
        ("boat", "boat"),
        ("versions", "numpy"),
    ],
)
def test_changed_input_is_refused_and_nothing_is_touched(tmp_path, monkeypatch, change, word):
    path = sweeps.study_file(tmp_path, rigs=16)
    Run(load_study(path), tmp_path / "out").run()
    before = contents(tmp_path / "out")
    if change == "study":
        path.write_text(path.read_text().replace("[8.0, 14.0]", "[8.0, 15.0]"))
    elif change == "boat":
        boat = tmp_path / "boat.toml"
        boat.write_text(boat.read_text() + "\n# another boat\n")
    else:
        now = {**sweep_engines.versions(load_study(path)), "numpy": "0.1"}
        # `vpp.sweep` is the function; its module goes by its full name alone
        monkeypatch.setattr(import_module("vpp.sweep"), "versions", lambda study: now)
    with pytest.raises(SweepError, match=word) as told:
        Run(load_study(path), tmp_path / "out").run()
    assert "another folder with -o" in str(told.value)
    assert contents(tmp_path / "out") == before


def test_words_of_the_study_may_change(tmp_path):
    path = sweeps.study_file(tmp_path, rigs=16)
    Run(load_study(path), tmp_path / "out").run()
    path.write_text(path.read_text() + '\n[[aim]]\nname = "beat"\nbest_vmg = ["upwind"]\n')
    assert Run(load_study(path), tmp_path / "out").run()


def test_a_full_disk_ends_it_in_a_sentence_with_what_is_done(whole, tmp_path, monkeypatch):
    path, expected = whole
    run = Run(load_study(path), tmp_path / "out")
    real, count = sweep_engines.write_chunk, 0

    def full(place, content):
        nonlocal count
        count += 1
        if count > 3:
            raise OSError(errno.ENOSPC, "No space left on device")
        real(place, content)

    monkeypatch.setattr("vpp.sweep_engines.write_chunk", full)
    with pytest.raises(SweepError, match="the disk is full: make room first") as told:
        run.run()
    assert "3 of 8 chunks are done and kept" in str(told.value)
    monkeypatch.undo()
    sweeps.invent()
    assert run.run()
    assert contents(tmp_path / "out") == expected


def test_a_disk_too_small_is_found_before_anything_is_solved(tmp_path, monkeypatch):
    path = sweeps.study_file(tmp_path, rigs=16)
    run = Run(load_study(path), tmp_path / "out")
    assert run.forecast() is not None
    monkeypatch.setattr("shutil.disk_usage", lambda folder: type("Usage", (), {"free": 1000})())
    with pytest.raises(SweepError, match="are needed and"):
        run.run()
    assert len(run.missing()) == 2


def test_searches_ended_leave_no_part_of_a_chunk(tmp_path):
    path = sweeps.study_file(tmp_path, rigs=16)
    run = Run(load_study(path), tmp_path / "out")
    with keep_on_interrupt() as stopping:
        stopping.ask()
        assert not run.run()
    assert contents(tmp_path / "out") == {}


def test_a_chunk_says_what_it_is_made_of(whole, tmp_path):
    path, expected = whole
    study = load_study(path)
    (tmp_path / chunk_name(0)).write_bytes(expected[chunk_name(0)])
    chunk = read_chunk(tmp_path / chunk_name(0), study)
    assert len(chunk.columns["made_good_kn"]) == 8 * len(study.rows)
    assert set(chunk.columns["rig"]) == set(study.chunk(0))
    assert (path.parent / "out" / MANIFEST).is_file()


# --- a cluster ----------------------------------------------------------------------------------------------


def worker(address: str, seconds: float) -> subprocess.Popen[bytes]:
    """A worker of a cluster in a process of its own, which begins with the invented solver."""
    begun = (
        "import sys; from tests.support import sweeps; sweeps.invent(float(sys.argv[1])); "
        "from distributed.cli.dask_worker import main; main(sys.argv[2:])"
    )
    return subprocess.Popen(
        [sys.executable, "-c", begun, str(seconds), address, "--nthreads", "1", "--no-nanny",
         "--no-dashboard"],
        cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"},
    )  # fmt: skip


@pytest.mark.filterwarnings("ignore")
def test_a_cluster_that_loses_and_gains_workers_makes_the_same_tables(whole, tmp_path):
    distributed = pytest.importorskip("distributed", reason="a cluster needs the extra cluster")
    path, expected = whole
    with distributed.LocalCluster(n_workers=0, dashboard_address=None, protocol="tcp") as cluster:
        address = cluster.scheduler_address
        running = [worker(address, 0.05), worker(address, 0.05)]
        try:
            count = 0

            def on_done(number: int) -> None:
                nonlocal count
                count += 1
                if count == 2:
                    running[0].kill()
                    running.append(worker(address, 0.0))

            out = tmp_path / "out"
            (out / CHUNKS).mkdir(parents=True)
            study = load_study(path)
            sweep_engines.on_cluster(study, range(study.chunk_count), out, on_done, address=address)
        finally:
            for each in running:
                each.kill()
                each.wait()
    assert contents(out) == expected


@pytest.mark.filterwarnings("ignore")
def test_no_scheduler_is_said_in_a_sentence(tmp_path, monkeypatch):
    pytest.importorskip("distributed", reason="a cluster needs the extra cluster")
    monkeypatch.setattr(sweep_engines, "_PATIENCE_S", 0.5)
    run = Run(load_study(sweeps.study_file(tmp_path, rigs=16)), tmp_path / "out")
    with pytest.raises(SweepError, match="no scheduler answers there"):
        run.run(dask="tcp://127.0.0.1:9")
