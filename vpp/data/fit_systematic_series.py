"""Fit the residuary resistance of the systematic yacht series; judge the fit on hulls that it has not seen.

`python -m vpp.data.fit_systematic_series` prints the cross-validation and the baselines; with `--write` it
also writes `systematic_series.py`, the coefficients that `vpp.physics.hull.residuary_curve` evaluates.

The logarithm of resistance over weight is fitted, so that resistance stays positive. At every Froude number
it is linear in the hull's proportions and quadratic in prismatic coefficient and centre of buoyancy, each
of which has a best value that moves with speed. The deviations from the mean curve are confined to a few
common curves over Froude number (singular value decomposition), which keeps noise of single tests out.
Which proportions and how many curves is chosen by leaving hulls out.
"""

from __future__ import annotations

import argparse
import csv
import json
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import resources
from itertools import product
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Hulls 4 and 5 of the published file differ in form and carry the same 14 resistances, and the data do not
# say which is the copy: a fit that has seen neither misses the row by less as hull 5 in resistance, and by
# less as hull 4 in relative terms.
DEFECTIVE_HULL = 5
PARAMETERS = (
    "lcb_percent",
    "prismatic_coefficient",
    "length_displacement_ratio",
    "beam_draught_ratio",
    "length_beam_ratio",
)
# Middle and half width of each parameter in the data: only for conditioning.
CENTRE = (-2.5, 0.565, 4.74, 4.08, 3.185)
HALF_WIDTH = (2.5, 0.035, 0.40, 1.27, 0.455)

# Which of the parameters enter squared, beside all that enter linearly.
TERM_SETS: dict[str, tuple[tuple[int, ...], tuple[int, ...]]] = {
    "beam_draught": ((0, 1, 2, 3), (0, 1)),
    "length_beam": ((0, 1, 2, 4), (0, 1)),
    "both": ((0, 1, 2, 3, 4), (0, 1)),
}
CURVE_COUNTS = (2, 3, 4, 14)
SHUFFLES = 30


@dataclass(frozen=True, kw_only=True)
class Tests:
    """The open data: form (n_hulls, 5), 1000 R/W (n_hulls, n_froude), Froude number (n_froude,)."""

    hull: NDArray[np.int_]
    form: Floats
    resistance: Floats
    froude_number: Floats


@dataclass(frozen=True, kw_only=True)
class Form:
    """A form of fit: which parameters, and how many common curves over Froude number."""

    terms: str
    curves: int


@dataclass(frozen=True, kw_only=True)
class Fit:
    """ln(1000 R/W) = mean + terms @ loading, at every Froude number of the data."""

    form: Form
    mean: Floats
    loading: Floats


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """Errors on hulls left out: `rmse` of 1000 R/W, `median_share` relative at Froude numbers from 0.25 up.

    bands: (lowest Froude number, highest, rmse, median_share) each.
    """

    rmse: float
    median_share: float
    bands: tuple[tuple[float, float, float, float], ...]
    chosen: tuple[str, ...] = ()


Predictor = Callable[[Tests, Floats], Floats]


def read_tests() -> Tests:
    """The data file without one of the two hulls that carry the same resistances."""
    text = resources.files("vpp.data").joinpath("yacht_hydrodynamics.csv").read_text(encoding="utf-8")
    rows = [row for row in csv.DictReader(text.splitlines()) if int(row["hull"]) != DEFECTIVE_HULL]
    hulls = sorted({int(row["hull"]) for row in rows})
    of_hull = [[row for row in rows if int(row["hull"]) == hull] for hull in hulls]
    return Tests(
        hull=np.array(hulls),
        form=np.array([[float(tests[0][name]) for name in PARAMETERS] for tests in of_hull]),
        resistance=np.array(
            [[float(row["residuary_resistance_per_1000_weight"]) for row in tests] for tests in of_hull]
        ),
        froude_number=np.array([float(row["froude_number"]) for row in of_hull[0]]),
    )


def design(form_parameters: Floats, terms: str) -> Floats:
    """Columns 1, linear terms, squares, of the conditioned parameters. form_parameters: (n_hulls, 5)."""
    scaled = (form_parameters - np.array(CENTRE)) / np.array(HALF_WIDTH)
    linear, squared = TERM_SETS[terms]
    return np.column_stack(
        [np.ones(len(scaled)), *(scaled[:, i] for i in linear), *(scaled[:, i] ** 2 for i in squared)]
    )


def fit(tests: Tests, form: Form) -> Fit:
    """Least squares on the logarithm, reduced to the common curves that matter most to resistance."""
    logarithm = np.log(tests.resistance)
    mean = logarithm.mean(axis=0)
    weight = tests.resistance.mean(axis=0)
    deviation = (logarithm - mean) * weight
    curves = np.linalg.svd(deviation, full_matrices=False)[2][: form.curves]
    columns = design(tests.form, form.terms)
    loading = np.linalg.lstsq(columns, deviation @ curves.T, rcond=None)[0] @ curves / weight
    return Fit(form=form, mean=mean, loading=loading)


def predict(fitted: Fit, form_parameters: Floats) -> Floats:
    """1000 R/W (n_hulls, n_froude) at the Froude numbers of the data."""
    result: Floats = np.exp(fitted.mean + design(form_parameters, fitted.form.terms) @ fitted.loading)
    return result


def without(tests: Tests, rows: Sequence[int]) -> Tests:
    """The tests with whole hulls left out."""
    keep = [i for i in range(len(tests.hull)) if i not in set(rows)]
    return Tests(
        hull=tests.hull[keep],
        form=tests.form[keep],
        resistance=tests.resistance[keep],
        froude_number=tests.froude_number,
    )


def every_form() -> tuple[Form, ...]:
    """The forms that are tried."""
    return tuple(Form(terms=terms, curves=curves) for terms, curves in product(TERM_SETS, CURVE_COUNTS))


def choose_form(tests: Tests) -> Form:
    """The form with the least error on hulls left out one at a time."""
    singles = [[i] for i in range(len(tests.hull))]

    def error(form: Form) -> float:
        return judge(tests, singles, lambda part, wanted: predict(fit(part, form), wanted)).rmse

    return min(every_form(), key=error)


def judge(tests: Tests, groups: Sequence[Sequence[int]], predictor: Predictor) -> Verdict:
    """Errors of a predictor on groups of hulls, each left out of its fit."""
    predicted = np.empty_like(tests.resistance)
    for group in groups:
        predicted[list(group)] = predictor(without(tests, group), tests.form[list(group)])
    return _verdict(tests, predicted)


def judge_nested(tests: Tests, groups: Sequence[Sequence[int]]) -> Verdict:
    """As `judge`, with the form chosen anew inside every fold."""
    predicted = np.empty_like(tests.resistance)
    chosen = []
    for group in groups:
        part = without(tests, group)
        form = choose_form(part)
        chosen.append(f"{form.terms}, {form.curves} curves")
        predicted[list(group)] = predict(fit(part, form), tests.form[list(group)])
    verdict = _verdict(tests, predicted)
    return Verdict(
        rmse=verdict.rmse, median_share=verdict.median_share, bands=verdict.bands, chosen=tuple(chosen)
    )


def mean_curve(part: Tests, wanted: Floats) -> Floats:
    """Baseline: the mean of the hulls at every Froude number."""
    return np.broadcast_to(part.resistance.mean(axis=0), (len(wanted), len(part.froude_number)))


def linear_in_all(part: Tests, wanted: Floats) -> Floats:
    """Baseline: at every Froude number, resistance linear in the five raw parameters."""
    columns = np.column_stack([np.ones(len(part.form)), part.form])
    coefficients = np.linalg.lstsq(columns, part.resistance, rcond=None)[0]
    result: Floats = np.column_stack([np.ones(len(wanted)), wanted]) @ coefficients
    return result


def quadratic_not_logarithmic(part: Tests, wanted: Floats) -> Floats:
    """Baseline: at every Froude number, resistance itself on the terms of "beam_draught"."""
    columns = design(part.form, "beam_draught")
    coefficients = np.linalg.lstsq(columns, part.resistance, rcond=None)[0]
    result: Floats = design(wanted, "beam_draught") @ coefficients
    return result


def one_at_a_time(tests: Tests) -> list[list[int]]:
    """Every hull as a group of its own."""
    return [[i] for i in range(len(tests.hull))]


def five_groups(tests: Tests, seed: int) -> list[list[int]]:
    """The hulls shuffled into five groups."""
    order = np.random.default_rng(seed).permutation(len(tests.hull))
    return [[int(i) for i in part] for part in np.array_split(order, 5)]


def _verdict(tests: Tests, predicted: Floats) -> Verdict:
    error = predicted - tests.resistance
    share = np.abs(error / tests.resistance)
    bands = []
    for low, high in ((0.125, 0.225), (0.25, 0.35), (0.375, 0.45)):
        inside = (tests.froude_number > low - 1e-6) & (tests.froude_number < high + 1e-6)
        bands.append((low, high, _root_mean_square(error[:, inside]), float(np.median(share[:, inside]))))
    fast = tests.froude_number > 0.25 - 1e-6
    return Verdict(
        rmse=_root_mean_square(error), median_share=float(np.median(share[:, fast])), bands=tuple(bands)
    )


def _root_mean_square(error: Floats) -> float:
    return float(np.sqrt(np.mean(error**2)))


def _line(name: str, verdict: Verdict) -> str:
    bands = "  ".join(
        f"Fn {low:.3f}-{high:.3f} {rmse:.3f} ({100 * share:.1f} %)"
        for low, high, rmse, share in verdict.bands
    )
    return f"{name:<46} rmse {verdict.rmse:.3f}  median {100 * verdict.median_share:.1f} %   {bands}"


def report(tests: Tests) -> str:
    """The cross-validation in words: whole hulls left out, errors in 0.001 R/W."""
    singles = one_at_a_time(tests)
    nested = judge_nested(tests, singles)
    lines = [
        f"{len(tests.hull)} hulls (hull {DEFECTIVE_HULL} left out), {tests.resistance.size} tests",
        "rmse in 0.001 R/W; median of the relative error at Fn >= 0.25; bands with rmse (median)",
        _line("mean curve, one hull out", judge(tests, singles, mean_curve)),
        _line("linear in five parameters, one hull out", judge(tests, singles, linear_in_all)),
        _line("quadratic, not logarithmic, one hull out", judge(tests, singles, quadratic_not_logarithmic)),
        _line("form chosen inside the folds, one hull out", nested),
    ]
    shuffles = [judge_nested(tests, five_groups(tests, seed)) for seed in range(SHUFFLES)]
    low, middle, high = np.percentile([verdict.rmse for verdict in shuffles], (5, 50, 95))
    share = np.mean([verdict.median_share for verdict in shuffles])
    lines.append(
        f"form chosen inside the folds, five groups, {SHUFFLES} shuffles: rmse 5, 50, 95 % of shuffles "
        f"{low:.3f}, {middle:.3f}, {high:.3f}; mean of the medians {100 * share:.1f} %"
    )
    counts = Counter(nested.chosen).items()
    lines.append("chosen: " + "; ".join(f"{name} x {count}" for name, count in counts))
    form = choose_form(tests)
    lines.append(f"final form, chosen on all hulls: {form.terms}, {form.curves} curves")
    return "\n".join(lines)


def write(tests: Tests, path: Path) -> None:
    """Write the module of coefficients, fitted to all hulls."""
    fitted = fit(tests, choose_form(tests))
    linear, squared = TERM_SETS[fitted.form.terms]
    low, high = tests.form.min(axis=0), tests.form.max(axis=0)
    head = (
        '"""Coefficients of the systematic yacht series, written by `vpp.data.fit_systematic_series`.\n\n'
        "ln(1000 R/W) = MEAN + LOADING applied to (1, linear terms, squares) of the parameters, each less\n"
        'its CENTRE and over its HALF_WIDTH.\n"""\n\n'
    )
    values = (
        f"PARAMETERS = {_block([json.dumps(name) for name in PARAMETERS])}\n"
        f"LOW = {_numbers(low)}\n"
        f"HIGH = {_numbers(high)}\n"
        f"CENTRE = {_numbers(CENTRE)}\n"
        f"HALF_WIDTH = {_numbers(HALF_WIDTH)}\n"
        f"LINEAR = {linear}\n"
        f"SQUARED = {squared}\n"
        f"FROUDE_NUMBER = {_block(_texts(tests.froude_number))}\n"
        f"MEAN = {_block(_texts(fitted.mean))}\n"
        f"LOADING = {_block([_numbers(row) for row in fitted.loading.T])}\n"
    )
    path.write_text(head + values, encoding="utf-8")


def _texts(values: Sequence[float] | Floats) -> list[str]:
    return [f"{float(value):.6g}" for value in values]


def _numbers(values: Sequence[float] | Floats) -> str:
    return "(" + ", ".join(_texts(values)) + ")"


def _block(items: Sequence[str]) -> str:
    return "(\n" + "".join(f"    {item},\n" for item in items) + ")"


def main() -> None:
    """Entry point."""
    parser = argparse.ArgumentParser(description="Fit the systematic yacht series.")
    parser.add_argument("--write", action="store_true", help="write systematic_series.py beside this file")
    arguments = parser.parse_args()
    tests = read_tests()
    print(report(tests))
    if arguments.write:
        write(tests, Path(__file__).with_name("systematic_series.py"))


if __name__ == "__main__":
    main()
