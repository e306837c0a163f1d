"""The exact search: dynamic programming over sets (Held and Karp), and the next-best orders from its table.

`table[S, j]` is the least cost of putting the items of the set S (a bit mask) into the first places with item j
last. A set of p items fills places 0 to p - 1, so costs of places are exact as well.

References
----------
M. Held, R. M. Karp, "A dynamic programming approach to sequencing problems", J. SIAM 10 (1962) 196-210;
R. Bellman, J. ACM 9 (1962) 61-63.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import Floats
from blendplan.order.problem import Control, Problem

__all__ = ["EXACT_ITEMS", "best_orders", "held_karp", "solve_exact"]

# Measured on two cores: 18 items take about 0.3 s and 40 MB; two more cost five times both.
EXACT_ITEMS = 18
# Rows gathered at once: keeps what is held beside the table small.
_PIECE = 1024


def held_karp(
    problem: Problem, start: int | None = None, control: Control | None = None, *, sizes: int | None = None
) -> Floats:
    """Return the table of least costs, shape (2**m, m); infinite where the item is not in the set.

    Parameters
    ----------
    problem : Problem
        With at most about 20 items.
    start : int, optional
        Item that must come first (used for closed rounds).
    control : Control, optional
    sizes : int, optional
        Largest size of set that is filled in; all places by default.

    Notes
    -----
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

    Notes
    -----
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

    Notes
    -----
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
