"""Polars in the data model of Signal K: against the published schema, and against the table."""

from __future__ import annotations

import json
import math
import os
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from vpp.exchange.formats import export
from vpp.exchange.signalk import document, polar_id
from vpp.exchange.table import PolarTable
from vpp.polar import Polar
from vpp.results.variables import DEGREE, KNOT

WHERE = "SIGNALK_SCHEMA"
"""The variable of the environment that names the unpacked npm package."""

# a random UUID, RFC 4122, version 4, which the published schema asks for (from memory)
UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")


def published_schema() -> Any:
    """A validator of whole documents, or a skipped test where the published schema is not at hand."""
    package = Path(os.environ.get(WHERE, "node_modules/@signalk/signalk-schema"))
    if not (package / "schemas" / "signalk.json").is_file():
        pytest.skip(
            "the published schema of Signal K is not here: unpack `npm pack @signalk/signalk-schema` outside "
            f"of the tree and let {WHERE} name the folder `package`"
        )
    jsonschema = pytest.importorskip("jsonschema", reason="the reference validator is not installed")
    referencing = pytest.importorskip("referencing", reason="the reference validator is not installed")
    draft = pytest.importorskip("referencing.jsonschema").DRAFT4
    found = [
        referencing.Resource(contents=json.loads(path.read_text(encoding="utf-8")), specification=draft)
        for path in (package / "schemas").rglob("*.json")
    ]
    registry = referencing.Registry().with_resources(
        (each.id().rstrip("#"), each) for each in found if each.id() is not None
    )
    root = json.loads((package / "schemas" / "signalk.json").read_text(encoding="utf-8"))
    return jsonschema.Draft4Validator(root, registry=registry)


def test_document_is_valid_by_the_published_schema(table: PolarTable) -> None:
    assert [error.message for error in published_schema().iter_errors(document(table))] == []


def test_published_schema_refuses_what_it_does_not_know(table: PolarTable) -> None:
    """The validator does reach the polars: all files of the schema are found."""
    validator, found = published_schema(), document(table)
    (vessel,) = found["vessels"].values()
    polar = next(iter(vessel["performance"]["polars"].values()))
    polar["windData"][0]["trueWindSpeed"] = "fresh"
    polar["colour"] = "red"
    told = " ".join(error.message for error in validator.iter_errors(found))
    assert "'fresh' is not of type 'number'" in told
    assert "'colour' was unexpected" in told


def test_file_says_what_the_table_does(table: PolarTable, tmp_path: Path) -> None:
    export(table, tmp_path, formats=["signalk"])
    found = json.loads((tmp_path / "signalk_polars.json").read_text(encoding="utf-8"))
    read = read_back(found)
    rows = table.rows[["option", "tws_kn", "twa_deg", "aim", "boat_speed_kn", "vmg_kn"]]
    rows = rows.sort_values(["option", "tws_kn", "aim", "twa_deg"], ignore_index=True)
    assert read[["option", "aim"]].to_numpy().tolist() == rows[["option", "aim"]].to_numpy().tolist()
    # a knot to four decimals and a degree to three come back from five of m/s and six of radians
    for column, decimals in (("tws_kn", 4), ("twa_deg", 3), ("boat_speed_kn", 4)):
        np.testing.assert_array_equal(read[column].round(decimals), rows[column], err_msg=column)
    at_angles = rows["aim"] == "speed"
    np.testing.assert_array_equal(read["vmg_kn"].round(4)[at_angles], rows["vmg_kn"][at_angles])


def read_back(found: dict[str, Any]) -> pd.DataFrame:
    """The points of a document as rows in knots and degrees."""
    (vessel,) = found["vessels"].values()
    points = []
    for polar in vessel["performance"]["polars"].values():
        option = polar["name"].partition(", ")[2]
        for wind in polar["windData"]:
            for key, aim in (
                ("angleData", "speed"),
                ("optimalBeats", "upwind"),
                ("optimalGybes", "downwind"),
            ):
                for angle, speed, *vmg in wind.get(key, ()):
                    made_good = vmg[0] / KNOT if vmg else math.nan
                    points.append(
                        (option, wind["trueWindSpeed"] / KNOT, angle / DEGREE, aim, speed / KNOT, made_good)
                    )
    columns = ["option", "tws_kn", "twa_deg", "aim", "boat_speed_kn", "vmg_kn"]
    frame = pd.DataFrame(points, columns=columns)
    by = frame.assign(tws=frame["tws_kn"].round(4)).sort_values(["option", "tws", "aim", "twa_deg"])
    return by.drop(columns="tws").reset_index(drop=True)


def test_known_point_is_in_metres_a_second_and_radians(polar: Polar) -> None:
    """8 kn is 4.11556 m/s and 6 kn 3.08667, 60 deg a third of pi: by hand from 1852 m an hour."""
    frame = polar.to_frame()
    frame.loc[1, ["boat_speed_kn", "vmg_kn"]] = [6.0, 3.0]
    found = document(PolarTable.from_frame(frame, source=polar.source))
    (vessel,) = found["vessels"].values()
    wind = next(iter(vessel["performance"]["polars"].values()))["windData"][0]
    assert wind["trueWindSpeed"] == 4.11556
    assert wind["angleData"][1] == [1.047198, 3.08667, 1.54333]


def test_identifiers_are_those_of_the_polar(table: PolarTable) -> None:
    found = document(table)
    assert found == document(table)
    (name,) = found["vessels"]
    assert UUID.fullmatch(name.removeprefix("urn:mrn:signalk:uuid:"))
    polars = found["vessels"][name]["performance"]["polars"]
    assert all(UUID.fullmatch(key) for key in polars)
    assert len({name.rpartition(":")[2], *polars}) == 3
    other = replace(table, source=replace(table.source, digest="ffffffffffff"))
    in_waves = replace(table, source=replace(table.source, sea="1 m, 5 s"))
    assert len({polar_id(each, "base") for each in (table, other, in_waves)}) == 3


def test_what_is_left_out_is_told(table: PolarTable) -> None:
    (vessel,) = document(table)["vessels"].values()
    base, other = vessel["performance"]["polars"].values()
    assert "2 of 18 conditions left out, without a result." in base["description"]
    assert "3 of 18 conditions left out, without a result." in other["description"]
    assert "head narrowed above 80 % of the luff" in other["description"]
    assert len(base["windData"][1]["angleData"]) == 3
    assert len(other["windData"][2]["angleData"]) == 2


def test_option_without_a_result_and_a_best_vmg_without_one_have_no_place(polar: Polar) -> None:
    frame = polar.to_frame()
    lost = (frame["option"] == "base") | ((frame["aim"] == "upwind") & (frame["tws_kn"] == 8.0))
    frame.loc[lost, "status"] = "no_equilibrium"
    found = document(PolarTable.from_frame(frame, source=polar.source))
    (vessel,) = found["vessels"].values()
    (key,) = vessel["performance"]["polars"]
    assert vessel["performance"]["activePolar"] == key
    winds = vessel["performance"]["polars"][key]["windData"]
    assert [set(wind) for wind in winds] == [
        {"trueWindSpeed", "optimalGybes", "angleData"},
        *[{"trueWindSpeed", "optimalBeats", "optimalGybes", "angleData"}] * 2,
    ]
