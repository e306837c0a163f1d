"""The rows to work, as lines that paper, sheet and text file set in their own way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from blendplan.fabric.diagram import diagram_svg
from blendplan.plan import Plan
from blendplan.wording import note, tr

__all__ = ["WrittenLine", "plan_diagram", "written"]


@dataclass(frozen=True, slots=True)
class WrittenLine:
    """One line: a heading, something to know, or a row to work and tick off."""

    kind: Literal["heading", "note", "row"]
    text: str


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
    before, abbreviations, rows, strands, finishing = plan.written(lang).sections
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
    return (*lines, *_skeins(plan, lang))


def _skeins(plan: Plan, lang: str) -> list[WrittenLine]:
    """Return where skeins run out and are wound in two, and what to heed about dye lots."""
    lines = []
    said = [(r.row, notice) for r, notice in zip(plan.strands.rewinds, plan.strands.notices, strict=False)]
    for join in plan.strands.joins:
        where = note("In row {row}", row=join.row) if join.within_row else note("Before row {row}", row=join.row)
        said.append(
            (
                join.row,
                note(
                    "{where}: skein {new} of {name} follows skein {old}, on which about {rest} g stay.",
                    where=where,
                    new=join.new,
                    name=join.name,
                    old=join.old,
                    rest=f"{join.rest_g:.0f}",
                ),
            )
        )
    if said:
        lines.append(WrittenLine("heading", tr("Skeins while working", lang)))
        lines += [WrittenLine("row", notice.say(lang)) for _, notice in sorted(said, key=lambda pair: pair[0])]
    rest = [*plan.strands.notices[len(plan.strands.rewinds) :], *plan.lots]
    if rest:
        lines.append(WrittenLine("heading", tr("Dye lots and what to watch", lang)))
        lines += [WrittenLine("note", notice.say(lang)) for notice in rest]
    return lines
