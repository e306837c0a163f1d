"""Whole skeins: exact counts against a need, and the chance that they run short.

Counting is exact: lengths are fractions, so n skeins against a need of exactly n are n.
The chance is in closed form: need and supply are taken as normal, with the spread of the need and the scatter from
skein to skein; where skeins are joined at row ends only, it is averaged over what their last rows lose.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache, lru_cache

import numpy as np

from blendplan.errors import QuantityError
from blendplan.units import ceil_exact, exact, number
from blendplan.wording import Rounded
from blendplan.yarn import PutUp

__all__ = [
    "MAX_SKEINS",
    "Supply",
    "chance_given",
    "chance_short",
    "chance_with",
    "metres_exact",
    "normal_cdf",
    "normal_nodes",
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
        joined anywhere.
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
    # Mean and standard deviation of a whole skein, if there is one, and of each part skein, in metres: kept, since
    # fractions are slow and the same supply is asked for at many tensions.
    _kinds: tuple[tuple[float, float], ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        length, per_g = float(self.put_up.length_m), float(self.put_up.m_per_g)
        kinds = [(length, self.scatter * length)] * min(self.skeins, 1)
        for grams in map(float, self.parts_g):
            sd = math.hypot(self.scatter * grams * per_g, self.scale_g * per_g / math.sqrt(12))
            kinds.append((grams * per_g, sd))
        object.__setattr__(self, "_kinds", tuple(kinds))

    @property
    def nominal_m(self) -> Fraction:
        """Metres by the band and the scale, nothing lost."""
        return self.skeins * self.put_up.length_m + sum(self.parts_g, Fraction(0)) * self.put_up.m_per_g

    @property
    def pieces(self) -> int:
        """Separate skeins and part skeins."""
        return self.skeins + len(self.parts_g)

    def usable(self, stretch: float = 1.0) -> tuple[float, float]:
        """Return mean and variance of the usable metres, where rows take `stretch` times what is expected.

        Every piece but the last gives whole rows only, and each join takes `tails_m`.
        """
        if not self._kinds:
            return 0.0, 0.0
        row = self.loss_m * stretch
        (last, last_sd), *rest = self._kinds
        mean, variance = last, last_sd**2
        if self.skeins > 1:
            whole_mean, whole_variance = _whole_rows(last - self.tails_m, last_sd, row)
            mean += (self.skeins - 1) * whole_mean
            variance += (self.skeins - 1) * whole_variance
        for metres, sd in rest:
            part_mean, part_variance = _whole_rows(max(0.0, metres - self.tails_m), sd, row)
            mean, variance = mean + part_mean, variance + part_variance
        return mean, variance


@lru_cache(maxsize=4096)
def _whole_rows(length: float, sd: float, row: float) -> tuple[float, float]:
    """Return mean and variance of the whole rows, in metres, of a normal length; all of it where row is 0 or tiny."""
    # Below a thousandth of the skein what a row's end loses is nothing beside its scatter.
    if row <= max(length, sd) / 1000:
        return length, sd**2
    if sd == 0:
        return row * math.floor(length / row + 1e-9), 0.0
    low, high = math.floor((length - 5 * sd) / row), math.floor((length + 5 * sd) / row)
    below = normal_cdf((low * row - length) / sd)
    mean = square = 0.0
    for m in range(low, high + 1):
        above = normal_cdf(((m + 1) * row - length) / sd)
        metres = max(0, m) * row
        mean += (above - below) * metres
        square += (above - below) * metres**2
        below = above
    return mean, max(0.0, square - mean**2)


@cache
def normal_nodes() -> tuple[tuple[float, float], ...]:
    """Return nodes and weights that average over a standard normal (61-point Gauss-Hermite, tiny weights left out)."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(61)
    pairs = zip(nodes.tolist(), (weights / weights.sum()).tolist(), strict=True)
    return tuple((node, weight) for node, weight in pairs if weight > 1e-9)


def chance_given(need_m: float, supply: Supply, stretch: float) -> float:
    """Return the chance of running short where the need is known and rows take `stretch` times what is expected."""
    mean, variance = supply.usable(stretch)
    if variance == 0:
        return 0.0 if metres_exact(mean) >= metres_exact(need_m) else 1.0
    return normal_cdf((need_m - mean) / math.sqrt(variance))


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
    Joined anywhere: P(need > supply) = Phi((need - mean supply) / sqrt(need variance + supply variance)), need and
    supply independent and normal.
    At row ends only: the same for each value of the need, with supplies of whole rows of that tension (their mean
    and variance in closed form), averaged over the need by Gauss-Hermite quadrature. How much a skein loses depends
    on how many rows just fit, so an even loss would be off by up to 0.13 where a row is a sixth of a skein.
    """
    number(need_m, "metres needed", 0, 1e9)
    number(need_sd_m, "spread of the metres needed", 0, 1e9)
    if need_m == 0:
        return 0.0
    if supply.loss_m == 0 or need_sd_m == 0:
        mean, variance = supply.usable()
        variance += need_sd_m**2
        if variance == 0:
            return 0.0 if metres_exact(mean) >= metres_exact(need_m) else 1.0
        return normal_cdf((need_m - mean) / math.sqrt(variance))
    stretches = ((1 + node * need_sd_m / need_m, weight) for node, weight in normal_nodes())
    return min(1.0, sum(w * chance_given(k * need_m, supply, k) for k, w in stretches if k > 0))


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
        given=Rounded(f"{float(on_hand.put_up.length_m):g}"),
    )


def metres_exact(length_m: float) -> Fraction:
    """Return a computed length as a fraction, to the micrometre: below that it is dust of floating point."""
    return Fraction(round(length_m * 10**6), 10**6)
