"""The reader: pixels of one yarn, already in neutral light, to its shades.

A yarn in a photo is strand tops, gaps, glints and perhaps a label band. Its shade is the colour of the lit
strand. Its hue and chroma are those of the middle tones, where neither gaps nor glints show; its lightness is
that of the light tones, after whatever is not the yarn's own colour is set apart. Dark yarn shows glints so
strongly that its light half cannot be trusted; there the level is held by the lower half.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import delta_e_2000, linear_to_lab, linear_to_oklab

__all__ = ["Cluster", "read_pixels", "split_pixels"]

Floats = NDArray[np.float64]

_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
# Hue and chroma are read between these quantiles of luminance: below lie gaps, where light that goes from strand
# to strand deepens the colour, above lie glints that wash it out. Of eleven bands tried on tuning scenes the best.
_BODY = (0.40, 0.70)
# A strand is round and only its crest is lit as flat paper beside it is. The crest lies above the light tones by
# this share of the step from the middle tones to the light ones (in the logarithm), less a step that noise alone
# makes, so that a flat thing reads as it is. Set on tuning scenes; the mean of .75 to .93, used before, was 2 L*
# too dark there.
_MIDDLE, _LIT, _CREST, _NOISE = (0.30, 0.60), (0.60, 0.80), 0.85, 0.02
# Glints make dark yarn too light: its lit strand is at most this many times the 30th percentile. Tuning scenes.
_MATT_RISE = 2.1
# No matt surface is lit more than this many times its own median: above it is a glint or a label band.
_GLINT = 2.5
# Colours are told apart by Oklab's a and b over L, which shading leaves as they are, and a little by L. These
# are their weights, the L below which the ratio would be noise, and the distance at which two shades are one;
# set on tuning scenes.
_HUE, _LIGHT, _DARK = 70.0, 35.0, 0.4
_APART = 5.0
_LEAST_SHARE = 0.05
# Fewer pixels than this are no shade of their own; assumed.
_LEAST_PIXELS = 5
# Two shades that lie mixed are one heather: over so many cells a side, less segregated than this (0 mixed alike
# everywhere, 1 apart). Set on tuning scenes.
_CELLS, _MIXED = 8, 0.3
# Relief below which a part has no strands; paper has .02 to .07, yarn .1 to .3 on tuning scenes.
_FLAT = 0.085
# A part as white as paper on less than this share of a skein is taken for its band; assumed.
_BAND_SHARE = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Cluster:
    """One shade read: linear sRGB in neutral light, share, spread (CIEDE2000) and how many pixels."""

    linear: tuple[float, float, float]
    share: float
    spread: float
    pixels: int


def read_pixels(linear: Floats, clipped: float = 0.0) -> tuple[Floats, float]:
    """Return the shade of pixels of one colour (linear sRGB, shape (3,)) and its spread in CIEDE2000.

    Parameters
    ----------
    linear : ndarray, shape (n, 3)
        In neutral light, n at least 1.
    clipped : float, optional
        Share of the yarn's pixels, 0 to below 1, that were overexposed and are not among these: the lightest.
    """
    pixels = _main_hue(linear)
    luminance = pixels @ _LUMINANCE
    keep = luminance < _GLINT * max(float(np.median(luminance)), 1e-4)
    rising = np.flatnonzero(keep)[np.argsort(luminance[keep], kind="stable")]
    pixels, luminance = pixels[rising], luminance[rising]
    body = _between(pixels, _BODY, clipped).mean(axis=0)
    matt = _MATT_RISE * float(np.quantile(luminance, min(1.0, 0.3 / (1 - clipped))))
    middle, lit = (float(_between(luminance, part, clipped).mean()) for part in (_MIDDLE, _LIT))
    step = max(0.0, float(np.log(max(lit, 1e-6) / max(middle, 1e-6))) - _NOISE)
    level = min(lit * float(np.exp(_CREST * step)), matt)
    shade = body * level / max(float(body @ _LUMINANCE), 1e-6)
    seen = pixels[len(pixels) // 4 :]
    own = linear_to_lab(np.clip(seen * (level / np.maximum(seen @ _LUMINANCE, 1e-5))[:, None], 0, None))
    spread = float(np.sqrt(np.mean(delta_e_2000(own[:: max(1, len(own) // 4000)], own.mean(axis=0)) ** 2)))
    return shade, spread


def _between(rising: Floats, quantiles: tuple[float, float], clipped: float) -> Floats:
    """Return the part between two quantiles of sorted values, of which the highest are missing; never empty."""
    low, high = (min(len(rising), round(q / (1 - clipped) * len(rising))) for q in quantiles)
    low = min(low, len(rising) - 1)
    return rising[low : max(high, low + 1)]


def _main_hue(linear: Floats) -> Floats:
    """Return the pixels about the densest place of the hue plane, lightness left out."""
    if len(linear) < 30:
        return linear
    oklab = linear_to_oklab(np.clip(linear, 1e-5, None))
    plane = oklab[:, 1:] / np.maximum(oklab[:, :1], 0.15)
    cells = np.clip(np.rint(plane / 0.02).astype(int), -60, 60) + 61
    count = np.zeros((123, 123))
    np.add.at(count, (cells[:, 0], cells[:, 1]), 1)
    wide = np.sum([np.roll(count, (i, j), (0, 1)) for i in (-1, 0, 1) for j in (-1, 0, 1)], axis=0)
    top = divmod(int(np.argmax(wide)), wide.shape[1])
    # Heather is broad: the reach grows until half of the pixels are in, up to .12.
    off = np.abs(cells - np.array(top)).max(axis=1)
    reach = min(max(2, int(np.quantile(off, 0.5))), 6)
    near = linear[off <= reach]
    return near if len(near) >= 20 else linear


def split_pixels(
    linear: Floats,
    top: NDArray[np.bool_],
    places: Floats,
    *,
    most: int = 6,
    exactly: int | None = None,
    clipped: float = 0.0,
) -> tuple[Cluster, ...]:
    """Return the shades of a yarn, the largest first: one for plain or heather, several for variegated.

    Parameters
    ----------
    linear : ndarray, shape (n, 3)
        Pixels in neutral light.
    top : ndarray of bool, shape (n,)
        True on the strand tops, which say how many colours there are.
    places : ndarray, shape (n, 2)
        Where the pixels are, in any unit: what lies mixed everywhere is a heather, not several shades.
    most : int
        At most so many shades.
    exactly : int, optional
        So many shades, whether they stand apart or not (fewer only where the pixels have fewer colours).
    clipped : float, optional
        Share of the pixels, 0 to below 1, that were overexposed and left out; used where there is one shade.

    Notes
    -----
    Seeds by farthest points, k-means on hue and chroma apart from shading, then the two nearest are joined until
    all stand apart; a small one on the line between two larger is their blur. No random numbers.
    """
    # A yarn without relief has no tops.
    tops = np.flatnonzero(top) if top.any() else np.arange(len(linear))
    points = _points(linear[tops])
    step = max(1, len(points) // 3000)
    sample = points[::step]
    centres = _seeds(sample, 8)
    for _ in range(12):
        own = _nearest(sample, centres)
        moved = [np.median(sample[own == i], axis=0) if (own == i).any() else c for i, c in enumerate(centres)]
        centres = np.array(moved)
    centres = _join(sample, centres, most, exactly)
    if exactly is None:
        centres = _join_mixed(sample, places[tops[::step]], centres)
    if len(centres) == 1:
        return _one_shade(linear, clipped)
    own, every = _nearest(points, centres), _nearest(_points(linear), centres)
    parts = [(int((own == i).sum()), linear[every == i]) for i in range(len(centres))]
    parts = [(size, part) for size, part in parts if len(part) >= _LEAST_PIXELS and size > 0]
    if not parts:
        return _one_shade(linear, clipped)
    out = []
    for size, part in parts:
        shade, spread = read_pixels(part)
        out.append((size, shade, spread, _relief(part)))
    # A label band is flat: it has no strands. One flat colour beside a larger one with relief is not yarn.
    largest = max(out, key=lambda item: item[0])
    flat = min(_FLAT, 0.6 * largest[3])
    total = sum(item[0] for item in out)
    out = [
        item
        for item in out
        if item is largest or (item[3] > flat and not (item[0] < _BAND_SHARE * total and _paper_white(item[1])))
    ]
    total = sum(item[0] for item in out)
    out.sort(key=lambda item: -item[0])
    return tuple(Cluster(linear=_three(c), share=n / total, spread=s, pixels=n) for n, c, s, _ in out)


def _one_shade(linear: Floats, clipped: float) -> tuple[Cluster, ...]:
    shade, spread = read_pixels(linear, clipped)
    return (Cluster(linear=_three(shade), share=1.0, spread=spread, pixels=len(linear)),)


def _paper_white(shade: Floats) -> bool:
    """Whether a shade is as light and as neutral as paper: a small part like that is a printed band."""
    return bool(shade.min() > 0.72 and shade.max() < 1.08 * shade.min())


def _relief(linear: Floats) -> float:
    """Natural log of the luminance of the 90th percentile over the 65th: ink lies below both, strands between."""
    high, low = np.quantile(linear @ _LUMINANCE, [0.90, 0.65])
    return float(np.log(max(high, 1e-5) / max(low, 1e-5)))


def _three(values: Floats) -> tuple[float, float, float]:
    return (float(values[0]), float(values[1]), float(values[2]))


def _points(linear: Floats) -> Floats:
    """Return places where a colour keeps its own in light and in shade, shape (n, 3)."""
    oklab = linear_to_oklab(np.clip(linear, 1e-5, None))
    light = oklab[:, :1]
    return np.concatenate([_LIGHT * light, _HUE * oklab[:, 1:] / np.maximum(light, _DARK)], axis=1)


def _seeds(points: Floats, count: int) -> Floats:
    """Farthest points, each drawn in to the mean of what lies near it, so that one odd pixel founds nothing."""
    seeds = [np.median(points, axis=0)]
    distance = np.linalg.norm(points - seeds[0], axis=1)
    for _ in range(count - 1):
        far = float(np.quantile(distance, 0.985))
        if far < 3.0:
            break
        at = points[int(np.argmin(np.abs(distance - far)))]
        near = np.linalg.norm(points - at, axis=1) < 4.0
        seeds.append(points[near].mean(axis=0))
        distance = np.minimum(distance, np.linalg.norm(points - seeds[-1], axis=1))
    return np.array(seeds)


def _nearest(points: Floats, centres: Floats) -> NDArray[np.intp]:
    square = (points**2).sum(axis=1)[:, None] - 2 * points @ centres.T + (centres**2).sum(axis=1)
    return np.argmin(square, axis=1)


def _join(points: Floats, centres: Floats, most: int, exactly: int | None) -> Floats:
    own = _nearest(points, centres)
    sizes = np.array([(own == i).sum() for i in range(len(centres))], dtype=float)
    centres, sizes = centres[sizes > 0], sizes[sizes > 0]
    while len(centres) > 1:
        gaps = np.linalg.norm(centres[:, None] - centres[None], axis=2) + np.diag([np.inf] * len(centres))
        i, j = divmod(int(np.argmin(gaps)), gaps.shape[1])
        blur = _blur(centres, sizes)
        if exactly is not None:
            if len(centres) <= exactly:
                break
        elif gaps[i, j] > _APART and len(centres) <= most and blur is None:
            small = int(np.argmin(sizes))
            if sizes[small] >= _LEAST_SHARE * sizes.sum():
                break
            i, j = small, int(np.argmin(gaps[small]))
        elif gaps[i, j] > _APART and blur is not None:
            i, j = blur
        big, little = (i, j) if sizes[i] >= sizes[j] else (j, i)
        # A small neighbour moves the centre in proportion, a blur not at all.
        if blur is None or little != blur[0]:
            weights = np.array([sizes[big], sizes[little]])
            centres[big] = (centres[[big, little]] * weights[:, None]).sum(axis=0) / weights.sum()
        sizes[big] += sizes[little]
        centres, sizes = np.delete(centres, little, axis=0), np.delete(sizes, little)
    return centres


def _join_mixed(points: Floats, places: Floats, centres: Floats) -> Floats:
    """Join centres whose pixels lie mixed with each other all over the yarn: the fibres of a heather."""
    low, high = places.min(axis=0), places.max(axis=0)
    cell = np.minimum((places - low) / np.maximum(high - low, 1e-9) * _CELLS, _CELLS - 1).astype(int)
    cell = cell[:, 0] * _CELLS + cell[:, 1]
    while len(centres) > 1:
        own = _nearest(points, centres)
        counts = np.stack([np.bincount(cell[own == i], minlength=_CELLS**2) for i in range(len(centres))])
        best = (_MIXED, 0, 0)
        for i in range(len(centres)):
            for j in range(i):
                apart = _segregation(counts[i], counts[j])
                best = min(best, (apart, i, j))
        if best[0] >= _MIXED:
            break
        _, i, j = best
        weights = counts[[i, j]].sum(axis=1)
        centres[j] = (centres[[i, j]] * weights[:, None]).sum(axis=0) / max(weights.sum(), 1)
        centres = np.delete(centres, i, axis=0)
    return centres


def _segregation(one: NDArray[np.intp], two: NDArray[np.intp]) -> float:
    """Return 0 for two kinds mixed everywhere alike to 1 for two that share no cell; chance is taken off."""
    both = (one + two).astype(float)
    full = both >= 4
    if full.sum() < 3:
        return 1.0
    share = one[full] / both[full]
    mean = float(np.average(share, weights=both[full]))
    most = mean * (1 - mean)
    if most < 1e-6:
        return 1.0
    by_chance = most * float(np.average(1 / both[full], weights=both[full]))
    return (float(np.average((share - mean) ** 2, weights=both[full])) - by_chance) / max(most - by_chance, 1e-9)


def _blur(centres: Floats, sizes: Floats) -> tuple[int, int] | None:
    """Return a small centre on the line between two others, and the nearer of them."""
    for k in np.argsort(sizes):
        if sizes[k] > 0.16 * sizes.sum():
            break
        others = [i for i in range(len(centres)) if i != k and sizes[i] > sizes[k]]
        for a in range(len(others)):
            for b in range(a + 1, len(others)):
                one, two = centres[others[a]], centres[others[b]]
                line = two - one
                t = float((centres[k] - one) @ line / max(float(line @ line), 1e-9))
                off = float(np.linalg.norm(centres[k] - one - t * line))
                if 0.15 < t < 0.85 and off < 0.2 * float(np.linalg.norm(line)):
                    return int(k), others[a] if t < 0.5 else others[b]
    return None
