"""Libraries that some formats, the page and compiled sweeps need and a plain installation lacks."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from types import ModuleType

EXTRAS = {
    "pyarrow": "sweep",
    "xarray": "netcdf",
    "netCDF4": "netcdf",
    "plotly": "report",
    "distributed": "cluster",
    "jax": "gpu",
}
"""Which extra of this package brings a library."""


class MissingLibrary(ImportError):
    """Something was asked for whose libraries are not installed; `problems` says how to get them."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


def library(name: str) -> ModuleType:
    """An optional library. Raises MissingLibrary with the extra that brings it."""
    try:
        return import_module(name)
    except ImportError:
        top = name.partition(".")[0]
        extra = EXTRAS[top]
        raise MissingLibrary(
            [f"{top} is not installed: it comes with the extra {extra}, pip install 'vpp[{extra}]'"]
        ) from None
