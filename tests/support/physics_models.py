"""Every model of `vpp.physics` that carries derivatives, as a function of numbers in a range with the seams
of its pieces, and a way to see which functions ran with derivatives.
"""

from __future__ import annotations

import dataclasses
import inspect
import math
import re
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import FrameType
from typing import Any

import numpy as np
from numpy.typing import NDArray

import vpp.physics
from tests.support import foiler, keelboat, planing_skiff
from vpp import fleets, foiling
from vpp.foiling import Attitude
from vpp.physics import (
    current,
    fins,
    foil_geometry,
    foils,
    hull,
    hull_form,
    hull_tables,
    hydrofoils,
    interpolation,
    planing,
    planing_handover,
    righting_curves,
    sail_sections,
    sail_tables,
    sails,
    sections,
    smoothing,
    stability,
    twin_hull,
    waves,
    wind,
    windage,
)
from vpp.physics.planing_handover import HullLoad
from vpp.physics.sails import SailTrim, Wind
from vpp.physics.ship_motions import PitchingHull
from vpp.solver.jets import Jet

Floats = NDArray[np.float64]
Pair = tuple[float, float]

GRAVITY, DENSITY, VISCOSITY = 9.80665, 1025.0, 1.19e-6
WATER = {"water_density": DENSITY, "gravity": GRAVITY}
DEGREE = math.pi / 180.0
PHYSICS = Path(vpp.physics.__file__).parent


@dataclass(frozen=True, kw_only=True)
class Model:
    """A function of arrays (conditions,), one for each of its `ranges`, that gives one array, a tuple or a
    dataclass of them. `seams` are (argument, value) where pieces of it join.
    """

    run: Callable[..., Any]
    ranges: tuple[Pair, ...]
    seams: tuple[tuple[int, float], ...] = ()


def by(function: Callable[..., Any], *names: str, **fixed: Any) -> Callable[..., Any]:
    """A function of some of its keywords, in order, the others held."""
    return lambda *values: function(**dict(zip(names, values, strict=True)), **fixed)


def parts(result: Any) -> list[Any]:
    """The arrays of a result, tuples and dataclasses opened."""
    if isinstance(result, tuple | list):
        return [part for item in result for part in parts(item)]
    if dataclasses.is_dataclass(result):
        return [part for field in dataclasses.fields(result) for part in parts(getattr(result, field.name))]
    return [result]


# --- which functions carry derivatives ----------------------------------------------------------------------


def takes_arrays(module: Any) -> set[str]:
    """Public functions of a module of physics whose signature speaks of arrays of any library."""
    found = set()
    for name, function in vars(module).items():
        own = inspect.isfunction(function) and function.__module__ == module.__name__
        if own and not name.startswith("_"):
            words = " ".join(str(note) for note in inspect.get_annotations(function).values())
            if re.search(r"\bArray\b", words):
                found.add(f"{module.__name__.removeprefix('vpp.physics.')}.{name}")
    return found


def ran_with_derivatives(runs: Iterable[Callable[[], Any]]) -> set[str]:
    """Functions of `vpp.physics`, `module.function`, that were called with an array with derivatives."""
    found: set[str] = set()

    def note(frame: FrameType, event: str, _: Any) -> None:
        code = frame.f_code
        if event != "call" or not code.co_filename.startswith(str(PHYSICS)):
            return
        name = f"{Path(code.co_filename).stem}.{code.co_qualname}"
        if name not in found and any(map(_has_derivatives, frame.f_locals.values())):
            found.add(name)

    before = sys.getprofile()
    sys.setprofile(note)
    try:
        for run in runs:
            run()
    finally:
        sys.setprofile(before)
    return found


def _has_derivatives(value: Any) -> bool:
    if isinstance(value, tuple | list | dict):
        return any(map(_has_derivatives, value.values() if isinstance(value, dict) else value))
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return any(map(_has_derivatives, vars(value).values()))
    return isinstance(value, Jet)


# --- what models need ---------------------------------------------------------------------------------------

SPEEDS = np.array([1.0, 2.0, 2.6, 3.3, 4.0, 5.0])
HEELS = np.radians([0.0, 8.0, 17.0, 30.0])
RESISTANCE = np.array([40.0, 190.0, 350.0, 820.0, 2100.0, 6000.0])[:, None] * np.array([1.0, 1.02, 1.1, 1.3])
ANGLE = np.radians([30.0, 40.0, 60.0, 75.0, 90.0, 120.0, 150.0, 180.0])
LIFT = np.array([0.4, 0.75, 1.35, 1.5, 1.45, 1.0, 0.4, 0.0])
DRAG = np.array([0.24, 0.28, 0.46, 0.58, 0.7, 0.9, 1.0, 1.0])
RIGHTING = righting_curves.gz_curve(
    heel=np.radians([0.0, 10.0, 20.0, 35.0, 60.0]),
    righting_arm=[0.0, 0.2, 0.38, 0.55, 0.6],
    mass_centre_z=-0.3,
)
SLENDER = {
    "waterline_length": 8.0,
    "waterline_beam": 0.8,
    "canoe_draught": 0.5,
    "waterline_exponent": 2.0,
    "section_exponent": 2.5,
}
DRAWN = hull_form.drawn_volume(**SLENDER)
SERIES = {
    "waterline_length": 8.6,
    "waterline_beam": 2.7,
    "canoe_draught": 0.6,
    "canoe_volume": 5.4,
    "prismatic_coefficient": 0.56,
    "buoyancy_centre_share": -0.03,
}
LOADS = ("friction", "waves", "planing_drag", "up", "roll", "pitch")
SPLINE = interpolation.cubic_coefficients(values=[0.0, 1.0, 0.5, 2.0, 1.5, 1.7])
KNOTS = np.array([0.0, 0.7, 1.1, 2.3, 3.0])
UNEVEN = interpolation.uneven_cubic_coefficients(knots=KNOTS, values=[0.0, 1.0, 0.5, 2.0, 1.5])


@cache
def resistance_rows() -> hull_tables.ResistanceTable:
    return hull_tables.resistance_table(
        speed=SPEEDS, heel=HEELS, resistance=RESISTANCE, boat_displacement=3000.0
    )


@cache
def series_curve() -> hull.ResiduaryCurve:
    return hull.residuary_curve(**SERIES)


@cache
def slender_columns() -> hull_form.Columns:
    built = hull_form.hull_columns(**SLENDER)
    return hull_form.Columns(**{name: value[:, None] for name, value in vars(built).items()})


@cache
def slender_waves() -> hull_form.WaveTable:
    return _for_conditions(hull_form.wave_table(**SLENDER))


@cache
def twin_waves() -> twin_hull.TwinWaveTable:
    built = twin_hull.twin_wave_table(spacing=2.4, **SLENDER)
    return twin_hull.TwinWaveTable(own=_for_conditions(built.own), added=_for_conditions(built.added))


def _for_conditions(table: hull_form.WaveTable) -> hull_form.WaveTable:
    """One hull for all conditions."""
    return dataclasses.replace(table, hull=None)


@cache
def in_waves() -> Floats:
    lines = PitchingHull(
        waterline_length=8.6,
        waterline_beam=2.7,
        canoe_draught=0.645,
        volume=5.4,
        prismatic_coefficient=0.56,
        pitch_gyradius=2.15,
    )
    head = waves.head_waves(hull=lines)
    return waves.sea_coefficients(waves=head, peak_period=np.array([4.0]), gravity=GRAVITY)[..., 0]


@cache
def rig() -> fleets.Fleet:
    return fleets.fleet([keelboat.turning_mast(keelboat.coarse(keelboat.base(), 5))])


def column() -> hull_form.Columns:
    """A column with a level bottom in the drawn water plane."""
    names = [field.name for field in dataclasses.fields(hull_form.Columns)]
    return hull_form.Columns(**{name: np.full((1, 1), float(name == "plan_area")) for name in names})


def reynolds_of_excess(excess: float) -> float:
    """Reynolds number at which the rough line of the model exceeds the smooth one by a share."""
    rough = hull.rough_line_coefficient(length=6.0, roughness=3e-5)
    return 10.0 ** (2.0 + math.sqrt(0.075 * (1.0 + excess) / rough))


# --- models of more than one function -----------------------------------------------------------------------


def air(*, twa: Any, tws: Any = 7.0, ride_height: Any = 0.0) -> Wind:
    return Wind(
        true_wind_speed=tws,
        true_wind_angle=twa,
        exponent=0.11,
        profile_height=10.0,
        air_density=1.225,
        ride_height=ride_height,
    )


def table_force(twa: Any, boat_speed: Any, leeway: Any, heel: Any, power: Any) -> Any:
    sail = sail_tables.TableSailArrays(
        curves=sail_tables.table_curves(angle=ANGLE, lift=LIFT, drag=DRAG),
        area=75.0,
        span=13.0,
        centre_height=10.0,
        centre_x=2.0,
    )
    force = sail_tables.table_sail_force(
        sail=sail, power=power, wind=air(twa=twa), boat_speed=boat_speed, leeway=leeway, heel=heel
    )
    return force.forward, force.leeward


def rig_loads(
    twa: Any, boat_speed: Any, heel: Any, ride_height: Any, sheet: Any, twist: Any, camber: Any, rotation: Any
) -> Any:
    """Main and jib behind a turning mast, jib held."""
    count = np.shape(getattr(twa, "value", twa))[0]
    boats, operator = rig().select(np.zeros(count, dtype=np.intp))
    held = np.full(count, 0.5)
    flow = sails.strip_flow(
        geometry=boats.rig,
        sails=rig().layout.slices,
        trims=(
            SailTrim(sheet=sheet, twist=twist, camber=camber, head_camber=camber, foot_camber=held),
            SailTrim(sheet=0.6 * held, twist=0.3 * held, camber=held, head_camber=held),
        ),
        wind=air(twa=twa, tws=np.full(count, 7.0), ride_height=ride_height),
        boat_speed=boat_speed,
        leeway=0.1 * held,
        heel=heel,
        mast_rotation=rotation,
    )
    loads = sails.strip_loads(geometry=boats.rig, operator=operator, flow=flow, air_density=boats.air_density)
    sums = np.stack([np.ones_like(boats.rig.height), boats.rig.height, boats.rig.x]).transpose(2, 0, 1)
    summed = sails.strip_sums(
        geometry=boats.rig, operator=operator, flow=flow, air_density=boats.air_density, sums=sums
    )
    return loads.along, loads.across, loads.forward, loads.leeward, summed


def foil_loads(
    boat_speed: Any, leeway: Any, heel: Any, pitch: Any, ride_height: Any, cant: Any, flap: Any, rudder: Any
) -> Any:
    """The canting foil and the rudder foil of the demo boat, through all depths."""
    count = np.shape(getattr(boat_speed, "value", boat_speed))[0]
    arrays, layout = foiler.arrays(count), fleets.layout(foiler.base())
    attitude = Attitude(boat_speed=boat_speed, leeway=leeway, heel=heel, pitch=pitch, ride_height=ride_height)
    found = []
    for each, foil in zip(layout.foils, arrays.foils, strict=True):
        turned = cant if each.kind == foiling.CANTING_PAIR else 0.0
        place = foiling.foil_place(layout=each, foil=foil, attitude=attitude, cant=turned)
        loads = foiling.foil_loads(
            layout=each, foil=foil, at=place, attitude=attitude, water=arrays.water, rudder=rudder, flap=flap
        )
        panels = foil_geometry.panels(at=place, panel_count=4, heel=heel, pitch=pitch)
        wet = foil_geometry.immersed_span(at=place, panel_count=4)
        found.append((*(getattr(loads, name) for name in FOIL_LOADS), panels.depth, panels.forward, wet))
    return found


FOIL_LOADS = ("force_x", "force_y", "force_z", "moment_x", "moment_y", "moment_z", "cavitation_margin")


def rough_water(speed: Any, pitch: Any, heel: Any, ride_height: Any) -> Any:
    """The skiff's water, floating, planing and handed over."""
    found = planing_skiff.water(speed, pitch, heel, ride_height)
    return [
        getattr(load, name) for load in (found.planing, found.whole) for name in LOADS if name != "friction"
    ]


def handed(speed: Any, floats: Any, planes: Any) -> Any:
    loads = (HullLoad(**{name: value for name in LOADS}) for value in (floats, planes))
    share = planing_handover.planing_share(speed=speed, volume=0.26, gravity=GRAVITY)
    return planing_handover.handed_over(share=share, afloat=next(loads), planing=next(loads))


def afloat(ride_height: Any, heel: Any, pitch: Any) -> Any:
    return hull_form.buoyancy(
        columns=slender_columns(), ride_height=ride_height, heel=heel, pitch=pitch, **WATER
    )


def plate(incidence: Any, camber: Any) -> Any:
    """A stalled section joined to a stall that moves with its camber."""
    return sections.stalled_plate(
        incidence=incidence,
        stall_incidence=0.2 + 0.1 * camber,
        stall_lift=1.1 + camber,
        stall_drag=0.05 + 0.1 * camber,
        drag_maximum=1.2,
    )


def to_body_and_back(x: Any, y: Any, z: Any, heel: Any, pitch: Any) -> Any:
    forward, leeward, up = foil_geometry.body_to_horizontal(x=x, y=y, z=z, heel=heel, pitch=pitch)
    back = foil_geometry.horizontal_to_body(
        forward=forward * forward, leeward=leeward, up=up, heel=heel, pitch=pitch
    )
    return forward, leeward, up, back


SECTION = {"stall_incidence": 0.16, "stall_width": 0.025}
FULL_SECTION = {
    **SECTION,
    "least_drag": 0.02,
    "bucket_factor": 0.02,
    "drag_maximum": 1.2,
    "tail_ratio": 0.8,
    "camber_drag": 0.01,
}
STALL = sections.shedding_limits(camber=0.1, stall_incidence=0.16)
MEAN_LINE = sail_sections.mean_line(hinge_share=0.12, draft_share=0.45)
CHORDS = (0.5, 0.3)
FROUDE = math.sqrt(GRAVITY * 8.6)
TRANSOM = planing_skiff.BOTTOM

MODELS: dict[str, Model] = {
    # wind and current
    "power law": Model(
        run=by(wind.power_law_profile, "height", exponent=0.11, reference_height=10.0), ranges=((1.0, 30.0),)
    ),
    "log law": Model(
        run=by(wind.log_law_profile, "height", roughness_length=2e-4, reference_height=10.0),
        ranges=((1.0, 30.0),),
    ),
    "apparent wind": Model(
        run=by(wind.apparent_wind, "true_wind_speed", "true_wind_angle", "boat_speed"),
        ranges=((2.0, 15.0), (0.3, 3.1), (2.0, 12.0)),
    ),
    "wind on a heeled span": Model(
        run=lambda *x: sails.wind_at(
            height=x[4], wind=air(twa=x[0], ride_height=x[5]), boat_speed=x[1], leeway=x[2], heel=x[3]
        ),
        ranges=((0.3, 3.1), (1.0, 12.0), (-0.2, 0.2), (-0.5, 0.9), (2.0, 25.0), (0.0, 2.0)),
    ),
    "bluff body": Model(
        run=by(
            windage.bluff_body_force,
            "from_ahead",
            "to_leeward",
            frontal_area=1.3,
            side_area=4.0,
            drag_coefficient=0.7,
            air_density=1.2,
        ),
        ranges=((-6.0, 15.0), (0.5, 15.0)),
    ),
    "wind over a current": Model(
        run=by(current.sailing_wind, "ground_wind_speed", "current_speed", "current_set"),
        ranges=((3.0, 12.0), (0.0, 1.5), (-3.0, 3.0)),
    ),
    "over ground": Model(
        run=by(current.over_ground, "boat_speed", "course_angle", "current_speed", "current_set"),
        ranges=((2.0, 8.0), (0.3, 3.0), (0.0, 1.5), (-3.0, 3.0)),
    ),
    # smooth corners and curves
    "ramp": Model(
        run=by(smoothing.smooth_ramp, "value", width=0.3), ranges=((-1.0, 1.0),), seams=((0, -0.3), (0, 0.3))
    ),
    "clamp": Model(
        run=by(smoothing.smooth_clamp, "value", low=-0.5, high=0.6, width=0.2),
        ranges=((-1.0, 1.0),),
        seams=((0, -0.7), (0, -0.3), (0, 0.4), (0, 0.8)),
    ),
    "floor": Model(
        run=by(smoothing.smooth_floor, "value", floor=0.1, width=0.4),
        ranges=((-1.0, 1.0),),
        seams=((0, 0.1), (0, 0.5)),
    ),
    "step": Model(run=foil_geometry.smooth_step, ranges=((-2.0, 2.0),), seams=((0, -1.0), (0, 1.0))),
    "even spline": Model(
        run=by(interpolation.piecewise_cubic, "x", start=0.0, step=0.5, coefficients=SPLINE),
        ranges=((0.1, 2.4),),
        seams=tuple((0, 0.5 * i) for i in range(1, 5)),
    ),
    "uneven spline": Model(
        run=by(interpolation.uneven_cubic, "x", knots=KNOTS, coefficients=UNEVEN),
        ranges=((0.1, 2.9),),
        seams=tuple((0, float(knot)) for knot in KNOTS[1:-1]),
    ),
    # fins
    "fin coefficients": Model(
        run=by(
            foils.fin_coefficients,
            "incidence",
            "aspect_ratio_effective",
            "efficiency",
            "zero_lift_angle",
            profile_drag_coefficient=0.008,
        ),
        ranges=((-0.5, 0.5), (1.5, 6.0), (0.4, 1.0), (-0.1, 0.1)),
    ),
    "fin of a span and area": Model(
        run=lambda span, area, speed: (
            foils.effective_aspect_ratio(span=span, area=area),
            foils.mean_chord_reynolds(speed=speed, span=span, area=area, water_viscosity=VISCOSITY),
        ),
        ranges=((0.5, 2.5), (0.3, 1.2), (1.0, 8.0)),
    ),
    "tab": Model(
        run=lambda lift, tab: (
            foils.tab_section_drag(lift_coefficient=lift, tab_angle=tab, ideal_lift=0.6),
            foils.tab_zero_lift_angle(tab_angle=tab, effectiveness=0.4),
        ),
        ranges=((-0.8, 0.8), (-0.25, 0.25)),
    ),
    "efficiency of a draught": Model(
        run=by(foils.draught_efficiency, "effective_draught", "lifting_span"), ranges=((1.0, 2.2), (1.0, 2.5))
    ),
    "downwash of a fin": Model(
        run=by(foils.downwash_angle, "lift_coefficient", "aspect_ratio_effective"),
        ranges=((-1.0, 1.0), (1.5, 6.0)),
    ),
    "immersed fin": Model(
        run=by(
            fins.immersed_fin,
            "heel",
            "pitch",
            "ride_height",
            root_z=-0.2,
            tip_z=-1.4,
            x=-1.0,
            y=1.2,
            chords=CHORDS,
        ),
        ranges=((-0.4, 0.8), (-0.1, 0.1), (-0.4, 1.6)),
    ),
    "upright fin": Model(
        run=lambda ride_height: fins.immersed_fin(
            root_z=-0.2,
            tip_z=-1.4,
            x=-1.0,
            y=0.0,
            chords=CHORDS,
            heel=0.0,
            pitch=0.0,
            ride_height=ride_height,
        ),
        ranges=((-0.4, 1.6),),
        # the water at the root and a twentieth of the span below, and so over the tip, down to a thousandth
        seams=((0, 0.2), (0, 0.26), (0, 1.34), (0, 1.3988)),
    ),
    "board below a hull": Model(
        run=lambda beam, span, froude: fins.board_efficiency(
            depth_froude_number=froude,
            covered_share=fins.covered_share(hull_half_beam=beam, lifting_span=span),
        ),
        ranges=((0.0, 1.0), (0.3, 1.5), (0.2, 6.0)),
    ),
    # hulls
    "friction": Model(
        run=by(
            hull.frictional_resistance,
            "speed",
            "wetted_area",
            waterline_length=8.6,
            water_density=DENSITY,
            water_viscosity=VISCOSITY,
            form_factor=0.1,
        ),
        ranges=((0.1, 9.0), (5.0, 25.0)),
    ),
    "friction of a rough bottom": Model(
        run=by(
            hull.frictional_resistance,
            "speed",
            "wetted_area",
            waterline_length=8.6,
            water_density=DENSITY,
            water_viscosity=VISCOSITY,
            form_factor=0.0,
            roughness=3e-5,
        ),
        ranges=((0.3, 9.0), (5.0, 25.0)),
    ),
    "smooth to rough": Model(
        run=by(hull.rough_friction_coefficient, "reynolds", length=6.0, roughness=3e-5),
        ranges=((1e6, 6e7),),
        seams=tuple((0, reynolds_of_excess(excess)) for excess in (-0.1, 0.1)),
    ),
    "rough line": Model(
        run=by(hull.rough_line_coefficient, "length", "roughness"), ranges=((3.0, 10.0), (1e-5, 1e-3))
    ),
    "wetted area at heel": Model(
        run=by(
            hull.heeled_wetted_share,
            "heel",
            coefficients=hull.heeled_wetted_coefficients(beam_draught_ratio=4.5, midship_coefficient=0.72),
        ),
        ranges=((-0.55, 0.6),),
        seams=tuple((0, 5.0 * i * DEGREE) for i in range(-5, 7)),
    ),
    "effective draught": Model(
        run=by(
            hull.effective_draught_share,
            "froude_number",
            "heel",
            coefficients=hull.effective_draught_coefficients(
                canoe_draught_share=0.3, beam_draught_ratio=4.5, taper_ratio=0.7
            ),
        ),
        ranges=((0.05, 0.7), (-0.65, 0.65)),
        seams=(
            (0, 0.1),
            (0, 0.2),
            (0, 0.45),
            (0, 0.55),
            *((1, 10.0 * i * DEGREE) for i in (-2, -1, 0, 1, 2)),
            (1, 30.0 * DEGREE),
            (1, 35.0 * DEGREE),
        ),
    ),
    "residuary resistance": Model(
        run=lambda froude: hull.residuary_resistance(
            froude_number=froude, weight=5.4e4, **vars(series_curve())
        ),
        ranges=((0.01, 0.69),),
        seams=tuple((0, 0.0125 * i) for i in (1, 9, 10, 11, 24, 35, 36, 37, 50)),
    ),
    "growth with heel": Model(
        run=by(hull.heel_resistance_factor, "heel", growth_at_20deg=0.1), ranges=((-0.5, 0.5),)
    ),
    "buoyancy of a slender hull": Model(run=afloat, ranges=((-0.5, 0.4), (-0.5, 0.7), (-0.1, 0.1))),
    "buoyancy of a column": Model(
        run=lambda ride_height: hull_form.buoyancy(
            columns=column(), ride_height=ride_height, heel=0.0, pitch=0.0, **WATER
        ),
        ranges=((-0.3, 0.3),),
        seams=((0, -hull_form.SURFACE_BAND), (0, hull_form.SURFACE_BAND)),
    ),
    "waves of a slender hull": Model(
        run=lambda froude, volume: hull_form.wave_resistance(
            froude_number=froude,
            volume=volume * DRAWN,
            drawn_volume=DRAWN,
            waterline_length=8.0,
            table=slender_waves(),
            **WATER,
        ),
        ranges=((0.05, 2.5), (0.01, 2.5)),
        seams=((0, 5.0 * float(slender_waves().step)), (0, 12.0 * float(slender_waves().step))),
    ),
    "waves of two hulls": Model(
        run=lambda froude, leeward, windward: twin_hull.twin_wave_resistance(
            froude_number=froude,
            volume_leeward=leeward * DRAWN,
            volume_windward=windward * DRAWN,
            drawn_volume=DRAWN,
            waterline_length=8.0,
            table=twin_waves(),
            **WATER,
        ),
        ranges=((0.05, 2.5), (0.3, 2.0), (0.0, 1.5)),
    ),
    "table of resistance": Model(
        run=lambda speed, heel: hull_tables.table_resistance(speed=speed, heel=heel, table=resistance_rows()),
        ranges=((1.1, 4.9), (-0.5, 0.5)),
        seams=(
            *((0, float(v)) for v in SPEEDS[1:-1]),
            *((1, float(h)) for h in HEELS[:-1]),
            (1, -float(HEELS[1])),
        ),
    ),
    # planing
    "planing forces": Model(
        run=by(
            planing.planing_forces,
            "speed",
            "pitch",
            "ride_height",
            hull=TRANSOM,
            water_viscosity=VISCOSITY,
            roughness_allowance=4e-4,
            **WATER,
        ),
        ranges=((5.0, 11.0), (0.05, 0.12), (-0.05, 0.05)),
    ),
    "planing forces at any attitude": Model(
        run=lambda *x: [
            part
            for name, part in vars(planing_skiff.forces(*x)).items()
            if name in ("up", "drag", "pitch", "roll", "sunk_up", "friction")
        ],
        ranges=((1.0, 11.0), (-0.15, 0.15), (-0.5, 0.5), (-0.3, 0.4)),
    ),
    "floating and planing": Model(
        run=rough_water, ranges=((1.0, 11.0), (-0.08, 0.12), (-0.3, 0.4), (-0.2, 0.2))
    ),
    "hand-over": Model(
        run=handed,
        ranges=((1.0, 6.0), (1.0, 2.0), (0.0, 3.0)),
        seams=tuple(
            (0, froude * math.sqrt(GRAVITY * 0.26 ** (1.0 / 3.0)))
            for froude in planing_handover.HANDOVER_RANGE
        ),
    ),
    "limit of porpoising": Model(
        run=by(planing.porpoising_margin, "trim", "lift_coefficient", deadrise=12.0 * DEGREE),
        ranges=((0.0, 0.2), (-0.05, 0.4)),
        seams=((1, 2.0 * 0.9 * 0.1**2), (1, 2.0 * 0.1**2), (1, 2.0 * 0.35**2), (1, 2.0 * 0.37**2)),
    ),
    # stability
    "form lever": Model(
        run=by(righting_curves.righting_moment_of_form, "heel", weight=3e4, curve=RIGHTING),
        ranges=((-0.9, 0.9),),
        seams=((0, 0.0), (0, 10.0 * DEGREE), (0, -20.0 * DEGREE), (0, 35.0 * DEGREE)),
    ),
    "wall-sided form": Model(
        run=lambda heel: (
            stability.form_righting_moment(
                heel=heel, weight=3e4, buoyancy_centre_z=-0.2, metacentric_radius=1.1
            ),
            stability.wall_sided_righting_arm(heel=heel, metacentric_height=0.9, metacentric_radius=1.1),
        ),
        ranges=((-0.6, 0.9),),
    ),
    "masses at heel": Model(
        run=lambda heel, y, cant: (
            stability.mass_righting_moment(heel=heel, mass=300.0, y=y, z=0.9, gravity=GRAVITY),
            stability.canting_righting_moment(mass=400.0, radius=2.0, cant=cant, heel=heel, gravity=GRAVITY),
        ),
        ranges=((-0.6, 0.9), (-1.5, 1.5), (-0.7, 0.7)),
    ),
    # sails
    "attached section": Model(
        run=lambda incidence, camber: (
            sections.attached_drag(
                lift=sections.attached_lift(incidence=incidence, camber=camber),
                camber=camber,
                least_drag=0.01,
                bucket_factor=0.02,
            ),
            sections.zero_lift_incidence(camber=camber),
        ),
        ranges=((-0.3, 0.3), (0.0, 0.15)),
    ),
    "stalled plate": Model(run=plate, ranges=((0.4, 3.0), (0.0, 0.15))),
    "section": Model(
        run=by(sections.section_forces, "incidence", "camber", **FULL_SECTION),
        ranges=((-3.0, 3.0), (0.0, 0.14)),
        seams=((0, 0.16), (0, -0.16)),
    ),
    "section at its stall": Model(
        run=by(sections.section_forces, "incidence", "camber", **FULL_SECTION),
        ranges=((-0.3, 0.3), (0.0, 0.14)),
    ),
    "shed lift": Model(
        run=lambda incidence, camber: sections.shed_lift(incidence=incidence, camber=camber, **SECTION),
        ranges=((-0.6, 0.6), (-0.03, 0.1)),
        seams=((0, float(STALL[0])), (0, -float(STALL[1])), (1, 0.0), (1, 0.01), (1, -0.01)),
    ),
    "limits of the shed lift": Model(
        run=by(sections.shedding_limits, "camber", stall_incidence=0.16),
        ranges=((-0.03, 0.1),),
        seams=((0, 0.0), (0, 0.01), (0, -0.01)),
    ),
    "share of the shed lift": Model(
        run=by(sections.shed_share, "incidence", stall_incidence=0.16),
        ranges=((-2.0, 2.0),),
        seams=((0, 0.0), (0, 0.61)),
    ),
    "stall of a camber": Model(
        run=by(sail_sections.cambered_stall, "camber", stall_incidence=0.2, stall_width=0.03, tail_ratio=0.8),
        ranges=((0.0, 0.14),),
    ),
    "arc of a turned mast": Model(
        run=by(sail_sections.equivalent_arc, "incidence", "camber", "rotation", line=MEAN_LINE),
        ranges=((-0.3, 0.5), (0.0, 0.14), (-0.5, 0.5)),
    ),
    "rig": Model(
        run=rig_loads,
        ranges=(
            (0.6, 2.6),
            (1.0, 5.0),
            (-0.1, 0.6),
            (0.0, 0.5),
            (0.05, 0.6),
            (0.0, 0.5),
            (0.0, 1.0),
            (0.0, 0.5),
        ),
    ),
    "sail from a table": Model(
        run=table_force, ranges=((0.7, 3.1), (0.5, 6.0), (-0.1, 0.1), (-0.1, 0.5), (0.1, 1.0))
    ),
    "held within a table": Model(
        run=by(sail_tables.held_within, "angle", first=0.5, last=3.0),
        ranges=((0.0, 3.6),),
        seams=((0, 0.5), (0, 3.0)),
    ),
    "coefficients of a table": Model(
        run=lambda angle, power: sail_tables.coefficients_at(
            curves=sail_tables.table_curves(angle=ANGLE, lift=LIFT, drag=DRAG),
            angle=angle,
            power=power,
            induced=0.14,
        ),
        ranges=((0.4, 3.3), (0.0, 1.0)),
        seams=tuple((0, float(angle)) for angle in ANGLE),
    ),
    # foils
    "water on a foil": Model(
        run=by(foil_geometry.water_velocity, "boat_speed", "leeway", "heel", "pitch"),
        ranges=((3.0, 15.0), (-0.1, 0.2), (-0.3, 0.5), (-0.1, 0.1)),
    ),
    "axes": Model(
        run=to_body_and_back, ranges=((-2.0, 2.0), (-2.0, 2.0), (-2.0, 2.0), (-0.6, 0.9), (-0.2, 0.2))
    ),
    "foils": Model(
        run=foil_loads,
        ranges=(
            (4.0, 18.0),
            (-0.05, 0.1),
            (-0.2, 0.3),
            (-0.05, 0.05),
            (-0.2, 1.6),
            (0.5, 1.1),
            (-0.1, 0.2),
            (-0.2, 0.2),
        ),
    ),
    "crossing the surface": Model(
        run=lambda depth, rise: (
            foil_geometry.immersed_shares(start_depth=depth, rise=rise, span=1.5, panel_count=4),
            foil_geometry.crossing_shares(start_depth=depth, rise=rise, span=1.5, panel_count=4),
        ),
        ranges=((-1.0, 2.0), (-0.5, 1.0)),
    ),
    "crossing the surface at a slant": Model(
        run=lambda depth: (
            foil_geometry.immersed_shares(start_depth=depth, rise=0.4, span=1.5, panel_count=4),
            foil_geometry.crossing_shares(start_depth=depth, rise=0.4, span=1.5, panel_count=4),
        ),
        ranges=((-1.0, 2.0),),
        # of the first point of a panel and of the first two nodes: half a panel above and below the surface
        seams=tuple((0, place + side * 0.1875) for place in (0.025, 0.0, 0.15) for side in (-1.0, 1.0)),
    ),
    "image of the bound vortex": Model(
        run=by(hydrofoils.bound_image_strength, "depth_froude"),
        ranges=((0.6, 4.0),),
        # knots of its table are even in 1 - 1/(1 + 2/Fn^2), 192 in all
        seams=tuple((0, math.sqrt(2.0 * (192.0 - knot) / knot)) for knot in (40.0, 90.0, 130.0)),
    ),
    "surface over a wing": Model(
        run=lambda depth, froude, inclination2, aspect: hydrofoils.lift_slope(
            aspect_ratio=aspect,
            sweep=0.2,
            depth_chord_ratio=depth,
            depth_span_ratio=depth / aspect,
            depth_froude=froude,
            inclination2=inclination2,
        ),
        ranges=((0.3, 6.0), (0.5, 12.0), (0.0, 0.3), (2.0, 10.0)),
    ),
    "surface and drag": Model(
        run=lambda depth, froude: (
            hydrofoils.induced_drag_factor(depth_span_ratio=depth, depth_froude=froude),
            hydrofoils.wave_drag_factor(depth_span_ratio=depth, depth_froude=froude),
            hydrofoils.bound_image_strength(depth_froude=froude),
            hydrofoils.bound_image_span_factor(depth_span_ratio=depth),
            hydrofoils.biplane_factor(depth_span_ratio=depth),
            hydrofoils.inclined_image_factor(inclination2=0.1 * depth, depth_span_ratio=depth),
            hydrofoils.plane_lift_factor_high_froude(depth_chord_ratio=depth),
        ),
        ranges=((0.05, 2.5), (0.3, 12.0)),
    ),
    "depth Froude number": Model(
        run=by(hydrofoils.depth_froude_number, "speed", "depth", gravity=GRAVITY),
        ranges=((1.0, 15.0), (0.1, 2.0)),
    ),
    "waves of a plane wing": Model(
        run=by(hydrofoils.plane_wave_drag, "circulation", "speed", "depth", **WATER),
        ranges=((0.5, 3.0), (2.0, 12.0), (0.2, 2.0)),
    ),
    "board through the surface": Model(
        run=by(hydrofoils.piercing_efficiency, "span_froude"), ranges=((0.1, 12.0),)
    ),
    "spray": Model(
        run=by(hydrofoils.spray_drag, "speed", thickness=0.03, water_density=DENSITY), ranges=((1.0, 15.0),)
    ),
    "ventilation": Model(
        run=by(hydrofoils.ventilation_from_tail, "depth_froude"),
        ranges=((0.6, 1.8),),
        seams=((0, 1.0), (0, 1.25)),
    ),
    "junctions": Model(
        run=lambda ratio: (
            hydrofoils.wall_junction_drag_area(thickness=0.03, thickness_ratio=ratio),
            hydrofoils.crossing_drag_area(thickness=0.03, thickness_ratio=ratio),
        ),
        ranges=((0.02, 0.15),),
        seams=((0, hydrofoils.WALL_JUNCTION_LEAST_THICKNESS), (0, hydrofoils.CROSSING_LEAST_THICKNESS)),
    ),
    "cavitation": Model(
        run=lambda speed, depth, lift: (
            hydrofoils.cavitation_number(speed=speed, depth=depth, vapour_pressure=1700.0, **WATER),
            hydrofoils.suction_peak(
                lift_coefficient=lift,
                design_lift_coefficient=0.2,
                thickness_speed=0.15,
                nose_radius_ratio=0.01,
            ),
            hydrofoils.cavitation_limited_lift(lift_coefficient=lift, dynamic_pressure=512.5 * speed * speed),
        ),
        ranges=((5.0, 22.0), (0.0, 2.0), (-1.0, 1.2)),
    ),
    "wake of a wing": Model(
        run=by(
            hydrofoils.wake_downwash,
            "lift_coefficient",
            "span",
            "offset_along",
            "offset_normal",
            aspect_ratio=6.0,
            core=0.1,
        ),
        ranges=((-0.5, 1.0), (1.5, 3.0), (-2.5, 2.5), (-1.0, 1.0)),
    ),
    # waves
    "added resistance": Model(
        run=lambda speed, twa: waves.added_resistance(
            coefficients=in_waves(),
            boat_speed=speed,
            true_wind_angle=twa,
            significant_height=0.6,
            waterline_length=8.6,
            **WATER,
        ),
        ranges=((0.3, 1.4 * FROUDE), (0.2, 3.0)),
        seams=(
            (0, 0.4 * FROUDE),
            (0, 1.1 * FROUDE),
            (0, 1.2 * FROUDE),
            (1, waves.HEAD_SEA_LIMIT),
            (1, waves.BEAM_SEA),
        ),
    ),
}
