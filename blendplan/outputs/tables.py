"""Plain files of a plan: stripes as CSV, rows as text, everything as JSON, the shopping list as lines."""

from __future__ import annotations

import json
from typing import Any

from blendplan.outputs.cells import Cell, csv_bytes
from blendplan.outputs.content import READINGS, Words, begin_words, read_plan
from blendplan.outputs.look import letters
from blendplan.outputs.rows import written
from blendplan.plan import Plan
from blendplan.project import to_plain
from blendplan.wording import tr

__all__ = ["plan_json", "rows_txt", "shopping_lines", "stripes_csv"]


def stripes_csv(plan: Plan, *, semicolon: bool = False, lang: str = "en") -> bytes:
    """Return the stripes as CSV, the first worked first.

    Parameters
    ----------
    plan : Plan
    semicolon : bool
        See `csv_bytes`.
    lang : str
        Language of the words; in English the names of the columns are the same for ever.
    """
    strands = max(len(planned.stripe.strands) for planned in plan.stripes)
    signs = letters(name for planned in plan.stripes for name in planned.stripe.strands)
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
                begin_words(planned, signs, lang),
            ]
        )
    return csv_bytes(header, rows, semicolon=semicolon)


def plan_json(plan: Plan) -> bytes:
    """Return everything of a plan as JSON; `yardage` is what `blendplan skeins --json` prints."""
    body: dict[str, Any] = {
        "format": "blendplan-plan",
        "version": 1,
        "title": plan.brief.title,
        "brief": to_plain(plan.brief),
        "size": to_plain(plan.size),
        "gauge": to_plain(plan.gauge),
        "fabric": plan.worked.to_json(),
        "rows": plan.rows,
        "stripes": [_stripe(planned) for planned in plan.stripes],
        "yardage": plan.yardage.to_json(),
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


def _stripe(planned: Any) -> dict[str, Any]:
    change = planned.change
    return {
        "number": planned.number,
        "strands": list(planned.stripe.strands),
        "rows": planned.stripe.rows,
        "first_row": planned.first_row,
        "last_row": planned.last_row,
        "blend": planned.blend.to_json(),
        "cut": list(change.cut) if change else [],
        "join": list(change.join) if change else list(planned.stripe.strands),
        "keep": list(change.kept) if change else [],
        "step": None if planned.step is None else round(planned.step, 4),
        "bottom_cm": round(planned.bottom_cm, 3),
        "height_cm": round(planned.height_cm, 3),
    }


def shopping_lines(plan: Plan, lang: str = "en") -> list[str]:
    """Return the shopping list as lines of text."""
    words: Words = read_plan(plan, lang)
    lines = []
    for item in words.shopping:
        lines.append(
            tr(
                "{name}: needs {need} ({span}); on hand {on_hand}; buy {buy}",
                lang,
                name=item.name,
                need=item.need,
                span=item.span,
                on_hand=item.on_hand,
                buy=item.buy,
            )
        )
    if words.total:
        lines.append(tr("Price of all: {total}", lang, total=words.total))
    return lines


def rows_txt(plan: Plan, *, lang: str = "en") -> bytes:
    """Return the rows to work as UTF-8 text."""
    lines = [plan.brief.title]
    for line in written(plan, lang, stripes=True):
        if line.kind == "heading":
            lines += ["", line.text]
        else:
            lines.append(("[ ] " if line.kind == "row" else "") + line.text)
    return ("\n".join(lines).rstrip() + "\n").encode("utf-8")
