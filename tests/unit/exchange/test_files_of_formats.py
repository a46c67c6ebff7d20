"""Each format, written and read back by a library of its own."""

from __future__ import annotations

import json
import sys
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import vpp
from vpp.exchange.formats import FORMATS, export
from vpp.exchange.netcdf import STANDARD_NAMES
from vpp.exchange.table import EXPORTED, KEY, ExportError, PolarTable
from vpp.exchange.tidy_csv import descriptor, schema, table_text
from vpp.libraries import MissingLibrary
from vpp.polar import Polar
from vpp.solver.status import Status


def same_rows(read: pd.DataFrame, table: PolarTable) -> None:
    """Rows read from a file are those of the table: text alike, numbers to the last bit."""
    expected = table.rows
    assert list(read.columns) == list(expected.columns)
    for item in EXPORTED:
        if item.is_text:
            assert read[item.column].fillna("").tolist() == expected[item.column].tolist(), item.column
        else:
            np.testing.assert_array_equal(read[item.column].astype(float), expected[item.column])


# --- CSV with a Data Package --------------------------------------------------------------------------------


def test_csv_reads_back(table: PolarTable, tmp_path: Path) -> None:
    written = export(table, tmp_path)
    assert [path.name for path in written.files] == ["polars.csv", "datapackage.json", "about.json"]
    same_rows(pd.read_csv(tmp_path / "polars.csv", keep_default_na=False, na_values={
        item.column: [""] for item in EXPORTED if not item.is_text
    }), table)  # fmt: skip


def test_data_package_is_valid_and_its_fields_have_units(table: PolarTable, tmp_path: Path) -> None:
    frictionless = frictionless_or_skip()
    export(table, tmp_path)
    report = frictionless.validate(str(tmp_path / "datapackage.json"))
    assert report.valid, report.flatten(["type", "message"])
    resource = frictionless.Package(str(tmp_path / "datapackage.json")).get_resource("polars")
    rows = resource.read_rows()
    assert resource.schema.primary_key == list(KEY)
    assert [float(row["boat_speed_kn"]) for row in rows] == table.rows["boat_speed_kn"].tolist()
    assert rows[0]["ride_height_m"] is None
    told = {field.name: field.to_descriptor() for field in resource.schema.fields}
    assert told["boat_speed_kn"]["unit"] == "knot"
    assert told["heel_deg"]["description"] == "heel: positive to leeward (where converged)"
    assert "unit" not in told["remark"]


def frictionless_or_skip() -> Any:
    """The library, which warns as it is imported."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return pytest.importorskip("frictionless", reason="needs the reference library frictionless")


@pytest.mark.parametrize(
    ("column", "value", "error"),
    [
        ("aim", "sideways", "constraint-error"),
        ("twa_deg", 200.0, "constraint-error"),
        ("boat_speed_kn", -1.0, "constraint-error"),
        ("boat_speed_kn", float("nan"), "constraint-error"),
        ("heel_deg", "steep", "type-error"),
    ],
)
def test_schema_refuses_a_wrong_row(table: PolarTable, column: str, value: Any, error: str) -> None:
    frictionless = frictionless_or_skip()
    rows = table.rows.astype(object)
    rows.loc[0, column] = value
    assert faults(frictionless, rows) == {error}


def test_schema_refuses_a_row_that_stands_there_twice(table: PolarTable) -> None:
    frictionless = frictionless_or_skip()
    rows = pd.concat([table.rows, table.rows.iloc[[3]]])
    assert faults(frictionless, rows) == {"primary-key"}
    assert faults(frictionless, table.rows) == set()


def faults(frictionless: Any, rows: pd.DataFrame) -> set[str]:
    """The kinds of errors that the schema finds in a table."""
    resource = frictionless.Resource(
        data=rows.to_csv(index=False).encode(),
        format="csv",
        schema=frictionless.Schema.from_descriptor(schema()),
    )
    return {str(each[0]) for each in resource.validate().flatten(["type"])}


def test_descriptor_says_how_many_are_left_out(table: PolarTable) -> None:
    told = descriptor(table, table_text(table))
    assert told["name"] == "demo-keelboat"
    assert told["description"].startswith("5 of 36 conditions are left out, without a result: 4 no_equ")
    assert told["vpp"]["left_out"] == {"no_equilibrium": 4, "step_limit": 1}


# --- Parquet ------------------------------------------------------------------------------------------------


def test_parquet_reads_back_with_units(table: PolarTable, tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet", reason="needs the reference library pyarrow")
    export(table, tmp_path, formats=["parquet"])
    read = parquet.read_table(tmp_path / "polars.parquet")
    same_rows(pd.DataFrame(read.to_pydict()), table)
    same_rows(pd.read_parquet(tmp_path / "polars.parquet"), table)
    fields = {field.name: field.metadata for field in read.schema}
    assert fields["drive_n"][b"unit"] == b"newton"
    assert fields["heel_deg"][b"long_name"] == b"heel"
    assert b"unit" not in fields["option"]
    assert str(read.schema.field("tws_kn").type) == "double"
    assert read.column("ride_height_m").null_count == len(table.rows)
    assert json.loads(read.schema.metadata[b"vpp"])["left_out"] == table.left_out


# --- netCDF -------------------------------------------------------------------------------------------------


def open_netcdf(table: PolarTable, folder: Path) -> Any:
    pytest.importorskip("netCDF4", reason="needs the reference library netCDF4")
    xarray = pytest.importorskip("xarray", reason="needs the reference library xarray")
    export(table, folder, formats=["netcdf"])
    return xarray.load_dataset(folder / "polars.nc")


def test_netcdf_reads_back_on_its_grid(polar: Polar, table: PolarTable, tmp_path: Path) -> None:
    data = open_netcdf(table, tmp_path)
    assert dict(data.sizes) == {"option": 2, "tws": 3, "twa": 4, "aim": 2}
    assert data["option_name"].values.tolist() == ["base", "cut_head"]
    assert data["tws"].values.tolist() == [8.0, 16.0, 24.0]
    np.testing.assert_allclose(
        data["boat_speed"].values, polar.at_angles("boat_speed_kn"), atol=5.001e-5, rtol=0.0
    )
    for place, aim in enumerate(("upwind", "downwind")):
        assert data["aim_name"].values[place] == aim
        for name, column in (("best_twa", "twa_deg"), ("best_vmg", "vmg_kn"), ("best_heel", "heel_deg")):
            expected = polar.at_best_vmg(column, aim=aim)
            np.testing.assert_allclose(data[name].values[:, :, place], expected, atol=5.001e-4, rtol=0.0)
    np.testing.assert_array_equal(data["status"].values, polar.statuses()[:, :, :4])
    np.testing.assert_array_equal(data["best_status"].values, polar.statuses()[:, :, 4:])
    np.testing.assert_array_equal(data["remark"].values == "heel limit", polar.remarks()[:, :, :4] != "")


def test_netcdf_has_units_and_flags(table: PolarTable, tmp_path: Path) -> None:
    data = open_netcdf(table, tmp_path)
    assert data.attrs["Conventions"] == "CF-1.11"
    assert data.attrs["left_out_no_equilibrium"] == 4
    assert "4 no_equilibrium, 1 step_limit" in data.attrs["left_out_text"]
    assert "ride_height_m" in data.attrs["without_values"].split()
    assert data["tws"].attrs["units"] == "knot"
    assert data["twa"].attrs["units"] == "degree"
    assert data["drive"].attrs["units"] == "newton"
    assert data["boat_speed"].attrs["standard_name"] == "platform_speed_wrt_sea_water"
    assert "standard_name" not in data["tws"].attrs
    assert data["best_heel"].attrs["long_name"] == "heel at best VMG"
    for name, values in data.variables.items():
        assert values.attrs["long_name"], name
        # CF: `units` for all that has a dimension, none for flags and text
        assert ("units" in values.attrs) == (values.dtype.kind == "f"), name
    flags = dict(
        zip(data["status"].attrs["flag_meanings"].split(), data["status"].attrs["flag_values"], strict=True)
    )
    assert flags == {status.name.lower(): int(status) for status in Status}
    assert data["branch"].dtype == np.int8
    assert data["branch"].attrs["flag_meanings"] == "none hull-borne foil-borne"
    np.testing.assert_array_equal(data["branch"].values == 1, data["status"].values == 0)


def test_netcdf_numbers_without_a_result_are_missing_in_the_file(table: PolarTable, tmp_path: Path) -> None:
    open_netcdf(table, tmp_path).close()
    netcdf4 = pytest.importorskip("netCDF4", reason="needs the reference library netCDF4")
    with netcdf4.Dataset(tmp_path / "polars.nc") as file:
        speed = file["boat_speed"][:]
        assert file["boat_speed"].getncattr("_FillValue") == netcdf4.default_fillvals["f8"]
        np.testing.assert_array_equal(speed.mask, file["status"][:] != Status.CONVERGED)
        # CF 2.5.1: a coordinate variable has no missing values
        assert "_FillValue" not in file["tws"].ncattrs()


def test_state_that_is_not_proven_is_not_exported(polar: Polar, tmp_path: Path) -> None:
    frame = polar.to_frame()
    late = frame["status"] == "step_limit"
    frame.loc[late, ["boat_speed_kn", "vmg_kn"]] = 9.0
    table = PolarTable.from_frame(frame, source=polar.source)
    assert not (table.rows["boat_speed_kn"] == 9.0).any()
    data = open_netcdf(table, tmp_path)
    assert not (data["boat_speed"] == 9.0).any()
    assert int((data["status"] == Status.STEP_LIMIT).sum()) == 1


def test_period_of_waves_stays_a_number_and_sail_sets_are_flags(polar: Polar, tmp_path: Path) -> None:
    frame = polar.to_frame().assign(wave_period_s=4.5, wave_height_m=0.8)
    frame["sail_set"] = np.where(frame["twa_deg"] > 100.0, "kite", "jib")
    table = PolarTable.from_frame(frame, source=polar.source)
    data = open_netcdf(table, tmp_path)
    assert data["wave_period"].dtype == np.float64
    assert float(data["wave_period"].max()) == 4.5
    for column in ("wave_height_m", "wave_period_s"):
        assert data[column[:-2]].attrs["standard_name"] == STANDARD_NAMES[column]
    assert data["sail_set"].attrs["flag_meanings"] == "none jib kite"
    assert data["sail_set"].values[0, 0].tolist() == [1, 1, 1, 2]
    assert data["sail_set"].values[0, 1].tolist() == [0, 1, 1, 2]


def test_table_that_is_no_grid_is_refused(polar: Polar, tmp_path: Path) -> None:
    pytest.importorskip("xarray", reason="needs the reference library xarray")
    pytest.importorskip("netCDF4", reason="needs the reference library netCDF4")
    table = PolarTable.from_frame(polar.to_frame().drop(index=2), source=polar.source)
    with pytest.raises(ExportError, match="23 conditions are no whole grid, which has 2 x 3 x 4 of option"):
        export(table, tmp_path / "grid", formats=["csv", "netcdf"])
    assert list((tmp_path / "grid").iterdir()) == []


# --- all of them --------------------------------------------------------------------------------------------


def test_export_is_a_public_function(polar: Polar, tmp_path: Path) -> None:
    written = vpp.export(polar, tmp_path, formats=["signalk"])
    assert [path.name for path in written.files] == ["signalk_polars.json", "about.json"]
    told = json.loads((tmp_path / "about.json").read_text(encoding="utf-8"))
    assert told["exported"] == 31
    assert told["left_out"] == {"no_equilibrium": 4, "step_limit": 1}
    assert told["remarks"] == {"heel limit": 9}
    assert told["files"] == ["signalk_polars.json", "about.json"]


def test_files_of_an_earlier_export_are_removed(table: PolarTable, tmp_path: Path) -> None:
    export(table, tmp_path, formats=["csv"])
    (tmp_path / "notes.csv").write_text("mine\n", encoding="utf-8")
    written = export(table, tmp_path, formats=["signalk"])
    assert {path.name for path in written.removed} == {"polars.csv", "datapackage.json"}
    assert {path.name for path in tmp_path.iterdir()} == {"notes.csv", "signalk_polars.json", "about.json"}


def test_file_that_cannot_be_written_leaves_the_folder_as_it_was(
    table: PolarTable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    export(table, tmp_path)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}

    def half(_: PolarTable, path: Path) -> None:
        path.write_bytes(b"PAR1")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("vpp.exchange.formats.check_formats", lambda _: None)
    monkeypatch.setattr("vpp.exchange.formats.write_parquet", half)
    with pytest.raises(OSError, match="No space left"):
        export(table, tmp_path, formats=["csv", "parquet"])
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_missing_libraries_are_named_with_the_extra(
    table: PolarTable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("pyarrow", "pyarrow.parquet", "xarray", "netCDF4"):
        monkeypatch.setitem(sys.modules, name, None)
    with pytest.raises(MissingLibrary) as told:
        export(table, tmp_path / "none", formats=FORMATS)
    assert told.value.problems == (
        "parquet: pyarrow is not installed: it comes with the extra sweep, pip install 'vpp[sweep]'",
        "netcdf: xarray is not installed: it comes with the extra netcdf, pip install 'vpp[netcdf]'",
        "netcdf: netCDF4 is not installed: it comes with the extra netcdf, pip install 'vpp[netcdf]'",
    )
    assert not (tmp_path / "none").exists()
    assert len(export(table, tmp_path, formats=["csv", "signalk"]).files) == 4


def test_format_that_does_not_exist_is_refused(table: PolarTable, tmp_path: Path) -> None:
    with pytest.raises(ExportError, match="'text': not a format; there are csv, parquet, netcdf, signalk"):
        export(table, tmp_path, formats=["text"])
