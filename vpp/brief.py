"""One page for a meeting: which option to take, by how much, why, how sure, and what to be careful of.

The choice is by a stated rule, so that it can be argued with: the greatest gain in per cent on average over
best VMG upwind, best VMG downwind and a reach, all winds of the grid alike, among the boats that keep to the
rule box.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from vpp.compare import DECISIVE_PERCENT, LEVEL_KN, Comparison
from vpp.doubt import TWA_DEG, Doubt, NoDoubt, doubt
from vpp.polar import BEST_VMG, Progress
from vpp.results.frames import Floats
from vpp.results.variables import show_number
from vpp.rule_box import Verdict, verdicts
from vpp.why import NoSplit, Why, split_at

if TYPE_CHECKING:
    from vpp.config import BoatFile

DRAWS = 64
"""Draws of the uncertain quantities, where nothing else is asked for."""

REACH = "reach"
LEGS = (BEST_VMG[0], REACH, BEST_VMG[1])
"""What is sailed in each wind, as a question may name it."""

_MOST_RIVALS = 2
_MOST_OUTSIDE = 2
_MOST_NAMED = 4
# An input is named among those that matter from this share of the doubt on.
_NAMED = 0.05
# A sign is called sure that holds in this share of the draws.
_SURE = 0.9


class NoBrief(ValueError):
    """There is nothing to say on one page; the message says why."""


@dataclass(frozen=True, kw_only=True)
class Standing:
    """How one boat does against the base over the conditions of the choice: its mean gain [%] over those that
    all boats have, and the clauses of the rule box that it breaks.
    """

    option: str
    mean_percent: float
    breaks: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Brief:
    """What the page says; see `brief`. `standings` begin with the best, over what is sailed in each wind,
    `rows`: angles and best VMGs; `known` of the `counted` conditions have a result for every boat.
    `explained` is the option whose gain is split and drawn, the chosen one unless that is the base; `why` is
    None where `why_not` says why, and `doubt` where none was asked for.
    """

    comparison: Comparison
    question: str
    standings: tuple[Standing, ...]
    chosen: str
    counted: int
    known: int
    rows: tuple[str | float, ...]
    verdicts: tuple[Verdict, ...]
    explained: str
    says: str
    why: Why | None = None
    why_not: str = ""
    doubt: Doubt | None = field(default=None, repr=False)

    @property
    def rival(self) -> str:
        """The best of the other options that may be chosen; empty where there is none."""
        return next(
            (
                each.option
                for each in self.standings
                if _may_be_chosen(each) and each.option not in (self.explained, self.base)
            ),
            "",
        )

    @property
    def base(self) -> str:
        """The boat that all are compared with."""
        return self.comparison.polar.options[0]

    def standing(self, option: str) -> Standing:
        """How an option does."""
        return next(each for each in self.standings if each.option == option)

    @property
    def headline(self) -> str:
        """The answer in one sentence."""
        mean = self.standing(self.chosen).mean_percent
        over = f"{'on average over' if self.counted > 1 else 'at'} {self._over()} in {self._winds()}"
        if self.chosen == self.base:
            allowed = " that keeps to the rule box" if self.verdicts else ""
            return f"Keep {self.base}: no option{allowed} is faster {over}."
        if mean < DECISIVE_PERCENT:
            mean = math.floor(100.0 * mean) / 100.0
        digits = 1 if mean >= DECISIVE_PERCENT else 2
        gain = f"{show_number(mean, decimals=digits)} % faster than {self.base} {over}"
        if mean < DECISIVE_PERCENT:
            return (
                f"{self.chosen} leads, but is only {gain}: below {DECISIVE_PERCENT:g} %, no basis for a "
                "decision by itself."
            )
        return f"{self.chosen}: {gain}."

    def answer(self) -> tuple[str, ...]:
        """What is to be said beside the headline: what it is, its gains, its rivals, and what is faster but
        not allowed.
        """
        told = [f"{self.says}."] if self.says and self.chosen != self.base else []
        told += [self._gains(self.chosen)] if self.chosen != self.base else []
        told += self._rivals()
        told += self._elsewhere()
        told += self._outside()
        if self.known < self.counted:
            told.append(
                f"Only the {self.known} of {self.counted} conditions that every boat can sail are averaged."
            )
        return tuple(told)

    def how_sure(self) -> tuple[str, ...]:
        """What the draws of uncertain quantities say of the option that is explained."""
        found = self.doubt
        if found is None:
            return ("Not asked for, or nothing is uncertain.",)
        at = found.options.index(self.explained)
        share = found.share_of_sign()[at]
        sure = [place for place in np.flatnonzero(np.isfinite(share)).tolist() if share[place] >= _SURE]
        told = [
            f"{len(found.places)} draws of {len(found.ranges)} uncertain inputs, the same for all boats. "
            "Bars hold 8 of 10, thin lines 9."
        ]
        counted = int(np.isfinite(share).sum())
        if counted:
            told.append(
                f"The sign of the gain of {self.explained} holds in at least {100.0 * _SURE:.0f} % of the "
                f"draws in {len(sure)} of {counted} conditions."
            )
        weak = [place for place in np.flatnonzero(share < _SURE).tolist()]
        told += [
            f"{found.say_condition(place)} it holds in {100.0 * share[place]:.0f} % only.".capitalize()
            for place in weak[:_MOST_NAMED]
        ]
        told += self._over_the_rival(found)
        if found.failed:
            told.append(f"{found.failed} of {found.made_good_kn.size} draws have no result.")
        return tuple(told)

    def _over_the_rival(self, found: Doubt) -> list[str]:
        """In how many draws the option that is explained is ahead of the next, over the legs of the choice in
        the winds of the draws.
        """
        if self.rival not in found.options:
            return []
        legs = [place for place, (_, leg) in enumerate(found.conditions) if leg in self.rows]
        percent = 100.0 * found.gain_kn[:, legs] / found.made_good_kn[0, legs]
        own, other = (
            percent[found.options.index(name)].mean(axis=0) for name in (self.explained, self.rival)
        )
        known = np.isfinite(own - other)
        if not known.any():
            return []
        ahead, mean = 100.0 * np.mean((own > other)[known]), np.mean((own - other)[known])
        told = f"On average it is ahead of {self.rival}, the next, in {ahead:.0f} % of the draws"
        if abs(mean) < DECISIVE_PERCENT:
            told += f", by less than {DECISIVE_PERCENT:g} %: between the two that is no basis for a decision"
        return [f"{told}."]

    def what_matters(self) -> tuple[str, ...]:
        """Inputs that drive the doubt of the option that is explained, the strongest first: their mean share
        of the variance over the conditions in which it can be told.
        """
        if self.doubt is None:
            return ()
        shares = self.doubt.shares[self.doubt.options.index(self.explained)]
        known = [each.total for each in shares if not each.reason]
        if not known:
            return ("What drives the doubt cannot be told from so few draws.",)
        mean = np.mean(known, axis=0)
        order = [at for at in np.argsort(-mean, kind="stable").tolist() if mean[at] >= _NAMED]
        return tuple(
            f"{self.doubt.ranges[at].name.replace('_', ' ')}: {100.0 * mean[at]:.0f} % of the doubt."
            for at in order[:_MOST_NAMED]
        )

    def cautions(self) -> tuple[str, ...]:
        """What no number on the page knows, and remarks that many of its numbers carry."""
        told = [
            f"Differences below {DECISIVE_PERCENT:g} % are no basis for a decision by themselves.",
            "The model knows nothing of cost, handling, strength or reliability.",
        ]
        if self.comparison.set_values():
            told.append("Why and how sure are of the boats as filed, with everything set as it stands there.")
        return (*told, *self.comparison.notes())

    def _over(self) -> str:
        names = [
            f"best VMG {row}" if isinstance(row, str) else f"a reach at {row:g} deg" for row in self.rows
        ]
        return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))

    def _winds(self) -> str:
        winds = self.comparison.polar.grid.tws_kn
        return f"{winds[0]:g} kn" if len(winds) == 1 else f"{winds[0]:g} to {winds[-1]:g} kn"

    def _gains(self, option: str) -> str:
        """The spans of an option's gains, aim by aim."""
        at = self.comparison.polar.options.index(option)
        told = []
        for row in self.rows:
            gain = self.comparison.gain_kn()[at, :, self.comparison.place(row)]
            gain = gain[np.isfinite(gain)]
            name = row if isinstance(row, str) else f"at {row:g} deg"
            told.append(f"{name} {_span(gain)}" if gain.size else f"{name} without a result")
        return f"It gains {', '.join(told)}."

    def _rivals(self) -> list[str]:
        """Who comes next, by the same rule."""
        rivals = [each for each in self.standings if _may_be_chosen(each) and each.option != self.chosen]
        named = [each for each in rivals[:_MOST_RIVALS] if each.option != self.base]
        if not named:
            return []
        told = [
            f"{each.option} {show_number(each.mean_percent, decimals=1, signed=True)} %" for each in named
        ]
        lead = self.standing(self.chosen).mean_percent - named[0].mean_percent
        close = f"; a lead below {DECISIVE_PERCENT:g} % is no basis for a choice between them"
        return [f"Next: {', '.join(told)}{close if 0.0 <= lead < DECISIVE_PERCENT else ''}."]

    def _elsewhere(self) -> list[str]:
        """Where another allowed boat is faster than the chosen one by more than rounds away."""
        comparison = self.comparison
        names = [each.option for each in self.standings if _may_be_chosen(each)]
        made_good = comparison.made_good()
        own = made_good[comparison.polar.options.index(self.chosen)]
        told = []
        for row in self.rows:
            place = comparison.place(row)
            leaders = []
            for wind in range(len(comparison.polar.grid.tws_kn)):
                ahead = {
                    name: made_good[comparison.polar.options.index(name), wind, place] - own[wind, place]
                    for name in names
                }
                best = max(ahead, key=lambda name: np.nan_to_num(ahead[name], nan=-np.inf))
                leaders.append((best if ahead[best] >= LEVEL_KN else "", float(ahead[best]), wind))
            told += self._told_leaders(row, leaders)
        return [f"It is not the fastest everywhere: {'; '.join(told)}."] if told else []

    def _told_leaders(self, row: str | float, leaders: Sequence[tuple[str, float, int]]) -> list[str]:
        winds = self.comparison.polar.grid.tws_kn
        where = row if isinstance(row, str) else f"at {row:g} deg"
        told = []
        for name, run in groupby(leaders, key=lambda each: each[0]):
            found = list(run)
            if not name:
                continue
            first, last = winds[found[0][2]], winds[found[-1][2]]
            span = f"{first:g} kn" if first == last else f"{first:g} to {last:g} kn"
            most = show_number(max(ahead for _, ahead, _ in found), decimals=2)
            told.append(f"{where} in {span} {name} by {'' if first == last else 'up to '}{most} kn")
        return told

    def _outside(self) -> list[str]:
        """Boats that would have been chosen if the rule box allowed them."""
        mean = self.standing(self.chosen).mean_percent
        faster = [each for each in self.standings if each.breaks and each.mean_percent > mean]
        return [
            f"{each.option} would be faster ({show_number(each.mean_percent, decimals=1, signed=True)} %), "
            f"but breaks {', '.join(each.breaks)}."
            for each in faster[:_MOST_OUTSIDE]
        ]


def brief(
    boat_file: BoatFile,
    comparison: Comparison,
    *,
    question: str = "",
    legs: Sequence[str] = (),
    draws: int = DRAWS,
    processes: int = 1,
    progress: Progress | None = None,
) -> Brief:
    """What one page says of a comparison of a file's options.

    `legs` are what the question is about, of `LEGS`; all that the grid has where none is named.
    `draws` of uncertain quantities, a power of two, tell how sure the choice is; with 0 that is left out.
    Raises NoBrief where no condition has a result for every boat, and what `vpp.doubt` raises.
    """
    found = verdicts(boat_file, comparison.polar.options)
    rows = rows_of(comparison, legs)
    percent, known = _percent(comparison, rows)
    if not known.any():
        raise NoBrief("no condition has a result for every boat: compare fewer options, or other winds")
    standings = _standings(comparison, percent[:, known].mean(axis=1), found)
    base = comparison.polar.options[0]
    allowed = [each for each in standings if not each.breaks]
    chosen = allowed[0].option if allowed else base
    explained = _explained(standings, chosen, base)
    split, reason = _split(comparison, explained, rows[0])
    made = Brief(
        comparison=comparison,
        question=question or _question(comparison),
        standings=standings,
        chosen=chosen,
        counted=known.size,
        known=int(known.sum()),
        rows=rows,
        verdicts=found,
        explained=explained,
        says=next(each.says for each in boat_file.boats if each.name == chosen),
        why=split,
        why_not=reason,
    )
    if not draws:
        return made
    drawn = tuple(filter(None, (explained, made.rival)))
    return replace(made, doubt=_doubt(boat_file, comparison, drawn, draws, processes, progress))


def _may_be_chosen(standing: Standing) -> bool:
    return not standing.breaks and bool(np.isfinite(standing.mean_percent))


def rows_of(comparison: Comparison, legs: Sequence[str] = ()) -> tuple[str | float, ...]:
    """What counts for a choice: best VMG upwind, the reach if the grid has one, best VMG downwind; or those
    of them that are named. Raises NoBrief for a reach that the grid does not have.
    """
    wanted = legs or LEGS
    reach = comparison.reach_deg
    if REACH in legs and reach is None:
        raise NoBrief(comparison.reach_note)
    found = {BEST_VMG[0]: BEST_VMG[0], REACH: reach, BEST_VMG[1]: BEST_VMG[1]}
    return tuple(row for leg in LEGS if leg in wanted and (row := found[leg]) is not None)


def _percent(comparison: Comparison, rows: Sequence[str | float]) -> tuple[Floats, NDArray[np.bool_]]:
    """Gains [%] on (option, condition of the choice), and which conditions every boat has."""
    places = [comparison.place(row) for row in rows]
    percent = comparison.gain_percent()[:, :, places].reshape(len(comparison.polar.options), -1)
    known: NDArray[np.bool_] = np.asarray(np.isfinite(percent).all(axis=0))
    return percent, known


def _standings(comparison: Comparison, means: Floats, found: Sequence[Verdict]) -> tuple[Standing, ...]:
    """Every boat, the best first; of equals the earlier, since it is the simpler answer."""
    broken = {
        name: tuple(
            f'"{verdict.limit.clause}"' for verdict in found if verdict.option == name and not verdict.holds
        )
        for name in comparison.polar.options
    }
    standings = [
        Standing(option=name, mean_percent=float(mean), breaks=broken[name])
        for name, mean in zip(comparison.polar.options, means, strict=True)
    ]
    return tuple(sorted(standings, key=lambda each: -each.mean_percent))


def _explained(standings: Sequence[Standing], chosen: str, base: str) -> str:
    """Whose gain is split by cause: the choice's, or where that is the base, the best of the others'."""
    return chosen if chosen != base else next(each.option for each in standings if each.option != base)


def _split(comparison: Comparison, option: str, row: str | float) -> tuple[Why | None, str]:
    """The gain of an option by cause at an angle or a best VMG in the middle wind, or why there is none."""
    polar = comparison.polar
    wind, place = len(polar.grid.tws_kn) // 2, comparison.place(row)
    shape = comparison.made_good().shape
    base, changed = (
        (polar.solved, int(np.ravel_multi_index((at, wind, place), shape)))
        for at in (0, polar.options.index(option))
    )
    try:
        return split_at(base, changed), ""
    except NoSplit as error:
        return None, str(error)


def _doubt(
    boat_file: BoatFile,
    comparison: Comparison,
    options: tuple[str, ...],
    draws: int,
    processes: int,
    progress: Progress | None,
) -> Doubt | None:
    """How sure the gains of options are, in the first, middle and last wind; None where nothing is uncertain
    of them.
    """
    winds = comparison.polar.grid.tws_kn
    chosen = sorted({winds[0], winds[len(winds) // 2], winds[-1]})
    reach = comparison.reach_deg
    try:
        return doubt(
            boat_file,
            tws_kn=chosen,
            twa_deg=TWA_DEG if reach is None else (reach,),
            options=options,
            draws=draws,
            processes=processes,
            progress=progress,
        )
    except NoDoubt:
        return None


def _question(comparison: Comparison) -> str:
    names = comparison.alternatives
    winds = comparison.polar.grid.tws_kn
    span = f"{winds[0]:g} kn" if len(winds) == 1 else f"{winds[0]:g} to {winds[-1]:g} kn"
    if len(names) == 1:
        return f"Is {names[0]} worth having in {span} of wind?"
    return f"Which of {len(names)} options is worth having in {span} of wind?"


def _span(gain: Floats) -> str:
    """Gains from the least to the greatest."""
    least, most = (show_number(value, decimals=2, signed=True) for value in (gain.min(), gain.max()))
    return f"{least} kn" if least == most else f"{least} to {most} kn"
