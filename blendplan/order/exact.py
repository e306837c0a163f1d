"""The exact search, and what no order can beat.

Up to `EXACT_ITEMS`: dynamic programming over sets. `table[S, j]` is the least cost of putting the items of the set S (a
bit mask) into the first places with item j last. A set of p items fills places 0 to p - 1, so costs of places are exact
as well.

Beyond: two lower bounds by Lagrangian relaxation. Whatever the prices are, the value is never above the cost of any
order, so rounding and early stops do no harm.
`one_tree_bound` (symmetric costs): a round is a spanning tree of all nodes but one, and two edges of that one, in which
every node has two edges; prices on the nodes bring that last demand back as far as it goes.
`walk_bound` (everything else): an order is a walk of k places in which each item comes at most once; without that
demand the cheapest walk that does not turn straight back is found place by place; prices on the items do the rest.

A choice of a few colours out of many (`choose_proven`): beginnings are built up place by place; of those with the same
set and the same last item only the cheapest is kept, and one is dropped as soon as its cost and the cheapest possible
rest of the walk are above the cost of a known order. If nothing is left, the known one is best.

References
----------
M. Held, R. M. Karp, "A dynamic programming approach to sequencing problems", J. SIAM 10 (1962) 196-210; "The traveling-
salesman problem and minimum spanning trees", Operations Research 18 (1970) 1138-1162 and Math. Programming 1 (1971)
6-25; R. Bellman, J. ACM 9 (1962) 61-63; D. J. Houck et al., "The travelling salesman problem as a constrained shortest
path problem", Opsearch 17 (1980) 93-109.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import Floats
from blendplan.order.problem import Control, Problem, Stopped
from blendplan.order.search import tour_matrix

# Measured on two cores: 18 items take about 0.3 s and 40 MB; two more cost five times both.
EXACT_ITEMS = 18
# Rows gathered at once: keeps what is held beside the table small.
_PIECE = 1024


def held_karp(
    problem: Problem, start: int | None = None, control: Control | None = None, *, sizes: int | None = None
) -> Floats:
    """Return the table of least costs, shape (2**m, m); infinite where the item is not in the set.

    `problem`: with at most about 20 items; `start`: item that must come first (used for closed rounds); `sizes`:
    largest size of set that is filled in; all places by default.

    Sets of one size are done together: for each last item j all sets that hold it are gathered in one step,
    so Python runs about m * k small array operations, not m**2 * 2**m.
    Memory is 8 * m * 2**m bytes and a tenth more.
    """
    m = problem.m
    k = problem.k if sizes is None else sizes
    table = np.full((1 << m, m), np.inf)
    firsts = np.arange(m) if start is None else np.array([start])
    table[1 << firsts, firsts] = problem.places[0, firsts]
    layers = _by_size(m)
    done = 0
    into = np.ascontiguousarray(problem.edges.T)
    for size in range(2, k + 1):
        done += len(layers[size - 1])
        if control is not None:
            control.tick(done / (1 << m))
        layer = layers[size]
        if start is not None:
            layer = layer[(layer >> start) & 1 == 1]
        for j in range(m):
            if j == start:
                continue
            bit = 1 << j
            chosen = layer[(layer & bit) != 0]
            for piece in np.split(chosen, range(_PIECE, len(chosen), _PIECE)):
                before = table.take(piece ^ bit, axis=0)
                before += into[j]
                table[piece, j] = before.min(axis=1) + problem.places[size - 1, j]
    return table


def _by_size(m: int) -> list[NDArray[np.int32]]:
    """Return all sets of m items, by their number of items."""
    sets = np.arange(1 << m, dtype=np.int32)
    sizes = np.bitwise_count(sets)
    return [sets[sizes == size] for size in range(m + 1)]


def _turns_over(problem: Problem) -> bool:
    """Return whether every order costs the same as its reverse, place by place."""
    return bool(
        problem.k == problem.m >= 4
        and not problem.closed
        and not problem.spaced
        and np.array_equal(problem.edges, problem.edges.T)
        and np.array_equal(problem.places, problem.places[::-1])
    )


def _from_the_middle(problem: Problem, control: Control | None) -> tuple[float, list[int]]:
    """Return a best order of a problem that is the same both ways, from half of the table.

    An order is a beginning that fills half of the places and, read from its other end, another that fills the rest.
    """
    m = problem.m
    half = m // 2
    table = held_karp(problem, None, control, sizes=m - half)
    sets = _by_size(m)[half]
    if 2 * half == m:
        # Either half may be read first, so let the first one hold the last item.
        sets = sets[sets >> (m - 1) == 1]
    best: tuple[float, int, int] = (np.inf, 0, 0)
    for j in range(m):
        free = sets[(sets >> j) & 1 == 0]
        for piece in np.split(free, range(_PIECE, len(free), _PIECE)):
            if not len(piece):
                continue
            joined = table.take(piece, axis=0)
            joined += problem.edges[:, j]
            ends = joined.min(axis=1) + table[piece ^ ((1 << m) - 1), j]
            at = int(ends.argmin())
            if ends[at] < best[0]:
                best = (float(ends[at]), int(piece[at]), j)
    value, s, j = best
    i = int(np.argmin(table[s] + problem.edges[:, j]))
    return value, _trace(problem, table, s, i) + _trace(problem, table, ((1 << m) - 1) ^ s, j)[::-1]


def _trace(problem: Problem, table: Floats, s: int, j: int) -> list[int]:
    """Return the cheapest beginning that holds the items of a set and ends with j."""
    order = [j]
    while s ^ (1 << j):
        s ^= 1 << j
        j = int(np.argmin(table[s] + problem.edges[:, j]))
        order.append(j)
    return order[::-1]


def _full_states(problem: Problem, table: Floats) -> tuple[Floats, Floats]:
    """Return sets of k items and their rows of the table."""
    if problem.k == problem.m:
        full = np.array([(1 << problem.m) - 1])
    else:
        sets = np.arange(1 << problem.m)
        full = sets[np.bitwise_count(sets) == problem.k]
    return full, table[full]


def best_orders(problem: Problem, table: Floats, start: int | None = None) -> Iterator[tuple[float, list[int]]]:
    """Yield orders from the cheapest on, each with its cost (spacing not checked when complete orders are made).

    Best-first search backwards from the last place. The table knows the least cost of every beginning exactly,
    so complete orders come out in the order of their cost, and nothing is missed.
    Branches that break the spacing of repeated colours are cut as soon as they are seen.
    A yielded empty list is not an order: it says that all orders still to come cost at least that much.
    """
    full, rows = _full_states(problem, table)
    edges, places, m = problem.edges, problem.places, problem.m
    label = list(range(m))
    for group in problem.groups:
        for item in group:
            label[item] = group[0]
    closing = edges[:, start] if problem.closed and start is not None else np.zeros(m)
    heap: list[tuple[float, int, int, float, tuple[int, ...]]] = []
    for s, row in zip(full.tolist(), rows, strict=True):
        for j in range(m):
            if np.isfinite(row[j]):
                tail = float(closing[j])
                heapq.heappush(heap, (float(row[j]) + tail, s, j, tail, (j,)))
    popped = 0
    while heap:
        value, s, j, tail, suffix = heapq.heappop(heap)
        popped += 1
        if popped % 2000 == 0:
            yield value, []
        rest = s ^ (1 << j)
        if not rest:
            yield value, list(suffix)
            continue
        size = int(rest).bit_count()
        new_tail = tail + float(places[size, j])
        for i in range(m):
            known = table[rest, i]
            if not np.isfinite(known):
                continue
            if problem.spaced and any(label[i] == label[x] for x in suffix[: problem.apart - 1]):
                continue
            step = new_tail + float(edges[i, j])
            heapq.heappush(heap, (float(known) + step, rest, i, step, (i, *suffix)))


def _walk_back(problem: Problem, table: Floats, start: int | None) -> tuple[float, list[int]]:
    """One cheapest order, straight down the table."""
    full, rows = _full_states(problem, table)
    if problem.closed and start is not None and problem.k > 1:
        rows = rows + problem.edges[:, start]
    at = int(np.argmin(rows))
    value = float(rows.flat[at])
    return value, _trace(problem, table, int(full[at // problem.m]), at % problem.m)


def solve_exact(problem: Problem, control: Control | None = None, patience: int = 60) -> tuple[list[int], float, bool]:
    """Return a best order, a lower bound and whether the order is proven best.

    A closed round without costs of places is turned so that item 0 comes first; with such costs every first
    item is tried.
    An open order that costs the same both ways is put together from two halves, which needs half of the table.
    With a spacing above 2 the next-best orders are looked through until one is allowed; after `patience` times
    2000 branches the search stops with the bound it has proved so far and an empty order.
    """
    if problem.closed:
        free_turn = not problem.places.any() and problem.k == problem.m
        starts: list[int | None] = [0] if free_turn else list(range(problem.m))
    else:
        starts = [None]
    if _turns_over(problem):
        value, order = _from_the_middle(problem, control)
        return order, value, True
    best: tuple[float, list[int]] = (np.inf, [])
    bound = np.inf
    for start in starts:
        table = held_karp(problem, start, control)
        if not problem.spaced:
            found = _walk_back(problem, table, start)
            bound = min(bound, found[0])
            best = min(best, found)
            continue
        looked = 0
        for value, order in best_orders(problem, table, start):
            looked += not order
            done = bool(order) and not problem.spacing_faults(np.array([order]))[0]
            if done or looked > patience or value >= best[0]:
                bound = min(bound, value)
                if done:
                    best = min(best, (value, order))
                break
    proven = bool(best[1]) and best[0] <= bound + 1e-9 * max(1.0, abs(bound))
    return best[1], float(bound), proven


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

    `matrix` (N, N), n at least 3; `upper`: length of a known round; it sets the size of the steps of the prices.
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


# Beginnings kept at one place: above this the proof is given up and the bound reached so far is told.
_MOST = 300_000
# A set and its last item share one 64-bit number.
_MOST_ITEMS = 57


def _rest(problem: Problem, price: Floats, start: int | None) -> Floats:
    """Least cost of the places after p of a walk that stands at j in place p, shape (k, m)."""
    k, m = problem.k, problem.m
    rest = np.zeros((k, m))
    if start is not None:
        rest[-1] = problem.edges[:, start]
    edges = problem.edges + np.where(np.eye(m, dtype=bool), np.inf, 0.0)
    for p in range(k - 2, -1, -1):
        rest[p] = (edges + (problem.places[p + 1] - price + rest[p + 1])[None, :]).min(axis=1)
    return rest


def choose_proven(problem: Problem, order: list[int], value: float, control: Control) -> tuple[list[int], float, bool]:
    """Return a best order of k of the m items, a lower bound and whether it is proven.

    `problem`: without spacing and with at most 57 items; others get the walk bound only; `order`, `value`: a known
    order and its cost.

    A closed round is done once for each item as the first; where turning the round changes nothing, that item is the
    first in the list of those used, so the ones before it are left out.
    """
    bound, price = walk_bound(problem, value, control=control)
    if problem.spaced or problem.m > _MOST_ITEMS or not np.isfinite(bound):
        return order, bound, value <= bound + 1e-7
    starts: list[int | None] = list(range(problem.m)) if problem.closed and problem.k > 1 else [None]
    turns = problem.closed and not np.ptp(problem.places, axis=0).any()
    floor = np.inf
    try:
        for start in starts:
            allowed = np.arange(problem.m) >= (start if turns and start is not None else 0)
            if start is not None and allowed.sum() < problem.k:
                continue
            order, value, reached = _layers(problem, (order, value), (price, allowed), start, control)
            floor = min(floor, reached)
    except Stopped:
        return order, bound, value <= bound + 1e-7
    floor = min(floor, value)
    return order, max(bound, floor), value <= floor


def _layers(
    problem: Problem,
    known: tuple[list[int], float],
    prices: tuple[Floats, NDArray[np.bool_]],
    start: int | None,
    control: Control,
) -> tuple[list[int], float, float]:
    """Best order known after this start, its cost, and what no order with this start can beat if given up."""
    order, value = known
    price, allowed = prices
    k, m = problem.k, problem.m
    rest = _rest(problem, price, start)
    gain = np.where(allowed, problem.places - price, np.inf)
    toll = float(price.sum())
    limit = value - toll - 1e-9
    bits = np.left_shift(np.uint64(1), np.arange(m, dtype=np.uint64))
    last = np.arange(m) if start is None else np.array([start])
    masks, cost = bits[last], gain[0][last]
    keep = cost + rest[0][last] < limit
    last, masks, cost = last[keep], masks[keep], cost[keep]
    back: list[tuple[NDArray[np.intp], NDArray[np.intp]]] = [(last, np.full(len(last), -1))]
    for p in range(1, k):
        control.tick(0.9 + 0.1 * p / k)
        tried = cost[:, None] + problem.edges[last] + gain[p]
        hopeless = tried + rest[p] >= limit
        hopeless |= (masks[:, None] & bits[None, :]) != 0
        came, into = np.nonzero(~hopeless)
        if len(came) > _MOST:
            return order, value, float((cost + rest[p - 1][last]).min()) + toll
        new_cost = tried[came, into]
        new_masks = masks[came] | bits[into]
        key = new_masks * np.uint64(64) + into.astype(np.uint64)
        ranked = np.lexsort((new_cost, key))
        first = np.ones(len(ranked), dtype=bool)
        first[1:] = key[ranked][1:] != key[ranked][:-1]
        chosen = ranked[first]
        last, masks, cost = into[chosen], new_masks[chosen], new_cost[chosen]
        back.append((last, came[chosen]))
    if not len(last):
        return order, value, np.inf
    # The prices of items left out differ from order to order, so the plain costs decide.
    orders = np.empty((len(last), k), dtype=np.intp)
    at = np.arange(len(last))
    for p in range(k - 1, -1, -1):
        orders[:, p] = back[p][0][at]
        at = back[p][1][at]
    plain = problem.cost(orders)
    best = int(plain.argmin())
    if plain[best] < value:
        return orders[best].tolist(), float(plain[best]), np.inf
    return order, value, np.inf
