"""`vpp export` on invented results: what it prints and writes, and how it ends."""

from __future__ import annotations

import importlib
import io
import json
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from typer.testing import CliRunner

from vpp.cli import app
from vpp.exchange.formats import FORMATS
from vpp.results.files import CAUTION
from vpp.solver.status import Status

WINDS = ("--tws", "8:24:8", "--twa", "30:160:65", "--option", "cut_head")
# the invented results fail at 30 deg above 15 kn, and for cut_head at 160 deg in 24 kn
LEFT_OUT = "5 of 30 conditions are left out, without a result: 4 no_equilibrium, 1 step_limit"


def test_text_tells_what_is_exported_and_left_out(invented: Callable[..., Any]) -> None:
    done = invented("export", "good.toml", *WINDS)
    assert done.exit_code == 3
    assert LEFT_OUT in done.stdout
    assert done.stderr == f"{LEFT_OUT}\n"
    lines = [line.split() for line in done.stdout.splitlines()]
    assert ["base", "8", "to", "24", "30", "to", "160", "13", "2"] in lines
    assert ["cut_head", "8", "to", "24", "30", "to", "160", "12", "3"] in lines
    assert "  exported/polars.csv" in done.stdout
    assert done.stdout.rstrip().endswith(CAUTION)
    assert {path.name for path in Path("exported").iterdir()} == {
        "polars.csv", "datapackage.json", "about.json",
    }  # fmt: skip


def test_all_converged_ends_well(invented: Callable[..., Any]) -> None:
    done = invented("export", "plain.toml", "--tws", "8", "--twa", "90", "--as", "signalk", "-o", "here")
    assert done.exit_code == 0, done.output
    assert "All 3 conditions have a result." in done.stdout
    assert {path.name for path in Path("here").iterdir()} == {"signalk_polars.json", "about.json"}


def test_polar_of_an_earlier_run_gives_the_same_files(invented: Callable[..., Any]) -> None:
    invented("polar", "good.toml", *WINDS, "--no-figures")
    formats = ("--as", "csv", "--as", "signalk")
    assert invented("export", "good.toml", *WINDS, *formats, "-o", "solved").exit_code == 3
    read = invented(
        "export", "good.toml", "--polar", "out/polar", "--option", "cut_head", *formats, "-o", "read"
    )
    assert read.exit_code == 3
    assert LEFT_OUT in read.stdout
    for name in ("polars.csv", "datapackage.json", "signalk_polars.json", "about.json"):
        assert Path("read", name).read_bytes() == Path("solved", name).read_bytes(), name


def test_option_picks_from_an_earlier_run(invented: Callable[..., Any]) -> None:
    invented("polar", "good.toml", "--tws", "8:10:2", "--twa", "60:90:30", "--no-figures")
    words = ("export", "good.toml", "--polar", "out/polar", "--format", "csv")
    picked = invented(*words, "--option", "lower_foot")
    assert picked.exit_code == 0, picked.output
    assert set(pd.read_csv(io.StringIO(picked.stdout))["option"]) == {"base", "lower_foot"}
    invented("polar", "good.toml", "--tws", "8", "--twa", "60", "--option", "cut_head", "--no-figures")
    lacking = invented(*words, "--option", "lower_foot")
    assert lacking.exit_code == 2
    assert (
        lacking.stderr == "option = 'lower_foot': not in the polar of 'out/polar', which has base, cut_head\n"
    )


def test_json_is_strict_and_tells_the_counts(invented: Callable[..., Any]) -> None:
    done = invented("export", "good.toml", *WINDS, "--format", "json")

    def refuse(word: str) -> None:
        raise AssertionError(word)

    told = json.loads(done.stdout, parse_constant=refuse)
    assert told["exported"] == len(told["rows"]) == 25
    assert told["left_out"] == {"no_equilibrium": 4, "step_limit": 1}
    assert told["files"] == ["polars.csv", "datapackage.json", "about.json"]


def test_every_mistake_is_told_at_once(invented: Callable[..., Any]) -> None:
    done = invented(
        "export", "bad.toml", "--as", "parrot", "--tws", "20:6:2", "--twa", "30:90:7", "--polar", "exported"
    )
    assert done.exit_code == 2
    for said in (
        "as = 'parrot': not a format; there are csv, parquet, netcdf, signalk",
        "tws = '20:6:2': empty",
        "twa = '30:90:7': steps of 7",
        "tws: of no use besides --polar",
        "twa: of no use besides --polar",
        "out = 'exported': the folder that --polar names",
        "hull.waterline_length_m",
        "rig.mast_x",
    ):
        assert said in done.stderr, said
    assert not Path("exported").exists()


def test_missing_library_names_the_extra_before_anything_is_solved(
    invented: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    monkeypatch.setattr(importlib.import_module("vpp.polar"), "solve", None)
    done = invented("export", "good.toml", "--as", "parquet", "--as", "csv")
    assert done.exit_code == 2
    assert "parquet: pyarrow is not installed: it comes with the extra sweep" in done.stderr
    assert "pip install 'vpp[sweep]'" in done.stderr
    assert not Path("exported").exists()


def test_nothing_is_written_without_a_result(invented: Callable[..., Any]) -> None:
    invented("polar", "good.toml", "--tws", "20", "--twa", "30", "--no-figures")
    frame = pd.read_csv("out/polar/polar.csv").assign(status="no_equilibrium")
    frame.to_csv("out/polar/polar.csv", index=False)
    done = invented("export", "good.toml", "--polar", "out/polar")
    assert done.exit_code == 3
    assert done.stderr == "none of the 12 conditions has a result: nothing is written\n"
    assert not Path("exported").exists()


@pytest.mark.parametrize("folder", ["nowhere", "foreign"])
def test_folder_that_holds_no_polar_of_the_boat_is_refused(invented: Callable[..., Any], folder: str) -> None:
    invented("polar", "good.toml", "--tws", "8", "--twa", "60", "--no-figures", "-o", "foreign")
    about = json.loads(Path("foreign/about.json").read_text(encoding="utf-8"))
    Path("foreign/about.json").write_text(json.dumps({**about, "digest": "f"}), encoding="utf-8")
    done = invented("export", "good.toml", "--polar", folder)
    assert done.exit_code == 2
    assert done.stderr.startswith(f"polar = '{folder}': ")
    assert done.stdout == ""


def test_file_in_the_way_is_told(invented: Callable[..., Any]) -> None:
    Path("exported").write_text("mine\n", encoding="utf-8")
    done = invented("export", "good.toml", "--tws", "8", "--twa", "60")
    assert done.exit_code == 2
    assert done.stderr == "out = 'exported': a file of that name is in the way\n"


def test_table_with_a_row_twice_is_refused(invented: Callable[..., Any]) -> None:
    invented("polar", "good.toml", "--tws", "8", "--twa", "60", "--no-figures")
    frame = pd.read_csv("out/polar/polar.csv")
    pd.concat([frame, frame.iloc[[0]]]).to_csv("out/polar/polar.csv", index=False)
    done = invented("export", "good.toml", "--polar", "out/polar")
    assert done.exit_code == 2
    assert done.stderr == "base, 8 kn, 60 deg (speed): stands twice in the table of conditions\n"
    assert not Path("exported").exists()


def test_run_that_is_stopped_exports_what_is_done(
    invented: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    module = importlib.import_module("vpp.polar")
    solve = module.solve

    def stopped(*given: Any, **named: Any) -> Any:
        solved = solve(*given, **named)
        status = solved.status.copy()
        status[-4:] = Status.INTERRUPTED
        return replace(solved, status=status)

    monkeypatch.setattr(module, "solve", stopped)
    done = invented("export", "plain.toml", "--tws", "8:12:2", "--twa", "60")
    assert done.exit_code == 130
    assert done.stderr == "stopped: 5 of 9 conditions done\n"
    assert len(pd.read_csv("exported/polars.csv")) == 5
    assert "4 of 9 conditions are left out, without a result: 4 interrupted." in done.stdout
    invented("polar", "plain.toml", "--tws", "8:12:2", "--twa", "60", "--no-figures")
    read = invented("export", "plain.toml", "--polar", "out/polar")
    assert read.exit_code == 3
    assert "stopped: 5 of 9 conditions done" in read.stdout


def test_all_formats_are_written_at_once(invented: Callable[..., Any]) -> None:
    for name in ("pyarrow", "xarray", "netCDF4"):
        pytest.importorskip(name, reason=f"needs the reference library {name}")
    formats = [word for name in FORMATS for word in ("--as", name)]
    done = invented("export", "good.toml", *WINDS, *formats)
    assert done.exit_code == 3, done.output
    assert {path.name for path in Path("exported").iterdir()} == {
        "polars.csv", "datapackage.json", "polars.parquet", "polars.nc", "signalk_polars.json", "about.json",
    }  # fmt: skip


def test_real_boat_is_exported(tmp_path: Path) -> None:
    """The demo keelboat in one wind at one angle, solved."""
    words = ["export", "configs/keelboat.toml", "--tws", "12", "--twa", "90", "--option", "small_jib"]
    words += ["--as", "csv", "--as", "signalk", "-o", str(tmp_path / "here"), "--processes", "1"]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 0, done.output
    rows = pd.read_csv(tmp_path / "here" / "polars.csv")
    assert rows["aim"].tolist() == ["speed", "upwind", "downwind"] * 2
    assert rows["boat_speed_kn"].between(3.0, 9.0).all()


def test_the_option_that_is_named_is_the_active_polar(invented: Callable[..., Any]) -> None:
    for words, name in ((("--option", "cut_head"), "cut_head"), ((), "base")):
        invented("export", "good.toml", *WINDS[:4], *words, "--as", "signalk", "-o", "here")
        told = json.loads(Path("here/signalk_polars.json").read_text(encoding="utf-8"))
        (vessel,) = told["vessels"].values()
        active = vessel["performance"]["polars"][vessel["performance"]["activePolar"]]
        assert name in json.dumps(active)
