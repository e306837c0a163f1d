"""Results worked out from a frozen brief and kept for the next run.

`functools.lru_cache` rather than the page library's own cache: a frozen brief is its own exact key, and a
frozen plan needs no copy on the way out.
Every cache is bounded.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from blendplan.plan import Brief, Plan, make_plan

__all__ = ["plan_of", "small_png", "view_png"]


@lru_cache(maxsize=64)
def plan_of(brief: Brief) -> Plan:
    """Return the plan of a brief."""
    return make_plan(brief)


def _window(plan: Plan, zoom: str, width: float, height: float) -> tuple[float, float, float, float]:
    """Return left, bottom, right, top of what is shown, centimetres."""
    around = 1.5
    if zoom == "part":
        side = min(width, height, 45.0)
        middle = height / 2
        return (0.0, middle - side / 2, side, middle + side / 2)
    if zoom == "repeat":
        side = width / max(1, plan.worked.ripple.repeats)
        return (side, height / 2 - side, 2 * side + side / 2, height / 2 + side)
    return (-around, -around, width + around, height + around)


@lru_cache(maxsize=32)
def view_png(brief: Brief, size: tuple[int, int], zoom: str, metres: float, grey: bool) -> bytes:
    """Return the picture of a brief as PNG bytes, seen from a distance and in grey if asked."""
    from blendplan.outputs.render import drawn_stripes, plan_layout
    from blendplan.picture.distance import grey_look, seen_from
    from blendplan.picture.png import encode_png
    from blendplan.picture.scene import blanket_size_cm, draw_blanket

    plan = plan_of(brief)
    layout, stripes = plan_layout(plan), drawn_stripes(plan)
    width, height = blanket_size_cm(stripes, layout)
    window = _window(plan, zoom, width, height)
    scale = min(size[0] / (window[2] - window[0]), size[1] / (window[3] - window[1]))
    # The ground is the neutral grey of the page, so that nothing white makes the shades look darker.
    pixels: Any = draw_blanket(stripes, layout, px_per_cm=scale, window=window, background="#8c8c8c")
    if metres:
        pixels = seen_from(pixels, px_per_cm=scale, distance_cm=100 * metres)
    if grey:
        pixels = grey_look(pixels)
    return encode_png(pixels)


def small_png(brief: Brief) -> bytes:
    """Return the picture in small, for comparing."""
    return view_png(brief, (260, 300), "whole", 0.0, False)


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
