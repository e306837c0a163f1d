"""Which pixels of the working photo are read for one yarn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendplan.photo.band import label_band
from blendplan.photo.ground import Small
from blendplan.photo.loading import Photo

__all__ = ["Sample", "sample_yarn"]

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# So many pixels say all that a yarn has to say; more only cost time.
_MOST = 12_000
# A code at or above this in any channel is overexposed.
_CLIPPED = 252


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sample:
    """Pixels of one yarn.

    Attributes
    ----------
    srgb8 : ndarray, shape (n, 3), uint8
    x, y : ndarray, shape (n,)
        Place, -1 to 1 over the photo's width and height.
    top : ndarray of bool, shape (n,)
        True for the tops of strands: lighter than their surroundings.
    clipped : float
        Share of pixels that were left out because they are overexposed.
    band : bool
        True if a label band was left out.
    """

    srgb8: NDArray[np.uint8]
    x: Floats
    y: Floats
    top: Mask
    clipped: float
    band: bool


def sample_yarn(photo: Photo, small: Small, region: Mask, box: tuple[int, int, int, int]) -> Sample:
    """Return the pixels of a region (a mask in the small photo) inside a box (full-size pixels).

    The rim of the region, overexposed pixels and a label band are left out; what is left is thinned evenly.
    """
    from scipy import ndimage

    inner = ndimage.binary_erosion(region, iterations=2)
    # A region that is the whole box has no rim of ground to lose.
    chosen = inner if inner.sum() > 0.4 * region.sum() else region
    band = label_band(small, chosen)
    if band is not None:
        chosen = chosen & ~band
    height, width = photo.srgb8.shape[:2]
    left, top, right, bottom = (v * photo.scale for v in box)
    y0, x0 = min(int(top), height - 1), min(int(left), width - 1)
    y1, x1 = min(height, max(y0 + 1, round(bottom))), min(width, max(x0 + 1, round(right)))
    ratio = small.scale / photo.scale
    rows = np.minimum(((np.arange(y0, y1) + 0.5) * ratio).astype(int), chosen.shape[0] - 1)
    columns = np.minimum(((np.arange(x0, x1) + 0.5) * ratio).astype(int), chosen.shape[1] - 1)
    take = chosen[rows][:, columns] & photo.counts[y0:y1, x0:x1]
    if not take.any():
        take = photo.counts[y0:y1, x0:x1].copy()
    part = photo.srgb8[y0:y1, x0:x1]
    full = np.asarray(np.any(part >= _CLIPPED, axis=2))
    clipped = float(full[take].mean()) if take.any() else 0.0
    if clipped < 0.9:
        take &= ~full
    light = part @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
    pitch = max(1.0, min(part.shape[:2]) / 18)
    weight = ndimage.uniform_filter(take.astype(np.float32), round(pitch) | 1)
    around = ndimage.uniform_filter(np.where(take, light, 0), round(pitch) | 1) / np.maximum(weight, 1e-3)
    top_pixels = np.asarray(light >= around)[take]
    yy, xx = np.nonzero(take)
    # A fixed shuffle: an even step could fall into a rhythm with the strands.
    pick = np.sort(np.random.default_rng(len(yy)).permutation(len(yy))[:_MOST])
    return Sample(
        srgb8=part[yy[pick], xx[pick]],
        x=2 * (xx[pick] + x0) / max(width - 1, 1) - 1,
        y=2 * (yy[pick] + y0) / max(height - 1, 1) - 1,
        top=top_pixels[pick],
        clipped=clipped,
        band=band is not None,
    )
