"""The commands. Each is one library call in a file of its own; nothing heavy is imported before a command
runs.
"""

from __future__ import annotations

import os
from typing import Annotated

import typer

from vpp.cli import calibrate, check, compare, crew, current, point, polar, stability
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


app.command("check")(check.check)
app.command("point")(point.point)
app.command("polar")(polar.polar)
app.command("compare")(compare.compare)
app.command("stability")(stability.stability)
app.command("crew")(crew.crew)
app.command("current")(current.current)
app.command("calibrate")(calibrate.calibrate)


def main() -> None:
    """Run the command line.

    Linear algebra gets one thread unless the environment says otherwise: the matrices are small, and the
    processes that share the work would have their threads fight each other.
    """
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    app(prog_name="vpp")
