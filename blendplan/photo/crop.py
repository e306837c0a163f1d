"""What is cut out of a photo: a small picture of one yarn, and the colours along a line.

A crop is without metadata, as the camera saw it or in neutral daylight. A line may lie on any picture, such as a
landscape or a cushion whose colours an order is to follow.
"""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from blendplan.colour import into_gamut, linear_to_lab, linear_to_srgb, srgb_to_linear
from blendplan.errors import PhotoError
from blendplan.photo.light import Light
from blendplan.photo.loading import Photo
from blendplan.photo.where import Box, Polygon
from blendplan.units import number, whole

# Quality of WebP: the mean colour of a crop of yarn stays within one code of the PNG, at a fifth
# of its bytes (measured on nine real photographs).
_QUALITY = 88


def crop_png(
    photo: Photo,
    box: Sequence[float] | None = None,
    *,
    max_side: int = 256,
    light: Light | None = None,
    outline: Sequence[Polygon] = (),
) -> bytes:
    """Return a PNG of a box of the photo, or of all of it.

    `box`: (left, top, right, bottom), optional, pixels of the upright photo at full size; `max_side`: longest side of
    the result, pixels; `light`: the light that the shades were read with: each pixel is shown as in neutral daylight,
    by the same correction, and colours that a screen cannot show are brought into sRGB as those of shades are. Without
    it the box is shown as the camera saw it; `outline`: of the yarn that was read (`YarnReading.outline`): what lies
    outside it is see-through and holds nothing.
    """
    out = io.BytesIO()
    _picture(photo, box, max_side, light, outline).save(out, "PNG")
    return out.getvalue()


def crop_webp(
    photo: Photo,
    box: Sequence[float] | None = None,
    *,
    max_side: int = 256,
    light: Light | None = None,
    outline: Sequence[Polygon] = (),
) -> bytes:
    """Return the same as `crop_png` as a WebP, about a fifth of the bytes for yarn."""
    out = io.BytesIO()
    _picture(photo, box, max_side, light, outline).save(out, "WEBP", quality=_QUALITY, method=4)
    return out.getvalue()


# Cells that the longer side of a yarn's box is looked through in, and the least half side of a square, in cells.
_CELLS, _LEAST = 120, 3


def square_in(outline: Sequence[Polygon], box: Sequence[float]) -> Box:
    """Return the largest square that lies in a yarn's outline, or its box where it is too thin for one."""
    from scipy.ndimage import distance_transform_cdt

    left, top, right, bottom = box
    scale = _CELLS / max(right - left, bottom - top)
    size = max(1, round((right - left) * scale)), max(1, round((bottom - top) * scale))
    deep = distance_transform_cdt(np.pad(_inside(outline, (left, top), (scale, scale), size), 1), "chessboard")
    row, column = np.unravel_index(int(deep.argmax()), deep.shape)
    half = (int(deep.max()) - 1) / scale
    if half * scale < _LEAST:
        return (round(left), round(top), round(right), round(bottom))
    x, y = left + (column - 0.5) / scale, top + (row - 0.5) / scale
    return (round(x - half), round(y - half), round(x + half), round(y + half))


def _picture(
    photo: Photo, box: Sequence[float] | None, max_side: int, light: Light | None, outline: Sequence[Polygon]
) -> Image.Image:
    height, width = photo.srgb8.shape[:2]
    left, top, right, bottom = (0, 0, width, height) if box is None else (round(v * photo.scale) for v in box)
    left, top = min(max(left, 0), width - 1), min(max(top, 0), height - 1)
    right, bottom = max(left + 1, min(right, width)), max(top + 1, min(bottom, height))
    picture = Image.fromarray(photo.srgb8[top:bottom, left:right].copy())
    longest = max(picture.size)
    if longest > max_side:
        size = [max(1, round(n * max_side / longest)) for n in picture.size]
        picture = picture.resize((size[0], size[1]), Image.Resampling.LANCZOS)
    columns, rows = picture.size
    x = left + (np.arange(columns) + 0.5) * (right - left) / columns - 0.5
    y = top + (np.arange(rows) + 0.5) * (bottom - top) / rows - 0.5
    if light is not None:
        across, down = np.meshgrid(2 * x / max(width - 1, 1) - 1, 2 * y / max(height - 1, 1) - 1)
        neutral = light.correct(srgb_to_linear(np.asarray(picture) / 255), across, down)
        shown = linear_to_srgb(into_gamut(np.clip(neutral, 0.0, None)))
        picture = Image.fromarray(np.round(255 * shown).astype(np.uint8))
    if not outline:
        return picture
    scale = columns * photo.scale / (right - left), rows * photo.scale / (bottom - top)
    inside = _inside(outline, (left / photo.scale, top / photo.scale), scale, (columns, rows))
    return Image.fromarray(
        np.dstack([np.where(inside[..., None], np.asarray(picture), 0), 255 * inside]).astype(np.uint8)
    )


def _inside(
    outline: Sequence[Polygon], corner: tuple[float, float], scale: tuple[float, float], size: tuple[int, int]
) -> NDArray[np.bool_]:
    """Return the pixels of a crop that lie in an odd number of polygons."""
    inside = np.zeros((size[1], size[0]), dtype=bool)
    for polygon in outline:
        piece = Image.new("1", size)
        # A pixel's middle lies half a pixel from the corner that edges are counted from.
        places = [((x - corner[0]) * scale[0] - 0.5, (y - corner[1]) * scale[1] - 0.5) for x, y in polygon]
        ImageDraw.Draw(piece).polygon(places, fill=1)
        inside ^= np.asarray(piece)
    return inside


Lab = tuple[float, float, float]


def shades_along(
    photo: Photo, start: Sequence[float], end: Sequence[float], *, count: int = 64, width: float = 0.05
) -> tuple[Lab, ...]:
    """Return CIELAB (D65) at even places along a line, each the mean light of a short stroke across it.

    `start`, `end`: (x, y), pixels of the upright photo at full size; `count`: places, 2 to 400; `width`: length of the
    stroke across the line as a share of the picture's longer side, 0 to 0.5.

    The picture is followed as it looks; no white is sought in it.
    """
    count = whole(count, "places along the line", 2, 400)
    width = number(width, "width of the line", 0, 0.5)
    wide, tall = photo.full_size
    for point in (start, end):
        x, y = (number(v, "end of the line", -1e9, 1e9) for v in point)
        if not (0 <= x <= wide and 0 <= y <= tall):
            raise PhotoError(
                "the line's end {x},{y} lies outside {name}; allowed is 0,0 to {width},{height}.",
                x=f"{x:g}",
                y=f"{y:g}",
                name=photo.name,
                width=wide,
                height=tall,
            )
    first, last = np.array(start, dtype=float) * photo.scale, np.array(end, dtype=float) * photo.scale
    length = float(np.hypot(*(last - first)))
    if length < 1:
        raise PhotoError("the line has no length; draw it across the picture, from where the order is to begin.")
    across = np.array([first[1] - last[1], last[0] - first[0]]) / length
    half = width * max(photo.srgb8.shape[:2]) / 2
    strokes = np.linspace(-half, half, 2 * int(half) + 1)
    points = first + np.linspace(0, 1, count)[:, None] * (last - first)
    places = points[:, None, :] + strokes[None, :, None] * across
    height, columns = photo.srgb8.shape[:2]
    inside = (places[..., 0] >= 0) & (places[..., 0] <= columns) & (places[..., 1] >= 0) & (places[..., 1] <= height)
    x = np.clip(places[..., 0].astype(int), 0, columns - 1)
    y = np.clip(places[..., 1].astype(int), 0, height - 1)
    take = inside & photo.counts[y, x]
    if not take.any(axis=1).all():
        raise PhotoError("part of the line in {name} is see-through; draw it where there is colour.", name=photo.name)
    light = srgb_to_linear(photo.srgb8[y, x] / 255)
    mean = (light * take[..., None]).sum(axis=1) / take.sum(axis=1)[:, None]
    return tuple((float(a), float(b), float(c)) for a, b, c in linear_to_lab(into_gamut(mean)))
