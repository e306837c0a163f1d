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

from blendplan.colour import Floats
from blendplan.order.problem import Control, Problem

__all__ = ["EXACT_ITEMS", "best_orders", "held_karp", "solve_exact"]

# Measured on two cores: 18 items take about 0.3 s and 38 MB; two more cost five times both.
EXACT_ITEMS = 18


def held_karp(problem: Problem, start: int | None = None, control: Control | None = None) -> Floats:
    """Return the table of least costs, shape (2**m, m); infinite where the item is not in the set.

    Parameters
    ----------
    problem : Problem
        With at most about 20 items.
    start : int, optional
        Item that must come first (used for closed rounds).

    Notes
    -----
    Sets of one size are done together: for each last item j all sets that hold it are gathered in one step,
    so Python runs m * k small array operations, not m**2 * 2**m.
    Memory is 8 * m * 2**m bytes and a tenth more.
    """
    m, k = problem.m, problem.k
    table = np.full((1 << m, m), np.inf)
    firsts = np.arange(m) if start is None else np.array([start])
    table[1 << firsts, firsts] = problem.places[0, firsts]
    sets = np.arange(1 << m, dtype=np.int32)
    sizes = np.bitwise_count(sets)
    sets = sets[np.argsort(sizes, kind="stable")]
    ends = np.cumsum(np.bincount(sizes, minlength=m + 1))
    into = np.ascontiguousarray(problem.edges.T)
    for size in range(2, k + 1):
        if control is not None:
            control.tick(ends[size - 1] / ends[-1])
        layer = sets[ends[size - 1] : ends[size]]
        if start is not None:
            layer = layer[(layer >> start) & 1 == 1]
        for j in range(m):
            if j == start:
                continue
            bit = 1 << j
            chosen = layer[(layer & bit) != 0]
            before = table.take(chosen ^ bit, axis=0)
            before += into[j]
            table[chosen, j] = before.min(axis=1) + problem.places[size - 1, j]
    return table


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
    s, j = int(full[at // problem.m]), at % problem.m
    order = [j]
    while s ^ (1 << j):
        s ^= 1 << j
        j = int(np.argmin(table[s] + problem.edges[:, j]))
        order.append(j)
    return value, order[::-1]


def solve_exact(problem: Problem, control: Control | None = None, patience: int = 60) -> tuple[list[int], float, bool]:
    """Return a best order, a lower bound and whether the order is proven best.

    Notes
    -----
    A closed round without costs of places is turned so that item 0 comes first; with such costs every first
    item is tried.
    With a spacing above 2 the next-best orders are looked through until one is allowed; after `patience` times
    2000 branches the search stops with the bound it has proved so far and an empty order.
    """
    if problem.closed:
        free_turn = not problem.places.any() and problem.k == problem.m
        starts: list[int | None] = [0] if free_turn else list(range(problem.m))
    else:
        starts = [None]
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
