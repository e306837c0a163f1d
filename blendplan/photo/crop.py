"""A small picture of one place in a photo, without metadata."""

from __future__ import annotations

import io
from collections.abc import Sequence

from PIL import Image

from blendplan.photo.loading import Photo

__all__ = ["crop_png"]


def crop_png(photo: Photo, box: Sequence[float] | None = None, *, max_side: int = 256) -> bytes:
    """Return a PNG of a box of the photo (or of all of it), as the camera saw it.

    Parameters
    ----------
    photo : Photo
    box : (left, top, right, bottom), optional
        Pixels of the upright photo at full size.
    max_side : int
        Longest side of the result, pixels.
    """
    height, width = photo.srgb8.shape[:2]
    left, top, right, bottom = (0, 0, width, height) if box is None else (round(v * photo.scale) for v in box)
    left, top = min(max(left, 0), width - 1), min(max(top, 0), height - 1)
    right, bottom = max(left + 1, min(right, width)), max(top + 1, min(bottom, height))
    picture = Image.fromarray(photo.srgb8[top:bottom, left:right].copy())
    longest = max(picture.size)
    if longest > max_side:
        size = [max(1, round(n * max_side / longest)) for n in picture.size]
        picture = picture.resize((size[0], size[1]), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    picture.save(out, "PNG")
    return out.getvalue()
