"""What unloading, cutting and inverting the head do, and the deck: the tables of docs/expectations.md.

    OMP_NUM_THREADS=1 python docs/figures/make_expectations.py

Variants of the demo boat on foils at best VMG. Upwind in a breeze cant and crew are at the end of their
range: righting moment is what all of them have in common.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from vpp import balance, config, trim
from vpp.boat import Boat, Range
from vpp.equilibrium import solve
from vpp.reporting import EMPTY
from vpp.solved import DOWNWIND, FOIL_BORNE, UPWIND, Conditions

BOAT = Path(__file__).parents[2] / "configs" / "foiling_monohull.toml"
KNOT = 1852.0 / 3600.0
UPWIND_TWS_KN, DOWNWIND_TWS_KN = (10.0, 16.0, 22.0), (10.0, 16.0)
# Behind a variant that would be faster with its jib backed.
MARK = "\N{DAGGER}"
WINDAGE = ("mast", "rigging", "topsides", "deck_edges", "deck_gear", "crew windage", "raised foil windage")


@dataclass(frozen=True, kw_only=True)
class Row:
    """One variant at one condition; SI."""

    variant: str
    vmg: float
    speed: float
    effort: float
    moment: float
    side: float
    drive: float
    induced: float
    profile: float
    windage: float
    water: float


def main() -> None:
    """Solve and print."""
    boats = variants()
    for aim, winds in ((UPWIND, UPWIND_TWS_KN), (DOWNWIND, DOWNWIND_TWS_KN)):
        for wind in winds:
            print(f"\n{aim}, {wind:g} kn\n")
            print(
                "| variant | VMG, kn | against base, kn | CE height, m | heeling moment, kN m "
                "| side force, kN | drive, kN | induced, N | profile, N | windage, N | water drag, N |"
            )
            print("|---|---|---|---|---|---|---|---|---|---|---|")
            rows = found(boats, wind, aim)
            for row in rows:
                print(
                    f"| {row.variant} | {row.vmg / KNOT:.2f} | {(row.vmg - rows[0].vmg) / KNOT:+.3f} | "
                    f"{row.effort:.2f} | {row.moment / 1e3:.1f} | {row.side / 1e3:.2f} "
                    f"| {row.drive / 1e3:.2f} | {row.induced:.0f} | {row.profile:.0f} "
                    f"| {row.windage:.0f} | {row.water:.0f} |"
                )


def variants() -> dict[str, Boat]:
    """The base, options of the file, and two trims that the base's crew would not choose."""
    file = config.load(BOAT)
    base = file.boat("base")
    inverted = file.boat("inverted_head")
    main, jib = base.sails
    no_twist = replace(base, sails=(replace(main, twist=Range(lower=0.0, upper=np.radians(1.0))), jib))
    head = inverted.sails[0]
    full = (*head.camber_full[:3], head.camber_flat[3], head.camber_flat[4])
    # the head's trim then shapes the transition alone: as full as may be, which is the fastest
    held_head = replace(head, camber_full=full, head_camber=Range(lower=1.0, upper=1.0))
    held = replace(inverted, sails=(held_head, jib))
    return {
        "base, head unloaded by twist": base,
        "head kept loaded (twist to 1 deg)": no_twist,
        "head cut": file.boat("cut_head"),
        "head free to invert": inverted,
        "head held inverted": held,
        "half a metre of low luff": file.boat("low_luff"),
        "deck alone lowered": file.boat("deck_only"),
        "taller rig": file.boat("taller_rig"),
    }


def found(boats: dict[str, Boat], tws_kn: float, aim: str) -> list[Row]:
    """Every variant at its own best VMG."""
    count = len(boats)
    asked = Conditions(
        option=np.arange(count),
        tws=np.full(count, tws_kn * KNOT),
        twa=np.full(count, np.nan),
        aim=np.full(count, aim),
    )
    solved = solve(list(boats.values()), asked, branches=(FOIL_BORNE,))
    rows = []
    for i, (name, boat) in enumerate(boats.items()):
        values = {key: float(value[i]) for key, value in solved.quantities.items()}
        force = {part: solved.force[k, :, i] for k, part in enumerate(solved.components)}
        induced, profile = sail_drags(boat, values, tws_kn)
        water = sum(
            -force[part][0]
            for part, medium in zip(solved.components, solved.medium, strict=True)
            if medium == "water" and np.isfinite(force[part][0])
        )
        rows.append(
            Row(
                variant=f"{name} {MARK}" if EMPTY.format(sail="jib") in solved.remark[i] else name,
                vmg=abs(values["vmg"]),
                speed=values["boat_speed"],
                effort=values["ce_height"],
                moment=values["heeling_moment"],
                side=values["side_force"],
                drive=values["drive"],
                induced=induced,
                profile=profile,
                windage=sum(-force[part][0] for part in WINDAGE),
                water=water,
            )
        )
    return rows


def sail_drags(boat: Boat, values: dict[str, float], tws_kn: float) -> tuple[float, float]:
    """Induced and profile drag of both sails along the apparent wind [N]: the strips once more, the second
    time without profile drag, which does not change their circulation.
    """
    asked = Conditions(
        option=np.array([0]),
        tws=np.array([tws_kn * KNOT]),
        twa=np.array([values["twa"]]),
        aim=np.array(["speed"]),
    )
    (fleet,) = trim.fleets_on([boat], [FOIL_BORNE])
    problem = trim.FastestEquilibrium(fleet, trim.freedom([boat], FOIL_BORNE), asked)
    case = np.array([0])
    named = {name: np.array([_value(problem, values, name)]) for name in problem.names}
    named |= {name: fixed[[0]] for name, fixed in problem.free.fixed.items()}
    named["twa"] = asked.twa
    boats, wake = problem.of(case)
    smooth = replace(
        boats.rig, least_drag=0.0 * boats.rig.least_drag, bucket_factor=0.0 * boats.rig.bucket_factor
    )
    along = []
    for rig in (boats.rig, smooth):
        _, loads = balance.strips(
            fleet_layout=problem.layout,
            boats=replace(boats, rig=rig),
            wake=wake,
            wind=problem.wind(named, case),
            state=trim.state_from(named, problem.layout),
        )
        along.append(float(loads.along.sum()))
    return along[1], along[0] - along[1]


def _value(problem: trim.FastestEquilibrium, values: dict[str, float], name: str) -> float:
    """A variable in SI; cambers are reported as depths, and their trim is found again from the range."""
    if not name.endswith("camber"):
        return values[name]
    sail = problem.layout.sails.index(name.split("_")[0])
    part, rig = problem.layout.slices[sail], problem.boats.rig
    if name.endswith("head_camber"):
        flat, full = (each[part][-1, 0] for each in (rig.camber_flat, rig.camber_full))
    else:
        share = rig.share[part][:, 0]
        flat, full = (
            float(np.interp(0.5, share, each[part][:, 0])) for each in (rig.camber_flat, rig.camber_full)
        )
    return (values[name] - flat) / (full - flat) if full > flat else 0.0


if __name__ == "__main__":
    main()
