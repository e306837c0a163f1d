"""One stripe, and what happens to the strands between two stripes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence as Seq
from dataclasses import dataclass
from itertools import pairwise

from blendplan.errors import StripeError
from blendplan.units import whole

__all__ = ["MAX_ROWS", "Change", "Stripe", "changes", "total_rows"]

MAX_ROWS = 5000


@dataclass(frozen=True, slots=True, kw_only=True)
class Stripe:
    """A run of rows worked with the same strands held together.

    Attributes
    ----------
    strands : tuple of str
        Names of yarns, one per strand (two as a rule, one to four allowed).
    rows : int
        At least 1.
    locked : bool
        True where the maker has fixed this stripe; shuffles and fits leave it as it is.
    """

    strands: tuple[str, ...]
    rows: int
    locked: bool = False

    def __post_init__(self) -> None:
        if not 1 <= len(self.strands) <= 4:
            raise StripeError(
                "a stripe with {given} strands was given; allowed is 1 to 4, and 2 is usual.", given=len(self.strands)
            )
        object.__setattr__(self, "rows", whole(self.rows, "rows of a stripe", 1, MAX_ROWS))

    @property
    def solid(self) -> bool:
        """True where all strands are the same yarn."""
        return len(set(self.strands)) == 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What is done between one stripe and the next.

    Attributes
    ----------
    cut, join, kept : tuple of str
        Names of the strands cut, joined and carried on.
    """

    cut: tuple[str, ...]
    join: tuple[str, ...]
    kept: tuple[str, ...]

    @property
    def tails(self) -> int:
        """Ends to weave in: one for each strand cut and one for each joined."""
        return len(self.cut) + len(self.join)


def changes(stripes: Seq[Stripe]) -> tuple[Change, ...]:
    """Return the change at each of the len(stripes) - 1 borders.

    Examples
    --------
    >>> a, b = Stripe(strands=("Fern", "Fern"), rows=4), Stripe(strands=("Fern", "Clay"), rows=2)
    >>> changes([a, b])[0].cut, changes([a, b])[0].join
    (('Fern',), ('Clay',))
    """
    out = []
    for before, after in pairwise(stripes):
        old, new = Counter(before.strands), Counter(after.strands)
        out.append(
            Change(
                cut=tuple((old - new).elements()),
                join=tuple((new - old).elements()),
                kept=tuple((old & new).elements()),
            )
        )
    return tuple(out)


def total_rows(stripes: Seq[Stripe]) -> int:
    """Return the rows of all stripes together."""
    return sum(s.rows for s in stripes)
