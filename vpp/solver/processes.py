"""Work shared out among new processes that an interrupt ends without losing what is done."""

from __future__ import annotations

import multiprocessing
import pickle
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from contextlib import contextmanager
from ctypes import c_bool
from typing import Any, TypeVar

from vpp.solver import stopping

Item = TypeVar("Item")
Result = TypeVar("Result")

_POLL = 0.1  # [s] between looks at whether the processes are to stop


def in_processes(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    *,
    processes: int,
    on_result: Callable[[int], None] | None = None,
) -> list[Result]:
    """`work` of every item, in their order, from new Python processes; `on_result` is told of each item
    done.

    The processes never see Ctrl-C. They stop when this process is to stop (`stopping.asked`), at the next
    iteration of their searches, so that their results come back with what is done. Where this process is
    interrupted by an exception they stop as well, and are waited for; a further one ends them at once.
    """
    context = multiprocessing.get_context("spawn")
    # packed here, as an item that cannot be may leave the pool waiting for itself for ever
    packed = [pickle.dumps(item) for item in items]
    is_to_stop = context.RawValue(c_bool, False)
    others = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(
        max_workers=processes, mp_context=context, initializer=_begin, initargs=(is_to_stop,)
    )
    results: dict[int, Result] = {}
    try:
        with _interrupts_held_back():
            waiting = {pool.submit(_unpacked, work, each): number for number, each in enumerate(packed)}
        while waiting:
            ended, _ = wait(waiting, timeout=_POLL, return_when=FIRST_COMPLETED)
            if stopping.asked():
                is_to_stop.value = True
            for future in ended:
                number = waiting.pop(future)
                results[number] = future.result()
                if on_result is not None and not stopping.asked():
                    on_result(number)
        pool.shutdown()
    except BaseException:
        _end(pool, is_to_stop, others)
        raise
    return [results[number] for number in range(len(items))]


def _unpacked(work: Callable[[Any], Result], packed: bytes) -> Result:
    return work(pickle.loads(packed))


def _begin(is_to_stop: Any) -> None:
    """In a new process: leave Ctrl-C to the parent and stop when it says so."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    stopping.watch(lambda: bool(is_to_stop.value))


def _end(pool: ProcessPoolExecutor, is_to_stop: Any, others: set[Any]) -> None:
    """End the processes: soon where they were not told before, else at once."""
    try:
        if not is_to_stop.value:
            is_to_stop.value = True
            pool.shutdown(cancel_futures=True)
            return
    except KeyboardInterrupt:
        pass
    for process in set(multiprocessing.active_children()) - others:
        process.terminate()
    pool.shutdown(cancel_futures=True)


@contextmanager
def _interrupts_held_back() -> Iterator[None]:
    """A block whose new processes are born deaf to Ctrl-C, which would hit them while they still import."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker  # noqa: PLC0415  (not on every system)

    # started within the block, it would let interrupts through again
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
