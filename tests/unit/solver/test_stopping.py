"""Searches that are ended early: what they keep, and what Ctrl-C does."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator

import numpy as np
import pytest

from vpp.solver import jets, stopping
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Derivatives, Settings, Values
from vpp.solver.processes import in_processes
from vpp.solver.status import Status


class Circle:
    """The lowest x on circles of given radii, from anywhere: -radius."""

    variable_count, equality_count, inequality_count = 2, 1, 0

    def __init__(self, radius):
        self.radius = np.asarray(radius, dtype=float)
        self.lower = np.full((2, len(self.radius)), -100.0)
        self.upper = -self.lower

    def _of(self, x, y, cases):
        return x + 0.0 * y, (x * x + y * y) / self.radius[cases] ** 2 - 1.0

    def values(self, x, cases):
        objective, circle = self._of(x[0], x[1], cases)
        return Values(objective, circle[np.newaxis])

    def derivatives(self, x, cases, multipliers, objective_weight=1.0):
        objective, circle = self._of(*jets.variables(x), cases)
        value, gradient, hessian = jets.dense(objective, 2, cases.shape)
        row, jacobian, curvature = jets.dense(circle, 2, cases.shape)
        hessian = objective_weight * hessian + multipliers[0] * curvature
        return Derivatives(Values(value, row[np.newaxis]), gradient, jacobian[np.newaxis], hessian)


def starts(count):
    return np.tile([[1.5], [1.2]], count)


def test_what_has_ended_is_kept_and_the_rest_is_interrupted():
    # blocks of one, so that the first case ends before the last begins
    radius = np.array([1.0, 2.0, 3.0])
    settings = Settings(block_size=1)
    whole = minimise(Circle(radius), starts(3), settings=settings)
    with stopping.keep_on_interrupt() as stop:
        part = minimise(
            Circle(radius), starts(3), settings=settings, on_progress=lambda done, total: stop.ask()
        )
    assert list(part.status) == [Status.CONVERGED, Status.INTERRUPTED, Status.INTERRUPTED]
    np.testing.assert_array_equal(part.x[:, 0], whole.x[:, 0])
    assert part.objective[0] == pytest.approx(-1.0, abs=1e-6)


def test_a_search_that_is_ended_returns_its_best_feasible_state():
    """On the circle at once, the search is ended before it has found the lowest point."""
    problem, calls = Circle([2.0]), []
    with stopping.keep_on_interrupt() as stop:

        def counted(x, cases, multipliers, objective_weight=1.0):
            calls.append(x.copy())
            found = Circle.derivatives(problem, x, cases, multipliers, objective_weight)
            if len(cases) and np.abs(found.values.constraints).max() <= Settings().constraint_tolerance:
                stop.ask()
            return found

        problem.derivatives = counted
        part = minimise(problem, np.array([[2.0 * np.cos(2.0)], [2.0 * np.sin(2.0)]]))
    assert part.status[0] == Status.INTERRUPTED
    assert part.constraint_error[0] <= Settings().constraint_tolerance
    assert part.objective[0] > -2.0 + 1e-6


def test_a_search_at_its_step_limit_returns_its_best_feasible_state():
    on_circle = np.array([[2.0 * np.cos(2.0)], [2.0 * np.sin(2.0)]])
    found = minimise(Circle([2.0]), on_circle, settings=Settings(step_limit=1))
    assert found.status[0] == Status.STEP_LIMIT
    assert found.constraint_error[0] <= Settings().constraint_tolerance


def test_nothing_begins_once_asked():
    with stopping.keep_on_interrupt() as stop:
        stop.ask()
        found = minimise(Circle([1.0, 2.0]), starts(2))
        with pytest.raises(stopping.Stopped):
            stopping.refuse_part()
    assert list(found.status) == [Status.INTERRUPTED] * 2
    assert list(minimise(Circle([1.0]), starts(1)).status) == [Status.CONVERGED]
    stopping.refuse_part()


@pytest.fixture
def heeded() -> Iterator[None]:
    """Ctrl-C as a program in the foreground takes it, however the tests were started."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("heeded")
def test_the_first_interrupt_asks_and_the_second_raises():
    before = signal.getsignal(signal.SIGINT)
    with stopping.keep_on_interrupt() as stop:
        signal.raise_signal(signal.SIGINT)
        assert stop.asked
        assert stopping.asked()
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is before
    assert not stopping.asked()


@pytest.mark.usefixtures("heeded")
def test_without_a_block_an_interrupt_raises():
    with pytest.raises(KeyboardInterrupt):
        minimise(
            Circle([1.0]),
            starts(1),
            on_progress=lambda done, total: signal.raise_signal(signal.SIGINT),
        )


def test_an_ignored_interrupt_stays_ignored():
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        with stopping.keep_on_interrupt() as stop:
            signal.raise_signal(signal.SIGINT)
        assert not stop.asked
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGINT, before)


def test_another_thread_may_ask():
    asked = []

    def work():
        with stopping.keep_on_interrupt() as stop:
            stop.ask()
            asked.append(stopping.asked())

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert asked == [True]


def test_processes_give_their_results_in_order():
    told = []
    assert in_processes(abs, [-3, -1, -2], processes=2, on_result=told.append) == [3, 1, 2]
    assert sorted(told) == [0, 1, 2]


def test_an_error_in_a_process_is_raised_and_the_processes_end():
    with pytest.raises(TypeError):
        in_processes(abs, [-1, "one"], processes=2)


def test_an_item_that_cannot_be_sent_is_refused():
    with pytest.raises((AttributeError, TypeError), match="pickle"):
        in_processes(abs, [lambda: 1], processes=2)
