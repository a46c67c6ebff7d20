"""Times of options round a course: which is best for the forecast, by how much and how sure, as tables and in
words.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp.compare import DECISIVE_PERCENT
from vpp.config.course_file import OVER_TIME, WEIBULL, CourseFile, Lost
from vpp.interpolation import LeftOut, PolarInterpolant
from vpp.legs import BOTH_TACKS, TACKS, Part, SailedLeg, over_water
from vpp.results.files import Source
from vpp.results.frames import EXTENDED_REMARK, Floats
from vpp.results.variables import DEGREE, KNOT, show_number

SAILED, NOT_SAILED = "sailed", "not_sailed"

QUANTILES = (0.1, 0.5, 0.9)
"""Of the difference to the base, by the weight of the winds."""

LEVEL_S = 0.05
"""Times that differ by less are called level."""

NAUTICAL_MILE = 1852.0


@dataclass(frozen=True, kw_only=True)
class Passage:
    """One option in one wind: its legs, or the reason why there are none; and the way to the line."""

    option: str
    tws: float
    legs: tuple[SailedLeg, ...] = ()
    reason: str = ""
    line: SailedLeg | None = None
    line_reason: str = ""

    @property
    def time(self) -> float:
        """Time round the course [s]; NaN without a result."""
        return sum(leg.time for leg in self.legs) if self.legs else math.nan


@dataclass(frozen=True, kw_only=True)
class Choice:
    """What one option is worth in the forecast, over those winds that all compared options sail.

    Times in s. `difference` is against the base, negative where faster; `quantiles` are of it, by weight;
    `won` the weight of the winds in which the option is fastest; `regret` what it loses on average against
    the best option of each wind; `unsailed` the weight of the winds that it cannot sail. NaN for an option
    that is not compared; then `reason` says why.
    """

    option: str
    expected: float
    difference: float
    difference_percent: float
    quantiles: tuple[float, ...]
    won: float
    regret: float
    unsailed: float
    chosen: bool
    reason: str


@dataclass(frozen=True, kw_only=True)
class CourseTimes:
    """Every option of a polar round one course in every wind of its forecast; see `sail_course`.

    `passages` run over option, then wind; the first option is the base. A wind that changes over time is one
    wind, whose `tws_kn` is NaN. `remarks` counts those of the polar's conditions.
    """

    source: Source
    course: CourseFile
    options: tuple[str, ...]
    tws_kn: tuple[float, ...]
    weight: tuple[float, ...]
    passages: tuple[Passage, ...]
    polar: PolarInterpolant = field(repr=False)
    remarks: Mapping[str, int] = field(default_factory=dict, repr=False)

    def __repr__(self) -> str:
        done = int(np.isfinite(self.time_s).sum())
        return (
            f"CourseTimes({self.source.file} round {self.course.path.name}: {', '.join(self.options)}; "
            f"{len(self.passages)} passages, {done} sailed)"
        )

    @cached_property
    def time_s(self) -> Floats:
        """Time on (option, wind); NaN where an option cannot sail."""
        times = np.array([passage.time for passage in self.passages])
        return times.reshape(len(self.options), len(self.tws_kn))

    @property
    def difference_s(self) -> Floats:
        """Time against the base in the same wind, negative where faster."""
        difference: Floats = self.time_s - self.time_s[0]
        return difference

    @property
    def difference_percent(self) -> Floats:
        """The same as a part of the base's time."""
        percent: Floats = 100.0 * self.difference_s / self.time_s[0]
        return percent

    @property
    def unsailed(self) -> Floats:
        """Weight of the winds that each option cannot sail [1]."""
        weights: Floats = np.where(np.isnan(self.time_s), np.array(self.weight), 0.0).sum(axis=1)
        return weights

    @property
    def compared(self) -> NDArray[np.bool_]:
        """Which options are compared: those that can sail at least one wind."""
        return np.array([np.isfinite(times).any() for times in self.time_s], dtype=bool)

    @property
    def common(self) -> NDArray[np.bool_]:
        """In which winds all compared options can sail."""
        known = np.isfinite(self.time_s[self.compared])
        return np.array([along.any() and along.all() for along in known.T], dtype=bool)

    @cached_property
    def choices(self) -> tuple[Choice, ...]:
        """What each option is worth in the forecast."""
        weight = np.array(self.weight) * self.common
        if weight.sum() <= 0.0:
            told = "there is no wind that all options can sail"
            return tuple(self._not_compared(at, told) for at in range(len(self.options)))
        weight = weight / weight.sum()
        places = np.flatnonzero(self.compared)
        times = np.where(self.common, self.time_s, 0.0)
        best = times[places].min(axis=0)
        expected = times @ weight
        least = places[int(np.argmin(expected[places]))]
        wins = (times < best + LEVEL_S) & self.compared[:, np.newaxis]
        won = (wins / np.maximum(wins.sum(axis=0), 1)) @ weight
        choices = []
        for at, option in enumerate(self.options):
            if not self.compared[at]:
                choices.append(self._not_compared(at, self._first_reason(at)))
                continue
            has_base = bool(self.compared[0])
            difference = times[at] - times[0]
            choices.append(
                Choice(
                    option=option,
                    expected=float(expected[at]),
                    difference=float(expected[at] - expected[0]) if has_base else math.nan,
                    difference_percent=(
                        100.0 * float(expected[at] / expected[0] - 1.0) if has_base else math.nan
                    ),
                    quantiles=tuple(
                        weighted_quantile(difference, weight, share) if has_base else math.nan
                        for share in QUANTILES
                    ),
                    won=float(won[at]),
                    regret=float((times[at] - best) @ weight),
                    unsailed=float(self.unsailed[at]),
                    chosen=bool(at == least),
                    reason="",
                )
            )
        return tuple(choices)

    @property
    def chosen(self) -> Choice | None:
        """The option with the least expected time; None where nothing can be compared."""
        return next((choice for choice in self.choices if choice.chosen), None)

    def _not_compared(self, at: int, reason: str) -> Choice:
        nothing = math.nan
        return Choice(
            option=self.options[at], expected=nothing, difference=nothing, difference_percent=nothing,
            quantiles=(nothing,) * len(QUANTILES), won=nothing, regret=nothing,
            unsailed=float(self.unsailed[at]), chosen=False, reason=reason,
        )  # fmt: skip

    def _first_reason(self, at: int) -> str:
        rows = self.passages[at * len(self.tws_kn) : (at + 1) * len(self.tws_kn)]
        return next((passage.reason for passage in rows if passage.reason), "")

    # --- tables ---------------------------------------------------------------------------------------------

    def legs_frame(self) -> pd.DataFrame:
        """One row for each option, wind and leg, the way to the line among them as leg 0."""
        rows = []
        for passage in self.passages:
            if passage.line is not None:
                rows.append(_leg_row(passage.option, 0, passage.line))
            rows += [
                _leg_row(passage.option, number, leg) for number, leg in enumerate(passage.legs, start=1)
            ]
        return pd.DataFrame(rows, columns=list(LEG_COLUMNS))

    def times_frame(self) -> pd.DataFrame:
        """One row for each option and wind, those without a result too."""
        difference, percent = self.difference_s, self.difference_percent
        best = np.min(np.where(np.isnan(self.time_s), np.inf, self.time_s), axis=0)
        rows = []
        for place, passage in enumerate(self.passages):
            at, wind = divmod(place, len(self.tws_kn))
            line = passage.line.time if passage.line is not None else math.nan
            rows.append(
                (
                    passage.option, self.tws_kn[wind], 100.0 * self.weight[wind], passage.time,
                    difference[at, wind], percent[at, wind],
                    bool(passage.legs) and bool(passage.time < best[wind] + LEVEL_S),
                    sum(leg.tacks for leg in passage.legs), sum(leg.gybes for leg in passage.legs),
                    sum(leg.lost for leg in passage.legs) if passage.legs else math.nan,
                    line, SAILED if passage.legs else NOT_SAILED,
                    "; ".join(dict.fromkeys(filter(None, (passage.reason, passage.line_reason)))),
                )
            )  # fmt: skip
        return pd.DataFrame(rows, columns=list(TIME_COLUMNS))

    def choice_frame(self) -> pd.DataFrame:
        """One row an option: what it is worth in the forecast."""
        rows = [
            (
                choice.option, choice.expected, choice.difference, choice.difference_percent,
                *choice.quantiles, 100.0 * choice.won, choice.regret, 100.0 * choice.unsailed,
                choice.chosen, choice.reason,
            )
            for choice in self.choices
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=list(CHOICE_COLUMNS))

    @cached_property
    def interpolation(self) -> pd.DataFrame:
        """How well left out speeds are found again, one row for each option and way: within what half, 95
        of 100 and all of the errors lie; see `PolarInterpolant.left_out`. The difference is that of the
        option's error from the base's at the same points: what is wrong with a comparison.
        """
        rows = []
        base = self.polar.left_out(self.options[0])
        for option in self.options:
            for found, of_base in zip(self.polar.left_out(option), base, strict=True):
                error, apart = found.error, _apart(found, of_base)
                worst = int(np.argmax(np.abs(error))) if len(error) else -1
                at = (found.tws_kn[worst], found.twa_deg[worst]) if len(error) else (math.nan, math.nan)
                rows.append(
                    (
                        option, found.along, len(error), *_spread(error), *at, *_spread(apart),
                    )
                )  # fmt: skip
        return pd.DataFrame(rows, columns=list(INTERPOLATION_COLUMNS))

    # --- sentences ------------------------------------------------------------------------------------------

    def summary(self) -> tuple[str, ...]:
        """The choice in plain words, and all that is to be known beside it."""
        return (*self._say_choice(), *self._say_unsailed(), *self._say_line(), *self.notes())

    def notes(self) -> tuple[str, ...]:
        """What the numbers rest on."""
        told = (self._say_turns(), self._say_cut(), *self._say_interpolation(), *self._say_extended())
        return tuple(filter(None, told))

    def _say_choice(self) -> Iterator[str]:
        best = self.chosen
        if best is None:
            yield "Nothing can be chosen: there is no wind that all options can sail."
            return
        name, several = best.option, len(self.tws_kn) > 1
        word = "expected" if several else "time"
        if len(self.options) == 1:
            yield f"{name}: {word} {say_time(best.expected)}."
            return
        told = f"Fastest for the forecast: {name}, {word} {say_time(best.expected)}"
        base = self.options[0]
        if name != base and math.isfinite(best.difference):
            told += (
                f", {show_number(-best.difference, decimals=1)} s "
                f"({show_number(-best.difference_percent, decimals=2)} %) less than {base}"
            )
        yield f"{told}{self._say_next(best, base)}."
        if several and name != base and math.isfinite(best.difference):
            low, middle, high = (show_number(q, decimals=1, signed=True) for q in best.quantiles)
            yield (
                f"Against {base}, {name} takes {middle} s in the middle of the winds by weight, and from "
                f"{low} to {high} s in eight tenths of them."
            )
        if several:
            yield (
                f"{name} is the fastest in {show_number(100.0 * best.won, decimals=0)} % of the winds by "
                f"weight; always having the best option of each wind would save another "
                f"{show_number(best.regret, decimals=1)} s."
            )

    def _say_next(self, best: Choice, base: str) -> str:
        others = [each for each in self.choices if not each.reason and not each.chosen]
        if not others:
            return ""
        second = min(others, key=lambda each: each.expected)
        margin = second.expected - best.expected
        percent = 100.0 * margin / second.expected
        told = ", the next"
        if second.option != base:
            told = f"; next is {second.option}, {show_number(margin, decimals=1)} s more"
        if percent < DECISIVE_PERCENT:
            told += f" (below {DECISIVE_PERCENT:g} %: no basis for a decision by itself)"
        return told

    def _say_unsailed(self) -> Iterator[str]:
        for at, option in enumerate(self.options):
            lacking = np.flatnonzero(np.isnan(self.time_s[at]))
            if not lacking.size:
                continue
            winds = ", ".join(f"{self.tws_kn[i]:.4g}" for i in lacking)
            share = show_number(100.0 * float(self.unsailed[at]), decimals=1)
            where = f" at {winds} kn, {share} % of the winds by weight" if len(self.tws_kn) > 1 else ""
            yield f"{option} has no time{where}: {self._first_reason(at)}."
        out = 1.0 - float(np.array(self.weight)[self.common].sum())
        if self.chosen is not None and out > 1e-9:
            yield (
                f"Expected times are over the winds that all compared options sail, which leaves out "
                f"{show_number(100.0 * out, decimals=1)} % by weight."
            )

    def _say_line(self) -> Iterator[str]:
        if self.course.line is None:
            return
        told = []
        for at, option in enumerate(self.options):
            rows = self.passages[at * len(self.tws_kn) : (at + 1) * len(self.tws_kn)]
            times = np.array([p.line.time if p.line is not None else math.nan for p in rows])
            known = np.isfinite(times)
            if not known.any():
                told.append(f"{option} no time ({rows[0].line_reason})")
                continue
            low, high = float(times[known].min()), float(times[known].max())
            span = f"{low:.0f} s" if high - low < 0.5 else f"{low:.0f} to {high:.0f} s by wind"
            told.append(f"{option} {span}")
        length = show_number(self.course.line.length, decimals=0)
        yield f"To the line, {length} m: {', '.join(told)}."

    def _say_turns(self) -> str:
        tack, gybe = _say_lost(self.course.tack), _say_lost(self.course.gybe)
        return f"A tack loses {tack}, a gybe {gybe}."

    def _say_cut(self) -> str:
        wind = self.course.wind
        if wind.model != WEIBULL:
            return ""
        below, above = (show_number(100.0 * part, decimals=1) for part in (wind.below, wind.above))
        return (
            f"The distribution is cut: {below} % of the winds lie below and {above} % above those sailed; "
            "weights are parts of the rest."
        )

    def _say_interpolation(self) -> Iterator[str]:
        frame = self.interpolation
        used = winds_over_water_kn(self.course)
        ways = ["angle"]
        if self.course.wind.model == OVER_TIME or not self.polar.has_winds(used):
            ways.append("wind")
        elif all(leg.way.kind == BOTH_TACKS for passage in self.passages for leg in passage.legs):
            yield "All legs are sailed at best VMG in winds that are solved: nothing is interpolated."
            return
        else:
            yield "All winds of the course are solved: none is interpolated."
        for along in ways:
            rows = frame[(frame["along"] == along) & (frame["points"] > 0)]
            if rows.empty:
                yield f"Interpolation along the {along}: the polar has too few steps to tell its error."
                continue
            worst = rows.iloc[int(np.argmax(rows["largest_percent"]))]
            half, most, largest = (
                show_number(float(rows[f"{name}_percent"].max()), decimals=2)
                for name in ("half_within", "most_within", "largest")
            )
            told = (
                f"Interpolation along the {along}: of the speeds left out in turn, half are found again to "
                f"{half} %, 95 of 100 to {most} % and the worst, at {worst['tws_kn']:.4g} kn and TWA "
                f"{show_number(float(worst['twa_deg']), decimals=0)} deg, to {largest} %"
            )
            if len(self.options) > 1:
                apart = show_number(float(rows["difference_most_within_percent"].max()), decimals=2)
                told += f"; 95 of 100 differences of options to {apart} %"
            yield f"{told}. Steps are twice those of the polar there."

    def _say_extended(self) -> Iterator[str]:
        for remark, count in self.remarks.items():
            if EXTENDED_REMARK in remark:
                yield f"In the polar: {remark} ({count} conditions)."


LEG_COLUMNS = (
    "option", "tws_kn", "leg", "name", "bearing_deg", "length_nm", "time_s", "sailing_s", "lost_s", "lost_m",
    "distance_sailed_nm", "made_good_kn", "sailed",
    "first_tack", "first_share_percent", "first_twa_deg", "first_boat_speed_kn", "first_heading_deg",
    "first_branch",
    "second_tack", "second_share_percent", "second_twa_deg", "second_boat_speed_kn", "second_heading_deg",
    "second_branch",
    "tacks", "gybes", "layline_starboard_deg", "layline_port_deg", "remark",
)  # fmt: skip
TIME_COLUMNS = (
    "option", "tws_kn", "weight_percent", "time_s", "difference_s", "difference_percent", "fastest", "tacks",
    "gybes", "lost_s", "to_line_s", "status", "reason",
)  # fmt: skip
CHOICE_COLUMNS = (
    "option", "expected_time_s", "difference_s", "difference_percent", "difference_10_percent_s",
    "difference_50_percent_s", "difference_90_percent_s", "won_percent", "regret_s", "unsailed_percent",
    "chosen", "reason",
)  # fmt: skip
INTERPOLATION_COLUMNS = (
    "option", "along", "points", "half_within_percent", "most_within_percent", "largest_percent", "tws_kn",
    "twa_deg", "difference_half_within_percent", "difference_most_within_percent",
    "difference_largest_percent",
)  # fmt: skip


def _leg_row(option: str, number: int, done: SailedLeg) -> tuple[Any, ...]:
    parts = [_part_row(part) for part in done.way.parts]
    parts += [("", *(math.nan,) * 4, "")] * (2 - len(parts))
    arrival = {part.tack: part.track / DEGREE for part in done.arrival.parts}
    laid = done.arrival.kind == BOTH_TACKS
    return (
        option, done.tws / KNOT, number, done.leg.name, done.leg.bearing / DEGREE,
        done.leg.length / NAUTICAL_MILE, done.time, done.sailing, done.lost,
        done.lost * done.leg.length / done.sailing, done.through_water / NAUTICAL_MILE,
        done.leg.length / done.sailing / KNOT, done.way.kind, *parts[0], *parts[1], done.tacks, done.gybes,
        *(arrival[tack] if laid else math.nan for tack in TACKS), done.way.remark,
    )  # fmt: skip


def _part_row(part: Part) -> tuple[Any, ...]:
    return (
        part.tack, 100.0 * part.share, part.twa / DEGREE, part.boat_speed / KNOT, part.heading / DEGREE,
        part.branch,
    )  # fmt: skip


def _apart(found: LeftOut, base: LeftOut) -> Floats:
    """Errors of an option less those of the base, at the points that both have."""
    known = dict(zip(zip(base.tws_kn, base.twa_deg, strict=True), base.error, strict=True))
    places = zip(found.tws_kn, found.twa_deg, strict=True)
    return np.array([error - known[at] for at, error in zip(places, found.error, strict=True) if at in known])


def _spread(errors: Floats) -> tuple[float, float, float]:
    """Within what half, 95 of 100 and all of some errors lie, per cent."""
    if not len(errors):
        return math.nan, math.nan, math.nan
    half, most, largest = (float(100.0 * np.quantile(np.abs(errors), share)) for share in (0.5, 0.95, 1.0))
    return half, most, largest


def _say_lost(lost: Lost) -> str:
    return f"{lost.way:g} m" if lost.way else f"{lost.time:g} s"


def say_time(seconds: float) -> str:
    """A time as h:mm:ss, or mm:ss below an hour; a dash where there is none."""
    if not math.isfinite(seconds):
        return "-"
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes:02d}:{rest:02d}"


def weighted_quantile(values: Floats, weight: Floats, share: float) -> float:
    """The least value below or at which the share of the weight lies (the inverse of the distribution)."""
    order = np.argsort(values, kind="stable")
    order = order[weight[order] > 0.0]
    gathered = np.cumsum(weight[order])
    # a share that is met to rounding is met
    place = int(np.searchsorted(gathered, share * gathered[-1] - 1e-12))
    return float(values[order][min(place, len(order) - 1)])


def winds_over_water_kn(course: CourseFile) -> tuple[float, ...]:
    """The winds over the water that a course is sailed in, in the order of its file [kn]."""
    wind = course.wind
    twd = wind.twd if wind.time else wind.twd * len(wind.tws)
    return tuple(
        over_water(course, tws=tws, twd=from_)[0] / KNOT for tws, from_ in zip(wind.tws, twd, strict=True)
    )
