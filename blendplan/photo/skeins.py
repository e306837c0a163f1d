"""Finding the skeins of a photo on plain ground: a mask and a box for each, and what to doubt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.photo.ground import Small
from blendplan.photo.peel import peel, trim, unlike_ground
from blendplan.wording import Notice, note

__all__ = ["Found", "find_skeins", "hull"]

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# A skein is at least this share of the photo; assumed.
_LEAST_AREA = 0.004
# Plain ground, wood and cloth lie within a tenth of their own light at the border (median distance); on tuning
# scenes .10 at the most, in photos of a cat, a table with cups and a flower before leaves .67 and more.
_PLAIN_BORDER = 0.2
# So much of a skein is unlike bare ground by itself; set on tuning scenes.
_OWN_SHARE = 0.3
# Two near pieces that fill this share of their common hull are one skein; two round balls side by side fill .88.
_SOLID = 0.93
# A whole skein fills at least _TORN of its own hull; a piece that does not is a torn part, and less will do.
_TORN = 0.90
_SOLID_TORN = 0.85


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """Skeins of a small photo: a label image (0 = ground), how many, and notices."""

    labels: NDArray[np.int32]
    count: int
    notices: tuple[Notice, ...]


def find_skeins(small: Small, leave_out: Mask | None = None) -> Found:
    """Return the skeins that lie on plain ground with gaps between.

    Parameters
    ----------
    small : Small
    leave_out : ndarray of bool, shape (h, w), optional
        A white card or a chart: never a skein.

    Notes
    -----
    Distance from the ground's light field; a threshold from the noise of the border; close, fill, open. Shadow is
    peeled off from outside by a flood that stops at strands, hue and edges, so that stretches of any colour stay
    together; touching skeins are cut at their waist by a watershed on the distance inside. Skeins that run over
    the border of the photo are not told from ground. Where most of the border is unlike any plain ground nothing
    is proposed.
    """
    from scipy import ndimage

    distance, rest = small.against_ground
    height, width = distance.shape
    rim = max(2, round(0.03 * min(height, width)))
    edge = np.concatenate([distance[:rim].ravel(), distance[-rim:].ravel(), distance[:, :rim].ravel()])
    middle = float(np.median(edge))
    if middle > _PLAIN_BORDER:
        told = note("the ground is not plain, so skeins cannot be told from it; draw a box round each yarn", "warning")
        return Found(labels=np.zeros(distance.shape, dtype=np.int32), count=0, notices=(told,))
    noise = float(np.median(np.abs(edge - middle)))
    threshold = max(0.10, min(1.25 * float(np.quantile(edge, 0.95)), middle + 9 * noise))
    seeds = ndimage.binary_closing(distance > threshold, iterations=2)
    seeds = ndimage.binary_fill_holes(seeds)
    seeds = ndimage.binary_opening(seeds, iterations=3)
    least = _LEAST_AREA * height * width
    bare = small.counts & ~ndimage.binary_dilation(seeds, iterations=4)
    cue = unlike_ground(rest, bare)
    parts, touching = _part(peel(cue, seeds), least)
    # A patch of ground that only the light's field missed has no strands and no edge of its own.
    pieces = trim(rest, [p for p in parts if (cue[p] > 1.0).mean() > _OWN_SHARE])
    pieces = [p for p in pieces if p.sum() >= least]
    if leave_out is not None:
        # The white's mask is the sure middle of a card; what is a quarter of it or more is the card itself.
        pieces = [p for p in pieces if (p & leave_out).sum() < 0.25 * p.sum()]
    pieces = _join_over_bands(pieces, small.linear)
    result = np.zeros(distance.shape, dtype=np.int32)
    for number, piece in enumerate(pieces, start=1):
        result[piece] = number
    notices: list[Notice] = []
    if not pieces:
        notices.append(note("no skein stands out from the ground; draw a box round each yarn", "warning"))
    if touching:
        notices.append(note("some skeins touch and were cut apart at the waist; check their boxes", "warning"))
    elif any(_solidity(p) < _TORN for p in pieces):
        notices.append(note("an outline is not round or straight: two skeins may touch; check the boxes", "warning"))
    return Found(labels=result, count=len(pieces), notices=tuple(notices))


def _join_over_bands(pieces: list[Mask], linear: Floats) -> list[Mask]:
    """Join pieces of one skein that a label band or a pale part has torn: together they are one convex thing."""
    from scipy import ndimage

    pieces = list(pieces)
    if len(pieces) > 1:
        every, count = ndimage.label(ndimage.binary_dilation(np.any(pieces, axis=0), iterations=3))
        groups = [[p for p in pieces if every[p][0] == i] for i in range(1, count + 1)]
        whole = [np.any(g, axis=0) for g in groups]
        pieces = []
        for group, union in zip(groups, whole, strict=True):
            filled = hull(union)
            torn = len(group) > 1 and min(_solidity(p) for p in group) < _TORN
            enough = _SOLID_TORN if torn else _SOLID
            pieces += [filled] if len(group) > 1 and union.sum() > enough * filled.sum() else group
    while True:
        best: tuple[float, int, int] | None = None
        for i in range(len(pieces)):
            for j in range(i + 1, len(pieces)):
                value = _belong(pieces[i], pieces[j], linear)
                if value > 0 and (best is None or value > best[0]):
                    best = (value, i, j)
        if best is None:
            return pieces
        _, i, j = best
        pieces[i] = hull(pieces[i] | pieces[j])
        del pieces[j]


def hull(mask: Mask) -> Mask:
    """Return the convex hull of a mask that holds at least one pixel."""
    from skimage.morphology import convex_hull_image

    rows, columns = np.nonzero(mask)
    win = np.s_[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]
    out = np.zeros(mask.shape, dtype=bool)
    fill: Any = convex_hull_image
    out[win] = fill(mask[win])
    return out


def _solidity(mask: Mask) -> float:
    return float(mask.sum() / hull(mask).sum())


def _belong(one: Mask, two: Mask, linear: Floats) -> float:
    """How well two pieces make one skein: the share of the common hull that they fill, or 0."""
    from scipy import ndimage

    both = one | two
    rows, columns = np.nonzero(both)
    win = np.s_[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]
    area = float(both.sum())
    # Far apart pieces cannot fill their hull; spare the work.
    if area < 0.3 * (rows.max() - rows.min() + 1) * (columns.max() - columns.min() + 1):
        return 0.0
    one, two = one[win], two[win]
    solid = area / float(hull(one | two).sum())
    near = (ndimage.binary_dilation(one, iterations=4) & ndimage.binary_dilation(two, iterations=4)).any()
    torn = min(one.sum(), two.sum()) < 0.15 * max(one.sum(), two.sum()) or min(_solidity(one), _solidity(two)) < _TORN
    if near and solid > (_SOLID_TORN if torn else _SOLID):
        return solid
    return solid if _bridged(one, two, linear[win], solid) else 0.0


def _bridged(one: Mask, two: Mask, linear: Floats, solid: float) -> bool:
    """Whether two halves of like colour face each other over their full width across an even gap."""
    if solid < 0.65:
        return False
    colour = [np.log(np.median(linear[m], axis=0) + 2e-3) for m in (one, two)]
    apart = colour[0] - colour[1]
    # Shading of the halves may differ in light, little in hue; assumed.
    if abs(apart.mean()) > 0.35 or np.abs(apart - apart.mean()).max() > 0.15:
        return False
    (y1, x1), (y2, x2) = np.nonzero(one), np.nonzero(two)
    way = np.array([x2.mean() - x1.mean(), y2.mean() - y1.mean()])
    way = way / max(float(np.hypot(*way)), 1e-9)
    along1, along2 = x1 * way[0] + y1 * way[1], x2 * way[0] + y2 * way[1]
    off1, off2 = -x1 * way[1] + y1 * way[0], -x2 * way[1] + y2 * way[0]
    low, high = max(off1.min(), off2.min()), min(off1.max(), off2.max())
    narrow = float(min(np.ptp(off1), np.ptp(off2)))
    if high - low < 0.85 * narrow or narrow < 8:
        return False
    edges = np.linspace(low, high, 11)
    gaps = []
    for k in range(1, 9):
        m1, m2 = (off1 >= edges[k]) & (off1 < edges[k + 1]), (off2 >= edges[k]) & (off2 < edges[k + 1])
        if not m1.any() or not m2.any():
            return False
        gaps.append(float(along2[m2].min() - along1[m1].max()))
    length = float(np.ptp(np.concatenate([along1, along2])))
    return max(gaps) < 0.3 * length and max(gaps) - min(gaps) < 0.08 * narrow + 1.5


def _part(core: Mask, least: float) -> tuple[list[Mask], bool]:
    """Cut a blob at its waists; return the pieces, and whether there was more than one in a blob."""
    from scipy import ndimage
    from skimage.segmentation import watershed

    pieces: list[Mask] = []
    parted = False
    labels, count = ndimage.label(core)
    for index in range(1, count + 1):
        blob = labels == index
        if blob.sum() < least:
            continue
        depth = ndimage.distance_transform_edt(np.pad(blob, 1))[1:-1, 1:-1]
        smooth = ndimage.gaussian_filter(depth, 2.0)
        # A waist is a saddle below .72 of the smaller of the two depths that it joins; measured on tuning scenes.
        peaks = _separate_peaks(smooth, blob, 0.72)
        if peaks.max() <= 1:
            pieces.append(blob)
            continue
        flood: Any = watershed
        cut = flood(-smooth, peaks, mask=blob)
        parts = [cut == i for i in range(1, int(peaks.max()) + 1)]
        parts = [p for p in parts if p.sum() >= least]
        parted |= len(parts) > 1
        pieces += parts
    return pieces, parted


def _separate_peaks(depth: Floats, blob: Mask, saddle: float) -> NDArray[np.int32]:
    """Markers of the depths that stay apart when the level sinks to `saddle` of each."""
    from scipy import ndimage

    markers = np.zeros(depth.shape, dtype=np.int32)
    found: list[tuple[int, int]] = []
    left = np.where(blob, depth, 0.0)
    top = float(left.max())
    while True:
        at = np.unravel_index(int(np.argmax(left)), left.shape)
        height = float(left[at])
        if height < 0.35 * top or height <= 1:
            break
        basin, _ = ndimage.label(depth * blob > saddle * height)
        own = basin == basin[at]
        if not any(own[p] for p in found):
            found.append((int(at[0]), int(at[1])))
        left = np.where(own, 0.0, left)
    for i, place in enumerate(found, start=1):
        markers[place] = i
    return markers
