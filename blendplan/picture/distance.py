"""The picture as the eye has it from a distance: contrast sensitivity over spatial frequency, in light.

A picture on a screen is a view from afar already: it stands there so much smaller than the blanket, and the eye that
looks at it does its own part. What is taken away here is only what the distance adds to that.
One share of contrast is kept for all of the light, as where two strands are told (`blendplan.blend.strands`).

References
----------
X. Zhang and B. A. Wandell, "A spatial extension of CIELAB for digital color image reproduction", Proc. SID
27 (1996) 731-734: the narrow kernels for luminance.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blendplan.blend.strands import EYE
from blendplan.colour import linear_to_srgb, srgb_to_linear
from blendplan.errors import QuantityError
from blendplan.units import number

# CSS pixels in a CSS centimetre (standard: CSS Values and Units, 96 pixels to 2.54 cm).
CSS_PX_PER_CM = 96 / 2.54
# Where "far" is looked at from, cm: at 16 m strands 4 mm wide keep less than a thousandth of their contrast, and
# stripes are still told apart.
FAR_CM = 1600.0
# Light in 65536 equal steps: the darkest 8-bit code is 20 of them wide, so the table misses no code.
_ENCODE_STEPS = 1 << 16
_BAND_ROWS = 32
# Share of contrast below which the eye that looks at the screen has nothing left to lose.
_NOTHING = 1e-12
# How much of a pixel has to be blanket for it to be no ground.
_HALF = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """What the picture is shown on."""

    # Pixels of the page in a centimetre of the screen as a ruler tells it; a CSS centimetre by default.
    px_per_cm: float = CSS_PX_PER_CM
    eye_cm: float = 60.0  # from the eye to the screen (assumed: an arm's length, as for a desk)

    def __post_init__(self) -> None:
        number(self.px_per_cm, "pixels in a centimetre of the screen", 5, 400)
        number(self.eye_cm, "distance from the eye to the screen", 10, 500, "cm")

    @classmethod
    def of_line(cls, drawn_cm: float, measured_cm: float, eye_cm: float = 60.0) -> Screen:
        """Return the screen on which a line drawn so many CSS centimetres long measures so many by a ruler."""
        drawn = number(drawn_cm, "length of the line as drawn", 0.1, 1000, "cm")
        measured = number(measured_cm, "length of the line by the ruler", 0.1, 1000, "cm")
        return cls(px_per_cm=CSS_PX_PER_CM * drawn / measured, eye_cm=eye_cm)

    def already_cm(self, px_per_cm: float) -> float:
        """Return from how far the blanket is seen by looking at its picture, drawn at a scale and shown pixel by pixel.

        Examples
        --------
        >>> round(Screen().already_cm(640 / 142))
        503
        """
        return self.eye_cm * self.px_per_cm / px_per_cm


@lru_cache(maxsize=1)
def _decode_table() -> NDArray[np.float32]:
    return srgb_to_linear(np.arange(256) / 255).astype(np.float32)


@lru_cache(maxsize=1)
def _encode_table() -> NDArray[np.uint8]:
    return np.rint(linear_to_srgb(np.arange(_ENCODE_STEPS) / (_ENCODE_STEPS - 1)) * 255).astype(np.uint8)


def decode(srgb8: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return light (float32) from 8-bit sRGB."""
    return np.take(_decode_table(), srgb8)


def encode(linear_rgb: ArrayLike) -> NDArray[np.uint8]:
    """Return 8-bit sRGB from light, clipped to 0 to 1; at most one code from the exact rounding."""
    codes = np.multiply(linear_rgb, np.float32(_ENCODE_STEPS - 1), dtype=np.float32)
    codes += np.float32(0.5)
    np.clip(codes, 0.0, _ENCODE_STEPS - 1, out=codes)
    return np.take(_encode_table(), codes.astype(np.uint16))


def _kept(shape: tuple[int, ...], px_per_cm: float, distance_cm: float) -> tuple[NDArray[Any], NDArray[Any]]:
    """Return the share of contrast kept over the frequencies of the cosine transform, 1 at frequency zero.

    It is the product of the two arrays, shapes (h, Gaussians) and (Gaussians, w).
    """
    px_per_degree = 2.0 * distance_cm * np.tan(np.radians(0.5)) * px_per_cm
    total = sum(weight for weight, _ in EYE)
    factors = []
    for n in shape:
        # Cycles a degree; exp(-x^2 / s^2) has the spectrum exp(-(s pi f)^2).
        f = np.arange(n) / (2 * n) * px_per_degree
        factors.append(np.stack([np.exp(-((spread * np.pi * f) ** 2)) for _, spread in EYE]))
    return factors[0].T * np.array([weight / total for weight, _ in EYE]), factors[1]


def _filter(
    planes: NDArray[np.float32], scale: float, distance: float, already: float, pool: ThreadPoolExecutor
) -> None:
    """Take from planes, shape (k, h, w), in place, what the distance adds to that from which they are seen already."""
    from scipy import fft

    # Sides without large prime factors are transformed several times as fast: a few mirrored rows are put on.
    height, width = planes.shape[1:]
    fast = (fft.next_fast_len(height, real=True), fft.next_fast_len(width, real=True))
    down, across = _kept(fast, scale, distance)
    down_near, across_near = _kept(fast, scale, already)

    def weigh(rows: slice, spectrum: NDArray[np.float32]) -> None:
        kept = (down[rows] @ across) / np.maximum(down_near[rows] @ across_near, _NOTHING)
        spectrum[rows] *= np.minimum(kept, 1.0)

    bands = _bands(fast[0])
    for plane in planes:
        mean = plane.mean(dtype=np.float64)
        mirrored = np.pad(plane, ((0, fast[0] - height), (0, fast[1] - width)), mode="symmetric")
        spectrum = fft.dctn(mirrored, type=2, workers=2)
        list(pool.map(lambda rows, spectrum=spectrum: weigh(rows, spectrum), bands))
        plane[:] = fft.idctn(spectrum, type=2, workers=2, overwrite_x=True)[:height, :width]
        np.add(plane, np.float32(mean - plane.mean(dtype=np.float64)), out=plane)


def _bands(height: int) -> list[slice]:
    """Return bands of rows that fit into a processor's cache; work point by point goes in two of them at a time."""
    return [slice(y, min(y + _BAND_ROWS, height)) for y in range(0, height, _BAND_ROWS)]


def _silhouette(cover: NDArray[Any]) -> NDArray[np.float32]:
    """Return how much of each pixel lies inside the outline, 0 to 1: gaps inside a blanket count as inside."""
    from scipy import ndimage

    alpha = cover.astype(np.float32) / np.float32(255 if cover.dtype == np.uint8 else 1)
    labels, count = ndimage.label(alpha < _HALF)
    rim = np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]])
    outer = np.zeros(count + 1, dtype=bool)
    outer[np.unique(rim)] = True
    outer[0] = False
    outside = ndimage.binary_dilation(outer[labels])
    return np.where(outside, alpha, np.float32(1))


def _checked(picture: NDArray[Any]) -> bool:
    """Return whether a picture is of 8-bit codes; refuse what is no picture."""
    if picture.ndim != 3 or picture.shape[2] != 3:
        raise QuantityError(
            "a picture of shape {given} was given; a height x width x 3 array is needed.", given=picture.shape
        )
    as_bytes = picture.dtype == np.uint8
    if not as_bytes and not np.isfinite(picture).all():
        raise QuantityError("a picture with light that is not a finite number was given; draw it again.")
    return as_bytes


def seen_from(
    picture: NDArray[Any],
    *,
    px_per_cm: float,
    distance_cm: float,
    already_cm: float = 0.0,
    cover: NDArray[Any] | None = None,
) -> NDArray[Any]:
    """Return the picture with that taken away which a distance takes away, and no more.

    `picture` (h, w, 3), 8-bit sRGB (uint8), or finite light (float); `px_per_cm`: scale of the picture on the real
    blanket, 0.01 to 10000; `distance_cm`: from the eye to the blanket, 1 to 1e6; infinity is looked at from `FAR_CM`;
    `already_cm`: from how far the blanket is seen by looking at the picture as it is shown (`Screen.already_cm`); the
    eye does that part itself; nothing is changed where the distance is no greater; `cover` (h, w), how much of each
    pixel is blanket, 0 to 255 (uint8) or 0 to 1; the ground outside its outline stays as it is and lends the blanket
    nothing, so no halo is seen; gaps in the fabric are part of it; returns uint8 for uint8, float32 light for light.

    The filter is worked on light, the same for all of it, in the frequencies of the cosine transform, which mirrors
    the picture at its borders: nothing wraps round and the mean light stays what it is.
    """
    as_bytes = _checked(picture)
    scale = number(px_per_cm, "pixels per cm", 0.01, 1e4)
    distance = FAR_CM if distance_cm == np.inf else number(distance_cm, "viewing distance", 1.0, 1e6, "cm")
    already = number(already_cm, "distance the picture is seen from already", 0, 1e9, "cm")
    if already >= distance:
        return picture.copy() if as_bytes else picture.astype(np.float32)
    alpha = None if cover is None else _silhouette(cover)
    planes = np.empty((3 if alpha is None else 4, *picture.shape[:2]), dtype=np.float32)
    ground = np.zeros(3, dtype=np.float32)
    if alpha is not None and (alpha == 0).any():
        bare = picture[alpha == 0]
        ground = np.median(decode(bare) if as_bytes else bare, axis=0).astype(np.float32)
    out = np.empty(picture.shape, dtype=np.uint8 if as_bytes else np.float32)

    def take_apart(rows: slice) -> None:
        light = decode(picture[rows]) if as_bytes else picture[rows].astype(np.float32)
        if alpha is not None:
            planes[3, rows] = alpha[rows]
            light = light - (1 - alpha[rows, :, None]) * ground
            light *= alpha[rows, :, None] > 0
        planes[:3, rows] = np.moveaxis(light, -1, 0)

    def put_together(rows: slice) -> None:
        light = np.moveaxis(planes[:3, rows], 0, -1)
        if alpha is not None:
            inside = alpha[rows, :, None]
            light = inside * light / np.maximum(planes[3, rows, :, None], 1e-3) + (1 - inside) * ground
        out[rows] = encode(light) if as_bytes else light
        if alpha is not None:
            np.copyto(out[rows], picture[rows], where=alpha[rows, :, None] == 0)

    bands = _bands(picture.shape[0])
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(take_apart, bands))
        _filter(planes, scale, distance, already, pool)
        list(pool.map(put_together, bands))
    return out
