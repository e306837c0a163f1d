"""Proof for the choice of a few colours out of many: sets place by place, hopeless ones dropped.

All beginnings of an order are built up place by place; of those with the same set and the same last item only the
cheapest is kept. A beginning is dropped as soon as its cost and the cheapest possible rest of the walk are above the
cost of a known order. What is left at the last place holds a best order; if there is nothing, the known one is best.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import Floats
from blendplan.order.bounds import walk_bound
from blendplan.order.problem import Control, Problem, Stopped

__all__ = ["choose_proven"]

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

    Parameters
    ----------
    problem : Problem
        Without spacing and with at most 57 items; others get the walk bound only.
    order, value
        A known order and its cost.
    control : Control

    Notes
    -----
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
