"""Invented boats and smooth invented results in the shape of real ones, for tests of tables, figures and
commands.

Nothing here is physics. Forces and moments are made to add up to zero, best VMG is searched for on the same
invented speed, and a few conditions fail on purpose.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vpp.boat import Boat, Crew, Environment, Fin, Hull, Margins, PointMass, Range, Rig, Sail, WindageItem
from vpp.config import BoatFile
from vpp.config.rows import Row
from vpp.reporting import ABSENT
from vpp.results.variables import DEGREE, KNOT
from vpp.solved import Conditions, Solved, Strips
from vpp.solver.status import Status

Floats = NDArray[np.float64]

COMPONENTS = (
    "main",
    "jib",
    "mast",
    "rigging",
    "hull windage",
    "crew windage",
    "hull friction",
    "hull residuary",
    "keel",
    "rudder",
    "weight",
    "buoyancy",
    "crew weight",
)
MEDIUM = ("air",) * 6 + ("water",) * 4 + ("gravity", "water", "gravity")

_DRIVE_SHARE = (0.62, 0.46, -0.03, -0.02, -0.02, -0.01)
_DRAG_SHARE = (-0.46, -0.36, -0.13, -0.05)
_SIDE_SHARE = (0.56, 0.38, 0.02, 0.01, 0.02, 0.01)
_WATER_SIDE_SHARE = (0.0, 0.0, -0.82, -0.18)
_HEIGHTS = (6.1, 4.9, 6.5, 5.5, 0.7, 0.9, -0.2, -0.2, -1.0, -0.7)
_FORWARD = (-0.6, 1.6, 0.9, 1.0, 0.0, -1.5, 0.0, 0.0, 0.4, -3.1)


def make_boat(name: str = "base", says: str = "the boat as filed") -> Boat:
    """An invented keelboat of seven and a half metres."""
    sail = Sail(
        name="main",
        foot_height=1.6,
        head_height=10.4,
        foot_extension=0.0,
        extension_chord=0.0,
        tack_x=0.5,
        luff_rake=0.02,
        chord_share=(0.0, 1.0),
        chord=(3.2, 0.6),
        head_cut_from_share=1.0,
        head_cut_chord_share=1.0,
        camber_share=(0.0, 1.0),
        camber_flat=(0.06, 0.04),
        camber_full=(0.13, 0.11),
        camber=Range(lower=0.0, upper=1.0),
        sheet=Range(lower=0.0, upper=1.5),
        twist=Range(lower=0.0, upper=0.5),
        stall_incidence=0.25,
        stall_width=0.05,
        profile_drag_coefficient=0.01,
        drag_bucket_factor=1.0,
        mass_per_area=0.35,
        station_count=12,
    )
    return Boat(
        name=name,
        says=says,
        environment=Environment(
            water_density=1025.0,
            water_viscosity=1.19e-6,
            water_vapour_pressure=1705.0,
            air_density=1.225,
            air_viscosity=1.46e-5,
            wind_exponent=0.11,
            wind_reference_height=10.0,
        ),
        hull=Hull(
            model="systematic_series",
            waterline_length=6.8,
            waterline_beam=2.0,
            canoe_draught=0.35,
            canoe_volume=1.62,
            prismatic_coefficient=0.55,
            buoyancy_centre_share=-0.03,
            wetted_area=11.5,
            waterplane_area=9.6,
            form_factor=0.1,
            heel_resistance_20deg=0.04,
            side_force_model="effective_draught",
            stability_model="wall_sided",
            buoyancy_centre_z=-0.12,
            metacentric_radius=1.15,
            wall_sided_limit=0.6,
        ),
        foils=(),
        fins=(
            Fin(
                name="keel",
                kind="fixed",
                span=1.2,
                root_chord=0.9,
                tip_chord=0.6,
                thickness_ratio=0.12,
                quarter_chord_x=0.4,
                root_z=-0.35,
            ),
        ),
        rig=Rig(
            mast_x=0.5,
            mast_base_height=0.9,
            mast_top_height=10.6,
            mast_mass_per_length=2.2,
            mast_diameter=0.1,
            mast_drag_coefficient=0.8,
            rigging_diameter=0.03,
            rigging_drag_coefficient=1.1,
            deck_height=0.8,
            deck_half_width=1.1,
            gap_leakage=0.3,
        ),
        sails=(sail, replace(sail, name="jib", head_height=8.0, chord=(2.6, 0.1), tack_x=3.2)),
        masses=(
            PointMass(name="hull and deck", mass=700.0, x=-0.1, y=0.0, z=0.3),
            PointMass(name="keel bulb", mass=600.0, x=0.2, y=0.0, z=-1.3),
        ),
        crew=Crew(mass=320.0, arm=Range(lower=0.0, upper=1.3), x=-1.0, z=0.9, drag_area=0.5),
        windage=(
            WindageItem(
                name="hull", frontal_area=1.6, side_area=5.0, drag_coefficient=0.9, x=0.0, height=0.5
            ),
        ),
        margins=Margins(heel=0.55, leeway=0.15, rudder=0.2),
    )


def make_boat_file(*, options: bool = True) -> BoatFile:
    """A base boat and, unless told otherwise, three options."""
    boats = [make_boat()]
    if options:
        boats += [
            make_boat("taller_rig", "mast and luff 0.6 m longer"),
            make_boat("lower_foot", "deck-sweeping foot, 0.5 m lower"),
            make_boat("cut_head", "head narrowed above 80 % of the luff"),
        ]
    return BoatFile(
        path=Path("demo_keelboat.toml"),
        name="Demo keelboat",
        description="invented",
        digest="0a1b2c3d4e5f",
        boats=tuple(boats),
        resolved={boat.name: _rows(boat.name) for boat in boats},
    )


def _rows(option: str) -> tuple[Row, ...]:
    top = Row("rig.mast_top_height_m", 10.6, "m", "demo_keelboat.toml:31", "height of the mast top")
    if option == "taller_rig":
        top = top._replace(value=11.2, origin="option taller_rig, demo_keelboat.toml:90")
    return (
        Row("hull.waterline_length_m", 6.8, "m", "demo_keelboat.toml:12", "length on the waterline"),
        top,
        Row("sail.main.chord_m", (3.2, 0.6), "m", "demo_keelboat.toml:40", "chords from foot to head"),
        Row("rig.gap_leakage_percent", 30.0, "%", "default", "share of the deck's mirror lost in the gap"),
        Row("afloat.metacentric_height_m", 1.234567, "m", "computed", "metacentric height upright"),
    )


def boat_speed_kn(option: str, tws_kn: Floats, twa_deg: Floats) -> Floats:
    """An invented boat speed: it levels off towards a hull speed that a strong following wind raises."""
    angle = np.maximum(twa_deg - 14.0, 0.0) * DEGREE
    potential = tws_kn * (
        1.12 * np.sin(np.minimum(1.02 * angle, math.pi)) ** 0.8 + 0.42 * np.sin(0.5 * angle) ** 2
    )
    top = (
        7.3 + 0.9 * np.maximum(0.0, np.sin((twa_deg - 60.0) * DEGREE)) * np.maximum(0.0, tws_kn - 12.0) / 12.0
    )
    plain = top * np.tanh((potential / top) ** 0.9) ** 0.9
    upwind_share = np.exp(-((twa_deg / 75.0) ** 2))
    gain = {
        "base": 0.0 * tws_kn,
        "taller_rig": 0.016 - 0.0024 * upwind_share * tws_kn,
        "lower_foot": 0.006 + 0.004 * upwind_share,
        "cut_head": -0.012 + 0.0012 * upwind_share * tws_kn,
    }[option]
    return plain * (1.0 + gain)


def best_vmg(option: str, tws_kn: float, aim: str) -> float:
    """The true wind angle in deg of best VMG, searched for in steps of a hundredth of a degree."""
    angles = np.arange(25.0, 80.0, 0.01) if aim == "upwind" else np.arange(110.0, 180.0, 0.01)
    speed = boat_speed_kn(option, np.full_like(angles, tws_kn), angles)
    made_good = speed * np.cos(angles * DEGREE) * (1.0 if aim == "upwind" else -1.0)
    return float(angles[np.argmax(made_good)])


def solve(
    boats: Sequence[Boat],
    conditions: Conditions,
    *,
    processes: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> Solved:
    """Invented results for every condition, whatever the number of processes."""
    count = len(conditions.tws)
    option = np.array([boats[index].name for index in conditions.option])
    tws_kn = np.asarray(conditions.tws) / KNOT
    twa_deg = np.asarray(conditions.twa) / DEGREE
    for index in np.flatnonzero(np.isnan(twa_deg)):
        twa_deg[index] = best_vmg(option[index], round(tws_kn[index], 6), str(conditions.aim[index]))
    status, reason = _failures(option, tws_kn, twa_deg, np.asarray(conditions.aim))
    good = status == Status.CONVERGED
    speed_kn = np.zeros(count)
    for name in np.unique(option):
        of_option = option == name
        speed_kn[of_option] = boat_speed_kn(str(name), tws_kn[of_option], twa_deg[of_option])
    quantities = _quantities(tws_kn, twa_deg, speed_kn)
    force, moment = _budget(quantities)
    quantities["heeling_moment"] = np.abs(quantities["heeling_moment"])
    if progress is not None:
        progress(count // 2, count)
        progress(count, count)
    missing = np.where(good, 0.0, np.nan)
    return Solved(
        boats=tuple(boats),
        conditions=conditions,
        branch=np.full(count, "hull-borne"),
        sail_set=np.full(count, "", dtype=object),
        status=status,
        reason=reason,
        remark=np.array(
            ["heel limit" if wind > 21.0 and ok else "" for wind, ok in zip(tws_kn, good, strict=True)],
            dtype=object,
        ),
        quantities={name: values + missing for name, values in quantities.items()},
        components=COMPONENTS,
        medium=MEDIUM,
        force=force + missing,
        moment=moment + missing,
        strips=_strips(missing),
        iterations=np.full(count, 14),
        constraint_error=np.where(good, 1e-10, 1.0),
        optimality_error=np.where(good, 1e-8, 1.0),
        closure=np.where(good, 1e-10, np.nan),
    )


def _strips(missing: Floats) -> Strips:
    """Three strips a sail, that at the main's head pushed to windward."""
    columns = {
        "height": [3.07, 6.0, 8.93, 2.67, 4.8, 6.93],
        "width": [2.93] * 3 + [2.13] * 3,
        "x": [-0.2, 0.0, 0.2, 2.6, 2.7, 2.8],
        "forward": [40.0, 50.0, -5.0, 30.0, 35.0, 10.0],
        "leeward": [300.0, 280.0, -30.0, 250.0, 200.0, 60.0],
        "incidence": [0.08, 0.1, -0.05, 0.1, 0.1, 0.1],
        "lift_coefficient": [1.1, 1.2, -0.2, 1.2, 1.2, 0.9],
        "chord_angle": [0.1, 0.15, 0.2, 0.15, 0.22, 0.3],
        "camber": [0.1, 0.11, -0.04, 0.1, 0.1, 0.1],
        "nose_angle": [0.0] * 6,
        "wind_speed": [8.5, 8.9, 9.2, 8.4, 8.7, 9.0],
        "wind_angle": [0.40, 0.42, 0.44, 0.39, 0.41, 0.43],
        "flow_angle": [0.18, 0.25, 0.15, 0.25, 0.32, 0.4],
    }
    return Strips(
        sail=("main",) * 3 + ("jib",) * 3,
        **{name: np.array(column)[:, np.newaxis] + missing for name, column in columns.items()},
    )


def _failures(
    option: Any, tws_kn: Floats, twa_deg: Floats, aim: Any
) -> tuple[NDArray[np.int_], NDArray[np.object_]]:
    status = np.full(len(tws_kn), int(Status.CONVERGED))
    pinching = (aim == "speed") & (twa_deg < 33.0) & (tws_kn > 15.0)
    steep = (aim == "speed") & (option == "cut_head") & (twa_deg > 158.0) & (tws_kn > 21.0)
    status[pinching] = int(Status.NO_EQUILIBRIUM)
    status[steep] = int(Status.STEP_LIMIT)
    said = {
        int(Status.CONVERGED): "",
        int(
            Status.NO_EQUILIBRIUM
        ): "No equilibrium: the drive cannot meet the drag; bear away or reduce the wind.",
        int(Status.STEP_LIMIT): "The search ran out of steps; try a neighbouring wind.",
    }
    return status, np.array([said[int(code)] for code in status], dtype=object)


def _quantities(tws_kn: Floats, twa_deg: Floats, speed_kn: Floats) -> dict[str, Floats]:
    tws, twa, speed = tws_kn * KNOT, twa_deg * DEGREE, speed_kn * KNOT
    along, across = tws * np.cos(twa) + speed, tws * np.sin(twa)
    beta, aws = np.arctan2(across, along), np.hypot(along, across)
    pressure = 0.5 * 1.225 * aws**2
    side = 12.0 * pressure * np.cos(0.5 * beta) ** 2 * np.tanh(14.0 / tws_kn)
    heel = 24.0 * DEGREE * np.tanh(side / 1500.0)
    leeway = 4.0 * DEGREE * side / 1500.0 / np.maximum(speed, 1.0) * 2.0
    nothing = np.full_like(tws, np.nan)
    return {
        "twa": twa,
        "boat_speed": speed,
        "vmg": speed * np.cos(twa),
        "aws": aws,
        "awa": beta - leeway,
        "beta": beta,
        "heel": heel,
        "leeway": leeway,
        **dict.fromkeys(ABSENT, nothing),
        "ce_height": 5.2 - 2.0 * heel,
        "righting_moment": 5.6 * side,
        "heeling_moment": 5.6 * side,
        "drive": 38.0 * speed**2,
        "side_force": side,
        "rudder": 0.05 + 0.1 * heel,
        "crew_arm": 1.3 * np.tanh(side / 700.0),
        "main_sheet": 0.75 * beta - 0.1,
        "main_twist": 0.1 + 0.004 * tws_kn,
        "main_camber": 0.13 - 0.003 * tws_kn,
        "main_head_camber": nothing,
        "jib_sheet": 0.7 * beta - 0.05,
        "jib_twist": 0.12 + 0.004 * tws_kn,
        "jib_camber": 0.14 - 0.003 * tws_kn,
        "froude_number": speed / math.sqrt(9.80665 * 6.8),
        "wave_height": np.zeros_like(tws),
    }


def _budget(quantities: dict[str, Floats]) -> tuple[Floats, Floats]:
    drive, side = quantities["drive"], quantities["side_force"]
    count = len(drive)
    force = np.zeros((len(COMPONENTS), 3, count))
    position = np.zeros_like(force)
    force[:10, 0] = np.array(_DRIVE_SHARE + _DRAG_SHARE)[:, np.newaxis] * drive
    force[:10, 1] = np.array(_SIDE_SHARE + _WATER_SIDE_SHARE)[:, np.newaxis] * side
    force[10, 2], force[12, 2] = -1340.0 * 9.80665, -320.0 * 9.80665
    force[11, 2] = -force[10, 2] - force[12, 2]
    position[:10, 0] = np.array(_FORWARD)[:, np.newaxis]
    position[:10, 2] = np.array(_HEIGHTS)[:, np.newaxis]
    position[12, 1] = -quantities["crew_arm"]
    moment = np.cross(position, force, axis=1)
    moment[11] -= moment.sum(axis=0)
    return force, moment
