"""At the shop: which lots lie there, which skein goes where, and what to buy where the first choice cannot be had."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from blendplan.colour import delta_e_2000
from blendplan.wording import Notice, note
from blendplan.yardage.length import Yardage
from blendplan.yardage.measured import Z90
from blendplan.yardage.need import ColourNeed, Demand, skeins_for_chance, supply_of
from blendplan.yardage.settings import YardageSettings
from blendplan.yardage.strands import BOUGHT, Ball, Strands
from blendplan.yarn import PutUp, Yarn

# Put-ups that most hand yarns are sold in, grams (assumed; of the four labels of the trade facts, section 1, none is).
USUAL_G = (50, 100)


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondChoice:
    """What to buy where the first choice is not to be had."""

    name: str  # the yarn to be bought
    # Another lot, where it takes more skeins than the one on hand; another put-up; another yarn.
    kind: Literal["lot", "put-up", "yarn"]
    skeins: int  # to buy then
    put_up: PutUp | None = None  # of another put-up of the same yarn
    other: str = ""  # the yarn of her shelf that comes nearest
    delta_e: float = 0.0  # CIEDE2000 to it


def second_choices(
    yardage: Yardage, strands: Strands, shelf: Sequence[Yarn], settings: YardageSettings
) -> tuple[SecondChoice, ...]:
    """Return the second choices of every colour that is to be bought."""
    used = {c.name: c for c in yardage.colours}
    known = {yarn.name: yarn for yarn in shelf}
    row_m = max(yardage.rows_m)
    out: list[SecondChoice] = []
    for name, need in used.items():
        yarn, buy = known[name], need.buy_skeins
        if not buy or yarn.put_up is None:
            continue
        if any(join.name == name for join in strands.meetings):
            out.append(SecondChoice(name=name, kind="lot", skeins=buy + 1))
        grams = Fraction(next(g for g in USUAL_G if g != yarn.put_up.mass_g))
        put_up = PutUp(mass_g=grams, length_m=grams * yarn.put_up.m_per_g)
        skeins = _skeins(need, yarn, put_up, row_m, settings)
        out.append(SecondChoice(name=name, kind="put-up", skeins=skeins, put_up=put_up))
        out.extend(_nearest(need, yarn, [y for y in shelf if y.name not in used], row_m, settings))
    return tuple(out)


def _skeins(need: ColourNeed, yarn: Yarn, put_up: PutUp, row_m: float, settings: YardageSettings) -> int:
    """Return the skeins of a put-up beside what lies there of the yarn by its own."""
    fixed, sd = need.tails_m, (need.high_m - need.low_m) / 2 / Z90
    demand = Demand(stitched_m=need.need_m - fixed, fixed_m=fixed, tails_m=fixed, spread=0.0, row_m=row_m)
    supply = supply_of(yarn, put_up, demand, settings)
    return skeins_for_chance(need.need_m, sd, supply, settings.chance_short)[0]


def _nearest(
    need: ColourNeed, yarn: Yarn, others: Sequence[Yarn], row_m: float, settings: YardageSettings
) -> list[SecondChoice]:
    """Return the nearest yarn of like thickness that no stripe uses."""
    alike = [y for y in others if y.put_up is not None and y.weight_class == yarn.weight_class]
    if not alike:
        return []
    apart = delta_e_2000(yarn.lab, [y.lab for y in alike])
    at = int(apart.argmin())
    other = alike[at]
    if other.put_up is None:
        return []
    skeins = _skeins(need, other, other.put_up, row_m, settings)
    return [SecondChoice(name=yarn.name, kind="yarn", skeins=skeins, other=other.name, delta_e=float(apart[at]))]


@dataclass(frozen=True, slots=True, kw_only=True)
class LotUse:
    """Skeins of one colour and one lot, and the stripes they go into."""

    name: str
    lot: str  # may be empty where none was told
    to_buy: bool  # true for what is to be bought; whether the shop has the lot on hand is not known
    opened_m: tuple[float, ...]  # metres of each, where they were opened before
    balls: tuple[int, ...]  # their numbers within the colour
    stripes: tuple[int, ...]  # as of a `Ball`; balls wound off them among these


def lot_uses(strands: Strands) -> tuple[LotUse, ...]:
    """Return the lots of each colour in the order of the skeins' numbers; balls wound off are left out."""
    found: dict[tuple[str, str, str], list[Ball]] = {}
    for ball in strands.balls:
        if ball.kind != "wound":
            found.setdefault((ball.name, ball.lot, ball.kind), []).append(ball)
    wound = {(r.name, r.new): (r.name, r.skein) for r in strands.rewinds}

    def stripes(balls: Sequence[Ball]) -> tuple[int, ...]:
        own = {(ball.name, ball.number) for ball in balls}
        for new, old in wound.items():
            own |= {new} if old in own else set()
        return tuple(sorted({n for ball in strands.balls if (ball.name, ball.number) in own for n in ball.stripes}))

    return tuple(
        LotUse(
            name=name,
            lot="" if lot == BOUGHT else lot,
            to_buy=kind == "new",
            opened_m=tuple(b.start_m for b in balls if kind == "part"),
            balls=tuple(b.number for b in balls),
            stripes=stripes(balls),
        )
        for (name, lot, kind), balls in found.items()
    )


def lot_notices(strands: Strands, yarns: Sequence[Yarn]) -> tuple[Notice, ...]:
    """Return what to heed about dye lots; what is true of all colours is said once.

    Makers' pages, read November 2026: one lot number for all skeins of a colour, keep the labels, and even yarn sold
    without lots varies.
    Lots follow each other at a change of stripes wherever they can; where they cannot, the row is told.
    """
    lots = {(ball.name, ball.lot) for ball in strands.balls if ball.stripes}
    several = Counter(name for name, _ in lots)
    out = []
    inside = {join.name for join in strands.meetings}
    mixed = [yarn.name for yarn in yarns if several[yarn.name] > 1 and yarn.name not in inside]
    if mixed:
        out.append(
            note(
                "Skeins of {names} may be of two dye lots: use them by their numbers, and the lots meet only where "
                "stripes change.",
                names=", ".join(mixed),
            )
        )
    for join in strands.meetings:
        out.append(
            note(
                "{name}: two dye lots meet inside stripe {stripe}, before row {row}; ask for the lot you have, or buy "
                "one skein more and work that stripe from it alone.",
                "warning",
                name=join.name,
                stripe=join.stripe,
                row=join.row,
            )
        )
    return tuple(out)
