"""One newton of side force, from the sail to the foil: prints the tables of docs/theory/one_newton.md.

    OMP_NUM_THREADS=1 python docs/figures/make_one_newton.py

The boat flies at its best VMG upwind. The sails press with one newton more across the course at their centre
of effort, at the same speed, heel and pitch; what they exert already keeps its direction to the course and
its places on the boat. Leeway, cant, rudder, flap, elevator and ride height, linear about that state, bring
side force, lift and the three moments back into balance and keep the depth of the foil's shallower tip, whose
limit is active. What the water's drag along the course grows by is the price. Beside it stands the price that
the solver's multipliers give, in which the sails' trim, the windage and the limits answer as well.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from vpp import balance, config, trim
from vpp.optima import SETTINGS
from vpp.solved import FOIL_BORNE, SPEED, UPWIND, Conditions
from vpp.solver.interior_point import minimise
from vpp.starts import FLYING, FLYING_FLAT

BOAT = Path(__file__).parents[2] / "configs" / "foiling_monohull.toml"
TWS_KN, OTHER_TWS_KN = 14.0, (10.0, 18.0)
KNOT = 1852.0 / 3600.0
MOVES = ("leeway", "cant", "rudder", "flap", "elevator", "ride_height")
AXES = ("leeward", "up", "roll", "pitch", "yaw", "forward")
SIDE, UP, ROLL, PITCH, YAW, FORWARD = range(6)
STEP = 1e-5
COLUMNS = "side force, N | lift, N | drag, N | roll moment, N m |"
PARTS = {
    "foil's arm": ("foil arm",),
    "foil's wing, inboard half": ("foil inboard",),
    "foil's wing, outboard half": ("foil outboard",),
    "rudder's blade": ("rudder arm",),
    "elevator": ("rudder inboard", "rudder outboard"),
    "weight of the working foil": ("foil weight",),
}
TURNED = "sails and windage, as the boat turns under them"
CASE = np.array([0])


def main() -> None:
    """Solve, press and print."""
    boat = config.load(BOAT).boat("base")
    for tws_kn in (TWS_KN, *OTHER_TWS_KN):
        asked = Conditions(
            option=CASE, tws=np.array([tws_kn * KNOT]), twa=np.array([np.nan]), aim=np.array([UPWIND])
        )
        (fleet,) = trim.fleets_on([boat], [FOIL_BORNE])
        free = trim.freedom([boat], FOIL_BORNE)
        problem = trim.FastestEquilibrium(fleet, free, asked)
        solution = min(
            (minimise(problem, trim.start(problem, how), settings=SETTINGS) for how in (FLYING, FLYING_FLAT)),
            key=lambda found: float(found.objective[0]),
        )
        state = problem.named(solution.x, CASE)
        there = replace(asked, twa=state["twa"], aim=np.array([SPEED]))
        problem = trim.FastestEquilibrium(fleet, free, there)
        print(f"\nTWS {tws_kn:g} kn")
        effort = print_state(problem, state, boat)
        pressed = newton(float(state["heel"][0]), effort, boat.rig.mast_x)
        print_price(problem, solution.multipliers[:, 0], pressed)
        if tws_kn == TWS_KN:
            print_answer(problem, state, pressed)


def newton(heel: float, effort: float, x: float) -> Any:
    """The load of one newton normal to the mast at a height along it, in the order of AXES."""
    return np.array([np.cos(heel), -np.sin(heel), -effort, 0.0, x, 0.0])


def loads(problem: trim.FastestEquilibrium, state: dict[str, Any]) -> tuple[dict[str, Any], Any, float]:
    """Loads by component, those of the air together, and the depth of the foil's shallower tip."""
    components, at_work = problem.loads(state, CASE)
    margins = balance.foil_margins(problem.layout, at_work)
    found = {
        one.name: np.array([float(np.ravel(np.asarray(getattr(one.load, axis)))[0]) for axis in AXES])
        for one in components
    }
    air = sum(found[one.name] for one in components if one.medium == "air")
    return found, air, float(np.ravel(margins[0].value)[0])


def to_course(load: Any, leeway: float) -> Any:
    """A load with its horizontal force along and across the course; its moments stay about the boat's."""
    turned = load.copy()
    turned[SIDE] = load[SIDE] * np.cos(leeway) - load[FORWARD] * np.sin(leeway)
    turned[FORWARD] = load[FORWARD] * np.cos(leeway) + load[SIDE] * np.sin(leeway)
    return turned


def slopes(
    problem: trim.FastestEquilibrium, state: dict[str, Any], name: str
) -> tuple[dict[str, Any], float]:
    """How each part's load and the tip's depth grow with one of the moves, by central differences."""
    ends = []
    for sign in (1.0, -1.0):
        moved = {**state, name: state[name] + sign * STEP}
        found, _, depth = loads(problem, moved)
        leeway = float(moved["leeway"][0])
        ends.append(
            (
                {part: sum(to_course(found[one], leeway) for one in names) for part, names in PARTS.items()},
                depth,
            )
        )
    grown = {part: (ends[0][0][part] - ends[1][0][part]) / (2.0 * STEP) for part in PARTS}
    _, air, _ = loads(problem, state)
    # a force that keeps its direction turns against a boat that turns, and with it its moments' axes
    turn = np.array([0.0, 0.0, -air[PITCH], air[ROLL], 0.0, 0.0])
    grown[TURNED] = turn if name == "leeway" else np.zeros(6)
    return grown, (ends[0][1] - ends[1][1]) / (2.0 * STEP)


def print_answer(problem: trim.FastestEquilibrium, state: dict[str, Any], pressed: Any) -> None:
    """What answers the newton, by move and by part."""
    grown = {name: slopes(problem, state, name) for name in MOVES}
    rows = [[sum(parts.values())[axis] for parts, _ in grown.values()] for axis in range(FORWARD)]
    matrix = np.array([*rows, [depth for _, depth in grown.values()]])
    moved = np.linalg.solve(matrix, -np.append(pressed[:FORWARD], 0.0))
    print(f"\n| move | per kN | {COLUMNS}\n|---|---|---|---|---|---|")
    for name, step in zip(MOVES, moved, strict=True):
        size = f"{1e6 * step:+.0f} mm" if name == "ride_height" else f"{np.degrees(step) * 1e3:+.2f} deg"
        print(row(f"{name} | {size}", step * sum(grown[name][0].values())))
    print(f"\n| part | {COLUMNS}\n|---|---|---|---|---|")
    total = np.zeros(6)
    for part in (*PARTS, TURNED):
        change = sum(step * grown[name][0][part] for name, step in zip(MOVES, moved, strict=True))
        total += change
        print(row(part, change))
    print(row("together", total))
    print(row("the newton itself", pressed))
    for height in (1.35, 5.0, -pressed[ROLL], 12.0):
        at = pressed.copy()
        at[ROLL] = -height
        answer = np.linalg.solve(matrix, -np.append(at[:FORWARD], 0.0))
        drag = -sum(
            step * sum(grown[name][0].values())[FORWARD] for name, step in zip(MOVES, answer, strict=True)
        )
        print(f"a newton at {height:.2f} m: drag {drag:+.3f} N")


def row(name: str, load: Any) -> str:
    """One row of the table."""
    return f"| {name} | {load[SIDE]:+.2f} | {load[UP]:+.2f} | {-load[FORWARD]:+.2f} | {load[ROLL]:+.2f} |"


def print_price(problem: trim.FastestEquilibrium, multipliers: Any, pressed: Any) -> None:
    """What the newton costs by the solver's multipliers, in newtons of drive."""
    count = problem.equality_count
    price = multipliers[:count] / problem.residual_scale[:, 0]
    price = dict(zip(problem.layout.equations, -price / price[0], strict=True))
    parts = {
        "side force": price["sway"] * pressed[SIDE],
        "roll": price["roll"] * pressed[ROLL],
        "lift and yaw": price["heave"] * pressed[UP] + price["yaw"] * pressed[YAW],
    }
    told = ", ".join(f"{name} {value:.3f}" for name, value in parts.items())
    print(f"price by the multipliers: {sum(parts.values()):.3f} N of drive: {told}")


def print_state(problem: trim.FastestEquilibrium, state: dict[str, Any], boat: Any) -> float:
    """The state and what every component but the bluff bodies exerts; the height of the centre of effort."""
    boats, wake = problem.of(CASE)
    _, strips = balance.strips(
        fleet_layout=problem.layout,
        boats=boats,
        wake=wake,
        wind=problem.wind(state, CASE),
        state=trim.state_from(state, problem.layout),
    )
    effort = float((strips.leeward * boats.rig.height).sum() / strips.leeward.sum())
    found, air, depth = loads(problem, state)
    leeway = float(state["leeway"][0])
    together = to_course(air, leeway)
    angles = {name: f"{np.degrees(state[name][0]):.2f}" for name in (*MOVES[:-1], "heel", "pitch", "twa")}
    print(
        f"speed {state['boat_speed'][0] / KNOT:.2f} kn, ride height {state['ride_height'][0]:.3f} m, crew "
        f"arm {state['crew_arm'][0]:.2f} m, tip depth {depth:.3f} m, centre of effort {effort:.2f} m, "
        f"side force {together[SIDE]:.0f} N, drive {together[FORWARD]:.0f} N, weight "
        f"{boat.total_mass * boat.environment.gravity:.0f} N, angles [deg] {angles}"
    )
    for part, names in PARTS.items():
        load = to_course(sum(found[one] for one in names), leeway)
        print(
            f"{part}: side force {load[SIDE]:.0f} N, lift {load[UP]:.0f} N, drag {-load[FORWARD]:.0f} N, "
            f"roll {load[ROLL]:.0f} N m"
        )
    return effort


if __name__ == "__main__":
    main()
