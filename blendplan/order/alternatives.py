"""A handful of orders that are good and really different.

Two orders differ by the share of neighbours that they do not have in common: with A the neighbours (which of the two
comes first does not matter) of one order and B those of the other, the distance is 1 - |A and B| / max(|A|, |B|).
An order and its reverse are the same to the eye and have distance 0; two orders without a common neighbour have 1.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise, permutations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.order.build import TIE, Model
from blendplan.order.find import Task, finish, make_control, prepare
from blendplan.order.model import Ordering
from blendplan.order.problem import Control, Stopped
from blendplan.order.search import improve, nearest_starts, search, tour_matrix, tour_order
from blendplan.order.solve import Found, solve
from blendplan.units import number, whole
from blendplan.wording import Notice, note
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
    least_distance: float = 0.4,
    within: float = 0.25,
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
    Up to seven items every order is looked at. Beyond, local searches from all starts, again with the neighbours
    used so far made dearer by a quarter to the whole of a mean step, fill a pool; from it the cheapest that is far
    enough away is taken each time. Later ones are therefore good, not proven best at their distance.
    """
    count = whole(count, "orders to show", 1, 20)
    least_distance = number(least_distance, "least distance between orders", 0, 1)
    within = number(within, "share above the best", 0, 10)
    task = prepare(yarns, **question)
    control = make_control(None, progress, cancel)
    best = finish(solve(task.model, seed=seed, control=control), task, stopped=control.stopped)
    chosen = [_tell(best, best, 1.0)]
    pool = _Pool(task, seed, control)
    limit = best.cost * (1 + within) + 1e-9
    while len(chosen) < count:
        if progress is not None:
            progress(len(chosen) / count)
        got = pool.next([c.ordering for c in chosen], least_distance, limit)
        if got is None:
            break
        ordering, distance = got
        chosen.append(_tell(ordering, best, distance))
    if progress is not None:
        progress(1.0)
    return tuple(chosen)


def _tell(ordering: Ordering, best: Ordering, distance: float) -> Alternative:
    worst = ordering.worst
    told = (
        note(
            "worst step: {one} to {other}, {delta_e} in CIEDE2000.",
            one=worst.before,
            other=worst.after,
            delta_e=f"{worst.delta_e:.1f}",
        )
        if worst is not None
        else note("one stripe has no steps.")
    )
    behind = (ordering.cost - best.cost) / best.cost if best.cost > 1e-12 else ordering.cost - best.cost
    return Alternative(ordering=ordering, behind=behind, distance=distance, worst=told)


class _Pool:
    """Good orders found so far, with their values."""

    def __init__(self, task: Task, seed: int, control: Control) -> None:
        self.task, self.model, self.seed, self.control = task, task.model, seed, control
        self.orders: Ints = np.zeros((0, self.model.k), dtype=np.intp)
        self.values = np.zeros(0)
        self.whole = self.model.m <= 7 and self.model.k == self.model.m
        if self.whole:
            self._add(np.array(list(permutations(range(self.model.m))), dtype=np.intp))
        else:
            self._search(np.zeros((self.model.m, self.model.m)))

    def _add(self, orders: Ints) -> None:
        orders = orders[self.model.faults(orders) == 0]
        joined = np.unique(np.concatenate([self.orders, orders]), axis=0)
        self.orders, self.values = joined, self.model.value(joined)

    def _search(self, dearer: NDArray[np.float64]) -> None:
        model, base = self.model, _surrogate(self.model)
        problem = model.problem(base + TIE * model.goal.tie + dearer)
        try:
            if problem.symmetric and not problem.spaced and model.k == model.m >= 5 and not model.closed:
                matrix, _ = tour_matrix(problem)
                tours, _ = improve(matrix, nearest_starts(matrix, np.arange(len(matrix))), self.control)
                found = [tour_order(t, problem) for t in tours]
                self._add(np.array([f for f in found if len(f) == model.k], dtype=np.intp).reshape(-1, model.k))
                return
            for shake in range(4):
                order, _ = search(problem, seed=self.seed + shake, effort=0.4, control=self.control)
                self._add(np.array([order], dtype=np.intp))
        except Stopped:
            return

    def _dearer(self, taken: list[Ordering], share: float) -> NDArray[np.float64]:
        model = self.model
        label = np.array([model.names.index(n) for n in model.names])
        used = {frozenset(p) for o in taken for p in pairwise(o.order)}
        out = np.zeros((model.m, model.m))
        for i in range(model.m):
            for j in range(model.m):
                if frozenset((model.names[label[i]], model.names[label[j]])) in used:
                    out[i, j] = 1.0
        base = _surrogate(model)
        return out * share * float(base[~np.eye(model.m, dtype=bool)].mean())

    def _pick(self, taken: list[Ordering], least: float, limit: float) -> tuple[Ordering, float] | None:
        model, wishes = self.model, self.task.wishes
        for at in np.argsort(self.values, kind="stable"):
            value = float(self.values[at])
            if value > limit:
                return None
            names = tuple(model.names[i] for i in self.orders[at])
            # Cheap look first: the distance of the items, before carrier and mirror are written in.
            if any(order_distance(names, self._items(o), wishes.closed) < least for o in taken):
                continue
            found = Found(tuple(int(i) for i in self.orders[at]), value, taken[0].bound, False, 0)
            ordering = finish(found, self.task, stopped=self.control.stopped)
            nearest = min(order_distance(names, self._items(o), wishes.closed) for o in taken)
            return ordering, nearest
        return None

    def _items(self, ordering: Ordering) -> tuple[str, ...]:
        wishes, order = self.task.wishes, ordering.order
        if wishes.mirrored:
            order = order[: len(order) // 2 + 1]
        return tuple(n for n in order if n != wishes.carrier)

    def next(self, taken: list[Ordering], least: float, limit: float) -> tuple[Ordering, float] | None:
        """Return the cheapest order of the pool that is far enough from those taken, the pool filled up first."""
        if not self.whole:
            for share in (0.25, 0.5, 1.0):
                self._search(self._dearer(taken, share))
        return self._pick(taken, least, limit)


def _surrogate(model: Model) -> NDArray[np.float64]:
    """Additive costs that lead to good orders of any aim."""
    goal = model.goal
    if not (goal.w_max or goal.w_var):
        return goal.edges
    largest = goal.halves.max(axis=2)
    steep = (largest / max(float(largest.max()), 1e-9)) ** 4
    return np.asarray(goal.edges + (goal.w_max + goal.w_var) * float(largest.max()) * steep)


# The keywords of `find_order` that a question may hold.
Question = Mapping[str, Any]
