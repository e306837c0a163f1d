"""From colours in an order to stripes: AA, AB, BB, BC, ..."""

from __future__ import annotations

from collections.abc import Sequence as Seq
from dataclasses import dataclass
from itertools import pairwise

from blendplan.errors import StripeError
from blendplan.stripes.model import MAX_ROWS, Stripe
from blendplan.units import choice, whole

__all__ = ["ARRANGEMENTS", "CHANGES", "Sequence", "path"]

CHANGES = ("one", "both")
ARRANGEMENTS = ("once", "repeat", "mirror", "centre-out")


def path(order: Seq[str], arrange: str = "once", times: int = 1) -> tuple[str, ...]:
    """Return colours in the order they are worked, seams without doubling.

    Parameters
    ----------
    order : sequence of str
    arrange : {"once", "repeat", "mirror", "centre-out"}
        `mirror` goes there and back; `centre-out` takes the first colour for the middle and works outwards.
    times : int
        How often the whole of it is worked, 1 to 200; `once` with more is the same as `repeat`.

    Examples
    --------
    >>> "".join(path("ABC", "mirror")), "".join(path("ABC", "centre-out")), "".join(path("AB", "mirror", 2))
    ('ABCBA', 'CBABC', 'ABABA')
    """
    choice(arrange, "arrangement", ARRANGEMENTS)
    times = whole(times, "times", 1, 200)
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Sequence:
    """The rule that makes the stripes.

    Attributes
    ----------
    order : tuple of str
        Names of yarns in the order they appear.
    solid_rows, blend_rows : int
        Rows of a stripe of one colour, and of a blended one (0 leaves the blends out).
    change : {"one", "both"}
        One strand at a time, with a blend between two colours, or both at once.
    carrier : str or None
        A colour that is one of the strands in every stripe.
    arrange : {"once", "repeat", "mirror", "centre-out"}
        See `path`.
    times : int
        How often the arrangement is worked.
    strands : int
        Strands held together, 1 to 4.
    own_rows : tuple of (tuple of str, int)
        Row counts of single blends, such as `((("Fern", "Clay"), 3),)`, whichever way round.
    """

    order: tuple[str, ...]
    solid_rows: int = 4
    blend_rows: int = 2
    change: str = "one"
    carrier: str | None = None
    arrange: str = "once"
    times: int = 1
    strands: int = 2
    own_rows: tuple[tuple[tuple[str, ...], int], ...] = ()

    def __post_init__(self) -> None:
        if not self.order:
            raise StripeError("no colours are in the order; put at least one yarn into it.")
        put = object.__setattr__
        put(self, "solid_rows", whole(self.solid_rows, "rows of a solid stripe", 1, MAX_ROWS))
        put(self, "blend_rows", whole(self.blend_rows, "rows of a blend stripe", 0, MAX_ROWS))
        put(self, "strands", whole(self.strands, "strands", 1, 4))
        put(self, "times", whole(self.times, "times", 1, 200))
        choice(self.change, "change", CHANGES)
        choice(self.arrange, "arrangement", ARRANGEMENTS)
        if self.carrier is not None and self.strands < 2:
            raise StripeError(
                "{carrier} cannot be carried through with one strand; hold at least 2 strands together.",
                carrier=self.carrier,
            )
        for names, rows in self.own_rows:
            whole(rows, "rows of " + " and ".join(names), 1, MAX_ROWS)

    def _rows(self, strands: tuple[str, ...]) -> int:
        own = {tuple(sorted(names)): rows for names, rows in self.own_rows}
        usual = self.solid_rows if len(set(strands)) == 1 else self.blend_rows
        if self.carrier is not None:
            # every stripe holds the carrier; a stripe between two colours is the blended one
            usual = self.solid_rows if len(set(strands) - {self.carrier}) <= 1 else self.blend_rows
        return own.get(tuple(sorted(strands)), usual)

    def expand(self) -> tuple[Stripe, ...]:
        """Return the stripes; Y different colours on S strands give S Y - (S - 1) of them.

        Examples
        --------
        >>> [s.strands for s in Sequence(order=("A", "B")).expand()]
        [('A', 'A'), ('A', 'B'), ('B', 'B')]
        >>> [s.strands for s in Sequence(order=("A", "B"), carrier="Z").expand()]
        [('Z', 'A'), ('Z', 'B')]
        """
        names = path(self.order, self.arrange, self.times)
        kept = () if self.carrier is None else (self.carrier,)
        free = self.strands - len(kept)
        stripes = [self._stripe((*kept, *(names[0],) * free))]
        for old, new in pairwise(names):
            if self.change == "one" and old != new and self.blend_rows:
                stripes += [self._stripe((*kept, *(old,) * (free - k), *(new,) * k)) for k in range(1, free)]
            stripes.append(self._stripe((*kept, *(new,) * free)))
        return tuple(stripes)

    def _stripe(self, strands: tuple[str, ...]) -> Stripe:
        return Stripe(strands=strands, rows=self._rows(strands))
