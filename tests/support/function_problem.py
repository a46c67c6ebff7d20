"""Problems for the solver from a function that is written out, in batches."""

from __future__ import annotations

import numpy as np

from vpp.solver import jets
from vpp.solver.problem import Derivatives, Values


class FunctionProblem:
    """A problem from a function of (variables, data of the cases, namespace) to (objective, constraints)."""

    def __init__(self, function, lower, upper, equalities=0, inequalities=0, data=None, cases=1):
        size = len(lower)
        self.function, self.data = function, data
        self.lower = np.broadcast_to(np.asarray(lower, dtype=float).reshape(size, -1), (size, cases))
        self.upper = np.broadcast_to(np.asarray(upper, dtype=float).reshape(size, -1), (size, cases))
        self.variable_count, self.equality_count, self.inequality_count = size, equalities, inequalities
        self.visited = []

    def only(self, case):
        """The same problem with one case alone."""
        alone = slice(case, case + 1)
        data = None if self.data is None else self.data[..., alone]
        return FunctionProblem(
            self.function,
            self.lower[:, alone],
            self.upper[:, alone],
            self.equality_count,
            self.inequality_count,
            data,
        )

    def _of(self, cases):
        return None if self.data is None else self.data[..., cases]

    def values(self, x, cases):
        self.visited.append((x.copy(), cases.copy()))
        objective, constraints = self.function(list(x), self._of(cases), np)
        batch = x.shape[1]
        rows = [np.broadcast_to(row, (batch,)) for row in constraints]
        return Values(np.broadcast_to(objective, (batch,)), np.array(rows).reshape(len(rows), batch))

    def derivatives(self, x, cases, multipliers, objective_weight=1.0):
        size, batch = x.shape
        objective, constraints = self.function(list(jets.variables(x)), self._of(cases), jets)
        value, gradient, hessian = jets.dense(objective, size, (batch,))
        hessian = objective_weight * hessian
        rows, jacobian = np.zeros((len(constraints), batch)), np.zeros((len(constraints), size, batch))
        for k, constraint in enumerate(constraints):
            rows[k], jacobian[k], curvature = jets.dense(constraint, size, (batch,))
            hessian = hessian + multipliers[k] * curvature
        return Derivatives(Values(value.copy(), rows), gradient, jacobian, hessian)
