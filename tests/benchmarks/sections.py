"""What the scripts that measure in sections share: each measurement in a fresh Python process of its own, the
tables of a section printed and put into a page.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from subprocess import TimeoutExpired, run
from typing import Any

from tests.benchmarks import machine
from tests.benchmarks.markdown import replace_block

Sections = Mapping[str, Callable[[argparse.Namespace], str]]
Measure = Mapping[str, Callable[[dict[str, Any]], dict[str, Any]]]


def arguments(description: str, *, sections: Sections, page: Path, limit: int) -> argparse.ArgumentParser:
    """A parser with what all such scripts take."""
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("sections", nargs="*", metavar="SECTION", help=", ".join(sections))
    parser.add_argument("--no-write", dest="write", action="store_false", help="print only")
    parser.add_argument("--page", type=Path, default=page, help="the page whose tables are replaced")
    parser.add_argument("--limit", type=int, default=limit, help="most seconds a measurement may take")
    parser.add_argument("--measure", help=argparse.SUPPRESS)
    parser.add_argument("--given", default="{}", help=argparse.SUPPRESS)
    return parser


def run_sections(parser: argparse.ArgumentParser, *, sections: Sections, measure: Measure) -> None:
    """Measure what is asked for, print it and put it into the page; or one thing, in a process of its own."""
    asked = parser.parse_args()
    if unknown := set(asked.sections) - set(sections):
        parser.error(f"no section {', '.join(sorted(unknown))}; there are {', '.join(sections)}")
    if asked.measure:
        print(json.dumps(measure[asked.measure](json.loads(asked.given))))
        return
    for section in asked.sections or sections:
        begun = datetime.now(UTC)
        text = f"{machine.told(begun)}\n\n{sections[section](asked)}"
        print(f"\n## {section}\n\n{text}", flush=True)
        if asked.write:
            replace_block(asked.page, section, text)


def measured(script: str, what: str, limit: int, **given: Any) -> dict[str, Any]:
    """What a measurement of a script in a process of its own found."""
    command = [sys.executable, script, "--measure", what, "--given", json.dumps(given)]
    print(f"... {what} {given}", file=sys.stderr, flush=True)
    try:
        ended = run(
            command, capture_output=True, text=True, timeout=limit, check=False, env=machine.one_thread()
        )
    except TimeoutExpired:
        raise SystemExit(f"{what} {given} took more than {limit} s; see --limit") from None
    if ended.returncode:
        raise SystemExit(f"{what} {given} failed:\n{ended.stderr[-3000:]}")
    found: dict[str, Any] = json.loads(ended.stdout.splitlines()[-1])
    return found
