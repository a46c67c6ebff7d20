"""Factors on the forces of the models, found from a few speeds that are known of the boat."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import least_squares

from vpp.boat import Boat, Calibration
from vpp.config.text import nearest
from vpp.polar import source_of
from vpp.results.files import Source
from vpp.results.frames import Floats, is_converged, is_extended
from vpp.results.variables import DEGREE, KNOT, show_number
from vpp.solved import SPEED, Conditions, Solved
from vpp.solver.stopping import refuse_part
from vpp.wardrobe import solve

if TYPE_CHECKING:
    from vpp.config import BoatFile

Progress = Callable[[int, int], None]

SCALES: tuple[str, ...] = tuple(entry.name for entry in fields(Calibration))
"""The scales that can be fitted."""

DEFAULT_SCALES = ("hull_resistance",)

BOUNDS = (0.7, 1.4)
"""Between what a scale may lie, as in the boat file: more is no error of a model but another boat."""

LEAST_RATIO = 0.1
"""Least singular value over the greatest, of sensitivities with columns of length 1, below which points do
not tell scales apart: of two scales, a cosine of 0.98. Chosen, no source.
"""

LEAST_SENSITIVITY = 0.02
"""A scale matters that moves some speed by at least this part of its own change. Chosen, no source."""

LEAST_TOLD_PERCENT = 1.0
"""Error of speed before a fit above which it says that most of it is left."""

ALIKE = 0.9
"""Cosine above which a fit says that two scales move the speeds alike."""

# Wide enough to stand out of the tolerance of the equilibria, and narrow enough that the error of the slope
# only slows the search.
_STEP = 0.02
_NEAR_BOUND = 1e-4
_DECIMALS = 4
_MOST_EVALUATIONS = 10
# Light, middling and strong wind, close, abeam and broad: where a further point is looked for.
_TRIED_TWS_KN = (6.0, 12.0, 20.0)
_TRIED_TWA_DEG = (45.0, 90.0, 150.0)


class CannotCalibrate(ValueError):
    """Points from which the scales cannot be found; `problems` says why and what to do."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


@dataclass(frozen=True, kw_only=True)
class KnownPoint:
    """A speed through the water that is known of the boat, in a true wind."""

    name: str
    tws_kn: float
    twa_deg: float
    boat_speed_kn: float


@dataclass(frozen=True, kw_only=True)
class CalibrationFit:
    """Scales fitted to known points, and what they do to the speeds there.

    `filed` is the calibration in the boat file, which the fit does not start from. Along `scales`: `values`;
    `standard_errors`, from the errors that are left, NaN where there are as many scales as points; and
    `errors_per_percent`, what independent errors of 1 % in each known speed are worth. Along `points`:
    `before_kn`, the speeds with all scales 1, and `after_kn`. `sensitivity` (points, scales) is the relative
    change of speed for one of the scale; `similarity` (scales, scales) the cosine between its columns.
    """

    source: Source
    option: str
    filed: Calibration
    points: tuple[KnownPoint, ...]
    scales: tuple[str, ...]
    values: tuple[float, ...]
    standard_errors: tuple[float, ...]
    errors_per_percent: tuple[float, ...]
    before_kn: tuple[float, ...]
    after_kn: tuple[float, ...]
    sensitivity: Floats
    evaluations: int

    def __repr__(self) -> str:
        return f"CalibrationFit({self.source.file}: {self.option}; {self.calibration.text or 'none'})"

    @property
    def calibration(self) -> Calibration:
        """The fitted calibration, rounded as `toml` writes it; every scale that is not fitted is 1."""
        return Calibration(
            **{name: round(value, _DECIMALS) for name, value in zip(self.scales, self.values, strict=True)}
        )

    @property
    def similarity(self) -> Floats:
        """Cosines between the changes of speed that the scales make at the points, (scales, scales)."""
        columns = _unit_columns(self.sensitivity)
        cosines: Floats = columns.T @ columns
        return cosines

    def errors_percent(self, speed_kn: Sequence[float]) -> Floats:
        """How much faster than known speeds at the points are, in per cent."""
        known = np.array([point.boat_speed_kn for point in self.points])
        errors: Floats = 100.0 * (np.array(speed_kn) / known - 1.0)
        return errors

    def toml(self) -> str:
        """The table for the boat file."""
        lines = [f"{name}_scale = {getattr(self.calibration, name):.{_DECIMALS}f}" for name in self.scales]
        return "\n".join(["[calibration]", *lines]) + "\n"

    def to_frame(self) -> pd.DataFrame:
        """One row a point: the speed known, before and after."""
        return pd.DataFrame(
            {
                "option": self.option,
                "known_point": [point.name for point in self.points],
                "tws_kn": [point.tws_kn for point in self.points],
                "twa_deg": [point.twa_deg for point in self.points],
                "known_kn": [point.boat_speed_kn for point in self.points],
                "before_kn": self.before_kn,
                "before_error_percent": self.errors_percent(self.before_kn),
                "after_kn": self.after_kn,
                "after_error_percent": self.errors_percent(self.after_kn),
                "calibration": self.calibration.text or "none",
            }
        )

    def scales_frame(self) -> pd.DataFrame:
        """One row a fitted scale, with its errors."""
        return pd.DataFrame(
            {
                "scale": self.scales,
                "value": self.values,
                "standard_error": self.standard_errors,
                "error_per_percent": self.errors_per_percent,
            }
        )

    def summary(self) -> tuple[str, ...]:
        """Sentences on the fit: what it found, what is left, and what it does not know."""
        return tuple(
            f"{told}."
            for told in (
                self._say_scales(),
                self._say_errors(),
                *self._say_left(),
                *self._say_exact(),
                *self._say_alike(),
                *self._say_filed(),
            )
        )

    def _say_scales(self) -> str:
        told = _say_values(self.scales, self.values, decimals=3)
        return f"{self.option}: {told}, from {_counted(len(self.points), 'known point')}; all other scales 1"

    def _say_errors(self) -> str:
        before, after = self.errors_percent(self.before_kn), self.errors_percent(self.after_kn)
        told = [
            f"{show_number(errors[at], decimals=1, signed=True)} % {when} (at {self.points[at].name})"
            for errors, when in ((before, "before"), (after, "after"))
            for at in (int(np.argmax(np.abs(errors))),)
        ]
        return f"largest error of speed: {told[0]}, {told[1]}"

    def _say_left(self) -> list[str]:
        before, after = (
            float(np.max(np.abs(self.errors_percent(speed)))) for speed in (self.before_kn, self.after_kn)
        )
        if before < LEAST_TOLD_PERCENT or after < 0.5 * before:
            return []
        return [
            "more than half of the largest error is left, so that what is wrong is hardly what these scales "
            "multiply; look for it in the boat file or in the points before using them"
        ]

    def _say_exact(self) -> list[str]:
        if len(self.points) > len(self.scales):
            return []
        return [
            "as many scales as points: the fit meets every point whatever is wrong with it, and the scales' "
            "standard errors are not known; a further point would check them"
        ]

    def _say_alike(self) -> list[str]:
        cosines = self.similarity
        return [
            f"{_spoken(self.scales[i])} and {_spoken(self.scales[j])} move these speeds much alike "
            f"(cosine {cosines[i, j]:.2f}{_say_opposite(cosines[i, j])}), so that an error in one is "
            "made up for by the other"
            for i, j in combinations(range(len(self.scales)), 2)
            if abs(cosines[i, j]) > ALIKE
        ]

    def _say_filed(self) -> list[str]:
        if not self.filed.text:
            return []
        return [
            f"the boat file has a calibration already ({self.filed.text}): the fit does not start from it "
            "but from all scales 1, and its lines replace that table"
        ]


def calibrate(
    boat_file: BoatFile,
    *,
    scales: Sequence[str] = DEFAULT_SCALES,
    option: str = "base",
    processes: int = 1,
    progress: Progress | None = None,
) -> CalibrationFit:
    """Scales of a boat's forces that bring its speeds nearest to those of its known points.

    Bounded least squares of the relative error of speed at all points, starting from scales of 1, the model
    being the fastest equilibrium under the best sail set. Every step solves all points with and without a
    change of 2 % in each scale, in one batch; of a boat that can fly, a change is followed on the branch that
    the point is on. `scales` are names of `SCALES`. Nothing is written.

    Raises CannotCalibrate for scales that do not exist, no points or fewer than scales, a point without an
    equilibrium, a scale that moves no speed, points that do not tell scales apart, a search that does not
    settle, and a scale that ends at its bound; BoatFileError for an option that the file does not hold.
    """
    boat, named = boat_file.boat(option), tuple(dict.fromkeys(scales))
    points = known_points(boat_file, option)
    _check_asked(boat_file, named, points)
    model = _Model(boat=boat, points=points, scales=named, processes=processes, progress=progress)
    known = np.array([point.boat_speed_kn for point in points])
    ones = np.ones(len(named))
    start = model.at(ones)
    _check_told_apart(model, ones)

    def error(values: Floats) -> Floats:
        relative: Floats = model.at(values).speed_kn / known - 1.0
        return relative

    def slope(values: Floats) -> Floats:
        relative: Floats = model.at(values).slope_kn / known[:, np.newaxis]
        return relative

    found = least_squares(
        error,
        ones,
        jac=slope,
        bounds=BOUNDS,
        method="dogbox",
        xtol=1e-3,
        ftol=1e-8,
        gtol=1e-6,
        max_nfev=_MOST_EVALUATIONS,
    )
    values: Floats = np.asarray(found.x, dtype=float)
    if found.status == 0:
        raise CannotCalibrate([_say_unsettled(model, values)])
    end = model.at(values)
    _check_told_apart(model, values)
    _check_inside(named, values, points, error(values))
    standard, per_percent = _uncertainty(slope(values), error(values))
    return CalibrationFit(
        source=source_of(boat_file, [boat]),
        option=option,
        filed=boat.calibration,
        points=points,
        scales=named,
        values=tuple(values.tolist()),
        standard_errors=tuple(standard.tolist()),
        errors_per_percent=tuple(per_percent.tolist()),
        before_kn=tuple(start.speed_kn.tolist()),
        after_kn=tuple(end.speed_kn.tolist()),
        sensitivity=end.sensitivity,
        evaluations=len(model.solved),
    )


def known_points(boat_file: BoatFile, option: str = "base") -> tuple[KnownPoint, ...]:
    """The known points of an option, in the order of the file; raises BoatFileError without that option."""
    told: dict[str, dict[str, float]] = {}
    for row in boat_file.rows(option):
        table, _, rest = row.key.partition(".")
        if table == "known_point" and not rest.endswith(".name"):
            name, _, key = rest.partition(".")
            told.setdefault(name, {})[key] = float(row.value)
    return tuple(KnownPoint(name=name, **values) for name, values in told.items())


# --- the model ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class _Speeds:
    """Speeds at points with some scales (points,), and their slopes by each scale (points, scales)."""

    values: Floats
    speed_kn: Floats
    slope_kn: Floats

    @property
    def sensitivity(self) -> Floats:
        """Relative change of speed for one of a scale."""
        part: Floats = self.slope_kn * self.values / self.speed_kn[:, np.newaxis]
        return part


@dataclass(frozen=True, kw_only=True)
class _Model:
    """The boat's speeds by its scales; every set of scales is solved once, with its slopes."""

    boat: Boat
    points: tuple[KnownPoint, ...]
    scales: tuple[str, ...]
    processes: int
    progress: Progress | None
    solved: dict[bytes, _Speeds] = field(default_factory=dict)

    def at(self, values: Floats) -> _Speeds:
        """Speeds and slopes at the points; raises CannotCalibrate where one has no equilibrium."""
        key = np.asarray(values, dtype=float).tobytes()
        if key not in self.solved:
            self.solved[key] = self._solve(np.array(values, dtype=float))
        return self.solved[key]

    def _solve(self, values: Floats) -> _Speeds:
        found, variants, shape = self.tried(self.points, values)
        speed_kn, why = _on_one_branch(found, shape)
        problems = [
            f"known_point.{point.name}: no equilibrium at TWA {point.twa_deg:g} deg in {point.tws_kn:g} kn "
            f"{self.say_scales(variants[row])}: {reason} Leave the point out or check its wind."
            for point, reasons in zip(self.points, why.T, strict=True)
            for row, reason in [next(((i, str(told)) for i, told in enumerate(reasons) if told), (0, ""))]
            if reason
        ]
        if problems:
            raise CannotCalibrate(problems)
        slope = (speed_kn[1:] - speed_kn[0]) / (_STEP * values[:, np.newaxis])
        return _Speeds(values=values, speed_kn=speed_kn[0], slope_kn=slope.T)

    def tried(self, points: Sequence[KnownPoint], values: Floats) -> tuple[Solved, Floats, tuple[int, int]]:
        """All points with the scales as given and with each of them changed; the latter (variants, scales);
        and how many variants and points there are.
        """
        variants = values * (1.0 + _STEP * np.vstack([np.zeros(len(values)), np.eye(len(values))]))
        boats = [
            replace(self.boat, calibration=Calibration(**dict(zip(self.scales, row, strict=True))))
            for row in variants.tolist()
        ]
        shape = len(boats), len(points)
        conditions = Conditions(
            option=np.repeat(np.arange(len(boats), dtype=np.intp), len(points)),
            tws=np.tile(np.array([point.tws_kn for point in points]) * KNOT, len(boats)),
            twa=np.tile(np.array([point.twa_deg for point in points]) * DEGREE, len(boats)),
            aim=np.full(len(boats) * len(points), SPEED),
        )
        found = solve(boats, conditions, processes=self.processes, progress=self.progress)
        refuse_part()
        return found, variants, shape

    def say_scales(self, values: Floats) -> str:
        """With which scales."""
        return f"with {_say_values(self.scales, values, decimals=2)}"


def _on_one_branch(found: Solved, shape: tuple[int, int]) -> tuple[Floats, NDArray[np.object_]]:
    """Speeds [kn] of variants at points, and why there is none. A variant is followed on the branch on which
    the first of them is better, so that its speed differs by what was changed and not by taking off.
    """
    speed, reason = _speeds(found, shape)
    if not found.branches:
        return speed, reason
    better = found.branch.reshape(shape)[0]
    for branch, of_branch in found.branches.items():
        here = better == branch
        along, why = _speeds(of_branch, shape)
        speed[1:, here], reason[1:, here] = along[1:, here], why[1:, here]
    return speed, reason


def _speeds(found: Solved, shape: tuple[int, int]) -> tuple[Floats, NDArray[np.object_]]:
    converged = is_converged(found)
    speed_kn = np.where(converged, found.quantities["boat_speed"] / KNOT, math.nan)
    return speed_kn.reshape(shape), np.where(converged, "", found.reason).reshape(shape)


# --- what the points can tell -------------------------------------------------------------------------------


def _unit_columns(sensitivity: Floats) -> Floats:
    columns: Floats = sensitivity / np.linalg.norm(sensitivity, axis=0)
    return columns


def singular_ratio(sensitivity: Floats) -> float:
    """Least over greatest singular value of sensitivities (points, scales), the columns brought to length 1:
    1 where every scale has a pattern of its own, 0 where one can be made of the others.
    """
    values = np.linalg.svd(_unit_columns(sensitivity), compute_uv=False)
    return float(values[-1] / values[0])


def _check_told_apart(model: _Model, values: Floats) -> None:
    """Refuse scales that move no speed, or that move all speeds as others do."""
    sensitivity = model.at(values).sensitivity
    idle = [
        name
        for name, column in zip(model.scales, sensitivity.T, strict=True)
        if np.max(np.abs(column)) < LEAST_SENSITIVITY
    ]
    if idle:
        raise CannotCalibrate([_say_idle(name, sensitivity[:, model.scales.index(name)]) for name in idle])
    if singular_ratio(sensitivity) < LEAST_RATIO:
        raise CannotCalibrate([f"{_say_look_alike(model.scales, sensitivity)}: {_say_cure(model, values)}"])


def _say_idle(name: str, column: Floats) -> str:
    moved = 10.0 * float(np.max(np.abs(column)))
    return (
        f"scale = {name!r}: 10 % more of it moves none of these speeds by more than {moved:.2f} %, so that "
        "they say nothing of it; fit another scale, or add a point where it matters"
    )


def _say_look_alike(scales: Sequence[str], sensitivity: Floats) -> str:
    columns = _unit_columns(sensitivity)
    cosines = columns.T @ columns
    pairs = list(combinations(range(len(scales)), 2))
    alike = [(i, j) for i, j in pairs if singular_ratio(sensitivity[:, [i, j]]) < LEAST_RATIO]
    if alike:
        return "; ".join(
            f"{_spoken(scales[i])} and {_spoken(scales[j])} move these speeds alike "
            f"(cosine {cosines[i, j]:.3f}{_say_opposite(cosines[i, j])})"
            for i, j in alike
        )
    cures = [
        name
        for place, name in enumerate(scales)
        if singular_ratio(np.delete(sensitivity, place, axis=1)) >= LEAST_RATIO
    ]
    # one that cures alone is entangled with all the others
    named = [_spoken(name) for name in (cures if len(cures) > 1 else scales)]
    return (
        f"{', '.join(named[:-1])} and {named[-1]} cannot be told apart at these points: what one does to the "
        f"speeds the others do together (singular values {singular_ratio(sensitivity):.2f} to 1)"
    )


def _say_opposite(cosine: float) -> str:
    return ", more of one doing what less of the other does" if cosine < 0.0 else ""


def _say_cure(model: _Model, values: Floats) -> str:
    """What to do: drop a scale, or add that point of some tried which tells most."""
    tried = [
        KnownPoint(name="", tws_kn=tws, twa_deg=twa, boat_speed_kn=math.nan)
        for tws in _TRIED_TWS_KN
        for twa in _TRIED_TWA_DEG
    ]
    found, _, shape = model.tried(tried, values)
    speed_kn, _ = _on_one_branch(found, shape)
    # a point that rests on extended resistance tells of the extension
    sound = np.isfinite(speed_kn) & ~is_extended(found).reshape(shape)
    rows = ((speed_kn[1:] - speed_kn[0]) / (_STEP * speed_kn[0])).T
    have = model.at(values).sensitivity
    ratios = [
        singular_ratio(np.vstack([have, row])) if column.all() else 0.0
        for row, column in zip(rows, sound.T, strict=True)
    ]
    best = int(np.argmax(ratios))
    if ratios[best] < LEAST_RATIO:
        return "fit fewer scales; none of the winds that were tried for a further point would tell them apart"
    return (
        f"fit fewer scales, or add a point; of those tried, one at TWA {tried[best].twa_deg:g} deg in "
        f"{tried[best].tws_kn:g} kn, where the model says {speed_kn[0, best]:.1f} kn, would tell most "
        f"(singular values {ratios[best]:.2f} to 1, least allowed {LEAST_RATIO:g})"
    )


def _check_asked(boat_file: BoatFile, scales: Sequence[str], points: Sequence[KnownPoint]) -> None:
    unknown = [name for name in scales if name not in SCALES]
    problems = [
        "; ".join(
            filter(
                None,
                (
                    f"scale = {name!r}: there is no such scale",
                    f"allowed: {', '.join(SCALES)}",
                    nearest(name, SCALES),
                ),
            )
        )
        for name in unknown
    ]
    file = boat_file.path
    if not scales:
        problems.append("scale: none is named; name at least one")
    if not points:
        problems.append(
            f"{file}: there are no known points; add [[known_point]] tables with name, tws_kn, twa_deg and "
            "boat_speed_kn"
        )
    elif len(points) < len(scales):
        problems.append(
            f"{file}: {_counted(len(points), 'known point')} for {len(scales)} scales; fit fewer scales or "
            "add [[known_point]] tables"
        )
    if problems:
        raise CannotCalibrate(problems)


def _check_inside(
    scales: Sequence[str], values: Floats, points: Sequence[KnownPoint], errors: Floats
) -> None:
    worst = int(np.argmax(np.abs(errors)))
    left = f"{show_number(100.0 * errors[worst], decimals=1, signed=True)} % at {points[worst].name}"
    problems = [
        f"scale = {name!r}: ends at its bound {bound:g}, with an error of speed of {left} left; the model or "
        "a point is wrong by more than calibration may mend: check the points, then masses, sails and hull "
        "of the boat file"
        for name, value in zip(scales, values.tolist(), strict=True)
        for bound in BOUNDS
        if abs(value - bound) < _NEAR_BOUND
    ]
    if problems:
        raise CannotCalibrate(problems)


def _uncertainty(jacobian: Floats, errors: Floats) -> tuple[Floats, Floats]:
    """Standard errors of the scales by the errors that are left, and by errors of 1 % in every speed."""
    spread = np.sqrt(np.diag(np.linalg.inv(jacobian.T @ jacobian)))
    spare = len(errors) - jacobian.shape[1]
    left = math.sqrt(float(errors @ errors) / spare) if spare else math.nan
    return spread * left, spread * 0.01


def _say_unsettled(model: _Model, values: Floats) -> str:
    at, steps = _say_values(model.scales, values, decimals=3), _counted(len(model.solved), "step")
    return (
        f"no scales found: after {steps}, at {at}, the search has not settled, because the "
        "speeds jump with the scales; leave out points near take-off or near the end of a model's range"
    )


def _say_values(scales: Sequence[str], values: Sequence[float] | Floats, *, decimals: int) -> str:
    return ", ".join(
        f"{_spoken(name)} x {value:.{decimals}f}" for name, value in zip(scales, values, strict=True)
    )


def _spoken(name: str) -> str:
    return name.replace("_", " ")


def _counted(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
