"""Finishing: rows that straighten a wavy end, and a border around it all."""

from __future__ import annotations

import math
from dataclasses import dataclass

from blendplan.errors import FabricError
from blendplan.fabric.gauge import WIDTH_OVER_HEIGHT, Gauge
from blendplan.fabric.ripple import STITCHES, Worked
from blendplan.fabric.rows import Part, Row, Step
from blendplan.fabric.shapes import TURNING, each, merge
from blendplan.fabric.size import measure
from blendplan.record import held, record
from blendplan.units import choice

# Height of a slip stitch as a share of a single crochet's (trade facts, section 3: 0 to 0.3, rough).
SLIP_SHARE = 0.3


@record
class Border:
    """Rounds worked around the finished fabric."""

    stitch: str = held("stitch of the border", default="sc", allowed=STITCHES)
    rounds: int = held("rounds of the border", default=1, low=1, high=30)
    # One yarn per strand, by key in a blanket and by name in a plan; empty takes those of the last stripe.
    strands: tuple[str, ...] = held("strands of the border", default=(), longest=80)

    def __post_init__(self) -> None:
        if len(self.strands) > 4:
            raise FabricError("a border of {given} strands was asked for; allowed is 1 to 4.", given=len(self.strands))


@dataclass(frozen=True, slots=True, kw_only=True)
class BorderRound:
    """Stitches of one round of a border: along each end, along each side, and in all four corners together."""

    end: int
    side: int
    corners: int = 12

    @property
    def stitches(self) -> int:
        """Stitches of the whole round."""
        return 2 * (self.end + self.side) + self.corners


def border_rounds(
    worked: Worked, gauge: Gauge, rows: int, border: Border, *, straight: bool = False
) -> tuple[BorderRound, ...]:
    """Return the stitches of each round of a border.

    The sides take as many stitches as fit their length.
    A straightened end takes as many as fit its width; a wavy one takes one in every stitch, two left out in each
    valley and in each peak three in its space, or two more where it has none.
    Three in each corner, so every further round has two more along each edge.
    """
    size = measure(worked, gauge, rows)
    end = max(1, round(size.width_cm / gauge.stitch_width_cm)) if straight else _wavy_end(worked)
    side = max(1, round(size.height_cm / gauge.stitch_width_cm))
    return tuple(BorderRound(end=end + 2 * i, side=side + 2 * i) for i in range(border.rounds))


def _wavy_end(worked: Worked) -> int:
    """Return the stitches of a border along a wavy end."""
    if worked.ripple.kind == "heights":
        return worked.row_stitches
    most, fewer = worked.ripple.repeats, worked.ripple.repeats - 1
    peaks, valleys = (most, fewer) if worked.ripple.edge == "half-valley" else (fewer, most)
    return max(1, worked.row_stitches + peaks * (3 if worked.row_spaces else 2) - 2 * valleys)


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A row that straightens a wavy end."""

    row: Row
    left_cm: float  # height of the wave that is left


def level_row(worked: Worked, gauge: Gauge, end: str = "top") -> Level:
    """Return a row of short stitches on the points and tall ones in the hollows of a point ripple or a wave.

    At the `bottom` it is worked along the other side of the foundation, where the points are hollows.
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
    return Level(row=Row(name="level", parts=parts), left_cm=max(off(kind, d) for d, kind in enumerate(ladder)))


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
