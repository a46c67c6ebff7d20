"""What can be wrong with a boat file, as values that carry their own sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One thing that is wrong, and where.

    `str()` gives one line: `file:line: key = given: wrong; allowed: ...; hint`. Empty parts are left out.
    """

    file: str
    line: int | None = None
    key: str = ""
    given: str = ""
    wrong: str
    allowed: str = ""
    hint: str = ""

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        subject = " = ".join(part for part in (self.key, self.given) if part)
        head = ": ".join(part for part in (place, subject, self.wrong) if part)
        allowed = f"allowed: {self.allowed}" if self.allowed else ""
        text = "; ".join(part for part in (head, allowed, self.hint) if part)
        return "".join(letter if letter.isprintable() else " " for letter in text)


class BoatFileError(ValueError):
    """A boat file that cannot be used. `problems` holds all that is wrong, in the order of the lines."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__(tuple(problems))
        self.problems: tuple[Problem, ...] = tuple(problems)

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)
