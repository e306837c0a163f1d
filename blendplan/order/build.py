"""From yarns, aims and wishes to numbers: the items, their steps, and which neighbours and places are allowed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import Floats
from blendplan.errors import StripeError
from blendplan.order.aims import Objective, Targets, objective
from blendplan.order.constraints import Constraints
from blendplan.order.problem import Problem
from blendplan.order.steps import StepTable

__all__ = ["TIE", "Model", "build"]

Bools = NDArray[np.bool_]

# Weight of what only decides between orders of equal cost: so small that an order proven best is so to within this
# share of its total step.
TIE = 1e-7


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Model:
    """An order problem before its penalties are put in.

    Attributes
    ----------
    names : tuple of str, length m
        Colour of each item.
    goal : Objective
    barred : ndarray of bool, shape (m, m)
        Neighbours that are not allowed.
    wanted : ndarray of bool, shape (m, m)
        Neighbours that must be.
    shut : ndarray of bool, shape (k, m)
        Places that are not allowed.
    groups, apart, closed
        As in `Problem`.
    direct : ndarray, shape (m, m)
        CIEDE2000 of the solid stripes.
    must : ndarray of bool, shape (m,)
        Items that have to be used where only some are chosen.
    """

    names: tuple[str, ...]
    goal: Objective
    barred: Bools
    wanted: Bools
    shut: Bools
    groups: tuple[tuple[int, ...], ...]
    apart: int
    closed: bool
    direct: Floats
    must: Bools

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


def _through(table: StepTable, carrier: int, items: list[int]) -> StepTable:
    """Return the steps between items with the carrier between every two of them."""
    to, back = table.halves[:, carrier], table.halves[carrier]
    m = len(items)
    halves = np.concatenate(
        [np.broadcast_to(to[items][:, None], (m, m, to.shape[1])), np.broadcast_to(back[items], (m, m, to.shape[1]))],
        axis=2,
    )
    return StepTable(
        names=tuple(table.names[i] for i in items),
        lab=table.lab[items],
        direct=table.direct[np.ix_(items, items)],
        halves=halves,
        n_member=table.n_member,
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

    Parameters
    ----------
    table : StepTable
        One row for each colour of the palette.
    aim : tuple of (str, float)
    wishes : Constraints
        Already checked.
    targets : Targets
    k : int, optional
        Places to fill when only some of the colours are used.
    keep : tuple of str
        Colours that have to be used then.
    """
    names = wishes.items(table.names)
    items = [table.names.index(n) for n in names]
    m = len(items)
    k = m if k is None else k
    if wishes.carrier is not None:
        steps = _through(table, table.names.index(wishes.carrier), items)
    else:
        steps = StepTable(
            names=names,
            lab=table.lab[items],
            direct=table.direct[np.ix_(items, items)],
            halves=table.halves[np.ix_(items, items)],
            n_member=table.n_member,
        )
    goal = objective(aim, steps, k, targets, wishes.closed)
    both = 2.0 if wishes.mirrored else 1.0
    across = steps.direct if wishes.carrier is not None else 0.0
    goal = Objective(
        edges=both * _even_out(goal.edges),
        places=goal.places,
        halves=goal.halves,
        w_max=goal.w_max,
        w_var=goal.w_var,
        tie=goal.tie + across,
    )
    barred, wanted = _sides(names, wishes, steps.direct, k)
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
        direct=steps.direct,
        must=np.array([n in keep for n in names]) if k < m else np.zeros(m, dtype=bool),
    )


def _sides(names: tuple[str, ...], wishes: Constraints, direct: Floats, k: int) -> tuple[Bools, Bools]:
    m = len(names)
    label = np.array([names.index(n) for n in names])
    barred = (label[:, None] == label[None, :]) & ~np.eye(m, dtype=bool)
    barred |= (direct < wishes.least_step) | (direct > wishes.largest_step)
    np.fill_diagonal(barred, False)
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
