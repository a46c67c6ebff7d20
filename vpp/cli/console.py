"""Printing: plain tables, progress, problems and how a run went."""

from __future__ import annotations

import functools
import sys
import textwrap
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NoReturn

import typer

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from vpp.polar import Polar
    from vpp.results.files import Source, Written
    from vpp.solved import Solved

DONE, BAD_INPUT, SOME_FAILED, STOPPED = 0, 2, 3, 130
"""Exit codes: all done; nothing done because of the input; done, but some conditions have no result; stopped
by Ctrl-C.
"""


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


def marked_table(
    header: Sequence[str], rows: Iterable[Sequence[str]], marks: NDArray[np.str_], *, left: int = 1
) -> str:
    """A table whose numbers are followed by `marks` (rows, columns after the first), empty where there is
    none; digits stay below each other.
    """
    room = [" " * max(len(mark) for mark in column) for column in marks.T]
    lines = [
        (
            first,
            *(cell + mark.ljust(len(space)) for cell, mark, space in zip(cells, along, room, strict=True)),
        )
        for (first, *cells), along in zip(rows, marks.tolist(), strict=True)
    ]
    first, *names = header
    head = (first, *(name + space for name, space in zip(names, room, strict=True)))
    return table(head, lines, left=left)


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


def sail_set_sentences(polar: Polar) -> list[str]:
    """Which sail set from which wind, a paragraph an option; nothing where no boat has sail sets."""
    from vpp.sail_choice import summary

    told = [(option, summary(polar, option)) for option in polar.options]
    return [
        "\n".join(wrapped(sentence, units=("kn", "deg")) for sentence in sentences)
        for _, sentences in told
        if sentences
    ]


def wrapped(sentence: str, *, units: Sequence[str] = ()) -> str:
    """A sentence in lines, further ones indented; a number and one of the units after it stay together."""
    joined = sentence
    for unit in units:
        joined = joined.replace(f" {unit}", f"\u00a0{unit}")
    return textwrap.fill(joined, width=108, subsequent_indent="    ").replace("\u00a0", " ")


def heading(source: Source) -> str:
    """What a printed result is about."""
    return source.line


def closing(written: Written) -> str:
    """The files written and removed and the caution, the last lines of every printed result."""
    from vpp.results.files import CAUTION

    files = ["Written:", *(f"  {path}" for path in written.files), *removed_lines(written)]
    return "\n".join([*files, CAUTION])


def removed_lines(written: Written) -> list[str]:
    """Files of an earlier run that are gone, a line each under a heading; nothing where there are none."""
    if not written.removed:
        return []
    return ["Removed, left by an earlier run:", *(f"  {path}" for path in written.removed)]


def print_result(text: str, written: Written, *, is_data: bool) -> None:
    """Print a result on stdout; where that is data without closing lines, say on stderr what was removed."""
    typer.echo(text, nl=not is_data)
    if is_data:
        for line in removed_lines(written):
            typer.echo(line, err=True)


def stopping_at_once(command: Callable[..., None]) -> Callable[..., None]:
    """The command, ended in one line where Ctrl-C leaves nothing to keep."""

    @functools.wraps(command)
    def stoppable(*given: Any, **named: Any) -> None:
        try:
            command(*given, **named)
        except KeyboardInterrupt:
            typer.echo("stopped: nothing is written", err=True)
            raise typer.Exit(STOPPED) from None

    return stoppable


def finish(solved: Solved, *, left_out: str = "") -> None:
    """End well, or with the code for missing results after naming them on stderr by reason, or with that for
    a run that was stopped after saying how much of it is done; `left_out` is what it has not come to besides.
    """
    from vpp.results.frames import failures, stopped_text
    from vpp.solver.status import Status

    failed = failures(solved)
    stopped = stopped_text(solved)
    if stopped or left_out:
        told = [stopped or f"all {len(solved.status)} conditions done"]
        told += ["the others have the status interrupted in what is written"] if stopped else []
        told += [f"{left_out} left out"] if left_out else []
        typer.echo(f"stopped: {'; '.join(told)}", err=True)
        failed = failed[failed["status"] != Status.INTERRUPTED.name.lower()]
    _tell_failures(solved, failed)
    if stopped or left_out:
        raise typer.Exit(STOPPED)
    if not failed.empty:
        raise typer.Exit(SOME_FAILED)


def _tell_failures(solved: Solved, failed: pd.DataFrame) -> None:
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


def _span(lowest: float, highest: float) -> str:
    if lowest != lowest:  # not a number: a best VMG without a result has no angle
        return ""
    return f"{lowest:g}" if lowest == highest else f"{lowest:g} to {highest:g}"
