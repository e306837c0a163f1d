"""The rows to work, as lines that paper, sheet and text file set in their own way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from blendplan.outputs.content import begin_words
from blendplan.outputs.look import letters
from blendplan.plan import Plan
from blendplan.wording import tr

__all__ = ["WrittenLine", "written"]


@dataclass(frozen=True, slots=True)
class WrittenLine:
    """One line: a heading, something to know, or a row to work and tick off."""

    kind: Literal["heading", "note", "row"]
    text: str


def written(plan: Plan, lang: str = "en") -> tuple[WrittenLine, ...]:
    """Return the rows to work."""
    worked = plan.worked
    terms = tr("US terms.", lang) if plan.brief.terms == "US" else tr("UK terms.", lang)
    lines = [
        WrittenLine("note", terms),
        WrittenLine("row", tr("Foundation: chain {n}.", lang, n=worked.chain)),
    ]
    signs = letters(name for planned in plan.stripes for name in planned.stripe.strands)
    for planned in plan.stripes:
        lines.append(
            WrittenLine(
                "row",
                tr(
                    "Stripe {number}, rows {first} to {last}: {begin} {stitches} stitches in every row.",
                    lang,
                    number=planned.number,
                    first=planned.first_row,
                    last=planned.last_row,
                    begin=begin_words(planned, signs, lang),
                    stitches=worked.row_stitches,
                ),
            )
        )
    return tuple(lines)
