"""Run the commands by `python -m vpp`."""

from vpp.cli import main

main()
