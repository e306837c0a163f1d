"""Other orders: a handful really different ones, her own made better with few moves, and one along a picture's shades.

Two orders differ by the share of neighbours that they do not have in common: with A the neighbours (which of the two
comes first does not matter) of one order and B those of the other, the distance is 1 - |A and B| / max(|A|, |B|).
An order and its reverse are the same to the eye and have distance 0; two orders without a common neighbour have 1.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise, permutations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.blend.strands import Viewing
from blendplan.colour import Floats, delta_e_2000
from blendplan.errors import StripeError
from blendplan.order.aims import step_matrix
from blendplan.order.find import Ordering, Question, Search, Task, describe_order, finish, prepare
from blendplan.order.problem import TIE, Control, Model, Stopped
from blendplan.order.search import all_moves, all_shifts, improve, nearest_starts, search, tour_matrix, tour_order
from blendplan.order.solve import Found, solve
from blendplan.units import number, whole
from blendplan.wording import Notice, note, rounded
from blendplan.yarn import Yarn, check_yarns

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
    """One of a handful of orders."""

    ordering: Ordering
    behind: float  # how much more it costs than the first one, as a share of that one's cost
    distance: float  # least distance to the orders before it in the list; 1 for the first
    worst: Notice  # its worst step in words

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
    question: Question | None = None,
    *,
    count: int = 5,
    least_distance: float = 0.3,
    within: float = 0.5,
    search: Search | None = None,
) -> tuple[Alternative, ...]:
    """Return up to `count` orders, the best first, each really different from those before it.

    `count`: 1 to 20; `least_distance`: least distance between any two of them, 0 to 1 (see the module); `within`: none
    costs more than this share above the best, 0 to 10; returns fewer than `count` where there are no more.

    Up to eight items every order is looked at. Beyond, local searches from all starts, again with the neighbours
    used so far made dearer by a tenth to the whole of a mean step, fill a pool; from it the cheapest that is far
    enough away is taken each time. Later ones are therefore good, not proven best at their distance.
    """
    count = whole(count, "orders to show", 1, 20)
    least_distance = number(least_distance, "least distance between orders", 0, 1)
    within = number(within, "share above the best", 0, 10)
    search = search or Search()
    task, control = prepare(yarns, question), search.control()
    best = finish(solve(task.model, seed=search.seed, control=control), task, stopped=control.stopped)
    chosen = [_tell(best, best, 1.0)]
    pool = _Pool(task, search.seed, control, best.cost * (1 + within) + 1e-9)
    while len(chosen) < count:
        search.told(len(chosen) / count)
        got = pool.next([c.ordering for c in chosen], least_distance)
        if got is None:
            break
        ordering, distance = got
        chosen.append(_tell(ordering, best, distance))
    search.told(1.0)
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


# Orders carried on from one number of moves to the next, beyond the two moves that are looked at in full.
_BEAM = 400
_FULL = 250_000


@dataclass(frozen=True, slots=True, kw_only=True)
class FewMoves:
    """The best order with so many moves."""

    moves: int  # colours taken out and put elsewhere, at most
    ordering: Ordering
    saved: float  # share of the cost of her own order that is saved
    exact: bool  # true where no order with so many moves is better
    words: Notice

    def to_json(self) -> dict[str, Any]:
        """Return the keys that `blendplan order --moves --json` prints."""
        return {"moves": self.moves, "saved": round(self.saved, 4), "exact": self.exact, **self.ordering.to_json()}


def few_moves(
    yarns: tuple[Yarn, ...], own: tuple[str, ...], question: Question | None = None, *, most: int = 3
) -> tuple[FewMoves, ...]:
    """Return the best orders that are 0, 1, ... `most` moves away from her own.

    `own`: her order of all of them; `most`: 1 to 10; returns only numbers of moves that make it better; the first is
    her own order if it keeps to the wishes.

    One move is looked at in full; two as well while that is at most 250,000 orders (22 colours). Further moves go
    on from the 400 best.
    """
    most = whole(most, "moves", 1, 10)
    task = prepare(yarns, replace(question or Question(), own=own))
    model = task.model
    if sorted(own) != sorted(model.names):
        raise StripeError("her own order has to hold each of the {n} colours once; mend it first.", n=len(model.names))
    where = {n: i for i, n in enumerate(model.names)}
    front = np.array([[where[n] for n in own]], dtype=np.intp)
    shifts = all_shifts(model.m)
    out: list[FewMoves] = []
    start: float | None = None
    whole_front = True
    for moves in range(most + 1):
        if moves:
            whole_front = whole_front and len(front) * len(shifts) <= _FULL
            if not whole_front:
                front = front[np.lexsort((model.value(front), model.faults(front)))[:_BEAM]]
            front = np.unique(front[:, shifts].reshape(-1, model.m), axis=0)
        allowed = front[model.faults(front) == 0]
        if not len(allowed):
            continue
        values = model.value(allowed)
        value = float(values.min())
        start = value if start is None else start
        if out and value >= out[-1].ordering.cost - 1e-9:
            continue
        out.append(_moved(task, allowed[int(values.argmin())], (moves, value, start), whole_front))
    if not out:
        raise StripeError("no order within {most} moves keeps to all wishes; allow more moves or drop one.", most=most)
    return tuple(out)


def _moved(task: Task, order: NDArray[np.intp], got: tuple[int, float, float], exact: bool) -> FewMoves:
    moves, value, start = got
    found = Found(tuple(int(i) for i in order), value, 0.0, False, 0)
    ordering = finish(found, task, stopped=False, as_is=True)
    saved = (start - value) / start if start > 0 else 0.0
    percent = f"{100 * saved:.1f}"
    if not moves:
        words = note("her own order as it is.")
    elif moves == 1:
        words = note("one move makes it {percent} % better.", percent=percent)
    else:
        words = note("{moves} moves make it {percent} % better.", moves=moves, percent=percent)
    return FewMoves(moves=moves, ordering=ordering, saved=saved, exact=exact, words=words)


def short_of_yarn(yarns: tuple[Yarn, ...], inner_m: Fraction | float, end_m: Fraction | float) -> tuple[str, ...]:
    """Return the colours whose yarn on hand is enough for an end place but not for an inner one.

    `yarns`: those without a put-up are left out: their metres are not known; `inner_m`, `end_m`: metres that an inner
    and an end place use (3 to 4 with equal stripes; trade facts, derived); returns the scarcest first;
    `Constraints(short=...)` takes the first two.
    """
    found = []
    for yarn in yarns:
        if yarn.put_up is None:
            continue
        grams = yarn.skeins_on_hand * yarn.put_up.mass_g + sum(yarn.part_skeins_g, Fraction(0))
        metres = grams * yarn.put_up.m_per_g
        if end_m <= metres < inner_m:
            found.append((metres, yarn.name))
    return tuple(name for _, name in sorted(found))


Lab = tuple[float, float, float]


def follow_shades(
    yarns: tuple[Yarn, ...],
    shades: tuple[Lab, ...],
    places: int,
    *,
    viewing: Viewing | None = None,
    blend_rows: int = 2,
) -> Ordering:
    """Return the order, colours repeated where the picture repeats them, that follows shades along a line.

    `shades`: read along the line, first to last, evenly spaced; `places`: solid stripes, 1 to 200; with blends there
    are places - 1 more stripes between them; `viewing`: from the sofa (2 m) by default; `blend_rows`: 0 leaves the
    blends out; returns `cost` is the sum of CIEDE2000 between each stripe, blends too, and the shade of its place on
    the line; always exact.

    Dynamic programming along the line (R. Bellman, 1957): colours may come back, but not beside themselves, so the
    cheapest way to each colour at each place is all that has to be known. k * n**2 steps.
    """
    on_hand = tuple(sorted(check_yarns(tuple(yarns)), key=lambda y: y.name))
    k = whole(places, "stripes along the line", 1, 200)
    if not shades or not np.isfinite(shades).all():
        raise StripeError("no shades were read along the line; draw it across the picture.")
    if len(on_hand) < 2 <= k:
        raise StripeError("one colour cannot follow a picture; add another yarn or ask for one stripe.")
    lab = np.array([y.lab for y in on_hand])
    table = step_matrix(on_hand, viewing=viewing, blend_rows=blend_rows)
    wanted = np.array(wanted_along(shades, 2 * k - 1))
    solid = np.asarray(delta_e_2000(wanted[::2, None], lab[None]))
    between = np.zeros((max(k - 1, 0), len(lab), len(lab)))
    if blend_rows and k > 1:
        between = np.asarray(delta_e_2000(wanted[1::2, None, None], table.mixed[None]))
    order, cost = _along(solid, between)
    names = tuple(on_hand[i].name for i in order)
    return Ordering(
        order=names,
        cost=cost,
        exact=True,
        bound=cost,
        gap=0.0,
        steps=describe_order(names, table),
        verdict=note("proven best: no other {k} stripes of these colours follow the line more closely.", k=k),
        aim=(("follow", 1.0),),
    )


def wanted_along(shades: tuple[Lab, ...], count: int) -> tuple[Lab, ...]:
    """Return the shades wanted at evenly spaced places, read between those met along a line.

    `shades`: first to last, at least one; `count`: places, 1 or more; one place is the start of the line;
    `follow_shades` asks for 2 * places - 1, solid stripes and the blends between them in turn.

    Examples
    --------
    >>> wanted_along(((0.0, 0.0, 0.0), (50.0, 0.0, 20.0)), 3)[1]
    (25.0, 0.0, 10.0)
    """
    along = np.array(shades, dtype=np.float64).reshape(-1, 3)
    at = np.linspace(0, len(along) - 1, count)
    columns = [np.interp(at, np.arange(len(along)), along[:, c]) for c in range(3)]
    return tuple((float(a), float(b), float(c)) for a, b, c in zip(*columns, strict=True))


def _along(solid: Floats, between: Floats) -> tuple[list[int], float]:
    k, n = solid.shape
    same = np.where(np.eye(n, dtype=bool), np.inf, 0.0)
    cost = solid[0]
    came = []
    for p in range(1, k):
        reach = cost[:, None] + between[p - 1] + same
        came.append(reach.argmin(axis=0))
        cost = reach.min(axis=0) + solid[p]
    order = [int(cost.argmin())]
    for step in reversed(came):
        order.append(int(step[order[-1]]))
    return order[::-1], float(cost.min())
