"""Which option is best in which range of wind, and what the others gain or cost there, in plain words."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from vpp.results.frames import EXTENDED_MARK, Floats
from vpp.results.variables import show_number

Flags = NDArray[np.bool_]

DECISIVE_PERCENT = 1.0
"""Differences below this share of a speed are no basis for a decision by themselves."""

LEVEL_KN = 0.005
"""Two speeds closer than this are called level: a hundredth of a knot is the last digit shown."""

INDENT = "  "
"""What a sentence on the other options begins with."""

_SMALL = f"below {DECISIVE_PERCENT:g} %"


@dataclass(frozen=True, kw_only=True)
class Turn:
    """Where one boat overtakes another: between two wind speeds, at `tws_kn`, which is solved for
    (`is_solved`) or by a straight line; NaN where it is not known.
    """

    below_kn: float
    above_kn: float
    tws_kn: float
    is_solved: bool

    @property
    def text(self) -> str:
        """The wind speed in words, without its unit."""
        if math.isnan(self.tws_kn):
            return f"{self.below_kn:g} to {self.above_kn:g}"
        if self.is_solved:
            return show_number(self.tws_kn, decimals=1)
        return f"about {show_number(self.tws_kn, decimals=0)}"


Overtaking = Callable[[int, int, int, int], Turn]
"""Where the second of two options overtakes the first, between two winds, all by their places."""


@dataclass(frozen=True, kw_only=True)
class Course:
    """What all options make good along the winds of one course, `where` in words, (options, winds) in kn and
    NaN without a result; the first is the base.

    `crossing` is 1 where an option is foil-borne and the base hull-borne, -1 the other way round, and
    `extended` tells which gains rest on hull resistance past its data. `turns` tells for an option where its
    gain over the base changes sign.
    """

    where: str
    tws_kn: tuple[float, ...]
    options: tuple[str, ...]
    made_good: Floats
    crossing: NDArray[np.int_]
    extended: Flags
    overtaking: Overtaking
    turns: Mapping[str, Sequence[Turn]] = field(default_factory=dict)

    @property
    def gain_kn(self) -> Floats:
        """Gain over the base."""
        gain: Floats = self.made_good - self.made_good[:1]
        return gain

    @property
    def gain_percent(self) -> Floats:
        """The same as a part of the base's."""
        gain: Floats = 100.0 * self.gain_kn / self.made_good[:1]
        return gain

    @property
    def behind_percent(self) -> Floats:
        """What the best makes good more than each option at each wind, as a part of the latter's."""
        known = np.where(np.isnan(self.made_good), -np.inf, self.made_good)
        behind: Floats = 100.0 * (known.max(axis=0) - self.made_good) / self.made_good
        return behind

    @property
    def alike(self) -> Flags:
        """Which gains are known and lie between boats that are carried alike."""
        alike: Flags = np.isfinite(self.gain_kn) & (self.crossing == 0)
        return alike

    @property
    def is_small(self) -> Flags:
        """Which options differ from the base by less than `DECISIVE_PERCENT` in every wind, (options,)."""
        few = np.all(~self.alike | (np.abs(self.gain_percent) < DECISIVE_PERCENT), axis=1)
        small: Flags = few & self.alike.any(axis=1) & np.all(self.crossing == 0, axis=1)
        return small


@dataclass(frozen=True, kw_only=True)
class Run:
    """Neighbouring winds, by their places, in which one option is the fastest or less than `DECISIVE_PERCENT`
    behind it; so are the `rivals`.
    """

    leader: int
    winds: tuple[int, ...]
    rivals: tuple[int, ...]


def runs(course: Course) -> list[Run]:
    """The winds in as few runs as cover them: from each wind on the option that stays the longest less than
    `DECISIVE_PERCENT` behind the fastest, of equals the base, then the one that is the least behind. Winds
    without any result belong to none.
    """
    behind = course.behind_percent
    near = behind < DECISIVE_PERCENT
    known = np.flatnonzero(np.isfinite(course.made_good).any(axis=0)).tolist()
    found: list[Run] = []
    while known:
        lengths = [_first_false([bool(near[at, wind]) for wind in known]) for at in range(len(near))]
        longest = max(lengths)
        winds = known[:longest]
        equal = [at for at, length in enumerate(lengths) if length == longest]
        leader = 0 if 0 in equal else min(equal, key=lambda at: float(behind[at, winds].sum()))
        rivals = tuple(at for at in equal if at != leader)
        found.append(Run(leader=leader, winds=tuple(winds), rivals=rivals))
        known = known[longest:]
    return found


def say(courses: Sequence[Course]) -> tuple[str, ...]:
    """For each course a sentence on which option is best in which winds, and an indented one on others that
    differ from the base by `DECISIVE_PERCENT`, where there are any; then one on options that nowhere do.
    """
    nowhere = np.all([course.is_small for course in courses], axis=0)
    told = [sentence for course in courses for sentence in _say_course(course, nowhere)]
    names = [name for name, is_small in zip(courses[0].options, nowhere, strict=True) if is_small]
    if names[1:]:
        told.append(f"{_SMALL.capitalize()} against {names[0]} on all of these: {_listed(names[1:])}.")
    return tuple(told)


def _say_course(course: Course, nowhere: Flags) -> tuple[str, ...]:
    found = runs(course)
    if not found:
        return (f"{course.where}: no result.",)
    others = _say_others(course, found, nowhere)
    told = f"{course.where}: {_say_runs(course, found)}."
    return (told, f"{INDENT}{others}.") if others else (told,)


def _first_false(values: Sequence[bool]) -> int:
    return next((place for place, value in enumerate(values) if not value), len(values))


def _say_runs(course: Course, found: Sequence[Run]) -> str:
    turns = [_turn(course, first, second) for first, second in pairwise(found)]
    ends = [None, *turns, None]
    told = [
        f"{_span(course, run, ends[place], ends[place + 1])} {_say_leader(course, run)}"
        for place, run in enumerate(found)
    ]
    without: Flags = np.all(np.isnan(course.made_good), axis=0)
    told += [f"no option has a result {_winds_text(course, without)}"] if without.any() else []
    return "; ".join(told)


def _turn(course: Course, first: Run, second: Run) -> Turn:
    """Where the leader of a run overtakes that of the run before."""
    lead = course.made_good[second.leader] - course.made_good[first.leader]
    winds = (*first.winds, *second.winds)
    ahead = [wind for wind in winds if lead[wind] > 0.0]
    behind = [wind for wind in winds if lead[wind] <= 0.0]
    if ahead and behind and max(behind) < min(ahead):
        return course.overtaking(first.leader, second.leader, max(behind), min(ahead))
    # it is not once that one overtakes the other, or one of them has no result on the way
    low, high = course.tws_kn[first.winds[-1]], course.tws_kn[second.winds[0]]
    return Turn(below_kn=low, above_kn=high, tws_kn=math.nan, is_solved=False)


def _span(course: Course, run: Run, before: Turn | None, after: Turn | None) -> str:
    """The winds of a run in words: to where the leader is known to change, else to the run's own winds."""
    low, high = (f"{course.tws_kn[wind]:g}" for wind in (run.winds[0], run.winds[-1]))
    if before is not None and math.isfinite(before.tws_kn):
        low = before.text
        if after is None:
            return f"above {low} kn"
    if after is not None and math.isfinite(after.tws_kn):
        high = after.text
        if before is None:
            return f"up to {high} kn"
    return f"at {low} kn" if low == high else f"from {low} to {high} kn"


def _say_leader(course: Course, run: Run) -> str:
    names, winds = course.options, list(run.winds)
    if run.leader == 0:
        return f"no option gains {DECISIVE_PERCENT:g} % over {names[0]}"
    is_first = bool(np.all(course.behind_percent[run.leader, winds] == 0.0))
    near = "" if is_first else f" or within {DECISIVE_PERCENT:g} % of it"
    told = f"{names[run.leader]} is the fastest{near}{_say_worth(course, run)}"
    if run.rivals:
        verb = "is" if len(run.rivals) == 1 else "are"
        told += f"; {_listed([names[at] for at in run.rivals])} {verb} as near"
    return told


def _say_worth(course: Course, run: Run) -> str:
    """What the leader of a run gains over the base."""
    at, base = run.leader, course.options[0]
    here = np.zeros(len(course.tws_kn), dtype=bool)
    here[list(run.winds)] = True
    told, alike = [], here & course.alike[at]
    if alike.any():
        percent = course.gain_percent[at, alike]
        decisive = alike & (course.gain_percent[at] >= DECISIVE_PERCENT)
        small = f": {_SMALL}" if np.all(np.abs(percent) < DECISIVE_PERCENT) else ""
        if decisive.any() and not np.array_equal(decisive, alike):
            small = f", {DECISIVE_PERCENT:g} % or more {_winds_text(course, decisive)}"
        told.append(f", worth {_gain_text(course, at, alike)} over {base}{small}")
    if (flies := here & (course.crossing[at] > 0)).any():
        told.append(f", flying {_winds_text(course, flies)} where {base} does not")
    if (lacking := here & np.isnan(course.made_good[0])).any():
        told.append(f", {base} without a result {_winds_text(course, lacking)}")
    return "".join(told)


def _say_others(course: Course, found: Sequence[Run], nowhere: Flags) -> str:
    """What options gain and cost that are not the fastest in every wind, by how they do; those that make no
    difference are not named.
    """
    base, everywhere = course.options[0], found[0].leader if len(found) == 1 else -1
    titles = {
        "gains": f"{'faster' if everywhere == 0 else 'also faster'} than {base}",
        "costs": f"slower than {base}",
        "flies": f"flying where {base} does not",
        "floats": f"afloat where {base} flies",
        "none": "no result",
    }
    groups: dict[str, list[str]] = {key: [] for key in titles}
    for at in range(1, len(course.options)):
        if at != everywhere and not nowhere[at]:
            led = [wind for run in found if run.leader == at for wind in run.winds]
            _sort_option(course, at, groups, led)
        _sort_missing(course, at, groups["none"])
    return "; ".join(f"{titles[key]}: {', '.join(names)}" for key, names in groups.items() if names)


def _sort_missing(course: Course, at: int, missing: list[str]) -> None:
    """Name the winds in which an option has no result though another has one."""
    lacking = np.isnan(course.made_good[at]) & np.isfinite(course.made_good).any(axis=0)
    if lacking.any():
        missing.append(f"{course.options[at]} {_winds_text(course, lacking)}")


def _sort_option(course: Course, at: int, groups: Mapping[str, list[str]], led: Sequence[int]) -> None:
    """Put what is to be said of an option where it belongs; not what it gains where it leads alone."""
    name, gain, alike = course.options[at], course.gain_kn[at], course.alike[at]
    for way, group in ((1, "flies"), (-1, "floats")):
        if (course.crossing[at] == way).any():
            groups[group].append(f"{name} {_winds_text(course, course.crossing[at] == way)}")
    decisive = alike & (np.abs(course.gain_percent[at]) >= DECISIVE_PERCENT)
    for sign, group in ((1.0, "gains"), (-1.0, "costs")):
        here = decisive & (sign * gain > 0.0)
        if here.any() and not set(np.flatnonzero(here).tolist()) <= set(led):
            groups[group].append(f"{name} {_say_side(course, at, alike & (sign * gain > 0.0))}")


def _say_side(course: Course, at: int, here: Flags) -> str:
    """What an option gains or costs at the winds at which it does, and between which winds that is."""
    said = _gain_text(course, at, here)
    winds = np.array(course.tws_kn)[here]
    turns = course.turns.get(course.options[at], ())
    low = [turn.text for turn in turns if turn.below_kn < winds[0]]
    high = [turn.text for turn in turns if turn.above_kn > winds[-1]]
    if low and high:
        return f"{said} from {low[-1]} to {high[0]} kn"
    if low:
        return f"{said} above {low[-1]} kn"
    return f"{said} below {high[0]} kn" if high else said


def _gain_text(course: Course, at: int, here: Flags) -> str:
    """What an option gains or costs at some winds: from the least to the most, or up to that where the least
    is next to nothing.
    """
    gain, percent = np.abs(course.gain_kn[at, here]), np.abs(course.gain_percent[at, here])
    if gain.min() < LEVEL_KN <= gain.max():
        most = _kn_span(gain[[gain.argmax()]], extended=course.extended[at, here])
        return f"up to {most} ({show_number(float(percent.max()), decimals=1)} %)"
    return f"{_kn_span(gain, extended=course.extended[at, here])} ({_percent_span(percent)})"


def _winds_text(course: Course, here: Flags) -> str:
    if here.all() and len(here) > 1:
        return "in every wind"
    return f"at {', '.join(f'{tws:g}' for tws in np.array(course.tws_kn)[here])} kn"


def _kn_span(values: Floats, *, extended: Flags) -> str:
    return _span_of(values, decimals=2, unit="kn", mark=EXTENDED_MARK if extended.any() else "")


def _percent_span(values: Floats) -> str:
    return _span_of(values, decimals=1, unit="%")


def _span_of(values: Floats, *, decimals: int, unit: str, mark: str = "") -> str:
    """The least and the greatest value, or the one that both are as shown."""
    low, high = (show_number(float(end), decimals=decimals) for end in (values.min(), values.max()))
    return f"{low}{mark} {unit}" if low == high else f"{low} to {high}{mark} {unit}"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
