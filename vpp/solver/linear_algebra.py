"""Batched dense linear algebra for small systems, vectorised over the last axis.

Every operation works on each case alone and in a fixed order, so that a result does not depend, to the last
bit, on which other cases share the batch.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vpp.solver.problem import Array, Integers, Mask

_DEPENDENT = 1e-9  # a constraint gradient of unit length is dependent when less than this is new in it
_VANISHED = 1e-13  # a constraint gradient shorter than this has no direction
_SMALLEST_PIVOT = 1e-11  # of a symmetric matrix scaled to a unit diagonal


def total(array: Array, axis: int = 0) -> Array:
    """Sum over an axis that is not the last, term by term.

    NumPy sums in pairs along an axis that is contiguous in memory, which would round differently from a
    longer batch.
    """
    if array.shape[axis] == 0:
        return np.zeros(array.shape[:axis] + array.shape[axis + 1 :])
    if array.shape[-1] == 1:
        summed: Array = np.add.accumulate(array, axis=axis).take(-1, axis=axis)
        return summed
    reduced: Array = np.add.reduce(np.ascontiguousarray(array), axis=axis)
    return reduced


def product(matrix: Array, vector: Array) -> Array:
    """Matrix (i, j, b) times vector (j, b)."""
    return total(matrix * vector, axis=1)


def transposed_product(matrix: Array, vector: Array) -> Array:
    """Transpose of matrix (i, j, b) times vector (i, b)."""
    return total(matrix * vector[:, None], axis=0)


@dataclass(frozen=True)
class SymmetricFactors:
    """L D L^T of positive definite matrices scaled to a unit diagonal."""

    lower: Array
    pivots: Array
    scale: Array
    definite: Mask

    def solve(self, right: Array) -> Array:
        """Solve for right-hand sides (k, b)."""
        size = self.pivots.shape[0]
        solution = right * self.scale
        for k in range(size - 1):
            solution[k + 1 :] -= self.lower[k + 1 :, k] * solution[k]
        solution /= self.pivots
        for k in range(size - 1, 0, -1):
            solution[:k] -= self.lower[k, :k] * solution[k]
        return solution * self.scale


def factorise(matrix: Array) -> SymmetricFactors:
    """Factorise symmetric matrices (k, k, b) and say which are positive definite; use no other factors."""
    size = matrix.shape[0]
    diagonal = np.abs(matrix[np.arange(size), np.arange(size)])
    scale = 1.0 / np.sqrt(np.where(diagonal > 0.0, diagonal, 1.0))
    work = matrix * scale * scale[:, None]
    pivots = np.ones_like(scale)
    definite = np.ones(matrix.shape[-1], dtype=bool)
    for k in range(size):
        sound = work[k, k] > _SMALLEST_PIVOT
        definite &= sound
        pivots[k] = np.where(sound, work[k, k], 1.0)
        column = work[k + 1 :, k].copy()
        work[k + 1 :, k] /= pivots[k]
        work[k + 1 :, k + 1 :] -= work[k + 1 :, k, None] * column
    return SymmetricFactors(work, pivots, scale, definite)


def factorise_corrected(matrix: Array, floor: float) -> SymmetricFactors:
    """Factorise symmetric matrices (k, k, b), made positive definite where needed.

    That is done by taking the moduli of their eigenvalues, or `floor` where a modulus is smaller. A matrix
    with entries that are not finite becomes the identity: its step is left to the line search to judge.
    """
    factors = factorise(matrix)
    if factors.definite.all():
        return factors
    wrong = np.flatnonzero(~factors.definite)
    repaired = matrix.copy()
    repaired[:, :, wrong] = _with_positive_eigenvalues(matrix[:, :, wrong], floor)
    again = factorise(np.take(repaired, wrong, axis=-1))
    for old, new in (
        (factors.lower, again.lower),
        (factors.pivots, again.pivots),
        (factors.scale, again.scale),
    ):
        old[..., wrong] = new
    return factors


def _with_positive_eigenvalues(matrix: Array, floor: float) -> Array:
    values, vectors = eigenpairs(matrix)
    values = np.maximum(np.abs(values), np.maximum(floor, 1e-10 * np.abs(values).max(axis=0)))
    rebuilt = np.zeros_like(matrix)
    for value, vector in zip(values, vectors.transpose(1, 0, 2), strict=True):
        rebuilt += (value * vector)[:, None] * vector
    return 0.5 * (rebuilt + rebuilt.transpose(1, 0, 2))


def eigenpairs(matrix: Array) -> tuple[Array, Array]:
    """Eigenvalues (k, b), ascending, and eigenvectors (component, which, b) of symmetric matrices."""
    size = matrix.shape[0]
    stack = np.ascontiguousarray(np.moveaxis(matrix, -1, 0))
    stack[~np.isfinite(stack).all(axis=(1, 2))] = np.eye(size)
    values, vectors = np.linalg.eigh(stack)
    return np.ascontiguousarray(values.T), np.ascontiguousarray(np.moveaxis(vectors, 0, -1))


@dataclass(frozen=True)
class RangeSpace:
    """Orthogonal splitting of the variables by constraint gradients: a row-pivoted Householder factorisation.

    With the rows A of the Jacobian divided by `row_norm` and put in `order`, A = lower Q^T. The first `rank`
    columns of Q span the constraint gradients, the others the directions in which no constraint changes.
    Reflectors beyond the rank are zero, so that dependent rows take no part.
    """

    reflectors: Array
    lower: Array
    order: Integers
    rank: Integers
    row_norm: Array

    def take(self, which: Integers) -> RangeSpace:
        """Keep the cases `which`."""
        return RangeSpace(**{name: np.take(part, which, axis=-1) for name, part in vars(self).items()})

    def rotate(self, vector: Array) -> Array:
        """Return Q^T vector for vectors (N, b)."""
        for k, reflector in enumerate(self.reflectors):
            vector = _reflect(vector, reflector[k:], k)
        return vector

    def rotate_back(self, vector: Array) -> Array:
        """Return Q vector for vectors (N, b)."""
        for k in range(len(self.reflectors) - 1, -1, -1):
            vector = _reflect(vector, self.reflectors[k, k:], k)
        return vector

    def normal_step(self, residual: Array) -> Array:
        """Shortest step (N, b) that cancels the residuals (M, b) of the independent constraints."""
        count = residual.shape[0]
        wanted = -np.take_along_axis(residual / self.row_norm, self.order, axis=0)
        step = np.zeros((self.reflectors.shape[1], residual.shape[1]))
        for k in range(count):
            step[k] = np.where(k < self.rank, wanted[k] / self.lower[k, k], 0.0)
            wanted[k + 1 :] -= self.lower[k + 1 :, k] * step[k]
        return self.rotate_back(step)

    def multipliers(self, gradient: Array) -> Array:
        """Least-squares multipliers y (M, b) of gradient + A^T y = 0; zero for dependent constraints."""
        count = self.row_norm.shape[0]
        wanted = -self.rotate(gradient)[:count]
        ordered = np.zeros_like(wanted)
        for k in range(count - 1, -1, -1):
            ordered[k] = np.where(k < self.rank, wanted[k] / self.lower[k, k], 0.0)
            wanted[:k] -= self.lower[k, :k] * ordered[k]
        multipliers = np.empty_like(ordered)
        np.put_along_axis(multipliers, self.order, ordered, axis=0)
        return multipliers / self.row_norm


def _reflect(vector: Array, reflector: Array, start: int) -> Array:
    reflected = vector.copy()
    reflected[start:] -= 2.0 * total(vector[start:] * reflector) * reflector
    return reflected


def split_by_constraints(jacobian: Array) -> RangeSpace:
    """Factorise constraint gradients (M, N, b) with M <= N, the independent ones first."""
    count, size, batch = jacobian.shape
    row_norm = np.sqrt(total(jacobian**2, axis=1)) if count else np.ones((0, batch))
    row_norm = np.where(row_norm > _VANISHED, row_norm, np.inf)
    rows = jacobian / row_norm[:, None]
    reflectors = np.zeros((count, size, batch))
    order = np.empty((count, batch), dtype=np.int64)
    rank = np.zeros(batch, dtype=np.int64)
    unused = np.ones((count, batch), dtype=bool)
    for k in range(count):
        lengths = np.where(unused, total(rows[:, k:] ** 2, axis=1), -1.0)
        order[k] = lengths.argmax(axis=0)
        np.put_along_axis(unused, order[k][None], False, axis=0)
        row = np.take_along_axis(rows, order[k][None, None], axis=0)[0, k:]
        reflector = _reflector(row)
        rank += reflector.any(axis=0)
        reflectors[k, k:] = reflector
        rows[:, k:] -= 2.0 * total(rows[:, k:] * reflector, axis=1)[:, None] * reflector
    lower = np.take_along_axis(rows[:, :count], order[:, None], axis=0)
    return RangeSpace(reflectors, lower, order, rank, np.where(np.isfinite(row_norm), row_norm, 1.0))


def _reflector(row: Array) -> Array:
    """Unit vectors whose reflections turn rows (k, b) onto the first axis; zero for too short ones."""
    length = np.sqrt(total(row**2))
    reflector = row.copy()
    reflector[0] += np.where(row[0] >= 0.0, length, -length)
    trusted = length > _DEPENDENT
    size = np.sqrt(total(reflector**2))
    return np.where(trusted, reflector / np.where(trusted, size, 1.0), 0.0)


def _free_block(matrix: Array, reflectors: Array) -> Array:
    """Part of Q^T matrix Q that acts on the directions in which no constraint changes."""
    for k, whole in enumerate(reflectors):
        v = whole[k:]
        u = total(matrix * v[:, None], axis=0)
        u -= total(u * v) * v
        cross = v[1:, None] * u[1:]
        matrix = matrix[1:, 1:] - 2.0 * (cross + u[1:, None] * v[1:])
    return matrix


def solve_equality_step(
    hessian: Array, gradient: Array, residual: Array, space: RangeSpace, floor: float, negligible: Array
) -> tuple[Array, Array]:
    """Step and multipliers of: minimise gradient . d + d . hessian d / 2 subject to A d = -residual.

    The part of `hessian` (N, N, b) that acts along the constraints is made positive definite by taking the
    moduli of its eigenvalues. Dependent constraints, which are left out, keep their residual. Along the
    constraints the step leaves alone what part of the gradient is `negligible` (b,): where that is infinite
    the step is the shortest that cancels the residual. Returns d (N, b) and y (M, b) with
    gradient + hessian d + A^T y = 0 along the constraint gradients.
    """
    step = space.normal_step(residual)
    slope = space.rotate(gradient + product(hessian, step))
    free = np.zeros_like(slope)
    for rank in np.unique(space.rank):
        which = np.flatnonzero(space.rank == rank)
        whole = len(which) == len(space.rank)
        block = _free_block(
            hessian if whole else np.take(hessian, which, axis=-1),
            space.reflectors[:rank] if whole else np.take(space.reflectors[:rank], which, axis=-1),
        )
        if block.shape[0]:
            free[rank:, which] = _descend(block, slope[rank:, which], floor, negligible[which])
    step = step + space.rotate_back(free)
    return step, space.multipliers(gradient + product(hessian, step))


def _descend(matrix: Array, slope: Array, floor: float, negligible: Array) -> Array:
    """Newton step without constraints, for the part of the slope (k, b) that is not negligible."""
    step = np.where(np.isinf(negligible), 0.0, factorise_corrected(matrix, floor).solve(-slope))
    which = np.flatnonzero((negligible > 0.0) & np.isfinite(negligible))
    if len(which):
        step[:, which] = _selective_step(
            np.take(matrix, which, axis=-1), np.take(slope, which, axis=-1), floor, negligible[which]
        )
    return step


def _selective_step(matrix: Array, slope: Array, floor: float, negligible: Array) -> Array:
    """Newton step along the eigenvectors on which the slope is not negligible."""
    values, vectors = eigenpairs(matrix)
    along = transposed_product(vectors, slope)
    along = np.where(np.abs(along) > negligible, along, 0.0)
    return -product(vectors, along / np.maximum(np.abs(values), floor))
