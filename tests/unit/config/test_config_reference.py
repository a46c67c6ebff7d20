"""The configuration reference and the JSON Schema, both made from the schema."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

from vpp.config import reference
from vpp.config.schema import TABLES, BoatDocument, OptionTable, properties_of
from vpp.config.units import ending_of

DEMO = Path(__file__).parents[3] / "configs" / "keelboat.toml"
BOAT = Path(__file__).with_name("boat.toml")
FOILING_DEMO = DEMO.with_name("foiling_monohull.toml")
FOILING_BOAT = BOAT.with_name("foiling_boat.toml")

PURE_NUMBER_ENDINGS = (
    *("_coefficient", "_factor", "_exponent", "_count", "_scale", "_share", "_ratio"),
    *("cavitation_margin", "schema_version"),
    # in the unit of the number whose range they give
    *("plus_minus", "least", "greatest"),
)


def numeric(entry: dict[str, Any]) -> bool:
    return (entry.get("items", entry)).get("type") in ("number", "integer")


@pytest.mark.parametrize("table", TABLES)
def test_every_key_has_a_description_a_range_and_a_unit(table: str) -> None:
    for key, entry in properties_of(TABLES[table]).items():
        assert entry["description"]
        if numeric(entry):
            bounds = entry.get("items", entry)
            assert bounds["minimum"] < bounds["maximum"]
            assert ending_of(key) or key.endswith(PURE_NUMBER_ENDINGS), f"{key} carries no unit"


def test_the_page_lists_every_key_once_in_its_section() -> None:
    sections = reference.markdown().split("\n## ")
    for table, model in (*TABLES.items(), ("option", OptionTable)):
        [section] = [section for section in sections if section.lstrip("`[").startswith(f"{table}]")]
        for key in properties_of(model):
            assert section.count(f"\n| `{key}` |") == 1
    assert (
        "| `span_m` | m | 0.1 to 8 |  | depth from where it leaves the hull to its tip |"
        in reference.markdown()
    )
    assert "| `foot_extension_m` | m | 0 to 5 | `0.0` | sail added below the foot |" in reference.markdown()
    assert {"schema_version", "name", "description"} < set(properties_of(BoatDocument))
    # a bar in a description would open another column
    assert {row.count("|") for row in reference.markdown().split("\n") if row.startswith("|")} == {6}


def test_it_runs_as_a_command() -> None:
    command = [sys.executable, "-m", "vpp.config.reference"]
    page = subprocess.run(command, capture_output=True, text=True, check=True)
    assert page.stdout == reference.markdown()
    schema = subprocess.run([*command, "--json-schema"], capture_output=True, text=True, check=True)
    assert json.loads(schema.stdout) == reference.json_schema()


@pytest.mark.parametrize("path", [DEMO, BOAT, FOILING_DEMO, FOILING_BOAT], ids=lambda path: path.stem)
def test_boats_that_load_agree_with_the_json_schema(path: Path) -> None:
    jsonschema = pytest.importorskip("jsonschema", reason="the reference validator is not installed")
    validator = jsonschema.Draft202012Validator(reference.json_schema())
    validator.check_schema(reference.json_schema())
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    assert list(validator.iter_errors(document)) == []


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("hull", "waterline_length_m"), -1.0),
        (("hull", "waterline_length_m"), "8.6"),
        (("hull", "length"), 8.6),
        (("sail", 0, "chord_m"), [4.0]),
        (("sail", 0, "model"), "plates"),
        (("mass", 0, "name"), "Keel 1"),
        (("crew",), []),
    ],
)
def test_the_json_schema_refuses_what_loading_refuses(path: tuple[str | int, ...], value: object) -> None:
    jsonschema = pytest.importorskip("jsonschema", reason="the reference validator is not installed")
    validator = jsonschema.Draft202012Validator(reference.json_schema())
    document = tomllib.loads(BOAT.read_text(encoding="utf-8"))
    place: Any = document
    for part in path[:-1]:
        place = place[part]
    place[path[-1]] = value
    [error] = validator.iter_errors(document)
    assert list(error.absolute_path) in (list(path), list(path[:-1]))


@pytest.mark.parametrize(
    ("file", "path", "value"),
    [
        (BOAT, ("hull", "canoe_volume_m3"), None),
        (BOAT, ("hull", "wall_sided_limit_deg"), None),
        (BOAT, ("hull", "section_exponent"), 2.5),
        (BOAT, ("hull", "gz_file"), "gz.csv"),
        (FOILING_BOAT, ("hull", "canoe_volume_m3"), 4.2),
        (FOILING_BOAT, ("hull", "metacentric_radius_m"), 1.2),
        (FOILING_BOAT, ("foil", 0, "cant_max_deg"), None),
        (FOILING_BOAT, ("foil", 1, "cant_max_deg"), 5.0),
        (FOILING_BOAT, ("foil", 1, "kind"), "canting"),
    ],
)
def test_the_json_schema_knows_which_keys_belong_to_a_model_or_kind(
    file: Path, path: tuple[str | int, ...], value: object
) -> None:
    jsonschema = pytest.importorskip("jsonschema", reason="the reference validator is not installed")
    validator = jsonschema.Draft202012Validator(reference.json_schema())
    document = tomllib.loads(file.read_text(encoding="utf-8"))
    place: Any = document
    for part in path[:-1]:
        place = place[part]
    if value is None:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    [error] = validator.iter_errors(document)
    assert list(error.absolute_path) in (list(path), list(path[:-1]))


def test_the_page_says_which_keys_belong_to_a_model_or_kind() -> None:
    page = reference.markdown()
    assert "| `section_exponent` |  | 1.5 to 6 |  | " in page
    for key, choice in (
        ("section_exponent", 'model = "thin_ship"'),
        ("canoe_volume_m3", 'model = "systematic_series" or "table"'),
        ("wall_sided_limit_deg", 'stability_model = "wall_sided"'),
        ("peak_period_s", 'model = "given"'),
        ("raised_cant_deg", 'kind = "canting_pair"'),
        ("immersion_m", 'hull.model = "thin_ship"'),
    ):
        [row] = [row for row in page.split("\n") if row.startswith(f"| `{key}` |")]
        assert row.endswith(f" (only with `{choice}`) |")


def test_the_json_schema_tells_units() -> None:
    tables = reference.json_schema()["$defs"]
    assert tables["SailTable"]["properties"]["extension_chord_m"]["unit"] == "m"
    assert tables["SailTable"]["properties"]["extension_chord_m"]["type"] == "number"
    assert tables["RigTable"]["properties"]["mast_mass_per_length_kg_per_m"]["unit"] == "kg/m"
    assert "unit" not in tables["RigTable"]["properties"]["mast_drag_coefficient"]
