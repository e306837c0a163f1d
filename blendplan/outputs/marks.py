"""Colour patches on paper that can be told apart without colour: hatched, lettered, outlined."""

from __future__ import annotations

from collections.abc import Sequence

from blendplan.outputs.content import YarnWords
from blendplan.outputs.look import HATCHINGS, hatch, on_colour
from blendplan.outputs.paper import INK, Drawn, Paper

__all__ = ["Patches"]

_STEP_MM = 1.5


class Patches:
    """Draws patches of yarns; each yarn keeps its hatching through the whole document.

    Parameters
    ----------
    paper : Paper
    yarns : sequence of YarnWords
        In the order of their letters.
    """

    def __init__(self, paper: Paper, yarns: Sequence[YarnWords]) -> None:
        self._paper = paper
        self._yarns = {yarn.name: yarn for yarn in yarns}
        self._hatching = {yarn.name: HATCHINGS[i % len(HATCHINGS)] for i, yarn in enumerate(yarns)}

    def paint(self, names: Sequence[str], place: tuple[float, float, float, float], *, signs: bool = True) -> None:
        """Fill (x, y, width, height) with the strands side by side, each with its hatching and letter."""
        x, y, w, h = place
        pdf = self._paper.pdf
        part = w / len(names)
        for i, name in enumerate(names):
            self._one(name, (x + i * part, y, part, h), signs=signs)
        pdf.set_draw_color(INK)
        pdf.set_line_width(0.2)
        pdf.rect(x, y, w, h)
        for i in range(1, len(names)):
            pdf.line(x + i * part, y, x + i * part, y + h)

    def _one(self, name: str, place: tuple[float, float, float, float], *, signs: bool) -> None:
        x, y, w, h = place
        pdf, yarn = self._paper.pdf, self._yarns[name]
        pdf.set_fill_color(*_rgb(yarn.srgb))
        pdf.rect(x, y, w, h, style="F")
        ink = on_colour(yarn.lab)
        pdf.set_draw_color(ink)
        pdf.set_line_width(0.18)
        dots = self._hatching[name] == "dots"
        for x0, y0, x1, y1 in hatch(self._hatching[name], w, h, _STEP_MM):
            if dots:
                pdf.set_fill_color(ink)
                pdf.circle(x + x0, y + y0, 0.25, style="F")
            else:
                pdf.line(x + x0, y + y0, x + x1, y + y1)
        if signs and h >= 3.5 and w >= 3.5:
            size = min(9.0, h * 2.2)
            self._paper.font(size, bold=True)
            wide = pdf.get_string_width(yarn.letter) + 1.2
            tall = size * 0.40
            pdf.set_fill_color(255)
            pdf.rect(x + (w - wide) / 2, y + (h - tall) / 2, wide, tall, style="F")
            pdf.set_xy(x, y)
            pdf.cell(w, h, yarn.letter, align="C")

    def cell(self, names: Sequence[str], height: float = 5.0) -> Drawn:
        """Return a cell of a table with the patch of some strands."""
        return Drawn(lambda x, y, w, h: self.paint(names, (x, y, w, height)), height)


def _rgb(srgb: str) -> tuple[int, int, int]:
    return int(srgb[1:3], 16), int(srgb[3:5], 16), int(srgb[5:7], 16)
