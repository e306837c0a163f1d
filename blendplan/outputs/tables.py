"""Plain files of a plan: stripes and shopping list as CSV, rows as text, everything as JSON.

CSV opens right in any spreadsheet: BOM, quoted and inert text, numbers in the reader's writing.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import fields, replace
from fractions import Fraction
from typing import Any

from blendplan.blend.strands import READINGS
from blendplan.outputs.changes import change_words
from blendplan.outputs.pattern import pattern
from blendplan.plan import Plan, PlannedStripe, to_buy
from blendplan.quantities import Quantities
from blendplan.record import to_plain
from blendplan.saving import savings
from blendplan.text import in_cell
from blendplan.units import GRAMS_PER_OUNCE, METRES_PER_YARD, plain
from blendplan.wording import tr
from blendplan.yardage.length import Yardage
from blendplan.yardage.need import ColourNeed, Rest

Cell = str | int | float | Fraction | None


def _cell(value: Cell, decimal: str) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return '"' + in_cell(value).replace('"', '""') + '"' if value else ""
    return plain(value).replace(".", decimal)


def csv_bytes(header: Sequence[str], rows: Iterable[Sequence[Cell]], *, semicolon: bool = False) -> bytes:
    r"""Return a table as CSV (RFC 4180): UTF-8 with BOM, lines ended by CR LF.

    Examples
    --------
    >>> csv_bytes(["name", "m"], [["=A1", -2.5]], semicolon=True).decode("utf-8-sig")
    '"name";"m"\r\n"\'=A1";-2,5\r\n'
    """
    separator, decimal = (";", ",") if semicolon else (",", ".")
    lines = [separator.join(_cell(value, decimal) for value in row) for row in [list(header), *rows]]
    return ("\r\n".join(lines) + "\r\n").encode("utf-8-sig")


def stripes_csv(plan: Plan, *, semicolon: bool = False, lang: str = "en") -> bytes:
    """Return the stripes as CSV, the first worked first."""
    strands = max(len(planned.stripe.strands) for planned in plan.stripes)
    show = Quantities(plan.blanket.ways.units, lang)
    header = [
        tr("stripe", lang),
        *(tr("strand {n}", lang, n=i + 1) for i in range(strands)),
        tr("rows", lang),
        tr("first row", lang),
        tr("last row", lang),
        tr("shade", lang),
        "L*",
        "a*",
        "b*",
        tr("reads as", lang),
        tr("step (CIEDE2000)", lang),
        tr("height cm", lang),
        tr("to begin it", lang),
    ]
    rows: list[list[Cell]] = []
    for planned in plan.stripes:
        names = planned.stripe.strands
        rows.append(
            [
                planned.number,
                *names,
                *[None] * (strands - len(names)),
                planned.stripe.rows,
                planned.first_row,
                planned.last_row,
                planned.blend.srgb,
                *(round(v, 2) for v in planned.blend.lab),
                tr(READINGS[planned.blend.reads_as], lang),
                None if planned.step is None else round(planned.step, 2),
                round(planned.height_cm, 2),
                change_words(planned.change, plan.strands, show),
            ]
        )
    return csv_bytes(header, rows, semicolon=semicolon)


def plan_json(plan: Plan) -> bytes:
    """Return everything of a plan as JSON; `yardage` is what `blendplan skeins --json` prints."""
    body: dict[str, Any] = {
        "format": "blendplan-plan",
        "version": 1,
        "title": plan.blanket.title,
        "blanket": _blanket(plan),
        "size": to_plain(plan.size),
        "gauge": to_plain(plan.gauge),
        "fabric": plan.worked.to_json(),
        "rows": plan.rows,
        "stripes": [_stripe(planned) for planned in plan.stripes],
        "yardage": yardage_json(plan),
        "strands": {
            "live_ends": plan.strands.live_ends,
            "ends_to_weave": plan.strands.ends_to_weave,
            "joins": to_plain(plan.strands.joins),
            "rewinds": to_plain(plan.strands.rewinds),
            "notices": [n.text for n in (*plan.strands.notices, *plan.lots)],
        },
        "widths": to_plain(plan.widths),
        "warnings": [
            {
                "code": w.code,
                "stripes": [i + 1 for i in w.stripes],
                "problem": w.problem.text,
                "suggestions": [s.text for s in w.suggestions],
            }
            for w in plan.warnings
        ],
        "cautions": [n.text for n in plan.cautions],
        "notices": [n.text for n in plan.notices],
    }
    return (json.dumps(body, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode("utf-8")


def _blanket(plan: Plan) -> dict[str, Any]:
    """Return the blanket as a project holds it, without yarns that it does not use and without other designs."""
    used = {yarn.key for yarn in plan.yarns}
    blanket = plan.blanket
    materials = replace(blanket.materials, yarns=tuple(yarn for yarn in blanket.yarns if yarn.key in used))
    lean = {"materials": materials, "variants": ()}
    return {f.name: to_plain(lean.get(f.name, getattr(blanket, f.name))) for f in fields(blanket)}


def yardage_json(plan: Plan) -> dict[str, Any]:
    """Return the yarn of a plan with what would save skeins, as `blendplan skeins --json` prints it."""
    return {**to_buy(plan).to_json(), "savings": [saving.to_json() for saving in savings(plan.blanket)]}


def _stripe(planned: PlannedStripe) -> dict[str, Any]:
    left, taken, carried = planned.change.names
    return {
        "number": planned.number,
        "strands": list(planned.stripe.strands),
        "rows": planned.stripe.rows,
        "first_row": planned.first_row,
        "last_row": planned.last_row,
        "blend": planned.blend.to_json(),
        "cut": list(left),
        "join": list(taken),
        "keep": list(carried),
        "change": to_plain(planned.change),
        "step": None if planned.step is None else round(planned.step, 4),
        "bottom_cm": round(planned.bottom_cm, 3),
        "height_cm": round(planned.height_cm, 3),
    }


def shopping_lines(plan: Plan, lang: str = "en") -> list[str]:
    """Return the shopping list as lines of text, and below it what would save skeins."""
    chapter = pattern(plan, lang).chapter("shopping")
    lines = [line.text for line in chapter.lines] if chapter else []
    said = [saving.say(lang, plan.blanket.ways.units) for saving in savings(plan.blanket)]
    return [*lines, *([tr("What would save skeins:", lang), *(f"   {text}" for text in said)] if said else [])]


def rows_txt(plan: Plan, *, lang: str = "en") -> bytes:
    """Return the whole pattern as UTF-8 text, in the order of the paper."""
    made = pattern(plan, lang)
    lines = [made.title]
    for chapter in made.chapters:
        lines += ["", chapter.title]
        for line in chapter.lines:
            if line.kind == "heading":
                lines.append("")
            lines.append(("[ ] " if line.kind == "do" else "") + line.text)
    return ("\n".join(lines).rstrip() + "\n").encode("utf-8")


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

    near, buy = dict(need.chances), need.buy_skeins or 0
    beside = (buy - 1, buy + 1)
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
        *(_rounded(100 * near[n], 1) if n in near else None for n in beside),
        _rounded(need.price, 2),
        currency if need.price is not None else "",
        need.dye_lot,
        "",
        *_rest_cells(need.rest),
    ]


def _rest_cells(rest: Rest | None) -> list[Cell]:
    """Return the cells of what is left and still to be worked; empty where nothing was weighed."""
    if rest is None or rest.after is None:
        return [None] * 5
    grams = [_rounded(g, 1) for g in (rest.left_g, rest.need_g, rest.low_g, rest.high_g)]
    return [int(rest.after), *grams]


def shopping_rows(
    yardage: Yardage, *, currency: str = "", shades: dict[str, str] | None = None, lang: str = "en"
) -> list[list[Cell]]:
    """Return the cells of the shopping list: a heading, a row for each colour, and the total where prices are known."""
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
        tr("chance short % with one fewer", lang),
        tr("chance short % with one more", lang),
        tr("price", lang),
        tr("currency", lang),
        tr("dye lot on hand", lang),
        tr("dye lot bought", lang),
        tr("weighed after row", lang),
        tr("left g", lang),
        tr("still to work g", lang),
        tr("still at least g", lang),
        tr("still at most g", lang),
    ]
    rows: list[list[Cell]] = [_cells(c, currency, (shades or {}).get(c.name, "")) for c in yardage.colours]
    if yardage.total_price is not None:
        total: list[Cell] = [""] * len(heading)
        unknown = [c.name for c in yardage.colours if c.price is None and c.buy_skeins != 0]
        total[0] = tr("total without {names}", lang, names=", ".join(unknown)) if unknown else tr("total", lang)
        total[2] = sum(c.buy_skeins or 0 for c in yardage.colours)
        price = heading.index(tr("price", lang))
        total[price : price + 2] = _rounded(yardage.total_price, 2), currency
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
    """Return the shopping list as CSV bytes (`cells.csv_bytes`)."""
    heading, *rows = shopping_rows(yardage, currency=currency, shades=shades, lang=lang)
    return csv_bytes([str(cell) for cell in heading], rows, semicolon=semicolon)
