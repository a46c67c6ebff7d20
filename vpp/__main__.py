"""Run the commands by `python -m vpp`."""

from vpp.cli import app

app(prog_name="vpp")
