"""The shopping list as a CSV file that any spreadsheet opens right."""

from __future__ import annotations

from fractions import Fraction

from blendplan.outputs.cells import Cell, csv_bytes
from blendplan.units import GRAMS_PER_OUNCE, METRES_PER_YARD
from blendplan.wording import tr
from blendplan.yardage.length import Yardage
from blendplan.yardage.need import ColourNeed

__all__ = ["shopping_csv", "shopping_rows"]


def _rounded(value: float | Fraction | None, digits: int) -> Fraction | None:
    """Return a value to a number of decimals, halves away from zero as on a bill."""
    if value is None:
        return None
    scaled = (abs(Fraction(value)) * 10**digits * 2 + 1) // 2
    return Fraction(scaled if value > 0 else -scaled, 10**digits)


def _cells(need: ColourNeed, currency: str, shade: str) -> list[Cell]:
    def length(m: float | None) -> list[Cell]:
        return [_rounded(m, 1), None if m is None else _rounded(Fraction(m) / METRES_PER_YARD, 1)]

    def mass(g: float | None) -> list[Cell]:
        return [_rounded(g, 1), None if g is None else _rounded(Fraction(g) / GRAMS_PER_OUNCE, 2)]

    return [
        need.name,
        shade,
        need.buy_skeins,
        *length(need.skein_m),
        *mass(need.skein_g),
        *length(need.need_m),
        *length(need.low_m),
        *length(need.high_m),
        *mass(need.need_g),
        need.skeins_on_hand,
        _rounded(sum(need.parts_g), 1) if need.parts_g else None,
        *length(need.on_hand_m),
        *length(need.spare_m),
        None if need.chance_short is None else _rounded(100 * need.chance_short, 1),
        _rounded(need.price, 2),
        currency if need.price is not None else "",
        need.dye_lot,
        "",
    ]


def shopping_rows(
    yardage: Yardage,
    *,
    currency: str = "",
    shades: dict[str, str] | None = None,
    lang: str = "en",
) -> list[list[Cell]]:
    """Return the cells of the shopping list: a heading, one row for each colour, and the total where prices are known.

    Parameters
    ----------
    yardage : Yardage
    currency : str
        Written beside prices as it stands.
    shades : dict of str to str, optional
        `#rrggbb` of each colour by name.
    lang : str
    """
    heading = [
        tr("colour", lang),
        tr("shade", lang),
        tr("skeins to buy", lang),
        tr("skein m", lang),
        tr("skein yd", lang),
        tr("skein g", lang),
        tr("skein oz", lang),
        tr("needed m", lang),
        tr("needed yd", lang),
        tr("at least m", lang),
        tr("at least yd", lang),
        tr("at most m", lang),
        tr("at most yd", lang),
        tr("needed g", lang),
        tr("needed oz", lang),
        tr("skeins on hand", lang),
        tr("part skeins g", lang),
        tr("on hand m", lang),
        tr("on hand yd", lang),
        tr("spare m", lang),
        tr("spare yd", lang),
        tr("chance short %", lang),
        tr("price", lang),
        tr("currency", lang),
        tr("dye lot on hand", lang),
        tr("dye lot bought", lang),
    ]
    rows: list[list[Cell]] = [_cells(c, currency, (shades or {}).get(c.name, "")) for c in yardage.colours]
    if yardage.total_price is not None:
        total: list[Cell] = [""] * len(heading)
        total[0] = tr("total", lang)
        total[2] = sum(c.buy_skeins or 0 for c in yardage.colours)
        total[-4] = _rounded(yardage.total_price, 2)
        total[-3] = currency
        rows.append(total)
    return [[*heading], *rows]


def shopping_csv(
    yardage: Yardage,
    *,
    currency: str = "",
    shades: dict[str, str] | None = None,
    semicolon: bool = False,
    lang: str = "en",
) -> bytes:
    """Return the shopping list as CSV bytes (`cells.csv_bytes`).

    Parameters
    ----------
    yardage : Yardage
    currency : str
    shades : dict of str to str, optional
    semicolon : bool
        True separates by semicolons and writes decimal commas, as spreadsheets of much of Europe read it.
    lang : str
    """
    heading, *rows = shopping_rows(yardage, currency=currency, shades=shades, lang=lang)
    return csv_bytes([str(cell) for cell in heading], rows, semicolon=semicolon)
