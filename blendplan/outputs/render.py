"""The one place that turns a plan into picture calls; page, paper and sheet all draw through it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from blendplan.blend.pair import strand_mm
from blendplan.blend.strands import STRAND_MM
from blendplan.colour import lab_to_linear
from blendplan.fabric.gauge import WIDTH_OVER_HEIGHT, default_gauge
from blendplan.fabric.layout import RowLayout, lay_heights, lay_row
from blendplan.fabric.rows import Part, Row, Step
from blendplan.fabric.shapes import LADDER
from blendplan.outputs.content import letters_of
from blendplan.picture.canvas import Geometry, cut_out, encode_png, paint
from blendplan.picture.geometry import Shape, prepare
from blendplan.picture.legend import with_legend, with_title
from blendplan.picture.scene import DrawnStripe, blanket_size_cm, draw_blanket, shape_of, view_of
from blendplan.plan import Plan
from blendplan.quantities import Quantities
from blendplan.yarn import Yarn

# Stitch of a drawn swatch in pixels: as the plainest pictures of fabric are looked at.
SWATCH_STITCH_PX = 46.0
# Thinnest and fullest strands for their stitch that are drawn: beyond, loops would fall apart or swallow each other.
LEAST_FULL, MOST_FULL = 0.7, 1.2
# White paper around the blanket, cm, so that the wave is seen as an edge.
AROUND_CM = 1.5


@dataclass(frozen=True, slots=True)
class Mark:
    """Where the number of a stripe belongs: its text and its place down the picture's right side, 0 top to 1."""

    text: str
    place: float


def plan_layout(plan: Plan) -> RowLayout | tuple[RowLayout, RowLayout]:
    """Return the layout of a plan's rows: one row, or two that alternate; the same value for the same fabric.

    Where the ripple itself was measured, the stitch is drawn as wide and high as gives the measured width and
    rise: with W the measured width and r the rise of one stitch, sin(2 theta) = 2 W / r.
    A swatch that no tilted fabric can match (W above r / 2) is drawn at 45 degrees and its own width.
    """
    gauge = plan.gauge
    if plan.worked.ripple.kind == "heights":
        tall = gauge.row_height_cm * WIDTH_OVER_HEIGHT[gauge.stitch]
        heights = tuple((kind, tall / WIDTH_OVER_HEIGHT[kind]) for kind in LADDER)
        return _laid_in_turn((plan.worked.row_at(3), plan.worked.row_at(2)), gauge.stitch_width_cm, heights)
    wide, high = gauge.stitch_width_cm, gauge.row_height_cm
    if gauge.ripple_factor is not None or gauge.rise_cm is not None:
        across = plan.size.width_cm / plan.worked.row_places
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
    yarns = {yarn.name: yarn for yarn in plan.yarns}
    light = {name: lab_to_linear(yarn.lab) for name, yarn in yarns.items()}
    lent = plan.blanket.viewing.lent
    return tuple(
        DrawnStripe.of(
            [light[name] for name in planned.stripe.strands],
            planned.stripe.rows,
            shares=planned.blend.shares,
            lent=lent,
            fullness=fullness_of([yarns[name] for name in planned.stripe.strands], plan.gauge.stitch_width_cm),
        )
        for planned in plan.stripes
    )


def fullness_of(yarns: Sequence[Yarn], stitch_width_cm: float) -> float:
    """Return how thick the strands of a stripe are for a stitch, 1 where the stitch is as wide as is usual for them.

    Strands of unknown width count as usual. Kept within what can be drawn, in steps of a twentieth.
    """
    widths = [strand_mm(yarn) for yarn in yarns]
    known = [w for w in widths if w is not None]
    if len(known) < len(widths) or not known:
        return 1.0
    usual = default_gauge(4, strands=len(yarns)).stitch_width_cm * (sum(known) / len(known)) / STRAND_MM
    return round(20 * min(max(usual / stitch_width_cm, LEAST_FULL), MOST_FULL)) / 20


def swatch_pixels(strands: Sequence[NDArray[np.float64]], shares: Sequence[float]) -> tuple[NDArray[np.uint8], float]:
    """Return the inside of a flat piece of double crochet worked of some strands, and its pixels per centimetre.

    `strands` is the light of each in a solid of its own, up to 4; by their visible `shares` they light each other.
    It is twelve stitches and six rows of medium yarn.
    """
    drawn = DrawnStripe.of(strands, 10, shares=shares)
    drawing = _swatch(shape_of([drawn]))
    return paint(drawing, [drawn.strand_colours]), drawing.view.px_per_cm


@lru_cache(maxsize=4)
def _swatch(shape: tuple[Shape, ...]) -> Geometry:
    """Return the drawing of a swatch without its colours."""
    gauge = default_gauge(4)
    wide, high = gauge.stitch_width_cm, gauge.row_height_cm
    row = Row(name="plain", parts=(Part(steps=(Step(kind="each", stitch="dc", count=16),)),))
    layout = lay_row(row, stitch_width_cm=wide, row_height_cm=high)
    window = (2 * wide, 2 * high, 14 * wide, 8 * high)
    view = view_of((), layout, px_per_cm=SWATCH_STITCH_PX / wide, window=window)
    return prepare(shape, layout, view, back_loops=False)


def plan_pixels(plan: Plan, size_px: tuple[int, int] = (1600, 1200)) -> tuple[NDArray[np.uint8], tuple[Mark, ...]]:
    """Return the blanket drawn to fit a size, and where its stripe numbers belong."""
    layout, stripes = plan_layout(plan), drawn_stripes(plan)
    width, height = blanket_size_cm(stripes, layout)
    window = (-AROUND_CM, -AROUND_CM, width + AROUND_CM, height + AROUND_CM)
    scale = min(size_px[0] / (window[2] - window[0]), size_px[1] / (window[3] - window[1]))
    pixels = _drawn(stripes, layout, plan.worked.ripple.loops == "back", scale, window)
    return pixels, stripe_marks(plan, window)


@lru_cache(maxsize=1)
def _drawn(
    stripes: tuple[DrawnStripe, ...],
    layout: RowLayout | tuple[RowLayout, RowLayout],
    back_loops: bool,
    scale: float,
    window: tuple[float, float, float, float],
) -> NDArray[np.uint8]:
    """Return the drawing of a blanket on paper.

    It is kept for the next output: picture, sheet and what is shared show a blanket that is taller than wide alike.
    """
    pixels = draw_blanket(stripes, layout, px_per_cm=scale, window=window, background="#ffffff", back_loops=back_loops)
    pixels.flags.writeable = False
    return pixels


def plan_cutout(plan: Plan, size_px: tuple[int, int]) -> NDArray[np.uint8]:
    """Return the blanket without ground, as large as fits a size of up to 2000 px: sRGB and cover, shape (h, w, 4)."""
    layout, stripes = plan_layout(plan), drawn_stripes(plan)
    width, height = blanket_size_cm(stripes, layout)
    scale = min(size_px[0] / (width + 1), size_px[1] / (height + 1))
    view = view_of(stripes, layout, px_per_cm=scale, window=(-0.5, -0.5, width + 0.5, height + 0.5))
    geometry = prepare(shape_of(stripes), layout, view, back_loops=plan.worked.ripple.loops == "back")
    return cut_out(geometry, [s.strand_colours for s in stripes])


def thin_marks(marks: tuple[Mark, ...], least: float) -> tuple[Mark, ...]:
    """Return marks at least a distance apart; the first and the last are kept, the others as far as they fit."""
    if len(marks) < 3:
        return marks
    kept = [marks[0]]
    for mark in marks[1:-1]:
        if abs(mark.place - kept[-1].place) >= least and abs(mark.place - marks[-1].place) >= least:
            kept.append(mark)
    return (*kept, marks[-1])


def _legend(plan: Plan) -> list[tuple[str, str, tuple[str, ...]]]:
    """Return letter, name and colour of each yarn of the stripes, with the letters of the paper."""
    striped = {name for planned in plan.stripes for name in planned.stripe.strands}
    return [(sign, name, (plan.yarn(name).srgb,)) for name, sign in letters_of(plan).items() if name in striped]


def plan_picture(
    plan: Plan, *, size_px: tuple[int, int] = (1600, 1200), legend: bool | Literal["numbers"] = True
) -> bytes:
    """Return the picture of a plan as PNG bytes without metadata."""
    pixels, marks = plan_pixels(plan, size_px)
    if legend:
        tall = pixels.shape[0]
        numbers = [(mark.place * tall, mark.text) for mark in thin_marks(marks, 0.03)]
        pixels = with_legend(pixels, _legend(plan) if legend is True else [], marks=numbers)
    return encode_png(pixels)


def share_picture(plan: Plan, lang: str = "en") -> bytes:
    """Return one picture to share as PNG bytes: the blanket, its title and size, and the yarns it is made of."""
    show = Quantities(plan.blanket.ways.units, lang)
    shown = with_legend(plan_pixels(plan, (1200, 1200))[0], _legend(plan))
    return encode_png(with_title(shown, plan.blanket.title, show.both_sizes(plan.size.width_cm, plan.size.height_cm)))
