"""Fins that come out of the water, and boards whose water surface gives way.

A fin is straight, along the boat's vertical axis, and lies anywhere on the boat. Lengths [m], angles [rad];
body axes: x forward of the reference point, y to leeward, z up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from vpp.physics.arrays import Array, array_namespace, elementwise
from vpp.physics.hydrofoils import piercing_efficiency
from vpp.physics.smoothing import smooth_floor

# Depth of the side force of an elliptically loaded fin below the water plane, as a share of its extended
# span: 4/(3 pi).
ELLIPTIC_CENTRE_SHARE = 4.0 / (3.0 * math.pi)
# Widths over which a fin starts to count as it enters, and what is left of a dry one, as shares of its built
# span.
_ENTRY_SHARE, _LEAST_SHARE = 0.05, 1e-3


@dataclass(frozen=True, kw_only=True)
class ImmersedFin:
    """A fin as the water surface leaves it, (conditions,).

    `span` and `area` of the part that is wet; `lifting_span` and `lifting_area` of the fin extended to the
    water plane, through the hull; `mean_depth`: vertical depth below the undisturbed water plane of the wet
    area's middle; `centre_depth`: that of the side force, and `centre_z` its height in body axes, on the
    fin's axis: 4/(3 pi) of the lifting span below the water plane. Spans and areas are positive: of a dry fin
    a thousandth is left.
    """

    span: Array
    area: Array
    lifting_span: Array
    lifting_area: Array
    mean_depth: Array
    centre_depth: Array
    centre_z: Array


def immersed_fin(
    *,
    root_z: Array,
    tip_z: Array,
    x: Array,
    y: Array,
    chords: tuple[Array, Array],
    heel: Array,
    pitch: Array,
    ride_height: Array,
) -> ImmersedFin:
    """What is wet of a fin, and where its side force acts, from its place and the boat's attitude.

    root_z, where it leaves the hull, lies above tip_z; x and y of its axis; chords at root and tip. heel to
    leeward and pitch bow up positive, `ride_height` [m] that of the reference point above the undisturbed
    water plane, as in `foil_geometry.place`. The wet part runs from the water plane or the hull, whichever is
    lower, to the tip; the lifting one from the water plane, as if the fin went on through the hull at its
    root chord (the extended-keel method, see `foils`). Elliptic loading below a rigid surface for the centre.

    Exact while a twentieth of the built span or more is wet (and, for the wet part, the water is not within
    that below the root, where it is up to 0.8 % of the built span too long). Below that everything goes
    smoothly to a thousandth, at which a dry fin stays. Heel and pitch to 60 deg; waves, the boat's own wave
    and the hull's flare are left out. Twice continuously differentiable. All arguments broadcast.
    """
    xp = array_namespace(heel, pitch, ride_height, root_z, tip_z, x, y)
    upright = xp.cos(heel) * xp.cos(pitch)
    built = root_z - tip_z
    root_chord, tip_chord = chords
    least, width = _LEAST_SHARE * built, _ENTRY_SHARE * built

    def cut(water_z: Array) -> tuple[Array, ...]:
        wet = built - smooth_floor(value=root_z - water_z, floor=0.0, width=width)
        wet = smooth_floor(value=wet, floor=least, width=width - least)
        lifting = smooth_floor(value=water_z - tip_z, floor=least, width=width - least)
        growth = (root_chord - tip_chord) / built
        area = wet * (tip_chord + 0.5 * growth * wet)
        lifting_area = area + (lifting - wet) * root_chord
        middle = wet * (0.5 * tip_chord + growth * wet / 3.0) / (tip_chord + 0.5 * growth * wet)
        return wet, area, lifting, lifting_area, lifting - middle

    # where the fin's axis meets the water plane, in body axes
    water_z = (y * xp.sin(heel) * xp.cos(pitch) - x * xp.sin(pitch) - ride_height) / upright
    wet, area, lifting, lifting_area, middle = elementwise(cut, water_z)
    return ImmersedFin(
        span=wet,
        area=area,
        lifting_span=lifting,
        lifting_area=lifting_area,
        mean_depth=middle * upright,
        centre_depth=ELLIPTIC_CENTRE_SHARE * lifting * upright,
        centre_z=tip_z + (1.0 - ELLIPTIC_CENTRE_SHARE) * lifting,
    )


def covered_share(*, hull_half_beam: Array, lifting_span: Array) -> Array:
    """Share of a board's image in a rigid surface that the hull above it keeps up: 2/pi arctan(b/h), h the
    depth of the side force, 4/(3 pi) of the span.

    hull_half_beam b of the bottom at the board, lifting_span [m] positive. The angle that a plate of that
    half width fills as seen from the load, over that of an endless one; sails have the same for their deck
    (`lifting_line.Mirror`). An estimate, no source: the plate is taken as endless fore and aft, whereas the
    wake leaves it at the transom. So it is an upper estimate: with it a keelboat has 12 to 27 % more
    effective draught than towing tests say.
    """
    xp = array_namespace(hull_half_beam, lifting_span)
    return 2.0 / math.pi * xp.arctan2(hull_half_beam, ELLIPTIC_CENTRE_SHARE * lifting_span)


def board_efficiency(*, depth_froude_number: Array, covered_share: Array) -> Array:
    """e of a board below a hull on its lifting span, waves included: D = F^2/(pi q b^2 e).

    depth_froude_number is V/sqrt(g b), positive, b the lifting span. Between two bounds, which it gives at a
    `covered_share` of 1 and 0: the rigid surface, 2 at any speed, and the bare water surface,
    `hydrofoils.piercing_efficiency`, which falls from 2, the limit at rest, to 8/pi^2 (least drag of a
    vertical board in linear theory, Froude number 0.1 to 30). The drag is shared between them, 1/e = c/2 +
    (1 - c)/e_bare: an assumption, no source. `fin_coefficients`, which has the rigid image in its aspect
    ratio, takes half of this as its `efficiency`. Vertical board, no ventilation.

    Yachts in towing tests, with a hull over their keel, behave like the bare surface
    (`hull.effective_draught_share`): where nothing is known, 0 is nearer to them than `covered_share`.
    """
    bare = piercing_efficiency(span_froude=depth_froude_number)
    return 1.0 / (0.5 * covered_share + (1.0 - covered_share) / bare)
