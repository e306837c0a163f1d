"""What no order can beat: two lower bounds by Lagrangian relaxation.

`one_tree_bound` (symmetric costs): a round is a spanning tree of all nodes but one, and two edges of that one, in
which every node has two edges. Without that last demand the cheapest is quickly found; prices on the nodes bring
the demand back as far as it goes.
`walk_bound` (everything else): an order is a walk of k places in which each item comes at most once. Without that
demand the cheapest walk that does not turn straight back is found place by place; prices on the items do the rest.
Whatever the prices are, the value is never above the cost of any order, so rounding and early stops do no harm.

References
----------
M. Held, R. M. Karp, "The traveling-salesman problem and minimum spanning trees", Operations Research 18 (1970)
1138-1162 and Math. Programming 1 (1971) 6-25; D. J. Houck et al., "The travelling salesman problem as a constrained
shortest path problem", Opsearch 17 (1980) 93-109.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import Floats
from blendplan.order.problem import Control, Problem, Stopped
from blendplan.order.search import tour_matrix

__all__ = ["lower_bound", "one_tree_bound", "walk_bound"]


def _one_tree(matrix: Floats) -> tuple[float, NDArray[np.intp]]:
    """Length and degrees of the cheapest 1-tree with the last node as the special one (Prim's method)."""
    n = len(matrix) - 1
    degree = np.zeros(n + 1, dtype=np.intp)
    near: NDArray[np.float64] = np.array(matrix[0, :n])
    parent = np.zeros(n, dtype=np.intp)
    near[0] = np.inf
    out = np.zeros(n, dtype=bool)
    out[0] = True
    length = 0.0
    for _ in range(n - 1):
        j = int(near.argmin())
        length += near[j]
        degree[j] += 1
        degree[parent[j]] += 1
        out[j] = True
        row = matrix[j, :n]
        closer = (row < near) & ~out
        near[closer] = row[closer]
        parent[closer] = j
        near[j] = np.inf
    last = matrix[n, :n]
    a, b = np.argpartition(last, 1)[:2]
    degree[a] += 1
    degree[b] += 1
    degree[n] = 2
    return length + float(last[a] + last[b]), degree


def one_tree_bound(matrix: Floats, upper: float, *, steps: int = 400, control: Control | None = None) -> float:
    """Return a lower bound of the length of any round, from a symmetric matrix.

    Parameters
    ----------
    matrix : ndarray, shape (N, N)
        N at least 3.
    upper : float
        Length of a known round; it sets the size of the steps of the prices.
    """
    n = len(matrix)
    price: Floats = np.zeros(n)
    best, factor, last_better = -np.inf, 1.0, 0
    before: Floats = np.zeros(n)
    try:
        for step in range(steps):
            if control is not None:
                control.tick()
            length, degree = _one_tree(matrix + price[:, None] + price[None, :])
            value = length - 2.0 * price.sum()
            if value > best + 1e-12:
                best, last_better = value, step
            elif step - last_better > 8:
                factor, last_better = factor / 1.6, step
            slope = degree.astype(np.float64) - 2.0
            if not slope.any() or upper - best < 1e-9:
                break
            move: Floats = np.asarray(0.7 * slope + 0.3 * before)
            before = slope
            price += factor * max(upper - value, 1e-9) / float(slope @ slope) * move
    except Stopped:
        pass
    return float(best)


def _cheapest_walk(edges: Floats, places: Floats, price: Floats) -> tuple[float, NDArray[np.intp]]:
    """Cheapest walk over the places without turning straight back, prices taken off; and its visits."""
    k, m = places.shape
    gain = places - price
    first: NDArray[np.float64] = np.array(gain[0], dtype=np.float64)
    second: Floats = np.full(m, np.inf)
    came = np.full(m, -1)
    items = np.arange(m)
    trail = []
    for p in range(1, k):
        reach = np.repeat(first[:, None], m, axis=1)
        known = came >= 0
        reach[items[known], came[known]] = second[known]
        reach = reach + edges
        reach[items, items] = np.inf
        one = reach.argmin(axis=0)
        first_new = reach[one, items]
        reach[one, items] = np.inf
        two = reach.argmin(axis=0)
        second_new = reach[two, items]
        trail.append((one, two, came))
        first, second, came = first_new + gain[p], second_new + gain[p], one
    visits = np.zeros(m, dtype=np.intp)
    j = int(first.argmin())
    value = float(first[j])
    use_second = False
    visits[j] += 1
    for one, two, came_before in reversed(trail):
        i = int(two[j] if use_second else one[j])
        use_second = bool(came_before[i] == j)
        j = i
        visits[j] += 1
    return value, visits


def walk_bound(
    problem: Problem, upper: float, *, steps: int = 200, control: Control | None = None
) -> tuple[float, Floats]:
    """Return a lower bound of the cost of any order, and the prices of the items that prove it.

    Notes
    -----
    A closed round counts its cheapest edge for the closing one, which loses a little.
    """
    must = problem.k == problem.m
    price = np.zeros(problem.m)
    if not must and problem.big:
        # An item that has to be used carries a reward of `big` everywhere; it may be earned only once.
        price[(problem.places < -problem.big / 2).all(axis=0)] = -problem.big
    best_price = price
    best, factor, last_better = -np.inf, 1.0, 0
    closing = 0.0
    if problem.closed and problem.k > 1:
        off = problem.edges + np.where(np.eye(problem.m, dtype=bool), np.inf, 0.0)
        closing = float(off.min())
    try:
        for step in range(steps):
            if control is not None:
                control.tick()
            value, visits = _cheapest_walk(problem.edges, problem.places, price)
            value += float(price.sum()) + closing
            if value > best + 1e-12:
                best, last_better, best_price = value, step, price
            elif step - last_better > 8:
                factor, last_better = factor / 1.6, step
            slope = 1.0 - visits
            if not must:
                # An item may also be left out: its price is a toll, never a reward.
                slope = np.where((price >= 0) & (slope > 0), 0.0, slope)
            if not slope.any() or upper - best < 1e-9:
                break
            price = price + factor * max(upper - value, 1e-9) / float(slope @ slope) * slope
            if not must:
                price = np.minimum(price, 0.0)
    except Stopped:
        pass
    return float(best), best_price


def lower_bound(problem: Problem, upper: float, *, control: Control | None = None) -> float:
    """Return the bound that suits a problem; minus infinity if stopped before the first step."""
    usable = problem.symmetric and problem.k == problem.m and problem.m >= 3
    if usable and not (problem.closed and problem.places.any()):
        matrix, plus = tour_matrix(problem)
        return one_tree_bound(matrix, upper - plus, control=control) + plus
    return walk_bound(problem, upper, control=control)[0]
