"""PNG bytes without metadata, the same for the same picture."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray

__all__ = ["encode_png"]


def encode_png(picture: NDArray[np.uint8], dpi: float | None = None) -> bytes:
    """Return a picture as PNG bytes.

    Parameters
    ----------
    picture : ndarray of uint8, shape (h, w), (h, w, 3) or (h, w, 4)
        Grey, sRGB, or sRGB with alpha.
    dpi : float, optional
        Written as the pixel density, the one thing beside the pixels; nothing else is written: no text,
        no time, no profile (a PNG without one is shown as sRGB).

    Returns
    -------
    bytes
    """
    from PIL import Image

    out = io.BytesIO()
    image = Image.fromarray(np.ascontiguousarray(picture))
    if dpi is None:
        image.save(out, "PNG")
    else:
        image.save(out, "PNG", dpi=(dpi, dpi))
    return out.getvalue()
