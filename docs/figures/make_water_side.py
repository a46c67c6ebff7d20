"""Write the table of docs/water_side.md between the page's marks: what the water's options are worth.

    OMP_NUM_THREADS=1 python docs/figures/make_water_side.py

Run from the root of the repository. Half a minute.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pandas as pd

import vpp

HERE = Path(__file__).parent
PAGE = HERE.parent / "water_side.md"
BOAT = HERE.parents[1] / "configs" / "keelboat_water.toml"
WINDS, REACH = (6.0, 12.0, 18.0), 90.0
MINUS = "\N{MINUS SIGN}"


def main() -> None:
    """Compare the options and fill the page."""
    file = vpp.load(BOAT)
    gains = vpp.compare(file, tws_kn=WINDS, twa_deg=[REACH], processes=1).gain_frame()
    says = {boat.name: boat.says for boat in file.boats}
    lines = [
        "| option | what it is | upwind 6, 12, 18 kn | reach 6, 12, 18 kn | downwind 6, 12, 18 kn |",
        "|---|---|---|---|---|",
        *(row(name, says[name], of) for name, of in gains.groupby("option", sort=False)),
    ]
    page = PAGE.read_text(encoding="utf-8")
    filled = re.sub(
        r"(% begin gains\n\n).*?(\n\n% end gains)", lambda m: m[1] + "\n".join(lines) + m[2], page, flags=re.S
    )
    PAGE.write_text(filled, encoding="utf-8")


def row(name: object, says: str, gains: pd.DataFrame) -> str:
    """One line of the table."""
    cells = [", ".join(shown(gains, aim)) for aim in ("upwind", "speed", "downwind")]
    return f"| `{name}` | {says} | " + " | ".join(cells) + " |"


def shown(gains: pd.DataFrame, aim: str) -> Iterator[str]:
    """The gain of an aim in every wind, kn."""
    for value in gains[gains["aim"] == aim].sort_values("tws_kn")["gain_kn"]:
        text = f"{value:+.2f}"
        yield "0" if text in ("+0.00", "-0.00") else text.replace("-", MINUS)


if __name__ == "__main__":
    main()
