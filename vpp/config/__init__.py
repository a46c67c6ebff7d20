"""Boat files: TOML in, boats in SI units out, and every mistake named with its line.

The base boat and each option come out whole and checked. See docs/boat_file.md.
"""

from vpp.config.boat_file import BoatFile, load
from vpp.config.errors import BoatFileError, Problem
from vpp.config.rows import Row
from vpp.config.seas import sea_of

__all__ = ["BoatFile", "BoatFileError", "Problem", "Row", "load", "sea_of"]
