"""The need of one colour: its length and spread, what is on hand, and what to buy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from blendplan.wording import Notice, Rounded, note, rounded
from blendplan.yardage.models import Z90
from blendplan.yardage.settings import YardageSettings
from blendplan.yardage.skeins import (
    Supply,
    chance_given,
    chance_with,
    metres_exact,
    normal_nodes,
    skeins_for_chance,
    skeins_to_buy,
)
from blendplan.yarn import PutUp, Yarn

__all__ = ["ColourNeed", "Demand", "chance_any_short", "colour_need", "joins_at_row_end", "supply_of"]

# Rows of one strand that a skein must give to be joined at row ends only: *chosen*, not found anywhere.
LEAST_ROWS_OF_A_SKEIN = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """What one colour takes, split by what makes it uncertain.

    Attributes
    ----------
    stitched_m : float
        Metres that scale with tension.
    fixed_m : float
        Metres that do not: tails and fringe.
    tails_m : float
        The tails among them.
    spread : float
        Half-width of the central 90 % range of `stitched_m` as a share of it.
    row_m : float
        One row of one strand.
    """

    stitched_m: float
    fixed_m: float
    tails_m: float
    spread: float
    row_m: float

    @property
    def need_m(self) -> float:
        """Mean need, metres."""
        return self.stitched_m + self.fixed_m

    @property
    def sd_m(self) -> float:
        """Standard deviation of the need, metres."""
        return self.stitched_m * self.spread / Z90


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourNeed:
    """Yarn of one colour.

    Attributes
    ----------
    name : str
    need_m, low_m, high_m : float
        Expected metres and the ends of the central 90 % range, tails included.
    tails_m : float
        Tails among the need.
    on_hand_m : float
        Whole skeins and weighed part skeins by the band; 0 where no band was given.
    buy_skeins : int or None
        Whole skeins to buy; None where no band was given.
    chance_short : float or None
        Chance that what is on hand and bought does not reach.
    spare_m : float or None
        Metres on hand and bought, less the need; below zero only where nothing may be bought.
    need_g, skein_g, skein_m : float or None
        The need in grams, and the band.
    skeins_on_hand : int
    parts_g : tuple of float
    price : Fraction or None
        Of the skeins to buy.
    dye_lot : str
    notices : tuple of Notice
    """

    name: str
    need_m: float
    low_m: float
    high_m: float
    tails_m: float
    on_hand_m: float
    buy_skeins: int | None
    chance_short: float | None
    spare_m: float | None
    need_g: float | None
    skein_g: float | None
    skein_m: float | None
    skeins_on_hand: int
    parts_g: tuple[float, ...]
    price: Fraction | None
    dye_lot: str
    notices: tuple[Notice, ...]

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
            "tails_m": round(self.tails_m, 3),
            "spare_m": short(self.spare_m, 3),
            "need_g": short(self.need_g, 1),
            "skein_g": short(self.skein_g, 3),
            "skein_m": short(self.skein_m, 3),
            "skeins_on_hand": self.skeins_on_hand,
            "price": None if self.price is None else float(self.price),
            "dye_lot": self.dye_lot,
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
        skeins=yarn.skeins_on_hand,
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
    notices: list[Notice] = []
    buy: int | None = None
    chance = spare = grams = None
    on_hand = Fraction(0)
    if band is None:
        notices.append(
            note(
                "{name} has no grams and metres, so its skeins cannot be counted; take them from its band.",
                "warning",
                name=yarn.name,
            )
        )
    else:
        supply = supply_of(yarn, band, demand, settings)
        on_hand = supply.nominal_m
        if settings.margin is None:
            buy, chance = skeins_for_chance(demand.need_m, demand.sd_m, supply, settings.chance_short)
        else:
            buy = skeins_to_buy(metres_exact(demand.need_m), band.length_m, on_hand_m=on_hand, margin=settings.margin)
        if buy and settings.spare_skein:
            buy, chance = buy + 1, None
        if chance is None:
            chance = chance_with(demand.need_m, demand.sd_m, supply, buy)
        spare = float(on_hand + buy * band.length_m) - demand.need_m
        grams = demand.need_m / float(band.m_per_g)
        if settings.join_at == "row-end" and supply.loss_m == 0:
            notices.append(
                note(
                    "A row takes {row} m of each strand and a skein of {name} has {skein} m, so its skeins are joined "
                    "within rows, not only at their ends.",
                    "assumed",
                    row=rounded(demand.row_m, 1),
                    name=yarn.name,
                    skein=Rounded(f"{float(band.length_m):g}"),
                )
            )
    return ColourNeed(
        name=yarn.name,
        need_m=demand.need_m,
        low_m=low,
        high_m=high,
        tails_m=demand.tails_m,
        on_hand_m=float(on_hand),
        buy_skeins=buy,
        chance_short=chance,
        spare_m=spare,
        need_g=grams,
        skein_g=None if band is None else float(band.mass_g),
        skein_m=None if band is None else float(band.length_m),
        skeins_on_hand=yarn.skeins_on_hand,
        parts_g=tuple(float(g) for g in yarn.part_skeins_g),
        price=None if yarn.price is None or buy is None else buy * yarn.price,
        dye_lot=yarn.dye_lot,
        notices=tuple(notices),
    )


def chance_any_short(
    yarns: Sequence[Yarn], demands: Sequence[Demand], colours: Sequence[ColourNeed], settings: YardageSettings
) -> float | None:
    """Return the chance that at least one colour with a band runs short; None where no colour has one.

    Notes
    -----
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
