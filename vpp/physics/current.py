"""Sailing in a uniform current: the wind over the water, and the way over the ground.

All angles are counted from the eye of the ground wind (the direction it blows from), in the horizontal plane,
positive to port of it seen looking to windward: the side on which a boat on starboard tack sails. A boat on
port tack is the mirror image, with the set's sign turned. A set is the direction that the current flows to: 0
to windward, pi to leeward.
"""

from __future__ import annotations

from vpp.physics.arrays import Array, array_namespace


def sailing_wind(
    *, ground_wind_speed: Array, current_speed: Array, current_set: Array
) -> tuple[Array, Array]:
    """True wind over the water: its speed [m/s], and the shift of its eye from that of the ground wind [rad].

    The shift lies in [-pi, pi]. A boat on starboard tack at the true wind angle TWA goes through the water at
    TWA + shift from the eye of the ground wind; on port tack at TWA - shift to the other side. Leeway is
    within TWA, which is counted from the course through the water. Exact (sum of vectors); both winds are
    those at one height. The shift is undefined without wind over the water.
    """
    xp = array_namespace(ground_wind_speed, current_speed, current_set)
    # the boat is carried along, and feels that as wind from where it is carried to
    to_windward = ground_wind_speed + current_speed * xp.cos(current_set)
    across = current_speed * xp.sin(current_set)
    return xp.sqrt(to_windward * to_windward + across * across), xp.arctan2(across, to_windward)


def over_ground(
    *, boat_speed: Array, course_angle: Array, current_speed: Array, current_set: Array
) -> tuple[Array, Array, Array]:
    """Speed over ground [m/s], course over ground [rad] and speed made good to windward over ground [m/s].

    `course_angle` is that of the course through the water from the eye of the ground wind: true wind angle
    plus the shift of `sailing_wind`. The course over ground lies in [-pi, pi] and is undefined at rest over
    ground; made good is towards the eye of the ground wind. Exact (sum of vectors).
    """
    xp = array_namespace(boat_speed, course_angle, current_speed, current_set)
    to_windward = boat_speed * xp.cos(course_angle) + current_speed * xp.cos(current_set)
    across = boat_speed * xp.sin(course_angle) + current_speed * xp.sin(current_set)
    speed = xp.sqrt(to_windward * to_windward + across * across)
    return speed, xp.arctan2(across, to_windward), to_windward
