"""A decoded picture of any mode to its working size, in the modes that a colour profile takes."""

from __future__ import annotations

from itertools import chain

import numpy as np
from PIL import Image

from blendplan.errors import PhotoError

__all__ = ["working_picture"]

# So many pixels are converted at a time: the whole of a large picture never stands beside its own copy.
_STRIP = 4_000_000
# Shrinking by a whole number goes before the last step as long as the picture stays so many times too large.
_GAP = 2.0


def working_picture(image: Image.Image, name: str, side: int) -> tuple[Image.Image, Image.Image | None]:
    """Return the picture in L, RGB, CMYK or LAB at no more than `side` pixels, and its opacity as L or None.

    Parameters
    ----------
    image : Image
        Decoded.
    name : str
        For the message.
    side : int
        Longest side, pixels.

    Raises
    ------
    PhotoError
        If the picture holds numbers that are no photo.

    Notes
    -----
    Pillow weighs each pixel by its opacity when it shrinks: clear pixels hold any colour.
    """
    width, height = image.size
    longest = max(width, height)
    if longest <= side:
        return _apart(_own_mode(image, name))
    target = (max(1, round(width * side / longest)), max(1, round(height * side / longest)))
    if width * height <= _STRIP:
        return _apart(_own_mode(image, name).resize(target, Image.Resampling.BOX, reducing_gap=_GAP))
    across, down = (int(full / small / _GAP) or 1 for full, small in zip(image.size, target, strict=True))
    rows = down * max(1, _STRIP // (width * down))
    strips = (
        _own_mode(image.crop((0, top, width, min(height, top + rows))), name).reduce((across, down))
        for top in range(0, height, rows)
    )
    first = next(strips)
    few = Image.new(first.mode, (first.width, -(-height // down)))
    for number, strip in enumerate(chain((first,), strips)):
        few.paste(strip, (0, number * (rows // down)))
    return _apart(few.resize(target, Image.Resampling.BOX, (0, 0, width / across, height / down)))


def _apart(picture: Image.Image) -> tuple[Image.Image, Image.Image | None]:
    if picture.mode == "LA":
        grey, opacity = picture.split()
        return grey, opacity
    if picture.mode == "RGBA":
        return picture.convert("RGB"), picture.getchannel("A")
    return picture, None


def _own_mode(image: Image.Image, name: str) -> Image.Image:
    """Return the picture in L, RGB, CMYK or LAB, or with its opacity in LA or RGBA."""
    mode = image.mode
    clear = "transparency" in image.info
    if mode.startswith("I;16"):
        return _grey16(image)
    if mode in ("LA", "RGBA") or (mode in ("L", "RGB", "CMYK", "LAB") and not clear):
        return image
    if mode in ("1", "L"):
        return image.convert("RGBA").convert("LA") if clear else image.convert("L")
    if mode in ("P", "YCbCr") and not clear:
        return image.convert("RGB")
    if mode in ("P", "PA", "RGB", "RGBX", "RGBa"):
        return image.convert("RGBA")
    raise PhotoError(
        "{name} holds numbers of kind {mode} and not a photo; save it as JPEG or PNG.", name=name, mode=mode
    )


def _grey16(image: Image.Image) -> Image.Image:
    """16-bit grey scaled to 8 bit; `convert` would clip it to white."""
    values = np.asarray(image, dtype=np.uint16)
    grey = Image.fromarray(((values.astype(np.uint32) * 255 + 32767) // 65535).astype(np.uint8))
    clear = image.info.get("transparency")
    if not isinstance(clear, int):
        return grey
    return Image.merge("LA", (grey, Image.fromarray(np.where(values == clear, 0, 255).astype(np.uint8))))
