"""What is every way to set up a rig worth upwind on foils, in little and in much wind?

Solves the options of two files, the demo boat's own and those of its rig alone, for the best VMG upwind in 10
and 18 kn, and prints what each gains over the base boat, with the centre of effort that it leads to.
"""

from pathlib import Path

import numpy as np
import pandas as pd

import vpp
from vpp.results.variables import KNOT
from vpp.solved import FOIL_BORNE, UPWIND, Conditions
from vpp.wardrobe import solve

CONFIGS = Path(__file__).parent.parent / "configs"
FILES = ("foiling_monohull.toml", "foiling_rigs.toml")
NOT_OF_THE_RIG = ("more_cant", "more_crew", "low_and_cut")
TWS_KN = np.array([10.0, 18.0])


def gains(file: str) -> pd.DataFrame:
    """Gain in VMG [kn] and centre of effort [m] of every option of the rig in a file, wind by wind."""
    boats = [boat for boat in vpp.load(CONFIGS / file).boats if boat.name not in NOT_OF_THE_RIG]
    tws, option = np.tile(TWS_KN * KNOT, len(boats)), np.arange(len(boats)).repeat(len(TWS_KN))
    asked = Conditions(option=option, tws=tws, twa=np.full(len(tws), np.nan), aim=np.full(len(tws), UPWIND))
    found = solve(boats, asked, branches=(FOIL_BORNE,)).quantities
    vmg, height = (found[name].reshape(-1, len(TWS_KN)) for name in ("vmg", "ce_height"))
    shown = {f"gain at {tws:.0f} kn, kn": (vmg[:, i] - vmg[0, i]) / KNOT for i, tws in enumerate(TWS_KN)}
    shown |= {f"centre of effort at {tws:.0f} kn, m": height[:, i] for i, tws in enumerate(TWS_KN)}
    return pd.DataFrame(shown, index=[boat.name for boat in boats])


def main() -> None:
    """Print one table over both files, best gain in much wind first."""
    of_files = [gains(file) for file in FILES]
    table = pd.concat([of_files[0], of_files[1].drop(index="base")])
    print(table.sort_values(table.columns[1], ascending=False).round(2).to_string())


if __name__ == "__main__":
    main()
