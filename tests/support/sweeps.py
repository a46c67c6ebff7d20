"""Studies of the coarse keelboat, with an invented solver where only the run is on trial."""

from __future__ import annotations

import signal
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.support import keelboat
from vpp import sweep_chunks
from vpp.boat import Boat
from vpp.solved import Conditions
from vpp.solver import stopping
from vpp.solver.status import Status
from vpp.sweep import Run
from vpp.sweep_answers import Answers
from vpp.sweep_result import Sweep
from vpp.sweep_study import load_study

PLAN = """
schema_version = 1
name = "Luff and keel"
boat = "boat.toml"
option = "base"

[plan]
kind = "{kind}"
{rigs}seed = 3

[[factor]]
name = "luff_m"
key = "sail.main.foot_extension_m"
{luff}

[[factor]]
name = "keel_m"
key = "fin.keel.span_m"
{keel}

[conditions]
tws_kn = [8.0, 14.0]
twa_deg = [60.0]
best_vmg = ["upwind"]

[solve]
rigs_per_chunk = {chunk}
{more}
"""


def study_file(
    folder: Path,
    *,
    kind: str = "sobol",
    rigs: int | None = 32,
    luff: str = "least = 0.0\ngreatest = 0.6",
    keel: str = "least = 1.4\ngreatest = 1.6",
    chunk: int = 8,
    more: str = "",
    stations: int = 5,
) -> Path:
    """A study file and its boat file in a folder."""
    boat, *options = keelboat.FILE.read_text(encoding="utf-8").split("[[option]]")
    # every option is checked whenever the file is read: one is enough
    boat = "[[option]]".join([boat, *(text for text in options if '"more_crew"' in text)])
    lines = [f"station_count = {stations}" if x.startswith("station_count") else x for x in boat.splitlines()]
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "boat.toml").write_text("\n".join(lines), encoding="utf-8")
    path = folder / "study.toml"
    told = "" if rigs is None else f"rigs = {rigs}\n"
    text = PLAN.format(kind=kind, rigs=told, luff=luff, keel=keel, chunk=chunk, more=more)
    path.write_text(text, encoding="utf-8")
    return path


def invented(
    boats: Sequence[Boat], conditions: Conditions, *, wanted: Sequence[str], seconds: float = 0.0
) -> Answers:
    """Speeds that follow the boats' luff and keel by a simple law; none from 20 kn and with a long luff."""
    for _ in boats:
        if not stopping.asked():
            time.sleep(seconds)
    luff = np.array([boat.sails[0].foot_extension for boat in boats])[:, None]
    keel = np.array([boat.fins[0].span for boat in boats])[:, None]
    wind = conditions.tws[None, :]
    made = np.sqrt(wind) * (1.0 + 0.05 * luff + 0.1 * luff * (keel - 1.5) - 0.2 * (keel - 1.5) ** 2)
    good = ~((wind > 20.0 * keelboat.KNOT) & (luff > 0.5))
    shape = made.shape

    def words(text: str) -> Any:
        return np.full(shape, text, dtype=object)

    return Answers(
        status=np.where(good, int(Status.CONVERGED), int(Status.NO_EQUILIBRIUM)),
        made_good=np.where(good, made, np.nan),
        how=words("solved"),
        branch=words("hull-borne"),
        sail_set=words(""),
        reason=np.where(good, "", "No equilibrium at 3.5 m: try less wind."),
        remark=words(""),
        quantities={name: np.where(good, made, np.nan) for name in wanted},
        checks=np.zeros((0, 2)),
        searching_s=0.0,
        following_s=0.0,
        compiling_s=0.0,
    )


def result(folder: Path, *, also: Sequence[tuple[str, str]] = (), **given: Any) -> Sweep:
    """What a study of the invented solver says, after texts of its file are replaced by others."""
    path = study_file(folder, **given)
    text = path.read_text(encoding="utf-8")
    for old, new in also:
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        for name in ("followed", "searched"):
            patch.setattr(sweep_chunks, name, getattr(sweep_chunks, name))
        invent()
        run = Run(load_study(path), folder / "out")
        run.run()
        return run.result()


def invent(seconds: float = 0.0) -> None:
    """Put the invented solver in place of the real one, in this process."""

    def followed(boats: Any, places: Any, conditions: Any, *, anchors: int, wanted: Any) -> Answers:
        return invented(boats, conditions, wanted=wanted, seconds=seconds)

    def searched(boats: Any, conditions: Any, *, wanted: Any) -> Answers:
        return invented(boats, conditions, wanted=wanted)

    sweep_chunks.followed = followed  # type: ignore[assignment]
    sweep_chunks.searched = searched  # type: ignore[assignment]


if __name__ in ("__main__", "__mp_main__"):
    # `python -m tests.support.sweeps SECONDS WORDS...` runs the command line on the invented solver, which
    # the processes that it starts have as well
    invent(float(sys.argv[1]))
if __name__ == "__main__":
    from vpp.cli import app

    # a shell that runs the tests in the background lets what it starts ignore Ctrl-C
    signal.signal(signal.SIGINT, signal.default_int_handler)
    app(sys.argv[2:], prog_name="vpp")
