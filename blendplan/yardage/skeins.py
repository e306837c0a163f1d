"""Whole skeins: exact counts against a need, and the chance that they run short.

Counting is exact: lengths are fractions, so n skeins against a need of exactly n are n.
The chance is in closed form: need and supply are taken as normal, with the spread of the need, the scatter from
skein to skein, and what is lost where a skein ends before a row does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction

from blendplan.errors import QuantityError
from blendplan.units import ceil_exact, exact, number
from blendplan.yarn import PutUp

__all__ = [
    "MAX_SKEINS",
    "Supply",
    "chance_short",
    "chance_with",
    "metres_exact",
    "normal_cdf",
    "skeins_for_chance",
    "skeins_to_buy",
]

MAX_SKEINS = 10_000


def normal_cdf(z: float) -> float:
    """Return the standard normal distribution function.

    Examples
    --------
    >>> round(normal_cdf(1.6448536), 6)
    0.95
    """
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def skeins_to_buy(
    need_m: object, skein_m: object, *, on_hand_m: object = Fraction(0), margin: object = Fraction(0)
) -> int:
    """Return the least number of whole skeins that, with what is on hand, covers a need and a margin by hand.

    Parameters
    ----------
    need_m, skein_m, on_hand_m : int, float, Fraction, Decimal or decimal text
        Metres; the need and what is on hand 0 or more, a skein above 0. Taken as exactly what they say.
    margin : like them
        Extra as a share of the need, 0 to 5.

    Raises
    ------
    QuantityError
        If a number is missing, not finite or out of range.

    Examples
    --------
    >>> skeins_to_buy("0.3", "0.1"), skeins_to_buy(500, 125, margin="0.1"), skeins_to_buy(100, 50, on_hand_m=120)
    (3, 5, 0)
    """
    need, skein = exact(need_m, "metres needed"), exact(skein_m, "metres per skein")
    held, extra = exact(on_hand_m, "metres on hand"), exact(margin, "margin")
    number(need, "metres needed", 0, 1e9)
    number(skein, "metres per skein", 0.01, 50_000)
    number(held, "metres on hand", 0, 1e9)
    number(extra, "margin", 0, 5)
    lacking = need * (1 + extra) - held
    return max(0, ceil_exact(lacking / skein))


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """Yarn of one colour that may be used: whole skeins, weighed part skeins, and how they scatter.

    Attributes
    ----------
    put_up : PutUp
    skeins : int
        Whole skeins, on hand and bought together.
    parts_g : tuple of Fraction
        Weighed part skeins, grams.
    scatter : float
        Standard deviation of the length of a skein as a share of what the band says; also of the metres in a gram
        of a part skein.
    scale_g : float
        Step of the kitchen scale that weighed the part skeins.
    loss_m : float
        Longest piece that one skein can lose by ending before a row does: a row of one strand, or 0 where it may be
        joined anywhere. The loss of a skein is even between 0 and this.
    tails_m : float
        Length that each join from skein to skein takes.
    """

    put_up: PutUp
    skeins: int
    parts_g: tuple[Fraction, ...] = ()
    scatter: float = 0.0
    scale_g: float = 1.0
    loss_m: float = 0.0
    tails_m: float = 0.0

    @property
    def nominal_m(self) -> Fraction:
        """Metres by the band and the scale, nothing lost."""
        return self.skeins * self.put_up.length_m + sum(self.parts_g, Fraction(0)) * self.put_up.m_per_g

    @property
    def pieces(self) -> int:
        """Separate skeins and part skeins."""
        return self.skeins + len(self.parts_g)

    @property
    def mean_m(self) -> float:
        """Mean usable metres: each piece but the last loses half of `loss_m` and two tails' worth at its join."""
        length, per_g = float(self.put_up.length_m), float(self.put_up.m_per_g)
        nominal = self.skeins * length + math.fsum(map(float, self.parts_g)) * per_g
        return nominal - max(0, self.pieces - 1) * (min(self.loss_m, length) / 2 + self.tails_m)

    @property
    def variance(self) -> float:
        """Variance of the usable metres, square metres."""
        length, per_g = float(self.put_up.length_m), float(self.put_up.m_per_g)
        total = self.skeins * (self.scatter * length) ** 2
        for grams in self.parts_g:
            total += (self.scatter * float(grams) * per_g) ** 2 + (self.scale_g * per_g) ** 2 / 12
        return total + max(0, self.pieces - 1) * min(self.loss_m, length) ** 2 / 12


def chance_short(need_m: float, need_sd_m: float, supply: Supply) -> float:
    """Return the chance that a supply does not cover a need.

    Parameters
    ----------
    need_m : float
        Mean need, metres, 0 or more.
    need_sd_m : float
        Standard deviation of the need, metres, 0 or more.
    supply : Supply

    Returns
    -------
    float
        0 to 1. With no scatter anywhere it is 0 where the supply covers the need (exactly) and 1 where not.

    Notes
    -----
    P(need > supply) = Phi((need - mean supply) / sqrt(need variance + supply variance)), with need and supply
    independent and normal; the loss at a row's end is even between 0 and `loss_m`, so it adds loss_m^2 / 12.
    """
    number(need_m, "metres needed", 0, 1e9)
    number(need_sd_m, "spread of the metres needed", 0, 1e9)
    if need_m == 0:
        return 0.0
    variance = need_sd_m**2 + supply.variance
    if variance == 0:
        return 0.0 if metres_exact(supply.mean_m) >= metres_exact(need_m) else 1.0
    return normal_cdf((need_m - supply.mean_m) / math.sqrt(variance))


def chance_with(need_m: float, need_sd_m: float, on_hand: Supply, bought: int) -> float:
    """Return the chance of running short with a number of skeins bought on top of what is on hand.

    Unopened skeins do no harm: the least chance over using some or all of those bought is returned, so buying more
    never raises it.
    """
    return min(chance_short(need_m, need_sd_m, replace(on_hand, skeins=on_hand.skeins + n)) for n in range(bought + 1))


def skeins_for_chance(need_m: float, need_sd_m: float, on_hand: Supply, chance: float) -> tuple[int, float]:
    """Return the least number of skeins to buy for a chance of running short, and the chance that remains.

    Parameters
    ----------
    need_m, need_sd_m : float
        Mean and standard deviation of the need, metres.
    on_hand : Supply
        What is there already; bought skeins are like its whole skeins.
    chance : float
        Greatest chance accepted, 0.0001 to 0.5.

    Raises
    ------
    QuantityError
        If a number is out of range, or more than `MAX_SKEINS` would be needed.

    Examples
    --------
    >>> band = PutUp(mass_g=100, length_m=100)
    >>> skeins_for_chance(500.0, 0.0, Supply(put_up=band, skeins=2), 0.05)
    (3, 0.0)
    """
    number(chance, "chance of running short", 0.0001, 0.5)
    # With fewer skeins than the need by the band the chance is over a half.
    bare = skeins_to_buy(metres_exact(need_m), on_hand.put_up.length_m, on_hand_m=on_hand.nominal_m)
    for bought in range(bare, MAX_SKEINS + 1):
        left = chance_short(need_m, need_sd_m, replace(on_hand, skeins=on_hand.skeins + bought))
        if left <= chance:
            return bought, left
    raise QuantityError(
        "more than {allowed} skeins of {given} m would be needed; check the metres on the band and the size.",
        allowed=MAX_SKEINS,
        given=f"{float(on_hand.put_up.length_m):g}",
    )


def metres_exact(length_m: float) -> Fraction:
    """Return a computed length as a fraction, to the micrometre: below that it is dust of floating point."""
    return Fraction(round(length_m * 10**6), 10**6)
