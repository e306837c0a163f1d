"""A handful of orders that are good and really different.

Two orders differ by the share of neighbours that they do not have in common: with A the neighbours (which of the two
comes first does not matter) of one order and B those of the other, the distance is 1 - |A and B| / max(|A|, |B|).
An order and its reverse are the same to the eye and have distance 0; two orders without a common neighbour have 1.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise, permutations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.order.build import TIE, Model
from blendplan.order.find import Task, finish, make_control, prepare
from blendplan.order.model import Ordering
from blendplan.order.problem import Control, Stopped
from blendplan.order.search import all_moves, improve, nearest_starts, search, tour_matrix, tour_order
from blendplan.order.solve import Found, solve
from blendplan.units import number, whole
from blendplan.wording import Notice, note, rounded
from blendplan.yarn import Yarn

__all__ = ["Alternative", "alternatives", "order_distance"]

Ints = NDArray[np.intp]


def order_distance(one: tuple[str, ...], other: tuple[str, ...], closed: bool = False) -> float:
    """Return the share of neighbours that two orders do not have in common, 0 to 1.

    Examples
    --------
    >>> order_distance(("A", "B", "C", "D"), ("D", "C", "B", "A"))
    0.0
    >>> round(order_distance(("A", "B", "C", "D"), ("B", "A", "C", "D")), 3)
    0.333
    """

    def sides(order: tuple[str, ...]) -> Counter[frozenset[str]]:
        pairs = list(pairwise(order)) + ([(order[-1], order[0])] if closed and len(order) > 2 else [])
        return Counter(frozenset(p) for p in pairs)

    a, b = sides(one), sides(other)
    most = max(a.total(), b.total())
    return 1.0 - (a & b).total() / most if most else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """One of a handful of orders.

    Attributes
    ----------
    ordering : Ordering
    behind : float
        How much more it costs than the first one, as a share of that one's cost.
    distance : float
        Least distance to the orders before it in the list; 1 for the first.
    worst : Notice
        Its worst step in words.
    """

    ordering: Ordering
    behind: float
    distance: float
    worst: Notice

    def to_json(self) -> dict[str, Any]:
        """Return the alternative for a JSON file."""
        return {
            **self.ordering.to_json(),
            "behind": round(self.behind, 6),
            "distance": round(self.distance, 6),
            "worst": self.worst.text,
        }


def alternatives(
    yarns: tuple[Yarn, ...],
    *,
    count: int = 5,
    least_distance: float = 0.3,
    within: float = 0.5,
    seed: int = 0,
    progress: Callable[[float], None] | None = None,
    cancel: Callable[[], bool] | None = None,
    **question: Any,
) -> tuple[Alternative, ...]:
    """Return up to `count` orders, the best first, each really different from those before it.

    Parameters
    ----------
    yarns : tuple of Yarn
    count : int
        1 to 20.
    least_distance : float
        Least distance between any two of them, 0 to 1 (see the module).
    within : float
        None costs more than this share above the best, 0 to 10.
    seed, progress, cancel
        As of `find_order`.
    **question
        `aim`, `constraints` and the other keywords of `find_order`.

    Returns
    -------
    tuple of Alternative
        Fewer than `count` where there are no more.

    Notes
    -----
    Up to eight items every order is looked at. Beyond, local searches from all starts, again with the neighbours
    used so far made dearer by a tenth to the whole of a mean step, fill a pool; from it the cheapest that is far
    enough away is taken each time. Later ones are therefore good, not proven best at their distance.
    """
    count = whole(count, "orders to show", 1, 20)
    least_distance = number(least_distance, "least distance between orders", 0, 1)
    within = number(within, "share above the best", 0, 10)
    task = prepare(yarns, **question)
    control = make_control(None, progress, cancel)
    best = finish(solve(task.model, seed=seed, control=control), task, stopped=control.stopped)
    chosen = [_tell(best, best, 1.0)]
    pool = _Pool(task, seed, control, best.cost * (1 + within) + 1e-9)
    while len(chosen) < count:
        if progress is not None:
            progress(len(chosen) / count)
        got = pool.next([c.ordering for c in chosen], least_distance)
        if got is None:
            break
        ordering, distance = got
        chosen.append(_tell(ordering, best, distance))
    if progress is not None:
        progress(1.0)
    return _ranked(chosen, task)


def _ranked(chosen: list[Alternative], task: Task) -> tuple[Alternative, ...]:
    """Return the cheapest first, with the distances to those before them."""
    chosen = sorted(chosen, key=lambda c: c.behind)
    out: list[Alternative] = []
    for one in chosen:
        gaps = [order_distance(_items(one.ordering, task), _items(o.ordering, task), task.wishes.closed) for o in out]
        out.append(replace(one, distance=min(gaps, default=1.0)))
    return tuple(out)


def _items(ordering: Ordering, task: Task) -> tuple[str, ...]:
    """Return the colours that were put in order: without the carrier and the way back."""
    order = ordering.order
    if task.wishes.mirrored:
        order = order[: len(order) // 2 + 1]
    return tuple(n for n in order if n != task.wishes.carrier)


def _tell(ordering: Ordering, best: Ordering, distance: float) -> Alternative:
    worst = ordering.worst
    told = (
        note(
            "worst step: {one} to {other}, {delta_e} in CIEDE2000.",
            one=worst.before,
            other=worst.after,
            delta_e=rounded(worst.delta_e, 1),
        )
        if worst is not None
        else note("one stripe has no steps.")
    )
    more = max(ordering.cost - best.cost, 0.0)
    behind = more / best.cost if best.cost > 1e-12 else more
    return Alternative(ordering=ordering, behind=behind, distance=distance, worst=told)


class _Pool:
    """Good orders found so far, with their values."""

    def __init__(self, task: Task, seed: int, control: Control, limit: float) -> None:
        self.limit = limit
        self.task, self.model, self.seed, self.control = task, task.model, seed, control
        self.orders: Ints = np.zeros((0, self.model.k), dtype=np.intp)
        self.values = np.zeros(0)
        self.whole = self.model.m <= 8 and self.model.k == self.model.m
        if self.whole:
            self._add(np.array(list(permutations(range(self.model.m))), dtype=np.intp))
        else:
            self._search(np.zeros((self.model.m, self.model.m)))

    def _add(self, orders: Ints) -> None:
        """Take in the orders that keep to the wishes, are cheap enough and are new."""
        orders = orders[self.model.faults(orders) == 0]
        values = self.model.value(orders)
        near = values <= self.limit
        joined = np.concatenate([self.orders, orders[near]])
        values = np.concatenate([self.values, values[near]])
        rows = np.ascontiguousarray(joined.astype(np.uint8)).view(np.dtype((np.void, self.model.k))).ravel()
        _, first = np.unique(rows, return_index=True)
        self.orders, self.values = joined[first], values[first]

    def _search(self, dearer: NDArray[np.float64]) -> None:
        model, base = self.model, _surrogate(self.model)
        problem = model.problem(base + TIE * model.goal.tie + dearer)
        try:
            fast = problem.symmetric and not problem.spaced and model.k == model.m >= 5
            if fast and not (model.closed and problem.places.any()):
                matrix, _ = tour_matrix(problem)
                tours, _ = improve(matrix, nearest_starts(matrix, np.arange(len(matrix))), self.control)
                found = [tour_order(t, problem) for t in tours]
                self._add(np.array([f for f in found if len(f) == model.k], dtype=np.intp).reshape(-1, model.k))
                return
            order, _ = search(problem, seed=self.seed + len(self.orders), effort=0.1, control=self.control)
            self._add(np.array([order], dtype=np.intp))
        except Stopped:
            return

    def _widen(self) -> None:
        """Add everything one move away from the best dozen orders."""
        if self.model.k == self.model.m <= 40 and len(self.orders):
            ranked = self.orders[np.argsort(self.values, kind="stable")[:12]]
            moves = all_moves(self.model.m, self.model.k)
            self._add(ranked[:, moves].reshape(-1, self.model.k))

    def _sides(self, taken: list[Ordering]) -> NDArray[np.bool_]:
        """Return which items are neighbours in any of some orders."""
        names, closed = self.model.names, self.task.wishes.closed
        used = set()
        for one in taken:
            items = _items(one, self.task)
            used |= {frozenset(p) for p in pairwise(items)} | ({frozenset((items[-1], items[0]))} if closed else set())
        return np.array([[frozenset((one, other)) in used for other in names] for one in names])

    def _dearer(self, taken: list[Ordering], share: float) -> NDArray[np.float64]:
        base = _surrogate(self.model)
        off = ~np.eye(self.model.m, dtype=bool)
        return np.asarray(self._sides(taken) * share * float(base[off].mean()))

    def _pick(self, taken: list[Ordering], least: float) -> tuple[Ordering, float] | None:
        model, wishes = self.model, self.task.wishes
        a, b = self.orders[:, :-1], self.orders[:, 1:]
        if wishes.closed:
            a, b = self.orders, np.roll(self.orders, -1, axis=1)
        common = np.max([self._sides([o])[a, b].sum(axis=1) for o in taken], axis=0)
        # Exact where no colour is used twice; else it may count too much in common, never too little.
        far = 1.0 - common / max(model.borders, 1) >= least - 1e-12
        if not far.any():
            return None
        at = np.flatnonzero(far)[self.values[far].argmin()]
        names = tuple(model.names[i] for i in self.orders[at])
        found = Found(tuple(int(i) for i in self.orders[at]), float(self.values[at]), taken[0].bound, False, 0)
        ordering = finish(found, self.task, stopped=self.control.stopped)
        return ordering, min(order_distance(names, _items(o, self.task), wishes.closed) for o in taken)

    def next(self, taken: list[Ordering], least: float) -> tuple[Ordering, float] | None:
        """Return the cheapest order of the pool that is far enough from those taken, the pool filled up first."""
        if not self.whole:
            for share in (0.1, 0.25, 0.5, 1.0):
                self._search(self._dearer(taken, share))
            self._widen()
        return self._pick(taken, least)


def _surrogate(model: Model) -> NDArray[np.float64]:
    """Additive costs that lead to good orders of any aim."""
    goal = model.goal
    if not (goal.w_max or goal.w_var):
        return goal.edges
    largest = goal.halves.max(axis=2)
    steep = (largest / max(float(largest.max()), 1e-9)) ** 4
    return np.asarray(goal.edges + (goal.w_max + goal.w_var) * float(largest.max()) * steep)
