"""Compute cambered sections in turbulent flow and fit what `vpp.physics.sail_sections` takes from them.

`python -m vpp.data.fit_sail_sections` prints the fits to `sail_sections.csv`; with `--write` it first
computes that file anew, for which NeuralFoil (P. Sharpe; MIT licence) must be installed.

The sections have the thickness of the NACA four-digit family on a parabolic arc. Transition is held at 2 % of
the chord on both sides.
"""

from __future__ import annotations

import argparse
import csv
import importlib
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

Floats = NDArray[np.float64]

FILE = "sail_sections.csv"
COLUMNS = (
    "reynolds",
    "thickness_percent",
    "camber_percent",
    "greatest_lift",
    "drag_below_design_lift",
    "drag_at_design_lift",
    "drag_above_design_lift",
)
REYNOLDS = (5e4, 1e5, 2e5, 5e5, 1e6, 2e6, 5e6, 1e7)
THICKNESS_PERCENT = (5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 18.0)
CAMBER_PERCENT = (0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0)
# Lift below and above the design lift at which drag is looked up, and where transition is held.
LIFT_STEP, TRANSITION = 0.6, 0.02
# Thickness of the sections whose tail decides their stall.
TAIL_THICKNESS_PERCENT = 12.0


@dataclass(frozen=True, kw_only=True)
class Polars:
    """The columns of the file; drag is not a number where a section does not reach the lift."""

    reynolds: Floats
    thickness: Floats
    camber: Floats
    greatest_lift: Floats
    drag_below: Floats
    drag: Floats
    drag_above: Floats

    @property
    def design_lift(self) -> Floats:
        return 4.0 * math.pi * self.camber


@dataclass(frozen=True, kw_only=True)
class Fit:
    """Constants of one law and how well they do."""

    constants: tuple[float, ...]
    root_mean_square: float
    largest: float


def coordinates(*, thickness: float, camber: float, count: int = 120) -> Floats:
    """Outline from the trailing edge over the leeward side and back, (points, 2), over the chord."""
    x = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, count)))
    half = 5.0 * thickness * (0.2969 * np.sqrt(x) + x * (-0.1260 + x * (-0.3516 + x * (0.2843 - 0.1036 * x))))
    slope = np.arctan(4.0 * camber * (1.0 - 2.0 * x))
    across = np.column_stack([-half * np.sin(slope), half * np.cos(slope)])
    line = np.column_stack([x, 4.0 * camber * x * (1.0 - x)])
    return np.vstack([(line + across)[::-1], (line - across)[1:]])


def compute() -> list[tuple[float, ...]]:
    """The rows of the file."""
    library = importlib.import_module("neuralfoil")
    incidence_deg = np.arange(-22.0, 25.0, 0.25)
    rows = []
    for reynolds in REYNOLDS:
        for thickness in THICKNESS_PERCENT:
            for camber in CAMBER_PERCENT:
                found = library.get_aero_from_coordinates(
                    coordinates(thickness=thickness / 100.0, camber=camber / 100.0),
                    incidence_deg,
                    reynolds,
                    xtr_upper=TRANSITION,
                    xtr_lower=TRANSITION,
                )
                rows.append((reynolds, thickness, camber, *_of_polar(incidence_deg, found, camber / 100.0)))
    return rows


def read() -> Polars:
    """The file."""
    with (resources.files("vpp.data") / FILE).open(encoding="utf-8") as file:
        rows = list(csv.reader(file))
    if tuple(rows[0]) != COLUMNS:
        raise ValueError(f"{FILE} has other columns than {', '.join(COLUMNS)}.")
    reynolds, thickness, camber, lift, below, drag, above = np.array(rows[1:], dtype=float).T
    return Polars(
        reynolds=reynolds,
        thickness=thickness / 100.0,
        camber=camber / 100.0,
        greatest_lift=lift,
        drag_below=below,
        drag=drag,
        drag_above=above,
    )


def fit_tail(polars: Polars) -> Fit:
    """Margin of lift a (Re/1e6)^b exp(-(camber/c)^2), errors of lift."""
    chosen = np.isclose(polars.thickness, TAIL_THICKNESS_PERCENT / 100.0)
    margin = (polars.greatest_lift - polars.design_lift)[chosen]
    ratio, camber = polars.reynolds[chosen] / 1e6, polars.camber[chosen]
    return _fit(lambda c: c[0] * ratio ** c[1] * np.exp(-((camber / c[2]) ** 2)) - margin, (1.4, 0.1, 0.1))


def fit_camber_drag(polars: Polars) -> Fit:
    """Drag at the design lift over that without camber 1 + a camber^2 + (camber/b)^8, errors of its
    logarithm.
    """
    ratio = polars.drag / np.array([_without_camber(polars, i) for i in range(polars.drag.size)])
    chosen = (
        (polars.reynolds >= 2e5)
        & (polars.thickness < 0.121)
        & (polars.camber > 0.0)
        & (polars.camber < 0.121)
    )
    camber, ratio = polars.camber[chosen], ratio[chosen]
    return _fit(lambda c: np.log((1.0 + c[0] * camber**2 + (camber / c[1]) ** 8) / ratio), (40.0, 0.12))


def bucket_factors(polars: Polars) -> Floats:
    """Curvature of drag about the design lift for the sections that the bucket factor is the median of."""
    chosen = (
        (polars.reynolds >= 5e5)
        & (polars.thickness > 0.059)
        & (polars.thickness < 0.151)
        & (polars.camber < 0.081)
    )
    curvature = (polars.drag_below + polars.drag_above - 2.0 * polars.drag) / (2.0 * LIFT_STEP**2)
    result: Floats = curvature[chosen & np.isfinite(curvature)]
    return result


def main(arguments: Sequence[str] | None = None) -> None:
    """Compute if asked to, fit and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--write", action="store_true", help=f"compute {FILE} anew")
    if parser.parse_args(arguments).write:
        with (Path(__file__).parent / FILE).open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(COLUMNS)
            writer.writerows([f"{value:.6g}" for value in row] for row in compute())
    polars = read()
    for name, fit in (("tail", fit_tail(polars)), ("camber drag", fit_camber_drag(polars))):
        said = ", ".join(f"{constant:.4g}" for constant in fit.constants)
        print(f"{name}: {said}; root mean square {fit.root_mean_square:.3f}, largest {fit.largest:.3f}")
    quarters = ", ".join(f"{value:.4f}" for value in np.percentile(bucket_factors(polars), (25, 50, 75)))
    print(f"bucket factor of round noses, quartiles: {quarters}")


def _of_polar(incidence_deg: Floats, found: dict[str, Floats], camber: float) -> tuple[float, ...]:
    """Greatest lift, the first that incidence leads to, and drag about the design lift."""
    lift, drag = found["CL"], found["CD"]
    falls = np.flatnonzero((incidence_deg[:-1] >= 1.0) & (np.diff(lift) < 0.0))
    greatest = lift[falls[0]] if falls.size else lift[-1]
    attached = slice(int(np.argmin(lift)), int(np.argmax(lift)) + 1)
    wanted = 4.0 * math.pi * camber + np.array([-LIFT_STEP, 0.0, LIFT_STEP])
    at = np.interp(wanted, lift[attached], drag[attached], left=np.nan, right=np.nan)
    return (float(greatest), *(float(value) for value in at))


def _without_camber(polars: Polars, index: int) -> float:
    same = (
        (polars.reynolds == polars.reynolds[index])
        & (polars.thickness == polars.thickness[index])
        & (polars.camber == 0.0)
    )
    return float(polars.drag[same][0])


def _fit(errors: Callable[[Floats], Floats], start: tuple[float, ...]) -> Fit:
    found = least_squares(errors, start, x_scale=np.abs(start))
    return Fit(
        constants=tuple(float(value) for value in found.x),
        root_mean_square=float(np.sqrt(np.mean(found.fun**2))),
        largest=float(np.abs(found.fun).max()),
    )


if __name__ == "__main__":
    main()
