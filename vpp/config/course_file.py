"""A course file that is in order, in SI units and radians, and how to load one."""

from __future__ import annotations

import difflib
import hashlib
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from os import PathLike
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from vpp.config import source
from vpp.config.columns import read_columns
from vpp.config.course_schema import (
    COURSE_TABLES,
    MOST_ROWS,
    REPEATED_COURSE_TABLES,
    SINGLE_COURSE_TABLES,
    WIND_TABLES,
    CourseDocument,
    LapTable,
    LegTable,
    WindOverTimeTable,
)
from vpp.config.errors import BoatFileError, Problem
from vpp.config.locate import Path as KeyPath
from vpp.config.overlay import Items, Leaf, Node, Table, nodes_along, plain
from vpp.config.schema import TableModel, properties_of
from vpp.config.text import allowed_text, nearest
from vpp.config.units import ending_of, stems_of, unit_of
from vpp.config.validate import Finding, problem, value_hint, wrong_text

STEADY, OVER_TIME, WEIBULL, LISTED = tuple(WIND_TABLES)

TACK_LOST_S, GYBE_LOST_S = 6.0, 4.0
"""What a tack and a gybe lose where the file does not say: common practice, no source."""

_MOST_WINDS = 200
_ON_STEP = 1e-6
_TIME_COLUMNS = ("time_s", "tws_kn", "twd_deg")


@dataclass(frozen=True, kw_only=True)
class Leg:
    """A leg over the ground: `length` [m], `bearing` of its end from its beginning [rad] from north, and the
    tacks or gybes beyond the least where it is sailed on both tacks.
    """

    name: str
    length: float
    bearing: float
    more_turns: int = 0


@dataclass(frozen=True, kw_only=True)
class Lost:
    """What one tack or gybe loses: a time [s], or a way towards the mark [m]."""

    time: float = 0.0
    way: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Wind:
    """The wind over the ground.

    `tws` [m/s], with a weight each (their sum is one) and `twd` [rad] the same for all; or, where `time` [s]
    is not empty, one wind that changes over time, `tws` and `twd` at each. `below` and `above` are the
    probabilities of a distribution outside the winds it is cut to.
    """

    model: str
    tws: tuple[float, ...]
    twd: tuple[float, ...]
    weight: tuple[float, ...] = (1.0,)
    time: tuple[float, ...] = ()
    below: float = 0.0
    above: float = 0.0


@dataclass(frozen=True, kw_only=True)
class CourseFile:
    """A course file that is in order. `current_toward` [rad] is where the current flows to; `line` the way to
    a start or finish line, where one is given. `digest` identifies the content of the file and of that it
    names.
    """

    path: Path
    name: str
    description: str
    digest: str
    legs: tuple[Leg, ...]
    wind: Wind
    current_speed: float = 0.0
    current_toward: float = 0.0
    tack: Lost = Lost(time=TACK_LOST_S)
    gybe: Lost = Lost(time=GYBE_LOST_S)
    line: Leg | None = None

    @property
    def length(self) -> float:
        """Length of the course over the ground [m]."""
        return sum(leg.length for leg in self.legs)


def load_course(path: str | PathLike[str]) -> CourseFile:
    """Read a course file. Raises BoatFileError with everything that is wrong, in the order of the lines."""
    file = str(path)
    content = source.read(file)
    reader = _Reader(file, source.parse(file, content))
    course = reader.course(content)
    if course is None:
        order = sorted(reader.problems, key=lambda each: (each.file != file, each.file, each.line or 0))
        raise BoatFileError(order)
    return course


class _Reader:
    """One reading of one file, which collects all that is wrong."""

    def __init__(self, file: str, root: Table) -> None:
        self.file = file
        self.root = root
        self.problems: list[Problem] = []

    def course(self, content: bytes) -> CourseFile | None:
        """The course, or None with problems."""
        top = self._top()
        tables = {name: self._single(name) for name in SINGLE_COURSE_TABLES}
        legs, laps = (self._repeated(name) for name in REPEATED_COURSE_TABLES)
        self._check_legs()
        wind_table, wind = tables["wind"], None
        if wind_table is not None:
            wind, more = self._wind(wind_table)
            content += more
        for turn in ("tack", "gybe"):
            self._one_of(("manoeuvres",), f"{turn}_lost_s", f"{turn}_lost_m", needed=False)
        self._one_of(("line",), "distance_nm", "distance_m")
        if self.problems or wind is None or top is None:
            return None
        current: Any = tables["current"]
        return CourseFile(
            path=Path(self.file),
            name=top.name,
            description=top.description or "",
            digest=hashlib.sha256(content).hexdigest()[:12],
            legs=tuple(_legs(legs, laps, wind)),
            wind=wind,
            current_speed=0.0 if current is None else _kn(current.speed_kn),
            current_toward=0.0 if current is None else math.radians(current.toward_deg),
            tack=_lost(tables["manoeuvres"], "tack", TACK_LOST_S),
            gybe=_lost(tables["manoeuvres"], "gybe", GYBE_LOST_S),
            line=_line(tables["line"]),
        )

    # --- form -----------------------------------------------------------------------------------------------

    def _top(self) -> CourseDocument | None:
        own = {key: node for key, node in self.root.entries.items() if key not in COURSE_TABLES}
        found = self._judged(CourseDocument, Table(own, self.root.origin), (), beside=tuple(COURSE_TABLES))
        return found if isinstance(found, CourseDocument) else None

    def _single(self, name: str) -> TableModel | None:
        node = self.root.entries.get(name)
        if node is None:
            if name == "wind":
                self._note(Finding((name,), "the table is missing; write [wind], once", missing=True))
            return None
        if not isinstance(node, Table):
            self._note(Finding((name,), f"must be written [{name}], once"))
            return None
        model = SINGLE_COURSE_TABLES[name]
        if name == "wind":
            chosen = node.entries.get("model")
            value = chosen.value if isinstance(chosen, Leaf) else None
            if not isinstance(value, str) or value not in WIND_TABLES:
                only = Table({"model": chosen} if chosen is not None else {}, node.origin)
                return self._judged(model, only, (name,))
            model = WIND_TABLES[value]
        return self._judged(model, node, (name,))

    def _repeated(self, name: str) -> list[Any]:
        node = self.root.entries.get(name)
        if node is None:
            return []
        if not isinstance(node, Items) or not all(isinstance(entry, Table) for entry in node.entries):
            self._note(Finding((name,), f"must be written [[{name}]], once for each"))
            return []
        model = REPEATED_COURSE_TABLES[name]
        return [self._judged(model, entry, (name, index)) for index, entry in enumerate(node.entries)]

    def _judged(
        self, model: type[TableModel], node: Node, path: KeyPath, *, beside: Sequence[str] = ()
    ) -> TableModel | None:
        """The table that a node describes, or None with what is wrong noted."""
        try:
            return model.model_validate(plain(node))
        except ValidationError as error:
            for finding in _findings(model, node, error, path, beside):
                self._note(finding)
            return None

    # --- content --------------------------------------------------------------------------------------------

    def _check_legs(self) -> None:
        entries = self.root.entries
        if not any(name in entries for name in REPEATED_COURSE_TABLES):
            self._note(Finding(("leg",), "there is no leg; write [[leg]] or [[lap]]", missing=True))
        if all(name in entries for name in REPEATED_COURSE_TABLES):
            self._note(
                Finding(("lap",), "a course has [[leg]] or [[lap]], not both", "", "write the laps as legs")
            )
        for name in REPEATED_COURSE_TABLES:
            node = entries.get(name)
            for index in range(len(node.entries) if isinstance(node, Items) else 0):
                self._one_of((name, index), "length_nm", "length_m")

    def _one_of(self, path: KeyPath, first: str, second: str, *, needed: bool = True) -> None:
        """Two keys of a table of which one is enough; nothing where there is no such table."""
        node = nodes_along(self.root, path)
        table = node[-1] if len(node) == len(path) + 1 else None
        if not isinstance(table, Table):
            return
        given = [key for key in (first, second) if key in table.entries]
        if len(given) == 2:
            self._note(Finding((*path, second), f"is given besides {first}", "", "one of both is enough"))
        elif not given and needed:
            known = (*properties_of(COURSE_TABLES[str(path[0])]),)
            strange = {_meant(key, known) for key in table.entries if key not in known}
            if not strange & {first, second}:
                self._note(Finding((*path, first), f"missing: {first} or {second}", missing=True))

    def _wind(self, table: Any) -> tuple[Wind | None, bytes]:
        before = len(self.problems)
        content = b""
        if isinstance(table, WindOverTimeTable):
            found, content = self._over_time(table)
        elif table.model == STEADY:
            found = Wind(model=STEADY, tws=(_kn(table.tws_kn),), twd=(math.radians(table.twd_deg),))
        elif table.model == LISTED:
            found = self._listed(table)
        else:
            found = self._weibull(table)
        return (found if len(self.problems) == before else None), content

    def _listed(self, table: Any) -> Wind | None:
        self._same_length(table, "tws_kn", "weight")
        self._rising(table.tws_kn, "tws_kn")
        total = sum(table.weight)
        if total <= 0.0:
            self._note(Finding(("wind", "weight"), "has a sum of 0"))
            return None
        return Wind(
            model=LISTED,
            tws=tuple(_kn(value) for value in table.tws_kn),
            twd=(math.radians(table.twd_deg),),
            weight=tuple(value / total for value in table.weight),
        )

    def _weibull(self, table: Any) -> Wind | None:
        first, last, step = table.from_kn, table.to_kn, table.step_kn
        gaps = round((last - first) / step)
        if last <= first:
            self._note(Finding(("wind", "to_kn"), f"must lie above from_kn = {first:g} kn"))
        elif abs(first + gaps * step - last) > _ON_STEP:
            self._note(Finding(("wind", "step_kn"), f"does not lead from {first:g} to {last:g} kn"))
        elif gaps >= _MOST_WINDS:
            self._note(Finding(("wind", "step_kn"), f"makes {gaps + 1} winds", f"at most {_MOST_WINDS}"))
        else:
            return weibull_wind(
                scale_kn=table.scale_kn,
                shape=table.shape,
                tws_kn=[first + index * step for index in range(gaps + 1)],
                step_kn=step,
                twd_deg=table.twd_deg,
            )
        return None

    def _over_time(self, table: WindOverTimeTable) -> tuple[Wind | None, bytes]:
        lists = {key: getattr(table, key) for key in _TIME_COLUMNS}
        given = [key for key, value in lists.items() if value is not None]
        if table.file is not None:
            for key in given:
                self._note(Finding(("wind", key), "is given besides file", "", "the file has all three"))
            return self._time_file(table.file)
        missing = [key for key in _TIME_COLUMNS if key not in given]
        if missing:
            for key in missing:
                self._note(
                    Finding(("wind", key), "missing: needed with a wind over time without file", missing=True)
                )
            return None, b""
        self._same_length(table, *_TIME_COLUMNS)
        self._rising(lists["time_s"], "time_s")
        if lists["time_s"][0] != 0.0:
            self._note(Finding(("wind", "time_s"), "must begin at 0, the start"))
        return _wind_over_time(*lists.values()), b""

    def _time_file(self, name: str) -> tuple[Wind | None, bytes]:
        described = properties_of(WindOverTimeTable)
        read = read_columns(
            Path(self.file).parent, name, {key: described[key]["items"] for key in _TIME_COLUMNS}
        )
        if read.unreadable:
            # the sentence speaks of boat files, which have files beside them too
            self._note(Finding(("wind", "file"), read.unreadable.replace("boat file", "course file")))
            return None, b""
        self.problems += read.problems
        if read.problems:
            return None, b""
        time = read.column("time_s")
        wrong = ""
        if not 2 <= len(time) <= MOST_ROWS:
            wrong = f"has {len(time)} rows of numbers; allowed: 2 to {MOST_ROWS}"
        elif time[0] != 0.0 or any(later <= earlier for earlier, later in pairwise(time)):
            wrong = "time_s must begin at 0, the start, and rise"
        if wrong:
            self.problems.append(Problem(file=name, wrong=wrong))
            return None, b""
        return _wind_over_time(*(read.column(key) for key in _TIME_COLUMNS)), read.content

    def _same_length(self, table: TableModel, *keys: str) -> None:
        counts = {key: len(getattr(table, key)) for key in keys}
        if len(set(counts.values())) > 1:
            told = ", ".join(f"{key} has {count}" for key, count in counts.items())
            self._note(Finding(("wind", keys[-1]), f"the lists are of different length: {told}"))

    def _rising(self, values: Sequence[float], key: str) -> None:
        if any(later <= earlier for earlier, later in pairwise(values)):
            self._note(Finding(("wind", key), "must rise, each value once"))

    def _note(self, finding: Finding) -> None:
        self.problems.append(problem(finding, self.root, file=self.file))


# --- form in words ------------------------------------------------------------------------------------------


def _findings(
    model: type[TableModel], node: Node, error: ValidationError, path: KeyPath, beside: Sequence[str]
) -> Iterator[Finding]:
    """Every departure of one table from its form."""
    details = error.errors(include_url=False, include_input=False, include_context=True)
    known = (*properties_of(model), *beside)
    unknown = [str(detail["loc"][-1]) for detail in details if detail["type"] == "extra_forbidden"]
    meant = {_meant(key, known) for key in unknown}
    for detail in details:
        loc, kind = tuple(detail["loc"]), detail["type"]
        key = next((part for part in reversed(loc) if isinstance(part, str)), "")
        entry = properties_of(model).get(key, {})
        if kind == "missing":
            if key not in meant:
                wrong = f"missing: {entry['description']}"
                yield Finding((*path, *loc), wrong, allowed_text(key, entry), missing=True)
        elif kind == "extra_forbidden":
            yield Finding((*path, *loc), "unknown key", "", _unknown_hint(key, known))
        elif kind != "too_short" or len(loc) == 1:
            described = entry.get("items", entry) if isinstance(loc[-1], int) else entry
            value = plain(nodes_along(node, loc)[-1])
            yield Finding(
                (*path, *loc),
                wrong_text(kind, value, key, detail),
                allowed_text(key, described),
                value_hint(kind, value, entry),
            )


def _meant(key: str, known: Sequence[str]) -> str:
    """The known key that an unknown one stands for: the same but for its unit, or a near one."""
    stems = stems_of(key)
    same = next((name for name in known if name.removesuffix(f"_{ending_of(name)}") in stems), "")
    return same or next(iter(difflib.get_close_matches(key, known, n=1)), "")


def _unknown_hint(key: str, known: Sequence[str]) -> str:
    meant = _meant(key, known)
    if meant:
        takes = ending_of(meant) is not None and ending_of(meant) != ending_of(key)
        return f'did you mean "{meant}"?' + (f" That key takes {unit_of(meant).name}" if takes else "")
    homes = [
        f"[[{name}]]" if name in REPEATED_COURSE_TABLES else f"[{name}]"
        for name, model in (*COURSE_TABLES.items(), *(("wind", each) for each in WIND_TABLES.values()))
        if key in properties_of(model)
    ]
    return f"this key belongs in {' or '.join(dict.fromkeys(homes))}" if homes else nearest(key, known)


# --- values in SI units -------------------------------------------------------------------------------------


def weibull_wind(
    *, scale_kn: float, shape: float, tws_kn: Sequence[float], step_kn: float, twd_deg: float
) -> Wind:
    """Winds `tws_kn` in even steps with the probability of half a step to either side, as part of what all
    have together. Distribution after W. Weibull, J. Appl. Mech. 18, 1951: 1 - exp(-(w / scale)^shape).
    """

    def up_to(wind: float) -> float:
        return -math.expm1(-((max(wind, 0.0) / scale_kn) ** shape))

    edges = [*(wind - 0.5 * step_kn for wind in tws_kn), tws_kn[-1] + 0.5 * step_kn]
    below, above = up_to(edges[0]), 1.0 - up_to(edges[-1])
    inside = 1.0 - below - above
    return Wind(
        model=WEIBULL,
        tws=tuple(_kn(wind) for wind in tws_kn),
        twd=(math.radians(twd_deg),),
        weight=tuple((up_to(upper) - up_to(lower)) / inside for lower, upper in pairwise(edges)),
        below=below,
        above=above,
    )


def _wind_over_time(time_s: Sequence[float], tws_kn: Sequence[float], twd_deg: Sequence[float]) -> Wind:
    return Wind(
        model=OVER_TIME,
        tws=tuple(_kn(value) for value in tws_kn),
        twd=tuple(math.radians(value) for value in twd_deg),
        time=tuple(time_s),
    )


def _legs(legs: Sequence[LegTable], laps: Sequence[LapTable], wind: Wind) -> Iterator[Leg]:
    for number, leg in enumerate(legs, start=1):
        yield Leg(
            name=leg.name or f"leg {number}",
            length=_metres(leg.length_nm, leg.length_m),
            bearing=math.radians(leg.bearing_deg),
            more_turns=leg.more_turns,
        )
    for lap in laps:
        up = wind.twd[0] if lap.axis_deg is None else math.radians(lap.axis_deg)
        length = _metres(lap.length_nm, lap.length_m)
        for _ in range(lap.count):
            for name, bearing in (("to windward", up), ("to leeward", (up + math.pi) % math.tau)):
                yield Leg(name=name, length=length, bearing=bearing, more_turns=lap.more_turns)


def _line(line: Any) -> Leg | None:
    if line is None:
        return None
    length = _metres(line.distance_nm, line.distance_m)
    return Leg(name="to the line", length=length, bearing=math.radians(line.bearing_deg))


def _lost(table: Any, turn: str, standard_s: float) -> Lost:
    time, way = (getattr(table, f"{turn}_lost_{unit}", None) for unit in ("s", "m"))
    if way is not None:
        return Lost(way=way)
    return Lost(time=standard_s if time is None else time)


def _metres(nautical_miles: float | None, metres: float | None) -> float:
    return unit_of("length_nm").to_si(nautical_miles) if nautical_miles is not None else float(metres or 0.0)


def _kn(knots: float) -> float:
    return unit_of("tws_kn").to_si(knots)
