"""The label band of a skein: a smooth patch, or a straight strip of another colour that crosses it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.photo.ground import Small, log_light

__all__ = ["label_band"]

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# A band is this much smoother than the yarn, and this share of it; set on tuning scenes.
_SMOOTHER = 0.45
_SHARE = (0.02, 0.5)
# A strip: so many directions are tried; it takes this share of the skein's length and crosses its middle half.
_DIRECTIONS = 36
_WIDTH = (0.07, 0.27)
_MIDDLE = (0.25, 0.75)
# The usual width, as a share; and the side, in pixels, to which a larger skein is averaged down.
_USUAL, _SIDE = 0.15, 120
# Both of its edges are this many times stronger than what varies along it (a step in natural log of light over
# the root of variance); printed lines run along it and are left out by a median. Set on tuning scenes.
_STRONG, _QUIET, _MOST_VARIED = 2.3, 0.02, 0.25
# A printed edge is straight: so much of its step is made within four pixels, where a stretch of another colour of
# the yarn ends on each strand at its own place. Set on tuning scenes.
_SHARP = 0.7
# Yarn of this colour elsewhere in the skein means that it is a stretch of the yarn itself; set on tuning scenes.
_NEAR, _ELSEWHERE = 0.3, 0.2
# Hue counts so much more than light: strands vary in light.
_HUE = 1.5


def label_band(small: Small, region: Mask) -> Mask | None:
    """Return the label band inside the region of one skein, a mask of the small photo, or None.

    Parameters
    ----------
    small : Small
    region : ndarray of bool, shape (h, w)
    """
    if region.sum() < 150:
        return None
    rows, columns = np.nonzero(region)
    win = np.s_[max(0, rows.min() - 6) : rows.max() + 7, max(0, columns.min() - 6) : columns.max() + 7]
    logs, inside = log_light(small.linear[win]), region[win]
    found = _strip_of(logs, inside)
    if found is None:
        found = _smooth(logs.mean(axis=2), inside)
    if found is None:
        return None
    out = np.zeros(region.shape, dtype=bool)
    out[win] = found
    return out


def _smooth(light: Floats, inside: Mask) -> Mask | None:
    """Return the smooth part of a skein, if there is one and the rest is yarn."""
    from scipy import ndimage

    fine = light - ndimage.gaussian_filter(light, 2.5)
    texture = np.sqrt(np.maximum(ndimage.uniform_filter(fine**2, 5), 0))
    usual = float(np.median(texture[inside]))
    if usual < 0.02:
        return None
    smooth = ndimage.binary_opening((texture < _SMOOTHER * usual) & inside, iterations=1)
    smooth = ndimage.binary_closing(smooth, iterations=4) & inside
    labels, count = ndimage.label(smooth)
    sizes = np.bincount(labels.ravel(), minlength=count + 1)
    keep = np.isin(labels, [i for i in range(1, count + 1) if sizes[i] > _SHARE[0] * inside.sum()])
    if not keep.any() or keep.sum() > _SHARE[1] * inside.sum():
        return None
    wide: Mask = ndimage.binary_dilation(keep, iterations=3)
    return wide


@dataclass(frozen=True, slots=True)
class _Strip:
    """How sure, at which angle, and between which distances across it (pixels from the middle)."""

    score: float
    angle: float
    low: float
    high: float


def _strip_of(logs: Floats, inside: Mask) -> Mask | None:
    """Return `_strip` of a skein averaged down to at most _SIDE pixels: straightness asks for no more."""
    block = -(-max(inside.shape) // _SIDE)
    if block == 1:
        return _strip(logs, inside)
    height, width = (v // block * block for v in inside.shape)
    if min(height, width) == 0:
        return None
    shape = (height // block, block, width // block, block)
    few = np.asarray(logs[:height, :width].reshape(*shape, 3).mean(axis=(1, 3)))
    found = _strip(few, np.asarray(inside[:height, :width].reshape(shape).all(axis=(1, 3))))
    if found is None:
        return None
    out = np.zeros(inside.shape, dtype=bool)
    out[:height, :width] = np.repeat(np.repeat(found, block, axis=0), block, axis=1)
    return out


def _strip(logs: Floats, inside: Mask) -> Mask | None:
    """Return the straight strip that crosses a skein with two sharp, parallel edges and one colour between."""
    rows, columns = np.nonzero(inside)
    if len(rows) == 0:
        return None
    colour = logs[rows, columns]
    light = colour.mean(axis=1, keepdims=True)
    values = np.concatenate([light, _HUE * (colour - light)], axis=1)
    values = values - values.mean(axis=0)
    x, y = columns - columns.mean(), rows - rows.mean()
    best: _Strip | None = None
    for step in range(_DIRECTIONS):
        angle = np.pi * step / _DIRECTIONS
        strip = _strip_at(values, x * np.sin(angle) - y * np.cos(angle), angle)
        if strip is not None and (best is None or strip.score > best.score):
            best = strip
    if best is None or best.score < _STRONG:
        return None
    yy, xx = np.indices(inside.shape)
    every = (xx - columns.mean()) * np.sin(best.angle) - (yy - rows.mean()) * np.cos(best.angle)
    across = every[rows, columns]
    # An edge pixel on either side is half band, half yarn.
    within, beyond = (across > best.low) & (across < best.high), (across < best.low - 2) | (across > best.high + 2)
    plane = np.concatenate([0.5 * light, _HUE * (colour - light)], axis=1)
    middle = np.median(plane[within], axis=0)
    if float((np.linalg.norm(plane[beyond] - middle, axis=1) < _NEAR).mean()) > _ELSEWHERE:
        return None
    band: Mask = (every > best.low - 2.5) & (every < best.high + 2.5)
    return band


def _strip_at(values: Floats, across: Floats, angle: float) -> _Strip | None:
    """Return the best strip of one direction: `across` is the place of each pixel across it."""
    start = int(np.floor(across.min()))
    bins = np.rint(across).astype(int) - start
    count = np.bincount(bins).astype(float)
    size = len(count)
    if size < 20:
        return None
    total = np.stack([np.bincount(bins, v) for v in values.T], axis=1).astype(np.float64)
    square = np.bincount(bins, (values**2).sum(axis=1))
    mean = total / np.maximum(count, 1)[:, None]
    varied = square / np.maximum(count, 1) - (mean**2).sum(axis=1)
    # The step from the two bins before an edge to the two behind it; the bin of the edge itself is mixed.
    pair = (total[:-1] + total[1:]) / np.maximum(count[:-1] + count[1:], 1)[:, None]
    places = np.arange(2, size - 2)
    jumps = pair[3:] - pair[: size - 4]
    places = places[: len(jumps)]
    strength = np.linalg.norm(jumps, axis=1)
    strength[(places < 0.1 * size) | (places > 0.9 * size)] = 0
    edges: list[int] = []
    for k in np.argsort(-strength):
        if all(abs(int(k) - e) > 1 for e in edges):
            edges.append(int(k))
        if len(edges) == 10:
            break
    best: _Strip | None = None
    for one in sorted(edges):
        for two in sorted(edges):
            low, high = int(places[one]), int(places[two])
            if not _WIDTH[0] < (high - low) / size < _WIDTH[1] or high - low < 3:
                continue
            if not _MIDDLE[0] < (low + high) / (2 * size) < _MIDDLE[1] or float(jumps[one] @ jumps[two]) > 0:
                continue
            along = float(np.median(varied[low + 1 : high]))
            inner = total[low + 2 : high - 1].sum(axis=0) / max(float(count[low + 2 : high - 1].sum()), 1.0)
            before, behind = slice(max(0, low - 7), max(1, low - 2)), slice(high + 3, high + 8)
            sharp = (_sharp(jumps[one], inner, total, count, before), _sharp(-jumps[two], inner, total, count, behind))
            if min(sharp) < _SHARP:
                continue
            # Of two strips that share an edge the wider is the band, the narrower ends at a printed line.
            score = float(min(strength[one], strength[two]) / np.sqrt(along + _QUIET))
            score *= ((high - low) / (_USUAL * size)) ** 0.5
            if along < _MOST_VARIED and (best is None or score > best.score):
                best = _Strip(score, angle, float(low + start), float(high + start))
    return best


def _sharp(jump: Floats, inner: Floats, total: Floats, count: NDArray[Any], beyond: slice) -> float:
    """Return how much of the way from the colour beyond an edge to that within is made in one step at the edge."""
    way = inner - total[beyond].sum(axis=0) / max(float(count[beyond].sum()), 1.0)
    return float(jump @ way) / max(float(way @ way), 1e-9)
