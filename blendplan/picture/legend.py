"""The legend beside a picture: number, name and colours of each yarn, and the numbers of the stripes.

Numbers carry the meaning, so the legend can be read in grey and by people who do not tell the colours apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import hex_to_lab
from blendplan.picture.fonts import drawable, load_font, missing_notice
from blendplan.wording import Notice

__all__ = ["Entry", "legend_notices", "with_legend"]

# Number or letter, name, colours of the swatch.
Entry = tuple[int | str, str, Sequence[str]]
PAPER, INK, FAINT = "#ffffff", "#222222", "#8a8a86"
LEAST_TEXT_PX = 11
# A line of text is about 1/50 of the picture's height: 4 mm on a sheet of A4.
LINES = 50


def _ink_on(colour: str) -> str:
    """Return black or white, whichever is further in lightness."""
    return "#000000" if hex_to_lab(colour)[0] > 55 else "#ffffff"


def _swatch(draw: Any, box: tuple[float, float, float, float], colours: Sequence[str], number: str, font: Any) -> None:
    left, top, right, bottom = box
    piece = (right - left) / len(colours)
    for j, colour in enumerate(colours):
        draw.rectangle((left + j * piece, top, left + (j + 1) * piece, bottom), fill=colour)
    draw.rectangle(box, outline=INK)
    x, y = left + piece / 2, (top + bottom) / 2
    draw.text((x, y), number, fill=_ink_on(colours[0]), font=font, anchor="mm")


def _spread(wanted: Sequence[float], gap: float, height: float) -> list[float]:
    """Return heights near those wanted, in order from the top, at least `gap` apart where there is room."""
    gap = min(gap, height / max(len(wanted), 1))
    out: list[float] = []
    for y in wanted:
        out.append(max(y, out[-1] + gap) if out else max(y, gap / 2))
    limit = height - gap / 2
    for i in range(len(out) - 1, -1, -1):
        out[i] = min(out[i], limit)
        limit = out[i] - gap
    return out


def _draw_marks(draw: Any, marks: Sequence[tuple[float, str]], x: float, height: int, size: int) -> None:
    font = load_font(size)
    order = sorted(range(len(marks)), key=lambda i: marks[i][0])
    for i, y in zip(order, _spread([marks[i][0] for i in order], 1.2 * size, height), strict=True):
        at, text = marks[i]
        draw.line((x, at, x + 0.4 * size, at, x + 1.1 * size, y), fill=FAINT, width=max(1, size // 12))
        draw.text((x + 1.4 * size, y), drawable(text), fill=INK, font=font, anchor="lm")


def legend_notices(entries: Sequence[Entry]) -> tuple[Notice, ...]:
    """Return a warning for each name that has characters which the font cannot draw."""
    found = (missing_notice(name) for _, name, _ in entries)
    return tuple(n for n in found if n is not None)


def with_legend(
    picture: NDArray[np.uint8],
    entries: Sequence[Entry],
    *,
    marks: Sequence[tuple[float, str]] = (),
    marks_at: float | None = None,
) -> NDArray[np.uint8]:
    """Return the picture with the numbers of its stripes beside it and a legend at its right.

    Parameters
    ----------
    picture : ndarray of uint8, shape (h, w, 3)
    entries : sequence of (number, name, swatch colours)
        Colours as `#rrggbb`, one or more; the number stands in the swatch and again before the name.
    marks : sequence of (y, text)
        Texts set beside the picture at a height in pixels from its top, such as the numbers of the yarns of
        each stripe; where they would touch they are moved apart, a line leading to each.
    marks_at : float, optional
        Pixel from the left where the lines begin; the right border of the picture by default.

    Returns
    -------
    ndarray of uint8, shape (h', w', 3)
        At least as high as the picture; higher where the legend is long.
    """
    from PIL import Image, ImageDraw

    height, width = picture.shape[:2]
    size = max(LEAST_TEXT_PX, round(height / LINES))
    mark_size = size
    if marks:
        mark_size = int(np.clip(height / len(marks) / 1.25, LEAST_TEXT_PX, size))
    font, bold, small = load_font(size), load_font(size, bold=True), load_font(mark_size)
    step = round(size * 2.0)
    names = [drawable(name) for _, name, _ in entries]
    number_room = max([bold.getlength(str(n)) for n, _, _ in entries] or [0]) + 0.6 * size
    name_room = max([font.getlength(name) for name in names] or [0])
    begin = width if marks_at is None else min(marks_at, width)
    marks_room = max([small.getlength(drawable(text)) for _, text in marks] or [0]) + 2.2 * mark_size if marks else 0.0
    legend_at = max(width, begin + marks_room) + size
    total_w = int(np.ceil(legend_at + 3.4 * size + number_room + name_room + size)) if entries else int(legend_at)
    total_h = max(height, step * len(entries) + size)
    out = Image.new("RGB", (total_w, total_h), PAPER)
    out.paste(Image.fromarray(picture), (0, 0))
    draw = ImageDraw.Draw(out)
    if marks:
        _draw_marks(draw, marks, begin, height, mark_size)
    for i, (number, _, colours) in enumerate(entries):
        top = size / 2 + i * step
        middle = top + 0.75 * size
        _swatch(draw, (legend_at, top, legend_at + 2.8 * size, top + 1.5 * size), colours, str(number), bold)
        draw.text((legend_at + 3.4 * size, middle), str(number), fill=INK, font=bold, anchor="lm")
        draw.text((legend_at + 3.4 * size + number_room, middle), names[i], fill=INK, font=font, anchor="lm")
    return np.asarray(out)
