"""A stitch diagram of two rows: one repeat and both edges, every stitch where it stands and goes in.

Signs follow what charts of the trade commonly use: a round for a chain, a dot for a slip stitch, a cross for a
single crochet, a T for a half double, a T with one stroke for a double and with two for a treble crochet.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from html import escape
from math import cos

from blendplan.fabric.gauge import WIDTH_OVER_HEIGHT, Gauge
from blendplan.fabric.layout import lay_row
from blendplan.fabric.ripple import Worked, work
from blendplan.wording import note

STROKES = {"hdc": 0, "dc": 1, "tr": 2}
PITCH = 24.0  # pixels of a stitch's width
INK, PALE, BASE = "#222222", "#9a9a9a", "#b9b2a6"


def diagram_svg(worked: Worked, gauge: Gauge, *, lang: str = "en") -> str:
    """Return a diagram as SVG, two repeats with the edges pale; the same input gives the same text."""
    small = work(replace(worked.ripple, repeats=2, setup=False))
    (first, across), (second, _) = (_marks(small, i, gauge) for i in (0, 1))
    # right-handed work: row 1 is worked from the right, row 2 after turning from the left
    first = [mark.mirrored(across) for mark in first]
    lift = _lift(small, first, gauge)
    second = [mark.raised(lift(mark.foot[0])) for mark in second]
    dark = _dark(small, across)
    every = [*first, *second]
    left = min(min(m.foot[0], m.head[0]) for m in every)
    top, bottom = max(m.head[1] for m in every), min(m.foot[1] for m in every)
    unit, margin = PITCH / gauge.stitch_width_cm, 2 * PITCH
    width = (max(max(m.foot[0], m.head[0]) for m in every) - left) * unit + 2 * margin
    height = (top - bottom) * unit + 2 * margin
    name = note("Stitch diagram of rows 1 and 2, one repeat in dark ink").say(lang)

    def at(x: float, y: float) -> complex:
        return complex(margin + (x - left) * unit, margin + (top - y) * unit)

    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(width)} {_n(height)}" role="img" '
        f'aria-label="{escape(name, quote=True)}" stroke-linecap="round" fill="none">'
    ]
    for x, y in sorted({(round(m.foot[0], 3), round(m.foot[1], 3)) for m in first if m.kind != "ch"}):
        out.append(_round(at(x, y) + 0.25j * PITCH, 0.3 * PITCH, 0.14 * PITCH, f'stroke="{BASE}"'))
    for mark in every:
        ink = INK if dark[0] <= mark.head[0] <= dark[1] else PALE
        out.append(_sign(mark.kind, at(*mark.foot), at(*mark.head), ink=ink, chains=mark.chains))
    for number, mark, side in ((1, first[0], 1), (2, second[0], -1)):
        beside = (at(*mark.foot) + at(*mark.head)) / 2 + side * 1.2 * PITCH
        out.append(
            f'<text x="{_n(beside.real)}" y="{_n(beside.imag)}" font-family="sans-serif" '
            f'font-size="{_n(0.7 * PITCH)}" text-anchor="middle" fill="{INK}">{number}</text>'
        )
    out.append("</svg>")
    return "\n".join(out) + "\n"


def _n(value: float) -> str:
    return f"{float(value):.2f}".rstrip("0").rstrip(".")


@dataclass(frozen=True, slots=True)
class _Mark:
    """One sign: where its stitch goes in and where its head is, cm, y up; `chains` of a turning chain."""

    kind: str
    foot: tuple[float, float]
    head: tuple[float, float]
    chains: int = 0

    def mirrored(self, width: float) -> _Mark:
        return replace(self, foot=(width - self.foot[0], self.foot[1]), head=(width - self.head[0], self.head[1]))

    def raised(self, by: float) -> _Mark:
        return replace(self, foot=(self.foot[0], self.foot[1] + by), head=(self.head[0], self.head[1] + by))


def _marks(small: Worked, index: int, gauge: Gauge) -> tuple[list[_Mark], float]:
    """Return the signs of one row in the order they are worked, from the left, and the width of the row, cm."""
    row = small.rows[index]
    layout = lay_row(row, stitch_width_cm=gauge.stitch_width_cm, row_height_cm=gauge.row_height_cm)
    turn = row.parts[0].steps[0]
    tall = gauge.row_height_cm * WIDTH_OVER_HEIGHT[gauge.stitch]
    marks = []
    for i, kind in enumerate(layout.kinds):
        foot = (float(layout.base[i, 0]), float(layout.base[i, 1]))
        head = (float(layout.top[i, 0]), float(layout.top[i, 1]))
        if small.ripple.kind == "heights":
            # straight rows of unlike heights: the head as high above the foot as its own stitch
            foot = (foot[0], 0.0)
            head = (head[0], tall / WIDTH_OVER_HEIGHT.get(kind, WIDTH_OVER_HEIGHT["tr"]))
        marks.append(_Mark(kind, foot, head, turn.count if kind == "tch" else 0))
    if not turn.stands and not any(m.kind == "tch" for m in marks):
        # a turning chain that does not count: beside the first stitch, or as the first leg to its head
        start = marks[0]
        foot = (start.foot[0] - gauge.stitch_width_cm * (0.9 if turn.takes else 0.6), start.foot[1])
        reach = 1.0 if turn.takes else 0.6
        head = (foot[0] + (start.head[0] - foot[0]) * reach * 0.8, foot[1] + (start.head[1] - foot[1]) * reach * 0.9)
        marks.insert(0, _Mark("tch", foot, head if turn.takes else (foot[0], head[1]), turn.count))
    return marks, layout.width_cm


def _lift(small: Worked, first: list[_Mark], gauge: Gauge) -> Callable[[float], float]:
    """Return how far row 2 stands above row 1 at x: one rise, or in straight rows the stitch below."""
    if small.ripple.kind == "heights":
        return lambda x: min(first, key=lambda m: abs(m.head[0] - x)).head[1]
    rise = gauge.row_height_cm / cos(gauge.theta)
    return lambda _: rise


def _dark(small: Worked, across: float) -> tuple[float, float]:
    """Return from where to where the repeated part of row 2 reaches, cm."""
    row = small.rows[1]
    place = across / row.made
    start, part = row.parts[0].made, row.parts[1].made // row.parts[1].times
    return start * place, (start + part) * place


def _sign(kind: str, foot: complex, head: complex, *, ink: str, chains: int) -> str:
    """Return the sign of a stitch from its foot to its head, pixels (x + y i, y down)."""
    tall = abs(head - foot) or 1.0
    along = (head - foot) / tall
    across = -1j * along
    pen = f'stroke="{ink}" stroke-width="1.6"'
    if kind == "ch":
        return _round(head, 0.36 * PITCH, 0.2 * PITCH, pen)
    if kind == "tch":
        one = tall / max(chains, 1)
        return "".join(_round(foot + along * one * (i + 0.5), 0.2 * PITCH, 0.42 * one, pen) for i in range(chains))
    middle, arm = (foot + head) / 2, 0.3 * PITCH * across
    if kind == "sl st":
        return f'<circle cx="{_n(middle.real)}" cy="{_n(middle.imag)}" r="{_n(0.12 * PITCH)}" fill="{ink}"/>'
    if kind == "sc":
        # a cross on the line from foot to head
        return _path(pen, (foot, head), (middle + arm, middle - arm))
    # a post from its foot to just below its head, a bar on top, and slanting strokes across the middle
    neck = head - 0.1 * tall * along
    lines = [(foot, neck), (neck + arm, neck - arm)]
    for i in range(STROKES[kind]):
        at, stroke = foot + along * tall * (0.62 - 0.14 * i), 0.18 * PITCH * (across + 0.6 * along)
        lines.append((at + stroke, at - stroke))
    return _path(pen, *lines)


def _round(at: complex, rx: float, ry: float, pen: str) -> str:
    return f'<ellipse cx="{_n(at.real)}" cy="{_n(at.imag)}" rx="{_n(rx)}" ry="{_n(ry)}" {pen}/>'


def _path(pen: str, *lines: tuple[complex, complex]) -> str:
    data = "".join(f"M{_n(a.real)} {_n(a.imag)}L{_n(b.real)} {_n(b.imag)}" for a, b in lines)
    return f'<path d="{data}" {pen}/>'
