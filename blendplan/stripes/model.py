"""Stripes: strands held together over some rows, the rule that makes them, and each strand from joining to cutting."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from blendplan.budgets import MAX_LIST, MAX_ORDER, MAX_ROWS, MAX_TIMES
from blendplan.errors import StripeError
from blendplan.record import held, record
from blendplan.units import choice, exact, whole


@record
class Stripe:
    """A run of rows worked with the same strands held together.

    Attributes
    ----------
    strands : tuple of str
        Keys of yarns, one per strand (two as a rule, one to four allowed).
    rows : int
        At least 1.
    locked : bool
        True where the maker has fixed this stripe; shuffles and fits leave it as it is.
    """

    strands: tuple[str, ...] = held("strands of a stripe", longest=80)
    rows: int = held("rows of a stripe", low=1, high=MAX_ROWS)
    locked: bool = held("locked", default=False)

    def __post_init__(self) -> None:
        if not 1 <= len(self.strands) <= 4:
            raise StripeError(
                "a stripe with {given} strands was given; allowed is 1 to 4, and 2 is usual.", given=len(self.strands)
            )

    @property
    def solid(self) -> bool:
        """True where all strands are the same yarn."""
        return len(set(self.strands)) == 1


def total_rows(stripes: Sequence[Stripe]) -> int:
    """Return the rows of all stripes together."""
    return sum(s.rows for s in stripes)


ARRANGEMENTS = ("once", "repeat", "mirror", "centre-out")


def path(order: Sequence[str], arrange: str = "once", times: int = 1) -> tuple[str, ...]:
    """Return colours in the order they are worked, seams without doubling.

    `arrange`: {"once", "repeat", "mirror", "centre-out"}, `mirror` goes there and back; `centre-out` takes the first
    colour for the middle and works outwards; `times`: how often the whole of it is worked, 1 to 200; `once` with more
    is the same as `repeat`.

    Examples
    --------
    >>> "".join(path("ABC", "mirror")), "".join(path("ABC", "centre-out")), "".join(path("AB", "mirror", 2))
    ('ABCBA', 'CBABC', 'ABABA')
    """
    choice(arrange, "arrangement", ARRANGEMENTS)
    times = whole(times, "times", 1, MAX_TIMES)
    names = list(order)
    if arrange == "mirror":
        names = names + names[-2::-1]
    elif arrange == "centre-out":
        names = names[:0:-1] + names
    out = list(names)
    for _ in range(times - 1):
        # where one round ends with the colour the next begins with, the stripe is not worked twice
        out += names[1:] if len(names) > 1 and out[-1] == names[0] else names
    return tuple(out)


@record
class StripeRule:
    """The rule that makes the stripes."""

    # Keys of yarns in the order they appear.
    order: tuple[str, ...] = held("order of the colours", longest=80, most=MAX_ORDER)
    # solid_rows, blend_rows: rows of a stripe of one colour, and of a blended one (0 leaves the blends out).
    solid_rows: int = held("rows of a solid stripe", default=4, low=1, high=MAX_ROWS)
    blend_rows: int = held("rows of a blend stripe", default=2, low=0, high=MAX_ROWS)
    # {"one", "both"}, one strand at a time, with a blend between two colours, or both at once.
    change: Literal["one", "both"] = held("change", default="one")
    # A colour that is one of the strands in every stripe.
    carrier: str | None = held("colour carried through", default=None, longest=80)
    # {"once", "repeat", "mirror", "centre-out"}, see `path`.
    arrange: Literal["once", "repeat", "mirror", "centre-out"] = held("arrangement", default="once")
    times: int = held("times", default=1, low=1, high=MAX_TIMES)  # how often the arrangement is worked
    strands: int = held("strands", default=2, low=1, high=4)  # strands held together, 1 to 4
    # Row counts of single blends, such as `((("Fern", "Clay"), 3),)`, whichever way round.
    own_rows: tuple[tuple[tuple[str, ...], int], ...] = held(
        "rows of single blends", default=(), low=1, high=MAX_ROWS, most=MAX_LIST
    )

    def __post_init__(self) -> None:
        if not self.order:
            raise StripeError("no colours are in the order; put at least one yarn into it.")
        if self.carrier is not None and self.strands < 2:
            raise StripeError(
                "{carrier} cannot be carried through with one strand; hold at least 2 strands together.",
                carrier=self.carrier,
            )

    def _rows(self, strands: tuple[str, ...], own: dict[tuple[str, ...], int]) -> int:
        usual = self.solid_rows if len(set(strands)) == 1 else self.blend_rows
        if self.carrier is not None:
            # every stripe holds the carrier; a stripe between two colours is the blended one
            usual = self.solid_rows if len(set(strands) - {self.carrier}) <= 1 else self.blend_rows
        return own.get(tuple(sorted(strands)), usual)

    def expand(self) -> tuple[Stripe, ...]:
        """Return the stripes; y different colours on S strands give S Y - (S - 1) of them.

        Examples
        --------
        >>> [s.strands for s in StripeRule(order=("A", "B")).expand()]
        [('A', 'A'), ('A', 'B'), ('B', 'B')]
        >>> [s.strands for s in StripeRule(order=("A", "B"), carrier="Z").expand()]
        [('Z', 'A'), ('Z', 'B')]
        """
        least = len(self.order) * self.times
        if least > MAX_ROWS:
            raise StripeError(
                "the order makes {given} stripes or more; allowed are {allowed} rows; use fewer colours or times.",
                given=least,
                allowed=MAX_ROWS,
            )
        names = path(self.order, self.arrange, self.times)
        own = {tuple(sorted(called)): rows for called, rows in self.own_rows}
        kept = () if self.carrier is None else (self.carrier,)
        free = self.strands - len(kept)
        stripes = [self._stripe((*kept, *(names[0],) * free), own)]
        for old, new in pairwise(names):
            if self.change == "one" and old != new and self.blend_rows:
                stripes += [self._stripe((*kept, *(old,) * (free - k), *(new,) * k), own) for k in range(1, free)]
            stripes.append(self._stripe((*kept, *(new,) * free), own))
        return tuple(stripes)

    def _stripe(self, strands: tuple[str, ...], own: dict[tuple[str, ...], int]) -> Stripe:
        return Stripe(strands=strands, rows=self._rows(strands, own))


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One strand of one colour, unbroken over neighbouring stripes."""

    name: str  # the yarn
    slot: int  # which of the strands held together, from 0
    first_row: int  # first_row, last_row: from 1
    last_row: int
    first_stripe: int  # first_stripe, last_stripe: from 1
    last_stripe: int

    @property
    def rows(self) -> int:
        """Rows from the first to the last."""
        return self.last_row - self.first_row + 1


def runs_of(stripes: Sequence[Stripe], fresh: Collection[int] = ()) -> tuple[Run, ...]:
    """Return the runs of all strands, in the order they begin.

    `fresh`: numbers, from 1, of stripes that begin elsewhere on the work: no strand is carried into them.

    A strand that the next stripe also holds is carried on, never cut: the number of runs is the number of strands
    joined, and each run has two ends to weave in.
    Of two strands of one colour the one joined later stays on, so that both are of like length.

    Examples
    --------
    >>> a, b = Stripe(strands=("Fern", "Fern"), rows=4), Stripe(strands=("Fern", "Clay"), rows=2)
    >>> [(r.name, r.first_row, r.last_row) for r in runs_of([a, b])]
    [('Fern', 1, 6), ('Fern', 1, 4), ('Clay', 5, 6)]
    """
    open_runs: list[tuple[str, int, int] | None] = []
    done: list[Run] = []
    row = 1

    def close(slot: int, last_row: int, last_stripe: int) -> None:
        run = open_runs[slot]
        if run is not None:
            name, first_row, first_stripe = run
            done.append(
                Run(
                    name=name,
                    slot=slot,
                    first_row=first_row,
                    last_row=last_row,
                    first_stripe=first_stripe,
                    last_stripe=last_stripe,
                )
            )
            open_runs[slot] = None

    for number, stripe in enumerate(stripes, 1):
        waiting = list(stripe.strands)
        youngest_first = sorted(range(len(open_runs)), key=lambda slot: -(open_runs[slot] or ("", 0, 0))[1])
        for slot in youngest_first:
            run = open_runs[slot]
            if run is not None and run[0] in waiting and number not in fresh:
                waiting.remove(run[0])
            else:
                close(slot, row - 1, number - 1)
        for name in waiting:
            free = next((slot for slot, run in enumerate(open_runs) if run is None), len(open_runs))
            if free == len(open_runs):
                open_runs.append(None)
            open_runs[free] = (name, row, number)
        row += stripe.rows
    for slot in range(len(open_runs)):
        close(slot, row - 1, len(stripes))
    return tuple(sorted(done, key=lambda run: (run.first_row, run.slot)))


def rows_from_shares(shares: Sequence[object], rows: int, *, least: int = 0) -> tuple[int, ...]:
    """Return whole rows that follow shares and add up to `rows` exactly.

    `shares`: not negative, one above zero; they need not add up to 1; `least`: rows that every part gets at least.

    Method of the largest remainder (Hare quota) in exact fractions; of equal remainders the earlier part gets the row.
    With `least`, parts whose share gives fewer get `least` and the others share the rest.

    Examples
    --------
    >>> rows_from_shares([1, 1, 1], 100), rows_from_shares(["0.5", "0.3", "0.2"], 7)
    ((34, 33, 33), (4, 2, 1))
    """
    total_rows = whole(rows, "rows", 0, MAX_ROWS)
    least = whole(least, "least rows of a part", 0, MAX_ROWS)
    parts = [exact(share, "share") for share in shares]
    if not parts or min(parts) < 0 or sum(parts) <= 0:
        raise StripeError(
            "shares must be 0 or more and not all 0; {given} was given.",
            given=", ".join(str(s) for s in shares) or "none",
        )
    if least * len(parts) > total_rows:
        raise StripeError(
            "{rows} rows cannot give each of {parts} parts {least}; the least that works is {needed} rows.",
            rows=total_rows,
            parts=len(parts),
            least=least,
            needed=least * len(parts),
        )
    held: set[int] = set()
    while True:
        free = [i for i in range(len(parts)) if i not in held]
        weight = sum((parts[i] for i in free), Fraction(0))
        left = total_rows - least * len(held)
        if weight == 0:
            # only parts without a share are left; they take what remains in turn
            quota = {i: Fraction(left, len(free)) for i in free}
        else:
            quota = {i: parts[i] * left / weight for i in free}
        short = {i for i in free if quota[i] < least}
        if not short:
            break
        held |= short
    out = [least] * len(parts)
    for i in free:
        out[i] = int(quota[i])
    order = sorted(free, key=lambda i: (-(quota[i] - int(quota[i])), i))
    for i in order[: total_rows - sum(out)]:
        out[i] += 1
    return tuple(out)
