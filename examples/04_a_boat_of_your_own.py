"""A new option without touching the boat file: how does the gain of a longer luff grow with the length added?

Options are ordinary boats: frozen values that can be replaced. Here the main's foot comes down towards the
deck in steps.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np

import vpp
from vpp.boat import Boat
from vpp.equilibrium import solve
from vpp.solved import UPWIND, Conditions

BOAT = Path(__file__).parent.parent / "configs" / "keelboat.toml"
KNOT = 1852.0 / 3600.0


def with_foot_extension(boat: Boat, extension: float) -> Boat:
    """The boat with its main extended below the foot by some metres."""
    main, *others = boat.sails
    return replace(boat, name=f"{extension:.1f} m", sails=(replace(main, foot_extension=extension), *others))


def main() -> None:
    """Print VMG, height of the centre of effort and heel for each extension in 12 kn."""
    base = vpp.load(BOAT).boat("base")
    boats = [with_foot_extension(base, extension) for extension in (0.0, 0.2, 0.4, 0.6)]
    count = len(boats)
    conditions = Conditions(
        option=np.arange(count),
        tws=np.full(count, 12 * KNOT),
        twa=np.full(count, np.nan),
        aim=np.full(count, UPWIND),
    )
    solved = solve(boats, conditions)
    for i, boat in enumerate(boats):
        vmg_kn = solved.quantities["vmg"][i] / KNOT
        height_m, heel_deg = solved.quantities["ce_height"][i], np.degrees(solved.quantities["heel"][i])
        print(
            f"{boat.name}: {boat.sails[0].area:.1f} m2, VMG {vmg_kn:.3f} kn, "
            f"centre of effort {height_m:.2f} m up, heel {heel_deg:.1f} deg"
        )


if __name__ == "__main__":
    main()
