"""What is exported of a polar, and what is told of the rest."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.support import synthetic
from vpp.exchange.table import EXPORTED, KEY, ExportError, NothingToExport, PolarTable, description, units
from vpp.polar import Polar
from vpp.results.files import csv_text
from vpp.results.variables import VARIABLES

# the invented results fail at 30 deg above 15 kn, and for cut_head at 160 deg in 24 kn
LEFT_OUT = {"no_equilibrium": 4, "step_limit": 1}


def test_rows_are_the_conditions_with_a_result(polar: Polar, table: PolarTable) -> None:
    frame = polar.to_frame()
    assert len(frame) == 2 * 3 * (4 + 2)
    assert len(table.rows) == len(frame) - 5 == int(polar.converged.sum())
    assert table.left_out == LEFT_OUT
    assert table.left_out_text == (
        "5 of 36 conditions are left out, without a result: 4 no_equilibrium, 1 step_limit"
    )
    assert set(table.rows.columns) == {item.column for item in VARIABLES} - {"status", "reason"}
    assert not table.rows.duplicated(list(KEY)).any()


def test_grid_and_what_was_solved_are_kept(table: PolarTable) -> None:
    assert table.options == ("base", "cut_head")
    assert table.tws_kn == (8.0, 16.0, 24.0)
    assert table.twa_deg == (30.0, 60.0, 90.0, 160.0)
    told = table.about()
    assert told["exported"] == 31
    assert told["left_out"] == LEFT_OUT
    assert told["digest"] == "0a1b2c3d4e5f"
    assert told["wind_reference_height_m"] == synthetic.make_boat().environment.wind_reference_height
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", told["solved_on"])
    assert table.says["cut_head"] == "head narrowed above 80 % of the luff"


def test_table_read_from_a_file_is_the_same(polar: Polar, table: PolarTable) -> None:
    read = PolarTable.from_frame(
        pd.read_csv(io.StringIO(csv_text(polar.to_frame()))), source=polar.source, boats=polar.solved.boats
    )
    pd.testing.assert_frame_equal(read.rows, table.rows)
    assert read.about() == table.about()


def test_wind_height_that_options_do_not_share_is_not_told(polar: Polar) -> None:
    base, other = polar.solved.boats
    higher = replace(other, environment=replace(other.environment, wind_reference_height=12.0))
    table = PolarTable.from_frame(polar.to_frame(), source=polar.source, boats=(base, higher))
    assert table.wind_reference_height_m is None
    assert PolarTable.from_frame(polar.to_frame(), source=polar.source).says == {}


def test_polar_without_any_result_is_refused(polar: Polar) -> None:
    frame = polar.to_frame().assign(status="no_equilibrium")
    with pytest.raises(NothingToExport, match="none of the 36 conditions has a result"):
        PolarTable.from_frame(frame, source=polar.source)


def test_table_of_another_kind_is_refused(polar: Polar) -> None:
    with pytest.raises(ExportError, match="without the columns heel_deg"):
        PolarTable.from_frame(polar.to_frame().drop(columns="heel_deg"), source=polar.source)


@pytest.mark.parametrize(("row", "told"), [(1, "60 deg"), (4, "upwind")])
def test_condition_that_stands_there_twice_is_refused(polar: Polar, row: int, told: str) -> None:
    frame = polar.to_frame()
    twice = pd.concat([frame, frame.iloc[[row]]], ignore_index=True)
    with pytest.raises(ExportError, match=rf"base, 8 kn, .*{told}.*stands twice"):
        PolarTable.from_frame(twice, source=polar.source)


def test_numbers_have_the_digits_of_files(polar: Polar, table: PolarTable) -> None:
    exact = polar.to_frame().loc[polar.converged, "boat_speed_kn"].to_numpy()
    assert not np.array_equal(table.rows["boat_speed_kn"], exact)
    np.testing.assert_allclose(table.rows["boat_speed_kn"], exact, atol=5.001e-5, rtol=0.0)


def test_every_unit_is_one_that_udunits_knows() -> None:
    cf_units = pytest.importorskip("cf_units", reason="needs the reference library cf_units")
    sizes = {
        "boat_speed_kn": ("m s-1", 1852.0 / 3600.0),
        "heel_deg": ("radian", np.pi / 180.0),
        "main_camber_percent": ("1", 0.01),
        "ride_height_m": ("m", 1.0),
        "wave_period_s": ("s", 1.0),
        "drive_n": ("kg m s-2", 1.0),
        "righting_moment_nm": ("kg m2 s-2", 1.0),
        "heave_stiffness_n_per_m": ("kg s-2", 1.0),
        "immersion_price_kn_per_m": ("s-1", 1852.0 / 3600.0),
        "pitch_stiffness_nm_per_deg": ("kg m2 s-2 radian-1", 180.0 / np.pi),
        "froude_number": ("1", 1.0),
    }
    by_column = {item.column: item for item in EXPORTED}
    assert {units(by_column[column]) for column in sizes} == {
        units(item) for item in EXPORTED if not item.is_text
    }
    for column, (in_si, size) in sizes.items():
        unit = cf_units.Unit(units(by_column[column]))
        assert unit.convert(1.0, cf_units.Unit(in_si)) == pytest.approx(size, rel=1e-12), column


def test_descriptions_are_plain_lines() -> None:
    for item in EXPORTED:
        assert description(item).startswith(f"{item.long_name}: ")
        assert not set(description(item)) & set("`\n")
