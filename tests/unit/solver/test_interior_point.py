"""The interior-point solver against published optima, closed forms and SciPy's optimisers."""

import numpy as np
import pytest
from scipy.optimize import LinearConstraint, NonlinearConstraint, least_squares, minimize

from tests.support.function_problem import FunctionProblem
from vpp.solver.interior_point import minimise
from vpp.solver.problem import Settings, Values
from vpp.solver.status import Status

INF = np.inf


def solve_one(function, start, lower=None, upper=None, equalities=0, inequalities=0, **settings):
    size = len(start)
    problem = FunctionProblem(
        function,
        [-INF] * size if lower is None else lower,
        [INF] * size if upper is None else upper,
        equalities,
        inequalities,
    )
    return minimise(problem, np.array(start, dtype=float)[:, None], settings=Settings(**settings))


def solve_alone(problem, case, start, **settings):
    return minimise(problem.only(case), start[:, case : case + 1], settings=Settings(**settings))


# --- published optima ----------------------------------------------------------------------------------


def hs1(x, _, xp):
    return 100 * (x[1] - x[0] ** 2) ** 2 + (1 - x[0]) ** 2, []


def hs6(x, _, xp):
    return (1 - x[0]) ** 2, [10 * (x[1] - x[0] ** 2)]


def hs7(x, _, xp):
    return xp.log(1 + x[0] ** 2) - x[1], [(1 + x[0] ** 2) ** 2 + x[1] ** 2 - 4]


def hs10(x, _, xp):
    return x[0] - x[1], [-3 * x[0] ** 2 + 2 * x[0] * x[1] - x[1] ** 2 + 1]


def hs11(x, _, xp):
    return (x[0] - 5) ** 2 + x[1] ** 2 - 25, [-(x[0] ** 2) + x[1]]


def hs12(x, _, xp):
    return 0.5 * x[0] ** 2 + x[1] ** 2 - x[0] * x[1] - 7 * x[0] - 7 * x[1], [25 - 4 * x[0] ** 2 - x[1] ** 2]


def hs14(x, _, xp):
    return (x[0] - 2) ** 2 + (x[1] - 1) ** 2, [x[0] - 2 * x[1] + 1, -0.25 * x[0] ** 2 - x[1] ** 2 + 1]


def hs26(x, _, xp):
    return (x[0] - x[1]) ** 2 + (x[1] - x[2]) ** 4, [(1 + x[1] ** 2) * x[0] + x[2] ** 4 - 3]


def hs27(x, _, xp):
    return 0.01 * (x[0] - 1) ** 2 + (x[1] - x[0] ** 2) ** 2, [x[0] + x[2] ** 2 + 1]


def hs28(x, _, xp):
    return (x[0] + x[1]) ** 2 + (x[1] + x[2]) ** 2, [x[0] + 2 * x[1] + 3 * x[2] - 1]


def hs35(x, _, xp):
    squares = 2 * x[0] ** 2 + 2 * x[1] ** 2 + x[2] ** 2 + 2 * x[0] * x[1] + 2 * x[0] * x[2]
    return 9 - 8 * x[0] - 6 * x[1] - 4 * x[2] + squares, [3 - x[0] - x[1] - 2 * x[2]]


def hs39(x, _, xp):
    return -x[0], [x[1] - x[0] ** 3 - x[2] ** 2, x[0] ** 2 - x[1] - x[3] ** 2]


def hs40(x, _, xp):
    return -x[0] * x[1] * x[2] * x[3], [x[0] ** 3 + x[1] ** 2 - 1, x[0] ** 2 * x[3] - x[2], x[3] ** 2 - x[1]]


def hs43(x, _, xp):
    squares = x[0] ** 2 + x[1] ** 2 + 2 * x[2] ** 2 + x[3] ** 2
    return squares - 5 * x[0] - 5 * x[1] - 21 * x[2] + 7 * x[3], [
        8 - x[0] ** 2 - x[1] ** 2 - x[2] ** 2 - x[3] ** 2 - x[0] + x[1] - x[2] + x[3],
        10 - x[0] ** 2 - 2 * x[1] ** 2 - x[2] ** 2 - 2 * x[3] ** 2 + x[0] + x[3],
        5 - 2 * x[0] ** 2 - x[1] ** 2 - x[2] ** 2 - 2 * x[0] + x[1] + x[3],
    ]


def hs60(x, _, xp):
    return (x[0] - 1) ** 2 + (x[0] - x[1]) ** 2 + (x[1] - x[2]) ** 4, [
        x[0] * (1 + x[1] ** 2) + x[2] ** 4 - 4 - 3 * 2**0.5
    ]


def hs63(x, _, xp):
    return 1000 - x[0] ** 2 - 2 * x[1] ** 2 - x[2] ** 2 - x[0] * x[1] - x[0] * x[2], [
        8 * x[0] + 14 * x[1] + 7 * x[2] - 56,
        x[0] ** 2 + x[1] ** 2 + x[2] ** 2 - 25,
    ]


def hs65(x, _, xp):
    return (x[0] - x[1]) ** 2 + (x[0] + x[1] - 10) ** 2 / 9 + (x[2] - 5) ** 2, [
        48 - x[0] ** 2 - x[1] ** 2 - x[2] ** 2
    ]


def hs71(x, _, xp):
    return x[0] * x[3] * (x[0] + x[1] + x[2]) + x[2], [
        x[0] ** 2 + x[1] ** 2 + x[2] ** 2 + x[3] ** 2 - 40,
        x[0] * x[1] * x[2] * x[3] - 25,
    ]


def hs76(x, _, xp):
    squares = x[0] ** 2 + 0.5 * x[1] ** 2 + x[2] ** 2 + 0.5 * x[3] ** 2 - x[0] * x[2] + x[2] * x[3]
    return squares - x[0] - 3 * x[1] + x[2] - x[3], [
        5 - x[0] - 2 * x[1] - x[2] - x[3],
        4 - 3 * x[0] - x[1] - 2 * x[2] + x[3],
        x[1] + 4 * x[2] - 1.5,
    ]


def hs77(x, _, xp):
    powers = (x[2] - 1) ** 2 + (x[3] - 1) ** 4 + (x[4] - 1) ** 6
    return (x[0] - 1) ** 2 + (x[0] - x[1]) ** 2 + powers, [
        x[0] ** 2 * x[3] + xp.sin(x[3] - x[4]) - 2 * 2**0.5,
        x[1] + x[2] ** 4 * x[3] ** 2 - 8 - 2**0.5,
    ]


def hs80(x, _, xp):
    return xp.exp(x[0] * x[1] * x[2] * x[3] * x[4]), [
        x[0] ** 2 + x[1] ** 2 + x[2] ** 2 + x[3] ** 2 + x[4] ** 2 - 10,
        x[1] * x[2] - 5 * x[3] * x[4],
        x[0] ** 3 + x[1] ** 3 + 1,
    ]


def hs100(x, _, xp):
    first = (x[0] - 10) ** 2 + 5 * (x[1] - 12) ** 2 + x[2] ** 4 + 3 * (x[3] - 11) ** 2
    second = 10 * x[4] ** 6 + 7 * x[5] ** 2 + x[6] ** 4 - 4 * x[5] * x[6] - 10 * x[5] - 8 * x[6]
    return first + second, [
        127 - 2 * x[0] ** 2 - 3 * x[1] ** 4 - x[2] - 4 * x[3] ** 2 - 5 * x[4],
        282 - 7 * x[0] - 3 * x[1] - 10 * x[2] ** 2 - x[3] + x[4],
        196 - 23 * x[0] - x[1] ** 2 - 6 * x[5] ** 2 + 8 * x[6],
        -4 * x[0] ** 2 - x[1] ** 2 + 3 * x[0] * x[1] - 2 * x[2] ** 2 - 5 * x[5] + 11 * x[6],
    ]


# Hock & Schittkowski (1981), "Test Examples for Nonlinear Programming Codes", Springer: problem, start, lower
# and upper bounds, numbers of equalities and inequalities, optimum; all from memory. An optimum with a closed
# form is given as that.
PUBLISHED = [
    (hs1, [-2, 1], [-INF, -1.5], [INF] * 2, 0, 0, 0.0),
    (hs6, [-1.2, 1], [-INF] * 2, [INF] * 2, 1, 0, 0.0),
    (hs7, [2, 2], [-INF] * 2, [INF] * 2, 1, 0, -(3**0.5)),
    (hs10, [-10, 10], [-INF] * 2, [INF] * 2, 0, 1, -1.0),
    (hs11, [4.9, 0.1], [-INF] * 2, [INF] * 2, 0, 1, -8.498464223),
    (hs12, [0, 0], [-INF] * 2, [INF] * 2, 0, 1, -30.0),
    (hs14, [2, 2], [-INF] * 2, [INF] * 2, 1, 1, 9 - 2.875 * 7**0.5),
    (hs26, [-2.6, 2, 2], [-INF] * 3, [INF] * 3, 1, 0, 0.0),
    (hs27, [2, 2, 2], [-INF] * 3, [INF] * 3, 1, 0, 0.04),
    (hs28, [-4, 1, 1], [-INF] * 3, [INF] * 3, 1, 0, 0.0),
    (hs35, [0.5] * 3, [0] * 3, [INF] * 3, 0, 1, 1 / 9),
    (hs39, [2] * 4, [-INF] * 4, [INF] * 4, 2, 0, -1.0),
    (hs40, [0.8] * 4, [-INF] * 4, [INF] * 4, 3, 0, -0.25),
    (hs43, [0] * 4, [-INF] * 4, [INF] * 4, 0, 3, -44.0),
    (hs60, [2] * 3, [-10] * 3, [10] * 3, 1, 0, 0.03256820025),
    (hs63, [2] * 3, [0] * 3, [INF] * 3, 2, 0, 961.7151721),
    (hs65, [-5, 5, 0], [-4.5, -4.5, -5], [4.5, 4.5, 5], 0, 1, 0.9535288567),
    (hs71, [1, 5, 5, 1], [1] * 4, [5] * 4, 1, 1, 17.0140173),
    (hs76, [0.5] * 4, [0] * 4, [INF] * 4, 0, 3, -4.681818181),
    (hs77, [2] * 5, [-INF] * 5, [INF] * 5, 2, 0, 0.24150513),
    (hs80, [-2, 2, 2, -1, -1], [-2.3, -2.3] + [-3.2] * 3, [2.3, 2.3] + [3.2] * 3, 3, 0, 0.0539498478),
    (hs100, [1, 2, 0, 4, 0, 1, 1], [-INF] * 7, [INF] * 7, 0, 4, 680.6300573),
]


@pytest.mark.parametrize("case", PUBLISHED, ids=lambda case: case[0].__name__)
def test_hock_schittkowski(case):
    function, start, lower, upper, equalities, inequalities, optimum = case
    solution = solve_one(function, start, lower, upper, equalities, inequalities)
    assert solution.status[0] == Status.CONVERGED
    assert solution.objective[0] == pytest.approx(optimum, abs=1e-7, rel=1e-8)
    assert solution.constraint_error[0] <= 1e-10
    assert solution.optimality_error[0] <= 1e-7


def test_hock_schittkowski_65_optimum_state():
    """The state printed with problem 65 (same source, from memory)."""
    solution = solve_one(hs65, [-5, 5, 0], [-4.5, -4.5, -5], [4.5, 4.5, 5], 0, 1)
    np.testing.assert_allclose(solution.x[:, 0], [3.650461821, 3.65046182, 4.6204170507], atol=1e-6)


def test_smooth_published_problems_take_few_iterations():
    """The median over the collection; 10 to 15 is the aim for smooth problems."""
    taken = [solve_one(*case[:6]).iterations[0] for case in PUBLISHED]
    assert np.median(taken) <= 13


def test_waechter_biegler_counterexample():
    """Waechter & Biegler (2000), Math. Program. 88, 565-574: methods that only backtrack fail here.

    Optimum x = (1, 0, 1/2), where the second variable leans on its bound.
    """
    solution = solve_one(
        lambda x, _, xp: (x[0], [x[0] ** 2 - x[1] - 1, x[0] - x[2] - 0.5]),
        [-2, 3, 1],
        [-INF, 0, 0],
        [INF] * 3,
        2,
    )
    assert solution.status[0] == Status.CONVERGED
    np.testing.assert_allclose(solution.x[:, 0], [1, 0, 0.5], atol=1e-7)
    assert solution.active_lower[:, 0].tolist() == [False, True, False]


# --- closed forms --------------------------------------------------------------------------------------


def test_projection_on_a_plane_for_a_batch():
    """Nearest point of a.x = b to a given point: x = p - a (a.p - b) / a.a."""
    rng = np.random.default_rng(1)
    size, cases = 5, 40
    a, p, b = (
        rng.standard_normal((size, cases)),
        rng.standard_normal((size, cases)),
        rng.standard_normal(cases),
    )

    def function(x, data, xp):
        normal, point, offset = data[:size], data[size : 2 * size], data[-1]
        distance = sum(0.5 * (x[i] - point[i]) ** 2 for i in range(size))
        return distance, [sum(normal[i] * x[i] for i in range(size)) - offset]

    data = np.concatenate([a, p, b[None]])
    problem = FunctionProblem(function, [-INF] * size, [INF] * size, 1, 0, data, cases)
    solution = minimise(problem, np.zeros((size, cases)))
    multiplier = ((a * p).sum(axis=0) - b) / (a * a).sum(axis=0)
    assert (solution.status == Status.CONVERGED).all()
    np.testing.assert_allclose(solution.x, p - a * multiplier, atol=1e-7)
    np.testing.assert_allclose(solution.multipliers[0], multiplier, atol=1e-7)


def test_projection_on_a_box_for_a_batch():
    """Nearest point of a box: each component clipped; its bound multiplier is what was clipped off."""
    rng = np.random.default_rng(2)
    point = rng.uniform(-3, 3, (4, 50))
    problem = FunctionProblem(
        lambda x, data, xp: (sum(0.5 * (x[i] - data[i]) ** 2 for i in range(4)), []),
        [-1] * 4,
        [2] * 4,
        data=point,
        cases=50,
    )
    solution = minimise(problem, np.zeros((4, 50)))
    assert (solution.status == Status.CONVERGED).all()
    np.testing.assert_allclose(solution.x, np.clip(point, -1, 2), atol=2e-4)
    clear = (np.abs(point + 1) > 0.05) & (np.abs(point - 2) > 0.05)
    np.testing.assert_allclose(solution.x[clear], np.clip(point, -1, 2)[clear], atol=1e-6)
    np.testing.assert_allclose(solution.lower_multipliers, np.maximum(-1 - point, 0), atol=2e-4)
    np.testing.assert_allclose(solution.upper_multipliers, np.maximum(point - 2, 0), atol=2e-4)
    np.testing.assert_array_equal(solution.active_lower[clear], (point < -1)[clear])
    np.testing.assert_array_equal(solution.active_upper[clear], (point > 2)[clear])


def test_multiplier_signs():
    """min x^2 + y^2 with x + y = 2: both gradients balance at (1, 1) with -2; the same with x + y >= 2."""

    def function(x, _, xp):
        return x[0] ** 2 + x[1] ** 2, [x[0] + x[1] - 2]

    equality = solve_one(function, [0.3, 0], equalities=1)
    inequality = solve_one(function, [0.3, 0], inequalities=1)
    assert equality.multipliers[0, 0] == pytest.approx(-2, abs=1e-6)
    assert inequality.multipliers[0, 0] == pytest.approx(-2, abs=1e-6)
    np.testing.assert_allclose(inequality.x[:, 0], [1, 1], atol=1e-7)


def test_gradient_condition_holds_with_the_returned_multipliers():
    problem, start = random_batch(3, 12)
    solution = minimise(problem, start)
    assert (solution.status == Status.CONVERGED).all()
    derivatives = problem.derivatives(solution.x, np.arange(12), solution.multipliers)
    pull = np.einsum("knb,kb->nb", derivatives.jacobian, solution.multipliers)
    residual = derivatives.gradient + pull - solution.lower_multipliers + solution.upper_multipliers
    np.testing.assert_allclose(residual, 0, atol=2e-6)
    assert (solution.lower_multipliers >= 0).all()
    assert (solution.upper_multipliers >= 0).all()
    assert (solution.multipliers[problem.equality_count :] <= 1e-7).all()


def test_unconstrained_square_system_is_root_finding():
    """As many equations as variables: x^2 + y^2 = 1 and x = y."""
    solution = solve_one(
        lambda x, _, xp: (0 * x[0], [x[0] ** 2 + x[1] ** 2 - 1, x[0] - x[1]]), [0.5, 0.2], equalities=2
    )
    np.testing.assert_allclose(solution.x[:, 0], [0.5**0.5] * 2, atol=1e-10)


# --- difficult shapes ----------------------------------------------------------------------------------


def test_concave_objective_ends_in_a_corner():
    """-x^2 - y^2 on x + y = 1 within a box: indefinite Hessian everywhere, minimum -5 at (2, -1)."""
    solution = solve_one(
        lambda x, _, xp: (-(x[0] ** 2) - x[1] ** 2, [x[0] + x[1] - 1]),
        [0.8, 0.1],
        [-2, -1],
        [2, 2],
        equalities=1,
    )
    assert solution.status[0] == Status.CONVERGED
    np.testing.assert_allclose(solution.x[:, 0], [2, -1], atol=1e-6)


def test_indefinite_quadratic_on_a_sphere():
    """min x.A x on |x| = 1 is the smallest eigenvalue of A (Rayleigh quotient; NumPy is the reference)."""
    rng = np.random.default_rng(5)
    size, cases = 6, 20
    matrix = rng.standard_normal((size, size, cases))
    matrix = 0.5 * (matrix + matrix.transpose(1, 0, 2))

    def function(x, data, xp):
        quadratic = sum(data[i, j] * x[i] * x[j] for i in range(size) for j in range(size))
        return quadratic, [sum(x[i] ** 2 for i in range(size)) - 1]

    problem = FunctionProblem(function, [-INF] * size, [INF] * size, 1, 0, matrix, cases)
    solution = minimise(problem, rng.standard_normal((size, cases)))
    assert (solution.status == Status.CONVERGED).all()
    smallest = np.linalg.eigvalsh(np.moveaxis(matrix, -1, 0))[:, 0]
    np.testing.assert_allclose(solution.objective, smallest, atol=1e-6)


def test_repeated_equality():
    solution = solve_one(
        lambda x, _, xp: (x[0] ** 2 + 2 * x[1] ** 2, [x[0] + x[1] - 1, 2 * x[0] + 2 * x[1] - 2]),
        [3, 1],
        equalities=2,
    )
    assert solution.status[0] == Status.CONVERGED
    np.testing.assert_allclose(solution.x[:, 0], [2 / 3, 1 / 3], atol=1e-8)


def test_equalities_dependent_everywhere_on_the_feasible_set():
    def function(x, _, xp):
        circle = x[0] ** 2 + x[1] ** 2 - 1
        return x[0] ** 2 + 2 * x[1] ** 2 + x[2] ** 2, [circle, circle * (2 + x[0])]

    solution = solve_one(function, [3, 1, 1], equalities=2)
    assert solution.status[0] == Status.CONVERGED
    np.testing.assert_allclose(np.abs(solution.x[:, 0]), [1, 0, 0], atol=1e-6)


def test_cases_of_different_rank_share_a_batch():
    """The second equality repeats the first in every other case."""

    def function(x, data, xp):
        return x[0] ** 2 + x[1] ** 2 + x[2] ** 2, [
            x[0] + x[1] - 1,
            x[0] + x[1] + data[0] * x[2] - 1 - data[0],
        ]

    problem = FunctionProblem(function, [-5] * 3, [5] * 3, 2, data=np.array([[0.0, 1.0, 0.0, 1.0]]), cases=4)
    solution = minimise(problem, np.full((3, 4), 2.0))
    assert (solution.status == Status.CONVERGED).all()
    np.testing.assert_allclose(solution.x, np.array([[0.5, 0.5, 0], [0.5, 0.5, 1]] * 2).T, atol=1e-6)


def test_parallel_inequalities_share_the_multiplier():
    solution = solve_one(
        lambda x, _, xp: (x[0] ** 2 + 2 * x[1] ** 2, [x[0] + x[1] - 1, 2 * x[0] + 2 * x[1] - 2]),
        [3, 1],
        inequalities=2,
    )
    assert solution.status[0] == Status.CONVERGED
    np.testing.assert_allclose(solution.x[:, 0], [2 / 3, 1 / 3], atol=1e-7)
    assert solution.multipliers[0, 0] + 2 * solution.multipliers[1, 0] == pytest.approx(-4 / 3, abs=1e-6)


def test_degenerate_bounds():
    """Both bounds active with one of them unneeded: x = y >= 0, least x^2 + y."""
    solution = solve_one(
        lambda x, _, xp: (x[0] ** 2 + x[1], [x[0] - x[1]]), [0.3, 0.1], [0, 0], [2, 2], equalities=1
    )
    assert solution.status[0] == Status.CONVERGED
    np.testing.assert_allclose(solution.x[:, 0], [0, 0], atol=1e-6)


def test_vertex_solution_of_a_linear_problem():
    """Largest x + 2 y with x + y <= 2 and x <= 3/2, both positive: (0, 2)."""
    solution = solve_one(
        lambda x, _, xp: (-x[0] - 2 * x[1], [2 - x[0] - x[1], 1.5 - x[0]]),
        [0.3, 0.1],
        [0, 0],
        [5, 5],
        inequalities=2,
    )
    assert solution.status[0] == Status.CONVERGED
    np.testing.assert_allclose(solution.x[:, 0], [0, 2], atol=1e-6)
    assert solution.active_lower[0, 0]


def test_flat_directions_are_harmless():
    """Three redundant trims: only x + y + z and the equality matter, the reduced Hessian has rank one."""
    solution = solve_one(
        lambda x, _, xp: ((x[0] + x[1] + x[2] - 1) ** 2 + x[3], [x[3] - (x[0] + x[1] + x[2]) ** 2]),
        [0.4, -0.3, 0.2, 1], [-2] * 4, [2] * 4, equalities=1,
    )  # fmt: skip
    assert solution.status[0] == Status.CONVERGED
    assert solution.x[:3, 0].sum() == pytest.approx(0.5, abs=1e-6)


def test_objective_at_its_bound_leaves_the_rest_undetermined():
    """Once the first variable is at its bound nothing else matters; the equality must still be met."""
    solution = solve_one(
        lambda x, _, xp: (-x[0], [x[1] ** 2 + x[2] ** 2 + 0.3 * xp.sin(x[1] + x[0]) - 1 + 0.1 * x[0]]),
        [0.5, 0.5, 0.5], [0, -1.5, -1.5], [2, 1.5, 1.5], equalities=1,
    )  # fmt: skip
    assert solution.status[0] == Status.CONVERGED
    assert solution.x[0, 0] == pytest.approx(2, abs=1e-6)
    assert solution.constraint_error[0] <= 1e-10


def test_optimum_without_multipliers_is_not_called_infeasible():
    """Hock & Schittkowski 13: no constraint qualification holds at (1, 0), but it is feasible."""
    solution = solve_one(
        lambda x, _, xp: ((x[0] - 2) ** 2 + x[1] ** 2, [(1 - x[0]) ** 3 - x[1]]),
        [-2, -2],
        [0, 0],
        [INF] * 2,
        inequalities=1,
    )
    assert solution.status[0] in (Status.CONVERGED, Status.STEP_LIMIT)
    assert solution.constraint_error[0] <= 1e-9
    assert solution.objective[0] == pytest.approx(1, abs=0.05)


# --- no equilibrium ------------------------------------------------------------------------------------


INFEASIBLE = {
    "line misses circle": (
        lambda x, _, xp: (x[0] + x[1], [x[0] ** 2 + x[1] ** 2 - 1, x[0] + x[1] - 3]),
        2,
        2,
        0,
        INF,
    ),
    "square is never -1": (lambda x, _, xp: (x[0], [x[0] ** 2 + 1]), 1, 1, 0, INF),
    "bounds too tight": (lambda x, _, xp: (x[0], [x[0] + x[1] - 3]), 2, 1, 0, 1.0),
    "bounds just too tight": (lambda x, _, xp: (x[0] ** 2, [x[0] + x[1] - 2.0001]), 2, 1, 0, 1.0),
    "contradicting inequalities": (lambda x, _, xp: (x[0] ** 2, [x[0] - 2, 1 - x[0]]), 1, 0, 2, INF),
    "contradicting equalities": (
        lambda x, _, xp: (x[0] ** 2, [x[0] + x[1] - 1, x[0] + x[1] - 2]),
        2,
        2,
        0,
        INF,
    ),
}


@pytest.mark.parametrize("name", INFEASIBLE)
def test_infeasible_problems_are_recognised(name):
    function, size, equalities, inequalities, limit = INFEASIBLE[name]
    solution = solve_one(
        function, [0.5, 0.2][:size], [-limit] * size, [limit] * size, equalities, inequalities
    )
    assert solution.status[0] == Status.NO_EQUILIBRIUM
    assert solution.constraint_error[0] > 1e-5


def test_worst_constraint_names_the_equation_that_cannot_be_met():
    """The first equation can be met; the second would need x = 30 with an upper bound of 1."""
    solution = solve_one(
        lambda x, _, xp: (x[0], [x[0] - 0.5, 0.1 * x[1] - 3]), [0.1, 0.1], [0, 0], [1, 1], equalities=2
    )
    assert solution.status[0] == Status.NO_EQUILIBRIUM
    assert solution.worst_constraint[0] == 1
    assert solution.constraint_error[0] == pytest.approx(2.9, abs=1e-6)


@pytest.mark.parametrize("restoration_starts", [1, 3])
def test_a_case_that_was_once_feasible_is_never_called_infeasible(restoration_starts):
    problem, start = random_batch(14, 80, size=6, equalities=4, offset=1.5)
    settings = Settings(restoration_starts=restoration_starts)
    infeasible = minimise(problem, start, settings=settings).status == Status.NO_EQUILIBRIUM
    assert infeasible.any()
    for x, cases in list(problem.visited):
        constraints = problem.values(x, cases).constraints
        met = (np.abs(constraints[:-1]) <= 1e-9).all(axis=0) & (constraints[-1] >= 0)
        assert not (met & infeasible[cases]).any()


@pytest.mark.parametrize("step_limit", range(1, 40, 3))
def test_search_cut_short_gives_no_verdict_too_early(step_limit):
    """Every case ends with a status, and only a finished search says infeasible."""
    problem, start = random_batch(13, 12, offset=2.5)
    full = minimise(problem, start)
    short = minimise(problem, start, settings=Settings(step_limit=step_limit))
    assert set(short.status) <= {Status.CONVERGED, Status.NO_EQUILIBRIUM, Status.STEP_LIMIT}
    ended = short.status != Status.STEP_LIMIT
    np.testing.assert_array_equal(short.status[ended], full.status[ended])
    assert (short.iterations <= step_limit).all()


def test_just_feasible_is_feasible():
    solution = solve_one(
        lambda x, _, xp: (x[1] ** 2, [x[0] + x[1] - 1.9999]), [0.5, 0.5], [0, 0], [1, 1], equalities=1
    )
    assert solution.status[0] == Status.CONVERGED
    assert solution.x.sum() == pytest.approx(1.9999, abs=1e-9)


def test_feasible_set_without_interior_is_not_called_infeasible():
    """Only (1, 1) meets x + y = 2 within the unit box."""
    solution = solve_one(
        lambda x, _, xp: ((x[1] - 0.5) ** 2, [x[0] + x[1] - 2]), [0.5, 0.5], [0, 0], [1, 1], equalities=1
    )
    assert solution.status[0] in (Status.CONVERGED, Status.STEP_LIMIT)
    np.testing.assert_allclose(solution.x[:, 0], [1, 1], atol=1e-6)


def test_start_where_all_constraint_gradients_vanish():
    """At the centre of a circle the residual is stationary, but a maximum."""
    solution = solve_one(lambda x, _, xp: (x[0], [x[0] ** 2 + x[1] ** 2 - 1]), [0, 0], equalities=1)
    assert solution.status[0] == Status.CONVERGED
    np.testing.assert_allclose(solution.x[:, 0], [-1, 0], atol=1e-6)


def test_start_on_a_plateau_of_the_residual():
    """The residual is flat to ten digits at the start; its root lies at 3 + artanh(1/2) / 5."""
    solution = solve_one(
        lambda x, _, xp: (x[0], [xp.tanh(5 * (x[0] - 3)) - 0.5]), [-0.5], [-2], [5], equalities=1
    )
    assert solution.status[0] == Status.CONVERGED
    assert solution.x[0, 0] == pytest.approx(3 + np.arctanh(0.5) / 5, abs=1e-8)


def test_infeasible_verdicts_against_least_squares():
    """SciPy's bounded least squares from eight starts must find no feasible state where none is claimed."""
    problem, start = random_batch(11, 60, size=6, equalities=4, offset=2.5)
    solution = minimise(problem, start)
    infeasible = np.flatnonzero(solution.status == Status.NO_EQUILIBRIUM)
    assert len(infeasible) >= 10
    assert (solution.status[solution.status != Status.NO_EQUILIBRIUM] == Status.CONVERGED).all()
    rng = np.random.default_rng(12)
    wrong = 0
    for case in infeasible[:10]:
        index, low, high = np.array([case]), problem.lower[:, case], problem.upper[:, case]

        def residual(x, index=index):
            return problem.values(x[:, None], index).constraints[: problem.equality_count, 0]

        tries = [least_squares(residual, rng.uniform(low, high), bounds=(low, high)) for _ in range(8)]
        wrong += min(np.abs(t.fun).max() for t in tries) < 1e-7
    assert wrong == 0


# --- models that are not defined everywhere ------------------------------------------------------------


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
def test_undefined_region_is_avoided():
    """min x^2 / 4 - sqrt(x - 1), undefined below 1: x sqrt(x - 1) = 1, root of x^3 - x^2 - 1."""
    solution = solve_one(lambda x, _, xp: (0.25 * x[0] ** 2 - xp.sqrt(x[0] - 1), []), [8.0])
    assert solution.status[0] == Status.CONVERGED
    assert solution.x[0, 0] == pytest.approx(np.roots([1, -1, 0, -1])[0].real, abs=1e-7)


def test_start_where_the_model_is_undefined():
    solution = solve_one(lambda x, _, xp: (xp.sqrt(x[0]), []), [-1.0])
    assert solution.status[0] == Status.NOT_FINITE
    assert np.isnan(solution.optimality_error[0])


def test_unbounded_problem_hits_the_step_limit():
    solution = solve_one(lambda x, _, xp: (-x[0], []), [0.5], step_limit=25)
    assert solution.status[0] == Status.STEP_LIMIT
    assert solution.iterations[0] == 25


def test_step_limit_keeps_the_best_feasible_state():
    full = solve_one(hs1, [-2, 1], [-INF, -1.5], [INF, INF])
    short = solve_one(hs1, [-2, 1], [-INF, -1.5], [INF, INF], step_limit=8)
    assert short.status[0] == Status.STEP_LIMIT
    assert full.objective[0] < short.objective[0] < hs1([-2.0, 1.0], None, np)[0]


# --- batches -------------------------------------------------------------------------------------------


def random_batch(seed, cases, size=7, equalities=3, offset=0.4):
    """Smooth nonconvex problems: as much as possible of one variable, subject to balances."""
    rng = np.random.default_rng(seed)
    data = np.concatenate(
        [
            rng.standard_normal((equalities * size, cases)),
            rng.standard_normal((equalities * size, cases)) / 2,
            rng.standard_normal((equalities, cases)) * offset,
        ]
    )

    def function(x, data, xp):
        slope = data[: equalities * size].reshape(equalities, size, -1)
        inner = data[equalities * size : 2 * equalities * size].reshape(equalities, size, -1)
        balances = []
        for k in range(equalities):
            linear = sum(slope[k, j] * x[j] for j in range(size))
            bent = sum(inner[k, j] * x[j] for j in range(size))
            balances.append(linear + 0.5 * bent * bent + 0.3 * xp.sin(bent) + data[2 * equalities * size + k])
        return 0.1 * x[1] ** 2 - x[0], [*balances, 2.5 - x[0] * x[1] - x[2] ** 2]

    problem = FunctionProblem(
        function, [0] + [-1] * (size - 1), [5] + [1.5] * (size - 1), equalities, 1, data, cases
    )
    return problem, np.full((size, cases), 0.3)


FIELDS = ("x", "multipliers", "lower_multipliers", "upper_multipliers", "objective", "status", "iterations",
          "constraint_error", "optimality_error", "worst_constraint", "active_lower",
          "active_upper")  # fmt: skip


def assert_same(one, other, pick=slice(None)):
    for name in FIELDS:
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name)[..., pick], err_msg=name)


@pytest.mark.parametrize("offset", [0.4, 2.5], ids=["mostly feasible", "mostly infeasible"])
def test_batch_equals_one_by_one_to_the_last_bit(offset):
    problem, start = random_batch(21, 30, offset=offset)
    together = minimise(problem, start)
    for case in range(30):
        assert_same(solve_alone(problem, case, start), together, slice(case, case + 1))


def test_order_changes_nothing():
    problem, start = random_batch(22, 40, offset=1.5)
    order = np.random.default_rng(3).permutation(40)
    shuffled = FunctionProblem(
        problem.function,
        problem.lower,
        problem.upper,
        problem.equality_count,
        1,
        problem.data[..., order],
        40,
    )
    assert_same(minimise(shuffled, start), minimise(problem, start), order)


@pytest.mark.parametrize("block_size", [1, 7, 64])
def test_block_size_changes_nothing(block_size):
    problem, start = random_batch(23, 20, offset=1.5)
    assert_same(minimise(problem, start, settings=Settings(block_size=block_size)), minimise(problem, start))


def test_poisoned_neighbour_changes_nothing():
    problem, start = random_batch(24, 15, offset=1.0)
    clean = minimise(problem, start)
    poisoned_data = problem.data.copy()
    poisoned_data[:, 4] = np.nan
    poisoned = FunctionProblem(
        problem.function, problem.lower, problem.upper, problem.equality_count, 1, poisoned_data, 15
    )
    result = minimise(poisoned, start)
    assert result.status[4] == Status.NOT_FINITE
    others = np.flatnonzero(np.arange(15) != 4)
    for name in FIELDS:
        np.testing.assert_array_equal(
            getattr(result, name)[..., others], getattr(clean, name)[..., others], err_msg=name
        )


def test_neighbour_poisoned_on_the_way_changes_nothing():
    """One case turns NaN wherever its first variable leaves the start."""
    problem, start = random_batch(25, 12)
    clean = minimise(problem, start)

    class Poisoned(FunctionProblem):
        def values(self, x, cases):
            found = super().values(x, cases)
            bad = (cases == 5) & (np.abs(x[0] - 0.3) > 1e-3)
            return Values(np.where(bad, np.nan, found.objective), found.constraints)

    poisoned = Poisoned(
        problem.function, problem.lower, problem.upper, problem.equality_count, 1, problem.data, 12
    )
    result = minimise(poisoned, start)
    assert result.status[5] != Status.CONVERGED
    others = np.flatnonzero(np.arange(12) != 5)
    for name in FIELDS:
        np.testing.assert_array_equal(
            getattr(result, name)[..., others], getattr(clean, name)[..., others], err_msg=name
        )


def test_bounds_are_never_violated():
    problem, start = random_batch(26, 40, offset=1.0)
    solution = minimise(problem, start)
    for x, cases in problem.visited:
        assert (x > problem.lower[:, cases]).all()
        assert (x < problem.upper[:, cases]).all()
    assert (solution.x > problem.lower).all()
    assert (solution.x < problem.upper).all()


def test_start_outside_the_bounds_is_moved_inside():
    solution = solve_one(lambda x, _, xp: ((x[0] - 3) ** 2, []), [70.0], [1], [5])
    assert solution.status[0] == Status.CONVERGED
    assert solution.x[0, 0] == pytest.approx(3, abs=1e-6)


def test_progress_counts_up_to_all_cases():
    problem, start = random_batch(27, 30, offset=1.5)
    calls = []
    minimise(
        problem,
        start,
        settings=Settings(block_size=8),
        on_progress=lambda done, total: calls.append((done, total)),
    )
    done = [call[0] for call in calls]
    assert done == sorted(done)
    assert done[-1] == 30
    assert {call[1] for call in calls} == {30}
    assert len(set(done)) > 2


def test_batch_converges_quickly_and_precisely():
    problem, start = random_batch(28, 200)
    solution = minimise(problem, start)
    converged = solution.status == Status.CONVERGED
    assert converged.mean() > 0.95
    assert set(solution.status[~converged]) <= {int(Status.NO_EQUILIBRIUM)}
    assert 8 <= np.median(solution.iterations[converged]) <= 15
    assert np.percentile(solution.constraint_error[converged], 99) <= 1e-10


# --- SciPy as reference --------------------------------------------------------------------------------


def convex_batch(seed, cases, size=5):
    """Strictly convex problems, so that the optimum is unique: two linear equalities, a ball, a box."""
    rng = np.random.default_rng(seed)
    data = np.concatenate([rng.standard_normal((3 * size, cases)), 0.1 * rng.standard_normal((2, cases))])

    def function(x, data, xp):
        pull = sum(data[i] * x[i] for i in range(size))
        bowl = sum(0.5 * x[i] ** 2 + 0.1 * x[i] ** 4 for i in range(size)) + 0.2 * xp.exp(x[0] - x[1])
        rows = [
            sum(data[(k + 1) * size + i] * x[i] for i in range(size)) - data[3 * size + k] for k in range(2)
        ]
        return bowl + 2 * pull, [*rows, 1.5 - sum(x[i] ** 2 for i in range(size))]

    return FunctionProblem(function, [-1] * size, [0.8] * size, 2, 1, data, cases)


def scipy_parts(problem, case):
    index = np.array([case])
    none = np.zeros((problem.equality_count + problem.inequality_count, 1))

    def objective(x):
        return problem.values(x[:, None], index).objective[0]

    def gradient(x):
        return problem.derivatives(x[:, None], index, none).gradient[:, 0]

    def constraints(x):
        return problem.values(x[:, None], index).constraints[:, 0]

    def jacobian(x):
        return problem.derivatives(x[:, None], index, none).jacobian[..., 0]

    return objective, gradient, constraints, jacobian


def slsqp(problem, case, start):
    """SciPy's answer from a start; the last constraint is an inequality, those before it are equalities."""
    objective, gradient, constraints, jacobian = scipy_parts(problem, case)
    return minimize(
        objective,
        start,
        jac=gradient,
        method="SLSQP",
        bounds=list(zip(problem.lower[:, case], problem.upper[:, case], strict=True)),
        constraints=[
            {"type": "eq", "fun": lambda x: constraints(x)[:-1], "jac": lambda x: jacobian(x)[:-1]},
            {"type": "ineq", "fun": lambda x: constraints(x)[-1:], "jac": lambda x: jacobian(x)[-1:]},
        ],
        options={"ftol": 1e-10, "maxiter": 200},
    )


@pytest.fixture(scope="module")
def convex():
    problem = convex_batch(31, 30)
    return problem, minimise(problem, np.zeros((5, 30)))


def test_convex_problems_against_slsqp(convex):
    problem, solution = convex
    assert (solution.status == Status.CONVERGED).all()
    for case in range(30):
        reference = slsqp(problem, case, np.zeros(5))
        assert reference.success
        assert solution.objective[case] == pytest.approx(reference.fun, abs=1e-7)
        np.testing.assert_allclose(solution.x[:, case], reference.x, atol=2e-4)


@pytest.mark.filterwarnings("ignore:delta_grad == 0.0")
def test_convex_problems_against_trust_constr(convex):
    """SciPy stops with a barrier left: its objective is too high by up to that times the 11 limits.

    (Duality gap on the central path: Boyd & Vandenberghe, Convex Optimization, section 11.2.2, from memory.)
    """
    problem, solution = convex
    for case in range(30):
        objective, gradient, constraints, jacobian = scipy_parts(problem, case)
        index = np.array([case])

        def hessian(x, index=index):
            return problem.derivatives(x[:, None], index, np.zeros((3, 1))).hessian[..., 0]

        linear = jacobian(np.zeros(5))[:2]
        offset = -constraints(np.zeros(5))[:2]
        reference = minimize(
            objective, np.zeros(5), jac=gradient, hess=hessian, method="trust-constr",
            bounds=list(zip(problem.lower[:, case], problem.upper[:, case], strict=True)),
            constraints=[
                LinearConstraint(linear, offset, offset),
                NonlinearConstraint(
                    lambda x: 1.5 - x @ x, 0, np.inf, lambda x: -2 * x[None],
                    lambda x, v: -2 * v[0] * np.eye(5),
                ),
            ],
            options={"gtol": 1e-8, "xtol": 1e-10, "barrier_tol": 1e-8},
        )  # fmt: skip
        gap = 11 * reference.barrier_parameter
        assert reference.fun - gap - 1e-8 <= solution.objective[case] <= reference.fun + 1e-8


def test_slsqp_finds_nothing_better_nearby():
    """Nonconvex problems have many optima; SciPy started at ours must not improve it."""
    problem, start = random_batch(33, 30)
    solution = minimise(problem, start)
    checked = 0
    for case in np.flatnonzero(solution.status == Status.CONVERGED):
        reference = slsqp(problem, case, solution.x[:, case])
        residual = problem.values(reference.x[:, None], np.array([case])).constraints[:-1, 0]
        if np.abs(residual).max() < 1e-8 and np.abs(reference.x - solution.x[:, case]).max() < 0.05:
            checked += 1
            assert reference.fun >= solution.objective[case] - 1e-7
    assert checked >= 15


# --- feasible states first, and several starts of one case ---------------------------------------------


def weights_of(problem):
    """Note the weight of the objective in everything that a problem is asked for with derivatives."""
    asked = []

    def noted(x, cases, multipliers, objective_weight=1.0):
        asked.extend((int(case), objective_weight) for case in cases)
        return FunctionProblem.derivatives(problem, x, cases, multipliers, objective_weight)

    problem.derivatives = noted
    return asked


def test_a_feasible_state_is_looked_for_before_anything_else_where_asked_for():
    """The objective has no weight in the search for a feasible state."""
    problem, start = random_batch(41, 2)
    asked = weights_of(problem)
    solution = minimise(problem, start, restore_first=np.array([True, False]))
    assert not solution.status.any()
    first = [weight for case, weight in asked if case == 0]
    second = [weight for case, weight in asked if case == 1]
    # once for its first multipliers, then without the objective until it is feasible
    assert first[0] == 1.0
    assert first[1] == 0.0
    assert first[-1] == 1.0
    assert 1.0 in second[1:]
    assert second[1] == 1.0


def test_a_feasible_state_first_leads_to_optima_too():
    problem, start = random_batch(42, 60, offset=1.0)
    plain = minimise(problem, start)
    restored = minimise(problem, start, restore_first=np.ones(60, dtype=bool))
    both = (plain.status == Status.CONVERGED) & (restored.status == Status.CONVERGED)
    assert both.sum() >= 0.8 * (plain.status == Status.CONVERGED).sum()
    assert restored.constraint_error[both].max() <= 1e-9
    assert restored.optimality_error[both].max() <= 1e-7
    # several optima exist; none is below all others by the way that the search begins
    same = np.abs(plain.objective - restored.objective)[both] < 1e-6
    assert same.mean() > 0.6


def test_a_feasible_state_first_changes_no_other_case():
    problem, start = random_batch(43, 30, offset=1.5)
    plain = minimise(problem, start)
    first = np.arange(30) % 3 == 0
    mixed = minimise(problem, start, restore_first=first, settings=Settings(block_size=7))
    others = np.flatnonzero(~first)
    for name in FIELDS:
        np.testing.assert_array_equal(getattr(mixed, name)[..., others], getattr(plain, name)[..., others])


@pytest.mark.parametrize("name", INFEASIBLE)
def test_a_feasible_state_first_keeps_the_verdict(name):
    function, size, equalities, inequalities, limit = INFEASIBLE[name]
    problem = FunctionProblem(function, [-limit] * size, [limit] * size, equalities, inequalities)
    start = np.array([[0.5], [0.2]])[:size]
    solution = minimise(problem, start, restore_first=np.array([True]))
    assert solution.status[0] == Status.NO_EQUILIBRIUM


def valley(cases):
    """x^3 - 3 x + 3 = 0 has one root near -2.1, and right of it residuals that are least, but one, at 1."""
    return FunctionProblem(
        lambda x, _, xp: (x[0] + x[1] ** 2, [x[0] ** 3 - 3 * x[0] + 3]), [-4, -1], [4, 1], 1, 0, cases=cases
    )


ROOT = min(np.roots([1.0, 0.0, -3.0, 3.0]).real)
ONE_SEARCH = Settings(restoration_starts=1)


def test_a_start_that_is_lost_is_given_up_once_another_of_its_case_has_converged():
    start = np.array([[2.0, -3.0], [0.5, 0.5]])
    alone = minimise(valley(2), start, settings=ONE_SEARCH)
    assert list(alone.status) == [Status.NO_EQUILIBRIUM, Status.CONVERGED]
    rivals = minimise(valley(2), start, settings=ONE_SEARCH, rivals=np.array([0, 0]))
    assert list(rivals.status) == [Status.STEP_LIMIT, Status.CONVERGED]
    assert rivals.iterations[0] < alone.iterations[0]
    np.testing.assert_allclose(rivals.x[:, 1], [ROOT, 0.0], atol=1e-7)
    for name in FIELDS:
        np.testing.assert_array_equal(getattr(rivals, name)[..., 1], getattr(alone, name)[..., 1])


def test_starts_of_other_cases_are_no_rivals():
    start = np.array([[2.0, -3.0, 2.2], [0.5, 0.5, 0.5]])
    apart = minimise(valley(3), start, settings=ONE_SEARCH, rivals=np.array([5, 6, 5]))
    assert_same(apart, minimise(valley(3), start, settings=ONE_SEARCH))
    assert list(apart.status[[0, 2]]) == [Status.NO_EQUILIBRIUM] * 2


def test_rivals_change_no_start_that_does_not_need_a_feasible_state_looked_for():
    """Beside each other as alone: whoever converges, the others converge or are given up."""
    problem, start = random_batch(44, 40, offset=1.5)
    plain = minimise(problem, start)
    rivals = minimise(problem, start, rivals=np.arange(40) // 4)
    for group in range(10):
        which = np.arange(4 * group, 4 * group + 4)
        given_up = which[rivals.status[which] != plain.status[which]]
        assert set(rivals.status[given_up]) <= {Status.STEP_LIMIT}
        if len(given_up):
            assert (rivals.status[which] == Status.CONVERGED).any()
        kept = np.setdiff1d(which, given_up)
        same = kept[plain.iterations[kept] == rivals.iterations[kept]]
        np.testing.assert_array_equal(rivals.x[:, same], plain.x[:, same])
    assert (rivals.status != plain.status).any()


# --- what is refused -----------------------------------------------------------------------------------


def bowl(cases=2, **change):
    problem = FunctionProblem(lambda x, _, xp: (x[0] ** 2 + x[1] ** 2, []), [-1, -1], [1, 1], cases=cases)
    for name, value in change.items():
        setattr(problem, name, value)
    return problem


def test_fixed_variable_is_refused_by_name():
    lower = np.array([[-1.0, -1.0], [-1.0, 1.0]])
    with pytest.raises(ValueError, match=r"variable 1 in case 1 .*equals upper"):
        minimise(bowl(lower=lower), np.zeros((2, 2)))


@pytest.mark.parametrize(
    ("change", "start", "message"),
    [
        ({}, np.zeros((3, 2)), "start has shape"),
        ({}, np.zeros(2), "start has shape"),
        ({}, np.array([[0.0, np.nan], [0, 0]]), "variable 0 in case 1 .*finite"),
        ({"lower": np.full((2, 2), 2.0)}, np.zeros((2, 2)), "above upper"),
        ({"lower": np.full((2, 2), np.nan)}, np.zeros((2, 2)), "NaN"),
        ({"lower": np.zeros((2, 3))}, np.zeros((2, 2)), "lower has shape"),
        ({"upper": np.full((2, 2), -1 + 1e-12)}, np.zeros((2, 2)), "leave a fixed variable out"),
        ({"equality_count": 3}, np.zeros((2, 2)), "overdetermined"),
    ],
)
def test_wrong_inputs_are_refused(change, start, message):
    with pytest.raises(ValueError, match=message):
        minimise(bowl(**change), start)


def test_wrong_shape_from_the_problem_is_refused():
    with pytest.raises(ValueError, match="constraints of shape"):
        minimise(bowl(equality_count=1), np.zeros((2, 2)))


@pytest.mark.parametrize(
    "wrong",
    [
        {"step_limit": 0},
        {"block_size": 0},
        {"proximal": -1.0},
        {"constraint_tolerance": np.nan},
        {"step_limit": 2.5},
    ],
)
def test_wrong_settings_are_refused(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        Settings(**wrong)


def test_empty_batch():
    solution = minimise(bowl(cases=0), np.zeros((2, 0)))
    assert solution.x.shape == (2, 0)
    assert solution.status.shape == (0,)
