"""One answer to one question: tests that ask for the same boats in the same conditions share a solve."""

from __future__ import annotations

import importlib
import pickle
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from copy import deepcopy
from typing import Any

import pytest

from vpp.boat import Boat
from vpp.solved import Conditions, Solved
from vpp.solver import stopping


@contextmanager
def solved_once(name: str = "vpp.polar") -> Iterator[None]:
    """What a module has solved is solved for real, but each question only once. Every call gets arrays of its
    own.
    """
    module = importlib.import_module(name)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "solve", _remembering(module.solve))
        yield


def _remembering(solve: Callable[..., Solved]) -> Callable[..., Solved]:
    answers: dict[bytes, Solved] = {}

    def remembered(boats: Sequence[Boat], conditions: Conditions, **asked: Any) -> Solved:
        # what is stopped is a part, and says nothing of the whole
        if stopping.asked():
            return solve(boats, conditions, **asked)
        question = pickle.dumps((tuple(boats), conditions))
        if question not in answers:
            found = solve(boats, conditions, **asked)
            if stopping.asked():
                return found
            answers[question] = found
        return deepcopy(answers[question])

    return remembered
