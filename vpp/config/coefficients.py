"""Lift and drag coefficients of a sail from a CSV file beside the boat file."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from vpp.config.columns import ColumnFile, read_columns
from vpp.config.errors import Problem
from vpp.config.schema import CoefficientSailTable
from vpp.physics import sail_tables

# The wind of a boat that sails by the lee comes from a little beyond dead astern. Lift coefficients of sails
# stay below three, drag coefficients of plates and bowls below two: common practice, no source.
_RANGES = {
    "awa_deg": {"type": "number", "minimum": 0.0, "maximum": 190.0},
    "lift_coefficient": {"type": "number", "minimum": -1.0, "maximum": 3.0},
    "drag_coefficient": {"type": "number", "minimum": 0.0, "maximum": 2.0},
}
LEAST_ROWS = 4
# A curve through the rows that leaves the span between two of them by more than this share of the table's
# largest coefficient is of the curve's making and not of the table's.
MOST_SWING = 0.1


class CoefficientFile(ColumnFile):
    """A file of coefficients as read."""

    @property
    def awa_deg(self) -> tuple[float, ...]:
        """Apparent wind angles from the centreline."""
        return self.column("awa_deg")

    @property
    def lift_coefficient(self) -> tuple[float, ...]:
        """Lift coefficients at those angles."""
        return self.column("lift_coefficient")

    @property
    def drag_coefficient(self) -> tuple[float, ...]:
        """Drag coefficients at those angles."""
        return self.column("drag_coefficient")


def read_coefficients(folder: Path, name: str) -> CoefficientFile:
    """Read a coefficient file; that its angles rise is part of being in order."""
    file = CoefficientFile(**vars(read_columns(folder, name, _RANGES)))
    if file.unreadable or file.problems:
        return file
    problems = [
        Problem(
            file=name,
            line=line,
            key="awa_deg",
            given=f"{angle:g} deg",
            wrong="the angles do not rise",
            allowed=f"above {before:g} deg",
        )
        for (before, angle), line in zip(pairwise(file.awa_deg), file.lines[1:], strict=True)
        if angle <= before
    ]
    if not problems and len(file.lines) < LEAST_ROWS:
        wrong = f"the file has {len(file.lines)} rows of numbers"
        problems = [Problem(file=name, line=1, wrong=wrong, allowed=f"{LEAST_ROWS} or more")]
    return replace(file, problems=tuple(problems))


def misfits_of(sail: CoefficientSailTable, file: CoefficientFile) -> list[Problem]:
    """What in a file that is in order by itself does not go together with its sail's area and span, or with
    the smooth curves through its rows.
    """
    curves = sail_tables.table_curves(
        angle=np.radians(file.awa_deg), lift=file.lift_coefficient, drag=file.drag_coefficient
    )
    return [*_swings(file, curves), *_too_little_drag(sail, file, curves)]


def _swings(file: CoefficientFile, curves: sail_tables.TableCurves) -> Iterator[Problem]:
    columns = ("lift_coefficient", "drag_coefficient")
    largest = max(abs(value) for column in columns for value in file.column(column))
    for column, swings in zip(columns, sail_tables.swing(curves=curves), strict=True):
        for place in np.flatnonzero(swings > MOST_SWING * largest):
            low, high = file.awa_deg[place : place + 2]
            yield Problem(
                file=file.name,
                line=file.lines[place + 1],
                key=column,
                wrong=f"between {low:g} and {high:g} deg the smooth curve through all rows leaves these two "
                f"by {swings[place]:.2f}",
                allowed=f"up to {MOST_SWING * largest:.2f}",
                hint="give more rows about here, or rows that change less abruptly",
            )


def _too_little_drag(
    sail: CoefficientSailTable, file: CoefficientFile, curves: sail_tables.TableCurves
) -> Iterator[Problem]:
    factor = float(sail_tables.induced_drag_factor(area=sail.area_m2, span=sail.span_m))
    rows = zip(file.awa_deg, file.lift_coefficient, file.drag_coefficient, file.lines, strict=True)
    fine = True
    for angle, lift, drag, line in rows:
        least = factor * lift**2 + sail_tables.LEAST_PARASITE_DRAG
        if drag < least and not math.isclose(drag, least, rel_tol=1e-9):
            fine = False
            yield Problem(
                file=file.name,
                line=line,
                key="drag_coefficient",
                given=f"{drag:g}",
                wrong=f"at {angle:g} deg is less than the induced drag of that lift at "
                f"sail.{sail.name}.span_m = {sail.span_m:g} and area_m2 = {sail.area_m2:g}, and "
                f"{sail_tables.LEAST_PARASITE_DRAG:g} of friction",
                allowed=f"from {least:.4f}",
            )
    if fine:
        yield from _too_little_between(sail, file, curves)


def _too_little_between(
    sail: CoefficientSailTable, file: CoefficientFile, curves: sail_tables.TableCurves
) -> Iterator[Problem]:
    share = np.linspace(0.0, 1.0, 21)
    for place, (low, high) in enumerate(pairwise(file.awa_deg)):
        left = sail_tables.parasite_drag(
            curves=curves, angle=np.radians(low + share * (high - low)), area=sail.area_m2, span=sail.span_m
        )
        # at the rows themselves it may be the least, but for rounding
        if np.min(left) < sail_tables.LEAST_PARASITE_DRAG * (1.0 - 1e-6):
            yield Problem(
                file=file.name,
                line=file.lines[place + 1],
                key="drag_coefficient",
                wrong=f"between {low:g} and {high:g} deg the smooth curves through the rows leave less drag "
                f"than induced drag and {sail_tables.LEAST_PARASITE_DRAG:g} of friction",
                hint="give more rows about here, more drag, or a longer span_m",
            )
