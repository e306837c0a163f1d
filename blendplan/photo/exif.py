"""What a photo's metadata says that its reading needs; a fault in it never stops a picture."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from PIL import Image

__all__ = ["Said", "said_by"]

# EXIF 3.0 (CIPA DC-008): tags of the picture and of its Exif and interoperability directories.
_ORIENTATION, _EXIF, _INTEROPERABILITY = 0x0112, 0x8769, 0xA005
_COLOUR_SPACE, _TIME, _F_NUMBER, _SPEED = 0xA001, 0x829A, 0x829D, 0x8827


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """Orientation 1 to 8, the colour space named ("adobe" or ""), and the exposure or None where it is not known."""

    orientation: int = 1
    space: str = ""
    exposure: float | None = None


def said_by(image: Image.Image) -> Said:
    """Return what a picture's EXIF says, as far as it can be read."""
    try:
        exif = image.getexif()
        value = exif.get(_ORIENTATION, 1)
        own = exif.get_ifd(_EXIF)
        # DCF 2.0: an "R03" interoperability index with an uncalibrated colour space is Adobe RGB.
        space = ""
        if "icc_profile" not in image.info and own.get(_COLOUR_SPACE) == 0xFFFF:
            index = exif.get_ifd(_INTEROPERABILITY).get(1, "")
            space = "adobe" if str(index).strip("\x00 ") == "R03" else ""
    except Exception:  # noqa: BLE001  damaged metadata raises many kinds and never stops a picture
        return Said()
    # HEIC is turned by its own box; the copied EXIF value must not turn it again.
    turned = image.format != "HEIF" and isinstance(value, int) and 1 <= value <= 8
    return Said(orientation=value if turned else 1, space=space, exposure=_exposure(own))


def _exposure(own: dict[int, Any]) -> float | None:
    """Return time times speed over the square of the f-number: how large the code of one light is, up to a factor."""
    try:
        speed = own[_SPEED]
        speed = speed[0] if isinstance(speed, tuple) else speed
        value = float(own[_TIME]) * float(speed) / float(own[_F_NUMBER]) ** 2
    except (ArithmeticError, IndexError, KeyError, TypeError, ValueError):
        return None
    return value if math.isfinite(value) and value > 0 else None
