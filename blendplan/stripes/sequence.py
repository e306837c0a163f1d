"""From colours in an order to stripes: AA, AB, BB, BC, ..."""

from __future__ import annotations

from dataclasses import dataclass

from blendplan.errors import StripeError
from blendplan.stripes.model import MAX_ROWS, Stripe
from blendplan.units import whole

__all__ = ["Sequence"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sequence:
    """The rule that makes the stripes.

    Attributes
    ----------
    order : tuple of str
        Names of yarns in the order they appear.
    solid_rows, blend_rows : int
        Rows of a stripe of one colour, and of a blended one (0 leaves the blends out).
    """

    order: tuple[str, ...]
    solid_rows: int = 4
    blend_rows: int = 2

    def __post_init__(self) -> None:
        if not self.order:
            raise StripeError("no colours are in the order; put at least one yarn into it.")
        object.__setattr__(self, "solid_rows", whole(self.solid_rows, "rows of a solid stripe", 1, MAX_ROWS))
        object.__setattr__(self, "blend_rows", whole(self.blend_rows, "rows of a blend stripe", 0, MAX_ROWS))

    def expand(self) -> tuple[Stripe, ...]:
        """Return the stripes; Y different colours in a row give 2Y - 1 of them.

        Examples
        --------
        >>> [s.strands for s in Sequence(order=("A", "B")).expand()]
        [('A', 'A'), ('A', 'B'), ('B', 'B')]
        """
        stripes: list[Stripe] = []
        for i, name in enumerate(self.order):
            if i and self.blend_rows and name != self.order[i - 1]:
                stripes.append(Stripe(strands=(self.order[i - 1], name), rows=self.blend_rows))
            stripes.append(Stripe(strands=(name, name), rows=self.solid_rows))
        return tuple(stripes)
