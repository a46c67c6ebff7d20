"""Studies: the plan of rigs, limits, and what a study file is refused for."""

from __future__ import annotations

import pickle
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import kstest, norm

from tests.support import sweeps
from vpp.config.errors import BoatFileError
from vpp.sweep_chunks import LEFT_OUT, NOT_BUILT, _built
from vpp.sweep_study import Factor, chunk_size, load_study

pytest.importorskip("pyarrow", reason="tables of chunks need the extra sweep")


def study(folder, **given):
    return load_study(sweeps.study_file(folder, **given))


def refused(folder, **given) -> str:
    with pytest.raises(BoatFileError) as told:
        study(folder, **given)
    return "\n".join(str(each) for each in told.value.problems)


def values_of(found):
    return np.array(found.values(np.arange(found.rigs)), dtype=float)


def test_a_grid_has_all_combinations_once(tmp_path):
    found = study(
        tmp_path,
        kind="grid",
        rigs=None,
        luff="values = [0.0, 0.3, 0.6]",
        keel="least = 1.4\ngreatest = 1.6\nsteps = 5",
    )
    pairs = {tuple(pair) for pair in values_of(found).T.round(6)}
    assert found.rigs == len(pairs) == 15
    assert {keel for _, keel in pairs} == {1.4, 1.45, 1.5, 1.55, 1.6}


@pytest.mark.parametrize("kind", ["sobol", "latin_hypercube"])
def test_samples_fill_the_space_and_follow_the_seed(tmp_path, kind):
    found = study(tmp_path, kind=kind, rigs=64)
    luff, keel = values_of(found)
    # one rig in each of 64 equal parts of every factor: what both plans promise
    for values, low, high in ((luff, 0.0, 0.6), (keel, 1.4, 1.6)):
        assert sorted(((values - low) / (high - low) * 64).astype(int)) == list(range(64))
    assert np.array_equal(values_of(study(tmp_path, kind=kind, rigs=64)), values_of(found))
    path = found.path
    path.write_text(path.read_text().replace("seed = 3", "seed = 4"))
    assert not np.array_equal(values_of(load_study(path)), values_of(found))


def test_distributions(tmp_path):
    share = (np.arange(2000) + 0.5) / 2000
    normal = Factor(name="a", keys=(), least=2.0, greatest=6.0, distribution="normal")
    values = normal.values(share)
    assert values.min() >= 2.0
    assert values.max() <= 6.0
    # the normal distribution of which 95 % lie between both ends, without what lies beyond
    sigma = 2.0 / norm.ppf(0.975)
    assert kstest((norm.cdf(values, 4.0, sigma) - 0.025) / 0.95, "uniform").statistic < 1e-3
    peaked = Factor(name="a", keys=(), least=0.0, greatest=4.0, distribution="triangular", likeliest=1.0)
    # the mean of a triangle is that of its corners
    assert peaked.values(share).mean() == pytest.approx((0.0 + 4.0 + 1.0) / 3.0, rel=1e-4)


def test_every_rig_is_in_one_chunk_and_chunks_are_cells_of_the_space(tmp_path):
    found = study(tmp_path, rigs=128, chunk=16)
    chunks = [found.chunk(number) for number in range(found.chunk_count)]
    assert sorted(np.concatenate(chunks)) == list(range(128))
    shares = found.shares(np.arange(128))
    spread = np.mean([np.ptp(shares[chunk], axis=0).max() for chunk in chunks])
    assert spread < 0.55  # eight cells of a plane are half as wide as it, and a rest


def test_the_last_chunk_may_be_smaller(tmp_path):
    found = study(tmp_path, rigs=20, chunk=8)
    assert [len(found.chunk(number)) for number in range(found.chunk_count)] == [8, 8, 4]


def test_chunks_grow_with_the_study_to_a_bound():
    assert chunk_size(16, 30, 3) == 24
    assert chunk_size(10_000, 30, 3) == chunk_size(1_000_000, 30, 3)
    assert chunk_size(10_000, 30, 3) * 30 <= 4096


def test_options_are_a_factor(tmp_path):
    path = sweeps.study_file(tmp_path, rigs=16)
    path.write_text(
        path.read_text()
        + '\n[[factor]]\nname = "crew_kind"\nkey = "option"\nvalues = ["base", "more_crew"]\n'
    )
    found = load_study(path)
    boats = [_built(found, [column[at] for column in found.values(np.arange(16))]).boat for at in range(16)]
    assert {boat.crew.mass for boat in boats} == {480.0, 560.0}
    assert len({boat.fins[0].span for boat in boats}) == 16


def test_numbers_that_move_together(tmp_path):
    path = sweeps.study_file(tmp_path, rigs=16)
    path.write_text(
        path.read_text()
        .replace('"sail.main.foot_extension_m"', '"rig.mast_top_height_m+sail.main.head_height_m"')
        .replace("least = 0.0\ngreatest = 0.6", "least = 15.0\ngreatest = 15.6")
    )
    found = load_study(path)
    boat = _built(found, [column[3] for column in found.values(np.arange(16))]).boat
    assert boat.rig.mast_top_height - boat.sails[0].head_height == pytest.approx(15.2 - 14.7)


def test_rigs_that_break_a_limit_are_left_out_and_those_that_cannot_be_are_told(tmp_path):
    more = (
        '[[constraint]]\nname = "luff"\nquantity = "luff_length"\nof = "main"\ngreatest_m = 13.2\n'
        '[[sum]]\nname = "both"\nfactors = ["luff_m", "keel_m"]\nweights = [1.0, 1.0]\ngreatest = 1.95\n'
    )
    found = study(tmp_path, luff="least = 0.0\ngreatest = 5.0", more=more)
    built = {luff: _built(found, [luff, 1.45]) for luff in (0.1, 0.45, 0.55, 4.0)}
    assert built[0.1].boat is not None
    assert built[0.1].tightest == "luff"
    assert built[0.45].status == LEFT_OUT
    assert 'breaks "luff"' in built[0.45].reason
    assert built[0.55].status == LEFT_OUT
    assert "breaks both: the sum is 2" in built[0.55].reason
    alone = study(tmp_path / "other", luff="least = 0.0\ngreatest = 5.0")
    far = _built(alone, [4.0, 1.45])
    assert far.status == NOT_BUILT
    assert "foot_extension_m" in far.reason


def test_a_study_travels_to_another_process(tmp_path):
    found = study(tmp_path)
    there = pickle.loads(pickle.dumps(found))
    assert there.digest == found.digest
    assert np.array_equal(there.chunk(2), found.chunk(2))


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"kind": "gird"}, "no such choice"),
        ({"rigs": None}, "missing: how many rigs"),
        ({"kind": "grid", "rigs": None}, "a grid takes even steps"),
        ({"kind": "grid"}, "a grid has as many rigs"),
        ({"luff": "values = [0.1]"}, "too few"),
        ({"luff": "values = [0.1, 0.1]"}, "each value once"),
        ({"luff": 'values = ["a", "b"]'}, "takes numbers"),
        ({"luff": "least = 0.1"}, "both needed"),
        ({"luff": "least = 0.1\ngreatest = 0.2\nlikeliest = 0.3"}, "triangular"),
        ({"luff": "least = 0.1\ngreatest = 0.2\nsteps = 3"}, "belongs to a grid"),
        ({"luff": "last = 0.1\ngreatest = 0.2"}, 'did you mean "least"?'),
        ({"more": '[outputs]\ncolumns = ["hell_deg"]'}, 'did you mean "heel_deg"?'),
        ({"more": '[outputs]\nfront = ["upwind", "sideways"]'}, "sideways is no aim"),
        ({"more": '[[aim]]\nname = "a"\ntws_kn = [9.0]'}, "9.0 is none of the"),
        ({"more": '[[aim]]\nname = "a"\ntws_weight = [1.0]'}, "1 weights for 2 winds"),
        ({"more": '[[sum]]\nname = "s"\nfactors = ["luf"]\nweights = [1.0]\nleast = 0.0'}, "luf is no"),
        ({"more": '[[constraint]]\nname = "c"\nquantity = "draught"'}, "neither least_m nor greatest_m"),
        (
            {"more": '[[constraint]]\nname = "c"\nquantity = "luff_length"\nof = "kite"\nleast_m = 1.0'},
            "nothing of that name",
        ),
        ({"more": "[rule_box]\nbreaking = 3"}, "breaking"),
        ({"more": "[weather]\nwet = true"}, "unknown key"),
    ],
)  # fmt: skip
def test_what_a_study_is_refused_for(tmp_path, given, told):
    assert told in refused(tmp_path, **given)


def test_a_boat_that_is_not_there(tmp_path):
    path = sweeps.study_file(tmp_path)
    (tmp_path / "boat.toml").unlink()
    with pytest.raises(BoatFileError, match="there is no such file"):
        load_study(path)


def test_the_demo_study_is_in_order():
    found = load_study(Path(__file__).parents[2] / "configs" / "studies" / "extension_study.toml")
    assert found.condition_count == 256 * 30
    built = [_built(found, [column[at] for column in found.values(np.arange(8))]) for at in range(8)]
    assert all(rig.boat is not None for rig in built)
