"""Does a solution hold? Forces and moments summed again from the exported records, by code that shares
nothing with the equations.

Each check gives a relative error for every condition; the largest is what counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

# A converged condition must close to this. The solver stops at residuals a thousand times smaller.
TOLERANCE = 1e-6
# Second reference point of the moment check [m], in the axes of the course: anywhere but the first.
SECOND_POINT = np.array([1.7, -0.6, 2.3])


@dataclass(frozen=True, kw_only=True)
class Record:
    """What was exported of every condition; n conditions, all SI, axes of the course.

    `force` and `moment` (components, 3, n) with each component's `medium`; `strip_*` (strips, n) in axes that
    heel with the boat, with the sail's place among the components for each strip in `strip_component`; angles
    and speeds (n,).
    """

    medium: tuple[str, ...]
    force: FloatArray
    moment: FloatArray
    strip_component: NDArray[np.intp]
    strip_height: FloatArray
    strip_x: FloatArray
    strip_forward: FloatArray
    strip_leeward: FloatArray
    true_wind_speed: FloatArray
    true_wind_angle: FloatArray
    boat_speed: FloatArray
    leeway: FloatArray
    heel: FloatArray
    pitch: FloatArray
    beta: FloatArray


def largest_error(record: Record) -> FloatArray:
    """Largest relative error of all checks, (n,)."""
    checks = (force_error, moment_error, strip_error, wind_triangle_error, course_theorem_error, power_error)
    result: FloatArray = np.max([check(record) for check in checks], axis=0)
    return result


def force_error(record: Record) -> FloatArray:
    """Sum of all forces over the sum of their sizes."""
    total = np.linalg.norm(record.force.sum(axis=0), axis=0)
    result: FloatArray = total / np.linalg.norm(record.force, axis=1).sum(axis=0)
    return result


def moment_error(record: Record) -> FloatArray:
    """Sum of all moments about a second point over the sum of their sizes there."""
    about = record.moment - np.cross(SECOND_POINT[None, :, None], record.force, axis=1)
    total = np.linalg.norm(about.sum(axis=0), axis=0)
    result: FloatArray = total / np.linalg.norm(about, axis=1).sum(axis=0)
    return result


def strip_error(record: Record) -> FloatArray:
    """Sails' forces and moments summed again from their strips, turned into the course's axes one strip at a
    time.
    """
    axes = _body_axes(record.leeway, record.heel, record.pitch)
    worst = np.zeros(len(record.heel))
    for component in np.unique(record.strip_component):
        force = np.zeros((3, len(worst)))
        moment = np.zeros((3, len(worst)))
        for strip in np.flatnonzero(record.strip_component == component):
            strip_force = record.strip_forward[strip] * axes[0] + record.strip_leeward[strip] * axes[1]
            place = record.strip_x[strip] * axes[0] + record.strip_height[strip] * axes[2]
            force += strip_force
            moment += np.cross(place, strip_force, axis=0)
        for again, said in ((force, record.force[component]), (moment, record.moment[component])):
            worst = np.maximum(worst, np.linalg.norm(again - said, axis=0) / np.linalg.norm(said, axis=0))
    return worst


def _body_axes(leeway: FloatArray, heel: FloatArray, pitch: FloatArray) -> FloatArray:
    """Forward, to leeward normal to the mast, and up the mast, in the course's axes: (3 axes, 3 parts, n)."""
    ahead, aside = np.cos(leeway), np.sin(leeway)
    forward = np.array([np.cos(pitch) * ahead, -np.cos(pitch) * aside, np.sin(pitch)])
    bow_part = np.sin(heel) * np.sin(pitch)
    leeward = np.array(
        [
            bow_part * ahead + np.cos(heel) * aside,
            np.cos(heel) * ahead - bow_part * aside,
            -np.sin(heel) * np.cos(pitch),
        ]
    )
    axes: FloatArray = np.array([forward, leeward, np.cross(forward, leeward, axis=0)])
    return axes


def wind_triangle_error(record: Record) -> FloatArray:
    """Angle between the apparent wind as reported and the true wind less the boat's own motion [rad]."""
    towards = np.pi - record.true_wind_angle
    wind = record.true_wind_speed * np.exp(1j * towards)
    apparent = wind - record.boat_speed
    error: FloatArray = np.abs(np.angle(apparent / np.exp(1j * (np.pi - record.beta))))
    return error


def course_theorem_error(record: Record) -> FloatArray:
    """Apparent wind angle from the course less the two drag angles [rad].

    Zero in any equilibrium (Lanchester, Aerodynamics, 1907).
    """
    air = _sum_of(record, "air")
    water = _sum_of(record, "water")
    downwind = np.array([-np.cos(record.beta), np.sin(record.beta)])
    across = np.array([np.sin(record.beta), np.cos(record.beta)])
    air_angle = np.arctan2((air * downwind).sum(axis=0), (air * across).sum(axis=0))
    water_angle = np.arctan2(-water[0], -water[1])
    difference = record.beta - air_angle - water_angle
    error: FloatArray = np.abs(np.angle(np.exp(1j * difference)))
    return error


def power_error(record: Record) -> FloatArray:
    """Power of the air's forces on the moving boat against the power lost to the water, over the latter."""
    gained = _sum_of(record, "air")[0] * record.boat_speed
    lost = -_sum_of(record, "water")[0] * record.boat_speed
    error: FloatArray = np.abs(gained - lost) / np.abs(lost)
    return error


def _sum_of(record: Record, medium: str) -> FloatArray:
    """Horizontal force of one medium, (2, n)."""
    result: FloatArray = record.force[np.array(record.medium) == medium][:, :2].sum(axis=0)
    return result
