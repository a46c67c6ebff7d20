"""Status codes and their sentences."""

import pytest

from vpp.solver.status import Status, sentence


def test_codes_are_fixed():
    """Codes are stored in tables and files, so their numbers must not move."""
    assert {status.name: int(status) for status in Status} == {
        "CONVERGED": 0,
        "NO_EQUILIBRIUM": 1,
        "LIMIT_REACHED": 2,
        "STEP_LIMIT": 3,
        "OUTSIDE_MODEL_RANGE": 4,
        "NOT_FINITE": 5,
        "INTERRUPTED": 6,
    }


@pytest.mark.parametrize("status", list(Status))
def test_every_status_has_one_sentence(status):
    text = sentence(status)
    assert text.endswith(".")
    assert text.count(".") == 1
    assert text == sentence(int(status))


@pytest.mark.parametrize("status", [s for s in Status if s is not Status.CONVERGED])
def test_a_failure_says_what_to_try(status):
    assert any(word in sentence(status) for word in ("try", "widen", "choose", "run it again"))


def test_sentences_differ():
    assert len({sentence(status) for status in Status}) == len(Status)


@pytest.mark.parametrize("number", [-1, 7])
def test_a_number_that_is_no_status_is_refused(number):
    with pytest.raises(ValueError, match=str(number)):
        sentence(number)
