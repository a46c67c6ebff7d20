"""Printing: plain tables, progress, problems and how a run went."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import typer

if TYPE_CHECKING:
    from vpp.results.files import Source
    from vpp.solved import Solved

DONE, BAD_INPUT, SOME_FAILED = 0, 2, 3
"""Exit codes: all done; nothing done because of the input; done, but some conditions have no result."""


def stop(problems: Iterable[str]) -> NoReturn:
    """Print problems on stderr and end the command as bad input."""
    for problem in problems:
        typer.echo(problem, err=True)
    raise typer.Exit(BAD_INPUT)


def table(header: Sequence[str], rows: Iterable[Sequence[str]], *, left: int = 1) -> str:
    """Text in columns: the first `left` of them flush left, the others flush right."""
    lines = [tuple(header), *(tuple(row) for row in rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(header))]
    return "\n".join(
        "  ".join(
            cell.ljust(width) if column < left else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in lines
    )


@contextmanager
def progress(what: str) -> Iterator[Callable[[int, int], None] | None]:
    """A bar on stderr while conditions are solved; None, and no bar, where stderr is not a terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        line = bar.add_task(what, total=None)
        yield lambda done, total: bar.update(line, completed=done, total=total)


def heading(source: Source) -> str:
    """What a printed result is about."""
    return source.line


def closing(written: Sequence[Path]) -> str:
    """The files written and the caution, the last lines of every printed result."""
    from vpp.results.files import CAUTION

    files = ["Written:", *(f"  {path}" for path in written)] if written else []
    return "\n".join([*files, CAUTION])


def finish(solved: Solved) -> None:
    """End well, or with the code for missing results after naming them on stderr by reason."""
    from vpp.results.frames import failures

    failed = failures(solved)
    if failed.empty:
        return
    count = int(failed["count"].sum())
    typer.echo(f"{count} of {len(solved.status)} conditions have no result:", err=True)
    for group in failed.to_dict(orient="records"):
        tws = _span(group["tws_from_kn"], group["tws_to_kn"])
        twa = _span(group["twa_from_deg"], group["twa_to_deg"])
        angles = f", TWA {twa} deg" if twa else ""
        typer.echo(
            f"  {group['count']} {group['status']} (TWS {tws} kn{angles}): {group['reason']}", err=True
        )
    raise typer.Exit(SOME_FAILED)


def _span(lowest: float, highest: float) -> str:
    if lowest != lowest:  # not a number: a best VMG without a result has no angle
        return ""
    return f"{lowest:g}" if lowest == highest else f"{lowest:g} to {highest:g}"
