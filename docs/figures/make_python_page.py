"""Run the code of docs/python.md, one piece after the other, and write what it prints into the page.

    OMP_NUM_THREADS=1 PYTHONPATH=. python docs/figures/make_python_page.py

Run from the root of the repository. Half a minute.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

HERE = Path(__file__).parent
PAGE = HERE.parent / "python.md"
BOAT = HERE.parents[1] / "configs" / "keelboat.toml"

CODE = re.compile(r"```python\n(?P<code>.*?)```\n(?:\n```text\n(?P<output>.*?)```\n)?", re.DOTALL)


def run(text: str, *, leave_out: str = "") -> str:
    """The page with the output of its code, all of it run in one set of names; pieces with `leave_out` in
    them are left as they are. Files are written where it is run.
    """
    names: dict[str, object] = {}

    def fill(found: re.Match[str]) -> str:
        code, output = found["code"], found["output"]
        if leave_out and leave_out in code:
            return found[0]
        printed = io.StringIO()
        with contextlib.redirect_stdout(printed):
            exec(compile(code, str(PAGE), "exec"), names)
        if output is None:
            assert not printed.getvalue(), f"no place for the output of:\n{code}"
            return found[0]
        return f"```python\n{code}```\n\n```text\n{printed.getvalue()}```\n"

    return CODE.sub(fill, text)


@contextlib.contextmanager
def folder_with_boat() -> Iterator[None]:
    """Work in a folder that holds the page's boat file and is gone afterwards."""
    before = Path.cwd()
    with tempfile.TemporaryDirectory() as folder:
        shutil.copy(BOAT, folder)
        os.chdir(folder)
        try:
            yield
        finally:
            os.chdir(before)


def main() -> None:
    """Fill the page."""
    with folder_with_boat():
        filled = run(PAGE.read_text(encoding="utf-8"))
    PAGE.write_text(filled, encoding="utf-8")


if __name__ == "__main__":
    main()
