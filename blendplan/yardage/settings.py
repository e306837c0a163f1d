"""What the maker may set about yarn used: tails, risk, measured rows, border, fringe."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from blendplan.errors import QuantityError
from blendplan.fabric.finish import Border
from blendplan.units import choice, exact, number, whole
from blendplan.yardage.measured import Measured

__all__ = ["Border", "Fringe", "YardageSettings"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fringe:
    """Strands knotted into the first and the last row, or tassels at the same places.

    Attributes
    ----------
    length_cm : float
        Finished length below the edge, 1 to 60.
    every_cm : float
        Distance of two knots along the straight row, 0.3 to 100.
    pieces : int
        Cut pieces folded into one knot, 1 to 40; each gives two hanging ends.
    knot_cm : float
        Extra of one piece for its knot and for trimming. The default is *assumed*.
    ends : {1, 2}
        2: along the first and the last row.
    strands : tuple of str
        Yarns that take turns piece by piece; empty takes those of the stripe at each end.
    """

    length_cm: float = 12.0
    every_cm: float = 2.5
    pieces: int = 4
    knot_cm: float = 5.0
    ends: int = 2
    strands: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        number(self.length_cm, "length of the fringe", 1, 60, "cm")
        number(self.every_cm, "distance of fringe knots", 0.3, 100, "cm")
        number(self.knot_cm, "extra for a fringe knot", 0, 30, "cm")
        object.__setattr__(self, "pieces", whole(self.pieces, "pieces in a fringe knot", 1, 40))
        object.__setattr__(self, "ends", whole(self.ends, "ends with a fringe", 1, 2))


@dataclass(frozen=True, slots=True, kw_only=True)
class YardageSettings:
    """Inputs of the estimate beside stripes, fabric and yarns.

    Attributes
    ----------
    tail_cm : float
        One end to weave in, 0 to 100. Makers' pages (read November 2026) advise 10 to 15.
    chance_short : float
        Accepted chance that one colour runs short, 0.0001 to 0.5; used where `margin` is None.
    margin : Fraction or None
        Extra by hand as a share of the need, 0 to 5; then skeins are counted exactly against need and margin.
    measured : tuple
        What the maker has weighed or measured; see `blendplan.yardage.measured`.
    swatch_m : float
        Metres of the strands counted once kept for a swatch, worked in the strands of the first stripe.
        0 as a rule: a swatch can be pulled out again.
    skein_scatter : float
        Standard deviation of the length of one skein as a share of the band's, 0 to 0.3. The default of 3 % is
        *assumed*: makers tell of equal balls that leave unequal rests, and nobody gives a figure.
    join_at : {"row-end", "anywhere"}
        Where a new skein may be joined. At row ends up to a row is lost from every skein but the last.
    spare_skein : bool
        True buys one skein more of every colour that is bought, for when its dye lot may be gone later.
    scale_g : float
        Step of the kitchen scale, 0.01 to 50.
    border : Border or None
    fringe : Fringe or None
    """

    tail_cm: float = 15.0
    chance_short: float = 0.05
    margin: Fraction | None = None
    measured: tuple[Measured, ...] = ()
    swatch_m: float = 0.0
    skein_scatter: float = 0.03
    join_at: Literal["row-end", "anywhere"] = "row-end"
    spare_skein: bool = False
    scale_g: float = 1.0
    border: Border | None = None
    fringe: Fringe | None = None

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "tail_cm", number(self.tail_cm, "length of a tail", 0, 100, "cm"))
        put(self, "chance_short", number(self.chance_short, "chance of running short", 0.0001, 0.5))
        if self.margin is not None:
            put(self, "margin", exact(self.margin, "margin"))
            number(self.margin, "margin", 0, 5)
        for item in self.measured:
            if not isinstance(item, Measured):
                raise QuantityError(
                    "{given} is not a measured piece; allowed are weighed rows, a swatch, a pulled stitch, an own "
                    "blanket.",
                    given=repr(item),
                )
        put(self, "measured", tuple(self.measured))
        put(self, "swatch_m", number(self.swatch_m, "metres for a swatch", 0, 1000, "m"))
        put(self, "skein_scatter", number(self.skein_scatter, "scatter of skeins", 0, 0.3))
        put(self, "scale_g", number(self.scale_g, "step of the scale", 0.01, 50, "g"))
        choice(self.join_at, "place of a join", ("row-end", "anywhere"))

    @property
    def names(self) -> frozenset[str]:
        """Yarns that border, fringe and measured pieces name, beside those of the stripes."""
        pieces = (self.border, self.fringe, *self.measured)
        return frozenset(name for piece in pieces for name in getattr(piece, "strands", ()))
