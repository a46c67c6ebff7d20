"""The commands. Each is one library call in a file of its own; nothing heavy is imported before a command
runs.
"""

from __future__ import annotations

import os
from typing import Annotated

import typer

from vpp.cli import (
    calibrate,
    card,
    check,
    compare,
    course,
    crew,
    current,
    doubt,
    export,
    gusts,
    improve,
    loads,
    point,
    polar,
    report,
    stability,
    sweep,
    target,
    why,
)
from vpp.cli.console import stopping_at_once
from vpp.version import __version__

app = typer.Typer(
    name="vpp",
    help=(
        "How fast a sailing boat is in every wind, and what a change of rig buys.\n\n"
        "Start with: vpp check BOAT.toml, then vpp compare BOAT.toml"
    ),
    epilog="A quick estimate, not a stability, structural or safety sign-off.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"vpp {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool,
        typer.Option("--version", help="Show the version and stop.", callback=_show_version, is_eager=True),
    ] = False,
) -> None:
    pass


app.command("check")(stopping_at_once(check.check))
app.command("point")(stopping_at_once(point.point))
app.command("polar")(stopping_at_once(polar.polar))
app.command("compare")(stopping_at_once(compare.compare))
app.command("report")(stopping_at_once(report.report))
app.command("why")(stopping_at_once(why.why))
app.command("doubt")(stopping_at_once(doubt.doubt))
app.command("gusts")(stopping_at_once(gusts.gusts))
app.command("target")(stopping_at_once(target.target))
app.command("card")(stopping_at_once(card.card))
app.command("improve")(stopping_at_once(improve.improve))
app.command("sweep")(stopping_at_once(sweep.sweep))
app.command("stability")(stopping_at_once(stability.stability))
app.command("crew")(stopping_at_once(crew.crew))
app.command("course")(stopping_at_once(course.course))
app.command("current")(stopping_at_once(current.current))
app.command("export")(stopping_at_once(export.export))
app.command("loads")(stopping_at_once(loads.loads))
app.command("calibrate")(stopping_at_once(calibrate.calibrate))


def main() -> None:
    """Run the command line.

    Linear algebra gets one thread unless the environment says otherwise: the matrices are small, and the
    processes that share the work would have their threads fight each other. Nothing is looked for among all
    installed packages that could plug into the reading of files: that search is part of every start.
    """
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    app(prog_name="vpp")
