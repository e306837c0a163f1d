"""The outline of skeins: shadow and halo peeled off from outside, down to what is yarn by itself."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from blendplan.photo.ground import light_and_hue

__all__ = ["peel", "trim", "unlike_ground"]

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# All in natural logarithm of light on the small photo and set on tuning scenes, unless a line says otherwise.
# What bare ground does at the least in hue, in steepness and in being lighter than its light field; where its own
# noise is more that counts, up to _NOISIEST times as much.
_HUE, _STEEP, _LIGHTER, _NOISIEST = 0.04, 0.05, 0.08, 4.0
_USUAL, _MARGIN = 0.98, 1.2
# A shadow halves the light at the most; what is darker is no shadow. Assumed.
_DARKEST = 0.35
# The rim of a skein ends where it is this share of its own level inside, not deeper than _DEPTH pixels in.
_SHARE, _DEPTH, _SPREAD = 0.45, 9, 6.0
# How much darkening counts where hue or strands prove that it is no shadow, and where nothing does.
_PROVEN, _UNPROVEN = 0.6, 0.2
_BUSY, _HUE_WEIGHT, _STEEP_WEIGHT = 0.12, 2.5, 0.7


def unlike_ground(rest: Floats, bare: Mask) -> Floats:
    """Return how unlike bare ground or its shadow each pixel is by itself: 1 at the edge of what ground does.

    Parameters
    ----------
    rest : ndarray, shape (h, w, 3)
        Log light above that of the bare ground (`Small.against_ground`).
    bare : ndarray of bool, shape (h, w)
        What is surely ground.
    """
    light, hue, steep = _looks(rest, 0.6)
    if bare.sum() < 200:
        bare = np.ones_like(bare)
    total = np.zeros(light.shape)
    for part, least in ((hue, _HUE), (steep, _STEEP), (np.maximum(light, 0), _LIGHTER)):
        usual = _MARGIN * float(np.quantile(part[bare], _USUAL))
        total += (part / min(max(least, usual), _NOISIEST * least)) ** 2
    total += (np.maximum(-light - _DARKEST, 0) / _DARKEST) ** 2
    return np.sqrt(total)


def peel(cue: Floats, seeds: Mask) -> Mask:
    """Return the seeds without the shadow and the halo round them.

    Parameters
    ----------
    cue : ndarray, shape (h, w)
        From `unlike_ground`.
    seeds : ndarray of bool, shape (h, w)
        Whatever stands out from the ground.
    """
    from scipy import ndimage

    wide: Mask = ndimage.binary_dilation(seeds, iterations=2)
    return _settled(wide & ~_flood(cue < 1.0, wide), 2)


def trim(rest: Floats, parts: Sequence[Mask]) -> list[Mask]:
    """Return each skein without its soft rim: cut at a share of its own level nearby; sorted by place.

    Parameters
    ----------
    rest : ndarray, shape (h, w, 3)
    parts : sequence of ndarray of bool, shape (h, w)
        One for each skein.
    """
    from scipy import ndimage

    own = _distance(rest)
    pieces = []
    for part in parts:
        sure = ndimage.binary_erosion(part, iterations=5)
        if not sure.any():
            sure = part
        weight = ndimage.gaussian_filter(sure.astype(float), _SPREAD)
        level = ndimage.gaussian_filter(np.where(sure, own, 0.0), _SPREAD) / np.maximum(weight, 1e-6)
        deep = ndimage.binary_erosion(part, iterations=_DEPTH)
        piece = ndimage.binary_erosion(part) & (~_flood(own < _SHARE * level, part) | deep)
        labels, count = ndimage.label(_settled(piece, 3))
        if count:
            pieces.append(labels == 1 + int(np.argmax(np.bincount(labels.ravel())[1:])))
    pieces.sort(key=lambda p: tuple(int(v[0]) for v in np.nonzero(p)))
    return pieces


def _looks(rest: Floats, sigma: float) -> tuple[Floats, Floats, Floats]:
    """Return lightness, hue and steepness of light against the ground."""
    from scipy import ndimage

    light, hue = light_and_hue(rest, sigma)
    return light, hue, ndimage.gaussian_gradient_magnitude(rest.mean(axis=2), 0.7)


def _distance(rest: Floats) -> Floats:
    """Return how far each pixel is from the ground, shadow counting little."""
    from scipy import ndimage

    light, hue, steep = _looks(rest, 0.5)
    busy = ndimage.uniform_filter(steep, 3)
    proof = np.clip(hue / 0.12 + np.maximum(busy - _BUSY, 0) / 0.1, 0, 1)
    darker = np.where(light < 0, (_UNPROVEN + _PROVEN * proof) * light, light)
    return np.hypot(darker, _HUE_WEIGHT * hue) + _STEEP_WEIGHT * steep


def _flood(open_to: Mask, within: Mask) -> Mask:
    """Return what a flood from outside of `within` reaches through the pixels that are open to it."""
    from scipy import ndimage

    labels, _ = ndimage.label(open_to | ~within)
    reached = np.unique(labels[~within])
    return np.isin(labels, reached[reached > 0])


def _settled(mask: Mask, reach: int) -> Mask:
    """Return a mask without gaps, holes and specks."""
    from scipy import ndimage

    closed = ndimage.binary_closing(np.pad(mask, 6), iterations=reach)[6:-6, 6:-6]
    out: Mask = ndimage.binary_opening(ndimage.binary_fill_holes(closed), iterations=2)
    return out
