"""Studies of compiled sweeps: boats of several kinds and sail sets, the check by a search, and the run. With
NumPy's iteration in place of the compiled one.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.support import keelboat, sweeps, without_compiling
from tests.support.with_jax import jax_or_skip
from vpp import accelerator, config, sweep_compiled
from vpp.libraries import MissingLibrary
from vpp.solver.status import Status
from vpp.sweep import MANIFEST, Run
from vpp.sweep_answers import searched
from vpp.sweep_chunks import read_chunk
from vpp.sweep_compiled import compiled
from vpp.sweep_study import load_study

CONFIGS = Path(__file__).parents[2] / "configs"
WANTED = ("boat_speed", "heel", "vmg")
COMPILED = 'method = "compiled"\nanchors = 2'


@pytest.fixture(autouse=True)
def _not_compiled(monkeypatch):
    jax_or_skip()
    without_compiling.iterate_in_numpy(monkeypatch)


def _of_keel(boat, span):
    return replace(boat, fins=(replace(boat.fins[0], span=span), *boat.fins[1:]))


def test_boats_of_two_kinds_have_the_answers_of_a_search():
    coarse, finer = (keelboat.coarse(keelboat.base(), stations) for stations in (4, 5))
    spans = (1.45, 1.5, 1.55)
    boats = [_of_keel(boat, span) for span in spans for boat in (coarse, finer)]
    places = np.array([(span, kind) for span in spans for kind in (0.0, 1.0)])
    conditions = keelboat.conditions(tws_kn=[10.0, 11.0], twa_deg=[80.0, 85.0])
    got = compiled(boats, places, conditions, anchors=1, wanted=WANTED)
    expected = searched(boats, conditions, wanted=WANTED)
    assert (got.status == Status.CONVERGED).all()
    assert got.made_good == pytest.approx(expected.made_good, rel=1e-7)
    for name in WANTED:
        assert got.quantities[name] == pytest.approx(expected.quantities[name], rel=1e-4)
    # all but an anchor of each kind, and the boat that is checked
    assert (got.how == "followed").all(axis=1).sum() >= len(boats) - 3
    assert got.checks.shape == (len(conditions), 2)
    assert got.checks[:, 0] == pytest.approx(got.checks[:, 1], rel=1e-7)


def test_the_best_sail_set_counts():
    """In 6 kn the full sails are faster, in 28 kn the reefed ones."""
    base = keelboat.coarse(config.load(CONFIGS / "keelboat_sails.toml").boat("wardrobe"), 4)
    sets = tuple(each for each in base.sail_sets if each.name in ("full", "reefed"))
    boats = [_of_keel(replace(base, sail_sets=sets), span) for span in (1.5, 1.55)]
    conditions = keelboat.conditions(tws_kn=[6.0, 28.0], twa_deg=[45.0, 45.0])
    got = compiled(boats, np.array([[0.0], [1.0]]), conditions, anchors=1, wanted=WANTED)
    expected = searched(boats[1:], conditions, wanted=WANTED)
    assert got.made_good[1:] == pytest.approx(expected.made_good, rel=1e-7)
    assert got.sail_set.tolist() == [["full", "reefed"]] * 2


def test_a_device_has_a_name():
    assert sweep_compiled.device() in (
        "this processor, since JAX finds no graphics card",
        accelerator.devices()[0],
    )


def test_without_jax_the_study_is_refused_with_the_extra(tmp_path, monkeypatch):
    pytest.importorskip("pyarrow", reason="tables of chunks need the extra sweep")
    path = sweeps.study_file(tmp_path, rigs=8, more=COMPILED)
    monkeypatch.setitem(sys.modules, "jax", None)
    with pytest.raises(MissingLibrary, match=r"vpp\[gpu\]"):
        Run(load_study(path), tmp_path / "out")


def test_a_compiled_study_runs_and_goes_on(tmp_path):
    pytest.importorskip("pyarrow", reason="tables of chunks need the extra sweep")
    path = sweeps.study_file(tmp_path, rigs=8, chunk=4, more=COMPILED)
    text = path.read_text(encoding="utf-8").replace('best_vmg = ["upwind"]', "")
    path.write_text(text.replace("[8.0, 14.0]", "[12.0]").replace("[60.0]", "[80.0, 90.0]"), encoding="utf-8")
    run = Run(load_study(path), tmp_path / "out")
    found = run.forecast()
    assert "or less, compiled for" in found.sentence(2)
    assert run.run(processes=2)
    chunk = read_chunk(run.path(1), run.study)
    assert set(chunk.columns["how"]) == {"solved", "followed"}
    assert chunk.checks["checked"] > 0
    manifest = (tmp_path / "out" / MANIFEST).read_text(encoding="utf-8")
    assert "jaxlib" in manifest
    assert sweep_compiled.device() in manifest
    before = run.path(1).read_bytes()
    run.path(1).unlink()
    assert run.run()
    assert run.path(1).read_bytes() == before
    assert "the faster one counts)" in " ".join(run.result().in_words())
