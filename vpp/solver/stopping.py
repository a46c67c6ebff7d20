"""Ending searches early, so that an interrupted run keeps what is done."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

# What to ask whether searches are to end: one for each block that keeps what is done, and the parent process.
_ASKED: list[Callable[[], bool]] = []


class Stop:
    """A block's wish to end its searches: `asked` says whether it has been made."""

    def __init__(self) -> None:
        self.asked = False

    def ask(self) -> None:
        """End the searches at their next iteration. May be called from another thread."""
        self.asked = True


def asked() -> bool:
    """Whether searches are to end where they are."""
    return any(each() for each in _ASKED)


class Stopped(KeyboardInterrupt):
    """What Ctrl-C raises, within `keep_on_interrupt`, out of work of which a part is worth nothing."""


def refuse_part() -> None:
    """Raise Stopped where searches have been ended: for work that is nothing without all of them."""
    if asked():
        raise Stopped


def watch(also: Callable[[], bool]) -> None:
    """From now on, end the searches of this process when `also` says so as well."""
    _ASKED.append(also)


@contextmanager
def keep_on_interrupt() -> Iterator[Stop]:
    """A block in which the first Ctrl-C ends every search at its next iteration and raises nothing.

    Conditions that are done keep their results, all others end as `Status.INTERRUPTED`, and so do all that
    are asked for later in the block; the `Stop` that the block is given says whether that happened, and its
    `ask` does the same without Ctrl-C. Work of which a part is worth nothing, such as the search for a wind,
    raises `Stopped`, which is a KeyboardInterrupt. A second Ctrl-C raises KeyboardInterrupt, as it does
    outside such a block. Signals reach the main thread alone: in another one only `ask` works. Interrupts
    that the process ignores stay ignored.
    """
    stop = Stop()
    in_main = threading.current_thread() is threading.main_thread()
    before = signal.getsignal(signal.SIGINT)
    takes_over = in_main and before not in (signal.SIG_IGN, None)

    def on_interrupt(number: int, frame: FrameType | None) -> None:
        signal.signal(signal.SIGINT, before)
        stop.ask()

    def says() -> bool:
        return stop.asked

    _ASKED.append(says)
    if takes_over:
        signal.signal(signal.SIGINT, on_interrupt)
    try:
        yield stop
    finally:
        if takes_over:
            signal.signal(signal.SIGINT, before)
        _ASKED.remove(says)
