"""The rows to work, as lines that paper, sheet and text file set in their own way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from blendplan.fabric.diagram import diagram_svg
from blendplan.fabric.finish import Border
from blendplan.fabric.written import WrittenRows, write_rows
from blendplan.plan import Plan

__all__ = ["WrittenLine", "plan_diagram", "plan_rows", "written"]


@dataclass(frozen=True, slots=True)
class WrittenLine:
    """One line: a heading, something to know, or a row to work and tick off."""

    kind: Literal["heading", "note", "row"]
    text: str


def plan_rows(plan: Plan, lang: str = "en") -> WrittenRows:
    """Return the written rows of a plan in a language."""
    border = plan.brief.yardage.border
    return write_rows(
        plan.brief.ripple,
        plan.worked,
        [planned.stripe for planned in plan.stripes],
        terms=plan.brief.terms,
        lang=lang,
        gauge=plan.gauge,
        border=Border(stitch=border.stitch, rounds=min(border.rounds, 30), strands=border.strands) if border else None,
    )


def plan_diagram(plan: Plan, lang: str = "en") -> str:
    """Return the stitch diagram of a plan as SVG."""
    return diagram_svg(plan.worked, plan.gauge, lang=lang)


def written(plan: Plan, lang: str = "en", *, stripes: bool = False) -> tuple[WrittenLine, ...]:
    """Return the rows to work, line by line.

    Parameters
    ----------
    plan : Plan
    lang : str
    stripes : bool
        True with the stripes and their changes too; paper and sheet have a table of them.
    """
    before, abbreviations, rows, strands, finishing = plan_rows(plan, lang).sections
    # The foundation is followed by what is told about it; then come the rows.
    told = len(rows.lines) - len(plan.worked.rows) - (plan.rows > len(plan.worked.rows))
    lines = [
        WrittenLine("heading", before.title),
        *(WrittenLine("note", text) for text in before.lines),
        WrittenLine("heading", abbreviations.title),
        *(WrittenLine("note", text) for text in abbreviations.lines),
        WrittenLine("heading", rows.title),
        *(WrittenLine("note" if 0 < i < told else "row", text) for i, text in enumerate(rows.lines)),
    ]
    if stripes:
        lines.append(WrittenLine("heading", strands.title))
        lines += [WrittenLine("note" if text.startswith(" ") else "row", text) for text in strands.lines]
    lines.append(WrittenLine("heading", finishing.title))
    lines += [WrittenLine("row", text) for text in finishing.lines]
    return tuple(lines)
