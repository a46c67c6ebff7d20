"""Batched dense linear algebra for small systems; cases are on the last axis unless it is said otherwise.

Every operation works on each case alone and in a fixed order, so that a result does not depend, to the last
bit, on which other cases share the batch.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vpp.solver.problem import Array, Integers, Mask

_DEPENDENT = 1e-9  # constraint gradients of unit length are dependent when less than this is new in one
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
    """Factorise symmetric matrices (k, k, b), made positive definite where needed; says where it was not.

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
    """Orthogonal splitting of the variables by constraint gradients; cases are on the first axis.

    The first `rank` columns of `basis` (b, N, N) span the constraint gradients, the others the directions in
    which no constraint changes. `inverse` (b, N, M) times a change of the constraints is the shortest step
    that makes it.
    """

    basis: Array
    inverse: Array
    rank: Integers

    def take(self, which: Integers) -> RangeSpace:
        """Keep the cases `which`."""
        return RangeSpace(self.basis[which], self.inverse[which], self.rank[which])

    def normal_step(self, residual: Array) -> Array:
        """Shortest step (N, b) that cancels the residuals (M, b) of the independent constraints."""
        return -_times(self.inverse, residual)

    def multipliers(self, gradient: Array) -> Array:
        """Least-squares multipliers y (M, b) of gradient + A^T y = 0, the smallest of them."""
        return -_times(self.inverse.transpose(0, 2, 1), gradient)


def _times(matrix: Array, vector: Array) -> Array:
    """Matrix (b, i, j) times vector (j, b), as (i, b)."""
    product: Array = np.matmul(matrix, np.ascontiguousarray(vector.T)[..., None])[..., 0].T
    return product


def split_by_constraints(jacobian: Array) -> RangeSpace:
    """Factorise constraint gradients (M, N, b) with M <= N.

    By orthogonal triangularisation where they are independent, and by singular values elsewhere. Gradients
    that are not finite span nothing.
    """
    count, size, batch = jacobian.shape
    gradients = np.ascontiguousarray(jacobian.transpose(2, 1, 0))
    length = np.sqrt((gradients * gradients).sum(axis=1)) if count else np.ones((batch, 0))
    length = np.where(length > _VANISHED, length, np.inf)[:, None]
    gradients /= length
    basis, triangle = np.linalg.qr(gradients, mode="complete")
    pivots = np.abs(np.diagonal(triangle, axis1=1, axis2=2))
    independent = (pivots > _DEPENDENT).all(axis=1)
    rank = np.where(independent, count, 0)
    inverse = np.empty((batch, size, count))
    which = np.flatnonzero(independent)
    if len(which):
        inverse[which] = _shortest_steps(basis[which], triangle[which, :count])
    rest = np.flatnonzero(~independent)
    if len(rest):
        basis[rest], inverse[rest], rank[rest] = _split_by_singular_values(gradients[rest])
    return RangeSpace(basis, inverse / length, rank)


def _shortest_steps(basis: Array, triangle: Array) -> Array:
    """Pseudo-inverse of A = triangle^T basis^T (b, M, N), the triangle being regular."""
    steps: Array = np.matmul(basis[:, :, : triangle.shape[1]], np.linalg.inv(triangle).transpose(0, 2, 1))
    return steps


def _split_by_singular_values(gradients: Array) -> tuple[Array, Array, Integers]:
    """Basis, pseudo-inverse and rank of dependent constraint gradients (b, N, M)."""
    finite = np.asarray(np.isfinite(gradients).all(axis=(1, 2)))
    basis, values, other = np.linalg.svd(np.where(finite[:, None, None], gradients, 0.0))
    independent = values > _DEPENDENT
    inverted = np.where(independent, 1.0 / np.where(independent, values, 1.0), 0.0)
    inverse = np.matmul(basis[:, :, : values.shape[1]] * inverted[:, None], other)
    inverse[~finite] = np.nan
    return basis, inverse, independent.sum(axis=1)


@dataclass(frozen=True)
class FreeBlock:
    """The part `matrix` (k, k, b) of Hessians that acts on the `directions` (b, N, k) in which no constraint
    changes, and its factors.
    """

    directions: Array
    matrix: Array
    factors: SymmetricFactors


@dataclass(frozen=True)
class EqualitySystem:
    """Quadratic problems with equalities that differ in gradient and residual, ready to be solved.

    Their `hessian` is kept as (b, N, N), and `space` splits their constraint gradients A. The part of the
    Hessian that acts along the constraints is made positive definite by taking the moduli of its eigenvalues,
    none below `floor`. `blocks` holds that part of the cases of every rank: which they are, and the part.
    """

    hessian: Array
    space: RangeSpace
    floor: float
    blocks: tuple[tuple[Integers, FreeBlock], ...]

    @classmethod
    def of(cls, hessian: Array, space: RangeSpace, floor: float) -> EqualitySystem:
        """Split and factorise."""
        blocks = []
        whole = np.ascontiguousarray(hessian.transpose(2, 0, 1))
        for rank in np.unique(space.rank):
            which = np.flatnonzero(space.rank == rank)
            directions = space.basis[which, :, rank:]
            if directions.shape[2]:
                along = np.matmul(directions.transpose(0, 2, 1), np.matmul(whole[which], directions))
                matrix = np.ascontiguousarray(along.transpose(1, 2, 0))
                blocks.append((which, FreeBlock(directions, matrix, factorise_corrected(matrix, floor))))
        return cls(whole, space, floor, tuple(blocks))

    def convex(self) -> Mask:
        """Which cases (b,) needed no repair."""
        convex = np.ones(len(self.space.rank), dtype=bool)
        for which, block in self.blocks:
            convex[which] = block.factors.definite
        return convex

    def solve(self, gradient: Array, residual: Array, negligible: Array | None = None) -> tuple[Array, Array]:
        """Step and multipliers of: minimise gradient . d + d . hessian d / 2 subject to A d = -residual.

        Of dependent constraints that contradict each other the step is a compromise. Along the constraints
        the step leaves alone what part of the gradient is `negligible` (b,): where that is infinite the step
        is the shortest that cancels the residual. Returns d (N, b) and y (M, b) with
        gradient + hessian d + A^T y = 0 along the constraint gradients.
        """
        step = self.space.normal_step(residual)
        slope = gradient + _times(self.hessian, step)
        for which, block in self.blocks:
            part = np.zeros(len(which)) if negligible is None else negligible[which]
            downhill = _times(block.directions.transpose(0, 2, 1), slope[:, which])
            step[:, which] += _times(block.directions, _descend(block, downhill, self.floor, part))
        return step, self.space.multipliers(gradient + _times(self.hessian, step))


def _descend(block: FreeBlock, slope: Array, floor: float, negligible: Array) -> Array:
    """Newton step without constraints, for the part of the slope (k, b) that is not negligible."""
    step = np.where(np.isinf(negligible), 0.0, block.factors.solve(-slope))
    which = np.flatnonzero((negligible > 0.0) & np.isfinite(negligible))
    if len(which):
        step[:, which] = _selective_step(
            np.take(block.matrix, which, axis=-1), np.take(slope, which, axis=-1), floor, negligible[which]
        )
    return step


def _selective_step(matrix: Array, slope: Array, floor: float, negligible: Array) -> Array:
    """Newton step along the eigenvectors on which the slope is not negligible."""
    values, vectors = eigenpairs(matrix)
    along = transposed_product(vectors, slope)
    along = np.where(np.abs(along) > negligible, along, 0.0)
    return -product(vectors, along / np.maximum(np.abs(values), floor))
