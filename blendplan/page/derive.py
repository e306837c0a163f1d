"""Results worked out from a frozen brief and kept for the next run.

`functools.lru_cache` rather than the page library's own cache: a frozen brief is its own exact key, and a
frozen plan needs no copy on the way out.
Every cache is bounded.
"""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from blendplan.fabric.layout import RowLayout
from blendplan.outputs.render import drawn_stripes, plan_layout, stripe_marks, thin_marks
from blendplan.picture.distance import grey_look, seen_from
from blendplan.picture.geometry import Geometry, View, prepare
from blendplan.picture.jpeg import encode_jpeg
from blendplan.picture.scene import blanket_size_cm, paint, shape_of, view_of, window_of_repeat, window_of_stripe
from blendplan.plan import Brief, Plan, make_plan

__all__ = ["Look", "Seen", "paper_bytes", "plan_of", "seen", "seen_small"]

GROUND = "#8c8c8c"
# Pixels of a centimetre under which no stitch can be drawn; a very long blanket is a tall picture then.
LEAST_SCALE = 0.5
AROUND_CM = 1.5
# Repeats shown across when one stripe is looked at.
CLOSE_REPEATS = 2.5
# Numbers beside the picture stand at least this share of its height apart.
LEAST_APART = 0.032


_DRAWING = threading.Lock()


@lru_cache(maxsize=64)
def plan_of(brief: Brief) -> Plan:
    """Return the plan of a brief."""
    return make_plan(brief)


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How the picture is looked at.

    Attributes
    ----------
    zoom : {"whole", "stripe", "repeat"}
    stripe : int
        The stripe looked at, from 1, for the two close looks.
    metres : float
        From the eye; 0 is the picture as it is drawn.
    grey : bool
        By lightness alone.
    """

    zoom: str = "whole"
    stripe: int = 1
    metres: float = 0.0
    grey: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A picture to show: JPEG bytes, its size in pixels, and where stripe numbers belong (0 top to 1)."""

    jpeg: bytes
    width: int
    height: int
    marks: tuple[tuple[str, float], ...] = ()


@lru_cache(maxsize=16)
def _geometry(
    shape: tuple[tuple[int, int], ...], layout: RowLayout | tuple[RowLayout, RowLayout], view: View, back_loops: bool
) -> Geometry:
    """Return the drawing without colours: it serves every order and every shade of the same rows."""
    return prepare(shape, layout, view, back_loops=back_loops)


def _marks(plan: Plan, window: tuple[float, float, float, float]) -> tuple[tuple[str, float], ...]:
    """Return the numbers of the stripes beside the right edge, those in sight, thinned where they would touch."""
    shown = tuple(mark for mark in stripe_marks(plan, window) if 0 < mark.place < 1)
    return tuple((mark.text, mark.place) for mark in thin_marks(shown, LEAST_APART))


def _step_down(scale: float) -> float:
    """Return the scale on a ladder of steps of a fifth, so that stitches drawn once serve blankets of many rows."""
    return max(LEAST_SCALE, float(1.2 ** math.floor(math.log(scale, 1.2))))


@lru_cache(maxsize=48)
def seen(brief: Brief, size: tuple[int, int], look: Look) -> Seen:
    """Return the picture of a brief as large as fits a size, looked at in a certain way."""
    # One drawing at a time: drawings side by side only take the processor from each other.
    with _DRAWING:
        return _draw(plan_of(brief), size, look)


def _draw(plan: Plan, size: tuple[int, int], look: Look) -> Seen:
    """Return the picture of a plan."""
    brief = plan.brief
    layout, stripes = plan_layout(plan), drawn_stripes(plan)
    width, height = blanket_size_cm(stripes, layout)
    window = (-AROUND_CM, -AROUND_CM, width + AROUND_CM, height + AROUND_CM)
    at = min(max(look.stripe, 1), len(stripes))
    if look.zoom == "stripe":
        window = window_of_stripe(
            stripes, layout, at - 1, width_cm=min(width, CLOSE_REPEATS * width / plan.worked.ripple.repeats)
        )
    elif look.zoom == "repeat":
        window = window_of_repeat(stripes, layout, row=plan.stripes[at - 1].first_row - 1)
    scale = _step_down(min(size[0] / (window[2] - window[0]), size[1] / (window[3] - window[1])))
    view = view_of(stripes, layout, px_per_cm=scale, window=window)
    geometry = _geometry(shape_of(stripes), layout, view, brief.ripple.loops == "back")
    # The ground is the neutral grey of the page, so that nothing bright makes the shades look darker.
    pixels: Any = paint(geometry, [s.strand_colours for s in stripes], background=GROUND)
    if look.metres:
        pixels = seen_from(pixels, px_per_cm=scale, distance_cm=100 * look.metres)
    if look.grey:
        pixels = grey_look(pixels)
    return Seen(jpeg=encode_jpeg(pixels), width=pixels.shape[1], height=pixels.shape[0], marks=_marks(plan, window))


def seen_small(brief: Brief) -> Seen:
    """Return the picture in small, for comparing."""
    return seen(brief, (280, 320), Look())


@lru_cache(maxsize=12)
def paper_bytes(brief: Brief, kind: str, paper: str, lang: str, dialect: str) -> bytes:
    """Return one of the files that the page offers, made when it is asked for."""
    plan = plan_of(brief)
    if kind == "pdf":
        from blendplan.outputs.pdf import plan_pdf

        return plan_pdf(plan, paper=paper, lang=lang)
    if kind == "png":
        from blendplan.outputs.render import plan_picture

        return plan_picture(plan)
    if kind == "html":
        from blendplan.outputs.sheet import plan_html

        return plan_html(plan, lang=lang).encode("utf-8")
    from blendplan.outputs.tables import rows_txt, stripes_csv

    if kind == "txt":
        return rows_txt(plan, lang=lang)
    if kind == "stripes":
        return stripes_csv(plan, semicolon=dialect == "semicolon", lang=lang)
    from blendplan.outputs.shopping import shopping_csv

    shades = {yarn.name: yarn.srgb for yarn in brief.yarns}
    return shopping_csv(
        plan.yardage, currency=brief.currency, shades=shades, semicolon=dialect == "semicolon", lang=lang
    )
