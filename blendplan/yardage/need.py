"""The need of one colour: its length and spread, what is on hand, and what to buy.

Whole skeins: exact counts against a need, and the chance that they run short.

Counting is exact: lengths are fractions, so n skeins against a need of exactly n are n.
The chance is in closed form: need and supply are taken as normal, with the spread of the need and the scatter from
skein to skein; where skeins are joined at row ends only, it is averaged over what their last rows lose.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from fractions import Fraction
from functools import cache, lru_cache
from statistics import NormalDist

import numpy as np

from blendplan.budgets import MAX_SKEINS
from blendplan.errors import QuantityError
from blendplan.units import Amount, exact, number
from blendplan.yardage.measured import Z90
from blendplan.yardage.settings import YardageSettings
from blendplan.yarn import PutUp, Yarn

NORMAL = NormalDist()


def skeins_to_buy(
    need_m: object, skein_m: object, *, on_hand_m: object = Fraction(0), margin: object = Fraction(0)
) -> int:
    """Return the least number of whole skeins that, with what is on hand, covers a need and a margin by hand.

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
    return max(0, math.ceil(lacking / skein))


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """Yarn of one colour that may be used: whole skeins, weighed part skeins, and how they scatter."""

    put_up: PutUp
    skeins: int  # whole skeins, on hand and bought together
    parts_g: tuple[Fraction, ...] = ()  # weighed part skeins, grams
    # Standard deviation of the length of a skein as a share of what the band says; also of the metres in a gram of a
    # part skein.
    scatter: float = 0.0
    scale_g: float = 1.0  # step of the kitchen scale that weighed the part skeins
    # Longest piece that one skein can lose by ending before a row does: a row of one strand, or 0 where it may be
    # joined anywhere.
    loss_m: float = 0.0
    tails_m: float = 0.0  # length that each join from skein to skein takes
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
    below = NORMAL.cdf((low * row - length) / sd)
    mean = square = 0.0
    for m in range(low, high + 1):
        above = NORMAL.cdf(((m + 1) * row - length) / sd)
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
    return NORMAL.cdf((need_m - mean) / math.sqrt(variance))


def chance_short(need_m: float, need_sd_m: float, supply: Supply) -> float:
    """Return the chance that a supply does not cover a need.

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
        return NORMAL.cdf((need_m - mean) / math.sqrt(variance))
    stretches = ((1 + node * need_sd_m / need_m, weight) for node, weight in normal_nodes())
    return min(1.0, sum(w * chance_given(k * need_m, supply, k) for k, w in stretches if k > 0))


@lru_cache(maxsize=4096)
def skeins_for_chance(need_m: float, need_sd_m: float, on_hand: Supply, chance: float) -> tuple[int, float]:
    """Return the least number of skeins to buy for a chance of running short, and the chance that remains.

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
        "more than {allowed} skeins of {given} would be needed; check the metres on the label and the size.",
        allowed=MAX_SKEINS,
        given=Amount(on_hand.put_up.length_m, "m", 2),
    )


def metres_exact(length_m: float) -> Fraction:
    """Return a computed length as a fraction, to the micrometre: below that it is dust of floating point."""
    return Fraction(round(length_m * 10**6), 10**6)


# A number of skeins is worth telling from where it may do, one in two hundred times, to where it all but always does.
HARDLY, SURELY = 0.995, 0.0005
# Below this no further skein is looked at.
NO_CHANCE = 1e-9

# Rows of one strand that a skein must give to be joined at row ends only: *chosen*, not found anywhere.
LEAST_ROWS_OF_A_SKEIN = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """What one colour takes, split by what makes it uncertain."""

    stitched_m: float  # metres that scale with tension
    fixed_m: float  # metres that do not: tails and fringe
    tails_m: float  # the tails among them
    spread: float  # half-width of the central 90 % range of `stitched_m` as a share of it
    row_m: float  # one row of one strand

    @property
    def need_m(self) -> float:
        """Mean need, metres."""
        return self.stitched_m + self.fixed_m

    @property
    def sd_m(self) -> float:
        """Standard deviation of the need, metres."""
        return self.stitched_m * self.spread / Z90


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """What is left of one colour and what is still to be worked of it, by the ledger."""

    after: float | None  # rows done at the last weighing of any colour; None where nothing was weighed
    weighed: bool  # false where this colour was not, and what is left is a guess
    left_g: float
    need_g: float  # expected, and the ends of the central 90 % range
    low_g: float
    high_g: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourNeed:
    """Yarn of one colour."""

    name: str
    need_m: float  # expected metres and the ends of the central 90 % range, tails included
    low_m: float
    high_m: float
    tails_m: float  # tails among the need
    on_hand_m: float  # whole skeins and weighed part skeins by the band; 0 where no band was given
    buy_skeins: int | None  # whole skeins to buy; None where no band was given
    chance_short: float | None  # chance that what is on hand and bought does not reach
    # Numbers of skeins that may be bought, fewest first, and the chance that each runs short; empty without a band.
    chances: tuple[tuple[int, float], ...]
    spare_m: float | None  # metres on hand and bought, less the need; below zero only where nothing may be bought
    need_g: float | None  # the need in grams, and the band
    skein_g: float | None
    skein_m: float | None
    # Whole skeins there, those of them that were bought since the shelf was looked through, and those to buy as it was
    # planned before.
    skeins_on_hand: int
    bought_skeins: int
    planned_skeins: int | None
    parts_g: tuple[float, ...]
    price: Fraction | None  # of the skeins to buy
    dye_lot: str
    # True where a row takes so much of a skein that skeins are joined within rows, though row ends were asked for.
    within_rows: bool
    # Where something was weighed; then `buy_skeins`, `chances`, `price` and `spare_m` are those from now on, while the
    # need stays that of the whole blanket.
    rest: Rest | None = None

    def to_json(self) -> dict[str, object]:
        """Return plain values for JSON; lengths in metres to the millimetre."""

        def short(value: float | None, digits: int) -> float | None:
            return None if value is None else round(value, digits)

        return {
            "name": self.name,
            "need_m": round(self.need_m, 3),
            "low_m": round(self.low_m, 3),
            "high_m": round(self.high_m, 3),
            "on_hand_m": round(self.on_hand_m, 3),
            "buy_skeins": self.buy_skeins,
            "chance_short": short(self.chance_short, 4),
            "chances": {str(skeins): round(chance, 4) for skeins, chance in self.chances},
            "tails_m": round(self.tails_m, 3),
            "spare_m": short(self.spare_m, 3),
            "need_g": short(self.need_g, 1),
            "skein_g": short(self.skein_g, 3),
            "skein_m": short(self.skein_m, 3),
            "skeins_on_hand": self.skeins_on_hand,
            "bought_skeins": self.bought_skeins,
            "price": None if self.price is None else float(self.price),
            "dye_lot": self.dye_lot,
            "rest": None
            if self.rest is None
            else {f.name: short(getattr(self.rest, f.name), 1) for f in fields(self.rest)},
        }


def joins_at_row_end(band: PutUp, row_m: float, settings: YardageSettings) -> bool:
    """Tell whether skeins are joined at row ends only.

    Where a row takes more than a quarter of a skein that would waste an eighth of the yarn and more, so such
    skeins are joined anywhere.
    """
    return settings.join_at == "row-end" and LEAST_ROWS_OF_A_SKEIN * row_m <= band.length_m


def supply_of(yarn: Yarn, band: PutUp, demand: Demand, settings: YardageSettings) -> Supply:
    """Return what is on hand of a yarn as a supply."""
    at_row_end = joins_at_row_end(band, demand.row_m, settings)
    return Supply(
        put_up=band,
        skeins=yarn.skeins_on_hand + settings.bought(yarn.name),
        parts_g=yarn.part_skeins_g,
        scatter=settings.skein_scatter,
        scale_g=settings.scale_g,
        loss_m=demand.row_m if at_row_end else 0.0,
        tails_m=2 * settings.tail_cm / 100,
    )


def colour_need(yarn: Yarn, demand: Demand, settings: YardageSettings) -> ColourNeed:
    """Return the need of one colour and the skeins to buy."""
    band = yarn.put_up
    low, high = (demand.stitched_m * (1 + sign * demand.spread) + demand.fixed_m for sign in (-1, 1))
    buy: int | None = None
    chances: tuple[tuple[int, float], ...] = ()
    chance = spare = grams = None
    on_hand = Fraction(0)
    within = False
    bought = settings.bought(yarn.name)
    if band is not None:
        supply = supply_of(yarn, band, demand, settings)
        on_hand = supply.nominal_m
        within = settings.join_at == "row-end" and supply.loss_m == 0
        if settings.margin is None:
            buy, chance = skeins_for_chance(demand.need_m, demand.sd_m, supply, settings.chance_short)
        else:
            buy = skeins_to_buy(metres_exact(demand.need_m), band.length_m, on_hand_m=on_hand, margin=settings.margin)
        if buy and settings.spare_skein:
            buy, chance = buy + 1, None
        chosen = dict(settings.skeins).get(yarn.name)
        buy = buy if chosen is None else max(0, chosen - bought)
        chances = _chances(demand.need_m, demand.sd_m, supply, buy)
        chance = dict(chances)[buy]
        spare = float(on_hand + buy * band.length_m) - demand.need_m
        grams = demand.need_m / float(band.m_per_g)
    lots = [lot.name for lot in yarn.lots if lot.skeins or lot.parts_g] + [
        p.lot for p in settings.purchases if p.yarn == yarn.name
    ]
    return ColourNeed(
        name=yarn.name,
        need_m=demand.need_m,
        low_m=low,
        high_m=high,
        tails_m=demand.tails_m,
        on_hand_m=float(on_hand),
        buy_skeins=buy,
        chance_short=chance,
        chances=chances,
        spare_m=spare,
        need_g=grams,
        skein_g=None if band is None else float(band.mass_g),
        skein_m=None if band is None else float(band.length_m),
        skeins_on_hand=yarn.skeins_on_hand + bought,
        bought_skeins=bought,
        planned_skeins=colour_need(yarn, demand, replace(settings, purchases=())).buy_skeins if bought else buy,
        parts_g=tuple(float(g) for g in yarn.part_skeins_g),
        price=None if yarn.price is None or buy is None else buy * yarn.price,
        dye_lot=", ".join(dict.fromkeys(lot for lot in lots if lot)),
        within_rows=within,
    )


@lru_cache(maxsize=4096)
def _chances(need_m: float, sd_m: float, supply: Supply, buy: int) -> tuple[tuple[int, float], ...]:
    """Return the chance of running short with the number to buy, and with fewer and more as far as they matter.

    Kept, since designs that are weighed against each other leave most colours as they are.
    """
    alone: dict[int, float] = {}
    # With two skeins fewer than the need by the band it is all but certain.
    bare = skeins_to_buy(metres_exact(need_m), supply.put_up.length_m, on_hand_m=supply.nominal_m)

    def short(bought: int) -> float:
        # Unopened skeins do no harm: the least chance over using some or all of them.
        least = 1.0
        for n in range(min(bought, max(0, bare - 1)), bought + 1):
            if n not in alone:
                alone[n] = chance_short(need_m, sd_m, replace(supply, skeins=supply.skeins + n))
            least = min(least, alone[n])
            if least < NO_CHANCE:
                break
        return least

    found = {buy: short(buy)}
    low = high = buy
    while low and found[low] < HARDLY and buy - low < 3:
        low -= 1
        found[low] = short(low)
    while found[high] > SURELY and high - buy < 2:
        high += 1
        found[high] = short(high)
    return tuple(sorted(found.items()))


def chance_any_short(
    yarns: Sequence[Yarn], demands: Sequence[Demand], colours: Sequence[ColourNeed], settings: YardageSettings
) -> float | None:
    """Return the chance that at least one colour with a band runs short; None where no colour has one.

    Tension is common to all colours, so their needs rise and fall together: the chance is the mean over tension of
    one minus the product of the single chances at that tension, by 61-point Gauss-Hermite quadrature.
    """
    supplies: list[tuple[Demand, Supply]] = []
    for yarn, demand, colour in zip(yarns, demands, colours, strict=True):
        if yarn.put_up is not None and colour.buy_skeins is not None:
            held = supply_of(yarn, yarn.put_up, demand, settings)
            supplies.append((demand, replace(held, skeins=held.skeins + colour.buy_skeins)))
    if not supplies:
        return None
    total = 0.0
    for node, weight in normal_nodes():
        enough = 1.0
        for demand, supply in supplies:
            stretch = max(0.01, 1 + node * demand.spread / Z90)
            enough *= 1 - chance_given(demand.stitched_m * stretch + demand.fixed_m, supply, stretch)
        total += weight * (1 - enough)
    return min(1.0, max(0.0, total))
