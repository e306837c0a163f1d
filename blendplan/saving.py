"""What would save skeins: changes of a design, each a whole design that can be taken and looked at."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, Literal

from blendplan.blanket import Blanket, Design
from blendplan.colour import delta_e_2000
from blendplan.errors import BlendplanError
from blendplan.reckon import Reckoned, reckon
from blendplan.units import Amount
from blendplan.wording import Notice, note
from blendplan.yardage.measured import WEIGHED_SPREAD, Z90
from blendplan.yardage.need import Demand, skeins_for_chance, supply_of

MOST_SAVINGS = 5
Kind = Literal["rows", "repeat", "colour", "weigh", "join"]
# Rows that a stripe may lose before it is another blanket, and how many designs are tried for other colours (both
# chosen: a list is shown at once, and each try is an estimate of a few milliseconds).
MOST_ROWS_LESS, MOST_TRIES, MOST_KINDS = 3, 60, 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Saving:
    """A change that needs fewer skeins."""

    kind: Kind
    design: Design  # the whole design with the change; for `weigh` the one in hand, since only knowledge changes
    skeins: int  # fewer to buy; for `weigh` as many as it may be
    price: Fraction | None  # saved, where the prices of those yarns are known
    by: tuple[tuple[str, int], ...]  # fewer skeins of each yarn by name; below zero where one more is needed
    said: Notice

    def say(self, lang: str = "en", units: str = "metric") -> str:
        """Return the saving as a sentence."""
        fewer = note("1 skein fewer") if self.skeins == 1 else note("{n} skeins fewer", n=self.skeins)
        if self.kind == "weigh":
            fewer = (
                note("it may be 1 skein fewer")
                if self.skeins == 1
                else note("it may be {n} skeins fewer", n=self.skeins)
            )
        return note("{change}: {fewer}", change=self.said, fewer=fewer).say(lang, units)

    def to_json(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {
            "kind": self.kind,
            "skeins": self.skeins,
            "price": None if self.price is None else float(self.price),
            "colours": dict(self.by),
            "text": self.say(),
        }


def savings(blanket: Blanket) -> tuple[Saving, ...]:
    """Return up to five changes that save skeins, those that save most first, one of each kind."""
    if blanket.making.rows_done:
        # What is worked cannot be saved any more; the ways out of the ledger look at what is ahead.
        return ()
    now = reckon(blanket)
    if not any(colour.buy_skeins for colour in now.yardage.colours):
        return ()
    # Each try looks at all yarns that are there: a shelf may hold thousands.
    used = {yarn.key for yarn in now.yarns}
    yarns = tuple(yarn for yarn in blanket.yarns if yarn.key in used)
    blanket = replace(blanket, materials=replace(blanket.materials, yarns=yarns), variants=())
    found = [
        *_fewer_rows(blanket, now),
        *_repeat_less(blanket, now),
        *_joined_anywhere(blanket, now),
        *_weighed(blanket, now),
        *_other_colour(blanket, now),
    ]
    return tuple(sorted(found, key=lambda saving: -saving.skeins)[:MOST_SAVINGS])


def _bought(made: Reckoned) -> int:
    return sum(colour.buy_skeins or 0 for colour in made.yardage.colours)


def _try(blanket: Blanket, design: Design) -> Reckoned | None:
    """Return what another design comes to, or None where it cannot be worked."""
    try:
        return reckon(replace(blanket, design=design))
    except BlendplanError:
        return None


def _by(now: Reckoned, then: Reckoned | None) -> dict[str, int]:
    """Return how many skeins fewer of each yarn another design takes; nothing where it cannot be worked."""
    if then is None:
        return {}
    after = {c.name: c.buy_skeins or 0 for c in then.yardage.colours}
    before = {c.name: c.buy_skeins or 0 for c in now.yardage.colours}
    return {name: before.get(name, 0) - after.get(name, 0) for name in {**before, **after}}


def _of(kind: Kind, blanket: Blanket, design: Design, by: dict[str, int], said: Notice) -> list[Saving]:
    """Return the saving of a design; nothing where it saves nothing."""
    skeins = sum(by.values())
    if skeins <= 0:
        return []
    prices = {yarn.name: yarn.price for yarn in blanket.yarns}
    paid = [(prices.get(name), n) for name, n in by.items() if n]
    known = all(price is not None for price, _ in paid)
    return [
        Saving(
            kind=kind,
            design=design,
            skeins=skeins,
            price=sum((n * price for price, n in paid if price is not None), Fraction(0)) if known else None,
            by=tuple((name, n) for name, n in by.items() if n),
            said=said,
        )
    ]


def _fewer_rows(blanket: Blanket, now: Reckoned) -> list[Saving]:
    """Return the fewest rows off stripes that save skeins, off as few kinds of stripes as give the same."""
    best: tuple[int, list[Saving]] = (0, [])
    for less in range(1, MOST_ROWS_LESS + 1):
        kinds = {s.strands for s in now.stripes if not s.locked and s.rows > less}
        made, design = _shortened(blanket, now, kinds, less) if kinds else (None, blanket.design)
        if made is None or _bought(made) >= _bought(now) - best[0]:
            continue
        for kind in sorted(kinds) if len(kinds) <= MOST_KINDS // _size(now) else ():
            fewer = kinds - {kind}
            tried, other = _shortened(blanket, now, fewer, less)
            if fewer and tried is not None and _bought(tried) <= _bought(made):
                kinds, made, design = fewer, tried, other
        found = _of(
            "rows", blanket, design, _by(now, made), _rows_said(less, _numbers(now, kinds, less), made.size.height_cm)
        )
        if found and found[0].skeins > best[0]:
            best = (found[0].skeins, found)
        if best[0] and less >= 2:
            break
    return best[1]


def _shortened(
    blanket: Blanket, now: Reckoned, kinds: set[tuple[str, ...]], less: int
) -> tuple[Reckoned | None, Design]:
    stripes = [
        replace(s, rows=s.rows - less) if s.strands in kinds and not s.locked and s.rows > less else s
        for s in now.stripes
    ]
    design = blanket.by_hand(stripes)
    return _try(blanket, design), design


def _size(now: Reckoned) -> int:
    """Return how many times as long as of a usual blanket one try takes."""
    return 1 + len(now.stripes) // 50


def _numbers(now: Reckoned, kinds: set[tuple[str, ...]], less: int) -> list[str]:
    return [str(i) for i, s in enumerate(now.stripes, 1) if s.strands in kinds and not s.locked and s.rows > less]


def _rows_said(less: int, stripes: Sequence[str], length_cm: float) -> Notice:
    named, long = ", ".join(stripes) if len(stripes) <= 8 else "", Amount(length_cm, "cm")
    if len(stripes) == 1:
        return (
            note("{rows} rows fewer in stripe {stripe}, {length} long", rows=less, stripe=named, length=long)
            if less > 1
            else note("One row fewer in stripe {stripe}, {length} long", stripe=named, length=long)
        )
    if not named:
        return (
            note("{rows} rows fewer in each of {n} stripes, {length} long", rows=less, n=len(stripes), length=long)
            if less > 1
            else note("One row fewer in each of {n} stripes, {length} long", n=len(stripes), length=long)
        )
    return (
        note("{rows} rows fewer in each of stripes {stripes}, {length} long", rows=less, stripes=named, length=long)
        if less > 1
        else note("One row fewer in each of stripes {stripes}, {length} long", stripes=named, length=long)
    )


def _repeat_less(blanket: Blanket, now: Reckoned) -> list[Saving]:
    repeats = now.worked.ripple.repeats
    if repeats < 2:
        return []
    design = replace(blanket.design, repeats=repeats - 1)
    then = _try(blanket, design)
    if then is None:
        return []
    said = note("One repeat fewer, {width} wide", width=Amount(then.size.width_cm, "cm"))
    return _of("repeat", blanket, design, _by(now, then), said)


def _joined_anywhere(blanket: Blanket, now: Reckoned) -> list[Saving]:
    if blanket.design.join_at == "anywhere":
        return []
    design = replace(blanket.design, join_at="anywhere")
    said = note("New balls joined within rows, not only at their ends")
    return _of("join", blanket, design, _by(now, _try(blanket, design)), said)


def _weighed(blanket: Blanket, now: Reckoned) -> list[Saving]:
    """Return what weighed rows may save, if they bear the usual figures out."""
    if now.yardage.relative_spread <= WEIGHED_SPREAD:
        return []
    known = {yarn.name: yarn for yarn in now.yarns}
    row_m = max(now.yardage.rows_m)
    by = {}
    for colour in now.yardage.colours:
        band = known[colour.name].put_up
        if band is None or not colour.buy_skeins:
            continue
        demand = Demand(stitched_m=colour.need_m, fixed_m=0, tails_m=0, spread=WEIGHED_SPREAD, row_m=row_m)
        supply = supply_of(known[colour.name], band, demand, now.settings)
        skeins, _ = skeins_for_chance(
            colour.need_m, colour.need_m * WEIGHED_SPREAD / Z90, supply, now.settings.chance_short
        )
        by[colour.name] = colour.buy_skeins - skeins
    said = note("Weigh some rows of a swatch before buying")
    return _of("weigh", blanket, blanket.design, {name: n for name, n in by.items() if n > 0}, said)


def _tries(now: Reckoned) -> Iterable[tuple[int, str, str, float]]:
    """Return exchanges of a colour in one stripe for another in use, the nearest first."""
    names = [yarn.name for yarn in now.yarns]
    labs = [yarn.lab for yarn in now.yarns]
    table = delta_e_2000([[lab] for lab in labs], [labs]).tolist()
    apart = {name: dict(zip(names, row, strict=True)) for name, row in zip(names, table, strict=True)}
    scarce = {c.name for c in now.yardage.colours if c.buy_skeins}
    found = [
        (at, old, new, apart[old][new])
        for at, stripe in enumerate(now.stripes)
        if not stripe.locked
        for old in dict.fromkeys(stripe.strands)
        if old in scarce
        for new in names
        if new not in stripe.strands
    ]
    # Each try of a very long blanket takes long.
    return sorted(found, key=lambda one: (one[3], one[0]))[: MOST_TRIES // _size(now)]


def _other_colour(blanket: Blanket, now: Reckoned) -> list[Saving]:
    """Return the exchange of one colour in one stripe that saves most, the nearest colour among equals."""
    best: list[Saving] = []
    for at, old, new, _ in _tries(now):
        stripes = list(now.stripes)
        stripes[at] = replace(stripes[at], strands=tuple(new if n == old else n for n in stripes[at].strands))
        design = blanket.by_hand(stripes)
        said = note("{new} instead of {old} in stripe {stripe}", new=new, old=old, stripe=at + 1)
        found = _of("colour", blanket, design, _by(now, _try(blanket, design)), said)
        if found and (not best or found[0].skeins > best[0].skeins):
            best = found
    return best
