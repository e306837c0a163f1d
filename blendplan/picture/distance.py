"""The picture as the eye has it from a distance: S-CIELAB's spatial filters, in light.

References
----------
X. Zhang and B. A. Wandell, "A spatial extension of CIELAB for digital color image reproduction", Proc. SID
27 (1996) 731-734; constants and the sign of the opponent matrix as in the authors' own code.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blendplan.colour import LINEAR_TO_XYZ, linear_to_srgb, srgb_to_linear
from blendplan.errors import QuantityError
from blendplan.units import number

__all__ = ["KERNELS", "OPPONENT", "decode", "encode", "grey_look", "seen_from", "spread_deg"]

# XYZ to luminance, red-green and blue-yellow; the last number of row 2 is positive in the authors' code.
OPPONENT: NDArray[np.float64] = np.array(
    [[0.2787, 0.7218, -0.1066], [-0.4488, 0.2898, 0.0772], [0.0860, -0.5900, 0.5011]]
)
# (weight, full width at half height in degrees of visual angle) of each Gaussian, one row a channel.
KERNELS: tuple[tuple[tuple[float, float], ...], ...] = (
    ((1.00327, 0.05), (0.114416, 0.225), (-0.117686, 7.0)),
    ((0.616725, 0.0685), (0.383275, 0.826)),
    ((0.567885, 0.092), (0.432115, 0.6451)),
)
# Full width at half height of a Gaussian in its standard deviations: 2 sqrt(2 ln 2).
WIDTH_PER_SIGMA = 2.0 * np.sqrt(2.0 * np.log(2.0))
# Light in 65536 equal steps: the darkest 8-bit code is 20 of them wide, so the table misses no code.
_ENCODE_STEPS = 1 << 16
_BAND_ROWS = 32


def spread_deg(width_deg: float) -> float:
    """Return the standard deviation of a Gaussian from its full width at half height."""
    return float(width_deg / WIDTH_PER_SIGMA)


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


def _response(
    shape: tuple[int, int], kernel: Sequence[tuple[float, float]], px_per_degree: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return one channel's filter over the frequencies of the cosine transform, 1 at frequency zero.

    It is the product of the two arrays, shapes (h, Gaussians) and (Gaussians, w).
    """
    total = sum(weight for weight, _ in kernel)
    factors = []
    for n in shape:
        omega = np.pi * np.arange(n) / n
        factors.append(
            np.stack([np.exp(-0.5 * (omega * spread_deg(width) * px_per_degree) ** 2) for _, width in kernel])
        )
    weights = np.array([weight / total for weight, _ in kernel])
    return (factors[0].T * weights).astype(np.float32), factors[1].astype(np.float32)


def seen_from(picture: NDArray[Any], *, px_per_cm: float, distance_cm: float, inhibition: bool = False) -> NDArray[Any]:
    """Return the picture filtered as the eye filters it from a distance.

    Parameters
    ----------
    picture : ndarray, shape (h, w, 3)
        8-bit sRGB (uint8), or finite light (float).
    px_per_cm : float
        Scale of the picture on the real blanket, 0.01 to 10000.
    distance_cm : float
        From the eye to the blanket, 1 to 1e6.
    inhibition : bool
        Whether the luminance filter keeps its third Gaussian, 7 degrees wide and negative, which stands for
        the eye's lessening of slow changes.
        For differences between pictures, as in the paper, it belongs there.
        In a picture to be looked at it is left out by default, the other weights scaled to 1: the eye that
        looks does that itself, and done twice it would darken dark stripes and turn their hue.

    Returns
    -------
    ndarray, shape (h, w, 3)
        uint8 for uint8, float32 light for light (which may lie a little outside 0 to 1).

    Notes
    -----
    Light is turned into three opponent channels, each is filtered by a sum of Gaussians given in degrees of
    visual angle, and turned back.
    The filter is exact in the frequencies of the cosine transform, which mirrors the picture at its borders,
    so nothing wraps round and the mean light of the picture stays what it is; the far limit is that mean.
    """
    if picture.ndim != 3 or picture.shape[2] != 3:
        raise QuantityError(
            "a picture of shape {given} was given; a height x width x 3 array is needed.", given=picture.shape
        )
    if picture.dtype != np.uint8 and not np.isfinite(picture).all():
        raise QuantityError("a picture with light that is not a finite number was given; draw it again.")
    from scipy import fft

    scale = number(px_per_cm, "pixels per cm", 0.01, 1e4)
    distance = number(distance_cm, "viewing distance", 1.0, 1e6, "cm")
    px_per_degree = 2.0 * distance * np.tan(np.radians(0.5)) * scale
    as_bytes = picture.dtype == np.uint8
    height, width = picture.shape[:2]
    opponent = OPPONENT @ LINEAR_TO_XYZ
    forward, back = opponent.astype(np.float32), np.linalg.inv(opponent).astype(np.float32)
    planes = np.empty((3, height, width), dtype=np.float32)
    out = np.empty((height, width, 3), dtype=np.uint8 if as_bytes else np.float32)

    def take_apart(rows: slice) -> None:
        codes = picture[rows].reshape(-1, 3).T
        light = decode(codes) if as_bytes else codes.astype(np.float32)
        planes[:, rows] = (forward @ light).reshape(3, -1, width)

    def put_together(rows: slice) -> None:
        light = back @ planes[:, rows].reshape(3, -1)
        out[rows] = (encode(light) if as_bytes else light).T.reshape(-1, width, 3)

    # Point by point work goes in bands of rows that fit into a processor's cache, two at a time.
    bands = [slice(y, min(y + _BAND_ROWS, height)) for y in range(0, height, _BAND_ROWS)]
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(take_apart, bands))
        for c in range(3):
            spectrum = fft.dctn(planes[c], type=2, workers=2, overwrite_x=True)
            kernel = [(weight, wide) for weight, wide in KERNELS[c] if inhibition or weight > 0]
            down, across = _response((height, width), kernel, px_per_degree)

            def weigh(rows: slice, spectrum: Any = spectrum, down: Any = down, across: Any = across) -> None:
                spectrum[rows] *= down[rows] @ across

            list(pool.map(weigh, bands))
            planes[c] = fft.idctn(spectrum, type=2, workers=2, overwrite_x=True)
        list(pool.map(put_together, bands))
    return out


def grey_look(picture: NDArray[Any]) -> NDArray[Any]:
    """Return the picture by lightness alone, for checking values: equal greys have equal luminance.

    Parameters
    ----------
    picture : ndarray, shape (h, w, 3)
        8-bit sRGB (uint8), or light (float).

    Returns
    -------
    ndarray, shape (h, w, 3)
        Of the same kind; three equal channels whose luminance Y is that of the picture, so L* is kept.
    """
    as_bytes = picture.dtype == np.uint8
    light = decode(picture) if as_bytes else np.asarray(picture, dtype=np.float32)
    luminance = light @ LINEAR_TO_XYZ[1].astype(np.float32)
    grey = np.repeat(luminance[..., None], 3, axis=2)
    return encode(grey) if as_bytes else grey
