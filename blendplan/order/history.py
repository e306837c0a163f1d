"""Playing with orders: edits that leave the old order as it was, undo over the whole session, named variants.

Nothing here changes in place: an edit returns a new session, so the page may keep as many as it likes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from blendplan.errors import StripeError
from blendplan.order.alternatives import order_distance
from blendplan.stripes.sequence import Sequence
from blendplan.units import clean_text, whole

__all__ = ["Arrangement", "Comparison", "Session", "compare", "moves_needed"]

# Undo steps kept; a long evening of dragging is a few hundred. Assumed.
MOST_STEPS = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """An order of colours with some places locked.

    Attributes
    ----------
    order : tuple of str
    locked : frozenset of int
        Places, counted from 0, that no edit changes.
    """

    order: tuple[str, ...]
    locked: frozenset[int] = frozenset()

    def __post_init__(self) -> None:
        object.__setattr__(self, "order", tuple(self.order))
        object.__setattr__(self, "locked", frozenset(self.locked))
        if not self.order:
            raise StripeError("no colours are in the order; put at least one yarn into it.")
        for place in self.locked:
            self._place(place)

    def _place(self, place: int) -> int:
        return whole(place, "place in the order", 0, len(self.order) - 1)

    def _free(self, place: int) -> int:
        place = self._place(place)
        if place in self.locked:
            raise StripeError(
                "{name} in place {place} is locked; unlock it first.", name=repr(self.order[place]), place=place + 1
            )
        return place

    def _fill(self, free: list[str]) -> Arrangement:
        """Put names into the places that are not locked, first to last."""
        rest = iter(free)
        order = tuple(n if i in self.locked else next(rest) for i, n in enumerate(self.order))
        return replace(self, order=order)

    def move(self, place: int, to: int) -> Arrangement:
        """Take a colour out and put it into another place; the free ones between close up, locked ones stay.

        Examples
        --------
        >>> Arrangement(order=("A", "B", "C", "D"), locked={1}).move(0, 3).order
        ('C', 'B', 'D', 'A')
        """
        place, to = self._free(place), self._free(to)
        spots = [i for i in range(len(self.order)) if i not in self.locked]
        free = [self.order[i] for i in spots]
        free.insert(spots.index(to), free.pop(spots.index(place)))
        return self._fill(free)

    def swap(self, one: int, other: int) -> Arrangement:
        """Exchange two colours."""
        one, other = self._free(one), self._free(other)
        order = list(self.order)
        order[one], order[other] = order[other], order[one]
        return replace(self, order=tuple(order))

    def reverse(self, first: int = 0, last: int | None = None) -> Arrangement:
        """Turn a stretch round; locked places in it stay.

        Examples
        --------
        >>> Arrangement(order=("A", "B", "C", "D")).reverse(1, 3).order
        ('A', 'D', 'C', 'B')
        """
        first = self._place(first)
        last = self._place(len(self.order) - 1 if last is None else last)
        first, last = min(first, last), max(first, last)
        inside = [i for i in range(first, last + 1) if i not in self.locked]
        turned = dict(zip(inside, [self.order[i] for i in reversed(inside)], strict=True))
        return replace(self, order=tuple(turned.get(i, n) for i, n in enumerate(self.order)))

    def lock(self, place: int, on: bool = True) -> Arrangement:
        """Lock a place, or unlock it."""
        place = self._place(place)
        return replace(self, locked=self.locked | {place} if on else self.locked - {place})

    def insert(self, place: int, name: str) -> Arrangement:
        """Put one more colour in before a place (or at the end); locks move with their colours."""
        place = whole(place, "place in the order", 0, len(self.order))
        order = (*self.order[:place], name, *self.order[place:])
        return Arrangement(order=order, locked=frozenset(i + (i >= place) for i in self.locked))

    def remove(self, place: int) -> Arrangement:
        """Take a colour out; locks move with their colours."""
        place = self._free(place)
        if len(self.order) == 1:
            raise StripeError("the last colour cannot be taken out; put another one in first.")
        order = self.order[:place] + self.order[place + 1 :]
        return Arrangement(order=order, locked=frozenset(i - (i > place) for i in self.locked))

    def fixed_places(self) -> tuple[tuple[str, int], ...]:
        """Return the locked colours with their places counted from 1, as `Constraints.places` takes them."""
        return tuple((self.order[i], i + 1) for i in sorted(self.locked))

    def to_json(self) -> dict[str, Any]:
        """Return the arrangement for a project file."""
        return {"order": list(self.order), "locked": sorted(self.locked)}

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Arrangement:
        """Return the arrangement of a project file, checked."""
        return cls(order=tuple(map(str, data["order"])), locked=frozenset(data.get("locked", ())))


Variants = tuple[tuple[str, Arrangement], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """Named variants and everything that was done to them, oldest first.

    Attributes
    ----------
    variants : tuple of (str, Arrangement)
    current : str
        Name of the variant that edits change.
    past, future : tuple
        States before and after this one, each (variants, current).
    """

    variants: Variants
    current: str
    past: tuple[tuple[Variants, str], ...] = ()
    future: tuple[tuple[Variants, str], ...] = ()

    @classmethod
    def begin(cls, order: tuple[str, ...], name: str = "first") -> Session:
        """Return a session with one variant."""
        return cls(variants=((name, Arrangement(order=order)),), current=name)

    @property
    def arrangement(self) -> Arrangement:
        """The variant that edits change."""
        return self.variant(self.current)

    def variant(self, name: str) -> Arrangement:
        """Return a variant by name.

        Raises
        ------
        StripeError
            If there is none of that name.
        """
        for own, arrangement in self.variants:
            if own == name:
                return arrangement
        raise StripeError(
            "there is no variant {name}; choose one of {names}.",
            name=repr(name),
            names=", ".join(n for n, _ in self.variants),
        )

    def _to(self, variants: Variants, current: str) -> Session:
        if (variants, current) == (self.variants, self.current):
            return self
        past = (*self.past, (self.variants, self.current))[-MOST_STEPS:]
        return Session(variants=variants, current=current, past=past)

    def edit(self, change: Callable[[Arrangement], Arrangement]) -> Session:
        """Return the session after an edit of the current variant; an edit that changes nothing is not kept.

        Examples
        --------
        >>> played = Session.begin(("A", "B", "C")).edit(lambda a: a.swap(0, 2))
        >>> played.arrangement.order, played.undo().arrangement.order
        (('C', 'B', 'A'), ('A', 'B', 'C'))
        """
        new = change(self.arrangement)
        return self._to(tuple((n, new if n == self.current else a) for n, a in self.variants), self.current)

    def keep_as(self, name: str) -> Session:
        """Return the session with the current variant copied under a new name, which is then the current one."""
        name = clean_text(name, "name of a variant", 60)
        if not name or any(n == name for n, _ in self.variants):
            raise StripeError("a variant {name} cannot be added; give it a name of its own.", name=repr(name))
        return self._to((*self.variants, (name, self.arrangement)), name)

    def choose(self, name: str) -> Session:
        """Return the session with another variant to be edited."""
        self.variant(name)
        return self._to(self.variants, name)

    def drop(self, name: str) -> Session:
        """Return the session without a variant."""
        self.variant(name)
        left = tuple(v for v in self.variants if v[0] != name)
        if not left:
            raise StripeError("the only variant cannot be dropped; keep another one first.")
        return self._to(left, self.current if self.current != name else left[-1][0])

    def undo(self) -> Session:
        """Return the session one step back, or as it is at its beginning."""
        if not self.past:
            return self
        variants, current = self.past[-1]
        return Session(
            variants=variants,
            current=current,
            past=self.past[:-1],
            future=((self.variants, self.current), *self.future),
        )

    def redo(self) -> Session:
        """Return the session one undone step forward, or as it is at its end."""
        if not self.future:
            return self
        variants, current = self.future[0]
        return Session(
            variants=variants,
            current=current,
            past=(*self.past, (self.variants, self.current)),
            future=self.future[1:],
        )

    def to_json(self) -> dict[str, Any]:
        """Return the variants for a project file; the steps back and forward are not stored."""
        return {"variants": {n: a.to_json() for n, a in self.variants}, "current": self.current}

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Session:
        """Return the session of a project file.

        Raises
        ------
        StripeError
            If it holds no variants or names one that is not there.
        """
        variants = tuple((str(n), Arrangement.from_json(a)) for n, a in dict(data["variants"]).items())
        if not variants:
            raise StripeError("the project holds no variants of the order; save one first.")
        session = cls(variants=variants, current=str(data["current"]))
        session.variant(session.current)
        return session


def moves_needed(own: tuple[str, ...], order: tuple[str, ...]) -> int:
    """Return the least number of colours to take out and put back so that one order becomes the other.

    Notes
    -----
    All colours but those of a longest run that both orders share (in the same sequence) have to be moved; the run is
    found by the longest common subsequence, so colours used more than once are counted right.

    Examples
    --------
    >>> moves_needed(("A", "B", "C", "D"), ("B", "C", "D", "A"))
    1
    """
    row = [0] * (len(order) + 1)
    for name in own:
        before = 0
        for j, other in enumerate(order, 1):
            before, row[j] = row[j], before + 1 if name == other else max(row[j], row[j - 1])
    return max(len(own), len(order)) - row[-1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What differs between two orders.

    Attributes
    ----------
    moves : int
        Colours to move from the one to the other.
    distance : float
        Share of neighbours not in common (`order_distance`).
    strand_rows : tuple of (str, int, int)
        Colour, and rows of one strand of it in the one and in the other, for colours that differ; yarn and skeins
        follow from these.
    """

    moves: int
    distance: float
    strand_rows: tuple[tuple[str, int, int], ...]


def compare(
    one: tuple[str, ...], other: tuple[str, ...], *, solid_rows: int = 4, blend_rows: int = 2, closed: bool = False
) -> Comparison:
    """Return what differs between two orders worked with the same heights.

    Examples
    --------
    >>> compare(("A", "B", "C"), ("B", "A", "C")).strand_rows
    (('A', 10, 12), ('B', 12, 10))
    """

    def rows(order: tuple[str, ...]) -> Counter[str]:
        count: Counter[str] = Counter()
        for stripe in Sequence(order=order, solid_rows=solid_rows, blend_rows=blend_rows).expand():
            for strand in stripe.strands:
                count[strand] += stripe.rows
        return count

    a, b = rows(one), rows(other)
    return Comparison(
        moves=moves_needed(one, other),
        distance=order_distance(one, other, closed),
        strand_rows=tuple((n, a[n], b[n]) for n in sorted(a | b) if a[n] != b[n]),
    )
