"""Colour spaces and colour difference, for arrays whose last axis holds the three coordinates.

`srgb` values are 0 to 1 and gamma-coded, `linear_rgb` is light (0 to 1 inside the gamut), `xyz` has Y = 1
for white, `lab` is CIELAB under D65 with L* 0 to 100, `oklab` has L 0 to 1.
The reference white everywhere is D65 as ASTM E308 tabulates it for the 2 degree observer.

References
----------
IEC 61966-2-1:1999 (sRGB); CIE 15:2018 (CIELAB); B. Ottosson, "A perceptual color space for image
processing", 2020 (Oklab); CIE 142-2001 and G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000
color-difference formula", Color Res. Appl. 30 (2005) 21-30.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blendplan.errors import ColourError

Floats = NDArray[np.float64]


def _xy_to_xyz(x: float, y: float) -> Floats:
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


# ASTM E308, D65, 2 degree observer, Y = 1.
WHITE_XYZ: Floats = np.array([0.95047, 1.0, 1.08883])
# Primaries of IEC 61966-2-1.
_PRIMARIES = np.stack([_xy_to_xyz(0.64, 0.33), _xy_to_xyz(0.30, 0.60), _xy_to_xyz(0.15, 0.06)], axis=1)
LINEAR_TO_XYZ: Floats = _PRIMARIES * np.linalg.solve(_PRIMARIES, WHITE_XYZ)
XYZ_TO_LINEAR: Floats = np.asarray(np.linalg.inv(LINEAR_TO_XYZ), dtype=np.float64)

# Ottosson 2020, matrices M1 (XYZ to cone response) and M2 (cube roots to Lab), as printed.
_XYZ_TO_LMS = np.array(
    [
        [0.8189330101, 0.3618667424, -0.1288597137],
        [0.0329845436, 0.9293118715, 0.0361456387],
        [0.0482003018, 0.2643662691, 0.6338517070],
    ]
)
_ROOTS_TO_OKLAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)
_OKLAB_TO_ROOTS = np.linalg.inv(_ROOTS_TO_OKLAB)
LINEAR_TO_LMS: Floats = _XYZ_TO_LMS @ LINEAR_TO_XYZ
LMS_TO_LINEAR: Floats = np.asarray(np.linalg.inv(LINEAR_TO_LMS), dtype=np.float64)

# Bradford cone matrix: ICC.1:2022, annex E.
_BRADFORD = np.array(
    [
        [0.8951, 0.2664, -0.1614],
        [-0.7502, 1.7135, 0.0367],
        [0.0389, -0.0685, 1.0296],
    ]
)
_HEX = re.compile(r"#?([0-9a-fA-F]{6}|[0-9a-fA-F]{3})")
_EPSILON = 216 / 24389
_KAPPA = 24389 / 27


def _array(values: ArrayLike) -> Floats:
    return np.asarray(values, dtype=np.float64)


def srgb_to_linear(srgb: ArrayLike) -> Floats:
    """Return light from gamma-coded sRGB (IEC 61966-2-1), sign kept outside 0 to 1.

    Examples
    --------
    >>> round(float(srgb_to_linear(0.5)), 6)
    0.214041
    """
    v = np.abs(_array(srgb))
    out = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    return np.copysign(out, _array(srgb))


def linear_to_srgb(linear_rgb: ArrayLike) -> Floats:
    """Return gamma-coded sRGB from light (IEC 61966-2-1), sign kept outside 0 to 1."""
    v = np.abs(_array(linear_rgb))
    out = np.where(v <= 0.0031308, v * 12.92, 1.055 * v ** (1 / 2.4) - 0.055)
    return np.copysign(out, _array(linear_rgb))


def linear_to_xyz(linear_rgb: ArrayLike) -> Floats:
    """Return CIE XYZ (Y = 1 for white, D65) from linear sRGB."""
    return _array(linear_rgb) @ LINEAR_TO_XYZ.T


def xyz_to_linear(xyz: ArrayLike) -> Floats:
    """Return linear sRGB from CIE XYZ (D65); values may lie outside 0 to 1."""
    return _array(xyz) @ XYZ_TO_LINEAR.T


def xyz_to_lab(xyz: ArrayLike) -> Floats:
    """Return CIELAB (D65) from XYZ, by CIE 15:2018 with exact break points."""
    t = _array(xyz) / WHITE_XYZ
    f = np.where(t > _EPSILON, np.cbrt(t), (_KAPPA * t + 16) / 116)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def lab_to_xyz(lab: ArrayLike) -> Floats:
    """Return XYZ (D65) from CIELAB, the inverse of `xyz_to_lab`."""
    lab = _array(lab)
    fy = (lab[..., 0] + 16) / 116
    f = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], axis=-1)
    return np.where(f**3 > _EPSILON, f**3, (116 * f - 16) / _KAPPA) * WHITE_XYZ


def linear_to_lab(linear_rgb: ArrayLike) -> Floats:
    """Return CIELAB (D65) from linear sRGB."""
    return xyz_to_lab(linear_to_xyz(linear_rgb))


def lab_to_linear(lab: ArrayLike) -> Floats:
    """Return linear sRGB from CIELAB (D65); values may lie outside 0 to 1."""
    return xyz_to_linear(lab_to_xyz(lab))


def xyz_to_oklab(xyz: ArrayLike) -> Floats:
    """Return Oklab from XYZ (D65), by Ottosson 2020.

    Examples
    --------
    >>> xyz_to_oklab([0.0, 1.0, 0.0]).round(3).tolist()
    [0.922, -0.671, 0.263]
    """
    return np.cbrt(_array(xyz) @ _XYZ_TO_LMS.T) @ _ROOTS_TO_OKLAB.T


def linear_to_oklab(linear_rgb: ArrayLike) -> Floats:
    """Return Oklab from linear sRGB."""
    return np.cbrt(_array(linear_rgb) @ LINEAR_TO_LMS.T) @ _ROOTS_TO_OKLAB.T


def oklab_to_linear(oklab: ArrayLike) -> Floats:
    """Return linear sRGB from Oklab; values may lie outside 0 to 1."""
    return (_array(oklab) @ _OKLAB_TO_ROOTS.T) ** 3 @ LMS_TO_LINEAR.T


def adapt_xyz(xyz: ArrayLike, white_from: ArrayLike, white_to: ArrayLike = WHITE_XYZ) -> Floats:
    """Return XYZ seen under another white, by the Bradford transform (ICC.1:2022, annex E).

    `xyz`: shape (..., 3); `white_from`, `white_to`: shape (3,), XYZ of the two whites.
    """
    cones_from, cones_to = _BRADFORD @ _array(white_from), _BRADFORD @ _array(white_to)
    matrix = np.linalg.inv(_BRADFORD) @ np.diag(cones_to / cones_from) @ _BRADFORD
    return _array(xyz) @ matrix.T


def into_gamut(linear_rgb: ArrayLike) -> Floats:
    """Return linear sRGB inside 0 to 1, with Oklab lightness and hue kept and chroma lessened.

    A colour that is inside already is returned as it is. Outside, chroma is halved towards the grey of the same Oklab
    lightness until the border is found (40 bisections); lightness below 0 or above 1 becomes black or white. Clipping
    each channel would turn the hue instead, which is why it is not done.
    """
    rgb = _array(linear_rgb)
    flat = rgb.reshape(-1, 3).copy()
    # A thirtieth of an 8-bit step, so that a rounded Lab of a colour on the border is not robbed of chroma.
    tolerance = 1e-5
    outside = np.any((flat < -tolerance) | (flat > 1 + tolerance), axis=1)
    if outside.any():
        lab = linear_to_oklab(flat[outside])
        lab[:, 0] = np.clip(lab[:, 0], 0.0, 1.0)
        low, high = np.zeros(len(lab)), np.ones(len(lab))
        for _ in range(40):
            mid = (low + high) / 2
            tried = oklab_to_linear(lab * np.stack([np.ones_like(mid), mid, mid], axis=1))
            fits = np.all((tried >= -tolerance) & (tried <= 1 + tolerance), axis=1)
            low, high = np.where(fits, mid, low), np.where(fits, high, mid)
        flat[outside] = oklab_to_linear(lab * np.stack([np.ones_like(low), low, low], axis=1))
    return np.clip(flat, 0.0, 1.0).reshape(rgb.shape)


def hex_to_linear(text: str) -> Floats:
    """Return linear sRGB, shape (3,), from `#rrggbb` (or `#rgb`)."""
    match = _HEX.fullmatch(text.strip()) if isinstance(text, str) else None
    if match is None:
        raise ColourError("{given} is not a colour; write six hexadecimal digits like #b35c37.", given=repr(text))
    digits = match[1] if len(match[1]) == 6 else "".join(c * 2 for c in match[1])
    return srgb_to_linear([int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)])


def linear_to_hex(linear_rgb: ArrayLike) -> str:
    """Return `#rrggbb` of one linear sRGB colour, brought into the gamut by `into_gamut`."""
    rgb = _array(linear_rgb)
    if not np.isfinite(rgb).all():
        raise ColourError("a colour with a channel that is not a finite number was given; choose it again.")
    codes = np.rint(linear_to_srgb(into_gamut(rgb)) * 255).astype(int)
    return "#{:02x}{:02x}{:02x}".format(*codes.tolist())


def hex_to_lab(text: str) -> Floats:
    """Return CIELAB (D65), shape (3,), from `#rrggbb`."""
    return linear_to_lab(hex_to_linear(text))


def lab_to_hex(lab: ArrayLike) -> str:
    """Return `#rrggbb` of one CIELAB (D65) colour, brought into the gamut by `into_gamut`."""
    return linear_to_hex(lab_to_linear(lab))


def delta_e_2000(lab_1: ArrayLike, lab_2: ArrayLike) -> Any:
    """Return the CIEDE2000 difference (kL = kC = kH = 1) of CIELAB colours.

    Parameters
    ----------
    lab_1, lab_2 : array_like, shape (..., 3)
        Shapes are broadcast against each other.

    Returns
    -------
    ndarray of float64, shape (...), or float64 for single colours
        Zero for equal colours; about 1 can just be seen side by side, 100 is black to white.

    Examples
    --------
    >>> round(float(delta_e_2000([50, 2.6772, -79.7751], [50, 0, -82.7485])), 4)
    2.0425
    """
    one, two = np.broadcast_arrays(_array(lab_1), _array(lab_2))
    l1, a1, b1 = one[..., 0], one[..., 1], one[..., 2]
    l2, a2, b2 = two[..., 0], two[..., 1], two[..., 2]
    c_mean7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    g = 0.5 * (1 - np.sqrt(c_mean7 / (c_mean7 + 25.0**7)))
    a1, a2 = (1 + g) * a1, (1 + g) * a2
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360
    grey = c1 * c2 == 0
    dh = np.where(grey, 0.0, (h2 - h1 + 180) % 360 - 180)
    # Exactly opposite hues: Sharma's case analysis takes +180 for h2 - h1 = 180.
    dh = np.where(~grey & (h2 - h1 == 180), 180.0, dh)
    d_light, d_chroma = l2 - l1, c2 - c1
    d_hue = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(dh / 2))
    l_mean, c_mean = (l1 + l2) / 2, (c1 + c2) / 2
    h_sum = h1 + h2
    far = np.abs(h1 - h2) > 180
    h_mean = np.where(grey, h_sum, np.where(far, np.where(h_sum < 360, h_sum + 360, h_sum - 360) / 2, h_sum / 2))
    t = (
        1
        - 0.17 * np.cos(np.radians(h_mean - 30))
        + 0.24 * np.cos(np.radians(2 * h_mean))
        + 0.32 * np.cos(np.radians(3 * h_mean + 6))
        - 0.20 * np.cos(np.radians(4 * h_mean - 63))
    )
    c7 = c_mean**7
    r_c = 2 * np.sqrt(c7 / (c7 + 25.0**7))
    r_t = -r_c * np.sin(np.radians(60 * np.exp(-(((h_mean - 275) / 25) ** 2))))
    s_l = 1 + 0.015 * (l_mean - 50) ** 2 / np.sqrt(20 + (l_mean - 50) ** 2)
    s_c, s_h = 1 + 0.045 * c_mean, 1 + 0.015 * c_mean * t
    x, y, z = d_light / s_l, d_chroma / s_c, d_hue / s_h
    return np.sqrt(np.maximum(x * x + y * y + z * z + r_t * y * z, 0.0))
