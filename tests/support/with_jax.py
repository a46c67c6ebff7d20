"""JAX in double precision, where it is installed."""

from __future__ import annotations

import importlib
from typing import Any

import pytest


def jax_or_skip() -> Any:
    """The library, or a skipped test."""
    return pytest.importorskip("jax", reason="jax, an independent way of differentiating, is not installed")


def double_precision(jax: Any) -> Any:
    """A context in which JAX computes in 64 bits, by whichever name its version has for it."""
    home = jax if hasattr(jax, "enable_x64") else importlib.import_module("jax.experimental")
    return home.enable_x64(True)
