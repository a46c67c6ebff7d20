"""Lifting line of a whole rig: bound vortices at the sails' places, straight wakes, and the deck and the
water as mirrors.

Each sail is a vertical bound vortex of piecewise constant circulation. At every node between two stations a
straight trailing vortex leaves along the apparent wind. In the plane normal to the mast, velocities have a
part along that wind and a part across it, the latter positive in the direction of lift. Positive circulation
gives lift to leeward.

The method is the numerical lifting line with vector velocities (Phillips & Snyder, "Modern adaptation of
Prandtl's classic lifting-line theory", Journal of Aircraft 37(4), 2000, doi:10.2514/2.2649), with the nodes
and control points spaced evenly in angle (Glauert 1926).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vpp.physics.arrays import (
    Array,
    apply_operator,
    apply_turning_operator,
    array_namespace,
    elementwise,
    needs_taylor_matrices,
    without_derivatives,
)
from vpp.physics.sections import shed_lift, shed_share

FloatArray = NDArray[np.float64]

# The mutual influence of two sails is carried as a Fourier series in the apparent wind angle, fitted once for
# each boat. The order is the lowest that leaves less error than the stations do; a test holds it.
FOURIER_ORDER = 7
FIT_ANGLES = np.radians(np.arange(6.0, 186.1, 2.0))
# The two places along a chord at which the flow is looked up, as shares of the chord behind the bound vortex
# on the quarter chord: where the section meets the flow (Pistolesi's theorem; Weissinger, NACA TM 1120,
# 1947), and where its force acts.
MET, BOUND = 0, 1
PLACES = (0.5, 0.0)
# Radius inside which another sail's trailing vortex is smoothed, as a share of that sail's span: about a shed
# sheet's rolled-up thickness.
CORE_SHARE = 0.02
# The circulation has converged when Newton's step, over the wind speed, is below this: the next one would
# square it.
TOLERANCE = 1e-8
ROUNDING = 1e-14
MOST_ITERATIONS = 40
MOST_HALVINGS = 6
# Steps taken where the numbers are not known while the loop is laid out (JAX).
TRACED_ITERATIONS = 12


@dataclass(frozen=True, kw_only=True)
class Mirror:
    """The surface below the sails, upright: the deck near by, the water farther out.

    The deck at `deck_height` mirrors a vortex at the mean height h above it by the share `(1 - leakage) 2/pi
    arctan(half width / h)`: all of it for an endless deck, none for a narrow one far below; the water at
    height zero mirrors what is left.
    """

    deck_height: float
    deck_half_width: float
    leakage: float


@dataclass(frozen=True, kw_only=True)
class SailLine:
    """Where one sail's vortices lie.

    Node heights (n + 1,); at the control heights (n,) the bound vortex's x and the chord. `mirror` is what
    lies below this sail where that is not what lies below the rig.
    """

    node_height: FloatArray
    control_height: FloatArray
    x: FloatArray
    chord: FloatArray
    mirror: Mirror | None = None

    @property
    def width(self) -> FloatArray:
        """Height of each strip."""
        return np.diff(self.node_height)


@dataclass(frozen=True, kw_only=True)
class WakeOperator:
    """Velocity induced at every station by unit circulation, as a Fourier series in the apparent wind angle.

    `coefficients` has the shape (boats, places, terms, 2 n, n), with the places `MET` and `BOUND`. Rows 0 to
    n - 1 give the velocity across the wind, the rest along it. `boat` names the boat of each condition.
    """

    coefficients: FloatArray
    boat: NDArray[np.intp]

    def at(self, angle: Array, order: int = 0, place: int = MET) -> Array:
        """The operator (conditions, 2 n, n) at an angle (conditions,), or its derivative of order 1 or 2."""
        basis = fourier_basis(angle, order)
        xp = array_namespace(angle)
        if xp is not np:
            return xp.einsum("kc,ckij->cij", basis, xp.asarray(self.coefficients[:, place])[self.boat])
        result = np.empty((len(self.boat), *self.coefficients.shape[3:]))
        flat = self.coefficients[:, place].reshape(len(self.coefficients), len(basis), -1)
        for boat in np.unique(self.boat):
            of_boat = self.boat == boat
            # einsum and not a matrix product: its sum over terms does not depend on how many conditions share
            # the call
            result[of_boat] = np.einsum("kc,km->cm", basis[:, of_boat], flat[boat]).reshape(
                -1, *self.coefficients.shape[3:]
            )
        return result

    def turned(self, angle: Array, place: int = MET) -> TurnedWake:
        """The operator at the apparent wind angle of each condition."""
        orders = (0, 1, 2) if needs_taylor_matrices(angle) else (0,)
        plain = without_derivatives(angle) if len(orders) > 1 else angle
        return TurnedWake(matrices=tuple(self.at(plain, order, place) for order in orders), angle=angle)


@dataclass(frozen=True, kw_only=True)
class TurnedWake:
    """A `WakeOperator` at one apparent wind angle a condition.

    `matrices` holds the matrix (conditions, 2 n, n), and its first two derivatives where they are carried.
    """

    matrices: tuple[Array, ...]
    angle: Array

    def induced(self, circulation: Array) -> tuple[Array, Array]:
        """Velocity across and along the wind at the stations, each (n, conditions), by the circulation (n,
        conditions).
        """
        both = apply_turning_operator(self.matrices, self.angle, circulation)
        count = both.shape[0] // 2
        return both[:count], both[count:]


def stations(*, lower: float, upper: float, count: int) -> tuple[FloatArray, FloatArray]:
    """Node heights (count + 1,) and control heights (count,), evenly spaced in angle so that both ends are
    resolved.
    """
    middle, half = 0.5 * (lower + upper), 0.5 * (upper - lower)
    nodes = middle - half * np.cos(np.pi * np.arange(count + 1) / count)
    controls = middle - half * np.cos(np.pi * (np.arange(count) + 0.5) / count)
    return nodes, controls


def fourier_basis(angle: Array, order: int = 0) -> Array:
    """Terms of a Fourier series in an angle (conditions,), or a derivative of them: (terms, conditions).

    They are 1, cos, sin, cos 2, sin 2 and so on.
    """
    xp = array_namespace(angle)
    turn = 0.5 * math.pi * order
    terms = [xp.ones_like(angle) if order == 0 else xp.zeros_like(angle)]
    for k in range(1, FOURIER_ORDER + 1):
        terms += [k**order * xp.cos(k * angle + turn), k**order * xp.sin(k * angle + turn)]
    return xp.stack(terms)


def self_influence(*, line: SailLine, mirror: Mirror | None) -> FloatArray:
    """Velocity across the wind at a sail's own stations by unit circulation of its strips, mirror included,
    (n, n) [1/m].
    """
    z = line.control_height[:, None]
    low, high = line.node_height[None, :-1], line.node_height[None, 1:]
    influence = _wake_pair(z, low, high)
    if mirror is None:
        return influence
    for share, plane in _mirrors(mirror, z, line.control_height[None, :]):
        influence = influence + share * _wake_pair(z, 2.0 * plane - high, 2.0 * plane - low)
    return influence


def _wake_pair(z: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
    """A strip's two trailing vortices, which begin abreast of the station."""
    return (1.0 / (z - high) - 1.0 / (z - low)) / (4.0 * math.pi)


def _mirrors(mirror: Mirror, z: FloatArray, other: FloatArray) -> list[tuple[FloatArray, float]]:
    # a foot may hang into a well beside another sail's deck
    height = np.maximum(0.5 * (z + other) - mirror.deck_height, 0.0)
    deck = (1.0 - mirror.leakage) * 2.0 / math.pi * np.arctan2(mirror.deck_half_width, height)
    return [(deck, mirror.deck_height), (1.0 - deck, 0.0)]


def mutual_influence(
    *, on: SailLine, by: SailLine, mirror: Mirror | None, angle: float, place: int = MET
) -> tuple[FloatArray, FloatArray]:
    """Velocity across and along the wind at one sail's stations by unit circulation of another's strips, each
    (n_on, n_by) [1/m].

    Taken at a place along the chord, `MET` or `BOUND`, with the chord along the centreline: one that lies
    ahead is to leeward of the wind through the other. `angle` [rad] is that of the apparent wind from the
    centreline. Trailing vortices have a core of `CORE_SHARE` of the span.
    """
    z = on.control_height[:, None]
    ahead = (on.x - PLACES[place] * on.chord)[:, None] - by.x[None, :]
    downstream, leeward = -ahead * math.cos(angle), ahead * math.sin(angle)
    core = CORE_SHARE * (by.node_height[-1] - by.node_height[0])
    low, high = by.node_height[None, :-1], by.node_height[None, 1:]
    across, along = _horseshoe(z, low, high, downstream, leeward, core)
    if mirror is not None:
        for share, plane in _mirrors(mirror, z, by.control_height[None, :]):
            a, b = _horseshoe(z, 2.0 * plane - high, 2.0 * plane - low, downstream, leeward, core)
            across, along = across + share * a, along + share * b
    return across, along


def _horseshoe(
    z: FloatArray, low: FloatArray, high: FloatArray, downstream: FloatArray, leeward: FloatArray, core: float
) -> tuple[FloatArray, FloatArray]:
    """Biot-Savart of a vertical bound segment and its two trailing vortices, at a point downstream and to
    leeward of it.
    """
    to_low, to_high = z - low, z - high
    core2 = core * core
    plan = downstream**2 + leeward**2
    length_low, length_high = np.sqrt(plan + to_low**2 + core2), np.sqrt(plan + to_high**2 + core2)
    bound = (to_low / length_low - to_high / length_high) / (plan + core2)
    leg_low = (1.0 + downstream / length_low) * to_low / (leeward**2 + to_low**2 + core2)
    leg_high = (1.0 + downstream / length_high) * to_high / (leeward**2 + to_high**2 + core2)
    across = -downstream * bound + leg_high - leg_low
    along = leeward * bound
    return across / (4.0 * math.pi), along / (4.0 * math.pi)


def wake_coefficients(*, lines: tuple[SailLine, ...], mirror: Mirror | None) -> FloatArray:
    """Fourier coefficients of a rig's whole influence, (places, terms, 2 n, n), for `WakeOperator`.

    Least squares over apparent wind angles of 6 to 186 deg.
    """
    return np.stack([_wake_coefficients(lines, mirror, place) for place in (MET, BOUND)])


def _wake_coefficients(lines: tuple[SailLine, ...], mirror: Mirror | None, place: int) -> FloatArray:
    counts = [len(line.control_height) for line in lines]
    starts = np.concatenate([[0], np.cumsum(counts)])
    total = int(starts[-1])
    basis = fourier_basis(FIT_ANGLES)
    coefficients = np.zeros((len(basis), 2 * total, total))
    for i, on in enumerate(lines):
        rows = slice(starts[i], starts[i + 1])
        for j, by in enumerate(lines):
            columns = slice(starts[j], starts[j + 1])
            if i == j:
                coefficients[0, rows, columns] = self_influence(line=on, mirror=on.mirror or mirror)
                continue
            velocities = [
                mutual_influence(on=on, by=by, mirror=by.mirror or mirror, angle=float(angle), place=place)
                for angle in FIT_ANGLES
            ]
            samples = np.array(velocities)
            fitted = np.linalg.lstsq(basis.T, samples.reshape(len(FIT_ANGLES), -1), rcond=None)[0]
            fitted = fitted.reshape(len(basis), 2, counts[i], counts[j])
            coefficients[:, rows, columns] = fitted[:, 0]
            coefficients[:, total + starts[i] : total + starts[i + 1], columns] = fitted[:, 1]
    return coefficients


@dataclass(frozen=True, kw_only=True)
class StripFlow:
    """What every strip feels before the sails act on each other, in wind axes; arrays (n, conditions),
    `wind_angle` (conditions,).
    """

    along: Array
    across: Array
    wind_angle: Array
    chord_angle: Array
    chord: Array
    camber: Array
    stall_incidence: Array
    stall_width: Array

    def shedding_chord(self) -> Array:
        """Circulation over speed and lift coefficient: half the chord times the share of shed lift left."""

        def share(along: Array, across: Array, chord_angle: Array) -> tuple[Array]:
            xp = array_namespace(along, across, chord_angle)
            incidence = xp.arctan2(across, along) - chord_angle
            return (0.5 * self.chord * shed_share(incidence=incidence, stall_incidence=self.stall_incidence),)

        (result,) = elementwise(share, self.along, self.across, self.chord_angle)
        return result


def lifting_speed(*, along: Array, undisturbed_across: Array) -> Array:
    """Speed that circulation is made from [m/s]: the wind with what the other sails add along it, without the
    velocity induced across it.

    As in Prandtl's theory, circulation is half chord times this speed times lift coefficient. Were the
    velocity across to add to it, a strip at an edge could feed on its own wake without bound.
    """
    xp = array_namespace(along, undisturbed_across)
    return xp.sqrt(along * along + undisturbed_across * undisturbed_across)


def circulation(*, wake: TurnedWake, flow: StripFlow) -> Array:
    """Circulation of every strip (n, conditions) [m^2/s], such that each sheds what the flow induced by all
    of them makes it shed.

    Newton's method on plain numbers; derivatives are attached afterwards by two further steps with the matrix
    of the last, the first of which is exact to first order and the second to second (see Griewank & Walther,
    "Evaluating Derivatives", 2008, chapter 15). Where Newton has not converged in 40 steps the result is NaN.
    """
    plain = StripFlow(**{name: without_derivatives(value) for name, value in vars(flow).items()})
    shedding_chord = flow.shedding_chord()
    gamma, inverse = _converge(
        without_derivatives(wake.matrices[0]), plain, without_derivatives(shedding_chord)
    )
    xp = array_namespace(flow.along, flow.wind_angle, flow.chord_angle, flow.camber)
    if xp is np:
        return gamma
    for _ in range(2):
        gamma = gamma - apply_operator(inverse, _residual(wake, flow, shedding_chord, gamma))
    return gamma


def _residual(wake: TurnedWake, flow: StripFlow, shedding_chord: Array, gamma: Array) -> Array:
    across, along = wake.induced(gamma)

    def shed(
        along: Array, across: Array, induced: Array, chord_angle: Array, camber: Array, chord: Array
    ) -> tuple[Array]:
        xp = array_namespace(along, across, induced, chord_angle, camber, chord)
        lift, _ = shed_lift(
            incidence=xp.arctan2(across + induced, along) - chord_angle,
            camber=camber,
            stall_incidence=flow.stall_incidence,
            stall_width=flow.stall_width,
        )
        return (chord * lifting_speed(along=along, undisturbed_across=across) * lift,)

    (shed_by_strips,) = elementwise(
        shed, flow.along + along, flow.across, across, flow.chord_angle, flow.camber, shedding_chord
    )
    return gamma - shed_by_strips


@dataclass(frozen=True, kw_only=True)
class _Iterate:
    """Velocities at the strips with the circulation they shed, its slopes, and by how much they miss what it
    induces.
    """

    along: Array
    across: Array
    gamma: Array
    by_along: Array
    by_across: Array
    miss_along: Array
    miss_across: Array

    def error(self) -> Array:
        """Largest miss of every condition [m/s]."""
        xp = array_namespace(self.miss_along)
        return xp.max(xp.maximum(xp.abs(self.miss_along), xp.abs(self.miss_across)), axis=0)


def _iterate(matrix: Array, flow: StripFlow, shedding_chord: Array, along: Array, across: Array) -> _Iterate:
    xp = array_namespace(along, across)
    speed = lifting_speed(along=along, undisturbed_across=flow.across)
    lift, slope = shed_lift(
        incidence=xp.arctan2(across, along) - flow.chord_angle,
        camber=flow.camber,
        stall_incidence=flow.stall_incidence,
        stall_width=flow.stall_width,
    )
    gamma = shedding_chord * speed * lift
    turn = shedding_chord * speed * slope / (along * along + across * across)
    induced = apply_operator(matrix, gamma)
    count = len(gamma)
    return _Iterate(
        along=along,
        across=across,
        gamma=gamma,
        by_along=shedding_chord * lift * along / speed - turn * across,
        by_across=turn * along,
        miss_along=along - flow.along - induced[count:],
        miss_across=across - flow.across - induced[:count],
    )


def _newton_step(matrix: Array, now: _Iterate) -> tuple[Array, Array, Array]:
    """Changes of velocity along and across, and the inverse of the derivative of `circulation - shed
    circulation` by circulation.

    Newton in the velocities needs no larger matrix than Newton in the circulation (the Woodbury identity),
    and keeps the circulation within what a section can shed, where the other overshoots.
    """
    xp = array_namespace(now.along)
    count = len(now.gamma)
    coupled = now.by_across.T[:, :, None] * matrix[:, :count] + now.by_along.T[:, :, None] * matrix[:, count:]
    inverse = xp.linalg.inv(xp.eye(count) - coupled)
    change = apply_operator(inverse, -(now.by_across * now.miss_across + now.by_along * now.miss_along))
    induced = apply_operator(matrix, change)
    return induced[count:] - now.miss_along, induced[:count] - now.miss_across, inverse


def _first_velocities(flow: StripFlow) -> tuple[Array, Array]:
    """The undisturbed wind, turned so that no strip begins beyond its stall, where the slope says nothing."""
    xp = array_namespace(flow.along, flow.chord_angle)
    speed = xp.sqrt(flow.along * flow.along + flow.across * flow.across)
    incidence = 0.6 * (xp.arctan2(flow.across, flow.along) - flow.chord_angle)
    held = xp.maximum(xp.minimum(incidence, 0.5 * flow.stall_incidence), -0.5 * flow.stall_incidence)
    return speed * xp.cos(held + flow.chord_angle), speed * xp.sin(held + flow.chord_angle)


def _converge(matrix: Array, flow: StripFlow, shedding_chord: Array) -> tuple[Array, Array]:
    """Converged circulation, and the inverse that attaches its derivatives."""
    xp = array_namespace(flow.along, flow.wind_angle, flow.chord_angle, flow.camber)
    now = _iterate(matrix, flow, shedding_chord, *_first_velocities(flow))
    if xp is np:
        return _damped_newton(matrix, flow, shedding_chord, now)
    inverse = None
    for _ in range(TRACED_ITERATIONS):
        step_along, step_across, inverse = _newton_step(matrix, now)
        now = _iterate(matrix, flow, shedding_chord, now.along + step_along, now.across + step_across)
    return now.gamma, inverse


def _damped_newton(
    matrix: FloatArray, flow: StripFlow, shedding_chord: FloatArray, now: _Iterate
) -> tuple[FloatArray, FloatArray]:
    """Newton with step halving, on those conditions alone that have not converged."""
    count, conditions = now.gamma.shape
    gamma = np.full((count, conditions), np.nan)
    inverse = np.full((conditions, count, count), np.nan)
    left = np.arange(conditions)
    for _ in range(MOST_ITERATIONS):
        step_along, step_across, inverse[left] = _newton_step(matrix, now)
        size = now.error()
        length = np.ones(len(left))
        for _ in range(MOST_HALVINGS):
            trial = _iterate(
                matrix,
                flow,
                shedding_chord,
                now.along + length * step_along,
                now.across + length * step_across,
            )
            worse = ~(
                trial.error() <= (1.0 - 0.1 * length) * size + ROUNDING * np.max(np.abs(flow.along), axis=0)
            )
            if not worse.any():
                break
            length = np.where(worse, 0.5 * length, length)
        gamma[:, left] = trial.gamma
        step = length * np.max(np.maximum(np.abs(step_along), np.abs(step_across)), axis=0)
        moving = ~(step <= TOLERANCE * np.max(np.abs(flow.along) + np.abs(flow.across), axis=0))
        if not moving.any():
            return gamma, inverse
        left, matrix, flow, shedding_chord = (
            left[moving],
            matrix[moving],
            _at(flow, moving),
            shedding_chord[:, moving],
        )
        now = _Iterate(**{name: value[..., moving] for name, value in vars(trial).items()})
    gamma[:, left] = np.nan
    return gamma, inverse


def _at(flow: StripFlow, conditions: NDArray[np.bool_]) -> StripFlow:
    return StripFlow(**{name: value[..., conditions] for name, value in vars(flow).items()})
