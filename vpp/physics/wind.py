"""True wind over the water, and the apparent wind on a moving, heeled boat."""

from __future__ import annotations

from vpp.physics.arrays import Array, array_namespace


def power_law_profile(*, height: Array, exponent: Array, reference_height: Array) -> Array:
    """Ratio of the true wind speed at a height to that at the reference height [-].

    `height` [m] is above the water and must be positive. Valid over open water for heights of 1 to 100 m; the
    exponent over open sea is 0.11 +- 0.03 (Hsu, Meindl & Gilhousen, Journal of Applied Meteorology 33, 1994).
    """
    return (height / reference_height) ** exponent


def log_law_profile(*, height: Array, roughness_length: Array, reference_height: Array) -> Array:
    """Ratio of the true wind speed at a height to that at the reference height [-], neutral atmosphere.

    `height` must exceed `roughness_length` [m], about 0.0002 on calm water to 0.001 in a breeze. Source: the
    logarithmic law of the wall (Prandtl 1932), in the form of ISO 15016:2015.
    """
    xp = array_namespace(height)
    return xp.log(height / roughness_length) / xp.log(reference_height / roughness_length)


def apparent_wind(
    *, true_wind_speed: Array, true_wind_angle: Array, boat_speed: Array
) -> tuple[Array, Array]:
    """Apparent wind speed [m/s] and its angle beta from the course through the water [rad].

    The true wind speed is the one at the height of interest. Beta lies in [-pi, pi], positive from windward;
    with neither wind nor boat speed the angle is undefined.
    """
    xp = array_namespace(true_wind_speed, true_wind_angle, boat_speed)
    ahead = true_wind_speed * xp.cos(true_wind_angle) + boat_speed
    across = true_wind_speed * xp.sin(true_wind_angle)
    return xp.sqrt(ahead * ahead + across * across), xp.arctan2(across, ahead)


def wind_on_heeled_span(
    *, true_wind_speed: Array, true_wind_angle: Array, boat_speed: Array, leeway: Array, heel: Array
) -> tuple[Array, Array]:
    """Apparent wind normal to a span that heels with the boat: from ahead along the centreline, and to
    leeward across it [m/s].

    The lateral part is that in the heeled athwartships direction; what blows along the span does no work on a
    strip. All speeds are those at the strip's own height.
    """
    xp = array_namespace(true_wind_speed, true_wind_angle, boat_speed, leeway, heel)
    off_centreline, cos_heel = true_wind_angle - leeway, xp.cos(heel)
    # only the wind speed has an axis over the strips: what goes with it is put together first
    from_ahead = true_wind_speed * xp.cos(off_centreline) + boat_speed * xp.cos(leeway)
    to_leeward = true_wind_speed * (xp.sin(off_centreline) * cos_heel)
    return from_ahead, to_leeward - boat_speed * xp.sin(leeway) * cos_heel
