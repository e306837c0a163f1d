"""The size of a ripple: what the wave takes in, how a width is met, usual sizes, and the cautions it calls for."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from blendplan.budgets import MAX_REPEATS
from blendplan.errors import FabricError
from blendplan.fabric.gauge import WIDTH_OVER_HEIGHT, Gauge
from blendplan.fabric.ripple import Ripple, Worked, work
from blendplan.fabric.shapes import LADDER
from blendplan.units import CM_PER_INCH, Amount, choice, number, whole
from blendplan.wording import Notice, note

# Width and length in inches. There is no one standard; each is the middle of lists by several makers' pages and one
# charity, read Nov 2026 via the trade facts, section 5. Crib and king differ most from list to list.
SIZES = {
    "preemie": (20, 20),
    "lovey": (12, 12),
    "security": (16, 16),
    "cradle": (14, 30),
    "stroller": (30, 36),
    "receiving": (36, 36),
    "baby": (30, 36),
    "crib": (36, 54),
    "child": (42, 52),
    "lap": (36, 48),
    "teen": (45, 65),
    "throw": (50, 60),
    "adult": (50, 70),
    "twin": (66, 90),
    "full": (80, 90),
    "queen": (90, 100),
    "king": (108, 100),
    "california king": (104, 108),
}
BABY_SIZES = frozenset({"preemie", "lovey", "security", "cradle", "stroller", "receiving", "baby", "crib"})
# Anything up to this, as made, is taken for a small child's, cm (the largest of the baby sizes and a little).
SMALL_CM = (95.0, 140.0)
# From here on a blanket is called heavy, kg, and a gap large, cm (assumed; a two-strand throw is 1.1 to 1.9 kg,
# trade facts, section 4e, read Nov 2026).
HEAVY_KG = 1.1
HOLE_CM = 1.0


def size_cm(name: str) -> tuple[float, float]:
    """Return width and length of a usual size, cm.

    >>> size_cm("throw")
    (127.0, 152.4)
    """
    width, length = SIZES[choice(name, "size", SIZES)]
    return float(width * CM_PER_INCH), float(length * CM_PER_INCH)


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """Measures of a worked ripple, cm."""

    width_cm: float  # edge to edge, as it lies
    flat_width_cm: float  # what the same stitches would measure in straight rows
    chain_flat_cm: float  # the foundation chain laid straight
    height_cm: float  # along an edge, first row to last: rows times the rise of a row
    rise_per_row_cm: float
    wave_cm: float  # height from a hollow to a point


@dataclass(frozen=True, slots=True, kw_only=True)
class WidthChoice:
    """One number of repeats near a wanted width; `nearest` marks the best."""

    repeats: int
    chain: int
    row_stitches: int
    width_cm: float
    deviation_cm: float
    nearest: bool = False


def measure(worked: Worked, gauge: Gauge, rows: int) -> Size:
    """Return the size of `rows` rows.

    tan(theta) = stitch width / row height; width = flat width x cos(theta); rise per row = row height / cos(theta);
    wave = slope x stitch width x sin(theta). A measured ripple swatch replaces the cosine and the rise.
    The rounded crests of a soft wave lie flatter, so it comes out a little wider than this says.
    """
    rows = whole(rows, "rows", 0, 100_000)
    flat = worked.row_places * gauge.stitch_width_cm
    if worked.ripple.kind == "heights":
        theta, (rise, wave) = 0.0, _of_heights(worked, gauge)
    else:
        theta = gauge.theta
        rise = gauge.rise_cm or gauge.row_height_cm / math.cos(theta)
        wave = worked.ripple.slope * gauge.stitch_width_cm * math.sin(theta)
    return Size(
        width_cm=flat * (math.cos(theta) if gauge.ripple_factor is None else gauge.ripple_factor),
        flat_width_cm=flat,
        chain_flat_cm=worked.chain * gauge.stitch_width_cm,
        height_cm=rows * rise,
        rise_per_row_cm=rise,
        wave_cm=wave,
    )


def _of_heights(worked: Worked, gauge: Gauge) -> tuple[float, float]:
    """Return the mean height of a row of mixed stitches, and how far its tops go up and down, cm."""
    tall = gauge.row_height_cm * WIDTH_OVER_HEIGHT[gauge.stitch]
    heights = {kind: tall / WIDTH_OVER_HEIGHT[kind] for kind in LADDER}
    steps = [s for row in worked.rows[worked.lead :] for s in row.walk() if s.kind == "each"]
    mean = sum(s.count * heights[s.stitch] for s in steps) / sum(s.count for s in steps)
    return mean, heights[LADDER[-1]] - heights[LADDER[0]]


def widths_near(ripple: Ripple, gauge: Gauge, wanted_cm: float, *, each_side: int = 2) -> tuple[WidthChoice, ...]:
    """Return numbers of repeats about a wanted width, smallest first; the nearest is marked.

    Refused where even one repeat is more than twice as wide, or the width needs more than 500 repeats.
    """
    wanted = number(wanted_cm, "width", 1, 2000, "cm")

    def width(n: int) -> float:
        return measure(work(replace(ripple, repeats=n)), gauge, 0).width_cm

    one, two = width(1), width(2)
    best = max(1, round(1 + (wanted - one) / (two - one)))
    if best > MAX_REPEATS or one > 2 * wanted:
        raise FabricError(
            "a width of {given} cannot be met with repeats of {repeat}; allowed are 1 to {most} of them; change "
            "the slope or the width.",
            given=Amount(wanted, "cm", 1),
            repeat=Amount(two - one, "cm", 1),
            most=MAX_REPEATS,
        )
    numbers = range(max(1, best - each_side), min(MAX_REPEATS, best + each_side) + 1)
    nearest = min(numbers, key=lambda n: (abs(width(n) - wanted), n))

    def choice_of(n: int) -> WidthChoice:
        made = work(replace(ripple, repeats=n))
        return WidthChoice(
            repeats=n,
            chain=made.chain,
            row_stitches=made.row_stitches,
            width_cm=width(n),
            deviation_cm=width(n) - wanted,
            nearest=n == nearest,
        )

    return tuple(choice_of(n) for n in numbers)


def cautions(
    ripple: Ripple,
    *,
    for_baby: bool = False,
    size_cm: tuple[float, float] | None = None,
    gauge: Gauge | None = None,
    mass_kg: float | None = None,
    fringe: bool = False,
) -> tuple[Notice, ...]:
    """Return the cautions that a blanket calls for: as the maker chose or by its size as made, its mass and its gaps.

    Infant sleep: the American Academy of Pediatrics' 2022 recommendations as summarised by public health bodies
    (trade facts, section 9): no blankets or loose bedding in the first year. Fringe, holes and weight: guidelines of
    two charities (same place).
    """
    small = size_cm is not None and size_cm[0] <= SMALL_CM[0] and size_cm[1] <= SMALL_CM[1]
    baby = for_baby or small
    out = []
    if baby:
        out.append(
            note(
                "No blanket or other loose bedding in a sleeping baby's bed in the first year; a blanket is for when "
                "someone watches. Follow the advice of your own health service.",
                "caution",
            )
        )
        out.append(
            note("For small children: no fringe, buttons, beads or ribbons; weave every end in well.", "caution")
        )
    if fringe and baby:
        out.append(note("A fringe was chosen for a child's size; leave it off.", "caution"))
    gap = 0.0 if gauge is None else _gap_cm(ripple, gauge)
    if baby and gap >= HOLE_CM:
        out.append(
            note(
                "Hollows and points leave gaps of about {gap}, which can catch small fingers and toes; three in one "
                "and three together close them, and so does a smaller hook.",
                "caution",
                gap=Amount(gap, "cm", 1),
            )
        )
    if mass_kg is not None and mass_kg >= HEAVY_KG:
        out.append(
            note(
                "About {mass} is heavy: not for babies, small children or frail sleepers.",
                "caution",
                mass=Amount(mass_kg, "kg", 1),
            )
        )
    big = gauge is not None and gauge.hook_mm is not None and gauge.hook_mm >= 8
    out.append(
        note(
            "Two strands on a big hook load the hands: hold it loosely, take breaks, and stop at tingling or numbness.",
            "caution",
        )
        if big
        else note("Rest your hands often, hold the hook loosely, and stop at tingling or numbness.", "caution")
    )
    return tuple(out)


def _gap_cm(ripple: Ripple, gauge: Gauge) -> float:
    """Return the width of the largest gap: skipped stitches, or the chains over a point."""
    if ripple.kind != "point":
        return 0.0
    chains = int(ripple.peak[-1]) if ripple.peak.startswith("chain-") else 0
    return max(chains, 2 if ripple.valley == "skip-2" else 0) * gauge.stitch_width_cm
