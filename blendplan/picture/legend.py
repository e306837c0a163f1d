"""The legend beside a picture: number, name and colours of each yarn, and the numbers of the stripes; and the font.

Numbers carry the meaning, so the legend can be read in grey and by people who do not tell the colours apart.
DejaVu Sans is kept in `blendplan/fonts` with its licence, so that a picture has the same letters on every machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import hex_to_lab

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


def with_legend(
    picture: NDArray[np.uint8],
    entries: Sequence[Entry],
    *,
    marks: Sequence[tuple[float, str]] = (),
    marks_at: float | None = None,
) -> NDArray[np.uint8]:
    """Return the picture with the numbers of its stripes beside it and a legend at its right.

    `picture` (h, w, 3); `entries`: colours as `#rrggbb`, one or more; the number stands in the swatch and again before
    the name; `marks`: texts set beside the picture at a height in pixels from its top, such as the numbers of the yarns
    of each stripe; where they would touch they are moved apart, a line leading to each; `marks_at`: pixel from the left
    where the lines begin; the right border of the picture by default; returns at least as high as the picture; higher
    where the legend is long.
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


def with_title(picture: NDArray[np.uint8], title: str, line: str) -> NDArray[np.uint8]:
    """Return a picture on paper with a title above it, and a line below that."""
    from PIL import Image, ImageDraw

    height, width = picture.shape[:2]
    size, room = max(LEAST_TEXT_PX, round(height / LINES)), max(2 * LEAST_TEXT_PX, round(height / 25))
    large = 2 * size
    while large > size and load_font(large, bold=True).getlength(drawable(title)) > width - 2 * room:
        large -= 1
    top = room + 4 * size
    out = Image.new("RGB", (width + 2 * room, height + top + room), PAPER)
    out.paste(Image.fromarray(picture), (room, top))
    draw = ImageDraw.Draw(out)
    draw.text((room, room), drawable(title), fill=INK, font=load_font(large, bold=True), anchor="la")
    draw.text((room, room + round(2.4 * size)), drawable(line), fill=INK, font=load_font(size), anchor="la")
    return np.asarray(out)


STAND_IN = "\u25a1"  # white square, drawn for a character that the font lacks


def font_path(*, bold: bool = False) -> Path:
    """Return the path of the TrueType file."""
    return Path(__file__).parent.parent / "fonts" / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")


@cache
def load_font(size_px: int, *, bold: bool = False) -> Any:
    """Return a Pillow font; basic layout, so the letters do not depend on a shaping library being there."""
    from PIL import ImageFont

    return ImageFont.truetype(str(font_path(bold=bold)), size_px, layout_engine=ImageFont.Layout.BASIC)


@cache
def _has(character: str) -> bool:
    font = load_font(32)
    box = bytes(font.getmask("\uffff")), font.getbbox("\uffff")
    return character.isspace() or (bytes(font.getmask(character)), font.getbbox(character)) != box


def missing_characters(text: str) -> tuple[str, ...]:
    """Return the characters of a text that the font cannot draw, each once, in order.

    Examples
    --------
    >>> missing_characters("Mañana, \u6bdb\u7cf8 \u6bdb")
    ('毛', '糸')
    """
    return tuple(dict.fromkeys(c for c in text if not _has(c)))


def drawable(text: str) -> str:
    """Return a text with a white square for each character that the font cannot draw."""
    return "".join(c if _has(c) else STAND_IN for c in text)
