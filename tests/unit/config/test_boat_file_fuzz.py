"""Whatever a file holds, it loads or it is refused with sentences: nothing else ever reaches a user."""

from __future__ import annotations

import re
import tempfile
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from vpp.boat import FormedHull
from vpp.config import BoatFile, BoatFileError, Problem, build, load
from vpp.config.schema import TABLES, properties_of

BOAT = Path(__file__).with_name("boat.toml")
TEXT = BOAT.read_text(encoding="utf-8")
LINES = TEXT.split("\n")
FOILING_LINES = BOAT.with_name("foiling_boat.toml").read_text(encoding="utf-8").split("\n")

ODD_VALUES = (
    "nan",
    "-inf",
    "0",
    "-0.0",
    "1e308",
    "-1e-308",
    "5e-324",
    "true",
    '""',
    '"x"',
    "'0'",
    "[]",
    "[[]]",
    "[1, 'a', {}]",
    "{}",
    "{ name = 'keel' }",
    "[{}]",
    "1979-05-27",
    "07:32:00",
    "1" + 400 * "0",
    '"""\na\n"""',
    '"\\u0000"',
    '"../x.csv"',
    "9e99",
    "0x1F",
)
ODD_LINES = (
    "[hull]",
    "[[hull]]",
    "[[sail]]",
    "[sail]",
    "[[option]]",
    "[option]",
    "[option.change]",
    "[[option.add.mass]]",
    "[[option.add.sail]]",
    "[option.change.sail]",
    "parent = 'heavy'",
    "remove = ['sail.main', 'mass.keel', 'hull.model', 'x', '', '.', 'sail.main.name']",
    "change = 3",
    "add = []",
    "name = 'base'",
    "sail.jib.name = 'main'",
    "mass = []",
    "chord_file = '.'",
    "chord_file = '\\\\0'",
    "model = 'table'",
    "coefficient_file = '.'",
    "extension_chord_m = 0.02",
    "head_cut_from_percent = 0",
    "]",
    "[",
    '"',
    "'''",
    "{",
    "= 1",
    "a.b.c = 1",
    "\t",
    "\x00",
    "\ufeff",
)


def loads_or_explains(content: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "boat.toml"
        path.write_bytes(content)
        problems: tuple[Problem, ...] = ()
        try:
            check_sound(load(path))
        except BoatFileError as error:
            problems = error.problems or (Problem(file="", wrong=""),)
    for problem in problems:
        assert problem.wrong
        assert str(problem).isprintable()
        assert problem.line is None or 1 <= problem.line <= content.count(b"\n") + 1


def check_sound(boat_file: BoatFile) -> None:
    assert boat_file.boats[0].name == "base"
    for boat in boat_file.boats:
        assert boat.total_mass > 0.0
        assert all(sail.area > 0.0 for sail in boat.sails)
        shape = boat.hull
        volume = build.drawn_form(shape).volume if isinstance(shape, FormedHull) else shape.canoe_volume
        assert volume > 0.0
        assert len(boat_file.rows(boat.name)) > 100


@st.composite
def edited_lines(draw: Any, of: list[str]) -> str:
    lines = list(of)
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(lines) - 1))
        match draw(st.sampled_from(["delete", "double", "swap", "value", "line", "key", "letters"])):
            case "delete":
                del lines[at : at + draw(st.integers(1, 8))]
                lines.append("")
            case "double":
                lines.insert(draw(st.integers(0, len(lines))), lines[at])
            case "swap":
                other = draw(st.integers(0, len(lines) - 1))
                lines[at], lines[other] = lines[other], lines[at]
            case "value":
                lines[at] = re.sub(r"=.*", lambda _: "= " + draw(st.sampled_from(ODD_VALUES)), lines[at])
            case "line":
                lines.insert(at, draw(st.sampled_from(ODD_LINES)))
            case "key":
                lines[at] = (
                    draw(st.sampled_from(LINES + FOILING_LINES)).split("=")[0]
                    + "="
                    + lines[at].split("=")[-1]
                )
            case "letters":
                start = draw(st.integers(0, len(lines[at])))
                lines[at] = (
                    lines[at][:start]
                    + draw(st.text(max_size=5))
                    + lines[at][start + draw(st.integers(0, 5)) :]
                )
    return "\n".join(lines)


@settings(max_examples=400, deadline=None)
@given(edited_lines(LINES) | edited_lines(FOILING_LINES))
def test_a_file_with_mistakes_loads_or_is_explained(text: str) -> None:
    loads_or_explains(text.encode("utf-8", errors="surrogatepass"))


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=200), st.integers(0, len(TEXT)), st.integers(0, 50))
def test_a_file_with_other_bytes_in_it_loads_or_is_explained(junk: bytes, start: int, length: int) -> None:
    content = TEXT.encode()
    loads_or_explains(content[:start] + junk + content[start + length :])


def numbers_of_the_boat(lines: list[str]) -> list[tuple[int, str, dict[str, Any]]]:
    """Line index, key and JSON Schema of every single number."""
    found = []
    table = ""
    for index, text in enumerate(lines):
        if header := re.match(r"\[+(\w+)\]+$", text):
            table = header[1]
        key = text.split(" = ")[0]
        entry = properties_of(TABLES[table]).get(key, {}) if table in TABLES else {}
        if entry.get("type") == "number":
            found.append((index, key, entry))
    return found


@st.composite
def in_range(draw: Any, of: list[str]) -> str:
    """The boat with one to three numbers anywhere in their ranges, bounds included."""
    lines = list(of)
    for _ in range(draw(st.integers(1, 3))):
        index, key, entry = draw(st.sampled_from(numbers_of_the_boat(of)))
        value = draw(
            st.floats(entry["minimum"], entry["maximum"])
            | st.sampled_from([entry["minimum"], entry["maximum"]])
        )
        lines[index] = f"{key} = {value!r}"
    return "\n".join(lines)


@settings(max_examples=300, deadline=None)
@given(in_range(LINES) | in_range(FOILING_LINES))
def test_values_anywhere_in_their_ranges_load_or_are_explained(text: str) -> None:
    loads_or_explains(text.encode())
