"""The legend beside a picture: number, name and colours of each yarn, and stripe numbers at the blanket."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from blendplan.picture.fonts import drawable, load_font

__all__ = ["with_legend"]


def with_legend(
    picture: NDArray[np.uint8],
    entries: Sequence[tuple[int | str, str, Sequence[str]]],
    *,
    marks: Sequence[tuple[float, str]] = (),
) -> NDArray[np.uint8]:
    """Return the picture with a legend at its right.

    Parameters
    ----------
    picture : ndarray of uint8, shape (h, w, 3)
    entries : sequence of (number, name, swatch colours)
        Colours as `#rrggbb`.
    marks : sequence of (y, text)
        Texts set beside the picture at a height in pixels from its top: the stripe numbers.

    Returns
    -------
    ndarray of uint8, shape (h', w', 3)
    """
    from PIL import Image, ImageDraw  # noqa: PLC0415

    height, width = picture.shape[:2]
    size = max(12, height // 45)
    font = load_font(size)
    step = round(size * 1.9)
    panel = round(size * 3 + max([font.getlength(drawable(f"{n}  {name}")) for n, name, _ in entries] or [0]) + step)
    gutter = round(max([font.getlength(text) for _, text in marks] or [0]) + size)
    out = Image.new("RGB", (width + gutter + panel, max(height, step * (len(entries) + 1))), "#ffffff")
    out.paste(Image.fromarray(picture), (0, 0))
    draw = ImageDraw.Draw(out)
    for y, text in marks:
        draw.text((width + size // 2, y), text, fill="#222222", font=font, anchor="lm")
    for i, (number, name, colours) in enumerate(entries):
        x, y = width + gutter, step // 2 + i * step
        for j, colour in enumerate(colours):
            piece = 2 * size / len(colours)
            draw.rectangle((x + j * piece, y, x + (j + 1) * piece, y + size), fill=colour)
        draw.rectangle((x, y, x + 2 * size, y + size), outline="#222222")
        draw.text((x + 2.5 * size, y + size / 2), drawable(f"{number}  {name}"), fill="#222222", font=font, anchor="lm")
    return np.asarray(out)
