"""The blanket drawn: stripes in their strands' colours over rows of stitches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import hex_to_linear
from blendplan.fabric.layout import RowLayout
from blendplan.picture.distance import encode

__all__ = ["DrawnStripe", "blanket_size_cm", "draw_blanket"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnStripe:
    """One stripe as the picture needs it.

    Attributes
    ----------
    strand_colours : tuple of str or of (r, g, b)
        `#rrggbb` or linear sRGB of each strand, 1 to 4 of them.
    rows : int
    label : str
    """

    strand_colours: tuple[str | tuple[float, float, float], ...]
    rows: int
    label: str = ""


def blanket_size_cm(stripes: Sequence[DrawnStripe], layout: RowLayout) -> tuple[float, float]:
    """Return width and height of the drawn blanket, wave at both edges included."""
    return layout.width_cm, sum(s.rows for s in stripes) * layout.rise_cm + layout.wave_cm


def draw_blanket(
    stripes: Sequence[DrawnStripe],
    layout: RowLayout,
    *,
    size_px: tuple[int, int] | None = None,
    px_per_cm: float | None = None,
    window: tuple[float, float, float, float] | None = None,
    seed: int = 0,
    background: str = "#ecebe8",
) -> NDArray[np.uint8]:
    """Return the blanket as 8-bit sRGB, shape (h, w, 3); flat bands for now."""
    width, height = blanket_size_cm(stripes, layout)
    left, bottom, right, top = window or (-1.0, -1.0, width + 1.0, height + 1.0)
    if px_per_cm is None:
        w, h = size_px or (1600, 1200)
        px_per_cm = min(w / (right - left), h / (top - bottom))
    else:
        w, h = round((right - left) * px_per_cm), round((top - bottom) * px_per_cm)
    x = (left + right) / 2 + (np.arange(w) - w / 2 + 0.5) / px_per_cm
    y = (bottom + top) / 2 - (np.arange(h) - h / 2 + 0.5) / px_per_cm
    row = np.floor((y[:, None] - layout.wave_y(x)) / layout.rise_cm).astype(int)
    ends = np.cumsum([s.rows for s in stripes])
    slot = np.searchsorted(ends, row, side="right")
    slot = np.where((row < 0) | (row >= ends[-1]) | (x < 0) | (x > width), len(stripes), slot)
    colours = [
        np.mean([hex_to_linear(c) if isinstance(c, str) else np.asarray(c) for c in s.strand_colours], axis=0)
        for s in stripes
    ]
    table = encode(np.stack([*colours, hex_to_linear(background)]))
    return table[slot]
