"""Fill the tables of docs/trust.md from tests/trust/results, so that no number is typed by hand.

    python tests/trust/page.py [--check]

Each table stands between `<!-- table NAME -->` and `<!-- end -->`, where NAME is a file of the results.
`--check` changes nothing and fails where the page is not that of the results.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.trust import shared

PAGE = shared.ROOT / "docs" / "trust.md"
PLACE = re.compile(r"(<!-- table (\w+) -->\n).*?(<!-- end -->)", re.DOTALL)
MOST_ROWS = 60
NOT_ON_PAGE = ("residual", "first_order", "closure", "own_state", "better_state", "refused", "scipy_residual")
# Of these tables only the rows that are not in order are shown.
IN_ORDER = {"optimality": ("verdict", "within")}


def markdown(name: str) -> str:
    """A table of the results as Markdown; a sentence where it has not been written or holds nothing."""
    path = shared.RESULTS / f"{name}.csv"
    if not path.exists():
        return "Not run yet.\n"
    rows = shared.read(path)
    if name in IN_ORDER:
        column, good = IN_ORDER[name]
        rows = [row for row in rows if row[column] != good]
    rows = [row for row in rows if any(row.values())]
    if not rows:
        return "None.\n"
    names = [each for each in rows[0] if each not in NOT_ON_PAGE and any(row[each] for row in rows)]
    lines = [names, ["---"] * len(names), *([row[each] for each in names] for row in rows[:MOST_ROWS])]
    table = "".join(f"| {' | '.join(cell.replace('_', ' ') for cell in line)} |\n" for line in lines)
    left = len(rows) - MOST_ROWS
    return table + (f"\n{left} more are in `tests/trust/results/{name}.csv`.\n" if left > 0 else "")


def filled(page: str) -> str:
    """The page with its tables anew."""
    return PLACE.sub(lambda found: f"{found[1]}\n{markdown(found[2])}\n{found[3]}", page)


def main() -> None:
    """Fill, or check."""
    page = PAGE.read_text(encoding="utf-8")
    new = filled(page)
    if sys.argv[1:] == ["--check"]:
        sys.exit(0 if new == page else "docs/trust.md is not that of the results: run tests/trust/page.py")
    PAGE.write_text(new, encoding="utf-8")


if __name__ == "__main__":
    main()
