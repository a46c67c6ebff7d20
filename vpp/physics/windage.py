"""Drag of bluff bodies in the wind: mast, rigging, hull, crew."""

from __future__ import annotations

from vpp.physics.arrays import Array, array_namespace

# Square of area times speed [m^6/s^2] that keeps the derivatives of a body without area finite.
NO_AREA = 1e-12


def bluff_body_force(
    *,
    from_ahead: Array,
    to_leeward: Array,
    frontal_area: Array,
    side_area: Array,
    drag_coefficient: Array,
    air_density: Array,
) -> tuple[Array, Array]:
    """Force forward and to leeward [N] on a bluff body in an apparent wind given by its two parts [m/s].

    The force lies along the wind. The area turns from the frontal to the side area [m^2] with the wind, as
    that of an ellipse's shadow. Drag coefficients on these areas: about 0.5 for a hull, 1.0 for a mast, 1.2
    for wire, within 30 %. Source: Larsson, Eliasson & Orych, "Principles of Yacht Design", fig. 9.2. Some
    wind is needed: at none at all the derivatives do not exist. A body without area feels some 1e-5 N.
    """
    xp = array_namespace(from_ahead, to_leeward)
    area_times_speed = xp.sqrt((frontal_area * from_ahead) ** 2 + (side_area * to_leeward) ** 2 + NO_AREA)
    scale = 0.5 * air_density * drag_coefficient * area_times_speed
    return -scale * from_ahead, scale * to_leeward
