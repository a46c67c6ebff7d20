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
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from vpp.physics.arrays import (
    Array,
    apply_operator,
    array_namespace,
    elementwise,
    repeated_until,
    without_derivatives,
)
from vpp.physics.sail_sections import cambered_stall
from vpp.physics.sections import cos_sin, shed_lift, shed_lift_within, shed_share, shedding_limits

FloatArray = NDArray[np.float64]
T = TypeVar("T")

# The mutual influence of two sails is carried as a Fourier series in the apparent wind angle, fitted once for
# each boat. The order is the lowest that leaves less error than the stations do; a test holds it.
FOURIER_ORDER = 7
FIT_ANGLES = np.radians(np.arange(6.0, 186.1, 2.0))
# Parts in which they are gone through: what one needs stays in the processor's cache.
FIT_PARTS = 4
# Conditions for which a Fourier series is summed at a time.
TERM_BLOCK = 16
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
# It also has when the velocities miss what it induces by no more than this, over the wind speed: the next
# step would be of that size.
MISS_TOLERANCE = 1e-11
ROUNDING = 1e-14
# Strips of a sail's wake, as another sail feels it, for each strip of its own.
WAKE_FINENESS = 5
MOST_ITERATIONS = 40
MOST_HALVINGS = 6
# Share of the conditions still on their way below which the others are dropped: a copy costs a good part of a
# step.
WORTH_DROPPING = 0.75
# Most steps taken where the numbers are not known while the loop is laid out (JAX): whole ones, of which the
# states of a search need four to six.
TRACED_ITERATIONS = 20


@dataclass(frozen=True, kw_only=True)
class Mirror:
    """The surface below the sails, upright: the deck near by, the water farther out.

    The deck at `deck_height` mirrors a vortex at the mean height h above it by the share `(1 - leakage) 2/pi
    arctan(half width / h)`: all of it for an endless deck, none for a narrow one far below; the water at
    `water_height`, below zero for a boat that is lifted, mirrors what is left.
    """

    deck_height: float
    deck_half_width: float
    leakage: float
    water_height: float = 0.0


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
    n - 1 give the velocity across the wind, the rest along it. `boat` names the boat of each condition. Where
    `mirrored_from` (boats,) is given, the first half of the terms holds at that ride height [m], and the
    second half is what they change by for each metre above it.
    """

    coefficients: FloatArray
    boat: NDArray[np.intp]
    mirrored_from: FloatArray | None = None

    def at(self, angle: Array, order: int = 0, place: int = MET, *, ride_height: Array = 0.0) -> Array:
        """The operator (conditions, 2 n, n) at an angle and a ride height (conditions,), or its derivative of
        order 1 or 2 by the angle.
        """
        basis = self._basis(angle, order, ride_height)
        if array_namespace(angle) is not np:
            return _traced_sums([basis], self.coefficients[:, place], self.boat)[0]
        (found,) = _sums_of_terms([basis], self.coefficients[:, place : place + 1], self.boat)
        return found

    def _basis(self, angle: Array, order: int, ride_height: Array) -> Array:
        basis = fourier_basis(angle, order)
        if self.mirrored_from is None:
            return basis
        lift = ride_height - self.mirrored_from[self.boat]
        return array_namespace(angle, lift).concatenate([basis, basis * lift])

    def taylor(self, angle: FloatArray, ride_height: FloatArray) -> tuple[FloatArray, ...]:
        """The operators of `MET` and `BOUND` one below the other (conditions, 4 n, n), and their first two
        derivatives by the angle.
        """
        bases = [self._basis(angle, order, ride_height) for order in (0, 1, 2)]
        return _sums_of_terms(bases, self.coefficients, self.boat)

    def by_ride_height(self, angle: FloatArray) -> tuple[FloatArray, ...]:
        """Derivatives of those operators by the ride height, and by ride height and angle; none where the
        water stays where it is drawn.
        """
        if self.mirrored_from is None:
            return ()
        slopes = self.coefficients[:, :, self.coefficients.shape[2] // 2 :]
        return _sums_of_terms([fourier_basis(angle, order) for order in (0, 1)], slopes, self.boat)

    def turned(self, angle: Array, place: int = MET, *, ride_height: Array = 0.0) -> TurnedWake:
        """The operator at the apparent wind angle and the ride height of each condition."""
        if array_namespace(angle) is np:
            return TurnedWake(matrix=self.at(angle, place=place, ride_height=ride_height))
        return self._traced(angle, place, ride_height)

    def _traced(self, angle: Array, place: int, ride_height: Array) -> TurnedWake:
        """The same of traced numbers (JAX): plain matrices, with what they change by."""
        plain, level = without_derivatives(angle), without_derivatives(ride_height)
        bases = [self._basis(plain, order, level) for order in (0, 1, 2)]
        lift = None
        if self.mirrored_from is not None:
            slope = fourier_basis(plain), fourier_basis(plain, 1)
            xp = array_namespace(angle)
            bases += [xp.concatenate([xp.zeros_like(basis), basis]) for basis in slope]
            lift = ride_height - level
        matrix, *moving = _traced_sums(bases, self.coefficients[:, place], self.boat)
        return TurnedWake(matrix=matrix, moving=tuple(moving), turn=angle - plain, lift=lift)


@dataclass(frozen=True, kw_only=True)
class TurnedWake:
    """A `WakeOperator` at one apparent wind angle a condition: the matrix (conditions, 2 n, n).

    Of traced numbers it is the plain one, and `moving` its first two derivatives by the angle, then by the
    ride height, and by that and the angle; `turn` and `lift` are zero and carry the derivatives of both. A
    product with a vector is then differentiated as vectors are, where that of the matrix would be as many
    matrices as there are variables.
    """

    matrix: Array
    moving: tuple[Array, ...] = ()
    turn: Array = None
    lift: Array = None

    def induced(self, circulation: Array) -> tuple[Array, Array]:
        """Velocity across and along the wind at the stations, each (n, conditions), by the circulation (n,
        conditions).
        """
        both = apply_operator(self.matrix, circulation)
        if self.moving:
            first, second, *rest = (apply_operator(matrix, circulation) for matrix in self.moving)
            both = both + self.turn * (first + 0.5 * self.turn * second)
            if rest:
                both = both + self.lift * (rest[0] + self.turn * rest[1])
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

    They are 1, the cosines of the angle, of twice the angle and so on, and the sines of the same.
    """
    xp = array_namespace(angle)
    constant = xp.ones_like(angle) if order == 0 else xp.zeros_like(angle)
    multiple = np.arange(1.0, FOURIER_ORDER + 1.0)[:, None]
    scale, phase = multiple**order, multiple * angle + 0.5 * math.pi * order
    return xp.concatenate([constant[None], scale * xp.cos(phase), scale * xp.sin(phase)])


def _traced_sums(bases: Sequence[Array], coefficients: Array, boat: Array) -> Array:
    """The same of traced numbers, (bases, conditions, rows, columns), of coefficients (boats, terms, rows,
    columns).
    """
    xp = array_namespace(*bases)
    together = xp.stack(bases)
    if len(coefficients) == 1:
        return xp.einsum("okc,kij->ocij", together, xp.asarray(coefficients[0]))
    return xp.einsum("okc,ckij->ocij", together, xp.asarray(coefficients)[boat])


def _sums_of_terms(
    bases: Sequence[FloatArray], coefficients: FloatArray, boat: NDArray[np.intp]
) -> tuple[FloatArray, ...]:
    """For each of the bases (terms, conditions), matrices (conditions, places and rows, columns): the sums
    over terms of the basis times the coefficients (boats, places, terms, rows, columns) of each condition's
    boat.
    """
    places, terms, rows, columns = coefficients.shape[1:]
    shape = places * rows, columns

    def of_boat(one: np.intp, its: slice | NDArray[np.intp]) -> FloatArray:
        """(bases, conditions, ...) of one boat, all bases in one product."""
        # only the boats that are asked for are copied
        table = coefficients[one].swapaxes(0, 1).reshape(terms, -1)
        together = np.concatenate([basis[:, its] for basis in bases], axis=1)
        return _sum_of_blocks(together, table).reshape(len(bases), -1, *shape)

    boats = np.unique(boat)
    if len(boats) == 1:
        return tuple(of_boat(boats[0], slice(None)))
    result = np.empty((len(bases), len(boat), *shape))
    for one in boats:
        its = np.flatnonzero(boat == one)
        result[:, its] = of_boat(one, its)
    return tuple(result)


def _sum_of_blocks(basis: FloatArray, coefficients: FloatArray) -> FloatArray:
    """Sums over terms (conditions, entries) of a basis (terms, conditions) and coefficients (terms, entries).

    The conditions are filled up to blocks of one size: every matrix product has the same shape then, and a
    condition's sum the same order whatever shares the call.
    """
    terms, count = basis.shape
    blocks = np.zeros((-(-count // TERM_BLOCK) * TERM_BLOCK, terms))
    blocks[:count] = basis.T
    product = np.matmul(blocks.reshape(-1, TERM_BLOCK, terms), coefficients)
    sums: FloatArray = product.reshape(len(blocks), coefficients.shape[1])[:count]
    return sums


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
    return [(deck, mirror.deck_height), (1.0 - deck, mirror.water_height)]


def mutual_influence(
    *, on: SailLine, by: SailLine, mirror: Mirror | None, angle: float | FloatArray, place: int = MET
) -> tuple[FloatArray, FloatArray]:
    """Velocity across and along the wind at one sail's stations by unit circulation of another's strips, each
    (..., n_on, n_by) [1/m].

    Taken at a place along the chord, `MET` or `BOUND`, with the chord along the centreline: one that lies
    ahead is to leeward of the wind through the other. `angle` (...) [rad] is that of the apparent wind from
    the centreline. Trailing vortices have a core of `CORE_SHARE` of the span.
    """
    z = on.control_height[:, None]
    ahead = (on.x - PLACES[place] * on.chord)[:, None] - by.x[None, :]
    turned = np.asarray(angle, dtype=float)[..., None, None]
    downstream, leeward = -ahead * np.cos(turned), ahead * np.sin(turned)
    core = CORE_SHARE * (by.node_height[-1] - by.node_height[0])
    low, high = by.node_height[None, :-1], by.node_height[None, 1:]
    across, along = _horseshoe(z, low, high, ahead, downstream, leeward, core)
    if mirror is not None:
        for share, plane in _mirrors(mirror, z, by.control_height[None, :]):
            image = _horseshoe(z, 2.0 * plane - high, 2.0 * plane - low, ahead, downstream, leeward, core)
            across, along = across + share * image[0], along + share * image[1]
    return across, along


def _horseshoe(
    z: FloatArray,
    low: FloatArray,
    high: FloatArray,
    ahead: FloatArray,
    downstream: FloatArray,
    leeward: FloatArray,
    core: float,
) -> tuple[FloatArray, FloatArray]:
    """Biot-Savart of a vertical bound segment and its two trailing vortices, at a point downstream and to
    leeward of it. Distances do not turn with the wind, and so are taken once for all its angles.
    """
    core2, leeward2 = core * core, leeward * leeward
    plan = ahead * ahead + core2
    heights = z - low, z - high
    sines = [height / np.sqrt(plan + height * height) for height in heights]
    bound = (sines[0] - sines[1]) / plan
    legs = [
        (height + downstream * sine) / (leeward2 + (height * height + core2))
        for height, sine in zip(heights, sines, strict=True)
    ]
    across = legs[1] - legs[0] - downstream * bound
    return across / (4.0 * math.pi), leeward * (bound / (4.0 * math.pi))


def wake_coefficients(*, lines: tuple[SailLine, ...], mirror: Mirror | None) -> FloatArray:
    """Fourier coefficients of a rig's whole influence, (places, terms, 2 n, n), for `WakeOperator`.

    Least squares over apparent wind angles of 6 to 186 deg.
    """
    return np.stack([_wake_coefficients(lines, mirror, place) for place in (MET, BOUND)])


def smooth_wake(line: SailLine) -> tuple[SailLine, FloatArray]:
    """A sail in `WAKE_FINENESS` times as many strips, and the circulation of those by that of the sail's own,
    (finer n, n): the sine series in the span angle through the sail's stations (Glauert 1926).

    So the wake that acts on another sail has no steps. For stations even in angle.
    """
    count = len(line.control_height)
    low, high = line.node_height[[0, -1]]
    nodes, controls = stations(lower=low, upper=high, count=WAKE_FINENESS * count)
    order = np.arange(1, count + 1)

    def sines(number: int) -> FloatArray:
        angle = (np.arange(number) + 0.5) * math.pi / number
        return np.asarray(np.sin(np.outer(angle, order)))

    finer = SailLine(
        node_height=nodes,
        control_height=controls,
        x=np.interp(controls, line.control_height, line.x),
        chord=np.interp(controls, line.control_height, line.chord),
    )
    spread: FloatArray = sines(WAKE_FINENESS * count) @ np.linalg.inv(sines(count))
    return finer, spread


def _wake_coefficients(lines: tuple[SailLine, ...], mirror: Mirror | None, place: int) -> FloatArray:
    counts = [len(line.control_height) for line in lines]
    starts = np.concatenate([[0], np.cumsum(counts)])
    total = int(starts[-1])
    basis = fourier_basis(FIT_ANGLES)
    orthogonal, triangle = np.linalg.qr(basis.T)
    coefficients = np.zeros((len(basis), 2 * total, total))
    for i, on in enumerate(lines):
        rows = slice(starts[i], starts[i + 1])
        for j, by in enumerate(lines):
            columns = slice(starts[j], starts[j + 1])
            if i == j:
                coefficients[0, rows, columns] = self_influence(line=on, mirror=on.mirror or mirror)
                continue
            finer, spread = smooth_wake(by)
            velocities = [
                np.stack(
                    mutual_influence(on=on, by=finer, mirror=by.mirror or mirror, angle=some, place=place),
                    axis=1,
                )
                for some in np.array_split(FIT_ANGLES, FIT_PARTS)
            ]
            samples = np.concatenate(velocities) @ spread
            fitted = np.linalg.solve(triangle, orthogonal.T @ samples.reshape(len(FIT_ANGLES), -1))
            fitted = fitted.reshape(len(basis), 2, counts[i], counts[j])
            coefficients[:, rows, columns] = fitted[:, 0]
            coefficients[:, total + starts[i] : total + starts[i + 1], columns] = fitted[:, 1]
    return coefficients


@dataclass(frozen=True, kw_only=True)
class StripFlow:
    """What every strip feels before the sails act on each other, in wind axes; arrays (n, conditions),
    `wind_angle` and `ride_height` (conditions,).
    """

    along: Array
    across: Array
    wind_angle: Array
    chord_angle: Array
    chord: Array
    camber: Array
    stall_incidence: Array
    stall_width: Array
    tail_ratio: Array = 0.0
    ride_height: Array = 0.0

    def shedding_chord(self) -> Array:
        """Circulation over speed and lift coefficient: half the chord times the share of shed lift left."""

        def share(along: Array, across: Array, chord_angle: Array) -> tuple[Array]:
            xp = array_namespace(along, across, chord_angle)
            incidence = xp.arctan2(across, along) - chord_angle
            return (0.5 * self.chord * shed_share(incidence=incidence, stall_incidence=self.stall_incidence),)

        (result,) = elementwise(share, self.along, self.across, self.chord_angle)
        return result

    def shed(self, *, incidence: Array, speed: Array, shedding_chord: Array) -> Array:
        """Circulation that the strips shed [m^2/s] at an incidence, of a `lifting_speed`."""

        def lift(incidence: Array, camber: Array) -> tuple[Array]:
            return (self.shed_lift(incidence=incidence, camber=camber),)

        return shedding_chord * speed * elementwise(lift, incidence, self.camber)[0]

    def shed_lift(self, *, incidence: Array, camber: Array) -> Array:
        """Coefficient of the lift that leaves a wake, see `sections.shed_lift`."""
        stall_incidence, stall_width = self.stall(camber)
        lift, _ = shed_lift(
            incidence=incidence, camber=camber, stall_incidence=stall_incidence, stall_width=stall_width
        )
        return lift

    def stall(self, camber: Array) -> tuple[Array, Array]:
        """Incidence and width of the stall [rad] with a camber."""
        return cambered_stall(
            stall_incidence=self.stall_incidence,
            stall_width=self.stall_width,
            tail_ratio=self.tail_ratio,
            camber=camber,
        )

    def without_derivatives(self) -> StripFlow:
        """The same flow in plain numbers."""
        return StripFlow(**{name: without_derivatives(value) for name, value in vars(self).items()})


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
    of them makes it shed; of plain numbers or of traced ones (JAX).

    Newton's method; where it has not converged in 40 steps the result is NaN. Where derivatives are traced,
    two further steps with the matrix at the solution attach them: the first is exact to first order and the
    second to second (see Griewank & Walther, "Evaluating Derivatives", 2008, chapter 15).
    """
    shedding_chord = flow.shedding_chord()
    strips = _strips(flow, shedding_chord)
    xp = array_namespace(flow.along, flow.wind_angle, flow.chord_angle, flow.camber)
    if xp is np:
        return np.ascontiguousarray(_damped_newton(wake.matrix, strips).T)
    matrix = without_derivatives(wake.matrix)
    now = _traced_newton(matrix, strips)
    inverse, gamma = xp.linalg.inv(_slopes(matrix, now)), now.gamma.T
    for _ in range(2):
        gamma = gamma - apply_operator(inverse, _residual(wake, flow, shedding_chord, gamma))
    return gamma


def _residual(wake: TurnedWake, flow: StripFlow, shedding_chord: Array, gamma: Array) -> Array:
    across, along = wake.induced(gamma)

    def shed(
        along: Array, across: Array, induced: Array, chord_angle: Array, camber: Array, chord: Array
    ) -> tuple[Array]:
        xp = array_namespace(along, across, induced, chord_angle, camber, chord)
        local = replace(flow, chord_angle=chord_angle, camber=camber)
        incidence = xp.arctan2(across + induced, along) - chord_angle
        speed = lifting_speed(along=along, undisturbed_across=across)
        return (local.shed(incidence=incidence, speed=speed, shedding_chord=chord),)

    (shed_by_strips,) = elementwise(
        shed, flow.along + along, flow.across, across, flow.chord_angle, flow.camber, shedding_chord
    )
    return gamma - shed_by_strips


@dataclass(frozen=True, kw_only=True)
class _Strips:
    """What stays the same while the circulation is looked for, plain numbers: the undisturbed wind
    (conditions, 2 n), across and then along as the rows of the operator; the sections (conditions, n), and up
    to which incidences on either side they shed their attached lift (conditions, 2, n).
    """

    wind: Array
    chord_angle: Array
    camber: Array
    limits: Array
    stall_incidence: Array
    stall_width: Array
    shedding_chord: Array

    @property
    def count(self) -> int:
        """Number of strips."""
        return int(self.chord_angle.shape[-1])

    def speed(self) -> Array:
        """Scale of the velocities of every condition [m/s]."""
        xp, size = array_namespace(self.wind), abs(self.wind)
        return xp.max(size[:, : self.count] + size[:, self.count :], axis=-1)


def _strips(flow: StripFlow, shedding_chord: Array) -> _Strips:
    plain = flow.without_derivatives()
    stall_incidence, stall_width = plain.stall(plain.camber)
    xp = array_namespace(plain.along, plain.across)
    of_sections = {
        "chord_angle": plain.chord_angle,
        "camber": plain.camber,
        "stall_incidence": stall_incidence,
        "stall_width": stall_width,
        "shedding_chord": without_derivatives(shedding_chord),
    }
    limits = shedding_limits(camber=plain.camber, stall_incidence=stall_incidence)
    return _Strips(
        limits=_conditions_first(xp.broadcast_to(limits, (2, *plain.along.shape)).swapaxes(0, 1)),
        wind=_conditions_first(xp.concatenate([plain.across, plain.along])),
        **{
            name: _conditions_first(xp.broadcast_to(value, plain.along.shape))
            for name, value in of_sections.items()
        },
    )


def _conditions_first(array: Array) -> Array:
    return np.ascontiguousarray(array.T) if array_namespace(array) is np else array.T


@dataclass(frozen=True, kw_only=True)
class _Iterate:
    """Velocities at the strips (conditions, 2 n) with the circulation they shed (conditions, n), its slopes
    by them, and by how much they miss what it induces.
    """

    velocity: Array
    gamma: Array
    slope: Array
    miss: Array

    def error(self) -> Array:
        """Largest miss of every condition [m/s]."""
        return _largest(self.miss)


def _largest(velocity: Array) -> Array:
    """Largest component over the strips of every condition."""
    return array_namespace(velocity).max(abs(velocity), axis=-1)


def _applied(matrix: Array, vector: Array) -> Array:
    """A matrix times a vector for each condition, (conditions, rows)."""
    return array_namespace(matrix, vector).matmul(matrix, vector[:, :, None])[:, :, 0]


def _iterate(matrix: Array, strips: _Strips, velocity: Array) -> _Iterate:
    xp, count = array_namespace(velocity), strips.count
    across, along = velocity[:, :count], velocity[:, count:]
    speed = lifting_speed(along=along, undisturbed_across=strips.wind[:, :count])
    lift, slope = shed_lift_within(
        incidence=xp.arctan2(across, along) - strips.chord_angle,
        camber=strips.camber,
        limits=strips.limits.swapaxes(0, 1),
        stall_width=strips.stall_width,
    )
    by_lift = strips.shedding_chord * speed
    gamma = by_lift * lift
    turn = by_lift * slope / (along * along + across * across)
    by_along = strips.shedding_chord * lift * along / speed - turn * across
    return _Iterate(
        velocity=velocity,
        gamma=gamma,
        slope=xp.concatenate([turn * along, by_along], axis=-1),
        miss=velocity - strips.wind - _applied(matrix, gamma),
    )


def _slopes(matrix: Array, now: _Iterate) -> Array:
    """Derivative of `circulation - shed circulation` by circulation (conditions, n, n)."""
    xp = array_namespace(matrix, now.slope)
    conditions, count = now.gamma.shape
    by_component = matrix.reshape(conditions, 2, count, count)
    shed = xp.einsum("cki,ckij->cij", now.slope.reshape(conditions, 2, count), by_component)
    return xp.eye(count) - shed


def _newton_step(matrix: Array, now: _Iterate) -> Array:
    """Change of the velocities.

    Newton in the velocities needs no larger matrix than Newton in the circulation (the Woodbury identity),
    and keeps the circulation within what a section can shed, where the other overshoots.
    """
    xp, count = array_namespace(now.velocity), now.gamma.shape[-1]
    missing = now.slope * now.miss
    missing = -(missing[:, :count] + missing[:, count:])
    change = xp.linalg.solve(_slopes(matrix, now), missing[:, :, None])[:, :, 0]
    return _applied(matrix, change) - now.miss


def _first_velocities(strips: _Strips) -> Array:
    """The undisturbed wind, turned so that no strip begins beyond its stall, where the slope says nothing."""
    xp = array_namespace(strips.wind, strips.chord_angle)
    across, along = strips.wind[:, : strips.count], strips.wind[:, strips.count :]
    speed = xp.sqrt(along * along + across * across)
    incidence = 0.6 * (xp.arctan2(across, along) - strips.chord_angle)
    held = xp.maximum(xp.minimum(incidence, 0.5 * strips.stall_incidence), -0.5 * strips.stall_incidence)
    cosine, sine = cos_sin(held + strips.chord_angle)
    return xp.concatenate([speed * sine, speed * cosine], axis=-1)


def _traced_newton(matrix: Array, strips: _Strips) -> _Iterate:
    """Newton steps, all of them whole, until all conditions have converged; NaN where one has not."""
    xp, speed = array_namespace(strips.wind), strips.speed()

    def settled(velocity: Array, step: Array) -> Array:
        error = _largest(step)
        return (error <= TOLERANCE * speed) | ~xp.isfinite(error)

    def following(velocity: Array, step: Array) -> tuple[Array, Array]:
        velocity = velocity + step
        return velocity, _newton_step(matrix, _iterate(matrix, strips, velocity))

    first = _first_velocities(strips)
    step = _newton_step(matrix, _iterate(matrix, strips, first))
    velocity, step = repeated_until(settled, following, (first, step), TRACED_ITERATIONS)
    missed = ~(_largest(step) <= TOLERANCE * speed)
    return _iterate(matrix, strips, xp.where(missed[:, None], xp.nan, velocity + step))


def _damped_newton(matrix: FloatArray, strips: _Strips) -> FloatArray:
    """Newton with step halving, on those conditions alone that have not converged; (conditions, n)."""
    now = _iterate(matrix, strips, _first_velocities(strips))
    result = np.full(now.gamma.shape, np.nan)
    left, waiting = np.arange(len(result)), np.ones(len(result), dtype=bool)
    speed, error = strips.speed(), now.error()
    for _ in range(MOST_ITERATIONS):
        step = _newton_step(matrix, now)
        now, error, length = _damped(matrix, strips, now, step, error, ROUNDING * speed)
        settled = (length * _largest(step) <= TOLERANCE * speed) | (error <= MISS_TOLERANCE * speed)
        settled &= waiting
        result[left[settled]] = now.gamma[settled]
        waiting &= ~settled
        if not waiting.any():
            break
        if np.count_nonzero(waiting) < WORTH_DROPPING * len(waiting):
            left, matrix, speed, error = left[waiting], matrix[waiting], speed[waiting], error[waiting]
            strips, now = _at(strips, waiting), _at(now, waiting)
            waiting = waiting[waiting]
    return result


def _damped(
    matrix: FloatArray,
    strips: _Strips,
    now: _Iterate,
    step: FloatArray,
    error: FloatArray,
    rounding: FloatArray,
) -> tuple[_Iterate, FloatArray, FloatArray]:
    """The next iterate, its error, and the share of the step that leads to it and makes the miss smaller."""
    length = np.ones(len(error))
    trial = _iterate(matrix, strips, now.velocity + step)
    found = trial.error()
    worse = np.flatnonzero(~(found <= 0.9 * error + rounding))
    for _ in range(MOST_HALVINGS - 1):
        if not len(worse):
            break
        length[worse] *= 0.5
        shorter = now.velocity[worse] + length[worse, None] * step[worse]
        part = _iterate(matrix[worse], _at(strips, worse), shorter)
        for name, value in vars(part).items():
            getattr(trial, name)[worse] = value
        found[worse] = part.error()
        enough = (1.0 - 0.1 * length[worse]) * error[worse] + rounding[worse]
        worse = worse[~(found[worse] <= enough)]
    # where the last halving is not enough either, the next step begins from there all the same
    length[worse] *= 0.5
    return trial, found, length


def _at(tree: T, conditions: NDArray[Any]) -> T:
    return type(tree)(**{name: value[conditions] for name, value in vars(tree).items()})
