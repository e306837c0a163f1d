"""A stitch diagram of two rows: one repeat and both edges, every stitch where it stands and goes in.

Signs follow what charts of the trade commonly use: a round for a chain, a dot for a slip stitch, a cross for a
single crochet, a T for a half double, a T with one stroke for a double and with two for a treble crochet.
"""

from __future__ import annotations

from dataclasses import replace
from html import escape
from math import hypot

from blendplan.fabric.gauge import Gauge
from blendplan.fabric.layout import RowLayout, lay_row
from blendplan.fabric.ripple import Worked, work
from blendplan.wording import note

__all__ = ["diagram_svg"]

STROKES = {"hdc": 0, "dc": 1, "tr": 2}
INK, PALE, BASE = "#222222", "#9a9a9a", "#b9b2a6"


def diagram_svg(worked: Worked, gauge: Gauge, *, scale: float = 24.0, lang: str = "en", title: str = "") -> str:
    """Return a diagram as SVG; the same input gives the same text.

    Parameters
    ----------
    worked : Worked
        Drawn with two repeats: the part that repeats in ink, the edges pale.
    gauge : Gauge
    scale : float
        Pixels of a stitch's width.
    lang : str
    title : str
        Read out by screen readers; a plain one without.
    """
    small = work(replace(worked.ripple, repeats=2))
    unit = scale / gauge.stitch_width_cm
    lower, upper = (
        lay_row(row, stitch_width_cm=gauge.stitch_width_cm, row_height_cm=gauge.row_height_cm) for row in small.rows[:2]
    )
    width = max(lower.width_cm, upper.width_cm) * unit
    deep = float(-lower.base[:, 1].min())
    high = upper.rise_cm + float(upper.top[:, 1].max())
    margin = 2 * scale
    height = (deep + high) * unit + 2 * margin
    name = title or note("Stitch diagram of rows 1 and 2, one repeat in dark ink").say(lang)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(width + 2 * margin)} {_n(height)}" role="img" '
        f'aria-label="{escape(name, quote=True)}" stroke-linecap="round" fill="none">'
    ]

    def put(layout: RowLayout, lift: float) -> None:
        dark = _repeat_span(layout, small)
        for i, kind in enumerate(layout.kinds):
            foot = (margin + layout.base[i, 0] * unit, height - margin - (layout.base[i, 1] + lift + deep) * unit)
            head = (margin + layout.top[i, 0] * unit, height - margin - (layout.top[i, 1] + lift + deep) * unit)
            pitch = layout.top_span[i] * unit
            # a turning chain is drawn as its chains, from its foot to its head
            chains = small.ripple.turn if kind == "tch" else 0
            out.append(_sign(kind, foot, head, pitch=pitch, ink=INK if dark[0] <= i < dark[1] else PALE, chains=chains))

    for i, kind in enumerate(lower.kinds):
        if kind != "ch":
            x = margin + lower.base[i, 0] * unit
            y = height - margin - (lower.base[i, 1] + deep) * unit + 0.25 * scale
            out.append(
                f'<ellipse cx="{_n(x)}" cy="{_n(y)}" rx="{_n(0.3 * scale)}" ry="{_n(0.14 * scale)}" stroke="{BASE}"/>'
            )
    put(lower, 0.0)
    put(upper, lower.rise_cm)
    out.append("</svg>")
    return "\n".join(out) + "\n"


def _n(value: float) -> str:
    return f"{float(value):.2f}".rstrip("0").rstrip(".")


def _repeat_span(layout: RowLayout, small: Worked) -> tuple[int, int]:
    """Return the first stitch of the repeated part and the one after its last."""
    runs = layout.runs
    return runs[1] if len(runs) > 2 else (0, len(layout.kinds)) if small.ripple.kind == "heights" else runs[-1]


def _sign(
    kind: str, foot: tuple[float, float], head: tuple[float, float], *, pitch: float, ink: str, chains: int
) -> str:
    (x0, y0), (x1, y1) = foot, head
    long = hypot(x1 - x0, y1 - y0) or 1.0
    ux, uy = (x1 - x0) / long, (y1 - y0) / long
    pen = f'stroke="{ink}" stroke-width="1.6"'
    if kind == "ch":
        return f'<ellipse cx="{_n(x1)}" cy="{_n(y1)}" rx="{_n(0.36 * pitch)}" ry="{_n(0.2 * pitch)}" {pen}/>'
    if kind == "tch":
        tall = long / max(chains, 1)
        rounds = [(x0 + ux * tall * (i + 0.5), y0 + uy * tall * (i + 0.5)) for i in range(chains)]
        return "".join(
            f'<ellipse cx="{_n(x)}" cy="{_n(y)}" rx="{_n(0.2 * pitch)}" ry="{_n(0.42 * tall)}" {pen}/>'
            for x, y in rounds
        )
    if kind == "sl st":
        return f'<circle cx="{_n((x0 + x1) / 2)}" cy="{_n((y0 + y1) / 2)}" r="{_n(0.12 * pitch)}" fill="{ink}"/>'
    if kind == "sc":
        # a cross on the line from foot to head
        mx, my, arm = (x0 + x1) / 2, (y0 + y1) / 2, 0.3 * pitch
        return _path(pen, (x0, y0, x1, y1), (mx + uy * arm, my - ux * arm, mx - uy * arm, my + ux * arm))
    # a post from its foot to just below its head, a bar on top, and slanting strokes across the middle
    inset = 0.1 * long
    hx, hy = x1 - ux * inset, y1 - uy * inset
    bar = 0.3 * pitch
    lines = [(x0, y0, hx, hy), (hx + uy * bar, hy - ux * bar, hx - uy * bar, hy + ux * bar)]
    for i in range(STROKES[kind]):
        at = 0.62 - 0.14 * i
        sx, sy, arm = x0 + ux * long * at, y0 + uy * long * at, 0.18 * pitch
        slant = 0.6 * arm
        lines.append(
            (
                sx + uy * arm + ux * slant,
                sy - ux * arm + uy * slant,
                sx - uy * arm - ux * slant,
                sy + ux * arm - uy * slant,
            )
        )
    return _path(pen, *lines)


def _path(pen: str, *lines: tuple[float, float, float, float]) -> str:
    data = "".join(f"M{_n(a)} {_n(b)}L{_n(c)} {_n(d)}" for a, b, c, d in lines)
    return f'<path d="{data}" {pen}/>'
