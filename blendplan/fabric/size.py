"""The size of a ripple: what the wave takes in, how a width is met, how many rows a length needs."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from blendplan.errors import FabricError
from blendplan.fabric.choices import MAX_REPEATS
from blendplan.fabric.gauge import WIDTH_OVER_HEIGHT, Gauge
from blendplan.fabric.ripple import Ripple, Worked, work
from blendplan.fabric.shapes import LADDER
from blendplan.units import number, whole
from blendplan.wording import Rounded, rounded

__all__ = ["Size", "WidthChoice", "measure", "widths_near"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """Measures of a worked ripple, cm.

    Attributes
    ----------
    width_cm : float
        Across, edge to edge, as it lies.
    flat_width_cm : float
        What the same stitches would measure in straight rows.
    chain_flat_cm, chain_finished_cm : float
        The foundation chain laid straight, and once the rows have drawn it into the wave.
    height_cm : float
        Along an edge, first row to last: rows times the rise of a row.
    overall_cm : float
        From the lowest to the highest stitch: the height and one wave.
    rise_per_row_cm, wave_cm : float
        Rise of a row; height from a hollow to a point.
    theta : float
        Angle of a slope, radians.
    """

    width_cm: float
    flat_width_cm: float
    chain_flat_cm: float
    chain_finished_cm: float
    height_cm: float
    overall_cm: float
    rise_per_row_cm: float
    wave_cm: float
    theta: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WidthChoice:
    """One number of repeats near a wanted width; `nearest` marks the best."""

    repeats: int
    chain: int
    row_stitches: int
    width_cm: float
    deviation_cm: float
    nearest: bool = False


def ripple_factor(worked: Worked, gauge: Gauge) -> float:
    """Return finished width over flat width: cos(theta) in a ripple, 1 in straight rows, or as measured.

    The rounded crests of a soft wave lie flatter, so it comes out a little wider than this says.
    """
    if gauge.ripple_factor is not None:
        return gauge.ripple_factor
    return 1.0 if worked.ripple.kind == "heights" else math.cos(gauge.theta)


def measure(worked: Worked, gauge: Gauge, rows: int) -> Size:
    """Return the size of `rows` rows.

    Notes
    -----
    tan(theta) = stitch width / row height; width = flat width x cos(theta); rise per row = row height / cos(theta);
    wave = slope x stitch width x sin(theta).
    A measured ripple swatch replaces the cosine and the rise.

    Examples
    --------
    >>> from blendplan.fabric.gauge import from_chain
    >>> worked = work(Ripple())
    >>> size = measure(worked, from_chain(131, 50 * 2.54), rows=100)
    >>> round(size.width_cm / 2.54, 1)
    42.8
    """
    rows = whole(rows, "rows", 0, 100_000)
    ripple = worked.ripple
    factor = ripple_factor(worked, gauge)
    flat = worked.row_stitches * gauge.stitch_width_cm
    theta = gauge.theta
    if ripple.kind == "heights":
        theta, (rise, wave) = 0.0, _of_heights(worked, gauge)
    else:
        rise = gauge.rise_cm or gauge.row_height_cm / math.cos(theta)
        wave = ripple.slope * gauge.stitch_width_cm * math.sin(theta)
    height = rows * rise
    return Size(
        width_cm=flat * factor,
        flat_width_cm=flat,
        chain_flat_cm=worked.chain * gauge.stitch_width_cm,
        chain_finished_cm=flat * factor,
        height_cm=height,
        overall_cm=height + (wave if rows else 0.0),
        rise_per_row_cm=rise,
        wave_cm=wave,
        theta=theta,
    )


def _of_heights(worked: Worked, gauge: Gauge) -> tuple[float, float]:
    """Return the mean height of a row of mixed stitches, and how far its tops go up and down, cm."""
    tall = gauge.row_height_cm * WIDTH_OVER_HEIGHT[gauge.stitch]
    heights = {kind: tall / WIDTH_OVER_HEIGHT[kind] for kind in LADDER}
    steps = [
        s
        for row in worked.rows[worked.lead :]
        for part in row.parts
        for s in part.steps * part.times
        if s.kind == "each"
    ]
    mean = sum(s.count * heights[s.stitch] for s in steps) / sum(s.count for s in steps)
    return mean, heights[LADDER[-1]] - heights[LADDER[0]]


def widths_near(ripple: Ripple, gauge: Gauge, wanted_cm: float, *, each_side: int = 2) -> tuple[WidthChoice, ...]:
    """Return numbers of repeats about a wanted width, smallest first; the nearest is marked.

    Raises
    ------
    FabricError
        If even one repeat is more than twice as wide, or the width needs more than 500 repeats.
    """
    wanted = number(wanted_cm, "width", 1, 2000, "cm")

    def width(n: int) -> float:
        return measure(work(replace(ripple, repeats=n)), gauge, 0).width_cm

    one, two = width(1), width(2)
    best = max(1, round(1 + (wanted - one) / (two - one)))
    if best > MAX_REPEATS or one > 2 * wanted:
        raise FabricError(
            "a width of {given} cm cannot be met with repeats of {repeat} cm; allowed are 1 to {most} of them; change "
            "the slope or the width.",
            given=Rounded(f"{wanted:g}"),
            repeat=rounded(two - one, 1),
            most=MAX_REPEATS,
        )
    numbers = range(max(1, best - each_side), min(MAX_REPEATS, best + each_side) + 1)
    widths = {n: width(n) for n in numbers}
    nearest = min(numbers, key=lambda n: (abs(widths[n] - wanted), n))
    out = []
    for n in numbers:
        worked = work(replace(ripple, repeats=n))
        out.append(
            WidthChoice(
                repeats=n,
                chain=worked.chain,
                row_stitches=worked.row_stitches,
                width_cm=widths[n],
                deviation_cm=widths[n] - wanted,
                nearest=n == nearest,
            )
        )
    return tuple(out)
