"""From yarns, aims and wishes to numbers, and the one form that every order problem is solved in.

Items stand in places 0 to k - 1. An order costs the sum of `edges[a, b]` over neighbours and of `places[p, a]`
over places; in a closed round the edge from the last item to the first counts too.
A wish that must hold is written as a penalty `big`, larger than any difference in cost, so one search does
both: an optimum with a penalty in it proves that no order meets all wishes.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import Floats
from blendplan.errors import StripeError
from blendplan.order.aims import Objective, StepTable, Targets, objective
from blendplan.order.constraints import Constraints


class Stopped(Exception):  # noqa: N818
    """Raised inside a search when the caller asked to stop or the time is up; never leaves the package."""


@dataclass(slots=True)
class Control:
    """What the caller wants to hear and to say while a search runs."""

    progress: Callable[[float], None] | None = None
    cancel: Callable[[], bool] | None = None
    deadline: float | None = None
    stopped: bool = False

    def tick(self, share: float | None = None) -> None:
        """Tell the progress; raise `Stopped` if asked to stop or the time is up."""
        if share is not None and self.progress is not None:
            self.progress(min(max(share, 0.0), 1.0))
        if (self.cancel is not None and self.cancel()) or (
            self.deadline is not None and time.monotonic() > self.deadline
        ):
            self.stopped = True
            raise Stopped


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Problem:
    """An additive order problem."""

    edges: Floats  # (m, m), penalties included; may be asymmetric
    places: Floats  # (k, m), penalties included; k <= m items are used
    closed: bool = False
    # Items that are the same colour and must stand at least `apart` places from each other.
    groups: tuple[tuple[int, ...], ...] = ()
    apart: int = 2  # 2 is met by the edges alone; above that the search has to look further back
    big: float = 0.0  # the penalty

    @property
    def m(self) -> int:
        """Number of items to choose from."""
        return len(self.edges)

    @property
    def k(self) -> int:
        """Number of places."""
        return len(self.places)

    @property
    def spaced(self) -> bool:
        """True where neighbours alone do not tell whether an order is allowed."""
        return bool(self.groups) and self.apart > 2

    @property
    def symmetric(self) -> bool:
        """True where only the ends of `places` are used and `edges` are the same both ways."""
        inner = self.places[1:-1]
        return bool(np.array_equal(self.edges, self.edges.T) and (inner.size == 0 or not inner.any()))

    def spacing_faults(self, orders: NDArray[np.intp]) -> NDArray[np.intp]:
        """Return, for orders of shape (B, k), how many pairs of one colour stand too near."""
        faults = np.zeros(len(orders), dtype=np.intp)
        if not self.spaced:
            return faults
        label = np.arange(self.m)
        for group in self.groups:
            label[list(group)] = group[0]
        named = label[orders]
        for gap in range(2, min(self.apart, self.k)):
            if self.closed:
                faults += (named == np.roll(named, -gap, axis=1)).sum(axis=1)
            else:
                faults += (named[:, gap:] == named[:, :-gap]).sum(axis=1)
        return faults

    def cost(self, orders: NDArray[np.intp]) -> Floats:
        """Return the costs, penalties included, of orders of shape (B, k)."""
        value: Floats = self.edges[orders[:, :-1], orders[:, 1:]].sum(axis=1)
        value = value + self.places[np.arange(self.k), orders].sum(axis=1)
        if self.closed and self.k > 1:
            value = value + self.edges[orders[:, -1], orders[:, 0]]
        if self.spaced:
            value = value + self.big * self.spacing_faults(orders)
        return value


Bools = NDArray[np.bool_]

# Weight of what only decides between orders of equal cost: so small that an order proven best is so to within this
# share of its total step.
TIE = 1e-7


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Model:
    """An order problem before its penalties are put in."""

    names: tuple[str, ...]  # length m, Colour of each item
    goal: Objective
    barred: Bools  # (m, m), neighbours that are not allowed
    wanted: Bools  # (m, m), neighbours that must be
    shut: Bools  # (k, m), places that are not allowed
    groups: tuple[tuple[int, ...], ...]  # groups, apart, closed: as in `Problem`
    apart: int
    closed: bool
    must: Bools  # (m,), items that have to be used where only some are chosen

    @property
    def m(self) -> int:
        """Number of items."""
        return len(self.names)

    @property
    def k(self) -> int:
        """Number of places."""
        return len(self.shut)

    @property
    def borders(self) -> int:
        """Number of steps from item to item."""
        return self.k if self.closed and self.k > 1 else self.k - 1

    def problem(self, edges: Floats, extra_barred: Bools | None = None) -> Problem:
        """Return the additive problem of some edge costs with the penalties of the wishes put in."""
        barred = self.barred if extra_barred is None else self.barred | extra_barred
        places = self.goal.places
        big = 4.0 * (float(np.ptp(edges)) * (self.k + 1) + float(np.ptp(places)) * self.k) + 1.0
        np_edges = edges + big * barred - big * self.wanted
        np_places = places + big * self.shut - big * self.must if (self.shut | self.must).any() else places
        return Problem(
            edges=np_edges, places=np_places, closed=self.closed, groups=self.groups, apart=self.apart, big=big
        )

    def faults(self, orders: NDArray[np.intp]) -> NDArray[np.intp]:
        """Return how many wishes each order of shape (B, k) breaks."""
        a, b = orders[:, :-1], orders[:, 1:]
        if self.closed and self.k > 1:
            a, b = orders, np.roll(orders, -1, axis=1)
        count = self.barred[a, b].sum(axis=1) + self.shut[np.arange(self.k), orders].sum(axis=1)
        count = count + self.wanted.sum() // 2 - self.wanted[a, b].sum(axis=1)
        if self.groups and self.apart > 2:
            count = count + self.problem(np.zeros((self.m, self.m))).spacing_faults(orders)
        if self.must.any():
            count = count + self.must.sum() - self.must[orders].sum(axis=1)
        return np.asarray(count)

    @property
    def rewards(self) -> int:
        """How many penalties a faultless order has taken off."""
        return int(self.wanted.sum()) // 2 + int(self.must.sum())

    def additive(self, orders: NDArray[np.intp], edges: Floats | None = None) -> Floats:
        """Return the additive part of the aim of orders of shape (B, k), no penalties."""
        used = self.goal.edges if edges is None else edges
        value: Floats = used[orders[:, :-1], orders[:, 1:]].sum(axis=1)
        if self.closed and self.k > 1:
            value = value + used[orders[:, -1], orders[:, 0]]
        return value + self.goal.places[np.arange(self.k), orders].sum(axis=1)

    def singles(self, orders: NDArray[np.intp]) -> Floats:
        """Return the single steps of orders, shape (B, number of single steps)."""
        a, b = orders[:, :-1], orders[:, 1:]
        if self.closed and self.k > 1:
            a, b = orders, np.roll(orders, -1, axis=1)
        return self.goal.halves[a, b].reshape(len(orders), -1)

    def value(self, orders: NDArray[np.intp]) -> Floats:
        """Return the value of the aim of orders of shape (B, k), no penalties."""
        out = self.additive(orders)
        if (self.goal.w_max or self.goal.w_var) and self.borders:
            steps = self.singles(orders)
            out = out + self.goal.w_max * steps.max(axis=1) + self.goal.w_var * steps.var(axis=1)
        return out


def _even_out(edges: Floats) -> Floats:
    """Return costs that are the same both ways to the last bit where they differ by rounding only."""
    return (edges + edges.T) / 2 if np.allclose(edges, edges.T, rtol=0, atol=1e-9) else edges


def _steps_of(table: StepTable, items: list[int], carrier: int | None) -> StepTable:
    """Return the steps between items, with a carrier between every two of them if there is one."""
    each = np.ix_(items, items)
    halves = table.halves[each]
    if carrier is not None:
        to, back = table.halves[items, carrier][:, None], table.halves[carrier, items][None]
        halves = np.concatenate([np.broadcast_to(part, halves.shape) for part in (to, back)], axis=2)
    names = tuple(table.names[i] for i in items)
    return StepTable(
        names=names, lab=table.lab[items], direct=table.direct[each], halves=halves, mixed=table.mixed[each]
    )


def build(
    table: StepTable,
    aim: tuple[tuple[str, float], ...],
    wishes: Constraints,
    targets: Targets,
    *,
    k: int | None = None,
    keep: tuple[str, ...] = (),
) -> Model:
    """Return the model of a palette's steps, an aim and wishes.

    `table`: one row for each colour of the palette; `wishes`: already checked; `k`: places to fill when only some of
    the colours are used; `keep`: colours that have to be used then.
    """
    names = wishes.items(table.names)
    items = [table.names.index(n) for n in names]
    m = len(items)
    k = m if k is None else k
    steps = _steps_of(table, items, None if wishes.carrier is None else table.names.index(wishes.carrier))
    goal = objective(aim, steps, k, targets, wishes.closed)
    both = 2.0 if wishes.mirrored else 1.0
    across = steps.direct if wishes.carrier is not None else 0.0
    goal = replace(goal, edges=both * _even_out(goal.edges), tie=goal.tie + across)
    barred, wanted = _sides(names, wishes, k)
    groups = tuple(tuple(i for i, n in enumerate(names) if n == name) for name, often in wishes.uses if often > 1)
    return Model(
        names=names,
        goal=goal,
        barred=barred,
        wanted=wanted,
        shut=_shut(names, wishes, goal),
        groups=groups,
        apart=wishes.apart,
        closed=wishes.closed,
        must=np.array([n in keep for n in names]) if k < m else np.zeros(m, dtype=bool),
    )


def _sides(names: tuple[str, ...], wishes: Constraints, k: int) -> tuple[Bools, Bools]:
    m = len(names)
    label = np.array([names.index(n) for n in names])
    barred = (label[:, None] == label[None, :]) & ~np.eye(m, dtype=bool)
    for one, other in wishes.forbidden:
        a, b = label == names.index(one), label == names.index(other)
        barred |= (a[:, None] & b[None, :]) | (b[:, None] & a[None, :])
    wanted = np.zeros((m, m), dtype=bool)
    pairs = {tuple(sorted(p)) for p in wishes.wanted}
    if wishes.closed and wishes.first and wishes.last and k > 2:
        pairs.add(tuple(sorted((wishes.first, wishes.last))))
    often = dict(wishes.uses)
    for name, count in often.items():
        if count > 1 and sum(name in p for p in pairs) > 1:
            raise StripeError(
                "{name} is used {uses} times and wanted beside more than one colour; keep one of these wishes.",
                name=repr(name),
                uses=count,
            )
    for one, other in pairs:
        # The items of one colour are alike, so it is enough to ask it of the first of each.
        i, j = names.index(one), names.index(other)
        wanted[i, j] = wanted[j, i] = True
    return barred, wanted


def _shut(names: tuple[str, ...], wishes: Constraints, goal: Objective) -> Bools:
    places = goal.places
    k, m = places.shape
    named = np.array(names, dtype=object)
    shut = np.zeros((k, m), dtype=bool)
    fixed = [(n, p - 1) for n, p in wishes.places]
    turning = wishes.closed and not wishes.places and not places.any() and k == m
    # With a first and a last colour it also matters which way round it is read.
    turning = turning and (wishes.last is None or np.array_equal(goal.edges, goal.edges.T))
    if not turning:
        # A round that looks the same from every place is turned to its first colour when it is written down.
        fixed += [(wishes.first, 0)] if wishes.first else []
        fixed += [(wishes.last, k - 1)] if wishes.last else []
    for name, place in fixed:
        shut[place] |= named != name
    ends = {0} if wishes.mirrored else {0, k - 1}
    for name in wishes.short:
        inner = np.array([p not in ends for p in range(k)])
        shut |= inner[:, None] & (named == name)[None, :]
    return shut
