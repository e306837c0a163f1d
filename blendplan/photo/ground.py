"""The plain ground under the skeins: its light field, and how far each pixel is from it.

The work is done on a copy of about 480 pixels, where the strands are a few pixels wide, in the logarithm
of light: there a shadow or a falling-off of the lamp is an offset and a field of light is smooth.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import srgb_to_linear
from blendplan.photo.loading import Photo

__all__ = ["GROUND_FLOOR", "Small", "fit_field", "light_and_hue", "shrink", "terms"]

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

SMALL_SIDE = 480
# Black of an 8-bit photo is never quite black; keeps the logarithm tame. Assumed.
_FLOOR = 2e-3
# A channel in which the ground is all but black holds nothing but the noise of coding. Set on tuning scenes.
GROUND_FLOOR = 1e-2


@dataclass(frozen=True, kw_only=True, eq=False)
class Small:
    """A photo averaged down in light: linear sRGB, where it counts, and small pixels per full pixel."""

    linear: Floats
    counts: Mask
    clipped: Mask
    scale: float

    @cached_property
    def against_ground(self) -> tuple[Floats, Floats]:
        """`_ground_distance` of this photo, worked out once: the white and the finder both ask for it."""
        return _ground_distance(self)

    @cached_property
    def warmth(self) -> float:
        """How warm the photo as a whole is: natural log of its most red over its most blue; 0 in balanced light."""
        red, _, blue = np.quantile(self.linear[self.counts], 0.99, axis=0) + _FLOOR if self.counts.any() else (1, 1, 1)
        return float(np.log(red / blue))


_DECODE = srgb_to_linear(np.arange(256) / 255)


def shrink(photo: Photo, side: int = SMALL_SIDE) -> Small:
    """Return the photo averaged in linear light by whole blocks to at most about `side` pixels."""
    height, width = photo.srgb8.shape[:2]
    block = max(1, -(-max(height, width) // side))
    rows, columns = max(1, height // block), max(1, width // block)
    if block > min(height, width):
        block, rows, columns = 1, height, width
    part = photo.srgb8[: rows * block, : columns * block]
    counts = photo.counts[: rows * block, : columns * block]
    decode = _DECODE.astype(np.float32)
    blocks = part.reshape(rows, block, columns, block, 3)
    # One row of each block after the other: a whole float copy of the photo is never made.
    total = np.zeros((rows, columns, 3))
    clipped = np.zeros((rows, columns), dtype=bool)
    for i in range(block):
        strip = blocks[:, i]
        total += decode[strip].sum(axis=2)
        clipped |= (strip >= 253).any(axis=(2, 3))
    share = counts.reshape(rows, block, columns, block).mean(axis=(1, 3))
    return Small(linear=total / block**2, counts=share > 0.99, clipped=clipped, scale=photo.scale / block)


def terms(shape: tuple[int, int], order: int = 2) -> Floats:
    """Return the polynomial terms of place, shape (h, w, n): 1, x, y, xx, xy, yy with x, y from -1 to 1."""
    y, x = np.meshgrid(np.linspace(-1, 1, shape[0]), np.linspace(-1, 1, shape[1]), indexing="ij")
    parts = [np.ones(shape), x, y, x * x, x * y, y * y]
    return np.stack(parts[: {0: 1, 1: 3, 2: 6}[order]], axis=-1)


def fit_field(log_light: Floats, mask: Mask, order: int = 2, rounds: int = 6) -> tuple[Floats, Floats, float]:
    """Return a smooth field through the pixels of a mask, robustly.

    Parameters
    ----------
    log_light : ndarray, shape (h, w, 3)
    mask : ndarray of bool, shape (h, w)
    order : {0, 1, 2}

    Returns
    -------
    field : ndarray, shape (h, w, 3)
    coefficients : ndarray, shape (n, 3)
    sigma : float
        Robust spread of the mean channel about the field.
    """
    basis = terms(log_light.shape[:2], order)
    flat = np.flatnonzero(mask.ravel())
    step = max(1, len(flat) // 4_000)
    a = basis.reshape(-1, basis.shape[-1])[flat[::step]]
    b = log_light.reshape(-1, 3)[flat[::step]]
    keep = np.ones(len(a), dtype=bool)
    coefficients: Floats = np.zeros((a.shape[1], 3))
    sigma = 0.0
    for _ in range(rounds):
        coefficients = np.asarray(np.linalg.lstsq(a[keep], b[keep], rcond=None)[0], dtype=np.float64)
        rest = b - a @ coefficients
        off = np.abs(rest).max(axis=1)
        sigma = float(1.4826 * np.median(off[keep])) + 1e-3
        inside = off < 3.0 * sigma
        if inside.sum() < max(20, 0.2 * len(a)):
            break
        keep = inside
    return np.asarray(basis @ coefficients), coefficients, sigma


def log_light(linear: Floats, floor: float = _FLOOR) -> Floats:
    """Return the natural logarithm of light with a small floor."""
    return np.log(np.maximum(linear, 0) + floor)


def light_and_hue(rest: Floats, sigma: float) -> tuple[Floats, Floats]:
    """Return the mean of log light smoothed over `sigma` pixels, and how far its channels lie about that mean."""
    from scipy.ndimage import gaussian_filter

    smooth = np.stack([gaussian_filter(rest[..., i], sigma) for i in range(3)], axis=-1)
    light = smooth.mean(axis=2)
    return light, np.linalg.norm(smooth - light[..., None], axis=2)


def _ground_distance(small: Small) -> tuple[Floats, Floats]:
    """Return how far each pixel is from the ground that the border shows, and its light against that ground.

    Returns
    -------
    distance : ndarray, shape (h, w)
        In units of natural log light; darkening counts .6 (it may be shadow), hue 2.5, texture 2.5.
    rest : ndarray, shape (h, w, 3)
        Log light above that of the bare ground.
    """
    from scipy.ndimage import gaussian_filter, uniform_filter

    logs = log_light(small.linear, GROUND_FLOOR)
    height, width = logs.shape[:2]
    rim = max(2, round(0.04 * min(height, width)))
    border = np.zeros((height, width), dtype=bool)
    border[:rim], border[-rim:], border[:, :rim], border[:, -rim:] = True, True, True, True
    border &= small.counts
    if border.sum() < 50:
        border = small.counts
    field, _, _ = fit_field(logs, border, 1)
    for order in (2, 2):
        off = np.abs(logs - field)
        near = (off.max(axis=2) < max(0.15, 3 * float(np.median(off[border])))) & small.counts
        far_enough = border | near
        field, _, _ = fit_field(logs, far_enough & near if (far_enough & near).sum() > 200 else border, order)
    rest = logs - field
    light, hue = light_and_hue(rest, 1.0)
    fine = rest.mean(axis=2)
    fine = fine - gaussian_filter(fine, 3.0)
    texture = np.sqrt(np.maximum(uniform_filter(fine**2, 7), 0))
    usual = float(np.median(texture[border]))
    excess = np.maximum(texture - 1.5 * usual, 0)
    # A shadow darkens without hue and without texture: such pixels count little, yarn shows one or the other.
    evidence = np.clip(hue / 0.12 + gaussian_filter(excess, 2.0) / 0.06, 0, 1)
    darker = np.where(light < 0, (0.2 + 0.5 * evidence) * light, light)
    distance = np.hypot(darker, 2.5 * hue) + 2.5 * np.minimum(excess, 0.15)
    return np.where(small.counts, distance, 0.0), rest
