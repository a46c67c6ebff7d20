"""Reading the text of a boat file into a tree of values with their lines."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path

from vpp.config.errors import BoatFileError, Problem
from vpp.config.locate import Path as KeyPath
from vpp.config.locate import lines_of_keys
from vpp.config.overlay import Items, Node, Origin, Table, tree

# Deeper than any boat file; TOML itself knows no limit.
_DEEPEST_NESTING = 12
_END_OF_COMMENT = re.compile(r"\s+#[^\"']*$")
_DECIMAL_COMMA = re.compile(r"=\s*[-+]?\d+,\d+$")
_UNIT_BEHIND = re.compile(r"=\s*[-+]?\d+(?:\.\d+)?\s*[A-Za-z%°]+\d?$")
_BARE_POINT = re.compile(r"[=\[,\s][-+]?(?:\.\d+|\d+\.)(?!\d)")


def read(file: str) -> bytes:
    """The content of a file.

    Raises BoatFileError if it cannot be read.
    """
    try:
        return Path(file).read_bytes()
    except FileNotFoundError:
        wrong = "there is no such file"
    except IsADirectoryError:
        wrong = "this is a folder, not a boat file"
    except PermissionError:
        wrong = "reading this file is not permitted"
    except (OSError, ValueError) as error:
        wrong = f"the file cannot be read ({str(error).lower()})"
    raise BoatFileError([Problem(file=file, wrong=wrong)])


def parse(file: str, content: bytes) -> Table:
    """The values of a boat file, each with its line and, inside an option, with the option's name.

    Raises BoatFileError if the content is not UTF-8 text or not TOML.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        hint = "save the file with the encoding UTF-8"
        raise BoatFileError([Problem(file=file, line=line, wrong="not UTF-8 text", hint=hint)]) from None
    document = _document(file, text)
    lines = lines_of_keys(text)
    entries = {key: _entry(key, value, lines) for key, value in document.items()}
    return Table(entries, Origin(None))


def _document(file: str, text: str) -> Mapping[str, object]:
    too_deep = Problem(file=file, wrong="lists or tables are nested too deeply")
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BoatFileError([_syntax_problem(file, text, str(error))]) from None
    except RecursionError:
        raise BoatFileError([too_deep]) from None
    except ValueError:  # Python reads no integers of thousands of digits
        found = re.search(r"\d{1000}", text)
        line = text.count("\n", 0, found.start()) + 1 if found else None
        raise BoatFileError([Problem(file=file, line=line, wrong="a number has too many digits")]) from None
    if _is_deeper(document, _DEEPEST_NESTING):
        raise BoatFileError([too_deep])
    return document


def _entry(key: str, value: object, lines: Mapping[KeyPath, int]) -> Node:
    if key != "option" or not isinstance(value, list):
        return tree(value, lines, path=(key,))
    options = (
        tree(entry, lines, path=(key, index), option=_given_name(entry)) for index, entry in enumerate(value)
    )
    return Items(tuple(options), Origin(lines.get((key,))))


def _given_name(entry: object) -> str | None:
    found = entry.get("name") if isinstance(entry, dict) else None
    return found if isinstance(found, str) else None


def _is_deeper(value: object, levels: int) -> bool:
    level = [value]
    for _ in range(levels):
        level = [inner for outer in level for inner in _inside(outer)]
        if not level:
            return False
    return True


def _inside(value: object) -> Sequence[object]:
    if isinstance(value, dict):
        return list(value.values())
    return value if isinstance(value, list) else []


def _syntax_problem(file: str, text: str, message: str) -> Problem:
    lines = text.replace("\r\n", "\n").split("\n")
    found = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", message)
    reason = message[: found.start()] if found else message
    reason = reason[:1].lower() + reason[1:]
    line = len(lines)
    if found and found[1]:
        line = int(found[1])
    elif found:
        reason = f"the file ends too early ({reason})"
    written = _END_OF_COMMENT.sub("", lines[line - 1].strip()) if line <= len(lines) else ""
    return Problem(
        file=file, line=line, given=written[:60], wrong=f"not TOML: {reason}", hint=_syntax_hint(written)
    )


def _syntax_hint(written: str) -> str:
    if _DECIMAL_COMMA.search(written):
        return "decimals take a point, as in 1.5"
    if _UNIT_BEHIND.search(written):
        return "no unit behind a number: the key names it; a text stands in quotes"
    if _BARE_POINT.search(written):
        return "a decimal point needs a digit before and behind it, as in 0.5"
    return ""
