"""The shopping list as a CSV file that any spreadsheet opens right."""

from __future__ import annotations

import csv
import io
from fractions import Fraction

from blendplan.units import GRAMS_PER_OUNCE, METRES_PER_YARD
from blendplan.wording import tr
from blendplan.yardage.length import Yardage
from blendplan.yardage.need import ColourNeed

__all__ = ["safe_cell", "shopping_csv", "shopping_rows"]

# A cell that begins with one of these is run as a formula by spreadsheets (OWASP, CSV Injection, read Nov 2026 from
# memory: = + - @ tab and carriage return; the full-width forms are taken alike by some).
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def safe_cell(text: str) -> str:
    """Return a text that a spreadsheet shows and does not run: an apostrophe goes before a formula sign.

    Examples
    --------
    >>> safe_cell("=1+1"), safe_cell("Fern, dark")
    ("'=1+1", 'Fern, dark')
    """
    return "'" + text if text.lstrip().startswith(_FORMULA) or text.startswith(_FORMULA) else text


def _figure(value: float | Fraction | None, digits: int, comma: bool) -> str:
    if value is None:
        return ""
    # Exact values are rounded half up as on a bill; floats as Python does.
    if isinstance(value, Fraction):
        scaled = (abs(value) * 10**digits * 2 + 1) // 2
        sign = "-" if value < 0 and scaled else ""
        text = f"{sign}{scaled // 10**digits}.{scaled % 10**digits:0{digits}d}" if digits else f"{sign}{scaled}"
    else:
        text = f"{value:.{digits}f}"
        text = text.removeprefix("-") if not text.strip("-0.") else text
    return text.replace(".", ",") if comma else text


def _cells(need: ColourNeed, comma: bool, currency: str, shade: str) -> list[str]:
    yard, ounce = float(METRES_PER_YARD), float(GRAMS_PER_OUNCE)

    def length(m: float | None) -> list[str]:
        return [_figure(m, 1, comma), _figure(None if m is None else m / yard, 1, comma)]

    def mass(g: float | None) -> list[str]:
        return [_figure(g, 1, comma), _figure(None if g is None else g / ounce, 2, comma)]

    chance = None if need.chance_short is None else 100 * need.chance_short
    return [
        safe_cell(need.name),
        shade,
        "" if need.buy_skeins is None else str(need.buy_skeins),
        *length(need.skein_m),
        *mass(need.skein_g),
        *length(need.need_m),
        *length(need.low_m),
        *length(need.high_m),
        *mass(need.need_g),
        str(need.skeins_on_hand),
        _figure(sum(need.parts_g), 1, comma) if need.parts_g else "",
        *length(need.on_hand_m),
        *length(need.spare_m),
        _figure(chance, 1, comma),
        _figure(need.price, 2, comma),
        safe_cell(currency) if need.price is not None else "",
        safe_cell(need.dye_lot),
        "",
    ]


def shopping_rows(
    yardage: Yardage,
    *,
    currency: str = "",
    shades: dict[str, str] | None = None,
    comma: bool = False,
    lang: str = "en",
) -> list[list[str]]:
    """Return the cells of the shopping list: a heading, one row for each colour, and the total where prices are known.

    Parameters
    ----------
    yardage : Yardage
    currency : str
        Written beside prices as it stands.
    shades : dict of str to str, optional
        `#rrggbb` of each colour by name.
    comma : bool
        True writes decimals with a comma.
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
    rows = [_cells(c, comma, currency, (shades or {}).get(c.name, "")) for c in yardage.colours]
    if yardage.total_price is not None:
        total = [""] * len(heading)
        total[0] = tr("total", lang)
        total[2] = str(sum(c.buy_skeins or 0 for c in yardage.colours))
        total[-4] = _figure(yardage.total_price, 2, comma)
        total[-3] = safe_cell(currency)
        rows.append(total)
    return [heading, *rows]


def shopping_csv(
    yardage: Yardage,
    *,
    currency: str = "",
    shades: dict[str, str] | None = None,
    semicolon: bool = False,
    lang: str = "en",
) -> bytes:
    """Return the shopping list as CSV bytes: UTF-8 with a byte order mark, CRLF, quoted where needed (RFC 4180).

    Parameters
    ----------
    yardage : Yardage
    currency : str
    shades : dict of str to str, optional
    semicolon : bool
        True separates by semicolons and writes decimal commas, as spreadsheets of much of Europe read it.
    lang : str
    """
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, delimiter=";" if semicolon else ",", lineterminator="\r\n")
    writer.writerows(shopping_rows(yardage, currency=currency, shades=shades, comma=semicolon, lang=lang))
    return buffer.getvalue().encode("utf-8-sig")
