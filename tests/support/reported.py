"""Invented comparisons for the page of a report: with failures, with extended resistance, with any names."""

from __future__ import annotations

import importlib
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from tests.support import synthetic
from vpp.compare import Comparison
from vpp.config import BoatFile
from vpp.polar import polar
from vpp.report.content import Subject, subject
from vpp.results.variables import DEGREE, KNOT

TWS_KN = (6.0, 10.0, 14.0, 18.0)
TWA_DEG = (30.0, 50.0, 70.0, 90.0, 110.0, 130.0, 150.0, 165.0)
HOSTILE = (
    "<script>alert(1)</script>",
    "</script><img src=x onerror=alert(2)>\"'&amp;",
    "\u26f5 \U0001f600 {{7*7}} ${alert(3)} %{x} <b>bold</b> $x^2$",
    "n" * 120,
)
"""Names that a page must show as they are and never obey."""


def comparison_of(
    monkeypatch: pytest.MonkeyPatch,
    options: Sequence[str] = (),
    *,
    tws_kn: Sequence[float] = TWS_KN,
    is_alone: bool = False,
) -> tuple[BoatFile, Comparison]:
    """The invented boat with its options; at 18 kn and broad angles its hull resistance is extended."""
    monkeypatch.setattr(importlib.import_module("vpp.polar"), "solve", synthetic.solve)
    boat_file = synthetic.make_boat_file(options=not is_alone)
    found = polar(boat_file, tws_kn=tws_kn, twa_deg=TWA_DEG, options=options)
    solved = found.solved
    beyond = (solved.conditions.tws > 15.0 * KNOT) & (solved.quantities["twa"] > 99.0 * DEGREE)
    remark = np.where(beyond, "hull resistance extended past Fn 0.45", solved.remark)
    return boat_file, Comparison(polar=replace(found, solved=replace(solved, remark=remark)))


def renamed(boat_file: BoatFile, comparison: Comparison, names: Sequence[str]) -> Subject:
    """The same with other names of boat and options, as a subject."""
    found = comparison.polar
    boats = tuple(
        replace(boat, name=name, says=name) for boat, name in zip(found.solved.boats, names, strict=True)
    )
    rows = dict(zip(names, boat_file.resolved.values(), strict=True))
    renamed_file = replace(
        boat_file, name=names[1], description=names[0], boats=boats, resolved={**rows, "base": rows[names[0]]}
    )
    source = replace(found.source, name=names[1], file=names[0])
    polar_renamed = replace(
        found, options=tuple(names), source=source, solved=replace(found.solved, boats=boats)
    )
    return subject(renamed_file, Comparison(polar=polar_renamed))
