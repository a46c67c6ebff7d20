"""Chunks of a study: the rigs of one are built, solved together and written as one table."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vpp.boat import Boat
from vpp.improve_boats import told_of
from vpp.libraries import library
from vpp.results.files import whole_file
from vpp.results.frames import status_words
from vpp.results.variables import KNOT, variable
from vpp.rule_box import Verdict, judge
from vpp.solved import SPEED
from vpp.solver import stopping
from vpp.sweep_answers import Answers, searched
from vpp.sweep_compiled import compiled
from vpp.sweep_following import followed
from vpp.sweep_study import COMPILED, SEARCHED, Study

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

CHUNKS, REFERENCE = "chunks", "reference.parquet"
"""Folder of the tables, and the table of the boat that rigs are compared with."""

NOT_BUILT, LEFT_OUT = "not_built", "left_out"
"""Statuses of rigs that the boat file does not allow, and that break a limit."""

_META = b"vpp_sweep"
_ROUNDING = 1e-9
# Rigs of a pilot besides its anchors.
_PILOT_FOLLOWED = 5
# Conditions of a pilot whose study is compiled, as many as it takes at a time at least.
_PILOT_COMPILED = 2048


class UnreadableChunk(Exception):
    """A chunk that cannot be read, or is not of this study."""


@dataclass(frozen=True, kw_only=True)
class Chunk:
    """A chunk as read: columns by name (rows,), rigs one after the other with the same conditions each, and
    what its metadata says of checks.
    """

    columns: Mapping[str, NDArray[Any]]
    checks: Mapping[str, float]


def chunk_name(number: int) -> str:
    """The file of a chunk."""
    return f"chunk_{number:06d}.parquet"


# --- solving ------------------------------------------------------------------------------------------------


def solve_chunk(study: Study, number: int, *, processes: int = 1) -> bytes | None:
    """The table of a chunk as a Parquet file; None where searches are ended. Those of a compiled study are
    shared out among so many processes.
    """
    rigs = study.chunk(number)
    built = _rigs(study, rigs, study.values(rigs))
    found, here = _answers(study, rigs, built, processes=processes)
    if stopping.asked():
        return None
    return _parquet(study, _columns(study, rigs, built, found, here), {"chunk": number, **_checks(found)})


@dataclass(frozen=True, kw_only=True)
class Pilot:
    """What a chunk takes: seconds to build a rig, to search a condition and to follow one, and bytes of a
    file and of each condition in it; and the seconds that are spent once, on compiling.
    """

    build_s: float
    search_s: float
    follow_s: float
    file_bytes: float
    condition_bytes: float
    once_s: float = 0.0

    def seconds(self, study: Study) -> float:
        """Seconds of processor time of a whole study."""
        in_full = min(study.chunk_count * study.searched_per_chunk, study.rigs)
        of_conditions = in_full * self.search_s + (study.rigs - in_full) * self.follow_s
        return self.once_s + study.rigs * self.build_s + len(study.rows) * of_conditions

    def bytes(self, study: Study) -> float:
        """Bytes on disk of a whole study."""
        return study.chunk_count * self.file_bytes + study.condition_count * self.condition_bytes


def pilot(study: Study, *, processes: int = 1) -> Pilot | None:
    """A few rigs of the middle of the study, solved and timed as a chunk; None where searches are ended."""
    wanted = study.anchors + _PILOT_FOLLOWED
    if study.is_compiled:
        wanted = max(wanted, _PILOT_COMPILED // len(study.rows))
    rigs = study.chunk(study.chunk_count // 2)[:wanted]
    begun = perf_counter()
    built = _rigs(study, rigs, study.values(rigs))
    build = perf_counter() - begun
    found, here = _answers(study, rigs, built, processes=processes)
    if stopping.asked():
        return None
    columns = _columns(study, rigs, built, found, here)
    whole = len(_parquet(study, columns, {}))
    empty = len(_parquet(study, {name: values[:0] for name, values in columns.items()}, {}))
    count = len(here) * len(study.rows)
    in_full = count if study.method == SEARCHED else min(study.searched_per_chunk * len(study.rows), count)
    searching, following = (0.0, 0.0) if found is None else (found.searching_s, found.following_s)
    return Pilot(
        build_s=build / len(rigs),
        search_s=searching / max(in_full, 1),
        follow_s=following / (count - in_full if count > in_full else max(count, 1)),
        file_bytes=float(empty),
        condition_bytes=(whole - empty) / (len(rigs) * len(study.rows)),
        once_s=0.0 if found is None else found.compiling_s,
    )


def solve_reference(study: Study) -> bytes | None:
    """The table of the boat that rigs are compared with, searched in full."""
    boat = study.boat_file.boat(study.compare_with)
    found = searched([boat], study.conditions, wanted=_sources(study))
    if stopping.asked():
        return None
    return _parquet(study, _of_conditions(study, found, np.zeros(1, dtype=np.int64)), {"chunk": -1})


@dataclass(frozen=True, kw_only=True)
class _Rig:
    """A rig as built: its boat, or why there is none; and how much room its tightest limit leaves."""

    boat: Boat | None
    status: str = ""
    reason: str = ""
    room_percent: float = np.nan
    tightest: str = ""


def _rigs(study: Study, rigs: Integers, values: Sequence[NDArray[Any]]) -> list[_Rig]:
    return [_built(study, [column[at] for column in values]) for at in range(len(rigs))]


def _answers(
    study: Study, rigs: Integers, built: Sequence[_Rig], *, processes: int
) -> tuple[Answers | None, Integers]:
    """Answers of those rigs that there are, and which these are."""
    here = np.array([at for at, rig in enumerate(built) if rig.boat is not None], dtype=np.int64)
    boats = [rig.boat for rig in built if rig.boat is not None]
    if not boats:
        return None, here
    if study.method == SEARCHED:
        return searched(boats, study.conditions, wanted=_sources(study)), here
    values = study.values(rigs)
    places = np.array([f.place(v) for f, v in zip(study.factors, values, strict=True)]).T[here]
    anchors, wanted = study.anchors, _sources(study)
    if study.method == COMPILED:
        found = compiled(boats, places, study.conditions, anchors=anchors, wanted=wanted, processes=processes)
    else:
        found = followed(boats, places, study.conditions, anchors=anchors, wanted=wanted)
    return found, here


def _columns(
    study: Study, rigs: Integers, built: Sequence[_Rig], found: Answers | None, here: Integers
) -> dict[str, NDArray[Any]]:
    columns: dict[str, NDArray[Any]] = {"rig": np.repeat(rigs, len(study.rows))}
    for factor, column in zip(study.factors, study.values(rigs), strict=True):
        columns[factor.name] = np.repeat(column, len(study.rows))
    columns |= _of_conditions(study, found, here, count=len(rigs))
    for at, rig in enumerate(built):
        if rig.boat is None:
            rows = slice(at * len(study.rows), (at + 1) * len(study.rows))
            columns["status"][rows], columns["reason"][rows] = rig.status, rig.reason
    columns["room_percent"] = np.repeat([rig.room_percent for rig in built], len(study.rows))
    columns["tightest"] = np.repeat(np.array([rig.tightest for rig in built], dtype=object), len(study.rows))
    return columns


def _built(study: Study, values: Sequence[Any]) -> _Rig:
    """The boat of a rig, unless the boat file or a limit is against it."""
    option, by = study.option, dict[str, float]()
    for factor, value in zip(study.factors, values, strict=True):
        if factor.is_option:
            option = str(value)
    movable = study.movable[option]
    for factor, value in zip(study.factors, values, strict=True):
        for key in factor.keys:
            # numbers that move together move by as much as the first
            by[key.name] = float(value) - movable.keys[factor.keys[0].name].value
    for limit in study.sums:
        total = sum(w * float(values[at]) for at, w in zip(limit.factors, limit.weights, strict=True))
        slack = _ROUNDING * max(1.0, abs(total))
        if not limit.least - slack <= total <= limit.greatest + slack:
            return _Rig(boat=None, status=LEFT_OUT, reason=f"breaks {limit.name}: the sum is {total:.6g}")
    try:
        boat = movable.moved_to(by).boat
    except ValueError as error:
        return _Rig(boat=None, status=NOT_BUILT, reason=told_of(error))
    verdicts = judge(boat, study.limits)
    if study.keeps_to_rules:
        broken = [f'breaks "{each.limit.clause}"' for each in verdicts if not each.holds]
        if broken:
            return _Rig(boat=None, status=LEFT_OUT, reason="; ".join(broken))
    if not verdicts:
        return _Rig(boat=boat)
    tightest = min(verdicts, key=_room_percent)
    return _Rig(boat=boat, room_percent=_room_percent(tightest), tightest=tightest.limit.name)


def _room_percent(verdict: Verdict) -> float:
    """Room to the nearer bound, in per cent of that bound."""
    low, high = verdict.limit.bounds
    bound = min(
        (each for each in (low, high) if each is not None), key=lambda each: abs(each - verdict.measured)
    )
    return 100.0 * verdict.margin / (abs(bound) or 1.0)


def _sources(study: Study) -> tuple[str, ...]:
    """Names of quantities behind the columns."""
    return tuple(dict.fromkeys(("twa", *(variable(name).source for name in study.columns))))


def _of_conditions(
    study: Study, found: Answers | None, here: Integers, *, count: int = 1
) -> dict[str, NDArray[Any]]:
    """Columns of the conditions of `count` rigs, of which answers are those of the ones `here`."""
    rows, shape = study.conditions, (count, len(study.rows))

    def spread(values: NDArray[Any] | None, nothing: Any, kind: Any) -> NDArray[Any]:
        whole = np.full(shape, nothing, dtype=kind)
        if values is not None:
            whole[here] = values
        return whole.ravel()

    asked = np.array([np.nan if isinstance(angle, str) else angle for _, angle in study.rows])
    quantities: Mapping[str, Floats] = {} if found is None else found.quantities
    twa = spread(quantities.get("twa"), np.nan, float) * variable("twa_deg").factor
    columns: dict[str, NDArray[Any]] = {
        "condition": np.tile(np.arange(shape[1]), count),
        "tws_kn": np.tile(np.array([wind for wind, _ in study.rows], dtype=float), count),
        "twa_deg": np.where(np.tile(rows.aim == SPEED, count), np.tile(asked, count), twa),
        "aim": np.tile(rows.aim.astype(object), count),
        "status": spread(None if found is None else _status_words(found), "", object),
        "how": spread(None if found is None else found.how, "", object),
        "made_good_kn": spread(None if found is None else found.made_good / KNOT, np.nan, float),
        "branch": spread(None if found is None else found.branch, "", object),
        "sail_set": spread(None if found is None else found.sail_set, "", object),
    }
    for name in study.columns:
        if name not in columns:
            values = quantities.get(variable(name).source)
            columns[name] = spread(values, np.nan, float) * variable(name).factor
    columns["remark"] = spread(None if found is None else found.remark, "", object)
    columns["reason"] = spread(None if found is None else found.reason, "", object)
    return columns


def _status_words(found: Answers) -> NDArray[np.object_]:
    return status_words(found.status.ravel()).reshape(found.status.shape)


MISSED = 1e-4
"""Share of the speed by which a search must beat following, or following a search, to count."""


def _checks(found: Answers | None) -> dict[str, float]:
    """What following and searching found of those conditions that both were done for."""
    pairs = np.zeros((0, 2)) if found is None else found.checks
    followed_as, searched_as = pairs[:, 0], pairs[:, 1]
    apart = np.abs(followed_as - searched_as) / searched_as
    return {
        "checked": len(pairs),
        "search_ahead": int((searched_as > followed_as * (1.0 + MISSED)).sum()),
        "following_ahead": int((followed_as > searched_as * (1.0 + MISSED)).sum()),
        "largest_percent": float(100.0 * apart.max(initial=0.0)),
    }


# --- files --------------------------------------------------------------------------------------------------


def _parquet(study: Study, columns: Mapping[str, NDArray[Any]], about: Mapping[str, Any]) -> bytes:
    arrow = library("pyarrow")
    parquet = library("pyarrow.parquet")
    arrays, fields = [], []
    for name, values in columns.items():
        if values.dtype == object:
            kind = arrow.dictionary(arrow.int32(), arrow.string())
            arrays.append(arrow.array(values.tolist(), type=arrow.string()).dictionary_encode())
        elif name in ("rig", "condition"):
            kind = arrow.int64()
            arrays.append(arrow.array(values, type=kind))
        else:
            kind = arrow.float64()
            arrays.append(arrow.array(values, type=kind, from_pandas=True))
        fields.append(arrow.field(name, kind))
    told = json.dumps({"study": study.digest, **about}, sort_keys=True)
    table = arrow.Table.from_arrays(arrays, schema=arrow.schema(fields, metadata={_META: told}))
    sink = arrow.BufferOutputStream()
    parquet.write_table(table, sink, compression="zstd", write_page_checksum=True)
    return bytes(sink.getvalue().to_pybytes())


def write_chunk(path: Path, content: bytes) -> None:
    """Put a chunk in its place, whole or not at all. Raises OSError."""
    with whole_file(path) as temporary, temporary.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def read_chunk(path: Path, study: Study, *, columns: Sequence[str] | None = None) -> Chunk:
    """A chunk of a study. Raises UnreadableChunk."""
    parquet, arrow = library("pyarrow.parquet"), library("pyarrow")
    try:
        table = parquet.read_table(
            path, columns=None if columns is None else list(columns), page_checksum_verification=True
        )
        about = json.loads(table.schema.metadata[_META])
    except (OSError, arrow.ArrowException, KeyError, TypeError, ValueError) as error:
        told = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise UnreadableChunk(f"{path.name} cannot be read ({told})") from None
    if about.get("study") != study.digest:
        raise UnreadableChunk(f"{path.name} is of another study")
    found = {
        name: np.asarray(column.to_numpy(zero_copy_only=False))
        for name, column in zip(table.column_names, table.columns, strict=True)
    }
    return Chunk(columns=found, checks={k: v for k, v in about.items() if k not in ("study", "chunk")})


@lru_cache(maxsize=1)
def of_path(path: str, digest: str) -> Study:
    """The study of a file, for another process. Raises ValueError where it has changed."""
    from vpp.sweep_study import load_study  # noqa: PLC0415  (only where a process begins)

    study = load_study(path)
    if study.digest != digest:
        raise ValueError(f"{Path(path).name} or its boat file was changed during the run")
    return study
