"""What a search for a better boat has found, as tables and in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vpp.boat import Boat
from vpp.compare import DECISIVE_PERCENT
from vpp.config.resolve import BASE
from vpp.results.files import ABOUT, CAUTION, Source, Written, about, csv_text, json_text, write_folder
from vpp.results.variables import show_number
from vpp.rule_box import Verdict
from vpp.solved import SPEED

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

FOLLOWED, SOLVED = "followed", "solved"
"""How a boat on the path was found: followed from the last one, or solved from afar."""

ACCEPTED, NO_GAIN, REFUSED = "accepted", "no gain", "refused"
"""What became of it."""

FIRST = "start 1"
"""The search that begins with the boat as built; others begin elsewhere or are for points of a front."""

LEVEL_PERCENT = 1e-3
"""Gains below this are none."""

KEY_COLUMNS = (
    "key", "built", "improved", "unit", "worth_percent", "least", "greatest", "at", "description",
)  # fmt: skip
GAIN_COLUMNS = (
    "tws_kn", "twa_deg", "aim", "built_kn", "improved_kn", "gain_kn", "gain_percent", "built_twa_deg",
    "improved_twa_deg", "built_branch", "improved_branch", "built_sail_set", "improved_sail_set",
)  # fmt: skip
LAP_COLUMNS = ("tws_kn", "weight_percent", "built_s", "improved_s", "difference_s", "difference_percent")
LIMIT_COLUMNS = (
    "kind", "name", "side", "bound", "unit", "gain_percent_per_unit", "step", "step_gain_percent", "said",
)  # fmt: skip
STEP_COLUMNS = (
    "number", "search", "how", "outcome", "gain_percent", "against_percent", "least_room_percent", "reason",
)  # fmt: skip


_FILE_DECIMALS = {
    **dict.fromkeys(("gain_percent", "against_percent", "worth_percent", "difference_percent"), 5),
    **dict.fromkeys(("gain_percent_per_unit", "step_gain_percent", "least_room_percent"), 7),
    **dict.fromkeys(("built_kn", "improved_kn", "gain_kn", "told", "against_told"), 5),
    **dict.fromkeys(("built_s", "improved_s", "difference_s", "weight_percent"), 3),
    **dict.fromkeys(("tws_kn", "twa_deg", "built_twa_deg", "improved_twa_deg"), 4),
    **dict.fromkeys(("built", "improved", "least", "greatest", "bound", "step"), 7),
}


@dataclass(frozen=True, kw_only=True)
class KeyChange:
    """A varied number, in `unit`: as built, its bounds, as improved; keys that move with it joined with +.
    `worth_percent` is what the improved boat loses when this alone goes back to what is built, NaN where that
    is not known.
    """

    name: str
    unit: str
    description: str
    built: float
    least: float
    greatest: float
    improved: float
    decimals: int
    worth_percent: float

    def show(self, value: float) -> str:
        """A value with the digits that people want."""
        return show_number(value, decimals=max(self.decimals - 2, 0))

    @property
    def at(self) -> str:
        """Whether it has come to a bound."""
        digit = 0.51 * 10.0**-self.decimals
        if self.greatest - self.improved <= digit:
            return "at its greatest"
        return "at its least" if self.improved - self.least <= digit else ""


@dataclass(frozen=True, kw_only=True)
class Gain:
    """What is made good at one condition by the boat as built and as improved; each sails its own angle where
    the aim is a best VMG. NaN and empty without a result.
    """

    tws_kn: float
    twa_deg: float
    aim: str
    built_kn: float
    improved_kn: float
    built_twa_deg: float
    improved_twa_deg: float
    built_branch: str
    improved_branch: str
    built_sail_set: str
    improved_sail_set: str

    @property
    def gain_kn(self) -> float:
        """Knots more."""
        return self.improved_kn - self.built_kn

    @property
    def gain_percent(self) -> float:
        """Per cent more."""
        return 100.0 * self.gain_kn / self.built_kn

    @property
    def where(self) -> str:
        """The angle or best VMG in words."""
        return f"TWA {self.twa_deg:.4g} deg" if self.aim == SPEED else self.aim


@dataclass(frozen=True, kw_only=True)
class Lap:
    """Time round the course in one of its winds [s]; NaN where it cannot be sailed, and for the wind where
    that changes over time. `weight` is that of the wind.
    """

    tws_kn: float
    weight: float
    built_s: float
    improved_s: float


@dataclass(frozen=True, kw_only=True)
class Held:
    """Something that holds the boat back: a `bound` of the search, a clause of the `rule box`, or what the
    `boat file` allows of a number; which `side` of it, where that is, in `unit`. More room by a unit, and by
    a practical `step`, would buy so many per cent of the aim, to first order. `said` is the file's reason or
    what is measured.
    """

    kind: str
    name: str
    side: str
    bound: float
    unit: str
    gain_percent_per_unit: float
    step: float
    said: str

    @property
    def step_gain_percent(self) -> float:
        """Per cent for a practical step."""
        return self.step * self.gain_percent_per_unit


@dataclass(frozen=True, kw_only=True)
class Step:
    """A boat on the path: in which search, how it was found, what became of it, its values in the order of
    the varied numbers, its gains in per cent, the least room in the rule box in per cent of a bound, and why
    it was refused.
    """

    number: int
    search: str
    how: str
    outcome: str
    values: tuple[float, ...]
    gain_percent: float
    against_percent: float
    least_room_percent: float
    reason: str


@dataclass(frozen=True, kw_only=True)
class FrontPoint:
    """The best boat of the first aim among those with at least so much of the second: values, gains of both
    aims in per cent, and both as they are told.
    """

    values: tuple[float, ...]
    gain_percent: float
    against_percent: float
    told: float
    against_told: float


@dataclass(frozen=True, kw_only=True)
class Band:
    """The gain in per cent in draws of what is uncertain, the same for both boats: what a tenth, half and
    nine tenths of the draws do not exceed, the share in which the improved boat is the faster, and the inputs
    that the gain follows most. `known` draws of `draws` have a result in all conditions.
    """

    draws: int
    known: int
    low_percent: float
    middle_percent: float
    high_percent: float
    better_share: float
    drivers: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Improvement:
    """A better boat, how it was found and what holds it back; see `vpp.improve.improve`.

    Gains are in per cent of the boat as built, an option of the file. `text` is an option for that file,
    empty where nothing better was found; `boat` is the boat that it makes, and `mends` says whether
    it keeps to a rule box that the boat as built breaks. `solves` counts boats solved from
    afar, `followed` boats followed and `searched` conditions of these that could not be and were solved from
    afar.
    """

    source: Source
    option: str
    name: str
    aim: str
    aim_unit: str
    against: str
    against_unit: str
    gain_percent: float
    built: float
    improved: float
    is_solved: bool
    mends: bool
    why: str
    keys: tuple[KeyChange, ...]
    gains: tuple[Gain, ...]
    laps: tuple[Lap, ...]
    held: tuple[Held, ...]
    verdicts: tuple[Verdict, ...]
    steps: tuple[Step, ...]
    front: tuple[FrontPoint, ...]
    solves: int
    followed: int
    searched: int
    notes: tuple[str, ...]
    band: Band | None = None
    text: str = field(repr=False)
    boat: Boat = field(repr=False)

    def __repr__(self) -> str:
        return (
            f"Improvement({self.source.file}, {self.option}: {self.gain_percent:+.3f} % {self.aim}; "
            f"{len(self.steps)} boats, {len(self.held)} limits hold)"
        )

    @property
    def is_better(self) -> bool:
        """Whether anything was gained, or a rule box that the boat as built breaks is kept."""
        return bool(self.text) and (self.gain_percent > LEVEL_PERCENT or self.mends)

    @property
    def column_names(self) -> tuple[str, ...]:
        """Names of the varied numbers as columns of tables: the key, its unit at the end."""
        return tuple(key.name for key in self.keys)

    # --- tables ---------------------------------------------------------------------------------------------

    def to_frame(self) -> pd.DataFrame:
        """A row for each varied number."""
        rows = [
            (
                key.name, key.built, key.improved, key.unit, key.worth_percent, key.least, key.greatest,
                key.at, key.description,
            )
            for key in self.keys
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=list(KEY_COLUMNS))

    def gain_frame(self) -> pd.DataFrame:
        """A row for each condition."""
        rows = [
            (
                each.tws_kn, each.twa_deg, each.aim, each.built_kn, each.improved_kn, each.gain_kn,
                each.gain_percent, each.built_twa_deg, each.improved_twa_deg, each.built_branch,
                each.improved_branch, each.built_sail_set, each.improved_sail_set,
            )
            for each in self.gains
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=list(GAIN_COLUMNS))

    def lap_frame(self) -> pd.DataFrame:
        """A row for each wind of the course; without rows where the aim is none."""
        rows = [
            (
                lap.tws_kn, 100.0 * lap.weight, lap.built_s, lap.improved_s, lap.improved_s - lap.built_s,
                100.0 * (lap.improved_s / lap.built_s - 1.0),
            )
            for lap in self.laps
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=list(LAP_COLUMNS))

    def limits(self) -> pd.DataFrame:
        """A row for each limit that holds the boat back, that whose practical step buys most first."""
        rows = [
            (
                each.kind, each.name, each.side, each.bound, each.unit, each.gain_percent_per_unit, each.step,
                each.step_gain_percent, each.said,
            )
            for each in self.held
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=list(LIMIT_COLUMNS))

    def path(self) -> pd.DataFrame:
        """A row for each boat that was tried, in order, with its values."""
        rows: list[tuple[Any, ...]] = [
            (
                step.number, step.search, step.how, step.outcome, step.gain_percent, step.against_percent,
                step.least_room_percent if math.isfinite(step.least_room_percent) else math.nan,
                step.reason, *step.values,
            )
            for step in self.steps
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=[*STEP_COLUMNS, *self.column_names])

    def front_frame(self) -> pd.DataFrame:
        """A row for each point of the front, that with most of the first aim first; without rows where there
        is one aim.
        """
        rows = [
            (point.gain_percent, point.against_percent, point.told, point.against_told, *point.values)
            for point in self.front
        ]
        columns = ["gain_percent", "against_percent", "told", "against_told", *self.column_names]
        return pd.DataFrame(rows, columns=columns)

    def show(self, point: FrontPoint, *, second: bool = False) -> str:
        """An aim at a point of the front as people read it: per cent better, or what it is in its unit."""
        unit, gain, told = (
            (self.against_unit, point.against_percent, point.against_told)
            if second
            else (self.aim_unit, point.gain_percent, point.told)
        )
        if unit == "%":
            return show_number(gain, decimals=2, signed=True)
        return show_number(told, decimals=max(0, 4 - len(str(int(abs(told))))) + (abs(told) >= 1e3))

    def option_toml(self) -> str:
        """The option to be put at the end of the boat file; empty where nothing better was found."""
        return self.text

    # --- files ----------------------------------------------------------------------------------------------

    def tables(self) -> dict[str, pd.DataFrame]:
        """Every table by name, with the digits that files carry."""
        frames = {
            "numbers": self.to_frame(),
            "gains": self.gain_frame(),
            "limits": self.limits(),
            "path": self.path(),
        }
        frames |= {"laps": self.lap_frame()} if self.laps else {}
        frames |= {"front": self.front_frame()} if self.front else {}
        values = {key.name: key.decimals + 1 for key in self.keys}
        return {name: frame.round({**_FILE_DECIMALS, **values}) for name, frame in frames.items()}

    def about(self, files: Sequence[str] = ()) -> dict[str, Any]:
        """What the result was made from, and its files."""
        winds = sorted({each.tws_kn for each in self.gains})
        angles = sorted({each.twa_deg for each in self.gains if each.aim == SPEED})
        lacking = sum(not math.isfinite(each.gain_kn) for each in self.gains)
        told = about(
            self.source,
            options=(self.option,),
            tws_kn=tuple(round(wind, 6) for wind in winds),
            twa_deg=tuple(round(angle, 6) for angle in angles),
            aims=tuple(dict.fromkeys(each.aim for each in self.gains)),
            statuses={"compared": len(self.gains) - lacking, "not_compared": lacking},
            remarks={},
            files=files,
        )
        return {
            **told,
            "aim": {"name": self.aim, "unit": self.aim_unit, "built": self.built, "improved": self.improved},
            "against": {"name": self.against, "unit": self.against_unit} if self.against else None,
            "gain_percent": self.gain_percent,
            "how_sure": asdict(self.band) if self.band is not None else None,
            "is_better": self.is_better,
            "ended": self.why,
            "boats": {
                "followed": self.followed,
                "solved_from_afar": self.solves,
                "conditions_not_followed": self.searched,
            },
        }

    def write(self, folder: Path, *, figures: Mapping[str, Figure] | None = None) -> Written:
        """All tables, the sentences and the option into a folder, and figures by file name; either all of
        them or none. Raises OSError.
        """
        texts = {f"{name}.csv": csv_text(frame) for name, frame in self.tables().items()}
        texts |= {"option.toml": self.text} if self.is_better else {}
        texts["summary.txt"] = "\n".join([self.source.line, *self.in_words(), CAUTION]) + "\n"
        names = (*texts, ABOUT, *(figures or {}))
        return write_folder(
            folder, texts={**texts, ABOUT: json_text(self.about(names))}, figures=figures or {}
        )

    # --- words ----------------------------------------------------------------------------------------------

    def in_words(self) -> tuple[str, ...]:
        """What was found in sentences."""
        return (*self._say_gain(), *self._say_held(), *self._say_front(), *self.notes, *self._say_search())

    def _say_gain(self) -> Iterator[str]:
        built = "The boat as built" if self.option == BASE else f"Option {self.option}"
        before = "the boat as built" if self.option == BASE else f"option {self.option}"
        if not self.is_better:
            yield f"{built} is the best that was found: {self.why}."
            return
        if self.mends:
            percent = show_number(self.gain_percent, decimals=2, signed=True)
            yield f"{built} breaks its rule box; the boat found keeps to it, at {percent} %: {self.aim}."
            return
        percent = show_number(self.gain_percent, decimals=2)
        told = f"The boat found gains {percent} % over {before}: {self.aim}"
        if self.aim_unit == "s":
            saved = show_number(self.built - self.improved, decimals=1)
            told = f"The boat found saves {saved} s ({percent} %) against {before}: {self.aim}"
        if self.gain_percent < DECISIVE_PERCENT:
            told += f" (below {DECISIVE_PERCENT:g} %: no basis for a decision by itself)"
        yield f"{told}."
        yield from self._say_band()
        losing = [each for each in self.gains if each.gain_percent < -LEVEL_PERCENT]
        if losing and not self.laps:
            worst = min(losing, key=lambda each: each.gain_percent)
            yield (
                f"It loses at {_conditions(len(losing))} of {len(self.gains)}, most {worst.where} in "
                f"{worst.tws_kn:g} kn: {show_number(worst.gain_percent, decimals=2)} %."
            )

    def _say_band(self) -> Iterator[str]:
        band = self.band
        if band is None:
            return
        low, high = (
            show_number(each, decimals=2, signed=True) for each in (band.low_percent, band.high_percent)
        )
        share = show_number(100.0 * band.better_share, decimals=0)
        of = f" (of {band.draws})" if band.known < band.draws else ""
        told = (
            f"How sure: {low} to {high} % in 8 of 10 of {band.known} draws{of} of what is uncertain, the "
            f"same for both boats; faster in {share} % of them"
        )
        if band.drivers:
            told += f"; the gain follows {', '.join(band.drivers)} most"
        yield f"{told}. That says nothing of what no range is given for."

    def _say_held(self) -> Iterator[str]:
        for each in self.held[:3]:
            worth = show_number(each.step_gain_percent, decimals=2 if each.step_gain_percent >= 0.01 else 4)
            step = f"{each.step:.4g} {each.unit}".rstrip()
            more = "less" if each.side == "least" else "more"
            what = {"rule box": f'clause "{each.name}"', "bound": f"the {each.side} {each.name}"}.get(
                each.kind, f"what the boat file allows of {each.name} ({each.said})"
            )
            yield f"Held by {what}: {step} {more} would buy {worth} %."
        broken = [verdict for verdict in self.verdicts if not verdict.holds]
        for verdict in broken:
            yield f"{verdict.sentence}."

    def _say_front(self) -> Iterator[str]:
        if len(self.front) == 1:
            yield f"No front: the boat that is best in {self.aim} is best in {self.against} too."
        if len(self.front) < 2:
            return
        first, last = self.front[0], self.front[-1]
        yield (
            f"From one end of the front to the other {self.aim} goes from {self.show(first)} to "
            f"{self.show(last)} {_better(self.aim_unit)}, and {self.against} from "
            f"{self.show(first, second=True)} to {self.show(last, second=True)} {_better(self.against_unit)}."
        )

    def _say_search(self) -> Iterator[str]:
        searched = f", {self.searched} conditions of them solved from afar" if self.searched else ""
        yield (
            f"{self.followed} boats followed{searched}, {self.solves} solved from afar in "
            f"{_conditions(len(self.gains))}; ended because: {self.why}."
        )
        yield (
            "The aim knows nothing of structure, cost, handling, stability and safety. Differences below "
            f"{DECISIVE_PERCENT:g} % are no basis for a decision, and a search finds what the model "
            "overrates as gladly as what is fast: before building it, ask vpp why where it comes from."
        )


def _conditions(count: int) -> str:
    return "1 condition" if count == 1 else f"{count} conditions"


def _better(unit: str) -> str:
    return "% better than built" if unit == "%" else unit
