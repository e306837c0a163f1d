"""From a model to its best order: additive aims directly, the largest step and the variance by a few of those.

Largest step. If M is the largest single step of a best order so far, any better one is found among the orders with
all steps below M, so the search is repeated with longer steps forbidden until that is impossible or cannot pay.

Variance. The variance of the steps is the least over c of the mean of (step - c) squared, and for a fixed c that is
additive. As a function of c the least mean square over all orders is a parabola's square part plus a concave part,
so the values at the ends of an interval bound it from below inside; intervals that cannot hold a better order are
dropped, the others are cut where the parabolas of their two orders cross (after M. J. Eisner, D. G. Severance,
J. ACM 23 (1976) 619-635).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import Floats
from blendplan.order.exact import EXACT_ITEMS, choose_proven, lower_bound, solve_exact
from blendplan.order.problem import TIE, Bools, Control, Model, Problem, Stopped
from blendplan.order.search import search

_TINY = 1e-9


@dataclass(frozen=True, slots=True)
class Found:
    """An order of item numbers, the value of its aim, a bound of it, and how many wishes it breaks."""

    order: tuple[int, ...]
    value: float
    bound: float
    exact: bool
    faults: int


@dataclass(slots=True)
class _Run:
    model: Model
    control: Control
    seed: int
    effort: float
    exact_items: int

    def additive(self, edges: Floats, barred: Bools | None = None) -> Found:
        """Best order of one additive problem; value and bound without penalties where no wish is broken."""
        model = self.model
        problem = model.problem(edges + TIE * model.goal.tie, barred)
        order, bound, exact = self._raw(problem)
        array = np.array([order])
        extra = 0 if barred is None else int(self._sides(barred, array))
        faults = int(model.faults(array)[0]) + extra
        # The rewards of wanted neighbours and kept colours are in the bound and come off again.
        bound += problem.big * model.rewards
        value = float(model.additive(array, edges)[0])
        if exact and not faults:
            bound = value
        return Found(tuple(order), value, min(bound, value) if not faults else bound, exact, faults)

    def _sides(self, barred: Bools, orders: NDArray[np.intp]) -> int:
        a, b = orders[:, :-1], orders[:, 1:]
        if self.model.closed and self.model.k > 1:
            a, b = orders, np.roll(orders, -1, axis=1)
        return int(barred[a, b].sum())

    def _raw(self, problem: Problem) -> tuple[list[int], float, bool]:
        bound = -np.inf
        # A walk of few places through many items is small even where the items are many.
        if problem.m <= self.exact_items:
            try:
                order, bound, proven = solve_exact(problem, self.control)
                if proven:
                    return order, bound, True
            except Stopped:
                bound = -np.inf
        order, value = search(problem, seed=self.seed, effort=self.effort, control=self.control)
        if problem.k < problem.m and not np.isfinite(bound) and not self.control.stopped:
            return choose_proven(problem, order, value, self.control)
        if not np.isfinite(bound) and not self.control.stopped:
            bound = lower_bound(problem, value, control=self.control)
        return order, bound, value <= bound + 1e-7

    def with_variance(self, barred: Bools | None = None) -> Found:
        """Best order of the additive part plus the weighed variance of the single steps."""
        model, goal = self.model, self.model.goal
        if not goal.w_var or not model.borders:
            return self.additive(goal.edges, barred)
        h = goal.halves.shape[2]
        count = model.borders * h
        square, linear = (goal.halves**2).sum(axis=2), goal.halves.sum(axis=2)
        off = ~np.eye(model.m, dtype=bool)
        low, high = float(goal.halves[off].min()), float(goal.halves[off].max())
        weight = goal.w_var / count
        seen: dict[float, tuple[Found, float, float]] = {}

        def at(centre: float) -> tuple[Found, float, float]:
            """Best order for one centre; its concave part is level - slope * centre."""
            if centre not in seen:
                got = self.additive(goal.edges + weight * (square - 2 * centre * linear), barred)
                steps = model.singles(np.array([got.order]))[0]
                slope = 2 * weight * float(steps.sum())
                level = float(model.additive(np.array([got.order]))[0]) + weight * float((steps**2).sum())
                seen[centre] = (got, level, slope)
            return seen[centre]

        def true(found: Found) -> float:
            order = np.array([found.order])
            return float(model.additive(order)[0] + goal.w_var * model.singles(order)[0].var())

        best = min((at(low)[0], at(high)[0]), key=lambda f: (f.faults, true(f)))
        todo, proven = [(low, high)], True
        while todo:
            a, b = todo.pop()
            if at(a)[0].faults or b - a < 1e-9:
                continue
            (_, level_a, slope_a), (_, level_b, slope_b) = at(a), at(b)
            y_a, y_b = level_a - slope_a * a, level_b - slope_b * b
            tilt = (y_b - y_a) / (b - a)
            # Least of chord plus parabola inside the interval.
            centre = min(max(-tilt / (2 * goal.w_var), a), b)
            floor = y_a + tilt * (centre - a) + goal.w_var * centre**2
            if floor >= true(best) - 1e-12 or abs(slope_a - slope_b) < 1e-12:
                continue
            cut = (level_a - level_b) / (slope_a - slope_b)
            if not a + 1e-9 < cut < b - 1e-9 or len(seen) > 200:
                proven = proven and len(seen) <= 200
                continue
            got = at(cut)[0]
            if (got.faults, true(got)) < (best.faults, true(best)):
                best = got
            if level_a - slope_a * cut > at(cut)[1] - at(cut)[2] * cut + 1e-12:
                todo += [(a, cut), (cut, b)]
        exact = proven and all(f.exact for f, _, _ in seen.values())
        value = true(best)
        known = [(centre, got.bound) for centre, (got, _, _) in sorted(seen.items())]
        floor_all = value if exact else min(value, _variance_floor(known, goal.w_var))
        return Found(best.order, value, floor_all, exact, best.faults)


def _variance_floor(known: list[tuple[float, float]], w_var: float) -> float:
    """Return what no order can beat, from lower bounds of the concave part at some centres that span all means."""
    if not all(np.isfinite(y) for _, y in known):
        return 0.0
    floor = np.inf
    for (a, y_a), (b, y_b) in pairwise(known):
        tilt = (y_b - y_a) / (b - a)
        centre = min(max(-tilt / (2 * w_var), a), b)
        floor = min(floor, y_a + tilt * (centre - a) + w_var * centre**2)
    return max(float(floor), 0.0)


def _bottleneck_floor(model: Model) -> float:
    """No order can avoid a step this long: every item but the two ends needs two near neighbours."""
    largest = model.goal.halves.max(axis=2) + np.where(np.eye(model.m, dtype=bool), np.inf, 0.0)
    largest = np.minimum(largest, largest.T)
    if model.k < model.m or model.m < 3:
        return float(np.partition(largest.ravel(), 0)[0]) if model.borders else 0.0
    ranked = np.sort(largest, axis=1)
    nearest, second = ranked[:, 0], ranked[:, 1]
    floor = float(second.max()) if model.closed else float(max(np.sort(second)[:-2].max(initial=0.0), nearest.max()))
    # The order is connected, so it holds the longest step of a smallest spanning tree or a longer one.
    tree, near, inside = 0.0, largest[0].copy(), np.zeros(model.m, dtype=bool)
    inside[0] = True
    for _ in range(model.m - 1):
        j = int(np.where(inside, np.inf, near).argmin())
        tree = max(tree, float(near[j]))
        inside[j] = True
        near = np.minimum(near, largest[j])
    return max(floor, tree)


def _with_largest(run: _Run) -> Found:
    model, goal = run.model, run.model.goal
    largest = goal.halves.max(axis=2)
    floor = _bottleneck_floor(model)
    only = not goal.edges.any() and not goal.places.any() and not goal.w_var

    def step_of(found: Found) -> float:
        return float(model.singles(np.array([found.order]))[0].max())

    def search_below(cap: float) -> Found:
        barred = largest >= cap
        return run.additive(goal.tie, barred) if only else run.with_variance(barred)

    if only:
        return _smallest_largest(run, largest, floor)
    best = run.with_variance()
    if best.faults:
        return best
    value, all_exact, lowest = best.value + goal.w_max * step_of(best), best.exact, best.bound
    cap = step_of(best)
    for _ in range(400):
        if cap <= floor + _TINY or run.control.stopped:
            break
        got = search_below(cap)
        all_exact = all_exact and got.exact
        if got.faults:
            break
        total = got.value + goal.w_max * step_of(got)
        if total < value:
            best, value = got, total
        cap = step_of(got)
        if got.bound + goal.w_max * floor >= value - _TINY:
            break
    else:
        all_exact = False
    exact = all_exact and not run.control.stopped
    return Found(best.order, value, value if exact else lowest + goal.w_max * floor, exact, 0)


def _smallest_largest(run: _Run, largest: Floats, floor: float) -> Found:
    """Smallest largest step; among the orders that have it the least total."""
    model, tie = run.model, run.model.goal.tie
    # A high power of the steps is nearly their largest one, and additive: a good first order for a few
    # milliseconds, so that the exact search is asked only twice as a rule.
    surrogate = (largest / max(float(largest.max()), 1e-9)) ** 8
    problem = model.problem(surrogate)
    order, _ = search(problem, seed=run.seed, effort=0.5 * run.effort, control=run.control)
    best: Found | None = None
    cap = float(model.singles(np.array([order]))[0].max())
    ok = not model.faults(np.array([order]))[0]
    if not ok:
        got = run.additive(tie)
        if got.faults:
            return Found(got.order, float(model.value(np.array([got.order]))[0]), floor, got.exact, got.faults)
        best, cap = got, float(model.singles(np.array([got.order]))[0].max())
    proven = False
    while not run.control.stopped:
        if cap <= floor + _TINY:
            proven = True
            break
        got = run.additive(tie, largest >= cap)
        if got.faults:
            proven = got.exact
            break
        best, cap = got, float(model.singles(np.array([got.order]))[0].max())
    if best is None or not best.exact:
        got = run.additive(tie, largest > cap)
        if not got.faults or best is None:
            best = got if not got.faults else Found(tuple(order), 0.0, 0.0, False, 0)
    value = float(model.singles(np.array([best.order]))[0].max())
    return Found(best.order, value, value if proven else floor, proven, int(model.faults(np.array([best.order]))[0]))


def solve(
    model: Model, *, seed: int = 0, effort: float = 1.0, control: Control | None = None, exact_items: int = EXACT_ITEMS
) -> Found:
    """Return the best order of a model, or the best found and a bound.

    `seed`: for the search beyond `exact_items`; `effort`: multiplies the work of that search; `exact_items`: up to so
    many items the exact search is used.
    """
    if model.m > exact_items and (model.goal.w_var or (model.goal.w_max and model.goal.edges.any())):
        # These ask many additive questions, one after the other.
        effort *= 0.3
    run = _Run(model, control or Control(), seed, effort, exact_items)
    if not model.borders:
        value = float(model.value(np.arange(model.k)[None])[0])
        return Found(tuple(range(model.k)), value, value, True, 0)
    if model.goal.w_max:
        return _with_largest(run)
    return run.with_variance()
