"""Where the elements of a foil are: a chain of straight elements on a canting arm, cut into panels.

Body axes: x forward of the reference point, y to leeward, z up. Horizontal axes have the same origin: forward
along the centreline's horizontal projection, to leeward across it, up. Arrays have the elements, or elements
and panels, as leading axes and the conditions last.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vpp.physics.arrays import Array, array_namespace, with_slopes

# Half width of the transition from dry to wet over depth, as a share of a panel's own span.
SURFACE_SHARE = 0.5
# Evenly spaced points of a panel at which its immersion is looked up. Three keep the immersed span of a
# slanting element within 0.1 % of a panel.
POINTS = 3
# Span direction's vertical component over which the surface crossing of a level element fades out.
LEVEL_WIDTH = 0.1


def smooth_step(x: Array) -> Array:
    """0 below x = -1, 1 above x = 1, twice continuously differentiable, and antisymmetric about x = 0 and
    1/2.

    A polynomial of fifth degree. Its integral across the step is that of a sudden one.
    """
    return with_slopes(_step, x)[0]


def _step(x: Array) -> tuple[tuple[Array], Callable[[], tuple[tuple[Array, Array]]]]:
    xp = array_namespace(x)
    t = 0.5 * (xp.minimum(xp.maximum(x, -1.0), 1.0) + 1.0)

    def slopes() -> tuple[tuple[Array, Array]]:
        rest = t * (1.0 - t)
        return ((15.0 * rest * rest, 15.0 * rest * (1.0 - 2.0 * t)),)

    return (t * t * t * (10.0 + t * (6.0 * t - 15.0)),), slopes


def body_to_horizontal(
    *, x: Array, y: Array, z: Array, heel: Array, pitch: Array
) -> tuple[Array, Array, Array]:
    """A body vector in horizontal axes: heeled to leeward about the centreline, then pitched bow up. All
    arguments broadcast; a plain zero pitch, that of a boat which never pitches, costs nothing.
    """
    xp = array_namespace(x, y, z, heel, pitch)
    cos_h, sin_h = xp.cos(heel), xp.sin(heel)
    leeward, upright = y * cos_h + z * sin_h, z * cos_h - y * sin_h
    if isinstance(pitch, float) and pitch == 0.0:
        return x, leeward, upright
    cos_p, sin_p = xp.cos(pitch), xp.sin(pitch)
    return x * cos_p - upright * sin_p, leeward, upright * cos_p + x * sin_p


def horizontal_to_body(
    *, forward: Array, leeward: Array, up: Array, heel: Array, pitch: Array
) -> tuple[Array, Array, Array]:
    """The inverse of `body_to_horizontal`."""
    xp = array_namespace(forward, leeward, up, heel, pitch)
    (cos_h, sin_h), (cos_p, sin_p) = ((xp.cos(angle), xp.sin(angle)) for angle in (heel, pitch))
    upright = up * cos_p - forward * sin_p
    return (
        forward * cos_p + up * sin_p,
        leeward * cos_h - upright * sin_h,
        leeward * sin_h + upright * cos_h,
    )


def water_velocity(
    *, boat_speed: Array, leeway: Array, heel: Array, pitch: Array
) -> tuple[Array, Array, Array]:
    """Velocity [m/s] of undisturbed water as the boat sees it, in body axes.

    Aft along the course, and with positive leeway also to windward.
    """
    xp = array_namespace(boat_speed, leeway, heel, pitch)
    return horizontal_to_body(
        forward=-boat_speed * xp.cos(leeway),
        leeward=-boat_speed * xp.sin(leeway),
        up=0.0,
        heel=heel,
        pitch=pitch,
    )


@dataclass(frozen=True, kw_only=True)
class FoilShape:
    """A foil as built, lengths [m] and angles [rad].

    `side` is 1 for a foil on the leeward side and -1 to windward (either for one on the centreline); the
    attachment is in body axes; (conditions,) each. Per element, (elements, conditions): `span` across x;
    `dihedral` from level at zero cant, tip up positive, so that -90 deg points down: an arm is such an
    element, with the arm's length as span; `outward` 1 where the element runs away from the centreline and
    -1 where it runs back; `sweep` of the quarter chords, aft positive; chords along x at the element's start
    (root) and end (tip).
    """

    side: Array
    attachment_x: Array
    attachment_y: Array
    attachment_z: Array
    span: Array
    dihedral: Array
    outward: Array
    sweep: Array
    root_chord: Array
    tip_chord: Array


@dataclass(frozen=True, kw_only=True)
class FoilPlace:
    """Where a foil's elements are, (elements, conditions).

    `start_x, start_y, start_z`: the quarter chord at the element's start, body axes; `start_depth`: how far
    it lies below the undisturbed water plane, negative in the air. `step_x`: aft run per unit of span,
    negative; `span_y, span_z`: unit vector across x from the start of the element to its end;
    `normal_y, normal_z`: unit normal towards which a positive incidence lifts; body axes. The normal points
    up for a level element and outward for one that hangs down. `rise`: how much a point rises over the
    water, per unit of span.
    """

    span: Array
    root_chord: Array
    tip_chord: Array
    sweep: Array
    start_x: Array
    start_y: Array
    start_z: Array
    start_depth: Array
    step_x: Array
    span_y: Array
    span_z: Array
    normal_y: Array
    normal_z: Array
    rise: Array


@dataclass(frozen=True, kw_only=True)
class FoilPanels:
    """A foil cut into panels, (elements, panels, conditions).

    x, y, z: panel centres on the quarter chords in body axes; forward, leeward: the same in horizontal axes;
    `depth` below the undisturbed water plane, negative in the air; `chord`; `length` along the span;
    `immersed_share` of each panel.
    """

    x: Array
    y: Array
    z: Array
    forward: Array
    leeward: Array
    depth: Array
    chord: Array
    length: Array
    immersed_share: Array


def place(
    *,
    shape: FoilShape,
    after: tuple[int | None, ...],
    cant: Array,
    ride_height: Array,
    heel: Array,
    pitch: Array,
) -> FoilPlace:
    """A foil's elements at a cant and an attitude, the latter (conditions,) each.

    `after` says for every element which earlier one it goes on from, None for the attachment. `cant` [rad]
    turns the whole foil about a fore-and-aft axis through the attachment, from the boat's vertical, positive
    outward. `ride_height` [m] is that of the reference point above the undisturbed water plane; heel to
    leeward and pitch bow up positive. Leeway turns the horizontal axes and so moves nothing here. Exact;
    waves and the boat's own wave are left out.

    Raises ValueError where `after` does not fit the elements.
    """
    _check_chain(after, shape.span.shape[0])
    xp = array_namespace(cant, ride_height, heel, pitch, shape.span)
    span_out, span_up = xp.cos(shape.dihedral) * shape.outward, xp.sin(shape.dihedral)
    normal_out, normal_up = -span_up * shape.outward, xp.cos(shape.dihedral)
    span_y, span_z = _canted(span_out, span_up, cant, shape.side)
    normal_y, normal_z = _canted(normal_out, normal_up, cant, shape.side)
    step_x = -xp.tan(shape.sweep)
    before = _elements_before(after)
    start_x = shape.attachment_x + xp.matmul(before, shape.span * step_x)
    start_y = shape.attachment_y + xp.matmul(before, shape.span * span_y)
    start_z = shape.attachment_z + xp.matmul(before, shape.span * span_z)
    up_x, up_y, up_z = horizontal_to_body(forward=0.0, leeward=0.0, up=1.0, heel=heel, pitch=pitch)
    start_up = start_x * up_x + start_y * up_y + start_z * up_z
    return FoilPlace(
        span=shape.span,
        root_chord=shape.root_chord,
        tip_chord=shape.tip_chord,
        sweep=shape.sweep,
        start_x=start_x,
        start_y=start_y,
        start_z=start_z,
        start_depth=-1.0 * (start_up + ride_height),
        step_x=step_x,
        span_y=span_y,
        span_z=span_z,
        normal_y=normal_y,
        normal_z=normal_z,
        rise=step_x * up_x + span_y * up_y + span_z * up_z,
    )


def panels(*, at: FoilPlace, panel_count: int, heel: Array, pitch: Array) -> FoilPanels:
    """A placed foil cut into panels of equal span on each element."""
    share = panel_shares(panel_count)[None]
    along = share * at.span[:, None]
    x = at.start_x[:, None] + along * at.step_x[:, None]
    y = at.start_y[:, None] + along * at.span_y[:, None]
    z = at.start_z[:, None] + along * at.span_z[:, None]
    forward, leeward, _ = body_to_horizontal(x=x, y=y, z=z, heel=heel, pitch=pitch)
    depth = at.start_depth[:, None] - along * at.rise[:, None]
    return FoilPanels(
        x=x,
        y=y,
        z=z,
        forward=forward,
        leeward=leeward,
        depth=depth,
        chord=at.root_chord[:, None] + share * (at.tip_chord - at.root_chord)[:, None],
        length=at.span[:, None] / panel_count + 0.0 * share,
        immersed_share=immersed_shares(
            start_depth=at.start_depth[:, None],
            rise=at.rise[:, None],
            span=at.span[:, None],
            panel_count=panel_count,
        ),
    )


def panel_shares(panel_count: int) -> NDArray[np.float64]:
    """Where the panel centres of an element lie along its span, from 0 to 1, (panels, 1)."""
    result: NDArray[np.float64] = ((np.arange(panel_count) + 0.5) / panel_count)[:, None]
    return result


def immersed_shares(*, start_depth: Array, rise: Array, span: Array, panel_count: int) -> Array:
    """Immersed share of an element's panels, (panels, conditions); arguments (conditions,), or with leading
    axes and an axis of length one for the panels.

    A point counts as wet by `smooth_step` of its depth over `SURFACE_SHARE` of a panel's span, and a panel
    by the mean of `POINTS` points. Twice continuously differentiable. Immersed span is exact to 0.1 % of a
    panel where the ends of the chain are that far from the surface; a level element comes out of the water
    gradually over that depth.
    """
    point = panel_shares(panel_count * POINTS)
    wet = smooth_step((start_depth - (point * span) * rise) / ((SURFACE_SHARE / panel_count) * span))
    by_panel = wet.reshape(*wet.shape[:-2], panel_count, POINTS, wet.shape[-1])
    return array_namespace(wet).sum(by_panel, axis=-2) / POINTS


def crossing_shares(*, start_depth: Array, rise: Array, span: Array, panel_count: int) -> Array:
    """How much of a cut through the surface lies in each panel of an element, (panels, conditions); arguments
    as in `immersed_shares`.

    They add up to 1 for an element that pierces the surface and to 0 for one that does not; a level element,
    within about 5 deg, does not pierce it.
    """
    xp = array_namespace(start_depth, rise)
    node = (np.arange(panel_count + 1.0) / panel_count)[:, None]
    wet = smooth_step((start_depth - (node * span) * rise) / ((SURFACE_SHARE / panel_count) * span))
    return (wet[..., 1:, :] - wet[..., :-1, :]) * xp.tanh(-1.0 * rise / LEVEL_WIDTH)


def immersed_span(*, at: FoilPlace, panel_count: int) -> Array:
    """Span under water of each element [m], (elements, conditions)."""
    wet = immersed_shares(
        start_depth=at.start_depth[:, None],
        rise=at.rise[:, None],
        span=at.span[:, None],
        panel_count=panel_count,
    )
    return array_namespace(wet).sum(wet, axis=1) * at.span / panel_count


def _check_chain(after: tuple[int | None, ...], count: int) -> None:
    if len(after) != count:
        raise ValueError(f"{len(after)} links are given for a foil of {count} elements.")
    for i, link in enumerate(after):
        if link is not None and not 0 <= link < i:
            raise ValueError(f"Element {i} goes on from element {link}, which is not an earlier one.")


def _canted(out: Array, up: Array, cant: Array, side: Array) -> tuple[Array, Array]:
    """Body y and z of a vector given outward and up at zero cant."""
    xp = array_namespace(out, up, cant)
    cos_c, sin_c = xp.cos(cant), xp.sin(cant)
    return side * (out * cos_c - up * sin_c), out * sin_c + up * cos_c


def _elements_before(after: tuple[int | None, ...]) -> NDArray[np.float64]:
    """1 where a column's element lies between the attachment and a row's, (elements, elements)."""
    result = np.zeros((len(after), len(after)))
    for i, link in enumerate(after):
        if link is not None:
            result[i] = result[link]
            result[i, link] = 1.0
    return result
