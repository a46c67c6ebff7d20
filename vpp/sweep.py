"""Batch studies: many rigs of one boat in many conditions, in chunks that survive whatever ends the run.

A study is cut into chunks of rigs. Each chunk is solved by itself, to the same table wherever and whenever
that is, and written whole or not at all; a run that is begun again goes on with those that are missing. What
the tables follow from stands in a manifest, and a folder takes no chunk of other inputs or versions.
"""

from __future__ import annotations

import errno
import json
import math
import shutil
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

from vpp.libraries import library
from vpp.results.files import CAUTION, json_text, write_text
from vpp.solver import stopping
from vpp.sweep_chunks import (
    CHUNKS,
    REFERENCE,
    Pilot,
    UnreadableChunk,
    chunk_name,
    pilot,
    read_chunk,
    solve_reference,
    write_chunk,
)
from vpp.sweep_compiled import device
from vpp.sweep_engines import EngineError, here, on_cluster, on_cores, versions
from vpp.sweep_study import Study, load_study

if TYPE_CHECKING:
    from vpp.sweep_result import Sweep

Progress = Callable[[int, int], None]
Tell = Callable[[str], None]

MANIFEST = "manifest.json"

_STUDY, _PILOT = "study.toml", "pilot.json"
# [s] after which a file that was being written is taken for left by a run that was killed.
_LEFT_BEHIND_S = 600.0
# Part of the disk that a run leaves free.
_ROOM = 1.2


class SweepError(ValueError):
    """A run that cannot begin or go on; `problems` says why, and what is kept."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


@dataclass(frozen=True, kw_only=True)
class Forecast:
    """What a run has before it: rigs, conditions and chunks of the study, those conditions that are done,
    seconds of processor time for the others, and bytes on disk in all; of a compiled study the seconds that
    pass at most, and the `device` that it is compiled for.
    """

    rigs: int
    conditions: int
    chunks: int
    done: int
    seconds: float
    bytes: float
    device: str = ""

    def sentence(self, processes: int) -> str:
        """In words, for so many processes at work together."""
        told = f"{self.rigs} rigs in {self.conditions // self.rigs} conditions: {self.conditions} conditions"
        told += f" in {self.chunks} chunks"
        if self.done:
            told += f", of which {self.done} are done"
        share = 1 if self.device else max(1, min(processes, self.chunks))
        by = f"with {share} processes" if share > 1 else "with one process"
        if self.device:
            by = f"or less, compiled for {self.device}"
        return (
            f"{told}. Expected from a pilot: {say_seconds(self.seconds / share)} {by}, "
            f"{say_bytes(self.bytes)} on disk."
        )


def say_seconds(seconds: float) -> str:
    """A time in the unit that it deserves."""
    if seconds < 100.0:
        return f"{max(seconds, 1.0):.0f} s"
    if seconds < 6000.0:
        return f"{seconds / 60.0:.0f} min"
    return f"{seconds / 3600.0:.1f} h"


def say_bytes(count: float) -> str:
    """A size in the unit that it deserves."""
    step = min(max(int(math.log10(max(count, 1.0)) // 3), 1), 3)
    told, unit = count / 1000.0**step, ("kB", "MB", "GB")[step - 1]
    return f"{told:.1f} {unit}" if told < 10.0 else f"{told:.0f} {unit}"


class Run:
    """One study in one folder."""

    def __init__(self, study: Study, folder: str | PathLike[str]) -> None:
        library("pyarrow.parquet")
        if study.is_compiled:
            library("jax")
        self.study, self.folder = study, Path(folder)

    def path(self, number: int) -> Path:
        """The file of a chunk."""
        return self.folder / CHUNKS / chunk_name(number)

    def missing(self, shard: tuple[int, int] = (1, 1)) -> list[int]:
        """Chunks of a share of the study, the first of so many parts, that are not there yet."""
        part, parts = shard
        return [
            number
            for number in range(part - 1, self.study.chunk_count, parts)
            if not self.path(number).is_file()
        ]

    def check_folder(self) -> None:
        """Raise SweepError where the folder holds something that this study must not be mixed with."""
        if self.folder.exists() and not self.folder.is_dir():
            raise SweepError([f"out = {str(self.folder)!r}: a file of that name is in the way"])
        manifest = self.folder / MANIFEST
        if not manifest.is_file():
            return
        try:
            told = json.loads(manifest.read_text(encoding="utf-8"))
            inputs, others = told["inputs"], told["versions"]
        except (OSError, ValueError, KeyError):
            raise SweepError(
                [f"{manifest} cannot be read: take another folder with -o, or remove it"]
            ) from None
        wrong = [key for key, value in self.study.inputs.items() if inputs.get(key) != value]
        if wrong:
            raise SweepError(
                [
                    f"{self.folder} holds another study: {', '.join(wrong)} changed since it began. Nothing "
                    "is touched: take another folder with -o, or put study and boat file back as they were"
                ]
            )
        now = versions(self.study)
        changed = [f"{k} {others.get(k)} then, {v} now" for k, v in now.items() if others.get(k) != v]
        if changed:
            raise SweepError(
                [
                    f"{self.folder} was begun with other versions: {'; '.join(changed)}. Nothing is touched: "
                    "take another folder with -o, or go on with those versions"
                ]
            )

    def forecast(self, *, processes: int = 1) -> Forecast | None:
        """What the run has before it, from a pilot; None where searches are ended. Raises SweepError."""
        self.check_folder()
        known = self._known_pilot()
        found = known or pilot(self.study, processes=processes)
        if found is None:
            return None
        if known is None and (self.folder / MANIFEST).is_file():
            write_text(self.folder / _PILOT, json_text(asdict(found)))
        self._pilot = found
        left = len(self.missing())
        share = left / self.study.chunk_count
        rows = len(self.study.rows)
        undone = sum(len(self.study.chunk(number)) for number in self.missing()) * rows
        return Forecast(
            rigs=self.study.rigs,
            conditions=self.study.condition_count,
            chunks=self.study.chunk_count,
            done=self.study.condition_count - undone,
            seconds=found.seconds(self.study) * share,
            bytes=found.bytes(self.study),
            device=device() if self.study.is_compiled else "",
        )

    def _known_pilot(self) -> Pilot | None:
        """The pilot of an earlier run in the folder."""
        try:
            return Pilot(**json.loads((self.folder / _PILOT).read_text(encoding="utf-8")))
        except (OSError, ValueError, TypeError):
            return None

    def prepare(self, tell: Tell) -> None:
        """Make the folder ready: manifest, the table of the reference, no chunk that cannot be read. Raises
        SweepError.
        """
        self.check_folder()
        try:
            (self.folder / CHUNKS).mkdir(parents=True, exist_ok=True)
            if not (self.folder / MANIFEST).is_file():
                write_text(self.folder / _STUDY, self.study.path.read_text(encoding="utf-8"))
                write_text(self.folder / MANIFEST, json_text(self._manifest()))
            if getattr(self, "_pilot", None) is not None and self._known_pilot() is None:
                write_text(self.folder / _PILOT, json_text(asdict(self._pilot)))
            self._set_aside(tell)
            self._check_room()
            if not (self.folder / REFERENCE).is_file():
                content = solve_reference(self.study)
                if content is not None:
                    write_chunk(self.folder / REFERENCE, content)
        except OSError as error:
            raise self._not_written(error) from None

    def _manifest(self) -> dict[str, Any]:
        study = self.study
        return {
            "name": study.name,
            "study": study.digest,
            "inputs": study.inputs,
            "versions": versions(study),
            "seeds": {"plan": study.seed},
            "rigs": study.rigs,
            "conditions": study.condition_count,
            "chunks": study.chunk_count,
            "rigs_per_chunk": study.rigs_per_chunk,
            "caution": CAUTION,
        }

    def _set_aside(self, tell: Tell) -> None:
        """Rename what cannot be read, so that it is solved again, and remove what a killed run left."""
        for path in [*sorted(self.folder.glob(f"{CHUNKS}/chunk_*.parquet")), self.folder / REFERENCE]:
            if not path.is_file():
                continue
            try:
                read_chunk(path, self.study)
            except UnreadableChunk as error:
                aside = path.with_suffix(".unreadable")
                path.rename(aside)
                tell(f"{error}: it is kept as {aside.name} and solved again")
        for path in self.folder.glob(f"{CHUNKS}/.chunk_*"):
            if time.time() - path.stat().st_mtime > _LEFT_BEHIND_S:
                path.unlink(missing_ok=True)

    def _check_room(self) -> None:
        """Raise SweepError where the disk is too small for what is expected."""
        if getattr(self, "_pilot", None) is None:
            return
        left = len(self.missing()) / self.study.chunk_count
        needed = _ROOM * self._pilot.bytes(self.study) * left
        free = shutil.disk_usage(self.folder).free
        if needed > free:
            raise SweepError(
                [
                    f"out = {str(self.folder)!r}: about {say_bytes(needed)} are needed and {say_bytes(free)} "
                    "are free: make room, or take a folder elsewhere with -o"
                ]
            )

    def run(
        self,
        *,
        processes: int = 1,
        shard: tuple[int, int] = (1, 1),
        dask: str | None = None,
        progress: Progress | None = None,
        tell: Tell = lambda sentence: None,
    ) -> bool:
        """Solve what is missing of a share of the study; whether all of that share is there. Raises
        SweepError, with what is kept, and MissingLibrary.
        """
        self.prepare(tell)
        numbers = self.missing(shard)
        rows = len(self.study.rows)
        sizes = {number: len(self.study.chunk(number)) * rows for number in numbers}
        total, done = sum(sizes.values()), 0

        def on_done(number: int) -> None:
            nonlocal done
            done += sizes[number]
            if progress is not None:
                progress(done, total)

        if progress is not None and total:
            progress(0, total)
        try:
            if dask is not None and numbers:
                on_cluster(self.study, numbers, self.folder, on_done, address=dask)
            elif processes > 1 and len(numbers) > 1 and not self.study.is_compiled:
                on_cores(self.study, numbers, self.folder, on_done, processes=min(processes, len(numbers)))
            else:
                here(self.study, numbers, self.folder, on_done, processes=processes)
        except OSError as error:
            raise self._not_written(error) from None
        except EngineError as error:
            raise SweepError([f"{error}. {self.kept()}"]) from None
        return not stopping.asked() and not self.missing(shard)

    def kept(self) -> str:
        """What is done and how to go on, in a sentence."""
        missing, count = len(self.missing()), self.study.chunk_count
        return (
            f"{count - missing} of {count} chunks are done and kept in {self.folder}: the same command goes "
            "on from there"
        )

    def _not_written(self, error: OSError) -> SweepError:
        full = error.errno in (errno.ENOSPC, errno.EDQUOT)
        what = "the disk is full: make room first" if full else str(error.strerror or error)
        return SweepError([f"out = {str(self.folder)!r}: cannot be written ({what}). {self.kept()}"])

    def result(self) -> Sweep:
        """What the tables say. Raises SweepError where a chunk is missing or cannot be read."""
        from vpp.sweep_result import Sweep  # noqa: PLC0415  (tables only where they are looked at)

        if self.missing():
            raise SweepError([f"the study is not whole yet: {self.kept()}"])
        try:
            return Sweep.read(self.study, self.folder)
        except UnreadableChunk as error:
            raise SweepError([f"{error}: the same command solves it again"]) from None


def sweep(
    path: str | PathLike[str],
    *,
    out: str | PathLike[str],
    processes: int = 1,
    dask: str | None = None,
    progress: Progress | None = None,
) -> Sweep:
    """All rigs of a study file in all its conditions, with what they say: main effects, shares of the
    variance, a surrogate, the front of two aims and the best rigs.

    Tables go into the folder `out`, chunk by chunk; a call that finds some there goes on with the others.
    With more than one of `processes` chunks are shared out among new processes, to the same tables (a script
    that asks for it needs the usual `if __name__ == "__main__":`), and of a compiled study what is searched;
    with `dask` chunks go to the workers of the scheduler at that address. `progress(done, total)` is called
    as conditions finish. Raises BoatFileError with all that is wrong with the study or its boat, SweepError
    where the run cannot begin or go on, MissingLibrary without pyarrow (or JAX, of a compiled study), and
    `Stopped` where Ctrl-C ended it within `keep_on_interrupt`.
    """
    run = Run(load_study(path), out)
    run.run(processes=processes, dask=dask, progress=progress)
    stopping.refuse_part()
    return run.result()
