"""The one place that turns a plan into picture calls; page, paper and sheet all draw through it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from blendplan.fabric.gauge import WIDTH_OVER_HEIGHT
from blendplan.fabric.layout import RowLayout, lay_heights, lay_row
from blendplan.fabric.rows import Row
from blendplan.fabric.shapes import LADDER
from blendplan.outputs.look import letters
from blendplan.picture.legend import with_legend
from blendplan.picture.png import encode_png
from blendplan.picture.scene import DrawnStripe, blanket_size_cm, draw_blanket
from blendplan.plan import Plan

__all__ = ["Mark", "drawn_stripes", "plan_layout", "plan_picture", "plan_pixels", "stripe_marks", "thin_marks"]

# White paper around the blanket, cm, so that the wave is seen as an edge.
AROUND_CM = 1.5


@dataclass(frozen=True, slots=True)
class Mark:
    """Where the number of a stripe belongs: its text and its place down the picture's right side, 0 top to 1."""

    text: str
    place: float


def plan_layout(plan: Plan) -> RowLayout | tuple[RowLayout, RowLayout]:
    """Return the layout of a plan's rows: one row, or two that alternate; the same value for the same fabric.

    Notes
    -----
    Where the ripple itself was measured, the stitch is drawn as wide and high as gives the measured width and
    rise: with W the measured width and r the rise of one stitch, sin(2 theta) = 2 W / r.
    A swatch that no tilted fabric can match (W above r / 2) is drawn at 45 degrees and its own width.
    """
    gauge = plan.gauge
    if plan.brief.ripple.kind == "heights":
        tall = gauge.row_height_cm * WIDTH_OVER_HEIGHT[gauge.stitch]
        heights = tuple((kind, tall / WIDTH_OVER_HEIGHT[kind]) for kind in LADDER)
        return _laid_in_turn((plan.worked.row_at(3), plan.worked.row_at(2)), gauge.stitch_width_cm, heights)
    wide, high = gauge.stitch_width_cm, gauge.row_height_cm
    if gauge.ripple_factor is not None or gauge.rise_cm is not None:
        across = plan.size.width_cm / plan.worked.row_stitches
        theta = math.asin(min(1.0, 2 * across / plan.size.rise_per_row_cm)) / 2
        wide, high = across / math.cos(theta), across / math.sin(theta)
    return _laid(plan.worked.repeat, wide, high)


@lru_cache(maxsize=16)
def _laid(row: Row, stitch_width_cm: float, row_height_cm: float) -> RowLayout:
    """Return a row laid out; kept, because a drawing's geometry is known by its layout."""
    return lay_row(row, stitch_width_cm=stitch_width_cm, row_height_cm=row_height_cm)


@lru_cache(maxsize=4)
def _laid_in_turn(
    rows: tuple[Row, Row], stitch_width_cm: float, heights: tuple[tuple[str, float], ...]
) -> tuple[RowLayout, RowLayout]:
    """Return two rows of unlike stitches laid out; kept like `_laid`."""
    return lay_heights(rows, stitch_width_cm=stitch_width_cm, heights_cm=dict(heights))


def stripe_marks(plan: Plan, window: tuple[float, float, float, float]) -> tuple[Mark, ...]:
    """Return where each stripe's number belongs beside a window (left, bottom, right, top in cm), lowest first."""
    laid = plan_layout(plan)
    layout = laid if isinstance(laid, RowLayout) else laid[0]
    edge = float(layout.wave_y(layout.width_cm))
    marks = []
    for planned in plan.stripes:
        middle = edge + (planned.first_row - 1 + planned.stripe.rows / 2) * layout.rise_cm
        marks.append(Mark(str(planned.number), (window[3] - middle) / (window[3] - window[1])))
    return tuple(marks)


def drawn_stripes(plan: Plan) -> tuple[DrawnStripe, ...]:
    """Return the stripes of a plan as the picture takes them, first worked first."""
    colours = {yarn.name: yarn.srgb for yarn in plan.brief.yarns}
    return tuple(
        DrawnStripe(
            strand_colours=tuple(colours[name] for name in planned.stripe.strands),
            rows=planned.stripe.rows,
            label=str(planned.number),
        )
        for planned in plan.stripes
    )


def plan_pixels(plan: Plan, size_px: tuple[int, int] = (1600, 1200)) -> tuple[NDArray[np.uint8], tuple[Mark, ...]]:
    """Return the blanket drawn to fit a size, and where its stripe numbers belong.

    Parameters
    ----------
    plan : Plan
    size_px : (int, int)
        Greatest width and height.

    Returns
    -------
    pixels : ndarray of uint8, shape (h, w, 3)
        sRGB, in true proportion, as large as fits.
    marks : tuple of Mark
        One per stripe, from the first worked (the lowest) up.
    """
    layout, stripes = plan_layout(plan), drawn_stripes(plan)
    width, height = blanket_size_cm(stripes, layout)
    window = (-AROUND_CM, -AROUND_CM, width + AROUND_CM, height + AROUND_CM)
    across, tall = window[2] - window[0], window[3] - window[1]
    scale = min(size_px[0] / across, size_px[1] / tall)
    pixels = draw_blanket(
        stripes,
        layout,
        px_per_cm=scale,
        window=window,
        background="#ffffff",
        back_loops=plan.brief.ripple.loops == "back",
    )
    return pixels, stripe_marks(plan, window)


def thin_marks(marks: tuple[Mark, ...], least: float) -> tuple[Mark, ...]:
    """Return marks at least a distance apart; the first and the last are kept, the others as far as they fit.

    Parameters
    ----------
    marks : tuple of Mark
        In order along the picture.
    least : float
        Least distance as a share of the picture's height.
    """
    if len(marks) < 3:
        return marks
    kept = [marks[0]]
    for mark in marks[1:-1]:
        if abs(mark.place - kept[-1].place) >= least and abs(mark.place - marks[-1].place) >= least:
            kept.append(mark)
    return (*kept, marks[-1])


def plan_picture(
    plan: Plan, *, size_px: tuple[int, int] = (1600, 1200), legend: bool | Literal["numbers"] = True
) -> bytes:
    """Return the picture of a plan as PNG bytes without metadata.

    Parameters
    ----------
    plan : Plan
    size_px : (int, int)
        Greatest width and height of the blanket; a legend is added beside it.
    legend : bool or "numbers"
        True: letters, names and colours of the yarns at the right and stripe numbers at the edge;
        "numbers": the stripe numbers only.
    """
    pixels, marks = plan_pixels(plan, size_px)
    if legend:
        tall = pixels.shape[0]
        colours = {yarn.name: yarn.srgb for yarn in plan.brief.yarns}
        signs = letters(name for planned in plan.stripes for name in planned.stripe.strands)
        pixels = with_legend(
            pixels,
            [(sign, name, (colours[name],)) for name, sign in signs.items()] if legend is True else [],
            marks=[(mark.place * tall, mark.text) for mark in thin_marks(marks, 0.03)],
        )
    return encode_png(pixels)
