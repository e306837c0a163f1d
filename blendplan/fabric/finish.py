"""Finishing: rows that straighten a wavy end, and a border around it all."""

from __future__ import annotations

import math
from dataclasses import dataclass

from blendplan.errors import FabricError
from blendplan.fabric.gauge import WIDTH_OVER_HEIGHT, Gauge
from blendplan.fabric.ripple import STITCHES, TURNING, Worked
from blendplan.fabric.rows import Part, Row, Step
from blendplan.fabric.shapes import each, merge
from blendplan.fabric.size import measure
from blendplan.units import choice, whole

__all__ = ["Border", "Level", "border_rounds", "level_row"]

# Height of a slip stitch as a share of a single crochet's (trade facts, section 3: 0 to 0.3, rough).
SLIP_SHARE = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Border:
    """Rounds worked around the finished fabric.

    Attributes
    ----------
    stitch : {"sc", "hdc", "dc", "tr"}
    rounds : int
        1 to 30.
    strands : tuple of str
        Names of yarns, one per strand; empty takes those of the last stripe.
    """

    stitch: str = "sc"
    rounds: int = 1
    strands: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        choice(self.stitch, "stitch of the border", STITCHES)
        object.__setattr__(self, "rounds", whole(self.rounds, "rounds of the border", 1, 30))
        if len(self.strands) > 4:
            raise FabricError("a border of {given} strands was asked for; allowed is 1 to 4.", given=len(self.strands))


def border_rounds(
    worked: Worked, gauge: Gauge, rows: int, border: Border, *, straight: bool = False
) -> tuple[int, ...]:
    """Return the stitches of each round of a border.

    Notes
    -----
    The sides take as many stitches as fit their length; a wavy end takes one in every stitch (three in each point,
    two left out in each hollow keep the count), a straightened one as many as fit the width.
    Three in each corner, so every further round has 8 more.
    """
    size = measure(worked, gauge, rows)
    end = round(size.width_cm / gauge.stitch_width_cm) if straight else worked.row_stitches
    side = max(1, round(size.height_cm / gauge.stitch_width_cm))
    first = 2 * (end + side) + 8
    return tuple(first + 8 * i for i in range(border.rounds))


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A row that straightens a wavy end.

    Attributes
    ----------
    row : Row
    left_cm : float
        Height of the wave that is left.
    stitches_per_width : float
        Its stitches over those that fit the finished width; above 1 it ruffles, below 1 it draws in.
    """

    row: Row
    left_cm: float
    stitches_per_width: float


def level_row(worked: Worked, gauge: Gauge, end: str = "top") -> Level:
    """Return a row of short stitches on the points and tall ones in the hollows.

    Parameters
    ----------
    worked : Worked
        A point ripple or a wave; straight rows need none.
    gauge : Gauge
    end : {"top", "bottom"}
        At the bottom it is worked along the other side of the foundation, where the points are hollows.

    Notes
    -----
    d stitches from a point the wave lies d x stitch width x sin(theta) lower; each place gets the stitch whose
    height comes nearest.
    Hollows keep their decrease and points lose their increase, which narrows the row about as the wave does.
    """
    choice(end, "end", ("top", "bottom"))
    if worked.ripple.kind == "heights":
        raise FabricError("rows of mixed heights have straight ends; leave the straightening out.")
    tall = gauge.row_height_cm * WIDTH_OVER_HEIGHT[gauge.stitch]
    heights = {kind: tall / shape for kind, shape in WIDTH_OVER_HEIGHT.items()}
    heights["sl st"] = SLIP_SHARE * heights["sc"]
    drop, run = gauge.stitch_width_cm * math.sin(gauge.theta), worked.ripple.run

    def off(kind: str, d: int) -> float:
        return abs(d * drop + heights["sl st"] - heights[kind])

    # the stitch for 0, 1, ... stitches from the short place
    ladder = tuple(min(heights, key=lambda k, d=d: off(k, d)) for d in range(run + 2))  # type: ignore[misc]
    below = worked.repeat if end == "top" else worked.first
    parts = tuple(
        Part(steps=merge(_levelled(part.steps, ladder, below.parts, at, top=end == "top")), times=part.times)
        for at, part in enumerate(below.parts)
    )
    row = Row(name="level", parts=parts)
    return Level(
        row=row,
        left_cm=max(off(kind, d) for d, kind in enumerate(ladder)),
        stitches_per_width=row.made * gauge.stitch_width_cm / measure(worked, gauge, 1).width_cm,
    )


def _turning(step: Step) -> str:
    """Return whether a step is part of a point or of a hollow, or of neither."""
    if step.kind in ("group", "chain"):
        return "point"
    return "hollow" if step.kind in ("skip", "together") else ""


def _levelled(
    steps: tuple[Step, ...], ladder: tuple[str, ...], parts: tuple[Part, ...], at: int, *, top: bool
) -> list[Step]:
    """Return the steps of one part with stitches as tall as their place needs."""
    run = len(ladder) - 2
    short = "point" if top else "hollow"
    later = next((_turning(s) for s in parts[min(at + 1, len(parts) - 1)].steps if _turning(s)), "")
    out: list[Step] = []
    dropped = 0
    for i, step in enumerate(steps):
        before = next((_turning(s) for s in reversed(steps[:i]) if _turning(s)), "")
        after = next((_turning(s) for s in steps[i + 1 :] if _turning(s)), "")
        at_edge = (at == 0 and not before) or (at == len(parts) - 1 and i == len(steps) - 1)
        if step.kind == "turn":
            # its place, where it has one of its own, takes a stitch as tall as the edge needs
            out += each(ladder[0 if later != short else run + 1], step.taken)
        elif step.kind == "each":
            rest = sum(s.count for s in steps[i + 1 :] if s.kind == "each") if not before else 0
            heights = _distances(step.count, run, short=short, before=before, after=after or later, rest=rest)
            for d in heights[dropped:]:
                out += each(ladder[min(max(d, 0), run + 1)], 1)
            dropped = 0
        elif step.kind == "chain" and not top:
            # nothing of the foundation lies under these chains, so the two beside them are left out
            out.pop()
            out.append(Step(kind="skip", count=2))
            dropped = 1
        elif _turning(step) == short:
            low = ("sl st",) * step.taken
            out += (
                (Step(kind="group", stitches=low, takes=step.taken, into_space=True),)
                if step.into_space
                else each("sl st", step.taken)
            )
        elif step.kind == "together":
            out.append(Step(kind="together", stitch=ladder[-1], count=step.count))
        elif at_edge and step.kind == "group":
            out += each(ladder[-1], step.taken)
        elif step.taken:
            out.append(Step(kind="skip", count=step.taken))
    if at == 0:
        tallest = next(s.stitch for s in out if s.stitch)
        out.insert(0, Step(kind="turn", count=TURNING.get(tallest, (1, False))[0], stands=False))
    return out


def _distances(places: int, run: int, *, short: str, before: str, after: str, rest: int) -> list[int]:
    """Return how many stitches each place of a run lies from the short turning point."""
    if before and before == after:
        return [0 if before == short else run + 1] * places
    if before:
        return [n + 1 if before == short else places - n for n in range(places)]
    # the slope from the edge is counted back from the turning point that follows
    back = range(rest + places - 1, rest - 1, -1)
    return [n + 1 if after == short else run - n for n in back]
