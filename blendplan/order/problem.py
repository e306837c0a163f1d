"""The one form every order problem is brought into before it is solved.

Items stand in places 0 to k - 1. An order costs the sum of `edges[a, b]` over neighbours and of `places[p, a]`
over places; in a closed round the edge from the last item to the first counts too.
A wish that must hold is written as a penalty `big`, larger than any difference in cost, so one search does
both: an optimum with a penalty in it proves that no order meets all wishes.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import Floats

__all__ = ["Control", "Problem", "Stopped"]


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
    """An additive order problem.

    Attributes
    ----------
    edges : ndarray, shape (m, m)
        Penalties included; may be asymmetric.
    places : ndarray, shape (k, m)
        Penalties included; k <= m items are used.
    closed : bool
    groups : tuple of tuple of int
        Items that are the same colour and must stand at least `apart` places from each other.
    apart : int
        2 is met by the edges alone; above that the search has to look further back.
    big : float
        The penalty.
    """

    edges: Floats
    places: Floats
    closed: bool = False
    groups: tuple[tuple[int, ...], ...] = ()
    apart: int = 2
    big: float = 0.0

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
