"""Righting arms and moments: hull form, masses, canting ballast.

Righting is positive here: it turns the mast back to windward. Heel is positive to leeward.
"""

from __future__ import annotations

import math

from vpp.physics.arrays import Array, array_namespace


def wall_sided_righting_arm(*, heel: Array, metacentric_height: Array, metacentric_radius: Array) -> Array:
    """Righting arm GZ [m] of a hull whose sides are vertical at the water plane, at constant displacement.

    GZ = sin(heel) (GM + BM tan(heel)^2 / 2), exact for such a hull until the deck edge goes under or the
    bilge comes out (`wall_sided_limit`). heel [rad], metacentric_height GM and metacentric_radius BM [m]
    broadcast.

    Source: E. C. Tupper, Introduction to Naval Architecture ("wall-sided formula"); the edition and page
    are from memory, the formula is derived in the theory page.
    """
    xp = array_namespace(heel, metacentric_height, metacentric_radius)
    return xp.sin(heel) * (metacentric_height + 0.5 * metacentric_radius * xp.tan(heel) ** 2)


def wall_sided_limit(*, beam: float, draught: float, freeboard: float) -> float:
    """Heel [rad] at which a box of that beam, draught and freeboard [m] loses its vertical sides.

    Its deck edge goes under or its bilge comes out.
    """
    return math.atan(2.0 * min(draught, freeboard) / beam)


def form_righting_moment(
    *, heel: Array, weight: Array, buoyancy_centre_z: Array, metacentric_radius: Array
) -> Array:
    """Righting moment [N m] of the buoyancy of a wall-sided hull.

    About the point of the centreline in the upright water plane. weight [N] is the buoyant force;
    buoyancy_centre_z [m] of the upright hull is negative below the water plane. The moment of the masses
    about the same point is `mass_righting_moment`; the two together are weight times
    `wall_sided_righting_arm`. Valid as that is.
    """
    return weight * wall_sided_righting_arm(
        heel=heel,
        metacentric_height=buoyancy_centre_z + metacentric_radius,
        metacentric_radius=metacentric_radius,
    )


def mass_righting_moment(*, heel: Array, mass: Array, y: Array, z: Array, gravity: Array) -> Array:
    """Righting moment [N m] of a mass at body coordinates y (to leeward) and z (up from the water plane).

    -m g (y cos(heel) + z sin(heel)): a mass to windward (y < 0) or below the water plane (z < 0) rights,
    one aloft heels. Exact.
    """
    xp = array_namespace(heel, mass, y, z, gravity)
    return -mass * gravity * (y * xp.cos(heel) + z * xp.sin(heel))


def canting_lever(*, radius: Array, cant: Array, heel: Array) -> Array:
    """Horizontal lever [m] to windward of ballast that hangs at `radius` [m] below its pivot.

    radius sin(cant + heel), with `cant` [rad] to windward from the boat's own vertical. Exact.
    """
    xp = array_namespace(radius, cant, heel)
    return radius * xp.sin(cant + heel)


def canting_righting_moment(*, mass: Array, radius: Array, cant: Array, heel: Array, gravity: Array) -> Array:
    """Righting moment [N m] of canting ballast about its pivot, positive as in `canting_lever`. Exact."""
    return mass * gravity * canting_lever(radius=radius, cant=cant, heel=heel)
