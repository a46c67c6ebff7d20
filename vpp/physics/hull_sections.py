"""A hull given by its sections: exact hydrostatics at any heel and trim, and the columns that
`hull_form.buoyancy` takes.

The surface between two stations is ruled: points of the two outlines that belong together are joined by
straight lines, point by point where the outlines have as many points, else at equal shares of the girth from
the centreline to the sheer. Work for when a boat is built: plain floats, no derivatives.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from vpp.physics.hull_form import Columns
from vpp.physics.section_shape import SectionShape
from vpp.physics.thin_ship import gauss_nodes

FloatArray = NDArray[np.float64]

# Default counts of `section_columns`.
STATIONS = 8
ROWS = 4
# Stations along the part of `chined_shape` that narrows, and along the bend of its keel line.
_ENTRY_STATIONS = 16
_BEND_STATIONS = 8
# Shares of the length from the transom up to which a rising keel line of `chined_shape` runs straight, and
# from which it is level.
RUN_SHARE, LEVEL_SHARE = 0.6, 0.8
# Gauss points between two places where the form of the wet section changes.
_NODES = 6
# Weight of a metre of girth beside one of breadth where columns are placed: vertical sides have no plan area.
_SIDE_WEIGHT = 1e-6
# Largest trim [rad] of a hull that is said to float.
_TRIM_LIMIT = math.radians(30.0)
# Residual, in volumes and in volumes times length, at which a hull is afloat, and where the search gives up.
_AFLOAT = 1e-12
_NEARLY_AFLOAT = 1e-9
_STEPS = 60


@dataclass(frozen=True, kw_only=True)
class SectionForm:
    """What a hull displaces upright and level at its drawn water plane (z = 0), and its form there.

    Body axes, SI: x forward, z up from the water plane. buoyancy_centre_x, buoyancy_centre_z [m];
    metacentric_radius [m]: BM, transverse; wetted_area [m^2] without the faces of transoms; waterline_aft_x,
    waterline_forward_x [m]: where the keel line enters the water, or the ends of the hull; waterline_beam
    [m]; draught [m] of the lowest point; prismatic_coefficient [-] on the length of the water line and the
    largest immersed section; transom_area [m^2], transom_draught [m]: immersed area of the aftmost section
    and depth of its lowest point, zero where it has no breadth below the water.
    """

    volume: float
    waterplane_area: float
    buoyancy_centre_x: float
    buoyancy_centre_z: float
    metacentric_radius: float
    wetted_area: float
    waterline_aft_x: float
    waterline_forward_x: float
    waterline_beam: float
    draught: float
    prismatic_coefficient: float
    transom_area: float
    transom_draught: float


@dataclass(frozen=True, kw_only=True)
class Immersed:
    """The part of a hull under the water plane: volume [m^3] and its centroid in body axes [m], which is nan
    where nothing is under water.
    """

    volume: float
    x: float
    y: float
    z: float


@dataclass(frozen=True, kw_only=True)
class Floating:
    """How a hull floats at a heel: ride_height [m] of the reference point over the water, pitch [rad] bow up,
    lever [m] of its buoyancy about the reference point, positive rights.
    """

    ride_height: float
    pitch: float
    lever: float


# --- shapes -------------------------------------------------------------------------------------------------


def chined_shape(
    *,
    waterline_length: float,
    chine_beam: float,
    deadrise: float,
    canoe_draught: float,
    entry_share: float,
    freeboard: float,
    transom_x: float,
    transom_rise: float = 0.0,
) -> SectionShape:
    """A V-bottomed hull with one chine and a transom.

    Lengths [m], deadrise [rad]. The keel line is level at z = -canoe_draught, or with a `transom_rise` lies
    so much higher at the transom: a straight run over three fifths of the length, which a parabola joins to
    the level part over another fifth. The chine lies chine_beam/2 tan(deadrise) above the keel all along,
    vertical sides stand on it up to z = freeboard. From the transom at x = transom_x the half breadth is
    chine_beam/2 up to the entry, the foremost `entry_share` (0 to 1) of the length, where it narrows to the
    stem as 1 - t^2: the deadrise grows towards the bow. Straight lines between 17 stations draw the parabola
    and take 0.1 % off the area of the entry's plan.

    Raises ValueError for values that are not positive (transom_rise: negative), a deadrise of 90 deg or more,
    an entry longer than the hull, or a chine at the sheer or above it.
    """
    values = {
        "waterline_length": waterline_length,
        "chine_beam": chine_beam,
        "deadrise": deadrise,
        "canoe_draught": canoe_draught,
        "entry_share": entry_share,
        "freeboard": freeboard,
    }
    wrong = [name for name, value in values.items() if not value > 0.0]
    if wrong:
        raise ValueError(f"{', '.join(wrong)} of a chined hull must be positive.")
    if deadrise >= 0.5 * math.pi or entry_share > 1.0:
        raise ValueError(
            "A chined hull's deadrise must be below 90 deg and its entry no longer than the hull."
        )
    if not transom_rise >= 0.0:
        raise ValueError("A chined hull's keel line does not fall towards the transom.")
    rise = 0.5 * chine_beam * math.tan(deadrise)
    highest = transom_rise - canoe_draught + rise
    if highest >= freeboard:
        raise ValueError(
            f"The chine lies {highest:.3g} m above the drawn water plane, not below the sheer at "
            f"{freeboard:.3g} m: less deadrise, less beam or more freeboard."
        )
    share = _chined_stations(entry_share, bent=transom_rise > 0.0)
    t = np.clip((share - 1.0) / entry_share + 1.0, 0.0, 1.0)
    breadth = 0.5 * chine_beam * (1.0 - t**2)
    keel = transom_rise * _run_height(share) - canoe_draught
    return SectionShape(
        station_x=tuple(map(float, transom_x + waterline_length * share)),
        outlines=tuple(
            ((0.0, float(z)), (float(b), float(z + rise)), (float(b), freeboard))
            for b, z in zip(breadth, keel, strict=True)
        ),
    )


def run_angle(*, waterline_length: float, transom_rise: float) -> float:
    """Angle [rad] of the straight run of `chined_shape` over its level keel line, negative where it rises
    towards the transom.
    """
    return -math.atan(transom_rise * _RUN_SLOPE / waterline_length)


def run_length(*, waterline_length: float, transom_rise: float, tolerance: float) -> float:
    """How far ahead of the transom [m] the keel line of `chined_shape` stays within a tolerance [m] of the
    line of its straight run, at most the hull's length.
    """
    bent = transom_rise * _RUN_SLOPE / (2.0 * (LEVEL_SHARE - RUN_SHARE))
    within = RUN_SHARE + math.sqrt(tolerance / bent) if bent > 0.0 else 1.0
    if within > LEVEL_SHARE:
        # beyond the bend the lines part evenly
        within = 0.5 * (RUN_SHARE + LEVEL_SHARE) + (
            tolerance / (transom_rise * _RUN_SLOPE) if transom_rise > 0.0 else 1.0
        )
    return waterline_length * min(within, 1.0)


# Slope of the straight run in transom rises over water-line lengths.
_RUN_SLOPE = 2.0 / (RUN_SHARE + LEVEL_SHARE)


def _run_height(share: FloatArray) -> FloatArray:
    """Height of a rising keel line over its level part, in transom rises, at shares of the length."""
    ahead = np.clip(LEVEL_SHARE - share, 0.0, LEVEL_SHARE - RUN_SHARE)
    bend = 0.5 * ahead**2 / (LEVEL_SHARE - RUN_SHARE)
    height: FloatArray = _RUN_SLOPE * (bend + np.maximum(RUN_SHARE - share, 0.0))
    return height


def _chined_stations(entry_share: float, *, bent: bool) -> FloatArray:
    """Shares of the length, from the transom, at which `chined_shape` has stations."""
    entry = 1.0 - entry_share * (1.0 - np.linspace(0.0, 1.0, _ENTRY_STATIONS + 1))
    aft = np.zeros(1 if entry_share < 1.0 else 0)
    bend = np.linspace(RUN_SHARE, LEVEL_SHARE, _BEND_STATIONS + 1 if bent else 0)
    every = np.sort(np.concatenate((aft, bend, entry)))
    # of two that rounding holds apart, one
    apart: FloatArray = every[np.append(True, np.diff(every) > 1e-9)]
    return apart


def check_shape(shape: SectionShape) -> None:
    """Raises ValueError where sections do not make a hull: fewer than two, stations that do not rise, an
    outline whose height or half breadth falls, a sheer at or under the drawn water plane, or a hull that does
    not reach below it.
    """
    x = shape.station_x
    if len(x) < 2 or len(shape.outlines) != len(x):
        raise ValueError(
            f"{len(x)} stations and {len(shape.outlines)} outlines are given; as many of either, two or more."
        )
    if not all(a < b for a, b in pairwise(x)):
        raise ValueError("The stations do not rise from aft to forward.")
    for place, outline in zip(x, shape.outlines, strict=True):
        points = np.asarray(outline, dtype=np.float64).reshape(-1, 2)
        if not len(points) or not np.all(np.isfinite(points)) or np.min(points[:, 0]) < 0.0:
            raise ValueError(f"The section at x = {place:g} m needs points with half breadths of 0 or more.")
        if np.any(np.diff(points, axis=0) < 0.0):
            raise ValueError(
                f"The section at x = {place:g} m: height or half breadth falls towards the sheer."
            )
        if points[-1, 1] <= 0.0:
            raise ValueError(f"The section at x = {place:g} m ends below the drawn water plane.")
    if min(outline[0][1] for outline in shape.outlines) >= 0.0:
        raise ValueError("No section reaches below the drawn water plane.")


# --- columns ------------------------------------------------------------------------------------------------


def section_columns(
    *, shape: SectionShape, offset_y: float = 0.0, stations: int = STATIONS, rows: int = ROWS
) -> Columns:
    """Columns of a hull given by its sections, as `hull_form.buoyancy` takes them.

    Every section is cut into `rows` of equal girth between centreline and drawn water plane and half as many
    (two at least) up to the sheer, of which all but the uppermost have no more girth than those below; sides
    are vertical above the sheer. `stations` columns stand in each row on either side, so that any shape has
    2 stations (rows + rows_above(rows)) of them, 96 by default. They stand at the nodes of Gauss's rule whose
    weight is the row's own plan area along the hull: a row that is all wet has its exact volume, moments and
    second moments, whatever the sections are. Partly wet rows are smoothed as `hull_form.buoyancy` says; the
    errors are on the theory page. `offset_y` [m] moves the hull to leeward. The skin is that of the sides and
    bottom, without the faces of transoms.

    Raises ValueError as `check_shape` does, or for an unusable count.
    """
    if stations < 2 or rows < 1:
        raise ValueError(f"{stations} stations (at least 2) and {rows} rows (at least 1) are given.")
    cells = _cells(_panels(shape), rows, stations)
    half = {
        name: np.concatenate([row[name] for row in (_placed(c, stations) for c in cells)]) for name in _NAMES
    }
    whole = {name: np.tile(values, 2) for name, values in half.items()}
    mirror = np.repeat((1.0, -1.0), len(half["x"]))
    for name in ("y", "covariance_yz"):
        whole[name] = whole[name] * mirror
    whole["y"] = whole["y"] + offset_y
    return Columns(**whole)


def rows_above(rows: int) -> int:
    """Rows between the drawn water plane and the sheer that go with `rows` below it."""
    return max(2, rows // 2)


_NAMES = (
    "x",
    "y",
    "bottom_z",
    "plan_area",
    "skin_area",
    "side_length",
    "variance_y",
    "covariance_yz",
    "variance_z",
)


@dataclass(frozen=True, kw_only=True)
class _Row:
    """One row on one side along the hull, (samples,): what lies there by metre of length times the sample's
    share of the length: `weight` (plan area and a trace of girth), `area`, `skin`, `side`; and, by weight,
    the middle and the spread of the bottom across the hull.
    """

    x: FloatArray
    weight: FloatArray
    area: FloatArray
    skin: FloatArray
    side: FloatArray
    y: FloatArray
    z: FloatArray
    spread: FloatArray


def _cells(panels: _Panels, rows: int, stations: int) -> list[_Row]:
    """The rows of one side, from the keel up, by many more samples than `stations`."""
    parts = _between_changes(panels, heel=0.0, pitch=0.0, ride_height=0.0)
    nodes = max(stations + 2, math.ceil(8 * stations / len(parts[0])))
    samples = _samples(panels, *parts, nodes=nodes)
    y, z = samples.y, samples.z
    length = np.hypot(np.diff(y), np.diff(z))
    begin, share = _row_parts(length, _row_edges(samples, length, rows))
    node, gauss = gauss_nodes(2)
    along = begin[..., None] + (0.5 * (node + 1.0)) * share[..., None]  # (samples, rows, pieces, nodes)

    def on_pieces(values: FloatArray) -> FloatArray:
        start, step = values[:, None, :-1, None], np.diff(values)[:, None, :, None]
        return np.asarray(start + along * step)

    part = samples.share[:, None, None, None] * 0.5 * gauss * share[..., None]
    breadth, height = (np.diff(values)[:, None, :, None] for values in (y, z))
    at_y, at_z = on_pieces(y), on_pieces(z)
    lean = on_pieces(samples.slope_y) * height - on_pieces(samples.slope_z) * breadth
    run = length[:, None, :, None]
    area = np.sum(part * breadth, axis=(2, 3))
    weighted = part * (breadth + _SIDE_WEIGHT * run)
    weight = np.sum(weighted, axis=(2, 3))
    there = np.where(weight > 0.0, weight, 1.0)
    mean_y, mean_z = (np.sum(weighted * at, axis=(2, 3)) / there for at in (at_y, at_z))
    off_y, off_z = at_y - mean_y[..., None, None], at_z - mean_z[..., None, None]
    spread = np.stack(
        [
            np.sum(weighted * a * b, axis=(2, 3)) / there
            for a, b in ((off_y, off_y), (off_y, off_z), (off_z, off_z))
        ]
    )
    top = z[:, :1] + np.cumsum(np.sum(share * np.diff(z)[:, None], axis=2), axis=1)
    by_piece = part * np.hypot(run, lean)
    skin = np.sum(by_piece, axis=(2, 3))
    # moment of a row's skin about the middle of its bottom
    moment = np.sum(by_piece * (at_z - mean_z[..., None, None]), axis=(2, 3))
    skin[:, :rows] = _at_its_height(skin[:, :rows], moment[:, :rows], mean_z[:, :rows])
    side, below_side = _side(samples, weight > 0.0, mean_z, top, rows)
    return [
        _Row(
            x=samples.x,
            weight=weight[:, r],
            area=area[:, r],
            skin=(skin - below_side)[:, r],
            side=side[:, r],
            y=mean_y[:, r],
            z=mean_z[:, r],
            spread=spread[:, :, r],
        )
        for r in range(mean_z.shape[1])
    ]


def _at_its_height(skin: FloatArray, moment: FloatArray, mean_z: FloatArray) -> FloatArray:
    """Skin by row, (samples, rows). Where the middle of a row's skin lies off that of its plan area, some of
    it goes to the next row, so that the height is kept.
    """
    gap = np.diff(mean_z)
    apart = np.where(gap > 0.0, gap, np.inf)
    up = np.clip(moment[:, :-1] / apart, 0.0, skin[:, :-1])
    down = np.clip(-moment[:, 1:] / apart, 0.0, skin[:, 1:])
    result = skin.copy()
    result[:, :-1] += down - up
    result[:, 1:] += up - down
    return result


def _side(
    samples: _Samples, there: NDArray[np.bool_], mean_z: FloatArray, top: FloatArray, rows: int
) -> tuple[FloatArray, FloatArray]:
    """The vertical side that stands on each row, and the skin that it takes from each, (samples, rows).

    It stands on the last row below the drawn plane, or where that does not reach the water on the next, and
    has what is vertical of the skin from there up to the sheer and beyond: steep sides get wet in proportion.
    """
    length = samples.share * np.hypot(1.0, samples.slope_y[:, -1])
    first = np.where(there[:, rows - 1], rows - 1, rows)[:, None]
    row = np.arange(mean_z.shape[1])
    foot = np.concatenate((mean_z[:, :1], top[:, :-1]), axis=1)
    foot = np.where(row == first, mean_z, foot)
    side = np.where(row == first, length[:, None], 0.0)
    return side, np.where(row >= first, length[:, None] * (top - foot), 0.0)


def _row_edges(samples: _Samples, length: FloatArray, rows: int) -> FloatArray:
    """Girths from the centreline at which the rows of each sample begin and end, (samples, edges)."""
    below, whole = np.sum(_wet_share(samples.z) * length, axis=1), np.sum(length, axis=1)
    count = rows_above(rows)
    step = np.minimum((whole - below) / count, np.max(below) / rows)
    under = below[:, None] * np.linspace(0.0, 1.0, rows + 1)
    over = below[:, None] + step[:, None] * np.arange(1.0, count)
    return np.concatenate((under, over, whole[:, None]), axis=1)


def _row_parts(length: FloatArray, edges: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where each row begins on each straight piece, and what share of it lies in the row, 0 to 1, (samples,
    rows, pieces).
    """
    girth = np.cumsum(length, axis=1) - length
    some = np.where(length > 0.0, length, 1.0)[:, None]
    begin, end = (
        np.clip((edge[:, :, None] - girth[:, None]) / some, 0.0, 1.0)
        for edge in (edges[:, :-1], edges[:, 1:])
    )
    return begin, np.where(length[:, None] > 0.0, end - begin, 0.0)


def _wet_share(z: FloatArray) -> FloatArray:
    """Share of each straight piece below the drawn water plane, (samples, pieces)."""
    low, high = z[:, :-1], z[:, 1:]
    crossing = (low < 0.0) & (high > 0.0)
    result: FloatArray = np.where(crossing, -low / np.where(crossing, high - low, 1.0), low < 0.0)
    return result


def _drawn_wetted_area(panels: _Panels) -> float:
    """Skin of both sides below the drawn water plane."""
    samples = _samples(panels, *_between_changes(panels, heel=0.0, pitch=0.0, ride_height=0.0))
    wet = _wet_share(samples.z)
    breadth, height = np.diff(samples.y), np.diff(samples.z)
    slope_y, slope_z = (
        values[:, :-1] + 0.5 * wet * np.diff(values) for values in (samples.slope_y, samples.slope_z)
    )
    skin = wet * np.sqrt(breadth**2 + height**2 + (slope_y * height - slope_z * breadth) ** 2)
    return 2.0 * float(np.sum(samples.share * np.sum(skin, axis=1)))


def _placed(row: _Row, count: int) -> dict[str, FloatArray]:
    """The columns of a row: Gauss's rule for its plan area along the hull.

    Heights and breadths are the polynomials of degree count - 1 that come closest, which keeps their moments
    in x; what these leave out adds to the spread, so that the second moments stay too.
    """
    used = row.weight > 0.0
    x, weight = row.x[used], row.weight[used]
    middle, half = 0.5 * (x[0] + x[-1]), 0.5 * (x[-1] - x[0])
    polynomials, at_nodes, node, node_weight = _gauss_rule((x - middle) / half, weight, count)
    node = middle + half * node

    def closest(values: FloatArray) -> tuple[FloatArray, FloatArray]:
        shares = polynomials @ (weight * values[used])
        return shares @ at_nodes, values[used] - shares @ polynomials

    y, off_y = closest(row.y)
    z, off_z = closest(row.z)
    spread = row.spread[:, used] + np.stack((off_y * off_y, off_y * off_z, off_z * off_z))
    variance_y, covariance_yz, variance_z = (
        _shared_along(weight * values, x, node) / node_weight for values in spread
    )
    return {
        "x": node,
        "y": y,
        "bottom_z": z,
        "plan_area": node_weight * (np.sum(row.area) / np.sum(weight)),
        "skin_area": _shared_along(row.skin[used], x, node),
        "side_length": _shared_along(row.side[used], x, node),
        "variance_y": variance_y,
        "covariance_yz": covariance_yz,
        "variance_z": variance_z,
    }


def _gauss_rule(
    x: FloatArray, weight: FloatArray, count: int
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Orthonormal polynomials of a discrete weight, at its points and at the nodes of its Gauss rule, and the
    nodes and their weights (Lanczos's recurrence, then the eigenvalues of the Jacobi matrix).
    """
    total = float(np.sum(weight))
    basis = np.zeros((count, len(x)))
    jacobi = np.zeros((count, count))
    basis[0] = 1.0 / math.sqrt(total)
    for k in range(count):
        following = x * basis[k]
        for _ in range(2):  # twice, for round-off
            parts = basis[: k + 1] @ (weight * following)
            jacobi[k, : k + 1] += parts
            following = following - parts @ basis[: k + 1]
        if k + 1 < count:
            basis[k + 1] = following / math.sqrt(float(np.sum(weight * following**2)))
    # symmetric: only the lower triangle is read
    node, vectors = np.linalg.eigh(jacobi)
    first = vectors[0] / basis[0, 0]
    return basis, vectors / first, node, first**2


def _shared_along(amount: FloatArray, x: FloatArray, node: FloatArray) -> FloatArray:
    """Amounts at x given to the two nearest nodes, so that their moment is kept between these."""
    upper = np.clip(np.searchsorted(node, x), 1, len(node) - 1)
    share = np.clip((x - node[upper - 1]) / (node[upper] - node[upper - 1]), 0.0, 1.0)
    result = np.zeros(len(node))
    np.add.at(result, upper, share * amount)
    np.add.at(result, upper - 1, (1.0 - share) * amount)
    return result


# --- hydrostatics -------------------------------------------------------------------------------------------


def drawn_form(*, shape: SectionShape) -> SectionForm:
    """A hull's `SectionForm`: exact to round-off, but for wetted area (Gauss's rule) and the search for the
    largest section and the greatest beam, which looks at the stations and six places between.

    Raises ValueError as `check_shape` does, and where the hull has no volume below the water plane.
    """
    panels = _panels(shape)
    wet = _wet(panels, heel=0.0, pitch=0.0, ride_height=0.0)
    volume, centre = _volume(wet), _centre(wet, heel=0.0)
    if volume <= 0.0:
        raise ValueError("The hull has no volume below the drawn water plane.")
    at_stations = _wet_sections(_at_stations(panels), heel=0.0, pitch=0.0, ride_height=0.0)
    keel = np.array([outline[0][1] for outline in shape.outlines])
    aft, forward = _waterline_ends(np.asarray(shape.station_x), keel)
    largest = max(float(np.max(wet.area)), float(np.max(at_stations.area)))
    transom_area = float(at_stations.area[0])
    return SectionForm(
        volume=volume,
        waterplane_area=float(np.sum(wet.share * wet.beam)),
        buoyancy_centre_x=centre[0],
        buoyancy_centre_z=centre[2],
        metacentric_radius=float(np.sum(wet.share * wet.beam**3)) / (12.0 * volume),
        wetted_area=_drawn_wetted_area(panels),
        waterline_aft_x=aft,
        waterline_forward_x=forward,
        waterline_beam=max(float(np.max(wet.beam)), float(np.max(at_stations.beam))),
        draught=-float(np.min(keel)),
        prismatic_coefficient=volume / (largest * (forward - aft)),
        transom_area=transom_area,
        transom_draught=-float(keel[0]) if transom_area > 0.0 else 0.0,
    )


def immersed(*, shape: SectionShape, heel: float, pitch: float, ride_height: float) -> Immersed:
    """Volume and centroid of what is under the undisturbed water plane.

    heel to leeward (any) and pitch bow up (below 90 deg either way) [rad], ride_height [m] of the reference
    point over the water. The hull is closed by a straight deck from sheer to sheer: its edge goes under
    without a leak. Every section's polygon is cut exactly; along the length Gauss's rule between all places
    where the water plane passes a corner: exact to round-off where sections do not change or taper evenly.

    Raises ValueError as `check_shape` does.
    """
    wet = _wet(_panels(shape), heel=heel, pitch=pitch, ride_height=ride_height)
    x, y, z = _centre(wet, heel=heel)
    return Immersed(volume=_volume(wet), x=x, y=y, z=z)


def righting_lever(
    *, shape: SectionShape, heel: float, volume: float, centre_x: float, centre_z: float
) -> float:
    """Lever [m] of the buoyancy about the reference point, free to sink and trim; see `floating`.

    Weight times the lever is what `stability.form_righting_moment` gives for a wall-sided hull: the moment of
    the masses, `stability.mass_righting_moment`, is still to be added.
    """
    return floating(shape=shape, heel=heel, volume=volume, centre_x=centre_x, centre_z=centre_z).lever


def righting_levers(
    *,
    shape: SectionShape,
    heels: Sequence[float] | FloatArray,
    volume: float,
    centre_x: float,
    centre_z: float,
) -> FloatArray:
    """`righting_lever` at every heel [rad] in turn, each search beginning where the last one ended."""
    panels = _panels(shape)
    start, levers = None, []
    for heel in heels:
        start = _floating(panels, float(heel), volume, (centre_x, centre_z), start)
        levers.append(start.lever)
    return np.array(levers, dtype=np.float64)


def floating(
    *, shape: SectionShape, heel: float, volume: float, centre_x: float, centre_z: float
) -> Floating:
    """How a hull floats that is held at a heel [rad] and free to sink and trim.

    It displaces `volume` [m^3] and has its centre of buoyancy in one athwartships vertical plane with the
    centre of mass, which lies on the hull's centreline at (centre_x, centre_z) [m], z up from the drawn
    plane. The lever is the horizontal distance by which the buoyancy acts to leeward of the reference point.
    Without the boat's own wave and whatever fins add.

    Raises ValueError as `check_shape` does, where the hull does not float, and where no trim within 30 deg
    is found.
    """
    return _floating(_panels(shape), heel, volume, (centre_x, centre_z), None)


def _floating(
    panels: _Panels, heel: float, volume: float, centre: tuple[float, float], start: Floating | None
) -> Floating:
    """Newton's method for ride height and pitch, with steps halved while they lead away."""
    length = float(panels.x[-1, 1] - panels.x[0, 0])
    scale = np.array([volume, volume * length])
    if start is None:
        start = Floating(ride_height=_level_ride_height(panels, heel, volume), pitch=0.0, lever=0.0)
    place = np.array([start.ride_height, start.pitch])
    error, slopes, wet = _unbalance(panels, heel, place, volume, centre)
    size = float(np.max(np.abs(error / scale)))
    for _ in range(_STEPS):
        if size < _AFLOAT:
            break
        if abs(np.linalg.det(slopes / scale[:, None]) * length) < 1e-12:
            break
        step = -np.linalg.solve(slopes, error)
        step *= min(1.0, 0.2 / max(abs(step[1]), 1e-300), 0.2 * length / max(abs(step[0]), 1e-300))
        for halving in range(20):
            tried = place + step * 0.5**halving
            found = _unbalance(panels, heel, tried, volume, centre)
            new_size = float(np.max(np.abs(found[0] / scale)))
            if new_size < size:
                break
        else:
            break
        place, (error, slopes, wet), size = tried, found, new_size
    if size > _NEARLY_AFLOAT or abs(place[1]) > _TRIM_LIMIT:
        raise ValueError(
            f"No trim within {math.degrees(_TRIM_LIMIT):.0f} deg is found at which the hull floats, heeled "
            f"{math.degrees(heel):.3g} deg with its mass at x = {centre[0]:.3g} m: is the centre of mass "
            "well inside the ends of the hull?"
        )
    _, y, z = _centre(wet, heel=heel)
    return Floating(
        ride_height=float(place[0]),
        pitch=float(place[1]),
        lever=y * math.cos(heel) + z * math.sin(heel),
    )


def _level_ride_height(panels: _Panels, heel: float, volume: float) -> float:
    """Ride height at which the untrimmed hull about displaces a volume, by bisection."""
    if not volume > 0.0:
        raise ValueError(f"A floating hull displaces something; {volume:g} m^3 are given.")
    height = panels.z * math.cos(heel) - np.abs(panels.y) * abs(math.sin(heel))
    low, high = -float(np.max(np.abs(panels.z)) + np.max(panels.y)), -float(np.min(height))
    reserve = _volume(_wet(panels, heel=heel, pitch=0.0, ride_height=low))
    if volume >= reserve:
        raise ValueError(
            f"The hull does not float: it would have to displace {volume:.4g} m^3, and closed by its deck it "
            f"has {reserve:.4g} m^3."
        )
    for _ in range(14):
        middle = 0.5 * (low + high)
        if _volume(_wet(panels, heel=heel, pitch=0.0, ride_height=middle)) > volume:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _unbalance(
    panels: _Panels, heel: float, place: FloatArray, volume: float, centre: tuple[float, float]
) -> tuple[FloatArray, FloatArray, _Wet]:
    """Volume too much and its moment forward of the centre of mass, and how both change with ride height and
    pitch: through the water plane, and because the hull turns.
    """
    ride_height, pitch = float(place[0]), float(place[1])
    wet = _wet(panels, heel=heel, pitch=pitch, ride_height=ride_height)
    cos_p, sin_p = math.cos(pitch), math.sin(pitch)
    mass_x, mass_up = centre[0], centre[1] * math.cos(heel)
    mass_forward = mass_x * cos_p - mass_up * sin_p
    displaced, first = _volume(wet), float(np.sum(wet.share * wet.x * wet.area))
    upright = float(np.sum(wet.share * wet.moment_up))
    error = np.array([displaced - volume, first * cos_p - upright * sin_p - displaced * mass_forward])
    plane = wet.share * wet.beam
    # how far the water plane forward of the centre of mass, and how fast it sinks in the section's plane
    forward = wet.x * cos_p + wet.emergence * sin_p - mass_forward
    sinking = np.stack((np.full_like(wet.x, 1.0 / cos_p), (wet.x + ride_height * sin_p) / cos_p**2))
    turning = -first * sin_p - upright * cos_p + displaced * (mass_x * sin_p + mass_up * cos_p)
    slopes = np.stack((-sinking @ plane, -sinking @ (plane * forward)))
    slopes[1, 1] += turning
    return error, slopes, wet


# --- sections in the water ----------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class _Panels:
    """The surface between neighbouring stations: x (panels, 2) of the two; y, z (panels, 2, points) of points
    that belong together, on one side from the centreline up to the sheer.
    """

    x: FloatArray
    y: FloatArray
    z: FloatArray


@dataclass(frozen=True, kw_only=True)
class _Samples:
    """Sections of the hull: x, `share` of the length (samples,), points and their slopes along x (samples,
    points).
    """

    x: FloatArray
    share: FloatArray
    y: FloatArray
    z: FloatArray
    slope_y: FloatArray
    slope_z: FloatArray


@dataclass(frozen=True, kw_only=True)
class _Wet:
    """What is under water of sections, (samples,): area, its moments across and up in axes turned by the
    heel, the breadth of the water plane and the reference axis's height over it in the section's plane.
    """

    x: FloatArray
    share: FloatArray
    area: FloatArray
    moment_across: FloatArray
    moment_up: FloatArray
    beam: FloatArray
    emergence: FloatArray


def _panels(shape: SectionShape) -> _Panels:
    check_shape(shape)
    # a flat bottom begins on the centreline
    outlines = [np.array(((0.0, outline[0][1]), *outline)) for outline in shape.outlines]
    pairs = [_matched(a, b) for a, b in pairwise(outlines)]
    count = max(pair.shape[1] for pair in pairs)
    points = np.stack(
        [np.concatenate((p, np.repeat(p[:, -1:], count - p.shape[1], axis=1)), axis=1) for p in pairs]
    )
    x = np.asarray(shape.station_x, dtype=np.float64)
    return _Panels(x=np.stack((x[:-1], x[1:]), axis=1), y=points[..., 0], z=points[..., 1])


def _matched(a: FloatArray, b: FloatArray) -> FloatArray:
    """Two outlines with as many points each, (2, points, 2)."""
    if len(a) == len(b):
        return np.stack((a, b))
    shares = np.union1d(_girth_shares(a), _girth_shares(b))
    return np.stack(
        [
            np.stack([np.interp(shares, _girth_shares(outline), outline[:, i]) for i in (0, 1)], axis=1)
            for outline in (a, b)
        ]
    )


def _girth_shares(outline: FloatArray) -> FloatArray:
    """Share of the girth from the centreline at which each point lies."""
    girth = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(outline, axis=0).T))))
    result: FloatArray = girth / girth[-1] if girth[-1] > 0.0 else np.linspace(0.0, 1.0, len(outline))
    return result


def _samples(
    panels: _Panels, panel: NDArray[np.intp], begin: FloatArray, end: FloatArray, *, nodes: int = _NODES
) -> _Samples:
    """Gauss's rule on parts of panels, from `begin` to `end` (0 to 1) each."""
    node, weight = gauss_nodes(nodes)
    place = (begin[:, None] + 0.5 * (node + 1.0) * (end - begin)[:, None]).ravel()
    share = (0.5 * weight * (end - begin)[:, None]).ravel()
    panel = np.repeat(panel, nodes)
    length = np.diff(panels.x, axis=1)[panel, 0]
    y, z = panels.y[panel], panels.z[panel]
    along = place[:, None]
    return _Samples(
        x=panels.x[panel, 0] + place * length,
        share=share * length,
        y=(1.0 - along) * y[:, 0] + along * y[:, 1],
        z=(1.0 - along) * z[:, 0] + along * z[:, 1],
        slope_y=(y[:, 1] - y[:, 0]) / length[:, None],
        slope_z=(z[:, 1] - z[:, 0]) / length[:, None],
    )


def _at_stations(panels: _Panels) -> _Samples:
    """The given sections themselves."""
    y, z = (np.concatenate((values[:, 0], values[-1:, 1])) for values in (panels.y, panels.z))
    x = np.append(panels.x[:, 0], panels.x[-1, 1])
    none = np.zeros_like(y)
    return _Samples(x=x, share=0.0 * x, y=y, z=z, slope_y=none, slope_z=none)


def _emergence(x: FloatArray, pitch: float, ride_height: float) -> FloatArray:
    """Height of the reference axis over the water, in the plane of the section at x."""
    return (ride_height + x * math.sin(pitch)) / math.cos(pitch)


def _between_changes(
    panels: _Panels, *, heel: float, pitch: float, ride_height: float
) -> tuple[NDArray[np.intp], FloatArray, FloatArray]:
    """Parts of panels within which the water plane crosses the same edges of the section: panel, beginning
    and end.
    """
    over = _emergence(panels.x, pitch, ride_height)[..., None]
    upright = panels.z * math.cos(heel)
    across = panels.y * math.sin(heel)
    depth = np.concatenate((across - upright - over, -across - upright - over), axis=-1)
    first, last = depth[:, 0], depth[:, 1]
    passes = first * last < 0.0
    change = np.where(passes, first / np.where(passes, first - last, 1.0), 1.0)
    one = np.ones((len(change), 1))
    edges = np.sort(np.concatenate((0.0 * one, change, one), axis=1), axis=1)
    panel, part = np.nonzero(np.diff(edges, axis=1) > 1e-13)
    return panel, edges[panel, part], edges[panel, part + 1]


def _wet(panels: _Panels, *, heel: float, pitch: float, ride_height: float) -> _Wet:
    parts = _between_changes(panels, heel=heel, pitch=pitch, ride_height=ride_height)
    return _wet_sections(_samples(panels, *parts), heel=heel, pitch=pitch, ride_height=ride_height)


def _wet_sections(samples: _Samples, *, heel: float, pitch: float, ride_height: float) -> _Wet:
    """Green's theorem over the wet part of every polygon: in coordinates across the water and downwards the
    edge in the water plane adds nothing.
    """
    over = _emergence(samples.x, pitch, ride_height)
    y = np.concatenate((samples.y, -samples.y[:, ::-1], samples.y[:, :1]), axis=1)
    z = np.concatenate((samples.z, samples.z[:, ::-1], samples.z[:, :1]), axis=1)
    across = y * math.cos(heel) + z * math.sin(heel)
    depth = y * math.sin(heel) - z * math.cos(heel) - over[:, None]
    first, last = depth[:, :-1], depth[:, 1:]
    crossing = first * last < 0.0
    where = np.where(crossing, first / np.where(crossing, first - last, 1.0), 0.0)
    run = np.diff(across)
    wet = (first > 0.0) | (last > 0.0)
    start = np.where(crossing & (first < 0.0), where, 0.0)
    stop = np.where(crossing & (last < 0.0), where, 1.0)
    a, b = across[:, :-1] + start * run, across[:, :-1] + stop * run
    step = np.where(wet, b - a, 0.0)
    da, db = np.maximum(first, 0.0), np.maximum(last, 0.0)
    area = np.sum(0.5 * step * (da + db), axis=1)
    moment_down = np.sum(step * (da * da + da * db + db * db), axis=1) / 6.0
    return _Wet(
        x=samples.x,
        share=samples.share,
        area=area,
        moment_across=np.sum(step * (2.0 * (a * da + b * db) + a * db + b * da), axis=1) / 6.0,
        moment_up=-1.0 * moment_down - over * area,
        beam=np.sum(step, axis=1),
        emergence=over,
    )


def _volume(wet: _Wet) -> float:
    return float(np.sum(wet.share * wet.area))


def _centre(wet: _Wet, *, heel: float) -> tuple[float, float, float]:
    """Centroid in body axes, nan where nothing is wet."""
    volume = _volume(wet)
    if volume <= 0.0:
        return math.nan, math.nan, math.nan
    x, across, up = (
        float(np.sum(wet.share * values)) / volume
        for values in (wet.x * wet.area, wet.moment_across, wet.moment_up)
    )
    return (
        x,
        across * math.cos(heel) - up * math.sin(heel),
        across * math.sin(heel) + up * math.cos(heel),
    )


def _waterline_ends(x: FloatArray, keel: FloatArray) -> tuple[float, float]:
    """Where the keel line, straight between stations, enters and leaves the water."""
    wet = np.flatnonzero(keel < 0.0)
    ends = []
    for inner, outer in ((wet[0], wet[0] - 1), (wet[-1], wet[-1] + 1)):
        if 0 <= outer < len(x):
            share = keel[inner] / (keel[inner] - keel[outer])
            ends.append(float(x[inner] + share * (x[outer] - x[inner])))
        else:
            ends.append(float(x[inner]))
    return ends[0], ends[1]
