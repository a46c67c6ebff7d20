"""The plotting library as JavaScript, told to start with no more than what the page draws.

Before anything is drawn the library runs the code of all its kinds of figure, maps and three dimensions
among them, which takes a browser longer than all of the page's own work. What it starts with is one list at
its end: the list is shortened here, and its outermost function put in brackets. Nothing else is touched.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from vpp.libraries import library

KINDS = ("bar", "scatterpolar")
"""Kinds of figure that the page of a report draws, beside lines and points, which are always there."""

_LIST = re.compile(r"\.register\(\[((?:[\w$]+\(\),)+[\w$]+\(\))\]\)")
_WRAPPER = '} (typeof self !== "undefined" ? self : this, () => {'
_END = "}));"


def plotting_library(kinds: Sequence[str] = KINDS) -> str:
    """The plotting library as JavaScript. Raises MissingLibrary with the extra that brings it."""
    text: str = library("plotly.offline").get_plotlyjs()
    return quick_to_start(text, kinds)


def quick_to_start(text: str, kinds: Sequence[str] = KINDS) -> str:
    """The library with less to do at its start; what is not built as is known stays as it is, only slower."""
    return _read_once(_with_kinds(text, kinds))


def _with_kinds(text: str, kinds: Sequence[str]) -> str:
    """The library with the kinds of figure of a page alone in the list of those that it starts with."""
    found = _LIST.findall(text)
    if len(found) != 1:
        return text
    wanted = [_starter(text, kind) for kind in kinds]
    if not set(wanted) <= set(found[0].split(",")):
        return text
    return _LIST.sub(lambda _: f".register([{','.join(wanted)}])", text)


def _starter(text: str, kind: str) -> str:
    """The call that starts a kind of figure, empty where it is not found, or not once."""
    described = _module_around(text, f'moduleType:"trace",name:"{kind}"')
    name = described and _module_around(text, f".exports={described}()}}")
    return f"{name}()" if name else ""


def _module_around(text: str, words: str) -> str:
    """The name of the module that contains words which stand once in the library, else empty."""
    if text.count(words) != 1:
        return ""
    before = text[: text.index(words)].rpartition('=>{"use strict";')[0]
    found = re.search(r"var ([\w$]+)=[\w$]+\(\([\w$,]*\)$", before[-100:])
    return found[1] if found else ""


def _read_once(text: str) -> str:
    """The library with its outermost function in brackets.

    Browsers read a function that is handed on twice, first to skip it and then to run it; one in brackets
    they take as run at once.
    """
    if text.count(_WRAPPER) != 1 or not text.endswith(_END):
        return text
    opened = text.replace(_WRAPPER, _WRAPPER.replace("() =>", "(() =>"))
    return opened.removesuffix(_END) + "})));"
