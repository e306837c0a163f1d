"""Beyond trying everything: another solver, bounds, searches, and what must not change the answer.

The other solver is HiGHS through `scipy.optimize.milp`, with the subtour elimination of G. B. Dantzig,
R. Fulkerson, S. Johnson (Operations Research 2 (1954) 393-410) added as it is needed.
"""

from __future__ import annotations

import numpy as np
import order_cases as cases
import pytest

from blendplan.errors import StripeError
from blendplan.order import Constraints, find_order, step_matrix
from blendplan.order.exact import lower_bound, solve_exact, walk_bound
from blendplan.order.find import Question, Search, prepare
from blendplan.order.problem import Problem
from blendplan.order.search import search
from blendplan.order.solve import solve


def milp_round(matrix: np.ndarray) -> float:
    """Length of the shortest round through all nodes, edges from i to j dear or cheap as the matrix says."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse.csgraph import connected_components

    n = len(matrix)
    out, into = np.kron(np.eye(n), np.ones(n)), np.kron(np.ones(n), np.eye(n))
    rows = [LinearConstraint(np.vstack([out, into]), 1, 1)]
    upper = np.ones((n, n))
    np.fill_diagonal(upper, 0)
    while True:
        got = milp(matrix.ravel(), constraints=rows, integrality=np.ones(n * n), bounds=Bounds(0, upper.ravel()))
        assert got.status == 0
        used = np.rint(got.x).reshape(n, n)
        count, label = connected_components(used, directed=True, connection="strong")
        if count == 1:
            return float((used * matrix).sum())
        for part in range(count):
            inside = label == part
            rows.append(LinearConstraint((inside[:, None] & inside[None, :]).ravel()[None], 0, inside.sum() - 1))


def with_dummy(edges: np.ndarray) -> np.ndarray:
    """An open order as a round through one more node that costs nothing."""
    out = np.zeros((len(edges) + 1, len(edges) + 1))
    out[:-1, :-1] = edges
    return out


@pytest.mark.parametrize("n", [9, 11, 13, 14])
def test_another_solver_finds_the_same_cost(n: int) -> None:
    yarns = cases.palette(n, 1200 + n)
    total = step_matrix(yarns).total
    assert find_order(yarns).cost == pytest.approx(milp_round(with_dummy(total)), abs=1e-6)
    closed = find_order(yarns, Question(constraints=Constraints(closed=True)))
    assert closed.cost == pytest.approx(milp_round(total), abs=1e-6)


@pytest.mark.parametrize("aim", ["contrast", "hue", "high-low"])
def test_another_solver_for_other_aims(aim: str) -> None:
    model = prepare(cases.palette(11, 1220), Question(aim=aim)).model
    assert solve(model).value == pytest.approx(milp_round(with_dummy(model.goal.edges)), abs=1e-4)


def test_another_solver_beyond_the_exact_search() -> None:
    yarns = cases.palette(24, 1221)
    found = find_order(yarns)
    best = milp_round(with_dummy(step_matrix(yarns).total))
    assert found.bound <= best + 1e-6
    assert found.cost == pytest.approx(best, abs=1e-6)


@pytest.mark.parametrize("seed", range(1230, 1238))
def test_bounds_are_never_above_the_optimum(seed: int) -> None:
    rng = np.random.default_rng(seed)
    m = int(rng.integers(5, 11))
    k = int(rng.integers(3, m + 1)) if seed % 2 else m
    edges = rng.uniform(0, 50, (m, m))
    if seed % 4 < 2:
        edges = (edges + edges.T) / 2
    np.fill_diagonal(edges, 0)
    places = rng.uniform(0, 30, (k, m)) * (seed % 3 > 0)
    for closed in (False, True):
        problem = Problem(edges=edges, places=places, closed=closed)
        order, best, proven = solve_exact(problem)
        assert proven
        assert float(problem.cost(np.array([order]))[0]) == pytest.approx(best)
        for known in (best, 1.3 * best):
            assert lower_bound(problem, known) <= best + 1e-7
            assert walk_bound(problem, known)[0] <= best + 1e-7
        _, value = search(problem, seed=seed)
        assert value >= best - 1e-7
        assert value <= 1.05 * best + 1e-7


@pytest.mark.parametrize(
    "question",
    [
        {},
        {"constraints": Constraints(first="c03", last="c07")},
        {"constraints": Constraints(wanted=(("c00", "c09"), ("c09", "c04")), forbidden=(("c01", "c02"),))},
        {"constraints": Constraints(closed=True, wanted=(("c00", "c09"),))},
        {"constraints": Constraints(short=("c05",), places={"c01": 4})},
        {"constraints": Constraints(uses={"c02": 3}, apart=3)},
        {"aim": "even"},
        {"aim": "steady"},
        {"aim": {"steady": 1, "smoothest": 1}},
        {"aim": "hue"},
        {"aim": {"smoothest": 1, "light-to-dark": 1}},
    ],
    ids=str,
)
def test_the_search_beyond_keeps_wishes_and_comes_close(question: dict[str, object]) -> None:
    model = prepare(cases.palette(12, 1240), Question(**question)).model
    best, found = solve(model), solve(model, exact_items=0)
    assert best.exact
    assert found.faults == 0
    assert found.bound <= best.value + 1e-6
    assert best.value - 1e-4 <= found.value <= 1.05 * best.value


@pytest.mark.parametrize("aim", ["smoothest", "even", "steady", "contrast", "high-low"])
def test_the_order_of_input_does_not_matter(aim: str) -> None:
    yarns = cases.palette(9, 1250)
    first = find_order(yarns, Question(aim=aim))
    rng = np.random.default_rng(1250)
    for _ in range(3):
        mixed = tuple(yarns[i] for i in rng.permutation(9))
        assert find_order(mixed, Question(aim=aim)).order == first.order
    # Read from its lighter end, so no better and no other order comes from turning it.
    light = {y.name: y.lab[0] for y in yarns}
    assert light[first.order[0]] >= light[first.order[-1]]
    turned = find_order(yarns, Question(aim=aim, constraints=Constraints(first=first.order[-1], last=first.order[0])))
    assert turned.cost == pytest.approx(first.cost, abs=1e-6)


def test_same_seed_same_order_and_a_seed_is_a_seed() -> None:
    yarns = cases.palette(26, 1251)
    one, two = find_order(yarns, search=Search(seed=3)), find_order(yarns, search=Search(seed=3))
    assert one == two
    assert one.bound <= one.cost
    assert one.cost == pytest.approx(sum(s.delta_e for s in one.steps))


def test_it_can_be_stopped_and_tells_how_far_it_is() -> None:
    yarns = cases.palette(40, 1252)
    shares: list[float] = []
    asked = 0

    def cancel() -> bool:
        nonlocal asked
        asked += 1
        return asked > 20

    found = find_order(yarns, search=Search(cancel=cancel, progress=shares.append))
    assert sorted(found.order) == sorted(y.name for y in yarns)
    assert not found.exact
    assert "stopped" in found.notices[0].text
    assert find_order(yarns, search=Search(time_limit_s=0)).order
    assert find_order(yarns[:16], search=Search(time_limit_s=0)).order
    shares.clear()
    find_order(yarns, search=Search(progress=shares.append))
    assert shares[-1] == 1
    assert len(shares) > 5


def test_verdicts_say_what_is_known() -> None:
    assert "proven best" in find_order(cases.palette(10, 1253)).verdict.text
    far = find_order(cases.palette(60, 1254))
    assert ("within" in far.verdict.text) is not far.exact
    assert far.to_json()["gap"] == pytest.approx((far.cost - far.bound) / far.bound, abs=1e-6)


def test_wishes_that_no_order_keeps_are_refused() -> None:
    yarns = cases.palette(5, 1255)
    names = [y.name for y in yarns]
    lonely = tuple((names[0], n) for n in names[1:])
    with pytest.raises(StripeError, match="no order of these 5 colours keeps to all wishes"):
        find_order(yarns, Question(constraints=Constraints(forbidden=lonely)))
    with pytest.raises(StripeError, match="no order of these 5 colours"):
        find_order(yarns, Question(aim="even", constraints=Constraints(forbidden=lonely)))
    ring = Constraints(wanted=((names[0], names[1]), (names[1], names[2]), (names[2], names[0])))
    with pytest.raises(StripeError, match="keeps to all wishes"):
        find_order(yarns, Question(constraints=ring))
