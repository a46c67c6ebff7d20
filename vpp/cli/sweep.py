"""`vpp sweep`: many rigs of a boat in many conditions, by a study file."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from vpp.cli.console import SOME_FAILED, STOPPED, closing, print_result, stop, table, wrapped
from vpp.cli.options import (
    Format,
    NoFigures,
    Out,
    Printed,
    Processes,
    missing_page_library,
    process_count,
)

if TYPE_CHECKING:
    import pandas as pd

    from vpp.results.files import Written
    from vpp.sweep import Run
    from vpp.sweep_result import Sweep

_UNITS = ("kn", "deg", "%", "m", "kg", "m²", "s")
_MOST_ROWS = 12
# [s] between lines of progress where stderr is no terminal.
_LINE_EVERY_S = 60.0


def sweep(
    study: Annotated[Path, typer.Argument(metavar="STUDY", help="Study file (TOML).", show_default=False)],
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say how much it is and how long it takes, and stop.")
    ] = False,
    shard: Annotated[
        str | None,
        typer.Option(
            "--shard", metavar="I/N", help="Solve only the I-th of N parts, for machines that share the work."
        ),
    ] = None,
    dask: Annotated[
        str | None,
        typer.Option("--dask", metavar="ADDRESS", help="Solve on the workers of this Dask scheduler."),
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="No forecast and no progress.")] = False,
    out: Out = Path("out/sweep"),
    printed: Printed = Format.TEXT,
    no_figures: NoFigures = False,
    page: Annotated[
        bool | None,
        typer.Option(
            "--page/--no-page",
            help="Write the page for a browser, too.",
            show_default="with figures, where plotly is installed",
        ),
    ] = None,
    processes: Processes = None,
) -> None:
    """Solve many rigs in many conditions.

    Tables appear chunk by chunk; the same command goes on where an earlier one was ended. With all of them
    there it prints what the factors do, and the best rigs.

    Example: vpp sweep extension_study.toml -o sweep
    """
    from vpp.libraries import MissingLibrary
    from vpp.sweep import SweepError

    if printed is Format.CSV:
        stop(["format = 'csv': the tables are in the folder; allowed: text, json"])
    part = _shard(shard)
    if page and (lacking := missing_page_library()):
        stop(lacking)
    run = _asked(study, out)
    count = 1 if dask is not None else process_count(processes)
    try:
        _forecast(run, count, quiet=quiet, dry_run=dry_run)
        if dry_run:
            return
        is_whole = _run(run, part, count, dask, quiet=quiet)
        if is_whole and run.missing():
            left = len(run.missing())
            typer.echo(
                f"part {part[0]} of {part[1]} is done; {left} chunks of the others are missing. {run.kept()}."
            )
            return
        is_wanted = not no_figures if page is None else page
        why_no_page = missing_page_library() if is_wanted else []
        written, found = _results(run, figures=not no_figures, page=is_wanted and not why_no_page)
    except SweepError as error:
        stop(error.problems)
    except MissingLibrary as error:
        stop(error.problems)
    except KeyboardInterrupt:
        _stopped(run)
    text = _json(found, written) if printed is Format.JSON else _text(found, written)
    print_result(text, written, is_data=printed is not Format.TEXT)
    for sentence in why_no_page:
        typer.echo(f"no page: {sentence}", err=True)
    _finish(found)


def _asked(path: Path, out: Path) -> Run:
    """The run; everything wrong with the study and its boat ends the command."""
    from vpp.config import BoatFileError
    from vpp.libraries import MissingLibrary
    from vpp.sweep import Run
    from vpp.sweep_study import load_study

    try:
        return Run(load_study(path), out)
    except BoatFileError as error:
        stop([str(problem) for problem in error.problems])
    except MissingLibrary as error:
        stop(error.problems)


def _shard(text: str | None) -> tuple[int, int]:
    """Which part of how many."""
    if text is None:
        return 1, 1
    part, _, parts = text.partition("/")
    if not (part.isdigit() and parts.isdigit() and 1 <= int(part) <= int(parts)):
        stop([f"shard = {text!r}: write the part and the number of parts, such as 1/4"])
    return int(part), int(parts)


def _forecast(run: Run, processes: int, *, quiet: bool, dry_run: bool) -> None:
    """Say what is to be done."""
    from vpp.solver.stopping import keep_on_interrupt

    if quiet and not dry_run:
        run.check_folder()
        return
    with keep_on_interrupt() as stopping:
        found = run.forecast(processes=processes)
    if stopping.asked or found is None:
        raise KeyboardInterrupt
    typer.echo(wrapped(found.sentence(processes), units=_UNITS), err=not dry_run)


def _run(run: Run, part: tuple[int, int], processes: int, dask: str | None, *, quiet: bool) -> bool:
    from vpp.solver.stopping import keep_on_interrupt

    with rated_progress(quiet=quiet) as report, keep_on_interrupt() as stopping:
        is_whole = run.run(
            processes=processes,
            shard=part,
            dask=dask,
            progress=report,
            tell=lambda sentence: typer.echo(sentence, err=True),
        )
    if stopping.asked and not is_whole:
        raise KeyboardInterrupt
    return is_whole


def _results(run: Run, *, figures: bool, page: bool) -> tuple[Written, Sweep]:
    from vpp.sweep import SweepError
    from vpp.sweep_files import write_results

    found = run.result()
    try:
        return write_results(found, figures=figures, page=page), found
    except OSError as error:
        raise SweepError([f"out = {str(run.folder)!r}: cannot be written ({error.strerror})"]) from None


def _stopped(run: Run) -> NoReturn:
    if run.folder.is_dir():
        typer.echo(f"stopped: {run.kept()}", err=True)
    else:
        typer.echo("stopped: nothing is written", err=True)
    raise typer.Exit(STOPPED)


def _finish(found: Sweep) -> None:
    """End with the code for missing results where solved rigs have some."""
    from vpp.sweep_chunks import LEFT_OUT, NOT_BUILT

    failed = [(k, n) for k, n in found.failures.items() if k[0] not in (LEFT_OUT, NOT_BUILT)]
    if failed:
        count = sum(n for _, n in failed)
        typer.echo(f"{count} of {found.study.condition_count} conditions have no result:", err=True)
        for (status, reason), n in failed:
            typer.echo(f"  {n} {status}: {reason}", err=True)
        raise typer.Exit(SOME_FAILED)


# --- progress -----------------------------------------------------------------------------------------------


@contextmanager
def rated_progress(*, quiet: bool) -> Iterator[Callable[[int, int], None] | None]:
    """Rate and time left on stderr: a bar on a terminal, else a line a minute; nothing where `quiet`."""
    if quiet:
        yield None
        return
    if not sys.stderr.isatty():
        yield _Lines()
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("solving"), BarColumn(), MofNCompleteColumn(), TextColumn("{task.description}"))
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        line, begun = bar.add_task("", total=None), time.monotonic()
        yield lambda done, total: bar.update(
            line, completed=done, total=total, description=_rate(done, total, time.monotonic() - begun)
        )


class _Lines:
    """A line a minute on stderr."""

    def __init__(self) -> None:
        self.begun = self.last = time.monotonic()

    def __call__(self, done: int, total: int) -> None:
        now = time.monotonic()
        if now - self.last >= _LINE_EVERY_S or (done == total and done):
            self.last = now
            rate = _rate(done, total, now - self.begun)
            typer.echo(f"{done} of {total} conditions{', ' * bool(rate)}{rate}", err=True)


def _rate(done: int, total: int, seconds: float) -> str:
    from vpp.sweep import say_seconds

    if not done or seconds <= 0.0:
        return ""
    rate = done / seconds
    left = f", {say_seconds((total - done) / rate)} left" if done < total else ""
    return f"{rate:.3g} a second{left}"


# --- text ---------------------------------------------------------------------------------------------------


def _text(found: Sweep, written: Written) -> str:
    parts = [found.source.line, f"{found.study.name}. {found.study.description}".rstrip()]
    parts += [
        _frame(f"Best rigs, {name}", frame) for name, frame in found.best_frame().groupby("aim", sort=False)
    ]
    if len(found.front):
        one, other = (found.aims[at] for at in found.study.front or (0, 0))
        parts.append(_frame(f"Rigs of which none is better both {one} and {other}", found.front_frame()))
    shares = found.shares_frame()
    if shares["first_percent"].notna().any():
        parts.append(_frame("Shares of the variance between rigs", shares.drop(columns="reason")))
        pairs = found.interactions_frame()
        parts += [_frame("What two factors do together", pairs)] if len(pairs) else []
    parts.append(_frame("The surrogate, on rigs left out", found.surrogate_frame()))
    if len(found.failures):
        parts.append(_frame("Conditions without a result", found.failures_frame()))
    parts.append("\n".join(wrapped(sentence, units=_UNITS) for sentence in found.in_words()))
    return "\n\n".join([*parts, closing(written)])


def _frame(title: str, frame: pd.DataFrame) -> str:
    """A table with its first rows."""
    kept = frame.drop(columns="aim") if title.startswith("Best") else frame
    if "room_percent" in kept and kept["room_percent"].isna().all():  # there is no limit
        kept = kept.drop(columns=["room_percent", "tightest"])
    rows = [[_cell(value) for value in row] for row in kept.head(_MOST_ROWS).itertuples(index=False)]
    more = f"\n  and {len(kept) - _MOST_ROWS} more in the files" if len(kept) > _MOST_ROWS else ""
    left = sum(kind in ("object", "str", "string") for kind in kept.dtypes.astype(str)[:2])
    return f"{title}\n{table([str(name) for name in kept.columns], rows, left=left)}{more}"


def _cell(value: Any) -> str:
    if isinstance(value, float):
        return "-" if value != value else f"{value:.4g}"
    return str(value)


def _json(found: Sweep, written: Written) -> str:
    from vpp.cli.writing import names_of
    from vpp.results.files import CAUTION, json_text, origin
    from vpp.sweep_result import told_as_json

    return json_text(
        {
            **origin(found.source),
            "rigs": found.study.rigs,
            "conditions": found.study.condition_count,
            "summary": list(found.in_words()),
            **told_as_json(found),
            "files": list(names_of(written)),
            "caution": CAUTION,
        }
    )
