"""Proof for the choice of a few colours out of many: sets place by place, hopeless ones dropped.

All beginnings of an order are built up place by place; of those with the same set and the same last item only the
cheapest is kept. A beginning is dropped as soon as its cost and the cheapest possible rest of the walk are above the
cost of a known order. What is left at the last place holds a best order; if there is nothing, the known one is best.
"""

from __future__ import annotations

import numpy as np

from blendplan.colour import Floats
from blendplan.order.bounds import walk_bound
from blendplan.order.problem import Control, Problem, Stopped

__all__ = ["choose_proven"]

# Beginnings kept at one place: above this the proof is given up and the bound reached so far is told.
_MOST = 300_000
# A set and its last item share one 64-bit number.
_MOST_ITEMS = 57


def _rest(problem: Problem, price: Floats) -> Floats:
    """Least cost of the places after p of a walk that stands at j in place p, shape (k, m)."""
    k, m = problem.k, problem.m
    rest = np.zeros((k, m))
    edges = problem.edges + np.where(np.eye(m, dtype=bool), np.inf, 0.0)
    for p in range(k - 2, -1, -1):
        rest[p] = (edges + (problem.places[p + 1] - price + rest[p + 1])[None, :]).min(axis=1)
    return rest


def choose_proven(problem: Problem, order: list[int], value: float, control: Control) -> tuple[list[int], float, bool]:
    """Return a best order of k of the m items, a lower bound and whether it is proven.

    Parameters
    ----------
    problem : Problem
        Open, without spacing; others get the walk bound only.
    order, value
        A known order and its cost.
    control : Control
    """
    bound, price = walk_bound(problem, value, control=control)
    if problem.closed or problem.spaced or problem.m > _MOST_ITEMS or not np.isfinite(bound):
        return order, bound, value <= bound + 1e-7
    try:
        return _layers(problem, order, value, (bound, price), control)
    except Stopped:
        return order, bound, value <= bound + 1e-7


def _layers(
    problem: Problem, order: list[int], value: float, known: tuple[float, Floats], control: Control
) -> tuple[list[int], float, bool]:
    bound, price = known
    k, m = problem.k, problem.m
    rest = _rest(problem, price)
    gain = problem.places - price
    # Prices are tolls (at most 0), so the sum of all is the constant of the relaxation.
    limit = value - float(price.sum()) - 1e-9
    item = np.arange(m, dtype=np.uint64)
    bits = np.left_shift(np.uint64(1), item)
    last, masks, cost = np.arange(m), bits.copy(), gain[0].copy()
    keep = cost + rest[0] < limit
    last, masks, cost = last[keep], masks[keep], cost[keep]
    back: list[tuple[np.ndarray, np.ndarray]] = [(last, np.full(len(last), -1))]
    for p in range(1, k):
        control.tick(0.9 + 0.1 * p / k)
        if not len(last):
            return order, value, True
        tried = cost[:, None] + problem.edges[last] + gain[p]
        hopeless = tried + rest[p] >= limit
        hopeless |= (masks[:, None] & bits[None, :]) != 0
        came, into = np.nonzero(~hopeless)
        if len(came) > _MOST:
            floor = float((cost + rest[p - 1]).min()) + float(price.sum())
            return order, max(bound, floor), False
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
        return order, value, True
    # The toll of items left out has to be put back: a full comparison needs the plain cost of each order.
    orders = np.empty((len(last), k), dtype=np.intp)
    at = np.arange(len(last))
    for p in range(k - 1, -1, -1):
        orders[:, p] = back[p][0][at]
        at = back[p][1][at]
    plain = problem.cost(orders)
    best = int(plain.argmin())
    if plain[best] < value:
        return orders[best].tolist(), float(plain[best]), True
    return order, value, True
