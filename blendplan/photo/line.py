"""Shades along a line drawn on a picture, such as a landscape or a cushion whose colours an order is to follow."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from blendplan.colour import into_gamut, linear_to_lab, srgb_to_linear
from blendplan.errors import PhotoError
from blendplan.photo.loading import Photo
from blendplan.units import number, whole

__all__ = ["shades_along"]

Lab = tuple[float, float, float]


def shades_along(
    photo: Photo, start: Sequence[float], end: Sequence[float], *, count: int = 64, width: float = 0.05
) -> tuple[Lab, ...]:
    """Return CIELAB (D65) at even places along a line, each the mean light of a short stroke across it.

    Parameters
    ----------
    photo : Photo
    start, end : (x, y)
        Pixels of the upright photo at full size.
    count : int
        Places, 2 to 400.
    width : float
        Length of the stroke across the line as a share of the picture's longer side, 0 to 0.5.

    Raises
    ------
    PhotoError
        If an end lies outside the photo, both are the same, or a place holds only see-through pixels.

    Notes
    -----
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
