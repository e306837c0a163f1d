"""Colour profiles: a picture in its own mode to 8-bit sRGB."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from blendplan.colour import linear_to_srgb, srgb_to_linear, xyz_to_linear
from blendplan.wording import Notice, note

__all__ = ["apply_profile"]

# XYZ (D65) of linear Display P3 (SMPTE EG 432-1 primaries) and Adobe RGB (1998), from their primaries.
_PRIMARIES = {
    "p3": ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)),
    "adobe": ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06)),
}
_D65_XY = (0.3127, 0.3290)
# Adobe RGB (1998) colour image encoding, section 4.3.4.2: gamma 2 + 51/256.
_ADOBE_GAMMA = 563 / 256
_RELATIVE = ImageCms.Intent.RELATIVE_COLORIMETRIC
# ITU-T H.273 code points of HEIF's colour box.
_NCLX_P3, _NCLX_2020 = 12, 9
_NCLX_HDR = (16, 18)


def apply_profile(picture: Image.Image, info: dict[Any, Any], exif_space: str) -> tuple[Image.Image, list[Notice]]:
    """Return a picture in sRGB, and what had to be assumed.

    Parameters
    ----------
    picture : Image
        Mode L, RGB, CMYK or LAB.
    info : dict
        What the file says beside its pixels.
    exif_space : str
        "adobe" or "".
    """
    icc = info.get("icc_profile")
    srgb: Any = ImageCms.createProfile("sRGB")
    if picture.mode == "LAB":
        # TIFF's CIELAB is under D50, as is the profile connection space.
        lab = ImageCms.profileToProfile(picture, ImageCms.createProfile("LAB"), srgb, outputMode="RGB")
        return _image(lab), []
    notices: list[Notice] = []
    if isinstance(icc, bytes) and icc:
        try:
            profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
            done = ImageCms.profileToProfile(picture, profile, srgb, renderingIntent=_RELATIVE, outputMode="RGB")
            return _image(done), notices
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            notices.append(note("the photo's colour profile cannot be used; its colours were taken as sRGB", "warning"))
    if picture.mode == "CMYK":
        notices.append(
            note("the photo is in printing inks without a usable profile; its colours are a plain estimate", "warning")
        )
    rgb = picture.convert("RGB")
    nclx = info.get("nclx_profile")
    if isinstance(nclx, dict) and not icc:
        if nclx.get("transfer_characteristics") in _NCLX_HDR:
            notices.append(note("the photo is stored for bright screens (HDR); its shades may be off", "warning"))
        elif nclx.get("color_primaries") == _NCLX_P3:
            return _from_primaries(rgb, "p3"), notices
    if exif_space == "adobe":
        return _from_primaries(rgb, "adobe"), notices
    return rgb, notices


def _image(done: Image.Image | None) -> Image.Image:
    if done is None:
        raise ValueError("no picture came out of the colour transform")
    return done


def _from_primaries(rgb: Image.Image, space: str) -> Image.Image:
    codes = np.arange(256) / 255
    decode: NDArray[np.float64] = codes**_ADOBE_GAMMA if space == "adobe" else srgb_to_linear(codes)
    pixels = xyz_to_linear(decode[np.asarray(rgb, dtype=np.uint8)] @ _matrix(space).T)
    return Image.fromarray(np.rint(linear_to_srgb(np.clip(pixels, 0, 1)) * 255).astype(np.uint8))


def _matrix(space: str) -> NDArray[np.float64]:
    columns = np.array([(x / y, 1.0, (1 - x - y) / y) for x, y in _PRIMARIES[space]]).T
    x, y = _D65_XY
    return columns * np.linalg.solve(columns, np.array([x / y, 1.0, (1 - x - y) / y]))
