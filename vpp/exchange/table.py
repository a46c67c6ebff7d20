"""What is exported of a polar: the conditions that have a result, how many have none and why, and what all of
that was made from.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pandas as pd

from vpp.results.files import CAUTION, Source, origin, rounded
from vpp.results.variables import COLUMNS, VARIABLES, Variable
from vpp.solved import BRANCHES, SPEED
from vpp.solver.status import Status
from vpp.version import __version__

if TYPE_CHECKING:
    from vpp.boat import Boat
    from vpp.polar import Polar

KEY = ("option", "tws_kn", "aim", "twa_deg")
"""The columns that tell one row from every other."""

CONVERGED = Status.CONVERGED.name.lower()

EXPORTED: tuple[Variable, ...] = tuple(item for item in VARIABLES if item.column not in ("status", "reason"))
"""The columns of exported rows: all of the table of conditions but the two that say the same in every row."""

_UNITS = {
    "kn": "knot",
    "deg": "degree",
    "percent": "percent",
    "m": "m",
    "s": "s",
    "N": "newton",
    "N m": "newton m",
    "N/m": "newton m-1",
    "kn/m": "knot m-1",
    "N m/deg": "newton m degree-1",
    "1": "1",
}


class ExportError(ValueError):
    """A table of conditions that cannot be exported; the message says why."""


class NothingToExport(ExportError):
    """None of the conditions has a result."""


@dataclass(frozen=True, kw_only=True)
class PolarTable:
    """A polar as it is exported.

    `conditions` is the whole table of conditions, numbers with the digits that files have and text empty
    where there is none; `says` has a sentence for each option where one is known. `wind_reference_height_m`
    is None where it is not known or not the same of all options. `solved_on` is a date, YYYY-MM-DD, and
    `active` the option to sail by, the first where none is named.
    """

    source: Source
    conditions: pd.DataFrame
    says: Mapping[str, str]
    wind_reference_height_m: float | None
    solved_on: str
    active: str = ""

    def __repr__(self) -> str:
        counted = f"{len(self.rows)} of {len(self.conditions)} conditions"
        return f"PolarTable({self.source.file}: {', '.join(self.options)}; {counted})"

    @classmethod
    def from_polar(cls, polar: Polar) -> PolarTable:
        """A polar that has just been solved. Raises NothingToExport where no condition has a result."""
        return cls.from_frame(polar.to_frame(), source=polar.source, boats=polar.solved.boats)

    @classmethod
    def from_frame(
        cls, frame: pd.DataFrame, *, source: Source, boats: Sequence[Boat] = (), solved_on: str = ""
    ) -> PolarTable:
        """A table of conditions (`Polar.to_frame`, or its `polar.csv`) of these boats, solved today unless a
        date is given.

        Raises ExportError where columns are missing or a condition stands there twice, and NothingToExport,
        which is one, where none has a result.
        """
        if lacking := [name for name in COLUMNS if name not in frame.columns]:
            raise ExportError(f"no table of conditions: without the columns {', '.join(lacking)}")
        conditions = rounded(frame[list(COLUMNS)]).reset_index(drop=True)
        for item in VARIABLES:
            if item.is_text:
                # a column of a file without any word is read as one of missing numbers
                conditions[item.column] = conditions[item.column].astype(object).fillna("")
            else:
                conditions[item.column] = conditions[item.column].astype(float)
        if not (conditions["status"] == CONVERGED).any():
            raise NothingToExport(f"none of the {len(conditions)} conditions has a result")
        _check_once(conditions)
        heights = {boat.environment.wind_reference_height for boat in boats}
        return cls(
            source=source,
            conditions=conditions,
            says={boat.name: boat.says for boat in boats},
            wind_reference_height_m=heights.pop() if len(heights) == 1 else None,
            solved_on=solved_on or datetime.now(tz=UTC).date().isoformat(),
        )

    @property
    def rows(self) -> pd.DataFrame:
        """The conditions that have a result, with the columns of `EXPORTED`."""
        converged = self.conditions["status"] == CONVERGED
        return self.conditions.loc[converged, [item.column for item in EXPORTED]].reset_index(drop=True)

    @property
    def options(self) -> tuple[str, ...]:
        """Options in the order of the table, those without a result too."""
        return tuple(dict.fromkeys(self.conditions["option"]))

    @property
    def tws_kn(self) -> tuple[float, ...]:
        """True wind speeds, rising."""
        return tuple(sorted(set(self.conditions["tws_kn"].tolist())))

    @property
    def twa_deg(self) -> tuple[float, ...]:
        """True wind angles that were asked for, rising; those of best VMGs are not among them."""
        asked = self.conditions.loc[self.conditions["aim"] == SPEED, "twa_deg"]
        return tuple(sorted(set(asked.tolist())))

    @property
    def statuses(self) -> dict[str, int]:
        """How many conditions ended in each status, every status named."""
        counts = self.conditions["status"].value_counts()
        return {status.name.lower(): int(counts.get(status.name.lower(), 0)) for status in Status}

    @property
    def remarks(self) -> dict[str, int]:
        """How many exported rows carry each remark, in the order in which they first occur."""
        single = [part for remark in self.rows["remark"] if remark for part in remark.split("; ")]
        return {remark: single.count(remark) for remark in dict.fromkeys(single)}

    @property
    def left_out(self) -> dict[str, int]:
        """How many conditions are left out, by the status that says why; empty where all have a result."""
        return {status: count for status, count in self.statuses.items() if count and status != CONVERGED}

    @property
    def left_out_text(self) -> str:
        """The same as a sentence."""
        total = len(self.conditions)
        if not self.left_out:
            return f"all {total} conditions have a result"
        counts = ", ".join(f"{count} {status}" for status, count in self.left_out.items())
        return f"{sum(self.left_out.values())} of {total} conditions are left out, without a result: {counts}"

    def about(self) -> dict[str, Any]:
        """What every exported file says of itself."""
        told = origin(self.source)
        return {
            "title": f"{self.source.name}: polars of {', '.join(self.options)}",
            "boat": told["boat"],
            "boat_file": told["file"],
            "digest": told["digest"],
            "version": f"vpp {__version__}",
            "calibration": told["calibration"],
            "waves": self.source.sea or "none",
            "stopped": self.source.stopped or "no",
            "solved_on": self.solved_on,
            "wind_reference_height_m": self.wind_reference_height_m,
            "exported": len(self.rows),
            "left_out": self.left_out,
            "left_out_text": self.left_out_text,
            "caution": CAUTION,
        }


def units(item: Variable) -> str:
    """The unit of a column as UDUNITS writes it, which CF asks for; empty for text."""
    return "" if item.is_text else _UNITS[item.unit]


def description(item: Variable) -> str:
    """What a column holds, its sign, and where it applies, in one line."""
    return f"{item.long_name}: {item.sense} ({item.applies})".replace("`", "")


def allowed_words(column: str) -> tuple[str, ...]:
    """The words that a text column may hold where that is a short list; empty for any other."""
    return {"aim": (SPEED, "upwind", "downwind"), "branch": BRANCHES}.get(column, ())


def _check_once(conditions: pd.DataFrame) -> None:
    """Raises ExportError for a condition that stands there twice, or a wind with two best VMGs of a kind."""
    asked = conditions["twa_deg"].where(conditions["aim"] == SPEED, 0.0)
    key = conditions[["option", "tws_kn", "aim"]].assign(asked=asked)
    twice = conditions[key.duplicated()]
    if not twice.empty:
        first = twice.iloc[0]
        raise ExportError(
            f"{first['option']}, {first['tws_kn']:g} kn, {first['twa_deg']:g} deg ({first['aim']}): stands "
            "twice in the table of conditions"
        )
