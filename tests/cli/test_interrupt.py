"""Ctrl-C in a real process: what is done is kept, said to be a part, and no process is left."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pandas as pd
import pytest

from tests.support.coarse_files import coarse_file
from vpp.cli.console import STOPPED

CONFIGS = Path(__file__).parents[2] / "configs"
# Runs the command line with a progress that tells stderr where it is, so that nothing depends on how fast it
# is; in many small shares, so that a third of them is done long before all.
TELLING = """
import signal
import sys
from contextlib import contextmanager
from vpp import equilibrium
from vpp.cli import app, compare, crew, polar

@contextmanager
def telling(what):
    print("solving begins", file=sys.stderr, flush=True)
    yield lambda done, total: print("a third is done" * (3 * done > total), file=sys.stderr, flush=True)

if __name__ == "__main__":
    # a shell that runs the tests in the background lets what it starts ignore Ctrl-C
    signal.signal(signal.SIGINT, signal.default_int_handler)
    equilibrium.PATCH, equilibrium.LEAST_SHARED, equilibrium.MOST_IN_PART = 5, 10, 6
    for module in (polar, compare, crew):
        module.progress = telling
    app(prog_name="vpp")
"""

pytestmark = pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="signals of POSIX")


def interrupted(script: Path, *words: str, after: str) -> tuple[int, str, str]:
    """Exit code, stdout and stderr of a command whose whole process group gets Ctrl-C, as from a terminal,
    once stderr holds a line with `after` in it. Fails if a process of the group is left.
    """
    script.write_text(TELLING, encoding="utf-8")
    command = subprocess.Popen(
        [sys.executable, str(script), *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
    )
    assert command.stderr is not None
    told = []
    for line in command.stderr:
        told.append(line)
        if after in line:
            break
    os.killpg(command.pid, signal.SIGINT)
    out, rest = command.communicate(timeout=120)
    for _ in range(100):
        try:
            os.killpg(command.pid, 0)
        except ProcessLookupError:
            return command.returncode, out, "".join(told) + rest
        time.sleep(0.05)
    pytest.fail("a process of the command is left")


@pytest.mark.parametrize("processes", [1, 2])
def test_a_polar_keeps_what_is_done_and_says_that_it_is_a_part(tmp_path: Path, processes: int) -> None:
    code, out, told = interrupted(
        tmp_path / "telling.py",
        *("polar", str(coarse_file(tmp_path, "keelboat.toml")), "--option", "base", "--tws", "8:14:2"),
        *("--twa", "70:120:10", "--processes", str(processes), "-o", str(tmp_path / "out")),
        after="a third is done",
    )
    assert code == STOPPED
    assert "Traceback" not in told
    rows = pd.read_csv(tmp_path / "out" / "polar.csv")
    done = int((rows["status"] != "interrupted").sum())
    assert 0 < done < len(rows)
    said = f"stopped: {done} of {len(rows)} conditions done"
    assert said in told
    assert said in out
    about = json.loads((tmp_path / "out" / "about.json").read_text(encoding="utf-8"))
    assert about["stopped"] == f"{done} of {len(rows)} conditions done"
    assert about["conditions"]["interrupted"] == len(rows) - done
    assert said in (tmp_path / "out" / "polar_base.svg").read_text(encoding="utf-8")
    assert rows.loc[rows["status"] == "converged", "boat_speed_kn"].notna().all()


@pytest.mark.parametrize("processes", [1, 2])
def test_a_comparison_with_nothing_done_says_so(tmp_path: Path, processes: int) -> None:
    """With two processes the interrupt comes while they start, which they must not see; with one, figures of
    nothing are drawn as well.
    """
    figures = () if processes == 1 else ("--no-figures",)
    code, out, told = interrupted(
        tmp_path / "telling.py",
        *(
            "compare",
            str(coarse_file(tmp_path, "keelboat.toml")),
            "--option",
            "taller_rig",
            "--tws",
            "6:16:2",
        ),
        *("--twa", "30:165:15", "--processes", str(processes), "-o", str(tmp_path / "out"), *figures),
        after="solving begins",
    )
    assert code == STOPPED
    assert "Traceback" not in told
    summary = (tmp_path / "out" / "summary.txt").read_text(encoding="utf-8")
    for text in (out, told, summary):
        assert "stopped: 0 of 144 conditions done" in text
    assert pd.read_csv(tmp_path / "out" / "gain.csv")["gain_kn"].isna().all()


@pytest.mark.parametrize("processes", [1, 2])
def test_what_is_nothing_in_part_is_ended_at_once(tmp_path: Path, processes: int) -> None:
    code, out, told = interrupted(
        tmp_path / "telling.py",
        *("crew", str(coarse_file(tmp_path, "keelboat.toml")), "--tws", "6:16:2", "--twa", "30:165:15"),
        *("--processes", str(processes), "-o", str(tmp_path / "out")),
        after="solving begins",
    )
    assert (code, out, told) == (STOPPED, "", "solving begins\nstopped: nothing is written\n")
    assert not (tmp_path / "out").exists()
