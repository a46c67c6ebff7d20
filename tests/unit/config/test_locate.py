"""The locator against tomllib: what one finds in a text, the other must find on the right line."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from vpp.config.locate import lines_of_keys

DEMO = Path(__file__).parents[3] / "configs" / "keelboat.toml"

COMMENTS = ("", " # plain", ' # with "quotes" and [brackets]', " # a = 1, b = 2", "  # ''' and \"\"\"")
GAPS = ("", "\n", "\n\n", "# note\n", "   # [table]\n", "\t\n")


class Writer:
    """Writes a TOML text in which every value is the number of the line it stands on."""

    def __init__(self, draw: Any) -> None:
        self.draw = draw
        self.text = ""
        self.keys = 0

    @property
    def line(self) -> int:
        return self.text.count("\n") + 1

    def pick(self, *choices: str) -> str:
        return self.draw(st.sampled_from(choices))

    def key(self) -> str:
        self.keys += 1
        n = self.keys
        return self.pick(f"k{n}", f"{n}-x_", f'"k {n} # ["', f"'k.{n} = ]'", f'"\\"{n}\\u00e9"')

    def key_path(self) -> str:
        parts = [self.key() for _ in range(self.draw(st.integers(1, 3)))]
        return self.pick(".", " . ", ". ").join(parts)

    def pair(self, depth: int) -> None:
        self.text += self.key_path() + self.pick("=", " = ", "\t=")
        self.value(depth, may_break=True)

    def value(self, depth: int, *, may_break: bool) -> None:
        kinds = ["number", "text", "long text"]
        if depth < 3:
            kinds += ["list", "table"]
        match self.pick(*kinds):
            case "number":
                self.text += str(self.line)
            case "text":
                form = self.pick(
                    '"{}"', "'{}'", '"{} \\" # ]"', "'{} \\'", '"{}\\\\"', '"""{}"""', "'''{}'''"
                )
                self.text += form.format(self.line)
            case "long text":
                form = self.pick(
                    '"""{} a = 1\n[b]\n "" c"""',
                    '"""\n{} \\""" \n"""',
                    '"""{} ends in two quotes"""""',
                    '"""{}\\\n  \\\\"""',
                    "'''{}\n # '' \\'''",
                    "'''\n{}''\n''''",
                )
                self.text += form.format(self.line)
            case "list":
                self.list(depth + 1, may_break=may_break)
            case "table":
                self.inline_table(depth + 1)

    def list(self, depth: int, *, may_break: bool) -> None:
        space = (*GAPS[:1], " ", *(f"{comment}\n" for comment in COMMENTS)) if may_break else ("", " ")
        self.text += "[" + self.pick(*space)
        count = self.draw(st.integers(0, 3))
        for index in range(count):
            self.value(depth, may_break=may_break)
            self.text += self.pick(*space)
            is_last = index == count - 1
            self.text += self.pick("", ",") if is_last else ","
            self.text += self.pick(*space)
        self.text += "]"

    def inline_table(self, depth: int) -> None:
        self.text += "{" + self.pick("", " ")
        count = self.draw(st.integers(0, 3))
        for index in range(count):
            self.pair(depth)
            self.text += self.pick("", " ") + ("," if index < count - 1 else "") + self.pick("", " ")
        self.text += "}"

    def pairs(self) -> None:
        for _ in range(self.draw(st.integers(0, 3))):
            self.pair(0)
            self.text += self.pick(*COMMENTS) + "\n" + self.pick(*GAPS)

    def header(self, name: str, *, repeated: bool) -> None:
        line = self.line
        opening, closing = ("[[", "]]") if repeated else ("[", "]")
        self.text += (
            f"{opening}{self.pick('', ' ')}{name}{self.pick('', ' ')}{closing}{self.pick(*COMMENTS)}\n"
        )
        # every table that has a header says on which line
        self.text += f"header = {line}\n"


@st.composite
def documents(draw: Any) -> str:
    writer = Writer(draw)
    writer.text += writer.pick(*GAPS)
    writer.pairs()
    repeated: list[str] = []
    for _ in range(draw(st.integers(0, 6))):
        kind = writer.pick("table", "deep table", "repeated", "again", "inside")
        if kind == "table":
            writer.header(writer.key(), repeated=False)
        elif kind == "deep table":
            writer.header(writer.key_path(), repeated=False)
        elif kind == "repeated" or not repeated:
            repeated.append(writer.key_path())
            writer.header(repeated[-1], repeated=True)
        elif kind == "again":
            writer.header(draw(st.sampled_from(repeated)), repeated=True)
        else:
            inner = f"{draw(st.sampled_from(repeated))}.{writer.key()}"
            is_repeated = draw(st.booleans())
            writer.header(inner, repeated=is_repeated)
            if is_repeated:
                repeated.append(inner)
        writer.pairs()
    return writer.text.replace("\n", "\r\n") if draw(st.booleans()) else writer.text


def walk(value: object, path: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], object]]:
    if path:
        yield path, value
    if isinstance(value, dict):
        for key, entry in value.items():
            yield from walk(entry, (*path, key))
    elif isinstance(value, list):
        for index, entry in enumerate(value):
            yield from walk(entry, (*path, index))


@settings(max_examples=300, deadline=None)
@given(documents())
def test_every_key_that_tomllib_finds_has_its_line(text: str) -> None:
    lines = lines_of_keys(text)
    found = dict(walk(tomllib.loads(text)))
    assert set(lines) == set(found)
    for path, value in found.items():
        if isinstance(value, dict) and "header" in value:
            assert lines[path] == value["header"]
        elif path[-1] == "header":
            assert lines[path] == value + 1
        elif isinstance(value, int | str):
            written = re.match(r"\s*(\d+)", str(value))
            assert written is not None
            assert lines[path] == int(written[1])


def test_values_of_the_demo_boat_stand_where_the_locator_says() -> None:
    text = DEMO.read_text(encoding="utf-8")
    written = text.split("\n")
    lines = lines_of_keys(text)
    checked = 0
    for path, value in walk(tomllib.loads(text)):
        is_value = isinstance(value, str | int | float) and not isinstance(path[-1], int)
        if is_value:
            alone = tomllib.loads(written[lines[path] - 1])
            assert list(walk(alone))[-1][0][-1] == path[-1]
            assert list(walk(alone))[-1][1] == value
            checked += 1
    assert checked > 150


def test_a_table_named_before_its_header_stands_at_its_header() -> None:
    lines = lines_of_keys("[a.b]\nx = 1\n\n[a]\ny = 2\n")
    assert lines[("a",)] == 4
    assert lines[("a", "b")] == 1


def test_scalars_of_every_kind_are_passed_over() -> None:
    text = "a = [1979-05-27 07:32:00, -inf, 0x_F,\n true, 07:32:00] # x\nb = 1e-3\n".replace("0x_F", "0xF")
    lines = lines_of_keys(text)
    assert set(lines) == {path for path, _ in walk(tomllib.loads(text))}
    assert lines[("a", 3)] == 2
    assert lines[("b",)] == 3
