"""Tables in Markdown, and pages in which a program keeps them up to date."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Aim:
    """A figure to reach: what was measured, by what it was measured on, None where nothing could be."""

    figure: str
    wanted: str
    measured: Mapping[str, float | None]
    shown_as: str
    is_met: Callable[[float], bool]

    def row(self) -> tuple[str, str, str, str]:
        """Its line in a table; every measurement that misses it is named."""
        told = ", ".join(
            f"{name} {'-' if value is None else self.shown_as.format(value)}"
            for name, value in self.measured.items()
        )
        missed = [name for name, value in self.measured.items() if value is None or not self.is_met(value)]
        if not self.measured:
            return self.figure, self.wanted, "-", "not measured"
        return self.figure, self.wanted, told, f"missed: {', '.join(missed)}" if missed else "met"


def aims(every: Sequence[Aim]) -> str:
    """The figures to reach and what came of them."""
    return table(("figure", "wanted", "measured", "met"), [aim.row() for aim in every], left=4)


def table(header: Sequence[str], rows: Sequence[Sequence[str]], *, left: int = 1) -> str:
    """A table, the first `left` columns flush left and the others flush right."""
    rule = [":--" if column < left else "--:" for column in range(len(header))]
    return "\n".join("| " + " | ".join(line) + " |" for line in (header, rule, *rows))


def replace_block(page: Path, name: str, text: str) -> None:
    """Put a text between the marks of a page. Raises ValueError where the page lacks them."""
    begin, end = f"<!-- measured: {name} -->", f"<!-- end of {name} -->"
    before, found, rest = page.read_text(encoding="utf-8").partition(begin)
    _, ended, after = rest.partition(end)
    if not found or not ended:
        raise ValueError(f"{page} has no place for {name}: it needs {begin} and {end}")
    page.write_text(f"{before}{begin}\n\n{text}\n\n{end}{after}", encoding="utf-8")
