"""Newton's method near an answer, compiled by JAX for many cases at once, on whatever device JAX finds.

What `vpp.solver.following` does with cases that come and go, this does in arrays of one shape: sequential
quadratic programming (Nocedal & Wright, "Numerical Optimization", 2nd ed. 2006, chapter 18), the quadratic
problems solved by a primal-dual active set (Hintermueller, Ito & Kunisch 2002, SIAM J. Optim. 13, 865-888):
bounds that are crossed hold, those whose multiplier has the wrong sign let go, and the optimality conditions
are solved again. Cases are independent of each other. A case that does not get there is given back.

The axis over cases is the last one, n the number of variables, m of equalities, p of inequalities. JAX must
be in double precision while this is traced.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

# Arrays of JAX, traced or not; it is an extra, and gives them no type that mypy knows.
Array = Any
Evaluate = Callable[[Array], tuple[Array, Array]]

GOING, CONVERGED, GIVEN_BACK = 0, 1, 2
"""Where a case stands."""

_LONGEST = 0.5  # bound on the step of a variable, relative to its size or one
_SHORTER = 0.25  # what remains of a step after which the residuals have grown much
_GROWTH, _LARGE = 2.0, 0.1  # which is where they are larger than both allow
_ASTRAY = 30.0  # a case whose errors grow past this is given back
_WRONG_SIGN = 1e-9  # a multiplier that far on the wrong side lets go
_CROSSED = 1e-12  # so far past a bound counts as past it
_TURNS, _AT_ONCE = (
    9,
    4,
)  # most changes of the active set within a step, and those of all that is wrong at once
_SCALE_LIMIT = 100.0  # mean size of the multipliers above which they scale the errors
_STIFF = 1e4  # weight of the constraints where curvature along them is looked for
_FLAT = 1e-5  # negative curvature that counts as none


class Track(NamedTuple):
    """Cases on their way: variables x (n, b), multipliers (m + p, b), which bounds hold (n, b), -1 lower and
    1 upper, and which inequalities (p, b); the same before the last step; residual and place (b,).
    """

    x: Array
    multipliers: Array
    held: Array
    felt: Array
    before: tuple[Array, Array, Array, Array]
    residual: Array
    place: Array
    steps: Array
    objective: Array
    optimality: Array


@dataclass(frozen=True, kw_only=True)
class Shape:
    """Numbers of equalities and inequalities, and tolerances as in `vpp.solver.problem.Settings`."""

    equalities: int
    inequalities: int
    constraint_tolerance: float
    optimality_tolerance: float
    proximal: float


def begun(x: Array, multipliers: Array, held: Array, felt: Array, lower: Array, upper: Array) -> Track:
    """Tracks at guesses."""
    import jax.numpy as jnp

    x = jnp.clip(x, lower, upper)
    x = jnp.where(held < 0, lower, jnp.where(held > 0, upper, x))
    far = jnp.full(x.shape[1:], jnp.inf)
    none = jnp.zeros(x.shape[1:], dtype=jnp.int32)
    before = (x, multipliers, held, felt)
    return Track(x, multipliers, held, felt, before, far, none, none, far, far)


def advanced(evaluate: Evaluate, shape: Shape, track: Track, lower: Array, upper: Array, most: Any) -> Track:
    """Tracks after `most` steps, or when none is going any more.

    `evaluate(x)` gives the objective (b,) and the constraints (m + p, b), equalities first, of which no case
    depends on the variables of another.
    """
    from jax import lax

    def goes_on(now: tuple[Array, Track]) -> Array:
        count, track = now
        return (count < most) & (track.place == GOING).any()

    def once(now: tuple[Array, Track]) -> tuple[Array, Track]:
        count, track = now
        return count + 1, _advanced_once(evaluate, shape, track, lower, upper)

    found: Track = lax.while_loop(goes_on, once, (0, track))[1]
    return found


class _Point(NamedTuple):
    """The problem at x: constraints (m + p, b), gradient (n, b), their gradients (n, m + p, b), and the
    Hessian of the Lagrangian (n, n, b).
    """

    objective: Array
    constraints: Array
    gradient: Array
    normals: Array
    hessian: Array


def derivatives(evaluate: Evaluate, x: Array, multipliers: Array) -> Any:
    """The problem at x with first and second derivatives, all cases at once: forwards through the reverse of
    the Lagrangian, in the direction of one variable of every case after the other.
    """
    import jax
    import jax.numpy as jnp

    weights = jnp.concatenate([jnp.ones((1, x.shape[1])), multipliers])

    def both(x: Array) -> tuple[Array, Array]:
        def rows(x: Array) -> Array:
            objective, constraints = evaluate(x)
            return jnp.concatenate([objective[None], constraints])

        values, pull = jax.vjp(rows, x)
        return values, pull(weights)[0]

    (values, _), push = jax.linearize(both, x)
    ones = jnp.broadcast_to(jnp.eye(len(x))[:, :, None], (len(x), *x.shape))
    slopes, hessian = jax.vmap(push)(ones)
    return _Point(values[0], values[1:], slopes[:, 0], slopes[:, 1:], hessian)


def _advanced_once(evaluate: Evaluate, shape: Shape, track: Track, lower: Array, upper: Array) -> Track:
    import jax.numpy as jnp

    at = derivatives(evaluate, track.x, track.multipliers)
    residual, optimality = _errors(shape, track, at, lower, upper)
    finite = jnp.isfinite(residual) & jnp.isfinite(optimality) & jnp.isfinite(at.hessian).all(axis=(0, 1))
    lapsed = ~finite | ((residual > _GROWTH * track.residual) & (residual > _LARGE))
    there = finite & (residual <= shape.constraint_tolerance) & (optimality <= shape.optimality_tolerance)
    there &= _curves_up(shape, track, at)
    astray = ~lapsed & ~(jnp.maximum(residual, optimality) < _ASTRAY)
    step, multipliers, held, felt = _quadratic(shape, track, at, lower, upper)
    sound = jnp.isfinite(step).all(axis=0) & jnp.isfinite(multipliers).all(axis=0)
    share = _within(step, _LONGEST * jnp.maximum(1.0, jnp.abs(track.x)))
    moved = jnp.clip(track.x + share * step, lower, upper)
    pulled = track.multipliers + share * (multipliers - track.multipliers)
    # a step that made things worse is taken back and made shorter
    old_x, old_multipliers, *_ = track.before
    shorter = old_x + _SHORTER * (track.x - old_x)
    shorter_pull = old_multipliers + _SHORTER * (track.multipliers - old_multipliers)
    place = jnp.where(there, CONVERGED, jnp.where(astray | (~lapsed & ~sound), GIVEN_BACK, GOING))
    going = (track.place == GOING) & (place == GOING)
    on, back = going & ~lapsed, going & lapsed

    def chosen(new: Array, shortened: Array, now: Array) -> Array:
        return jnp.where(on, new, jnp.where(back, shortened, now))

    was_going = track.place == GOING
    return Track(
        x=chosen(moved, shorter, track.x),
        multipliers=chosen(pulled, shorter_pull, track.multipliers),
        held=chosen(held, track.held, track.held),
        felt=chosen(felt, track.felt, track.felt),
        before=tuple(
            jnp.where(on, now, old)
            for now, old in zip(
                (track.x, track.multipliers, track.held, track.felt), track.before, strict=True
            )
        ),  # type: ignore[arg-type]
        residual=jnp.where(was_going & ~lapsed, residual, track.residual),
        place=jnp.where(was_going, place, track.place),
        steps=track.steps + was_going,
        objective=jnp.where(was_going, at.objective, track.objective),
        optimality=jnp.where(was_going, optimality, track.optimality),
    )


def _errors(shape: Shape, track: Track, at: Any, lower: Array, upper: Array) -> tuple[Array, Array]:
    """Residual and error of the optimality conditions of every case, as `vpp.solver.barrier.scaled_errors`
    has them.
    """
    import jax.numpy as jnp

    m = shape.equalities
    equal, unequal = at.constraints[:m], at.constraints[m:]
    missed = jnp.where(track.felt, jnp.abs(unequal), jnp.maximum(-unequal, 0.0))
    residual = jnp.concatenate([jnp.abs(equal), missed]).max(axis=0, initial=0.0)
    left = at.gradient + (at.normals * track.multipliers).sum(axis=1)
    at_lower = jnp.where(track.held < 0, jnp.maximum(left, 0.0), 0.0)
    at_upper = jnp.where(track.held > 0, jnp.maximum(-left, 0.0), 0.0)
    dual = jnp.abs(left - at_lower + at_upper).max(axis=0)
    wrong = jnp.maximum(track.multipliers[m:], 0.0).max(axis=0, initial=0.0)
    bounds = jnp.isfinite(lower).sum(axis=0) + jnp.isfinite(upper).sum(axis=0) + shape.inequalities
    of_bounds = at_lower.sum(axis=0) + at_upper.sum(axis=0)
    mean = (of_bounds + jnp.abs(track.multipliers).sum(axis=0)) / (len(track.multipliers) + bounds)
    scale = jnp.maximum(_SCALE_LIMIT, mean) / _SCALE_LIMIT
    off = jnp.where(track.held < 0, track.x - lower, jnp.where(track.held > 0, upper - track.x, 0.0))
    return jnp.maximum(residual, jnp.abs(off).max(axis=0)), jnp.maximum(dual, wrong) / scale


def _curves_up(shape: Shape, track: Track, at: Any) -> Array:
    """Whether the Lagrangian curves nowhere down along what holds: whether the state is a least one, and no
    saddle. By a Cholesky factor that fails where it does, with the constraints weighted heavily.
    """
    import jax.numpy as jnp

    free = (track.held == 0).astype(at.hessian.dtype)
    holds = jnp.concatenate([jnp.ones_like(at.constraints[: shape.equalities]), track.felt])
    normals = at.normals * holds * free[:, None]
    normals = normals / jnp.sqrt((normals**2).sum(axis=0) + 1e-30)
    hessian = at.hessian * free * free[:, None]
    size = jnp.maximum(1.0, jnp.abs(hessian).max(axis=(0, 1)))
    whole = hessian + _STIFF * size * jnp.einsum("ikb,jkb->ijb", normals, normals)
    whole = whole + jnp.eye(len(free))[:, :, None] * (1.0 - free + _FLAT)
    return jnp.isfinite(jnp.linalg.cholesky(whole.transpose(2, 0, 1))).all(axis=(1, 2))


def _within(step: Array, reach: Array) -> Array:
    """Share of a step, at most one, that moves no variable further than its reach."""
    import jax.numpy as jnp

    return (reach / jnp.maximum(reach, jnp.abs(step))).min(axis=0)


def _quadratic(
    shape: Shape, track: Track, at: Any, lower: Array, upper: Array
) -> tuple[Array, Array, Array, Array]:
    """Step (n, b), multipliers (m + p, b), and what holds then."""
    import jax.numpy as jnp
    from jax import lax

    n, m = len(track.x), shape.equalities
    hessian = at.hessian.transpose(2, 0, 1) + shape.proximal * jnp.eye(n)
    normals = at.normals.transpose(2, 0, 1)
    gradient, constraints = at.gradient.T, at.constraints.T
    to_lower, to_upper = (lower - track.x).T, (upper - track.x).T

    def solved(held: Array, felt: Array) -> tuple[Array, Array]:
        holds = jnp.concatenate([jnp.ones_like(constraints[:, :m], dtype=bool), felt], axis=1)
        free = (held == 0)[:, :, None]
        rows = jnp.concatenate([hessian, normals], axis=2)
        rows = jnp.where(free, rows, jnp.eye(n, n + holds.shape[1]))
        kept = jnp.concatenate([normals.swapaxes(1, 2), jnp.zeros((*holds.shape, holds.shape[1]))], axis=2)
        none = jnp.eye(holds.shape[1], n + holds.shape[1], n)
        matrix = jnp.concatenate([rows, jnp.where(holds[:, :, None], kept, none)], axis=1)
        to_bound = jnp.where(held < 0, to_lower, to_upper)
        right = jnp.concatenate(
            [jnp.where(held == 0, -gradient, to_bound), jnp.where(holds, -constraints, 0.0)], axis=1
        )
        found = jnp.linalg.solve(matrix, right[:, :, None])[:, :, 0]
        return found[:, :n], found[:, n:]

    def turned(now: tuple[Array, ...]) -> tuple[Array, ...]:
        count, held, felt, *_ = now
        step, multipliers = solved(held, felt)
        left = gradient + jnp.einsum("bij,bj->bi", hessian, step)
        left = left + jnp.einsum("bij,bj->bi", normals, multipliers)
        beyond = constraints + jnp.einsum("bij,bi->bj", normals, step)
        # by how much every bound and inequality is on the wrong side, in its distance or its multiplier
        past = jnp.maximum(to_lower - step, step - to_upper) - _CROSSED
        of_bounds = jnp.where(held == 0, past, jnp.where(held < 0, -left, left) - _WRONG_SIGN)
        of_limits = jnp.where(felt, multipliers[:, m:] - _WRONG_SIGN, -beyond[:, m:] - _CROSSED)
        wrong = jnp.concatenate([of_bounds, of_limits], axis=1)
        # one at a time where changing all of them at once has led nowhere
        worst = wrong >= wrong.max(axis=1, keepdims=True)
        change = (wrong > 0.0) & (worst | (count < _AT_ONCE))
        side = jnp.where(step < to_lower, -1, 1)
        new_held = jnp.where(change[:, :n], jnp.where(held == 0, side, 0), held)
        new_felt = felt ^ change[:, n:]
        return count + 1, new_held, new_felt, step, multipliers, change.any(axis=1)

    def goes_on(now: tuple[Array, ...]) -> Array:
        return (now[0] < _TURNS) & (now[-1] & (track.place == GOING)).any()

    held, felt = track.held.T, track.felt.T
    first = (
        0, held, felt, jnp.zeros_like(gradient), jnp.zeros_like(constraints),
        jnp.ones(len(gradient), dtype=bool),
    )  # fmt: skip
    _, held, felt, step, multipliers, _ = lax.while_loop(goes_on, turned, first)
    return step.T, multipliers.T, held.T, felt.T
