"""Dye lots: what must come from one lot, where to alternate if lots differ, and when to take one skein more."""

from __future__ import annotations

from collections.abc import Sequence

from blendplan.stripes.model import Stripe
from blendplan.wording import Notice, note, rounded
from blendplan.yardage.length import Yardage
from blendplan.yardage.settings import YardageSettings

__all__ = ["dye_lot_notices"]


def dye_lot_notices(
    yardage: Yardage, stripes: Sequence[Stripe], settings: YardageSettings | None = None
) -> tuple[Notice, ...]:
    """Return what to heed about dye lots, colour by colour.

    Parameters
    ----------
    yardage : Yardage
    stripes : sequence of Stripe
    settings : YardageSettings, optional

    Notes
    -----
    Makers' pages, read November 2026: one lot number for all skeins of a colour, keep the bands, alternate two rows
    from each ball where lots differ, and even yarn sold without lots varies.
    With two strands held together a difference hides best with one strand of each lot held throughout.
    """
    settings = settings or YardageSettings()
    out: list[Notice] = []
    for colour in yardage.colours:
        bought = colour.buy_skeins or 0
        held = colour.skeins_on_hand + len(colour.parts_g)
        if bought + held < 2 or not bought:
            continue
        solid = [str(i) for i, s in enumerate(stripes, 1) if s.strands.count(colour.name) > 1]
        mixed = [str(i) for i, s in enumerate(stripes, 1) if s.strands.count(colour.name) == 1]
        if held:
            out.append(
                note(
                    "{name}: look for dye lot {lot}, which you have, when you buy.",
                    name=colour.name,
                    lot=colour.dye_lot,
                )
                if colour.dye_lot
                else note(
                    "{name}: read the dye lot on the band you have, and look for it when you buy.", name=colour.name
                )
            )
        elif bought == 2:
            out.append(note("{name}: take both skeins from one dye lot and keep the bands.", name=colour.name))
        elif bought > 1:
            out.append(
                note(
                    "{name}: take all {count} skeins from one dye lot and keep the bands.",
                    name=colour.name,
                    count=bought,
                )
            )
        if solid:
            out.append(
                note(
                    "{name}: if lots differ, hold one strand of each lot together in stripe {solid}.",
                    name=colour.name,
                    solid=solid[0],
                )
                if len(solid) == 1
                else note(
                    "{name}: if lots differ, hold one strand of each lot together in stripes {solid}.",
                    name=colour.name,
                    solid=", ".join(solid),
                )
            )
        if mixed:
            out.append(
                note(
                    "{name}: if lots differ, change between them every two rows in stripe {mixed}.",
                    name=colour.name,
                    mixed=mixed[0],
                )
                if len(mixed) == 1
                else note(
                    "{name}: if lots differ, change between them every two rows in stripes {mixed}.",
                    name=colour.name,
                    mixed=", ".join(mixed),
                )
            )
        if not settings.spare_skein:
            out.append(
                note(
                    "{name}: take one skein more if its lot may be gone later; without it the chance of running "
                    "short is {chance} %.",
                    name=colour.name,
                    chance=rounded(100 * (colour.chance_short or 0), 1),
                )
            )
    return tuple(out)
