"""Where the chunks of a study are solved: in this process, in several, or on a cluster.

Each engine solves the same chunks by the same function, so that the tables do not depend on it.
"""

from __future__ import annotations

import pickle
import platform
import zlib
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

from vpp.libraries import library
from vpp.solver import stopping
from vpp.solver.processes import in_processes
from vpp.sweep_chunks import CHUNKS, chunk_name, of_path, solve_chunk, write_chunk
from vpp.sweep_compiled import device
from vpp.sweep_study import Study
from vpp.version import __version__

OnDone = Callable[[int], None]

_LIBRARIES, _COMPILING = ("numpy", "scipy", "pyarrow"), ("jax", "jaxlib")
# [s] until a cluster must have answered, and between looks at whether to stop.
_PATIENCE_S, _POLL_S = 30, 0.5
# Chunks waiting at a cluster for each of its threads, the least of them, and how often one is sent again
# whose workers were lost.
_WAITING, _LEAST_WAITING, _MOST_SENT = 3, 8, 5


class EngineError(Exception):
    """What ended a run before its end, in a sentence."""


def versions(study: Study) -> dict[str, str]:
    """What the numbers of a table may depend on besides the inputs."""
    told = {
        "vpp": __version__,
        "python": platform.python_version(),
        **{name: version(name) for name in _LIBRARIES},
    }
    if study.is_compiled:
        told |= {name: version(name) for name in _COMPILING} | {"device": device()}
    return told


def here(study: Study, numbers: Sequence[int], folder: Path, on_done: OnDone, *, processes: int = 1) -> None:
    """One chunk after the other in this process, which may have so many to help it with searches. Raises
    OSError where a chunk cannot be written.
    """
    for number in numbers:
        content = None if stopping.asked() else solve_chunk(study, number, processes=processes)
        if content is None:
            return
        write_chunk(folder / CHUNKS / chunk_name(number), content)
        on_done(number)


# --- processes ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Job:
    path: str
    digest: str
    folder: str
    number: int


def on_cores(study: Study, numbers: Sequence[int], folder: Path, on_done: OnDone, *, processes: int) -> None:
    """Chunks dealt out to so many new processes. Raises OSError where a chunk cannot be written and
    EngineError.
    """
    jobs = [_Job(str(study.path), study.digest, str(folder), number) for number in numbers]
    try:
        in_processes(_job, jobs, processes=processes, on_result=lambda at: on_done(numbers[at]))
    except BrokenProcessPool:
        raise EngineError(
            "a process was ended from outside (for want of memory, or killed): fewer --processes may help"
        ) from None
    except ValueError as error:
        raise EngineError(str(error)) from None


def _job(job: _Job) -> None:
    if stopping.asked():
        return
    content = solve_chunk(of_path(job.path, job.digest), job.number)
    if content is not None:
        write_chunk(Path(job.folder) / CHUNKS / chunk_name(job.number), content)


# --- a cluster ----------------------------------------------------------------------------------------------


def on_cluster(study: Study, numbers: Sequence[int], folder: Path, on_done: OnDone, *, address: str) -> None:
    """Chunks on the workers of a Dask scheduler; workers may come and go. The tables are written here: the
    workers need no common folder, but this package in the same version. Raises OSError where a chunk cannot
    be written, MissingLibrary and EngineError.
    """
    distributed = library("distributed")
    try:
        client = distributed.Client(address, timeout=_PATIENCE_S)
    except (OSError, ValueError) as error:
        raise EngineError(f"dask = {address!r}: no scheduler answers there ({error})") from None
    try:
        try:
            client.wait_for_workers(1, timeout=_PATIENCE_S)
        except (TimeoutError, distributed.TimeoutError):
            raise EngineError(f"dask = {address!r}: the scheduler has no workers") from None
        _Cluster(distributed, client, study, folder, on_done).run(iter(numbers))
    finally:
        client.close()


class _Cluster:
    def __init__(self, distributed: Any, client: Any, study: Study, folder: Path, on_done: OnDone) -> None:
        self.distributed, self.client, self.study = distributed, client, study
        self.folder, self.on_done = folder, on_done
        self.own = versions(study)
        self.packed = zlib.compress(pickle.dumps(study))
        self.waiting: dict[Any, int] = {}
        self.sent: dict[int, int] = {}

    def run(self, numbers: Iterator[int]) -> None:
        """All of some chunks, so many at a time as the workers of the moment can do."""
        while not stopping.asked():
            threads = sum(worker["nthreads"] for worker in self.client.scheduler_info()["workers"].values())
            for number in numbers:
                self._send(number)
                if len(self.waiting) >= max(_LEAST_WAITING, _WAITING * threads):
                    break
            if not self.waiting:
                return
            try:
                self.distributed.wait(list(self.waiting), timeout=_POLL_S, return_when="FIRST_COMPLETED")
            except (TimeoutError, self.distributed.TimeoutError):
                continue
            for future in [each for each in self.waiting if each.done()]:
                self._take(future)
        self.client.cancel(list(self.waiting))

    def _send(self, number: int) -> None:
        self.sent[number] = self.sent.get(number, 0) + 1
        key = f"vpp-{self.study.digest}-{number}-{self.sent[number]}"
        self.waiting[self.client.submit(_on_worker, self.packed, number, key=key, retries=2)] = number

    def _take(self, future: Any) -> None:
        number = self.waiting.pop(future)
        try:
            told, content = future.result()
        except self.distributed.KilledWorker:
            if self.sent[number] >= _MOST_SENT:
                raise EngineError(
                    f"chunk {number} was lost with its worker {_MOST_SENT} times: for want of memory?"
                ) from None
            self._send(number)
            return
        except self.distributed.CancelledError:
            self._send(number)
            return
        told.pop("device", None)  # what a worker compiles for need not be here
        if any(self.own[name] != text for name, text in told.items()):
            other = ", ".join(f"{name} {text}" for name, text in told.items() if self.own[name] != text)
            raise EngineError(f"a worker has other versions than this process: {other}")
        write_chunk(self.folder / CHUNKS / chunk_name(number), content)
        self.on_done(number)


@lru_cache(maxsize=1)
def _unpacked(packed: bytes) -> Study:
    study: Study = pickle.loads(zlib.decompress(packed))
    return study


def _on_worker(packed: bytes, number: int) -> tuple[dict[str, str], bytes]:
    study = _unpacked(packed)
    content = solve_chunk(study, number)
    if content is None:
        raise RuntimeError("searches were ended on the worker")
    return versions(study), content
